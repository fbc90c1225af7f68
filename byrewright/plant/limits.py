"""The limits file: a user's own numbers in place of those of the rulebook."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

from byrewright.errors import ByrewrightError
from byrewright.plant.problems import LimitsError, nearest, show
from byrewright.plant.source import Place, Source, load, read_text
from byrewright.standards.milkline_table import FILE as TABLE_FILE
from byrewright.standards.milkline_table import TableError, UnitsPerSlope, from_plain
from byrewright.standards.rulebook import Rulebook, default_rulebook
from byrewright.standards.units import UnitError, parse_quantity

FILE = "limits.yaml"


def rules_beside(plant_path: str | Path) -> Rulebook:
    """The rulebook with the user's own files that lie beside a plant file, where there are any.

    Those are the limits file, and the standard's table of units per slope as a licensed user
    entered it.

    Raises:
        LimitsError: the limits file is there and wrong.
        ByrewrightError: the table is there and wrong.
    """
    folder = Path(plant_path).parent
    path, table = folder / FILE, folder / TABLE_FILE
    rules = read_limits(path) if path.exists() else default_rulebook()
    if not table.exists():
        return rules
    return Rulebook({k: rules.number(k) for k in rules.overridden}, read_units_per_slope(table))


def read_units_per_slope(path: Path) -> UnitsPerSlope:
    """Read the table of units per slope that a licensed user entered.

    Raises:
        ByrewrightError: it cannot be read or used, in one sentence.
    """
    data = load(read_text(path, LimitsError), str(path), LimitsError, "looped: {73: {1.0: 9}}").data
    try:
        return from_plain(data)
    except TableError as error:
        raise ByrewrightError(f"{path.parent / str(error)}") from None


def read_limits(path: str | Path) -> Rulebook:
    """Read a limits file: rule keys with a number in the rule's unit, or with a unit of its own.

    A key may be written whole (`vacuum.some_limit: 3`) or under its theme.

    Raises:
        LimitsError: with one `Problem` for each thing wrong, in file order. Nothing else.
    """
    return read_limits_text(read_text(path, LimitsError), str(path))


def read_limits_text(text: str, name: str = FILE) -> Rulebook:
    """Read limits from text; `name` stands for the file in messages.

    Raises:
        LimitsError: with one `Problem` for each thing wrong, in file order. Nothing else.
    """
    rules = default_rulebook()
    source = load(
        text, name, LimitsError, f"{next(iter(rules))}: {rules[next(iter(rules))].value:g}"
    )
    found: dict[str, float] = {}
    for place, value in _leaves(source.data, ()):
        key = ".".join(str(p) for p in place)
        if key not in rules:
            source.add("L001", place, True, found=show(key), near=nearest(key, rules))
            continue
        if rules[key].unread:
            near = nearest(key, [k for k, v in rules.items() if not v.unread])
            source.add("L004", place, True, found=show(key), near=near)
            continue
        number = _number(source, place, value, rules[key].unit)
        if number is None:
            continue
        if not rules[key].allows(number):
            source.add("L003", place, found=show(number), allowed=rules[key].allowed_text)
        found[key] = number
    source.stop(LimitsError)
    return Rulebook(found)


def _leaves(data: dict[str, Any], place: Place) -> Iterator[tuple[Place, Any]]:
    for key, value in data.items():
        if isinstance(value, dict):
            yield from _leaves(value, (*place, key))
        else:
            yield (*place, key), value


def _number(source: Source, place: Place, value: Any, unit: str) -> float | None:
    if isinstance(value, str):
        try:
            return parse_quantity(value, unit)
        except UnitError as error:
            source.add("F025", place, found=show(value), why=str(error))
            return None
    good = isinstance(value, int | float) and not isinstance(value, bool) and abs(value) < 1e300
    if not good:
        source.add("L002", place, found=show(value), allowed=f" in {unit}" if unit else "")
        return None
    return float(value)
