"""The cause-and-effect table as data, and its evaluation.

One table serves four users: the routes study proves it, the watch evaluates it against a
controller, documents export it, and the tests run the exported text against it. It is a draft for
the review of the controls engineer; it is not a safety function.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Literal

DRAFT = (
    "Draft for review by the responsible controls engineer. Not a safety function: emergency "
    "stops, guards, pressure relief and vacuum relief work without it and are designed by others."
)
"""Stands on every export of the table."""

Priority = Literal["high", "medium", "low"]
PRIORITIES: tuple[Priority, ...] = ("high", "medium", "low")


@dataclass(frozen=True, slots=True)
class Signal:
    """A contact: on while a machine is in a position, or while a process value is past its point.

    `says` is the position (`closed`, `to_b`, `runs`, `full`) or the process state (`flow`, `high`,
    `wash`) that it stands for. `fitted` tells whether the plant file has the sensor already.
    """

    tag: str
    machine: str
    says: str
    meaning: str
    fitted: bool
    process: bool = False


@dataclass(frozen=True, slots=True)
class Effect:
    """An output: what the controller does when a row that names it is active."""

    tag: str
    meaning: str


@dataclass(frozen=True, slots=True)
class Told:
    """What a row's alarm says and asks for in some of its modes; `harm` comes of it there."""

    modes: tuple[str, ...]
    harm: str
    text: str
    do: str


@dataclass(frozen=True, slots=True)
class Row:
    """A cause: in these modes these contacts must be on and those off; otherwise the row is active,
    except while every contact of `unless` is on: then another way does the same.

    The row becomes an alarm after `on_delay_s` and goes after `off_delay_s`. `text` and `do` are of
    all its modes; `told` has those of each, the worst first, and `priority` is that of the worst.
    `proof` names a wrong position that would go unseen without this row ("" where other rows see
    all that it sees).
    """

    tag: str
    machine: str
    wanted: str
    modes: tuple[str, ...]
    on: tuple[str, ...]
    off: tuple[str, ...]
    priority: Priority
    text: str
    do: str
    on_delay_s: float
    off_delay_s: float
    told: tuple[Told, ...] = ()
    effects: tuple[str, ...] = ()
    unless: tuple[str, ...] = ()
    before: bool = True
    """Whether it must be right before the mode may begin (transfers start after)."""
    proof: str = ""
    proof_mode: str = ""
    proof_wrong: tuple[tuple[str, str], ...] = ()

    @property
    def needed(self) -> bool:
        """Whether a known wrong position would go unseen without this row."""
        return bool(self.proof)

    @property
    def harm(self) -> str:
        """The class of the worst that comes of it."""
        return self.told[0].harm

    def told_in(self, mode: str) -> tuple[str, str]:
        """What the alarm says in a mode and asks for there; of all modes where it has no such."""
        return next(((t.text, t.do) for t in self.told if mode in t.modes), (self.text, self.do))

    @property
    def contacts(self) -> tuple[str, ...]:
        """Every contact that it rests on."""
        return (*self.on, *self.off, *self.unless)

    def alarm_when(self) -> str:
        """Its cause in words."""
        wrong = " or ".join([*(f"{t} off" for t in self.on), *(f"{t} on" for t in self.off)])
        return wrong + (f", unless {' and '.join(self.unless)} are on" if self.unless else "")

    def right_when(self) -> str:
        """What shows it right, in words."""
        right = " and ".join([*(f"{t} on" for t in self.on), *(f"{t} off" for t in self.off)])
        return right + (f"; or {' and '.join(self.unless)} on" if self.unless else "")


