"""The quotation for the customer as a PDF: what it costs, what is in it, what is not."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from decimal import Decimal
from typing import Any

from byrewright.documents.format import System, prose
from byrewright.documents.plan_sheets import GENERAL, plan_sheets, plan_svg
from byrewright.documents.quote_units import others_in, quote_in, running_in
from byrewright.documents.schematic import INVENTED, Issue
from byrewright.documents.typeset import pdf
from byrewright.plant.plant import Plant
from byrewright.quote.alternates import Difference
from byrewright.quote.money import plain_number, shown, total
from byrewright.quote.prices import PER_METRIC
from byrewright.quote.quotation import Line, Quote
from byrewright.quote.running import Part, Running
from byrewright.standards.cautions import CAUTIONS, LEAD
from byrewright.standards.units import US_UNITS
from byrewright.studies.sizing.sizes import listed

CAUTIONS_SHOWN = ("electricity", "refrigerant", "pits", "pressure", "rotating")
"""Hazards of installing; those of running stand in the other papers."""


def quotation_pdf(
    plant: Plant,
    quote: Quote,
    running: Running | None = None,
    others: Sequence[Difference] = (),
    units: System = "metric",
    paper: str = "a4",
) -> bytes:
    """The quotation as PDF bytes: the same input gives the same bytes.

    Args:
        plant: for its plan and name.
        quote: the priced lines.
        running: the cost of running it, where it was asked.
        others: alternates with their differences.
        units: units of amounts and figures.
        paper: "a4" or "letter".
    """
    return pdf("quotation.typ", quotation_data(plant, quote, running, others, units, paper))


def quotation_data(
    plant: Plant,
    quote: Quote,
    running: Running | None,
    others: Sequence[Difference],
    units: System,
    paper: str,
) -> dict[str, Any]:
    """All that the template shows, as plain data."""
    quote, running, others = (
        quote_in(quote, units),
        running_in(running, units),
        others_in(others, units),
    )
    code = quote.currency
    name = " ".join(plant.site.name.replace(INVENTED, "").split()) or plant.site.name
    plan = next((s for s in plan_sheets(plant, units) if s.key.startswith(GENERAL)), None)
    issue = Issue(date=quote.on.isoformat(), revision="A")
    return {
        "paper": "us-letter" if paper == "letter" else "a4",
        "title": name,
        "invented": quote.invented,
        "number": quote.number,
        "from": quote.offered_by,
        "date": quote.on.isoformat(),
        "valid": "" if quote.valid_until is None else quote.valid_until.isoformat(),
        "whole": quote.whole,
        "answer": _answer(quote),
        "currency": code,
        "sections": [[s.capitalize(), shown(quote.sums(s)[3])] for s in quote.sections],
        "net": shown(quote.net),
        "tax": None if quote.tax_pct is None else
        [f"{quote.tax_name.capitalize()}, {plain_number(quote.tax_pct)} %", shown(quote.tax)],
        "gross": shown(quote.gross),
        "stages": [[at, f"{plain_number(pct)} %", shown(sum)] for at, pct, sum in quote.stages],
        "missing": [
            [n.title, prose(n.plate), _amount(n)] for n in quote.missing
        ],
        "lists": [
            {"title": s.capitalize(), "rows": [
                [title, prose(plate), amount,
                 "no price" if price is None else shown(price)]
                for title, plate, amount, price in _listed(quote, s)
            ]}
            for s in quote.sections
        ],
        "excluded": [e.sentence for e in quote.excluded],
        "alternates": [
            {"sentence": prose(o.sentence), "says": o.says,
             "changes": [prose(c) for c in o.changes],
             "looked_at": listed(o.looked_at)}
            for o in others
        ],
        "running": None if running is None else {
            "sentence": prose(_spaced(running)),
            "basis": running.basis,
            "rows": [
                [p.what, _of_year(p),
                 "not stated" if p.cost is None else shown(p.cost),
                 "" if p.least is None or p.most is None
                 else f"{shown(p.least)} to {shown(p.most)}"]
                for p in running.parts
            ],
        },
        "notes": list(quote.notes),
        "work": f"{quote.hours} hours of work on site are in the price: about {quote.days} days of "
        f"a crew of {quote.people}.",
        "cautions": [CAUTIONS[k] for k in CAUTIONS_SHOWN if k in CAUTIONS],
        "lead": LEAD,
        "plan": None if plan is None else
        {"title": plan.title, "svg": plan_svg(plant, plan, issue=issue)},
    }  # fmt: skip


def _listed(quote: Quote, section: str) -> Iterator[tuple[str, str, str, Decimal | None]]:
    """The lines of a section; those of one title together, but for machines."""
    alike: dict[object, list[Line]] = {}
    for line in quote.lines:
        if line.section == section:
            apart = section == "machines" or line.price is None
            alike.setdefault(line.number if apart else line.title, []).append(line)
    for first, *rest in alike.values():
        every = (first, *rest)
        whole = replace(first, amount=total(n.amount for n in every))
        price = None if first.price is None else total(n.price for n in every if n.price)
        yield first.title, "" if rest else first.plate, _amount(whole), price


def _answer(quote: Quote) -> str:
    net = shown(quote.net, quote.currency)
    if quote.whole:
        return f"The price is {net} without tax."
    many = len(quote.missing)
    lines = "One line has" if many == 1 else f"{many} lines have"
    return f"This total is not whole: {lines} no price yet. The other lines come to {net}."


def _spaced(running: Running) -> str:
    code = running.currency
    short = "" if running.whole else " It is not whole: some prices are not stated."
    return (
        f"About {shown(running.year, code)} a year ({shown(running.year_least)} to "
        f"{shown(running.year_most)}), and {shown(running.years, code)} over 15 years "
        f"({shown(running.least)} to {shown(running.most)}).{short}"
    )


def _amount(line: Line) -> str:
    if line.unit == "each":
        return plain_number(line.amount)
    if line.unit in PER_METRIC:
        return f"{line.amount:.0f} {line.unit}"
    return f"{plain_number(line.amount)} {line.unit}"


def _of_year(part: Part) -> str:
    whole = part.unit in US_UNITS.values() and part.unit not in US_UNITS
    amount = f"{part.amount:.0f}" if whole else plain_number(part.amount)
    return f"{amount} {part.unit}"
