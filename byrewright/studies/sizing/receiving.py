"""Receivers, sanitary traps and the pumps that empty them."""

from __future__ import annotations

from collections.abc import Sequence

from byrewright.physics.cleaning import slug_volume_l
from byrewright.physics.pipeflow import pump_power_kw, static_kpa
from byrewright.plant.roles import BalancesMilk, CollectsMilk, MovesMilk, ReceivesMilk, TrapsLiquid
from byrewright.studies.sizing.altitude import motors
from byrewright.studies.sizing.context import StudyContext
from byrewright.studies.sizing.duty import Duty
from byrewright.studies.sizing.network import net_of
from byrewright.studies.sizing.sizes import (
    ROOM,
    TIGHT,
    each_carries,
    listed,
    next_motor_kw,
    next_preferred,
    next_round,
    spare,
    stated,
    with_others_off,
    worked,
)

FREE_SHARE = 0.7
"""Share of a receiver between the level its pump holds and its inlets (common practice)."""
HELD_SHARE, STOP_SHARE = 0.3, 0.1
"""Shares of a receiver that its pump holds or starts at, and stops at (common practice)."""
TRAP_S = 5.0
"""Inflow that a trap holds before its float must be shut (our choice)."""
PUMP_EFFICIENCY = 0.5
"""Shaft efficiency of a small sanitary centrifugal pump (common practice, no source)."""


def wash_flow_l_min(ctx: StudyContext, duty: Duty) -> float:
    """Wash water that reaches the receivers while all units wash together."""
    return duty.units * ctx.number("wash.unit_flow_l_min")


def receiver_pumps(ctx: StudyContext) -> tuple[MovesMilk, ...]:
    """The pumps that draw from receivers (all that draw from no balance tank)."""
    after = {p.id for pumps in balance_pumps(ctx).values() for p in pumps}
    return tuple(p for p in ctx.plant.machines(MovesMilk) if p.id not in after)


def balance_pumps(ctx: StudyContext) -> dict[str, tuple[MovesMilk, ...]]:
    """The pumps that draw from each balance tank: those it leads, or nearest to it by pipe."""
    plant, net = ctx.plant, net_of(ctx)
    tanks = plant.machines(BalancesMilk)
    if not tanks:
        return {}
    vessels = [*(r.id for r in plant.machines(ReceivesMilk)), *(t.id for t in tanks)]
    found: dict[str, list[MovesMilk]] = {t.id: [] for t in tanks}
    for pump in plant.machines(MovesMilk):
        source = pump.led_by if pump.led_by in vessels else None
        if source is None:
            near = [(len(j), v) for v in vessels if (j := net.way(v, pump.id))]
            source = min(near)[1] if near else None
        if source in found:
            found[source].append(pump)
    return {k: tuple(v) for k, v in found.items()}


def size_receiving(ctx: StudyContext, duty: Duty) -> None:
    """Receiver and trap volume, and the milk pumps of the receivers."""
    receivers = ctx.plant.machines(ReceivesMilk)
    if not receivers:
        ctx.lacks(
            "receiving.receiver",
            "Receiver",
            "No receiver parts milk from air: add one at the low end of the milkline.",
        )
    for receiver in receivers:
        _receiver(ctx, duty, receiver, sum(r.count for r in receivers))
    _traps(ctx, duty, receivers)
    if not ctx.plant.able("moves milk"):
        ctx.lacks(
            "receiving.milk_pump",
            "Milk pump",
            "No machine moves milk out of the receiver: add a milk pump.",
        )
        return
    peak, wash = duty.milk_flow_peak_l_min, wash_flow_l_min(ctx, duty)
    _pumps(ctx, receiver_pumps(ctx), "the receivers", peak, wash)
    for tank, pumps in balance_pumps(ctx).items():
        _pumps(ctx, pumps, tank, duty.milk_flow_met_l_min, 0.0, evened=True)


