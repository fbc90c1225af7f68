"""A partly filled tank: how much of its wall and of its evaporator the milk touches.

A lying tank is a cylinder on its side, a standing one (a silo) a cylinder on its end, both with
flat ends. The evaporator lies at the bottom and reaches up the wall; milk that the agitator does
not reach is still, and cold passes into it by conduction alone.
"""

from __future__ import annotations

import math
from typing import Final

import numpy as np

from byrewright.physics.errors import check
from byrewright.standards.rulebook import Rulebook, default_rulebook

LENGTH_OVER_DIAMETER = 2.2
"""Proportion of a usual tank or silo (common practice, no source)."""
NODES = 512
LYING, STANDING = 0, 1
SHAPES: Final = {"lying": LYING, "standing": STANDING}


def _half_angle(fill: float) -> float:
    """Half the angle that the surface of a lying cylinder spans, from its share of volume."""
    low, high = 0.0, math.pi
    for _ in range(60):
        mid = (low + high) / 2
        low, high = (mid, high) if mid - math.sin(mid) * math.cos(mid) < fill * math.pi else (
            low, mid)  # fmt: skip
    return (low + high) / 2


_SIDE = 2.0 * LENGTH_OVER_DIAMETER / (2.0 * LENGTH_OVER_DIAMETER + 1.0)
"""Share of a whole wall that is not the flat ends: pi d l over pi d l + 2 pi d^2 / 4."""
_BOTTOM = (1.0 - _SIDE) / 2.0

# By the cube root of the fill, in which the angle is nearly straight.
_LYING_TABLE = np.array(
    [_SIDE * _half_angle((i / NODES) ** 3) / math.pi + (1.0 - _SIDE) * (i / NODES) ** 3
     for i in range(NODES + 1)]
)  # fmt: skip


def wetted_share(fill: float, shape: int = LYING) -> float:
    """Share of a tank's wall that the milk touches, from the share of its volume that is full.

    Standing: bottom + side x fill. Lying: half angle t with (t - sin t cos t)/pi = fill, side
    t/pi, ends as the fill. Derived (geometry); length 2.2 times the diameter, flat ends. In a form
    that kernels compile, so nothing is checked: below 0 counts as empty, above 1 as full.

    >>> round(wetted_share(0.5, LYING), 3), round(wetted_share(0.03, LYING), 3)
    (0.5, 0.143)
    """
    if fill <= 0.0:
        return 0.0
    if fill >= 1.0:
        return 1.0
    if shape == STANDING:
        # The lid dries last of all: a standing tank is wetted whole only when it is full.
        return _BOTTOM + _SIDE * fill
    at = NODES * fill ** (1.0 / 3.0)
    low = min(int(at), NODES - 1)
    part = at - low
    return float(_LYING_TABLE[low] + part * (_LYING_TABLE[low + 1] - _LYING_TABLE[low]))


def wall_area_m2(volume_l: float) -> float:
    """Whole wall of a tank, ends in: d = (4 V / (2.2 pi))^(1/3), A = pi d l + pi d^2 / 2.

    >>> round(wall_area_m2(20000.0), 1)
    43.4
    """
    check("volume", volume_l, 0.0, unit="L", above=True)
    d = (4.0 * volume_l / 1000.0 / (LENGTH_OVER_DIAMETER * math.pi)) ** (1.0 / 3.0)
    return float(math.pi * d * d * (LENGTH_OVER_DIAMETER + 0.5))


def full_loss_kw_k(
    volume_l: float, warming_k_h: float | None = None, rules: Rulebook | None = None
) -> float:
    """Heat into a full tank for each kelvin that its surroundings are warmer.

    From the warming of a full tank left alone 28 K below its surroundings where that is stated,
    else U times the wall.

    >>> round(1000 * full_loss_kw_k(20000.0), 1)
    17.4
    """
    rules = rules or default_rulebook()
    if warming_k_h is None:
        return float(rules.number("tank.u_w_m2k") * wall_area_m2(volume_l) / 1000.0)
    kg = volume_l * rules.number("milk.density_kg_m3") / 1000.0
    return warming_k_h * kg * rules.number("milk.cp_kj_kgk") / 3600.0 / WARMING_BELOW_K


WARMING_BELOW_K = 28.0
"""Surroundings above the milk at which a tank's warming is stated: 32 against 4 degC."""


def still_kw_k(volume_l: float, evaporator_share: float, rules: Rulebook | None = None) -> float:
    """Cold that a whole evaporator gives to still milk, for each kelvin between them.

    Conduction through a layer cooled from below, k / (depth / 3): cold milk stays at the bottom.
    Derived; the depth is a rule.

    >>> round(still_kw_k(20000.0, 0.25), 2)
    0.16
    """
    rules = rules or default_rulebook()
    u = rules.number("tank.still_u_w_m2k")
    return u * evaporator_share * wall_area_m2(volume_l) / 1000.0
