"""The day command: the milking day simulated, printed, compared, and drawn on a sheet."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
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
    within,
)
from byrewright.results import worst_first

if TYPE_CHECKING:
    from rich.console import Console

    from byrewright.documents.format import System
    from byrewright.results import Result

SHOWN = ("day.milkings", "day.groups", "day.loads", "day.uses")
FIRST_TIME = "compiling the day, once for each version, about 10 s"
SHEETS = (".svg", ".pdf", ".png")


def run(
    path: Path,
    month: int | None = None,
    days: int = 1,
    seed: int = 1,
    step: float | None = None,
    out: Path | None = None,
    compare: Path | None = None,
    as_json: bool = False,
    *,
    everything: bool = False,
    strict: bool = False,
    sample_s: float = 60.0,
    hot: bool = False,
    units: str = "metric",
    as_measured: bool = False,
) -> None:
    """Simulate whole days of a plant and show what was found.

    Args:
        path: the plant file; `limits.yaml` beside it is read.
        step: step of the simulation in seconds; the longest that fits when not given.
        out: write the result there: a plot sheet (.svg, .pdf, .png) or JSON by the name's ending.
        compare: a second plant file, simulated the same way and shown beside the first.
        as_json: print the whole result as JSON and nothing else.
        everything: show every table, not only the main ones.
        hot: days as hot as the site's hottest afternoon instead of the mean of the month.
        strict: end with exit code 1 when a finding fails.
    """
    with clear_errors():
        from byrewright.engine.ahead import begin
        from byrewright.errors import ByrewrightError

        system = system_of(units)
        if month is not None and not 1 <= month <= 12:
            raise ByrewrightError(f"--month {month}: give a month of 1 to 12")
        if not 1 <= days <= 3660:
            raise ByrewrightError(f"--days {days}: give 1 to 3660 days")
        if step is not None and not 0.05 <= step <= 1.0:
            raise ByrewrightError(f"--step {step:g}: give 0.05 to 1 s")
        within("--sample", sample_s, 1.0, 3600.0, "s")
        begin()
        files = [path] if compare is None else [path, compare]
        results = []
        for one in files:
            with _progress(as_json) as tell:
                results.append(_simulate(one, month, days, seed, step, sample_s, tell, hot=hot,
                                         as_measured=as_measured and one == path))  # fmt: skip
        result = results[0] if compare is None else _beside(results, files)
        if out is not None:
            _write(out, results[0] if out.suffix.lower() in SHEETS else result)
        if as_json:
            print(result.to_json(), end="")
        else:
            _show(console(), result, everything, system)
        if strict and any(r.worst() == "fails" for r in results):
            raise SystemExit(NOT_HELD)


def _simulate(path: Path, month: int | None, days: int, seed: int, step: float | None,
              sample_s: float, tell: Callable[[str, float], None] | None, *,
              hot: bool, as_measured: bool = False) -> Result:  # fmt: skip
    from byrewright.site.condition.as_measured import as_measured as measured
    from byrewright.studies.day import run_day

    plant_file, rules = load(path)
    plant, rules, listed = measured(path, plant_file.plant, rules, wanted=as_measured)
    return listed(run_day(
        plant, rules, month=month, days=days, seed=seed, step_s=step,
        progress=tell, sample_s=sample_s, hot=hot,
    ))  # fmt: skip


def _beside(results: list[Result], files: list[Path]) -> Result:
    from byrewright.studies.day import compare

    names = [f.parent.name if f.stem == "plant" else f.stem for f in files]
    if names[0] == names[1]:
        names = [str(f) for f in files]
    return compare(results[0], results[1], (names[0], names[1]))


@contextmanager
def _progress(quiet: bool) -> Iterator[Callable[[str, float], None] | None]:
    """A bar on the error stream while it is a terminal."""
    if quiet or not sys.stderr.isatty():
        yield None
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

    columns = (TextColumn("{task.description}"), BarColumn(), TimeRemainingColumn())
    with Progress(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task(FIRST_TIME, total=1.0)

        def tell(word: str, share: float) -> None:
            text = FIRST_TIME if word == "compiling" else word
            bar.update(task, description=text, completed=share)

        yield tell


def _write(out: Path, result: Result) -> None:
    from byrewright.plant.write import write_text

    if out.suffix.lower() in SHEETS:
        from byrewright.studies.day.sheet import write_sheet

        write_sheet(result, out)
    else:
        write_text(out, result.to_json())


def _show(screen: Console, result: Result, everything: bool, units: System) -> None:
    from byrewright.documents.us_units import result_in

    read = result_in(result, units)
    screen.print(f"[bold]Day[/] of {result.plant}, seed {result.seed}")
    compared = any(t.key == "day.compare" for t in result.tables)
    for table in read.tables:
        if everything or compared or table.key in SHOWN:
            print_table(screen, table)
    if result.findings:
        screen.print()
        print_findings(screen, worst_first(result.findings), units)
        screen.print()
        print_counts(screen, result)
    for note in read.notes:
        screen.print(note, style="dim")
