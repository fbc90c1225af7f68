"""Every study by its name, asked of one plant and put together in one result."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

from byrewright.plant.plant import Plant
from byrewright.results import Result, merge
from byrewright.standards.rulebook import Rulebook
from byrewright.studies.told_once import owners_only

Say = Callable[[str, int, int], bool | None]


def _sizing(plant: Plant, rules: Rulebook) -> Result:
    from byrewright.studies.sizing import size

    return size(plant, rules)


def _vacuum(plant: Plant, rules: Rulebook) -> Result:
    from byrewright.studies.vacuum import study_vacuum

    return study_vacuum(plant, rules)


def _day(plant: Plant, rules: Rulebook) -> Result:
    from byrewright.studies.day import run_day

    return run_day(plant, rules)


def _routes(plant: Plant, rules: Rulebook) -> Result:
    from byrewright.studies.routes.study import routes

    return routes(plant, rules)


def _failures(plant: Plant, rules: Rulebook) -> Result:
    from byrewright.studies.failures.study import study_failures

    return study_failures(plant, rules)


def _place(plant: Plant, rules: Rulebook) -> Result:
    from byrewright.studies.place import study_place

    return study_place(plant, rules)


STUDIES: Mapping[str, Callable[[Plant, Rulebook], Result]] = {
    "sizing": _sizing,
    "vacuum": _vacuum,
    "day": _day,
    "routes": _routes,
    "failures": _failures,
    "place": _place,
}
"""The studies in the order in which a report tells them."""


def ask(plant: Plant, rules: Rulebook, names: Sequence[str], say: Say | None = None) -> Result:
    """The answers of the studies named, in the order of `STUDIES`, as one result; that of the plan
    only where the file has one, or where nothing else is asked.

    Raises:
        KeyError: a name is not a study's.
    """
    for name in names:
        STUDIES[name]
    asked = [
        name for name in STUDIES
        if name in names and (name != "place" or plant.place is not None or len(names) == 1)
    ]  # fmt: skip
    parts = []
    for number, name in enumerate(asked):
        if say is not None:
            say(name, number, len(asked))
        parts.append(STUDIES[name](plant, rules))
    if len(parts) == 1:
        return parts[0]
    return merge(" and ".join(asked), plant.site.name, owners_only(parts))
