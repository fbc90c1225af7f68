"""The pack folder: everything handed over, whole or not there at all."""

from __future__ import annotations

import ctypes
import errno
import hashlib
import json
import os
import re
import shutil
import sys
import tempfile
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path

from byrewright.documents.call_sheet import call_html
from byrewright.documents.format import System
from byrewright.documents.papers import Listed, Standing, index_text, paper_pdf
from byrewright.documents.plan_set import plan_set
from byrewright.documents.readers import READERS, paper_for
from byrewright.documents.report import report_pdf
from byrewright.documents.schedule import schedule_xlsx
from byrewright.documents.schematic import Issue, schematic_svg, sheets_for
from byrewright.errors import ByrewrightError
from byrewright.plant.plant import Plant
from byrewright.results import Result
from byrewright.site.callout.guide import guide_of
from byrewright.site.callout.record import head_of
from byrewright.site.checks.measured import owner_of
from byrewright.standards.rulebook import Rulebook, default_rulebook

Progress = Callable[[str, int, int], bool | None]
"""Called before each step with its name, its number (from 1) and how many there are; an answer of
False stops the work and leaves the folder as it was."""


FILES = ("plant.yaml", "report.pdf", "schedule.xlsx", "result.json", "index.txt", "issue.json",
         "call.html")  # fmt: skip
DRAWING = re.compile(
    r"drawings/\d+-[\w-]+\.svg|papers/\d+-[\w-]+\.pdf|plan/[\w-]+\.(svg|pdf|dxf|csv)"
)
"""What belongs to a pack."""
OLD = ".old"
"""Ending of the folder in which an old pack waits for the new one."""


class PackRefused(ByrewrightError):
    """The pack cannot be put where it was asked for; the text says where it could."""


class PackStopped(Exception):
    """The work was stopped on request; nothing was changed."""


def write_pack(
    folder: Path,
    plantfile_text: str,
    plant: Plant,
    results: Result,
    *,
    date: str,
    revision: str = "A",
    rules: Rulebook | None = None,
    progress: Progress | None = None,
    units: System = "metric",
    readers: Sequence[str] = (),
    engineer: bool = True,
    approved: str = "",
    paper: str = "a4",
) -> list[Path]:
    """Write plant.yaml, report.pdf, schedule.xlsx, result.json, call.html, drawings/*.svg and,
    where the file has a `place`, the plan set in plan/.

    All is made in a folder beside `folder` first, which then takes its place; the old pack is kept
    until then. Files of others in the folder stay. A pack is whole or not there.

    Args:
        folder: where the pack goes; made when it is not there.
        plantfile_text: the plant file as it was read, comments included.
        plant: the plant of that file.
        results: what the studies found.
        date: ISO date "YYYY-MM-DD" for the documents; the clock is never read.
        revision: letter or number for the title blocks.
        rules: the rulebook the results were made with; the default one when not given.
        progress: see `Progress`.
        units: units of the report's lists and tables; files for programs stay metric.
        readers: who gets a short paper of his own (`byrewright.documents.readers.READERS`).
        engineer: whether the engineer's file is made: report, drawings, plan set and schedules.
        approved: who approved this revision; "" while it is for review.
        paper: "a4" or "letter", for the short papers.

    Raises:
        PackStopped: `progress` answered False.
        PackRefused: the folder is the one you are in, or cannot keep its other files.
        OSError: the folder cannot be written.
    """
    digest = hashlib.sha256(plantfile_text.encode()).hexdigest()
    issue = Issue(date=date, revision=revision, file=digest[:8])
    standing = Standing(date, revision, digest, approved, _superseded(folder, revision, digest))
    sheets = sheets_for(plant) if engineer else ()
    drawn: dict[str, str] = {}
    plan = plan_set(plant, issue, drawn) if engineer else []
    steps = len(sheets) + len(plan) + len(readers) + (5 if engineer else 2)
    done = 0

    def step(name: str) -> None:
        nonlocal done
        done += 1
        if progress is not None and progress(name, done, steps) is False:
            raise PackStopped("The pack was stopped; no file was changed.")

    with _beside(folder) as made:
        step("result")
        _put(made / "result.json", results.to_json().encode())
        _put(made / "plant.yaml", plantfile_text.encode())
        for key in readers:
            step(READERS[key].title)
            (made / "papers").mkdir(exist_ok=True)
            one = paper_for(key, plant, results, issue, units, drawn)
            _put(made / _paper_name(key), paper_pdf(one, standing, paper))
        drawings: list[str] = []
        for number, sheet in enumerate(sheets, 1):
            step(f"drawing: {sheet.title}")
            (made / "drawings").mkdir(exist_ok=True)
            svg = drawn.get(sheet.key) or schematic_svg(plant, sheet.key, issue=issue, units=units)
            drawings.append(svg)
            _put(made / "drawings" / f"{number}-{sheet.key}.svg", svg.encode())
        for part in plan:
            step(part.title)
            (made / "plan").mkdir(exist_ok=True)
            _put(made / "plan" / part.name, part.make())
        if engineer:
            step("schedules")
            _put(made / "schedule.xlsx", schedule_xlsx(plant, results, units))
            step("report")
            report = report_pdf(plant, results, date=date, revision=revision, file_hash=digest,
                                drawings=drawings, rules=rules, units=units)  # fmt: skip
            _put(made / "report.pdf", report)
            step("call-out page")
            with suppress(ValueError):  # no milking, no call
                guide = guide_of(plant, rules or default_rulebook())
                head = head_of(owner_of(plant))
                _put(made / "call.html", call_html(guide, head, made=date).encode())
        _put(made / "issue.json", json.dumps({"revision": revision, "date": date, "plant": digest,
                                              "approved": approved}).encode())  # fmt: skip
        _put(made / "index.txt", index_text(plant.site.name, standing, _listed(made)).encode())
        step("files into place")
        return _into_place(made, folder)


