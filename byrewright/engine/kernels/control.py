"""Compiled controllers: timed rows, the milkings, the wash, the fill valves and the tanker."""

from __future__ import annotations

from byrewright.engine.jit import inner, kernel
from byrewright.engine.kernels.network import content, warmth
from byrewright.engine.kernels.traffic import ended
from byrewright.engine.shape import *

NEARLY_FULL = 0.985  # the fill valves change over here
WORTH_LOADING = 0.03  # a tank that is being filled is not loaded with less than this in it
A_REST = 0.002  # nor any tank with less than this
PHASE_MOST_S = 5400.0  # a wash step that has not ended by then is given up
EMPTY_KG = 0.05
PUSH_MORE_S = 600.0  # how much longer than its time milk is pushed out while any is left
MILKING_MODE, WASH_MODE, RINSE_MODE, DRAIN_MODE, IDLE_MODE = range(5)
MODES = 5


@inner
def apply_rows(
    F: Floats,
    I: Ints,
    S: Floats,
    g: Floats,
    n: Ints,
    par: Floats,
    num: Ints,
    bout: Floats,
    loads: Floats,
    rows: Ints,
    values: Floats,
) -> None:
    """Take the rows that are due, in their order."""
    while n[I_ROW] < rows.shape[0] and rows[n[I_ROW], RW_STEP] <= n[I_STEP]:
        row = n[I_ROW]
        n[I_ROW] += 1
        to = rows[row, RW_TARGET]
        field = rows[row, RW_FIELD]
        value = values[row]
        if field == ROW_MILKING:
            n[I_PENDING] += 1
            bout[to % num[N_SLOTS]] = 0.0
            bout[to % num[N_SLOTS], B_ASKED] = n[I_STEP] * par[PAR_DT]
        elif field == ROW_TANKER:
            if n[I_TANKER] == 1:
                _depart(F, I, S, g, n, par, num, loads)
            n[I_TANKER] = 1
            g[G_TANKER_CAP] = value
            g[G_TANKER_AT] = n[I_STEP] * par[PAR_DT]
        elif field == ROW_MOVER:
            S[to, S_HEALTH] = value
        elif field == ROW_MOVER_CMD:
            S[to, S_CMD] = value
        elif field == ROW_JOINT:
            S[to, SJ_OPEN] = value
        elif field == ROW_EXCHANGER:
            S[to, SX_HEALTH] = value
        elif field == ROW_CHILL:
            S[to, SR_HEALTH] = value
        elif field == ROW_HEATER:
            S[to, SH_HEALTH] = value
        elif field in (ROW_PUMP, ROW_COMPRESSOR):
            S[to, 1] = value
        elif field == ROW_DRIVE:
            g[G_DRIVE] = value
        elif field == ROW_GATE:
            g[G_GATE] = value
        elif field == ROW_LEVEL:
            S[to, V_LEVEL] = value
        elif field == ROW_FILTER:
            S[to, SF_HEALTH] = value
        elif field == ROW_OPERATORS:
            g[G_OPERATORS] = value
        elif field == ROW_LOT:
            S[to, SL_HEALTH] = value
        elif field == ROW_AIR_LEAK:
            g[G_AIR_LEAK] = value
        elif field == ROW_RECOVERY:
            S[to, SR_GIVES] = value
        elif field == ROW_VACUUM_AIR:
            g[G_VACUUM_AIR] = value
        elif field == ROW_ROUTE:
            n[I_VARIANT] = int(value)