def _receiver(ctx: StudyContext, duty: Duty, receiver: ReceivesMilk, count: int) -> None:
    lines = ctx.plant.machines(CollectsMilk)
    bore = max((m.bore_mm for m in lines), default=73.0)
    ways = max((2 if m.looped else 1) for m in lines) if lines else 1
    length = max((m.length_m for m in lines), default=20.0) / max(1, count) / ways
    slug = slug_volume_l(bore, length, ctx.number("wash.slug_end_length_m"), ctx.rules)
    redundancy = ctx.plant.wishes.redundancy
    inflow = each_carries(duty.milk_flow_peak_l_min, count, redundancy)
    surge = inflow * ctx.number("receiver.surge_s") / 60.0
    held = next((v for v in (receiver.start_at_l, receiver.led_at_l) if v is not None), None)
    if held is None:
        need, why = (surge + slug) / FREE_SHARE, f"{100 * FREE_SHARE:.0f} % of it free"
    else:
        need, why = held + surge + slug, f"over the {held:g} L its pump holds"
    limit = max(need, ctx.number("receiver.least_l") if duty.units >= 50 else 0.0)
    # Advice does not rest on the level settings, which follow the volume.
    advised = next_preferred(
        ROOM * max((surge + slug) / FREE_SHARE, ctx.number("receiver.least_l"))
    )
    ctx.find(
        "receiving.receiver.volume",
        "Receiver volume",
        receiver.volume_l,
        "L",
        f"{receiver.id} holds {receiver.volume_l:.0f} L; {limit:.0f} L takes a slug of {slug:.0f} "
        f"L and {surge:.0f} L of milk while its pump is stopped, {why}: "
        f"{spare(receiver.volume_l, limit)}.",
        subject=receiver.id,
        limit=round(limit, 3),
        sense="at_least",
        allowance=TIGHT,
        formula="V >= V_held + V_slug + q_peak t / 60, V_slug = pi/4 d^2 (L_end + 0.05 L)",
        inputs=(
            worked(
                "q_peak",
                "peak minute into it, another shut off where redundancy is wanted",
                inflow,
                "L/min",
            ),
            ctx.rule("receiver.surge_s", "t"),
            stated("d", "milkline bore", bore, "mm"),
            worked("L", "way of a slug", round(length, 2), "m"),
            ctx.rule("wash.slug_end_length_m", "L_end"),
            worked("V_slug", "slug", slug, "L"),
            stated("V_held", "level its pump holds, or starts at", held, "L")
            if held is not None
            else worked(
                "V_held", "held by its pump, 30 % of it", round(need * (1 - FREE_SHARE), 2), "L"
            ),
            ctx.rule("receiver.least_l", "V_least"),
        ),
        source="mass balance; slug by geometry",
        confidence="derived",
        advised=advised,
        advised_why=f"slug and {ctx.number('receiver.surge_s'):g} s of the peak, {why}",
        target=(receiver, "volume_l"),
    )
    _levels(ctx, receiver)


def _levels(ctx: StudyContext, receiver: ReceivesMilk) -> None:
    """Levels of the pump's control inside the receiver: held, or start and stop."""
    shares = {"led_at_l": HELD_SHARE, "start_at_l": HELD_SHARE, "stop_at_l": STOP_SHARE}
    words = {"led_at_l": "holds", "start_at_l": "starts at", "stop_at_l": "stops at"}
    for name, share in shares.items():
        level: float | None = getattr(receiver, name)
        if level is None:
            continue
        most = 2 * share * receiver.volume_l
        ctx.find(
            f"receiving.receiver.{name.removesuffix('_l')}",
            f"Level the pump {words[name]}",
            level,
            "L",
            f"The pump of {receiver.id} {words[name]} {level:g} L of its {receiver.volume_l:g} L; "
            f"{share * receiver.volume_l:.0f} L leaves room for slugs.",
            subject=receiver.id,
            limit=most,
            sense="at_most",
            formula="level <= 2 x usual share x V",
            inputs=(
                stated("V", "receiver", receiver.volume_l, "L"),
                worked("", "usual share", share),
            ),
            source="practice",
            confidence="common_practice",
            advised=round(share * receiver.volume_l, 1),
            advised_why=f"{100 * share:.0f} % of the receiver",
            target=(receiver, name),
        )


def _traps(ctx: StudyContext, duty: Duty, receivers: Sequence[ReceivesMilk]) -> None:
    traps = ctx.plant.machines(TrapsLiquid)
    count, needed = sum(t.count for t in traps), sum(r.count for r in receivers)
    if count < needed:
        ctx.find(
            "receiving.trap.count",
            "Sanitary traps",
            float(count),
            "traps",
            f"{needed} receivers but {count} sanitary traps: each receiver needs one, or milk and "
            "wash can reach the vacuum line.",
            limit=float(needed),
            sense="at_least",
            formula="traps >= receivers",
            inputs=(stated("", "receivers", needed),),
            source="the plant file",
            confidence="stated",
        )
    limit = ctx.number("vacuum.sanitary_trap_least_l")
    inflow = max(duty.milk_flow_peak_l_min, wash_flow_l_min(ctx, duty)) / max(1, needed)
    advised = next_preferred(max(limit, inflow * TRAP_S / 60.0))
    for trap in traps:
        ctx.find(
            "receiving.trap.volume",
            "Sanitary trap volume",
            trap.volume_l,
            "L",
            f"{trap.id} holds {trap.volume_l:g} L; at least {limit:g} L is required. {advised:g} "
            f"L takes {TRAP_S:g} s of inflow before its float must be shut.",
            subject=trap.id,
            limit=limit,
            sense="at_least",
            allowance=TIGHT,
            formula="V >= V_least",
            inputs=(
                ctx.rule("vacuum.sanitary_trap_least_l", "V_least"),
                worked("q", "largest inflow of its receiver", inflow, "L/min"),
            ),
            source="iso5707",
            confidence="from_memory",
            advised=advised,
            advised_why=f"{TRAP_S:g} s of the largest inflow",
            target=(trap, "volume_l"),
        )


