"""Quantities for a quotation: machines with their data plates, pipe, fittings, valves, motors."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping

from byrewright.plant.machine import Machine
from byrewright.plant.plant import Plant
from byrewright.plant.record import Parameter
from byrewright.plant.roles import (
    CollectsMilk,
    FeedsPulsators,
    IsValve,
    JoinsPipes,
    PassesOneWay,
    Senses,
)
from byrewright.results import Assumption, Finding, Input, Notebook, Result, Table, judge
from byrewright.standards.rulebook import Rulebook, default_rulebook

UNIT_ENDINGS = (
    "_l_min_free", "_l_min", "_kpa", "_kva", "_kwh", "_kw", "_kg_min", "_kg", "_kn", "_mm", "_m2",
    "_w_m2_k", "_ml_l", "_pct_h", "_pct", "_bar", "_min", "_l", "_m", "_c", "_s", "_a", "_h",
)  # fmt: skip
"""Endings of field names that only tell the unit."""
OF_ALL = frozenset(Machine.model_fields)
LISTED_APART = (IsValve, PassesOneWay, JoinsPipes, Senses)
"""Kinds with a table of their own."""
WAYS = {2: "two-way", 3: "three-way"}
Row = tuple[float | str, ...]


def quantities(plant: Plant, rules: Rulebook | None = None) -> Result:
    """What a plant is made of, counted for a quotation.

    Tables `machines`, `pipes`, `fittings`, `valves`, `sensors`, `motors`; findings are totals only.
    Pipe is counted as drawn; a column adds what is cut to waste.
    """
    rules = rules or default_rulebook()
    notes = Notebook("quantities", plant.site.name)
    notes.tables += [
        _machines(plant), _pipes(plant, rules.number("pipe.cutting_share")), _fittings(plant),
        _valves(plant), _sensors(plant), _motors(plant),
    ]  # fmt: skip
    waste = rules["pipe.cutting_share"]
    notes.assumptions.append(
        Assumption("pipes", waste.meaning, waste.value, waste.unit, "added to the metres drawn",
                   waste.known)
    )  # fmt: skip
    _totals(plant, notes)
    notes.notes.append(
        "Counted from the plant file. Supports, insulation, cable, concrete and labour are not in "
        "it."
    )
    return notes.result()


def data_plate(machine: Machine) -> str:
    """The figures to order a machine by: those its kind needs and those the file states.

    >>> from byrewright.plant.kinds.vacuum import VacuumPump
    >>> data_plate(VacuumPump(id="VP1", capacity_l_min_free=6200, motor_kw=15, speed="variable"))
    'capacity 6200 L/min, motor 15 kW, speed variable'
    """
    return ", ".join(
        text
        for one in type(machine).parameters()
        if one.name not in OF_ALL
        and (one.needed or one.name in machine.model_fields_set)
        and (text := _figure(one, getattr(machine, one.name)))
    )


def _figure(one: Parameter, value: object) -> str:
    if isinstance(value, bool):
        return _words(one.name) if value else ""
    if isinstance(value, int | float):
        return f"{_words(one.name)} {value:g} {one.unit}".rstrip()
    if isinstance(value, str):
        return f"{_words(one.name)} {value.replace('_', ' ')}"
    if isinstance(value, tuple) and value and all(isinstance(v, str) for v in value):
        return f"{_words(one.name)} {', '.join(str(v).replace('_', ' ') for v in value)}"
    return ""


def _words(name: str) -> str:
    ending = next((e for e in UNIT_ENDINGS if name.endswith(e)), "")
    return name.removesuffix(ending).replace("_", " ")


def _table(key: str, title: str, columns: Mapping[str, str], rows: Iterable[Row]) -> Table:
    return Table(key, title, tuple(columns), tuple(columns.values()), tuple(rows))


def _machines(plant: Plant) -> Table:
    rows = (
        (m.id, m.title, m.count, data_plate(m) or "-")
        for m in plant.equipment.values()
        if not isinstance(m, LISTED_APART)
    )
    columns = {"tag": "", "machine": "", "count": "", "data plate": ""}
    return _table("machines", "Machines", columns, rows)


def _lines(plant: Plant) -> Iterable[tuple[str, float, float]]:
    """Service, bore and metres of every pipe and of the lines that are machines."""
    for pipe in plant.pipes:
        yield plant.service_of(pipe) or "not stated", pipe.bore_mm, pipe.length_m
    for line in plant.machines(CollectsMilk):
        yield "milk, line on the deck or pit", line.bore_mm, line.length_m * line.count
    for air in plant.machines(FeedsPulsators):
        yield "vacuum, pulsator line", air.bore_mm, air.length_m * air.count


def _pipes(plant: Plant, waste: float) -> Table:
    metres: dict[tuple[str, float], list[float]] = defaultdict(list)
    for service, bore, length in _lines(plant):
        metres[(service, bore)].append(length)
    rows = (
        (service, bore, len(every), round(sum(every), 2), round(sum(every) * (1 + waste), 1))
        for (service, bore), every in sorted(metres.items())
    )
    columns = {"service": "", "bore": "mm", "pieces": "", "as drawn": "m", "to order": "m"}
    return _table("pipes", "Pipe by service and bore", columns, rows)


def _fittings(plant: Plant) -> Table:
    counts: dict[tuple[str, str, float], int] = defaultdict(int)
    for pipe in plant.pipes:
        for name, count in pipe.fittings.items():
            service = plant.service_of(pipe) or "not stated"
            counts[(service, name.replace("_", " "), pipe.bore_mm)] += count
    for header in plant.machines(JoinsPipes):
        pipes = plant.pipes_at(header.id)
        service = (plant.service_of(pipes[0]) or "not stated") if pipes else "not stated"
        name = f"header with {len(pipes)} ways"
        counts[(service, name, _bore_mm(plant, header) or 0.0)] += header.count
    rows = (
        (service, name, bore or "not stated", count)
        for (service, name, bore), count in sorted(counts.items())
        if count
    )
    columns = {"service": "", "fitting": "", "bore": "mm", "count": ""}
    return _table("fittings", "Fittings", columns, rows)


def _bore_mm(plant: Plant, machine: Machine) -> float | None:
    """A valve's or header's bore: as stated, or the largest of the pipes at it."""
    stated = getattr(machine, "bore_mm", None)
    if isinstance(stated, int | float):
        return float(stated)
    return max((p.bore_mm for p in plant.pipes_at(machine.id)), default=None)


def _valve_type(valve: IsValve | PassesOneWay) -> tuple[str, str, str]:
    if isinstance(valve, PassesOneWay):
        return "non-return", "flow", "no"
    seats = ", double seat with leak chamber" if valve.seats == "double" else ""
    return WAYS[valve.ways] + seats, valve.moved_by, "yes" if valve.sensed else "no"


def _valves(plant: Plant) -> Table:
    found: dict[tuple[str, str, str, str, float], list[Machine]] = defaultdict(list)
    for one in plant.equipment.values():
        if isinstance(one, IsValve | PassesOneWay):
            pipes = plant.pipes_at(one.id)
            service = (plant.service_of(pipes[0]) or "not stated") if pipes else "not piped"
            found[(*_valve_type(one), service, _bore_mm(plant, one) or 0.0)].append(one)
    rows = (
        (kind, moved, sensed, service, bore or "not stated", sum(v.count for v in every),
         ", ".join(v.id for v in every))
        for (kind, moved, sensed, service, bore), every in sorted(found.items())
    )  # fmt: skip
    columns = {"type": "", "moved by": "", "position sensed": "", "service": "", "bore": "mm",
               "count": "", "tags": ""}  # fmt: skip
    return _table("valves", "Valves by type", columns, rows)


def _sensors(plant: Plant) -> Table:
    found: dict[str, list[Senses]] = defaultdict(list)
    for one in plant.machines(Senses):
        found[one.measures].append(one)
    rows = (
        (measures, sum(s.count for s in every), ", ".join(f"{s.id} on {s.on}" for s in every))
        for measures, every in sorted(found.items())
    )
    return _table("sensors", "Sensors", {"measures": "", "count": "", "where": ""}, rows)


def _motors(plant: Plant) -> Table:
    found: dict[tuple[str, float], list[Machine]] = defaultdict(list)
    for one in plant.equipment.values():
        if one.power_kw() > 0:
            found[(_load_type(one), round(one.power_kw(), 3))].append(one)
    rows = (
        (kind, kw, sum(m.count for m in every), round(kw * sum(m.count for m in every), 2),
         ", ".join(m.id for m in every))
        for (kind, kw), every in sorted(found.items())
    )  # fmt: skip
    columns = {"load": "", "rating": "kW", "count": "", "together": "kW", "tags": ""}
    return _table("motors", "Motors and heaters", columns, rows)


def _load_type(one: Machine) -> str:
    if one.can("makes cold"):
        return "refrigeration, electric input"
    if one.can("heats water") or one.can("washes cloths") or one.can("dries cloths"):
        return "heating"
    return "controls" if one.can("controls") or one.can("tells people") else "motor"


def _totals(plant: Plant, notes: Notebook) -> None:
    """How many machines, metres, valves and kilowatts there are in all."""
    machines = [m for m in plant.equipment.values() if not isinstance(m, LISTED_APART)]
    valves = [m for m in plant.equipment.values() if isinstance(m, IsValve | PassesOneWay)]
    metres = sum(length for _, _, length in _lines(plant))
    installed = sum(m.power_kw() * m.count for m in plant.equipment.values())
    for key, title, value, unit, text in (
        ("quantities.machines", "Machines", sum(m.count for m in machines), "",
         f"{len(machines)} tags, {sum(m.count for m in machines)} machines and sets in all."),
        ("quantities.pipe", "Pipe", round(metres, 1), "m",
         f"{metres:.0f} m of pipe as drawn, in {len(plant.pipes)} pieces and the fixed lines."),
        ("quantities.valves", "Valves", sum(v.count for v in valves), "",
         f"{sum(v.count for v in valves)} valves, non-return valves among them."),
        ("quantities.power", "Installed power", round(installed, 1), "kW",
         f"{installed:.0f} kW are installed; the sizing study says how much is on at once."),
    ):  # fmt: skip
        notes.findings.append(
            Finding(key, "", title, value, unit, text, judge(value, None, "says")[0],
                    formula="count of the plant file",
                    inputs=(Input("n", "tags in the plant file", len(plant.equipment)),),
                    source="definition", known="derived")
        )  # fmt: skip
