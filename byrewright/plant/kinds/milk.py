"""Milk: line, receivers, pumps, valves, filters, balance tank, calf feed, tanker bay."""

from __future__ import annotations

import math
from typing import Literal

from byrewright.plant import effects
from byrewright.plant.effects import Law
from byrewright.plant.machine import RUN, Failure, InternalPath, Part, Port, Upkeep, port, ports
from byrewright.plant.primitives import Draw, Filter, Loss, Primitive, Pump, Runs, Tanker, Vessel
from byrewright.plant.record import motor_start, par
from byrewright.plant.roles import (
    BalancesMilk,
    CollectsMilk,
    FeedsCalves,
    FiltersMilk,
    IsValve,
    JoinsPipes,
    LoadsTankers,
    MovesMilk,
    ReceivesMilk,
    TakesWaste,
)
from byrewright.standards.electrical import StartMethod
from byrewright.standards.footprints import Footprint, Ring
from byrewright.standards.milkline import COWS_A_SOCK

CONFINED = (
    "Never enter a vessel: confined space, gas and moving agitator. Follow local law and a permit."
)
HOT = (
    "Hot caustic or acid may be inside: wear eye and hand protection, open nothing under pressure."
)


class Milkline(CollectsMilk):
    """The sloped line that takes milk and air from the units to the receivers."""

    KIND = "milkline"
    TITLE = "Milkline"
    LETTERS = "ML"
    SYMBOL = "line"
    ROOM = "milk"
    FORM = Footprint("deck", 0.3, 0.3, 0.3, 10, sort="spread", ring=Ring(0.35, 0.8, 0.0))
    PORTS = ports(
        port("units_#", "milk", "wash", direction="in"),
        port("receiver_#", "milk", direction="out"),
        port("wash", "wash", direction="in", needed=False),
        port("air", "air", direction="in", needed=False, meaning="air injector or air break"),
        port("drain_#", "drain", direction="out", needed=False),
    )
    INSIDE = (InternalPath("units_#", "*"), InternalPath("wash", "*"), InternalPath("air", "*"), InternalPath("*", "receiver_#"),
              InternalPath("*", "drain_#"))  # fmt: skip
    FAILURES = (
        Failure(
            "leaks air",
            "vessel",
            1.0,
            "froth in the receiver, low reserve",
            "mend the joint",
            "joint",
        ),
    )
    UPKEEP = (
        Upkeep(
            "look over joints and slope",
            was=("joints and slope",),
            every_days=365,
            prevents=("vessel",),
        ),
    )
    TESTS = ("milkline slope", "milk system leakage", "milkline vacuum stability")

    bore_mm: float = par("mm", "bore", ge=25, le=200)
    slope_pct: float = par("%", "slope towards the receiver", ge=0, le=5)
    length_m: float = par("m", "length", ge=1, le=1000)
    looped: bool = par(
        "", "closed into a loop, or dead-ended", True, why="loops are preferred", confidence="read"
    )

    def lower(self) -> tuple[Primitive, ...]:
        bore_m = self.bore_mm / 1000
        volume = math.pi / 4 * bore_m**2 * self.length_m * 1000
        # Half full by Manning's formula (n 0.010), over a quarter of the length on average.
        velocity = 100.0 * (bore_m / 4) ** (2 / 3) * math.sqrt(max(self.slope_pct, 0.1) / 100)
        time_s = max(2.0, self.length_m / 4 / velocity)
        # Milk at half depth runs a quarter of the line, on average, with the slope as its fall.
        fall_kpa = 1030.0 * 9.80665 * self.slope_pct / 100 * self.length_m / 4 / 1000
        half_l_min = velocity * math.pi / 8 * bore_m**2 * 60_000
        return (
            Vessel(
                volume,
                led_at_l=None,
                height_m=bore_m + self.slope_pct / 100 * self.length_m / 4,
                gas="vacuum",
            ),
            Loss("*", "receiver_#", max(fall_kpa, 0.05), half_l_min),
            Runs("receiver_#", time_s=time_s),
        )


