"""Heat, cold, air, vacuum and electricity of one step."""

from __future__ import annotations

from byrewright.engine import shape as sh
from byrewright.engine.jit import inner, kernel
from byrewright.engine.kernels.vessels import capacity_rate, mass, temperature
from byrewright.engine.shape import Floats, Ints
from byrewright.physics import refrigeration, tank_wall

wetted_share = kernel(tank_wall.wetted_share)
cop_share = kernel(refrigeration.cop_share)
duty_share = kernel(refrigeration.duty_share)

HOUR_S = 3600.0


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
    wetted = wetted_share(mass(v, S) / F[v, sh.V_CAP], I[v, sh.VI_WALL])
    return min(1.0, wetted / F[k, sh.K_EVAPORATOR])


@inner
def chill(
    ambient_c: float,
    second: float,
    F: Floats,
    I: Ints,
    S: Floats,
    g: Floats,
    n: Ints,
    par: Floats,
    num: Ints,
) -> None:
    """Refrigeration with a thermostat; ice is made down to the store's limit."""
    dt = par[sh.PAR_DT]
    for r in range(num[sh.N_R0], num[sh.N_R1]):
        v = I[r, sh.RI_TARGET]
        if v < 0 or S[r, sh.SR_HEALTH] <= 0.0 or I[r, sh.RI_LOCKED] >> n[sh.I_MODE] & 1:
            S[r, sh.SR_ON] = 0.0
            continue
        c = capacity_rate(v, F, I, S, par)
        k = I[r, sh.RI_COOLED]
        if I[v, sh.VI_ROLE] == sh.COLD_STORE:
            room = S[v, sh.HEAT] + F[v, sh.V_ICE]
            # With ice it makes ice in its hours, and at any hour when none is left.
            open_now = _within(second, F[r, sh.R_FROM], F[r, sh.R_TO]) or S[v, sh.HEAT] > 0.0
            start = 0.02 * F[v, sh.V_ICE] + c * F[r, sh.R_BAND]
            if F[v, sh.V_ICE] <= 0.0:
                start = c * F[r, sh.R_BAND]
        else:
            room = S[v, sh.HEAT] - c * F[r, sh.R_SET]
            open_now = mass(v, S) >= F[k, sh.K_LEAST] or F[k, sh.K_STILL] > 0.0
            start = c * F[r, sh.R_BAND]
        if not open_now or room <= 0.0:
            S[r, sh.SR_ON] = 0.0
        elif room >= start:
            S[r, sh.SR_ON] = 1.0
        if S[r, sh.SR_ON] == 0.0:
            continue
        above, fall = ambient_c - F[r, sh.R_RATED_C], F[r, sh.R_FALL]
        cop = F[r, sh.R_COP] * cop_share(above, fall)
        full = F[r, sh.R_DUTY] * duty_share(above, fall) * S[r, sh.SR_HEALTH] * dt
        if k >= 0:
            used = _in_touch(v, k, F, I, S)
            full *= used
            if mass(v, S) < F[k, sh.K_LEAST]:
                gap = max(0.0, S[v, sh.HEAT] / c - F[k, sh.K_GUARD_C])
                full = min(full, F[k, sh.K_STILL] * used * gap * dt)
        kj = min(full, room)
        if full >= room:
            S[r, sh.SR_ON] = 0.0  # it has reached its setting and waits for the band
        S[v, sh.HEAT] -= kj
        g[sh.G_COLD_KJ] += kj
        S[r, sh.SR_KJ] += kj
        S[r, sh.SR_HOURS] += dt / HOUR_S
        S[I[r, sh.RI_KWH], sh.E_KWH] += kj / cop / HOUR_S
        to = I[r, sh.RI_TAKES]
        if to >= 0:
            # A share of what the condenser gives off, cold and work, while the water can take it.
            room = capacity_rate(to, F, I, S, par) * F[r, sh.R_TAKEN_C] - S[to, sh.HEAT]
            given = min(
                S[r, sh.SR_GIVES] * F[r, sh.R_TAKEN] * kj * (1.0 + 1.0 / cop), max(0.0, room)
            )
            S[to, sh.HEAT] += given
            g[sh.G_IN_KJ] += given
            S[r, sh.SR_RECOVERED] += given


