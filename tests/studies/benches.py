"""Hand-made plants of 50 and 84 stalls on the sizing bench; invented, no farm of the real world."""

from __future__ import annotations

from collections.abc import Callable

from byrewright.plant.plant import Plant
from byrewright.results import Result, ResultBuilder
from byrewright.standards.rulebook import Rulebook
from byrewright.studies.sizing.context import StudyContext
from byrewright.studies.sizing.duty import Duty, duty_of
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
