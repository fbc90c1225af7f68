"""Do the tests bite? Small faults put into the source, one at a time, each run against its room.

.venv/bin/python benchmarks/bench_mutation.py [--count N] [--seed N] [--room ROOM] [--file NAME ...]
    [--calls FILE] [--most SECONDS] [--copy FOLDER] [--tests NAME ...]

Prints every fault that lived, with its line, and the share killed; the aim is 90 %. The faults are
made in a copy, so the tree itself is never touched. A fault whose tests run out of time counts as
killed, since an endless loop is noticed. Left out are numbers that stand for nothing or for no end,
bounds of what a user may state, and what only lays out a drawing.

The tests of the rooms run once first, and the lines that each runs are kept in the file `--calls`
(a quarter of an hour for all; take it away when tests or code have changed). A fault is then tried
by the tests that run its line or read its rule, those of its room first, file by file, the quickest
first, and then by the whole of their files, for as long as `--most` allows.
"""

from __future__ import annotations

import argparse
import ast
import copy
import json
import os
import random
import re
import shutil
import signal
import sys
import tempfile
import time
import traceback
from collections import Counter
from collections.abc import Generator, Iterable, Iterator
from dataclasses import dataclass
from itertools import accumulate
from pathlib import Path
from typing import Any

import coverage
import numba
import pint
import pydantic
import pytest
import scipy
import yaml

READY = (numba, pint, pydantic, scipy, yaml)
"""Loaded once, for every run of tests to find."""
ROOT = Path(__file__).resolve().parents[1]
AIM = 0.90
OUT_OF_TIME_S = 900.0
SLOWER = 3.0
"""By so many times tests may take longer than they did, before a loop is called endless."""

TESTS: dict[str, tuple[str, ...]] = {
    "physics": ("byrewright/physics", "tests/physics", "tests/published"),
    "standards": ("byrewright/standards", "tests/standards", "tests/published", "tests/physics",
                  "tests/studies", "tests/quote", "tests/place", "tests/site"),
    "engine": ("tests/engine", "tests/published", "tests/studies"),
    "studies": ("tests/studies", "tests/published", "tests/place", "tests/quote",
                "tests/documents", "tests/site"),
}  # fmt: skip
"""Where the tests of a room stand."""
LAWS = ("plain", "energy", "control", "traffic", "liquids", "loop")
AIR = ("tests/published/test_vacuum_network.py", "tests/engine/test_air_slopes.py")
PLAIN = {
    "engine/kernels": tuple(f"tests/engine/test_kernels_{law}.py" for law in LAWS),
    "engine/airnet": AIR, "engine/airmarch": AIR,
    "engine/liquidnet": ("tests/engine/test_liquidnet.py",),
}  # fmt: skip
"""Tests asked first with compiling switched off: a mutant they kill is never compiled."""
COMPILED = (
    "engine/kernels/", "engine/airnet.", "engine/airmarch.", "engine/liquidnet.", "engine/shape.",
    "engine/columns.", "engine/jit.", "physics/airflow.", "physics/pipeflow.", "physics/heat.",
    "physics/wash_heat.", "physics/tank_wall.", "physics/constants.",
)  # fmt: skip
"""What ends in compiled code: a fault elsewhere is tried with kernels compiled beforehand."""


QUICK = 0.5
"""Seconds under which a test is asked with the others of its file: what they share, the first of
them alone is seen to run."""
FAMILIES = ("printed", "told_numbers", "adds_up", "second_reading")
"""Files of tests that are about whatever comes their way, as much as those of the module."""


class Calls:
    """What each test does: seconds, rules that it reads, lines that it runs."""

    def __init__(self, at: Path) -> None:
        self.at = at
        self.tests: dict[str, tuple[float, list[str]]] = {}
        if at.exists():
            self.tests = json.loads(at.read_text(encoding="utf-8"))
        self.lines = coverage.CoverageData(basename=str(at.with_suffix(".lines")))
        self.lines.read()

    def add(self, beside: Path) -> None:
        """What one more run has found."""
        more = Calls(beside)
        self.tests |= more.tests
        self.lines.update(more.lines)
        self.lines.write()
        self.at.write_text(json.dumps(self.tests), encoding="utf-8")

    def seconds(self, tests: Iterable[str]) -> float:
        """What some tests take together."""
        return sum(self.tests[t][0] for t in tests)

    def running(self, file: str, lines: range | None = None) -> set[str]:
        """Tests that run lines of a file."""
        found = self.lines.contexts_by_lineno(file)
        return {t for n, by in found.items() if lines is None or n in lines for t in by if t}


