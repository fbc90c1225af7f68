"""Pipes through the plan: lengths by hand, levels round loops, nothing through anything else."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import pairwise

import pytest

from benchmarks.briefs import random_brief
from byrewright.drafting.draft import intent_of
from byrewright.drafting.sheet import Chosen
from byrewright.drafting.topology import lay_out as lay_out_draft
from byrewright.place.checks import clashes, climbing
from byrewright.place.cut import along, between, level_spot
from byrewright.place.ends import nets
from byrewright.place.layout import lay_out
from byrewright.place.model import (
    Line,
    Plan,
    Point,
    Room,
    Route,
    Scene,
    Spot,
    Thing,
    Wish,
)
from byrewright.place.router import clash, lay, plain_way, tidy
from byrewright.place.walls import walls
from byrewright.plant.brief import read_brief_text
from byrewright.plant.machine import kinds
from byrewright.plant.place import MachinePlace, Place
from byrewright.plant.plant import Plant
from byrewright.plant.read import read_plant_text
from byrewright.plant.sited import Sited, laid_out, sited, with_place
from byrewright.plant.write import plant_to_text
from byrewright.standards.rulebook import default_rulebook
from byrewright.studies.place import study_place
from tests.place.scenes import briefed

GAP_M = 0.025
"""Least room between two pipes' outsides (common practice)."""
ROUNDED_M = 0.001
TANKS_L = (8000.0, 12000.0, 18000.0, 8000.0)
MADE = [("rotary", 24), ("rotary", 60), ("rotary", 120), ("rows", 16), ("rows", 64)]


def made(layout: str, stalls: int, place: Place | None = None) -> tuple[Plant, Sited]:
    """A plant with first guesses of its sizes, and its plan."""
    plant = briefed(layout, stalls)
    if place is not None:
        plant = plant.model_copy(update={"place": place})
    found = sited(plant)
    assert found is not None
    return plant, found


def apart(a: Point, b: Point, c: Point, d: Point) -> float:
    """Least distance of two square pieces, axis by axis: not the router's own function."""
    out = 0.0
    for u1, u2, v1, v2 in zip(a, b, c, d, strict=True):
        gap = max(min(u1, u2) - max(v1, v2), min(v1, v2) - max(u1, u2), 0.0)
        out += gap * gap
    return math.sqrt(out)


def near_pairs(routes: list[Route]) -> list[str]:
    """Pairs of pipes with less than the gap between their outsides, all against all.

    Two that meet at one machine may be as near there as its ports: 0.6 m round it are let off.
    """
    found = []
    for i, one in enumerate(routes):
        for other in routes[i + 1 :]:
            if one.frame != other.frame:
                continue
            need = (one.outside_mm + other.outside_mm) / 2000 + GAP_M
            tags = [{e.partition(".")[0] for e in r.ends} for r in (one, other)]
            shared = tags[0] & tags[1]
            ends = [
                r.points[k] for r in (one, other) for k, e in ((0, r.ends[0]), (-1, r.ends[1]))
                if e.partition(".")[0] in shared
            ]  # fmt: skip
            for a, b in pairwise(one.points):
                for c, d in pairwise(other.points):
                    if apart(a, b, c, d) < need - ROUNDED_M and not any(
                        apart(a, b, e, e) < 0.6 and apart(c, d, e, e) < 0.6 for e in ends
                    ):
                        found.append(f"{one.ends} and {other.ends}")
    return found


def through_machines(plan: Plan, routes: list[Route]) -> list[str]:
    """Pipes whose middle passes a machine that is not one of their own."""
    found = []
    for route in routes:
        own = {e.partition(".")[0] for e in route.ends}
        for body in plan.bodies.values():
            deck = body.frame == "deck" or body.kind == "rotary_gland"
            if body.tag in own or (route.frame == "deck") != deck:
                continue
            x1, y1, x2, y2 = body.box
            box = ((x1, x2), (y1, y2), (body.z, body.z + body.h))
            for a, b in pairwise(route.points):
                if all(
                    max(p, q) > low + ROUNDED_M and min(p, q) < high - ROUNDED_M
                    for (low, high), p, q in zip(box, a, b, strict=True)
                ):
                    found.append(f"{route.ends} through {body.tag}")
    return found


