"""Compressed air: leaks, receivers, dryers, events, and ISO 8573-1 purity classes."""

from __future__ import annotations

from dataclasses import dataclass

from byrewright.standards.model import Confidence, Value

VALUES: tuple[Value, ...] = (
    Value("air.leak_target_share", 0.10, "", "leakage worth aiming at, share of compressor output",
          "doe_air", "read", "typical", 0.05, 0.10, least=0.0, most=0.3),
    Value("air.leak_common_share", 0.25, "", "leakage commonly found", "doe_air", "read",
          "typical", 0.20, 0.30),
    Value("air.leak_times", 1.0, "", "leakage of compressed air over that worth aiming at",
          "practice", "common_practice", "typical", 1.0, 3.0, 0.0, 100.0),
    Value("air.dryer_works_share", 1.0, "", "share of the air that a dryer dries", "practice",
          "common_practice", "typical", 0.0, 1.0),
    Value("air.working_bar", 6.0, "bar", "working pressure above ambient", "practice",
          "common_practice", "typical", 5.5, 7.5, least=3.0, most=16.0),
    Value("air.starts_per_h", 10.0, "1/h", "starts an hour of a cycling compressor", "practice",
          "common_practice", "limit", 6.0, 15.0),
    Value("air.duty_most", 0.70, "", "share of compressor output used in milking", "practice",
          "common_practice", "typical", 0.5, 0.8, least=0.35, most=1.0),
    Value("air.per_cow_l_free", 15.0, "L", "free air for one cow through the parlour: removal, "
          "gates, shut-off (from 80-300 L/min at 250-350 cows/h)", "practice", "common_practice",
          "typical", 8.0, 40.0),
    Value("air.specific_power_kw_per_m3_min", 7.5, "kW", "compressor power for 1000 L/min of free "
          "air at 7 bar", "practice", "common_practice", "typical", 6.0, 9.0),
    Value("dryer.reference_inlet_c", 35.0, "degC", "dryer reference inlet", "iso7183",
          "from_memory", "rule", least=10.0, most=60.0),
    Value("dryer.reference_bar", 7.0, "bar", "dryer reference pressure above ambient", "iso7183",
          "from_memory", "rule", least=3.0, most=16.0),
    Value("dryer.factor_inlet_40", 0.83, "", "dryer capacity factor, inlet 40 degC", "practice",
          "from_memory", "typical", 0.82, 0.85, least=0.2, most=1.0),
    Value("dryer.factor_inlet_45", 0.70, "", "dryer capacity factor, inlet 45 degC", "practice",
          "from_memory", "typical", least=0.2, most=1.0),
    Value("dryer.pressure_exponent", 0.5, "", "dryer capacity goes as absolute pressure ratio to "
          "this power", "practice", "from_memory", "typical", least=0.1, most=2.0),
    Value("air.dew_point_margin_k", 10.0, "K", "pressure dew point below the coldest place of the "
          "pipework", "practice", "common_practice", "typical", least=1.0, most=40.0),
    Value("air.dew_point_least_k", 3.0, "K", "pressure dew point below the coldest place of the "
          "pipework, at least", "practice", "common_practice", "limit"),
    Value("air.building_over_ambient_k", 5.0, "K", "coldest pipework in the building above the "
          "outside air, from cows and motors", "practice", "common_practice", "typical", 3.0, 8.0,
          least=0.5, most=30.0),
    Value("dryer.inlet_over_ambient_k", 10.0, "K", "air after the compressor's cooler above "
          "ambient", "practice", "common_practice", "typical", 8.0, 15.0, least=0.5, most=40.0),
    Value("air.gate_bore_mm", 50.0, "mm", "cylinder bore of an entry, exit or drafting gate",
          "practice", "common_practice", "typical", 40.0, 63.0, least=25.0, most=200.0),
    Value("air.gate_stroke_mm", 250.0, "mm", "stroke of that cylinder", "practice",
          "common_practice", "typical", 150.0, 500.0),
    Value("air.gate_rod_mm", 20.0, "mm", "rod of that cylinder", "practice", "common_practice",
          "typical", least=4.0, most=24.0),
    Value("air.gate_cycles_per_cow", 1.0, "", "gate cycles for each cow that passes", "practice",
          "common_practice", "typical", 0.5, 2.0),
    Value("air.valve_nl", 1.5, "L", "free air of one move of an air-moved line valve", "practice",
          "common_practice", "typical", 0.5, 4.0),
    Value("air.valve_moves_wash", 60.0, "", "moves of each air-moved valve in one wash", "practice",
          "common_practice", "typical", 10.0, 200.0),
    Value("air.busy_minute_deviations", 2.0, "", "standard deviations above the mean in the "
          "minute that the air supply must stand", "practice", "common_practice", "rule"),
)  # fmt: skip

RECEIVER_L: tuple[float, ...] = (
    50, 100, 150, 200, 270, 350, 500, 750, 1000, 1500, 2000, 3000, 5000,
)  # fmt: skip
"""Usual volumes of compressed-air receivers, L (common practice, no source)."""
COMPRESSOR_L_MIN: tuple[float, ...] = (
    100, 125, 150, 200, 250, 300, 400, 500, 630, 800, 1000, 1250, 1600, 2000, 2500, 3150, 4000,
)  # fmt: skip
"""Usual free-air deliveries of small compressors, L/min (common practice, no source)."""

AIR_BORES_MM: tuple[float, ...] = (15, 20, 25, 32, 40, 50, 65, 80)
"""Usual bores of compressed-air pipes, mm (common practice, no source)."""
LEAST_AIR_BORE_MM = 20.0
"""Least bore of a main that hoses tee off (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class HumidityClass:
    """Pressure dew point (degC) or, for wet classes, liquid water (g/m3)."""

    number: str
    dew_point_c: float | None
    liquid_g_m3: float | None
    confidence: Confidence = "second_hand"


HUMIDITY_CLASSES = (
    HumidityClass("1", -70.0, None),
    HumidityClass("2", -40.0, None),
    HumidityClass("3", -20.0, None),
    HumidityClass("4", 3.0, None),
    HumidityClass("5", 7.0, None),
    HumidityClass("6", 10.0, None),
    HumidityClass("7", None, 0.5),
    HumidityClass("8", None, 5.0),
    HumidityClass("9", None, 10.0),
)
