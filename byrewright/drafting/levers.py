"""The farm's wishes that may give where a draft does not close, and the steps in which each does.

Nothing here knows a formula: a wish is changed step by step, and every study is asked again.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING, Any, TypeVar

from pydantic import ValidationError

from byrewright.plant.farm import MOST_USUAL_STALLS, Collection, clock, minutes
from byrewright.plant.record import Record
from byrewright.standards.electrical import usual_supply
from byrewright.standards.rulebook import default_rulebook

if TYPE_CHECKING:
    from byrewright.drafting.close import Closing
    from byrewright.plant.brief import Brief

R = TypeVar("R", bound=Record)


@dataclass(frozen=True, slots=True)
class Step:
    """A wish changed: the words for it, and the change of whatever brief it is applied to."""

    words: str
    change: Callable[[Brief], Brief]


def joined(steps: Sequence[Step]) -> Step:
    """Steps taken one after another, each on the brief that the one before it left."""

    def change(brief: Brief) -> Brief:
        for step in steps:
            brief = step.change(brief)
        return brief

    return Step(" together with ".join(s.words for s in steps), change)


@dataclass(frozen=True, slots=True)
class Lever:
    """A wish that may give: which findings it may mend, and its steps from least to most."""

    wish: str
    mends: tuple[str, ...]
    every: Callable[[Brief, Closing], Sequence[Step]]
    last: bool = False
    """Whether it is asked only for what no other wish mends."""

    def steps(self, brief: Brief, now: Closing) -> list[Step]:
        """The steps that a brief can state: none beyond the range of what it changes."""
        return [step for step in self.every(brief, now) if _can_be_stated(step, brief)]


def _can_be_stated(step: Step, brief: Brief) -> bool:
    try:
        step.change(brief)
    except ValidationError:
        return False
    return True


def _changed(record: R, **values: Any) -> R:
    """A record with other values, each held to its range; what is not stated stays so.

    Raises:
        ValidationError: a value is out of range.
    """
    stated = {name: getattr(record, name) for name in record.model_fields_set} | values
    checked = type(record).model_validate(stated)
    return record.model_copy(update={name: getattr(checked, name) for name in values})


def _step(words: str, **values: Any) -> Step:
    """A step that states values of the brief itself."""
    return Step(words, lambda brief: _changed(brief, **values))


def _step_of(part: str, words: str, **values: Any) -> Step:
    """A step that states values of a part of the brief, and leaves the rest of that part."""
    return Step(
        words, lambda brief: _changed(brief, **{part: _changed(getattr(brief, part), **values)})
    )


TIME = ("throughput.", "day.milking_on_time", "day.go_rounds", "day.wash_fits", "wash.time")
CUPS = (
    "failures.cups", "failures.waiting", "vacuum.event.all_vacuum_lost", "vacuum.event.pump_trips",
)  # fmt: skip
ROUNDS = ("throughput.", "day.go_rounds", "day.milking_on_time")
STOPS = ("failures.single_stop", "failures.cut", "failures.cause")
POWER = (
    "power.demand", "power.board", "power.generator", "power.mains_dip", "day.load_most",
    "failures.power",
)  # fmt: skip
STORE = ("storage.", "day.vessel_full@TK", "day.milk_lost", "failures.cause.tanker")
COLD = (
    "cooling.", "day.milk_temperature", "day.little_milk", "day.cooler_outlet", "day.milk_freezes",
)  # fmt: skip
DECK = ("place.under_deck", "place.in_room", "place.clash", "place.through")
"""What fails where a deck is too small for what hangs under it."""
AIR = ("vacuum.drop", "vacuum.test.drop", "vacuum.test.regulation", "milkline.")
"""What fails where so much air or milk comes at once that no bore carries it."""
WASH = ("wash.end_temperature", "day.wash_return")
STANDING = ("wash.standing", "day.milk_pure")
"""What fails where a small milking takes up the water that lines keep."""
WATER = ("water.", "day.vessel_dry")
MOST_PEOPLE = 8
MOST_STEPS = 32
"""Steps in which a quantity is changed, up to three times what it is."""
VOLTS_GRAIN = 5
"""Volts to which the voltage between three phases is rounded: 230 V to neutral are called 400 V."""


def _people(brief: Brief, now: Closing) -> list[Step]:
    return [
        _step(f"{n} operators instead of {brief.operators}", operators=n)
        for n in range(brief.operators + 1, MOST_PEOPLE + 1)
    ]


def _hours(brief: Brief, now: Closing) -> list[Step]:
    starts = sorted(minutes(m) for m in brief.milkings)
    gaps = [(b - a - 1) % 1440 + 1 for a, b in zip(starts, [*starts[1:], starts[0]], strict=True)]
    most = min(gaps) / 60 - 1.0
    return [
        _step(f"milking {brief.target_h + n / 10:.3g} h instead of {brief.target_h:.3g}",
              target_h=round(brief.target_h + n / 10, 2))
        for n in range(1, MOST_STEPS) if brief.target_h + n / 10 <= most
    ]  # fmt: skip


def _stalls(brief: Brief, now: Closing) -> list[Step]:
    if brief.stalls is None:
        return []
    step = 2 * brief.rows
    every = range(brief.stalls + step, MOST_USUAL_STALLS + 1, step)
    return [_step(f"{n} stalls instead of {brief.stalls}", stalls=n) for n in every]


def _rounds(brief: Brief, now: Closing) -> list[Step]:
    if brief.layout != "rotary":
        return []
    was = brief.go_round_share
    return [
        _step(f"{100 * share:g} % of the cows going round twice instead of {100 * was:g} %",
              go_round_share=share)
        for share in (0.05, 0.08, 0.10, 0.12, 0.15, 0.20, 0.25, 0.30) if share > was
    ]  # fmt: skip


def _milkings(brief: Brief, now: Closing) -> list[Step]:
    """Fewer milkings, spread over the day, with the same hours of milking a day."""
    has, first = len(brief.milkings), minutes(brief.milkings[0])
    found = []
    for count in range(has - 1, 0, -1):
        hours = min(round(brief.target_h * has / count, 1), 24 / count - 1.0)
        starts = tuple(clock(first + i * 1440 / count) for i in range(count))
        a_day = f"{count} milking{'s' if count > 1 else ''} a day of {hours:.3g} h"
        words = f"{a_day} instead of {has} of {brief.target_h:.3g} h"
        found.append(_step(words, milkings=starts, target_h=hours))
    return found


def _with_cows(cows: int, brief: Brief) -> Brief:
    """Fewer cows, each group by the same share."""
    share, done, before = cows / brief.cows, 0, 0
    groups = []
    for group in brief.groups:
        done += group.cows
        mine = round(done * share) - before
        before += mine
        groups.append(_changed(group, cows=mine, withheld_cows=min(group.withheld_cows, mine)))
    withheld = sum(g.withheld_cows for g in groups) or min(brief.withheld_cows, cows)
    return _changed(brief, cows=cows, groups=tuple(groups), withheld_cows=withheld)


def _cows(brief: Brief, now: Closing) -> list[Step]:
    """What one parlour milks: fewer cows, down to half."""
    grain = 10 if brief.cows >= 100 else 1
    step = grain * max(1, round(brief.cows / 50 / grain))
    first = step * (math.ceil(brief.cows / step) - 1)
    return [
        Step(f"{cows} cows in this parlour instead of {brief.cows}", partial(_with_cows, cows))
        for cows in range(first, brief.cows // 2, -step)
    ]


def _onward(
    field: str, frame: str, words: Mapping[str, str], brief: Brief, now: Closing
) -> list[Step]:
    """Each kind of a wish behind the one that the brief states, in the order of the words."""
    kinds, was = list(words), getattr(brief, field)
    return [
        _step(frame.format(words[kind], words[was]), **{field: kind})
        for kind in kinds[kinds.index(was) + 1 :]
    ]


_together = partial(
    _onward, "redundancy", "{} instead of {}",
    {"none": "one machine for each duty", "duty-and-standby": "one that stands by",
     "shared-running": "machines that share each duty"},
)  # fmt: skip
_standby = partial(
    _onward, "standby_power", "a standby generator, {}, instead of {}",
    {"none": "none", "tractor": "one driven by a tractor",
     "automatic": "one that starts by itself"},
)  # fmt: skip


def _may_stop(brief: Brief, now: Closing) -> list[Step]:
    if not brief.no_single_stop:
        return []
    return [_step("a single failure may stop milking", no_single_stop=False)]


def _more(has: float, grain: float) -> list[float]:
    """A quantity made more in even steps of a round size, up to three times."""
    step = grain * max(1, round(2 * has / MOST_STEPS / grain))
    first = step * (math.floor(has / step + 1e-9) + 1)
    return [first + step * n for n in range(MOST_STEPS) if first + step * n <= 3 * has]


def _supply(brief: Brief, now: Closing) -> list[Step]:
    supply = brief.supply
    if supply is None or supply.limit_kva is None:
        return []
    return [
        _step_of("supply", f"supply {kva:g} kVA instead of {supply.limit_kva:g}", limit_kva=kva)
        for kva in _more(supply.limit_kva, 5.0)
    ]


def _stronger(brief: Brief, now: Closing) -> list[Step]:
    supply = brief.supply
    if supply is None or supply.fault_kva is None:
        return []
    was = f"short-circuit power instead of {supply.fault_kva:g}"
    return [
        _step_of("supply", f"a supply of {kva:g} kVA {was}", fault_kva=kva)
        for kva in _more(supply.fault_kva, 50.0)
    ]


def _phases(brief: Brief, now: Closing) -> list[Step]:
    supply = brief.supply
    if supply is None or supply.phases == 3:
        return []
    between = VOLTS_GRAIN * round(math.sqrt(3) * supply.voltage_v / VOLTS_GRAIN)
    # A split phase is no part of three.
    volts = float(usual_supply(brief.region).get("voltage_v", between))
    words = f"three phases of {volts:g} V instead of one of {supply.voltage_v:g} V"
    return [_step_of("supply", words, phases=3, voltage_v=volts)]


def _daily(brief: Brief) -> Brief:
    daily = tuple(_changed(c, every_days=1) for c in brief.collections)
    return _changed(brief, collections=daily)


def _visited(count: int, brief: Brief) -> Brief:
    """Visits spread over the day, each with the largest tanker that comes."""
    largest = max(c.tanker_l for c in brief.collections)
    first = min(minutes(c.at) for c in brief.collections)
    times = [clock(first + i * 1440 / count) for i in range(count)]
    visits = tuple(Collection(at=at, tanker_l=largest) for at in times)
    return _changed(brief, collections=visits)


def _with_tankers(litres: float, brief: Brief) -> Brief:
    larger = [_changed(c, tanker_l=max(c.tanker_l, litres)) for c in brief.collections]
    return _changed(brief, collections=tuple(larger))


def _visits(brief: Brief, now: Closing) -> list[Step]:
    """Every visit each day, then one and two more, spread over the day."""
    visits = brief.collections
    daily = [Step("a tanker every day", _daily)] if any(c.every_days > 1 for c in visits) else []
    more = [
        Step(f"{count} tanker visits a day instead of {len(visits)}", partial(_visited, count))
        for count in (len(visits) + 1, len(visits) + 2)
    ]
    return daily + more


def _tankers(brief: Brief, now: Closing) -> list[Step]:
    largest = max(c.tanker_l for c in brief.collections)
    return [
        Step(f"tankers of {litres:.0f} L instead of {largest:.0f}", partial(_with_tankers, litres))
        for litres in _more(largest, 1000.0)
    ]


def _reserve(brief: Brief, now: Closing) -> list[Step]:
    return [
        _step(f"storage for {h:g} h of a late tanker instead of {brief.reserve_h:g}",
              reserve_h=float(h))
        for h in (24, 18, 12, 8, 6, 4, 2, 0) if h < brief.reserve_h
    ]  # fmt: skip


def _water(brief: Brief, now: Closing) -> list[Step]:
    source = brief.water_source
    if source.flow_l_min is None:
        return []
    return [
        _step_of("water_source", f"{flow:g} L/min of water instead of {source.flow_l_min:g}",
                 flow_l_min=flow)
        for flow in _more(source.flow_l_min, 5.0)
    ]  # fmt: skip


def _vacuum(brief: Brief, now: Closing) -> list[Step]:
    was = brief.vacuum_kpa
    return [
        _step(f"a vacuum of {kpa} kPa instead of {was:g}", vacuum_kpa=float(kpa))
        for kpa in range(math.ceil(was) - 1, 0, -1)
    ]


def _into_tank(brief: Brief, now: Closing) -> list[Step]:
    words = "milk through a tank instead of straight to the tanker"
    return [_step(words, direct_loading=False)] if brief.direct_loading else []


def _milk_out(brief: Brief, now: Closing) -> list[Step]:
    if brief.milk_out_c is None:
        return []
    return [
        _step(f"milk into the tank at {brief.milk_out_c + k:g} degC instead of "
              f"{brief.milk_out_c:g}", milk_out_c=brief.milk_out_c + k)
        for k in (1, 2, 4, 8)
    ]  # fmt: skip


def _cooling(brief: Brief, now: Closing) -> list[Step]:
    words = {"ice_bank": "an ice bank", "direct_expansion": "direct expansion",
             "chilled_water": "chilled water", "inline_and_silo": "cooling in line"}  # fmt: skip
    has = now.settled.want.cold
    return [
        _step(f"cooled by {words[kind]}", cooling=kind)
        for kind in ("inline_and_silo", "ice_bank", "chilled_water", "direct_expansion")
        if kind != brief.cooling and not (brief.cooling is None and kind.startswith(has))
    ]


def _washed(words: str, **values: Any) -> Step:
    """A step that states values of the wash, and leaves the rest of it."""
    return Step(
        words, lambda brief: _changed(brief, cleaning=_changed(brief.cleaning_part(), **values))
    )


def _stated(brief: Brief, figure: str) -> Any:
    """A figure of the wash where the brief states it; what it leaves open is the drafter's."""
    wash = brief.cleaning
    return getattr(wash, figure) if wash and figure in wash.model_fields_set else None