@inner
def _begin(
    t: float,
    S: Floats,
    g: Floats,
    n: Ints,
    par: Floats,
    num: Ints,
    cow: Floats,
    out: Floats,
    bout: Floats,
    cows_day: Floats,
    count: Ints,
) -> None:
    """The first cow of a milking goes on."""
    slot = n[I_MILKED] % num[N_SLOTS]
    n[I_MILKED] += 1
    n[I_MILKING] = slot
    n[I_COW] = 0
    n[I_COWS] = count[slot]
    n[I_ENTRY] = 0
    n[I_ATTACH] = 0
    n[I_EXIT] = 0
    n[I_ON_DECK] = 0
    n[I_MODE] = MILKING_MODE
    g[G_U] = 0.0
    g[G_STOP] = 0.0
    g[G_BUSY_UNTIL] = t
    g[G_READY] = t
    g[G_CALF_START] = t + par[PAR_CALF_AFTER]
    g[G_CALF_DRAWN] = 0.0
    for c in range(n[I_COWS]):
        for k in range(COW):
            cow[c, k] = cows_day[slot, c, k]
    for c in range(out.shape[1]):
        for k in range(OUT):
            out[slot, c, k] = 0.0
    asked = bout[slot, B_ASKED]
    for k in range(BOUTS):
        bout[slot, k] = 0.0
    bout[slot, B_ASKED] = asked
    bout[slot, B_BEGUN] = t
    for f in range(num[N_F0], num[N_F1]):
        S[f, SF_LOAD] = 0.0
    for stall in range(num[N_STALL0], num[N_STALL1]):
        for k in range(7):
            S[stall, k] = 0.0


@inner
def _start_phase(
    F: Floats, I: Ints, S: Floats, g: Floats, n: Ints, par: Floats, num: Ints, bout: Floats
) -> None:
    """Set up the phase of the sequence that begins now."""
    phase = num[N_Q0] + n[I_PHASE]
    does = int(F[phase, Q_DOES])
    which = int(F[phase, Q_MAIN])
    g[G_PHASE_LEFT] = F[phase, Q_SECONDS]
    n[I_FLUSH] = 1 if does == FLUSH else (2 if does == EMPTY else 0)
    n[I_CIRCULATES] = 1 if does == CIRCULATE else 0
    if does == CIRCULATE:
        n[I_MODE] = RINSE_MODE if which == ONCE else WASH_MODE
    elif does == EMPTY and which > 0:
        n[I_MODE] = DRAIN_MODE
    elif does == DOSE_IN:
        n[I_MODE] = RINSE_MODE  # what still comes back of the step before goes where a rinse goes
    elif does == WAIT:
        n[I_MODE] = WASH_MODE
    if does == DOSE_IN:
        S[int(F[phase, Q_MOVER]), S_DOSE] += F[phase, Q_KG]
    for i in range(num[N_TROUGH0], num[N_TROUGH1]):
        v = I[i, TR_VESSEL]
        if does == EMPTY:
            S[I[i, TR_DRAIN], S_CMD] = 1.0
        if does == CIRCULATE and F[phase, Q_KG] > 0.0:
            kg = S[v, WATER]
            S[v, WATER] = 0.0
            S[v, WASH] += kg
            g[G_MADE_WASH] += kg
            g[G_PRODUCT_L] += kg * F[phase, Q_KG]
    if does == CIRCULATE:
        g[G_RETURN_C] = 0.0
        if which == MAIN:
            bout[(n[I_MILKED] - 1) % num[N_SLOTS], B_HOT_C] = _wash_c(F, I, S, par, num)


@inner
def _wash_c(F: Floats, I: Ints, S: Floats, par: Floats, num: Ints) -> float:
    """Temperature of what stands in the coldest wash vessel."""
    coldest = 1e3
    for i in range(num[N_TROUGH0], num[N_TROUGH1]):
        coldest = min(coldest, warmth(I[i, TR_VESSEL], F, I, S, par))
    return coldest


@inner
def _heater_c(F: Floats, I: Ints, S: Floats, par: Floats, num: Ints) -> float:
    """Temperature of what stands in the coldest heater."""
    coldest = 1e3
    for e in range(num[N_H0], num[N_H1]):
        coldest = min(coldest, warmth(I[e, HI_VESSEL], F, I, S, par))
    return coldest


@inner
def _wash_kg(I: Ints, S: Floats, num: Ints) -> float:
    """What stands in the wash vessels."""
    kg = 0.0
    for i in range(num[N_TROUGH0], num[N_TROUGH1]):
        kg += content(I[i, TR_VESSEL], S)
    return kg


@inner
def _strength(I: Ints, S: Floats, num: Ints) -> float:
    """Share of what was made up with product in the weakest wash vessel; nil in an empty one."""
    weakest = 1.0
    for i in range(num[N_TROUGH0], num[N_TROUGH1]):
        v = I[i, TR_VESSEL]
        weakest = min(weakest, S[v, WASH] / max(content(v, S), EMPTY_KG))
    return weakest