def _pumps(
    ctx: StudyContext,
    pumps: Sequence[MovesMilk],
    source: str,
    milk: float,
    wash: float,
    *,
    evened: bool = False,
) -> None:
    """Each pump's flow against milk and wash, its motor, and whether one may stop.

    `evened`: the source takes the peaks, and the milk is what it passes on.
    """
    redundancy, count = ctx.plant.wishes.redundancy, sum(p.count for p in pumps)
    if not pumps:
        ctx.find(
            "receiving.milk_pump",
            "Milk pump",
            0.0,
            "machines",
            f"No milk pump empties {source}: add one.",
            subject=source,
            limit=1.0,
            sense="at_least",
            formula="at least one",
            source="the plant file",
        )
        return
    need = max(milk, wash)
    limit = each_carries(need, count, redundancy)
    governs = (
        f"wash water of all units ({wash:.0f} L/min)"
        if wash > milk
        else f"milk that {source} passes on, once it has taken the peaks"
        if evened
        else "peak minute of milk"
    )
    flows = (
        (worked("q_milk", "milk behind the balance tank, which takes the peaks", milk, "L/min"),)
        if evened
        else (
            worked("q_peak", "one-minute peak of milk", milk, "L/min"),
            ctx.rule("milkline.peak_factor", "f_peak"),
        )
    )
    washing = (
        ctx.rule("wash.unit_flow_l_min", "q_wash"),
        worked("n q_wash", "wash water of all units", wash, "L/min"),
    )
    for pump in pumps:
        off = with_others_off(pump, pumps, redundancy)
        ctx.find(
            "receiving.milk_pump.flow",
            "Milk pump flow",
            pump.flow_l_min,
            "L/min",
            f"{pump.id} moves {pump.flow_l_min:.0f} L/min from {source}; {limit:.0f} L/min is "
            f"needed{off}: {spare(pump.flow_l_min, limit)}. It is set by the {governs}.",
            subject=pump.id,
            limit=limit,
            sense="at_least",
            allowance=TIGHT,
            formula="q_pump >= max(q_milk, n q_wash) / pumps that must carry it",
            inputs=(
                *flows,
                *(washing if wash else ()),
                stated("", "redundancy wanted", redundancy),
            ),
            source="iso5707",
            confidence="from_memory",
            advised=next_round(ROOM * limit),
            advised_why=f"the {governs}{off}, and a tenth; rounded up",
            target=(pump, "flow_l_min"),
        )
        _motor(ctx, pump)
    if redundancy != "none" and count < 2:
        ctx.find(
            "receiving.milk_pump.standby",
            "Second milk pump",
            float(count),
            "pumps",
            f"{listed([p.id for p in pumps])} alone empties {source}, though the farm asked that "
            "no single failure stops milking: add a second.",
            subject=source,
            limit=2.0,
            sense="at_least",
            formula="pumps >= 2",
            inputs=(stated("", "redundancy wanted", redundancy),),
            source="what the farm asked for",
            confidence="stated",
        )


def _motor(ctx: StudyContext, pump: MovesMilk) -> None:
    """Shaft power at the data plate's head, in which the vacuum drawn against is included."""
    shaft = pump_power_kw(pump.flow_l_min, static_kpa(pump.head_m), PUMP_EFFICIENCY)
    margin, air = ctx.number("motor.service_margin"), motors(ctx)
    ctx.find(
        "receiving.milk_pump.motor",
        "Milk pump motor",
        pump.motor_kw,
        "kW",
        f"{pump.id} at {pump.flow_l_min:.0f} L/min and {pump.head_m:g} m takes about {shaft:.2f} "
        f"kW at its shaft; its motor is {pump.motor_kw:g} kW.{air.words}",
        subject=pump.id,
        limit=air.rating(shaft),
        sense="at_least",
        allowance=0.0,
        formula=f"P = q rho g H / eta{air.over}",
        inputs=(
            stated("q", "flow", pump.flow_l_min, "L/min"),
            stated("H", "head", pump.head_m, "m"),
            worked("eta", "shaft efficiency", PUMP_EFFICIENCY, "", "common practice, no source"),
            ctx.rule("motor.service_margin", "margin"),
            *air.inputs,
        ),
        source="general physics",
        confidence="derived",
        advised=next_motor_kw(air.rating(shaft * margin), ctx.plant.site.region),
        advised_why=f"shaft power times {margin:g}, next motor rating",
        target=(pump, "motor_kw"),
    )
