"""Paces, milkings, levels, frost, feeds and suction of the sizing, worked by hand."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import pytest

from byrewright.physics.rows import row_time_s
from byrewright.plant.primitives import Pump, Vessel
from byrewright.plant.programme import MilkOut
from byrewright.plant.roles import BalancesMilk, MovesMilk, ReceivesMilk
from byrewright.studies.sizing import duty, frost, suction
from byrewright.studies.sizing.context import StudyContext
from byrewright.studies.sizing.duty import duty_of, evened_of
from byrewright.studies.sizing.feeds import carried, chains, feeders, feeds_of
from byrewright.studies.sizing.loads import SITUATIONS, ElectricLoad
from byrewright.studies.sizing.serving import idle, serving
from tests.plants import machine, pipe, rotary, rows
from tests.studies.benches import bench_of, small
from tests.studies.told import inputs

OUT = MilkOut(300.0, 60.0)


def test_a_milking_cow_by_cow_is_told_in_its_own_units(monkeypatch: pytest.MonkeyPatch) -> None:
    """Would fail if kilograms were told as litres, seconds as minutes, the gap were of another
    milking, or cows that give milk in bursts were met by the mean flow alone."""
    calls = iter((2.0, 3.0))

    def alone(*_: Any) -> Any:
        hours = next(calls)
        return SimpleNamespace(hours=hours, minute_kg=1030.0 * hours, met_kg_min=515.0 * hours,
                               cows=hours)  # fmt: skip

    monkeypatch.setattr(duty, "milk_alone", alone)
    monkeypatch.setattr(duty, "wait_s", lambda cows, _: 600 * cows)
    got = duty_of(bench_of(small()))
    first, last = got.milkings  # at 05:00 and 16:30
    assert (first.end_min, last.end_min) == (420.0, 1170.0)
    assert (first.gap_after_min, last.gap_after_min) == (570.0, 570.0)
    assert (first.yard_wait_min, last.yard_wait_min) == (20.0, 30.0)
    assert (last.busiest_l_min, last.met_l_min) == pytest.approx((3000.0, 1500.0))
    assert (got.milk_flow_peak_l_min, got.milk_flow_met_l_min) == pytest.approx((3000.0, 1500.0))
    assert got.peak_factor * got.milk_flow_mean_l_min == pytest.approx(3000.0)
    assert got.milking_h_day == 5.0 and first.saleable_l == first.milk_l - first.withheld_l
    assert first.withheld_l > 0 and got.largest.milk_l == max(first.milk_l, last.milk_l)
    on = replace(got, layout="rotary", units=50, turn_s=400.0, milk_out=OUT)
    assert (on.units_on, replace(on, layout="rows").units_on) == (37.5, 50.0)
    assert replace(on, turn_s=200.0).units_on == 50.0


def test_the_slowest_milking_sets_the_pace() -> None:
    """Would fail if the milking of the quickest cows set the pace, or of two alike in pace the one
    whose cows are done first."""
    plant = rotary(50, 620, turn_s=480, withheld=0)
    uneven = tuple(m.model_copy(update={"share": s})
                   for m, s in zip(plant.milkings, (0.4, 0.6), strict=True))  # fmt: skip
    herd = plant.herd.model_copy(update={"milk_out_time_s": None})
    plant = plant.model_copy(update={"milkings": uneven, "herd": herd})
    ctx = bench_of(plant)
    got = duty_of(ctx)
    second = got.milkings[1]
    assert got.milk_out == second.milk_out and got.net_cows_h == second.net_cows_h
    assert second.net_cows_h < got.milkings[0].net_cows_h
    told = [a for a in ctx.notes.assumptions if "unit-on" in a.meaning]
    assert [a.value for a in told] == [
        f"{m.milk_out.mean_s:.0f} and {m.milk_out.std_dev_s:.0f}" for m in got.milkings
    ]
    limit = machine("AR1", "automatic_removal", count=50, milking_time_limit_s=120)
    cut = {**plant.equipment, "AR1": limit}
    same = duty_of(bench_of(plant.model_copy(update={"equipment": cut})))
    assert same.net_cows_h == same.milkings[0].net_cows_h and same.milk_out == second.milk_out


@pytest.mark.parametrize(("limit_s", "again"), [(429.0, True), (432.0, False), (440.0, True)])
def test_cows_go_round_again_unless_a_limit_ends_them(limit_s: float, again: bool) -> None:
    """Would fail if of two limits the later held, or one a second longer than the turn gave
    nobody a second round: 45 of 50 stalls at 480 s are 432 s."""
    deck = machine("PF1", "platform", stalls=50, turn_s=480, entry_stalls=5, stop_share_pct=10)
    limits = {t: machine(t, "automatic_removal", count=25, milking_time_limit_s=s)
              for t, s in (("AR1", limit_s), ("AR2", 433.0))}  # fmt: skip
    ctx = bench_of(small(PF1=deck, **limits))
    pace = duty._pace(ctx, deck, 2, MilkOut(400.0, 80.0))  # type: ignore[arg-type]
    assert pace.available_s == pytest.approx(432.0)
    assert (pace.go_round > 0) == (limit_s > 432.0)
    assert pace.net_h <= 0.9 * pace.gross_h and pace.gross_h == pytest.approx(375.0)
    assert again or pace.net_h == pytest.approx(0.9 * 375.0)
    work = ctx.plant.work.model_copy(
        update={"prepare_s": 16.0, "attach_s": 10.0, "spray_s": 3.0, "other_s": 1.0}
    )
    ctx.plant = ctx.plant.model_copy(update={"work": work})
    timed = duty._pace(ctx, deck, 2, OUT)  # type: ignore[arg-type]
    assert timed.labour_h == pytest.approx(240.0)


def test_rows_take_turns_and_their_people_too() -> None:
    """Would fail if a row were of all stalls, or people served rows faster than they can: 24 cows
    at 60 s are 1440 s, of which a change of 90 s is none of the milking."""
    slow = row_time_s(12, 5.0, OUT.mean_s, OUT.std_dev_s, 1e9)
    assert duty.rows_milking_s(24, 2, 5.0, 90.0, OUT, 1e9) == slow < 1350
    assert duty.rows_milking_s(24, 2, 60.0, 90.0, OUT, 1e9) == pytest.approx(1350.0)
    one = row_time_s(1, 5.0, OUT.mean_s, OUT.std_dev_s, 1e9)
    assert duty.rows_milking_s(1, 2, 5.0, 90.0, OUT, 1e9) == one
    deck = machine("PF1", "platform", layout="rows", rows=2, stalls=24, turn_s=90,
                   stop_share_pct=20)  # fmt: skip
    ctx = bench_of(rows())
    pace = duty._pace(ctx, deck, 2, OUT)  # type: ignore[arg-type]
    took = duty.rows_milking_s(24, 2, pace.routine_s / 2, 90.0, OUT, 1e9)
    assert (pace.turn_s, pace.available_s) == pytest.approx((90 + took, took))
    assert pace.net_h == pytest.approx(0.8 * 3600 * 24 / (90 + took))


def test_a_plant_without_deck_or_units_or_milk() -> None:
    """Would fail if a deck not stated were assumed but for its units, or nothing were divided by
    itself."""
    bare = bench_of(small(PF1=None))
    assert duty_of(bare).stalls == 50 and duty_of(bare).turn_s == duty.TURN_ASSUMED_S == 540
    told = {a.meaning: a.value for a in bare.notes.assumptions}
    assert told["stalls of a rotary"] == 50 and told["time of one turn"] == 540
    none = duty._platform(bench_of(small(PF1=None, MU1=None)))
    assert (none.stalls, none.turn_s) == (duty.STALLS_ASSUMED, 540.0) == (40, 540.0)
    assert duty_of(bench_of(small(MU1=None))).units == 50
    assert duty.stalls_on(None, 30) == 30.0
    assert duty.stalls_on(machine("P", "platform", stalls=50, turn_s=400, entry_stalls=5), 4) == 1.0  # type: ignore[arg-type]


def test_where_the_milk_enters_the_tank() -> None:
    """Would fail if the wish gave way, or milk from a cooler of water alone were as cold as the
    water, or as what a chilled stage makes; two tanks are held at the colder of theirs."""
    plain = small()
    number = bench_of(plain).number
    wished = plain.model_copy(
        update={"wishes": plain.wishes.model_copy(update={"milk_out_c": 9.0})}
    )
    chilled = plain.equipment["PC1"].model_copy(update={"chilled_area_m2": 20.0})
    for plant, c in (
        (wished, 9.0), (plain, 12.0 + number("plate.approach_k")),
        (small(PC1=chilled), number("milk.stored_c")), (small(PC1=None),
                                                        number("milk.at_receiver_c")),
    ):  # fmt: skip
        assert duty._tank_inlet_c(bench_of(plant)) == c
    tanks = {t: plain.equipment[t].model_copy(update={"set_c": c})
             for t, c in (("TK1", 3.0), ("TK2", 2.5))}  # fmt: skip
    got = duty_of(bench_of(small(**tanks)))
    assert got.stored_c == 2.5 and got.ambient_warmest_c == 19.0


def led(ctx: StudyContext, role: Any) -> list[tuple[float, float, int]]:
    """Flow, least share and count of the pumps that follow vessels of a role."""
    return [(flow, floor, n) for _, flow, floor, n in duty._led(ctx, role)]


@pytest.mark.parametrize(("control", "floor"), [
    ("level_led", 0.4), ("stepped", 1 / 3), ("on_off", 1.0),
])  # fmt: skip
def test_pumps_that_follow_a_level(
    monkeypatch: pytest.MonkeyPatch, control: str, floor: float
) -> None:
    """Would fail if a pump that stands in milking, or follows another vessel, gave its flow, or a
    pump ran slower than its control lets it."""
    monkeypatch.setattr(duty, "pumped_l_min", lambda _, tag: {"MP3": 90.0}.get(tag))
    made = Pump(inlet="inlet", outlet="outlet", flow_l_min=60.0, head_m=9.0, law=control,  # type: ignore[arg-type]
                led_by="BT1", floor_share=0.4, steps=3)  # fmt: skip
    ctx = bench_of(small())
    for tag, m in ctx.plant.equipment.items():
        if isinstance(m, MovesMilk):
            own = replace(made, led_by="BT1" if tag in ("MP3", "MP4") else "RC1")
            monkeypatch.setattr(type(m), "lower", lambda self, o=own: (
                replace(o, led_by="BT1" if self.id in ("MP3", "MP4") else "RC1"),))  # fmt: skip
    assert led(ctx, BalancesMilk) == [(150.0, floor, 2)]
    assert led(ctx, ReceivesMilk) == [(120.0, floor, 2)]
    modes = {n: m.model_copy(update={"positions": {**m.positions, "MP3": "stopped"}})
             for n, m in ctx.plant.modes.items()}  # fmt: skip
    ctx.plant = ctx.plant.model_copy(update={"modes": modes})
    assert led(ctx, BalancesMilk) == [(60.0, floor, 1)]
    ctx.plant = ctx.plant.model_copy(update={"modes": {}})
    assert led(ctx, BalancesMilk) == [(150.0, floor, 2)]


def test_vessels_even_out_by_the_slowest_and_burst_together(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Would fail if of two tanks the quicker told the lag, or receivers did not add up: levels
    stop, start and full 10, 40, 60 L (three fifths of full speed at the start)."""
    vessel = Vessel(volume_l=100.0)
    every: dict[Any, list[Any]] = {
        BalancesMilk: [(vessel, 100.0, 0.2, 2), (vessel, 50.0, 0.9, 1), (vessel, 200.0, 0.1, 1)],
        ReceivesMilk: [(vessel, 100.0, 0.25, 2), (vessel, 60.0, 1.0, 1)],
    }
    monkeypatch.setattr(duty, "_led", lambda _, role: iter(every[role]))
    monkeypatch.setattr(duty, "levels_l", lambda *_: (20.0, 10.0, 40.0, 60.0))
    got = evened_of(bench_of(small()))
    assert got.lag_s == pytest.approx(60.0)
    assert got.least_kg_min == pytest.approx(45 * 1.03)
    assert got.burst_kg == pytest.approx(60 * 1.03)
    assert got.burst_kg_min == pytest.approx((0.6 * 50 + 60) * 1.03)


