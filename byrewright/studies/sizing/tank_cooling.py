"""Cooling in the tank: refrigeration by the region's temperature rule, blend, class, ambient."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from byrewright.physics.motors import next_motor_kw
from byrewright.physics.tank_fill import TankRun
from byrewright.plant.roles import CoolsMilk, LoadsTankers, MakesCold, StoresMilk
from byrewright.results import Input, Series
from byrewright.standards.cooling import (
    TemperatureRule,
    TemperatureStep,
)
from byrewright.studies.sizing.altitude import plates
from byrewright.studies.sizing.cold import rated_ambient
from byrewright.studies.sizing.context import StudyContext
from byrewright.studies.sizing.duty import Duty
from byrewright.studies.sizing.in_line import in_line
from byrewright.studies.sizing.sizes import (
    TIGHT,
    kilowatts,
    listed,
    next_preferred,
    spare,
    stated,
    verb_s,
    worked,
)
from byrewright.studies.sizing.tank_class import tank_class
from byrewright.studies.sizing.tank_runs import (
    WATCH_H,
    Fill,
    balance,
    fill_of,
    gain_kw,
    hold_kw,
    kept_kw,
    late_h,
    least_kw,
    run_tank,
    touching,
)

AT_ONCE_H = 2.0
"""Hours after milking read into "at once" (the Swiss ordinance's figure, read)."""
NO_COOLING_KW = 0.05
"""Less than any refrigeration: nothing is needed."""
BLEND_C = 10.0


@dataclass(frozen=True, slots=True)
class Wanted:
    """What the region asks of milk in the tank, the strictest of its steps."""

    rule: TemperatureRule
    limit_c: float
    within_h: float
    from_end: bool
    blend_c: float | None

    def words(self) -> str:
        """The rule in a sentence."""
        clock = "the end" if self.from_end else "the start"
        blend = f", later milkings never above {self.blend_c:g} degC" if self.blend_c else ""
        return (
            f"{self.limit_c:g} degC or less within {self.within_h:g} h of {clock} of milking{blend}"
        )


def wanted_of(ctx: StudyContext, milking_h: float) -> Wanted | None:
    """The region's rule, as the step that leaves the least time; None when none is held."""
    plant = ctx.plant
    try:
        rule = ctx.rules.temperature_rule(plant.site.region)
    except KeyError as error:
        ctx.find(
            "cooling.rule",
            "Milk temperature rule",
            None,
            "degC",
            f"{str(error.args[0]).capitalize()}. The cooling of tanks is not judged.",
            missing=("a milk temperature rule for the site's region",),
        )
        return None
    daily = all(c.every_days == 1 for c in plant.collections) if plant.collections else True
    steps = [s for s in rule.steps_for(daily) if s.applies in ("every_milking", "first_milking")]
    blend = next((s.limit_c for s in rule.steps if s.applies == "later_milkings"), None)
    coldest = min(s.limit_c for s in steps)
    rows = [(_hours_from_end(s, milking_h), s) for s in steps if s.limit_c == coldest]
    _, step = min(rows, key=lambda r: r[0])
    within = step.within_h if step.within_h is not None else AT_ONCE_H
    return Wanted(rule, step.limit_c, within, step.clock != "start_of_milking", blend)


def _hours_from_end(step: TemperatureStep, milking_h: float) -> float:
    within = step.within_h if step.within_h is not None else AT_ONCE_H
    return within - milking_h if step.clock == "start_of_milking" else within


def size_tank_cooling(ctx: StudyContext, duty: Duty) -> None:
    """Each tank's refrigeration against the region's rule; direct loading; condensing units."""
    plant = ctx.plant
    wanted = wanted_of(ctx, duty.largest.hours)
    if wanted is not None:
        _rule(ctx, wanted)
        _direct(ctx, duty, wanted)
        for tank in plant.machines(StoresMilk):
            _tank(ctx, duty, tank, wanted)
    for tank in plant.machines(StoresMilk):
        tank_class(ctx, tank)
        _agitator(ctx, tank)


def _agitator(ctx: StudyContext, tank: StoresMilk) -> None:
    """The motor that stirs a tank: all that it takes is heat that the cooling takes out again."""
    usual = ctx.number("tank.agitator_kw_m3") * tank.volume_l / 1000.0
    fits = next_motor_kw(usual, ctx.plant.site.region)
    ctx.find(
        "cooling.tank.agitator",
        "Agitator",
        tank.agitator_kw,
        "kW",
        f"The agitator of {tank.id} has {tank.agitator_kw:g} kW; {fits:g} kW is usual for "
        f"{tank.volume_l:.0f} L. All of it ends as heat in the milk, which the cooling takes out.",
        subject=tank.id,
        formula="P = p V; next motor rating",
        inputs=(ctx.rule("tank.agitator_kw_m3", "p"), stated("V", "volume", tank.volume_l, "L")),
        source="practice",
        confidence="common_practice",
        advised=fits,
        advised_why="usual for its volume; next motor rating",
        target=(tank, "agitator_kw"),
    )


def _rule(ctx: StudyContext, wanted: Wanted) -> None:
    at_once = ' "At once" is read as 2 h.' if wanted.rule.region == "EU" else ""
    note = f" Note: {wanted.rule.note}." if wanted.rule.note else ""
    ctx.find(
        "cooling.rule",
        "Milk temperature rule",
        wanted.limit_c,
        "degC",
        f"{wanted.rule.title}: {wanted.words()}.{at_once}{note} The authority and the buyer may "
        "ask for more.",
        formula="strictest step of the region's rule",
        inputs=(stated("", "region", ctx.plant.site.region),),
        source=wanted.rule.source,
        confidence=wanted.rule.confidence,
    )


def _direct(ctx: StudyContext, duty: Duty, wanted: Wanted) -> None:
    """Milk loaded straight is not cooled again: it must leave the cooler cold enough."""
    bays = [b for b in ctx.plant.machines(LoadsTankers) if b.direct]
    if not bays:
        return
    out = in_line(ctx, duty).out_c
    wish = ctx.plant.wishes.milk_out_c
    limit = wanted.limit_c if wish is None else min(wish, wanted.limit_c)
    ctx.find(
        "cooling.direct_load",
        "Milk straight to the tanker",
        out,
        "degC",
        f"Milk loaded straight at {listed([b.id for b in bays])} leaves the cooler at "
        f"{out:.1f} degC in the warmest month of water; nothing cools it after that and "
        f"{limit:g} degC or less is required."
        + ("" if out <= limit else " Load from a tank, or add a chilled stage."),
        limit=limit,
        sense="at_most",
        allowance=0.0,
        formula="T_out <= T_limit",
        inputs=(
            worked("T_out", "milk from the cooler", out, "degC"),
            stated("T_limit", wanted.rule.title, wanted.limit_c, "degC", wanted.rule.source),
        ),
        source=wanted.rule.source,
        confidence=wanted.rule.confidence,
    )


def _needed_kw(
    ctx: StudyContext, duty: Duty, tank: StoresMilk, wanted: Wanted, in_c: float
) -> tuple[float | None, str]:
    """The least cooling that meets the rule for the first and for a later milking."""
    first, later = fill_of(ctx, duty, tank, later=False), fill_of(ctx, duty, tank, later=True)

    def in_time(fill: Fill) -> float | None:
        after = wanted.within_h if wanted.from_end else wanted.within_h - fill.minutes / 60.0
        return _in_time_kw(ctx, tank, fill, in_c, wanted.limit_c, max(after, 0.0))

    def mixed() -> float | None:
        limit_c = wanted.blend_c
        if limit_c is None or later.before_l <= 0.0:
            return 0.0
        return least_kw(ctx, tank, later, in_c, ("blend", limit_c),
                        lambda run: run.warmest_c() <= limit_c + 1e-9)  # fmt: skip

    needs = {
        "the first milking in time": in_time(first),
        "a later milking in time": in_time(later),
        "the blend": mixed(),
    }
    missed = [why for why, kw in needs.items() if kw is None]
    if missed:
        return None, missed[0]
    why = max(needs, key=lambda w: needs[w] or 0.0)
    need = needs[why] or 0.0
    return (need if need > NO_COOLING_KW else 0.0), why


def _cold_soon_kw(ctx: StudyContext, duty: Duty, tank: StoresMilk, in_c: float) -> float:
    """The cooling a designer would take: milk at storing temperature soon after milking."""
    first, cold = fill_of(ctx, duty, tank, later=False), ctx.number("milk.stored_c")
    kw = _in_time_kw(ctx, tank, first, in_c, max(cold, tank.set_c), AT_ONCE_H)
    return max(hold_kw(ctx, tank), kw or 0.0)


def _in_time_kw(ctx: StudyContext, tank: StoresMilk, fill: Fill, in_c: float, limit_c: float,
                allowed_h: float) -> float | None:  # fmt: skip
    """The least cooling that has the milk at a limit in time after it has come."""

    def in_time(run: TankRun) -> bool:
        late = late_h(run, fill, limit_c)
        return late is not None and late <= allowed_h + 1e-9

    return least_kw(ctx, tank, fill, in_c, ("in time", limit_c, allowed_h), in_time)


def _tank(ctx: StudyContext, duty: Duty, tank: StoresMilk, wanted: Wanted) -> None:
    in_c = in_line(ctx, duty).out_c if ctx.plant.machines(CoolsMilk) else duty.milk_at_receiver_c
    need, why = _needed_kw(ctx, duty, tank, wanted, in_c)
    inputs: tuple[Input, ...] = (
        worked("T_in", "milk into the tank", round(in_c, 2), "degC"),
        worked(
            "V",
            "largest milking, or the tank's volume",
            min(duty.largest.saleable_l, tank.volume_l),
            "L",
        ),
        worked("h", "its hours", duty.largest.hours, "h"),
        stated("T_limit", "region's limit", wanted.limit_c, "degC", wanted.rule.source),
        stated("t", "hours allowed", wanted.within_h, "h", wanted.rule.source),
        stated("P", "agitator", tank.agitator_kw, "kW"),
        worked(
            "P_wall",
            "heat through the wall of a full tank, 28 K below the room",
            round(gain_kw(ctx, tank), 2),
            "kW",
        ),
        *touching(ctx, tank),
    )
    if need is None:
        ctx.find(
            "cooling.tank.duty",
            "Tank cooling",
            tank.cooling_kw,
            "kW",
            f"No cooling of {tank.id} meets the rule with milk coming in at {in_c:.1f} degC: "
            f"{why} is missed. Cool the milk before the tank.",
            subject=tank.id,
            limit=tank.cooling_kw * 10 + 1.0,
            sense="at_least",
            formula=balance(tank),
            inputs=inputs,
            source="heat balance of a mixed tank",
            confidence="derived",
        )
        return
    design = max(need, _cold_soon_kw(ctx, duty, tank, in_c))
    share = 1.0 + ctx.number("cooling.allowance_share")
    needless = tank.cooling == "none" and design <= 0.01
    keeps = 0.0 if tank.cooling == "none" else kept_kw(ctx, tank, wanted.limit_c)
    least = max(need, keeps)
    if need >= keeps and need:
        said = (f"{kilowatts(need)} keeps {wanted.words()}, with milk coming in at {in_c:.1f} degC "
                f"({why} decides): {spare(tank.cooling_kw, need)}.")  # fmt: skip
    elif keeps:
        said = (f"milk comes in at {in_c:.1f} degC, and {keeps:.1f} kW take out what its wall and "
                f"agitator put in, so that it stays below {wanted.limit_c:g} degC: "
                f"{spare(tank.cooling_kw, keeps)}.")  # fmt: skip
    else:
        said = (f"milk comes in at {in_c:.1f} degC, which keeps {wanted.words()}; how far it "
                "warms as it stands, the simulated day shows.")  # fmt: skip
    ctx.find(
        "cooling.tank.duty",
        "Tank cooling",
        tank.cooling_kw,
        "kW",
        f"{tank.id} takes {tank.cooling_kw:.1f} kW out of its milk; {said}"
        if tank.cooling != "none"
        else f"{tank.id} has no cooling of its own: {said}",
        subject=tank.id,
        limit=least,
        sense="at_least",
        allowance=TIGHT,
        formula=balance(tank),
        inputs=inputs,
        source="heat balance of a mixed tank, minute by minute",
        confidence="derived",
        advised=None if needless else next_preferred(design * share),
        advised_why=f"{ctx.number('milk.stored_c'):g} degC within {AT_ONCE_H:g} h of the end of "
        "milking, and 20 % for gains; next size",
        target=(tank, "cooling_kw"),
    )
    _pull_down(ctx, duty, tank, wanted, in_c)
    _condensing(ctx, tank, need * share, design * share)


def pull_downs(
    ctx: StudyContext, duty: Duty, tank: StoresMilk, limit_c: float, in_c: float
) -> tuple[float, float | None]:
    """Hours after the first milking until a tank is at a limit (at most those watched), and the
    warmest blend of a later one, degC; None where no milk stands before it."""
    first, later = fill_of(ctx, duty, tank, later=False), fill_of(ctx, duty, tank, later=True)
    late = late_h(run_tank(ctx, tank, first, tank.cooling_kw, in_c), first, limit_c)
    blend = None
    if later.before_l > 0.0:
        blend = run_tank(ctx, tank, later, tank.cooling_kw, in_c).warmest_c()
    return float(WATCH_H) if late is None else late, blend


def _pull_down(
    ctx: StudyContext, duty: Duty, tank: StoresMilk, wanted: Wanted, in_c: float
) -> None:
    """What the installed cooling does: hours after milking, and the warmest blend."""
    first, later = fill_of(ctx, duty, tank, later=False), fill_of(ctx, duty, tank, later=True)
    run = run_tank(ctx, tank, first, tank.cooling_kw, in_c)
    late = late_h(run, first, wanted.limit_c)
    allowed = wanted.within_h if wanted.from_end else max(0.0, wanted.within_h - first.minutes / 60)
    says = (
        f"is at {wanted.limit_c:g} degC {late:.1f} h after it ends"
        if late is not None
        else f"is still above {wanted.limit_c:g} degC {WATCH_H} h after it ends"
    )
    ctx.find(
        "cooling.tank.pull_down",
        "Milk cold in time",
        late if late is not None else float(WATCH_H),
        "h",
        f"A first milking into {tank.id} {says}; {allowed:.1f} h are allowed.",
        subject=tank.id,
        limit=allowed,
        sense="at_most",
        allowance=TIGHT,
        formula=balance(tank),
        inputs=(
            stated("Q", "tank cooling", tank.cooling_kw, "kW"),
            worked("T_in", "milk into the tank", round(in_c, 2), "degC"),
            *touching(ctx, tank),
        ),
        source=wanted.rule.source,
        confidence=wanted.rule.confidence,
    )
    if later.before_l > 0.0:
        mix = run_tank(ctx, tank, later, tank.cooling_kw, in_c).warmest_c()
        held = wanted.blend_c is not None
        ctx.find(
            "cooling.tank.blend",
            "Warmest blend of a later milking",
            mix,
            "degC",
            f"A later milking on {later.before_l:.0f} L standing cold warms {tank.id} to "
            f"{mix:.1f} degC at most; {wanted.blend_c or BLEND_C:g} degC is "
            + ("the limit." if held else f"the limit elsewhere ({wanted.rule.title} holds none)."),
            subject=tank.id,
            limit=wanted.blend_c if held else None,
            sense="at_most" if held else "informational",
            allowance=TIGHT,
            formula=balance(tank),
            inputs=(
                stated("Q", "tank cooling", tank.cooling_kw, "kW"),
                worked("V_0", "milk standing before", later.before_l, "L"),
                *touching(ctx, tank),
            ),
            source=wanted.rule.source,
            confidence=wanted.rule.confidence,
        )
    every = range(0, len(run.temperature_c), 10)
    ctx.notes.series.append(
        Series(
            f"cooling.tank.{tank.id}",
            f"First milking into {tank.id}",
            tuple(round(i / 60, 3) for i in every),
            "h from the first milk",
            (
                ("temperature", "degC", tuple(round(run.temperature_c[i], 3) for i in every)),
                ("content", "L", tuple(round(run.content_l[i], 1) for i in every)),
            ),
        )
    )


def _condensing_of(ctx: StudyContext, tank: StoresMilk) -> Sequence[MakesCold]:
    units = []
    for pipe in ctx.plant.pipes_at(tank.id):
        for end in (pipe.start, pipe.end):
            one = ctx.plant.equipment.get(end.partition(".")[0])
            if isinstance(one, MakesCold) and one not in units and one.cold().leaving_c is None:
                units.append(one)
    return units


def _condensing(ctx: StudyContext, tank: StoresMilk, need_kw: float, design_kw: float) -> None:
    if tank.cooling != "direct_expansion":
        return
    units = _condensing_of(ctx, tank)
    if not units:
        ctx.lacks(
            "cooling.condensing_unit",
            f"Condensing unit of {tank.id}",
            f"{tank.id} is cooled by direct expansion but no condensing unit is joined to it.",
        )
        return
    total, count = sum(u.count * u.cold().duty_kw for u in units), sum(u.count for u in units)
    for one in units:
        air = plates(ctx)
        limit = air.rating(need_kw / count)
        ctx.find(
            "cooling.condensing.duty",
            "Condensing unit duty",
            one.cold().duty_kw,
            "kW",
            f"{listed([u.id for u in units])} make{verb_s(len(units))} {kilowatts(total)} of cold "
            f"for {tank.id}; {kilowatts(need_kw)} covers milk, agitator and gains: "
            f"{spare(total, need_kw)}.{air.words}",
            subject=one.id,
            limit=limit,
            sense="at_least",
            allowance=TIGHT,
            formula=f"Q = (1 + a) Q_tank / units{air.over}",
            inputs=(
                worked("(1 + a) Q_tank", "tank's need with allowance", need_kw, "kW"),
                ctx.rule("cooling.allowance_share", "a"),
                worked("units", "condensing units", count),
                *air.inputs,
            ),
            source="heat balance",
            confidence="derived",
            advised=next_preferred(air.rating(design_kw / count)),
            advised_why="what the tank is advised to take, next size",
            target=(one, type(one).SIZED_BY["duty"]),
        )
        rated_ambient(ctx, one.id, one.cold().rated_ambient_c)