class Receiver(ReceivesMilk):
    """Takes milk and air from the milkline, parts them, and holds milk for the pump."""

    KIND = "receiver"
    TITLE = "Receiver"
    LETTERS = "RC"
    SYMBOL = "vessel"
    ROOM = "milk"
    FORM = Footprint("deck", 0.5, 0.5, 0.8, 30, "volume_l", 80, barrel=True,
                     deck_m=0.33,
                     sides=(("milkline", "back_high"), ("outlet", "back_low"),
                            ("balance", "back_low")))  # fmt: skip
    PORTS = ports(
        port("milkline_#", "milk", direction="in"),
        port("vacuum", "vacuum", direction="out"),
        port("outlet", "milk", direction="out"),
        port("balance", "milk", needed=False, meaning="flooded line to its partner"),
        port("drain", "drain", direction="out", needed=False),
    )
    INSIDE = (InternalPath("milkline_#", "*"), InternalPath("*", "vacuum", "trap"), InternalPath("*", "outlet"), InternalPath("*", "balance"),
              InternalPath("*", "drain"))  # fmt: skip
    CAN = frozenset({"holds milk"})
    FAILURES = (
        Failure("level probe says empty", "transducer", 0.5, "pump never starts, receiver fills to the trap",
                "run the pump by hand; wipe the probe", "probe", effects.HELD),
        Failure("level probe says full", "transducer", 0.5, "pump never stops, air in the delivery",
                "run the pump by hand; wipe the probe", "probe", effects.HELD_ON),
        Failure("cracks or leaks", "vessel", 3.0, "vacuum low, froth", "shut it off; carry on with the other", "receiver", effects.BREAKS_OPEN),
    )  # fmt: skip
    UPKEEP = (
        Upkeep(
            "look at probes and gaskets",
            was=("probes and gaskets",),
            every_days=90,
            parts=(Part("receiver gasket"),),
        ),
    )
    TESTS = (
        "receiver volume",
        "working vacuum",
        "effective reserve",
        "regulation in time",
        "level control",
    )

    volume_l: float = par("L", "volume", ge=10, le=1000)
    led_at_l: float | None = par(
        "L", "content that the pump control holds or starts at", None, ge=1, le=800
    )
    stop_at_l: float | None = par("L", "content at which an on/off pump stops", None, ge=0, le=800)
    start_at_l: float | None = par(
        "L", "content at which an on/off pump starts", None, ge=1, le=900
    )

    def lower(self) -> tuple[Primitive, ...]:
        return (
            Vessel(self.volume_l * self.count, led_at_l=self.led_at_l, stop_at_l=self.stop_at_l,
                   start_at_l=self.start_at_l, gas="vacuum"),
            Runs("balance", time_s=10.0),
        )  # fmt: skip


class MilkPump(MovesMilk):
    """Moves milk."""

    KIND = "milk_pump"
    TITLE = "Milk pump"
    LETTERS = "MP"
    SYMBOL = "pump_liquid"
    ROOM = "milk"
    FORM = Footprint("milk", 0.6, 0.35, 0.45, 35, "motor_kw", 1.5, 0.2, through=True,
                     plinth=True, runs_down=True, follows=True,
                     sides=(("inlet", "back_low"),))  # fmt: skip
    NEEDS_POWER = True
    TESTS = ("milk pump flow",)
    PORTS = ports(
        port("inlet", "milk", "wash", direction="in"),
        port("outlet", "milk", "wash", direction="out"),
    )
    INSIDE = (InternalPath("inlet", "outlet", "driven", free=True),)
    CAN = frozenset({"moves liquid", "runs"})
    STATES = RUN
    FAILURES = (
        Failure("stops", "centrifugal_pump", 3.0, "it has stopped although the receiver is full", "run its partner; shut it off", "motor",
                also=("ac_motor", "motor_protection")),
        Failure("seal leaks", "pump_seal", 2.0, "foam, air in the delivery, drips", "run its partner; shut it off; have the seal changed",
                "seal kit", effects.Effect("off", unseen="air and foam in the delivery")),
        Failure("runs on", "contactor", 2.0, "air in the delivery, milk churned", "stop it at the isolator",
                "contactor or drive", effects.HELD_ON),
    )  # fmt: skip
    UPKEEP = (
        Upkeep(
            "seal",
            every_h=2000,
            parts=(Part("shaft seal kit"),),
            prevents=("pump_seal",),
            counts=(("litres", "upkeep.pump_seal_litres"),),
        ),
        Upkeep(
            "impeller and bearings",
            every_h=8000,
            parts=(Part("bearing set"),),
            prevents=("centrifugal_pump",),
        ),
    )

    flow_l_min: float = par("L/min", "flow at its head", ge=5, le=5000)
    head_m: float = par(
        "m",
        "head at that flow, as its data plate says (vacuum drawn against included)",
        ge=1,
        le=100,
    )
    motor_kw: float = par("kW", "motor rating", ge=0.05, le=75)
    start: StartMethod | None = motor_start()
    control: Literal["on_off", "stepped", "level_led"] = par("", "how its speed follows the level", "on_off",
                                                             why="nothing says it has a drive")  # fmt: skip
    led_by: str | None = par("", "vessel whose level leads it", None, refers="holds milk")
    least_flow_pct: float = par(
        "%", "least flow while running", 25.0, ge=0, le=100, why="usual floor of a drive"
    )
    npsh_m: float | None = par(
        "m", "net positive suction head it needs at its flow", None, ge=0.1, le=20
    )
    own_control: bool = par("", "runs by a probe of its own, and runs on when its controller is lost", False,
                            why="not stated")  # fmt: skip
    drains: bool = par(
        "", "a drain at its casing opens when the plant is drained down", False, why="not stated"
    )

    def lower(self) -> tuple[Primitive, ...]:
        return (
            Pump("inlet", "outlet", self.flow_l_min * self.count, self.control, self.led_by,
                  floor_share=self.least_flow_pct / 100, motor_kw=self.motor_kw * self.count,
                  head_m=self.head_m, npsh_m=self.npsh_m, drains=self.drains),
        )  # fmt: skip


