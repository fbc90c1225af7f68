"""The farm's wishes that may give where a draft does not close, and the steps in which each does.

Nothing here knows a formula: a wish is changed step by step, and every study is asked again.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from byrewright.plant.farm import Collection, clock, minutes

if TYPE_CHECKING:
    from byrewright.drafting.close import Closing
    from byrewright.plant.brief import Brief


@dataclass(frozen=True, slots=True)
class Step:
    """A wish changed: the words for it and what the brief then says."""

    words: str
    change: dict[str, Any]


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
ROUNDS = ("throughput.", "day.go_rounds", "day.milking_on_time")
STOPS = ("failures.single_stop", "failures.cut", "failures.cause")
POWER = ("power.", "day.load_most", "failures.power")
STORE = ("storage.", "day.vessel_full@TK", "day.milk_lost", "failures.cause.tanker")
COLD = ("cooling.", "day.milk_temperature", "day.little_milk", "day.cooler_outlet")
WASH = ("wash.end_temperature", "day.wash_return")
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


def _rounds(brief: Brief, now: Closing) -> list[Step]:
    if brief.layout != "rotary":
        return []
    was = brief.go_round_share
    return [
        Step(f"{share:.0%} of the cows going round twice instead of {was:.0%}",
             {"go_round_share": share})
        for share in (0.05, 0.08, 0.10, 0.12, 0.15, 0.20, 0.25, 0.30) if share > was
    ]  # fmt: skip


def _together(brief: Brief, now: Closing) -> list[Step]:
    words = {"none": "one machine for each duty", "duty-and-standby": "one that stands by",
             "shared-running": "machines that share each duty"}  # fmt: skip
    kinds = list(words)
    was = brief.redundancy
    return [
        Step(f"{words[kind]} instead of {words[was]}", {"redundancy": kind})
        for kind in kinds[kinds.index(was) + 1 :]
    ]


def _standby(brief: Brief, now: Closing) -> list[Step]:
    words = {"none": "none", "tractor": "one driven by a tractor",
             "automatic": "one that starts by itself"}  # fmt: skip
    kinds = list(words)
    was = brief.standby_power
    return [
        Step(f"a standby generator, {words[kind]}, instead of {words[was]}",
             {"standby_power": kind})
        for kind in kinds[kinds.index(was) + 1 :]
    ]  # fmt: skip


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


def _stronger(brief: Brief, now: Closing) -> list[Step]:
    supply = brief.supply
    if supply is None or supply.fault_kva is None:
        return []
    return [
        Step(f"a supply of {kva:g} kVA short-circuit power instead of {supply.fault_kva:g}",
             {"supply": supply.model_copy(update={"fault_kva": kva})})
        for kva in _more(supply.fault_kva, 50.0)
    ]  # fmt: skip


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


def _return(brief: Brief, now: Closing) -> list[Step]:
    part = brief.cleaning_part()
    stated = part.model_dump(exclude_unset=True)
    return [
        Step(f"a hot wash that may come back at {part.end_c - k:g} degC instead of {part.end_c:g}",
             {"cleaning": type(part)(**(stated | {"end_c": part.end_c - k}))})
        for k in (1.0, 2.0, 3.0, 4.0, 5.0, 7.0, 10.0)
    ]  # fmt: skip


LEVERS: tuple[Lever, ...] = (
    Lever("go_round_share", ROUNDS, _rounds),
    Lever("operators", (*TIME, *CUPS), _people),
    Lever("target_h", TIME, _hours),
    Lever("stalls", TIME, _stalls),
    Lever("redundancy", (*STOPS, *CUPS, "delivery.", "cooling.chiller"), _together),
    Lever("standby_power", (*STOPS, *CUPS, "power.standby"), _standby),
    Lever("no_single_stop", (*STOPS, *CUPS), _may_stop),
    Lever("supply", POWER, _supply),
    Lever("fault_kva", ("power.mains_dip",), _stronger),
    Lever("collections", STORE, _visits),
    Lever("tanker_l", STORE, _tankers),
    Lever("reserve_h", STORE, _reserve),
    Lever("water_source", WATER, _water),
    Lever("milk_out_c", COLD, _milk_out),
    Lever("cooling", COLD, _cooling),
    Lever("end_c", WASH, _return),
)
"""Wishes that may give. `cooling` has no order: each kind is tried until one closes."""
UNORDERED = frozenset({"cooling", "collections"})
"""Wishes whose steps have no order."""
