"""Water: sources, tanks, pumps, filters, heaters."""

from __future__ import annotations

from typing import Literal

from byrewright.plant import effects
from byrewright.plant.machine import RUN, Failure, Ids, InternalPath, Part, Upkeep, port, ports
from byrewright.plant.primitives import (
    Float,
    Heated,
    Loss,
    Primitive,
    Pump,
    Recovers,
    Vessel,
)
from byrewright.plant.record import motor_start, par
from byrewright.plant.roles import (
    BuffersWater,
    FiltersWater,
    GivesWater,
    HeatsWater,
    MovesWater,
    ProtectsWater,
    RecoversHeat,
    SoftensWater,
)
from byrewright.plant.roles.water import RECOVERS
from byrewright.standards.electrical import StartMethod
from byrewright.standards.footprints import Footprint
from byrewright.standards.water import BACKFLOW

SCALD = "Scalding water and steam: guard, label and temper; relief valve fitted and tested by licensed people."


class WaterSource(GivesWater):
    """A spring, well, borehole or mains supply."""

    KIND = "water_source"
    TITLE = "Water source"
    LETTERS = "WS"
    SYMBOL = "source"
    ROOM = "water"
    FORM = Footprint("yard", 0.5, 0.5, 0.5, 50, sort="outside", sides=(("", "back_low"),))
    TESTS = ("source flow",)
    PORTS = ports(port("outlet", "water", direction="out"))
    INSIDE = (InternalPath("*", "outlet"),)
    STATES = ("runs", "stopped")
    FAILURES = (Failure("fails", "water_supply", 8.0, "the tank level falls; no flow at the cooler", "use the stored water; open the spare supply",
                        "pump or float"),)  # fmt: skip
    UPKEEP = (
        Upkeep(
            "take a sample as the region's rule says",
            was=("sample to the rule of the region",),
            every_days=365,
            fixed=True,
        ),
    )

    flow_l_min: float = par("L/min", "most it gives", ge=1, le=10000)
    origin: Literal["spring", "well", "borehole", "mains"] = par(
        "", "where it comes from", "borehole", why="not stated"
    )

    def lower(self) -> tuple[Primitive, ...]:
        return (Vessel(self.flow_l_min * self.count, "water", "source"),)


class LiquidPump(MovesWater):
    """Moves water, wash or chilled liquid."""

    KIND = "liquid_pump"
    TITLE = "Pump"
    LETTERS = "LP"
    SYMBOL = "pump_liquid"
    ROOM = "water"
    FORM = Footprint("wash", 0.6, 0.35, 0.4, 35, "motor_kw", 2.2, 0.2, through=True,
                     plinth=True, follows=True, sides=(("inlet", "back_low"),))  # fmt: skip
    NEEDS_POWER = True
    TESTS = ("pump flow",)
    PORTS = ports(port("inlet", "water", "wash", "coolant", direction="in"),
                  port("outlet", "water", "wash", "coolant", direction="out"))  # fmt: skip
    INSIDE = (InternalPath("inlet", "outlet", "driven", free=True),)
    CAN = frozenset({"moves liquid", "runs"})
    STATES = RUN
    FAILURES = (
        Failure(
            "stops",
            "centrifugal_pump",
            4.0,
            "it should be running but no water comes",
            "start the standby",
            "motor or seal",
            also=("ac_motor", "motor_protection"),
        ),
        Failure(
            "seal leaks",
            "pump_seal",
            2.0,
            "drips below it, bearings wet",
            "change the seal after milking",
            "seal kit",
            effects.outside("it drips until its seal is changed after milking"),
        ),
    )
    UPKEEP = (
        Upkeep(
            "seal and bearings",
            every_h=6000,
            parts=(Part("shaft seal kit"), Part("bearing set")),
            prevents=("pump_seal", "centrifugal_pump"),
        ),
    )

    flow_l_min: float = par("L/min", "flow at its head", ge=1, le=10000)
    head_m: float = par("m", "head at that flow", ge=1, le=200)
    npsh_m: float | None = par(
        "m", "net positive suction head it needs at its flow", None, ge=0.1, le=20
    )
    motor_kw: float = par("kW", "motor rating", ge=0.05, le=110)
    start: StartMethod | None = motor_start()
    speed: Literal["fixed", "variable"] = par(
        "", "how its speed is set", "fixed", why="nothing says it has a drive"
    )

    def lower(self) -> tuple[Primitive, ...]:
        return (
            Pump(
                "inlet",
                "outlet",
                self.flow_l_min * self.count,
                motor_kw=self.motor_kw * self.count,
                head_m=self.head_m,
                npsh_m=self.npsh_m,
            ),
        )


