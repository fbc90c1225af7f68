"""Wash water, heaters, troughs, slugs and products, worked by hand on a wash that is made up."""

from __future__ import annotations

from dataclasses import replace
from math import ceil
from types import SimpleNamespace
from typing import Any

import pytest

from byrewright.physics.wash_heat import saturation_kpa
from byrewright.plant.plant import Mode
from byrewright.plant.programme import WashKind
from byrewright.standards.cleaning import HEATER_KW
from byrewright.studies.sizing import suction, wash_heat, washing
from byrewright.studies.sizing.context import StudyContext
from byrewright.studies.sizing.duty import Duty, duty_of
from byrewright.studies.sizing.sizes import next_preferred
from byrewright.studies.sizing.washing import WashHeat
from tests.plants import machine
from tests.studies.benches import bench_of, milked, small
from tests.studies.told import inputs


@pytest.fixture(scope="module")
def day() -> Duty:
    """Milkings that end at seven and at eighteen; water of 7 degC at the coldest."""
    made = milked(duty_of(bench_of(small())), (300, 2.0, 6000.0), (960, 2.0, 4000.0))
    washed = tuple(replace(m, washed_after=True) for m in made.milkings)
    return replace(made, milkings=washed, water_coldest_c=7.0, units=50)


def step(name: str, litres: float, at_c: float | None, minutes: float, kind: WashKind,
         strength: float = 0.0) -> Any:  # fmt: skip
    """A step of a wash."""
    return SimpleNamespace(name=name, litres=litres, at_c=at_c, minutes=minutes, kind=kind,
                           strength=strength, circulates=strength > 0)  # fmt: skip


RINSE, ALKALINE = WashKind.WARM_RINSE, WashKind.ALKALINE
WASH: Any = SimpleNamespace(
    steps=(step("first", 300.0, None, 4.0, RINSE), step("hot", 500.0, 77.0, 8.0, ALKALINE, 0.005),
           step("warm", 400.0, 42.0, 5.0, RINSE, 0.001)),
    units=50, hot_l=500.0, wet_l=320.0, lines_l=200.0, water_l=1200.0, lines_govern=False,
)  # fmt: skip
"""Three steps: 300 L cold, 500 L at 77 and 400 L at 42 degC."""


def on_bench(rules: dict[str, float] | None = None, **changes: object) -> StudyContext:
    """A bench whose programme washes so, twice a day."""
    ctx = bench_of(small(**changes), rules)
    ctx._programme = SimpleNamespace(wash=WASH, washes_a_day=2)  # type: ignore[assignment]
    return ctx


HEATERS = {
    "WH1": machine("WH1", "water_heater", volume_l=600, heater_kw=12, set_c=87, count=2),
    "WH2": machine("WH2", "water_heater", volume_l=300, heater_kw=6, set_c=70),
}


def test_heat_and_time_of_a_wash(day: Duty) -> None:
    """Would fail if a step were heated from another temperature, drawn from the cooler of two
    heaters, or fill and drain forgotten (4 min each, 15 min to change over)."""
    ctx = on_bench(**HEATERS)
    heat = washing.wash_heat_of(ctx, day)
    assert heat.at_c == (7.0, 77.0, 42.0) and washing.heater_set_c(ctx) == 87
    assert heat.heater_l == pytest.approx((500 * 70 + 400 * 35) / 80)
    assert heat.heat_kwh == pytest.approx((500 * 70 + 400 * 35) * 4.19 / 3600, rel=1e-3)
    assert heat.minutes == 15 + 17 + 3 * 4
    assert washing.wash_heat_of(ctx, day, 50.0).at_c == (50.0, 77.0, 50.0)
    washing._water(ctx, day, heat)
    (told,) = ctx.notes.findings
    assert told.value == 1200 and "hot 500 L at 77 degC" in told.sentence
    assert "2400 L a day" in told.sentence
    standing = round(320 - ctx.number("wash.water_line_share") * 200)
    assert inputs(told).items() >= {"n": 50, "V_lines": 200, "V_standing": standing}.items()
    rows = ctx.notes.tables[0].rows
    assert rows[1][2:] == (500, 77.0, 8.0, 0.5, "yes") and rows[0][6] == "no"
    washing._time(ctx, replace(day, wash_gap_min=40.0), heat.minutes)
    washing._time(ctx, replace(day, wash_gap_min=50.0), heat.minutes)
    washing._time(ctx, replace(day, wash_gap_min=-5.0), heat.minutes)
    slow, fits, none = ctx.notes.findings[1:]
    assert (slow.value, slow.limit, slow.verdict) == (44, 40.0, "fails")
    assert "Shorten milking" in slow.sentence and "Shorten" not in fits.sentence
    assert none.limit == 0.0 and "no time at all" in none.sentence


