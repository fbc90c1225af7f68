"""Cows on a moving deck or in rows, and the milk they give.

Every time of a cow (on, attached, off, out) is exact and does not depend on the step: the deck's
angle is a fraction of a stall, and the milk of a step is a difference of the cumulative curve.
"""

from __future__ import annotations

from byrewright.engine.jit import inner, kernel
from byrewright.engine.shape import *


@inner
def share_milked(after_s: float, flow_s: float, rise: float, fall: float) -> float:
    """Share of a cow's milk given `after_s` from let-down: rise, plateau and fall, all straight."""
    x = after_s / flow_s
    if x <= 0.0:
        return 0.0
    if x >= 1.0:
        return 1.0
    area = 1.0 - 0.5 * rise - 0.5 * fall
    if x < rise:
        return 0.5 * x * x / (rise * area)
    if x < 1.0 - fall:
        return (0.5 * rise + (x - rise)) / area
    left = 1.0 - x
    return 1.0 - 0.5 * left * left / (fall * area)


@inner
def _enter(
    now: float,
    stall: int,
    S: Floats,
    g: Floats,
    n: Ints,
    par: Floats,
    num: Ints,
    cow: Floats,
    out: Floats,
) -> None:
    """The next cow goes into a stall at `now`."""
    place = n[I_COW]
    n[I_COW] += 1
    n[I_ON_DECK] += 1
    S[stall, ST_PLACE] = place
    S[stall, ST_STATE] = ENTERED
    S[stall, ST_ENTER] = now
    mine = out[n[I_MILKING], place]
    mine[O_ID] = cow[place, C_ID]
    mine[O_GROUP] = cow[place, C_GROUP]
    mine[O_WITHHELD] = cow[place, C_WITHHELD]
    mine[O_ENTER] = now
    mine[O_PASSES] = 1.0
    g[G_STOP] += cow[place, C_STOP_S]
    g[G_READY] = max(g[G_READY], now + par[PAR_BOARD_S] / max(g[G_GATE], 1e-6))
    if place + 1 < n[I_COWS] and cow[place + 1, C_GROUP] != cow[place, C_GROUP]:
        g[G_READY] = max(g[G_READY], now + par[PAR_GAP_S])


@inner
def _attach(
    now: float, stall: int, S: Floats, g: Floats, n: Ints, cow: Floats, out: Floats
) -> None:
    """An operator attaches as soon as one is free; the times that follow are known from here."""
    place = int(S[stall, ST_PLACE])
    work = cow[place, C_WORK_S] / max(g[G_OPERATORS], 1e-6)
    at = max(now, g[G_BUSY_UNTIL])
    g[G_BUSY_UNTIL] = at + work
    g[G_ATTACH_S] += work
    off = at + cow[place, C_ON_S]
    if cow[place, C_KICK_AT] < cow[place, C_ON_S]:
        off += cow[place, C_PAUSE_S]
    S[stall, ST_STATE] = ATTACHED
    S[stall, ST_KICKED] = 0
    S[stall, ST_ATTACH] = at
    S[stall, ST_OFF] = off
    S[stall, ST_SHARE] = 0.0
    out[n[I_MILKING], place, O_ATTACH] = at


@inner
def _leave(
    now: float,
    stall: int,
    F: Floats,
    I: Ints,
    S: Floats,
    g: Floats,
    n: Ints,
    par: Floats,
    num: Ints,
    out: Floats,
) -> None:
    """A milked cow leaves her stall."""
    place = int(S[stall, ST_PLACE])
    out[n[I_MILKING], place, O_EXIT] = now
    S[stall, ST_STATE] = EMPTY_STALL
    n[I_ON_DECK] -= 1
    g[G_CLOTHS] += par[PAR_CLOTHS]
    for m in range(num[N_M0], num[N_M1]):
        if I[m, MI_LAW] == DOSE:
            S[m, S_DOSE] += F[m, M_STOP]  # water for each cow


