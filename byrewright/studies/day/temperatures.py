"""Milk temperature at each point, held to the rule of the region."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from byrewright.engine import shape as sh
from byrewright.plant.plant import Plant
from byrewright.plant.roles import MakesCold, StoresMilk
from byrewright.results import Input, Remedy, Table
from byrewright.standards.cooling import TemperatureStep
from byrewright.studies.day import remedies
from byrewright.studies.day.record import TANK_EMPTY, MilkingSession, Run
from byrewright.studies.sizing.context import StudyContext
from byrewright.studies.sizing.sizes import next_preferred
from byrewright.studies.sizing.tank_cooling import AT_ONCE_H
from byrewright.studies.told_once import IN_TANKER, LATER_MILKINGS

ALLOWANCE = 0.05
EMPTYING_H = 0.5  # a tank passes through little milk while the tanker empties it

TRICKLE = 0.01
"""Share of the milk up to which what freezes is the trickle before a pump stops (our choice); that
milk which stands takes the liquid's temperature is sizing's to tell."""


def judge_milk(ctx: StudyContext, run: Run) -> None:
    """Cooler outlets, tanks by the region's rule, and what the tankers took."""
    _coolers(ctx, run)
    try:
        rule = ctx.rules.temperature_rule(run.plant.site.region)
    except KeyError as error:
        ctx.find(
            "day.milk_temperature_rule", "Milk temperature by the rule of the region", None, "degC",
            f"{error.args[0]}. Ask the local authority and the buyer.", sense="at_most",
            missing=("site.region",),
        )  # fmt: skip
        return
    daily = all(c.every_days == 1 for c in run.plant.collections)
    steps = rule.steps_for(daily)
    _little_milk(ctx, run, [s for s in steps if s.clock != "always"])
    for number, step in enumerate(steps, 1):
        worst, where = _worst(run, step)
        when = _words(step)
        key = f"day.milk_temperature_{number}"
        title = f"{rule.title}: {when}"
        source = f"{rule.source} ({rule.confidence})"
        if worst is None and step.applies == "later_milkings" and _no_milk_met_milk(run):
            ctx.find(
                key, title, 0.0, "milkings",
                "No milking came into a tank that held milk which its agitator reaches: no blend.",
                sense="informational", source=rule.source, confidence=rule.confidence,
            )  # fmt: skip
            continue
        if worst is None:
            ctx.find(
                key, title, None, "degC",
                "No milk was there to be judged: see that the tanks fill and the run is long "
                "enough to look that far.",
                limit=step.limit_c, sense="at_most", source=rule.source, confidence=rule.confidence,
                missing=("milk in store",),
            )  # fmt: skip
            continue
        ctx.find(
            key, title, worst, "degC",
            f"Warmest {worst:.1f} degC {where}; the limit is {step.limit_c:g} degC {when}. "
            "The local authority and the milk buyer may set stricter limits.",
            limit=step.limit_c, sense="at_most", allowance=ALLOWANCE, confidence=rule.confidence,
            formula="warmest of the readings that the step names",
            inputs=(Input("T_limit", when, step.limit_c, "degC", source),), source=rule.source,
            remedies=_colder(run, where, worst, step) if worst > step.limit_c else (),
        )  # fmt: skip


def _colder(run: Run, where: str, worst: float, step: TemperatureStep) -> tuple[Remedy, ...]:
    """More cooling in the tank that was too warm, and in the refrigeration of its own; in every
    tank where a tanker takes from them. No tank's cooling helps milk that is loaded direct."""
    plant, loaded = run.plant, where.startswith(IN_TANKER)
    if loaded and run.compiled.tables.num[sh.N_DIRECT] == 1:
        return ()
    tag = where.split()[1] if where.startswith("in ") and not loaded else ""
    times = min(3.0, 1.3 + 0.25 * (worst - step.limit_c))
    why = f"milk was at {worst:.1f} degC where {step.limit_c:g} is the most"
    found = []
    for tank in plant.machines(StoresMilk):
        if tag and tank.id != tag:
            continue
        found.append(Remedy(tank.id, "cooling_kw",
                            next_preferred(max(1.0, tank.cooling_kw) * times), why))  # fmt: skip
        beside = {
            end.partition(".")[0] for p in plant.pipes_at(tank.id) for end in (p.start, p.end)
        }
        found += [
            Remedy(one.id, type(one).SIZED_BY["duty"],
                   next_preferred(one.cold().duty_kw * times), why)
            for one in plant.machines(MakesCold)
            if one.id in beside and one.cold().leaving_c is None
        ]  # fmt: skip
    return tuple(found)