@inner
def _milk_kg(I: Ints, S: Floats, num: Ints) -> float:
    """Milk still on its way to a tank."""
    kg = 0.0
    for v in range(num[N_V0], num[N_V1]):
        on_way = I[v, VI_ROLE] == STORE and I[v, VI_SUBSTANCE] == MILK and I[v, VI_FILL] < 0
        if on_way and I[v, VI_EMPTY] < 0 and v != num[N_TANKER]:
            kg += S[v, MILK]
    return kg


@inner
def _left_kg(I: Ints, S: Floats, num: Ints) -> float:
    """Water and wash in what milk passes."""
    kg = 0.0
    for v in range(num[N_V0], num[N_V1]):
        milk = I[v, VI_ROLE] == STORE and I[v, VI_SUBSTANCE] == MILK and I[v, VI_FILL] < 0
        if milk and v != num[N_TANKER]:
            kg += S[v, WATER] + S[v, WASH]
    return kg


@inner
def _sequence(
    t: float,
    F: Floats,
    I: Ints,
    S: Floats,
    g: Floats,
    n: Ints,
    par: Floats,
    num: Ints,
    bout: Floats,
) -> None:
    """Flush, then wash, one phase after another."""
    dt = par[PAR_DT]
    slot = (n[I_MILKED] - 1) % num[N_SLOTS]
    phase = n[I_PHASE]
    does = int(F[num[N_Q0] + phase, Q_DOES])
    mover = int(F[num[N_Q0] + phase, Q_MOVER])
    g[G_PHASE_LEFT] -= dt
    over = g[G_PHASE_LEFT] <= 0.0
    given_up = g[G_PHASE_LEFT] <= -PHASE_MOST_S
    goes_round = does == CIRCULATE and F[num[N_Q0] + phase, Q_MAIN] >= ROUND
    if goes_round and _wash_kg(I, S, num) <= EMPTY_KG:
        bout[slot, B_DRY_S] += dt  # what went out does not come back in time
    late = g[G_PHASE_LEFT] <= -PUSH_MORE_S
    if does == FLUSH and not late and _milk_kg(I, S, num) > EMPTY_KG:
        over = False
    if does == DOSE_IN and S[mover, S_DOSE] > 1e-6 and not given_up:
        over = False
    if does == EMPTY and _wash_kg(I, S, num) > EMPTY_KG and not given_up:
        over = False
    if not over:
        return
    if does == DOSE_IN:
        S[mover, S_DOSE] = 0.0
    if does == EMPTY:
        for i in range(num[N_TROUGH0], num[N_TROUGH1]):
            S[I[i, TR_DRAIN], S_CMD] = 0.0
    if does == CIRCULATE and F[num[N_Q0] + phase, Q_MAIN] == MAIN:
        bout[slot, B_RETURN_C] = g[G_RETURN_C]
        bout[slot, B_STRENGTH] = _strength(I, S, num)
    n[I_PHASE] += 1
    last = num[N_Q1] - num[N_Q0]
    milkings = num[N_WASH1] - num[N_WASH0]
    if I[num[N_WASH0] + (n[I_MILKED] - 1) % milkings, 0] == 0:
        last = num[N_PHASES_DRY]
    if n[I_PHASE] >= last:
        n[I_SEQ] = 0
        n[I_FLUSH] = 0
        n[I_CIRCULATES] = 0
        n[I_MODE] = IDLE_MODE
        bout[slot, B_WASH_END] = t
        bout[slot, B_LEFT_KG] = _left_kg(I, S, num)
        for v in range(num[N_V0], num[N_V1]):
            if I[v, VI_EMPTY] >= 0:
                _pour(v, I[v, VI_EMPTY], S)
        return
    _start_phase(F, I, S, g, n, par, num, bout)


@inner
def _pour(a: int, b: int, S: Floats) -> None:
    """All of one vessel's content goes to another."""
    for s in range(4):
        S[b, s] += S[a, s]
        S[a, s] = 0.0
    S[b, HEAT] += S[a, HEAT]
    S[a, HEAT] = 0.0


