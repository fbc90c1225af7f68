"""Cooling: plate cooler, tanks, chillers, ice bank, refrigeration."""

from __future__ import annotations

from typing import ClassVar, Literal

from byrewright.plant import effects
from byrewright.plant.kinds.milk import CONFINED, HOT
from byrewright.plant.machine import (
    RUN,
    Failure,
    InternalPath,
    Part,
    Port,
    Service,
    Upkeep,
    port,
    ports,
)
from byrewright.plant.primitives import (
    Chill,
    ColdStore,
    Cooled,
    Exchange,
    HoldsCold,
    Loss,
    Primitive,
    Vessel,
)
from byrewright.plant.record import par
from byrewright.plant.roles import (
    BuffersCold,
    CoolsMilk,
    MakesCold,
    StoresMilk,
    TakesExpansion,
)
from byrewright.standards.footprints import Footprint

REFRIGERANT = "Refrigerant circuits only by licensed people; ventilate, no naked flame near flammable refrigerant."

CHILLER_L_KW = 5.0
"""Liquid in a chiller and the pipes at it, for each kW (common practice, no source)."""


class PlateCooler(CoolsMilk):
    """Cools milk against water, and in a second stage against a chilled liquid."""

    KIND = "plate_cooler"
    TITLE = "Plate cooler"
    LETTERS = "PC"
    SYMBOL = "exchanger"
    ROOM = "cooling"
    FORM = Footprint("milk", 1.0, 0.4, 1.3, 220, "area_m2", 8, 0.25, through=True)
    FAILURES = (
        Failure("blocks", "filter", 3.0, "hardly any milk gets through, and the pumps before it labour", "let the milk past it or open and clean it", "gaskets",
                effects.SHUT),
        Failure("fouled", "exchanger_fouling", 3.0, "milk leaves warmer than last month", "backwash it; if that is not enough, have it opened",
                "gaskets", effects.fouled(0.6)),
        Failure("plate leaks", "exchanger", 8.0, "the dairy reports a raised freezing point, or the water is cloudy with milk", "isolate its water; hold the milk back; have it pressure-tested",
                "plate and gasket", effects.outside("water in milk, told by its freezing point; or milk in the water")),
    )  # fmt: skip
    CAUTIONS = (HOT,)
    UPKEEP = (
        Upkeep(
            "compare the approach temperature with the clean one",
            was=("approach temperature",),
            every_days=7,
        ),
        Upkeep(
            "open and inspect",
            every_days=730,
            parts=(Part("plate gasket set"),),
            prevents=("exchanger", "exchanger_fouling"),
        ),
    )
    TESTS = ("outlet temperature and approach",)
    SIZED_BY: ClassVar[dict[Service, str]] = {"water": "area_m2", "coolant": "chilled_area_m2"}
    FLOW_FIELD: ClassVar[str] = "milk_design_l_min"

    area_m2: float = par(
        "m2", "heat-transfer area of the water stage (0: the chilled stage alone)", ge=0, le=500
    )
    u_w_m2_k: float = par("W/m2/K", "overall coefficient at design flow, clean", 2500.0, ge=300, le=6000,
                          why="2000-4000 for milk against water", confidence="from_memory")  # fmt: skip
    water_ratio: float = par(
        "", "parts of water to one of milk", 2.0, ge=0.2, le=6, why="common ratio"
    )
    chilled_area_m2: float = par(
        "m2", "area of the chilled stage (0: none)", 0.0, ge=0, le=500, why="no second stage"
    )
    chilled_ratio: float = par(
        "", "parts of chilled liquid to one of milk", 2.0, ge=0.2, le=6, why="common ratio"
    )
    milk_drop_kpa: float = par(
        "kPa", "pressure lost by the milk at design flow", 80.0, ge=1, le=500, why="usual size"
    )
    milk_design_l_min: float | None = par(
        "L/min", "milk flow at which its drop is stated; not stated, from its area", None, ge=1,
        le=5000,
    )  # fmt: skip

    def _stages(self) -> tuple[tuple[str, Service, float, float], ...]:
        """Side, liquid, area and ratio of each stage there is, as the milk meets them."""
        both: tuple[tuple[str, Service, float, float], ...] = (
            ("water", "water", self.area_m2, self.water_ratio),
            ("coolant", "coolant", self.chilled_area_m2, self.chilled_ratio),
        )
        return tuple(one for one in both if one[2] > 0)

    def ports(self) -> tuple[Port, ...]:
        every = [port("milk_in", "milk", direction="in"), port("milk_out", "milk", direction="out")]
        for side, service, _, _ in self._stages():
            every += [port(f"{side}_in", service, direction="in"),
                      port(f"{side}_out", service, direction="out")]  # fmt: skip
        return tuple(every)

    def inside(self) -> tuple[InternalPath, ...]:
        sides = ("milk", *(side for side, *_ in self._stages()))
        return tuple(InternalPath(f"{side}_in", f"{side}_out") for side in sides)

    def lower(self) -> tuple[Primitive, ...]:
        stages = tuple(
            Exchange("milk_in", "milk_out", f"{side}_in", f"{side}_out",
                     self.count * area * self.u_w_m2_k / 1000, ratio)
            for side, _, area, ratio in self._stages()
        )  # fmt: skip
        return (*stages, *self._losses())

    def _losses(self) -> tuple[Primitive, ...]:
        """Drops at the stated milk flow, or at that of the usual transfer units of its area."""
        flow, per, by = self.milk_design_l_min, "", "the milk flow its drop is stated at"
        if flow is None:
            kj_k_l = 1.03 * 3.93
            flow = (self.area_m2 or self.chilled_area_m2) * self.u_w_m2_k / 1000 / kj_k_l * 60
            per, by = "plate.rated_ntu", "the usual transfer units of its first stage"

        def drop(side: str, kpa: float | str, share: float) -> Loss:
            return Loss(f"{side}_in", f"{side}_out", kpa, flow, share * self.count, per,
                        "plate.drop_exponent", by=by)  # fmt: skip

        sides = (drop(x, "water.cooler_drop_kpa", ratio) for x, _, _, ratio in self._stages())
        return (drop("milk", self.milk_drop_kpa, 1.0), *sides)


