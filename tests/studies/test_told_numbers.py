"""What findings of the vacuum, of the day and of the plan say, against their own numbers."""

from __future__ import annotations

from math import pi

import pytest

from byrewright.physics.air import ambient_pressure_kpa_abs
from byrewright.plant.roles import CoolsMilk, HeatsWater, StoresMilk
from byrewright.results import judge
from byrewright.standards.rulebook import default_rulebook
from byrewright.studies.every import STUDIES
from byrewright.studies.instruments import instrument_readings
from byrewright.studies.sizing import size
from byrewright.studies.vacuum import study_vacuum
from tests.studies.told import says, senseless
from tests.studies.varied import STARTS, random_plant

RULES = default_rulebook()
ASKED = [
    ("vacuum", -2), ("vacuum", -5), *(("day", n) for n in (-5, -4, -3, 0, 2, 3)),
    ("place", -5), ("place", -4), ("place", -1),
]  # fmt: skip
"""A study, and a plant as drafted by a number below nought, else as drawn at random."""
NO_VALUE = {
    "day.balance", "day.energy_1000_l", "day.little_milk", "day.milk_pure", "day.vessel_full",
    "day.milk_temperature_3", "day.refrigeration_hours", "day.water_litre",
}  # fmt: skip
COUNTED = ("vacuum.event.", "vacuum.test.", "place.")
"""What counts faults says in words that there is none, and tests are told by their change."""
OTHER_LIMIT = {
    "vacuum.motor", "vacuum.test.regulation_loss", "day.vacuum_least", "place.rack",
}  # fmt: skip
"""A limit that is worked from the rule, or widened by the plan itself."""


@pytest.mark.parametrize(("study", "number"), ASKED)
def test_what_is_said_judged_and_held_to_is_the_findings_own(study: str, number: int) -> None:
    """Would fail if a sentence told another number than its finding, a verdict were of others, or
    a limit not that of the rule which is named beside it."""
    plant = STARTS[number]() if number < 0 else random_plant(number)
    for one in STUDIES[study](plant, RULES).findings:
        assert not senseless(one.sentence), one
        if one.value is not None and one.key not in NO_VALUE and not one.key.startswith(COUNTED):
            none = not one.value and " no " in one.sentence
            assert none or says(one.sentence, one.value), one
        if one.limit is None:
            continue
        assert not one.remedies or one.verdict not in ("holds", "tight"), one
        if one.value is not None and one.verdict != "unknown":
            assert one.verdict == judge(one.value, one.limit, one.sense, one.allowance)[0], one
        rules = [i.symbol for i in one.inputs if i.symbol in RULES and i.unit == one.unit]
        if len(rules) == 1 and one.key not in OTHER_LIMIT:
            assert one.limit == pytest.approx(RULES.number(rules[0])), one


NEAR = 0.06
"""Of velocities: the vacuum of a stretch is taken as the mean of its ends."""


@pytest.mark.parametrize("number", [-2, 3])
def test_air_adds_up(number: int) -> None:
    """Would fail if a velocity, a drop or a balance of the vacuum plant were not that of the flows
    and vacuums that stand beside it."""
    plant = STARTS[number]() if number < 0 else random_plant(number)
    found = study_vacuum(plant, RULES)
    ambient = ambient_pressure_kpa_abs(plant.site.altitude_m)
    at = {r[0]: float(r[1]) for r in found.table("vacuum").rows}
    stretches = found.table("airflow").rows
    asked = 0
    for _, start, end, bore, flow, speed, drop, *_ in stretches:
        if start not in at or end not in at or not float(bore) or float(flow) < 50.0:
            continue
        thin = ambient / (ambient - (at[start] + at[end]) / 2)
        v = float(flow) * thin / 60_000 / (pi / 4 * (float(bore) / 1000) ** 2)
        assert float(speed) == pytest.approx(v, rel=NEAR, abs=0.06), (start, end)
        assert abs(float(drop)) == pytest.approx(abs(at[start] - at[end]), abs=0.012)
        asked += 1
    assert asked > 5
    for situation, *parts, flat_out in found.table("balance").rows:
        assert sum(map(float, parts)) == pytest.approx(float(flat_out), abs=8.0), situation
    events = found.table("events")
    for row in events.rows:
        one = dict(zip(events.columns, row, strict=True))
        fell = float(one["before"]) - float(one["lowest at receiver"])
        assert float(one["drop"]) == pytest.approx(fell, abs=0.02)
        assert float(one["lowest at a unit"]) <= float(one["lowest at receiver"]) + 0.02
        rose = float(one["highest"]) - float(one["before"])
        assert 0 <= float(one["overshoot"]) <= max(0.0, rose) + 0.6


