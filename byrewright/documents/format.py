"""Numbers and units as people read them: the one place where a value becomes words."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from typing import Literal

from byrewright.plant.machine import Machine
from byrewright.plant.record import Record
from byrewright.results import Finding
from byrewright.standards.sources import SOURCES
from byrewright.standards.units import US_UNITS, UnitError, beside, convert

System = Literal["metric", "US"]

_DRAWN: ContextVar[System] = ContextVar("drawn_in", default="metric")


@contextmanager
def drawn_in(system: System) -> Iterator[None]:
    """Draw with the sizes in a system of units until the block ends."""
    token = _DRAWN.set(system)
    try:
        yield
    finally:
        _DRAWN.reset(token)


def drawn_system() -> System:
    """The system of units that drawings are lettered in."""
    return _DRAWN.get()


_SIGNS = {
    "degC": "°C",
    "degF": "°F",
    "degF difference": "°F",
    "m2": "m²",
    "mm2": "mm²",
    "m3": "m³",
    "ft2": "ft²",
    "m3/h": "m³/h",
    "kg/m3": "kg/m³",
    "W/m2/K": "W/(m²·K)",
    "W/m2K": "W/(m²·K)",
    "N.m": "N·m",
    "in": "in",
    "um": "µm",
}
A_YEAR = " a year"
"""What stands behind the unit of a trend."""
THIN = "\u2009"
NO_BREAK = "\u00a0"


def number(value: float | int | str | None) -> str:
    """A number with the digits an engineer reads; words stay as they are, a missing one is a dash.

    >>> number(6200.0), number(12.345), number(0.5), number(0.01234), number(-0.0)
    ('6200', '12.3', '0.5', '0.0123', '0')
    >>> number(58000) == "58" + THIN + "000"
    True
    """
    if value is None:
        return "-"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, str):
        return value
    if not math.isfinite(value):
        return "-"
    size = abs(value)
    if size >= 100 or value == int(value):
        text = f"{value:.0f}"
    elif size >= 10:
        text = f"{value:.1f}"
    elif size >= 1:
        text = f"{value:.2f}"
    elif size >= 0.001:
        text = f"{value:.{2 - math.floor(math.log10(size))}f}"
    else:
        text = f"{value:.3g}"
    if "." in text and "e" not in text:
        text = text.rstrip("0").rstrip(".")
    if text in ("-0", ""):
        text = "0"
    sign, digits = ("-", text[1:]) if text.startswith("-") else ("", text)
    if digits.isdigit() and len(digits) > 4:
        digits = re.sub(r"(?<=\d)(?=(\d{3})+$)", THIN, digits)
    return sign + digits


def shown(value: float, unit: str, system: System = "metric") -> tuple[float, str]:
    """Value and unit in the reader's system of units.

    >>> shown(100.0, "mm", "US")[1]
    'in'
    """
    if unit.endswith(A_YEAR) and system == "US":
        own = unit.removesuffix(A_YEAR)
        value, unit = shown(value, {"degC": "K"}.get(own, own), system)
        return value, unit + A_YEAR
    other = US_UNITS.get(unit) if system == "US" else None
    if other is None:
        return value, unit
    try:
        return convert(value, unit, other), other
    except UnitError:
        return value, unit


def unit_sign(unit: str, system: System = "metric") -> str:
    """The unit as it is printed.

    >>> unit_sign("degC"), unit_sign("mm", "US")
    ('°C', 'in')
    """
    name = US_UNITS.get(unit, unit) if system == "US" else unit
    return _SIGNS.get(name, name)


def quantity(value: float | int | str | None, unit: str, system: System = "metric") -> str:
    """A value with its unit, kept on one line.

    >>> quantity(6.5, "degC") == "6.5" + NO_BREAK + "°C"
    True
    """
    if value is None or isinstance(value, str | bool) or not math.isfinite(value):
        return number(value)
    turned, name = shown(value, unit, system)
    text = number(turned)
    sign = beside(text, _SIGNS.get(name, name))
    return text + (NO_BREAK + sign if sign else "")


def room(one: Finding, system: System = "metric") -> str:
    """By how much a finding is inside its limit: a share of the limit, or kelvin of a temperature,
    of which a share says nothing.

    >>> wall = Finding("k", "", "t", 2.56, "degC", "s", "holds", "at_least", -0.52, 5.92)
    >>> room(wall) == "+3.1" + NO_BREAK + "K"
    True
    """
    if one.margin is None or one.limit is None or one.unit != "degC":
        return percent(one.margin)
    gap, name = shown(one.margin * abs(one.limit), "K", system)
    return f"{gap:+.1f}{NO_BREAK}{_SIGNS.get(name, name)}"


def percent(share: float | None) -> str:
    """A share as a signed percentage: a margin.

    >>> percent(0.1), percent(-0.034)
    ('+10 %', '-3.4 %')
    """
    if share is None or not math.isfinite(share):
        return "-"
    value = share * 100
    if abs(value) > MOST_PERCENT:
        return f"{'> +' if value > 0 else '< -'}{MOST_PERCENT} %"
    digits = 0 if abs(value) >= 10 or value == round(value) else 1
    return f"{value:+.{digits}f} %" if round(value, digits) else "0 %"


OF_WHAT = {"motor_kw": "kW motor", "duty_kw": "kW cold", "cooling_kw": "kW cold",
           "store_kwh": "kWh cold"}  # fmt: skip
"""Units of fields by what their power is of, as a US reader has them."""
MOST_PERCENT = 999  # beyond it the figure says nothing more

KEY_FIELDS = (
    "stalls",
    "capacity_l_min_free",
    "flow_l_min",
    "volume_l",
    "area_m2",
    "duty_kw",
    "heater_kw",
    "store_kwh",
    "supply_kva",
    "rating_kva",
    "load_kg",
    "bore_mm",
    "rated_kn",
    "motor_kw",
)
"""The field that says most about a machine: the first of these that it has."""


def key_figure(machine: Machine, system: System = "metric") -> str:
    """A machine's main figure, such as "6200 L/min"; empty where it has none."""
    for name in KEY_FIELDS:
        value = getattr(machine, name, None)
        if isinstance(value, int | float) and not isinstance(value, bool):
            return quantity(value, key_unit(machine, name, system), system)
    return ""


