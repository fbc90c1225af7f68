"""Cooling in line and in the tank, against a reference library, heat balances and rules."""

from __future__ import annotations

import math

import pytest

from byrewright.physics.tank_fill import fill_and_cool
from byrewright.plant.farm import Tariff
from byrewright.plant.plant import Plant
from byrewright.plant.primitives import Loss
from byrewright.plant.roles import StoresMilk
from byrewright.results import Result
from byrewright.studies.sizing.cold import hourly_cold_kwh, lead_and_lag
from byrewright.studies.sizing.cooling import size_cooling
from byrewright.studies.sizing.duty import duty_of
from byrewright.studies.sizing.in_line import Line, in_line
from byrewright.studies.sizing.loads import electric_loads
from byrewright.studies.sizing.tank_cooling import size_tank_cooling, wanted_of
from byrewright.studies.sizing.tank_runs import Fill, reach_l, run_tank
from tests.plants import machine, pipe
from tests.studies.benches import bench_of, large, sized, small

LIBRARY = 1e-9
"""The same closed form in two codes."""
RHO_CP = 1.03 * 3.93
"""kJ/LK of whole milk."""
STEP = 0.01
"""The tank is stepped by the minute, the closed form is exact."""


def placed(plant: Plant, region: str) -> Plant:
    """The same plant under another region's rule."""
    return plant.model_copy(update={"site": plant.site.model_copy(update={"region": region})})


def wishing(plant: Plant, **wishes: object) -> Plant:
    """The same plant with other wishes."""
    return plant.model_copy(update={"wishes": plant.wishes.model_copy(update=wishes)})


def chilled(**extra: object) -> Plant:
    """84 stalls with a second stage fed by an ice bank, or by what `extra` says."""
    cooler = machine(
        "PC1", "plate_cooler", area_m2=6, water_ratio=2, chilled_area_m2=8, chilled_ratio=3
    )
    bank = machine("IB1", "ice_bank", store_kwh=600, duty_kw=90, leaving_c=1)
    plant = large(**{"PC1": cooler, "IB1": bank, **extra})
    ring = (pipe("LC1", "IB1.coolant_out", "PC1.coolant_in"),
            pipe("LC2", "PC1.coolant_out", "IB1.coolant_in"))  # fmt: skip
    joined = ring if "IB1" in plant.equipment else ()
    return plant.model_copy(update={"pipes": plant.pipes + joined})


def test_a_cooler_is_ordered_for_the_milk_that_passes_it() -> None:
    """Would fail if a cooler of a small first stage lost many times the pressure that is stated."""
    plant = chilled()
    one = sized(plant, size_cooling).finding("cooling.plate.flow")
    assert one.advised is not None and one.value is not None and one.value <= one.advised
    assert one.target == ("PC1", "milk_design_l_min")
    ordered = plant.equipment["PC1"].model_copy(update={"milk_design_l_min": one.advised})
    loss = next(p for p in ordered.lower() if isinstance(p, Loss) and p.a == "milk_in")
    assert (loss.at_l_min, loss.drop_kpa) == (one.advised, 80.0)


def test_the_table_of_stages_tells_the_milk_and_heat_of_all_coolers_alike() -> None:
    """Would fail if two alike coolers were told with the flow of one: the heat in the table is
    what the milk gives away (density and heat of milk from the rulebook)."""
    two = machine("PC1", "plate_cooler", count=2, area_m2=6, water_ratio=2)
    ctx = bench_of(small(PC1=two))
    duties = duty_of(ctx)
    size_cooling(ctx, duties)
    (row,) = next(t for t in ctx.notes.result().tables if t.key == "cooling.stages").rows
    milk_l_min, hot_c, out_c, kw = (float(row[i]) for i in (2, 3, 4, 7))
    assert milk_l_min == pytest.approx(in_line(ctx, duties).milk_l_min, rel=0.01)
    mass_kg_s = milk_l_min / 60_000 * ctx.number("milk.density_kg_m3")
    kj_k = mass_kg_s * ctx.number("milk.cp_kj_kgk")
    assert kw == pytest.approx(kj_k * (hot_c - out_c), rel=0.01)


