"""Figures of whole studies, as recorded: what changes is meant, and told."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

import pytest

from byrewright.plant.plant import Plant
from byrewright.results import Result
from byrewright.standards.rulebook import default_rulebook
from byrewright.studies.every import STUDIES
from byrewright.studies.failures.study import study_failures
from tests import plants
from tests.records import differing, of_result
from tests.studies.failing import LARGE, ROWS, SMALL, example

PLANTS: dict[str, Callable[[], Plant]] = {
    "large": partial(example, LARGE),
    "rows": partial(example, ROWS),
    "small": partial(example, SMALL),
    "made": plants.rotary,
    "made_rows": plants.rows,
}
ASKED = {
    "sizing": ("large", "rows", "small", "made", "made_rows"),
    "vacuum": ("small", "rows", "made_rows"),
    "day": ("rows", "small", "made"),
    "place": ("large", "rows", "small"),
    "routes": ("made", "made_rows"),
    "failures": ("made", "made_rows"),
}


def _asked(study: str, name: str) -> Result:
    if study == "failures":
        return study_failures(PLANTS[name](), simulate=False)
    return STUDIES[study](PLANTS[name](), default_rulebook())


RECORDS = {
    f"studies/recorded/{study}_{name}.txt": lambda study=study, name=name: of_result(
        _asked(study, name)
    )
    for study, names in ASKED.items()
    for name in names
}


@pytest.mark.parametrize("file", RECORDS)
def test_no_figure_of_a_study_changes_unseen(file: str) -> None:
    """Would fail if an answer changed that nobody meant to change, or meant and did not tell."""
    assert differing(file, RECORDS[file]()) == []
