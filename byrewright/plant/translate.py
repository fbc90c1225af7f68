"""Reads one record out of plain data and says what is wrong in the words of the catalogue."""

from __future__ import annotations

import types
from collections.abc import Iterator, Mapping
from functools import lru_cache
from typing import Annotated, Any, Literal, TypeVar, Union, get_args, get_origin

from pydantic import ValidationError
from pydantic.fields import FieldInfo

from byrewright.plant.problems import nearest, show
from byrewright.plant.record import Record
from byrewright.plant.source import Place, Source

R = TypeVar("R", bound=Record)

_MISSING: Any = object()


def leaves(annotation: Any) -> Iterator[Any]:
    """The plain types inside an annotation: `tuple[float, ...] | None` gives float and None."""
    origin = get_origin(annotation)
    if origin is Annotated:
        yield from leaves(get_args(annotation)[0])
    elif origin in (Union, types.UnionType, tuple, list):
        for one in get_args(annotation):
            if one is not Ellipsis:
                yield from leaves(one)
    else:
        yield annotation


def choices(annotation: Any) -> tuple[Any, ...]:
    """The words or numbers a field is limited to, or ()."""
    return tuple(
        v for one in leaves(annotation) if get_origin(one) is Literal for v in get_args(one)
    )


def bounds(info: FieldInfo) -> tuple[float | None, float | None]:
    """Least and largest value of a field."""
    low = next((m.ge for m in info.metadata if hasattr(m, "ge")), None)
    high = next((m.le for m in info.metadata if hasattr(m, "le")), None)
    return low, high


def unit_of(info: FieldInfo) -> str:
    """The declared unit of a field, or ""."""
    extra = info.json_schema_extra
    return str(extra.get("unit", "")) if isinstance(extra, dict) else ""


def range_text(info: FieldInfo) -> str:
    """The range with its unit in words, or "".

    >>> from byrewright.plant.plant import Pipe
    >>> range_text(Pipe.model_fields["bore_mm"])
    '4 to 500 mm'
    """
    low, high = bounds(info)
    unit = unit_of(info)
    if low is None and high is None:
        return ""
    if low is None or high is None:
        text = f"at least {show(low)}" if high is None else f"at most {show(high)}"
    else:
        text = f"{show(low)} to {show(high)}"
    return f"{text} {unit}".strip()


def choice_text(annotation: Any) -> str:
    """The allowed words as a list; a word that looks like a number is shown in quotes."""
    return ", ".join(
        f'"{c}"' if isinstance(c, str) and c.isdigit() else show(c) if not isinstance(c, str) else c
        for c in choices(annotation)
    )


def wanted(info: FieldInfo) -> str:
    """What sort of value a field takes, in words."""
    sorts = set(leaves(info.annotation))
    many = get_origin(info.annotation) is tuple
    if choices(info.annotation):
        words = choice_text(info.annotation)
        return f"a list [...] of {words}" if many else f"one of {words}"
    if any(get_origin(one) is dict for one in sorts):
        return "a group of names with whole numbers, written {name: 2}"
    if sorts & {float, int} and bool not in sorts:
        word = "number" if float in sorts else "whole number"
        limits = range_text(info) or unit_of(info)
        text = f"a list of {word}s" if many else f"a {word}"
        return f"{text} ({limits})" if limits else text
    if bool in sorts:
        return "true or false"
    if many:
        return "a list, written [a, b]"
    if str in sorts:
        return "text (put it in quotes if it is a number)"
    return "a group of keys, written {key: value}"


def field_of(record: type[Record], name: str) -> tuple[str, FieldInfo] | None:
    """The field that a key of the file means: its Python name and declaration."""
    for python, info in record.model_fields.items():
        if name == (info.alias or python) or name == python:
            return python, info
    return None


def keys_of(record: type[Record], without: tuple[str, ...] = ()) -> list[str]:
    """The keys of a record as written in the file."""
    return [info.alias or n for n, info in record.model_fields.items() if n not in without]


def validate(
    record: type[R],
    data: Any,
    source: Source,
    place: Place,
    *,
    given: Mapping[str, Any] | None = None,
) -> R | None:
    """The record that `data` describes, or None with every problem written into `source`.

    `given` adds fields that do not stand at this place in the file (a machine's id is its key).
    """
    given = given or {}
    if not isinstance(data, dict):
        example = ", ".join(keys_of(record, tuple(given))[:3])
        source.add("F014", place, found=show(data), allowed=f"{{{example}: ...}}")
        return None
    double = [name for name in given if name in data]
    for name in double:
        known = keys_of(record, tuple(given))
        source.add("F020", (*place, name), True, near=nearest(name, known))
    ready = {k: _no_bool(v) if _takes_number(record, k) else v for k, v in data.items()}
    try:
        made = record.model_validate({**ready, **given})
    except ValidationError as error:
        for one in error.errors(include_url=False, include_context=False):
            if not (one["loc"] and one["loc"][0] in given):
                _report(one, record, data, source, place, tuple(given))
        return None
    return None if double else made


