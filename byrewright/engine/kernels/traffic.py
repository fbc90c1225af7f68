"""Cows on a moving deck or in rows, and the milk they give.

Every time of a cow (on, attached, off, out) is exact and does not depend on the step: the deck's
angle is a fraction of a stall, and the milk of a step is a difference of the cumulative curve.
"""

from __future__ import annotations

from byrewright.engine import shape as sh
from byrewright.engine.jit import inner, kernel
from byrewright.engine.shape import Floats, Ints


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
    place = n[sh.I_COW]
    n[sh.I_COW] += 1
    n[sh.I_ON_DECK] += 1
    S[stall, sh.ST_PLACE] = place
    S[stall, sh.ST_STATE] = sh.ENTERED
    S[stall, sh.ST_ENTER] = now
    mine = out[n[sh.I_MILKING], place]
    mine[sh.O_ID] = cow[place, sh.C_ID]
    mine[sh.O_GROUP] = cow[place, sh.C_GROUP]
    mine[sh.O_WITHHELD] = cow[place, sh.C_WITHHELD]
    mine[sh.O_ENTER] = now
    mine[sh.O_PASSES] = 1.0
    g[sh.G_STOP] += cow[place, sh.C_STOP_S]
    g[sh.G_READY] = max(g[sh.G_READY], now + par[sh.PAR_BOARD_S] / max(g[sh.G_GATE], 1e-6))
    if place + 1 < n[sh.I_COWS] and cow[place + 1, sh.C_GROUP] != cow[place, sh.C_GROUP]:
        g[sh.G_READY] = max(g[sh.G_READY], now + par[sh.PAR_GAP_S])


@inner
def _attach(
    now: float, stall: int, S: Floats, g: Floats, n: Ints, cow: Floats, out: Floats
) -> None:
    """An operator attaches as soon as one is free; the times that follow are known from here."""
    place = int(S[stall, sh.ST_PLACE])
    work = cow[place, sh.C_WORK_S] / max(g[sh.G_OPERATORS], 1e-6)
    at = max(now, g[sh.G_BUSY_UNTIL])
    g[sh.G_BUSY_UNTIL] = at + work
    g[sh.G_ATTACH_S] += work
    off = at + cow[place, sh.C_ON_S]
    if cow[place, sh.C_KICK_AT] < cow[place, sh.C_ON_S]:
        off += cow[place, sh.C_PAUSE_S]
    S[stall, sh.ST_STATE] = sh.ATTACHED
    S[stall, sh.ST_KICKED] = 0
    S[stall, sh.ST_ATTACH] = at
    S[stall, sh.ST_OFF] = off
    S[stall, sh.ST_SHARE] = 0.0
    out[n[sh.I_MILKING], place, sh.O_ATTACH] = at


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
    place = int(S[stall, sh.ST_PLACE])
    out[n[sh.I_MILKING], place, sh.O_EXIT] = now
    S[stall, sh.ST_STATE] = sh.EMPTY_STALL
    n[sh.I_ON_DECK] -= 1
    g[sh.G_CLOTHS] += par[sh.PAR_CLOTHS]
    for m in range(num[sh.N_M0], num[sh.N_M1]):
        if I[m, sh.MI_LAW] == sh.DOSE:
            S[m, sh.S_DOSE] += F[m, sh.M_STOP]  # water for each cow


@inner
def _give(stall: int, after_s: float, I: Ints, S: Floats, par: Floats, cow: Floats) -> float:
    """Milk that a unit has given since it was last asked, kg, put where it runs to."""
    place = int(S[stall, sh.ST_PLACE])
    share = share_milked(
        after_s - cow[place, sh.C_LAG],
        cow[place, sh.C_FLOW_S],
        cow[place, sh.C_RISE],
        par[sh.PAR_FALL],
    )
    kg = cow[place, sh.C_KG] * (share - S[stall, sh.ST_SHARE])
    S[stall, sh.ST_SHARE] = share
    to = I[stall, sh.ST_APART if cow[place, sh.C_WITHHELD] > 0.0 else sh.ST_MILK]
    S[to, sh.S_DOSE] += kg
    return kg


