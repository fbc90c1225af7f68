"""Source, store, filter, warm water and hours of use, worked by hand on days that are made up."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from types import SimpleNamespace

import pytest

from byrewright.studies.sizing import water
from byrewright.studies.sizing.duty import Duty, duty_of
from byrewright.studies.sizing.sizes import next_preferred, next_round
from byrewright.studies.sizing.timetable import Timetable
from byrewright.studies.sizing.water import WaterDay, WaterUse
from tests.plants import machine
from tests.studies.benches import bench_of, milked, small
from tests.studies.told import inputs

NONE = (0.0,) * 24


def hours(each: Mapping[int, float], rest: float = 0.0) -> tuple[float, ...]:
    """Litres by the hour."""
    return tuple(each.get(h, rest) for h in range(24))


def a_day(fresh: tuple[float, ...], *uses: WaterUse, warm: tuple[float, ...] = NONE,
          reused: tuple[float, ...] = NONE) -> WaterDay:  # fmt: skip
    """A day's water."""
    return WaterDay(uses, warm, reused, fresh)


@pytest.fixture(scope="module")
def day() -> Duty:
    """Milkings of 6000 L from five to seven and of 4000 L from four to six; 300 cows an hour of
    which a tenth of the time is lost."""
    made = milked(duty_of(bench_of(small())), (300, 2.0, 6000.0), (960, 2.0, 4000.0))
    return replace(made, gross_cows_h=300.0, stop_share=0.1)


SOURCES = {"WS1": machine("WS1", "water_source", flow_l_min=10, count=2),
           "WS2": machine("WS2", "water_source", flow_l_min=30)}  # fmt: skip


@pytest.mark.parametrize(("litres", "short"), [(43_200.0, False), (86_400.0, True)])
def test_unlike_sources_share_what_the_day_needs(litres: float, short: bool) -> None:
    """Would fail if a day's fresh water were asked of each of several sources, of more than nine
    tenths of what they give, or none were advised where they are short."""
    ctx = bench_of(small(**SOURCES))
    water._source(ctx, a_day((litres / 24,) * 24))
    need = litres / 1440 / 0.9
    for one, has in zip(ctx.notes.findings, (10.0, 30.0), strict=True):
        assert one.value == has and one.limit == pytest.approx(need * has / 50, abs=0.01)
        assert one.advised == (next_round(need / 3) if short else None)
        assert ("find more" in one.sentence) == short == (one.target is not None)
        assert f"{litres / 1000:.1f} m3 needs {need:.0f} L/min" in one.sentence
        assert "50 L/min;" in one.sentence and "at 90 % of it" in one.sentence
        assert inputs(one)["V_day"] == litres


@pytest.mark.parametrize(("hours_kept", "need", "bridge"), [
    (0.5, 6000.0, "3500 L bridge"), (1.0, 8500.0, "3500 L bridge"),
])  # fmt: skip
def test_unlike_tanks_bridge_the_busiest_hours(hours_kept: float, need: float, bridge: str) -> None:
    """Would fail if a store were sized for the mean hour, or each of three tanks for all: 5000 and
    4500 L are used in two hours in which 3000 L each come in."""
    tanks = {"WT1": machine("WT1", "water_tank", volume_l=4000),
             "WT3": machine("WT3", "water_tank", volume_l=2000, count=2)}  # fmt: skip
    ctx = bench_of(small(**SOURCES, **tanks), {"water.tank_hours": hours_kept})
    busy = a_day(hours({8: 5000.0, 9: 4500.0}, 100.0))
    water._store(ctx, duty_of(ctx), busy)
    for one, has in zip(ctx.notes.findings, (4000.0, 2000.0), strict=True):
        assert (one.value, one.limit) == (has, need * has / 8000)
        assert one.advised == next_preferred(1.05 * need / 3) and bridge in one.sentence
        assert f"{need - 3500:.0f} L keep the busiest hour" in one.sentence
        assert inputs(one).items() >= {"q": 50.0, "V_short": 3500, "q_busiest": 5000}.items()
    even = bench_of(small(**SOURCES, **tanks))
    water._store(even, duty_of(ctx), a_day((100.0,) * 24))
    assert "the source gives what the busiest hour uses" in even.notes.findings[0].sentence
    never = bench_of(small(**SOURCES, **tanks))
    water._store(never, duty_of(ctx), a_day((3001.0,) * 24))
    assert not never.notes.findings
    for litres, lacks in ((5000.0, 1), (3000.0, 0)):
        bare = bench_of(small(**SOURCES, WT1=None))
        water._store(bare, duty_of(ctx), a_day(hours({8: litres}, 100.0)))
        assert len(bare.notes.findings) == lacks
        if lacks:
            assert f"tank of {next_preferred(2000.0 + 5000.0):.0f} L" in (
                bare.notes.findings[0].sentence)  # fmt: skip


