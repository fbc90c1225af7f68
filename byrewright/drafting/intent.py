"""The choices of structure: what kind of plant the brief asks for, before any size."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from byrewright.plant.brief import Recovery
from byrewright.plant.decided import Decided
from byrewright.plant.farm import (
    Cleaning,
    Collection,
    Herd,
    Milking,
    Site,
    Wishes,
    Work,
    hardness_mmol_l,
)
from byrewright.standards.deck import TRACK_PITCH_M
from byrewright.standards.pipes import sold_as_mm
from byrewright.standards.rulebook import Rulebook, default_rulebook

Cold = Literal["ice_bank", "direct_expansion", "chilled_water", "inline"]
ONE_RECEIVER_TO = 60
"""Stalls up to which one receiver usually serves (common practice, no source)."""
CLOCK_ROUND_H = 16.0
"""Milking hours a day from which a plant counts as running nearly around the clock."""


@dataclass(frozen=True, slots=True)
class Fill:
    """Where the delivery line can let its milk out: a divert in the line, and behind it a stub
    with a leak drain, on to a tank's own fill valve or to the coupling at the tanker bay."""

    tank: int | None
    divert: str
    bleed: str
    header: str

    @property
    def where(self) -> str:
        """In words."""
        return "the tanker" if self.tank is None else f"tank {self.tank}"


@dataclass(frozen=True, slots=True)
class Intent:
    """The farm and the structure of its plant."""

    site: Site
    herd: Herd
    milkings: tuple[Milking, ...]
    collections: tuple[Collection, ...]
    work: Work
    cleaning: Cleaning
    wishes: Wishes
    layout: Literal["rotary", "rows"]
    rows: int
    stalls: int
    stalls_given: bool
    cold: Cold
    coolant_c: float
    recovery: Recovery
    direct: bool
    tanks: int
    calf_l_day: float
    withheld: bool
    vacuum_kpa: float
    origin: str
    source_l_min: float | None
    cloths: bool = True
    stall_mass_kg: float | None = None
    """Deck and stall work of a stall where it is not the usual steel."""
    change_running: bool = False
    """Whether a filter must be changed while milk runs, though nothing else is doubled."""
    vacuum_together: bool = False
    """Whether the vacuum pumps run together, though other second machines stand by."""
    wait_in_milking: tuple[str, ...] = ()
    """Heaters and laundry that stand while cows are milked."""
    in_drain_down: tuple[tuple[str, str], ...] = ()
    """Diverts, and where each is turned while the lines are drained."""
    rinse_fresh: bool = False
    """Whether the first rinse takes fresh water, as the cooler warms too little for it."""

    decided: Decided | None = None
    """What people decided of the plant that is drafted again."""
    rules: Rulebook | None = None
    """The dimensions that it is laid out by."""

    @property
    def rotary(self) -> bool:
        """Whether the stalls turn."""
        return self.layout == "rotary"

    @property
    def twin(self) -> bool:
        """Whether each duty has a second machine."""
        return self.wishes.redundancy != "none"

    @property
    def softens(self) -> bool:
        """Whether the water is so hard that what is heated is softened first."""
        hard = hardness_mmol_l(self.site, self.cleaning)
        limit = (self.rules or default_rulebook()).number("water.soft_enough_mmol_l")
        return hard is not None and hard > limit

    @property
    def partner(self) -> str:
        """The state of the second machine in its mode: running too, or ready."""
        return "runs" if self.wishes.redundancy == "shared-running" else "ready"

    @property
    def receivers(self) -> int:
        """Receivers: one up to a common size; two beyond it, or where no single failure may stop
        milking: a float or a probe of one must not."""
        surely = self.twin and self.wishes.no_single_stop
        return 1 if self.stalls <= ONE_RECEIVER_TO and not surely else 2

    @property
    def calf_drain_mm(self) -> float:
        """Bore of the drain that lets the wash of the calf-milk vessel out by gravity."""
        return sold_as_mm(60.3 if self.stalls <= ONE_RECEIVER_TO else 84.9, self.site.region)

    @property
    def fills(self) -> tuple[Fill, ...]:
        """The places along the delivery line where milk can leave it, in their order; behind the
        last it leads into the wash return, so that every wash passes the whole of it."""
        more = ["", *(str(n) for n in range(2, self.tanks + 1))]
        tanks = [Fill(n, f"V40{x}", f"V46{x}", f"HM6{x}") for n, x in enumerate(more, 1)]
        return (*tanks, Fill(None, "V405", "V465", "HM65")) if self.direct else tuple(tanks)

    @property
    def pump_places(self) -> tuple[int, ...]:
        """Numbers of machines of a duty: one, or two where the farm wishes a second."""
        return (1, 2) if self.twin else (1,)

    @property
    def filters(self) -> tuple[int, ...]:
        """Numbers of the milk filters."""
        return (1, 2) if self.twin or self.change_running else (1,)

    def either(self, board: int) -> list[str]:
        """A board, and the other one behind a change-over switch where a second is wished."""
        other = 5 - board
        return [f"SB{board}", f"SB{other}"] if self.twin else [f"SB{board}"]

    @property
    def radius_m(self) -> float:
        """Radius of the roller track of a rotary, m."""
        return round(self.stalls * TRACK_PITCH_M / (2 * math.pi), 1)

    @property
    def ring_m(self) -> float:
        """Length of the milkline: round the deck inside the stalls, or along the rows, m."""
        if self.rotary:
            return round(2 * math.pi * max(1.0, self.radius_m - 0.4), 0)
        return round(self.stalls / self.rows * 0.75 * self.rows + 6, 0)

    @property
    def sensed(self) -> bool:
        """Whether hand valves that can lose or spoil milk get position switches."""
        return self.wishes.budget != "lean"
