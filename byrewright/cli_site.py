"""The commands for a plant that runs: watch, rehearsal, tests, readings, service, log."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

PlantPath = Annotated[Path, typer.Argument(metavar="PLANT", help="Plant file (YAML).")]
Units = Annotated[str, typer.Option(help="Units to show: metric or US.")]
AsJson = Annotated[bool, typer.Option("--json", help="Print the whole result as JSON.")]
AddressesPath = Annotated[
    Path | None, typer.Option(help="Address of each signal (CSV, as `interlocks` writes it).")
]
ContactsOnly = Annotated[
    bool,
    typer.Option(help="The signals come from a small input module with volt-free contacts only."),
]


def watch(
    plant: PlantPath,
    modbus: Annotated[str | None, typer.Option(help="HOST:PORT of a Modbus TCP server.")] = None,
    opcua: Annotated[str | None, typer.Option(help="URL of an OPC UA server.")] = None,
    addresses: AddressesPath = None,
    contacts_only: ContactsOnly = False,
    mode: Annotated[
        str | None, typer.Option(help="Mode of the plant, where no signal reports it.")
    ] = None,
    log: Annotated[
        Path | None, typer.Option(help="Log file (SQLite), if not the one beside the plant file.")
    ] = None,
    practice: Annotated[
        bool,
        typer.Option(help="This is practice: keep it in a log of its own and mark it everywhere."),
    ] = False,
    simulate: Annotated[
        bool, typer.Option(help="Practise on a simulated controller, started for you.")
    ] = False,
    device: Annotated[int, typer.Option(help="Modbus device number.")] = 1,
    period: Annotated[float, typer.Option(help="Seconds between readings.")] = 1.0,
    acknowledge: Annotated[
        str | None,
        typer.Option(metavar="NAME", help="Acknowledge all waiting alarms in this name and stop."),
    ] = None,
    seconds: Annotated[float | None, typer.Option(help="Stop after this many seconds.")] = None,
    with_parent: Annotated[
        bool, typer.Option(help="End when standard input is closed.", hidden=True)
    ] = False,
    as_ordered: Annotated[
        bool, typer.Option(help="Never take a simulated controller.", hidden=True)
    ] = False,
) -> None:
    """Watch a running plant, read-only, and raise alarms."""
    from byrewright.commands import watch as command

    command.run(
        plant, modbus=modbus, opcua=opcua, addresses_path=addresses, contacts_only=contacts_only,
        mode=mode, log_path=log, device=device, period_s=period, acknowledge=acknowledge,
        seconds=seconds, practice=practice, simulate=simulate, with_parent=with_parent,
        as_ordered=as_ordered,
    )  # fmt: skip


def rehearse(
    plant: PlantPath,
    wrong: Annotated[
        list[str] | None, typer.Option(help="A wrong position, such as V46=open; may be repeated.")
    ] = None,
    mode: Annotated[str | None, typer.Option(help="Mode of the plant to play it in.")] = None,
    after: Annotated[
        float, typer.Option(help="Minutes of milking before the valve goes wrong.")
    ] = 20.0,
    protocol: Annotated[
        str, typer.Option(help="How positions are read: modbus, opcua or contacts.")
    ] = "modbus",
    every: Annotated[
        bool, typer.Option("--all", help="Play every single wrong position that loses milk.")
    ] = False,
    serve: Annotated[
        bool, typer.Option(help="Keep the simulated controller running, for `watch` to connect to.")
    ] = False,
    modbus_port: Annotated[int, typer.Option(help="Modbus port, on this computer only.")] = 15020,
    opcua_port: Annotated[int, typer.Option(help="OPC UA port, on this computer only.")] = 14840,
    speed: Annotated[float, typer.Option(help="How many times real speed --serve plays at.")] = 1.0,
    proposed: Annotated[
        bool, typer.Option(help="Pretend that every proposed sensor is fitted.")
    ] = False,
    units: Units = "metric",
) -> None:
    """Rehearse wrong valves: litres lost before the alarm."""
    from byrewright.commands import rehearse as command

    command.run(
        plant, wrong=wrong or (), mode=mode, after_min=after, protocol=protocol, every=every,
        serve=serve, modbus_port=modbus_port, opcua_port=opcua_port, speed=speed,
        proposed=proposed, units=units,
    )  # fmt: skip


def readings(
    plant: PlantPath,
    files: Annotated[
        list[Path] | None,
        typer.Argument(metavar="FILE...", help="Instrument files, CSV or XLSX as exported."),
    ] = None,
    map_path: Annotated[
        Path | None,
        typer.Option(
            "--map", help="What each column is (default: readings.yaml beside the plant file)."
        ),
    ] = None,
    mark: Annotated[
        list[str] | None,
        typer.Option(help="When air was let in, in seconds of the file: fall_off:120-140."),
    ] = None,
    as_json: AsJson = False,
    strict: Annotated[bool, typer.Option(help="Exit with 1 when a finding fails.")] = False,
    template: Annotated[bool, typer.Option(help="Print a readings.yaml to start from.")] = False,
    keep: Annotated[
        str | None,
        typer.Option(metavar="NAME", help="Enter the figures in the log, as taken by NAME."),
    ] = None,
    units: Units = "metric",
) -> None:
    """Read instrument files: measured beside predicted."""
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
        typer.Option(help="A complaint, such as 'vacuum low' or 'milk warm'; may be repeated."),
    ] = None,
    read: Annotated[
        list[str] | None,
        typer.Option(help="A reading, such as pump_capacity@VP1=3600+-50; may be repeated."),
    ] = None,
    since: Annotated[
        str, typer.Option(help="Use only readings from this date on (2026-03-01).")
    ] = "",
    with_log: Annotated[
        bool, typer.Option("--log/--no-log", help="Use the readings in the plant's log.")
    ] = True,
    as_json: AsJson = False,
    every: Annotated[bool, typer.Option("--all", help="Show every cause and row.")] = False,
    units: Units = "metric",
) -> None:
    """Rank likely causes, and say what to measure next.

    Works from readings, instrument files and complaints.
    """
    from byrewright.commands import diagnose as command

    command.run(plant, files or [], says=says or [], reads=read or [], since=since,
                with_log=with_log, as_json=as_json, every=every, units=units)  # fmt: skip


def tests(
    plant: PlantPath,
    out: Annotated[
        Path | None, typer.Option(help="Folder for empty test sheets: a workbook and a web page.")
    ] = None,
    read: Annotated[
        list[Path] | None,
        typer.Option(help="Filled-in sheet to read back (.json, .xlsx); may be repeated."),
    ] = None,
    unchanged: Annotated[
        bool,
        typer.Option(
            help="From a sheet of an older revision, take the checks that have not changed."
        ),
    ] = False,
    certificate: Annotated[Path | None, typer.Option(help="Certificate to write (PDF).")] = None,
    who: Annotated[str | None, typer.Option(help="Who issues the certificate.")] = None,
    on: Annotated[
        str | None, typer.Option("--date", help="Date on the certificate (default: today).")
    ] = None,
    as_json: AsJson = False,
    every: Annotated[bool, typer.Option("--all", help="Show every row.")] = False,
    strict: Annotated[bool, typer.Option(help="Exit with 1 when a reading fails.")] = False,
    units: Units = "metric",
) -> None:
    """Write test sheets, read them back, judge and certify."""
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
            help='A meter reading: VP1=1240 (hours) or "PU1=2400000 pulses"; may be repeated.',
        ),
    ] = None,
    meters: Annotated[
        Path | None,
        typer.Option(help="CSV of meter readings, with columns machine, reading, unit."),
    ] = None,
    done: Annotated[
        list[str] | None,
        typer.Option(help='Service that was done: "VP1: belts and coupling"; may be repeated.'),
    ] = None,
    found: Annotated[
        list[str] | None,
        typer.Option(
            help='State of parts: "MU1: liners: 3 worn, 51 good at 1180 h"; may be repeated.'
        ),
    ] = None,
    missed: Annotated[
        bool, typer.Option(help="Work out what missing a service costs (runs the failure study).")
    ] = False,
    who: Annotated[str | None, typer.Option(help="Who read the meter or did the work.")] = None,
    on: Annotated[
        str | None, typer.Option("--date", help="Date it was done (default: today).")
    ] = None,
    new_meter: Annotated[
        bool, typer.Option(help="The meter was replaced, so it may read less than before.")
    ] = False,
    late: Annotated[float, typer.Option(help="Days by which a service may be late.")] = 14.0,
    calendar: Annotated[
        Path | None, typer.Option(help="Calendar file of the visits to write (.ics).")
    ] = None,
    as_json: AsJson = False,
    every: Annotated[bool, typer.Option("--all", help="Show every row.")] = False,
    units: Units = "metric",
) -> None:
    """List service that is due, in the fewest visits.

    Works from the meters and the work entered in the log.
    """
    from byrewright.commands import service as command

    command.run(
        plant, hours=hours or [], done=done or [], who=who, on=on, new_meter=new_meter,
        late_days=late, calendar=calendar, as_json=as_json, every=every, found=found or [],
        missed=missed, meters=meters, units=units,
    )  # fmt: skip


def log(
    does: Annotated[
        str, typer.Argument(metavar="DOES", help="list, verify, out (export) or in (merge).")
    ],
    plant: PlantPath,
    zip_path: Annotated[
        Path | None, typer.Argument(metavar="ZIP", help="Zip file to write (out) or read (in).")
    ] = None,
    practice: Annotated[bool, typer.Option(help="Use the practice log.")] = False,
    as_json: AsJson = False,
    every: Annotated[bool, typer.Option("--all", help="Show every entry.")] = False,
) -> None:
    """List, verify, export or merge the plant's log."""
    from byrewright.commands import log as command

    command.run(does, plant, zip_path, practice=practice, as_json=as_json, every=every)


