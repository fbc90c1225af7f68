"""What a plant is made of, counted by hand on a few parts."""

from __future__ import annotations

import math
from types import SimpleNamespace
from typing import Any

import pytest

from byrewright.results import Finding, Input, Remedy
from byrewright.standards.rulebook import Rulebook
from byrewright.studies import count, explain, quantities
from byrewright.studies.count import Item
from tests.plants import machine, pipe, rotary

RULES = Rulebook({"pipe.cutting_share": 0.1, "place.support_tube_small_m": 1.0,
                  "place.support_tube_m": 2.0, "install.cable_guess_m": 20.0})  # fmt: skip
PLANT = rotary(20, 60)


def few(*machines: Any, pipes: Any = ()) -> Any:
    """A plant of these parts."""
    made = PLANT.model_copy(update={"equipment": {m.id: m for m in machines},
                                    "pipes": tuple(pipes), "modes": {}})  # fmt: skip
    made.__dict__.pop("_pipes_at", None)
    return made


def item(amount: float = 1.0, **more: Any) -> Item:
    """An item of pipe."""
    usual: dict[str, Any] = {"group": "pipes", "kind": "pipe", "title": "Pipe", "unit": "m",
                             "figures": {"bore_mm": 50.0}, "tags": ("A",), "sure": "measured",
                             "plate": "p", "cut": 0.1}  # fmt: skip
    return Item(**usual | more, amount=amount)


def test_alike_things_are_one() -> None:
    """Would fail if pipe of two bores or of two sources were one, metres were ordered without what
    is cut to waste, or valves came before machines."""
    parts = [item(2.0), item(3.05, tags=("B", "A")), item(9.0, figures={"bore_mm": 63.0}),
             item(9.0, sure="guessed"),
             item(4.0, group="machines", unit="each", cut=0.0)]  # fmt: skip
    found = [*count._together(parts)]
    assert [(i.group, i.amount, i.tags) for i in found] == [
        ("machines", 4.0, ("A",)), ("pipes", 5.05, ("A", "B")), ("pipes", 9.0, ("A",)),
        ("pipes", 9.0, ("A",))]  # fmt: skip
    assert [i.to_order for i in found[:2]] == [4.0, 5.6]
    assert found[0].by == ("bore_mm",) and item(ordered_by=()).by == ()


def test_pipe_fittings_and_lines() -> None:
    """Would fail if lines of two were counted once, a fitting of none were listed, or a pipe's
    service were not told."""
    line = machine("ML1", "milkline", bore_mm=73, slope_pct=1, length_m=20, count=2)
    air = machine("PA1", "pulsator_airline", bore_mm=60, length_m=30, count=3)
    bent = pipe("P", "X.a", "Y.b", 50.0, 4.0).model_copy(
        update={"fittings": {"long_bend": 2, "tee": 0}, "service": "milk"})  # fmt: skip
    bare = pipe("Q", "X.c", "Y.d", 40.0, 5.0)
    plant = few(line, air, *(machine(t, "header") for t in "XY"), pipes=(bent, bare))
    lines = [(t, s, b, m) for t, s, b, m, _ in count.lines(plant)]
    assert lines == [("P", "milk", 50.0, 4.0), ("Q", "not stated", 40.0, 5.0),
                     ("ML1", "milk, line on the deck or pit", 73.0, 40.0),
                     ("PA1", "vacuum, pulsator line", 60.0, 90.0)]  # fmt: skip
    assert {i.cut for i in count._pipes(plant, RULES)} == {0.1}
    fittings = [(i.title, i.amount, i.plate) for i in count._fittings(plant)]
    assert fittings == [("Long bend", 2, "milk, bore 50 mm"),
                        *[("Header with 2 ways", 1, "milk, bore 50 mm")] * 2]  # fmt: skip
    alone = [(i.title, i.plate) for i in count._fittings(few(machine("H", "header")))]
    assert alone == [("Header with 0 ways", "not stated, bore not stated")]


