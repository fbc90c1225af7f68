"""Which figure of the plan mends what it fails: each is tried on the plan before it is told.

A machine is moved to the nearest place that is free for it and its floor, a stated room is made
larger, a way point is left out. What breaks something else on the way is no remedy.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from types import MappingProxyType

from byrewright.place import checks
from byrewright.place.ends import nets
from byrewright.place.model import Body, Plan
from byrewright.plant.pinning import place_of
from byrewright.plant.place import MachinePlace, Place, RackPlace, RoomPlace
from byrewright.plant.plant import Plant
from byrewright.plant.sited import Sited, sited
from byrewright.results import Remedy
from byrewright.studies.sizing.context import StudyContext

STEP_M, STEPS = 0.05, 80
"""A machine is tried this far away, and as often as that, along and across."""
SHIFTS_M = (0.1, 0.2, 0.3, 0.5, 0.8)
"""How far a machine is moved so that its pipes find another way."""
PROVEN, PIPES_PROVEN = 4, 14
"""Plans that are made anew to prove a remedy, for machines and for pipes."""
LEFT_OUT = 5
"""Machines that are tried without the place that a person gave them."""
LARGER = (1.0, 1.5, 2.5)
"""By how many times what is short a room is made larger."""
UP = 20  # parts of a metre that a room grows by
RACK_WIDER = (1.0, 1.15, 1.4)
"""By how many times what its pipes take now a rack is made wider: laid anew, they may take more."""
NONE = " No place is free for it there: take machines out of the room, or build it larger."
MOVES = ("none", "spread")

Needs = Mapping[str, float]
NO_NEEDS: Needs = MappingProxyType({})
"""Free floor that machines ask before them, where it is more than their own, m."""


@dataclass(frozen=True, slots=True)
class Mends:
    """What mends the findings of one plan; nothing where it is not asked for."""

    ctx: StudyContext
    made: Sited
    asked: bool

    @property
    def _gap_m(self) -> float:
        return self.ctx.number("place.pipe_gap_least_mm") / 1000

    def none(self, words: str = NONE) -> str:
        """What is said where nothing was found that mends it."""
        return words if self.asked else ""

    def moves(self, wrong: Sequence[str], needs: Needs = NO_NEEDS) -> tuple[Remedy, ...]:
        """Machines moved so that none of `wrong` is wrong any more."""
        if not wrong or not self.asked:
            return ()
        return moves(self.ctx.plant, self.made, wrong, needs, self._gap_m)

    def larger_room(
        self, room: str, wrong: Sequence[str], needs: Needs = NO_NEEDS
    ) -> tuple[Remedy, ...]:
        """A room made larger for them."""
        if not wrong or not self.asked:
            return ()
        return larger_room(self.ctx.plant, self.made, room, wrong, needs, self._gap_m)

    def roomier(
        self, room: str, wrong: Sequence[str], needs: Needs = NO_NEEDS
    ) -> tuple[Remedy, ...]:
        """Machines of a room moved so that each has its floor, else the room made larger."""
        return self.moves(wrong, needs) or self.larger_room(room, wrong, needs)

    def other_ways(
        self, pairs: Sequence[tuple[str, str]], look: Callable[[Sited], Sequence[tuple[str, str]]]
    ) -> tuple[Remedy, ...]:
        """What lets pipes find a way in which `look` finds nothing."""
        if not pairs or not self.asked:
            return ()
        return other_ways(self.ctx.plant, self.made, pairs, look, self._gap_m)

    def higher_racks(
        self, short_m: float, look: Callable[[Sited], Sequence[tuple[str, str]]]
    ) -> tuple[Remedy, ...]:
        """A stated rack hung so much higher that `look` finds nothing."""
        racks = self._racks if self.asked else {}
        tried = [
            (name, "level_m", math.ceil((rack.level_m + short_m) * UP - 1e-6) / UP, "people pass")
            for name, rack in racks.items()
        ]
        return self._rack(tried, look)

    def wider_rack(
        self, name: str, wide_m: float, look: Callable[[Sited], Sequence[tuple[str, str]]]
    ) -> tuple[Remedy, ...]:
        """A stated rack made so wide that `look` finds nothing."""
        wide = [math.ceil(wide_m * many * UP - 1e-6) / UP for many in RACK_WIDER]
        tried = [(name, "wide_m", to, "its pipes lie side by side") for to in wide]
        return self._rack(tried if self.asked and name in self._racks else (), look)

    @property
    def _racks(self) -> Mapping[str, RackPlace]:
        return _place(self.ctx.plant).racks

    def _rack(
        self, tried: Iterable[tuple[str, str, float, str]],
        look: Callable[[Sited], Sequence[tuple[str, str]]],
    ) -> tuple[Remedy, ...]:  # fmt: skip
        plant, place = self.ctx.plant, _place(self.ctx.plant)
        for name, figure, to, why in tried:
            one = place.racks[name].model_copy(update={figure: to})
            there = place.model_copy(update={"racks": {**place.racks, name: one}})
            found = sited(plant.model_copy(update={"place": there}))
            if found and not look(found) and not _worse(self.made, found, self._gap_m):
                return (Remedy(f"place.racks.{name}", figure, to, why),)
        return ()

    def to_move(self, a: str, b: str) -> str:
        """Which of two machines is moved: the one that a person put there, else the smaller."""
        one, other = self.made.plan.bodies[a], self.made.plan.bodies[b]
        if one.pinned != other.pinned:
            return a if one.pinned else b
        return min((one, other), key=lambda m: (m.dx * m.dy, m.tag)).tag


def moves(plant: Plant, made: Sited, wrong: Sequence[str], needs: Needs, gap_m: float) -> tuple[
    Remedy, ...
]:  # fmt: skip
    """Where machines would have to stand so that none of `wrong` overlaps another, reaches out of
    its room or lacks its floor, or which is left where the plan has a place for it; nothing where
    no such place was found."""
    moved: tuple[Remedy, ...] = ()
    far = math.inf
    for first in itertools.islice(_ways(made.plan, wrong, needs), PROVEN):
        if _proven(_moved(plant, made.plan, first.values()), made, wrong, needs, gap_m):
            moved = tuple(_told(made.plan, body) for body in first.values())
            far = sum(_far(made.plan, body) for body in first.values())
            break
    for tag, remedy, trial in _left_out(plant, made, wrong):
        found = _proven(trial, made, wrong, needs, gap_m)
        if found is not None and (not moved or _far(made.plan, found.plan.bodies[tag]) < far):
            return (remedy,)
    return moved


def _proven(
    trial: Plant, made: Sited, wrong: Sequence[str], needs: Needs, gap_m: float
) -> Sited | None:
    """The plan of a plant in which nothing of `wrong` is wrong any more and nothing else became
    so; None where that is not so."""
    found = sited(trial)
    if found is None or _wrong(found.plan, wrong, needs) or _worse(made, found, gap_m):
        return None
    return found


def _far(plan: Plan, there: Body) -> float:
    """How far a machine is moved, m."""
    old = plan.bodies[there.tag]
    return math.dist((old.x, old.y), (there.x, there.y))


def larger_room(plant: Plant, made: Sited, room: str, wrong: Sequence[str], needs: Needs,
                gap_m: float) -> tuple[Remedy, ...]:  # fmt: skip
    """A stated room made larger towards where the floor is short; nothing where it is not stated,
    or where that helps nothing."""
    stated = plant.place.rooms.get(room) if plant.place else None
    if stated is None or room not in made.plan.rooms:
        return ()
    here = made.plan.rooms[room]
    for many, side in itertools.product(LARGER, _sides(made.plan, wrong, needs)):
        short = max(side[1] * many, STEP_M)
        grown = _grown(stated, side[0], math.ceil(short * UP - 1e-6) / UP)
        trial = plant.model_copy(update={"place": _with_room(plant, room, grown)})
        found = _proven(trial, made, wrong, needs, gap_m)
        if found is None or _rooms_meet(found.plan, room, made.plan):
            continue
        wide, deep = grown.size
        why = f"{wide:.2f} x {deep:.2f} m instead of {here.w:.2f} x {here.d:.2f} m"
        told = [Remedy(f"place.rooms.{room}", "size", tuple(grown.size), why)]
        if grown.at != stated.at:
            told.insert(0, Remedy(f"place.rooms.{room}", "at", tuple(grown.at), why))
        return tuple(told)
    return ()


def other_ways(
    plant: Plant, made: Sited, pairs: Sequence[tuple[str, str]],
    look: Callable[[Sited], Sequence[tuple[str, str]]], gap_m: float,
) -> tuple[Remedy, ...]:  # fmt: skip
    """What lets pipes find another way so that `look` finds no pair: a way point left out, a
    machine at their ends moved a little, or a machine left where the plan has a place for it.
    `pairs` name pipes, and what they are too near to."""
    wanted = {tag for pair in pairs for tag in pair}
    tried = itertools.chain(
        itertools.islice(_changes(plant, made, wanted), PIPES_PROVEN),
        ((remedy, trial) for _, remedy, trial in _left_out(plant, made, wanted)),
    )
    for remedy, trial in tried:
        found = sited(trial)
        if found is not None and not look(found) and not _worse(made, found, gap_m):
            return (remedy,)
    return ()


def _left_out(
    plant: Plant, made: Sited, wanted: Iterable[str] = ()
) -> Iterator[tuple[str, Remedy, Plant]]:
    """Machines that a person put somewhere, each left where the plan has a place for it."""
    place, wanted = _place(plant), set(wanted)
    pinned = [t for t, one in place.machines.items() if one.at is not None and one.on is None]
    for tag in sorted(pinned, key=lambda t: (t not in wanted, t))[:LEFT_OUT]:
        own = place.machines[tag].model_copy(update={"at": None})
        machines = {**place.machines, tag: own}
        yield (
            tag,
            Remedy(f"place.machines.{tag}", "at", (), "it fits where the plan has a place for it"),
            plant.model_copy(update={"place": place.model_copy(update={"machines": machines})}),
        )


def _changes(plant: Plant, made: Sited, wanted: set[str]) -> Iterator[tuple[Remedy, Plant]]:
    lines = {
        line.tag for net in nets(made.plan) for line in net.lines
        if net.key in wanted or line.tag in wanted
    }  # fmt: skip
    for pipe in plant.pipes:
        for figure in ("by", "along"):
            if pipe.id in lines and getattr(pipe, figure):
                pipes = tuple(p.model_copy(update={figure: ()}) if p.id == pipe.id else p
                              for p in plant.pipes)  # fmt: skip
                why = "without it a free way is found"
                yield (Remedy(pipe.id, figure, (), why),
                       plant.model_copy(update={"pipes": pipes}))  # fmt: skip
    ends = {e.partition(".")[0] for p in plant.pipes if p.id in lines for e in (p.start, p.end)}
    mine = [made.plan.bodies[t] for t in sorted(ends | wanted) if t in made.plan.bodies]
    mine = [b for b in mine if _may_move(made.plan, b)]
    mine.sort(key=lambda b: not b.pinned)  # what a person put there is moved first
    for body in mine:
        for far, (dx, dy) in itertools.product(SHIFTS_M, ((1, 0), (-1, 0), (0, 1), (0, -1))):
            there = body.moved(round(body.x + far * dx, 3), round(body.y + far * dy, 3), body.z)
            if _stands(made.plan, there, (), {}):
                yield _told(made.plan, there), _moved(plant, made.plan, (there,))


def _ways(plan: Plan, wrong: Sequence[str], needs: Needs) -> Iterator[dict[str, Body]]:
    """Sets of machines elsewhere that put right what is wrong, the nearest first: the wrong ones
    themselves, else what stands before them."""
    for begin in range(PROVEN):
        at, found = plan, dict[str, Body]()
        for tag in wrong:
            if not _wrong(at, (tag,), needs):
                continue
            there = _nearest(at, tag, needs, begin) or _aside(at, tag, needs, begin)
            if there is None:
                break
            found[there.tag] = there
            at = _with(at, there)
        else:
            if found:
                yield found


def _nearest(
    plan: Plan, tag: str, needs: Needs, skip: int, asks: Sequence[str] = ()
) -> Body | None:
    """The nearest free place of a machine for which it, and those in `asks`, have their floor."""
    body = plan.bodies[tag]
    if not _may_move(plan, body):
        return None
    places = (
        there for x, y in _places(plan, body)
        if _stands(plan, there := body.moved(x, y, body.z), asks or (tag,), needs)
    )  # fmt: skip
    return next(itertools.islice(places, skip, None), None)


def _aside(plan: Plan, tag: str, needs: Needs, skip: int) -> Body | None:
    """What stands in the floor before a machine, put elsewhere."""
    body = plan.bodies[tag]
    floor = replace(body, front_m=_need(body, needs)).service_box
    for other in plan.bodies.values():
        if other.tag != tag and other.frame == body.frame and _meet(floor, other.box):
            there = _nearest(plan, other.tag, needs, skip, (tag, other.tag))
            if there is not None:
                return there
    return None


def _may_move(plan: Plan, body: Body) -> bool:
    thing = plan.scene.things.get(body.tag)
    return (body.frame == "fixed" and body.room in plan.rooms
            and thing is not None and thing.form.sort not in MOVES)  # fmt: skip


def _places(plan: Plan, body: Body) -> Iterator[tuple[float, float]]:
    """Places of a room from a machine's own outwards, straight along and across."""
    room = plan.rooms[body.room]
    x = min(max(body.x, room.x + body.dx / 2), room.x2 - body.dx / 2)
    y = min(max(body.y, room.y + body.dy / 2), room.y2 - body.dy / 2)
    for n in range(STEPS + 1):
        far = n * STEP_M
        for dx, dy in ((far, 0), (-far, 0), (0, far), (0, -far)) if n else ((0, 0),):
            yield round(x + dx, 3), round(y + dy, 3)


