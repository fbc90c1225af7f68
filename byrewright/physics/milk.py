"""Milk: properties by composition and temperature, heat, blends."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from byrewright.physics.constants import KELVIN_AT_0_C
from byrewright.physics.errors import PhysicsRangeError, check
from byrewright.standards.rulebook import Rulebook, default_rulebook


@dataclass(frozen=True, slots=True)
class Composition:
    """Mass shares; they sum to one."""

    water: float = 0.877
    protein: float = 0.033
    fat: float = 0.037
    carbohydrate: float = 0.046
    ash: float = 0.007


@dataclass(frozen=True, slots=True)
class Properties:
    """Density, specific heat, conductivity."""

    density_kg_m3: float
    cp_kj_kgk: float
    conductivity_w_mk: float


_Poly = tuple[float, float, float]
_CHOI_OKOS: dict[str, tuple[_Poly, _Poly, _Poly]] = {
    "water": (
        (997.18, 3.1439e-3, -3.7574e-3),
        (4.1762, -9.0864e-5, 5.4731e-6),
        (0.57109, 1.7625e-3, -6.7036e-6),
    ),
    "protein": (
        (1329.9, -0.51840, 0.0),
        (2.0082, 1.2089e-3, -1.3129e-6),
        (0.17881, 1.1958e-3, -2.7178e-6),
    ),
    "fat": (
        (925.59, -0.41757, 0.0),
        (1.9842, 1.4733e-3, -4.8008e-6),
        (0.18071, -2.7604e-4, -1.7749e-7),
    ),
    "carbohydrate": (
        (1599.1, -0.31046, 0.0),
        (1.5488, 1.9625e-3, -5.9399e-6),
        (0.20141, 1.3874e-3, -4.3312e-6),
    ),
    "ash": (
        (2423.8, -0.28063, 0.0),
        (1.0926, 1.8896e-3, -3.6817e-6),
        (0.32962, 1.4011e-3, -2.9069e-6),
    ),
}


def milk_properties(temperature_c: float, composition: Composition | None = None) -> Properties:
    """Properties by composition: 1/rho = sum x/rho_i, cp = sum x cp_i, k = rho sum x k_i/rho_i.

    Valid 0-150 degC. The heat of crystallising fat below about 20 degC is not in it, so cp is
    about 1 % under the usual 3.93 kJ/kgK. Source: Choi and Okos 1986, coefficients second hand
    (the water constant 4.1762 of the original paper).

    Raises:
        PhysicsRangeError: temperature out of range, or shares that do not sum to one.

    >>> p = milk_properties(20.0)
    >>> round(p.cp_kj_kgk, 4), round(p.density_kg_m3, 2), round(p.conductivity_w_mk, 4)
    (3.8852, 1022.63, 0.5639)
    """
    check("milk temperature", temperature_c, 0.0, 150.0, "degC")
    shares = composition or Composition()
    parts = {name: float(getattr(shares, name)) for name in _CHOI_OKOS}
    if min(parts.values()) < 0.0 or abs(sum(parts.values()) - 1.0) > 1e-6:
        total = sum(parts.values())
        raise PhysicsRangeError(
            f"the mass shares sum to {total:g}; they must sum to 1, none below 0"
        )
    specific_volume = cp = conductance = 0.0
    for name, share in parts.items():
        density, heat, conduct = (_poly(c, temperature_c) for c in _CHOI_OKOS[name])
        specific_volume += share / density
        cp += share * heat
        conductance += share * conduct / density
    return Properties(1.0 / specific_volume, cp, conductance / specific_volume)


def _poly(c: _Poly, t: float) -> float:
    return c[0] + c[1] * t + c[2] * t * t


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


def blend_temperature_c(parts: Iterable[tuple[float, float]]) -> float:
    """Temperature of a mix of (kg, degC) of the same liquid: sum(m T)/sum(m).

    >>> blend_temperature_c([(10_000, 4.0), (10_000, 18.0)])
    11.0
    """
    rows = list(parts)
    total = sum(mass for mass, _ in rows)
    check("total mass", total, 0.0, unit="kg", above=True)
    for mass, _ in rows:
        check("mass", mass, 0.0, unit="kg")
    return sum(mass * temperature for mass, temperature in rows) / total


def greatest_added_share(cold_c: float, warm_c: float, limit_c: float) -> float:
    """Share of a mix that warm milk may make up with no cooling meanwhile.

    >>> round(greatest_added_share(4.0, 35.0, 10.0), 4)
    0.1935
    """
    check("limit", limit_c, cold_c, warm_c, "degC")
    check("warm milk", warm_c, cold_c, unit="degC", above=True)
    return (limit_c - cold_c) / (warm_c - cold_c)
