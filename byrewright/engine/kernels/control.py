"""Compiled controllers: timed rows, the milkings, the wash, the fill valves and the tanker."""

from __future__ import annotations

from byrewright.engine import shape as sh
from byrewright.engine.jit import inner, kernel
from byrewright.engine.kernels.traffic import ended
from byrewright.engine.kernels.vessels import mass, temperature
from byrewright.engine.shape import Day, Floats, Ints, State, Tables

NEARLY_FULL = 0.985  # the fill valves change over here
WORTH_LOADING = 0.03  # a tank that is being filled is not loaded with less than this in it
A_REST = 0.002  # nor any tank with less than this
PHASE_MOST_S = 5400.0  # a wash step that has not ended by then is given up
EMPTY_KG = 0.05
PUSH_MORE_S = 600.0  # how much longer than its time milk is pushed out while any is left
MILKING_MODE, WASH_MODE, RINSE_MODE, DRAIN_MODE, IDLE_MODE = range(5)
MODES = 5


@inner
def apply_rows(F: Floats, I: Ints, S: Floats, g: Floats, n: Ints, par: Floats, num: Ints,
               session: Floats, loads: Floats, rows: Ints, values: Floats) -> None:  # fmt: skip
    """Take the rows that are due, in their order."""
    while n[sh.I_ROW] < rows.shape[0] and rows[n[sh.I_ROW], sh.RW_STEP] <= n[sh.I_STEP]:
        row = n[sh.I_ROW]
        n[sh.I_ROW] += 1
        to = rows[row, sh.RW_TARGET]
        field = rows[row, sh.RW_FIELD]
        value = values[row]
        if field == sh.ROW_MILKING:
            n[sh.I_PENDING] += 1
            session[to % num[sh.N_SLOTS]] = 0.0
            session[to % num[sh.N_SLOTS], sh.B_ASKED] = n[sh.I_STEP] * par[sh.PAR_DT]
        elif field == sh.ROW_TANKER:
            if n[sh.I_TANKER] == 1:
                _depart(F, I, S, g, n, par, num, loads)
            n[sh.I_TANKER] = 1
            g[sh.G_TANKER_CAP] = value
            g[sh.G_TANKER_AT] = n[sh.I_STEP] * par[sh.PAR_DT]
        elif field == sh.ROW_TRANSFER:
            S[to, sh.S_HEALTH] = value
        elif field == sh.ROW_TRANSFER_CMD:
            S[to, sh.S_CMD] = value
        elif field == sh.ROW_BRANCH:
            S[to, sh.SJ_OPEN] = value
        elif field == sh.ROW_EXCHANGER:
            S[to, sh.SX_HEALTH] = value
        elif field == sh.ROW_CHILL:
            S[to, sh.SR_HEALTH] = value
        elif field == sh.ROW_HEATER:
            S[to, sh.SH_HEALTH] = value
        elif field == sh.ROW_PUMP:
            S[to, sh.SP_HEALTH] = value
        elif field == sh.ROW_COMPRESSOR:
            S[to, sh.SA_HEALTH] = value
        elif field == sh.ROW_DRIVE:
            g[sh.G_DRIVE] = value
        elif field == sh.ROW_GATE:
            g[sh.G_GATE] = value
        elif field == sh.ROW_LEVEL:
            S[to, sh.V_LEVEL] = value
        elif field == sh.ROW_FILTER:
            S[to, sh.SF_HEALTH] = value
        elif field == sh.ROW_OPERATORS:
            g[sh.G_OPERATORS] = value
        elif field == sh.ROW_LAUNDRY:
            S[to, sh.SL_HEALTH] = value
        elif field == sh.ROW_AIR_LEAK:
            g[sh.G_AIR_LEAK] = value
        elif field == sh.ROW_RECOVERY:
            S[to, sh.SR_GIVES] = value
        elif field == sh.ROW_VACUUM_AIR:
            g[sh.G_VACUUM_AIR] = value
        elif field == sh.ROW_ROUTE:
            n[sh.I_VARIANT] = int(value)


