"""Vacuum to the receivers and milk from them to a store, with what is broken."""

from __future__ import annotations

from collections.abc import Mapping
from functools import partial
from typing import TYPE_CHECKING

from byrewright.plant.graph import Edge, Node
from byrewright.plant.roles import IsValve, MovesMilk, PumpsVacuum
from byrewright.studies.failures.answer import STOPS, Answer
from byrewright.studies.failures.paths import Found, OperatorAction, OperatorActions, Propagation

if TYPE_CHECKING:
    from byrewright.studies.failures.structure import Asked

WHOLE = 1e6
"""Air through a whole opening, L/min: more than any pumps draw."""

At = Mapping[str, OperatorActions]
"""The acts that give each receiver vacuum; receivers without it are left out."""


def vacuum(asked: Asked) -> tuple[Answer, At]:
    """Whether the pumps hold the vacuum, at what pace, and which receivers have it."""
    s = asked.s
    starts = {r: Node(r, s.plant.equipment[r].port_for("vacuum")) for r in s.receivers}
    wants = [n for p in s.pulsators if (n := Node(p.id, p.port_for("vacuum"))) in s.vacuum_net.near]
    pumps: dict[str, tuple[float, OperatorActions]] = {}
    at: dict[str, OperatorActions] = {}
    served: dict[Node, OperatorActions] = {}
    propagation = {
        n: asked.way(s.vacuum_net, n, partial(s.vacuum_net.propagate, [n], asked.plain))
        for n in (*starts.values(), *wants)
    }
    for pump in s.pumps:
        runs = asked.runs(pump.id)
        if runs is None:
            continue
        ways = {}
        for node, ahead in propagation.items():
            found = ahead.to(Node(pump.id, pump.port_for("vacuum")))
            if found is not None and node.machine not in asked.w.shut:
                ways[node] = (*runs, *found.acts)
        if not any(n in ways for n in starts.values()):
            continue
        left = pump.capacity_l_min_free * pump.count * (1 - asked.w.lost.get(pump.id, 0.0))
        pumps[pump.id] = (left, min(ways.values(), key=len))
        for node, acts in ways.items():
            if node not in served or len(acts) < len(served[node]):
                served[node] = acts
    for tag, node in starts.items():
        if node in served and tag not in asked.w.off:
            at[tag] = served[node]
    dead = [n.machine for n in wants if n not in served]
    if not at or dead:
        what = f"no vacuum reaches {dead[0]}" if dead and at else "no vacuum reaches a receiver"
        return Answer(STOPS, why=what), {}
    best = None
    for hands in (False, True):
        capacity = sum(q for q, acts in pumps.values() if hands or not acts)
        leak, hand_acts = _leaks(asked, hands)
        need = asked.s.needs
        left = capacity - leak - need.air_fixed_l_min
        pace = min(1.0, left / need.air_units_l_min) if need.air_units_l_min else 1.0
        every = list(hand_acts)
        if hands:
            every += [a for _, some in pumps.values() for a in some]
        if pace < 0.999:
            every.append(OperatorAction("slow"))
        usable = {r: a for r, a in at.items() if hands or not a}
        best = Answer(True, tuple(dict.fromkeys(every)), "vacuum", max(pace, 0.0),
                      max(left - need.air_units_l_min, -1e9))  # fmt: skip
        if usable and pace >= 0.999:
            break
    assert best is not None
    return best, at


def _leaks(asked: Asked, hands: bool) -> tuple[float, list[OperatorAction]]:
    """Air let in by what is broken, L/min free, once people have done what they can."""
    s, w = asked.s, asked.w
    total = 0.0
    acts: list[OperatorAction] = []
    for tag in sorted(w.leaks):
        if tag in s.vacuum_net.machines:
            total += s.needs.leak_l_min
    for tag in sorted(w.opens):
        machine = s.plant.equipment[tag]
        way = _open_to_vacuum(asked, tag)
        if way is None:
            continue
        closable = [j.machine for j in way.edges if _closable(asked, j)]
        if hands and closable:
            acts.append(OperatorAction("close", closable[0] or ""))
        elif hands and machine.can("regulates vacuum"):
            acts.append(OperatorAction("fixed", tag))
        else:
            total += float(getattr(machine, "capacity_l_min_free", WHOLE))
    for tag, sucks in spills(asked):
        if hands:
            acts.append(shut_by_hand(asked, tag))
        elif sucks:
            total += WHOLE
    for tag in sorted(w.passes):
        amount, act = _backflow(asked, tag, hands)
        if hands and act:
            acts.append(OperatorAction("close", act))
        else:
            total += amount
    return total, acts


