"""A failure as timed acts on the simulated day: what breaks, what people do, what is mended.

The structure says which machines still run, by themselves and by hand; this turns that into health
of pumps, chillers, heaters and the rest, and into valve positions, stage by stage.
"""

from __future__ import annotations

from collections.abc import Callable, Container, Iterable
from dataclasses import dataclass, replace
from functools import partial
from typing import Literal

from byrewright.engine.liquidgraph import SHUT
from byrewright.plant.graph import Edge, Node, build
from byrewright.plant.machine import Machine
from byrewright.plant.roles import GeneratesPower, IsValve, Senses, SuppliesPower
from byrewright.studies.failures.analysis import Analysis, Case
from byrewright.studies.failures.cups import Cups
from byrewright.studies.failures.events import FaultEffect, rest
from byrewright.studies.failures.fault_state import FaultState
from byrewright.studies.failures.flows import leak_l_min, vacuum
from byrewright.studies.failures.paths import Cost, Net, OperatorAction, OperatorActions
from byrewright.studies.failures.structure import Asked

Item = Literal[
    "machine", "filter", "exchanger", "level", "drive", "gate", "vacuum air", "air leak",
    "halt", "supply",
]  # fmt: skip
"""What a setting acts on. machine: whatever the engine has under its tag.
supply: the water or chilled liquid that reaches it. halt: people stop milking."""

MODE_CHANGE = "mode change"
HALT: tuple[tuple[Item, str, float], ...] = (("halt", "", 1.0),)

Positions = tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class Stage:
    """What holds from a time on: settings that differ from normal, and valves out of place."""

    after_s: float
    settings: tuple[tuple[Item, str, float], ...]
    valves: Positions


@dataclass(frozen=True, slots=True)
class Script:
    """The stages of a failure in order of time; after the last all is as before.

    `only` names the moment at which it shows: a stuck valve is noticed when it should move.
    `fallen` cups fall at once; once there is vacuum again, people take `again_s` to rinse them and
    put them on, and nobody is milked meanwhile.
    `more` are acts that bring back water or cold, which milking itself does not wait for.
    `elsewhere` are modes that want a valve where it no longer goes.
    """

    stages: tuple[Stage, ...]
    repair_s: float
    late_s: float = 0.0
    only: str = ""
    more: OperatorActions = ()
    fallen: float = 0.0
    again_s: float = 0.0
    elsewhere: tuple[str, ...] = ()

    @property
    def longest_wait_s(self) -> float:
        """A bound on how long cows wait: all of the time until people have acted, and then what a
        slower deck or gate takes longer."""
        ends = [s.after_s for s in self.stages[1:]] + [self.repair_s]
        found = 0.0
        for number, (stage, end) in enumerate(zip(self.stages, ends, strict=True), 1):
            held = {item: share for item, _, share in stage.settings}
            pace = min(held.get("drive", 1.0), held.get("gate", 1.0))
            if number < len(self.stages) or "halt" in held:
                pace = 0.0
            found += (1.0 - pace) * max(0.0, end - stage.after_s)
        return found

    def keeps_milk(self, pumps: Container[str]) -> bool:
        """Whether milk may not be pumped away until people act: a pump stands, or a valve is wrong.
        Where nobody has to act, milking goes on as it is."""
        return len(self.stages) > 1 and any(
            s.valves or any(i == "machine" and t in pumps and x < 1.0 for i, t, x in s.settings)
            for s in self.stages
        )

    def hits(self, tags: Container[str]) -> bool:
        """Whether one of these machines is not as usual, or gets no water, at any stage."""
        return any(tag in tags for stage in self.stages for _, tag, _ in stage.settings)

    @property
    def nothing(self) -> bool:
        """Whether the day does not notice."""
        return not self.late_s and not any(s.settings or s.valves for s in self.stages)


def _is_outlet(machine: Machine, at: Node) -> bool:
    port = machine.port(at.port)
    return port is not None and port.direction == "out"


