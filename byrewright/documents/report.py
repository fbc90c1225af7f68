"""The report as a PDF: gathers words and numbers for the template and sets the pages.

Nothing is worked out here: every number comes from the plant or from a result. Text out of the
plant file reaches the template as data, never as markup.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from typing import Any

from byrewright import __version__
from byrewright.documents import report_lists as lists
from byrewright.documents.figures import MARKS, figures_for, topic_of
from byrewright.documents.format import (
    System,
    number,
    prose,
    quantity,
    room,
    source_title,
    unit_sign,
    words,
)
from byrewright.documents.schematic import (
    INVENTED,
    PAGES,
    Issue,
    approval,
    schematic_svg,
    sheets_for,
)
from byrewright.documents.typeset import pdf
from byrewright.documents.us_units import result_in
from byrewright.documents.us_words import text_in
from byrewright.plant.plant import Plant
from byrewright.results import FREE, VERDICT_MEANING, VERDICTS, Finding, Result, Table, Verdict
from byrewright.site.checks.verdicts import KEPT
from byrewright.site.checks.verdicts import STUDY as MEASURED
from byrewright.standards.cautions import CAUTIONS, LEAD
from byrewright.standards.rulebook import Rulebook, default_rulebook
from byrewright.studies.quantities import quantities
from byrewright.studies.sizing import headlines

WORST_SHOWN = 5
KEY_SHOWN = 3
ALIKE = 3  # from so many findings of one title on, those that hold are shown in brief
LONGEST_TABLE = 60
LONGEST_TEXT = 9000
"""Letters of a table after which no further row is printed: about three pages."""
LINE_LETTERS = 108
"""Letters across the page in the tables' usual type."""
TYPE_PT, TYPE_LEAST_PT = 8.8, 5.8
WORD_LEAST, WORD_MOST, GUTTER = 3, 28, 2

TOPICS = {
    "duty": "What the plant has to do",
    "throughput": "Cows and hours",
    "deck": "Deck, drives and rollers",
    "vacuum": "Vacuum",
    "milkline": "Milkline",
    "milk": "Milk: receivers, pumps and delivery",
    "receiver": "Receivers and traps",
    "filter": "Milk filters",
    "cooling": "Cooling",
    "cooler": "Plate cooler",
    "tank": "Tanks and collection",
    "storage": "Tanks and collection",
    "balance": "Balance tank",
    "calf": "Calf milk",
    "withheld": "Withheld milk",
    "water": "Water",
    "wash": "Washing",
    "cleaning": "Washing",
    "air": "Compressed air",
    "power": "Electric power",
    "cloths": "Udder cloths",
    "routes": "Where fluids go, and wrong valves",
    "failures": "What fails, and what then",
    "receiving": "Receivers, traps and milk pumps",
    "delivery": "Delivery, filters and balance tank",
    "chilled": "Pumps of chilled liquid",
    "expected": "Beside usual magnitudes",
    "day": "The milking day",
    "place": "The plan of the milking centre",
    "as_measured": "As measured",
    "range": "Outside the range of the formulas",
}
"""Chapter titles by the first word of a finding's key; another word is shown as it is."""


def report_pdf(
    plant: Plant,
    results: Result,
    *,
    date: str,
    revision: str = "A",
    file_hash: str = "",
    drawings: Sequence[str] | None = None,
    rules: Rulebook | None = None,
    units: System = "metric",
    approved: str = "",
) -> bytes:
    """The report as PDF bytes: the same input gives the same bytes.

    Args:
        plant: the plant.
        results: what the studies found; several are one through `byrewright.results.merge`.
        date: ISO date "YYYY-MM-DD"; the clock is never read.
        revision: letter or number of this issue.
        file_hash: SHA-256 of the plant file, shown under "How this was computed".
        drawings: sheets as SVG; drawn here when not given.
        rules: the rulebook used, with the user's own limits; the default one when not given.
        units: "metric", or "US" for the units of a US reader.
        approved: who approved this revision; "" while it is for review.

    Raises:
        ValueError: `date` is not an ISO date.
    """
    day = dt.date.fromisoformat(date)
    if drawings is None:
        issue = Issue(date, revision, file=file_hash[:8], approved=approved)
        drawings = [
            schematic_svg(plant, s.key, issue=issue, units=units) for s in sheets_for(plant)
        ]
    data = report_data(plant, results, day, revision, file_hash, rules or default_rulebook(), units)
    data["approval"] = approval(approved)
    data["drawings"] = _drawings(plant, drawings)
    return pdf("report.typ", data)


