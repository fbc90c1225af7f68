"""The chilled liquid: does it freeze, does milk freeze on it, has its circuit room and content."""

from __future__ import annotations

import math

from byrewright.engine.circuits import coolant_of, glycol_pct
from byrewright.physics.coolant import (
    coolant,
    evaporates_c,
    expansion_l,
    expansion_vessel_l,
    freeze_wanted_c,
    glycol_needed_pct,
    wall_c,
)
from byrewright.physics.refrigeration import glycol_freeze_c
from byrewright.plant.primitives import ColdStore
from byrewright.plant.roles import BuffersCold, MakesCold, TakesExpansion
from byrewright.studies.sizing.context import StudyContext
from byrewright.studies.sizing.in_line import (
    InLine,
    Line,
    circuits,
    coolant_makers,
    liquid_for,
    united,
)
from byrewright.studies.sizing.sizes import TIGHT, listed, next_preferred, stated, worked

WALL_ALLOWANCE_K = 0.5
"""A plate less than this above the freezing point of milk is tight (our choice)."""


def judge_coolant(ctx: StudyContext, line: Line) -> None:
    """Freezing of liquid and milk, content for the compressor, room to grow."""
    makers = [m for m in coolant_makers(ctx) if not m.cold().store_kwh]
    for one in makers:
        _freezes(ctx, one)
    _one_liquid(ctx)
    chilled = [(p.out_c, tag) for tag, p in line.each.items() if p.second is not None]
    if chilled:  # the plate where milk leaves coldest
        _, tag = min(chilled)
        _milk_wall(ctx, line.each[tag], tag)
    _apart(ctx)
    if makers:
        _content(ctx, makers)
        _expansion(ctx)


def _freezes(ctx: StudyContext, one: MakesCold) -> None:
    """Freezing point against the evaporator."""
    made = one.cold()
    assert made.leaving_c is not None
    needed = glycol_needed_pct(made.leaving_c, ctx.rules)
    wanted = freeze_wanted_c(made.leaving_c, ctx.rules)
    evaporator = evaporates_c(made.leaving_c, ctx.rules)
    has = made.glycol_pct
    freeze = None if has is None else glycol_freeze_c(has)
    says = (
        f"{one.id} sends out liquid at {made.leaving_c:g} degC and evaporates near {evaporator:g} "
        f"degC; its liquid should not freeze above {wanted:g} degC"
    )
    if has is None or freeze is None:
        says += (
            f", which {needed:g} % of propylene glycol does. Its share is not stated: the sums "
            f"take {needed:g} %. State glycol_pct, and measure it."
        )
    else:
        liquid = coolant(has, made.leaving_c)
        says += (
            f" and {liquid.words} freezes at {freeze:g} degC."
            + ("" if freeze <= wanted else f" {needed:g} % of propylene glycol is needed.")
            + " Food-grade glycol only, and never to a drain."
        )
    field = type(one).GLYCOL_FIELD
    ctx.find(
        "cooling.coolant.freezes", "Freezing point of the chilled liquid", freeze, "degC", says,
        subject=one.id, limit=wanted, sense="at_most", allowance=0.0,
        formula="T_freeze <= T_leaving - dT_evaporator - margin",
        inputs=(stated("T_leaving", "liquid sent out", made.leaving_c, "degC"),
                ctx.rule("coolant.evaporator_below_k", "dT_evaporator"),
                ctx.rule("coolant.freeze_margin_k", "margin")),
        source="lange", confidence="read", advised=needed,
        advised_why=f"freezes below {wanted:g} degC, 5 K under the evaporator",
        target=(one, field) if field else None,
        missing=("glycol_pct",) if has is None else (),
    )  # fmt: skip


def _one_liquid(ctx: StudyContext) -> None:
    """Heads, flows, content and expansion take one chilled liquid for all circuits."""
    baths = {
        m.id: b for m in coolant_makers(ctx) for b in m.lower() if isinstance(b, ColdStore)
    }  # fmt: skip
    kinds = {tag: glycol_pct(b, ctx.rules) for tag, b in baths.items()}
    if len(set(kinds.values())) > 1:
        ctx.notes.notes.append(
            f"The chilled liquids of {listed(list(kinds))} differ; heads, flows, content and "
            f"expansion are worked out with the coldest, {coolant_of(ctx.plant, ctx.rules).words}. "
            "Circuits that can be joined by a valve must hold the same liquid."
        )


def _apart(ctx: StudyContext) -> None:
    """Circuits that no pipe joins do not stand in for each other, nor share content and vessels."""
    groups = circuits(ctx)
    if len(groups) < 2:
        return
    said = " and ".join(listed([m.id for m in group]) for group in groups)
    ctx.find(
        "cooling.coolant.circuits", "Chilled circuits", None, "",
        f"{said} make cold for circuits that no pipe joins. What each gives its own coolers and "
        "tanks is worked out; duty with one off, content and room to grow are summed over all of "
        "them, so they are not judged: no circuit carries another's load, and each needs an "
        "expansion vessel of its own.",
        source="definition", confidence="derived", missing=united(ctx),
    )  # fmt: skip


