"""Quantities that more than one study gives: who owns each, and how near the others must come.

A sheet or report that holds the owner's study prints the owner's number only. A test runs the
list on random briefs and names every pair that disagrees.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from byrewright.results import Result

Read = Callable[[Result], Mapping[str, float]]
"""Values by subject ("" where the plant has one)."""


@dataclass(frozen=True, slots=True)
class Reading:
    """Where a study tells a quantity. `finding` is the key that a report leaves out for the
    owner's; "" where the number stands in a table or holds for another condition."""

    study: str
    read: Read
    finding: str = ""


@dataclass(frozen=True, slots=True)
class Quantity:
    """One quantity with its owner.

    `share` of the owner's value and `apart` are how far another may lie off it, the larger of the
    two; `side` says that another is on purpose above or below, and by how much it may miss that.
    """

    name: str
    unit: str
    owner: Reading
    others: tuple[Reading, ...]
    share: float
    apart: float
    reason: str
    side: Literal["near", "not under", "not over"] = "near"


@dataclass(frozen=True, slots=True)
class Disagreement:
    """A study that tells another number than the owner does."""

    quantity: Quantity
    subject: str
    study: str
    value: float
    owner_value: float

    def __str__(self) -> str:
        of = f" of {self.subject}" if self.subject else ""
        return (
            f"{self.quantity.name}{of}: {self.quantity.owner.study} {self.owner_value:.4g}, "
            f"{self.study} {self.value:.4g} {self.quantity.unit}"
        ).rstrip()


def finding(key: str, scale: float = 1.0) -> Read:
    """Every finding of a key that has a value, by its subject."""

    def read(result: Result) -> dict[str, float]:
        return {
            f.subject: scale * f.value
            for f in result.findings
            if f.key == key and isinstance(f.value, int | float)
        }

    return read


def one(key: str, how: Callable[[list[float]], float] = max, scale: float = 1.0) -> Read:
    """One value out of all findings of a key."""

    def read(result: Result) -> dict[str, float]:
        values = list(finding(key, scale)(result).values())
        return {"": how(values)} if values else {}

    return read


def row(table: str, first: str, column: int) -> Read:
    """A cell of a table, in the row that begins so."""

    def read(result: Result) -> dict[str, float]:
        rows = [r for t in result.tables if t.key == table for r in t.rows if r[0] == first]
        return {"": float(rows[0][column])} if rows else {}

    return read


def column(table: str, number: int) -> Read:
    """The sum of a column of a table."""

    def read(result: Result) -> dict[str, float]:
        found = [t for t in result.tables if t.key == table]
        return {"": sum(float(r[number]) for r in found[0].rows)} if found else {}

    return read


def _deck_kw(result: Result) -> dict[str, float]:
    """Mean power of the deck while it turns: its electricity over the hours of milking."""
    kwh = {
        str(r[0]): float(r[2])
        for t in result.tables
        if t.key == "day.machines"
        for r in t.rows
        if r[1] == "Platform drives"
    }
    hours = [
        float(r[4]) - float(r[8]) / 60
        for t in result.tables
        if t.key == "day.milkings"
        for r in t.rows
    ]
    return {"": sum(kwh.values()) / sum(hours)} if kwh and sum(hours) else {}


