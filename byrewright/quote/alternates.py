"""Other ways to build it: named changes to the plant file, priced as a difference."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from decimal import Decimal

from byrewright.errors import ByrewrightError
from byrewright.plant.edit import REMOVE, edit_plant
from byrewright.plant.plant import Plant
from byrewright.plant.problems import PlantError
from byrewright.plant.read import PlantFile, read_plant_text
from byrewright.quote.labour import Done
from byrewright.quote.prices import PriceList
from byrewright.quote.quotation import Quote, quote
from byrewright.quote.terms import Terms
from byrewright.results import Finding, Result
from byrewright.standards.rulebook import Rulebook

Say = Callable[[str, int, int], bool | None]
TOLD = (
    "day.milking_on_time", "day.cows_an_hour", "day.energy_1000_l", "day.energy_cost",
    "day.water_day", "day.milk_lost", "day.labour", "day.load_most",
)  # fmt: skip
"""What the day says of an alternate, beside every finding whose verdict changes."""
LEAST_CHANGE = 0.001


@dataclass(frozen=True, slots=True)
class Difference:
    """An alternate: what it adds to the price, and what the studies say it changes."""

    name: str
    says: str
    net: Decimal
    difference: Decimal
    currency: str
    whole: bool
    sentence: str
    changes: tuple[str, ...]
    looked_at: tuple[str, ...]


def alternates(
    file: PlantFile,
    base: Quote,
    prices: PriceList,
    terms: Terms,
    rules: Rulebook,
    done: Mapping[str, Done] | None = None,
    *,
    studies: bool = False,
    say: Say | None = None,
) -> tuple[Difference, ...]:
    """Each alternate of the terms, priced against the base.

    Sizing is always asked; with `studies` the day is, too.

    Raises:
        ByrewrightError: the changes of one do not give a sound plant; it is named.
    """
    from byrewright.studies.every import ask

    names = ("sizing", "day") if studies else ("sizing",)
    total = len(terms.alternates) + 1
    if say is not None:
        say("the plant as it is", 0, total)
    before = ask(file.plant, rules, names)
    found = []
    for number, one in enumerate(terms.alternates, 1):
        if say is not None:
            say(one.name, number, total)
        plant = changed(file, one.name, one.changes)
        made = quote(plant, prices, terms, base.on, rules, done)
        more = made.net - base.net
        whole = made.whole and base.whole
        found.append(
            Difference(
                one.name, one.says, made.net, more, base.currency, whole,
                _sentence(one.name, more, base.currency, whole=whole),
                tuple(told_changes(before, ask(plant, rules, names))), names,
            )
        )  # fmt: skip
    return tuple(found)


def changed(file: PlantFile, name: str, changes: Mapping[str, object]) -> Plant:
    """The plant with an alternate's changes made.

    Raises:
        ByrewrightError: they go nowhere, or the plant is not sound with them.
    """
    try:
        text = edit_plant(file, {k: REMOVE if v is None else v for k, v in changes.items()})
        return read_plant_text(text, file.name).sound()
    except PlantError as why:
        raise ByrewrightError(f"alternate {name}: {why.problems[0].what}") from None
    except ByrewrightError as why:
        raise ByrewrightError(f"alternate {name}: {why}") from None


def _sentence(name: str, more: Decimal, currency: str, *, whole: bool) -> str:
    amount = f"{abs(more)} {currency}"
    words = f"adds {amount}" if more > 0 else f"saves {amount}" if more < 0 else "costs the same"
    open_end = "" if whole else "; some lines of it have no price, so this is not whole"
    return f"{name}: {words}{open_end}."


def told_changes(before: Result, after: Result) -> list[str]:
    """What changes between two answers: figures of the day, and verdicts.

    A finding that only one of the two has is told when it does not hold.
    """
    old = {f.name: f for f in before.findings}
    new = {f.name: f for f in after.findings}
    told = []
    for name, one in new.items():
        was = old.get(name)
        if was is None:
            if one.verdict != "holds":
                told.append(f"new: {one.label} {one.verdict}: {one.sentence}")
        elif was.verdict != one.verdict:
            told.append(f"{one.label}: {was.verdict} becomes {one.verdict}: {one.sentence}")
        elif one.key in TOLD and _moved(was, one):
            told.append(f"{one.label}: {was.value:.4g} becomes {one.value:.4g} {one.unit}".rstrip())
    told += [
        f"gone: {was.label}, which {was.verdict}"
        for name, was in old.items()
        if name not in new and was.verdict != "holds"
    ]
    return told


def _moved(was: Finding, one: Finding) -> bool:
    if was.value is None or one.value is None:
        return False
    return abs(one.value - was.value) > LEAST_CHANGE * max(abs(was.value), 1e-9)