def test_a_filter_takes_cooler_and_backflush(day: Duty, monkeypatch: pytest.MonkeyPatch) -> None:
    """Would fail if backflush (4.5 cows a minute, 0.8 L each) were left out, or no room for dirt
    (a quarter) were kept."""
    monkeypatch.setattr(water, "cooler_water_l_min", lambda *_: 100.0)
    ctx = bench_of(small())
    water._filter(ctx, day)
    (one,) = ctx.notes.findings
    need = 1.25 * (100.0 + 4.5 * 0.8)
    assert (one.value, one.limit) == (500.0, pytest.approx(need))
    assert one.advised == next_round(1.05 * need) and inputs(one)["q_cooler"] == 100.0
    for changes, lacks in (({"WF1": None}, 1), ({"WF1": None, "PC1": None}, 0)):
        bare = bench_of(small(**changes))
        water._filter(bare, day)
        assert len(bare.notes.findings) == lacks


YARD = WaterUse("parlour and yard", hours({7: 1000.0, 18: 800.0, 19: 700.0}), recovered=True)
WARM = hours({5: 6000.0, 6: 6000.0, 16: 4000.0, 17: 4000.0})


def with_ratio(monkeypatch: pytest.MonkeyPatch, rinse_l: float) -> None:
    """Two parts of water to one of milk, and a first rinse of so much."""
    monkeypatch.setattr(water, "cooler_water_l_min", lambda *_: 200.0)
    monkeypatch.setattr(water, "cooler_flow_l_min", lambda *_: 100.0)
    steps = [SimpleNamespace(litres=rinse_l), SimpleNamespace(litres=300.0)]
    wash = SimpleNamespace(steps=steps, water_l=rinse_l + 300.0)
    heat = SimpleNamespace(wash=wash, minutes=90.0)
    monkeypatch.setattr(water, "wash_heat_of", lambda *_: heat)


@pytest.mark.parametrize(("milk_l", "need"), [((6000.0, 4000.0), 1500.0), ((600.0, 400.0), 1200.0)])
def test_unlike_tanks_of_warm_water_hold_what_one_milking_uses(
    day: Duty, monkeypatch: pytest.MonkeyPatch, milk_l: tuple[float, float], need: float
) -> None:
    """Would fail if a tank were sized for the lesser of two milkings, for more than the cooler
    gives, or water were told warmer than the milk's heat makes it."""
    with_ratio(monkeypatch, 500.0)
    tanks = {
        tag: machine(tag, "water_tank", volume_l=litres, holds="recovered", count=count)
        for tag, litres, count in (("WT2", 9000, 1), ("WT5", 3000, 2))
    }
    ctx = bench_of(small(**tanks))
    made = milked(day, (300, 2.0, milk_l[0]), (960, 2.0, milk_l[1]))
    reused = hours({7: 1000.0, 18: 800.0})
    water._recovered(ctx, made, a_day(NONE, YARD, warm=WARM, reused=reused))
    warm_c = 12 + (35 - 15.5) * 1.03 * 3.93 / 2 / 4.19
    for one, has in zip(ctx.notes.findings, (9000.0, 3000.0), strict=True):
        assert (one.value, one.limit) == (has, pytest.approx(need * has / 15_000, abs=0.5))
        assert one.advised == next_preferred(1.05 * need / 3)
        assert f"15000 L at about {warm_c:.0f} degC" in one.sentence
        assert "1.8 m3 a day are used again; 18.2 m3 overflow" in one.sentence
        assert inputs(one)["r"] == 2.0
    bare = bench_of(small(WT2=None))
    water._recovered(bare, made, a_day(NONE, YARD, warm=WARM))
    (told,) = bare.notes.findings
    assert told.value == 20_000 and f"20.0 m3 a day leave the cooler at about {warm_c:.0f}" in (
        told.sentence) and "yard (2.5 m3 a day)" in told.sentence  # fmt: skip
    cold = bench_of(small())
    water._recovered(cold, made, a_day(NONE, YARD))
    assert not cold.notes.findings
    colder = replace(made, tank_inlet_c=4.0)
    told_c = bench_of(small(WT2=None))
    water._recovered(told_c, colder, a_day(NONE, YARD, warm=WARM))
    assert told_c.notes.findings[0].sentence == told.sentence  # no colder than 3.5 K over it
    wished = replace(made, tank_inlet_c=20.0)
    warmer = bench_of(small(WT2=None))
    water._recovered(warmer, wished, a_day(NONE, YARD, warm=WARM))
    assert f"about {12 + 15 * 1.03 * 3.93 / 2 / 4.19:.0f} degC" in warmer.notes.findings[0].sentence