@inner
def _depart(
    F: Floats, I: Ints, S: Floats, g: Floats, n: Ints, par: Floats, num: Ints, loads: Floats
) -> None:
    """The tanker leaves with what it has; emptied tanks are washed."""
    t = n[I_STEP] * par[PAR_DT]
    v = num[N_TANKER]
    kg = content(v, S)
    if n[I_LOADS] < loads.shape[0]:
        one = loads[n[I_LOADS]]
        one[T_AT] = g[G_TANKER_AT]
        one[T_LEFT] = t
        one[T_KG] = kg
        one[T_KJ] = S[v, HEAT]
        one[T_C] = warmth(v, F, I, S, par) if kg > EMPTY_KG else 0.0
        n[I_LOADS] += 1
    _pour(v, num[N_SOLD], S)
    n[I_TANKER] = 0
    for i in range(num[N_PLACE0], num[N_PLACE1]):
        tank = I[i, 0]
        if I[i, 2] < 0:
            continue
        S[I[i, 2], S_CMD] = 0.0
        if content(tank, S) <= EMPTY_KG and S[tank, V_WASH_UNTIL] < 0.0:
            S[tank, V_WASH_UNTIL] = t + par[PAR_TANK_WASH_S]
            for m in range(num[N_M0], num[N_M1]):
                if I[m, MI_LAW] == DOSE:  # each heater gives its share of the hot water
                    S[m, S_DOSE] += F[m, M_START] * par[PAR_TANK_WASH_SHARE] * F[tank, V_CAP]


@inner
def _milk_comes(n: Ints) -> bool:
    """Whether milk runs into the place that is filled."""
    return n[I_MILKING] >= 0 or n[I_FLUSH] == 1


@inner
def _tanker(
    t: float,
    F: Floats,
    I: Ints,
    S: Floats,
    g: Floats,
    n: Ints,
    par: Floats,
    num: Ints,
    loads: Floats,
) -> None:
    """Load what stands in the tanks, the fullest first."""
    if n[I_TANKER] == 0:
        return
    v = num[N_TANKER]
    room = g[G_TANKER_CAP] - content(v, S)
    loading = -1
    for i in range(num[N_PLACE0], num[N_PLACE1]):
        m = I[i, 2]
        if m >= 0 and S[m, S_CMD] == 1.0:
            loading = i
    if loading >= 0:
        tank = I[loading, 0]
        left = content(tank, S)
        least = EMPTY_KG
        if loading == n[I_TARGET] and _milk_comes(n):
            least = WORTH_LOADING * F[tank, V_CAP]
        if left <= least or room <= EMPTY_KG:
            S[I[loading, 2], S_CMD] = 0.0
            loading = -1
    if loading < 0 and room > EMPTY_KG:
        best = 0.0
        for i in range(num[N_PLACE0], num[N_PLACE1]):
            if I[i, 2] < 0:
                continue
            tank = I[i, 0]
            full = content(tank, S) / F[tank, V_CAP]
            worth = WORTH_LOADING if i == n[I_TARGET] and _milk_comes(n) else A_REST
            if full > max(best, worth) and S[I[i, 2], S_HEALTH] > 0.0:
                best = full
                loading = i
        if loading >= 0:
            S[I[loading, 2], S_CMD] = 1.0
    waits = num[N_DIRECT] == 1 and room > 0.005 * g[G_TANKER_CAP]
    if loading < 0 and not waits and t - g[G_TANKER_AT] > 600.0:
        _depart(F, I, S, g, n, par, num, loads)


@inner
def _usable(i: int, t: float, F: Floats, I: Ints, S: Floats, g: Floats, n: Ints, num: Ints) -> bool:
    """Whether milk may be sent to the i-th place now."""
    v = I[i, 0]
    if v == num[N_TANKER]:
        full = content(v, S) >= NEARLY_FULL * g[G_TANKER_CAP]
        return num[N_DIRECT] == 1 and n[I_TANKER] == 1 and not full
    if S[v, V_WASH_UNTIL] > t:
        return False
    if I[i, 2] >= 0 and S[I[i, 2], S_CMD] == 1.0:
        return False
    return content(v, S) < NEARLY_FULL * F[v, V_CAP]


@inner
def _same_place(F: Floats, I: Ints, S: Floats, n: Ints, num: Ints) -> bool:
    """Whether the place that milk goes to has room (asked at every step; the rest by the minute)."""
    if num[N_PLACE1] == num[N_PLACE0]:
        return True
    v = I[n[I_TARGET], 0]
    return content(v, S) < NEARLY_FULL * F[v, V_CAP]


