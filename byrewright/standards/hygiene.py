"""Keeping milk apart from wash, water and withheld milk; lines that drain."""

from __future__ import annotations

from dataclasses import dataclass

from byrewright.standards.model import Confidence, Value

VALUES: tuple[Value, ...] = (
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class HygieneRule:
    """A rule in words that a route or an arrangement is held to."""

    key: str
    title: str
    text: str
    source: str
    confidence: Confidence


RULES: tuple[HygieneRule, ...] = (
    HygieneRule(
        "separation", "Milk and cleaning solution",
        "Milk lines and solution lines are physically disconnected, or kept apart by at least two "
        "automatic valves with a drainable opening to atmosphere between them at least as large as "
        "the largest pipe, monitored, and failing to the blocked position.",
        "pmo", "from_memory",
    ),
    HygieneRule(
        "double_seat", "Double-seat valves",
        "A single body with two seats is allowed under conditions; its leakage chamber drains "
        "without pressure, and no seat lifts toward milk under pressure.",
        "ehedg", "from_memory",
    ),
    HygieneRule(
        "drains", "Milk lines drain",
        "A milk line slopes without break, drains fully, can be taken apart and is of stainless "
        "steel or equal, finished to at least 120 grit.",
        "california", "read",
    ),
    HygieneRule(
        "withheld", "Withheld milk",
        "Milk of cows under treatment, colostrum and bloody milk has a route of its own, and it is "
        "proven that none reaches the tank.",
        "practice", "common_practice",
    ),
    HygieneRule(
        "delivery_break", "Delivery end at wash",
        "The delivery pipe is taken out of the tank before a wash starts, and its place is proven.",
        "practice", "common_practice",
    ),
    HygieneRule(
        "last_rinse", "Rinse water and the tank",
        "Water of the last rinse is drained, not pushed into the tank: it shows in the freezing "
        "point.",
        "practice", "common_practice",
    ),
    HygieneRule(
        "first_rinse", "First rinse", "The first rinse passes once and is never recirculated.",
        "us_extension", "read",
    ),
    HygieneRule(
        "coolant", "Coolant near milk",
        "Liquid coolant near milk is food-grade propylene glycol, never ethylene glycol.",
        "practice", "from_memory",
    ),
)  # fmt: skip
