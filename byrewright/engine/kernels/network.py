"""Liquids: what each transfer wishes, what its vessel can give, and the transfer of mass and heat.

A step reads the content at its start, sums what is wished of each vessel, limits by what is
there, and moves in pairs; the order of the machines has no part in the answer.
"""

from __future__ import annotations

import numpy as np

from byrewright.engine import shape as sh
from byrewright.engine.jit import inner, kernel
from byrewright.engine.kernels.lines import through_lines, wash_on_its_way
from byrewright.engine.kernels.vessels import SPECK_KG, capacity_rate, mass, or_none, temperature
from byrewright.engine.shape import Floats, Ints
from byrewright.physics.heat import counterflow, drawn_from_layers_c

effectiveness = kernel(counterflow)
from_layers = kernel(drawn_from_layers_c)


@inner
def _level(v: int, S: Floats) -> float:
    """Content as its sensor says it: true, or the false value that a failure put there."""
    if S[v, sh.V_LEVEL] >= 0.0:
        return S[v, sh.V_LEVEL]
    return mass(v, S)


@inner
def _pumped(m: int, flush: int, F: Floats, I: Ints, S: Floats) -> float:
    """Share of full flow that a level-following pump gives, and its on/off memory."""
    law = I[m, sh.MI_LAW]
    level = _level(I[m, sh.MI_LED], S)
    stop = F[m, sh.M_STOP]
    if flush > 0:  # 1: milk is pushed out; 2: what a wash leaves is pumped down
        return max(0.5 * flush, F[m, sh.M_FLOOR])
    was = S[m, sh.S_ON]
    if level >= F[m, sh.M_START]:
        S[m, sh.S_ON] = 1.0
    elif level <= stop:
        S[m, sh.S_ON] = 0.0
    if was == 0.0 and S[m, sh.S_ON] == 1.0:
        S[m, sh.S_STARTS] += 1.0
    if S[m, sh.S_ON] == 0.0:
        return 0.0
    if law == sh.ON_OFF:
        return 1.0
    share = min(1.0, max(0.0, (level - stop) / (F[m, sh.M_FULL] - stop)))
    if law == sh.STEPPED:
        steps = F[m, sh.M_STEPS]
        return min(1.0, (float(int(share * steps)) + 1.0) / steps)
    return max(share, F[m, sh.M_FLOOR])


@inner
def _filters(F: Floats, S: Floats, par: Floats, num: Ints) -> None:
    """Socks load up and are changed."""
    for f in range(num[sh.N_F0], num[sh.N_F1]):
        if S[f, sh.SF_BUSY] > 0.0:
            S[f, sh.SF_BUSY] -= par[sh.PAR_DT]
            if S[f, sh.SF_BUSY] <= 0.0:
                S[f, sh.SF_BUSY] = 0.0
                S[f, sh.SF_LOAD] = 0.0
        elif S[f, sh.SF_LOAD] >= F[f, sh.F_CAP]:
            S[f, sh.SF_BUSY] = F[f, sh.F_CHANGE_S]
            S[f, sh.SF_CHANGES] += 1.0


@inner
def _clear(W: Floats, num: Ints) -> None:
    """Nothing asked, nothing moved."""
    for v in range(num[sh.N_V0], num[sh.N_V1]):
        W[v, sh.W_KG] = 0.0
        for k in range(sh.W_KJ, sh.W_OUT):
            W[v, k] = 0.0
    for line in range(num[sh.N_LN0], num[sh.N_LN1]):
        for k in range(sh.W_GIVES, sh.W_OUT):
            W[line, k] = 0.0