def spills(asked: Asked) -> list[tuple[str, bool]]:
    """Valves stuck open to the floor where milk goes, and whether air is sucked in there."""
    s = asked.s
    found = []
    for tag, place in sorted(asked.w.stuck.items()):
        if place == s.place[tag] or tag not in s.drains:
            continue
        valve = s.plant.equipment[tag]
        opens = {p for way in valve.inside() for p in way.positions}
        if place in opens and s.place[tag] not in opens:
            found.append((tag, s.drains[tag]))
    return found


def shut_by_hand(asked: Asked, tag: str) -> OperatorAction:
    """What shuts a valve that is stuck open."""
    hand = getattr(asked.s.plant.equipment[tag], "moved_by", "hand") == "hand"
    return OperatorAction("cap", tag) if hand else OperatorAction("move", tag, "closed")


def leak_l_min(asked: Asked, hands: bool) -> float:
    """Air let in by what is broken, L/min free; `hands`: once people have done what they can."""
    return _leaks(asked, hands)[0]


def _open_to_vacuum(asked: Asked, tag: str) -> Found | None:
    """The open way by which outside air comes from a machine into the vacuum."""
    s = asked.s
    if s.plant.equipment[tag].can("regulates vacuum"):
        return Found((), (), Node(tag, s.plant.equipment[tag].port_for("vacuum")))
    nodes = [n for n in s.nodes if n.machine == tag and n.port != "*"]
    lines = {
        n.machine for n in s.milk_net.near if asked.s.plant.equipment[n.machine].can("gives milk")
    }
    lines |= {j.b.machine for n in s.milk_net.near for _, j, _ in s.milk_net.near[n]
              if j.a.machine in lines}  # fmt: skip

    def cost(edge: Edge, along: bool) -> OperatorActions | None:
        if edge.machine == tag or edge.how is None or edge.how.how != "gate":
            return ()
        place = asked.w.stuck.get(edge.machine or "") or s.place[edge.machine or ""]
        return () if place in edge.how.positions else None

    return s.air_net.search(nodes, lambda n: n.machine in lines, cost)


def _closable(asked: Asked, edge: Edge) -> bool:
    machine = asked.s.plant.equipment.get(edge.machine or "")
    return isinstance(machine, IsValve) and machine.id not in asked.w.stuck


def _backflow(asked: Asked, tag: str, hands: bool) -> tuple[float, str]:
    """Air that comes back through a pump at rest whose check valve leaks; the valve to shut."""
    s = asked.s
    near = s.vacuum_net.near
    start = Node(tag, s.plant.equipment[tag].port_for("vacuum", "in"))
    if start not in near:
        return 0.0, ""
    pump = next((p for p in s.pumps if _feeds(asked, tag, p)), None)
    if pump is None or asked.runs(pump.id) == () or (hands and asked.runs(pump.id)):
        return 0.0, ""
    amount = s.needs.backflow_share * pump.capacity_l_min_free * pump.count
    for edge in _chain(asked, start):
        if _closable(asked, edge):
            return amount, edge.machine or ""
    after = Node(tag, s.plant.equipment[tag].port_for("vacuum", "out"))
    for edge in _chain(asked, after):
        if _closable(asked, edge):
            return amount, edge.machine or ""
    return amount, ""


def _feeds(asked: Asked, tag: str, pump: PumpsVacuum) -> bool:
    """Whether a check valve stands in the pump's own suction."""
    after = Node(tag, asked.s.plant.equipment[tag].port_for("vacuum", "out"))
    ends = {n.machine for j in _chain(asked, after) for n in (j.a, j.b)}
    return pump.id in ends


def _chain(asked: Asked, start: Node, net: str = "vacuum") -> list[Edge]:
    """The edges in line with a port, up to the first place where ways part."""
    near = (asked.s.vacuum_net if net == "vacuum" else asked.s.milk_net).near
    here = start
    found: list[Edge] = []
    seen = {start}
    while True:
        onward = [(n, j) for n, j, _ in near.get(here, ()) if n not in seen
                  and j.machine != start.machine]  # fmt: skip
        if len(onward) != 1:
            return found
        here, edge = onward[0]
        seen.add(here)
        found.append(edge)


