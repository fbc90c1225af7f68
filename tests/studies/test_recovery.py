"""Heat of refrigeration into wash water: in the day, in sizing, in failures, and without it."""

from __future__ import annotations

import pytest

from byrewright.engine import shape as sh
from byrewright.engine.liquids import Liquids
from byrewright.engine.simulate import simulate
from byrewright.plant.farm import Collection
from byrewright.plant.plant import Plant
from byrewright.plant.roles import Cold, FeedsCalves, MakesCold, RecoversHeat, StoresMilk
from byrewright.standards.rulebook import Rulebook, default_rulebook
from byrewright.studies.day.findings import CLOSES, closure
from byrewright.studies.day.record import Run
from byrewright.studies.day.study import simulate_days
from byrewright.studies.failures.study import study_failures
from byrewright.studies.sizing import size
from byrewright.studies.sizing.cold import open_hours
from byrewright.studies.sizing.duty import duty_of
from byrewright.studies.sizing.recovery import (
    Taker,
    _hot_l,
    _into_l,
    _loss_share_h,
    recovered_of,
)
from byrewright.studies.sizing.tank_runs import fill_of, reach_l
from byrewright.studies.sizing.timetable import _Tanks, run_timetable
from byrewright.studies.sizing.washing import wash_heat_of
from tests import plants
from tests.engine.test_engine_basics import compiled_day
from tests.studies.benches import bench_of


def farm(takes: str | None = "desuperheater", volume_l: float = 600.0) -> Plant:
    """A rotary whose heaters are filled through a store that refrigeration warms."""
    base = plants.rotary(40, 200)
    if takes is None:
        return base
    e = dict(base.equipment)
    makers = [t for t, m in e.items() if m.can("makes cold")]
    e["HR1"] = plants.machine(
        "HR1", "heat_recovery", volume_l=volume_l, takes=takes, takes_from=makers
    )
    heaters = [t for t, m in e.items() if m.can("heats water")]
    pipes = list(base.pipes)
    for i, pipe in enumerate(base.pipes):
        if pipe.end == f"{heaters[0]}.inlet":
            pipes[i] = pipe.model_copy(update={"end": "HR1.inlet"})
            pipes.append(plants.pipe("LHR", "HR1.outlet_1", pipe.end))
    return base.model_copy(update={"equipment": e, "pipes": tuple(pipes)})


def day(plant: Plant) -> Run:
    """A spring day of it."""
    return simulate_days(plant, Rulebook(), month=4, seed=5)


def heat(run: Run) -> tuple[float, float, float]:
    """Heat taken, that of the heaters, and cold made, kWh."""
    x = run.change("chillers")
    return (x[:, sh.SR_RECOVERED].sum() / 3600, run.change("heated")[:, sh.SH_KWH].sum(),
            x[:, sh.SR_KJ].sum() / 3600)  # fmt: skip


def test_a_recovery_that_takes_no_heat_leaves_it_to_the_heaters() -> None:
    """Would fail if the failure of heat recovery were a sentence that changed nothing."""
    plant = farm()
    assert plant.equipment["HR1"].failures()[0].effect.law == "fouled"
    compiled, plain = compiled_day(plant)
    first = compiled.tables.rows("chillers")
    rows = tuple((0, 1, r, sh.ROW_RECOVERY, 0.0) for r in range(first.start, first.stop))
    taken, heaters = [], []
    for broken in ((), rows):
        state = simulate(compiled, plain, compiled.start, 86400, rows=broken).state
        taken.append(state.items[first, sh.SR_RECOVERED].sum() / 3600)
        heaters.append(state.items[compiled.tables.rows("heated"), sh.SH_KWH].sum())
    assert taken[0] > 1.0 and taken[1] == 0.0
    assert heaters[1] > heaters[0] + 0.5 * taken[0]


