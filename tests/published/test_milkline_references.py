"""What is published of milklines, and the mechanistic stand-in beside it.

The standard's table of units per slope could not be read: nothing here validates the stand-in.
"""

from __future__ import annotations

import math

import pytest
from fluids.two_phase import Taitel_Dukler_regime

from byrewright.physics import milkline
from byrewright.physics.errors import PhysicsRangeError

HALF_FULL = {
    48.5: [21, 26, 29, 32, 36, 41],
    60: [36, 46, 52, 57, 63, 73],
    73: [62, 78, 87, 95, 107, 123],
    98: [135, 171, 191, 209, 234, 270],
}
SLOPES = [0.5, 0.8, 1.0, 1.2, 1.5, 2.0]
WHOLE = 0.51  # the table is in whole litres
# The reference library reads the flow map off fitted curves and leaves the milk's own velocity
# out of the surface drag.
MAP_READING = 0.25


@pytest.mark.parametrize("bore", HALF_FULL)
def test_half_full_gravity_capacity(bore: float) -> None:
    """Derived: Manning at n = 0.010 half full, the lower reference."""
    for slope, flow in zip(SLOPES, HALF_FULL[bore], strict=True):
        assert milkline.gravity_half_full_l_min(bore, slope) == pytest.approx(flow, abs=WHOLE)


@pytest.mark.parametrize(("bore_in", "units"), [(2.0, 4), (2.5, 6), (3.0, 9), (4.0, 16)])
def test_rule_of_1978(bore_in: float, units: int) -> None:
    """California 1978 in a 3-A appendix, as read in Reinemann et al. 1993: bore squared."""
    assert milkline.units_1978(bore_in) == units


@pytest.mark.parametrize("bore", [48.5, 73.0, 98.0])
@pytest.mark.parametrize("airflow", [600.0, 1000.0, 2000.0])
def test_transition_agrees_with_the_reference_map(bore: float, airflow: float) -> None:
    """Taitel and Dukler 1976 in a level pipe, against the map in `fluids`."""
    gas = 58_000 / (287.05 * 308.15)

    def stratified(milk_l_min: float) -> bool:
        milk = milk_l_min / 60_000 * 1030
        air = airflow / 60_000 * 100 / 58 * gas
        regime = Taitel_Dukler_regime(
            m=milk + air,
            x=air / (milk + air),
            rhol=1030,
            rhog=gas,
            mul=milkline.MILK_VISCOSITY_PA_S,
            mug=milkline.AIR_VISCOSITY_PA_S,
            D=bore / 1000,
            angle=0.0,
        )[0]
        return bool(regime.startswith("stratified"))

    low, high = 0.01, 1000.0
    while high - low > 1e-3:
        mid = (low + high) / 2
        low, high = (mid, high) if stratified(mid) else (low, mid)
    ours = milkline.slug_limit_l_min(airflow, bore, 0.0)
    assert ours == pytest.approx(low, rel=MAP_READING)


@pytest.mark.parametrize("bore", [48.5, 60.0, 73.0, 98.0])
def test_stand_in_lies_above_the_known_bounds(bore: float) -> None:
    """A property: above half-full gravity and the 1978 rule, and slope adds capacity."""
    last = 0.0
    for slope in (0.5, 1.0, 1.5, 2.0):
        limit = milkline.slug_limit_l_min(100.0, bore, slope)
        assert limit >= milkline.gravity_half_full_l_min(bore, slope)
        assert milkline.units_per_slope(100.0, bore, slope, 5.5) >= milkline.units_1978(bore / 25.4)
        assert limit > last
        last = limit


def test_full_line_and_storm_of_air_are_told_apart() -> None:
    """A property: a full line has no level; air alone can make slugs of any milk."""
    assert milkline.line_flow(2000.0, 0.0, 48.5, 0.5) is None
    with pytest.raises(PhysicsRangeError, match="slugs of any milk"):
        milkline.slug_limit_l_min(20_000.0, 48.5, 1.0)


def test_level_without_air_is_open_channel_flow() -> None:
    """Derived: without air the level is that of a smooth open channel (f = 4 x 0.046 Re^-0.2)."""
    flow = milkline.line_flow(60.0, 0.0, 73.0, 1.0)
    assert flow is not None
    d, x = 0.073, 2 * flow.level_share - 1
    wetted = d * math.acos(-x)
    area = flow.filled_share * math.pi / 4 * d * d
    hydraulic = 4 * area / wetted
    number = 1030 * flow.milk_m_s * hydraulic / milkline.MILK_VISCOSITY_PA_S
    factor = 4 * 0.046 * number**-0.2
    fall = factor / hydraulic * flow.milk_m_s**2 / (2 * 9.80665)
    # The drag of still air on the surface is the difference.
    assert fall == pytest.approx(0.01, rel=0.02)
