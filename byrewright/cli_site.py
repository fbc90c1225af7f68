"""The commands of a plant's life after handover: tests, readings, service and its log."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

PlantPath = Annotated[Path, typer.Argument(metavar="PLANT", help="Plant file (YAML).")]
Units = Annotated[str, typer.Option(help="Units of values shown: metric or US.")]
AsJson = Annotated[bool, typer.Option("--json", help="Print the whole result as JSON.")]


def readings(
    plant: PlantPath,
    files: Annotated[
        list[Path] | None, typer.Argument(metavar="FILE...", help="CSV or XLSX as exported.")
    ] = None,
    map_path: Annotated[
        Path | None, typer.Option("--map", help="The map (readings.yaml beside the plant).")
    ] = None,
    mark: Annotated[
        list[str] | None,
        typer.Option(help="When air was let in: fall_off:120-140, s from the file's start."),
    ] = None,
    as_json: AsJson = False,
    strict: Annotated[bool, typer.Option(help="Exit with 1 when a finding fails.")] = False,
    template: Annotated[bool, typer.Option(help="Print a map to start from.")] = False,
    keep: Annotated[
        str | None, typer.Option(metavar="NAME", help="Enter them in the log, taken by NAME.")
    ] = None,
    units: Units = "metric",
) -> None:
    """Work out instrument files: measured beside predicted, with a verdict."""
    from byrewright.commands import readings as command

    command.run(
        plant, files or [], map_path=map_path, marks=mark or [], as_json=as_json, strict=strict,
        template=template, keep=keep, units=units,
    )  # fmt: skip


def diagnose(
    plant: PlantPath,
    files: Annotated[
        list[Path] | None, typer.Argument(metavar="FILE...", help="Instrument files, if any.")
    ] = None,
    says: Annotated[
        list[str] | None,
        typer.Option(help="What people say: 'vacuum low', 'milk warm' ...; may be repeated."),
    ] = None,
    read: Annotated[
        list[str] | None,
        typer.Option(help="A reading: pump_capacity@VP1=3600+-50; may be repeated."),
    ] = None,
    since: Annotated[str, typer.Option(help="Readings of the log from this day on.")] = "",
    with_log: Annotated[
        bool, typer.Option("--log/--no-log", help="The readings of the plant's log count.")
    ] = True,
    as_json: AsJson = False,
    every: Annotated[bool, typer.Option("--all", help="Every cause and row.")] = False,
    units: Units = "metric",
) -> None:
    """What is wrong: ranked causes from readings and complaints, and what to measure next."""
    from byrewright.commands import diagnose as command

    command.run(plant, files or [], says=says or [], reads=read or [], since=since,
                with_log=with_log, as_json=as_json, every=every, units=units)  # fmt: skip


def tests(
    plant: PlantPath,
    out: Annotated[
        Path | None, typer.Option(help="Folder for empty sheets: a workbook and a page.")
    ] = None,
    read: Annotated[
        list[Path] | None, typer.Option(help="Filled-in sheet (.json, .xlsx); may be repeated.")
    ] = None,
    unchanged: Annotated[
        bool, typer.Option(help="Of a sheet of an older revision, take what is unchanged.")
    ] = False,
    certificate: Annotated[
        Path | None, typer.Option(help="Write the certificate (PDF) of what was measured.")
    ] = None,
    who: Annotated[str | None, typer.Option(help="Who issues the certificate.")] = None,
    on: Annotated[
        str | None, typer.Option("--date", help="Date on it (today's if not given).")
    ] = None,
    as_json: AsJson = False,
    every: Annotated[bool, typer.Option("--all", help="Every row.")] = False,
    strict: Annotated[bool, typer.Option(help="Exit with 1 when a reading fails.")] = False,
    units: Units = "metric",
) -> None:
    """Test sheets of the plant: make them, read them back, verdicts, the certificate."""
    from byrewright.commands import tests as command

    command.run(
        plant, out=out, files=read or [], unchanged=unchanged, certificate=certificate, who=who,
        on=on, as_json=as_json, every=every, strict=strict, units=units,
    )  # fmt: skip


def service(
    plant: PlantPath,
    hours: Annotated[
        list[str] | None,
        typer.Option(
            "--meter",
            "--hours",
            help="A meter that was read: VP1=1240 (hours), or "
            '"PU1=2400000 pulses"; may be repeated.',
        ),
    ] = None,
    meters: Annotated[
        Path | None, typer.Option(help="Meters out of a CSV: machine, reading, unit.")
    ] = None,
    done: Annotated[
        list[str] | None, typer.Option(help='A service done: "VP1: belts and coupling".')
    ] = None,
    found: Annotated[
        list[str] | None,
        typer.Option(help='Parts as found: "MU1: liners: 3 worn, 51 good at 1180 h".'),
    ] = None,
    missed: Annotated[
        bool, typer.Option(help="What a missed service would cost (runs the failure study).")
    ] = False,
    who: Annotated[str | None, typer.Option(help="Who read or did it.")] = None,
    on: Annotated[
        str | None, typer.Option("--date", help="The day (today's if not given).")
    ] = None,
    new_meter: Annotated[bool, typer.Option(help="The meter was replaced.")] = False,
    late: Annotated[float, typer.Option(help="Days that a service may be late.")] = 14.0,
    calendar: Annotated[Path | None, typer.Option(help="Write the visits (.ics).")] = None,
    as_json: AsJson = False,
    every: Annotated[bool, typer.Option("--all", help="Every row.")] = False,
    units: Units = "metric",
) -> None:
    """What service is due and when, from hours and work in the log; the fewest visits for it."""
    from byrewright.commands import service as command

    command.run(
        plant, hours=hours or [], done=done or [], who=who, on=on, new_meter=new_meter,
        late_days=late, calendar=calendar, as_json=as_json, every=every, found=found or [],
        missed=missed, meters=meters, units=units,
    )  # fmt: skip


def log(
    does: Annotated[str, typer.Argument(metavar="DOES", help="list, verify, out or in")],
    plant: PlantPath,
    zip_path: Annotated[
        Path | None, typer.Argument(metavar="[ZIP]", help="Zip to write (out) or to take in (in).")
    ] = None,
    practice: Annotated[bool, typer.Option(help="The log of practice.")] = False,
    as_json: AsJson = False,
    every: Annotated[bool, typer.Option("--all", help="Every entry.")] = False,
) -> None:
    """The plant's log: look at it, prove that nothing was changed, carry it and merge it."""
    from byrewright.commands import log as command

    command.run(does, plant, zip_path, practice=practice, as_json=as_json, every=every)


