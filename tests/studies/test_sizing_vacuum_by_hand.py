"""Vacuum pumps, regulators, receivers, traps and milk pumps, worked by hand on made-up needs."""

from __future__ import annotations

from dataclasses import replace

import pytest

from byrewright.physics.cleaning import slug_volume_l
from byrewright.plant.roles import MovesMilk, PumpsVacuum, ReceivesMilk
from byrewright.studies.sizing import airlines, receiving, vacuum, vacuum_demand
from byrewright.studies.sizing.context import StudyContext
from byrewright.studies.sizing.duty import Duty, duty_of
from byrewright.studies.sizing.paths import Ways
from byrewright.studies.sizing.sizes import next_motor_kw, next_preferred, next_round
from byrewright.studies.sizing.vacuum_demand import Demand, air_use, demand
from tests.plants import machine, rotary
from tests.studies.benches import bench_of, small
from tests.studies.told import inputs


@pytest.fixture(scope="module")
def day() -> Duty:
    """The duties of 50 stalls, with 240 L/min of milk in the peak minute."""
    return replace(duty_of(bench_of(small())), milk_flow_peak_l_min=240.0, units=60)


@pytest.fixture(scope="module")
def need(day: Duty) -> Demand:
    """5000 L/min at nominal conditions; 1000 L/min at the inlet of steady milking, 0.9 of it
    nominal."""
    found = demand(bench_of(small()), day)
    return replace(found, needed_l_min=5000.0, steady_at_inlet_l_min=1000.0, governs="milking",
                   iso=replace(found.iso, altitude_factor=0.9))  # fmt: skip


def wishing(redundancy: str, **changes: object) -> StudyContext:
    """A bench with a wish of doubled machines."""
    plant = small(**changes)
    wishes = plant.wishes.model_copy(update={"redundancy": redundancy})
    return bench_of(plant.model_copy(update={"wishes": wishes}))


def pumps(first: dict[str, object], second: dict[str, object]) -> dict[str, PumpsVacuum]:
    """One pump of 2000 L/min at 50 kPa, and two of 1250 at 40 kPa, which are 1000 at 50."""
    made = {
        "VP1": machine("VP1", "vacuum_pump", motor_kw=7.5, **{
            "capacity_l_min_free": 2000, "at_vacuum_kpa": 50, **first}),
        "VP2": machine("VP2", "vacuum_pump", motor_kw=4, count=2, **{
            "capacity_l_min_free": 1250, "at_vacuum_kpa": 40, **second}),
    }  # fmt: skip
    return made  # type: ignore[return-value]


@pytest.mark.parametrize(("redundancy", "limit", "advised"), [
    ("none", 5000 / 3, (2000.0, 2400.0)), ("shared-running", 2500.0, (2900.0, 3600.0)),
])  # fmt: skip
def test_unlike_pumps_are_held_to_their_part_at_their_own_vacuum(
    need: Demand, redundancy: str, limit: float, advised: tuple[float, float]
) -> None:
    """Would fail if a pump rated at 40 kPa were taken as giving that at 50, or advised without
    room for wear (15 %)."""
    both = pumps({}, {})
    ctx = wishing(redundancy, **both)
    vacuum._pumps(ctx, need, tuple(both.values()))
    for one, has, size, at in zip(ctx.notes.findings, (2000.0, 1000.0), advised, (50, 40),
                                  strict=True):  # fmt: skip
        assert one.value == pytest.approx(has) and one.limit == pytest.approx(limit)
        assert one.advised == size == next_round(1.15 * limit / (1.0 if at == 50 else 0.8))
        assert (f"Take {size:.0f} L/min at {at} kPa" in one.sentence) == (has < limit)
        assert inputs(one).items() >= {"p_plate": at, "H_0": 1.0 if at == 50 else 0.8}.items()


