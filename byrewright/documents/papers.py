"""A short paper for one reader: its parts as plain data, and its pages as a PDF."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Any

from byrewright.documents.format import System, number, prose, quantity, shown, unit_sign
from byrewright.documents.schematic import INVENTED, PAGES, approval
from byrewright.documents.typeset import pdf
from byrewright.documents.us_units import finding_in, table_in
from byrewright.documents.us_words import bore_in, text_in
from byrewright.plant.plant import Plant
from byrewright.plant.roles import JoinsDeck
from byrewright.results import VERDICTS, Finding, Result, Table
from byrewright.standards.cautions import CAUTIONS, LEAD
from byrewright.standards.rulebook import Rulebook, default_rulebook

LEAST_PT, USUAL_PT = 7.5, 9.0
LINE_LETTERS = 104
"""Letters across a page in the tables' usual type."""
WORD_MOST, BETWEEN = 30, 1.5
"""Letters of the longest word group that a column is sized for, and between two columns."""
SHORT = 19
"""Letters up to which a column is as wide as its words."""
Cell = str | float | int | None


@dataclass(frozen=True, slots=True)
class Standing:
    """What every page of a set says of itself, so that two revisions are never mixed unseen."""

    date: str
    revision: str
    file_hash: str
    approved: str = ""
    supersedes: str = ""

    @property
    def words(self) -> str:
        """For the foot of each page."""
        return (
            f"revision {self.revision} · {self.date} · plant file {self.file_hash[:8]} · "
            + approval(self.approved)
        )


@dataclass(slots=True)
class Paper:
    """One reader's paper, filled part by part."""

    key: str
    title: str
    lead: str
    plant: Plant
    results: Result
    units: System = "metric"
    drawn: dict[str, str] = field(default_factory=dict)
    """Sheets drawn before, by key, for whoever shows them too."""
    rules: Rulebook = field(default_factory=default_rulebook)
    blocks: list[dict[str, Any]] = field(default_factory=list)
    sheets: list[dict[str, Any]] = field(default_factory=list)

    def head(self, title: str) -> None:
        """A heading; it is dropped where nothing follows it."""
        self.blocks.append({"kind": "head", "text": title})

    def text(self, words: str) -> None:
        """A paragraph."""
        self.blocks.append({"kind": "text", "text": self.said(words)})

    def points(self, many: Iterable[str], *, numbered: bool = False) -> None:
        """A list."""
        rows = [self.said(m) for m in many]
        if rows:
            self.blocks.append({"kind": "steps" if numbered else "list", "rows": rows})

    def said(self, words: str) -> str:
        """Words with signs and units as this reader has them."""
        return prose(text_in(words, self.units))

    def table(
        self, heads: Sequence[str], rows: Iterable[Sequence[Cell]], *, units: Sequence[str] = (),
        places: Mapping[int, int] = MappingProxyType({}), keep: bool = False,
    ) -> None:  # fmt: skip
        """A table; numbers stand at the right. `units` are of numbers in each column; `places` says
        how many places behind the point a column has, where that must not depend on the number."""
        units = units or [""] * len(heads)
        cells = [
            [bore_in(c) if u == "mm" and isinstance(c, float) and self.units == "US"
             and heads[i].startswith("bore") else self._cell(c, u, places.get(i))
             for i, (c, u) in enumerate(zip(row, units, strict=True))]
            for row in rows
        ]  # fmt: skip
        if not cells:
            return
        titles = [
            f"{h}, {unit_sign(u, self.units)}" if u else h
            for h, u in zip(heads, units, strict=True)
        ]
        widths = [
            max(4, min(WORD_MOST * 1.6, max(len(c) for c in (t, *column)))) + BETWEEN
            for t, column in zip(titles, zip(*cells, strict=True), strict=True)
        ]
        size = max(LEAST_PT, min(USUAL_PT, USUAL_PT * LINE_LETTERS / max(1.0, sum(widths))))
        right = [all(_is_number(r[i]) for r in cells) for i in range(len(heads))]
        said = [max(len(r[i]) for r in cells) for i in range(len(heads))]
        if any(w > SHORT for w in widths):  # those as wide as their words, the long ones the rest
            rest = [i for i, n in enumerate(said) if n > SHORT and not right[i]]
            rest = rest or [max(range(len(heads)), key=lambda i: (not right[i], said[i]))]
            widths = [w if i in rest else 0.0 for i, w in enumerate(widths)]
        self.blocks.append({"kind": "table", "heads": titles, "rows": cells, "widths": widths,
                            "size": size, "right": right, "keep": keep})  # fmt: skip

    def _cell(self, value: Cell, unit: str, places: int | None = None) -> str:
        if isinstance(value, int | float) and not isinstance(value, bool):
            if places is not None:
                return f"{shown(value, unit, self.units)[0]:.{places}f}"
            if unit:
                return quantity(value, unit, self.units).split("\u00a0")[0]
            return number(value)
        return "" if value is None else self.said(str(value))

    def of_result(self, key: str, columns: Sequence[str], most: int | None = None) -> bool:
        """Some columns of a table of the results; False where the results have it not."""
        found = table_of(self.results, key)
        if found is None:
            return False
        at = [found.columns.index(c) for c in columns]
        found = table_in(found, self.units)
        self.table([found.columns[i] for i in at], [[r[i] for i in at] for r in found.rows[:most]],
                   units=[found.units[i] for i in at])  # fmt: skip
        return True

    def findings(self, topics: Sequence[str], *, open_only: bool = False) -> None:
        """The findings of some topics (keys, or how keys begin): those that do not hold in
        sentences, the rest in a table."""
        begun = tuple(f"{t}." for t in topics)
        own = [finding_in(f, self.units) for f in self.results.findings
               if f"{f.key}.".startswith(begun)]  # fmt: skip
        own.sort(key=lambda f: VERDICTS.index(f.verdict))
        self.points(f"{f.verdict.upper()}: {f.sentence}" for f in own if f.verdict != "holds")
        held = [f for f in own if f.verdict == "holds" and f.value is not None]
        if not open_only:
            self.table(("what", "has", "held to"), [self._row(f) for f in _first_of_alike(held)])

    def _row(self, one: Finding) -> tuple[str, str, str]:
        limit = ""
        if one.limit is not None and one.sense != "informational":
            word = "at least" if one.sense == "at_least" else "at most"
            limit = f"{word} {quantity(one.limit, one.unit, self.units)}"
        label = one.title if "_" in one.subject else one.label
        return label, quantity(one.value, one.unit, self.units), limit

    def cautions(self, *keys: str, first: bool = True) -> None:
        """The usual cautions of some hazards, before all else for people who lay hands on it."""
        if self.plant.first(JoinsDeck) is None:  # nothing turns
            keys = tuple(k for k in keys if k != "rotating")
        box = {"kind": "caution", "lead": LEAD, "rows": [self.said(CAUTIONS[k]) for k in keys]}
        self.blocks.insert(0 if first else len(self.blocks), box)

    def sheet(self, title: str, svg: str) -> None:
        """A drawing behind the text, at its own size."""
        page = next((p for p, (w, _) in PAGES.items() if f'width="{w:g}mm"' in svg[:200]), "A3")
        width, height = PAGES[page]
        self.sheets.append({"title": title, "svg": svg, "width": width, "height": height})

    def cards(self, many: Iterable[tuple[str, str, list[str], str]]) -> None:
        """Cards for a wall: title, what one sees, steps, and a small plan as SVG."""
        rows = [
            {"title": self.said(t), "seen": self.said(s), "steps": [self.said(p) for p in steps],
             "svg": svg}
            for t, s, steps, svg in many
        ]  # fmt: skip
        if rows:
            self.blocks.append({"kind": "cards", "rows": rows})


