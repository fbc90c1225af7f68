"""The command `place`: rooms, set-out table, plan sheets."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from datetime import datetime
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
from byrewright.errors import ByrewrightError
from byrewright.results import Table, worst_first

if TYPE_CHECKING:
    from byrewright.documents.format import System
    from byrewright.plant.plant import Plant

ON_SCREEN = 20


def run(path: Path, out: Path | None, *, as_json: bool, everything: bool, pin: bool,
        set_out_table: Path | None, ifc: Path | None, strict: bool,
        units: str = "metric") -> None:  # fmt: skip
    """Lay the centre out, judge the plan, write the plan set; or write places into the file."""
    from byrewright.documents.building_model import need_ifc
    from byrewright.documents.plan_ifc import plan_ifc
    from byrewright.documents.plan_set import SET_OUT, SET_OUT_UNITS
    from byrewright.documents.plan_sheets import set_out
    from byrewright.documents.us_units import table_in
    from byrewright.plant.pinning import pinned, read_set_out, set_out_by
    from byrewright.plant.sited import sited
    from byrewright.plant.write import write_text
    from byrewright.studies.place import study_place

    with clear_errors():
        system = system_of(units)
        if ifc is not None:
            need_ifc()
        file, rules = load(path)
        made = sited(file.plant)
        if made is None:
            raise ByrewrightError(
                f"{path}: does not say where things stand; add `place: {{services: under}}`"
            )
        if set_out_table is not None:
            text, count = set_out_by(file, made, read_set_out(set_out_table))
            write_text(path, text)
            print(f"{path}: {count} machines stand elsewhere by {set_out_table}, and are pinned")
            return
        if pin:
            text, count = pinned(file, made)
            write_text(path, text)
            print(f"{path}: {count} machines pinned where the plan has them")
            return
        rows = set_out(made)
        result = study_place(file.plant, rules)
        if as_json:
            sys.stdout.write(result.to_json())
        else:
            screen = console()
            print_table(screen, table_in(rooms_table(path, made.plan), system))
            table = Table("place.set_out", "Set-out: middle of each footprint", SET_OUT,
                          SET_OUT_UNITS, tuple(rows))  # fmt: skip
            print_table(screen, table_in(table, system), most=None if everything else ON_SCREEN)
            shown = worst_first(result.findings)
            print_findings(screen, [f for f in shown if everything or f.verdict != "holds"], system)
            print_counts(screen, result)
        if out is not None:
            for one in sorted(write_set(file.plant, out, system)):
                console(error=as_json).print(f"  {one}")
        if ifc is not None:
            write_text(
                ifc, plan_ifc(file.plant, made, datetime.now().replace(microsecond=0), rules)
            )
            console(error=as_json).print(f"  {ifc}")
        if strict and result.worst() == "fails":
            raise SystemExit(NOT_HELD)


def write_set(plant: Plant, out: Path, units: System = "metric") -> list[Path]:
    """The plan set into a folder: lists, sheets, one PDF, drawing file; the files."""
    from byrewright.commands.design import progress
    from byrewright.documents.plan_set import plan_set
    from byrewright.plant.write import write_files

    parts = plan_set(plant, units=units)
    with progress("plan set") as say:

        def made() -> Iterator[tuple[Path, bytes]]:
            for number, part in enumerate(parts, 1):
                say(part.title, number, len(parts))
                yield out / part.name, part.make()

        return write_files(made())


def rooms_table(path: Path, plan: object) -> Table:
    """The rooms with their corner, size and level."""
    from byrewright.place.model import Plan

    assert isinstance(plan, Plan)
    rows = tuple(
        (r.name, round(r.x, 2), round(r.y, 2), round(r.w, 2), round(r.d, 2), round(r.height_m, 2),
         r.floor_m, "stated" if r.stated else "worked out")
        for r in plan.rooms.values()
    )  # fmt: skip
    return Table("place.rooms", f"Rooms of {path}",
                 ("room", "west", "south", "east-west", "north-south", "height", "floor", "by"),
                 ("", "m", "m", "m", "m", "m", "m", ""), rows)  # fmt: skip