def in_walls(plan: Plan, routes: list[Route]) -> list[str]:
    """Pipes whose middle runs along or upright in a wall, not square through it."""
    found = []
    for route in routes:
        for a, b in pairwise(route.points):
            if route.frame == "deck":
                continue
            for wall in walls(plan):
                box = ((wall.x, wall.x2), (wall.y, wall.y2),
                       (wall.floor_m, wall.floor_m + wall.height_m))  # fmt: skip
                inside = all(
                    max(p, q) > low + ROUNDED_M and min(p, q) < high - ROUNDED_M
                    for (low, high), p, q in zip(box, a, b, strict=True)
                )
                across = 0 if wall.runs_north else 1
                if inside and abs(a[across] - b[across]) < box[across][1] - box[across][0]:
                    found.append(f"{route.ends} in {wall.name}")
    return found


@pytest.mark.parametrize(("layout", "stalls"), MADE)
def test_no_pipe_goes_through_another_or_a_machine_or_a_dry_room(layout: str, stalls: int) -> None:
    """Would fail if what is drawn could not be hung."""
    _, found = made(layout, stalls)
    routes = [r for r in found.routes if r.points]
    assert [r.ends for r in routes if not r.found] == []
    assert near_pairs(routes) == []
    assert through_machines(found.plan, routes) == []
    assert in_walls(found.plan, routes) == []
    dry = [r for r in found.plan.rooms.values() if r.dry]
    assert dry
    for route in routes:
        for x, y, _ in route.points:
            assert not any(room.holds(x, y, -0.01) for room in dry), route.ends


@pytest.mark.parametrize(("layout", "stalls"), [("rotary", 46), ("rows", 40)])
def test_rises_round_every_loop_come_to_nothing(layout: str, stalls: int) -> None:
    """Would fail if a ring were charged with a lift that it gives back.

    Each machine that liquid passes under pressure has one level; the levels are worked out along
    a tree of the pipes, and every other pipe must agree with them.
    """
    plant, found = made(layout, stalls)
    level: dict[str, float] = {}
    for end, mouth in (
        (f"{b.tag}.{name}", m) for b in found.plan.bodies.values() for name, m in b.mouths.items()
    ):
        level[end] = mouth.datum_m
    at: dict[str, float] = {}
    pipes = list(laid_out(plant).pipes)
    for _ in range(6):
        for pipe in pipes:
            for a, b, rise in (
                (pipe.start, pipe.end, pipe.rise_m), (pipe.end, pipe.start, -pipe.rise_m)
            ):  # fmt: skip
                start = level.get(a, at.get(a.partition(".")[0]))
                tag = b.partition(".")[0]
                if start is not None and b not in level and found.plan.bodies.get(tag) is None:
                    at.setdefault(tag, start + rise)
    judged = 0
    for pipe in pipes:
        ends = [level.get(e, at.get(e.partition(".")[0])) for e in (pipe.start, pipe.end)]
        kinds = {plant.equipment[e.partition(".")[0]].kind for e in (pipe.start, pipe.end)}
        if ends[0] is None or ends[1] is None or "floor_drain" in kinds:
            continue
        if kinds & {"milkline", "pulsator_airline", "milking_unit", "pulsator", "backflush"}:
            continue
        judged += 1
        assert ends[1] - ends[0] == pytest.approx(pipe.rise_m, abs=ROUNDED_M), pipe.id
    assert judged > 80


def test_a_length_is_that_of_its_pieces() -> None:
    """Would fail if lengths or bends were counted wrongly: a way of 10 m worked out by hand."""
    way = tidy([(0, 0, 0), (0, 0, 1), (0, 0, 2.5), (4, 0, 2.5), (4, 3, 2.5), (4, 3, 2.0)])
    assert len(way) == 5  # the point on the straight riser is gone
    assert sum(math.dist(a, b) for a, b in pairwise(way)) == pytest.approx(10.0)
    assert along(way, 2.5) == (0, 0, 2.5)
    assert between(way, 2.0, 7.5) == ((0, 0, 2.0), (0, 0, 2.5), (4, 0, 2.5), (4, 1, 2.5))
    assert len(plain_way((0, 0, 0), (0, 0, 1), (2, 3, 1), (2, 3, 0))) == 5


