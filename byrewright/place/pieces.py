"""A laid line as its fitter sees it: joints, pieces to cut, supports, high and low points."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

from byrewright.place.cut import along
from byrewright.place.model import Laid, Point, Route

SHORT_M = 0.02
"""A piece shorter than this between two fittings is none: fitting is joined to fitting."""
ENDS_M, NEAR_M = 0.3, 0.25
"""A line is held by the machine at its end, this far out; two supports nearer than the second
are one."""


@dataclass(frozen=True, slots=True)
class Joint:
    """A numbered joint: where it is, and what is there (a machine's tag, or a bend)."""

    number: int
    at: Point
    tag: str = ""

    @property
    def bend(self) -> bool:
        """Whether the line only turns here."""
        return not self.tag


@dataclass(frozen=True, slots=True)
class Piece:
    """Straight pipe between two joints: its pipe, length along the middle, and what is cut, m."""

    pipe: str
    start: Joint
    end: Joint
    length_m: float
    cut_m: float


@dataclass(frozen=True, slots=True)
class Made:
    """A line made of pieces."""

    route: Route
    joints: tuple[Joint, ...]
    pieces: tuple[Piece, ...]
    supports: tuple[Point, ...]

    @property
    def cut_m(self) -> float:
        """All pipe to be cut for it."""
        return round(math.fsum(p.cut_m for p in self.pieces), 3)

    @property
    def high(self) -> Joint:
        """Its highest joint, the first of several."""
        return max(self.joints, key=lambda j: (j.at[2], -j.number))

    @property
    def low(self) -> Joint:
        """Its lowest joint, the first of several."""
        return min(self.joints, key=lambda j: (j.at[2], j.number))


def take_out_m(bore_mm: float, radius_bores: float) -> float:
    """What one end of a bend takes off the straight pipe beside it, m.

    >>> take_out_m(50.0, 1.5)
    0.075
    """
    return round(radius_bores * bore_mm / 1000, 4)


def made_of(
    route: Route, laid: Mapping[str, Laid], bores_mm: Mapping[str, float], radius_bores: float,
    span_m: float, bend_m: float,
) -> Made:  # fmt: skip
    """A route as joints and pieces.

    Args:
        route: a route with points.
        laid: its pipes as cut, by tag.
        bores_mm: bore of each pipe.
        radius_bores: radius of a bend, bores.
        span_m: most between two supports.
        bend_m: a support stands no further than this from each bend.
    """
    joints: list[Joint] = []
    pieces: list[Piece] = []
    here = route.points[0]
    for i, tag in enumerate(route.lines):
        points = laid[tag].points
        if math.dist(points[0], here) > math.dist(points[-1], here):
            points = tuple(reversed(points))
        last = i == len(route.lines) - 1
        for k, (a, b) in enumerate(pairwise(points)):
            if not joints:
                joints.append(Joint(1, a, _machine(route, 0)))
            final = k == len(points) - 2
            name = "" if not final else _machine(route, 1) if last else _between(route, i)
            joints.append(Joint(len(joints) + 1, b, name))
            one, two = joints[-2], joints[-1]
            off = take_out_m(bores_mm[tag], radius_bores) * (one.bend + two.bend)
            long = math.dist(a, b)
            cut = long - off
            pieces.append(Piece(tag, one, two, round(long, 3),
                                round(cut, 3) if cut >= SHORT_M else 0.0))  # fmt: skip
        here = points[-1]
    return Made(route, tuple(joints), tuple(pieces), supports_of(route.points, span_m, bend_m))


def _machine(route: Route, end: int) -> str:
    return route.ends[end] or "open end"


def _between(route: Route, i: int) -> str:
    """The two-way machine between pipe `i` of a chain and the next."""
    return route.inner[i] if i < len(route.inner) else "joint"


def supports_of(points: Sequence[Point], span_m: float, bend_m: float) -> tuple[Point, ...]:
    """Where a line is held: near each bend, and between so that no span is exceeded.

    >>> len(supports_of(((0, 0, 0), (10, 0, 0)), 3.0, 0.3))
    5
    """
    total = sum(math.dist(a, b) for a, b in pairwise(points))
    marks: list[float] = []
    run = 0.0
    for i, (a, b) in enumerate(pairwise(points)):
        long = math.dist(a, b)
        if i and long > 0.15:  # held just after the bend, where there is pipe to hold
            mark = run + min(bend_m, long / 2)
            if not marks or mark - marks[-1] > bend_m:
                marks.append(mark)
        run += long
    if total < 2 * ENDS_M:
        return tuple(along(tuple(points), m) for m in marks)
    held: list[float] = []
    for mark in (min(ENDS_M, total / 4), *marks, max(total - ENDS_M, total * 3 / 4)):
        if not held or mark - held[-1] > NEAR_M:
            held.append(mark)
    every = [held[0]]
    for one, two in pairwise(held):
        gaps = max(1, math.ceil((two - one) / span_m - 1e-9))
        every += [one + (two - one) * (j + 1) / gaps for j in range(gaps)]
    return tuple(along(tuple(points), m) for m in every)
