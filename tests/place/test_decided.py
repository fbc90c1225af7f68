"""What a person decides is kept to, and changes nothing else: places, ways, hand, dimensions."""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path

import pytest

from byrewright import caches
from byrewright.commands.common import load
from byrewright.documents.plan_canvas import Canvas
from byrewright.documents.plan_set import SET_OUT, SET_OUT_UNITS
from byrewright.documents.plan_sheets import plan_sheets, plan_svg, set_out
from byrewright.drafting.draft import intent_of
from byrewright.drafting.topology import lay_out
from byrewright.errors import ByrewrightError
from byrewright.place import layout as laying
from byrewright.place.model import Route, Side
from byrewright.place.obeyed import follows, not_obeyed
from byrewright.place.router import rack_box
from byrewright.plant import sited as siting
from byrewright.plant.brief import read_brief_text
from byrewright.plant.pinning import read_set_out, set_out_by, with_places
from byrewright.plant.place import MachinePlace, Place, RoomPlace
from byrewright.plant.plant import Plant
from byrewright.plant.plant_id import keeping
from byrewright.plant.read import read_plant, read_plant_text
from byrewright.plant.sited import Sited, laid_out, sited
from byrewright.plant.write import plant_to_text
from byrewright.studies.place import study_place
from tests.place.scenes import briefed, faults
from tests.place.test_routes import near_pairs, through_machines

CM, MM = 0.01, 0.001
MADE = [("rotary", 46), ("rows", 40)]


def made(plant: Plant) -> Sited:
    """Its plan."""
    found = sited(plant)
    assert found is not None
    return found


def route_of(found: Sited, tag: str) -> Route:
    """The route that a pipe is part of."""
    return next(r for r in found.routes if tag in r.lines)


def told(plant: Plant, tag: str, **how: object) -> Plant:
    """The plant with a word on one of its pipes."""
    pipes = tuple(p.model_copy(update=how) if p.id == tag else p for p in plant.pipes)
    return laid_out(plant.model_copy(update={"pipes": pipes}))


@pytest.mark.parametrize(("layout", "stalls"), MADE)
def test_a_pipe_passes_its_way_points_and_the_rest_stays(layout: str, stalls: int) -> None:
    """Would fail if `by` were read and not obeyed, or moved other pipes."""
    plant = briefed(layout, stalls)
    before = made(plant)
    passage = before.plan.rooms["passage"]
    pipe = next(
        r for r in before.routes if r.service == "wash" and r.frame == "fixed" and r.length_m > 8
        and any(passage.holds(x, y) for x, y, _ in r.points)
    ).lines[0]  # fmt: skip
    spot = (round(passage.x + 0.35, 2), round(passage.y2 - 1.4, 2))
    asked = told(plant, pipe, by=(spot,))
    after = made(asked)
    assert not_obeyed(after.plan, after.routes) == []
    assert route_of(after, pipe).found
    assert after.laid[pipe].length_m > before.laid[pipe].length_m + 1
    changed = {t for t in before.laid if before.laid[t].points != after.laid[t].points}
    assert changed and changed <= set(route_of(after, pipe).lines)
    assert near_pairs([r for r in after.routes if r.points]) == []
    verdicts = {f.key: f.verdict for f in study_place(asked).findings}
    assert verdicts["place.obeyed"] == "holds"


def test_a_pipe_follows_its_rack_and_an_unknown_one_is_told() -> None:
    """Would fail if `along` were read and not obeyed, or a slip in a rack's name passed unseen."""
    plant = briefed("rotary", 46)
    place = Place.model_validate({"racks": {"second": {
        "from": [16.0, -4.0], "to": [16.0, 20.0], "level_m": 3.05, "wide_m": 0.6,
        "tiers": 1}}})  # fmt: skip
    plant = laid_out(plant.model_copy(update={"place": place}))
    before = made(plant)
    rack = rack_box(before.plan.racks["second"])
    pipe = max(
        (r for r in before.routes if r.frame == "fixed" and not follows(r.points, rack)
         and all(14 < x < 24 and -4 < y < 20 for x, y, _ in r.points)),
        key=lambda r: r.length_m,
    ).lines[0]  # fmt: skip
    after = made(told(plant, pipe, along=("second",)))
    assert not_obeyed(after.plan, after.routes) == []
    assert follows(route_of(after, pipe).points, rack)
    wrong = told(plant, pipe, along=("third",))
    (lack,) = not_obeyed(made(wrong).plan, made(wrong).routes)
    assert lack[0] == pipe and "no rack third" in lack[1] and "second" in lack[1]
    verdicts = {f.key: f.verdict for f in study_place(wrong).findings}
    assert verdicts["place.obeyed"] == "fails"


