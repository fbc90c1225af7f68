"""The turning deck and the laundry, worked by hand on made-up loads."""

from __future__ import annotations

from dataclasses import replace
from math import ceil, pi
from types import SimpleNamespace
from typing import Any

import pytest

from byrewright.plant.plant import Plant
from byrewright.plant.roles import CarriesDeck, StandsCows
from byrewright.standards.cleaning import HEATER_KW
from byrewright.standards.deck import ROLLER_KN
from byrewright.standards.laundry import WASHER_LOADS_KG
from byrewright.studies.sizing import cloths, deck
from byrewright.studies.sizing.context import StudyContext
from byrewright.studies.sizing.duty import Duty, duty_of
from byrewright.studies.sizing.sizes import next_motor_kw
from tests.plants import machine
from tests.studies.benches import bench_of, small
from tests.studies.told import inputs

G = 9.80665
LOAD: Any = SimpleNamespace(
    full_kg=48_000.0, deck_kg=18_000.0, cows_kg=30_000.0, radius_m=8.0, speed_m_s=0.1,
    running_n=5000.0, running_high_n=8000.0, start_n=12_000.0, resistance_high=0.017,
    running_kw=0.7, running_high_kw=1.1,
)  # fmt: skip
"""A deck of 18 t with 30 t of cows."""


def wishing(redundancy: str, rules: dict[str, float] | None = None, **changes: object
            ) -> StudyContext:  # fmt: skip
    """A bench with a wish of doubled machines; two cloths a cow."""
    plant: Plant = small(**changes)
    update = {"wishes": plant.wishes.model_copy(update={"redundancy": redundancy}),
              "work": plant.work.model_copy(update={"cloths_a_cow": 2.0})}  # fmt: skip
    return bench_of(plant.model_copy(update=update), rules)


def platform_of(ctx: StudyContext) -> StandsCows:
    """The deck, of 360 kg a stall."""
    found = ctx.plant.first(StandsCows)
    assert found is not None
    return found.model_copy(update={"stall_mass_kg": 360.0})


def test_mass_and_its_place_on_half_a_deck() -> None:
    """Would fail if a half-loaded deck were told as balanced, or its cows as all of them."""
    ctx = wishing("none")
    deck._mass(ctx, platform_of(ctx), LOAD)
    full, half = ctx.notes.findings
    assert full.value == 48.0 and "48 t: 18 t of deck and 30 t of cows" in full.sentence
    assert half.value == pytest.approx(15 * 16 / pi / 33, abs=0.005) and "(33 t)" in half.sentence


@pytest.mark.parametrize(("margin", "own_kg", "uneven"), [
    (3.0, 500.0, False), (1.0, 500.0, True), (3.0, 900.0, False),
])  # fmt: skip
def test_unlike_rollers_by_the_worst_of_two_loads(
    margin: float, own_kg: float, uneven: bool
) -> None:
    """Would fail if the stronger of two rollers were judged, or the lesser of a load on rails that
    are not level and one of cows on half the deck (a half ring's centre lies at 2 R / pi)."""
    pair = {
        tag: machine(tag, "deck_rollers", count=count, rated_kn=kn, diameter_mm=250)
        for tag, count, kn in (("DR1", 30, 20), ("DR2", 10, 12))
    }
    ctx = wishing("none", {"deck.roller_share_margin": margin}, **pair)
    herd = ctx.plant.herd.model_copy(update={"cow_mass_kg": own_kg})
    ctx.plant = ctx.plant.model_copy(update={"herd": herd})
    deck._rollers(ctx, platform_of(ctx), LOAD)
    load, count, lift = ctx.notes.findings
    cow = max(own_kg, ctx.number("deck.design_cow_kg"))
    cows = 50 * cow * ctx.number("deck.dynamic_factor")
    level = margin * (18_000 + cows) * G / 40 / 1000
    off = cows / 2 * (2 / pi) / (18_000 + cows / 2)
    mean = (18_000 + cows / 2) * G / 40 / 1000
    worst = max(level, mean * (1 + 2 * off))
    assert (worst > level) == uneven
    assert load.value == 12.0 and load.limit == pytest.approx(worst, abs=0.01)
    assert load.advised == next((s for s in ROLLER_KN if s >= 1.05 * worst), ROLLER_KN[-1])
    assert inputs(load)["m_c"] == cow and "40 rollers (0.8 a stall)" in load.sentence
    usual = int(50 * ctx.number("deck.rollers_per_stall"))
    assert (count.value, count.limit, count.advised) == (40, usual, None)
    assert lift.value == pytest.approx(mean * (1 - 2 * off), abs=0.01)
    assert ("still carries" in lift.sentence) == (lift.value >= 0)  # type: ignore[operator]
    assert lift.value < 0 or f"still carries {lift.value:.1f} kN" in (  # type: ignore[operator]
        lift.sentence)  # fmt: skip
    assert deck.design_roller_n(ctx, platform_of(ctx), 40) == pytest.approx(level * 1000 / margin)
    alone = wishing("none", DR1=pair["DR1"])
    deck._rollers(alone, platform_of(alone), LOAD)
    assert (alone.notes.findings[1].advised, alone.notes.findings[1].target) == (
        usual, ("DR1", "count"))  # fmt: skip
    assert count.target is None


