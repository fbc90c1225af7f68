"""The folder that is served: which plant files are in it, reading them, saving without loss."""

from __future__ import annotations

import hashlib
import os
import threading
import time
from collections import OrderedDict
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

from byrewright.errors import ByrewrightError
from byrewright.plant.limits import FILE as LIMITS_FILE
from byrewright.plant.limits import known_beside, rules_beside
from byrewright.plant.plant import Plant
from byrewright.plant.problems import BriefError, FileProblems, PlantError, Problem
from byrewright.plant.read import PlantFile, read_plant_text
from byrewright.plant.source import LARGEST_BYTES, read_text
from byrewright.plant.write import write_text
from byrewright.standards.milkline_table import FILE as TABLE_FILE
from byrewright.standards.rulebook import Rulebook, default_rulebook

DEEPEST = 4
"""Folders below the one served in which plants are looked for."""
MOST_FILES = 400
KEPT_OPEN = 24
EVERY_S = 1.0
"""So often, at most, the whole folder is looked through for all who ask."""
LEVEL = "~"
"""Stands in an address for the step into a folder."""
SUFFIXES = frozenset({".yaml", ".yml"})
BRIEF_FILE = "brief.yaml"


class NotServed(ByrewrightError):
    """There is no such plant in the folder."""


class Conflict(ByrewrightError):
    """Somebody else saved the file since it was read; `theirs` is its text now."""

    def __init__(self, theirs: str) -> None:
        self.theirs = theirs
        super().__init__("the file has been changed since it was read")


def beside(path: Path) -> tuple[Path, ...]:
    """The user's own files beside a plant that its answers rest on."""
    return path.parent / LIMITS_FILE, path.parent / TABLE_FILE


def digest_of(text: str) -> str:
    """What a file's text is known by."""
    return hashlib.sha256(text.encode()).hexdigest()


@dataclass(frozen=True)
class Opened:
    """A plant file as read: either a plant, or what is wrong with it."""

    slug: str
    path: Path
    text: str
    digest: str
    file: PlantFile | None
    rules: Rulebook | None
    problems: tuple[Problem, ...] = field(default=())
    message: str = ""
    others: str = ""
    """What the user's own limits and table beside the plant are known by."""

    @property
    def plant(self) -> Plant:
        """The plant; only where `file` is there."""
        assert self.file is not None
        return self.file.plant

    @property
    def sound(self) -> bool:
        """Whether the file and its limits can be used."""
        return self.file is not None and self.rules is not None

    @property
    def key(self) -> str:
        """What answers are kept under: changes with the plant and with its limits."""
        return f"{self.digest} {self.others}"