def _words(step: TemperatureStep) -> str:
    applies = {"first_milking": ", first milking", "later_milkings": f", {LATER_MILKINGS}",
               "transport": ", in transport", "every_milking": ""}[step.applies]  # fmt: skip
    if step.clock == "always":
        return f"at all times{applies}"
    if step.clock == "at_once":
        return f"at once (judged {AT_ONCE_H:g} h after the end of milking){applies}"
    which = "start" if step.clock == "start_of_milking" else "end"
    return f"{step.within_h:g} h after the {which} of milking{applies}"


def _worst(run: Run, step: TemperatureStep) -> tuple[float | None, str]:
    """The warmest reading that a step asks about, and where it was."""
    if step.applies == "transport":
        loads = run.all_loads
        loads = loads[loads[:, sh.T_KG] > 1.0]
        if len(loads) == 0:
            return None, ""
        at = int(np.argmax(loads[:, sh.T_C]))
        return float(loads[at, sh.T_C]), f"{IN_TANKER} of {run.clock(loads[at, sh.T_AT])}"
    tanker = run.compiled.names.tanker
    places = [t for t in run.compiled.names.places
              if t != tanker or run.compiled.tables.num[sh.N_DIRECT] == 1]  # fmt: skip
    found = [f for tag in places for f in _before_the_first(run, tag, step)]
    for session in run.done:
        asked, read = False, list[tuple[float, str]]()
        for tag in places:
            held = run.temperature_at(tag, session.begun_s) is not None
            if step.applies == ("later_milkings" if not held else "first_milking"):
                continue
            asked = True
            if step.clock == "always":
                read += _during(run, tag, session, blends=step.applies == "later_milkings")
            else:
                read += _kept(run, tag, _deadline_s(step, session), _next_s(run, session))
        if asked and not read and step.clock != "always":
            read = _taken(run, session.begun_s, _deadline_s(step, session))
        found += read
    return max(found, default=(None, ""), key=lambda f: f[0] if f[0] is not None else -1e9)


def _no_milk_met_milk(run: Run) -> bool:
    """Whether milkings came and every tank was empty when they did."""
    return bool(run.done) and all(
        run.temperature_at(tag, session.begun_s) is None
        for tag in run.compiled.names.cooled for session in run.done
    )  # fmt: skip


def _taken(run: Run, from_s: float, until_s: float) -> list[tuple[float, str]]:
    """What tankers took of a milking before it had to be cold, where no tank kept any of it: it
    is held to the same limit as it is loaded (our choice: who collects it measures it then)."""
    loads = run.all_loads
    at_s = loads[:, sh.T_AT]
    loads = loads[(loads[:, sh.T_KG] > 1.0) & (at_s >= from_s) & (at_s <= until_s)]
    return [(float(x[sh.T_C]), f"{IN_TANKER} of {run.clock(x[sh.T_AT])}, loaded before then")
            for x in loads]  # fmt: skip


def _deadline_s(step: TemperatureStep, session: MilkingSession) -> float:
    """When the milk of a milking must be cold, s of the run."""
    start = session.begun_s if step.clock == "start_of_milking" else session.last_off_s
    return start + 3600 * (AT_ONCE_H if step.within_h is None else step.within_h)


def _next_s(run: Run, session: MilkingSession) -> float:
    """When the next milking begins to warm the store again."""
    return min((b.begun_s for b in run.done if b.begun_s > session.begun_s), default=np.inf)


def _before_the_first(run: Run, tag: str, step: TemperatureStep) -> list[tuple[float, str]]:
    """Milk of the last milking of the day before, which a run of one day sees only from then on."""
    if not run.done or step.clock == "always" or step.applies == "first_milking":
        return []
    before = _deadline_s(step, run.done[-1]) - 86_400.0 * run.days
    return _kept(run, tag, before, run.done[0].begun_s)


def _kept(run: Run, tag: str, from_s: float, until_s: float) -> list[tuple[float, str]]:
    """The warmest a store was from its deadline until milk came again."""
    times = run.seen[:, 0]
    return _warmest(run, tag, (times >= from_s) & (times < max(until_s, from_s + 1.0)))


