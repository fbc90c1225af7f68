"""Compressed air: cylinders, receivers, leaks, orifices, dryers."""

from __future__ import annotations

import math

from byrewright.physics.constants import (
    AIR_GAMMA,
    AIR_GAS_CONSTANT_J_KGK,
    KELVIN_AT_0_C,
    STANDARD_AMBIENT_KPA_ABS,
)
from byrewright.physics.errors import check
from byrewright.standards.rulebook import Rulebook, default_rulebook

ATMOSPHERE_BAR = STANDARD_AMBIENT_KPA_ABS / 100.0
_CRITICAL_RATIO = (2 / (AIR_GAMMA + 1)) ** (AIR_GAMMA / (AIR_GAMMA - 1))


def stroke_l_free(
    bore_mm: float,
    stroke_mm: float,
    gauge_bar: float,
    rod_mm: float = 0.0,
    atmosphere_bar: float = ATMOSPHERE_BAR,
) -> float:
    """Free air of one stroke: A L (p_g + p_atm)/p_atm; with a rod, of the rod side.

    Source: standard practice (from memory); the worked figures are derived.

    >>> round(stroke_l_free(63, 100, 6.0), 3), round(stroke_l_free(63, 100, 6.0, 20), 3)
    (2.158, 1.94)
    """
    check("bore", bore_mm, 0.0, unit="mm", above=True)
    check("rod", rod_mm, 0.0, bore_mm, "mm")
    check("stroke", stroke_mm, 0.0, unit="mm")
    check("pressure", gauge_bar, 0.0, 20.0, "bar")
    litres = math.pi / 4 * (bore_mm**2 - rod_mm**2) * stroke_mm / 1e6
    return litres * (gauge_bar + atmosphere_bar) / atmosphere_bar


def cycle_l_free(
    bore_mm: float,
    stroke_mm: float,
    gauge_bar: float,
    rod_mm: float = 0.0,
    hose_l: float = 0.0,
    double_acting: bool = True,
    atmosphere_bar: float = ATMOSPHERE_BAR,
) -> float:
    """Free air of a whole cycle, with the hose filled on each powered stroke.

    >>> round(cycle_l_free(63, 100, 6.0, 20), 3)
    4.098
    """
    check("hose content", hose_l, 0.0, unit="L")
    out = stroke_l_free(bore_mm, stroke_mm, gauge_bar, 0.0, atmosphere_bar)
    hose = hose_l * gauge_bar / atmosphere_bar
    if not double_acting:
        return out + hose
    back = stroke_l_free(bore_mm, stroke_mm, gauge_bar, rod_mm, atmosphere_bar)
    return out + back + 2 * hose


def receiver_volume_l(
    minutes: float,
    drawn_l_min_free: float,
    supplied_l_min_free: float,
    from_bar: float,
    to_bar: float,
    atmosphere_bar: float = ATMOSPHERE_BAR,
) -> float:
    """Receiver that covers a draw: V = t (q_out - q_in) p_atm/(p1 - p2).

    Source: US DOE tool documentation and calculation sheet (read).

    >>> round(receiver_volume_l(5, 350 * 28.3168, 250 * 28.3168, 6.8948, 4.1369, 1.01353))
    5203
    """
    check("time", minutes, 0.0, unit="min")
    check("pressure band", from_bar - to_bar, 0.0, unit="bar", above=True)
    short = max(0.0, drawn_l_min_free - supplied_l_min_free)
    return minutes * short * atmosphere_bar / (from_bar - to_bar)


def cycling_receiver_l(
    compressor_l_min_free: float,
    starts_per_h: float,
    band_bar: float,
    atmosphere_bar: float = ATMOSPHERE_BAR,
) -> float:
    """Receiver of a load/unload machine: V = 0.25 q p_atm/(f dp), worst at half load.

    Source: from memory; the factor follows from load x(1-x) at x = 1/2 (derived).

    >>> round(cycling_receiver_l(500.0, 10.0, 1.0))
    760
    """
    check("compressor output", compressor_l_min_free, 0.0, unit="L/min")
    check("starts an hour", starts_per_h, 0.0, above=True)
    check("pressure band", band_bar, 0.0, unit="bar", above=True)
    return 0.25 * compressor_l_min_free * 60 / starts_per_h * atmosphere_bar / band_bar


