"""What a wash meets on its way round: steel to warm, bare surface, air drawn through it.

One owner: sizing judges the coldest day with it, the simulated day steps with it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from byrewright.physics.air import ambient_pressure_kpa_abs, slug_air_l_min_free
from byrewright.physics.cleaning import slug_time_s
from byrewright.plant.plant import Plant
from byrewright.plant.primitives import HoldsVacuum
from byrewright.plant.programme import programme_of
from byrewright.plant.roles import CollectsMilk, InjectsAir
from byrewright.standards.rulebook import Rulebook

STEEL_KJ_KG_K = 0.5


@dataclass(frozen=True, slots=True)
class WashCircuit:
    """Steel, kg; loss of lines and units, kW/K; mean free air through the wash, L/min, that leaves
    at a pressure, kPa, partly saturated."""

    steel_kg: float
    ua_kw_k: float
    air_l_min_free: float
    kpa_abs: float
    wet_share: float

    @property
    def steel_kj_k(self) -> float:
        return STEEL_KJ_KG_K * self.steel_kg


def wash_circuit(plant: Plant, rules: Rulebook) -> WashCircuit:
    """The wash's way round of a plant."""
    n = rules.number
    units = programme_of(plant, rules).wash.units
    area = line_area_m2(plant)
    surface = area + units * n("wash.unit_area_m2")
    ambient = ambient_pressure_kpa_abs(plant.site.altitude_m)
    vacuum = next((p.set_kpa for tag in sorted(plant.equipment)
                   for p in plant.equipment[tag].lower() if isinstance(p, HoldsVacuum)),
                  n("vacuum.nominal_kpa"))  # fmt: skip
    return WashCircuit(
        area * n("wash.steel_kg_m2") + units * n("wash.unit_kg"),
        surface * n("wash.line_u_w_m2k") / 1000,
        _air_l_min_free(plant, rules, units, vacuum, ambient), ambient - vacuum,
        n("wash.air_wet_share"),
    )  # fmt: skip


def line_area_m2(plant: Plant) -> float:
    """Wall of the milkline and of every milk and wash pipe, m2."""
    lines = [(m.bore_mm, m.length_m * m.count) for m in plant.machines(CollectsMilk)]
    lines += [(p.bore_mm, p.length_m) for p in plant.pipes
              if plant.service_of(p) in ("milk", "wash")]  # fmt: skip
    return math.pi * sum(bore / 1000 * length for bore, length in lines)


def _air_l_min_free(plant: Plant, rules: Rulebook, units: int, vacuum_kpa: float,
                    ambient_kpa: float) -> float:  # fmt: skip
    """Air drawn through the wash on average: at the units, and behind slugs while they run."""
    n = rules.number
    through = units * n("wash.unit_air_l_min")
    if not plant.machines(InjectsAir):
        return through
    velocity, minutes = n("wash.slug_velocity_m_s"), n("wash.main_min")
    for line in plant.machines(CollectsMilk):
        leg = line.length_m / 2 if line.looped else line.length_m
        open_s = slug_time_s(leg, velocity) * n("wash.slug_count")
        air = slug_air_l_min_free(line.bore_mm, velocity, vacuum_kpa, ambient_kpa)
        through += air * min(1.0, open_s / (60 * minutes))
    return through
