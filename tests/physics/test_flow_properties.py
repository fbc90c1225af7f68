"""Properties of milklines, full pipes and compressed air."""

from __future__ import annotations

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from byrewright.physics import milkline, pipeflow, pneumatics
from byrewright.physics.errors import PhysicsRangeError

lines = st.tuples(st.floats(40, 110), st.floats(0.3, 2.0), st.floats(0, 300))


@given(lines, st.floats(1, 100), st.floats(1.05, 3.0))
def test_more_milk_stands_higher(line, milk: float, more: float) -> None:
    """A fuller line would look emptier."""
    bore, slope, airflow = line
    low = milkline.line_flow(milk, airflow, bore, slope)
    high = milkline.line_flow(milk * more, airflow, bore, slope)
    assume(low is not None and high is not None)
    assert low is not None and high is not None
    assert high.level_share > low.level_share
    assert 0.0 < low.filled_share < 1.0


@given(lines, st.floats(1, 100))
def test_milk_leaves_as_it_came(line, milk: float) -> None:
    """Area times velocity would not give the flow back."""
    bore, slope, airflow = line
    flow = milkline.line_flow(milk, airflow, bore, slope)
    assume(flow is not None)
    assert flow is not None
    area = flow.filled_share * 3.141592653589793 / 4 * (bore / 1000) ** 2
    assert flow.milk_m_s * area * 60_000 == pytest.approx(milk, rel=1e-9)


@settings(max_examples=30)
@given(lines, st.floats(1.05, 1.5))
def test_capacity_rises_with_slope_and_bore(line, more: float) -> None:
    """A steeper or wider line would be advised against."""
    bore, slope, airflow = line
    base = milkline.slug_limit_l_min(airflow, bore, slope)
    assert milkline.slug_limit_l_min(airflow, bore, slope * more) > base
    assert milkline.slug_limit_l_min(airflow, bore * more, slope) > base


@settings(max_examples=30)
@given(lines)
def test_limit_is_the_edge_of_stratified_flow(line) -> None:
    """The limit would not be where slugs begin."""
    bore, slope, airflow = line
    limit = milkline.slug_limit_l_min(airflow, bore, slope)
    under = milkline.line_flow(limit * 0.999, airflow, bore, slope)
    over = milkline.line_flow(limit * 1.001, airflow, bore, slope)
    assert under is not None and under.stratified
    assert over is None or not over.stratified


@given(st.floats(0.5, 500), st.floats(15, 150), st.floats(1.001, 2.0))
def test_pipe_drop_rises_with_flow(flow: float, bore: float, more: float) -> None:
    """The friction factor would fall through the transition so that drop fell too."""
    assert pipeflow.drop_kpa(flow * more, 10, bore) > pipeflow.drop_kpa(flow, 10, bore)


@given(st.floats(0.1, 500), st.floats(0.1, 3.0))
def test_bore_for_velocity_round_trip(flow: float, velocity: float) -> None:
    """A bore chosen for a velocity would not give it."""
    bore = pipeflow.bore_for_velocity_mm(flow, velocity)
    assert pipeflow.velocity_m_s(flow, bore) == pytest.approx(velocity)
    assert pipeflow.flow_l_min(velocity, bore) == pytest.approx(flow)


@given(st.floats(1, 20), st.floats(50, 900), st.floats(0, 1), st.floats(0, 1))
def test_orifice_flow_rises_as_the_far_side_falls(
    hole: float, upstream: float, one: float, other: float
) -> None:
    """A deeper vacuum would draw less air through a fallen unit."""
    low, high = sorted((one, other))
    fast = pneumatics.orifice_kg_s(hole, upstream, low * upstream)
    slow = pneumatics.orifice_kg_s(hole, upstream, high * upstream)
    assert fast >= slow - 1e-12
    assert pneumatics.orifice_kg_s(hole, upstream, upstream) == pytest.approx(0.0, abs=1e-9)


@given(st.floats(50, 3000), st.floats(2, 30), st.floats(0.3, 3))
def test_cycling_receiver_keeps_its_starts(flow: float, starts: float, band: float) -> None:
    """A compressor would start more often than its receiver was sized for."""
    volume = pneumatics.cycling_receiver_l(flow, starts, band)
    stored = volume * band / pneumatics.ATMOSPHERE_BAR
    worst = 0.0
    for i in range(1, 100):
        draw = flow * i / 100
        cycle_min = stored / (flow - draw) + stored / draw
        worst = max(worst, 60 / cycle_min)
    assert worst == pytest.approx(starts)


@given(st.floats(1, 5000), st.floats(20, 45), st.floats(20, 45), st.floats(4, 10))
def test_warmer_inlet_needs_a_larger_dryer(
    flow: float, one: float, other: float, bar: float
) -> None:
    """A hot compressor room would be given a smaller dryer."""
    cool, warm = sorted((one, other))
    larger = pneumatics.dryer_nominal_l_min_free(flow, warm, bar)
    assert larger >= pneumatics.dryer_nominal_l_min_free(flow, cool, bar) - 1e-9


def test_dryer_range_is_kept() -> None:
    """A dryer would be sized beyond the factors that are held."""
    with pytest.raises(PhysicsRangeError, match="dryer inlet is 60 degC"):
        pneumatics.dryer_nominal_l_min_free(500, 60, 7)