@inner
def _wishes(W: Floats, F: Floats, I: Ints, S: Floats, n: Ints, num: Ints) -> None:
    """What each pump of a group wishes, as a share of full speed, and which of a group run.

    Of up to four pumps a bit each; of more, which are then alike, how many.
    """
    flush = n[sh.I_FLUSH]
    for m in range(num[sh.N_M0], num[sh.N_M1]):
        W[m, sh.W_WISH] = 0.0
        W[m, sh.W_RUNS] = 0.0
    for m in range(num[sh.N_M0], num[sh.N_M1]):
        leader = I[m, sh.MI_GROUP]
        if leader < 0:
            continue
        src = I[m, sh.MI_SRC]
        if I[src, sh.VI_ROLE] == sh.STORE and mass(src, S) <= SPECK_KG:
            if I[m, sh.MI_LED] == src and S[src, sh.V_LEVEL] < 0.0:
                S[m, sh.S_ON] = 0.0
            continue
        law = I[m, sh.MI_LAW]
        wish = S[m, sh.S_CMD]
        # 2: held on, whatever its level says
        if law in (sh.ON_OFF, sh.STEPPED, sh.LED) and S[m, sh.S_CMD] != 2.0:
            wish = _pumped(m, flush, F, I, S) * S[m, sh.S_CMD]
        wish = min(wish, 1.0)
        if wish <= 0.0 or S[m, sh.S_HEALTH] <= 0.0:
            continue
        W[m, sh.W_WISH] = wish
        bit = I[m, sh.MI_BIT]
        running = int(W[leader, sh.W_RUNS])
        if bit >= 0:
            W[leader, sh.W_RUNS] = float(running | (1 << bit))
        elif bit == -1:
            W[leader, sh.W_RUNS] = float(running + 1)


@inner
def _part(flows: Floats, wish: float) -> float:
    """A branch's flow at a share of its pump's full flow, by straight lines between those solved:
    of use beside that of the other branches only."""
    if wish >= sh.HALF:
        return flows[1] + (flows[0] - flows[1]) * (min(wish, 1.0) - sh.HALF) / (1.0 - sh.HALF)
    over = max(wish, sh.QUARTER) - sh.QUARTER
    return flows[2] + (flows[1] - flows[2]) * over / (sh.HALF - sh.QUARTER)