def test_the_water_stage_against_a_library() -> None:
    """Effectiveness-NTU would differ from `ht` (counterflow)."""
    ht = pytest.importorskip("ht")
    plant = small(PC1=machine("PC1", "plate_cooler", area_m2=8, u_w_m2_k=2500, water_ratio=1.5))
    ctx = bench_of(plant)
    duties = duty_of(ctx)
    milk = duties.milk_flow_met_l_min / 60_000 * 1030 * 3930
    water = 1.5 * duties.milk_flow_met_l_min / 60_000 * 1000 * 4190
    effect = ht.effectiveness_from_NTU(
        NTU=8 * 2500 / min(milk, water),
        Cr=min(milk, water) / max(milk, water),
        subtype="counterflow",
    )
    out = 35 - effect * min(milk, water) * (35 - 12) / milk
    assert in_line(ctx, duties).pre_cooled_c == pytest.approx(out, rel=LIBRARY)


def test_the_advised_area_reaches_the_usual_approach() -> None:
    """The advised plate cooler would leave milk warmer than usual (2-5 K at two to one)."""
    poor = sized(
        small(PC1=machine("PC1", "plate_cooler", area_m2=1, water_ratio=2)), size_cooling
    ).finding("cooling.plate.approach")
    assert poor.verdict == "fails" and poor.advised is not None
    cured = machine("PC1", "plate_cooler", area_m2=poor.advised, water_ratio=2)
    better = sized(small(PC1=cured), size_cooling).finding("cooling.plate.approach")
    assert better.value is not None and better.value <= 3.5


def test_the_warmest_month_rules() -> None:
    """A cooler would be sized with winter water."""
    found = sized(small(), size_cooling).finding("cooling.plate.approach")
    assert "at 12 degC" in found.sentence


def test_a_chilled_stage_needs_something_cold() -> None:
    """A second stage fed by nothing would cool milk on paper."""
    result = sized(chilled(IB1=None), size_cooling)
    assert result.finding("cooling.coolant").verdict == "fails"


def test_ice_is_the_days_heat() -> None:
    """The ice bank's cold would not be the heat of the day's milk and a fifth."""
    ctx = bench_of(chilled())
    duties = duty_of(ctx)
    point = in_line(ctx, duties)
    hours = hourly_cold_kwh(ctx, duties, point)
    expected = duties.saleable_l_day * RHO_CP * (point.pre_cooled_c - point.out_c) / 3600
    assert sum(hours) == pytest.approx(expected)
    size_cooling(ctx, duties)
    limit = ctx.notes.result().finding("cooling.ice.duty").limit
    assert limit == pytest.approx(1.2 * expected / 8)  # 22:00 to 06:00


def test_the_advised_ice_bank_holds() -> None:
    """An ice bank would be advised that then fails."""
    small_bank = machine("IB1", "ice_bank", store_kwh=50, duty_kw=5, leaving_c=1)
    poor = sized(chilled(IB1=small_bank), size_cooling)
    sizes = {f: poor.finding(f"cooling.ice.{f}") for f in ("duty", "store")}
    assert all(f.verdict == "fails" for f in sizes.values())
    good = machine(
        "IB1",
        "ice_bank",
        leaving_c=1,
        store_kwh=sizes["store"].advised,
        duty_kw=sizes["duty"].advised,
    )
    again = sized(chilled(IB1=good), size_cooling)
    assert {again.finding(f"cooling.ice.{f}").verdict for f in sizes} <= {"holds", "tight"}


def test_an_ice_bank_that_stands_by_carries_the_day_alone() -> None:
    """Would fail if a duty bank were sized for half the day because another stands by, or banks
    that are to share it for the whole."""
    pair = {i: machine(i, "ice_bank", store_kwh=300, duty_kw=40) for i in ("IB1", "IB2")}
    limits: dict[str, list[float]] = {}
    for wish in ("none", "shared-running", "duty-and-standby"):
        found = sized(wishing(chilled(**pair), redundancy=wish), size_cooling)
        each = [found.finding(f"cooling.ice.{f}@IB1") for f in ("duty", "store")]
        limits[wish] = [f.limit or 0.0 for f in each]
        assert all(("with IB2 off" in f.sentence) == (wish == "duty-and-standby") for f in each)
    alone = sized(chilled(), size_cooling)
    whole = [alone.finding(f"cooling.ice.{f}").limit or 0.0 for f in ("duty", "store")]
    assert limits["duty-and-standby"] == pytest.approx(whole, rel=0.15)
    assert limits["none"] == limits["shared-running"]
    assert limits["none"][0] == pytest.approx(whole[0] / 2)


def test_ice_made_at_dear_hours_is_said() -> None:
    """Ice would be made at the day price without a word."""
    bank = machine(
        "IB1", "ice_bank", store_kwh=600, duty_kw=90, make_from="10:00", make_until="16:00"
    )
    plant = chilled(IB1=bank)
    supply = plant.site.supply.model_copy(
        update={
            "tariff": (Tariff(start="06:00", price_kwh=0.3), Tariff(start="22:00", price_kwh=0.1))
        }
    )
    dear = plant.model_copy(update={"site": plant.site.model_copy(update={"supply": supply})})
    assert sized(dear, size_cooling).finding("cooling.ice.tariff").value == 6


