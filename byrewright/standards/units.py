"""One table of units, and the reading of quantities written by people.

A vacuum in kPa is always kPa below ambient. K stands for a difference of temperature only;
temperatures are in degC or degF.
"""

from __future__ import annotations

import difflib
import math
import re
from collections.abc import Mapping
from dataclasses import dataclass


class UnitError(ValueError):
    """A quantity that cannot be read; the text is one sentence that says what would be right."""


@dataclass(frozen=True, slots=True)
class Unit:
    """One row: value in the base unit of its quantity = number * factor + offset."""

    symbol: str
    quantity: str
    factor: float
    offset: float = 0.0
    aliases: tuple[str, ...] = ()


_IN = 25.4
_FT = 0.3048
_LB = 0.45359237
_GAL = 3.785411784
_GAL_IMP = 4.54609
_CUFT_L = (_FT * 10) ** 3
_PSI = _LB * 9.80665 / (_IN / 1000) ** 2 / 1000
_BTU_KJ = 1.05505585262
_HP = 0.745699871582270

TABLE: tuple[Unit, ...] = (
    Unit("mm", "length", 1.0, aliases=("millimetre", "millimeter")),
    Unit("cm", "length", 10.0),
    Unit("m", "length", 1000.0, aliases=("metre", "meter", "metres", "meters")),
    Unit("um", "length", 0.001, aliases=("µm", "μm", "micron")),
    Unit("in", "length", _IN, aliases=('"', "inch", "inches")),
    Unit("ft", "length", _FT * 1000, aliases=("foot", "feet")),
    Unit("km", "distance", 1.0),
    Unit("mi", "distance", 1.609344, aliases=("mile", "miles")),
    Unit("m2", "area", 1.0, aliases=("m²", "m^2")),
    Unit("cm2", "area", 1e-4, aliases=("cm²", "cm^2")),
    Unit("ft2", "area", _FT**2, aliases=("ft²", "sqft", "ft^2")),
    Unit("L", "volume", 1.0, aliases=("l", "litre", "litres", "liter", "liters", "ltr", "L air")),
    Unit("mL", "volume", 0.001, aliases=("ml",)),
    Unit("m3", "volume", 1000.0, aliases=("m³", "m^3", "m3 air")),
    Unit("gal", "volume", _GAL, aliases=("gallon", "gallons", "US gal", "gal_us")),
    Unit("gal_imp", "volume", _GAL_IMP, aliases=("imp gal", "imperial gallon")),
    Unit("ft3", "volume", _CUFT_L, aliases=("ft³", "cuft", "cu ft")),
    Unit("L/min", "flow", 1.0, aliases=("l/min", "lpm", "L/min free", "litres/min")),
    Unit("L/s", "flow", 60.0, aliases=("l/s",)),
    Unit("L/h", "flow", 1 / 60, aliases=("l/h",)),
    Unit("m3/h", "flow", 1000 / 60, aliases=("m³/h", "m^3/h")),
    Unit("m3/s", "flow", 60_000.0, aliases=("m³/s",)),
    Unit("gpm", "flow", _GAL, aliases=("gal/min", "US gpm")),
    Unit("cfm", "flow", _CUFT_L, aliases=("ft3/min", "CFM")),
    Unit("L/d", "daily volume", 1.0, aliases=("L/day", "l/d", "l/day")),
    Unit("gal/d", "daily volume", _GAL, aliases=("gal/day",)),
    Unit("L/year", "yearly volume", 1.0),
    Unit("gal/year", "yearly volume", _GAL),
    Unit("kPa", "pressure", 1.0, aliases=("kpa", "kPa liquid")),
    Unit("Pa", "pressure", 0.001),
    Unit("MPa", "pressure", 1000.0),
    Unit("bar", "pressure", 100.0),
    Unit("mbar", "pressure", 0.1),
    Unit("psi", "pressure", _PSI, aliases=("psig", "lb/in2")),
    Unit("inHg", "pressure", 3.386389, aliases=("in Hg", '"Hg', "inhg")),
    Unit("1/kPa", "share a pressure", 1.0),
    Unit("1/inHg", "share a pressure", 1 / 3.386389),
    Unit("degC", "temperature", 1.0, aliases=("°C", "C", "celsius", "deg C")),
    Unit("degF", "temperature", 5 / 9, -160 / 9, aliases=("°F", "F", "fahrenheit", "deg F")),
    Unit("K", "temperature difference", 1.0, aliases=("kelvin", "degC difference")),
    Unit("degF difference", "temperature difference", 5 / 9, aliases=("F difference",)),
    Unit("kW", "power", 1.0, aliases=("kw", "kW motor", "kW cold")),
    Unit("W", "power", 0.001, aliases=("w", "watt")),
    Unit("hp", "power", _HP, aliases=("HP", "horsepower")),
    Unit("Btu/h", "power", _BTU_KJ / 3600, aliases=("BTU/h", "btu/h")),
    Unit("kVA", "apparent power", 1.0, aliases=("kva",)),
    Unit("VA", "apparent power", 0.001),
    Unit("kWh", "energy", 1.0, aliases=("kwh", "kWh cold")),
    Unit("kWh/d", "energy a day", 1.0, aliases=("kWh/d cold",)),
    Unit("Btu/d", "energy a day", _BTU_KJ / 3600),
    Unit("MJ", "energy", 1 / 3.6),
    Unit("kJ", "energy", 1 / 3600),
    Unit("Btu", "energy", _BTU_KJ / 3600, aliases=("BTU", "btu")),
    Unit("K/h", "temperature drift", 1.0),
    Unit("degF/h", "temperature drift", 5 / 9),
    Unit("mL/L", "dose", 1.0),
    Unit("oz/gal", "dose", 1000 / 128),
    Unit("L/kWh", "fuel for power", 1.0),
    Unit("gal/kWh", "fuel for power", _GAL),
    Unit("kg/m2", "mass of a surface", 1.0),
    Unit("lb/ft2", "mass of a surface", _LB / _FT**2),
    Unit("L/kg", "water for a mass", 1.0),
    Unit("gal/lb", "water for a mass", _GAL / _LB),
    Unit("1/L", "worth", 1.0),
    Unit("1/gal", "worth", 1 / _GAL),
    Unit("kW/m3", "power for a volume", 1.0),
    Unit("hp/1000 gal", "power for a volume", _HP / _GAL),
    Unit("kW/kg", "power for a mass", 1.0),
    Unit("kW/lb", "power for a mass", 1 / _LB),
    Unit("kWh/kg", "energy for a mass", 1.0),
    Unit("kWh/lb", "energy for a mass", 1 / _LB),
    Unit("1/K", "share a degree", 1.0),
    Unit("1/degF", "share a degree", 1.8),
    Unit("mPa.s", "viscosity", 1.0),
    Unit("cP", "viscosity", 1.0),
    Unit("kWh/1000 L", "energy for milk", 1.0),
    Unit("kWh/1000 gal", "energy for milk", 1 / _GAL),
    Unit("h/1000 L", "work for milk", 1.0),
    Unit("h/1000 gal", "work for milk", 1 / _GAL),
    Unit("L/L", "water for milk", 1.0),
    Unit("gal/gal", "water for milk", 1.0),
    Unit("kg", "mass", 1.0),
    Unit("g", "mass", 0.001),
    Unit("t", "mass", 1000.0, aliases=("tonne", "tonnes")),
    Unit("lb", "mass", _LB, aliases=("lbs", "pound", "pounds")),
    Unit("mS/cm", "conductivity", 1.0),
    Unit("uS/cm", "conductivity", 0.001, aliases=("µS/cm",)),
    Unit("kg/min", "mass flow", 1.0),
    Unit("kg/s", "mass flow", 60.0),
    Unit("kg/h", "mass flow", 1 / 60),
    Unit("lb/min", "mass flow", _LB, aliases=("lbs/min",)),
    Unit("s", "time", 1.0, aliases=("sec", "second", "seconds")),
    Unit("ms", "time", 0.001),
    Unit("min", "time", 60.0, aliases=("minute", "minutes", "mins")),
    Unit("h", "time", 3600.0, aliases=("hour", "hours", "hr", "hrs")),
    Unit("d", "time", 86400.0, aliases=("day", "days")),
    Unit("m/s", "speed", 1.0),
    Unit("ft/s", "speed", _FT),
    Unit("ft/min", "speed", _FT / 60, aliases=("fpm",)),
    Unit("kg/m3", "density", 1.0, aliases=("kg/m³",)),
    Unit("lb/ft3", "density", _LB / _FT**3),
    Unit("N", "force", 1.0),
    Unit("kN", "force", 1000.0),
    Unit("N/m2", "load on a floor", 1.0),
    Unit("kN/m2", "load on a floor", 1000.0),
    Unit("lbf/ft2", "load on a floor", 47.88025898),
    Unit("N/m", "load along a line", 1.0),
    Unit("kN/m", "load along a line", 1000.0),
    Unit("lbf/ft", "load along a line", 14.59390294),
    Unit("lbf", "force", _LB * 9.80665),
    Unit("N.m", "torque", 1.0, aliases=("Nm", "N m")),
    Unit("kN m", "torque", 1000.0, aliases=("kNm", "kN.m")),
    Unit("lbf.ft", "torque", _LB * 9.80665 * _FT, aliases=("lb ft", "ft lb")),
    Unit("rpm", "speed of turning", 1.0, aliases=("1/min", "r/min")),
    Unit("Hz", "speed of turning", 60.0, aliases=("hz",)),
    Unit("W/m2K", "heat transfer", 1.0, aliases=("W/(m2.K)", "W/m2.K")),
    Unit("Btu/hft2F", "heat transfer", _BTU_KJ * 1000 / 3600 / _FT**2 * 1.8),
    Unit("kW/K", "conductance", 1.0),
    Unit("W/K", "conductance", 0.001),
    Unit("Btu/hF", "conductance", _BTU_KJ / 3600 * 1.8),
    Unit("kJ/kgK", "specific heat", 1.0, aliases=("kJ/(kg.K)", "kJ/kg.K")),
    Unit("Btu/lbF", "specific heat", _BTU_KJ / _LB * 1.8),
    Unit("%", "share", 1.0, aliases=("percent", "pct")),
    Unit("V", "voltage", 1.0, aliases=("volt", "volts")),
    Unit("kV", "voltage", 1000.0),
    Unit("A", "current", 1.0, aliases=("amp", "amps")),
)
"""Every unit the product reads or shows."""