@inner
def rings(F: Floats, I: Ints, S: Floats, n: Ints, par: Floats, num: Ints, cold: Floats) -> None:
    """Chilled liquid comes back to its baths as one blend, of which each gets its share.

    So a bath that cools nothing is cooled by the others that feed the same users.
    """
    if num[sh.N_R1] - num[sh.N_R0] < 2:
        return
    state, last = n[sh.I_ROUTE], num[sh.N_V1] - num[sh.N_V0]
    for u in range(cold.shape[1]):
        round_kj_k = cold[state, u, last] * par[sh.PAR_CP + sh.WATER] * par[sh.PAR_DT]
        if round_kj_k <= 0.0:
            continue
        blend_c, baths = 0.0, 0
        for r in range(num[sh.N_R0], num[sh.N_R1]):
            v = I[r, sh.RI_TARGET]
            share = cold[state, u, v - num[sh.N_V0]] if v >= 0 else 0.0
            if share > 0.0:
                baths += 1
                blend_c += share * temperature(v, F, I, S, par)
                # No bath gets more in a step than it holds.
                round_kj_k = min(round_kj_k, capacity_rate(v, F, I, S, par) / share)
        if baths < 2 or _ice_against(u, blend_c, F, I, S, n, par, num, cold):
            continue
        for r in range(num[sh.N_R0], num[sh.N_R1]):
            v = I[r, sh.RI_TARGET]
            share = cold[state, u, v - num[sh.N_V0]] if v >= 0 else 0.0
            if share > 0.0:
                S[v, sh.HEAT] += share * round_kj_k * (blend_c - temperature(v, F, I, S, par))


@inner
def _ice_against(u: int, blend_c: float, F: Floats, I: Ints, S: Floats, n: Ints, par: Floats,
                 num: Ints, cold: Floats) -> bool:  # fmt: skip
    """Whether a blend comes to ice that melts warmer than it: it cannot make more of it."""
    for r in range(num[sh.N_R0], num[sh.N_R1]):
        v = I[r, sh.RI_TARGET]
        if (
            v >= 0
            and cold[n[sh.I_ROUTE], u, v - num[sh.N_V0]] > 0.0
            and F[v, sh.V_ICE] > 0.0
            and S[v, sh.HEAT] <= 0.0
            and temperature(v, F, I, S, par) > blend_c
        ):
            return True
    return False


@inner
def jackets(F: Floats, I: Ints, S: Floats, g: Floats, n: Ints, par: Floats, num: Ints,
            cold: Floats) -> None:  # fmt: skip
    """Stirred tanks: the agitator's heat, and cooling by baths where there are any."""
    dt = par[sh.PAR_DT]
    vessels = num[sh.N_V1] - num[sh.N_V0]
    state = n[sh.I_ROUTE]
    for k in range(num[sh.N_K0], num[sh.N_K1]):
        v = I[k, sh.KI_VESSEL]
        reached = mass(v, S) >= F[k, sh.K_LEAST]
        if not reached and (F[k, sh.K_STILL] <= 0.0 or mass(v, S) <= 0.01):
            S[k, sh.SK_ON] = 0.0
            continue
        warm = temperature(v, F, I, S, par)
        if warm > F[k, sh.K_SET] + 0.4:
            S[k, sh.SK_ON] = 1.0
        elif warm <= F[k, sh.K_SET] + 0.01:
            S[k, sh.SK_ON] = 0.0
        # Stirred while it is cooled, and two minutes in every half hour besides.
        stirred = S[k, sh.SK_ON] == 1.0 or (n[sh.I_STEP] * dt) % 1800.0 < 120.0
        if stirred and reached:
            kj = F[k, sh.K_AGITATOR] * dt
            S[v, sh.HEAT] += kj
            g[sh.G_IN_KJ] += kj
            S[I[k, sh.KI_KWH], sh.E_KWH] += kj / HOUR_S
            S[k, sh.SK_AGITATOR_H] += dt / HOUR_S
        chilled = I[k, sh.KI_CHILLED]
        if chilled >= 0 and S[k, sh.SK_ON] == 1.0 and cold[state, chilled, vessels] > 0.0:
            used = _in_touch(v, k, F, I, S)
            cold_c = 0.0
            for b in range(vessels):
                if cold[state, chilled, b] > 0.0:
                    cold_c += cold[state, chilled, b] * temperature(num[sh.N_V0] + b, F, I, S, par)
            kw = min(F[k, sh.K_MOST], F[k, sh.K_UA] * max(0.0, warm - cold_c)) * used
            if not reached:
                kw = F[k, sh.K_STILL] * used * max(0.0, warm - max(cold_c, F[k, sh.K_GUARD_C]))
            kj = kw * dt
            kj = min(kj, max(0.0, S[v, sh.HEAT] - capacity_rate(v, F, I, S, par) * F[k, sh.K_SET]))
            S[v, sh.HEAT] -= kj
            for b in range(vessels):
                S[num[sh.N_V0] + b, sh.HEAT] += kj * cold[state, chilled, b]
            S[k, sh.SK_KJ] += kj