def milk(asked: Asked, at: At) -> Answer:
    """Whether milk gets from the units to a store, through receivers that have vacuum."""
    s = asked.s
    stores = s.stores - (asked.w.off & asked.w.shut)
    starts = s.milk_starts

    def cost(edge: Edge, along: bool) -> OperatorActions | None:
        tag = edge.machine
        if tag in s.receivers and (edge.b if along else edge.a) == Node(tag, "*"):
            return at.get(tag)  # by whichever port milk comes in, from the balance line too
        return asked.plain(edge, along)

    def ends(n: Node) -> bool:
        return n.machine in stores and n.port == "*"

    net, served = s.milk_net, frozenset(at.items())
    ways = asked.way(net, served, partial(net.propagate, starts, cost))
    found = ways.first(ends)
    if found is None:
        return Answer(STOPS, why=_where_it_ends(asked, at))
    acts = list(found.acts)
    reached = ways.free
    for tag in s.receivers:
        body = Node(tag, "*")
        if at.get(tag) == () and body in reached:
            find = partial(net.search, [body], ends, cost)
            out = asked.way(net, (body, served, stores), find)
            if out is None:
                acts.append(OperatorAction("stand", tag))
            else:
                acts += out.acts
    backs = _milk_backflow(asked, found)
    if backs is None:
        return Answer(STOPS, why="milk runs back through a pump that stands still")
    acts += backs
    acts += [shut_by_hand(asked, tag) for tag, sucks in spills(asked) if not sucks]
    pace = _pump_pace(asked, ways)
    return Answer(True, tuple(dict.fromkeys(acts)), "the milk pumps", pace)


def _where_it_ends(asked: Asked, at: At) -> str:
    """The first machine on the usual way of milk that milk cannot pass."""
    s = asked.s
    seen = {n.machine for n in s.milk_net.reach([Node(u.id, "*") for u in s.units], asked.plain)}
    broken = sorted((asked.w.off | asked.w.shut | set(asked.w.stuck)) & s.milk_net.machines)
    if broken:
        return f"milk does not get past {broken[0]}"
    last = sorted(t for t in seen if isinstance(s.plant.equipment[t], MovesMilk))
    return f"milk reaches no store{f'; it gets as far as {last[-1]}' if last else ''}"


def _milk_backflow(asked: Asked, way: Found) -> list[OperatorAction] | None:
    """Acts that stop milk coming back through leaking check valves of pumps that stand still."""
    acts: list[OperatorAction] = []
    for tag in sorted(asked.w.passes):
        before = Node(tag, asked.s.plant.equipment[tag].port_for("milk", "in"))
        if before not in asked.s.milk_net.near:
            continue
        pump = next((p for p in asked.s.milk_pumps
                     if any(p.id in (j.a.machine, j.b.machine)
                            for j in _chain(asked, before, "milk"))), None)  # fmt: skip
        if pump is None or asked.runs(pump.id) is not None:
            continue
        every = [*_chain(asked, Node(pump.id, pump.port_for("milk", "in")), "milk"),
                 *_chain(asked, Node(pump.id, pump.port_for("milk", "out")), "milk")]  # fmt: skip
        shut = next((j.machine for j in every if _closable(asked, j) and j not in way.edges), None)
        if shut is None:
            return None
        acts.append(OperatorAction("close", shut))
    return acts


def _pump_pace(asked: Asked, ways: Propagation) -> float:
    """The share of the pace that the pumps of each stage carry together: each what the solved
    network says with those that still run, its rated flow where a valve must first be set."""
    s = asked.s
    stages: dict[int, float] = {}
    running = [p for p in s.milk_pumps if asked.runs(p.id) is not None
               and Node(p.id, p.port_for("milk", "in")) in s.milk_net.near]  # fmt: skip
    gives = s.gives(asked.w.stuck, frozenset(p.id for p in running))
    for pump in running:
        way = ways.to(Node(pump.id, pump.port_for("milk", "out")))
        if way is None:
            continue
        depth = sum(1 for m in way.machines if isinstance(s.plant.equipment[m], MovesMilk))
        l_min = gives.get(pump.id) or pump.flow_l_min * pump.count
        stages[depth] = stages.get(depth, 0.0) + l_min * (1 - asked.w.lost.get(pump.id, 0.0))
    flow = s.needs.milk_l_min
    return min([1.0, *(q / flow for q in stages.values())]) if flow else 1.0