def test_what_refrigeration_gives_the_heaters_need_not() -> None:
    """Would fail if recovered heat were lost, doubled, or more than the condenser gives off."""
    plain, fitted = day(farm(None)), day(farm())
    for run in (plain, fitted):
        assert max(abs(gap) for gap in closure(run).values()) < CLOSES
    none, before, cold = heat(plain)
    taken, after, _ = heat(fitted)
    assert none == 0.0 and taken > 1.0
    assert taken <= 0.20 * cold * (1 + 1 / 1.5)
    # What it keeps warm loses a little more to the room: not all of it is saved.
    assert before - taken - 1e-6 <= after < before
    assert after == pytest.approx(before - taken, rel=0.15)
    stored = fitted.temperature_c("HR1")
    assert stored.max() <= 55.0 + 1e-6


def test_sizing_tells_both_plants_and_the_store() -> None:
    """Would fail if a plant were sold heat recovery without the figures of the one without."""
    plain, fitted = size(farm(None)), size(farm())
    table = plain.table("recovery.beside")
    assert table.rows[0][0] == "without"
    assert plain.finding("recovery.alternative").value == pytest.approx(
        max(float(row[1]) for row in table.rows[1:3]), abs=1.0
    )
    for row in table.rows:  # 0.24 by day and 0.16 by night: the mean of what is stated
        assert float(row[4]) == pytest.approx(0.20 * float(row[3]), abs=1.0)
    used, less = float(table.rows[0][2]), float(table.rows[1][2])
    taken = fitted.finding("recovery.heat@HR1").value
    assert taken is not None and used - less == pytest.approx(taken, abs=1.5)
    assert fitted.finding("recovery.store@HR1").limit == pytest.approx(
        size(farm(volume_l=20.0)).finding("recovery.store@HR1").limit or 0.0
    )
    assert size(farm(volume_l=20.0)).finding("recovery.store@HR1").verdict == "fails"
    assert plain.finding("wash.heater_power").limit == fitted.finding("wash.heater_power").limit


def test_two_stores_keep_the_water_of_a_wash_between_them() -> None:
    """Would fail if each of two stores were advised to hold the whole of it, or more."""
    plant = farm(volume_l=50.0)
    two = plant.equipment["HR1"].model_copy(update={"count": 2})
    plant = plant.model_copy(update={"equipment": {**plant.equipment, "HR1": two}})
    found, one = size(plant), size(farm(volume_l=100.0)).finding("recovery.heat@HR1")
    assert found.finding("recovery.heat@HR1").value == pytest.approx(one.value)
    store = found.finding("recovery.store")
    assert store.limit is not None and store.limit < 2 * store.advised < 1.7 * store.limit  # type: ignore[operator]


def test_its_failure_costs_electricity_and_no_wash() -> None:
    """Would fail if the failure study passed over it."""
    found = study_failures(farm(), simulate=False)
    said = [row for table in found.tables for row in table.rows if "HR1" in " ".join(map(str, row))]
    assert said


def test_a_store_gives_to_a_heater_above_it() -> None:
    """Would fail if a closed store gave by its own level alone: a heater above it would run dry."""
    plant = farm()
    pipes = tuple(
        p.model_copy(update={"rise_m": 2.0}) if p.start.startswith("HR1.") else p
        for p in plant.pipes
    )
    net = Liquids(plant.model_copy(update={"pipes": pipes}), default_rulebook())
    flows = net.solve(net.situation(next(iter(plant.modes))))
    fed = [p for p in pipes if p.start.startswith("HR1.")]
    assert fed and all(flows.l_min[p.id] > 10 for p in fed)


def test_the_hot_water_of_a_day_counts_the_washes_of_tanks() -> None:
    """Would fail if sizing left the tanks' hot washes out of what the heaters give now."""
    ctx = bench_of(farm(None))
    duties = duty_of(ctx)
    taker = Taker("condenser", 600.0, 0.01, ctx.plant.machines(MakesCold), 1.0)
    july = recovered_of(ctx, duties, taker).months[6]
    in_c = ctx.plant.site.water_temperature_c[6]
    plant_l = wash_heat_of(ctx, duties, in_c).heater_l * ctx.programme.washes_a_day
    emptied = run_timetable(ctx, duties).emptied
    tank_l = sum(0.02 * volume_l for _, volume_l in emptied)
    assert emptied and july.hot_l == pytest.approx(plant_l + tank_l)


