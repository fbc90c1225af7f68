"""The unit table against `pint`, and quantities as people write them."""

from __future__ import annotations

import math

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from byrewright.standards.units import (
    TABLE,
    US_UNITS,
    UnitError,
    convert,
    parse_quantity,
    units_like,
)

# Conventional units (inHg, Btu) are rounded differently by different bodies; all else is exact.
CONVENTION = 2e-7
# Two conversions in double precision.
ROUNDING = 1e-12

PINT_NAMES = {
    "in": "inch", "ft": "foot", "um": "micrometer", "m2": "m**2", "cm2": "cm**2", "ft2": "foot**2",
    "L": "liter", "mL": "milliliter", "m3": "m**3", "gal": "gallon", "gal_imp": "imperial_gallon",
    "ft3": "foot**3", "L/min": "liter/minute", "L/s": "liter/second", "L/h": "liter/hour",
    "m3/h": "m**3/hour", "gpm": "gallon/minute", "cfm": "foot**3/minute", "L/d": "liter/day",
    "gal/d": "gallon/day", "inHg": "inch_Hg_32F", "K": "delta_degree_Celsius",
    "degF difference": "delta_degree_Fahrenheit", "degC": "degree_Celsius",
    "degF": "degree_Fahrenheit", "hp": "horsepower", "Btu/h": "Btu/hour", "kVA": "kilovolt_ampere",
    "VA": "volt_ampere", "t": "metric_ton", "lb": "pound", "kg/min": "kg/minute",
    "kg/s": "kg/second", "kg/h": "kg/hour", "lb/min": "pound/minute", "min": "minute", "h": "hour",
    "d": "day", "ft/s": "foot/second", "ft/min": "foot/minute", "kg/m3": "kg/m**3",
    "lb/ft3": "pound/foot**3", "lbf": "force_pound", "kN/m2": "kN/m**2",
    "lbf/ft2": "force_pound/foot**2", "lbf/ft": "force_pound/foot",
    "N/m2": "N/m**2", "N.m": "N*m", "lbf.ft": "force_pound*foot",
    "rpm": "revolutions_per_minute", "Hz": "revolutions_per_second", "W/m2K": "W/m**2/kelvin",
    "Btu/hft2F": "Btu/hour/foot**2/delta_degree_Fahrenheit", "kW/K": "kW/kelvin",
    "W/K": "W/kelvin", "kJ/kgK": "kJ/kg/kelvin",
    "Btu/hF": "Btu/hour/delta_degree_Fahrenheit", "1/kPa": "1/kilopascal",
    "1/inHg": "1/inch_Hg_32F", "L/year": "liter/year",
    "oz/gal": "fluid_ounce/gallon", "degF/h": "delta_degree_Fahrenheit/hour",
    "K/h": "delta_degree_Celsius/hour", "1/L": "1/liter", "1/gal": "1/gallon",
    "kg/m2": "kilogram/meter**2", "lb/ft2": "pound/foot**2",
    "L/L": "liter/liter", "gal/gal": "gallon/gallon",
    "kWh/1000 L": "kWh/kiloliter", "kWh/1000 gal": "kWh/kilogallon",
    "h/1000 L": "hour/kiloliter", "h/1000 gal": "hour/kilogallon", "gal/year": "gallon/year",
    "kW/m3": "kW/m**3", "hp/1000 gal": "horsepower/kilogallon", "cP": "centipoise",
    "mPa.s": "millipascal*second", "1/K": "1/delta_degree_Celsius", "m3/s": "m**3/second",
    "1/degF": "1/delta_degree_Fahrenheit", "kWh/d": "kWh/day", "Btu/d": "Btu/day",
    "kW/lb": "kW/pound", "kWh/lb": "kWh/pound", "mi": "mile",
    "Btu/lbF": "Btu/pound/delta_degree_Fahrenheit", "%": "percent",
}  # fmt: skip
BASES = {unit.quantity: unit.symbol for unit in reversed(TABLE) if unit.factor == 1.0}


@pytest.fixture(scope="module")
def registry() -> pint.UnitRegistry:
    """A reference registry with the conventional inch of mercury at 0 degC."""
    units = pint.UnitRegistry(autoconvert_offset_to_baseunit=True)
    units.define("inch_Hg_32F = 3386.389 pascal")
    return units


