"""A quotation in the reader's units: lengths with their prices, hours of laying, words."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import replace
from decimal import Decimal
from itertools import zip_longest

from byrewright.documents.format import System
from byrewright.documents.us_units import said_in
from byrewright.documents.us_words import text_in
from byrewright.quote.alternates import Difference
from byrewright.quote.labour import Norm
from byrewright.quote.money import plain_number
from byrewright.quote.prices import PER_METRIC, UNITS
from byrewright.quote.quotation import Line, Quote
from byrewright.quote.running import Part, Running
from byrewright.quote.template import Row
from byrewright.standards.units import US_UNITS, convert

OF = {m: us for us, (m, _) in PER_METRIC.items()}
"""What a US price list counts by, for what a metric one does."""
_LAID = re.compile(r"([\d.]+) m at ([\d.]+) h")
HOURS_A, HOURS_US = "h/m", "h/ft"
PLACES = Decimal("0.0001")


def quote_in(quote: Quote, units: System) -> Quote:
    """A quotation with its words and lengths turned; what it costs stays to the cent."""
    if units != "US":
        return quote
    return replace(
        quote,
        lines=tuple(map(_line, quote.lines)),
        norms=tuple(map(_norm, quote.norms)),
        excluded=tuple(
            replace(e, words=text_in(e.words, units), sentence=text_in(e.sentence, units),
                    counted=tuple(text_in(c, units) for c in e.counted))
            for e in quote.excluded
        ),
        unused=tuple((row, text_in(why, units)) for row, why in quote.unused),
        notes=tuple(text_in(n, units) for n in quote.notes),
    )  # fmt: skip


def running_in(running: Running | None, units: System) -> Running | None:
    """The cost of running it, amounts and prices by the reader's units."""
    if running is None or units != "US":
        return running
    return replace(running, basis=text_in(running.basis, units),
                   parts=tuple(map(_part, running.parts)))  # fmt: skip


def others_in(others: Iterable[Difference], units: System) -> tuple[Difference, ...]:
    """Alternates with their words turned."""
    return tuple(
        replace(o, sentence=text_in(o.sentence, units),
                changes=tuple(said_in(c, units, key)
                              for c, key in zip_longest(o.changes, o.keys, fillvalue="")))
        for o in others
    )  # fmt: skip


def template_in(rows: Iterable[Row], units: System, columns: Iterable[str]) -> list[Row]:
    """The rows of an empty price list, by the foot and by the mile; figures stay as in the file."""
    if units != "US":
        return list(rows)
    names = list(columns)
    at, said = names.index("unit"), names.index("description")
    found: list[Row] = []
    for row in rows:
        cells = list(row)
        cells[at] = OF.get(str(row[at]), row[at])
        cells[said] = text_in(str(row[said] or ""), units)
        found.append(tuple(cells))
    return found


def _line(line: Line) -> Line:
    own = OF.get(line.unit)
    line = replace(line, title=text_in(line.title, "US"), said=text_in(line.said, "US"),
                   plate=text_in(_LAID.sub(_laid, line.plate), "US"))  # fmt: skip
    if own is None or line.unit not in UNITS:
        return line
    _, many = PER_METRIC[own]
    return replace(
        line, unit=own, amount=line.amount / many,
        unit_cost=None if line.unit_cost is None else line.unit_cost * many,
    )  # fmt: skip


def _laid(m: re.Match[str]) -> str:
    """Hours of work by the metre, by the foot."""
    _, many = PER_METRIC["ft"]
    return f"{Decimal(m[1]) / many:.0f} ft at {plain_number(_each(Decimal(m[2])))} h"


def _each(hours: Decimal) -> Decimal:
    return (hours * PER_METRIC["ft"][1]).quantize(PLACES)


def _norm(norm: Norm) -> Norm:
    own = replace(norm, meaning=text_in(norm.meaning, "US"), source=text_in(norm.source, "US"))
    return replace(own, unit=HOURS_US, hours=_each(norm.hours)) if norm.unit == HOURS_A else own


def _part(part: Part) -> Part:
    other = US_UNITS.get(part.unit)
    if other is None:
        return part
    many = Decimal(str(convert(1.0, part.unit, other)))
    return replace(part, unit=other, amount=part.amount * many, said=text_in(part.said, "US"),
                   price=None if part.price is None else part.price / many)  # fmt: skip
