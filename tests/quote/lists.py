"""Small price lists and a plant for tests of the quotation; every price is invented."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from functools import cache

from byrewright.plant.plant import Plant
from byrewright.quote.prices import PriceList, PriceRow
from byrewright.quote.quotation import items_of
from byrewright.quote.terms import Terms
from byrewright.standards.rulebook import default_rulebook
from tests.plants import rows

DAY = date(2026, 3, 10)


@cache
def plant() -> Plant:
    """Stalls in rows, with all that belongs to them."""
    return rows()


@cache
def kinds_wanted() -> tuple[tuple[str, str], ...]:
    """Item and unit of everything that the plant needs a price for."""
    items, work = items_of(plant(), default_rulebook(), Terms())
    wanted = [(one.kind, str(one.unit)) for one in items]
    return tuple(dict.fromkeys([*wanted, *(("labour", "h") for _ in work)]))


def row(item: str, cost: Decimal | str | None, unit: str = "each", **more: object) -> PriceRow:
    """A row of a list."""
    worth = None if cost is None else Decimal(cost)
    filled = {"at": f"list, {item}", "where": (), **more}
    return PriceRow(item=item, unit=unit, cost=worth, **filled)  # type: ignore[arg-type]


def whole_list(costs: list[Decimal] | None = None, **more: object) -> PriceList:
    """A row for every kind of thing; costs go round."""
    costs = costs or [Decimal("12.35"), Decimal("99.995"), Decimal("0.3333")]
    made = tuple(
        row(kind, costs[i % len(costs)], unit) for i, (kind, unit) in enumerate(kinds_wanted())
    )
    return PriceList("list", made, **more)  # type: ignore[arg-type]