@inner
def _taken_off(
    stall: int,
    S: Floats,
    g: Floats,
    n: Ints,
    par: Floats,
    cow: Floats,
    out: Floats,
    session: Floats,
) -> None:
    """What is written down of a cow whose unit is taken off."""
    place = int(S[stall, sh.ST_PLACE])
    milking = n[sh.I_MILKING]
    off = S[stall, sh.ST_OFF]
    out[milking, place, sh.O_OFF] = off
    out[milking, place, sh.O_KG] = cow[place, sh.C_KG] * S[stall, sh.ST_SHARE]
    g[sh.G_AIR] -= par[sh.PAR_AIR_COW]
    g[sh.G_AIR_USED] += par[sh.PAR_AIR_COW]
    session[milking, sh.B_LAST_OFF] = max(session[milking, sh.B_LAST_OFF], off)


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
    session: Floats,
) -> None:
    """Milk of every attached unit in the step that ends at `t_end`."""
    attached = 0
    fallen = 0.0
    milk = 0.0
    withheld = 0.0
    milking = n[sh.I_MILKING]
    for stall in range(num[sh.N_STALL0], num[sh.N_STALL1]):
        if S[stall, sh.ST_STATE] != sh.ATTACHED:
            continue
        after = t_end - S[stall, sh.ST_ATTACH]
        if after <= 0.0:
            continue
        place = int(S[stall, sh.ST_PLACE])
        on = 1
        finished = t_end >= S[stall, sh.ST_OFF]
        if finished:
            after = cow[place, sh.C_ON_S]
        elif after > cow[place, sh.C_KICK_AT]:
            late = after - cow[place, sh.C_KICK_AT]
            pause = cow[place, sh.C_PAUSE_S]
            if S[stall, sh.ST_KICKED] == 0:
                S[stall, sh.ST_KICKED] = 1
                out[milking, place, sh.O_KICKS] += 1.0
            if late < par[sh.PAR_FALL_S]:
                fallen += 1.0
            if late < pause:
                on = 0
            after = cow[place, sh.C_KICK_AT] + max(0.0, late - pause)
        kg = _give(stall, after, I, S, par, cow)
        if cow[place, sh.C_WITHHELD] > 0.0:
            withheld += kg
        else:
            milk += kg
        attached += on
        if finished:
            S[stall, sh.ST_STATE] = sh.DONE
            _taken_off(stall, S, g, n, par, cow, out, session)
    session[milking, sh.B_KG] += milk + withheld
    g[sh.G_ATTACHED] = attached
    g[sh.G_FALLEN] = fallen
    g[sh.G_MILK] = milk
    g[sh.G_WITHHELD] = withheld


