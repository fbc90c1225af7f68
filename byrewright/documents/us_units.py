"""What people read, turned into US units: sentences, notes, and the words in tables.

Numbers with a unit of their own are turned where they are printed (`format.quantity`); here the
quantities inside text are found and turned. Free air becomes cfm, never gpm; motors become hp.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import fields, is_dataclass, replace
from typing import TypeVar, cast

from byrewright.documents.format import OF_WHAT, System
from byrewright.results import Finding, Result, Series, Table
from byrewright.site.checks.catalogue import TESTS
from byrewright.standards.cables import us_size
from byrewright.standards.units import US_UNITS, convert
from byrewright.studies.explain import Explanation, explain

T = TypeVar("T")
AIR = "L/min free"
MOTOR = "kW motor"
COLD_UNITS = {"kW": "kW cold", "kWh": "kWh cold"}
"""Units of heat that is moved, which a US reader has in Btu, and of the electricity beside them."""
COLD_KEYS = ("cooling.", "day.refrigeration_hours")
"""Beginnings of the keys of findings and tables whose kW and kWh are of heat."""
COLD_MEANS = re.compile(r"\bcold\b|out of the milk|^store of ice|^ice it")
"""Meanings of fields whose kW and kWh are of heat."""
THERMAL = ", thermal"
"""The end of a row's name whose kW are of heat."""
_NUMBER = r"[-+]?(?:[1-9]\d{0,2}(?:[,\u00a0]\d{3})+|\d+)(?:\.\d+)?"
_JOINT = r"(?:,? (?:to|and|or|instead of|against|x) |, ?|/|-)"
_UNITS = (
    "kWh/1000 L", "h/1000 L", "L/L", "K/h", "L/min of free air", "L/min free air", AIR, "L/min",
    "L/h",
    "L/d", "L/s", "W/m2K", "kJ/kgK",
    "kg/m3", "kg/min", "kg/h", "kg/s", "kW/K", "W/K", "kN/m2", "kN/m", "kN m", "N.m", "m3/h",
    "m/s", "kPa", "mbar",
    "bar", "degC", "mm", "cm", "um", "m2", "m3", "m", "mL/L", "mL", "L", "kg", "kN", "N", "K", "MJ",
    "t",
)  # fmt: skip
"""Metric units as they stand in sentences, longest first where one begins another."""
_ANY = "|".join(re.escape(u) for u in _UNITS)
_QUANTITY = re.compile(
    rf"(?<![\w.])(?<!\d,)({_NUMBER}(?:{_JOINT}{_NUMBER})*)( ?)({_ANY})(?![A-Za-z0-9²³])"
)
_BEFORE, _THOUSANDS = re.compile(r"(?<![\w.])\d{1,3} $"), re.compile(r"\d{3}(?!\d)")
_PER = re.compile(rf"(?<![\w.])({_NUMBER}) (per|a|1/) ?(kPa|K|degC)(?![A-Za-z0-9])")
_EACH = re.compile(r"\b(each|per) (kPa|K|degC)(?![A-Za-z0-9])")
_MOTOR = re.compile(rf"(?<![\w.])({_NUMBER}(?:{_JOINT}{_NUMBER})*) kW(?![A-Za-z0-9/])")
_OFF = rf"plus or minus {_NUMBER}"
_LEANS = re.compile(
    rf"({_NUMBER}) ({_ANY})(?: ({_OFF}))?(?:; predicted ({_NUMBER}), difference ({_NUMBER}))?"
    rf"(?: lies within ({_OFF}))?(?![\w/])"
)
"""A measured value, and numbers behind it that lean on its unit."""
_READS = re.compile(
    rf"\b(\w+)((?:@\S+)?) reads ({_NUMBER}) ({_ANY}); with it ({_NUMBER}), usually ({_NUMBER})"
)
"""A reading as a diagnosis tells it: the test's key, and what a fault would make of it."""
_FITTED = re.compile(rf"({_NUMBER}) ({_ANY}) \(({_NUMBER} to {_NUMBER})\)(?=, by )")
"""A figure fitted to readings, with its interval."""
_AWAY = re.compile(
    rf"((?:plus or minus|difference|uncertainty of|instrument within) {_NUMBER}) degC"
)
"""Differences of temperature."""
_LITRES = re.compile(rf"(?<![\w.])({_NUMBER}) litres\b")
_SECTION, _NUMERIC = re.compile(rf"(?<![\w.])({_NUMBER}) mm2\b"), re.compile(_NUMBER)
_COLD = re.compile(rf"(?<![\w.])({_NUMBER}(?:{_JOINT}{_NUMBER})*) (kWh?)(?![A-Za-z0-9/])")
_PLATE = re.compile(
    rf"\b(capacity|motor|duty|cooling|store) ({_NUMBER}) (L/min|kWh?)(?![A-Za-z0-9/])(?! of)"
)
"""Figures of a data plate, as `byrewright.studies.count` words them."""
_AIRY = re.compile(r"\bair\b|vacuum|regulator|draws?\b|leak|unit open|fall-?off|kicked off")
_OF_AIR = re.compile(r" of (?:\w+ )?air\b")
WET = re.compile(r"\bmilk\b|water|wash|liquid|coolant|glycol")
_SAID = {"degF difference": "degF", "Btu/hft2F": "Btu/(h ft2 F)", "Btu/lbF": "Btu/(lb F)",
         "lbf.ft": "lbf ft", "Btu/hF": "Btu/(h F)"}  # fmt: skip
