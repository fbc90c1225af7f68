"""The one count of what a plant is made of: whoever lists, prices or orders parts asks here."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Literal

from byrewright.plant.machine import Machine
from byrewright.plant.plant import LengthFrom, Plant
from byrewright.plant.record import Parameter
from byrewright.plant.roles import (
    CollectsMilk,
    FeedsPulsators,
    IsValve,
    JoinsPipes,
    PassesOneWay,
    Senses,
)
from byrewright.plant.sited import sited
from byrewright.results import ResultBuilder
from byrewright.standards.rulebook import Rulebook, default_rulebook
from byrewright.studies.pipework import lines_of, on_round_m, span_m

UNIT_ENDINGS = (
    "_per_kpa", "_per_s", "_l_min_free", "_l_min", "_kpa", "_kva", "_kwh", "_kw", "_kg_min", "_kg",
    "_kn", "_mm", "_m2",
    "_l_load", "_l_milking", "_l_day",
    "_w_m2_k", "_ml_l", "_pct_h", "_pct", "_bar", "_min", "_l", "_m", "_c",
    "_s", "_a", "_h", "_v", "_hz",
)  # fmt: skip
"""Endings of field names that only tell the unit."""
EACH = {"_l_day": " per day", "_l_load": " per load", "_l_milking": " per milking"}
"""Endings that tell of what a figure is the amount, in words."""
OF_ALL = frozenset(Machine.model_fields)
LISTED_APART = (IsValve, PassesOneWay, JoinsPipes, Senses)
"""Kinds with a group of their own."""
WAYS = {2: "two-way", 3: "three-way"}
Group = Literal[
    "machines", "pipes", "fittings", "valves", "sensors", "supports", "power cables",
    "signal cables",
]  # fmt: skip
GROUPS: tuple[Group, ...] = (
    "machines", "pipes", "fittings", "valves", "sensors", "supports", "power cables",
    "signal cables",
)  # fmt: skip
Figures = Mapping[str, float | str]


@dataclass(frozen=True, slots=True)
class Item:
    """Things that are alike: what, their figures (names as in the plant file), how many, which.

    `sure` tells how sure the amount is. `by` names the figures to order by and `plate` says them
    in words. `cut` adds to pipe what is cut to waste; it is 0 elsewhere.
    """

    group: Group
    kind: str
    title: str
    figures: Figures
    amount: float
    unit: Literal["each", "m"]
    tags: tuple[str, ...]
    sure: LengthFrom
    plate: str = ""
    cut: float = 0.0
    ordered_by: tuple[str, ...] | None = None

    @property
    def by(self) -> tuple[str, ...]:
        """The figures to order by: all of them, where no few are named."""
        return tuple(self.figures) if self.ordered_by is None else self.ordered_by

    @property
    def to_order(self) -> float:
        """The amount with what is cut to waste: metres to a decimetre, others whole."""
        return round(self.amount * (1 + self.cut), 1) if self.unit == "m" else self.amount


def count(plant: Plant, rules: Rulebook | None = None) -> tuple[Item, ...]:
    """Everything a plant is made of, alike things together, in the order of `GROUPS`.

    Lines on the deck or along the pit are pipe. Cables run as on the plan; without one their
    length is a guess by the rule `install.cable_guess_m`.
    """
    rules = rules or default_rulebook()
    found = [*_machines(plant), *_pipes(plant, rules), *_fittings(plant), *_valves(plant),
             *_sensors(plant), *_supports(plant, rules), *_cables(plant, rules)]  # fmt: skip
    return tuple(_together(found))


def _together(items: Iterable[Item]) -> Iterator[Item]:
    """Alike items as one, amounts and tags added up."""
    alike: dict[tuple[object, ...], list[Item]] = {}
    for one in items:
        key = (one.group, one.kind, one.title, tuple(one.figures.items()), one.plate,
               one.sure)  # fmt: skip
        alike.setdefault(key, []).append(one)
    order = {group: i for i, group in enumerate(GROUPS)}
    for first, *rest in sorted(alike.values(), key=lambda many: order[many[0].group]):
        every = (first, *rest)
        amount = math.fsum(one.amount for one in every)
        tags = tuple(dict.fromkeys(tag for one in every for tag in one.tags))
        yield Item(first.group, first.kind, first.title, first.figures, amount, first.unit, tags,
                   first.sure, first.plate, first.cut, first.ordered_by)  # fmt: skip


def data_plate(machine: Machine) -> str:
    """The figures to order a machine by: those its kind needs and those the file states.

    >>> from byrewright.plant.kinds.vacuum import VacuumPump
    >>> data_plate(VacuumPump(id="VP1", capacity_l_min_free=6200, motor_kw=15, speed="variable"))
    'capacity 6200 L/min, motor 15 kW, speed variable'
    """
    return ", ".join(_plate(machine, also=True))


def _plate(machine: Machine, *, also: bool) -> Iterator[str]:
    """The figures in words; names of other machines only with `also`."""
    for one in type(machine).parameters():
        if one.name in OF_ALL or not (also or not _refers(machine, one.name)):
            continue
        if one.needed or one.name in machine.model_fields_set:
            text = _figure(one, getattr(machine, one.name))
            if text:
                yield text


def _refers(machine: Machine, name: str) -> bool:
    extra = type(machine).model_fields[name].json_schema_extra
    return isinstance(extra, dict) and bool(extra.get("refers"))


def _figure(one: Parameter, value: object) -> str:
    if isinstance(value, bool):
        return name_in_words(one.name) if value else ""
    if isinstance(value, int | float):
        name = name_in_words(one.name)
        if name == "motor" and name not in one.meaning:  # of a heater, or of electronics
            name = "input"
        return f"{name} {value:g} {one.unit}".rstrip()
    if isinstance(value, str):
        return f"{name_in_words(one.name)} {value.replace('_', ' ')}"
    if isinstance(value, tuple) and value and all(isinstance(v, str) for v in value):
        return f"{name_in_words(one.name)} {', '.join(str(v).replace('_', ' ') for v in value)}"
    return ""


def name_in_words(name: str) -> str:
    """A field's name without its unit.

    >>> name_in_words("capacity_l_min_free"), name_in_words("gain_per_kpa")
    ('capacity', 'gain')
    """
    ending = next((e for e in UNIT_ENDINGS if name.endswith(e)), "")
    return (name.removesuffix(ending) + EACH.get(ending, "")).replace("_", " ")


def _figures(machine: Machine) -> dict[str, float | str]:
    """Every figure of a machine that is a number, a word or a yes, by its name in the file."""
    found: dict[str, float | str] = {}
    for name in type(machine).model_fields:
        value = getattr(machine, name)
        if name in OF_ALL or _refers(machine, name):
            continue
        if isinstance(value, bool):
            found[name] = "yes" if value else "no"
        elif isinstance(value, int | float | str):
            found[name] = value
    return found


def _machines(plant: Plant) -> Iterator[Item]:
    for one in plant.equipment.values():
        if isinstance(one, (*LISTED_APART, CollectsMilk, FeedsPulsators)):
            continue
        plate = ", ".join(_plate(one, also=False))
        figures = _figures(one)
        stated = one.model_fields_set
        by = tuple(p.name for p in type(one).parameters()
                   if p.name in figures and (p.needed or p.name in stated))  # fmt: skip
        yield Item("machines", one.kind, type(one).TITLE, figures, one.count, "each", (one.id,),
                   "measured", plate, ordered_by=by)  # fmt: skip


def lines(plant: Plant) -> Iterator[tuple[str, str, float, float, LengthFrom]]:
    """Tag, service, bore, metres and how sure, of every pipe and of the lines that are machines."""
    for pipe in plant.pipes:
        service = plant.service_of(pipe) or "not stated"
        yield pipe.id, service, pipe.bore_mm, pipe.length_m, pipe.length_from
    for line in plant.machines(CollectsMilk):
        long = line.length_m * line.count
        yield line.id, "milk, line on the deck or pit", line.bore_mm, long, "measured"
    for air in plant.machines(FeedsPulsators):
        long = air.length_m * air.count
        yield air.id, "vacuum, pulsator line", air.bore_mm, long, "measured"


def _pipes(plant: Plant, rules: Rulebook) -> Iterator[Item]:
    waste = rules.number("pipe.cutting_share")
    for tag, service, bore, long, sure in lines(plant):
        yield Item("pipes", "pipe", f"Pipe, {service}", {"service": service, "bore_mm": bore},
                   long, "m", (tag,), sure, f"bore {bore:g} mm", waste)  # fmt: skip


def _fittings(plant: Plant) -> Iterator[Item]:
    for pipe in plant.pipes:
        service = plant.service_of(pipe) or "not stated"
        for name, many in pipe.fittings.items():
            if many:
                yield Item("fittings", name, name.replace("_", " ").capitalize(),
                           {"service": service, "bore_mm": pipe.bore_mm}, many, "each", (pipe.id,),
                           pipe.length_from, f"{service}, bore {pipe.bore_mm:g} mm")  # fmt: skip
    for header in plant.machines(JoinsPipes):
        pipes = plant.pipes_at(header.id)
        service = (plant.service_of(pipes[0]) or "not stated") if pipes else "not stated"
        bore = bore_mm(plant, header)
        yield Item("fittings", header.kind, f"Header with {len(pipes)} ways",
                   {"service": service, "ways": len(pipes), **_bore(bore)}, header.count, "each",
                   (header.id,), "measured", f"{service}, {_bore_words(bore)}")  # fmt: skip


def _bore(bore: float | None) -> dict[str, float]:
    return {} if bore is None else {"bore_mm": bore}


def _bore_words(bore: float | None) -> str:
    return "bore not stated" if bore is None else f"bore {bore:g} mm"


def bore_mm(plant: Plant, machine: Machine) -> float | None:
    """A valve's or header's bore: as stated, or the largest of the pipes at it."""
    stated = getattr(machine, "bore_mm", None)
    if isinstance(stated, int | float):
        return float(stated)
    return max((p.bore_mm for p in plant.pipes_at(machine.id)), default=None)


def _valves(plant: Plant) -> Iterator[Item]:
    for one in plant.equipment.values():
        if not isinstance(one, IsValve | PassesOneWay):
            continue
        pipes = plant.pipes_at(one.id)
        service = (plant.service_of(pipes[0]) or "not stated") if pipes else "not piped"
        bore = bore_mm(plant, one)
        figures: dict[str, float | str] = {"service": service, **_bore(bore)}
        if isinstance(one, PassesOneWay):
            title, more = "Non-return valve", ""
            figures |= {"moved_by": "flow", "sensed": "no"}
        else:
            seats = ", double seat with leak chamber" if one.seats == "double" else ""
            title = f"{WAYS[one.ways].capitalize()} valve{seats}"
            more = f", moved by {one.moved_by}" + (", position sensed" if one.sensed else "")
            figures |= {"ways": one.ways, "seats": one.seats, "moved_by": one.moved_by,
                        "sensed": "yes" if one.sensed else "no"}  # fmt: skip
        yield Item("valves", one.kind, title, figures, one.count, "each", (one.id,), "measured",
                   f"{service}, {_bore_words(bore)}{more}")  # fmt: skip


def _sensors(plant: Plant) -> Iterator[Item]:
    for one in plant.machines(Senses):
        yield Item("sensors", one.kind, f"{one.measures.capitalize()} sensor",
                   {"measures": one.measures}, one.count, "each", (one.id,), "measured",
                   one.measures)  # fmt: skip


def _supports(plant: Plant, rules: Rulebook) -> Iterator[Item]:
    """Supports of every line as on the plan; of a pipe without a place by the spacing alone."""
    made = sited(plant)
    placed: set[str] = set()
    bores = {p.id: p.bore_mm for p in plant.pipes}
    for line in lines_of(plant, made) if made is not None else ():
        tags = tuple(line.route.lines)
        placed.update(tags)
        bore = max(bores[t] for t in tags)
        many = len(line.supports)
        for pipe in plant.pipes:
            if made is not None and pipe.id in tags:
                ring = on_round_m(pipe, made.laid[pipe.id])
                many += math.ceil(ring / span_m(line.route.service, bore, rules))
        yield _support(bore, many, tags, "from the plan")
    for tag, service, bore, long, sure in lines(plant):
        if tag not in bores:  # lines that are machines
            many = math.ceil(long / span_m(service.partition(",")[0], bore, rules))
            yield _support(bore, max(1, many), (tag,), sure)
    for pipe in plant.pipes:
        if pipe.id not in placed:
            span = span_m(plant.service_of(pipe) or "water", pipe.bore_mm, rules)
            bends = sum(pipe.fittings.get(name, 0) for name in ("bend", "elbow"))
            many = max(1, math.ceil(pipe.length_m / span)) + bends
            yield _support(pipe.bore_mm, many, (pipe.id,), pipe.length_from)


def _support(bore: float, many: int, tags: tuple[str, ...], sure: LengthFrom) -> Item:
    return Item("supports", "support", "Pipe support", {"bore_mm": bore}, many, "each", tags, sure,
                f"bore {bore:g} mm")  # fmt: skip


def _cables(plant: Plant, rules: Rulebook) -> Iterator[Item]:
    """Feeders by their load and section, and signal cables to sensors and position switches."""
    from byrewright.place.cables import way
    from byrewright.studies.cables import cable_list, target_of
    from byrewright.studies.sizing.context import StudyContext

    made, guess = sited(plant), rules.number("install.cable_guess_m")
    if made is not None:
        ctx = StudyContext(plant, rules, ResultBuilder("place", plant.site.name))
        for one in cable_list(ctx, made):
            figures: dict[str, float | str] = {"kw": round(one.kw, 3), "phases": one.phases}
            size = "section to be worked out"
            if one.mm2:
                figures["mm2"] = one.mm2
                size = f"first guess {one.mm2:g} mm2"
            carries = f"{one.kw:.3g} kW" if one.kw else "a board"
            yield Item("power cables", "power_cable", "Feeder", figures,
                       one.way.length_m * one.together, "m", (one.way.tag,), "from the plan",
                       f"for {carries}, {size}")  # fmt: skip
    else:
        for machine in plant.equipment.values():
            for _ in machine.fed_from:
                kw = round(machine.power_kw() * machine.count, 3)
                carries = f"{kw:g} kW" if kw else "a board"
                yield Item("power cables", "power_cable", "Feeder", {"kw": kw}, guess, "m",
                           (machine.id,), "guessed", f"for {carries}")  # fmt: skip
    first = next(iter(plant.able("controls")), None)
    for machine in plant.equipment.values():
        if not (isinstance(machine, Senses) or (isinstance(machine, IsValve) and machine.sensed)):
            continue
        host = plant.equipment[machine.on] if isinstance(machine, Senses) else machine
        start = machine.controlled_by[0] if machine.controlled_by else first and first.id
        body = made.plan.bodies.get(start or "") if made is not None else None
        target = target_of(plant, made.plan, host) if made is not None else None
        long = guess
        sure: LengthFrom = "guessed"
        if made is not None and body is not None and target is not None:
            long, sure = way(made.plan, body, machine.id, target).length_m, "from the plan"
        yield Item("signal cables", "signal_cable", "Signal cable", {}, long * machine.count, "m",
                   (machine.id,), sure)  # fmt: skip
