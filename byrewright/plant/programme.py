"""The programme of a day: who is milked when, what they give, and how the plant is then washed.

Worked out once from the plant; sizing, the simulated day and the documents read it from here.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from byrewright.plant.farm import (
    WASH_WORDS,
    Collection,
    Group,
    Herd,
    Milking,
    MilkOutTime,
    minutes,
    wash_words,
)
from byrewright.plant.plant import Plant
from byrewright.plant.roles import (
    BringsCows,
    CollectsMilk,
    DosesWash,
    GivesMilk,
    LoadsTankers,
    ReceivesMilk,
    StandsCows,
)
from byrewright.standards.rulebook import Rulebook, default_rulebook

DAY_MIN = 1440
SWAPPED_A_DAY = 2.0
"""Tankers a day from which one may stand at the bay and fill (our choice)."""


@dataclass(frozen=True, slots=True)
class MilkOut:
    """Unit-on time of cows: mean and standard deviation."""

    mean_s: float
    std_dev_s: float


@dataclass(frozen=True, slots=True)
class Part:
    """A group in one milking. `group` is its place in the herd's list."""

    group: int
    name: str
    cows: int
    withheld_cows: int
    litres_cow: float
    milk_out: MilkOut

    @property
    def milk_l(self) -> float:
        """All milk of the group at this milking, withheld milk too, L."""
        return self.cows * self.litres_cow

    @property
    def withheld_l(self) -> float:
        """Milk of it that must not reach the tank, L."""
        return self.withheld_cows * self.litres_cow


@dataclass(frozen=True, slots=True)
class MilkingPlan:
    """One milking: its groups in the order they are milked. `place` is its place in the file."""

    place: int
    name: str
    start_min: int
    target_h: float
    operators: int
    parts: tuple[Part, ...]
    washed_after: bool
    """A wash of the plant follows."""

    @property
    def cows(self) -> int:
        """Cows milked."""
        return sum(p.cows for p in self.parts)

    @property
    def milk_l(self) -> float:
        """All milk given, withheld milk too, L."""
        return sum(p.milk_l for p in self.parts)

    @property
    def withheld_l(self) -> float:
        """Milk of it that must not reach the tank, L."""
        return sum(p.withheld_l for p in self.parts)

    @property
    def litres_cow(self) -> float:
        """Milk a cow, mean over the groups, L."""
        return self.milk_l / self.cows if self.cows else 0.0

    @property
    def milk_out(self) -> MilkOut:
        """Unit-on time of all cows of the milking."""
        if not self.cows:
            return MilkOut(0.0, 0.0)
        each = [(p.cows / self.cows, p.milk_out) for p in self.parts]
        mean = sum(share * out.mean_s for share, out in each)
        square = sum(share * (out.std_dev_s**2 + (out.mean_s - mean) ** 2) for share, out in each)
        return MilkOut(mean, math.sqrt(square))


class WashKind(StrEnum):
    """What a wash step is, whatever the file calls it."""

    WARM_RINSE = "warm rinse"
    ALKALINE = "alkaline wash"
    ACID = "acid wash"
    ACID_RINSE = "acid rinse"
    SANITISE = "sanitising rinse"
    COLD_RINSE = "cold rinse"


@dataclass(frozen=True, slots=True)
class WashStep:
    """One step of a plant wash."""

    name: str
    """In the file's words."""
    kind: WashKind
    litres: float
    at_c: float | None
    """Temperature asked for, degC; None: the water as it comes."""
    minutes: float
    strength: float
    """Product as a share of the water; nil for plain water."""
    circulates: bool
    """It goes round; a rinse passes once."""


@dataclass(frozen=True, slots=True)
class Wash:
    """A wash of the milking plant."""

    units: int
    lines_l: float
    """Content of the milkline and of every milk and wash pipe."""
    wet_l: float
    """Water that hangs in lines and receivers while a step runs."""
    lines_govern: bool
    """The lines, not the units, set the hot charge: the trough must not run dry."""
    hot_l: float
    """Charge of a step that circulates."""
    steps: tuple[WashStep, ...]

    @property
    def water_l(self) -> float:
        """All water of one wash, L."""
        return sum(s.litres for s in self.steps)


@dataclass(frozen=True, slots=True)
class Programme:
    """The day of a plant: its milkings in order of time, and its wash."""

    milkings: tuple[MilkingPlan, ...]
    wash: Wash
    milk_kg_l: float
    """Density of milk, kg/L."""

    @property
    def cows_milked_day(self) -> int:
        """Cows milked in a day, each as often as she is milked."""
        return sum(m.cows for m in self.milkings)

    @property
    def milk_l_day(self) -> float:
        """Milk of a day, withheld milk too, L."""
        return sum(m.milk_l for m in self.milkings)

    @property
    def washes_a_day(self) -> int:
        """Plant washes a day: each follows a milking."""
        return sum(m.washed_after for m in self.milkings)

    def at_place(self, place: int) -> MilkingPlan:
        """The milking at a place in the file."""
        return next(m for m in self.milkings if m.place == place)


