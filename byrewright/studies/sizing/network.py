"""What the solved liquid network asks of a pump: head at a flow, suction, what lies on its way.

Sizing asks here instead of adding drops of its own; the network is built once for each plant.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TypeVar, cast

from byrewright.engine.liquidgraph import SHUT, Flows, Situation, gates_on
from byrewright.engine.liquids import Liquids, LiquidsUnsolved, liquids_of
from byrewright.engine.liquidstreams import streams
from byrewright.engine.supplies import LEAST_L_MIN
from byrewright.plant.graph import Edge, Node
from byrewright.plant.machine import Port
from byrewright.plant.primitives import Pump
from byrewright.plant.roles import IsValve, MakesCold
from byrewright.studies.sizing.context import StudyContext

T = TypeVar("T")
TIMES, NEAR = 8, 1e-3
"""Solves of a flow that is raised until all have theirs, and how near is enough (our choice)."""


def net_of(ctx: StudyContext) -> Liquids:
    """The liquid network of the plant in hand."""
    known: Liquids | None = ctx.known.get("liquids")
    if known is None or known.plant is not ctx.plant:
        known = ctx.known["liquids"] = liquids_of(ctx.plant, ctx.rules)
    return known


def _kept(ctx: StudyContext, name: tuple[str, ...], made: Callable[[], T]) -> T:
    """What follows from the liquid network alone, worked out once: in `known["net"]`, which a
    caller may keep for plants whose networks are the same."""
    kept: dict[tuple[str, ...], T] = ctx.known.setdefault("net", {})
    if name not in kept:
        kept[name] = made()
    return kept[name]


def pumped_l_min(ctx: StudyContext, tag: str) -> float | None:
    """What a pump gives alone at full speed in the first mode in which it runs, L/min."""
    return _kept(ctx, ("pumped", tag), lambda: _pumped_l_min(ctx, tag))


def _pumped_l_min(ctx: StudyContext, tag: str) -> float | None:
    net = net_of(ctx)
    mine = ctx.plant.equipment[tag].port(net.pumps[tag].inlet)
    alike = {
        t: "stopped" for t, m in net.pumps.items()
        if t != tag and (p := ctx.plant.equipment[t].port(m.inlet)) is not None
        and mine is not None and p.services == mine.services
    }  # fmt: skip
    edges = [j.id for j in net.edges if j.machine == tag and j.how and j.how.how == "driven"]
    ends = [n for j in edges for n in net.ends[j]]
    modes = [n for n in ctx.plant.modes if ctx.plant.position(n, tag) not in (None, "stopped")]
    for mode in modes:
        try:
            flows = net.solve(net.situation(mode, {**alike, tag: "runs"}), frozenset(ends))
        except LiquidsUnsolved:
            continue
        given = sum(abs(flows.l_min.get(j, 0.0)) for j in edges)
        if given > 0.0:
            return given
    return 0.0 if modes else None


@dataclass(frozen=True, slots=True)
class Asked:
    """What a pump must do in a mode at a flow: heads m, losses kPa, and where its liquid goes."""

    pump: str
    mode: str
    goal: str
    l_min: float
    rise_m: float
    friction_kpa: float
    losses_kpa: float
    vacuum_kpa: float
    head_m: float
    npsh_m: float
    source: str
    density_kg_m3: float
    viscosity_mpa_s: float
    pipes_l_min: Mapping[str, float]
    boils_kpa_abs: float
    """Pressure at which its liquid boils."""
    onward_l_min: Mapping[str, float]
    """What flows behind its outlet, by pipe and by way through a machine."""
    end_kpa: float = 0.0
    """Pressure wanted at the end."""


@dataclass(frozen=True, slots=True)
class Want:
    """Liquid wanted at a machine's port: how much, and at what pressure over ambient.

    Where the machine passes it on, the pressure is wanted where it ends.
    """

    node: Node
    l_min: float
    kpa: float = 0.0


def asked(ctx: StudyContext, pump: str, mode: str, l_min: float,
          level_l: Mapping[str, float] | None = None) -> Asked | None:  # fmt: skip
    """Head and suction of a pump that gives a flow alone in a mode; None where its line is shut."""
    net = net_of(ctx)
    beside = _beside(ctx, net, pump)
    s = net.situation(mode, {**dict.fromkeys(beside, "stopped"), pump: "runs"})
    s = replace(s, forced_l_min={pump: l_min}, level_l=dict(level_l or {}))
    rated = net.pumps[pump]
    ends = net.port(pump, rated.inlet), net.port(pump, rated.outlet)
    try:
        flows = net.solve(s, frozenset(ends))
    except LiquidsUnsolved:
        return None
    if any(n not in flows.head_m for n in ends):
        return None
    return _told(net, flows, s, pump, rated, mode, l_min)


def reaching(ctx: StudyContext, pump: str, mode: str, l_min: float,
             wants: Mapping[tuple[str, str], float]) -> float | None:  # fmt: skip
    """The flow of a pump, L/min, at which each port wanted has what it wants, and not less than
    `l_min`; None where one of them is not reached. Ports are (machine, name)."""
    net = net_of(ctx)
    rated = net.pumps[pump]
    q = l_min
    for _ in range(TIMES):
        s = net.situation(mode, {**dict.fromkeys(_beside(ctx, net, pump), "stopped"),
                                 pump: "runs"})  # fmt: skip
        flows = net.solve(replace(s, forced_l_min={pump: q}),
                          frozenset([net.port(pump, rated.outlet)]))  # fmt: skip
        short = 1.0
        for (tag, port), want in wants.items():
            node = net.port(tag, port)
            gets = sum(abs(x) for name, x in flows.l_min.items()
                       if node in net.ends[name] and net.by_id[name].pipe is not None)  # fmt: skip
            if gets <= 0:
                return None
            short = max(short, want / gets)
        q *= short
        if short < 1 + NEAR:
            break
    return q


def hardest(ctx: StudyContext, pump: str, l_min: float) -> Asked | None:
    """The mode that asks most head of a pump at a flow, of those in which it may run."""
    every = [
        one for name in ctx.plant.modes
        if ctx.plant.position(name, pump) not in (None, "stopped")
        and (one := asked(ctx, pump, name, l_min)) is not None
    ]  # fmt: skip
    return max(every, key=lambda a: (a.head_m, a.mode), default=None)


def _beside(ctx: StudyContext, net: Liquids, pump: str) -> list[str]:
    """The pumps that could run in the same lines: of the same liquid, and told apart from it."""
    known = net.kept.setdefault("inlets", {})
    if not known:
        known |= {t: ctx.plant.equipment[t].port(p.inlet) for t, p in net.pumps.items()}
    ports = cast("dict[str, Port | None]", known)
    mine = ports[pump]
    return [t for t, port in ports.items() if t != pump and port is not None
            and port.services == (mine.services if mine is not None else frozenset())]  # fmt: skip


def _told(net: Liquids, flows: Flows, s: Situation, pump: str, rated: Pump, mode: str,
          l_min: float) -> Asked:  # fmt: skip
    inlet, outlet = net.port(pump, rated.inlet), net.port(pump, rated.outlet)
    fluid = flows.fluid[inlet]
    lost = {"pipe": 0.0, "inside": 0.0}
    goal = _follow(net, flows, outlet, 1.0, lost, pump)
    # A ring comes back to the pump: its way out is its way in.
    source = inlet if goal == inlet else _follow(net, flows, inlet, -1.0, lost, pump)
    head = flows.head_m[outlet] - flows.head_m[inlet]
    static = head - lost["pipe"] - lost["inside"]
    vessel = net.vessels.get(source.machine)
    vacuum = abs(net.gas_kpa(vessel, s)) if vessel is not None else 0.0
    suction = net.ambient_kpa + flows.kpa(inlet) - fluid.boils_kpa_abs
    return Asked(
        pump, mode, goal.machine, l_min, round(static - fluid.head_m(vacuum), 6) + 0.0,
        fluid.kpa(lost["pipe"]),
        fluid.kpa(lost["inside"]), vacuum, head, fluid.head_m(suction), source.machine,
        fluid.density_kg_m3, fluid.viscosity_mpa_s, _pipes(net, flows), fluid.boils_kpa_abs,
        _onward_l_min(net, flows, outlet),
    )  # fmt: skip


def _onward_l_min(net: Liquids, flows: Flows, start: Node) -> dict[str, float]:
    """What flows on from a node, by edge, as far as the next vessels and pumps."""
    out: dict[Node, list[tuple[str, Node, float]]] = {}
    for name, q in flows.l_min.items():
        a, b = net.ends[name]
        out.setdefault(a if q > 0 else b, []).append((name, b if q > 0 else a, abs(q)))
    found: dict[str, float] = {}
    todo = [start]
    while todo:
        for name, there, q in out.get(todo.pop(), ()):
            if q < LEAST_L_MIN or name in found or net.by_id[name].machine in net.pumps:
                continue
            found[name] = q
            if there.machine not in net.vessels:
                todo.append(there)
    return found


def _pipes(net: Liquids, flows: Flows) -> dict[str, float]:
    """What flows in each pipe."""
    return {name: abs(q) for name, q in flows.l_min.items() if q and net.by_id[name].pipe}


def ports_to(ctx: StudyContext, pump: str, goals: Sequence[str]) -> list[Node]:
    """The ports of some machines that a pump's liquid could reach, not through one of them."""
    net = net_of(ctx)
    reached = net.ways_from(None, net.port(pump, net.pumps[pump].outlet))
    return [
        n for n, passed in reached.items()
        if n.machine in goals and not net.held(n) and not any(j.machine in goals for j in passed)
    ]  # fmt: skip


