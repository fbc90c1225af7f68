"""The command line: a thin face of the same calls as the web pages."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from byrewright import __version__

app = typer.Typer(
    name="byrewright",
    help="Design, prove, commission and look after the plant of large milking parlours.",
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,  # plain help: the decorated one costs 0.2 s
    pretty_exceptions_enable=False,
)

PlantPath = Annotated[Path, typer.Argument(metavar="PLANT", help="Plant file (YAML).")]
AsJson = Annotated[bool, typer.Option("--json", help="Print the whole result as JSON.")]


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
) -> None:
    """Draft the full plant file of a brief, each number with its reason."""
    from byrewright.commands import design

    design.draft(brief, out, overwrite=overwrite)


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
) -> None:
    """Size every duty: what the plant has, what it needs, margin and source."""
    from byrewright.commands import design

    design.size(plant, as_json=as_json, strict=strict, every=every)


@app.command()
def explain(
    plant: PlantPath,
    finding: Annotated[
        str, typer.Argument(metavar="FINDING", help="A finding's name, as `size` prints it.")
    ],
) -> None:
    """Show a finding's formula, the numbers put in, the source and the limit."""
    from byrewright.commands import design

    design.explain(plant, finding)


@app.command()
def pack(
    plant: PlantPath,
    out: Annotated[Path, typer.Option(help="Folder to write.")] = Path("pack"),
    on: Annotated[
        str | None, typer.Option("--date", help="Date on the documents (today's if not given).")
    ] = None,
) -> None:
    """Write the pack: report, drawings, schedule, result."""
    from byrewright.commands import design

    design.pack(plant, out, on=on)


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
) -> None:
    """Solve the vacuum network: every node, predicted test readings, what happens in time."""
    from byrewright.commands import vacuum as command

    command.run(plant, as_json, out, only=only, everything=every, strict=strict, seed=seed)


@app.command()
def schema(
    what: Annotated[str, typer.Argument(help="plant or brief")] = "plant",
) -> None:
    """Print the JSON Schema of the plant file or the brief, for your editor."""
    from byrewright.commands import design

    design.schema(what)


def main() -> None:
    """Run the command line; the installed command `byrewright` starts here."""
    app()
