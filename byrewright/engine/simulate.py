"""Step a compiled plant: cheap, without the interpreter's lock, and resumable from a snapshot."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from byrewright.engine import shape as sh
from byrewright.engine.ahead import finish
from byrewright.engine.compiled import Compiled
from byrewright.engine.kernels.loop import Z_FIRST
from byrewright.engine.kernels.loop import run as _run

Row = tuple[int, int, int, int, float]
"""Step, rank, target, field and value of a timed row."""


@dataclass(frozen=True, slots=True)
class Outcome:
    """The state reached, and the readings taken on the way (None when none were asked for)."""

    state: sh.State
    seen: sh.Floats | None


def columns(compiled: Compiled) -> int:
    """Columns of a row of readings."""
    names = compiled.names
    return Z_FIRST + 2 * len(names.vessels) + len(names.transfers) + len(names.exchangers)


def rows_added(day: sh.Day, rows: tuple[Row, ...]) -> sh.Day:
    """A day with more timed rows, in their order of (step, rank, target, field)."""
    if not rows:
        return day
    every = [
        (*(int(v) for v in head), float(value))
        for head, value in zip(day.rows, day.values, strict=True)
    ]
    every = sorted([*every, *rows])
    heads = np.array([r[:4] for r in every], np.int64).reshape(-1, 4)
    return day._replace(rows=heads, values=np.array([r[4] for r in every], np.float64))


def simulate(
    compiled: Compiled,
    day: sh.Day,
    start: sh.State,
    until_step: int,
    *,
    rows: tuple[Row, ...] = (),
    readings_from: int | None = None,
) -> Outcome:
    """Run from a snapshot to a step. The snapshot is not changed.

    Args:
        rows: failures, repairs and operators' acts besides the day's own rows.
        readings_from: step from which readings are kept; none when None.
    """
    finish()
    T = compiled.tables
    state = start.copy()
    day = rows_added(day, rows)
    # The cursor follows the step, so that other rows can be used after a snapshot.
    state.n[sh.I_ROW] = int(np.searchsorted(day.rows[:, 0], state.n[sh.I_STEP], "left"))
    sample = int(T.num[sh.N_SAMPLE])
    first = 0
    seen = sh.zeros(0, columns(compiled))
    if readings_from is not None:
        first = readings_from // sample + 1
        seen = sh.zeros(max(0, until_step // sample - first + 1), columns(compiled))
    _run(T, day, state, until_step, first, seen, sh.zeros(len(T.F), len(sh.WORK)))
    return Outcome(state, seen if readings_from is not None else None)