def fed_by(ctx: StudyContext, vessel: str, goals: Sequence[str]) -> tuple[str, ...]:
    """The machines among some that what a vessel holds may reach, whatever stands open."""
    net = net_of(ctx)
    starts = {n for ends in net.ends.values() for n in ends if n.machine == vessel and net.held(n)}
    reached = {n.machine for n in net.ways_from(None, *sorted(starts, key=lambda n: n.name))}
    return tuple(tag for tag in goals if tag in reached)


def serve(ctx: StudyContext, group: Sequence[str], wants: Sequence[Want]) -> Asked | None:
    """What one pump of a group, the only ones that run, must do to give all that is wanted at once.

    Each gives an equal share. Valves on the ways stand open, every other user takes nothing, and
    the vessel that they draw from is nearly empty. A control valve is left the pressure it needs.
    None where a want is not reached, or nothing feeds the pump, in any mode.
    """
    net = net_of(ctx)
    pump, rated = group[0], net.pumps[group[0]]
    inlet, outlet = net.port(pump, rated.inlet), net.port(pump, rated.outlet)
    modes = sorted(ctx.plant.modes, key=lambda m: ctx.plant.position(m, pump) != "runs")
    stands = dict.fromkeys(net.pumps, SHUT) | dict.fromkeys(group, "runs")
    every = [net.situation(m, stands) for m in modes]
    for s in (*every, net.every_way(stands)):  # what no mode joins is tried with every valve open
        sources = net.joined(s, inlet)
        if sources:
            return _served(ctx, net, s, group, wants, frozenset(sources), (inlet, outlet))
    return None


