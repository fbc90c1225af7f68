"""From the Python of a kernel to LLVM's assembly, for the types of one call.

The language: numbers, booleans, arrays of them in C order, tuples of these; assignment, `if`, `for`
over a range or the rows of an array, `while`, `return`; arithmetic, comparisons, indices from
either end, `math`, and calls of other kernels, which are translated with it. No array is made. A
variable has one type; a whole number becomes a float where both are put into it. As Python has it,
`//` and `%` round down, `min` and `max` keep the first of equals, `and` and `or` stop early, but
they give true or false. Division by nil gives what floats give; whole numbers then give nil.
"""

from __future__ import annotations

import ast
from collections.abc import Sequence
from dataclasses import dataclass, field
from types import FunctionType
from typing import Any

from byrewright.compiler.expressions import Expressions
from byrewright.compiler.values import (
    FLOAT,
    NOTHING,
    WHOLE,
    Array,
    NotCompiled,
    Tuple,
    Type,
    Value,
    both,
    flat,
    number,
    returned,
    whole,
)
from byrewright.compiler.writer import Block

TAIL = """
!0 = !{!"byrewright"}
!1 = !{!3, !3, i64 0}
!2 = !{!4, !4, i64 0}
!3 = !{!"float", !0}
!4 = !{!"whole", !0}
"""


@dataclass
class Made:
    """A function of the assembly: its name and what it gives."""

    name: str
    gives: Any
    text: str


@dataclass
class Unit:
    """One piece of assembly: a kernel for the types of a call, and all that it calls."""

    checked: bool = False
    made: dict[Any, Made] = field(default_factory=dict)
    tables: dict[int, tuple[str, str, Any]] = field(default_factory=dict)
    wanted: set[str] = field(default_factory=set)

    def function(self, function: FunctionType, types: tuple[Type, ...]) -> Made:
        """A kernel for some types, translated once."""
        key = (function, types)
        if key not in self.made:
            name = f'@"{function.__module__}.{function.__name__}.{len(self.made)}"'
            self.made[key] = Made(name, NOTHING, "")  # holds the name
            self.made[key] = Translation(self, function, types).run(name)
        return self.made[key]

    def table(self, values: Any) -> Value:
        """An array that the kernel finds among its module's names."""
        item = {"d": FLOAT, "l": WHOLE}[values.dtype.char]
        name, _, _ = self.tables.setdefault(
            id(values), (f"@table.{len(self.tables)}", item, values)
        )
        return Value(Array(item, values.ndim), (name, [str(n) for n in values.shape]))

    def text(self) -> str:
        """All of it."""
        lines = []
        for name, item, values in self.tables.values():
            held = ", ".join(f"{item} {number(v).at}" for v in values.ravel().tolist())
            lines.append(f"{name} = internal constant [{values.size} x {item}] [{held}]")
        lines += sorted(self.wanted)
        return "\n".join([*lines, *(m.text for m in self.made.values())])


