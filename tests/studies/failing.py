"""Plants and a separate oracle for the failure study: invented, read from the drafted examples."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import networkx as nx

from byrewright.plant.kinds.milk import Valve
from byrewright.plant.plant import Pipe, Plant
from byrewright.plant.read import read_plant
from byrewright.standards.rulebook import default_rulebook
from byrewright.studies.failures.analysis import Analysis, analyse
from byrewright.studies.failures.script import Script, Scripts

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"
LARGE = "rotary_round_the_clock"
SMALL = "rotary_spring_ice"
ROWS = "rows_two_by_twenty"


@cache
def example(name: str = LARGE) -> Plant:
    """A drafted example."""
    return read_plant(EXAMPLES / name / "plant.yaml").plant


@cache
def analysed(name: str = LARGE) -> Analysis:
    """A drafted example with every single failure asked."""
    return analyse(example(name), default_rulebook())


@cache
def written(name: str = LARGE) -> dict[str, Script]:
    """The course of events of every single failure of an example."""
    scripts = Scripts(analysed(name))
    return {c.event.id: scripts.of(c) for c in analysed(name).cases}


def changed(plant: Plant, drop: tuple[str, ...] = (), **fields: dict[str, object]) -> Plant:
    """A plant with fields of machines changed, or machines left out with their pipes."""
    equipment = {
        tag: one.model_copy(update=fields[tag]) if tag in fields else one
        for tag, one in plant.equipment.items() if tag not in drop
    }  # fmt: skip
    pipes = tuple(
        p for p in plant.pipes
        if not {p.start.partition(".")[0], p.end.partition(".")[0]} & set(drop)
    )  # fmt: skip
    return plant.model_copy(update={"equipment": equipment, "pipes": pipes})


def with_way_round(plant: Plant, tag: str, valve: str) -> Plant:
    """A hand valve as a way round a two-way valve, closed in every mode."""
    machine = Valve(id=valve, normally="closed")
    own = plant.pipes_at(tag)
    ends = []
    for port in ("a", "b"):
        pipe = next(p for p in own if f"{tag}.{port}" in (p.start, p.end))
        ends.append(pipe.end if pipe.start == f"{tag}.{port}" else pipe.start)
    pipes = []
    for port, end, name in (("a", ends[0], "LX1"), ("b", ends[1], "LX2")):
        start, stop = (end, f"{valve}.a") if port == "a" else (f"{valve}.b", end)
        pipes.append(Pipe(id=name, start=start, end=stop, bore_mm=98, length_m=1,
                          service=plant.service_of(own[0])))  # fmt: skip
    return plant.model_copy(update={
        "equipment": {**plant.equipment, valve: machine}, "pipes": (*plant.pipes, *pipes),
    })  # fmt: skip


def oracle(plant: Plant, lost: set[str]) -> bool:
    """Whether milking can go on with machines lost, every valve free: written apart, from the file.

    Power and air by walking names; vacuum and milk by reaching on a plain graph of machines' ports.
    """

    def live(tag: str, seen: frozenset[str] = frozenset()) -> bool:
        if tag in lost or tag in seen:
            return False
        feeds = plant.equipment[tag].fed_from
        return not feeds or any(live(f, seen | {tag}) for f in feeds)

    one = plant.equipment
    runs = {t for t in one if live(t)}
    air = _graph(plant, lost, runs, {"air"})
    tanks = {
        t for t, m in one.items() if m.can("stores air") and t not in lost and any(
            c in runs and nx.has_path(air, f"{c}.outlet", f"{t}.*")
            for c, k in one.items() if k.can("makes air") and f"{c}.outlet" in air)
    }  # fmt: skip
    held = {
        t for t, m in one.items()
        if isinstance(m, Valve) and m.moved_by == "air" and m.air_from
        and not tanks & set(m.air_from)
    }  # fmt: skip
    vacuum = _graph(plant, lost, runs, {"vacuum"})
    pumps = [t for t, m in one.items() if m.can("makes vacuum") and t in runs]
    sucks = {n for n in vacuum if any(nx.has_path(vacuum, n, f"{p}.inlet") for p in pumps
                                      if f"{p}.inlet" in vacuum)}  # fmt: skip
    beat = all(t in runs and f"{t}.vacuum" in sucks for t, m in one.items() if m.KIND == "pulsator")
    turns = any(t in runs for t, m in one.items() if m.can("turns deck"))
    deck = "PF1" not in lost and (turns or not plant.able("turns deck"))
    dry = {f"{t}.*" for t, m in one.items() if m.KIND == "receiver" and f"{t}.vacuum" not in sucks}
    milk = _graph(plant, lost, runs, {"milk"}, held)
    milk.remove_nodes_from(dry & set(milk))
    stores = [f"{t}.*" for t, m in one.items() if t not in lost and f"{t}.*" in milk and (
        m.can("stores milk") or getattr(m, "direct", False))]  # fmt: skip
    flows = any(nx.has_path(milk, "MU1.*", s) for s in stores) if "MU1.*" in milk else False
    return deck and beat and flows


def _graph(plant: Plant, lost: set[str], runs: set[str], services: set[str],
           held: set[str] | None = None) -> nx.DiGraph:  # fmt: skip
    graph = nx.DiGraph()
    for pipe in plant.pipes:
        if plant.service_of(pipe) in services:
            graph.add_edge(pipe.start, pipe.end)
            graph.add_edge(pipe.end, pipe.start)
    ports = set(graph)
    for tag, machine in plant.equipment.items():
        if tag in lost:
            continue
        for way in machine.inside():
            for a in _named(machine, way.a, ports):
                for b in _named(machine, way.b, ports):
                    if way.how == "driven" and tag not in runs:
                        continue
                    if held and tag in held and _rest(plant, machine) not in way.positions:
                        continue
                    if (
                        not isinstance(machine, Valve)
                        and way.how == "gate"
                        and ("milks" not in way.positions)
                    ):
                        continue
                    graph.add_edge(a, b)
                    both = way.how in ("pass", "gate", "trap") and (
                        "*" not in (way.a, way.b) or (machine.KIND in ("header", "receiver")
                        and (machine.KIND == "header" or "balance" in (way.a, way.b))))  # fmt: skip
                    if both:
                        graph.add_edge(b, a)
    return graph


def _named(machine, declared: str, ports: set[str]) -> list[str]:  # type: ignore[no-untyped-def]
    if declared == "*":
        return [f"{machine.id}.*"]
    stem = declared.rstrip("#")
    return sorted(p for p in ports if p.partition(".")[0] == machine.id and (
        p.partition(".")[2] == declared or (declared.endswith("#")
                                            and p.partition(".")[2].startswith(stem))))  # fmt: skip


def _rest(plant: Plant, valve) -> str:  # type: ignore[no-untyped-def]
    mode = next(n for n, m in plant.modes.items() if m.does == ("milking",))
    rests = {"opens": "open", "closes": "closed", "to_b": "to_b", "to_c": "to_c"}
    return rests.get(valve.on_loss, plant.position(mode, valve.id) or "")