def test_chillers_carry_the_rate_alone() -> None:
    """With one chiller tripped the other would be too small and nothing would say so."""
    pair = {i: machine(i, "chiller", duty_kw=60) for i in ("CH1", "CH2")}
    result = sized(chilled(IB1=None, **pair), size_cooling)
    ctx = bench_of(chilled(IB1=None, **pair))
    point = in_line(ctx, duty_of(ctx))
    found = result.finding("cooling.chiller.duty@CH1")
    assert found.limit == pytest.approx(1.2 * point.chilled_kw)
    assert "with CH2 off" in found.sentence


def test_twin_chillers_ask_the_supply_for_one() -> None:
    """Both chillers in full were counted although one carries the milk, and the supply failed."""
    pair = {i: machine(i, "chiller", duty_kw=120) for i in ("CH1", "CH2")}
    plant = chilled(IB1=None, **pair)
    asked = {}
    for redundancy in ("none", "shared-running"):
        wishes = plant.wishes.model_copy(update={"redundancy": redundancy})
        ctx = bench_of(plant.model_copy(update={"wishes": wishes}))
        loads = electric_loads(ctx, duty_of(ctx))
        together = lead_and_lag(ctx, duty_of(ctx), loads)
        asked[redundancy] = (
            sum(x.kw("milking") for x in together if x.machine.id in pair),
            sum(x.kw("milking") for x in loads if x.machine.id in pair),
        )
        assert any(a.where == "chillers" for a in ctx.notes.assumptions) == (redundancy != "none")
    assert asked["none"][0] == asked["none"][1] > 0
    assert asked["shared-running"][0] == pytest.approx(asked["shared-running"][1] / 2)


def test_a_mixed_tank_against_its_closed_form() -> None:
    """The stepped tank would not cool at the rate of a heat balance."""
    run = fill_and_cool(
        start_l=1000,
        start_c=35,
        inflow_l_min=lambda _: 0.0,
        inflow_c=35,
        minutes=60,
        cooling_kw=20,
        set_c=0.5,
    )
    assert run.temperature_c[-1] == pytest.approx(35 - 20 * 3600 / (1000 * RHO_CP), abs=STEP)
    assert run.cooled_kwh == pytest.approx(20)


def test_a_jacket_gives_less_near_its_liquid_and_where_little_milk_touches_it() -> None:
    """Sizing would promise milk that the day, which cools by this law, never finds: towards its
    liquid a tank falls as exp(-t / T) (closed form), never to it."""
    kw, share, to_c, full_k, minutes = 4.0, 0.5, 1.0, 10.0, 300
    run = fill_and_cool(
        start_l=1000,
        start_c=8,
        inflow_l_min=lambda _: 0.0,
        inflow_c=8,
        minutes=minutes,
        cooling_kw=kw,
        set_c=0.5,
        touched=lambda _: share,
        chilled_c=to_c,
    )
    constant_s = 1000 * RHO_CP * full_k / (kw * share)
    wanted = to_c + (8 - to_c) * math.exp(-60 * minutes / constant_s)
    assert run.temperature_c[-1] == pytest.approx(wanted, abs=STEP)


def test_a_tank_of_chilled_liquid_is_advised_what_holds_it_with_its_agitator() -> None:
    """A small tank would be drafted whose stirring warms it faster than its jacket cools."""
    poor = chilled(
        TK1=machine(
            "TK1", "bulk_tank", volume_l=1500, cooling="ice_bank", cooling_kw=1.5, set_c=3.5
        )
    )
    found = sized(poor, size_tank_cooling)
    duty = found.finding("cooling.tank.duty")
    agitator = found.finding("cooling.tank.agitator")
    assert agitator.value == 0.75 and agitator.advised == 0.06
    assert duty.advised is not None and duty.advised >= 0.75 / ((3.5 - 1.0) / 10.0)