def test_rolling_resistance_by_both_conventions() -> None:
    """Would fail if an arm were taken with the radius for the diameter, or a bearing's friction
    left out (2 f / D; 2/D (mu d / 2 + f) + c)."""
    ctx = wishing(
        "none", DR1=machine("DR1", "deck_rollers", count=40, rated_kn=20, diameter_mm=250)
    )
    assert ctx.plant.first(CarriesDeck) is not None
    deck._resistance(ctx, LOAD)
    (told,) = ctx.notes.findings
    i = inputs(told)
    axle = i["deck.axle_share"] * 250
    trolley = 2 / 250 * (i["mu"] * axle / 2 + i["f_2"]) + i["c"]
    assert f"give {2 * i['f_1'] / 250:.3f} (" in told.sentence
    assert f"and {trolley:.3f} (" in told.sentence and i["D"] == 250


def test_power_and_torque_of_a_deck() -> None:
    """Would fail if newtons were told as kilonewtons, or the start as less than running."""
    ctx = wishing("none")
    deck._running(ctx, duty_of(ctx), LOAD)
    power, start = ctx.notes.findings
    assert power.value == 0.7 and "(1.1 kW with" in power.sentence and "5.0 kN" in power.sentence
    assert start.value == 96.0 and "12.0 kN at the track (96 kN m" in start.sentence
    assert "2.4 times running" in start.sentence


@pytest.mark.parametrize(("redundancy", "count", "left", "lost"), [
    ("none", 2, 3, "with all running"), ("shared-running", 2, 2, "with one lifted out"),
    ("shared-running", 0, 1, "with all running"), ("none", 0, 1, "with all running"),
])  # fmt: skip
@pytest.mark.parametrize(("start_n", "governs"), [(12_000.0, "running"), (60_000.0, "starting")])
def test_drives_by_the_harder_of_start_and_run(
    redundancy: str, count: int, left: int, lost: str, start_n: float, governs: str
) -> None:
    """Would fail if drives were sized with all in where one may be out, by the lesser load, or
    their wheels pressed on by another force than they push with."""
    units = {"DU1": machine("DU1", "drive_unit", motor_kw=1.5, efficiency=0.8, wheel_mm=400)}
    if count:
        units["DU2"] = machine("DU2", "drive_unit", motor_kw=2.2, count=count, efficiency=0.8)
    ctx = wishing(redundancy, **units)
    load: Any = SimpleNamespace(**{**vars(LOAD), "start_n": start_n})
    deck._drives(ctx, duty_of(ctx), load)
    run_kw = 8000 * 0.1 / 0.8 / 1000 * ctx.number("motor.service_margin")
    start_kw = start_n * 0.1 / 0.8 / 1000 / ctx.number("deck.motor_start_multiple")
    need = max(run_kw, start_kw) / left
    assert (run_kw >= start_kw) == (governs == "running")
    for one in (f for f in ctx.notes.findings if f.key == "deck.drive_motor"):
        assert one.limit == pytest.approx(need, abs=0.001) and lost in one.sentence
        assert f"set by {governs}" in one.sentence and inputs(one)["u"] == left
        assert one.advised == next_motor_kw(max(deck.SMALLEST_MOTOR_KW, 1.05 * need))
    lone = [f for f in ctx.notes.findings if f.key == "deck.drive_count"]
    assert len(lone) == (redundancy != "none" and not count)
    pull = next(f for f in ctx.notes.findings if f.key == "deck.traction")
    push = start_n / 1000 / left
    assert pull.value == pytest.approx(push, abs=0.005)
    assert f"{push * 1000 * 0.2:.0f} N m on a wheel of 400 mm" in pull.sentence
    assert f"at least {push / ctx.number('deck.wheel_friction'):.0f} kN" in pull.sentence


@pytest.fixture(scope="module")
def day() -> Duty:
    """Milkings of 401 and 300 cows."""
    made = duty_of(bench_of(small()))
    first, second = (replace(m, cows=n) for m, n in zip(made.milkings, (401, 300), strict=True))
    return replace(made, milkings=(first, second), cows_milked_day=701, water_coldest_c=7.0)


PAIR = {
    "CW1": machine("CW1", "cloth_washer", load_kg=10, motor_kw=6, cycle_min=50, water_l_load=120),
    "CW2": machine("CW2", "cloth_washer", load_kg=7, motor_kw=5, count=2, water_l_load=90),
}
DAY_KG, MOST_KG = 1402 * 0.045, 802 * 0.045


