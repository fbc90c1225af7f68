"""Heat, cold, air, vacuum and electricity of one step."""

from __future__ import annotations

from byrewright.engine.jit import inner, kernel
from byrewright.engine.kernels.network import capacity_rate, content, warmth
from byrewright.engine.shape import *
from byrewright.physics import tank_wall

touched = kernel(tank_wall.touched)

HOUR_S = 3600.0
DAY_S = 86400.0
PUMP_AT, PUMP_HEALTH, PUMP_LOW_S = 0, 1, 2


@inner
def _within(second: float, start: float, end: float) -> bool:
    """Whether a second of the day lies in a window that may cross midnight."""
    if start == end:
        return True
    if start < end:
        return start <= second < end
    return second >= start or second < end


@inner
def _in_touch(v: int, k: int, F: Floats, I: Ints, S: Floats) -> float:
    """Share of a tank's evaporator that its milk touches."""
    wetted = touched(content(v, S) / F[v, V_CAP], I[v, VI_WALL])
    return min(1.0, wetted / F[k, K_EVAPORATOR])


@inner
def chill(
    ambient_c: float,
    second: float,
    F: Floats,
    I: Ints,
    S: Floats,
    g: Floats,
    par: Floats,
    num: Ints,
) -> None:
    """Refrigeration with a thermostat; ice is made down to the store's limit."""
    dt = par[PAR_DT]
    for r in range(num[N_R0], num[N_R1]):
        v = I[r, RI_TARGET]
        if v < 0 or S[r, SR_HEALTH] <= 0.0:
            S[r, SR_ON] = 0.0
            continue
        c = capacity_rate(v, F, I, S, par)
        k = I[r, RI_COOLED]
        if I[v, VI_ROLE] == BATH:
            room = S[v, HEAT] + F[v, V_ICE]
            # With ice it makes ice in its hours, and at any hour when none is left.
            open_now = _within(second, F[r, R_FROM], F[r, R_TO]) or S[v, HEAT] > 0.0
            start = 0.02 * F[v, V_ICE] + c * F[r, R_BAND]
            if F[v, V_ICE] <= 0.0:
                start = c * F[r, R_BAND]
        else:
            room = S[v, HEAT] - c * F[r, R_SET]
            open_now = content(v, S) >= F[k, K_LEAST] or F[k, K_STILL] > 0.0
            start = c * F[r, R_BAND]
        if not open_now or room <= 0.0:
            S[r, SR_ON] = 0.0
        elif room >= start:
            S[r, SR_ON] = 1.0
        if S[r, SR_ON] == 0.0:
            continue
        hot = max(0.0, ambient_c - F[r, R_RATED_C])
        fall = F[r, R_FALL]
        weak = max(0.1, 1.0 - fall * hot)
        cop = F[r, R_COP] * max(0.4, 1.0 - fall * (ambient_c - F[r, R_RATED_C]))
        full = F[r, R_DUTY] * weak * S[r, SR_HEALTH] * dt
        if k >= 0:
            used = _in_touch(v, k, F, I, S)
            full *= used
            if content(v, S) < F[k, K_LEAST]:
                gap = max(0.0, S[v, HEAT] / c - F[k, K_GUARD_C])
                full = min(full, F[k, K_STILL] * used * gap * dt)
        kj = min(full, room)
        if full >= room:
            S[r, SR_ON] = 0.0  # it has reached its setting and waits for the band
        S[v, HEAT] -= kj
        g[G_COLD_KJ] += kj
        S[r, SR_KJ] += kj
        S[r, SR_HOURS] += dt / HOUR_S
        S[I[r, RI_KWH], 0] += kj / cop / HOUR_S
        to = I[r, RI_TAKES]
        if to >= 0:
            # A share of what the condenser gives off, cold and work, while the water can take it.
            room = capacity_rate(to, F, I, S, par) * F[r, R_TAKEN_C] - S[to, HEAT]
            given = min(S[r, SR_GIVES] * F[r, R_TAKEN] * kj * (1.0 + 1.0 / cop), max(0.0, room))
            S[to, HEAT] += given
            g[G_IN_KJ] += given
            S[r, SR_RECOVERED] += given


