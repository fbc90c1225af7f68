"""The shape of the source: who may import whom, how long a module is, how fast help comes."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import networkx
import pytest

from tests.timing import cpu_seconds

ROOT = Path(__file__).resolve().parent.parent
PACKAGE = ROOT / "byrewright"

_BELOW_DOCUMENTS = {
    "standards", "place", "plant", "physics", "engine", "studies", "drafting", "site", "quote",
}  # fmt: skip
MAY_IMPORT: dict[str, set[str]] = {
    "standards": set(),
    "caches": set(),
    "results": {"standards", "errors"},
    "place": {"caches", "standards", "results", "errors"},
    "plant": {"caches", "standards", "place", "results", "errors"},
    "physics": {"standards", "results", "errors"},
    "engine": {"caches", "plant", "physics", "standards", "results", "errors"},
    "studies": {"plant", "place", "engine", "physics", "standards", "results", "errors"},
    "drafting": {"studies", "plant", "physics", "standards", "results", "errors"},
    "quote": {"studies", "plant", "place", "standards", "results", "errors"},
    "traces": set(),
    "site": {"caches", "traces", "plant", "engine", "studies", "standards", "results", "errors"},
    "documents": {*_BELOW_DOCUMENTS, "results", "errors"} - {"drafting"},
    "errors": set(),
    "web": {*_BELOW_DOCUMENTS, "documents", "results", "errors"},
    "commands": {*_BELOW_DOCUMENTS, "documents", "web", "results", "errors"},
    "cli_site": {"commands"},
    "cli": {*_BELOW_DOCUMENTS, "documents", "web", "results", "errors", "commands", "cli_site"},
    "api": {*_BELOW_DOCUMENTS, "documents", "results", "errors"},
    "__main__": {"cli"},
    "__init__": {"api", "errors"},
}
"""Room: the rooms it may import. Everybody may import itself and the bare package (its version)."""

LONGEST_MODULE_LINES = 500  # a module one person can hold in mind; see CONTRIBUTING.md
LONGER_MODULES: dict[str, str] = {}
"""Modules let off the length rule (path from the root: the reason)."""

HELP_LIMIT_S = 0.4  # a command that feels instant
HELP_TRIES = 5  # the best of them, in processor time: a busy machine does not decide
HEAVY_MODULES = {
    "CoolProp",
    "asyncua",
    "ezdxf",
    "fluids",
    "ht",
    "ifcopenshell",
    "matplotlib",
    "networkx",
    "nicegui",
    "numba",
    "numpy",
    "openpyxl",
    "pandas",
    "pint",
    "pydantic",
    "pymodbus",
    "pysat",
    "scipy",
    "simpy",
    "sqlalchemy",
    "typst",
    "xlsxwriter",
}

# Written in pieces so that this file does not hold what it forbids.
FORBIDDEN: dict[str, re.Pattern[str]] = {
    "the name of a package registry's host": re.compile(
        r"py" r"pi\.org|python" r"hosted\.org|registry\.npm" r"js|index" r"-url\s*[=:]", re.I
    ),
    "a path of one machine": re.compile(r"(?<![\w.~-])/(?:work|root|home)" r"/\w|/tmp" r"/\w"),
    "talk of how the work was organised": re.compile(
        r"\b(?:sub)?ag" r"ents?\b|\bissue" r" #?\d|\btick" r"et #?\d|\ba previous se" r"ssion\b"
        r"|\b(?:this|earlier|my) se" r"ssion (?:wrote|built|did|left)\b",
        re.I,
    ),
}  # fmt: skip
ALLOWED_LINES: tuple[tuple[str, str], ...] = (
    # (path from the root, part of the line): why the words are meant there
    ("LICENSE", ""),  # the licence is quoted whole
)
CLEANING_AGENT = re.compile(
    r"\b(?:cleaning|wash(?:ing)?|foaming|chemical|sanitis\w+)[ -]ag" "ents?"
)


def modules() -> list[Path]:
    """Every module of the package."""
    return sorted(PACKAGE.rglob("*.py"))


def room_of(path: Path) -> str:
    """The room of a module: the folder under the package, or the root module's own name."""
    return path.relative_to(PACKAGE).parts[0].removesuffix(".py")