@pytest.mark.parametrize(("changes", "have", "alone"), [
    ({}, 900.0, True),
    ({"TR1": machine("TR1", "wash_trough", volume_l=300, count=2)}, 600.0, False),
    ({"TR2": machine("TR2", "wash_trough", volume_l=100)}, 1000.0, False),
])  # fmt: skip
def test_a_trough_holds_the_charge_and_room(
    changes: dict[str, object], have: float, alone: bool
) -> None:
    """Would fail if one of several troughs were advised to hold all."""
    ctx = on_bench(**changes)
    washing._trough(ctx, WASH)
    (told,) = ctx.notes.findings
    need = 500 * (1 + ctx.number("wash.trough_freeboard_share"))
    assert (told.value, told.limit) == (have, round(need))
    assert told.advised == (next_preferred(1.05 * need) if alone else None)
    assert (told.target is not None) == alone


@pytest.mark.parametrize(("fuel", "eta_rule"), [
    ("electric", "heater.efficiency_electric"), ("gas", "heater.efficiency_fuel"),
])  # fmt: skip
def test_unlike_heaters_share_a_wash_and_a_tanks_wash(
    day: Duty, monkeypatch: pytest.MonkeyPatch, fuel: str, eta_rule: str
) -> None:
    """Would fail if each heater were held to all, the wash of the largest tank were left out, or
    less time were taken than lies between washes (11 h, less the wash, at most the rule's)."""
    monkeypatch.setattr(washing, "_heater_kw_within_supply", lambda *_: 18.0)
    made = {t: m.model_copy(update={"fuel": fuel}) for t, m in HEATERS.items()}
    tanks = {"TK1": machine("TK1", "bulk_tank", volume_l=9000, cooling_kw=9),
             "TK2": machine("TK2", "bulk_tank", volume_l=4000, cooling_kw=9)}  # fmt: skip
    for most_h in (3.0, 99.0):
        ctx = on_bench({"heater.recovery_h": most_h}, **made, **tanks)
        heat = WashHeat(WASH, (), 600.0, 50.0, 60.0)
        washing._heater(ctx, day, heat)
        charge, *others = ctx.notes.findings
        assert charge.value == 500 and "rest stays in the trough" in charge.sentence
        hot_c = ctx.plant.cleaning.hot_c
        assert f": {500 * 4.19 * (hot_c - 7) / 3600:.0f} kWh from 7 degC" in charge.sentence
        tank = 0.02 * 9000
        need = (600 + tank) / ctx.number("heater.usable_share")
        volumes = [f for f in others if f.key == "wash.heater_volume"]
        powers = [f for f in others if f.key == "wash.heater_power"]
        hours = min(most_h, (660 - 60) / 60)
        energy = 50 + tank * 4.19 * (87 - 7) / 3600
        kw = energy * (1 + ctx.number("heater.standing_loss_per_h") * hours) / hours / (
            ctx.number(eta_rule))  # fmt: skip
        for one, size, power, has in zip(volumes, (600, 300), powers, (12, 6), strict=True):
            assert (one.value, power.value) == (size, has)
            assert one.limit == pytest.approx(need * size / 1500, abs=0.06)
            assert one.advised == next_preferred(1.05 * need / 3) and power.advised == 18.0
            assert power.limit == pytest.approx(kw * has / 30, abs=0.01)
            assert inputs(power)["t"] == hours
        assert "hold 1500 L at 87 degC" in volumes[0].sentence


