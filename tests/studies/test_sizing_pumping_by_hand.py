"""Water pumps and softeners, worked by hand on duties that are made up."""

from __future__ import annotations

from math import ceil, pi, sqrt
from types import SimpleNamespace
from typing import Any

import pytest

from byrewright.plant.roles import MovesWater
from byrewright.standards.water import WATER_BORES_MM
from byrewright.studies.sizing import pumping, softening
from byrewright.studies.sizing.duty import Duty, duty_of
from byrewright.studies.sizing.network import Asked
from byrewright.studies.sizing.pumping import PumpDuty
from byrewright.studies.sizing.sizes import next_motor_kw, next_preferred, next_round
from tests.plants import machine
from tests.studies.benches import bench_of, small
from tests.studies.told import inputs


@pytest.fixture(scope="module")
def day() -> Duty:
    """The duties of 50 stalls and 620 cows."""
    return duty_of(bench_of(small()))


def asked(head_m: float, pipes: dict[str, float], goal: str) -> Asked:
    """What the network asks of one pump: 3 m of rise, friction, machines and 200 kPa at the end."""
    return Asked(
        "LP1", "", goal, 60.0, 3.0, 11.0, 22.0, 0.0, head_m, 9.0, "WT1", 1000.0, 1.2, pipes, 1.0,
        {}, 200.0,
    )  # fmt: skip


@pytest.mark.parametrize(("alone", "flow"), [(1, 130.0), (2, 65.0)])
def test_a_pump_by_its_largest_flow_and_its_highest_head(alone: int, flow: float) -> None:
    """Would fail if a pump were sized by the easier of two duties, for all where two share it, or
    with a motor under the smallest there is; pipes by the most that any duty sends through."""
    pump = machine("LP1", "liquid_pump", flow_l_min=120, head_m=20, motor_kw=1.5)
    assert isinstance(pump, MovesWater)
    ctx = bench_of(small(LP1=pump))
    tag = next(p.id for p in ctx.plant.pipes if p.start == "WT1.outlet_1")
    milk = next(p.id for p in ctx.plant.pipes if p.start == "MP1.outlet")
    duties = [PumpDuty("cooling", 130.0, asked(18.2, {tag: 90.0, milk: 50.0}, "PC1")),
              PumpDuty("the hose", 40.0, asked(31.3, {tag: 70.0}, "FD1"))]  # fmt: skip
    pumping.size_pump(ctx, pump, duties, "water.pump", alone, "water")
    found = {f.key: f for f in ctx.notes.findings}
    by_flow, head = found["water.pump.flow"], found["water.pump.head"]
    assert (by_flow.value, by_flow.limit) == (120.0, flow) and "for cooling" in by_flow.sentence
    assert by_flow.advised == next_round(1.05 * flow)
    assert inputs(by_flow).items() >= {"q_1": 130.0, "q_2": 40.0, "n": alone}.items()
    assert (head.limit, head.advised) == (31.3, ceil(1.05 * 31.3)) and "the hose" in head.sentence
    i = inputs(head)
    assert (i["p_friction"], i["p_machines"], i["p_end"], i["z"]) == (11.0, 22.0, 200.0, 3.0)
    motor = found["water.pump.motor"]
    kw = 120 / 60_000 * 9.80665 * 20 / ctx.number("pump.efficiency")
    kw *= ctx.number("motor.service_margin")
    assert motor.limit == pytest.approx(kw, abs=0.001) and motor.advised == next_motor_kw(kw)
    bores = [f for f in ctx.notes.findings if f.key == "water.pump.pipe"]
    assert [f.subject for f in bores] == [tag] and inputs(bores[0])["q"] == 90.0
    little = pump.model_copy(update={"flow_l_min": 5.0, "head_m": 3.0})
    other = bench_of(small(LP1=little))
    pumping.size_pump(other, little, duties, "water.pump", alone, "water")
    assert next(f.advised for f in other.notes.findings if f.key == "water.pump.motor") == 0.37


