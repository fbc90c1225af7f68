"""The command `failures`: what each failure does, what stops milking, what a second would buy."""

from __future__ import annotations

import sys
from pathlib import Path

from byrewright.commands.common import (
    BAD_INPUT,
    clear_errors,
    console,
    load,
    print_counts,
    print_findings,
    worst_first,
)
from byrewright.commands.design import progress
from byrewright.results import Result, Table

ROWS_ON_SCREEN = 15
COLUMNS = ("rank", "failure", "milking", "worst moment", "last cow later by", "milk lost",
           "hours lost")  # fmt: skip
"""Columns of the ranked table that fit a screen; all are in `--json` and the report."""


def run(
    path: Path,
    pairs: bool = False,
    hours: float | None = None,
    as_json: bool = False,
    every: bool = False,
    costs: Path | None = None,
    seed: int = 1,
) -> Result:
    """Study the failures of a plant file and print what was found; the result is returned."""
    from byrewright.studies.failures.study import study_failures

    with clear_errors():
        file, rules = load(path)
        prices = _costs(costs) if costs else None
        with progress("failures") as say:
            try:
                result = study_failures(file.plant, rules, pairs=pairs, hours=hours, costs=prices,
                                        seed=seed, say=say)  # fmt: skip
            except ValueError as error:
                print(f"{path}: {error}", file=sys.stderr)
                raise SystemExit(BAD_INPUT) from None
        if as_json:
            print(result.to_json(), end="")
        else:
            _show(result, every)
        return result


def _costs(path: Path) -> dict[str, float]:
    """What a second machine costs, by tag or kind: a flat YAML file of numbers."""
    from ruamel.yaml import YAML
    from ruamel.yaml.error import YAMLError

    try:
        data = YAML(typ="safe").load(path.read_text(encoding="utf-8"))
    except (YAMLError, UnicodeDecodeError):
        data = None
    good = isinstance(data, dict) and all(
        isinstance(v, int | float) and not isinstance(v, bool) and v > 0 for v in data.values()
    )
    if not good:
        print(f"{path}: write one cost a line, such as `air_dryer: 1800`, each a number above 0",
              file=sys.stderr)  # fmt: skip
        raise SystemExit(BAD_INPUT)
    return {str(k): float(v) for k, v in data.items()}


def _show(result: Result, every: bool) -> None:
    out = console()
    print_counts(out, result)
    found = worst_first(result.findings)
    print_findings(out, found if every else [f for f in found if f.verdict != "holds"
                                             or f.key in ALWAYS_SHOWN])  # fmt: skip
    _print(result.table("failures.ranked"), every)
    for key in ("failures.ones", "failures.pairs", "failures.gains"):
        if any(t.key == key for t in result.tables):
            _print(result.table(key), every)
    for note in result.notes:
        out.print(note, style="dim")
    out.print(f"Seed {result.seed}. All tables: --json, or the report of `byrewright pack`.",
              style="dim")  # fmt: skip


ALWAYS_SHOWN = ("failures.single_stop", "failures.hours_year", "failures.litres_year",
                "failures.pairs", "failures.service")  # fmt: skip


def _print(table: Table, every: bool) -> None:
    from rich.table import Table as Grid

    out = console()
    keep = [i for i, c in enumerate(table.columns)
            if table.key != "failures.ranked" or every or c in COLUMNS]  # fmt: skip
    grid = Grid(title=table.title, title_justify="left", box=None, pad_edge=False)
    for i in keep:
        unit = f"\n{table.units[i]}" if table.units[i] else ""
        grid.add_column(table.columns[i] + unit)
    rows = table.rows if every else table.rows[:ROWS_ON_SCREEN]
    for row in rows:
        grid.add_row(*(f"{row[i]:g}" if isinstance(row[i], float) else str(row[i]) for i in keep))
    out.print(grid)
    if not table.rows:
        out.print("  none")
    if len(table.rows) > len(rows):
        out.print(f"  {len(table.rows) - len(rows)} more with --all", style="dim")
