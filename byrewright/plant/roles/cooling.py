"""Roles in cooling."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar, Literal

from byrewright.plant.machine import Service
from byrewright.plant.primitives import Chill, ColdStore, Exchange
from byrewright.plant.roles.base import Role


@dataclass(frozen=True, slots=True)
class Stage:
    """One stage of a cooler in the milk's way, for one machine: counterflow against `cold`.

    `ratio` is litres of the cold liquid to one of milk. `sized_by` names the field of the plant
    file that `ua_kw_k` is in proportion to ("" where none is), and `size` is what it says. `port`
    is where the cold liquid comes in.
    """

    cold: Service
    ua_kw_k: float
    ratio: float
    sized_by: str = ""
    size: float = 0.0
    port: str = ""

    def size_for(self, ua_kw_k: float) -> float | None:
        """The field's value that gives another UA; None where no field does."""
        return self.size * ua_kw_k / self.ua_kw_k if self.sized_by and self.ua_kw_k else None


class CoolsMilk(Role):
    """Cools milk on its way, in one or two stages, each against a cold liquid."""

    ROLE = "cools milk"
    BUILDING_CLASS = "IfcHeatExchanger.PLATE"
    SIZED_BY: ClassVar[dict[Service, str]] = {}
    """The field that a stage's heat transfer is in proportion to, by its cold liquid."""
    FLOW_FIELD: ClassVar[str] = ""
    """The field that says at which milk flow `milk_drop_kpa` is lost ("" where none does)."""

    milk_drop_kpa: float

    def stages(self) -> tuple[Stage, ...]:
        """Its stages in the milk's order, as it lowers to exchangers; its way in decides."""
        found = []
        for one in self.lower():
            if not isinstance(one, Exchange):
                continue
            way_in = self.port(one.cold_in)
            services = way_in.services if way_in else frozenset[Service]()
            cold: Service = "coolant" if "coolant" in services else "water"
            by = type(self).SIZED_BY.get(cold, "")
            size = float(getattr(self, by)) if by else 0.0
            found.append(Stage(cold, one.ua_kw_k / self.count, one.ratio, by, size, one.cold_in))
        return tuple(found)

    def stage(self, cold: Service) -> Stage | None:
        """Its stage against a cold liquid, or None."""
        return next((s for s in self.stages() if s.cold == cold), None)


@dataclass(frozen=True, slots=True)
class Cold:
    """What one source of cold makes.

    `leaving_c` is the temperature of the liquid it sends out; None where its refrigerant cools
    a tank itself. `store_kwh` is cold kept as ice or the like, made in `hours` (from, until).
    """

    duty_kw: float
    cop: float
    rated_ambient_c: float
    leaving_c: float | None = None
    store_kwh: float = 0.0
    hours: tuple[str, str] | None = None
    glycol_pct: float | None = None
    """Propylene glycol in its liquid, by volume; None where it is not stated."""

    @property
    def span(self) -> str:
        """The hours in which it makes cold, in words."""
        return f"{self.hours[0]} to {self.hours[1]}" if self.hours else "00:00 to 24:00"


class MakesCold(Role):
    """Refrigeration, with or without a store: for a chilled liquid, or for a tank's own plates."""

    ROLE = "makes cold"
    BUILDING_CLASS = "IfcChiller"
    SIZED_BY: ClassVar[dict[str, str]] = {"duty": "duty_kw", "store": "store_kwh"}
    """The fields that say what it makes and what it stores."""
    GLYCOL_FIELD: ClassVar[str] = ""
    """The field that says its liquid's share of glycol; "" where it sends out water."""

    def cold(self) -> Cold:
        """What each of it makes, as it lowers to refrigeration and a bath.

        Raises:
            TypeError: it lowers to no refrigeration.
        """
        chill = next((p for p in self.lower() if isinstance(p, Chill)), None)
        bath = next((p for p in self.lower() if isinstance(p, ColdStore)), None)
        if chill is None:
            raise TypeError(f"{self.kind} makes cold, so it must lower to refrigeration")
        return Cold(
            chill.duty_kw / self.count, chill.cop, chill.rated_ambient_c,
            bath.leaving_c if bath else None, bath.store_kwh / self.count if bath else 0.0,
            chill.hours, bath.glycol_pct if bath else None,
        )  # fmt: skip


class BuffersCold(Role):
    """Holds chilled liquid, so that a chiller runs long enough."""

    ROLE = "buffers cold"
    BUILDING_CLASS = "IfcTank.STORAGE"

    volume_l: float


class TakesExpansion(Role):
    """Takes what a closed circuit's liquid grows by as it warms."""

    ROLE = "takes expansion"
    BUILDING_CLASS = "IfcTank.EXPANSION"

    volume_l: float
    precharge_bar: float
    relief_bar: float


class StoresMilk(Role):
    """Stores milk cold until it is collected."""

    ROLE = "stores milk"
    BUILDING_CLASS = "IfcTank.STORAGE"

    volume_l: float
    cooling: Literal["direct_expansion", "ice_bank", "chilled_water", "none"]
    cooling_kw: float
    milkings_class: Literal[2, 4, 6]
    time_class: Literal["0", "I", "II", "III"]
    ambient_class: Literal["A", "B", "C"]
    set_c: float
    shape: Literal["lying", "standing"]
    agitator_kw: float
    insulation_k_h: float | None
    stirred_from_l: float | None
    little_milk: Literal["waits", "cooled_still"]

    def reach_l(self, usual_share: float) -> float:
        """Content from which the agitator reaches the milk, given the usual share of the volume."""
        return usual_share * self.volume_l if self.stirred_from_l is None else self.stirred_from_l

    @property
    def takes_coolant(self) -> bool:
        """Whether a chilled liquid cools it."""
        return self.cooling in ("ice_bank", "chilled_water")
