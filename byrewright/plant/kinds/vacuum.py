"""Vacuum: pumps, regulation, tanks, traps and the lines on the deck."""

from __future__ import annotations

from dataclasses import replace
from typing import Literal

from byrewright.plant import effects
from byrewright.plant.machine import RUN, Failure, InternalPath, Part, Upkeep, port, ports
from byrewright.plant.primitives import DrawsAir, HoldsVacuum, Loss, MakesVacuum, Primitive
from byrewright.plant.record import motor_start, par
from byrewright.plant.roles import (
    FeedsPulsators,
    PassesOneWay,
    Pulsates,
    PumpsVacuum,
    RegulatesVacuum,
    SharesVacuum,
    TrapsLiquid,
)
from byrewright.standards.electrical import StartMethod
from byrewright.standards.footprints import Footprint, Ring

VACUUM_CAUTION = (
    "Isolate and lock off before opening: belts, hot surfaces, and vacuum that can draw in a hand."
)


class VacuumPump(PumpsVacuum):
    """Draws air out of the plant."""

    KIND = "vacuum_pump"
    TITLE = "Vacuum pump"
    LETTERS = "VP"
    SYMBOL = "pump_gas"
    ROOM = "vacuum"
    FORM = Footprint("plant", 1.2, 0.8, 0.9, 420, "motor_kw", 11, 0.25, hot=True)
    NEEDS_POWER = True
    PORTS = ports(
        port("inlet", "vacuum", direction="in"),
        port("exhaust", "air", direction="out", needed=False, meaning="to open air"),
    )
    INSIDE = (InternalPath("inlet", "exhaust", "driven"),)
    CAN = frozenset({"runs"})
    STATES = RUN
    FAILURES = (
        Failure("stops", "ac_motor", 6.0, "it has stopped when it should be running, and the vacuum drops unless its partner carries on",
                "close its hand valve; carry on with its partner; put cups on slower", "motor, belts or drive",
                also=("drive", "belt", "vacuum_pump_seizes", "motor_protection")),
        Failure("worn", "vacuum_pump", 24.0, "it runs faster or hotter than it used to, and the vacuum recovers slowly",
                "carry on with both pumps; have it overhauled", "vanes or bearings", effects.at_share(0.75)),
        Failure("runs at one speed", "drive_holds", 8.0, "its speed stays the same however many units are on",
                "run it at a fixed speed with the mechanical regulator", "drive", effects.FIXED),
    )  # fmt: skip
    UPKEEP = (
        Upkeep(
            "look at oil level and drip rate",
            was=("oil level and drip rate",),
            every_h=50,
            prevents=("vacuum_pump_seizes",),
        ),
        Upkeep(
            "belts and coupling",
            every_h=500,
            parts=(Part("set of belts or coupling element"),),
            prevents=("belt",),
        ),
        Upkeep("test the capacity", was=("capacity test",), every_days=365),
    )
    TESTS = ("pump capacity", "exhaust back pressure", "pump line drop", "standby change")
    CAUTIONS = (VACUUM_CAUTION,)

    capacity_l_min_free: float = par(
        "L/min", "free air drawn at full speed at the stated vacuum", ge=100, le=60000
    )
    at_vacuum_kpa: float = par("kPa", "vacuum at which the capacity is stated", 50.0, ge=20, le=80,
                               why="pumps are rated at 50 kPa by custom", confidence="from_memory")  # fmt: skip
    motor_kw: float = par("kW", "motor rating", ge=0.2, le=200)
    speed: Literal["fixed", "variable"] = par("", "how its speed is set", "fixed",
                                              why="nothing says it has a drive")  # fmt: skip
    least_speed_pct: float = par("%", "least speed it may run at", 35.0, ge=5, le=100,
                                 why="usual floor for lubrication and cooling")  # fmt: skip
    design: Literal["vane", "lobe", "liquid_ring", "other"] = par(
        "",
        "how it works; the altitude rule suits vane pumps",
        "vane",
        why="the altitude rule assumed",
    )
    start: StartMethod | None = motor_start()
    own_control: bool = par(
        "",
        "its drive holds the vacuum by a transmitter of its own and runs on when the controller "
        "is lost",
        False,
        why="not stated",
    )
    gain_per_kpa: float | None = par(
        "1/kPa", "gain of its speed control, share of full speed for each kPa; usual where not "
        "stated", None, ge=0.01, le=20,
    )  # fmt: skip
    ramp_per_s: float | None = par(
        "1/s", "fastest change of its speed, share of full speed a second; usual where not stated",
        None, ge=0.01, le=10,
    )  # fmt: skip

    def failures(self) -> tuple[Failure, ...]:
        if self.speed == "variable" or self.start == "drive":
            return type(self).FAILURES
        return tuple(
            replace(f, also=tuple(x for x in f.also if x != "drive"))
            for f in type(self).FAILURES if f.life != "drive_holds"
        )  # fmt: skip

    def lower(self) -> tuple[Primitive, ...]:
        return (
            MakesVacuum(self.capacity_l_min_free * self.count, self.at_vacuum_kpa,
                        self.motor_kw * self.count, self.speed == "variable",
                        self.least_speed_pct / 100),
        )  # fmt: skip


