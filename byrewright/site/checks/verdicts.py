"""What the readings of a plant say: measured, predicted, difference, limit, and a verdict.

The instrument's uncertainty is taken in: a reading that may lie on either side of its limit is
`unknown`, and says how good an instrument must be to decide. The last reading of a check counts;
what was found before it and is mended since is told beside it.
"""

from __future__ import annotations

import math
import time
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from byrewright.results import VERDICTS as WORST
from byrewright.results import (
    Finding,
    Input,
    Result,
    Sense,
    Table,
    Verdict,
    in_figures,
    judge,
    straddles,
)
from byrewright.site.checks.check import Check, Limit
from byrewright.site.log import Entry
from byrewright.site.log.entry import current

STUDY = "as_measured"
OPEN = "not tested yet"
FROM_FILES: Mapping[str, str] = {
    "pulsation_rate": "pulsation_rate", "pulsator_ratio": "pulsator_ratio", "phase_b": "phase_b",
    "phase_d": "phase_d", "phase_d_ms": "phase_d_ms", "limping": "limping",
    "fall_off_drop": "fall_off_drop",
    "attach_drop": "attach_drop", "undershoot": "undershoot", "overshoot": "overshoot",
    "milkline": "milkline_stable", "wash_return": "wash_return", "tank_blend": "tank_blend",
}  # fmt: skip
"""Figure worked out from an instrument's file: the check that it answers."""
OF_HERD = "milk_out"
"""Figure that answers to the herd, whichever unit its milk was metered at; no check asks it."""
AWAY = ("pulsation_rate", "pulsator_ratio")
"""Figures that a file gives as the distance from the setting, with a limit of their own."""
KEPT = "kept"
"""Of a reading with no limit: it neither holds nor fails, and is kept to compare with later."""
SIGNS = {"at_least": "at least", "at_most": "at most", "informational": ""}
DAY = "%Y-%m-%d"


@dataclass(frozen=True, slots=True)
class Judged:
    """A check with the verdict on it; no entry where it was not tested."""

    check: Check
    finding: Finding
    entry: Entry | None = None
    doubt: float | None = None

    @property
    def why_not(self) -> str:
        """Why there is no reading; "" where there is one."""
        if self.entry is None:
            return OPEN
        return str(self.entry.data.get("why_not", "")) if self.not_done else ""

    @property
    def word(self) -> str:
        """The verdict in a word; `kept` for a reading that is held to nothing."""
        return self.finding.verdict if self.finding.judged else KEPT

    @property
    def not_done(self) -> bool:
        """Whether there is no reading."""
        return self.entry is None or self.entry.data.get("outcome") == "not done"


def judged(checks: Sequence[Check], entries: Iterable[Entry]) -> list[Judged]:
    """Every check with its last reading, in the order of the checks."""
    last = {check: some[-1] for check, some in readings_by_check(entries).items()}
    return [_judged(c, last.get(c.id)) for c in checks]


def mended(checks: Sequence[Check], entries: Iterable[Entry]) -> list[tuple[Judged, Judged]]:
    """Checks that failed at an earlier reading and do not now: as found, and as left."""
    by_id, told = {c.id: c for c in checks}, []
    for check, some in readings_by_check(entries).items():
        if check not in by_id:
            continue
        each = [_judged(by_id[check], e) for e in some]
        bad = [j for j in each[:-1] if j.finding.verdict == "fails"]
        if bad and each[-1].finding.verdict != "fails":
            told.append((bad[-1], each[-1]))
    return told


def as_measured(plant: str, checks: Sequence[Check], entries: Sequence[Entry]) -> Result:
    """The verdicts as a result, in the shape of every study."""
    every = judged(checks, entries)
    done = [j for j in every if not j.not_done]
    rows = tuple(line(j) for j in done)
    left_out = tuple((j.finding.title, j.check.at, j.why_not) for j in every if j.not_done)
    tables = [
        Table(STUDY, "Measured beside predicted", COLUMNS, ("",) * len(COLUMNS), rows,
              "The verdict takes the uncertainty in; near a limit it is unknown. Kept: no limit is "
              "known to hold it to."),
        Table("as_measured.not_tested", "Not tested, and why", ("test", "at", "why"), ("",) * 3,
              _gathered(left_out)),
    ]  # fmt: skip
    found = mended(checks, entries)
    if found:
        tables.insert(1, Table(
            "as_measured.mended", "Found failing and mended", ("test", "at", "found", "on", "left",
            "on", "unit"), ("",) * 7,
            tuple((a.finding.title, a.check.at, _value(a), _day(a), _value(b), _day(b),
                   a.check.unit) for a, b in found),
        ))  # fmt: skip
    return Result(
        STUDY, plant, tuple(j.finding for j in done), tuple(tables),
        notes=(f"{len(done)} of {len(every)} checks of this plant are tested.",),
    )  # fmt: skip


