"""The plan's papers: drawing file, lists, checks that fail and hold, pins in the file."""

from __future__ import annotations

import io
import re
import xml.etree.ElementTree as ET
from dataclasses import replace

import ezdxf
import pytest
from ezdxf import bbox

from benchmarks.briefs import random_brief
from byrewright.documents.ink import text_width_mm
from byrewright.documents.plan_canvas import LEAST_MM
from byrewright.documents.plan_dxf import LAYERS, plan_dxf, spread_tags
from byrewright.documents.plan_lists import builders_list
from byrewright.documents.plan_pipes import pipe_list
from byrewright.documents.plan_sheets import plan_sheets, plan_svg
from byrewright.drafting.draft import intent_of
from byrewright.drafting.topology import lay_out as draft_layout
from byrewright.physics.noise import away_db, together_db
from byrewright.place import checks
from byrewright.place.board import WALL_M
from byrewright.place.falls import fall_room
from byrewright.place.layout import lay_out
from byrewright.place.model import Door, Rack, Route
from byrewright.place.shapes import measures
from byrewright.plant.brief import read_brief_text
from byrewright.plant.pinning import pinned
from byrewright.plant.place import MachinePlace, Place, Service
from byrewright.plant.plant import Plant
from byrewright.plant.read import read_plant_text
from byrewright.plant.sited import Sited, laid_out, scene_of, sited, with_place
from byrewright.plant.write import plant_to_text
from byrewright.results import Result
from byrewright.standards.rulebook import default_rulebook
from byrewright.studies.cables import cables_of
from byrewright.studies.place import study_place
from tests.documents.tidy import CAP_HEIGHT, meet
from tests.place.paper import SVG, machines
from tests.place.scenes import briefed
from tests.plants import machine

CM = 0.01
"""A centimetre: what turns a clearance one way or the other."""


def made(plant: Plant) -> Sited:
    """The plan of a plant."""
    found = sited(plant)
    assert found is not None
    return found


def placed(plant: Plant, **machines: MachinePlace) -> Plant:
    """The plant with machines put somewhere by hand."""
    return plant.model_copy(update={"place": Place(machines=machines)})


def verdicts(result: Result, key: str) -> set[str]:
    """The verdicts of a check."""
    return {f.verdict for f in result.findings if f.key == key}


@pytest.mark.parametrize(("layout", "stalls"), [("rotary", 46), ("rows", 40)])
def test_a_drafted_plan_holds(layout: str, stalls: int) -> None:
    """Would fail if the drafter laid out a centre that its own checks refuse."""
    result = study_place(briefed(layout, stalls))
    wrong = [f.sentence for f in result.findings if f.verdict not in ("holds", "tight")]
    assert [w for w in wrong if "sags" not in w] == []
    assert {f.key for f in result.findings} >= {
        "place.overlap", "place.in_room", "place.height", "place.service", "place.door",
        "place.gravity", "place.trip", "place.turning_gap", "place.clash", "place.headroom",
        "place.rack", "place.dry", "place.flooded", "place.crest", "place.load", "place.air",
        "place.cables", "place.tank_clear", "place.low_point", "place.noise", "place.volt_drop",
    }  # fmt: skip
    assert all(f.formula for f in result.findings)


def test_a_full_ice_bank_stands_on_the_floor_with_its_water_and_ice() -> None:
    """Would fail if the builder's floor were told the load of an empty ice bank: 100 kWh of ice
    alone are 3600 x 100 / 333.6 = 1079 kg; and if two under one tag weighed as one."""
    plant = briefed("rotary", 46)
    many = {}
    for count in (1, 2):
        bank = machine("IB1", "ice_bank", store_kwh=100, duty_kw=20, count=count)
        things = scene_of(plant.model_copy(update={"equipment": {"IB1": bank}, "pipes": []})).things
        many[count] = things["IB1"]
    assert many[1].holds_l == pytest.approx(1000 + 1079, abs=1)
    assert many[2].holds_l == pytest.approx(2 * many[1].holds_l)
    two = replace(many[2], spot=replace(many[2].spot, mass_kg=700.0))
    assert measures(two)[3] == pytest.approx(1400)


