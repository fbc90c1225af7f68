"""Compressed air: users, compressors, receivers and dryers, worked by hand."""

from __future__ import annotations

from dataclasses import replace
from math import pi, sqrt
from typing import Any

import pytest

from byrewright.plant.plant import Plant
from byrewright.plant.roles import CompressesAir, DriesAir
from byrewright.standards.compressed_air import COMPRESSOR_L_MIN, RECEIVER_L
from byrewright.studies.sizing import compressed_air as air
from byrewright.studies.sizing.compressed_air import AirDemand, AirUser
from byrewright.studies.sizing.context import StudyContext
from byrewright.studies.sizing.duty import Duty, duty_of
from byrewright.studies.sizing.sizes import next_motor_kw, next_round
from tests.plants import machine
from tests.studies.benches import bench_of, small
from tests.studies.told import inputs


@pytest.fixture(scope="module")
def day() -> Duty:
    """300 cows an hour on to the deck, a tenth of the time lost, 240 net; 1000 milkings of a cow a
    day and a fifth more go-rounds; air of one bar."""
    return replace(duty_of(bench_of(small())), gross_cows_h=300.0, stop_share=0.1, net_cows_h=240.0,
                   cows_milked_day=1000, passes=1.2, pressure_kpa_abs=100.0)  # fmt: skip


def with_air(redundancy: str = "none", rules: dict[str, float] | None = None,
             hottest_c: float = 32.0, coldest_c: float = 2.0, **changes: object
             ) -> StudyContext:  # fmt: skip
    """A bench with other machines, wishes and weather."""
    plant: Plant = small(**changes)
    update = {"wishes": plant.wishes.model_copy(update={"redundancy": redundancy}),
              "site": plant.site.model_copy(update={
                  "hottest_c": hottest_c, "ambient_c": (coldest_c, *([20.0] * 11))})}  # fmt: skip
    return bench_of(plant.model_copy(update=update), rules)


def receiver(**fields: Any) -> Any:
    """An air receiver that is kept between 6 and 8 bar, for machines of 5 bar."""
    return machine("AV1", "air_receiver", **{
        "volume_l": 300, "lowest_bar": 6, "highest_bar": 8, "serves_bar": 5, **fields})  # fmt: skip


COMPRESSORS = {
    "AC1": machine("AC1", "air_compressor", capacity_l_min_free=300, motor_kw=3, count=2),
    "AC2": machine("AC2", "air_compressor", capacity_l_min_free=200, motor_kw=1.1),
}


def test_users_of_air_by_their_strokes(day: Duty) -> None:
    """Would fail if a cylinder took less than its volume six times over at 5 bar, a gate's rod
    were not taken off, or a user moved for other cows than pass it."""
    remover = machine("AR1", "automatic_removal", count=50, moved_by="air", bore_mm=40,
                      stroke_mm=300)  # fmt: skip
    flush = machine("BF1", "backflush", count=50, air_nl_cow=6.0)
    ctx = with_air(rules={"air.gate_cycles_per_cow": 2.0}, AR1=remover, BF1=flush, AV1=receiver(),
                   **COMPRESSORS)  # fmt: skip
    valves = 3  # V31, V32 and V33
    users = {u.what: u for u in air._users(ctx, day)}
    stroke = pi / 4 * 0.4**2 * 3.0 * 6  # L
    gate = pi / 4 * (2 * 0.5**2 - 0.2**2) * 2.5 * 6
    washes = ctx.programme.washes_a_day
    moves = valves * (60 * washes + 2 * 2)
    told = {
        "cluster removers": (stroke, 4.5, 1200.0), "backflush": (6.0, 4.5, 1200.0),
        "entry and exit gates": (gate, 8.0, 2000.0), "air-moved line valves": (1.5, 0.0, moves),
    }  # fmt: skip
    assert users.keys() == told.keys()
    for what, by_hand in told.items():
        one = users[what]
        assert (one.each_l, one.per_min, one.per_day) == pytest.approx(by_hand), what
    demand = air.air_demand(ctx, day)
    mean = 4.5 * (stroke + 6) + 8 * gate
    assert demand.mean_l_min == pytest.approx(mean)
    busy = (4.5 + 2 * sqrt(4.5)) * (stroke + 6) + (8 + 2 * sqrt(8)) * gate
    assert demand.peak_l_min == pytest.approx(busy + valves * 1.5)
    assert demand.day_l == pytest.approx(1200 * (stroke + 6) + 2000 * gate + moves * 1.5)
    assert air.needed_l_min_free(ctx, day) == pytest.approx(mean / (0.7 - 0.1))
    air._demand(ctx, day, demand)
    first, second = ctx.notes.findings
    assert first.value == pytest.approx(mean, abs=0.05) and inputs(first)["n"] == 4.5
    assert "on vacuum" not in first.sentence and "line valves 0" not in first.sentence
    assert second.value == pytest.approx(busy + 4.5, abs=0.05)
    rows = {r[0]: r for r in ctx.notes.tables[0].rows}
    assert rows["backflush"][1:] == (6.0, 4.5, 27.0, 1200, 7.2)
    kept = with_air(AC1=None, AC2=None, AV1=receiver())
    assert "entry and exit gates" in {u.what for u in air._users(kept, day)}
    plain = with_air(AC1=None, AC2=None, AV1=None)
    assert "entry and exit gates" not in {u.what for u in air._users(plain, day)}


