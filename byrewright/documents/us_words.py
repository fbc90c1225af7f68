"""Quantities inside text, turned into US units: a sentence, a title, a data plate.

Free air becomes cfm, never gpm; heat that is moved becomes Btu; motors become hp.
"""

from __future__ import annotations

import re
from dataclasses import fields, is_dataclass, replace
from typing import TypeVar, cast

from byrewright.documents.format import System
from byrewright.site.checks.catalogue import TESTS
from byrewright.standards.cables import us_size
from byrewright.standards.pipes import trade_in
from byrewright.standards.units import US_UNITS, convert

T = TypeVar("T")
AIR = "L/min free"
MOTOR = "kW motor"
COLD_UNITS = {"kW": "kW cold", "kWh": "kWh cold", "kWh/d": "kWh/d cold"}
"""Units of heat that is moved, which a US reader has in Btu, and of the electricity beside them."""
COLD_KEYS = ("cooling.", "day.refrigeration_hours", "recovery.")
"""Beginnings of the keys of findings and tables whose kW and kWh are of heat."""
NUMBER = r"[-+]?(?:[1-9]\d{0,2}(?:[,\u00a0\u2009]\d{3})+|\d+)(?:\.\d+)?"
_JOINT = r"(?:,? (?:to|and|or|instead of|against|x) |, ?|/|-)"
_UNITS = (
    "kWh/1000 L", "h/1000 L", "L/L", "K/h", "L/min of free air", "L/min free air", AIR, "L/min",
    "L/h",
    "L/d", "L/s", "W/m2K", "kJ/kgK",
    "kg/m3", "kg/min", "kg/h", "kg/s", "kW/K", "W/K", "kN/m2", "kN/m", "kN m", "N.m", "N m", "m3/h",
    "m3/s", "kW/m3", "kW/kg", "kWh/kg", "km", "mPa.s",
    "m/s", "kPa", "mbar",
    "bar", "degC", "mm", "cm", "um", "m2", "m3", "m", "mL/L", "mL", "L", "kg", "kN", "N", "K", "MJ",
    "t",
)  # fmt: skip
"""Metric units as they stand in sentences, longest first where one begins another."""
_ANY = "|".join(re.escape(u) for u in _UNITS)
_QUANTITY = re.compile(
    rf"(?<![\w.])(?<!\d,)({NUMBER}(?:{_JOINT}{NUMBER})*)( ?)({_ANY})(?![A-Za-z0-9²³])"
)
_BEFORE, _THOUSANDS = re.compile(r"(?<![\w.])\d{1,3} $"), re.compile(r"\d{3}(?!\d)")
_PER = re.compile(rf"(?<![\w.])({NUMBER}) (per|a|1/) ?(kPa|K|degC)(?![A-Za-z0-9])")
_EACH = re.compile(r"\b(each|per) (kPa|K|degC|kg(?= of dry)|m3(?= of a tank))(?![A-Za-z0-9])")
_EACH_OF = {"kg": "lb", "m3": "1000 gal"}
"""What a figure is told for, where it is by mass or volume."""
_MOTORS = re.compile(rf"(?<=motor of )({NUMBER}(?:-{NUMBER})?) kW(?![A-Za-z0-9/])")
_MOTOR = re.compile(rf"(?<![\w.])({NUMBER}(?:{_JOINT}{NUMBER})*) kW(?![A-Za-z0-9/])")
_OFF = rf"plus or minus {NUMBER}"
_LEANS = re.compile(
    rf"({NUMBER}) ({_ANY})(?: ({_OFF}))?(?:; predicted ({NUMBER}), difference ({NUMBER}))?"
    rf"(?: lies within ({_OFF}))?(?![\w/])"
)
"""A measured value, and numbers behind it that lean on its unit."""
_READS = re.compile(
    rf"\b(\w+)((?:@\S+)?) reads ({NUMBER}) ({_ANY}); with it ({NUMBER}), usually ({NUMBER})"
)
"""A reading as a diagnosis tells it: the test's key, and what a fault would make of it."""
_FITTED = re.compile(rf"({NUMBER}) ({_ANY}) \(({NUMBER} to {NUMBER})\)(?=, by )")
"""A figure fitted to readings, with its interval."""
_AWAY = re.compile(
    rf"((?:plus or minus|difference|uncertainty of|instrument within) {NUMBER}) degC"
)
"""Differences of temperature."""
_LITRES = re.compile(rf"(?<![\w.])({NUMBER}) litres\b")
_SECTION, _NUMERIC = re.compile(rf"(?<![\w.])({NUMBER}) mm2\b"), re.compile(NUMBER)
_COLD = re.compile(rf"(?<![\w.])({NUMBER}(?:{_JOINT}{NUMBER})*) (kWh?(?:/d)?)(?![A-Za-z0-9/])")
_OF_HEAT = re.compile(_COLD.pattern + r"(?= of (?:heat|cold|ice)\b)")
_ROOM_AIR = re.compile(rf"(?<![\w.])({NUMBER}) m3(?= of air\b)")
"""Heat that is moved, whatever the finding."""
LIQUID = "kPa liquid"
_PRESSED = re.compile(rf"(?<![\w.])({NUMBER}) kPa(?! of vacuum)(?![A-Za-z0-9/])")
_MM = re.compile(rf"(?<![\w.])({NUMBER}) mm(?![A-Za-z0-9²³])")
_BORE = re.compile(
    rf"(?<=\bbore )({NUMBER}) mm(?![A-Za-z0-9²³])|"
    rf"(?<![\w.])({NUMBER}) mm(?= (?:and up to \d+ mm )?bore)"
)
_PLATE = re.compile(
    rf"\b(capacity|motor|agitator|duty|cooling|store) ({NUMBER}) (L/min|kWh?)"
    rf"(?: becomes ({NUMBER}) \3| \(({NUMBER}) to ({NUMBER})\)(?=, by ))?(?![A-Za-z0-9/])(?! of)"
)
"""Figures of a data plate, as `byrewright.studies.count` words them."""
_BECOMES = re.compile(rf"(?<![\w.])({NUMBER}) becomes ({NUMBER}) ({_ANY}|kWh?)(?![A-Za-z0-9/])")
_BORES = re.compile(rf"\bbore ({NUMBER}) mm becomes ({NUMBER}) mm(?![A-Za-z0-9])")
"""What was and what is, told with one unit."""
_AIRY = re.compile(r"\bair\b|vacuum|regulator|draws?\b|leak|unit open|fall-?off|kicked off")
_OF_AIR = re.compile(r" of (?:\w+ )?air\b")
WET = re.compile(r"\bmilk\b|water|wash|liquid|coolant|glycol")
SAID = {"degF difference": "degF", "Btu/hft2F": "Btu/(h ft2 F)", "Btu/lbF": "Btu/(lb F)",
         "lbf.ft": "lbf ft", "Btu/hF": "Btu/(h F)"}  # fmt: skip
