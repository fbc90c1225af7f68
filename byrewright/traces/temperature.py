"""Temperatures with time: milk coming into a tank and cooling, and a wash by its stages."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from byrewright.traces.level import runs
from byrewright.traces.trace import Trace, TraceUnfit

SLOW_S = 60.0
NOISE_SHARE = 0.3
"""Share of a climb that still counts as lying at the bottom."""


@dataclass(frozen=True)
class Filling:
    """Warm milk met in a tank: when it began, how warm the blend became, when it was cold again."""

    start_s: float
    from_c: float
    warmest_c: float
    warmest_at_s: float
    cold_at_s: float | None

    @property
    def cooled_in_s(self) -> float | None:
        """From the first warm milk until cold; None where the trace ends before."""
        return None if self.cold_at_s is None else self.cold_at_s - self.start_s


@dataclass(frozen=True)
class Stage:
    """One stage of a wash: a stretch with liquid of one temperature, told by its start and end."""

    start_s: float
    end_s: float
    warmest_c: float
    mean_c: float
    end_c: float


def fillings(tank: Trace, cold_c: float, rise_k: float = 1.0) -> tuple[Filling, ...]:
    """The milkings that a tank's temperature tells of, recognised by themselves.

    A filling begins where the temperature leaves its lowest before a climb of `rise_k` or more. It
    ends when the milk
    is at `cold_c` again, or `rise_k` below its warmest where it never was above `cold_c`. Milk that
    comes before that belongs to the same filling.

    Raises:
        TraceUnfit: shorter than ten minutes.
    """
    if tank.lasts_s < 10 * SLOW_S:
        raise TraceUnfit("it lasts less than ten minutes")
    slow = tank.means(SLOW_S)
    found: list[Filling] = []
    low, low_at = float(slow.x[0]), float(slow.t_s[0])
    current: Filling | None = None
    for t, c in zip(slow.t_s.tolist(), slow.x.tolist(), strict=True):
        if current is None:
            low = min(low, c)
            if c <= low + NOISE_SHARE * rise_k:
                low_at = t
            if c >= low + rise_k:
                current = Filling(low_at, low, c, t, None)
        elif c > current.warmest_c:
            current = replace(current, warmest_c=c, warmest_at_s=t)
        elif c <= (cold_c if current.warmest_c > cold_c + rise_k else current.warmest_c - rise_k):
            found.append(replace(current, cold_at_s=t))
            current, low, low_at = None, c, t
    if current is not None:
        found.append(current)
    return tuple(found)


def cooling_kw(tank: Trace, filling: Filling, kg: float, kj_kg_k: float) -> float:
    """Mean duty by which a known content cooled, from its warmest to cold, kW.

    Raises:
        TraceUnfit: the trace ends before the milk was cold.
    """
    if filling.cold_at_s is None:
        raise TraceUnfit("it ends before the milk was cold")
    fall = (
        filling.warmest_c - tank.between(filling.cold_at_s - 90.0, filling.cold_at_s + 90.0).mean()
    )
    return kg * kj_kg_k * fall / (filling.cold_at_s - filling.warmest_at_s)


def above_s(temperature: Trace, at_least_c: float) -> float:
    """Time at or above a temperature, gaps left out, s."""
    weights = temperature.weights_s()
    return float(weights[temperature.x >= at_least_c].sum())


def stages(returned: Trace, jump_k: float = 6.0, least_s: float = 60.0) -> tuple[Stage, ...]:
    """The stages of a wash from the temperature of what returns.

    A new stage begins where the temperature moves by `jump_k` or more within 20 s; stretches of
    less than `least_s` are changes between stages, not stages.
    """
    found: list[Stage] = []
    for piece in returned.pieces():
        if piece.lasts_s < least_s:
            continue
        ahead = np.minimum(np.searchsorted(piece.t_s, piece.t_s + 20.0), piece.t_s.size - 1)
        smooth = piece.smooth(min(4.0, max(piece.step_s, 1.0)))
        steep = np.abs(smooth[ahead] - smooth) >= jump_k
        for i, last in runs(~steep):
            # looking ahead cuts off the last 20 s before a jump: they are of this stage
            j = last
            while j <= ahead[last - 1] and abs(smooth[j] - smooth[last - 1]) < jump_k / 2:
                j += 1
            stretch = Trace(piece.t_s[i:j], piece.x[i:j])
            if stretch.lasts_s < least_s:
                continue
            found.append(
                Stage(
                    float(stretch.t_s[0]),
                    float(stretch.t_s[-1]),
                    float(np.percentile(stretch.x, 98.0)),
                    stretch.mean(),
                    stretch.between(float(stretch.t_s[-1]) - 20.0, np.inf).mean(),
                )
            )
    return tuple(found)