def _hotter(brief: Brief, now: Closing) -> list[Step]:
    was = _stated(brief, "hot_c")
    rules = now.settled.want.rules or default_rulebook()
    return [] if was is None else [
        _washed(f"a hot wash of {to:g} degC instead of {was:g}", hot_c=float(to))
        for to in range(math.floor(was) + 1, math.floor(rules.number("wash.hottest_c")) + 1)
    ]  # fmt: skip


def _more_wash(brief: Brief, now: Closing) -> list[Step]:
    was = _stated(brief, "water_l_unit")
    return [] if was is None else [
        _washed(f"{litres:g} L of wash for each unit instead of {was:g}", water_l_unit=litres)
        for litres in _more(was, 1.0)
    ]  # fmt: skip


def _rinsed(brief: Brief, now: Closing) -> list[Step]:
    steps = _stated(brief, "steps")
    return [] if steps is None else [
        _washed(f"a last rinse after {steps[-1]!r}", steps=(*steps, "last rinse"))
    ]  # fmt: skip


def _return(brief: Brief, now: Closing) -> list[Step]:
    was = brief.cleaning_part().end_c
    return [
        _washed(f"a hot wash that may come back at {was - k:g} degC instead of {was:g}",
                end_c=was - k)
        for k in (1.0, 2.0, 3.0, 4.0, 5.0, 7.0, 10.0)
    ]  # fmt: skip


