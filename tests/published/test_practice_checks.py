"""Facts of the trade used as checks only (common practice, no source)."""

from __future__ import annotations

import pytest

from byrewright.physics import air, heat, milk, motion, throughput
from byrewright.plant.programme import wash_of
from byrewright.standards.practice import MAGNITUDES
from byrewright.standards.rulebook import default_rulebook
from tests.plants import rotary


@pytest.mark.parametrize(("stalls", "seconds", "litres"), [(50, 9.5, 12.0), (80, 6.8, 12.0)])
def test_throughput_and_flow_lie_in_the_usual_range(
    stalls: int, seconds: float, litres: float
) -> None:
    """Closed form at usual speeds gives usual cows an hour and litres a minute."""
    net = throughput.gross_cows_h(stalls, stalls * seconds) * 0.96 / 1.075
    assert MAGNITUDES["net_cows_h"].usual(net, stalls)
    assert MAGNITUDES["mean_milk_l_min"].usual(net * litres / 60, stalls)


@pytest.mark.parametrize(("stalls", "deck_kg"), [(50, 700.0), (80, 700.0)])
def test_deck_load_and_drive_lie_in_the_usual_range(stalls: int, deck_kg: float) -> None:
    """Cows and concrete on rollers: tonnes and kilowatts of the usual order."""
    mass = stalls * (700.0 + deck_kg)
    assert MAGNITUDES["deck_t"].usual(mass / 1000, stalls)
    radius = stalls * 0.9 / (2 * 3.14159)
    speed = motion.track_speed_m_s(radius, 480)
    watts = motion.drive_power_w(motion.rolling_force_n(mass, 0.02), speed, 0.6)
    assert MAGNITUDES["drive_kw"].usual(watts / 1000, stalls)


@pytest.mark.parametrize("stalls", [50, 80])
def test_wash_lies_in_the_usual_range(stalls: int) -> None:
    """Hot charge in litres and kilowatt-hours; three steps of water."""
    wash = wash_of(rotary(stalls, 15 * stalls), default_rulebook())
    charge = wash.hot_l + 100.0
    assert MAGNITUDES["hot_charge_l"].usual(charge, stalls)
    energy = heat.heating_energy_kwh(charge, 12, 75)
    assert MAGNITUDES["hot_charge_kwh"].usual(energy, stalls)
    assert MAGNITUDES["wash_water_m3"].usual(wash.water_l / 1000, stalls)


@pytest.mark.parametrize(("stalls", "flow"), [(50, 62.0), (80, 100.0)])
def test_in_line_chilling_lies_in_the_usual_range(stalls: int, flow: float) -> None:
    """From 18 degC to 4: thermal power at mean flow."""
    assert MAGNITUDES["chilling_kw"].usual(milk.heat_load_kw(flow, 18, 4), stalls)


@pytest.mark.parametrize("stalls", [50, 80])
def test_pump_for_one_duty_lies_in_the_usual_range(stalls: int) -> None:
    """ISO-form reserve, 45 L/min a unit, 42 kPa, 300 m: one duty pump of the usual size."""
    reserve = air.reserve_iso_l_min_free(stalls, True)
    r = air.pump_capacity(
        units=stalls,
        unit_air_l_min_free=45,
        effective_reserve_l_min_free=reserve,
        ancillary_l_min_free=300,
        pump_vacuum_kpa=45,
        ambient_kpa_abs=air.ambient_pressure_kpa_abs(300),
    )
    assert MAGNITUDES["vacuum_pump_l_min"].usual(r.nominal_l_min_free, stalls)