@inner
def _begin(t: float, S: Floats, g: Floats, n: Ints, par: Floats, num: Ints, cow: Floats,
           out: Floats, session: Floats, cows_day: Floats, count: Ints) -> None:  # fmt: skip
    """The first cow of a milking goes on."""
    slot = n[sh.I_MILKED] % num[sh.N_SLOTS]
    n[sh.I_MILKED] += 1
    n[sh.I_MILKING] = slot
    n[sh.I_COW] = 0
    n[sh.I_COWS] = count[slot]
    n[sh.I_ENTRY] = 0
    n[sh.I_ATTACH] = 0
    n[sh.I_EXIT] = 0
    n[sh.I_ON_DECK] = 0
    n[sh.I_MODE] = MILKING_MODE
    g[sh.G_U] = 0.0
    g[sh.G_STOP] = 0.0
    g[sh.G_BUSY_UNTIL] = t
    g[sh.G_READY] = t
    g[sh.G_CALF_START] = t + par[sh.PAR_CALF_AFTER]
    g[sh.G_CALF_DRAWN] = 0.0
    for c in range(n[sh.I_COWS]):
        for k in range(cow.shape[1]):
            cow[c, k] = cows_day[slot, c, k]
    for c in range(out.shape[1]):
        for k in range(out.shape[2]):
            out[slot, c, k] = 0.0
    asked = session[slot, sh.B_ASKED]
    for k in range(session.shape[1]):
        session[slot, k] = 0.0
    session[slot, sh.B_ASKED] = asked
    session[slot, sh.B_BEGUN] = t
    for f in range(num[sh.N_F0], num[sh.N_F1]):
        S[f, sh.SF_LOAD] = 0.0
    for stall in range(num[sh.N_STALL0], num[sh.N_STALL1]):
        for k in range(sh.ST_KICKED + 1):
            S[stall, k] = 0.0


@inner
def _start_phase(
    F: Floats, I: Ints, S: Floats, g: Floats, n: Ints, par: Floats, num: Ints, session: Floats
) -> None:
    """Set up the phase of the sequence that begins now."""
    phase = num[sh.N_Q0] + n[sh.I_PHASE]
    does = int(F[phase, sh.Q_DOES])
    which = int(F[phase, sh.Q_MAIN])
    g[sh.G_PHASE_LEFT] = F[phase, sh.Q_SECONDS]
    n[sh.I_FLUSH] = 1 if does == sh.FLUSH else (2 if does == sh.EMPTY else 0)
    n[sh.I_CIRCULATES] = 1 if does == sh.CIRCULATE else 0
    if does == sh.CIRCULATE:
        n[sh.I_MODE] = RINSE_MODE if which == sh.ONCE else WASH_MODE
    elif does == sh.EMPTY and which > 0:
        n[sh.I_MODE] = DRAIN_MODE
    elif does == sh.DOSE_IN:
        n[sh.I_MODE] = (
            RINSE_MODE  # what still comes back of the step before goes where a rinse goes
        )
    elif does == sh.WAIT:
        n[sh.I_MODE] = WASH_MODE
    if does == sh.DOSE_IN:
        S[int(F[phase, sh.Q_TRANSFER]), sh.S_DOSE] += F[phase, sh.Q_KG]
    for i in range(num[sh.N_TROUGH0], num[sh.N_TROUGH1]):
        v = I[i, sh.TR_VESSEL]
        if does == sh.EMPTY:
            S[I[i, sh.TR_DRAIN], sh.S_CMD] = 1.0
        if does == sh.CIRCULATE and F[phase, sh.Q_KG] > 0.0:
            kg = S[v, sh.WATER]
            S[v, sh.WATER] = 0.0
            S[v, sh.WASH] += kg
            g[sh.G_MADE_WASH] += kg
            g[sh.G_PRODUCT_L] += kg * F[phase, sh.Q_KG]
    if does == sh.CIRCULATE:
        g[sh.G_RETURN_C] = 0.0
        if which == sh.MAIN:
            session[(n[sh.I_MILKED] - 1) % num[sh.N_SLOTS], sh.B_HOT_C] = _wash_c(F, I, S, par, num)


