"""Milk and air in the milkline: stratified or slugs, at peak and over a whole milking.

Mechanistic (Taitel and Dukler 1976, from memory), never validated against the standard's table of
units per slope, which could not be read; a licensed user may enter that table.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from byrewright.physics.errors import PhysicsRangeError
from byrewright.physics.milkline import (
    NOT_VALIDATED,
    LineFlow,
    gravity_half_full_l_min,
    line_flow,
    slug_limit_l_min,
    units_1978,
)
from byrewright.plant.plant import Plant
from byrewright.plant.roles import CollectsMilk, GivesMilk
from byrewright.results import Table
from byrewright.standards.milkline_table import UnitsPerSlope
from byrewright.standards.rulebook import Rulebook
from byrewright.studies.sizing.duty import Duty
from byrewright.studies.slopes import STEP_S, SlopeMilk, slope_milk

SAY = f"This is a {NOT_VALIDATED}."
MOST_AT_ONCE = 4  # attachments in one slope at the same moment that are counted apart


@dataclass(frozen=True, slots=True)
class Load:
    """What one slope of a milkline carries: units, milk and air, L/min (air free)."""

    slopes: int
    units: float
    mean_l_min: float
    peak_l_min: float
    cow_peak_l_min: float
    steady_air_l_min: float
    passing_air_l_min: float
    fall_air_l_min: float
    air_share: float
    attach_interval_s: float
    passes_s: float
    """How long air of an attachment passes."""
    falls_a_cow: float
    milk: SlopeMilk

    @property
    def peak_air_l_min(self) -> float:
        """Air of steady milking and one attachment."""
        return self.steady_air_l_min + self.air_share * self.passing_air_l_min


@dataclass(frozen=True, slots=True)
class LineAnswer:
    """One milkline: flow at peak, greatest milk flow without slugs, chance of slugs, references."""

    line: CollectsMilk
    load: Load
    at_peak: LineFlow | None
    slug_limit_l_min: float
    slug_share: float
    units_by_slug_limit: int
    half_full_l_min: float
    units_1978: int
    table_units: float | None
    better_bore_mm: float | None

    @property
    def level(self) -> float:
        """Depth of milk over the bore at peak (full where it would run full)."""
        return self.at_peak.level_share if self.at_peak else 1.0


def load_of(plant: Plant, rules: Rulebook, line: CollectsMilk, duty: Duty) -> Load:
    """What one slope carries: milk cow by cow, air by units and work."""
    milk = slope_milk(plant, rules, duty)
    each_air = rules.number("vacuum.line_air_per_unit_l_min")
    falls = max(
        (u.fall_off_air_l_min_free for u in plant.machines(GivesMilk)),
        default=rules.number("vacuum.fall_off_air_l_min"),
    )
    return Load(
        slopes=milk.slopes,
        units=milk.units,
        mean_l_min=milk.mean_l_min,
        peak_l_min=milk.worst_l_min,
        cow_peak_l_min=duty.peak_cow_l_min,
        steady_air_l_min=each_air * milk.units,
        passing_air_l_min=rules.number("milkline.transient_air_typical_l_min"),
        fall_air_l_min=falls,
        air_share=0.5 if line.looped else 1.0,
        attach_interval_s=duty.attach_interval_s,
        passes_s=rules.number("vacuum.attach_air_s"),
        falls_a_cow=rules.number("milking.kick_off_share"),
        milk=milk,
    )


def study_line(
    plant: Plant,
    rules: Rulebook,
    line: CollectsMilk,
    load: Load,
    vacuum_kpa: float,
    ambient_kpa_abs: float,
    table: UnitsPerSlope | None = None,
) -> LineAnswer:
    """One milkline at peak and over a milking.

    Args:
        table: the standard's table as a licensed user entered it.
    """
    limits = [
        _limit(rules, line, line.bore_mm, air, vacuum_kpa, ambient_kpa_abs) for air in _airs(load)
    ]
    at_peak = line_flow(
        max(load.peak_l_min, 0.01),
        load.peak_air_l_min,
        line.bore_mm,
        max(line.slope_pct, 0.1),
        vacuum_kpa,
        ambient_kpa_abs,
        rules,
    )
    share = _share(load, limits)
    allowed = 1.0 - rules.number("milkline.drop_share_of_time_pct") / 100.0
    return LineAnswer(
        line=line,
        load=load,
        at_peak=at_peak,
        slug_limit_l_min=limits[1],
        slug_share=share,
        units_by_slug_limit=int(limits[1] / load.cow_peak_l_min),
        half_full_l_min=gravity_half_full_l_min(line.bore_mm, line.slope_pct, rules),
        units_1978=units_1978(line.bore_mm / 25.4),
        table_units=table.look_up(line.looped, line.bore_mm, line.slope_pct) if table else None,
        better_bore_mm=None
        if share <= allowed
        else _better_bore(rules, line, load, vacuum_kpa, ambient_kpa_abs, allowed),
    )


def _airs(load: Load) -> list[float]:
    """Air beside the milk: steady, with 1 to 4 attachments at once, and with a fallen unit."""
    passing = [
        load.steady_air_l_min + load.air_share * k * load.passing_air_l_min
        for k in range(MOST_AT_ONCE + 1)
    ]
    return [*passing, load.steady_air_l_min + load.air_share * load.fall_air_l_min]


def _limit(
    rules: Rulebook,
    line: CollectsMilk,
    bore_mm: float,
    air: float,
    vacuum_kpa: float,
    ambient_kpa_abs: float,
) -> float:
    if line.slope_pct < 0.1:
        return 0.0
    try:
        slugs = slug_limit_l_min(air, bore_mm, line.slope_pct, vacuum_kpa, ambient_kpa_abs, rules)
    except PhysicsRangeError:
        return 0.0
    # As in sizing: milk that fills more than half the bore leaves the air no steady way.
    return min(slugs, gravity_half_full_l_min(bore_mm, line.slope_pct, rules))


def _share(load: Load, limits: Sequence[float]) -> float:
    """Share of milking with slugs: by the milk of each slope, attachments by chance within a step.

    A unit just put on lets air pass for some seconds; now and then one falls.
    """
    each = load.passes_s / STEP_S
    mean = np.minimum(load.milk.attached * each, MOST_AT_ONCE)
    fallen = np.minimum(1.0, load.falls_a_cow * load.milk.attached.mean() * each)
    above = [load.milk.flow_l_min > limit for limit in limits]
    weights = [np.exp(-mean) * mean**k / math.factorial(k) for k in range(MOST_AT_ONCE)]
    weights.append(np.maximum(0.0, 1.0 - sum(weights)))
    quiet = sum(w * a for w, a in zip(weights, above, strict=False))
    return float(((1.0 - fallen) * quiet + fallen * above[-1]).mean())


def _better_bore(
    rules: Rulebook,
    line: CollectsMilk,
    load: Load,
    vacuum_kpa: float,
    ambient_kpa_abs: float,
    allowed: float,
) -> float | None:
    from byrewright.standards.pipes import MILKLINE_BORES_MM

    for bore in sorted(MILKLINE_BORES_MM):
        if bore <= line.bore_mm * 1.01:
            continue
        limits = [
            _limit(rules, line, bore, air, vacuum_kpa, ambient_kpa_abs) for air in _airs(load)
        ]
        if _share(load, limits) <= allowed:
            return bore
    return None


def slope_table(
    rules: Rulebook, answer: LineAnswer, vacuum_kpa: float, ambient_kpa_abs: float
) -> Table:
    """What other slopes and bores would carry in one slope, beside the published references."""
    from byrewright.standards.pipes import MILKLINE_BORES_MM

    line, air = answer.line, answer.load.peak_air_l_min
    rows: list[tuple[float | str, ...]] = []
    near = sorted(MILKLINE_BORES_MM, key=lambda b: abs(b - line.bore_mm))[:3]
    for bore in dict.fromkeys((line.bore_mm, *near)):
        for slope in (0.5, 1.0, 2.0):
            probe = line.model_copy(update={"slope_pct": slope})
            limit = _limit(rules, probe, bore, air, vacuum_kpa, ambient_kpa_abs)
            rows.append(
                (
                    bore,
                    slope,
                    round(limit),
                    int(limit / answer.load.cow_peak_l_min),
                    round(gravity_half_full_l_min(bore, slope, rules)),
                    units_1978(bore / 25.4),
                )
            )
    return Table(
        f"milkline_{line.id}",
        f"Milk that one slope carries without slugs beside {air:.0f} L/min of air",
        (
            "bore",
            "slope",
            "milk without slugs",
            "cows at peak together",
            "half full by gravity",
            "units by the 1978 rule",
        ),
        ("mm", "%", "L/min", "cows", "L/min", "units"),
        tuple(sorted(rows)),
        f"{SAY} Half-full gravity capacity and the 1978 rule stand beside it as references.",
    )
