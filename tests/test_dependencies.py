"""The page of dependencies, and that running byrewright needs only what it says."""

from __future__ import annotations

import ast
import importlib.util
import re
import sys
from importlib.metadata import packages_distributions
from pathlib import Path

import pytest

from tools.licences import PARTS, pinned

ROOT = Path(__file__).resolve().parents[1]
EXTRAS = {"asyncua": "requirements-opcua", "ifcopenshell": "requirements-ifc",
          "psycopg": "requirements-postgresql"}  # fmt: skip


def imported() -> set[str]:
    """Top names that the package imports, its own and Python's left out."""
    found: set[str] = set()
    for path in (ROOT / "byrewright").rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Import):
                found |= {a.name.partition(".")[0] for a in node.names}
            elif isinstance(node, ast.ImportFrom) and node.module and not node.level:
                found.add(node.module.partition(".")[0])
    return found - set(sys.stdlib_module_names) - {"byrewright"}


def plain(name: str) -> str:
    """A package's name as indexes compare it."""
    return re.sub(r"[-_.]+", "-", name).lower()


def test_what_is_imported_is_pinned_for_running() -> None:
    """A user's installation would lack a package that only the checks bring."""
    owners = packages_distributions()
    running = {plain(n) for n in pinned("requirements")}
    for name in sorted(imported() - set(EXTRAS)):
        assert {plain(o) for o in owners.get(name, [name])} & running, name


def test_every_package_is_listed_with_its_licence() -> None:
    """A package would be handed on without anybody having looked at its licence."""
    text = (ROOT / "docs" / "dependencies.md").read_text(encoding="utf-8")
    for part, _ in PARTS:
        for name in pinned(part):
            row = re.search(rf"^\| {re.escape(name)} \| ([^|]+) \|", text, re.M)
            assert row, f"{name}: run tools/licences.py"
            assert row[1].strip()


def test_an_extra_part_is_no_part_of_the_rest() -> None:
    """A user would be made to install what only few need, or could not install it by name."""
    for name, part in EXTRAS.items():
        assert name in set(pinned(part)) and name not in set(pinned("requirements"))
        assert importlib.util.find_spec(name) is not None
        extra = part.removeprefix("requirements-")
        assert f"optional-dependencies.{extra}" in (ROOT / "pyproject.toml").read_text("utf-8")


def test_opc_ua_is_an_extra_that_is_named_when_missing(monkeypatch: pytest.MonkeyPatch) -> None:
    """Somebody without the extra part would get a traceback in the middle of a watch."""
    from byrewright.site import opcua

    monkeypatch.setattr(opcua, "find_spec", lambda _: None)
    with pytest.raises(opcua.OpcuaMissing, match=r"make opcua.*byrewright\[opcua\]"):
        opcua.need_opcua()
