"""The command line: a thin face of the same calls as the web pages."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

import typer

from byrewright import __version__, cli_site

app = typer.Typer(
    name="byrewright",
    help="Design, prove, commission and look after the plant of large milking parlours.",
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,  # plain help: the decorated one costs 0.2 s
    pretty_exceptions_enable=False,
)

PlantPath = Annotated[Path, typer.Argument(metavar="PLANT", help="Plant file (YAML).")]
Units = Annotated[str, typer.Option(help="Units of values shown: metric or US.")]
AsJson = Annotated[bool, typer.Option("--json", help="Print the whole result as JSON.")]
AsMeasured = Annotated[
    bool, typer.Option("--as-measured", help="With figures fitted to the log's readings.")
]


def _print_version(wanted: bool) -> None:
    if wanted:
        typer.echo(f"byrewright {__version__}")
        raise typer.Exit


@app.callback()
def root(
    version: Annotated[
        bool,
        typer.Option(
            "--version", callback=_print_version, is_eager=True, help="Print the version and end."
        ),
    ] = False,
) -> None:
    """Design, prove, commission and look after the plant of large milking parlours."""


@app.command()
def demo(
    out: Annotated[Path, typer.Option(help="Folder to write.")] = Path("out/demo"),
) -> None:
    """Turn the example brief of an invented farm into a sized plant and a pack."""
    from byrewright.commands import design

    design.demo(out)


@app.command()
def draft(
    brief: Annotated[Path, typer.Argument(metavar="BRIEF", help="The farm's brief (YAML).")],
    out: Annotated[Path, typer.Option(help="Plant file to write.")] = Path("plant.yaml"),
    overwrite: Annotated[bool, typer.Option(help="Replace the plant file if it exists.")] = False,
    quick: Annotated[
        bool, typer.Option("--quick", help="Size it alone; ask no other study.")
    ] = False,
    units: Units = "metric",
) -> None:
    """Draft the full plant file of a brief, each number with its reason, held to every study."""
    from byrewright.commands import design

    design.draft(brief, out, overwrite=overwrite, quick=quick, units=units)


@app.command()
def check(plant: PlantPath) -> None:
    """Check a plant file: every problem with its line and what would be right."""
    from byrewright.commands import design

    design.check(plant)


@app.command()
def size(
    plant: PlantPath,
    as_json: AsJson = False,
    strict: Annotated[bool, typer.Option(help="Exit with 1 when a finding fails.")] = False,
    every: Annotated[bool, typer.Option("--all", help="Show what holds, too.")] = False,
    units: Units = "metric",
    as_measured: AsMeasured = False,
) -> None:
    """Size every duty: what the plant has, what it needs, margin and source."""
    from byrewright.commands import design

    design.size(plant, as_json=as_json, strict=strict, every=every, units=units,
                as_measured=as_measured)  # fmt: skip


@app.command()
def explain(
    plant: PlantPath,
    finding: Annotated[
        str, typer.Argument(metavar="FINDING", help="A finding's name, as `size` prints it.")
    ],
    units: Units = "metric",
) -> None:
    """Show a finding's formula, the numbers put in, the source and the limit."""
    from byrewright.commands import design

    design.explain(plant, finding, units)


@app.command()
def pack(
    plant: PlantPath,
    out: Annotated[Path, typer.Option(help="Folder to write.")] = Path("pack"),
    on: Annotated[
        str | None, typer.Option("--date", help="Date on the documents (today's if not given).")
    ] = None,
    units: Units = "metric",
    full: Annotated[
        bool,
        typer.Option(help="Every study in the report: vacuum, day, routes, failures, plan."),
    ] = False,
    whom: Annotated[
        str, typer.Option("--for", help="Readers, by commas: farmer,electrician,engineer ...")
    ] = "all",
    revision: Annotated[str, typer.Option(help="Letter or number of this issue.")] = "A",
    approved: Annotated[str, typer.Option(help="Who approved it; for review if empty.")] = "",
    paper: Annotated[str, typer.Option(help="A4 or Letter, for the short papers.")] = "A4",
) -> None:
    """Write the pack: a short paper for each reader, report, drawings, schedule, result."""
    from byrewright.commands import design

    design.pack(
        plant, out, on=on, units=units, full=full, whom=whom, revision=revision,
        approved=approved, paper=paper,
    )  # fmt: skip


