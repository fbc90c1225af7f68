"""Compressed air: events, magnitudes, each compressor alone, dew point."""

from __future__ import annotations

import pytest

from byrewright.plant.plant import Plant
from byrewright.standards.practice import MAGNITUDES
from byrewright.studies.sizing.compressed_air import air_demand, size_compressed_air
from tests.plants import machine
from tests.studies.benches import bench_of, duty, large, sized, small

LEAKS_OF_400 = 40.0  # a tenth of the 400 L/min compressor


@pytest.mark.parametrize(("plant", "stalls"), [(small(), 50), (large(), 84)])
def test_mean_with_leaks_is_usual(plant: Plant, stalls: int) -> None:
    """Air in milking with a tenth lost to leaks leaves the range of practice."""
    mean = air_demand(bench_of(plant), duty(plant)).mean_l_min + LEAKS_OF_400
    assert MAGNITUDES["air_l_min"].usual(mean, stalls), mean


def test_vacuum_removers_use_none_and_are_named() -> None:
    """Removers on vacuum are counted as users of compressed air."""
    plant = small()
    users = {u.what for u in air_demand(bench_of(plant), duty(plant)).users}
    assert "cluster removers" not in users
    assert "work on vacuum" in sized(plant, size_compressed_air).finding("air.mean").sentence


def test_air_removers_add_a_stroke_a_pass() -> None:
    """A 63 x 600 mm cylinder at 6 bar takes 1.87 L x 7 of free air a cow; it goes uncounted."""
    remover = machine("AR1", "automatic_removal", count=50, moved_by="air")
    plant = small(AR1=remover)
    users = {u.what: u for u in air_demand(bench_of(plant), duty(plant)).users}
    one = users["cluster removers"]
    absolute = duty(plant).pressure_kpa_abs / 100
    assert one.each_l == pytest.approx(1.8703 * (6 + absolute) / absolute, rel=1e-3)
    assert one.per_min == pytest.approx(50 / 480 * 60 * 0.96)
    of = duty(plant)
    assert one.per_day == pytest.approx(of.cows_milked_day * of.passes)
    gates = users["entry and exit gates"]
    cycles = bench_of(plant).number("air.gate_cycles_per_cow")
    assert gates.per_min == pytest.approx(of.net_cows_h / 60 * cycles)
    assert gates.per_day == pytest.approx(of.cows_milked_day * cycles)


def test_no_dryer_fails_and_a_fitting_one_holds() -> None:
    """A plant with compressed air and no dryer passes."""
    assert sized(small(), size_compressed_air).finding("air.dryer").verdict == "fails"
    dryer = machine("AD1", "air_dryer", capacity_l_min_free=600, dew_point_c=-20)
    result = sized(small(AD1=dryer), size_compressed_air)
    assert result.finding("air.dryer").verdict == "holds"
    assert result.finding("air.dew_point").verdict == "holds"
    larger = machine("AC2", "air_compressor", capacity_l_min_free=480, motor_kw=5.5)
    twice = sized(small(AD1=dryer, AC2=larger), size_compressed_air).finding("air.dryer").limit
    assert twice == pytest.approx(1.2 * (result.finding("air.dryer").limit or 0.0), rel=0.01)


def test_a_receiver_is_as_large_as_starts_and_a_busy_minute_ask() -> None:
    """A receiver would be ordered for another pressure of the air outside than there is."""
    ctx, found = bench_of(small()), sized(small(), size_compressed_air).finding("air.receiver")
    first = small().equipment["AV1"]
    outside_bar = duty(small()).pressure_kpa_abs / 100
    band = first.highest_bar - first.lowest_bar  # type: ignore[attr-defined]
    starts = ctx.number("air.starts_per_h")
    cycling_l = 0.25 * 400.0 * 60 * outside_bar / (starts * band)  # the AC1 of 400 L/min
    spare_bar = first.lowest_bar - first.serves_bar  # type: ignore[attr-defined]
    minute_l = air_demand(ctx, duty(small())).peak_l_min * outside_bar / spare_bar
    assert found.limit == pytest.approx(max(cycling_l, minute_l), rel=0.001)


def test_small_compressor_is_advised_up() -> None:
    """A compressor too small to milk alone passes because its partner is counted."""
    half = machine("AC1", "air_compressor", capacity_l_min_free=90, motor_kw=1.1)
    result = sized(small(AC1=half), size_compressed_air)
    one = result.finding("air.compressor@AC1")
    assert one.verdict == "fails" and (one.advised or 0) > (one.limit or 0)


def test_nothing_moved_by_air_says_nothing() -> None:
    """A plant without compressed air gets findings about it."""
    valves = {t: machine(t, "valve", duty="fill") for t in ("V31", "V32", "V33")}
    plant = small(AC1=None, AC2=None, AV1=None, **valves,
                  BF1=machine("BF1", "backflush", air_nl_cow=0))  # fmt: skip
    assert not sized(plant, size_compressed_air).findings