@pytest.mark.parametrize(("wish", "runs", "cold"), [
    ("duty-and-standby", 1, True), ("duty-and-standby", 2, False), ("shared-running", 1, False),
])  # fmt: skip
def test_a_standby_that_stands_does_not_save_the_cups(wish: str, runs: int, cold: bool) -> None:
    """Would fail if a pump that must first be started were told as holding the vacuum."""
    plant = small()
    mode = plant.modes["milking"]
    stands = mode.positions | ({"VP2": "stopped"} if runs == 1 else {})
    modes = {**plant.modes, "milking": mode.model_copy(update={"positions": stands})}
    wishes = plant.wishes.model_copy(update={"redundancy": wish})
    ctx = bench_of(plant.model_copy(update={"modes": modes, "wishes": wishes}))
    vacuum._standby(ctx, ctx.plant.machines(PumpsVacuum))
    told = ctx.notes.findings[0]
    assert ("does not save the cups" in told.sentence) == cold and "one may stop" in told.sentence
    assert (told.value, told.limit) == (2.0, 2.0)
    lone = wishing(wish, VP2=None)
    vacuum._standby(lone, lone.plant.machines(PumpsVacuum))
    assert "One vacuum pump only" in lone.notes.findings[0].sentence


def test_motors_of_vacuum_pumps_by_their_air() -> None:
    """Would fail if a motor were judged by a data plate's air at another vacuum, or advised at the
    least power of any pump."""
    both = pumps({}, {})
    ctx = bench_of(small(**both))
    vacuum._motors(ctx, tuple(both.values()))
    rule = ctx.rules["vacuum.pump_specific_power_kw_per_1000_l_min"]
    assert rule.low is not None and rule.low < rule.value
    for one, thousands in zip(ctx.notes.findings, (2.0, 1.0), strict=True):
        assert one.limit == pytest.approx(rule.low * thousands)
        assert f"takes {rule.low * thousands:.1f} kW or more" in one.sentence
        assert one.advised == next_motor_kw(rule.value * thousands)
        assert inputs(one) == {"e": rule.low, "q": pytest.approx(thousands)}


@pytest.mark.parametrize(("steady", "admits", "share", "limit", "words"), [
    (1000.0, 400, 22.5, None, "the regulator admits 700 L/min"),
    (1000.0, 340, 22.5, 40.0, "no regulator can admit the 700 L/min over"),
    (2000.0, 400, 45.0, 40.0, "at 45 % speed each; 40 % is the least"),
])  # fmt: skip
def test_pumps_that_share_are_not_run_under_their_least_speed(
    need: Demand, steady: float, admits: float, share: float, limit: float | None, words: str
) -> None:
    """Would fail if the lower of two least speeds counted, a twin as one, or a regulator that
    admits too little passed: 4000 L/min at 40 % are 1600, of 900 that milking takes."""
    speeds = ({"speed": "variable", "least_speed_pct": 30},
              {"speed": "variable", "least_speed_pct": 40})  # fmt: skip
    both = pumps(*speeds)
    regulator = machine("RG1", "regulator", capacity_l_min_free=admits, count=2,
                        set_vacuum_kpa=42)  # fmt: skip
    ctx = wishing("shared-running", **both, RG1=regulator)
    made = replace(need, steady_at_inlet_l_min=steady)
    vacuum._shared_speed(ctx, made, tuple(both.values()))
    (told,) = ctx.notes.findings
    assert told.value == pytest.approx(share) and told.limit == limit and words in told.sentence
    assert (told.sense == "informational") == (limit is None)
    assert inputs(told) == {"H q_steady": steady * 0.9, "sum(q_pump)": pytest.approx(4000.0),
                            "s_least": 40.0}  # fmt: skip
    for wish, first, second in (("none", *speeds), ("shared-running", {"speed": "fixed"},
                                                    {"speed": "fixed"})):  # fmt: skip
        alike = pumps(first, second)
        quiet = wishing(wish, **alike)
        vacuum._shared_speed(quiet, made, tuple(alike.values()))
        assert not quiet.notes.findings