def _paper_name(key: str) -> str:
    return f"papers/{list(READERS).index(key) + 1}-{key}.pdf"


def _superseded(folder: Path, revision: str, digest: str) -> str:
    """What a new pack takes the place of, in words; "" where nothing other stood there."""
    try:
        old = json.loads((folder / "issue.json").read_text(encoding="utf-8"))
        same = (old["revision"], old["plant"]) == (revision, digest)
        return "" if same else f"supersedes revision {old['revision']} of {old['date']}"
    except (OSError, ValueError, KeyError, TypeError):
        return ""


ENGINEERS = {
    "report.pdf": "everything, in order, the worst first on its cover",
    "schedule.xlsx": "machines, pipes, valves by mode, motors, findings, quantities",
    "drawings": "a drawing of each service",
    "plan": "plan, sections, sketches, lists and the drawing file",
    "call.html": "for a telephone: what to look at and do when something stands at night",
    "plant.yaml": "the plant file that all of this comes from",
    "result.json": "every answer, for programs",
}
"""What lies in a pack beside the short papers, in words."""


def _listed(made: Path) -> list[Listed]:
    """The files of a built pack: the short papers first."""
    found = [
        Listed(_paper_name(key), one.title.removeprefix("For ").removeprefix("the "), one.lead)
        for key, one in READERS.items()
        if (made / _paper_name(key)).is_file()
    ]
    return found + [
        Listed(name, "engineer", what) for name, what in ENGINEERS.items() if (made / name).exists()
    ]


@contextmanager
def _beside(folder: Path) -> Iterator[Path]:
    """A folder to build in beside the one that is asked for; gone afterwards, whatever happened.

    What others left there that died over it is cleared first.
    """
    if folder.is_symlink() or folder.exists():
        folder = folder.resolve()
        if not folder.is_dir():
            raise NotADirectoryError(errno.ENOTDIR, "is a file, not a folder", str(folder))
        if Path.cwd().is_relative_to(folder):
            raise PackRefused(
                f"{folder}: you are in this folder, and a pack takes the whole of it in one step; "
                f"name a folder for the pack, such as {folder / 'pack'}"
            )
    folder.parent.mkdir(parents=True, exist_ok=True)
    _clear_leftovers(folder)
    made = Path(tempfile.mkdtemp(prefix=_prefix(folder) + f"{os.getpid()}-", dir=folder.parent))
    try:
        made.chmod(0o755)
        yield made
    except OSError as why:
        if why.filename is None or str(made) in str(why.filename):
            raise type(why)(why.errno, why.strerror, str(folder)) from None
        raise
    finally:
        shutil.rmtree(made, ignore_errors=True)


