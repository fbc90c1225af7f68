"""Write docs/validation.md from the tests: what is checked against what, and what is not.

Run after a change to tests: `.venv/bin/python tools/validation.py`.
"""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
OUTSIDE, MATHEMATICS = ROOT / "tests" / "published", ROOT / "tests" / "physics"
LEVELS = (
    ("verified", ("nothing here validates",)),
    ("recorded", ("recorded")),
    ("magnitude", ("trade", "practice")),
    ("recalled", ("recalled", "from memory", "second hand")),
    ("verified", ("mathematics", "librar", "reference", "scipy")),
)
"""A level and the words in a test file's docstring that tell it; otherwise `validated`."""
MEANING = {
    "validated": "against a published or measured value that was read",
    "verified": "against mathematics, a property, or a general-purpose library",
    "recalled": "against a value known from memory or second hand: check the text",
    "magnitude": "inside what practice expects; no source",
    "recorded": "against numbers this program or another gave once: tells change, not truth",
}


def level_of(text: str) -> str:
    """The level of a test file by what its docstring says.

    >>> level_of("Known from memory"), level_of("Journal of Dairy Science, abstract read")
    ('recalled', 'validated')
    """
    low = text.casefold()
    return next((level for level, words in LEVELS if any(w in low for w in words)), "validated")


def tests_in(tree: ast.Module) -> Iterator[ast.FunctionDef]:
    """The test functions of a file."""
    for node in ast.walk(tree):
        if isinstance(node, ast.FunctionDef) and node.name.startswith("test_"):
            yield node


def imported(tree: ast.Module) -> set[str]:
    """The modules of the product that a file imports."""
    found: set[str] = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("byrewright"):
            found |= {node.module or "", *(f"{node.module}.{a.name}" for a in node.names)}
    return found


def said(node: ast.Module | ast.FunctionDef) -> str:
    """A docstring's first paragraph on one line, safe in a table."""
    first = (ast.get_docstring(node) or "").split("\n\n")[0]
    return " ".join(first.split()).replace("|", "\\|")


def page() -> str:
    """The whole page."""
    lines = ["# What is checked against what", "",
             "Made from the tests by `tools/validation.py`; do not edit. The published value, ours "
             "and the tolerance with its reason stand in the test itself. A level is told for a "
             "whole file, the weakest that its own words claim.", "",
             "| level | meaning |", "|---|---|",
             *(f"| {level} | {meaning} |" for level, meaning in MEANING.items()), "",
             "## Against the outside", ""]  # fmt: skip
    reached: set[str] = set()
    for path in [*sorted(OUTSIDE.glob("test_*.py")), *sorted(MATHEMATICS.glob("test_*.py"))]:
        tree = ast.parse(path.read_text(encoding="utf-8"))
        reached |= imported(tree)
        outside = path.parent == OUTSIDE
        level = level_of(ast.get_docstring(tree) or "") if outside else "verified"
        if path.parent == MATHEMATICS and f"tests/{path.parent.name}" not in "".join(lines):
            lines += ["## Properties and mathematics (tests/physics)", ""]
        lines += [f"### {path.relative_to(ROOT)}: {level}", "", said(tree), ""]
        lines += [f"- {one.name.removeprefix('test_').replace('_', ' ')}: {said(one)}"
                  for one in tests_in(tree)]  # fmt: skip
        lines.append("")
    lines += ["## Without a check of their own against the outside", "",
              "Modules of studies that no file above imports: their formulas are checked through "
              "the physics they call, their own logic by tests inside the project.",
              ""]  # fmt: skip
    for path in sorted((ROOT / "byrewright" / "studies").rglob("*.py")):
        name = ".".join(path.relative_to(ROOT).with_suffix("").parts)
        if path.stem != "__init__" and name not in reached:
            lines.append(f"- `{name}`")
    return "\n".join(lines).rstrip() + "\n"


if __name__ == "__main__":
    (ROOT / "docs" / "validation.md").write_text(page(), encoding="utf-8")