def _stands(plan: Plan, there: Body, asks: Sequence[str], needs: Needs) -> bool:
    """Whether a machine stands free at a place, with the floor that `asks` want, and takes none
    from the others."""
    room = plan.rooms[there.room]
    x1, y1, x2, y2 = there.box
    if not (room.holds(x1, y1, 1e-3) and room.holds(x2, y2, 1e-3)):
        return False
    if any(_in_one_another(there, o) for o in plan.bodies.values() if o.tag != there.tag):
        return False
    after = _with(plan, there)
    if any(_short(after, t, needs) > 1e-6 for t in asks):
        return False
    return all(
        _short(after, o.tag, needs) <= max(_short(plan, o.tag, needs), 0.0) + 1e-6
        for o in plan.bodies.values()
        if o.room == there.room and o.frame == there.frame and not o.hung and o.front_m > 0
    )


def _with(plan: Plan, body: Body) -> Plan:
    return replace(plan, bodies={**plan.bodies, body.tag: body}, memo={})


def _need(body: Body, needs: Needs) -> float:
    return max(body.front_m, needs.get(body.tag, 0.0))


def _short(plan: Plan, tag: str, needs: Needs) -> float:
    """How much floor a machine lacks before it, m; 0 or less where it lacks none."""
    body = plan.bodies[tag]
    if body.hung or body.front_m <= 0:
        return 0.0
    return _need(body, needs) - checks.free_front(plan, body)