def test_a_file_without_a_place_is_not_judged() -> None:
    """Would fail if silence were taken for a plan."""
    bare = briefed("rotary", 46).model_copy(update={"place": None})
    assert [f.verdict for f in study_place(bare).findings] == ["unknown"]


def test_service_space_turns_at_a_centimetre() -> None:
    """Would fail if a blocked service space passed, or a free one did not."""
    plant = briefed("rotary", 46)
    body = made(plant).plan.bodies["VP1"]
    free = checks.free_front(made(plant).plan, body)
    for ask, verdict in ((free - CM, "holds"), (free + CM, "fails")):
        own = MachinePlace(at=(body.x, body.y), turn=body.turn, service_m=Service(front=ask))
        result = study_place(placed(plant, VP1=own))
        said = [f for f in result.findings if f.key == "place.service" and f.subject == "plant"]
        assert [f.verdict for f in said] == [verdict]


def test_machines_in_one_another_and_in_walls_are_told() -> None:
    """Would fail if a machine put into another, or through a wall, were not seen."""
    plant = briefed("rotary", 46)
    other = made(plant).plan.bodies["VP2"]
    result = study_place(placed(plant, VP1=MachinePlace(at=(other.x, other.y), turn=other.turn)))
    assert verdicts(result, "place.overlap") == {"fails"}
    hall = made(plant).plan.rooms["plant"]
    result = study_place(placed(plant, VP1=MachinePlace(at=(hall.x2 - 0.1, hall.y + 1.5))))
    assert verdicts(result, "place.in_room") == {"fails"}


def test_a_door_must_take_the_tank() -> None:
    """Would fail if a tank could not be brought in: width + 0.3 m, height + 0.2 m."""
    plan = made(briefed("rotary", 46)).plan
    tank = plan.bodies["TK1"]
    need_w, need_h = min(tank.dx, tank.dy) + 0.3, tank.h + 0.2
    for wide, high, fits in (
        (need_w, need_h, True), (need_w - 0.1, need_h, False), (need_w, need_h - CM, False)
    ):  # fmt: skip
        room = replace(plan.rooms["milk"], doors=(Door("e", 3.0, wide, high),))
        changed = replace(plan, rooms={**plan.rooms, "milk": room})
        one = checks.doors_for_tanks(changed, 0.3, 0.2)[0]
        assert (one.value >= one.limit - 1e-6) is fits


def test_low_points_gravity_racks_and_dry_rooms_are_measured() -> None:
    """Would fail if a pocket, an uphill drain, a wide rack or a wet board were not seen."""
    found = made(briefed("rotary", 46))
    plan, routes = found.plan, found.routes
    vacuum = next(r for r in routes if r.service == "vacuum" and r.frame == "fixed" and r.points)
    a, b = vacuum.points[0], vacuum.points[-1]
    deep = min(a[2], b[2]) - 0.5
    sag = replace(vacuum, points=(a, (a[0], a[1], deep), (b[0], a[1], deep), (b[0], b[1], deep), b))
    assert checks.low_points(plan, (sag,))[0].value == pytest.approx(0.5)
    halves = (replace(sag, points=sag.points[:3]), replace(sag, points=sag.points[2:]))
    assert checks.low_points(plan, halves) == []  # a drain cock at its lowest parts the line
    flat = replace(vacuum, points=(a, (b[0], a[1], a[2])))
    assert checks.low_points(plan, (flat,)) == []
    dry = next(r for r in plan.rooms.values() if r.dry)
    over = replace(
        vacuum, service="milk",
        points=((dry.x - 1, dry.y + 0.5, 2.6), (dry.x2 + 1, dry.y + 0.5, 2.6)),
    )  # fmt: skip
    assert checks.wet_in_dry(plan, (over,)) == [(over.lines[0], dry.name)]
    assert checks.wet_in_dry(plan, routes) == []
    rack = plan.racks["main"]
    x, y = rack.start
    two = tuple(
        replace(vacuum, outside_mm=100.0, points=((x + off, y + 1, 2.8), (x + off, y + 9, 2.8)))
        for off in (-0.4, 0.4)
    )
    assert checks.rack_width(plan, rack, two).value == pytest.approx(0.9)


