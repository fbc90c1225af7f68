"""Magnitudes a practised engineer expects: to catch nonsense, never a limit to quote.

All rows are common practice, no source. Each has a range for about 50 stalls and one for 80-90.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

SMALL_STALLS = 50.0
LARGE_STALLS = 80.0


@dataclass(frozen=True, slots=True)
class Magnitude:
    """What is usual at 50 stalls and at 80; a range beyond those is carried on in proportion."""

    key: str
    title: str
    unit: str
    small: tuple[float, float]
    large: tuple[float, float]

    def range_for(self, stalls: float) -> tuple[float, float]:
        """The usual range at a number of stalls, straight between the two columns.

        >>> MAGNITUDES["rotation_min"].range_for(65)
        (7.75, 10.5)
        """
        if self.small == self.large:
            return self.small
        at = (stalls - SMALL_STALLS) / (LARGE_STALLS - SMALL_STALLS)
        if at > 1.0:
            scale = stalls / LARGE_STALLS if self.key not in _NOT_SCALED else 1.0
            return self.large[0] * scale, self.large[1] * scale
        if at < 0.0:
            scale = stalls / SMALL_STALLS if self.key not in _NOT_SCALED else 1.0
            return self.small[0] * scale, self.small[1] * scale
        low = self.small[0] + at * (self.large[0] - self.small[0])
        high = self.small[1] + at * (self.large[1] - self.small[1])
        return low, high

    def usual(self, value: float, stalls: float) -> bool:
        """Whether a value lies inside the usual range."""
        low, high = self.range_for(stalls)
        return low <= value <= high


_NOT_SCALED = frozenset({
    "rotation_min", "seconds_a_stall", "wash_min", "receiver_each_l", "fall_off_drop_kpa",
})  # fmt: skip

_ROWS = (
    Magnitude("rotation_min", "rotation time in milking", "min", (7.5, 10.0), (8.0, 11.0)),
    Magnitude("gross_cows_h", "cows in an hour, gross", "1/h", (300, 400), (440, 650)),
    Magnitude("net_cows_h", "cows in an hour, net", "1/h", (250, 350), (400, 520)),
    Magnitude("seconds_a_stall", "seconds a stall", "s", (8.5, 12.0), (6.2, 7.5)),
    Magnitude("stopped_pct", "platform stopped", "%", (2, 6), (2, 6)),
    Magnitude("mean_milk_l_min", "mean milk flow of the platform", "L/min", (50, 75), (80, 120)),
    Magnitude("peak_over_mean", "one-minute peak over mean flow", "", (1.3, 1.6), (1.3, 1.6)),
    Magnitude("system_vacuum_kpa", "system vacuum, low line", "kPa", (40, 45), (40, 45)),
    Magnitude("vacuum_pump_l_min", "one duty vacuum pump", "L/min", (3300, 5000), (5000, 8000)),
    Magnitude("vacuum_motor_kw", "its motor", "kW", (9, 15), (13, 22)),
    Magnitude("vacuum_running_kw", "vacuum running power, speed control", "kW", (5, 11), (8, 18)),
    Magnitude("pump_per_unit_l_min", "pump capacity a unit", "L/min", (80, 130), (70, 120)),
    Magnitude("fall_off_drop_kpa", "one fall-off with shut-off", "kPa", (0.3, 1.5), (0.3, 1.5)),
    Magnitude("receiver_each_l", "receiver, each", "L", (40, 120), (60, 150)),
    Magnitude("chilling_kw", "in-line chilling from 18 degC, thermal", "kW", (45, 70), (75, 115)),
    Magnitude("wash_water_m3", "water of a full wash", "m3", (1.3, 2.2), (2.0, 3.5)),
    Magnitude("wash_min", "time of a full wash", "min", (40, 75), (40, 75)),
    Magnitude("hot_charge_l", "hot charge", "L", (500, 650), (800, 1000)),
    Magnitude("hot_charge_kwh", "heat of the hot charge", "kWh", (35, 50), (60, 80)),
    Magnitude("wash_per_unit_l", "wash water a unit, each step", "L", (8, 15), (8, 15)),
    Magnitude("deck_t", "full deck", "t", (60, 85), (100, 140)),
    Magnitude("drive_kw", "platform drive, running", "kW", (1.5, 4.0), (3.0, 7.5)),
    Magnitude("breakaway", "breakaway over running", "", (1.5, 2.5), (1.5, 2.5)),
    Magnitude("air_l_min", "compressed air, free, mean", "L/min", (60, 150), (100, 250)),
    Magnitude("vacuum_kwh_1000_l", "vacuum, electricity", "kWh/1000 L", (1.5, 4.0), (1.5, 4.0)),
    Magnitude("cooling_kwh_1000_l", "cooling, electricity", "kWh/1000 L", (6, 16), (6, 16)),
    Magnitude("plant_kwh_1000_l", "whole plant, electricity", "kWh/1000 L", (25, 50), (25, 50)),
    Magnitude("water_ratio", "cooler water over milk", "", (1.0, 3.0), (1.0, 3.0)),
    Magnitude("cooler_approach_k", "cooler outlet above the water", "K", (2.0, 7.0), (2.0, 7.0)),
    Magnitude("milk_at_receiver_c", "milk at the receiver", "degC", (33, 36), (33, 36)),
    Magnitude("cloths_a_cow", "cloths a cow at a milking", "", (1.0, 1.5), (1.0, 1.5)),
    Magnitude("generator_over_running", "generator over running load", "", (1.3, 3.0), (1.3, 3.0)),
)  # fmt: skip

MAGNITUDES: Mapping[str, Magnitude] = {row.key: row for row in _ROWS}
"""Every magnitude by key."""
