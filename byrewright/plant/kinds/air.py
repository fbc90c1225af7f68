"""Compressed air: compressors, dryers, receiver, moisture traps."""

from __future__ import annotations

from typing import Literal

from byrewright.plant import effects
from byrewright.plant.machine import RUN, Failure, InternalPath, Machine, Part, Upkeep, port, ports
from byrewright.plant.primitives import Load, MakesAir, Primitive, StoresAir
from byrewright.plant.record import motor_start, par
from byrewright.plant.roles import CompressesAir, DriesAir, KeepsAir
from byrewright.standards.electrical import StartMethod
from byrewright.standards.footprints import Footprint

PRESSURE = "Pressure vessel: relief valve, inspection and drain by local law; bleed to zero before opening."


class AirCompressor(CompressesAir):
    """Makes compressed air."""

    KIND = "air_compressor"
    TITLE = "Air compressor"
    LETTERS = "AC"
    SYMBOL = "pump_gas"
    ROOM = "air"
    FORM = Footprint("plant", 1.2, 0.7, 1.0, 240, "motor_kw", 5.5, 0.25, hot=True)
    NEEDS_POWER = True
    TESTS = ("compressor output",)
    PORTS = ports(port("outlet", "air", direction="out"))
    INSIDE = (InternalPath("*", "outlet", "driven"),)
    CAN = frozenset({"runs"})
    STATES = RUN
    FAILURES = (
        Failure(
            "stops",
            "air_compressor",
            8.0,
            "pressure falls",
            "start the standby",
            "motor or valve plate",
        ),
    )
    UPKEEP = (
        Upkeep(
            "oil, intake filter",
            every_h=500,
            parts=(Part("fill of compressor oil"), Part("intake filter")),
            prevents=("air_compressor",),
        ),
        Upkeep(
            "valves",
            every_h=4000,
            parts=(Part("valve plate and gasket"),),
            counts=(("starts", "upkeep.compressor_valve_starts"),),
        ),
    )
    CAUTIONS = (PRESSURE,)

    capacity_l_min_free: float = par("L/min", "free air delivered", ge=10, le=20000)
    pressure_bar: float = par(
        "bar", "highest delivery pressure (gauge)", 8.0, ge=2, le=15, why="common setting"
    )
    motor_kw: float = par("kW", "motor rating", ge=0.2, le=110)
    start: StartMethod | None = motor_start()

    def lower(self) -> tuple[Primitive, ...]:
        return (MakesAir(self.capacity_l_min_free * self.count, self.motor_kw * self.count),)


class AirDryer(DriesAir):
    """Dries the air."""

    KIND = "air_dryer"
    TITLE = "Air dryer"
    LETTERS = "AD"
    SYMBOL = "filter"
    ROOM = "air"
    FORM = Footprint("plant", 0.5, 0.5, 0.7, 45, "capacity_l_min_free", 800, through=True)
    NEEDS_POWER = True
    TESTS = ("dew point",)
    PORTS = ports(port("inlet", "air", direction="in"), port("outlet", "air", direction="out"))
    INSIDE = (InternalPath("inlet", "outlet"),)
    STATES = ("runs", "stopped")
    FAILURES = (
        Failure(
            "freezes",
            "refrigeration",
            4.0,
            "no air past the dryer",
            "open the bypass",
            "control",
            effects.SHUT,
        ),
    )
    UPKEEP = (
        Upkeep(
            "try the drain and clean the condenser",
            was=("drain and condenser",),
            every_days=30,
            prevents=("refrigeration",),
        ),
    )

    capacity_l_min_free: float = par(
        "L/min", "free air at the reference conditions", ge=10, le=20000
    )
    dew_point_c: float = par(
        "degC", "pressure dew point", 3.0, ge=-70, le=15, why="refrigerated dryer"
    )
    motor_kw: float = par("kW", "motor rating", 0.3, ge=0.05, le=20, why="usual for its size")

    def lower(self) -> tuple[Primitive, ...]:
        return (Load(self.motor_kw * self.count),)


class AirReceiver(KeepsAir):
    """Stores compressed air; machines moved by air name it in `air_from`."""

    KIND = "air_receiver"
    TITLE = "Air receiver"
    LETTERS = "AV"
    SYMBOL = "vessel"
    ROOM = "air"
    FORM = Footprint("plant", 0.6, 0.6, 1.8, 110, "volume_l", 270, barrel=True)
    TESTS = ("air leak-down", "relief valve")
    PORTS = ports(
        port("inlet_#", "air", direction="in"),
        port("outlet_#", "air", direction="out", needed=False),
    )
    INSIDE = (InternalPath("inlet_#", "*"), InternalPath("*", "outlet_#"))
    FAILURES = (Failure("hose bursts", "hose", 0.5, "gates and shut-offs go to their rest positions", "isolate the section",
                        "hose", effects.LEAKS),)  # fmt: skip
    UPKEEP = (
        Upkeep("drain it", was=("drain",), every_days=1),
        Upkeep(
            "have the statutory inspection done",
            was=(
                "inspection by law",
                "have the inspection done that the law asks for",
            ),
            every_days=730,
            fixed=True,
        ),
    )
    CAUTIONS = (PRESSURE,)

    volume_l: float = par("L", "volume", ge=10, le=10000)
    highest_bar: float = par(
        "bar", "pressure at which compressors stop", 8.0, ge=2, le=15, why="common setting"
    )
    lowest_bar: float = par(
        "bar", "pressure at which compressors start", 6.5, ge=1, le=14, why="common setting"
    )
    serves_bar: float = par(
        "bar", "pressure the machines need", 6.0, ge=1, le=12, why="common setting"
    )

    def lower(self) -> tuple[Primitive, ...]:
        return (
            StoresAir(
                self.volume_l * self.count, self.highest_bar, self.lowest_bar, self.serves_bar
            ),
        )


class MoistureTrap(Machine):
    """Drops water out of the air line."""

    KIND = "moisture_trap"
    TITLE = "Moisture trap"
    LETTERS = "MT"
    SYMBOL = "trap"
    ROOM = "air"
    FORM = Footprint("plant", 0.25, 0.25, 0.4, 5, sort="hung", base_m=1.2, through=True)
    PORTS = ports(port("inlet", "air", direction="in"), port("outlet", "air", direction="out"),
                  port("drain", "drain", direction="out", needed=False))  # fmt: skip
    INSIDE = (InternalPath("inlet", "outlet"),)
    CAN = frozenset({"parts water from air"})
    FAILURES = (
        Failure(
            "drain blocked",
            "float",
            0.5,
            "water at the valves",
            "drain by hand",
            "float",
            effects.outside("water at valves and cylinders: they stick sooner, or freeze"),
        ),
    )
    UPKEEP = (Upkeep("drain it", was=("drain",), every_days=7, prevents=("float",)),)

    drain_by: Literal["hand", "float", "timer"] = par("", "how it is drained", "float", why="usual")
