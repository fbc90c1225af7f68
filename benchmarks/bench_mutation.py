"""Do the tests bite? Small faults put into the source, one at a time, each run against its room.

.venv/bin/python benchmarks/bench_mutation.py [--count N] [--seed N] [--room ROOM] [--file NAME]
    [--calls FILE] [--most SECONDS] [--tests NAME ...]

Prints every fault that lived, with its line, and the share killed; the aim is 90 %. The faults are
made in a copy, so the tree itself is never touched. A fault whose tests run out of time counts as
killed, since an endless loop is noticed.

The tests of the rooms run once first, and what each calls is kept in the file `--calls` (a quarter
of an hour for all; take it away when tests or functions have changed). A fault is then tried by the
tests that call its function or read its rule, those that ask most closely first and the quickest
first, and then by the whole of their files, for as long as `--most` allows.
"""

from __future__ import annotations

import argparse
import ast
import copy
import json
import os
import random
import shutil
import subprocess
import sys
import tempfile
import time
from collections import Counter
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
}  # fmt: skip
"""Where the tests of a room stand, those that ask most closely first."""
LAWS = ("plain", "energy", "control", "traffic", "liquids", "loop")
PLAIN = {"engine/kernels": tuple(f"tests/engine/test_kernels_{law}.py" for law in LAWS)}
"""Tests asked first with compiling switched off: a mutant they kill is never compiled."""
COMPILED = (
    "engine/kernels/", "engine/airnet.", "engine/airmarch.", "engine/liquidnet.", "engine/shape.",
    "engine/columns.", "engine/jit.", "physics/airflow.", "physics/pipeflow.", "physics/heat.",
    "physics/wash_heat.", "physics/tank_wall.", "physics/constants.",
)  # fmt: skip
"""What ends in compiled code: a fault elsewhere is tried with kernels compiled beforehand."""
Calls = dict[str, tuple[float, list[str]]]
"""By test: seconds, and what it calls or reads."""

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
    """One change of one file: what stood there, the whole mutated source, and the names by which
    a test tells that it comes there."""

    room: str
    path: Path
    line: int
    what: str
    source: str
    names: tuple[str, ...]

    @property
    def compiled(self) -> bool:
        """Whether it ends in compiled code."""
        return any(part in self.path.as_posix() for part in COMPILED)


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
        room, path, line, f"{sort}: {before}  ->  {ast.unparse(node)}", ast.unparse(changed),
        names_at(path, tree, line),
    )  # fmt: skip


def names_at(path: Path, tree: ast.Module, line: int) -> tuple[str, ...]:
    """The innermost function that holds a line, else the rule that is declared there."""
    inner = None
    for node in ast.walk(tree):
        if not (isinstance(node, ast.FunctionDef | ast.Call | ast.Lambda)
                and node.lineno <= line <= (node.end_lineno or 0)):  # fmt: skip
            continue
        if isinstance(node, ast.FunctionDef):
            first = min([node.lineno, *(d.lineno for d in node.decorator_list)])
            inner = f"{path.relative_to(ROOT)}:{first}"
        elif inner is None and isinstance(node, ast.Call) and node.args:
            key = getattr(node.args[0], "value", None)
            if isinstance(key, str) and "standards" in str(path):
                return (f"rule:{key}",)
    return (inner,) if inner else ()


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


def run(tests: list[str], copy_at: Path, most_s: float, **more: str) -> bool | None:
    """Whether tests pass in the copy; None where they take longer than they may."""
    command = [sys.executable, "-m", "pytest", "-q", "-x", "--no-header", "-p", "no:cacheprovider"]
    environment = {**os.environ, "PYTHONPATH": str(copy_at), "PYTHONDONTWRITEBYTECODE": "1"}
    try:
        done = subprocess.run(
            command + tests, cwd=copy_at, env=environment | more, capture_output=True,
            timeout=most_s, check=False,
        )  # fmt: skip
    except subprocess.TimeoutExpired:
        return None
    return done.returncode == 0


def follow(
    rooms: list[str], only: list[str], copy_at: Path, keep: Path, warm: dict[str, str]
) -> Calls:
    """What each test of the rooms calls, each file in a process of its own: what one test leaves
    behind for those of another file would hide what these call. What is kept is not asked again."""
    calls: Calls = json.loads(keep.read_text(encoding="utf-8")) if keep.exists() else {}
    keep.parent.mkdir(parents=True, exist_ok=True)
    there = {test.partition("::")[0] for test in calls}
    for folder in dict.fromkeys(t for room in rooms for t in TESTS[room]):
        for path in sorted((copy_at / folder).glob("*.py")):
            name = str(path.relative_to(copy_at))
            if name in there or not (name.startswith("byrewright") or "test_" in path.name):
                continue
            if only and not any(part in name for part in only):
                continue
            to = copy_at / "calls.json"
            to.unlink(missing_ok=True)
            run(["-p", "benchmarks.calls", name], copy_at, OUT_OF_TIME_S, CALLS_TO=str(to), **warm)
            if to.exists():
                calls |= json.loads(to.read_text(encoding="utf-8"))
                keep.write_text(json.dumps(calls), encoding="utf-8")
    return {t: x for t, x in calls.items() if not only or any(part in t for part in only)}