@inner
def heat(F: Floats, I: Ints, S: Floats, g: Floats, n: Ints, par: Floats, num: Ints) -> None:
    """Water heaters with a thermostat; none heats where the mode locks it out."""
    dt = par[sh.PAR_DT]
    for e in range(num[sh.N_H0], num[sh.N_H1]):
        v = I[e, sh.HI_VESSEL]
        room = capacity_rate(v, F, I, S, par) * F[e, sh.H_SET] - S[v, sh.HEAT]
        if room <= 0.0 or S[e, sh.SH_HEALTH] <= 0.0 or I[e, sh.HI_LOCKED] >> n[sh.I_MODE] & 1:
            S[e, sh.SH_ON] = 0.0
            continue
        if room >= capacity_rate(v, F, I, S, par) * 2.0:
            S[e, sh.SH_ON] = 1.0
        if S[e, sh.SH_ON] == 0.0:
            continue
        kj = min(room, F[e, sh.H_KW] * F[e, sh.H_EFFICIENCY] * S[e, sh.SH_HEALTH] * dt)
        S[v, sh.HEAT] += kj
        g[sh.G_IN_KJ] += kj
        S[e, sh.SH_KWH] += kj / F[e, sh.H_EFFICIENCY] / HOUR_S
        if I[e, sh.HI_KWH] >= 0:
            S[I[e, sh.HI_KWH], sh.E_KWH] += kj / F[e, sh.H_EFFICIENCY] / HOUR_S


@inner
def losses(F: Floats, I: Ints, S: Floats, g: Floats, n: Ints, par: Floats, num: Ints) -> None:
    """Heat through the walls; steel that no wash warms cools as the room does."""
    dt = par[sh.PAR_DT]
    room_c = g[sh.G_ROOM_C]
    if n[sh.I_CIRCULATES] == 0 and par[sh.PAR_STEEL_KJ_K] > 0.0:
        share = par[sh.PAR_CIRCULATE_UA] * dt / par[sh.PAR_STEEL_KJ_K]
        g[sh.G_STEEL_C] += (room_c - g[sh.G_STEEL_C]) * share
    for v in range(num[sh.N_V0], num[sh.N_V1]):
        if I[v, sh.VI_ROLE] != sh.STORE:
            continue
        ua = F[v, sh.V_UA]
        fill = I[v, sh.VI_FILL] >= 0
        if ua <= 0.0 and not fill:
            continue
        if mass(v, S) <= 0.01:
            continue
        warm = temperature(v, F, I, S, par)
        if I[v, sh.VI_WALL] >= 0:
            wetted = wetted_share(mass(v, S) / F[v, sh.V_CAP], I[v, sh.VI_WALL])
            ua *= wetted + par[sh.PAR_DRY_WALL] * (1.0 - wetted)
        kj = ua * (warm - room_c) * dt
        S[v, sh.HEAT] -= kj
        g[sh.G_LOST_KJ] += kj
        S[v, sh.P_WARMEST] = max(S[v, sh.P_WARMEST], warm)


