"""The deck: platform, drives, rollers, gland, gates, and cloth laundry beside it."""

from __future__ import annotations

from typing import Literal

from byrewright.plant import effects
from byrewright.plant.effects import Law
from byrewright.plant.machine import Failure, InternalPath, Part, Port, Service, Upkeep, port, ports
from byrewright.plant.primitives import Batch, Gate, Loss, Primitive, Stalls, Turns
from byrewright.plant.record import par
from byrewright.plant.roles import (
    BringsCows,
    CarriesDeck,
    DriesCloths,
    JoinsDeck,
    StandsCows,
    TurnsDeck,
    WashesCloths,
)
from byrewright.standards.deck import LEAST_TRACK_RADIUS_M
from byrewright.standards.footprints import Footprint

ROTATING = (
    "Rotating deck: nip points at entry, exit and skirting; lock off and prove dead before going below; "
    "warn before restart; emergency stops within reach and tested each week."
)
CROWD = "Gate and cows can crush: no one in its path, stop within reach."


class Platform(StandsCows):
    """The stalls: a rotary deck, or fixed stalls in rows."""

    KIND = "platform"
    TITLE = "Platform"
    LETTERS = "PF"
    SYMBOL = "deck"
    ROOM = "deck"
    FORM = Footprint("deck", sort="none")
    STATES = ("stopped", "runs")
    FAILURES = (
        Failure("rail joint lifts", "roller", 4.0, "a thump once a turn, current up", "turn slowly; have it mended after milking; stop if the deck drops",
                "rail joint", effects.SLOW),
        Failure("stop circuit broken", "contactor", 1.0, "the deck does not stop when the rope is pulled", "do not restart until it has been mended and tested",
                "rope switch", effects.OFF, safety=True),
    )  # fmt: skip
    UPKEEP = (
        Upkeep(
            "rail, joints, level",
            every_days=182,
            prevents=("roller",),
            counts=(("turns", "upkeep.rail_turns"),),
        ),
        Upkeep("try every emergency stop", was=("emergency stops",), every_days=7, fixed=True),
    )
    TESTS = ("emergency stops", "level and run-out", "stray voltage", "turn time")
    CAUTIONS = (ROTATING,)

    def failures(self) -> tuple[Failure, ...]:
        return type(self).FAILURES if self.layout == "rotary" else ()

    def upkeep(self) -> tuple[Upkeep, ...]:
        return type(self).UPKEEP if self.layout == "rotary" else ()

    def tests(self) -> tuple[str, ...]:
        return type(self).TESTS if self.layout == "rotary" else ("stray voltage",)

    def cautions(self) -> tuple[str, ...]:
        return type(self).CAUTIONS if self.layout == "rotary" else ()

    layout: Literal["rotary", "rows"] = par(
        "", "rotary deck or fixed stalls in rows", "rotary", why="rotaries first"
    )
    stalls: int = par("", "stalls", ge=4, le=200)
    rows: int = par(
        "", "rows of fixed stalls (1 for a rotary)", 1, ge=1, le=4, why="a rotary has one ring"
    )
    facing: Literal["in", "out"] = par("", "cows face in or out", "in", why="milked from outside")
    turn_s: float = par(
        "s", "time of one turn in milking (rotary), or of one row change (rows)", ge=60, le=2400
    )
    entry_stalls: float = par("", "stalls taken by entry, exit and attaching, where no milk is had", 5.0, ge=0, le=30,
                              why="usual bridge and attach space")  # fmt: skip
    rail_radius_m: float | None = par(
        "m", "radius of the roller track (rotary)", None, ge=LEAST_TRACK_RADIUS_M, le=30
    )
    stall_mass_kg: float = par("kg", "deck and stall work, each stall", 300.0, ge=50, le=3000,
                               why="steel deck with thin concrete; 600-1000 with cow on a concrete deck")  # fmt: skip
    stop_share_pct: float = par(
        "%", "share of milking time stood still", 4.0, ge=0, le=30, why="2-6 % is common"
    )
    joint_kit: bool = par(
        "",
        "jack, joint plates and clamps kept at the deck, to plate a lifted rail joint in milking",
        False,
        why="not stated",
    )
    bonded: bool = par(
        "", "deck bonded to earth through brush or ring", True, why="must be: equipotential bonding"
    )

    def lower(self) -> tuple[Primitive, ...]:
        return (
            Stalls(self.layout, self.stalls, self.rows, self.turn_s, self.entry_stalls,
                   self.stop_share_pct / 100),
        )  # fmt: skip