class BulkTank(StoresMilk):
    """Stores milk cold until it is collected (tank or silo)."""

    KIND = "bulk_tank"
    TITLE = "Bulk tank"
    LETTERS = "TK"
    SYMBOL = "tank"
    ROOM = "cooling"
    FORM = Footprint("tank", 3.6, 2.15, 2.45, 1900, "volume_l", 10000, front_m=1.0,
                     end_on=True, sides=(("outlet", "front_low"),))  # fmt: skip
    NEEDS_POWER = True
    PORTS = ports(
        port("inlet_#", "milk", direction="in"),
        port("outlet", "milk", direction="out"),
        port("sample", "milk", direction="out", needed=False),
        port("wash", "wash", direction="in", needed=False),
        port("vent", "air", needed=False),
        port("refrigerant_in", "refrigerant", direction="in", needed=False),
        port("refrigerant_out", "refrigerant", direction="out", needed=False),
        port("coolant_in", "coolant", direction="in", needed=False),
        port("coolant_out", "coolant", direction="out", needed=False),
    )
    INSIDE = (InternalPath("inlet_#", "*"), InternalPath("wash", "*"), InternalPath("*", "outlet"), InternalPath("*", "sample"),
              InternalPath("refrigerant_in", "refrigerant_out"), InternalPath("coolant_in", "coolant_out"))  # fmt: skip
    CAN = frozenset({"holds milk"})
    STATES = ("fills", "stands", "is washed", "is emptied")
    FAILURES = (
        Failure("agitator stops", "ac_motor", 4.0, "the paddle has stopped and cream lies on the milk", "start the paddle by hand", "motor",
                effects.outside("milk in the tank warm and creamed in layers; its thermometer misleads")),
        Failure("thermometer false", "transducer", 2.0, "display differs from a hand thermometer", "measure by hand until it is changed",
                "sensor", effects.outside("milk may be stored too warm unseen, or frozen at the wall")),
    )  # fmt: skip
    UPKEEP = (
        Upkeep(
            "compare its thermometer with a reference",
            was=("thermometer against a reference",),
            every_days=182,
        ),
        Upkeep(
            "look at the outlet's seat",
            was=("outlet seat",),
            every_days=182,
            parts=(Part("outlet seal set"),),
        ),
    )
    TESTS = ("cooling time", "insulation")
    CAUTIONS = (CONFINED,)

    volume_l: float = par("L", "rated volume", ge=200, le=200000)
    cooling: Literal["direct_expansion", "ice_bank", "chilled_water", "none"] = par("", "how it is cooled",
                                                                                    "direct_expansion",
                                                                                    why="most common")  # fmt: skip
    cooling_kw: float = par(
        "kW", "heat it can take out of the milk at its rated conditions", ge=0, le=1000
    )
    milkings_class: Literal[2, 4, 6] = par(
        "", "milkings it is rated to hold", 2, why="collected daily"
    )
    time_class: Literal["0", "I", "II", "III"] = par("", "cooling-time class", "II", why="common class",
                                                     confidence="from_memory")  # fmt: skip
    ambient_class: Literal["A", "B", "C"] = par(
        "", "ambient class", "B", why="temperate climate", confidence="from_memory"
    )
    set_c: float = par(
        "degC", "temperature it holds", 3.5, ge=0.5, le=8, why="below 4 degC with no ice"
    )
    agitator_kw: float = par("kW", "agitator motor", 0.75, ge=0, le=15, why="usual for its size")
    insulation_k_h: float | None = par(
        "K/h", "warming of a full tank left alone, 28 K below its surroundings; from its wall "
        "where not stated", None, ge=0, le=3,
    )  # fmt: skip
    shape: Literal["lying", "standing"] = par(
        "", "a cylinder on its side, or on its end (a silo)", "lying", why="most tanks lie"
    )
    stirred_from_l: float | None = par(
        "L", "content from which the agitator reaches the milk; a tenth of the volume where not "
        "stated", None, ge=0, le=100000,
    )  # fmt: skip
    little_milk: Literal["waits", "cooled_still"] = par(
        "", "what cooling does before the agitator reaches the milk: it waits, or it cools slowly "
        "from below with a guard against freezing", "waits",
        why="not stated: taken as not cooled until it is stirred",
    )  # fmt: skip

    def power_kw(self) -> float:
        return self.agitator_kw

    def lower(self) -> tuple[Primitive, ...]:
        return (
            Vessel(self.volume_l * self.count, fill=True, wall=self.shape,
                   gain_k_h=self.insulation_k_h),
            Cooled(self.set_c, self.cooling_kw * self.count, self.agitator_kw * self.count,
                   "coolant_in", self.little_milk == "cooled_still", self.stirred_from_l),
            Loss("coolant_in", "coolant_out", "coolant.tank_drop_kpa",
                 at_kw=self.cooling_kw * self.count),
            Loss("wash", "*", "wash.spray_kpa", "wash.spray_l_min", self.count),
        )  # fmt: skip


