"""Air through pipes, orifices and vacuum pumps: the laws the airflow network is made of.

Each function is flat scalar arithmetic on `math` alone, so that the compiled network solver can
use these very functions. Pressures are absolute and in kPa, mass flows in kg/s.
"""

from __future__ import annotations

import math

from byrewright.physics.constants import AIR_GAS_CONSTANT_J_KGK
from byrewright.physics.errors import check

LAMINAR_TO = 2000.0
"""Reynolds number up to which 64/Re is used."""
TURBULENT_FROM = 4000.0
"""Reynolds number from which Colebrook is used; between the two a straight line joins them."""
ORIFICE_CRITICAL_RATIO = 0.528
"""Pressure ratio at which a nozzle chokes, (2/2.4)^3.5 for air."""
ORIFICE_LINEAR_FROM = 0.999
"""Pressure ratio above which flow is taken as straight down to zero."""


def air_density_kg_m3(pressure_kpa_abs: float, temperature_c: float) -> float:
    """Density of dry air, ideal gas. Valid 5 to 200 kPa, -40 to 80 degC.

    >>> round(air_density_kg_m3(101.325, 20.0), 4)
    1.2041
    """
    check("pressure", pressure_kpa_abs, 0.0, 1000.0, "kPa", above=True)
    check("temperature", temperature_c, -60.0, 120.0, "degC")
    return 1000.0 * pressure_kpa_abs / (AIR_GAS_CONSTANT_J_KGK * (temperature_c + 273.15))


def air_viscosity_pa_s(temperature_c: float) -> float:
    """Viscosity of air by Sutherland's law (constants from memory: 1.716e-5 Pa s, 110.4 K).

    Valid -50 to 200 degC; pressure does not matter here.

    >>> round(air_viscosity_pa_s(20.0) * 1e5, 2)
    1.81
    """
    check("temperature", temperature_c, -60.0, 300.0, "degC")
    t = temperature_c + 273.15
    return float(1.716e-5 * (t / 273.15) ** 1.5 * (273.15 + 110.4) / (t + 110.4))


def friction(reynolds: float, relative_roughness: float) -> tuple[float, float]:
    """Darcy friction factor and its slope d f / d Re.

    64/Re up to Re 2000; Colebrook and White (1939) from Re 4000, solved from Haaland's explicit
    form (1983) by two steps (left-over error under 0.04 %); a straight line between. Both from
    memory, confirmed in tests against `fluids`. Relative roughness 0 to 0.05.

    >>> round(friction(1e5, 0.0)[0], 4)
    0.018
    """
    if reynolds < LAMINAR_TO:
        low = max(reynolds, 1e-9)
        return 64.0 / low, -64.0 / (low * low)
    re = max(reynolds, TURBULENT_FROM)
    rough = relative_roughness / 3.7
    x = -1.8 * math.log10(rough**1.11 + 6.9 / re)
    x = -2.0 * math.log10(rough + 2.51 * x / re)
    x = -2.0 * math.log10(rough + 2.51 * x / re)
    f = 1.0 / (x * x)
    if reynolds < TURBULENT_FROM:
        start = 64.0 / LAMINAR_TO
        slope = (f - start) / (TURBULENT_FROM - LAMINAR_TO)
        return start + slope * (reynolds - LAMINAR_TO), slope
    inner = rough + 2.51 * x / re
    dx = 0.868589 * 2.51 * x / (re * re * inner) / (1.0 + 0.868589 * 2.51 / (re * inner))
    return f, -2.0 * f / x * dx


