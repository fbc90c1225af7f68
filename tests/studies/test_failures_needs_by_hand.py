"""What milking asks of the plant while something is broken, worked by hand."""

from __future__ import annotations

from types import SimpleNamespace

import pytest

from byrewright.studies.failures import needs
from tests.plants import machine, rotary, rows
from tests.studies.benches import bench_of


@pytest.mark.parametrize(("counts", "rated_kn", "bears"), [
    ((4,), 99.0, False), ((5,), 12.0, True), ((5,), 11.9, False), ((3, 2), 12.0, True),
    ((2, 2), 12.0, False),
])  # fmt: skip
def test_a_roller_may_break_where_its_neighbours_bear_its_load(
    monkeypatch: pytest.MonkeyPatch, counts: tuple[int, ...], rated_kn: float, bears: bool
) -> None:
    """Eight kilonewtons each, half as much again beside a broken one: would fail if one of four
    might break, or rollers were loaded beyond their rating."""
    total = sum(counts)
    monkeypatch.setattr(needs, "design_roller_n", lambda _, __, n: 40_000 / n * total / 5)
    made = {f"RL{i}": machine(f"RL{i}", "deck_rollers", count=n, rated_kn=rated_kn)
            for i, n in enumerate(counts)}  # fmt: skip
    assert needs._bears(bench_of(rotary(20, 60, **made))) == (set(made) if bears else set())
    assert needs._bears(bench_of(rotary(20, 60))) == set()
    assert needs._bears(bench_of(rows(24, 60, **made))) == set()


@pytest.mark.parametrize(("run_w", "start_w", "kw"), [(3000, 4000, 3.0), (2000, 6000, 4.0)])
def test_drives_for_running_or_for_starting(
    monkeypatch: pytest.MonkeyPatch, run_w: float, start_w: float, kw: float
) -> None:
    """A motor starts with half as much again: would fail if the lesser of the two were asked, or a
    start took its whole power from the plate."""
    load = SimpleNamespace(running_high_n=run_w, start_n=start_w, speed_m_s=1.0)
    monkeypatch.setattr(needs, "deck_load", lambda *_: load)
    monkeypatch.setattr(needs, "drive_power_w", lambda n, v, _: n * v)
    ctx = bench_of(rotary(20, 60), {"deck.motor_start_multiple": 1.5})
    assert needs._drive_kw(ctx, None) == pytest.approx(kw)  # type: ignore[arg-type]
    for none in (rotary(20, 60, DU1=None), rows(24, 60)):
        assert needs._drive_kw(bench_of(none), None) == 0.0  # type: ignore[arg-type]


def test_air_milk_and_time_that_milking_asks(monkeypatch: pytest.MonkeyPatch) -> None:
    """Would fail if air of the units were asked twice, or minutes were taken for seconds."""
    air = SimpleNamespace(all_units=900.0)
    monkeypatch.setattr(needs, "air_use", lambda *_: air)
    plant = rotary(20, 60)
    rules = bench_of(plant, {"failures.notice_min": 2.0, "failures.act_min": 3.0}).rules
    for steady, fixed in ((1200.0, 300.0), (800.0, 0.0)):
        need = SimpleNamespace(steady_at_inlet_l_min=steady)
        monkeypatch.setattr(needs, "demand", lambda *_, n=need: n)
        found, duty = needs.needs_of(plant, rules)
        assert (found.air_units_l_min, found.air_fixed_l_min) == (900.0, fixed)
        assert found.shed_s == 300.0 and found.milk_l_min == duty.milk_flow_mean_l_min
