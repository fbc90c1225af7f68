"""Layouts of rotaries and rows: nothing in anything else, at once, and the same each time."""

from __future__ import annotations

import math
import re
import time
import xml.etree.ElementTree as ET
from pathlib import Path

import pytest

from byrewright.documents.plan_sheets import plan_sheets, plan_svg, set_out
from byrewright.place.checks import outside_room
from byrewright.place.layout import _DRAFTS, lay_out
from byrewright.place.zones import neighbours, zones
from byrewright.plant.machine import REGISTRY, Machine, kinds
from byrewright.plant.place import MachinePlace, Place
from byrewright.plant.read import read_plant, read_plant_text
from byrewright.plant.sited import scene_of, sited
from byrewright.plant.write import plant_to_text
from byrewright.standards.footprints import PLAIN
from byrewright.standards.rulebook import default_rulebook
from tests.place.paper import texts, untidy
from tests.place.scenes import begun, briefed, faults, plan_of

ROOT = Path(__file__).resolve().parents[2]
LAYOUT_S = 2.0  # what one layout may take; it takes a tenth of that
MADE = [
    *(("rotary", n) for n in (24, 46, 80, 120)),
    *(("rows", n) for n in (16, 40, 80)),
]


@pytest.mark.parametrize(("layout", "stalls"), MADE)
@pytest.mark.parametrize("cold", ["ice_bank", "direct_expansion"])
def test_every_size_of_parlour_is_laid_out(layout: str, stalls: int, cold: str) -> None:
    """Would fail if machines or rooms stood in one another, or layout were slow."""
    plant = begun(layout, stalls, cold=cold)
    scene = scene_of(plant)
    start = time.process_time()
    plan = lay_out(scene, default_rulebook())
    assert time.process_time() - start < LAYOUT_S
    assert list(faults(plan)) == []
    _DRAFTS.clear()
    assert lay_out(scene, default_rulebook()) == plan


@pytest.mark.parametrize(("layout", "stalls"), [("rotary", 46), ("rows", 24)])
def test_a_kind_of_another_name_is_placed_and_piped_alike(layout: str, stalls: int) -> None:
    """Would fail if a place or a route turned on what a kind is called, not on what it declares."""
    plant = briefed(layout, stalls)
    before = sited(plant)
    known = dict(REGISTRY)
    try:
        other = {kind: type(f"Other{cls.__name__}", (cls,), {"KIND": f"other_{kind}"})
                 for kind, cls in known.items()}  # fmt: skip
        named = {t: other[m.kind].model_validate(m.model_dump())
                 for t, m in plant.equipment.items()}  # fmt: skip
        after = sited(plant.model_copy(update={"equipment": named}))
    finally:
        REGISTRY.clear()
        REGISTRY.update(known)
    assert before is not None and after is not None
    assert {b.kind for b in after.plan.bodies.values()}.isdisjoint(known)
    assert {t: b.box for t, b in after.plan.bodies.items()} == {
        t: b.box for t, b in before.plan.bodies.items()}  # fmt: skip
    assert after.laid == before.laid


@pytest.mark.parametrize(
    "name", ["rotary_round_the_clock", "rotary_spring_ice", "rows_two_by_twenty"]
)
def test_a_valve_stands_with_what_it_is_joined_to(name: str) -> None:
    """Would fail if two machines that follow each other changed places for ever: a milk valve stood
    in the wash room, with 25 m of milk line to it and back."""
    scene = scene_of(read_plant(ROOT / "examples" / name / "plant.yaml").plant)
    zone, near, judged = zones(scene), neighbours(scene), 0
    for tag, thing in scene.things.items():
        joined = {zone[t] for t, _ in near[tag] if t in zone}
        if thing.form.follows and not thing.in_line and joined in ({"milk"}, {"wash"}, {"plant"}):
            judged += 1
            assert {zone[tag]} == joined, tag
    assert judged > 8


@pytest.mark.parametrize("kind", [k for k in kinds().values() if k.PORTS], ids=lambda k: k.KIND)
def test_every_kind_with_pipes_says_what_it_takes_of_a_room(kind: type[Machine]) -> None:
    """Would fail if a kind without a form of its own got a box of half a metre, however large."""
    assert kind.FORM != PLAIN
    assert not kind.FORM.by or kind.FORM.by in kind.model_fields


def test_what_a_person_places_stays_and_nothing_else_moves() -> None:
    """Would fail if a machine placed by hand were moved, or pushed others about."""
    plant = begun("rotary", 46)
    before = plan_of(plant)
    old = before.bodies["VP1"]
    at = (old.x, old.y + 1.0)
    place = Place(machines={"VP1": MachinePlace(at=at)})
    after = plan_of(plant.model_copy(update={"place": place}))
    assert (after.bodies["VP1"].x, after.bodies["VP1"].y) == at
    assert after.bodies["VP1"].pinned
    others = set(before.bodies) - {"VP1"}
    assert all(after.bodies[t] == before.bodies[t] for t in others)
    larger = begun("rotary", 48).model_copy(update={"place": place})
    assert (plan_of(larger).bodies["VP1"].x, plan_of(larger).bodies["VP1"].y) == at


