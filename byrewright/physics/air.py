"""Vacuum plant: reserve, pump capacity, altitude, airlines, slugs and evacuation."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from byrewright.physics.constants import STANDARD_AMBIENT_KPA_ABS
from byrewright.physics.errors import PhysicsRangeError, check
from byrewright.standards.rulebook import Rulebook, default_rulebook
from byrewright.standards.units import convert

_DROP_COEFFICIENT = 27.8
_FLOW_EXPONENT = 1.75
_BORE_EXPONENT = 4.75
_DROP_REFERENCE_KPA_ABS = 50.0


WARMEST_H = 15.0
"""Warmest hour of a day (common practice, no source)."""


def ambient_pressure_kpa_abs(altitude_m: float) -> float:
    """Ambient pressure: p = 101.325 (1 - 2.25577e-5 h)^5.25588.

    Valid -500 to 11 000 m. Source: ICAO standard atmosphere (from memory).

    >>> round(ambient_pressure_kpa_abs(2000.0), 2)
    79.5
    """
    check("altitude", altitude_m, -500.0, 11_000.0, "m")
    return STANDARD_AMBIENT_KPA_ABS * float((1.0 - 2.25577e-5 * altitude_m) ** 5.25588)


def outside_c(hour: float, mean_c: float, swing_k: float) -> float:
    """Ambient at an hour of the day: a mean and one swing a day, warmest at three.

    Common practice, no source. Compiled by the day too.

    >>> outside_c(15.0, 18.0, 5.0), outside_c(3.0, 18.0, 5.0)
    (23.0, 13.0)
    """
    return mean_c + swing_k * math.cos(2.0 * math.pi * (hour - WARMEST_H) / 24.0)


def _reserve(units: int, row: str, rules: Rulebook | None) -> float:
    rules = rules or default_rulebook()
    check("number of units", units, 1, 1000)
    edge = rules.number("vacuum.reserve.iso.break_units")
    root = f"vacuum.reserve.iso.{row}"
    if units <= edge:
        small = rules.number(f"{root}.small_per_unit_l_min")
        return rules.number(f"{root}.small_base_l_min") + small * units
    large = rules.number(f"{root}.large_per_unit_l_min")
    return rules.number(f"{root}.large_base_l_min") + large * (units - edge)


def reserve_iso_l_min_free(units: int, shut_off: bool, rules: Rulebook | None = None) -> float:
    """Effective reserve of a pipeline plant, ISO form: base + per-unit share, two slopes.

    Source: ISO 5707:2007 Annex A, from memory; check the text. Never mix with the US rule.

    Args:
        units: milking units, 1 to 1000.
        shut_off: whether the clusters shut themselves off when they fall.

    >>> reserve_iso_l_min_free(12, True), reserve_iso_l_min_free(8, False)
    (520.0, 640.0)
    """
    return float(_reserve(units, "shutoff" if shut_off else "open", rules))


def reserve_us_l_min_free(units: int, rules: Rulebook | None = None) -> float:
    """Effective reserve, US rule: 35 + n cfm at the receiver (Cornell lecture 2018, read).

    >>> round(reserve_us_l_min_free(32))
    1897
    """
    rules = rules or default_rulebook()
    check("number of units", units, 1, 1000)
    base, each = (rules.number(f"vacuum.reserve.us.{k}_cfm") for k in ("base", "per_unit"))
    return convert(base + each * units, "cfm", "L/min")


def pump_us_l_min_free(units: int, rules: Rulebook | None = None) -> float:
    """Pump capacity, US rule: 35 + 3 n cfm at the pump (US extension, read).

    >>> round(pump_us_l_min_free(32), 1)
    3709.5
    """
    rules = rules or default_rulebook()
    check("number of units", units, 1, 1000)
    base, each = (rules.number(f"vacuum.pump.us.{k}_cfm") for k in ("base", "per_unit"))
    return convert(base + each * units, "cfm", "L/min")


def manual_reserve_l_min_free(effective_l_min_free: float, rules: Rulebook | None = None) -> float:
    """Manual reserve that leaves the effective one: q/0.90, or q + 35 where that is more.

    The loss allowed is the larger of 35 L/min and 10 % of the manual reserve.
    Source: ISO 5707:2007 Annex B, from memory.

    >>> round(manual_reserve_l_min_free(520.0), 1)
    577.8
    """
    rules = rules or default_rulebook()
    check("effective reserve", effective_l_min_free, 0.0, unit="L/min")
    share = rules.number("vacuum.regulation_loss_share")
    floor = rules.number("vacuum.regulation_loss_floor_l_min")
    return max(effective_l_min_free / (1.0 - share), effective_l_min_free + floor)


def altitude_factor(
    pump_vacuum_kpa: float, ambient_kpa_abs: float, rules: Rulebook | None = None
) -> float:
    """Nominal capacity over capacity at inlet: H = (1 - 50/90) / (1 - p/(0.9 p_a)).

    Reproduces the recalled ISO 5707 Annex B table to two decimals (formula derived). For vane
    pumps: lobe pumps are limited by discharge temperature, liquid-ring pumps by their water.
    Measured pumps lay within about 6 percentage points of it (Unal et al. 2017).

    Raises:
        PhysicsRangeError: the pump cannot reach that vacuum at that ambient.

    >>> round(altitude_factor(45.0, 90.0), 2)
    1.0
    """
    rules = rules or default_rulebook()
    check("ambient pressure", ambient_kpa_abs, 20.0, 110.0, "kPa")
    share = rules.number("vacuum.pump_zero_flow_share")
    check("pump vacuum", pump_vacuum_kpa, 0.0, 0.98 * share * ambient_kpa_abs, "kPa")
    nominal = rules.number("vacuum.pump_nominal_vacuum_kpa")
    rated = 1.0 - nominal / (share * rules.number("vacuum.pump_nominal_ambient_kpa"))
    return rated / (1.0 - pump_vacuum_kpa / (share * ambient_kpa_abs))


def nominal_pump_l_min_free(
    capacity_l_min_free: float, at_vacuum_kpa: float, rules: Rulebook | None = None
) -> float:
    """A data plate's capacity at the nominal vacuum, both at the ambient of data plates.

    >>> round(nominal_pump_l_min_free(1000.0, 40.0))
    800
    """
    rules = rules or default_rulebook()
    ambient = rules.number("vacuum.pump_nominal_ambient_kpa")
    return capacity_l_min_free * altitude_factor(at_vacuum_kpa, ambient, rules)


def pump_correction(
    pump_vacuum_kpa: float, ambient_kpa_abs: float, rules: Rulebook | None = None
) -> float:
    """Nominal capacity to install over capacity at inlet: H (1 + m (1 - p_a/p_n)) in thin air.

    H alone would have left one of two measured pumps short at 38 kPa and 2000 m (Unal et al.
    2017), so a margin m grows with the lack of ambient pressure; none at nominal ambient.

    >>> round(pump_correction(45.0, 90.0) / altitude_factor(45.0, 90.0), 3)
    1.025
    """
    rules = rules or default_rulebook()
    lack = max(0.0, 1.0 - ambient_kpa_abs / rules.number("vacuum.pump_nominal_ambient_kpa"))
    margin = 1.0 + rules.number("vacuum.altitude_margin") * lack
    return altitude_factor(pump_vacuum_kpa, ambient_kpa_abs, rules) * margin


@dataclass(frozen=True, slots=True)
class PumpCapacity:
    """Pump capacity item by item, L/min of free air."""

    effective_reserve_l_min_free: float
    regulation_allowance_l_min_free: float
    units_l_min_free: float
    ancillary_l_min_free: float
    milk_leakage_l_min_free: float
    system_leakage_l_min_free: float
    at_inlet_l_min_free: float
    altitude_factor: float
    nominal_l_min_free: float

    @property
    def manual_reserve_l_min_free(self) -> float:
        """Reserve without the regulator."""
        return self.effective_reserve_l_min_free + self.regulation_allowance_l_min_free


def pump_capacity(
    *,
    units: int,
    unit_air_l_min_free: float,
    effective_reserve_l_min_free: float,
    ancillary_l_min_free: float = 0.0,
    pump_vacuum_kpa: float = 50.0,
    ambient_kpa_abs: float = 100.0,
    correction: float | None = None,
    rules: Rulebook | None = None,
) -> PumpCapacity:
    """Pump capacity for milking: q = (q_man + n q_unit + q_anc + 10 + 2 n) / 0.95, times H.

    Source: order and rates of ISO 5707:2007 Annex B, from memory. Whether the text takes leakage
    before or after the altitude correction is not verified. Cleaning is worked out apart and the
    larger governs. `correction` replaces H of the standard (see `pump_correction`).

    >>> r = pump_capacity(units=12, unit_air_l_min_free=40, effective_reserve_l_min_free=520,
    ...                   pump_vacuum_kpa=45)
    >>> round(r.at_inlet_l_min_free, 1), round(r.nominal_l_min_free, 1)
    (1149.2, 1021.5)
    """
    rules = rules or default_rulebook()
    check("number of units", units, 1, 1000)
    check("air of a unit", unit_air_l_min_free, 0.0, unit="L/min")
    check("ancillary air", ancillary_l_min_free, 0.0, unit="L/min")
    manual = manual_reserve_l_min_free(effective_reserve_l_min_free, rules)
    each = rules.number("vacuum.milk_leak_per_unit_l_min")
    leak = rules.number("vacuum.milk_leak_base_l_min") + each * units
    taken = manual + units * unit_air_l_min_free + ancillary_l_min_free + leak
    at_inlet = taken / (1.0 - rules.number("vacuum.system_leak_share"))
    factor = correction or altitude_factor(pump_vacuum_kpa, ambient_kpa_abs, rules)
    return PumpCapacity(
        effective_reserve_l_min_free=effective_reserve_l_min_free,
        regulation_allowance_l_min_free=manual - effective_reserve_l_min_free,
        units_l_min_free=units * unit_air_l_min_free,
        ancillary_l_min_free=ancillary_l_min_free,
        milk_leakage_l_min_free=leak,
        system_leakage_l_min_free=at_inlet - taken,
        at_inlet_l_min_free=at_inlet,
        altitude_factor=factor,
        nominal_l_min_free=at_inlet * factor,
    )


def _line(bore_mm: float, length_m: float, vacuum_kpa: float, ambient_kpa_abs: float) -> float:
    check("bore", bore_mm, 0.0, unit="mm", above=True)
    check("length", length_m, 0.0, unit="m")
    check("vacuum", vacuum_kpa, 0.0, 0.95 * ambient_kpa_abs, "kPa")
    return _DROP_REFERENCE_KPA_ABS / (ambient_kpa_abs - vacuum_kpa)


def airline_bore_mm(
    flow_l_min_free: float,
    length_m: float,
    drop_kpa: float,
    vacuum_kpa: float = 50.0,
    ambient_kpa_abs: float = 100.0,
) -> float:
    """Least bore of a smooth airline: dp = 27.8 l q^1.75 / d^4.75 x 50/(p_a - p), solved for d.

    `length_m` is the equivalent length. Valid for turbulent flow and drops small beside the
    absolute pressure. Source: ISO 5707:2007 annex, from memory; the coefficient is confirmed
    by Darcy with the Blasius factor (derived). The correction to other vacuums is derived. Free air
    counts as at 100 kPa, so in thin air the bore comes out wider than it need be.

    >>> round(airline_bore_mm(2690, 10, 1.0), 1)
    60.0
    """
    check("airflow", flow_l_min_free, 0.0, unit="L/min")
    check("drop", drop_kpa, 0.0, unit="kPa", above=True)
    thin = _line(1.0, length_m, vacuum_kpa, ambient_kpa_abs)
    base = _DROP_COEFFICIENT * length_m * flow_l_min_free**_FLOW_EXPONENT * thin / drop_kpa
    return float(base ** (1.0 / _BORE_EXPONENT))


def equivalent_length_m(
    bore_mm: float,
    length_m: float,
    fittings: Mapping[str, int] | None = None,
    rules: Rulebook | None = None,
) -> float:
    """Pipe length plus fittings: each adds its number of bores (handbook values, from memory).

    `fittings` counts by name: bend, elbow, tee_through, tee_branch.

    Raises:
        PhysicsRangeError: a fitting is not known.

    >>> round(equivalent_length_m(100.0, 10.0, {"bend": 2}), 2)
    13.6
    """
    rules = rules or default_rulebook()
    check("bore", bore_mm, 0.0, unit="mm", above=True)
    check("length", length_m, 0.0, unit="m")
    bores = 0.0
    for name, count in (fittings or {}).items():
        key = f"fitting.{name}_diameters"
        if key not in rules:
            known = [k.removeprefix("fitting.").removesuffix("_diameters")
                     for k in rules if k.startswith("fitting.")]  # fmt: skip
            raise PhysicsRangeError(f"no fitting is called {name!r}; use {', '.join(known)}")
        check(f"number of {name}", count, 0)
        bores += count * rules.number(key)
    return length_m + bores * bore_mm / 1000.0


def slug_air_l_min_free(
    bore_mm: float, velocity_m_s: float, vacuum_kpa: float, ambient_kpa_abs: float = 100.0
) -> float:
    """Free air that pushes a wash slug: q = (pi/4) d^2 v (p_a - p)/p_a.

    Derived from geometry and Boyle's law; the same form is recalled from ISO 5707 Annex B.

    >>> round(slug_air_l_min_free(73.0, 8.0, 42.0))
    1165
    """
    check("velocity", velocity_m_s, 0.0, 30.0, "m/s")
    _line(bore_mm, 0.0, vacuum_kpa, ambient_kpa_abs)
    area_m2 = math.pi / 4 * (bore_mm / 1000) ** 2
    return area_m2 * velocity_m_s * 60_000 * (ambient_kpa_abs - vacuum_kpa) / ambient_kpa_abs


def line_reserve_l_free(volume_l: float, fall_kpa: float, ambient_kpa_abs: float = 100.0) -> float:
    """Free air a closed volume takes up while its vacuum falls: V dp / p_a (isothermal).

    A large bore damps; it is no reserve.

    >>> line_reserve_l_free(1000.0, 2.0)
    20.0
    """
    check("volume", volume_l, 0.0, unit="L")
    check("fall", fall_kpa, 0.0, ambient_kpa_abs, "kPa")
    return volume_l * fall_kpa / ambient_kpa_abs


def vane_pump_l_min_free(
    nominal_l_min_free: float,
    vacuum_kpa: float,
    ambient_kpa_abs: float = 100.0,
    rules: Rulebook | None = None,
) -> float:
    """Free air moved by a vane pump at a vacuum: nominal / H; nothing beyond its greatest vacuum.

    >>> round(vane_pump_l_min_free(1000.0, 42.0))
    1200
    """
    rules = rules or default_rulebook()
    check("nominal capacity", nominal_l_min_free, 0.0, unit="L/min")
    check("vacuum", vacuum_kpa, 0.0, ambient_kpa_abs, "kPa")
    at_zero = nominal_l_min_free / altitude_factor(0.0, ambient_kpa_abs, rules)
    greatest = rules.number("vacuum.pump_zero_flow_share") * ambient_kpa_abs
    return at_zero * max(0.0, 1.0 - vacuum_kpa / greatest)
