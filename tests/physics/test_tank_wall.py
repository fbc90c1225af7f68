"""A partly filled tank: wetted wall, evaporator under milk, still milk."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from byrewright.physics.tank_wall import (
    LYING,
    STANDING,
    full_loss_kw_k,
    still_kw_k,
    wall_area_m2,
    wetted_share,
)


def test_wetted_wall_of_a_lying_tank_is_that_of_a_counted_circle() -> None:
    """Would fail if the milk touched more or less of a lying tank than its level says."""
    # Counted, not solved: points of a disc below a level, and of its rim.
    y, x = np.mgrid[-1:1:2001j, -1:1:2001j]
    inside = x * x + y * y <= 1.0
    rim = np.cos(np.linspace(0.0, 2 * math.pi, 100_001))
    for level in (0.05, 0.2, 0.5, 1.0, 1.6):
        fill = float((inside & (y <= level - 1)).sum() / inside.sum())
        shell = float((rim <= level - 1).mean())
        side = 4.4 / 5.4
        assert wetted_share(fill, LYING) == pytest.approx(
            side * shell + (1 - side) * fill, abs=2e-3
        )


def test_a_tank_filled_to_the_last_drop_is_wetted_whole() -> None:
    """A content that is full but for rounding would stop the day with an index beyond the table."""
    nearly = math.nextafter(1.0, 0.0)
    assert wetted_share(nearly, LYING) == pytest.approx(1.0, abs=1e-5)
    lid = 0.5 / 5.4  # of a standing tank, dry until it is full: one end, over sides and two ends
    assert wetted_share(nearly, STANDING) == pytest.approx(1.0 - lid)
    for shape in (LYING, STANDING):
        assert wetted_share(1.0, shape) == wetted_share(1.2, shape) == 1.0
        assert wetted_share(0.0, shape) == wetted_share(-0.1, shape) == 0.0


@given(st.floats(0, 1), st.floats(0, 1), st.sampled_from([LYING, STANDING]))
def test_more_milk_never_touches_less(one: float, other: float, shape: int) -> None:
    """Would fail if a fuller tank had less wall or evaporator in use."""
    low, high = sorted((one, other))
    assert wetted_share(low, shape) <= wetted_share(high, shape) + 1e-12


def test_a_stated_warming_is_that_of_the_full_tank() -> None:
    """Would fail if a tank stated to warm 0.25 K/h warmed at another rate when full."""
    kw = 28 * full_loss_kw_k(10_000, 0.25)
    assert kw * 3600 / (10_300 * 3.93) == pytest.approx(0.25)
    # A foamed wall of 0.4 W/m2K round some 27 m2.
    assert full_loss_kw_k(10_000) == pytest.approx(0.4 * wall_area_m2(10_000) / 1000)


def test_wall_is_least_near_the_usual_proportions() -> None:
    """Would fail if a tank had less wall than the sphere of its volume, or twice it."""
    for litres in (500.0, 8000.0, 60_000.0):
        sphere = math.pi * (6 * litres / 1000 / math.pi) ** (2 / 3)
        assert sphere < wall_area_m2(litres) < 1.4 * sphere


def test_still_milk_cools_in_hours_not_minutes() -> None:
    """Would fail if unstirred milk were cooled like stirred milk: the guard would be a fiction."""
    used = wetted_share(0.03, LYING) / 0.25
    kw = still_kw_k(20_000, 0.25) * used * (20 - 0)
    falls_k_h = kw * 3600 / (618 * 3.93)
    assert 1.0 < falls_k_h < 6.0
