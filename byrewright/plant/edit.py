"""Changes single values in a plant file's text and leaves every other character as it was."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any, Final

from byrewright.errors import ByrewrightError
from byrewright.plant.problems import show
from byrewright.plant.read import PlantFile
from byrewright.plant.source import Place, Source
from byrewright.plant.write import flow, scalar


class Remove:
    """Given as a value, removes the key."""


REMOVE: Final = Remove()
QUOTED = re.compile(r"\"[^\"]*\"|'[^']*'")


def edit_plant(file: PlantFile, changes: Mapping[str, Any], *, mark_reasons: bool = False) -> str:
    """The file's text with some values changed, added or (`REMOVE`) removed.

    Keys are dotted places: `equipment.VP1.motor_kw`, `modes.milking.V11`, `equipment.VP3` (with
    all its keys as a mapping), `pipes.L200` (a new pipe). Values are plain data. Comments, order
    and layout stay. The result is not checked: read it with `read_plant_text`. With `mark_reasons`
    a comment on the line of a changed number says what the number was when it was written, because
    the reason it gives may not hold for the new one.

    Raises:
        ByrewrightError: a change goes to a place that is not there.
    """
    return edit_source(file.source, changes, mark_reasons=mark_reasons)


def edit_source(source: Source, changes: Mapping[str, Any], *, mark_reasons: bool = False) -> str:
    """The same for any file that was read: a brief, for instance.

    Raises:
        ByrewrightError: a change goes to a place that is not there.
    """
    places = {source.dotted(p): p for p in (*source.values, *source.keys)}
    cuts = [_cut(source, places, key, value) for key, value in changes.items()]
    if mark_reasons:
        cuts += _marked(source, places, changes)
    text = source.text
    for start, end, new in sorted(cuts, key=lambda c: c[0], reverse=True):
        text = text[:start] + new + text[end:]
    return text


Cut = tuple[int, int, str]


def _cut(source: Source, places: Mapping[str, Place], key: str, value: Any) -> Cut:
    place = places.get(key)
    if isinstance(value, Remove):
        if place is None:
            raise ByrewrightError(f"{key}: there is nothing to remove")
        return _removed(source, place)
    if place is not None:
        mark = source.values[place]
        start, end = mark.start, _end(source, place)
        return start, end, (" " if start == end else "") + flow(value)
    parts = key.split(".")
    for cut in range(len(parts) - 1, -1, -1):
        above = places.get(".".join(parts[:cut])) if cut else ()
        if above is None:
            continue
        inner = _at(source, above)
        for name in reversed(parts[cut + 1 :]):
            value = {name: value}
        if isinstance(inner, dict):
            return _added(source, above, list(inner), f"{scalar(parts[cut])}: {flow(value)}", "")
        last = cut == len(parts) - 1
        if isinstance(inner, list) and inner and last and isinstance(value, Mapping):
            return _added(source, above, list(range(len(inner))), flow(value), "- ")
        break
    raise ByrewrightError(f"{key}: there is no such place, and nothing can be added at {show(key)}")


def _marked(source: Source, places: Mapping[str, Place], changes: Mapping[str, Any]) -> list[Cut]:
    """Behind the comment of each line with a changed number: what it was when that was written."""
    said: dict[int, list[str]] = {}
    for key in changes:
        place = places.get(key)
        old = _at(source, place) if place is not None else None
        if place is None or isinstance(old, bool) or not isinstance(old, int | float):
            continue
        start = source.values[place].start
        end = source.text.find("\n", start)
        end = len(source.text) if end < 0 else end
        rest = QUOTED.sub(lambda found: "x" * len(found.group()), source.text[start:end])
        if re.search(r"\s#", rest):
            stop = start + len(rest.rstrip())
            said.setdefault(stop, []).append(f"{place[-1]} {scalar(old)}")
    return [(stop, stop, f" [written for {', '.join(old)}]") for stop, old in said.items()]


def _at(source: Source, place: Place) -> Any:
    here = source.data
    for step in place:
        here = here[step]
    return here


def _children(source: Source, place: Place) -> list[Any]:
    inner = _at(source, place)
    if isinstance(inner, dict):
        return list(inner)
    return list(range(len(inner))) if isinstance(inner, list) else []


def _end(source: Source, place: Place) -> int:
    """Past the last character of a value, without the comments and blank lines after it."""
    mark = source.values[place]
    inner = [] if mark.flow else _children(source, place)
    return _end(source, (*place, inner[-1])) if inner else mark.end


def _start(source: Source, place: Place) -> int:
    return (source.keys.get(place) or source.values[place]).start


def _added(source: Source, above: Place, inner: list[Any], new: str, dash: str) -> Cut:
    """A key or list item behind the last one."""
    mark = source.values[above]
    if not inner:
        return mark.end - 1, mark.end - 1, new
    last = _end(source, (*above, inner[-1]))
    if mark.flow:
        return last, last, f", {new}"
    first = _start(source, (*above, inner[0]))
    line = source.text.rfind("\n", 0, first) + 1
    indent = " " * (first - line - len(dash))
    if source.text[last - 1 : last] == "\n":
        return last, last, f"{indent}{dash}{new}\n"
    stop = source.text.find("\n", last)
    stop = len(source.text) if stop < 0 else stop
    return stop, stop, f"\n{indent}{dash}{new}"


def _removed(source: Source, place: Place) -> Cut:
    above = place[:-1]
    inner = _children(source, above)
    index = inner.index(place[-1])
    start, end = _start(source, place), _end(source, place)
    if source.values[above].flow:
        if index + 1 < len(inner):
            return start, _start(source, (*above, inner[index + 1])), ""
        if index:
            return _end(source, (*above, inner[index - 1])), end, ""
        return start, end, ""
    line = source.text.rfind("\n", 0, start) + 1
    stop = source.text.find("\n", max(end - 1, start))
    return line, len(source.text) if stop < 0 else stop + 1, ""
