"""The command `diagnose`: from readings and complaints to causes and the next measurement."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from pathlib import Path

from byrewright.commands.common import (
    clear_errors,
    console,
    load,
    print_findings,
    print_table,
    system_of,
)

CAUSES = 8


def run(
    path: Path,
    files: Sequence[Path],
    *,
    says: Sequence[str] = (),
    reads: Sequence[str] = (),
    since: str = "",
    with_log: bool = True,
    as_json: bool = False,
    every: bool = False,
    units: str = "metric",
) -> None:
    """Print what may be wrong at a plant, and what to measure next.

    Args:
        path: the plant file; the readings of its log count where `with_log`.
        files: instrument files, by the map `readings.yaml` beside the plant.
        says: complaints, as listed in the documentation.
        reads: readings typed in: "pump_capacity@VP1=3600+-50".
        since: day from which readings of the log count.
    """
    with clear_errors():
        from byrewright.documents.us_units import result_in
        from byrewright.site.condition.causes import diagnose
        from byrewright.site.condition.study import diagnosis_result
        from byrewright.site.condition.taken import Taken, of_figures, of_log, typed
        from byrewright.studies.sizing.sizes import counted

        system = system_of(units)
        file, rules = load(path)
        plant = file.plant
        taken = list(of_log(path, plant, since)) if with_log else []
        if files:
            from byrewright.commands.readings import worked_files

            taken += of_figures(worked_files(path, plant, rules, files))
        taken += [Taken(typed(one, plant), "", "typed") for one in reads]
        screen = console(error=True)
        with screen.status("what each fault does to each reading of this plant") as status:

            def say(text: str, number: int, of: int) -> bool:
                if sys.stderr.isatty():
                    status.update(f"{number} of {of}: {text}")
                return False

            found = diagnose(plant, says, [t.reading for t in taken], rules, say)
        result = diagnosis_result(plant.site.name, found, says, taken)
        if as_json:
            print(result.to_json(), end="")
            return
        out = console()
        out.print(f"{result.plant}: {counted(len(taken), 'reading')}")
        print_findings(out, result.findings, system)
        shown = result_in(result, system)
        for table in shown.tables:
            print_table(out, table, most=None if every else CAUSES)
        for note in shown.notes:
            out.print(note, style="dim")
        if every and found.unseen:
            out.print("Told by no reading: " + ", ".join(found.unseen), style="dim")