@pytest.mark.parametrize(("takes", "volume_l"), [("desuperheater", 600.0), ("condenser", 300.0)])
def test_sizing_tells_the_heat_that_the_day_catches(takes: str, volume_l: float) -> None:
    """Would fail if sizing passed over the hours at which cold is made, washes draw and the store
    is full: twice and more of what the day caught was told before."""
    plant = farm(takes, volume_l)
    table = size(plant).table("recovery.months")
    caught = heat(simulate_days(plant, Rulebook(), month=4, seed=5))[0]
    assert float(table.rows[3][-1]) == pytest.approx(caught, rel=0.2)


def test_milk_that_goes_straight_to_a_tanker_gives_its_tank_no_heat() -> None:
    """Would fail if cooling that never runs were counted on for hot water."""
    plant = farm("condenser")
    e = dict(plant.equipment)
    plates = {
        t: m.model_copy(update={"direct": True}) for t, m in e.items() if hasattr(m, "direct")
    }
    always = [Collection(at=at, tanker_l=50000) for at in ("00:00", "05:00", "15:00")]
    plant = plant.model_copy(update={"equipment": {**e, **plates}, "collections": tuple(always)})
    ctx = bench_of(plant)
    table = run_timetable(ctx, duty_of(ctx))
    assert plates and sum(table.into_l) == pytest.approx(0.0) and not table.emptied


def test_each_tank_is_washed_when_a_tanker_leaves_it_empty() -> None:
    """Would fail if several tanks were washed as one, or one into which milk runs at all."""
    tanks = _Tanks([1000.0, 1000.0])
    for _ in range(15):
        tanks.step(100.0, 0.0)  # the first is full after ten steps
    assert tanks.content_l == [1000.0, 500.0]
    tanks.step(100.0, 1000.0)
    assert tanks.content_l == [0.0, 600.0] and tanks.washed() == [1000.0]
    assert tanks.washed() == []  # once
    tanks.step(100.0, 600.0)  # what is being filled is loaded: milk goes to the other
    assert tanks.content_l == [100.0, 0.0] and tanks.washed() == [1000.0]


def test_a_later_milking_meets_what_the_change_of_tanks_left() -> None:
    """Would fail if a blend were judged on all milk of before, though the milking that filled one
    tank left little in the next: sizing said 7.5 degC where the day came to 9.4."""
    base = farm(None)
    ctx = bench_of(base)
    duties = duty_of(ctx)
    one_l = duties.largest.saleable_l
    tank = next(t for t in ctx.plant.machines(StoresMilk))
    e = {t: m for t, m in base.equipment.items() if t != tank.id}
    few = {f"TK{i}": tank.model_copy(update={"id": f"TK{i}", "volume_l": 2.2 * one_l})
           for i in (1, 2)}  # fmt: skip
    every_other = (Collection(at="12:00", tanker_l=50000, every_days=2),)
    two = base.model_copy(update={"equipment": {**e, **few}, "collections": every_other})
    ctx = bench_of(two)
    fills = {t.id: fill_of(ctx, duty_of(ctx), t, later=True)
             for t in ctx.plant.machines(StoresMilk)}  # fmt: skip
    met = run_timetable(ctx, duty_of(ctx)).met_l
    reach = reach_l(ctx, tank)
    least = {t: min((x for x in one if x >= reach), default=one_l) for t, one in met.items()}
    tag = min(least, key=least.__getitem__)
    assert 0.0 < fills[tag].before_l == least[tag] < duties.saleable_l_day - one_l


def two_heaters(*, both: bool) -> Plant:
    """A second heater beside the first: behind the store as well, or on fresh water of its own."""
    plant = farm()
    first = plant.equipment["WH1"]
    e = {**plant.equipment, "WH2": first.model_copy(update={"id": "WH2"})}
    start = "HR1.outlet_2" if both else "WT1.outlet_7"
    pipes = (*plant.pipes, plants.pipe("LWH2", start, "WH2.inlet"))
    return plant.model_copy(update={"equipment": e, "pipes": pipes})


def drawn_pct(plant: Plant) -> list[float]:
    """The share of the hot water that is drawn through each store, %."""
    return [float(i.value) for f in size(plant).findings if f.key == "recovery.heat"
            for i in f.inputs if i.meaning.startswith("of it drawn")]  # fmt: skip


