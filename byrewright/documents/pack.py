"""The pack folder: everything handed over, each file whole or not there at all."""

from __future__ import annotations

import errno
import hashlib
import os
import re
import shutil
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from byrewright.documents.format import System
from byrewright.documents.plan_set import plan_set
from byrewright.documents.report import report_pdf
from byrewright.documents.schedule import schedule_xlsx
from byrewright.documents.schematic import Issue, schematic_svg, sheets_for
from byrewright.plant.plant import Plant
from byrewright.results import Result
from byrewright.standards.rulebook import Rulebook

Progress = Callable[[str, int, int], bool | None]
"""Called before each step with its name, its number (from 1) and how many there are; an answer of
False stops the work and leaves the folder as it was."""


FILES = ("plant.yaml", "report.pdf", "schedule.xlsx", "result.json")
DRAWING = re.compile(r"drawings/\d+-[\w-]+\.svg|plan/[\w-]+\.(svg|pdf|dxf|csv)")
"""What belongs to a pack."""
OLD, WAS = ".old", ".was"
"""Endings of the folders in which an old pack, or an old pack's files, wait for the new one."""


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
) -> list[Path]:
    """Write plant.yaml, report.pdf, schedule.xlsx, result.json, drawings/*.svg and, where the file
    has a `place`, the plan set in plan/.

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

    Raises:
        PackStopped: `progress` answered False.
        OSError: the folder cannot be written.
    """
    sheets = sheets_for(plant)
    issue = Issue(date=date, revision=revision)
    plan = plan_set(plant, issue)
    steps = len(sheets) + len(plan) + 4
    done = 0

    def step(name: str) -> None:
        nonlocal done
        done += 1
        if progress is not None and progress(name, done, steps) is False:
            raise PackStopped("The pack was stopped; no file was changed.")

    with _beside(folder) as made:
        (made / "drawings").mkdir()
        drawings: list[str] = []
        for number, sheet in enumerate(sheets, 1):
            step(f"drawing: {sheet.title}")
            svg = schematic_svg(plant, sheet.key, issue=issue, units=units)
            drawings.append(svg)
            _put(made / "drawings" / f"{number}-{sheet.key}.svg", svg.encode())
        for part in plan:
            step(part.title)
            (made / "plan").mkdir(exist_ok=True)
            _put(made / "plan" / part.name, part.make())
        step("schedules")
        _put(made / "schedule.xlsx", schedule_xlsx(plant, results))
        step("result")
        _put(made / "result.json", results.to_json().encode())
        _put(made / "plant.yaml", plantfile_text.encode())
        step("report")
        digest = hashlib.sha256(plantfile_text.encode()).hexdigest()
        _put(
            made / "report.pdf",
            report_pdf(
                plant,
                results,
                date=date,
                file_hash=digest,
                drawings=drawings,
                rules=rules,
                units=units,
            ),
        )
        step("files into place")
        return _into_place(made, folder)


@contextmanager
def _beside(folder: Path) -> Iterator[Path]:
    """A folder to build in beside the one that is asked for; gone afterwards, whatever happened.

    What others left there that died over it is cleared first.
    """
    if folder.is_symlink() or folder.exists():
        folder = folder.resolve()
        if not folder.is_dir():
            raise NotADirectoryError(errno.ENOTDIR, "is a file, not a folder", str(folder))
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
        elif left.suffix == WAS:
            _put_back(left, folder)
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
    """The built pack where it was asked for, in one step where the folder holds nothing else.

    Where it does (the brief, a site's log), the pack's files are exchanged one by one and the old
    ones put back if that does not come to its end: at once, or by the next pack if the process was
    killed in between.
    """
    folder = folder.resolve()
    names = sorted(p.relative_to(made) for p in made.rglob("*") if p.is_file())
    if not folder.exists():
        made.rename(folder)
    elif Path.cwd().is_relative_to(folder) or set(_files(folder)) - set(_own(folder)):
        _exchange(made, folder, names)
    else:
        old = made.with_name(made.name + OLD)
        folder.rename(old)
        try:
            made.rename(folder)
        except BaseException:
            old.rename(folder)
            raise
        shutil.rmtree(old, ignore_errors=True)
    return [folder / n for n in names]


def _exchange(made: Path, folder: Path, names: list[Path]) -> None:
    was = made.with_name(made.name + WAS)
    was.mkdir()
    placed = []
    try:
        for name in _own(folder):
            _move(folder / name, was / name)
        for name in names:
            placed.append(folder / name)
            _move(made / name, folder / name)
    except BaseException:
        for one in placed:
            one.unlink(missing_ok=True)
        _put_back(was, folder)
        raise
    finally:
        shutil.rmtree(was, ignore_errors=True)


def _move(one: Path, to: Path) -> None:
    to.parent.mkdir(parents=True, exist_ok=True)
    os.replace(one, to)


def _put_back(was: Path, folder: Path) -> None:
    for name in _files(was):
        _move(was / name, folder / name)


def _files(folder: Path) -> list[Path]:
    return sorted(p.relative_to(folder) for p in folder.rglob("*") if not p.is_dir())


def _own(folder: Path) -> list[Path]:
    """The files of a pack that stand in a folder, those of an earlier plant too."""
    return [n for n in _files(folder) if str(n) in FILES or DRAWING.fullmatch(str(n))]
