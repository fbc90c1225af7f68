"""Each check of the plan, asked through the study: a plan that holds, and one that does not."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest

from byrewright.place.ends import Net, nets
from byrewright.place.model import Body, Door, Point, Route
from byrewright.plant.plant import Plant
from byrewright.plant.sited import Sited, sited
from byrewright.studies import place as study
from tests.place.scenes import briefed

Change = Callable[[Sited], Sited]


def drafted() -> tuple[Plant, Sited]:
    """A rotary as it is drafted, and its plan."""
    plant = briefed("rotary", 46)
    made = sited(plant)
    assert made is not None
    return plant, made


def put(made: Sited, tag: str, to: Callable[[Body], Body]) -> Sited:
    """The plan with one machine elsewhere; pipes stay where they are."""
    bodies = {**made.plan.bodies, tag: to(made.plan.bodies[tag])}
    return replace(made, plan=replace(made.plan, bodies=bodies))


def led(made: Sited, pick: Callable[[Route], bool], way: Callable[[Route], tuple[Point, ...]]
        ) -> Sited:  # fmt: skip
    """The plan with the first route of its sort led another way."""
    one = next(r for r in made.routes if r.points and pick(r))
    routes = tuple(replace(r, points=way(r)) if r is one else r for r in made.routes)
    return replace(made, routes=routes)


def ended(made: Sited, pick: Callable[[Net], bool], other: Callable[[Net], Net]) -> Sited:
    """The plan with the end of one chain otherwise."""
    one = next(n for n in nets(made.plan) if n.start and n.end and pick(n))
    every = [other(n) if n is one else n for n in nets(made.plan)]
    return replace(made, plan=replace(made.plan, memo={**made.plan.memo, "nets": every}))


def fixed(service: str) -> Callable[[Route], bool]:
    """Routes of a service that do not turn with the deck."""
    return lambda r: r.service == service and r.frame == "fixed"


def lower(route: Route) -> tuple[Point, ...]:
    """A way that sags half a metre below both ends."""
    a, b = route.points[0], route.points[-1]
    deep = min(a[2], b[2]) - 0.5
    return a, (a[0], a[1], deep), (b[0], a[1], deep), (b[0], b[1], deep), b


def raised(route: Route, by: float) -> tuple[Point, ...]:
    """A way whose end lies higher."""
    x, y, z = route.points[-1]
    return *route.points[:-1], (x, y, z + by)


def room(made: Sited, name: str, **how: object) -> Sited:
    """The plan with one room otherwise."""
    rooms = {**made.plan.rooms, name: replace(made.plan.rooms[name], **how)}  # type: ignore[arg-type]
    return replace(made, plan=replace(made.plan, rooms=rooms))


def across(made: Sited, name: str, level: float) -> tuple[Point, ...]:
    """A straight way across a room, a metre from its south wall."""
    r = made.plan.rooms[name]
    return (r.x - 1.0, r.y + 1.0, level), (r.x2 + 1.0, r.y + 1.0, level)


def along_rack(made: Sited) -> Sited:
    """Two pipes far apart along the passage, which is one rack."""
    rack, ways = made.plan.racks["main"], iter((-0.7, 0.7))
    x, y = rack.start
    for service in ("water", "coolant"):
        off = next(ways)
        made = led(made, fixed(service), lambda _, u=off: (  # type: ignore[misc]
            (x + u, y + 1, 2.8), (x + u, y + 9, 2.8)))  # fmt: skip
    return made


def beside(made: Sited) -> Sited:
    """Two lines that meet no machine together, one in the other."""
    milk = next(r for r in made.routes if r.points and fixed("milk")(r))
    return led(made, lambda r: fixed("air")(r), lambda _: milk.points)


def upon(made: Sited) -> Sited:
    """A milk line of 20 m a hand's breadth over another."""
    made = led(made, fixed("milk"), lambda _: ((0.0, 0.0, 3.0), (20.0, 0.0, 3.0)))
    return led(made, fixed("air"), lambda _: ((19.0, -1.0, 2.93), (19.0, 1.0, 2.93)))