class Folder:
    """Plant files under one root. Names from a browser are looked up, never joined to a path."""

    def __init__(self, path: Path) -> None:
        whole = path.resolve()
        self.only = whole if whole.is_file() else None
        self.root = whole.parent if self.only else whole
        self._opened: OrderedDict[tuple[str, str, str], Opened] = OrderedDict()
        self._lock = threading.Lock()
        self._paths: dict[str, Path] = {}
        self._sums: dict[Path, tuple[tuple[int, int], str]] = {}
        self._whole = (-EVERY_S, "")

    def files(self) -> dict[str, Path]:
        """Address to path of every plant file; nothing that lies, or leads, outside the root."""
        if self.only:
            return {self.slug_of(self.only): self.only}
        found: dict[str, Path] = {}
        for path in self._walk():
            if path.suffix in SUFFIXES and self._inside(path) and looks_like_plant(path):
                found[self.slug_of(path)] = path
                if len(found) >= MOST_FILES:
                    break
        return found

    def bereft(self, mark: str) -> dict[str, Path]:
        """Address to path of plant files that are not there, beside which a hidden file with an
        ending lies on: a file that was renamed, a disk that is not mounted."""
        found: dict[str, Path] = {}
        for path in () if self.only else self._walk(hidden=True):
            if path.name.startswith(".") and path.name.endswith(mark):
                stem = path.name[1 : -len(mark)]
                if stem and not any(path.with_name(stem + s).exists() for s in SUFFIXES):
                    plant = path.with_name(f"{stem}.yaml")
                    found[self.slug_of(plant)] = plant
        return found

    def _walk(self, hidden: bool = False) -> Iterator[Path]:
        """Files of the root and a few folders below, by name; links to folders are not followed."""
        for where, folders, names in os.walk(self.root):
            depth = len(Path(where).relative_to(self.root).parts)
            folders[:] = sorted(n for n in folders if not n.startswith(".") and depth < DEEPEST - 1)
            yield from (Path(where) / n for n in sorted(names) if hidden or not n.startswith("."))

    def slug_of(self, path: Path) -> str:
        """The name of a file in an address: `north~plant` for north/plant.yaml."""
        return LEVEL.join(path.relative_to(self.root).with_suffix("").parts)

    def path(self, slug: str) -> Path:
        """The file behind an address.

        Raises:
            NotServed: there is none.
        """
        found = self.files().get(slug)
        if found is None:
            raise NotServed(slug)
        return found

    def open(self, slug: str) -> Opened:
        """Read a plant file; what was read before is not read again.

        Raises:
            NotServed: there is no such plant.
        """
        path = self.path(slug)
        try:
            text = read_text(path, PlantError)
        except PlantError as error:
            return Opened(slug, path, "", "", None, None, error.problems, str(error))
        digest = digest_of(text)
        others = " ".join(self._sum(p) if self._inside(p) else "-" for p in beside(path))
        key = (slug, digest, others)
        with self._lock:
            if key in self._opened:
                self._opened.move_to_end(key)
                return self._opened[key]
        made = self._read(slug, path, text, digest, others)
        with self._lock:
            self._opened[key] = made
            while len(self._opened) > KEPT_OPEN:
                self._opened.popitem(last=False)
        return made

    def _read(self, slug: str, path: Path, text: str, digest: str, others: str) -> Opened:
        name = str(path.relative_to(self.root))
        file: PlantFile | None = None
        rules: Rulebook | None = None
        problems: tuple[Problem, ...] = ()
        message = ""
        try:
            outside = any(p.exists() and not self._inside(p) for p in beside(path))
            own = None if outside else known_beside(path)
            file = read_plant_text(text, name, own)
            file.sound()
            rules = own or (default_rulebook() if outside else rules_beside(path))
        except FileProblems as error:
            problems = error.problems
        except ByrewrightError as error:
            message = str(error)
        return Opened(slug, path, text, digest, file, rules, problems, message, others)

    def state_of(self, slug: str) -> str:
        """What tells whether a plant's files are as they were: its own, limits and table.

        Raises:
            NotServed: there is no such plant.
        """
        path = self._paths.get(slug)
        if path is None:
            path = self._paths[slug] = self.path(slug)
        return " ".join(self._sum(one) for one in (path, *beside(path)))

    def state(self) -> str:
        """What tells whether there are the same plants as there were, all of them as they were."""
        if time.monotonic() - self._whole[0] > EVERY_S:
            every = "\n".join(f"{slug} {self.state_of(slug)}" for slug in self.files())
            self._whole = (time.monotonic(), digest_of(every)[:16])
        return self._whole[1]

    def _sum(self, path: Path) -> str:
        """The digest of a file, read again only when it has been written."""
        try:
            found = path.stat()
            state = (found.st_mtime_ns, found.st_size)
            known = self._sums.get(path)
            if known is None or known[0] != state:
                whole = hashlib.sha256(path.read_bytes()).hexdigest()
                known = self._sums[path] = (state, whole[:16])
            return known[1]
        except OSError:
            return "-"

    def lists(self, slug: str, *endings: str) -> dict[str, Path]:
        """Other files by their path from the root: in the plant's folder, and those above it up to
        the root; hidden ones and links that leave the root are left out."""
        found: dict[str, Path] = {}
        place = self.path(slug).parent
        while True:
            for path in sorted(place.iterdir()):
                named = path.name.casefold().endswith(endings) and not path.name.startswith(".")
                if named and self._inside(path):
                    found[str(path.relative_to(self.root))] = path
            if place in (self.root, place.parent) or not place.is_relative_to(self.root):
                return dict(list(found.items())[:MOST_LISTED])
            place = place.parent

    def brief(self, slug: str) -> Path | None:
        """The brief that lies beside a plant, where there is one."""
        beside = self.path(slug).parent / BRIEF_FILE
        return beside if beside.is_file() and self._inside(beside) else None

    def save(self, slug: str, text: str, loaded_digest: str) -> str:
        """Replace a plant's text, if it is still the one that was loaded; the new digest.

        Raises:
            Conflict: the file is another one now; nothing was written.
            NotServed, OSError: the file is gone, or cannot be written.
        """
        with self._lock:
            path = self.path(slug)
            now = read_text(path, PlantError)
            if digest_of(now) != loaded_digest:
                raise Conflict(now)
            write_text(path, text)
        return digest_of(text)

    def save_brief(self, slug: str, text: str, loaded_digest: str) -> None:
        """Save the brief beside a plant, if it is still the one loaded ("": none was there).

        Raises:
            Conflict: the brief is another one now; nothing was written.
            NotServed, OSError: the plant is gone, or the file cannot be written.
        """
        with self._lock:
            path = self.path(slug).parent / BRIEF_FILE
            there = path.exists() or path.is_symlink()
            if there and not self._inside(path):
                raise NotServed(slug)
            now = read_text(path, BriefError) if there else ""
            if there and digest_of(now) != loaded_digest:
                raise Conflict(now)
            write_text(path, text)

    def _inside(self, path: Path) -> bool:
        """Whether a path, links followed, is an ordinary file under the root."""
        try:
            real = path.resolve(strict=True)
            return real.is_relative_to(self.root) and real.is_file()
        except (OSError, RuntimeError):
            return False


MOST_LISTED = 60
"""Price lists and terms that are offered to choose from."""


def looks_like_plant(path: Path) -> bool:
    """Whether a file begins like a plant file, or cannot be told."""
    try:
        if path.stat().st_size > LARGEST_BYTES:
            return False
        with path.open("rb") as file:
            head = file.read(4096)
    except OSError:
        return False
    return any(line.startswith(b"byrewright:") for line in head.splitlines())