@pytest.mark.parametrize(("rinse_l", "with_it", "short"), [
    (8100.0, True, True), (8100.0, False, False), (7900.0, True, False),
])  # fmt: skip
def test_a_first_rinse_of_more_than_the_cooler_warms_runs_dry(
    day: Duty, monkeypatch: pytest.MonkeyPatch, rinse_l: float, with_it: bool, short: bool
) -> None:
    """Would fail if a rinse were fed from the larger of two milkings: the smaller gives 8000 L."""
    with_ratio(monkeypatch, rinse_l)
    monkeypatch.setattr(water, "rinsed_with_it", lambda _: with_it)
    ctx = bench_of(small())
    water._recovered(ctx, day, a_day(NONE, YARD, warm=WARM))
    (one,) = ctx.notes.findings
    assert ("runs dry" in one.sentence) == short
    if short:
        assert (one.value, one.limit) == (8000, rinse_l)


def test_hours_of_every_use(day: Duty, monkeypatch: pytest.MonkeyPatch) -> None:
    """Would fail if a use fell into other hours than its milking, wash, collection or daytime, or
    another tank's water were used again."""
    with_ratio(monkeypatch, 500.0)
    monkeypatch.setattr(water, "laundry_water_l_day", lambda *_: 1000.0)
    monkeypatch.setattr(water, "tank_wash_hot_l", lambda _, litres: 0.02 * litres)
    tanks = {"WT2": machine("WT2", "water_tank", volume_l=500, holds="recovered", count=2)}
    ctx = bench_of(small(**tanks))
    ctx.known["timetable"] = Timetable(
        emptied=[(480, 4000.0), (1440 + 470, 9000.0), (1440 + 600, 500.0)]
    )
    assert water.emptied_at(ctx, day) == [(470, 9000.0), (600, 500.0)]
    first, second = day.milkings
    made = replace(day, passes=1.25, milkings=(replace(first, cows=200),
                                                       replace(second, cows=100)))  # fmt: skip
    found = water.water_day(ctx, made)
    told = {u.what: u.hours for u in found.uses}
    each = {
        "plate cooler": {5: 6000, 6: 6000, 16: 4000, 17: 4000},
        "first rinse": {7: 500 / 1.5, 8: 250 / 1.5, 18: 500 / 1.5, 19: 250 / 1.5},
        "other wash steps": {7: 200, 8: 100, 18: 200, 19: 100},
        "tank wash": {7: 0.25 * 540, 8: 0.75 * 540, 10: 30},
        "backflush": {5: 100, 6: 100, 16: 50, 17: 50},
        "parlour and yard": {7: 1600, 18: 800},
        "laundry": dict.fromkeys(range(8, 18), 100),
    }
    assert told.keys() == each.keys()
    for what, by_hand in each.items():
        assert told[what] == pytest.approx(hours(by_hand)), what  # type: ignore[arg-type]
    rinse = {u.what: u.recovered for u in found.uses}["first rinse"]
    wanted = [
        told["parlour and yard"][h] + (told["first rinse"][h] if rinse else 0) for h in range(24)
    ]
    assert found.reused[7] == min(1000.0, wanted[7]) and found.reused[18] == min(1000.0, wanted[18])
    assert found.warm == told["plate cooler"]
    water._figures(ctx, found)
    (table,) = ctx.notes.tables
    laundry = next(r for r in table.rows if r[0] == "laundry")
    assert laundry == ("laundry", 1000, 100, "fresh")
    assert [r[3] for r in table.rows if r[0] == "parlour and yard"] == ["recovered warm water"]
    water._use(ctx, found)
    one = ctx.notes.findings[-1]
    assert f"{sum(found.reused) / 1000:.2f} m3 is warm water" in one.sentence
    assert "plate cooler 20.00 m3" in one.sentence
    assert one.value == pytest.approx(found.fresh_l / 1000, abs=0.006)


def test_the_trough_is_filled_for_its_largest_step() -> None:
    """Would fail if a pump were sized for a smaller step of the wash: in four minutes."""
    ctx = bench_of(small())
    largest = max(s.litres for s in ctx.programme.wash.steps)
    assert water.fill_flow_l_min(ctx) == pytest.approx(largest / 4)
