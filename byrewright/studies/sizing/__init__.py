"""Sizing: every duty of the plant, the least size for it and the size a designer would choose.

    from byrewright.studies.sizing import size
    result = size(plant)

`TOPICS` lists the questions in order; a new topic is a function `(ctx, duty) -> None` that
writes findings into the study's context, and a line here.
"""

from __future__ import annotations

from collections.abc import Callable

from byrewright.physics.errors import PhysicsRangeError
from byrewright.plant.plant import Plant
from byrewright.plant.record import in_words
from byrewright.results import Finding, Result, ResultBuilder, Table
from byrewright.standards.model import CONFIDENCE_MEANING
from byrewright.standards.rulebook import Rulebook, WatchedRules, default_rulebook
from byrewright.standards.sources import SOURCES
from byrewright.studies.sizing.airlines import size_airlines
from byrewright.studies.sizing.chilled import size_chilled_pumps
from byrewright.studies.sizing.circulation import size_circulation
from byrewright.studies.sizing.cloths import size_cloths
from byrewright.studies.sizing.compressed_air import size_compressed_air
from byrewright.studies.sizing.context import StudyContext
from byrewright.studies.sizing.cooling import size_cooling
from byrewright.studies.sizing.deck import size_deck
from byrewright.studies.sizing.delivery import size_delivery
from byrewright.studies.sizing.duty import Duty, duty_of
from byrewright.studies.sizing.expected import note_expected
from byrewright.studies.sizing.frost import size_frost
from byrewright.studies.sizing.lines import size_lines
from byrewright.studies.sizing.milkline import size_milkline
from byrewright.studies.sizing.power import size_power
from byrewright.studies.sizing.receiving import size_receiving
from byrewright.studies.sizing.recovery import size_recovery
from byrewright.studies.sizing.serving import serving
from byrewright.studies.sizing.softening import size_softening
from byrewright.studies.sizing.storage import size_storage
from byrewright.studies.sizing.tank_cooling import size_tank_cooling
from byrewright.studies.sizing.throughput import size_throughput
from byrewright.studies.sizing.vacuum import size_vacuum
from byrewright.studies.sizing.wash_lines import size_wash_lines
from byrewright.studies.sizing.washing import size_washing
from byrewright.studies.sizing.water import size_water

__all__ = ["HEADLINES", "TOPICS", "headlines", "pace", "size"]

Topic = Callable[[StudyContext, Duty], None]

TOPICS: tuple[tuple[str, Topic], ...] = (
    ("cows an hour", size_throughput),
    ("vacuum", size_vacuum),
    ("airlines", size_airlines),
    ("milkline", size_milkline),
    ("receivers and milk pumps", size_receiving),
    ("delivery", size_delivery),
    ("cooling in line", size_cooling),
    ("cooling in the tank", size_tank_cooling),
    ("storage", size_storage),
    ("pumps of chilled liquid", size_chilled_pumps),
    ("water", size_water),
    ("washing", size_washing),
    ("wash going round", size_circulation),
    ("wash in the lines", size_wash_lines),
    ("heat recovery", size_recovery),
    ("milk and wash lines", size_lines),
    ("frost", size_frost),
    ("hardness", size_softening),
    ("compressed air", size_compressed_air),
    ("deck", size_deck),
    ("cloths", size_cloths),
    ("power", size_power),
)
"""The questions in order: what a designer would call them, and who answers."""

HEADLINES: tuple[str, ...] = (
    "throughput.net", "throughput.finished",
    "vacuum.pump.capacity", "vacuum.pump.standby", "milkline.stratified",
    "receiving.receiver.volume", "receiving.milk_pump.flow",
    "delivery.balance_tank", "delivery.filter.change",
    "cooling.milk_out", "cooling.chiller.duty", "cooling.ice.store", "cooling.tank.pull_down",
    "storage.volume",
    "water.day", "wash.water", "wash.heater_power", "wash.end_temperature",
    "air.compressor",
    "deck.mass", "deck.drive_motor",
    "cloths.day",
    "power.demand", "power.generator",
)  # fmt: skip
"""The figures that tell most of a plant, in the order of the topics: keys, or how keys begin."""


def headlines(result: Result) -> tuple[Finding, ...]:
    """The most telling findings, one for each key of `HEADLINES` that the result has."""
    found = []
    for key in HEADLINES:
        own = [f for f in result.findings if f.key == key or f.key.startswith(f"{key}.")]
        judged = [f for f in own if f.sense != "informational"]
        found += (judged or own)[:1]
    return tuple(found)


def size(plant: Plant, rules: Rulebook | None = None) -> Result:
    """Size a whole plant: findings by topic, assumptions, tables and what to check.

    A topic whose inputs lie outside what its formula holds for becomes one finding `unknown`
    that says so; the others go on.

    Raises:
        ValueError: the plant has no milkings.
    """
    watched = WatchedRules(rules or default_rulebook())
    ctx = StudyContext(plant, watched, ResultBuilder("sizing", plant.site.name))
    for where, one in plant.defaults_taken():
        ctx.assume(where, one.meaning, in_words(one.default), one.unit, one.why, one.confidence)
    ctx.plant = serving(ctx)
    duty = duty_of(ctx)
    for name, topic in TOPICS:
        try:
            topic(ctx, duty)
        except PhysicsRangeError as error:
            ctx.find(
                f"range.{name.replace(' ', '_')}",
                name.capitalize(),
                None,
                "",
                f"The {name} could not be worked out to the end: {error}.",
                missing=("figures inside the range of the formulas",),
            )
    note_expected(ctx, duty)
    _to_check(ctx, watched)
    return ctx.notes.result()


def pace(plant: Plant, rules: Rulebook | None = None) -> Result:
    """The first topic alone: cows an hour, stalls, turn and hours, which nothing else changes."""
    ctx = StudyContext(plant, rules or default_rulebook(), ResultBuilder("sizing", plant.site.name))
    size_throughput(ctx, duty_of(ctx))
    return ctx.notes.result()


def _to_check(ctx: StudyContext, watched: WatchedRules) -> None:
    """List the values used here that are known only from memory."""
    rows = tuple(
        (value.key, value.meaning, value.value, value.unit, SOURCES[value.source].title)
        for key in watched.used
        if (value := Rulebook.__getitem__(watched, key)).confidence == "from_memory"
    )
    ctx.notes.tables.append(
        Table(
            "to_check",
            "Values to check against the standard's own text",
            ("rule", "meaning", "value", "unit", "source"),
            ("", "", "", "", ""),
            rows,
            f"Used in this sizing; {CONFIDENCE_MEANING['from_memory']}. Own values go into "
            "limits.yaml.",
        )
    )
