"""The command `interlocks`: writes the interlock pack of a plant."""

from __future__ import annotations

from pathlib import Path

from byrewright.commands.common import clear_errors, console, load, system_of


def run(plant_path: Path, *, out_path: Path | None = None, addresses_path: Path | None = None,
        contacts_only: bool = False, units: str = "metric") -> None:  # fmt: skip
    """Write the pack: matrix, alarms, permissives, signals, acceptance sheets, controller text."""
    from byrewright.documents.interlocks import files
    from byrewright.engine.interlocks import DRAFT
    from byrewright.plant.write import write_files
    from byrewright.site.addresses import default_addresses, read_map
    from byrewright.studies.routes.study import Routes, report
    from byrewright.studies.sizing.sizes import counted

    with clear_errors():
        system = system_of(units)
        file, rules = load(plant_path)
        folder = out_path or plant_path.with_name(f"{plant_path.stem}-interlocks")
        with console(error=True).status("trying every wrong position") as status:
            study = Routes(file.plant, rules)
            result = report(study, say=status.update)
            table = study.table
            where = (read_map(addresses_path, table) if addresses_path
                     else default_addresses(table, contacts_only=contacts_only))  # fmt: skip
            status.update("writing the pack")
            made = files(table, result, where, system)
        write_files((folder / name, data) for name, data in made.items())
        out = console()
        needed = sum(1 for r in table.rows if r.needed)
        fitted = sum(1 for s in table.signals if s.fitted)
        out.print(f"Interlocks: {table.plant}")
        out.print(
            f"{counted(len(table.rows), 'cause')} ({needed} that a known wrong position goes unseen"
            f" without), {counted(len(table.signals), 'contact')} ({fitted} fitted), "
            f"{counted(len(table.modes), 'mode')}"
        )
        out.print(f"written to {folder}: {', '.join(made)}")
        out.print(DRAFT)
