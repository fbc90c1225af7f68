"""What a kind of machine takes of a room: typical size, mass, service space and bearing.

Each kind declares its own (common practice, no source). A maker's sheet is better: `size`,
`mass_kg` and `service_m` in the plant file win over these.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

Sort = Literal["standing", "hung", "in line", "spread", "outside", "none"]
"""standing on a floor; hung on a wall at working height; in line in its pipe; spread round the
stalls; outside the rooms; none: has no place of its own (a sensor)."""

Zone = Literal["plant", "cold", "milk", "tank", "wash", "laundry", "switch", "deck", "yard"]


@dataclass(frozen=True, slots=True)
class Ring:
    """Where what is spread round the stalls runs, m: its level under a deck and beside rows, both
    over the operator's floor; and how far beyond the milkline, round a deck and along rows."""

    level_m: float = 0.3
    row_level_m: float = 0.9
    apart_m: float = 0.3
    row_apart_m: float = 0.0
    inner: bool = False
    """Inside the stalls' inner edge."""
    both_sides: bool = False
    """Fed on both sides, by turns."""
    goes_round: tuple[str, ...] = ()
    """Ports from which a line goes on all round."""


@dataclass(frozen=True, slots=True)
class Footprint:
    """Length along its front, depth, height (m) and mass (kg) at a rating `at` of `by`.

    Lengths grow with the power `grows` of the rating, the mass with the rating itself.
    """

    zone: Zone
    l_m: float = 0.5
    w_m: float = 0.5
    h_m: float = 0.5
    mass_kg: float = 40.0
    by: str = ""
    at: float = 1.0
    grows: float = 1 / 3
    sort: Sort = "standing"
    base_m: float = 0.0
    suction_m: float | None = None
    """Its base where a pump draws from it."""
    deck_m: float = 0.05
    deck_suction_m: float | None = None
    """The same two under a turning deck, over the lowest level there."""
    front_m: float | None = None
    hot: bool = False
    plinth: bool = False
    barrel: bool = False
    """Stands as a cylinder: a circle from above."""
    end_on: bool = False
    """Worked from its end, not from its long side."""
    through: bool = False
    """Liquid passes it under pressure: its ports count as one level for lift."""
    most_high_m: float = math.inf
    """Height beyond which it grows in length and depth alone, as under a deck."""
    runs_down: bool = False
    """Hung low in a line that must run empty, a step above the next along the flow."""
    follows: bool = False
    """Stands where what it is joined to stands."""
    sides: tuple[tuple[str, str], ...] = ()
    """Ports that leave elsewhere than upwards: how their name begins, and the side."""
    ring: Ring = Ring()

    def sized(self, rating: float | None) -> tuple[float, float, float, float]:
        """Length, depth, height in m (to 5 cm) and mass in kg of a machine of a rating.

        >>> Footprint("tank", 3.6, 2.15, 2.45, 1900, "volume_l", 10000).sized(20000)
        (4.55, 2.7, 3.1, 3800.0)
        >>> Footprint("deck", 0.5, 0.5, 0.7, 25, "volume_l", 100, most_high_m=1.2).sized(1200)
        (1.3, 1.3, 1.2, 300.0)
        """
        ratio = max(0.02, min(50.0, (rating or self.at) / self.at)) if self.by else 1.0
        k = ratio**self.grows
        high = min(self.h_m * k, self.most_high_m)
        wider = math.sqrt(self.h_m * k / high)
        every = (self.l_m * k * wider, self.w_m * k * wider, high)
        sides = (max(0.1, round(side * 20) / 20) for side in every)
        length, width, height = sides
        return length, width, height, float(f"{self.mass_kg * ratio:.2g}")


PLAIN = Footprint("plant")
"""A plain box of half a metre, for a kind that declares no form of its own."""
