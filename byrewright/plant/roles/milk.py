"""Roles in the milk's way."""

from __future__ import annotations

from typing import Literal

from byrewright.plant.roles.base import Role


class CollectsMilk(Role):
    """A sloped line that takes milk and air from the units."""

    ROLE = "collects milk"
    BUILDING_CLASS = "IfcPipeSegment.RIGIDSEGMENT"

    bore_mm: float
    slope_pct: float
    length_m: float
    looped: bool


class ReceivesMilk(Role):
    """Parts milk from air at the end of a line."""

    ROLE = "receives milk"
    BUILDING_CLASS = "IfcTank.VESSEL"

    volume_l: float
    led_at_l: float | None
    stop_at_l: float | None
    start_at_l: float | None


class MovesMilk(Role):
    """Pushes milk on, led by the level of a vessel."""

    ROLE = "moves milk"
    BUILDING_CLASS = "IfcPump"

    flow_l_min: float
    head_m: float
    motor_kw: float
    control: Literal["on_off", "stepped", "level_led"]
    led_by: str | None


class IsValve(Role):
    """Opens, shuts or turns a way."""

    ROLE = "is a valve"
    BUILDING_CLASS = "IfcValve.ISOLATING"

    ways: Literal[2, 3]
    bore_mm: float | None
    moved_by: Literal["hand", "air", "motor"]
    sensed: bool
    duty: Literal[
        "isolate", "drain", "divert", "sample", "air_break", "wash_supply", "fill", "outlet",
        "control",
    ]  # fmt: skip
    seats: Literal["single", "double"]
    on_loss: Literal["stays", "opens", "closes", "to_b", "to_c"]


class JoinsPipes(Role):
    """Where several pipes of one service meet."""

    ROLE = "joins pipes"
    BUILDING_CLASS = "IfcPipeFitting.JUNCTION"

    bore_mm: float | None


class FiltersMilk(Role):
    """Strains milk through a sock."""

    ROLE = "filters milk"
    BUILDING_CLASS = "IfcFilter.STRAINER"

    area_m2: float
    cows_a_sock: float
    while_running: bool


class BalancesMilk(Role):
    """Evens the flow of milk on its way to the cooler."""

    ROLE = "balances milk"
    BUILDING_CLASS = "IfcTank.VESSEL"

    volume_l: float
    led_at_l: float | None


class FeedsCalves(Role):
    """Takes milk off for calves."""

    ROLE = "feeds calves"
    BUILDING_CLASS = "IfcTank.VESSEL"

    volume_l: float
    draw_l_milking: float


class LoadsTankers(Role):
    """Where a tanker couples up."""

    ROLE = "loads tankers"

    load_l_min: float
    direct: bool


class TakesWaste(Role):
    """Where waste leaves the plant."""

    ROLE = "is a drain"
    BUILDING_CLASS = "IfcWasteTerminal.GULLYTRAP"