def orifice_kg_s(
    diameter_mm: float,
    upstream_kpa_abs: float,
    downstream_kpa_abs: float,
    upstream_c: float = 20.0,
    coefficient: float = 1.0,
) -> float:
    """Air through a hole, choked or not (isentropic nozzle, gamma 1.4).

    Choked below p2/p1 = 0.528: m = C A p1 sqrt(g/(R T)) (2/(g+1))^((g+1)/(2(g-1))).
    Source: textbook gas dynamics.

    >>> round(orifice_kg_s(10.0, 100.0, 50.0) * 1000, 1)
    18.5
    """
    check("hole", diameter_mm, 0.0, unit="mm")
    check("upstream pressure", upstream_kpa_abs, 0.0, unit="kPa", above=True)
    check("downstream pressure", downstream_kpa_abs, 0.0, upstream_kpa_abs, "kPa")
    check("coefficient", coefficient, 0.0, 1.0)
    g, r, kelvin = AIR_GAMMA, AIR_GAS_CONSTANT_J_KGK, upstream_c + KELVIN_AT_0_C
    area = math.pi / 4 * (diameter_mm / 1000) ** 2
    ratio = max(downstream_kpa_abs / upstream_kpa_abs, _CRITICAL_RATIO)
    inner = 2 * g / (g - 1) * (ratio ** (2 / g) - ratio ** ((g + 1) / g))
    return coefficient * area * upstream_kpa_abs * 1000 * math.sqrt(max(0.0, inner) / (r * kelvin))


def kg_s_to_l_min_free(flow_kg_s: float, ambient_kpa_abs: float, ambient_c: float = 20.0) -> float:
    """A mass flow of air as free air at ambient.

    >>> round(kg_s_to_l_min_free(0.0185, 100.0))
    934
    """
    check("ambient pressure", ambient_kpa_abs, 0.0, unit="kPa", above=True)
    density = ambient_kpa_abs * 1000 / (AIR_GAS_CONSTANT_J_KGK * (ambient_c + KELVIN_AT_0_C))
    return flow_kg_s / density * 60_000


def opening_into_vacuum_l_min_free(
    diameter_mm: float, vacuum_kpa: float, ambient_kpa_abs: float = 100.0, coefficient: float = 0.62
) -> float:
    """Free air drawn in through an opening, such as a fallen unit.

    >>> round(opening_into_vacuum_l_min_free(14.0, 42.0))
    1131
    """
    check("vacuum", vacuum_kpa, 0.0, ambient_kpa_abs, "kPa")
    inside = ambient_kpa_abs - vacuum_kpa
    return kg_s_to_l_min_free(
        orifice_kg_s(diameter_mm, ambient_kpa_abs, inside, 20.0, coefficient), ambient_kpa_abs
    )


def dryer_nominal_l_min_free(
    flow_l_min_free: float, inlet_c: float, gauge_bar: float, rules: Rulebook | None = None
) -> float:
    """Nominal dryer capacity for a flow: q / (F_inlet F_pressure), ambient 25 degC.

    F_inlet falls straight from 1 at 35 to 0.83 at 40 and 0.70 at 45 degC; F_pressure is the
    absolute pressure ratio to the power 0.5. Reference ISO 7183 option A1 (from memory); factors
    from memory.

    >>> round(dryer_nominal_l_min_free(500.0, 40.0, 7.0))
    602
    """
    rules = rules or default_rulebook()
    check("dryer inlet", inlet_c, 0.0, 45.0, "degC")
    check("pressure", gauge_bar, 3.0, 13.0, "bar")
    at_40, at_45 = (rules.number(f"dryer.factor_inlet_{t}") for t in (40, 45))
    base = rules.number("dryer.reference_inlet_c")
    warm = 1.0
    if inlet_c > 40.0:
        warm = at_40 + (at_45 - at_40) * (inlet_c - 40.0) / 5.0
    elif inlet_c > base:
        warm = 1.0 + (at_40 - 1.0) * (inlet_c - base) / (40.0 - base)
    ratio = (gauge_bar + 1.0) / (rules.number("dryer.reference_bar") + 1.0)
    return flow_l_min_free / (warm * float(ratio ** rules.number("dryer.pressure_exponent")))