@inner
def jackets(F: Floats, I: Ints, S: Floats, g: Floats, n: Ints, par: Floats, num: Ints,
            cold: Floats) -> None:  # fmt: skip
    """Stirred tanks: the agitator's heat, and cooling by baths where there are any."""
    dt = par[PAR_DT]
    vessels = num[N_V1] - num[N_V0]
    state = n[I_ROUTE]
    for k in range(num[N_K0], num[N_K1]):
        v = I[k, KI_VESSEL]
        reached = content(v, S) >= F[k, K_LEAST]
        if not reached and (F[k, K_STILL] <= 0.0 or content(v, S) <= 0.01):
            S[k, SK_ON] = 0.0
            continue
        warm = warmth(v, F, I, S, par)
        if warm > F[k, K_SET] + 0.4:
            S[k, SK_ON] = 1.0
        elif warm <= F[k, K_SET] + 0.01:
            S[k, SK_ON] = 0.0
        # Stirred while it is cooled, and two minutes in every half hour besides.
        stirred = S[k, SK_ON] == 1.0 or (n[I_STEP] * dt) % 1800.0 < 120.0
        if stirred and reached:
            kj = F[k, K_AGITATOR] * dt
            S[v, HEAT] += kj
            g[G_IN_KJ] += kj
            S[I[k, KI_KWH], 0] += kj / HOUR_S
            S[k, SK_AGITATOR_H] += dt / HOUR_S
        chilled = I[k, KI_CHILLED]
        if chilled >= 0 and S[k, SK_ON] == 1.0 and cold[state, chilled, vessels] > 0.0:
            used = _in_touch(v, k, F, I, S)
            cold_c = 0.0
            for b in range(vessels):
                if cold[state, chilled, b] > 0.0:
                    cold_c += cold[state, chilled, b] * warmth(num[N_V0] + b, F, I, S, par)
            kw = min(F[k, K_MOST], F[k, K_UA] * max(0.0, warm - cold_c)) * used
            if not reached:
                kw = F[k, K_STILL] * used * max(0.0, warm - max(cold_c, F[k, K_GUARD_C]))
            kj = kw * dt
            kj = min(kj, max(0.0, S[v, HEAT] - capacity_rate(v, F, I, S, par) * F[k, K_SET]))
            S[v, HEAT] -= kj
            for b in range(vessels):
                S[num[N_V0] + b, HEAT] += kj * cold[state, chilled, b]
            S[k, SK_KJ] += kj


@inner
def heat(F: Floats, I: Ints, S: Floats, g: Floats, n: Ints, par: Floats, num: Ints) -> None:
    """Water heaters with a thermostat; none heats where the mode locks it out."""
    dt = par[PAR_DT]
    for e in range(num[N_H0], num[N_H1]):
        v = I[e, HI_VESSEL]
        room = capacity_rate(v, F, I, S, par) * F[e, H_SET] - S[v, HEAT]
        if room <= 0.0 or S[e, SH_HEALTH] <= 0.0 or I[e, HI_LOCKED] >> n[I_MODE] & 1:
            S[e, SH_ON] = 0.0
            continue
        if room >= capacity_rate(v, F, I, S, par) * 2.0:
            S[e, SH_ON] = 1.0
        if S[e, SH_ON] == 0.0:
            continue
        kj = min(room, F[e, H_KW] * F[e, H_EFFICIENCY] * S[e, SH_HEALTH] * dt)
        S[v, HEAT] += kj
        g[G_IN_KJ] += kj
        S[e, SH_KWH] += kj / F[e, H_EFFICIENCY] / HOUR_S
        if I[e, HI_KWH] >= 0:
            S[I[e, HI_KWH], 0] += kj / F[e, H_EFFICIENCY] / HOUR_S


