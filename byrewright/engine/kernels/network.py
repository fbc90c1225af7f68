"""Liquids: what each mover wishes, what its vessel can give, and the transfer of mass and heat.

A step reads the content at its start, sums what is wished of each vessel, limits by what is
there, and moves in pairs; the order of the machines has no part in the answer.
"""

from __future__ import annotations

import numpy as np

from byrewright.engine.jit import inner, kernel
from byrewright.engine.shape import *
from byrewright.physics import wash_heat
from byrewright.physics.heat import counterflow

effectiveness = kernel(counterflow)
wet_air = kernel(wash_heat.wet_air)

STEEL_S = 60.0
"""Time in which a wash warms the steel that it runs over (common practice, no source)."""

SPECK_KG = 1e-9  # content below which a vessel counts as empty


@inner
def content(v: int, S: Floats) -> float:
    """Mass in a vessel, kg."""
    return S[v, 0] + S[v, 1] + S[v, 2] + S[v, 3]


@inner
def capacity_rate(v: int, F: Floats, I: Ints, S: Floats, par: Floats) -> float:
    """Heat capacity of a vessel's content, kJ/K."""
    if I[v, VI_ROLE] == BATH:
        return F[v, V_C]
    return (
        S[v, 0] * par[PAR_CP + 0]
        + S[v, 1] * par[PAR_CP + 1]
        + S[v, 2] * par[PAR_CP + 2]
        + S[v, 3] * par[PAR_CP + 3]
    )


@inner
def warmth(v: int, F: Floats, I: Ints, S: Floats, par: Floats) -> float:
    """Temperature of a vessel, derived from its heat, degC."""
    c = capacity_rate(v, F, I, S, par)
    if c < SPECK_KG:
        return S[v, V_T0]
    if I[v, VI_ROLE] == BATH:
        return S[v, V_T0] + max(S[v, HEAT], 0.0) / c
    return S[v, HEAT] / c


@inner
def _level(v: int, S: Floats) -> float:
    """Content as its sensor says it: true, or the false value that a failure put there."""
    if S[v, V_LEVEL] >= 0.0:
        return S[v, V_LEVEL]
    return content(v, S)


@inner
def _pumped(m: int, flush: int, F: Floats, I: Ints, S: Floats) -> float:
    """Share of full flow that a level-following pump gives, and its on/off memory."""
    law = I[m, MI_LAW]
    level = _level(I[m, MI_LED], S)
    stop = F[m, M_STOP]
    if flush > 0:  # 1: milk is pushed out; 2: what a wash leaves is pumped down
        return max(0.5 * flush, F[m, M_FLOOR])
    was = S[m, S_ON]
    if level >= F[m, M_START]:
        S[m, S_ON] = 1.0
    elif level <= stop:
        S[m, S_ON] = 0.0
    if was == 0.0 and S[m, S_ON] == 1.0:
        S[m, S_STARTS] += 1.0
    if S[m, S_ON] == 0.0:
        return 0.0
    if law == ON_OFF:
        return 1.0
    share = min(1.0, max(0.0, (level - stop) / (F[m, M_FULL] - stop)))
    if law == STEPPED:
        steps = F[m, M_STEPS]
        return min(1.0, (float(int(share * steps)) + 1.0) / steps)
    return max(share, F[m, M_FLOOR])


@inner
def _filters(F: Floats, S: Floats, par: Floats, num: Ints) -> None:
    """Socks load up and are changed."""
    for f in range(num[N_F0], num[N_F1]):
        if S[f, SF_BUSY] > 0.0:
            S[f, SF_BUSY] -= par[PAR_DT]
            if S[f, SF_BUSY] <= 0.0:
                S[f, SF_BUSY] = 0.0
                S[f, SF_LOAD] = 0.0
        elif S[f, SF_LOAD] >= F[f, F_CAP]:
            S[f, SF_BUSY] = F[f, F_CHANGE_S]
            S[f, SF_CHANGES] += 1.0


@inner
def _clear(W: Floats, num: Ints) -> None:
    """Nothing asked, nothing moved."""
    for v in range(num[N_V0], num[N_V1]):
        W[v, 0] = 0.0
        for k in range(2, 7):
            W[v, k] = 0.0


