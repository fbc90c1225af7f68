"""What a wash meets on its way round, and the liquids of a plant, worked by hand."""

from __future__ import annotations

from math import pi
from types import SimpleNamespace
from typing import Any

import pytest

from byrewright.engine.liquidlaws import fluids
from byrewright.engine.liquidstreams import upstream
from byrewright.engine.rows import levels_l
from byrewright.engine.washing import line_area_m2, wash_circuit
from byrewright.physics.coolant import Coolant
from byrewright.plant.graph import Node
from byrewright.plant.plant import Plant
from byrewright.standards.rulebook import Rulebook, default_rulebook
from tests import plants

RULES = default_rulebook()


def changed(tag: str, **fields: object) -> Plant:
    """The usual rotary of 60 stalls with a machine changed; its milkline is 60 m of 98 mm."""
    plant = plants.rotary()
    one = plant.equipment[tag].model_copy(update=fields)
    return plant.model_copy(update={"equipment": {**plant.equipment, tag: one}})


def test_every_milkline_and_pipe_of_milk_has_its_wall() -> None:
    """Would fail if a second milkline, or a metre of pipe, had no steel to warm."""
    plant = plants.rotary()
    pipes = sum(p.bore_mm * p.length_m for p in plant.pipes
                if plant.service_of(p) in ("milk", "wash"))  # fmt: skip
    assert line_area_m2(plant) == pytest.approx(pi / 1000 * (98 * 60 + pipes))
    twice = line_area_m2(changed("ML1", count=2)) - line_area_m2(plant)
    assert twice == pytest.approx(pi / 1000 * 98 * 60)


def test_steel_and_loss_of_a_wash_are_those_of_lines_and_units() -> None:
    """11 kg and 12 W/K for a square metre of line, 2.5 kg and 0.25 m2 for a unit; 0.5 kJ/kgK."""
    plant = plants.rotary()
    way, area = wash_circuit(plant, RULES), line_area_m2(plant)
    assert way.steel_kg == pytest.approx(11.0 * area + 2.5 * 60)
    assert way.steel_kj_k == pytest.approx(0.5 * way.steel_kg)
    assert way.ua_kw_k == pytest.approx(12.0 * (area + 0.25 * 60) / 1000)
    assert way.kpa_abs == pytest.approx(99.65 - 42.0, abs=0.05)  # 140 m up, 42 kPa below that
    assert way.wet_share == 0.5


def test_air_through_a_wash_comes_at_units_and_behind_slugs_while_they_run() -> None:
    """15 L/min at each of 60 units. Twenty slugs at 8 m/s run 150 s in 60 m of line, of 480 s; the
    air behind them fills it at 57.6 kPa: 7.54e-3 m2 x 8 m/s."""
    plant = changed("ML1", looped=False)
    bare = {t: m for t, m in plant.equipment.items() if m.kind != "air_injector"}
    none = plant.model_copy(update={"equipment": bare})
    assert wash_circuit(none, RULES).air_l_min_free == pytest.approx(900.0)
    way = wash_circuit(plant, RULES)
    behind = pi / 4 * 0.098**2 * 8.0 * 60_000 * way.kpa_abs / 99.65
    assert way.air_l_min_free - 900.0 == pytest.approx(behind * 150 / 480, rel=0.01)
    looped = wash_circuit(changed("ML1", looped=True), RULES).air_l_min_free
    assert looped - 900.0 == pytest.approx(behind * 75 / 480, rel=0.01)
    always = Rulebook({"wash.main_min": 1.0})
    assert wash_circuit(plant, always).air_l_min_free - 900.0 == pytest.approx(behind, rel=0.01)


def test_liquids_boil_at_what_steam_tables_say() -> None:
    """Saturation of water at 10, 60, 4 and 35 degC: 1.23, 19.9, 0.81 and 5.63 kPa."""
    made = fluids(RULES, Coolant(20.0, 0.0, 1020.0, 3.9, 2.5, 0.5))
    boils = {name: one.boils_kpa_abs for name, one in made.items()}
    assert boils == pytest.approx(
        {"water": 1.228, "wash": 19.95, "coolant": 0.814, "milk": 5.629}, rel=0.01
    )
    assert made["coolant"].density_kg_m3 == 1020.0
    assert made["water"].kpa(10.0) == pytest.approx(98.07, abs=0.01)
    assert made["water"].head_m(98.0665) == pytest.approx(10.0)
    assert 0.4 < made["wash"].viscosity_mpa_s < made["water"].viscosity_mpa_s < 1.4


def test_what_arrives_is_shared_by_the_flows_that_meet() -> None:
    """30 L/min of A and 10 of B meet, and 40 of C come beside: a half is of C, three eighths of
    A."""
    one, two, end = Node("J", "1"), Node("J", "2"), Node("T", "in")
    ends = {"a": (Node("A", "out"), one), "b": (Node("B", "out"), one), "j": (one, two),
            "c": (Node("C", "out"), two), "t": (end, two)}  # fmt: skip
    flows: Any = SimpleNamespace(l_min={"a": 30.0, "b": 10.0, "j": 40.0, "c": 40.0, "t": -80.0})
    net: Any = SimpleNamespace(ends=ends)
    shares, l_min = upstream(net, flows, end, {"A", "B", "C"})
    assert l_min == 80.0 and shares == pytest.approx({"A": 3 / 8, "B": 1 / 8, "C": 1 / 2})
    shares, _ = upstream(net, flows, end, {"A", "C"})  # what comes from elsewhere is left out
    assert shares == pytest.approx({"A": 3 / 7, "C": 4 / 7})


@pytest.mark.parametrize(
    ("stated", "levels"),
    [
        ({}, (35.0, 8.75, 21.0, 70.0)),  # 35 %, of that a quarter, six tenths and twice
        ({"led_at_l": 60.0}, (60.0, 15.0, 36.0, 90.0)),  # nine tenths of the vessel at most
        ({"led_at_l": 40.0, "stop_at_l": 5.0, "start_at_l": 30.0}, (40.0, 5.0, 30.0, 80.0)),
    ],
)
def test_levels_that_are_not_stated_follow_from_the_first(
    stated: dict[str, float], levels: tuple[float, ...]
) -> None:
    """Would fail if a pump were led by a level that its vessel cannot hold."""
    usual: dict[str, Any] = {"led_at_l": None, "stop_at_l": None, "start_at_l": None}
    vessel: Any = SimpleNamespace(**usual | stated)
    assert levels_l(vessel, 100.0) == pytest.approx(levels)
    assert levels_l(None, 100.0) == pytest.approx((35.0, 8.75, 21.0, 70.0))
