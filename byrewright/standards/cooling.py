"""Milk, water and coolant; cooling rules of each region; tank classes; refrigeration."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from byrewright.standards.model import Confidence, Value

VALUES: tuple[Value, ...] = (
    Value("milk.cp_kj_kgk", 3.93, "kJ/kgK", "specific heat of whole milk, 4-35 degC", "practice",
          "from_memory", "typical", least=3.0, most=4.5),
    Value("milk.density_kg_m3", 1030.0, "kg/m3", "density of whole milk, 4-35 degC", "practice",
          "from_memory", "typical", least=990.0, most=1100.0),
    Value("milk.at_cow_c", 37.5, "degC", "milk as it leaves the cow", "practice",
          "common_practice", "typical", 37.0, 38.0, least=30.0, most=42.0),
    Value("milk.at_receiver_c", 35.0, "degC", "milk at the receiver", "practice",
          "common_practice", "typical", 33.0, 36.0, least=20.0, most=40.0),
    Value("milk.stored_c", 4.0, "degC", "milk in store", "practice", "common_practice", "typical",
          3.0, 4.0, least=0.0, most=15.0),
    Value("water.cp_kj_kgk", 4.19, "kJ/kgK", "specific heat of water", "practice", "from_memory",
          "typical", least=3.5, most=4.5),
    Value("water.density_kg_m3", 1000.0, "kg/m3", "density of water", "practice", "from_memory",
          "typical", least=950.0, most=1100.0),
    Value("coolant.evaporator_below_k", 5.0, "K", "evaporating temperature below the liquid that a "
          "chiller sends out", "practice", "from_memory", "typical", 4.0, 7.0,
          least=0.5, most=25.0),
    Value("coolant.freeze_margin_k", 5.0, "K", "freezing point of the coolant below the "
          "evaporating temperature", "practice", "from_memory", "limit", least=0.5, most=25.0),
    Value("coolant.stands_c", 30.0, "degC", "warmest that a chilled circuit stands when it is off",
          "practice", "common_practice", "typical", 20.0, 40.0),
    Value("coolant.least_run_min", 5.0, "min", "least run of a chiller's compressor at half load, "
          "which the circuit's content must give", "practice", "common_practice", "typical", 3.0,
          10.0),
    Value("coolant.band_k", 4.0, "K", "rise of the circuit between a chiller's stop and start",
          "practice", "common_practice", "typical", 2.0, 6.0, least=0.2, most=20.0),
    Value("milk.wall_least_c", -0.52, "degC", "freezing point of milk: no wall that milk stands at "
          "may be colder", "practice", "from_memory", "limit", least=-3.0, most=5.0),
    Value("plate.water_ratio", 2.0, "", "water to one part of milk", "irish_advice", "read",
          "typical", 1.0, 3.0, least=0.2, most=10.0),
    Value("plate.approach_k", 3.5, "K", "milk out above water in, at two water to one milk",
          "irish_advice", "read", "typical", 2.0, 5.0, least=0.5, most=25.0),
    Value("plate.approach_one_to_one_k", 5.5, "K", "milk out above water in, at one to one",
          "practice", "common_practice", "typical", 4.0, 7.0, least=0.5, most=25.0),
    Value("cooling.allowance_share", 0.20, "", "added to the milk's heat for agitator, pump and "
          "tank gain", "practice", "from_memory", "typical"),
    Value("cooling.cop_direct", 2.75, "", "coefficient of performance, direct expansion, "
          "air-cooled", "practice", "from_memory", "typical", 2.5, 3.0, least=0.8, most=8.0),
    Value("refrigeration.derate_above_m", 500.0, "m", "altitude up to which refrigeration gives "
          "its duty", "practice", "common_practice", "typical", 0.0, 1000.0),
    Value("refrigeration.derate_per_100_m", 0.002, "", "duty that air-cooled refrigeration loses "
          "for each 100 m of altitude", "practice", "common_practice", "typical", 0.0015, 0.003),
    Value("cooling.cop_fall_per_k", 0.025, "1/K", "fall of duty and of the coefficient of "
          "performance for a kelvin of condensing temperature", "practice", "from_memory",
          "typical", 0.02, 0.03, least=0.001, most=0.1),
    Value("cooling.day_swing_k", 5.0, "K", "ambient at its warmest above the mean of the day, and "
          "at its coldest below", "practice", "common_practice", "typical", 3.0, 8.0, least=0.0),
    Value("tank.stirred_from_share", 0.10, "", "share of a tank's volume from which its agitator "
          "reaches the milk and cooling may run at its full rate", "en13732", "from_memory",
          "typical", 0.05, 0.10),
    Value("tank.evaporator_share", 0.25, "", "share of a tank's wall, from the bottom up, that is "
          "evaporator or jacket", "practice", "common_practice", "typical", 0.15, 0.35,
          least=0.01),
    Value("tank.still_u_w_m2k", 15.0, "W/m2K", "heat transfer from still milk to an evaporator "
          "below it: 0.56 W/mK over a third of 0.11 m", "practice", "derived", "typical", 8.0,
          30.0),
    Value("tank.wall_least_c", 0.0, "degC", "least temperature of an evaporator in milk that is "
          "not stirred, held by its freezing guard; milk freezes near -0.52 degC", "practice",
          "common_practice", "limit"),
    Value("tank.dry_wall_share", 0.5, "", "share of the heat through the wall above the milk that "
          "reaches the milk: 0.4 W/m2K of wall in series with some 2 W/m2K of its surface",
          "practice", "derived", "typical", 0.2, 0.7),
    Value("tank.warming_k_h", 0.25, "K/h", "mean warming of a full standing tank, 4 to not above "
          "5 degC in 4 h", "en13732", "from_memory", "limit"),
    Value("tank.reserve_share", 0.10, "", "tank volume kept above the milk expected at collection",
          "practice", "common_practice", "typical", 0.05, 0.25),
    Value("tank.changeover_min", 60.0, "min", "milk that a tank takes over while one tanker leaves "
          "and the next is coupled, where milk is loaded direct", "practice", "common_practice",
          "typical", 20.0, 180.0),
    Value("tank.jacket_full_k", 10.0, "K", "milk over the chilled liquid from which a jacket "
          "takes out all that it is rated for; nearer, in proportion", "practice",
          "common_practice", "typical", 5.0, 20.0),
    Value("tank.agitator_kw_m3", 0.04, "kW/m3", "agitator motor for each m3 of a tank", "practice",
          "common_practice", "typical", 0.015, 0.1),
    Value("tank.u_w_m2k", 0.4, "W/m2K", "heat transfer through an insulated tank wall",
          "practice", "common_practice", "typical", 0.3, 0.6),
)  # fmt: skip


Clock = Literal["at_once", "start_of_milking", "end_of_milking", "always"]
Collected = Literal["daily", "not_daily", "either"]
Applies = Literal["first_milking", "later_milkings", "every_milking", "transport"]


@dataclass(frozen=True, slots=True)
class TemperatureStep:
    """Milk must be at or below `limit_c` within `within_h` of `clock`.

    `at_once` and `always` have no hours. Where two steps share `sooner_of`, the earlier rules.
    """

    limit_c: float
    clock: Clock
    within_h: float | None = None
    applies: Applies = "every_milking"
    collected: Collected = "either"
    sooner_of: str = ""


@dataclass(frozen=True, slots=True)
class TemperatureRule:
    """The milk-cooling rule of one region. Local authorities and the buyer may ask for more."""

    region: str
    title: str
    steps: tuple[TemperatureStep, ...]
    source: str
    confidence: Confidence
    note: str = ""
    south: bool = False  # the whole of it lies south of the equator

    def steps_for(self, collected_daily: bool) -> tuple[TemperatureStep, ...]:
        """The steps that bind a farm whose milk is, or is not, collected daily."""
        other: Collected = "not_daily" if collected_daily else "daily"
        return tuple(step for step in self.steps if step.collected != other)


LIMITS_F: Mapping[tuple[str, float], float] = {("pmo", 7.0): 45.0, ("california", 7.0): 45.0}
"""Limits in degF by their source and degC, where the source states both and the one is not the
other turned: 7 degC (45 degF) (state university summary of the ordinance, second hand)."""

TEMPERATURE_RULES: tuple[TemperatureRule, ...] = (
    TemperatureRule(
        "EU", "European Union, raw milk at the holding",
        (
            TemperatureStep(8.0, "at_once", collected="daily"),
            TemperatureStep(6.0, "at_once", collected="not_daily"),
            TemperatureStep(10.0, "always", applies="transport"),
        ),
        "eu853", "from_memory",
        "the same figures are read in the Swiss ordinance (8 degC within 2 h) and a Czech decree "
        "(within 3 h of the start of milking)",
    ),
    TemperatureRule(
        "US", "United States, Grade A raw milk",
        (
            TemperatureStep(7.0, "end_of_milking", 2.0),
            TemperatureStep(10.0, "always", applies="later_milkings"),
        ),
        "pmo", "second_hand", "4.44 degC is an equipment rating or a stricter state rule, not this",
    ),
    TemperatureRule(
        "US-California", "California, farm milk",
        (
            TemperatureStep(10.0, "start_of_milking", 4.0, applies="first_milking"),
            TemperatureStep(7.0, "end_of_milking", 2.0),
            TemperatureStep(10.0, "always", applies="later_milkings"),
        ),
        "california", "second_hand",
    ),
    TemperatureRule(
        "US-Massachusetts", "Massachusetts, farm milk",
        (
            TemperatureStep(4.45, "end_of_milking", 2.0),
            TemperatureStep(10.0, "always", applies="later_milkings"),
        ),
        "massachusetts", "read",
    ),
    TemperatureRule(
        "Australia", "Australia, most suppliers",
        (TemperatureStep(4.0, "start_of_milking", 3.0),),
        "australia", "read", south=True,
    ),
    TemperatureRule(
        "New Zealand", "New Zealand, raw milk since 1 June 2018",
        (
            TemperatureStep(10.0, "start_of_milking", 4.0),
            TemperatureStep(6.0, "start_of_milking", 6.0, sooner_of="six"),
            TemperatureStep(6.0, "end_of_milking", 2.0, sooner_of="six"),
            TemperatureStep(10.0, "always", applies="later_milkings"),
        ),
        "new_zealand", "from_memory", "the date is read, the figures are from memory", south=True,
    ),
)  # fmt: skip
"""Legal cooling rules by region."""


def temperature_rule(region: str) -> TemperatureRule:
    """The rule of a region.

    Raises:
        KeyError: the region is not held; the text lists those that are.
    """
    for rule in TEMPERATURE_RULES:
        if rule.region.casefold() == region.casefold():
            return rule
    held = ", ".join(rule.region for rule in TEMPERATURE_RULES)
    raise KeyError(f"no milk-cooling rule is held for {region!r}; held are {held}")


def lies_south(region: str) -> bool:
    """Whether the whole of a region lies south of the equator, where January is summer.

    >>> lies_south("new zealand"), lies_south("EU")
    (True, False)
    """
    return any(r.south and r.region.casefold() == region.casefold() for r in TEMPERATURE_RULES)


def lies_in(region: str, country: str) -> bool:
    """Whether a region is a country, or one of its parts, written `US-California`.

    >>> lies_in("us-california", "US"), lies_in("Usedom", "US")
    (True, False)
    """
    return region.casefold().partition("-")[0] == country.casefold()


@dataclass(frozen=True, slots=True)
class AmbientClass:
    """A tank's ambient letter: performance and safe operating temperatures, degC."""

    letter: str
    performance_c: float
    safe_c: float