@pytest.mark.parametrize("fixed", [True, False])
def test_regulators_take_what_pumps_draw_at_least(need: Demand, fixed: bool) -> None:
    """Would fail if a pump of one speed were taken as slowing down, or nominal air as that at the
    inlet: 2000 L/min (30 % of it at variable speed) and 40 % of 2000 over 0.9."""
    first = {"speed": "fixed"} if fixed else {"speed": "variable", "least_speed_pct": 30}
    both = pumps(first, {"speed": "variable", "least_speed_pct": 40})
    regulators = {
        tag: machine(tag, "regulator", capacity_l_min_free=air, count=count, set_vacuum_kpa=42)
        for tag, air, count in (("RG1", 900, 2), ("RG2", 400, 1))
    }
    ctx = bench_of(small(**both, **regulators))
    vacuum._regulation(ctx, need, tuple(both.values()))
    (told,) = ctx.notes.findings
    limit = ((2000 if fixed else 600) + 800) / 0.9
    assert told.value == 2200.0 and told.limit == pytest.approx(limit)
    assert told.advised == next_round(1.1 * limit / 3) and inputs(told)["H"] == 0.9
    bare = bench_of(small(**both, RG1=None))
    vacuum._regulation(bare, need, tuple(both.values()))
    assert len(bare.notes.findings) == fixed and len(bare.notes.notes) == (not fixed)


def test_a_distribution_tank_takes_the_largest_receiver() -> None:
    """Would fail if a flooded receiver of 250 L were to run into a tank for 120."""
    two = {t: machine(t, "receiver", volume_l=v) for t, v in (("RC1", 120), ("RC2", 260))}
    for changes, spill in ((two, 260.0), ({"RC1": None, "RC2": None}, 0.0)):
        ctx = bench_of(small(**changes))
        vacuum._distribution_tank(ctx)
        (told,) = ctx.notes.findings
        least = ctx.number("vacuum.interceptor_least_l")
        assert told.limit == least and told.advised == next_preferred(max(least, spill))
        assert f"{told.advised:.0f} L also takes" in told.sentence


@pytest.mark.parametrize(("redundancy", "inflow"), [("none", 120.0), ("shared-running", 240.0)])
@pytest.mark.parametrize("levels", [{}, {"led_at_l": 50, "stop_at_l": 15}, {"start_at_l": 70}])
def test_a_receiver_takes_a_slug_and_a_surge_over_its_level(
    day: Duty, redundancy: str, inflow: float, levels: dict[str, float]
) -> None:
    """Would fail if a slug came the whole way of a looped line, two receivers each took the whole
    peak with no wish for it, or the level that the pump holds were taken as free."""
    one = machine("RC1", "receiver", volume_l=150, **levels)
    lines = {"ML1": machine("ML1", "milkline", bore_mm=98, slope_pct=1, length_m=60, looped=True),
             "ML2": machine("ML2", "milkline", bore_mm=73, slope_pct=1, length_m=80,
                            looped=False)}  # fmt: skip
    assert isinstance(one, ReceivesMilk)
    ctx = wishing(redundancy, **lines)
    receiving._receiver(ctx, day, one, 2)
    told, *others = ctx.notes.findings
    least, surge_s = ctx.number("receiver.least_l"), ctx.number("receiver.surge_s")
    slug = slug_volume_l(98, 80 / 2 / 2, ctx.number("wash.slug_end_length_m"), ctx.rules)
    surge = inflow * surge_s / 60
    held = levels.get("start_at_l", levels.get("led_at_l"))
    needs = (surge + slug) / 0.7 if held is None else held + surge + slug
    assert told.limit == pytest.approx(max(needs, least), abs=0.001)
    assert ("70 % of it free" in told.sentence) == (held is None)
    assert told.advised == next_preferred(1.1 * max((surge + slug) / 0.7, least))
    i = inputs(told)
    assert (i["q_peak"], i["d"], i["L"]) == (inflow, 98, 20.0) and i["V_slug"] == slug
    assert i["V_held"] == pytest.approx(0.3 * needs if held is None else held, abs=0.01)
    told_of = {f.key.rpartition(".")[2]: f for f in others}
    assert told_of.keys() == {name.removesuffix("_l") for name in levels}
    for name, share in (("led_at", 0.3), ("start_at", 0.3), ("stop_at", 0.1)):
        if (level := told_of.get(name)) is not None:
            assert (level.value, level.limit) == (levels[f"{name}_l"], 2 * share * 150)
            assert level.advised == share * 150 and f"{100 * share:.0f} %" in level.advised_why
            assert f"; {share * 150:.0f} L leaves room" in level.sentence
    few = replace(day, units=49, milk_flow_peak_l_min=1.0)
    little = wishing(redundancy, ML1=machine("ML1", "milkline", bore_mm=48, slope_pct=1,
                                             length_m=2))  # fmt: skip
    plain = machine("RC1", "receiver", volume_l=150)
    receiving._receiver(little, few, plain, 2)  # type: ignore[arg-type]
    assert (little.notes.findings[0].limit or 0.0) < least
    nothing = wishing("none", ML1=None)
    receiving._receiver(nothing, day, one, 2)
    i = inputs(nothing.notes.findings[0])
    assert (i["d"], i["L"]) == (73.0, 10.0)


