"""Hardness of the water, and the softeners that take it."""

from __future__ import annotations

from collections.abc import Collection

from byrewright.plant.farm import hardness_mmol_l
from byrewright.plant.graph import Node, build, node, reached
from byrewright.plant.machine import Machine
from byrewright.plant.roles import (
    CoolsMilk,
    GivesWater,
    HeatsWater,
    MakesUpWash,
    RecoversHeat,
    RinsesUnits,
    SoftensWater,
    WashesCloths,
)
from byrewright.studies.sizing.context import StudyContext
from byrewright.studies.sizing.duty import Duty
from byrewright.studies.sizing.pumping import water_bore
from byrewright.studies.sizing.sizes import (
    TIGHT,
    listed,
    next_preferred,
    next_round,
    spare,
    stated,
    worked,
)
from byrewright.studies.sizing.steps import field
from byrewright.studies.sizing.water import cooler_water_l_min, fill_flow_l_min, water_day


def size_softening(ctx: StudyContext, duty: Duty) -> None:
    """Softeners against the hardness of the water, and heaters that none stands before."""
    hard = hardness_mmol_l(ctx.plant.site, ctx.plant.cleaning)
    limit = ctx.number("water.soft_enough_mmol_l")
    softeners = ctx.plant.machines(SoftensWater)
    if hard is None and not softeners:
        return
    unsoftened = _reached(ctx, {s.id for s in ctx.plant.machines(GivesWater)}, softeners)
    heaters = [h.id for h in ctx.plant.machines(HeatsWater) if h.id in unsoftened]
    if hard is not None and (heaters or not softeners):
        past = (
            f" {listed([s.id for s in softeners])} does not soften what comes to "
            if softeners
            else ""
        )
        ctx.find(
            "water.hardness", "Hardness of the wash water", round(hard, 3), "mmol/L",
            f"The water has {hard:.3g} mmol/L; from {limit:g} on heaters scale and wash takes more "
            "detergent: soften the hot water, or dose for it as the label says."
            + (f"{past}{listed(heaters)}." if past else ""),
            limit=limit, sense="at_most", allowance=TIGHT, formula="hardness <= limit",
            inputs=(ctx.rule("water.soft_enough_mmol_l"),), source="practice",
            confidence="common_practice",
        )  # fmt: skip
    passed = {s.id: _softened_l(ctx, duty, s) for s in softeners}
    for one in softeners:
        litres, what = passed[one.id]
        alike = sum(s.count for s in softeners if passed[s.id][1] == what)
        need = (hard or 0.0) * litres / 1000.0 / alike
        ctx.find(
            "water.softener", "Softener", one.capacity_mol, "mol",
            f"{one.id} takes {one.capacity_mol:g} mol between regenerations; "
            f"{litres:.0f} L a day ({what}) bring {need:.1f} mol. One regeneration a "
            f"day uses {one.salt_kg:g} kg of salt. Drinking water for people is left hard.",
            subject=one.id, limit=need, sense="at_least", allowance=TIGHT,
            formula="n = hardness x water that passes in a day",
            inputs=(worked("V", f"water that passes in a day: {what}", round(litres), "L"),
                    stated("c", "hardness", hard or 0.0, "mmol/L")),
            source="definition", confidence="derived",
            advised=next_preferred(max(0.5, need * (1 + TIGHT))),
            advised_why="a day's hardness, next size", target=(one, "capacity_mol"),
            missing=("site.water_hardness_mmol_l",) if hard is None else (),
        )  # fmt: skip
        _softener_flow(ctx, duty, one, alike)
        _salt(ctx, one)


