"""Studies ask for roles: only the kinds themselves and drafting know a kind by class or name."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

from byrewright.plant.machine import Machine, kinds
from byrewright.plant.reads import SAYS, VACUUM
from byrewright.plant.roles import roles_of

PACKAGE = Path(__file__).resolve().parent.parent / "byrewright"
BUILDERS = ("plant/kinds/", "drafting/")
"""Rooms that know kinds: where they are declared, and chosen for a plant."""
ALLOWED = {
    "plant/machine.py": "importing the package of kinds is what registers them",
}
"""Modules that may know kinds otherwise, and why."""


def _known_by_class(tree: ast.AST) -> Iterator[int]:
    """Lines that import a kind."""
    for node in ast.walk(tree):
        names = [a.name for a in node.names] if isinstance(node, ast.Import) else []
        names += [node.module or ""] if isinstance(node, ast.ImportFrom) else []
        if any(name.startswith("byrewright.plant.kinds") for name in names):
            yield node.lineno  # type: ignore[attr-defined]


def _known_by_name(tree: ast.AST) -> Iterator[int]:
    """Lines that compare something's kind, class name or symbol with a kind's, or look one up."""
    words = set(kinds()) | {k.__name__ for k in kinds().values()}
    for node in ast.walk(tree):
        if isinstance(node, ast.Compare):
            asked = {getattr(n, "attr", "") for n in ast.walk(node.left)}
            against = {getattr(n, "value", None) for c in node.comparators for n in ast.walk(c)}
            swapped = {getattr(n, "value", None) for n in ast.walk(node.left)}
            asked |= {getattr(n, "attr", "") for c in node.comparators for n in ast.walk(c)}
            if asked & {"kind", "KIND", "__name__"} and (against | swapped) & words:
                yield node.lineno
        elif isinstance(node, ast.Subscript) and isinstance(node.value, ast.Call):
            called = getattr(node.value.func, "id", "")
            if called == "kinds" and getattr(node.slice, "value", None) in words:
                yield node.lineno


def _known_by_port(tree: ast.AST) -> Iterator[int]:
    """Lines that look a port up by a name, which only some kind has; `*` is every vessel's body."""
    for node in ast.walk(tree):
        if not isinstance(node, ast.Call):
            continue
        called = getattr(node.func, "attr", getattr(node.func, "id", ""))
        last = getattr(node.args[-1], "value", None) if node.args else None
        if called.lower() in ("port", "node") and isinstance(last, str) and last != "*":
            yield node.lineno


def _named(tree: ast.AST) -> Iterator[int]:
    """Lines that hold a kind's name as a word of its own: in a set or table to look one up."""
    words = set(kinds())
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and node.value in words:
            yield node.lineno


def test_the_plan_names_no_kind() -> None:
    """Would fail if a place, a route or a check of the plan were worked out from a kind's name, so
    that a new kind were put or piped otherwise than its own class says."""
    found = [
        f"{path.name}:{line}"
        for path in sorted((PACKAGE / "place").glob("*.py"))
        for line in _named(ast.parse(path.read_text(encoding="utf-8")))
    ]
    assert not found
    assert list(_named(ast.parse("LOW = frozenset({'header', 'other'})"))) == [1]


def test_no_study_knows_a_kind() -> None:
    """Would fail if a study asked for a kind, so that a new one were passed over there."""
    found = []
    for path in sorted(PACKAGE.rglob("*.py")):
        name = path.relative_to(PACKAGE).as_posix()
        if name.startswith(BUILDERS) or name in ALLOWED:
            continue
        tree = ast.parse(path.read_text(encoding="utf-8"))
        found += [
            f"{name}:{line}"
            for line in (*_known_by_class(tree), *_known_by_name(tree), *_known_by_port(tree))
        ]
    assert not found
    assert all((PACKAGE / name).exists() for name in ALLOWED)


@pytest.mark.parametrize(
    "text",
    ["from byrewright.plant.kinds.milk import Valve", "import byrewright.plant.kinds.milk",
     "found = m.kind == 'valve'", "found = 'valve' == m.KIND", "found = m.kind in ('valve', 'x')",
     "found = type(m).__name__ == 'Valve'", "found = kinds()['valve']",
     "found = machine.port('milk_out')", "found = Node(tag, 'inlet')"],
)  # fmt: skip
def test_the_guard_sees_each_way_of_knowing_a_kind(text: str) -> None:
    """Would fail if the guard above let one of these pass."""
    tree = ast.parse(text)
    every = (*_known_by_class(tree), *_known_by_name(tree), *_known_by_port(tree))
    assert every == (1,)


@pytest.mark.parametrize("kind", kinds().values(), ids=list(kinds()))
def test_what_a_kind_does_is_what_it_says(kind: type[Machine]) -> None:
    """Would fail if a kind of the package had no role and so no study's attention."""
    assert roles_of(kind) or kind.CAN


def test_the_roles_that_check_asks_for_are_played_by_some_kind() -> None:
    """Would fail if a word in the table of who reads what had a slip in it."""
    played = {word for kind in kinds().values() for word in kind.CAN}
    assert {w for words in SAYS.values() for w in words} | set(VACUUM) <= played
