"""What plants compile to and what a day of them ends with, as recorded: sums of every column."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import cache, partial

import numpy as np
import pytest

from byrewright.engine import shape as sh
from byrewright.engine.compiled import Compiled, compile_plant
from byrewright.engine.draws import Herd, day_of
from byrewright.plant.plant import Plant
from byrewright.standards.rulebook import default_rulebook
from tests import plants
from tests.records import differing, short
from tests.studies.failing import LARGE, ROWS, SMALL, example

PLANTS: dict[str, Callable[[], Plant]] = {
    "large": partial(example, LARGE),
    "rows": partial(example, ROWS),
    "small": partial(example, SMALL),
    "made": plants.rotary,
    "made_rows": plants.rows,
}


NO_END = 1e8
"""What is larger stands for no end, and would drown all else in a sum."""


def _sums(name: str, array: np.ndarray) -> Iterator[str]:
    """A plain and a weighed sum of each column, so that what changes places is seen."""
    flat = np.where(np.abs(array) < NO_END, array, 0.0).astype(float)
    flat = flat.reshape(-1, flat.shape[-1]) if flat.ndim > 1 else flat.reshape(-1, 1)
    weights = 1.0 + np.arange(len(flat)) % 7
    for column in range(flat.shape[1]):
        if flat[:, column].any():
            plain, weighed = flat[:, column].sum(), (flat[:, column] * weights).sum()
            yield f"{name} {column}: {short(float(plain))} {short(float(weighed))}"


def _compiled(made: Compiled) -> Iterator[str]:
    T = made.tables
    for name in sh.SECTIONS:
        rows = T.rows(name)
        yield f"{name}: {rows.stop - rows.start}"
        for sort, array in (("F", T.F), ("I", T.I), ("S", made.start.items)):
            yield from _sums(f"{name} {sort}", array[rows])
    for name in ("par", "num", "share", "most", "cold", "vac"):
        array = np.asarray(getattr(T, name))
        if name in ("par", "num"):
            yield from (f"{name} {i}: {short(float(x))}" for i, x in enumerate(array))
        else:
            yield from _sums(name, array)
    yield from _sums("g", made.start.g)
    yield from _sums("n", made.start.n)
    yield f"step {made.step_s} origin {made.origin_s} pace {short(made.pace_s)} {made.removal}"
    yield f"notes {len(made.notes)}"


@cache
def _made(name: str) -> tuple[Plant, Compiled]:
    plant = PLANTS[name]()
    return plant, compile_plant(plant, cache=False)


def _lines(name: str) -> list[str]:
    plant, made = _made(name)
    rules = default_rulebook()
    drawn = day_of(plant, made, Herd(plant, made, rules, 5), month=8, day=2, hot=True)
    day = [line for part, array in zip(drawn._fields, drawn, strict=True)
           for line in _sums(f"day {part}", np.asarray(array))]  # fmt: skip
    return [*_compiled(made), *day]


RECORDS = {f"engine/recorded/{name}.txt": partial(_lines, name) for name in PLANTS}


@pytest.mark.parametrize("file", RECORDS)
def test_a_plant_compiles_to_what_it_did(file: str) -> None:
    """Would fail if a figure of the day's arrays changed that nobody meant to change."""
    assert differing(file, RECORDS[file]()) == []
