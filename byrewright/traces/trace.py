"""A trace: times and values of one channel, cut where the instrument was silent."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

HALF_HOUR_S, NEAR_S = 1800.0, 120.0
"""Time zones lie half hours apart; a sample's step beside it."""
GAP_STEPS = 5.0
"""A silence of more than this many usual steps is a gap (byrewright's own choice)."""


class TraceUnfit(ValueError):
    """A trace that does not hold what is asked of it; the text is a plain clause."""


class Swapped(TraceUnfit):
    """Two traces each of which seems to be the other."""


@dataclass(frozen=True)
class Trace:
    """One channel: `t_s` rises strictly, `x` has the same length and no NaN.

    `dropped` counts samples left out since they held no number.
    """

    t_s: Array
    x: Array
    dropped: int = 0

    @property
    def step_s(self) -> float:
        """The usual time between two samples."""
        return float(np.median(np.diff(self.t_s))) if self.t_s.size > 1 else 0.0

    @property
    def lasts_s(self) -> float:
        """From the first sample to the last."""
        return float(self.t_s[-1] - self.t_s[0]) if self.t_s.size else 0.0

    def weights_s(self) -> Array:
        """Time that each sample stands for: half of each step beside it, gaps left out."""
        step = np.diff(self.t_s)
        step = np.where(step > GAP_STEPS * max(self.step_s, 1e-12), self.step_s, step)
        half = np.zeros(self.t_s.size)
        half[:-1] += step / 2
        half[1:] += step / 2
        return half

    def mean(self) -> float:
        """Mean over time."""
        if not self.t_s.size:
            raise TraceUnfit("it holds no number")
        return float(np.average(self.x, weights=self.weights_s() if self.t_s.size > 1 else None))

    def between(self, start_s: float, end_s: float) -> Trace:
        """The samples from `start_s` up to but not including `end_s`."""
        i, j = np.searchsorted(self.t_s, [start_s, end_s])
        return Trace(self.t_s[i:j], self.x[i:j])

    def pieces(self) -> Iterator[Trace]:
        """The stretches without a gap."""
        if self.t_s.size < 2:
            if self.t_s.size:
                yield self
            return
        cuts = np.flatnonzero(np.diff(self.t_s) > GAP_STEPS * self.step_s) + 1
        for part in np.split(np.arange(self.t_s.size), cuts):
            yield Trace(self.t_s[part[0] : part[-1] + 1], self.x[part[0] : part[-1] + 1])

    def gaps(self) -> tuple[tuple[float, float], ...]:
        """Start and length of each gap, s."""
        step = np.diff(self.t_s)
        at = np.flatnonzero(step > GAP_STEPS * self.step_s) if step.size else step.astype(int)
        return tuple((float(self.t_s[i]), float(step[i])) for i in at)

    def means(self, window_s: float) -> Trace:
        """Means of windows one after the other; windows with nothing in them are left out."""
        if self.lasts_s < window_s:
            raise TraceUnfit(f"it lasts {self.lasts_s:.3g} s, less than the {window_s:g} s needed")
        slot = ((self.t_s - self.t_s[0]) / window_s).astype(np.int64)
        count = np.bincount(slot)
        full = count > 0
        sums = np.bincount(slot, weights=self.x)
        middle = self.t_s[0] + (np.flatnonzero(full) + 0.5) * window_s
        return Trace(middle, sums[full] / count[full])

    def smooth(self, window_s: float) -> Array:
        """The running mean over `window_s` around each sample; the same length as `x`."""
        total = np.concatenate(([0.0], np.cumsum(self.x - self.x[0])))
        first = np.searchsorted(self.t_s, self.t_s - window_s / 2, side="left")
        last = np.searchsorted(self.t_s, self.t_s + window_s / 2, side="right")
        smooth: Array = self.x[0] + (total[last] - total[first]) / (last - first)
        return smooth


def trace(t_s: Array, x: Array) -> Trace:
    """A trace from raw columns: what is not a number is dropped.

    Raises:
        TraceUnfit: a time does not rise; nothing is left.
    """
    t, v = np.asarray(t_s, dtype=np.float64), np.asarray(x, dtype=np.float64)
    good = np.isfinite(t) & np.isfinite(v)
    dropped = int(t.size - good.sum())
    if dropped:
        t, v = t[good], v[good]
    if not t.size:
        raise TraceUnfit("it holds no number")
    back = np.flatnonzero(np.diff(t) <= 0.0)
    if back.size:
        i = int(back[0])
        by = float(t[i] - t[i + 1])
        what = f"goes back by {by:.4g} s" if by else "stands still"
        hour = by >= HALF_HOUR_S / 2 and abs(by - HALF_HOUR_S * round(by / HALF_HOUR_S)) <= NEAR_S
        why = ", as two time zones or the end of summer time make it" if hour else ""
        raise TraceUnfit(f"its clock {what} after sample {i + 1}{why}")
    return Trace(t, v, dropped)