class Follower:
    """Plugin of pytest that writes down what each test does."""

    def __init__(self, at: Path) -> None:
        self.at = at
        self.tests: dict[str, tuple[float, list[str]]] = {}
        self.rules: set[str] = set()
        self.cover = coverage.Coverage(
            data_file=str(at.with_suffix(".lines")), config_file=False, source=["byrewright"]
        )
        self.cover.set_option("run:relative_files", True)
        self.cover.start()

    def pytest_collection_finish(self) -> None:
        """Rules are told apart by what is read in the rulebook."""
        from byrewright.standards.rulebook import Rulebook

        look, rules = Rulebook.__getitem__, self.rules

        def read(book: Rulebook, key: str) -> Any:
            rules.add(key)
            return look(book, key)

        Rulebook.__getitem__ = read  # type: ignore[method-assign]

    @pytest.hookimpl(wrapper=True)
    def pytest_runtest_protocol(self, item: pytest.Item) -> Generator[None, object, object]:
        """Follow one test with its fixtures."""
        self.rules.clear()
        self.cover.switch_context(item.nodeid)
        begun = time.perf_counter()
        try:
            return (yield)
        finally:
            self.tests[item.nodeid] = (time.perf_counter() - begun, sorted(self.rules))

    def pytest_sessionfinish(self) -> None:
        """Write what was found."""
        self.cover.stop()
        self.cover.save()
        self.at.write_text(json.dumps(self.tests), encoding="utf-8")


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
DRAWN = ("studies/day/sheet.py",)
"""What is laid out on a sheet, for the eye alone."""
NOUGHT, NO_END = 1.5e-6, 9e7
"""Twice as much is as good for numbers out of these."""
BOUNDS_FROM = 7
"""Where the bounds begin among what a `Value` of the rulebook is made of."""


@dataclass(frozen=True)
class Fault:
    """One change of one file: what stood there, the whole mutated source, the rule that is declared
    there, and the lines of its statement where it stands in a function."""

    room: str
    path: Path
    line: int
    what: str
    source: str
    rule: str
    lines: range | None

    @property
    def compiled(self) -> bool:
        """Whether it ends in compiled code."""
        return any(part in self.path.as_posix() for part in COMPILED)


def sites(tree: ast.Module) -> Iterator[tuple[int, str]]:
    """Every place of a module where a fault can be put: number of the node, sort of fault. The
    bounds of what a user may state in place of a rule are none: they catch slips of the decimal
    point, of which twice as much is as good. Nor are numbers that stand for nothing or for no end,
    to keep from dividing by nought or for rounding."""
    bounds: set[int] = set()
    begin = {"Value": BOUNDS_FROM} | {
        f.name: len(f.args.args) - 2
        for f in tree.body
        if isinstance(f, ast.FunctionDef) and [a.arg for a in f.args.args][-2:] == ["low", "high"]
    }  # what makes values in short
    for node in ast.walk(tree):
        if isinstance(node, ast.Call) and (first := begin.get(getattr(node.func, "id", ""))):
            bounds |= {id(n) for n in (*node.args[first:], *(k.value for k in node.keywords))}
    for number, node in enumerate(ast.walk(tree)):
        if isinstance(node, ast.BinOp | ast.BoolOp) and type(node.op) in SWAPS:
            if not (isinstance(node.op, ast.Add) and _words(node)):
                yield number, "operator"
        elif isinstance(node, ast.Compare) and type(node.ops[0]) in SWAPS:
            yield number, "comparison"
        elif isinstance(node, ast.Constant) and type(node.value) is float and node.value:
            if id(node) not in bounds and NOUGHT < abs(node.value) < NO_END:
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
        *place(path, tree, line),
    )  # fmt: skip


