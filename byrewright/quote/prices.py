"""A price list: rows for kinds of things, each with the figures that it is good for."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal

from byrewright.errors import ByrewrightError
from byrewright.standards.units import UnitError, parse_quantity
from byrewright.studies.count import Figures

COLUMNS: Mapping[str, str] = {
    "item": "kind of thing, such as vacuum_pump, pipe, bend, valve, labour",
    "where": "figures it is good for: capacity_l_min_free=4000..6000; speed=variable",
    "article": "your own article number",
    "description": "in your words",
    "unit": "each, m or ft, h, km or mi, day",
    "cost": "cost of one unit, before discount",
    "currency": "three letters; the quotation's where left empty",
    "supplier": "who sells it",
    "lead_days": "days from order to site",
    "discount_group": "a group of the sheet Discounts",
    "from_amount": "the price holds from this amount on",
    "valid_until": "last day of the price, year-month-day",
}
"""Columns of a price list and what stands in each."""
NEEDED = ("item", "unit", "cost")
UNITS = ("each", "m", "h", "km", "day")
PER_METRIC: Mapping[str, tuple[str, Decimal]] = {
    "ft": ("m", Decimal("0.3048")), "mi": ("km", Decimal("1.609344")),
}  # fmt: skip
"""Units of a US price list: the one that is counted in, and how many of it one is."""
_CONDITION = re.compile(r"\s*([a-z][a-z0-9_]*)\s*(<=|>=|=)\s*(.+?)\s*\Z")
NEAR = 1e-6


class PriceListError(ByrewrightError):
    """A price list that cannot be used: one clear sentence for each thing wrong in it."""

    def __init__(self, faults: Sequence[str]) -> None:
        self.faults = tuple(faults)
        super().__init__("\n".join(self.faults))

    def __reduce__(self) -> tuple[type[PriceListError], tuple[tuple[str, ...]]]:
        return type(self), (self.faults,)


@dataclass(frozen=True, slots=True)
class Condition:
    """A figure and what it must be: a word, or a number from `low` to `high`."""

    figure: str
    low: float = -math.inf
    high: float = math.inf
    word: str | None = None

    def holds(self, figures: Figures) -> bool:
        """Whether a thing with these figures meets it; a figure that is not there does not."""
        value = figures.get(self.figure)
        if value is None:
            return False
        if self.word is not None or isinstance(value, str):
            return str(value).casefold() == (self.word or "").casefold()
        slack = NEAR * max(1.0, abs(value))
        return self.low - slack <= value <= self.high + slack

    def __str__(self) -> str:
        if self.word is not None:
            return f"{self.figure}={self.word}"
        if self.low == self.high:
            return f"{self.figure}={self.low:g}"
        if self.low == -math.inf:
            return f"{self.figure}<={self.high:g}"
        if self.high == math.inf:
            return f"{self.figure}>={self.low:g}"
        return f"{self.figure}={self.low:g}..{self.high:g}"


def conditions(text: str, units: Mapping[str, str] | None = None) -> tuple[Condition, ...]:
    """The conditions of a `where` cell; numbers may carry a unit (`bore_mm=2in`).

    >>> [str(c) for c in conditions("bore_mm=40..65; motor_kw<=15; service=milk")]
    ['bore_mm=40..65', 'motor_kw<=15', 'service=milk']

    Raises:
        ValueError: a part cannot be read; the sentence says which.
    """
    found = []
    for part in text.split(";"):
        if not part.strip():
            continue
        match = _CONDITION.match(part)
        if match is None:
            raise ValueError(f"{part.strip()!r} is not a condition; write figure=5, figure=4..6, "
                             "figure<=6, figure>=4 or figure=word")  # fmt: skip
        name, sign, value = match.groups()
        unit = (units or {}).get(name, "")
        low, two, high = value.partition("..")
        if sign == "=" and two:
            ends = _number(low, unit), _number(high, unit)
            if ends[0] is None or ends[1] is None or ends[0] > ends[1]:
                raise ValueError(f"{part.strip()!r}: write the range as two numbers, small..large")
            found.append(Condition(name, ends[0], ends[1]))
            continue
        number = _number(value, unit)
        if number is None and sign != "=":
            raise ValueError(f"{part.strip()!r}: {value} is not a number")
        if number is None:
            found.append(Condition(name, word=value))
        else:
            least = number if sign in ("=", ">=") else -math.inf
            most = number if sign in ("=", "<=") else math.inf
            found.append(Condition(name, least, most))
    return tuple(found)


def _number(text: str, unit: str) -> float | None:
    try:
        number = float(text)
    except ValueError:
        try:
            return parse_quantity(text.strip(), unit) if unit else None
        except UnitError:
            return None
    return number if math.isfinite(number) else None


@dataclass(frozen=True, slots=True)
class PriceRow:
    """A row of the list. `at` says where it stands, for people; `cost` None: not filled in."""

    at: str
    item: str
    where: tuple[Condition, ...]
    unit: str
    cost: Decimal | None
    article: str = ""
    description: str = ""
    currency: str = ""
    supplier: str = ""
    lead_days: int | None = None
    discount_group: str = ""
    from_amount: Decimal = Decimal(0)
    valid_until: date | None = None

    @property
    def offer(self) -> tuple[object, ...]:
        """What rows share that are breaks of one price."""
        return self.item, self.where, self.article, self.supplier, self.unit, self.currency

    @property
    def name(self) -> str:
        """The row in words."""
        what = self.article or self.description or self.item
        return f"{self.at} ({what}{', ' + self.supplier if self.supplier else ''})"


@dataclass(frozen=True, slots=True)
class Rate:
    """What one unit of a currency is worth in the quotation's, and on which day."""

    rate: Decimal
    on: date


@dataclass(frozen=True, slots=True)
class PriceList:
    """Rows, discounts in percent by group, rates by currency."""

    name: str
    rows: tuple[PriceRow, ...]
    discounts: Mapping[str, Decimal] = field(default_factory=dict)
    rates: Mapping[str, Rate] = field(default_factory=dict)
    invented: bool = False
    """Whether the list says of itself that it is invented."""

    def discount_pct(self, row: PriceRow) -> Decimal:
        """The discount on a row, percent."""
        return self.discounts.get(row.discount_group, Decimal(0))

    def rate(self, row: PriceRow, currency: str) -> Decimal:
        """What the row's currency is worth in another."""
        if row.currency in ("", currency):
            return Decimal(1)
        return self.rates[row.currency].rate
