"""Figures of whole studies, as recorded: what changes is meant, and told."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

import pytest

from byrewright.results import Result
from byrewright.standards.rulebook import default_rulebook
from byrewright.studies.every import STUDIES
from byrewright.studies.failures.study import study_failures
from tests.records import OF_A_DAY, ROUNDING, differing, of_result
from tests.studies.varied import OTHERS, PLANTS

ASKED = {
    "sizing": (*PLANTS,),
    "vacuum": ("small", "made_rows", "strong", "elsewhere_weak"),
    "day": ("rows", "small", "made", "weak", "weak_rows", "strong", "doubled", "elsewhere_weak"),
    "place": ("large", "rows", "small"),
    "routes": ("made", "made_rows"),
    "failures": ("made", "made_rows"),
}


def _asked(study: str, name: str) -> list[str]:
    plant = PLANTS[name]()
    if study == "failures":
        return of_result(study_failures(plant, simulate=False))
    found: Result = STUDIES[study](plant, default_rulebook())
    return of_result(found)


RECORDS: dict[str, Callable[[], list[str]]] = {
    f"studies/recorded/{study}_{name}.txt": partial(_asked, study, name)
    for study, names in ASKED.items()
    for name in names
} | {f"studies/recorded/{name}.txt": made for name, made in OTHERS.items()}


@pytest.mark.parametrize("file", RECORDS)
def test_no_figure_of_a_study_changes_unseen(file: str) -> None:
    """Would fail if an answer changed that nobody meant to change, or meant and did not tell."""
    simulated = any(
        word in file for word in ("day", "seen", "compared", "changed", "traced", "shared")
    )
    assert differing(file, RECORDS[file](), OF_A_DAY if simulated else ROUNDING) == []
