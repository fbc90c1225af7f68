"""The command line: a thin face of the same calls as the web pages."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

import typer

from byrewright import __version__, cli_site
from byrewright.cli_site import AddressesPath, AsJson, ContactsOnly, PlantPath, Units

app = typer.Typer(
    name="byrewright",
    help="Design, prove, commission and look after the plant of large milking parlours.",
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,  # plain help: the decorated one costs 0.2 s
    pretty_exceptions_enable=False,
)

AsMeasured = Annotated[
    bool,
    typer.Option(
        "--as-measured",
        help="Use figures fitted to the readings in the log in place of data plates.",
    ),
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
    """Build the example farm: a sized plant and its documents."""
    from byrewright.commands import design

    design.demo(out)


@app.command()
def draft(
    brief: Annotated[Path, typer.Argument(metavar="BRIEF", help="The farm's brief (YAML).")],
    out: Annotated[Path, typer.Option(help="Plant file to write.")] = Path("plant.yaml"),
    overwrite: Annotated[bool, typer.Option(help="Replace the plant file if it exists.")] = False,
    quick: Annotated[
        bool, typer.Option("--quick", help="Sizing only: skip the other studies.")
    ] = False,
    units: Units = "metric",
) -> None:
    """Turn a farm's brief into a full plant file.

    Each chosen number carries its reason. Every study is run on the plant; where one
    still fails, the draft says what in the brief would have to give.
    """
    from byrewright.commands import design

    design.draft(brief, out, overwrite=overwrite, quick=quick, units=units)


@app.command()
def check(plant: PlantPath) -> None:
    """List every mistake in a plant file, with line and remedy."""
    from byrewright.commands import design

    design.check(plant)


@app.command()
def size(
    plant: PlantPath,
    as_json: AsJson = False,
    strict: Annotated[bool, typer.Option(help="Exit with 1 when a finding fails.")] = False,
    every: Annotated[bool, typer.Option("--all", help="Show what passes, too.")] = False,
    units: Units = "metric",
    as_measured: AsMeasured = False,
) -> None:
    """Compare what the plant has with what it needs.

    Each figure comes with its margin and source.
    """
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
    """Show how one figure is worked out.

    Formula, numbers put in, source and limit.
    """
    from byrewright.commands import design

    design.explain(plant, finding, units)


@app.command()
def pack(
    plant: PlantPath,
    out: Annotated[Path, typer.Option(help="Folder to write.")] = Path("pack"),
    on: Annotated[
        str | None, typer.Option("--date", help="Date on the documents (default: today).")
    ] = None,
    units: Units = "metric",
    full: Annotated[
        bool,
        typer.Option(help="Run every study for the report: vacuum, day, routes, failures, plan."),
    ] = False,
    whom: Annotated[
        str,
        typer.Option(
            "--for",
            help="Whose papers to write, by commas: farmer, builder, fitter, electrician, "
            "controls, refrigeration, inspector, milker, service, engineer.",
        ),
    ] = "all",
    revision: Annotated[str, typer.Option(help="Revision letter or number.")] = "A",
    approved: Annotated[
        str, typer.Option(help="Who approved it; left empty, it is marked for review.")
    ] = "",
    paper: Annotated[
        str, typer.Option(help="Paper size of the short papers: A4 or Letter.")
    ] = "A4",
) -> None:
    """Write the documents: papers, report, drawings, schedule.

    There is a short paper for each trade on site and each reader on the farm.
    """
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
        Path | None,
        typer.Option(help="Hours that finished jobs took (CSV), in place of the usual ones."),
    ] = None,
    template: Annotated[
        Path | None, typer.Option(help="Write an empty price list for this plant and stop.")
    ] = None,
    out: Annotated[
        Path | None, typer.Option(help="Folder for quotation, costs, enquiries and orders.")
    ] = None,
    on: Annotated[
        str | None, typer.Option("--date", help="Date of the quotation (default: today).")
    ] = None,
    as_json: AsJson = False,
    every: Annotated[bool, typer.Option("--all", help="Show every missing price.")] = False,
    studies: Annotated[
        bool, typer.Option(help="Run day and failures, too: running costs, what alternates change.")
    ] = False,
    units: Units = "metric",
    paper: Annotated[str, typer.Option(help="Paper size: A4 or Letter.")] = "A4",
) -> None:
    """Price the plant from your own price list.

    Whatever has no price is listed; no price is invented.
    """
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
        Path | None, typer.Option(help="PDF to write: drawings with the changes clouded.")
    ] = None,
    full: Annotated[
        bool, typer.Option(help="Run every study on both: day, vacuum, routes, failures, plan.")
    ] = False,
    as_json: AsJson = False,
    on: Annotated[str | None, typer.Option("--date", help="Date on the drawings.")] = None,
    units: Units = "metric",
) -> None:
    """List what changed between two revisions of a plant file.

    A machine that only has a new tag is shown as renamed, not as removed and added.
    """
    from byrewright.commands import diff as command

    command.run(
        old, new, prices_path=prices, terms_path=terms, out=out, full=full, as_json=as_json,
        on=on, units=units,
    )  # fmt: skip


@app.command()
def place(
    plant: PlantPath,
    out: Annotated[
        Path | None,
        typer.Option(help="Folder for the plan set: sheets, lists, set-out table, DXF."),
    ] = None,
    as_json: AsJson = False,
    every: Annotated[
        bool, typer.Option("--all", help="Show what passes and the whole set-out table, too.")
    ] = False,
    pin: Annotated[
        bool,
        typer.Option(
            help="Write each machine's position into the plant file, so that it stays put."
        ),
    ] = False,
    set_out: Annotated[
        Path | None, typer.Option(help="Edited set-out table to take back into the plant file.")
    ] = None,
    ifc: Annotated[
        Path | None, typer.Option(help="Building model to write (IFC 4); needs `make ifc` once.")
    ] = None,
    strict: Annotated[bool, typer.Option(help="Exit with 1 when a finding fails.")] = False,
    units: Units = "metric",
) -> None:
    """Lay out the rooms, check the plan and draw it."""
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
        list[str] | None,
        typer.Option(help="Run only this event, such as fall_off or pump_trips; may be repeated."),
    ] = None,
    every: Annotated[bool, typer.Option("--all", help="Show every table and finding.")] = False,
    strict: Annotated[bool, typer.Option(help="Exit with 1 when a finding fails.")] = False,
    seed: Annotated[int, typer.Option(help="Random seed.")] = 1,
    units: Units = "metric",
    as_measured: AsMeasured = False,
) -> None:
    """Solve the vacuum system: levels, test readings, upsets."""
    from byrewright.commands import vacuum as command

    command.run(plant, as_json, out, only=only, everything=every, strict=strict, seed=seed,
                units=units, as_measured=as_measured)  # fmt: skip


@app.command()
def day(
    plant: PlantPath,
    month: Annotated[
        int | None,
        typer.Option(min=1, max=12, help="Month, 1 to 12; the hardest on cooling if left out."),
    ] = None,
    days: Annotated[int, typer.Option(min=1, max=3660, help="Number of days in a row.")] = 1,
    seed: Annotated[int, typer.Option(help="Random seed.")] = 1,
    step: Annotated[
        float | None,
        typer.Option(help="Time step in seconds; chosen to suit the plant if left out."),
    ] = None,
    out: Annotated[
        Path | None, typer.Option(help="Plot sheet (.svg, .pdf, .png) or result (.json).")
    ] = None,
    compare: Annotated[Path | None, typer.Option(help="A second plant file to compare.")] = None,
    as_json: AsJson = False,
    every: Annotated[bool, typer.Option("--all", help="Show every table.")] = False,
    strict: Annotated[bool, typer.Option(help="Exit with 1 when a finding fails.")] = False,
    hot: Annotated[
        bool, typer.Option(help="Make it as hot as the site's hottest afternoon.")
    ] = False,
    sample: Annotated[
        float, typer.Option(help="Seconds between points of the time series.")
    ] = 60.0,
    units: Units = "metric",
    as_measured: AsMeasured = False,
) -> None:
    """Simulate the milking day, cow by cow.

    Times, temperatures, levels, energy and cost.
    """
    from byrewright.commands import day as command

    command.run(
        plant, month, days, seed, step, out, compare, as_json,
        everything=every, strict=strict, sample_s=sample, hot=hot, units=units,
        as_measured=as_measured,
    )  # fmt: skip


@app.command()
def failures(
    plant: PlantPath,
    pairs: Annotated[bool, typer.Option(help="Try every two failures together as well.")] = False,
    hours: Annotated[
        float | None, typer.Option(help="Longest time followed after a failure: 1 to 20 h.")
    ] = None,
    as_json: AsJson = False,
    every: Annotated[bool, typer.Option("--all", help="Show every table and finding.")] = False,
    costs: Annotated[Path | None, typer.Option(help="Costs of machines and litres (YAML).")] = None,
    seed: Annotated[int, typer.Option(help="Random seed.")] = 1,
    units: Units = "metric",
    as_measured: AsMeasured = False,
) -> None:
    """Try each failure: does milking continue, what is lost?"""
    from byrewright.commands import failures as command

    command.run(plant, pairs, hours, as_json, every, costs, seed, units, as_measured)


@app.command()
def routes(
    plant: PlantPath,
    order: Annotated[
        int, typer.Option(min=1, max=3, help="How many valves or pumps may be wrong at once.")
    ] = 2,
    orders: Annotated[bool, typer.Option(help="Find a safe order of moves between modes.")] = True,
    every: Annotated[bool, typer.Option("--all", help="Show every finding.")] = False,
    out: Annotated[Path | None, typer.Option(help="File to write the result to (JSON).")] = None,
    as_json: AsJson = False,
    strict: Annotated[bool, typer.Option(help="Exit with 1 when a finding fails.")] = False,
    units: Units = "metric",
    as_measured: AsMeasured = False,
) -> None:
    """Find every wrong valve that loses or spoils milk.

    The search is complete: it proves that there is no other.
    """
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


@app.command()
def interlocks(
    plant: PlantPath,
    out: Annotated[Path | None, typer.Option(help="Folder to write.")] = None,
    addresses: AddressesPath = None,
    contacts_only: ContactsOnly = False,
    units: Units = "metric",
) -> None:
    """Write interlock table, alarm list, tests, controller draft."""
    from byrewright.commands import interlocks as command

    command.run(plant, out_path=out, addresses_path=addresses, contacts_only=contacts_only,
                units=units)  # fmt: skip


@app.command()
def serve(
    where: Annotated[
        Path, typer.Argument(metavar="PLANT_OR_FOLDER", help="Plant file, or folder of plants.")
    ] = Path("."),
    host: Annotated[str, typer.Option(help="Address to listen on.")] = "127.0.0.1",
    port: Annotated[int, typer.Option(help="Port to listen on.")] = 8765,
    set_password: Annotated[
        bool, typer.Option(help="Set the password that other computers need, then stop.")
    ] = False,
    behind_proxy: Annotated[
        bool, typer.Option(help="The pages are behind a proxy on this computer: trust its headers.")
    ] = False,
) -> None:
    """Serve the plant's pages to your browser.

    Only this computer can open them unless a password is set.
    """
    from byrewright.commands import serve as command

    command.run(where, host, port, set_password=set_password, behind_proxy=behind_proxy)


@app.command()
def schema(
    what: Annotated[str, typer.Argument(metavar="WHAT", help="plant or brief.")] = "plant",
) -> None:
    """Print the JSON Schema of a plant file or brief.

    Editors use it to check the file as you type.
    """
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
