"""Whether milking goes on with some things broken: by itself, by acts of people, or not at all.

The structure function of the plant, read from its one graph: power through boards and alternative
supplies, control, compressed air, the deck's drives, vacuum from each receiver to the pumps, milk
from the units to a store, pulsation. It is exact for what it states: no judgement of chance here.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any, TypeVar

from byrewright.plant.frames import on_deck
from byrewright.plant.graph import Edge, Node, build, node
from byrewright.plant.plant import Plant
from byrewright.plant.roles import (
    GeneratesPower,
    GivesMilk,
    IsValve,
    JoinsDeck,
    MovesMilk,
    Pulsates,
    PumpsVacuum,
    Senses,
    StandsCows,
    SuppliesPower,
    TurnsDeck,
)
from byrewright.studies.failures.answer import STOPS, Answer
from byrewright.studies.failures.events import FaultEffect, rest
from byrewright.studies.failures.fault_state import FaultState
from byrewright.studies.failures.flows import milk, vacuum
from byrewright.studies.failures.overload import Overload
from byrewright.studies.failures.paths import Found, Net, OperatorAction, OperatorActions
from byrewright.studies.sizing.sizes import listed

T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Needs:
    """What milking asks of the plant. Air in L/min free, milk in L/min, drives in kW."""

    air_units_l_min: float
    air_fixed_l_min: float
    milk_l_min: float
    drive_kw: float
    leak_l_min: float
    backflow_share: float
    slow_share: float
    least_pace: float
    shed_s: float = 0.0
    """Time people need to notice an overload and switch a load off."""
    bears_one_less: frozenset[str] = frozenset()
    """Rollers of which one may break: its neighbours carry its load within their rating."""


Load = Callable[[frozenset[str]], tuple[Overload, ...]]
"""The overloads with some supplies lost."""
Pumped = Callable[[Mapping[str, str | None], frozenset[str]], Mapping[str, float]]
"""What each milk pump gives, L/min, by the positions and the pumps that run."""


class Structure:
    """The plant in one mode, ready to be asked many times."""

    def __init__(self, plant: Plant, mode: str, needs: Needs, pumped: Pumped,
                 load: Load | None = None) -> None:  # fmt: skip
        self.plant = plant
        self.pumped = pumped
        self._load: Load = load or (lambda lost: ())
        self._overloads: dict[frozenset[str], tuple[Overload, ...]] = {}
        self.givers = frozenset(m.id for m in plant.able("gives power"))
        self._ways: dict[Hashable, Any] = {}
        self.mode = mode
        self.needs = needs
        graph = build(plant)
        self.vacuum_net = Net(plant, ("vacuum",), graph)
        self.milk_net = Net(plant, ("milk",), graph)
        self.air_net = Net(plant, ("air",), graph)
        self.air_by_air = any(
            isinstance(valve := plant.equipment[j.machine or ""], IsValve)
            and valve.moved_by == "air" for j in self.air_net.acting
        )  # fmt: skip
        self.nodes = graph.nodes
        self.place = {tag: plant.position(mode, tag) for tag in plant.equipment}
        self.glands = plant.machines(JoinsDeck)
        self.units = plant.machines(GivesMilk)
        self.pumps = plant.machines(PumpsVacuum)
        self.pulsators = plant.machines(Pulsates)
        self.platform = plant.first(StandsCows)
        self.mains = plant.machines(SuppliesPower)
        self.drives = plant.machines(TurnsDeck)
        self.milk_pumps = plant.machines(MovesMilk)
        self.levels = [x for x in plant.machines(Senses) if x.measures == "level"]
        self.stores = frozenset(m for m in self.milk_net.machines if self._stores(m))
        self.milk_starts = [
            body for u in self.units if (body := Node(u.id, "*")) in self.milk_net.near
        ]
        self.receivers = tuple(
            m.id for m in plant.able("holds milk")
            if Node(m.id, m.port_for("vacuum")) in graph.nodes
            and Node(m.id, m.port_for("milk", "out")) in self.milk_net.near
            and not m.can("is an outlet for milk") and m.id in self._below_units()
        )  # fmt: skip

    def _stores(self, tag: str) -> bool:
        """Whether milk may end in a machine: a tank, or where a tanker is loaded direct."""
        machine = self.plant.equipment[tag]
        if machine.can("stores milk"):
            return True
        return machine.can("is an outlet for milk") and bool(getattr(machine, "direct", False))

    def _below_units(self) -> frozenset[str]:
        """Machines that the units' milk can reach with every valve open."""
        seen = [Node(u.id, u.spouts()[0]) for u in self.units]
        found = set(seen)
        while seen:
            here = seen.pop()
            for there, edge, along in self.milk_net.near.get(here, ()):
                if there not in found and self.milk_net.may_pass(edge, along):
                    found.add(there)
                    seen.append(there)
        return frozenset(n.machine for n in found)

    @cached_property
    def drains(self) -> dict[str, bool]:
        """Valves between milk or vacuum and the floor; whether vacuum is behind them."""
        plain = Asked(self, FaultState())
        starts = [Node(u.id, "*") for u in self.units]
        wet = {n.machine for n in self.milk_net.reach(starts, plain.plain)}
        pumps = {m.id for m in self.plant.able("moves milk")}
        gas = set(self.receivers) | set(self.vacuum_net.machines)
        gas |= {m for m in wet if self.plant.equipment[m].can("collects milk")}
        found: dict[str, bool] = {}
        for valve in self.plant.machines(IsValve):
            ends = [n for p in self.plant.pipes_at(valve.id) for n in (node(p.start), node(p.end))]
            near = {n.machine for n in ends} - {valve.id}
            floor = any(self.plant.equipment[m].can("is a drain") for m in near)
            inside = near & (wet | set(self.vacuum_net.machines))
            if floor and inside - pumps:
                found[valve.id] = bool(inside & gas)
        return found

    @cached_property
    def on_deck(self) -> frozenset[str]:
        """Machines carried by the turning deck: joined without passing the gland or a drain."""
        return on_deck(self.plant)

    def overloads(self, off: Iterable[str]) -> tuple[Overload, ...]:
        """Boards that the loss of some supplies overloads: those of each alone, and of all.

        Both, so that a further loss, which may take loads away, never mends an overload.
        """
        gone = frozenset(off) & self.givers
        if gone not in self._overloads:
            worst: dict[str, Overload] = {}
            for lost in {*(frozenset({g}) for g in gone), gone} if gone else ():
                for one in self._load(lost):
                    if one.board not in worst or one.amps > worst[one.board].amps:
                        worst[one.board] = one
            self._overloads[gone] = tuple(worst.values())
        return self._overloads[gone]

    def known(self, key: Hashable, find: Callable[[], T]) -> T:
        """What was found for a key, worked out once."""
        if key not in self._ways:
            self._ways[key] = find()
        found: T = self._ways[key]
        return found

    def gives(self, stuck: Mapping[str, str], running: frozenset[str]) -> Mapping[str, float]:
        """What each milk pump gives, L/min, with some valves stuck and these pumps running."""
        key = ("gives", frozenset(stuck.items()), running)
        return self.known(key, lambda: self.pumped({**self.place, **stuck}, running))

    def ask(self, hits: Iterable[FaultEffect]) -> Answer:
        """Whether milking goes on with these things broken."""
        return Asked(self, FaultState.of(hits)).milking()