def place(path: Path, tree: ast.Module, line: int) -> tuple[str, range | None]:
    """The rule that is declared at a line, and the lines of the innermost statement there, of a
    function its whole; none for what stands in none."""
    inner: ast.stmt | None = None
    rule, within = "", False
    for node in ast.walk(tree):
        first = getattr(node, "lineno", line + 1)
        if not first <= line <= (getattr(node, "end_lineno", first) or first):
            continue
        within |= isinstance(node, ast.FunctionDef)
        if isinstance(node, ast.stmt):
            inner = node
        elif isinstance(node, ast.Call) and node.args and "standards" in str(path):
            key = getattr(node.args[0], "value", None)
            rule = rule or (key if isinstance(key, str) else "")
    if not within or inner is None:
        return rule, None
    body = [] if isinstance(inner, ast.FunctionDef) else getattr(inner, "body", [])
    last = body[0].lineno - 1 if body else inner.end_lineno or inner.lineno
    return "", range(inner.lineno, max(last, inner.lineno) + 1)


def every_site(rooms: list[str], only: list[str]) -> list[tuple[str, Path, int, str]]:
    """All places in the rooms named, in order of file and line."""
    found = []
    for room in rooms:
        for path in sorted((ROOT / "byrewright" / room).rglob("*.py")):
            if only and not any(part in str(path) for part in only):
                continue
            if any(part in path.as_posix() for part in DRAWN):
                continue
            tree = ast.parse(path.read_text(encoding="utf-8"))
            found += [(room, path, number, sort) for number, sort in sites(tree)]
    return found


def run(
    tests: list[str], copy_at: Path, most_s: float, more: dict[str, str], to: Path | None = None
) -> bool | None:
    """Whether tests pass in the copy, which they do where there are none; None where they take
    longer than they may. Where a test is not found by its name, which may be made of a figure at
    fault, the whole of its file is asked."""
    code = ended(tests, copy_at, most_s, more, to)
    if code == pytest.ExitCode.USAGE_ERROR:
        code = ended(sorted({t.partition("::")[0] for t in tests}), copy_at, most_s, more, to)
    return (
        None if code is None else code in (pytest.ExitCode.OK, pytest.ExitCode.NO_TESTS_COLLECTED)
    )


def ended(
    tests: list[str], copy_at: Path, most_s: float, more: dict[str, str], to: Path | None
) -> int | None:
    """How a run of tests in the copy ended; None where it took too long. It is a fork of this
    process, which has loaded what is slow to load and nothing of byrewright."""
    child = os.fork()
    if not child:
        try:
            os.setsid()
            out = os.open(copy_at / "tests.log", os.O_RDWR | os.O_CREAT | os.O_TRUNC)
            for stream in (1, 2):
                os.dup2(out, stream)
            os.chdir(copy_at)
            os.environ.update(more, PYTHONPATH=str(copy_at), PYTHONDONTWRITEBYTECODE="1")
            sys.path[0] = str(copy_at)
            asked = ["-q", "--no-header", "-p", "no:cacheprovider", *([] if to else ["-x"]), *tests]
            os._exit(int(pytest.main(asked, [Follower(to)] if to else [])))
        finally:
            traceback.print_exc()
            os._exit(1)
    until = time.monotonic() + most_s
    while True:
        done, status = os.waitpid(child, os.WNOHANG)
        if done:
            return os.waitstatus_to_exitcode(status)
        if time.monotonic() > until:
            os.killpg(child, signal.SIGKILL)
            os.waitpid(child, 0)
            return None
        time.sleep(0.02)


def follow(
    rooms: list[str], only: list[str], copy_at: Path, keep: Path, warm: dict[str, str]
) -> Calls:
    """What each test of the rooms does, each file in a process of its own: what one test leaves
    behind for those of another file would hide what these run. What is kept is not asked again."""
    keep.parent.mkdir(parents=True, exist_ok=True)
    calls = Calls(keep)
    there = {test.partition("::")[0] for test in calls.tests}
    for folder in dict.fromkeys(t for room in rooms for t in TESTS[room]):
        for path in sorted((copy_at / folder).glob("*.py")):
            name = str(path.relative_to(copy_at))
            if name in there or not (name.startswith("byrewright") or "test_" in path.name):
                continue
            if only and not any(part in name for part in only):
                continue
            to = copy_at / "calls.json"
            for old in (to, to.with_suffix(".lines")):
                old.unlink(missing_ok=True)
            if not run([name], copy_at, OUT_OF_TIME_S, warm, to):
                print(f"{name}: not all pass with no fault", flush=True)
            if to.exists():
                calls.add(to)
    return calls


