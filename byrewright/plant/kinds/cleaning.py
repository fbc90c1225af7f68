"""Washing: trough, dosing, air injector."""

from __future__ import annotations

from byrewright.plant import effects
from byrewright.plant.machine import Failure, InternalPath, Part, Upkeep, port, ports
from byrewright.plant.primitives import Doses, Primitive, Vessel, WashVessel
from byrewright.plant.record import par
from byrewright.plant.roles import DosesWash, InjectsAir, MakesUpWash
from byrewright.standards.footprints import Footprint

CHEMICAL = "Hot caustic and acid burn: goggles, gloves, apron; never mix acid with chlorine products; eye wash near."


class WashTrough(MakesUpWash):
    """Where wash liquid is made up and comes back to."""

    KIND = "wash_trough"
    TITLE = "Wash trough"
    LETTERS = "TR"
    SYMBOL = "vessel_open"
    ROOM = "cleaning"
    FORM = Footprint("wash", 1.8, 0.7, 0.9, 90, "volume_l", 600, front_m=1.2,
                     sides=(("outlet", "back_low"),))  # fmt: skip
    PORTS = ports(
        port("supply_#", "water", direction="in"),
        port("dose_#", "wash", direction="in", needed=False),
        port("return_#", "wash", "milk", direction="in", needed=False),
        port("outlet_#", "wash", direction="out"),
        port("drain", "drain", direction="out", needed=False),
    )
    INSIDE = (InternalPath("supply_#", "*"), InternalPath("dose_#", "*"), InternalPath("return_#", "*"), InternalPath("*", "outlet_#"),
              InternalPath("*", "drain"))  # fmt: skip
    FAILURES = (
        Failure(
            "runs dry",
            "float",
            1.0,
            "air in the wash, but no slugs",
            "fill and wash again",
            "level sensor",
        ),
    )
    UPKEEP = (Upkeep("clean and check level sensor", every_days=30, prevents=("float",)),)
    TESTS = ("wash return temperature and dose",)
    CAUTIONS = (CHEMICAL,)

    volume_l: float = par("L", "volume", ge=20, le=10000)
    inlet_air_gap: bool | None = par("", "water falls in above the rim, through an air gap", None)

    def lower(self) -> tuple[Primitive, ...]:
        return (Vessel(self.volume_l * self.count, "wash"), WashVessel("supply_#", "drain"))


class Doser(DosesWash):
    """Doses detergent, acid or disinfectant."""

    KIND = "doser"
    TITLE = "Dosing pump"
    LETTERS = "DS"
    SYMBOL = "doser"
    ROOM = "cleaning"
    FORM = Footprint("wash", 0.35, 0.35, 0.5, 25)
    NEEDS_POWER = True
    PORTS = ports(port("outlet", "wash", direction="out"))
    INSIDE = (InternalPath("*", "outlet", "driven"),)
    STATES = ("stopped", "runs")
    FAILURES = (Failure("does not dose", "dosing_pump", 1.0, "drum level does not fall; counts rise days later",
                        "prime it; change its tube; wash again", "tube set", effects.outside("a wash without chemicals; counts rise days later")),)  # fmt: skip
    UPKEEP = (
        Upkeep(
            "tube and dose check",
            every_days=90,
            parts=(Part("dosing tube set"),),
            prevents=("dosing_pump",),
        ),
    )
    CAUTIONS = (CHEMICAL,)

    dose_ml_l: float = par(
        "mL/L", "product in the wash", 5.0, ge=0.1, le=50, why="common label rate"
    )
    motor_kw: float = par("kW", "motor rating", 0.06, ge=0.01, le=2, why="small peristaltic pump")

    def lower(self) -> tuple[Primitive, ...]:
        return (Doses(self.dose_ml_l),)


class AirInjector(InjectsAir):
    """Lets air into the milkline in slugs during washing."""

    KIND = "air_injector"
    TITLE = "Air injector"
    LETTERS = "AI"
    SYMBOL = "valve"
    ROOM = "cleaning"
    FORM = Footprint("wash", 0.25, 0.2, 0.3, 4, sort="hung", base_m=1.4, follows=True)
    PORTS = ports(port("outlet", "air", direction="out"))
    INSIDE = (InternalPath("*", "outlet", "gate", ("pulses", "open")),)
    STATES = ("closed", "pulses")
    FAILURES = (Failure("stays open", "solenoid_valve", 1.0, "vacuum low in milking, cups fall", "close by hand",
                        "valve", effects.ADMITS_AIR),)  # fmt: skip
    UPKEEP = (
        Upkeep(
            "look at valve and timing",
            was=("valve and timing",),
            every_days=90,
            prevents=("solenoid_valve",),
        ),
    )
    TESTS = ("slug velocity",)

    bore_mm: float = par("mm", "bore", 38.0, ge=10, le=150, why="common size")