@inner
def laundry(F: Floats, I: Ints, S: Floats, g: Floats, n: Ints, par: Floats, num: Ints) -> None:
    """Cloths: a full load starts a washer that is free and not locked out, then a dryer."""
    dt = par[sh.PAR_DT]
    for i in range(num[sh.N_L0], num[sh.N_L1]):
        if S[i, sh.SL_BUSY] > 0.0:
            S[i, sh.SL_LEFT] -= dt
            S[I[i, sh.LI_KWH], sh.E_KWH] += F[i, sh.L_KW] * S[i, sh.SL_BUSY] * dt / HOUR_S
            if S[i, sh.SL_LEFT] <= 0.0:
                done = S[i, sh.SL_BUSY]
                S[i, sh.SL_BUSY] = 0.0
                S[i, sh.SL_LOADS] += done
                for k in range(num[sh.N_L0], num[sh.N_L1]):
                    if I[k, sh.LI_STAGE] == I[i, sh.LI_STAGE] + 1:
                        S[k, sh.SL_WAITING] += done * F[i, sh.L_LOAD_KG]
                        break
        if (
            S[i, sh.SL_BUSY] > 0.0
            or S[i, sh.SL_HEALTH] <= 0.0
            or I[i, sh.LI_LOCKED] >> n[sh.I_MODE] & 1
        ):
            continue
        waiting = S[i, sh.SL_WAITING]
        if I[i, sh.LI_STAGE] == 0:
            waiting = g[sh.G_CLOTHS] * par[sh.PAR_CLOTH_KG]
        full = min(float(I[i, sh.LI_COUNT]), float(int(waiting / F[i, sh.L_LOAD_KG] + 1e-9)))
        if full >= 1.0:
            S[i, sh.SL_BUSY] = full
            S[i, sh.SL_LEFT] = F[i, sh.L_CYCLE_S]
            if I[i, sh.LI_STAGE] == 0:
                g[sh.G_CLOTHS] -= full * F[i, sh.L_LOAD_KG] / par[sh.PAR_CLOTH_KG]
            else:
                S[i, sh.SL_WAITING] -= full * F[i, sh.L_LOAD_KG]
            if I[i, sh.LI_DOSE] >= 0:
                S[I[i, sh.LI_DOSE], sh.S_DOSE] += full * F[i, sh.L_WATER]


@inner
def air(F: Floats, I: Ints, S: Floats, g: Floats, par: Floats, num: Ints) -> None:
    """Compressed air: leaks, and compressors that start and stop by pressure."""
    volume = par[sh.PAR_AIR_VOLUME]
    if volume <= 0.0:
        return
    dt = par[sh.PAR_DT]
    leak = (par[sh.PAR_AIR_LEAK] + g[sh.G_AIR_LEAK]) * dt
    g[sh.G_AIR] -= leak
    g[sh.G_AIR_USED] += leak
    bar = g[sh.G_AIR] / volume
    for c in range(num[sh.N_A0], num[sh.N_A1]):
        # A second compressor joins lower down: a quarter of the band for each place in line.
        lag = 0.25 * (par[sh.PAR_AIR_HIGH] - par[sh.PAR_AIR_LOW]) * I[c, sh.AI_PLACE]
        if bar <= par[sh.PAR_AIR_LOW] - lag:
            S[c, sh.SA_ON] = 1.0
        elif bar >= par[sh.PAR_AIR_HIGH] - lag:
            S[c, sh.SA_ON] = 0.0
        if S[c, sh.SA_ON] == 1.0 and S[c, sh.SA_HEALTH] > 0.0:
            made = F[c, sh.A_MADE] * S[c, sh.SA_HEALTH] * dt
            g[sh.G_AIR] += made
            g[sh.G_AIR_MADE] += made
            S[c, sh.SA_HOURS] += dt / HOUR_S
            S[I[c, sh.AI_KWH], sh.E_KWH] += F[c, sh.A_KW] * dt / HOUR_S
    g[sh.G_AIR] = max(0.0, g[sh.G_AIR])
    g[sh.G_AIR_LEAST] = min(g[sh.G_AIR_LEAST], g[sh.G_AIR] / volume)