def choose(one: Fault, calls: Calls) -> list[str]:
    """Tests that come to a fault, those that ask most closely first, then the quickest. Where no
    test is seen to come there (compiled code, constants), those that come to its file or to one
    that imports it."""
    names = set(one.names)
    mine = [t for t, (_, called) in calls.items() if not names.isdisjoint(called)]
    if not mine:
        module = ".".join(one.path.relative_to(ROOT).with_suffix("").parts)
        head, _, tail = module.rpartition(".")
        words = (module, f"from {head} import {tail}")
        near = {
            str(p.relative_to(ROOT))
            for p in (ROOT / "byrewright").rglob("*.py")
            if p == one.path or any(w in p.read_text(encoding="utf-8") for w in words)
        }
        mine = [t for t, (_, called) in calls.items()
                if any(name.partition(":")[0] in near for name in called)]  # fmt: skip
    rank = {folder: i for i, folder in enumerate(TESTS[one.room])}

    def turn(test: str) -> tuple[int, float]:
        folder = next((f for f in rank if test.startswith(f)), "")
        return rank.get(folder, len(rank)), calls[test][0]

    return sorted(mine, key=turn)


def killed(one: Fault, copy_at: Path, calls: Calls, most_s: float, warm: dict[str, str]) -> bool:
    """Whether the tests that come to a fault fail with it in place."""
    target = copy_at / one.path.relative_to(ROOT)
    sound = target.read_text(encoding="utf-8")
    target.write_text(one.source, encoding="utf-8")
    env = {} if one.compiled else warm
    try:
        for part, tests in PLAIN.items():
            if part in str(target) and not run([*tests], copy_at, OUT_OF_TIME_S,
                                               NUMBA_DISABLE_JIT="1"):  # fmt: skip
                return True
        direct, spent = [], 0.0
        for test in choose(one, calls):
            spent += calls[test][0]
            if spent > most_s:
                break
            direct.append(test)
        if direct and not run(direct, copy_at, OUT_OF_TIME_S, **env):
            return True
        files = list(dict.fromkeys(t.partition("::")[0] for t in direct))
        rest = [t for t in calls if t.partition("::")[0] in files and t not in direct]
        if not rest or sum(calls[t][0] for t in rest) > most_s:
            return False
        return not run(rest, copy_at, OUT_OF_TIME_S, **env)
    finally:
        target.write_text(sound, encoding="utf-8")


def main() -> int:
    """Draw the faults, try each, and print what lived."""
    ask = argparse.ArgumentParser(description=__doc__)
    ask.add_argument("--count", type=int, default=200)
    ask.add_argument("--seed", type=int, default=1)
    ask.add_argument("--room", choices=sorted(TESTS), action="append")
    ask.add_argument("--file", default="", help="only files whose path holds this")
    ask.add_argument("--calls", type=Path, default=ROOT / "out" / "calls.json")
    ask.add_argument("--most", type=float, default=240.0, help="seconds of tests for one fault")
    ask.add_argument("--tests", action="append", default=[], help="only tests whose path holds it")
    asked = ask.parse_args()
    places = every_site(asked.room or list(TESTS), asked.file)
    drawn = random.Random(asked.seed).sample(places, min(asked.count, len(places)))
    print(f"{len(drawn)} faults of {len(places)} places, seed {asked.seed}", flush=True)
    dead: Counter[str] = Counter()
    tried: Counter[str] = Counter()
    with tempfile.TemporaryDirectory() as folder:
        copy_at = Path(folder) / "tree"
        shutil.copytree(
            ROOT, copy_at, ignore=shutil.ignore_patterns(".git", ".venv", "out", ".*_cache")
        )
        warm = {"NUMBA_CACHE_DIR": str(Path(folder) / "compiled")}
        calls = follow(asked.room or list(TESTS), asked.tests, copy_at, asked.calls, warm)
        start = time.perf_counter()
        for room, path, number, sort in drawn:
            source = (copy_at / path.relative_to(ROOT)).read_text(encoding="utf-8")
            one = fault(room, path, ast.parse(source), number, sort)
            part = str(path.relative_to(ROOT / "byrewright").parent)
            tried[part] += 1
            if killed(one, copy_at, calls, asked.most, warm):
                dead[part] += 1
            else:
                where = f"{path.relative_to(ROOT)}:{one.line}"
                print(f"lived, {tried.total()}th: {where}  {one.what}", flush=True)
    for part, count in sorted(tried.items()):
        print(f"{part}: killed {dead[part]} of {count}")
    share = dead.total() / max(1, len(drawn))
    print(f"killed {dead.total()} of {len(drawn)}, {share:.0%} (aim {AIM:.0%}), "
          f"in {time.perf_counter() - start:.0f} s")  # fmt: skip
    return share < AIM


if __name__ == "__main__":
    raise SystemExit(main())
