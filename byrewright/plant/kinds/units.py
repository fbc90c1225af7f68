"""What touches the cow: milking units, removal, backflush, meters, withheld-milk gear."""

from __future__ import annotations

from typing import Literal

from byrewright.plant import effects
from byrewright.plant.machine import Failure, InternalPath, Machine, Part, Upkeep, port, ports
from byrewright.plant.primitives import EachCow, Loss, Primitive, TakesOff, Units, Vessel
from byrewright.plant.record import par
from byrewright.plant.roles import GivesMilk, KeepsWithheld, RemovesUnits, RinsesUnits
from byrewright.standards.footprints import Footprint, Ring


class MilkingUnit(GivesMilk):
    """Clusters with their tubes."""

    KIND = "milking_unit"
    TITLE = "Milking units"
    LETTERS = "MU"
    SYMBOL = "unit"
    ROOM = "milk"
    FORM = Footprint("deck", 0.3, 0.3, 0.3, 10, sort="spread",
                     ring=Ring(0.2, 1.0, -0.2, -0.2, goes_round=("wash",)))  # fmt: skip
    PORTS = ports(
        port("milk", "milk", direction="out"),
        port("withheld", "milk", direction="out", needed=False, meaning="divert for withheld milk"),
        port("pulse", "vacuum", direction="out", needed=False),
        port("wash", "wash", direction="in", needed=False, meaning="jetters"),
    )
    INSIDE = (
        InternalPath("wash", "milk", "gate", ("washes",)),
        InternalPath("*", "milk", "gate", ("milks", "washes")),
        InternalPath("*", "withheld", "gate", ("milks",)),
    )
    STATES = ("idle", "milks", "washes")
    FAILURES = (
        Failure("falls off", "cluster", 0.02, "air roars in, cups on the floor", "shut it off; wash it; put it on again",
                "", effects.outside("one unit lets in air until it shuts itself off: see the vacuum study")),
        Failure("liner splits", "cluster", 0.1, "hiss, slow milking, milk in the pulse tube", "change the liner",
                "liner", effects.outside("one stall out of use until it is changed: that share of the pace")),
    )  # fmt: skip
    UPKEEP = (
        Upkeep(
            "liners",
            every_h=1200,
            parts=(Part("liner", 4),),
            prevents=("cluster",),
            counts=(("cows", "upkeep.liner_cows"),),
        ),
        Upkeep(
            "rubber tubes",
            every_days=365,
            parts=(Part("short pulse tube", 4), Part("long milk tube"), Part("twin pulse tube")),
        ),
    )
    TESTS = ("cluster air admission", "liner condition", "shut-off valve leakage")

    claw_air_l_min_free: float = par("L/min", "air admitted at each claw", 8.0, ge=4, le=12,
                                     why="middle of the 4-12 L/min band", confidence="second_hand")  # fmt: skip
    shut_off: bool = par(
        "", "closes its vacuum by itself when it falls off", True, why="usual on large parlours"
    )
    fall_off_air_l_min_free: float = par("L/min", "air one admits after falling off, until shut off", 800.0, ge=50,
                                         le=2000, why="400-1400 L/min is common")  # fmt: skip

    def lower(self) -> tuple[Primitive, ...]:
        return (
            Units("milk", "withheld", self.count, self.claw_air_l_min_free,
                  self.fall_off_air_l_min_free, self.shut_off),
            Loss("wash", "milk", "wash.jetter_kpa", "wash.unit_flow_l_min", self.count),
        )  # fmt: skip


class Removal(RemovesUnits):
    """Takes the unit off at the end of flow."""

    KIND = "automatic_removal"
    TITLE = "Automatic cluster removers"
    LETTERS = "AR"
    SYMBOL = "cylinder"
    ROOM = "milk"
    FORM = Footprint("deck", 0.3, 0.3, 0.3, 10, sort="spread")
    CAN = frozenset({"rides on the deck"})
    WITHOUT_CONTROL = "stands"
    TESTS = ("removal at the end of flow",)
    FAILURES = (Failure("does not take off", "removal", 0.5, "the unit stays on after the cow has finished", "take off by hand",
                        "cylinder or valve", effects.outside("people take that unit off by hand")),)  # fmt: skip
    UPKEEP = (
        Upkeep(
            "cords and cylinders",
            every_h=2000,
            parts=(Part("cord"), Part("cylinder seal set")),
            prevents=("removal",),
        ),
    )

    moved_by: Literal["vacuum", "air"] = par("", "what moves the cylinder", "vacuum",
                                             why="many removers work on vacuum")  # fmt: skip
    threshold_kg_min: float = par(
        "kg/min",
        "flow at which removal starts",
        0.4,
        ge=0.1,
        le=1.0,
        why="0.2 to 0.4 shortens unit-on time without loss of yield",
        confidence="read",
    )
    delay_s: float = par("s", "wait below the threshold", 10.0, ge=0, le=60, why="10-20 s is usual",
                         confidence="from_memory")  # fmt: skip
    bore_mm: float = par("mm", "cylinder bore", 63.0, ge=20, le=160, why="common size")
    stroke_mm: float = par("mm", "cylinder stroke", 600.0, ge=100, le=1500, why="common size")
    milking_time_limit_s: float | None = par("s", "longest milking time before removal; none when not stated", None,
                                             ge=120, le=1500)  # fmt: skip

    def lower(self) -> tuple[Primitive, ...]:
        return (TakesOff(self.threshold_kg_min, self.delay_s, self.milking_time_limit_s),)