@inner
def _wash_c(F: Floats, I: Ints, S: Floats, par: Floats, num: Ints) -> float:
    """Temperature of what stands in the coldest wash vessel."""
    coldest = 1e3
    for i in range(num[sh.N_TROUGH0], num[sh.N_TROUGH1]):
        coldest = min(coldest, temperature(I[i, sh.TR_VESSEL], F, I, S, par))
    return coldest


@inner
def _heater_c(F: Floats, I: Ints, S: Floats, par: Floats, num: Ints) -> float:
    """Temperature of what stands in the coldest heater."""
    coldest = 1e3
    for e in range(num[sh.N_H0], num[sh.N_H1]):
        coldest = min(coldest, temperature(I[e, sh.HI_VESSEL], F, I, S, par))
    return coldest


@inner
def _wash_kg(I: Ints, S: Floats, num: Ints) -> float:
    """What stands in the wash vessels."""
    kg = 0.0
    for i in range(num[sh.N_TROUGH0], num[sh.N_TROUGH1]):
        kg += mass(I[i, sh.TR_VESSEL], S)
    return kg


@inner
def _strength(I: Ints, S: Floats, num: Ints) -> float:
    """Share of what was made up with product in the weakest wash vessel that holds something; nil
    where all are empty."""
    weakest, some = 1.0, False
    for i in range(num[sh.N_TROUGH0], num[sh.N_TROUGH1]):
        v = I[i, sh.TR_VESSEL]
        kg = mass(v, S)
        if kg > EMPTY_KG:
            weakest, some = min(weakest, S[v, sh.WASH] / kg), True
    return weakest if some else 0.0


@inner
def _on_the_way(v: int, I: Ints, num: Ints) -> bool:
    """Whether a vessel holds milk between the cow and the tank."""
    return bool(
        I[v, sh.VI_ROLE] == sh.STORE
        and I[v, sh.VI_SUBSTANCE] == sh.MILK
        and I[v, sh.VI_FILL] < 0
        and v != num[sh.N_TANKER]
    )


@inner
def _milk_kg(I: Ints, S: Floats, num: Ints) -> float:
    """Milk still on its way to a tank."""
    kg = 0.0
    for v in range(num[sh.N_V0], num[sh.N_V1]):
        if _on_the_way(v, I, num) and I[v, sh.VI_EMPTY] < 0:
            kg += S[v, sh.MILK]
    return kg


@inner
def _left_kg(I: Ints, S: Floats, num: Ints) -> float:
    """Water and wash in what milk passes."""
    kg = 0.0
    for v in range(num[sh.N_V0], num[sh.N_V1]):
        if _on_the_way(v, I, num):
            kg += S[v, sh.WATER] + S[v, sh.WASH]
    return kg