DEMAND = AirDemand((AirUser("gates", 10.0, 12.0, 900.0),), 120.0, 200.0, 9000.0)


@pytest.mark.parametrize(("redundancy", "wants", "has", "advised"), [
    ("none", (400 / 3, 200 / 3), (600.0, 200.0), 70.0),
    ("shared-running", (200.0, 200.0), (300.0, 200.0), 210.0),
])  # fmt: skip
def test_unlike_compressors_by_what_each_must_carry(
    day: Duty, monkeypatch: pytest.MonkeyPatch, redundancy: str, wants: tuple[float, float],
    has: tuple[float, float], advised: float,
) -> None:  # fmt: skip
    """Would fail if each of three were held to all with no wish for it, or leaks counted twice."""
    monkeypatch.setattr(air, "needed_l_min_free", lambda *_: 200.0)
    ctx = with_air(redundancy, **COMPRESSORS)
    every = ctx.plant.machines(CompressesAir)
    air._compressors(ctx, day, DEMAND, every)
    outputs = [f for f in ctx.notes.findings if f.key == "air.compressor"]
    for one, want, have in zip(outputs, wants, has, strict=True):
        assert one.value == have and one.limit == pytest.approx(want, abs=0.05)
        assert one.advised == next(s for s in COMPRESSOR_L_MIN if s >= advised)
        assert ("carry milking alone at no more than 70 %" in one.sentence) == (
            redundancy != "none")  # fmt: skip
    motors = [f for f in ctx.notes.findings if f.key == "air.motor"]
    for one, need in zip(motors, (7.5 * 0.3, 7.5 * 0.2), strict=True):
        assert one.limit == pytest.approx(need) and one.advised == next_motor_kw(need)
    leak = next(f for f in ctx.notes.findings if f.key == "air.leaks")
    assert leak.value == 75 and inputs(leak)["Q"] == 300.0
    assert all(f.key != "air.redundancy" for f in ctx.notes.findings)
    alone = with_air(redundancy, AC1=COMPRESSORS["AC2"].model_copy(update={"id": "AC1"}), AC2=None)
    air._compressors(alone, day, DEMAND, alone.plant.machines(CompressesAir))
    told = [f.value for f in alone.notes.findings if f.key == "air.redundancy"]
    assert told == ([] if redundancy == "none" else [1])


@pytest.mark.parametrize(("peak", "need", "why"), [
    (200.0, 0.25 * 60 * 300 / 10 / 2, "at most 10 starts an hour"),
    (400.0, 400.0 / (6 - 5), "one busy minute with no compressor"),
])  # fmt: skip
@pytest.mark.parametrize("count", [1, 2])
def test_a_receiver_carries_a_busy_minute_and_spares_starts(
    day: Duty, peak: float, need: float, why: str, count: int
) -> None:
    """Would fail if a receiver were sized by the lesser of two needs, by the smaller compressor, or
    two were each advised what one must hold."""
    ctx = with_air(AV1=receiver(count=count), **COMPRESSORS)
    demand = replace(DEMAND, peak_l_min=peak)
    air._receivers(ctx, day, demand, ctx.plant.machines(CompressesAir))
    (told,) = ctx.notes.findings
    assert (told.value, told.limit) == (300.0 * count, pytest.approx(need, abs=0.05))
    assert why in told.sentence and told.confidence == (
        "from_memory" if "starts" in why else "read"
    )
    assert told.source == ("practice" if "starts" in why else "doe_air")
    wanted = next((s for s in RECEIVER_L if s >= 1.05 * need), RECEIVER_L[-1])
    assert told.advised == (wanted if count == 1 else None)
    i = inputs(told)
    assert (i["Q"], i["q_peak"], i["p_atm"]) == (300.0, peak, 1.0)


