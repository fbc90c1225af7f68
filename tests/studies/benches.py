"""Hand-made plants of 50 and 84 stalls on the sizing bench; invented, no farm of the real world."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from byrewright.plant.plant import Plant
from byrewright.results import Result, ResultBuilder
from byrewright.standards.rulebook import Rulebook
from byrewright.studies.sizing.context import StudyContext
from byrewright.studies.sizing.duty import Duty, duty_of
from byrewright.studies.sizing.in_line import Line
from tests.plants import rotary

SMALL_STALLS, LARGE_STALLS = 50, 84


def small(**changes: object) -> Plant:
    """50 stalls, 9.6 s a stall, 620 cows, two milkings."""
    return rotary(SMALL_STALLS, 620, turn_s=480, **changes)  # type: ignore[arg-type]


def large(**changes: object) -> Plant:
    """84 stalls, 7 s a stall, 2600 cows, three milkings."""
    return rotary(LARGE_STALLS, 2600, milkings=3, turn_s=588, target_h=7, **changes)  # type: ignore[arg-type]


def bench_of(plant: Plant, overrides: dict[str, float] | None = None) -> StudyContext:
    """A bench for a plant, with some rules replaced."""
    return StudyContext(plant, Rulebook(overrides), ResultBuilder("sizing", plant.site.name))


def sized(
    plant: Plant,
    *topics: Callable[[StudyContext, Duty], None],
    rules: dict[str, float] | None = None,
) -> Result:
    """The result of some sizing topics on a plant, with some rules replaced."""
    ctx = bench_of(plant, rules)
    duties = duty_of(ctx)
    for topic in topics:
        topic(ctx, duties)
    return ctx.notes.result()


def duty(plant: Plant) -> Duty:
    """The duties of a plant."""
    return duty_of(bench_of(plant))


def milked(day: Duty, *each: tuple[int, float, float]) -> Duty:
    """A day of made-up milkings: begun at a minute, of so many hours, litres into the tank."""
    one = day.milkings[0]
    made = tuple(replace(one, start_min=at, hours=hours, milk_l=litres, withheld_l=0.0,
                         milk_l_cow=litres / one.cows) for at, hours, litres in each)  # fmt: skip
    return replace(day, milkings=made, milk_l_day=sum(m.milk_l for m in made), withheld_l_day=0.0)


def worked_at(before_c: float, out_c: float) -> Line:
    """A working point of coolers that none of it comes from."""
    return Line({}, 100.0, before_c, out_c, 1.0, 0.0)
