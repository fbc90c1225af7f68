"""The command `failures`: what each failure does, what stops milking, what a second would buy."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

from byrewright.commands.common import (
    BAD_INPUT,
    clear_errors,
    console,
    load,
    print_counts,
    print_findings,
    print_table,
    system_of,
    within,
)
from byrewright.commands.design import progress
from byrewright.results import Result, worst_first

if TYPE_CHECKING:
    from byrewright.documents.format import System
    from byrewright.plant.plant import Plant

MOST_COST = 1e9
ROWS_ON_SCREEN = 15
COLUMNS = ("rank", "failure", "milking", "worst moment", "last cow later by", "milk lost",
           "hours lost")  # fmt: skip
"""Columns of the ranked table that fit a screen; all are in `--json` and the report."""
SHOWN = ("failures.ones", "failures.to_do", "failures.pairs", "failures.gains", "failures.shelf")
"""Tables printed beside it; `--all` prints every one."""


def run(
    path: Path,
    pairs: bool = False,
    hours: float | None = None,
    as_json: bool = False,
    every: bool = False,
    costs: Path | None = None,
    seed: int = 1,
    units: str = "metric",
    as_measured: bool = False,
) -> Result:
    """Study the failures of a plant file and print what was found; the result is returned."""
    from byrewright.site.condition.as_measured import as_measured as measured
    from byrewright.studies.failures.runs import LONGEST_H, SHORTEST_H
    from byrewright.studies.failures.study import study_failures

    with clear_errors():
        system = system_of(units)
        if hours is not None:
            within("--hours", hours, SHORTEST_H, LONGEST_H, "h")
        file, rules = load(path)
        plant, rules, listed = measured(path, file.plant, rules, wanted=as_measured)
        prices = _costs(costs, file.plant) if costs else None
        with progress("failures") as say:
            try:
                result = listed(study_failures(plant, rules, pairs=pairs, hours=hours, costs=prices,
                                               seed=seed, say=say))  # fmt: skip
            except ValueError as error:
                print(f"{path}: {error}", file=sys.stderr)
                raise SystemExit(BAD_INPUT) from None
        if as_json:
            print(result.to_json(), end="")
        else:
            _show(result, every, system)
        return result


def _costs(path: Path, plant: Plant) -> dict[str, float]:
    """What a second machine costs, by tag or kind: a flat YAML file of numbers.

    Raises:
        FileProblems: it cannot be read, or has a key that is no machine or kind of this plant.
    """
    from byrewright.plant.machine import kinds
    from byrewright.plant.problems import FileProblems, nearest, show
    from byrewright.plant.source import load as load_yaml
    from byrewright.plant.source import read_text

    source = load_yaml(
        read_text(path, FileProblems), str(path), FileProblems, "air_dryer: 1800, a cost a line"
    )
    for key, value in source.data.items():
        if key not in plant.equipment and key not in kinds():
            near = nearest(key, [*plant.equipment, *kinds()])
            source.add("L005", (key,), True, found=show(key), near=near)
        number = isinstance(value, int | float) and not isinstance(value, bool)
        if not number or not 0 < value < MOST_COST:
            source.add("L006", (key,), found=show(value), allowed=f"{MOST_COST:g}")
    source.stop(FileProblems)
    return {key: float(value) for key, value in source.data.items()}


def _show(result: Result, every: bool, units: System) -> None:
    from byrewright.documents.us_units import result_in

    out, read = console(), result_in(result, units)
    print_counts(out, result)
    found = worst_first(result.findings)
    print_findings(out, found if every else [f for f in found if f.verdict != "holds"
                                             or f.key in ALWAYS_SHOWN], units)  # fmt: skip
    for table in read.tables:
        if table.key == "failures.ranked" and not every:
            print_table(out, table, most=ROWS_ON_SCREEN, columns=COLUMNS)
        elif every or table.key in SHOWN:
            print_table(out, table, most=None if every else ROWS_ON_SCREEN)
    for note in read.notes:
        out.print(note, style="dim")
    out.print(f"Seed {result.seed}. All tables: --json, or the report of `byrewright pack`.",
              style="dim")  # fmt: skip


ALWAYS_SHOWN = ("failures.single_stop", "failures.hours_year", "failures.litres_year",
                "failures.pairs", "failures.service")  # fmt: skip
