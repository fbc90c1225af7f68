"""The failure study: structure, simulated day, hours a year, all as one result."""

from __future__ import annotations

from collections.abc import Mapping

from byrewright.plant.machine import Machine
from byrewright.plant.plant import Plant
from byrewright.plant.roles import GivesWater, HeatsWater, MakesUpWash, MovesMilk, MovesWater
from byrewright.results import Result, ResultBuilder
from byrewright.standards.rulebook import Rulebook, default_rulebook
from byrewright.studies.failures import findings, tables
from byrewright.studies.failures.analysis import Analysis, analyse, pair_name, together
from byrewright.studies.failures.cuts import Progress
from byrewright.studies.failures.declared import declared_table
from byrewright.studies.failures.findings import WAIT_ALLOWANCE
from byrewright.studies.failures.maintenance import states
from byrewright.studies.failures.power import power_part
from byrewright.studies.failures.script import Script, Scripts
from byrewright.studies.failures.worth import Day, gains, weigh
from byrewright.studies.sizing.context import StudyContext

RULES = (
    "failures.leak_l_min", "failures.backflow_share", "failures.slow_share", "failures.least_pace",
    "failures.notice_min", "failures.act_min", "failures.joint_min", "failures.cup_again_s",
    "failures.repair_factor", "failures.milk_price_l",
    "reliability.wet_divisor", "reliability.beta_common_cause", "generator.fail_to_start",
)  # fmt: skip
"""Rules that the study rests on and no plant file states."""

ASSUMED: tuple[tuple[str, str], ...] = (
    ("starters", "every motor can be run from its own starter when the controller is lost"),
    ("air-moved valves", "pilots have a hand override; without air a valve stays at its rest"),
    ("pulsators", "keep their set rate when the controller or its signal is lost"),
    ("a valve that sticks", "is noticed when it should move; a moved one can be set by hand"),
    ("people", "are present in milking, act one after another, and know what to do"),
    ("a stop of milking", "people hold the cows and no milk flows until the repair"),
)
"""What the answers of plant and people rest on, in words."""


def study_failures(
    plant: Plant,
    rules: Rulebook | None = None,
    *,
    pairs: bool = False,
    hours: float | None = None,
    month: int | None = None,
    seed: int = 1,
    threads: int = 2,
    simulate: bool = True,
    waits: bool = False,
    service: bool = True,
    costs: Mapping[str, float] | None = None,
    say: Progress | None = None,
) -> Result:
    """What every failure does to the plant.

    Args:
        pairs: cuts of order two, too.
        hours: longest that each failure is followed on the simulated day, 1-20 (20 when None).
        month: 1-12 whose water and air hold; the one hardest on cooling when None.
        simulate: False leaves the simulated day out: structure, rates and power only.
        waits: only those failures are simulated that may let cows wait too long.
        service: also what can be taken out of service in milking, and what would then stop it.
        costs: what a second machine costs, by tag or kind, to sort gains by cost.
        say: progress (what, done, of how many); the study stops when it answers True.

    Raises:
        Cancelled: `say` answered True.
        ValueError: the plant has no milkings, or no mode that does milking.
    """
    rules = rules or default_rulebook()
    analysis = analyse(plant, rules, pairs=pairs, say=say)
    ctx = StudyContext(plant, rules, ResultBuilder("failures", plant.site.name))
    month = month or plant.site.study_month
    writer = Scripts(analysis)
    scripts = {c.event.id: writer.of(c) for c in analysis.cases}
    more = {name: script.more for name, script in scripts.items()}
    day: Day = {}
    if simulate:
        mine = _may_wait(ctx, scripts) if waits else scripts
        day = _day(ctx, analysis, writer, mine, month, seed, threads, hours, say) if mine else {}
    worth = weigh(analysis, day, seed, scripts)
    out = states(analysis, say) if service else ()
    findings.write(ctx, analysis, worth, out, scripts)
    power_part(ctx, analysis)
    operators = max(m.operators for m in plant.milkings)
    notes = ctx.notes
    notes.tables[:0] = [
        tables.ranked(worth, scripts, plant.site.currency, rules.number("failures.milk_price_l"),
                      plant.work.wage_h or 0.0, operators),
        tables.matrix(analysis, worth, day, scripts),
        tables.ones(analysis, analysis.ones("equipment"), "failures.ones",
                    "Single failures that stop milking",
                    "Must be empty where no single failure may stop milking."),
        tables.ones(analysis, [c for c in analysis.cases if c.stops and c.sort != "equipment"],
                    "failures.apart", "Listed apart: passive parts, safety stops, common causes",
                    "Passive parts are inspected; safety stops are never bridged; a common cause "
                    "takes several machines at once."),
        declared_table(analysis.cases, scripts), tables.passive(analysis),
        tables.to_do(analysis, more, worth), tables.moments(analysis, day),
        tables.service(out), tables.gain_table(gains(analysis, worth, costs), plant.site.currency),
        tables.shelf(analysis, worth), tables.lives(analysis),
    ]  # fmt: skip
    if analysis.pairs is not None:
        notes.tables.insert(4, tables.twos(analysis, worth, day))
    _assume(ctx, analysis, month, simulate)
    return notes.result(seed)


