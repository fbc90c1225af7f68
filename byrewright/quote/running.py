"""What the plant costs to run: a year from the simulated day, and over fifteen, with a range."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from byrewright.plant.plant import Plant
from byrewright.quote.money import cents, exact, total
from byrewright.quote.terms import Terms
from byrewright.results import Result
from byrewright.standards.rulebook import Rulebook

DAYS = 365
YEARS = 15


@dataclass(frozen=True, slots=True)
class Part:
    """One cost: how much of what a year, its price where stated, and the cost."""

    what: str
    amount: Decimal
    unit: str
    price: Decimal | None
    cost: Decimal | None
    said: str


@dataclass(frozen=True, slots=True)
class Running:
    """A year's parts, its sum, and the sum over fifteen years with least and most."""

    currency: str
    parts: tuple[Part, ...]
    year: Decimal
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
            f"Running it costs about {self.year} {self.currency} a year, and {self.years} over "
            f"{YEARS} years ({self.least} to {self.most}).{short}"
        )


def running_cost(plant: Plant, day: Result, terms: Terms, rules: Rulebook) -> Running:
    """The yearly cost from one simulated day: electricity at the farm's tariff, water and more.

    The day stands for the year; the range of the rulebook covers months and wear.

    Args:
        plant: for the currency.
        day: the day study's result.
        terms: prices of water, chemicals, milking work and service.
        rules: for the range.
    """
    found = {f.key: f for f in day.findings}
    priced = terms.running
    parts: list[Part] = []

    def add(key: str, what: str, unit: str, price: float | None) -> None:
        value = found[key].value if key in found else None
        if value is None:
            return
        amount = exact(round(value * DAYS, 1))
        cost = None if price is None else cents(amount * exact(price))
        said = "no price is stated" if price is None else f"{amount:f} {unit} at {price:g}"
        parts.append(Part(what, amount, unit, None if price is None else exact(price), cost, said))

    energy = found.get("day.energy_cost")
    if energy is not None and energy.value is not None:
        a_day = cents(exact(energy.value))
        parts.append(Part("electricity", Decimal(DAYS), "days", a_day, a_day * DAYS,
                          "the day's use at the farm's tariff"))  # fmt: skip
    add("day.water_day", "water", "m3", priced.water_m3)
    add("day.chemicals", "wash chemicals", "L", priced.chemicals_l)
    add("day.labour", "milking work", "h", priced.labour_h)
    service = None if priced.service_year is None else cents(exact(priced.service_year))
    parts.append(Part("parts and service", Decimal(1), "year", service, service,
                      "no price is stated" if service is None else "as stated"))  # fmt: skip
    year = total(p.cost for p in parts if p.cost is not None)
    rise = 1 + exact(priced.rise_pct) / 100
    years = total(cents(year * rise**i) for i in range(YEARS))
    least, most = (
        cents(years * exact(rules.number(f"quote.running_{end}_share"))) for end in ("low", "high")
    )
    return Running(
        terms.currency or plant.site.currency, tuple(parts), year, years, least, most,
        all(p.cost is not None for p in parts),
        f"One simulated day stands for the year; prices rise by {priced.rise_pct:g} % a year; the "
        "range is common practice.",
    )  # fmt: skip