US_UNITS: Mapping[str, str] = {
    "mm": "in",
    "m": "ft",
    "km": "mi",
    "m2": "ft2",
    "L": "gal",
    "m3": "gal",
    "L air": "ft3",
    "m3 air": "ft3",
    "m3/s": "cfm",
    "L/min": "gpm",
    "L/min free": "cfm",
    "L/h": "gpm",
    "m3/h": "gpm",
    "L/d": "gal/d",
    "kPa": "inHg",
    "kPa liquid": "psi",
    "bar": "psi",
    "degC": "degF",
    "K": "degF difference",
    "kg": "lb",
    "t": "lb",
    "kg/min": "lb/min",
    "m/s": "ft/s",
    "kg/m3": "lb/ft3",
    "N": "lbf",
    "kN": "lbf",
    "kN/m2": "lbf/ft2",
    "kN/m": "lbf/ft",
    "cm": "in",
    "um": "in",
    "mL": "gal",
    "L/s": "gpm",
    "mbar": "psi",
    "kg/s": "lb/min",
    "kg/h": "lb/min",
    "W/K": "Btu/hF",
    "kW/K": "Btu/hF",
    "kW motor": "hp",
    "kW cold": "Btu/h",
    "kWh cold": "Btu",
    "kWh/d cold": "Btu/d",
    "kW/m3": "hp/1000 gal",
    "kW/kg": "kW/lb",
    "kWh/kg": "kWh/lb",
    "1/K": "1/degF",
    "mPa.s": "cP",
    "1/kPa": "1/inHg",
    "L/year": "gal/year",
    "K/h": "degF/h",
    "mL/L": "oz/gal",
    "1/L": "1/gal",
    "kg/m2": "lb/ft2",
    "L/kg": "gal/lb",
    "L/kWh": "gal/kWh",
    "kWh/1000 L": "kWh/1000 gal",
    "h/1000 L": "h/1000 gal",
    "L/L": "gal/gal",
    "N.m": "lbf.ft",
    "N m": "lbf.ft",
    "kN m": "lbf.ft",
    "MJ": "kWh",
    "W/m2K": "Btu/hft2F",
    "kJ/kgK": "Btu/lbF",
}
"""The unit shown to a US reader in place of a metric one; a unit not named stays as it is."""

