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
from byrewright.results import Result
from byrewright.standards.rulebook import Rulebook
from byrewright.studies.changes import finding_changes, unchanged

Say = Callable[[str, int, int], bool | None]


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
    keys: tuple[str, ...] = ()
    """Of each change, the key of the finding it tells of."""


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

    Sizing is always asked; with `studies` also the day, and the failures for litres at risk.

    Raises:
        ByrewrightError: the changes of one do not give a sound plant; it is named.
    """
    from byrewright.studies.every import ask

    names = ("sizing", "day", "failures") if studies else ("sizing",)
    total = len(terms.alternates) + 1
    if say is not None:
        say("the plant as it is", 0, total)
    before = ask(file.plant, rules, names)
    found = []
    for number, one in enumerate(terms.alternates, 1):
        if say is not None:
            say(one.name, number, total)
        plant = changed(file, one.name, one.changes)
        told = _told(before, ask(plant, rules, names))
        made = quote(plant, prices, terms, base.on, rules, done)
        more = made.net - base.net
        whole = made.whole and base.whole
        found.append(
            Difference(
                one.name, one.says, made.net, more, base.currency, whole,
                _sentence(one.name, more, base.currency, whole=whole),
                tuple(words for _, words in told), names, tuple(key for key, _ in told),
            )
        )  # fmt: skip
    return tuple(found)


def _told(before: Result, after: Result) -> list[tuple[str, str]]:
    """What the studies say it changes, and which of the day's figures stay."""
    same = unchanged(before, after)
    kept = [("", f"As before: {', '.join(same)}")] if same else []
    return [*finding_changes(before, after), *kept]


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
