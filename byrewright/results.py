"""The one shape of every answer: findings, figures, assumptions and the seed.

Every study returns a `Result`. Documents, pages, the command line and `--json` all read
this shape and nothing else, so a number cannot differ between two places.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass, field, replace
from math import inf
from typing import Any, Literal

from byrewright.errors import ByrewrightError

Verdict = Literal["holds", "tight", "fails", "unknown"]
Sense = Literal["at_least", "at_most", "informational"]
VERDICTS: tuple[Verdict, ...] = ("fails", "unknown", "tight", "holds")
"""The four verdicts, worst first."""


def worst_of(verdicts: Iterable[Verdict]) -> Verdict:
    """The worst of some verdicts (`holds` when there are none)."""
    found = set(verdicts)
    return next((v for v in VERDICTS if v in found), "holds")


VERDICT_MEANING: Mapping[Verdict, str] = {
    "holds": "inside the limit",
    "tight": "inside the limit, by less than the stated allowance",
    "fails": "outside the limit",
    "unknown": "cannot be judged: an input or a rule is missing",
}
FREE, FREE_SIGN = "no limit", "–"
"""In place of the verdict, and of its sign, of a figure that is held to nothing."""


@dataclass(frozen=True, slots=True)
class Input:
    """A number put into a formula: its symbol, meaning, value, unit and where it came from."""

    symbol: str
    meaning: str
    value: float | str
    unit: str = ""
    source: str = ""


@dataclass(frozen=True, slots=True)
class Remedy:
    """A change that would mend a finding: which figure of which part, to what, and why it follows.

    `of` is a machine or pipe by its tag, or a section of the plant file such as `cleaning`, also a
    part of one: `place.machines.TK1`, whose `at` is then several numbers.
    """

    of: str
    figure: str
    to: float | str | bool | tuple[float, ...]
    why: str
    most: bool = False
    """Whether the figure must not be more, where the plant does not state it yet."""
    otherwise: bool = False
    """Whether it is for a plant that cannot have those before it: the farm states that figure."""


@dataclass(frozen=True, slots=True)
class Finding:
    """One question asked of the plant and its answer.

    `value` is what the plant has (or does); `limit` is what it is held to, in the sense
    `at_least` or `at_most`; `informational` is a plain statement with no limit. `advised` is the
    size a designer would choose next and `target` the (equipment id, field) it belongs to;
    `remedies` are what else would mend it. Drafting applies both. `margin` is a share of the limit,
    positive when inside.
    """

    key: str
    subject: str
    title: str
    value: float | None
    unit: str
    sentence: str
    verdict: Verdict
    sense: Sense = "informational"
    limit: float | None = None
    margin: float | None = None
    allowance: float = 0.0
    formula: str = ""
    inputs: tuple[Input, ...] = ()
    source: str = ""
    confidence: str = ""
    advised: float | None = None
    advised_why: str = ""
    target: tuple[str, str] | None = None
    missing: tuple[str, ...] = ()
    remedies: tuple[Remedy, ...] = ()

    @property
    def label(self) -> str:
        """The title with its subject behind it, where the title does not say it already."""
        said = not self.subject or self.title.casefold().endswith(self.subject.casefold())
        return self.title if said else f"{self.title}, {self.subject}"

    @property
    def judged(self) -> bool:
        """Whether it has a verdict: false of a figure that is held to no limit. What is answered
        with yes or no has none, and is judged."""
        return self.value is None or self.limit is not None or self.verdict != "holds"

    @property
    def name(self) -> str:
        """The finding's address for `explain`: `key` or `key@subject`."""
        return f"{self.key}@{self.subject}" if self.subject else self.key


@dataclass(frozen=True, slots=True)
class Assumption:
    """Something not stated by the user that the answer rests on."""

    where: str
    meaning: str
    value: float | str
    unit: str
    why: str
    confidence: str = "common_practice"


@dataclass(frozen=True, slots=True)
class Table:
    """A figure in rows: column titles with units, then rows of numbers and words."""

    key: str
    title: str
    columns: tuple[str, ...]
    units: tuple[str, ...]
    rows: tuple[tuple[float | str, ...], ...]
    note: str = ""


@dataclass(frozen=True, slots=True)
class Series:
    """A figure in time: `x` in `x_unit` and named lines of the same length."""

    key: str
    title: str
    x: tuple[float, ...]
    x_unit: str
    lines: tuple[tuple[str, str, tuple[float, ...]], ...]
    note: str = ""