_BY_NAME: Mapping[str, Unit] = {
    name: unit for unit in TABLE for name in (unit.symbol, *unit.aliases)
}
_NUMBER = re.compile(r"\s*([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)\s*(.*?)\s*\Z", re.DOTALL)
_COMMA_DECIMAL = re.compile(r"\s*([+-]?\d+),(\d+)(?!\d*,)")
_COMMA_THOUSANDS = re.compile(r"\s*[+-]?\d{1,3}(?:,\d{3})+(?!\d)")


def units_like(name: str) -> tuple[str, ...]:
    """Symbols of every unit that measures the same thing as `name`.

    >>> units_like("kPa")[:3]
    ('kPa', 'Pa', 'MPa')
    """
    unit = _BY_NAME.get(name)
    if unit is None:
        return (name,) if name else ()
    return tuple(row.symbol for row in TABLE if row.quantity == unit.quantity)


_ONE_OF = {"machines": "machine", "cows": "cow", "units": "unit", "stalls": "stall",
           "people": "person", "pumps": "pump", "loads": "load", "lots": "lot"}  # fmt: skip


PER: Mapping[str, str] = {
    "1/h": "per hour", "1/min": "per minute", "1/s": "per second", "1/year": "per year",
    "1/kPa": "per kPa", "1/inHg": "per inHg", "1/K": "per K", "1/degF": "per °F",
    "1/L": "per L", "1/gal": "per gal",
}  # fmt: skip
"""Shares and counts of one, as they stand behind a number."""


