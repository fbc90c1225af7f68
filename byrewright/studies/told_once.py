"""Quantities that more than one study gives: who owns each, and how near the others must come.

A sheet or report that holds the owner's study prints the owner's number only. A test runs the
list on random briefs and names every pair that disagrees.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from statistics import stdev
from typing import Literal

from byrewright.results import Result, Verdict, worst_of

LATER_MILKINGS = "mixing with later milkings"
"""How a day's finding is called that judges the blend of milkings."""
IN_TANKER = "in the tanker"
"""How a day's sentence says that the milk went straight to a tanker."""
Read = Callable[[Result], Mapping[str, float]]
"""Values by subject ("" where the plant has one)."""


@dataclass(frozen=True, slots=True)
class Reading:
    """Where a study tells a quantity. `finding` is the key that judges it (the owner's), or that a
    report leaves out for the owner's; "" where it stands in a table or for another condition."""

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
    apart: float | Callable[[Mapping[str, Result]], float]
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


def cell(table: str, title: str, how: Callable[[list[float]], float]) -> Read:
    """One value out of a column of a table, told by its title; words in it are left out."""

    def read(result: Result) -> dict[str, float]:
        values = [
            float(r[t.columns.index(title)])
            for t in result.tables
            if t.key == table
            for r in t.rows
            if not isinstance(r[t.columns.index(title)], str)
        ]
        return {"": how(values)} if values else {}

    return read


def column(table: str, number: int) -> Read:
    """The sum of a column of a table."""

    def read(result: Result) -> dict[str, float]:
        found = [t for t in result.tables if t.key == table]
        return {"": sum(float(r[number]) for r in found[0].rows)} if found else {}

    return read


def on_standby_kw(result: Result) -> dict[str, float]:
    """What a standby set carries in milking, kW: as it is sized, and as its loads are listed."""
    found = {i.symbol: i.value for f in result.findings if f.key == "power.generator"
             for i in f.inputs}  # fmt: skip
    if result.study == "sizing":
        return {"": float(found["P"])} if "P" in found else {}
    rows = [r for t in result.tables if t.key == "failures.shed" for r in t.rows]
    heat = float(found.get("generator.heat_share", 0.0))
    return {"": sum(float(r[3]) * (1.0, 1.0, 1.0, heat, 0.0)[int(r[0])] for r in rows)}


def cups_of_a_pump(result: Result) -> dict[str, float]:
    """Cups that fall when one vacuum pump stops, by its tag."""
    alone, stops = " alone trips", " stops"
    found = {f.title.removesuffix(alone): f.value for f in result.findings
             if f.title.endswith(alone) and f.value is not None}  # fmt: skip
    for table in result.tables:
        if table.key == "failures.ranked":
            at, of = table.columns.index("cups fallen"), table.columns.index("failure")
            found |= {str(r[of]).removesuffix(stops): float(r[at]) for r in table.rows
                      if str(r[of]).endswith(stops)}  # fmt: skip
    return found


def chilled_c(result: Result) -> dict[str, float]:
    """Milk out of the chilled stage of each cooler, by its tag."""
    read = {**finding("cooling.chilled.out")(result), **finding("day.cooler_outlet")(result)}
    return {s.removesuffix(" chilled stage"): v for s, v in read.items() if "water" not in s}


def blend_c(result: Result) -> dict[str, float]:
    """Warmest milk that a later milking makes of what stands cold in a tank; of the day where the
    region's rule asks it for that."""
    blends = [
        f.value
        for f in result.findings
        if f.value is not None
        and (
            f.key == "cooling.tank.blend"
            or (
                f.key.startswith("day.milk_temperature")
                and f.title.endswith(LATER_MILKINGS)
                and IN_TANKER not in f.sentence
            )
        )
    ]
    return {"": max(blends)} if blends else {}