def choose(one: Fault, calls: Calls, only: list[str]) -> list[str]:
    """Tests that come to a fault, those of its room first, file by file, the quickest first; of
    files as quick to the second those named like its module. Where no test is seen to come there,
    as in compiled code or constants, those that come to its file or to one that imports it; for a
    figure outside of functions also those of its room, where tables are looked through. Then names
    tell more than seconds."""
    mine = {t for t, (_, rules) in calls.tests.items() if one.rule in rules}
    if one.lines:
        mine |= calls.running(str(one.path.relative_to(ROOT)), one.lines)
    if not mine or one.compiled:
        mine |= calls.running(str(one.path.relative_to(ROOT)))
        for p in importers(one.path):
            mine |= calls.running(str(p.relative_to(ROOT)))
        if one.lines is None:
            mine |= {t for t in calls.tests if t.startswith(f"tests/{one.room}/")}
    files = {t.partition("::")[0] for t in mine}
    mine |= {t for t in calls.tests if t.partition("::")[0] in files and calls.seconds([t]) < QUICK}
    mine &= {t for t in calls.tests if not only or any(part in t for part in only)}
    firsts: dict[str, str] = {}  # what a file shares is made in its first test
    for test in calls.tests:
        firsts.setdefault(test.partition("::")[0], test)
    takes = {f: calls.seconds({first, *(t for t in mine if t.startswith(f"{f}::"))})
             for f, first in firsts.items() if f in files}  # fmt: skip

    unseen = one.compiled or not one.lines

    def order(test: str) -> tuple[bool, int, int, float, str, float]:
        file = test.partition("::")[0]
        bands = int(takes[file]), -_meant(file, one.path)
        return (not file.startswith(f"tests/{one.room}/"), *(bands[::-1] if unseen else bands),
                takes[file], file, calls.tests[test][0])  # fmt: skip

    return sorted(mine, key=order)


def _meant(named: str, path: Path) -> int:
    """How far the name of a file of tests says that it is about a module."""
    about = {word.rstrip("s") for word in re.findall("[a-z]+", f"{path.parent.name} {path.stem}")}
    words = {word.rstrip("s") for word in re.findall("[a-z]+", Path(named).stem)}
    family = any(part in named for part in FAMILIES)
    return max(len(about & words), int(family))


def importers(path: Path) -> set[Path]:
    """Files that import a file; where they are compiled, whose lines are not seen to run, also
    those that import them."""
    found, ask = {path}, [path]
    while ask:
        head, _, tail = ".".join(ask.pop().relative_to(ROOT).with_suffix("").parts).rpartition(".")
        named = re.compile(rf"from {head}(\.{tail}| import\b[^)]*?\b{tail}\b)")
        for p in (ROOT / "byrewright").rglob("*.py"):
            if p not in found and named.search(p.read_text(encoding="utf-8")):
                found.add(p)
                if any(part in p.as_posix() for part in COMPILED):
                    ask.append(p)
    return found - {path}


def tried(
    one: Fault, copy_at: Path, calls: Calls, only: list[str], most_s: float, warm: dict[str, str]
) -> str:
    """What became of a fault: killed, out of time, or lived, with the seconds of tests that come
    to it and were not asked."""
    target = copy_at / one.path.relative_to(ROOT)
    sound = target.read_text(encoding="utf-8")
    target.write_text(one.source, encoding="utf-8")
    env = {} if one.compiled else warm
    try:
        for part, tests in PLAIN.items():
            if part in str(target) and not run([*tests], copy_at, OUT_OF_TIME_S,
                                               {"NUMBA_DISABLE_JIT": "1"}):  # fmt: skip
                return "killed"
        mine = choose(one, calls, only)
        direct = _within(mine, calls, most_s)
        rest: list[str] = []
        if len(direct) == len(mine):  # what tests of a file share is reached by the first alone
            files = {t.partition("::")[0] for t in direct}
            others = [t for t in calls.tests if t.partition("::")[0] in files and t not in direct]
            rest = _within(others, calls, most_s)
        for some in (*_by_files(direct), rest):
            passed = not some or run(some, copy_at, 60.0 + SLOWER * most_s, env)
            if not passed:
                return "out of time" if passed is None else "killed"
        asked_s = calls.seconds(direct)
        left_s = calls.seconds(mine) - asked_s
        return f"lived, {asked_s:.0f} s asked" + (f", {left_s:.0f} s not" if left_s > 1 else "")
    finally:
        target.write_text(sound, encoding="utf-8")


