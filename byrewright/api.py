"""The Python face: read or draft a plant, ask each study, look at findings, tables and series.

    import byrewright as bw

    plant = bw.read("plant.yaml")
    day = bw.day(plant, month=7)
    day.table("milkings").dicts()

Everything wrong with what is given is a `ByrewrightError` whose text is plain sentences. See
docs/python.md, whose example runs in the tests.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from byrewright.errors import ByrewrightError
from byrewright.results import Finding, Result, Verdict
from byrewright.results import Series as _Series
from byrewright.results import Table as _Table

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from byrewright.plant.plant import Plant as Model
    from byrewright.plant.problems import Problem
    from byrewright.plant.read import PlantFile
    from byrewright.site.condition.fit import Fit
    from byrewright.standards.rulebook import Rulebook

__all__ = [
    "Answer",
    "Line",
    "Plant",
    "Table",
    "as_measured",
    "day",
    "diagnose",
    "draft",
    "explain",
    "failures",
    "read",
    "routes",
    "size",
    "vacuum",
    "write",
]

F = TypeVar("F", _Table, _Series)

UNIT_WORDS = {"%": "pct", "degC": "c", "1/h": "per_h", "1/min": "per_min"}


def column_name(title: str, unit: str = "") -> str:
    """A title with its unit as a name for code.

    >>> column_name("milk flow", "L/min"), column_name("ends", ""), column_name("share", "%")
    ('milk_flow_l_min', 'ends', 'share_pct')
    >>> column_name("cows at peak together", "cows"), column_name("times a day", "1/h")
    ('cows_at_peak_together', 'times_a_day_per_h')
    """
    told = unit in title.split()  # a count of things that the title names
    words = f"{title} {'' if told else UNIT_WORDS.get(unit, unit)}".casefold()
    return re.sub(r"[^0-9a-z]+", "_", words.replace("%", "pct")).strip("_")


@dataclass(frozen=True, repr=False)
class Plant:
    """A plant with the rules that lie beside its file; never changed in place.

    `model` is the plant model itself: `plant.model.equipment["VP1"].motor_kw`.
    """

    file: PlantFile
    rules: Rulebook
    fitted: Fit | None = None
    """What was fitted, where it is a plant as measured."""

    def told(self, result: Result) -> Answer:
        """A study's answer, with what was fitted among its assumptions."""
        return Answer(result if self.fitted is None else self.fitted.told(result))

    def __repr__(self) -> str:
        return f"<Plant of {self.name}, {len(self.model.equipment)} machines>"

    @property
    def name(self) -> str:
        """The farm's name."""
        return self.model.site.name

    @property
    def model(self) -> Model:
        """Machines, pipes, modes and farm, as in the file."""
        return self.file.plant

    @cached_property
    def sound(self) -> Model:
        """The model, where the checks find no error in it: what every study begins with.

        Raises:
            ByrewrightError: with every error that `byrewright check` tells, in the same words.
        """
        return self.file.sound() if self.fitted is None else self.file.plant

    @property
    def text(self) -> str:
        """The plant file, with its comments."""
        return self.file.text

    def problems(self) -> tuple[Problem, ...]:
        """What `byrewright check` says of the plant, each with its line."""
        return self.file.check()

    def change(self, values: Mapping[str, Any]) -> Plant:
        """The plant with some values changed: `plant.change({"equipment.VP1.motor_kw": 18.5})`.

        Keys are the dotted places of the plant file. Units may be written: `"25 hp"`.

        Raises:
            ByrewrightError: a place that is not there, a value outside its range, or a plant as
                measured: change the plant, then take the readings again.
        """
        from byrewright.plant.edit import edit_plant
        from byrewright.plant.read import read_plant_text

        if self.fitted is not None:
            raise ByrewrightError(
                "a plant as measured is not changed: change the plant that it was made from, then "
                "call as_measured again"
            )
        if not (isinstance(values, Mapping) and all(isinstance(k, str) for k in values)):
            raise ByrewrightError(
                'change: give places with their values, as {"equipment.VP1.motor_kw": 18.5}'
            )
        text = edit_plant(self.file, values)
        return Plant(read_plant_text(text, self.file.name, self.rules), self.rules)


