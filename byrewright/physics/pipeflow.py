"""Liquids in full pipes: friction, velocity, content, draining, pump power."""

from __future__ import annotations

import math

from byrewright.physics.constants import GRAVITY_M_S2
from byrewright.physics.errors import check


def velocity_m_s(flow_l_min: float, bore_mm: float) -> float:
    """Mean velocity in a full pipe.

    >>> round(velocity_m_s(100.0, 50.0), 3)
    0.849
    """
    check("flow", flow_l_min, 0.0, unit="L/min")
    check("bore", bore_mm, 0.0, unit="mm", above=True)
    return flow_l_min / 60_000 / (math.pi / 4 * (bore_mm / 1000) ** 2)


def flow_l_min(velocity: float, bore_mm: float) -> float:
    """Flow in a full pipe at a mean velocity in m/s.

    >>> round(flow_l_min(1.5, 50.0), 1)
    176.7
    """
    check("velocity", velocity, 0.0, unit="m/s")
    check("bore", bore_mm, 0.0, unit="mm", above=True)
    return velocity * 60_000 * math.pi / 4 * (bore_mm / 1000) ** 2


def bore_for_velocity_mm(flow: float, velocity: float) -> float:
    """Bore at which a flow in L/min runs at a velocity in m/s.

    >>> round(bore_for_velocity_mm(176.7, 1.5), 1)
    50.0
    """
    check("flow", flow, 0.0, unit="L/min")
    check("velocity", velocity, 0.0, unit="m/s", above=True)
    return 1000 * math.sqrt(flow / 60_000 / velocity * 4 / math.pi)


def reynolds(
    flow: float, bore_mm: float, density_kg_m3: float = 1000.0, viscosity_mpa_s: float = 1.0
) -> float:
    """Reynolds number of a flow in L/min.

    >>> round(reynolds(100.0, 50.0))
    42441
    """
    check("viscosity", viscosity_mpa_s, 0.0, unit="mPa.s", above=True)
    check("density", density_kg_m3, 0.0, unit="kg/m3", above=True)
    return density_kg_m3 * velocity_m_s(flow, bore_mm) * bore_mm / viscosity_mpa_s


def friction(reynolds_number: float, relative_roughness: float) -> tuple[float, float]:
    """Darcy friction factor over laminar, passing and turbulent flow, and its slope d f / d Re.

    f = 8 ((8/Re)^12 + (A + B)^-1.5)^(1/12), A = (2.457 ln(1/((7/Re)^0.9 + 0.27 e/d)))^16,
    B = (37530/Re)^16; 64/Re below 100, where it is the same. Compiled by the liquid network.
    Source: Churchill, Chemical Engineering 84, 1977 (from memory).
    """
    if reynolds_number < 100.0:
        return 64.0 / reynolds_number, -64.0 / (reynolds_number * reynolds_number)
    part = (7.0 / reynolds_number) ** 0.9
    rough = part + 0.27 * relative_roughness
    log = math.log(1.0 / rough)
    a = (2.457 * log) ** 16
    b = (37_530.0 / reynolds_number) ** 16
    da = 16.0 * a / log * 0.9 * part / (rough * reynolds_number)
    db = -16.0 * b / reynolds_number
    low = (8.0 / reynolds_number) ** 12
    high = (a + b) ** -1.5
    f = 8.0 * (low + high) ** (1.0 / 12.0)
    inner = -12.0 * low / reynolds_number - 1.5 * high * (da + db) / (a + b)
    return f, f / 12.0 * inner / (low + high)


def friction_factor(reynolds_number: float, relative_roughness: float = 0.0) -> float:
    """Darcy friction factor by `friction`. Re above 0, e/d 0-0.05.

    >>> round(friction_factor(1e5, 0.0003), 4)
    0.0194
    """
    check("Reynolds number", reynolds_number, 0.0, above=True)
    check("relative roughness", relative_roughness, 0.0, 0.05)
    return friction(reynolds_number, relative_roughness)[0]


def drop_kpa(
    flow: float,
    length_m: float,
    bore_mm: float,
    density_kg_m3: float = 1000.0,
    viscosity_mpa_s: float = 1.0,
    roughness_mm: float = 0.015,
    minor_k: float = 0.0,
) -> float:
    """Friction of a full pipe: (f l/d + K) rho v^2/2, Darcy with Churchill's factor.

    `length_m` may include fittings as equivalent length; `minor_k` adds loss coefficients.

    >>> round(drop_kpa(100.0, 10.0, 50.0), 2)
    1.62
    """
    check("length", length_m, 0.0, unit="m")
    check("loss coefficient", minor_k, 0.0)
    if flow == 0.0:
        return 0.0
    number = reynolds(flow, bore_mm, density_kg_m3, viscosity_mpa_s)
    factor = friction_factor(number, roughness_mm / bore_mm)
    head = density_kg_m3 * velocity_m_s(flow, bore_mm) ** 2 / 2000.0
    return (factor * length_m * 1000 / bore_mm + minor_k) * head


def static_kpa(head_m: float, density_kg_m3: float = 1030.0) -> float:
    """Pressure of a head of liquid: rho g h.

    >>> round(static_kpa(2.0), 2)
    20.2
    """
    check("density", density_kg_m3, 0.0, unit="kg/m3", above=True)
    return density_kg_m3 * GRAVITY_M_S2 * head_m / 1000


def pump_power_kw(flow: float, pressure_kpa: float, efficiency: float = 0.5) -> float:
    """Shaft power of a liquid pump: q dp / eta, q in L/min.

    >>> pump_power_kw(300.0, 200.0)
    2.0
    """
    check("flow", flow, 0.0, unit="L/min")
    check("pressure", pressure_kpa, 0.0, unit="kPa")
    check("efficiency", efficiency, 0.0, 1.0, above=True)
    return flow / 60_000 * pressure_kpa / efficiency