@pytest.mark.parametrize(("peak", "inflow"), [(2400.0, 800.0), (30.0, None)])
def test_traps_by_the_largest_inflow_of_their_receiver(
    day: Duty, peak: float, inflow: float | None
) -> None:
    """Would fail if two traps passed for three receivers, or one were advised that a burst fills
    in less than five seconds."""
    made = {"RC1": machine("RC1", "receiver", volume_l=120, count=2),
            "ST2": machine("ST2", "sanitary_trap", volume_l=20)}  # fmt: skip
    ctx = bench_of(small(**made))
    duties = replace(day, milk_flow_peak_l_min=peak)
    receiving._traps(ctx, duties, ctx.plant.machines(ReceivesMilk))
    count, *traps = ctx.notes.findings
    assert (count.key, count.value, count.limit) == ("receiving.trap.count", 2.0, 3.0)
    wash = 60 * ctx.number("wash.unit_flow_l_min") / 3
    least = ctx.number("vacuum.sanitary_trap_least_l")
    for one in traps:
        assert inputs(one)["q"] == pytest.approx(inflow or wash) and one.limit == least
        assert one.advised == next_preferred(max(least, (inflow or wash) * 5 / 60))
    enough = bench_of(small())
    receiving._traps(enough, day, enough.plant.machines(ReceivesMilk))
    assert all(f.key != "receiving.trap.count" for f in enough.notes.findings)


@pytest.mark.parametrize(("redundancy", "limit"), [("none", 100.0), ("shared-running", 150.0)])
@pytest.mark.parametrize(("milk", "wash", "evened", "words"), [
    (300.0, 200.0, False, "peak minute of milk"), (200.0, 300.0, False, "wash water of all units"),
    (300.0, 0.0, True, "milk that BT1 passes on"),
])  # fmt: skip
def test_milk_pumps_by_the_larger_of_milk_and_wash(
    redundancy: str, limit: float, milk: float, wash: float, evened: bool, words: str
) -> None:
    """Would fail if a pump were sized for the lesser of milk and wash, or one of two for all with
    no wish for it; a motor lifts its flow, of 1.03 kg/L, by its head, and half is lost."""
    pair = {"MP1": machine("MP1", "milk_pump", flow_l_min=160, head_m=15, motor_kw=1.1, count=2),
            "MP2": machine("MP2", "milk_pump", flow_l_min=90, head_m=9, motor_kw=0.4)}  # fmt: skip
    ctx = wishing(redundancy, **pair)
    both = (ctx.plant.equipment["MP1"], ctx.plant.equipment["MP2"])
    receiving._pumps(ctx, both, "BT1", milk, wash, evened=evened)  # type: ignore[arg-type]
    flows = [f for f in ctx.notes.findings if f.key.endswith(".flow")]
    for one in flows:
        assert one.limit == pytest.approx(limit) and words in one.sentence
        assert one.advised == next_round(1.1 * limit)
        i = inputs(one)
        assert i["q_milk" if evened else "q_peak"] == milk and i.get("n q_wash", 0.0) == wash
    motors = [f for f in ctx.notes.findings if f.key.endswith(".motor")]
    for one, shaft in zip(motors, (160 / 60 * 15, 90 / 60 * 9), strict=True):
        kw = 1.03 * shaft * 9.80665 / 1000 / 0.5
        assert one.limit == pytest.approx(kw, rel=0.01)
        assert one.advised == next_motor_kw((one.limit or 0) * ctx.number("motor.service_margin"))
    assert all(not f.key.endswith(".standby") for f in ctx.notes.findings)
    alone = wishing(redundancy)
    pump = alone.plant.equipment["MP2"]
    assert isinstance(pump, MovesMilk)
    receiving._pumps(alone, (pump,), "BT1", milk, wash)
    told = [(f.value, f.limit) for f in alone.notes.findings if f.key.endswith(".standby")]
    assert told == ([] if redundancy == "none" else [(1.0, 2.0)])
    none = wishing(redundancy)
    receiving._pumps(none, (), "BT1", milk, wash)
    assert [(f.value, f.limit) for f in none.notes.findings] == [(0.0, 1.0)]


