"""Do the tests bite? Small faults put into the source, one at a time, each run against its room.

.venv/bin/python benchmarks/bench_mutation.py [--count N] [--seed N] [--room ROOM] [--file NAME]

Prints every fault that lived, with its line, and the share killed; the aim is 90 %. The faults are
made in a copy, so the tree itself is never touched. A fault whose tests run out of time counts as
killed, since an endless loop is noticed.
"""

from __future__ import annotations

import argparse
import ast
import copy
import os
import random
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
AIM = 0.90
OUT_OF_TIME_S = 900.0

TESTS: dict[str, tuple[str, ...]] = {
    "physics": ("byrewright/physics", "tests/physics", "tests/published"),
    "standards": ("tests/standards", "tests/published", "tests/physics", "tests/studies"),
    "engine": ("tests/engine", "tests/published", "tests/studies"),
    "studies": ("tests/studies", "tests/published"),
}
"""Where the tests of a room stand, the quickest first."""
PLAIN = {"engine/kernels": "tests/engine/test_kernels_plain.py"}
"""Tests asked before these with compiling switched off: a mutant they kill is never compiled."""

SWAPS: dict[type[ast.AST], type[ast.AST]] = {
    ast.Add: ast.Sub,
    ast.Sub: ast.Add,
    ast.Mult: ast.Div,
    ast.Div: ast.Mult,
    ast.Lt: ast.GtE,
    ast.LtE: ast.Gt,
    ast.Gt: ast.LtE,
    ast.GtE: ast.Lt,
    ast.Eq: ast.NotEq,
    ast.NotEq: ast.Eq,
    ast.And: ast.Or,
    ast.Or: ast.And,
}
TURNED = {"min": "max", "max": "min"}


@dataclass(frozen=True)
class Fault:
    """One change of one file: what stood there, and the whole mutated source."""

    room: str
    path: Path
    line: int
    what: str
    source: str


def sites(tree: ast.Module) -> Iterator[tuple[int, str]]:
    """Every place of a module where a fault can be put: number of the node, sort of fault."""
    for number, node in enumerate(ast.walk(tree)):
        if isinstance(node, ast.BinOp | ast.BoolOp) and type(node.op) in SWAPS:
            if not (isinstance(node.op, ast.Add) and _words(node)):
                yield number, "operator"
        elif isinstance(node, ast.Compare) and type(node.ops[0]) in SWAPS:
            yield number, "comparison"
        elif isinstance(node, ast.Constant) and type(node.value) is float and node.value:
            yield number, "number"
        elif isinstance(node, ast.Call) and getattr(node.func, "id", "") in TURNED:
            yield number, "turned"


def _words(node: ast.BinOp) -> bool:
    """Whether a sum joins texts or collections."""
    parts = (ast.Constant, ast.JoinedStr, ast.List, ast.Tuple)
    for side in (node.left, node.right):
        if isinstance(side, parts) and not isinstance(getattr(side, "value", ""), int | float):
            return True
    return False


def fault(room: str, path: Path, tree: ast.Module, number: int, sort: str) -> Fault:
    """The module with one fault in it."""
    changed = copy.deepcopy(tree)
    node = next(n for i, n in enumerate(ast.walk(changed)) if i == number)
    before = ast.unparse(node)
    if isinstance(node, ast.BinOp | ast.BoolOp):
        node.op = SWAPS[type(node.op)]()  # type: ignore[assignment]
    elif isinstance(node, ast.Compare):
        node.ops[0] = SWAPS[type(node.ops[0])]()  # type: ignore[call-overload]
    elif isinstance(node, ast.Constant):
        node.value = float(node.value) * 2.0  # type: ignore[arg-type]
    elif isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
        node.func.id = TURNED[node.func.id]
    line = getattr(node, "lineno", 0)
    return Fault(
        room, path, line, f"{sort}: {before}  ->  {ast.unparse(node)}", ast.unparse(changed)
    )


def every_site(rooms: list[str], only: str) -> list[tuple[str, Path, int, str]]:
    """All places in the rooms named, in order of file and line."""
    found = []
    for room in rooms:
        for path in sorted((ROOT / "byrewright" / room).rglob("*.py")):
            if only and only not in str(path):
                continue
            tree = ast.parse(path.read_text(encoding="utf-8"))
            found += [(room, path, number, sort) for number, sort in sites(tree)]
    return found


def killed(one: Fault, copy_at: Path) -> bool:
    """Whether the tests of the room fail with the fault in place."""
    target = copy_at / one.path.relative_to(ROOT)
    sound = target.read_text(encoding="utf-8")
    target.write_text(one.source, encoding="utf-8")
    command = [sys.executable, "-m", "pytest", "-q", "-x", "--no-header", "-p", "no:cacheprovider"]
    environment = {**os.environ, "PYTHONPATH": str(copy_at)}
    room = [t for t in TESTS[one.room] if (copy_at / t).exists()]
    asked = [([t], {"NUMBA_DISABLE_JIT": "1"}) for part, t in PLAIN.items() if part in str(target)]
    try:
        for tests, more in [*asked, (room, {})]:
            done = subprocess.run(
                command + tests, cwd=copy_at, env=environment | more, capture_output=True,
                timeout=OUT_OF_TIME_S, check=False,
            )  # fmt: skip
            if done.returncode != 0:
                return True
        return False
    except subprocess.TimeoutExpired:
        return True
    finally:
        target.write_text(sound, encoding="utf-8")


def main() -> int:
    """Draw the faults, try each, and print what lived."""
    ask = argparse.ArgumentParser(description=__doc__)
    ask.add_argument("--count", type=int, default=200)
    ask.add_argument("--seed", type=int, default=1)
    ask.add_argument("--room", choices=sorted(TESTS), action="append")
    ask.add_argument("--file", default="", help="only files whose path holds this")
    asked = ask.parse_args()
    places = every_site(asked.room or list(TESTS), asked.file)
    drawn = random.Random(asked.seed).sample(places, min(asked.count, len(places)))
    print(f"{len(drawn)} faults of {len(places)} places, seed {asked.seed}")
    start, dead = time.perf_counter(), 0
    with tempfile.TemporaryDirectory() as folder:
        copy_at = Path(folder) / "tree"
        shutil.copytree(
            ROOT, copy_at, ignore=shutil.ignore_patterns(".git", ".venv", "out", ".*_cache")
        )
        for room, path, number, sort in drawn:
            one = fault(room, path, ast.parse(path.read_text(encoding="utf-8")), number, sort)
            if killed(one, copy_at):
                dead += 1
            else:
                print(f"lived: {path.relative_to(ROOT)}:{one.line}  {one.what}", flush=True)
    share = dead / max(1, len(drawn))
    print(f"killed {dead} of {len(drawn)}, {share:.0%} (aim {AIM:.0%}), "
          f"in {time.perf_counter() - start:.0f} s")  # fmt: skip
    return share < AIM


if __name__ == "__main__":
    raise SystemExit(main())
