"""Breaks files: the same seed gives the same broken text, so that a failure can be looked at."""

from __future__ import annotations

import random
from collections.abc import Callable

UNITS = ("mm", "in", "kg", "degF", "hp", "L/min", "kPa", "°C", "furlong", "m3", "")
VALUES = (
    "",
    "~",
    "true",
    "no",
    "-1",
    "0",
    "1e309",
    ".inf",
    ".nan",
    "9" * 30,
    "1,5",
    "[]",
    "{}",
    "[[1]]",
    "{a: b}",
    "'x'",
    '"',
    "*a",
    "&a 1",
    "!!python/object:os.system x",
    "!x",
    "05:30",
    "2026-01-01",
    "0x1F",
    "é",
    "\u202e",
    "\x07",
    "\U0001f600",
    "VP1",
    "VP1.inlet",
    "a: b: c",
    "- 1",
    "|",
    ">",
    "@x",
    "`x`",
    "%x",
    "<<",
    "? x",
    "12 mm",
    "3 in",
    "-5 degC",
    "null",
    "# c",
    "1_000",
    "0" * 400,
)
KEYS = (
    "kind",
    "id",
    "from",
    "to",
    "does",
    "like",
    "count",
    "",
    "bore_mm",
    "name",
    "x",
    "<<",
    "1",
    "null",
)


def mutated(text: str, seed: int) -> str:
    """A broken copy of a file: one to four changes."""
    draw = random.Random(seed)
    for _ in range(draw.choice((1, 1, 1, 2, 2, 4))):
        text = draw.choice(WAYS)(text, draw)
    return text


def _line(draw: random.Random, lines: list[str]) -> int:
    return draw.randrange(max(1, len(lines)))


def _drop_line(text: str, draw: random.Random) -> str:
    lines = text.splitlines(keepends=True)
    at = _line(draw, lines)
    return "".join(lines[:at] + lines[at + 1 :])


def _double_line(text: str, draw: random.Random) -> str:
    lines = text.splitlines(keepends=True)
    at = _line(draw, lines)
    return "".join(lines[: at + 1] + lines[at:])


def _swap_lines(text: str, draw: random.Random) -> str:
    lines = text.splitlines(keepends=True)
    if len(lines) > 1:
        a, b = draw.sample(range(len(lines)), 2)
        lines[a], lines[b] = lines[b], lines[a]
    return "".join(lines)


def _indent(text: str, draw: random.Random) -> str:
    lines = text.splitlines(keepends=True)
    at = _line(draw, lines)
    if lines:
        lines[at] = draw.choice(("  ", " ", "\t", "      ")) + lines[at].lstrip(
            draw.choice((" ", ""))
        )
    return "".join(lines)


def _places(text: str, mark: str) -> list[int]:
    return [i for i, c in enumerate(text) if c == mark]


def _value(text: str, draw: random.Random) -> str:
    """Another value behind some colon."""
    colons = _places(text, ":")
    if not colons:
        return text
    at = draw.choice(colons)
    stop = next((i for i in range(at + 2, len(text)) if text[i] in ",}\n]"), len(text))
    return f"{text[:at]}: {draw.choice(VALUES)}{text[stop:]}"


def _unit(text: str, draw: random.Random) -> str:
    digits = [
        i
        for i, c in enumerate(text)
        if c.isdigit() and text[i + 1 : i + 2] in (",", "}", "\n", " ")
    ]
    if not digits:
        return text
    at = draw.choice(digits) + 1
    return f"{text[:at]} {draw.choice(UNITS)}{text[at:]}"


def _key(text: str, draw: random.Random) -> str:
    colons = _places(text, ":")
    if not colons:
        return text
    at = draw.choice(colons)
    start = max(text.rfind(c, 0, at) for c in " {\n,") + 1
    word = text[start:at]
    new = draw.choice((draw.choice(KEYS), word[1:], word + "x", word.upper(), word[::-1]))
    return text[:start] + new + text[at:]


def _cut(text: str, draw: random.Random) -> str:
    return text[: draw.randrange(len(text) + 1)]


def _letters(text: str, draw: random.Random) -> str:
    for _ in range(draw.randrange(1, 6)):
        at = draw.randrange(len(text) + 1)
        new = chr(
            draw.choice(
                (draw.randrange(32, 127), draw.randrange(0x20), draw.randrange(0xA0, 0x3000))
            )
        )
        text = text[:at] + new + text[at + draw.randrange(2) :]
    return text


def _nest(text: str, draw: random.Random) -> str:
    deep = draw.choice((3, 20, 2000))
    left, right = draw.choice((("[", "]"), ("{a: ", "}")))
    return _insert(text, draw, left * deep + "1" + right * draw.choice((deep, 0)))


def _anchor(text: str, draw: random.Random) -> str:
    made = "q0: &q0 [a, a, a, a]\n" + "".join(
        f"q{i + 1}: &q{i + 1} [{', '.join([f'*q{i}'] * 9)}]\n" for i in range(draw.randrange(1, 9))
    )
    return made + text if draw.random() < 0.5 else text + made


def _insert(text: str, draw: random.Random, new: str) -> str:
    colons = _places(text, ":")
    at = draw.choice(colons) + 1 if colons else 0
    return f"{text[:at]} {new} {text[at:]}"


def _swap_words(text: str, draw: random.Random) -> str:
    words = text.split(" ")
    if len(words) > 1:
        a, b = draw.sample(range(len(words)), 2)
        words[a], words[b] = words[b], words[a]
    return " ".join(words)


WAYS: tuple[Callable[[str, random.Random], str], ...] = (
    _drop_line,
    _double_line,
    _swap_lines,
    _indent,
    _value,
    _value,
    _value,
    _unit,
    _key,
    _key,
    _cut,
    _letters,
    _nest,
    _anchor,
    _swap_words,
)


def mutated_bytes(text: str, seed: int) -> bytes:
    """The same, with some bytes changed at random now and then."""
    raw = bytearray(mutated(text, seed).encode("utf-8", "surrogatepass"))
    draw = random.Random(seed ^ 0x5EED)
    if draw.random() < 0.15:
        for _ in range(draw.randrange(1, 5)):
            raw.insert(draw.randrange(len(raw) + 1), draw.randrange(256))
    return bytes(raw)
