"""Cables along their real ways, and what they lose."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import pairwise

import pytest

from byrewright.place.cables import ENDS_M, Target, tray_level, way
from byrewright.plant.place import MachinePlace, Place
from byrewright.plant.sited import sited
from byrewright.results import ResultBuilder
from byrewright.standards.rulebook import default_rulebook
from byrewright.studies.cables import cable_list
from byrewright.studies.place import study_place
from byrewright.studies.sizing.context import StudyContext
from tests.place.scenes import briefed


def test_a_cable_goes_up_along_the_tray_and_down() -> None:
    """Would fail if a length were not that of the way: summed here by hand."""
    found = sited(briefed("rotary", 46))
    assert found is not None
    plan = found.plan
    board = replace(plan.bodies["SB2"], x=15.0, y=0.0, z=0.0, h=2.0)
    level, tray = tray_level(plan), plan.rooms["passage"].x + 0.15
    one = way(plan, board, "X", Target("milk", (18.0, 14.0, 1.0)))
    hand = (level - 2.0) + (15.0 - tray) + 14.0 + (18.0 - tray) + (level - 1.0)
    assert one.length_m == pytest.approx(hand + ENDS_M, abs=0.05)


@pytest.mark.parametrize(("layout", "stalls"), [("rotary", 46), ("rows", 40)])
def test_every_fed_machine_has_its_cables(layout: str, stalls: int) -> None:
    """Would fail if a supply, the first or the second, had no cable, or a cable jumped."""
    plant = briefed(layout, stalls)
    found = sited(plant)
    assert found is not None
    ctx = StudyContext(plant, default_rulebook(), ResultBuilder("place", "x"))
    every = cable_list(ctx, found)
    wanted = {(f, m.id) for m in plant.equipment.values() for f in m.fed_from}
    assert {(c.way.board, c.way.tag) for c in every} == wanted
    for cable in every:
        steps = [
            sum(abs(p - q) > 1e-6 for p, q in zip(a, b, strict=True))
            for a, b in pairwise(cable.way.points)
        ]
        assert max(steps) == 1, cable.way.tag  # square: one direction at a time
        straight = math.dist(cable.way.points[0], cable.way.points[-1])
        assert cable.way.length_m >= straight - 0.1
        assert cable.total_pct >= cable.drop_pct


def test_volt_drop_fails_where_the_supply_stands_far_off() -> None:
    """Would fail if a supply two kilometres away passed as one beside the boards."""
    plant = briefed("rotary", 46)

    def verdict(place: Place) -> str:
        result = study_place(plant.model_copy(update={"place": place}))
        return next(f.verdict for f in result.findings if f.key == "place.volt_drop")

    assert verdict(Place()) == "holds"
    far = MachinePlace(at=(2000.0, 0.0))
    assert verdict(Place(machines={"EM1": far})) == "fails"
