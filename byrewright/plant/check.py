"""Cross checks of a whole plant: what no single field can show. Pure: it knows no file."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from typing import Any

from byrewright.plant.farm import clock, hardness_mmol_l, minutes
from byrewright.plant.graph import Node, build, reached
from byrewright.plant.machine import Machine, Service
from byrewright.plant.plant import Plant
from byrewright.plant.problems import Problem, nearest, problem, show
from byrewright.plant.programme import milkings_of
from byrewright.plant.reads import unread
from byrewright.plant.roles import (
    BalancesMilk,
    BuffersWater,
    DosesWash,
    GivesMilk,
    GivesWater,
    HeatsWater,
    IsValve,
    KeepsWithheld,
    LoadsTankers,
    MakesUpWash,
    ProtectsWater,
    ReceivesMilk,
    RinsesUnits,
    SoftensWater,
    StandsCows,
    StoresMilk,
    TakesWaste,
)
from byrewright.standards.rulebook import default_rulebook
from byrewright.standards.water import MILK_CATEGORY, WASH_CATEGORY

WATER_C = (0.1, 40.0)
AMBIENT_C = (-50.0, 55.0)
MOST_NAMED = 6
"""Valves or modes named in one piece of advice."""
SHARES_ADD_UP = 0.005
"""Shares of the day's milk are written with two figures, so they may miss 1 by this."""

SAME_HEIGHT_M = 0.005
"""Heights nearer than this are the same: dimensions are read to the centimetre (our choice)."""


def check(plant: Plant, regions: Sequence[str] = ()) -> tuple[Problem, ...]:
    """Everything that does not fit together, errors first, each kept in file order.

    `regions` are those that a rulebook holds a milk-temperature rule for: of its own, where none
    are given.

    A `Problem` of severity `error` makes studies meaningless; `advice` does not.
    """
    every = [p for one in CHECKS for p in one(plant)]
    every += _region(plant, regions or default_rulebook().regions_held)
    return tuple(sorted(every, key=lambda p: p.severity != "error"))


def _site(plant: Plant) -> Iterator[Problem]:
    for name, (low, high), code in (
        ("water_temperature_c", WATER_C, "C009"),
        ("ambient_c", AMBIENT_C, "C010"),
    ):
        wrong = [t for t in getattr(plant.site, name) if not low <= t <= high]
        if wrong:
            yield problem(code, key=f"site.{name}", found=show(wrong[0]))


def _region(plant: Plant, held: Sequence[str]) -> Iterator[Problem]:
    if plant.site.region.casefold() not in {r.casefold() for r in held}:
        near = nearest(plant.site.region, held)
        yield problem("C014", key="site.region", found=show(plant.site.region), near=near)


def _herd(plant: Plant) -> Iterator[Problem]:
    herd = plant.herd
    total = sum(g.cows for g in herd.groups)
    if herd.groups and total != herd.cows:
        yield problem("C002", key="herd.groups", found=total, allowed=herd.cows)
    for group in herd.groups:
        if group.withheld_cows > group.cows:
            yield problem("C003", key=f"herd.groups.{group.name}.withheld_cows",
                          found=group.withheld_cows, allowed=group.cows)  # fmt: skip
    if herd.withheld_cows and not plant.machines(KeepsWithheld):
        yield problem("C027", key="herd.groups")


def _milkings(plant: Plant) -> Iterator[Problem]:
    order = sorted(plant.milkings, key=lambda m: minutes(m.start))
    for i, one in enumerate(order):
        after = order[(i + 1) % len(order)]
        key = f"milkings.{one.name}"
        gap = (minutes(after.start) - minutes(one.start)) % 1440
        if after is not one and gap == 0:
            yield problem("C007", key=f"{key}.start", found=one.start)
        elif one.target_h * 60 > (gap or 1440):
            end = clock(minutes(one.start) + one.target_h * 60)
            yield problem("C026", key=f"{key}.target_h", found=f"{one.start} to {end}",
                          allowed=after.start)  # fmt: skip
    milked = {p.name for m in milkings_of(plant.herd, plant.milkings) for p in m.parts}
    for group in plant.herd.all_groups() if plant.milkings else ():
        if group.name not in milked:
            yield problem("C030", key=f"herd.groups.{group.name}", found=show(group.name))
    washes = plant.cleaning.washes_a_day
    if "washes_a_day" in plant.cleaning.model_fields_set and washes > len(plant.milkings):
        yield problem("C031", key="cleaning.washes_a_day", found=washes,
                      allowed=len(plant.milkings))  # fmt: skip
    washing = any("wash" in m.does for m in plant.modes.values())
    if plant.milkings and plant.machines(MakesUpWash) and not washing:
        yield problem("C045", key="modes", found=washes)
    shares = [m.share for m in plant.milkings if m.share is not None]
    if shares and len(shares) == len(plant.milkings) and abs(sum(shares) - 1) > SHARES_ADD_UP:
        yield problem("C028", key="milkings", found=show(round(sum(shares), 3)))
    if not plant.collections:
        yield problem("C020", key="collections")