@inner
def _sequence(t: float, F: Floats, I: Ints, S: Floats, g: Floats, n: Ints, par: Floats, num: Ints,
              session: Floats) -> None:  # fmt: skip
    """Flush, then wash, one phase after another."""
    dt = par[sh.PAR_DT]
    slot = (n[sh.I_MILKED] - 1) % num[sh.N_SLOTS]
    phase = n[sh.I_PHASE]
    does = int(F[num[sh.N_Q0] + phase, sh.Q_DOES])
    transfer = int(F[num[sh.N_Q0] + phase, sh.Q_TRANSFER])
    g[sh.G_PHASE_LEFT] -= dt
    over = g[sh.G_PHASE_LEFT] <= 0.0
    given_up = g[sh.G_PHASE_LEFT] <= -PHASE_MOST_S
    goes_round = does == sh.CIRCULATE and F[num[sh.N_Q0] + phase, sh.Q_MAIN] >= sh.ROUND
    if goes_round and _wash_kg(I, S, num) <= EMPTY_KG:
        session[slot, sh.B_DRY_S] += dt  # what went out does not come back in time
    late = g[sh.G_PHASE_LEFT] <= -PUSH_MORE_S
    if does == sh.FLUSH and not late and _milk_kg(I, S, num) > EMPTY_KG:
        over = False
    if does == sh.DOSE_IN and S[transfer, sh.S_DOSE] > 1e-6 and not given_up:
        over = False
    if does == sh.EMPTY and _wash_kg(I, S, num) > EMPTY_KG and not given_up:
        over = False
    if not over:
        return
    if does == sh.DOSE_IN:
        S[transfer, sh.S_DOSE] = 0.0
    if does == sh.EMPTY:
        for i in range(num[sh.N_TROUGH0], num[sh.N_TROUGH1]):
            S[I[i, sh.TR_DRAIN], sh.S_CMD] = 0.0
    if does == sh.CIRCULATE and F[num[sh.N_Q0] + phase, sh.Q_MAIN] == sh.MAIN:
        session[slot, sh.B_RETURN_C] = g[sh.G_RETURN_C]
        session[slot, sh.B_STRENGTH] = _strength(I, S, num)
    n[sh.I_PHASE] += 1
    last = num[sh.N_Q1] - num[sh.N_Q0]
    milkings = num[sh.N_WASH1] - num[sh.N_WASH0]
    if I[num[sh.N_WASH0] + (n[sh.I_MILKED] - 1) % milkings, sh.WI_WHOLE] == 0:
        last = num[sh.N_PHASES_DRY]
    if n[sh.I_PHASE] >= last:
        n[sh.I_SEQ] = 0
        n[sh.I_FLUSH] = 0
        n[sh.I_CIRCULATES] = 0
        n[sh.I_MODE] = IDLE_MODE
        session[slot, sh.B_WASH_END] = t
        session[slot, sh.B_LEFT_KG] = _left_kg(I, S, num)
        for v in range(num[sh.N_V0], num[sh.N_V1]):
            if I[v, sh.VI_EMPTY] >= 0:
                _pour(v, I[v, sh.VI_EMPTY], S)
        return
    _start_phase(F, I, S, g, n, par, num, session)


@inner
def _pour(a: int, b: int, S: Floats) -> None:
    """All of one vessel's content goes to another."""
    for s in range(sh.SUBSTANCES):
        S[b, s] += S[a, s]
        S[a, s] = 0.0
    S[b, sh.HEAT] += S[a, sh.HEAT]
    S[a, sh.HEAT] = 0.0


@inner
def _depart(
    F: Floats, I: Ints, S: Floats, g: Floats, n: Ints, par: Floats, num: Ints, loads: Floats
) -> None:
    """The tanker leaves with what it has; emptied tanks are washed."""
    t = n[sh.I_STEP] * par[sh.PAR_DT]
    v = num[sh.N_TANKER]
    kg = mass(v, S)
    if n[sh.I_LOADS] < loads.shape[0]:
        one = loads[n[sh.I_LOADS]]
        one[sh.T_AT] = g[sh.G_TANKER_AT]
        one[sh.T_LEFT] = t
        one[sh.T_KG] = kg
        one[sh.T_KJ] = S[v, sh.HEAT]
        one[sh.T_C] = temperature(v, F, I, S, par) if kg > EMPTY_KG else 0.0
        n[sh.I_LOADS] += 1
    _pour(v, num[sh.N_SOLD], S)
    n[sh.I_TANKER] = 0
    for i in range(num[sh.N_PLACE0], num[sh.N_PLACE1]):
        tank = I[i, sh.PL_VESSEL]
        if I[i, sh.PL_LOADING] < 0:
            continue
        S[I[i, sh.PL_LOADING], sh.S_CMD] = 0.0
        if mass(tank, S) <= EMPTY_KG and S[tank, sh.V_WASH_UNTIL] < 0.0:
            S[tank, sh.V_WASH_UNTIL] = t + par[sh.PAR_TANK_WASH_S]
            for m in range(num[sh.N_M0], num[sh.N_M1]):
                if I[m, sh.MI_LAW] == sh.DOSE:  # each heater gives its share of the hot water
                    S[m, sh.S_DOSE] += (
                        F[m, sh.M_START] * par[sh.PAR_TANK_WASH_SHARE] * F[tank, sh.V_CAP]
                    )