def test_a_machine_goes_into_the_room_it_is_told() -> None:
    """Would fail if `room` were read and not obeyed."""
    plant = briefed("rotary", 46)
    assert made(plant).plan.bodies["AC1"].room == "plant"
    place = Place(machines={"AC1": MachinePlace(room="wash")})
    after = made(laid_out(plant.model_copy(update={"place": place})))
    assert after.plan.bodies["AC1"].room == "wash"
    assert list(faults(after.plan)) == []


@pytest.mark.parametrize("turn", ["n", "e", "s", "w"])
def test_a_machine_faces_the_side_it_is_told(turn: Side) -> None:
    """Would fail if `turn` were read and not obeyed, or turned other machines, too."""
    plant = briefed("rotary", 46)
    before = made(plant).plan.bodies
    places = Place(machines={"VP1": MachinePlace(turn=turn)})
    after = made(laid_out(plant.model_copy(update={"place": places}))).plan.bodies
    one, old = after["VP1"], before["VP1"]
    assert one.turn == turn and (one.x, one.y) == (old.x, old.y)
    swapped = (old.turn in "ns") != (turn in "ns")
    assert (one.dx, one.dy) == ((old.dy, old.dx) if swapped else (old.dx, old.dy))
    x1, y1, x2, y2 = one.service_box
    reach = {"n": y2 - one.y, "s": one.y - y1, "e": x2 - one.x, "w": one.x - x1}
    half = (one.dy if turn in "ns" else one.dx) / 2
    assert reach[turn] == pytest.approx(half + one.front_m, abs=MM)
    assert {t for t in before if not after[t].stands_as(before[t])} <= {"VP1"}


@pytest.mark.parametrize(("layout", "stalls"), MADE)
def test_both_hands_are_the_same_centre(layout: str, stalls: int) -> None:
    """Would fail if the plan in a mirror had other lengths, bends or findings, or what a person
    decided landed on the wrong side."""
    plant = briefed(layout, stalls)
    one = made(plant)
    hand = laid_out(plant.model_copy(update={"place": Place(mirror=True)}))
    other = made(hand)
    assert other.plan.rooms["milk"].y < other.plan.rooms["plant"].y
    assert list(faults(other.plan)) == []
    routes = [r for r in other.routes if r.points]
    assert near_pairs(routes) == [] and through_machines(other.plan, routes) == []
    for tag, laid in one.laid.items():
        there = other.laid[tag]
        assert (there.length_m, there.rise_m, there.bends) == (
            laid.length_m, laid.rise_m, laid.bends)  # fmt: skip
    a, b = ({f.name: (f.verdict, f.value) for f in study_place(p).findings} for p in (plant, hand))
    assert a == b
    at = (one.plan.bodies["VP1"].x, one.plan.bodies["VP1"].y + 0.5)
    here = Place(machines={"VP1": MachinePlace(at=at)})
    there = Place(mirror=True, machines={"VP1": MachinePlace(at=(at[0], -at[1]))})
    moved = [made(laid_out(plant.model_copy(update={"place": p}))) for p in (here, there)]
    assert moved[1].plan.bodies["VP1"].y == -moved[0].plan.bodies["VP1"].y
    assert {t: x.length_m for t, x in moved[0].laid.items()} == {
        t: x.length_m for t, x in moved[1].laid.items()}  # fmt: skip


