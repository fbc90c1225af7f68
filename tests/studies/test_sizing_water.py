"""Water: the day's balance closes, a weak source fails, stores and pumps advised hold."""

from __future__ import annotations

import random
from types import SimpleNamespace
from typing import Any

import pytest

from byrewright.plant.farm import Collection
from byrewright.plant.plant import Plant
from byrewright.studies.sizing import water
from byrewright.studies.sizing.delivery import cooler_flow_l_min
from byrewright.studies.sizing.duty import duty_of
from byrewright.studies.sizing.washing import wash_heat_of
from byrewright.studies.sizing.water import cooler_water_l_min, most_in, size_water, water_day
from tests.plants import machine, rows
from tests.studies.benches import bench_of, duty, large, sized, small

CLOSES = 1e-9  # sums of the same numbers in another order


@pytest.mark.parametrize("plant", [small(), large(), rows()])
def test_day_closes(plant: Plant) -> None:
    """Litres are lost or made between uses, reuse and fresh water."""
    day = water_day(bench_of(plant), duty(plant))
    assert sum(u.day_l for u in day.uses) == pytest.approx(
        day.fresh_l + sum(day.reused), rel=CLOSES
    )
    assert sum(day.reused) <= sum(day.warm)
    assert min(day.fresh) >= 0


def test_cooler_water_is_milk_times_ratio() -> None:
    """Cooler water over the day is not the milk to the tank times the cooler's ratio."""
    plant = small()
    duties = duty(plant)
    day = water_day(bench_of(plant), duties)
    assert sum(day.warm) == pytest.approx(2.0 * duties.saleable_l_day, rel=CLOSES)
    assert cooler_water_l_min(bench_of(plant), duties) == pytest.approx(
        2.0 * duties.milk_flow_met_l_min
    )


def test_a_tank_is_washed_only_where_a_tanker_empties_it() -> None:
    """Water for a tank's wash would be counted at every visit, though milk went straight to the
    tankers and nothing stood in it."""
    loads = tuple(Collection(at=f"{h:02d}:00", tanker_l=40000) for h in (0, 8, 16))
    parked = large(TB1=machine("TB1", "tanker_bay", direct=False))
    for plant, washes in ((large(), False), (parked, True)):
        plant = plant.model_copy(update={"collections": loads})
        uses = {u.what: u.day_l for u in water_day(bench_of(plant), duty(plant)).uses}
        assert (uses.get("tank wash", 0.0) > 0.0) is washes


def test_weak_source_fails_and_medium_needs_a_store() -> None:
    """A source below the day's need passes; one below the hour's need asks for no store."""
    weak = sized(small(WS1=machine("WS1", "water_source", flow_l_min=20)), size_water)
    assert weak.finding("water.source").verdict == "fails"
    medium = sized(small(WS1=machine("WS1", "water_source", flow_l_min=60)), size_water)
    ample = sized(small(), size_water)
    limits = [r.finding("water.store").limit for r in (medium, ample)]
    assert limits[0] is not None and limits[1] is not None and limits[0] > limits[1]


def test_no_recovered_tank_means_more_fresh_water() -> None:
    """Warm water is counted as used again though there is no tank for it."""
    without = small(WT2=None)
    told = sized(without, size_water).finding("water.recovered").sentence
    wanted_l = sum(u.day_l for u in water_day(bench_of(without), duty(without)).uses if u.recovered)
    assert f"would serve first rinse and yard ({wanted_l / 1000:.1f} m3 a day)" in told
    with_tank = water_day(bench_of(small()), duty(small()))
    assert water_day(bench_of(without), duty(without)).fresh_l > with_tank.fresh_l
    assert sum(water_day(bench_of(without), duty(without)).reused) == 0


def test_missing_filter_fails() -> None:
    """A cooler without a water filter passes, or one is asked for that dirt soon stops."""
    assert sized(small(WF1=None), size_water).finding("water.filter").verdict == "fails"
    least = [sized(small(), size_water, rules={"water.filter_allowance": a})
             .finding("water.filter").limit for a in (1.0, 1.5)]  # fmt: skip
    assert least[1] == pytest.approx(1.5 * least[0], rel=1e-3)  # type: ignore[operator]


