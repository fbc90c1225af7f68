"""What machines ran while the plant was watched: by their run contacts, else by the modes.

A run contact is a meter: what the watch counted by it, a week at a time, with what passed unseen at
the rate of that week (of all weeks, where under a day of it was watched).

By the modes that the watch wrote in its log, a machine runs in a mode in which its position says
so; how long and how often is counted from one change of mode to the next. What passed while nothing
was read, the watch was not there or the mode was not known counts for nothing, and a week counts
from a day's watching on.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Iterator

from byrewright.plant.plant import Plant
from byrewright.plant.upkeep import HOURS
from byrewright.site.log import Entry
from byrewright.site.upkeep.due import Meter, day_of
from byrewright.site.upkeep.forecast import Worn, at_work, with_what_follows, works

DAY_S, WEEK_DAYS = 86_400.0, 7
LEAST_DAYS = 7.0
"""Days that have to be watched in all before they tell a rate (byrewright's own choice)."""
LEAST_OF_WEEK = 1.0
"""Days watched from which a week counts (byrewright's own choice)."""
ENDS, GOES_ON = ("stopped", "lost"), ("started", "back")
Stretch = tuple[float, float, str]


def stretches(entries: Iterable[Entry]) -> Iterator[Stretch]:
    """From when to when (seconds since 1970) the plant was seen in which mode.

    After a gap the mode before it holds until another is told, as the watch writes changes only. A
    watch that was killed told nothing from its last entry on.
    """
    mode, since, last = "", None, 0.0
    for one in sorted((e for e in entries if e.kind == "watch"), key=lambda e: e.at):
        kind = one.data.get("kind")
        if kind == "started" and since is not None:
            yield since, last, mode
            since = None
        if kind in ("mode", *ENDS) and since is not None:
            yield since, one.at, mode
            since = None
        if kind == "mode":
            mode = str(one.data.get("text", ""))
        if kind in ("mode", *GOES_ON):
            since = one.at
        last = one.at


def watched(plant: Plant, entries: Iterable[Entry]) -> Worn:
    """What machines wore a day, week by week of what was watched; nothing under a week in all.

    What cycles by itself (it works while the plant is idle) cannot be told from modes.
    """
    every = [s for s in stretches(entries) if s[1] > s[0] and s[2] in plant.modes]
    if sum(b - a for a, b, _ in every) < LEAST_DAYS * DAY_S:
        return {}
    told = [m for m in plant.equipment.values() if not works(plant, m, "idle")
            and works(plant, m, "milking", "wash", "rinse")]  # fmt: skip
    on = {(name, m.id) for name in plant.modes for m in told if at_work(plant, name, m)}
    origin = every[0][0]
    seen: dict[int, float] = defaultdict(float)
    run: dict[tuple[int, str, str], float] = defaultdict(float)
    before: tuple[float, str] = 0.0, ""
    for start, end, mode in every:
        for m in told:
            fresh = before[0] != start or (before[1], m.id) not in on
            if (mode, m.id) in on and fresh:
                run[int((start - origin) // (WEEK_DAYS * DAY_S)), m.id, "starts"] += 1.0
        before = end, mode
        for week, seconds in _by_week(start - origin, end - origin):
            seen[week] += seconds / DAY_S
            run[week, "", HOURS] += seconds / 3600.0 * ("milking" in plant.modes[mode].does)
            for m in told:
                if (mode, m.id) in on:
                    run[week, m.id, HOURS] += seconds / 3600.0
    weeks = [w for w, days in sorted(seen.items()) if days >= LEAST_OF_WEEK]

    def a_day(tag: str, unit: str) -> list[float]:
        return [run[w, tag, unit] / seen[w] for w in weeks]

    if not weeks:
        return {}
    found = with_what_follows(plant, {m.id: a_day(m.id, HOURS) for m in told}, a_day("", HOURS))
    return found | {(m.id, "starts"): a_day(m.id, "starts") for m in told}


def run_meters(entries: Iterable[Entry]) -> dict[tuple[str, str], list[Meter]]:
    """Hours and starts by machine as run contacts told them, as a meter that is read each week.

    >>> one = Entry("", "", 1, 86400.0 * 7, 0.0, "ran", "", "", "", '{"machines": {"AC1": {'
    ...     '"seen_s": 302400, "ran_s": 36000, "starts": 70}}}', "", "")
    >>> [m.reading for m in run_meters([one])["AC1", "starts"]]
    [0.0, 140.0]
    """
    seen: dict[str, dict[int, list[float]]] = defaultdict(lambda: defaultdict(lambda: [0.0] * 3))
    told = sorted((e for e in entries if e.kind == "ran"), key=lambda e: e.at)
    if not told:
        return {}
    longest = max(float(c["seen_s"]) for c in told[0].data["machines"].values())
    origin, last = told[0].at - longest, told[-1].at
    for one in told:  # an entry counts whole in the week in which it was begun
        for tag, count in one.data["machines"].items():
            week = int(max(0.0, one.at - count["seen_s"] - origin) // (WEEK_DAYS * DAY_S))
            for i, name in enumerate(("seen_s", "ran_s", "starts")):
                seen[tag][week][i] += float(count[name])
    ends = [min(WEEK_DAYS * (w + 1.0), (last - origin) / DAY_S)
            for w in range(math.ceil((last - origin) / DAY_S / WEEK_DAYS))]  # fmt: skip
    found: dict[tuple[str, str], list[Meter]] = {}
    for tag, weeks in seen.items():
        in_all = [sum(w[i] for w in weeks.values()) for i in range(3)]
        for i, unit, of in ((1, HOURS, 3600.0), (2, "starts", 1.0)):
            meters, reading, before = [Meter(day_of(origin), 0.0)], 0.0, 0.0
            for week, end in enumerate(ends):
                some = weeks[week] if weeks[week][0] >= LEAST_OF_WEEK * DAY_S else in_all
                reading += some[i] / some[0] * DAY_S / of * (end - before)
                meters.append(Meter(day_of(origin + end * DAY_S), reading))
                before = end
            found[tag, unit] = meters
    return found


def _by_week(start: float, end: float) -> Iterator[tuple[int, float]]:
    while start < end:
        week = int(start // (WEEK_DAYS * DAY_S))
        stop = min(end, (week + 1) * WEEK_DAYS * DAY_S)
        yield week, stop - start
        start = stop
