"""What people read, turned into US units: findings, tables, results.

Numbers with a unit of their own are turned where they are printed (`format.quantity`); those inside
text by `us_words`.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, TypeVar, cast

from byrewright.documents.format import OF_WHAT, System
from byrewright.documents.us_words import (
    AIR,
    AIR_KEYS,
    AIR_TESTS,
    COLD_KEYS,
    COLD_UNITS,
    LIQUID,
    MOTOR,
    NUMBER,
    SAID,
    SECTION,
    WET,
    bore_in,
    section_in,
    short,
    text_in,
    value_of,
)
from byrewright.results import Finding, Input, Result, Series, Table
from byrewright.standards.cooling import LIMITS_F
from byrewright.standards.units import US_UNITS, convert
from byrewright.studies.explain import Explanation, explain

if TYPE_CHECKING:
    from byrewright.studies.changes import Change

T = TypeVar("T")
BARE = ("limit", "value", "predicted", "here")
"""Columns whose cells are a number alone, in the unit that the row names."""
THERMAL = ", thermal"
"""The end of a row's name whose kW are of heat."""
COLD_MEANS = re.compile(r"\bcold\b|out of the milk|^store of ice|^ice it")
"""Meanings of fields whose kW and kWh are of heat."""
DIFFERENCES = ("plus or minus", "difference", "a year")
"""Columns that hold a difference of what the row's unit measures."""
NO_UNIT = ("readings", "shape", "failed", "worn", "good", "number", "count")
"""Columns of plain counts, whatever unit a row names."""
COUNTED = {"litres": "L"}
"""Units of counters as they are named, and as what they are."""
OF_MOTORS = ("deck.running_power", "cooling.tank.agitator")
"""Findings of the power that motors take, whatever their keys."""
LIQUID_KEYS = ("delivery.", "receiving.", "cooling.", "chilled.", "water.", "storage.")
"""Beginnings of the keys of findings whose L/min are of liquid, whatever vacuum is spoken of."""
PRESSED_KEYS = (*LIQUID_KEYS, "wash.", "air.")
"""Beginnings of the keys of findings whose kPa are of liquid or of compressed air."""
PIPE_KEYS = (*PRESSED_KEYS, "vacuum.", "milkline.")
"""Beginnings of the keys of findings whose mm are bores."""
COLD_ALL = ("cooling.", "day.refrigeration_hours")
"""Beginnings of the keys of tables all of whose kW and kWh are of heat."""
RULE_KEY = "cooling.rule"
"""Key of the finding whose value is a limit itself."""
A_MOTOR = "motor"
"""What a load is called that is a motor: its power is in hp."""
_HEAT = re.compile(r"^heat\b")
_ROUND = re.compile(r"vacuum|ambient")
AIR_TABLES = ("air.users", "place.air")
"""Keys of tables whose volumes are of air."""
FREE_AIR = "free air"
"""What the title of a table says whose every flow is of air."""


def finding_in(one: Finding, system: System) -> Finding:
    """A finding with its words in the reader's units; its numbers turn where they are printed."""
    if system != "US":
        return one
    cold, pressed = _is_cold(one.key), one.key.startswith(PRESSED_KEYS)
    # (source, degC): degF as the source itself states it
    rules = {one.source, *(i.source for i in one.inputs if i.symbol == "T_limit")}
    stated = [pair for pair in LIMITS_F.items() if pair[0][0] in rules]

    def turned(text: str) -> str:
        for (_, c), f in stated:
            text = re.sub(rf"(?<![\w.-]){c:g} degC(?![A-Za-z0-9])", f"{f:g} degF", text)
        return said_in(text, system, one.key, one.unit)

    def own(value: T, unit: str) -> T:
        f = next((f for (_, c), f in stated if unit == "degC" and value == c), None)
        return value if f is None else cast("T", convert(f, "degF", "degC"))

    return replace(
        one, value=own(one.value, one.unit) if one.key == RULE_KEY else one.value,
        limit=own(one.limit, one.unit), sentence=turned(one.sentence), title=turned(one.title),
        formula=_formula_in(one, turned), advised_why=turned(one.advised_why),
        unit=own_unit(one.key, one.unit),
        inputs=tuple(
            replace(i, meaning=turned(i.meaning), unit=_of_input(i, cold, pressed),
                    value=own(i.value, i.unit) if i.symbol == "T_limit" else i.value)
            for i in one.inputs
        ),
    )  # fmt: skip