@dataclass(frozen=True, slots=True)
class CoolingClass:
    """A tank's time numeral: hours for 35 to 4 degC, and for a later blend 10 to 4 degC."""

    numeral: str
    first_h: float
    later_h: float


@dataclass(frozen=True, slots=True)
class FillClass:
    """A tank's milkings: how many it holds and the share of its volume each fills."""

    milkings: int
    share_each: float
    hours: float


AMBIENT_CLASSES = (
    AmbientClass("A", 38.0, 43.0),
    AmbientClass("B", 32.0, 38.0),
    AmbientClass("C", 25.0, 32.0),
)
COOLING_CLASSES = (
    CoolingClass("0", 2.0, 0.8),
    CoolingClass("I", 2.5, 1.0),
    CoolingClass("II", 3.0, 1.25),
    CoolingClass("III", 3.5, 1.5),
)
FILL_CLASSES = (FillClass(2, 0.5, 24.0), FillClass(4, 0.25, 48.0), FillClass(6, 1 / 6, 72.0))


@dataclass(frozen=True, slots=True)
class GlycolPoint:
    """Propylene glycol in water: percent by volume, freezing."""

    volume_pct: float
    freeze_c: float


GLYCOL: tuple[GlycolPoint, ...] = (
    GlycolPoint(5, -1.1),
    GlycolPoint(10, -2.2),
    GlycolPoint(15, -3.9),
    GlycolPoint(20, -6.7),
    GlycolPoint(25, -8.9),
    GlycolPoint(30, -12.8),
    GlycolPoint(35, -16.1),
    GlycolPoint(40, -20.6),
    GlycolPoint(45, -26.7),
    GlycolPoint(50, -33.3),
)

COOLANT_FIT: dict[str, tuple[float, ...]] = {
    "density": (998.18, 121.33, -25.734, 0.11085, -1.7703, 0.93492, -0.0058663, 0.0072721),
    "cp": (4.1776, -1.0431, -0.85927, -0.00035172, 0.011592, -0.0059155, 6.2395e-06, -9.8646e-06),
    "ln_viscosity": (0.55022, 4.7176, 0.40977, -0.02999, -0.077563, 0.013526, 0.00016994,
                     0.00067648),
    "conductivity": (0.56201, -0.49116, 0.11929, 0.0019148, -0.0050811, 0.0044012, -3.3496e-06,
                     9.4015e-06),
}  # fmt: skip
"""Propylene glycol in water: kg/m3, kJ/kgK, ln mPa.s and W/mK as sums over 1, v, v2, t, vt, v2t,
t2, vt2, with v the share by volume (0-0.5) and t degC. Fitted by least squares to CoolProp 8.0
(INCOMP::MPG, after Melinder 2010), 1200 points above freezing, -20 to 25 degC: within 0.2 %,
0.9 %, 4 % and 0.2 %."""