def test_advised_pump_holds() -> None:
    """The advised flow, head and motor, applied one after another, still fail."""
    plant = small(LP1=machine("LP1", "liquid_pump", flow_l_min=50, head_m=2, motor_kw=0.1))
    for _ in range(3):
        result = sized(plant, size_water)
        change = {
            f.target[1]: f.advised
            for f in result.findings
            if f.subject == "LP1" and f.target is not None
        }
        better = plant.equipment["LP1"].model_copy(update=change)
        plant = plant.model_copy(update={"equipment": {**plant.equipment, "LP1": better}})
    last = [f for f in sized(plant, size_water).findings if f.subject == "LP1"]
    assert len(last) == 3 and {f.verdict for f in last} <= {"holds", "tight"}


def test_the_most_of_some_hours_is_found_minute_by_minute() -> None:
    """Would fail if a store for the hours of a broken source were sized for other hours."""
    draw = random.Random(4)
    for _ in range(20):
        hours = tuple(draw.choice((0.0, 5.0, 20.0, 90.0)) for _ in range(24))
        minutes = [h / 60 for h in hours for _ in range(60)]
        for time_h in (0.25, 1.0, 3.5, 11.0, 24.0, 40.0):
            length = round(60 * min(time_h, 24.0))
            sums = [0.0]
            for m in minutes * 2:
                sums.append(sums[-1] + m)
            most = max(sums[i + length] - sums[i] for i in range(24 * 60))
            assert most_in(hours, time_h) == pytest.approx(most)


def test_warm_water_is_used_again_as_far_as_there_is_some() -> None:
    """Would fail if more were used than is warm or wanted, or a larger tank gave less."""
    draw = random.Random(5)
    for _ in range(20):
        warm = tuple(draw.choice((0.0, 0.0, 300.0)) for _ in range(24))
        wanted = tuple(draw.choice((0.0, 100.0, 400.0)) for _ in range(24))
        few, more, all_of_it = (water._reuse(warm, wanted, v) for v in (250.0, 900.0, 1e9))
        assert all(a <= b for used in (few, more, all_of_it)
                   for a, b in zip(used, wanted, strict=True))  # fmt: skip
        assert sum(few) <= sum(more) + 1e-9 <= sum(all_of_it) + 2e-9
        assert max(few) <= 250.0 and sum(more) <= sum(warm) + 1e-9
        if sum(warm) >= sum(wanted):
            assert sum(all_of_it) == pytest.approx(sum(wanted))
        assert sum(water._reuse(warm, wanted, 0.0)) == 0.0


def test_uses_of_water_by_hand() -> None:
    """Would fail if a use were of other cows, litres or washes than the plant's own."""
    ctx = bench_of(large())
    duties = duty_of(ctx)
    day = water_day(ctx, duties)
    found = {u.what: u for u in day.uses}
    number, plant = ctx.number, ctx.plant
    cows = sum(m.cows for m in duties.milkings)
    milk = sum(m.saleable_l for m in duties.milkings)
    ratio = cooler_water_l_min(ctx, duties) / cooler_flow_l_min(ctx, duties)
    by_hand = {"plate cooler": ratio * milk, "parlour and yard": cows * number("water.yard_l_cow")}
    flush = sum(getattr(m, "water_l_cow", 0.0) for m in plant.equipment.values())
    if flush:
        by_hand["backflush"] = flush * cows * duties.passes
    steps = [s.litres for s in wash_heat_of(ctx, duties).wash.steps]
    washes = sum(m.washed_after for m in duties.milkings)
    by_hand |= {"first rinse": washes * steps[0], "other wash steps": washes * sum(steps[1:])}
    for what, litres in by_hand.items():
        assert found[what].day_l == pytest.approx(litres), what
    for m in duties.milkings:  # the yard is hosed in the hour that follows
        after = int(m.end_min // 60) % 24
        hosed = found["parlour and yard"].hours
        hours = number("water.yard_h")
        assert hosed[after] + hosed[(after + 1) % 24] > 0 and hours == 1.0
    assert day.fresh_l == pytest.approx(sum(u.day_l for u in day.uses) - sum(day.reused))
    assert all(r <= sum(u.hours[h] for u in day.uses if u.recovered) + 1e-9
               for h, r in enumerate(day.reused))  # fmt: skip


@pytest.mark.parametrize(("end_min", "litres"), [(270.0, 4.0 + 5 + 6 + 7), (1015.0, 16 + 17)])
def test_warm_water_wanted_between_two_milkings(end_min: float, litres: float) -> None:
    """From the hour in which a milking ends up to that in which the next begins."""
    starts = [SimpleNamespace(start_min=60 * h) for h in (0, 8, 18)]
    duties: Any = SimpleNamespace(milkings=starts)
    assert water._after(duties, end_min, tuple(float(h) for h in range(24))) == litres
