"""What is asked of each mode: conditions on spreads that must never all hold together."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass

from byrewright.plant.plant import Plant
from byrewright.studies.routes.network import (
    EMPTIED,
    FILLS,
    FULL,
    MILKS,
    READY,
    RUNS,
    WASHED,
    Network,
    Roles,
    network,
)
from byrewright.studies.routes.propagation import Propagation, Start, Way, Ways, walk
from byrewright.studies.routes.scene import Reaches, Scene, Stands, other_positions

WASHING = frozenset({"wash", "rinse"})
LEFT_LITRES = 1.0
"""A pipe that holds less than this when not drained is not reported."""


def all_scenes(plant: Plant, net: Network | None = None) -> dict[str, Scene]:
    """The scene of every mode."""
    net = net or network(plant)
    return {mode: scene(plant, mode, net) for mode in plant.modes}


def scene(plant: Plant, mode: str, net: Network | None = None) -> Scene:
    """What is asked of one mode."""
    net = net or network(plant)
    wanted = {m: plant.position(mode, m) for m in plant.equipment}
    made = Scene(mode, frozenset(plant.modes[mode].does), wanted, {}, net)
    _Asker(made, net).everything()
    matters = set().union(*(made.guards(q) for q in made.questions)) if made.questions else set()
    for machine_id in plant.equipment:
        if machine_id in matters:
            others = other_positions(plant, machine_id, wanted[machine_id])
            if any(isinstance(c, Stands) and c == Stands(machine_id, frozenset({FULL}))
                   for q in made.questions for c in q.all_of):  # fmt: skip
                others = (*others, FULL)
            if others:
                made.others[machine_id] = others
    return made


def change(plant: Plant, before: str, after: str, net: Network | None = None) -> Scene:
    """What is asked while the plant goes from one mode to another, machine by machine."""
    from byrewright.studies.routes.classes import HARMS

    net = net or network(plant)
    wanted = {m: plant.position(before, m) for m in plant.equipment}
    does = frozenset(plant.modes[before].does) | frozenset(plant.modes[after].does)
    made = Scene(f"{before} to {after}", does, wanted, {}, net)
    asker = _Asker(made, net, {m: plant.position(after, m) for m in plant.equipment})
    asker.everything()
    made.questions = [q for q in made.questions if HARMS[q.harm].moving]
    for machine_id in plant.equipment:
        target = plant.position(after, machine_id)
        if target is not None and target != wanted[machine_id]:
            made.others[machine_id] = (target,)
    return made


def content_of(tank: str) -> str:
    """The key of the spread of what a tank holds; there is none while the tank is washed."""
    return f"content of {tank}"


@dataclass
class _Asker:
    """Fills a scene. `later` holds the wanted positions after a change."""

    scene: Scene
    net: Network
    later: dict[str, str | None] | None = None

    def __post_init__(self) -> None:
        self.plant = self.net.plant
        self.roles = Roles(self.plant)
        self.does = self.scene.does

    # positions -------------------------------------------------------------------------------

    def could(self, machine: str, positions: Iterable[str]) -> bool:
        """Whether a machine is, or comes to be, in one of the positions."""
        places = {self.scene.wanted.get(machine)}
        if self.later is not None:
            places.add(self.later.get(machine))
        return bool(places & set(positions))

    def bodies(self, machines: Iterable[str]) -> tuple[int, ...]:
        return tuple(self.net.body[m] for m in machines if m in self.net.body)

    # building spreads ------------------------------------------------------------------------

    def propagate(self, key: str, starts: Iterable[Start], ways: Iterable[Way]) -> Propagation:
        made = Propagation(key, tuple(starts), ways if isinstance(ways, Ways) else Ways(ways))
        self.scene.propagations[key] = made
        return made

    def liquid(self, stops: Iterable[int], past: Collection[str] = ()) -> Ways:
        """Liquid ways that do not lead on from the vessels where it stops, nor through machines to
        be passed by; made once for all scenes of a network."""
        key = (frozenset(stops), frozenset(past))
        if key not in self.net.ways:
            ends, avoided = key
            self.net.ways[key] = Ways(
                (a.a, a.b, a.machine, a.may)
                for a in self.net.liquid
                if a.a not in ends and a.owner not in avoided
            )
        return self.net.ways[key]

    def everything(self) -> None:
        self._propagations()
        self._milk()
        self._stored()
        self._foreign()
        self._withheld()
        if self.later is None:
            self._pumps()
            self._past()
            self._vacuum()
            self._seats()
            self._drained()

    def _propagations(self) -> None:
        roles, net = self.roles, self.net
        self.vessels = self.bodies((*roles.tanks, *roles.calves, *roles.withheld, *roles.bays,
                                    *roles.drains, *roles.troughs))  # fmt: skip
        milk: list[Start] = []
        withheld: list[Start] = []
        self.milkers = [u for u in roles.units if self.could(u, (MILKS,))]
        for unit in self.milkers:
            guard = (unit, frozenset({MILKS}))
            plain, marked = net.spouts(unit)
            if marked is not None:
                withheld.append((marked, *guard))
            if plain is not None and marked is None and "withheld_draw" in self.does:
                withheld.append((plain, *guard))
            elif plain is not None:
                milk.append((plain, *guard))
        self.propagate("milk", milk, self.liquid(self.vessels))
        self.propagate("withheld", withheld, self.liquid(self.vessels))
        washed: list[Start] = [
            (net.body[t], t, frozenset({WASHED})) for t in roles.tanks
            if t in net.body and self.could(t, (WASHED,))
        ]  # fmt: skip
        trough: list[Start] = [(n, None, None) for n in self.bodies(roles.troughs)]
        rinse = "rinse" in self.does and "wash" not in self.does
        stops = self.bodies((*roles.drains, *roles.bays, *roles.calves, *roles.withheld))
        milky = [net.body[t] for t in roles.tanks if t in net.body and not self.could(t, (WASHED,))]
        self.propagate("wash", [*washed, *([] if rinse else trough)], self.liquid((*stops, *milky)))
        waters: list[Start] = [(n, None, None) for n in self.bodies(roles.waters)]
        apart = [] if rinse else list(self.bodies(roles.troughs))
        self.propagate("water", [*waters, *(trough if rinse else [])],
                    self.liquid((*stops, *milky, *apart)))  # fmt: skip

    # milk that flows -------------------------------------------------------------------------

    def _milk(self) -> None:
        if not self.scene.propagations["milk"].starts:
            return
        net, roles = self.net, self.roles
        # Milk that gets into a wash trough may run on to the floor: the worse of the two is told.
        through = set(self.vessels) - set(self.bodies(roles.troughs))
        self.propagate("milk on", self.scene.propagations["milk"].starts, self.liquid(through))
        for drain in roles.drains:
            self.scene.ask(
                "milk_lost", drain, Reaches("milk on", self.bodies((drain,))), loses="milk"
            )
        for valve in dict.fromkeys(net.nodes[end].machine for end in net.open_ends):
            ends = tuple(end for end in net.open_ends if net.nodes[end].machine == valve)
            self._to("milk_lost", valve, ends, "milk")
        for trough in roles.troughs:
            self._to("milk_to_wash", trough, self.bodies((trough,)), "milk")
        for tank in roles.tanks:
            body = self.bodies((tank,))
            if self.could(tank, (WASHED,)):
                self.scene.ask("milk_to_wash", tank, Reaches("milk", body),
                               Stands(tank, frozenset({WASHED})), loses="milk")  # fmt: skip
                self._with_the_wash(tank, through)
            wrong = frozenset(self.plant.equipment[tank].states()) - {FILLS, WASHED}
            self.scene.ask("wrong_tank", tank, Reaches("milk", body), Stands(tank, wrong),
                           loses="milk")  # fmt: skip
            if self.could(tank, (FILLS,)):
                self._full(tank)
        for bay in roles.bays:
            if "direct_load" not in self.does:
                self._to("wrong_tank", bay, self.bodies((bay,)), "milk")
        for calf in roles.calves:
            if "calf_draw" in self.does:
                self._full(calf)
            else:
                self._to("wrong_tank", calf, self.bodies((calf,)), "milk")
        for vessel in roles.withheld:
            self._to("wrong_tank", vessel, self.bodies((vessel,)), "milk")

    def _with_the_wash(self, tank: str, stops: set[int]) -> None:
        """Milk that gets into a tank in its wash and runs on to the floor with the wash."""
        net, here = self.net, self.net.body[tank]
        key = f"through {tank}"
        self.propagate(key, [(here, tank, frozenset({WASHED}))], self.liquid(stops - {here}))
        ends = {d: self.bodies((d,)) for d in self.roles.drains}
        for end in net.open_ends:
            valve = net.nodes[end].machine
            ends[valve] = (*ends.get(valve, ()), end)
        for where, nodes in ends.items():
            self.scene.ask("milk_lost", f"{tank} to {where}", Reaches("milk", (here,)),
                           Reaches(key, nodes), loses="milk")  # fmt: skip

    def _to(self, harm: str, subject: str, nodes: tuple[int, ...], loses: str) -> None:
        self.scene.ask(harm, subject, Reaches("milk", nodes), loses=loses)

    def _full(self, vessel: str, propagation: str = "milk") -> None:
        if self.later is None:
            self.scene.ask("overflow", vessel, Reaches(propagation, self.bodies((vessel,))),
                           Stands(vessel, frozenset({FULL})), loses="milk")  # fmt: skip

    # milk that is stored ---------------------------------------------------------------------

    def _stored(self) -> None:
        net, roles = self.net, self.roles
        loading = bool(self.does & {"collection", "direct_load"})
        for tank in roles.tanks:
            if tank not in net.body:
                continue
            here = net.body[tank]
            holds = frozenset(self.plant.equipment[tank].states()) - {WASHED} | {FULL}
            if not self.could(tank, holds):
                continue
            key = content_of(tank)
            self.propagate(
                key, [(here, tank, holds)], self.liquid(n for n in self.vessels if n != here)
            )
            lost = [*self.bodies(roles.drains), *net.open_ends]
            if not loading:
                lost += self.bodies(roles.bays)
            ends = set(self.vessels) - {here, *self.bodies(roles.troughs)}
            self.propagate(f"{key} on", [(here, tank, holds)], self.liquid(ends))
            self.scene.ask("milk_lost", tank, Reaches(f"{key} on", tuple(lost)), loses=tank)
            if "direct_load" in self.does:
                for bay in roles.bays:  # stored milk joins the milk that is loaded direct
                    self.scene.ask("wrong_tank", f"{tank} to {bay}",
                                   Reaches(key, self.bodies((bay,))),
                                   Stands(tank, holds - {EMPTIED}), loses=tank)  # fmt: skip
            self.scene.ask("milk_to_wash", f"{tank} content",
                           Reaches(key, self.bodies(roles.troughs)), loses=tank)  # fmt: skip
        for calf in self._calves_with_milk():
            here = net.body[calf]
            key = content_of(calf)
            self.propagate(key, [(here, None, None)], self.liquid(set(self.vessels) - {here}))
            gone = (*self.bodies(roles.drains), *net.open_ends)
            self.scene.ask("milk_lost", calf, Reaches(key, gone), loses=calf)
            self.scene.ask("milk_to_wash", f"{calf} content",
                           Reaches(key, self.bodies(roles.troughs)), loses=calf)  # fmt: skip

    def _calves_with_milk(self) -> list[str]:
        """The calf vessels that may hold milk: all that a mode as written does not wash."""
        washed = washed_out(self.scene, self.roles.calves, self.later)
        return [c for c in self.roles.calves if c in self.net.body and c not in washed]

    # wash, water and withheld milk -----------------------------------------------------------

    def milk_nodes(self) -> tuple[int, ...]:
        """Where milk flows with every machine in its wanted position."""
        found: set[int] = set()
        for positions in (self.scene.wanted, self.later):
            if positions is not None:
                found |= set(walk(self.scene.propagations["milk"], positions))
        wet = set(self.bodies((*self.roles.drains, *self.roles.troughs)))
        return tuple(sorted(found - wet - set(self.bodies(self.roles.tanks))))

    def _foreign(self) -> None:
        milk = self.milk_nodes()
        for harm, propagation in (("wash_to_milk", "wash"), ("water_to_milk", "water")):
            for subject, nodes, also in self._milk_places(milk):
                self.scene.ask(harm, subject, Reaches(propagation, nodes), *also,
                               loses="milk" if subject == "milk line" else subject)  # fmt: skip

    def _milk_places(
        self, milk: tuple[int, ...]
    ) -> Iterable[tuple[str, tuple[int, ...], tuple[Stands, ...]]]:
        for tank in self.roles.tanks:
            holds = frozenset(self.plant.equipment[tank].states()) - {WASHED} | {FULL}
            if tank in self.net.body and self.could(tank, holds):
                yield tank, self.bodies((tank,)), (Stands(tank, holds),)
        if milk:
            still = () if self.later is None else (Stands(self.milkers[0], frozenset({MILKS})),)
            yield "milk line", milk, still
        collects = self.does & {"collection", "direct_load"}
        if collects or self.does & WASHING:  # a tanker may be coupled while the plant is washed
            bays = self.roles.bays
            washed = () if collects else washed_out(self.scene, bays, self.later)
            for bay in bays:
                if bay not in washed:
                    yield bay, self.bodies((bay,)), ()
        for calf in self._calves_with_milk():
            yield calf, self.bodies((calf,)), ()

    def _withheld(self) -> None:
        if not self.scene.propagations["withheld"].starts:
            return
        for subject, nodes, also in self._milk_places(self.milk_nodes()):
            self.scene.ask("withheld_to_tank", subject, Reaches("withheld", nodes), *also,
                           loses="milk" if subject == "milk line" else subject)  # fmt: skip
        if "direct_load" not in self.does:
            for bay in self.roles.bays:
                self.scene.ask("withheld_to_tank", bay, Reaches("withheld", self.bodies((bay,))))
        for vessel in self.roles.withheld:
            self._full(vessel, "withheld")

    # pumps and receivers ---------------------------------------------------------------------

    def _pumps(self) -> None:
        net = self.net
        flowing = self.does & ({"milking"} | WASHING) or self.milkers
        suck = set(self.bodies(self.roles.receivers))
        into = vessels(net)
        ends = [*sorted(into), *net.open_ends]
        size = len(net.nodes)
        ways: list[Way] = []
        for arc in net.liquid:
            guard, must = arc.machine, arc.must
            ways.append((arc.b + size, arc.a + size, guard, must))
            if (
                arc.b not in into or arc.b in suck
            ):  # nothing falls out of vacuum into an open vessel
                ways.append((arc.b, arc.a, guard, must))
            if arc.how == "driven" and must is not None and RUNS in must:
                ways.append((arc.b + size, arc.a, guard, frozenset({RUNS, READY})))
        starts: list[Start] = [(n + size, None, None) for n in ends if n not in suck]
        self.propagate("pumped away", starts, ways)
        self.propagate("has a way out", [(n, None, None) for n in ends],
                    [(a.b, a.a, a.machine, a.must) for a in net.liquid])  # fmt: skip
        if flowing:
            for receiver in self.roles.receivers:
                here = self.bodies((receiver,))
                away = Reaches("pumped away", here, False)
                if self.scene.propagations["milk"].starts:
                    self.scene.ask("flooded", receiver, Reaches("milk", here), away, loses="milk")
                elif self.does & WASHING:
                    liquid = "water" if "rinse" in self.does and "wash" not in self.does else "wash"
                    self.scene.ask("flooded", receiver, Reaches(liquid, here), away)
        piped = {a.a for a in net.liquid if a.how == "pipe"}
        for pump in self.plant.able("moves liquid"):
            out = net.node(pump.id, pump.inside()[0].b)
            if out in piped:
                self.scene.ask("closed_line", pump.id, Stands(pump.id, frozenset({RUNS})),
                               Reaches("has a way out", (out or 0,), False))  # fmt: skip

    def _past(self) -> None:
        if not self.scene.propagations["milk"].starts:
            return
        ends = [t for t in self.roles.tanks if self.could(t, (FILLS,))]
        ends += self.roles.bays if "direct_load" in self.does else ()
        for harm, machines in (
            ("past_filter", self.roles.filters),
            ("past_cooler", self.roles.coolers),
        ):
            if machines:
                starts = self.scene.propagations["milk"].starts
                self.propagate(harm, starts, self.liquid(self.vessels, machines))
                for end in ends:
                    self.scene.ask(harm, end, Reaches(harm, self.bodies((end,))))

    def _vacuum(self) -> None:
        if not self.milkers:
            return
        net = self.net
        air = [a.id for a in self.plant.able("injects air")]
        openings = [*self.bodies((*self.roles.drains, *air)), *net.open_ends]
        ways = [(a.a, a.b, a.machine, a.may) for a in net.gas]
        self.propagate("air", [(n, None, None) for n in openings], ways)
        inlets = [
            (p.id, net.node(p.id, p.port_for("vacuum"))) for p in self.plant.able("makes vacuum")
        ]
        pumps: list[Start] = [
            (n, p, frozenset({RUNS, READY})) for p, n in inlets if n is not None
        ]  # fmt: skip
        self.propagate("vacuum", pumps, [(a.b, a.a, a.machine, a.must) for a in net.gas])
        for receiver in self.roles.receivers:
            here = self.bodies((receiver,))
            self.scene.ask("vacuum_lost", receiver, Reaches("air", here))
            if pumps:
                self.scene.ask("vacuum_lost", f"{receiver} cut off", Reaches("vacuum", here, False))

    def _seats(self) -> None:
        """Wash may pass one shut seat, or one check backwards, and still must not reach milk."""
        net, size = self.net, len(self.net.nodes)
        wash = self.scene.propagations["wash"]
        ways: list[Way] = []
        for a, b, machine, may in wash.ways:
            ways += [(a, b, machine, may), (a + size, b + size, machine, may)]
        stops = set(net.body.values()) - {w[0] for w in wash.ways}
        for arc in net.closed:
            owner = self.plant.equipment[arc.owner or ""]
            if arc.a not in stops and getattr(owner, "seats", "single") == "single":
                ways.append((arc.a, arc.b + size, None, None))
        self.propagate("wash past one seat", wash.starts, ways)
        for subject, nodes, also in self._milk_places(self.milk_nodes()):
            if subject in self.roles.calves and "calf_draw" not in self.does:
                continue  # milk that stands there is not sold: one seat is enough (our choice)
            past = tuple(n + size for n in nodes)
            self.scene.ask("one_seat", subject, Reaches("wash past one seat", past),
                           Reaches("wash", nodes, False), *also)  # fmt: skip

    # draining --------------------------------------------------------------------------------

    def _drained(self) -> None:
        if "drain_down" not in self.does:
            return
        net = self.net
        ends = [*self.bodies((*self.roles.drains, *self.roles.troughs)), *net.open_ends]
        self.propagate("drains", [(n, None, None) for n in ends],
                    [(a.b, a.a, a.machine, a.must) for a in net.liquid if a.falls])  # fmt: skip
        washed = washed_and_milked(self.net)
        for pipe in self.plant.pipes:
            a, b = net.pipe_ends[pipe.id]
            if (
                not (a in washed and b in washed)
                or litres_in(pipe.bore_mm, pipe.length_m) < LEFT_LITRES
            ):
                continue
            low = [n for n, falls in ((b, pipe.climb_m <= 0), (a, pipe.climb_m >= 0)) if falls]
            self.scene.ask("not_drained", pipe.id, Reaches("drains", tuple(low), False),
                           loses=f"pipe:{pipe.id}")  # fmt: skip


def washed_out(scene: Scene, vessels: Sequence[str],
               later: dict[str, str | None] | None = None) -> tuple[str, ...]:  # fmt: skip
    """The vessels to which, or bays out of whose couplings, a mode as written sends wash or rinse
    water."""
    found = set[int]()
    for positions in (scene.wanted, later):
        for key in ("wash", "water") if positions is not None else ():
            found |= set(walk(scene.propagations[key], positions or {}))
    net = scene.net
    return tuple(v for v in vessels if net.body.get(v) in found)


def no_tanker(scene: Scene) -> dict[str, str]:
    """The bays where a mode is asked as if no tanker were coupled, though it washes, and why."""
    if scene.does & {"collection", "direct_load"}:
        return {}
    if scene.does & WASHING:
        why = "as written it sends wash out of the coupling: tanker away, people clear"
        return dict.fromkeys(washed_out(scene, Roles(scene.net.plant).bays), why)
    why = "only the tank's way to its drain parts its wash from the coupling: uncouple first"
    bays = Roles(scene.net.plant).bays if "tank_wash" in scene.does else ()
    return dict.fromkeys(bays, why)


def litres_in(bore_mm: float, length_m: float) -> float:
    """Content of a full pipe, L.

    >>> round(litres_in(63.5, 10.0), 1)
    31.7
    """
    return 3.141592653589793 / 4 * (bore_mm / 100) ** 2 * length_m * 10


def vessels(net: Network) -> set[int]:
    """The bodies that liquid can run into and rest in: not milking units, not headers."""
    return {
        body for m, body in net.body.items()
        if any(p.direction == "in" for p in net.plant.equipment[m].ports())
        and any(a.b == body for a in net.liquid)
    }  # fmt: skip


def washed_and_milked(net: Network) -> set[int]:
    """Nodes that wash or rinse liquid reaches in some mode and milk reaches in another."""
    plant, roles = net.plant, Roles(net.plant)
    ends = (*roles.drains, *roles.tanks, *roles.calves, *roles.bays)
    stops = {net.body[m] for m in ends if m in net.body}
    ways = Ways((a.a, a.b, a.machine, a.may) for a in net.liquid if a.a not in stops)
    troughs = tuple((net.body[t], None, None) for t in roles.troughs if t in net.body)
    units = ((net.spouts(u)[0], u, frozenset({MILKS})) for u in roles.units)
    milks = tuple((n, u, p) for n, u, p in units if n is not None)
    wet: set[int] = set()
    milky: set[int] = set()
    for mode in plant.modes.values():
        wanted = {m: plant.position(mode.name, m) for m in plant.equipment}
        milky |= set(walk(Propagation("milk", milks, ways), wanted))
        if set(mode.does) & WASHING:
            wet |= set(walk(Propagation("washed", troughs, ways), wanted))
    return wet & milky