COLUMNS = ("test", "at", "measured", "plus or minus", "unit", "predicted", "difference", "limit",
           "verdict", "when", "by")  # fmt: skip


def line(one: Judged) -> tuple[float | str, ...]:
    """A reading as a row of `COLUMNS`."""
    check, f = one.check, one.finding
    away = one.entry is not None and _away(one.entry)
    told = None if away else check.predicted
    gap = "" if f.value is None or told is None else _short(f.value - told)
    limit = "" if f.limit is None else check.held_to
    if away and f.limit is not None:
        limit = f"{SIGNS[f.sense]} {in_figures(f.limit)}"
    return (
        f.title, check.at, _value(one), "" if one.doubt is None else one.doubt, f.unit,
        "" if told is None else _short(told), gap, limit, one.word, _day(one),
        one.entry.who if one.entry else "",
    )  # fmt: skip


def _short(value: float) -> float:
    return float(f"{value:.4g}")


def _value(one: Judged) -> float | str:
    return "seen" if one.finding.value is None else _short(one.finding.value)


def _day(one: Judged) -> str:
    return day_of(one.entry) if one.entry else ""


def day_of(entry: Entry) -> str:
    """The day on which something was read, ISO, by this computer's zone."""
    return time.strftime(DAY, time.localtime(entry.at))


def _gathered(rows: Sequence[tuple[str, str, str]]) -> tuple[tuple[str, ...], ...]:
    """Those alike in one row."""
    alike: dict[tuple[str, str], list[str]] = {}
    for title, at, why in rows:
        alike.setdefault((title, why), []).extend([at] if at else [])
    return tuple((title, ", ".join(_runs(tags)), why) for (title, why), tags in alike.items())


def _runs(tags: Sequence[str]) -> list[str]:
    """ "PU1 no. 1", "PU1 no. 2", "PU1 no. 3" as "PU1 no. 1-3".

    >>> _runs(["PU1 no. 1", "PU1 no. 2", "PU1 no. 4", "VP1"])
    ['PU1 no. 1-2', 'PU1 no. 4', 'VP1']
    """
    told: list[str] = []
    first = last = 0
    before = ""
    for tag in tags:
        name, _, number = tag.partition(" no. ")
        if number and name == before and int(number) == last + 1:
            last = int(number)
            told[-1] = f"{name} no. {first}-{last}"
        else:
            before, first = name, int(number) if number else 0
            last = first
            told.append(tag)
    return told


def readings_by_check(entries: Iterable[Entry]) -> dict[str, list[Entry]]:
    """What was read of each check, oldest first; of the halves of a pulsator the worse."""
    found: dict[str, list[Entry]] = {}
    for one in sorted(current(entries), key=lambda e: (e.at, e.made_at, e.number)):
        if one.kind == "test":
            found.setdefault(str(one.data["check"]), []).append(one)
        elif one.kind == "reading" and (check := _answers(one)):
            before = found.get(check, [])
            if before and _same_record(before[-1], one):
                before[-1] = max(before[-1], one, key=_badness)
            else:
                found.setdefault(check, []).append(one)
    return found


def _answers(one: Entry) -> str:
    """The check that a figure out of an instrument's file answers."""
    data = one.data
    told = str(data["figure"]).rpartition(".")[2]
    if told == OF_HERD:
        return OF_HERD
    stem = FROM_FILES.get(told, "")
    number = data.get("number")
    return f"{stem}@{one.tag}#{number}" if stem and number else data.get("check", "") or (
        f"{stem}@{one.tag}" if stem in ("milkline_stable", "wash_return", "tank_blend") else stem
    )  # fmt: skip


def _same_record(a: Entry, b: Entry) -> bool:
    return a.kind == b.kind == "reading" and a.data.get("sha256") == b.data.get("sha256")


def _badness(one: Entry) -> tuple[int, float]:
    data = one.data
    verdict, margin = judge(data["value"], data.get("limit"), data.get("sense", "informational"))
    return -WORST.index(verdict), -(margin or 0.0)


def _judged(check: Check, entry: Entry | None) -> Judged:
    if entry is None:
        return Judged(check, _finding(check, None, "unknown", f"{check.title}: {OPEN}.",
                                      missing=(OPEN,)))  # fmt: skip
    data = entry.data
    if data.get("outcome") == "not done":
        why = str(data.get("why_not", ""))
        return Judged(check, _finding(check, None, "unknown", f"{check.title}: not done, {why}.",
                                      missing=(why,)), entry)  # fmt: skip
    if data.get("outcome") == "seen":
        said = f"{check.title}: seen by {entry.who}."
        return Judged(check, _finding(check, None, "holds", said), entry)
    value, doubt = float(data["value"]), data.get("uncertainty")
    title, unit, limits = held_to(check, entry)
    with_doubt = None if doubt is None else float(doubt)
    verdict, nearest, advice = _verdict(value, with_doubt, limits, unit)
    told = f"{title}{', ' + check.at if check.at else ''}: {in_figures(value)} {unit}" + (
        f" plus or minus {in_figures(with_doubt, 3)}" if with_doubt is not None else ""
    )
    if check.predicted is not None and not _away(entry):
        gap = value - check.predicted
        sign = "-" if gap < 0 else "+"
        told += (
            f"; predicted {in_figures(check.predicted)}, difference {sign}{in_figures(abs(gap), 3)}"
        )
    found = _finding(check, value, verdict, f"{told}. {advice}".strip(), nearest, unit=unit,
                     title=title, inputs=_inputs(entry, with_doubt, unit),
                     missing=(advice,) if verdict == "unknown" else ())  # fmt: skip
    return Judged(check, found, entry, with_doubt)