_WORDS = {", whole metres": ", rounded up", "; whole metres": ", rounded up",
          "a metre of": "a foot of", "a kilometre of": "a mile of"}  # fmt: skip
"""Words of a metric reader, and what a US reader is told instead."""
SECTION = "mm2"
"""The unit of a cable's section, which US readers have by gauge."""
SIDES = ("m", "mm", "cm")
"""Units of which several numbers with an x between are the sides of one thing."""
AIR_GROUPS = ("Vacuum and airflow", "Milking units", "Compressed air")
"""Groups of tests whose L/min are of free air."""
AIR_TESTS = {
    f.key: f.title
    for test in TESTS.values() if test.group in AIR_GROUPS
    for f in test.figures if f.unit == "L/min" and not f.piped
}  # fmt: skip
"""Such figures, by key, with their titles."""
AIR_KEYS = (
    "vacuum.", "air.", "failures.", "practice.",
    *(f"{study}.{key}" for study in ("as_measured", "measured") for key in AIR_TESTS),
)  # fmt: skip
"""Beginnings of the keys of findings whose bare L/min is free air, unless the words say milk."""


def text_in(
    text: str, system: System, *, air: bool | None = False, motor: bool = False, cold: bool = False,
    pressed: bool = False, pipes: bool = False,
) -> str:  # fmt: skip
    """A sentence in the reader's units.

    `air`: a flow that the words leave open is free air; None: every flow is of liquid that is not
    said to be "of air". `motor`: kW are those of a motor; `cold`: kW and kWh are of heat.
    `pressed`: kPa that are not said to be of vacuum are of a liquid or of compressed air. `pipes`:
    mm are bores, told by the size that they are bought under.

    >>> text_in("4 to 6 degC, 100 mm; 6200 L/min of free air, 12 L/min of milk", "US")
    '39.2 to 42.8 degF, 3.94 in; 219 cfm of free air, 3.17 gpm of milk'
    >>> text_in("a slab of 3 x 4 m for 2 x 100 L, 6 kN/m2", "US")
    'a slab of 9.84 x 13.1 ft for 2 x 26.4 gal, 125 lbf/ft2'
    """
    if system != "US":
        return text
    for metric, plain in _WORDS.items():
        text = text.replace(metric, plain)
    text = _BECOMES.sub(r"\1 \3 becomes \2 \3", text)
    text = _BORES.sub(
        lambda m: f"bore {bore_said(float(m[1]))} becomes {bore_said(float(m[2]))}", text
    )
    text = _PLATE.sub(_plated, text)
    text = (_COLD if cold else _OF_HEAT).sub(_heat, text)
    text = _MOTORS.sub(lambda m: _turned(m[1], "kW", "hp"), text)
    if motor:
        text = _MOTOR.sub(lambda m: _turned(m[1], "kW", "hp"), text)
    text = _AWAY.sub(
        r"\1 K", _LEANS.sub(_with_units, _READS.sub(_reads, _FITTED.sub(r"\1 \2 (\3 \2)", text)))
    )
    text = _LITRES.sub(lambda m: f"{_rounded(convert(value_of(m[1]), 'L', 'gal'))} gallons", text)
    text = re.sub(r"\b[Ll]itres\b", lambda m: "Gallons" if m[0][0] == "L" else "gallons", text)
    text = _SECTION.sub(lambda m: us_size(float(m[1])), text)
    text = _EACH.sub(_each, _PER.sub(_per, text))
    text = _ROOM_AIR.sub(lambda m: _turned(m[1], "m3 air", US_UNITS["m3 air"]), text)
    text = (_MM if pipes else _BORE).sub(_bore, text)
    if pressed:
        text = _PRESSED.sub(lambda m: _turned(m[1], LIQUID, US_UNITS[LIQUID]), text)
    return _QUANTITY.sub(lambda m: _one(m, text, air), text)