TWO_WAYS = (InternalPath("a", "b", "gate", ("open", "half")),)
THREE_WAYS = tuple(InternalPath("a", b, "gate", (f"to_{b}", "half")) for b in "bc")


class Valve(IsValve):
    """A valve in any liquid or air line."""

    KIND = "valve"
    TITLE = "Valve"
    LETTERS = "V"
    SYMBOL = "valve"
    ROOM = "milk"
    FORM = Footprint("milk", 0.3, 0.3, 0.35, 6, sort="in line", through=True,
                     runs_down=True, follows=True)  # fmt: skip
    TESTS = ("valve travel",)
    PORTS = ()
    FAILURES = (
        Failure("sticks", "control_valve", 1.0, "it does not move; the position shown is not the one called for",
                "move it by hand", "actuator", effects.STUCK),
        Failure("passes when shut", "valve_seat", 2.0, "flow or drips downstream of a shut valve", "close a second valve",
                "seat", effects.PASSES),
        Failure("loses its signal", "solenoid_valve", 1.0, "it goes to its rest position by itself",
                "set it by hand; have its coil or connector changed", "pilot valve and connector", effects.RESTS),
        Failure("position sensor wrong", "position_switch", 1.0, "an alarm, though the valve is where it should be",
                "look at the valve itself; have its switch changed", "position switch", effects.outside("an alarm for a valve in place, or none for one out of place")),
    )  # fmt: skip
    UPKEEP = (
        Upkeep(
            "seat and gland",
            every_days=365,
            parts=(Part("seat and gland seal set"),),
            prevents=("valve_seat",),
        ),
    )

    ways: Literal[2, 3] = par("", "two-way or three-way", 2, why="two-way where nothing is said")
    bore_mm: float | None = par("mm", "bore", None, ge=4, le=400)
    moved_by: Literal["hand", "air", "motor"] = par(
        "", "what moves it", "hand", why="hand valve where nothing is said"
    )
    sensed: bool = par("", "its position is sensed", False, why="no sensor where nothing is said")
    duty: Literal[
        "isolate",
        "drain",
        "divert",
        "sample",
        "air_break",
        "wash_supply",
        "fill",
        "outlet",
        "control",
    ] = par("", "what it is for", "isolate", why="isolates where nothing is said")
    seats: Literal["single", "double"] = par("", "one seat, or two with a drained leak chamber between", "single",
                                             why="single seat where nothing is said")  # fmt: skip
    on_loss: Literal["stays", "opens", "closes", "to_b", "to_c"] = par(
        "", "what it does when its air, power or signal is lost", "stays", why="hand valves stay"
    )
    travel_s: float = par(
        "s", "time to move", 2.0, ge=0, le=120, why="usual for an air-moved valve"
    )

    def failures(self) -> tuple[Failure, ...]:
        never: set[Law] = set() if self.sensed else {"outside"}  # a false position
        if self.moved_by == "hand" or self.on_loss == "stays":
            never.add("rests")
        return tuple(f for f in type(self).FAILURES if f.effect.law not in never)

    def ports(self) -> tuple[Port, ...]:
        every = ("vacuum", "milk", "wash", "water", "air", "coolant", "refrigerant", "drain")
        names = ("a", "b") if self.ways == 2 else ("a", "b", "c")
        return tuple(port(n, *every) for n in names)

    def inside(self) -> tuple[InternalPath, ...]:
        return TWO_WAYS if self.ways == 2 else THREE_WAYS

    def states(self) -> tuple[str, ...]:
        return ("closed", "open") if self.ways == 2 else ("to_b", "to_c")

    def lower(self) -> tuple[Primitive, ...]:
        def way(b: str, k: str) -> Loss:
            return Loss("a", b, k=k, half_k="valve.half_open_k", bore_mm=self.bore_mm)

        if self.ways == 2:
            return (way("b", "valve.open_k"),)
        return (way("b", "valve.three_way_k"), way("c", "valve.three_way_k"))


