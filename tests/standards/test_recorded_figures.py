"""Every figure of the rulebook and its tables, as recorded: a line a rule or row."""

from __future__ import annotations

import importlib
import pkgutil
from collections.abc import Iterator, Mapping
from dataclasses import fields, is_dataclass

from byrewright import standards
from byrewright.standards.rulebook import default_rulebook
from tests.records import HERE

ELSEWHERE = ("units", "tables")
"""Units are held to a library of units, tables hold what stands in other modules."""


def _figures(what: object) -> Iterator[str]:
    """Numbers of a row in order, with words that tell rows apart."""
    if is_dataclass(what):
        for field in fields(what):
            yield from _figures(getattr(what, field.name))
    elif isinstance(what, Mapping):
        for key, one in what.items():
            yield from (str(key), *_figures(one))
    elif isinstance(what, tuple):
        for one in what:
            yield from _figures(one)
    elif isinstance(what, int | float) and not isinstance(what, bool):
        yield f"{what:.12g}"


def _rows(table: object) -> Iterator[tuple[str, object]]:
    if isinstance(table, Mapping):
        yield from ((str(key), one) for key, one in table.items())
    elif isinstance(table, tuple) and table and is_dataclass(table[0]):
        for number, one in enumerate(table):
            yield str(getattr(one, fields(one)[0].name, number)), one
    else:
        yield "", table


def lines() -> list[str]:
    """One line for each rule, then for each row of each table, by module and name."""
    book = default_rulebook()
    found = [f"{key} [{book[key].unit}] {' '.join(_figures(book[key]))}" for key in book]
    for part in sorted(m.name for m in pkgutil.iter_modules(standards.__path__)):
        module = importlib.import_module(f"byrewright.standards.{part}")
        for name, table in sorted(vars(module).items()):
            if not name.isupper() or name.startswith("_") or name == "VALUES" or part in ELSEWHERE:
                continue
            for key, row in _rows(table):
                if told := " ".join(_figures(row)):
                    found.append(f"{part}.{name} {key}: {told}")
    return found


RECORDS = {"standards/figures.txt": lines}


def test_no_figure_changes_by_a_slip() -> None:
    """A digit typed into a rule by accident would go into every design. This holds what was meant,
    not that it was right."""
    for file, made in RECORDS.items():
        recorded, now = {*(HERE / file).read_text(encoding="utf-8").splitlines()}, {*made()}
        assert (sorted(now - recorded), sorted(recorded - now)) == ([], [])
