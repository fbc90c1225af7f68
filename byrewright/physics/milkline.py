"""Milk flowing with air in a sloped line: when it stays stratified and when slugs form.

The units-per-slope table of the standard could not be read and nothing here is validated against
it. What stands in: the gravity capacity half full (lower reference), the 1978 rule of the bore in
inches squared (conservative bound), and a mechanistic transition after Taitel and Dukler.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

from byrewright.physics.constants import (
    AIR_GAS_CONSTANT_J_KGK,
    GRAVITY_M_S2,
    KELVIN_AT_0_C,
)
from byrewright.physics.errors import PhysicsRangeError, check
from byrewright.standards.rulebook import Rulebook, default_rulebook

AIR_VISCOSITY_PA_S = 1.85e-5
MILK_VISCOSITY_PA_S = 1.4e-3
"""Whole milk near 33-35 degC; the 1984 correlation carried on past its 30 degC (derived)."""
NOT_VALIDATED = (
    "mechanistic stand-in, not validated against the standard's table of units per slope"
)
_FULLEST = 0.995
_EMPTIEST = 1e-4
_LEVEL_CLOSE = 1e-12
"""Shares of the bore between which a level is found."""


def gravity_half_full_l_min(
    bore_mm: float, slope_pct: float, rules: Rulebook | None = None
) -> float:
    """Gravity capacity half full, Manning: Q = A R^(2/3) S^(1/2) / n with A half the bore, R = d/4.

    n = 0.010, no drag of air; not a slug limit. Derived; Manning neglects the momentum that air
    gives to milk (Reinemann and Mein 1995).

    >>> round(gravity_half_full_l_min(73.0, 1.0))
    87
    """
    rules = rules or default_rulebook()
    check("bore", bore_mm, 0.0, 500.0, "mm", above=True)
    check("slope", slope_pct, 0.0, 20.0, "%")
    d = bore_mm / 1000.0
    velocity = (d / 4) ** (2 / 3) * math.sqrt(slope_pct / 100) / rules.number("milkline.manning_n")
    return float(math.pi / 8 * d * d * velocity * 60_000)


def units_1978(bore_in: float) -> int:
    """Units per slope, old rule: bore in inches squared, rounded down.

    Source: California 1978, in a 3-A appendix, as read in Reinemann et al. 1993.

    >>> [units_1978(d) for d in (2.0, 2.5, 3.0, 4.0)]
    [4, 6, 9, 16]
    """
    check("bore", bore_in, 0.0, 20.0, "in", above=True)
    return int(bore_in**2 + 1e-9)


@dataclass(frozen=True, slots=True)
class LineFlow:
    """Air and milk in a sloped line, settled.

    `air_over_limit` is the air velocity over the one at which a wave grows into a slug; below 1
    the flow stays stratified.
    """

    level_share: float
    filled_share: float
    milk_m_s: float
    air_m_s: float
    air_limit_m_s: float

    @property
    def stratified(self) -> bool:
        """Whether waves die out."""
        return self.air_m_s < self.air_limit_m_s


@dataclass(frozen=True, slots=True)
class _Pipe:
    d: float
    sine: float
    cosine: float
    rho_gas: float
    milk_m3_s: float
    air_m3_s: float
    rho_milk: float


def _section(level: float, d: float) -> tuple[float, float, float, float, float]:
    """Areas of milk and air, wetted sides, width of the surface, at a share of the bore."""
    x = 2.0 * level - 1.0
    angle = math.acos(-x)
    width = d * math.sqrt(max(0.0, 1.0 - x * x))
    milk = d * d / 4 * (angle + x * math.sqrt(max(0.0, 1.0 - x * x)))
    return milk, math.pi * d * d / 4 - milk, d * angle, d * (math.pi - angle), width


def _wall_stress(rho: float, velocity: float, hydraulic: float, viscosity: float) -> float:
    reynolds = max(rho * abs(velocity) * hydraulic / viscosity, 1e-9)
    factor = max(16.0 / reynolds, 0.046 * reynolds**-0.2)
    return float(factor * rho * velocity * abs(velocity) / 2.0)


def _imbalance(level: float, pipe: _Pipe) -> float:
    """Force a metre on the milk less the loss: negative while the milk must rise."""
    a_milk, a_air, s_milk, s_air, width = _section(level, pipe.d)
    u_milk, u_air = pipe.milk_m3_s / a_milk, pipe.air_m3_s / a_air
    tau_milk = _wall_stress(pipe.rho_milk, u_milk, 4 * a_milk / s_milk, MILK_VISCOSITY_PA_S)
    d_air = 4 * a_air / (s_air + width)
    tau_air = _wall_stress(pipe.rho_gas, u_air, d_air, AIR_VISCOSITY_PA_S)
    tau_between = _wall_stress(pipe.rho_gas, u_air - u_milk, d_air, AIR_VISCOSITY_PA_S)
    weight = (pipe.rho_milk - pipe.rho_gas) * GRAVITY_M_S2 * pipe.sine
    return (
        weight
        - tau_milk * s_milk / a_milk
        + tau_air * s_air / a_air
        + tau_between * width * (1 / a_milk + 1 / a_air)
    )


def _pipe(
    milk_l_min: float,
    air_l_min_free: float,
    bore_mm: float,
    slope_pct: float,
    vacuum_kpa: float,
    ambient_kpa_abs: float,
    rho_milk: float,
) -> _Pipe:
    check("milk flow", milk_l_min, 0.0, unit="L/min", above=True)
    check("airflow", air_l_min_free, 0.0, unit="L/min")
    check("bore", bore_mm, 20.0, 200.0, "mm")
    check("slope", slope_pct, 0.0, 5.0, "%")
    check("vacuum", vacuum_kpa, 0.0, 0.9 * ambient_kpa_abs, "kPa")
    angle = math.atan(slope_pct / 100)
    absolute = ambient_kpa_abs - vacuum_kpa
    return _Pipe(
        d=bore_mm / 1000.0,
        sine=math.sin(angle),
        cosine=math.cos(angle),
        rho_gas=absolute * 1000 / (AIR_GAS_CONSTANT_J_KGK * (35.0 + KELVIN_AT_0_C)),
        milk_m3_s=milk_l_min / 60_000,
        air_m3_s=air_l_min_free / 60_000 * ambient_kpa_abs / absolute,
        rho_milk=rho_milk,
    )


def _settled_level(pipe: _Pipe) -> float | None:
    """The lowest level at which forces balance, or nothing where the line runs full."""
    low = _EMPTIEST
    step = 0.01
    high = low
    while _imbalance(high, pipe) < 0.0:
        low, high = high, high + step
        if high >= _FULLEST:
            return None
    while high - low > _LEVEL_CLOSE:
        mid = (low + high) / 2
        if _imbalance(mid, pipe) < 0.0:
            low = mid
        else:
            high = mid
    return (low + high) / 2


def _flow(level: float, pipe: _Pipe) -> LineFlow:
    a_milk, a_air, _, _, width = _section(level, pipe.d)
    density = (pipe.rho_milk - pipe.rho_gas) / pipe.rho_gas
    wave = math.sqrt(density * GRAVITY_M_S2 * pipe.cosine * a_air / width)
    return LineFlow(
        level_share=level,
        filled_share=a_milk / (a_milk + a_air),
        milk_m_s=pipe.milk_m3_s / a_milk,
        air_m_s=pipe.air_m3_s / a_air,
        air_limit_m_s=(1.0 - level) * wave,
    )


def line_flow(
    milk_l_min: float,
    air_l_min_free: float,
    bore_mm: float,
    slope_pct: float,
    vacuum_kpa: float = 42.0,
    ambient_kpa_abs: float = 100.0,
    rules: Rulebook | None = None,
) -> LineFlow | None:
    """Level and velocities of milk and air running down together; nothing when the line runs full.

    Momentum balance of the two layers (milk 1030 kg/m3 and 1.4 mPa.s, air at 35 degC and the
    line's vacuum, both walls and the surface with f = max(16/Re, 0.046 Re^-0.2)), lowest root.
    Slugs form where u_air > (1 - h/d) sqrt((rho_m - rho_a) g cos b A_air / (rho_a dA/dh)).
    Differs from the paper in that the surface drag uses the difference of velocities.

    Bore 20-200 mm, slope 0-5 %. Source: Taitel and Dukler, AIChE Journal 22(1), 1976, from
    memory. NOT validated against the standard's table of units per slope.

    >>> flow = line_flow(60.0, 100.0, 73.0, 1.0)
    >>> flow.stratified, round(flow.level_share, 2)
    (True, 0.37)
    """
    rho_milk = (rules or default_rulebook()).number("milk.density_kg_m3")
    return _line_flow(
        milk_l_min, air_l_min_free, bore_mm, slope_pct, vacuum_kpa, ambient_kpa_abs, rho_milk
    )


def _line_flow(milk_l_min: float, *rest: float) -> LineFlow | None:
    pipe = _pipe(milk_l_min, *rest)
    level = _settled_level(pipe)
    return None if level is None else _flow(level, pipe)


def slug_limit_l_min(
    air_l_min_free: float,
    bore_mm: float,
    slope_pct: float,
    vacuum_kpa: float = 42.0,
    ambient_kpa_abs: float = 100.0,
    rules: Rulebook | None = None,
) -> float:
    """Greatest milk flow that stays stratified beside an airflow in one slope (see `line_flow`).

    NOT validated against the standard's table of units per slope.

    Raises:
        PhysicsRangeError: the air alone makes slugs of any milk.

    >>> round(slug_limit_l_min(100.0, 73.0, 1.0))
    192
    """
    rules = rules or default_rulebook()
    return _slug_limit_l_min(
        4.0 * gravity_half_full_l_min(bore_mm, max(slope_pct, 0.1), rules),
        air_l_min_free, bore_mm, slope_pct, vacuum_kpa, ambient_kpa_abs,
        rules.number("milk.density_kg_m3"),
    )  # fmt: skip


@lru_cache(maxsize=4096)
def _slug_limit_l_min(high: float, air_l_min_free: float, bore_mm: float, *rest: float) -> float:
    """`slug_limit_l_min`, looked for from a flow on. Studies of one plant ask for the same lines
    again."""

    def holds(milk: float) -> bool:
        flow = _line_flow(milk, air_l_min_free, bore_mm, *rest)
        return flow is not None and flow.stratified

    low = 0.01
    if not holds(low):
        raise PhysicsRangeError(
            f"{air_l_min_free:g} L/min of air in a {bore_mm:g} mm line makes slugs of any milk"
        )
    while holds(high):
        high *= 2.0
    while high - low > 1e-6 * high:
        mid = (low + high) / 2
        low, high = (mid, high) if holds(mid) else (low, mid)
    return low


def units_per_slope(
    air_l_min_free: float,
    bore_mm: float,
    slope_pct: float,
    peak_flow_per_cow_l_min: float,
    vacuum_kpa: float = 42.0,
    ambient_kpa_abs: float = 100.0,
    rules: Rulebook | None = None,
) -> int:
    """Cows at peak flow together that one slope takes without slugs: slug limit / peak flow.

    NOT validated against the standard's table of units per slope.

    >>> units_per_slope(100.0, 73.0, 1.0, 5.5) >= units_1978(73.0 / 25.4)
    True
    """
    check("peak flow of a cow", peak_flow_per_cow_l_min, 0.0, unit="L/min", above=True)
    limit = slug_limit_l_min(air_l_min_free, bore_mm, slope_pct, vacuum_kpa, ambient_kpa_abs, rules)
    return int(limit / peak_flow_per_cow_l_min)
