"""Delivery pipes, heads, filters, balance tank and calf milk."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from byrewright.engine import shape as sh
from byrewright.engine.session import Evened, milk_alone
from byrewright.plant.plant import Pipe, Plant
from byrewright.plant.roles import MovesMilk, StandsCows
from byrewright.studies.sizing.delivery import (
    _asked_of,
    _head,
    cooler_flow_l_min,
    size_delivery,
)
from byrewright.studies.sizing.duty import cows_of, duty_of
from tests.plants import machine, pipe, rows
from tests.studies.benches import bench_of, duty, large, sized, small


def test_velocity_is_flow_over_area() -> None:
    """Litres, minutes and millimetres would be mixed up (hand calculation)."""
    plant = small()
    found = sized(plant, size_delivery).finding("delivery.pipe.velocity@L19")
    flow = duty(plant).milk_flow_peak_l_min
    area_m2 = math.pi / 4 * 0.0635**2
    assert found.value == pytest.approx(flow / 60_000 / area_m2)


def test_head_is_rise_friction_and_machines() -> None:
    """A pump would be passed that cannot lift (rise alone beats its head)."""
    plant = small()
    raised = plant.model_copy(
        update={"pipes": tuple(
            p.model_copy(update={"rise_m": 14.0}) if p.start == "GL1.fixed_milk" else p
            for p in plant.pipes)}
    )  # fmt: skip
    assert sized(plant, size_delivery).finding("delivery.head@MP1").verdict == "holds"
    found = sized(raised, size_delivery).finding("delivery.head@MP1")
    assert found.limit is not None and found.limit > 14.0
    assert found.advised is not None and found.advised >= found.limit


def test_a_receivers_pump_lifts_the_vacuum_too() -> None:
    """A pump sized without 42 kPa (over 4 m) of vacuum would never empty its receiver."""
    found = sized(small(), size_delivery).finding("delivery.head@MP1")
    plain = {i.symbol: i.value for i in found.inputs}
    drawn = float(plain["p_vacuum"])
    assert drawn == pytest.approx(42.0, abs=5.0)
    rest = float(plain["z"]) + (
        float(plain["sum f l/d rho v^2/2"]) + float(plain["dp_machines"]) + drawn
    ) / (float(plain["rho"]) / 1000 * 9.80665)
    assert found.limit == pytest.approx(rest, rel=0.01)
    behind = sized(small(), size_delivery).finding("delivery.head@MP3")
    assert {i.symbol: i.value for i in behind.inputs}["p_vacuum"] == 0.0


def test_filter_and_cooler_cost_the_pump_behind_the_balance_tank() -> None:
    """80 kPa in the cooler and 20 in the filter would not be asked of the pump."""
    plain = small(PC1=machine("PC1", "plate_cooler", area_m2=40, water_ratio=2.0))
    flow = cooler_flow_l_min(bench_of(plain), duty_of(bench_of(plain)))

    def asks(**fields: float) -> float:
        cooler = machine("PC1", "plate_cooler", area_m2=40, water_ratio=2.0,
                         milk_design_l_min=flow, **fields)  # fmt: skip
        found = sized(small(PC1=cooler, MP4=None), size_delivery).finding("delivery.head@MP3")
        assert found.limit is not None
        return found.limit

    metre = 1.03 * 9.80665
    # With more to overcome the pump evens the flow out more: a little less than the whole 50 kPa.
    more = asks(milk_drop_kpa=80.0) - asks(milk_drop_kpa=30.0)
    assert 0.95 * 50 / metre < more < 1.01 * 50 / metre
    assert asks(milk_drop_kpa=80.0) > 0.95 * 80 / metre


def test_socks_follow_cows_not_litres() -> None:
    """Changes would be hard-coded (stories: cows a filter follow from yield and dirt)."""
    result = sized(large(), size_delivery)
    found = result.finding("delivery.filter.change")
    assert found.verdict == "holds" and "4 a milking" in found.sentence
    single = sized(
        large(MF2=None, MF1=machine("MF1", "milk_filter", area_m2=0.3)), size_delivery
    ).finding("delivery.filter.change")
    assert single.verdict == "fails" and "second" in single.sentence


def test_without_a_balance_tank_the_cooler_sees_the_peak() -> None:
    """A cooler would be sized for a flow that nothing evens out."""
    plant: Plant = rows(40, 300)
    bare = plant.model_copy(
        update={"equipment": {k: v for k, v in plant.equipment.items() if k != "BT1"}}
    )
    for one, attribute in ((plant, "milk_flow_met_l_min"), (bare, "milk_flow_peak_l_min")):
        ctx = bench_of(one)
        duties = duty_of(ctx)
        assert cooler_flow_l_min(ctx, duties) == getattr(duties, attribute)


def test_calf_milk_must_fit_its_vessel_and_the_milking() -> None:
    """Calf milk would overflow, or be drawn from milk that is not there."""
    feed = machine("CF1", "calf_feed", volume_l=200, draw_l_milking=9999)
    result = sized(small(CF1=feed), size_delivery)
    assert result.finding("delivery.calf.vessel").verdict == "fails"
    assert result.finding("delivery.calf.draw").verdict == "fails"


def test_no_filter_is_named() -> None:
    """Milk would reach the tank unfiltered and nothing would say so."""
    assert sized(small(MF1=None, MF2=None), size_delivery).finding("delivery.filter").value == 0


def test_milk_is_lifted_by_the_height_that_the_site_states() -> None:
    """Where pipes state no rise a pump would be asked for no lift, though the tank stands above."""
    heads = []
    for lift_m in (0.0, 2.0):
        site = small().site.model_copy(update={"lift_m": lift_m})
        plant = small().model_copy(update={"site": site})
        heads.append(sized(plant, size_delivery).finding("delivery.head@MP1").limit or 0.0)
    assert heads[1] - heads[0] == pytest.approx(2.0)


def test_a_filter_is_as_large_as_the_flow_through_it_over_its_speed() -> None:
    """Milk would be pressed through a sock too small for it, or a filter be bought for a river."""
    ctx = bench_of(small())
    flow_m3_s = cooler_flow_l_min(ctx, duty_of(ctx)) / 1000 / 60
    most_m_s = ctx.rules["filter.face_velocity_m_s"].high
    assert most_m_s is not None
    area = sized(small(), size_delivery).finding("delivery.filter.area@MF1").limit
    assert area == pytest.approx(flow_m3_s / most_m_s)


def test_the_cooler_sees_the_bursts_that_no_tank_evens_out() -> None:
    """Coolers of rows would be sized for the mean flow, and milk reach the tank too warm."""
    ctx = bench_of(rows(24, 300))
    platform, milking = ctx.plant.first(StandsCows), ctx.programme.milkings[0]
    assert platform is not None
    herd = cows_of(ctx)

    def met(**evened: float) -> float:
        return milk_alone(herd, platform, milking, Evened(**evened)).met_kg_min

    alone = milk_alone(herd, platform, milking)
    mean = alone.cows[:, sh.O_KG].sum() / (60 * alone.hours)
    assert 1.05 * mean < met() < alone.minute_kg
    assert met(lag_s=600.0) < met(lag_s=60.0) < met()
    assert met(burst_kg=40.0, burst_kg_min=200.0) > met()
    assert met(lag_s=600.0, least_kg_min=3 * mean) == pytest.approx(3 * mean, rel=0.01)


def test_pipes_carry_what_the_solved_network_sends_through_them() -> None:
    """Would fail if a shut way round two coolers in a row, being shorter, were judged for the line
    that carries the milk; or the legs of two side by side as if each carried all of it."""
    base = small()
    e = dict(base.equipment) | {"PC2": base.equipment["PC1"].model_copy(update={"id": "PC2"}),
                                "VB1": machine("VB1", "valve", normally="closed")}  # fmt: skip
    into = next(p for p in base.pipes if p.end == "PC1.milk_in")
    out = next(p for p in base.pipes if p.start == "PC1.milk_out")
    e |= {t: machine(t, "header") for t in ("HB1", "HB2")}
    kept = [p for p in base.pipes if p != into and p.start != out.start]
    kept += [pipe("LA", into.start, "HB1.way_1"), pipe("LZ", "HB2.way_1", out.end),
             pipe("LB1", "HB1.way_2", "VB1.a"), pipe("LB2", "VB1.b", "HB2.way_2"),
             pipe("K1", "HB1.way_3", "PC1.milk_in")]  # fmt: skip

    def carried(*legs: Pipe) -> dict[str, float]:
        plant = base.model_copy(update={"equipment": e, "pipes": (*kept, *legs)})
        found = sized(plant, size_delivery).findings
        return {f.subject: float(f.value or 0) for f in found if f.key == "delivery.pipe.velocity"}

    row = carried(
        pipe("K2", "PC1.milk_out", "PC2.milk_in"), pipe("K4", "PC2.milk_out", "HB2.way_3")
    )
    assert {"LA", "K1", "K2", "K4", "LZ"} <= row.keys() and not {"LB1", "LB2"} & row.keys()
    assert row["K2"] == pytest.approx(row["LA"], rel=1e-6)
    beside = carried(pipe("K2", "PC1.milk_out", "HB2.way_3"),
                     pipe("K3", "HB1.way_4", "PC2.milk_in"),
                     pipe("K4", "PC2.milk_out", "HB2.way_4"))  # fmt: skip
    for leg in ("K1", "K2", "K3", "K4"):
        assert beside[leg] == pytest.approx(beside["LA"] / 2, rel=0.01)


def test_a_pump_that_starts_and_stops_needs_head_for_the_milk_that_comes() -> None:
    """Would fail if a pump were held to lift what it runs out to on its own curve: none would."""
    base = small()
    plant = small(MP3=base.equipment["MP3"].model_copy(update={"control": "on_off"}),
                  MP4=base.equipment["MP4"].model_copy(update={"control": "on_off"}))  # fmt: skip
    asks = {
        i.symbol: i.value for i in sized(plant, size_delivery).finding("delivery.head@MP3").inputs
    }
    assert float(asks["q"]) <= duty(plant).milk_flow_peak_l_min < cooler_flow_l_min(
        bench_of(plant), duty(plant))  # fmt: skip


def test_a_pump_needs_the_head_of_its_hardest_mode() -> None:
    """Would fail if the easiest mode stood for all: the pump would not lift the wash."""
    plant = small()
    pump = plant.machines(MovesMilk)[0]
    (one, *_) = _asked_of(bench_of(plant), pump, 120.0, 200.0)
    both = [replace(one, head_m=9.0, goal="easy"), replace(one, head_m=14.5, goal="hard")]
    for every in (both, both[::-1]):
        ctx = bench_of(plant)
        _head(ctx, pump, every)
        (found,) = ctx.notes.findings
        assert found.limit == 14.5 and "to hard in" in found.sentence