LEVERS: tuple[Lever, ...] = (
    Lever("go_round_share", ROUNDS, _rounds),
    Lever("operators", (*TIME, *CUPS), _people),
    Lever("target_h", (*TIME, *AIR), _hours),
    Lever("stalls", (*TIME, *DECK), _stalls),
    Lever("redundancy", (*STOPS, *CUPS, "delivery.", "cooling.chiller"), _together),
    Lever("standby_power", (*STOPS, *CUPS, "power.standby"), _standby),
    Lever("no_single_stop", (*STOPS, *CUPS, *WASH, *STANDING), _may_stop),
    Lever("supply", POWER, _supply),
    Lever("phases", ("power.single_phase", *POWER), _phases),
    Lever("fault_kva", ("power.mains_dip",), _stronger),
    Lever("collections", STORE, _visits),
    Lever("tanker_l", STORE, _tankers),
    Lever("reserve_h", STORE, _reserve),
    Lever("direct_loading", ("wash.standing", *STORE), _into_tank),
    Lever("water_source", WATER, _water),
    Lever("vacuum_kpa", ("delivery.npsh",), _vacuum),
    Lever("milk_out_c", COLD, _milk_out),
    Lever("cooling", COLD, _cooling),
    Lever("hot_c", WASH, _hotter),
    Lever("water_l_unit", (*WASH, "day.wash_dry", "wash.circulates"), _more_wash),
    Lever("steps", ("day.milk_wash", "day.milk_pure"), _rinsed),
    Lever("end_c", WASH, _return),
    Lever("milkings", (*TIME, *STANDING), _milkings, last=True),
    Lever("cows", TIME, _cows, last=True),
)
"""Wishes that may give. `cooling` has no order: each kind is tried until one closes."""
UNORDERED = frozenset({"cooling", "collections", "milkings"})
"""Wishes whose steps have no order."""
