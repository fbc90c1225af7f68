"""The place for the standard's own table of units per slope, which a licensed user may enter.

The table could not be read for this product and is not reproduced: it is empty until a user
writes it into `milkline_table.yaml` beside the plant file, in this form (numbers invented):

    looped:      {73: {0.5: 1, 1.0: 2}}     # bore mm: {slope %: units a slope}
    dead_ended:  {73: {0.5: 1, 1.0: 2}}
    text: edition and table as the user read it
"""

from __future__ import annotations

import bisect
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

FILE = "milkline_table.yaml"
LAYOUTS = ("looped", "dead_ended")
BORE_TOLERANCE_MM = 1.5  # tubes of one nominal size differ by this much in bore


class TableError(ValueError):
    """The entered table cannot be used: one sentence, and the keys that lead to what is wrong."""

    def __init__(self, why: str, *place: str) -> None:
        super().__init__(why)
        self.place = place


@dataclass(frozen=True, slots=True)
class UnitsPerSlope:
    """Units a slope by layout, bore and slope, as entered by a licensed user."""

    rows: Mapping[str, Mapping[float, Mapping[float, float]]] = field(default_factory=dict)
    text: str = ""

    def look_up(self, looped: bool, bore_mm: float, slope_pct: float) -> float | None:
        """Units a slope, straight between entered slopes; nothing outside what was entered.

        >>> UnitsPerSlope({"looped": {73.0: {0.5: 10.0, 1.0: 20.0}}}).look_up(True, 72.9, 0.75)
        15.0
        """
        by_bore = self.rows.get("looped" if looped else "dead_ended", {})
        bore = min(by_bore, key=lambda b: abs(b - bore_mm), default=None)
        if bore is None or abs(bore - bore_mm) > BORE_TOLERANCE_MM:
            return None
        by_slope = sorted(by_bore[bore].items())
        slopes = [s for s, _ in by_slope]
        at = bisect.bisect_left(slopes, slope_pct)
        if at < len(slopes) and slopes[at] == slope_pct:
            return by_slope[at][1]
        if at in (0, len(slopes)):
            return None
        (s0, u0), (s1, u1) = by_slope[at - 1], by_slope[at]
        return u0 + (u1 - u0) * (slope_pct - s0) / (s1 - s0)


def from_plain(data: Any) -> UnitsPerSlope:
    """The table from plain data of a file.

    Raises:
        TableError: a key or number is not as described above, or one bore or slope stands twice
            (73 and 73.0 are one).
    """
    if not isinstance(data, dict):
        raise TableError("write a mapping with looped, dead_ended and text")
    rows: dict[str, dict[float, dict[float, float]]] = {}
    for layout, bores in data.items():
        if layout == "text":
            continue
        if layout not in LAYOUTS or not isinstance(bores, dict):
            raise TableError("expected looped or dead_ended, each a mapping", layout)
        rows[layout] = _by_number(bores, "bore", layout)
        for bore, slopes in bores.items():
            if not isinstance(slopes, dict):
                raise TableError("after a bore write slopes, such as {0.5: 1}", layout, bore)
            units = _by_number(slopes, "slope", layout, bore)
            rows[layout][float(bore)] = {
                slope: _number(n, "number of units", layout, bore, key)
                for (slope, n), key in zip(units.items(), slopes, strict=True)
            }
    return UnitsPerSlope(rows, str(data.get("text", "")))


def _by_number(of: dict[Any, Any], what: str, *place: str) -> dict[float, Any]:
    """The same with numbers as its keys."""
    found: dict[float, Any] = {}
    for key, value in of.items():
        number = _number(key, what, *place, key)
        if number in found:
            raise TableError(f"this {what} stands twice: {number:g}", *place, key)
        found[number] = value
    return found


def _number(value: Any, what: str, *place: str) -> float:
    try:
        number = float(value)
    except (TypeError, ValueError):
        raise TableError(f"a {what} is a number, found {value!r}", *place) from None
    if not 0.0 < number < 1000.0:
        raise TableError(f"a {what} is above 0 and under 1000, found {value}", *place)
    return number
