"""Power and control: mains, switchboards, generator, uninterruptible supply, controllers, sensors."""

from __future__ import annotations

from dataclasses import replace
from typing import ClassVar, Literal

from byrewright.plant import effects
from byrewright.plant.machine import Failure, Part, Upkeep
from byrewright.plant.primitives import Load, Primitive, Sense
from byrewright.plant.record import par
from byrewright.plant.roles import (
    BridgesPower,
    Controls,
    GeneratesPower,
    Senses,
    SharesPower,
    SuppliesPower,
    TellsPeople,
)
from byrewright.standards.footprints import Footprint

LIVE = "Electrical work only by licensed people: isolate, lock off, prove dead; bonding of all metal cows can touch."


class Mains(SuppliesPower):
    """The public supply at the farm."""

    KIND = "mains"
    TITLE = "Mains supply"
    LETTERS = "EM"
    SYMBOL = "supply"
    ROOM = "power"
    FORM = Footprint("yard", 1.2, 0.6, 1.6, 200, sort="outside")
    CAN = frozenset({"gives power"})
    TESTS = ("supply at the start",)
    FAILURES = (
        Failure("fails", "mains", 2.0, "the whole farm is dark", "start the generator; without one connect the tractor's generator at its inlet; switch loads on in the order at the board", "", effects.OFF),
        Failure("loses a phase", "mains_phase", 2.0, "motors hum and trip", "start the generator", "", effects.THREE_PHASES),
    )  # fmt: skip
    CAUTIONS = (LIVE,)

    supply_kva: float = par("kVA", "agreed maximum demand", ge=1, le=5000)
    phases: Literal[1, 3] = par("", "phases", 3, why="large plants have three")


class Switchboard(SharesPower):
    """Feeds machines. `fed_from` lists its supplies in order of use."""

    KIND = "switchboard"
    TITLE = "Switchboard"
    LETTERS = "SB"
    SYMBOL = "board"
    ROOM = "power"
    FORM = Footprint("switch", 1.0, 0.4, 2.0, 220, front_m=1.07)
    CAN = frozenset({"gives power"})
    FAILURES = (Failure("main breaker trips", "circuit_breaker", 1.0, "everything it feeds has stopped", "switch off what it feeds; close it once; if it trips again leave it",
                        "breaker"),)  # fmt: skip
    UPKEEP = (
        Upkeep(
            "tighten, thermal picture, residual-current test",
            every_days=365,
            prevents=("circuit_breaker",),
            fixed=True,
        ),
    )
    TESTS = ("bonding resistance", "residual-current trip")
    CAUTIONS = (LIVE,)

    rating_a: float | None = par("A", "rated current", None, ge=6, le=6300)
    essential: bool = par("", "kept on in standby", True, why="all kept on unless said otherwise")


class Generator(GeneratesPower):
    """Standby generator with its transfer switch."""

    KIND = "generator"
    TITLE = "Standby generator"
    LETTERS = "GE"
    SYMBOL = "generator"
    ROOM = "power"
    FORM = Footprint("yard", 2.6, 1.1, 1.6, 1500, "rating_kva", 120, sort="outside")
    CAN = frozenset({"gives power", "stands by"})
    TESTS = ("transfer and load steps",)
    FAILURES = (
        Failure("does not start", "generator_start", 2.0, "it is dark and the generator does not start", "connect the tractor's generator at its inlet",
                "start battery"),
        Failure("transfer fails", "transfer_switch", 2.0, "the generator runs and the plant is dark", "transfer by hand at the switch",
                "transfer switch"),
    )  # fmt: skip
    UPKEEP = (
        Upkeep(
            "check the start battery and run it on load",
            was=("start battery and weekly run on load",),
            every_days=7,
            prevents=("generator_start",),
            fixed=True,
        ),
        Upkeep(
            "oil and filters",
            every_h=250,
            parts=(Part("fill of engine oil"), Part("oil filter"), Part("fuel filter")),
        ),
    )
    BY_TRACTOR: ClassVar[tuple[Upkeep, ...]] = (
        Upkeep("couple the tractor and run it on load",
               was=("check the start battery and run it on load",), every_days=7,
               prevents=("generator_start",), fixed=True),
        Upkeep("gearbox oil; shaft and its guard", every_days=365),
    )  # fmt: skip
    """The service of one without an engine of its own (common practice, no source)."""
    CAUTIONS = (LIVE, "Exhaust gas kills: run outdoors or ducted.")
    SHAFT: ClassVar[str] = "Drive shaft: guard it whole; nobody near it while it turns."

    def failures(self) -> tuple[Failure, ...]:
        if self.start_by != "tractor":
            return type(self).FAILURES
        start, *others = type(self).FAILURES
        return replace(start, do="look at its shaft, take another tractor or hire a set",
                       part="drive shaft"), *others  # fmt: skip

    def upkeep(self) -> tuple[Upkeep, ...]:
        return self.BY_TRACTOR if self.start_by == "tractor" else type(self).UPKEEP

    def cautions(self) -> tuple[str, ...]:
        return type(self).CAUTIONS + ((self.SHAFT,) if self.start_by == "tractor" else ())

    rating_kva: float = par("kVA", "standby rating", ge=1, le=5000)
    reactance_pu: float = par("", "transient reactance, per unit", 0.2, ge=0.05, le=0.5, why="usual 0.15-0.25",
                              confidence="from_memory")  # fmt: skip
    start_s: float = par(
        "s",
        "from loss of mains to power on the board",
        15.0,
        ge=0,
        le=600,
        why="usual automatic start",
    )
    start_by: Literal["automatic", "hand", "tractor"] = par(
        "", "how it starts", "automatic", why="usual"
    )
    fuel_l: float = par("L", "fuel on site", 200.0, ge=0, le=50000, why="base tank")