@inner
def losses(F: Floats, I: Ints, S: Floats, g: Floats, n: Ints, par: Floats, num: Ints) -> None:
    """Heat through the walls; steel that no wash warms cools as the room does."""
    dt = par[PAR_DT]
    room_c = g[G_ROOM_C]
    if n[I_CIRCULATES] == 0 and par[PAR_STEEL_KJ_K] > 0.0:
        share = par[PAR_CIRCULATE_UA] * dt / par[PAR_STEEL_KJ_K]
        g[G_STEEL_C] += (room_c - g[G_STEEL_C]) * share
    for v in range(num[N_V0], num[N_V1]):
        if I[v, VI_ROLE] != STORE:
            continue
        ua = F[v, V_UA]
        fill = I[v, VI_FILL] >= 0
        if ua <= 0.0 and not fill:
            continue
        if content(v, S) <= 0.01:
            continue
        warm = warmth(v, F, I, S, par)
        if I[v, VI_WALL] >= 0:
            wetted = touched(content(v, S) / F[v, V_CAP], I[v, VI_WALL])
            ua *= wetted + par[PAR_DRY_WALL] * (1.0 - wetted)
        kj = ua * (warm - room_c) * dt
        S[v, HEAT] -= kj
        g[G_LOST_KJ] += kj
        S[v, P_WARMEST] = max(S[v, P_WARMEST], warm)


@inner
def lots(F: Floats, I: Ints, S: Floats, g: Floats, n: Ints, par: Floats, num: Ints) -> None:
    """Cloths: a full load starts a washer that is free and not locked out, then a dryer."""
    dt = par[PAR_DT]
    for i in range(num[N_L0], num[N_L1]):
        if S[i, SL_BUSY] > 0.0:
            S[i, SL_LEFT] -= dt
            S[I[i, LI_KWH], 0] += F[i, L_KW] * S[i, SL_BUSY] * dt / HOUR_S
            if S[i, SL_LEFT] <= 0.0:
                done = S[i, SL_BUSY]
                S[i, SL_BUSY] = 0.0
                S[i, SL_LOTS] += done
                for k in range(num[N_L0], num[N_L1]):
                    if I[k, LI_STAGE] == I[i, LI_STAGE] + 1:
                        S[k, SL_WAITING] += done * F[i, L_LOAD_KG]
                        break
        if S[i, SL_BUSY] > 0.0 or S[i, SL_HEALTH] <= 0.0 or I[i, LI_LOCKED] >> n[I_MODE] & 1:
            continue
        waiting = S[i, SL_WAITING]
        if I[i, LI_STAGE] == 0:
            waiting = g[G_CLOTHS] * par[PAR_CLOTH_KG]
        full = min(float(I[i, LI_COUNT]), float(int(waiting / F[i, L_LOAD_KG] + 1e-9)))
        if full >= 1.0:
            S[i, SL_BUSY] = full
            S[i, SL_LEFT] = F[i, L_CYCLE_S]
            if I[i, LI_STAGE] == 0:
                g[G_CLOTHS] -= full * F[i, L_LOAD_KG] / par[PAR_CLOTH_KG]
            else:
                S[i, SL_WAITING] -= full * F[i, L_LOAD_KG]
            if I[i, LI_DOSE] >= 0:
                S[I[i, LI_DOSE], S_DOSE] += full * F[i, L_WATER]


@inner
def air(F: Floats, I: Ints, S: Floats, g: Floats, par: Floats, num: Ints) -> None:
    """Compressed air: leaks, and compressors that start and stop by pressure."""
    volume = par[PAR_AIR_VOLUME]
    if volume <= 0.0:
        return
    dt = par[PAR_DT]
    leak = (par[PAR_AIR_LEAK] + g[G_AIR_LEAK]) * dt
    g[G_AIR] -= leak
    g[G_AIR_USED] += leak
    bar = g[G_AIR] / volume
    for c in range(num[N_A0], num[N_A1]):
        # A second compressor joins lower down: half a band for each place in line.
        lag = 0.25 * (par[PAR_AIR_HIGH] - par[PAR_AIR_LOW]) * I[c, 1]
        if bar <= par[PAR_AIR_LOW] - lag:
            S[c, 0] = 1.0
        elif bar >= par[PAR_AIR_HIGH] - lag:
            S[c, 0] = 0.0
        if S[c, 0] == 1.0 and S[c, 1] > 0.0:
            made = F[c, 0] * S[c, 1] * dt
            g[G_AIR] += made
            g[G_AIR_MADE] += made
            S[c, 2] += dt / HOUR_S
            S[I[c, 0], 0] += F[c, 1] * dt / HOUR_S
    g[G_AIR] = max(0.0, g[G_AIR])
    g[G_AIR_LEAST] = min(g[G_AIR_LEAST], g[G_AIR] / volume)