@inner
def move(W: Floats, F: Floats, I: Ints, S: Floats, g: Floats, n: Ints, par: Floats, num: Ints,
         share: Floats, most: Floats, cold: Floats, plugs: Floats) -> None:  # fmt: skip
    """One step of all liquids. `W` is work space, with the rows of the items."""
    dt = par[sh.PAR_DT]
    state, joint0 = n[sh.I_ROUTE], num[sh.N_J0]
    _filters(F, S, par, num)
    _clear(W, num)
    _wishes(W, F, I, S, n, num)
    count: int = np.int64(0)  # type: ignore[assignment]  # a plain 0 is a type of its own
    for m in range(num[sh.N_M0], num[sh.N_M1]):
        W[m, sh.W_KG] = 0.0
        S[m, sh.S_FLOW] = 0.0
        law = I[m, sh.MI_LAW]
        # What it wishes, and what surely moves nothing is passed over first.
        src = I[m, sh.MI_SRC]
        kg = F[m, sh.M_MAX] * dt * S[m, sh.S_HEALTH]
        running = 0
        slowed = 1.0
        if I[m, sh.MI_GROUP] >= 0:
            slowed = W[m, sh.W_WISH]
            if slowed <= 0.0:
                continue
            running = int(W[I[m, sh.MI_GROUP], sh.W_RUNS])
            level = mass(src, S) / F[src, sh.V_CAP] - par[sh.PAR_LEVEL]
            flow = most[state, running, m - num[sh.N_M0]]
            lift = max(0.0, 1.0 + flow[sh.FL_GROWS] * level)
            kg = flow[sh.FL_KG_S] * lift * dt * S[m, sh.S_HEALTH] * W[m, sh.W_WISH]
        elif law == sh.FOLLOW:
            kg = 0.0
        elif law == sh.DOSE:
            kg = min(kg, S[m, sh.S_DOSE])
            if kg <= 0.0:
                continue
        elif law == sh.FLOAT:
            room = F[m, sh.M_FULL] - _level(I[m, sh.MI_LED], S)
            kg = min(kg, max(0.0, room)) * S[m, sh.S_CMD]
            if kg <= 0.0:
                continue
        elif law == sh.SUPPLY:
            kg = S[m, sh.S_DOSE]
            S[m, sh.S_DOSE] = 0.0
            if kg <= 0.0:
                continue
        elif law == sh.BY_ITSELF:
            # Wash goes out while it circulates; what falls, falls at any time.
            kg = most[state, 0, m - num[sh.N_M0], sh.FL_KG_S] * dt * S[m, sh.S_HEALTH]
            gated = I[m, sh.MI_BANK] == 1 and n[sh.I_CIRCULATES] == 0
            if kg <= 0.0 or gated or mass(src, S) <= SPECK_KG:
                continue
        elif law in (sh.FIXED, sh.LOADING):
            kg *= S[m, sh.S_CMD]
            if kg <= 0.0:
                continue
        else:
            there = mass(src, S)
            if I[src, sh.VI_ROLE] == sh.STORE and there <= SPECK_KG:
                if I[m, sh.MI_LED] == src and S[src, sh.V_LEVEL] < 0.0:
                    S[m, sh.S_ON] = 0.0
                continue
            if law == sh.RUNS:
                kg = there * min(1.0, dt / F[m, sh.M_TAU]) * S[m, sh.S_HEALTH]
            elif law == sh.EVEN:
                gap = there - mass(I[m, sh.MI_LED], S)
                if gap <= SPECK_KG:
                    continue
                kg = gap * 0.25 * min(1.0, dt / F[m, sh.M_TAU])
        j0, j1 = I[m, sh.MI_J0], I[m, sh.MI_J1]
        total = 0.0
        for j in range(j0, j1):
            part = _part(share[state, running, j - joint0], slowed) * S[j, sh.SJ_OPEN]
            f = I[j, sh.J_FILTER]
            if part > 0.0 and f >= 0 and (S[f, sh.SF_BUSY] > 0.0 or S[f, sh.SF_HEALTH] <= 0.0):
                part = 0.0
            W[j, sh.W_KG] = part
            total += part
        if total <= 0.0 or kg <= 0.0:
            continue
        slow = 1.0
        for j in range(j0, j1):
            W[j, sh.W_KG] /= total
            f = I[j, sh.J_FILTER]
            if f >= 0 and W[j, sh.W_KG] > 0.0:
                at = sh.DIRTS * min(1.0, S[f, sh.SF_LOAD] / F[f, sh.F_CAP])
                step = min(int(at), sh.DIRTS - 1)
                below = F[f, sh.F_LOSS + step - 1] if step > 0 else 0.0
                loss = below + (at - step) * (F[f, sh.F_LOSS + step] - below)
                slow = min(slow, (1.0 - loss) * S[f, sh.SF_HEALTH])
        W[m, sh.W_KG] = kg * slow
        W[src, sh.W_KG] += W[m, sh.W_KG]
        W[count, sh.W_LIST] = m  # the list of those that move
        count += 1
    if count > 0 or n[sh.I_FLUSH] == 1:
        _limit(W, I, S, num)
        every = _follow(count, W, F, I, S, par, num)
        if every > count:
            _limit(W, I, S, num)
        _exchange(every, state, W, F, I, S, par, num, cold)
        _transfer(every, state, W, F, I, S, g, n, par, num, most)
        through_lines(every, W, F, I, S, g, n, num, plugs)
        for v in range(num[sh.N_V0], num[sh.N_V1]):
            for s in range(sh.SUBSTANCES):
                S[v, s] = or_none(S[v, s] + W[v, sh.W_MASS + s])
            S[v, sh.HEAT] = or_none(S[v, sh.HEAT] + W[v, sh.W_KJ])
        _spill(F, I, S, n, par, num)
    else:
        _still(S, num)


@inner
def _still(S: Floats, num: Ints) -> None:
    """Nothing moves: the readings of the exchangers say so."""
    for x in range(num[sh.N_X0], num[sh.N_X1]):
        S[x, sh.SX_FLOW] = 0.0
        S[x, sh.SX_OUT] = -1.0