@pytest.mark.parametrize(("coldest", "held", "room", "verdict"), [
    (-10.0, None, None, "unknown"), (-10.0, 4.0, 4.0, "holds"), (-10.0, 3.0, 3.0, "fails"),
    (6.0, 3.0, 6.0, "holds"), (4.0, None, 4.0, "holds"), (None, 1.0, 1.0, "fails"),
])  # fmt: skip
def test_rooms_in_the_coldest_night(
    coldest: float | None, held: float | None, room: float | None, verdict: str
) -> None:
    """Would fail if a room were colder than its night or its heating, one at the very limit were
    asked to be warmer, or lines were counted that are none of their service."""
    plant = small()
    site = plant.site.model_copy(update={"coldest_c": coldest, "room_heated_to_c": held})
    ctx = bench_of(plant.model_copy(update={"site": site}),
                   {"frost.room_least_c": 4.0, "frost.cold_night_k": 15.0})  # fmt: skip
    assert frost.coldest_c(ctx)[0] == (-13.0 if coldest is None else coldest)
    frost.size_frost(ctx, None)  # type: ignore[arg-type]
    assert [f.subject for f in ctx.notes.findings] == ["water", "wash", "air"]
    for told in ctx.notes.findings:
        assert (told.value, told.limit, told.verdict) == (room, 4.0, verdict)
        assert ("Heat the room" in told.sentence) == (verdict != "holds")
        assert ("not stated to be heated" in told.sentence) == (held is None)
        count = sum(plant.service_of(p) == told.subject for p in plant.pipes)
        assert f"the {count} " in told.sentence
        assert bool(told.missing) == (verdict == "unknown")
    dry = bench_of(small(AC1=None, AC2=None, AI1=None))
    frost.size_frost(dry, None)  # type: ignore[arg-type]
    assert "air" not in {f.subject for f in dry.notes.findings}


