"""The pack folder: everything handed over, whole or not there at all."""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Callable, Sequence
from contextlib import suppress
from pathlib import Path

from byrewright.documents.call_sheet import call_html
from byrewright.documents.format import System
from byrewright.documents.papers import Listed, Standing, index_text, paper_pdf
from byrewright.documents.plan_set import plan_set
from byrewright.documents.readers import READERS, paper_for
from byrewright.documents.report import report_pdf
from byrewright.documents.schedule import schedule_xlsx
from byrewright.documents.schematic import Issue, schematic_svg, sheets_for
from byrewright.plant.folder import beside, into_place, put
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
        FolderRefused: the folder is the one you are in, or cannot keep its other files.
        OSError: the folder cannot be written.
    """
    digest = hashlib.sha256(plantfile_text.encode()).hexdigest()
    issue = Issue(date=date, revision=revision, file=digest[:8], approved=approved)
    standing = Standing(date, revision, digest, approved, _superseded(folder, revision, digest))
    sheets = sheets_for(plant) if engineer else ()
    drawn: dict[str, str] = {}
    plan = plan_set(plant, issue, drawn, units) if engineer else []
    calls = engineer or "milker" in readers
    steps = len(sheets) + len(plan) + len(readers) + 2 + 2 * engineer + calls
    done = 0

    def step(name: str) -> None:
        nonlocal done
        done += 1
        if progress is not None and progress(name, done, steps) is False:
            raise PackStopped("The pack was stopped; no file was changed.")

    with beside(folder) as made:
        step("result")
        put(made / "result.json", results.to_json().encode())
        put(made / "plant.yaml", plantfile_text.encode())
        for key in readers:
            step(READERS[key].title)
            one = paper_for(key, plant, results, issue, units, drawn, rules)
            put(made / _paper_name(key), paper_pdf(one, standing, paper))
        drawings: list[str] = []
        for number, sheet in enumerate(sheets, 1):
            step(f"drawing: {sheet.title}")
            svg = drawn.get(sheet.key) or schematic_svg(plant, sheet.key, issue=issue, units=units)
            drawings.append(svg)
            put(made / "drawings" / f"{number}-{sheet.key}.svg", svg.encode())
        for part in plan:
            step(part.title)
            put(made / "plan" / part.name, part.make())
        if engineer:
            step("schedules")
            put(made / "schedule.xlsx", schedule_xlsx(plant, results, units))
            step("report")
            report = report_pdf(plant, results, date=date, revision=revision, file_hash=digest,
                                drawings=drawings, rules=rules, units=units,
                                approved=approved)  # fmt: skip
            put(made / "report.pdf", report)
        if calls:
            step("call-out page")
            with suppress(ValueError):  # no milking, no call
                guide = guide_of(plant, rules or default_rulebook())
                head = head_of(owner_of(plant))
                put(made / "call.html", call_html(guide, head, made=date, units=units).encode())
        put(made / "issue.json", json.dumps({"revision": revision, "date": date, "plant": digest,
                                              "approved": approved}).encode())  # fmt: skip
        put(made / "index.txt", index_text(plant.site.name, standing, _listed(made)).encode())
        step("files into place")
        return into_place(made, folder, _own)


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
    "call.html": "for a telephone: what to look at and do when something stops at night",
    "plant.yaml": "the plant file that all of this comes from",
    "result.json": "every answer, for programs",
}
"""What lies in a pack beside the short papers, in words; all but the call-out page are his."""


def _listed(made: Path) -> list[Listed]:
    """The files of a built pack: the short papers first."""
    found = [
        Listed(_paper_name(key), one.title.removeprefix("For ").removeprefix("the "), one.lead)
        for key, one in READERS.items()
        if (made / _paper_name(key)).is_file()
    ]
    return found + [
        Listed(name, "people who milk" if name == "call.html" else "engineer", what)
        for name, what in ENGINEERS.items() if (made / name).exists()
    ]  # fmt: skip


def _own(name: Path) -> bool:
    """Whether a file in a folder is one of a pack, of an earlier plant too."""
    return str(name) in FILES or DRAWING.fullmatch(str(name)) is not None
