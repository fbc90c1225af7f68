"""Roles in the vacuum."""

from __future__ import annotations

from typing import Literal

from byrewright.plant.roles.base import Role
from byrewright.standards.electrical import StartMethod


class PumpsVacuum(Role):
    """Draws air out of the plant."""

    ROLE = "makes vacuum"
    BUILDING_CLASS = "IfcPump"

    capacity_l_min_free: float
    at_vacuum_kpa: float
    motor_kw: float
    speed: Literal["fixed", "variable"]
    least_speed_pct: float
    design: Literal["vane", "lobe", "liquid_ring", "other"]
    start: StartMethod | None
    gain_per_kpa: float | None
    ramp_per_s: float | None


class PassesOneWay(Role):
    """Lets its fluid pass one way only."""

    ROLE = "passes one way"
    BUILDING_CLASS = "IfcValve.CHECK"

    bore_mm: float | None
    lifts: bool


class SharesVacuum(Role):
    """The vessel that joins the pumps to the lines."""

    ROLE = "shares vacuum"
    BUILDING_CLASS = "IfcTank.VESSEL"

    volume_l: float


class RegulatesVacuum(Role):
    """Admits air so that the vacuum stays at its setting."""

    ROLE = "regulates vacuum"
    BUILDING_CLASS = "IfcValve.REGULATING"

    capacity_l_min_free: float
    set_vacuum_kpa: float


class TrapsLiquid(Role):
    """Keeps liquid out of the vacuum line."""

    ROLE = "traps liquid"

    volume_l: float


class FeedsPulsators(Role):
    """The air line round the stalls that pulsators breathe from."""

    ROLE = "feeds pulsators"
    BUILDING_CLASS = "IfcPipeSegment.RIGIDSEGMENT"

    bore_mm: float
    length_m: float
    ring: bool


class Pulsates(Role):
    """Opens and closes liners."""

    ROLE = "pulsates"

    rate_per_min: float
    ratio_pct: float
    air_l_min_free: float
