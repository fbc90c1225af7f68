"""The range that a formula states is kept: its ends are answered, what lies beyond is refused."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from byrewright.physics import (
    air,
    airflow,
    altitude,
    cleaning,
    demand,
    heat,
    milk,
    milkline,
    motion,
    pipeflow,
    pneumatics,
    refrigeration,
    throughput,
    wash_heat,
)
from byrewright.physics.errors import PhysicsRangeError

BEYOND = 1e-3  # of an end (of 1 where the end is 0): no formula's end is that near to another


@pytest.mark.parametrize(
    ("formula", "lowest", "highest"),
    [
        # The troposphere of the standard atmosphere, from below the Dead Sea up.
        (air.ambient_pressure_kpa_abs, -500.0, 11_000.0),
        (altitude.motor_share, -500.0, 5000.0),
        (lambda v: air.slug_air_l_min_free(50.0, v, 50.0), 0.0, 30.0),
        (lambda p: airflow.air_density_kg_m3(p, 20.0), None, 1000.0),
        (lambda t: airflow.air_density_kg_m3(100.0, t), -60.0, 120.0),
        (airflow.air_viscosity_pa_s, -60.0, 300.0),
        # A share of the energy is lost, never won.
        (lambda e: heat.heating_energy_kwh(100.0, 15.0, 60.0, e), None, 1.2),
        (lambda t: heat.heating_energy_kwh(100.0, 15.0, t), 15.0, 120.0),
        (lambda e: heat.heater_power_kw(10.0, 6.0, e), None, 1.2),
        (lambda e: airflow.pump_power_kw(9000.0, 1.0, 50.0, 100.0, e), None, 1.0),
        (lambda e: airflow.discharge_temperature_c(20.0, 58.0, 101.0, e), None, 1.0),
        (lambda e: pipeflow.pump_power_kw(300.0, 200.0, e), None, 1.0),
        (lambda f: demand.together_kva([(8.0, f)]), None, 1.0),
        (lambda c: pneumatics.orifice_kg_s(10.0, 100.0, 50.0, coefficient=c), 0.0, 1.0),
        (lambda w: wash_heat.wet_air_kw(100.0, 60.0, 58.0, w), 0.0, 1.0),
        (lambda x: throughput.rotation(60, 55, 600.0, 383.0, 129.0, x), 0.0, 1.0),
        # Beyond these the formulas were not made or measured.
        (refrigeration.glycol_freeze_c, 0.0, 50.0),
        (lambda r: pipeflow.friction_factor(1e5, r), 0.0, 0.05),
        (lambda p: pneumatics.stroke_l_free(63, 100, p), 0.0, 20.0),
        (lambda t: wash_heat.wash_return_c(80.0, t, 500.0, 600.0, 15.0, 0.5, 15.0), 0.0, 240.0),
        (wash_heat.saturation_kpa, -10.0, 99.0),
        # Milk is told between ice and boiling.
        (lambda t: milk.heat_kj_per_l(t, 20.0), -1.0, 100.0),
        (lambda t: milk.heat_kj_per_l(20.0, t), -1.0, 100.0),
        (lambda f: milk.milk_viscosity_mpa_s(20.0, f), 0.0, 40.0),
        # An axle stands inside its wheel, and so does where a roller's load comes down.
        (lambda a: motion.resistance_by_arm(200.0, a, 0.5), 0.0, 200.0),
        (lambda a: motion.resistance_by_arm(200.0, 40.0, a), 0.0, 100.0),
        (lambda b: motion.resistance_by_arm(200.0, 40.0, 0.5, b), 0.0, 1.0),
        (lambda f: airflow.gas_space_bore_mm(73.0, f), 0.0, 0.95),
        (lambda p: airflow.pulsation_phases_ms(p, 60.0, 42.0, 1.0, 1.0), 1.0, 200.0),
        (lambda p: airflow.pulsation_phases_ms(60.0, p, 42.0, 1.0, 1.0), 1.0, 99.0),
        (lambda w: cleaning.chemical_l(100.0, w), 0.0, 0.2),
    ],
)
def test_a_stated_range_is_kept(
    formula: Callable[[float], object], lowest: float | None, highest: float
) -> None:
    """A number beyond what a formula was made for would be answered like any other."""
    formula(highest)
    with pytest.raises(PhysicsRangeError):
        formula(highest + BEYOND * max(1.0, abs(highest)))
    if lowest is None:  # above nothing at all
        with pytest.raises(PhysicsRangeError):
            formula(0.0)
        return
    formula(lowest)
    with pytest.raises(PhysicsRangeError):
        formula(lowest - BEYOND * max(1.0, abs(lowest)))


def test_a_milkline_is_told_inside_its_range() -> None:
    """Bores, slopes and vacuum that the method was not made for would be answered all the same."""
    usual = {"milk_l_min": 40.0, "air_l_min_free": 200.0, "bore_mm": 73.0, "slope_pct": 1.0,
             "vacuum_kpa": 42.0, "ambient_kpa_abs": 100.0}  # fmt: skip
    for name, ends in {"bore_mm": (20.0, 200.0), "slope_pct": (None, 5.0),
                       "vacuum_kpa": (0.0, 90.0)}.items():  # fmt: skip
        for end, way in zip(ends, (-1.0, 1.0), strict=True):
            if end is not None:
                milkline.line_flow(**(usual | {name: end}))
                with pytest.raises(PhysicsRangeError):
                    milkline.line_flow(**(usual | {name: end + way * BEYOND * max(1.0, end)}))