class WaterTank(BuffersWater):
    """Stores water: fresh, or warm water recovered from the cooler."""

    KIND = "water_tank"
    TITLE = "Water tank"
    LETTERS = "WT"
    SYMBOL = "vessel_open"
    ROOM = "water"
    FORM = Footprint("wash", 1.6, 1.2, 1.6, 120, "volume_l", 3000, sides=(("outlet", "back_low"),))
    PORTS = ports(port("inlet_#", "water", direction="in"), port("outlet_#", "water", direction="out"),
                  port("overflow", "drain", direction="out", needed=False))  # fmt: skip
    INSIDE = (InternalPath("inlet_#", "*"), InternalPath("*", "outlet_#"))
    CAN = frozenset({"stores water"})
    FAILURES = (
        Failure(
            "float sticks",
            "float",
            1.0,
            "overflows or runs dry",
            "work the float by hand",
            "float valve",
        ),
    )
    UPKEEP = (Upkeep("clean out", every_days=365, prevents=("float",)),)

    volume_l: float = par("L", "volume", ge=50, le=500000)
    holds: Literal["fresh", "recovered"] = par("", "fresh water, or water recovered from the cooler", "fresh",
                                               why="fresh where nothing is said")  # fmt: skip
    wall_u_w_m2k: float = par(
        "W/m2/K", "heat through its wall", 3.0, ge=0, le=15, why="plastic or steel, not insulated"
    )
    inlet_air_gap: bool | None = par("", "water falls in above the rim, through an air gap", None)

    def lower(self) -> tuple[Primitive, ...]:
        start = 0.9 if self.holds == "fresh" else 0.3
        return (
            Vessel(
                self.volume_l * self.count,
                "water",
                start_share=start,
                overflow="overflow",
                wall="standing",
                wall_u_w_m2k=self.wall_u_w_m2k,
            ),
            Float("inlet_#", 0.95, 1e4),
        )


class WaterFilter(FiltersWater):
    """Strains the water."""

    KIND = "water_filter"
    TITLE = "Water filter"
    LETTERS = "WF"
    SYMBOL = "filter"
    ROOM = "water"
    FORM = Footprint("wash", 0.5, 0.4, 1.2, 40, "flow_l_min", 150, 0.2, through=True)
    PORTS = ports(port("inlet", "water", direction="in"), port("outlet", "water", direction="out"))
    INSIDE = (InternalPath("inlet", "outlet"),)
    FAILURES = (
        Failure(
            "blocks",
            "filter",
            0.5,
            "water flow falls, milk warmer",
            "backwash it",
            "element",
            effects.SHUT,
        ),
    )
    UPKEEP = (
        Upkeep(
            "wash back or change it",
            was=("wash back or change",),
            every_days=30,
            parts=(Part("filter element"),),
        ),
    )

    flow_l_min: float = par("L/min", "rated flow", ge=1, le=10000)

    def lower(self) -> tuple[Primitive, ...]:
        return (Loss("inlet", "outlet", "water.filter_drop_kpa", self.flow_l_min * self.count),)


class BackflowPreventer(ProtectsWater):
    """Keeps wash and milk from flowing back into drinking water. Local code decides which is used."""

    KIND = "backflow_preventer"
    TITLE = "Backflow preventer"
    LETTERS = "BP"
    SYMBOL = "check"
    ROOM = "water"
    FORM = Footprint("wash", 0.5, 0.25, 0.35, 12, "flow_l_min", 150, 0.25, sort="hung",
                     base_m=1.0, through=True)  # fmt: skip
    TESTS = ("backflow test",)
    PORTS = ports(port("inlet", "water", direction="in"), port("outlet", "water", direction="out"))
    INSIDE = (InternalPath("inlet", "outlet", "check"),)
    FAILURES = (
        Failure("passes back", "check_valve", 3.0, "its yearly test fails, or its relief drips",
                "shut the water to the wash until it is mended", "seats and springs",
                effects.outside("nothing keeps wash from the drinking water while the pressure fails")),
    )  # fmt: skip
    UPKEEP = (
        Upkeep(
            "test by a licensed person, as the local code says",
            every_days=365,
            prevents=("check_valve",),
            fixed=True,
        ),
    )

    device: Literal["reduced_pressure", "double_check", "single_check"] = par(
        "", "what it is", "reduced_pressure", why="the usual one before a wash plant"
    )
    flow_l_min: float = par("L/min", "rated flow", ge=1, le=10000)

    def protects(self) -> int:
        return BACKFLOW[self.device].category

    def lower(self) -> tuple[Primitive, ...]:
        return (Loss("inlet", "outlet", "water.backflow_drop_kpa", self.flow_l_min * self.count),)


