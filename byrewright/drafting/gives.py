"""What would have to give: the least change of one wish alone with which a draft closes.

Each is proven by drafting again. Nothing here knows a formula: a wish is changed step by step,
and every study is asked again.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from byrewright.drafting.close import Closing, Say, close, fails
from byrewright.drafting.draft import Draft, region_held, text_of
from byrewright.errors import ByrewrightError
from byrewright.plant.farm import Collection, clock, minutes
from byrewright.standards.rulebook import Rulebook, default_rulebook

if TYPE_CHECKING:
    from byrewright.plant.brief import Brief, BriefFile


@dataclass(frozen=True, slots=True)
class Step:
    """A wish changed: the words for it and what the brief then says."""

    words: str
    change: dict[str, Any]


@dataclass(frozen=True, slots=True)
class Give:
    """The least change of one wish with which every study holds, and what it mends."""

    wish: str
    words: str
    change: dict[str, Any]
    mends: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Lever:
    """A wish that may give: which findings it may mend, and its steps from least to most."""

    wish: str
    mends: tuple[str, ...]
    steps: Callable[[Brief, Closing], Sequence[Step]]


TIME = ("throughput.", "day.milking_on_time", "day.go_rounds", "day.wash_fits", "wash.time")
CUPS = (
    "failures.cups", "failures.waiting", "vacuum.event.all_vacuum_lost", "vacuum.event.pump_trips",
)  # fmt: skip
STOPS = ("failures.single_stop", "failures.cut", "failures.cause")
POWER = ("power.", "day.load_most", "failures.power")
STORE = ("storage.", "day.vessel_full@TK", "day.milk_lost", "failures.cause.tanker")
COLD = ("cooling.", "day.milk_temperature", "day.little_milk", "day.cooler_outlet")
WATER = ("water.", "day.vessel_dry")
MOST_PEOPLE = 8
MOST_STEPS = 32
"""Steps in which a quantity is changed, up to three times what it is."""
MOST_STALLS = 120


def _people(brief: Brief, now: Closing) -> list[Step]:
    return [
        Step(f"{n} operators instead of {brief.operators}", {"operators": n})
        for n in range(brief.operators + 1, MOST_PEOPLE + 1)
    ]


def _hours(brief: Brief, now: Closing) -> list[Step]:
    starts = sorted(minutes(m) for m in brief.milkings)
    gaps = [(b - a - 1) % 1440 + 1 for a, b in zip(starts, [*starts[1:], starts[0]], strict=True)]
    most = min(gaps) / 60 - 1.0
    return [
        Step(f"milking {brief.target_h + n / 10:.3g} h instead of {brief.target_h:.3g}",
             {"target_h": round(brief.target_h + n / 10, 2)})
        for n in range(1, MOST_STEPS) if brief.target_h + n / 10 <= most
    ]  # fmt: skip


def _stalls(brief: Brief, now: Closing) -> list[Step]:
    if brief.stalls is None:
        return []
    step = 2 * brief.rows
    every = range(brief.stalls + step, MOST_STALLS + 1, step)
    return [Step(f"{n} stalls instead of {brief.stalls}", {"stalls": n}) for n in every]


def _together(brief: Brief, now: Closing) -> list[Step]:
    if brief.redundancy == "shared-running":
        return []
    was = {"none": "one machine for each duty", "duty-and-standby": "one that stands by"}
    words = f"machines that share each duty instead of {was[brief.redundancy]}"
    return [Step(words, {"redundancy": "shared-running"})]


def _standby(brief: Brief, now: Closing) -> list[Step]:
    if brief.standby_power == "automatic":
        return []
    was = {"none": "none", "tractor": "one behind a tractor"}[brief.standby_power]
    words = f"a standby generator that starts by itself instead of {was}"
    return [Step(words, {"standby_power": "automatic"})]


def _may_stop(brief: Brief, now: Closing) -> list[Step]:
    if not brief.no_single_stop:
        return []
    return [Step("a single failure may stop milking", {"no_single_stop": False})]


def _more(has: float, grain: float) -> list[float]:
    """A quantity made more in even steps of a round size, up to three times."""
    step = grain * max(1, round(2 * has / MOST_STEPS / grain))
    first = step * (math.floor(has / step + 1e-9) + 1)
    return [first + step * n for n in range(MOST_STEPS) if first + step * n <= 3 * has]


def _supply(brief: Brief, now: Closing) -> list[Step]:
    supply = brief.supply
    if supply is None or supply.limit_kva is None:
        return []
    found = []
    for kva in _more(supply.limit_kva, 5.0):
        stated = {**supply.model_dump(exclude_unset=True), "limit_kva": kva}
        words = f"supply {kva:g} kVA instead of {supply.limit_kva:g}"
        found.append(Step(words, {"supply": type(supply).model_validate(stated)}))
    return found


def _visits(brief: Brief, now: Closing) -> list[Step]:
    """Every visit each day, then one and two more, spread over the day; then larger tankers."""
    visits = brief.collections
    found = []
    if any(c.every_days > 1 for c in visits):
        daily = tuple(c.model_copy(update={"every_days": 1}) for c in visits)
        found.append(Step("a tanker every day", {"collections": daily}))
    largest = max(c.tanker_l for c in visits)
    first = min(minutes(c.at) for c in visits)
    for more in (1, 2):
        count = len(visits) + more
        again = tuple(
            Collection(at=clock(first + i * 1440 / count), tanker_l=largest) for i in range(count)
        )
        words = f"{count} tanker visits a day instead of {len(visits)}"
        found.append(Step(words, {"collections": again}))
    return found


def _tankers(brief: Brief, now: Closing) -> list[Step]:
    found = []
    largest = max(c.tanker_l for c in brief.collections)
    for litres in _more(largest, 1000.0):
        bigger = tuple(
            c.model_copy(update={"tanker_l": max(c.tanker_l, litres)}) for c in brief.collections
        )
        words = f"tankers of {litres:.0f} L instead of {largest:.0f}"
        found.append(Step(words, {"collections": bigger}))
    return found


def _reserve(brief: Brief, now: Closing) -> list[Step]:
    return [
        Step(f"storage for {h:g} h of a late tanker instead of {brief.reserve_h:g}",
             {"reserve_h": float(h)})
        for h in (24, 18, 12, 8, 6, 4, 2, 0) if h < brief.reserve_h
    ]  # fmt: skip


def _water(brief: Brief, now: Closing) -> list[Step]:
    source = brief.water_source
    if source.flow_l_min is None:
        return []
    found = []
    for flow in _more(source.flow_l_min, 5.0):
        words = f"{flow:g} L/min of water instead of {source.flow_l_min:g}"
        found.append(Step(words, {"water_source": source.model_copy(update={"flow_l_min": flow})}))
    return found


def _milk_out(brief: Brief, now: Closing) -> list[Step]:
    if brief.milk_out_c is None:
        return []
    return [
        Step(f"milk into the tank at {brief.milk_out_c + k:g} degC instead of {brief.milk_out_c:g}",
             {"milk_out_c": brief.milk_out_c + k})
        for k in (1, 2, 4, 8)
    ]  # fmt: skip


def _cooling(brief: Brief, now: Closing) -> list[Step]:
    words = {"ice_bank": "an ice bank", "direct_expansion": "direct expansion",
             "chilled_water": "chilled water", "inline_and_silo": "cooling in line"}  # fmt: skip
    has = now.settled.want.cold
    return [
        Step(f"cooled by {words[kind]}", {"cooling": kind})
        for kind in ("inline_and_silo", "ice_bank", "chilled_water", "direct_expansion")
        if kind != brief.cooling and not (brief.cooling is None and kind.startswith(has))
    ]


LEVERS: tuple[Lever, ...] = (
    Lever("operators", (*TIME, *CUPS), _people),
    Lever("target_h", TIME, _hours),
    Lever("stalls", TIME, _stalls),
    Lever("redundancy", (*STOPS, *CUPS, "delivery.", "cooling.chiller"), _together),
    Lever("standby_power", (*STOPS, *CUPS, "power.standby"), _standby),
    Lever("no_single_stop", (*STOPS, "vacuum.event.all_vacuum_lost"), _may_stop),
    Lever("supply", POWER, _supply),
    Lever("collections", STORE, _visits),
    Lever("tanker_l", STORE, _tankers),
    Lever("reserve_h", STORE, _reserve),
    Lever("water_source", WATER, _water),
    Lever("milk_out_c", COLD, _milk_out),
    Lever("cooling", COLD, _cooling),
)
"""Wishes that may give. `cooling` has no order: each kind is tried until one closes."""
UNORDERED = frozenset({"cooling", "collections"})
SWITCHES = frozenset({"redundancy", "standby_power"})
"""Wishes of one step, of which a part of what they answer for is worth naming."""


def gives(
    brief: Brief, rules: Rulebook, now: Closing, *, say: Say | None = None
) -> tuple[Give, ...]:
    """For each wish that may mend what is open, the least change of it alone that does.

    A change is looked for with the studies that failed, and proven with all of them. Where several
    things are open, a wish answers for those that it may mend.

    Raises:
        Cancelled: `say` answered True.
    """
    search = _Search(brief, rules, now, say)
    found = []
    for lever in LEVERS:
        mine = tuple(f.name for f in now.open if f.name.startswith(lever.mends))
        give = search.least(lever, mine) if mine else None
        if give is not None:
            found.append(give)
    both = search.together(found)
    return (*found, both) if both else tuple(found)


def closed_draft(
    brief_file: BriefFile, rules: Rulebook | None = None, *, say: Say | None = None
) -> Draft:
    """The plant of a brief, mended until every study holds; else what would have to give.

    Raises:
        Cancelled: `say` answered True.
        ByrewrightError: the brief asks for something that cannot be drafted.
    """
    rules = rules or default_rulebook()
    region_held(brief_file, rules)
    now = close(brief_file.brief, rules, say=say)
    found = gives(brief_file.brief, rules, now, say=say) if now.open else ()
    settled = now.settled
    return Draft(
        settled.plant, text_of(settled, brief_file), settled.sizing,
        (*brief_file.assumptions, *settled.loose()), settled.rounds, tuple(now.asked),
        tuple(now.changes), now.open, now.unjudged,
        tuple(_said(g, now) for g in found),
    )  # fmt: skip


def _said(give: Give, now: Closing) -> str:
    part = "" if len(give.mends) == len(now.open) else f" (mends {', '.join(give.mends)})"
    return f"{give.words}{part}"


@dataclass(frozen=True, slots=True)
class _Search:
    """What the search for the least change of a wish works with."""

    brief: Brief
    rules: Rulebook
    now: Closing
    say: Say | None

    def least(self, lever: Lever, mine: tuple[str, ...]) -> Give | None:
        """The first step that mends: by halving where steps have an order, else one by one."""
        steps = list(lever.steps(self.brief, self.now))
        failed = [n for n, r in self.now.asked.items() if any(f.name in mine for f in fails(r))]
        tried: dict[int, bool] = {}

        def holds(at: int) -> bool:
            if at not in tried:
                tried[at] = self._mends(steps[at], lever, failed)
            return tried[at]

        if not steps:
            return None
        if lever.wish in SWITCHES:
            mended = self._mended(steps[0], None)
            less = tuple(n for n in mine if n in mended)
            return Give(lever.wish, steps[0].words, steps[0].change, less) if less else None
        if lever.wish in UNORDERED:
            order = range(len(steps))
        elif not holds(len(steps) - 1):
            return None
        else:
            low, high = -1, len(steps) - 1
            while high - low > 1:
                middle = (low + high) // 2
                low, high = (low, middle) if holds(middle) else (middle, high)
            order = range(high, len(steps))
        for at in order:
            if holds(at) and self._mends(steps[at], lever, None):
                return Give(lever.wish, steps[at].words, steps[at].change, mine)
        return None

    def together(self, found: Sequence[Give]) -> Give | None:
        """Wishes that mend together what none of them mends alone."""
        every = {f.name for f in self.now.open}
        mine = [g for g in found if g.wish in SWITCHES]
        if len(mine) < 2 or any(set(g.mends) == every for g in mine):
            return None
        change = {k: v for g in mine for k, v in g.change.items()}
        words = " together with ".join(g.words for g in mine)
        mended = self._mended(Step(words, change), None)
        more = set(mended) - {n for g in mine for n in g.mends}
        return Give("+".join(g.wish for g in mine), words, change, mended) if more else None

    def _mends(self, step: Step, lever: Lever, only: Sequence[str] | None) -> bool:
        """Whether nothing that the wish answers for fails any more, and nothing new does."""
        mended = self._mended(step, only)
        return bool(mended) and all(
            f.name in mended for f in self.now.open if f.name.startswith(lever.mends)
        )

    def _mended(self, step: Step, only: Sequence[str] | None) -> tuple[str, ...]:
        """What no longer fails with a step; nothing where something new does."""
        known = [f.name for f in self.now.open]
        try:
            then = close(
                self.brief.model_copy(update=step.change), self.rules, say=self.say,
                start=self.now, only=only, told=f"would {step.words} do? ",
            )  # fmt: skip
        except ByrewrightError:
            return ()
        left = {f.name for f in then.open}
        return tuple(n for n in known if n not in left) if left <= set(known) else ()
