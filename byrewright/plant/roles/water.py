"""Roles in water and washing."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal

from byrewright.plant.roles.base import Role

RECOVERS: Mapping[str, tuple[str, str]] = {
    "desuperheater": ("recovery.desuperheater_share", "recovery.desuperheater_most_c"),
    "condenser": ("recovery.condenser_share", "recovery.condenser_most_c"),
}
"""Rules of the share of a condenser's heat, and of the warmest water, by what is taken."""


class GivesWater(Role):
    """Where water comes from."""

    ROLE = "gives water"

    flow_l_min: float


class MovesWater(Role):
    """Pushes water, wash or a chilled liquid."""

    ROLE = "moves water"
    BUILDING_CLASS = "IfcPump"

    flow_l_min: float
    head_m: float
    motor_kw: float
    speed: Literal["fixed", "variable"]


class BuffersWater(Role):
    """A tank between the source and the users, or for warm water from the cooler."""

    ROLE = "buffers water"
    BUILDING_CLASS = "IfcTank.STORAGE"

    volume_l: float
    holds: Literal["fresh", "recovered"]
    inlet_air_gap: bool | None


class ProtectsWater(Role):
    """Keeps what lies behind it from flowing back into the water before it."""

    ROLE = "protects water"
    BUILDING_CLASS = "IfcValve"

    def protects(self) -> int:
        """Highest fluid category that it keeps back (1 drinking water to 5 germs)."""
        raise NotImplementedError


class SoftensWater(Role):
    """Takes the hardness out of water."""

    ROLE = "softens water"

    flow_l_min: float
    capacity_mol: float
    salt_kg: float


class FiltersWater(Role):
    """Strains water."""

    ROLE = "filters water"
    BUILDING_CLASS = "IfcFilter.WATERFILTER"

    flow_l_min: float


class HeatsWater(Role):
    """Heats and stores wash water."""

    ROLE = "heats water"
    BUILDING_CLASS = "IfcElectricAppliance.FREESTANDINGWATERHEATER"

    volume_l: float
    heater_kw: float
    set_c: float
    fuel: Literal["electric", "gas", "oil"]


class RecoversHeat(Role):
    """Warms water with the heat that refrigeration gives off."""

    ROLE = "recovers heat"
    BUILDING_CLASS = "IfcHeatExchanger"

    volume_l: float
    takes: Literal["desuperheater", "condenser"]
    takes_from: tuple[str, ...]


class MakesUpWash(Role):
    """Where wash liquid is made up and comes back to."""

    ROLE = "gives wash"
    BUILDING_CLASS = "IfcTank.BASIN"

    volume_l: float
    inlet_air_gap: bool | None


class DosesWash(Role):
    """Doses a product into the wash."""

    ROLE = "doses wash"
    BUILDING_CLASS = "IfcPump"

    dose_ml_l: float
    motor_kw: float


class InjectsAir(Role):
    """Lets slugs of air into the milkline while it is washed."""

    ROLE = "injects air"
    BUILDING_CLASS = "IfcValve"

    bore_mm: float
