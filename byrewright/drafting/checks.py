"""The studies that a draft is held to, each under every condition that it must stand."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from byrewright.errors import ByrewrightError
from byrewright.plant.roles import Senses
from byrewright.results import Finding, Result

if TYPE_CHECKING:
    from byrewright.plant.plant import Plant
    from byrewright.standards.rulebook import Rulebook
    from byrewright.studies.routes.study import Routes

SEEDS = (1, 2, 3)
"""Days that a draft must stand, each with its own cows."""


@dataclass(frozen=True, slots=True)
class Check:
    """A study under one condition."""

    name: str
    dear: bool
    ask: Callable[[Plant, Rulebook], Result]


def checks() -> tuple[Check, ...]:
    """Every study under every condition that a draft is held to, cheap ones first."""
    found = []
    for seed in SEEDS:
        for word in ("coldest month", "hardest month", "hot afternoon"):
            found.append(
                Check(f"day, {word}, cows of seed {seed}", seed > SEEDS[0], _day(word, seed))
            )
    found.append(Check("vacuum and its events", False, _vacuum))
    found.append(Check("the plan", False, _place))
    found.append(Check("routes", True, ask_routes))
    found.append(Check("single failures", True, _failures))
    return tuple(sorted(found, key=lambda c: c.dear))


def _day(word: str, seed: int) -> Callable[[Plant, Rulebook], Result]:
    def ask(plant: Plant, rules: Rulebook) -> Result:
        from byrewright.studies.day import run_day

        air, hardest = plant.site.ambient_c, plant.site.study_month
        month = air.index(min(air)) + 1 if word == "coldest month" else hardest
        return run_day(plant, rules, month=month, seed=seed, hot=word == "hot afternoon")

    return ask


def _vacuum(plant: Plant, rules: Rulebook) -> Result:
    from byrewright.studies.vacuum import study_vacuum

    return study_vacuum(plant, rules)


def _place(plant: Plant, rules: Rulebook) -> Result:
    from byrewright.studies.place import study_place

    return study_place(plant, rules, mend=False)


def ask_routes(plant: Plant, rules: Rulebook, known: dict[str, Routes] | None = None) -> Result:
    """What the routes study says; `known` keeps the study itself by topology without sensors."""
    from byrewright.studies.routes.study import Routes, judged

    known = {} if known is None else known
    bare = topology(plant, sensors=False)
    study = Routes(plant, rules, like=known.get(bare))
    found = Result("routes", plant.site.name, tuple(judged(study)))
    known.setdefault(bare, study)
    return found


def _failures(plant: Plant, rules: Rulebook) -> Result:
    from byrewright.studies.failures.study import study_failures

    return study_failures(plant, rules, waits=True, service=False)


def fails(result: Result) -> tuple[Finding, ...]:
    """The findings of a result that do not hold."""
    return tuple(f for f in result.findings if f.verdict == "fails")


def topology(plant: Plant, *, sensors: bool = True) -> str:
    """Everything of a plant that wrong positions depend on: all but sizes; what is sensed, too,
    unless `sensors` is False."""
    told = {s.id for s in plant.machines(Senses)} if not sensors else frozenset[str]()
    machines = [
        (tag, m.kind, [(n, v) for n, v in m if isinstance(v, str | bool | tuple)
                       and (sensors or n != "sensed")])
        for tag, m in plant.equipment.items() if tag not in told
    ]  # fmt: skip
    pipes = [(p.start, p.end, p.service) for p in plant.pipes]
    modes = [(n, m.does, m.like, sorted(m.positions.items())) for n, m in plant.modes.items()]
    return repr((machines, pipes, modes))


def answer(check: Check, plant: Plant, rules: Rulebook) -> Result:
    """What a study says; one that cannot answer fails with its own sentence."""
    try:
        return check.ask(plant, rules)
    except (ByrewrightError, ValueError, ArithmeticError) as error:
        one = Finding(
            f"draft.no_answer.{check.name.partition(',')[0].replace(' ', '_')}", "", check.name,
            None, "", f"{check.name}: no answer. {error}", "fails",
        )  # fmt: skip
        return Result(check.name, plant.site.name, (one,))