def test_the_place_is_written_and_read_back() -> None:
    """Would fail if a decided place got lost on its way through the file."""
    place = Place.model_validate({
        "services": "under",
        "deck": {"height_m": 0.9, "pit": {"radius_m": 3.0, "floor_m": -1.3}},
        "rooms": {"milk": {"at": [11, 2.2], "size": [12, 9.6], "height_m": 3.6,
                           "doors": [{"wall": "e", "at_m": 6.2, "wide_m": 3.0, "high_m": 3.2}]}},
        "racks": {"main": {"from": [11.3, -10.7], "to": [11.3, 15.2], "level_m": 2.95}},
        "gullies": {"milk": [[12.7, 3.6], [12.7, 6.4]]},
        "machines": {"RC1": {"on": "deck", "at": [1.9, 40, -0.75]},
                     "TK1": {"room": "milk", "at": [15.6, 3.7], "size": [3.6, 2.15, 2.45],
                             "mass_kg": 1900, "service_m": {"front": 1.2}}},
    })  # fmt: skip
    plant = begun("rotary", 46).model_copy(update={"place": place})
    read = read_plant_text(plant_to_text(plant)).plant
    assert read.place == place
    plan = plan_of(read)
    assert plan.bodies["TK1"].front_m == 1.2
    assert plan.rooms["milk"].stated


@pytest.mark.parametrize(
    ("layout", "stalls"), [("rotary", 24), ("rotary", 120), ("rows", 16), ("rows", 80)]
)
def test_sheets_hold_every_machine_and_are_tidy(layout: str, stalls: int) -> None:
    """Would fail if a machine were not drawn, a word lay on another or off the sheet, a tag stood
    on another machine, or a sheet had no scale and did not say so."""
    plant = briefed(layout, stalls)
    tags = {row[0] for row in set_out(sited(plant))}  # type: ignore[arg-type]
    drawn: set[str] = set()
    for sheet in plan_sheets(plant):
        svg = plan_svg(plant, sheet)
        root = ET.fromstring(svg)
        drawn |= {g.get("data-machine") or "" for g in root.iter() if g.get("data-machine")}
        assert list(untidy(svg, sheet.key)) == []
        words = " ".join(text for text, _ in texts(root))
        assert "1 : " in words or "Not to scale" in words or sheet.key.endswith("-list")
    assert tags <= drawn


@pytest.mark.parametrize(
    ("lines", "code"),
    [
        ("place: 7", "F014"),
        ("place: {rooms: 3}", "F014"),
        ("place: {rooms: {milk: {at: [1], size: [2, 3]}}}", "F028"),
        ("place: {machines: {ZZ9: {at: [1, 2]}}}", "F040"),
        ("place: {machines: {VP1: {turn: up}}}", "F027"),
        ("place: {services: beside}", "F027"),
        ("place: {walls: []}", "F020"),
    ],
)
def test_a_wrong_place_is_told_in_one_sentence(lines: str, code: str) -> None:
    """Would fail if a slip in the section gave a traceback or passed unseen."""
    from byrewright.plant.problems import PlantError
    from tests.plant.small import SMALL

    with pytest.raises(PlantError) as caught:
        read_plant_text(SMALL + "\n" + lines + "\n")
    assert code in {p.code for p in caught.value.problems}


def test_the_scale_bar_measures_a_known_wall() -> None:
    """Would fail if a sheet were drawn to another scale than it says."""
    plant = briefed("rotary", 36)
    found = sited(plant)
    assert found is not None
    hall = found.plan.rooms["hall"]
    sheet = next(s for s in plan_sheets(plant) if s.key == "P1-plan")
    views, _ = sheet.draw(plant, found)
    one = views[0]
    bar = re.findall(r'width="([\d.]+)" height="1.2"', "".join(one.scale_bar(0, 0)))
    metres = float(re.findall(r">(\d+) m<", "".join(one.scale_bar(0, 0)))[0])
    a, b = one.at(hall.x, hall.y), one.at(hall.x2, hall.y)
    assert math.dist(a, b) / hall.w == pytest.approx(sum(map(float, bar)) / metres, rel=0.002)


def test_the_pit_at_the_head_of_the_rows_is_as_deep_as_what_stands_there() -> None:
    """The draft of a large herd in rows would put its vessel for withheld milk through a wall."""
    plant = begun("rows", 40)
    large = plant.equipment["WM1"].model_copy(update={"volume_l": 800.0})
    equipment = {**plant.equipment, "WM1": large}
    plan = plan_of(plant.model_copy(update={"equipment": equipment}))
    assert outside_room(plan) == [] and plan.rooms["head"].d > plan_of(plant).rooms["head"].d