@app.command()
def quote(
    plant: PlantPath,
    prices: Annotated[Path | None, typer.Option(help="Your price list (.xlsx or .csv).")] = None,
    terms: Annotated[
        Path | None, typer.Option(help="Margin, tax, who supplies what (YAML).")
    ] = None,
    jobs: Annotated[
        Path | None, typer.Option(help="Hours of finished jobs, for the norms (CSV).")
    ] = None,
    template: Annotated[
        Path | None, typer.Option(help="Write an empty price list, and end.")
    ] = None,
    out: Annotated[Path | None, typer.Option(help="Folder for quotation, costs, orders.")] = None,
    on: Annotated[
        str | None, typer.Option("--date", help="Day of the quotation (today if not given).")
    ] = None,
    as_json: AsJson = False,
    every: Annotated[bool, typer.Option("--all", help="Show every missing price.")] = False,
    studies: Annotated[
        bool, typer.Option(help="Ask the day study what running it costs (takes a while).")
    ] = False,
    units: Units = "metric",
    paper: Annotated[str, typer.Option(help="A4 or Letter.")] = "A4",
) -> None:
    """Price the plant from your own price list; what has no price is named, none is invented."""
    from byrewright.commands import quote as command

    command.run(
        plant, prices, terms_path=terms, jobs_path=jobs, template=template, out=out, on=on,
        as_json=as_json, every=every, studies=studies, units=units, paper=paper,
    )  # fmt: skip


@app.command()
def diff(
    old: Annotated[Path, typer.Argument(metavar="OLD", help="Plant file as it was.")],
    new: Annotated[Path, typer.Argument(metavar="NEW", help="Plant file as it is.")],
    prices: Annotated[Path | None, typer.Option(help="Price list, to compare prices too.")] = None,
    terms: Annotated[Path | None, typer.Option(help="Terms of the quotation (YAML).")] = None,
    out: Annotated[
        Path | None, typer.Option(help="PDF to write, with the changes clouded on the drawings.")
    ] = None,
    full: Annotated[
        bool, typer.Option(help="Ask every study of both: day, vacuum, routes, failures, plan.")
    ] = False,
    as_json: AsJson = False,
    on: Annotated[str | None, typer.Option("--date", help="Date on the drawings.")] = None,
    units: Units = "metric",
) -> None:
    """Say what changed between two revisions; a new tag or another way is told as such."""
    from byrewright.commands import diff as command

    command.run(
        old, new, prices_path=prices, terms_path=terms, out=out, full=full, as_json=as_json,
        on=on, units=units,
    )  # fmt: skip


@app.command()
def place(
    plant: PlantPath,
    out: Annotated[
        Path | None, typer.Option(help="Folder for the plan set: sheets, set-out table.")
    ] = None,
    as_json: AsJson = False,
    every: Annotated[bool, typer.Option("--all", help="Show what holds, and all set-out.")] = False,
    pin: Annotated[
        bool, typer.Option(help="Write each machine's place into the file, so that it stays.")
    ] = False,
    set_out: Annotated[
        Path | None, typer.Option(help="Set-out table to write into the file.")
    ] = None,
    ifc: Annotated[
        Path | None, typer.Option(help="File for a building model (IFC 4); an extra part.")
    ] = None,
    strict: Annotated[bool, typer.Option(help="Exit with 1 when a finding fails.")] = False,
    units: Units = "metric",
) -> None:
    """Lay the milking centre out and judge the plan; write sheets, lists and a drawing file."""
    from byrewright.commands import place as command

    command.run(plant, out, as_json=as_json, everything=every, pin=pin,
                set_out_table=set_out, ifc=ifc, strict=strict, units=units)  # fmt: skip


@app.command()
def vacuum(
    plant: PlantPath,
    as_json: AsJson = False,
    out: Annotated[
        Path | None, typer.Option(help="Write the result (.json) or the capacity balance (.svg).")
    ] = None,
    only: Annotated[
        list[str] | None, typer.Option(help="Only these events in time; may be repeated.")
    ] = None,
    every: Annotated[bool, typer.Option("--all", help="Show every table and finding.")] = False,
    strict: Annotated[bool, typer.Option(help="Exit with 1 when a finding fails.")] = False,
    seed: Annotated[int, typer.Option(help="Seed of what is drawn by chance.")] = 1,
    units: Units = "metric",
    as_measured: AsMeasured = False,
) -> None:
    """Solve the vacuum network: every node, predicted test readings, what happens in time."""
    from byrewright.commands import vacuum as command

    command.run(plant, as_json, out, only=only, everything=every, strict=strict, seed=seed,
                units=units, as_measured=as_measured)  # fmt: skip


