"""A plant as measured: its file with the figures that its log's readings tell, for every study.

Every study's command asks here; what fits figures, and the log, is loaded only where it is wanted.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from byrewright.errors import ByrewrightError
from byrewright.plant.plant import Plant
from byrewright.results import Result
from byrewright.standards.rulebook import Rulebook

if TYPE_CHECKING:
    from byrewright.site.condition.fit import Fit

Listed = Callable[[Result], Result]
"""Lists what was put in among a result's assumptions."""


def fit_of_log(path: Path, plant: Plant, rules: Rulebook) -> Fit:
    """The figures of a plant fitted to the readings of its log.

    Raises:
        ByrewrightError: the log holds no reading, or cannot be read.
    """
    from byrewright.site.condition.fit import fit
    from byrewright.site.condition.taken import of_log

    taken = of_log(path, plant)
    if not taken:
        raise ByrewrightError(
            f"{path}: as measured needs readings in the plant's log, and it holds none; "
            "'byrewright tests' and 'byrewright readings --keep' enter them"
        )
    return fit(plant, rules, taken)


def as_measured(
    path: Path, plant: Plant, rules: Rulebook, *, wanted: bool = True
) -> tuple[Plant, Rulebook, Listed]:
    """The plant and the rules to study, and what lists the fitted figures in the result.

    As they are where it is not wanted. The plant file is not changed.
    """
    if not wanted:
        return plant, rules, lambda result: result
    found = fit_of_log(path, plant, rules)
    return (*found.put_in(plant, rules), found.told)
