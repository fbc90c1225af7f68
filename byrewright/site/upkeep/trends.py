"""Each test and reading across the visits, and the day on which its limit will be crossed."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from byrewright.results import Finding, Input, Table, Verdict, in_figures, judge
from byrewright.site.checks.check import Check, Limit
from byrewright.site.checks.verdicts import KEPT, held_to, readings_by_check
from byrewright.site.log import Entry
from byrewright.site.log.entry import current
from byrewright.site.upkeep.due import date_of, day_of
from byrewright.site.upkeep.line import (
    LEAST_VISITS,
    SHARE,
    Crossing,
    Line,
    Point,
    crossing,
    line_of,
)

HORIZON_DAYS = 365.0
BARS = "▁▂▃▄▅▆▇█"


@dataclass(frozen=True, slots=True)
class Trend:
    """One test or reading across visits, the latest of a day; `limit` is what it moves towards."""

    key: str
    title: str
    at: str
    unit: str
    points: tuple[Point, ...]
    line: Line | None
    limit: Limit | None
    crosses: Crossing | None
    verdict: Verdict
    says: str

    @property
    def word(self) -> str:
        """The verdict, or `kept` where no limit is known to hold it to."""
        return KEPT if self.limit is None and self.verdict == "holds" else self.verdict


def needs_checks(entries: Iterable[Entry]) -> bool:
    """Whether any test was read on so many days that a trend may be told."""
    return any(len({day_of(e.at) for e in some if _value(e) is not None}) >= LEAST_VISITS
               for some in _series(entries).values())  # fmt: skip


def trends_of(
    checks: Sequence[Check], entries: Iterable[Entry], today: float
) -> tuple[list[Trend], int]:
    """The trends, the soonest crossing first, and how many tests have too few visits to tell."""
    told = current(entries)
    by_id = {c.id: c for c in checks}
    renewed = _renewed(told)
    found, few = [], 0
    for key, some in _series(told).items():
        check = by_id.get(key)
        read = [e for e in some if _value(e) is not None]
        if check is None and any(e.kind == "test" for e in read):
            continue  # no test of this plant any more
        stretch = _since(check, read, renewed)
        if len({day_of(e.at) for e in stretch}) < LEAST_VISITS:
            few += bool(read)
            continue
        found.append(_trend(key, check, stretch, today))
    return sorted(found, key=_rank), few


def _series(entries: Iterable[Entry]) -> Mapping[str, list[Entry]]:
    """Readings by the check that they answer, or by figure and machine, in order of time."""
    every = list(entries)
    found = dict(readings_by_check(every))
    known = {e.uid for some in found.values() for e in some}
    for one in sorted(current(every), key=lambda e: (e.at, e.made_at, e.number)):
        if one.kind == "reading" and one.uid not in known and "figure" in one.data:
            data = one.data
            name = f"{data['figure']}@{data.get('at') or one.tag}"
            found.setdefault(name, []).append(one)
    return found


def _value(entry: Entry) -> float | None:
    value = entry.data.get("value")
    return float(value) if isinstance(value, int | float) else None


def _renewed(entries: Iterable[Entry]) -> dict[str, float]:
    """The last moment at which all parts of some sort at a machine were found worn."""
    found: dict[str, float] = {}
    for one in entries:
        if one.kind == "part" and one.data.get("renewed"):
            found[one.tag] = max(found.get(one.tag, 0.0), one.at)
    return found


def _since(check: Check | None, read: Sequence[Entry], renewed: Mapping[str, float]) -> list[Entry]:
    """The readings since the part was renewed or the fault mended: a trend starts anew there."""
    stretch: list[Entry] = []
    failed = False
    for one in read:
        _, unit, limits = held_to(check, one)
        fails = any(judge(_value(one), x.value, x.sense)[0] == "fails" for x in limits)
        mended = failed and not fails
        other = stretch and held_to(check, stretch[-1])[1] != unit
        fresh = stretch and stretch[-1].at <= renewed.get(one.tag, 0.0) < one.at
        if mended or other or fresh:
            stretch = []
        stretch.append(one)
        failed = fails
    return stretch if stretch and stretch[-1].at > renewed.get(stretch[-1].tag, 0.0) else []


def _trend(key: str, check: Check | None, read: Sequence[Entry], today: float) -> Trend:
    title, unit, limits = held_to(check, read[-1])
    last: dict[float, Point] = {}
    for one in read:
        value, doubt = _value(one), one.data.get("uncertainty")
        assert value is not None
        last[day_of(one.at)] = Point(day_of(one.at), value, None if doubt is None else float(doubt))
    points = tuple(last.values())
    line = line_of(points)
    at = check.at if check is not None else str(read[-1].data.get("at") or read[-1].tag)
    limit, crosses = _nearest(line, limits, today)
    verdict, says = _said(points, line, limits, limit, crosses, today)
    return Trend(key, title, at, unit, points, line, limit, crosses, verdict, says)


def _nearest(
    line: Line | None, limits: Sequence[Limit], today: float
) -> tuple[Limit | None, Crossing | None]:
    """The limit that is crossed first, and when."""
    if line is None or not limits:
        return (limits[0] if limits else None), None
    each = [
        (x, crossing(line, x.value, x.sense, today)) for x in limits if x.sense != "informational"
    ]
    far = float("inf")
    return min(each, key=lambda p: (p[1].day or far, p[1].soonest or far), default=(None, None))


def _said(
    points: Sequence[Point], line: Line | None, limits: Sequence[Limit], limit: Limit | None,
    crosses: Crossing | None, today: float,
) -> tuple[Verdict, str]:  # fmt: skip
    """The verdict and what to say of it."""
    now, soon = points[-1].value, today + HORIZON_DAYS
    if not limits:
        return "holds", "it has no limit"
    if any(judge(now, x.value, x.sense)[0] == "fails" for x in limits):
        return "fails", "the limit is crossed"
    if line is None or crosses is None:
        return "unknown", ("it was read the same each time: state the instrument's plus or minus, "
                           "without which no range can be given")  # fmt: skip
    first = date_of(crosses.soonest)
    if crosses.day is not None:
        when = f"its limit is crossed about {date_of(crosses.day) or 'in many years'}"
        last = date_of(crosses.latest)
        span = f"between {first} and {last}" if last else f"not before {first}"
        near = crosses.soonest is not None and crosses.soonest <= soon
        verdict: Verdict = "tight" if crosses.day <= soon else "unknown" if near else "holds"
        return verdict, f"{when}, {span}"
    if crosses.soonest is None:
        return "holds", "it moves away from its limit" if crosses.tells else "steady"
    if crosses.soonest > soon:
        return "holds", f"steady within its scatter; the limit is not reached before {first}"
    return "unknown", (
        "its scatter hides any trend, and the limit may be reached within a year: read it again, "
        "or with a better instrument"
    )


def _rank(one: Trend) -> tuple[int, float, str]:
    order: dict[Verdict, int] = {"fails": 0, "tight": 1, "unknown": 2, "holds": 3}
    far = float("inf")
    day = (one.crosses.day or one.crosses.soonest or far) if one.crosses else far
    return order[one.verdict], day, one.key


# as results ----------------------------------------------------------------------------------


def finding_of(one: Trend) -> Finding:
    """A trend as a finding: the slope a year, and when."""
    slope = None if one.line is None else one.line.slope * 365.0
    name = one.title + (f", {one.at}" if one.at else "")
    line, inputs = one.line, list[Input]()
    if line is not None:
        inputs = [
            Input("n", "visits", float(line.count)),
            Input("b", "slope a day", line.slope, one.unit),
            Input("s", "scatter about the line", line.scatter, one.unit),
        ]
    return Finding(
        "service.trend", one.key, "Trend of " + one.title, slope, f"{one.unit} a year",
        f"{name}: {in_figures(one.points[-1].value)} {one.unit} after {len(one.points)} visits; "
        f"{one.says}.",
        one.verdict, formula="value = mean + b (day - middle); the range is that of one more "
        f"reading, {100 * SHARE:.0f} % of which lie in it", inputs=tuple(inputs),
        source="least squares with prediction interval, turned round for the day (Fieller)",
        confidence="from_memory", missing=(one.says,) if one.verdict == "unknown" else (),
    )  # fmt: skip


def bars(values: Sequence[float]) -> str:
    """Readings as a row of small bars.

    >>> bars([1.0, 2.0, 4.0])
    '▁▃█'
    """
    low, high = min(values), max(values)
    step = (high - low) / (len(BARS) - 1) or 1.0
    return "".join(BARS[round((v - low) / step)] for v in values)


def too_few(count: int) -> tuple[str, ...]:
    """A note on the tests that have too few visits; none where there are none."""
    if not count:
        return ()
    were = "1 test was" if count == 1 else f"{count} tests were"
    return (f"{were} read at fewer than {LEAST_VISITS} visits: too few to tell a trend.",)


def table_of(found: Sequence[Trend]) -> Table:
    """The trends in rows."""
    return Table(
        "service.trends", "Readings across the visits, the soonest crossing first",
        ("test", "at", "visits", "readings", "first", "last", "unit", "a year", "limit", "crossed",
         "from", "to", "verdict"), ("",) * 13,
        tuple(
            (t.title, t.at, len(t.points), bars([p.value for p in t.points]), t.points[0].value,
             t.points[-1].value, t.unit,
             "" if t.line is None else float(f"{t.line.slope * 365.0:+.3g}"),
             "" if t.limit is None else float(f"{t.limit.value:.4g}"), *_days(t.crosses),
             t.word)
            for t in found
        ),
        f"From and to: with a chance of {100 * SHARE:.0f} % the limit is crossed between these "
        "dates; without a date no crossing is in sight. A trend starts anew when "
        "the part was renewed or the fault mended.",
    )  # fmt: skip


def _days(crosses: Crossing | None) -> tuple[str, str, str]:
    if crosses is None:
        return "", "", ""
    return date_of(crosses.day), date_of(crosses.soonest), date_of(crosses.latest)


def span_of(one: Trend, today: float) -> tuple[float, float]:
    """First and last day that a picture of it shows."""
    end = today + HORIZON_DAYS
    if one.crosses is not None and one.crosses.day is not None:
        end = max(end, min(one.crosses.day + 60.0, today + 4 * HORIZON_DAYS))
    return one.points[0].day, min(end, dt.date.max.toordinal() - 1.0)