def boards() -> Any:
    """Two boards from the mains, one from either of them, and pumps on each."""
    on = {"SB1": ("EM1",), "SB2": ("EM1",), "SB3": ("SB1", "SB2")}
    made: dict[str, Any] = {t: machine(t, "switchboard", fed_from=f) for t, f in on.items()}
    plant = small(**made)
    fed = {"VP1": ("SB3",), "VP2": ("SB2",), "LP1": ("SB1",)}
    return plant.model_copy(update={"equipment": {
        t: m.model_copy(update={"fed_from": fed[t]}) if t in fed else
        m if t in on or not m.fed_from else m.model_copy(update={"fed_from": ()})
        for t, m in plant.equipment.items()}})  # fmt: skip


def test_what_each_board_carries_with_another_lost() -> None:
    """Would fail if a machine were fed by a board without power, a board carried what hangs on
    another, or the worst were told of a board whose loss changes nothing."""
    plant = boards()
    assert feeders(plant)["SB3"] == "SB1" and chains(plant)["VP1"] == ("SB3", "SB1", "EM1")
    lost = frozenset({"SB1"})
    assert feeders(plant, lost)["SB3"] == "SB2" and "LP1" not in feeders(plant, lost)
    assert "SB1" not in feeders(plant, lost)
    assert feeders(plant, frozenset({"EM1"})) == {}
    kw = {"VP1": 10.0, "VP2": 20.0, "LP1": 40.0}
    loads = [ElectricLoad(plant.equipment[t], q, 1.0, dict.fromkeys(SITUATIONS, 1.0), None, 0.0)
             for t, q in kw.items()]  # fmt: skip
    held = {t: sorted(x.machine.id for x in mine) for t, mine in carried(plant, loads).items()}
    assert held == {"SB1": ["LP1", "VP1"], "SB2": ["VP2"], "SB3": ["VP1"],
                    "EM1": ["LP1", "VP1", "VP2"]}  # fmt: skip
    usual = feeds_of(plant, loads, 400.0, 3, one_lost=False)
    worst = feeds_of(plant, loads, 400.0, 3, one_lost=True)
    for board, kva, most, why in (("SB1", 50.0, 50.0, ""), ("SB2", 20.0, 30.0, "SB1"),
                                  ("SB3", 10.0, 10.0, "")):  # fmt: skip
        one = worst[board]
        assert (one.kva, one.worst_kva, one.lost) == pytest.approx((kva, most, why))
        assert one.amps == pytest.approx(1000 * kva / (400 * 3**0.5))
        assert one.worst_amps == pytest.approx(1000 * most / (400 * 3**0.5))
        assert (usual[board].kva, usual[board].worst_kva) == pytest.approx((kva, kva))