EXACT = 0.003


@pytest.mark.parametrize("number", [*range(-5, 0), *range(8)])
def test_readings_are_those_of_the_machines_and_of_sizing(number: int) -> None:
    """Would fail if an instrument were foretold another number than its sentence says, than the
    machine's own figures give by hand, or than sizing found."""
    plant = STARTS[number]() if number < 0 else random_plant(number)
    found = {f.name: f for f in instrument_readings(plant, RULES).findings}
    for one in found.values():
        if one.key.startswith("reading.") and one.value is not None:
            assert says(one.sentence, one.value), one

    def reads(key: str, tag: str) -> float | None:
        one = found.get(f"reading.{key}@{tag}")
        return None if one is None else one.value

    coldest = min(plant.site.water_temperature_c)
    for h in plant.machines(HeatsWater):
        eta = RULES.number(f"heater.efficiency_{'electric' if h.fuel == 'electric' else 'fuel'}")
        hours = h.volume_l * 4.19 * (h.set_c - coldest) / 3600 / h.heater_kw / eta
        assert reads("heat_up", h.id) == pytest.approx(hours, rel=0.01)
    for c in plant.machines(CoolsMilk):
        milk, water = reads("cooler_milk_flow", c.id), reads("cooler_water_flow", c.id)
        if milk is None or water is None:
            continue
        told = found["cooling.milk_out"]
        first_c = next((float(i.value) for i in told.inputs if i.symbol == "T_1"), told.value)
        into, cold, warm = (
            reads(f"cooler_{x}", c.id) for x in ("milk_in", "water_in", "water_out")
        )
        assert None not in (into, cold, warm, first_c)
        heat = milk * 1.03 * 3.93 * (into - first_c)  # type: ignore[operator]
        assert warm - cold == pytest.approx(heat / water / 4.19, rel=0.02)  # type: ignore[operator]
        assert found["cooling.water_flow"].value == pytest.approx(water * c.count, rel=EXACT)
    for one in plant.machines(StoresMilk):
        again = found.get(f"cooling.tank.pull_down@{one.id}")
        if again is not None and again.value is not None:
            assert reads("cooling_time", one.id) == pytest.approx(again.value, abs=0.02)
    for one in plant.equipment.values():
        if (hours_of := reads("ice_hours", one.id)) is not None:
            assert hours_of == pytest.approx(one.store_kwh / one.duty_kw, rel=0.02)  # type: ignore[attr-defined]
        if (turn := reads("turn_time", one.id)) is not None:
            assert turn == pytest.approx(one.turn_s)  # type: ignore[attr-defined]


@pytest.mark.parametrize("number", [-4, 2])
def test_uses_of_air_add_up(number: int) -> None:
    """Would fail if what one use takes, by how often it comes, were not its mean and its day."""
    found = size(STARTS[number]() if number < 0 else random_plant(number), RULES)
    rows = found.table("air.users").rows
    mean = found.finding("air.mean").value
    assert mean and sum(float(r[3]) for r in rows) == pytest.approx(mean, abs=0.3)
    for _, each, per_min, mean_l_min, per_day, day_m3 in rows:
        assert float(mean_l_min) == pytest.approx(float(each) * float(per_min), rel=0.02, abs=0.2)
        assert float(day_m3) == pytest.approx(float(each) * float(per_day) / 1000, abs=0.02)