def _by_files(tests: list[str]) -> list[list[str]]:
    """Tests in turns: those of the first few files need not wait until all others are loaded."""
    files = list(dict.fromkeys(t.partition("::")[0] for t in tests))
    turns = [files[:2], files[2:8], files[8:]]
    return [[t for t in tests if t.partition("::")[0] in turn] for turn in turns]


def _within(tests: list[str], calls: Calls, most_s: float) -> list[str]:
    """The first tests that together take no longer than they may."""
    sums = accumulate(calls.tests[t][0] for t in tests)
    return [t for t, spent_s in zip(tests, sums, strict=True) if spent_s <= most_s]


def main() -> int:
    """Draw the faults, try each, and print what lived."""
    ask = argparse.ArgumentParser(description=__doc__)
    ask.add_argument("--count", type=int, default=200)
    ask.add_argument("--seed", type=int, default=1)
    ask.add_argument("--room", choices=sorted(TESTS), action="append")
    ask.add_argument("--file", action="append", help="only files whose path holds this")
    ask.add_argument("--calls", type=Path, default=ROOT / "out" / "calls.json")
    ask.add_argument("--most", type=float, default=240.0, help="seconds of tests for one fault")
    ask.add_argument("--copy", type=Path, help="a folder to keep the copy and compiled code in")
    ask.add_argument("--tests", action="append", default=[], help="only tests whose path holds it")
    asked = ask.parse_args()
    places = every_site(asked.room or list(TESTS), asked.file)
    drawn = random.Random(asked.seed).sample(places, min(asked.count, len(places)))
    print(f"{len(drawn)} faults of {len(places)} places, seed {asked.seed}", flush=True)
    dead: Counter[str] = Counter()
    count: Counter[str] = Counter()
    with tempfile.TemporaryDirectory() as folder:
        beside = asked.copy or Path(folder)
        copy_at = beside / "tree"
        shutil.rmtree(copy_at, ignore_errors=True)
        shutil.copytree(
            ROOT, copy_at, ignore=shutil.ignore_patterns(".git", ".venv", "out", ".*_cache")
        )
        warm = {"NUMBA_CACHE_DIR": str(beside / "compiled")}
        calls = follow(asked.room or list(TESTS), asked.tests, copy_at, asked.calls, warm)
        start = time.perf_counter()
        for room, path, number, sort in drawn:
            source = (copy_at / path.relative_to(ROOT)).read_text(encoding="utf-8")
            one = fault(room, path, ast.parse(source), number, sort)
            part = str(path.relative_to(ROOT / "byrewright").parent)
            count[part] += 1
            became = tried(one, copy_at, calls, asked.tests, asked.most, warm)
            dead[part] += not became.startswith("lived")
            print(f"{count.total()} {became}" + " " * 40, end="\r", file=sys.stderr, flush=True)
            if became != "killed":
                where = f"{path.relative_to(ROOT)}:{one.line}"
                print(f"{count.total()}th: {became}: {where}  {one.what}", flush=True)
    for part, drawn_there in sorted(count.items()):
        print(f"{part}: killed {dead[part]} of {drawn_there}")
    share = dead.total() / max(1, len(drawn))
    print(f"killed {dead.total()} of {len(drawn)}, {share:.0%} (aim {AIM:.0%}), "
          f"in {time.perf_counter() - start:.0f} s")  # fmt: skip
    return share < AIM


if __name__ == "__main__":
    raise SystemExit(main())