def _prefix(folder: Path) -> str:
    return f".{folder.name}.pack-"


def _clear_leftovers(folder: Path) -> None:
    """Put back what a builder that is gone had moved away, and remove what it had half built."""
    for left in sorted(folder.parent.glob(f"{_prefix(folder)}*")):
        number = left.name.removeprefix(_prefix(folder)).partition("-")[0]
        if number.isdigit() and _runs(int(number)):
            continue
        if left.suffix == OLD and not folder.exists():
            left.rename(folder)
        shutil.rmtree(left, ignore_errors=True)


def _runs(number: int) -> bool:
    """Whether a process of this number is there."""
    try:
        os.kill(number, 0)
    except ProcessLookupError:
        return False
    except PermissionError:
        return True
    return True


def _put(path: Path, data: bytes) -> None:
    with path.open("wb") as file:
        file.write(data)
        file.flush()
        os.fsync(file.fileno())


def _into_place(made: Path, folder: Path) -> list[Path]:
    """The built pack where it was asked for, in one step.

    What else the folder holds (a brief, a site's log) comes along as the same files, not as copies:
    a program that has them open goes on with them.
    """
    folder = folder.resolve()
    names = sorted(p.relative_to(made) for p in made.rglob("*") if p.is_file())
    if not folder.exists():
        made.rename(folder)
    else:
        shutil.copymode(folder, made)
        _take_along(folder, made)
        old = _swap(made, folder)
        _take_along(old, folder)  # what somebody wrote there in the meantime
        shutil.rmtree(old, ignore_errors=True)
    return [folder / n for n in names]


def _take_along(old: Path, new: Path) -> None:
    """What is no part of a pack, from one folder into another, where it is not there already."""
    own = set(_own(old))
    for path in sorted(old.rglob("*")):
        name = path.relative_to(old)
        to = new / name
        if name in own or to.is_symlink() or to.exists():
            continue
        if path.is_symlink():
            to.symlink_to(os.readlink(path))
        elif path.is_dir():
            to.mkdir()
            shutil.copystat(path, to)
        else:
            try:
                os.link(path, to)
            except OSError:
                raise PackRefused(
                    f"{old}: holds other files ({name}), which this disk cannot keep beside a new "
                    "pack; name a folder for the pack alone"
                ) from None


def _swap(made: Path, folder: Path) -> Path:
    """Exchange two folders in one step where the system can, else in two; where the old one is."""
    if _exchanged(made, folder):
        return made
    old = made.with_name(made.name + OLD)
    folder.rename(old)
    try:
        made.rename(folder)
    except BaseException:
        old.rename(folder)
        raise
    return old


AT_HERE, EXCHANGE = -100, 2


def _exchanged(one: Path, other: Path) -> bool:
    """Whether Linux exchanged the names of two folders (renameat2(2))."""
    call = getattr(ctypes.CDLL(None), "renameat2", None) if sys.platform == "linux" else None
    if call is None:
        return False
    done: int = call(AT_HERE, os.fsencode(one), AT_HERE, os.fsencode(other), EXCHANGE)
    return done == 0


def _files(folder: Path) -> list[Path]:
    return sorted(p.relative_to(folder) for p in folder.rglob("*") if not p.is_dir())


def _own(folder: Path) -> list[Path]:
    """The files of a pack that stand in a folder, those of an earlier plant too."""
    return [n for n in _files(folder) if str(n) in FILES or DRAWING.fullmatch(str(n))]
