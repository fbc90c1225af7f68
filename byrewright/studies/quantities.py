"""Quantities for a quotation: machines with their data plates, pipe, fittings, valves, motors."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence

from byrewright.plant.machine import Machine
from byrewright.plant.plant import Plant
from byrewright.plant.roles import IsValve, PassesOneWay, Senses
from byrewright.results import Assumption, Finding, Input, Result, ResultBuilder, Table, judge
from byrewright.standards.rulebook import Rulebook, default_rulebook
from byrewright.studies.count import LISTED_APART, Item, count, data_plate, lines

Row = tuple[float | str, ...]


def quantities(plant: Plant, rules: Rulebook | None = None) -> Result:
    """What a plant is made of, counted for a quotation.

    Tables `machines`, `pipes`, `fittings`, `valves`, `sensors`, `motors`, `supports` and `cables`;
    findings are totals only.
    Pipe is counted as drawn; a column adds what is cut to waste.
    """
    rules = rules or default_rulebook()
    notes = ResultBuilder("quantities", plant.site.name)
    items = count(plant, rules)
    notes.tables += [
        _machines(plant), _pipes(items, rules.number("pipe.cutting_share")), _fittings(items),
        _valves(items), _sensors(plant), _motors(plant),
        _runs(items, "supports", "Pipe supports", ("supports",)),
        _runs(items, "cables", "Cables by load", ("power cables", "signal cables")),
    ]  # fmt: skip
    waste = rules["pipe.cutting_share"]
    notes.assumptions.append(
        Assumption("pipes", waste.meaning, waste.value, waste.unit, "added to the metres drawn",
                   waste.confidence)
    )  # fmt: skip
    _totals(plant, notes)
    notes.notes.append(
        "Counted from the plant file. Insulation, concrete and labour are not in it; "
        "cable sections are for a licensed electrician."
    )
    return notes.result()


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


def _pipes(items: Sequence[Item], waste: float) -> Table:
    found: dict[tuple[str, float], list[Item]] = defaultdict(list)
    for one in items:
        if one.group == "pipes":
            service, bore = str(one.figures["service"]), float(one.figures["bore_mm"])
            found[(service, bore)].append(one)
    rows = (
        (service, bore, sum(len(i.tags) for i in every), round(sum(i.amount for i in every), 2),
         round(sum(i.amount for i in every) * (1 + waste), 1))
        for (service, bore), every in sorted(found.items())
    )  # fmt: skip
    columns = {"service": "", "bore": "mm", "pieces": "", "as drawn": "m", "to order": "m"}
    return _table("pipes", "Pipe by service and bore", columns, rows)


def _fittings(items: Sequence[Item]) -> Table:
    counts: dict[tuple[str, str, float], float] = defaultdict(float)
    for one in items:
        if one.group == "fittings":
            bore = float(one.figures.get("bore_mm", 0.0))
            counts[(str(one.figures["service"]), one.title.lower(), bore)] += one.amount
    rows = (
        (service, name, bore or "not stated", number)
        for (service, name, bore), number in sorted(counts.items())
    )
    columns = {"service": "", "fitting": "", "bore": "mm", "count": ""}
    return _table("fittings", "Fittings", columns, rows)


def _valves(items: Sequence[Item]) -> Table:
    rows = sorted(
        (one.title.lower(), one.figures["moved_by"], one.figures["sensed"],
         one.figures["service"], one.figures.get("bore_mm", "not stated"), one.amount,
         ", ".join(one.tags))
        for one in items
        if one.group == "valves"
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


def _runs(items: Sequence[Item], key: str, title: str, groups: tuple[str, ...]) -> Table:
    """Supports or cables: what, how many, how sure."""
    rows = (
        (one.title, one.plate or "-", round(one.amount, 1), one.sure)
        for one in items
        if one.group in groups
    )
    unit = "m" if key == "cables" else ""
    columns = {"what": "", "for": "", "amount": unit, "is": ""}
    return _table(key, title, columns, rows)


def _motors(plant: Plant) -> Table:
    found: dict[tuple[str, float], list[Machine]] = defaultdict(list)
    for one in plant.equipment.values():
        if one.power_kw() > 0:
            found[(_load_type(one), round(one.power_kw(), 3))].append(one)
    rows = (
        (kind, kw, sum(m.count for m in every), round(kw * sum(m.count for m in every), 2),
         "kW", ", ".join(m.id for m in every))
        for (kind, kw), every in sorted(found.items())
    )  # fmt: skip
    columns = dict.fromkeys(("load", "rating", "count", "together", "unit", "tags"), "")
    return _table("motors", "Motors and heaters", columns, rows)


def _load_type(one: Machine) -> str:
    if one.can("makes cold"):
        return "refrigeration, electric input"
    if one.can("heats water") or one.can("washes cloths") or one.can("dries cloths"):
        return "heating"
    return "controls" if one.can("controls") or one.can("tells people") else "motor"


def _totals(plant: Plant, notes: ResultBuilder) -> None:
    """How many machines, metres, valves and kilowatts there are in all."""
    machines = [m for m in plant.equipment.values() if not isinstance(m, LISTED_APART)]
    valves = [m for m in plant.equipment.values() if isinstance(m, IsValve | PassesOneWay)]
    metres = sum(length for _, _, _, length, _ in lines(plant))
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
            Finding(key, "", title, value, unit, text, judge(value, None, "informational")[0],
                    formula="count of the plant file",
                    inputs=(Input("n", "tags in the plant file", len(plant.equipment)),),
                    source="definition", confidence="derived")
        )  # fmt: skip
