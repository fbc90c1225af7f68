"""Washing: slugs, wash water, hot charge, chemicals."""

from __future__ import annotations

import math

from byrewright.physics.constants import STEEL_CP_KJ_KGK
from byrewright.physics.errors import check
from byrewright.standards.rulebook import Rulebook, default_rulebook


def slug_volume_l(
    bore_mm: float, line_m: float, end_m: float, rules: Rulebook | None = None
) -> float:
    """Water for a slug that still has a length at the end: (pi/4) d^2 (L_end + 0.05 L_line).

    The shortening of 5 cm a metre is for a 50.8 mm line (Mamedova 2021, abstract read); the form
    is derived.

    >>> round(slug_volume_l(73.0, 60.0, 1.0), 1)
    16.7
    """
    rules = rules or default_rulebook()
    check("bore", bore_mm, 0.0, unit="mm", above=True)
    check("length of the line", line_m, 0.0, unit="m")
    check("length of the slug", end_m, 0.0, unit="m")
    length = end_m + rules.number("wash.slug_shortening_m_m") * line_m
    return math.pi / 4 * bore_mm**2 * length / 1000


def slug_time_s(line_m: float, velocity_m_s: float) -> float:
    """Time for a slug to run the line.

    >>> slug_time_s(60.0, 8.0)
    7.5
    """
    check("length of the line", line_m, 0.0, unit="m")
    check("velocity", velocity_m_s, 0.0, unit="m/s", above=True)
    return line_m / velocity_m_s


def return_c(
    start_c: float,
    water_l: float,
    steel_kg: float,
    steel_c: float,
    rules: Rulebook | None = None,
) -> float:
    """Temperature of the first hot water after warming the plant's steel (0.5 kJ/kgK, 1 kg/L).

    Mixing by heat capacity (derived); the loss to air is apart.

    >>> round(return_c(80.0, 600.0, 1500.0, 20.0), 1)
    66.2
    """
    check("wash water", water_l, 0.0, unit="L", above=True)
    check("steel", steel_kg, 0.0, unit="kg")
    water = water_l * (rules or default_rulebook()).number("water.cp_kj_kgk")
    steel = steel_kg * STEEL_CP_KJ_KGK
    return (water * start_c + steel * steel_c) / (water + steel)


def chemical_l(water_l: float, share: float) -> float:
    """Concentrate for a step: water times the label's share.

    >>> chemical_l(600.0, 0.005)
    3.0
    """
    check("wash water", water_l, 0.0, unit="L")
    check("share", share, 0.0, 0.2)
    return water_l * share
