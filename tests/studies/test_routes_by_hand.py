"""What is asked of the modes of a small plant, and what single wrong positions do there."""

from __future__ import annotations

from typing import Any

import pytest

from byrewright.plant.plant import Mode, Plant
from byrewright.studies.routes import questions
from byrewright.studies.routes.brute import harms_of
from byrewright.studies.routes.network import network
from byrewright.studies.routes.questions import change, litres_in, scene
from byrewright.studies.routes.scene import Reaches, Scene
from tests.plants import rotary


def plant(**changes: Any) -> Plant:
    """A rotary of 20 with modes for rinsing, both, draining and withheld milk besides."""
    made = rotary(20, 60, **changes)
    more = {
        name: Mode(name=name, does=does, like=like) for name, does, like in (  # type: ignore[arg-type]
            ("rinse", ("rinse",), "wash"), ("both", ("rinse", "wash"), "wash"),
            ("drain", ("drain_down",), "wash"), ("apart", ("milking", "withheld_draw"), "milking"))
    }  # fmt: skip
    return made.model_copy(update={"modes": made.modes | more})


@pytest.fixture(scope="module")
def scenes() -> dict[str, Scene]:
    """The scenes of its modes."""
    return questions.all_scenes(plant())


def asked(one: Scene) -> set[str]:
    """What is asked of a mode."""
    return {q.name for q in one.questions}


def harms(one: Scene, **wrong: str) -> set[str]:
    """What these positions do that does not happen at rest."""
    at_rest = {q.name for q in harms_of(one, ())}
    return {q.name for q in harms_of(one, tuple(wrong.items()))} - at_rest


def test_what_is_asked_of_a_mode(scenes: dict[str, Scene]) -> None:
    """Would fail if a tanker were wrong where it is loaded direct, one that may be coupled in a
    wash were not looked at, or calves' milk were sold."""
    only = {"direct": {"wrong_tank@TK1 to TB1", "past_filter@TB1", "past_cooler@TB1",
                       "one_seat@TB1", "wash_to_milk@TB1"},
            "milking": {"wrong_tank@TB1", "wrong_tank@CF1", "withheld_to_tank@TB1"},
            "calf": {"overflow@CF1", "one_seat@CF1", "wrong_tank@TB1"},
            "wash": {"wash_to_milk@TB1", "water_to_milk@TB1", "flooded@RC1", "closed_line@MP1"},
            "idle": {"closed_line@MP1", "milk_lost@TK1"}}  # fmt: skip
    others = {"direct": {"wrong_tank@TB1", "overflow@CF1"},
              "milking": {"overflow@CF1", "one_seat@CF1", "wash_to_milk@TB1", "one_seat@TB1"},
              "calf": {"wrong_tank@CF1"}, "wash": {"vacuum_lost@RC1", "wrong_tank@TB1"},
              "idle": {"wash_to_milk@TB1", "flooded@RC1", "overflow@TK1"}}  # fmt: skip
    for mode, names in only.items():
        assert names <= asked(scenes[mode]), mode
        assert not others[mode] & asked(scenes[mode]), mode
    assert "full" in scenes["milking"].others["TK1"]
    assert "full" not in scenes["idle"].others.get("TK1", ())
    assert "is washed" not in scenes["milking"].others.get("V31", ())


def test_wash_and_water_come_from_the_trough(scenes: dict[str, Scene]) -> None:
    """Would fail if a rinse were asked as a wash, or a mode that does both as a rinse."""
    for mode, wash, liquid in (("wash", True, "wash"), ("rinse", False, "water"),
                               ("both", True, "wash")):  # fmt: skip
        one = scenes[mode]
        trough = one.net.body["TR1"]
        starts = {k: {n for n, *_ in one.propagations[k].starts} for k in ("wash", "water")}
        assert (trough in starts["wash"], trough in starts["water"]) == (wash, not wash)
        flooded = next(q for q in one.questions if q.name == "flooded@RC1")
        assert flooded.all_of[0] == Reaches(liquid, (one.net.body["RC1"],))


def test_withheld_milk_by_its_own_port_or_its_own_mode(scenes: dict[str, Scene]) -> None:
    """Would fail if milk of a whole milking were withheld for a vessel beside, or sold where all is
    withheld."""

    def starts(one: Scene) -> tuple[int, int]:
        return len(one.propagations["milk"].starts), len(one.propagations["withheld"].starts)

    assert starts(scenes["milking"]) == starts(scenes["apart"]) == (1, 1)
    bare = plant(WM1=None)
    assert starts(scene(bare, "milking")) == (1, 0) and starts(scene(bare, "apart")) == (0, 1)