def test_a_pipe_between_two_racks_counts_to_the_nearer() -> None:
    """Would fail if the pipes of a rack stated beside or over the main one made that one too
    narrow: it would be told to be widened for pipes that hang elsewhere."""
    plan = made(briefed("rotary", 46)).plan
    rack = plan.racks["main"]
    x, y = rack.start
    flat = Route(("L1",), "vacuum", 100.0, ())

    def at(off: float, level: float, begun: float = 1.0) -> Route:
        return replace(flat, points=((x + off, y + begun, level), (x + off, y + 9, level)))

    def wide(*ways: Route, **racks: Rack) -> tuple[float, ...]:
        both = replace(plan, racks={"main": rack, **racks})
        return tuple(checks.rack_width(both, r, ways).value for r in both.racks.values())

    beside = replace(rack, name="second", start=(x + 0.9, y), end=(x + 0.9, rack.end[1]))
    mine, its = at(0.0, rack.level_m), at(0.6, rack.level_m)
    assert wide(mine, its) == pytest.approx((0.7,))
    assert wide(mine, its, second=beside) == pytest.approx((0.1, 0.1))
    ends_before = replace(beside, end=(x + 0.9, y + 0.9))
    assert wide(mine, its, second=ends_before) == pytest.approx((0.7, 0.0))
    above = replace(rack, name="second", level_m=rack.level_m + 1.0)
    high = at(0.5, rack.level_m + 1.1)
    assert wide(mine, high) == pytest.approx((0.6,))
    assert wide(mine, high, second=above) == pytest.approx((0.1, 0.1))


def test_noise_falls_with_distance_and_wall() -> None:
    """Would fail if a vacuum pump in the parlour passed as one behind a wall.

    Two sources of one level are 3 dB more, double the distance 6 dB less (any handbook)."""
    plant = briefed("rotary", 46)
    held = [f for f in study_place(plant).findings if f.key == "place.noise"]
    assert [f.verdict for f in held] == ["holds"]
    edge = made(plant).plan.deck.edge_radius_m
    loud = study_place(placed(plant, VP1=MachinePlace(room="hall", at=(edge + 1.5, 0.8))))
    assert verdicts(loud, "place.noise") == {"fails"}
    assert together_db([80.0, 80.0]) == pytest.approx(83.0, abs=0.02)
    assert away_db(82.0, 8.0) - away_db(82.0, 4.0) == pytest.approx(-6.02, abs=0.01)


def test_pipes_keep_clear_of_machines() -> None:
    """Would fail if a pipe through or over a machine were not seen, or the router laid one so."""
    for layout, stalls in (("rotary", 46), ("rows", 40)):
        found = made(briefed(layout, stalls))
        assert checks.through_machines(found.plan, found.routes) == []
        assert len(checks.over_machines(found.plan, found.routes)) <= 1
    plan, pump = found.plan, found.plan.bodies["VP1"]
    pipe = next(r for r in found.routes if r.service == "water" and r.points)
    for level, through in ((pump.z + pump.h / 2, True), (pump.z + pump.h + 0.5, False)):
        across = replace(pipe, points=((pump.x - 3, pump.y, level), (pump.x + 3, pump.y, level)))
        check = checks.through_machines if through else checks.over_machines
        assert (across.lines[0], "VP1") in check(plan, (across,))


def test_a_line_needs_height_for_its_fall() -> None:
    """Would fail if a line that cannot be laid with its fall over another passed."""
    found = made(briefed("rotary", 46))
    milk = next(r for r in found.routes if r.service == "milk" and r.frame == "fixed" and r.points)
    upper = replace(milk, outside_mm=50.0, points=((0.0, 0.0, 3.0), (20.0, 0.0, 3.0)))
    slopes = {"milk": 0.5}
    for level, fits in ((2.84, True), (2.86, False)):  # 0.10 m of fall and two radii of 25 mm
        lower = replace(upper, service="water", lines=("X",), points=(
            (19.0, -1.0, level), (19.0, 1.0, level)))  # fmt: skip
        one = fall_room((upper, lower), slopes)[0]
        assert (one.value, one.words) == (pytest.approx(0.1), "X")
        assert (one.value <= one.limit) is fits
    assert {f.verdict for f in study_place(briefed("rotary", 46)).findings
            if f.key == "place.fall_room"} <= {"holds", "tight"}  # fmt: skip


