"""A day's findings from a record that is written by hand; no day is simulated.

Readings are random and milkings overlap collections as they like: which readings a rule of
temperature asks about is looked up one by one, and sums are those of the numbers in the test.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from byrewright.engine import shape as sh
from byrewright.engine.kernels.loop import Z_FIRST
from byrewright.standards.cooling import TEMPERATURE_RULES, TemperatureStep
from byrewright.studies.day import findings, temperatures, washes
from byrewright.studies.day.record import MilkingSession, Run, joined
from tests.studies.day_records import (
    HOUR,
    RULES,
    bench,
    changed,
    compiled,
    random_run,
    run_of,
    session,
    told,
)
from tests.studies.failing import LARGE, example

STEPS = [s for rule in TEMPERATURE_RULES for s in rule.steps]


def warmest(run: Run, step: TemperatureStep) -> float | None:
    """The warmest reading that a step asks about, one reading after another."""
    loads = [x for x in run.loads[0].tolist() if x[2] > 1.0]
    if step.applies == "transport":
        return max((x[3] for x in loads), default=None)
    names = compiled().names

    def reading(row: Any, tag: str) -> tuple[bool, float]:
        at = Z_FIRST + compiled().vessel(tag)
        return row[at] >= run.reach_kg(tag), row[at + len(names.vessels)]

    def deadline(one: MilkingSession) -> float:
        start = one.begun_s if step.clock == "start_of_milking" else one.last_off_s
        return start + HOUR * (2.0 if step.within_h is None else step.within_h)

    done = [s for s in run.sessions if s.left_s > 0]
    found: list[float] = []
    direct = compiled().tables.num[sh.N_DIRECT] == 1
    places = [t for t in names.places if t != names.tanker or direct]
    if done and step.clock != "always" and step.applies != "first_milking":
        before = deadline(done[-1]) - 86_400
        for row in run.seen:
            for tag in places:
                counts, c = reading(row, tag)
                if before <= row[0] < max(done[0].begun_s, before + 1) and counts:
                    found.append(c)
    for one in done:
        mine, asked = list[float](), False
        for tag in places:
            stood = next(reading(r, tag)[0] for r in run.seen if r[0] >= one.begun_s)
            if (step.applies, stood) in (("later_milkings", False), ("first_milking", True)):
                continue
            asked, mixed = True, True
            following = min((d.begun_s for d in done if d.begun_s > one.begun_s), default=1e12)
            for row in run.seen:
                counts, c = reading(row, tag)
                if step.clock == "always":
                    here = one.begun_s <= row[0] <= one.last_off_s + 2 * HOUR
                    mixed = mixed and (counts or not here)
                    here = here and (mixed or step.applies != "later_milkings")
                else:
                    until = max(following, deadline(one) + 1)
                    here = deadline(one) <= row[0] < until
                if here and counts:
                    mine.append(c)
        if asked and not mine and step.clock != "always":
            mine = [x[3] for x in loads if one.begun_s <= x[0] <= deadline(one)]
        found += mine
    return max(found, default=None)


@pytest.mark.parametrize("seed", range(9))
def test_a_rule_asks_about_the_readings_that_it_names(seed: int) -> None:
    """Would fail if milk were judged before it had to be cold, when fresh milk comes to it, in a
    tank that its agitator does not reach, or by a collection that is not its own."""
    run = random_run(seed)
    for step in STEPS:
        worst, where = temperatures._worst(run, step)
        assert worst == warmest(run, step), step
        assert (where == "") == (worst is None)
    tags = compiled().names.cooled
    met = [t for t in tags for s in run.done if run.temperature_at(t, s.begun_s) is not None]
    assert temperatures._no_milk_met_milk(run) == (not met)


@pytest.mark.parametrize("seed", range(4))
def test_little_milk_is_what_stands_between_milkings_under_the_agitator(seed: int) -> None:
    """Would fail if milk under the agitator were told while cows are milked, or hours of another
    tank."""
    run, ctx = random_run(seed), bench()
    steps = [TemperatureStep(6.0, "end_of_milking", 1.5), TemperatureStep(8.0, "at_once")]
    temperatures._little_milk(ctx, run, steps)
    (tag,) = compiled().names.cooled
    at = Z_FIRST + compiled().vessel(tag)
    cap = compiled().tables.F[compiled().vessel(tag), sh.V_CAP]
    rows = []
    for row in run.seen:
        milking = any(
            s.begun_s <= row[0] <= (s.last_off_s if s.left_s > 0 else 1e12) + 2 * HOUR
            for s in run.sessions
        )
        if not milking and 0.005 * cap < row[at] < run.reach_kg(tag):
            rows.append(row)
    hours = len(rows) * 24 / len(run.seen)
    one = told(ctx)[f"day.little_milk@{tag}"]
    if hours < 0.5:
        assert one.value == 0 and "or no milk to keep" in one.sentence
        return
    warm = max(rows, key=lambda r: r[at + len(compiled().names.vessels)])
    c, litres = warm[at + len(compiled().names.vessels)], warm[at] / compiled().kg_l[tag]
    assert f"{hours:.1f} h in all" in one.sentence and f"at {c:.1f} degC" in one.sentence
    assert one.value == pytest.approx(litres if c > 6.0 else 0.0)


def test_milkings_by_their_longest_and_what_never_ended() -> None:
    """Would fail if the quicker of two days were told, or a start that was late were not."""
    ctx = bench()
    slow = session(1, "night", 24.5, 6.2, asked_s=24 * HOUR)
    findings.milkings(ctx, run_of([session(0, "night", 0.0, 5.0), slow], days=2))
    one = told(ctx)["day.milking_on_time@night"]
    assert one.value == pytest.approx(6.7) and one.verdict == "fails" and one.remedies
    assert "began 30 min late" in one.sentence and "2 min and waited 1 min" in one.sentence
    ctx = bench()
    findings.milkings(ctx, run_of([session(0, "night", 0.01, 5.0, asked_s=0.0)]))
    one = told(ctx)["day.milking_on_time@night"]
    assert "late" not in one.sentence and not one.remedies


@pytest.mark.parametrize(("ends_h", "spare_h", "of"), [
    ((5.0, 13.0, 22.0), 2.0, "c"), ((8.5, 15.0, 22.0), -0.5, "a"), ((6.0, 15.5, 22.0), 0.5, "b"),
])  # fmt: skip
def test_a_wash_has_the_time_until_the_next_milking(
    ends_h: tuple[float, ...], spare_h: float, of: str
) -> None:
    """Would fail if time to spare were taken of another milking, or tomorrow's first were not
    looked at."""
    begun = dict(zip("abc", (0.0, 8.0, 16.0), strict=True))
    every = [session(0, name, at, 4.0, wash_end_s=end * HOUR)
             for (name, at), end in zip(begun.items(), ends_h, strict=True)]  # fmt: skip
    ctx = bench()
    washes.washes(ctx, run_of(every))
    one = told(ctx)["day.wash_fits"]
    assert one.value == pytest.approx(60 * spare_h) and f"fter {of} " in one.sentence
    assert ("into the next milking" in one.sentence) == (spare_h < 0)
    assert (one.verdict == "fails") == (spare_h < 0)


def test_washes_are_told_by_their_worst() -> None:
    """Would fail if the hotter, the stronger or the cleaner of two washes stood for both."""
    good = session(0, "a", 0.0, 4.0)
    bad = session(0, "b", 8.0, 4.0, return_c=41.0, strength=0.5, left_kg=22.0, dry_s=420.0,
                  hot_c=70.0, heater_c=71.0)  # fmt: skip
    none = session(0, "c", 16.0, 4.0, washed=False, return_c=1.0, strength=0.1, left_kg=99.0)
    ctx, run, names = bench(), run_of([good, bad, none]), compiled().names
    units = next(i for i, m in enumerate(names.transfer_machines) if m in names.units)
    run.last.items[compiled().tables.rows("transfers").start + units, sh.S_KG] += 3 * 9000.0
    washes.washes(ctx, run)
    found = told(ctx)
    assert found["day.wash_start"].value == 70.0 and found["day.wash_return"].value == 41.0
    assert found["day.wash_dry"].value == 7.0 and found["day.wash_left"].value == 22.0
    dose = max(s.strength for s in ctx.programme.wash.steps)
    assert found["day.wash_strength"].value == pytest.approx(100 * dose * 0.5)
    share = RULES.number("wash.left_share")
    assert found["day.wash_left"].limit == pytest.approx(share * 9000.0 / compiled().milk_kg_l)
    least = RULES.number("wash.strength_least_share")
    assert found["day.wash_strength"].limit == pytest.approx(100 * dose * least)
    ctx = bench()
    washes.washes(ctx, run_of([good]))
    assert told(ctx)["day.wash_start"].value == 82.0 and not told(ctx)["day.wash_start"].remedies


def test_vessels_by_their_most_their_least_and_what_ran_over() -> None:
    """Would fail if a vessel that ran over were told as full, or one that ran dry as wet."""
    at = compiled().vessel

    def fill(run: Run) -> None:
        for tag in compiled().names.vessels:
            run.last.items[at(tag), [sh.P_MOST, sh.P_LEAST, sh.P_SPILT]] = 10.0, 10.0, 0.0
        cap = compiled().tables.F[:, sh.V_CAP]
        run.last.items[at("BT1"), [sh.P_MOST, sh.P_SPILT]] = cap[at("BT1")], 51.5
        run.last.items[at("WT1"), sh.P_LEAST] = 0.01 * cap[at("WT1")]
        run.last.items[at("WT2"), sh.P_LEAST] = 0.5 * cap[at("WT2")]

    ctx, run = bench(), changed(fill)
    findings.vessels(ctx, run)
    found = told(ctx)
    rho = compiled().kg_l["BT1"]
    volume = compiled().tables.F[at("BT1"), sh.V_CAP] / rho
    full = found["day.vessel_full@BT1"]
    assert full.value == pytest.approx(volume + 51.5 / rho) and full.limit == pytest.approx(volume)
    assert f"lost {51.5 / rho:.0f} L" in full.sentence and full.remedies
    calm = found["day.vessel_full@RC1"]
    assert calm.value == pytest.approx(10 / compiled().kg_l["RC1"]) and not calm.remedies
    dry, wet = found["day.vessel_dry@WT1"], found["day.vessel_dry@WT2"]
    assert dry.value == pytest.approx(0.01) and "ran dry" in dry.sentence and dry.verdict == "fails"
    assert (
        wet.value == pytest.approx(0.5)
        and "never fell below 50" in wet.sentence
        and not wet.remedies
    )
    assert not {"day.vessel_full@TB1", "day.vessel_dry@WH1"} & set(found)


def test_milk_that_went_to_a_drain_and_milk_that_was_fed() -> None:
    """Would fail if sold milk counted as lost, or a film that the rinse takes did."""
    at, kg_l = compiled().vessel, compiled().milk_kg_l
    for kg, is_lost in ((0.8 * kg_l, False), (1.2 * kg_l, True)):

        def lose(run: Run, kg: float = kg) -> None:
            for state in (run.first, run.last):  # what was lost before the days that are told
                state.items[at("(lost)"), sh.MILK] += 40.0
                state.items[at("FD1"), sh.MILK] += 40.0
            run.last.items[at("(lost)"), sh.MILK] += 0.5 * kg
            run.last.items[at("(drain)"), sh.MILK] += 0.3 * kg
            run.last.items[at("FD1"), sh.MILK] += 0.2 * kg
            for tag in ("(sold)", "(fed)", "(dumped)"):
                run.last.items[at(tag), sh.MILK] += 700.0

        ctx = bench()
        findings._found_no_way(ctx, changed(lose))
        assert told(ctx)["day.milk_lost"].value == pytest.approx(kg / kg_l if is_lost else 0.0)

    def feed(run: Run) -> None:
        run.last.items[at("(fed)"), sh.MILK] += 100.0
        run.last.items[at(compiled().names.calf), sh.MILK] += 20.0

    ctx = bench()
    findings._calf(ctx, changed(feed))
    fed = told(ctx)["day.calf_milk"]
    held = changed(feed).vessel(compiled().names.calf)[0]
    assert fed.value == pytest.approx((100 + held) / kg_l)
    asked = compiled().tables.par[sh.PAR_CALF_KG] * 2 / kg_l
    assert (
        fed.limit == pytest.approx(0.98 * asked) and f"of the {asked:.0f} L wanted" in fed.sentence
    )


@pytest.mark.parametrize("days", [1, 3])
def test_a_day_is_a_mean_of_its_days(days: int) -> None:
    """Would fail if what several days took were told as a day's, or a day's as theirs."""

    def use(run: Run) -> None:
        meters = compiled().tables.rows("meters")
        run.last.items[meters, 0] += 30.0
        run.last.g[sh.G_COST] += 90.0
        run.last.g[sh.G_PRODUCT_L] += 18.0
        run.last.items[compiled().vessel("WS1"), sh.WATER] -= 60_000.0
        transfers = compiled().tables.rows("transfers").start
        one = next(i for i, m in enumerate(compiled().names.transfer_machines)
                   if m in compiled().names.units)  # fmt: skip
        run.last.items[transfers + one, sh.S_KG] += 30_000.0 * compiled().milk_kg_l

    loads = [[1.0, 2.0, 9000.0, 4.0, 0.0], [3.0, 4.0, 28_000.0 * compiled().milk_kg_l, 4.0, 0.0]]
    ctx, run = bench(), changed(use, days=days, loads=loads)
    run.sessions.append(session(0, "c", 16.0, 4.0, left_s=0.0))
    findings.running(ctx, run)
    findings._tankers(ctx, run)
    found = told(ctx)
    kwh = 30.0 * (compiled().tables.rows("meters").stop - compiled().tables.rows("meters").start)
    assert found["day.energy_1000_l"].value == pytest.approx(kwh / 30)
    assert f"{kwh / days:.0f} kWh a day for {30_000 / days:.0f} L" in (
        found["day.energy_1000_l"].sentence
    )
    assert found["day.water_day"].value == pytest.approx(60 / days)
    assert found["day.water_litre"].value == pytest.approx(2.0)
    assert found["day.energy_cost"].value in (None, pytest.approx(90 / days))
    assert found["day.chemicals"].value == pytest.approx(18 / days)
    hours = 2 * 3 * (4.0 + 300 / 3600)  # three people at each of two that ended
    assert found["day.labour"].value == pytest.approx(hours / days)
    assert f"{hours / 30:.2f} h/1000 L" in found["day.labour"].sentence
    litres = 9000 / compiled().milk_kg_l + 28_000
    collected = found["day.collections"]
    assert collected.value == pytest.approx(litres / days)
    full = sum(abs(28_000 - c.tanker_l) < 5 for c in example(LARGE).collections) > 0
    assert f"{1 if full else 'none'} left full" in collected.sentence


@pytest.mark.parametrize(("kg", "water_kg", "wash_kg"), [
    (9000.0, 2.0, 0.0), (9000.0, 400.0, 0.5), (0.0, 0.0, 0.0),
])  # fmt: skip
def test_what_reached_the_milk(kg: float, water_kg: float, wash_kg: float) -> None:
    """Would fail if water in milk were a share of something else, or spoilt milk were not said."""

    def spoil(run: Run) -> None:
        for tag, part in (("TK1", 0.6), ("(sold)", 0.4)):
            row = compiled().vessel(tag)
            run.last.items[row, [sh.MILK, sh.WATER, sh.WASH]] += (
                part * kg, part * water_kg, part * wash_kg)  # fmt: skip

    ctx, run = bench(), changed(spoil)
    washes.purity(ctx, run)
    pure, wash = told(ctx)["day.milk_pure"], told(ctx)["day.milk_wash"]
    assert wash.value == pytest.approx(100 * wash_kg / max(kg, 1.0))
    assert ("spoilt" in wash.sentence) == ((wash.value or 0) > RULES.number("milk.wash_pct"))
    lines = float(pure.sentence.partition(" kg of milk, ")[2].partition(" ")[0])
    assert pure.value == pytest.approx(100 * (water_kg + wash_kg + lines) / max(kg, 1.0), rel=0.02,
                                       abs=0.1 if kg else 10.0)  # fmt: skip
    assert (" See which valve" in pure.sentence or "Lay these" in pure.sentence) == (
        (pure.value or 0) >= RULES.number("milk.added_water_pct")
    )


def test_services_by_their_least_and_their_most() -> None:
    """Would fail if vacuum, air or the load were held to another figure of the plant."""
    plant = example(LARGE)

    def load(run: Run) -> None:
        run.last.g[[sh.G_VAC_LEAST, sh.G_AIR_LEAST, sh.G_KW_MOST]] = 41.3, 5.9, 250.0

    ctx = bench()
    findings.services(ctx, changed(load))
    found = told(ctx)
    air = next(m for m in plant.equipment.values() if m.kind == "air_receiver")
    bar = found["day.air_least"]
    assert bar.value == 5.9 and bar.limit == air.serves_bar  # type: ignore[attr-defined]
    assert bool(bar.remedies) == (air.serves_bar > 5.9)  # type: ignore[attr-defined]
    kw = found["day.load_most"]
    assert kw.value == 250.0 and kw.limit == plant.site.supply.limit_kva
    if kw.limit:
        motors = kw.limit * RULES.number("motor.power_factor")
        assert f"{kw.limit:.0f} kW of heaters, or {motors:.0f} kW of motors" in kw.sentence
    ctx = bench()
    idle = replace(changed(load))
    idle.last.g[[sh.G_VAC_LEAST, sh.G_AIR_LEAST]] = 1e3, 1e3
    findings.services(ctx, idle)
    assert not {"day.air_least", "day.vacuum_least"} & set(told(ctx))


def test_steps_of_half_a_second_make_half_the_seconds() -> None:
    """Would fail if a step were taken for a second, which it is on every example."""
    run = run_of([session(0, "a", 1.0, 4.0)])
    run.compiled = replace(compiled(), step_s=0.5)
    run.last.n[sh.I_STEP] = run.first.n[sh.I_STEP] + 2 * 86_400
    run.beyond_s = 3600.0
    assert run.seconds == 86_400.0
    assert run.seen_until_s == run.last.n[sh.I_STEP] / 2 + 3600.0


def test_days_joined_add_what_grows_and_keep_what_is_worst() -> None:
    """Would fail if the second part of a long run were left out, or its mildest moment told."""

    def part(kwh: float, most: float, vacuum: float, over: float) -> Run:
        run = run_of([session(0, "a", 1.0, 4.0)], loads=[[kwh, 0.0, 0.0, 0.0, 0.0]])
        tank = compiled().vessel("TK1")
        run.last.items[compiled().tables.rows("meters"), 0] += kwh
        run.last.items[tank, [sh.P_MOST, sh.P_LEAST, sh.P_WARMEST, sh.P_OVER_AT]] = (
            most, most / 2, most / 100, over)  # fmt: skip
        run.last.g[[sh.G_KW_MOST, sh.G_MINUTE_MOST, sh.G_VAC_LEAST, sh.G_AIR_LEAST]] = (
            kwh, most, vacuum, vacuum / 10)  # fmt: skip
        run.last.g[sh.G_COST] += kwh / 10
        run.last.items[compiled().tables.rows("exchangers"), sh.SX_WARMEST] = most / 50
        run.beyond_s = vacuum
        return run

    whole = joined([part(10.0, 900.0, 41.0, -1.0), part(30.0, 700.0, 39.0, 5000.0)], 2)
    tank = whole.vessel("TK1")
    assert whole.change("meters")[0, 0] == 40.0 and whole.grown(sh.G_COST) == 4.0
    assert tank[[sh.P_MOST, sh.P_LEAST, sh.P_WARMEST, sh.P_OVER_AT]].tolist() == [
        900.0, 350.0, 9.0, 5000.0]  # fmt: skip
    g = whole.last.g
    assert g[[sh.G_KW_MOST, sh.G_MINUTE_MOST, sh.G_VAC_LEAST, sh.G_AIR_LEAST]].tolist() == [
        30.0, 900.0, 39.0, 3.9]  # fmt: skip
    assert whole.items("exchangers")[0, sh.SX_WARMEST] == 18.0 and whole.days == 2
    assert whole.seconds == 2 * 86_400 and len(whole.sessions) == 2 and len(whole.all_loads) == 2
    assert whole.beyond_s == 41.0


@pytest.mark.parametrize("at_s", [-1.0, 0.0, 149.0, 150.0, 151.0, 86_100.0, 86_200.0])
def test_a_vessel_is_read_at_a_time_that_was_seen(at_s: float) -> None:
    """Would fail if a temperature were told of a time before or after the readings, or of an
    emptier vessel."""
    run = random_run(5)
    times = run.seen[:, 0]
    tag = compiled().names.places[0]
    told = run.temperature_at(tag, at_s)
    if not 0.0 <= at_s <= times[-1]:
        assert told is None
        return
    at = next(i for i, t in enumerate(times) if t >= at_s)
    enough = run.content_kg(tag)[at] >= run.reach_kg(tag)
    assert told == (run.temperature_c(tag)[at] if enough else None)
    assert run_of([]).temperature_at(tag, 5.0) is None


def test_refrigeration_in_hot_air_is_told_with_what_it_loses() -> None:
    """Would fail if the duty that hot air takes were told as what is left, or hours and heat of two
    days as those of one."""
    hot = example(LARGE).model_copy(
        update={"site": example(LARGE).site.model_copy(update={"ambient_c": (40.0,) * 12})}
    )
    tables, (first, *_) = compiled().tables, compiled().names.chillers
    row = tables.rows("chillers").start
    run = run_of([session(0, "a", 0.0, 4.0)], plant=hot, days=2)
    run.last.items[row, [sh.SR_HOURS, sh.SR_KJ]] += 7.0, 2 * 36_000.0
    ctx = bench(hot)
    findings.cold(ctx, run)
    one = told(ctx)[f"day.refrigeration_hours@{first}"]
    most = 40.0 + RULES.number("cooling.day_swing_k")
    lost = tables.F[row, sh.R_FALL] * (most - tables.F[row, sh.R_RATED_C])
    assert 0.05 < lost < 0.5
    assert f"falls to {100 * (1 - lost):.0f} % at the hottest" in one.sentence
    assert f"to {most:.0f} degC" in one.sentence
    assert one.value == 3.5 and "took out 10 kWh of heat a day" in one.sentence


def test_the_rest_of_an_emptying_has_no_temperature() -> None:
    """Would fail if a hundredth of a tanker counted as its milk, or half of it did not."""
    tanker = compiled().names.tanker
    at, cap = compiled().vessel(tanker), compiled().tables.F[compiled().vessel(tanker), sh.V_CAP]
    seen = np.zeros((2, Z_FIRST + 2 * len(compiled().names.vessels) + 40))
    seen[:, 0] = 0.0, 3600.0
    seen[:, Z_FIRST + len(compiled().names.vessels) + at] = 4.5
    seen[:, Z_FIRST + at] = 0.0049 * cap, 0.0051 * cap
    run = run_of([], seen)
    assert run.reach_kg(tanker) == pytest.approx(0.005 * cap)
    assert run.temperature_at(tanker, 0.0) is None
    assert run.temperature_at(tanker, 1800.0) == run.temperature_at(tanker, 3600.0) == 4.5
    assert run.temperature_at(tanker, 3601.0) is None
