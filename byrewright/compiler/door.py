"""What Python calls of a kernel: it opens array objects and puts down what the kernel gives."""

from __future__ import annotations

from typing import Any

from byrewright.compiler.values import BOOL, NOTHING, WHOLE, Tuple, Type, returned

DATA, LENGTHS, FLAGS = 16, 32, 64
"""Where an array object of numpy holds its place, its lengths and its flags (its C interface)."""
IN_ORDER = 0x0101
"""Flags of an array in C order whose items lie where machines read them at once."""


class _Opened:
    """Arguments as they come in, and as the kernel takes them."""

    def __init__(self) -> None:
        self.heads, self.lines, self.given = list[str](), list[str](), list[str]()

    def take(self, type_: Type) -> None:
        """One argument."""
        if isinstance(type_, Tuple):
            for one in type_.types:
                self.take(one)
            return
        i = len(self.heads) + 1
        if type_ == BOOL:
            self.heads.append(f"i64 %x{i}")
            self.lines.append(f"%v{i} = trunc i64 %x{i} to i1")
            self.given.append(f"i1 %v{i}")
        elif isinstance(type_, str):
            self.heads.append(f"{type_} %x{i}")
            self.given.append(f"{type_} %x{i}")
        else:
            self._open(i, type_.axes)

    def _open(self, i: int, axes: int) -> None:
        self.heads.append(f"ptr %x{i}")
        for name, offset, kind in (("d", DATA, "ptr"), ("l", LENGTHS, "ptr"), ("f", FLAGS, "i32")):
            self.lines.append(f"%p{name}{i} = getelementptr i8, ptr %x{i}, i64 {offset}")
            self.lines.append(f"%{name}{i} = load {kind}, ptr %p{name}{i}")
        self.lines += [
            f"%m{i} = and i32 %f{i}, {IN_ORDER}",
            f"%o{i} = icmp eq i32 %m{i}, {IN_ORDER}",
            f"br i1 %o{i}, label %good{i}, label %bad{i}",
            f"bad{i}:\n  ret i32 {i}\ngood{i}:",
        ]
        self.given.append(f"ptr %d{i}")
        for axis in range(axes):
            self.lines.append(f"%q{i}.{axis} = getelementptr i64, ptr %l{i}, i64 {axis}")
            self.lines.append(f"%n{i}.{axis} = load i64, ptr %q{i}.{axis}")
            self.given.append(f"i64 %n{i}.{axis}")


def door(symbol: str, types: tuple[Type, ...], name: str, gives: Any) -> str:
    """A function that returns nil, or the place of an array that it refuses: one not in C order."""
    opened = _Opened()
    for one in types:
        opened.take(one)
    lines = opened.lines
    kind, several = returned(gives), isinstance(gives, Tuple)
    call = f"call {kind} {name}({', '.join(opened.given)})"
    each = gives.types if several else () if gives == NOTHING else (gives,)
    lines.append(f"%got = {call}" if each else call)
    for i, type_ in enumerate(each):
        value, put = "%got", type_
        if several:
            value = f"%g{i}"
            lines.append(f"%g{i} = extractvalue {kind} %got, {i}")
        if type_ == BOOL:
            put = WHOLE
            lines.append(f"%w{i} = zext i1 {value} to i64")
            value = f"%w{i}"
        lines.append(f"%r{i} = getelementptr i64, ptr %out, i64 {i}")
        lines.append(f"store {put} {value}, ptr %r{i}")
    body = "\n  ".join([*lines, "ret i32 0"])
    heads = ", ".join([*opened.heads, "ptr %out"])
    return f'define i32 @"{symbol}"({heads}) nounwind {{\n  {body}\n}}'
