"""A straight line through readings of several visits, and when it meets a limit; pure.

Least squares with the prediction interval of one more reading, and its inversion to the day on
which a limit is met (Fieller's interval). Textbook mathematics, from memory; the tests check it
against certified data and by trial.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

LEAST_VISITS = 3
"""Two points always lie on a line: from three on, what is left over tells the scatter."""
SHARE = 0.90
"""Of predictions like this one, so many come true: the 5 and 95 % points (own choice)."""


@dataclass(frozen=True, slots=True)
class Point:
    """A reading: the day, its value and its plus or minus (two standard deviations), if stated."""

    day: float
    value: float
    doubt: float | None = None


@dataclass(frozen=True, slots=True)
class Line:
    """Value = mean + slope (day - middle); `scatter` is the standard deviation about it."""

    middle: float
    mean: float
    slope: float
    scatter: float
    squares: float
    """Sum of squares of the days about their middle."""
    count: int

    @property
    def reach(self) -> float:
        """How many scatters the interval reaches either way: Student's t."""
        from scipy.special import stdtrit

        return float(stdtrit(self.count - 2, 0.5 + SHARE / 2))

    def at(self, day: float) -> float:
        """The line's value on a day."""
        return self.mean + self.slope * (day - self.middle)

    def band(self, day: float) -> float:
        """How far one more reading on that day may lie from the line, either way."""
        away = day - self.middle
        return self.reach * self.scatter * math.sqrt(1 + 1 / self.count + away**2 / self.squares)


@dataclass(frozen=True, slots=True)
class Crossing:
    """When a limit is met: by the line itself, and the soonest and latest a reading may say so.

    None: never. `tells`: the slope is more than the scatter may have made.
    """

    day: float | None
    soonest: float | None
    latest: float | None
    tells: bool


def line_of(points: Sequence[Point]) -> Line | None:
    """The line through readings of three or more days; None where there are fewer, or no scatter.

    The scatter is that of the readings about it, but no less than what the instruments' own plus
    or minus says: three readings may lie on a line by chance.

    >>> one = line_of([Point(0, 10.0), Point(10, 12.0), Point(20, 11.0)])
    >>> round(one.slope, 3), round(one.at(30), 3)
    (0.05, 12.0)
    """
    n = len(points)
    if len({p.day for p in points}) < LEAST_VISITS:
        return None
    middle = math.fsum(p.day for p in points) / n
    mean = math.fsum(p.value for p in points) / n
    squares = math.fsum((p.day - middle) ** 2 for p in points)
    slope = math.fsum((p.day - middle) * p.value for p in points) / squares
    left = math.fsum((p.value - mean - slope * (p.day - middle)) ** 2 for p in points)
    own = math.fsum(((p.doubt or 0.0) / 2) ** 2 for p in points) / n
    scatter = math.sqrt(max(left / (n - 2), own))
    if scatter <= 1e-12 * max(1.0, abs(mean)):
        return None
    return Line(middle, mean, slope, scatter, squares, n)


def crossing(
    line: Line, limit: float, sense: Literal["at_least", "at_most"], today: float
) -> Crossing:
    """When the line meets a limit, not before today."""
    sign = 1.0 if sense == "at_most" else -1.0
    slope, left = sign * line.slope, sign * (limit - line.mean)
    k2 = (line.reach * line.scatter) ** 2
    a = slope**2 - k2 / line.squares
    c = left**2 - k2 * (1 + 1 / line.count)
    root = math.sqrt(max(0.0, (slope * left) ** 2 - a * c))

    def day(x: float) -> float:
        return max(today, line.middle + x)

    tells = a > 0
    met = day(left / slope) if slope > 0 and tells else None
    if sign * (limit - line.at(today)) <= line.band(today):
        soonest: float | None = today
    elif a == 0 or (tells and slope <= 0):
        soonest = None
    else:  # the lower root of the two ahead, or the only one ahead
        ends = sorted(((slope * left - root) / a, (slope * left + root) / a))
        ahead = [x for x in ends if line.middle + x >= today]
        soonest = day(ahead[0]) if ahead else None
    latest = day((slope * left + root) / a) if tells and slope > 0 else None
    return Crossing(met, soonest, latest, tells)