_WORDS = {", whole metres": ", rounded up", "; whole metres": ", rounded up"}
"""Words of a metric reader, and what a US reader is told instead."""
SECTION = "mm2"
"""The unit of a cable's section, which US readers have by gauge."""
SIDES = ("m", "mm", "cm")
"""Units of which several numbers with an x between are the sides of one thing."""
BARE = ("limit", "value", "predicted", "here")
"""Columns whose cells are a number alone, in the unit that the row names."""
AIR_GROUPS = ("Vacuum and airflow", "Milking units", "Compressed air")
"""Groups of tests whose L/min are of free air."""
EITHER = "back_flow"
"""A figure of air or of liquid, as the valve is that it is read at."""
AIR_TESTS = {
    f.key: f.title
    for test in TESTS.values() if test.group in AIR_GROUPS
    for f in test.figures if f.unit == "L/min" and f.key != EITHER
}  # fmt: skip
"""Such figures, by key, with their titles."""
AIR_KEYS = (
    "vacuum.", "air.", "failures.", "practice.",
    *(f"{study}.{key}" for study in ("as_measured", "measured") for key in AIR_TESTS),
)  # fmt: skip
"""Beginnings of the keys of findings whose bare L/min is free air, unless the words say milk."""


DIFFERENCES = ("plus or minus", "difference", "a year")
"""Columns that hold a difference of what the row's unit measures."""
NO_UNIT = ("readings", "shape", "failed", "worn", "good", "number", "count")
"""Columns of plain counts, whatever unit a row names."""
COUNTED = {"litres": "L"}
"""Units of counters as they are named, and as what they are."""
LIQUID_KEYS = ("delivery.", "receiving.", "cooling.", "chilled.", "water.", "storage.")
"""Beginnings of the keys of findings whose L/min are of liquid, whatever vacuum is spoken of."""


def text_in(
    text: str, system: System, *, air: bool | None = False, motor: bool = False, cold: bool = False
) -> str:
    """A sentence in the reader's units.

    `air`: a flow that the words leave open is free air; None: every flow is of liquid that is not
    said to be "of air". `motor`: kW are those of a motor; `cold`: kW and kWh are of heat.

    >>> text_in("4 to 6 degC, 100 mm; 6200 L/min of free air, 12 L/min of milk", "US")
    '39.2 to 42.8 degF, 3.94 in; 219 cfm of free air, 3.17 gpm of milk'
    >>> text_in("a slab of 3 x 4 m for 2 x 100 L, 6 kN/m2", "US")
    'a slab of 9.84 x 13.1 ft for 2 x 26.4 gal, 125 lbf/ft2'
    """
    if system != "US":
        return text
    for metric, plain in _WORDS.items():
        text = text.replace(metric, plain)
    text = _PLATE.sub(_plated, text)
    if cold:
        text = _COLD.sub(_heat, text)
    if motor:
        text = _MOTOR.sub(lambda m: _turned(m[1], "kW", "hp"), text)
    text = _AWAY.sub(
        r"\1 K", _LEANS.sub(_with_units, _READS.sub(_reads, _FITTED.sub(r"\1 \2 (\3 \2)", text)))
    )
    text = _LITRES.sub(lambda m: f"{_rounded(convert(_value(m[1]), 'L', 'gal'))} gallons", text)
    text = re.sub(r"\b[Ll]itres\b", lambda m: "Gallons" if m[0][0] == "L" else "gallons", text)
    text = _SECTION.sub(lambda m: us_size(float(m[1])), text)
    text = _EACH.sub(_each, _PER.sub(_per, text))
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
    name, value, unit = m.groups()
    if unit == "L/min":
        return f"{name} {_turned(value, AIR, US_UNITS[AIR])}" if name == "capacity" else m[0]
    if name == "motor":
        return f"{name} {_turned(value, 'kW', US_UNITS[MOTOR])}"
    return m[0] if name == "capacity" else f"{name} {_heat_of(value, unit)}"