class DriveUnit(TurnsDeck):
    """Turns the deck."""

    KIND = "drive_unit"
    TITLE = "Platform drives"
    LETTERS = "DU"
    SYMBOL = "motor"
    ROOM = "deck"
    FORM = Footprint("deck", 0.3, 0.3, 0.3, 10, sort="spread")
    NEEDS_POWER = True
    CAN = frozenset({"runs"})
    TESTS = ("drive current",)
    STATES = ("stopped", "runs", "ready")
    FAILURES = (Failure("slips or trips", "gear_motor", 4.0, "jerks, others' current up", "lift the failed unit off; slow down",
                        "wheel or gear motor"),)  # fmt: skip
    UPKEEP = (
        Upkeep(
            "contact force and tread",
            every_days=90,
            prevents=("gear_motor",),
            counts=(("km", "upkeep.drive_wheel_km"),),
        ),
        Upkeep(
            "gear oil", every_h=8000, parts=(Part("fill of gear oil"),), prevents=("gear_motor",)
        ),
    )
    CAUTIONS = (ROTATING,)

    motor_kw: float = par("kW", "motor rating of each", ge=0.2, le=30)
    wheel_mm: float = par("mm", "drive wheel diameter", 300.0, ge=50, le=1500, why="common size")
    contact: Literal["spring", "air", "weight", "rack"] = par(
        "", "what presses the wheel on", "spring", why="usual"
    )
    efficiency: float = par(
        "", "gear and wheel together", 0.6, ge=0.1, le=0.98, why="worm or two-stage gear and wheel"
    )

    def lower(self) -> tuple[Primitive, ...]:
        return (Turns(self.motor_kw, self.count),)


class DeckRollers(CarriesDeck):
    """Carry the deck."""

    KIND = "deck_rollers"
    TITLE = "Deck rollers"
    LETTERS = "RL"
    SYMBOL = "roller"
    ROOM = "deck"
    FORM = Footprint("deck", 0.3, 0.3, 0.3, 10, sort="spread")
    FAILURES = (Failure("breaks", "roller", 4.0, "a thump once a turn", "turn slowly; have it changed after milking; stop if the deck drops",
                        "roller", effects.BEARS),)  # fmt: skip
    UPKEEP = (Upkeep("grease, and look for wear", was=("grease and look",), every_days=30, prevents=("roller",),
                     counts=(("km", "upkeep.roller_km"),)),)  # fmt: skip
    CAUTIONS = (ROTATING,)

    diameter_mm: float = par("mm", "roller diameter", 200.0, ge=50, le=600, why="common size")
    rated_kn: float = par("kN", "rated load of each", ge=1, le=200)
    travel: Literal["fixed", "with_deck"] = par("", "fixed to the ground, or carried round with the deck", "fixed",
                                                why="rollers may be either")  # fmt: skip
    tread: Literal["nylon", "steel", "polyurethane"] = par("", "tread", "nylon", why="common")


class RotaryGland(JoinsDeck):
    """Takes services on to the turning deck: separate swivels, or one combined joint."""

    KIND = "rotary_gland"
    TITLE = "Rotary gland"
    LETTERS = "GL"
    SYMBOL = "gland"
    ROOM = "deck"
    FORM = Footprint("deck", 0.9, 0.9, 1.4, 180, through=True)
    FAILURES = (
        Failure("seal leaks", "pump_seal", 3.0, "hiss, low vacuum, weeping", "have that part changed; fit a blank cap: the rest carries on", "seal set", effects.LEAKS),
        Failure("slip ring lost", "slip_ring", 1.0, "removers and meters dead", "take units off by hand; have the brushes or the ring changed",
                "brush set", effects.NO_SIGNAL),
        Failure("power ring lost", "slip_ring", 1.0, "everything that it feeds on the deck has stopped", "have the brushes or the ring changed",
                "brush set", effects.NO_POWER),
    )  # fmt: skip
    UPKEEP = (
        Upkeep(
            "seals",
            every_h=4000,
            parts=(Part("gland seal set"),),
            prevents=("pump_seal",),
            counts=(("turns", "upkeep.gland_seal_turns"),),
        ),
        Upkeep(
            "brushes and ring", every_h=2000, parts=(Part("brush set"),), prevents=("slip_ring",)
        ),
    )
    TESTS = ("vacuum and milk swivel leakage", "slip ring resistance")
    CAUTIONS = (ROTATING,)

    carries: tuple[Service, ...] = par("", "services it takes across", ("vacuum", "milk", "wash", "air", "power", "signal"),
                                       why="all that a deck usually needs")  # fmt: skip
    combined: bool = par(
        "",
        "one joint carries all, with no parts apart",
        False,
        why="separate parts can be changed alone",
    )
    power_rings: int = par("", "sets of power rings, each able to carry the deck alone", 1, ge=1, le=4,
                           why="one set where nothing is said")  # fmt: skip
    bore_mm: float | None = par("mm", "milk bore", None, ge=10, le=300)
    vacuum_bore_mm: float | None = par("mm", "vacuum bore", None, ge=10, le=400)

    def ports(self) -> tuple[Port, ...]:
        piped = [s for s in self.carries if s not in ("power", "signal")]
        return tuple(
            port(f"{side}_{s}", s, needed=s in ("vacuum", "milk"))
            for s in piped
            for side in ("deck", "fixed")
        )

    def failures(self) -> tuple[Failure, ...]:
        lost: dict[Law, str] = {"no signal": "signal", "no power": "power"}
        return tuple(
            f for f in type(self).FAILURES if lost.get(f.effect.law, "vacuum") in self.carries
        )

    def inside(self) -> tuple[InternalPath, ...]:
        piped = [s for s in self.carries if s not in ("power", "signal")]
        return tuple(InternalPath(f"deck_{s}", f"fixed_{s}") for s in piped)

    def lower(self) -> tuple[Primitive, ...]:
        return tuple(
            Loss(f"deck_{s}", f"fixed_{s}", k="gland.milk_k",
                 bore_mm=self.bore_mm if s == "milk" else None)
            for s in self.carries if s in ("milk", "wash", "water", "drain", "coolant")
        )  # fmt: skip