def held_to(check: Check | None, entry: Entry) -> tuple[str, str, tuple[Limit, ...]]:
    """Title, unit and limits of a reading: those of its check, or its own where it has none."""
    data = entry.data
    if check is None or _away(entry):
        return str(data["title"]), str(data["unit"]), _own(data)
    return check.title, check.unit, check.limits


def _away(entry: Entry) -> bool:
    stem = str(entry.data.get("figure", "")).rpartition(".")[2]
    return entry.kind == "reading" and stem in AWAY


def _own(data: Mapping[str, object]) -> tuple[Limit, ...]:
    limit, sense = data.get("limit"), data.get("sense")
    if not isinstance(limit, float | int) or sense not in ("at_least", "at_most"):
        return ()
    held: Sense = "at_least" if sense == "at_least" else "at_most"
    return (Limit(held, float(limit), str(data.get("rule", "")), ""),)


def _verdict(
    value: float, doubt: float | None, limits: Sequence[Limit], unit: str
) -> tuple[Verdict, Limit | None, str]:
    """The verdict, the limit that lies nearest, and what would decide."""
    if not limits:
        return "holds", None, "Nothing to hold it to: kept to compare with later."
    nearest = min(limits, key=lambda x: abs(value - x.value) if judge(
        value, x.value, x.sense)[0] != "fails" else -abs(value - x.value))  # fmt: skip
    if doubt is None:
        return "unknown", nearest, "State the instrument's plus or minus: it would decide."
    if any(straddles(value, doubt, x.value, x.sense) for x in limits):
        better = abs(value - nearest.value)
        return "unknown", nearest, (
            f"The limit of {in_figures(nearest.value)} {unit} lies within plus or minus "
            f"{in_figures(doubt, 3)}: an instrument within {_at_most(better)} {unit} would decide."
            if better > 0
            else f"It lies on the limit of {in_figures(nearest.value)} {unit}: read it again with "
            "a better instrument."
        )  # fmt: skip
    verdict = judge(value, nearest.value, nearest.sense)[0]
    word = {"at_least": "at least", "at_most": "at most"}[nearest.sense]
    return verdict, nearest, f"It must be {word} {in_figures(nearest.value)} {unit}." if (
        verdict == "fails") else ""  # fmt: skip


def _at_most(value: float) -> str:
    """A number above nothing in two figures, never more than it is.

    >>> _at_most(15.2), _at_most(0.0179), _at_most(1990.0), _at_most(0.05)
    ('15', '0.017', '1900', '0.05')
    """
    step = math.floor(math.log10(value)) - 1
    told = f"{math.floor(value / 10.0**step + 1e-9) * 10.0**step:.{max(0, -step)}f}"
    return told.rstrip("0").rstrip(".") if "." in told else told


def _inputs(entry: Entry, doubt: float | None, unit: str) -> tuple[Input, ...]:
    data = entry.data
    tool = str(data.get("instrument") or "instrument not stated")
    day = str(data.get("calibrated") or "")
    said = Input("", tool + (f", calibrated {day}" if day else ""), entry.who, "",
                 str(data.get("file") or "test sheet"))  # fmt: skip
    return (said,) if doubt is None else (said, Input("u", "plus or minus", doubt, unit))


def _finding(
    check: Check, value: float | None, verdict: Verdict, sentence: str,
    limit: Limit | None = None, *, unit: str = "", title: str = "",
    inputs: tuple[Input, ...] = (), missing: tuple[str, ...] = (),
) -> Finding:  # fmt: skip
    margin = judge(value, limit.value, limit.sense)[1] if limit and value is not None else None
    return Finding(
        key=f"{STUDY}.{check.id.partition('@')[0]}", subject=check.at, title=title or check.title,
        value=value, unit=unit or check.unit, sentence=sentence, verdict=verdict,
        sense=limit.sense if limit else "informational",
        limit=limit.value if limit else None, margin=margin,
        formula="as read", inputs=inputs, source=limit.source if limit else "",
        confidence=limit.confidence if limit else "", missing=missing,
    )  # fmt: skip
