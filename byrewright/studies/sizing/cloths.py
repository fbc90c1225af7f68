"""Udder cloths: how many a day, machines to wash and dry them, hours, lots and stock."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from byrewright.physics.laundry import dry_load_kwh, wash_load_kwh
from byrewright.plant.roles import DriesCloths, WashesCloths, usually
from byrewright.results import Table
from byrewright.standards.cleaning import HEATER_KW
from byrewright.standards.laundry import WASHER_LOADS_KG
from byrewright.studies.sizing.context import StudyContext
from byrewright.studies.sizing.duty import Duty
from byrewright.studies.sizing.sizes import counted, listed, stated, worked
from byrewright.studies.sizing.steps import field, next_of

LOADS_A_MILKING = 4
"""A designer starts from machines that take one milking's cloths in about this many loads."""


@dataclass(frozen=True, slots=True)
class ClothDay:
    """A day's cloths."""

    cloths: float
    kg: float
    largest_milking: float
    largest_kg: float


def cloth_day(ctx: StudyContext, duty: Duty) -> ClothDay:
    """Cloths and dry kilograms of a day and of the largest milking."""
    each, kg = ctx.plant.work.cloths_a_cow, ctx.number("cloth.dry_kg")
    most = max(m.cows for m in duty.milkings) * each
    day = duty.cows_milked_day * each
    return ClothDay(day, day * kg, most, most * kg)


def laundry_water_l_day(ctx: StudyContext, duty: Duty) -> float:
    """Water that the cloth washers take in a day, L (0 where there are none): the mean of days, as
    what does not fill a load waits for the next."""
    washers = ctx.plant.machines(WashesCloths)
    if not washers or ctx.plant.work.cloths_a_cow <= 0:
        return 0.0
    held = sum(w.count * w.load_kg for w in washers) * ctx.number("cloth.load_fill")
    loads = cloth_day(ctx, duty).kg / held  # of all washers at once
    return loads * sum(w.count * w.water_l_load for w in washers)


def size_cloths(ctx: StudyContext, duty: Duty) -> None:
    """Cloths a day, the machines for them, and the stock to hold. Nothing where none are used."""
    if ctx.plant.work.cloths_a_cow <= 0:
        return
    day = cloth_day(ctx, duty)
    _cloths(ctx, duty, day)
    _machines(ctx, day, "washer", WashesCloths, ctx.plant.machines(WashesCloths))
    _machines(ctx, day, "dryer", DriesCloths, ctx.plant.machines(DriesCloths))
    _stock(ctx, day)
    _table(ctx, duty, day)


def _cloths(ctx: StudyContext, duty: Duty, day: ClothDay) -> None:
    each = ctx.plant.work.cloths_a_cow
    ctx.find(
        "cloths.day", "Cloths a day", round(day.cloths), "",
        f"{day.cloths:.0f} udder cloths a day, {day.kg:.0f} kg dry; the largest milking uses "
        f"{day.largest_milking:.0f} ({day.largest_kg:.0f} kg).",
        formula="N = cows a; mass = N m",
        inputs=(worked("cows", "cows milked a day", duty.cows_milked_day),
                stated("a", "cloths a cow a milking", each),
                ctx.rule("cloth.dry_kg", "m")),
        source="practice", confidence="common_practice",
    )  # fmt: skip


def _loads(ctx: StudyContext, kg: float, machines: Sequence[WashesCloths | DriesCloths]) -> float:
    """Loads for `kg` of cloths in the machines there are, each filled as is usual."""
    held = sum(m.count * m.load_kg for m in machines) / sum(m.count for m in machines)
    return math.ceil(kg / (held * ctx.number("cloth.load_fill")) - 1e-9)


def _hours(ctx: StudyContext, kg: float, load_kg: float, cycle_min: float, count: int) -> float:
    """Hours a day that `count` machines side by side need for `kg`."""
    loads = math.ceil(kg / (load_kg * ctx.number("cloth.load_fill")) - 1e-9)
    each = math.ceil(loads / count)
    return each * (cycle_min + ctx.number("cloth.handling_min")) / 60.0


def _enough(ctx: StudyContext, kg: float, load_kg: float, cycle_min: float) -> int:
    """Machines of a size that do the day in the hours staffed, with one out within a long day."""
    spare = ctx.plant.wishes.redundancy != "none"
    for count in range(1, 200):
        holds = _hours(ctx, kg, load_kg, cycle_min, count) <= ctx.number("cloth.hours_most")
        if spare and holds:
            holds = count > 1 and _hours(ctx, kg, load_kg, cycle_min, count - 1) <= ctx.number(
                "cloth.hours_one_out"
            )
        if holds:
            return count
    return 200


