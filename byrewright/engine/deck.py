"""A full rotary deck: its mass, its speed, and what moving it takes."""

from __future__ import annotations

import math
from dataclasses import dataclass

from byrewright.physics.motion import (
    drive_power_w,
    rolling_force_n,
    start_force_n,
    track_speed_m_s,
)
from byrewright.plant.plant import Plant
from byrewright.plant.roles import StandsCows, TurnsDeck
from byrewright.standards.deck import LEAST_TRACK_RADIUS_M
from byrewright.standards.rulebook import Rulebook


@dataclass(frozen=True, slots=True)
class DeckLoad:
    """Mass on the rollers and what moving it takes."""

    deck_kg: float
    cows_kg: float
    radius_m: float
    speed_m_s: float
    resistance: float
    resistance_high: float
    running_n: float
    running_high_n: float
    start_n: float
    running_kw: float
    """At the motors, with the usual rolling resistance."""
    running_high_kw: float

    @property
    def full_kg(self) -> float:
        """Deck with a cow in every stall."""
        return self.deck_kg + self.cows_kg


def deck_load(plant: Plant, rules: Rulebook, platform: StandsCows) -> DeckLoad:
    """Mass, speed, forces and power of a full deck."""
    n = rules.number
    deck = platform.stalls * platform.stall_mass_kg
    cows = platform.stalls * plant.herd.cow_mass_kg
    radius = track_radius_m(rules, platform)
    speed = track_speed_m_s(radius, platform.turn_s)
    usual = rules["deck.resistance"]
    high = max(usual.value, usual.high or usual.value)
    running = rolling_force_n(deck + cows, usual.value)
    hard = rolling_force_n(deck + cows, high)
    start = start_force_n(
        running, n("deck.breakaway_multiple"), deck + cows, speed, n("deck.start_s")
    )
    drive = plant.first(TurnsDeck)
    eta = drive.efficiency if drive else n("deck.drive_efficiency")
    return DeckLoad(
        deck, cows, radius, speed, usual.value, high, running, hard, start,
        drive_power_w(running, speed, eta) / 1000, drive_power_w(hard, speed, eta) / 1000,
    )  # fmt: skip


def track_radius_m(rules: Rulebook, platform: StandsCows) -> float:
    """Radius of the roller track: stated, or from stalls, stall width and half a cow."""
    if platform.rail_radius_m is not None:
        return platform.rail_radius_m
    shoulder = platform.stalls * rules.number("deck.stall_width_m") / (2 * math.pi)
    step = rules.number("deck.track_from_shoulder_m")
    radius = round(shoulder + step if platform.facing == "in" else shoulder - step, 2)
    return max(LEAST_TRACK_RADIUS_M, radius)
