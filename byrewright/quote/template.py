"""An empty price list for a plant: a row for everything it needs a price for."""

from __future__ import annotations

from byrewright.plant.plant import Plant
from byrewright.quote.match import where_of
from byrewright.quote.prices import COLUMNS
from byrewright.quote.quotation import items_of
from byrewright.quote.terms import Terms
from byrewright.standards.rulebook import Rulebook

Row = tuple[str | float | None, ...]


def template_rows(plant: Plant, rules: Rulebook, terms: Terms) -> list[Row]:
    """The rows of an empty list, column for column as `COLUMNS`; costs are left empty."""
    items, work = items_of(plant, rules, terms)
    rows: list[Row] = []
    seen = set()
    for one in items:
        where = where_of(one)
        if (one.kind, where) not in seen:
            seen.add((one.kind, where))
            rows.append(_row(one.kind, where, f"{one.title} {one.plate}".strip(), one.unit))
    if work:
        rows.append(_row("labour", "", "an hour of a fitter", "h"))
    if terms.travel is not None:
        rows.append(_row("travel", "", "a kilometre of a vehicle with its crew", "km"))
    rows += [_row("hire", f"what={one.what}", one.what, "day") for one in terms.hire]
    return rows


def _row(item: str, where: str, description: str, unit: str) -> Row:
    filled = {"item": item, "where": where, "description": description, "unit": unit}
    return tuple(filled.get(name) for name in COLUMNS)