def test_valves_and_sensors_in_words() -> None:
    """Would fail if a valve were told of the narrowest pipe, a double seat as a single one, or
    nobody's contact as there."""
    valves = (machine("V1", "valve", ways=3, moved_by="air", sensed=True),
              machine("V2", "valve", seats="double", bore_mm=25.0),
              machine("NR1", "non_return_valve"), machine("V3", "valve"))  # fmt: skip
    pipes = (pipe("P", "V1.a", "V2.a", 50.0), pipe("Q", "V1.b", "V2.b", 63.0),
             pipe("R", "NR1.inlet", "V2.c", 76.0))  # fmt: skip
    plant = few(*valves, machine("S1", "sensor", measures="flow", on="V1", count=2), pipes=pipes)
    found = {i.tags[0]: i for i in count._valves(plant)}
    assert found["V1"].plate.endswith("bore 63 mm, moved by air, position sensed")
    assert found["V1"].title == "Three-way valve" and found["V1"].figures["sensed"] == "yes"
    assert found["V2"].title == "Two-way valve, double seat with leak chamber"
    assert "bore 25 mm" in found["V2"].plate and found["V2"].plate.endswith("moved by hand")
    assert (found["NR1"].title, found["NR1"].figures["moved_by"]) == ("Non-return valve", "flow")
    assert found["V3"].plate == "not piped, bore not stated, moved by hand"
    assert [(i.title, i.amount) for i in count._sensors(plant)] == [("Flow sensor", 2)]
    assert count.bore_mm(plant, valves[3]) is None and count.bore_mm(plant, valves[0]) == 63.0


def test_a_data_plate_tells_what_a_machine_is_ordered_by() -> None:
    """Would fail if a default that nobody chose were on it, a heater had a motor, or a controller
    were part of a pump's figures."""
    heater = machine("WH1", "water_heater", volume_l=900, heater_kw=9, controlled_by=("C",))
    assert count.data_plate(heater) == "volume 900 L, heater 9 kW"
    lot = {i.tags[0]: i for i in count._machines(few(heater, machine("V1", "valve"),
                                                     PLANT.equipment["MP1"]))}  # fmt: skip
    assert set(lot) == {"WH1", "MP1"} and lot["WH1"].by == ("volume_l", "heater_kw")
    led = PLANT.equipment["MP1"].led_by  # type: ignore[attr-defined]
    assert led in count.data_plate(PLANT.equipment["MP1"]) and led not in lot["MP1"].plate
    assert "fed_from" not in lot["MP1"].figures and "led_by" not in lot["MP1"].figures
    assert count.name_in_words("water_l_load") == "water per load"
    for yes, words in ((True, "while running"), (False, "")):
        one = machine("MF1", "milk_filter", area_m2=0.1, while_running=yes)
        assert count.data_plate(one) == f"area 0.1 m2{', ' * yes}{words}"


@pytest.mark.parametrize(("bore", "service", "length_m", "bends", "many"), [
    (32.0, "milk", 4.5, 0, 5), (33.0, "milk", 4.5, 0, 3), (33.0, "milk", 4.0, 3, 5),
    (33.0, "wash", 0.5, 0, 1), (50.0, "water", 0.5, 2, 3),
])  # fmt: skip
def test_supports_by_their_spacing(
    monkeypatch: pytest.MonkeyPatch, bore: float, service: str, length_m: float, bends: int,
    many: int,
) -> None:  # fmt: skip
    """A tube is held each metre up to 32 mm and each two metres above, and at its bends: would fail
    if a short pipe hung on nothing."""
    monkeypatch.setattr(count, "sited", lambda _: None)
    one = pipe("P", "X.a", "Y.b", bore, length_m).model_copy(
        update={"service": service, "fittings": {"bend": bends, "tee": 4}})  # fmt: skip
    (found,) = count._supports(few(pipes=(one,)), RULES)
    assert (found.amount, found.tags, found.plate) == (many, ("P",), f"bore {bore:g} mm")
    line = machine("ML1", "milkline", bore_mm=73, slope_pct=1, length_m=20.1)
    assert [i.amount for i in count._supports(few(line), RULES)] == [11]


def test_supports_as_on_the_plan(monkeypatch: pytest.MonkeyPatch) -> None:
    """Four drawn, and three for the ring of 5 m that a pipe goes on along: would fail if a pipe on
    the plan were held twice."""
    pipes = (pipe("P", "X.a", "Y.b", 50.0), pipe("Q", "X.c", "Y.d", 63.0), pipe("R", "X.e", "Y.f"))
    route = SimpleNamespace(lines=("P", "Q"), service="milk")
    monkeypatch.setattr(count, "sited", lambda _: SimpleNamespace(laid={"P": 1, "Q": 2}))
    line = SimpleNamespace(route=route, supports=[0] * 4)
    monkeypatch.setattr(count, "lines_of", lambda *_: [line])
    monkeypatch.setattr(count, "on_round_m", lambda one, _: 5.0 if one.id == "Q" else 0.0)
    stated = pipes[2].model_copy(update={"service": "milk"})
    first, second = count._supports(few(pipes=(*pipes[:2], stated)), RULES)
    assert (first.amount, first.tags, first.sure, first.plate) == (
        7, ("P", "Q"), "from the plan", "bore 63 mm")  # fmt: skip
    assert second.tags == ("R",) and second.amount == math.ceil(4.0 / 2.0)


