"""Bores of a milkline, and results beside usual ones, worked by hand on slopes that are made up."""

from __future__ import annotations

from dataclasses import replace
from math import pi, sqrt
from types import SimpleNamespace
from typing import Any

import pytest

from byrewright.plant.roles import CollectsMilk
from byrewright.standards.pipes import MILKLINE_BORES_MM
from byrewright.studies.sizing import expected, milkline
from byrewright.studies.sizing.context import StudyContext
from byrewright.studies.sizing.duty import Duty, duty_of
from byrewright.studies.sizing.in_line import Line
from byrewright.studies.sizing.vacuum_demand import air_use
from tests.plants import machine
from tests.studies.benches import bench_of, small
from tests.studies.told import inputs


@pytest.fixture(scope="module")
def day() -> Duty:
    """The duties of 50 stalls, cows at 5 L/min at their peak."""
    return replace(duty_of(bench_of(small())), peak_cow_l_min=5.0)


def line_of(**fields: Any) -> CollectsMilk:
    """A milkline of 98 mm that falls by one per cent."""
    one = machine("ML1", "milkline", **{"bore_mm": 98, "slope_pct": 1.0, "length_m": 60, **fields})
    assert isinstance(one, CollectsMilk)
    return one


def half_full_l_min(bore_mm: float, slope_pct: float, n: float) -> float:
    """Manning, of half a pipe."""
    d = bore_mm / 1000
    return pi * d**2 / 8 / n * (d / 4) ** (2 / 3) * sqrt(slope_pct / 100) * 60_000


def on_slopes(worst_l_min: float, units: float, slopes: int = 4) -> Any:
    """Milk of the worst slope, and its units."""
    return SimpleNamespace(worst_l_min=worst_l_min, units=units, slopes=slopes)


@pytest.mark.parametrize(("slug", "units", "more"), [
    (62.0, 12.0, False),  # 12 cows at 5 L/min fill it
    (62.0, 13.0, True),
    (900.0, 14.0, False),  # the old rule has 14 for 98 mm
    (900.0, 15.0, True),
    (900.0, 90.0, True),
])  # fmt: skip
def test_a_slope_carries_the_lower_of_two_flows(
    day: Duty, monkeypatch: pytest.MonkeyPatch, slug: float, units: float, more: bool
) -> None:
    """Would fail if the higher of slug limit and half-full flow were held, or more units passed
    without a doubt than either the old rule or the lower flow has."""
    monkeypatch.setattr(milkline, "_limit_l_min", lambda *_: slug)
    ctx = bench_of(small())
    half = half_full_l_min(98, 1.0, ctx.number("milkline.manning_n"))
    carries = min(slug, half)
    milkline._stratified(ctx, day, line_of(), on_slopes(50.0, units))
    (told,) = ctx.notes.findings
    assert told.value == pytest.approx(carries) and told.limit == 50.0
    assert told.allowance == pytest.approx(max(0.25, 2 * carries / 50) if more else 0.25)
    assert told.verdict == ("tight" if more or carries < 62.5 else "holds")
    assert ("tight at best" in told.sentence) == more
    assert f"carries {half:.0f} L/min; slugs start at about {slug:.0f}" in told.sentence
    if more:
        assert f"has 14 for this bore and {int(carries / 5)} cows" in told.sentence
    i = inputs(told)
    claws = air_use(ctx, day).claws / 4
    passing = ctx.number("milkline.transient_air_typical_l_min") / 2
    assert (i["n_slope"], i["q_a"]) == (units, pytest.approx(claws + passing))


@pytest.mark.parametrize(("looped", "share"), [(True, 0.5), (False, 1.0)])
def test_passing_air_divides_in_a_loop(day: Duty, looped: bool, share: float) -> None:
    """Would fail if a dead end were given half the air of an attachment, or a loop all."""
    ctx = bench_of(small())
    air = milkline.air_each_slope_l_min(ctx, day, 2, looped)
    passing = ctx.number("milkline.transient_air_typical_l_min")
    assert air == pytest.approx(air_use(ctx, day).claws / 2 + passing * share)


def wishing(redundancy: str, **changes: object) -> StudyContext:
    """A bench with a wish of doubled machines."""
    plant = small(**changes)
    wishes = plant.wishes.model_copy(update={"redundancy": redundancy})
    return bench_of(plant.model_copy(update={"wishes": wishes}))


def test_a_slope_takes_more_with_one_receiver_shut_off() -> None:
    """Would fail if two receivers were each taken as carrying all milk anyway."""
    three = machine("RC1", "receiver", volume_l=120, count=2)
    assert milkline._one_off(wishing("none")) == 1.0
    assert milkline._one_off(wishing("shared-running")) == 2.0
    assert milkline._one_off(wishing("shared-running", RC1=three)) == 1.5
    assert milkline._one_off(wishing("shared-running", RC1=None, RC2=None)) == 1.0