def _formula_in(one: Finding, turned: Callable[[str], str]) -> str:
    """A formula with its quantities turned; a number before one of its symbols is a factor:
    in "3600 N / T" the N are stalls, not newtons, and it is written "3600 x N"."""
    symbols = "|".join(re.escape(i.symbol) for i in one.inputs if i.symbol)
    if not symbols:
        return turned(one.formula)
    parts = re.split(rf"(?<![\w.])({NUMBER} (?:{symbols})(?!\w))", one.formula)
    return "".join(p.replace(" ", " x ", 1) if i % 2 else turned(p) for i, p in enumerate(parts))


def said_in(text: str, system: System, key: str, unit: str = "") -> str:
    """Words of a finding in the reader's units, by its key and the unit of its value."""
    air = unit.endswith("free") or key.startswith(AIR_KEYS)
    flows = None if not air and key.startswith(LIQUID_KEYS) else air
    pressed, pipes = key.startswith(PRESSED_KEYS), key.startswith(PIPE_KEYS)
    return text_in(text, system, air=flows, motor=is_motor(key), cold=_is_cold(key),
                   pressed=pressed, pipes=pipes)  # fmt: skip


def change_in(one: Change, system: System) -> str:
    """The sentence of a change in the reader's units."""
    if one.key:
        return said_in(one.sentence, system, one.key)
    return text_in(one.sentence, system, motor="motor" in one.sentence)


def _is_cold(key: str) -> bool:
    return key.startswith(COLD_KEYS) and not is_motor(key)


def _of_input(one: Input, cold: bool, pressed: bool) -> str:
    """The unit of a number put in, with what it is of; vacuum and the air around stay what they
    are."""
    if cold:
        return COLD_UNITS.get(one.unit, one.unit)
    if pressed and one.unit == "kPa" and not _ROUND.search(one.meaning):
        return LIQUID
    return one.unit


def own_unit(key: str, unit: str) -> str:
    """The unit of a finding's value by its key, with what its power or flow is of."""
    if is_motor(key) and unit == "kW":
        return MOTOR
    if key.startswith(COLD_KEYS):
        return COLD_UNITS.get(unit, unit)
    if unit == "kPa" and key.startswith(PRESSED_KEYS):
        return LIQUID
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
    return None if value is None else convert(value, unit, other), SAID.get(other, other)


def is_motor(key: str) -> bool:
    """Whether a finding of this key is about the rating of a motor."""
    return "motor" in key or key.partition("@")[0] in OF_MOTORS


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
        if own == "kW" and row[0] == A_MOTOR:
            own = MOTOR
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
                if units[i] == "mm" and "bore" in table.columns[i] and not isinstance(cell, str):
                    cells.append(bore_in(cell) if cell else cell)
                    continue
                if units[i] == MOTOR and _no_motor(table, row) and not isinstance(cell, str):
                    cells.append(f"{short(float(cell))} kW")
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
    if unit in COLD_UNITS and (table.key.startswith(COLD_ALL) or _HEAT.search(name)):
        return COLD_UNITS[unit]
    if table.key.startswith(AIR_TABLES) and unit in ("L", "m3"):
        return f"{unit} air"
    if unit == "L/min" and air and (FREE_AIR in table.title or not WET.search(name)):
        return AIR
    return unit


def _cell(cell: float | str, unit: str, own: str, air: bool, *, bare: bool) -> float | str:
    """A cell in its column's unit, else in the unit that its row names."""
    other = US_UNITS.get(unit or own)
    if isinstance(cell, str):
        if other is not None and own and bare:
            return re.sub(NUMBER, lambda n: short(convert(value_of(n[0]), own, other)), cell)
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
