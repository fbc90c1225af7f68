"""What a record tells beside its own figure: an agitator in a tank's temperature, slugs of a wash
in the receiver's vacuum, a control that hunts in its spectrum, detergent in a conductivity."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from byrewright.traces.level import dips
from byrewright.traces.trace import Array, Trace, TraceUnfit

# All that these figures rest on stands here, and is byrewright's own choice.
STIR_S, STIR_K, STEADY_S = 120.0, 0.25, 480.0
"""An agitator that starts mixes what stood in layers: a jump so large, within so long, after so
long a rest (own choice)."""
SLUG_KPA, SLUG_STEP_S = 1.0, 0.5
"""A slug takes so much vacuum away; a record has to be at least so quick (own choice)."""
HUNTS_SHARE, HUNTS_KPA = 0.5, 0.2
"""A control hunts where one period holds so much of all swing and swings so far (own choice)."""
HOUR_S = 3600.0
LEAST_PERIODS, LEAST_SAMPLES = 8, 64
"""Hunting is looked for in the first hour, by so many of its periods and readings (own choice)."""
WASHES, RINSED = 0.5, 0.1
"""Share of the way from water to detergent: it washes from here, it is rinsed out from there (own
choice)."""
WATER_MS_CM, STANDS_OUT, END_S = 0.05, 2.0, 20.0
"""Water conducts so much at least; detergent so many times as much; how the last rinse ends is the
mean of so long (own choice)."""


@dataclass(frozen=True)
class Hunting:
    """The strongest swing of a vacuum: its period, half its height, its share of all the swing."""

    period_s: float
    swing_kpa: float
    share: float


@dataclass(frozen=True)
class Detergent:
    """A wash by the conductivity of its return, mS/cm; times in s."""

    water: float
    strongest: float
    washes_s: float
    last: float
    rinsed: bool


def stirs(tank: Trace) -> tuple[float, ...]:
    """When the agitator of a tank began to run, by the jump of its temperature.

    Milk that stands lies in layers; the sensor hardly moves until it is mixed. Milk that comes in
    or is cooled moves slowly or goes on moving, and is no jump.

    Raises:
        TraceUnfit: it was read less than once in 40 s.
    """
    if tank.step_s > STIR_S / 3:
        raise TraceUnfit(f"it was read every {tank.step_s:.3g} s; an agitator needs "
                         f"{STIR_S / 3:g} s or less")  # fmt: skip
    found: list[float] = []
    for piece in tank.pieces():
        slow = piece.smooth(max(30.0, 3 * piece.step_s))
        t = piece.t_s

        def at(shift: float, slow: Array = slow, t: Array = t) -> Array:
            return slow[np.clip(np.searchsorted(t, t + shift), 0, t.size - 1)]

        jump = np.abs(at(STIR_S) - slow)
        calm = np.abs(slow - at(-STEADY_S)) < jump / 3
        after = np.abs(at(STIR_S + STEADY_S / 2) - at(STIR_S)) < jump / 3
        inside = (t - t[0] >= STEADY_S) & (t[-1] - t >= STIR_S + STEADY_S / 2)
        hit = np.flatnonzero((jump >= STIR_K) & calm & after & inside)
        for i in hit:
            if not found or t[i] - found[-1] > STEADY_S:
                found.append(float(t[i]))
    return tuple(found)


def slugs(receiver: Trace, start_s: float, end_s: float) -> tuple[float, ...]:
    """When slugs of a wash reached the receiver: each takes its vacuum away for a moment.

    Raises:
        TraceUnfit: it was read less than twice a second.
    """
    if receiver.step_s > SLUG_STEP_S:
        raise TraceUnfit(
            f"it was read every {receiver.step_s:.2g} s; slugs need {SLUG_STEP_S:g} s or less"
        )
    found = dips(receiver.between(start_s, end_s), SLUG_KPA)
    return tuple(d.start_s for d in found if d.away_kpa < 0)


def hunting(vacuum: Trace) -> Hunting | None:
    """The period with which a vacuum swings, where one stands out of its spectrum; else None.

    The spectrum is Welch's (1967) over the longest stretch without a gap, its first hour at most.
    """
    from scipy.signal import welch

    piece = max(vacuum.pieces(), key=lambda p: p.lasts_s)
    piece = piece.between(float(piece.t_s[0]), float(piece.t_s[0]) + HOUR_S)
    if piece.t_s.size < LEAST_SAMPLES:
        return None
    even = np.arange(piece.t_s[0], piece.t_s[-1], piece.step_s)
    x = np.interp(even, piece.t_s, piece.x)
    part = max(LEAST_SAMPLES, x.size // 4)
    f, power = welch(x, 1.0 / piece.step_s, nperseg=min(part, x.size))
    slow = f >= LEAST_PERIODS / piece.lasts_s
    if not slow.any() or not power[slow].sum():
        return None
    top = int(np.argmax(np.where(slow, power, 0.0)))
    near = slice(max(0, top - 2), top + 3)
    share = float(power[near].sum() / power[1:].sum())
    swing = float(np.sqrt(2.0 * power[near].sum() * (f[1] - f[0])))
    if share < HUNTS_SHARE or swing < HUNTS_KPA:
        return None
    return Hunting(float(power[near].sum() / (power[near] @ f[near])), swing, share)


def detergent(conductivity: Trace) -> Detergent:
    """How long detergent was in the return, and whether the last rinse took it out.

    Raises:
        TraceUnfit: it tells no detergent from water.
    """
    water, strong = (float(q) for q in np.percentile(conductivity.x, [2.0, 98.0]))
    if strong < STANDS_OUT * max(water, WATER_MS_CM):
        raise TraceUnfit("no detergent stands out of the water")
    weights = conductivity.weights_s()
    over = conductivity.x >= water + WASHES * (strong - water)
    last = conductivity.between(float(conductivity.t_s[-1]) - END_S, np.inf).mean()
    return Detergent(water, strong, float(weights[over].sum()), last,
                     last <= water + RINSED * (strong - water))  # fmt: skip