def test_two_machines_ten_metres_apart_are_joined_square() -> None:
    """Would fail if the way found were not the shortest square one, to a millimetre, by hand.

    A receiver 1.8 m high and a dryer 0.7 m high stand 10 m apart; their ports look up a quarter of
    their depth behind the middle (0.6 and 0.5 m deep). Pipes hang at 2.4 m: up, along, aside, down.
    """

    def thing(tag: str, kind: str, port: str, east: float) -> Thing:
        return Thing(tag, kind, tag, kinds()[kind].FORM, ports=((port, "both", "air"),),
                     spot=Spot(at=(east, -3.0), turn="n"))  # fmt: skip

    things = {
        "AR1": thing("AR1", "air_receiver", "outlet", 14.0),
        "AD1": thing("AD1", "air_dryer", "inlet", 24.0),
    }
    room = Room("plant", 12.9, -6.0, 13.0, 5.0, stated=True)
    line = Line("L1", "AR1.outlet", "AD1.inlet", "air", 25.0)
    scene = Scene(True, 46, 1, 6.6, 100, "EU", things, (line,), Wish(rooms=(room,)))
    rules = default_rulebook()
    (route,) = lay(lay_out(scene, rules), rules)
    by_hand = (2.4 - 1.8) + 10.0 + abs(0.6 / 4 - 0.5 / 4) + (2.4 - 0.7)
    assert route.found and route.length_m == pytest.approx(by_hand, abs=ROUNDED_M)
    assert len(route.points) - 2 == 3  # bends
    aside = (19.0, -4.5)  # a metre and a half off the straight way, and back again
    said = replace(scene, lines=(replace(line, by=(aside,)),))
    (longer,) = lay(lay_out(said, rules), rules)
    assert longer.length_m == pytest.approx(by_hand + 2 * (4.5 - 3.15), abs=ROUNDED_M)


@pytest.mark.parametrize("layout", ["rotary", "rows"])
def test_what_a_tank_runs_out_into_does_not_rise(layout: str) -> None:
    """Would fail if a tank's wash, or a plant wash through it, had to climb on its way to the drain
    by itself: nothing pumps it there."""
    laid = briefed(layout, 24)
    out = [p for p in laid.pipes if p.start in ("V51.b", "V52.b", "V55.b", "V56.b")]
    assert len(out) == 4
    for pipe in out:
        assert max(z for _, z in pipe.profile) <= 0.02, (pipe.id, pipe.profile)


@pytest.mark.parametrize(("layout", "stalls"), [("rotary", 24), ("rotary", 86), ("rows", 40)])
def test_a_drain_falls_all_the_way(layout: str, stalls: int) -> None:
    """Would fail if a drain rose before its gully, or went round what stands there no more: milk
    and wash would stand in it; or if the study passed one that does."""
    plant, found = made(layout, stalls)
    drains = [r for n, r in zip(nets(found.plan), found.routes, strict=True)
              if n.drains and len(r.points) > 1]  # fmt: skip
    assert len(drains) > 12
    for route in drains:
        assert all(b[2] <= a[2] for a, b in pairwise(route.points)), (route.lines, route.points)
    assert climbing(found.plan, found.routes) == []
    a, *rest = drains[0].points
    up = (a, (a[0], a[1], a[2] + 0.2), *rest)
    routes = tuple(replace(r, points=up) if r is drains[0] else r for r in found.routes)
    assert [(m.subject, m.value) for m in climbing(found.plan, routes)] == [
        (drains[0].lines[0], pytest.approx(0.2))]  # fmt: skip
    assert {f.verdict for f in study_place(plant).findings if f.key == "place.drain_way"} == {
        "holds"}  # fmt: skip


def test_a_pipe_between_two_rooms_stays_in_the_building() -> None:
    """Would fail if a milk line went out through the tanker's wall and came back in beside it, as
    one of this brief did, or the line from the water source lost its way in."""
    tanks = {f"TK{n}": litres for n, litres in enumerate(TANKS_L, 1)}
    sizes = {(t, "volume_l"): Chosen(litres, "drawn") for t, litres in tanks.items()}
    plant, _ = lay_out_draft(intent_of(read_brief_text(random_brief(8)).brief), sizes)
    found = sited(with_place(plant))
    assert found is not None
    plan, out = found.plan, 0
    roofed = [r for r in plan.rooms.values() if not r.open]
    for route in found.routes:
        rooms = {plan.bodies[t].room for e in route.ends if (t := e.partition(".")[0])
                 in plan.bodies}  # fmt: skip
        outside = [p for p in route.points if not any(r.holds(p[0], p[1], 0.25) for r in roofed)]
        if route.frame == "fixed" and "outside" not in rooms:
            assert outside == [], (route.lines, outside)
        out += bool(outside) and route.found
    assert out >= 2