def test_cables_with_a_plan_and_without(monkeypatch: pytest.MonkeyPatch) -> None:
    """Would fail if feeders side by side were one, a second supply had no cable, or a guess were
    told as measured."""
    pumps = PLANT.equipment["MP1"].model_copy(update={"fed_from": ("A", "B"), "count": 2})
    sensor = machine("S1", "sensor", measures="flow", on="V2", count=2, controlled_by=("C9",))
    plant = few(machine("C1", "controller"), machine("V1", "valve", sensed=True),
                machine("V2", "valve"), sensor, pumps)  # fmt: skip
    monkeypatch.setattr(count, "sited", lambda _: None)
    got = [(i.group, i.tags[0], i.amount, i.plate, i.sure) for i in count._cables(plant, RULES)]
    kw = 2 * PLANT.equipment["MP1"].power_kw()
    assert got == [
        *[("power cables", "MP1", 20.0, f"for {kw:g} kW", "guessed")] * 2,
        ("signal cables", "V1", 20.0, "", "guessed"),
        ("signal cables", "S1", 40.0, "", "guessed")]  # fmt: skip
    monkeypatch.setattr(count, "sited", lambda _: SimpleNamespace(
        plan=SimpleNamespace(bodies={"C1": "here", "C9": "there"})))  # fmt: skip
    way = SimpleNamespace(tag="MP1", length_m=30.0)
    monkeypatch.setattr("byrewright.studies.cables.cable_list", lambda *_: [
        SimpleNamespace(kw=k, phases=3, mm2=m, together=n, way=way)
        for k, m, n in ((4.4, 240.0, 2), (0.0, None, 1))])  # fmt: skip
    monkeypatch.setattr("byrewright.studies.cables.target_of", lambda _, __, host: host.id)
    ways = {("here", "V1", "V1"): 7.0, ("there", "S1", "V2"): 9.0}
    monkeypatch.setattr("byrewright.place.cables.way",
                        lambda _, *ends: SimpleNamespace(length_m=ways[ends]))  # fmt: skip
    got = [(i.group, i.tags[0], i.amount, i.plate, i.sure) for i in count._cables(plant, RULES)]
    plan = "from the plan"
    assert got == [
        ("power cables", "MP1", 60.0, "for 4.4 kW, first guess 240 mm2", plan),
        ("power cables", "MP1", 30.0, "for a board, section to be worked out", plan),
        ("signal cables", "V1", 7.0, "", plan),
        ("signal cables", "S1", 18.0, "", plan)]  # fmt: skip


def test_tables_of_quantities() -> None:
    """Would fail if pipe of one bore stood in two rows, a motor were counted as heat, or machines
    of a tag as one."""
    lot = [item(4.0, figures={"service": "milk", "bore_mm": 50.0}, tags=("A", "B")),
           item(2.005, figures={"service": "milk", "bore_mm": 50.0}, tags=("C",)),
           item(1.0, figures={"service": "air", "bore_mm": 50.0}),
           item(3.0, group="fittings", title="Tee", figures={"service": "milk"}),
           item(2.0, group="supports", plate="", sure="guessed")]  # fmt: skip
    assert quantities._pipes(lot, 0.1).rows == (("air", 50.0, 1, 1.0, 1.1),
                                                ("milk", 50.0, 3, 6.0, 6.6))  # fmt: skip
    assert quantities._fittings(lot).rows == (("milk", "tee", "not stated", 3.0),)
    assert quantities._runs(lot, "supports", "S", ("supports",)).rows == (
        ("Pipe", "-", 2.0, "guessed"),)  # fmt: skip
    cloths = {"load_kg": 9, "motor_kw": 9}
    kinds: dict[str, dict[str, Any]] = {
        "controller": {}, "sounder": {}, "cloth_washer": cloths,
        "water_heater": {"volume_l": 90, "heater_kw": 9}, "chiller": {"duty_kw": 9},
        "cloth_dryer": cloths, "drive_unit": {"motor_kw": 1},
    }  # fmt: skip
    told = [quantities._load_type(machine("X", k, **f)) for k, f in kinds.items()]
    assert told == ["controls", "controls", "heating", "heating", "refrigeration, electric input",
                    "heating", "motor"]  # fmt: skip
    plant = few(machine("DU1", "drive_unit", motor_kw=1.5, count=3),
                machine("DU2", "drive_unit", motor_kw=1.5), machine("V1", "valve", count=2),
                pipes=(pipe("P", "X.a", "Y.b", 50.0, 4.25),))  # fmt: skip
    assert quantities._motors(plant).rows == (("motor", 1.5, 4, 6.0, "kW", "DU1, DU2"),)
    notes: Any = SimpleNamespace(findings=[])
    quantities._totals(plant, notes)
    assert [f.value for f in notes.findings] == [4, 4.2, 2, 6.0]
    assert "2 tags, 4 machines" in notes.findings[0].sentence