@pytest.mark.parametrize(("limit_kva", "other_kva", "expected"), [
    (None, 10.0, "usual"), (500.0, 10.0, "usual"), (61.0, 10.0, "least"), (20.0, 30.0, "usual"),
    (30.0, 10.0, "least"),
])  # fmt: skip
def test_heaters_within_what_the_supply_allows(
    day: Duty, monkeypatch: pytest.MonkeyPatch, limit_kva: float | None, other_kva: float,
    expected: str,
) -> None:  # fmt: skip
    """Would fail if heaters were advised that by themselves pass the supply's limit, or smaller
    ones where it has room, or is too small for all else."""
    need = 50.3
    usual = next(k for k in HEATER_KW if k >= 1.05 * need / 2)
    loads = [SimpleNamespace(machine=SimpleNamespace(id="WH1"), kva=0.0),
             SimpleNamespace(machine=SimpleNamespace(id="VP1"), kva=other_kva)]  # fmt: skip
    monkeypatch.setattr(washing, "electric_loads", lambda *_: loads)
    monkeypatch.setattr(washing, "lead_and_lag", lambda *given: given[-1])
    monkeypatch.setattr(washing, "replace", lambda x, each_kw: SimpleNamespace(
        machine=x.machine, kva=2 * each_kw))  # fmt: skip
    monkeypatch.setattr(washing, "demand_kva", lambda every, situation: sum(
        x.kva for x in every) * (situation == "washing"))  # fmt: skip
    heaters = {"WH1": machine("WH1", "water_heater", volume_l=600, heater_kw=12, count=2)}
    ctx = on_bench(**heaters)
    supply = ctx.plant.site.supply.model_copy(update={"limit_kva": limit_kva})
    ctx.plant = ctx.plant.model_copy(
        update={"site": ctx.plant.site.model_copy(update={"supply": supply})}
    )
    found = washing._heater_kw_within_supply(ctx, day, (heaters["WH1"],), need)  # type: ignore[arg-type]
    assert found == (usual if expected == "usual" else ceil(10 * need / 2) / 10)
    gas = heaters["WH1"].model_copy(update={"fuel": "gas"})
    assert washing._heater_kw_within_supply(ctx, day, (gas,), need) == usual  # type: ignore[arg-type]


@pytest.mark.parametrize(("looped", "way_m"), [(True, 30.0), (False, 60.0)])
def test_a_slug_runs_the_way_it_has(day: Duty, looped: bool, way_m: float) -> None:
    """Would fail if a slug were told to run round the whole of a loop, or in minutes."""
    line = machine("ML1", "milkline", bore_mm=98, slope_pct=1, length_m=60, looped=looped)
    ctx = on_bench(ML1=line)
    washing._slug(ctx, day)
    slug = ctx.notes.findings[0]
    seconds = way_m / ctx.number("wash.slug_velocity_m_s")
    assert inputs(slug)["L"] == way_m and f"runs {seconds:.1f} s" in slug.sentence


def test_products_by_their_steps(day: Duty) -> None:
    """Would fail if detergent were counted in rinses, or acid at each wash: 2.5 L of detergent and
    0.4 L in another step, twice a day."""
    ctx = on_bench({"wash.acid_share": 0.004})
    cleaning = ctx.plant.cleaning.model_copy(update={"acid_every_days": 5})
    ctx.plant = ctx.plant.model_copy(update={"cleaning": cleaning})
    washing._chemicals(ctx, WASH)
    told = ctx.notes.findings[-1]
    assert told.value == pytest.approx(2 * 2.9) and "5.8 L of product a day" in told.sentence
    assert "2.5 L of detergent a wash, 150 L a month; 2.0 L of acid" in told.sentence
    assert "12 L a month" in told.sentence
    assert ctx.notes.tables[0].rows == (("detergent", 2.5, 5.0, 150), ("acid", 2.0, 0.4, 12))
    washing._flow(ctx, day)
    flow = next(f for f in ctx.notes.findings if f.key == "wash.flow")
    assert flow.value == round(50 * ctx.number("wash.unit_flow_l_min"))