def programme_of(plant: Plant, rules: Rulebook) -> Programme:
    """The programme of a plant under a rulebook."""
    return Programme(
        milkings_of(plant.herd, plant.milkings, plant.cleaning.washes_a_day, rules),
        wash_of(plant, rules),
        milk_kg_l(rules),
    )


def visits_a_day(collections: Sequence[Collection]) -> float:
    """Tankers a day, mean."""
    return sum(1.0 / c.every_days for c in collections)


def loads_direct(plant: Plant) -> bool:
    """Whether a tanker stands at the bay and takes milk as it comes, until it is full or the next
    arrives: at a bay made for that, where two or more come a day or no tank stores milk. Elsewhere
    a tanker loads what stands there and leaves."""
    may = any(b.direct for b in plant.machines(LoadsTankers))
    often = visits_a_day(plant.collections) >= SWAPPED_A_DAY
    return may and (often or not plant.able("stores milk"))


def group_gap_s(plant: Plant, rules: Rulebook) -> float:
    """Time between two groups at the entrance: none where the yard holds two at once, s."""
    gates = [g.yard_cows for g in plant.machines(BringsCows) if g.yard_cows is not None]
    largest = sorted((g.cows for g in plant.herd.all_groups()), reverse=True)[:2]
    holds_two = bool(gates) and gates[0] >= 0.5 * sum(largest)
    return 0.0 if holds_two else rules.number("milking.group_gap_s")


def milk_kg_l(rules: Rulebook) -> float:
    """Density of milk, kg/L."""
    return rules.number("milk.density_kg_m3") / 1000.0


def milkings_of(
    herd: Herd, milkings: Sequence[Milking], washes_a_day: int = 0, rules: Rulebook | None = None
) -> tuple[MilkingPlan, ...]:
    """Each milking's groups and milk, in order of time.

    A group gives its day's milk in the milkings that it takes part in, and in no other: by the
    stated shares in their ratio, else by the time since its milking before. Washes follow the
    milkings with the longest time to the next start, by the stated starts and hours.
    """
    rules = rules or default_rulebook()
    groups = herd.all_groups()
    within = [
        [i for i, m in enumerate(milkings) if not m.groups or group.name in m.groups]
        for group in groups
    ]
    share = [
        dict(zip(at, _shares([milkings[i] for i in at]), strict=True)) for at in within
    ]  # fmt: skip
    times = sum(g.cows * len(at) for g, at in zip(groups, within, strict=True))
    day_l = sum(g.cows * _day_l(herd, g) for g, at in zip(groups, within, strict=True) if at)
    usual_l = day_l / times if times else 0.0
    order = sorted(range(len(milkings)), key=lambda i: (minutes(milkings[i].start), i))
    washed = _washed(milkings, order, washes_a_day)
    return tuple(
        MilkingPlan(
            place, one.name, minutes(one.start), one.target_h, one.operators,
            tuple(
                _part(herd, g, share[g][place], usual_l, rules) for g in _taking_part(one, groups)
            ),
            place in washed,
        )
        for place in order for one in (milkings[place],)
    )  # fmt: skip


def _taking_part(milking: Milking, groups: Sequence[Group]) -> list[int]:
    """The groups of a milking by their place in the herd, in the order they are milked."""
    names = [g.name for g in groups]
    wanted = dict.fromkeys(milking.groups or names)
    return [names.index(name) for name in wanted if name in names]


def _day_l(herd: Herd, group: Group) -> float:
    return herd.yield_l_day if group.yield_l_day is None else group.yield_l_day


def _part(herd: Herd, place: int, share: float, usual_l: float, rules: Rulebook) -> Part:
    group = herd.all_groups()[place]
    litres = _day_l(herd, group) * share
    kg = milk_kg_l(rules)
    out = milk_out(litres * kg, usual_l * kg, herd.milk_out_time_s, rules)
    return Part(place, group.name, group.cows, min(group.withheld_cows, group.cows), litres, out)


def milk_out_s_per_kg(rules: Rulebook) -> float:
    """By how much a kg more at a milking lengthens unit-on time, s/kg: r s_t / s_y.

    The slope of the regression of time on yield from the published deviations of both
    (Edwards and others 2012, read) and their correlation.
    """
    n = rules.number
    ratio = n("milking.duration_sd_s") / n("milking.yield_sd_kg")
    return n("milking.yield_time_correlation") * ratio


def milk_out(kg: float, usual_kg: float, stated: MilkOutTime | None, rules: Rulebook) -> MilkOut:
    """Unit-on time of cows that give `kg` each at a milking.

    The stated time holds at the herd's usual yield a milking, the published one (Edwards and
    others 2012) at its own; the regression leads from there. Mean flow over unit-on time stays
    under the top of the usual range.
    """
    n = rules.number
    if stated is None:
        base_s, base_kg = n("milking.duration_mean_s"), n("milking.yield_mean_kg")
        std_dev = n("milking.duration_sd_s") / base_s
    else:
        base_s, base_kg, std_dev = stated.mean, usual_kg, stated.std_dev / stated.mean
    mean = base_s + milk_out_s_per_kg(rules) * (kg - base_kg)
    if stated is None:
        mean = max(mean, 60.0 * kg / top(rules, "milking.mean_flow_holstein_kg_min"))
    mean = max(mean, n("milking.unit_on_least_s"))
    return MilkOut(mean, std_dev * mean)