def chance_of_a_day(results: Mapping[str, Result]) -> float:
    """What chance may shift the milk of a day, L: three standard errors of its mean cow."""
    for table in results["day"].tables:
        if table.key == "day.cows":
            litres = [float(r[table.columns.index("milk")]) for r in table.rows]
            cows = len({r[table.columns.index("cow")] for r in table.rows})
            if len(litres) > 1:
                # A cow gives little or much at every milking of the day alike.
                return 3.0 * stdev(litres) * len(litres) / math.sqrt(cows)
    return 0.0


def chance_of_a_round(results: Mapping[str, Result]) -> float:
    """What chance may shift the share of cows that go round again, %."""
    share = one("day.go_rounds")(results["day"]).get("", 0.0)
    for table in results["day"].tables:
        if table.key == "day.cows" and table.rows:
            cows = len({r[table.columns.index("cow")] for r in table.rows})
            return 300.0 * math.sqrt(share * (1 - share) / cows)
    return 0.0


def milked_h(result: Result) -> dict[str, float]:
    """Hours of each milking from its first cow on, however late it began."""
    found: dict[str, float] = {}
    for table in result.tables:
        if table.key == "day.milkings":
            at = [table.columns.index(c) for c in ("milking", "begun", "last off")]
            for r in table.rows:
                name, begun, off = (str(r[c]) for c in at)
                if ":" in begun and ":" in off:
                    found[name] = (_minutes(off) - _minutes(begun)) % 1440 / 60
    return found


def _minutes(clock: str) -> int:
    hour, minute = clock.split(":")
    return 60 * int(hour) + int(minute)


def in_its_day(apart: float) -> Callable[[Mapping[str, Result]], float]:
    """Not compared where the day runs into the next, which the day fails and sizing fails too:
    what falls into 24 hours is then not the programme's day."""

    def allowed(results: Mapping[str, Result]) -> float:
        late = any(v < 0.0 for v in finding("day.wash_fits")(results["day"]).values())
        return math.inf if late else apart

    return allowed


def heat_of_months(result: Result) -> dict[str, float]:
    """Heat of refrigeration that all stores take on a mean day, by the month."""
    found: dict[str, float] = {}
    for table in result.tables:
        if table.key == "recovery.months":
            for row in table.rows:
                found[str(row[0])] = found.get(str(row[0]), 0.0) + float(row[-1])
    return found


def heat_of_a_day(result: Result) -> dict[str, float]:
    """The same of the day simulated, by its month."""
    return {
        str(i.value): f.value for f in result.findings
        if f.key == "day.heat_recovered" and f.value is not None for i in f.inputs
    }  # fmt: skip


def one_load(results: Mapping[str, Result]) -> float:
    """Electricity of a load of cloths, washed and dried, as the day ran them, kWh."""
    loads = cell("day.lots", "loads", max)(results["day"]).get("", 0.0)
    used = row("day.uses", "laundry", 1)(results["day"]).get("", 0.0)
    if loads:
        return max(in_its_day(3.0)(results), used / loads)
    # A day whose cloths fill no load runs none: all of sizing's mean is then one load or less.
    least = column("cloths.lots", 3)(results["sizing"]).get("", 0.0) <= 1.0
    mean = one("cloths.energy")(results["sizing"]).get("", 0.0)
    return max(in_its_day(3.0)(results), mean if least else 0.0)


