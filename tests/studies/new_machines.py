"""Kinds that exist only in tests: a tube cooler and a store of cold that is not ice.

Each is one class of the size a user would write, and fails as the machine whose place it takes.
`swapped` puts them into a plant in place of machines that do the same, so that every answer must
come out the same.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import ClassVar

from byrewright.plant.machine import (
    REGISTRY,
    RUN,
    InternalPath,
    Machine,
    Service,
    kinds,
    port,
    ports,
)
from byrewright.plant.plant import Plant
from byrewright.plant.primitives import Chill, ColdStore, Exchange, Loss, Primitive
from byrewright.plant.record import par
from byrewright.plant.roles import CoolsMilk, MakesCold


@contextmanager
def new_kinds() -> Iterator[dict[str, type[Machine]]]:
    """The two kinds, registered for as long as the block lasts."""

    class TubeCooler(CoolsMilk):
        """Milk in tubes, water and then a chilled liquid around them."""

        KIND = "tube_cooler"
        TITLE = "Tube cooler"
        LETTERS = "TC"
        SYMBOL = "exchanger"
        ROOM = "cooling"
        PORTS = ports(
            port("tubes_in", "milk", direction="in"), port("tubes_out", "milk", direction="out"),
            port("shell_in", "water", direction="in"), port("shell_out", "water", direction="out"),
            port("cold_in", "coolant", direction="in", needed=False),
            port("cold_out", "coolant", direction="out", needed=False),
        )  # fmt: skip
        INSIDE = (InternalPath("tubes_in", "tubes_out"), InternalPath("shell_in", "shell_out"),
                  InternalPath("cold_in", "cold_out"))  # fmt: skip
        FAILURES = kinds()["plate_cooler"].FAILURES
        UPKEEP = kinds()["plate_cooler"].UPKEEP
        SIZED_BY: ClassVar[dict[Service, str]] = {"water": "tubes_m", "coolant": "cold_tubes_m"}

        tubes_m: float = par("m", "tube in the water stage", ge=1, le=5000)
        cold_tubes_m: float = par("m", "tube in the chilled stage", 0.0, ge=0, le=5000, why="none")
        ua_w_k_m: float = par("W/K/m", "heat transfer a metre of tube", ge=10, le=1000)
        ratio: float = par("", "litres of water to one of milk", 2.0, ge=0.2, le=6, why="usual")
        milk_drop_kpa: float = par("kPa", "pressure lost", 80.0, ge=1, le=500, why="usual")

        def lower(self) -> tuple[Primitive, ...]:
            each = self.count * self.ua_w_k_m / 1000
            water = Exchange("tubes_in", "tubes_out", "shell_in", "shell_out",
                             self.tubes_m * each, self.ratio)  # fmt: skip
            cold = Exchange("tubes_in", "tubes_out", "cold_in", "cold_out",
                            self.cold_tubes_m * each, self.ratio)  # fmt: skip
            l_min = self.tubes_m * self.ua_w_k_m / 1000 / (1.03 * 3.93) * 60

            def drop(a: str, b: str, kpa: float | str, share: float) -> Loss:
                return Loss(a, b, kpa, l_min, share * self.count, "plate.rated_ntu",
                            "plate.drop_exponent", by="its tubes")  # fmt: skip

            found = [water, drop("tubes_in", "tubes_out", self.milk_drop_kpa, 1.0)]
            found.append(drop("shell_in", "shell_out", "water.cooler_drop_kpa", self.ratio))
            if self.cold_tubes_m:
                found += [cold, drop("cold_in", "cold_out", "water.cooler_drop_kpa", self.ratio)]
            return tuple(found)

    class SaltStore(MakesCold):
        """Stores cold in salt that freezes, and chills a liquid with it."""

        KIND = "salt_store"
        TITLE = "Salt store"
        LETTERS = "SS"
        SYMBOL = "vessel"
        ROOM = "cooling"
        NEEDS_POWER = True
        PORTS = ports(port("warm_#", "coolant", direction="in"),
                      port("cold_#", "coolant", direction="out"))  # fmt: skip
        INSIDE = (InternalPath("warm_#", "*"), InternalPath("*", "cold_#"))
        CAN = frozenset({"runs", "stores cold"})
        STATES = RUN
        FAILURES = kinds()["ice_bank"].FAILURES
        UPKEEP = kinds()["ice_bank"].UPKEEP
        SIZED_BY: ClassVar[dict[str, str]] = {"duty": "freezes_kw", "store": "salt_kwh"}

        salt_kwh: float = par("kWh", "cold kept when all is frozen", ge=1, le=20000)
        freezes_kw: float = par("kW", "rate at which it freezes", ge=0.5, le=2000)

        def power_kw(self) -> float:
            return self.freezes_kw / 2.0

        def lower(self) -> tuple[Primitive, ...]:
            kwh = self.salt_kwh * self.count
            return (
                ColdStore("cold_#", 10 * kwh, 1.0, kwh, glycol_pct=0.0),
                Chill(self.freezes_kw * self.count, 2.0, 32.0, hours=("22:00", "06:00")),
            )

    try:
        yield {"tube_cooler": TubeCooler, "salt_store": SaltStore}
    finally:
        for name in ("tube_cooler", "salt_store"):
            REGISTRY.pop(name, None)


PORTS = {
    "milk_in": "tubes_in", "milk_out": "tubes_out", "water_in": "shell_in",
    "water_out": "shell_out", "coolant_in": "cold_in", "coolant_out": "cold_out",
    "coolant_in_1": "warm_1", "coolant_out_1": "cold_1",
}  # fmt: skip
"""Ports of the new kinds by those of the machines whose place they take."""


def swapped(plant: Plant, kinds: dict[str, type[Machine]]) -> Plant:
    """The plant with its plate coolers and ice banks replaced by new kinds that do the same."""
    equipment = dict(plant.equipment)
    for tag, one in plant.equipment.items():
        told = {n: getattr(one, n) for n in ("id", "label", "count", "fed_from", "controlled_by",
                                             "normally")}  # fmt: skip
        if one.kind == "plate_cooler":
            each = getattr(one, "u_w_m2_k") / 250.0  # noqa: B009
            equipment[tag] = kinds["tube_cooler"](
                **told, ua_w_k_m=250.0, tubes_m=getattr(one, "area_m2") * each,  # noqa: B009
                cold_tubes_m=getattr(one, "chilled_area_m2") * each,  # noqa: B009
            )  # fmt: skip
        elif one.kind == "ice_bank":
            equipment[tag] = kinds["salt_store"](
                **told, salt_kwh=getattr(one, "store_kwh"),  # noqa: B009
                freezes_kw=getattr(one, "duty_kw"),  # noqa: B009
            )  # fmt: skip
    new = {tag for tag, one in equipment.items() if one is not plant.equipment[tag]}

    def end(text: str) -> str:
        tag, _, name = text.partition(".")
        return f"{tag}.{PORTS[name]}" if tag in new else text

    pipes = tuple(
        p.model_copy(update={"start": end(p.start), "end": end(p.end)}) for p in plant.pipes
    )
    sensors = {
        t: m.model_copy(update={"at_port": PORTS[m.at_port]})  # type: ignore[attr-defined]
        for t, m in equipment.items()
        if getattr(m, "on", "") in new and getattr(m, "at_port", None) in PORTS
    }
    return plant.model_copy(update={"equipment": {**equipment, **sensors}, "pipes": pipes})