class UninterruptibleSupply(BridgesPower):
    """Carries controls through a loss of mains."""

    KIND = "uninterruptible_supply"
    TITLE = "Uninterruptible supply"
    LETTERS = "US"
    SYMBOL = "supply"
    ROOM = "power"
    FORM = Footprint("switch", 0.5, 0.4, 1.0, 60, front_m=1.07)
    CAN = frozenset({"gives power", "stands by"})
    TESTS = ("bridging time",)
    FAILURES = (
        Failure(
            "battery flat",
            "battery",
            4.0,
            "the controls go off when the mains fails",
            "change the battery",
            "battery",
            effects.NO_HOLD,
        ),
        Failure(
            "inverter stops",
            "solid_state_controller",
            4.0,
            "controls dark though the board is live",
            "feed the controls past it",
            "inverter",
        ),
    )
    UPKEEP = (
        Upkeep("test the battery", was=("battery test",), every_days=182, prevents=("battery",)),
    )

    rating_kva: float = par("kVA", "rating", ge=0.1, le=500)
    hold_min: float = par("min", "time it carries its load", 15.0, ge=0.1, le=600, why="small unit")


class Controller(Controls):
    """Runs valves and pumps. The tool never writes to it."""

    KIND = "controller"
    TITLE = "Controller"
    LETTERS = "CT"
    SYMBOL = "controller"
    ROOM = "power"
    FORM = Footprint("switch", 0.8, 0.4, 2.0, 90, front_m=1.07)
    NEEDS_POWER = True
    TESTS = ("restart after a power cut",)
    STATES = ("runs", "stopped")
    FAILURES = (
        Failure(
            "stops",
            "controller",
            4.0,
            "screens are dead and everything it controls has stopped",
            "run what milking needs by hand, from the starters",
            "spare with program",
        ),
    )
    UPKEEP = (Upkeep("take a copy of the program", was=("copy of the program",), every_days=182),)

    motor_kw: float = par("kW", "electric input", 0.2, ge=0.01, le=5, why="control cabinet")

    def lower(self) -> tuple[Primitive, ...]:
        return (Load(self.motor_kw * self.count),)


class Sensor(Senses):
    """Measures something on another machine."""

    KIND = "sensor"
    TITLE = "Sensor"
    LETTERS = "SN"
    SYMBOL = "sensor"
    ROOM = "power"
    FORM = Footprint("deck", sort="none")
    FAILURES = (
        Failure("reads false", "transducer", 1.0, "its reading does not follow what the plant does", "compare it with a hand instrument; have it changed", "sensor", effects.BLIND),
        Failure("signal lost", "connector", 1.0, "its value is missing", "look at its connector and cable; dry it", "cable", effects.BLIND),
    )  # fmt: skip
    UPKEEP = (Upkeep("compare with a reference", every_days=182),)

    measures: Literal["vacuum", "pressure", "level", "flow", "temperature", "conductivity", "current", "speed",
                      "position", "presence"] = par("", "what it measures")  # fmt: skip
    on: str = par("", "machine it sits on", refers="*")
    at_port: str | None = par("", "port it sits at, where that matters", None)

    def lower(self) -> tuple[Primitive, ...]:
        return (Sense(self.measures, self.on),)


class Sounder(TellsPeople):
    """Alarm horn and lamp where people milk."""

    KIND = "sounder"
    TITLE = "Alarm sounder"
    LETTERS = "AS"
    SYMBOL = "sounder"
    ROOM = "power"
    FORM = Footprint("deck", sort="none")
    NEEDS_POWER = True
    TESTS = ("heard everywhere",)
    STATES = ("quiet", "sounds")
    FAILURES = (
        Failure(
            "silent", "solenoid_valve", 2.0, "no sound at the weekly test", "change it", "sounder"
        ),
    )
    UPKEEP = (Upkeep("test it", was=("weekly test",), every_days=7, fixed=True),)

    motor_kw: float = par("kW", "electric input", 0.05, ge=0.001, le=1, why="horn and lamp")