def report_data(
    plant: Plant,
    results: Result,
    day: dt.date,
    revision: str,
    file_hash: str,
    rules: Rulebook,
    units: System,
) -> dict[str, Any]:
    """Everything the template shows, as plain data."""
    results = result_in(results, units)
    name = plant.site.name
    title = " ".join(name.replace(INVENTED, "").split()) or name
    worst = sorted(
        (f for f in results.findings if f.verdict != "holds"),
        key=lambda f: (
            VERDICTS.index(f.verdict),
            -(abs(f.margin or 0.0)) if f.verdict == "fails" else (f.margin or 0.0),
        ),
    )
    count = results.count()
    return {
        "title": title,
        "subtitle": _subtitle(plant),
        "invented": INVENTED in name,
        "date": day.isoformat(),
        "day": [day.year, day.month, day.day],
        "revision": revision,
        "version": __version__,
        "answer": answer(results),
        "marks": {**MARKS, KEPT: MARKS[FREE]},
        "counts": [{"verdict": v, "n": count[v], "meaning": VERDICT_MEANING[v]} for v in ORDER],
        "meanings": [*((v, VERDICT_MEANING[v]) for v in ORDER), (FREE, "told, and not judged")],
        "unjudged": _unjudged(results.unjudged()),
        "worst": [_finding(f, units) for f in worst[:WORST_SHOWN]],
        "more_worst": max(0, len(worst) - WORST_SHOWN),
        "lead": LEAD,
        "lead_short": SHORT_LEAD,
        "reading": READING,
        "farm": lists.farm(plant, units),
        "key": _key_figures(results, units),
        "chapters": _chapters(results, units),
        "quantities": _quantities(plant, rules, units),
        "assumptions": lists.assumptions(plant, results, units),
        "check_intro": CHECK,
        "to_check": lists.to_check(results, rules, units),
        "tables_intro": TABLES_HELD,
        "tables": lists.tables(),
        "said": lists.said(results),
        "cautions": [text_in(c, units) for c in CAUTIONS.values()],
        "machine_cautions": lists.machine_cautions(plant),
        "isolation_intro": ISOLATION,
        "isolation": lists.isolation(plant, units),
        "sources_intro": SOURCES_INTRO,
        "sources": lists.sources(results),
        "computed": _computed(results, rules, file_hash, units),
        "notes": [prose(n) for n in results.notes],
    }


US_SAYS = "US customary in lists and tables; sentences keep the metric figures worked with"
ORDER: tuple[Verdict, ...] = ("holds", "tight", "fails", "unknown")
"""The verdicts as the cover shows them."""
SHORT_LEAD = (
    "Advises and monitors; never a safety system. Local codes and licensed practice decide."
)
READING = (
    "A margin is a share of the limit, positive when inside it. Every answer names its source and "
    "how that source is known; the formula and the numbers put into it are in the schedule and in "
    "result.json, and the command byrewright explain shows them for one finding."
)
CHECK = (
    "These values are known from memory only: the standard's own text was not read for this "
    "product. A licensed user should check each against the standard and may state another value "
    "in limits.yaml beside the plant file."
)
TABLES_HELD = (
    "Sizes and properties that are looked up, not computed. Where a table is from memory or common "
    "practice, check what is ordered by it."
)
ISOLATION = (
    "Every machine that holds or takes energy, and where it is isolated. Lock off, release what is "
    "stored, and prove dead before work. The list follows the plant file; the site's own lock-out "
    "procedure decides."
)
SOURCES_INTRO = (
    "What the answers in this report rest on, and how many of their values are known in which way. "
    "A source listed here was not always read; each value's own mark says how it is known."
)


def answer(results: Result) -> str:
    """The answer in one paragraph.

    >>> answer(Result("sizing", "x"))
    'No question was asked of this plant yet.'
    """
    count = results.count()
    total = sum(count.values())
    if not total:
        return (
            "Nothing was asked of this plant that is held to a limit."
            if results.findings
            else "No question was asked of this plant yet."
        )
    if count["fails"]:
        start = f"As described, the plant fails in {_of(count['fails'], total)}."
    elif count["unknown"]:
        start = f"Nothing fails, but {_of(count['unknown'], total)} cannot be judged yet."
    else:
        start = f"The plant as described holds{f' in all {total} answers' if total > 1 else ''}."
    parts = [start]
    if count["fails"] and count["unknown"]:
        parts.append(
            f"{_many(count['unknown'])} cannot be judged until an input or a rule is known."
        )
    if count["tight"]:
        parts.append(
            f"{_many(count['tight'])} {'has' if count['tight'] == 1 else 'have'} little to spare."
        )
    if results.assumptions:
        parts.append("The answers rest on the assumptions listed in this report.")
    return " ".join(parts)