def test_a_tank_that_cannot_take_out_its_own_heat_fails_though_milk_comes_cold() -> None:
    """A jacket weaker than its agitator and wall would pass, since cold milk asks for nothing."""
    for kw, verdict in ((0.9, "fails"), (2.5, "holds")):
        tank = machine("TK1", "bulk_tank", volume_l=1500, cooling="ice_bank", cooling_kw=kw,
                       set_c=3.5)  # fmt: skip
        duty = sized(chilled(TK1=tank), size_tank_cooling).finding("cooling.tank.duty")
        wall = next(i.value for i in duty.inputs if i.symbol == "P_wall")
        limit_c = next(i.value for i in duty.inputs if i.symbol == "T_limit")
        assert isinstance(wall, float) and isinstance(limit_c, float)
        share = min(1.0, (limit_c - 1.0) / 10.0)  # of its rating, near liquid of 1 degC
        assert duty.limit == pytest.approx((0.75 + wall) / share, rel=0.02)
        assert duty.verdict == verdict
    bare = machine("TK1", "bulk_tank", volume_l=1500, cooling="none", cooling_kw=0)
    none = sized(chilled(TK1=bare), size_tank_cooling).finding("cooling.tank.duty")
    assert none.verdict == "holds" and "no cooling of its own" in none.sentence


def test_heat_is_conserved_while_a_tank_fills() -> None:
    """Heat would be made or lost in the tank: heat in less heat out is what it holds."""
    run = fill_and_cool(
        start_l=500,
        start_c=4,
        inflow_l_min=lambda m: 50.0 if m < 90 else 0.0,
        inflow_c=18,
        minutes=240,
        cooling_kw=25,
        set_c=3.5,
        other_heat_kw=1,
    )
    held = run.content_l[-1] * RHO_CP * run.temperature_c[-1]
    came = RHO_CP * (500 * 4 + 4500 * 18) + 240 * 60
    assert held == pytest.approx(came - 3600 * run.cooled_kwh)


def test_rules_by_region() -> None:
    """A US plant would be held to the EU figure (8 degC) or the other way (7 degC, blend 10)."""
    eu, us = (wanted_of(bench_of(placed(small(), r)), 3.0) for r in ("eu", "US"))
    assert eu is not None and us is not None
    assert (eu.limit_c, eu.blend_c) == (8.0, None)
    assert (us.limit_c, us.within_h, us.blend_c) == (7.0, 2.0, 10.0)


def test_not_daily_collection_is_held_to_six() -> None:
    """EU milk collected every other day would be held to the daily figure."""
    plant = small()
    second = plant.model_copy(
        update={
            "collections": tuple(c.model_copy(update={"every_days": 2}) for c in plant.collections)
        }
    )
    wanted = wanted_of(bench_of(second), 3.0)
    assert wanted is not None and wanted.limit_c == 6.0


def test_an_unheld_region_is_unknown() -> None:
    """A region without a held rule would be judged by another's."""
    found = sized(placed(small(), "Atlantis"), size_tank_cooling).finding("cooling.rule")
    assert found.verdict == "unknown" and "held are" in found.sentence


def test_warm_milk_on_cold_breaks_the_blend() -> None:
    """Warm milk into a weakly cooled tank would pass the 10 degC blend rule."""
    weak = {i: machine(i, "bulk_tank", volume_l=30000, cooling_kw=8) for i in ("TK1", "TK2")}
    plant = placed(small(PC1=None, **weak), "US")
    found = sized(plant, size_tank_cooling).finding("cooling.tank.blend@TK1")
    assert found.verdict == "fails" and found.value is not None and found.value > 10


@pytest.mark.parametrize("without", [{}, {"PC1": None}], ids=["cooled before", "warm"])
def test_the_advised_tank_cooling_holds(without: dict[str, None]) -> None:
    """The advised refrigeration would not keep the rule it is advised for: where milk comes in
    warm, the blend asks for most."""

    def tank(kw: float) -> Result:
        one = {"TK1": machine("TK1", "bulk_tank", volume_l=30000, cooling_kw=kw)}
        return sized(placed(small(**without, **one), "US"), size_tank_cooling)

    poor = tank(3).finding("cooling.tank.duty@TK1")
    assert poor.verdict == "fails" and poor.advised is not None
    assert (
        "the blend decides" if without else "the first milking in time decides"
    ) in poor.sentence
    good = tank(poor.advised)
    for name in ("duty", "pull_down", "blend"):
        assert good.finding(f"cooling.tank.{name}@TK1").verdict in ("holds", "tight")


def test_milk_straight_to_the_tanker_must_be_cold() -> None:
    """Milk cooled by water alone would be loaded straight."""
    assert sized(small(), size_tank_cooling).finding("cooling.direct_load").verdict == "fails"
    cold = wishing(chilled(), milk_out_c=5.0)
    assert sized(cold, size_tank_cooling).finding("cooling.direct_load").verdict == "holds"