def _in_one_another(a: Body, b: Body) -> bool:
    upright = min(a.z + a.h, b.z + b.h) - max(a.z, b.z) > 1e-6
    return a.frame == b.frame and upright and _meet(a.box, b.box)


def _meet(a: tuple[float, ...], b: tuple[float, ...]) -> bool:
    return (min(a[2], b[2]) - max(a[0], b[0]) > 1e-6
            and min(a[3], b[3]) - max(a[1], b[1]) > 1e-6)  # fmt: skip


def _wrong(plan: Plan, tags: Iterable[str], needs: Needs) -> bool:
    """Whether any of these machines fills another's space, reaches out or lacks its floor."""
    for tag in tags:
        body = plan.bodies[tag]
        room = plan.rooms.get(body.room)
        x1, y1, x2, y2 = body.box
        if room is not None and not (room.holds(x1, y1, 1e-3) and room.holds(x2, y2, 1e-3)):
            return True
        if _short(plan, tag, needs) > 1e-6:
            return True
        if any(_in_one_another(body, o) for o in plan.bodies.values() if o.tag != tag):
            return True
    return False


def _pipes_wrong(made: Sited, gap_m: float) -> set[tuple[str, str]]:
    return {*checks.clashes(made.plan, made.routes, gap_m),
            *checks.through_machines(made.plan, made.routes)}  # fmt: skip