def _machines(plant: Plant) -> Iterator[Problem]:
    if not plant.machines(GivesMilk):
        yield problem("C004", key="equipment")
    if not plant.machines(StandsCows):
        yield problem("C005", key="equipment")
    if not plant.machines(StoresMilk) and not plant.machines(LoadsTankers):
        yield problem("C006", key="equipment")
    deck = plant.first(StandsCows)
    units = plant.count(GivesMilk)
    if deck and deck.layout == "rotary" and units and units != deck.stalls * deck.count:
        first = plant.machines(GivesMilk)[0]
        yield problem("C029", key=f"equipment.{first.id}.count", found=units,
                      allowed=deck.stalls * deck.count)  # fmt: skip


def _read(plant: Plant) -> Iterator[Problem]:
    """A machine that a study passes over, though it does something in the day."""
    for one, studies, words in unread(plant):
        what = f"{'an' if one.kind[0] in 'aeiou' else 'a'} {one.kind}"
        yield problem("C041", key=f"equipment.{one.id}", found=studies, what=what,
                      allowed=" or ".join(f'"{w}"' for w in words))  # fmt: skip


def _levels(plant: Plant) -> Iterator[Problem]:
    for one in plant.machines(ReceivesMilk):
        for name in ("led_at_l", "stop_at_l", "start_at_l"):
            yield from _within(one, name, one.volume_l)
        stop, start = one.stop_at_l, one.start_at_l
        if stop is not None and start is not None and stop >= start:
            key = f"equipment.{one.id}.stop_at_l"
            yield problem("C011", key=key, found=f"{stop:g} L", allowed=f"start_at_l ({start:g} L)")
    for tank in plant.machines(BalancesMilk):
        yield from _within(tank, "led_at_l", tank.volume_l)


def _within(one: Machine, name: str, volume_l: float) -> Iterator[Problem]:
    level: Any = getattr(one, name)
    if level is not None and level > volume_l:
        key = f"equipment.{one.id}.{name}"
        yield problem("C012", key=key, found=show(level), allowed=show(volume_l))


def _flows(plant: Plant) -> Iterator[Problem]:
    """A pipe between two outlets, or two inlets, carries nothing."""
    for pipe in plant.pipes:
        ways = {_direction(plant, pipe.start), _direction(plant, pipe.end)}
        if ways in ({"in"}, {"out"}):
            what = "take in" if ways == {"in"} else "give out"
            key = f"pipes.{pipe.id}"
            yield problem("C016", key=key, found=pipe.start, allowed=pipe.end, what=what)


def _slopes(plant: Plant) -> Iterator[Problem]:
    """A pipe that states a fall, and ends that lie otherwise."""
    for pipe in plant.pipes:
        asked = max(pipe.slope_pct or 0.0, 0.0) / 100 * pipe.length_m
        if asked and pipe.rise_m and asked + pipe.rise_m > SAME_HEIGHT_M:
            lies = f"{abs(pipe.rise_m):.2f} m {'above' if pipe.rise_m > 0 else 'below'}"
            yield problem("C044", key=f"pipes.{pipe.id}", found=f"{pipe.slope_pct:g}", what=lies,
                          allowed=f"{asked:.2f}")  # fmt: skip


def _direction(plant: Plant, end: str) -> str:
    tag, _, name = end.partition(".")
    machine = plant.equipment.get(tag)
    port = machine.port(name) if machine else None
    return port.direction if port else "both"


def _power(plant: Plant) -> Iterator[Problem]:
    for tag, one in plant.equipment.items():
        way = _feeds_itself(plant, tag)
        if way:
            yield problem("C008", key=f"equipment.{tag}.fed_from", found=", ".join(way))
        if type(one).NEEDS_POWER and not one.fed_from:
            yield problem("C021", key=f"equipment.{tag}", found=tag)
    if not any(m.can("gives power") for m in plant.equipment.values()):
        return
    if plant.wishes.redundancy == "none" and not plant.wishes.no_single_stop:
        return
    for kind in dict.fromkeys(type(m) for m in plant.equipment.values() if m.can("runs")):
        twins = plant.machines(kind)
        boards = {m.fed_from for m in twins}
        if len(twins) > 1 and len(boards) == 1 and len(feeds := next(iter(boards))) == 1:
            names = " and ".join([", ".join(m.id for m in twins[:-1]), twins[-1].id])
            key = f"equipment.{twins[-1].id}.fed_from"
            yield problem("C022", key=key, found=names, allowed=feeds[0])


def _feeds_itself(plant: Plant, tag: str) -> list[str]:
    """The tags on the way when a machine is, in the end, fed from itself."""
    seen: list[str] = []
    front = list(plant.equipment[tag].fed_from)
    while front:
        other = front.pop()
        if other == tag:
            return [tag, *seen]
        if other not in seen and other in plant.equipment:
            seen.append(other)
            front += plant.equipment[other].fed_from
    return []