class YardGate(BringsCows):
    """Brings the waiting cows up."""

    KIND = "yard_gate"
    TITLE = "Holding-yard gate"
    LETTERS = "YG"
    SYMBOL = "gate"
    ROOM = "deck"
    FORM = Footprint("yard", 0.3, 0.3, 0.3, 10, sort="spread")
    TESTS = ("gate stops when held",)
    STATES = ("stopped", "runs")
    FAILURES = (
        Failure(
            "sticks",
            "gear_motor",
            2.0,
            "cows do not come in; stalls stay empty",
            "bring the cows by hand",
            "rope or motor",
        ),
    )
    UPKEEP = (
        Upkeep(
            "try rope, bell and stop",
            was=("rope, bell and stop",),
            every_days=30,
            prevents=("gear_motor",),
        ),
    )
    CAUTIONS = (CROWD,)

    motor_kw: float = par("kW", "motor rating", 0.75, ge=0.1, le=10, why="usual")
    yard_cows: int | None = par("", "cows the yard holds", None, ge=5, le=3000)

    def lower(self) -> tuple[Primitive, ...]:
        return (Gate(self.motor_kw * self.count, self.yard_cows),)


class ClothWasher(WashesCloths):
    """Washes the udder cloths."""

    KIND = "cloth_washer"
    TITLE = "Cloth washers"
    LETTERS = "CW"
    SYMBOL = "washer"
    ROOM = "laundry"
    FORM = Footprint("laundry", 0.8, 0.8, 1.2, 220, "load_kg", 10, 0.2)
    NEEDS_POWER = True
    PORTS = ports(
        port("water", "water", direction="in", needed=False),
        port("drain", "drain", direction="out", needed=False),
    )
    STATES = ("stopped", "runs")
    FAILURES = (Failure("stops", "washing_machine", 24.0, "cloth stock runs down", "use the second machine or the spare lot of cloths",
                        "pump or door lock"),)  # fmt: skip
    UPKEEP = (Upkeep("clean the drain filter", was=("drain filter",), every_days=7),)

    load_kg: float = par("kg", "dry load of each", ge=2, le=120)
    cycle_min: float = par("min", "time of one load", 60.0, ge=20, le=240, why="a hot wash cycle")
    motor_kw: float = par("kW", "rated input with heating", ge=0.5, le=60)
    water_l_load: float = par("L", "water a load", 120.0, ge=10, le=2000, why="about 10 L a kg")

    def lower(self) -> tuple[Primitive, ...]:
        return (
            Batch(0, self.load_kg, self.cycle_min, self.motor_kw, self.count, self.water_l_load,
                "water"),
        )  # fmt: skip


class ClothDryer(DriesCloths):
    """Dries the udder cloths."""

    KIND = "cloth_dryer"
    TITLE = "Cloth dryers"
    LETTERS = "CD"
    SYMBOL = "washer"
    ROOM = "laundry"
    FORM = Footprint("laundry", 0.8, 0.9, 1.2, 130, "load_kg", 10, 0.2, hot=True)
    NEEDS_POWER = True
    STATES = ("stopped", "runs")
    FAILURES = (
        Failure(
            "stops",
            "washing_machine",
            24.0,
            "cloths stay damp",
            "use the second machine or dry on a line",
            "belt or heater",
        ),
    )
    UPKEEP = (Upkeep("clean the lint filter", was=("lint filter",), every_days=1),)
    CAUTIONS = ("Lint burns: clean the filter daily.",)

    load_kg: float = par("kg", "dry load of each", ge=2, le=120)
    cycle_min: float = par("min", "time of one load", 50.0, ge=15, le=240, why="a full dry cycle")
    motor_kw: float = par("kW", "rated input with heating", ge=0.5, le=80)

    def lower(self) -> tuple[Primitive, ...]:
        return (Batch(1, self.load_kg, self.cycle_min, self.motor_kw, self.count),)
