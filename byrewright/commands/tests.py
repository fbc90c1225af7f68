"""The command `tests`: sheets to fill in, sheets read back, the verdicts, the certificate."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from byrewright.commands.common import (
    NOT_HELD,
    clear_errors,
    console,
    load,
    print_counts,
    print_findings,
    print_table,
    system_of,
    user_name,
)
from byrewright.errors import ByrewrightError
from byrewright.results import worst_first

if TYPE_CHECKING:
    from rich.console import Console

    from byrewright.documents.format import System
    from byrewright.results import Result
    from byrewright.site.checks.measured import PlantChecks
    from byrewright.site.log import Entry, Log

MOST = 40
NAMES = ("tests.xlsx", "tests.html")


def run(
    path: Path,
    *,
    out: Path | None = None,
    files: Sequence[Path] = (),
    unchanged: bool = False,
    certificate: Path | None = None,
    who: str | None = None,
    on: str | None = None,
    as_json: bool = False,
    every: bool = False,
    strict: bool = False,
    units: str = "metric",
) -> None:
    """Write sheets, read sheets back, print what was measured, write the certificate.

    Args:
        path: the plant file; its log keeps what is read back.
        out: folder to write empty sheets to.
        files: filled-in sheets, JSON or XLSX.
        unchanged: of sheets of an older revision, take what is unchanged.
        certificate: PDF to write; `who` issues it, `on` that day.
    """
    from byrewright.site.checks.measured import bench_of

    with clear_errors():
        system = system_of(units)
        file, rules = load(path)
        with console(error=True).status("working out what is to be tested"):
            bench = bench_of(path, file.plant, rules)
        if out is not None:
            _write(bench, out, system)
            return
        log = bench.log()
        try:
            for one in files:
                print(_take(bench, log, one, unchanged, system))
            entries = log.entries("test", "reading") if log.home.identity() else []
            result, shown = _result(bench, entries, "metric"), _result(bench, entries, system)
            if certificate is not None:
                print(_certify(bench, log, certificate, who or user_name(), on, system))
        finally:
            log.close()
        if as_json:
            print(result.to_json(), end="")
        elif certificate is None:
            _print(console(), shown, every)
        if strict and result.worst() == "fails":
            raise SystemExit(NOT_HELD)


def _write(bench: PlantChecks, folder: Path, units: System) -> None:
    from byrewright.documents.test_sheets import sheet_html, sheet_xlsx
    from byrewright.plant.write import write_files
    from byrewright.site.alarms import new_uid
    from byrewright.site.checks.sheet import empty
    from byrewright.studies.sizing.sizes import counted

    made = date.today().isoformat()
    head = [empty(bench.owner.plant_id, bench.owner.plant, bench.checks, new_uid()) for _ in NAMES]
    book = sheet_xlsx(head[0], bench.checks, made=made, units=units)
    page = sheet_html(head[1], bench.checks, made=made, units=units).encode()
    write_files(zip((folder / n for n in NAMES), (book, page), strict=True))
    for name in NAMES:
        print(f"  {folder / name}")
    hours = sum(c.minutes for c in bench.checks) / 60.0
    print(f"{counted(len(bench.checks), 'check')}, about {hours:.0f} hours of work for one person")


def _take(bench: PlantChecks, log: Log, path: Path, unchanged: bool, units: System) -> str:
    from byrewright.documents.tests_in import asked_by
    from byrewright.site.checks.sheet import read_json, take
    from byrewright.site.checks.workbook import read_workbook
    from byrewright.studies.sizing.sizes import counted

    filled = read_json(path) if path.suffix.casefold() == ".json" else read_workbook(path)
    taken = take(log, filled, bench.checks, bench.owner, unchanged=unchanged,
                 asked=asked_by(filled, bench.checks, units))  # fmt: skip
    told = f"{path}: {counted(len(taken.new), 'reading')} entered"
    told += f", {taken.corrected} of them corrections" if taken.corrected else ""
    told += (
        f", {taken.again} beside what this sheet says of another visit; next time make a new one"
        if taken.again else ""
    )  # fmt: skip
    told += f"; {taken.same} were in the log already" if taken.same else ""
    if taken.older:
        told += "; the sheet is of an older revision, and what was taken is asked as it was then"
    return told + (f"; left out, since they are otherwise now: {', '.join(taken.left)}"
                   if taken.left else "")  # fmt: skip


def _result(bench: PlantChecks, entries: Sequence[Entry], units: System) -> Result:
    from byrewright.documents.tests_in import measured_in

    return measured_in(bench.plant.site.name, bench.checks, entries, units)


def _certify(
    bench: PlantChecks, log: Log, path: Path, who: str, on: str | None, units: System
) -> str:
    from byrewright.documents.certificate import issue

    day = date.today().isoformat() if on is None else on
    try:
        day = date.fromisoformat(day).isoformat()
    except ValueError:
        raise ByrewrightError(f"--date {day}: is not a date; write it as 2026-03-31") from None
    made = issue(bench, log, path, who=who, day=day, units=units)
    return f"{path}: certificate {made.number}, {made.summary}"


def _print(out: Console, result: Result, every: bool) -> None:
    for table in result.tables:
        if table.rows:
            print_table(out, table, most=None if every else MOST)
    out.print()
    open_ones = [f for f in worst_first(result.findings) if f.verdict != "holds"]
    print_findings(out, open_ones)
    from byrewright.site.checks.verdicts import KEPT

    print_counts(out, result, KEPT)
    for note in result.notes:
        out.print(note, style="dim")
