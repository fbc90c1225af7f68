"""Which row of the price list is the price of a thing, and what to say where none is."""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Literal, Protocol

from byrewright.quote.prices import PriceList, PriceRow
from byrewright.studies.count import Figures

Why = Literal["priced", "no row", "not filled in", "doubly matched", "out of date", "too few",
              "other unit"]  # fmt: skip


class Wanted(Protocol):
    """Something that needs a price: a thing of the count, or a task."""

    @property
    def kind(self) -> str: ...
    @property
    def figures(self) -> Figures: ...
    @property
    def by(self) -> tuple[str, ...]: ...
    @property
    def title(self) -> str: ...
    @property
    def plate(self) -> str: ...
    @property
    def tags(self) -> tuple[str, ...]: ...


@dataclass(frozen=True, slots=True)
class Match:
    """The row for a thing, or why there is none and what would match."""

    why: Why
    row: PriceRow | None = None
    sentence: str = ""


def match(
    one: Wanted,
    amount: Decimal,
    unit: str,
    prices: PriceList,
    on: date,
    articles: Mapping[str, str],
) -> Match:
    """The row that prices so many of a thing on a day.

    Rows whose article is the one named for a tag win over rows that match by kind and figures.
    Rows that differ only in `from_amount` are breaks of one price: the largest reached counts.
    """
    asked = {articles[tag] for tag in one.tags if tag in articles}
    if asked:
        found = [r for r in prices.rows if r.article in asked]
        if not found:
            names = ", ".join(sorted(asked))
            return Match("no row", None, f"article {names} is not in the price list")
    else:
        found = [r for r in prices.rows if r.item == one.kind
                 and all(c.holds(one.figures) for c in r.where)]  # fmt: skip
    if not found:
        return Match("no row", None, f"no row matches; one with {would_match(one)} would")
    fitting = [r for r in found if r.unit == unit]
    if not fitting:
        return Match("other unit", None, f"{found[0].name} is priced by the {found[0].unit}; it is "
                     f"counted by {unit}")  # fmt: skip
    dated = [r for r in fitting if r.valid_until is None or r.valid_until >= on]
    if not dated:
        last = max(fitting, key=lambda r: r.valid_until or on)
        return Match("out of date", None, f"{last.name} was valid until {last.valid_until}; a new "
                     "price is needed")  # fmt: skip
    filled = [r for r in dated if r.cost is not None]
    if not filled:
        return Match("not filled in", None, f"{dated[0].name} has no cost yet")
    offers = {r.offer for r in filled}
    if len(offers) > 1:
        names = " and ".join(next(r.name for r in filled if r.offer == o) for o in
                             sorted(offers, key=str))  # fmt: skip
        return Match("doubly matched", None, f"{names} both match; make their figures differ, or "
                     "name the article for the tag in the terms")  # fmt: skip
    reached = [r for r in filled if r.from_amount <= amount]
    if not reached:
        least = min(filled, key=lambda r: r.from_amount)
        return Match("too few", None, f"{least.name} is sold from {least.from_amount:f} on")
    at_step = max(r.from_amount for r in reached)
    steps = [r for r in reached if r.from_amount == at_step]
    if len({r.cost for r in steps}) > 1:
        names = " and ".join(r.name for r in steps)
        return Match("doubly matched", None, f"{names} both match with different costs")
    return Match("priced", steps[0])


def would_match(one: Wanted) -> str:
    """The item and the figures of a row that would match, as they are written in a list.

    >>> from byrewright.studies.count import Item
    >>> would_match(Item("pipes", "pipe", "Pipe", {"service": "milk", "bore_mm": 48.6}, 3, "m", (),
    ...                  "measured"))
    'item pipe, where service=milk; bore_mm=48.6'
    """
    where = where_of(one)
    return f"item {one.kind}" + (f", where {where}" if where else "")


def where_of(one: Wanted) -> str:
    """The figures that a thing is ordered by, as a `where` cell."""
    kept = [(k, one.figures[k]) for k in one.by if one.figures.get(k) not in ("", None)]
    return "; ".join(f"{k}={v:g}" if isinstance(v, int | float) else f"{k}={v}" for k, v in kept)


def rows_unused(
    prices: PriceList, used: Iterable[PriceRow], wanted: Sequence[Wanted]
) -> list[tuple[PriceRow, str]]:
    """Rows of the list that price nothing of this plant, each with the reason."""
    offers = {r.offer for r in used}
    by_kind: dict[str, list[Wanted]] = {}
    for one in wanted:
        by_kind.setdefault(one.kind, []).append(one)
    found = []
    for row in prices.rows:
        if row.offer in offers:
            continue
        alike = by_kind.get(row.item, [])
        if not alike:
            near = difflib.get_close_matches(row.item, by_kind, n=1, cutoff=0.7)
            said = f"; did you mean {near[0]}?" if near else ""
            found.append((row, f"this plant has no {row.item}{said}"))
            continue
        figures = alike[0].figures
        strange = [c.figure for c in row.where if not any(c.figure in w.figures for w in alike)]
        if strange:
            known = ", ".join(figures) or "none"
            found.append((row, f"{row.item} has no figure called {strange[0]}; it has {known}"))
        elif not any(all(c.holds(w.figures) for c in row.where) for w in alike):
            near_one = max(alike, key=lambda w: sum(c.holds(w.figures) for c in row.where))
            where = where_of(near_one)
            found.append((row, f"no {row.item} of this plant has these figures; one has {where}"))
    return found