def worst_first(findings: Iterable[Finding]) -> list[Finding]:
    """Findings by verdict, the worst first; of one verdict the smallest margin first. What fails
    without a margin stands before what misses a limit by a share of it."""

    def place(one: Finding) -> tuple[int, float]:
        bare = -inf if one.verdict == "fails" else inf
        return VERDICTS.index(one.verdict), bare if one.margin is None else one.margin

    return sorted(findings, key=place)


DAYS_ARE_OF = "The days are of "
"""How the note begins that names the month of simulated days."""


@dataclass(frozen=True, slots=True)
class Result:
    """What a study found."""

    study: str
    plant: str
    findings: tuple[Finding, ...] = ()
    tables: tuple[Table, ...] = ()
    series: tuple[Series, ...] = ()
    assumptions: tuple[Assumption, ...] = ()
    seed: int | None = None
    notes: tuple[str, ...] = ()

    @property
    def days_are_of(self) -> str:
        """Of which month its simulated days are, as its note says; empty where there are none."""
        return next((n for n in self.notes if n.startswith(DAYS_ARE_OF)), "")

    def finding(self, name: str) -> Finding:
        """The finding called `name` (`key` or `key@subject`); KeyError when there is none."""
        for one in self.findings:
            if name in (one.name, one.key):
                return one
        raise KeyError(name)

    def table(self, key: str) -> Table:
        """The table called `key`; KeyError when there is none."""
        for one in self.tables:
            if one.key == key:
                return one
        raise KeyError(key)

    def worst(self) -> Verdict:
        """The worst verdict among the findings (`holds` when there are none)."""
        return worst_of(one.verdict for one in self.findings)

    def count(self) -> dict[Verdict, int]:
        """How many findings have each verdict; those that are held to no limit in none."""
        judged = [one.verdict for one in self.findings if one.judged]
        return {v: judged.count(v) for v in VERDICTS}

    def unjudged(self) -> int:
        """How many findings are held to no limit."""
        return sum(1 for one in self.findings if not one.judged)

    def to_dict(self) -> dict[str, Any]:
        """Plain data for JSON; each finding gains its `name`."""
        data = asdict(self)
        for plain, one in zip(data["findings"], self.findings, strict=True):
            plain["name"] = one.name
        return data

    def to_json(self) -> str:
        """The one serialisation: sorted keys, no NaN, ends with a newline."""
        return json.dumps(self.to_dict(), indent=1, sort_keys=True, allow_nan=False) + "\n"


@dataclass(slots=True)
class ResultBuilder:
    """Collects what a study finds while it runs, then becomes a `Result`."""

    study: str
    plant: str
    findings: list[Finding] = field(default_factory=list)
    tables: list[Table] = field(default_factory=list)
    series: list[Series] = field(default_factory=list)
    assumptions: list[Assumption] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)

    def result(self, seed: int | None = None) -> Result:
        """The finished, immutable result.

        Raises:
            NotPossible: a number in it is one that no plant can have; see `impossible`.
        """
        made = Result(
            study=self.study,
            plant=self.plant,
            findings=tuple(self.findings),
            tables=tuple(self.tables),
            series=tuple(self.series),
            assumptions=tuple(dict.fromkeys(self.assumptions)),
            seed=seed,
            notes=tuple(dict.fromkeys(self.notes)),
        )
        found = next(impossible(made), None)
        if found is not None:
            raise NotPossible(self.study, found)
        return made


class NotPossible(ByrewrightError):
    """A study came to a number that cannot be, so it gives none at all."""

    def __init__(self, study: str, found: str) -> None:
        self.study, self.found = study, found
        super().__init__(
            f"{study}: {found}, which cannot be; this study gives no answer for this plant. Please "
            "report it with the plant file"
        )

    def __reduce__(self) -> tuple[type[NotPossible], tuple[str, str]]:
        return type(self), (self.study, self.found)


AMOUNTS = {
    "L", "m3", "kg", "t", "h", "min", "s", "ms", "d", "kWh", "L/d", "L/year", "h/year", "1/h",
    "1/min", "1/s", "1/year", "cows", "units", "stalls", "pumps", "tanks", "people",
}  # fmt: skip
"""Units of what there is or lasts: never less than nothing."""
CHANGES = ("change", "gain", "saved", "less", "later", "difference", "spare", "reserve")
"""Words in the title of what is a difference, and may be negative."""
EITHER_WAY = frozenset({"heat"})
"""Titles of what passes one way or the other, and may be negative."""
ROUNDING = 1e-6