@inner
def _wishes(W: Floats, F: Floats, I: Ints, S: Floats, n: Ints, num: Ints) -> None:
    """What each pump of a group wishes, as a share of full speed, and which of a group run.

    Of up to four pumps a bit each; of more, which are then alike, how many.
    """
    flush = n[I_FLUSH]
    for m in range(num[N_M0], num[N_M1]):
        W[m, 8] = 0.0
        W[m, 9] = 0.0
    for m in range(num[N_M0], num[N_M1]):
        leader = I[m, MI_GROUP]
        if leader < 0:
            continue
        src = I[m, MI_SRC]
        if I[src, VI_ROLE] == STORE and content(src, S) <= 0.0:
            if I[m, MI_LED] == src and S[src, V_LEVEL] < 0.0:
                S[m, S_ON] = 0.0
            continue
        law = I[m, MI_LAW]
        wish = S[m, S_CMD]
        # 2: held on, whatever its level says
        if law in (ON_OFF, STEPPED, LED) and S[m, S_CMD] != 2.0:
            wish = _pumped(m, flush, F, I, S) * S[m, S_CMD]
        wish = min(wish, 1.0)
        if wish <= 0.0 or S[m, S_HEALTH] <= 0.0:
            continue
        W[m, 8] = wish
        bit = I[m, MI_BIT]
        running = int(W[leader, 9])
        if bit >= 0:
            W[leader, 9] = float(running | (1 << bit))
        elif bit == -1:
            W[leader, 9] = float(running + 1)


@inner
def move(W: Floats, F: Floats, I: Ints, S: Floats, g: Floats, n: Ints, par: Floats, num: Ints,
         share: Floats, most: Floats, cold: Floats) -> None:  # fmt: skip
    """One step of all liquids. `W` is work space, with the rows of the items."""
    dt = par[PAR_DT]
    state = n[I_ROUTE]
    joint0 = num[N_J0]
    _filters(F, S, par, num)
    _clear(W, num)
    _wishes(W, F, I, S, n, num)
    count: int = np.int64(0)  # type: ignore[assignment]  # a plain 0 is a type of its own
    for m in range(num[N_M0], num[N_M1]):
        W[m, 0] = 0.0
        S[m, S_FLOW] = 0.0
        law = I[m, MI_LAW]
        # What it wishes, and what surely moves nothing is passed over first.
        src = I[m, MI_SRC]
        kg = F[m, M_MAX] * dt * S[m, S_HEALTH]
        running = 0
        if I[m, MI_GROUP] >= 0:
            if W[m, 8] <= 0.0:
                continue
            running = int(W[I[m, MI_GROUP], 9])
            level = content(src, S) / F[src, V_CAP] - par[PAR_LEVEL]
            lift = max(0.0, 1.0 + most[state, running, m - num[N_M0], 2] * level)
            kg = most[state, running, m - num[N_M0], 0] * lift * dt * S[m, S_HEALTH] * W[m, 8]
        elif law == FOLLOW:
            kg = 0.0
        elif law == DOSE:
            kg = min(kg, S[m, S_DOSE])
            if kg <= 0.0:
                continue
        elif law == FLOAT:
            room = F[m, M_FULL] - _level(I[m, MI_LED], S)
            kg = min(kg, max(0.0, room)) * S[m, S_CMD]
            # A heater is layered: cold comes in below and is not drawn before the hot is used.
            layered = n[I_SEQ] == 1 and content(I[m, MI_LED], S) > F[m, M_FLOOR]
            if kg <= 0.0 or (layered and F[m, M_FLOOR] > 0.0):
                continue
        elif law == SUPPLY:
            kg = S[m, S_DOSE]
            S[m, S_DOSE] = 0.0
            if kg <= 0.0:
                continue
        elif law == BY_ITSELF:
            # Wash goes out while it circulates; what falls, falls at any time.
            kg = most[state, 0, m - num[N_M0], 0] * dt * S[m, S_HEALTH]
            gated = I[m, MI_BANK] == 1 and n[I_CIRCULATES] == 0
            if kg <= 0.0 or gated or content(src, S) <= 0.0:
                continue
        elif law in (FIXED, LOADING):
            kg *= S[m, S_CMD]
            if kg <= 0.0:
                continue
        else:
            there = content(src, S)
            if I[src, VI_ROLE] == STORE and there <= 0.0:
                if I[m, MI_LED] == src and S[src, V_LEVEL] < 0.0:
                    S[m, S_ON] = 0.0
                continue
            if law == RUNS:
                kg = there * min(1.0, dt / F[m, M_TAU]) * S[m, S_HEALTH]
            elif law == EVEN:
                gap = there - content(I[m, MI_LED], S)
                kg = max(0.0, gap) * 0.25 * min(1.0, dt / F[m, M_TAU])
        j0 = I[m, MI_J0]
        j1 = I[m, MI_J1]
        total = 0.0
        for j in range(j0, j1):
            part = share[state, running, j - joint0] * S[j, SJ_OPEN]
            f = I[j, J_FILTER]
            if part > 0.0 and f >= 0 and (S[f, SF_BUSY] > 0.0 or S[f, SF_HEALTH] <= 0.0):
                part = 0.0
            W[j, 0] = part
            total += part
        if total <= 0.0 or kg <= 0.0:
            continue
        slow = 1.0
        for j in range(j0, j1):
            W[j, 0] /= total
            f = I[j, J_FILTER]
            if f >= 0 and W[j, 0] > 0.0:
                at = DIRTS * min(1.0, S[f, SF_LOAD] / F[f, F_CAP])
                step = min(int(at), DIRTS - 1)
                below = F[f, F_LOSS + step - 1] if step > 0 else 0.0
                loss = below + (at - step) * (F[f, F_LOSS + step] - below)
                slow = min(slow, (1.0 - loss) * S[f, SF_HEALTH])
        W[m, 0] = kg * slow
        W[src, 0] += W[m, 0]
        W[count, 7] = m  # the list of those that move, in column 7
        count += 1
    if count > 0:
        _limit(W, I, S, num)
        every = _follow(count, W, F, I, S, par, num)
        if every > count:
            _limit(W, I, S, num)
        _exchange(every, state, W, F, I, S, par, num, cold)
        _transfer(every, state, W, F, I, S, g, n, par, num, most)
        for v in range(num[N_V0], num[N_V1]):
            S[v, 0] += W[v, 3]
            S[v, 1] += W[v, 4]
            S[v, 2] += W[v, 5]
            S[v, 3] += W[v, 6]
            S[v, HEAT] += W[v, 2]
        _spill(F, I, S, n, par, num)
    else:
        _still(S, num)