@pytest.mark.parametrize("seed", [3, 8])
def test_a_plan_of_any_brief_can_be_built(seed: int) -> None:
    """Would fail if a drain lay where a collection line falls, or tanks had no room before them."""
    plant, _ = draft_layout(intent_of(read_brief_text(random_brief(seed)).brief), {})
    result = study_place(laid_out(with_place(plant)))
    assert [f.sentence for f in result.findings if f.verdict in ("fails", "unknown")] == []


def test_over_the_deck_the_gland_is_fed_from_above() -> None:
    """Would fail if services over a bridge went down past the gland to ports at its foot."""
    plant = briefed("rotary", 46)
    plant = plant.model_copy(update={"place": Place(services="over")})
    found = made(plant)
    gland = found.plan.bodies["GL1"]
    still = [r for r in found.routes if r.frame == "fixed"
             and any(e.startswith("GL1.fixed") for e in r.ends)]  # fmt: skip
    assert still and all(r.found for r in still)
    assert min(p[2] for r in still for p in r.points if abs(p[0]) < 2.0) >= gland.z + gland.h - CM
    result = study_place(plant)
    assert [f.key for f in result.findings if f.verdict not in ("holds", "tight")] == []


def test_levels_tell_suction_and_crest() -> None:
    """Would fail if a pump over its vessel, or a crest over its head, were not seen."""
    found = made(briefed("rotary", 46))
    feeder = checks.suction_level(found.plan, found.routes, "MP1")
    assert feeder is not None and feeder[0] == "RC1" and feeder[1] > 0
    crest = checks.crest_after(found.plan, found.routes, "MP1")
    assert crest is not None and 2.0 < crest[1] < 5.0


def test_the_wish_of_a_bridge_is_a_bridge() -> None:
    """Would fail if services over the deck still ran in a trench."""
    plant = briefed("rotary", 46)
    scene = scene_of(plant)
    over = replace(scene, wish=replace(scene.wish, services="over"))
    names = {r.name for r in lay_out(over, default_rulebook()).racks.values()}
    assert names == {"main", "bridge"}


@pytest.mark.parametrize(("layout", "stalls"), [("rotary", 46), ("rows", 40)])
def test_the_drawing_file_is_sound_and_whole(layout: str, stalls: int) -> None:
    """Would fail if the file did not open clean, a machine's tag were missing or double, or
    the same plan gave another file in another process."""
    plant = briefed(layout, stalls)
    found = made(plant)
    text = plan_dxf(plant, found)
    classes = re.findall(r"CLASS\n  1\n(.+)\n", text)
    first = classes[: classes.index("LAYOUT") + 1]
    assert first == sorted(first)  # and not as a set has them, in each process anew
    doc = ezdxf.read(io.StringIO(text))  # type: ignore[attr-defined]
    audit = doc.audit()
    assert not audit.errors and not audit.fixes
    assert set(LAYERS) <= {layer.dxf.name for layer in doc.layers}
    space = doc.modelspace()
    tags = [t.dxf.text for t in space.query("TEXT[layer=='M-EQPM-TEXT']")]
    tags += [a.dxf.text for i in space.query("INSERT") for a in i.attribs if a.dxf.tag == "TAG"]
    assert len(tags) == len(set(tags))
    wanted = set(plant.equipment) - spread_tags(found.plan)
    assert wanted <= set(tags), wanted - set(tags)
    layers = " | ".join(f"layer=='{name}'" for name in ("A-WALL", "A-YARD", "M-EQPM"))
    size = bbox.extents(space.query(f"LWPOLYLINE[{layers}]"))
    x1, y1, x2, y2 = (v * 1000 for v in found.plan.extent())
    ends = (size.extmin.x, size.extmin.y, size.extmax.x, size.extmax.y)
    assert ends == pytest.approx((x1, y1, x2, y2), abs=WALL_M * 1000 + 1)
    pipes = space.query("POLYLINE[layer!='E-CABLE']")
    assert len(pipes) == sum(len(one.points) > 1 for one in found.laid.values())
    cables = space.query("POLYLINE[layer=='E-CABLE']")
    assert len(cables) == len(cables_of(plant, found))
    general = next(s for s in plan_sheets(plant) if s.key == "P1-plan")
    on_paper, scale = drawn_size_mm(plan_svg(plant, general))
    sides = sorted((ends[2] - ends[0], ends[3] - ends[1]))
    assert sorted(on_paper) == pytest.approx([s / scale for s in sides], abs=0.02)


