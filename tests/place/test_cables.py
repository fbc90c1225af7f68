"""Cables along their real ways, and what they lose."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import pairwise

import pytest

from byrewright.place.cables import ENDS_M, Target, tray_level, way
from byrewright.plant.place import MachinePlace, Place
from byrewright.plant.plant import Plant
from byrewright.plant.sited import sited
from byrewright.results import ResultBuilder
from byrewright.standards.cables import SIZES
from byrewright.standards.electrical import SUPPLY_A, US_MOTOR_HP, US_SUPPLY_A
from byrewright.standards.rulebook import default_rulebook
from byrewright.standards.units import convert
from byrewright.studies.cables import Cable, cable_list
from byrewright.studies.place import study_place
from byrewright.studies.sizing import size
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
    asked = [by_hand(plant, cable) for cable in every]
    assert sum(asked) > 20
    assert len({c.phases for c in every}) == 2


def by_hand(plant: Plant, cable: Cable) -> bool:
    """Current, volt drop, breaker and section of a cable to a machine that passes nothing on."""
    machine = plant.equipment[cable.way.tag]
    feeds = any(machine.id in m.fed_from for m in plant.equipment.values())
    rules, volts = default_rulebook(), plant.site.supply.voltage_v
    kw = machine.power_kw() * machine.count
    heats = machine.can("heats water") or machine.can("dries cloths")
    cos = 1.0 if heats else rules.number("motor.power_factor")
    eta = rules.number("motor.efficiency")
    shaft = not (heats or machine.can("makes cold") or machine.can("controls"))
    one_phase = kw <= rules.number("cable.one_phase_most_kw") and not feeds
    assert cable.phases == (1 if one_phase else 3)
    over = volts / math.sqrt(3) if one_phase else volts
    root = 1.0 if one_phase else math.sqrt(3)
    if not feeds:
        amps = 1000 * kw / cos / (eta if shaft else 1.0) / over / root
        assert cable.kw == pytest.approx(kw, abs=0.006)
        assert cable.amps == pytest.approx(amps, abs=0.06)
    if not cable.amps or not cable.mm2:
        return False
    spare = 1 + rules.number("supply.spare_share")
    assert cable.breaker_a == min(a for a in SUPPLY_A if a >= cable.amps * spare - 0.06)

    def drops(mm2: float) -> float:
        ohms = rules.number("cable.resistivity_ohm_mm2_m") / mm2 * cos
        ohms += rules.number("cable.reactance_mohm_m") / 1000 * math.sqrt(1 - cos**2)
        ways = 2 if one_phase else 1
        return 100 * ways * ohms * cable.way.length_m * cable.amps / (volts / math.sqrt(3))

    assert cable.drop_pct == pytest.approx(drops(cable.mm2) / cable.together, rel=0.03, abs=0.02)
    share = rules.number("cable.grouping_share")
    carries = {size.mm2: size.carries_a * share for size in SIZES}
    assert carries[cable.mm2] * cable.together >= cable.breaker_a
    thinner = max((m for m in carries if m < cable.mm2), default=0.0)
    if cable.together == 1 and thinner >= rules.number("cable.least_mm2"):
        before = cable.total_pct - cable.drop_pct
        most = rules.number("cable.drop_most_pct") - before
        if feeds:
            most = rules.number("cable.feeder_drop_pct")
        assert carries[thinner] < cable.breaker_a or drops(thinner) > most - 0.02
    return True


def test_breakers_and_motors_are_those_that_a_country_sells() -> None:
    """Would fail if a US electrician were told to buy a 16 A or a 63 A breaker, or a motor of
    2.95 hp."""
    plant = briefed("rotary", 46)
    there = plant.model_copy(update={"site": plant.site.model_copy(update={"region": "US"})})
    made = sited(there)
    assert made is not None
    ctx = StudyContext(there, default_rulebook(), ResultBuilder("place", "x"))
    sold = {c.breaker_a for c in cable_list(ctx, made) if c.breaker_a}
    assert sold <= set(US_SUPPLY_A) and not sold <= set(SUPPLY_A)
    found = size(there).findings
    boards = {f.advised for f in found if f.key == "power.board" and f.advised}
    assert boards and boards <= set(US_SUPPLY_A)
    hp = [convert(f.advised, "kW", "hp") for f in found if f.key.endswith(".motor") and f.advised]
    assert len(hp) > 5
    assert all(min(abs(x / one - 1) for one in US_MOTOR_HP) < 5e-4 for x in hp)


def test_volt_drop_fails_where_the_supply_stands_far_off() -> None:
    """Would fail if a supply two kilometres away passed as one beside the boards."""
    plant = briefed("rotary", 46)

    def verdict(place: Place) -> str:
        result = study_place(plant.model_copy(update={"place": place}))
        return next(f.verdict for f in result.findings if f.key == "place.volt_drop")

    assert verdict(Place()) == "holds"
    far = MachinePlace(at=(2000.0, 0.0))
    assert verdict(Place(machines={"EM1": far})) == "fails"