def key_unit(owner: Record, name: str, system: System = "US") -> str:
    """The unit of a field of the plant file, to a US reader with what its flow or power is of."""
    unit = type(owner).unit_of(name) or _word(name)
    if system == "US":
        unit = power_unit(owner) if name == "motor_kw" else OF_WHAT.get(name, unit)
    return f"{unit} free" if name.endswith("_free") else unit


def power_unit(machine: Record) -> str:
    """The unit of what a machine takes: that of a motor where it has one."""
    own = [p for p in type(machine).parameters() if p.unit == "kW" and "motor" in p.meaning]
    return "kW motor" if own else "kW"


def _word(name: str) -> str:
    return "stalls" if name == "stalls" else ""


def prose(text: str) -> str:
    """A sentence with its unit signs as they are printed.

    >>> prose("8 degC, 15 m3")
    '8 °C, 15 m³'
    """
    text = re.sub(r"\bdeg([CF])\b", r"°\1", text)
    return re.sub(
        r"((?<=\d )|(?<=N/)|(?<=f/)|(?<=\dm ))(m|ft)([23])\b",
        lambda m: m[2] + ("²" if m[3] == "2" else "³"), text,
    )  # fmt: skip


def words(name: str) -> str:
    """A name out of the file as words.

    >>> words("direct_expansion")
    'direct expansion'
    """
    return name.replace("_", " ")


def source_title(text: str) -> str:
    """A source's title where `text` is a key, else the text itself."""
    source = SOURCES.get(text)
    return source.title if source else text