@pytest.mark.parametrize(("ppm", "hard"), [(None, False), (119.0, False), (400.0, True)])
def test_acid_by_the_hardness_of_the_water(
    monkeypatch: pytest.MonkeyPatch, ppm: float | None, hard: bool
) -> None:
    """Would fail if soft water were told as hard, or a hardness that nobody stated as known."""
    mmol = None if ppm is None else ppm / 100.09
    monkeypatch.setattr(washing, "hardness_mmol_l", lambda *_: mmol)
    ctx = on_bench({"wash.hard_water_ppm": 120.0})
    washing._acid(ctx)
    (told,) = ctx.notes.findings
    rule = "wash.acid_hard_every_days" if hard else "wash.acid_every_days"
    assert told.limit == ctx.number(rule)
    words = "not stated" if ppm is None else f"is {'' if hard else 'not '}hard ({ppm:.0f} mg/L)"
    assert words in told.sentence


def test_hot_water_of_tanks() -> None:
    """Would fail if a tank were washed with another share of its volume."""
    ctx = on_bench(TK1=machine("TK1", "bulk_tank", volume_l=9000, cooling_kw=9))
    washing._tanks(ctx)
    assert ctx.notes.findings[0].value == 180 and washing.largest_tank_wash_l(ctx) == max(
        180.0, 0.02 * ctx.plant.equipment["TK2"].volume_l)  # type: ignore[attr-defined]  # fmt: skip


@pytest.mark.parametrize(("back", "hot_c", "figures"), [
    (50.0, 80.0, []), (45.0, 80.0, ["hot_c", "water_l_unit"]), (45.0, 85.0, ["water_l_unit"]),
    (18.0, 55.0, ["hot_c", "water_l_unit"]),
])  # fmt: skip
def test_a_cold_return_is_mended_by_a_hotter_start_or_more_water(
    back: float, hot_c: float, figures: list[str]
) -> None:
    """Would fail if a wash that is warm enough were made hotter, or more water were asked for than
    the steel takes: 50 units of 10 L that are to come back at 50 degC."""
    plant = small()
    cleaning = plant.cleaning.model_copy(update={"hot_c": hot_c, "end_c": 50.0})
    plant = plant.model_copy(update={"cleaning": cleaning})
    wash: Any = SimpleNamespace(hot_l=500.0, units=50)
    found = wash_heat.hotter_wash(plant, back, 85.0, wash)
    told = [(r.figure, r.to) for r in found]
    by_hand = []
    if back < 50:
        gain = (hot_c - 15) / max(5.0, back - 15)
        if hot_c < 85:
            by_hand.append(("hot_c", min(85.0, float(ceil(hot_c + gain * (50 - back))))))
        times = (hot_c - back) * 35 / (max(1.0, hot_c - 50) * max(5.0, back - 15))
        each = float(ceil(max(1.2, times) * 10))
        by_hand.append(("water_l_unit", min(wash_heat.MOST_WASH_L_UNIT, each)))
    assert told == by_hand and [figure for figure, _ in told] == figures


