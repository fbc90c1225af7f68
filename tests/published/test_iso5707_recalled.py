"""ISO 5707:2007 rules and tables as recalled (text not read), and constructed examples.

Every figure here is from memory or derived from memory; a licensed user should check the text.
"""

from __future__ import annotations

import pytest

from byrewright.physics import air

# The recalled tables and worked examples are written to the last digit shown.
LAST_DIGIT_2 = 0.0051
LAST_DIGIT_3 = 0.00051
TENTH = 0.051
WHOLE = 0.51

ALTITUDE = {
    100: {40: 0.80, 42: 0.83, 45: 0.89, 50: 1.00},
    95: {40: 0.84, 42: 0.87, 45: 0.94, 50: 1.07},
    90: {40: 0.88, 42: 0.92, 45: 1.00, 50: 1.16},
    85: {40: 0.93, 42: 0.99, 45: 1.08, 50: 1.28},
    80: {40: 1.00, 42: 1.07, 45: 1.19, 50: 1.45},
}
FLOW_AT_1_KPA = {
    38: [1157, 779, 618, 524, 416, 310],
    50: [2437, 1640, 1301, 1104, 875, 654],
    60: [3998, 2690, 2134, 1810, 1436, 1073],
    73: [6808, 4581, 3634, 3083, 2445, 1826],
    98: [15142, 10190, 8082, 6857, 5439, 4062],
}
LENGTHS = [5, 10, 15, 20, 30, 50]
SLUG_AIR = {
    50: {38: 272, 48.5: 443, 60: 679, 73: 1004, 98: 1810},
    42: {38: 316, 48.5: 514, 60: 787, 73: 1165, 98: 2100},
}


@pytest.mark.parametrize(
    ("units", "shut_off", "reserve"),
    [(8, True, 440), (10, True, 500), (12, True, 520), (80, True, 1200),
     (8, False, 640), (10, False, 700), (12, False, 720), (80, False, 1400)],
)  # fmt: skip
def test_effective_reserve(units: int, shut_off: bool, reserve: float) -> None:
    """Annex A (from memory): a wrong reserve sizes every pump wrongly."""
    assert air.reserve_iso_l_min_free(units, shut_off) == reserve


def test_regulation_allowance_changes_at_315() -> None:
    """Annex B (from memory): 35 L/min below a reserve of 315, then a tenth of the manual one."""
    assert air.manual_reserve_l_min_free(300) == 335
    assert air.manual_reserve_l_min_free(315) == pytest.approx(350)
    assert air.manual_reserve_l_min_free(900) == pytest.approx(1000)


def test_constructed_pump_with_shut_off_valves() -> None:
    """Constructed example W1 (formulas from memory): 12 units at 45 kPa, sea level."""
    r = air.pump_capacity(
        units=12, unit_air_l_min_free=40, effective_reserve_l_min_free=520, pump_vacuum_kpa=45
    )
    assert r.manual_reserve_l_min_free == pytest.approx(577.8, abs=TENTH)
    assert r.units_l_min_free == 480
    assert r.milk_leakage_l_min_free == 34
    assert r.at_inlet_l_min_free == pytest.approx(1149.2, abs=TENTH)
    assert r.altitude_factor == pytest.approx(0.889, abs=LAST_DIGIT_3)
    # The example multiplied by a factor rounded to three places.
    assert r.nominal_l_min_free == pytest.approx(1021.5, abs=0.6)


def test_constructed_pump_without_shut_off_valves() -> None:
    """Constructed example W2 (formulas from memory): 8 units, ambient 90 kPa, pump at 45 kPa."""
    r = air.pump_capacity(
        units=8,
        unit_air_l_min_free=40,
        effective_reserve_l_min_free=640,
        pump_vacuum_kpa=45,
        ambient_kpa_abs=90,
    )
    assert r.manual_reserve_l_min_free == pytest.approx(711.1, abs=TENTH)
    assert r.milk_leakage_l_min_free == 26
    assert r.at_inlet_l_min_free == pytest.approx(1112.7, abs=TENTH)
    assert r.nominal_l_min_free == pytest.approx(1112.7, abs=TENTH)


@pytest.mark.parametrize("ambient", ALTITUDE)
def test_altitude_table(ambient: int) -> None:
    """Annex B altitude table (from memory; the 42 kPa column derived)."""
    for vacuum, factor in ALTITUDE[ambient].items():
        assert air.altitude_factor(vacuum, ambient) == pytest.approx(factor, abs=LAST_DIGIT_2)


@pytest.mark.parametrize(
    ("bore", "length", "flow", "drop"),
    [(60, 20, 1200, 0.487), (73, 18, 1500, 0.255), (98, 25, 2000, 0.145), (50, 10, 1000, 0.421)],
)
def test_constructed_airline_drops(bore: float, length: float, flow: float, drop: float) -> None:
    """Constructed examples W3 of the airline formula (coefficient from memory), for the bore."""
    # The drop goes as the bore to -4.75: its last digit is a fifth of that in the bore.
    told = LAST_DIGIT_3 / drop / 4.75
    assert air.airline_bore_mm(flow, length, drop) == pytest.approx(bore, rel=told)


@pytest.mark.parametrize("bore", FLOW_AT_1_KPA)
def test_largest_flow_for_one_kpa(bore: int) -> None:
    """Table derived from the airline formula: the bore that passes its flow at 1 kPa."""
    for length, flow in zip(LENGTHS, FLOW_AT_1_KPA[bore], strict=True):
        whole = WHOLE / flow * 1.75 / 4.75
        assert air.airline_bore_mm(flow, length, 1.0) == pytest.approx(bore, rel=whole)


def test_bore_for_another_drop_and_another_vacuum() -> None:
    """Derived: flow goes as drop^0.571, and drop at 42 kPa is 0.862 of that at 50."""
    one = air.airline_bore_mm(1000, 20, 1.0)
    assert air.airline_bore_mm(1000 * 2**0.571, 20, 2.0) == pytest.approx(one, rel=1e-3)
    at_42 = air.airline_bore_mm(1000, 20, 0.862, vacuum_kpa=42)
    assert at_42 == pytest.approx(one, rel=LAST_DIGIT_3)


@pytest.mark.parametrize("vacuum", SLUG_AIR)
def test_slug_air(vacuum: int) -> None:
    """Free air for a slug at 8 m/s (derived; the same form recalled from Annex B)."""
    for bore, flow in SLUG_AIR[vacuum].items():
        assert air.slug_air_l_min_free(bore, 8.0, vacuum) == pytest.approx(flow, abs=WHOLE)


def test_line_volume_is_no_reserve() -> None:
    """Computed: 1 m3 of line yields about 20 L of free air for a 2 kPa fall."""
    assert air.line_reserve_l_free(1000, 2.0) == pytest.approx(20.0)
