"""Chilled liquid: water with a share of propylene glycol, its properties and its freezing point."""

from __future__ import annotations

import math
from dataclasses import dataclass

from byrewright.physics.errors import check
from byrewright.physics.refrigeration import glycol_for_freeze_pct, glycol_freeze_c
from byrewright.standards.cooling import COOLANT_FIT, GLYCOL
from byrewright.standards.rulebook import Rulebook, default_rulebook

MOST_PCT = GLYCOL[-1].volume_pct
STEP_PCT = 5.0
"""Glycol is mixed to the next five per cent (our choice)."""
COLDEST_C, WARMEST_C = -25.0, 30.0
STATED_DROP_C = 20.0
REFERENCE_C = 10.0
"""Water at this temperature is what overall coefficients of plates are stated with."""


@dataclass(frozen=True, slots=True)
class Coolant:
    """A chilled liquid at one temperature; `glycol_pct` by volume of propylene glycol in water."""

    glycol_pct: float
    at_c: float
    density_kg_m3: float
    cp_kj_kgk: float
    viscosity_mpa_s: float
    conductivity_w_mk: float

    @property
    def freeze_c(self) -> float:
        """Its freezing point."""
        return glycol_freeze_c(self.glycol_pct)

    @property
    def kj_l_k(self) -> float:
        """Heat that a litre takes for a kelvin."""
        return self.density_kg_m3 / 1000.0 * self.cp_kj_kgk

    @property
    def words(self) -> str:
        """What it is."""
        return f"{self.glycol_pct:g} % propylene glycol" if self.glycol_pct else "water"


def coolant(glycol_pct: float, at_c: float) -> Coolant:
    """Properties of propylene glycol in water: fitted surfaces, within 1 % (viscosity 4 %).

    Glycol 0-50 % by volume, -25 to 30 degC; below its freezing point they are those of the liquid
    carried on. Source: fitted to the library CoolProp 8.0, which holds Melinder 2010 (derived).

    >>> c = coolant(30.0, 0.0)
    >>> round(c.density_kg_m3), round(c.cp_kj_kgk, 2), round(c.viscosity_mpa_s, 1)
    (1032, 3.79, 7.4)
    """
    check("glycol", glycol_pct, 0.0, MOST_PCT, "%")
    check("temperature of the chilled liquid", at_c, COLDEST_C, WARMEST_C, "degC")
    v, t = glycol_pct / 100.0, at_c
    basis = (1.0, v, v * v, t, v * t, v * v * t, t * t, v * t * t)
    found = {k: sum(c * b for c, b in zip(row, basis, strict=True))
             for k, row in COOLANT_FIT.items()}  # fmt: skip
    return Coolant(glycol_pct, at_c, found["density"], found["cp"],
                   math.exp(found["ln_viscosity"]), found["conductivity"])  # fmt: skip


def evaporates_c(leaving_c: float, rules: Rulebook | None = None) -> float:
    """Temperature at which refrigerant evaporates to send liquid out at `leaving_c`."""
    rules = rules or default_rulebook()
    return leaving_c - rules.number("coolant.evaporator_below_k")


def freeze_wanted_c(leaving_c: float, rules: Rulebook | None = None) -> float:
    """Freezing point that a chilled liquid should not be above: a margin below the evaporator.

    >>> freeze_wanted_c(1.0)
    -9.0
    """
    rules = rules or default_rulebook()
    return evaporates_c(leaving_c, rules) - rules.number("coolant.freeze_margin_k")


def glycol_needed_pct(leaving_c: float, rules: Rulebook | None = None) -> float:
    """Least share of glycol that keeps the margin, next five per cent, 50 % at most.

    >>> glycol_needed_pct(1.0), glycol_needed_pct(-6.0), glycol_needed_pct(12.0)
    (30.0, 35.0, 0.0)
    """
    wanted = freeze_wanted_c(leaving_c, rules)
    if wanted >= 0.0:
        return 0.0
    if wanted <= GLYCOL[-1].freeze_c:
        return MOST_PCT
    least = glycol_for_freeze_pct(wanted)
    return min(MOST_PCT, STEP_PCT * math.ceil(least / STEP_PCT - 1e-9))


def film_share(liquid: Coolant) -> float:
    """Heat transfer of its film on a plate against that of water at 10 degC, the same flow.

    Nu = C Re^0.67 Pr^(1/3), so h goes as rho^0.67 k^0.67 cp^0.33 mu^-0.34. From memory; plates of
    one pattern, turbulent.
    """
    water = coolant(0.0, REFERENCE_C)
    return float(
        (liquid.density_kg_m3 / water.density_kg_m3) ** 0.67
        * (liquid.conductivity_w_mk / water.conductivity_w_mk) ** 0.67
        * (liquid.cp_kj_kgk / water.cp_kj_kgk) ** 0.33
        * (liquid.viscosity_mpa_s / water.viscosity_mpa_s) ** -0.34
    )


def drop_share(liquid: Coolant) -> float:
    """Drop in plates and jackets against that of water at 20 degC at the same flow.

    Turbulent, f as Re^-0.25: rho^0.75 mu^0.25 (Blasius; from memory).

    >>> round(drop_share(coolant(30.0, 0.0)), 2)
    1.68
    """
    water = coolant(0.0, STATED_DROP_C)
    return float(
        (liquid.density_kg_m3 / water.density_kg_m3) ** 0.75
        * (liquid.viscosity_mpa_s / water.viscosity_mpa_s) ** 0.25
    )


def plate_u_share(liquid: Coolant) -> float:
    """Overall coefficient of a plate against that with water, where films are alike: 2f/(1+f).

    >>> round(plate_u_share(coolant(30.0, 3.0)), 2)
    0.64
    """
    f = film_share(liquid)
    return 2.0 * f / (1.0 + f)


def wall_c(milk_c: float, liquid: Coolant, liquid_c: float) -> float:
    """Temperature of a plate between milk and a chilled liquid where both are at these.

    The milk's film is taken as water's, the liquid's as `film_share` of it; derived.

    >>> round(wall_c(4.0, coolant(30.0, 0.0), -2.0), 2)
    2.1
    """
    f = film_share(liquid)
    return (milk_c + f * liquid_c) / (1.0 + f)


def expansion_l(content_l: float, glycol_pct: float, coldest_c: float, warmest_c: float) -> float:
    """Growth of a circuit's liquid between two temperatures: V (rho_cold / rho_warm - 1).

    >>> round(expansion_l(1000.0, 30.0, -5.0, 30.0), 1)
    14.7
    """
    check("content", content_l, 0.0, unit="L")
    cold, warm = coolant(glycol_pct, coldest_c), coolant(glycol_pct, warmest_c)
    return content_l * max(0.0, cold.density_kg_m3 / warm.density_kg_m3 - 1.0)


def expansion_vessel_l(growth_l: float, precharge_bar: float, highest_bar: float) -> float:
    """Vessel with a membrane that takes a growth: V = dV / (1 - p_0 / p_1), absolute pressures.

    Boyle's law (the form of EN 12828, from memory); pressures in bar above ambient.

    >>> round(expansion_vessel_l(10.0, 1.0, 2.5), 1)
    23.4
    """
    check("growth", growth_l, 0.0, unit="L")
    check("highest pressure", highest_bar, precharge_bar, unit="bar", above=True)
    return growth_l / (1.0 - (precharge_bar + BAR_0) / (highest_bar + BAR_0))


BAR_0 = 1.01325
