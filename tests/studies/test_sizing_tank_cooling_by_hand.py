"""Cooling in milk tanks, worked by hand from the plant's figures."""

from __future__ import annotations

import pytest

from byrewright.physics.motors import next_motor_kw
from byrewright.physics.tank_wall import SHAPES, wetted_share
from byrewright.plant.roles import StoresMilk
from byrewright.studies.sizing import tank_cooling, tank_runs
from byrewright.studies.sizing.context import StudyContext
from byrewright.studies.sizing.duty import Duty, duty_of
from byrewright.studies.sizing.sizes import next_preferred
from byrewright.studies.sizing.timetable import Timetable
from tests.plants import machine
from tests.studies.benches import bench_of, milked, small, worked_at
from tests.studies.told import inputs

MILK_KJ_L = 1.03 * 3.93


@pytest.fixture(scope="module")
def day() -> Duty:
    """The duties of 50 stalls and 620 cows."""
    return duty_of(bench_of(small()))


def tank(litres: float = 10_000.0, **fields: object) -> StoresMilk:
    """A milk tank."""
    more = {"cooling_kw": 20.0, "agitator_kw": 0.75, "insulation_k_h": 0.25} | fields
    one = machine("TK1", "bulk_tank", volume_l=litres, **more)
    assert isinstance(one, StoresMilk)
    return one


def in_region(region: str, **changes: object) -> StudyContext:
    """50 stalls on a bench under a region's rule."""
    plant = small(**changes)
    return bench_of(
        plant.model_copy(update={"site": plant.site.model_copy(update={"region": region})})
    )


@pytest.mark.parametrize(("region", "milking_h", "limit_c", "within_h", "from_end", "blend_c"), [
    ("EU", 5.0, 8.0, 2.0, True, None), ("Australia", 2.0, 4.0, 3.0, False, None),
    ("New Zealand", 3.0, 6.0, 2.0, True, 10.0), ("New Zealand", 5.0, 6.0, 6.0, False, 10.0),
    ("US-California", 3.0, 7.0, 2.0, True, 10.0),
])  # fmt: skip
def test_the_step_of_a_rule_that_leaves_the_least_time(
    region: str, milking_h: float, limit_c: float, within_h: float, from_end: bool,
    blend_c: float | None,
) -> None:  # fmt: skip
    """Would fail if milk were held to a looser step of its region's rule, or by another clock."""
    wanted = tank_cooling.wanted_of(in_region(region), milking_h)
    assert wanted is not None
    assert (wanted.limit_c, wanted.within_h, wanted.from_end, wanted.blend_c) == (
        limit_c, within_h, from_end, blend_c)  # fmt: skip
    clock = "end" if from_end else "start"
    assert f"{limit_c:g} degC or less within {within_h:g} h of the {clock}" in wanted.words()
    assert ("never above 10 degC" in wanted.words()) == (blend_c is not None)


@pytest.mark.parametrize(("region", "hours", "allowed"), [
    ("EU", 2.0, 2.0), ("Australia", 2.0, 1.0), ("Australia", 4.0, 0.0),
])  # fmt: skip
def test_hours_that_a_rule_leaves_after_milking(
    day: Duty, monkeypatch: pytest.MonkeyPatch, region: str, hours: float, allowed: float
) -> None:
    """Would fail if hours from the start of milking were counted from its end, or a long milking
    left less than none."""
    ctx = in_region(region, TK1=tank())
    made = milked(day, (300, hours, 4000.0), (1000, hours / 2, 2000.0))
    asked = []

    def least(*given: object) -> float:
        asked.append(given[-1])
        return 7.0

    monkeypatch.setattr(tank_cooling, "_in_time_kw", least)
    wanted = tank_cooling.wanted_of(ctx, hours)
    assert wanted is not None
    assert tank_cooling._needed_kw(ctx, made, tank(), wanted, 10.0)[0] == 7.0
    assert asked == [pytest.approx(allowed)] * 2
    tank_cooling._pull_down(ctx, made, tank(), wanted, 10.0)
    told = next(f for f in ctx.notes.findings if f.key == "cooling.tank.pull_down")
    assert told.limit == pytest.approx(allowed) and f"{allowed:.1f} h are allowed" in told.sentence
    mix = next(f for f in ctx.notes.findings if f.key == "cooling.tank.blend")
    assert "10 degC is the limit elsewhere" in mix.sentence and mix.limit is None
    assert {"Q": 20.0, "T_in": 10.0}.items() <= inputs(told).items()
    every = ctx.notes.series[-1]
    assert every.x[:3] == (0.0, pytest.approx(1 / 6, abs=1e-3), pytest.approx(1 / 3, abs=1e-3))
    assert every.lines[1][2][-1] == 4000.0 and len(every.x) == 6 * (hours + 8)


