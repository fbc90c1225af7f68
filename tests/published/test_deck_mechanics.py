"""Deck: worked example and the two published conventions of rolling resistance."""

from __future__ import annotations

import math

import pytest

from byrewright.physics import motion
from byrewright.standards import default_rulebook

# The example takes g = 9.81; the product takes the standard 9.80665.
GRAVITY = 5e-4


def test_worked_deck() -> None:
    """Worked example 13 (derived): 60 stalls x 1000 kg, 0.01, R 8.5 m, 8 min turn."""
    force = motion.rolling_force_n(60_000, 0.01)
    speed = motion.track_speed_m_s(8.5, 480)
    assert force == pytest.approx(5886, rel=GRAVITY)
    assert speed == pytest.approx(0.11126, abs=5.1e-6)
    assert motion.drive_power_w(force, speed) == pytest.approx(654.9, rel=GRAVITY)
    assert motion.drive_power_w(force, speed, 0.6) == pytest.approx(1091.5, rel=GRAVITY)


def test_handbook_form() -> None:
    """Drive-engineering page (second hand; form from memory): D 200, d 40, f 2 mm gives 0.024."""
    assert motion.resistance_by_arm(200, 40, 2.0) == pytest.approx(0.024, abs=0.00051)


def test_the_two_conventions_disagree_and_the_range_spans_them() -> None:
    """Nylon by the short form 0.007-0.009 (from memory) is a third of the handbook's figure."""
    short = [motion.resistance_simple(0.7, r) for r in (75, 100)]
    assert max(short) == pytest.approx(0.009, abs=0.0005)
    assert min(short) == pytest.approx(0.007, abs=0.0005)
    value = default_rulebook()["deck.resistance"]
    assert value.low is not None and value.high is not None
    assert value.low <= motion.resistance_by_arm(200, 40, 2.0) <= value.high


def test_centroid_of_half_a_deck_by_integration() -> None:
    """Derived: 2R/pi for a ring, 4R/(3 pi) for a disc; checked by summing strips."""
    n = 20_000
    angles = [math.pi * (i + 0.5) / n for i in range(n)]
    ring = math.fsum(math.sin(a) for a in angles) / n
    assert motion.half_centroid_m(1.0) == pytest.approx(ring, rel=1e-6)
    strips = [(i + 0.5) / n for i in range(n)]
    area = math.fsum(math.sqrt(1 - y * y) for y in strips)
    moment = math.fsum(y * math.sqrt(1 - y * y) for y in strips)
    assert motion.half_centroid_m(1.0, disc=True) == pytest.approx(moment / area, rel=1e-4)


def test_roller_loads_of_an_uneven_deck_balance() -> None:
    """Derived: rollers summed give the weight and the moment of a half-loaded ring."""
    n, even, half = 120, 40_000.0, 20_000.0
    low, high = motion.uneven_roller_n(even, half, n)
    mean, swing = (low + high) / 2, (high - low) / 2
    loads = [mean + swing * math.sin(2 * math.pi * i / n) for i in range(n)]
    weight = (even + half) * motion.GRAVITY_M_S2
    assert math.fsum(loads) == pytest.approx(weight)
    moment = math.fsum(f * math.sin(2 * math.pi * i / n) for i, f in enumerate(loads))
    assert moment == pytest.approx(half * motion.GRAVITY_M_S2 * motion.half_centroid_m(1.0))