@app.command()
def day(
    plant: PlantPath,
    month: Annotated[
        int | None,
        typer.Option(min=1, max=12, help="Month of the year; the hardest on cooling if left out."),
    ] = None,
    days: Annotated[int, typer.Option(min=1, max=3660, help="Days in a row.")] = 1,
    seed: Annotated[int, typer.Option(help="Seed of the cows' draws.")] = 1,
    step: Annotated[float | None, typer.Option(help="Step in seconds.")] = None,
    out: Annotated[
        Path | None, typer.Option(help="Plot sheet (.svg, .pdf, .png) or result (.json).")
    ] = None,
    compare: Annotated[Path | None, typer.Option(help="A second plant file to compare.")] = None,
    as_json: AsJson = False,
    every: Annotated[bool, typer.Option("--all", help="Show every table.")] = False,
    strict: Annotated[bool, typer.Option(help="Exit with 1 when a finding fails.")] = False,
    hot: Annotated[bool, typer.Option(help="As hot as the site's hottest afternoon.")] = False,
    sample: Annotated[float, typer.Option(help="Seconds between points of the series.")] = 60.0,
    units: Units = "metric",
    as_measured: AsMeasured = False,
) -> None:
    """Simulate the milking day, cow by cow: times, temperatures, levels, energy, cost."""
    from byrewright.commands import day as command

    command.run(
        plant, month, days, seed, step, out, compare, as_json,
        everything=every, strict=strict, sample_s=sample, hot=hot, units=units,
        as_measured=as_measured,
    )  # fmt: skip


@app.command()
def failures(
    plant: PlantPath,
    pairs: Annotated[bool, typer.Option(help="Also every two failures together.")] = False,
    hours: Annotated[
        float | None, typer.Option(help="Most hours followed after a failure, 1 to 20.")
    ] = None,
    as_json: AsJson = False,
    every: Annotated[bool, typer.Option("--all", help="Show every table and finding.")] = False,
    costs: Annotated[Path | None, typer.Option(help="Costs of machines and litres (YAML).")] = None,
    seed: Annotated[int, typer.Option(help="Seed of the day and of the rates' spread.")] = 1,
    units: Units = "metric",
    as_measured: AsMeasured = False,
) -> None:
    """Apply each way each machine can fail: does milking continue, and what does it cost."""
    from byrewright.commands import failures as command

    command.run(plant, pairs, hours, as_json, every, costs, seed, units, as_measured)


@app.command()
def routes(
    plant: PlantPath,
    order: Annotated[int, typer.Option(min=1, max=3, help="How many may stand wrong at once.")] = 2,
    orders: Annotated[bool, typer.Option(help="Search safe orders between modes.")] = True,
    every: Annotated[bool, typer.Option("--all", help="Show every finding.")] = False,
    out: Annotated[Path | None, typer.Option(help="Write the result as JSON.")] = None,
    as_json: AsJson = False,
    strict: Annotated[bool, typer.Option(help="Exit with 1 when a finding fails.")] = False,
    units: Units = "metric",
    as_measured: AsMeasured = False,
) -> None:
    """Find every wrong valve that dumps or spoils milk, and prove that there is no other."""
    from byrewright.commands import routes as command

    command.run(
        plant,
        order=order,
        as_json=as_json,
        strict=strict,
        orders=orders,
        every=every,
        out_path=out,
        units=units,
        as_measured=as_measured,
    )


AddressesPath = Annotated[
    Path | None, typer.Option(help="Where each signal is read (CSV, as `interlocks` writes it).")
]
ContactsOnly = Annotated[
    bool, typer.Option(help="A small I/O module with volt-free contacts only.")
]


@app.command()
def interlocks(
    plant: PlantPath,
    out: Annotated[Path | None, typer.Option(help="Folder to write.")] = None,
    addresses: AddressesPath = None,
    contacts_only: ContactsOnly = False,
    units: Units = "metric",
) -> None:
    """Write the interlock table, alarms, test sheets and a draft for the controller."""
    from byrewright.commands import interlocks as command

    command.run(plant, out_path=out, addresses_path=addresses, contacts_only=contacts_only,
                units=units)  # fmt: skip