class Scripts:
    """Writes the scripts of one plant."""

    def __init__(self, analysis: Analysis) -> None:
        self.a = analysis
        self.s = analysis.structure
        graph = build(analysis.plant)
        self.water = Net(analysis.plant, ("water",), graph)
        self.cold = Net(analysis.plant, ("coolant", "refrigerant"), graph)
        self.usual = Asked(self.s, FaultState())
        self._usually: dict[Node, OperatorActions | None] = {}
        self._last: tuple[Asked, dict[Node, OperatorActions | None]] = self.usual, {}
        one = analysis.plant.equipment
        self.makes_cold = frozenset(m.id for m in one.values() if m.can("makes cold"))
        self.gives_water = frozenset(
            n for n in self.water.near
            if n.port == "*" and (one[n.machine].can("gives water")
                                  or one[n.machine].can("stores water"))
        )  # fmt: skip
        self.gives_cold = frozenset(
            n
            for n in self.cold.near
            if n.machine in self.makes_cold and (n.port == "*" or _is_outlet(one[n.machine], n))
        )
        self.cups = Cups(analysis.plant, analysis.rules, analysis.duty)
        self.supplied = {
            f"{m.id}.{p.name}": (
                self.water if p.services & {"water"} else self.cold, Node(m.id, p.name)
            )
            for m in analysis.plant.equipment.values() for p in m.ports()
            if p.direction == "in" and p.services <= {"water", "coolant", "refrigerant"}
        }  # fmt: skip

    def of(self, case: Case, hits: tuple[FaultEffect, ...] | None = None) -> Script:
        """The script of a failure (`hits`: of several together)."""
        hits = case.hits if hits is None else hits
        rules = self.a.rules
        repair_s = 3600 * case.event.failure.repair_h * rules.number("failures.repair_factor")
        hand_s = 60 * case.hand_min
        stages = []
        dark_s = self._dark_s(hits)
        if dark_s:
            off = [FaultEffect("off", g.id) for g in self.a.plant.machines(GeneratesPower)]
            dark = Asked(self.s, FaultState.of([*hits, *off]))
            stages.append(self._stage(0.0, dark, case, hands=False, halted=True))
        asked = Asked(self.s, FaultState.of(hits))
        if not hand_s or hand_s > dark_s:
            stages.append(self._stage(dark_s, asked, case, hands=False,
                                      halted=self._at_once(asked)))  # fmt: skip
        if case.stops:
            notice = max(dark_s, 60 * rules.number("failures.notice_min"))
            stages.append(self._stage(notice, asked, case, hands=True, halted=True))
        else:
            hand_s = hand_s or self._cold_s(asked)
            if hand_s and hand_s < repair_s:
                stages.append(self._stage(hand_s, asked, case, hands=True, halted=False))
        only = MODE_CHANGE if all(h.law == "stuck" for h in hits) else ""
        attached = only != MODE_CHANGE  # before a milking no cup is on a cow
        fallen = self.cups.fall(asked, dark_s) if attached else 0.0
        again_s = self.cups.again_s(fallen)
        stages, repair_s = _again(stages, repair_s, again_s)
        late = repair_s if any(h.law == "late" for h in hits) else 0.0
        return Script(
            tuple(stages),
            repair_s,
            late,
            only,
            self.cold_acts(asked),
            fallen,
            again_s,
            self._elsewhere(hits),
        )

    def _elsewhere(self, hits: Iterable[FaultEffect]) -> tuple[str, ...]:
        """Modes in which a valve that sticks, or rests, does not stand where it should."""
        held = {h.machine: h.at for h in hits if h.law in ("stuck", "rests") and h.at}
        plant = self.a.plant
        return tuple(
            name
            for name in plant.modes
            if any(plant.position(name, tag) not in (at, None) for tag, at in held.items())
        )

    def _dark_s(self, hits: Iterable[FaultEffect]) -> float:
        """Seconds without power until an automatic standby set carries the load."""
        lost = {h.machine for h in hits if h.law == "off"}
        if not any(m.id in lost for m in self.a.plant.machines(SuppliesPower)):
            return 0.0
        sets = [g for g in self.a.plant.machines(GeneratesPower)
                if g.start_by == "automatic" and g.id not in lost]  # fmt: skip
        return min((g.start_s for g in sets), default=0.0)

    def _at_once(self, asked: Asked) -> bool:
        """Whether cups lose vacuum or pulsation the moment it happens."""
        air, _ = vacuum(asked)
        slow = {"slow"}
        parts = [air, asked.pulse(), asked.deck()]
        return any(not p.goes_on or any(a.verb not in slow | {"lift"} for a in p.acts)
                   for p in parts)  # fmt: skip

    def _stage(self, after: float, asked: Asked, case: Case, *, hands: bool, halted: bool) -> Stage:
        found: dict[tuple[Item, str], float] = {}
        for machine in self.a.plant.equipment.values():
            self._machine(found, asked, machine, hands)
        for tag, (net, node) in self.supplied.items():
            if not self._supplied(asked, net, node, hands):
                found["supply", tag] = 0.0
        deck = asked.deck()
        pace = deck.pace if deck.goes_on else 0.0
        if pace < 1.0:
            found["drive", ""] = pace
        leak = leak_l_min(asked, hands)
        if leak > 0.0:
            found["vacuum air", ""] = leak
        if halted:
            found["halt", ""] = 1.0
        self._own(found, case, hands)
        valves = self._valves(asked, case, hands)
        return Stage(after, tuple(sorted((i, t, v) for (i, t), v in found.items())), valves)

    def _machine(self, found: dict[tuple[Item, str], float], asked: Asked, machine: Machine,
                 hands: bool) -> None:  # fmt: skip
        tag = machine.id
        share = 1.0 - asked.w.lost.get(tag, 0.0)
        stands_by = bool(self.usual.power(tag))  # a set that people start: it is off anyhow
        fed = stands_by or _allowed(asked.power(tag), hands)
        led = not machine.can("runs") or _allowed(asked.control(tag), hands)
        shed = hands and any(tag in o.shed for o in asked.over.values())
        if tag in asked.w.off or not fed or not led or shed:
            share = 0.0
        if share < 1.0:
            found["machine", tag] = share
        if tag in asked.w.shut and machine.can("filters milk"):
            found["filter", tag] = 0.0
        if tag in asked.w.held and not hands:
            on = machine.on if isinstance(machine, Senses) and machine.measures == "level" else tag
            if self.a.plant.equipment[on].can("holds milk"):
                found["level", on] = 0.0
        if tag in asked.w.leaks and machine.can("stores air") and not hands:
            found["air leak", tag] = 1.0

    def _supplied(self, asked: Asked, net: Net, node: Node, hands: bool) -> bool:
        """Whether water or cold still comes, as far as it came before."""
        before = self._supply(self.usual, net, node)
        if before is None:
            return True
        now = self._supply(asked, net, node)
        if now is None:
            return False
        return hands or len(now) <= len(before)

    def _supply(self, asked: Asked, net: Net, node: Node) -> OperatorActions | None:
        """The acts by which water or cold comes to a port; None where none comes."""
        if asked is not self.usual and asked is not self._last[0]:
            self._last = asked, {}
        known = self._usually if asked is self.usual else self._last[1]
        if node not in known:
            made = tuple(asked.runs(tag) for tag in sorted(self.makes_cold & net.machines))
            search = partial(
                net.search, [node], self._source(net, node), self._opened(asked), back=True
            )
            found = asked.way(net, (node, made), search)
            known[node] = None if found is None else found.acts
        return known[node]

    def _source(self, net: Net, node: Node) -> Callable[[Node], bool]:
        if net is self.water:
            return self.gives_water.__contains__
        return lambda n: n in self.gives_cold and n.machine != node.machine

    def _opened(self, asked: Asked) -> Cost:
        def cost(edge: Edge, along: bool) -> OperatorActions | None:
            if edge.machine in self.makes_cold:
                return asked.runs(edge.machine)
            return asked.plain(edge, along)

        return cost

    def cold_acts(self, asked: Asked) -> OperatorActions:
        """Acts that bring back water or cold where it stopped by itself."""
        found: dict[OperatorAction, None] = {}
        for net, node in self.supplied.values():
            before, now = (self._supply(who, net, node) for who in (self.usual, asked))
            if before is not None and now is not None and len(now) > len(before):
                found |= {a: None for a in now if a not in before}
        return tuple(found)

    def _cold_s(self, asked: Asked) -> float:
        """Seconds until those acts are done (0: there are none)."""
        acts, number = self.cold_acts(asked), self.a.rules.number
        if not acts:
            return 0.0
        return 60 * (number("failures.notice_min") + number("failures.act_min") * len(acts))

    def _own(self, found: dict[tuple[Item, str], float], case: Case, hands: bool) -> None:
        """Effects that are numbers of the machine itself: a fouled cooler, a dirty condenser."""
        effect, tag = case.event.failure.effect, case.event.machine
        machine = self.a.plant.equipment[tag]
        if effect.law == "fouled":
            found["exchanger", tag] = effect.share
        elif effect.law == "duty":
            found["machine", tag] = effect.share
        elif machine.can("brings cows") and effect.law == "off":
            found["gate", ""] = self.a.rules.number("failures.slow_share")
        elif effect.law == "held on" and not hands:
            found["level", getattr(machine, "led_by", None) or tag] = 1.0

    def _valves(self, asked: Asked, case: Case, hands: bool) -> Positions:
        """Valves not where the mode has them: stuck, at rest, or set by people."""
        found: dict[str, str] = {}
        for valve in self.a.plant.machines(IsValve):
            place = self.s.place[valve.id] or ""
            if valve.id in asked.w.stuck:
                found[valve.id] = asked.w.stuck[valve.id]
            elif valve.moved_by != "hand" and not hands and asked.rests(valve):
                found[valve.id] = rest(valve, place)
        if hands:
            for act in case.answer.acts:
                if act.verb in ("set", "move") and act.to:
                    found[act.machine] = act.to
                elif act.verb in ("close", "cap"):
                    found[act.machine] = "closed"
        found |= {
            t: SHUT for t in asked.w.shut if not self.a.plant.equipment[t].can("filters milk")
        }
        return tuple(sorted((v, p) for v, p in found.items() if p and p != self.s.place[v]))


def _again(stages: list[Stage], repair_s: float, again_s: float) -> tuple[list[Stage], float]:
    """The stages with the time in which fallen cups are put on again after the last halt."""
    if not again_s:
        return stages, repair_s
    stages = stages or [Stage(0.0, (), ())]
    halted = [("halt", "") in [s[:2] for s in stage.settings] for stage in stages]
    if halted[-1]:  # stands until the repair
        return [*stages, Stage(repair_s, HALT, ())], repair_s + again_s
    at = max((i for i, one in enumerate(halted) if one), default=-1) + 1
    first = stages[at]
    later = [replace(s, after_s=max(s.after_s, first.after_s + again_s)) for s in stages[at:]]
    held = replace(first, settings=tuple(sorted((*first.settings, *HALT))))
    return [*stages[:at], held, *later], max(repair_s, later[-1].after_s)


def _allowed(acts: tuple[object, ...] | None, hands: bool) -> bool:
    return acts == () or (hands and acts is not None)
