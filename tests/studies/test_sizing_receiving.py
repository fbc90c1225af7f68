"""Receivers, traps and milk pumps."""

from __future__ import annotations

import pytest

from byrewright.studies.sizing.receiving import (
    balance_pumps,
    receiver_pumps,
    size_receiving,
    wash_flow_l_min,
)
from tests.plants import machine, rows
from tests.studies.benches import bench_of, duty, large, sized, small


def test_pumps_are_told_apart_by_what_they_draw_from() -> None:
    """A pump behind the balance tank would be sized as a receiver's."""
    plant = large()
    assert [p.id for p in receiver_pumps(bench_of(plant))] == ["MP1", "MP2"]
    assert {k: [p.id for p in v] for k, v in balance_pumps(bench_of(plant)).items()} == {
        "BT1": ["MP3", "MP4"]
    }


def test_pumps_without_a_leader_are_found_by_their_pipes() -> None:
    """A pump that names no vessel would be lost."""
    unled = {
        i: machine(i, "milk_pump", flow_l_min=200, head_m=15, motor_kw=2.2) for i in ("MP3", "MP4")
    }
    assert len(balance_pumps(bench_of(large(**unled)))["BT1"]) == 2


def test_each_receiver_pump_alone_takes_peak_and_wash() -> None:
    """Wash water of all units would flood the receivers with one pump off."""
    plant = large()
    duties = duty(plant)
    found = sized(plant, size_receiving).finding("receiving.milk_pump.flow@MP1")
    assert found.limit == pytest.approx(
        max(duties.milk_flow_peak_l_min, wash_flow_l_min(bench_of(plant), duties))
    )
    assert "with MP2 off" in found.sentence and found.verdict == "fails"


def test_a_pump_behind_a_balance_tank_is_held_to_what_the_tank_passes_on() -> None:
    """A delivery pump would fail at commissioning for the peaks that its tank is there for."""
    plant = large()
    found = sized(plant, size_receiving).finding("receiving.milk_pump.flow@MP3")
    assert found.limit == pytest.approx(duty(plant).milk_flow_met_l_min)
    assert "BT1 passes on" in found.sentence and "peak minute" not in found.sentence


def test_volumes_are_as_practice_expects() -> None:
    """Advised receivers would be far from 40-120 L at 50 stalls and 60-150 L at 84 (practice)."""
    for plant, low, high in ((small(), 40, 120), (large(), 60, 150)):
        advised = sized(plant, size_receiving).finding("receiving.receiver.volume").advised
        assert advised is not None and low <= advised <= high


def test_a_receiver_filled_by_its_own_level_fails() -> None:
    """A level held too high would leave no room for a slug and nothing would say so."""
    high = machine("RC1", "receiver", volume_l=120, led_at_l=100)
    result = sized(small(RC1=high), size_receiving)
    assert result.finding("receiving.receiver.volume@RC1").verdict == "fails"
    assert result.finding("receiving.receiver.led_at@RC1").advised == pytest.approx(36)


def test_every_receiver_needs_a_trap() -> None:
    """Milk could reach the vacuum line."""
    result = sized(small(ST2=None), size_receiving)
    assert result.finding("receiving.trap.count").verdict == "fails"


def test_one_pump_is_not_enough_for_a_plant_that_must_not_stop() -> None:
    """A single pump would pass although it stops milking when it fails."""
    assert sized(rows(40, 300), size_receiving).finding("receiving.milk_pump.standby").limit == 2


def test_missing_machines_are_named() -> None:
    """A plant with no receiver or pump would be sized in silence."""
    bare = dict.fromkeys(("RC1", "RC2", "MP1", "MP2", "MP3", "MP4"))
    result = sized(small(**bare), size_receiving)
    assert result.finding("receiving.receiver").verdict == "fails"
    assert result.finding("receiving.milk_pump").verdict == "fails"
