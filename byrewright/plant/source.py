"""YAML text as plain data, with the place of every key and value.

Only plain YAML is taken: no tags, one document, limited depth and size. The parser's events are
read here, and no object is ever built from a tag, so no file can make the program do anything.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from byrewright.plant.problems import FileProblems, Problem, problem, short, show

LARGEST_BYTES = 5_000_000
DEEPEST = 12
MOST_VALUES = 50_000

Place = tuple[str | int, ...]

_INT = re.compile(r"[-+]?[0-9]{1,18}\Z")
_FLOAT = re.compile(r"[-+]?(?:\.[0-9]+|[0-9]+(?:\.[0-9]*)?)(?:[eE][-+]?[0-9]+)?\Z")
_WORDS: dict[str, Any] = {
    **dict.fromkeys(("", "~", "null", "Null", "NULL")),
    **dict.fromkeys(("true", "True", "TRUE"), True),
    **dict.fromkeys(("false", "False", "FALSE"), False),
    **dict.fromkeys((".inf", ".Inf", ".INF", "+.inf"), float("inf")),
    **dict.fromkeys(("-.inf", "-.Inf", "-.INF"), float("-inf")),
    **dict.fromkeys((".nan", ".NaN", ".NAN"), float("nan")),
}


def plain_scalar(text: str) -> Any:
    """What an unquoted word means: nothing, true or false, a number, or text (YAML 1.2 core).

    >>> [plain_scalar(t) for t in ("", "true", "12", "1.5", "05:30", "no")]
    [None, True, 12, 1.5, '05:30', 'no']
    """
    if text in _WORDS:
        return _WORDS[text]
    if _INT.match(text):
        return int(text)
    return float(text) if _FLOAT.match(text) else text


@dataclass(frozen=True, slots=True)
class Mark:
    """Where something stands: line and column from 1, first and past-last character from 0."""

    line: int
    column: int
    start: int
    end: int
    flow: bool = False


@dataclass(slots=True)
class Source:
    """A file's data with the place of each part, and the problems found in it so far."""

    name: str
    text: str
    data: Any = None
    keys: dict[Place, Mark] = field(default_factory=dict)
    values: dict[Place, Mark] = field(default_factory=dict)
    problems: list[Problem] = field(default_factory=list)

    def mark(self, place: Place, on_key: bool = False) -> Mark | None:
        """The mark of a place, or of the nearest part around it that has one."""
        for cut in range(len(place), -1, -1):
            first, second = (self.keys, self.values) if on_key else (self.values, self.keys)
            found = first.get(place[:cut]) or second.get(place[:cut])
            if found is not None:
                return found
            on_key = True
        return None

    def add(self, code: str, place: Place, on_key: bool = False, **words: Any) -> None:
        """Write down a problem at a place."""
        mark = self.mark(place, on_key)
        self.problems.append(
            problem(code, file=self.name, line=mark.line if mark else 0,
                    column=mark.column if mark else 0, key=self.dotted(place), **words)
        )  # fmt: skip

    def dotted(self, place: Place) -> str:
        """A place as people write it; an item of a list goes by its id, name or time.

        >>> Source("f", "", {"pipes": [{"id": "L1"}]}).dotted(("pipes", 0, "bore_mm"))
        'pipes.L1.bore_mm'
        """
        parts: list[str] = []
        here = self.data
        for step in place:
            inner: Any = None
            if isinstance(here, dict):
                inner = here.get(step)
            elif isinstance(here, list) and isinstance(step, int) and step < len(here):
                inner = here[step]
            parts.append(self._item(inner, step) if isinstance(step, int) else short(step))
            here = inner
        return ".".join(parts)

    @staticmethod
    def _item(item: Any, index: int) -> str:
        if isinstance(item, dict):
            for key in ("id", "name", "at"):
                if isinstance(item.get(key), str):
                    return short(item[key])
        return str(index + 1)

    def lines(self) -> dict[str, tuple[int, int]]:
        """Dotted place to (line, column) of every key and list item."""
        found = {self.dotted(p): (m.line, m.column) for p, m in self.values.items() if p}
        found.update({self.dotted(p): (m.line, m.column) for p, m in self.keys.items()})
        return found

    def stop(self, error: type[FileProblems]) -> None:
        """Raise everything found so far, in file order, if there is an error among it."""
        if any(p.severity == "error" for p in self.problems):
            raise error(sorted(dict.fromkeys(self.problems), key=lambda p: (p.line, p.column)))