def test_north_turns_the_arrow_and_nothing_else() -> None:
    """Would fail if a plan whose east side faces north were drawn with the arrow up, or laid out
    otherwise."""
    plant = briefed("rows", 16)
    turned = laid_out(plant.model_copy(update={"place": Place(services="over", north="e")}))
    assert made(turned).laid == made(plant).laid
    canvas = Canvas((0, 0, 40, 20), 0, 0, 400, 200)
    found = {}
    for side in ("n", "e"):
        canvas.faces = side  # type: ignore[assignment]
        tip = canvas.north_arrow(10, 10)[0].split('"')[1].split()[0]
        found[side] = tuple(float(c) for c in tip.split(","))
    assert found == {"n": (10.0, 5.0), "e": (15.0, 10.0)}
    sheet = plan_sheets(turned)[0]
    assert plan_svg(turned, sheet) != plan_svg(plant, plan_sheets(plant)[0])


def test_a_users_own_dimensions_shape_the_plan(tmp_path: Path) -> None:
    """Would fail if limits beside the plant were judged by and not laid out by."""
    path = tmp_path / "plant.yaml"
    path.write_text(plant_to_text(briefed("rotary", 46)), encoding="utf-8")
    usual = made(read_plant(path).plant)
    (tmp_path / "limits.yaml").write_text(
        "place.walkway_m: 1.8\nplace.room_height_m: 4.2\n", encoding="utf-8"
    )
    file, rules = load(path)
    own = made(file.plant)
    assert usual.plan.rooms["hall"].w - own.plan.rooms["hall"].w == pytest.approx(1.2)
    assert own.plan.rooms["plant"].height_m == 4.2
    assert file.plant.place_rules().number("place.walkway_m") == rules.number("place.walkway_m")
    assert own.laid["L108"].length_m != usual.laid["L108"].length_m
    (tmp_path / "limits.yaml").write_text("place.walkway_m: wide\n", encoding="utf-8")
    assert made(read_plant(path).plant).plan == usual.plan  # told by whoever asks for the rules


