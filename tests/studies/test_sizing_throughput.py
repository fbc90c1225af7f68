"""Stalls, turn, labour and hours."""

from __future__ import annotations

import pytest

from byrewright.plant.plant import Plant
from byrewright.studies.sizing.duty import duty_of
from byrewright.studies.sizing.throughput import _hours, size_throughput
from tests.plants import machine, rotary, rows
from tests.studies.benches import bench_of, sized, small
from tests.studies.test_sizing_duty import edwards


def with_operators(plant: Plant, operators: int) -> Plant:
    """The same plant with other people milking."""
    return plant.model_copy(
        update={
            "milkings": tuple(m.model_copy(update={"operators": operators}) for m in plant.milkings)
        }
    )


def test_a_hurried_deck_fails_and_a_slow_one_holds() -> None:
    """The go-round finding would not follow the turn."""
    fast = sized(small(PF1=machine("PF1", "platform", stalls=50, turn_s=400)), size_throughput)
    slow = sized(small(PF1=machine("PF1", "platform", stalls=50, turn_s=560)), size_throughput)
    assert fast.finding("throughput.go_round").verdict == "fails"
    assert slow.finding("throughput.go_round").verdict == "holds"


def test_the_advised_turn_keeps_the_wish() -> None:
    """Drafting would set a turn that then fails."""
    advised = sized(small(), size_throughput).finding("throughput.go_round").advised
    assert advised is not None
    again = sized(small(PF1=machine("PF1", "platform", stalls=50, turn_s=advised)), size_throughput)
    assert again.finding("throughput.go_round").verdict in ("holds", "tight")


def test_the_advised_stalls_end_in_time() -> None:
    """The proposed platform would not finish the milking it was proposed for."""
    plant = rotary(30, 1100, target_h=3.5)
    found = sized(plant, size_throughput).finding("throughput.stalls")
    assert found.verdict == "fails" and found.advised is not None
    stalls = int(found.advised)
    turn = sized(
        rotary(stalls, 1100, target_h=3.5), size_throughput
    ).finding("throughput.go_round").advised  # fmt: skip
    done = sized(rotary(stalls, 1100, target_h=3.5, turn_s=turn), size_throughput)
    assert done.finding("throughput.finished").verdict in ("holds", "tight")
    fewer = sized(rotary(stalls - 8, 1100, target_h=3.5, turn_s=turn), size_throughput)
    assert fewer.finding("throughput.stalls").verdict == "fails"


def test_one_operator_cannot_serve_a_large_deck() -> None:
    """Labour would never limit (14 s a cow is 257 cows an hour for one person)."""
    found = sized(with_operators(small(), 1), size_throughput).finding("throughput.labour")
    assert found.verdict == "fails"
    assert found.value == pytest.approx(3600 / 14)
    assert "2 operators" in found.sentence


def test_a_target_beyond_labour_is_unknown_not_a_number() -> None:
    """An impossible target would get a size anyway."""
    plant = with_operators(rotary(60, 3000, target_h=3), 1)
    assert sized(plant, size_throughput).finding("throughput.stalls").verdict == "unknown"


def test_overlapping_milkings_fail() -> None:
    """A milking that runs into the next would pass on its generous target."""
    plant = rotary(40, 3000, milkings=3, target_h=20)
    found = sized(plant, size_throughput).finding("throughput.finished")
    assert found.verdict == "fails" and "next milking starts" in found.sentence


def test_each_of_equal_milkings_ends_in_time_with_the_stalls_asked_for() -> None:
    """Of three alike only the first would be asked, and another ends late by the chance of its
    cows."""
    ctx = bench_of(rotary(40, 700, milkings=3, target_h=3))
    found = duty_of(ctx)
    size_throughput(ctx, found)
    need = ctx.notes.result().finding("throughput.stalls").limit
    assert need is not None
    late = [
        [_hours(ctx, found, m, stalls) > m.target_h for m in ctx.programme.milkings]
        for stalls in (int(need) - 2, int(need))
    ]
    assert late == [[False, True, False], [False, False, False]]


def test_no_larger_deck_is_asked_for_than_the_people_can_serve() -> None:
    """A milking that is late for want of people would be given 200 stalls, which turn slower."""
    plant = with_operators(rotary(40, 700, milkings=3, target_h=2.7), 1)
    found = sized(plant, size_throughput).finding("throughput.stalls")
    assert found.verdict == "unknown"
    assert "a larger deck would only turn slower" in found.sentence


def test_rows_are_sized_in_whole_rows() -> None:
    """A parlour of two rows would be advised an odd number of stalls."""
    ctx = bench_of(rows(40, 600))
    size_throughput(ctx, duty_of(ctx))
    advised = ctx.notes.result().finding("throughput.stalls").advised
    assert advised is not None and advised % 2 == 0


def test_missing_units_and_platform_are_named() -> None:
    """A plant that cannot milk would be sized as if it could."""
    bare = sized(small(MU1=None, PF1=None), size_throughput)
    assert bare.finding("throughput.platform").verdict == "fails"
    assert sized(small(MU1=None), size_throughput).finding("throughput.units").verdict == "fails"


def test_the_gap_behind_a_cow_going_round_is_told_and_taken_as_stated() -> None:
    """Worked 60 stalls: a gap behind each takes 326.45 to 298.61 cows an hour, 8.5 % (derived)."""
    plant = edwards(60, 600, 5)
    free = sized(plant, size_throughput).finding("throughput.net")
    assert "would cost 28 cows an hour (8.5 %); none is counted" in free.sentence
    gap = sized(plant, size_throughput, rules={"milking.go_round_shadow": 1.0})
    found = gap.finding("throughput.net")
    assert found.value == pytest.approx(298.61, abs=0.01)
    assert "a gap behind 100 % of them is counted" in found.sentence
