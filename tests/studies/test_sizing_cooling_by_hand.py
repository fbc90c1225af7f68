"""What is told of coolers and of cold, worked by hand from the plant's figures."""

from __future__ import annotations

from dataclasses import replace
from math import ceil, log

import pytest

from byrewright.plant.plant import Plant
from byrewright.plant.roles import MakesCold
from byrewright.results import ResultBuilder
from byrewright.standards.rulebook import Rulebook
from byrewright.studies.sizing import cold, cooling
from byrewright.studies.sizing.context import StudyContext
from byrewright.studies.sizing.duty import Duty, duty_of
from byrewright.studies.sizing.in_line import in_line
from byrewright.studies.sizing.loads import electric_loads
from byrewright.studies.sizing.sizes import next_preferred
from tests.plants import machine, pipe
from tests.studies.benches import bench_of, milked, small, worked_at
from tests.studies.told import inputs

MILK_KJ_L, WATER_KJ_L = 1.03 * 3.93, 4.19
PRINTED = 0.002
"""Inputs are printed with some four figures."""


def with_cold(cooler: dict[str, float], cold_maker: str = "IB1", **more: object) -> Plant:
    """50 stalls with one cooler of two stages, and what makes its chilled liquid."""
    fields = {"area_m2": 6.0, "chilled_area_m2": 8.0} | cooler
    makers = {
        "IB1": machine("IB1", "ice_bank", store_kwh=400, duty_kw=50, leaving_c=1),
        "CH1": machine("CH1", "chiller", duty_kw=80, leaving_c=0.5, glycol_pct=25),
    }
    one = makers[cold_maker]
    plant = small(**{"PC1": machine("PC1", "plate_cooler", **fields), cold_maker: one, **more})
    ring = (pipe("LC1", f"{cold_maker}.coolant_out", "PC1.coolant_in"),
            pipe("LC2", "PC1.coolant_out", f"{cold_maker}.coolant_in"))  # fmt: skip
    return plant.model_copy(update={"pipes": plant.pipes + ring})


@pytest.fixture(scope="module")
def day() -> Duty:
    """The duties of 50 stalls and 620 cows, milk wanted at 4 degC into the tank."""
    return replace(duty_of(bench_of(small())), tank_inlet_c=4.0)


def mean_difference_k(hot: tuple[float, float], cold: tuple[float, float]) -> float:
    """Of two counterflows, in and out: the logarithmic mean."""
    one, other = hot[0] - cold[1], hot[1] - cold[0]
    return one if abs(one - other) < 1e-6 else (one - other) / log(one / other)


def ua_kw_k(milk: float, liquid: float, in_c: float, out_c: float, cold_c: float) -> float:
    """Heat transfer that brings milk from one temperature to another; capacity flows in kW/K."""
    kw = milk * (in_c - out_c)
    return kw / mean_difference_k((in_c, out_c), (cold_c, cold_c + kw / liquid))


