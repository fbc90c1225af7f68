"""Turns, stalls, operators and waits, worked by hand on days that are made up."""

from __future__ import annotations

from dataclasses import replace
from math import ceil, exp, log, sqrt
from types import SimpleNamespace
from typing import Any

import pytest
from scipy.stats import norm

from byrewright.studies.sizing import throughput
from byrewright.studies.sizing.context import StudyContext
from byrewright.studies.sizing.duty import Duty, duty_of
from tests.plants import machine
from tests.studies.benches import bench_of, milked, small
from tests.studies.told import inputs


@pytest.fixture(scope="module")
def day() -> Duty:
    """50 stalls that turn in 500 s, a twentieth of the time stood still, a tenth going round twice;
    300 cows an hour net."""
    made = duty_of(bench_of(small()))
    return replace(made, turn_s=500.0, stall_s=10.0, gross_cows_h=360.0, net_cows_h=300.0,
                   go_round_share=0.1, passes=1.12, stop_share=0.05, labour_cows_h=400.0,
                   routine_s=27.0,
                   operators=3)  # fmt: skip


def only(ctx: StudyContext, key: str) -> Any:
    """The finding of a key."""
    (found,) = (f for f in ctx.notes.findings if f.key == key)
    return found


@pytest.mark.parametrize(("share", "shadow", "words"), [
    (0.1, 0.0, "none is counted"), (0.1, 0.2, "a gap behind 20 % of them is counted"),
    (0.0, 0.2, ""),
])  # fmt: skip
def test_what_an_empty_stall_behind_each_would_cost(
    day: Duty, share: float, shadow: float, words: str
) -> None:
    """Would fail if the cost were told without the stops, or of cows that do not go round."""
    ctx = bench_of(small(), {"milking.go_round_shadow": shadow})
    throughput._pace(ctx, replace(day, passes=1.0 + share))
    told = only(ctx, "throughput.net")
    assert told.value == 300.0 and "A turn of 8.3 min" in told.sentence
    none, each = 360 / (1 + share), 360 / (1 + 2 * share)
    cost = f"would cost {(none - each) * 0.95:.0f} cows an hour ({100 * (1 - each / none):.1f} %)"
    assert (cost in told.sentence) == bool(words) and words in told.sentence
    in_rows = bench_of(small())
    throughput._pace(in_rows, replace(day, layout="rows", rows=2))
    assert "takes 8.3 min with its change" in only(in_rows, "throughput.net").sentence


def test_milk_of_a_day(day: Duty) -> None:
    """Would fail if one milking were told as several."""
    for each, word in (([(300, 2.0, 900.0)], "1 milking,"),
                       ([(300, 2.0, 900.0), (900, 2.0, 500.0)], "2 milkings,")):  # fmt: skip
        ctx = bench_of(small())
        throughput._milk_flow(ctx, milked(day, *each))
        assert word in only(ctx, "throughput.milk_day").sentence