def test_a_hot_afternoon_beyond_the_rating_is_said() -> None:
    """Refrigeration rated at 25 degC would be trusted at 32."""
    unit = machine("CU1", "condensing_unit", duty_kw=60, rated_ambient_c=25)
    found = sized(small(CU1=unit), size_tank_cooling).finding("cooling.rated_ambient@CU1")
    assert found.verdict == "fails"


def test_a_tank_without_its_condensing_unit_is_named() -> None:
    """A direct-expansion tank with nothing joined to it would be taken as cooled."""
    result = sized(small(CU1=None), size_tank_cooling)
    assert result.finding("cooling.condensing_unit").verdict == "fails"


def test_coolers_in_a_row_add_and_side_by_side_share() -> None:
    """Two machines in a row would be sized as if each saw half the milk, straight from the cow."""
    half = {"area_m2": 10.0, "water_ratio": 2.0}

    def line(series: bool) -> Line:
        base = small(PC1=machine("PC1", "plate_cooler", **half),
                     PC2=machine("PC2", "plate_cooler", **half))  # fmt: skip
        moved = [
            p.model_copy(update={"start": "PC2.milk_out"})
            if series and p.start == "PC1.milk_out" else p
            for p in base.pipes
        ]  # fmt: skip
        moved += [pipe("LW1", "WF1.outlet", "PC2.water_in"),
                  pipe("LW2", "PC2.water_out", "WT2.inlet_2")]  # fmt: skip
        if series:
            moved.append(pipe("LX1", "PC1.milk_out", "PC2.milk_in"))
        else:
            moved += [pipe("LX1", "V40.b", "PC2.milk_in"), pipe("LX2", "PC2.milk_out", "V31.a")]
        ctx = bench_of(base.model_copy(update={"pipes": tuple(moved)}))
        return in_line(ctx, duty_of(ctx))

    row, side = line(series=True), line(series=False)
    assert row.each["PC1"].milk_l_min == row.each["PC2"].milk_l_min == row.milk_l_min
    assert row.each["PC2"].in_c == row.each["PC1"].out_c
    assert row.out_c == row.each["PC2"].out_c < row.each["PC1"].out_c
    assert side.each["PC1"].milk_l_min == pytest.approx(side.milk_l_min / 2, rel=0.02)
    assert side.each["PC2"].in_c == side.each["PC1"].in_c
    # Another way for the milk: its pump gives another flow, and evens it out a little otherwise.
    assert row.water_l_min == pytest.approx(2 * side.water_l_min, rel=0.01)


def test_milk_that_no_agitator_reaches_is_not_warmed_by_it() -> None:
    """Would fail if little cold milk in a large tank were warmed by an agitator that stands, or
    through a wall that it does not wet, until no cooling met the rule."""
    ctx = bench_of(large())
    tank = ctx.plant.machines(StoresMilk)[0].model_copy(
        update={"volume_l": 20000.0, "stirred_from_l": None, "agitator_kw": 0.55}
    )
    assert reach_l(ctx, tank) > 1500.0
    run = run_tank(ctx, tank, Fill(0.0, 15.0, 100), 20.0, 3.8)
    # A sixth of the wall is wet: 0.1 kW x 8 h x 3600 / (1500 x 1.03 x 3.9 kJ/K) is half a kelvin.
    assert 4.0 < run.temperature_c[-1] < 4.8


def test_the_class_of_a_tank_is_told_with_the_air_it_holds_in() -> None:
    """A class that holds in 32 degC would be trusted on an afternoon of 36.

    Class 2BII of EN 13732 (from memory): half the volume in 3 h, in air of up to 32, safe to 38.
    """
    for cooling, hottest, told in (
        ("direct_expansion", 30, True), ("direct_expansion", 36, True),
        ("chilled_water", 36, False),
    ):  # fmt: skip
        tank = machine("TK1", "bulk_tank", volume_l=12000, cooling=cooling, cooling_kw=60,
                       milkings_class=2, ambient_class="B", time_class="II")  # fmt: skip
        plant = small(TK1=tank)
        site = plant.site.model_copy(update={"hottest_c": hottest})
        found = sized(plant.model_copy(update={"site": site}), size_tank_cooling)
        one = found.finding("cooling.tank.class@TK1")
        assert one.value == pytest.approx(6000 * RHO_CP * 31 / 3 / 3600, rel=STEP)
        assert "2BII" in one.sentence
        assert ("in air of up to 32 degC" in one.sentence) == told
        assert ("safe up to 38" in one.sentence) == (told and hottest > 32)
