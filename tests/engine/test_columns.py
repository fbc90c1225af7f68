"""The table of columns: each column told, each read, and the arrays as wide as it says."""

from __future__ import annotations

import ast
import re
from pathlib import Path

from byrewright.engine import columns
from byrewright.engine import shape as sh
from byrewright.engine.compiled import compile_plant
from byrewright.engine.jit import KERNELS
from tests import plants

ROOT = Path(__file__).resolve().parents[2]
TABLE = ROOT / "byrewright" / "engine" / "columns.py"
UNITS = {
    "-", "row", "s", "h", "steps", "kg", "kg/s", "kg degC", "kJ", "kJ/K", "kJ/(kg K)", "kW", "kW/K",
    "kWh", "degC", "K", "1/K", "L", "L free", "L/s free", "L/min free", "L free/bar", "bar", "kPa",
    "kPa abs", "stalls", "units", "money",
}  # fmt: skip


def declared() -> list[str]:
    """Every name of the table but those of its arrays."""
    found = []
    for node in ast.parse(TABLE.read_text(encoding="utf-8")).body:
        array = isinstance(node, ast.Assign) and "Columns(" in ast.unparse(node.value)
        if isinstance(node, ast.Assign) and not array:
            names = [n for t in node.targets for n in ast.walk(t) if isinstance(n, ast.Name)]
            found += [n.id for n in names if n.id != "_"]
    return found


def test_every_column_has_its_unit_and_a_meaning_of_its_own() -> None:
    """Would fail if a column said nothing, named an unknown unit, or told what another tells."""
    for group in columns.Columns.every:
        assert {unit for unit, _ in group.told} <= UNITS, group.of
        meanings = [m for _, m in group.told if m != "behind the last"]
        repeats = {m for m in meanings if meanings.count(m) > 1}
        assert all(m and m[0] != " " for m in meanings) and len(repeats) <= 1, (group.of, repeats)


def test_every_column_is_used() -> None:
    """Would fail if a column stayed in the table that no code reads or writes any more."""
    text = "\n".join(
        p.read_text(encoding="utf-8")
        for p in (ROOT / "byrewright").rglob("*.py")
        if p not in (TABLE, TABLE.with_name("shape.py"))
    )
    used = set(re.findall(r"\b[A-Z][A-Z0-9_]+\b", text))
    of_rows = re.compile(r"N_[A-Z]+[01]")  # filled and read section by section
    assert [n for n in declared() if n not in used and not of_rows.fullmatch(n)] == []


def test_the_arrays_are_as_wide_as_the_table() -> None:
    """Would fail if an array had columns that the table does not know, or lacked one."""
    compiled = compile_plant(plants.rotary(12, 40))
    T, state = compiled.tables, compiled.start
    assert T.F.shape[1] == T.I.shape[1] == state.items.shape[1] == sh.WIDE
    wide = {"par": sh.SCALARS, "num": sh.NUMBERS, "most": sh.FLOW, "vac": sh.MAP}
    assert {k: getattr(T, k).shape[-1] for k in wide} == {k: len(v) for k, v in wide.items()}
    own = {"g": sh.GENERAL, "n": sh.INTEGERS, "cow": sh.COW, "out": sh.OUT, "session": sh.MILKED,
           "loads": sh.LOADED}  # fmt: skip
    assert {k: getattr(state, k).shape[-1] for k in own} == {k: len(v) for k, v in own.items()}
    assert list(sh.SECTIONS) and 2 * len(sh.SECTIONS) == sh.N_LAYOUT


def test_what_kernels_import_is_in_the_hash_of_compiled_code() -> None:
    """Would fail if old machine code ran on new columns: the compiler's index sees only the file of
    the kernel itself."""
    package = ROOT / "byrewright"
    covered = {
        path
        for room in KERNELS
        for path in ([package / room] if room.endswith(".py") else (package / room).rglob("*.py"))
    }
    missed = set()
    for path in covered:
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if not isinstance(node, ast.ImportFrom) or not node.module:
                continue
            at = ROOT / Path(*node.module.split("."))
            for name in [at.with_suffix(".py"), *(at / f"{a.name}.py" for a in node.names)]:
                if name.is_file() and name.is_relative_to(package / "engine"):
                    missed |= {name} - covered
    assert not missed