@dataclass(frozen=True)
class Table:
    """A table of an answer: `columns` hold names with units, `rows` numbers and words."""

    title: str
    columns: tuple[str, ...]
    rows: tuple[tuple[float | str, ...], ...]
    note: str = ""

    def dicts(self) -> list[dict[str, float | str]]:
        """A dictionary a row."""
        return [dict(zip(self.columns, row, strict=True)) for row in self.rows]

    def frame(self) -> Any:
        """A pandas frame; a ByrewrightError where pandas is not installed."""
        try:
            import pandas as pd
        except ImportError:
            raise ByrewrightError(
                "frame() needs pandas, which is not installed: take dicts(), or install pandas"
            ) from None
        return pd.DataFrame(self.dicts(), columns=list(self.columns))


@dataclass(frozen=True)
class Line:
    """Something that changes along an axis, mostly time: arrays of the same length by name.

    `arrays["t_h"]` is the axis; the others are named with their units.
    """

    title: str
    axis: str
    arrays: dict[str, NDArray[np.float64]]


@dataclass(frozen=True, repr=False)
class Answer:
    """What a study found. `result` is the whole of it as every document and page reads it."""

    result: Result

    def __repr__(self) -> str:
        said = ", ".join(f"{n} {v}" for v, n in self.counts.items() if n)
        return f"<Answer of {self.result.study}: {said}>"

    @property
    def findings(self) -> tuple[Finding, ...]:
        """Every finding, in the study's order."""
        return self.result.findings

    @property
    def worst(self) -> Verdict:
        """The worst verdict."""
        return self.result.worst()

    @property
    def counts(self) -> dict[Verdict, int]:
        """Findings by verdict; those that are held to no limit count in none."""
        return self.result.count()

    @property
    def seed(self) -> int | None:
        """The seed that was used, where anything was drawn."""
        return self.result.seed

    def finding(self, name: str) -> Finding:
        """The one finding of a name, `key` or `key@subject`; a ByrewrightError for none or many."""
        found = [f for f in self.findings if name in (f.name, f.key)]
        if len(found) == 1:
            return found[0]
        if not found:
            raise ByrewrightError(
                f"no finding is called {name}{_near(name, [f.name for f in self.findings])}"
            )
        names = ", ".join(f.name for f in found)
        raise ByrewrightError(f"{name} names {len(found)} findings: {names}; take one of them")

    def tables(self) -> tuple[str, ...]:
        """The names of the tables."""
        return tuple(t.key for t in self.result.tables)

    def table(self, name: str) -> Table:
        """A table by its name, with or without the study before it: `"milkings"`."""
        return _table(_named(name, self.result.tables, "table"))

    def series(self) -> tuple[str, ...]:
        """The names of what can be drawn against time."""
        return tuple(s.key for s in self.result.series)

    def line(self, name: str) -> Line:
        """A series by its name, with or without the study before it, as arrays."""
        return _line(_named(name, self.result.series, "series"))

    def to_dict(self) -> dict[str, Any]:
        """Plain data, the same as `--json`."""
        return self.result.to_dict()

    def to_json(self) -> str:
        """The same as `--json` prints."""
        return self.result.to_json()


def _near(name: str, names: list[str]) -> str:
    import difflib

    near = difflib.get_close_matches(name, names, n=3, cutoff=0.3)
    return f"; nearest: {', '.join(near)}" if near else ""


def _named(name: str, figures: tuple[F, ...], what: str) -> F:
    for one in figures:
        if name in (one.key, one.key.rpartition(".")[2]):
            return one
    raise ByrewrightError(f"no {what} is called {name}{_near(name, [f.key for f in figures])}")


def _distinct(names: list[str]) -> tuple[str, ...]:
    """Names of columns with a number behind those that stand twice."""
    return tuple(
        n if names.count(n) == 1 else f"{n}_{names[: i + 1].count(n)}" for i, n in enumerate(names)
    )


def _table(one: _Table) -> Table:
    names = [column_name(c, u) for c, u in zip(one.columns, one.units, strict=True)]
    return Table(one.title, _distinct(names), one.rows, one.note)


