"""Heat of a circulating wash: warming the steel, loss to the room, and air that leaves wet."""

from __future__ import annotations

import math

from byrewright.physics.cleaning import return_c
from byrewright.physics.errors import check

STEP_S = 5.0
"""Step of the integration; a quarter of it moves the answer by under 0.02 K."""
WATER_KJ_L_K = 4.19
AIR_KG_L = 1.2e-3
"""Free air near 20 degC and 100 kPa, kg a litre."""


def saturation_kpa(temperature_c: float) -> float:
    """Vapour pressure of water: 0.61094 exp(17.625 t/(t + 243.04)), 0-95 degC.

    Source: Magnus form of Alduchov and Eskridge 1996 (from memory); within 1 % of steam tables to
    60 degC, 2.5 % at 95.

    >>> round(saturation_kpa(60.0), 1)
    20.0
    """
    check("temperature", temperature_c, -10.0, 99.0, "degC")
    return 0.61094 * math.exp(17.625 * temperature_c / (temperature_c + 243.04))


def wet_air_kw(
    air_l_min_free: float, temperature_c: float, pressure_kpa_abs: float, wet_share: float
) -> float:
    """Heat taken by dry air that leaves a wash as warm as it and partly saturated.

    q = m_air (1.006 (t - 20) + s w 2350), w = 0.622 p_s/(p - p_s), p the low pressure in the
    line: vacuum makes the air carry far more. Air enters at 20 degC, its own moisture neglected.
    Source: psychrometrics, general physics; the form is derived. Below boiling at p only.

    >>> round(wet_air_kw(1000.0, 65.0, 58.0, 0.5), 1)
    12.1
    """
    check("airflow", air_l_min_free, 0.0, unit="L/min")
    check("share saturated", wet_share, 0.0, 1.0)
    check("temperature", temperature_c, -10.0, 99.0, "degC")
    return wet_air(air_l_min_free, temperature_c, pressure_kpa_abs, wet_share)


def wet_air(
    air_l_min_free: float, temperature_c: float, pressure_kpa_abs: float, wet_share: float
) -> float:
    """`wet_air_kw` without its checks, as kernels compile it."""
    steam = min(
        0.61094 * math.exp(17.625 * temperature_c / (temperature_c + 243.04)),
        0.8 * pressure_kpa_abs,
    )
    moisture = 0.622 * steam / (pressure_kpa_abs - steam)
    air_kg_s = air_l_min_free * AIR_KG_L / 60.0
    return air_kg_s * (1.006 * max(0.0, temperature_c - 20.0) + wet_share * moisture * 2350.0)


def wash_return_c(
    start_c: float,
    minutes: float,
    water_l: float,
    steel_kg: float,
    steel_c: float,
    ua_kw_k: float,
    ambient_c: float,
    air_l_min_free: float = 0.0,
    pressure_kpa_abs: float = 58.0,
    wet_share: float = 0.5,
) -> float:
    """Temperature of a recirculated wash at its end.

    First the water warms the steel (mixing by heat capacity); then it loses heat to the room
    through the lines and to the air drawn through it: C dT/dt = -UA (T - T_a) - q_air(T).
    Derived; an estimate to find what governs, not a substitute for the thermometer in the return.

    >>> round(wash_return_c(80.0, 8.0, 500.0, 600.0, 15.0, 0.5, 15.0, 1000.0), 1)
    63.6
    """
    check("time", minutes, 0.0, 240.0, "min")
    check("heat loss", ua_kw_k, 0.0, unit="kW/K")
    temperature = return_c(start_c, water_l, steel_kg, steel_c)
    capacity = water_l * WATER_KJ_L_K + steel_kg * 0.5
    steps = max(1, math.ceil(minutes * 60.0 / STEP_S))
    dt = minutes * 60.0 / steps
    for _ in range(steps):
        lost = ua_kw_k * (temperature - ambient_c)
        lost += wet_air_kw(air_l_min_free, temperature, pressure_kpa_abs, wet_share)
        temperature -= lost * dt / capacity
    return temperature