def _heat(m: re.Match[str]) -> str:
    return _heat_of(m[1], m[2])


def _heat_of(numbers: str, unit: str) -> str:
    """Heat that is moved, to three figures."""
    other = US_UNITS[COLD_UNITS[unit]]
    said = re.sub(_NUMBER, lambda n: _rounded(convert(_value(n[0]), unit, other)), numbers)
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
        _NUMBER,
        lambda n: (
            n[0][0].removeprefix("-").strip("0123456789")
            + _short(convert(_value(n[0]), unit, other))
        ),
        numbers,
    )
    return f"{said} {_SAID.get(other, other)}"


def _value(number: str) -> float:
    """A number whose thousands may be set apart."""
    return float(number.replace(",", "").replace("\u00a0", ""))


def _per(m: re.Match[str]) -> str:
    unit = "K" if m[3] == "degC" else m[3]
    other = US_UNITS[unit]
    each = convert(1.0, unit, other)
    return f"{_short(float(m[1]) / each)} {m[2]} {_SAID.get(other, other)}".replace("1/ ", "1/")


def _each(m: re.Match[str]) -> str:
    other = US_UNITS["K" if m[2] == "degC" else m[2]]
    return f"{m[1]} {_SAID.get(other, other)}"


def _short(value: float) -> str:
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


def finding_in(one: Finding, system: System) -> Finding:
    """A finding with its words in the reader's units; its numbers turn where they are printed."""
    if system != "US":
        return one
    motor, cold = is_motor(one.key), one.key.startswith(COLD_KEYS)
    air = one.unit.endswith("free") or one.key.startswith(AIR_KEYS)
    flows = None if not air and one.key.startswith(LIQUID_KEYS) else air

    def turned(text: str) -> str:
        return text_in(text, system, air=flows, motor=motor, cold=cold)

    return replace(
        one, sentence=turned(one.sentence), title=turned(one.title), formula=turned(one.formula),
        advised_why=turned(one.advised_why), unit=own_unit(one.key, one.unit),
        inputs=tuple(
            replace(i, meaning=turned(i.meaning),
                    unit=COLD_UNITS.get(i.unit, i.unit) if cold else i.unit)
            for i in one.inputs
        ),
    )  # fmt: skip


def own_unit(key: str, unit: str) -> str:
    """The unit of a finding's value by its key, with what its power or flow is of."""
    if is_motor(key) and unit == "kW":
        return MOTOR
    if key.startswith(COLD_KEYS):
        return COLD_UNITS.get(unit, unit)
    measured = key.startswith(("as_measured.", "measured."))
    return AIR if measured and unit == "L/min" and key.startswith(AIR_KEYS) else unit


def explained_in(one: Finding, system: System) -> Explanation:
    """How a finding was worked out, in the reader's units: every number put in is turned before it
    is put in, so that the formula holds what the list under it says.

    What is advised for a field of the plant file stays in that field's own unit.
    """
    if system != "US":
        return explain(one)
    turned = finding_in(one, system)
    value, unit = _number_in(turned.value, turned.unit)
    limit, _ = _number_in(turned.limit, turned.unit)
    advised = turned.advised if turned.target else _number_in(turned.advised, turned.unit)[0]
    inputs = []
    for i in turned.inputs:
        number, its = (i.value, i.unit) if isinstance(i.value, str) else _number_in(i.value, i.unit)
        inputs.append(
            replace(
                i,
                value=i.value if number is None else number,
                unit=its,
                source=text_in(i.source, system),
            )
        )
    remedies = tuple(replace(r, why=text_in(r.why, system)) for r in one.remedies)
    return explain(replace(
        turned, value=value, unit=unit, limit=limit, advised=advised, inputs=tuple(inputs),
        remedies=remedies, missing=tuple(text_in(m, system) for m in turned.missing),
    ))  # fmt: skip


def _number_in(value: float | None, unit: str) -> tuple[float | None, str]:
    """A number in US units with its unit as it is said."""
    other = US_UNITS.get(unit)
    if other is None:
        return value, unit
    return None if value is None else convert(value, unit, other), _SAID.get(other, other)


def is_motor(key: str) -> bool:
    """Whether a finding of this key is about the rating of a motor."""
    return "motor" in key


def unit_by_name(name: str, unit: str, system: System) -> str:
    """The unit of a figure by its name or meaning: to a US reader the power of a motor is in hp,
    and heat that is moved in Btu.

    >>> unit_by_name("motor_kw", "kW", "US"), unit_by_name("heater_kw", "kW", "US")
    ('kW motor', 'kW')
    """
    if system == "US" and (name in OF_WHAT or COLD_MEANS.search(name)):
        return OF_WHAT.get(name) or COLD_UNITS.get(unit, unit)
    return MOTOR if system == "US" and unit == "kW" and "motor" in name else unit