def test_the_least_cooling_is_in_time_and_a_little_less_is_late(day: Duty) -> None:
    """Would fail if more cooling were asked than the rule takes, or less (the run beside it)."""
    ctx = in_region("US", TK1=tank())
    made = milked(day, (300, 3.0, 6000.0), (1000, 3.0, 3000.0))
    wanted = tank_cooling.wanted_of(ctx, 3.0)
    assert wanted is not None
    for in_c, why in ((16.0, "the first milking in time"), (30.0, "the blend")):
        need, told = tank_cooling._needed_kw(ctx, made, tank(), wanted, in_c)
        assert told == why and need

        def held(kw: float, in_c: float = in_c) -> bool:
            late, blend = tank_cooling.pull_downs(
                ctx, made, tank(cooling_kw=kw), wanted.limit_c, in_c
            )
            return late <= 2.0 and blend is not None and blend <= 10.0

        assert held(need * 1.002) and not held(need * 0.98)
    still = tank(agitator_kw=0.0, insulation_k_h=0.001)
    assert tank_cooling._needed_kw(ctx, made, still, wanted, 3.0)[0] == 0.0


@pytest.mark.parametrize(("soon", "set_c", "expected"), [
    (50.0, 3.5, 50.0), (1.0, 3.5, 0.75 + 2.81), (None, 5.0, 0.75 + 2.81),
])  # fmt: skip
def test_cooling_that_a_designer_takes(
    day: Duty, monkeypatch: pytest.MonkeyPatch, soon: float | None, set_c: float, expected: float
) -> None:
    """Would fail if a tank were advised what does not hold it, or milk at a colder temperature
    than it is set to: 10 000 L that warm by 0.25 K in an hour take 2.81 kW."""
    asked = []

    def least(*given: object) -> float | None:
        asked.append(given[-2:])
        return soon

    monkeypatch.setattr(tank_cooling, "_in_time_kw", least)
    ctx = bench_of(small())
    assert tank_cooling._cold_soon_kw(ctx, day, tank(set_c=set_c), 12.0) == pytest.approx(
        expected, abs=0.01)  # fmt: skip
    assert asked == [(max(4.0, set_c), 2.0)]


