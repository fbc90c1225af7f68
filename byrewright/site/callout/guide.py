"""The guide for a call: for each thing that a caller may see, what to look at, likeliest first.

Made from this plant's failure ways and the structure of the failure study. The chance of a cause is
its rate among those that give the sight; where diagnosis knows the sight as a complaint, its
chances rank the causes that it has a model of. The simulated day is not asked.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace

from byrewright.errors import ByrewrightError
from byrewright.plant.machine import Machine
from byrewright.plant.plant import Plant
from byrewright.plant.roles import IsValve
from byrewright.site.callout.sights import Effect, Sight, sights_of
from byrewright.site.condition.causes import causes
from byrewright.standards.cautions import LICENSED, LICENSED_DRIVEN, LICENSED_ELSE
from byrewright.standards.rulebook import Rulebook
from byrewright.studies.failures.analysis import Analysis, Case, analyse, milking_mode
from byrewright.studies.failures.cups import Cups
from byrewright.studies.failures.cuts import Progress
from byrewright.studies.failures.fault_state import FaultState
from byrewright.studies.failures.flows import milk, vacuum
from byrewright.studies.failures.structure import Asked
from byrewright.studies.routes.words import said

SHOWN = 10
"""So many things to look at for one sight; whoever has been through them calls."""
FULL_PACE = 0.999
ALSO = 4
PLACES = 9
"""To which chances are compared; the rest is the noise of sums."""


@dataclass(frozen=True, slots=True)
class Place:
    """A machine to look at, and what is done there in this plant, act by act."""

    tag: str
    title: str
    acts: tuple[str, ...]
    stops: bool
    share: float
    """Times a year."""


@dataclass(frozen=True, slots=True)
class Look:
    """One thing to look at: how it shows, at which machines, and what is done then."""

    id: str
    kind: str
    way: str
    seen: str
    do: tuple[str, ...]
    places: tuple[Place, ...]
    cautions: tuple[str, ...]
    who: str
    when: str
    repair_h: float
    safety: bool

    @property
    def a_year(self) -> float:
        """How often a year."""
        return sum(p.share for p in self.places)


@dataclass(frozen=True, slots=True)
class Candidate:
    """What to look at for a sight, at which machines, and its chance."""

    look: str
    tags: tuple[str, ...]
    share: float


@dataclass(frozen=True, slots=True)
class Seen:
    """A sight with what to look at; the likeliest first."""

    sight: Sight
    looks: tuple[Candidate, ...]
    left: int
    """How many less likely causes are not shown."""
    also: tuple[str, ...] = ()
    """What wears slowly and no caller can see, for the service, the likeliest first."""


@dataclass(frozen=True, slots=True)
class Guide:
    """All that a caller is led by. `positions` are the hand valves of the milking mode."""

    plant: Plant
    seen: tuple[Seen, ...]
    looks: Mapping[str, Look]
    mode: str
    positions: tuple[tuple[str, str, str], ...]


def guide_of(plant: Plant, rules: Rulebook, say: Progress | None = None) -> Guide:
    """The guide of a plant.

    Raises:
        ValueError: the plant has no milkings, or no mode that does milking.
        Cancelled: `say` answered True.
    """
    analysis = analyse(plant, rules, say=say)
    effects = {c.event.id: e for c, e in _effects(analysis)}
    looks = _looks(analysis)
    seen = []
    for sight in sights_of(plant):
        chances, also = _diagnosed(plant, rules, sight.complaint)
        found = _candidates(analysis, sight, effects, chances)
        at = {t for c in found for t in c.tags}
        also = tuple(s for s in also if s.partition(" ")[0] in at)[:ALSO]
        if found or not sight.roles:
            seen.append(Seen(sight, found[:SHOWN], max(0, len(found) - SHOWN), also))
    return Guide(plant, tuple(seen), looks, analysis.mode, _positions(plant, analysis.mode))


def bare_guide(plant: Plant) -> Guide:
    """What can be said at once: what to do first for each sight, and where valves must stand.

    Raises:
        ValueError: the plant has no mode that does milking.
    """
    mode = milking_mode(plant)
    return Guide(
        plant, tuple(Seen(s, (), 0) for s in sights_of(plant)), {}, mode, _positions(plant, mode)
    )


def _effects(analysis: Analysis) -> Iterator[tuple[Case, frozenset[Effect]]]:
    """What each failure does to milking before anybody acts."""
    cups = Cups(analysis.plant, analysis.rules, analysis.duty)
    base = analysis.base.spare_l_min
    for case in analysis.cases:
        answer = case.answer
        if answer.untouched and answer.pace >= FULL_PACE and answer.spare_l_min >= base - 1.0:
            yield case, frozenset()
            continue
        asked = Asked(analysis.structure, FaultState.of(case.hits))
        air, at = vacuum(asked)
        told: set[Effect] = set()
        if cups.fall(asked) > 0 or not air.untouched or not asked.pulse().untouched:
            told.add("cups")
        if not air.untouched or air.pace < FULL_PACE or air.spare_l_min < base - 1.0:
            told.add("vacuum")
        deck = asked.deck()
        if not deck.untouched or deck.pace < FULL_PACE:
            told.add("deck")
        if air.goes_on and not milk(asked, at).untouched:
            told.add("milk")
        yield case, frozenset(told)


def _diagnosed(
    plant: Plant, rules: Rulebook, complaint: str
) -> tuple[Mapping[str, float], tuple[str, ...]]:
    """Chances of failures by their names after a complaint, and what else the service may find."""
    if not complaint:
        return {}, ()
    try:
        found = causes(plant, [complaint], (), rules, ahead=False)
    except ByrewrightError:  # a plant whose network cannot be solved: rates alone
        return {}, ()
    chances = {f: c.share / len(c.faults) for c in found for f in c.faults}
    ways = {f"{m.id} {w.way}" for m in plant.equipment.values() for w in m.failures()}
    slow = [f for f in chances if f not in ways and f.partition(" ")[0] in plant.equipment]
    return chances, tuple(slow)


def _candidates(
    analysis: Analysis, sight: Sight, effects: Mapping[str, frozenset[Effect]],
    chances: Mapping[str, float],
) -> tuple[Candidate, ...]:  # fmt: skip
    """The failures that give a sight, those alike together, each with its chance.

    Those that diagnosis knows share what their rates give them all together by its chances.
    """
    plant, found = analysis.plant, []
    fitting = {
        name: some for name, cases in _members(analysis).items()
        if (some := [
            c for c in cases
            if effects[c.event.id] & sight.effects
            or any(plant.equipment[c.event.machine].can(r) for r in sight.roles)
        ])
    }  # fmt: skip
    every = [c.event.id for some in fitting.values() for c in some]
    weight = {e: analysis.rates[e].a_year for e in every}
    known = [e for e in every if chances.get(e)]
    scale = sum(weight[e] for e in known) / (sum(chances[e] for e in known) or 1.0)
    weight |= {e: chances[e] * scale for e in known}
    for name, some in fitting.items():
        some.sort(key=lambda c: -round(weight[c.event.id], PLACES))
        tags = tuple(c.event.machine for c in some)
        found.append(Candidate(name, tags, sum(weight[c.event.id] for c in some)))
    total = sum(c.share for c in found) or 1.0
    shared = (replace(c, share=c.share / total) for c in found)
    return ranked(shared)


def ranked(some: Iterable[Candidate]) -> tuple[Candidate, ...]:
    """The likeliest first; those as likely by name.

    >>> [c.look for c in ranked([Candidate("b", (), 0.1 + 0.2), Candidate("a", (), 0.3)])]
    ['a', 'b']
    """
    return tuple(sorted(some, key=lambda c: (-round(c.share, PLACES), c.look)))


def _members(analysis: Analysis) -> dict[str, list[Case]]:
    found: dict[str, list[Case]] = {}
    for case in analysis.cases:
        if not case.event.common:
            found.setdefault(_name(analysis.plant, case), []).append(case)
    return found


def _name(plant: Plant, case: Case) -> str:
    return f"{plant.equipment[case.event.machine].kind}: {case.event.way}"


def _looks(analysis: Analysis) -> dict[str, Look]:
    plant, found = analysis.plant, {}
    for name, cases in _members(analysis).items():
        machine, failure = plant.equipment[cases[0].event.machine], cases[0].event.failure
        who, when = licensed(machine)
        places = tuple(
            Place(c.event.machine, plant.equipment[c.event.machine].title,
                  tuple(_plain(a.text) for a in c.answer.acts), c.stops,
                  analysis.rates[c.event.id].a_year)
            for c in sorted(cases, key=lambda c: -analysis.rates[c.event.id].a_year)
        )  # fmt: skip
        found[name] = Look(
            name, type(machine).TITLE, failure.way, _plain(failure.seen), steps(failure.do), places,
            machine.cautions(), who, when, analysis.rates[cases[0].event.id].repair_h,
            failure.safety,
        )  # fmt: skip
    return found


def licensed(machine: Machine) -> tuple[str, str]:
    """Who may work on a machine, and when people on the farm stop and call."""
    for roles, who, when in LICENSED:
        if any(machine.can(r) for r in roles):
            return who, when
    return LICENSED_DRIVEN if machine.power_kw() or type(machine).NEEDS_POWER else LICENSED_ELSE


def steps(do: str) -> tuple[str, ...]:
    """What is done, one step after another.

    >>> steps("clean the condenser; reset once, then call")
    ('Clean the condenser.', 'Reset once, then call.')
    """
    return tuple(_plain(s) for s in do.split("; ") if s.strip())


def _plain(text: str) -> str:
    text = text.strip()
    return text[:1].upper() + text[1:] + ("" if text.endswith((".", "?", "!")) else ".")


def _positions(plant: Plant, mode: str) -> tuple[tuple[str, str, str], ...]:
    """Tag, what it is and where it must stand: the valves that people turn."""
    return tuple(
        (m.id, m.title, said(stands))
        for m in plant.machines(IsValve)
        if m.moved_by == "hand" and (stands := plant.position(mode, m.id))
    )