def _served(ctx: StudyContext, net: Liquids, s: Situation, group: Sequence[str],
            wants: Sequence[Want], sources: frozenset[str],
            ends: tuple[Node, Node]) -> Asked | None:  # fmt: skip
    inlet, outlet = ends
    reached = net.ways_from(s, outlet)
    gates: dict[str, str] = {}
    taken: dict[Node, float] = {}
    ends_kpa: dict[Node, float] = {}
    for want in (w for w in wants if w.l_min > 0):
        if want.node not in reached:
            return None
        end, onward = _onward(net, s, want.node)
        passed = (*reached[want.node], *onward)
        gates |= gates_on(passed)
        taken[end] = taken.get(end, 0.0) + want.l_min
        ends_kpa[end] = max(ends_kpa.get(end, 0.0), want.kpa + _controls_kpa(ctx, passed))
    capped = frozenset(
        n for j in net.edges if j.how is not None and (net.body(j.a) or net.body(j.b))
        for n in (j.a, j.b)
        if not net.body(n) and not (n.machine in sources and net.gives(n))
    )  # fmt: skip
    whole = sum(taken.values())
    s = replace(s, at={**s.at, **gates}, capped=capped, drawn_l_min=taken,
                forced_l_min=dict.fromkeys(group, whole / len(group)),
                level_l=dict.fromkeys(sources, 0.0))  # fmt: skip
    try:
        flows = net.solve(s, frozenset(ends))
    except LiquidsUnsolved:
        return None
    if not ends_kpa or any(n not in flows.head_m for n in (inlet, outlet, *ends_kpa)):
        return None
    fluid = flows.fluid[inlet]
    short = {n: kpa - flows.kpa(n) for n, kpa in ends_kpa.items()}
    goal = max(short, key=lambda n: (short[n], n.name))
    lost = {"pipe": 0.0, "inside": 0.0}
    _follow(net, flows, goal, -1.0, lost, group[0])
    source = _follow(net, flows, inlet, -1.0, lost, group[0])
    head = flows.head_m[outlet] - flows.head_m[inlet] + fluid.head_m(short[goal])
    at_end = ends_kpa[goal]
    rise = head - lost["pipe"] - lost["inside"] - fluid.head_m(at_end)
    suction = net.ambient_kpa + flows.kpa(inlet) - fluid.boils_kpa_abs
    return Asked(
        group[0], "", goal.machine, whole, round(rise, 6) + 0.0, fluid.kpa(lost["pipe"]),
        fluid.kpa(lost["inside"]), 0.0, head, fluid.head_m(suction), source.machine,
        fluid.density_kg_m3, fluid.viscosity_mpa_s, _pipes(net, flows), fluid.boils_kpa_abs,
        _onward_l_min(net, flows, outlet), at_end,
    )  # fmt: skip


