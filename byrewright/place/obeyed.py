"""Whether the plan has what a person asked of single machines and pipes."""

from __future__ import annotations

import math
from itertools import pairwise

from byrewright.place.ends import nets
from byrewright.place.model import Plan, Point, Route
from byrewright.place.router import rack_box

AT_POINT_M = 0.05
"""A pipe this near to a way point, in plan, passes it."""


def not_obeyed(plan: Plan, routes: tuple[Route, ...]) -> list[tuple[str, str]]:
    """What a person asked of single machines and pipes and the plan does not have: tag, words."""
    found = []
    for tag, thing in plan.scene.things.items():
        asked = thing.spot.room
        if asked is None or tag not in plan.bodies or plan.bodies[tag].room == asked:
            continue
        have = ", ".join(plan.rooms)
        found.append((tag, f"is not in {asked}" if asked in plan.rooms
                      else f"has no room {asked} to stand in; there are {have}"))  # fmt: skip
    by = {r.lines[0]: r for r in routes}
    for net in nets(plan):
        points = by[net.key].points
        for line in net.lines:
            for name in line.along:
                if name not in plan.racks:
                    have = ", ".join(plan.racks)
                    found.append((line.tag, f"has no rack {name} to follow; there are {have}"))
                elif not follows(points, rack_box(plan.racks[name])):
                    found.append((line.tag, f"does not follow {name}"))
            found += [
                (line.tag, f"does not pass ({x:g}, {y:g})") for x, y in line.by
                if not any(_at_point(a, b, x, y) for a, b in pairwise(points))
            ]  # fmt: skip
    return found


def follows(points: tuple[Point, ...], box: tuple[float, ...]) -> bool:
    """Whether a way runs, at least a little, inside the space of a rack."""
    return any(
        all(min(a[i], b[i]) <= box[i + 3] and max(a[i], b[i]) >= box[i] for i in range(3))
        and math.dist(a[:2], b[:2]) > AT_POINT_M
        for a, b in pairwise(points)
    )


def _at_point(a: Point, b: Point, x: float, y: float) -> bool:
    low, high = (min(a[0], b[0]), min(a[1], b[1])), (max(a[0], b[0]), max(a[1], b[1]))
    return (
        low[0] - AT_POINT_M <= x <= high[0] + AT_POINT_M
        and low[1] - AT_POINT_M <= y <= high[1] + AT_POINT_M
    )
