"""The moving deck: resistance, drive, starting, roller loads."""

from __future__ import annotations

import math

from byrewright.physics.constants import GRAVITY_M_S2
from byrewright.physics.errors import check


def resistance_by_arm(
    wheel_mm: float,
    axle_mm: float,
    arm_mm: float,
    bearing_friction: float = 0.005,
    rim: float = 0.003,
) -> float:
    """Force over load: F/W = (2/D)(mu d/2 + f) + c, wheel D, axle d, lever arm f.

    Source: drive-engineering reference page (second hand; arrangement from memory).

    >>> round(resistance_by_arm(200.0, 40.0, 2.0), 3)
    0.024
    """
    check("wheel", wheel_mm, 0.0, unit="mm", above=True)
    check("axle", axle_mm, 0.0, wheel_mm, "mm")
    check("lever arm", arm_mm, 0.0, wheel_mm / 2, "mm")
    check("bearing friction", bearing_friction, 0.0, 1.0)
    check("rim allowance", rim, 0.0, 1.0)
    return 2.0 / wheel_mm * (bearing_friction * axle_mm / 2.0 + arm_mm) + rim


def resistance_simple(arm_mm: float, radius_mm: float) -> float:
    """Force over load by the lever arm alone: f/r. From memory; add bearings and alignment.

    The two conventions differ about threefold: carry 0.01 to 0.03 as a range.

    >>> round(resistance_simple(0.7, 87.5), 4)
    0.008
    """
    check("lever arm", arm_mm, 0.0, unit="mm")
    check("wheel radius", radius_mm, 0.0, unit="mm", above=True)
    return arm_mm / radius_mm


def rolling_force_n(mass_kg: float, coefficient: float) -> float:
    """Force that keeps a deck moving: coefficient times weight.

    >>> round(rolling_force_n(60_000.0, 0.01))
    5884
    """
    check("mass", mass_kg, 0.0, unit="kg")
    check("rolling resistance", coefficient, 0.0, 0.5)
    return mass_kg * GRAVITY_M_S2 * coefficient


def track_speed_m_s(radius_m: float, rotation_s: float) -> float:
    """Speed at the track: 2 pi R / T.

    >>> round(track_speed_m_s(8.5, 480.0), 5)
    0.11126
    """
    check("radius", radius_m, 0.0, unit="m", above=True)
    check("rotation time", rotation_s, 0.0, unit="s", above=True)
    return 2.0 * math.pi * radius_m / rotation_s


def drive_power_w(force_n: float, speed_m_s: float, efficiency: float = 1.0) -> float:
    """Drive power: F v / eta.

    >>> round(drive_power_w(5886.0, 0.11126, 0.6), 1)
    1091.5
    """
    check("force", force_n, 0.0, unit="N")
    check("speed", speed_m_s, 0.0, unit="m/s")
    check("efficiency", efficiency, 0.0, 1.0, above=True)
    return force_n * speed_m_s / efficiency


def start_force_n(
    running_n: float, breakaway: float, mass_kg: float, speed_m_s: float, start_s: float
) -> float:
    """Force at the track to start: breakaway times running, plus m v / t (mass near the track).

    >>> round(start_force_n(5886.0, 2.0, 60_000.0, 0.111, 5.0))
    13104
    """
    check("breakaway over running", breakaway, 1.0, 10.0)
    check("time to start", start_s, 0.0, unit="s", above=True)
    return running_n * breakaway + mass_kg * speed_m_s / start_s


def half_centroid_m(radius_m: float, disc: bool = False) -> float:
    """Centroid of half a ring, 2R/pi, or half a disc, 4R/(3 pi), from the centre (derived).

    >>> round(half_centroid_m(8.5), 3), round(half_centroid_m(8.5, disc=True), 3)
    (5.411, 3.608)
    """
    check("radius", radius_m, 0.0, unit="m")
    return 4.0 * radius_m / (3.0 * math.pi) if disc else 2.0 * radius_m / math.pi


def mean_roller_n(mass_kg: float, rollers: int) -> float:
    """Mean load of a roller.

    >>> round(mean_roller_n(60_000.0, 120))
    4903
    """
    check("mass", mass_kg, 0.0, unit="kg")
    check("rollers", rollers, 3)
    return mass_kg * GRAVITY_M_S2 / rollers


def uneven_roller_n(
    even_kg: float, half_kg: float, rollers: int, disc: bool = False
) -> tuple[float, float]:
    """Least and greatest roller load with an extra mass on half the ring.

    A stiff deck on a ring of equal rollers: F = W/n (1 +- 2 e/R), e the offset of the whole load
    (derived). A negative least load means lift: a hold-down or a heavier deck is needed.

    >>> low, high = uneven_roller_n(40_000.0, 20_000.0, 120)
    >>> round(low), round(high)
    (2822, 6984)
    """
    check("even mass", even_kg, 0.0, unit="kg")
    check("mass on one half", half_kg, 0.0, unit="kg")
    whole = even_kg + half_kg
    check("whole mass", whole, 0.0, unit="kg", above=True)
    mean = mean_roller_n(whole, rollers)
    offset = half_kg * half_centroid_m(1.0, disc) / whole
    return mean * (1.0 - 2.0 * offset), mean * (1.0 + 2.0 * offset)