class _Sort:
    """Stands in for true or false where a number is wanted, so that it is not taken for 1 or 0."""


@lru_cache(maxsize=4096)
def _takes_number(record: type[Record], name: str) -> bool:
    """Whether a key means numbers, and true or false would be taken for one."""
    found = field_of(record, name)
    if found is None:
        return False
    sorts = set(leaves(found[1].annotation))
    numbers = any(isinstance(c, int) for c in choices(found[1].annotation))
    return bool not in sorts and bool(sorts & {int, float} or numbers)


def _no_bool(value: Any) -> Any:
    if isinstance(value, bool):
        return _Sort()
    if isinstance(value, list):
        return [_Sort() if isinstance(v, bool) else v for v in value]
    return value


def _report(
    error: Any,
    record: type[Record],
    data: Any,
    source: Source,
    place: Place,
    without: tuple[str, ...],
) -> None:
    holder, info, steps = _walk(record, data, error["loc"])
    at: Place = (*place, *steps)
    kind = str(error["type"])
    raw = _raw(data, steps)
    if kind == "missing" and info is not None:
        text = ", " + (range_text(info) or wanted(info))
        source.add("F022", at, True, meaning=info.description, allowed=text)
    elif kind == "missing":
        source.add("F022", at, True, meaning="it is needed", allowed="")
    elif kind == "extra_forbidden":
        known = keys_of(holder, without) if holder else []
        source.add("F020", at, True, near=nearest(str(steps[-1]), known))
    elif info is None:
        source.add("F024", at, found=show(raw), allowed="what belongs here")
    else:
        _report_value(kind, str(error["msg"]), info, raw, source, at)


def _report_value(
    kind: str, text: str, info: FieldInfo, raw: Any, source: Source, at: Place
) -> None:
    unit = unit_of(info)
    if kind == "literal_error" and not isinstance(raw, dict | list | _Sort):
        source.add("F027", at, found=show(raw), allowed=choice_text(info.annotation))
    elif kind in {"greater_than_equal", "less_than_equal", "finite_number"}:
        source.add("F026", at, found=_found(raw, unit), allowed=range_text(info) or wanted(info))
    elif kind in {"too_short", "too_long"}:
        need = next((m.min_length for m in _metadata(info) if hasattr(m, "min_length")), None)
        count = len(raw) if isinstance(raw, list | str) else 0
        source.add(
            "F028", at, found=f"{count} values", allowed=str(need or "another number of them")
        )
    elif kind == "value_error":
        why = text.removeprefix("Value error, ")
        source.add("F025" if unit else "F029", at, found=show(raw), why=why)
    else:
        source.add("F024", at, found=show(raw), allowed=wanted(info))


def _metadata(info: FieldInfo) -> list[Any]:
    found = list(info.metadata)
    for one in get_args(info.annotation):
        if get_origin(one) is Annotated:
            for part in get_args(one)[1:]:
                found += getattr(part, "metadata", [part])
    return found


def _found(raw: Any, unit: str) -> str:
    """The value found; with its own unit also in the declared one."""
    if isinstance(raw, str) and unit:
        from byrewright.standards.units import UnitError, parse_quantity

        try:
            number = parse_quantity(raw, unit)
        except UnitError:
            return show(raw)
        if raw.strip() != show(number):
            return f"{show(raw)} ({number:.6g} {unit})"
    return show(raw)


def _walk(
    record: type[Record], data: Any, loc: tuple[str | int, ...]
) -> tuple[type[Record] | None, FieldInfo | None, Place]:
    """The record and field an error is about, and its place as it stands in the file."""
    holder: type[Record] | None = record
    info: FieldInfo | None = None
    steps: list[str | int] = []
    here = data
    for part in loc:
        if part == "[key]":
            break
        inner = _raw(here, (part,))
        known = field_of(holder, str(part)) if holder and isinstance(part, str) else None
        last = part == loc[-1]
        if inner is _MISSING and known is None and not last:
            continue  # a step of the validator's own, not of the file
        if known is not None:
            info = known[1]
            records = [
                r for r in leaves(info.annotation) if isinstance(r, type) and issubclass(r, Record)
            ]
            deeper = records[0] if records else None
        else:
            deeper = holder if isinstance(part, int) else None
            if isinstance(part, str) and holder is not None and inner is not _MISSING:
                info = None
        steps.append(part)
        if not (last and (known is None or inner is _MISSING)):
            holder = deeper
        here = inner
    return holder, info, tuple(steps)


def _raw(data: Any, steps: Place) -> Any:
    here = data
    for step in steps:
        try:
            here = here[step]
        except (KeyError, IndexError, TypeError):
            return _MISSING
    return here