QUANTITIES: tuple[Quantity, ...] = (
    Quantity(
        "milking time", "h",
        Reading("day", milked_h, "day.milking_on_time"),
        (Reading("sizing", finding("throughput.finished"), "throughput.finished"),),
        0.0, 0.04,
        "the same cows through the same kernel; the day prints whole minutes of the clock",
    ),
    Quantity(
        "wait in the yard", "min",
        Reading("day", one("day.yard_wait"), "day.yard_wait"),
        (Reading("sizing", one("throughput.yard_wait"), "throughput.yard_wait"),),
        0.0, 1.0, "as the milking time",
    ),
    Quantity(
        "cows that go round again", "%",
        Reading("day", one("day.go_rounds", scale=100.0), "day.go_rounds"),
        (Reading("sizing", one("throughput.go_round"), "throughput.go_round"),),
        0.0, chance_of_a_round,
        "sizing leaves out that cows milk on while the deck stands, so it gives more; the day "
        "draws its cows by chance: three standard errors of the share",
        "not under",
    ),
    Quantity(
        "milk a day", "L",
        Reading("sizing", one("throughput.milk_day")),
        (Reading("day", column("day.milkings", 6)),),
        0.0, chance_of_a_day,
        "the day draws its cows by chance: three standard errors of their mean",
    ),
    Quantity(
        "milk flow in the busiest minute", "L/min",
        Reading("day", one("day.milk_flow_peak"), "day.milk_flow_peak"),
        (Reading("sizing", one("throughput.milk_flow_peak"), "throughput.milk_flow_peak"),),
        0.005, 0.0,
        "pumps are sized for what practice asks over the mean, or for this where it is more",
        "not under",
    ),
    Quantity(
        "milk out of the chilled stage", "degC",
        Reading("day", chilled_c, "day.cooler_outlet"),
        (Reading("sizing", chilled_c, "cooling.chilled.out"),),
        0.0, 0.7, "sizing takes the flow that a litre of milk meets, and the warmest water as it "
        "comes from its source; what stands in its tank before a milking is up to 3 K warmer",
        "not under",
    ),
    Quantity(
        "milk in the tank as a later milking comes", "degC",
        Reading("day", blend_c),
        (Reading("sizing", blend_c),),
        0.0, 1.5, "sizing takes the warmest month, cools as milk comes and takes milkings to be "
        "collected whole; the day's tank stirs by its thermostat's band, and a tanker in "
        "mid-milking leaves less to blend with",
        "not under",
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
        Reading("vacuum", one("vacuum.steady.milking"), "vacuum.steady.milking"),
        (Reading("day", one("day.vacuum_least"), "day.vacuum_least"),),
        0.0, 0.1,
        "the day reads the network's map between its points, with the units that are on: where "
        "they never are all on at once, pumps at their least speed hold more (93 units of 112: "
        "0.25 kPa more)",
        "not under",
    ),
    Quantity(
        "cups fallen when a vacuum pump stops", "",
        Reading("vacuum", cups_of_a_pump),
        (Reading("failures", cups_of_a_pump),),
        0.0, 0.5, "the same march of the air network in time",
    ),
    Quantity(
        "return of the hot wash at its end", "degC",
        Reading("sizing", one("wash.end_temperature")),
        (
            Reading("day", one("day.wash_return")),
            Reading("failures", cell("failures.moments", "coolest wash return", max)),
        ),
        0.0, in_its_day(3.0),
        "sizing mixes the charge on the coldest day of the year with what the rinse before left in "
        "balance tanks; the day takes it round through each machine in its month, from the "
        "temperature its heater gave, with what stood in lines and other vessels too",
        "not under",
    ),
    Quantity(
        "greatest demand", "kW",
        Reading("sizing", one("power.demand"), "power.demand"),
        (Reading("day", one("day.load_most"), "day.load_most"),),
        0.0, 0.0,
        "sizing adds what may be on together, in kVA; the day is one day as it went",
        "not over",
    ),
    Quantity(
        "load on the standby set", "kW",
        Reading("sizing", on_standby_kw),
        (Reading("failures", on_standby_kw),),
        0.0, 2.0,
        "the same loads, each printed in tenths of a kW in the list",
    ),
    Quantity(
        "water a day", "m3",
        Reading("day", one("day.water_day"), "day.water_day"),
        (Reading("sizing", one("water.day"), "water.day"),),
        0.12, in_its_day(0.5),
        "sizing reckons by the hour what is used again; the day has it as tanks fill and empty",
    ),
    Quantity(
        "electricity of the laundry", "kWh",
        Reading("day", row("day.uses", "laundry", 1)),
        (Reading("sizing", one("cloths.energy"), "cloths.energy"),),
        0.1, one_load,
        "sizing gives the mean of days; a day runs whole loads and leaves what fills none for the "
        "next: one load either way",
    ),
    Quantity(
        "heat recovered", "kWh/d",
        Reading("day", heat_of_a_day, "day.heat_recovered"),
        (Reading("sizing", heat_of_months),),
        0.4, in_its_day(5.0),
        "sizing has a tank's own unit make its cold as milk comes; in the day it waits for the "
        "agitator and goes on into the wash, which then draws more of it",
    ),
    Quantity(
        "wash product a day", "L",
        Reading("sizing", one("wash.chemicals"), "wash.chemicals"),
        (Reading("day", one("day.chemicals"), "day.chemicals"),),
        0.02, in_its_day(0.1), "the same charge and strength",
    ),
    Quantity(
        "most milk lost at once", "L",
        Reading("failures", one("failures.milk_lost")),
        (Reading("failures", cell("failures.moments", "milk lost", max)),),
        0.0, 1.0, "the same runs, printed in whole litres",
    ),
)  # fmt: skip
"""Every quantity that two studies give."""