class CondensingUnit(MakesCold):
    """Refrigeration for a direct-expansion tank: compressor and air-cooled condenser."""

    KIND = "condensing_unit"
    BUILDING_CLASS = "IfcCondenser"
    TITLE = "Condensing unit"
    LETTERS = "CU"
    SYMBOL = "chiller"
    ROOM = "cooling"
    FORM = Footprint("cold", 1.4, 0.8, 1.3, 260, "duty_kw", 15, 0.25, front_m=1.0,
                     hot=True, through=True)  # fmt: skip
    NEEDS_POWER = True
    TESTS = ("refrigeration check",)
    PORTS = ports(port("refrigerant_out", "refrigerant", direction="out"),
                  port("refrigerant_in", "refrigerant", direction="in"),
                  port("recovery_in", "water", direction="in", needed=False),
                  port("recovery_out", "water", direction="out", needed=False))  # fmt: skip
    INSIDE = (
        InternalPath("refrigerant_in", "refrigerant_out", "driven"),
        InternalPath("recovery_in", "recovery_out"),
    )
    CAN = frozenset({"runs"})
    STATES = RUN
    FAILURES = (
        Failure("trips", "refrigeration", 8.0, "tank warms; compressor silent", "clean the condenser; reset once; if it trips again call",
                "pressure switch or contactor"),
        Failure("condenser dirty", "exchanger_fouling", 1.0, "runs long, high pressure", "brush and hose it", "",
                effects.duty(0.7)),
    )  # fmt: skip
    UPKEEP = (
        Upkeep("clean condenser", every_days=90, prevents=("exchanger_fouling", "refrigeration")),
        Upkeep(
            "have a licensed person check for leaks",
            was=("leak check by licensed person",),
            every_days=182,
            fixed=True,
        ),
    )
    CAUTIONS = (REFRIGERANT,)

    duty_kw: float = par("kW", "cold it makes at its rated ambient", ge=0.5, le=1000)
    cop: float = par("", "cold made for each kW of electricity", 2.7, ge=1, le=7, why="2.5-3.0 for air-cooled",
                     confidence="from_memory")  # fmt: skip
    rated_ambient_c: float = par("degC", "ambient at which the duty is stated", 32.0, ge=15, le=50,
                                 why="class B", confidence="from_memory")  # fmt: skip

    def power_kw(self) -> float:
        return self.duty_kw / self.cop

    def lower(self) -> tuple[Primitive, ...]:
        return (
            Chill(self.duty_kw * self.count, self.cop, self.rated_ambient_c, "refrigerant_out"),
        )