@inner
def _out_milk(
    t_end: float,
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
) -> None:
    """Milk of every attached unit in the step that ends at `t_end`."""
    attached = 0
    fallen = 0.0
    milk = 0.0
    withheld = 0.0
    milking = n[I_MILKING]
    for stall in range(num[N_STALL0], num[N_STALL1]):
        if S[stall, ST_STATE] != ATTACHED:
            continue
        after = t_end - S[stall, ST_ATTACH]
        if after <= 0.0:
            continue
        place = int(S[stall, ST_PLACE])
        on = 1
        finished = t_end >= S[stall, ST_OFF]
        if finished:
            after = cow[place, C_ON_S]
        elif after > cow[place, C_KICK_AT]:
            late = after - cow[place, C_KICK_AT]
            pause = cow[place, C_PAUSE_S]
            if S[stall, ST_KICKED] == 0:
                S[stall, ST_KICKED] = 1
                out[milking, place, O_KICKS] += 1.0
            if late < par[PAR_FALL_S]:
                fallen += 1.0
            if late < pause:
                on = 0
            after = cow[place, C_KICK_AT] + max(0.0, late - pause)
        share = share_milked(
            after - cow[place, C_LAG],
            cow[place, C_FLOW_S],
            cow[place, C_RISE],
            par[PAR_FALL],
        )
        kg = cow[place, C_KG] * (share - S[stall, ST_SHARE])
        S[stall, ST_SHARE] = share
        if cow[place, C_WITHHELD] > 0.0:
            withheld += kg
            S[I[stall, ST_APART], S_DOSE] += kg
        else:
            milk += kg
            S[I[stall, ST_MILK], S_DOSE] += kg
        attached += on
        if finished:
            S[stall, ST_STATE] = DONE
            off = S[stall, ST_OFF]
            out[milking, place, O_OFF] = off
            out[milking, place, O_KG] = cow[place, C_KG] * share
            g[G_AIR] -= par[PAR_AIR_COW]
            g[G_AIR_USED] += par[PAR_AIR_COW]
            bout[milking, B_LAST_OFF] = max(bout[milking, B_LAST_OFF], off)
    bout[milking, B_KG] += milk + withheld
    g[G_ATTACHED] = attached
    g[G_FALLEN] = fallen
    g[G_MILK] = milk
    g[G_WITHHELD] = withheld


@inner
def _wait(t: float, S: Floats, g: Floats, par: Floats, num: Ints) -> None:
    """Without vacuum no milk flows: all times of attached units move on by a step."""
    dt = par[PAR_DT]
    g[G_LOST_MILK_S] += dt
    for stall in range(num[N_STALL0], num[N_STALL1]):
        if S[stall, ST_STATE] == ATTACHED:
            S[stall, ST_ATTACH] += dt
            S[stall, ST_OFF] += dt
    g[G_BUSY_UNTIL] = max(g[G_BUSY_UNTIL], t) + dt