def test_a_store_is_drawn_from_by_the_heaters_behind_it() -> None:
    """Would fail if a heater that fills past a store drew from it, or two stores gave all twice."""
    assert drawn_pct(farm()) == [100.0]
    assert drawn_pct(two_heaters(both=True)) == [100.0]
    assert drawn_pct(two_heaters(both=False)) == [50.0]
    plant = farm()
    e = {**plant.equipment, "HR2": plant.equipment["HR1"].model_copy(update={"id": "HR2"})}
    into = next(p for p in plant.pipes if p.end == "HR1.inlet")
    pipes = (*plant.pipes, into.model_copy(update={"id": "LHR2", "end": "HR2.inlet"}),
             plants.pipe("LHR3", "HR2.outlet_1", "WH1.inlet"))  # fmt: skip
    beside = plant.model_copy(update={"equipment": e, "pipes": pipes})
    assert drawn_pct(beside) == [50.0, 50.0]


def test_a_store_that_stands_warm_loses_some_of_it() -> None:
    """Would fail if a store were counted on to keep all of its heat from wash to wash."""
    ctx = bench_of(farm())
    duties, makers = duty_of(ctx), ctx.plant.machines(MakesCold)
    kept, lost = (
        recovered_of(ctx, duties, Taker("condenser", 150.0, share, makers, 1.0)).months[0]
        for share in (0.0, 0.05)
    )
    # What it loses it takes again while cold is made: more heat taken for the same water drawn.
    assert kept.hot_l == lost.hot_l and abs(kept.taken_kwh - lost.taken_kwh) > 0.5
    assert _loss_share_h(ctx.plant.machines(RecoversHeat)[0]) == pytest.approx(0.01)


def test_tanks_emptied_every_other_day_are_washed_every_other_day() -> None:
    """Would fail if a year's hot water or cold counted two days' milk as one day's."""
    plant = farm(None)
    daily, second = (
        bench_of(plant.model_copy(update={"collections": (
            Collection(at="12:00", tanker_l=60000, every_days=days),)}))
        for days in (1, 2)
    )  # fmt: skip
    duties = duty_of(daily)
    washes = [sum(_hot_l(ctx, duties, 1)) for ctx in (daily, second)]
    plant_l = wash_heat_of(
        daily, duties, plant.site.water_temperature_c[0]
    ).heater_l * daily.programme.washes_a_day  # fmt: skip
    tanks = [len(run_timetable(ctx, duties).emptied) / days
             for days, ctx in ((1, daily), (2, second))]  # fmt: skip
    assert washes[0] - plant_l > 0.0
    assert (washes[1] - plant_l) / (washes[0] - plant_l) == pytest.approx(tanks[1] / tanks[0])
    calves = sum(m.draw_l_milking for m in plant.machines(FeedsCalves)) * len(duties.milkings)
    for ctx in (daily, second):
        assert sum(_into_l(ctx, duties)) == pytest.approx(duties.saleable_l_day - calves, rel=1e-6)


def test_a_heater_fills_as_it_is_drawn_from() -> None:
    """Would fail if a heater filled slower than a wash draws: its water pump ran for hours."""
    run = day(farm(None))
    kg = run.content_kg("WH1")
    assert kg.min() > 0.97 * kg.max()


def test_ice_is_made_in_its_hours() -> None:
    """Would fail if heat of an ice bank were counted on at any hour."""
    cold = Cold(50.0, 2.0, 32.0, 1.0, 300.0, ("22:00", "06:00"))
    made = [h for h, is_open in enumerate(open_hours(cold)) if is_open]
    assert made == [*range(6), 22, 23]


def test_two_stores_keep_twice_as_much() -> None:
    """Would fail if stores alike were counted once, or each were advised for the whole wash."""
    plant = farm()
    two = plant.equipment["HR1"].model_copy(update={"count": 2})
    pair = plant.model_copy(update={"equipment": {**plant.equipment, "HR1": two}})
    alone, both = (size(p).finding("recovery.store") for p in (plant, pair))
    assert (alone.value, both.value) == (600.0, 1200.0)
    assert alone.limit == both.limit and alone.advised and both.advised
    assert both.advised < alone.advised <= 2.5 * both.advised