class Chiller(MakesCold):
    """Chills a circulating liquid (water or food-grade glycol)."""

    KIND = "chiller"
    TITLE = "Chiller"
    LETTERS = "CH"
    SYMBOL = "chiller"
    ROOM = "cooling"
    FORM = Footprint("cold", 1.8, 0.9, 1.8, 480, "duty_kw", 30, 0.25, front_m=1.0,
                     hot=True, through=True)  # fmt: skip
    NEEDS_POWER = True
    TESTS = ("refrigeration check",)
    PORTS = ports(port("coolant_in", "coolant", direction="in"), port("coolant_out", "coolant", direction="out"),
                  port("recovery_in", "water", direction="in", needed=False),
                  port("recovery_out", "water", direction="out", needed=False))  # fmt: skip
    INSIDE = (
        InternalPath("coolant_in", "coolant_out"),
        InternalPath("recovery_in", "recovery_out"),
    )
    GLYCOL_FIELD = "glycol_pct"
    CAN = frozenset({"runs"})
    STATES = RUN
    FAILURES = (Failure("trips", "refrigeration", 8.0, "coolant warms, milk leaves warm",
                        "start the standby or send milk to the cooled tank", "compressor or control"),)  # fmt: skip
    UPKEEP = (
        Upkeep("clean condenser", every_days=90, prevents=("refrigeration",)),
        Upkeep("measure the glycol's strength", was=("glycol strength",), every_days=365),
    )
    CAUTIONS = (REFRIGERANT,)

    duty_kw: float = par("kW", "cold it makes at its rated conditions", ge=1, le=2000)
    compressors: int = par("", "compressors, started one after another", 1, ge=1, le=12, why="one")
    cop: float = par("", "cold made for each kW of electricity", 2.5, ge=1, le=7, why="2.0-3.0 for chillers",
                     confidence="from_memory")  # fmt: skip
    leaving_c: float = par(
        "degC", "temperature of the liquid it sends out", 1.0, ge=-10, le=15, why="above freezing"
    )
    glycol_pct: float | None = par(
        "%", "propylene glycol in its liquid, by volume (0: water); not stated, what keeps it from "
        "freezing at the evaporator", None, ge=0, le=50,
    )  # fmt: skip
    rated_ambient_c: float = par("degC", "ambient at which the duty is stated", 32.0, ge=15, le=50,
                                 why="temperate climate", confidence="from_memory")  # fmt: skip

    def power_kw(self) -> float:
        return self.duty_kw / self.cop

    def lower(self) -> tuple[Primitive, ...]:
        return (
            ColdStore(
                "coolant_out",
                max(50.0, CHILLER_L_KW * self.duty_kw * self.count),
                self.leaving_c,
                glycol_pct=self.glycol_pct,
            ),
            Chill(self.duty_kw * self.count, self.cop, self.rated_ambient_c),
        )


class CoolantBuffer(BuffersCold):
    """Holds chilled liquid between chiller and users, so that the compressor does not run short."""

    KIND = "coolant_buffer"
    TITLE = "Chilled buffer"
    LETTERS = "CB"
    SYMBOL = "vessel"
    ROOM = "cooling"
    FORM = Footprint("cold", 0.9, 0.9, 1.8, 150, "volume_l", 800)
    PORTS = ports(
        port("coolant_in_#", "coolant", direction="in"),
        port("coolant_out_#", "coolant", direction="out"),
    )
    INSIDE = (InternalPath("coolant_in_#", "*"), InternalPath("*", "coolant_out_#"))
    FAILURES = (
        Failure("leaks", "vessel", 8.0, "pressure of the circuit falls", "shut it off, top up", "",
                effects.outside("chilled liquid on the floor; glycol is caught, not drained")),
    )  # fmt: skip
    UPKEEP = (
        Upkeep("look at insulation and air vent", was=("insulation and air vent",), every_days=365),
    )

    volume_l: float = par("L", "chilled liquid it holds", ge=20, le=50000)

    def lower(self) -> tuple[Primitive, ...]:
        return (HoldsCold("coolant_in_#", self.volume_l * self.count),)