@inner
def _milk_comes(n: Ints) -> bool:
    """Whether milk runs into the place that is filled."""
    return n[sh.I_MILKING] >= 0 or n[sh.I_FLUSH] == 1


@inner
def _tanker(t: float, F: Floats, I: Ints, S: Floats, g: Floats, n: Ints, par: Floats, num: Ints,
            loads: Floats) -> None:  # fmt: skip
    """Load what stands in the tanks, the fullest first."""
    if n[sh.I_TANKER] == 0:
        return
    v = num[sh.N_TANKER]
    room = g[sh.G_TANKER_CAP] - mass(v, S)
    loading = -1
    for i in range(num[sh.N_PLACE0], num[sh.N_PLACE1]):
        m = I[i, sh.PL_LOADING]
        if m >= 0 and S[m, sh.S_CMD] == 1.0:
            loading = i
    if loading >= 0:
        tank = I[loading, sh.PL_VESSEL]
        left = mass(tank, S)
        least = EMPTY_KG
        if loading == n[sh.I_TARGET] and _milk_comes(n):
            least = WORTH_LOADING * F[tank, sh.V_CAP]
        if left <= least or room <= EMPTY_KG:
            S[I[loading, sh.PL_LOADING], sh.S_CMD] = 0.0
            loading = -1
    if loading < 0 and room > EMPTY_KG:
        best = 0.0
        for i in range(num[sh.N_PLACE0], num[sh.N_PLACE1]):
            if I[i, sh.PL_LOADING] < 0:
                continue
            tank = I[i, sh.PL_VESSEL]
            full = mass(tank, S) / F[tank, sh.V_CAP]
            worth = WORTH_LOADING if i == n[sh.I_TARGET] and _milk_comes(n) else A_REST
            if full > max(best, worth) and S[I[i, sh.PL_LOADING], sh.S_HEALTH] > 0.0:
                best = full
                loading = i
        if loading >= 0:
            S[I[loading, sh.PL_LOADING], sh.S_CMD] = 1.0
    waits = num[sh.N_DIRECT] == 1 and room > 0.005 * g[sh.G_TANKER_CAP]
    if loading < 0 and not waits and t - g[sh.G_TANKER_AT] > 600.0:
        _depart(F, I, S, g, n, par, num, loads)


@inner
def _usable(i: int, t: float, F: Floats, I: Ints, S: Floats, g: Floats, n: Ints, num: Ints) -> bool:
    """Whether milk may be sent to the i-th place now."""
    v = I[i, sh.PL_VESSEL]
    if v == num[sh.N_TANKER]:
        full = mass(v, S) >= NEARLY_FULL * g[sh.G_TANKER_CAP]
        return num[sh.N_DIRECT] == 1 and n[sh.I_TANKER] == 1 and not full
    if S[v, sh.V_WASH_UNTIL] > t:
        return False
    if I[i, sh.PL_LOADING] >= 0 and S[I[i, sh.PL_LOADING], sh.S_CMD] == 1.0:
        return False
    return mass(v, S) < NEARLY_FULL * F[v, sh.V_CAP]


@inner
def _same_place(F: Floats, I: Ints, S: Floats, n: Ints, num: Ints) -> bool:
    """Whether the place that milk goes to has room (asked at every step; the rest by the minute)."""
    if num[sh.N_PLACE1] == num[sh.N_PLACE0]:
        return True
    v = I[n[sh.I_TARGET], sh.PL_VESSEL]
    return mass(v, S) < NEARLY_FULL * F[v, sh.V_CAP]


@inner
def _washed(t: float, I: Ints, S: Floats, num: Ints) -> None:
    """A washed tank that holds milk again may be washed again after its next emptying."""
    for i in range(num[sh.N_PLACE0], num[sh.N_PLACE1]):
        v = I[i, sh.PL_VESSEL]
        over = S[v, sh.V_WASH_UNTIL] >= 0.0 and S[v, sh.V_WASH_UNTIL] <= t
        if over and mass(v, S) > EMPTY_KG:
            S[v, sh.V_WASH_UNTIL] = -1.0