def test_a_pipe_is_judged_once_by_the_most_that_it_carries() -> None:
    """Would fail if a pipe were told twice, or by the lesser of two flows."""
    ctx = bench_of(small())
    one, other, *_ = ctx.plant.pipes
    for pipe, flow in ((one, 90.0), (other, 40.0), (one, 60.0), (one, 120.0)):
        pumping.water_bore(ctx, pipe, flow, "water.pump.pipe")
    pumping.water_bore(ctx, one, 10.0, "wash.pump.pipe")
    told = {(f.key, f.subject): f for f in ctx.notes.findings}
    assert len(told) == len(ctx.notes.findings) == 3
    first = told["water.pump.pipe", one.id]
    area = pi / 4 * (one.bore_mm / 1000) ** 2
    assert first.value == pytest.approx(0.120 / 60 / area, abs=0.001)
    usual = ctx.rules["pipe.velocity_water_m_s"]
    bore = 1000 * sqrt(0.120 / 60 / usual.value * 4 / pi)
    assert first.advised == next(b for b in sorted(WATER_BORES_MM) if b >= bore)
    assert first.limit == (usual.high or usual.value)
    assert inputs(told["wash.pump.pipe", one.id])["q"] == 10.0


def test_wash_pumps_give_each_unit_its_part(monkeypatch: pytest.MonkeyPatch) -> None:
    """Would fail if unlike units were each given all the wash."""
    units = {"MU1": machine("MU1", "milking_unit", count=30),
             "MU2": machine("MU2", "milking_unit", count=20)}  # fmt: skip
    ctx = bench_of(small(**units))
    seen: list[Any] = []

    def ports_to(_: object, __: str, machines: list[str]) -> list[Any]:
        return [SimpleNamespace(machine=t) for t in machines if t.startswith("MU")]

    monkeypatch.setattr(pumping, "ports_to", ports_to)
    monkeypatch.setattr(pumping, "serves", lambda *given: seen.append(given[-1]))
    pumping.wash_pumps(ctx, 100.0)
    assert [w.l_min for w in seen[0]] == [60.0, 40.0] and len(seen) == 1


def softener(tag: str, count: int = 1, **fields: Any) -> Any:
    """A softener of 10 mol."""
    return machine(tag, "softener", count=count, **{
        "flow_l_min": 50, "capacity_mol": 10, "salt_kg": 2, **fields})  # fmt: skip


@pytest.mark.parametrize(("hard", "past", "told"), [
    (3.0, ("WH1",), True), (3.0, (), False), (None, ("WH1",), False), (1.0, ("WH1",), True),
])  # fmt: skip
def test_softeners_alike_share_a_days_hardness(
    day: Duty,
    monkeypatch: pytest.MonkeyPatch,
    hard: float | None,
    past: tuple[str, ...],
    told: bool,
) -> None:
    """Would fail if three softeners alike were each held to the day, or one of another use shared
    it: 9000 L of 3 mmol/L are 27 mol."""
    monkeypatch.setattr(softening, "hardness_mmol_l", lambda *_: hard)
    monkeypatch.setattr(softening, "_reached", lambda *_: frozenset(past))
    litres = {"SF1": (9000.0, "hot water"), "SF2": (9000.0, "hot water"), "SF3": (500.0, "laundry")}
    monkeypatch.setattr(softening, "_softened_l", lambda _, __, one: litres[one.id])
    monkeypatch.setattr(softening, "_softener_flow", lambda *_: None)
    every = {"SF1": softener("SF1"), "SF2": softener("SF2", 2), "SF3": softener("SF3")}
    ctx = bench_of(small(**every), {"water.soft_enough_mmol_l": 1.5})
    softening.size_softening(ctx, day)
    found = [f for f in ctx.notes.findings if f.key == "water.softener"]
    for one, (passes, alike) in zip(found, ((9000, 3), (9000, 3), (500, 1)), strict=True):
        need = (hard or 0.0) * passes / 1000 / alike
        assert one.value == 10.0 and one.limit == pytest.approx(need)
        assert one.advised == next_preferred(max(0.5, 1.05 * need))
        assert (one.verdict == "unknown") == (hard is None)
        assert inputs(one)["V"] == passes
    salt = [f for f in ctx.notes.findings if f.key == "water.softener_salt"]
    kg = 10 * ctx.number("water.softener_salt_kg_mol")
    assert [(f.limit, f.advised) for f in salt] == [(kg, next_preferred(1.05 * kg))] * 3
    hardness = [f for f in ctx.notes.findings if f.key == "water.hardness"]
    assert [(f.value, f.limit) for f in hardness] == [(hard, 1.5)] * told
    assert all("SF1, SF2 and SF3 does not soften" in f.sentence for f in hardness)
    bare = bench_of(small())
    softening.size_softening(bare, day)
    assert len(bare.notes.findings) == (hard is not None)
    assert all("does not soften" not in f.sentence for f in bare.notes.findings)