def read_text(path: str | Path, error: type[FileProblems]) -> str:
    """The text of a file; `error` with one clear problem when it cannot be had."""
    name, file = str(path), Path(path)
    try:
        if file.is_dir():
            raise error([problem("F002", file=name)])
        with file.open("rb") as stream:
            raw = stream.read(LARGEST_BYTES + 1)
    except OSError as why:
        reason = (why.strerror or "unknown reason").lower()
        raise error([problem("F001", file=name, why=reason)]) from None
    except ValueError:  # a NUL in the name
        raise error([problem("F001", file=show(name), why="not a file name")]) from None
    if len(raw) > LARGEST_BYTES:
        raise error([_too_large(name)])
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as why:
        line = raw.count(b"\n", 0, why.start) + 1
        found = f"0x{raw[why.start]:02x}"
        raise error([problem("F004", file=name, line=line, found=found)]) from None


def _too_large(name: str) -> Problem:
    allowed = f"{LARGEST_BYTES / 1e6:g} MB"
    return problem("F003", file=name, found="more than that", allowed=allowed)


def load(text: str, name: str, error: type[FileProblems], example: str) -> Source:
    """Read YAML text whose top is a group of keys.

    Raises:
        FileProblems: of the class `error`, when the text cannot be read at all. Lesser problems
            (a key that stands twice, a tag) are left in `problems` for the caller.
    """
    if len(text) > LARGEST_BYTES:
        raise error([_too_large(name)])
    if not text.strip():
        raise error([problem("F005", file=name, line=1)])
    try:
        source = _composed(name, text)
    except _Stop as stop:
        raise error([stop.problem]) from None
    if source.data is None and not source.problems:
        raise error([problem("F005", file=name, line=1)])
    if not isinstance(source.data, dict):
        source.add("F014", (), found=show(source.data), allowed=example)
        raise error(source.problems)
    return source


PLAINLY: tuple[tuple[str, str], ...] = (
    (
        "mapping values are not allowed",
        "a colon where none may stand; put text with `: ` in quotes",
    ),
    ("expected <block end>", "the indent differs from the lines above"),
    ("expected ',' or ']'", "a comma or ] is missing"),
    ("expected ',' or '}'", "a comma or } is missing"),
    ("could not find expected ':'", "a colon is missing behind the key"),
    ("unexpected end of stream", "the file ends inside quotes"),
    ("but found '<stream end>'", "the file ends where a value should stand"),
    ("expected the node content", "a value is missing here"),
    ("cannot start any token", "text that begins with this character must stand in quotes"),
    ("expected alphabetic or numeric", "text that begins with * or & must stand in quotes"),
    ("unknown escape character", "a backslash in double quotes; use single quotes"),
    ("sequence entries are not allowed", "a dash where no list item may stand"),
    ("block sequence entries", "a dash where no list item may stand"),
    ("expected '<document start>'", "the text goes on after the document has ended"),
)
"""What the parser says, and what it means to the writer of the file."""


def _plainly(words: str) -> str:
    return next((plain for part, plain in PLAINLY if part in words), "its structure is broken here")


class _Stop(Exception):
    def __init__(self, found: Problem) -> None:
        self.problem = found


ODD = re.compile("[\t\x85\u2028\u2029\ufeff]")
"""Characters that the two parsers count, or take, in ways of their own."""


class _Untold(Exception):
    """The quick parser does not take the text."""


def _quickly(text: str) -> Iterable[Any] | None:
    """Events of the quick parser; None for a text, or a build of it, that it is not asked with."""
    if ODD.search(text):
        return None
    try:
        from yaml import CLoader, parse
    except ImportError:  # built without libyaml
        return None
    events: Iterable[Any] = parse(text, Loader=CLoader)
    return events


def _composed(name: str, text: str) -> Source:
    """What the text says. The quick parser takes a tenth of the time; what it does not take, the
    other reads again: it knows the newer YAML, and says what is wrong and where."""
    if (events := _quickly(text)) is not None:
        source = Source(name, text)
        with suppress(_Untold):
            _Composer(source, events, quick=True).run()
            return source
    from ruamel.yaml import YAML

    source = Source(name, text)
    _Composer(source, YAML(typ="safe", pure=True).parse(text)).run()
    return source