# what stands behind a finding ------------------------------------------------------------------


@pytest.mark.parametrize(("value", "text"), [
    (0.0, "0"), (999.94, "999.9"), (1000.4, "1000"), (9999.0, "9999"), (10_000.0, "10 000"),
    (-12_345.6, "-12 346"), (0.01234567, "0.01235"), (-0.5, "-0.5"), (1.0, "1"), (99.999, "100"),
    (0.000012346, "0.00001235"), (99.96, "99.96"), (9.996, "9.996"), (12.3456, "12.35"),
])  # fmt: skip
def test_numbers_to_four_figures(value: float, text: str) -> None:
    """Would fail if thousands ran together, or a small number lost its figures."""
    assert explain.number(value) == text


def found(**more: Any) -> Finding:
    """A finding of 9 kW at most 10."""
    usual: dict[str, Any] = {"key": "k", "subject": "", "title": "Load", "value": 9.0, "unit": "kW",
                             "sentence": "So.", "verdict": "holds", "sense": "at_most",
                             "limit": 10.0, "margin": 0.1}  # fmt: skip
    return Finding(**usual | more)


@pytest.mark.parametrize(("more", "held", "verdict"), [
    ({}, "9 kW; at most 10 kW is required.", "; margin 10.0 % of it."),
    ({"allowance": 0.05}, "9 kW; at most", "10.0 % of it (tight under 5 %)."),
    ({"verdict": "fails", "margin": -0.25}, "9 kW", " by 25.0 % of it."),
    ({"unit": "degC", "verdict": "fails", "margin": -0.25}, "9 degC", " by 2.5 K."),
    ({"limit": None, "sense": "informational"}, "9 kW; no limit applies.", "held to no limit."),
    ({"sense": "informational"}, "9 kW; no limit applies.", "10.0 % of it."),
    ({"value": None, "limit": None, "verdict": "unknown", "margin": None}, "No value.", "."),
    ({"value": None, "verdict": "unknown", "margin": None}, "No value; at most 10 kW", "."),
])  # fmt: skip
def test_a_verdict_with_its_margin(more: dict[str, Any], held: str, verdict: str) -> None:
    """Would fail if a share of degrees were told, or a figure that is for information were said to
    be held to something."""
    one = found(**more)
    assert explain._held_to(one).startswith(held) and explain._verdict(one).endswith(verdict)


def test_numbers_in_a_formula_and_advice() -> None:
    """Would fail if a symbol were filled inside another, a word for a number, or factors between
    units were not told of."""
    put = (Input("q", "flow", 12_000.0, "L/min", ""), Input("q_1", "other", -2.0, "L/min", ""),
           Input("w", "word", "much", "", ""))  # fmt: skip
    one = found(formula="P = 2 q q_1 w + max(q)", inputs=put)
    plain, filled, factors = explain._formula(one)
    assert plain == "P = 2 q q_1 w + max(q)" and factors == explain.UNIT_FACTORS
    assert filled == "P = 2 × 12000 × (-2) × w + max(12000)"
    assert explain._formula(found(formula="x", inputs=put)) == ("x",)
    assert explain._formula(found(formula="x", inputs=put[2:])) == ("x",)
    same = found(formula="P = q", unit="L/min", inputs=put[:1])
    assert explain._formula(same) == ("P = q", "P = 12000")
    for remedy, words in (
        (Remedy("TK1", "cooling_kw", 60.0, "why"), "set cooling_kw of TK1 to 60 (why)"),
        (Remedy("TK1", "sensed", True, "why"), "set sensed of TK1 to yes (why)"),
        (Remedy("x", "at", (1.0, 2.5), "why"), "set at of x to [1, 2.5] (why)"),
        (Remedy("x", "at", (), "why"), "leave out at of x (why)"),
    ):  # fmt: skip
        assert explain._remedy(remedy) == words
    assert explain._advice(found(advised=12.0)) == "12 kW"
    assert explain._advice(found(advised=12.0, advised_why="next")) == "12 kW (next)"
    target = found(advised=12.0, advised_why="next", target=("MP1", "motor_kw"))
    assert explain._advice(target) == "motor_kw of MP1: 12 (next)"
    assert explain._parted("pmo (read)") == ("pmo", "read")
    assert explain._parted("as asked (once)") == ("as asked (once)", "")