@pytest.mark.parametrize("unit", TABLE, ids=lambda unit: unit.symbol)
@pytest.mark.parametrize("number", [0.75, 212.0])
def test_every_row_agrees_with_pint_both_ways(
    registry: pint.UnitRegistry, unit, number: float
) -> None:
    """A wrong factor would make every size in that unit wrong."""
    base = BASES[unit.quantity]
    name, base_name = PINT_NAMES.get(unit.symbol, unit.symbol), PINT_NAMES.get(base, base)
    there = registry.Quantity(number, name).to(base_name).magnitude
    back = registry.Quantity(number, base_name).to(name).magnitude
    assert convert(number, unit.symbol, base) == pytest.approx(there, rel=CONVENTION)
    assert convert(number, base, unit.symbol) == pytest.approx(back, rel=CONVENTION)


@given(
    unit=st.sampled_from(TABLE),
    number=st.floats(-1e6, 1e6),
    pick=st.integers(0, 20),
)
def test_there_and_back_gives_the_same_number(unit, number: float, pick: int) -> None:
    """Reading a file written in US units would otherwise drift."""
    family = units_like(unit.symbol)
    other = family[pick % len(family)]
    again = convert(convert(number, unit.symbol, other), other, unit.symbol)
    assert again == pytest.approx(number, rel=ROUNDING, abs=1e-9)


@pytest.mark.parametrize(
    ("text", "unit", "value"),
    [
        ("150 mm", "mm", 150.0),
        ("150mm", "mm", 150.0),
        ("6 in", "mm", 152.4),
        ("2 hp", "kW", 1.4914),
        ("1200 L", "L", 1200.0),
        ("1.2 m3", "L", 1200.0),
        ("38 degF", "degC", 3.3333),
        ("-2.5", "degC", -2.5),
        ("7.5", "s", 7.5),
        ("1e3 L/min", "L/min", 1000.0),
        ("35 cfm", "L/min", 991.1),
        ("90 psi", "bar", 6.2053),
        ("12 cows/h", "cows/h", 12.0),
        ("4", "", 4.0),
    ],
)
def test_quantities_people_write_are_read(text: str, unit: str, value: float) -> None:
    """An engineer's own words would be refused or misread."""
    assert parse_quantity(text, unit) == pytest.approx(value, rel=1e-4)


@pytest.mark.parametrize(
    ("text", "unit", "says"),
    [
        ("1,200 L", "L", "write 1200"),
        ("7,5", "s", "write 7.5"),
        ("7,5 kW", "kW", "write 7.5"),
        ("1,2,3", "mm", "not a number"),
        ("large", "mm", "not a number"),
        ("", "mm", "not a number"),
        ("150 kg", "mm", "mm"),
        ("150 mmm", "mm", "did you mean mm"),
        ("150 mm", "", "plain number"),
        ("3 pigs/h", "cows/h", "cows/h"),
        ("1e999 mm", "mm", "too large"),
        ("3 degF", "K", "temperature"),
    ],
)
def test_a_wrong_quantity_says_what_would_be_right(text: str, unit: str, says: str) -> None:
    """A wrong unit would pass silently or end in a traceback."""
    with pytest.raises(UnitError, match=says):
        parse_quantity(text, unit)


@given(st.text(max_size=20), st.sampled_from([*(u.symbol for u in TABLE), "", "cows/h"]))
def test_any_text_gives_a_number_or_one_sentence(text: str, unit: str) -> None:
    """Rubbish in a file would end in a traceback or a number that is not finite."""
    try:
        assert math.isfinite(parse_quantity(text, unit))
    except UnitError as error:
        assert "\n" not in str(error)


def test_symbols_and_aliases_are_never_shared() -> None:
    """Two rows with one name would make a unit mean two things."""
    names = [name for unit in TABLE for name in (unit.symbol, *unit.aliases)]
    assert len(names) == len(set(names))


def test_us_units_measure_the_same_thing() -> None:
    """A US report would otherwise show a length in gallons."""
    for metric, us in US_UNITS.items():
        convert(1.0, metric, us)