def _milk_wall(ctx: StudyContext, point: InLine, tag: str) -> None:
    """Milk on the plate at the cold end, while it flows and when it stands."""
    if point.second is None or point.coolant_in_c is None:
        return
    liquid = liquid_for(ctx, tag)
    wall = wall_c(point.second.hot_out_c, liquid, point.coolant_in_c)
    limit = ctx.number("milk.wall_least_c")
    stands = point.coolant_in_c < limit
    ctx.find(
        "cooling.coolant.milk_wall", "Coldest wall that milk meets in the cooler", wall, "degC",
        f"Where milk leaves at {point.second.hot_out_c:.1f} degC against liquid at "
        f"{point.coolant_in_c:g} degC the plate is at {wall:.1f} degC; milk freezes at "
        f"{limit:g} degC."
        + (
            " Milk that stands in the cooler takes the liquid's temperature and freezes: stop the "
            "liquid before the milk, by flow proof, and mix it warmer with a valve."
            if stands and wall >= limit
            else " It freezes on to the plate: use warmer liquid, less of it, or a smaller stage."
            if wall < limit
            else ""
        ),
        limit=limit, sense="at_least",
        # With liquid colder than freezing milk it is tight at best, whatever flows.
        allowance=1e3 if stands else WALL_ALLOWANCE_K / abs(limit),
        formula="T_wall = (T_milk + f T_liquid) / (1 + f), f the ratio of the films",
        inputs=(worked("T_milk", "milk out", round(point.second.hot_out_c, 2), "degC"),
                stated("T_liquid", "chilled liquid in", point.coolant_in_c, "degC"),
                ctx.rule("milk.wall_least_c")),
        source="definition", confidence="derived",
    )  # fmt: skip


def _circuit_l(ctx: StudyContext) -> float:
    """Content of the chilled circuits: makers, buffers, pipes."""
    plant = ctx.plant
    makers = sum(
        b.litres for m in coolant_makers(ctx) for b in m.lower() if isinstance(b, ColdStore)
    )
    buffers = sum(b.count * b.volume_l for b in plant.machines(BuffersCold))
    pipes = sum(math.pi / 4 * p.bore_mm**2 * p.length_m / 1000 for p in plant.pipes
                if plant.service_of(p) == "coolant")  # fmt: skip
    return makers + buffers + pipes


def _content(ctx: StudyContext, makers: list[MakesCold]) -> None:
    """Content that lets a compressor run its least time at half load."""
    has, liquid = _circuit_l(ctx), coolant_of(ctx.plant, ctx.rules)
    each = max(m.cold().duty_kw for m in makers)
    minutes, band = ctx.number("coolant.least_run_min"), ctx.number("coolant.band_k")
    need = 0.5 * each * 60.0 * minutes / (liquid.kj_l_k * band)
    buffers = ctx.plant.machines(BuffersCold)
    advised = None
    if buffers:
        count = sum(b.count for b in buffers)
        own = sum(b.count * b.volume_l for b in buffers)
        advised = next_preferred(max(50.0, (need * (1 + TIGHT) - (has - own)) / count))
    for subject in buffers or (None,):
        ctx.find(
            "cooling.coolant.content", "Content of the chilled circuit", has, "L",
            f"The chilled circuit holds {has:.0f} L; {need:.0f} L let a {each:.0f} kW compressor "
            f"run {minutes:g} min at half load within {band:g} K."
            + ("" if has >= need else " A buffer, or a machine that follows the load, is needed."),
            subject=subject.id if subject else "", limit=need, sense="at_least", allowance=TIGHT,
            formula="V = Q/2 t / (rho cp dT)",
            inputs=(worked("Q", "largest chiller", each, "kW"),
                    ctx.rule("coolant.least_run_min", "t"), ctx.rule("coolant.band_k", "dT")),
            source="heat balance", confidence="derived", advised=advised,
            advised_why="the least run at half load, next size",
            target=(subject, "volume_l") if subject else None, missing=united(ctx),
        )  # fmt: skip


def _expansion(ctx: StudyContext) -> None:
    """Growth of the circuit's liquid from its coldest to standing warm."""
    vessels = ctx.plant.machines(TakesExpansion)
    liquid, content = coolant_of(ctx.plant, ctx.rules), _circuit_l(ctx)
    warm = ctx.number("coolant.stands_c")
    growth = expansion_l(content, liquid.glycol_pct, liquid.at_c, warm)
    if not vessels:
        ctx.find(
            "cooling.coolant.expansion", "Expansion of the chilled circuit", None, "L",
            f"The liquid grows by {growth:.0f} L from {liquid.at_c:g} to {warm:g} degC. No "
            "expansion vessel is in the file: add one (a circuit open to a tank needs none).",
            source="definition", confidence="derived", missing=("an expansion vessel",),
        )  # fmt: skip
        return
    count, total = sum(v.count for v in vessels), sum(v.count * v.volume_l for v in vessels)
    for one in vessels:
        need = expansion_vessel_l(growth, one.precharge_bar, one.relief_bar * 0.9)
        ctx.find(
            "cooling.coolant.expansion", "Expansion of the chilled circuit", total, "L",
            f"{one.id} holds {total:.0f} L; the {content:.0f} L of {liquid.words} grow by "
            f"{growth:.0f} L from {liquid.at_c:g} to {warm:g} degC and need {need:.0f} L between "
            f"{one.precharge_bar:g} bar and nine tenths of the relief valve's {one.relief_bar:g} "
            "bar. A relief valve of its own, never shut off.",
            subject=one.id, limit=need, sense="at_least", allowance=TIGHT,
            formula="V = V_c (rho_cold / rho_warm - 1) / (1 - p_0 / p_1), absolute",
            inputs=(worked("V_c", "content of the circuit", round(content), "L"),
                    stated("p_0", "precharge", one.precharge_bar, "bar"),
                    stated("p_1", "relief", one.relief_bar, "bar"),
                    ctx.rule("coolant.stands_c")),
            source="definition", confidence="derived",
            advised=next_preferred(need * (1 + TIGHT) / count),
            advised_why="the circuit's growth, next size", target=(one, "volume_l"),
            missing=united(ctx),
        )  # fmt: skip