@pytest.mark.parametrize(("count", "water", "chilled", "maker"), [
    (1, 2.0, 3.0, "IB1"), (2, 0.9, 0.9, "CH1"), (1, 0.5, 0.6, "IB1"),
])  # fmt: skip
def test_both_stages_of_a_cooler_by_the_mean_difference(
    day: Duty, count: int, water: float, chilled: float, maker: str
) -> None:
    """Would fail if a stage were judged with another flow, liquid or area than it has, or an area
    advised that leaves milk at another temperature than is said (log-mean temperature difference
    in place of transfer units)."""
    ctx = bench_of(with_cold(
        {"count": count, "water_ratio": water, "chilled_ratio": chilled, "u_w_m2_k": 2400.0}, maker,
    ))  # fmt: skip
    cooling.size_cooling(ctx, day)
    found = {f.key: f for f in ctx.notes.findings}
    milk_l_min = day.milk_flow_met_l_min / count
    milk = milk_l_min / 60 * MILK_KJ_L
    first, second = found["cooling.plate.approach"], found["cooling.chilled.out"]
    one, two = inputs(first), inputs(second)
    usual_k = 3.5 if water >= 2 else 5.5
    most_k = 5.0 if water >= 2 else 7.0
    of_water = water * milk_l_min / 60 * WATER_KJ_L
    out_c = 12.0 + (first.value or 0.0)
    assert first.limit == most_k and f"{water:g} parts of water" in first.sentence
    assert f"brings {milk_l_min:.0f} L/min of milk from 35 to {out_c:.1f}" in first.sentence
    for got, ua, hot, flows in (
        (one, 6 * 2.4, (35.0, out_c), (milk, of_water)),
        (two, 8 * 2.4, (out_c, second.value or 0.0), (milk, two["C_min"])),
    ):
        assert got["UA"] == pytest.approx(ua) and got["C_milk"] == pytest.approx(milk, PRINTED)
        assert got["C_min"] == pytest.approx(min(flows), PRINTED)
        ua *= got.get("f_U", 1.0)
        assert got["UA / C_min"] == pytest.approx(ua / min(flows), PRINTED)
        assert got["T_in"] == pytest.approx(hot[0], abs=0.01)
    assert ua_kw_k(milk, of_water, 35.0, out_c, 12.0) == pytest.approx(6 * 2.4, PRINTED)
    if water < 0.8:  # all of the water's warmth takes too little
        assert first.advised is None and first.advised_why.startswith("no size can")
    else:
        wants = ua_kw_k(milk, of_water, 35.0, 12.0 + usual_k, 12.0)
        assert first.advised == next_preferred(wants / 2.4) and f"{usual_k} K" in first.advised_why
    assert first.target == ("PC1", "area_m2")

    cold_c = 1.0 if maker == "IB1" else 0.5
    liquid = chilled * milk_l_min / 60 * (WATER_KJ_L if maker == "IB1" else 4.0)
    assert two["C_min"] == pytest.approx(min(milk, liquid), rel=0.03)
    liquid = two["C_min"] if chilled < 1 else liquid
    got_ua = ua_kw_k(milk, liquid, out_c, second.value or 0.0, cold_c)
    assert got_ua == pytest.approx(8 * 2.4 * two["f_U"], rel=0.01)
    assert second.limit == 4.0 and second.target == ("PC1", "chilled_area_m2")
    assert (two["f_U"] < 0.9) == (maker == "CH1")
    if chilled < 0.8:
        assert second.advised is None and second.advised_why.startswith("no size can")
    else:
        wants = ua_kw_k(milk, liquid, out_c, 4.0, cold_c) / two["f_U"]
        assert second.advised == next_preferred(wants / 2.4)


def test_water_of_all_coolers_and_what_they_are_ordered_for(day: Duty) -> None:
    """Would fail if two coolers were told with the water of one, a day's water were not so many
    parts of the day's milk, or a cooler without a water stage were said to warm some."""
    ctx = bench_of(with_cold({"count": 2, "water_ratio": 1.5}))
    cooling.size_cooling(ctx, day)
    found = {f.key: f for f in ctx.notes.findings}
    water = found["cooling.water_flow"]
    q = day.milk_flow_met_l_min
    assert water.value == pytest.approx(1.5 * q)
    point = in_line(ctx, day)
    warmed_c = 12.0 + (35.0 - point.pre_cooled_c) * MILK_KJ_L / (1.5 * WATER_KJ_L)
    assert f", {1.5 * day.saleable_l_day / 1000:.1f} m3 a day" in water.sentence
    assert f"to {warmed_c:.0f} degC" in water.sentence
    assert inputs(water)["ratio"] == 1.5 and inputs(water)["q_milk"] == pytest.approx(q)
    ordered = found["cooling.plate.flow"]
    assert ordered.value == pytest.approx(q / 2) and ordered.advised == 10 * ceil(q / 2 / 10)
    assert inputs(ordered) == {"dp": 80.0}
    out = found["cooling.milk_out"]
    assert inputs(out)["T_1"] == pytest.approx(point.pre_cooled_c, abs=0.01)
    assert "goes past" not in out.sentence and f"leaves the cooler at {point.out_c:.1f}" in (
        out.sentence)  # fmt: skip
    (table,) = ctx.notes.tables
    assert [r[:2] for r in table.rows] == [("PC1", "water"), ("PC1", "chilled")]
    bare = bench_of(with_cold({"area_m2": 0.0}))
    cooling.size_cooling(bare, day)
    assert all(f.key != "cooling.water_flow" for f in bare.notes.findings)
    (table,) = bare.notes.tables
    assert [r[:2] for r in table.rows] == [("PC1", "chilled")]


