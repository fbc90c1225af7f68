"""What is judged: the wish for no single stop, hand work, waiting, hours a year, common causes."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from math import ceil

from byrewright.physics.reliability import weibull_mtbf_h
from byrewright.plant.effects import Law
from byrewright.plant.machine import Machine
from byrewright.plant.roles import BuffersWater, GivesWater
from byrewright.results import Input, Remedy
from byrewright.standards.reliability import LIVES
from byrewright.studies.failures.analysis import Analysis, Case
from byrewright.studies.failures.declared import declared
from byrewright.studies.failures.maintenance import Out
from byrewright.studies.failures.rates import Hours
from byrewright.studies.failures.script import Script
from byrewright.studies.failures.tables import short, standing
from byrewright.studies.failures.worth import Cost, Worth, remedy
from byrewright.studies.sizing.context import StudyContext
from byrewright.studies.sizing.sizes import counted, verb_s
from byrewright.studies.sizing.water import most_in, water_day

SOURCE = "iec61078"
CUT_FORMULA = "a single failure that stops milking, whatever people do"


def write(
    ctx: StudyContext,
    analysis: Analysis,
    worth: Worth,
    out: Sequence[Out],
    scripts: Mapping[str, Script],
) -> None:
    """All findings of the study, the wish first."""
    _base(ctx, analysis)
    _ones(ctx, analysis)
    _safety(ctx, analysis)
    _passive(ctx, analysis)
    _by_hand(ctx, analysis)
    _waiting(ctx, analysis, worth)
    _year(ctx, analysis, worth, scripts)
    _pairs(ctx, analysis, worth)
    _service(ctx, analysis, out)
    _cups(ctx, worth)
    _not_simulated(ctx, analysis, scripts)
    for asked in ASKED:
        _cause(ctx, analysis, worth, *asked)


def _base(ctx: StudyContext, analysis: Analysis) -> None:
    if analysis.base.untouched:
        return
    acts = "; ".join(a.text for a in analysis.base.acts)
    ctx.find(
        "failures.as_drawn", "Milking with nothing broken",
        0.0 if not analysis.base.goes_on else 1.0, "",
        f"With every machine in order the plant file's mode {analysis.mode} does not milk: "
        f"{analysis.base.why or acts}. Correct the file first; everything below depends on it.",
        subject=analysis.mode, limit=2.0, sense="at_least",
        formula="structure function with nothing broken", source=SOURCE, confidence="from_memory",
    )  # fmt: skip


def _ones(ctx: StudyContext, analysis: Analysis) -> None:
    found = analysis.ones("equipment")
    wished = ctx.plant.wishes.no_single_stop
    limit, sense = (0.0, "at_most") if wished else (None, "informational")
    names = ", ".join(c.event.id for c in found)
    safety = ", ".join(c.event.id for c in analysis.ones("safety"))
    inspected = len(analysis.passive)
    ctx.find(
        "failures.single_stop", "Single failures that stop milking", len(found), "",
        (f"{counted(len(found), 'single failure')} of equipment stop{verb_s(len(found))} milking "
         f"until "
         f"repaired: {names}."
         if found else "No single failure of equipment stops milking: the plant or its people keep "
         "it going.")
        + ("" if wished or not found else " The brief allows it.")
        + (f" Not counted: {safety}: a safety stop, which is never bridged." if safety else "")
        + (f" Not counted: the total loss of any of {inspected} machines, vessels and headers; "
           "they have no spare and are inspected instead." if inspected else ""),
        limit=limit, sense=sense,  # type: ignore[arg-type]
        formula="number of single failures of equipment that stop milking", source=SOURCE,
        confidence="from_memory",
        inputs=(Input("n", "ways to fail asked", len(analysis.cases), "", "the kinds of machine"),),
    )  # fmt: skip
    for case in found:
        rate = analysis.rates[case.event.id]
        ctx.find(
            "failures.cut", f"{case.event.id}: milking stops", rate.a_year * rate.repair_h,
            "h/year",
            f"{case.event.id}: {case.answer.why}, until it is repaired ({rate.repair_h:g} h). "
            f"What you see: {case.event.failure.seen}. "
            f"Remedy: {remedy(analysis, case.event.machine)}.",
            subject=case.event.id.replace(" ", "-"), limit=limit, sense=sense,  # type: ignore[arg-type]
            formula=CUT_FORMULA, source=SOURCE, confidence="from_memory",
            inputs=rate_inputs(ctx, analysis, case),
        )  # fmt: skip


def rate_inputs(ctx: StudyContext, analysis: Analysis, case: Case) -> tuple[Input, ...]:
    """The life behind a rate, with its source."""
    rate = analysis.rates[case.event.id]
    life = LIVES[rate.life]
    others = (
        Input("n_part", f"{LIVES[k].title}, share of the failures", round(share, 2), "",
              LIVES[k].source) for k, share in rate.shares[1:]
    )  # fmt: skip
    low, high = rate.range_a_year
    return (
        ctx.rule(f"life.{life.key}", "eta"),
        Input("beta", "shape", life.beta, "", life.source),
        Input("MTBF", "mean life in dry use", round(weibull_mtbf_h(
            life.beta, ctx.number(f"life.{life.key}"))), "h", "eta Gamma(1 + 1/beta)"),
        Input("n", "failures", float(f"{rate.a_year:.3g}"), "1/year", "hours in use / MTBF"),
        Input("n range", "failures at long and at short lives", f"{short(low)} to {short(high)}",
              "1/year", "5 and 95 % points"), *others,
        Input("r", "time to repair", rate.repair_h, "h", "kind of machine (common practice)"),
    )  # fmt: skip


def _safety(ctx: StudyContext, analysis: Analysis) -> None:
    found = analysis.ones("safety")
    if not found:
        return
    names = ", ".join(c.event.id for c in found)
    ctx.find(
        "failures.safety_stop", "Safety stops", len(found), "",
        f"{names}: milking stops and must stay stopped until the stop circuit is proven. It is "
        "never bridged; keep the parts on the shelf and test every week. Not counted against "
        "`no_single_stop`.",
        formula=CUT_FORMULA, source="practice", confidence="common_practice",
    )  # fmt: skip


def _passive(ctx: StudyContext, analysis: Analysis) -> None:
    names = [c.event.machine for c in analysis.passive]
    ctx.find(
        "failures.passive_points", "Single points without a spare", len(names), "",
        f"{len(names)} machines, vessels and headers stop milking if they are lost altogether "
        f"({', '.join(names[:8])}{' ...' if len(names) > 8 else ''}). Those "
        "with no moving part are not counted against `no_single_stop`: they are inspected instead.",
        formula="structure function with the whole machine gone", source="practice",
        confidence="common_practice",
    )  # fmt: skip


def _by_hand(ctx: StudyContext, analysis: Analysis) -> None:
    found = [c for c in analysis.cases if not c.stops and c.answer.acts]
    if not found:
        return
    most = max(found, key=lambda c: (c.hand_min, c.event.id))
    steps = [a.text for a in most.answer.acts]
    limit = ctx.number("failures.wait_limit_min")
    ctx.find(
        "failures.hand_work", "Longest manual work before milking "
                              "continues", round(most.hand_min, 1),
        "min", f"{counted(len(found), 'failure')} need{verb_s(len(found))} people: "
               f"{most.event.id} takes longest, in "
        f"{counted(len(steps), 'step')} ({'; '.join(steps)}).",
        limit=limit, sense="at_most", allowance=0.2,
        formula="t = notice + acts x time of each", source="practice", confidence="common_practice",
        inputs=(ctx.rule("failures.notice_min"), ctx.rule("failures.act_min"),
                ctx.rule("failures.wait_limit_min")),
    )  # fmt: skip


MORE_WATER, LEAST_WATER = 1.25, 0.6
"""Step in which a fresh-water tank grows until it lasts while its source is mended, and the share
of what is used meanwhile from which on it may last: what can wait for water waits (our choice)."""


def _shortens(ctx: StudyContext, analysis: Analysis, cost: Cost) -> tuple[Remedy, ...]:
    """What would shorten the wait behind a failure, where a figure of the plant does."""
    event, plant = cost.case.event, ctx.plant
    if event.failure.effect.law == "slow":
        why = "a lifted rail joint is plated within milking"
        return (Remedy(event.machine, "joint_kit", True, why),)
    if isinstance(plant.equipment[event.machine], GivesWater):
        tanks = [t for t in plant.machines(BuffersWater) if t.holds == "fresh"]
        if not tanks:
            return ()
        mended_h = event.failure.repair_h * ctx.number("failures.repair_factor")
        used = most_in(water_day(ctx, analysis.duty).fresh, mended_h)
        has = sum(t.volume_l * t.count for t in tanks)
        more = max(MORE_WATER, LEAST_WATER * used / has)
        return tuple(
            Remedy(t.id, "volume_l", ceil(t.volume_l * more / 1000) * 1000.0,
                   f"what it holds washes and cools while {event.machine} is mended")
            for t in tanks
        )  # fmt: skip
    by_hand = [plant.equipment[a.machine] for a in cost.case.answer.acts if a.verb == "run"]
    why = f"it runs on by itself with {event.id}"
    return tuple(
        Remedy(m.id, "own_control", True, why)
        for m in by_hand if "own_control" in type(m).model_fields and m.controlled_by
    )  # fmt: skip


WAIT_ALLOWANCE = 0.2
"""Share of the longest wait within which an answer is tight."""
MAY_STOP = " The farm allows that one failure stops milking, so this is shown as its cost."


def _waiting(ctx: StudyContext, analysis: Analysis, worth: Worth) -> None:
    limit = ctx.number("failures.wait_limit_min")
    may_stop = not ctx.plant.wishes.no_single_stop
    late = [c for c in worth.costs if c.worst is not None and not c.case.stops
            and 60 * c.hours_each > 0]  # fmt: skip
    if late:
        most = max(late, key=lambda c: (c.hours_each, c.case.event.id))
        too_late = [c for c in late if 60 * c.hours_each > limit]
        over, tag = most in too_late, most.case.event.machine
        ctx.find(
            "failures.waiting", "Longest delay from a failure that does not stop milking",
            round(60 * most.hours_each, 1), "min",
            f"With {most.case.event.id} at {most.worst.moment if most.worst else '-'} the last "
            f"cow comes off {60 * most.hours_each:.0f} min later"
            + (f"; remedy: {remedy(analysis, tag)}." if over else ".")
            + (MAY_STOP if over and may_stop else ""),
            limit=None if may_stop else limit, sense="informational" if may_stop else "at_most",
            allowance=WAIT_ALLOWANCE, formula="last cow off, with the failure less without",
            source="practice", confidence="common_practice",
            inputs=(ctx.rule("failures.wait_limit_min"),),
            remedies=tuple(dict.fromkeys(r for c in too_late for r in _shortens(ctx, analysis, c))),
        )  # fmt: skip
    lost = [c for c in worth.costs if c.litres_each > 0]
    if lost:
        most = max(lost, key=lambda c: (c.litres_each, c.case.event.id))
        at = most.worst
        after = (f", from {at.loss_after_min:.1f} min after it on"
                 if at and at.loss_after_min is not None else "")  # fmt: skip
        ctx.find(
            "failures.milk_lost", "Most milk lost at once", round(most.litres_each), "L",
            f"{most.case.event.id} at {at.moment if at else '-'} loses {most.litres_each:.0f} L"
            f"{after}; {counted(len(lost), 'failure')} lose{verb_s(len(lost))} any.",
            formula="milk to the floor, with the failure less without", source="definition",
            confidence="derived",
        )  # fmt: skip


def hours_text(hours: Hours, unit: str) -> str:
    """A figure a year with its spread, in words."""
    low, high = short(hours.low), short(hours.high)
    return f"{short(hours.mean)} {unit} a year ({low} to {high} {unit}, since lives are uncertain)"


def _left_out(analysis: Analysis, scripts: Mapping[str, Script]) -> str:
    """What a yearly sum does not hold."""
    blind = sum(declared(c, scripts[c.event.id]).how == "not simulated" for c in analysis.cases)
    return (
        f" Left out: two failures at once, {blind} failures that are not simulated, parts that are "
        f"inspected ({len(analysis.passive)}), pipes, fire, flood and lightning, and cows that "
        "milk less afterwards."
    )


def _year(
    ctx: StudyContext, analysis: Analysis, worth: Worth, scripts: Mapping[str, Script]
) -> None:
    most = sorted(worth.costs, key=lambda c: -c.hours_year)[:3]
    names = ", ".join(
        f"{c.case.event.id} {short(c.hours_year)} h" for c in most if c.hours_year > 0
    )
    inputs = (ctx.rule("reliability.wet_divisor"), ctx.rule("failures.repair_factor"))
    ctx.find(
        "failures.hours_year", "Milking time lost a year", round(worth.hours.mean, 2), "h/year",
        f"Single failures cost {hours_text(worth.hours, 'h')}"
        + (f"; most of it: {names}." if names else ".") + _left_out(analysis, scripts),
        formula="sum of failures a year x time lost each, at the worst moment", inputs=inputs,
        source="weibull_table", confidence="second_hand",
    )  # fmt: skip
    price = ctx.number("failures.milk_price_l")
    ctx.find(
        "failures.litres_year", "Milk lost a year", round(worth.litres.mean), "L/year",
        (f"Single failures cost {hours_text(worth.litres, 'L')}, about "
         f"{worth.litres.mean * price:.0f} {analysis.plant.site.currency} at the rules' price."
         if round(worth.litres.high) else "Single failures cost no milk.")
        + _left_out(analysis, scripts),
        formula="sum of failures a year x milk lost by each, at the worst moment",
        inputs=(*inputs, ctx.rule("failures.milk_price_l")), source="weibull_table",
        confidence="second_hand",
    )  # fmt: skip


def _pairs(ctx: StudyContext, analysis: Analysis, worth: Worth) -> None:
    if analysis.pairs is None or worth.pair_hours is None:
        return
    most = sorted(worth.pairs.items(), key=lambda p: (-p[1], p[0]))[:2]
    names = "; ".join(f"{a} with {b} {short(h)} h" for (a, b), h in most)
    ctx.find(
        "failures.pairs", "Pairs of failures that stop milking", len(analysis.pairs.twos), "",
        f"{len(analysis.pairs.twos)} minimal pairs stop milking: "
        f"{hours_text(worth.pair_hours, 'h')}{'; ' + names if names else ''}. "
        f"{analysis.pairs.asked} pairs were checked, {analysis.pairs.independent} were proved "
        "independent on the graph.",
        formula="h = (n1 q2 + n2 q1) r1 r2/(r1 + r2) + beta n r for machines alike",
        inputs=(ctx.rule("reliability.beta_common_cause", "beta"),), source=SOURCE,
        confidence="from_memory",
    )  # fmt: skip


def _cups(ctx: StudyContext, worth: Worth) -> None:
    """The failure that costs most time with fallen cups."""
    found = [c for c in worth.costs if c.fallen >= FEW_CUPS]
    if not found:
        return
    most = max(found, key=lambda c: (c.again_min, c.hours_year, c.case.event.id))
    limit = ctx.number("failures.wait_limit_min")
    others = len(found) - 1
    may_stop = not ctx.plant.wishes.no_single_stop
    ctx.find(
        "failures.cups", "Longest to put fallen cups on again", round(most.again_min, 1), "min",
        f"{most.case.event.id}: {most.fallen:.0f} cups fall; rinsing them and putting them on "
        f"again takes {most.again_min:.0f} min, during which no other cow is milked"
        + (f". {others} other failures make cups fall too." if others > 1 else
           ". One other failure makes cups fall too." if others else ".")
        + (MAY_STOP if may_stop else ""),
        subject=most.case.event.machine, limit=None if may_stop else limit,
        sense="informational" if may_stop else "at_most", allowance=0.2,
        formula="t = cups fallen x time each / people milking; cups fallen from the air network "
        "in time",
        inputs=(ctx.rule("failures.cup_again_s"), ctx.rule("vacuum.cups_fall_kpa"),
                ctx.rule("vacuum.cups_fall_after_s"), ctx.rule("failures.wait_limit_min")),
        source="practice", confidence="common_practice",
    )  # fmt: skip


def _not_simulated(ctx: StudyContext, analysis: Analysis, scripts: Mapping[str, Script]) -> None:
    every = [declared(c, scripts[c.event.id]) for c in analysis.cases]
    blind = sum(d.how == "not simulated" for d in every)
    still = sum(d.how == "changes nothing" for d in every)
    ctx.find(
        "failures.not_simulated", "Failures that the simulated day does not show", blind, "",
        f"Of {len(every)} failures {len(every) - blind - still} change the simulated day; {still} "
        f"are simulated and change nothing; {blind} are not simulated. The table says what each "
        "of these means instead. The yearly totals include no time and no milk for them.",
        formula="failures whose course of events leaves every simulated quantity as it was",
        source="definition", confidence="derived",
    )  # fmt: skip


FEW_CUPS = 0.5


def _service(ctx: StudyContext, analysis: Analysis, out: Sequence[Out]) -> None:
    may = [o for o in out if o.goes_on]
    if not out:
        return
    ctx.find(
        "failures.service", "Machines that can be out of service during milking", len(may), "",
        f"{len(may)} of {len(out)} serviced machines can be out of service while cows are milked; "
        f"{sum(1 for o in may if o.then_stops)} of them leave a failure that would then stop "
        "milking: choose a quiet milking and have its parts at hand.",
        formula="structure function with the machine gone, then with each failure besides",
        source=SOURCE, confidence="from_memory",
    )  # fmt: skip


Pick = Callable[[Analysis, Machine, Case], bool]


def _law(law: Law, *, can: str = "") -> Pick:
    def pick(_: Analysis, machine: Machine, case: Case) -> bool:
        if case.event.failure.effect.law != law:
            return False
        return not can or machine.can(can)

    return pick


def _way(*ids: str) -> Pick:
    return lambda _a, _m, case: any(case.event.id.endswith(i) for i in ids)


def _receiver_pump(analysis: Analysis, machine: Machine, case: Case) -> bool:
    led = getattr(machine, "led_by", None)
    seal = case.event.way == "seal leaks" and machine.can("moves milk")
    return seal and led in analysis.structure.receivers


ASKED: tuple[tuple[str, str, Pick], ...] = (
    ("mains", "Mains lost", _law("off", can="supplies power")),
    ("phase", "A phase lost", _law("three phases")),
    ("water", "Water supply lost", _law("off", can="gives water")),
    ("air", "Compressed air lost", _way("compressed air lost")),
    ("controller", "Controller stopped", _law("off", can="controls")),
    ("chiller", "Chiller or condensing unit tripped", _law("off", can="makes cold")),
    ("drive", "One drive unit out", _way("slips or trips")),
    ("drive_group", "A lift group of drives out", _way("a lift group is out")),
    ("gland", "Gland seal leaking", _law("leaks", can="joins deck")),
    ("receiver_pump", "A receiver's pump seal gone", _receiver_pump),
    ("filter", "Milk filter blocked", _law("shut", can="filters milk")),
    ("cooler", "Cooler blocked", _law("shut", can="cools milk")),
    ("tanker", "Tank full and tanker late", _law("late")),
    ("cloths", "Cloth washer down", _law("off", can="washes cloths")),
)
"""The common causes every farm asks about: key, title, and which failures stand for them."""


def _cause(
    ctx: StudyContext, analysis: Analysis, worth: Worth, key: str, title: str, pick: Pick
) -> None:
    mine = [c for c in worth.costs if pick(
        analysis, analysis.plant.equipment[c.case.event.machine], c.case)]  # fmt: skip
    if not mine:
        return
    worst = max(mine, key=lambda c: (c.case.stops, c.hours_each, c.litres_each, c.case.event.id))
    wished = ctx.plant.wishes.no_single_stop
    judged = worst.case.stops and worst.case.sort == "equipment" and wished
    ctx.find(
        f"failures.cause.{key}", title, round(60 * worst.hours_each, 1), "min",
        cause_sentence(analysis, worst), subject=worst.case.event.machine,
        limit=0.0 if judged else None, sense="at_most" if judged else "informational",
        formula="last cow off, with the failure less without", source="practice",
        confidence="common_practice", inputs=rate_inputs(ctx, analysis, worst.case),
    )  # fmt: skip


def cause_sentence(analysis: Analysis, cost: Cost) -> str:
    """What a failure does and what is done, in one or two sentences."""
    case, at = cost.case, cost.worst
    words = {
        "stops": "milking stops until the repair", "by hand": "milking continues by hand",
        "slower": "milking continues more slowly", "continues": "milking continues",
    }  # fmt: skip
    text = f"{case.event.id[:1].upper()}{case.event.id[1:]}: {words[standing(case)]}"
    if case.answer.acts:
        text += f" ({'; '.join(a.text for a in case.answer.acts)}; {case.hand_min:.0f} min)"
    if case.stops:
        text += f" ({case.answer.why})"
    if cost.fallen >= FEW_CUPS:
        text += f"; {cost.fallen:.0f} cups fall and take {cost.again_min:.0f} min to put on again"
    spare, full = case.answer.spare_l_min, analysis.base.spare_l_min
    if not case.stops and spare < full - 1.0:
        text += f"; vacuum air to spare {max(spare, 0.0):.0f} instead of {full:.0f} L/min"
    if at is not None:
        parts = []
        if at.cows_h_before > 0:
            parts.append(f"{at.cows_h:.0f} of {at.cows_h_before:.0f} cows in the next hour")
        if at.out_c > at.out_before_c + 0.3:
            parts.append(f"milk leaves the cooler at {at.out_c:.1f} degC")
        if 0.0 < at.milk_before_c < at.milk_c - 0.3:
            parts.append(
                f"milk in store up to {at.milk_c:.1f} degC instead of {at.milk_before_c:.1f}"
            )
        if cost.litres_each > 0:
            parts.append(f"{cost.litres_each:.0f} L lost")
        if cost.hours_each > 0.02:
            parts.append(f"last cow {60 * cost.hours_each:.0f} min later")
        when = at.moment if at.moment.startswith("before") else f"at {at.moment}"
        text += f"; {when}: {', '.join(parts) if parts else 'no other effect'}"
    return f"{text}. What you see: {case.event.failure.seen}. Then: {case.event.failure.do}."