class Header(JoinsPipes):
    """Where several pipes of one service join: a tee or a header."""

    KIND = "header"
    TITLE = "Header"
    LETTERS = "HD"
    SYMBOL = "header"
    ROOM = "milk"
    FORM = Footprint("milk", 0.4, 0.2, 0.2, 15, sort="hung", base_m=1.5, through=True,
                     runs_down=True, follows=True, suction_m=0.35, deck_m=1.1,
                     deck_suction_m=0.2)  # fmt: skip
    PORTS = ports(
        port("way_#", "vacuum", "milk", "wash", "water", "air", "coolant", "refrigerant", "drain")
    )
    INSIDE = (InternalPath("way_#", "*"),)

    bore_mm: float | None = par("mm", "bore", None, ge=4, le=500)


class MilkFilter(FiltersMilk):
    """One filter body with its sock; twin filters are two of these, each with valves."""

    KIND = "milk_filter"
    TITLE = "Milk filter"
    LETTERS = "MF"
    SYMBOL = "filter"
    ROOM = "milk"
    FORM = Footprint("milk", 1.2, 0.25, 0.3, 25, "area_m2", 0.1, through=True, runs_down=True)
    PORTS = ports(
        port("inlet", "milk", direction="in"),
        port("outlet", "milk", direction="out"),
        port("drain", "drain", direction="out", needed=False),
    )
    INSIDE = (InternalPath("inlet", "outlet"), InternalPath("inlet", "drain"))
    FAILURES = (Failure("blocks", "filter", 0.1, "delivery falls, receiver rises", "change over to the other filter; then shut the blocked one off and change its sock",
                        "sock", effects.SHUT),
                Failure("sock bursts", "filter", 0.1, "dirt in the tank sieve", "change over to the other filter; then shut this one off and change its sock", "sock",
                        effects.outside("dirt in the tank's milk")))  # fmt: skip
    CAUTIONS = (HOT,)
    UPKEEP = (Upkeep("change sock", parts=(Part("filter sock"),),
                     counts=(("cows", "cows_a_sock"),)),)  # fmt: skip

    area_m2: float = par("m2", "filter area", ge=0.005, le=10)
    cows_a_sock: float = par("", "cows milked through one sock before it is changed", COWS_A_SOCK, ge=50, le=5000,
                             why="follows from dirt on this farm: measure it")  # fmt: skip
    while_running: bool = par(
        "", "can be changed while milking", False, why="single filter where nothing is said"
    )

    def lower(self) -> tuple[Primitive, ...]:
        return (
            Filter("inlet", "outlet", self.cows_a_sock * self.count),
            Loss("inlet", "outlet", at_l_min="filter.rated_face_m_s",
                 times=60_000 * self.area_m2 * self.count, exponent="filter.drop_exponent",
                 sock=True, by="usual velocity through its cloth"),
        )  # fmt: skip