def _softener_flow(ctx: StudyContext, duty: Duty, one: SoftensWater, alike: int) -> None:
    """Rated flow of a softener against what passes it at once: the trough being filled, or what
    cooler and backflush take in milking."""
    behind = _reached(ctx, {node(f"{one.id}.outlet")}, [one])
    asked = (
        ("filling the wash trough", fill_flow_l_min(ctx), (MakesUpWash, HeatsWater)),
        ("cooler and backflush", cooler_water_l_min(ctx, duty), (CoolsMilk,)),
    )
    ways = [(q, what) for what, q, roles in asked
            if any(m.id in behind for role in roles for m in ctx.plant.machines(role))]  # fmt: skip
    q, what = max(ways, default=(0.0, "nothing behind it"))
    need = q / alike
    ctx.find(
        "water.softener_flow", "Softener: flow", one.flow_l_min, "L/min",
        f"{one.id} is rated {one.flow_l_min:g} L/min; {what} brings {need:.0f} L/min through it "
        f"({spare(one.flow_l_min, need)}). Faster, hardness slips through and pressure is lost.",
        subject=one.id, limit=round(need, 1), sense="at_least", allowance=TIGHT,
        formula="q = V / t / n",
        inputs=(worked("V/t", what, round(q, 1), "L/min"),
                worked("n", "softeners that share it", alike)),
        source="practice", confidence="common_practice",
        advised=next_round(max(1.0, need) * (1 + TIGHT)),
        advised_why=f"{what}: {need:.0f} L/min", target=(one, "flow_l_min"),
    )  # fmt: skip
    for pipe in ctx.plant.pipes:
        if need and one.id in (node(pipe.start).machine, node(pipe.end).machine):
            water_bore(ctx, pipe, need, "water.softener_pipe")


def _salt(ctx: StudyContext, one: SoftensWater) -> None:
    need = one.capacity_mol * ctx.number("water.softener_salt_kg_mol")
    ctx.find(
        "water.softener_salt", "Softener: salt", one.salt_kg, "kg",
        f"{one.id} regenerates with {one.salt_kg:g} kg of salt; {need:.1f} kg bring back the "
        f"{one.capacity_mol:g} mol that it takes ({spare(one.salt_kg, need)}).",
        subject=one.id, limit=round(need, 2), sense="at_least",
        formula="m = s n", inputs=(field(one, "capacity_mol", "n"),
                                   ctx.rule("water.softener_salt_kg_mol", "s")),
        source="practice", confidence="common_practice",
        advised=next_preferred(need * (1 + TIGHT)),
        advised_why=f"{need:.1f} kg bring its capacity back", target=(one, "salt_kg"),
    )  # fmt: skip


def _reached(ctx: StudyContext, starts: Collection[str | Node],
             past: Collection[Machine]) -> frozenset[str]:  # fmt: skip
    """What water comes to in some mode from machines or nodes, not through others or a trough."""
    plant, graph = ctx.plant, build(ctx.plant)
    tags = {m.id for m in (*past, *plant.machines(MakesUpWash))}
    return frozenset[str]().union(
        *(reached(plant, graph, starts, n, ("water",), past=tags) for n in plant.modes)
    )


def _softened_l(ctx: StudyContext, duty: Duty, one: SoftensWater) -> tuple[float, str]:
    """Litres a day of the uses behind a softener, at most all fresh water, and what they are."""
    day = water_day(ctx, duty)
    uses = {u.what: u.day_l for u in day.uses}
    plant, out = ctx.plant, {node(f"{one.id}.outlet")}
    behind = _reached(ctx, out, [one])
    cold = _reached(ctx, out, [one, *plant.machines(HeatsWater), *plant.machines(RecoversHeat),
                               *plant.machines(CoolsMilk)])  # fmt: skip

    def comes(role: type[Machine], to: frozenset[str]) -> bool:
        return any(m.id in to for m in plant.machines(role))

    found = {}
    if comes(MakesUpWash, cold):
        found = {w: uses.get(w, 0.0) for w in ("first rinse", "other wash steps", "tank wash")}
    elif comes(HeatsWater, behind):
        found["warm and hot water"] = ctx.programme.washes_a_day * sum(
            s.litres for s in ctx.programme.wash.steps if s.at_c is not None
        ) + uses.get("tank wash", 0.0) / (1 + ctx.number("wash.tank_rinses"))  # fmt: skip
    for role, what in ((CoolsMilk, "plate cooler"), (RinsesUnits, "backflush"),
                       (WashesCloths, "laundry")):  # fmt: skip
        if comes(role, behind):
            found[what] = uses.get(what, 0.0)
    found = {w: v for w, v in found.items() if v > 0}
    return min(sum(found.values()), day.fresh_l), listed(list(found)) or "nothing behind it"
