"""Lines through the plan as their fitter makes them: joints, pieces and supports."""

from __future__ import annotations

import math
from itertools import pairwise

from byrewright.place.model import Laid
from byrewright.place.pieces import Made, made_of
from byrewright.plant.plant import Pipe, Plant
from byrewright.plant.sited import Sited
from byrewright.standards.rulebook import Rulebook, default_rulebook

STEEL_MM = (15, 25, 40, 50, 65, 80, 100)
"""Sizes that have a spacing of supports in the rulebook."""
APART_M = 0.5
SERVICES = ("milk", "wash", "vacuum", "water", "coolant", "refrigerant", "air", "drain")


def lines_of(plant: Plant, made: Sited) -> list[Made]:
    """Every line with a way through the plan, by service and tag."""
    rules = default_rulebook()
    bores = {p.id: p.bore_mm for p in plant.pipes}
    order = {s: i for i, s in enumerate(SERVICES)}
    found = [
        made_of(
            route, made.laid, bores, rules.number("place.bend_radius_bores"),
            span_m(route.service, max(bores[t] for t in route.lines), rules),
            rules.number("place.support_bend_m"),
        )
        for route in made.routes
        if route.points
    ]  # fmt: skip
    return sorted(found, key=lambda m: (order.get(m.route.service, 9), m.route.lines[0]))


def span_m(service: str, bore_mm: float, rules: Rulebook) -> float:
    """Most between two supports: stainless tube for milk and wash, steel for all else."""
    if service in ("milk", "wash"):
        small = bore_mm <= 32
        return rules.number("place.support_tube_small_m" if small else "place.support_tube_m")
    size = max((s for s in STEEL_MM if s <= bore_mm), default=STEEL_MM[0])
    return rules.number(f"place.support_steel_{size}_m")


def on_round_m(pipe: Pipe, laid: Laid) -> float:
    """What a pipe has beyond its way through the plan: the ring or row that it goes on along, m."""
    if pipe.length_from != "from the plan" or len(laid.points) < 2:
        return 0.0
    drawn = math.fsum(math.dist(a, b) for a, b in pairwise(laid.points))
    return max(0.0, pipe.length_m - drawn) if pipe.length_m > drawn + APART_M else 0.0