def table_in(table: Table, system: System, *, air: bool = False) -> Table:
    """A table in the reader's units, words and numbers (`air`: its bare flows are of air)."""
    if system != "US":
        return table
    air = air or table.key.startswith(AIR_KEYS)
    units = [_unit_of(table, i, air) for i in range(len(table.columns))]
    told = table.columns.index("unit") if "unit" in table.columns else None
    rows = []
    for row in table.rows:
        own = COUNTED.get(str(row[told]), str(row[told])) if told is not None else ""
        if own == "L/min" and (air or _airy(row)):
            own = AIR
        if own in COLD_UNITS and str(row[0]).endswith(THERMAL):
            own = COLD_UNITS[own]
        cells: list[float | str] = []
        for i, cell in enumerate(row):
            if i == told:
                cells.append(US_UNITS.get(own, own))
            else:
                bare = table.columns[i] in BARE
                if units[i] == SECTION:
                    cell = section_in(cell if isinstance(cell, str) else f"{cell:g}", system)
                its = own if table.columns[i] not in NO_UNIT else ""
                if its == "degC" and table.columns[i] in DIFFERENCES:
                    its, bare = "K", True
                if units[i] == MOTOR and _no_motor(table, row) and not isinstance(cell, str):
                    cells.append(f"{_short(float(cell))} kW")
                    continue
                cells.append(_cell(cell, units[i], its, air, bare=bare))
        rows.append(tuple(cells))
    return replace(
        table, rows=tuple(rows),
        units=tuple("" if u == SECTION else US_UNITS.get(u, u) for u in units),
        title=text_in(table.title, system, air=air), note=text_in(table.note, system, air=air),
        columns=tuple(text_in(c, system, air=air) for c in table.columns),
    )  # fmt: skip


def _no_motor(table: Table, row: Sequence[float | str]) -> bool:
    """Whether a row of motors is of something that is no motor: nothing of it starts."""
    return "start" in table.columns and row[table.columns.index("start")] == "-"


def _airy(row: Sequence[float | str]) -> bool:
    """Whether a row names a finding or a test whose flows are of air."""
    return any(str(c).startswith(AIR_KEYS) for c in row) or row[0] in AIR_TESTS.values()


def _unit_of(table: Table, i: int, air: bool) -> str:
    """The unit of a column, with what its flow or power is of."""
    unit, name = table.units[i] if i < len(table.units) else "", table.columns[i]
    if unit == "kW" and (
        "motor" in name or (table.key == "power.motors" and name.startswith("rated"))
    ):
        return MOTOR
    if table.key.startswith(COLD_KEYS) and unit in COLD_UNITS:
        return COLD_UNITS[unit]
    if unit == "L/min" and air and not WET.search(name):
        return AIR
    return unit


def _cell(cell: float | str, unit: str, own: str, air: bool, *, bare: bool) -> float | str:
    """A cell in its column's unit, else in the unit that its row names."""
    other = US_UNITS.get(unit or own)
    if isinstance(cell, str):
        if other is not None and own and bare:
            return re.sub(_NUMBER, lambda n: _short(convert(_value(n[0]), own, other)), cell)
        return text_in(cell, "US", air=air)
    if other is None or isinstance(cell, bool):
        return cell
    return float(f"{convert(float(cell), unit or own, other):.4g}")


def series_in(series: Series, system: System) -> Series:
    """A figure in time in the reader's units."""
    if system != "US":
        return series
    air = series.key.startswith("vacuum")
    lines = []
    for name, unit, values in series.lines:
        own = AIR if unit == "L/min" and air and not WET.search(name) else unit
        other = US_UNITS.get(own)
        if other is None:
            lines.append((name, unit, values))
        else:
            lines.append((name, other, tuple(convert(v, own, other) for v in values)))
    return replace(series, lines=tuple(lines), title=text_in(series.title, system, air=air),
                   note=text_in(series.note, system, air=air))  # fmt: skip


def result_in(result: Result, system: System) -> Result:
    """A result in the reader's units.

    Numbers of findings stay as they are (they are turned where they are printed, and are taken over
    into the plant file as they are); everything else of it is turned.
    """
    if system != "US":
        return result
    air = result.study == "vacuum"
    return replace(
        result,
        findings=tuple(finding_in(f, system) for f in result.findings),
        tables=tuple(table_in(t, system, air=air) for t in result.tables),
        series=tuple(series_in(x, system) for x in result.series),
        notes=tuple(text_in(n, system, air=air) for n in result.notes),
    )