def cloths(
    plant: PlantPath,
    new: Annotated[list[str] | None, typer.Option(help="A new lot of cloths: A=500.")] = None,
    used: Annotated[list[str] | None, typer.Option(help="A lot and its shift: A=morning.")] = None,
    washed: Annotated[list[str] | None, typer.Option(help="A lot that was washed.")] = None,
    retired: Annotated[list[str] | None, typer.Option(help="A lot that is given up.")] = None,
    who: Annotated[str | None, typer.Option(help="Who did it.")] = None,
    on: Annotated[
        str | None, typer.Option("--date", help="The day (today's if not given).")
    ] = None,
    as_json: AsJson = False,
    every: Annotated[bool, typer.Option("--all", help="Every row.")] = False,
) -> None:
    """Udder cloths by lots: which milked which shift, washes, when they are worn."""
    from byrewright.commands import cloths as command

    command.run(
        plant, new=new or [], used=used or [], washed=washed or [], retired=retired or [],
        who=who, on=on, as_json=as_json, every=every,
    )  # fmt: skip


def call(
    plant: PlantPath,
    out: Annotated[
        Path | None, typer.Option(help="Write the page for a telephone (one HTML file).")
    ] = None,
    read: Annotated[
        list[Path] | None, typer.Option(help="A record that the page saved; may be repeated.")
    ] = None,
    who: Annotated[str | None, typer.Option(help="Who calls.")] = None,
    units: Units = "metric",
) -> None:
    """Lead a caller from what is seen to the next step, at the prompt or on a telephone."""
    from byrewright.commands import call as command

    command.run(plant, out=out, files=read or [], who=who, units=units)


def register(app: typer.Typer) -> None:
    """Add them to the command line."""
    for one in (readings, diagnose, tests, service, call, cloths, log):
        app.command()(one)