def _line(one: _Series) -> Line:
    import numpy as np

    axis = column_name("t" if one.x_unit in ("s", "min", "h", "d") else "x", one.x_unit)
    names = _distinct([axis, *(column_name(name, unit) for name, unit, _ in one.lines)])
    values = [one.x, *(v for _, _, v in one.lines)]
    return Line(
        one.title,
        axis,
        {n: np.asarray(v, dtype=np.float64) for n, v in zip(names, values, strict=True)},
    )


def read(path: str | Path) -> Plant:
    """Read a plant file, with `limits.yaml` and `milkline_table.yaml` beside it where they are.

    Raises:
        ByrewrightError: with one sentence for each thing wrong in the files.
    """
    from byrewright.plant.limits import rules_beside
    from byrewright.plant.read import read_plant

    _there(path)
    return Plant(read_plant(path), rules_beside(path))


def draft(
    brief: str | Path,
    *,
    full: bool = False,
    say: Callable[[str, int, int], bool | None] | None = None,
    processes: int = 1,
) -> Plant:
    """Draft the plant of a brief file; `limits.yaml` beside the brief counts.

    Args:
        full: hold it to every study and mend it until they hold (a minute or more); by sizing
            alone when False.
        say: told what is done now, its number and of how many; an answer of True stops the work.
        processes: how many work side by side at a full draft; the plant is the same. More than one
            ask for a script that does its work under `if __name__ == "__main__":`.

    Raises:
        Cancelled: `say` answered True.
        ByrewrightError: the brief cannot be read, or asks for what cannot be drafted, or with
            `full` cannot be made to hold: the findings that fail, and what would have to give.
    """
    from byrewright.drafting.draft import draft_plant
    from byrewright.drafting.gives import closed_draft
    from byrewright.plant.brief import read_brief
    from byrewright.plant.limits import rules_beside
    from byrewright.plant.read import read_plant_text

    _there(brief)
    rules = rules_beside(brief)
    file = read_brief(brief)
    made = closed_draft(file, rules, say=say, many=processes) if full else draft_plant(file, rules)
    if made.open:
        raise ByrewrightError(" ".join([
            f"{brief}: the draft does not hold.", *(f.sentence for f in made.open),
            *(f"What would give: {words}." for words in made.gives),
        ]))  # fmt: skip
    text = made.text
    return Plant(read_plant_text(text, rules=rules), rules)


def write(plant: Plant, path: str | Path) -> Path:
    """Write a plant file, whole or not at all; the path it was written to. Of a plant as measured
    it is the file that the readings were taken at: what was fitted is not written.

    Raises:
        ByrewrightError: the file cannot be written.
    """
    from byrewright.plant.write import write_text

    try:
        write_text(path, _plant(plant).text)
    except OSError as error:
        raise ByrewrightError(f"{path}: {error.strerror or error}") from None
    return Path(path)


def _plant(plant: object) -> Plant:
    if not isinstance(plant, Plant):
        raise ByrewrightError(f"{type(plant).__name__} is not a plant: give one of bw.read(...)")
    return plant


def _whole(name: str, value: Any, least: float, most: float, what: str) -> None:
    if not hasattr(value, "__index__") or isinstance(value, bool) or not least <= value <= most:
        raise ByrewrightError(f"{name} {value!r}: give {what}")


def _there(path: str | Path) -> None:
    if not (isinstance(path, str | Path) and Path(path).is_file()):
        raise ByrewrightError(f"{path}: no such file; check the name and the folder")


def size(plant: Plant) -> Answer:
    """What every machine and pipe must be, and whether it is.

    Raises:
        ByrewrightError: a plant with errors, as from every study.
    """
    from byrewright.studies.sizing import size as ask

    return _plant(plant).told(ask(plant.sound, plant.rules))


def vacuum(plant: Plant) -> Answer:
    """The air network: steady, in time, and what each instrument should read."""
    from byrewright.studies.vacuum import study_vacuum

    return _plant(plant).told(study_vacuum(plant.sound, plant.rules))