@pytest.mark.parametrize(("milk", "units", "per_mm"), [
    (20.0, 3.0, 9.0), (20.0, 12.0, 9.0), (60.0, 3.0, 9.0), (60.0, 3.0, 1.0), (9999.0, 3.0, 9.0),
])  # fmt: skip
def test_a_bore_is_advised_by_three_rules(
    day: Duty, monkeypatch: pytest.MonkeyPatch, milk: float, units: float, per_mm: float
) -> None:
    """Would fail if a bore were advised that runs over half full, whose slugs start with less than
    a quarter to spare, or that the old rule does not hold for."""
    monkeypatch.setattr(milkline, "_limit_l_min", lambda *a: per_mm * a[3])
    ctx = bench_of(small())
    n = ctx.number("milkline.manning_n")
    fits = [b for b in MILKLINE_BORES_MM
            if 0.75 * half_full_l_min(b, 1.0, n) >= milk and 0.75 * per_mm * b >= milk
            and int((b / 25.4) ** 2) >= units]  # fmt: skip
    advised = milkline._advised_bore_mm(ctx, day, on_slopes(milk, units), milk, 50.0, 1.0)
    assert advised == (fits[0] if fits else MILKLINE_BORES_MM[-1])


def test_units_of_a_slope_beside_the_old_rule(day: Duty, monkeypatch: pytest.MonkeyPatch) -> None:
    """Would fail if the plant's units were told as a slope's, or the stand-in's of another peak."""
    monkeypatch.setattr(milkline, "_limit_l_min", lambda *_: 62.0)
    ctx = bench_of(small())
    milkline._table_of_standard(ctx, replace(day, units=60), line_of(), 4)
    (told,) = ctx.notes.findings
    assert told.value == 15.0 and "has 15 units a slope" in told.sentence
    assert {"n_mech": 12, "n_1978": 14, "slopes": 4, "n": 60}.items() <= inputs(told).items()
    milkline._slope(ctx, line_of(slope_pct=0.7))
    milkline._slope(ctx, line_of(slope_pct=4.0))
    milkline._capacities(ctx, day, 4)
    rows = ctx.notes.tables[0].rows
    assert [r[1] for r in rows[:4]] == [0.5, 1.0, 1.5, 2.0] and {r[2] for r in rows} == {62}
    n = ctx.number("milkline.manning_n")
    assert all(r[3] == round(half_full_l_min(r[0], r[1], n)) for r in rows)  # type: ignore[arg-type]
    taught = ctx.number("milkline.slope_taught_pct")
    assert [f.advised for f in ctx.notes.findings[1:]] == [max(0.7, taught), max(4.0, taught)]


@pytest.mark.parametrize("redundancy", ["none", "shared-running"])
def test_results_beside_usual_ones(
    day: Duty, monkeypatch: pytest.MonkeyPatch, redundancy: str
) -> None:
    """Would fail if a result were held to what is usual of something else: minutes for seconds, a
    share for per cent, one pump for all."""
    pumps = {
        tag: machine(tag, "vacuum_pump", capacity_l_min_free=air, motor_kw=5, count=count)
        for tag, air, count in (("VP1", 2000, 2), ("VP2", 1000, 1))
    }
    point: Any = SimpleNamespace(
        water_l_min=300.0, milk_l_min=150.0, pre_cooled_c=16.0, chilled_kw=30.0, out_c=4.0
    )
    monkeypatch.setattr(expected, "in_line", lambda *_: point)
    ctx = wishing(redundancy, **pumps)
    ctx.find("other", "", 7.0, "", "")
    ctx.find("vacuum.pump.capacity", "", 2500.0, "L/min free", "")
    made = replace(day, turn_s=480.0, stop_share=0.05, units=50, water_warmest_c=12.0)
    found = dict(expected._results(ctx, made))
    assert found["rotation_min"] == 8.0 and found["stopped_pct"] == pytest.approx(5.0)
    assert found["vacuum_pump_l_min"] == 2500.0
    assert found["pump_per_unit_l_min"] == (100.0 if redundancy == "none" else 50.0)
    assert (found["cooler_approach_k"], found["water_ratio"]) == (4.0, 2.0)
    assert found["chilling_kw"] == pytest.approx(2.5 * 1.03 * 3.93 * 14)
    assert found["receiver_each_l"] == 120.0
    monkeypatch.setattr(expected, "in_line", lambda *_: Line({}, 9.0, 20.0, 20.0, None, 0.0))
    warm = dict(expected._results(ctx, made))
    assert not {"cooler_approach_k", "water_ratio", "chilling_kw"} & warm.keys()
    expected.note_expected(ctx, made)
    assert [t.key for t in ctx.notes.tables] == ["expected"]
    rows = {r[0]: r for r in ctx.notes.tables[0].rows}
    outside = [r for r in rows.values() if not float(r[3]) <= float(r[2]) <= float(r[4])]
    assert all((r[5] == expected.OUTSIDE) == (r in outside) for r in rows.values())
    assert len(ctx.notes.notes) == len(outside)
    still = bench_of(small())
    expected.note_expected(still, replace(made, layout="rows"))
    assert not still.notes.tables