@inner
def vacuum(
    F: Floats, I: Ints, S: Floats, g: Floats, n: Ints, par: Floats, num: Ints, vac: Floats
) -> None:
    """Vacuum by the operating map; a ready pump starts when it has been low for a while."""
    dt = par[PAR_DT]
    first = num[N_P0]
    pumps = num[N_P1] - first
    wanted = n[I_MILKING] >= 0 or n[I_CIRCULATES] == 1
    if not wanted or pumps == 0:
        g[G_VACUUM] = 0.0 if pumps > 0 else 1e3
        g[G_PUMP_SPEED] = 0.0
        n[I_PUMPS] = 0
        return
    mask = 0
    strength = 0.0
    running = 0.0
    for p in range(first, num[N_P1]):
        if S[p, PUMP_AT] > 0.0 and S[p, PUMP_HEALTH] > 0.0:
            mask |= 1 << (p - first)
            running += 1.0
            strength += S[p, PUMP_HEALTH]
    n[I_PUMPS] = mask
    units = vac.shape[1] - 1
    load = g[G_ATTACHED] + g[G_FALLEN] * par[PAR_FALL_UNITS] + g[G_VACUUM_AIR]
    if n[I_CIRCULATES] == 1:
        load = float(num[N_UNITS])
    if strength > 0.0:
        load *= running / strength
    at = min(load, float(units))
    low = min(int(at), units - 1)
    part = at - low
    g[G_VACUUM] = vac[mask, low, 0] + part * (vac[mask, low + 1, 0] - vac[mask, low, 0])
    g[G_PUMP_SPEED] = vac[mask, low, 1] + part * (vac[mask, low + 1, 1] - vac[mask, low, 1])
    kw = vac[mask, low, 2] + part * (vac[mask, low + 1, 2] - vac[mask, low, 2])
    if n[I_MILKING] >= 0:
        g[G_VAC_LEAST] = min(g[G_VAC_LEAST], g[G_VACUUM])
    for p in range(first, num[N_P1]):
        if mask >> (p - first) & 1:
            S[I[p, 0], 0] += kw / running * dt / HOUR_S
    if g[G_VACUUM] < 0.97 * par[PAR_VAC_SET]:
        for p in range(first, num[N_P1]):
            if S[p, PUMP_AT] == 0.0:
                S[p, PUMP_LOW_S] += dt
                if S[p, PUMP_LOW_S] >= par[PAR_STANDBY_S]:
                    S[p, PUMP_AT] = 1.0
                    S[p, PUMP_LOW_S] = 0.0
                break
    else:
        for p in range(first, num[N_P1]):
            S[p, PUMP_LOW_S] = 0.0


@inner
def drives(S: Floats, g: Floats, n: Ints, par: Floats, num: Ints) -> None:
    """What turns the deck and moves the gate, while there is milking."""
    if n[I_MILKING] < 0:
        return
    hours = par[PAR_DT] / HOUR_S
    if num[N_DRIVE_KWH] >= 0:
        S[num[N_DRIVE_KWH], 0] += par[PAR_DRIVE_KW] * g[G_TURNED_S] / HOUR_S
    if num[N_GATE_KWH] >= 0:
        S[num[N_GATE_KWH], 0] += 0.1 * par[PAR_GATE_KW] * hours


@inner
def electricity(
    price: float, F: Floats, I: Ints, S: Floats, g: Floats, n: Ints, par: Floats, num: Ints
) -> None:
    """Once a minute: steady loads, the minute's mean power and its price."""
    hours = num[N_MINUTE] * par[PAR_DT] / HOUR_S
    for i in range(num[N_LOAD0], num[N_LOAD1]):
        if I[i, 1] == 0 or n[I_MILKING] >= 0:
            S[I[i, 0], 0] += F[i, 0] * hours
    total = 0.0
    for i in range(num[N_KWH0], num[N_KWH1]):
        total += S[i, 0]
    used = total - g[G_KWH]
    g[G_KWH] = total
    g[G_KW] = used / hours
    g[G_KW_MOST] = max(g[G_KW_MOST], g[G_KW])
    g[G_COST] += used * price