@pytest.mark.parametrize(("mode", "wrong", "does"), [
    ("milking", {"V34": "open"}, {"milk_to_wash@TR1", "milk_lost@FD1"}),
    ("milking", {"V33": "open"}, {"wrong_tank@TB1"}),
    ("milking", {"V32": "open", "TK2": "is emptied"}, {"wrong_tank@TK2"}),
    ("milking", {"V40": "to_c"}, {"wrong_tank@CF1"}),
    ("milking", {"V31": "closed"}, {"closed_line@MP3", "closed_line@MP4"}),
    ("milking", {"MP1": "stopped"}, {"flooded@RC1"}), ("milking", {"MP3": "stopped"}, set()),
    ("milking", {"TK1": "full"}, {"overflow@TK1"}), ("milking", {"TK2": "full"}, set()),
    ("milking", {"VP1": "stopped"}, set()),
    ("milking", {"VP1": "stopped", "VP2": "stopped"}, {
        "vacuum_lost@RC1 cut off", "vacuum_lost@RC2 cut off"}),
    ("direct", {"V31": "open", "TK1": "is emptied"}, {"wrong_tank@TK1"}),
    ("wash", {"MP2": "stopped"}, {"flooded@RC2"}),
    ("wash", {"V31": "open"}, {"wash_to_milk@TK1"}), ("calf", {"CF1": "full"}, {"overflow@CF1"}),
])  # fmt: skip
def test_a_wrong_position_does_its_harm(
    scenes: dict[str, Scene], mode: str, wrong: dict[str, str], does: set[str]
) -> None:
    """Would fail if a harm were told of another vessel, or a pump beside another that does were
    missed."""
    found = {h for h in harms(scenes[mode], **wrong) if not h.startswith("one_seat")}
    assert found == does


def test_one_seat_between_wash_and_milk() -> None:
    """Would fail if a double seat were taken for a single one, or a valve that stands open for a
    seat."""
    base = plant()
    two = base.equipment["V31"].model_copy(update={"seats": "double"})
    for made, single in ((base, True), (plant(V31=two), False)):
        one = scene(made, "wash")
        at_rest = {q.name for q in harms_of(one, ())}
        assert ("one_seat@TK1" in at_rest) == single and "one_seat@TK2" in at_rest


def test_a_change_moves_what_differs(scenes: dict[str, Scene]) -> None:
    """Would fail if a machine that the second mode leaves as it is were moved, or what only matters
    in a mode that lasts were asked."""
    one = change(plant(), "milking", "idle")
    moves = {"MU1": ("idle",), "V31": ("closed",), "VP1": ("stopped",)}
    assert moves.items() <= one.others.items()
    assert not {"V33", "V34", "V40", "TK1", "GL1"} & set(one.others)
    over = change(plant(), "milking", "second_tank")
    assert over.others == {"V31": ("closed",), "V32": ("open",)}
    assert over.wanted["V31"] == "open" and over.name == "milking to second_tank"
    assert not {"overflow@TK1", "past_filter@TK1", "flooded@RC1"} & asked(over)
    assert {"milk_to_wash@TR1", "wash_to_milk@milk line", "withheld_to_tank@TK1"} <= asked(over)


@pytest.mark.parametrize(("length_m", "rise_m", "ends"), [
    (0.5, 0.0, None), (0.52, 0.0, "ba"), (2.0, 1.0, "a"), (2.0, -1.0, "b"),
])  # fmt: skip
def test_lines_run_empty_to_their_lower_end(
    length_m: float, rise_m: float, ends: str | None
) -> None:
    """A litre stands in 0.51 m of 50 mm: would fail if a line were asked to run out uphill, one
    that holds less were asked, or one that no wash comes to."""
    made = plant()
    pipes = tuple(p.model_copy(update={"bore_mm": 50.0, "length_m": length_m, "rise_m": rise_m})
                  if p.end == "BT1.inlet_1" else p for p in made.pipes)  # fmt: skip
    tag = next(p.id for p in pipes if p.end == "BT1.inlet_1")
    made = made.model_copy(update={"pipes": pipes})
    net = network(made)
    found = {q.subject: q for q in scene(made, "drain", net).questions if q.harm == "not_drained"}
    assert (tag in found) == (ends is not None)
    if ends is not None:
        a, b = net.pipe_ends[tag]
        (only,) = found[tag].all_of
        assert isinstance(only, Reaches) and not only.wanted and only.propagation == "drains"
        assert only.nodes == tuple({"a": a, "b": b}[e] for e in ends)
        assert found[tag].loses == f"pipe:{tag}"
    never = {p.id for p in made.pipes if p.start.startswith(("WS1", "CU1", "RC1.vacuum"))}
    assert not never & set(found) and len(found) > 5


def test_litres_and_vessels() -> None:
    """A metre of 100 mm holds 7.854 L: would fail if units were taken for vessels."""
    assert litres_in(100.0, 1.0) == pytest.approx(7.854, abs=1e-3)
    assert litres_in(50.0, 4.0) == pytest.approx(7.854, abs=1e-3)
    net = network(plant())
    named = {net.nodes[n].machine for n in questions.vessels(net)}
    assert {"TK1", "BT1", "RC1", "TR1", "FD1", "CF1"} <= named and "WS1" not in named
