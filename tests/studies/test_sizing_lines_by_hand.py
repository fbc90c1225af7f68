"""Lines of milk, wash and compressed air by their flows, worked by hand."""

from __future__ import annotations

from dataclasses import replace
from math import pi, sqrt
from typing import Any

import pytest

from byrewright.standards.compressed_air import AIR_BORES_MM
from byrewright.standards.pipes import ASME_BPE, ISO_2037
from byrewright.studies.sizing import lines
from byrewright.studies.sizing.duty import Duty, duty_of
from tests.plants import machine, pipe
from tests.studies.benches import bench_of, small
from tests.studies.told import inputs


@pytest.fixture(scope="module")
def day() -> Duty:
    """The duties of 50 stalls: 200 L/min at the peak, air of one bar."""
    return replace(duty_of(bench_of(small())), milk_flow_peak_l_min=200.0, pressure_kpa_abs=100.0)


def metres_a_second(l_min: float, bore_mm: float) -> float:
    """Velocity in a full pipe."""
    return l_min / 60_000 / (pi / 4 * (bore_mm / 1000) ** 2)


@pytest.mark.parametrize(("wash", "flow", "what"), [
    (150.0, 200.0, "peak minute of milk"), (300.0, 300.0, "wash water of all units"),
])  # fmt: skip
def test_suction_of_milk_pumps(
    day: Duty, monkeypatch: pytest.MonkeyPatch, wash: float, flow: float, what: str
) -> None:
    """Would fail if the suction at a receiver were judged by the lesser of milk and wash, or that
    behind a balance tank by the wash."""
    monkeypatch.setattr(lines, "wash_flow_l_min", lambda *_: wash)
    ctx = bench_of(small())
    lines._suction(ctx, day)
    told = {f.subject: f for f in ctx.notes.findings}
    by_end = {p.end: p.id for p in ctx.plant.pipes}
    for end, q, words in (("MP1.inlet", flow, what), ("MP3.inlet", 200.0, "peak minute of milk")):
        one = told[by_end[end]]
        assert one.value == pytest.approx(metres_a_second(q, 63.5)) and words in one.sentence
        usual = ctx.rules["delivery.velocity_suction_m_s"]
        assert one.limit == usual.high
        slow = [t.bore_mm for t in ISO_2037 if metres_a_second(q, t.bore_mm) <= usual.value]
        assert one.advised == slow[0]


def test_a_farm_in_the_us_is_advised_tubes_by_inches(day: Duty) -> None:
    """Would fail if a suction were advised in a tube that nobody sells there."""
    site = small().site.model_copy(update={"region": "US"})
    ctx = bench_of(small().model_copy(update={"site": site}))
    lines._suction(ctx, day)
    advised = {f.advised for f in ctx.notes.findings}
    assert advised and advised <= {t.bore_mm for t in ASME_BPE} - {t.bore_mm for t in ISO_2037}


@pytest.mark.parametrize(("wash", "flow"), [(100.0, 100.0), (900.0, 250.0)])
def test_the_wash_returns_as_the_pumps_give_it(
    day: Duty, monkeypatch: pytest.MonkeyPatch, wash: float, flow: float
) -> None:
    """Would fail if a return were judged by wash that no pump brings, or by the weaker of two."""
    monkeypatch.setattr(lines, "wash_flow_l_min", lambda *_: wash)
    pair = {t: machine(t, "milk_pump", flow_l_min=q, head_m=15, motor_kw=2, led_by="BT1")
            for t, q in (("MP3", 250), ("MP4", 90))}  # fmt: skip
    ctx = bench_of(small(**pair))
    lines._wash_return(ctx, day)
    one = next(f for f in ctx.notes.findings if f.key == "wash.return_line")
    assert inputs(one)["q"] == flow


@pytest.mark.parametrize(("flow", "bore"), [(200.0, None), (99_999.0, ISO_2037[-1].bore_mm)])
def test_a_tube_is_told_once_and_the_widest_where_none_is_enough(
    flow: float, bore: float | None
) -> None:
    """Would fail if a pipe were told twice, or nothing advised for a flow beyond all tubes."""
    ctx = bench_of(small())
    one, other, *_ = ctx.plant.pipes
    for pipes in ([one], [one, other]):
        lines._tubes(ctx, pipes, "x", "X", "delivery.velocity_suction_m_s", flow, "what")
    lines._tubes(ctx, [one], "y", "Y", "delivery.velocity_suction_m_s", flow, "what")
    assert [(f.key, f.subject) for f in ctx.notes.findings] == [
        ("x", one.id), ("x", other.id), ("y", one.id)]  # fmt: skip
    assert bore is None or all(f.advised == bore for f in ctx.notes.findings)


@pytest.mark.parametrize(("flow", "least"), [(2000.0, False), (1.0, True)])
def test_compressed_air_is_packed_in_its_pipes(day: Duty, flow: float, least: bool) -> None:
    """Would fail if free air were taken as pressed, or a pipe advised under the least bore: a
    seventh of its volume at six bar."""
    line = pipe("LA1", "AC1.outlet", "AV1.inlet_1", 20.0)
    plant = small()
    kept = tuple(p for p in plant.pipes if p.start != "AC1.outlet")
    ctx = bench_of(plant.model_copy(update={"pipes": (*kept, line)}))
    lines.size_air_pipes(ctx, day, flow, 6.0)
    told = {f.subject: f for f in ctx.notes.findings}
    assert "LA1" in told and all(ctx.plant.service_of(p) == "air" for p in ctx.plant.pipes
                                 if p.id in told)  # fmt: skip
    one = told["LA1"]
    usual = ctx.rules["pipe.velocity_air_line_m_s"]
    assert one.value == pytest.approx(metres_a_second(flow / 7, 20.0), abs=0.001)
    wanted = 1000 * sqrt(flow / 7 / 60_000 / usual.value * 4 / pi)
    assert (wanted < lines.LEAST_AIR_BORE_MM) == least
    bore = max(wanted, lines.LEAST_AIR_BORE_MM)
    assert one.advised == next(b for b in sorted(AIR_BORES_MM) if b >= bore)


def test_air_runs_from_an_injector_through_its_valve() -> None:
    """Would fail if the pipe behind a valve were left out, or one told twice or as narrow as the
    opening."""
    plant = small(V9=machine("V9", "valve", ways=3))
    kept = tuple(p for p in plant.pipes if p.start != "AI1.outlet")
    new = (pipe("LA", "AI1.outlet", "V9.a", 20.0), pipe("LB", "V9.b", "ML1.air", 60.0))
    ctx = bench_of(plant.model_copy(update={"pipes": (*kept, *new)}))
    assert [p.id for p, _ in lines.injector_pipes(ctx)] == ["LA", "LB"]
    lines._injector_air(ctx)
    injector: Any = ctx.plant.equipment["AI1"]
    for one, bore in zip(ctx.notes.findings, (20.0, 60.0), strict=True):
        assert (one.value, one.limit) == (bore, injector.bore_mm)
        wide = 1.2 * injector.bore_mm
        assert one.advised == next(b for b in sorted(AIR_BORES_MM) if b >= wide)
