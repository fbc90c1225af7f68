"""Standby power: generator with its start order, dip and fuel; what the battery carries."""

from __future__ import annotations

from collections.abc import Sequence

from byrewright.physics.motors import Load, dip_pct, fuel_hours, generator_size, start_order
from byrewright.plant.machine import Machine
from byrewright.plant.plant import Plant
from byrewright.plant.roles import (
    BridgesPower,
    Controls,
    GeneratesPower,
    SharesPower,
    TellsPeople,
)
from byrewright.results import Input, Table
from byrewright.standards.electrical import GENERATOR_KVA, UPS_KVA
from byrewright.standards.rulebook import Rulebook
from byrewright.studies.sizing.altitude import generators
from byrewright.studies.sizing.context import StudyContext
from byrewright.studies.sizing.loads import ElectricLoad, demand_kva, is_heat
from byrewright.studies.sizing.sizes import TIGHT, listed, next_preferred, spare, stated, worked
from byrewright.studies.sizing.steps import field, next_of

CARRIED, KEPT, COLD, HEAT, OFF = range(5)
"""How a load fares on standby: on the battery supply, kept, last on and second to be shed, shed
first, or off with its board."""


def on_standby(plant: Plant, machine: Machine) -> int:
    """How a machine fares when a standby set carries the plant."""
    if {u.id for u in plant.machines(BridgesPower)} & set(machine.fed_from):
        return CARRIED
    boards = {b.id: b.essential for b in plant.machines(SharesPower)}
    if machine.fed_from and not any(boards.get(f, True) for f in machine.fed_from):
        return OFF
    if is_heat(machine):
        return HEAT
    return COLD if machine.can("makes cold") else KEPT


def standby_loads(ctx: StudyContext, loads: Sequence[ElectricLoad]) -> tuple[Load, ...]:
    """What the generator carries in milking, one start a machine."""
    found = []
    heat = ctx.number("generator.heat_share")
    for one in loads:
        rank = on_standby(ctx.plant, one.machine)
        kw = one.kw("milking") * (heat if rank == HEAT else 1.0)
        if rank == OFF or kw <= 0:
            continue
        count = one.machine.count
        for n in range(count):
            name = one.machine.id if count == 1 else f"{one.machine.id} ({n + 1} of {count})"
            found.append(Load(name, kw / count, one.motor_kw, one.start or "direct"))
    return tuple(found)


def shed_words(ctx: StudyContext) -> str:
    """What of heaters and laundry is shed, in words."""
    heat = ctx.number("generator.heat_share")
    if heat <= 0:
        return "Heaters and laundry are shed."
    if heat >= 1:
        return "Nothing is shed."
    return f"{100 * (1 - heat):.0f} % of heaters and laundry is shed."


def size_generator(ctx: StudyContext, loads: Sequence[ElectricLoad]) -> None:
    """Rating by running load and by the worst start, dip at each start, hours of fuel."""
    sets = ctx.plant.machines(GeneratesPower)
    wish = ctx.plant.wishes.standby_power
    carried = standby_loads(ctx, loads)
    if not carried:
        return
    if not sets:
        if wish != "none":
            size = generator_size(start_order(carried, ctx.rules), ctx.rules)
            ctx.lacks("power.generator", "Standby generator", "Standby power was asked for "
                                                                "and no "
                        f"generator is in the plant: about {size.chosen_kva or size.least_kva:.0f} "
                        f"kVA carry milking. {shed_words(ctx)}")  # fmt: skip
        return
    share = ctx.rules["generator.heat_share"]
    ctx.assume(sets[0].id, share.meaning, share.value, share.unit, share.source, share.confidence)
    for one in sets:
        _generator(ctx, one, carried)


def _rules_of(ctx: StudyContext, one: GeneratesPower) -> Rulebook:
    """The rulebook with this set's own reactance."""
    own = {key: ctx.rules.number(key) for key in ctx.rules.overridden}
    return Rulebook({**own, "generator.transient_reactance": one.reactance_pu})