@inner
def _still(S: Floats, num: Ints) -> None:
    """Nothing moves: the readings of the exchangers say so."""
    for x in range(num[N_X0], num[N_X1]):
        S[x, SX_FLOW] = 0.0
        S[x, SX_OUT] = -1.0


@inner
def _limit(W: Floats, I: Ints, S: Floats, num: Ints) -> None:
    """Share of what is asked that each vessel can give."""
    for v in range(num[N_V0], num[N_V1]):
        W[v, 1] = 1.0
        if I[v, VI_ROLE] == STORE and W[v, 0] > max(0.0, content(v, S)):
            W[v, 1] = max(0.0, content(v, S)) / W[v, 0]


@inner
def _follow(count: int, W: Floats, F: Floats, I: Ints, S: Floats, par: Floats, num: Ints) -> int:
    """Water that follows the milk through an exchanger; how many then move."""
    dt = par[PAR_DT]
    for x in range(num[N_X0], num[N_X1]):
        S[x, SX_FLOW] = 0.0
    passes = False
    for k in range(count):
        m = int(W[k, 7])
        give = W[m, 0] * W[I[m, MI_SRC], 1]
        for j in range(I[m, MI_J0], I[m, MI_J1]):
            for place in range(J_X, J_X + STAGES):
                if I[j, place] >= 0:
                    S[I[j, place], SX_FLOW] += give * W[j, 0]
                    passes = True
    if not passes:
        return count
    for m in range(num[N_M0], num[N_M1]):
        if I[m, MI_LAW] != FOLLOW:
            continue
        x = I[m, MI_X]
        most = F[m, M_MAX] * dt * S[m, S_HEALTH] * S[m, S_CMD]
        kg = min(most, S[x, SX_FLOW] * F[x, X_RATIO])
        total = 0.0
        for j in range(I[m, MI_J0], I[m, MI_J1]):
            total += W[j, 0]
        if kg > 0.0 and total > 0.0:
            for j in range(I[m, MI_J0], I[m, MI_J1]):
                W[j, 0] /= total
            W[m, 0] = kg
            W[I[m, MI_SRC], 0] += kg
            W[count, 7] = m
            count += 1
    return count