def drawn_size_mm(svg: str) -> tuple[tuple[float, float], float]:
    """Width and height of all rooms and machines on a plan's sheet, and its scale."""
    root = ET.fromstring(svg)
    boxes = [box for _, box in machines(root)]
    for rect in root.iter(SVG + "rect"):
        if rect.get("fill") == "none":
            x, y, w, h = (float(rect.get(k, 0)) for k in ("x", "y", "width", "height"))
            boxes.append((x, y, x + w, y + h))
    found = re.search(r"1 : (\d+)", svg)
    assert found and len(boxes) > 40
    wide = max(b[2] for b in boxes) - min(b[0] for b in boxes)
    return (wide, max(b[3] for b in boxes) - min(b[1] for b in boxes)), float(found[1])


@pytest.mark.parametrize(("layout", "stalls"), [("rows", 16), ("rows", 32), ("rows", 80)])
def test_a_section_of_the_pit_names_each_line_along_it(layout: str, stalls: int) -> None:
    """Would fail if one of the lines along the pit had no name because another stood there."""
    plant = briefed(layout, stalls)
    svg = plan_svg(plant, next(s for s in plan_sheets(plant) if s.key == "P4-across"))
    drawn = [tuple(map(float, re.findall(r"-?[0-9.]+", d)))
             for d in re.findall(r'<polyline points="([^"]*)"', svg)]  # fmt: skip
    lines = [(min(d[::2]), min(d[1::2]), max(d[::2]), max(d[1::2])) for d in drawn if len(d) == 4]
    rings = re.findall(r'<circle cx="([0-9.]+)" cy="([0-9.]+)" r="([0-9.]+)"', svg)
    lines += [(x - r, y - r, x + r, y + r) for x, y, r in (tuple(map(float, c)) for c in rings)]
    assert len(lines) > 20
    for told in ("milkline +0.80", "units +1.00", "pulsators +1.15"):
        found = re.search(rf'<text x="([0-9.]+)" y="([0-9.]+)"[^>]*>{re.escape(told)}<', svg)
        assert found is not None, told
        x, y = float(found[1]), float(found[2])
        half = text_width_mm(told, LEAST_MM) / 2
        area = (x - half, y - LEAST_MM * CAP_HEIGHT, x + half, y)
        assert [line for line in lines if meet(area, line)] == [], told


def test_lists_hold_what_is_built_and_laid() -> None:
    """Would fail if the builder's list or the pipe list left something out."""
    plant = briefed("rotary", 46)
    found = made(plant)
    works = builders_list(plant, found)
    assert {row[0] for row in works[1:]} == {
        "slab", "pit", "drain", "door", "opening", "plinth", "load", "air", "power", "water",
        "duct", "tanker",
    }  # fmt: skip
    pipes = pipe_list(plant, found)
    assert {row[0] for row in pipes[1:]} == {p.id for p in plant.pipes}


def test_pinning_writes_the_plan_as_it_is() -> None:
    """Would fail if the pinned file gave another plan, or lost a comment or a pin."""
    text = plant_to_text(briefed("rotary", 36), {"place": "what was decided"})
    file = read_plant_text(text)
    before = made(file.plant)
    fixed, count = pinned(file, before)
    again = read_plant_text(fixed)
    assert count == len(before.plan.bodies) and "what was decided" in fixed
    after = made(again.plant)
    for tag, body in before.plan.bodies.items():
        there = after.plan.bodies[tag]
        assert (there.x, there.y, there.z) == pytest.approx((body.x, body.y, body.z), abs=CM), tag
    assert pinned(again, after)[1] == 0
