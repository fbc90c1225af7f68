"""Money: decimal, rounded half up to the cent once a line; every total is a sum of such lines."""

from __future__ import annotations

from collections.abc import Iterable
from decimal import ROUND_HALF_UP, Decimal

CENT = Decimal("0.01")
NOTHING = Decimal("0.00")
ROUNDING = "each line is rounded half up to the cent; totals are sums of the lines shown"


def cents(amount: Decimal) -> Decimal:
    """An amount of money to the cent, halves up and away from nothing.

    >>> cents(Decimal("1.005")), cents(Decimal("-1.005"))
    (Decimal('1.01'), Decimal('-1.01'))
    """
    return amount.quantize(CENT, ROUND_HALF_UP)


def exact(number: float | int | str | Decimal) -> Decimal:
    """A number as it is written, not as it is held: 0.1 is a tenth.

    >>> exact(0.1)
    Decimal('0.1')
    """
    return number if isinstance(number, Decimal) else Decimal(str(number))


def share(amount: Decimal, pct: Decimal) -> Decimal:
    """So many percent of an amount, to the cent.

    >>> share(Decimal("200.00"), Decimal("7.5"))
    Decimal('15.00')
    """
    return cents(amount * pct / 100)


def total(amounts: Iterable[Decimal]) -> Decimal:
    """The sum of amounts that are each shown to the cent."""
    return sum(amounts, NOTHING)


def shown(amount: Decimal, currency: str = "") -> str:
    """An amount as it is printed: thousands apart, two decimals.

    >>> shown(Decimal("1234567.5"), "EUR")
    '1\xa0234\xa0567.50 EUR'
    """
    return f"{amount:,.2f}".replace(",", "\u00a0") + (f" {currency}" if currency else "")


def plain_number(number: Decimal) -> str:
    """A number without the noughts that say nothing.

    >>> plain_number(Decimal("20.0")), plain_number(Decimal("100"))
    ('20', '100')
    """
    return f"{number.normalize():f}"
