"""What the plant costs to run: a year from the simulated day, and over fifteen, with a range."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal

from byrewright.plant.plant import Plant
from byrewright.quote.money import cents, exact, total
from byrewright.quote.terms import Terms
from byrewright.results import Result
from byrewright.standards.installing import RUNNING
from byrewright.standards.rulebook import Rulebook

DAYS = 365
YEARS = 15


@dataclass(frozen=True, slots=True)
class Part:
    """One cost: how much of what a year, its price where stated, and the cost, with its least and
    most: use and price each as far off as the rulebook allows."""

    what: str
    amount: Decimal
    unit: str
    price: Decimal | None
    cost: Decimal | None
    said: str
    least: Decimal | None = None
    most: Decimal | None = None


@dataclass(frozen=True, slots=True)
class Running:
    """A year's parts, its sum with least and most, and the same over fifteen years."""

    currency: str
    parts: tuple[Part, ...]
    year: Decimal
    year_least: Decimal
    year_most: Decimal
    years: Decimal
    least: Decimal
    most: Decimal
    whole: bool
    basis: str

    @property
    def sentence(self) -> str:
        """The answer in words."""
        short = "" if self.whole else " It is not whole: some prices are not stated."
        return (
            f"Running it costs about {self.year} {self.currency} a year ({self.year_least} to "
            f"{self.year_most}), and {self.years} over {YEARS} years ({self.least} to "
            f"{self.most}).{short}"
        )


def running_cost(plant: Plant, day: Result, terms: Terms, rules: Rulebook) -> Running:
    """The yearly cost from one simulated day: electricity at the farm's tariff, water and more.

    The day stands for the year. Each part has its own range, of use and of price; the range of the
    sum takes the parts as independent (root of the squares about the mean), and that over the
    years also a rise of prices that is off.

    Args:
        plant: for the currency.
        day: the day study's result.
        terms: prices of water, chemicals, milking work and service.
        rules: for the ranges.
    """
    found = {f.key: f for f in day.findings}
    priced = terms.running
    parts: list[Part] = []

    def put(name: str, amount: Decimal, unit: str, price: Decimal | None, said: str) -> None:
        cost = least = most = None
        if price is not None:
            cost = cents(amount * price)
            least, most = (
                cents(cost * exact(rules.number(f"quote.{name}_use_{end}"))
                      * exact(rules.number(f"quote.{name}_price_{end}")))
                for end in ("low", "high")
            )  # fmt: skip
        parts.append(Part(RUNNING[name][0], amount, unit, price, cost, said, least, most))

    def add(key: str, name: str, unit: str, price: float | None) -> None:
        value = found[key].value if key in found else None
        if value is None:
            return
        amount = exact(round(value * DAYS, 1))
        said = "no price is stated" if price is None else f"{amount:f} {unit} at {price:g}"
        put(name, amount, unit, None if price is None else exact(price), said)

    energy = found.get("day.energy_cost")
    if energy is not None and energy.value is not None:
        put("electricity", Decimal(DAYS), "days", cents(exact(energy.value)),
            "the day's use at the farm's tariff")  # fmt: skip
    add("day.water_day", "water", "m3", priced.water_m3)
    add("day.chemicals", "chemicals", "L", priced.chemicals_l)
    add("day.labour", "labour", "h", priced.labour_h)
    service = None if priced.service_year is None else cents(exact(priced.service_year))
    put("service", Decimal(1), "year", service,
        "no price is stated" if service is None else "as stated")  # fmt: skip
    year = total(p.cost for p in parts if p.cost is not None)
    year_least = cents(year - _apart(p.cost - p.least for p in parts if p.cost and p.least))
    year_most = cents(year + _apart(p.most - p.cost for p in parts if p.cost and p.most))
    spread = rules.number("quote.rise_spread_pct")

    def over(each: Decimal, rise_pct: float) -> Decimal:
        rise = 1 + exact(rise_pct) / 100
        return total(cents(each * rise**i) for i in range(YEARS))

    return Running(
        terms.currency or plant.site.currency, tuple(parts), year, year_least, year_most,
        over(year, priced.rise_pct), over(year_least, priced.rise_pct - spread),
        over(year_most, priced.rise_pct + spread), all(p.cost is not None for p in parts),
        f"One simulated day stands for the year. {day.days_are_of} Prices rise by "
        f"{priced.rise_pct:g} % a year, give or take {spread:g}. Each part has its own range "
        "of use and price (common practice); the sum takes them as independent.",
    )  # fmt: skip


def _apart(distances: Iterable[Decimal]) -> Decimal:
    """How far a sum may be off whose parts are off independently: the root of the squares."""
    return sum((d * d for d in distances), Decimal(0)).sqrt()
