"""Electric power: motor list, greatest demand, supply, boards, standby, what a battery carries."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from byrewright.physics.motors import current_a, start_kva
from byrewright.plant.machine import Machine
from byrewright.plant.roles import SharesPower, SuppliesPower
from byrewright.results import Remedy, Table
from byrewright.standards.electrical import supply_a
from byrewright.studies.sizing.cold import lead_and_lag
from byrewright.studies.sizing.context import StudyContext
from byrewright.studies.sizing.duty import Duty
from byrewright.studies.sizing.feeds import carried, chains, feeders, feeds_of
from byrewright.studies.sizing.loads import (
    SITUATIONS,
    ElectricLoad,
    demand_kva,
    demand_kw,
    electric_loads,
    is_heat,
)
from byrewright.studies.sizing.sizes import listed, spare, stated, worked
from byrewright.studies.sizing.standby import size_generator, size_uninterruptible
from byrewright.studies.sizing.steps import field, next_of

MOST_COMPRESSORS = 6
"""Most compressors of one machine that are advised (common practice, no source)."""
START_WORDS = {"direct": "direct", "star_delta": "star-delta", "soft": "soft starter",
               "drive": "speed drive"}  # fmt: skip
SITUATION_WORDS = {
    "milking": "during milking",
    "washing": "during washing",
    "cooling": "with all refrigeration on",
    "night": "at night",
}


def size_power(ctx: StudyContext, duty: Duty) -> None:
    """Motor list, demand of each situation, supply, boards, generator, uninterruptible supply."""
    loads = electric_loads(ctx, duty)
    if not loads:
        return
    together = lead_and_lag(ctx, duty, loads)
    _motor_list(ctx, together)
    _demand(ctx, together)
    _boards(ctx, loads)
    _mains_dip(ctx, loads)
    _single_phase(ctx, loads)
    size_generator(ctx, loads)
    size_uninterruptible(ctx, loads)


def _motor_list(ctx: StudyContext, loads: Sequence[ElectricLoad]) -> None:
    rows: list[tuple[float | str, ...]] = []
    for one in loads:
        starts = start_kva(one.motor_kw, one.start, rules=ctx.rules) if one.start else 0.0
        rows.append((
            one.machine.id, one.machine.title, one.machine.count, round(one.machine.power_kw(), 2),
            START_WORDS[one.start] if one.start else "-", round(starts, 1),
            *(round(one.kw(s), 1) for s in SITUATIONS), listed(one.machine.fed_from) or "-",
        ))  # fmt: skip
    rows.append(("all", "sum of what is on", sum(one.machine.count for one in loads),
                 round(sum(one.machine.power_kw() * one.machine.count for one in loads), 1), "-",
                 "-",
                 *(round(demand_kw(loads, s), 1) for s in SITUATIONS), "-"))  # fmt: skip
    ctx.notes.tables.append(Table(
        "power.motors", "Motors and heaters",
        ("tag", "machine", "count", "rated, each", "start", "start, each", *SITUATIONS, "fed from"),
        ("", "", "", "kW", "", "kVA", "kW", "kW", "kW", "kW", ""), tuple(rows),
        note="The last four figures are the electric input in each situation."))  # fmt: skip


def agreed_kva(ctx: StudyContext) -> tuple[float | None, SuppliesPower | None]:
    """What the supply allows: the smaller of the site's limit and the mains' agreed demand."""
    mains = ctx.plant.machines(SuppliesPower)
    limits = [m.supply_kva * m.count for m in mains]
    if ctx.plant.site.supply.limit_kva is not None:
        limits.append(ctx.plant.site.supply.limit_kva)
    return (min(limits) if limits else None), (mains[0] if mains else None)


def volts_of(ctx: StudyContext) -> tuple[float, int]:
    """Voltage and phases of the supply."""
    supply = ctx.plant.site.supply
    mains = ctx.plant.first(SuppliesPower)
    return supply.voltage_v, min(supply.phases, mains.phases if mains else 3)


def _demand(ctx: StudyContext, loads: Sequence[ElectricLoad]) -> None:
    agreed, mains = agreed_kva(ctx)
    volts, phases = volts_of(ctx)
    room = ctx.number("supply.spare_share")
    worst = max(demand_kva(loads, s) for s in SITUATIONS)
    hot = [one for one in loads if is_heat(one.machine) and one.kw("milking") > 0]
    heat = sum(one.kw("milking") for one in hot)
    wait = tuple(
        Remedy(one.machine.id, "in_milking", "stopped", "heaters and laundry wait for the supply")
        for one in hot
    )
    ampere = next_of(current_a(worst * (1 + room), volts, phases), supply_a(ctx.plant.site.region))
    advised = round(ampere * volts * (3**0.5 if phases == 3 else 1.0) / 1000)
    for situation in SITUATIONS:
        kva, kw = demand_kva(loads, situation), demand_kw(loads, situation)
        is_worst = kva >= worst - 1e-9
        amps = current_a(kva, volts, phases)
        help_ = (f" Locking heaters and laundry out while milking takes off {heat:.0f} kW."
                 if situation == "milking" and heat > 0 else "")  # fmt: skip
        ctx.find(
            "power.demand", f"Greatest demand {SITUATION_WORDS[situation]}", round(kva, 1), "kVA",
            f"{SITUATION_WORDS[situation].capitalize()} the plant draws {kw:.0f} kW, {kva:.0f} "
            f"kVA, {amps:.0f} A on {phases} phase{'s' if phases > 1 else ''} at {volts:g} V"
            + (f"; the supply has {agreed:.0f} kVA ({spare(agreed, kva)})." if agreed else ".")
            + help_,
            subject=situation, limit=agreed, sense="at_most" if agreed else "informational",
            allowance=room, remedies=wait if situation == "milking" and agreed else (),
            formula="S = sqrt((sum P)^2 + (sum Q)^2); P = rating x loading / efficiency for motors "
            "on in the modes, rating for heaters and cold",
            inputs=(worked("kW", "electric input in all", round(kw, 1), "kW"),
                    ctx.rule("motor.loading"), ctx.rule("motor.efficiency"),
                    ctx.rule("motor.power_factor"), ctx.rule("laundry.load_share"),
                    *((field(mains, "supply_kva"),) if mains else ()),
                    ctx.rule("supply.spare_share")),
            source="practice", confidence="common_practice",
            advised=advised if mains is not None and is_worst else None,
            advised_why=f"{kva:.0f} kVA and a tenth to spare, {ampere:.0f} A a phase",
            target=(mains, "supply_kva") if mains is not None and is_worst else None,
        )  # fmt: skip
    if mains is None:
        ctx.lacks("power.mains", "Mains supply", "No mains supply is in the plant; "
                                                   f"{worst:.0f} kVA "
                    "are needed.")  # fmt: skip


def _boards(ctx: StudyContext, loads: Sequence[ElectricLoad]) -> None:
    volts, phases = volts_of(ctx)
    boards = ctx.plant.machines(SharesPower)
    wishes = ctx.plant.wishes
    one_lost = wishes.no_single_stop or wishes.redundancy != "none"
    feeds = feeds_of(ctx.plant, loads, volts, phases, one_lost=one_lost)
    for board in boards:
        feed = feeds[board.id]
        kva, amps = feed.worst_kva, feed.worst_amps
        advised = next_of(
            amps * (1 + ctx.number("supply.spare_share")), supply_a(ctx.plant.site.region)
        )
        rated = board.rating_a
        alone = f"{board.id} feeds {feed.kva:.0f} kVA, {feed.amps:.0f} A" + (
            f"; with {feed.lost} lost {kva:.0f} kVA, {amps:.0f} A" if feed.lost else ""
        )
        ctx.find(
            "power.board", "Switchboard", rated if rated is not None else round(amps, 1), "A",
            alone
            + (f"; it is rated {rated:g} A ({spare(rated, amps)})." if rated is not None else
               f"; its rating is not stated: {advised:g} A with a tenth to spare.")
            + " Its main breaker and the cables that feed it are sized for the same current.",
            subject=board.id, limit=round(amps, 1) if rated is not None else None,
            sense="at_least" if rated is not None else "informational", allowance=0.05,
            formula="I = S/(sqrt3 U), the worst of its usual feed and every other board lost"
            if one_lost else "I = S/(sqrt3 U)",
            inputs=(worked("S", "greatest demand of what it feeds", round(kva, 1), "kVA"),
                    stated("U", "voltage", volts, "V")),
            source="definition", confidence="derived", advised=advised,
            advised_why=f"{amps:.0f} A" + (f" with {feed.lost} lost" if feed.lost else "")
            + " and a tenth to spare", target=(board, "rating_a"),
        )  # fmt: skip
    _feeders(ctx, loads, volts, phases, one_lost, {b: f.worst_amps for b, f in feeds.items()})
    _unfed(ctx, loads, {t for t in chains(ctx.plant) if t in ctx.plant.equipment},
           bool(boards))  # fmt: skip


def _feeders(
    ctx: StudyContext,
    loads: Sequence[ElectricLoad],
    volts: float,
    phases: int,
    one_lost: bool,
    whole: Mapping[str, float],
) -> None:
    """Every cable from a supply to a board: its current by choice, and at its worst.

    `whole`: the worst current of each board, for which each of its feeders is made.
    """
    plant = ctx.plant
    boards = plant.machines(SharesPower)
    may = [*(m.id for m in plant.machines(SuppliesPower)), *(b.id for b in boards if one_lost)]
    rows: list[tuple[float | str, ...]] = []
    for board in boards:
        for feeder in board.fed_from:
            usual = worst = 0.0
            when = "-"
            for lost in ("", *(tag for tag in may if tag != board.id)):
                gone = frozenset({lost}) if lost else frozenset[str]()
                if feeders(plant, gone).get(board.id) != feeder:
                    continue
                mine = carried(plant, loads, gone).get(board.id, [])
                amps = current_a(max(demand_kva(mine, s) for s in SITUATIONS), volts, phases)
                usual = amps if not lost else usual
                if amps > worst:
                    worst, when = amps, lost or "usual"
            rows.append((feeder, board.id, round(usual, 1), round(worst, 1), when,
                         next_of(whole[board.id] * (1 + ctx.number("supply.spare_share")),
                                 supply_a(plant.site.region))
                         if whole[board.id] else "-"))  # fmt: skip
    if rows:
        ctx.notes.tables.append(Table(
            "power.feeders", "Feeders of the boards",
            ("from", "to", "usual", "worst", "with this lost", "breaker and cable"),
            ("", "", "A", "A", "", "A"), tuple(rows),
            note="Breaker and cable of every feeder are for the worst that its board may carry. "
                 "Cable sections follow from the current, the way it is laid and its length: "
                 "local wiring rules and licensed people decide."))  # fmt: skip


def _unfed(ctx: StudyContext, loads: Sequence[ElectricLoad], fed: set[str], boards: bool) -> None:
    loose: list[Machine] = [one.machine for one in loads
                            if one.machine.id not in fed and not one.machine.fed_from]  # fmt: skip
    if loose and boards:
        ctx.find(
            "power.unfed", "Machines with no supply named", len(loose), "",
            f"Nothing says what feeds {listed([m.id for m in loose])}: add `fed_from`, or the "
            "failure study cannot see a lost board.", limit=0, sense="at_most",
            formula="count of machines that draw power and name no supply",
            source="the plant file",
        )  # fmt: skip


def _mains_dip(ctx: StudyContext, loads: Sequence[ElectricLoad]) -> None:
    """Voltage dip on the mains at the hardest motor start, by the supply's impedance."""
    mains = ctx.plant.first(SuppliesPower)
    starts = [(start_kva(one.motor_kw, one.start, rules=ctx.rules), one) for one in loads
              if one.start and one.motor_kw > 0 and one.machine.fed_from]  # fmt: skip
    if mains is None or not starts:
        return
    hardest, one = max(starts, key=lambda pair: (pair[0], pair[1].machine.id))
    agreed, _ = agreed_kva(ctx)
    fault = ctx.plant.site.supply.fault_kva
    said = "stated"
    if fault is None:
        fault = ctx.number("supply.fault_multiple") * (agreed or mains.supply_kva)
        said = "assumed: ask the supplier"
        ctx.assume(
            "site.supply.fault_kva",
            "short-circuit power where the supply comes in",
            round(fault),
            "kVA",
            "not stated: a multiple of the agreed demand; ask the supplier",
        )
    dip = 100 * hardest / (hardest + fault)
    most = ctx.number("supply.dip_most_pct")
    many = None
    if dip > most and hasattr(one.machine, "compressors"):
        bears = fault * most / (100 - most)
        many = min(MOST_COMPRESSORS, math.ceil(one.machine.compressors * hardest / bears))
    hard = dip > most and one.start != "drive" and hasattr(one.machine, "start")
    why = "a drive starts it with little more than its load"
    ctx.find(
        "power.mains_dip", "Voltage dip of the mains at the hardest start", round(dip, 1), "%",
        f"Starting {one.machine.id} ({START_WORDS[one.start or 'direct']}, {hardest:.0f} kVA) "
        f"pulls a supply of {fault:.0f} kVA short-circuit power ({said}) down by {dip:.1f} %; "
        f"{most:g} % is usual at most."
        + (f" Take {many} compressors that start one after another, or have the supply "
           "strengthened." if many else
           " Have the supply strengthened." if dip > most and one.start == "drive" else
           " Start it softer, or by a drive, or have the supply strengthened."
           if dip > most else ""),
        subject=mains.id, limit=most, sense="at_most", allowance=0.1, advised=many,
        advised_why="compressors that start one after another, so that the mains dip less"
        if many else "", target=(one.machine, "compressors") if many else None,
        remedies=(Remedy(one.machine.id, "start", "drive", why),) if hard else (),
        formula="dip = S_start/(S_start + S_sc)",
        inputs=(worked("S_start", f"start of {one.machine.id}", round(hardest, 1), "kVA"),
                worked("S_sc", f"short-circuit power, {said}", round(fault), "kVA"),
                ctx.rule("supply.fault_multiple"), ctx.rule("supply.dip_most_pct")),
        source="iec61000_3_3", confidence="from_memory",
    )  # fmt: skip


def _single_phase(ctx: StudyContext, loads: Sequence[ElectricLoad]) -> None:
    if volts_of(ctx)[1] != 1:
        return
    most = ctx.number("supply.single_phase_motor_kw")
    large = [one.machine for one in loads if one.motor_kw > most]
    biggest = max((one.motor_kw for one in loads), default=0.0)
    names = listed([m.id for m in large])
    have = f"{len(large)} machines have motors" if len(large) > 1 else "one machine has a motor"
    ctx.find(
        "power.single_phase", "Largest motor on a single-phase supply", round(biggest, 2), "kW",
        f"The supply has one phase; {have} over {most:g} kW ({names}). "
        f"Ask the supplier for three phases, or feed {'them' if len(large) > 1 else 'it'} "
        "through a drive or converter made for it." if large else
        f"The supply has one phase and no motor is over {most:g} kW.",
        limit=most, sense="at_most", formula="largest motor",
        inputs=(ctx.rule("supply.single_phase_motor_kw"),), source="practice",
        confidence="common_practice",
    )  # fmt: skip
