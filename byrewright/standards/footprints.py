"""Room that machines take: typical size, mass and service space of each kind (common practice).

A maker's sheet is better: `size`, `mass_kg` and `service_m` in the plant file win over these.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from byrewright.standards.model import Known

Sort = Literal["standing", "hung", "in line", "spread", "outside", "none"]
"""standing on a floor; hung on a wall at working height; in line in its pipe; spread round the
stalls; outside the rooms; none: has no place of its own (a sensor)."""

Zone = Literal["plant", "cold", "milk", "tank", "wash", "laundry", "switch", "deck", "yard"]

SOURCE = "practice"
KNOWN: Known = "common_practice"


@dataclass(frozen=True, slots=True)
class Footprint:
    """Length along its front, depth, height (m) and mass (kg) at a rating `at` of `by`.

    Lengths grow with the power `grows` of the rating, masses with the rating itself to the power
    `heavier`.
    """

    zone: Zone
    sort: Sort = "standing"
    l_m: float = 0.5
    w_m: float = 0.5
    h_m: float = 0.5
    mass_kg: float = 40.0
    by: str = ""
    at: float = 1.0
    grows: float = 1 / 3
    heavier: float = 1.0
    base_m: float = 0.0
    front_m: float | None = None
    hot: bool = False
    barrel: bool = False
    """Stands as a cylinder: a circle from above."""

    def sized(self, rating: float | None) -> tuple[float, float, float, float]:
        """Length, depth, height in m (to 5 cm) and mass in kg of a machine of a rating.

        >>> FOOTPRINTS["bulk_tank"].sized(10000)[:3]
        (3.6, 2.15, 2.45)
        """
        ratio = max(0.02, min(50.0, (rating or self.at) / self.at)) if self.by else 1.0
        k = ratio**self.grows
        sides = (max(0.1, round(side * k * 20) / 20) for side in (self.l_m, self.w_m, self.h_m))
        length, width, height = sides
        return length, width, height, float(f"{self.mass_kg * ratio**self.heavier:.2g}")


def _f(zone: Zone, l_m: float, w_m: float, h_m: float, mass: float, by: str = "", at: float = 1.0,
       grows: float = 1 / 3, sort: Sort = "standing", base_m: float = 0.0,
       front_m: float | None = None, hot: bool = False,
       barrel: bool = False) -> Footprint:  # fmt: skip
    return Footprint(zone, sort, l_m, w_m, h_m, mass, by, at, grows, base_m=base_m,
                     front_m=front_m, hot=hot, barrel=barrel)  # fmt: skip


def _spread(zone: Zone, h_m: float = 0.3) -> Footprint:
    return Footprint(zone, "spread", 0.3, 0.3, h_m, 10.0)


FOOTPRINTS: Mapping[str, Footprint] = {
    "vacuum_pump": _f("plant", 1.2, 0.8, 0.9, 420, "motor_kw", 11, 0.25, hot=True),
    "regulator": _f("plant", 0.3, 0.25, 0.3, 8, sort="hung", base_m=1.5),
    "distribution_tank": _f("plant", 0.6, 0.6, 1.0, 60, "volume_l", 150, barrel=True),
    "sanitary_trap": _f("deck", 0.3, 0.3, 0.4, 12, "volume_l", 15, sort="hung", base_m=0.0),
    "air_compressor": _f("plant", 1.2, 0.7, 1.0, 240, "motor_kw", 5.5, 0.25, hot=True),
    "air_dryer": _f("plant", 0.5, 0.5, 0.7, 45, "capacity_l_min_free", 800),
    "air_receiver": _f("plant", 0.6, 0.6, 1.8, 110, "volume_l", 270, barrel=True),
    "moisture_trap": _f("plant", 0.25, 0.25, 0.4, 5, sort="hung", base_m=1.2),
    "condensing_unit": _f("cold", 1.4, 0.8, 1.3, 260, "duty_kw", 15, 0.25, front_m=1.0, hot=True),
    "chiller": _f("cold", 1.8, 0.9, 1.8, 480, "duty_kw", 30, 0.25, front_m=1.0, hot=True),
    "ice_bank": _f("cold", 2.2, 1.4, 1.7, 650, "store_kwh", 100, front_m=1.0, hot=True),
    "coolant_buffer": _f("cold", 0.9, 0.9, 1.8, 150, "volume_l", 800),
    "expansion_vessel": _f("cold", 0.4, 0.4, 0.6, 12, "volume_l", 35),
    "milk_pump": _f("milk", 0.6, 0.35, 0.45, 35, "motor_kw", 1.5, 0.2),
    "milk_filter": _f("milk", 1.2, 0.25, 0.3, 25, "area_m2", 0.1),
    "balance_tank": _f("milk", 0.9, 0.9, 1.3, 110, "volume_l", 500, base_m=0.4, barrel=True),
    "calf_feed": _f("milk", 0.7, 0.7, 1.0, 60, "volume_l", 150),
    "withheld_vessel": _f("deck", 0.5, 0.5, 0.7, 25, "volume_l", 100),
    "plate_cooler": _f("milk", 1.0, 0.4, 1.3, 220, "area_m2", 8, 0.25),
    "bulk_tank": _f("tank", 3.6, 2.15, 2.45, 1900, "volume_l", 10000, front_m=1.0),
    "tanker_bay": Footprint("yard", "outside", 0.3, 0.3, 0.3, 20),
    "receiver": _f("deck", 0.5, 0.5, 0.8, 30, "volume_l", 80, barrel=True),
    "wash_trough": _f("wash", 1.8, 0.7, 0.9, 90, "volume_l", 600, front_m=1.2),
    "doser": _f("wash", 0.35, 0.35, 0.5, 25),
    "air_injector": _f("wash", 0.25, 0.2, 0.3, 4, sort="hung", base_m=1.4),
    "liquid_pump": _f("wash", 0.6, 0.35, 0.4, 35, "motor_kw", 2.2, 0.2),
    "water_tank": _f("wash", 1.6, 1.2, 1.6, 120, "volume_l", 3000),
    "water_filter": _f("wash", 0.5, 0.4, 1.2, 40, "flow_l_min", 150, 0.2),
    "water_heater": _f("wash", 0.9, 0.9, 1.9, 180, "volume_l", 600, hot=True, barrel=True),
    "water_source": Footprint("yard", "outside", 0.5, 0.5, 0.5, 50),
    "cloth_washer": _f("laundry", 0.8, 0.8, 1.2, 220, "load_kg", 10, 0.2),
    "cloth_dryer": _f("laundry", 0.8, 0.9, 1.2, 130, "load_kg", 10, 0.2, hot=True),
    "mains": Footprint("yard", "outside", 1.2, 0.6, 1.6, 200),
    "generator": Footprint("yard", "outside", 2.6, 1.1, 1.6, 1500, "rating_kva", 120),
    "switchboard": _f("switch", 1.0, 0.4, 2.0, 220, front_m=1.07),
    "uninterruptible_supply": _f("switch", 0.5, 0.4, 1.0, 60, front_m=1.07),
    "controller": _f("switch", 0.8, 0.4, 2.0, 90, front_m=1.07),
    "sounder": Footprint("deck", "none"),
    "sensor": Footprint("deck", "none"),
    "valve": Footprint("milk", "in line", 0.3, 0.3, 0.35, 6),
    "non_return_valve": Footprint("milk", "in line", 0.3, 0.3, 0.3, 5),
    "header": Footprint("milk", "hung", 0.4, 0.2, 0.2, 15, base_m=1.5),
    "floor_drain": Footprint("yard", "none"),
    "rotary_gland": Footprint("deck", "standing", 0.9, 0.9, 1.4, 180),
    "platform": Footprint("deck", "none"),
    "drive_unit": _spread("deck"),
    "deck_rollers": _spread("deck"),
    "yard_gate": _spread("yard"),
    "milking_unit": _spread("deck"),
    "pulsator": _spread("deck"),
    "automatic_removal": _spread("deck"),
    "milk_meter": _spread("deck"),
    "backflush": _spread("deck"),
    "milkline": _spread("deck"),
    "pulsator_airline": _spread("deck"),
}
"""Every kind's room. A kind that is not here takes a plain box of half a metre."""

PLAIN = Footprint("plant")


def footprint(kind: str) -> Footprint:
    """The room of a kind."""
    return FOOTPRINTS.get(kind, PLAIN)
