"""What the plan is judged by, and what mends it: rooms and machines of plain figures."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import pytest

from byrewright.place.falls import Measured
from byrewright.place.model import Body, Plan, Room
from byrewright.plant.place import DoorPlace, Place, RackPlace, RoomPlace
from byrewright.plant.plant import Pipe
from byrewright.results import Remedy
from byrewright.studies import place, place_mending
from byrewright.studies.place_mending import Mends
from byrewright.studies.sizing.context import StudyContext
from tests.plants import machine, pipe
from tests.studies.benches import bench_of, small


def body(tag: str, x: float, y: float, dx: float = 1.0, dy: float = 1.0, **more: Any) -> Body:
    """A machine 2 m high on the floor of the hall."""
    fields: Any = {"kind": "pump", "form": None, "does": (), "room": "hall", "z": 0.0, "h": 2.0,
                   "front_m": 0.9, **more}  # fmt: skip
    return Body(tag=tag, x=x, y=y, dx=dx, dy=dy, **fields)


HALL = Room("hall", 0.0, 0.0, 10.0, 6.0)


def plan(*bodies: Body, rooms: tuple[Room, ...] = (HALL,), sort: str = "floor") -> Plan:
    """A hall of 10 by 6 m with machines in it."""
    things = {b.tag: SimpleNamespace(form=SimpleNamespace(sort=sort)) for b in bodies}
    return Plan(SimpleNamespace(things=things), None, {r.name: r for r in rooms}, {}, {},  # type: ignore[arg-type]
                {b.tag: b for b in bodies})  # fmt: skip


@pytest.mark.parametrize(("a", "b", "meet"), [
    (body("A", 2, 2), body("B", 2.9, 2.9), True), (body("A", 2, 2), body("B", 3.0, 2), False),
    (body("A", 2, 2), body("B", 2.9, 3.0), False),
    (body("A", 2, 2), body("B", 2, 2, z=2.0), False),
    (body("A", 2, 2), body("B", 2, 2, z=1.9), True),
    (body("A", 2, 2), body("B", 2, 2, frame="deck"), False),
    (body("A", 2, 2, dx=3), body("B", 2, 2), True),
])  # fmt: skip
def test_machines_in_one_another(a: Body, b: Body, meet: bool) -> None:
    """Would fail if machines side by side or one on another were in one another."""
    assert place_mending._in_one_another(a, b) == place_mending._in_one_another(b, a) == meet


def test_which_of_two_is_moved() -> None:
    """Would fail if what a person put there stayed and the other was moved, or the larger was."""
    for a, b, moved in ((body("A", 2, 2, 2), body("B", 2, 2), "B"),
                        (body("A", 2, 2), body("B", 2, 2, dy=3), "A"),
                        (body("A", 2, 2, 2, pinned=True), body("B", 2, 2), "A"),
                        (body("B", 2, 2), body("A", 2, 2), "A"),
                        (body("A", 2, 2, 2, 1), body("B", 2, 2, 3, 0.5), "B")):  # fmt: skip
        made: Any = SimpleNamespace(plan=plan(a, b))
        assert Mends(bench_of(small()), made, True).to_move(a.tag, b.tag) == moved


def test_floor_that_is_lacking(monkeypatch: pytest.MonkeyPatch) -> None:
    """A machine with 0.5 m free before it: would fail if what hangs, or needs none, lacked some, or
    a larger need of its own did not count."""
    monkeypatch.setattr(place_mending.checks, "free_front", lambda *_: 0.5)
    short = place_mending._short
    one = body("A", 2, 2)
    assert short(plan(one), "A", {}) == pytest.approx(0.4)
    assert short(plan(one), "A", {"A": 1.5}) == pytest.approx(1.0)
    assert short(plan(one), "A", {"A": 0.2}) == pytest.approx(0.4)
    assert short(plan(replace(one, front_m=0.4)), "A", {}) == pytest.approx(-0.1)
    for none in (replace(one, hung=True), replace(one, front_m=0.0)):
        assert short(plan(none), "A", {"A": 2.0}) == 0.0
    wrong = place_mending._wrong
    enough = replace(one, front_m=0.5)
    assert wrong(plan(one), ["A"], {}) and not wrong(plan(enough), ["A"], {})
    assert wrong(plan(replace(enough, x=0.4)), ["A"], {})
    assert wrong(plan(replace(enough, y=5.6)), ["A"], {})
    assert not wrong(plan(replace(enough, x=0.4, room="")), ["A"], {})
    assert wrong(plan(enough, replace(enough, tag="B", x=2.5)), ["A"], {})
    stands = place_mending._stands
    both = plan(one, replace(enough, tag="B", x=7.0))
    assert stands(both, enough, ("A",), {}) and not stands(both, one, ("A",), {})
    assert stands(both, one, (), {}) and not stands(both, replace(one, x=6.5), (), {})
    assert not stands(both, replace(one, x=9.6), (), {})
    assert not stands(both, replace(one, y=0.4), (), {})


def test_places_are_tried_from_the_nearest_outwards() -> None:
    """Would fail if a machine out of its room were tried out of it, or a far place before a near
    one."""
    one = body("A", -1.0, 2.0, 2.0)
    every = list(place_mending._places(plan(one), one))
    assert every[0] == (1.0, 2.0) and len(every) == 1 + 4 * place_mending.STEPS
    assert every[1:5] == [(1.05, 2.0), (0.95, 2.0), (1.0, 2.05), (1.0, 1.95)]
    assert every[-4] == (5.0, 2.0)
    far = list(place_mending._places(plan(one), replace(one, x=12.0, y=9.0)))
    assert far[0] == (9.0, 5.5)
    assert next(place_mending._places(plan(one), replace(one, y=-3.0, dy=2.0))) == (1.0, 1.0)
    may = place_mending._may_move
    assert may(plan(one), one) and not may(plan(one, sort="spread"), one)
    for other in (replace(one, frame="deck"), replace(one, room="yard"), replace(one, tag="B")):
        assert not may(plan(one), other)


def test_a_machine_or_what_stands_before_it_gives_way(monkeypatch: pytest.MonkeyPatch) -> None:
    """B stands 0.4 m before A, which faces south and needs 0.9 m: would fail if a machine farther
    off were moved, or A itself where it may not be."""
    a, b = body("A", 5, 4, turn="s"), body("B", 5, 2.6, 1, 1, front_m=0.0)
    c = body("C", 9, 2.6, front_m=0.0)
    here = plan(a, b, c)
    there = place_mending._aside(here, "A", {}, 0)
    assert there is not None and there.tag == "B"
    assert max(abs(there.x - 5), abs(there.y - 2.6)) == pytest.approx(0.5)
    assert place_mending._aside(here, "C", {}, 0) is None
    first = next(place_mending._ways(here, ["A"], {}))
    assert list(first) == ["A"] and first["A"].y == pytest.approx(4.5)
    second = place_mending._nearest(here, "A", {}, 1)
    assert second is not None and (second.x, second.y) == (5.0, 4.55)
    assert not list(place_mending._ways(here, ["C"], {}))


def test_moves_that_are_told(monkeypatch: pytest.MonkeyPatch) -> None:
    """Three machines told at three metres and four, five in all: would fail if a place that the
    plan has nearer were not taken, or one farther were."""
    old = plan(body("A", 2, 1), body("B", 8, 5))
    monkeypatch.setattr(place_mending, "_ways", lambda *_: iter([{"A": body("A", 5, 5)}]))
    monkeypatch.setattr(place_mending, "_moved", lambda *_: "moved")
    let = Remedy("place.machines.A", "at", (), "left")
    for at, mine in ((6.0, False), (5.5, True)):
        monkeypatch.setattr(place_mending, "_left_out", lambda *_: iter([("A", let, "left")]))
        new: Any = SimpleNamespace(plan=plan(body("A", at, 4.0), body("B", 8, 5)))
        monkeypatch.setattr(place_mending, "_proven", lambda trial, *_, n=new: n)
        found = place_mending.moves(small(), SimpleNamespace(plan=old), ["A"], {}, 0.1)  # type: ignore[arg-type]
        far = ((at - 2) ** 2 + 9) ** 0.5
        assert (found == (let,)) == (far < 5.0)
        assert mine or found[0].to == (5, 5, 0.0)
    monkeypatch.setattr(place_mending, "_proven", lambda trial, *_: None)
    assert place_mending.moves(small(), SimpleNamespace(plan=old), ["A"], {}, 0.1) == ()  # type: ignore[arg-type]
    told = place_mending._told
    assert "3.00 m east and 4.00 m north" in told(old, body("A", 5, 5)).why
    assert "1.00 m west and 0.50 m south" in told(old, body("A", 1, 0.5)).why
    assert "there, 0.50 m south of" in told(old, body("A", 2.0005, 0.5)).why


@pytest.mark.parametrize(("x", "y", "sides"), [
    (0.2, 3.0, [("w", 0.3)]), (9.9, 3.0, [("e", 0.4)]), (5.0, 0.1, [("s", 0.4)]),
    (9.7, 5.8, [("e", 0.2), ("n", 0.3)]), (5.0, 3.0, []),
])  # fmt: skip
def test_the_sides_that_a_room_must_grow_to(
    monkeypatch: pytest.MonkeyPatch, x: float, y: float, sides: list[tuple[str, float]]
) -> None:
    """Would fail if a room grew away from what reaches out of it, or by less."""
    monkeypatch.setattr(place_mending.checks, "free_front", lambda *_: 0.9)
    found = place_mending._sides(plan(body("A", x, y)), ["A"], {})
    assert [s for s, _ in found] == [s for s, _ in sides]
    assert [far for _, far in found] == pytest.approx([far for _, far in sides])
    needs = dict(place_mending._sides(plan(body("A", x, y, turn="n")), ["A"], {"A": 1.5}))
    assert needs["n"] == pytest.approx(0.6)
    two = plan(body("A", 0.2, 3.0), body("B", 0.1, 1.0))
    assert dict(place_mending._sides(two, ["A", "B"], {}))["w"] == pytest.approx(0.4)


def test_a_room_grows_to_one_side() -> None:
    """Would fail if the wall on the other side moved, or a room that grows into another passed."""
    stated = RoomPlace(at=(1.0, 2.0), size=(10.0, 6.0))
    for side, x, y, w, d in (("e", 1, 2, 10.5, 6), ("w", 0.5, 2, 10.5, 6), ("n", 1, 2, 10, 6.5),
                             ("s", 1, 1.5, 10, 6.5)):  # fmt: skip
        grown = place_mending._grown(stated, side, 0.5)
        assert (tuple(grown.at), tuple(grown.size)) == ((x, y), (w, d))
    old = plan(rooms=(HALL, Room("lobby", 10.0, 0.0, 2.0, 6.0)))
    wide = replace(old, rooms={**old.rooms, "hall": replace(HALL, w=10.2)})
    assert place_mending._rooms_meet(wide, "hall", old)
    assert not place_mending._rooms_meet(wide, "hall", wide)
    assert not place_mending._rooms_meet(old, "hall", old)


def stated(**fields: Any) -> Any:
    """A plant whose place states this."""
    return small().model_copy(update={"place": Place(**fields)})


def test_a_larger_room_is_tried_in_steps(monkeypatch: pytest.MonkeyPatch) -> None:
    """The floor is 0.22 m short to the west: would fail if a room were made larger by another step
    than a twentieth of a metre, or its corner stayed where it grows to the west."""
    plant = stated(rooms={"hall": RoomPlace(at=(0.0, 0.0), size=(10.0, 6.0))})
    made: Any = SimpleNamespace(plan=plan(body("A", 1, 1)))
    monkeypatch.setattr(place_mending, "_sides", lambda *_: [("w", 0.22)])
    monkeypatch.setattr(place_mending, "_rooms_meet", lambda *_: False)
    for enough, by in ((0.2, 0.25), (0.3, 0.35), (0.4, 0.55), (0.6, None)):
        monkeypatch.setattr(place_mending, "_proven", lambda trial, *_, e=enough: (
            made if trial.place.rooms["hall"].size[0] >= 10.0 + e else None))  # fmt: skip
        found = place_mending.larger_room(plant, made, "hall", ["A"], {}, 0.1)
        if by is None:
            assert found == ()
        else:
            assert [(r.figure, r.to) for r in found] == [
                ("at", (-by, 0.0)), ("size", (10.0 + by, 6.0))]  # fmt: skip
            assert "6.00 m instead of 10.00 x 6.00 m" in found[0].why
    monkeypatch.setattr(place_mending, "_sides", lambda *_: [("e", 0.01)])
    monkeypatch.setattr(place_mending, "_proven", lambda *_: made)
    (one,) = place_mending.larger_room(plant, made, "hall", ["A"], {}, 0.1)
    assert one.to == (10.05, 6.0)
    assert place_mending.larger_room(plant, made, "yard", ["A"], {}, 0.1) == ()
    assert place_mending.larger_room(small(), made, "hall", ["A"], {}, 0.1) == ()


def test_a_door_as_wide_as_the_tank(monkeypatch: pytest.MonkeyPatch) -> None:
    """A wall of 4 m: would fail if the narrower door were widened, a door left its wall, or one
    were told that is wider or higher than the wall."""
    doors = (DoorPlace(wall="e", at_m=2.0, wide_m=1.0, high_m=2.1),
             DoorPlace(wall="n", at_m=1.2, wide_m=2.0, high_m=2.5))  # fmt: skip
    room = RoomPlace(at=(0.0, 0.0), size=(4.0, 9.0), height_m=3.5, doors=doors)
    plant = stated(rooms={"hall": room})

    def told(wide_m: float, high_m: float) -> list[tuple[str, str, Any]]:
        return [(r.of, r.figure, r.to)
                for r in place_mending.wider_door(plant, "hall", wide_m, high_m)]  # fmt: skip

    of = "place.rooms.hall.doors.2"
    assert told(3.0, 2.4) == [(of, "wide_m", 3.0), (of, "at_m", 1.5)]
    assert told(2.2, 2.8) == [(of, "wide_m", 2.2), (of, "high_m", 2.8)]
    assert told(2.0, 2.5) == [] == told(4.1, 2.0) == told(2.0, 3.6)
    assert told(4.0, 3.5) == [(of, "wide_m", 4.0), (of, "high_m", 3.5), (of, "at_m", 2.0)]
    last = RoomPlace(at=(0.0, 0.0), size=(9.0, 4.0), height_m=3.5, doors=(
        DoorPlace(wall="e", at_m=3.5, wide_m=1.0, high_m=2.1),))  # fmt: skip
    (wide, at) = place_mending.wider_door(stated(rooms={"hall": last}), "hall", 2.0, 2.0)
    assert (wide.to, at.to) == (2.0, 3.0)
    assert place_mending.wider_door(small(), "hall", 2.0, 2.0) == ()


def test_a_rack_higher_or_wider(monkeypatch: pytest.MonkeyPatch) -> None:
    """Would fail if a rack were hung by another step than a twentieth of a metre, one that breaks
    something were told, or the widest were told where a narrower does."""
    plant = stated(racks={"R": RackPlace(**{"from": (0, 0), "to": (9, 0)}, level_m=2.51)})
    tried: list[Any] = []
    monkeypatch.setattr(place_mending, "sited", lambda p: tried.append(p.place.racks["R"]) or p)
    monkeypatch.setattr(place_mending, "_worse", lambda *_: False)
    ctx = bench_of(plant)
    mends = Mends(ctx, None, True)  # type: ignore[arg-type]
    (one,) = mends.higher_racks(0.12, lambda _: [])
    assert (one.of, one.figure, one.to) == ("place.racks.R", "level_m", 2.65)
    assert tried[-1].level_m == 2.65
    for enough, to in ((1.0, 1.0), (1.1, 1.15), (1.3, 1.4), (1.5, None)):
        found = mends.wider_rack("R", 1.0, lambda p, e=enough: (  # type: ignore[misc]
            [] if p.place.racks["R"].wide_m >= e else [("R", "")]))  # fmt: skip
        assert [r.to for r in found] == ([] if to is None else [to])
    assert mends.wider_rack("S", 1.0, lambda _: []) == ()
    not_asked = Mends(ctx, None, False)  # type: ignore[arg-type]
    assert not_asked.higher_racks(0.1, lambda _: []) == not_asked.wider_rack(
        "R", 1.0, lambda _: []) == ()  # fmt: skip
    assert (not_asked.none("x"), mends.none("x")) == ("", "x")
    for none in (not_asked.moves(["A"]), mends.moves([]), mends.larger_room("hall", []),
                 not_asked.larger_room("hall", ["A"]), mends.other_ways([], lambda _: []),
                 not_asked.other_ways([("A", "B")], lambda _: [])):  # fmt: skip
        assert none == ()
    monkeypatch.setattr(place_mending, "_worse", lambda *_: True)
    assert mends.higher_racks(0.12, lambda _: []) == ()


# What is judged ----------------------------------------------------------------------------------

NO_MENDS: Any = SimpleNamespace(
    moves=lambda *_: (), larger_room=lambda *_: (), roomier=lambda *_: (), none=lambda w="": "NONE",
    other_ways=lambda *_: (), higher_racks=lambda *_: (), wider_rack=lambda *_: (),
    to_move=lambda a, b: a,
)  # fmt: skip


def sited_as(monkeypatch: pytest.MonkeyPatch, on: Plan | None = None, **found: Any) -> Any:
    """A plan for which the checks find this."""
    for name, what in found.items():
        monkeypatch.setattr(place.checks, name, lambda *_, w=what: w)
    return SimpleNamespace(plan=on or plan(), routes=[1, 2, 3], laid={})


def one_of(ctx: StudyContext, key: str) -> Any:
    """The finding of a key."""
    (found,) = (f for f in ctx.notes.findings if f.key == key)
    return found


@pytest.mark.parametrize(("far", "verdict"), [(3.2, "fails"), (3.0, "holds"), (2.5, "holds")])
def test_machines_under_the_deck_and_in_their_room(
    monkeypatch: pytest.MonkeyPatch, far: float, verdict: str
) -> None:
    """A ring of 3 m: would fail if what reaches to it failed, the nearest were told for the
    farthest, or a deck grew where nothing is short."""
    on = replace(plan(body("A", 1, 1), body("B", 2, 2)),
                 deck=SimpleNamespace(ring_radius_m=3.0, stalls=50))  # fmt: skip
    low = Measured("hall", -0.2, words="TK1")
    made = sited_as(monkeypatch, on, overlaps=[("A", "B")], outside_room=["A"],
                    reach_under_deck=[Measured("A", 1.0), Measured("B", far)],
                    headroom_over=[low])  # fmt: skip
    ctx = bench_of(small())
    place._fits(ctx, made, NO_MENDS)
    told = one_of(ctx, "place.under_deck")
    assert (told.value, told.limit, told.subject) == (far, 3.0, "B")
    assert (told.verdict if told.verdict != "tight" else "holds") == verdict
    assert [r.to for r in told.remedies] == ([52.0] if far > 3.0 else [])
    assert ("B have no room" in told.sentence) == (far > 3.0)
    assert "A and B fill the same space.NONE" in one_of(ctx, "place.overlap").sentence
    assert "A reaches through a wall.NONE" in one_of(ctx, "place.in_room").sentence
    height = one_of(ctx, "place.height")
    assert height.verdict == "fails" and "is 0.20 m too low for TK1" in height.sentence


@pytest.mark.parametrize(("free", "to"), [(-0.2, 4.3), (0.5, None), (0.48, 3.65)])
def test_a_ceiling_over_the_tallest(free: float, to: float | None) -> None:
    """Half a metre over the tallest in a room of 3.6 m: would fail if a room were made higher than
    that, or one that is high enough."""
    plant = stated(rooms={"hall": RoomPlace(at=(0.0, 0.0), size=(10.0, 6.0))})
    ctx = bench_of(plant, {"place.ceiling_over_m": 0.5})
    made: Any = SimpleNamespace(plan=plan())
    found = place._higher(ctx, made, Measured("hall", free, words="TK1"))
    assert [r.to for r in found] == ([] if to is None else [to])
    assert place._higher(bench_of(small(), {"place.ceiling_over_m": 0.5}), made,
                         Measured("hall", free)) == ()  # fmt: skip


def test_free_floor_by_room(monkeypatch: pytest.MonkeyPatch) -> None:
    """Would fail if the machine with most to spare stood for its room, or one that has just what it
    needs were said to have too little."""
    on = plan(body("A", 1, 1), body("B", 2, 2), body("C", 3, 3), body("D", 4, 4, room="yard"))
    made = sited_as(monkeypatch, on, fronts=[
        Measured("A", 0.9, 0.9), Measured("B", 0.6, 0.9), Measured("C", 0.8, 1.2),
        Measured("D", 1.2, 1.0)])  # fmt: skip
    ctx = bench_of(small())
    place._service(ctx, made, NO_MENDS)
    hall, yard = ctx.notes.findings
    assert (hall.subject, hall.value, hall.limit, hall.verdict) == ("hall", 0.8, 1.2, "fails")
    assert "too little also before B." in hall.sentence and "NONE" in hall.sentence
    assert yard.verdict == "holds" and "also" not in yard.sentence and "NONE" not in yard.sentence


@pytest.mark.parametrize(("bore", "frame", "fall", "limit"), [
    (65.0, "fixed", 0.2, 0.2 + 0.13 - 0.06), (66.0, "fixed", 0.2, 0.1 + 0.132 - 0.06),
    (65.0, "deck", 0.2, 0.2 + 0.02 - 0.06), (5.0, "fixed", 0.2, 0.2 + 0.02 - 0.06),
])  # fmt: skip
def test_drains_fall_by_their_slope_and_an_air_gap(
    monkeypatch: pytest.MonkeyPatch, bore: float, frame: str, fall: float, limit: float
) -> None:
    """Ten metres at 2 % (1 % over 65 mm) and two bores over the gully, 60 mm of which the gully is
    deep: would fail if the drain with most to spare were told."""

    def net(key: str, mm: float, on: str = "fixed") -> Any:
        return SimpleNamespace(key=key, lines=[SimpleNamespace(bore_mm=mm)], frame=on)

    routes = (SimpleNamespace(at=1.4), SimpleNamespace(at=0.5))
    made = sited_as(
        monkeypatch,
        climbing=[],
        gravity=[
            (net("L1", bore, frame), routes[0], 10.0, fall),
            (net("L2", 100.0), routes[1], 1.0, 5.0),
            (net("L3", 20.0), routes[1], 0.0, 0.15),
        ],
    )
    monkeypatch.setattr(place.checks, "on_the_floor", lambda _, route: route.at)
    ctx = bench_of(small(), {
        "place.drain_slope_small_pct": 2.0, "place.drain_slope_pct": 1.0,
        "place.air_gap_bores": 2.0, "place.trip_m": 1.0})  # fmt: skip
    place._gravity(ctx, made, NO_MENDS)
    told = one_of(ctx, "place.gravity")
    assert (told.value, told.limit) == (0.2, pytest.approx(limit, abs=6e-4))
    assert told.sentence.startswith("L1 has the least to spare of 3")
    trip = one_of(ctx, "place.trip")
    assert (trip.value, trip.limit, trip.verdict) == (1.4, 1.0, "fails")
    assert trip.sentence.startswith("L1 lies") and "NONE" in trip.sentence
    assert "All 3 drains fall" in one_of(ctx, "place.drain_way").sentence


def test_pipes_too_near_and_low(monkeypatch: pytest.MonkeyPatch) -> None:
    """Would fail if a pipe without a way were told as near to itself, or a pipe that hangs as high
    as it must were too low."""
    for low_m, fails in ((2.0, True), (2.1, False)):
        made = sited_as(monkeypatch, clashes=[("L1", "L1"), ("L2", "L3")], through_machines=[],
                        over_machines=[], over_passage=[Measured("L9", low_m)])  # fmt: skip
        ctx = bench_of(small(), {"place.pipe_gap_least_mm": 50.0, "place.headroom_m": 2.1})
        place._pipes(ctx, made, NO_MENDS)
        told = one_of(ctx, "place.clash")
        assert told.value == 2 and "No free way was found for L1; pipes L2 and L3" in told.sentence
        assert "nearer than 50 mm" in told.sentence and "NONE" in told.sentence
        head = one_of(ctx, "place.headroom")
        assert (head.verdict == "fails") == fails == ("NONE" in head.sentence)
    none = sited_as(monkeypatch, clashes=[], through_machines=[("L1", "A")], over_machines=[],
                    over_passage=[])  # fmt: skip
    ctx = bench_of(small(), {"place.pipe_gap_least_mm": 50.0})
    place._pipes(ctx, none, NO_MENDS)
    assert "All 3 pipe runs are 50 mm" in one_of(ctx, "place.clash").sentence
    assert "L1 through A" in one_of(ctx, "place.through").sentence


def test_doors_racks_and_lines_with_their_fall(monkeypatch: pytest.MonkeyPatch) -> None:
    """Would fail if a wide door were mended, a full rack passed, or the line with most to spare
    were told."""
    seen: list[Any] = []
    monkeypatch.setattr(place, "wider_door", lambda *a: seen.append(a[1:]) or ())
    on = replace(
        plan(body("TK1", 1, 1)),
        racks={
            "R": SimpleNamespace(name="R", wide_m=1.2),
            "S": SimpleNamespace(name="S", wide_m=1.2),
        },
    )
    made = sited_as(monkeypatch, on, rack_width=Measured("R", 1.3, 1.2, "9 pipes"),
                    doors_for_tanks=[Measured("TK1", 2.0, 2.4, "x")])  # fmt: skip
    ctx = bench_of(small(), {"place.door_over_width_m": 0.4, "place.door_over_height_m": 0.3})
    place._doors(ctx, made)
    assert seen == [("hall", 2.4, 2.3)] and "No door that" in one_of(ctx, "place.door").sentence
    sited_as(monkeypatch, on, doors_for_tanks=[Measured("TK1", 2.4, 2.4, "x")])
    wide = bench_of(small())
    place._doors(wide, made)
    assert len(seen) == 1 and "No door that" not in one_of(wide, "place.door").sentence
    asked: list[str] = []
    mends = SimpleNamespace(wider_rack=lambda name, *_: asked.append(name) or ())
    place._racks(ctx, made, mends)  # type: ignore[arg-type]
    assert asked == ["R", "S"]
    sited_as(monkeypatch, on, rack_width=Measured("R", 1.2, 1.2, "9 pipes"))
    place._racks(bench_of(small()), made, mends)  # type: ignore[arg-type]
    assert asked == ["R", "S"]
    monkeypatch.setattr(place.falls, "fall_room", lambda *_: [
        Measured("L1", 0.02, 0.3, "L7"), Measured("L2", 0.2, 0.19, "L8"),
        Measured("L3", 0.9, 0.1, "")])  # fmt: skip
    place._falls(ctx, made)
    told = one_of(ctx, "place.fall_room")
    assert (told.value, told.limit, told.verdict) == (0.2, 0.19, "fails")
    assert "200 mm lower, and has 190 mm to L8" in told.sentence
    assert told.sentence.startswith("L2 ") and "of 3 lines" in told.sentence
    assert "tier below" in told.sentence


@pytest.mark.parametrize(("over", "head_to", "sucks"), [
    (14.95, None, False), (15.03, 15.1, False), (-0.1, None, True), (0.0, None, False),
])  # fmt: skip
def test_a_pump_lifts_over_its_crest_and_stands_flooded(
    monkeypatch: pytest.MonkeyPatch, over: float, head_to: float | None, sucks: bool
) -> None:
    """Pumps of 15 m: would fail if a pump were said to suck that stands at its feeder's outlet, or
    advised a head below its crest."""
    made = sited_as(monkeypatch, crest_after=("L9", over), suction_level=("BT1", over))
    pump = machine("MP1", "milk_pump", flow_l_min=90, head_m=15, motor_kw=1)
    ctx = bench_of(small(MP1=pump, MP2=None, MP3=None, MP4=None))
    place._crests(ctx, made)
    told = one_of(ctx, "place.crest")
    assert (told.value, told.limit) == (15.0, round(over, 2))
    assert [r.to for r in told.remedies] == ([] if head_to is None else [head_to])
    place._suction(ctx, made)
    assert ("must suck" in one_of(ctx, "place.flooded").sentence) == sucks


@pytest.mark.parametrize(("length_m", "plan_m", "told"), [
    (11.0, 10.0, False), (12.6, 10.0, True), (12.4, 10.0, False), (2.0, 3.0, False),
    (2.0, 3.01, True), (7.4, 10.0, True),
])  # fmt: skip
def test_a_measured_length_against_the_plan(length_m: float, plan_m: float, told: bool) -> None:
    """A fourth of the plan or a metre: would fail if a short pipe's decimetres were told, or a long
    one's metres were not."""
    one = pipe("L1", "A.b", "B.a", length_m=length_m)
    guessed = Pipe(id="L1", start="A.b", end="B.a", bore_mm=50.0)
    ctx = bench_of(small(), {"place.length_differs_share": 0.25})
    for pipes, points, says in (((one,), (1,), told), ((one,), (), False),
                                ((guessed,), (1,), False)):  # fmt: skip
        ctx.plant = ctx.plant.model_copy(update={"pipes": pipes})
        ctx.notes.findings.clear()
        laid = {"L1": SimpleNamespace(points=points, length_m=plan_m)}
        place._differs(ctx, SimpleNamespace(laid=laid))  # type: ignore[arg-type]
        assert bool(ctx.notes.findings) == says


def test_tags_in_a_sentence() -> None:
    """Would fail if one more than are named were told as none."""
    tags = [f"L{i}" for i in range(9)]
    assert place._some(tags[:8]) == ", ".join(tags[:8])
    assert place._some(tags) == ", ".join(tags[:8]) + " and 1 more"