def disagreements(results: Mapping[str, Result]) -> Iterator[Disagreement]:
    """Each pair that is further apart than it may be, among the studies asked."""
    yield from _told_alike(results)
    for quantity in QUANTITIES:
        if quantity.owner.study not in results:
            continue
        owned = quantity.owner.read(results[quantity.owner.study])
        apart = quantity.apart if isinstance(quantity.apart, float) else quantity.apart(results)
        for other in quantity.others:
            if other.study not in results:
                continue
            said = other.read(results[other.study])
            for subject in sorted(owned.keys() & said.keys()):
                if not agrees(quantity, owned[subject], said[subject], apart):
                    yield Disagreement(
                        quantity, subject, other.study, said[subject], owned[subject]
                    )


def _told_alike(results: Mapping[str, Result]) -> Iterator[Disagreement]:
    """A finding of the same name in two studies has the same value."""
    first: dict[tuple[str, str], tuple[str, float]] = {}
    for study, result in results.items():
        for f in result.findings:
            if f.value is None:
                continue
            owner, value = first.setdefault((f.key, f.subject), (study, f.value))
            if value != f.value:
                same = Reading(owner, finding(f.key))
                one_of = Quantity(f.title, f.unit, same, (same,), 0.0, 0.0, "one finding")
                yield Disagreement(one_of, f.subject, study, f.value, value)


def owners_only(results: Sequence[Result]) -> list[Result]:
    """The results without the findings whose number another of them owns, and without those that
    an earlier one tells by the same name. One with a worse verdict than the owner's stays."""
    held = {r.study: r for r in results}
    left_out: dict[tuple[str, str, str], Verdict] = {}
    for quantity in QUANTITIES:
        owner = held.get(quantity.owner.study)
        if owner is None:
            continue
        worst = worst_of(f.verdict for f in owner.findings if f.key == quantity.owner.finding)
        for other in quantity.others:
            left_out |= {
                (other.study, other.finding, subject): worst
                for subject in quantity.owner.read(owner)
            }
    told: dict[str, Verdict] = {}
    kept: list[Result] = []
    for r in results:
        mine = []
        for f in r.findings:
            known = left_out.get((r.study, f.key, f.subject), told.get(f.name))
            if known is None or worst_of((known, f.verdict)) != known:
                mine.append(f)
                told[f.name] = f.verdict
        kept.append(replace(r, findings=tuple(mine)))
    return kept


def agrees(quantity: Quantity, owned: float, said: float, apart: float = 0.0) -> bool:
    """Whether another study's number may stand beside the owner's."""
    allowed = max(quantity.share * abs(owned), apart) + 1e-9
    if quantity.side == "not under":
        return said >= owned - allowed
    if quantity.side == "not over":
        return said <= owned + allowed
    return abs(said - owned) <= allowed