def test_cows_that_go_round_twice_against_the_wish(
    day: Duty, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Would fail if shares were told as per cent, or a turn in seconds as minutes."""
    monkeypatch.setattr(throughput, "_advised_turn_s", lambda *_: 570.0)
    ctx = bench_of(small())
    wish = ctx.plant.wishes.go_round_share
    throughput._go_round(ctx, day)
    told = only(ctx, "throughput.go_round")
    assert (told.value, told.limit, told.advised) == (10.0, 100 * wish, 570.0)
    assert "10 % of the cows go round twice" in told.sentence and "9.5 min" in told.sentence
    assert f"finishes {100 - 100 * wish:.0f} % of the cows" in told.sentence


@pytest.mark.parametrize("shadow", [0.0, 0.5])
def test_turns_from_fast_to_slow(day: Duty, shadow: float) -> None:
    """Would fail if a turn were told with another's cows, or net left out the stops, a third turn
    or the stalls left empty: 50 stalls, of which a cow milks over all but the entry."""
    ctx = bench_of(small(), {"milking.go_round_shadow": shadow})
    throughput._turns(ctx, day)
    (table,) = ctx.notes.tables
    assert [r[0] for r in table.rows] == [6, 7, 8, 9, 10, 11, 12, 14]
    spread = sqrt(log(1 + (day.milk_out.std_dev_s / day.milk_out.mean_s) ** 2))
    middle = day.milk_out.mean_s / exp(spread**2 / 2)
    on = 1 - ctx.plant.equipment["PF1"].entry_stalls / 50  # type: ignore[attr-defined]
    for minutes, stall_s, gross, again, net in table.rows:
        turn_s = 60 * float(minutes)
        share, *more = (norm.sf(log(k * turn_s * on / middle) / spread) for k in range(1, 9))
        assert (stall_s, gross) == (round(turn_s / 50, 1), round(180_000 / turn_s))
        assert again == pytest.approx(100 * share, abs=0.06)
        further = (1 + shadow) * (share + sum(more))
        assert net == pytest.approx(180_000 / turn_s / (1 + further) * 0.95, abs=0.6)


def test_a_unit_taken_off_in_time_goes_round_in_no_turn(day: Duty) -> None:
    """Would fail if the table of turns left out the longest that removers keep a unit on."""
    ar = machine("AR1", "automatic_removal", milking_time_limit_s=200.0)
    ctx = bench_of(small(AR1=ar))
    throughput._turns(ctx, day)
    assert {r[3] for r in ctx.notes.tables[0].rows} == {0.0}


@pytest.mark.parametrize("wish", [0.05, 0.9, 0.0])
def test_a_turn_keeps_the_share_and_the_people(day: Duty, wish: float) -> None:
    """Would fail if more cows went round at the turn advised than are wanted (a log-normal time is
    outlasted by them), or more came in it than the operators serve: 27 s by three."""
    plant = small()
    wishes = plant.wishes.model_copy(update={"go_round_share": wish})
    ctx = bench_of(plant.model_copy(update={"wishes": wishes}))
    turn_s, people_s = throughput._turns_asked_s(ctx, day, 40)
    assert people_s == pytest.approx(40 * 27 / 3)
    on = 40 - ctx.plant.equipment["PF1"].entry_stalls  # type: ignore[attr-defined]
    out = day.milk_out
    spread = sqrt(log(1 + (out.std_dev_s / out.mean_s) ** 2))
    middle = out.mean_s / exp(spread**2 / 2)
    share = norm.sf(log(turn_s * on / 40 / middle) / spread)
    assert share == pytest.approx(min(max(wish, 0.001), 0.5), rel=0.01)
    step = throughput.TURN_STEP_S
    most = max(turn_s, people_s)
    assert throughput._advised_turn_s(ctx, day, 40) == pytest.approx(ceil(most / step) * step)


@pytest.mark.parametrize(("gross", "people"), [(360.0, None), (520.0, 4)])
def test_operators_by_their_routine(day: Duty, gross: float, people: int | None) -> None:
    """Would fail if the fewest of some milkings' people were held to the deck, or too few went
    unsaid: 400 cows an hour for three at 27 s."""
    ctx = bench_of(small())
    few, many = (replace(m, operators=n) for m, n in zip(day.milkings, (2, 3), strict=True))
    throughput._labour(ctx, replace(day, gross_cows_h=gross, milkings=(few, many)))
    told = only(ctx, "throughput.labour")
    assert (told.value, told.limit) == (400.0, gross) and inputs(told)["m"] == 3
    assert ("operators, or a slower turn" in told.sentence) == (people is not None)
    assert people is None or f" {people} operators, or" in told.sentence


@pytest.mark.parametrize(("gap_min", "target_h", "limit"), [
    (60.0, 2.5, 2.5), (60.0, 9.0, 3.0), (-30.0, 9.0, 1.5),
])  # fmt: skip
def test_a_milking_ends_by_its_target_and_before_the_next(
    day: Duty, gap_min: float, target_h: float, limit: float
) -> None:
    """Would fail if a milking passed that runs into the next."""
    one = replace(milked(day, (300, 2.0, 900.0)).milkings[0], gap_after_min=gap_min,
                  target_h=target_h)  # fmt: skip
    ctx = bench_of(small())
    throughput._finished(ctx, replace(day, milkings=(one,)))
    told = only(ctx, "throughput.finished")
    assert (told.value, told.limit) == (2.0, limit)
    assert ("The next milking starts" in told.sentence) == (gap_min < 0)


@pytest.mark.parametrize(("layout", "rows", "need", "stalls", "served_at"), [
    ("rotary", 1, 38, 50, 999), ("rotary", 1, 200, 50, 999), ("rotary", 1, 60, 50, 44),
    ("rows", 2, 30, 24, 999), ("rows", 2, 900, 24, 999),
])  # fmt: skip
def test_the_fewest_stalls_that_end_in_time(
    day: Duty, monkeypatch: pytest.MonkeyPatch, layout: str, rows: int, need: int, stalls: int,
    served_at: int,
) -> None:  # fmt: skip
    """Would fail if a deck were advised that ends late, larger than need be, larger than is built,
    or larger than its people can serve; rows grow by a stall on each side."""
    monkeypatch.setattr(throughput, "_hours", lambda _, __, m, n: (
        m.target_h * (1.0 if n >= need else 1.01)))  # fmt: skip
    monkeypatch.setattr(throughput, "_turns_asked_s", lambda _, __, n: (
        500.0, 501.0 if n >= served_at else 500.0))  # fmt: skip
    ctx = bench_of(small())
    throughput._stalls(ctx, replace(day, layout=layout, rows=rows, stalls=stalls))
    told = only(ctx, "throughput.stalls")
    step = 2 * rows if layout == "rows" else 2
    fewest = throughput.FEWEST_DECK if layout == "rotary" else throughput.FEWEST_ROW
    most = max(throughput.MOST_USUAL_STALLS, stalls)
    most = most if layout == "rotary" else min(most, throughput.LONGEST_ROW * rows)
    sizes = [n for n in range(step, most + 1, step) if n >= fewest]
    upto = [n for n in sizes if n <= served_at or n - step < served_at]
    fits = [n for n in upto if n >= need]
    assert told.value == stalls
    if fits:
        assert (told.limit, told.advised) == (fits[0], fits[0]) and told.verdict != "unknown"
    else:
        assert told.verdict == "unknown" and f"up to {upto[-1]} ends" in told.sentence
        assert ("only turn slower" in told.sentence) == (served_at < 999)


def test_units_for_all_stalls(day: Duty) -> None:
    """Would fail if unlike units were not added up, or one were wanting and nothing said so."""
    for count, short in ((30, False), (29, True)):
        units = {"MU1": machine("MU1", "milking_unit", count=20),
                 "MU2": machine("MU2", "milking_unit", count=count)}  # fmt: skip
        ctx = bench_of(small(**units))
        throughput._units(ctx, day)
        told = only(ctx, "throughput.units")
        assert (told.value, told.limit, told.target) == (20 + count, 50, None)
        assert ("Give each stall" in told.sentence) == short


@pytest.mark.parametrize(("wait", "yard", "cows"), [(90.0, 120, 120), (20.0, 900, 155)])
def test_the_longest_wait_in_the_yard(day: Duty, wait: float, yard: int, cows: int) -> None:
    """Would fail if the shorter of two waits were judged, or more cows were let up at a time than
    wait no longer than an hour."""
    gate = machine("YG1", "yard_gate", yard_cows=yard)
    ctx = bench_of(small(YG1=gate), {"milking.wait_most_min": 60.0})
    short, long = (replace(m, yard_wait_min=w) for m, w in
                   zip(day.milkings, (10.0, wait), strict=True))  # fmt: skip
    throughput._yard(ctx, replace(day, milkings=(short, long)))
    told = only(ctx, "throughput.yard_wait")
    assert (told.value, told.limit) == (wait, 60.0) and told.sentence.startswith(f"{cows} cows")
    assert ("Bring up 300 or fewer" in told.sentence) == (wait > 60)
    assert [r.to for r in told.remedies] == [270.0] * (wait > 60)
    few = throughput._fewer(ctx, replace(day, net_cows_h=3.0), 60.0)
    assert [r.to for r in few] == [5.0]


def test_the_milking_with_most_cows_an_hour_is_named(
    day: Duty, monkeypatch: pytest.MonkeyPatch
) -> None:
    """300 cows in 2 h ask more than 400 in 4 h: would fail if the longer milking were named where
    both decide alike."""
    monkeypatch.setattr(throughput, "_hours", lambda _, __, m, n: m.target_h * (1.01 - (n >= 40)))
    monkeypatch.setattr(throughput, "_turns_asked_s", lambda *_: (500.0, 500.0))
    ctx = bench_of(small())
    made = [SimpleNamespace(name=n, cows=c, target_h=h) for n, c, h in (
        ("long", 400, 4.0), ("short", 300, 2.0))]  # fmt: skip
    ctx._programme = SimpleNamespace(milkings=made)  # type: ignore[assignment]
    throughput._stalls(ctx, replace(day, layout="rotary", stalls=50))
    assert "would end the short milking within 2 h" in only(ctx, "throughput.stalls").sentence
