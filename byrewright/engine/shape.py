"""The arrays that the kernels work on, in the groups they come in; `columns` says what is in them.

`Tables` is the compiled plant and never changes in a run; `Day` is one day's weather, prices and
cows; `State` is all that changes. A snapshot is a copy of the state. Times are seconds from the
start of the run.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from byrewright.engine.columns import *  # every column, as sh.NAME
from byrewright.engine.columns import I_ROW

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

SECTIONS = (
    "vessels", "transfers", "branches", "exchangers", "filters", "chillers", "cooled", "heated",
    "laundry", "pumps", "compressors", "phases", "places", "loads", "meters", "stalls", "washes",
    "troughs", "lines",
)  # fmt: skip
"""Sorts of item in the order of their rows; two numbers each stand first among the scalars."""


class Tables(NamedTuple):
    """The compiled plant: every item is a row of `F` (floats) and of `I` (whole numbers).

    `share[state, running, branch]` is the share of its transfer's flow that a branch takes, by the
    state of the valves and by which pumps of its group run; `most[state, running, transfer]` the
    flow it then gives at full speed and the usual level, kg/s, the part of its pump's flow that
    this is, and by which share it grows over the whole of its vessel's volume. `cold[state, user,
    vessel]` is the share of a user's chilled liquid that comes from a bath, and behind the last
    vessel the most that flows, kg/s. `vac[pumps running, units attached]` gives vacuum, speed and
    power.
    """

    F: Floats
    I: Ints  # noqa: E741
    par: Floats
    num: Ints
    share: Floats
    most: Floats
    cold: Floats
    vac: Floats

    def rows(self, section: str) -> slice:
        """The rows of one sort of item."""
        at = 2 * SECTIONS.index(section)
        return slice(int(self.num[at]), int(self.num[at + 1]))


class Day(NamedTuple):
    """One day: weather (mean ambient, clock second of step 0, swing), prices, cows."""

    weather: Floats
    price: Floats
    source_c: Floats
    cows: Floats
    count: Ints  # type: ignore[assignment]
    rows: Ints
    values: Floats


class State(NamedTuple):
    """All that changes. `items` has the same rows as the tables."""

    items: Floats
    g: Floats
    n: Ints
    cow: Floats
    out: Floats
    session: Floats
    loads: Floats
    plugs: Floats
    """What stands in each line, plug by plug."""

    def copy(self) -> State:
        """A snapshot: the same arrays, of its own."""
        return State(*(a.copy() for a in self))  # type: ignore[arg-type]

    def same_as(self, other: State) -> bool:
        """Whether two states agree to the last bit (row cursors apart)."""
        for name, a, b in zip(self._fields, self, other, strict=True):
            if name == "n":
                a, b = a.copy(), b.copy()
                a[I_ROW] = b[I_ROW] = 0
            if a.tobytes() != b.tobytes():
                return False
        return True


def zeros(*shape: int) -> Floats:
    """An array of zeros."""
    return np.zeros(shape, np.float64)


def whole(*shape: int) -> Ints:
    """An array of whole zeros."""
    return np.zeros(shape, np.int64)