class ExpansionVessel(TakesExpansion):
    """Takes the growth of a closed chilled circuit behind a membrane."""

    KIND = "expansion_vessel"
    TITLE = "Expansion vessel"
    LETTERS = "EV"
    SYMBOL = "vessel"
    ROOM = "cooling"
    FORM = Footprint("cold", 0.4, 0.4, 0.6, 12, "volume_l", 35)
    PORTS = ports(port("coolant", "coolant"))
    FAILURES = (
        Failure("loses its precharge", "vessel", 6.0, "relief valve drips, pressure swings",
                "recharge it with the circuit empty at that point", "membrane",
                effects.outside("liquid lost at the relief valve, air drawn in when it cools")),
    )  # fmt: skip
    UPKEEP = (
        Upkeep(
            "check the precharge, with the circuit's pressure off",
            was=("precharge, with the circuit's pressure off",),
            every_days=365,
        ),
    )

    volume_l: float = par("L", "its whole volume", ge=1, le=5000)
    precharge_bar: float = par(
        "bar", "gas pressure before the circuit is filled", 1.0, ge=0.2, le=6, why="usual"
    )
    relief_bar: float = par(
        "bar", "pressure at which the circuit's relief valve opens", 2.5, ge=0.5, le=10, why="usual"
    )

    def lower(self) -> tuple[Primitive, ...]:
        return ()


ICE_KG_KWH = 3600 / 333.6
"""Ice that stores a kilowatt hour, kg: freezing takes 333.6 kJ/kg out of water (from memory)."""


class IceBank(MakesCold):
    """Stores cold as ice, made mostly off-peak, and sends out ice water."""

    KIND = "ice_bank"
    BUILDING_CLASS = "IfcTank.STORAGE"
    TITLE = "Ice bank"
    LETTERS = "IB"
    SYMBOL = "vessel"
    ROOM = "cooling"
    FORM = Footprint("cold", 2.2, 1.4, 1.7, 650, "store_kwh", 100, front_m=1.0,
                     hot=True, through=True)  # fmt: skip
    NEEDS_POWER = True
    TESTS = ("ice made and held", "refrigeration check")
    PORTS = ports(port("coolant_in_#", "coolant", direction="in"), port("coolant_out_#", "coolant", direction="out"),
                  port("recovery_in", "water", direction="in", needed=False),
                  port("recovery_out", "water", direction="out", needed=False))  # fmt: skip
    INSIDE = (
        InternalPath("coolant_in_#", "*"),
        InternalPath("*", "coolant_out_#"),
        InternalPath("recovery_in", "recovery_out"),
    )
    CAN = frozenset({"stores cold", "runs"})
    STATES = RUN
    FAILURES = (Failure("compressor trips", "refrigeration", 8.0, "the ice is thinner at each milking",
                        "let it run at all hours; cool less milk with it; call", "compressor or control"),)  # fmt: skip
    UPKEEP = (
        Upkeep("try the ice sensor", was=("ice sensor",), every_days=182),
        Upkeep("clean condenser", every_days=90, prevents=("refrigeration",)),
    )
    CAUTIONS = (REFRIGERANT,)

    store_kwh: float = par("kWh", "cold stored as ice when full", ge=1, le=20000)
    duty_kw: float = par("kW", "rate at which its compressors make cold", ge=0.5, le=2000)
    compressors: int = par("", "compressors, started one after another", 1, ge=1, le=12, why="one")
    cop: float = par("", "cold made for each kW of electricity", 2.0, ge=1, le=6, why="1.7-2.2 for ice making",
                     confidence="from_memory")  # fmt: skip
    leaving_c: float = par(
        "degC", "temperature of the water it sends out", 1.0, ge=0, le=6, why="melting ice"
    )
    make_from: str = par(
        "", "time at which ice making may start", "22:00", why="night tariff where there is one"
    )
    make_until: str = par(
        "", "time at which ice making must stop", "06:00", why="night tariff where there is one"
    )

    def power_kw(self) -> float:
        return self.duty_kw / self.cop

    @property
    def bath_l(self) -> float:
        """Water that stays liquid round the ice of one of it, L (common practice, no source)."""
        return 10 * self.store_kwh

    @property
    def holds_l(self) -> float:
        """All water in one of it, L: its bath and what is frozen when it is full."""
        return self.bath_l + self.store_kwh * ICE_KG_KWH

    def lower(self) -> tuple[Primitive, ...]:
        return (
            ColdStore("coolant_out_#", self.bath_l * self.count, self.leaving_c,
                 self.store_kwh * self.count, glycol_pct=0.0),
            Chill(self.duty_kw * self.count, self.cop, 32.0,
                  hours=(self.make_from, self.make_until)),
        )  # fmt: skip