def asked_at(npsh_m: float, vacuum_kpa: float = 42.0, mode: str = "milking") -> Any:
    """A pump that gives 150 L/min of milk-like liquid that boils at 2 kPa."""
    return SimpleNamespace(npsh_m=npsh_m, vacuum_kpa=vacuum_kpa, mode=mode, l_min=150.0,
                           source="RC1", density_kg_m3=1000.0, boils_kpa_abs=2.0)  # fmt: skip


def test_suction_is_what_stands_over_the_boiling_of_what_comes() -> None:
    """Water boils at 50 degC under 12.35 kPa (steam tables, from memory): would fail if a hotter
    liquid were given more suction, or pressure were told as head otherwise than by its weight."""
    got = suction._inlet(asked_at(5.0), 150.0, 50.0, "wash")
    assert got.boils_kpa == pytest.approx(12.35, rel=0.01) and got.liquid == "wash at 50 degC"
    assert got.over_m == pytest.approx(5.0 - (got.boils_kpa - 2.0) / 9.80665, rel=1e-6)


@pytest.mark.parametrize(("over_m", "stated_m", "verdict", "most"), [
    (3.55, 3.0, "holds", None), (3.45, 3.0, "fails", 2.9), (3.5, 3.0, "holds", None),
    (2.45, None, "fails", 1.9), (2.55, None, "holds", None), (0.4, 3.0, "fails", None),
    (1.5, 3.0, "fails", 1.0), (1.49, 3.0, "fails", None),
])  # fmt: skip
def test_a_pump_that_needs_less_suction(
    monkeypatch: pytest.MonkeyPatch, over_m: float, stated_m: float | None, verdict: str,
    most: float | None,
) -> None:  # fmt: skip
    """Would fail if a pump were ordered that needs more than is there with the margin of 0.5 m, or
    one that nobody makes, or the plate of the pump counted for nothing."""
    ctx = bench_of(small(), {"pump.npsh_margin_m": 0.5})
    assert (ctx.number("pump.npsh_m"), ctx.rules["pump.npsh_m"].low) == (2.0, 1.0)
    pump = ctx.plant.equipment["MP1"]
    rated = SimpleNamespace(npsh_m=stated_m)
    monkeypatch.setattr(suction, "net_of", lambda _: SimpleNamespace(
        pumps={"MP1": rated}, ambient_kpa=99.0))  # fmt: skip
    low = suction.Inlet(asked_at(over_m), 150.0, "milk", 7.0, over_m)
    suction._judge(ctx, pump, low, "delivery.npsh", "Milk pump suction", "here", "No pump needs")  # type: ignore[arg-type]
    (told,) = ctx.notes.findings
    assert (told.limit, told.value) == ((stated_m or 2.0) + 0.5, over_m)
    assert ("holds" if told.verdict == "tight" else told.verdict) == verdict
    assert [r.to for r in told.remedies] == ([] if most is None else [most])
    assert (suction.HELPS in told.sentence) == (most is not None)
    assert ("No pump needs" in told.sentence) == (verdict == "fails" and most is None)
    assert inputs(told)["needs"] == (stated_m or 2.0)