@inner
def _exchange(count: int, state: int, W: Floats, F: Floats, I: Ints, S: Floats, par: Floats,
              num: Ints, cold: Floats) -> None:  # fmt: skip
    """Heat from the milk of each exchanger to its water or bath; stages in order."""
    dt = par[PAR_DT]
    for x in range(num[N_X0], num[N_X1]):
        S[x, SX_OUT] = -1.0
        if S[x, SX_FLOW] <= 0.0:
            continue
        c_hot = 0.0
        kj = 0.0
        for k in range(count):
            m = int(W[k, 7])
            src = I[m, MI_SRC]
            for j in range(I[m, MI_J0], I[m, MI_J1]):
                if W[j, 0] <= 0.0:
                    continue
                at = -1
                for place in range(J_X, J_X + STAGES):
                    if I[j, place] == x:
                        at = place
                if at < 0:
                    continue
                kg = W[m, 0] * W[src, 1] * W[j, 0]
                c = kg * capacity_rate(src, F, I, S, par) / max(content(src, S), SPECK_KG)
                before = warmth(src, F, I, S, par)
                if at > J_X:
                    before = S[I[j, at - 1], SX_OUT]
                c_hot += c
                kj += c * before
        if c_hot <= 0.0:
            continue
        hot_in = kj / c_hot
        q = used = cold_in = 0.0
        water = I[x, XI_COLD]
        chilled = I[x, XI_CHILLED]
        if water >= 0 and W[water, 0] > 0.0:
            src = I[water, MI_SRC]
            used = W[water, 0] * W[src, 1]
            c_cold = used * par[PAR_CP + 2]
            cold_in = warmth(src, F, I, S, par)
            q = _heat(c_hot, c_cold, hot_in, cold_in, F[x, X_UA] * S[x, SX_HEALTH] * dt)
            dst = I[I[water, MI_J0], J_DST]
            for j in range(I[water, MI_J0], I[water, MI_J1]):
                dst = I[j, J_DST]
                W[dst, 2] += q * W[j, 0]
        elif chilled >= 0:
            vessels = num[N_V1] - num[N_V0]
            flow = min(S[x, SX_FLOW] * F[x, X_RATIO], cold[state, chilled, vessels] * dt)
            used = flow
            for b in range(vessels):
                if cold[state, chilled, b] > 0.0:
                    cold_in += cold[state, chilled, b] * warmth(num[N_V0] + b, F, I, S, par)
            if flow > 0.0:
                q = _heat(c_hot, flow * par[PAR_CP + 2], hot_in, cold_in,
                          F[x, X_UA] * S[x, SX_HEALTH] * dt)  # fmt: skip
                for b in range(vessels):
                    W[num[N_V0] + b, 2] += q * cold[state, chilled, b]
        out = hot_in - q / c_hot
        kg = S[x, SX_FLOW]
        S[x, SX_IN] = hot_in
        S[x, SX_OUT] = out
        S[x, SX_KJ] += q
        S[x, SX_KG] += kg
        S[x, SX_KGC] += kg * out
        S[x, SX_KGIN] += kg * hot_in
        S[x, SX_COLD] += used
        S[x, SX_COLDC] += used * cold_in
        S[x, SX_WARMEST] = max(S[x, SX_WARMEST], out)


@inner
def _heat(c_hot: float, c_cold: float, hot_in: float, cold_in: float, ua: float) -> float:
    """Heat moved in a step, kJ, by effectiveness and number of transfer units."""
    least = min(c_hot, c_cold)
    most = max(c_hot, c_cold)
    if least <= 0.0:
        return 0.0
    return effectiveness(ua / least, least / most) * least * (hot_in - cold_in)


