"""Where fluids go with valves turned by hand: what moves, what stands, and what is harmed."""

from __future__ import annotations

from pathlib import Path

import pytest

from byrewright.plant.plant import Plant
from byrewright.plant.read import read_plant
from byrewright.studies.routes.brute import Case
from byrewright.studies.routes.network import network
from byrewright.studies.routes.questions import scene
from byrewright.studies.routes.turn import Way, turn

ROWS = Path("examples/rows_two_by_twenty/plant.yaml")
ROTARY = Path("examples/rotary_spring_ice/plant.yaml")


def _pipes(plant: Plant, *ends: str) -> set[str]:
    """The pipes between machines, or from a port on."""
    return {
        p.id for p in plant.pipes
        if {*ends} in ({p.start.split(".")[0], p.end.split(".")[0]}, {p.start})
    }  # fmt: skip


def test_a_dead_leg_stands_full_and_the_way_flows() -> None:
    """Would fail if a page drew a closed drain's leg or a second pump that waits as flowing, the
    way to the tank as dead, or what runs back through a joining line as running on."""
    plant = read_plant(ROWS).plant

    def milk(mode: str = "milking_tank_1", **wrong: str) -> Way:
        way = turn(plant, mode, wrong).way("milk")
        assert way is not None and way.onward | way.back | way.standing == way.pipes
        return way

    drain, into, across = (_pipes(plant, *e) for e in (("RC1", "V81"), ("V41", "TK1"),
                                                       ("RC1.balance",)))  # fmt: skip
    assert drain and into and across
    way = milk()
    assert drain <= way.standing and into <= way.onward and across <= way.standing
    assert drain <= milk(V81="open").onward  # air gets in, and what stood there falls
    both = ("MP3", "MP4")  # one of the two delivers, the other waits
    assert [b for b in both if _pipes(plant, "HM3", b) <= way.onward] == ["MP3"]
    assert _pipes(plant, "HM3", "MP4") <= milk(MP3="stopped", MP4="runs").onward
    still = milk(MP3="stopped", MP4="stopped")
    assert into <= still.standing and _pipes(plant, "HM2", "BT1") <= still.onward
    assert across <= milk(V25="open", MP1="stopped").onward
    assert across <= milk(V25="open", MP2="stopped").back
    outlet = _pipes(plant, "TK1", "V51")
    assert outlet <= way.standing and outlet <= milk("collect_tank_1").onward
    calves = _pipes(plant, "CF1", "V37")
    assert calves <= way.standing and calves <= milk(V37="open").onward
    now = turn(plant, "wash_to_calf_vessel", {})
    wash, water = now.way("wash"), now.way("water")
    assert wash is not None and calves <= wash.onward
    assert water is not None and not water.pipes & _pipes(plant, "TR1.outlet_1")  # it is wash there


@pytest.mark.parametrize("mode", ["calf_draw", "collect_tank_1", "drain_down"])
def test_milk_moves_nowhere_that_the_search_does_not_know(mode: str) -> None:
    """Would fail if the solved network led milk, at any one wrong position, to a place that the
    search for harm takes for out of its reach: a harm would be missing from the list."""
    plant = read_plant(ROTARY).plant
    net = network(plant)
    made = scene(plant, mode, net)
    for tag, every in made.others.items():
        for position in every:
            case = Case(made, [(tag, position)])
            known = {
                n for key in made.propagations for n in (case.walk(key) if _of_milk(key) else ())
            }
            way = turn(plant, mode, {tag: position}, net, made).way("milk")
            for pipe in (way.onward | way.back) if way is not None else ():
                assert known >= {*net.pipe_ends[pipe]}, (tag, position, pipe)


def _of_milk(key: str) -> bool:
    return key in ("milk", "milk on") or key.startswith("content of ")


def test_calf_milk_that_stands_is_milk() -> None:
    """Would fail if the drain of the calf vessel could be opened, or its take-off in a wash, and
    no study said that the calves' milk is lost or spoilt."""
    plant = read_plant(ROWS).plant
    for mode in set(plant.modes) - {"wash_to_calf_vessel"}:
        harms = {(h.key, s) for h, s in turn(plant, mode, {"V37": "open"}).harms}
        assert ("milk_lost", "CF1") in harms, mode
    for mode, harm in (("wash", "wash_to_milk"), ("rinse", "water_to_milk")):
        harms = {(h.key, s) for h, s in turn(plant, mode, {"V38": "open"}).harms}
        assert (harm, "CF1") in harms
    assert not turn(plant, "wash_to_calf_vessel", {}).harms
