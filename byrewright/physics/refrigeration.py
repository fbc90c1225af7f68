"""Refrigeration: coefficient of performance, electricity, ice."""

from __future__ import annotations

from itertools import pairwise
from typing import Literal

from byrewright.physics.errors import check
from byrewright.standards.cooling import GLYCOL
from byrewright.standards.rulebook import Rulebook, default_rulebook

Plant = Literal["direct", "chiller", "ice_bank"]


def cop(plant: Plant, ambient_c: float, rules: Rulebook | None = None) -> float:
    """Coefficient of performance at an ambient: the usual one, times 1 - 2.5 % for each kelvin.

    Compounded from the reference ambient, so it never reaches zero; condensing is taken to follow
    ambient. Figures from memory. Ambient -20 to 50 degC; not above 1.5 times the reference value.

    >>> round(cop("direct", 32.0), 2), round(cop("direct", 42.0), 2)
    (2.75, 2.13)
    """
    rules = rules or default_rulebook()
    check("ambient", ambient_c, -20.0, 50.0, "degC")
    usual = rules.number(f"cooling.cop_{plant}")
    away = ambient_c - rules.number("cooling.cop_reference_ambient_c")
    factor = float((1.0 - rules.number("cooling.cop_fall_per_k")) ** away)
    return usual * min(factor, 1.5)


def glycol_freeze_c(volume_pct: float) -> float:
    """Freezing point of propylene glycol in water, between the rows of the table.

    0-50 % by volume. Source: Lange's Handbook, 15th edition, Table 5.13 (read; minus signs
    restored from the Fahrenheit column).

    >>> glycol_freeze_c(30.0)
    -12.8
    """
    check("glycol", volume_pct, 0.0, 50.0, "%")
    rows = [(0.0, 0.0), *((p.volume_pct, p.freeze_c) for p in GLYCOL)]
    for (low, cold), (high, colder) in pairwise(rows):
        if volume_pct <= high:
            return cold + (colder - cold) * (volume_pct - low) / (high - low)
    return rows[-1][1]


def glycol_for_freeze_pct(freeze_c: float) -> float:
    """Least glycol share by volume for a freezing point, 0 to -33.3 degC.

    >>> glycol_for_freeze_pct(-12.8)
    30.0
    """
    check("freezing point", freeze_c, GLYCOL[-1].freeze_c, 0.0, "degC")
    rows = [(0.0, 0.0), *((p.volume_pct, p.freeze_c) for p in GLYCOL)]
    for (low, cold), (high, colder) in pairwise(rows):
        if freeze_c >= colder:
            return low + (high - low) * (freeze_c - cold) / (colder - cold)
    return rows[-1][0]