class Asked:
    """One question: the plant with its faults. Answers are kept while the question lasts."""

    def __init__(self, structure: Structure, faults: FaultState) -> None:
        self.s = structure
        self.w = faults
        self._power: dict[str, OperatorActions | None] = {}
        self._air: dict[str, OperatorActions | None] = {}
        self._runs: dict[str, OperatorActions | None] = {}
        self._plain: dict[str, OperatorActions | None] = {}
        self._states: dict[Net, Hashable] = {}
        self.over = {o.board: o for o in structure.overloads(faults.off)}

    # Services.

    def power(self, tag: str) -> OperatorActions | None:
        """The acts that give a machine power; None when it has none."""
        if tag in self._power:
            return self._power[tag]
        self._power[tag] = None  # a ring of boards feeds nothing
        self._power[tag] = self._find_power(tag)
        return self._power[tag]

    def _find_power(self, tag: str) -> OperatorActions | None:
        machine = self.s.plant.equipment[tag]
        over = self.over.get(tag)
        if over is not None and not over.holds:
            return None  # it trips again, whatever can be shed
        if not machine.fed_from:
            if isinstance(machine, GeneratesPower) and machine.start_by != "automatic":
                return (OperatorAction("transfer", tag),)
            return ()
        if self.w.no_power and tag in self.s.on_deck:
            sets = min((g.power_rings for g in self.s.glands), default=1)
            if self.w.no_power >= sets:
                return None
        best: OperatorActions | None = None
        for feeder in machine.fed_from:
            if feeder in self.w.off or feeder not in self.s.plant.equipment:
                continue
            acts = self.power(feeder)
            if acts is not None and (best is None or len(acts) < len(best)):
                best = acts
        if best is not None and over is not None and self._trips_first(over):
            return (*best, OperatorAction("reset", tag, listed(over.shed)))
        return best

    def _trips_first(self, over: Overload) -> bool:
        """Whether a board trips before people have switched loads off."""
        return over.trips_s < self.s.needs.shed_s * max(1, len(over.shed))

    def control(self, tag: str) -> OperatorActions | None:
        """The acts that command a machine: by its controller, by hand, or not at all."""
        machine = self.s.plant.equipment[tag]
        if not machine.controlled_by:
            return ()
        deck = self.s.on_deck if self.w.no_signal else frozenset()
        for one in machine.controlled_by:
            cut_off = (tag in deck) != (one in deck)
            power = None if one in self.w.off or cut_off else self.power(one)
            if power is not None:
                return (*power, OperatorAction("start", one)) if self._dropped(one) else power
        way = type(machine).WITHOUT_CONTROL
        if way == "goes on" or getattr(machine, "own_control", False):
            return ()
        return (OperatorAction("run", tag),) if way == "by hand" else None

    def _dropped(self, tag: str) -> bool:
        """Whether a controller went down with the mains, its battery being flat."""
        feeds = set(self.s.plant.equipment[tag].fed_from)
        return bool(feeds & self.w.no_hold) and any(m.id in self.w.off for m in self.s.mains)

    def air(self, tag: str) -> OperatorActions | None:
        """The acts that keep an air receiver under pressure."""
        if tag not in self._air:
            self._air[tag] = self._find_air(tag)
        return self._air[tag]

    def _find_air(self, tag: str) -> OperatorActions | None:
        if tag in self.w.off or tag in self.w.shut:
            return None
        acts: OperatorActions = (OperatorAction("isolate", tag),) if tag in self.w.leaks else ()
        starts, prices = [], {}
        for m in self.s.plant.able("makes air"):
            runs = self.runs(m.id)
            node = Node(m.id, m.port_for("air", "out"))
            if runs is not None and node in self.s.air_net.near:
                starts.append(node)
                prices[m.id] = runs
        found = None
        for start in starts:
            way = self._air_way(start, tag)
            if way is not None:
                every = (*prices[start.machine], *way.acts)
                if found is None or len(every) < len(found):
                    found = every
        if found is None:
            return () if not starts and not self.s.plant.able("makes air") else None
        return (*acts, *found)

    def _air_way(self, start: Node, tag: str) -> Found | None:
        net = self.s.air_net

        def find() -> Found | None:
            return net.search([start], lambda n: n.machine == tag, self.plain)

        # A valve of the air that air moves would be asked before its own air is known.
        return find() if self.s.air_by_air else self.way(net, ("air", start, tag), find)

    def runs(self, tag: str) -> OperatorActions | None:
        """The acts that make a machine run; None when it cannot."""
        if tag not in self._runs:
            self._runs[tag] = self._find_runs(tag)
        return self._runs[tag]

    def _find_runs(self, tag: str) -> OperatorActions | None:
        machine = self.s.plant.equipment[tag]
        if tag in self.w.off or self.w.lost.get(tag, 0.0) >= 0.999:
            return None
        power, control = self.power(tag), self.control(tag)
        if power is None or control is None:
            return None
        acts = [*power, *control]
        if self.s.place[tag] not in ("runs", "ready", None) and machine.can("runs"):
            acts.append(OperatorAction("start", tag))
        if isinstance(machine, MovesMilk) and self._misled(machine):
            acts.append(OperatorAction("run", tag))
        return tuple(dict.fromkeys(acts))

    def _misled(self, pump: MovesMilk) -> bool:
        """Whether the level that leads a pump is not to be trusted."""
        if pump.led_by is None:
            return False
        return pump.led_by in self.w.held or any(
            x.on == pump.led_by and x.id in self.w.held for x in self.s.levels
        )

    # Valves.

    def gate(self, edge: Edge) -> OperatorActions | None:
        """The acts that open a valve's way."""
        assert edge.how is not None and edge.machine is not None
        tag = edge.machine
        valve = self.s.plant.equipment[tag]
        place = self.w.stuck.get(tag) or self.s.place[tag] or ""
        wanted = edge.how.positions
        if not isinstance(valve, IsValve):
            return () if place in wanted else None
        if tag in self.w.stuck:
            if place in wanted:
                return ()
            return None if valve.moved_by == "hand" else (OperatorAction("move", tag, wanted[0]),)
        air = self._moving(valve)
        if (rest(valve, place) if self.rests(valve) else place) in wanted:
            return ()
        if air is None:
            return None
        if air and place in wanted:
            return air  # it goes back by itself
        return (*air, OperatorAction("set", tag, wanted[0]))

    def rests(self, valve: IsValve) -> bool:
        """Whether it has lost its air, its power or its signal."""
        if valve.moved_by == "hand":
            return False
        return self._moving(valve) != () or self.control(valve.id) != ()

    def _moving(self, valve: IsValve) -> OperatorActions | None:
        """The acts that give a valve what moves it; None when it stays at rest."""
        if valve.moved_by != "air" or not valve.air_from:
            return ()
        every = [a for a in (self.air(t) for t in valve.air_from) if a is not None]
        return min(every, key=len) if every else None

    def plain(self, edge: Edge, along: bool) -> OperatorActions | None:
        """Opens what valves and stopped machines shut; the law of most ways."""
        if edge.machine is None:
            return ()
        if edge.id not in self._plain:
            self._plain[edge.id] = self._find_plain(edge, edge.machine)
        return self._plain[edge.id]

    def _find_plain(self, edge: Edge, tag: str) -> OperatorActions | None:
        if tag in self.w.shut:
            return None
        how = edge.how
        assert how is not None
        if how.how == "gate":
            return self.gate(edge)
        if how.how == "driven":
            return self.runs(tag)
        return ()

    def way(self, net: Net, name: Hashable, find: Callable[[], T]) -> T:
        """A way through a net by `plain`, worked out once for each state of what can shut it.

        `name` tells everything else that the way rests on.
        """
        if net not in self._states:
            acts = tuple(self.plain(j, True) for j in net.acting)
            self._states[net] = (acts, frozenset(self.w.shut & net.machines))
        return self.s.known((net, name, self._states[net]), find)

    # What milking needs.

    def milking(self) -> Answer:
        """The whole answer: the first thing that cannot be had decides, else all acts together."""
        parts = [self.deck(), self.pulse(), *self._vacuum_and_milk()]
        for part in parts:
            if not part.goes_on:
                return part
        shed = [OperatorAction("shed", o.board, listed(o.shed)) for o in self.over.values()
                if o.holds and not self._trips_first(o)]  # fmt: skip
        acts = tuple(dict.fromkeys([*(a for part in parts for a in part.acts), *shed]))
        pace = min(part.pace for part in parts)
        spare = next(p.spare_l_min for p in parts if p.why == "vacuum")
        if pace < self.s.needs.least_pace - 1e-9:
            slow = next(p.why for p in parts if p.pace == pace)
            why = f"{slow} carries only {100 * pace:.0f} % of the pace"
            return Answer(STOPS, why=why, pace=pace)
        return Answer(True, acts, "", pace, spare)

    def deck(self) -> Answer:
        """Whether the deck turns, and how fast."""
        platform = self.s.platform
        if platform is not None and platform.id in self.w.off:
            return Answer(STOPS, why=f"{platform.id} must stand")
        if platform is None or platform.layout != "rotary":
            return Answer(True, why="the deck")
        have = 0.0
        acts: list[OperatorAction] = []
        for drive in self.s.drives:
            runs = self.runs(drive.id)
            if runs is not None:
                have += drive.motor_kw * drive.count * (1.0 - self.w.lost.get(drive.id, 0.0))
                acts += runs
        need = self.s.needs.drive_kw
        pace = min(1.0, have / need) if need else 1.0
        bears = self.s.needs.bears_one_less
        slow = {tag for tag, n in self.w.slow.items() if n > 1 or tag not in bears}
        if platform.joint_kit and platform.id in slow:
            acts.append(OperatorAction("clamp", platform.id))
            slow.remove(platform.id)
        if slow:
            pace *= self.s.needs.slow_share
        if have <= 0.0:
            return Answer(STOPS, why="nothing turns the deck", pace=0.0)
        acts += [OperatorAction("lift", d.id) for d in self.s.drives if d.id in self.w.lost]
        return Answer(True, tuple(dict.fromkeys(acts)), "the deck", pace)

    def pulse(self) -> Answer:
        """Whether the pulsators run."""
        acts: list[OperatorAction] = []
        left = 1.0
        for one in self.s.pulsators:
            runs = self.runs(one.id)
            if runs is None:
                return Answer(STOPS, why=f"{one.id} stands: no pulsation")
            acts += runs
            left = min(left, 1.0 - self.w.lost.get(one.id, 0.0))
        return Answer(True, tuple(dict.fromkeys(acts)), "pulsation", max(left, 0.0))

    def _vacuum_and_milk(self) -> list[Answer]:
        air, at = vacuum(self)
        return [air, milk(self, at)] if air.goes_on else [air]
