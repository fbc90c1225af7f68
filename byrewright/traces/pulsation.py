"""Pulsation of one half of a unit: rate, ratio and the phases a to d.

Phases change at 4 kPa and at 4 kPa below the greatest chamber vacuum (ISO 3918 and ISO 6690, from
memory). All cycles are laid over each other at the steep middle of their rise, and the phases are
read from the mean cycle: noise falls with the number of cycles, and a slow instrument still
resolves the edges, since no two cycles are sampled at the same moments.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from byrewright.traces.trace import Array, Trace, TraceUnfit

LEAST_CYCLES = 5
SLOWEST_PER_MIN, QUICKEST_PER_MIN = 20.0, 200.0
BIN_S = 0.002
IN_A_BIN = 6
"""Samples that a bin holds at least, on average."""
LEAST_SWING_KPA = 12.0


@dataclass(frozen=True)
class Pulsation:
    """What one chamber does; times in ms of the mean cycle."""

    cycles: int
    rate_per_min: float
    rate_std_dev_per_min: float
    a_ms: float
    b_ms: float
    c_ms: float
    d_ms: float
    greatest_kpa: float
    least_kpa: float

    @property
    def cycle_ms(self) -> float:
        """One cycle."""
        return 60_000.0 / self.rate_per_min

    @property
    def ratio_pct(self) -> float:
        """Phases a and b as a share of the cycle."""
        return 100.0 * (self.a_ms + self.b_ms) / self.cycle_ms

    @property
    def b_pct(self) -> float:
        """Phase b as a share of the cycle."""
        return 100.0 * self.b_ms / self.cycle_ms

    @property
    def d_pct(self) -> float:
        """Phase d as a share of the cycle."""
        return 100.0 * self.d_ms / self.cycle_ms


def pulsation(chamber: Trace, edge_kpa: float = 4.0) -> Pulsation:
    """The pulsation of a trace of chamber vacuum, kPa; 20 to 200 cycles a minute.

    Raises:
        TraceUnfit: no pulsation, too few cycles, or sampled too coarsely for its phases.
    """
    low, high = (float(q) for q in np.percentile(chamber.x, [2.0, 95.0]))
    if high - low < max(LEAST_SWING_KPA, 3.0 * edge_kpa):
        raise TraceUnfit(
            f"it swings by {high - low:.3g} kPa, which is no pulsation of a working chamber"
        )
    if chamber.step_s > 0.05:
        raise TraceUnfit(
            f"it was read every {1000 * chamber.step_s:.0f} ms; phases need 50 ms or less"
        )
    rises = _rises(chamber, low + 0.3 * (high - low), low + 0.7 * (high - low))
    periods = np.diff(rises)
    usual = float(np.median(periods)) if periods.size else 0.0
    whole = np.abs(periods - usual) < 0.4 * usual
    if whole.sum() < LEAST_CYCLES or not SLOWEST_PER_MIN <= 60 / usual <= QUICKEST_PER_MIN:
        raise TraceUnfit(f"{int(whole.sum())} whole cycles were found; {LEAST_CYCLES} are needed")
    period = float(periods[whole].mean())
    # Cycles are laid from the middle of their low part, so that neither edge is cut.
    before = 0.5 * float((chamber.x < (low + high) / 2).mean()) * period
    mean, at = _mean_cycle(chamber, rises[:-1][whole], period, before)
    return _phases(mean, at, period, periods[whole], edge_kpa)


def _rises(chamber: Trace, lower: float, upper: float) -> Array:
    """When the vacuum passes the middle on its way up, between samples; noise does not count."""
    state = np.zeros(chamber.x.size, dtype=np.int8)
    state[chamber.x >= upper] = 1
    state[chamber.x <= lower] = -1
    seen = np.flatnonzero(state)
    turns = np.flatnonzero(np.diff(state[seen]) > 0)
    middle = (lower + upper) / 2
    found = []
    for k in turns:
        i, j = int(seen[k]), int(seen[k + 1])
        x, t = chamber.x[i : j + 1], chamber.t_s[i : j + 1]
        if t[-1] - t[0] > 0.6:  # a gap, or no edge of a pulsator
            continue
        n = int(np.flatnonzero(x >= middle)[0])
        share = (middle - x[n - 1]) / (x[n] - x[n - 1])
        found.append(t[n - 1] + share * (t[n] - t[n - 1]))
    return np.asarray(found)


def _mean_cycle(chamber: Trace, rises: Array, period: float, before: float) -> tuple[Array, Array]:
    """The mean of all cycles in bins of time after the middle of the rise."""
    width = max(BIN_S, IN_A_BIN * chamber.step_s / rises.size)
    start = rises - before
    k = np.searchsorted(start, chamber.t_s, side="right") - 1
    inside = (k >= 0) & (chamber.t_s - start[np.maximum(k, 0)] < period)
    after = chamber.t_s[inside] - rises[k[inside]]
    slot = ((after + before) / width).astype(np.int64)
    size = int(np.ceil(period / width))
    slot = np.minimum(slot, size - 1)
    count = np.bincount(slot, minlength=size)
    have = count > 0
    sums = np.bincount(slot, weights=chamber.x[inside], minlength=size)
    times = np.bincount(slot, weights=after, minlength=size)
    return sums[have] / count[have], times[have] / count[have]


def _phases(mean: Array, at: Array, period: float, periods: Array, edge: float) -> Pulsation:
    top_from = 0.9 * float(mean.max())
    greatest = float(np.median(mean[mean >= top_from])) if (mean >= top_from).any() else 0.0
    least = float(np.median(mean[mean <= mean.min() + 0.1 * (mean.max() - mean.min())]))
    high = greatest - edge
    if mean.max() < high or mean.min() > edge:
        raise TraceUnfit(f"the chamber does not come within {edge:g} kPa of its ends")
    # One cycle before and one after it: a slow valve's edge may reach into the next.
    size = mean.size
    mean, at = np.tile(mean, 3), np.concatenate((at - period, at, at + period))
    middle = int(np.argmin(np.abs(at)))
    on = _cross(mean, at, middle, edge, step=-1)
    full = _cross(mean, at, middle, high, step=1)
    late = size + int(np.flatnonzero(mean[size : 2 * size] >= high)[-1])
    begin_fall = _cross(mean, at, late, high, step=1, falling=True)
    off = _cross(mean, at, late, edge, step=1, falling=True)
    a, b, c = full - on, begin_fall - full, off - begin_fall
    d = period - a - b - c
    rates = 60.0 / periods
    return Pulsation(
        cycles=int(periods.size), rate_per_min=60.0 / period,
        rate_std_dev_per_min=float(rates.std(ddof=1)),
        a_ms=1000 * a, b_ms=1000 * b, c_ms=1000 * c, d_ms=1000 * d,
        greatest_kpa=greatest, least_kpa=least,
    )  # fmt: skip


def _cross(mean: Array, at: Array, start: int, level: float, *, step: int,
           falling: bool = False) -> float:  # fmt: skip
    """Where the mean cycle first meets a level going from `start`, between two bins."""
    up = (step > 0) != falling
    i = start
    while 0 <= i + step < mean.size:
        here, there = mean[i], mean[i + step]
        met = here < level <= there if up else here >= level > there
        if met:
            share = (level - here) / (there - here)
            return float(at[i] + share * (at[i + step] - at[i]))
        i += step
    raise TraceUnfit(f"the mean cycle does not cross {level:.3g} kPa; it was read too coarsely")


def limping_points(one: Pulsation, other: Pulsation) -> float:
    """Difference of the two halves' ratios, percentage units."""
    return abs(one.ratio_pct - other.ratio_pct)