def cloths(
    plant: PlantPath,
    new: Annotated[
        list[str] | None, typer.Option(help="New lot and number of cloths: A=500.")
    ] = None,
    used: Annotated[
        list[str] | None, typer.Option(help="Lot and the milking it was used in: A=morning.")
    ] = None,
    washed: Annotated[list[str] | None, typer.Option(help="Lot that was washed: A.")] = None,
    retired: Annotated[list[str] | None, typer.Option(help="Lot taken out of use: A.")] = None,
    who: Annotated[str | None, typer.Option(help="Who did it, for the log.")] = None,
    on: Annotated[
        str | None, typer.Option("--date", help="Date it was done (default: today).")
    ] = None,
    as_json: AsJson = False,
    every: Annotated[bool, typer.Option("--all", help="Show every row.")] = False,
) -> None:
    """Keep track of udder cloths by lot: use, washes, wear."""
    from byrewright.commands import cloths as command

    command.run(
        plant, new=new or [], used=used or [], washed=washed or [], retired=retired or [],
        who=who, on=on, as_json=as_json, every=every,
    )  # fmt: skip


def call(
    plant: PlantPath,
    out: Annotated[
        Path | None, typer.Option(help="Page for a telephone to write (one HTML file).")
    ] = None,
    read: Annotated[
        list[Path] | None,
        typer.Option(help="Record saved by that page, to enter in the log; may be repeated."),
    ] = None,
    who: Annotated[str | None, typer.Option(help="Name of the caller.")] = None,
    units: Units = "metric",
) -> None:
    """Guide a caller from what is seen to the next step."""
    from byrewright.commands import call as command

    command.run(plant, out=out, files=read or [], who=who, units=units)


def register(app: typer.Typer) -> None:
    """Add them to the command line."""
    for one in (watch, rehearse, readings, diagnose, tests, service, call, cloths, log):
        app.command()(one)