def test_milk_past_a_cooler_is_told_in_per_cent(day: Duty) -> None:
    """Would fail if a way round that stands open were told with another share, or not at all."""
    ctx = bench_of(with_cold({}))
    point = in_line(ctx, day)
    cooling._outlet(ctx, day, replace(point, past_share=0.25))
    assert "25 % of it goes past" in ctx.notes.findings[0].sentence


@pytest.mark.parametrize(("ratio", "usual", "most"), [
    (0.5, 5.0, 6.0), (1.0, 5.0, 6.0), (1.25, 4.5, 5.5), (2.0, 3.0, 4.0), (4.0, 3.0, 4.0),
])  # fmt: skip
def test_the_usual_approach_lies_between_those_of_two_ratios(
    ratio: float, usual: float, most: float
) -> None:
    """Would fail if milk were let off warmer, or held colder, than is usual at its water ratio."""
    rules = Rulebook()
    ends = {
        "plate.approach_one_to_one_k": replace(rules["plate.approach_one_to_one_k"], value=5.0,
                                               high=6.0),
        "plate.approach_k": replace(rules["plate.approach_k"], value=3.0, high=4.0),
    }  # fmt: skip
    ctx = bench_of(small())
    told = StudyContext(ctx.plant, ends, ResultBuilder("sizing", ""))  # type: ignore[arg-type]
    assert cooling._usual_approach_k(told, ratio) == pytest.approx((usual, most))
    only = {key: replace(one, high=None) for key, one in ends.items()}
    alone = StudyContext(ctx.plant, only, ResultBuilder("sizing", ""))  # type: ignore[arg-type]
    assert cooling._usual_approach_k(alone, ratio) == pytest.approx((usual, usual))


KWH_L = MILK_KJ_L * (18.0 - 4.0) / 3600
"""Of a litre that is brought from 18 to 4 degC."""


def test_cold_comes_with_the_milk_hour_by_hour(day: Duty) -> None:
    """Would fail if cold were asked in other hours than milk comes in, or milk were chilled to
    another temperature than the cooler's or that of tanks of chilled liquid."""
    made = milked(day, (5 * 60 + 30, 2.0, 6000.0), (23 * 60 + 45, 0.5, 900.0))
    ctx = bench_of(small())
    hours = cold.hourly_cold_kwh(ctx, made, worked_at(18.0, 4.0))
    expected = {5: 1500.0, 6: 3000.0, 7: 1500.0, 23: 450.0, 0: 450.0}
    assert hours == pytest.approx([KWH_L * expected.get(h, 0.0) for h in range(24)], rel=1e-6)
    halves = cold.hourly_cold_kwh(ctx, made, worked_at(18.0, 4.0), 2)
    told = {11: 1500.0, 12: 1500.0, 13: 1500.0, 14: 1500.0, 47: 450.0, 0: 450.0}
    assert halves == pytest.approx([KWH_L * told.get(h, 0.0) for h in range(48)], rel=1e-6)
    short = milked(day, (300, 0.001, 10.0))
    few = cold.hourly_cold_kwh(ctx, short, worked_at(18.0, 4.0))
    assert sum(few) == pytest.approx(10 * KWH_L)
    jackets = bench_of(small(TK1=machine("TK1", "bulk_tank", volume_l=9000, cooling_kw=9,
                                         cooling="chilled_water")))  # fmt: skip
    for out_c, stored_c, to_c in ((4.0, 3.0, 3.0), (4.0, 6.0, 4.0)):
        at = replace(made, stored_c=stored_c)
        kwh = sum(cold.hourly_cold_kwh(jackets, at, worked_at(18.0, out_c)))
        assert kwh == pytest.approx(6900 * MILK_KJ_L * (18.0 - to_c) / 3600)
    # The busiest hour and a fifth, with no cooler that takes more while milk flows.
    assert cold.cold_rate_kw(ctx, made, worked_at(18.0, 4.0)) == pytest.approx(3600 * KWH_L)