@dataclass(frozen=True, slots=True)
class Table:
    """The whole table of a plant. A mode's number at the controller is its place here, from 1."""

    plant: str
    modes: tuple[str, ...]
    signals: tuple[Signal, ...]
    effects: tuple[Effect, ...]
    rows: tuple[Row, ...]
    titles: Mapping[str, str] = field(default_factory=dict)
    """Machine id to title, for people."""
    unseen: tuple[str, ...] = ()
    """Harm of a sensed machine that no row sees, in words; a complete table has none."""
    runs: tuple[Signal, ...] = ()
    """Run contacts that no row rests on: where they are wired, hours and starts are counted."""

    def run_contacts(self) -> dict[str, str]:
        """Every contact that tells that a machine runs, rows' or not: tag to machine."""
        return {s.tag: s.machine for s in (*self.signals, *self.runs) if s.says == "runs"}

    def number(self, mode: str) -> int:
        """The mode's number at the controller, from 1.

        Raises:
            KeyError: no mode of that name.
        """
        try:
            return self.modes.index(mode) + 1
        except ValueError:
            raise KeyError(mode) from None

    def mode(self, number: int) -> str | None:
        """The mode of a number, or None."""
        return self.modes[number - 1] if 1 <= number <= len(self.modes) else None

    def row(self, tag: str) -> Row:
        """A row by its tag; KeyError when there is none."""
        for one in self.rows:
            if one.tag == tag:
                return one
        raise KeyError(tag)

    def as_fitted(self) -> Table:
        """The table with the contacts that the plant has; rows that none of them feeds are gone."""
        from dataclasses import replace

        have = {s.tag for s in self.signals if s.fitted}
        cut = (
            replace(r, on=tuple(t for t in r.on if t in have),
                    off=tuple(t for t in r.off if t in have),
                    unless=r.unless if have.issuperset(r.unless) else ())
            for r in self.rows
        )  # fmt: skip
        return replace(
            self, signals=tuple(s for s in self.signals if s.fitted),
            rows=tuple(r for r in cut if r.on or r.off),
        )  # fmt: skip

    def without(self, *tags: str) -> Table:
        """The table with some rows left out."""
        from dataclasses import replace

        return replace(self, rows=tuple(r for r in self.rows if r.tag not in tags))


def row_active(row: Row, mode: str, readings: Mapping[str, bool]) -> bool:
    """Whether a row's cause is there. A contact without a reading counts as off."""
    if mode not in row.modes:
        return False
    if row.unless and all(readings.get(t, False) for t in row.unless):
        return False
    right = all(readings.get(t, False) for t in row.on)
    return not right or any(readings.get(t, False) for t in row.off)


def row_known(row: Row, mode: str, readings: Mapping[str, bool]) -> bool | None:
    """Whether a row's cause is there; None where a contact that is not known would decide."""
    if mode not in row.modes:
        return False
    on, off = [readings.get(t) for t in row.on], [readings.get(t) for t in row.off]
    spared = [readings.get(t) for t in row.unless] or [False]
    wrong = True if False in on or True in off else None if None in on or None in off else False
    if wrong is False or all(spared):
        return False
    return wrong if False in spared else None


def active(table: Table, mode: str, readings: Mapping[str, bool]) -> tuple[str, ...]:
    """Tags of the rows whose cause is there, in table order."""
    return tuple(r.tag for r in table.rows if row_active(r, mode, readings))


def permitted(table: Table, mode: str, readings: Mapping[str, bool]) -> bool:
    """Whether a mode may begin: every row that must be right before it is right."""
    return not any(r.before and row_active(r, mode, readings) for r in table.rows)


def outputs(table: Table, mode: str, readings: Mapping[str, bool]) -> dict[str, bool]:
    """Every effect's state, delays left out."""
    on = {e for r in table.rows if row_active(r, mode, readings) for e in r.effects}
    return {e.tag: e.tag in on for e in table.effects}


def contacts(table: Table, positions: Mapping[str, str | None],
             process: Mapping[str, bool] | None = None) -> dict[str, bool]:  # fmt: skip
    """What the contacts show when machines are in these positions.

    A half-open valve closes none of its contacts. Process contacts come from `process`, by tag.
    """
    shown = {s.tag: positions.get(s.machine) == s.says for s in table.signals if not s.process}
    shown |= {s.tag: (process or {}).get(s.tag, False) for s in table.signals if s.process}
    return shown


def by_priority(rows: Iterable[Row]) -> list[Row]:
    """Rows, the most urgent first, otherwise in their order."""
    return sorted(rows, key=lambda r: PRIORITIES.index(r.priority))
