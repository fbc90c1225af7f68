"""The ten wrong-valve stories of the trade, each on an example (common practice, no source)."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import pytest

from byrewright.plant.plant import Plant
from byrewright.plant.read import read_plant
from byrewright.standards.rulebook import Rulebook
from byrewright.studies.routes.brute import harms_of
from byrewright.studies.routes.questions import all_scenes, no_tanker
from byrewright.studies.routes.scene import Scene
from byrewright.studies.routes.study import Routes
from tests.plants import machine, pipe, rotary

EXAMPLES = Path(__file__).parents[2] / "examples"
ROTARY = "rotary_spring_ice"
PLANTS = ("rotary_round_the_clock", ROTARY, "rows_two_by_twenty")


@cache
def scenes(name: str) -> dict[str, Scene]:
    """Every mode of an example plant."""
    return all_scenes(read_plant(EXAMPLES / name / "plant.yaml").plant)


def harms(scene: Scene, *wrong: tuple[str, str]) -> set[str]:
    """What some wrong positions do, as harm@where."""
    for one, position in wrong:
        assert position in scene.others.get(one, ()), f"{one} {position} is no wrong position here"
    return {q.name for q in harms_of(scene, wrong)}


@pytest.mark.parametrize("name", PLANTS)
@pytest.mark.parametrize("drain", ["V81", "V83", "V84", "V85"])
def test_1_drain_left_open_after_wash(name: str, drain: str) -> None:
    """Would fail if a drain left open in milking were not seen to lose the milk."""
    assert "milk_lost@FD1" in harms(scenes(name)["milking_tank_1"], (drain, "open"))


@pytest.mark.parametrize("name", PLANTS)
@pytest.mark.parametrize("valve", ["V51", "VS1"])
def test_2_tank_outlet_or_sample_cock_open(name: str, valve: str) -> None:
    """Would fail if stored milk could run out unseen, in milking or at rest."""
    for mode in ("milking_tank_1", "idle"):
        assert "milk_lost@TK1" in harms(scenes(name)[mode], (valve, "open"))


@pytest.mark.parametrize("name", PLANTS)
def test_3_wash_divert_still_to_drain_at_the_first_cow(name: str) -> None:
    """Would fail if a divert left at wash lost nothing, or no row asked for flow in two minutes."""
    assert "milk_lost@FD1" in harms(scenes(name)["milking_tank_1"], ("V40", "to_c"))
    plant = read_plant(EXAMPLES / name / "plant.yaml").plant
    row = Routes(plant, Rulebook()).table.row("SN41_no_flow")
    assert row.on_delay_s == 120 and "milking_tank_1" in row.modes


@pytest.mark.parametrize("name", PLANTS)
def test_4_delivery_left_in_the_tank_when_wash_starts(name: str) -> None:
    """Would fail if detergent could reach the tank's milk, or one seat were thought enough."""
    wash = scenes(name)["wash"]
    assert "one_seat@TK1" in harms(wash, ("V40", "to_b"))
    assert "wash_to_milk@TK1" in harms(wash, ("V40", "to_b"), ("V41", "open"))


def test_5_fill_manifold_to_the_tank_being_washed_or_standing() -> None:
    """Would fail if milk could go to a tank in its wash, or to one that only stands."""
    both = scenes(ROTARY)["milking_tank_1_wash_tank_2"]
    wrong = (("V40", "to_c"), ("V402", "to_b"), ("V42", "open"))
    assert "milk_to_wash@TK2" in harms(both, *wrong)
    assert "wrong_tank@TK2" in harms(scenes(ROTARY)["milking_tank_1"], *wrong)


@pytest.mark.parametrize("name", PLANTS)
def test_6_fill_to_a_full_tank(name: str) -> None:
    """Would fail if a full tank were filled on without a word."""
    assert "overflow@TK1" in harms(scenes(name)["milking_tank_1"], ("TK1", "full"))


def with_withheld_divert() -> Plant:
    """A rotary whose marked cows' milk goes through a divert valve on the deck."""
    plant = rotary(V90=machine("V90", "valve", ways=3, duty="divert", sensed=True))
    pipes = [p for p in plant.pipes if p.start != "MU1.withheld"]
    pipes += [pipe("L901", "MU1.withheld", "V90.a"), pipe("L902", "V90.b", "WM1.milk"),
              pipe("L903", "V90.c", "ML1.units_2")]  # fmt: skip
    modes = {
        k: m.model_copy(update={"positions": {**m.positions, "V90": "to_b"}})
        for k, m in plant.modes.items()
    }
    return plant.model_copy(update={"pipes": tuple(pipes), "modes": modes})


@pytest.mark.parametrize("position", ["to_c", "half"])
def test_7_withheld_milk_divert_back_too_early_or_leaking(position: str) -> None:
    """Would fail if withheld milk could reach the tank unseen; half open is the leaking seat."""
    milking = all_scenes(with_withheld_divert())["milking"]
    assert {"withheld_to_tank@TK1", "withheld_to_tank@milk line"} <= harms(
        milking, ("V90", position)
    )
    assert not any(n.startswith("withheld") for n in harms(milking))


@pytest.mark.parametrize("name", PLANTS)
def test_8_rinse_water_into_the_tank(name: str) -> None:
    """Would fail if rinse or push water could dilute the tank unseen."""
    for mode in ("rinse", "last_rinse"):
        found = harms(scenes(name)[mode], ("V40", "to_b"), ("V41", "open"))
        assert "water_to_milk@TK1" in found and "wash_to_milk@TK1" not in found