@pytest.mark.parametrize("charge_l", [500.0, 0.0])
def test_the_charge_mixes_with_what_the_rinse_left(
    monkeypatch: pytest.MonkeyPatch, charge_l: float
) -> None:
    """Would fail if what stands in a balance tank were as hot as the wash, or a wash went round for
    longer than its charge takes: 100 L at half way from 38 to 7 degC."""
    seen: list[Any] = []
    monkeypatch.setattr(wash_heat, "wash_return_c", lambda *given: seen.append(given) or 61.0)
    monkeypatch.setattr(wash_heat, "_left_l", lambda _: 100.0)
    ctx = on_bench({"wash.main_min": 8.0, "air.building_over_ambient_k": 5.0})
    cleaning = ctx.plant.cleaning.model_copy(update={"rinse_c": 38.0})
    site = ctx.plant.site.model_copy(update={"room_heated_to_c": None})
    ctx.plant = ctx.plant.model_copy(update={"cleaning": cleaning, "site": site})
    for round_l_min, minutes in ((None, 8.0), (50.0, 8.0), (200.0, 3.0)):
        found = wash_heat.hot_wash_end(ctx, 77.0, charge_l, 2.0, round_l_min)
        mixed, takes, litres, _, warm, _, room, *_ = seen[-1]
        left = 100.0 if charge_l else 0.0
        whole = charge_l + left
        assert (found.end_c, found.left_l, found.room_c) == (61.0, left, 7.0)
        assert (warm, room, litres) == (22.5, 7.0, whole)
        assert mixed == pytest.approx((500 * 77 + 100 * 22.5) / 600 if charge_l else 77.0)
        assert takes == (minutes if charge_l or round_l_min is None else 0.0)
    heated = ctx.plant.site.model_copy(update={"room_heated_to_c": 12.0})
    ctx.plant = ctx.plant.model_copy(update={"site": heated})
    assert wash_heat.hot_wash_end(ctx, 77.0, charge_l, 2.0).room_c == 12.0
    ends: list[Any] = []
    monkeypatch.setattr(wash_heat, "hot_wash_end", lambda *given: ends.append(given)
                        or SimpleNamespace(end_c=70.0))  # fmt: skip
    assert wash_heat.hottest_wash_c(ctx, 90.0) == 70.0
    assert ends[0][1:] == (77.0, 500.0, max(ctx.plant.site.ambient_c), 90.0)


@pytest.mark.parametrize(("npsh_m", "needs", "short", "mended"), [
    (9.0, None, False, False), (4.2, None, True, True), (0.4, None, True, False),
    (4.2, 1.0, False, False),
])  # fmt: skip
def test_suction_head_over_boiling(
    monkeypatch: pytest.MonkeyPatch, npsh_m: float, needs: float | None, short: bool, mended: bool
) -> None:
    """Would fail if a pump were let boil its hot wash, or one asked for that is not made."""
    pump = machine("MP1", "milk_pump", flow_l_min=90, head_m=9, motor_kw=2, npsh_m=needs)
    ctx = on_bench(MP1=pump)
    at: Any = SimpleNamespace(
        npsh_m=npsh_m, boils_kpa_abs=2.0, density_kg_m3=980.0, mode="wash", source="RC1",
        vacuum_kpa=42.0, l_min=90.0,
    )  # fmt: skip
    low = suction._inlet(at, 90.0, 60.0, "wash")
    over = npsh_m + (2.0 - saturation_kpa(60.0)) / 0.980 / 9.80665
    assert low.over_m == pytest.approx(over) and low.liquid == "wash at 60 degC"
    suction._judge(ctx, pump, low, "wash.npsh", "X", "here", "No pump")  # type: ignore[arg-type]
    (told,) = ctx.notes.findings
    margin = ctx.number("pump.npsh_margin_m")
    limit = (ctx.number("pump.npsh_m") if needs is None else needs) + margin
    assert told.limit == pytest.approx(limit) and told.value == pytest.approx(over, abs=0.005)
    assert (told.verdict == "fails") == short == (over < limit)
    least = ctx.rules["pump.npsh_m"].low
    offers = int(10 * (over - margin) + 1e-9) / 10
    mends = over < limit and least is not None and offers >= least
    assert mends == mended
    assert [r.to for r in told.remedies] == ([pytest.approx(offers)] if mended else [])
    assert ("No pump" in told.sentence) == (short and not mended)
    for mode, warm, what in (("wash", 71.0, "wash"), ("rinse_out", None, "rinse water"),
                             ("milking", 35.0, "milk")):  # fmt: skip
        monkeypatch.setattr(suction, "hottest_wash_c", lambda *_: 71.0)
        rinse = Mode(name="rinse_out", does=("rinse",))
        ctx.plant = ctx.plant.model_copy(update={"modes": {**ctx.plant.modes, "rinse_out": rinse}})
        told_c, word = suction._temperature(ctx, mode, at)
        assert word == what and told_c == (ctx.plant.cleaning.rinse_c if warm is None else warm)