@pytest.mark.parametrize(("capacity", "lines"), [(6200.0, True), (600.0, True), (6200.0, False)])
def test_air_in_each_line_while_the_reserve_is_drawn(
    day: Duty, capacity: float, lines: bool
) -> None:
    """Would fail if leakage were taken off the air of a receiver, a pump's own branch carried more
    than it draws, or pulsation were forgotten where no line of its own takes it."""
    pair = {t: machine(t, "vacuum_pump", capacity_l_min_free=capacity, motor_kw=9, count=1)
            for t in ("VP1", "VP2")}  # fmt: skip
    ctx = bench_of(small(**pair, **({} if lines else {"PA1": None})))
    need = demand(ctx, day)
    flows = airlines._flows(ctx, day, need, Ways(ctx.plant))
    ends = {p.start: p.id for p in ctx.plant.pipes}
    air = air_use(ctx, day)
    draws = capacity / need.iso.altitude_factor
    left = 2 * draws - need.steady_at_inlet_l_min
    milk = air.claws + need.iso.milk_leakage_l_min_free
    milk += max(need.iso.effective_reserve_l_min_free, left) + (0.0 if lines else air.pulsators)
    assert flows[ends["RC1.vacuum"]] == pytest.approx(milk / 2)
    whole = milk + (air.pulsators if lines else 0.0)
    assert flows[ends["GL1.fixed_vacuum"]] == pytest.approx(milk)
    assert flows[ends["NR1.outlet"]] == pytest.approx(min(whole, draws))
    if lines:
        assert flows[ends["PA1.supply_1"]] == pytest.approx(air.pulsators)


def test_pulsators_run_in_a_wash_unless_it_says_otherwise() -> None:
    """Would fail if a plant whose wash stops them had their air, or one with no wash none."""
    plant = rotary(20, 60)
    wash = plant.modes["wash"]
    for runs, washes, pulsed in ((True, True, True), (False, True, False), (False, False, True)):
        stands = wash.positions | {"PU1": "runs" if runs else "stopped"}
        modes = plant.modes | {"wash": wash.model_copy(update={"positions": stands})}
        if not washes:
            del modes["wash"]
        ctx = bench_of(plant.model_copy(update={"modes": modes}))
        assert vacuum_demand._pulsators_run_in_wash(ctx) == pulsed
    assert vacuum_demand._pulsators_run_in_wash(bench_of(rotary(20, 60, PU1=None)))


def test_air_of_milking_with_what_leaks_besides() -> None:
    """Would fail if the system's leak were taken off what milking draws and not put on it."""
    ctx = bench_of(small(), {"vacuum.system_leak_share": 0.2})
    day = duty_of(ctx)
    need = demand(ctx, day)
    air = air_use(ctx, day).all_units + need.iso.milk_leakage_l_min_free
    assert need.steady_at_inlet_l_min * 0.8 == pytest.approx(air)
