"""The turning deck: worked example, magnitudes of practice, one drive lost."""

from __future__ import annotations

import re

import pytest

from byrewright.engine.deck import deck_load
from byrewright.plant.plant import Plant
from byrewright.standards.practice import MAGNITUDES
from byrewright.studies.sizing.deck import size_deck
from tests.plants import machine, rotary, rows
from tests.studies.benches import bench_of, duty, large, sized, small

CONCRETE_KG = 800.0  # a concrete deck, each stall: the magnitudes of practice are for these
WORKED = 5e-4  # the worked figures are printed to four or five figures


def _concrete(plant: Plant, turn_s: float) -> Plant:
    stalls = duty(plant).stalls
    deck = machine("PF1", "platform", stalls=stalls, turn_s=turn_s, stall_mass_kg=CONCRETE_KG)
    rollers = machine("RL1", "deck_rollers", count=2 * stalls, rated_kn=15)
    return plant.model_copy(update={"equipment": {**plant.equipment, "PF1": deck, "RL1": rollers}})


def test_worked_deck() -> None:
    """60 t at R 8.5 m and 8 min: 5886 N and 1091.5 W at 0.01 (derived figures)."""
    deck = machine("PF1", "platform", stalls=60, turn_s=480, rail_radius_m=8.5, stall_mass_kg=320)
    plant = rotary(60, 600, turn_s=480, PF1=deck)
    ctx = bench_of(plant, {"deck.resistance": 0.01})
    load = deck_load(plant, ctx.rules, plant.equipment["PF1"])  # type: ignore[arg-type]
    assert load.running_n == pytest.approx(5886, rel=WORKED)
    assert load.speed_m_s == pytest.approx(0.11126, rel=WORKED)
    size_deck(ctx, duty(plant))
    push = ctx.notes.result().finding("deck.traction")
    told = re.search(r"; (\d+) N m on a wheel of ([\d.]+) mm", push.sentence)
    assert told and push.value is not None  # a torque is the force at the rim times half its width
    assert float(told[1]) == pytest.approx(push.value * float(told[2]) / 2, rel=0.01)
    kw = ctx.notes.result().finding("deck.running_power").value
    assert kw == pytest.approx(1.0915, abs=0.005)  # the finding keeps two decimals


@pytest.mark.parametrize(("plant", "turn_s", "stalls"), [(small(), 480, 50), (large(), 588, 84)])
def test_magnitudes(plant: Plant, turn_s: float, stalls: int) -> None:
    """Mass, running power and breakaway leave the range a practised engineer expects."""
    result = sized(_concrete(plant, turn_s), size_deck)
    for key, name in (("deck_t", "deck.mass"), ("drive_kw", "deck.running_power")):
        value = result.finding(name).value
        assert value is not None
        assert MAGNITUDES[key].usual(value, stalls), (key, value)


def test_advised_drive_holds() -> None:
    """Drafting applies the advised motor and the finding still fails: the loop never ends."""
    plant = _concrete(large(), 588)
    first = sized(plant, size_deck).finding("deck.drive_motor")
    assert first.verdict == "fails" and first.target == ("DU1", "motor_kw")
    better = plant.equipment["DU1"].model_copy(update={"motor_kw": first.advised})
    again = sized(
        plant.model_copy(update={"equipment": {**plant.equipment, "DU1": better}}), size_deck
    )
    assert again.finding("deck.drive_motor").verdict in ("holds", "tight")


def test_one_drive_is_not_enough() -> None:
    """A single drive passes although the farm asked that no single failure stops milking."""
    result = sized(small(DU1=machine("DU1", "drive_unit", motor_kw=7.5)), size_deck)
    assert result.finding("deck.drive_count").verdict == "fails"


def test_fixed_rows_have_no_deck() -> None:
    """Fixed stalls get findings of rollers and drives they do not have."""
    assert not sized(rows(), size_deck).findings