def imported_rooms(path: Path) -> Iterator[tuple[int, str]]:
    """Line and room of every import of the package in a module, also inside functions."""
    package = ("byrewright", *path.relative_to(PACKAGE).parts[:-1])
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"), str(path))):
        if isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            stem = list(package[: len(package) - node.level + 1]) if node.level else []
            stem += [node.module] if node.module else []
            names = [".".join([*stem, alias.name]) for alias in node.names]
        elif isinstance(node, ast.Call) and getattr(
            node.func, "attr", getattr(node.func, "id", "")
        ) in {"import_module", "__import__"}:
            names = [
                str(part.value)
                for part in ast.walk(node)
                if isinstance(part, ast.Constant) and str(part.value).startswith("byrewright.")
            ]
        else:
            continue
        for name in names:
            parts = name.split(".")
            if parts[0] == "byrewright" and len(parts) > 1 and is_module(parts[1]):
                yield node.lineno, parts[1]


def is_module(name: str) -> bool:
    """Whether `name` is a room or root module (and not, say, `__version__`)."""
    return (PACKAGE / name).is_dir() or (PACKAGE / f"{name}.py").is_file()


@pytest.mark.parametrize("path", modules(), ids=lambda p: str(p.relative_to(ROOT)))
def test_imports_follow_the_rooms(path: Path) -> None:
    """Would fail if a room reached up to, or across to, one it must not know."""
    room = room_of(path)
    assert room in MAY_IMPORT, f"{path.relative_to(ROOT)}: a new room; add it to MAY_IMPORT"
    wrong = [
        f"{path.relative_to(ROOT)}:{line}: {room} may not import {other}"
        for line, other in imported_rooms(path)
        if other != room and other not in MAY_IMPORT[room]
    ]
    assert not wrong, "\n".join(wrong)


def _imported_modules(path: Path, known: set[str]) -> Iterator[str]:
    """Modules of the package that a module imports when it runs, also inside functions."""

    def walk(node: ast.AST) -> Iterator[str]:
        for child in ast.iter_child_nodes(node):
            if isinstance(child, ast.If) and "TYPE_CHECKING" in ast.dump(child.test):
                continue  # for the type checker only
            if isinstance(child, ast.ImportFrom) and child.module:
                for alias in child.names:
                    name = f"{child.module}.{alias.name}"
                    yield name if name in known else child.module
            yield from walk(child)

    yield from walk(ast.parse(path.read_text(encoding="utf-8")))


