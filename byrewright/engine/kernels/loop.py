"""The loop: one step of everything, many times, with a row of readings every so often."""

from __future__ import annotations

from byrewright.engine import shape as sh
from byrewright.engine.jit import inner, kernel
from byrewright.engine.kernels.control import awake, control, route
from byrewright.engine.kernels.energy import (
    air,
    chill,
    drives,
    electricity,
    heat,
    jackets,
    laundry,
    losses,
    rings,
    vacuum,
)  # fmt: skip
from byrewright.engine.kernels.network import move
from byrewright.engine.kernels.traffic import cows
from byrewright.engine.kernels.vessels import mass, temperature
from byrewright.engine.shape import Day, Floats, Ints, State, Tables
from byrewright.physics import air as outdoors

outside_c = kernel(outdoors.outside_c)

# Columns of a row of readings; then content and temperature of each vessel, flow of each transfer,
# outlet of each exchanger.
Z_T, Z_FLOW, Z_UNITS, Z_VACUUM, Z_KW, Z_SPEED, Z_FIRST = range(7)


@inner
def _read(row: int, t: float, F: Floats, I: Ints, S: Floats, g: Floats, par: Floats, num: Ints,
          seen: Floats) -> None:  # fmt: skip
    """Write one row of readings."""
    one = seen[row]
    one[Z_T] = t
    one[Z_FLOW] = (g[sh.G_MILK] + g[sh.G_WITHHELD]) / par[sh.PAR_DT] * 60.0
    one[Z_UNITS] = g[sh.G_ATTACHED]
    one[Z_VACUUM] = g[sh.G_VACUUM]
    one[Z_KW] = g[sh.G_KW]
    one[Z_SPEED] = g[sh.G_PUMP_SPEED]
    at = Z_FIRST
    vessels = num[sh.N_V1] - num[sh.N_V0]
    for v in range(num[sh.N_V0], num[sh.N_V1]):
        one[at] = mass(v, S)
        one[at + vessels] = temperature(v, F, I, S, par)
        at += 1
    at += vessels
    for m in range(num[sh.N_M0], num[sh.N_M1]):
        one[at] = S[m, sh.S_FLOW]
        at += 1
    for x in range(num[sh.N_X0], num[sh.N_X1]):
        one[at] = S[x, sh.SX_OUT]
        at += 1


@kernel
def run(plant: Tables, day: Day, state: State, until: int, first_row: int, seen: Floats,
        work: Floats) -> None:  # fmt: skip
    """Step from where the state stands to step `until`. The work array holds nothing between."""
    F, I, par, num = plant.F, plant.I, plant.par, plant.num
    S, g, n = state.items, state.g, state.n
    weather, price, source_c = day.weather, day.price, day.source_c
    dt = par[sh.PAR_DT]
    for v in range(source_c.shape[0]):
        S[num[sh.N_V0] + v, sh.V_T0] = source_c[v]
    sample = num[sh.N_SAMPLE]
    minute = num[sh.N_MINUTE]
    calf = num[sh.N_CALF_VESSEL]
    # Counters instead of remainders: these cost more than a vessel.
    midnights = float(int((n[sh.I_STEP] * dt + weather[sh.WE_START_S]) / 86400.0)) * 86400.0
    to_minute = minute - n[sh.I_STEP] % minute
    to_sample = sample - n[sh.I_STEP] % sample
    # Taken at the minute, and the same when a run goes on from the middle of one.
    begun = (n[sh.I_STEP] - n[sh.I_STEP] % minute) * dt + weather[sh.WE_START_S]
    ambient = outside_c(begun / 3600.0, weather[sh.WE_MEAN_C], weather[sh.WE_SWING_K])
    while n[sh.I_STEP] < until:
        step = n[sh.I_STEP]
        t = step * dt
        second = t + weather[sh.WE_START_S] - midnights
        if second >= 86400.0:
            midnights += 86400.0
            second -= 86400.0
        if to_minute == minute:
            begun = t + weather[sh.WE_START_S]
            ambient = outside_c(begun / 3600.0, weather[sh.WE_MEAN_C], weather[sh.WE_SWING_K])
        g[sh.G_ROOM_C] = max(ambient, par[sh.PAR_ROOM_C])
        if to_minute == minute or awake(S, F, I, n, num, day.rows):
            control(t, plant, day, state)
        route(t, I, g, n, par, num)
        vacuum(F, I, S, g, n, par, num, plant.vac)
        cows(t, F, I, S, g, n, par, num, state.cow, state.out, state.session)
        had = 0.0
        if calf >= 0:
            had = mass(calf, S)
        move(work, F, I, S, g, n, par, num, plant.share, plant.most, plant.cold,
             state.plugs)  # fmt: skip
        if calf >= 0 and n[sh.I_MILKING] >= 0:
            g[sh.G_CALF_DRAWN] += max(0.0, mass(calf, S) - had)
        losses(F, I, S, g, n, par, num)
        rings(F, I, S, n, par, num, plant.cold)
        chill(ambient, second, F, I, S, g, n, par, num)
        jackets(F, I, S, g, n, par, num, plant.cold)
        heat(F, I, S, g, n, par, num)
        laundry(F, I, S, g, n, par, num)
        air(F, I, S, g, par, num)
        drives(S, g, n, par, num)
        g[sh.G_MINUTE_KG] += g[sh.G_MILK] + g[sh.G_WITHHELD]
        to_minute -= 1
        if to_minute == 0:
            to_minute = minute
            electricity(price[int(second / 60.0)], F, I, S, g, n, par, num)
            g[sh.G_MINUTE_MOST] = max(g[sh.G_MINUTE_MOST], g[sh.G_MINUTE_KG])
            g[sh.G_MINUTE_KG] = 0.0
        to_sample -= 1
        if to_sample == 0:
            to_sample = sample
            row = (step + 1) // sample - first_row
            if 0 <= row < seen.shape[0]:
                _read(row, t + dt, F, I, S, g, par, num, seen)
        n[sh.I_STEP] = step + 1