def _onward(net: Liquids, s: Situation, node: Node) -> tuple[Node, tuple[Edge, ...]]:
    """The port of the vessel in which liquid ends that a machine passes on, and its way there."""
    for edge in net.edges:
        if edge.a == node and edge.how is not None and edge.how.how == "pass":
            if net.body(edge.b):
                break
            for end, passed in net.ways_from(s, edge.b).items():
                if net.held(end) and all(j.machine != node.machine for j in passed):
                    port, other = net.ends[passed[-1].id]
                    return (port if other == end else other), (edge, *passed[:-1])
            return edge.b, (edge,)
    return node, ()


def _controls_kpa(ctx: StudyContext, passed: Sequence[Edge]) -> float:
    """Pressure that the control valves on a way need to have a say."""
    machines = (ctx.plant.equipment.get(tag) for tag in {j.machine or "" for j in passed})
    many = sum(isinstance(m, IsValve) and m.duty == "control" for m in machines)
    return many * ctx.number("water.control_valve_kpa")


def _follow(net: Liquids, flows: Flows, start: Node, way: float, lost: dict[str, float],
            pump: str) -> Node:  # fmt: skip
    """Along the widest stream from a node, with its losses; -1 goes against it."""
    onward: dict[Node, list[tuple[float, str, Node]]] = {}
    for name, q in flows.l_min.items():
        if q and net.by_id[name].machine != pump:
            a, b = net.ends[name]
            near, far = (a, b) if (q > 0) is (way > 0) else (b, a)
            onward.setdefault(near, []).append((abs(q), name, far))
    here, seen = start, {start}
    while steps := [step for step in onward.get(here, ()) if step[2] not in seen]:
        _, name, far = max(steps)
        lost[net.by_id[name].what] += way * (flows.head_m[here] - flows.head_m[far])
        here = far
        seen.add(here)
    return here


def dry_in(ctx: StudyContext, tag: str, port: str) -> tuple[str, ...]:
    """Modes with milk running in which no liquid reaches a port: no pump or fall sends any, and no
    source stands open to it. A ring without a pump is taken to be moved by its makers."""
    return _kept(ctx, ("dry", tag, port), lambda: tuple(_dry_in(ctx, tag, port)))


def _dry_in(ctx: StudyContext, tag: str, port: str) -> Iterator[str]:
    net = net_of(ctx)
    node = net.port(tag, port)
    one = ctx.plant.equipment[tag].port(port)
    chilled = one is not None and "coolant" in one.services
    ring = net.ring(node) if chilled else ()
    makes = any(isinstance(ctx.plant.equipment[t], MakesCold) for t in ring)
    if makes and not any(t in net.pumps for t in ring):
        return
    for name, mode in ctx.plant.modes.items():
        if not {"milking", "direct_load"} & set(mode.does):
            continue
        s = net.situation(name)
        flows = net.solve(s, frozenset([node]), broken=[])
        gets = max((abs(q) for j, q in flows.l_min.items() if node in net.ends[j]), default=0.0)
        sources = {t for t, v in net.vessels.items() if v.role == "source"}
        if gets < LEAST_L_MIN and not sources & set(net.joined(s, node)):
            yield name


def usual_milking(ctx: StudyContext) -> list[str]:
    """The modes that milk, the plainest first."""
    modes = ((len(m.does), n) for n, m in ctx.plant.modes.items() if "milking" in m.does)
    return [name for _, name in sorted(modes)]


def milk_way(ctx: StudyContext, marked: Sequence[str]) -> dict[str, tuple[int, float]]:
    """Place in the milk's way (from 0) and share of the milk of each machine marked: of all that
    comes where their milk ends, also of what goes past them.

    In the plainest milking mode, with the pumps that it runs; empty where no milk passes any.
    """
    return _kept(ctx, ("milk way", *marked), lambda: _milk_way(ctx, marked))


def _milk_way(ctx: StudyContext, marked: Sequence[str]) -> dict[str, tuple[int, float]]:
    net = net_of(ctx)
    modes = usual_milking(ctx)
    if not modes:
        return {}
    try:
        flows = net.solve(net.situation(modes[0]))
    except LiquidsUnsolved:
        return {}
    places: dict[str, int] = {}
    passes: dict[str, float] = {}
    milk = {tag for tag, vessel in net.vessels.items() if vessel.holds == "milk"}
    found = [one for one in streams(net, flows, marked) if one.target in milk]
    for one in found:
        for i, tag in enumerate(one.passes):
            places[tag] = max(places.get(tag, 0), i)
            passes[tag] = passes.get(tag, 0.0) + one.l_min
    ends = {one.target for one in found if one.passes}
    whole = sum(one.l_min for one in found if one.target in ends)
    return {tag: (place, passes[tag] / whole) for tag, place in places.items()}