def test_no_circle_of_imports() -> None:
    """Would fail if two modules needed each other, were it by an import hidden in a function."""
    names = {
        ".".join(p.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__"): p
        for p in modules()
    }
    graph: networkx.DiGraph[str] = networkx.DiGraph(
        (name, other)
        for name, path in names.items()
        for other in _imported_modules(path, set(names))
        if other in names and other != name and "." in other
    )
    circles = [sorted(c) for c in networkx.strongly_connected_components(graph) if len(c) > 1]
    assert not circles


def test_the_import_rule_sees_every_way_of_importing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Would fail if a lazy, relative or computed import could slip past the import rule."""
    package = tmp_path / "byrewright"
    for room in ("physics", "plant", "web", "documents", "engine"):
        (package / room).mkdir(parents=True)
    module = package / "physics" / "air.py"
    module.write_text(
        "from byrewright import __version__, plant\n"
        "def lazy():\n"
        "    from ..web import pages\n"
        "    import byrewright.documents.pdf\n"
        "    importlib.import_module('byrewright.engine')\n"
        "    from . import milk\n"
    )
    monkeypatch.setattr(sys.modules[__name__], "PACKAGE", package)
    assert sorted(imported_rooms(module)) == [
        (1, "plant"),
        (3, "web"),
        (4, "documents"),
        (5, "engine"),
        (6, "physics"),
    ]


def test_the_rooms_have_no_circle() -> None:
    """Would fail if the table itself let two rooms import each other."""
    order: list[str] = []
    while len(order) < len(MAY_IMPORT):
        ready = [r for r, below in MAY_IMPORT.items() if r not in order and below <= set(order)]
        assert ready, f"these rooms import each other: {sorted(set(MAY_IMPORT) - set(order))}"
        order += ready


def test_the_picture_shows_the_rooms() -> None:
    """Would fail if a newcomer's picture left out a room, or how one reaches another."""
    page = (ROOT / "docs" / "rooms.md").read_text(encoding="utf-8")
    arrow = re.compile(r"^ *(\w+)\S*(?: .*?)?--> (\w+)", re.M)
    rooms = {room for room in MAY_IMPORT if (PACKAGE / room).is_dir()}
    drawn: networkx.DiGraph[str] = networkx.DiGraph(
        (a, b) for a, b in arrow.findall(page) if {a, b} <= rooms
    )  # what a file hands on is no import
    assert rooms <= set(drawn)
    lacking = {
        (below, room)
        for room in rooms
        for below in MAY_IMPORT[room] & rooms
        if not networkx.has_path(drawn, below, room)
    }
    assert not lacking


def test_no_module_is_too_long() -> None:
    """Would fail if a module grew past what one can read, or an exception is no longer needed."""
    lengths = {
        str(p.relative_to(ROOT)): len(p.read_text(encoding="utf-8").splitlines()) for p in modules()
    }
    long = {name for name, lines in lengths.items() if lines > LONGEST_MODULE_LINES}
    assert long == set(LONGER_MODULES), {name: lengths.get(name, 0) for name in sorted(long)}


def tracked_files() -> list[Path]:
    """The files under version control, or every source file where there is no git."""
    try:
        listed = subprocess.run(
            ["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, check=True, text=True
        ).stdout
    except (OSError, subprocess.CalledProcessError):
        made = {".venv", ".git", "out", "build", "dist"}
        every = (p.relative_to(ROOT) for p in ROOT.rglob("*") if p.is_file())
        return [ROOT / p for p in every if not made & set(p.parts)]
    return [p for name in listed.split("\0") if name and (p := ROOT / name).is_file()]


def forbidden_words(name: str, text: str) -> Iterator[str]:
    """What must not stand in a file, one sentence each."""
    for number, line in enumerate(text.splitlines(), 1):
        if line.startswith("    --hash=") or any(
            name == path and part in line for path, part in ALLOWED_LINES
        ):
            continue
        line = CLEANING_AGENT.sub("", line)
        for what, pattern in FORBIDDEN.items():
            if found := pattern.search(line):
                yield f"{name}:{number}: {what}: {found.group()!r}"


def test_no_file_speaks_of_where_it_was_made() -> None:
    """Would fail if a registry host, a machine's path or talk of the work got into a file."""
    found: list[str] = []
    for path in tracked_files():
        try:
            text = path.read_text(encoding="utf-8")
        except UnicodeDecodeError:
            continue  # pictures and other files that are not text
        found += forbidden_words(str(path.relative_to(ROOT)), text)
    assert not found, "\n".join(found)


@pytest.mark.parametrize(
    ("line", "wrong"),
    [
        ("--index" "-url=https://x", True),
        ("see https://py" "pi.org/simple", True),
        ("read /wo" "rk/main/plant.yaml", True),
        ("an ag" "ent wrote this", True),
        ("the log-in session ends after an hour", False),
        ("the wash agent is dosed", False),
        ("docs/work/plan.md", False),
        ("a reagent", False),
    ],
)  # fmt: skip
def test_forbidden_words_are_told_from_honest_ones(line: str, wrong: bool) -> None:
    """Would fail if the word rule went blind, or forbade a word of the trade."""
    assert bool(list(forbidden_words("a.md", line))) is wrong


def test_help_is_quick() -> None:
    """Would fail if something slow crept into the start of every command."""
    command = [sys.executable, "-m", "byrewright", "--help"]
    best = float("inf")
    for _ in range(HELP_TRIES):
        used, done = cpu_seconds(command)
        assert "Usage" in done.stdout
        best = min(best, used)
        if best < HELP_LIMIT_S:
            return
    pytest.fail(f"byrewright --help took {best:.2f} s at best; it must stay under {HELP_LIMIT_S} s")


def test_the_command_line_imports_nothing_heavy() -> None:
    """Would fail if importing the command line pulled in a library that only some commands need."""
    script = "import sys, byrewright.cli; print(*sorted({m.split('.')[0] for m in sys.modules}))"
    done = subprocess.run(
        [sys.executable, "-c", script], cwd=ROOT, capture_output=True, text=True, check=True
    )
    assert not HEAVY_MODULES & set(done.stdout.split())


def test_the_installed_command_answers() -> None:
    """Would fail if installing did not bring the command `byrewright`, or its version were off."""
    from byrewright import __version__

    command = Path(sys.executable).with_name("byrewright")
    done = subprocess.run([command, "--version"], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == f"byrewright {__version__}"
