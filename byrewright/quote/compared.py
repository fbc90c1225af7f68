"""Two revisions of a plant side by side: what is in them, what the studies say, what they cost."""

from __future__ import annotations

from datetime import date
from pathlib import Path

from byrewright.plant.plant import Plant
from byrewright.quote.quotation import price_changes, quote
from byrewright.quote.read_prices import read_prices
from byrewright.quote.terms import Terms, read_terms
from byrewright.standards.rulebook import Rulebook
from byrewright.studies.changes import TOPICS, Change, changes, study_changes
from byrewright.studies.every import STUDIES, Say

QUICK = ("sizing", "place")
"""Studies that are always asked of both."""


def compared(
    before: Plant, after: Plant, rules: tuple[Rulebook, Rulebook], day: date, *,
    prices_path: Path | None = None, terms_path: Path | None = None, full: bool = False,
    say: Say = lambda *_: None,
) -> list[Change]:  # fmt: skip
    """Every change between two plants, in the order of its topics.

    Args:
        before: the older revision.
        after: the newer one.
        rules: the rulebook of each.
        day: the day whose prices count.
        prices_path: a price list, to compare prices too.
        terms_path: terms of the quotation.
        full: ask every study of both, not sizing and plan alone.
        say: told each step.
    """
    say("machines, pipes and modes", 0, 1)
    found = changes(before, after)
    found += study_changes(before, after, rules, tuple(STUDIES) if full else QUICK, say)
    if prices_path is not None:
        say("price", 0, 1)
        priced = []
        for plant, own in zip((before, after), rules, strict=True):
            terms = Terms() if terms_path is None else read_terms(terms_path, plant, own)
            prices = read_prices(prices_path, terms.currency or plant.site.currency)
            priced.append(quote(plant, prices, terms, day, own))
        found += [Change("price", "changed", "", s) for s in price_changes(*priced)]
    return sorted(found, key=lambda c: TOPICS.index(c.topic))