def sites(plant: Plant, altitude_m: float, redundancy: str) -> StudyContext:
    """A bench high up, with a wish of doubled machines."""
    return bench_of(plant.model_copy(update={
        "site": plant.site.model_copy(update={"altitude_m": altitude_m}),
        "wishes": plant.wishes.model_copy(update={"redundancy": redundancy}),
    }))  # fmt: skip


@pytest.mark.parametrize(("redundancy", "carry", "words"), [
    ("none", 3, " together with CH2"), ("shared-running", 2, " with any one off"),
])  # fmt: skip
def test_unlike_chillers_are_judged_by_those_that_must_carry_the_rate(
    day: Duty, redundancy: str, carry: int, words: str
) -> None:
    """Would fail if two of three chillers were held to another part of the milk's heat, or thin
    air (a fifth of a per cent less for each 100 m over 500 m) took nothing from them."""
    pair = {"CH1": machine("CH1", "chiller", count=2, duty_kw=10, rated_ambient_c=30),
            "CH2": machine("CH2", "chiller", duty_kw=50, rated_ambient_c=40)}  # fmt: skip
    ctx = sites(small(**pair), 2000.0, redundancy)
    cold.cold_plants(ctx, milked(day, (300, 2.0, 6000.0)), worked_at(18.0, 4.0))
    rate = 1.2 * 3000 * KWH_L
    limit = rate / carry / (1 - 0.002 * 15)
    duties = [f for f in ctx.notes.findings if f.key == "cooling.chiller.duty"]
    for one, has in zip(duties, (10.0, 50.0), strict=True):
        assert one.value == has and one.limit == pytest.approx(limit)
        assert inputs(one)["Q_milk"] == pytest.approx(rate / 1.2)
        assert one.advised == next_preferred(1.05 * limit) > limit
    assert words in duties[0].sentence and "At 2000 m" in duties[0].sentence
    rated = [f for f in ctx.notes.findings if f.key == "cooling.rated_ambient"]
    assert [(f.value, f.limit, f.verdict) for f in rated] == [(30, 32, "fails"), (40, 32, "holds")]
    assert ["Ask for its duty" in f.sentence for f in rated] == [True, False]
    assert not any(f.key == "cooling.chiller.standby" for f in ctx.notes.findings)


@pytest.mark.parametrize(("redundancy", "missed"), [("none", 0), ("duty-and-standby", 1)])
def test_a_chiller_alone_is_told_where_two_were_asked_for(
    day: Duty, redundancy: str, missed: int
) -> None:
    """Would fail if the one chiller of a farm that wants two passed, or one that suffices did
    not."""
    ctx = sites(with_cold({}, "CH1"), 140.0, redundancy)
    cold.cold_plants(ctx, milked(day, (300, 2.0, 6000.0)), worked_at(18.0, 4.0))
    lone = [f for f in ctx.notes.findings if f.key == "cooling.chiller.standby"]
    assert [(f.value, f.limit, f.verdict) for f in lone] == [(1.0, 2.0, "fails")] * missed


@pytest.mark.parametrize(("rate_kw", "needed"), [(25.0, 1), (60.0, 2), (61.0, 3)])
def test_no_more_chillers_run_together_than_the_milk_asks_for(
    day: Duty, monkeypatch: pytest.MonkeyPatch, rate_kw: float, needed: int
) -> None:
    """Would fail if the supply were sized for chillers that wait, or too few were let run."""
    pair = {"CH1": machine("CH1", "chiller", count=2, duty_kw=30, fed_from=("SB1",)),
            "CH2": machine("CH2", "chiller", duty_kw=45, fed_from=("SB1",))}  # fmt: skip
    ctx = sites(small(**pair), 140.0, "shared-running")
    monkeypatch.setattr(cold, "cold_rate_kw", lambda *_: rate_kw)
    loads = [x for x in electric_loads(ctx, day) if x.machine.kind in ("chiller", "milk_pump")]
    for _ in range(2):
        kept = cold.lead_and_lag(ctx, day, loads)
    for was, now in zip(loads, kept, strict=True):
        share = needed / 3 if was.machine.kind == "chiller" else 1.0
        assert now.on == {s: pytest.approx(n * share) for s, n in was.on.items()}
    told = [a.value for a in ctx.notes.assumptions if a.where == "chillers"]
    assert told == ([needed] if needed < 3 else [])