def _with_units(m: re.Match[str]) -> str:
    """A measured value, each number with its unit."""
    value, unit, off, told, gap, within = m.groups()
    words = f"{value} {unit}" + (f" {off} {unit}" if off else "")
    if told:
        words += f"; predicted {told} {unit}, difference {gap} {unit}"
    return words + (f" lies within {within} {unit}" if within else "")


def _reads(m: re.Match[str]) -> str:
    """A reading in a diagnosis, each number with its unit."""
    key, at, value, unit, then, usual = m.groups()
    unit = AIR if unit == "L/min" and key in AIR_TESTS else unit
    return f"{key}{at} reads {value} {unit}; with it {then} {unit}, usually {usual} {unit}"


def _rounded(value: float) -> str:
    """A large number to three figures, its thousands set apart."""
    return f"{float(f'{value:.3g}'):,.0f}"


def _plated(m: re.Match[str]) -> str:
    """A figure of a data plate: a capacity is of free air, a duty is of cold."""
    name, value, unit, now, low, high = m.groups()

    def said(number: str) -> str:
        if unit == "L/min":
            return _turned(number, AIR, US_UNITS[AIR])
        if name in ("motor", "agitator"):
            return _turned(number, "kW", US_UNITS[MOTOR])
        return _heat_of(number, unit)

    if (name == "capacity") != (unit == "L/min"):
        return m[0]
    told = f"{name} {said(value)}"
    if low:
        return f"{told} ({said(low)} to {said(high)})"
    return told + (f" becomes {said(now)}" if now else "")


def bore_in(mm: float, unit: str = "") -> str:
    """A bore without its unit: the size that it is bought under, else thousandths of an inch, by
    which no two bores are alike; with them, where another bore goes by the size alone.

    >>> bore_in(60.2), bore_in(65.0), bore_in(73.0), bore_in(66.8), bore_in(50.8)
    ('2 1/2 OD', '2 1/2', '3 OD (2.874)', '2.630', '2.000')
    """
    true, found = f"{convert(mm, 'mm', 'in'):.3f}{unit}", trade_in(mm)
    if found is None:
        return true
    size, kind, alone = found
    return f"{size}{unit}{kind}" + ("" if alone else f" ({true})")


def bore_said(mm: float) -> str:
    """A bore with its unit, in words.

    >>> bore_said(60.2), bore_said(73.0), bore_said(66.8)
    ('2 1/2 in OD', '3 in OD (2.874 in)', '2.630 in')
    """
    return bore_in(mm, " in")