def _generator(ctx: StudyContext, one: GeneratesPower, carried: Sequence[Load]) -> None:
    rules = _rules_of(ctx, one)
    size = generator_size(start_order(carried, rules), rules)
    running = sum(load.running_kw for load in carried)
    air = generators(ctx)
    least_kva = air.rating(size.least_kva)
    inputs = (
        worked("P", "running load in milking", round(running, 1), "kW"),
        ctx.rule("generator.heat_share"),
        ctx.rule("generator.load_most", "u"), ctx.rule("generator.power_factor", "pf"),
        ctx.rule("start.dip_most_pct", "dip"),
        worked("S_start", "hardest start", round(max(s.start_kva for s in size.steps), 1), "kVA"),
        field(one, "reactance_pu", "x'd"),
        ctx.rule("start.soft_multiple"), ctx.rule("start.drive_multiple"), *air.inputs,
    )  # fmt: skip
    tractor = (" By tractor: at least "
               f"{running * ctx.number('generator.engine_hp_per_kw'):.0f} hp "
               "at the shaft." if one.start_by == "tractor" else "")  # fmt: skip
    ctx.find(
        "power.generator", "Standby generator", one.rating_kva, "kVA",
        f"{one.id} of {one.rating_kva:g} kVA; {least_kva:.0f} kVA are needed for milking with "
        f"{running:.0f} kW running, set by {size.governed_by} "
        f"({spare(one.rating_kva, least_kva)})."
        f"{air.words} {shed_words(ctx)}{tractor}",
        subject=one.id, limit=round(least_kva, 1), sense="at_least", allowance=TIGHT,
        formula=f"S = max(P/(pf u), S_start x'd (100 - dip)/dip){air.over}, hardest start first",
        inputs=inputs, source="practice", confidence="from_memory",
        advised=next_of(least_kva * (1 + TIGHT), GENERATOR_KVA),
        advised_why=f"{least_kva:.0f} kVA, set by {size.governed_by}",
        target=(one, "rating_kva"),
    )  # fmt: skip
    dips = [(dip_pct(step.start_kva, one.rating_kva, rules), step) for step in size.steps]
    dip, hardest = max(dips, key=lambda pair: pair[0])
    most = ctx.number("start.dip_most_pct")
    ctx.find(
        "power.dip", "Voltage dip at the worst start", round(dip, 1), "%",
        f"Starting {hardest.name} pulls {one.id} down by {dip:.0f} %; {most:g} % is the most "
        "before contactors drop out."
        + (" A softer start, or a larger generator, gives room." if dip > 0.9 * most else ""),
        subject=one.id, limit=most, sense="at_most", allowance=0.1,
        formula="dip = S_start/(S_start + S_gen/x'd)",
        inputs=(worked("S_start", f"start of {hardest.name}", round(hardest.start_kva, 1), "kVA"),
                field(one, "rating_kva", "S_gen"), field(one, "reactance_pu", "x'd")),
        source="practice", confidence="from_memory",
    )  # fmt: skip
    ctx.notes.tables.append(Table(
        f"power.start_order.{one.id}", f"Start order on {one.id}",
        ("load", "start", "running after it", "running after it", "dip"),
        ("", "kVA", "kW", "kVA", "%"),
        tuple((s.name, round(s.start_kva, 1), round(s.running_kw, 1), round(s.running_kva, 1),
               round(d, 1)) for d, s in dips),
        note="Hardest start first, one at a time; then heaters and laundry as room allows.",
    ))  # fmt: skip
    _fuel(ctx, one, running)