@inner
def _washed(t: float, I: Ints, S: Floats, num: Ints) -> None:
    """A washed tank that holds milk again may be washed again after its next emptying."""
    for i in range(num[N_PLACE0], num[N_PLACE1]):
        v = I[i, 0]
        over = S[v, V_WASH_UNTIL] >= 0.0 and S[v, V_WASH_UNTIL] <= t
        if over and content(v, S) > EMPTY_KG:
            S[v, V_WASH_UNTIL] = -1.0


@inner
def _place(t: float, F: Floats, I: Ints, S: Floats, g: Floats, n: Ints, num: Ints) -> None:
    """Which fill valve is open: the tanker's, else the tank in use, else the next that has room."""
    first = num[N_PLACE0]
    last = num[N_PLACE1]
    if last == first:
        return
    now = n[I_TARGET]
    for i in range(first, last):
        if I[i, 0] == num[N_TANKER] and _usable(i, t, F, I, S, g, n, num):
            now = i
    if not _usable(now, t, F, I, S, g, n, num):
        for k in range(1, last - first + 1):
            i = first + (now - first + k) % (last - first)
            if _usable(i, t, F, I, S, g, n, num):
                now = i
                break
    n[I_TARGET] = now


@kernel
def control(
    t: float,
    F: Floats,
    I: Ints,
    S: Floats,
    g: Floats,
    n: Ints,
    par: Floats,
    num: Ints,
    cow: Floats,
    out: Floats,
    bout: Floats,
    loads: Floats,
    rows: Ints,
    values: Floats,
    cows_day: Floats,
    count: Ints,
) -> None:
    """All that decides, at the start of a step."""
    if n[I_ROW] < rows.shape[0] and rows[n[I_ROW], RW_STEP] <= n[I_STEP]:
        apply_rows(F, I, S, g, n, par, num, bout, loads, rows, values)
    if n[I_MILKING] >= 0 and ended(n):
        bout[n[I_MILKING], B_WASH_BEGUN] = t
        bout[n[I_MILKING], B_HEATER_C] = _heater_c(F, I, S, par, num)
        n[I_MILKING] = -1
        n[I_SEQ] = 1
        n[I_PHASE] = 0
        _start_phase(F, I, S, g, n, par, num, bout)
    elif n[I_SEQ] == 1:
        _sequence(t, F, I, S, g, n, par, num, bout)
    if n[I_MILKING] < 0 and n[I_SEQ] == 0 and n[I_MILKED] < n[I_PENDING]:
        _begin(t, S, g, n, par, num, cow, out, bout, cows_day, count)
    if n[I_TANKER] == 1:
        _tanker(t, F, I, S, g, n, par, num, loads)
    if n[I_STEP] % num[N_MINUTE] == 0 or n[I_TANKER] == 1 or not _same_place(F, I, S, n, num):
        _washed(t, I, S, num)
        _place(t, F, I, S, g, n, num)


@inner
def awake(S: Floats, F: Floats, I: Ints, n: Ints, num: Ints, rows: Ints) -> bool:
    """Whether anything may have to be decided in this step; mostly nothing has."""
    if n[I_ROW] < rows.shape[0] and rows[n[I_ROW], RW_STEP] <= n[I_STEP]:
        return True
    if n[I_SEQ] == 1 or n[I_TANKER] == 1:
        return True
    if n[I_MILKING] >= 0:
        return ended(n) or not _same_place(F, I, S, n, num)
    return n[I_MILKED] < n[I_PENDING] or not _same_place(F, I, S, n, num)


@inner
def route(t: float, I: Ints, g: Floats, n: Ints, par: Floats, num: Ints) -> None:
    """The state of the valves: mode, place that is filled, calf draw, variant."""
    alt = I[n[I_TARGET], 1] if num[N_PLACE1] > num[N_PLACE0] else 0
    draws = n[I_MILKING] >= 0 and num[N_CALF_ALT] >= 0
    if draws and t >= g[G_CALF_START] and g[G_CALF_DRAWN] < par[PAR_CALF_KG]:
        alt += num[N_CALF_ALT]
    n[I_ROUTE] = (n[I_VARIANT] * MODES + n[I_MODE]) * num[N_ALTS] + alt