@pytest.mark.parametrize(("behind", "need", "what"), [
    (("TR1", "PC1"), 60.0, "filling the wash trough"), (("PC1",), 45.0, "cooler and backflush"),
    (("WH1",), 60.0, "filling the wash trough"), ((), 0.0, "nothing behind it"),
])  # fmt: skip
def test_a_softener_passes_the_most_that_is_drawn_at_once(
    day: Duty, monkeypatch: pytest.MonkeyPatch, behind: tuple[str, ...], need: float, what: str
) -> None:
    """Would fail if the lesser of two draws were held to, or two softeners each took all."""
    monkeypatch.setattr(softening, "fill_flow_l_min", lambda *_: 120.0)
    monkeypatch.setattr(softening, "cooler_water_l_min", lambda *_: 90.0)
    monkeypatch.setattr(softening, "_reached", lambda *_: frozenset(behind))
    ctx = bench_of(small())
    softening._softener_flow(ctx, day, softener("SF1"), 2)
    (told,) = ctx.notes.findings
    assert (told.value, told.limit) == (50.0, need) and what in told.sentence
    assert told.advised == next_round(1.05 * max(1.0, need))


@pytest.mark.parametrize(("behind", "cold", "litres", "what"), [
    (("TR1", "WH1"), ("TR1",), 60.0 + 500 + 90, "first rinse, other wash steps and tank wash"),
    (("WH1", "CW1"), (), 2 * 900 + 90 / 3 + 200, "warm and hot water and laundry"),
    (("PC1", "BF1"), (), 5000.0, "plate cooler and backflush"),
    ((), (), 0.0, "nothing behind it"),
])  # fmt: skip
def test_water_that_a_softener_softens(
    day: Duty, monkeypatch: pytest.MonkeyPatch, behind: tuple[str, ...], cold: tuple[str, ...],
    litres: float, what: str,
) -> None:  # fmt: skip
    """Would fail if hot water alone were taken for all of a wash, rinses of tanks for hot, or more
    softened than comes fresh (5000 L)."""
    uses = {"first rinse": 60.0, "other wash steps": 500.0, "tank wash": 90.0, "laundry": 200.0,
            "plate cooler": 9000.0, "backflush": 300.0}  # fmt: skip
    days = SimpleNamespace(fresh_l=5000.0, uses=[
        SimpleNamespace(what=w, day_l=v) for w, v in uses.items()])  # fmt: skip
    monkeypatch.setattr(softening, "water_day", lambda *_: days)
    answers = iter((frozenset(behind), frozenset(cold)))
    monkeypatch.setattr(softening, "_reached", lambda *_: next(answers))
    ctx = bench_of(small(), {"wash.tank_rinses": 2.0})
    steps = [
        SimpleNamespace(litres=v, at_c=c) for v, c in ((500.0, 77.0), (400.0, 40.0), (300, None))
    ]
    ctx._programme = SimpleNamespace(  # type: ignore[assignment]
        wash=SimpleNamespace(steps=steps), washes_a_day=2)  # fmt: skip
    assert softening._softened_l(ctx, day, softener("SF1")) == (pytest.approx(litres), what)