@inner
def _wait(t: float, S: Floats, g: Floats, par: Floats, num: Ints) -> None:
    """Without vacuum no milk flows: all times of attached units move on by a step."""
    dt = par[sh.PAR_DT]
    g[sh.G_LOST_MILK_S] += dt
    for stall in range(num[sh.N_STALL0], num[sh.N_STALL1]):
        if S[stall, sh.ST_STATE] == sh.ATTACHED:
            S[stall, sh.ST_ATTACH] += dt
            S[stall, sh.ST_OFF] += dt
    g[sh.G_BUSY_UNTIL] = max(g[sh.G_BUSY_UNTIL], t) + dt


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
    session: Floats,
) -> None:
    """The deck turns for one step, event by event: exit, attaching place, entry."""
    stalls = num[sh.N_STALLS]
    now = t
    left = par[sh.PAR_DT]
    pace = par[sh.PAR_STALL_S]
    while left > 0.0:
        if g[sh.G_STOP] > 0.0:
            used = min(g[sh.G_STOP], left)
            g[sh.G_STOP] -= used
            g[sh.G_STOPPED] += used
            session[n[sh.I_MILKING], sh.B_STOPPED] += used
            now += used
            left -= used
            continue
        behind = g[sh.G_BUSY_UNTIL] - par[sh.PAR_WINDOW] - now
        if behind > 1e-9:
            used = min(behind, left)
            g[sh.G_HELD] += used
            session[n[sh.I_MILKING], sh.B_HELD] += used
            now += used
            left -= used
            continue
        speed = g[sh.G_DRIVE] / pace
        if speed <= 0.0:
            g[sh.G_STOPPED] += left
            session[n[sh.I_MILKING], sh.B_STOPPED] += left
            break
        to_exit = n[sh.I_EXIT] + par[sh.PAR_EXIT_AT]
        to_attach = n[sh.I_ATTACH] + par[sh.PAR_ATTACH_AT]
        to_entry = float(n[sh.I_ENTRY])
        next_at = min(to_exit, min(to_attach, to_entry))
        need = (next_at - g[sh.G_U]) / speed
        g[sh.G_TURNED_S] += min(need, left)
        if need > left:
            g[sh.G_U] += left * speed
            break
        now += need
        left -= need
        g[sh.G_U] = next_at
        if next_at == to_exit:
            stall = num[sh.N_STALL0] + n[sh.I_EXIT] % stalls
            n[sh.I_EXIT] += 1
            state = S[stall, sh.ST_STATE]
            if state == sh.DONE or (state == sh.ATTACHED and S[stall, sh.ST_OFF] <= now):
                if state == sh.ATTACHED:
                    _finish(stall, I, S, g, n, par, cow, out, session)
                _leave(now, stall, F, I, S, g, n, par, num, out)
            elif state != sh.EMPTY_STALL:
                out[n[sh.I_MILKING], int(S[stall, sh.ST_PLACE]), sh.O_PASSES] += 1.0
        elif next_at == to_attach:
            stall = num[sh.N_STALL0] + n[sh.I_ATTACH] % stalls
            n[sh.I_ATTACH] += 1
            if S[stall, sh.ST_STATE] == sh.ENTERED:
                _attach(now, stall, S, g, n, cow, out)
        else:
            stall = num[sh.N_STALL0] + n[sh.I_ENTRY] % stalls
            n[sh.I_ENTRY] += 1
            free = S[stall, sh.ST_STATE] == sh.EMPTY_STALL
            if free and n[sh.I_COW] < n[sh.I_COWS] and now >= g[sh.G_READY]:
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
    session: Floats,
) -> None:
    """Milk of a unit whose removal falls inside the step, before its stall is let go."""
    place = int(S[stall, sh.ST_PLACE])
    kg = _give(stall, cow[place, sh.C_ON_S], I, S, par, cow)
    g[sh.G_WITHHELD if cow[place, sh.C_WITHHELD] > 0.0 else sh.G_MILK] += kg
    session[n[sh.I_MILKING], sh.B_KG] += kg
    _taken_off(stall, S, g, n, par, cow, out, session)


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
    session: Floats,
) -> None:
    """Rows fill together, are attached one by one, and leave when the last is off."""
    dt = par[sh.PAR_DT]
    stalls = num[sh.N_STALLS]
    rows = num[sh.N_ROWS]
    each = stalls // rows
    for row in range(rows):
        first = num[sh.N_STALL0] + row * each
        last = first + each if row < rows - 1 else num[sh.N_STALL1]
        busy = False
        off = 0.0
        occupied = False
        for stall in range(first, last):
            state = S[stall, sh.ST_STATE]
            if state != sh.EMPTY_STALL:
                occupied = True
                off = max(off, S[stall, sh.ST_OFF])
                if state == sh.ENTERED or S[stall, sh.ST_OFF] > t:
                    busy = True
        if occupied and not busy:
            for stall in range(first, last):
                if S[stall, sh.ST_STATE] == sh.ATTACHED:
                    _finish(stall, I, S, g, n, par, cow, out, session)
                if S[stall, sh.ST_STATE] != sh.EMPTY_STALL:
                    _leave(off, stall, F, I, S, g, n, par, num, out)
            # The place of the first stall keeps the time from which the row may fill again.
            S[first, sh.ST_ENTER] = off + par[sh.PAR_TURN_S] / max(g[sh.G_GATE], 1e-6)
            occupied = False
        if not occupied and n[sh.I_COW] < n[sh.I_COWS]:
            begun = session[n[sh.I_MILKING], sh.B_BEGUN]
            at = max(max(S[first, sh.ST_ENTER], begun), g[sh.G_READY])
            if at < t + dt:
                placed = 0
                for stall in range(first, last):
                    place = n[sh.I_COW]
                    if place >= n[sh.I_COWS]:
                        break
                    other = cow[place, sh.C_GROUP] != cow[max(place - 1, 0), sh.C_GROUP]
                    if placed > 0 and other and par[sh.PAR_GAP_S] > 0.0:
                        break  # the next group is not in the yard yet
                    _enter(at, stall, S, g, n, par, num, cow, out)
                    _attach(at, stall, S, g, n, cow, out)
                    placed += 1
                place = n[sh.I_COW]
                gap = 0.0
                if place < n[sh.I_COWS] and cow[place, sh.C_GROUP] != cow[place - 1, sh.C_GROUP]:
                    gap = par[sh.PAR_GAP_S]
                g[sh.G_READY] = at + gap
                g[sh.G_STOP] = 0.0


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
    session: Floats,
) -> None:
    """One step of a milking: cows move, units milk; the milk of the step is left in the state."""
    g[sh.G_ATTACHED] = 0.0
    g[sh.G_FALLEN] = 0.0
    g[sh.G_MILK] = 0.0
    g[sh.G_WITHHELD] = 0.0
    g[sh.G_TURNED_S] = 0.0
    if n[sh.I_MILKING] < 0:
        return
    if g[sh.G_VACUUM] < par[sh.PAR_VAC_LEAST]:
        _wait(t, S, g, par, num)
        return
    if num[sh.N_LAYOUT] == 0:
        _turn(t, F, I, S, g, n, par, num, cow, out, session)
    else:
        _rows(t, F, I, S, g, n, par, num, cow, out, session)
    milk = g[sh.G_MILK]
    withheld = g[sh.G_WITHHELD]
    _out_milk(t + par[sh.PAR_DT], F, I, S, g, n, par, num, cow, out, session)
    g[sh.G_MILK] += milk
    g[sh.G_WITHHELD] += withheld


@inner
def ended(n: Ints) -> bool:
    """Whether all cows of the milking have left."""
    return n[sh.I_COW] >= n[sh.I_COWS] and n[sh.I_ON_DECK] == 0


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
    session: Floats,
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
        cows(step * par[sh.PAR_DT], F, I, S, g, n, par, num, cow, out, session)
        g[sh.G_MINUTE_KG] += g[sh.G_MILK] + g[sh.G_WITHHELD]
        held += g[sh.G_MILK]
        on = held > burst_kg or (on and held > 0.0)
        come = min(held, max(burst, g[sh.G_MILK])) if on else 0.0
        held -= come
        even += (come - even) * min(1.0, 1.0 / lag)
        whole += even
        met += even * max(even, least)
        left -= 1
        if left == 0:
            left = minute
            g[sh.G_MINUTE_MOST] = max(g[sh.G_MINUTE_MOST], g[sh.G_MINUTE_KG])
            g[sh.G_MINUTE_KG] = 0.0
    return met / max(whole, 1e-9)
