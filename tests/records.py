"""Answers written down as numbers, to be compared with later: what is recorded is not said to be
right, only that nobody changed it unseen.

    .venv/bin/python -m tests.records

records all anew; whoever means a change does so, reads what differs, and tells it in the changelog.
"""

from __future__ import annotations

import importlib
import re
from collections import Counter
from collections.abc import Iterable, Iterator
from itertools import zip_longest
from pathlib import Path

import pytest

from byrewright.results import Finding, Result, Series, Table

HERE = Path(__file__).parent
ROUNDING = 5e-4
"""Of the numbers: another processor, library or compiler rounds elsewhere; a fault shows more."""
OF_A_DAY = 5e-3
"""The same of a simulated day, where a decision within rounding may fall otherwise."""
MAKERS = (
    "tests.standards.test_recorded_figures",
    "tests.engine.test_recorded_marches",
    "tests.engine.test_recorded_plants",
    "tests.studies.test_failures_day",
    "tests.studies.test_recorded_studies",
)
"""Test files that record: each has `RECORDS`, a maker of lines by the file that holds them."""
FEW, MARK = 8, 16
"""Words and letters at most of what is a mark of a table, and counted."""
_NUMBER = re.compile(r"(?<![\w.:])-?\d+(?:\.\d+)?(?:e[+-]?\d+)?(?!\d|:\d)")
"""No times of day: a minute is soon another."""


def short(number: float) -> str:
    """A number as it is recorded."""
    return f"{number + 0.0:.5g}"


def numbers(parts: Iterable[object]) -> Iterator[str]:
    """The numbers in some numbers and texts, in order."""
    for part in parts:
        if isinstance(part, bool):
            yield str(part)
        elif isinstance(part, int | float):
            yield short(part)
        elif isinstance(part, tuple):
            yield from numbers(part)
        elif isinstance(part, str):
            yield from (short(float(n)) for n in _NUMBER.findall(part))


def _finding(one: Finding) -> str:
    held = (one.value, one.limit, one.margin, one.allowance, one.advised)
    told = numbers((one.sentence, one.advised_why, *(i.value for i in one.inputs),
                    *((r.to, r.why) for r in one.remedies)))  # fmt: skip
    mends = [f"{r.of}.{r.figure}" for r in one.remedies]
    cells = ["-" if n is None else short(n) for n in held]
    return " ".join((one.name, one.verdict, one.sense, *cells, *mends, "|", *told))


def _table(one: Table) -> Iterator[str]:
    yield f"{one.key} {len(one.rows)} rows {' '.join(numbers([one.note]))}"
    for number, title in enumerate(one.columns):
        cells = [list(numbers([row[number]])) for row in one.rows]
        flat = [float(n) for cell in cells for n in cell if n not in ("True", "False")]
        if flat:
            weighed = sum(n * (1 + at % 7) for at, n in enumerate(flat))
            yield f"{one.key} {title}: {len(flat)} {short(sum(flat))} {short(weighed)}"
        words = Counter(w for row in one.rows if isinstance(w := row[number], str) and ":" not in w)
        if 0 < len(words) <= FEW and max(map(len, words)) <= MARK:
            told = ", ".join(f"{n} x {word}" for word, n in sorted(words.items()))
            yield f"{one.key} {title}: {told}"


def of_series(one: Series) -> Iterator[str]:
    """Sums of each line of a series, plain and weighed."""
    for name, unit, values in (("x", one.x_unit, one.x), *one.lines):
        weighed = sum(n * (1 + at % 7) for at, n in enumerate(values))
        yield f"{one.key} {name} {unit}: {len(values)} {short(sum(values))} {short(weighed)}"


def of_result(result: Result) -> list[str]:
    """A line for each finding, column of a table and assumption, and for what is noted."""
    return [
        *map(_finding, result.findings),
        *(line for table in result.tables for line in _table(table)),
        *(line for series in result.series for line in of_series(series)),
        *(f"{a.where} {a.meaning}: {' '.join(numbers([a.value]))}" for a in result.assumptions),
        f"notes {' '.join(numbers(result.notes))}",
    ]


def differing(file: str, now: list[str], rounding: float = ROUNDING) -> list[tuple[str, str]]:
    """What is recorded in a file and what is now, where they differ by more than rounding."""
    before = (HERE / file).read_text(encoding="utf-8").splitlines()
    return [pair for pair in zip_longest(before, now, fillvalue="") if not _alike(*pair, rounding)]


def _alike(one: str, other: str, rounding: float) -> bool:
    words, others = one.split(), other.split()
    return len(words) == len(others) and all(
        a == b or _near(a, b, rounding) for a, b in zip(words, others, strict=True)
    )


def _near(one: str, other: str, rounding: float) -> bool:
    try:
        return float(one) == pytest.approx(float(other), rel=rounding, abs=1e-6)
    except ValueError:
        return False


if __name__ == "__main__":
    for name in MAKERS:
        for file, made in importlib.import_module(name).RECORDS.items():
            (HERE / file).parent.mkdir(exist_ok=True)
            (HERE / file).write_text("\n".join(made()) + "\n", encoding="utf-8")