def _worse(before: Sited, after: Sited, gap_m: float) -> bool:
    """Whether a plan has a fault that the one before it had not."""

    def faults(one: Sited) -> set[tuple[str, ...]]:
        plan = one.plan
        return {
            *checks.overlaps(plan), *((t,) for t in checks.outside_room(plan)),
            *_pipes_wrong(one, gap_m), *checks.wet_in_dry(plan, one.routes),
            *((m.subject, "floor") for m in checks.fronts(plan) if m.value < m.limit - 1e-6),
            *((m.subject, "low") for m in checks.low_points(plan, one.routes)),
        }  # fmt: skip

    return not faults(after) <= faults(before)


def _sides(plan: Plan, wrong: Sequence[str], needs: Needs) -> list[tuple[str, float]]:
    """The sides that a room would have to grow to, and by how much."""
    found: dict[str, float] = {}
    for tag in wrong:
        body = plan.bodies[tag]
        room = plan.rooms.get(body.room)
        if room is None:
            continue
        x1, y1, x2, y2 = body.box
        out = {"w": room.x - x1, "s": room.y - y1, "e": x2 - room.x2, "n": y2 - room.y2}
        out[body.turn] = max(out[body.turn], _short(plan, tag, needs))
        for side, far in out.items():
            if far > 1e-3:
                found[side] = max(found.get(side, 0.0), far)
    return sorted(found.items())