class NonReturnValve(PassesOneWay):
    """Lets its fluid pass one way only."""

    KIND = "non_return_valve"
    TITLE = "Non-return valve"
    LETTERS = "NR"
    SYMBOL = "check"
    ROOM = "vacuum"
    FORM = Footprint("milk", 0.3, 0.3, 0.3, 5, sort="in line")
    TESTS = ("non-return valve holds",)
    PORTS = ports(
        port("inlet", "vacuum", "milk", "wash", "water", "coolant", "air", direction="in"),
        port("outlet", "vacuum", "milk", "wash", "water", "coolant", "air", direction="out"),
    )
    INSIDE = (InternalPath("inlet", "outlet", "check"),)
    FAILURES = (
        Failure("leaks back", "check_valve", 2.0, "flow comes back through the machine that has stopped",
                "close the hand valve beside it", "seat and disc", effects.PASSES),
        Failure("sticks shut", "check_valve", 2.0, "no flow though the machine runs", "change over to its partner", "disc", effects.SHUT),
    )  # fmt: skip
    UPKEEP = (
        Upkeep(
            "seat and spring",
            every_days=365,
            parts=(Part("disc and spring"),),
            prevents=("check_valve",),
        ),
    )

    bore_mm: float | None = par("mm", "bore", None, ge=8, le=400)
    lifts: bool = par(
        "", "whether its disc is lifted by hand while lines are drained: what stands above it runs "
        "back", False, why="usual ones have no lifter", confidence="common_practice",
    )  # fmt: skip

    def lower(self) -> tuple[Primitive, ...]:
        return (
            Loss("inlet", "outlet", k="valve.non_return_k", bore_mm=self.bore_mm,
                 opens_kpa="valve.non_return_opening_kpa"),
        )  # fmt: skip


class DistributionTank(SharesVacuum):
    """The vessel (interceptor) that joins the pumps to the lines and keeps liquid from the pumps."""

    KIND = "distribution_tank"
    TITLE = "Vacuum distribution tank"
    LETTERS = "DT"
    SYMBOL = "vessel"
    ROOM = "vacuum"
    FORM = Footprint("plant", 0.6, 0.6, 1.0, 60, "volume_l", 150, barrel=True)
    PORTS = ports(
        port("pump_#", "vacuum", direction="out"),
        port("line_#", "vacuum", direction="in"),
        port("drain", "drain", direction="out", needed=False),
    )
    INSIDE = (InternalPath("line_#", "*"), InternalPath("*", "pump_#"), InternalPath("*", "drain"))
    FAILURES = (
        Failure(
            "leaks",
            "vessel",
            4.0,
            "a hiss at the tank, and the pumps run faster",
            "close the drain, mend the seam",
            "gasket",
        ),
    )
    UPKEEP = (Upkeep("drain and wash out", every_days=7),)
    TESTS = ("working vacuum", "interceptor volume", "vacuum system leakage")
    CAUTIONS = (VACUUM_CAUTION,)

    volume_l: float = par("L", "volume", ge=5, le=5000)


class Regulator(RegulatesVacuum):
    """Admits air so that the working vacuum stays at its setting."""

    KIND = "regulator"
    TITLE = "Vacuum regulator"
    LETTERS = "RG"
    SYMBOL = "relief"
    ROOM = "vacuum"
    FORM = Footprint("plant", 0.3, 0.25, 0.3, 8, sort="hung", base_m=1.5)
    PORTS = ports(port("vacuum", "vacuum", direction="out"))
    INSIDE = ()
    STATES = ("works", "backs up", "off")
    FAILURES = (
        Failure("regulates badly", "regulator_fault", 1.0, "the vacuum gauge swings and the regulator hisses unevenly",
                "clean its filter and seat; have it tested", "filter and diaphragm",
                effects.outside("vacuum swings more than the vacuum study shows, until it is cleaned")),
        Failure("sticks open", "regulator_sticks", 1.0, "vacuum low, hiss at the regulator", "clean it", "diaphragm", effects.ADMITS_AIR),
        Failure("sticks shut", "regulator_sticks", 1.0, "vacuum high, cups hard to take off",
                "slow the pumps by hand, clean it", "diaphragm", effects.SHUT),
    )  # fmt: skip
    UPKEEP = (Upkeep("clean filter and seat", every_days=30, parts=(Part("regulator filter"),)),)
    TESTS = ("regulation sensitivity", "regulation loss", "regulator leakage", "vacuum drops")

    capacity_l_min_free: float = par("L/min", "most free air it admits", ge=50, le=60000)
    set_vacuum_kpa: float = par("kPa", "vacuum it holds", ge=20, le=60)

    def lower(self) -> tuple[Primitive, ...]:
        return (HoldsVacuum(self.set_vacuum_kpa),)