def top(rules: Rulebook, key: str) -> float:
    """The top of a rule's usual range, or the rule itself where it is set above it."""
    value = rules[key]
    return max(value.value, value.value if value.high is None else value.high)


def _shares(milkings: Sequence[Milking]) -> list[float]:
    """Share of the day's milk in each milking of one group: stated, or by the time before it."""
    stated = [m.share for m in milkings if m.share is not None]
    if stated and len(stated) == len(milkings):
        return [one / sum(stated) for one in stated]
    starts = [minutes(m.start) for m in milkings]
    order = sorted(range(len(starts)), key=lambda i: (starts[i], i))
    shares = [0.0] * len(starts)
    for place, i in enumerate(order):
        before = starts[order[place - 1]]
        shares[i] = ((starts[i] - before - 1) % DAY_MIN + 1) / DAY_MIN
    return shares


def _washed(milkings: Sequence[Milking], order: Sequence[int], washes: int) -> set[int]:
    """Places of the milkings that a wash follows."""
    free = {}
    for rank, i in enumerate(order):
        after = minutes(milkings[order[(rank + 1) % len(order)]].start)
        gap = (after - minutes(milkings[i].start) - 1) % DAY_MIN + 1
        free[i] = gap - 60.0 * milkings[i].target_h
    return set(sorted(order, key=lambda i: -free[i])[:washes])


# Washing.


def wash_of(plant: Plant, rules: Rulebook) -> Wash:
    """The steps of a plant wash with their water, temperature, time and strength."""
    n, clean = rules.number, plant.cleaning
    units = plant.count(GivesMilk) or sum(d.stalls for d in plant.machines(StandsCows))
    lines = washed_lines_l(plant)
    standing = n("wash.receiver_share") * sum(
        r.volume_l * r.count for r in plant.machines(ReceivesMilk)
    )  # fmt: skip
    wet = n("wash.water_line_share") * lines + standing
    stated = "water_l_unit" in clean.model_fields_set
    each = clean.water_l_unit if stated else n("wash.hot_water_per_cluster_l")
    by_units, by_lines = units * each, wet / (1 - n("wash.charge_left_share"))
    hot = float(math.ceil(max(by_units, by_lines) / 10 - 1e-9) * 10)
    rinse = units * clean.water_l_unit + wet
    kinds = wash_kinds(clean.steps)
    steps = (
        _step(plant, rules, name, kind, rinse, hot)
        for name, kind in zip(clean.steps, kinds, strict=True)
    )
    return Wash(units, lines, wet, by_lines > by_units, hot, tuple(steps))


def wash_kinds(words: Sequence[str]) -> tuple[WashKind, ...]:
    """What the steps of a file are. A plain rinse is warm before the first wash and cold after.

    >>> [k.value for k in wash_kinds(("rinse", "main wash", "rinse"))]
    ['warm rinse', 'alkaline wash', 'cold rinse']

    Raises:
        ValueError: a word that no step is called by (the reader refuses such a file).
    """
    found: list[WashKind] = []
    for one in words:
        name = WASH_WORDS[wash_words(one)]
        if name == "rinse":
            washed = any(k in (WashKind.ALKALINE, WashKind.ACID) for k in found)
            name = WashKind.COLD_RINSE if washed else WashKind.WARM_RINSE
        found.append(WashKind(name))
    return tuple(found)


def washed_lines_l(plant: Plant) -> float:
    """Content of the milkline and of every milk and wash pipe, L."""
    pipes = [(p.bore_mm, p.length_m, 1) for p in plant.pipes
             if plant.service_of(p) in ("milk", "wash")]  # fmt: skip
    lines = [(m.bore_mm, m.length_m, m.count) for m in plant.machines(CollectsMilk)]
    return sum(math.pi / 4 * d**2 * length * n / 1000 for d, length, n in (*pipes, *lines))


def _step(
    plant: Plant, rules: Rulebook, name: str, kind: WashKind, rinse_l: float, hot_l: float
) -> WashStep:
    n, clean = rules.number, plant.cleaning
    doser = plant.first(DosesWash)
    detergent = doser.dose_ml_l / 1000 if doser else n("wash.detergent_share")
    at_c, strength = {
        WashKind.WARM_RINSE: (clean.rinse_c, 0.0),
        WashKind.ALKALINE: (clean.hot_c, detergent),
        WashKind.ACID: (n("wash.acid_c"), n("wash.acid_share")),
        WashKind.ACID_RINSE: (clean.rinse_c, n("wash.acid_share")),
        WashKind.SANITISE: (None, n("wash.sanitise_share")),
        WashKind.COLD_RINSE: (None, 0.0),
    }[kind]
    washes = kind in (WashKind.ALKALINE, WashKind.ACID)
    return WashStep(
        name, kind, hot_l if washes else rinse_l, at_c,
        n("wash.main_min") if washes else n("wash.rinse_min"), strength, washes,
    )  # fmt: skip