def test_the_worst_of_the_modes_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    """Would fail if the mode with the most suction were judged, the air over the liquid were told
    as the whole of it, or the wash were judged cooler than its hottest step."""
    seen: list[Any] = []
    monkeypatch.setattr(suction, "_judge", lambda *a: seen.append(a[2:]))
    monkeypatch.setattr(suction, "net_of", lambda _: SimpleNamespace(ambient_kpa=99.0))
    by_mode = {"milking": asked_at(6.0), "calf": asked_at(4.0, mode="calf"), "wash": None}
    monkeypatch.setattr(suction, "asked", lambda _, __, mode, *___: by_mode[mode])
    monkeypatch.setattr(suction, "_temperature", lambda *_: (38.0, "milk"))
    ctx = bench_of(small())
    pump: Any = ctx.plant.equipment["MP1"]
    suction.judge_suction(ctx, pump, [asked_at(9.0, mode=m) for m in by_mode])
    low, *_, none_does = seen[0]
    assert low.at.mode == "calf" and "only 57 kPa of air" in none_does
    suction.judge_suction(ctx, pump, [asked_at(9.0, mode="wash")])
    assert len(seen) == 1
    steps = [s.at_c or 0.0 for s in ctx.programme.wash.steps]
    suction.judge_wash_suction(ctx, pump, [asked_at(7.0), asked_at(6.0)])
    assert seen[1][0].at.npsh_m == 6.0 and "99 kPa of air" in seen[1][-1]
    assert seen[1][0].liquid == f"wash at {max(*steps, ctx.plant.cleaning.hot_c):.0f} degC"


