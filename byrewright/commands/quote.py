"""The command `quote`: from the one count and a price list to a quotation."""

from __future__ import annotations

import re
import sys
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

from byrewright.commands.common import clear_errors, console, load, system_of
from byrewright.commands.design import date_of, progress
from byrewright.errors import ByrewrightError

if TYPE_CHECKING:
    from byrewright.documents.format import System
    from byrewright.plant.plant import Plant
    from byrewright.quote.alternates import Difference
    from byrewright.quote.quotation import Quote
    from byrewright.quote.running import Running
    from byrewright.quote.terms import Terms
    from byrewright.standards.rulebook import Rulebook

MOST_SHOWN = 8
ODD = re.compile("did you mean|has no figure called")
"""Why a row is not used that looks like a slip."""


def run(
    path: Path,
    prices_path: Path | None,
    *,
    terms_path: Path | None,
    jobs_path: Path | None,
    template: Path | None,
    out: Path | None,
    on: str | None,
    as_json: bool,
    every: bool,
    studies: bool,
    units: str,
    paper: str,
) -> None:
    """Price a plant file, or write an empty price list for it."""
    from byrewright.quote.labour import read_jobs
    from byrewright.quote.quotation import quote
    from byrewright.quote.read_prices import read_prices
    from byrewright.quote.terms import Terms, read_terms

    with clear_errors():
        system, day = system_of(units), date.fromisoformat(date_of(on))
        if paper.casefold() not in ("a4", "letter"):
            raise ByrewrightError(f"--paper {paper}: there is A4 and Letter")
        file, rules = load(path)
        plant = file.plant
        terms = Terms() if terms_path is None else read_terms(terms_path, plant, rules)
        if template is not None:
            _template(plant, rules, terms, template, system)
            return
        if prices_path is None:
            raise ByrewrightError(
                f"{path}: give a price list with --prices, or write an empty one with "
                "--template prices.xlsx"
            )
        prices = read_prices(prices_path, terms.currency or plant.site.currency)
        done = None if jobs_path is None else read_jobs(jobs_path)
        made = quote(plant, prices, terms, day, rules, done)
        running: Running | None = None
        others: tuple[Difference, ...] = ()
        with progress("pricing") as say:
            if studies:
                running = _running(plant, terms, rules, say)
            if terms.alternates:
                from byrewright.quote.alternates import alternates

                others = alternates(file, made, prices, terms, rules, done, studies=studies,
                                    say=say)  # fmt: skip
        if out is not None:
            from byrewright.documents.quote_files import quote_files
            from byrewright.plant.write import write_files

            files = quote_files(plant, made, running, others, system, paper.casefold())
            write_files((out / name, data) for name, data in files.items())
        if as_json:
            from byrewright.documents.quote_files import quote_json

            sys.stdout.write(quote_json(made, running, others))
        else:
            from byrewright.documents.quote_units import others_in, quote_in

            _show(quote_in(made, system), running, others_in(others, system), out, every)


def _running(plant: Plant, terms: Terms, rules: Rulebook, say: Any) -> Running:
    from byrewright.quote.running import running_cost
    from byrewright.studies.day import run_day

    say("the day, for the cost of running it", 0, 1)
    return running_cost(plant, run_day(plant, rules), terms, rules)


def _template(plant: Plant, rules: Rulebook, terms: Terms, path: Path, units: System) -> None:
    from byrewright.documents.cost_workbook import template_xlsx
    from byrewright.documents.interlocks import page_csv
    from byrewright.documents.quote_units import template_in
    from byrewright.documents.schedule import Page
    from byrewright.plant.write import write_bytes, write_text
    from byrewright.quote.prices import COLUMNS
    from byrewright.quote.template import template_rows
    from byrewright.studies.sizing.sizes import counted

    if path.exists():
        raise ByrewrightError(f"{path} already exists; name another, so that no price is lost")
    rows = template_in(template_rows(plant, rules, terms), units, COLUMNS)
    if path.suffix.casefold() == ".csv":
        write_text(path, page_csv(Page("Prices", tuple(COLUMNS), tuple(rows))))
    elif path.suffix.casefold() == ".xlsx":
        write_bytes(path, template_xlsx(rows, plant.site.name))
    else:
        raise ByrewrightError(f"{path}: name the list .xlsx or .csv")
    print(f"{path}: {counted(len(rows), 'row')} to fill in")


def _show(
    made: Quote,
    running: Running | None,
    others: tuple[Difference, ...],
    out: Path | None,
    every: bool,
) -> None:
    screen = console()
    say = screen.print
    if made.invented:
        say("Invented: farm or price list say so themselves. Not an offer.", style="bold")
    for section in made.sections:
        say(f"  {section:<18}{made.sums(section)[3]:>14} {made.currency}")
    say(f"  {'without tax':<18}{made.net:>14} {made.currency}")
    if made.tax_pct is not None:
        say(f"  {made.tax_name:<18}{made.tax:>14} {made.currency}")
        say(f"  {'with tax':<18}{made.gross:>14} {made.currency}")
    say(made.answer, style="bold")
    _some(
        say,
        "No price",
        [f"{n.title} {n.plate}".strip() + f": {n.said}" for n in made.missing],
        every,
    )
    odd = [f"{r}: {w}" for r, w in made.unused if every or ODD.search(w)]
    _some(say, "Rows of the list that price nothing here", odd, every)
    if len(made.unused) > len(odd):
        say(f"{len(made.unused) - len(odd)} rows of the list are for other plants; --all names "
            "them.")  # fmt: skip
    for warning in made.warnings:
        say(warning)
    _some(say, "Not in the price", [e.sentence for e in made.excluded], True)
    if running is not None:
        say(running.sentence)
    for one in others:
        say(one.sentence)
        for change in one.changes:
            say(f"    {change}")
    if out is not None:
        for name in ("quotation.pdf", "costs.xlsx", "enquiries.xlsx", "orders.xlsx", "quote.json"):
            say(f"  {out / name}")


def _some(say: Any, title: str, lines: list[str], every: bool) -> None:
    if lines:
        say(f"{title}:")
        for line in lines if every else lines[:MOST_SHOWN]:
            say(f"  {line}", highlight=False)
        if not every and len(lines) > MOST_SHOWN:
            say(f"  and {len(lines) - MOST_SHOWN} more with --all", style="dim")
