"""The moving deck: loads, rolling resistance, drive."""

from __future__ import annotations

from dataclasses import dataclass

from byrewright.standards.model import Confidence, Value

TRACK_PITCH_M, LEAST_TRACK_RADIUS_M = 0.9, 2.0
"""Width of a stall along the roller track of a rotary, and the least radius of a track (common
practice, no source)."""

VALUES: tuple[Value, ...] = (
    Value("deck.design_cow_kg", 800.0, "kg", "static design load of a stall", "practice",
          "from_memory", "typical", least=300.0, most=1500.0),
    Value("deck.dynamic_factor", 1.4, "", "dynamic factor on the static design load", "practice",
          "from_memory", "typical", 1.3, 1.5, least=1.0, most=4.0),
    Value("deck.concrete_per_stall_kg", 800.0, "kg", "concrete deck, each stall, cow apart",
          "practice", "common_practice", "typical", 600.0, 1000.0, least=0.0, most=4000.0),
    Value("deck.resistance", 0.02, "", "rolling resistance, force over load; two published "
          "conventions differ threefold, so carry the range", "drive_reference", "from_memory",
          "typical", 0.01, 0.03),
    Value("deck.bearing_friction_rolling", 0.005, "", "friction of a rolling bearing",
          "drive_reference", "second_hand", "typical"),
    Value("deck.rim_rolling", 0.003, "", "rim allowance c with rolling bearings",
          "drive_reference", "second_hand", "typical"),
    Value("deck.drive_efficiency", 0.60, "", "shaft to motor, gearbox and contact", "practice",
          "common_practice", "typical", 0.5, 0.8, least=0.1, most=1.0),
    Value("deck.breakaway_multiple", 2.0, "", "breakaway over running force", "practice",
          "from_memory", "typical", 1.5, 2.5, least=1.0, most=6.0),
    Value("deck.start_s", 5.0, "s", "time to bring the deck to speed", "practice", "from_memory",
          "typical", 3.0, 10.0),
    Value("deck.rollers_per_stall", 2.0, "", "rollers under each stall", "practice",
          "common_practice", "typical", least=0.5, most=8.0),
    Value("deck.roller_share_margin", 1.5, "", "load of the worst roller over the mean, for rail "
          "level and uneven loading", "practice", "common_practice", "typical", 1.3, 2.0,
          least=1.0, most=6.0),
    Value("deck.stall_width_m", 0.75, "m", "stall pitch at the cow's shoulder side", "practice",
          "common_practice", "typical", 0.65, 0.9, least=0.5, most=2.0),
    Value("deck.track_from_shoulder_m", 1.2, "m", "roller track from the cow's shoulder towards "
          "her rump", "practice", "common_practice", "typical", 0.8, 1.6, least=0.2, most=4.0),
    Value("deck.axle_share", 0.2, "", "axle over roller diameter", "practice", "common_practice",
          "typical", 0.15, 0.3),
    Value("deck.motor_start_multiple", 1.5, "", "starting over rated torque of a gear motor on a "
          "speed drive", "practice", "common_practice", "typical", 1.3, 2.0, least=1.0, most=6.0),
    Value("deck.wheel_friction", 0.4, "", "friction of a drive wheel on a wet steel track",
          "practice", "common_practice", "typical", 0.3, 0.6, least=0.05, most=1.0),
)  # fmt: skip

ROLLER_KN: tuple[float, ...] = (5, 7.5, 10, 12.5, 15, 20, 25, 30, 40, 50, 63, 80, 100)
"""Usual rated loads of deck rollers, kN (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class LeverArm:
    """Lever arm f of rolling friction, mm, for a wheel on a rail."""

    pair: str
    f_mm: float
    low_mm: float
    high_mm: float
    source: str
    confidence: Confidence


LEVER_ARMS: tuple[LeverArm, ...] = (
    LeverArm("steel on steel", 0.5, 0.5, 0.5, "drive_reference", "second_hand"),
    LeverArm("polymer on steel", 2.0, 2.0, 2.0, "drive_reference", "second_hand"),
    LeverArm("hard rubber on steel", 7.0, 7.0, 7.0, "drive_reference", "second_hand"),
    LeverArm("polymer on concrete", 5.0, 5.0, 5.0, "drive_reference", "second_hand"),
    LeverArm("nylon on steel", 0.7, 0.7, 0.7, "practice", "from_memory"),
    LeverArm("polyurethane on steel", 1.1, 0.8, 1.5, "practice", "from_memory"),
    LeverArm("rubber on steel", 7.5, 7.0, 8.0, "practice", "from_memory"),
)
