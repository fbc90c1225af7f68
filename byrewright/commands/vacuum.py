"""The vacuum command: the plant's air network solved, with predicted readings and advice."""

from __future__ import annotations

import sys
from collections.abc import Sequence
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
)
from byrewright.results import worst_first

if TYPE_CHECKING:
    from rich.console import Console

    from byrewright.documents.format import System
    from byrewright.results import Result

SHOWN = ("events", "balance", "bores", "readings")


def run(
    path: Path,
    as_json: bool = False,
    out: Path | None = None,
    *,
    only: Sequence[str] | None = None,
    everything: bool = False,
    strict: bool = False,
    seed: int = 1,
    units: str = "metric",
    as_measured: bool = False,
) -> None:
    """Solve a plant's vacuum network and show what it means.

    Args:
        path: the plant file; `limits.yaml` and `milkline_table.yaml` beside it are read.
        as_json: print the whole result as JSON and nothing else.
        out: write the result there as JSON, or the capacity balance as SVG by the name's ending.
        only: keys of events to march in time; all when not given.
        everything: show every table, not only the main ones.
        strict: end with exit code 1 when a finding fails.
    """
    with clear_errors():
        from byrewright.plant.write import write_text
        from byrewright.site.condition.as_measured import as_measured as measured
        from byrewright.studies.vacuum import balance_svg, study_vacuum

        system = system_of(units)
        plant_file, rules = load(path)
        plant, rules, listed = measured(path, plant_file.plant, rules, wanted=as_measured)
        said = (lambda text: print(f"  {text}", file=sys.stderr)) if sys.stderr.isatty() else None
        result = study_vacuum(
            plant,
            rules,
            transients=only,
            seed=seed,
            progress=None if as_json else said,
        )
        result = listed(result)
        if out is not None:
            svg = out.suffix.lower() == ".svg"
            write_text(out, balance_svg(result) if svg else result.to_json())
        if as_json:
            print(result.to_json(), end="")
        else:
            _show(console(), result, everything, system)
        if strict and result.worst() == "fails":
            raise SystemExit(NOT_HELD)


def _show(screen: Console, result: Result, everything: bool, units: System) -> None:
    from byrewright.documents.us_units import result_in

    read = result_in(result, units)
    screen.print(f"[bold]Vacuum[/] of {result.plant}, seed {result.seed}")
    tables = {t.key: t for t in read.tables}
    for key in tables if everything else SHOWN:
        if key in tables:
            print_table(screen, tables[key])
    screen.print()
    print_findings(
        screen,
        worst_first(
            f
            for f in result.findings
            if everything or not f.key.startswith("vacuum.test") or f.verdict != "holds"
        ),
        units,
    )
    screen.print()
    print_counts(screen, result)
    for note in read.notes:
        screen.print(note, style="dim")
