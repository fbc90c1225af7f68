"""The command `routes`: where fluids go, what each wrong position does, and the proof."""

from __future__ import annotations

from pathlib import Path

from byrewright.commands.common import (
    BAD_INPUT,
    NOT_HELD,
    clear_errors,
    console,
    load,
    print_counts,
    print_findings,
)

SHOWN = 25
"""Rows of a table on the screen; the rest are in --json and in the interlock pack."""


def run(
    plant_path: Path,
    *,
    order: int = 2,
    as_json: bool = False,
    strict: bool = False,
    orders: bool = True,
    every: bool = False,
    out_path: Path | None = None,
) -> None:
    """Print the routes study; `order` is how many may stand wrong at once (1 to 3)."""
    from byrewright.plant.write import write_text
    from byrewright.studies.routes.study import routes

    with clear_errors():
        if order not in (1, 2, 3):
            console(error=True).print(f"order is {order}; write 1, 2 or 3")
            raise SystemExit(BAD_INPUT)
        file, rules = load(plant_path)
        screen = console(error=True)
        with screen.status("reading the plant") as status:
            result = routes(file.plant, rules, order=order, orders=orders, say=status.update)
        if out_path is not None:
            write_text(out_path, result.to_json())
        if as_json:
            print(result.to_json(), end="")
        else:
            _show(result, every)
        if strict and result.worst() == "fails":
            raise SystemExit(NOT_HELD)


def _show(result: object, every: bool) -> None:
    from rich.table import Table

    from byrewright.results import Result

    assert isinstance(result, Result)
    out = console()
    out.print(f"Routes: {result.plant}")
    print_counts(out, result)
    print_findings(out, result.findings)
    for one in result.tables:
        if one.key in ("double", "orders") and not every:
            continue
        out.print()
        table = Table(title=one.title, title_justify="left", box=None, pad_edge=False)
        for column in one.columns:
            table.add_column(column, overflow="fold")
        shown = one.rows if every else one.rows[:SHOWN]
        for row in shown:
            table.add_row(*(f"{c:g}" if isinstance(c, float) else str(c) for c in row))
        out.print(table)
        if len(shown) < len(one.rows):
            out.print(f"... and {len(one.rows) - len(shown)} more: add --all")
    for note in result.notes:
        out.print(note)
