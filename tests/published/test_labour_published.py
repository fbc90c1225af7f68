"""Labour and milking routine: levy bodies of New Zealand and the UK, Armstrong (all read)."""

from __future__ import annotations

import pytest

from byrewright.physics import throughput as t
from byrewright.standards.labour import ROTARY_EXAMPLE, TASKS

WHOLE = 0.51  # published in whole cows or seconds


def test_one_second_saved_at_a_nine_minute_turn() -> None:
    """New Zealand: 40 stalls gain 21 cows/h, 60 stalls gain 50.

    Worked as one second less a stall from 13.5 s, and from 9 s to 8 s.
    """
    assert t.gross_cows_h(40, 540) == pytest.approx(266.7, abs=0.05)
    assert t.labour_cows_h(12.5) - t.labour_cows_h(13.5) == pytest.approx(21, abs=WHOLE)
    assert t.gross_cows_h(60, 540) == pytest.approx(400)
    assert t.labour_cows_h(8) - t.labour_cows_h(9) == pytest.approx(50, abs=WHOLE)


def test_rotary_routine_sums_to_ten_seconds() -> None:
    """New Zealand: 1 + 6 + 1 + 1 + 1 s on 54 stalls and a 9 min turn, one cow every 10 s."""
    assert sum(seconds for _, seconds in ROTARY_EXAMPLE) == 10
    assert t.seconds_a_stall(54, 540) == 10


def test_armstrong_parallel_routines() -> None:
    """Armstrong: enter, pre-spray, wipe, attach 24 s."""
    by = {task.key: task.parallel_s for task in TASKS}
    assert sum(by[k] for k in ("enter", "pre_spray", "wipe", "attach")) == 24


def test_uk_herringbone_routine() -> None:
    """UK: a routine of 58 s gives 62 cows an hour."""
    assert t.labour_cows_h(58) == pytest.approx(62, abs=WHOLE)