def _unjudged(count: int) -> str:
    """What the cover says beside the verdicts."""
    if not count:
        return ""
    more = "One more figure is" if count == 1 else f"{count} more figures are"
    return f"{more} held to no limit and not counted here."


def _of(part: int, total: int) -> str:
    return f"{part} of {total} answers"


def _many(count: int) -> str:
    return "One" if count == 1 else str(count)


def topic_title(topic: str) -> str:
    """A topic's chapter title."""
    return TOPICS.get(topic) or words(topic).capitalize()


def _subtitle(plant: Plant) -> str:
    from byrewright.plant.roles import StandsCows

    deck = plant.first(StandsCows)
    place = f"{deck.stalls} stalls, {deck.layout}" if deck else "milking parlour"
    if deck and deck.layout == "rows":
        place = f"{deck.stalls} fixed stalls in {deck.rows} rows"
    elif deck:
        place = f"rotary of {deck.stalls} stalls"
    milkings = f"{len(plant.milkings)} milking{'s' if len(plant.milkings) != 1 else ''} a day"
    return (
        f"Plant of a {place}; {plant.herd.cows} cows, {milkings}"
        if deck and deck.layout == "rotary"
        else f"Plant of {place}; {plant.herd.cows} cows, {milkings}"
    )


def _finding(one: Finding, units: System) -> dict[str, str]:
    needs = ""
    if one.sense != "informational" and one.limit is not None:
        word = "at least" if one.sense == "at_least" else "at most"
        needs = f"{word} {quantity(one.limit, one.unit, units)}"
    free = KEPT if one.key.startswith(f"{MEASURED}.") else FREE
    meaning = "stated" if one.confidence == "stated" else lists.meaning(one.confidence)
    if one.source == "practice":
        meaning = meaning.split(";")[0]  # there is no text to check it against
    return {
        "title": one.title,
        "subject": "" if one.label == one.title else one.subject,
        "verdict": one.verdict if one.judged else free,
        "sentence": prose(one.sentence),
        "has": quantity(one.value, one.unit, units),
        "needs": needs or "-",
        "margin": room(one, units),
        "source": source_title(one.source).rstrip("."),
        "known": meaning,
        "missing": ", ".join(one.missing),
    }


def _findings(own: Sequence[Finding], units: System) -> list[dict[str, Any]]:
    """Findings in order, alike ones together; of many alike that hold, only the first in full."""
    alike: dict[str, list[Finding]] = {}
    for one in own:
        alike.setdefault(one.title, []).append(one)
    rows: list[dict[str, Any]] = []
    for group in alike.values():
        for k, one in enumerate(group):
            brief = k > 0 and bool(one.subject) and _same(one, group[0], len(group))
            row = {**_finding(one, units), "brief": brief}
            row["subject"] = one.subject if brief else row["subject"]
            if brief and rows[-1]["brief"] and _shows_the_same(row, rows[-1]):
                rows[-1]["subject"] += f", {one.subject}"
            else:
                rows.append(row)
    return rows


def _shows_the_same(row: dict[str, Any], last: dict[str, Any]) -> bool:
    return all(row[k] == last[k] for k in ("has", "needs", "margin", "verdict"))


def _same(one: Finding, first: Finding, many: int) -> bool:
    if not one.verdict == "holds" == first.verdict:
        return False
    return many >= ALIKE or (one.value, one.limit) == (first.value, first.limit)


def _topics(results: Result) -> list[str]:
    keys = (
        [f.key for f in results.findings]
        + [t.key for t in results.tables]
        + [s.key for s in results.series]
    )
    return [t for t in dict.fromkeys(topic_of(k) for k in keys) if t != lists.TO_CHECK]


def _chapters(results: Result, units: System) -> list[dict[str, Any]]:
    chapters = []
    for topic in _topics(results):
        chapters.append(
            {
                "title": topic_title(topic),
                "findings": _findings(
                    [f for f in results.findings if topic_of(f.key) == topic], units
                ),
                "figures": figures_for(results, topic),
                "tables": [_table(t, units) for t in results.tables if topic_of(t.key) == topic],
            }
        )
    return chapters


QUANTITIES_SHOWN = ("pipes", "fittings", "valves", "sensors", "motors")
"""Tables of quantities in the report; every machine with its data plate is in the schedule."""


