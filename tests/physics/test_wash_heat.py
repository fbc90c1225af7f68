"""Heat of a circulating wash: vapour pressure against CoolProp, energy, monotone in the losses."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from byrewright.physics.wash_heat import saturation_kpa, wash_return_c, wet_air_kw

TO_60 = 0.01  # the stated accuracy of the Magnus form to 60 degC
TO_95 = 0.025  # and at 95 degC
STEPS = 0.02  # K; the stated effect of the step of the integration


@pytest.mark.parametrize(
    ("t", "tolerance"),
    [(5, TO_60), (20, TO_60), (40, TO_60), (60, TO_60), (80, TO_95), (95, TO_95)],
)
def test_vapour_pressure_against_coolprop(t: float, tolerance: float) -> None:
    """The vapour pressure leaves the reference library: heat of wet air is wrong."""
    from CoolProp.CoolProp import PropsSI

    reference = PropsSI("P", "T", t + 273.15, "Q", 0, "Water") / 1000
    assert saturation_kpa(t) == pytest.approx(reference, rel=tolerance)


@given(st.floats(40, 90), st.floats(1, 30), st.floats(100, 2000), st.floats(0, 2))
def test_without_air_it_is_the_closed_form(
    start: float, mins: float, litres: float, ua: float
) -> None:
    """With loss to the room alone the wash falls exponentially; the integration drifts off."""
    import math

    from byrewright.physics.cleaning import return_c

    mixed = return_c(start, litres, 500, 20)
    exact = 15 + (mixed - 15) * math.exp(-ua * mins * 60 / (litres * 4.19 + 250))
    found = wash_return_c(start, mins, litres, 500, 20, ua, 15)
    assert found == pytest.approx(exact, abs=max(STEPS, 0.01 * abs(mixed - exact)))


def test_vacuum_makes_air_carry_more() -> None:
    """Air under vacuum takes no more heat than at ambient pressure: the sign of p is wrong."""
    assert wet_air_kw(1000, 65, 58, 0.5) > wet_air_kw(1000, 65, 100, 0.5)
