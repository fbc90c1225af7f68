"""The command `diff`: what changed between two revisions of a plant."""

from __future__ import annotations

import json
import sys
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from byrewright.commands.common import clear_errors, console, load, system_of
from byrewright.commands.design import date_of, progress

if TYPE_CHECKING:
    from byrewright.studies.changes import Change


def run(
    old: Path,
    new: Path,
    *,
    prices_path: Path | None,
    terms_path: Path | None,
    out: Path | None,
    full: bool,
    as_json: bool,
    on: str | None,
    units: str,
) -> None:
    """Compare two plant files: machines, pipes, positions, modes, findings, quantities, price."""
    from byrewright.quote.compared import compared
    from byrewright.studies.changes import as_data

    with clear_errors():
        system, day = system_of(units), date_of(on)
        (a, rules_a), (b, rules_b) = load(old), load(new)
        with progress("comparing") as say:
            found = compared(
                a.plant, b.plant, (rules_a, rules_b), date.fromisoformat(day), full=full, say=say,
                prices_path=prices_path, terms_path=terms_path,
            )  # fmt: skip
            if out is not None:
                from byrewright.documents.changes import changes_pdf
                from byrewright.plant.write import write_bytes

                write_bytes(out, changes_pdf(a.plant, b.plant, found, (old.name, new.name), day,
                                             system))  # fmt: skip
        if as_json:
            sys.stdout.write(json.dumps(as_data(found), indent=1, ensure_ascii=False) + "\n")
            return
        _show(found, out, units)


def _show(found: list[Change], out: Path | None, units: str) -> None:
    from byrewright.documents.us_units import change_in
    from byrewright.studies.changes import TOPICS
    from byrewright.studies.sizing.sizes import counted

    screen, system = console(), system_of(units)
    for topic in TOPICS:
        here = [c for c in found if c.topic == topic]
        if here:
            screen.print(topic.capitalize(), style="bold")
        for one in here:
            screen.print(f"  {one.what:<8} {change_in(one, system)}", highlight=False)
    screen.print(f"{counted(len(found), 'change')}." if found else "Nothing changed.")
    if out is not None:
        screen.print(f"  {out}")
