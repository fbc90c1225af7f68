"""What the plan fails carries remedies as data: applied to the file, it holds when asked again."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Any

import pytest

from byrewright.place.ends import nets
from byrewright.plant.edit import edit_plant
from byrewright.plant.pinning import with_places
from byrewright.plant.read import PlantFile, read_plant_text
from byrewright.plant.sited import Sited, sited
from byrewright.results import Finding, Remedy, Result
from byrewright.studies.explain import explain
from byrewright.studies.place import study_place
from byrewright.studies.place_mending import _changes

ROWS = Path(__file__).parents[2] / "examples" / "rows_two_by_twenty" / "plant.yaml"


@cache
def base() -> PlantFile:
    """The example of stalls in rows, nothing of its plan decided."""
    return read_plant_text(ROWS.read_text(encoding="utf-8"))


@cache
def plan() -> Sited:
    """Its plan."""
    made = sited(base().plant)
    assert made is not None
    return made


@cache
def bent(tag: str, east: float, north: float) -> PlantFile:
    """The example with a machine put so far from where it stands."""
    body = plan().plan.bodies[tag]
    at = [round(body.x + east, 3), round(body.y + north, 3), body.z]
    return read_plant_text(with_places(base(), {tag: {"at": at}}))


def with_room(name: str, **changed: Any) -> PlantFile:
    """The example with a room stated as it is, but for what is changed."""
    room = plan().plan.rooms[name]
    stated: dict[str, Any] = {
        "at": [round(room.x, 3), round(room.y, 3)], "size": [round(room.w, 3), round(room.d, 3)],
        "height_m": room.height_m, "floor_m": room.floor_m,
        "doors": [{"wall": d.wall, "at_m": d.at_m, "wide_m": d.wide_m, "high_m": d.high_m}
                  for d in room.doors],
    }  # fmt: skip
    return read_plant_text(edit_plant(base(), {f"place.rooms.{name}": stated | changed}))


def applied(file: PlantFile, remedies: tuple[Remedy, ...]) -> PlantFile:
    """The file with remedies applied, each where its data says."""
    machines, other = {}, {}
    for one in remedies:
        to = list(one.to) if isinstance(one.to, tuple) else one.to
        section, _, tag = one.of.rpartition(".")
        if section == "place.machines":
            machines[tag] = {one.figure: to or None}
        else:
            where = one.of if one.of.startswith("place.") else f"pipes.{one.of}"
            other[f"{where}.{one.figure}"] = to
    moved = read_plant_text(with_places(file, machines)) if machines else file
    return read_plant_text(edit_plant(moved, other)) if other else moved


def wrong(result: Result) -> dict[str, Finding]:
    """What fails, by name."""
    return {f.name: f for f in result.findings if f.verdict == "fails"}


def mended(file: PlantFile, name: str) -> Finding:
    """The finding that fails, once its remedies were seen to mend it and to break nothing else."""
    before = wrong(study_place(file.plant))
    one = before[name]
    assert one.remedies, one.sentence
    assert all(r.why for r in one.remedies) and "No " not in one.sentence.partition(".")[2]
    after = wrong(study_place(applied(file, one.remedies).plant, mend=False))
    assert name not in after
    assert set(after) <= set(before), set(after) - set(before)
    return one


BENT = [
    ("VP1", 1.2, 0.0, "place.overlap"),
    ("AV1", 0.6, 0.0, "place.in_room"),
    ("WT1", 0.0, 0.8, "place.service@wash"),
    ("TK1", 0.7, 0.0, "place.tank_clear@TK1"),
    ("MF1", 1.5, 0.0, "place.through"),
    ("HW4", 0.6, 0.0, "place.clash"),
    ("TR1", 0.0, -1.6, "place.service@switch"),
    ("HM8", -0.8, 0.0, "place.overlap"),
    ("MF2", 0.0, -0.8, "place.in_room"),
    ("WT1", -0.8, 0.0, "place.overlap"),
    ("CW1", 0.0, -1.0, "place.trip"),
]
"""A machine, how far east and north it was put, and what then fails."""


@pytest.mark.parametrize(
    ("tag", "east", "north", "name"), BENT, ids=[f"{b[0]} {b[3]}" for b in BENT]
)
def test_a_machine_put_wrongly_is_told_where_it_fits(
    tag: str, east: float, north: float, name: str
) -> None:
    """A finding of place would leave a person with the sentence "move one" and no figure, or with
    a figure that does not mend it."""
    file = bent(tag, east, north)
    one = mended(file, name)
    assert {(r.of, r.figure) for r in one.remedies} == {(f"place.machines.{tag}", "at")}
    far = abs(east) + abs(north)
    for to in (r.to for r in one.remedies if r.to):
        body = file.plant.place.machines[tag].at  # type: ignore[union-attr]
        assert isinstance(to, tuple) and body is not None
        assert abs(to[0] - body[0]) + abs(to[1] - body[1]) <= far + 1e-6, "back is nearer"


def test_what_was_put_somewhere_is_moved_first_and_by_so_much() -> None:
    """Pipes through a tank that was put too near would be mended by leaving its place out, though
    half a metre back is enough."""
    found = wrong(study_place(bent("WT1", -0.8, 0.0).plant))["place.through"]
    assert [(r.of, bool(r.to)) for r in found.remedies] == [("place.machines.WT1", True)]


def test_a_machine_is_moved_no_farther_than_it_must_be() -> None:
    """A tank would be sent to the other end of the room for half a metre of floor."""
    file = bent("WT1", 0.0, 0.8)
    (one,) = wrong(study_place(file.plant))["place.service@wash"].remedies
    assert isinstance(one.to, tuple)
    made = sited(file.plant)
    assert made is not None
    body, short = made.plan.bodies["WT1"], 0.0
    for far in range(1, 40):
        shift = [body.x, round(body.y - 0.05 * far, 3), body.z]
        again = read_plant_text(with_places(file, {"WT1": {"at": shift}}))
        if "place.service@wash" not in wrong(study_place(again.plant, mend=False)):
            short = 0.05 * far
            break
    assert short and abs(one.to[0] - body.x) + abs(one.to[1] - body.y) <= short + 0.01
    assert f"{short:.2f} m" in one.why


def test_a_stated_room_that_is_too_small_is_told_its_size() -> None:
    """A room in which nothing can be moved would get no figure."""
    deep = plan().plan.rooms["cold"].d
    file = with_room("cold", size=[round(plan().plan.rooms["cold"].w, 3), round(deep - 1.2, 3)])
    one = mended(file, "place.service@cold")
    assert {(r.of, r.figure) for r in one.remedies} == {("place.rooms.cold", "size")}
    assert isinstance(one.remedies[0].to, tuple) and deep - 1.2 < one.remedies[0].to[1] <= deep


def test_a_low_ceiling_and_a_narrow_door_are_told_in_figures() -> None:
    """The height of a room, or a door that no tank goes through, would be told in words alone."""
    one = mended(with_room("wash", height_m=2.1), "place.height@wash")
    assert [(r.of, r.figure) for r in one.remedies] == [("place.rooms.wash", "height_m")]
    doors = [{"wall": "w", "at_m": 0.99}, {"wall": "e", "at_m": 0.8, "wide_m": 1.4, "high_m": 2.5}]
    file = with_room("milk", doors=doors)
    name = next(n for n in wrong(study_place(file.plant)) if n.startswith("place.door@"))
    one = mended(file, name)
    assert [r.figure for r in one.remedies] == ["wide_m", "high_m", "at_m"]
    assert {r.of for r in one.remedies} == {"place.rooms.milk.doors.2"}


def with_rack(level_m: float, wide_m: float, *pipes: str) -> PlantFile:
    """The example with a rack beside the main one, and pipes that must follow it."""
    (x, y), (_, end) = plan().plan.racks["main"].start, plan().plan.racks["main"].end
    rack = {"from": [x - 0.5, y], "to": [x - 0.5, end], "level_m": level_m, "wide_m": wide_m,
            "tiers": 1}  # fmt: skip
    along = {f"pipes.{pipe}.along": ["low"] for pipe in pipes}
    return read_plant_text(edit_plant(base(), {"place.racks.low": rack, **along}))


def test_a_rack_that_hangs_too_low_or_is_too_narrow_is_told_in_figures() -> None:
    """People would walk into a pipe, or pipes hang beside their rack, and no figure be told; or one
    that does not do once the pipes are laid again."""
    one = mended(with_rack(2.6, 0.4, "L214"), "place.headroom")
    assert [(r.of, r.figure) for r in one.remedies] == [("place.racks.low", "level_m")]
    one = mended(with_rack(3.4, 0.1, "L214", "L401"), "place.rack@low")
    assert [(r.of, r.figure) for r in one.remedies] == [("place.racks.low", "wide_m")]


def test_a_way_point_that_bars_the_way_is_left_out() -> None:
    """A pipe sent through a machine by a way point would be mended by moving the machine."""
    board = plan().plan.bodies["SB1"]
    pipe = next(p for p in base().plant.pipes if p.start == "LP1.outlet")
    by = [[round(board.x, 2), round(board.y, 2)]]
    file = read_plant_text(edit_plant(base(), {f"pipes.{pipe.id}.by": by}))
    one = mended(file, "place.through")
    assert [(r.of, r.figure, r.to) for r in one.remedies] == [(pipe.id, "by", ())]
    told = dict(explain(one).parts)["What would put it right"]
    assert told == (f"leave out by of {pipe.id} (without it a free way is found)",)


def test_what_no_figure_mends_says_so() -> None:
    """A person would look for a place in a room that has none, or a draft be told of none that was
    not looked for."""
    doors = [{"wall": "w", "at_m": 0.99}]
    tall = with_room("milk", doors=doors, height_m=2.0)
    found = study_place(tall.plant)
    door = next(f for f in found.findings if f.key == "place.door" and f.verdict == "fails")
    assert door.remedies == () and "No door that the file states" in door.sentence
    clash = wrong(found).get("place.clash")
    assert clash is not None and clash.remedies == ()
    assert "No small move of a machine at its ends" in clash.sentence
    quick = wrong(study_place(tall.plant, mend=False))["place.clash"]
    assert quick.remedies == () and "No small move" not in quick.sentence


@pytest.mark.parametrize("told", ["L234", "L235"])
def test_a_pipe_past_a_machine_in_line_has_its_way_point_left_out(told: str) -> None:
    """Would fail if only the first pipe of a run, up to a valve in line, were given another way."""
    assert any([p.tag for p in net.lines] == ["L234", "L235"] for net in nets(plan().plan))
    by = ((1.0, 1.0, 3.0),)
    plant = base().plant.model_copy(update={"pipes": tuple(
        p.model_copy(update={"by": by}) if p.id == told else p for p in base().plant.pipes
    )})  # fmt: skip
    first, _ = next(_changes(plant, plan(), {"L234"}))
    assert (first.of, first.figure, first.to) == (told, "by", ())