def _during(
    run: Run, tag: str, session: MilkingSession, *, blends: bool
) -> list[tuple[float, str]]:
    """The warmest a tank was from the start of a milking until two hours after it; `blends`: as
    long as milk of before is in it, for what comes after a collection mixes with none."""
    times = run.seen[:, 0]
    here = (times >= session.begun_s) & (times <= session.last_off_s + 7200)
    if blends:
        here &= np.cumsum(here & (run.content_kg(tag) < run.reach_kg(tag))) == 0
    return _warmest(run, tag, here)


def _warmest(run: Run, tag: str, here: NDArray[np.bool_]) -> list[tuple[float, str]]:
    """The warmest of a vessel's readings among those marked, where milk was in it."""
    held = here & (run.content_kg(tag) >= run.reach_kg(tag))
    if not held.any():
        return []
    warm = np.where(held, run.temperature_c(tag), -99.0)
    at = int(np.argmax(warm))
    where = f"in {_named(run, tag)} at {run.clock(run.seen[at, 0])}"
    return [(float(warm[at]), where)]


def _named(run: Run, tag: str) -> str:
    return f"the tanker at {tag}" if tag == run.compiled.names.tanker else tag


def _little_milk(ctx: StudyContext, run: Run, steps: list[TemperatureStep]) -> None:
    """Milk that stood in a tank without its agitator reaching it: how much, how warm, what for."""
    limit_c = min((s.limit_c for s in steps), default=None)
    within = max((AT_ONCE_H if s.within_h is None else s.within_h for s in steps), default=0.0)
    times = run.seen[:, 0]
    milking = np.zeros(len(times), bool)
    for session in run.sessions:
        until = session.last_off_s if session.ended else np.inf
        milking |= (times >= session.begun_s) & (times <= until + 3600 * within)
    for tag in run.compiled.names.cooled:
        reach, kg, warm = run.reach_kg(tag), run.content_kg(tag), run.temperature_c(tag)
        cap = float(run.compiled.tables.F[run.compiled.vessel(tag), sh.V_CAP])
        rho = run.compiled.kg_l[tag]
        little = (kg > TANK_EMPTY * cap) & (kg < reach) & ~milking
        title = f"Milk that {tag}'s agitator does not reach"
        inputs = (
            Input("V_reach", "content from which the agitator reaches the milk", round(reach / rho),
                  "L", "plant file, or the usual share"),
            ctx.rule("tank.stirred_from_share"),
        )  # fmt: skip
        hours = float(little.sum()) * run.seconds / max(len(times), 1) / 3600
        if limit_c is None or hours < EMPTYING_H:
            ctx.find(
                "day.little_milk", title, 0.0, "L", f"Between milkings {tag} held either at "
                f"least the {reach / rho:.0f} L that its agitator reaches, or no milk to keep.",
                subject=tag, limit=reach / rho, sense="at_most", inputs=inputs,
            )  # fmt: skip
            continue
        at = int(np.argmax(np.where(little, warm, -99.0)))
        over = warm[at] > limit_c
        still = getattr(run.plant.equipment[tag], "little_milk", "") == "cooled_still"
        kept = (
            "It was cooled slowly from below, with a guard against freezing."
            if still
            else "It was not cooled: cooling milk that is not stirred freezes it to the wall."
        )
        meant = (
            "Its thermometer does not show how warm such milk is. Collect it with the rest, "
            "let a whole milking go into the tank, use a smaller tank, or one that cools "
            "unstirred milk."
            if over
            else "Cold, but unstirred: cream rises, and its thermometer shows only one layer."
        )
        ctx.find(
            "day.little_milk", title, float(kg[at]) / rho if over else 0.0, "L",
            f"{kg[at] / rho:.0f} L stood in {tag} at {run.clock(times[at])}, less than "
            f"the {reach / rho:.0f} L that its agitator reaches, {hours:.1f} h in all, and was at "
            f"{warm[at]:.1f} degC as a whole ({limit_c:g} degC is the limit of stored milk). "
            f"{kept} {meant}",
            subject=tag, limit=reach / rho, sense="at_most", allowance=1.0, inputs=inputs,
            formula="content while 0.5 % of the volume < content < V_reach and T > T_limit",
        )  # fmt: skip


def stage_of(plant: Plant, exchanger: str) -> tuple[str, str]:
    """The machine and the stage that an exchanger of the engine (`tag.port`) stands for."""
    tag, _, name = exchanger.partition(".")
    port = plant.equipment[tag].port(name)
    return tag, "water stage" if port and "water" in port.services else "chilled stage"


