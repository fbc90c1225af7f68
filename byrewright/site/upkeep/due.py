"""Running hours, other counts, due dates with their ranges, and visits; pure, in whole days.

Nothing here knows a file: it is given what was read and done, and today.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

LEAST_DAYS = 7.0
"""Readings of a meter nearer together than this tell no rate (byrewright's own choice)."""
ONE_SLOPE, FORECAST = 0.10, 0.20
"""Range of a rate from two readings alone, and of one forecast (byrewright's own choices)."""
LONGEST_DAYS = 36_525.0
"""What is not due within so long is never due."""
FROM_METER = "from its meter"
OWN_DAYS = 60.0
"""Services that come more often are the farm's own people's, no reason for a visit."""
EARLY_SHARE = 0.25
"""How much of its interval a service may be brought forward to save a visit (own choice)."""


@dataclass(frozen=True, slots=True)
class Meter:
    """A meter (of hours, or of what else is counted) as it was read. `new`: it was replaced and
    began at this reading."""

    day: float
    reading: float
    new: bool = False


@dataclass(frozen=True, slots=True)
class Rate:
    """Hours, or what else is counted, a day, with its range and where it comes from.

    `months` are how much more or less than `a_day` it is in each month, January first; none: even.
    """

    a_day: float
    least: float
    most: float
    how: str
    months: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class Task:
    """A service that comes again: after running hours, after days, or after so many of what it
    wears by (`counts`)."""

    machine: str
    what: str
    every_h: float | None = None
    every_days: float | None = None
    counts: tuple[tuple[str, float], ...] = ()
    learned: tuple[float, float] | None = None
    """Range of the interval, where this plant's own record gave it."""


@dataclass(frozen=True, slots=True)
class Due:
    """When a task is next due: the day, and the range it lies in. None where nothing tells."""

    task: Task
    last: float | None
    day: float | None
    soonest: float | None
    latest: float | None
    every: float | None
    """Days between two services at the present rate; infinite where nothing wears."""
    how: str
    lacks: tuple[str, ...] = ()
    """What it wears by that nobody counts: by it, it may be due sooner."""

    @property
    def own(self) -> bool:
        """Whether it is the farm's own people's, and no reason for a visit."""
        return self.every is not None and self.every < OWN_DAYS


@dataclass(frozen=True, slots=True)
class Window:
    """One service of a task: due on a day, to be done from `first` to `last`."""

    task: Task
    due: float
    first: float
    last: float


@dataclass(frozen=True, slots=True)
class Visit:
    """A day on which the services of these windows are done."""

    day: float
    does: tuple[Window, ...]


def day_of(at: float) -> float:
    """The day of a moment (seconds since 1970), as a whole number."""
    return float(dt.date.fromtimestamp(at).toordinal())


def date_of(day: float | None) -> str:
    """A day as people write it; "" where it is not known or beyond all calendars."""
    far = day is None or not math.isfinite(day) or day >= dt.date.max.toordinal()
    return "" if day is None or far else dt.date.fromordinal(int(day)).isoformat()


def total_hours(meters: Iterable[Meter]) -> list[tuple[float, float]]:
    """Day and hours (or counts) since the first reading, over replaced meters.

    >>> total_hours([Meter(0, 100), Meter(10, 150), Meter(20, 0, new=True), Meter(30, 40)])
    [(0, 0.0), (10, 50.0), (20, 50.0), (30, 90.0)]
    """
    told: list[tuple[float, float]] = []
    before: Meter | None = None
    for one in sorted(meters, key=lambda m: m.day):
        run = 0.0 if before is None or one.new else one.reading - before.reading
        told.append((one.day, told[-1][1] + run if told else 0.0))
        before = one
    return told


def forecast(a_day: float, how: str, seen: Sequence[float] = ()) -> Rate:
    """A rate that no meter tells, with the range of a forecast; of `seen` weeks, with theirs."""
    if not seen:
        return Rate(a_day, (1 - FORECAST) * a_day, (1 + FORECAST) * a_day, how)
    away = ONE_SLOPE * a_day if len(seen) == 1 else 0.0
    return Rate(a_day, min(seen) - away, max(seen) + away, how)


def rate_of(
    meters: Sequence[Meter], beside: Rate | None = None, months: tuple[float, ...] = (),
    how: str = FROM_METER,
) -> Rate | None:  # fmt: skip
    """So many a day from readings a week or more apart; `beside` them without. `months` are its
    shape through a year, about 1: what was read in one season is not taken for all.

    >>> rate_of([Meter(1, 100), Meter(51, 350), Meter(101, 550)])
    Rate(a_day=4.5, least=4.0, most=5.0, how='from its meter', months=())
    """
    told = total_hours(meters)
    spaced = told[:1]
    for one in told[1:]:
        if one[0] - spaced[-1][0] >= LEAST_DAYS:
            spaced.append(one)
    if len(spaced) > 1:
        slopes = [(b[1] - a[1]) / _weight(a[0], b[0], months) for a, b in pairwise(spaced)]
        mean = (spaced[-1][1] - spaced[0][1]) / _weight(spaced[0][0], spaced[-1][0], months)
        away = ONE_SLOPE * mean if len(slopes) == 1 else 0.0
        return Rate(mean, min(slopes) - away, max(slopes) + away, how, months)
    return replace(beside, months=months) if beside is not None else None


def _by_month(since: float, months: tuple[float, ...]) -> Iterator[tuple[float, float]]:
    """Days from a day on, month by month, and how much more or less is worn in them."""
    day = since
    while day < since + LONGEST_DAYS and day < dt.date.max.toordinal() - 31:
        date = dt.date.fromordinal(max(1, int(day)))
        ends = dt.date(date.year + date.month // 12, date.month % 12 + 1, 1).toordinal()
        yield ends - day, months[date.month - 1]
        day = float(ends)


def _weight(start: float, end: float, months: tuple[float, ...]) -> float:
    """Days between two, each counted as its month wears."""
    if not months:
        return end - start
    left, found = end - start, 0.0
    for days, weight in _by_month(start, months):
        found += min(left, days) * weight
        left -= days
        if left <= 0:
            break
    return found or math.inf  # nothing is worn in these months


def due_of(
    task: Task, today: float, last: float | None, meters: Sequence[Meter], rate: Rate | None,
    counted: Mapping[str, tuple[Sequence[Meter], Rate | None]] | None = None,
) -> Due:  # fmt: skip
    """When a task is next due: by the first of what it wears by.

    `last` is the day it was done last, or that the machine began; None where nobody said.
    `counted` holds meters and rate of what is counted beside hours.
    """
    if last is None:
        return Due(task, None, None, None, None, task.every_days, "not known when it was done last")
    found: list[Due] = []
    if task.every_days is not None:
        low, high = task.learned or (task.every_days, task.every_days)
        found.append(Due(task, last, last + task.every_days, last + low, last + high,
                         task.every_days, "by the calendar"))  # fmt: skip
    elif task.every_h is not None:
        span = task.learned or (task.every_h, task.every_h)
        found.append(_by_meter(task, last, task.every_h, span, meters, rate, "hours"))
    usual = task.every_days or task.every_h
    for unit, many in task.counts:
        read, told = (counted or {}).get(unit, ((), None))
        if told is not None and told.a_day == 0.0 and found:
            continue  # it never wears by this
        span = (many, many)
        if task.learned is not None:
            low, high = task.learned
            span = (many * low / usual, many * high / usual) if usual else (low, high)
        one = _by_meter(task, last, many, span, read, told, unit)
        found.append(replace(one, how=f"{one.how}, {unit}") if one.day is not None else one)
    known = [d for d in found if d.day is not None]
    if not known:
        return next((d for d in found if d.every != math.inf), found[0])
    first = min(known, key=lambda d: d.day or 0.0)
    lacks = tuple(unit for unit, _ in task.counts
                  if unit in (counted or {}) and (counted or {})[unit][1] is None)  # fmt: skip
    return replace(first, lacks=lacks)


def _by_meter(
    task: Task, last: float, every: float, span: tuple[float, float], meters: Sequence[Meter],
    rate: Rate | None, unit: str,
) -> Due:  # fmt: skip
    if rate is not None and rate.a_day == 0.0:
        return Due(task, last, None, None, None, math.inf,
                   f"{rate.how}: its {unit} stand still, so it is not due by them")  # fmt: skip
    if rate is None:
        return Due(task, last, None, None, None, None,
                   f"its {unit} are not known: read its meter")  # fmt: skip
    told = total_hours(meters)
    run, seen = _run_since(told, last, rate.a_day), max(told[-1][0] if told else last, last)
    ends = (every, rate.a_day), (span[0], rate.most), (span[1], rate.least)
    days = [_after(many - run, a_day, seen, rate.months) for many, a_day in ends]
    day, soonest, latest = (seen + d for d in days)
    return Due(task, last, day, min(soonest, latest), max(soonest, latest), every / rate.a_day,
               rate.how)  # fmt: skip


def _run_since(told: Sequence[tuple[float, float]], last: float, h_day: float) -> float:
    """Hours run from `last` to the last reading; what lies before the first by the rate."""
    if not told or last >= told[-1][0]:
        return 0.0
    if last <= told[0][0]:
        return told[-1][1] + (told[0][0] - last) * h_day
    i = next(i for i, (day, _) in enumerate(told) if day >= last)
    (d0, h0), (d1, h1) = told[i - 1], told[i]
    return told[-1][1] - (h0 + (h1 - h0) * (last - d0) / (d1 - d0))


def _after(left_h: float, h_day: float, since: float, months: tuple[float, ...]) -> float:
    """Days until so much more is worn; what is over is told by the mean of the year."""
    if h_day <= 0:
        return math.inf if left_h > 0 else 0.0
    if not months or left_h <= 0:
        return left_h / h_day
    gone = 0.0
    for days, weight in _by_month(since, months):
        if left_h <= h_day * weight * days:
            return gone + left_h / (h_day * weight)
        left_h -= h_day * weight * days
        gone += days
    return math.inf


def windows(
    due: Iterable[Due], today: float, horizon_days: float, late_days: float
) -> list[Window]:
    """Every service that falls due within the horizon. What is overdue is to be done now."""
    found = []
    for one in due:
        if one.day is None or one.every is None or one.every <= 0:
            continue
        day = one.day
        while day <= today + horizon_days:
            first, last = day - EARLY_SHARE * one.every, day + late_days
            found.append(Window(one.task, day, max(min(first, last), today), max(last, today)))
            day = max(day, today) + one.every
    return found


def fewest_visits(some: Iterable[Window]) -> list[Visit]:
    """The fewest days on which every window is seen to.

    Optimal: of the windows that are left, the one that ends first needs a day no later than its
    end, and that day itself serves all others that any earlier day could. Each visit is then
    brought forward to the middle of what its windows allow together.
    """
    left, visits = sorted(some, key=lambda w: (w.last, w.first)), []
    while left:
        day = left[0].last
        now = [w for w in left if w.first <= day]
        left = [w for w in left if w.first > day]
        visits.append(Visit((max(w.first for w in now) + day) / 2, tuple(now)))
    return visits