@inner
def _transfer(count: int, state: int, W: Floats, F: Floats, I: Ints, S: Floats, g: Floats, n: Ints,
              par: Floats, num: Ints, most: Floats) -> None:  # fmt: skip
    """Move the shares of each mover from its vessel to where its open ends lead."""
    dt = par[PAR_DT]
    for k in range(count):
        m = int(W[k, 7])
        src = I[m, MI_SRC]
        kg = W[m, 0] * W[src, 1]
        S[m, S_FLOW] = kg / dt
        if kg <= 0.0:
            continue
        law = I[m, MI_LAW]
        S[m, S_KG] += kg
        if F[m, M_KW] > 0.0:
            S[m, S_HOURS] += dt / 3600.0
            full = F[m, M_MAX]
            part = 1.0
            if I[m, MI_GROUP] >= 0:
                running = int(W[I[m, MI_GROUP], 9])
                full = most[state, running, m - num[N_M0], 0]
                part = most[state, running, m - num[N_M0], 1]
            share = min(1.0, kg / (full * dt))
            kwh = F[m, M_KW] * part * (0.15 + 0.85 * share * share) * dt / 3600.0
            S[I[m, MI_KWH], 0] += kwh
        if law == DOSE:
            S[m, S_DOSE] = max(0.0, S[m, S_DOSE] - kg)
        whole = content(src, S)
        role = I[src, VI_ROLE]
        for j in range(I[m, MI_J0], I[m, MI_J1]):
            give = kg * W[j, 0]
            if give <= 0.0:
                continue
            dst = I[j, J_DST]
            S[j, SJ_KG] += give
            if I[j, J_FILTER] >= 0:
                S[I[j, J_FILTER], SF_LOAD] += give
            if role == SOURCE:
                s = I[src, VI_SUBSTANCE]
                if law == SUPPLY:
                    s = MILK if I[m, MI_BANK] == 0 else WITHHELD
                c = give * par[PAR_CP + s]
                before = par[PAR_LINE_C] if law == SUPPLY else S[src, V_T0]
                W[src, 3 + s] -= give
                W[dst, 3 + s] += give
            else:
                share = give / whole
                c = 0.0
                for s in range(4):
                    one = S[src, s] * share
                    W[src, 3 + s] -= one
                    W[dst, 3 + s] += one
                    c += one * par[PAR_CP + s]
                before = S[src, HEAT] / max(capacity_rate(src, F, I, S, par), SPECK_KG)
            after = before
            for place in range(J_X, J_X + STAGES):
                if I[j, place] >= 0:
                    after = S[I[j, place], SX_OUT]
            if n[I_CIRCULATES] == 1:
                if law == BY_ITSELF and I[m, MI_BANK] == 1:
                    after = _on_its_way(c, before, W[j, 0], g, par)
                elif I[dst, VI_WASHED] == 1 and law != DOSE:
                    g[G_RETURN_C] = after
            W[src, 2] -= c * before
            W[dst, 2] += c * after
            S[j, SJ_KJ] += c * after


@inner
def _on_its_way(c: float, before: float, share: float, g: Floats, par: Floats) -> float:
    """Temperature of wash that has warmed steel, lines and the air drawn through it."""
    dt = par[PAR_DT]
    over = before - g[G_ROOM_C]
    if over <= 0.0:
        return before
    taken = par[PAR_STEEL_KJ_K] * (before - g[G_STEEL_C]) * dt / STEEL_S
    lost = par[PAR_CIRCULATE_UA] * over
    lost += wet_air(par[PAR_WASH_AIR], before, par[PAR_WASH_KPA], par[PAR_WASH_WET])
    kj = min((taken + lost * dt) * share, c * over)
    if par[PAR_STEEL_KJ_K] > 0.0:
        g[G_STEEL_C] += taken * share / par[PAR_STEEL_KJ_K]
    g[G_LOST_KJ] += kj
    return before - kj / c


@inner
def _spill(F: Floats, I: Ints, S: Floats, n: Ints, par: Floats, num: Ints) -> None:
    """What a vessel cannot hold runs over, to its overflow or to the ledger."""
    t = n[I_STEP] * par[PAR_DT]
    for v in range(num[N_V0], num[N_V1]):
        if I[v, VI_ROLE] != STORE:
            continue
        kg = content(v, S)
        over = kg - F[v, V_CAP]
        if over > SPECK_KG:
            share = over / kg
            to = I[v, VI_SPILL]
            for s in range(4):
                one = S[v, s] * share
                S[v, s] -= one
                S[to, s] += one
            kj = S[v, HEAT] * share
            S[v, HEAT] -= kj
            S[to, HEAT] += kj
            S[v, P_SPILT] += over
            if S[v, P_OVER_AT] < 0.0:
                S[v, P_OVER_AT] = t
            kg = F[v, V_CAP]
        S[v, P_MOST] = max(S[v, P_MOST], kg)
        S[v, P_LEAST] = min(S[v, P_LEAST], kg)
