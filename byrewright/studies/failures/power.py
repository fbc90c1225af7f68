"""The mains lost: who carries what, the order of loads, what is shed, how long fuel lasts."""

from __future__ import annotations

from byrewright.plant.plant import Plant
from byrewright.plant.roles import BridgesPower, GeneratesPower, SharesPower, SuppliesPower
from byrewright.results import Finding, ResultBuilder, Table
from byrewright.standards.rulebook import Rulebook
from byrewright.studies.failures.analysis import Analysis
from byrewright.studies.sizing.context import StudyContext
from byrewright.studies.sizing.duty import duty_of
from byrewright.studies.sizing.loads import electric_loads
from byrewright.studies.sizing.power import size_power
from byrewright.studies.sizing.sizes import listed
from byrewright.studies.sizing.standby import on_standby

KEPT = ("power.generator", "power.dip", "power.fuel", "power.ups", "power.ups_hold",
        "power.ups_missing")  # fmt: skip
"""Findings of the sizing that answer what happens when the mains is lost."""


def power_part(ctx: StudyContext, analysis: Analysis) -> None:
    """Findings and tables of a loss of mains; the sizing of standby power is not done twice."""
    plant, rules = analysis.plant, analysis.rules
    sized = sizing_of_power(plant, rules)
    ctx.notes.findings += [f for f in sized.findings if f.key in KEPT]
    ctx.notes.tables += [t for t in sized.tables if t.key.startswith("power.start_order")]
    _dark(ctx, analysis)
    _overload(ctx, analysis)
    ctx.notes.tables.append(_shed(plant, rules))


def sizing_of_power(plant: Plant, rules: Rulebook) -> ResultBuilder:
    """The power topic of the sizing, on a notebook of its own."""
    own = StudyContext(plant, rules, ResultBuilder("power", plant.site.name))
    size_power(own, duty_of(own))
    return own.notes


def _dark(ctx: StudyContext, analysis: Analysis) -> Finding | None:
    """How long the plant stands dark, and whether the controls are carried through it."""
    plant = analysis.plant
    mains = plant.first(SuppliesPower)
    sets = plant.machines(GeneratesPower)
    if mains is None:
        return None
    automatic = [g for g in sets if g.start_by == "automatic"]
    dark_s = min((g.start_s for g in automatic), default=None)
    holds = min((60 * u.hold_min for u in plant.machines(BridgesPower)), default=0.0)
    if dark_s is None:
        how = ("by tractor or by hand: dark until someone has started it" if sets
               else "there is no standby set: dark until the mains is back")  # fmt: skip
        return ctx.find(
            "failures.dark", "Dark after loss of mains", 3600 * mains.failures()[0].repair_h, "s",
            f"When {mains.id} is lost, {how}; the controls stay up for {holds / 60:.0f} min.",
            subject=mains.id, source="practice", confidence="common_practice",
            formula="start of the standby set, against what the uninterruptible supply holds",
        )  # fmt: skip
    return ctx.find(
        "failures.dark", "Dark after loss of mains", dark_s, "s",
        f"When {mains.id} is lost, {automatic[0].id} carries the load after {dark_s:g} s; the "
        f"controls stay up for {holds:g} s" + (". Cups fall meanwhile; milking continues when the "
        "pumps are back and the cups are on again." if dark_s > 2 else "."),
        subject=mains.id, limit=holds or None, sense="at_most" if holds else "informational",
        formula="start and transfer time of the standby set, against the hold of the "
        "uninterruptible supply", source="practice", confidence="common_practice",
    )  # fmt: skip


def _overload(ctx: StudyContext, analysis: Analysis) -> None:
    """The board most overloaded when another supply is lost."""
    plant, structure = analysis.plant, analysis.structure
    boards = plant.machines(SharesPower)
    if not boards:
        return
    bare = [b.id for b in boards if b.rating_a is None]
    found = [(o, g) for g in sorted(structure.givers) for o in structure.overloads({g})]
    if bare and not found:
        ctx.lacks(
            "failures.overload", "Boards that take over the loads of a lost supply",
            f"The rating of {listed(bare)} is not stated, so whether they can carry "
            "the loads of a lost board is not known: add `rating_a`.",
        )  # fmt: skip
        return
    if not found:
        ctx.find(
            "failures.overload", "Boards that take over the loads of a lost supply", 0, "",
            "With any one supply lost, every board carries the loads that move to it.",
            limit=0, sense="at_most", formula="boards over their rating with one supply lost",
            source="iec60947_2", confidence="from_memory",
            inputs=(ctx.rule("breaker.holds_multiple"),),
        )  # fmt: skip
        return
    over = {o.board for o, _ in found}
    worst, lost = max(found, key=lambda pair: (pair[0].amps / pair[0].rated_a, pair[1]))
    does = (
        f"trips after about {worst.trips_s / 60:.0f} min unless {listed(worst.shed)} are "
        "switched off"
        if worst.shed and worst.holds
        else f"trips after about {worst.trips_s / 60:.0f} min, and again however much is shed"
    )
    ctx.find(
        "failures.overload", "Boards that take over the loads of a lost supply", len(over), "",
        f"With {lost} lost, {worst.board} carries {worst.amps:.0f} A on {worst.rated_a:g} A and "
        f"{does}. Fit a larger board, breaker and cable, or loads that shed themselves.",
        subject=worst.board, limit=0, sense="at_most",
        formula="t = tau ln(m2/(m2 - k2)), m current over rating",
        source="iec60947_2", confidence="from_memory",
        inputs=(ctx.rule("breaker.holds_multiple", "k"),
                ctx.rule("breaker.time_constant_s", "tau")),
    )  # fmt: skip


FARES = (
    "carried through on the uninterruptible supply", "kept", "last on, second to be shed",
    "shed first; on again when milking has ended", "off: its board is not kept in standby",
)  # fmt: skip
"""How a load fares on standby, in words."""


def _shed(plant: Plant, rules: Rulebook) -> Table:
    """What is kept, what is shed and in which order, on the standby set."""
    ctx = StudyContext(plant, rules, ResultBuilder("shed", plant.site.name))
    loads = electric_loads(ctx, duty_of(ctx))
    rows: list[tuple[float | str, ...]] = []
    for one in loads:
        m = one.machine
        rank = on_standby(plant, m)
        rows.append((rank, m.id, m.title, round(one.kw("milking"), 1), FARES[rank]))
    rows.sort(key=lambda r: (r[0], str(r[1])))
    return Table("failures.shed", "On standby power: what is kept and what is shed",
                 ("order", "tag", "machine", "in milking", "on standby"), ("", "", "", "kW", ""),
                 tuple(rows))  # fmt: skip