WASH_WAITS_FOR: tuple[type[Machine], ...] = (GivesWater, MovesWater, HeatsWater, MakesUpWash)
"""Machines without which a wash has to wait."""


def _may_wait(ctx: StudyContext, scripts: Mapping[str, Script]) -> dict[str, Script]:
    """The failures that may let cows wait longer than is easily held.

    Those that hold up people or the deck for so long; those that leave the wash without water
    for so long: the next milking then waits for the wash; and those that keep milk from being
    pumped away, however soon people act: a receiver that floods shuts its trap, and cups fall.
    """
    most_s = 60 * (1 - WAIT_ALLOWANCE) * ctx.number("failures.wait_limit_min")
    wash = {m.id for role in WASH_WAITS_FOR for m in ctx.plant.machines(role)}
    milk = {m.id for m in ctx.plant.machines(MovesMilk)}
    return {
        name: script
        for name, script in scripts.items()
        if script.longest_wait_s > most_s
        or (script.repair_s > most_s and script.hits(wash))
        or (script.keeps_milk(milk))
    }


def _day(
    ctx: StudyContext,
    analysis: Analysis,
    writer: Scripts,
    singles: dict[str, Script],
    month: int,
    seed: int,
    threads: int,
    hours: float | None,
    say: Progress | None,
) -> Day:
    """Every failure on the simulated day; a note alone where the plant does not compile."""
    from byrewright.engine.compiled import DoesNotCompile
    from byrewright.studies.failures.runs import Field, run_all

    pairs = analysis.pairs.twos if analysis.pairs else ()
    scripts = singles | {
        pair_name(str(a), str(b)): writer.of(together(analysis, str(a), str(b))) for a, b in pairs
    }
    try:
        field = Field(analysis.plant, analysis.rules, scripts.values(), seed, month, hours=hours)
    except DoesNotCompile as error:
        ctx.notes.notes.append(
            f"The day is not simulated, so consequences rest on the structure alone. {error}"
        )
        return {}
    found = run_all(field, scripts, threads=threads, say=say)
    names = ", ".join(m.name for m in field.moments)
    ctx.notes.notes.append(
        f"Each failure was run at {len(field.moments)} moments ({names}), until the plant was "
        f"again exactly as on the undisturbed day, or for {field.longest_h:g} h at most; the worst "
        f"is in the ranked table, all are listed. {len(set(scripts.values()))} different courses "
        f"of events stand for {len(scripts)} failures{' and pairs' if pairs else ''}."
    )
    ctx.notes.notes += field.compiled.notes
    return found


def _assume(ctx: StudyContext, analysis: Analysis, month: int, simulated: bool) -> None:
    for key in RULES:
        value = ctx.rules[key]
        ctx.assume(
            "failures", value.meaning, value.value, value.unit, value.source, value.confidence
        )
    for where, text in ASSUMED:
        ctx.assume(where, text, "yes", "", "common practice; check it on this plant")
    if simulated:
        words = analysis.plant.site.month_words(month)
        ctx.notes.notes.append(f"Milk temperatures and milk lost are those of {words}.")
        ctx.assume("failures", "month of the simulated day", month, "", words)
    ctx.notes.notes.append(
        f"Worked out in the mode {analysis.mode}: {len(analysis.cases)} ways to fail of "
        f"{len(analysis.plant.equipment)} machines. Milking continues when the deck, if there "
        "is one, turns, the pulsators run, the pumps hold the vacuum at a receiver and milk gets "
        "from the units to a store, each at half the usual pace or more."
    )
    ctx.notes.notes.append(
        "The study is advice, not a safety function; local codes and licensed people decide."
    )