@app.command()
def watch(
    plant: PlantPath,
    modbus: Annotated[str | None, typer.Option(help="HOST:PORT of a Modbus TCP server.")] = None,
    opcua: Annotated[str | None, typer.Option(help="URL of an OPC UA server.")] = None,
    addresses: AddressesPath = None,
    contacts_only: ContactsOnly = False,
    mode: Annotated[str | None, typer.Option(help="Mode, where nothing reports it.")] = None,
    log: Annotated[Path | None, typer.Option(help="Site log (a SQLite file).")] = None,
    practice: Annotated[
        bool, typer.Option(help="It is practice: a log of its own, marked everywhere.")
    ] = False,
    simulate: Annotated[
        bool, typer.Option(help="Practise on a simulated controller of its own.")
    ] = False,
    device: Annotated[int, typer.Option(help="Modbus device number.")] = 1,
    period: Annotated[float, typer.Option(help="Seconds between readings.")] = 1.0,
    acknowledge: Annotated[
        str | None, typer.Option(metavar="NAME", help="Acknowledge all waiting alarms, and end.")
    ] = None,
    seconds: Annotated[float | None, typer.Option(help="Stop after so long.")] = None,
    with_parent: Annotated[
        bool, typer.Option(help="End when standard input is closed.", hidden=True)
    ] = False,
    as_ordered: Annotated[
        bool, typer.Option(help="Never take a simulated controller.", hidden=True)
    ] = False,
) -> None:
    """Watch a real plant, read-only: wrong positions become alarms, all is logged."""
    from byrewright.commands import watch as command

    command.run(
        plant, modbus=modbus, opcua=opcua, addresses_path=addresses, contacts_only=contacts_only,
        mode=mode, log_path=log, device=device, period_s=period, acknowledge=acknowledge,
        seconds=seconds, practice=practice, simulate=simulate, with_parent=with_parent,
        as_ordered=as_ordered,
    )  # fmt: skip


@app.command()
def rehearse(
    plant: PlantPath,
    wrong: Annotated[
        list[str] | None, typer.Option(help="Wrong position such as V46=open; may be repeated.")
    ] = None,
    mode: Annotated[str | None, typer.Option(help="Mode to play it in.")] = None,
    after: Annotated[float, typer.Option(help="Minutes of milking before it.")] = 20.0,
    protocol: Annotated[str, typer.Option(help="modbus, opcua or contacts")] = "modbus",
    every: Annotated[bool, typer.Option("--all", help="Every single one that loses milk.")] = False,
    serve: Annotated[bool, typer.Option(help="Keep the simulated controller running.")] = False,
    modbus_port: Annotated[int, typer.Option(help="Port on loopback.")] = 15020,
    opcua_port: Annotated[int, typer.Option(help="Port on loopback.")] = 14840,
    speed: Annotated[float, typer.Option(help="How much faster than life --serve plays.")] = 1.0,
    proposed: Annotated[bool, typer.Option(help="As if every sensor were fitted.")] = False,
    units: Units = "metric",
) -> None:
    """Play wrong valves on a simulated controller: how many litres before the alarm."""
    from byrewright.commands import rehearse as command

    command.run(
        plant, wrong=wrong or (), mode=mode, after_min=after, protocol=protocol, every=every,
        serve=serve, modbus_port=modbus_port, opcua_port=opcua_port, speed=speed,
        proposed=proposed, units=units,
    )  # fmt: skip


@app.command()
def serve(
    where: Annotated[
        Path, typer.Argument(metavar="PLANT_OR_FOLDER", help="Plant file, or folder of plants.")
    ] = Path("."),
    host: Annotated[str, typer.Option(help="Address to listen on.")] = "127.0.0.1",
    port: Annotated[int, typer.Option(help="Port to listen on.")] = 8765,
    set_password: Annotated[
        bool, typer.Option(help="Set the password that other computers need, and end.")
    ] = False,
    behind_proxy: Annotated[
        bool, typer.Option(help="A proxy on this computer stands before: trust what it forwards.")
    ] = False,
) -> None:
    """Open the pages of a plant in your browser; on this computer only unless a password is set."""
    from byrewright.commands import serve as command

    command.run(where, host, port, set_password=set_password, behind_proxy=behind_proxy)


@app.command()
def schema(
    what: Annotated[str, typer.Argument(help="plant or brief")] = "plant",
) -> None:
    """Print the JSON Schema of the plant file or the brief, for your editor."""
    from byrewright.commands import design

    design.schema(what)


cli_site.register(app)


def main() -> None:
    """Run the command line."""
    from byrewright.commands.common import CLOSED_PIPE, plain_streams

    plain_streams()
    try:
        app()
    except SystemExit:
        if type(sys.stdout).__name__ == "PacifyFlushWrapper":  # the help met a closed pipe
            raise SystemExit(CLOSED_PIPE) from None
        raise