def orifice_share(pressure_kpa_abs: float, ambient_kpa_abs: float) -> tuple[float, float]:
    """Air drawn in through a small hole as a share of choked flow, and its slope per kPa.

    Quarter-ellipse between the critical pressure ratio and 1 (the form of ISO 6358, from memory;
    within 0.4 % of the isentropic nozzle). Zero, not negative, when there is no vacuum.

    >>> orifice_share(50.0, 101.3)[0], round(orifice_share(59.3, 101.3)[0], 3)
    (1.0, 0.993)
    """
    ratio = pressure_kpa_abs / ambient_kpa_abs
    if ratio <= ORIFICE_CRITICAL_RATIO:
        return 1.0, 0.0
    span = 1.0 - ORIFICE_CRITICAL_RATIO
    if ratio >= ORIFICE_LINEAR_FROM:
        if ratio >= 1.0:
            return 0.0, 0.0
        at = (ORIFICE_LINEAR_FROM - ORIFICE_CRITICAL_RATIO) / span
        steep = math.sqrt(1.0 - at * at) / (1.0 - ORIFICE_LINEAR_FROM)
        return steep * (1.0 - ratio), -steep / ambient_kpa_abs
    at = (ratio - ORIFICE_CRITICAL_RATIO) / span
    share = math.sqrt(1.0 - at * at)
    return share, -at / (share * span * ambient_kpa_abs)


def pump_air_kg_s(
    speed: float,
    inlet_kpa_abs: float,
    ambient_kpa_abs: float,
    displaced_kg_s: float,
    slip: float,
    back_kpa_s2_kg2: float,
) -> tuple[float, float]:
    """Air drawn by a displacement pump, and its slope per kPa of inlet pressure.

    m = M [ s p/p_a - e (p_out - p)/p_a ], with M the displacement filled with free air, s speed
    as a share of full, e the slip back from outlet to inlet, and p_out = p_a + k m^2 with a
    silencer. At full speed and no silencer this is q = V (1 - v/(0.9 p_a)) when e = 1/0.9 - 1: the
    altitude rule of `physics.air`. Slip does not fall with speed, so a slow pump reaches less
    vacuum (derived; common practice, no source). Speeds 0 to 1.2.

    >>> round(pump_air_kg_s(1.0, 50.0, 100.0, 0.225, 1 / 0.9 - 1, 0.0)[0], 6)
    0.1
    """
    slope = displaced_kg_s * (speed + slip) / ambient_kpa_abs
    free = displaced_kg_s * (
        speed * inlet_kpa_abs - slip * (ambient_kpa_abs - inlet_kpa_abs)
    ) / ambient_kpa_abs  # fmt: skip
    if free <= 0.0:
        return free, slope
    back = back_kpa_s2_kg2 * free * free
    return free - displaced_kg_s * slip * back / ambient_kpa_abs, slope


def displacement_l_min(
    rated_l_min_free: float, at_vacuum_kpa: float, ambient_kpa_abs: float, zero_flow_share: float
) -> float:
    """Volume swept at full speed from the rating: V = q / (1 - v/(z p_a)).

    `ambient_kpa_abs` is that of the rating (100 kPa by custom), z the vacuum at zero flow as a
    share of ambient. Derived from the altitude rule.

    >>> round(displacement_l_min(4000.0, 50.0, 100.0, 0.9))
    9000
    """
    check("vacuum", at_vacuum_kpa, 0.0, 0.99 * zero_flow_share * ambient_kpa_abs, "kPa")
    return rated_l_min_free / (1.0 - at_vacuum_kpa / (zero_flow_share * ambient_kpa_abs))


def pump_power_kw(
    displacement: float, speed: float, inlet_kpa_abs: float, outlet_kpa_abs: float,
    efficiency: float,
) -> float:  # fmt: skip
    """Shaft power of a displacement pump: P = s V (p_out - p_in) / efficiency.

    `displacement` in L/min. Indicator diagram of a pump without inside compression, efficiency
    taken from the rating so that the rated power comes back (derived). Near for vane pumps too
    between 35 and 50 kPa.

    >>> round(pump_power_kw(9000.0, 1.0, 50.0, 100.0, 0.70), 2)
    10.71
    """
    check("efficiency", efficiency, 0.0, 1.0, above=True)
    return displacement / 60_000.0 * speed * max(0.0, outlet_kpa_abs - inlet_kpa_abs) / efficiency