@pytest.mark.parametrize(("cooling", "need", "soon", "keeps", "limit", "advised", "says"), [
    ("direct_expansion", 10.0, 8.0, 3.0, 10.0, 12.0, "10 kW keeps 8 degC"),
    ("direct_expansion", 2.0, 15.0, 3.0, 3.0, 20.0, "3.0 kW take out"),
    ("direct_expansion", 0.0, 5.0, 0.0, 0.0, 6.0, "which keeps 8 degC"),
    ("none", 0.0, 0.008, 3.0, 0.0, None, "has no cooling of its own"),
    ("none", 0.0, 0.015, 3.0, 0.0, 0.02, "has no cooling of its own"),
    ("none", 4.0, 0.0, 3.0, 4.0, 5.0, "4 kW keeps 8 degC"),
])  # fmt: skip
def test_a_tank_is_held_to_the_most_that_its_milk_or_its_wall_asks(
    day: Duty, monkeypatch: pytest.MonkeyPatch, cooling: str, need: float, soon: float,
    keeps: float, limit: float, advised: float | None, says: str,
) -> None:  # fmt: skip
    """Would fail if a tank were judged by the lesser of two needs, advised less than it needs, or
    two condensing units were each held to the whole."""
    monkeypatch.setattr(tank_cooling, "_needed_kw", lambda *_: (need, "the first"))
    monkeypatch.setattr(tank_cooling, "_cold_soon_kw", lambda *_: soon)
    monkeypatch.setattr(tank_cooling, "kept_kw", lambda *_: keeps)
    one = tank(6000.0, cooling=cooling, cooling_kw=9.0)
    ctx = in_region("EU", TK1=one, CU1=machine("CU1", "condensing_unit", count=2, duty_kw=7.0))
    wanted = tank_cooling.wanted_of(ctx, 3.0)
    assert wanted is not None
    tank_cooling._tank(ctx, day, one, wanted)
    found = {f.key: f for f in ctx.notes.findings}
    told = found["cooling.tank.duty"]
    assert (told.value, told.limit, told.advised) == (9.0, limit, advised) and says in told.sentence
    assert ("takes 9.0 kW out of its milk" in told.sentence) == (cooling != "none")
    i = inputs(told)
    assert (i["V"], i["P"], i["T_limit"], i["t"]) == (6000.0, 0.75, 8.0, 2.0)
    unit = found.get("cooling.condensing.duty")
    assert (unit is None) == (cooling == "none")
    if unit is not None:
        assert unit.limit == pytest.approx(1.2 * need / 2)
        assert unit.advised == next_preferred(1.2 * max(need, soon) / 2)
        assert "CU1 makes 14 kW of cold" in unit.sentence and inputs(unit)["units"] == 2


@pytest.mark.parametrize("kw", [0.0, 60.0])
def test_a_tank_that_no_cooling_helps_fails(
    day: Duty, monkeypatch: pytest.MonkeyPatch, kw: float
) -> None:
    """Would fail if milk that comes too warm for any tank passed with a large unit."""
    monkeypatch.setattr(tank_cooling, "_needed_kw", lambda *_: (None, "the blend"))
    ctx = in_region("US")
    wanted = tank_cooling.wanted_of(ctx, 3.0)
    assert wanted is not None
    tank_cooling._tank(ctx, day, tank(cooling_kw=kw), wanted)
    (told,) = ctx.notes.findings
    assert told.verdict == "fails" and "the blend is missed" in told.sentence


def test_an_agitator_by_the_volume_and_a_rule_by_its_region(day: Duty) -> None:
    """Would fail if a motor were advised for another volume, or "at once" read elsewhere."""
    for litres in (4000.0, 24_000.0):
        ctx = bench_of(small(), {"tank.agitator_kw_m3": 0.04})
        tank_cooling._agitator(ctx, tank(litres))
        (told,) = ctx.notes.findings
        assert told.advised == next_motor_kw(0.04 * litres / 1000)
    for region, said in (("EU", True), ("US", False)):
        ctx = in_region(region)
        wanted = tank_cooling.wanted_of(ctx, 3.0)
        assert wanted is not None
        tank_cooling._rule(ctx, wanted)
        assert ('"At once" is read as 2 h' in ctx.notes.findings[0].sentence) == said


@pytest.mark.parametrize(("wish", "limit", "advice"), [
    (None, 8.0, False), (9.0, 8.0, False), (5.0, 5.0, True),
])  # fmt: skip
def test_milk_loaded_straight_is_held_to_rule_and_wish(
    day: Duty, monkeypatch: pytest.MonkeyPatch, wish: float | None, limit: float, advice: bool
) -> None:
    """Would fail if milk at 7 degC were loaded against a wish for colder, or stopped by a wish for
    warmer milk than the law allows."""
    monkeypatch.setattr(tank_cooling, "in_line", lambda *_: worked_at(18.0, 7.0))
    plant = small()
    wishes = plant.wishes.model_copy(update={"milk_out_c": wish})
    ctx = bench_of(plant.model_copy(update={"wishes": wishes}))
    wanted = tank_cooling.wanted_of(ctx, 3.0)
    assert wanted is not None
    tank_cooling._direct(ctx, day, wanted)
    (told,) = ctx.notes.findings
    assert (told.value, told.limit) == (7.0, limit) and (
        "Load from a tank" in told.sentence
    ) == advice