@inner
def vacuum(
    F: Floats, I: Ints, S: Floats, g: Floats, n: Ints, par: Floats, num: Ints, vac: Floats
) -> None:
    """Vacuum by the operating map; a ready pump starts when it has been low for a while."""
    dt = par[sh.PAR_DT]
    first = num[sh.N_P0]
    pumps = num[sh.N_P1] - first
    wanted = n[sh.I_MILKING] >= 0 or n[sh.I_CIRCULATES] == 1
    if not wanted or pumps == 0:
        g[sh.G_VACUUM] = 0.0 if pumps > 0 else 1e3
        g[sh.G_PUMP_SPEED] = 0.0
        n[sh.I_PUMPS] = 0
        return
    mask = 0
    strength = 0.0
    running = 0.0
    for p in range(first, num[sh.N_P1]):
        if S[p, sh.SP_ON] > 0.0 and S[p, sh.SP_HEALTH] > 0.0:
            mask |= 1 << (p - first)
            running += 1.0
            strength += S[p, sh.SP_HEALTH]
    n[sh.I_PUMPS] = mask
    units = vac.shape[1] - 1
    load = g[sh.G_ATTACHED] + g[sh.G_FALLEN] * par[sh.PAR_FALL_UNITS] + g[sh.G_VACUUM_AIR]
    if n[sh.I_CIRCULATES] == 1:
        load = float(num[sh.N_UNITS])
    if strength > 0.0:
        load *= running / strength
    at = min(load, float(units))
    low = min(int(at), units - 1)
    part = at - low
    g[sh.G_VACUUM] = vac[mask, low, sh.VA_KPA] + part * (
        vac[mask, low + 1, sh.VA_KPA] - vac[mask, low, sh.VA_KPA]
    )
    g[sh.G_PUMP_SPEED] = vac[mask, low, sh.VA_SPEED] + part * (
        vac[mask, low + 1, sh.VA_SPEED] - vac[mask, low, sh.VA_SPEED]
    )
    kw = vac[mask, low, sh.VA_KW] + part * (vac[mask, low + 1, sh.VA_KW] - vac[mask, low, sh.VA_KW])
    if n[sh.I_MILKING] >= 0:
        g[sh.G_VAC_LEAST] = min(g[sh.G_VAC_LEAST], g[sh.G_VACUUM])
    for p in range(first, num[sh.N_P1]):
        if mask >> (p - first) & 1:
            S[I[p, sh.PI_KWH], sh.E_KWH] += kw / running * dt / HOUR_S
    if g[sh.G_VACUUM] < 0.97 * par[sh.PAR_VAC_SET]:
        for p in range(first, num[sh.N_P1]):
            if S[p, sh.SP_ON] == 0.0:
                S[p, sh.SP_LOW_S] += dt
                if S[p, sh.SP_LOW_S] >= par[sh.PAR_STANDBY_S]:
                    S[p, sh.SP_ON] = 1.0
                    S[p, sh.SP_LOW_S] = 0.0
                break
    else:
        for p in range(first, num[sh.N_P1]):
            S[p, sh.SP_LOW_S] = 0.0


@inner
def drives(S: Floats, g: Floats, n: Ints, par: Floats, num: Ints) -> None:
    """What turns the deck and moves the gate, while there is milking."""
    if n[sh.I_MILKING] < 0:
        return
    hours = par[sh.PAR_DT] / HOUR_S
    if num[sh.N_DRIVE_KWH] >= 0:
        S[num[sh.N_DRIVE_KWH], sh.E_KWH] += par[sh.PAR_DRIVE_KW] * g[sh.G_TURNED_S] / HOUR_S
    if num[sh.N_GATE_KWH] >= 0:
        S[num[sh.N_GATE_KWH], sh.E_KWH] += 0.1 * par[sh.PAR_GATE_KW] * hours


@inner
def electricity(
    price: float, F: Floats, I: Ints, S: Floats, g: Floats, n: Ints, par: Floats, num: Ints
) -> None:
    """Once a minute: steady loads, the minute's mean power and its price."""
    hours = num[sh.N_MINUTE] * par[sh.PAR_DT] / HOUR_S
    for i in range(num[sh.N_LOAD0], num[sh.N_LOAD1]):
        if I[i, sh.EI_MILKING] == 0 or n[sh.I_MILKING] >= 0:
            S[I[i, sh.EI_KWH], sh.E_KWH] += F[i, sh.E_KW] * hours
    total = 0.0
    for i in range(num[sh.N_KWH0], num[sh.N_KWH1]):
        total += S[i, sh.E_KWH]
    used = total - g[sh.G_KWH]
    g[sh.G_KWH] = total
    g[sh.G_KW] = used / hours
    g[sh.G_KW_MOST] = max(g[sh.G_KW_MOST], g[sh.G_KW])
    g[sh.G_COST] += used * price