@pytest.mark.parametrize("name", PLANTS)
def test_9_both_filters_shut_or_pump_against_a_shut_valve(name: str) -> None:
    """Would fail if shutting the way out neither loaded the pump nor flooded the receiver."""
    milking = scenes(name)["milking_tank_1"]
    assert "closed_line@MP3" in harms(milking, ("V31", "closed"))
    assert any(h.startswith("flooded") for h in harms(milking, ("V21", "closed")))


@pytest.mark.parametrize("name", PLANTS)
def test_10_air_break_or_wash_isolator_left_open(name: str) -> None:
    """Would fail if an open air way lost no vacuum, or a wash isolator drew no wash into milk."""
    milking = scenes(name)["milking_tank_1"]
    assert "vacuum_lost@RC1" in harms(milking, ("AI1", "pulses"), ("V66", "open"))
    plant = rotary(V91=machine("V91", "valve", duty="wash_supply"))
    pipes = (*plant.pipes, pipe("L911", "TR1.outlet_2", "V91.a"), pipe("L912", "V91.b", "ML1.wash"))
    plant = plant.model_copy(update={"pipes": pipes})
    assert "wash_to_milk@milk line" in harms(all_scenes(plant)["milking"], ("V91", "open"))


def test_stored_milk_to_the_tanker_beside_direct_loading_is_listed() -> None:
    """A tank outlet open towards the bay that loads direct went unlisted: nobody asked for it."""
    study = Routes(read_plant(EXAMPLES / "rotary_round_the_clock" / "plant.yaml").plant, Rulebook())
    direct = [h for h in study.hits if h.mode == "milking_direct"]
    found = [h for h in direct if h.question.name == "wrong_tank@TK1 to TB1"]
    assert {dict(h.wrong).get("V51") for h in found} & {"open", "half"}
    collect = [h for h in study.hits if h.mode.startswith("collect")]
    assert not [h for h in collect if "TK1 to TB1" in h.question.subject]  # there it is wanted


def test_milk_through_the_trough_to_the_floor_is_told_as_lost() -> None:
    """ "Milk to wash" was told for milk that runs on through the trough to the floor."""
    scene = scenes(ROTARY)["milking_tank_1"]
    held = harms(scene, ("V40", "to_c"), ("V65", "to_b"))
    on = harms(scene, ("V40", "to_c"), ("V65", "to_b"), ("V63", "open"))
    assert held == {"milk_to_wash@TR1"}
    assert any(h.startswith("milk_lost@FD") for h in on)


def test_milk_into_a_tank_in_its_wash_is_told_as_lost_where_it_runs_to_the_floor() -> None:
    """Milk that ran through a washed tank to the drain was told as milk to wash alone."""
    both = scenes(ROTARY)["milking_tank_1_wash_tank_2"]
    wrong = (("V40", "to_c"), ("V402", "to_b"), ("V42", "open"))
    assert "milk_lost@TK2 to FD1" in harms(both, *wrong)
    shut = [(m, "closed") for m, every in both.others.items() if "closed" in every]
    kept = [one for one in shut if "milk_lost@TK2 to FD1" not in harms(both, *wrong, one)]
    assert "V52" in dict(kept), "it is lost though its way to the floor is shut"


def test_stored_milk_through_the_trough_to_the_floor_is_told_as_lost() -> None:
    """A tank that ran out by way of the wash trough was told as milk to wash alone."""
    plant = rotary(V91=machine("V91", "valve", duty="wash_supply"))
    kept = tuple(p for p in plant.pipes if p.start != "TK1.outlet")
    pipes = (*kept, pipe("L911", "TK1.outlet", "V91.a"), pipe("L912", "V91.b", "TR1.supply_9"))
    scene = all_scenes(plant.model_copy(update={"pipes": pipes}))["milking"]
    assert not {"milk_to_wash@TK1 content", "milk_lost@TK1"} & harms(scene)
    assert {"milk_to_wash@TK1 content", "milk_lost@TK1"} <= harms(scene, ("V91", "open"))


@pytest.mark.parametrize("name", PLANTS)
def test_no_one_wrong_valve_of_the_fill_lines_sends_wash_into_milk(name: str) -> None:
    """Would fail if washing the delivery line to the tanks, or a tank's fill stub, left one valve
    between it and another tank's milk: the tank's own wash valve is the only such one, and the
    take-off to the calf vessel for the milk that stands in that."""
    for mode, scene in scenes(name).items():
        singles = [(m, p) for m, every in scene.others.items() for p in every if p != "full"]
        for one in singles:
            spoils = {h for h in harms(scene, one) if h.startswith(("wash_to", "water_to"))}
            calves = one[0] == "V38" and all(h.endswith("@CF1") for h in spoils)
            assert not spoils or one[0] in ("V67", "V68") or calves, (mode, one, spoils)
    assert "wash_into_tank_1" in scenes(name)


def test_two_wrong_valves_lie_between_the_wash_and_a_coupled_tanker() -> None:
    """Would fail if one wrong valve sent a plant wash into a tanker left at the bay, nobody asked
    for it, or modes that do send it there took a tanker away unsaid."""
    every = scenes("rotary_round_the_clock")
    opens = {n for n, s in every.items() if s.wanted["V49"] == "open"}
    assert opens == {"milking_direct", "wash_to_bay"}
    for mode in ("rinse", "wash", "last_rinse"):
        spoilt = f"{'wash' if mode == 'wash' else 'water'}_to_milk@TB1"
        assert spoilt not in harms(every[mode], ("V405", "to_b"))
        assert spoilt in harms(every[mode], ("V405", "to_b"), ("V49", "open"))
        assert not no_tanker(every[mode])
    for mode in ("wash_to_bay", "wash_into_tank_1", "wash_tank_1"):
        assert list(no_tanker(every[mode])) == ["TB1"]
    assert not no_tanker(every["collect_tank_1"])