@pytest.mark.parametrize(("litres", "met", "milk_l", "before_l", "minutes"), [
    (20_000.0, (), 6000.0, 4000.0, 180), (8000.0, (), 6000.0, 2000.0, 180),
    (5000.0, (), 5000.0, 0.0, 150), (8000.0, (300.0, 1500.0, 2500.0), 6000.0, 1500.0, 180),
])  # fmt: skip
def test_what_a_milking_comes_on_top_of(
    day: Duty, litres: float, met: tuple[float, ...], milk_l: float, before_l: float, minutes: int
) -> None:
    """Would fail if a later milking came on more than there is, than there is room for, or on so
    little that no agitator stirs it; or a tank took longer or shorter to fill than its milk."""
    made = milked(day, (300, 3.0, 6000.0), (1000, 2.0, 4000.0))
    ctx = bench_of(small())
    ctx.known["timetable"] = Timetable(met_l={"TK1": list(met)})
    first = tank_runs.fill_of(ctx, made, tank(litres), later=False)
    assert first == tank_runs.Fill(0.0, milk_l / minutes, minutes)
    later = tank_runs.fill_of(ctx, made, tank(litres), later=True)
    assert later == tank_runs.Fill(before_l, milk_l / minutes, minutes)


@pytest.mark.parametrize(("at_c", "share"), [(1.2, 0.05), (3.5, 0.25), (6.0, 0.5), (14.0, 1.0)])
def test_a_jacket_needs_more_rating_the_nearer_the_milk_is_to_its_liquid(
    at_c: float, share: float
) -> None:
    """Would fail if a jacket of liquid at 1 degC, which gives its rating from 10 K on, were held to
    less or more: 10 000 L warm with 2.81 kW, and 0.75 kW stir them."""
    ctx = bench_of(small(IB1=machine("IB1", "ice_bank", store_kwh=90, duty_kw=9, leaving_c=1.0)))
    heat = 0.75 + 0.25 * 10_300 * 3.93 / 3600
    jacket = tank(cooling="ice_bank", set_c=max(1.2, min(at_c, 6.0)))
    assert tank_runs.kept_kw(ctx, jacket, at_c) == pytest.approx(heat / share)
    if at_c <= 6.0:
        assert tank_runs.hold_kw(ctx, jacket) == pytest.approx(heat / share)
    assert tank_runs.kept_kw(ctx, tank(), at_c) == pytest.approx(heat)


def test_a_full_tank_warms_by_its_wall_and_its_agitator_and_is_cooled_where_milk_touches() -> None:
    """Would fail if the wall's heat were taken off that of the agitator, a tank were watched for
    less than eight hours, or cooling did not go with the wetted share of its evaporator."""
    ctx = bench_of(small())
    full = tank_runs.run_tank(ctx, tank(), tank_runs.Fill(10_000.0, 0.0, 1), 0.0, 35.0)
    assert len(full.temperature_c) == 1 + 8 * 60
    warmed = (0.75 + 0.25 * 10_300 * 3.93 / 3600) * 481 * 60 / (10_000 * MILK_KJ_L)
    assert full.temperature_c[-1] == pytest.approx(tank().set_c + warmed)
    for litres in (1100.0, 9000.0):
        little = tank(set_c=1.0, stirred_from_l=500.0)
        run = tank_runs.run_tank(ctx, little, tank_runs.Fill(0.0, litres, 1), 2.0, 35.0)
        wet = min(1.0, wetted_share(litres / 10_000, SHAPES[little.shape]) / 0.25)
        assert run.cooled_kwh == pytest.approx(2.0 * wet * 481 / 60)


def test_the_least_cooling_is_worked_out_once_for_tanks_that_run_alike(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Would fail if a draft worked out each tank anew in each of its rounds."""
    found: list[float] = []

    def search(_: object) -> float:
        found.append(4.0)
        return 4.0

    monkeypatch.setattr(tank_runs, "least_cooling_kw", search)
    monkeypatch.setattr(tank_runs, "_least", {})
    ctx, fill = bench_of(small()), tank_runs.Fill(0.0, 10.0, 60)
    for litres in (7000.0, 8000.0, 7000.0):
        assert tank_runs.least_kw(ctx, tank(litres), fill, 20.0, "x", lambda _: True) == 4.0
    assert len(found) == 2