def _machines(
    ctx: StudyContext, day: ClothDay, word: str, kind: type[WashesCloths] | type[DriesCloths],
    machines: Sequence[WashesCloths | DriesCloths],
) -> None:  # fmt: skip
    cycle = usually(kind, "cycle_min")
    if not machines:
        load = next_of(day.largest_kg / LOADS_A_MILKING / ctx.number("cloth.load_fill"),
                       WASHER_LOADS_KG)  # fmt: skip
        ctx.lacks(
            f"cloths.{word}", f"Cloth {word}s",
            f"{day.cloths:.0f} cloths a day are used and the plant has no cloth {word}: add "
            f"{_enough(ctx, day.kg, load, cycle)} of {load:g} kg, or set cloths a cow to 0 if "
            "none are used.",
        )  # fmt: skip
        return
    first = machines[0]
    count = sum(m.count for m in machines)
    load = sum(m.count * m.load_kg for m in machines) / count
    cycle = max(m.cycle_min for m in machines)
    inputs = (
        worked("M", "dry cloths a day", day.kg, "kg"),
        field(first, "load_kg", "L"), field(first, "cycle_min", "c"),
        stated("n", f"{word}s", count), ctx.rule("cloth.load_fill", "f"),
        ctx.rule("cloth.handling_min", "h"),
    )  # fmt: skip
    for one in machines:
        _machine_size(ctx, day, word, one)
        if isinstance(one, WashesCloths):
            _load_water(ctx, one)
    advised = _enough(ctx, day.kg, load, cycle)
    change: dict[str, Any] = {
        "advised": advised, "target": (first, "count"),
        "advised_why": f"{day.kg:.0f} kg of cloths a day, {_loads(ctx, day.kg, machines):.0f} "
        f"loads of {load:g} kg",
    } if len(machines) == 1 else {}  # fmt: skip
    do = f" Use {advised:g} of this size."
    hours, most = _hours(ctx, day.kg, load, cycle, count), ctx.number("cloth.hours_most")
    ctx.find(
        f"cloths.{word}_hours", f"Hours a day of the {word}s", round(hours, 2), "h",
        f"{count} {word}{'s' if count > 1 else ''} of {load:g} kg: {hours:.1f} h a day for "
        f"{counted(round(_loads(ctx, day.kg, machines)), 'load')}.{do if hours > most else ''}",
        subject=listed([m.id for m in machines]), limit=most, sense="at_most", allowance=0.1,
        formula="hours = ceil(ceil(M / (L f)) / n) (c + h) / 60", inputs=inputs,
        source="practice", confidence="common_practice", **change,
    )  # fmt: skip
    if ctx.plant.wishes.redundancy == "none":
        return
    if count == 1:
        ctx.find(
            f"cloths.{word}_one_out", f"One {word} out of order", 0, "",
            f"There is one {word} only: when it stops the reserve lot of cloths lasts one "
            f"milking.{do}", subject=listed([m.id for m in machines]), limit=1, sense="at_least",
            formula="machines left = n - 1", inputs=inputs, source="practice",
            confidence="common_practice", **change,
        )  # fmt: skip
        return
    left, longest = (
        _hours(ctx, day.kg, load, cycle, count - 1),
        ctx.number("cloth.hours_one_out"),
    )
    ctx.find(
        f"cloths.{word}_one_out", f"One {word} out of order", round(left, 2), "h",
        f"With one {word} out of action the rest run {left:.1f} h a day."
        f"{do if left > longest else ''}",
        subject=listed([m.id for m in machines]), limit=longest, sense="at_most",
        formula="hours = ceil(ceil(M / (L f)) / (n - 1)) (c + h) / 60", inputs=inputs,
        source="practice", confidence="common_practice", **change,
    )  # fmt: skip


