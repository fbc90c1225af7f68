"""Lines of LLVM's assembly: blocks, variables, and the items of arrays."""

from __future__ import annotations

import ast
import builtins
import inspect
import textwrap
from functools import cache
from types import FunctionType
from typing import Any

import numpy as np

from byrewright.compiler.values import (
    BOOL,
    FLOAT,
    NOTHING,
    PYTHON,
    WHOLE,
    Array,
    NotCompiled,
    Tuple,
    Value,
    both,
    flat,
    number,
    parts,
    whole,
)

ALIASES = {FLOAT: ", !tbaa !1", WHOLE: ", !tbaa !2", "i8": ""}
"""A float is never where a whole number lies: the compiler need not read one again."""


@cache
def read(function: FunctionType) -> ast.FunctionDef:
    """The source of a kernel as a tree."""
    found = ast.parse(textwrap.dedent(inspect.getsource(function))).body[0]
    assert isinstance(found, ast.FunctionDef)
    return found


class Block:
    """Lines that run one after another; the last says where to go on."""

    def __init__(self, name: str) -> None:
        self.name, self.lines, self.left = name, list[str](), False


class Writer:
    """One kernel for one set of types, as it is written down."""

    def __init__(self, unit: Any, function: FunctionType) -> None:
        self.unit, self.code, self.names = unit, function, function.__globals__
        self.tree = read(function)
        self.types: dict[str, Any] = {}
        self.gives: Any = None
        self.begin()

    def begin(self) -> None:
        """With an empty sheet, but the types known so far."""
        self.count = 0
        self.slots: list[str] = []
        self.places: dict[str, Any] = {}
        self.loops: list[tuple[Block, Block]] = []
        self.blocks = [Block("start")]
        self.here = self.blocks[0]

    def _unknown(self, one: ast.AST) -> Any:
        raise self._no(f"{type(one).__name__} in line {getattr(one, 'lineno', 0)} of it")

    # What is written down.

    def _say(self, line: str) -> None:
        if not self.here.left:
            self.here.lines.append(line)
            self.here.left = line.startswith(("br ", "ret ", "unreachable"))

    def _new(self, line: str) -> str:
        self.count += 1
        self._say(f"%t{self.count} = {line}")
        return f"%t{self.count}"

    def _block(self, name: str) -> Block:
        self.count += 1
        return Block(f"{name}{self.count}")

    def _go(self, block: Block) -> None:
        """Go on in a block."""
        self.blocks.append(block)
        self.here = block

    def _slot(self, type_: str) -> str:
        self.count += 1
        self.slots.append(f"%s{self.count} = alloca {type_}")
        return f"%s{self.count}"

    # Variables.

    def _assign(self, name: str, value: Value) -> None:
        if value.type == PYTHON or value.type == NOTHING:
            raise self._no(f"{name} is no number and no array")
        try:
            type_ = self.types[name] = both(self.types.get(name, value.type), value.type)
        except NotCompiled as e:
            raise self._no(f"{name} is {e}") from None
        if name not in self.places:
            self.places[name] = [self._slot(t) for t in flat(type_)]
        value = self._as(value, type_)
        for place, type_one, part in zip(self.places[name], flat(type_), parts(value), strict=True):
            self._say(f"store {type_one} {part}, ptr {place}")

    def _look(self, name: str) -> Value:
        if name in self.places:
            type_ = self.types[name]
            kinds = zip(self.places[name], flat(type_), strict=True)
            return whole(type_, [self._new(f"load {t}, ptr {p}") for p, t in kinds])
        if name in self.names:
            return self._python(self.names[name])
        built_in = getattr(builtins, name, None)
        if built_in is None:
            raise self._no(f"{name} is not known")
        return Value(PYTHON, built_in)

    def _python(self, thing: Any) -> Value:
        if isinstance(thing, bool | int | float | np.number | np.bool_):
            return number(thing)  # type: ignore[arg-type]
        if isinstance(thing, np.ndarray):
            table: Value = self.unit.table(thing)
            return table
        return Value(PYTHON, thing)

    def _no(self, what: str) -> NotCompiled:
        return NotCompiled(f"{self.code.__module__}.{self.code.__name__}: {what}")

    def _as(self, value: Value, type_: Any) -> Value:
        """A value as another type."""
        if value.type == type_:
            return value
        if type_ == FLOAT and value.type == WHOLE:
            if value.known is not None:
                return number(float(value.known))
            return Value(FLOAT, self._new(f"sitofp i64 {value.at} to double"))
        if type_ == WHOLE and value.type == FLOAT:
            return Value(WHOLE, self._new(f"fptosi double {value.at} to i64"))
        if type_ in (WHOLE, "i8") and value.type == BOOL:
            return Value(type_, self._new(f"zext i1 {value.at} to {type_}"))
        if type_ == FLOAT and value.type == BOOL:
            return Value(FLOAT, self._new(f"uitofp i1 {value.at} to double"))
        if type_ == BOOL:
            return self._true(value)
        if isinstance(type_, Tuple) and isinstance(value.type, Tuple):
            pairs = zip(value.at, type_.types, strict=True)
            return Value(type_, [self._as(v, t) for v, t in pairs])
        raise self._no(f"{value.type} where {type_} is wanted")

    def _true(self, value: Value) -> Value:
        """Whether a number counts as true."""
        if value.type == BOOL:
            return value
        if value.type == FLOAT:
            return Value(BOOL, self._new(f"fcmp une double {value.at}, {number(0.0).at}"))
        if value.type in (WHOLE, "i8"):
            return Value(BOOL, self._new(f"icmp ne {value.type} {value.at}, 0"))
        raise self._no(f"{value.type} as true or false")

    # Arrays.

    def _address(self, rows: Value, at: list[Value], *, safe: bool = False) -> str:
        start, long = rows.at
        total = ""
        for axis, index in enumerate(at):
            name = index.at
            if index.known is not None and index.known >= 0:
                pass
            elif not safe:  # from the end
                below = self._new(f"icmp slt i64 {name}, 0")
                other = self._new(f"add i64 {name}, {long[axis]}")
                name = self._new(f"select i1 {below}, i64 {other}, i64 {name}")
            if self.unit.checked:
                self._check(name, long[axis])
            total = name if not total else self._new(
                f"add i64 {self._new(f'mul i64 {total}, {long[axis]}')}, {name}")  # fmt: skip
        for axis in range(len(at), rows.type.axes):
            total = self._new(f"mul i64 {total}, {long[axis]}")
        return self._new(f"getelementptr inbounds {rows.type.item}, ptr {start}, i64 {total}")

    def _check(self, index: str, long: str) -> None:
        """Stop the program where an index leaves its array."""
        self.unit.wanted.add("declare void @llvm.trap()")
        wrong, right = self._block("wrong"), self._block("right")
        bad = self._new(f"icmp uge i64 {index}, {long}")
        self._say(f"br i1 {bad}, label %{wrong.name}, label %{right.name}")
        self._go(wrong)
        self._say("call void @llvm.trap()")
        self._say("unreachable")
        self._go(right)

    def _item(self, rows: Value, at: list[Value], *, safe: bool = False) -> Value:
        place = self._address(rows, at, safe=safe)
        if len(at) == rows.type.axes:
            return self._load(place, rows.type.item)
        left = Array(rows.type.item, rows.type.axes - len(at))
        return Value(left, (place, rows.at[1][len(at) :]))

    def _load(self, place: str, item: str) -> Value:
        value = Value(item, self._new(f"load {item}, ptr {place}{ALIASES[item]}"))
        return self._true(value) if item == "i8" else value

    def _store(self, place: str, item: str, value: Value) -> None:
        value = self._as(value, item)
        self._say(f"store {item} {value.at}, ptr {place}{ALIASES[item]}")
