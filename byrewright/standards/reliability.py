"""How long parts live: published Weibull figures and, marked apart, practice."""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from dataclasses import dataclass

from byrewright.standards.model import Confidence, UnknownRule, Value

_FIGURES: tuple[Value, ...] = (
    Value("reliability.wet_divisor", 4.0, "", "life in a wet, ammonia-laden parlour: connectors, "
          "switches and solenoids fail several times sooner than the dry-plant figure",
          "practice", "common_practice", "typical", 2.0, 6.0, least=1.0, most=40.0),
    Value("reliability.damp_divisor", 2.0, "", "life of closed machines that are hosed down, as "
          "for wet parts", "practice", "common_practice", "typical", 1.5, 3.0,
          least=1.0, most=20.0),
    Value("reliability.beta_common_cause", 0.10, "", "share of failures of a pair that take both",
          "iec61508", "from_memory", "typical", 0.01, 0.10),
    Value("generator.fail_to_start", 0.02, "", "share of calls at which a standby set does not "
          "start", "practice", "common_practice", "typical", 0.005, 0.05),
    Value("failures.leak_l_min", 300.0, "L/min", "free air through a failed seal or joint under "
          "vacuum", "practice", "common_practice", "typical", 100.0, 1000.0),
    Value("failures.backflow_share", 0.5, "", "air that comes back through a vacuum pump at rest "
          "whose non-return valve leaks, share of its capacity", "practice", "common_practice",
          "typical", 0.2, 1.0),
    Value("failures.slow_share", 0.7, "", "pace with a broken roller or lifted rail joint",
          "practice", "common_practice", "typical", 0.5, 0.9, least=0.05, most=1.0),
    Value("failures.least_pace", 0.5, "", "pace under which milking is taken as stopped",
          "practice", "common_practice", "rule", 0.3, 0.7),
    Value("failures.notice_min", 3.0, "min", "from the failure until people act", "practice",
          "common_practice", "typical", 1.0, 10.0),
    Value("failures.act_min", 2.0, "min", "time of each act by hand", "practice",
          "common_practice", "typical", 1.0, 10.0),
    Value("failures.joint_min", 20.0, "min", "two people lock the deck off, jack a lifted rail "
          "joint down and clamp a plate over it, the jack and plates being at hand", "practice",
          "common_practice", "typical", 10.0, 40.0),
    Value("failures.cup_again_s", 60.0, "s", "one person rinses a fallen cluster and puts it on "
          "again (36 clusters take two people 15 to 20 min)", "practice", "common_practice",
          "typical", 45.0, 90.0),
    Value("failures.wait_limit_min", 30.0, "min", "longest that cows should stand waiting longer "
          "than planned", "practice", "common_practice", "limit", 15.0, 60.0),
    Value("failures.repair_factor", 1.0, "", "repair times of this farm over those stated by the "
          "kinds", "practice", "common_practice", "typical", 0.5, 3.0),
    Value("failures.milk_price_l", 0.45, "1/L", "worth of milk in the site's currency",
          "practice", "common_practice", "typical", 0.3, 0.7),
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Life:
    """Weibull life of a part: shape beta and characteristic life eta in running hours."""

    key: str
    title: str
    beta: float
    eta_h: float
    low_h: float
    high_h: float
    source: str = "weibull_table"
    confidence: Confidence = "second_hand"
    wet: bool = False
    damp: bool = False
    """Wet: in spray, splash and ammonia. Damp: hosed down, but closed."""


def _practice(key: str, title: str, beta: float, eta_h: float, low_h: float, high_h: float) -> Life:
    return Life(key, title, beta, eta_h, low_h, high_h, "practice", "common_practice")


_ROWS: tuple[Life, ...] = (
    Life("ac_motor", "alternating-current motor", 1.2, 100_000, 1_000, 200_000),
    Life("dc_motor", "direct-current motor", 1.2, 50_000, 100, 100_000),
    Life("centrifugal_pump", "centrifugal pump", 1.2, 35_000, 1_000, 125_000, damp=True),
    Life("centrifugal_compressor", "centrifugal compressor", 1.9, 60_000, 20_000, 120_000),
    Life("circuit_breaker", "circuit breaker", 1.5, 100_000, 67_000, 1_400_000),
    Life("transformer", "transformer", 1.1, 200_000, 14_000, 14_200_000),
    Life("control_valve", "control valve", 1.0, 100_000, 14_000, 333_000, wet=True),
    Life("motorised_valve", "motorised valve", 1.1, 25_000, 17_000, 1_000_000, wet=True),
    Life("solenoid_valve", "solenoid valve", 1.1, 75_000, 50_000, 1_000_000, wet=True),
    Life("solid_state_controller", "solid-state controller", 0.7, 100_000, 20_000, 200_000),
    Life("transducer", "transducer", 1.0, 20_000, 11_000, 90_000, wet=True),
    # Practice: order of magnitude only, to be replaced by the farm's own record.
    _practice("vacuum_pump", "vacuum pump", 1.3, 25_000, 10_000, 50_000),
    _practice("air_compressor", "air compressor", 1.3, 25_000, 10_000, 50_000),
    _practice("pump_seal", "pump or rotary joint seal", 1.2, 8_000, 3_000, 20_000),
    _practice("slip_ring", "slip ring and brushes", 1.2, 15_000, 5_000, 30_000),
    _practice("roller", "deck roller", 1.5, 150_000, 50_000, 400_000),
    _practice("gear_motor", "gear motor", 1.3, 40_000, 15_000, 80_000),
    _practice("drive", "electronic speed drive, trips or fails", 1.0, 44_000, 15_000, 90_000),
    _practice("drive_holds", "electronic speed drive, holds one speed", 1.0, 400_000, 100_000,
              1_000_000),
    _practice("belt", "drive belt", 1.5, 8_000, 3_000, 20_000),
    _practice("vacuum_pump_seizes", "vacuum pump seizes or breaks a vane", 1.3, 60_000, 20_000,
              150_000),
    _practice("motor_protection", "motor protection trips or a terminal works loose", 1.0, 30_000,
              10_000, 80_000),
    Life("regulator_fault", "vacuum regulator: dirty, slow or out of its setting", 1.0, 1_500,
         800, 5_000, "regulator_counts", "derived"),
    _practice("regulator_sticks", "vacuum regulator sticks", 1.0, 15_000, 3_000, 40_000),
    _practice("check_valve", "check valve", 1.2, 20_000, 5_000, 50_000),
    _practice("pulsator", "pulsator", 1.2, 12_000, 4_000, 25_000),
    _practice("cluster", "liner, tube and claw", 2.0, 2_500, 1_000, 5_000),
    _practice("removal", "automatic removal", 1.1, 10_000, 3_000, 20_000),
    _practice("position_switch", "position switch", 1.0, 10_000, 3_000, 30_000),
    _practice("connector", "connector", 1.0, 15_000, 4_000, 40_000),
    _practice("hose", "hose", 1.5, 8_000, 2_000, 20_000),
    _practice("exchanger", "plate cooler leaking", 1.5, 60_000, 20_000, 120_000),
    _practice("exchanger_fouling", "plate cooler fouled", 1.5, 4_000, 1_000, 10_000),
    _practice("filter", "filter blocked early", 1.0, 2_000, 500, 6_000),
    _practice("refrigeration", "refrigeration unit trip or leak", 1.1, 12_000, 4_000, 30_000),
    _practice("heater", "heater element", 1.2, 15_000, 4_000, 40_000),
    _practice("dosing_pump", "dosing pump or tube", 1.2, 4_000, 1_000, 10_000),
    _practice("battery", "battery", 2.0, 30_000, 15_000, 45_000),
    _practice("mains", "mains supply lost", 1.0, 2_500, 500, 10_000),
    _practice("mains_phase", "one phase lost", 1.0, 10_000, 2_000, 40_000),
    _practice("water_supply", "water supply lost", 1.0, 4_000, 1_000, 10_000),
    _practice("operator", "slip by a person", 1.0, 1_000, 200, 4_000),
    _practice("float", "float, float valve or ball", 1.2, 8_000, 2_000, 20_000),
    _practice("valve_seat", "valve seat leaking", 1.2, 15_000, 4_000, 40_000),
    _practice("contactor", "contactor or motor starter", 1.2, 40_000, 10_000, 100_000),
    _practice("controller", "controller in a dry cabinet", 1.0, 60_000, 20_000, 150_000),
    _practice("transfer_switch", "change-over switch", 1.0, 40_000, 10_000, 100_000),
    _practice("generator_start", "generator set, hours standing ready", 1.0, 20_000, 5_000, 60_000),
    _practice("vessel", "vessel or tank", 1.1, 200_000, 50_000, 500_000),
    _practice("washing_machine", "cloth washer or dryer", 1.2, 6_000, 2_000, 12_000),
    _practice("collection", "tanker late", 1.0, 1_000, 300, 3_000),
)  # fmt: skip

LIVES: Mapping[str, Life] = {row.key: row for row in _ROWS}
"""Lives by key."""

VALUES: tuple[Value, ...] = _FIGURES + tuple(
    Value(f"life.{row.key}", row.eta_h, "h", f"characteristic life: {row.title}", row.source,
          row.confidence, "typical", row.low_h, row.high_h)
    for row in _ROWS
)  # fmt: skip
"""Every figure here; a life is replaced by writing `life.<key>` in the limits file."""


def life(key: str) -> Life:
    """The life of a part.

    Raises:
        UnknownRule: no part has that key; the text names the nearest.
    """
    if key in LIVES:
        return LIVES[key]
    near = difflib.get_close_matches(key, LIVES, n=1, cutoff=0.0)[0]
    raise UnknownRule(f"no life is held for {key!r}; the nearest is {near!r}")