class _Composer:
    """Turns parser events into plain data and marks."""

    def __init__(self, source: Source, events: Iterable[Any], *, quick: bool = False) -> None:
        self.source = source
        self.anchors: dict[str, tuple[Any, int]] = {}
        self.count = 0
        self.repeated = ""
        self.events = iter(events)
        self.quick = quick

    def run(self) -> None:
        documents = 0
        while (event := self.next()) is not None:
            kind = type(event).__name__
            if kind == "DocumentStartEvent":
                documents += 1
                if documents > 1:
                    self.stop("F013", event.start_mark)
            elif kind in {"ScalarEvent", "MappingStartEvent", "SequenceStartEvent", "AliasEvent"}:
                self.source.data = self.node(event, ())

    def next(self) -> Any:
        try:
            return next(self.events, None)
        except Exception as why:  # whatever the parser trips over is the text's fault, and is told
            if self.quick:
                raise _Untold from None
            raise _Stop(self.syntax(why)) from None

    def syntax(self, why: Exception) -> Problem:
        mark = getattr(why, "problem_mark", None) or getattr(why, "context_mark", None)
        character = getattr(why, "character", None)
        name = self.source.name
        if mark is None and character is not None:
            at = getattr(why, "position", None) or 0
            code = ord(character) if isinstance(character, str) else int(character)
            line = self.source.text.count("\n", 0, at) + 1
            return problem("F012", file=name, line=line, found=f"U+{code:04X}")
        line = mark.line + 1 if mark else 0
        column = mark.column + 1 if mark else 0
        lines = self.source.text.splitlines()
        here = lines[line - 1] if 0 < line <= len(lines) else ""
        if "\t" in here[: max(column, len(here) - len(here.lstrip()))]:
            return problem("F006", file=name, line=line, column=here.index("\t") + 1)
        why_not = _plainly(str(getattr(why, "problem", None) or ""))
        return problem("F007", file=name, line=line, column=column, why=why_not)

    def stop(self, code: str, mark: Any, **words: Any) -> None:
        line, column = mark.line + 1, mark.column + 1
        raise _Stop(problem(code, file=self.source.name, line=line, column=column, **words))

    def node(self, event: Any, place: Place) -> Any:
        """The value that starts with `event`; its place and the places in it are marked."""
        if len(place) > DEEPEST:
            self.stop("F008", event.start_mark, allowed=str(DEEPEST))
        start, before = event.start_mark, self.count
        self.count += 1
        kind = type(event).__name__
        if kind == "AliasEvent":
            value, size = self.anchors.get(str(event.anchor), (None, MOST_VALUES))
            self.count += size
            self.repeated = str(event.anchor)
            end, flow = event.end_mark, True
        elif kind == "ScalarEvent":
            value = plain_scalar(event.value) if event.implicit[0] else event.value
            if isinstance(value, str) and any("\ud800" <= c <= "\udfff" for c in value):
                self.stop("F012", start, found="half of a surrogate pair")
            end, flow = event.end_mark, True
        else:
            inner = self.mapping if kind == "MappingStartEvent" else self.sequence
            value, last = inner(place)
            end, flow = last.end_mark, bool(event.flow_style)
        if self.count > MOST_VALUES:
            if self.repeated:
                self.stop("F009", start, found=short(self.repeated))
            self.stop("F003", start, found="too many values", allowed=f"{MOST_VALUES}")
        self.source.values[place] = Mark(
            start.line + 1, start.column + 1, start.index, end.index, flow
        )
        if getattr(event, "tag", None):
            self.source.add(
                "F011", place, found=short(str(event.tag).replace("tag:yaml.org,2002:", "!!"))
            )
        if kind != "AliasEvent" and event.anchor:
            self.anchors[str(event.anchor)] = (value, self.count - before)
        return value

    def mapping(self, place: Place) -> tuple[dict[str, Any], Any]:
        found: dict[str, Any] = {}
        while type(event := self.next()).__name__ != "MappingEndEvent":
            if type(event).__name__ != "ScalarEvent":
                self.stop("F007", event.start_mark, why="a key must be one word")
            key, mark = str(event.value), event.start_mark
            at = Mark(mark.line + 1, mark.column + 1, mark.index, event.end_mark.index)
            twice = key in found
            inner = (*place, key)
            if twice:
                first = self.source.keys[inner]
                where: dict[str, Any] = {
                    "file": self.source.name,
                    "line": at.line,
                    "column": at.column,
                }
                above = ".".join(str(p) for p in place)
                self.source.problems.append(
                    problem("F010", **where, key=above, found=short(key), allowed=first.line)
                )
                self.node(self.next(), (*place, "\0second"))
                continue
            self.source.keys[inner] = at
            found[key] = self.node(self.next(), inner)
        return found, event

    def sequence(self, place: Place) -> tuple[list[Any], Any]:
        found: list[Any] = []
        while type(event := self.next()).__name__ != "SequenceEndEvent":
            found.append(self.node(event, (*place, len(found))))
        return found, event
