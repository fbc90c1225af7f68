"""The terms of a quotation: one small file that the one who quotes edits."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Any

from byrewright.plant.plant import Plant
from byrewright.plant.problems import FileProblems, nearest, show
from byrewright.plant.record import Record, par
from byrewright.plant.source import Source, load, read_text
from byrewright.plant.translate import validate
from byrewright.standards.installing import PARTIES, SCOPES, TASKS
from byrewright.standards.rulebook import Rulebook

ALL = "all"


class Stage(Record):
    """A payment: what it is due at and which share of the total."""

    at: str = par("", "what it is due at")
    pct: float = par("%", "share of the total", ge=0, le=100)


class Crew(Record):
    """Who installs."""

    people: int = par("", "people of the crew", 2, ge=1, le=50, why="not stated")
    hours_day: float = par(
        "h", "working hours of a day on site", 8.0, ge=1, le=16, why="not stated"
    )


class Travel(Record):
    """The way to the site."""

    km_each_way: float = par("km", "distance to the site", ge=0, le=2000)
    vehicles: int = par("", "vehicles of the crew", 1, ge=1, le=20, why="not stated")


class Hire(Record):
    """Something hired for the work."""

    what: str = par("", "what is hired")
    days: float = par("d", "for how many days", ge=0.5, le=1000)


class Contingency(Record):
    """Percent added to cost by how sure the amount is; the rulebook's where nothing is stated."""

    measured_pct: float | None = par("%", "on what is measured or counted", None, ge=0, le=100)
    plan_pct: float | None = par("%", "on what is taken from the plan", None, ge=0, le=100)
    guessed_pct: float | None = par("%", "on what is guessed", None, ge=0, le=100)


class Alternate(Record):
    """Another way to build it: changes to the plant file by dotted place."""

    name: str = par("", "what it is called")
    says: str = par("", "why one might want it", "")
    changes: dict[str, Any] = par("", "dotted place to its other value; `null` removes it")


class Running(Record):
    """Prices of what the plant uses, for the cost of running it."""

    water_m3: float | None = par("", "cost of a cubic metre of water", None, ge=0, le=1000)
    chemicals_l: float | None = par("", "cost of a litre of wash chemical", None, ge=0, le=1000)
    labour_h: float | None = par("", "cost of an hour of milking work", None, ge=0, le=1000)
    service_year: float | None = par("", "cost of parts and service a year", None, ge=0, le=1e7)
    rise_pct: float = par("%", "yearly rise of these costs", 0.0, ge=-5, le=20, why="not stated")


class Terms(Record):
    """Everything about a quotation that is neither plant nor price list."""

    currency: str | None = par("", "currency of the quotation; the farm's if not stated", None)
    number: str = par("", "number of the quotation", "")
    offered_by: str = par("", "who offers", "")
    valid_days: int | None = par("d", "days that the offer stands", None, ge=1, le=365)
    margin_pct: float = par("%", "margin, of the price", 0.0, ge=0, le=90, why="not stated")
    tax_pct: float | None = par("%", "tax on the total", None, ge=0, le=100)
    tax_name: str = par("", "what the tax is called", "tax")
    contingency: Contingency = par("", "for what is not sure", Contingency())
    stages: tuple[Stage, ...] = par("", "payment stages", ())
    supplies: dict[str, str] = par("", "scope, kind or tag to who supplies it", {})
    articles: dict[str, str] = par("", "tag to own article number", {})
    needed: dict[str, str] = par("", "scope, kind, tag or `all` to the day it must be on site", {})
    norms: dict[str, float] = par("", "hours of a task in place of common practice", {})
    crew: Crew = par("", "who installs", Crew(), why="not stated")
    travel: Travel | None = par("", "the way to the site", None)
    hire: tuple[Hire, ...] = par("", "things hired", ())
    alternates: tuple[Alternate, ...] = par("", "other ways to build it", ())
    running: Running = par("", "prices for running it", Running())

    def party(self, scope: str, kind: str, tags: tuple[str, ...]) -> str:
        """Who supplies a thing: as stated for its tags, its kind or its scope, else as usual."""
        for key in (*tags, kind, scope):
            if key in self.supplies:
                return self.supplies[key]
        return SCOPES[scope][1]

    def needed_on(self, scope: str, kind: str, tags: tuple[str, ...]) -> date | None:
        """The day a thing must be on site, where it is stated."""
        for key in (*tags, kind, scope, ALL):
            if key in self.needed:
                return date.fromisoformat(self.needed[key])
        return None


def read_terms(path: str | Path, plant: Plant, rules: Rulebook) -> Terms:
    """Read a terms file for a plant.

    Raises:
        FileProblems: with one `Problem` for each thing wrong, in file order.
    """
    source = load(read_text(path, FileProblems), str(path), FileProblems, "margin_pct: 15")
    terms = validate(Terms, source.data, source, ())
    if terms is not None:
        _cross_check(terms, source, plant, rules)
    source.stop(FileProblems)
    assert terms is not None  # else something was told above
    return terms


def _cross_check(terms: Terms, source: Source, plant: Plant, rules: Rulebook) -> None:
    kinds = {m.kind for m in plant.equipment.values()}
    things = [*SCOPES, *sorted(kinds), *plant.equipment]
    for key, party in terms.supplies.items():
        if key not in things:
            source.add(
                "F029",
                ("supplies", key),
                True,
                why=f"{show(key)} is not a scope, kind or tag "
                f"of this plant{nearest(key, things)}; scopes are {', '.join(SCOPES)}",
            )
        if party not in PARTIES:
            source.add("F027", ("supplies", key), found=show(party), allowed=", ".join(PARTIES))
    for tag in terms.articles:
        if tag not in plant.equipment and tag not in {p.id for p in plant.pipes}:
            source.add("F040", ("articles", tag), True, found=tag,
                       near=nearest(tag, list(plant.equipment)))  # fmt: skip
    for key, day in terms.needed.items():
        if key not in (*things, ALL):
            source.add("F029", ("needed", key), True, why=f"{show(key)} is not a scope, kind "
                       f"or tag of this plant{nearest(key, things)}")  # fmt: skip
        try:
            date.fromisoformat(day)
        except ValueError:
            source.add(
                "F029",
                ("needed", key),
                why=f'{show(day)} is not a date; write "2026-03-31" with the quotes',
            )
    for key, hours in terms.norms.items():
        if key not in TASKS:
            source.add("L001", ("norms", key), True, found=show(key), near=nearest(key, TASKS))
            continue
        rule = rules[f"install.{key}"]
        if not rule.allows(hours):
            source.add("L003", ("norms", key), found=show(hours), allowed=rule.allowed_text)
    paid = sum(stage.pct for stage in terms.stages)
    if terms.stages and abs(paid - 100) > 1e-9:
        source.add("F029", ("stages",), why=f"the payment stages come to {paid:g} %; make them 100")
    if terms.currency is not None and not (len(terms.currency) == 3 and terms.currency.isalpha()):
        source.add("F024", ("currency",), found=show(terms.currency),
                   allowed="a currency of three letters")  # fmt: skip
