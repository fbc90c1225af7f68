"""Every way a machine can fail has a life, and every practice row is used."""

from __future__ import annotations

import byrewright.plant.kinds
from byrewright.plant.machine import REGISTRY, Failure
from byrewright.standards.reliability import LIVES

assert byrewright.plant.kinds


def _named() -> dict[str, str]:
    return {
        life: f"{name}: {row.way}"
        for name, kind in REGISTRY.items()
        for rows in vars(kind).values()
        if isinstance(rows, tuple)
        for row in rows
        if isinstance(row, Failure)
        for life in (row.life, *row.also)
    }


def test_every_failure_names_a_life_that_is_held() -> None:
    """The failure study would stop at a part whose life nobody knows."""
    assert {life: where for life, where in _named().items() if life not in LIVES} == {}


def test_no_practice_life_is_held_for_nothing() -> None:
    """A figure nobody uses would still stand in the list to be checked."""
    practice = {key for key, row in LIVES.items() if row.source == "practice"}
    assert practice - set(_named()) == set()


def test_lives_scatter_as_published_ones_do() -> None:
    """Shapes of the published table lie in 0.7 to 1.9; a part would be said to last to the hour."""
    assert {key: row.beta for key, row in LIVES.items() if not 0.7 <= row.beta <= 2.0} == {}
