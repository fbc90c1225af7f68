"""Lines: of milk, what comes in first goes out first, plug by plug; of a wash, its heat."""

from __future__ import annotations

from byrewright.engine import shape as sh
from byrewright.engine.jit import inner, kernel
from byrewright.engine.shape import Floats, Ints
from byrewright.physics import wash_heat

wet_air = kernel(wash_heat.wet_air)

STEEL_S = 60.0
"""Time in which a wash warms the steel that it runs over (common practice, no source)."""
PUSH_S = 150.0
"""Time in which the milk of a line is pushed out after a milking, of the phase that does (our
choice)."""
ROUNDING = 1e-12  # of what comes in: less is rounding


@inner
def _held(row: int, S: Floats) -> float:
    """What stands in a line or in a plug of one, kg."""
    return S[row, sh.MILK] + S[row, sh.WITHHELD] + S[row, sh.WATER] + S[row, sh.WASH]


@inner
def _leave(line: int, kg: float, W: Floats, S: Floats, ring: Floats) -> None:
    """The oldest of a line goes into its row of the work space."""
    at = int(S[line, sh.LS_OLDEST])
    newest = int(S[line, sh.LS_NEWEST])
    left = kg
    for s in range(sh.HEAT + 1):
        W[line, sh.W_OUT + s] = 0.0
    while left > 0.0:
        has = _held(at, ring)
        part = 1.0 if has <= left else left / has
        for s in range(sh.HEAT + 1):
            one = ring[at, s] * part
            ring[at, s] -= one
            W[line, sh.W_OUT + s] += one
        left -= has
        if left < 0.0 or at == newest:
            break
        at = (at + 1) % ring.shape[0]
    S[line, sh.LS_OLDEST] = at


@inner
def _enter(line: int, share: float, kg: float, W: Floats, F: Floats, S: Floats,
           ring: Floats) -> None:  # fmt: skip
    """A share of what comes in, kg, fills the newest plug, then the next."""
    each = F[line, sh.LN_CAP] / sh.PLUGS
    at = int(S[line, sh.LS_NEWEST])
    left = share
    while left > ROUNDING:
        part = min(left, max(0.0, each - _held(at, ring)) / kg)
        for s in range(sh.SUBSTANCES):
            ring[at, s] += part * W[line, sh.W_MASS + s]
        ring[at, sh.HEAT] += part * W[line, sh.W_KJ]
        left -= part
        if left > ROUNDING:
            at = (at + 1) % ring.shape[0]
    S[line, sh.LS_NEWEST] = at


@inner
def _room(line: int, F: Floats, g: Floats, n: Ints) -> float:
    """What a line holds now, kg: its volume of milk; less and less of it while the milk is pushed
    out; of a wash what stays in it where it does not fall, since no line holds a wash back."""
    if n[sh.I_FLUSH] == 1:
        return F[line, sh.LN_CAP] * min(1.0, max(0.0, g[sh.G_PHASE_LEFT] / PUSH_S - 1.0))
    return F[line, sh.LN_CAP] if n[sh.I_MILKING] >= 0 else F[line, sh.LN_STAYS]


@inner
def through_lines(count: int, W: Floats, F: Floats, I: Ints, S: Floats, g: Floats, n: Ints,
                  num: Ints, plugs: Floats) -> None:  # fmt: skip
    """What transfers gave to their lines goes in; as much as a line cannot hold goes on, the oldest
    first, to where they gave."""
    for line in range(num[sh.N_LN0], num[sh.N_LN1]):
        kg = W[line, sh.W_GIVES]
        held = _held(line, S)
        over = held + kg - _room(line, F, g, n)
        if kg <= 0.0 and (over <= 0.0 or n[sh.I_FLUSH] != 1):
            continue
        ring = plugs[line - num[sh.N_LN0]]
        _leave(line, min(held, max(0.0, over)), W, S, ring)
        past = min(1.0, max(0.0, over - held) / kg) if kg > 0.0 else 0.0  # goes on at once
        for s in range(sh.SUBSTANCES):
            S[line, s] += (1.0 - past) * W[line, sh.W_MASS + s] - W[line, sh.W_OUT + s]
            W[line, sh.W_OUT + s] += past * W[line, sh.W_MASS + s]
        S[line, sh.HEAT] += (1.0 - past) * W[line, sh.W_KJ] - W[line, sh.W_OUT_KJ]
        W[line, sh.W_OUT_KJ] += past * W[line, sh.W_KJ]
        if past < 1.0 and kg > 0.0:
            _enter(line, 1.0 - past, kg, W, F, S, ring)
        if kg > 0.0:
            _share_out(line, kg, count, W, I, S)
        else:
            _give(line, _where(int(S[line, sh.LS_TO]), I, n, num), 1.0, W)


@inner
def _where(to: int, I: Ints, n: Ints, num: Ints) -> int:
    """Where a line that nothing is pumped into gives: where it gave last, and of the places that
    milk is stored in, the one it is sent to now."""
    for i in range(num[sh.N_PLACE0], num[sh.N_PLACE1]):
        if I[i, sh.PL_VESSEL] == to:
            return int(I[n[sh.I_TARGET], sh.PL_VESSEL])
    return to


@inner
def _give(line: int, to: int, part: float, W: Floats) -> None:
    """Part of what leaves a line comes to a vessel."""
    for s in range(sh.SUBSTANCES):
        W[to, sh.W_MASS + s] += part * W[line, sh.W_OUT + s]
    W[to, sh.W_KJ] += part * W[line, sh.W_OUT_KJ]


@inner
def _share_out(line: int, kg: float, count: int, W: Floats, I: Ints, S: Floats) -> None:
    """What leaves a line goes where its transfers send what they give, in their shares."""
    for k in range(count):
        m = int(W[k, sh.W_LIST])
        gave = W[m, sh.W_KG] * W[I[m, sh.MI_SRC], sh.W_GIVES] / kg
        for j in range(I[m, sh.MI_J0], I[m, sh.MI_J1]):
            if I[j, sh.J_LINE] == line and gave * W[j, sh.W_KG] > 0.0:
                S[line, sh.LS_TO] = float(I[j, sh.J_DST])
                _give(line, I[j, sh.J_DST], gave * W[j, sh.W_KG], W)


@inner
def wash_on_its_way(c: float, before: float, share: float, g: Floats, par: Floats) -> float:
    """Temperature of wash that has warmed steel, lines and the air drawn through it."""
    dt = par[sh.PAR_DT]
    over = before - g[sh.G_ROOM_C]
    if over <= 0.0:
        return before
    taken = par[sh.PAR_STEEL_KJ_K] * (before - g[sh.G_STEEL_C]) * dt / STEEL_S
    lost = par[sh.PAR_CIRCULATE_UA] * over
    lost += wet_air(par[sh.PAR_WASH_AIR], before, par[sh.PAR_WASH_KPA], par[sh.PAR_WASH_WET])
    kj = min((taken + lost * dt) * share, c * over)
    if par[sh.PAR_STEEL_KJ_K] > 0.0:
        g[sh.G_STEEL_C] += taken * share / par[sh.PAR_STEEL_KJ_K]
    g[sh.G_LOST_KJ] += kj
    return before - kj / c
