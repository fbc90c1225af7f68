"""The command line: a thin face of the same calls as the web pages."""

from __future__ import annotations

from typing import Annotated

import typer

from byrewright import __version__

app = typer.Typer(
    name="byrewright",
    help="Design, prove, commission and look after the plant of large milking parlours.",
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,  # plain help: the decorated one costs 0.2 s
)


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


def main() -> None:
    """Run the command line; the installed command `byrewright` starts here."""
    app()
