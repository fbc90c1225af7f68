"""Hours and litres a year, where they come from, and what a second of each would buy."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from byrewright.studies.failures.analysis import Analysis, Case
from byrewright.studies.failures.consequence import Consequence
from byrewright.studies.failures.rates import Hours, pair_hours, with_range
from byrewright.studies.failures.script import Script

Day = Mapping[str, tuple[Consequence, ...]]
Parts = dict[tuple[str, ...], float]
DAY_H = 24.0


@dataclass(frozen=True, slots=True)
class Cost:
    """What one failure costs: each time at the worst moment, and a year.

    `fallen` cups fall; rinsing them and putting them on again takes `again_min`, within the hours.
    """

    case: Case
    worst: Consequence | None
    hours_each: float
    litres_each: float
    a_year: float
    fallen: float = 0.0
    again_min: float = 0.0

    range_a_year: tuple[float, float] = (0.0, 0.0)

    @property
    def hours_year(self) -> float:
        """Hours of milking lost a year."""
        return self.hours_each * self.a_year

    @property
    def litres_year(self) -> float:
        """Litres lost a year."""
        return self.litres_each * self.a_year


@dataclass(frozen=True, slots=True)
class Worth:
    """What it all adds up to."""

    costs: tuple[Cost, ...]
    hours: Hours
    litres: Hours
    pair_hours: Hours | None
    pairs: Mapping[tuple[str, str], float]


def weigh(
    analysis: Analysis, day: Day, seed: int, scripts: Mapping[str, Script] | None = None
) -> Worth:
    """Hours and litres a year of every failure that costs either."""
    costs = tuple(
        _cost(analysis, c, day.get(c.event.id, ()), (scripts or {}).get(c.event.id))
        for c in analysis.cases
    )
    rates = analysis.rates
    hours: Parts = {(c.case.event.id,): c.hours_year for c in costs if c.hours_year > 0}
    litres: Parts = {(c.case.event.id,): c.litres_year for c in costs if c.litres_year > 0}
    pairs = _pairs(analysis)
    several: Parts = dict(pairs.items())
    both = with_range(several, rates, seed) if analysis.pairs is not None else None
    return Worth(
        tuple(sorted(costs, key=_rank)), with_range(hours, rates, seed),
        with_range(litres, rates, seed), both, pairs,
    )  # fmt: skip


def _rank(cost: Cost) -> tuple[bool, float, float, float, str]:
    """Worst first: what stops, then hours a year, then litres a year."""
    return (not cost.case.stops, -cost.hours_year, -cost.litres_year, -cost.hours_each,
            cost.case.event.id)  # fmt: skip


def worst_of(found: tuple[Consequence, ...]) -> Consequence | None:
    """The worst moment: most milk lost and milking delayed, then the warmest milk."""
    if not found:
        return None
    return max(found, key=lambda c: (round(c.litres + 10 * c.delay_min, 3), c.stood_min,
                                     c.warmer_k))  # fmt: skip


def _cost(
    analysis: Analysis, case: Case, found: tuple[Consequence, ...], script: Script | None
) -> Cost:
    rate = analysis.rates[case.event.id]
    worst = worst_of(found)
    if worst is not None:
        hours, litres = worst.delay_min / 60, worst.litres
    else:
        hours = rate.repair_h if case.stops else case.hand_min / 60
        hours += script.again_s / 3600 if script else 0.0
        litres = 0.0
    share = milking_share(analysis, case)
    low, high = rate.range_a_year
    return Cost(case, worst, hours, litres, rate.a_year * share,
                script.fallen if script else 0.0,
                script.again_s / 60 if script else 0.0, (low * share, high * share))  # fmt: skip


def milking_share(analysis: Analysis, case: Case) -> float:
    """The share of a failure's times that fall into milking."""
    from byrewright.studies.failures.rates import ALWAYS

    in_milking = min(1.0, analysis.duty.milking_h_day / DAY_H)
    return sum(share * (in_milking if life in ALWAYS else 1.0)
               for life, share in analysis.rates[case.event.id].shares)  # fmt: skip