class Translation(Expressions):
    """One kernel for one set of types, its statements one after another."""

    def __init__(self, unit: Unit, function: FunctionType, types: tuple[Type, ...]) -> None:
        super().__init__(unit, function)
        arguments = [a.arg for a in self.tree.args.args]
        if len(arguments) != len(types):
            raise NotCompiled(f"{function.__name__} takes {len(arguments)} arguments")
        self.given = dict(zip(arguments, types, strict=True))

    def run(self, name: str) -> Made:
        """Translate until no type changes any more."""
        known = None
        while known != (dict(self.types), self.gives):
            known = (dict(self.types), self.gives)
            self._once()
        gives = NOTHING if self.gives is None else self.gives
        whole_ = returned(gives)
        head = ", ".join(
            f"{t} %a{i}" for i, t in enumerate(t for g in self.given.values() for t in flat(g))
        )
        body = "\n".join(
            "\n  ".join([f"{b.name}:", *(self.slots if i == 0 else []), *b.lines])
            for i, b in enumerate(self.blocks)
        )
        text = f"define internal {whole_} {name}({head}) nounwind {{\n{body}\n}}"
        return Made(name, gives, text)

    def _once(self) -> None:
        self.begin()
        left = iter(f"%a{i}" for i in range(10**6))
        for name, type_ in self.given.items():
            self._assign(name, whole(type_, (next(left) for _ in flat(type_))))
        for one in self.tree.body:
            self._statement(one)
        if not self.here.left:
            self._say("ret void" if self.gives in (None, NOTHING) else "unreachable")
        for block in self.blocks:
            if not block.left:
                block.lines.append("unreachable")

    # Statements.

    def _statement(self, one: ast.stmt) -> None:
        if self.here.left:
            return
        getattr(self, f"_do_{type(one).__name__.lower()}", self._unknown)(one)

    def _do_pass(self, one: ast.Pass) -> None:
        pass

    def _do_expr(self, one: ast.Expr) -> None:
        if not isinstance(one.value, ast.Constant):
            self._value(one.value)

    def _do_assign(self, one: ast.Assign) -> None:
        value = self._value(one.value)
        for target in one.targets:
            self._put(target, value)

    def _do_annassign(self, one: ast.AnnAssign) -> None:
        assert one.value is not None
        self._put(one.target, self._value(one.value))

    def _do_augassign(self, one: ast.AugAssign) -> None:
        if isinstance(one.target, ast.Subscript):
            place, item = self._place(one.target)
            old = self._load(place, item)
            self._store(place, item, self._sum(one.op, old, self._value(one.value)))
        else:
            assert isinstance(one.target, ast.Name)
            old = self._look(one.target.id)
            self._assign(one.target.id, self._sum(one.op, old, self._value(one.value)))

    def _put(self, target: ast.expr, value: Value) -> None:
        if isinstance(target, ast.Name):
            if target.id != "_":
                self._assign(target.id, value)
        elif isinstance(target, ast.Subscript):
            self._store(*self._place(target), value)
        elif isinstance(target, ast.Tuple):
            if isinstance(value.type, Array):  # a row taken apart
                each = [self._item(value, [number(i)]) for i in range(len(target.elts))]
            else:
                each = value.at
            for t, v in zip(target.elts, each, strict=True):
                self._put(t, v)
        else:
            self._unknown(target)

    def _do_return(self, one: ast.Return) -> None:
        if one.value is None:
            self._say("ret void")
            return
        value = self._value(one.value)
        if self.gives is None:
            self.gives = value.type
        elif isinstance(self.gives, Tuple):
            pairs = zip(self.gives.types, value.type.types, strict=True)
            self.gives = Tuple(tuple(both(a, b) for a, b in pairs))
        else:
            self.gives = both(self.gives, value.type)
        value = self._as(value, self.gives)
        if not isinstance(self.gives, Tuple):
            self._say(f"ret {self.gives} {value.at}")
            return
        whole_, at = returned(self.gives), "undef"
        for i, part in enumerate(value.at):
            at = self._new(f"insertvalue {whole_} {at}, {part.type} {part.at}, {i}")
        self._say(f"ret {whole_} {at}")

    def _do_if(self, one: ast.If) -> None:
        asked = self._true(self._value(one.test))
        yes, no, after = self._block("yes"), self._block("no"), self._block("after")
        self._say(f"br i1 {asked.at}, label %{yes.name}, label %{no.name}")
        for block, body in ((yes, one.body), (no, one.orelse)):
            self._go(block)
            for each in body:
                self._statement(each)
            self._say(f"br label %{after.name}")
        self._go(after)

    def _do_while(self, one: ast.While) -> None:
        again, body, after = self._block("again"), self._block("body"), self._block("after")
        self._say(f"br label %{again.name}")
        self._go(again)
        asked = self._true(self._value(one.test))
        self._say(f"br i1 {asked.at}, label %{body.name}, label %{after.name}")
        self._loop(body, again, after, one.body)
        self._say(f"br label %{again.name}")
        self._go(after)

    def _loop(self, body: Block, again: Block, after: Block, lines: Sequence[ast.stmt]) -> None:
        self._go(body)
        self.loops.append((again, after))
        for each in lines:
            self._statement(each)
        self.loops.pop()

    def _do_break(self, one: ast.Break) -> None:
        self._say(f"br label %{self.loops[-1][1].name}")

    def _do_continue(self, one: ast.Continue) -> None:
        self._say(f"br label %{self.loops[-1][0].name}")

    def _do_for(self, one: ast.For) -> None:
        assert isinstance(one.target, ast.Name)
        rows: Value | None = None
        call = one.iter
        if isinstance(call, ast.Call) and self._value(call.func).at is range:
            asked = [self._as(self._value(a), WHOLE) for a in call.args]
        else:
            rows = self._value(call)
            if not isinstance(rows.type, Array):
                raise self._no("a loop is over a range or over an array")
            asked = [Value(WHOLE, rows.at[1][0])]
        first, last, step = (number(0), asked[0], number(1)) if len(asked) == 1 else (
            *asked, number(1))[:3]  # fmt: skip
        if step.known in (None, 0):
            raise self._no("the step of a range is not known beforehand")
        at = self._slot(WHOLE)
        self._say(f"store i64 {first.at}, ptr {at}")
        again, body = self._block("again"), self._block("body")
        on, after = self._block("next"), self._block("after")
        self._say(f"br label %{again.name}")
        self._go(again)
        now = self._new(f"load i64, ptr {at}")
        word = "slt" if step.known > 0 else "sgt"
        goes = self._new(f"icmp {word} i64 {now}, {last.at}")
        self._say(f"br i1 {goes}, label %{body.name}, label %{after.name}")
        self._go(body)
        here = Value(WHOLE, now)
        if one.target.id != "_":
            self._assign(
                one.target.id, here if rows is None else self._item(rows, [here], safe=True)
            )
        self.loops.append((on, after))
        for each in one.body:
            self._statement(each)
        self.loops.pop()
        self._say(f"br label %{on.name}")
        self._go(on)
        more = self._new(f"add nsw i64 {now}, {step.at}")
        self._say(f"store i64 {more}, ptr {at}")
        self._say(f"br label %{again.name}")
        self._go(after)