@pytest.mark.parametrize("fields", [{"highest_bar": 6}, {"serves_bar": 6}])
def test_pressures_that_stand_in_the_wrong_order_are_told(
    day: Duty, fields: dict[str, float]
) -> None:
    """Would fail if a receiver were sized for a band of nothing."""
    ctx = with_air(AV1=receiver(**fields), **COMPRESSORS)
    air._receivers(ctx, day, DEMAND, ctx.plant.machines(CompressesAir))
    (told,) = ctx.notes.findings
    assert told.key == "air.pressures"
    assert told.limit == pytest.approx(fields.get("serves_bar", 5) + 0.1)


@pytest.mark.parametrize(("redundancy", "count", "hottest_c", "flow", "inlet", "warm"), [
    ("none", 1, 28.0, 800.0, 38.0, 1 - 0.17 * 3 / 5),
    ("none", 2, 32.0, 300.0, 42.0, 0.83 - 0.13 * 2 / 5),
    ("shared-running", 1, 50.0, 300.0, 45.0, 0.7),
])  # fmt: skip
def test_a_dryer_takes_what_runs_through_it_on_a_hot_day(
    day: Duty, redundancy: str, count: int, hottest_c: float, flow: float, inlet: float, warm: float
) -> None:
    """Would fail if a dryer were sized for the mean day, for one of three compressors that all blow
    through it, or past what its factors go to."""
    dryer = machine("AD1", "air_dryer", capacity_l_min_free=500, count=count)
    ctx = with_air(redundancy, hottest_c=hottest_c, AD1=dryer, AV1=receiver(), **COMPRESSORS)
    air._dryers(ctx, ctx.plant.machines(CompressesAir))
    told = ctx.notes.findings[0]
    need = flow / warm / sqrt((6 + 1) / (7 + 1))
    assert told.limit == pytest.approx(need, abs=0.06) and told.value == 500.0
    assert told.advised == next_round(1.05 * need)
    assert inputs(told)["q"] == flow and inputs(told)["T"] == inlet


@pytest.mark.parametrize(("coldest_c", "dew_c", "gap", "words", "advised"), [
    (15.0, 3.0, 17.0, "so no water condenses in it (17 K apart).", 3.0),
    (8.0, 2.0, 11.0, "no water condenses in it (11 K apart).", 2.0),
    (3.0, 3.0, 5.0, "or use a dryer of -20 degC", 3.0),
    (1.0, 3.0, 3.0, "or use a dryer of -20 degC", 3.0),
    (0.0, 3.0, 2.0, "or use a dryer of -20 degC", -20.0),
    (8.0, 5.0, 8.0, "or use a dryer of 3 degC", 5.0),
    (-10.0, 3.0, -8.0, "so some water condenses in it (8 K too warm)", -20.0),
    (-60.0, 3.0, -58.0, "low points, or use a dryer of -70", -70.0),
    (-66.0, 3.0, -64.0, "low points.", -70.0),
])  # fmt: skip
def test_a_dew_point_below_the_coldest_pipe(
    coldest_c: float, dew_c: float, gap: float, words: str, advised: float
) -> None:
    """Would fail if water froze in a pipe that is told as dry, or a drier class were advised than
    frost asks for: a building 5 K over the month, 3 K apart at least, 10 K where it is to hold."""
    dryer = machine("AD1", "air_dryer", capacity_l_min_free=500, dew_point_c=dew_c)
    assert isinstance(dryer, DriesAir)
    ctx = with_air(coldest_c=coldest_c)
    air._dew_point(ctx, dryer)
    (told,) = ctx.notes.findings
    assert (told.value, told.limit) == (gap, 3.0) and told.advised == advised
    assert words in told.sentence and inputs(told)["T"] == coldest_c
    assert told.verdict == ("fails" if gap < 3 else "tight" if gap < 10 else "holds")


def test_what_nothing_is_compressed_for_is_told(day: Duty) -> None:
    """Would fail if a plant whose machines need air had no compressor and nothing said so, or one
    that needs none were asked for one."""
    ctx = with_air(AC1=None, AC2=None, AV1=None)
    air.size_compressed_air(ctx, day)
    told = ctx.notes.findings[-1]
    assert told.key == "air.compressor" and told.verdict == "fails"
    need = air.needed_l_min_free(ctx, day)
    size = next(s for s in COMPRESSOR_L_MIN if s >= need)
    assert f"add one of {size:g} L/min" in told.sentence
