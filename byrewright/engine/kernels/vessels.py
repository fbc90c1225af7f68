"""What a vessel holds: mass, heat capacity, temperature."""

from __future__ import annotations

from byrewright.engine import shape as sh
from byrewright.engine.jit import inner
from byrewright.engine.shape import Floats, Ints

SPECK_KG = 1e-9  # content below which a vessel counts as empty
NOTHING = 1e-60
"""Mass, kg, and heat, kJ, that count as none: what is thinned out for ever comes to numbers so small
that a processor takes a hundred times as long with them."""


@inner
def mass(v: int, S: Floats) -> float:
    """Mass in a vessel, kg."""
    return S[v, sh.MILK] + S[v, sh.WITHHELD] + S[v, sh.WATER] + S[v, sh.WASH]


@inner
def capacity_rate(v: int, F: Floats, I: Ints, S: Floats, par: Floats) -> float:
    """Heat capacity of a vessel's content, kJ/K."""
    if I[v, sh.VI_ROLE] == sh.COLD_STORE:
        return F[v, sh.V_C]
    return (
        S[v, sh.MILK] * par[sh.PAR_CP + sh.MILK]
        + S[v, sh.WITHHELD] * par[sh.PAR_CP + sh.WITHHELD]
        + S[v, sh.WATER] * par[sh.PAR_CP + sh.WATER]
        + S[v, sh.WASH] * par[sh.PAR_CP + sh.WASH]
    )


@inner
def temperature(v: int, F: Floats, I: Ints, S: Floats, par: Floats) -> float:
    """Temperature of a vessel, derived from its heat, degC."""
    c = capacity_rate(v, F, I, S, par)
    if c < SPECK_KG:
        return S[v, sh.V_T0]
    if I[v, sh.VI_ROLE] == sh.COLD_STORE:
        iced = F[v, sh.V_ICE] > 0.0 and S[v, sh.HEAT] < 0.0
        return S[v, sh.V_T0] + (0.0 if iced else S[v, sh.HEAT] / c)
    return S[v, sh.HEAT] / c


@inner
def or_none(amount: float) -> float:
    """An amount, or nought where it counts as none."""
    return amount if abs(amount) > NOTHING else 0.0