def _moved(plant: Plant) -> Iterator[Problem]:
    for one in plant.equipment.values():
        if getattr(one, "moved_by", "") == "air" and not one.air_from:
            yield problem("C023", key=f"equipment.{one.id}")


def _modes(plant: Plant) -> Iterator[Problem]:
    if not any("milking" in mode.does for mode in plant.modes.values()):
        yield problem("C001", key="modes")
    working = [n for n, mode in plant.modes.items() if mode.does != ("idle",)]
    stated = {name: _stated(plant, name) for name in working}
    loose = [v for v in plant.machines(IsValve) if v.normally is None]
    loose = [v for v in loose if any(v.id not in stated[name] for name in working)]
    if loose:
        where = [n for n in working if any(v.id not in stated[n] for v in loose)]
        found = _few([f"{v.id} {v.usual()}" for v in loose])
        yield problem("C024", key=f"modes.{where[0]}", found=found, allowed=_few(where))
    for one in plant.equipment.values():
        states = {plant.position(name, one.id) for name in plant.modes}
        told = one.can("runs") or any(one.id in m.positions for m in plant.modes.values())
        if plant.modes and told and states == {"stopped"}:
            yield problem("C025", key=f"equipment.{one.id}")


def _few(names: list[str]) -> str:
    more = len(names) - MOST_NAMED
    return ", ".join(names[:MOST_NAMED]) + (f" and {more} more" if more > 0 else "")


def _stated(plant: Plant, mode: str) -> set[str]:
    """The machines whose position a mode states, itself or through `like`."""
    found: set[str] = set()
    seen: set[str] = set()
    name: str | None = mode
    while name is not None and name in plant.modes and name not in seen:
        seen.add(name)
        found |= set(plant.modes[name].positions)
        name = plant.modes[name].like
    return found


def _backflow(plant: Plant) -> Iterator[Problem]:
    """Drinking water that meets wash or milk with nothing of the needed category between."""
    graph = build(plant)
    out: dict[Node, list[Node]] = {}
    carries: dict[Node, set[Service | None]] = {}
    for edge in graph.edges:
        if edge.how is None:
            for end in (edge.a, edge.b):
                carries.setdefault(end, set()).add(edge.service)
        if edge.service in (None, "water"):
            out.setdefault(edge.a, []).append(edge.b)
            if edge.how is None or edge.how.how in ("pass", "gate"):
                out.setdefault(edge.b, []).append(edge.a)
    meets: tuple[tuple[int, tuple[type[Machine], ...], Service], ...] = (
        (WASH_CATEGORY, (MakesUpWash, DosesWash), "wash"),
        (MILK_CATEGORY, (RinsesUnits,), "milk"),
    )
    for category, sorts, service in meets:
        lines = {n for n, all_ in carries.items() if service in all_}
        for tag in _reached_by_water(plant, graph.nodes, out, category, sorts, lines):
            yield problem("C042", key=f"equipment.{tag}", found=tag, allowed=category)


def _reached_by_water(plant: Plant, nodes: Iterable[Node], out: dict[Node, list[Node]],
                      category: int, sorts: tuple[type[Machine], ...],
                      lines: set[Node]) -> list[str]:  # fmt: skip
    """Machines of some sorts, or at some lines, that water from a source reaches with too little
    between."""
    sources = {one.id for one in plant.machines(GivesWater)}
    front = [n for n in nodes if n.machine in sources]
    seen, told = set(front), dict[str, None]()
    while front:
        here = front.pop(0)
        one = plant.equipment[here.machine]
        if isinstance(one, BuffersWater | MakesUpWash) and one.inlet_air_gap:
            continue
        if isinstance(one, TakesWaste):
            continue
        if isinstance(one, ProtectsWater) and one.protects() >= category:
            continue
        if isinstance(one, sorts) or here in lines:
            told[one.id] = None
            continue
        for there in out.get(here, []):
            if there not in seen:
                seen.add(there)
                front.append(there)
    return sorted(told)


def _hard_water(plant: Plant) -> Iterator[Problem]:
    """Hard water that comes to a heater past no softener."""
    hard = hardness_mmol_l(plant.site, plant.cleaning)
    limit = default_rulebook().number("water.soft_enough_mmol_l")
    if hard is None or hard <= limit:
        return
    graph = build(plant)
    sources = {one.id for one in plant.machines(GivesWater)}
    past = [m.id for m in (*plant.machines(SoftensWater), *plant.machines(MakesUpWash))]
    come = frozenset[str]().union(
        *(reached(plant, graph, sources, mode, ("water",), past=past) for mode in plant.modes)
    )
    for heater in plant.machines(HeatsWater):
        if heater.id in come:
            yield problem("C043", key=f"equipment.{heater.id}", found=f"{hard:.3g}",
                          allowed=f"{limit:g}")  # fmt: skip


CHECKS: tuple[Callable[[Plant], Iterator[Problem]], ...] = (
    _site,
    _herd,
    _milkings,
    _machines,
    _read,
    _levels,
    _flows,
    _slopes,
    _power,
    _moved,
    _backflow,
    _hard_water,
    _modes,
)