def _grown(stated: RoomPlace, side: str, by: float) -> RoomPlace:
    (x, y), (w, d) = stated.at, stated.size
    if side in ("e", "w"):
        w, x = w + by, x - by if side == "w" else x
    else:
        d, y = d + by, y - by if side == "s" else y
    return stated.model_copy(update={"at": (round(x, 3), round(y, 3)),
                                     "size": (round(w, 3), round(d, 3))})  # fmt: skip


def _rooms_meet(plan: Plan, name: str, before: Plan) -> bool:
    """Whether a room fills another's space that it did not fill before."""

    def met(one: Plan) -> set[str]:
        mine = one.rooms[name]
        return {r.name for r in one.rooms.values() if r.name != name
                and _meet((mine.x, mine.y, mine.x2, mine.y2), (r.x, r.y, r.x2, r.y2))}  # fmt: skip

    return not met(plan) <= met(before)


def _place(plant: Plant) -> Place:
    return plant.place or Place()


def _with_room(plant: Plant, name: str, room: RoomPlace) -> Place:
    place = _place(plant)
    return place.model_copy(update={"rooms": {**place.rooms, name: room}})


def _moved(plant: Plant, plan: Plan, bodies: Iterable[Body]) -> Plant:
    """The plant with machines where these bodies stand."""
    place = _place(plant)
    machines = dict(place.machines)
    for body in bodies:
        own = machines.get(body.tag) or MachinePlace()
        machines[body.tag] = own.model_copy(update={"at": _at(body)})
    return plant.model_copy(update={"place": place.model_copy(update={"machines": machines})})


def _at(body: Body) -> tuple[float, ...]:
    return tuple(place_of(body, body.x, body.y, body.z, body.turn)["at"])


def _told(plan: Plan, there: Body) -> Remedy:
    """The move of a machine as data, with how far that is in words."""
    old = plan.bodies[there.tag]
    east, north = there.x - old.x, there.y - old.y
    told = [f"{abs(far):.2f} m {side}" for far, side in (
        (east, "east" if east > 0 else "west"), (north, "north" if north > 0 else "south"))
        if abs(far) > 1e-3]  # fmt: skip
    return Remedy(f"place.machines.{there.tag}", "at", _at(there),
                  f"free there, {' and '.join(told)} of where it stands")  # fmt: skip


def wider_door(plant: Plant, room: str, wide_m: float, high_m: float) -> tuple[Remedy, ...]:
    """The widest door of a stated room as wide and high as it must be; nothing where the file
    states no door there, or the wall is no wider."""
    stated = plant.place.rooms.get(room) if plant.place else None
    if stated is None or not stated.doors:
        return ()
    at, door = max(enumerate(stated.doors, 1), key=lambda d: (d[1].wide_m, d[1].high_m))
    along = stated.size[0] if door.wall in ("n", "s") else stated.size[1]
    half = round(wide_m / 2, 3)
    if wide_m > along or high_m > stated.height_m:
        return ()
    of, why = f"place.rooms.{room}.doors.{at}", "the tank goes in by it"
    told = [Remedy(of, "wide_m", wide_m, why)] if door.wide_m < wide_m else []
    if door.high_m < high_m:
        told.append(Remedy(of, "high_m", high_m, why))
    middle = min(max(door.at_m, half), round(along - half, 3))
    if middle != door.at_m:
        told.append(Remedy(of, "at_m", middle, "so wide, it stays inside its wall"))
    return tuple(told)