def test_routes_are_kept_on_disk_and_a_torn_file_does_no_harm(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Would fail if kept routes were others than those laid, a half-written file were believed, or
    a folder that cannot be written stopped the work."""
    monkeypatch.setenv("BYREWRIGHT_CACHE", str(tmp_path))
    plant = briefed("rows", 16)

    def again() -> Sited:
        for kept in (siting._KEPT, siting._ROUTES, siting._LATEST, laying._DRAFTS):
            kept.clear()
        return made(plant)

    first = again()
    (path,) = (tmp_path / "routes").glob("*.json")
    whole = path.read_bytes()
    laid = []

    def lay(*_: object) -> tuple[Route, ...]:
        laid.append(1)
        return first.routes

    monkeypatch.setattr("byrewright.place.router.lay", lay)
    assert again() == first and not laid
    other = json.loads(whole)
    key = next(k for k, (_, points) in other.items() if points)
    other[key][1][0][0] += 1.0  # of another plan
    torn = [whole[: len(whole) // 2], b"", b"[]", b'{"L1": 3}', json.dumps(other).encode()]
    for i, bad in enumerate(torn):
        path.write_bytes(bad)
        assert again() == first
        assert len(laid) == i + 1 and path.read_bytes() == whole  # laid anew, and kept again

    def refused(*_: object, **__: object) -> None:
        raise OSError("read only")

    path.unlink()
    monkeypatch.setattr(caches.tempfile, "mkstemp", refused)
    assert again() == first
    assert list((tmp_path / "routes").glob("*.json")) == []


def table_of(found: Sited) -> str:
    """The set-out table as the plan set has it."""
    heads = [f"{n} ({u})" if u else n for n, u in zip(SET_OUT, SET_OUT_UNITS, strict=True)]
    out = io.StringIO()
    csv.writer(out).writerows([heads, *set_out(found)])
    return out.getvalue()


@pytest.mark.parametrize(("layout", "stalls"), MADE)
def test_a_set_out_table_read_again_gives_the_same_plan(
    layout: str, stalls: int, tmp_path: Path
) -> None:
    """Would fail if what a surveyor or architect hands back were read as something else."""
    file = read_plant_text(plant_to_text(briefed(layout, stalls)))
    first = made(file.plant)
    path = tmp_path / "set_out.csv"
    path.write_text(table_of(first), encoding="utf-8")
    text, count = set_out_by(file, first, read_set_out(path))
    assert count == 0 and text == file.text
    deck = next((t for t, b in first.plan.bodies.items() if b.frame == "deck"), "VP2")
    moves = {"VP1": {"at": [20.0, 1.0], "turn": "e"}, deck: {"turn": "e"}}
    other = read_plant_text(with_places(file, moves))
    moved = made(other.plant)
    assert moved.plan.bodies["VP1"].x == 20.0
    text, count = set_out_by(other, moved, read_set_out(path))
    assert count == 2
    back = made(read_plant_text(text).plant)
    for tag, body in first.plan.bodies.items():
        there = back.plan.bodies[tag]
        assert (there.x, there.y, there.z) == pytest.approx((body.x, body.y, body.z), abs=MM)
        assert (there.dx, there.dy, there.turn) == (body.dx, body.dy, body.turn)
    assert {t: x.length_m for t, x in back.laid.items()} == pytest.approx(
        {t: x.length_m for t, x in first.laid.items()}, abs=CM)  # fmt: skip
    feet = table_of(first).replace("(m)", "(ft)")
    path.write_text(feet, encoding="utf-8")
    assert read_set_out(path)["VP1"].east_m == pytest.approx(first.plan.bodies["VP1"].x * 0.3048)


@pytest.mark.parametrize(
    ("rows", "told"),
    [
        ("", "is empty"),
        ("tag,east (m)\nVP1,3", "has no column north"),
        ("tag,east (m),north (m),base level (m),faces\nVP1,far,2,0,s", "east of VP1 is 'far'"),
        ("tag,east (m),north (m),base level (m),faces\nVP1,1,2,0,up", "write n, e, s or w"),
        ("tag,east (m),north (m),base level (m),faces\nVP1,1,2", "line 2: has 3 cells"),
        ("tag,east (m),north (m),base level (m),faces\nZZ1,1,2,0,s", "no machine of that tag"),
    ],
)
def test_a_wrong_table_is_told_in_one_sentence(rows: str, told: str, tmp_path: Path) -> None:
    """Would fail if a slip in the table gave a traceback, or half of it were taken over."""
    file = read_plant_text(plant_to_text(briefed("rows", 16)))
    path = tmp_path / "set_out.csv"
    path.write_text(rows, encoding="utf-8")
    with pytest.raises(ByrewrightError, match=told):
        set_out_by(file, made(file.plant), read_set_out(path))


def test_a_new_draft_keeps_what_a_person_decided() -> None:
    """Would fail if two more stalls threw away a surveyor's day: places, rooms, measured lengths,
    ways of pipes; or a machine that is no longer there passed unseen."""
    old = briefed("rotary", 46)
    places = {"VP1": MachinePlace(at=(20.0, -3.0)), "TK1": MachinePlace(mass_kg=2500.0)}
    place = Place(
        rooms={"yard": RoomPlace(at=(-10.6, -40.0), size=(14.0, 18.0), open=True)},
        machines={**places, "SB9": MachinePlace(turn="e")},
    )  # fmt: skip
    old = told(old.model_copy(update={"place": place}), "L108", length_m=31.5, by=((11.4, -2.0),))
    file = read_brief_text(
        "farm: (invented) Test\ncows: 384\nyield_l_day: 28\nlayout: rotary\nstalls: 48\n"
        "milkings: 2\ncooling: ice_bank\nredundancy: shared-running\n"
    )
    kept = keeping(file, old.model_copy(update={"site": old.site.model_copy(update={"id": "p1"})}))
    assert kept.brief.id == "p1"
    new, sheet = lay_out(intent_of(kept.brief), {})
    assert new.place is not None and new.place.machines == places
    assert new.place.rooms == place.rooms
    assert "SB9" in sheet.comments["place.machines"]
    assert (made(new).plan.bodies["VP1"].x, made(new).plan.bodies["VP1"].y) == (20.0, -3.0)
    assert made(new).plan.rooms["yard"].stated
    pipe = next(p for p in new.pipes if p.id == "L108")
    assert (pipe.length_m, pipe.length_from, pipe.by) == (31.5, "measured", ((11.4, -2.0),))
    assert sum(p.length_from == "measured" for p in new.pipes) == 1
    read = read_plant_text(plant_to_text(new, dict(sheet.comments)))
    assert read.plant.place == new.place and "SB9" in read.text
    rows, _ = lay_out(intent_of(keeping(file, briefed("rows", 40)).brief), {})
    assert rows.place == Place(services="under")