@inner
def _turn(
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
) -> None:
    """The deck turns for one step, event by event: exit, attaching place, entry."""
    stalls = num[N_STALLS]
    now = t
    left = par[PAR_DT]
    pace = par[PAR_STALL_S]
    while left > 0.0:
        if g[G_STOP] > 0.0:
            used = min(g[G_STOP], left)
            g[G_STOP] -= used
            g[G_STOPPED] += used
            bout[n[I_MILKING], B_STOPPED] += used
            now += used
            left -= used
            continue
        behind = g[G_BUSY_UNTIL] - par[PAR_WINDOW] - now
        if behind > 1e-9:
            used = min(behind, left)
            g[G_HELD] += used
            bout[n[I_MILKING], B_HELD] += used
            now += used
            left -= used
            continue
        speed = g[G_DRIVE] / pace
        if speed <= 0.0:
            g[G_STOPPED] += left
            bout[n[I_MILKING], B_STOPPED] += left
            break
        to_exit = n[I_EXIT] + par[PAR_EXIT_AT]
        to_attach = n[I_ATTACH] + par[PAR_ATTACH_AT]
        to_entry = float(n[I_ENTRY])
        next_at = min(to_exit, min(to_attach, to_entry))
        need = (next_at - g[G_U]) / speed
        g[G_TURNED_S] += min(need, left)
        if need > left:
            g[G_U] += left * speed
            break
        now += need
        left -= need
        g[G_U] = next_at
        if next_at == to_exit:
            stall = num[N_STALL0] + n[I_EXIT] % stalls
            n[I_EXIT] += 1
            state = S[stall, ST_STATE]
            if state == DONE or (state == ATTACHED and S[stall, ST_OFF] <= now):
                if state == ATTACHED:
                    _finish(stall, I, S, g, n, par, cow, out, bout)
                _leave(now, stall, F, I, S, g, n, par, num, out)
            elif state != EMPTY_STALL:
                out[n[I_MILKING], int(S[stall, ST_PLACE]), O_PASSES] += 1.0
        elif next_at == to_attach:
            stall = num[N_STALL0] + n[I_ATTACH] % stalls
            n[I_ATTACH] += 1
            if S[stall, ST_STATE] == ENTERED:
                _attach(now, stall, S, g, n, cow, out)
        else:
            stall = num[N_STALL0] + n[I_ENTRY] % stalls
            n[I_ENTRY] += 1
            free = S[stall, ST_STATE] == EMPTY_STALL
            if free and n[I_COW] < n[I_COWS] and now >= g[G_READY]:
                _enter(now, stall, S, g, n, par, num, cow, out)


@inner
def _finish(
    stall: int,
    I: Ints,
    S: Floats,
    g: Floats,
    n: Ints,
    par: Floats,
    cow: Floats,
    out: Floats,
    bout: Floats,
) -> None:
    """Milk of a unit whose removal falls inside the step, before its stall is let go."""
    place = int(S[stall, ST_PLACE])
    milking = n[I_MILKING]
    share = share_milked(
        cow[place, C_ON_S] - cow[place, C_LAG],
        cow[place, C_FLOW_S],
        cow[place, C_RISE],
        par[PAR_FALL],
    )
    kg = cow[place, C_KG] * (share - S[stall, ST_SHARE])
    S[stall, ST_SHARE] = share
    if cow[place, C_WITHHELD] > 0.0:
        g[G_WITHHELD] += kg
        S[I[stall, ST_APART], S_DOSE] += kg
    else:
        g[G_MILK] += kg
        S[I[stall, ST_MILK], S_DOSE] += kg
    bout[milking, B_KG] += kg
    g[G_AIR] -= par[PAR_AIR_COW]
    g[G_AIR_USED] += par[PAR_AIR_COW]
    out[milking, place, O_OFF] = S[stall, ST_OFF]
    out[milking, place, O_KG] = cow[place, C_KG] * share
    bout[milking, B_LAST_OFF] = max(bout[milking, B_LAST_OFF], S[stall, ST_OFF])