def _stages(ctx: StudyContext, run: Run) -> None:
    """The four temperatures of every stage, as the milk meets them."""
    rows = []
    per_k = ctx.number("water.cp_kj_kgk")
    for name, x in zip(run.compiled.names.exchangers, run.change("exchangers"), strict=True):
        if x[sh.SX_KG] > 0:
            tag, stage = stage_of(run.plant, name)
            cold = float(x[sh.SX_COLD])
            into = float(x[sh.SX_COLDC]) / cold if cold > 0 else None
            out = None if into is None else into + float(x[sh.SX_KJ]) / (cold * per_k)
            rows.append((tag, stage, round(float(x[sh.SX_KGIN] / x[sh.SX_KG]), 2),
                         round(float(x[sh.SX_KGC] / x[sh.SX_KG]), 2),
                         *("" if c is None else round(c, 2) for c in (into, out)),
                         round(cold / float(x[sh.SX_KG]), 2),
                         round(float(x[sh.SX_KJ]) / 3600, 1)))  # fmt: skip
    if rows:
        ctx.notes.tables.append(Table(
            "day.stages", "Stages of the coolers, as the milk meets them",
            ("cooler", "stage", "milk in", "milk out", "cold in", "cold out", "ratio", "heat"),
            ("", "", "degC", "degC", "degC", "degC", "", "kWh"), tuple(rows),
            note="Means of the days reported, by mass; ratio: cold to milk, chilled liquid as "
                 "water of the same heat.",
        ))  # fmt: skip


def _heat_words(kwh: float) -> str:
    """What heat passed, in words.

    >>> _heat_words(-2.2)
    '2.2 kWh of heat went into the milk there: what should cool it was warmer than it.'
    """
    if kwh < 0:
        return (f"{-kwh:.1f} kWh of heat went into the milk there: what should cool it was warmer "
                "than it.")  # fmt: skip
    return f"{kwh:.0f} kWh of heat left the milk there."


def _coolers(ctx: StudyContext, run: Run) -> None:
    _stages(ctx, run)
    x = run.change("exchangers")
    ends = run.items("exchangers")
    for i, name in enumerate(run.compiled.names.exchangers):
        kg = x[i, sh.SX_KG]
        tag, stage = stage_of(run.plant, name)
        if kg <= 0:
            ctx.find(
                "day.cooler_outlet", f"Milk out of {tag}, {stage}", None, "degC",
                f"No milk passed {tag}: see that a way leads through it in the milking mode.",
                subject=f"{tag} {stage}", missing=("milk through it",),
            )  # fmt: skip
            continue
        mean = float(x[i, sh.SX_KGC] / kg)
        warmest = float(ends[i, sh.SX_WARMEST])
        last = i + 1 == len(run.compiled.names.exchangers)
        wish = run.plant.wishes.milk_out_c if last else None
        cold = float(x[i, sh.SX_COLD])
        into = float(x[i, sh.SX_COLDC]) / cold if cold > 0 else None
        reads = float(x[i, sh.SX_KGIN] / kg), mean, into
        ctx.find(
            "day.cooler_outlet", f"Milk out of {tag}, {stage}", mean, "degC",
            f"On average {mean:.1f} degC, warmest {warmest:.1f} degC; "
            + _heat_words(float(x[i, sh.SX_KJ]) / 3600),
            subject=f"{tag} {stage}", limit=wish,
            sense="at_most" if wish is not None else "informational",
            remedies=remedies.larger_stage(run.plant, name, reads, wish) if wish else (),
            formula="e = (1 - exp(-N(1-Cr))) / (1 - Cr exp(-N(1-Cr))), Q = e Cmin (Th - Tc)",
            source="Kays and London, effectiveness and number of transfer units", confidence="read",
        )  # fmt: skip
        if x[i, sh.SX_ICED] > TRICKLE * kg:
            freezes_c = ctx.number("milk.wall_least_c")
            ctx.find(
                "day.milk_freezes", f"Milk that freezes in {tag}", 100 * x[i, sh.SX_ICED] / kg,
                "%", f"{100 * x[i, sh.SX_ICED] / kg:.0f} % of the milk left the {stage} of {tag} "
                     f"at "
                f"{freezes_c:g} degC, where it freezes on to the plates: use warmer liquid, less "
                "of it, or a smaller stage.",
                subject=f"{tag} {stage}", limit=100 * TRICKLE, sense="at_most",
                formula="milk that would leave at its freezing point or below",
                inputs=(ctx.rule("milk.wall_least_c"),),
            )  # fmt: skip
