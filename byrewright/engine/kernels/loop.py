"""The loop: one step of everything, many times, with a row of readings every so often."""

from __future__ import annotations

import math

from byrewright.engine.jit import inner, kernel
from byrewright.engine.kernels.control import awake, control, route
from byrewright.engine.kernels.energy import (
    air,
    chill,
    drives,
    electricity,
    heat,
    jackets,
    losses,
    lots,
    vacuum,
)  # fmt: skip
from byrewright.engine.kernels.network import content, move, warmth
from byrewright.engine.kernels.traffic import cows
from byrewright.engine.shape import *

# Columns of a row of readings; then content and temperature of each vessel, flow of each mover,
# outlet of each exchanger.
WARMEST_S = 15 * 3600.0
"""Time of day of the warmest hour (common practice, no source)."""

Z_T, Z_FLOW, Z_UNITS, Z_VACUUM, Z_KW, Z_SPEED, Z_FIRST = range(7)


@inner
def _outside(second: float, weather: Floats) -> float:
    """Ambient at a second of the day: a mean and one swing a day, warmest at three."""
    return weather[0] + weather[2] * math.cos(2.0 * math.pi * (second - WARMEST_S) / 86400.0)


@inner
def _read(row: int, t: float, F: Floats, I: Ints, S: Floats, g: Floats, par: Floats, num: Ints,
          seen: Floats) -> None:  # fmt: skip
    """Write one row of readings."""
    one = seen[row]
    one[Z_T] = t
    one[Z_FLOW] = (g[G_MILK] + g[G_WITHHELD]) / par[PAR_DT] * 60.0
    one[Z_UNITS] = g[G_ATTACHED]
    one[Z_VACUUM] = g[G_VACUUM]
    one[Z_KW] = g[G_KW]
    one[Z_SPEED] = g[G_PUMP_SPEED]
    at = Z_FIRST
    vessels = num[N_V1] - num[N_V0]
    for v in range(num[N_V0], num[N_V1]):
        one[at] = content(v, S)
        one[at + vessels] = warmth(v, F, I, S, par)
        at += 1
    at += vessels
    for m in range(num[N_M0], num[N_M1]):
        one[at] = S[m, S_FLOW]
        at += 1
    for x in range(num[N_X0], num[N_X1]):
        one[at] = S[x, SX_OUT]
        at += 1


@kernel
def run(F: Floats, I: Ints, par: Floats, num: Ints, share: Floats, most: Floats, cold: Floats,
        vac: Floats, weather: Floats, price: Floats, source_c: Floats, cows_day: Floats, count: Ints, rows: Ints,
        values: Floats, S: Floats, g: Floats, n: Ints, cow: Floats, out: Floats, bout: Floats,
        loads: Floats, until: int, first_row: int, seen: Floats, work: Floats) -> None:  # fmt: skip
    """Step from where the state stands to step `until`. The work array holds nothing between."""
    dt = par[PAR_DT]
    for v in range(source_c.shape[0]):
        S[num[N_V0] + v, V_T0] = source_c[v]
    sample = num[N_SAMPLE]
    minute = num[N_MINUTE]
    calf = num[N_CALF_VESSEL]
    # Counters instead of remainders: these cost more than a vessel.
    midnights = float(int((n[I_STEP] * dt + weather[1]) / 86400.0)) * 86400.0
    to_minute = minute - n[I_STEP] % minute
    to_sample = sample - n[I_STEP] % sample
    # Taken at the minute, and the same when a run goes on from the middle of one.
    ambient = _outside((n[I_STEP] - n[I_STEP] % minute) * dt + weather[1], weather)
    while n[I_STEP] < until:
        step = n[I_STEP]
        t = step * dt
        second = t + weather[1] - midnights
        if second >= 86400.0:
            midnights += 86400.0
            second -= 86400.0
        if to_minute == minute:
            ambient = _outside(t + weather[1], weather)
        g[G_ROOM_C] = max(ambient, par[PAR_ROOM_C])
        if to_minute == minute or awake(S, F, I, n, num, rows):
            control(
                t, F, I, S, g, n, par, num, cow, out, bout, loads, rows, values, cows_day, count
            )  # fmt: skip
        route(t, I, g, n, par, num)
        vacuum(F, I, S, g, n, par, num, vac)
        cows(t, F, I, S, g, n, par, num, cow, out, bout)
        had = 0.0
        if calf >= 0:
            had = content(calf, S)
        move(work, F, I, S, g, n, par, num, share, most, cold)
        if calf >= 0 and n[I_MILKING] >= 0:
            g[G_CALF_DRAWN] += max(0.0, content(calf, S) - had)
        losses(F, I, S, g, n, par, num)
        chill(ambient, second, F, I, S, g, par, num)
        jackets(F, I, S, g, n, par, num, cold)
        heat(F, I, S, g, n, par, num)
        lots(F, I, S, g, n, par, num)
        air(F, I, S, g, par, num)
        drives(S, g, n, par, num)
        g[G_MINUTE_KG] += g[G_MILK] + g[G_WITHHELD]
        to_minute -= 1
        if to_minute == 0:
            to_minute = minute
            electricity(price[int(second / 60.0)], F, I, S, g, n, par, num)
            g[G_MINUTE_MOST] = max(g[G_MINUTE_MOST], g[G_MINUTE_KG])
            g[G_MINUTE_KG] = 0.0
        to_sample -= 1
        if to_sample == 0:
            to_sample = sample
            row = (step + 1) // sample - first_row
            if 0 <= row < seen.shape[0]:
                _read(row, t + dt, F, I, S, g, par, num, seen)
        n[I_STEP] = step + 1