def discharge_temperature_c(
    inlet_c: float, inlet_kpa_abs: float, outlet_kpa_abs: float, efficiency: float
) -> float:
    """Air temperature behind a dry pump: the shaft work heats the air, dT = W / (m c_p).

    T2 = T1 + R T1 (p2/p1 - 1) / (c_p efficiency), with 1005 J/kgK. What oil or water carries away
    is left out: an upper bound, meant for lobe pumps (derived).

    >>> round(discharge_temperature_c(20.0, 58.0, 101.0, 0.7))
    109
    """
    check("efficiency", efficiency, 0.0, 1.0, above=True)
    check("inlet pressure", inlet_kpa_abs, 0.0, 200.0, "kPa", above=True)
    warm = AIR_GAS_CONSTANT_J_KGK * (inlet_c + 273.15) * (outlet_kpa_abs / inlet_kpa_abs - 1.0)
    return inlet_c + warm / (1005.0 * efficiency)


def pipe_volume_l(bore_mm: float, length_m: float) -> float:
    """Content of a pipe.

    >>> round(pipe_volume_l(98.0, 10.0), 1)
    75.4
    """
    check("bore", bore_mm, 0.0, unit="mm", above=True)
    check("length", length_m, 0.0, unit="m")
    return math.pi / 4.0 * bore_mm**2 * length_m / 1000.0


def gas_space_bore_mm(bore_mm: float, fill: float) -> float:
    """Bore of the round pipe that drops as much air pressure as the space over a milk layer.

    With A and D_h the area and hydraulic diameter of the free space, friction falls as
    A^1.75 D_h^1.25 (Blasius); for a round pipe as D^4.75. `fill` is depth over bore, 0 to 0.95.
    Derived (geometry); waves and drag by the milk are left out.

    >>> gas_space_bore_mm(98.0, 0.0)
    98.0
    >>> round(gas_space_bore_mm(98.0, 0.5), 1)
    66.7
    """
    check("fill", fill, 0.0, 0.95)
    if fill == 0.0:
        return bore_mm
    angle = 2.0 * math.acos(1.0 - 2.0 * fill)
    wet = (angle - math.sin(angle)) / (2.0 * math.pi)
    area = 1.0 - wet
    edge = 1.0 - angle / (2.0 * math.pi) + math.sin(angle / 2.0) / math.pi
    return float(bore_mm * (area**1.75 * (area / edge) ** 1.25) ** (1.0 / 4.75))


def pulsation_phases_ms(
    rate_per_min: float, ratio_pct: float, vacuum_kpa: float, rise_ms: float, fall_ms: float,
    edge_kpa: float = 4.0,
) -> tuple[float, float, float, float]:  # fmt: skip
    """Phases a, b, c, d of the chamber vacuum from the pulsator's settings.

    The chamber follows the pulsator exponentially with time constants `rise_ms` (evacuated) and
    `fall_ms` (air let in). Phases change at 4 kPa and at 4 kPa below the greatest vacuum
    (ISO 3918 and ISO 6690, from memory). Derived.

    >>> [round(x) for x in pulsation_phases_ms(60.0, 65.0, 42.0, 55.0, 45.0)]
    [124, 525, 101, 250]
    """
    check("pulsation rate", rate_per_min, 1.0, 200.0, "1/min")
    check("pulsator ratio", ratio_pct, 1.0, 99.0, "%")
    check("vacuum", vacuum_kpa, 2.0 * edge_kpa, 100.0, "kPa", above=True)
    cycle = 60_000.0 / rate_per_min
    early = math.log(vacuum_kpa / (vacuum_kpa - edge_kpa))
    late = math.log(vacuum_kpa / edge_kpa)
    a = rise_ms * (late - early)
    c = fall_ms * (late - early)
    on = cycle * ratio_pct / 100.0
    b = on + fall_ms * early - rise_ms * late
    return a, b, c, cycle - a - b - c
