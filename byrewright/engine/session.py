"""One milking by itself, by the kernel that moves the cows of the simulated day.

Sizing asks here how long a milking takes, how long cows wait and what the busiest minute brings,
so that it cannot tell another number than the day: the same cows, the same chance, the same deck.
What the day adds is what comes from outside: a late start, vacuum that fails, a machine that stops.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass

import numpy as np

from byrewright.engine import shape as sh
from byrewright.engine.draws import Cows
from byrewright.engine.kernels.traffic import milking_alone
from byrewright.plant.plant import Plant
from byrewright.plant.primitives import Stalls
from byrewright.plant.programme import MilkingPlan, group_gap_s
from byrewright.plant.roles import BringsCows, StandsCows
from byrewright.standards.rulebook import Rulebook

SEED = 1
"""The seed of the day, unless another is asked for."""
STEP_S = 1.0
LONGEST_H = 2000.0
"""A milking that takes longer is given up."""


@dataclass(frozen=True, slots=True)
class Evened:
    """What receivers and balance tank make of the flow of milk.

    Receivers' pumps come on at a content and then move no less than `burst_kg_min`, taken to come
    on together; a level-led pump and its tank are a lag of the first order, and while that pump
    runs it moves no less than `least_kg_min`.
    """

    lag_s: float = 0.0
    least_kg_min: float = 0.0
    burst_kg: float = 0.0
    burst_kg_min: float = 0.0


@dataclass(frozen=True, slots=True)
class Alone:
    """A milking with nothing amiss around it."""

    hours: float
    """From the first cow on to the last unit off."""
    minute_kg: float
    """Milk of the busiest minute of the clock."""
    met_kg_min: float
    """Flow that a litre meets on the mean behind the balance tank, kg/min."""
    cows: sh.Floats
    """A row of `shape.OUT` for each cow; times from the first cow on."""


def first_day(plant: Plant) -> int:
    """The first day that a simulation reports: it warms up for one, or as long as milk is kept."""
    return max([1, *(c.every_days for c in plant.collections)])


def cow_scalars(par: sh.Floats, num: sh.Ints, one: Stalls, plant: Plant, rules: Rulebook) -> float:
    """Write down how cows move on a platform; returns the seconds between stalls (rows: of a
    change)."""
    rotary = one.layout == "rotary"
    pace = one.turn_s / one.stalls if rotary else one.turn_s
    num[sh.N_LAYOUT] = 0 if rotary else 1
    num[sh.N_STALLS] = one.stalls
    num[sh.N_ROWS] = one.rows
    par[sh.PAR_STALL_S] = pace
    par[sh.PAR_ATTACH_AT] = 0.5 * one.closed_stalls
    par[sh.PAR_EXIT_AT] = one.stalls - 0.5 * one.closed_stalls
    par[sh.PAR_WINDOW] = 2.0 * pace if rotary else 1e9
    par[sh.PAR_TURN_S] = one.turn_s
    par[sh.PAR_BOARD_S] = rules.number("milking.boarding_least_s")
    par[sh.PAR_FALL] = rules.number("milking.fall_share")
    par[sh.PAR_GAP_S] = group_gap_s(plant, rules)
    return pace


def milk_alone(
    herd: Cows, platform: StandsCows, milking: MilkingPlan, evened: Evened = Evened()
) -> Alone:
    """Milk all cows of one milking on a platform, on the day that a simulation reports first."""
    plant, rules = herd.plant, herd.rules
    stalls = Stalls(platform.layout, platform.stalls, platform.rows, platform.turn_s,
                    platform.entry_stalls, platform.stop_share_pct / 100)  # fmt: skip
    par, num = sh.zeros(len(sh.SCALARS)), np.full(len(sh.NUMBERS), -1, np.int64)
    par[sh.PAR_DT] = STEP_S
    pace_s = cow_scalars(par, num, stalls, plant, rules)
    num[sh.N_STALL0], num[sh.N_STALL1] = 0, stalls.stalls
    rotary = num[sh.N_LAYOUT] == 0
    table = herd.milked(
        first_day(plant), milking.place, pace_s if rotary else 0.0, stalls.stop_share
    )
    g, n = sh.zeros(len(sh.GENERAL)), sh.whole(len(sh.INTEGERS))
    g[sh.G_DRIVE] = g[sh.G_GATE] = 1.0
    g[sh.G_OPERATORS] = milking.operators
    n[sh.I_COWS] = len(table)
    step_min = STEP_S / 60
    burst = np.array([evened.burst_kg, evened.burst_kg_min * step_min,
                      max(1.0, evened.lag_s / STEP_S), evened.least_kg_min * step_min])  # fmt: skip
    key = (stalls.stalls, *(a.tobytes() for a in (par, num, g, n, table, burst)))
    known = _ALONE.get(key)
    if known is not None:
        return known
    out, session = sh.zeros(1, max(len(table), 1), len(sh.OUT)), sh.zeros(1, len(sh.MILKED))
    # Behind the stalls one row more, which takes the milk of all.
    fixed, whole = (sh.zeros(stalls.stalls + 1, sh.WIDE), sh.whole(stalls.stalls + 1, 2))
    whole[:] = stalls.stalls
    items = sh.zeros(stalls.stalls + 1, sh.WIDE)
    num[sh.N_M0] = num[sh.N_M1] = 0
    met = milking_alone(
        fixed, whole, items, g, n, par, num, table, out, session, round(60 / STEP_S),
        round(3600 * LONGEST_H / STEP_S), burst,
    )  # fmt: skip
    ended = n[sh.I_COW] >= n[sh.I_COWS] and n[sh.I_ON_DECK] == 0
    hours = float(session[0, sh.B_LAST_OFF]) / 3600 if ended else LONGEST_H
    out.flags.writeable = False
    while len(_ALONE) >= KEPT:
        _ALONE.pop(next(iter(_ALONE)), None)
    made = _ALONE[key] = Alone(hours, float(g[sh.G_MINUTE_MOST]), met / step_min, out[0])
    return made


KEPT = 32
_ALONE: dict[tuple[object, ...], Alone] = {}
"""The last milkings milked, by all that the kernel is given: a plant is asked again and again with
one figure changed that no cow feels."""


def brought_up(plant: Plant) -> int:
    """The most cows that the yard takes at a time: a larger group comes in several goes."""
    gates = [g.yard_cows for g in plant.machines(BringsCows) if g.yard_cows is not None]
    return max(gates, default=sys.maxsize)


def wait_s(cows: sh.Floats, together: int) -> float:
    """The longest wait: from the first to the last on of those brought up together."""
    longest = 0.0
    for group in np.unique(cows[:, sh.O_GROUP]):
        on = np.sort(cows[cows[:, sh.O_GROUP] == group, sh.O_ENTER])
        for first in range(0, len(on), together):
            some = on[first : first + together]
            longest = max(longest, float(some[-1] - some[0]))
    return longest
