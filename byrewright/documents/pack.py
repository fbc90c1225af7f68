"""The pack folder: everything handed over, each file whole or not there at all."""

from __future__ import annotations

import hashlib
import os
import tempfile
from collections.abc import Callable
from pathlib import Path

from byrewright.documents.format import System
from byrewright.documents.report import report_pdf
from byrewright.documents.schedule import schedule_xlsx
from byrewright.documents.schematic import Issue, schematic_svg, sheets_for
from byrewright.plant.plant import Plant
from byrewright.results import Result
from byrewright.standards.rulebook import Rulebook

Progress = Callable[[str, int, int], bool | None]
"""Called before each step with its name, its number (from 1) and how many there are; an answer of
False stops the work and leaves the folder as it was."""


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
    """Write plant.yaml, report.pdf, schedule.xlsx, result.json and drawings/*.svg.

    All is made in a temporary folder beside `folder`'s files first; then each file is moved into
    place. A reader sees an old or a new file, never half of one.

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
    steps = len(sheets) + 4
    done = 0

    def step(name: str) -> None:
        nonlocal done
        done += 1
        if progress is not None and progress(name, done, steps) is False:
            raise PackStopped("The pack was stopped; no file was changed.")

    folder.mkdir(parents=True, exist_ok=True)
    issue = Issue(date=date, revision=revision)
    with tempfile.TemporaryDirectory(prefix=".pack-", dir=folder) as name:
        made = Path(name)
        (made / "drawings").mkdir()
        drawings: list[str] = []
        for number, sheet in enumerate(sheets, 1):
            step(f"drawing: {sheet.title}")
            svg = schematic_svg(plant, sheet.key, issue=issue, units=units)
            drawings.append(svg)
            _put(made / "drawings" / f"{number}-{sheet.key}.svg", svg.encode())
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


def _put(path: Path, data: bytes) -> None:
    with path.open("wb") as file:
        file.write(data)
        file.flush()
        os.fsync(file.fileno())


def _into_place(made: Path, folder: Path) -> list[Path]:
    (folder / "drawings").mkdir(exist_ok=True)
    names = sorted(p.relative_to(made) for p in made.rglob("*") if p.is_file())
    placed = []
    for name in names:
        os.replace(made / name, folder / name)
        placed.append(folder / name)
    for old in sorted((folder / "drawings").glob("*.svg")):
        if old not in placed and old.name[:2].rstrip("-").isdigit():
            old.unlink()
    return placed