def _quantities(plant: Plant, rules: Rulebook, units: System) -> dict[str, Any]:
    found = result_in(quantities(plant, rules), units)
    return {
        "facts": [{"label": f.title, "value": prose(f.sentence)} for f in found.findings],
        "tables": [_table(t, units) for t in found.tables if t.key in QUANTITIES_SHOWN],
        "notes": [prose(n) for n in found.notes],
    }


def _key_figures(results: Result, units: System) -> list[dict[str, Any]]:
    """The most telling findings of each topic; where none is named, its first statements."""
    groups = []
    telling = {f.name for f in headlines(results)}
    for topic in _topics(results):
        own = [f for f in results.findings if topic_of(f.key) == topic and f.value is not None]
        told = [f for f in own if f.name in telling]
        plain = told + [f for f in own if f.sense == "informational" and f not in told]
        plain += [f for f in own if f not in plain]
        rows = [
            {
                "label": f.label,
                "value": quantity(f.value, f.unit, units),
            }
            for f in plain[:KEY_SHOWN]
        ]
        if rows:
            groups.append({"title": topic_title(topic), "rows": rows})
    return groups


def _table(table: Table, units: System) -> dict[str, Any]:
    from byrewright.documents.format import shown

    rows: list[list[str]] = []
    for row in table.rows[:LONGEST_TABLE]:
        if sum(len(c) for r in rows for c in r) > LONGEST_TEXT:
            break
        rows.append(
            [
                number(shown(v, u, units)[0])
                if isinstance(v, int | float) and not isinstance(v, bool)
                else number(v)
                for v, u in zip(row, table.units, strict=True)
            ]
        )
    heads = [
        f"{c}, {unit_sign(u, units)}" if u else c
        for c, u in zip(table.columns, table.units, strict=True)
    ]
    right = [
        all(isinstance(r[i], int | float) for r in table.rows) and bool(table.rows)
        for i in range(len(heads))
    ]
    note = table.note
    if len(table.rows) > len(rows):
        more = f"{len(table.rows) - len(rows)} more of {len(table.rows)} rows in result.json."
        note = f"{more} {note}".strip()
    widths, size = _widths(heads, rows)
    return {
        "title": table.title,
        "heads": heads,
        "rows": rows,
        "right": right,
        "note": prose(note),
        "widths": widths,
        "size": size,
    }


def _widths(heads: list[str], rows: list[list[str]]) -> tuple[list[float], float]:
    """Share of each column and size of type (pt): no word is wider than its column."""
    words = [
        max(WORD_LEAST, *(min(len(w), WORD_MOST) for c in column for w in c.split() or [""]))
        for column in zip(heads, *rows, strict=True)
    ]
    wanted = [
        min(30, max([len(head) * 0.6, *(len(r[i]) for r in rows)])) for i, head in enumerate(heads)
    ]
    least = sum(words) + GUTTER * len(words)
    size = round(max(TYPE_LEAST_PT, min(TYPE_PT, TYPE_PT * LINE_LETTERS / least)), 1)
    spare = max(0.0, LINE_LETTERS * TYPE_PT / size - least)
    more = [max(0.0, want - word) for want, word in zip(wanted, words, strict=True)]
    share = min(1.0, spare / sum(more)) if any(more) else 0.0
    return [w + GUTTER + m * share for w, m in zip(words, more, strict=True)], size


def _computed(
    results: Result, rules: Rulebook, file_hash: str, units: System
) -> list[dict[str, str]]:
    changed = ", ".join(rules.overridden) or "none: the product's own values"
    rows = [
        ("Program", f"byrewright {__version__}"),
        ("Study", words(results.study)),
        ("Plant file, SHA-256", lists.breakable(file_hash) or "not stated"),
        (
            "Seed",
            str(results.seed) if results.seed is not None else "none: nothing is drawn by chance",
        ),
        ("Limits stated by the user", changed),
        ("Units shown", {"metric": "metric", "US": US_SAYS}[units]),
        (
            "Vacuum",
            "kPa below ambient; airflow is free air at ambient pressure"
            if units == "metric"
            else "inHg below ambient; airflow is free air at ambient pressure",
        ),
    ]
    return [{"label": a, "value": b} for a, b in rows]


def _drawings(plant: Plant, drawings: Sequence[str]) -> list[dict[str, Any]]:
    made = []
    for sheet, svg in zip(sheets_for(plant), drawings, strict=False):
        page = next((p for p, (w, _) in PAGES.items() if f'width="{w:g}mm"' in svg[:200]), "A3")
        width, height = PAGES[page]
        made.append({"title": sheet.title, "svg": svg, "width": width, "height": height})
    return made