def _is_number(text: str) -> bool:
    try:
        float(re.sub(r"[\u2009<]|[ /](?=\d)| OD| \([\d.]+\)$", "", text) or "0")
    except ValueError:
        return text == "-"
    return True


def _first_of_alike(findings: Sequence[Finding]) -> list[Finding]:
    """Of findings with one title and value, the first; machines alike need one row."""
    seen: dict[tuple[str, float | None], Finding] = {}
    for one in findings:
        seen.setdefault((one.title, one.value), one)
    return list(seen.values())


def paper_pdf(paper: Paper, standing: Standing, size: str = "a4") -> bytes:
    """The paper as PDF bytes; `size` is "a4" or "letter", drawings keep their own."""
    name = paper.plant.site.name
    return pdf(
        "paper.typ",
        {
            "paper": "us-letter" if size == "letter" else "a4",
            "title": paper.title,
            "farm": " ".join(name.replace(INVENTED, "").split()) or name,
            "invented": INVENTED in name,
            "lead": paper.said(paper.lead),
            "standing": standing.words,
            "supersedes": standing.supersedes,
            "blocks": _led(_without_idle_heads(paper.blocks)),
            "sheets": paper.sheets,
        },
    )


def _without_idle_heads(blocks: Sequence[dict[str, Any]]) -> list[dict[str, Any]]:
    """The blocks without a heading that nothing follows."""
    kept = []
    for one, after in zip(blocks, [*blocks[1:], None], strict=True):
        if one["kind"] == "head" and (after is None or after["kind"] == "head"):
            continue
        kept.append(one)
    return kept


def _led(blocks: Sequence[dict[str, Any]]) -> list[dict[str, Any]]:
    """The blocks, a sentence before a table marked to stay with it."""
    return [
        one | {"leads": True} if one["kind"] == "text" and after and after["kind"] == "table"
        else one
        for one, after in zip(blocks, [*blocks[1:], None], strict=True)
    ]  # fmt: skip


def table_of(results: Result, key: str) -> Table | None:
    """A table of the results by its key, with or without its study; None where it is not there."""
    return next((t for t in results.tables if key in (t.key, t.key.split(".", 1)[-1])), None)


@dataclass(frozen=True, slots=True)
class Listed:
    """A file of the pack as its index names it."""

    name: str
    whom: str
    what: str


def index_text(farm: str, standing: Standing, files: Sequence[Listed]) -> str:
    """The plain index of a pack: what lies in it, for whom, and of which revision."""
    wide = max(len(f.name) for f in files)
    whom = max(len(f.whom) for f in files)
    lines = [
        farm,
        standing.words[:1].upper() + standing.words[1:],
        *([standing.supersedes[:1].upper() + standing.supersedes[1:]] if standing.supersedes
          else []),
        "",
        *(f"{f.name:<{wide}}  {f.whom:<{whom}}  {f.what}" for f in files),
        "",
        "Every page carries the revision and the first letters of the plant file's hash: papers "
        "on which these differ do not belong together.",
        LEAD,
    ]  # fmt: skip
    return "\n".join(lines) + "\n"
