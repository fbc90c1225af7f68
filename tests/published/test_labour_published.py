"""Labour and milking routine: levy bodies of New Zealand and the UK (read)."""

from __future__ import annotations

import pytest

from byrewright.physics import throughput as t

WHOLE = 0.51  # published in whole cows or seconds


def test_one_second_saved_at_a_nine_minute_turn() -> None:
    """New Zealand: 40 stalls gain 21 cows/h, 60 stalls gain 50.

    Worked as one second less a stall from 13.5 s, and from 9 s to 8 s.
    """
    assert t.gross_cows_h(40, 540) == pytest.approx(266.7, abs=0.05)
    assert t.labour_cows_h(12.5) - t.labour_cows_h(13.5) == pytest.approx(21, abs=WHOLE)
    assert t.gross_cows_h(60, 540) == pytest.approx(400)
    assert t.labour_cows_h(8) - t.labour_cows_h(9) == pytest.approx(50, abs=WHOLE)


def test_a_rotary_gives_a_stall_every_ten_seconds() -> None:
    """New Zealand: 54 stalls and a 9 min turn give one cow every 10 s."""
    assert t.seconds_a_stall(54, 540) == 10


def test_uk_herringbone_routine() -> None:
    """UK: a routine of 58 s gives 62 cows an hour."""
    assert t.labour_cows_h(58) == pytest.approx(62, abs=WHOLE)