@inner
def _limit(W: Floats, I: Ints, S: Floats, num: Ints) -> None:
    """Share of what is asked that each vessel can give."""
    for v in range(num[sh.N_V0], num[sh.N_V1]):
        W[v, sh.W_GIVES] = 1.0
        if I[v, sh.VI_ROLE] == sh.STORE and W[v, sh.W_KG] > max(0.0, mass(v, S)):
            W[v, sh.W_GIVES] = max(0.0, mass(v, S)) / W[v, sh.W_KG]


@inner
def _follow(count: int, W: Floats, F: Floats, I: Ints, S: Floats, par: Floats, num: Ints) -> int:
    """Water that follows the milk through an exchanger; how many then move."""
    dt = par[sh.PAR_DT]
    for x in range(num[sh.N_X0], num[sh.N_X1]):
        S[x, sh.SX_FLOW] = 0.0
    passes = False
    for k in range(count):
        m = int(W[k, sh.W_LIST])
        give = W[m, sh.W_KG] * W[I[m, sh.MI_SRC], sh.W_GIVES]
        for j in range(I[m, sh.MI_J0], I[m, sh.MI_J1]):
            for place in range(sh.J_X, sh.J_X + sh.STAGES):
                if I[j, place] >= 0:
                    S[I[j, place], sh.SX_FLOW] += give * W[j, sh.W_KG]
                    passes = True
    if not passes:
        return count
    for m in range(num[sh.N_M0], num[sh.N_M1]):
        if I[m, sh.MI_LAW] != sh.FOLLOW:
            continue
        x = I[m, sh.MI_X]
        most = F[m, sh.M_MAX] * dt * S[m, sh.S_HEALTH] * S[m, sh.S_CMD]
        kg = min(most, S[x, sh.SX_FLOW] * F[x, sh.X_RATIO])
        total = 0.0
        for j in range(I[m, sh.MI_J0], I[m, sh.MI_J1]):
            total += W[j, sh.W_KG]
        if kg > 0.0 and total > 0.0:
            for j in range(I[m, sh.MI_J0], I[m, sh.MI_J1]):
                W[j, sh.W_KG] /= total
            W[m, sh.W_KG] = kg
            W[I[m, sh.MI_SRC], sh.W_KG] += kg
            W[count, sh.W_LIST] = m
            count += 1
    return count