@pytest.mark.parametrize(("layout", "stalls"), [("rotary", 60), ("rows", 40)])
def test_the_line_that_levels_two_receivers_lies_low(layout: str, stalls: int) -> None:
    """Would fail if the flooded line between two receivers left them at the top, over a crest that
    no milk passes."""
    _, found = made(layout, stalls)
    (line,) = [r for r in found.routes if r.ends[0].endswith(".balance")]
    for end in line.ends:
        body = found.plan.bodies[end.partition(".")[0]]
        assert max(p[2] for p in line.points) < body.z + body.h / 2


def test_a_valve_sits_where_no_liquid_stands_against_it() -> None:
    """Would fail if a valve were put in a crest of a line that falls, or low in one that rises."""
    falls = ((0.0, 0.0, 0.4), (0.2, 0.0, 0.4), (0.2, 0.0, 0.7), (2.0, 0.0, 0.7), (2.0, 0.0, 0.3))
    assert along(falls, level_spot(falls, 2.7, 0.35, early=True))[2] == 0.4
    rises = tuple(reversed(falls))
    spot = level_spot(rises, 2.7, 0.35, early=True)
    assert along(rises, spot)[2] >= 0.4


@pytest.mark.parametrize("layout", ["rotary", "rows"])
def test_moving_one_machine_changes_its_own_pipes(layout: str) -> None:
    """Would fail if a moved machine re-routed the plant, or its pins did not hold."""
    plant, before = made(layout, 40)
    body = before.plan.bodies["TK1"]
    place = Place(
        services=plant.place.services if plant.place else "under",
        machines={"TK1": MachinePlace(at=(round(body.x - 0.5, 3), body.y))},
    )
    _, after = made(layout, 40, place)
    own = {p for r in before.routes if any(e.startswith("TK1.") for e in r.ends) for p in r.lines}
    changed = {t for t in before.laid if before.laid[t].length_m != after.laid[t].length_m}
    others = changed - own
    assert changed & own
    assert not others
    moved = [t for t, b in after.plan.bodies.items() if b != before.plan.bodies[t]]
    assert moved == ["TK1"]


def test_stated_lengths_win_and_computed_ones_are_never_written() -> None:
    """Would fail if a length of the plan were taken for measured by the next reader."""
    plant = briefed("rotary", 46)
    pipe = next(p for p in plant.pipes if p.id == "L215")
    assert pipe.length_from == "from the plan"
    assert "length_m" not in plant_to_text(plant)[plant_to_text(plant).index("pipes:") :]
    stated = pipe.model_copy(update={"length_m": 84.0})
    pipes = tuple(stated if p.id == "L215" else p for p in plant.pipes)
    again = read_plant_text(plant_to_text(plant.model_copy(update={"pipes": pipes}))).plant
    found = {p.id: p for p in again.pipes}
    assert found["L215"].length_from == "measured"
    assert found["L215"].length_m == 84.0
    assert found["L215"].rise_m == pipe.rise_m
    bare = again.model_copy(update={"place": None, "pipes": (found["L108"],)})
    text = plant_to_text(bare)
    assert "length_m" not in text[text.index("pipes:") :]
    where = {w: p for w, p in again.defaults_taken() if w == "place"}
    assert "173 pipes" in where["place"].meaning or "pipes" in where["place"].meaning


def test_pipes_are_told_apart_only_where_they_clash() -> None:
    """Would fail if the router's own test of nearness were blind or saw ghosts."""
    _, found = made("rotary", 46)
    every = {n.key: n for n in nets(found.plan) if n.start and n.end and n.frame == "fixed"}
    first, other = list(every.values())[2], list(every.values())[40]
    p = ((0.0, 0.0, 1.0), (5.0, 0.0, 1.0))
    r = first.radius_m + other.radius_m
    for off, wrong in ((0.02, True), (0.035, False)):
        q = ((2.0, -3.0, 1.0 + r + off), (2.0, 3.0, 1.0 + r + off))
        assert clash(first, p, other, q, 0.03) is wrong


def test_a_line_that_begins_under_another_gets_out_of_its_fall() -> None:
    """A withheld line that begins in the height that the pulsators' air line falls through would
    run straight through it: every way out cost the same."""
    brief = read_brief_text(
        "farm: (invented) Test\ncows: 398\nlayout: rows\nrows: 2\nstalls: 92\nmilkings: 1\n"
        "yield_l_day: 35\nregion: Australia\nbudget: lean\nredundancy: shared-running\n"
    ).brief
    plant, _ = lay_out_draft(intent_of(brief), {("L113", "bore_mm"): Chosen(98.0, "wide")})
    found = sited(with_place(plant))
    assert found is not None
    assert clashes(found.plan, found.routes, GAP_M) == []
