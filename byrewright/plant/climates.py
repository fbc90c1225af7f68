"""Round figures of a year's weather, where a brief names only its climate."""

from __future__ import annotations

from collections.abc import Mapping

CLIMATES: Mapping[str, tuple[tuple[float, ...], float]] = {
    "cool": ((-4, -4, 0, 5, 11, 15, 17, 16, 11, 6, 1, -3), 28.0),
    "temperate": ((3, 4, 6, 9, 13, 16, 18, 18, 15, 11, 7, 4), 32.0),
    "warm": ((9, 10, 13, 16, 20, 24, 27, 27, 23, 18, 13, 10), 38.0),
    "hot": ((16, 18, 21, 25, 30, 33, 34, 33, 31, 27, 21, 17), 44.0),
}
"""Mean ambient by month and hottest afternoon, degC: round northern figures, no source; in the
south the seasons lie half a year apart."""


def half_a_year_on(months: tuple[float, ...]) -> tuple[float, ...]:
    """The same year south of the equator.

    >>> half_a_year_on(tuple(range(12)))[0]
    6
    """
    return (*months[6:], *months[:6])


FROST_MONTH_C, ROOM_C = 20.0, 5.0
"""Coldest month's mean below which nights may freeze, and what rooms are then held at."""