def beside(number: str, unit: str) -> str:
    """The unit as it stands behind a printed number: things that are counted are one or many.

    >>> beside("1", "machines"), beside("2", "machines"), beside("1", "kPa"), beside("5", "1/kPa")
    ('machine', 'machines', 'kPa', 'per kPa')
    """
    if unit in PER:
        return PER[unit]
    return _ONE_OF.get(unit, unit) if number == "1" else unit


def convert(value: float, from_unit: str, to_unit: str) -> float:
    """Turn a number from one unit into another of the same quantity.

    Args:
        value: number in `from_unit`.
        from_unit: symbol or alias in `TABLE`.
        to_unit: symbol or alias in `TABLE`.

    Raises:
        UnitError: a unit is unknown, or the two measure different things.

    >>> round(convert(6, "in", "mm"), 6)
    152.4
    >>> round(convert(38, "degF", "degC"), 4)
    3.3333
    """
    if from_unit == to_unit:
        return value
    source, target = _row(from_unit), _row(to_unit)
    if source.quantity != target.quantity:
        raise UnitError(
            f"{from_unit} is a {source.quantity}, not a {target.quantity}; "
            f"write {_list(units_like(to_unit))}"
        )
    if source is target:
        return value
    return (value * source.factor + source.offset - target.offset) / target.factor