def _pairs(analysis: Analysis) -> dict[tuple[str, str], float]:
    """Hours a year of each minimal pair."""
    if analysis.pairs is None:
        return {}
    beta = analysis.rules.number("reliability.beta_common_cause")
    found = {}
    for a, b in analysis.pairs.twos:
        one, two = analysis.case(str(a)), analysis.case(str(b))
        kinds = {type(analysis.plant.equipment[c.event.machine]) for c in (one, two)}
        alike = len(kinds) == 1 and one.event.way == two.event.way
        found[one.event.id, two.event.id] = pair_hours(
            analysis.rates[one.event.id], analysis.rates[two.event.id], beta, alike
        ) * milking_share(analysis, one)  # fmt: skip
    return found


@dataclass(frozen=True, slots=True)
class Gain:
    """What a change would buy: hours and litres a year, and a cost where one is given."""

    what: str
    machine: str
    hours_year: float
    litres_year: float
    cost: float | None

    @property
    def value(self) -> float:
        """Hours a year for each unit of cost (hours a year where no cost is given)."""
        return self.hours_year / self.cost if self.cost else self.hours_year


def gains(
    analysis: Analysis, worth: Worth, costs: Mapping[str, float] | None = None
) -> tuple[Gain, ...]:
    """What a second of each machine would buy, greatest first (by cost where costs are given).

    `costs` maps a machine's tag or kind to what a second of it costs. With pairs, what is left
    when both of the enlarged set fail is small beside what is bought and is not taken off.
    """
    hours: dict[str, float] = {}
    litres: dict[str, float] = {}
    for cost in worth.costs:
        tag = cost.case.event.machine
        if cost.case.sort == "safety":
            continue
        hours[tag] = hours.get(tag, 0.0) + cost.hours_year
        litres[tag] = litres.get(tag, 0.0) + cost.litres_year
    for (a, b), each in worth.pairs.items():
        for tag in {analysis.case(a).event.machine, analysis.case(b).event.machine}:
            hours[tag] = hours.get(tag, 0.0) + each
    out = []
    for tag, gain in hours.items():
        machine = analysis.plant.equipment[tag]
        if gain <= 0.0 and litres.get(tag, 0.0) <= 0.0:
            continue
        price = (costs or {}).get(tag, (costs or {}).get(machine.kind))
        out.append(Gain(remedy(analysis, tag), tag, gain, litres.get(tag, 0.0), price))
    return tuple(sorted(out, key=lambda g: (g.cost is None and bool(costs), -g.value,
                                            -g.litres_year, g.machine)))  # fmt: skip


MANY = 12
"""So many alike are not doubled: one is changed when it fails."""

REMEDIES: tuple[tuple[str, str], ...] = (
    ("stands by", "a start on load of {m} every week and a check of its battery"),
    ("gives power", "a second board or supply, and what {m} feeds then fed from either"),
    ("controls", "a second controller, or a hand station for each machine it commands"),
    ("joins deck", "a second set of power rings and brushes at {m}"),
    ("is a valve", "a second valve beside {m}, or hand gear on it"),
    ("senses", "a second sensor beside {m}, compared with it"),
    ("stands cows", "jack, joint plates and clamps kept at {m}; a second {t} is not available"),
    ("holds milk", "a second probe in {m}, and a second {t} with a valve between"),
)
"""By what a machine can do: the change that takes its failures off the list."""


def remedy(analysis: Analysis, tag: str) -> str:
    """What would take the failures of a machine off the list."""
    machine = analysis.plant.equipment[tag]
    title = (
        (machine.title[:1].lower() + machine.title[1:])
        if machine.title[1:2].islower()
        else machine.title
    )
    if getattr(machine, "power_rings", 1) > 1:
        return (f"a second ring for signals at {tag}, or pumps on the deck that run on by a probe "
                "of their own")  # fmt: skip
    for what, text in REMEDIES:
        if machine.can(what):
            return text.format(m=tag, t=title)
    if machine.count > MANY:
        return f"spares for {tag} ({title}) on the shelf, changed after milking"
    if machine.count > 1:
        return f"one more of {tag} ({title})"
    if machine.inside() and not machine.can("runs"):
        return f"a way round {tag} ({title}) with a valve, or a second one"
    return f"a second one beside {tag} ({title})"