def over_the_deck(made: Sited) -> Sited:
    """What a milk pump delivers, led over a crest of 30 m."""
    return led(made, lambda r: r.ends[0] == "MP1.outlet", lambda r: (
        r.points[0], (*r.points[0][:2], 30.0), r.points[-1]))  # fmt: skip


def pump(made: Sited) -> tuple[Point, ...]:
    """A way through the first vacuum pump."""
    b = made.plan.bodies["VP1"]
    return (b.x - 3, b.y, b.z + b.h / 2), (b.x + 3, b.y, b.z + b.h / 2)


def turned(net: Net) -> Net:
    """The chain with its end on the deck."""
    assert net.end is not None
    return replace(net, end=replace(net.end, frame="deck"))


def sunk(net: Net) -> Net:
    """The chain with its end two metres higher: what it draws from lies below."""
    assert net.end is not None
    return replace(net, end=replace(net.end, datum_m=net.end.datum_m + 2.0))


def away(made: Sited, tag: str, dx: float, dy: float) -> Sited:
    """The plan with a machine moved."""
    return put(made, tag, lambda b: b.moved(b.x + dx, b.y + dy, b.z))


CASES: dict[str, Change] = {
    "place.overlap": lambda m: put(m, "VP1", lambda b: b.moved(
        m.plan.bodies["VP2"].x, m.plan.bodies["VP2"].y, b.z)),
    "place.in_room": lambda m: away(m, "VP1", -3.0, 0.0),
    "place.under_deck": lambda m: away(m, "RC1", 9.0, 0.0),
    "place.height": lambda m: room(m, "plant", height_m=1.0),
    "place.service": lambda m: room(m, "plant", d=2.0),
    "place.door": lambda m: room(m, "milk", doors=(Door("e", 3.0, 1.0, 2.0),)),
    "place.tank_clear": lambda m: away(m, "TK1", 0.5, 0.0),
    "place.low_point": lambda m: led(m, fixed("milk"), lower),
    "place.gravity": lambda m: led(m, fixed("drain"), lambda r: raised(r, 0.5)),
    "place.drain_way": lambda m: led(m, fixed("drain"), lambda r: raised(r, 0.5)),
    "place.trip": lambda m: led(m, fixed("drain"), lambda r: across(m, "wash", 0.1)),
    "place.turning_gap": lambda m: ended(
        m, lambda n: n.frame == "fixed" and n.service == "milk", turned),
    "place.clash": beside,
    "place.through": lambda m: led(m, fixed("water"), lambda _: pump(m)),
    "place.headroom": lambda m: led(m, fixed("water"), lambda _: across(m, "passage", 1.5)),
    "place.rack": along_rack,
    "place.dry": lambda m: led(m, fixed("milk"), lambda _: across(m, "switch", 2.6)),
    "place.flooded": lambda m: ended(
        m, lambda n: n.end is not None and (n.end.tag, n.end.port) == ("MP1", "inlet"), sunk),
    "place.crest": over_the_deck,
    "place.fall_room": upon,
}  # fmt: skip


@pytest.mark.parametrize("key", CASES)
def test_a_check_fails_where_it_should_and_holds_where_not(
    key: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Would fail if a check were deaf, or the study did not ask it, or told a sound plan off."""
    plant, made = drafted()
    held = {f.verdict for f in study.study_place(plant).findings if f.key == key}
    assert held and held <= {"holds", "tight"}
    monkeypatch.setattr(study, "sited", lambda _: CASES[key](made))
    after = [f for f in study.study_place(plant).findings if f.key == key]
    assert "fails" in {f.verdict for f in after}, [f.sentence for f in after]


def test_a_stated_length_far_from_the_plan_is_asked_about() -> None:
    """Would fail if a length left from another draft passed as measured, or one within a quarter of
    the plan's were doubted."""
    plant, made = drafted()
    plan_m = made.laid["L108"].length_m
    for length, doubted in ((plan_m * 1.3, True), (plan_m * 1.2, False)):
        pipes = tuple(p.model_copy(update={"length_m": length}) if p.id == "L108" else p
                      for p in plant.pipes)  # fmt: skip
        told = study.study_place(plant.model_copy(update={"pipes": pipes})).findings
        found = {f.subject: f.verdict for f in told if f.key == "place.stated_length"}
        assert found == ({"L108": "unknown"} if doubted else {})
