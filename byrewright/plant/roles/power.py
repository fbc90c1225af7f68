"""Roles in compressed air, power and control."""

from __future__ import annotations

from typing import Literal

from byrewright.plant.roles.base import Role


class CompressesAir(Role):
    """Makes compressed air."""

    ROLE = "makes air"
    BUILDING_CLASS = "IfcCompressor"

    capacity_l_min_free: float
    motor_kw: float


class DriesAir(Role):
    """Dries compressed air."""

    ROLE = "dries air"
    BUILDING_CLASS = "IfcFilter.COMPRESSEDAIRFILTER"

    capacity_l_min_free: float
    dew_point_c: float
    motor_kw: float


class KeepsAir(Role):
    """Stores compressed air for the machines that it moves."""

    ROLE = "stores air"
    BUILDING_CLASS = "IfcTank.PRESSUREVESSEL"

    volume_l: float
    highest_bar: float
    lowest_bar: float
    serves_bar: float


class SuppliesPower(Role):
    """The public supply."""

    ROLE = "supplies power"

    supply_kva: float
    phases: Literal[1, 3]


class SharesPower(Role):
    """A board that feeds machines."""

    ROLE = "shares power"
    BUILDING_CLASS = "IfcElectricDistributionBoard.SWITCHBOARD"

    rating_a: float | None
    essential: bool


class GeneratesPower(Role):
    """Makes power when the public supply is lost."""

    ROLE = "generates power"
    BUILDING_CLASS = "IfcElectricGenerator.ENGINEGENERATOR"

    rating_kva: float
    reactance_pu: float
    start_s: float
    start_by: Literal["automatic", "hand", "tractor"]
    fuel_l: float


class BridgesPower(Role):
    """Carries controls through a loss of the supply."""

    ROLE = "bridges power"
    BUILDING_CLASS = "IfcElectricFlowStorageDevice.UPS"

    rating_kva: float
    hold_min: float


class Controls(Role):
    """Runs valves and pumps."""

    ROLE = "controls"
    BUILDING_CLASS = "IfcController.PROGRAMMABLE"

    motor_kw: float


class Senses(Role):
    """Measures something on another machine."""

    ROLE = "senses"
    BUILDING_CLASS = "IfcSensor"

    measures: Literal["vacuum", "pressure", "level", "flow", "temperature", "conductivity",
                      "current", "speed", "position", "presence"]  # fmt: skip
    on: str
    at_port: str | None


class TellsPeople(Role):
    """Sounds or shows an alarm where people work."""

    ROLE = "tells people"
    BUILDING_CLASS = "IfcAlarm.SIREN"

    motor_kw: float
