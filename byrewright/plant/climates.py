"""Round figures of a year's weather, where a brief names only its climate."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from byrewright.standards.cooling import lies_south

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


def half_of_the_world(stated: Mapping[str, Any]) -> tuple[str | None, str]:
    """The half that a brief's latitude, its own word or its region tells, and, where it is the
    region, why; None where nothing tells.

    >>> half_of_the_world({"region": "Australia"}), half_of_the_world({"latitude_deg": "-38"})
    (('south', 'Australia lies south of the equator'), ('south', ''))
    """
    latitude, region = stated.get("latitude_deg"), stated.get("region")
    if isinstance(latitude, int | float | str) and not isinstance(latitude, bool):
        south = str(latitude).strip().startswith("-")  # a quoted number is a number here too
        return "south" if south else "north", ""
    if "hemisphere" in stated:
        return None, ""
    if isinstance(region, str) and lies_south(region):
        return "south", f"{region} lies south of the equator"
    return None, ""


def ground_water_c(ambient: Any) -> float:
    """Ground water lies near the year's mean ambient (common practice, no source)."""
    numbers = (
        [a for a in ambient if isinstance(a, int | float)] if isinstance(ambient, list) else []
    )
    if len(numbers) != 12 or not all(abs(a) < 100 for a in numbers):
        return 10.0
    return min(25.0, max(4.0, float(round(sum(numbers) / 12))))


FROST_MONTH_C, ROOM_C = 20.0, 5.0
"""Coldest month's mean below which nights may freeze, and what rooms are then held at."""