def test_unlike_washers_take_the_days_cloths(day: Duty) -> None:
    """Would fail if a milking's cloths were taken for a day's, three machines for one, or the
    quicker of two cycles for both."""
    ctx = wishing("shared-running", **PAIR)
    cloths.size_cloths(ctx, day)
    found = {(f.key, f.subject): f for f in ctx.notes.findings}
    by_key = {f.key: f for f in ctx.notes.findings}
    told = by_key["cloths.day"]
    assert told.value == 1402 and f"{DAY_KG:.0f} kg dry" in told.sentence
    assert f"uses 802 ({MOST_KG:.0f} kg)" in told.sentence
    loads = ceil(DAY_KG / (8 * 0.8))  # of 8 kg in the mean, filled to four fifths
    hours = by_key["cloths.washer_hours"]
    assert hours.value == pytest.approx(ceil(loads / 3) * 70 / 60, abs=0.005)
    assert f"for {loads} loads" in hours.sentence and hours.advised is None
    out = by_key["cloths.washer_one_out"]
    assert out.value == pytest.approx(ceil(loads / 2) * 70 / 60, abs=0.005)
    assert (hours.limit, out.limit) == (16.0, 22.0) and "Use" not in out.sentence
    assert hours.allowance == 0.1
    for tag, load_kg in (("CW1", 10), ("CW2", 7)):
        size = found["cloths.washer_size", tag]
        assert size.value == load_kg
        assert size.advised == next(s for s in WASHER_LOADS_KG if s >= MOST_KG / 4 / 0.8)
        power = found["cloths.washer_input", tag]
        assert power.advised == next(s for s in HEATER_KW if s >= 0.65 * load_kg)
        assert found["cloths.washer_water", tag].advised == 10 * load_kg
    stock = by_key["cloths.stock"]
    assert stock.value == 2450 and f"{1402 * 365 / 2450:.0f} times a year" in stock.sentence
    assert f"about {1402 * 365 / 250:.0f} wear out" in stock.sentence
    water = DAY_KG / (24 * 0.8) * (120 + 2 * 90)
    assert cloths.laundry_water_l_day(ctx, day) == pytest.approx(water)
    energy = by_key["cloths.energy"]
    heat, dry = 0.4 * water * 4.19 * (60 - 7) / 3600, 0.6 * DAY_KG * 1.1
    assert energy.value == pytest.approx(heat + dry, rel=0.01)
    assert f"about {heat + dry:.0f} kWh a day" in energy.sentence
    assert f"({heat:.0f} to heat the wash to 60 degC, {dry:.0f} to dry)" in energy.sentence
    rows = ctx.notes.tables[0].rows
    assert [r[1:] for r in rows] == [
        (n, pytest.approx(n * 0.045, abs=0.05), ceil(n * 0.045 / 6.4)) for n in (802, 600)
    ]


@pytest.mark.parametrize(("kg", "redundancy", "count"), [
    (64.0, "none", 1), (64.0, "shared-running", 2), (96.0, "none", 2),
    (96.0, "shared-running", 3), (1.0, "shared-running", 2),
])  # fmt: skip
def test_machines_that_do_the_day(kg: float, redundancy: str, count: int) -> None:
    """Would fail if machines were advised that run longer than 16 h, or than 22 h with one out:
    eight loads of 10 kg filled to four fifths take 16 h, at two hours each."""
    ctx = wishing(redundancy)
    assert cloths._enough(ctx, kg, 10.0, 110.0) == count
    assert cloths._hours(ctx, 64.0, 10.0, 110.0, 3) == 6.0
    assert cloths._loads(ctx, 64.0, [PAIR["CW1"]]) == 8  # type: ignore[list-item]


def test_cloths_without_machines_and_with_one(day: Duty) -> None:
    """Would fail if no washer were asked for, one passed where two are wished, or water were
    counted where nothing washes."""
    bare = wishing("none", CW1=None, CD1=None)
    cloths.size_cloths(bare, day)
    missing = [f for f in bare.notes.findings if f.verdict == "fails"]
    load = next(s for s in WASHER_LOADS_KG if s >= MOST_KG / 4 / 0.8)
    many = cloths._enough(bare, DAY_KG, load, 60.0)
    assert [f.key for f in missing] == ["cloths.washer", "cloths.dryer"]
    assert f"add {many} of {load:g} kg" in missing[0].sentence
    assert cloths.laundry_water_l_day(bare, day) == 0.0
    assert all(row[3] == 0 for row in bare.notes.tables[0].rows)
    one = wishing("shared-running", CW1=PAIR["CW1"], CD1=None)
    cloths.size_cloths(one, day)
    found = {f.key: f for f in one.notes.findings}
    assert found["cloths.washer_one_out"].verdict == "fails"
    assert found["cloths.washer_hours"].advised == 2 and "1 washer of 10 kg" in (
        found["cloths.washer_hours"].sentence)  # fmt: skip
    water = DAY_KG / 8 * 120
    heat = 0.4 * water * 4.19 * 53 / 3600
    assert found["cloths.energy"].value == pytest.approx(heat, rel=0.01)
    slow = wishing("none", CW1=machine("CW1", "cloth_washer", load_kg=4, motor_kw=3), CD1=None)
    cloths.size_cloths(slow, day)
    told = next(f for f in slow.notes.findings if f.key == "cloths.washer_hours")
    assert told.verdict == "fails" and f"Use {told.advised:g} of this size" in told.sentence
    assert "Use" not in found["cloths.washer_hours"].sentence
    assert all(f.key != "cloths.washer_one_out" for f in slow.notes.findings)
    assert DAY_KG / 3.2 * 70 / 60 > 16