class BalanceTank(BalancesMilk):
    """Evens the flow between the receivers and the cooler."""

    KIND = "balance_tank"
    TITLE = "Balance tank"
    LETTERS = "BT"
    SYMBOL = "vessel_open"
    ROOM = "milk"
    FORM = Footprint("milk", 0.9, 0.9, 1.3, 110, "volume_l", 500, base_m=0.4,
                     barrel=True, sides=(("outlet", "back_low"),))  # fmt: skip
    TESTS = ("level control",)
    PORTS = ports(
        port("inlet_#", "milk", direction="in"),
        port("outlet", "milk", direction="out"),
        port("overflow", "drain", direction="out", needed=False),
        port("wash", "wash", direction="in", needed=False),
        port("drain", "drain", direction="out", needed=False),
    )
    INSIDE = (
        InternalPath("inlet_#", "*"),
        InternalPath("wash", "*"),
        InternalPath("*", "outlet"),
        InternalPath("*", "drain"),
    )
    CAN = frozenset({"holds milk"})
    FAILURES = (Failure("level sensor false", "transducer", 1.0, "the pump races or has stopped", "run by hand",
                        "level sensor", effects.HELD),)  # fmt: skip
    UPKEEP = (
        Upkeep(
            "look at vent and gasket",
            was=("vent and gasket",),
            every_days=90,
            parts=(Part("lid gasket"),),
        ),
    )
    CAUTIONS = (CONFINED,)

    volume_l: float = par("L", "volume", ge=20, le=20000)
    led_at_l: float | None = par("L", "content that the pump control holds", None, ge=1, le=20000)

    def lower(self) -> tuple[Primitive, ...]:
        return (Vessel(self.volume_l * self.count, led_at_l=self.led_at_l, overflow="overflow"),)


class CalfFeed(FeedsCalves):
    """Takes calf milk after the filter and before the cooler, to a vessel or pasteuriser."""

    KIND = "calf_feed"
    TITLE = "Calf-milk vessel"
    LETTERS = "CF"
    SYMBOL = "vessel"
    ROOM = "milk"
    FORM = Footprint("milk", 0.7, 0.7, 1.0, 60, "volume_l", 150, sides=(("outlet", "back_low"),))
    PORTS = ports(port("milk", "milk", direction="in"), port("outlet", "milk", direction="out", needed=False),
                  port("wash", "wash", direction="in", needed=False),
                  port("drain", "drain", direction="out", needed=False))  # fmt: skip
    INSIDE = (
        InternalPath("milk", "*"),
        InternalPath("wash", "*"),
        InternalPath("*", "outlet"),
        InternalPath("*", "drain"),
    )
    CAN = frozenset({"holds milk", "is an outlet for milk"})
    FAILURES = (Failure("full", "operator", 0.2, "take-off valve open with the vessel full", "close it", "",
                        effects.outside("a vessel overflows; no more milk is led to it")),)  # fmt: skip
    UPKEEP = (Upkeep("wash it out", was=("wash",), every_days=1),)

    volume_l: float = par("L", "volume", ge=20, le=10000)
    draw_l_milking: float = par("L", "milk drawn each milking", ge=0, le=10000)

    def lower(self) -> tuple[Primitive, ...]:
        return (Vessel(self.volume_l * self.count), Draw(self.draw_l_milking))


class TankerBay(LoadsTankers):
    """Where the tanker couples up: from the tanks, or directly from the cooler."""

    KIND = "tanker_bay"
    TITLE = "Tanker bay"
    LETTERS = "TB"
    SYMBOL = "tanker"
    ROOM = "milk"
    FORM = Footprint("yard", 0.3, 0.3, 0.3, 20, sort="outside", sides=(("", "back_low"),))
    TESTS = ("loading flow",)
    PORTS = ports(
        port("inlet_#", "milk", direction="in"), port("wash", "wash", direction="in", needed=False)
    )
    INSIDE = (InternalPath("inlet_#", "*"),)
    CAN = frozenset({"is an outlet for milk"})
    FAILURES = (Failure("tanker late", "collection", 6.0, "tank full before it comes", "use the reserve and call", "",
                        effects.LATE),)  # fmt: skip

    load_l_min: float = par("L/min", "rate at which a tanker is loaded", 800.0, ge=20, le=3000,
                            why="common suction or loading pump rate")  # fmt: skip
    direct: bool = par("", "milk can be sent straight from the cooler", False, why="not stated")

    def lower(self) -> tuple[Primitive, ...]:
        return (Vessel(60000.0), Tanker(self.load_l_min, self.direct))


class FloorDrain(TakesWaste):
    """Where waste goes: floor channel or foul drain."""

    KIND = "floor_drain"
    TITLE = "Floor drain"
    LETTERS = "FD"
    SYMBOL = "drain"
    ROOM = "water"
    FORM = Footprint("yard", sort="none")
    PORTS = ports(port("inlet_#", "drain", "wash", "water", "milk", direction="in"))
    INSIDE = (InternalPath("inlet_#", "*"),)
    UPKEEP = (Upkeep("clean grid and trap", was=("grid and trap",), every_days=7),)

    def lower(self) -> tuple[Primitive, ...]:
        return (Vessel(1e9, "wash", "sink"),)
