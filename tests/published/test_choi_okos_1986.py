"""Choi and Okos 1986, thermal properties by composition (coefficients second hand)."""

from __future__ import annotations

import pytest
from CoolProp import CoolProp

from byrewright.physics import milk

FOURTH = 5.1e-5
HUNDREDTH = 0.0051
# Choi and Okos water against the reference equation of state; its specific heat misses the rise
# near freezing, so it is 0.75 % low at 4 degC. The other constant in print would be 1.9 % low.
WATER_CP, WATER_DENSITY, WATER_CONDUCTIVITY = 0.008, 0.003, 0.03


@pytest.mark.parametrize(
    ("t", "cp_value", "density", "conductivity"),
    [(4, 3.8816, 1024.49, 0.5400), (20, 3.8852, 1022.63, 0.5639), (35, 3.8905, 1019.27, 0.5834)],
)
def test_whole_milk(t: float, cp_value: float, density: float, conductivity: float) -> None:
    """Worked example 5 (derived from the coefficients)."""
    p = milk.milk_properties(t)
    assert p.cp_kj_kgk == pytest.approx(cp_value, abs=FOURTH)
    assert p.density_kg_m3 == pytest.approx(density, abs=HUNDREDTH)
    assert p.conductivity_w_mk == pytest.approx(conductivity, abs=FOURTH)


@pytest.mark.parametrize("t", [4.0, 20.0, 60.0])
def test_pure_water_against_the_reference_equation(t: float) -> None:
    """The water row against CoolProp: the constant 4.1762, not 4.1289, is right."""
    p = milk.milk_properties(t, milk.Composition(1.0, 0.0, 0.0, 0.0, 0.0))
    state = (("T", t + 273.15, "P", 101_325, "Water"),)
    reference = {k: CoolProp.PropsSI(k, *state[0]) for k in ("C", "D", "L")}
    assert p.cp_kj_kgk == pytest.approx(reference["C"] / 1000, rel=WATER_CP)
    assert p.density_kg_m3 == pytest.approx(reference["D"], rel=WATER_DENSITY)
    assert p.conductivity_w_mk == pytest.approx(reference["L"], rel=WATER_CONDUCTIVITY)


def test_one_per_cent_under_the_rule_value() -> None:
    """Derived: composition gives about 1 % less than the usual 3.93 kJ/kgK; never mix the two."""
    assert milk.milk_properties(20).cp_kj_kgk / 3.93 == pytest.approx(0.99, abs=0.005)