QUANTITIES: tuple[Quantity, ...] = (
    Quantity(
        "milking time", "h",
        Reading("day", finding("day.milking_on_time")),
        (Reading("sizing", finding("throughput.finished"), "throughput.finished"),),
        0.12, 0.2,
        "a closed form of the mean against cows drawn one by one with kick-offs, gaps between "
        "groups and the last cows on the deck",
    ),
    Quantity(
        "milk a day", "L",
        Reading("sizing", one("throughput.milk_day")),
        (Reading("day", column("day.milkings", 6)),),
        0.05, 0.0,
        "the day draws its cows by chance: the mean of some hundreds misses the herd's by a few "
        "per cent",
    ),
    Quantity(
        "milk flow in the busiest minute", "L/min",
        Reading("day", one("day.milk_flow_peak")),
        (Reading("sizing", one("throughput.milk_flow_peak"), "throughput.milk_flow_peak"),),
        0.1, 4.0,
        "sizing takes a deck's peak by a factor of practice, that of rows cow by cow: pumps may "
        "be over what one day brought, not under by more than chance",
        "not under",
    ),
    Quantity(
        "wait in the yard", "min",
        Reading("day", one("day.yard_wait")),
        (Reading("sizing", one("throughput.yard_wait"), "throughput.yard_wait"),),
        0.2, 5.0, "as the milking time; in rows it goes by whole rows",
    ),
    Quantity(
        "drop from receiver to pump", "kPa",
        Reading("vacuum", one("vacuum.drop.pump")),
        (Reading("vacuum", lambda r: {"": max([0.0, *(
            f.value for f in r.findings if f.key.startswith("vacuum.test.drop_pump_")
            and f.value is not None)])}),),
        0.01, 0.01, "the same solved state read at one pump each",
    ),
    Quantity(
        "least vacuum in milking", "kPa",
        Reading("vacuum", one("vacuum.steady.milking")),
        (Reading("day", one("day.vacuum_least"), ""),),
        0.0, 0.3, "the day reads the network's map between its points",
    ),
    Quantity(
        "return of the hot wash at its end", "degC",
        Reading("sizing", one("wash.end_temperature")),
        (Reading("day", one("day.wash_return")),),
        0.0, 2.0,
        "the same formula: sizing on the coldest day of the year, the day in its month and from "
        "the temperature its heater gave",
        "not under",
    ),
    Quantity(
        "greatest demand", "kW",
        Reading("day", one("day.load_most")),
        (Reading("sizing", one("power.demand", max)),),
        0.0, 0.0,
        "sizing adds what may be on together, in kVA; the day is one day as it went",
        "not under",
    ),
    Quantity(
        "water a day", "m3",
        Reading("day", one("day.water_day")),
        (Reading("sizing", one("water.day"), "water.day"),),
        0.25, 1.0,
        "sizing takes the warmest month's cooling water and whole fills; the day its own month",
    ),
    Quantity(
        "electricity of the laundry", "kWh",
        Reading("sizing", one("cloths.energy")),
        (Reading("day", row("day.uses", "laundry", 1)),),
        0.2, 12.0, "the day runs whole loads, and leaves the last of a day for the next",
    ),
    Quantity(
        "power to turn the deck", "kW",
        Reading("sizing", one("deck.running_power")),
        (Reading("day", _deck_kw),),
        0.15, 0.1, "the deck also turns while it fills and empties, which the hours leave out",
    ),
    Quantity(
        "wash product a day", "L",
        Reading("sizing", one("wash.chemicals")),
        (Reading("day", one("day.chemicals"), "day.chemicals"),),
        0.02, 0.1, "the same charge and strength",
    ),
)  # fmt: skip
"""Every quantity that two studies give."""


def disagreements(results: Mapping[str, Result]) -> Iterator[Disagreement]:
    """Each pair that is further apart than it may be, among the studies asked."""
    for quantity in QUANTITIES:
        if quantity.owner.study not in results:
            continue
        owned = quantity.owner.read(results[quantity.owner.study])
        for other in quantity.others:
            if other.study not in results:
                continue
            said = other.read(results[other.study])
            for subject in owned.keys() & said.keys():
                if not agrees(quantity, owned[subject], said[subject]):
                    yield Disagreement(
                        quantity, subject, other.study, said[subject], owned[subject]
                    )


def owners_only(results: Sequence[Result]) -> list[Result]:
    """The results without the findings whose number another of them owns."""
    held = {r.study: r for r in results}
    left_out: set[tuple[str, str, str]] = set()
    for quantity in QUANTITIES:
        owner = held.get(quantity.owner.study)
        owned = quantity.owner.read(owner) if owner else {}
        for other in quantity.others:
            left_out |= {(other.study, other.finding, subject) for subject in owned}
    return [
        replace(r, findings=tuple(
            f for f in r.findings if (r.study, f.key, f.subject) not in left_out
        ))
        for r in results
    ]  # fmt: skip


def agrees(quantity: Quantity, owned: float, said: float) -> bool:
    """Whether another study's number may stand beside the owner's."""
    allowed = max(quantity.share * abs(owned), quantity.apart)
    if quantity.side == "not under":
        return said >= owned - allowed
    if quantity.side == "not over":
        return said <= owned + allowed
    return abs(said - owned) <= allowed + 1e-12