@inner
def _rows(
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
) -> None:
    """Rows fill together, are attached one by one, and leave when the last is off."""
    dt = par[PAR_DT]
    stalls = num[N_STALLS]
    rows = num[N_ROWS]
    each = stalls // rows
    for row in range(rows):
        first = num[N_STALL0] + row * each
        last = first + each if row < rows - 1 else num[N_STALL1]
        busy = False
        off = 0.0
        occupied = False
        for stall in range(first, last):
            state = S[stall, ST_STATE]
            if state != EMPTY_STALL:
                occupied = True
                off = max(off, S[stall, ST_OFF])
                if state == ENTERED or S[stall, ST_OFF] > t:
                    busy = True
        if occupied and not busy:
            for stall in range(first, last):
                if S[stall, ST_STATE] == ATTACHED:
                    _finish(stall, I, S, g, n, par, cow, out, bout)
                if S[stall, ST_STATE] != EMPTY_STALL:
                    _leave(off, stall, F, I, S, g, n, par, num, out)
            # The place of the first stall keeps the time from which the row may fill again.
            S[first, ST_ENTER] = off + par[PAR_TURN_S] / max(g[G_GATE], 1e-6)
            occupied = False
        if not occupied and n[I_COW] < n[I_COWS]:
            begun = bout[n[I_MILKING], B_BEGUN]
            at = max(max(S[first, ST_ENTER], begun), g[G_READY])
            if at < t + dt:
                placed = 0
                for stall in range(first, last):
                    place = n[I_COW]
                    if place >= n[I_COWS]:
                        break
                    other = cow[place, C_GROUP] != cow[max(place - 1, 0), C_GROUP]
                    if placed > 0 and other and par[PAR_GAP_S] > 0.0:
                        break  # the next group is not in the yard yet
                    _enter(at, stall, S, g, n, par, num, cow, out)
                    _attach(at, stall, S, g, n, cow, out)
                    placed += 1
                place = n[I_COW]
                gap = 0.0
                if place < n[I_COWS] and cow[place, C_GROUP] != cow[place - 1, C_GROUP]:
                    gap = par[PAR_GAP_S]
                g[G_READY] = at + gap
                g[G_STOP] = 0.0


@kernel
def cows(
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
) -> None:
    """One step of a milking: cows move, units milk; the milk of the step is left in the state."""
    g[G_ATTACHED] = 0.0
    g[G_FALLEN] = 0.0
    g[G_MILK] = 0.0
    g[G_WITHHELD] = 0.0
    g[G_TURNED_S] = 0.0
    if n[I_MILKING] < 0:
        return
    if g[G_VACUUM] < par[PAR_VAC_LEAST]:
        _wait(t, S, g, par, num)
        return
    if num[N_LAYOUT] == 0:
        _turn(t, F, I, S, g, n, par, num, cow, out, bout)
    else:
        _rows(t, F, I, S, g, n, par, num, cow, out, bout)
    milk = g[G_MILK]
    withheld = g[G_WITHHELD]
    _out_milk(t + par[PAR_DT], F, I, S, g, n, par, num, cow, out, bout)
    g[G_MILK] += milk
    g[G_WITHHELD] += withheld


@inner
def ended(n: Ints) -> bool:
    """Whether all cows of the milking have left."""
    return n[I_COW] >= n[I_COWS] and n[I_ON_DECK] == 0


@kernel
def milking_alone(
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
    minute: int,
    most: int,
    evened: Floats,
) -> float:
    """One milking from its first cow to its last, at most so many steps, and nothing around it.

    Returns the flow that a litre of it meets on the mean behind the vessels of `evened`, kg a
    step: receivers whose pumps come on at a content, kg, and then move no less than so much, kg a
    step; and a tank with its lag, steps, and the least that its pumps move.
    """
    burst_kg, burst, lag, least = evened
    held = 0.0
    on = False
    left = minute
    even = 0.0
    whole = 0.0
    met = 0.0
    for step in range(most):
        if ended(n):
            break
        cows(step * par[PAR_DT], F, I, S, g, n, par, num, cow, out, bout)
        g[G_MINUTE_KG] += g[G_MILK] + g[G_WITHHELD]
        held += g[G_MILK]
        on = held > burst_kg or (on and held > 0.0)
        come = min(held, max(burst, g[G_MILK])) if on else 0.0
        held -= come
        even += (come - even) * min(1.0, 1.0 / lag)
        whole += even
        met += even * max(even, least)
        left -= 1
        if left == 0:
            left = minute
            g[G_MINUTE_MOST] = max(g[G_MINUTE_MOST], g[G_MINUTE_KG])
            g[G_MINUTE_KG] = 0.0
    return met / max(whole, 1e-9)
