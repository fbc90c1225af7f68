"""A small runner of Structured Text, written for the tests from the language alone.

It knows function blocks of BOOL, INT and the standard timers TON and TOF, assignments, calls with
named inputs, and AND, OR, NOT, = with their usual ranks. It shares no code with the exporter.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, field

TOKEN = re.compile(r"T#\d+ms|\d+|[A-Za-z_]\w*(?:\.[A-Za-z_]\w*)?|:=|[():;,=]")
IDENTIFIER = re.compile(r"[A-Za-z](?:_?[A-Za-z0-9])*\Z")  # no double or trailing underscores
KEYWORDS = {"AND", "OR", "NOT", "TRUE", "FALSE"}


class StError(Exception):
    """The text is not what the language allows."""


@dataclass
class Timer:
    """TON or TOF, stepped with the time in milliseconds."""

    off_delay: bool
    since: int | None = None
    Q: bool = False

    def call(self, on: bool, preset_ms: int, now_ms: int) -> None:
        """IEC 61131-3 on- and off-delay timers."""
        if self.off_delay:
            if on:
                self.since, self.Q = None, True
            elif self.Q:
                self.since = now_ms if self.since is None else self.since
                self.Q = now_ms - self.since < preset_ms
        elif not on:
            self.since, self.Q = None, False
        else:
            self.since = now_ms if self.since is None else self.since
            self.Q = now_ms - self.since >= preset_ms


Now = Callable[[], "bool | int"]
"""What an expression is worth at the moment."""


@dataclass
class Program:
    """A parsed function block with its variables."""

    kinds: dict[str, str] = field(default_factory=dict)
    sections: dict[str, list[str]] = field(default_factory=dict)
    values: dict[str, bool | int] = field(default_factory=dict)
    timers: dict[str, Timer] = field(default_factory=dict)
    statements: list[Callable[[int], None]] = field(default_factory=list)

    def run(self, inputs: dict[str, bool | int], now_ms: int = 0) -> dict[str, bool | int]:
        """One scan: set inputs, run the statements in order, give the outputs."""
        for name in inputs.keys() - set(self.sections["VAR_INPUT"]):
            raise StError(f"{name} is no input")
        self.values |= inputs
        for statement in self.statements:
            statement(now_ms)
        return {n: self.values[n] for n in self.sections["VAR_OUTPUT"]}

    def add(self, tokens: list[str]) -> None:
        """A statement: an assignment, or the call of a timer."""
        name = tokens[0]
        if tokens[1] == ":=":
            if name not in self.values or name in self.sections["VAR_INPUT"]:
                raise StError(f"{name} cannot be assigned")
            value = self._whole(tokens[2:])
            self.statements.append(lambda _: self.values.__setitem__(name, value()))
        elif tokens[1] == "(" and tokens[-1] == ")":
            given: dict[str, list[str]] = {}
            part: list[str] = []
            for token in [*tokens[2:-1], ","]:
                if token == ",":
                    given[part[0]] = part[2:]
                    part = []
                else:
                    part.append(token)
            preset, timer = int(given["PT"][0][2:-2]), self.timers[name]
            on = self._whole(given["IN"])
            self.statements.append(lambda now_ms: timer.call(bool(on()), preset, now_ms))
        else:
            raise StError(f"no statement: {' '.join(tokens)}")

    def _whole(self, tokens: list[str]) -> Now:
        rest = tokens[::-1]
        value = self._or(rest)
        if rest:
            raise StError(f"left over: {rest[::-1]}")
        return value

    def _or(self, rest: list[str]) -> Now:
        parts = [self._and(rest)]
        while rest and rest[-1] == "OR":
            rest.pop()
            parts.append(self._and(rest))
        return parts[0] if len(parts) == 1 else lambda: any(p() for p in parts)

    def _and(self, rest: list[str]) -> Now:
        parts = [self._equal(rest)]
        while rest and rest[-1] == "AND":
            rest.pop()
            parts.append(self._equal(rest))
        return parts[0] if len(parts) == 1 else lambda: all(p() for p in parts)

    def _equal(self, rest: list[str]) -> Now:
        value = self._one(rest)
        if rest and rest[-1] == "=":
            rest.pop()
            other = self._one(rest)
            return lambda: value() == other()
        return value

    def _one(self, rest: list[str]) -> Now:
        token = rest.pop()
        if token == "NOT":
            value = self._one(rest)
            return lambda: not value()
        if token == "(":
            value = self._or(rest)
            if not rest or rest.pop() != ")":
                raise StError("a bracket is not closed")
            return value
        if token in ("TRUE", "FALSE"):
            return lambda: token == "TRUE"
        if token.isdigit():
            number = int(token)
            return lambda: number
        if "." in token:
            name, output = token.split(".")
            if output != "Q":
                raise StError(f"{token} is no output of a timer")
            timer = self.timers[name]
            return lambda: timer.Q
        if token not in self.values:
            raise StError(f"{token} is not declared")
        return lambda: self.values[token]


def parse(text: str) -> Program:
    """A function block from its text."""
    plain = re.sub(r"\(\*.*?\*\)", " ", text, flags=re.S)
    found = re.fullmatch(r"\s*FUNCTION_BLOCK\s+(\w+)(.*)END_FUNCTION_BLOCK\s*", plain, re.S)
    if not found:
        raise StError("no function block")
    program = Program()
    body = found[2]
    for section in re.finditer(r"(VAR_INPUT|VAR_OUTPUT|VAR)\s(.*?)END_VAR", body, re.S):
        names = program.sections.setdefault(section[1], [])
        for line in filter(None, (x.strip() for x in section[2].split(";"))):
            name, kind = (x.strip() for x in line.split(":"))
            _declare(program, name, kind)
            names.append(name)
    body = re.sub(r"(VAR_INPUT|VAR_OUTPUT|VAR)\s.*?END_VAR", " ", body, flags=re.S)
    if TOKEN.sub("", body).strip():
        raise StError(f"not understood: {TOKEN.sub('', body).strip()[:40]!r}")
    statement: list[str] = []
    for token in TOKEN.findall(body):
        if token == ";":
            program.add(statement)
            statement = []
        else:
            statement.append(token)
    if statement:
        raise StError("the last statement has no end")
    return program


def _declare(program: Program, name: str, kind: str) -> None:
    if not IDENTIFIER.match(name) or name.upper() in KEYWORDS:
        raise StError(f"{name!r} is no identifier")
    if name.lower() in (n.lower() for n in program.kinds):
        raise StError(f"{name} is declared twice (capitals count for nothing)")
    program.kinds[name] = kind
    if kind in ("TON", "TOF"):
        program.timers[name] = Timer(kind == "TOF")
    elif kind in ("BOOL", "INT"):
        program.values[name] = False if kind == "BOOL" else 0
    else:
        raise StError(f"{kind} is not known here")
