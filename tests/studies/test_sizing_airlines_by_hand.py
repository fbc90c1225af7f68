"""Air in the lines, and the bores that share a drop, worked by hand."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pytest

from byrewright.physics.air import ambient_pressure_kpa_abs
from byrewright.standards.pipes import AIRLINE_BORES_MM
from byrewright.studies.sizing import airlines
from byrewright.studies.sizing.airlines import Leg
from byrewright.studies.sizing.vacuum_demand import together
from tests.plants import machine
from tests.studies.benches import bench_of, small
from tests.studies.told import inputs

AIR = SimpleNamespace(claws=300.0, pulsators=200.0)
NEED: Any = SimpleNamespace(
    steady_at_inlet_l_min=5000.0,
    iso=SimpleNamespace(milk_leakage_l_min_free=100.0, effective_reserve_l_min_free=1000.0,
                        altitude_factor=2.0),
)  # fmt: skip
DAY: Any = SimpleNamespace(units=50, working_vacuum_kpa=42.0,
                           pressure_kpa_abs=ambient_pressure_kpa_abs(140.0))  # fmt: skip


@pytest.mark.parametrize(("plate", "pulsator_line", "receiver", "before_pump"), [
    (6200.0, True, 800.0, 1800.0), (2000.0, True, 700.0, 1000.0), (6200.0, False, 900.0, 1800.0),
])  # fmt: skip
def test_air_of_each_line_while_the_reserve_is_tested(
    monkeypatch: pytest.MonkeyPatch, plate: float, pulsator_line: bool, receiver: float,
    before_pump: float,
) -> None:  # fmt: skip
    """Units take 300 L/min, lines leak 100, 5000 of twice 3100 are used: 1200 are left, or the 1000
    of the rule. Would fail if receivers carried the air of both, or a pump more than it draws."""
    monkeypatch.setattr(airlines, "air_use", lambda *_: AIR)
    pumps = {t: machine(t, "vacuum_pump", capacity_l_min_free=plate, motor_kw=9)
             for t in ("VP1", "VP2")}  # fmt: skip
    ctx = bench_of(small(**pumps, **({} if pulsator_line else {"PA1": None})))
    flows = airlines._flows(ctx, DAY, NEED, airlines.Ways(ctx.plant))
    by_end = {p.start: flows.get(p.id) for p in ctx.plant.pipes}
    assert by_end["RC1.vacuum"] == by_end["ST2.vacuum"] == pytest.approx(receiver)
    assert by_end["GL1.fixed_vacuum"] == pytest.approx(2 * receiver)
    assert by_end["NR1.outlet"] == by_end["NR2.outlet"] == pytest.approx(before_pump)
    assert by_end.get("PA1.supply_1") == (200.0 if pulsator_line else None)
    assert flows["DT1"] == pytest.approx(2 * receiver + 200.0 * pulsator_line)


def test_a_loss_counts_as_so_much_pipe() -> None:
    """A velocity head is that of d/f of pipe (Darcy, f = 0.02): would fail if a gland lost less in
    a wide bore than in a narrow one, or a trap were taken as wide as its widest pipe."""
    ctx = bench_of(small())
    leg = Leg("GL1", 100.0, 10.0, {}, 900.0, "", 1.5)
    assert leg.equivalent_m(ctx, 100.0) == pytest.approx(10.0 + 1.5 / 0.02 * 0.1)
    assert leg.equivalent_m(ctx, 50.0) == pytest.approx(10.0 + 1.5 / 0.02 * 0.05)
    plant = small()
    pipes = tuple(p.model_copy(update={"bore_mm": {"RC1.vacuum": 98.0, "ST1.vacuum": 73.0}.get(
        p.start, p.bore_mm)}) for p in plant.pipes)  # fmt: skip
    ctx = bench_of(plant.model_copy(update={"pipes": pipes}))
    way = airlines.Ways(ctx.plant).between("RC1", "ST1")
    onward = airlines.Ways(ctx.plant).between("RC1", "DT1")
    flows = {j.id if j.pipe else (j.machine or ""): 800.0 for j in (*way, *onward)}
    legs = {leg.id: leg for leg in airlines._legs(ctx, onward, flows)}
    trap, gland = legs["ST1"], legs["GL1"]
    assert (trap.bore_mm, trap.field, trap.heads) == (73.0, "", ctx.number("vacuum.loss.trap_k"))
    assert gland.field == "vacuum_bore_mm" and gland.heads == ctx.number("vacuum.loss.gland_k")
    assert all(leg.flow_l_min == 800.0 for leg in legs.values())


@pytest.mark.parametrize(("wanted", "least", "advised"), [
    (80.0, 0.0, 98.0), (98.0, 0.0, 98.0), (80.0, 120.0, 125.0), (80.0, 60.0, 98.0),
])  # fmt: skip
def test_a_leg_takes_its_share_of_the_drop(
    monkeypatch: pytest.MonkeyPatch, wanted: float, least: float, advised: float
) -> None:
    """Ten of forty metres, three quarters of 2 kPa: 0.375 kPa. Would fail if a long leg were given
    less of the drop, or a feed were narrower than its line."""
    asked: list[Any] = []
    monkeypatch.setattr(airlines, "airline_bore_mm", lambda *a: asked.append(a) or wanted)
    ctx = bench_of(small())
    own, other = Leg("L1", 76.0, 10.0, {}, 900.0, "bore_mm"), Leg("L2", None, 30.0, {}, 1.0, "x")
    airlines._bore(ctx, DAY, own, [own, other], 2.0, "here", least)
    (told,) = ctx.notes.findings
    assert asked == [(900.0, 10.0, pytest.approx(0.375), 42.0, DAY.pressure_kpa_abs)]
    assert told.advised == advised in AIRLINE_BORES_MM and told.target == ("L1", "bore_mm")
    assert ("not under the line" in told.advised_why) == (least > wanted)
    assert inputs(told)["dp"] == 0.375 and told.key == "vacuum.airline.bore" and not told.missing
    airlines._bore(ctx, DAY, other, [own, other], 2.0, "here")
    assert asked[1][2] == pytest.approx(1.125) and ctx.notes.findings[1].missing


@pytest.mark.parametrize(("ring", "count", "flow", "length"), [
    (False, 1, 200.0, 60.0), (True, 1, 100.0, 30.0), (False, 2, 100.0, 60.0),
])  # fmt: skip
def test_a_pulsator_line_leaves_room_for_its_pulse(
    monkeypatch: pytest.MonkeyPatch, ring: bool, count: int, flow: float, length: float
) -> None:
    """A line that gathers its air evenly loses 1/2.75 of what it would at its full flow: would fail
    if a ring were fed by one way, or the pulse were left no room."""
    asked: list[Any] = []

    def bore(*given: Any) -> float:
        asked.append(given[:3])
        return 70.0 if len(asked) == 1 else 85.0

    monkeypatch.setattr(airlines, "air_use", lambda *_: AIR)
    monkeypatch.setattr(airlines, "airline_bore_mm", bore)
    line = machine("PA1", "pulsator_airline", bore_mm=76, length_m=60, ring=ring, count=count)
    rules = {"vacuum.pulsator_line_damped_from_units": 50.0,
             "vacuum.pulsator_line_damped_bore_mm": 110.0}  # fmt: skip
    ctx = bench_of(small(PA1=line))
    limit = ctx.number("vacuum.iso_drop_pulsator_line_kpa")
    airlines._pulsator_line(ctx, SimpleNamespace(**{**DAY.__dict__, "units": 1}), line)  # type: ignore[arg-type]
    (told,) = ctx.notes.findings
    assert asked == [(flow, length, pytest.approx(limit * share * 2.75)) for share in (0.5, 0.25)]
    assert (told.value, told.limit, told.advised) == (76.0, 70.0, 98.0)
    assert "fed at 1 place," in told.sentence and f"carries {flow:.0f} L/min" in told.sentence
    asked.clear()
    two = bench_of(small(PA1=line, PA2=line.model_copy(update={"id": "PA2"})))
    airlines._pulsator_line(two, DAY, line)  # type: ignore[arg-type]
    assert asked[0][0] == flow / 2
    asked.clear()
    many = bench_of(small(PA1=line), rules)
    airlines._pulsator_line(many, DAY, line)  # type: ignore[arg-type]
    assert many.notes.findings[0].advised == 110.0
    assert "damps the pulses" in many.notes.findings[0].advised_why


def test_legs_up_to_the_place_that_senses(monkeypatch: pytest.MonkeyPatch) -> None:
    """Would fail if pipes behind the sensor were held to the drop before it, or none were."""
    monkeypatch.setattr(airlines, "_legs", lambda _, edges, __: [j.id for j in edges])
    sensor = machine("SN1", "sensor", measures="vacuum", on="DT1")
    ctx = bench_of(small(RG1=None, SN1=sensor))
    ways = airlines.Ways(ctx.plant)
    edges = ways.between("RC1", "VP1")
    (found,) = airlines._to_sensing(ctx, [("RC1", "VP1", edges)], {}, ways)
    last = next(i for i, j in enumerate(edges) if "DT1" in (j.a.machine, j.b.machine))
    assert found == ("RC1", [j.id for j in edges[: last + 1]], "DT1") and last > 2
    held = bench_of(small(SN1=sensor))
    ways = airlines.Ways(held.plant)
    (found,) = airlines._to_sensing(held, [("RC1", "VP1", edges)], {}, ways)
    assert found[2] == "RG1" and 0 < len(found[1]) < len(edges)


def test_pumps_that_run_together() -> None:
    """Would fail if a pump that stands in milking were counted with those that run, or none were
    where none is named."""
    plant = small()
    for at, found in (({"VP2": "stopped"}, ("VP1",)), ({}, ("VP1", "VP2")),
                      ({"VP1": "stopped", "VP2": "stopped"}, ("VP1", "VP2"))):  # fmt: skip
        modes = {n: m.model_copy(update={"positions": {**m.positions, **at}})
                 for n, m in plant.modes.items()}  # fmt: skip
        there = plant.model_copy(update={"modes": modes})
        assert together(there, ("VP1", "VP2")) == found
    assert together(plant.model_copy(update={"modes": {}}), ("VP1",)) == ("VP1",)
