"""The readings command: what instruments wrote, beside what the plant should read."""

from __future__ import annotations

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
from byrewright.errors import ByrewrightError
from byrewright.results import worst_first

if TYPE_CHECKING:
    from byrewright.plant.machine import Machine
    from byrewright.plant.plant import Plant
    from byrewright.site.readings.figure import Figure, Mark
    from byrewright.site.readings.files import ReadFile
    from byrewright.standards.rulebook import Rulebook


def run(
    path: Path,
    files: Sequence[Path],
    *,
    map_path: Path | None = None,
    marks: Sequence[str] = (),
    as_json: bool = False,
    strict: bool = False,
    template: bool = False,
    keep: str | None = None,
    units: str = "metric",
) -> None:
    """Work the files out and print them.

    Args:
        path: the plant file; `readings.yaml` beside it says which column is what.
        marks: "fall_off:120-140", seconds from the start of the file between which air was let in.
        template: print a map to start from, and do nothing else.
        keep: who took the readings; they are entered in the plant's log.
    """
    with clear_errors():
        from byrewright.documents.us_units import result_in
        from byrewright.site.checks.predicted import predicted_of
        from byrewright.site.readings.beside import read_beside
        from byrewright.site.readings.study import worked_out

        system = system_of(units)
        plant_file, rules = load(path)
        plant = plant_file.plant
        if template:
            print(_template(plant), end="")
            return
        if not files:
            raise ByrewrightError("name one file of readings or more; --template prints a map")
        told = [_mark(one) for one in marks]
        read = read_beside(path, files, map_path)
        result, figures = worked_out(plant, rules, read, predicted_of(plant, rules), told)
        kept = _keep(path, plant, read, figures, keep) if keep is not None else ""
        if as_json:
            print(result.to_json(), end="")
        else:
            out = console()
            shown = result_in(result, system)
            for table in shown.tables:
                print_table(out, table)
            open_ones = [f for f in worst_first(result.findings) if f.verdict != "holds"]
            out.print()
            print_findings(out, open_ones, system)
            print_counts(out, result)
            for note in shown.notes:
                out.print(note, style="dim")
            out.print(kept)
        if strict and result.worst() == "fails":
            raise SystemExit(NOT_HELD)


def worked_files(
    path: Path, plant: Plant, rules: Rulebook, files: Sequence[Path]
) -> Sequence[Figure]:
    """The figures of instrument files.

    Raises:
        ByrewrightError: a file or the map cannot be used.
    """
    from byrewright.results import Result
    from byrewright.site.readings.beside import read_beside
    from byrewright.site.readings.study import worked_out

    nothing = Result("predicted", plant.site.name, ())
    return worked_out(plant, rules, read_beside(path, files), nothing)[1]


def _keep(
    path: Path, plant: Plant, files: Sequence[ReadFile], figures: Sequence[Figure], who: str
) -> str:
    """Enter the figures in the plant's log; what to say of it."""
    from byrewright.site.checks.measured import owner_of
    from byrewright.site.log import log_of
    from byrewright.site.readings.keep import keep
    from byrewright.studies.sizing.sizes import counted

    log = log_of(path, owner_of(plant))
    try:
        return f"{counted(keep(log, files, figures, who), 'figure')} entered in {log.name}"
    finally:
        log.close()


def _mark(text: str) -> Mark:
    import re

    from byrewright.site.readings.figure import MARKS, Mark

    found = re.fullmatch(r"(\w+):([0-9.]+)-([0-9.]+)", text)
    if found and found[1] in MARKS:
        try:
            opened, shut = float(found[2]), float(found[3])
        except ValueError:
            opened = shut = 0.0
        if shut > opened:
            return Mark(found[1], opened, shut)
    raise ByrewrightError(
        f"--mark {text}: write {' or '.join(MARKS)}, a colon, and the seconds from the start of "
        "the file between which air was let in, such as fall_off:120-140"
    )


def _template(plant: Plant) -> str:
    from byrewright.plant.roles import Pulsates, ReceivesMilk
    from byrewright.site.readings.mapping import template

    def first(role: type[Machine], usual: str) -> str:
        found = plant.first(role)
        return found.id if found else usual

    return template(first(Pulsates, "PU1"), first(ReceivesMilk, "RC1"))
