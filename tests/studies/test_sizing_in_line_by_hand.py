"""Milk through coolers in a row, side by side and past them, mixed by hand."""

from __future__ import annotations

import importlib
from types import SimpleNamespace

import pytest

from byrewright.studies.sizing.delivery import cooler_flow_l_min
from byrewright.studies.sizing.duty import Duty, duty_of
from tests.plants import machine
from tests.studies.benches import bench_of, small

made = importlib.import_module("byrewright.studies.sizing.in_line")
PC1 = machine("PC1", "plate_cooler", count=2, area_m2=6)
PC2 = machine("PC2", "plate_cooler", area_m2=6)


@pytest.fixture(scope="module")
def day() -> Duty:
    """The duties of 50 stalls and 620 cows."""
    return duty_of(bench_of(small()))


def point(_: object, __: object, one: object, flow: float, warm: float, ___: object) -> object:
    """A cooler that takes 10 K from its milk, half of it by water; PC2 has 10 kW of cold."""
    chills = one.id == "PC2"  # type: ignore[attr-defined]
    return made.InLine(
        flow, 2 * flow, one.count, warm, warm - 5.0, warm - 10.0,  # type: ignore[attr-defined]
        20.0 if chills else 14.0, 1.0 if chills else 3.0, None,
        SimpleNamespace(duty_kw=10.0) if chills else None,
    )  # fmt: skip


@pytest.mark.parametrize(("way", "flows", "into", "out_c", "before_c", "past"), [
    ({"PC1": (0, 0.5), "PC2": (0, 0.25)}, (0.25, 0.25), (35, 35), 27.5, 30.0, 0.25),
    ({"PC1": (0, 1.0), "PC2": (1, 1.0)}, (0.5, 1.0), (35, 25), 15.0, 20.0, 0.0),
    ({"PC1": (0, 0.2), "PC2": (1, 0.993)}, (0.1, 0.993), (35, 33), 23.07, 28.0, 0.8),
    ({"PC1": (0, 1.0), "PC2": (1, 0.993)}, (0.5, 0.993), (35, 25), 15.07, 20.0, 0.007),
    ({"PC1": (0, 1.0), "PC2": (1, 0.996)}, (0.5, 0.996), (35, 25), 15.04, 20.0, 0.0),
    ({"PC1": (0, 1.0)}, (0.5, 1.0), (35, 35), 25.0, 25.0, 0.0),
    ({"PC2": (0, 1.0)}, (0.5, 1.0), (35, 35), 25.0, 30.0, 0.0),
    ({}, (1 / 3, 1 / 3), (35, 35), 25.0, 30.0, 0.0),
])  # fmt: skip
def test_milk_is_mixed_by_what_passes_each_cooler(
    day: Duty, monkeypatch: pytest.MonkeyPatch, way: dict[str, tuple[int, float]],
    flows: tuple[float, float], into: tuple[float, float], out_c: float, before_c: float,
    past: float,
) -> None:  # fmt: skip
    """Would fail if milk that goes past a cooler were told as cooled, two in a row as side by side,
    or two alike as one."""
    monkeypatch.setattr(made, "milk_way", lambda *_: dict(way))
    monkeypatch.setattr(made, "_point", point)
    ctx = bench_of(small(PC1=PC1, PC2=PC2))
    line = made.in_line(ctx, day)
    q = cooler_flow_l_min(ctx, day)
    assert [line.each[t].milk_l_min for t in ("PC1", "PC2")] == pytest.approx(
        [q * f for f in flows]
    )
    assert [line.each[t].in_c for t in ("PC1", "PC2")] == pytest.approx(into)
    assert line.out_c == pytest.approx(out_c) and line.pre_cooled_c == pytest.approx(before_c)
    assert line.past_share == pytest.approx(past) and line.coolant_in_c == 1.0
    assert line.chilled_kw == 10.0
    water = 2 * q * (2 * flows[0] + flows[1])
    assert line.water_l_min == pytest.approx(water)
    mixed = 2 * q * (2 * flows[0] * 14.0 + flows[1] * 20.0) / water
    assert line.water_out_c == pytest.approx(mixed)
    pair = made.InLine(1, 1, 3, 1, 1, 1, None, None, None, SimpleNamespace(duty_kw=10.0))
    assert pair.chilled_kw == 30.0


def test_the_coldest_of_two_liquids_cools() -> None:
    """Would fail if a stage were reckoned with the warmer of two liquids, or with water for a
    glycol that carries less."""
    two = {"CH1": machine("CH1", "chiller", duty_kw=30, leaving_c=3, glycol_pct=0),
           "CH2": machine("CH2", "chiller", duty_kw=30, leaving_c=-1, glycol_pct=30)}  # fmt: skip
    both, warm = bench_of(small(**two)), bench_of(small(CH1=two["CH1"]))
    assert made.coolant_in_c(both, "PC1") == -1.0 and made.coolant_in_c(warm, "PC1") == 3.0
    assert made.coolant_kw_k(both, 60.0, "PC1") < 0.97 * made.coolant_kw_k(warm, 60.0, "PC1")