def _fuel(ctx: StudyContext, one: GeneratesPower, running_kw: float) -> None:
    rated = one.rating_kva * ctx.number("generator.power_factor")
    if running_kw > 1.1 * rated:
        return
    hours = fuel_hours(one.fuel_l, running_kw, rated, ctx.rules)
    least = ctx.number("generator.fuel_hours")
    need = least / fuel_hours(1.0, running_kw, rated, ctx.rules)
    ctx.find(
        "power.fuel", "Hours of fuel", round(hours, 1), "h",
        f"{one.fuel_l:g} L run {one.id} for {hours:.0f} h with milking going on; {least:g} h are "
        f"wanted ({need:.0f} L).",
        subject=one.id, limit=least, sense="at_least", allowance=TIGHT,
        formula="t = fuel/(c P_rated (i + (1 - i) P/P_rated))",
        inputs=(field(one, "fuel_l", "fuel"), worked("P_rated", "rating", round(rated, 1), "kW"),
                worked("P", "running load", round(running_kw, 1), "kW"),
                ctx.rule("generator.fuel_l_per_kwh", "c"),
                ctx.rule("generator.idle_fuel_share", "i"),
                ctx.rule("generator.fuel_hours")),
        source="practice", confidence="common_practice", advised=next_preferred(need * (1 + TIGHT)),
        advised_why=f"{least:g} h of milking", target=(one, "fuel_l"),
    )  # fmt: skip


def size_uninterruptible(ctx: StudyContext, loads: Sequence[ElectricLoad]) -> None:
    """What is on the uninterruptible supply, its rating and how long it holds."""
    supplies = ctx.plant.machines(BridgesPower)
    ids = {s.id for s in supplies}
    wanting = [m for m in ctx.plant.equipment.values() if isinstance(m, Controls | TellsPeople)]
    if not wanting and not supplies:
        return
    bare = [m for m in wanting if not ids & set(m.fed_from)]
    if bare and (supplies or ctx.plant.wishes.standby_power != "none"):
        ctx.find(
            "power.ups_missing", "Controls without an uninterruptible supply", len(bare), "",
            f"When the mains fails, {listed([m.id for m in bare])} go dead and valves go to their "
            "rest position: feed them from an uninterruptible supply.", limit=0, sense="at_most",
            formula="controllers and sounders not fed from one", source="practice",
            confidence="common_practice",
        )  # fmt: skip
    wait = max((g.start_s for g in ctx.plant.machines(GeneratesPower)), default=0.0) / 60
    hold = max(ctx.number("ups.hold_min"), 2 * wait)
    for one in supplies:
        mine = [load for load in loads if one.id in load.machine.fed_from]
        kva = demand_kva(mine, "milking") * ctx.number("ups.margin")
        what = listed([load.machine.id for load in mine]) or "nothing"
        ctx.find(
            "power.ups", "Uninterruptible supply", one.rating_kva, "kVA",
            f"{one.id} carries {what}: {kva:.2f} kVA with a margin "
            f"({spare(one.rating_kva, kva)}).",
            subject=one.id, limit=round(kva, 3), sense="at_least", allowance=TIGHT,
            formula="S = k S_load",
            inputs=(ctx.rule("ups.margin", "k"), worked("S_load", "controls",
                                                          round(kva / ctx.number("ups.margin"),
                                                                3), "kVA"), field(one,
                                                                                  "rating_kva"),
                    stated("carries", "what it feeds", what)),
            source="practice", confidence="common_practice", advised=next_of(kva * (1 + TIGHT),
            UPS_KVA),
            advised_why=f"{kva:.2f} kVA of controls", target=(one, "rating_kva"),
        )  # fmt: skip
        ctx.find(
            "power.ups_hold", "Time it holds", one.hold_min, "min",
            f"{one.id} holds {one.hold_min:g} min; {hold:.0f} min carry the controls until the "
            "generator is on, with time to "
            "spare.", subject=one.id, limit=round(hold, 1), sense="at_least",
            allowance=TIGHT, formula="t = max(least, 2 t_start)",
            inputs=(ctx.rule("ups.hold_min", "least"),
                    Input("t_start", "start of the slowest generator", round(60 * wait, 1), "s",
                          "plant file")),
            source="practice", confidence="common_practice",
            advised=next_preferred(hold * (1 + TIGHT)),
            advised_why=f"{hold:.0f} min until standby power", target=(one, "hold_min"),
        )  # fmt: skip
