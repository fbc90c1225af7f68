"""Properties of the vacuum formulas over their whole range."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from byrewright.physics import air
from byrewright.physics.errors import PhysicsRangeError

COEFFICIENT = 0.02  # 27.8 is rounded, and air is taken at 1.19 kg/m3 where it is free

flows = st.floats(1.0, 20_000.0)
drops = st.floats(0.05, 5.0)
lengths = st.floats(0.1, 300.0)
vacuums = st.floats(0.0, 60.0)
ambients = st.floats(75.0, 105.0)


@given(flows, lengths, drops, vacuums)
def test_an_advised_bore_has_the_drop_it_was_chosen_for(
    flow: float, length: float, drop: float, vacuum: float
) -> None:
    """An advised bore would not hold the drop it was chosen for (Darcy with Blasius, by hand)."""
    bore = air.airline_bore_mm(flow, length, drop, vacuum)
    density = 1.19 * (100.0 - vacuum) / 100.0
    speed = flow / 60_000 * 1.19 / density / (math.pi / 4 * (bore / 1000) ** 2)
    blasius = 0.316 * (density * speed * bore / 1000 / 1.81e-5) ** -0.25
    by_hand = blasius * length / (bore / 1000) * density * speed**2 / 2000
    assert by_hand == pytest.approx(drop, rel=COEFFICIENT)


@given(flows, lengths, drops, st.floats(60.0, 99.0))
def test_thin_air_never_asks_for_a_smaller_bore(
    flow: float, length: float, drop: float, ambient: float
) -> None:
    """A high farm would be given a narrower line than its air needs."""
    assert air.airline_bore_mm(flow, length, drop, 42.0, ambient) >= air.airline_bore_mm(
        flow, length, drop, 42.0
    )


@given(flows, lengths, drops, st.floats(1.01, 3.0))
def test_bore_moves_the_right_way(flow: float, length: float, drop: float, more: float) -> None:
    """More air through a longer line at less drop would be given a smaller bore."""
    bore = air.airline_bore_mm(flow, length, drop)
    assert air.airline_bore_mm(flow * more, length, drop) > bore
    assert air.airline_bore_mm(flow, length * more, drop) > bore
    assert air.airline_bore_mm(flow, length, drop * more) < bore


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
        (lambda: air.airline_bore_mm(1000, 10, 0), "drop is 0 kPa; it must be above 0 kPa"),
        (lambda: air.airline_bore_mm(float("nan"), 10, 1), "airflow is not a finite number"),
        (lambda: air.equivalent_length_m(50, 10, {"elbo": 1}), "use bend, elbow"),
    ],
)
def test_out_of_range_is_one_sentence(call, says: str) -> None:
    """A wrong number would give a wrong size or a traceback without a reason."""
    with pytest.raises(PhysicsRangeError, match=says) as caught:
        call()
    assert "\n" not in str(caught.value)