@pytest.mark.parametrize(("redundancy", "duties", "carry", "store"), [
    ("none", (40.0, 20.0), 3, 340.0),  # 80 kW of all, 140 kWh asked in the first hour of making
    ("none", (10.0, 5.0), 3, 360.0),  # the 60 kW that are wanted of all
    ("duty-and-standby", (40.0, 20.0), 2, 360.0),  # 53 kW of two of three, 60 kW wanted
    ("shared-running", (40.0, 20.0), 3, 340.0),
])  # fmt: skip
def test_unlike_ice_banks_by_the_days_curve(
    redundancy: str, duties: tuple[float, float], carry: int, store: float
) -> None:
    """Would fail if banks were held to another part of the day's cold, to fewer hours of making,
    or to a store that runs empty: 140 kWh are asked at six, at seven and at ten at night, and
    made from ten on for seven hours."""
    span = {"make_from": "22:00", "make_until": "05:00"}
    banks = {
        "IB1": machine("IB1", "ice_bank", store_kwh=300, duty_kw=duties[0], **span),
        "IB2": machine("IB2", "ice_bank", count=2, store_kwh=90, duty_kw=duties[1], **span),
    }
    ctx = sites(small(**banks), 140.0, redundancy)
    hours = [140.0 if h in (6, 7, 22) else 0.0 for h in range(24)]
    cold._ice(ctx, tuple(ctx.plant.machines(MakesCold)[-2:]), hours, ())
    found = ctx.notes.findings
    for one in (f for f in found if f.key == "cooling.ice.duty"):
        assert one.limit == pytest.approx(420 / 7 / carry)
        assert one.advised == next_preferred(1.05 * 420 / 7 / carry)
        assert inputs(one) == {"hours": 7, "banks": carry}
        assert ("with any one off" in one.sentence) == (carry == 2)
    for one, has in zip((f for f in found if f.key == "cooling.ice.store"), (300, 90), strict=True):
        assert one.value == has and one.limit == pytest.approx(store / carry)
        assert one.advised == next_preferred(1.1 * store / carry)
        assert inputs(one)["sum(asked)"] == 420
    made = ctx.notes.series[0].lines[1][2]
    whole = max(60.0, (duties[0] + 2 * duties[1]) * carry / 3)
    assert made == pytest.approx([whole if h >= 22 or h < 5 else 0.0 for h in range(24)])


def test_banks_of_which_nothing_is_asked_need_nothing() -> None:
    """Would fail if a day without milk stopped the sizing."""
    ctx = bench_of(small(IB1=machine("IB1", "ice_bank", store_kwh=300, duty_kw=9)))
    cold._ice(ctx, (ctx.plant.equipment["IB1"],), [0.0] * 24, ())  # type: ignore[arg-type]
    assert [f.limit for f in ctx.notes.findings if f.limit is not None] == [0.0, 0.0]


def test_chillers_beside_an_ice_bank_take_their_part(day: Duty) -> None:
    """Would fail if what two chillers take were made as ice too, or they were judged alone."""
    ctx = bench_of(small(
        IB1=machine("IB1", "ice_bank", store_kwh=300, duty_kw=9),
        CH1=machine("CH1", "chiller", count=2, duty_kw=5),
    ))  # fmt: skip
    cold.cold_plants(ctx, milked(day, (300, 2.0, 6000.0)), worked_at(18.0, 4.0))
    keys = {f.key for f in ctx.notes.findings}
    assert "cooling.chiller.duty" not in keys
    ice = next(f for f in ctx.notes.findings if f.key == "cooling.ice.duty")
    assert ice.limit == pytest.approx(2 * (1.2 * 3000 * KWH_L - 10) / 8)


@pytest.mark.parametrize(("from_", "until", "hours"), [
    ("22:00", "22:00", 24), ("22:00", "23:00", 1), ("22:30", "00:31", 3), ("22:00", "05:00", 7),
])  # fmt: skip
def test_hours_in_which_ice_is_made(from_: str, until: str, hours: int) -> None:
    """Would fail if a bank were held to hours in which it makes nothing."""
    bank = machine("IB1", "ice_bank", store_kwh=300, duty_kw=9, make_from=from_, make_until=until)
    found = cold.open_hours(bank.cold())  # type: ignore[attr-defined]
    assert sum(found) == hours and found[22]
