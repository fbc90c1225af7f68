"""Motors, starting, generators and batteries."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from byrewright.standards.cooling import lies_in
from byrewright.standards.model import Value
from byrewright.standards.units import convert

StartMethod = Literal["direct", "star_delta", "soft", "drive"]

VALUES: tuple[Value, ...] = (
    Value("start.star_delta_share", 1 / 3, "", "star-delta start: share of direct current and "
          "torque", "practice", "from_memory", "rule"),
    Value("start.soft_multiple", 3.0, "", "soft starter: current over rated", "practice",
          "from_memory", "typical", 2.5, 4.0, least=1.0, most=8.0),
    Value("start.drive_multiple", 1.25, "", "speed drive: current over rated", "practice",
          "from_memory", "typical", 1.0, 1.5, least=0.5, most=4.0),
    Value("start.dip_most_pct", 20.0, "%", "voltage dip at a motor start on a generator",
          "practice", "from_memory", "limit", 20.0, 30.0),
    Value("generator.engine_hp_per_kw", 2.1, "hp", "tractor or engine power for one electrical kW",
          "us_extension", "read", "typical", 2.0, 2.25, least=1.2, most=5.0),
    Value("generator.transient_reactance", 0.20, "", "transient reactance x'd of a small "
          "generator, per unit of its rating", "practice", "common_practice", "typical",
          0.12, 0.30, least=0.04, most=0.8),
    Value("generator.load_most", 0.80, "", "running load as a share of rating", "practice",
          "common_practice", "limit", 0.7, 0.9, least=0.3, most=1.0),
    Value("generator.power_factor", 0.80, "", "power factor at which sets are rated", "practice",
          "common_practice", "rule", least=0.4, most=1.0),
    Value("generator.fuel_l_per_kwh", 0.27, "L/kWh", "diesel for one electrical kWh near full load",
          "practice", "common_practice", "typical", 0.24, 0.35, least=0.15, most=1.0),
    Value("generator.idle_fuel_share", 0.25, "", "share of full-load fuel burnt at no load",
          "practice", "common_practice", "typical", 0.15, 0.30),
    Value("motor.power_factor", 0.85, "", "power factor of a loaded cage motor", "practice",
          "common_practice", "typical", 0.78, 0.90, least=0.4, most=1.0),
    Value("motor.efficiency", 0.90, "", "efficiency of a cage motor of 5-30 kW", "practice",
          "common_practice", "typical", 0.85, 0.93, least=0.4, most=1.0),
    Value("motor.service_margin", 1.15, "", "motor rating over the shaft power of its duty",
          "practice", "common_practice", "typical", 1.1, 1.25, least=1.0, most=3.0),
    Value("motor.derate_above_m", 1000.0, "m", "altitude up to which motors and sets give their "
          "rating", "iec60034_1", "from_memory", "rule"),
    Value("motor.derate_per_100_m", 0.0072, "", "rating that a motor loses for each 100 m above "
          "(tables of trade: 0.97 to 1500 m, 0.94 to 2000, 0.90 to 2500, 0.86 to 3000, 0.82 to "
          "3500)", "practice", "common_practice", "typical", 0.006, 0.01),
    Value("generator.derate_per_100_m", 0.012, "", "rating that a set loses for each 100 m above "
          "(engines 3.5 to 4 % in 300 m, alternators 3 % in 500 m; the engine decides)",
          "practice", "common_practice", "typical", 0.006, 0.0135),
    Value("motor.loading", 0.75, "", "shaft load over rating of a motor at work", "practice",
          "common_practice", "typical", 0.6, 0.95, least=0.2, most=1.0),
    Value("start.direct_most_kw", 5.5, "kW", "largest motor started direct where the file does not "
          "say how it starts; the supplier of power rules", "practice", "common_practice",
          "limit", 3.0, 11.0),
    Value("laundry.load_share", 0.6, "", "mean input of washers and dryers over rating while they "
          "run", "practice", "common_practice", "typical", 0.4, 0.9),
    Value("supply.single_phase_motor_kw", 2.2, "kW", "largest motor on a single-phase supply",
          "practice", "common_practice", "limit", 1.5, 4.0),
    Value("supply.spare_share", 0.10, "", "room wanted under the agreed supply", "practice",
          "common_practice", "typical", 0.05, 0.25),
    Value("supply.fault_multiple", 20.0, "", "short-circuit power of a supply over its agreed "
          "demand, where it is not stated; weak at the end of a long line", "practice",
          "common_practice", "typical", 8.0, 40.0, least=2.0, most=200.0),
    Value("supply.dip_most_pct", 6.0, "%", "voltage change at a motor start on the mains (4 % "
          "where it starts often, 6 % a few times a day)", "iec61000_3_3", "from_memory", "limit",
          4.0, 7.0),
    Value("breaker.holds_multiple", 1.05, "", "current over rating that a breaker never trips at",
          "iec60947_2", "from_memory", "rule", least=1.0, most=2.0),
    Value("breaker.time_constant_s", 600.0, "s", "thermal time constant of a breaker: trips at 1.3 "
          "times its rating well within two hours, at 2.55 times within two minutes", "iec60947_2",
          "derived", "typical", 300.0, 1200.0),
    Value("generator.fuel_hours", 12.0, "h", "hours that the fuel on site must last", "practice",
          "common_practice", "limit", 8.0, 48.0),
    Value("generator.heat_share", 0.0, "", "share of heaters and laundry that a standby set "
          "carries in milking; the rest is shed", "practice", "common_practice", "rule",
          least=0.0, most=1.0),
    Value("ups.margin", 1.25, "", "rating of an uninterruptible supply over its load", "practice",
          "common_practice", "typical", 1.2, 1.5, least=1.0, most=5.0),
    Value("ups.hold_min", 10.0, "min", "least time an uninterruptible supply holds", "practice",
          "common_practice", "limit", 5.0, 30.0),
)  # fmt: skip

MOTOR_KW: tuple[float, ...] = (
    0.06, 0.09, 0.12, 0.18, 0.25, 0.37, 0.55, 0.75, 1.1, 1.5, 2.2, 3.0, 4.0, 5.5, 7.5, 11.0, 15.0,
    18.5, 22.0, 30.0, 37.0, 45.0, 55.0, 75.0, 90.0, 110.0, 132.0, 160.0, 200.0, 250.0, 315.0,
    355.0, 400.0,
)  # fmt: skip
"""Preferred motor outputs, kW."""
US_MOTOR_HP: tuple[float, ...] = (
    0.25, 0.33, 0.5, 0.75, 1.0, 1.5, 2.0, 3.0, 5.0, 7.5, 10.0, 15.0, 20.0, 25.0, 30.0, 40.0, 50.0,
    60.0, 75.0, 100.0, 125.0, 150.0, 200.0, 250.0, 300.0, 350.0, 400.0, 450.0, 500.0,
)  # fmt: skip
"""Usual motor outputs in the US, hp (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class CodeLetter:
    """Locked-rotor kVA for one horsepower: from `low` up to (not including) `high`."""

    letter: str
    low: float
    high: float | None


_LETTERS = (
    ("A", 0.0), ("B", 3.15), ("C", 3.55), ("D", 4.0), ("E", 4.5), ("F", 5.0), ("G", 5.6),
    ("H", 6.3), ("J", 7.1), ("K", 8.0), ("L", 9.0), ("M", 10.0), ("N", 11.2), ("P", 12.5),
    ("R", 14.0), ("S", 16.0), ("T", 18.0), ("U", 20.0), ("V", 22.4),
)  # fmt: skip
CODE_LETTERS: tuple[CodeLetter, ...] = tuple(
    CodeLetter(letter, low, _LETTERS[i + 1][1] if i + 1 < len(_LETTERS) else None)
    for i, (letter, low) in enumerate(_LETTERS)
)


@dataclass(frozen=True, slots=True)
class LockedRotorLimit:
    """Design N: greatest locked-rotor apparent power over rated output, kVA/kW, up to a size."""

    up_to_kw: float
    kva_per_kw: float


DESIGN_N: tuple[LockedRotorLimit, ...] = (
    LockedRotorLimit(6.3, 13.0),
    LockedRotorLimit(25.0, 12.0),
    LockedRotorLimit(63.0, 11.0),
    LockedRotorLimit(630.0, 10.0),
)
GENERATOR_KVA: tuple[float, ...] = (
    10, 15, 20, 30, 40, 50, 60, 80, 100, 125, 150, 200, 250, 300, 350, 400, 500, 630,
)  # fmt: skip
"""Usual set ratings, kVA (common practice, no source)."""
SUPPLY_A: tuple[float, ...] = (
    16, 20, 25, 32, 40, 50, 63, 80, 100, 125, 160, 200, 250, 315, 400, 500, 630, 800, 1000, 1250,
)  # fmt: skip
"""Usual ratings of fuses and breakers, A (common practice, no source)."""
US_SUPPLY_A: tuple[float, ...] = (
    15, 20, 25, 30, 35, 40, 45, 50, 60, 70, 80, 90, 100, 110, 125, 150, 175, 200, 225, 250, 300,
    350, 400, 450, 500, 600, 700, 800, 1000, 1200,
)  # fmt: skip
"""Usual ratings of fuses and breakers in the US, A (common practice, no source)."""
UPS_KVA: tuple[float, ...] = (0.5, 0.75, 1, 1.5, 2, 3, 5, 6, 8, 10, 15, 20)
"""Usual ratings of uninterruptible supplies, kVA (common practice, no source)."""


def motor_outputs_kw(region: str) -> tuple[float, ...]:
    """Motor outputs that are bought in a region, kW; in the US whole horsepower, to four figures.

    >>> motor_outputs_kw("US")[7], motor_outputs_kw("EU")[10]
    (2.237, 2.2)
    """
    if not lies_in(region, "US"):
        return MOTOR_KW
    return tuple(float(f"{convert(hp, 'hp', 'kW'):.4g}") for hp in US_MOTOR_HP)


def supply_a(region: str) -> tuple[float, ...]:
    """Ratings of fuses and breakers that are bought in a region, A.

    >>> supply_a("US-California")[:2], supply_a("EU")[:2]
    ((15, 20), (16, 20))
    """
    return US_SUPPLY_A if lies_in(region, "US") else SUPPLY_A


def usual_supply(region: str, phases: object = 3) -> dict[str, float]:
    """Voltage and frequency of farm supplies in a region where they are not the usual 400 V and
    50 Hz (common practice, no source); empty elsewhere.

    >>> usual_supply("US-California"), usual_supply("EU")
    ({'voltage_v': 480.0, 'frequency_hz': 60}, {})
    """
    if not lies_in(region, "US"):
        return {}
    return {"voltage_v": 240.0 if phases == 1 else 480.0, "frequency_hz": 60}
