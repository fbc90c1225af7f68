"""Roles on the deck and at the cow."""

from __future__ import annotations

from typing import Literal

from byrewright.plant.machine import Service
from byrewright.plant.primitives import Units
from byrewright.plant.roles.base import Role


class StandsCows(Role):
    """Stalls where cows are milked: a turning deck, or rows."""

    ROLE = "stands cows"

    layout: Literal["rotary", "rows"]
    stalls: int
    rows: int
    facing: Literal["in", "out"]
    turn_s: float
    entry_stalls: float
    rail_radius_m: float | None
    stall_mass_kg: float
    stop_share_pct: float
    joint_kit: bool


class TurnsDeck(Role):
    """Turns the deck."""

    ROLE = "turns deck"
    BUILDING_CLASS = "IfcElectricMotor"

    motor_kw: float
    wheel_mm: float
    contact: Literal["spring", "air", "weight", "rack"]
    efficiency: float


class CarriesDeck(Role):
    """Carries the deck's weight."""

    ROLE = "carries deck"

    diameter_mm: float
    rated_kn: float
    tread: Literal["nylon", "steel", "polyurethane"]


class JoinsDeck(Role):
    """Takes services on to the turning deck."""

    ROLE = "joins deck"
    BUILDING_CLASS = "IfcPipeFitting.CONNECTOR"

    carries: tuple[Service, ...]
    power_rings: int
    bore_mm: float | None
    vacuum_bore_mm: float | None


class BringsCows(Role):
    """Brings waiting cows up."""

    ROLE = "brings cows"

    motor_kw: float
    yard_cows: int | None


class WashesCloths(Role):
    """Washes udder cloths by the load."""

    ROLE = "washes cloths"
    BUILDING_CLASS = "IfcElectricAppliance.WASHINGMACHINE"

    load_kg: float
    cycle_min: float
    motor_kw: float
    water_l_load: float


class DriesCloths(Role):
    """Dries udder cloths by the load."""

    ROLE = "dries cloths"
    BUILDING_CLASS = "IfcElectricAppliance.TUMBLEDRYER"

    load_kg: float
    cycle_min: float
    motor_kw: float


class GivesMilk(Role):
    """Where milk enters the plant, with the air it lets in."""

    ROLE = "gives milk"

    claw_air_l_min_free: float
    shut_off: bool
    fall_off_air_l_min_free: float

    def spouts(self) -> tuple[str, str]:
        """The ports where milk leaves it: that which is sold, and that which is withheld."""
        return next((p.milk, p.withheld) for p in self.lower() if isinstance(p, Units))


class RemovesUnits(Role):
    """Takes units off at the end of flow."""

    ROLE = "removes units"

    moved_by: Literal["vacuum", "air"]
    threshold_kg_min: float
    delay_s: float
    bore_mm: float
    stroke_mm: float
    milking_time_limit_s: float | None


class RinsesUnits(Role):
    """Rinses a unit between cows, with water and air for each."""

    ROLE = "rinses units"

    water_l_cow: float
    air_nl_cow: float


class KeepsWithheld(Role):
    """Takes the milk that must not be sold."""

    ROLE = "keeps withheld milk"
    BUILDING_CLASS = "IfcTank.VESSEL"

    volume_l: float
    way: Literal["bucket", "divert_line"]
