"""Slopes that the solvers lean on, against differences, and formulas at the edge of their range."""

from __future__ import annotations

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from byrewright.physics import air, airflow, motors, pipeflow, refrigeration
from byrewright.physics.tank_fill import least_cooling_kw
from byrewright.standards.rulebook import default_rulebook

STEP = 1e-5
SLOPE = 2e-3  # the published slope of a rough pipe leaves out a term of this size

reynolds = st.one_of(st.floats(1.0, 1900.0), st.floats(2100.0, 3900.0), st.floats(4100.0, 1e7))


@given(reynolds, st.floats(0.0, 0.01))
def test_slope_of_friction_is_its_difference(at: float, rough: float) -> None:
    """Newton's method of the air network would creep or not converge."""
    step = at * STEP
    higher, lower = (airflow.friction(at + s, rough)[0] for s in (step, -step))
    share = airflow.friction(at, rough)[1] * at / airflow.friction(at, rough)[0]
    assert share == pytest.approx(
        (higher - lower) / (2 * STEP) / airflow.friction(at, rough)[0], abs=SLOPE
    )


@given(st.floats(10.0, 1e7), st.floats(0.0, 0.05))
@example(2300.0, 0.0)  # where laminar passes into turbulent flow
@example(3000.0, 0.001)
def test_slope_of_liquid_friction_is_its_difference(at: float, rough: float) -> None:
    """Newton's method of the liquid network would creep or not converge, most of all in the
    passage from laminar to turbulent flow."""
    higher, lower = (pipeflow.friction(at * (1.0 + s), rough)[0] for s in (STEP, -STEP))
    slope = pipeflow.friction(at, rough)[1]
    if abs(at - 100.0) > 1e-2:
        assert slope * at == pytest.approx((higher - lower) / (2 * STEP), rel=1e-4, abs=1e-7)


@given(st.floats(5.0, 99.0))
def test_slope_of_a_hole_is_its_difference(pressure: float) -> None:
    """Newton's method of the air network would creep or not converge."""
    higher, lower = (airflow.orifice_share(pressure + s, 100.0)[0] for s in (STEP, -STEP))
    kinks = (airflow.ORIFICE_CRITICAL_RATIO * 100.0, airflow.ORIFICE_LINEAR_FROM * 100.0)
    if min(abs(pressure - k) for k in kinks) > 1e-3:
        slope = airflow.orifice_share(pressure, 100.0)[1]
        assert slope == pytest.approx((higher - lower) / (2 * STEP), rel=1e-4, abs=1e-7)


def test_a_hole_has_no_jump_where_its_curve_becomes_straight() -> None:
    """The solver would step to and fro over the jump, and find no pressure."""
    edge = airflow.ORIFICE_LINEAR_FROM * 100.0
    below, above = (airflow.orifice_share(edge + s, 100.0)[0] for s in (-1e-9, 1e-9))
    assert 0.0 < above == pytest.approx(below, rel=1e-6)


def test_the_least_cooling_is_found_for_small_tanks_too() -> None:
    """A cooler of a few watts would be told as zero, or as ten times what it is."""
    for least in (0.02, 0.7, 40.0, 3000.0):
        found = least_cooling_kw(lambda kw, least=least: kw >= least)
        assert found == pytest.approx(least, rel=1.1e-3) and found >= least
    assert least_cooling_kw(lambda kw: kw >= 6000.0) is None


@given(st.floats(40.0, 80.0), st.floats(0.3, 1.0), st.floats(1.0, 300.0))
def test_back_pressure_takes_air_from_a_pump(inlet: float, speed: float, back: float) -> None:
    """A clogged silencer would show as a stronger pump."""
    slip = 1 / 0.9 - 1
    free = airflow.pump_air_kg_s(speed, inlet, 100.0, 0.2, slip, 0.0)[0]
    through = airflow.pump_air_kg_s(speed, inlet, 100.0, 0.2, slip, back)[0]
    if free > 0.0:
        # M e k m^2 / p_a less, the slip over the raised outlet pressure
        assert through == pytest.approx(free - 0.2 * slip * back * free * free / 100.0, rel=1e-12)
        assert through < free
    else:
        assert through == free


def test_a_vane_pump_moves_nothing_beyond_its_greatest_vacuum() -> None:
    """Capacity would turn negative, or a pump would pull deeper than it can."""
    greatest = default_rulebook().number("vacuum.pump_zero_flow_share") * 100.0
    assert air.vane_pump_l_min_free(1000.0, greatest + 1.0) == 0.0
    assert air.vane_pump_l_min_free(1000.0, greatest - 1.0) > 0.0


def test_generator_carries_apparent_power() -> None:
    """A generator of many running motors would be chosen by kW, as if they were heaters."""
    rules = default_rulebook()
    factor = rules.number("motor.power_factor")
    most = rules.number("generator.load_most")
    heater = motors.generator_size([motors.Load("heater", 60.0, 0.0, "direct")])
    motor = motors.generator_size([motors.Load("pump", 60.0, 66.0, "drive")])
    assert heater.steps[-1].running_kva == 60.0
    assert heater.least_kva == pytest.approx(60.0 / rules.number("generator.power_factor") / most)
    assert motor.steps[-1].running_kva == pytest.approx(60.0 / factor)
    assert motor.steps[-1].running_kva > motor.steps[-1].running_kw


def test_cop_gains_no_more_than_half_in_the_cold() -> None:
    """In a winter night the chillers would run for nothing."""
    assert refrigeration.cop_share(-52.0, 0.025) == 1.5
    assert refrigeration.cop_share(-12.0, 0.025) == pytest.approx(1.3)
    assert refrigeration.cop_share(40.0, 0.025) == 0.4
