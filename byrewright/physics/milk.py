"""Milk: properties by composition and temperature, heat, blends."""

from __future__ import annotations

import math

from byrewright.physics.constants import KELVIN_AT_0_C
from byrewright.physics.errors import check
from byrewright.standards.rulebook import Rulebook, default_rulebook


def milk_viscosity_mpa_s(
    temperature_c: float, fat_pct: float = 3.7, *, extrapolate: bool = False
) -> float:
    """Viscosity: ln(mu) = -8.9 + 0.1 F + 2721.5/T, T in kelvin.

    Valid 0-30 degC; with `extrapolate` to 40 degC, which is outside the measurements. Fat 0-40 %.
    Source: Bakshi and Smith 1984, abstract read.

    >>> round(milk_viscosity_mpa_s(4.0, 3.5), 3)
    3.559
    """
    check("milk temperature", temperature_c, 0.0, 40.0 if extrapolate else 30.0, "degC")
    check("fat", fat_pct, 0.0, 40.0, "%")
    return math.exp(-8.9 + 0.1 * fat_pct + 2721.5 / (temperature_c + KELVIN_AT_0_C))


def heat_kj_per_l(from_c: float, to_c: float, rules: Rulebook | None = None) -> float:
    """Heat to take from one litre of milk: rho cp (T1 - T2); negative when it is warmed.

    >>> round(heat_kj_per_l(35.0, 4.0), 1)
    125.5
    """
    rules = rules or default_rulebook()
    check("milk temperature", from_c, -1.0, 100.0, "degC")
    check("milk temperature", to_c, -1.0, 100.0, "degC")
    density = rules.number("milk.density_kg_m3") / 1000.0
    return density * rules.number("milk.cp_kj_kgk") * (from_c - to_c)


def heat_load_kw(
    flow_l_min: float, from_c: float, to_c: float, rules: Rulebook | None = None
) -> float:
    """Heat load of a flow of milk, no allowance: q rho cp (T1 - T2).

    >>> round(heat_load_kw(60.0, 18.0, 4.0), 1)
    56.7
    """
    check("milk flow", flow_l_min, 0.0, unit="L/min")
    return flow_l_min / 60.0 * heat_kj_per_l(from_c, to_c, rules)
