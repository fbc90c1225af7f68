"""Every failure asked of the structure: what stops, what needs hands, which two stop together."""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import product
from typing import Literal

from byrewright.engine.liquids import liquids_of
from byrewright.engine.milkmaps import MilkMaps
from byrewright.plant.plant import Plant
from byrewright.plant.roles import GeneratesPower
from byrewright.standards.rulebook import Rulebook
from byrewright.studies.failures.answer import Answer
from byrewright.studies.failures.cuts import Cuts, Progress, search
from byrewright.studies.failures.events import Event, FaultEffect, events_of, lose
from byrewright.studies.failures.needs import loads_of, needs_of
from byrewright.studies.failures.overload import overloads
from byrewright.studies.failures.paths import Verb
from byrewright.studies.failures.rates import Rate, rates_of
from byrewright.studies.failures.structure import Structure
from byrewright.studies.failures.support import reads
from byrewright.studies.sizing.duty import Duty

DAYS_A_YEAR = 365.0
Sort = Literal["equipment", "passive", "safety", "common"]
Variants = tuple[tuple[FaultEffect, ...], ...]


@dataclass(frozen=True, slots=True)
class Case:
    """A failure, its worst state, and how milking stands after it.

    `sort` parts equipment (judged by the wish), passive parts (inspected), safety stops (never
    bridged) and common causes (several machines at once, told apart). `hand_min` is how long
    people need until milking goes on again.
    """

    event: Event
    hits: tuple[FaultEffect, ...]
    answer: Answer
    sort: Sort
    hand_min: float

    @property
    def stops(self) -> bool:
        """Whether milking stops until the repair."""
        return not self.answer.goes_on


@dataclass(frozen=True, slots=True)
class Analysis:
    """All that the structure says of a plant."""

    plant: Plant
    rules: Rulebook
    structure: Structure
    duty: Duty
    mode: str
    base: Answer
    cases: tuple[Case, ...]
    passive: tuple[Case, ...]
    rates: Mapping[str, Rate]
    pairs: Cuts | None

    def case(self, event_id: str) -> Case:
        """The case of an event; KeyError when there is none."""
        for one in self.cases:
            if one.event.id == event_id:
                return one
        raise KeyError(event_id)

    def ones(self, sort: Sort) -> list[Case]:
        """The single failures of a sort that stop milking."""
        return [c for c in self.cases if c.stops and c.sort == sort]


def milking_mode(plant: Plant) -> str:
    """The mode in which milk goes to a tank and nothing else goes on.

    Raises:
        ValueError: no mode does milking.
    """
    found = [n for n, m in plant.modes.items() if "milking" in m.does]
    if not found:
        raise ValueError("no mode does milking: add one under `modes`")
    return min(found, key=lambda n: (len(plant.modes[n].does), n))


def together(analysis: Analysis, first: str, second: str) -> Case:
    """Two failures at once in the states that stop milking, mended when the quicker repair is."""
    cases = [analysis.case(first), analysis.case(second)]
    hits, answer = worst(
        analysis.structure,
        [(*a, *b) for a in cases[0].event.variants for b in cases[1].event.variants],
    )
    quick = min(cases, key=lambda c: analysis.rates[c.event.id].repair_h)
    took = hand_minutes(answer, analysis.rules, analysis.plant)
    return Case(quick.event, hits, answer, quick.sort, took)


def pair_name(first: str, second: str) -> str:
    """How a pair is called on the simulated day."""
    return f"{first} + {second}"


def hand_minutes(answer: Answer, rules: Rulebook, plant: Plant) -> float:
    """From the failure until the acts are done: notice, then one act after another."""
    if not answer.acts:
        return 0.0
    found = rules.number("failures.notice_min")
    for act in answer.acts:
        each = rules.number(TIMES.get(act.verb, "failures.act_min"))
        one = plant.equipment.get(act.machine)
        if act.verb == "transfer" and isinstance(one, GeneratesPower):
            each = max(each, one.start_s / 60)  # fetched and coupled first
        found += each
    return found


TIMES: Mapping[Verb, str] = {"clamp": "failures.joint_min"}
"""Rules for the time of an act that takes longer than the usual one."""


def worst(
    structure: Structure, variants: Iterable[tuple[FaultEffect, ...]]
) -> tuple[tuple[FaultEffect, ...], Answer]:
    """The state of a failure that milking stands worst with."""
    asked = [(hits, structure.ask(hits)) for hits in variants]
    return min(asked, key=lambda one: (one[1].goes_on, -len(one[1].acts), one[1].pace))


def analyse(
    plant: Plant,
    rules: Rulebook,
    *,
    pairs: bool = False,
    mode: str | None = None,
    say: Progress | None = None,
) -> Analysis:
    """Ask the structure of every failure, and of every pair that is not proven independent.

    Raises:
        ValueError: the plant has no milkings or no mode that does milking.
        Cancelled: `say` answered True.
    """
    mode = mode or milking_mode(plant)
    needs, duty = needs_of(plant, rules)
    loads, volts, phases = loads_of(plant, rules)
    maps = MilkMaps(liquids_of(plant, rules))
    structure = Structure(
        plant, mode, needs, maps.pumped,
        lambda lost: overloads(plant, loads, rules, volts, phases, lost),
    )  # fmt: skip
    base = structure.ask(())
    events = events_of(plant)
    rates = rates_of(events, rules, duty.milking_h_day * DAYS_A_YEAR)
    cases = tuple(_case(structure, e, base, rules) for e in events)
    passive = tuple(
        c for m in plant.equipment.values() if not m.can("is a drain")
        if (c := _case(structure, lose(plant, m.id), base, rules)).stops
    )  # fmt: skip
    found = _pairs(structure, cases, base, say) if pairs and base.goes_on else None
    return Analysis(plant, rules, structure, duty, mode, base, cases, passive, rates, found)


def _case(structure: Structure, event: Event, base: Answer, rules: Rulebook) -> Case:
    if event.structural:
        hits, answer = worst(structure, event.variants)
    else:
        hits, answer = event.variants[0], base
    sort: Sort = "equipment"
    if event.failure.safety:
        sort = "safety"
    elif event.common:
        sort = "common"
    elif event.failure.life == "vessel":
        sort = "passive"
    return Case(event, hits, answer, sort, hand_minutes(answer, rules, structure.plant))


def _pairs(structure: Structure, cases: Sequence[Case], base: Answer, say: Progress | None) -> Cuts:
    """Minimal pairs; failures with the same hits are asked once."""
    by_id = {c.event.id: c.event for c in cases}
    kept: dict[tuple[Variants, ...], bool] = {}

    def works(out: tuple[Hashable, ...]) -> bool:
        key = tuple(by_id[str(i)].variants for i in out)
        if key not in kept:
            kept[key] = all(
                structure.ask([h for hits in some for h in hits]).goes_on for some in product(*key)
            )
        return kept[key]

    twice: list[Hashable] = [i for i, e in by_id.items() if e.alike > 1 and e.structural]
    return search(list(by_id), works, reads=reads(structure, by_id.values()), twice=twice, say=say)
