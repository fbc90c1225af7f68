"""Properties of the vacuum formulas over their whole range."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from byrewright.physics import air
from byrewright.physics.errors import PhysicsRangeError

ROUND_TRIP = 1e-9  # powers and roots in double precision

flows = st.floats(1.0, 20_000.0)
bores = st.floats(20.0, 250.0)
lengths = st.floats(0.1, 300.0)
vacuums = st.floats(0.0, 60.0)
ambients = st.floats(75.0, 105.0)


@given(flows, lengths, bores, vacuums, ambients)
def test_drop_flow_and_bore_are_one_formula(
    flow: float, length: float, bore: float, vacuum: float, ambient: float
) -> None:
    """A bore advised by the inverse would not hold the drop it was chosen for."""
    drop = air.airline_drop_kpa(flow, length, bore, vacuum, ambient)
    back = air.airline_flow_l_min_free(drop, length, bore, vacuum, ambient)
    assert back == pytest.approx(flow, rel=ROUND_TRIP)
    again = air.airline_bore_mm(flow, length, drop, vacuum, ambient)
    assert again == pytest.approx(bore, rel=ROUND_TRIP)


@given(flows, lengths, bores, st.floats(1.01, 3.0))
def test_drop_moves_the_right_way(flow: float, length: float, bore: float, more: float) -> None:
    """A sensitivity table would point the wrong way."""
    drop = air.airline_drop_kpa(flow, length, bore)
    assert air.airline_drop_kpa(flow * more, length, bore) > drop
    assert air.airline_drop_kpa(flow, length * more, bore) > drop
    assert air.airline_drop_kpa(flow, length, bore * more) < drop


@given(st.integers(1, 200), st.floats(0, 100), st.floats(30, 55), ambients)
def test_pump_capacity_sums_to_its_parts(
    units: int, each: float, vacuum: float, ambient: float
) -> None:
    """The stacked bar of the capacity balance would not reach its total."""
    r = air.pump_capacity(
        units=units,
        unit_air_l_min_free=each,
        effective_reserve_l_min_free=air.reserve_iso_l_min_free(units, True),
        pump_vacuum_kpa=vacuum,
        ambient_kpa_abs=ambient,
    )
    parts = (
        r.effective_reserve_l_min_free
        + r.regulation_allowance_l_min_free
        + r.units_l_min_free
        + r.ancillary_l_min_free
        + r.milk_leakage_l_min_free
        + r.system_leakage_l_min_free
    )
    assert parts == pytest.approx(r.at_inlet_l_min_free)
    assert r.nominal_l_min_free == pytest.approx(r.at_inlet_l_min_free * r.altitude_factor)
    lower = air.pump_capacity(
        units=units + 1,
        unit_air_l_min_free=each,
        effective_reserve_l_min_free=air.reserve_iso_l_min_free(units + 1, True),
        pump_vacuum_kpa=vacuum,
        ambient_kpa_abs=ambient,
    )
    assert lower.nominal_l_min_free > r.nominal_l_min_free


@given(st.integers(1, 300))
def test_no_shut_off_never_needs_less_reserve(units: int) -> None:
    """A plant without shut-off valves would be given a smaller pump."""
    assert air.reserve_iso_l_min_free(units, False) > air.reserve_iso_l_min_free(units, True)


@given(st.floats(-400, 5000), st.floats(1, 2000))
def test_pressure_falls_with_altitude(altitude: float, climb: float) -> None:
    """A high farm would be given a sea-level pump."""
    high = air.ambient_pressure_kpa_abs(altitude + climb)
    assert high < air.ambient_pressure_kpa_abs(altitude)


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda: air.reserve_iso_l_min_free(0, True), "number of units is 0"),
        (lambda: air.altitude_factor(80, 85), "pump vacuum is 80 kPa"),
        (lambda: air.airline_drop_kpa(1000, 10, 0), "bore is 0 mm; it must be above 0 mm"),
        (lambda: air.airline_drop_kpa(float("nan"), 10, 50), "airflow is not a finite number"),
        (lambda: air.equivalent_length_m(50, 10, {"elbo": 1}), "use bend, elbow"),
    ],
)
def test_out_of_range_is_one_sentence(call, says: str) -> None:
    """A wrong number would give a wrong size or a traceback without a reason."""
    with pytest.raises(PhysicsRangeError, match=says) as caught:
        call()
    assert "\n" not in str(caught.value)