@inner
def _place(t: float, F: Floats, I: Ints, S: Floats, g: Floats, n: Ints, num: Ints) -> None:
    """Which fill valve is open: the tanker's, else the tank in use, else the next that has room."""
    first = num[sh.N_PLACE0]
    last = num[sh.N_PLACE1]
    if last == first:
        return
    now = n[sh.I_TARGET]
    for i in range(first, last):
        if I[i, sh.PL_VESSEL] == num[sh.N_TANKER] and _usable(i, t, F, I, S, g, n, num):
            now = i
    if not _usable(now, t, F, I, S, g, n, num):
        for k in range(1, last - first + 1):
            i = first + (now - first + k) % (last - first)
            if _usable(i, t, F, I, S, g, n, num):
                now = i
                break
    n[sh.I_TARGET] = now


@kernel
def control(t: float, plant: Tables, day: Day, state: State) -> None:
    """All that decides, at the start of a step."""
    F, I, par, num = plant.F, plant.I, plant.par, plant.num
    S, g, n, session, loads = state.items, state.g, state.n, state.session, state.loads
    rows = day.rows
    if n[sh.I_ROW] < rows.shape[0] and rows[n[sh.I_ROW], sh.RW_STEP] <= n[sh.I_STEP]:
        apply_rows(F, I, S, g, n, par, num, session, loads, rows, day.values)
    if n[sh.I_MILKING] >= 0 and ended(n):
        session[n[sh.I_MILKING], sh.B_WASH_BEGUN] = t
        session[n[sh.I_MILKING], sh.B_HEATER_C] = _heater_c(F, I, S, par, num)
        n[sh.I_MILKING] = -1
        n[sh.I_SEQ] = 1
        n[sh.I_PHASE] = 0
        _start_phase(F, I, S, g, n, par, num, session)
    elif n[sh.I_SEQ] == 1:
        _sequence(t, F, I, S, g, n, par, num, session)
    if n[sh.I_MILKING] < 0 and n[sh.I_SEQ] == 0 and n[sh.I_MILKED] < n[sh.I_PENDING]:
        _begin(t, S, g, n, par, num, state.cow, state.out, session, day.cows, day.count)
    if n[sh.I_TANKER] == 1:
        _tanker(t, F, I, S, g, n, par, num, loads)
    if (
        n[sh.I_STEP] % num[sh.N_MINUTE] == 0
        or n[sh.I_TANKER] == 1
        or not _same_place(F, I, S, n, num)
    ):
        _washed(t, I, S, num)
        _place(t, F, I, S, g, n, num)


@inner
def awake(S: Floats, F: Floats, I: Ints, n: Ints, num: Ints, rows: Ints) -> bool:
    """Whether anything may have to be decided in this step; mostly nothing has."""
    if n[sh.I_ROW] < rows.shape[0] and rows[n[sh.I_ROW], sh.RW_STEP] <= n[sh.I_STEP]:
        return True
    if n[sh.I_SEQ] == 1 or n[sh.I_TANKER] == 1:
        return True
    if n[sh.I_MILKING] >= 0:
        return ended(n) or not _same_place(F, I, S, n, num)
    return n[sh.I_MILKED] < n[sh.I_PENDING] or not _same_place(F, I, S, n, num)


@inner
def route(t: float, I: Ints, g: Floats, n: Ints, par: Floats, num: Ints) -> None:
    """The state of the valves: mode, place that is filled, calf draw, variant."""
    alt = I[n[sh.I_TARGET], sh.PL_ALT] if num[sh.N_PLACE1] > num[sh.N_PLACE0] else 0
    draws = n[sh.I_MILKING] >= 0 and num[sh.N_CALF_ALT] >= 0
    if draws and t >= g[sh.G_CALF_START] and g[sh.G_CALF_DRAWN] < par[sh.PAR_CALF_KG]:
        alt += num[sh.N_CALF_ALT]
    n[sh.I_ROUTE] = (n[sh.I_VARIANT] * MODES + n[sh.I_MODE]) * num[sh.N_ALTS] + alt