def _machine_size(
    ctx: StudyContext, day: ClothDay, word: str, one: WashesCloths | DriesCloths
) -> None:
    """The dry load a designer starts from, and the input that goes with it."""
    wanted = day.largest_kg / LOADS_A_MILKING / ctx.number("cloth.load_fill")
    load = next_of(wanted, WASHER_LOADS_KG)
    ctx.find(
        f"cloths.{word}_size", f"Size of a cloth {word}", one.load_kg, "kg",
        f"{one.id} takes {one.load_kg:g} kg; {load:g} kg takes the largest milking's "
        f"{day.largest_kg:.0f} kg in about {LOADS_A_MILKING} loads.",
        subject=one.id, formula="L = kg / (loads f)",
        inputs=(worked("kg", "cloths of the largest milking", round(day.largest_kg, 1), "kg"),
                ctx.rule("cloth.load_fill", "f"), worked("loads", "loads a milking",
                                                           LOADS_A_MILKING),
                field(one, "load_kg")),
        source="practice", confidence="common_practice", advised=load,
        advised_why=f"{day.largest_kg:.0f} kg of cloths a milking in about {LOADS_A_MILKING} loads",
        target=(one, "load_kg"),
    )  # fmt: skip
    need = one.load_kg * ctx.number("cloth.kw_per_kg")
    ctx.find(
        f"cloths.{word}_input", f"Electric input of a cloth {word}", one.motor_kw, "kW",
        f"{one.id} is rated {one.motor_kw:g} kW; about {need:.1f} kW are usual for "
        f"{one.load_kg:g} kg with electric heating.",
        subject=one.id, formula="P = p L",
        inputs=(ctx.rule("cloth.kw_per_kg", "p"), field(one, "load_kg", "L"), field(one,
                                                                                      "motor_kw")),
        source="practice", confidence="common_practice", advised=next_of(need, HEATER_KW),
        advised_why=f"usual for {one.load_kg:g} kg with electric heating",
        target=(one, "motor_kw"),
    )  # fmt: skip


def _load_water(ctx: StudyContext, one: WashesCloths) -> None:
    litres = one.load_kg * ctx.number("cloth.water_l_kg")
    ctx.find(
        "cloths.washer_water", "Water of a load", one.water_l_load, "L",
        f"{one.id} takes {one.water_l_load:g} L a load; about {litres:.0f} L are usual for "
        f"{one.load_kg:g} kg.", subject=one.id, formula="V = v L",
        inputs=(ctx.rule("cloth.water_l_kg", "v"), field(one, "load_kg", "L")), source="practice",
        confidence="common_practice", advised=round(litres),
        advised_why=f"usual for {one.load_kg:g} kg",
        target=(one, "water_l_load"),
    )  # fmt: skip


def _stock(ctx: StudyContext, day: ClothDay) -> None:
    lots = ctx.number("cloth.lots")
    stock = math.ceil(lots * day.largest_milking / 50) * 50
    uses = day.cloths * 365 / stock
    life = ctx.number("cloth.washes_of_life")
    ctx.find(
        "cloths.stock", "Cloths to hold in stock", stock, "",
        f"Hold {stock} cloths: {lots:g} lots of {day.largest_milking:.0f} (in use, in the laundry, "
        f"clean in reserve). Each is used {uses:.0f} times a year, so about "
        f"{day.cloths * 365 / life:.0f} wear out a year.",
        formula="stock = lots N_m, in bales of 50",
        inputs=(ctx.rule("cloth.lots", "lots"),
                worked("N_m", "cloths of the largest milking", day.largest_milking),
                ctx.rule("cloth.washes_of_life", "life")),
        source="practice", confidence="common_practice",
    )  # fmt: skip


def _table(ctx: StudyContext, duty: Duty, day: ClothDay) -> None:
    """Lots through the day, and the water and energy of the laundry."""
    washers = ctx.plant.machines(WashesCloths)
    each = ctx.plant.work.cloths_a_cow
    kg = ctx.number("cloth.dry_kg")
    rows: list[tuple[float | str, ...]] = []
    for milking in duty.milkings:
        mass = milking.cows * each * kg
        loads = _loads(ctx, mass, washers) if washers else 0.0
        rows.append((milking.name, round(milking.cows * each), round(mass, 1), loads))
    ctx.notes.tables.append(
        Table("cloths.lots", "Lots of cloths", ("milking", "cloths", "dry mass", "washer loads"),
              ("", "", "kg", ""), tuple(rows))
    )  # fmt: skip
    water = laundry_water_l_day(ctx, duty)
    if not water:
        return
    hot_c = ctx.number("cloth.wash_c")
    heat = wash_load_kwh(water, duty.water_coldest_c, ctx.rules)
    # Whole loads are dried, the last as it is.
    dry = dry_load_kwh(day.kg, ctx.rules) if ctx.plant.machines(DriesCloths) else 0.0
    ctx.find(
        "cloths.energy", "Laundry a day", round(heat + dry, 1), "kWh",
        f"The laundry takes {water:.0f} L of water and about {heat + dry:.0f} kWh a day "
        f"({heat:.0f} to heat the wash to {hot_c:g} degC, {dry:.0f} to dry). Wash hot on every "
        "cycle: a warm wash spreads udder infection from cow to cow.",
        formula="E = heat of the hot share of the water + moisture x mass x energy a kg of water",
        inputs=(worked("V", "water a day", water, "L"), ctx.rule("cloth.hot_share"),
                ctx.rule("cloth.wash_c"), ctx.rule("cloth.moisture_share"),
                ctx.rule("cloth.dry_kwh_per_kg_water")),
        source="practice", confidence="common_practice",
    )  # fmt: skip