class SanitaryTrap(TrapsLiquid):
    """Keeps milk and wash out of the vacuum line: a float shuts it when liquid rises."""

    KIND = "sanitary_trap"
    TITLE = "Sanitary trap"
    LETTERS = "ST"
    SYMBOL = "trap"
    ROOM = "vacuum"
    FORM = Footprint("deck", 0.3, 0.3, 0.4, 12, "volume_l", 15, sort="hung", base_m=0.0,
                     through=True, follows=True, deck_m=0.8)  # fmt: skip
    PORTS = ports(
        port("receiver", "vacuum", direction="in"),
        port("vacuum", "vacuum", direction="out"),
        port("drain", "drain", "wash", direction="out", needed=False),
    )
    INSIDE = (InternalPath("receiver", "vacuum", "trap"), InternalPath("receiver", "drain"))
    FAILURES = (
        Failure("float shuts", "float", 0.5, "all cups on its side fall", "drain it; find out why liquid came; wash the vacuum line before it is used again",
                "float", effects.SHUT),
        Failure("float does not shut", "float", 1.0, "liquid reaches the vacuum line when a receiver floods",
                "stop milking; drain it; wash the vacuum line", "float", effects.outside("liquid gets into the vacuum line if a receiver floods meanwhile")),
    )  # fmt: skip
    UPKEEP = (
        Upkeep(
            "try the float and open the drain",
            was=("float and drain",),
            every_days=30,
            prevents=("float",),
        ),
    )
    TESTS = ("sanitary trap volume",)

    volume_l: float = par("L", "volume", ge=0.5, le=500)


class PulsatorAirline(FeedsPulsators):
    """The air line that feeds the pulsators round the deck."""

    KIND = "pulsator_airline"
    TITLE = "Pulsator air line"
    LETTERS = "PA"
    SYMBOL = "line"
    ROOM = "vacuum"
    FORM = Footprint("deck", 0.3, 0.3, 0.3, 10, sort="spread",
                     ring=Ring(0.5, 1.15, 0.2, 0.2, both_sides=True))  # fmt: skip
    PORTS = ports(
        port("supply_#", "vacuum", direction="out"), port("units_#", "vacuum", direction="in")
    )
    INSIDE = (InternalPath("units_#", "*"), InternalPath("*", "supply_#"))
    FAILURES = (Failure("leaks", "vessel", 2.0, "hiss along the units", "mend the joint", "joint"),)
    UPKEEP = (Upkeep("flush and drain", every_days=30),)
    TESTS = ("air line drop",)

    bore_mm: float = par("mm", "bore", ge=15, le=400)
    length_m: float = par("m", "length round the stalls", ge=1, le=1000)
    ring: bool = par(
        "", "closed into a ring (true) or dead-ended", True, why="rings halve the flow each way"
    )


PULSATOR_H = 2000.0
"""Running hours between services of a pulsator, whether its hours or its pulses are counted."""


class Pulsator(Pulsates):
    """Opens and closes the liners."""

    KIND = "pulsator"
    TITLE = "Pulsators"
    LETTERS = "PU"
    SYMBOL = "pulsator"
    ROOM = "vacuum"
    FORM = Footprint("deck", 0.3, 0.3, 0.3, 10, sort="spread")
    WITHOUT_CONTROL = "goes on"  # keeps its set rate
    PORTS = ports(port("vacuum", "vacuum", direction="out"))
    STATES = ("runs", "stopped")
    FAILURES = (Failure("sticks", "pulsator", 0.3, "one unit does not pulsate, cow uneasy", "swap the pulsator",
                        "pulsator", effects.outside("one stall out of use until it is changed: that share of the pace")),)  # fmt: skip
    UPKEEP = (
        Upkeep(
            "filters and test curve",
            every_h=PULSATOR_H,
            counts=(("pulses", "pulses_a_service"),),
            parts=(Part("pulsator filter"),),
            prevents=("pulsator",),
        ),
    )
    TESTS = ("pulsation rate", "pulsator ratio", "phases b and d")

    rate_per_min: float = par(
        "1/min", "cycles a minute", 60.0, ge=40, le=90, why="usual setting for cows"
    )
    ratio_pct: float = par("%", "share of the cycle with the liner opening or open", 65.0, ge=40, le=80,
                           why="usual setting for cows")  # fmt: skip
    air_l_min_free: float = par("L/min", "free air each uses", 30.0, ge=5, le=80,
                                why="25-35 L/min is common in design; 25-50 in the standard's notes",
                                confidence="from_memory")  # fmt: skip

    @property
    def pulses_a_service(self) -> float:
        """Pulses between services: those of its hours, at its own rate."""
        return PULSATOR_H * 60.0 * self.rate_per_min

    def lower(self) -> tuple[Primitive, ...]:
        return (DrawsAir(self.air_l_min_free),)
