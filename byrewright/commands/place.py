"""The command `place`: rooms, set-out table, plan sheets."""

from __future__ import annotations

import csv
import io
import json
import sys
from pathlib import Path

from byrewright.commands.common import clear_errors, console, load, print_table
from byrewright.errors import ByrewrightError
from byrewright.results import Table

SET_OUT = ("tag", "what", "room", "east", "north", "base level", "faces", "by")
UNITS = ("", "", "", "m", "m", "m", "", "")
ON_SCREEN = 20


def run(path: Path, out: Path | None, *, as_json: bool, everything: bool) -> None:
    """Lay the centre out; print the rooms and the set-out table, write the plan set."""
    from byrewright.documents.plan_sheets import plan_sheets, plan_svg, set_out, sheets_pdf
    from byrewright.plant.sited import sited
    from byrewright.plant.write import write_bytes, write_text

    with clear_errors():
        file, _ = load(path)
        made = sited(file.plant)
        if made is None:
            raise ByrewrightError(
                f"{path}: says nothing of where things stand; add `place: {{services: under}}`"
            )
        rows = set_out(made)
        if as_json:
            rooms = {
                r.name: {"at": [r.x, r.y], "size": [r.w, r.d], "floor_m": r.floor_m}
                for r in made.plan.rooms.values()
            }
            machines = [dict(zip(SET_OUT, row, strict=True)) for row in rows]
            json.dump({"machines": machines, "rooms": rooms}, sys.stdout, indent=1)
            sys.stdout.write("\n")
        else:
            screen = console()
            print_table(screen, rooms_table(path, made.plan))
            table = Table("place.set_out", "Set-out: middle of each footprint", SET_OUT, UNITS,
                          tuple(rows))  # fmt: skip
            print_table(screen, table, most=None if everything else ON_SCREEN)
        if out is None:
            return
        drawings = []
        for sheet in plan_sheets(file.plant):
            svg = plan_svg(file.plant, sheet)
            drawings.append((sheet.title, svg))
            write_text(out / f"{sheet.key}.svg", svg)
        write_bytes(out / "plan.pdf", sheets_pdf(drawings))
        text = io.StringIO()
        writer = csv.writer(text, lineterminator="\n")
        writer.writerow([f"{n} ({u})" if u else n for n, u in zip(SET_OUT, UNITS, strict=True)])
        writer.writerows(rows)
        write_text(out / "set_out.csv", text.getvalue())
        if not as_json:
            for name in sorted(p.name for p in out.iterdir()):
                console().print(f"  {out / name}")


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