@inner
def _exchange(count: int, state: int, W: Floats, F: Floats, I: Ints, S: Floats, par: Floats,
              num: Ints, cold: Floats) -> None:  # fmt: skip
    """Heat from the milk of each exchanger to its water or bath; stages in order."""
    dt = par[sh.PAR_DT]
    for x in range(num[sh.N_X0], num[sh.N_X1]):
        S[x, sh.SX_OUT] = -1.0
        if S[x, sh.SX_FLOW] <= 0.0:
            continue
        c_hot = kj = 0.0
        for k in range(count):
            m = int(W[k, sh.W_LIST])
            src = I[m, sh.MI_SRC]
            for j in range(I[m, sh.MI_J0], I[m, sh.MI_J1]):
                if W[j, sh.W_KG] <= 0.0:
                    continue
                at = -1
                for place in range(sh.J_X, sh.J_X + sh.STAGES):
                    if I[j, place] == x:
                        at = place
                if at < 0:
                    continue
                kg = W[m, sh.W_KG] * W[src, sh.W_GIVES] * W[j, sh.W_KG]
                c = kg * capacity_rate(src, F, I, S, par) / max(mass(src, S), SPECK_KG)
                before = temperature(src, F, I, S, par)
                if at > sh.J_X:
                    before = S[I[j, at - 1], sh.SX_OUT]
                c_hot += c
                kj += c * before
        if c_hot <= 0.0:
            continue
        hot_in = kj / c_hot
        q = used = cold_in = 0.0
        water = I[x, sh.XI_COLD]
        chilled = I[x, sh.XI_CHILLED]
        if water >= 0 and W[water, sh.W_KG] > 0.0:
            src = I[water, sh.MI_SRC]
            used = W[water, sh.W_KG] * W[src, sh.W_GIVES]
            c_cold = used * par[sh.PAR_CP + sh.WATER]
            cold_in = temperature(src, F, I, S, par)
            q = _heat(x, c_hot, c_cold, hot_in, cold_in, F, S, dt)
            for j in range(I[water, sh.MI_J0], I[water, sh.MI_J1]):
                W[I[j, sh.J_DST], sh.W_KJ] += q * W[j, sh.W_KG]
        elif chilled >= 0:
            vessels = num[sh.N_V1] - num[sh.N_V0]
            flow = min(S[x, sh.SX_FLOW] * F[x, sh.X_RATIO], cold[state, chilled, vessels] * dt)
            used = flow
            for b in range(vessels):
                if cold[state, chilled, b] > 0.0:
                    cold_in += cold[state, chilled, b] * temperature(num[sh.N_V0] + b, F, I, S, par)
            if flow > 0.0:
                q = _heat(x, c_hot, flow * par[sh.PAR_CP + sh.WATER], hot_in, cold_in, F, S, dt)
                for b in range(vessels):
                    W[num[sh.N_V0] + b, sh.W_KJ] += q * cold[state, chilled, b]
        out = hot_in - q / c_hot
        kg = S[x, sh.SX_FLOW]
        S[x, sh.SX_IN] = hot_in
        S[x, sh.SX_OUT] = out
        S[x, sh.SX_KJ] += q
        S[x, sh.SX_KG] += kg
        S[x, sh.SX_KGC] += kg * out
        S[x, sh.SX_KGIN] += kg * hot_in
        S[x, sh.SX_COLD] += used
        S[x, sh.SX_COLDC] += used * cold_in
        S[x, sh.SX_WARMEST] = max(S[x, sh.SX_WARMEST], out)
        S[x, sh.SX_ICED] += kg * (out < F[x, sh.X_FREEZES_C] + 1e-6)


@inner
def _heat(x: int, c_hot: float, c_cold: float, hot_in: float, cold_in: float, F: Floats, S: Floats,
          dt: float) -> float:  # fmt: skip
    """Heat moved in a step, kJ, by effectiveness and transfer units: down to where milk freezes."""
    least, most = min(c_hot, c_cold), max(c_hot, c_cold)
    if least <= 0.0:
        return 0.0
    ua = F[x, sh.X_UA] * S[x, sh.SX_HEALTH] * dt
    kj = effectiveness(ua / least, least / most) * least * (hot_in - cold_in)
    return min(kj, c_hot * max(0.0, hot_in - F[x, sh.X_FREEZES_C]))


