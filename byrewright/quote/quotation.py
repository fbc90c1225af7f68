"""The quotation: every line with where its price comes from, sums of the lines, what is open."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field, is_dataclass
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

from byrewright.plant.plant import LengthFrom, Plant
from byrewright.quote.labour import Done, Norm, Task, norms, tasks
from byrewright.quote.match import Wanted, match, rows_unused
from byrewright.quote.money import ROUNDING, cents, exact, plain_number, share, total
from byrewright.quote.prices import PriceList, PriceRow
from byrewright.quote.scope import scope_of, scopes
from byrewright.quote.terms import Terms
from byrewright.standards.installing import SCOPES
from byrewright.standards.rulebook import Rulebook, default_rulebook
from byrewright.studies.count import GROUPS, Figures, Item, count

MINE = "installer"
SECTIONS = (*GROUPS, "labour", "travel and hire")
SURE: Mapping[LengthFrom, str] = {
    "measured": "measured", "from the plan": "plan", "guessed": "guessed",
}  # fmt: skip
"""How sure an amount is, as the terms and rules call it."""


@dataclass(frozen=True, slots=True)
class Extra:
    """Travel or hire: something that needs a price beside things and hours."""

    kind: str
    title: str
    figures: Figures
    plate: str = ""
    tags: tuple[str, ...] = ()

    @property
    def by(self) -> tuple[str, ...]:
        """All figures."""
        return tuple(self.figures)


@dataclass(frozen=True, slots=True)
class Line:
    """A line of the quotation. Money is None where the price is missing; `said` tells why."""

    number: int
    section: str
    item: str
    title: str
    plate: str
    tags: tuple[str, ...]
    amount: Decimal
    unit: str
    sure: LengthFrom
    scope: str
    why: str
    said: str = ""
    article: str = ""
    supplier: str = ""
    lead_days: int | None = None
    currency: str = ""
    unit_cost: Decimal | None = None
    discount_pct: Decimal = Decimal(0)
    rate: Decimal = Decimal(1)
    cost: Decimal | None = None
    contingency_pct: Decimal = Decimal(0)
    contingency: Decimal | None = None
    margin: Decimal | None = None
    price: Decimal | None = None
    needed: date | None = None

    @property
    def order_by(self) -> date | None:
        """The last day to order it: on site less the lead time; None where either is not known."""
        if self.needed is None or self.lead_days is None:
            return None
        return self.needed - timedelta(days=self.lead_days)


@dataclass(frozen=True, slots=True)
class Excluded:
    """What another party supplies: the scope in words, who, and what of it was counted."""

    scope: str
    words: str
    party: str
    counted: tuple[str, ...]
    sentence: str


@dataclass(frozen=True, slots=True)
class Quote:
    """A whole quotation. Amounts of money are in `currency`."""

    plant: str
    invented: bool
    currency: str
    on: date
    number: str
    offered_by: str
    lines: tuple[Line, ...]
    excluded: tuple[Excluded, ...]
    norms: tuple[Norm, ...]
    unused: tuple[tuple[str, str], ...]
    warnings: tuple[str, ...]
    margin_pct: Decimal
    tax_pct: Decimal | None
    tax_name: str
    valid_until: date | None
    hours: Decimal
    days: int
    people: int
    matrix: tuple[tuple[str, str, str], ...]
    stage_terms: tuple[tuple[str, Decimal], ...]
    notes: tuple[str, ...] = field(default=())

    @property
    def missing(self) -> tuple[Line, ...]:
        """The lines without a price."""
        return tuple(line for line in self.lines if line.price is None)

    @property
    def whole(self) -> bool:
        """Whether every line has a price."""
        return not self.missing

    def sums(self, section: str | None = None) -> tuple[Decimal, Decimal, Decimal, Decimal]:
        """Cost, contingency, margin and price of the lines shown, all or those of a section."""
        lines = [n for n in self.lines if section in (None, n.section)]
        return (
            total(n.cost for n in lines if n.cost is not None),
            total(n.contingency for n in lines if n.contingency is not None),
            total(n.margin for n in lines if n.margin is not None),
            total(n.price for n in lines if n.price is not None),
        )

    @property
    def sections(self) -> tuple[str, ...]:
        """The sections that have lines, in their order."""
        held = {n.section for n in self.lines}
        return tuple(s for s in SECTIONS if s in held)

    @property
    def net(self) -> Decimal:
        """The price without tax: the sum of the lines shown."""
        return self.sums()[3]

    @property
    def tax(self) -> Decimal:
        """Tax on the price; nothing where no tax is stated."""
        return share(self.net, self.tax_pct or Decimal(0))

    @property
    def gross(self) -> Decimal:
        """The price with tax."""
        return self.net + self.tax

    @property
    def stages(self) -> tuple[tuple[str, Decimal, Decimal], ...]:
        """Payments: when, percent, amount. The last takes what rounding leaves."""
        found: list[tuple[str, Decimal, Decimal]] = []
        left = self.gross
        for i, (at, pct) in enumerate(self.stage_terms):
            amount = left if i == len(self.stage_terms) - 1 else share(self.gross, pct)
            left -= amount
            found.append((at, pct, amount))
        return tuple(found)

    @property
    def answer(self) -> str:
        """The total in a sentence, which says when it is not whole."""
        words = f"{self.net} {self.currency} without tax"
        if self.whole:
            return f"The price is {words}."
        many = len(self.missing)
        lines = "1 line has" if many == 1 else f"{many} lines have"
        return f"The total is not whole: {lines} no price. The other lines come to {words}."

    def to_dict(self) -> dict[str, Any]:
        """Plain data for JSON; money as text, so that no cent is lost."""
        cost, contingency, margin, net = self.sums()
        data = asdict(self)
        data |= {
            "answer": self.answer,
            "whole": self.whole,
            "missing": [line.number for line in self.missing],
            "rounding": ROUNDING,
            "totals": {
                "cost": cost, "contingency": contingency, "margin": margin, "net": net,
                "tax": self.tax, "gross": self.gross,
            },
            "sections": [
                {"section": s, "price": self.sums(s)[3]} for s in self.sections
            ],
            "stages": [{"at": a, "pct": p, "amount": m} for a, p, m in self.stages],
        }  # fmt: skip
        del data["stage_terms"]
        found: dict[str, Any] = plain(data)
        return found


def plain(value: Any) -> Any:
    """Records, amounts and days as plain data for JSON."""
    if is_dataclass(value) and not isinstance(value, type):
        value = asdict(value)
    if isinstance(value, dict):
        return {str(k): plain(v) for k, v in value.items()}
    if isinstance(value, list | tuple):
        return [plain(v) for v in value]
    if isinstance(value, Decimal):
        return f"{value:f}"
    return value.isoformat() if isinstance(value, date) else value


def quote(
    plant: Plant,
    prices: PriceList,
    terms: Terms,
    on: date,
    rules: Rulebook | None = None,
    done: Mapping[str, Done] | None = None,
) -> Quote:
    """Price a plant: the one count and the work it asks for, by a price list and terms, on a day.

    Args:
        plant: the plant.
        prices: the user's list.
        terms: currency, margin, who supplies what, and so on.
        on: the day of the quotation; prices out of date on it count as missing.
        rules: the rulebook with norms and contingencies.
        done: hours of finished jobs, which correct the norms.
    """
    rules = rules or default_rulebook()
    maker = _Maker(plant, prices, terms, on, rules)
    items = [one for one in count(plant, rules) if one.amount > 0]
    known = norms(terms, rules, done or {})
    work = tasks(plant, items, known, maker.by_tag)
    for one in items:
        amount = exact(one.to_order)
        maker.take(one.group, one, amount, one.unit, one.sure, scope_of(one, maker.by_tag))
    for task in work:
        maker.take("labour", task, task.hours, "h", task.sure, task.scope)
    hours = total(n.amount for n in maker.lines if n.section == "labour")
    crew_hours = exact(terms.crew.people) * exact(terms.crew.hours_day)
    days = math.ceil(hours / crew_hours) if hours else 0
    if terms.travel is not None and days:
        km = exact(terms.travel.km_each_way) * 2 * days * terms.travel.vehicles
        words = f"{days} days, {terms.travel.km_each_way:g} km each way"
        maker.take("travel and hire", Extra("travel", "Travel", {}, words), km, "km", "guessed",
                   "travel")  # fmt: skip
    for one_hire in terms.hire:
        extra = Extra("hire", f"Hire of {one_hire.what}", {"what": one_hire.what})
        maker.take("travel and hire", extra, exact(one_hire.days), "day", "guessed", "hire")
    return Quote(
        plant=plant.site.name,
        invented=prices.invented or "(invented)" in plant.site.name,
        currency=maker.currency,
        on=on,
        number=terms.number,
        offered_by=terms.offered_by,
        lines=tuple(maker.lines),
        excluded=tuple(maker.excluded()),
        norms=tuple(known[t] for t in dict.fromkeys(t.norm.key for t in work)),
        unused=tuple((r.name, why) for r, why in rows_unused(prices, maker.used, maker.wanted)),
        warnings=tuple(maker.warnings()),
        margin_pct=exact(terms.margin_pct),
        tax_pct=None if terms.tax_pct is None else exact(terms.tax_pct),
        tax_name=terms.tax_name,
        valid_until=maker.valid_until(),
        hours=hours,
        days=days,
        people=terms.crew.people,
        matrix=tuple((s, words, terms.party(s, "", ())) for s, (words, _) in SCOPES.items()),
        stage_terms=tuple((s.at, exact(s.pct)) for s in terms.stages),
        notes=tuple(maker.notes()),
    )


@dataclass(slots=True)
class _Counted:
    """So much of one sort of thing that somebody else supplies."""

    amount: Decimal = Decimal(0)
    tags: tuple[str, ...] = ()

    def words(self, title: str, unit: str) -> str:
        """The thing with its amount, and its tags where they are few."""
        tags = f" ({', '.join(self.tags)})" if 0 < len(self.tags) <= TAGS_NAMED else ""
        many = plain_number(self.amount)
        if unit == "each":
            return f"{title}{tags}" if self.amount == 1 else f"{many} x {title}{tags}"
        return f"{many} {unit} of {title.lower()}"


class _Maker:
    """Collects the lines of a quotation, and what others supply."""

    def __init__(
        self, plant: Plant, prices: PriceList, terms: Terms, on: date, rules: Rulebook
    ) -> None:
        self.plant, self.prices, self.terms, self.on, self.rules = plant, prices, terms, on, rules
        self.currency = terms.currency or plant.site.currency
        self.by_tag = scopes(plant)
        self.lines: list[Line] = []
        self.used: list[PriceRow] = []
        self.wanted: list[Wanted] = []
        self.others: dict[tuple[str, str], dict[tuple[str, str], _Counted]] = {}
        stated = terms.contingency
        self.contingency: dict[LengthFrom, Decimal] = {
            sure: exact(
                rules.number(f"quote.contingency_{name}_pct")
                if (pct := getattr(stated, f"{name}_pct")) is None
                else pct
            )
            for sure, name in SURE.items()
        }

    def take(
        self, section: str, one: Wanted, amount: Decimal, unit: str, sure: LengthFrom, scope: str
    ) -> None:
        """A line where the installer supplies it; else it is counted for who does."""
        mine: tuple[str, ...] = one.tags
        if scope in SCOPES:
            by_party: dict[str, list[str]] = {}
            for tag in one.tags or ("",):
                named = (tag,) if tag else ()
                by_party.setdefault(self.terms.party(scope, one.kind, named), []).append(tag)
            if MINE not in by_party:
                party = next(iter(by_party))
                self._hand_over(scope, party, one, amount, unit, one.tags)
                self.wanted.append(one)
                return
            if len(by_party) > 1 and section == "machines":
                amount = self._split(scope, one, amount, by_party)
                mine = tuple(by_party[MINE])
        found = match(one, amount, unit, self.prices, self.on, self.terms.articles)
        self.wanted.append(one)
        line = Line(
            len(self.lines) + 1, section, one.kind, one.title, one.plate, mine, amount, unit,
            sure, scope, found.why, found.sentence,
            contingency_pct=self.contingency[sure],
            needed=self.terms.needed_on(scope, one.kind, mine),
        )  # fmt: skip
        self.lines.append(line if found.row is None else self._priced(line, found.row))

    def _split(
        self, scope: str, one: Wanted, amount: Decimal, by_party: Mapping[str, list[str]]
    ) -> Decimal:
        """Hand the tags of others to them; how many are left to us."""
        for party, tags in by_party.items():
            if party != MINE:
                many = sum(self.plant.equipment[t].count for t in tags)
                self._hand_over(scope, party, one, Decimal(many), "each", tuple(tags))
                amount -= many
        return amount

    def _hand_over(
        self, scope: str, party: str, one: Wanted, amount: Decimal, unit: str, tags: tuple[str, ...]
    ) -> None:
        """Count something for who supplies it; hours of others are theirs to reckon."""
        if one.kind == "labour":
            return
        held = self.others.setdefault((scope, party), {})
        counted = held.setdefault((one.title, unit), _Counted())
        counted.amount += amount
        counted.tags += tags

    def _priced(self, line: Line, row: PriceRow) -> Line:
        from dataclasses import replace

        self.used.append(row)
        assert row.cost is not None  # a match has a cost
        discount, rate = self.prices.discount_pct(row), self.prices.rate(row, self.currency)
        cost = cents(line.amount * row.cost * (100 - discount) / 100 * rate)
        contingency = share(cost, line.contingency_pct)
        pct = exact(self.terms.margin_pct)
        margin = cents((cost + contingency) * pct / (100 - pct))
        return replace(
            line, article=row.article, supplier=row.supplier, lead_days=row.lead_days,
            currency=row.currency or self.currency, unit_cost=row.cost, discount_pct=discount,
            rate=rate, cost=cost, contingency=contingency, margin=margin,
            price=cost + contingency + margin,
        )  # fmt: skip

    def excluded(self) -> list[Excluded]:
        """What others supply, scope by scope, each in a sentence."""
        found = []
        for scope, (words, _) in SCOPES.items():
            parties = {p for s, p in self.others if s == scope}
            usual = self.terms.party(scope, "", ())
            if usual != MINE:
                parties.add(usual)
            for party in sorted(parties - {MINE}):
                held = self.others.get((scope, party), {})
                counted = tuple(c.words(title, unit) for (title, unit), c in held.items())
                said = exclusion(words, party, counted, whole=party == usual)
                found.append(Excluded(scope, words, party, counted, said))
        return found

    def warnings(self) -> list[str]:
        """Old rates, and what comes too late if it is ordered on the day of the quotation."""
        late = sorted((n.order_by, n.title, n.needed) for n in self.lines
                      if n.order_by is not None and n.order_by < self.on)  # fmt: skip
        told = [f"{what} had to be ordered by {by} to be on site by {needed}; so did "
                f"{len(late) - 1} more: see the orders." if len(late) > 1 else
                f"{what} had to be ordered by {by} to be on site by {needed}."
                for by, what, needed in late[:1]]  # fmt: skip
        oldest = self.rules.number("quote.rate_old_days")
        codes = {r.currency for r in self.used if r.currency not in ("", self.currency)}
        return told + [
            f"The rate of {code} is of {rate.on}, {(self.on - rate.on).days} days old: look it up "
            "again."
            for code, rate in sorted(self.prices.rates.items())
            if code in codes and (self.on - rate.on).days > oldest
        ]

    def valid_until(self) -> date | None:
        """The last day of the offer: never beyond the first price used that ends."""
        ends = [r.valid_until for r in self.used if r.valid_until is not None]
        if self.terms.valid_days is not None:
            ends.append(self.on + timedelta(days=self.terms.valid_days))
        return min(ends, default=None)

    def notes(self) -> list[str]:
        """What the total rests on, in sentences."""
        named = {k: f"{plain_number(v)} %" for k, v in self.contingency.items()}
        found = [
            f"Rounding: {ROUNDING}.",
            f"Contingency: {named['measured']} on what is counted or measured, "
            f"{named['from the plan']} on lengths from the plan, {named['guessed']} on guesses "
            "(common practice where the terms do not state it).",
            f"Pipe: {100 * self.rules.number('pipe.cutting_share'):g} % cut to waste is in the "
            "lengths to buy; the lists of the plan and the hours have the pipe laid alone.",
            f"Margin: {self.terms.margin_pct:g} % of the price."
            + ("" if "margin_pct" in self.terms.model_fields_set else " None is stated."),
        ]
        if self.terms.tax_pct is None:
            found.append("No tax is stated, so none is in the total.")
        for code, rate in sorted(self.prices.rates.items()):
            if any(r.currency == code for r in self.used):
                found.append(f"1 {code} = {rate.rate:f} {self.currency}, rate of {rate.on}.")
        if self.prices.invented:
            found.append("The price list says of itself that it is invented: no figure here is "
                         "a real price.")  # fmt: skip
        return found


WHO = {
    "farm": "The farm", "builder": "The builder", "electrician": "The electrician",
    "refrigeration": "The refrigeration firm", "installer": "The installer",
}  # fmt: skip
LISTED = 8
TAGS_NAMED = 6


def exclusion(words: str, party: str, counted: Sequence[str], *, whole: bool) -> str:
    """What a party supplies, as a sentence of the offer.

    >>> exclusion("floors and pits", "builder", (), whole=True)
    'The builder supplies floors and pits; it is not in this price.'
    """
    more = f" and {len(counted) - LISTED} more" if len(counted) > LISTED else ""
    list_of = ", ".join(counted[:LISTED]) + more
    if not whole:
        return f"{WHO[party]} supplies {list_of}; it is not in this price."
    counted_words = f": {list_of}" if counted else ""
    return f"{WHO[party]} supplies {words}{counted_words}; it is not in this price."


def price_changes(before: Quote, after: Quote) -> list[str]:
    """What a change costs, section by section and in all; says when either is not whole."""
    told = []
    for section in SECTIONS:
        old, new = before.sums(section)[3], after.sums(section)[3]
        if old != new:
            told.append(f"{section.capitalize()}: {old} becomes {new} {after.currency}.")
    if before.net != after.net:
        more = after.net - before.net
        way = "more" if more > 0 else "less"
        told.append(f"In all {abs(more)} {after.currency} {way}, without tax.")
    if not (before.whole and after.whole):
        told.append("The prices compared are not whole: some lines have no price.")
    return told


def items_of(plant: Plant, rules: Rulebook, terms: Terms) -> tuple[list[Item], list[Task]]:
    """Everything that a price list for a plant must price: things and tasks."""
    items = [one for one in count(plant, rules) if one.amount > 0]
    return items, tasks(plant, items, norms(terms, rules, {}), scopes(plant))
