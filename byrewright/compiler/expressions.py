"""Expressions of a kernel: arithmetic as Python has it, comparisons, indices and calls."""

from __future__ import annotations

import ast
import math
from collections.abc import Callable
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
    Tuple,
    Value,
    both,
    flat,
    number,
    parts,
    returned,
    whole,
)
from byrewright.compiler.writer import Writer, read

MATH: dict[Any, str] = {
    math.sqrt: "llvm.sqrt.f64", math.exp: "llvm.exp.f64", math.log: "llvm.log.f64",
    math.log10: "llvm.log10.f64", math.cos: "llvm.cos.f64", math.sin: "llvm.sin.f64",
    math.copysign: "llvm.copysign.f64", math.fabs: "llvm.fabs.f64", math.pow: "llvm.pow.f64",
    math.expm1: "expm1", math.log1p: "log1p",
}  # fmt: skip
COMPARED = {ast.Lt: "lt", ast.LtE: "le", ast.Gt: "gt", ast.GtE: "ge", ast.Eq: "eq", ast.NotEq: "ne"}
FLOAT_OPS: dict[Any, str] = {
    ast.Add: "fadd", ast.Sub: "fsub", ast.Mult: "fmul", ast.Div: "fdiv",
}  # fmt: skip
WHOLE_OPS: dict[Any, str] = {
    ast.Add: "add", ast.Sub: "sub", ast.Mult: "mul", ast.LShift: "shl", ast.RShift: "ashr",
    ast.BitAnd: "and", ast.BitOr: "or", ast.BitXor: "xor",
}  # fmt: skip