def day(
    plant: Plant, *, month: int | None = None, days: int = 1, seed: int = 1, hot: bool = False
) -> Answer:
    """Whole days, cow by cow: `month` 1-12 (the hardest on cooling when none is named), `days`
    1-3660; `hot` takes the hottest afternoon.

    Raises:
        ByrewrightError: a month or number of days outside its range, or a plant with errors.
    """
    from byrewright.studies.day import run_day

    if month is not None:
        _whole("month", month, 1, 12, "a month of 1 to 12")
    _whole("days", days, 1, 3660, "1 to 3660")
    _whole("seed", seed, -math.inf, math.inf, "a whole number")
    return _plant(plant).told(
        run_day(plant.sound, plant.rules, month=month, days=days, seed=seed, hot=hot)
    )


def failures(
    plant: Plant, *, pairs: bool = False, hours: float | None = None, seed: int = 1
) -> Answer:
    """What each failure does to milking; `pairs` takes two at once, `hours` 1-20 followed.

    Raises:
        ByrewrightError: hours outside their range, or a plant with errors.
    """
    from byrewright.studies.failures.runs import LONGEST_H, SHORTEST_H
    from byrewright.studies.failures.study import study_failures

    if hours is not None and not (
        isinstance(hours, int | float) and SHORTEST_H <= hours <= LONGEST_H
    ):
        raise ByrewrightError(f"hours {hours!r}: give {SHORTEST_H:g} to {LONGEST_H:g}")
    _whole("seed", seed, -math.inf, math.inf, "a whole number")
    return _plant(plant).told(
        study_failures(plant.sound, plant.rules, pairs=pairs, hours=hours, seed=seed)
    )


def routes(plant: Plant) -> Answer:
    """Every wrong valve position that dumps or spoils milk, and the proof that no other does."""
    from byrewright.studies.routes.study import routes as ask

    return _plant(plant).told(ask(plant.sound, plant.rules))


def as_measured(plant: Plant, readings: str | Path | Sequence[str | Path] = ()) -> Plant:
    """The plant with figures fitted to readings in place of its data plates; every study takes it,
    and lists them among its assumptions. The plant given stays as it is.

    Args:
        readings: as typed ("pump_capacity@VP1=3600+-50"), or the path of a plant file whose log is
            read.

    Raises:
        ByrewrightError: a reading that cannot be used, or a log without any.
    """
    from byrewright.site.condition.fit import fit

    taken = _taken(plant, readings)
    if not taken:
        raise ByrewrightError("as_measured: name readings, or the plant file whose log holds them")
    found = fit(plant.sound, plant.rules, taken)
    model, rules = found.put_in(plant.sound, plant.rules)
    return Plant(replace(plant.file, plant=model), rules, found)


def diagnose(
    plant: Plant, says: str | Sequence[str] = (), readings: str | Path | Sequence[str | Path] = ()
) -> Answer:
    """What is wrong: ranked causes, what speaks for and against each, and what to measure next.

    Args:
        says: complaints, such as "vacuum low" (one or several); see docs/diagnose.md.
        readings: as for `as_measured`.

    Raises:
        ByrewrightError: a complaint that there is not, or a reading that cannot be used.
    """
    from byrewright.site.condition.causes import diagnose as ask
    from byrewright.site.condition.study import diagnosis_result

    says = [says] if isinstance(says, str) else says
    taken = _taken(plant, readings)
    found = ask(plant.sound, says, [t.reading for t in taken], plant.rules)
    return Answer(diagnosis_result(plant.name, found, says, taken))


def _taken(plant: Plant, readings: str | Path | Sequence[str | Path]) -> list[Any]:
    from byrewright.site.condition.taken import Taken, of_log, typed

    found: list[Any] = []
    sound = _plant(plant).sound
    for one in [readings] if isinstance(readings, str | Path) else readings:
        if isinstance(one, Path) or "=" not in (one := str(one)):
            _there(one)
            found += of_log(Path(one), sound)
        else:
            found.append(Taken(typed(one, sound), "", "typed"))
    return found


def explain(answer: Answer, name: str) -> str:
    """How a finding was worked out: the formula, the numbers in it, the source."""
    from byrewright.studies.explain import explain as told

    return told(answer.finding(name)).render()