def impossible(result: Result) -> Iterator[str]:
    """What no plant can have, in words: numbers that are not finite, amounts and times below
    nothing, shares outside 0 to 1, time that runs backwards.

    >>> bad = Finding("day.time", "", "Time of morning", -41.0, "h", "", "fails")
    >>> list(impossible(Result("day", "a plant", (bad,))))
    ['Time of morning comes out at -41 h']
    """
    for one in result.findings:
        spare = one.sense == "at_least" and one.limit is not None and one.limit <= 0
        signed = spare or _difference(one.title)
        for what, value in (("", one.value), ("limit of ", one.limit), ("advice on ", one.advised)):
            if value is not None and not _possible(value, one.unit, one.key, signed):
                yield f"{what}{one.label} comes out at {value:g} {one.unit}".strip()
    for table in result.tables:
        for at, (title, unit) in enumerate(zip(table.columns, table.units, strict=True)):
            signed = _difference(title)
            for row in table.rows:
                cell = row[at]
                if isinstance(cell, str) or cell is None:
                    continue
                if not _possible(cell, unit, title, signed):
                    yield f"{table.title}, {title} comes out at {cell:g} {unit}".strip()
    for series in result.series:
        if list(series.x) != sorted(series.x):
            yield f"{series.title}: time runs backwards"
        for name, unit, values in series.lines:
            strange = [v for v in values if not math.isfinite(v)]
            ends = strange[:1] or ([min(values), max(values)] if values else [])
            worst = next((v for v in ends if not _possible(v, unit, name, False)), None)
            if worst is not None:
                yield f"{series.title}, {name} comes out at {worst:g} {unit}".strip()


def _difference(title: str) -> bool:
    return title in EITHER_WAY or any(word in title.casefold() for word in CHANGES)


def _possible(value: float, unit: str, name: str, signed: bool) -> bool:
    if not math.isfinite(value):
        return False
    if unit == "" and name.endswith("share"):
        return -ROUNDING <= value <= 1 + ROUNDING
    return signed or unit not in AMOUNTS or value >= -ROUNDING


def in_figures(value: float, figures: int = 4) -> str:
    """A number in so many figures as people write it, a large one written out.

    >>> in_figures(11836.2), in_figures(0.61034), in_figures(-9458.0, 3)
    ('11840', '0.6103', '-9460')
    """
    return f"{float(f'{value:.{figures}g}'):.12g}"


def judge(
    value: float | None, limit: float | None, sense: Sense, allowance: float = 0.0
) -> tuple[Verdict, float | None]:
    """The verdict on `value` against `limit`, and the margin as a share of the limit.

    `allowance` is the share of the limit within which an answer that holds is called tight. A limit
    of nothing at all has no margin: it holds or it does not.
    A missing or non-finite value or limit is `unknown`, except that `informational` always holds.

    >>> judge(110.0, 100.0, "at_least", 0.05)
    ('holds', 0.1)
    >>> judge(102.0, 100.0, "at_least", 0.05)[0]
    'tight'
    """
    if sense == "informational":
        return ("unknown", None) if value is None else ("holds", None)
    if value is None or limit is None or not math.isfinite(value) or not math.isfinite(limit):
        return "unknown", None
    gap = value - limit if sense == "at_least" else limit - value
    if gap < -1e-9 * max(1.0, abs(limit)):
        return "fails", round(gap / abs(limit), 12) if limit else None
    if not limit:
        return "holds", None
    margin = round(gap / abs(limit), 12)
    return ("tight" if margin < allowance else "holds"), margin


def straddles(value: float, doubt: float, limit: float | None, sense: Sense) -> bool:
    """Whether a value may lie on either side of its limit, read plus or minus `doubt`.

    >>> straddles(99.0, 0.5, 100.0, "at_most"), straddles(99.8, 0.5, 100.0, "at_most")
    (False, True)
    """
    ends = {judge(value + s * doubt, limit, sense)[0] == "fails" for s in (-1.0, 0.0, 1.0)}
    return sense != "informational" and len(ends) > 1


def merge(study: str, plant: str, parts: Iterable[Result]) -> Result:
    """Several results as one, in the order given.

    Figures with a key of one word get their study's name before it, so that a report puts them in
    that study's chapter; those of the first result keep their keys.
    """
    every: Sequence[Result] = tuple(parts)

    def own(number: int, of: str, key: str) -> str:
        return key if number == 0 or "." in key else f"{of}.{key}"

    return Result(
        study=study,
        plant=plant,
        findings=tuple(f for r in every for f in r.findings),
        tables=tuple(
            replace(t, key=own(i, r.study, t.key)) for i, r in enumerate(every) for t in r.tables
        ),
        series=tuple(
            replace(s, key=own(i, r.study, s.key)) for i, r in enumerate(every) for s in r.series
        ),
        assumptions=tuple(dict.fromkeys(a for r in every for a in r.assumptions)),
        seed=next((r.seed for r in every if r.seed is not None), None),
        notes=tuple(dict.fromkeys(n for r in every for n in r.notes)),
    )