def _bore(m: re.Match[str]) -> str:
    return bore_said(value_of(next(g for g in m.groups() if g)))


def _heat(m: re.Match[str]) -> str:
    return _heat_of(m[1], m[2])


def _heat_of(numbers: str, unit: str) -> str:
    """Heat that is moved, to three figures."""
    other = US_UNITS[COLD_UNITS[unit]]
    said = re.sub(NUMBER, lambda n: _rounded(convert(value_of(n[0]), unit, other)), numbers)
    return f"{said} {other}"


def section_in(words: str, system: System) -> str:
    """Sections of cable as they stand in a column for them.

    >>> section_in("2 x 240", "US"), section_in("ask", "US"), section_in("2.5", "metric")
    ('2 x 500 kcmil', 'ask', '2.5')
    """
    many, _, last = words.rpartition(" ")
    if system != "US" or not _NUMERIC.fullmatch(last):
        return words
    return f"{many} {us_size(float(last))}".strip()


def _one(m: re.Match[str], text: str, air: bool | None) -> str:
    unit = m[3]
    tail = ""
    if _THOUSANDS.match(m[1]) and _BEFORE.search(text[: m.start()]):
        return m[0]  # the end of a number whose thousands stand apart: rather left as it is
    if unit.startswith("L/min "):
        tail = unit.removeprefix("L/min").replace(" free", "", 1) if unit == AIR else unit[5:]
        unit = AIR
    elif unit == "L/min" and _is_air(text, m.start(), m.end(), air):
        unit = AIR
    other = US_UNITS.get(unit)
    if other is None:
        return m[0]
    many, numbers = "", m[1]
    if " x " in numbers and unit not in SIDES:  # so many, each of the unit
        many, _, numbers = numbers.rpartition(" x ")
        many += " x "
    return many + _turned(numbers, unit, other) + tail


def _is_air(text: str, start: int, end: int, air: bool | None) -> bool:
    """Whether a flow is of air: by the words of its own clause, else as the finding says."""
    if _OF_AIR.match(text, end):
        return True
    if air is None:
        return False
    begin = max(text.rfind(c, 0, start) for c in ".;:") + 1
    ends = [e for e in (text.find(c, end) for c in (". ", ";", ":")) if e >= 0]
    clause = text[begin : min(ends, default=len(text))]
    airy, wet = _AIRY.search(clause), WET.search(clause)
    return bool(airy) if bool(airy) != bool(wet) else air


def _turned(numbers: str, unit: str, other: str) -> str:
    said = re.sub(
        NUMBER,
        lambda n: (
            n[0][0].removeprefix("-").strip("0123456789")
            + short(convert(value_of(n[0]), unit, other))
        ),
        numbers,
    )
    return f"{said} {SAID.get(other, other)}"


def value_of(number: str) -> float:
    """A number whose thousands may be set apart."""
    return float(re.sub("[,\u00a0\u2009]", "", number))


def _per(m: re.Match[str]) -> str:
    unit = "K" if m[3] == "degC" else m[3]
    other = US_UNITS[unit]
    each = convert(1.0, unit, other)
    return f"{short(float(m[1]) / each)} {m[2]} {SAID.get(other, other)}".replace("1/ ", "1/")


def _each(m: re.Match[str]) -> str:
    if m[2] in _EACH_OF:
        return f"{m[1]} {_EACH_OF[m[2]]}"
    other = US_UNITS["K" if m[2] == "degC" else m[2]]
    return f"{m[1]} {SAID.get(other, other)}"


def short(value: float) -> str:
    """A turned number with the digits that anybody reads."""
    size = abs(value)
    digits = 0 if size >= 100 else 1 if size >= 10 else 2 if size >= 1 else 3
    text = f"{value:.{digits}f}"
    return (text.rstrip("0").rstrip(".") if "." in text else text) or "0"


def words_in(thing: T, system: System) -> T:
    """Anything that holds words (a tuple, a mapping, a record), every word of it turned."""
    if system != "US":
        return thing
    return cast(T, _words_of(thing))


def _words_of(thing: object) -> object:
    if isinstance(thing, str):
        return text_in(thing, "US")
    if isinstance(thing, tuple):
        return tuple(map(_words_of, thing))
    if isinstance(thing, dict):
        return {k: _words_of(v) for k, v in thing.items()}
    if is_dataclass(thing) and not isinstance(thing, type):
        return replace(thing, **{f.name: _words_of(getattr(thing, f.name)) for f in fields(thing)})
    return thing
