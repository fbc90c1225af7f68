"""What a kernel works with: types of numbers, arrays and tuples, and how they are handed over."""

from __future__ import annotations

import struct
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np

FLOAT, WHOLE, BOOL, PYTHON, NOTHING = "double", "i64", "i1", "python", "void"


@dataclass(frozen=True)
class Array:
    """An array in C order: type of an item (as it is kept) and axes."""

    item: str
    axes: int


@dataclass(frozen=True)
class Tuple:
    """Several things, with the names of their fields where they have them."""

    types: tuple[Any, ...]
    names: tuple[str, ...] = ()


Type = str | Array | Tuple


@dataclass
class Value:
    """Something at work: of a number its name in the assembly, of an array the names of its place
    and lengths, of a tuple its values, of what Python knows beforehand the thing itself."""

    type: Any
    at: Any
    known: Any = None


class NotCompiled(Exception):
    """A kernel says something that its language has not."""


def flat(type_: Type) -> list[str]:
    """How a type is handed over: numbers, and of an array its place and its lengths."""
    if isinstance(type_, Array):
        return ["ptr", *[WHOLE] * type_.axes]
    if isinstance(type_, Tuple):
        return [one for t in type_.types for one in flat(t)]
    return [type_]


def parts(value: Value) -> list[str]:
    """The names that `flat` gives the types of."""
    if isinstance(value.type, Array):
        return [value.at[0], *value.at[1]]
    if isinstance(value.type, Tuple):
        return [one for v in value.at for one in parts(v)]
    return [value.at]


def whole(type_: Type, names: Iterable[str]) -> Value:
    """A value out of its parts."""
    left = iter(names)

    def made(one: Type) -> Value:
        if isinstance(one, Array):
            return Value(one, (next(left), [next(left) for _ in range(one.axes)]))
        if isinstance(one, Tuple):
            return Value(one, [made(t) for t in one.types])
        return Value(one, next(left))

    return made(type_)


def both(a: Any, b: Any) -> Any:
    """The type of what may be either."""
    if a == b:
        return a
    if {a, b} == {FLOAT, WHOLE}:
        return FLOAT
    raise NotCompiled(f"either {a} or {b}")


def number(value: float | int | bool) -> Value:
    """A number that is known."""
    if isinstance(value, bool | np.bool_):
        return Value(BOOL, str(bool(value)).lower(), bool(value))
    if isinstance(value, int | np.integer):
        return Value(WHOLE, str(int(value)), int(value))
    bits = struct.unpack("<Q", struct.pack("<d", float(value)))[0]
    return Value(FLOAT, f"0x{bits:016X}", float(value))


def returned(gives: Any) -> str:
    """How what a kernel gives is spelled."""
    return f"{{{', '.join(gives.types)}}}" if isinstance(gives, Tuple) else str(gives)
