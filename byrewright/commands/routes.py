"""The command `routes`: where fluids go, what each wrong position does, and the proof."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from byrewright.commands.common import (
    BAD_INPUT,
    NOT_HELD,
    clear_errors,
    console,
    load,
    print_counts,
    print_findings,
    print_table,
    system_of,
)
from byrewright.results import Result, worst_first

if TYPE_CHECKING:
    from byrewright.documents.format import System

SHOWN = 25
"""Rows of a table on the screen; `--all` prints every one."""


def run(
    plant_path: Path,
    *,
    order: int = 2,
    as_json: bool = False,
    strict: bool = False,
    orders: bool = True,
    every: bool = False,
    out_path: Path | None = None,
    units: str = "metric",
    as_measured: bool = False,
) -> None:
    """Print the routes study; `order` is how many may stand wrong at once (1 to 3)."""
    from byrewright.plant.write import write_text
    from byrewright.site.condition.as_measured import as_measured as measured
    from byrewright.studies.routes.study import routes

    with clear_errors():
        if order not in (1, 2, 3):
            console(error=True).print(f"order is {order}; write 1, 2 or 3")
            raise SystemExit(BAD_INPUT)
        system = system_of(units)
        file, rules = load(plant_path)
        plant, rules, listed = measured(plant_path, file.plant, rules, wanted=as_measured)
        screen = console(error=True)
        with screen.status("reading the plant") as status:
            result = listed(routes(plant, rules, order=order, orders=orders, say=status.update))
        if out_path is not None:
            write_text(out_path, result.to_json())
        if as_json:
            print(result.to_json(), end="")
        else:
            _show(result, every, system)
        if strict and result.worst() == "fails":
            raise SystemExit(NOT_HELD)


def _show(result: Result, every: bool, units: System) -> None:
    from byrewright.documents.us_units import result_in

    out, read = console(), result_in(result, units)
    out.print(f"Routes: {result.plant}")
    print_counts(out, result)
    print_findings(out, worst_first(result.findings), units)
    for one in read.tables:
        if every or one.key not in ("double", "orders"):
            print_table(out, one, most=None if every else SHOWN)
    for note in read.notes:
        out.print(note)