def chilled(*shut: str) -> Any:
    """A plant whose cooler has a second stage, from a chiller by way of two valves."""
    cooler = machine("PC1", "plate_cooler", area_m2=40, water_ratio=2.0, chilled_area_m2=20.0)
    gates = {t: machine(t, "valve", ways=2) for t in ("V50", "V51")}
    plant = small(PC1=cooler, CH1=machine("CH1", "chiller", duty_kw=40), **gates)
    ends = ("CH1.coolant_out V50.a", "V50.b PC1.coolant_in", "PC1.coolant_out V51.a",
            "V51.b CH1.coolant_in")  # fmt: skip
    pipes = [pipe(f"LC{i}", *e.split()) for i, e in enumerate(ends)]
    stands = {t: "closed" if t in shut else "open" for t in gates}
    modes = {n: m.model_copy(update={"positions": m.positions | stands})
             for n, m in plant.modes.items()}  # fmt: skip
    return plant.model_copy(update={"pipes": (*plant.pipes, *pipes), "modes": modes})


def test_what_cannot_serve() -> None:
    """Would fail if a chiller served whose liquid comes to nothing or does not come back, a
    machine that one mode runs were said to stand in all, or what only stands were not told."""
    assert idle(chilled()) == idle(small()) == {}
    for valve in ("V50", "V51"):
        assert list(idle(chilled(valve))) == ["CH1"]
    plant = small()
    for some, gone in ((("milking",), []), ([*plant.modes], ["VP1"])):
        modes = {n: m.model_copy(update={"like": None, "positions": {
            **m.positions, "VP1": "stopped" if n in some else "runs"}})
            for n, m in plant.modes.items()}  # fmt: skip
        assert [t for t, why in idle(plant.model_copy(update={"modes": modes})).items()
                if "every mode" in why] == gone  # fmt: skip
    dry = {n: m for n, m in plant.modes.items() if "milking" not in m.does}
    assert idle(plant.model_copy(update={"modes": dry})) == idle(small(MU1=None)) == {}


def test_a_plant_without_what_cannot_serve() -> None:
    """Would fail if a line stayed whose one end is gone, what is led by it, or its position."""
    plant = small()
    ctx = bench_of(plant.model_copy(
        update={"pipes": tuple(p for p in plant.pipes if not (
            p.end == "TK2.inlet_1" or p.start == "TK2.outlet"))}
    ))  # fmt: skip
    left = serving(ctx)
    told = next(f for f in ctx.notes.findings if f.subject == "TK2")
    assert (told.value, told.limit, told.verdict) == (0.0, 1.0, "fails")
    assert set(plant.equipment) - set(left.equipment) == {"TK2"}
    assert {p.id for p in ctx.plant.pipes} - {p.id for p in left.pipes} == {
        p.id for p in ctx.plant.pipes if "TK2." in p.start + p.end
    }
    from byrewright.studies.sizing.serving import _without

    none = _without(plant, {"BT1"})
    assert set(plant.equipment) - set(none.equipment) == {"BT1", "MP3", "MP4"}
    assert not any({"MP3", "MP4"} & set(m.positions) for m in none.modes.values())
    assert all("MP1" in m.positions for n, m in none.modes.items() if n in ("milking", "wash"))