class Backflush(RinsesUnits):
    """Rinses the unit between cows."""

    KIND = "backflush"
    TITLE = "Backflush"
    LETTERS = "BF"
    SYMBOL = "spray"
    ROOM = "milk"
    FORM = Footprint("deck", 0.3, 0.3, 0.3, 10, sort="spread", ring=Ring(inner=True))
    PORTS = ports(
        port("water", "water", direction="in", needed=False),
        port("air", "air", direction="in", needed=False),
    )
    FAILURES = (Failure("water valve stays open", "solenoid_valve", 1.0, "water runs; freezing point up",
                        "close the hand valve", "solenoid", effects.outside("water in milk, told by its freezing point; or milk in the water")),)  # fmt: skip
    UPKEEP = (
        Upkeep(
            "valves and dose",
            every_days=90,
            parts=(Part("valve diaphragm"),),
            prevents=("solenoid_valve",),
        ),
    )

    water_l_cow: float = par("L", "water a cow", 0.8, ge=0, le=5, why="common setting")
    air_nl_cow: float = par("L", "free air a cow", 6.0, ge=0, le=50, why="common setting")

    def lower(self) -> tuple[Primitive, ...]:
        return (EachCow(self.water_l_cow, "water", self.air_nl_cow),)


class MilkMeter(Machine):
    """Measures each cow's milk."""

    KIND = "milk_meter"
    BUILDING_CLASS = "IfcFlowMeter"
    TITLE = "Milk meters"
    LETTERS = "MM"
    SYMBOL = "meter"
    ROOM = "milk"
    FORM = Footprint("deck", 0.3, 0.3, 0.3, 10, sort="spread")
    CAN = frozenset({"rides on the deck"})
    WITHOUT_CONTROL = "stands"
    TESTS = ("meter beside a scale",)
    FAILURES = (
        Failure(
            "reads false",
            "transducer",
            1.0,
            "yields jump from cow to cow",
            "compare with the tank",
            "probe",
            effects.BLIND,
        ),
    )
    UPKEEP = (Upkeep("check against weighed milk", every_days=365),)


class WithheldVessel(KeepsWithheld):
    """Takes the milk of marked cows (treated, colostrum, blood) so that none reaches the tank."""

    KIND = "withheld_vessel"
    TITLE = "Withheld-milk vessel"
    LETTERS = "WM"
    SYMBOL = "vessel"
    ROOM = "milk"
    FORM = Footprint("deck", 0.5, 0.5, 0.7, 25, "volume_l", 100, most_high_m=1.2)
    PORTS = ports(
        port("milk", "milk", direction="in"),
        port("vacuum", "vacuum", direction="out", needed=False),
        port("outlet", "milk", "drain", direction="out", needed=False),
        port("wash", "wash", direction="in", needed=False),
    )
    INSIDE = (
        InternalPath("milk", "*"),
        InternalPath("*", "vacuum", "trap"),
        InternalPath("*", "outlet"),
        InternalPath("wash", "*"),
    )
    FAILURES = (
        Failure(
            "full",
            "operator",
            0.2,
            "milk at its vacuum port",
            "empty it",
            "",
            effects.outside("a vessel overflows; no more milk is led to it"),
        ),
    )
    UPKEEP = (Upkeep("wash after use", every_days=1),)

    volume_l: float = par("L", "volume", ge=10, le=20000)
    way: Literal["bucket", "divert_line"] = par("", "separate bucket units, or a divert line on the deck", "bucket",
                                                why="a bucket unit keeps it apart with no shared valve")  # fmt: skip

    def lower(self) -> tuple[Primitive, ...]:
        return (Vessel(self.volume_l * self.count, gas="vacuum"),)
