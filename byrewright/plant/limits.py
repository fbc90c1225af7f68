"""The limits file: a user's own numbers in place of those of the rulebook."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any, get_args

from byrewright.errors import ByrewrightError
from byrewright.plant.problems import LimitsError, nearest, show
from byrewright.plant.source import Place, Source, load, read_text
from byrewright.standards.cooling import (
    Applies,
    Clock,
    Collected,
    TemperatureRule,
    TemperatureStep,
)
from byrewright.standards.milkline_table import FILE as TABLE_FILE
from byrewright.standards.milkline_table import TableError, UnitsPerSlope, from_plain
from byrewright.standards.rulebook import Rulebook, default_rulebook
from byrewright.standards.units import UnitError, parse_quantity

FILE = "limits.yaml"
REGIONS = "regions"
STEP_KEYS = ("limit_c", "clock", "within_h", "applies", "collected", "sooner_of")
SHOWN = "NAME: {source: ..., steps: [{limit_c: 6, clock: end_of_milking, within_h: 2}]}"


def rules_beside(plant_path: str | Path) -> Rulebook:
    """The rulebook with the user's own files that lie beside a plant file, where there are any.

    Those are the limits file, and the standard's table of units per slope as a licensed user
    entered it.

    Raises:
        LimitsError: the limits file or the table is there and wrong.
    """
    folder = Path(plant_path).parent
    path, table = folder / FILE, folder / TABLE_FILE
    rules = read_limits(path) if _there(path) else default_rulebook()
    if not _there(table):
        return rules
    own = {k: rules.number(k) for k in rules.overridden}
    return Rulebook(own, read_units_per_slope(table), rules.regions)


def known_beside(plant_path: str | Path) -> Rulebook | None:
    """The same; None where they cannot be used, which is told to whoever asks for them."""
    try:
        return rules_beside(plant_path)
    except (ByrewrightError, OSError):
        return None


def _there(path: Path) -> bool:
    """Whether a file lies there, or a link that leads nowhere: that is told, not passed over."""
    return path.exists() or path.is_symlink()


def read_units_per_slope(path: Path) -> UnitsPerSlope:
    """Read the table of units per slope that a licensed user entered.

    Raises:
        LimitsError: it cannot be read or used, in one sentence with its line.
    """
    source = load(read_text(path, LimitsError), str(path), LimitsError, "looped: {73: {1.0: 9}}")
    source.stop(LimitsError)
    try:
        return from_plain(source.data)
    except TableError as error:
        source.add("L007", error.place, True, found=str(error))
        raise LimitsError(source.problems) from None


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
    first: dict[str, Place] = {}
    regions = _regions(source, source.data.pop(REGIONS, None))
    for place, value in _leaves(source.data, ()):
        key = ".".join(str(p) for p in place)
        if (before := first.setdefault(key, place)) is not place:
            mark = source.mark(before, True)
            source.add("F010", place, True, found=key, allowed=mark.line if mark else 0)
            continue
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
    return Rulebook(found, regions=regions)


def _regions(source: Source, data: Any) -> tuple[TemperatureRule, ...]:
    """Milk-temperature rules of the user's own regions."""
    if data is None:
        return ()
    if not isinstance(data, dict):
        source.add("F029", (REGIONS,), why=f"write {REGIONS} as {SHOWN}")
        return ()
    found = []
    for name, one in data.items():
        place = (REGIONS, str(name))
        steps = one.get("steps") if isinstance(one, dict) else None
        if not isinstance(one, dict) or not isinstance(steps, list) or not steps:
            source.add("F029", place, why=f"a region is written as {SHOWN}")
            continue
        made = [_step(source, (*place, "steps"), step) for step in steps]
        if all(s is not None for s in made):
            found.append(TemperatureRule(
                str(name), str(one.get("title", name)), tuple(s for s in made if s is not None),
                "user", "stated", str(one.get("source", "")),
            ))  # fmt: skip
    return tuple(found)


def _step(source: Source, place: Place, step: Any) -> TemperatureStep | None:
    """One step of a region's rule."""
    clocks = ", ".join(get_args(Clock))
    if not isinstance(step, dict) or set(step) - set(STEP_KEYS):
        source.add("F029", place, why=f"a step has only the keys {', '.join(STEP_KEYS)}")
        return None
    numbers: tuple[Any, Any] = (step.get("limit_c"), step.get("within_h", 1.0))
    if any(isinstance(n, bool) or not isinstance(n, int | float) for n in numbers):
        source.add("F029", place, why="limit_c and within_h of a step are numbers")
        return None
    if not 0 <= float(numbers[0]) <= 40 or not 0 < float(numbers[1]) <= 72:
        source.add("F029", place, why="limit_c lies from 0 to 40 degC, within_h above 0 up to 72 h")
        return None
    words = (
        ("clock", get_args(Clock)), ("applies", get_args(Applies)),
        ("collected", get_args(Collected)),
    )  # fmt: skip
    for key, allowed in words:
        if key in step and step[key] not in allowed:
            source.add("F027", (*place,), found=show(step[key]), allowed=", ".join(allowed))
            return None
    if step.get("clock") not in ("at_once", "always") and "within_h" not in step:
        source.add("F029", place, why="say within how many hours (within_h), or clock: at_once")
        return None
    if "clock" not in step:
        source.add("F029", place, why=f"say from when its time counts: clock, one of {clocks}")
        return None
    return TemperatureStep(**step)


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