def parse_quantity(text: str, unit: str) -> float:
    """Read "150 mm", "6 in" or "150" as a number in the declared unit.

    Args:
        text: a number, with or without a unit; decimal point, no separators.
        unit: the declared unit; one that is not in `TABLE` is accepted only as itself.

    Raises:
        UnitError: the text is not a number, uses a comma, or is in a wrong unit.

    >>> parse_quantity("150 mm", "mm")
    150.0
    >>> round(parse_quantity("2 hp", "kW"), 4)
    1.4914
    """
    _refuse_commas(text, unit)
    match = _NUMBER.match(text)
    if match is None:
        raise UnitError(f"{_quoted(text)} is not a number; write it as {_example(unit)}")
    number, written = float(match.group(1)), match.group(2)
    if not math.isfinite(number):
        raise UnitError(f"{_quoted(text)} is too large; write it as {_example(unit)}")
    if not written or written == unit:
        return number
    if not unit:
        raise UnitError(f"{_quoted(text)} has a unit, but a plain number is expected")
    if unit not in _BY_NAME:
        raise UnitError(f"{_quoted(text)} is in {_quoted(written)}; write it in {unit}")
    if written not in _BY_NAME:
        near = difflib.get_close_matches(written, units_like(unit), n=1, cutoff=0.5)
        hint = f"did you mean {near[0]}? " if near else ""
        raise UnitError(
            f"{_quoted(text)} has an unknown unit {_quoted(written)}; "
            f"{hint}write {_list(units_like(unit))}"
        )
    return convert(number, written, unit)


def typed_number(text: str) -> float:
    """A number as people type a reading, with point or comma.

    >>> typed_number("46,2"), typed_number(" 1 250 "), typed_number("-3.5")
    (46.2, 1250.0, -3.5)

    Raises:
        UnitError: it is none, or may be read in two ways, as 1,250 may.
    """
    bare = re.sub(r"[\s\u00a0\u202f']", "", text).replace("\u2212", "-")
    if ("," in bare and "." in bare) or bare.count(",") > 1:
        raise UnitError(f"{text!r} may be read in two ways; write one decimal sign and no other")
    if re.fullmatch(r"[+-]?[1-9]\d{0,2},\d{3}", bare):
        raise UnitError(
            f"{text!r} may be read in two ways; write {bare.replace(',', '')} or "
            f"{bare.replace(',', '.')}"
        )
    try:
        found = float(bare.replace(",", "."))
    except ValueError:
        raise UnitError(f"{text!r} is not a number") from None
    if not math.isfinite(found):
        raise UnitError(f"{text!r} is not a number")
    return found


def _row(name: str) -> Unit:
    unit = _BY_NAME.get(name)
    if unit is None:
        near = difflib.get_close_matches(name, _BY_NAME, n=1, cutoff=0.5)
        hint = f"; the nearest is {near[0]}" if near else ""
        raise UnitError(f"{_quoted(name)} is not a unit that is known here{hint}")
    return unit


def _refuse_commas(text: str, unit: str) -> None:
    if "," not in text:
        return
    if thousands := _COMMA_THOUSANDS.match(text):
        plain = thousands.group(0).strip().replace(",", "")
        raise UnitError(
            f"{_quoted(text)} has a comma; write {plain} without separators "
            f"(or a decimal point if a fraction is meant), as in {_example(unit)}"
        )
    if decimal := _COMMA_DECIMAL.match(text):
        raise UnitError(
            f"{_quoted(text)} has a decimal comma; write {decimal.group(1)}.{decimal.group(2)}"
        )
    raise UnitError(f"{_quoted(text)} is not a number; write it as {_example(unit)}")


def _quoted(text: str) -> str:
    shown = text if len(text) <= 40 else text[:37] + "..."
    return repr(shown)


def _example(unit: str) -> str:
    return f'"12.5 {unit}" or 12.5' if unit else "12.5"


def _list(symbols: tuple[str, ...]) -> str:
    return symbols[0] if len(symbols) == 1 else ", ".join(symbols[:-1]) + " or " + symbols[-1]