class Expressions(Writer):
    """What gives a value."""

    def _value(self, one: ast.expr) -> Value:
        found: Value = getattr(self, f"_of_{type(one).__name__.lower()}", self._unknown)(one)
        return found

    def _of_constant(self, one: ast.Constant) -> Value:
        return self._python(one.value)

    def _of_name(self, one: ast.Name) -> Value:
        return self._look(one.id)

    def _of_tuple(self, one: ast.Tuple) -> Value:
        each = [self._value(e) for e in one.elts]
        return Value(Tuple(tuple(v.type for v in each)), each)

    def _of_attribute(self, one: ast.Attribute) -> Value:
        value = self._value(one.value)
        if value.type == PYTHON:
            return self._python(getattr(value.at, one.attr))
        if isinstance(value.type, Tuple) and one.attr in value.type.names:
            found: Value = value.at[value.type.names.index(one.attr)]
            return found
        if isinstance(value.type, Array):
            long = [Value(WHOLE, n) for n in value.at[1]]
            if one.attr == "shape":
                return Value(Tuple((WHOLE,) * len(long)), long)
            if one.attr == "size":
                return self._product(long)
        raise self._no(f".{one.attr}")

    def _product(self, long: list[Value]) -> Value:
        total = long[0]
        for n in long[1:]:
            total = Value(WHOLE, self._new(f"mul i64 {total.at}, {n.at}"))
        return total

    def _of_subscript(self, one: ast.Subscript) -> Value:
        value = self._value(one.value)
        at = self._indices(one.slice)
        if isinstance(value.type, Tuple):
            if at[0].known is None:
                raise self._no("the place in a tuple is not known beforehand")
            found: Value = value.at[at[0].known]
            return found
        return self._item(value, at)

    def _of_unaryop(self, one: ast.UnaryOp) -> Value:
        value = self._value(one.operand)
        if isinstance(one.op, ast.Not):
            return Value(BOOL, self._new(f"xor i1 {self._true(value).at}, true"))
        if not isinstance(one.op, ast.USub):
            self._unknown(one.op)
        if value.known is not None:
            return number(-value.known)
        if value.type == FLOAT:
            return Value(FLOAT, self._new(f"fneg double {value.at}"))
        return Value(WHOLE, self._new(f"sub i64 0, {value.at}"))

    def _of_binop(self, one: ast.BinOp) -> Value:
        return self._sum(one.op, self._value(one.left), self._value(one.right))

    def _sum(self, op: ast.operator, a: Value, b: Value) -> Value:
        kind = type(op)
        if isinstance(op, ast.Pow):
            return self._power(a, b)
        a, b = (self._as(v, WHOLE) if v.type == BOOL else v for v in (a, b))
        if FLOAT in (a.type, b.type) or isinstance(op, ast.Div):
            a, b = self._as(a, FLOAT), self._as(b, FLOAT)
            if kind in FLOAT_OPS:
                return Value(FLOAT, self._new(f"{FLOAT_OPS[kind]} double {a.at}, {b.at}"))
            if isinstance(op, ast.Mod):
                return self._float_rest(a, b)
            self._unknown(op)
        if kind in WHOLE_OPS:
            return Value(WHOLE, self._new(f"{WHOLE_OPS[kind]} i64 {a.at}, {b.at}"))
        if not isinstance(op, ast.FloorDiv | ast.Mod):
            self._unknown(op)
        return self._rounded_down(a, b, rest=isinstance(op, ast.Mod))

    def _rounded_down(self, a: Value, b: Value, *, rest: bool) -> Value:
        nil = self._new(f"icmp eq i64 {b.at}, 0")
        by = self._new(f"select i1 {nil}, i64 1, i64 {b.at}")
        left = self._new(f"srem i64 {a.at}, {by}")
        some = self._new(f"icmp ne i64 {left}, 0")
        signs = self._new(f"icmp slt i64 {self._new(f'xor i64 {left}, {by}')}, 0")
        off = self._new(f"and i1 {some}, {signs}")
        if rest:
            other = self._new(f"add i64 {left}, {by}")
            found = self._new(f"select i1 {off}, i64 {other}, i64 {left}")
        else:
            found = self._new(f"sdiv i64 {a.at}, {by}")
            found = self._new(f"sub i64 {found}, {self._new(f'zext i1 {off} to i64')}")
        return Value(WHOLE, self._new(f"select i1 {nil}, i64 0, i64 {found}"))

    def _float_rest(self, a: Value, b: Value) -> Value:
        left = self._new(f"frem double {a.at}, {b.at}")
        zero = number(0.0).at
        some = self._new(f"fcmp une double {left}, {zero}")
        below = self._new(f"fcmp olt double {b.at}, {zero}")
        signs = self._new(f"xor i1 {below}, {self._new(f'fcmp olt double {left}, {zero}')}")
        other = self._new(f"fadd double {left}, {b.at}")
        off = self._new(f"and i1 {some}, {signs}")
        return Value(FLOAT, self._new(f"select i1 {off}, double {other}, double {left}"))

    def _power(self, a: Value, b: Value) -> Value:
        if b.type != WHOLE:
            return self._math(math.pow, [a, b])
        if b.known is None:
            raise self._no("a whole power is not known beforehand")
        op, one = ("fmul double", number(1.0)) if a.type == FLOAT else ("mul i64", number(1))
        left, at, times = abs(b.known), one.at, a.at
        while left:
            at = self._new(f"{op} {at}, {times}") if left & 1 else at
            left >>= 1
            times = self._new(f"{op} {times}, {times}") if left else times
        if b.known < 0:
            at = self._new(f"fdiv double {one.at}, {at}")
        return Value(a.type, at)

    def _of_boolop(self, one: ast.BoolOp) -> Value:
        place, after = self._slot(BOOL), self._block("after")
        stops = isinstance(one.op, ast.Or)
        for i, part in enumerate(one.values):
            asked = self._true(self._value(part)).at
            self._say(f"store i1 {asked}, ptr {place}")
            if i == len(one.values) - 1:
                self._say(f"br label %{after.name}")
                break
            more = self._block("more")
            ways = (after.name, more.name) if stops else (more.name, after.name)
            self._say(f"br i1 {asked}, label %{ways[0]}, label %{ways[1]}")
            self._go(more)
        self._go(after)
        return Value(BOOL, self._new(f"load i1, ptr {place}"))

    def _of_compare(self, one: ast.Compare) -> Value:
        left, found = self._value(one.left), ""
        for op, right_ in zip(one.ops, one.comparators, strict=True):
            right = self._value(right_)
            if isinstance(op, ast.In | ast.NotIn):
                now = self._among(left, right, inside=isinstance(op, ast.In))
            else:
                now = self._compared(COMPARED[type(op)], left, right)
            found = self._new(f"and i1 {found}, {now}") if found else now
            left = right
        return Value(BOOL, found)

    def _compared(self, word: str, a: Value, b: Value) -> str:
        if FLOAT in (a.type, b.type):
            a, b = self._as(a, FLOAT), self._as(b, FLOAT)
            return self._new(f"fcmp {'une' if word == 'ne' else 'o' + word} double {a.at}, {b.at}")
        if a.type != b.type:
            a, b = self._as(a, WHOLE), self._as(b, WHOLE)
        sign = "" if word in ("eq", "ne") else "s"
        return self._new(f"icmp {sign}{word} {a.type} {a.at}, {b.at}")

    def _among(self, one: Value, many: Value, *, inside: bool) -> str:
        found = "false"
        for each in many.at:
            found = self._new(f"or i1 {found}, {self._compared('eq', one, each)}")
        return found if inside else self._new(f"xor i1 {found}, true")

    def _of_ifexp(self, one: ast.IfExp) -> Value:
        asked = self._true(self._value(one.test))
        after, ends = self._block("after"), []
        blocks = [self._block("yes"), self._block("no")]
        self._say(f"br i1 {asked.at}, label %{blocks[0].name}, label %{blocks[1].name}")
        for block, part in zip(blocks, (one.body, one.orelse), strict=True):
            self._go(block)
            ends.append((self._value(part), self.here))
        type_ = both(ends[0][0].type, ends[1][0].type)
        places = [self._slot(t) for t in flat(type_)]
        for value, block in ends:
            self.here = block
            names = parts(self._as(value, type_))
            for place, t, name in zip(places, flat(type_), names, strict=True):
                self._say(f"store {t} {name}, ptr {place}")
            self._say(f"br label %{after.name}")
        self._go(after)
        kinds = zip(places, flat(type_), strict=True)
        return whole(type_, [self._new(f"load {t}, ptr {p}") for p, t in kinds])

    def _place(self, one: ast.Subscript) -> tuple[str, str]:
        """Where an item lies that is written, and its type."""
        rows = self._value(one.value)
        at = self._indices(one.slice)
        if not isinstance(rows.type, Array) or len(at) != rows.type.axes:
            raise self._no(f"only single items are written (line {one.lineno} of it)")
        return self._address(rows, at), rows.type.item

    def _indices(self, one: ast.expr) -> list[Value]:
        each = one.elts if isinstance(one, ast.Tuple) else [one]
        found = [self._value(e) for e in each]
        if any(v.type not in (WHOLE, BOOL) for v in found):
            raise self._no(f"an index is no whole number (line {one.lineno} of it)")
        return [self._as(v, WHOLE) for v in found]

    # Calls.

    def _of_call(self, one: ast.Call) -> Value:
        called = self._value(one.func)
        if called.type != PYTHON or one.keywords:
            raise self._no(f"a call in line {one.lineno} of it")
        given = [self._value(a) for a in one.args]
        function = getattr(called.at, "py_func", None)
        if function is not None:
            return self._kernel(function, given)
        if called.at in MATH:
            return self._math(called.at, given)
        built_in = BUILT_IN.get(called.at)
        if built_in is None:
            raise self._no(f"{called.at!r} is not compiled")
        return built_in(self, given)

    def _kernel(self, function: FunctionType, given: list[Value]) -> Value:
        said = [a.annotation for a in read(function).args.args]
        for i, one in enumerate(said):  # a float is asked for
            if isinstance(one, ast.Name) and one.id == "float":
                given[i] = self._as(given[i], FLOAT)
        made = self.unit.function(function, tuple(v.type for v in given))
        kinds = [t for v in given for t in flat(v.type)]
        names = [p for v in given for p in parts(v)]
        listed = ", ".join(f"{t} {n}" for t, n in zip(kinds, names, strict=True))
        call = f"call {returned(made.gives)} {made.name}({listed})"
        if made.gives == NOTHING:
            self._say(call)
            return Value(NOTHING, None)
        at = self._new(call)
        if not isinstance(made.gives, Tuple):
            return Value(made.gives, at)
        kind = returned(made.gives)
        each = [Value(t, self._new(f"extractvalue {kind} {at}, {i}"))
                for i, t in enumerate(made.gives.types)]  # fmt: skip
        return Value(made.gives, each)

    def _math(self, function: Any, given: list[Value]) -> Value:
        name = MATH[function]
        at = [self._as(v, FLOAT).at for v in given]
        self.unit.wanted.add(f"declare double @{name}({', '.join(['double'] * len(at))})")
        return Value(
            FLOAT, self._new(f"call double @{name}({', '.join(f'double {a}' for a in at)})")
        )

    def _abs(self, given: list[Value]) -> Value:
        if given[0].type == FLOAT:
            return self._math(math.fabs, given)
        at = given[0].at
        below = self._new(f"icmp slt i64 {at}, 0")
        return Value(
            WHOLE, self._new(f"select i1 {below}, i64 {self._new(f'sub i64 0, {at}')}, i64 {at}")
        )

    def _most(self, word: str, given: list[Value]) -> Value:
        best = given[0]
        for one in given[1:]:
            type_ = both(best.type, one.type)
            best, one = self._as(best, type_), self._as(one, type_)
            over = self._compared(word, one, best)
            best = Value(type_, self._new(f"select i1 {over}, {type_} {one.at}, {type_} {best.at}"))
        return best

    def _infinite(self, given: list[Value]) -> Value:
        size = self._math(math.fabs, given)
        return Value(BOOL, self._new(f"fcmp oeq double {size.at}, {number(math.inf).at}"))


BUILT_IN: dict[Any, Callable[[Expressions, list[Value]], Value]] = {
    abs: Expressions._abs,
    min: lambda t, given: t._most("lt", given),
    max: lambda t, given: t._most("gt", given),
    int: lambda t, given: t._as(given[0], WHOLE),
    np.int64: lambda t, given: t._as(given[0], WHOLE),
    float: lambda t, given: t._as(given[0], FLOAT),
    bool: lambda t, given: t._true(given[0]),
    len: lambda t, given: Value(WHOLE, given[0].at[1][0]),
    math.isinf: Expressions._infinite,
}