class Softener(SoftensWater):
    """Exchanges the hardness of water for sodium; regenerates with salt."""

    KIND = "softener"
    TITLE = "Softener"
    LETTERS = "WX"
    SYMBOL = "filter"
    ROOM = "water"
    FORM = Footprint("wash", 0.7, 0.5, 1.3, 120, "flow_l_min", 60, 0.25, through=True)
    PORTS = ports(port("inlet", "water", direction="in"), port("outlet", "water", direction="out"))
    INSIDE = (InternalPath("inlet", "outlet"),)
    FAILURES = (
        Failure("spent", "filter", 0.5, "scale in the heater, more detergent for the same wash",
                "fill salt; let it regenerate", "resin",
                effects.outside("hard water: scale, and weaker detergent, over weeks")),
    )  # fmt: skip
    UPKEEP = (
        Upkeep(
            "fill up salt and test the hardness behind it",
            was=("salt and hardness behind it",),
            every_days=7,
        ),
    )

    flow_l_min: float = par("L/min", "rated flow", ge=1, le=2000)
    capacity_mol: float = par("mol", "hardness it takes between regenerations", ge=0.5, le=1000)
    salt_kg: float = par("kg", "salt of a regeneration", ge=0.1, le=500)

    def lower(self) -> tuple[Primitive, ...]:
        return (Loss("inlet", "outlet", "water.softener_drop_kpa", self.flow_l_min * self.count),)


class HeatRecovery(RecoversHeat):
    """Warms wash water with the heat of refrigeration before the heaters finish it."""

    KIND = "heat_recovery"
    TITLE = "Heat recovery"
    LETTERS = "HR"
    SYMBOL = "heater"
    ROOM = "water"
    FORM = Footprint("wash", 0.8, 0.8, 1.8, 140, "volume_l", 500, barrel=True)
    PORTS = ports(
        port("inlet", "water", direction="in"), port("outlet_#", "water", direction="out")
    )
    INSIDE = (InternalPath("inlet", "*"), InternalPath("*", "outlet_#"))
    CAN = frozenset({"stores water"})
    FAILURES = (
        Failure("takes no heat", "exchanger_fouling", 4.0, "water behind it stays cold, heater runs long",
                "let the heater do it alone; descale, call", "",
                effects.fouled(0.0)),
    )  # fmt: skip
    UPKEEP = (
        Upkeep(
            "scale, relief valve, leak check by licensed person",
            every_days=365,
            prevents=("exchanger_fouling",),
            fixed=True,
        ),
    )
    CAUTIONS = (
        SCALD,
        "Refrigerant in water on a leak: double wall where water is drunk; local code decides.",
    )

    volume_l: float = par("L", "water it keeps warm", ge=20, le=20000)
    takes: Literal["desuperheater", "condenser"] = par(
        "", "which of the refrigerant's heat: its superheat alone, or all of it", "desuperheater",
        why="does not change how the refrigeration works",
    )  # fmt: skip
    takes_from: Ids = par("", "refrigeration whose heat it takes", (), refers="makes cold")

    def lower(self) -> tuple[Primitive, ...]:
        return (
            Vessel(self.volume_l * self.count, "water", start_share=1.0,
                   loss_share_h=0.01, gas="supply"),
            Float("inlet", 1.0, 100.0),
            Recovers(self.takes_from, *RECOVERS[self.takes]),
        )  # fmt: skip


class WaterHeater(HeatsWater):
    """Heats and stores wash water."""

    KIND = "water_heater"
    TITLE = "Water heater"
    LETTERS = "WH"
    SYMBOL = "heater"
    ROOM = "water"
    FORM = Footprint("wash", 0.9, 0.9, 1.9, 180, "volume_l", 600, hot=True, barrel=True)
    NEEDS_POWER = True
    TESTS = ("heat-up",)
    PORTS = ports(
        port("inlet", "water", direction="in"), port("outlet_#", "water", direction="out")
    )
    INSIDE = (InternalPath("inlet", "*"), InternalPath("*", "outlet_#"))
    CAN = frozenset({"stores water"})
    STATES = ("runs", "stopped")
    FAILURES = (Failure("element fails", "heater", 4.0, "wash returns cold", "wait and wash again when the water is hot; have the element changed",
                        "element or thermostat"),)  # fmt: skip
    UPKEEP = (
        Upkeep(
            "element, thermostat, relief valve", every_days=365, prevents=("heater",), fixed=True
        ),
    )
    CAUTIONS = (SCALD,)

    volume_l: float = par("L", "volume", ge=20, le=20000)
    heater_kw: float = par("kW", "heating power", ge=0.5, le=500)
    set_c: float = par(
        "degC",
        "temperature it holds",
        85.0,
        ge=40,
        le=98,
        why="80-85 at the heater outlet",
        confidence="read",
    )
    loss_pct_h: float = par(
        "%/h", "standing loss", 1.0, ge=0, le=10, why="about 1 % an hour", confidence="read"
    )
    fuel: Literal["electric", "gas", "oil"] = par("", "what heats it", "electric", why="not stated")

    def lower(self) -> tuple[Primitive, ...]:
        return (
            Vessel(self.volume_l * self.count, "water", start_share=1.0,
                   loss_share_h=self.loss_pct_h / 100),
            # A closed heater fills as it is drawn from: faster than any draw.
            Heated(self.heater_kw * self.count, self.set_c, self.fuel == "electric",
                   1.0 if self.fuel == "electric" else 0.8),
            Float("inlet", 1.0, 200.0),
        )  # fmt: skip