@inner
def _transfer(count: int, state: int, W: Floats, F: Floats, I: Ints, S: Floats, g: Floats, n: Ints,
              par: Floats, num: Ints, most: Floats) -> None:  # fmt: skip
    """Move the shares of each transfer from its vessel to where its open ends lead."""
    dt, blend = par[sh.PAR_DT], par[sh.PAR_HEATER_BLEND]
    for k in range(count):
        m = int(W[k, sh.W_LIST])
        src = I[m, sh.MI_SRC]
        kg = W[m, sh.W_KG] * W[src, sh.W_GIVES]
        S[m, sh.S_FLOW] = kg / dt
        if kg <= 0.0:
            continue
        law = I[m, sh.MI_LAW]
        S[m, sh.S_KG] += kg
        if F[m, sh.M_KW] > 0.0:
            S[m, sh.S_HOURS] += dt / 3600.0
            full = F[m, sh.M_MAX]
            part = 1.0
            if I[m, sh.MI_GROUP] >= 0:
                running = int(W[I[m, sh.MI_GROUP], sh.W_RUNS])
                full = most[state, running, m - num[sh.N_M0], sh.FL_KG_S]
                part = most[state, running, m - num[sh.N_M0], sh.FL_PART]
            share = min(1.0, kg / (full * dt))
            kwh = F[m, sh.M_KW] * part * (0.15 + 0.85 * share * share) * dt / 3600.0
            S[I[m, sh.MI_KWH], sh.E_KWH] += kwh
        if law == sh.DOSE:
            S[m, sh.S_DOSE] = max(0.0, S[m, sh.S_DOSE] - kg)
        whole = mass(src, S)
        role = I[src, sh.VI_ROLE]
        for j in range(I[m, sh.MI_J0], I[m, sh.MI_J1]):
            give = kg * W[j, sh.W_KG]
            if give <= 0.0:
                continue
            dst = I[j, sh.J_DST]
            into = dst
            if I[j, sh.J_LINE] >= 0:
                into = I[j, sh.J_LINE]
                W[into, sh.W_GIVES] += give
            S[j, sh.SJ_KG] += give
            if I[j, sh.J_FILTER] >= 0:
                S[I[j, sh.J_FILTER], sh.SF_LOAD] += give
            if role == sh.SOURCE:
                s = I[src, sh.VI_SUBSTANCE]
                if law == sh.SUPPLY:
                    s = sh.MILK if I[m, sh.MI_BANK] == 0 else sh.WITHHELD
                c = give * par[sh.PAR_CP + s]
                before = par[sh.PAR_LINE_C] if law == sh.SUPPLY else S[src, sh.V_T0]
                W[src, sh.W_MASS + s] -= give
                W[into, sh.W_MASS + s] += give
            else:
                share = give / whole
                c = 0.0
                for s in range(sh.SUBSTANCES):
                    one = S[src, s] * share
                    W[src, sh.W_MASS + s] -= one
                    W[into, sh.W_MASS + s] += one
                    c += one * par[sh.PAR_CP + s]
                before = S[src, sh.HEAT] / max(capacity_rate(src, F, I, S, par), SPECK_KG)
                if F[src, sh.V_HOT] > 0.0:
                    before = from_layers(before, S[src, sh.V_COLD], F[src, sh.V_HOT], blend)
            after = before
            for place in range(sh.J_X, sh.J_X + sh.STAGES):
                if I[j, place] >= 0:
                    after = S[I[j, place], sh.SX_OUT]
            if n[sh.I_CIRCULATES] == 1:
                if law == sh.BY_ITSELF and I[m, sh.MI_BANK] == 1:
                    after = wash_on_its_way(c, before, W[j, sh.W_KG], g, par)
                elif I[dst, sh.VI_WASHED] == 1 and law != sh.DOSE:
                    g[sh.G_RETURN_C] = after
            W[src, sh.W_KJ] -= c * before
            W[into, sh.W_KJ] += c * after
            if F[dst, sh.V_HOT] > 0.0:
                S[dst, sh.V_COLD] = after


@inner
def _spill(F: Floats, I: Ints, S: Floats, n: Ints, par: Floats, num: Ints) -> None:
    """What a vessel cannot hold runs over, to its overflow or to the ledger."""
    t = n[sh.I_STEP] * par[sh.PAR_DT]
    for v in range(num[sh.N_V0], num[sh.N_V1]):
        if I[v, sh.VI_ROLE] != sh.STORE:
            continue
        kg = mass(v, S)
        over = kg - F[v, sh.V_CAP]
        if over > SPECK_KG:
            share = over / kg
            to = I[v, sh.VI_SPILL]
            for s in range(sh.SUBSTANCES):
                one = S[v, s] * share
                S[v, s] -= one
                S[to, s] += one
            kj = S[v, sh.HEAT] * share
            S[v, sh.HEAT] -= kj
            S[to, sh.HEAT] += kj
            S[v, sh.P_SPILT] += over
            if S[v, sh.P_OVER_AT] < 0.0:
                S[v, sh.P_OVER_AT] = t
            kg = F[v, sh.V_CAP]
        S[v, sh.P_MOST] = max(S[v, sh.P_MOST], kg)
        S[v, sh.P_LEAST] = min(S[v, sh.P_LEAST], kg)
