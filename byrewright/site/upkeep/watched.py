"""What machines ran while the plant was watched: from the modes that the watch wrote in its log.

A machine runs in a mode in which its position says so; how long and how often is counted from one
change of mode to the next. What passed while nothing was read, the watch was not there or the mode
was not known counts for nothing, and a week counts from a day's watching on.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator

from byrewright.plant.plant import Plant
from byrewright.plant.upkeep import HOURS
from byrewright.site.log import Entry
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


def _by_week(start: float, end: float) -> Iterator[tuple[int, float]]:
    while start < end:
        week = int(start // (WEEK_DAYS * DAY_S))
        stop = min(end, (week + 1) * WEEK_DAYS * DAY_S)
        yield week, stop - start
        start = stop
