"""What each instrument will read: the tests of ISO 6690 that follow from the model.

Limits are ISO 5707's as data of the rulebook (from memory); the US guide stands beside them as a
rule set of its own. Connection points: A1 airflow at the receiver, A2 airflow at the pump, Vm
vacuum at the receiver, Vr at the regulator, Vp at the pump inlet, Pe exhaust back pressure.
"""

from __future__ import annotations

from collections.abc import Sequence

from byrewright.physics.air import reserve_iso_l_min_free, reserve_us_l_min_free
from byrewright.physics.airflow import pump_air_kg_s
from byrewright.plant.roles import GivesMilk
from byrewright.results import Finding, Remedy, Table
from byrewright.studies.sizing.context import StudyContext
from byrewright.studies.sizing.sizes import stated, worked
from byrewright.studies.sizing.vacuum_demand import us_rules
from byrewright.studies.vacuum.case import Case
from byrewright.studies.vacuum.findings_time import more_air, retuned
from byrewright.studies.vacuum.plate_readings import parts, pulsation
from byrewright.studies.vacuum.reading import ISO, reading

QUICKER = (
    "a quicker control (its best setting is under the tuning), a second pump kept running, or more "
    "volume in the lines"
)
NOT_PREDICTED = (
    "Not predicted, only measured: gauge error, airflow at stall taps and vacuum taps, releaser "
    "leakage, leakage of clusters and shut-off valves, drop of the long milk tube."
)


def write(ctx: StudyContext, case: Case) -> Table:
    """Write every predicted reading as a finding; returns them as the sheet to take along."""
    start = len(ctx.notes.findings)
    _vacuum(ctx, case)
    _pumps(ctx, case)
    _reserve(ctx, case)
    _leakages(ctx, case)
    _drops(ctx, case)
    pulsation(ctx, case)
    _regulation(ctx, case)
    parts(ctx)
    ctx.notes.notes.append(NOT_PREDICTED)
    return _sheet(ctx.notes.findings[start:])


def _vacuum(ctx: StudyContext, case: Case) -> None:
    set_kpa, vm = case.network.set_vacuum_kpa, case.milking.milk_vacuum_kpa
    reading(
        ctx,
        "working_vacuum",
        "Working vacuum (Vm) away from nominal",
        abs(vm - set_kpa),
        "kPa",
        f"Vm will read {vm:.1f} kPa with all units working; nominal is {set_kpa:g} kPa.",
        limit="vacuum.test.working_vacuum_kpa",
        formula="|Vm - nominal|",
        inputs=(
            worked("Vm", "vacuum at the receiver", round(vm, 2), "kPa", "network solved"),
            worked("nominal", "vacuum that control holds", float(set_kpa), "kPa", "plant file"),
        ),
    )
    idle = case.states["no_units"].milk_vacuum_kpa
    reading(
        ctx,
        "sensitivity",
        "Regulation sensitivity",
        max(0.0, idle - vm),
        "kPa",
        f"With no unit working Vm rises from {vm:.1f} to {idle:.1f} kPa.",
        limit="vacuum.test.sensitivity_kpa",
        formula="Vm without units - Vm with all units",
    )


def _pumps(ctx: StudyContext, case: Case) -> None:
    network = case.network
    pa = network.ambient_kpa_abs
    for place, state in zip(network.pumps, case.milking.pumps, strict=True):
        back = ctx.number("vacuum.silencer_kpa")

        def draws(vacuum: float, place=place, back=back) -> float:  # type: ignore[no-untyped-def]
            rated = network.kg_s(place.rated_l_min_free)
            m, _ = pump_air_kg_s(
                1.0, pa - vacuum, pa, network.kg_s(place.displacement), place.slip, back / rated**2
            )
            return network.l_min_free(m)

        at_50 = draws(50.0)
        working = state.inlet_vacuum_kpa if state.speed > 0.0 else network.set_vacuum_kpa
        here = draws(working)
        reading(
            ctx,
            "pump_capacity",
            "Pump capacity (A2) at 50 kPa, full speed",
            at_50,
            "L/min",
            f"{place.name} will pass {at_50:.0f} L/min at 50 kPa and {here:.0f} L/min at its "
            f"working {working:.1f} kPa, at this site's {pa:.1f} kPa ambient.",
            subject=place.name,
            formula="q = V [p/p_a - e (p_out - p)/p_a]",
            inputs=(stated("", "data plate", place.machine.capacity_l_min_free, "L/min"),),
            source="displacement pump with slip fitted to 0.9 p_a at zero flow",
            confidence="derived",
        )
        at_full = back * (here / place.rated_l_min_free) ** 2
        reading(
            ctx,
            "exhaust",
            "Exhaust back pressure (Pe), full speed",
            at_full,
            "kPa",
            f"Pe at {place.name} will read about {at_full:.1f} kPa; compare with what its maker "
            "allows.",
            subject=place.name,
            formula="Pe = k q^2",
            inputs=(ctx.rule("vacuum.silencer_kpa"),),
            source="practice",
            confidence="common_practice",
        )


def reserve_limits(ctx: StudyContext, case: Case) -> tuple[float, float, bool]:
    """Effective reserve asked for: ISO form, US rule, and whether the US one is held."""
    n = round(case.network.units)
    shuts = all(u.shut_off for u in ctx.plant.machines(GivesMilk))
    return (
        reserve_iso_l_min_free(n, shuts, ctx.rules),
        reserve_us_l_min_free(n, ctx.rules),
        us_rules(ctx),
    )


def _reserve(ctx: StudyContext, case: Case) -> None:
    has, manual = case.reserve.asked_l_min_free[0], case.manual.asked_l_min_free[0]
    iso, us, us_held = reserve_limits(ctx, case)
    fall = ctx.rule("vacuum.test.reserve_drop_kpa", "fall")
    for rule, wanted, held, known in (
        ("iso", iso, not us_held, "from_memory"),
        ("us", us, us_held, "read"),
    ):
        reading(
            ctx,
            f"effective_reserve_{rule}",
            f"Effective reserve (A1), {'ISO form' if rule == 'iso' else 'US rule'}",
            has,
            "L/min",
            f"{has:.0f} L/min can be let in at A1 before Vm falls by 2 kPa; {wanted:.0f} L/min is "
            f"required{'' if held else ' by a rule set not applied here, shown only'}.",
            limit=wanted if held else None,
            sense="at_least",
            formula="air at A1 that lowers Vm by 2 kPa",
            inputs=(fall, worked("n", "units", round(case.network.units))),
            source=ISO if rule == "iso" else "Cornell lecture 2018",
            confidence=known,
        )
    reading(
        ctx,
        "manual_reserve",
        "Manual reserve (A1)",
        manual,
        "L/min",
        f"With regulation shut off and the pumps flat out {manual:.0f} L/min can be let in at A1.",
        formula="as effective reserve, regulation out of use",
        inputs=(fall,),
    )
    loss = manual - has
    allowed = max(
        ctx.number("vacuum.regulation_loss_floor_l_min"),
        ctx.number("vacuum.regulation_loss_share") * manual,
    )
    cause = ""
    if loss > allowed:
        node, point = case.network.sense, case.network.milk_point
        gap = case.reserve.at(node) - case.reserve.at(point)
        cause = (
            f" Control senses at {case.network.nodes[node]}, where vacuum is still {gap:.1f} kPa "
            "higher than at the receiver: widen what lies between, or sense nearer the receiver."
            if gap > 0.5
            else " The regulator still admits air, or control has not called for full speed."
        )
    reading(
        ctx,
        "regulation_loss",
        "Regulation loss",
        loss,
        "L/min",
        f"{loss:.0f} L/min of the pumps' air is not called on at the effective reserve.{cause}",
        limit=allowed,
        formula="manual reserve - effective reserve <= max(35, 10 % of manual)",
        inputs=(
            ctx.rule("vacuum.regulation_loss_floor_l_min"),
            ctx.rule("vacuum.regulation_loss_share"),
        ),
    )


def _leakages(ctx: StudyContext, case: Case) -> None:
    manual = case.manual.asked_l_min_free[0]
    use = case.milking.use
    leak = max(
        ctx.number("vacuum.regulator_leak_floor_l_min"),
        ctx.number("vacuum.regulator_leak_share") * manual,
    )
    n = round(case.network.units)
    milk = ctx.number("vacuum.milk_leak_base_l_min")
    milk += n * ctx.number("vacuum.milk_leak_per_unit_l_min")
    floor = ctx.number("vacuum.regulator_leak_floor_l_min")
    for key, title, value, most, what in (
        (
            "regulator_leak",
            "Regulator leakage",
            floor * ctx.number("vacuum.leak_times.regulator"),
            leak,
            f"at most {leak:.0f} L/min is allowed",
        ),
        (
            "system_leak",
            "Vacuum-system leakage",
            use.system_leak,
            use.system_leak / max(1e-9, ctx.number("vacuum.leak_times.system")),
            "5 % of one pump's capacity is allowed",
        ),
        (
            "milk_leak",
            "Milk-system leakage",
            use.milk_leak,
            milk,
            "10 L/min and 2 L/min a unit are allowed",
        ),
    ):
        times = ctx.number(f"vacuum.leak_times.{key.removesuffix('_leak')}")
        assumed = (
            "The model uses the limit itself until a measured value takes its place."
            if times == 1.0
            else f"The model takes {times:.2g} times the limit, as was read."
        )
        reading(
            ctx, key, title, value, "L/min", f"{value:.0f} L/min is assumed; {what}. {assumed}",
            inputs=(worked("allowed", "most that is allowed", most, "L/min"),),
        )  # fmt: skip


def _drops(ctx: StudyContext, case: Case) -> None:
    network, state = case.network, case.reserve
    us = us_rules(ctx)
    vm = state.milk_vacuum_kpa
    rows: list[tuple[str, str, float, str, str]] = [
        (
            "regulator",
            "receiver to regulator (Vm to Vr)",
            state.at(network.regulation_point) - vm,
            "receiver_to_regulator",
            "",
        ),
    ]
    rows += [
        (
            "pump",
            "receiver to pump inlet (Vm to Vp)",
            p.inlet_vacuum_kpa - vm,
            "receiver_to_pump",
            p.name,
        )
        for p in state.pumps
        if p.speed > 0.0
    ]
    if network.pulses_at:
        milking = case.milking
        far = min(milking.at(n) for n, _ in network.pulses_at)
        rows.append(
            (
                "pulsator_line",
                "receiver to the far end of the pulsator line, in milking",
                milking.milk_vacuum_kpa - far,
                "pulsator_line",
                "",
            )
        )
    for key, words, drop, rule, subject in rows:
        for name, held in (("iso", not us), ("nmc", us)):
            limit = f"vacuum.{name}_drop_{rule}_kpa"
            given = ctx.rules[limit]
            reading(
                ctx,
                f"drop_{key}_{name}",
                f"Vacuum drop, {words}",
                max(0.0, drop),
                "kPa",
                f"{max(0.0, drop):.2f} kPa from {words}; {given.value:g} kPa is "
                f"{'allowed' if held else 'allowed by a rule set not applied here, shown only'}.",
                limit=limit if held else None,
                subject=subject,
                formula="difference of vacuum, effective reserve drawn at A1",
                source=ISO if name == "iso" else "US guide, 2004 revision",
                confidence=given.confidence,
            )


def _regulation(ctx: StudyContext, case: Case) -> None:
    fall, attach = case.runs.get("open_test"), case.runs.get("attach")
    if fall is not None:
        for key, title, value, advice in (
            (
                "fall_off_drop",
                "Fall-off vacuum drop",
                fall.before_kpa - fall.during_kpa,
                "add pump airflow, or a bigger bore where the worst drop is",
            ),
            ("undershoot", "Regulation undershoot", fall.undershoot_kpa, QUICKER),
            ("overshoot", "Regulation overshoot", fall.overshoot_kpa, "lower the control's gain"),
        ):
            allowed = ctx.number(f"vacuum.test.{key}_kpa")
            reading(
                ctx,
                key,
                title,
                max(0.0, value),
                "kPa",
                f"{fall.event.title}: Vm {fall.before_kpa:.1f} kPa before, "
                f"{fall.during_kpa:.1f} kPa during, "
                f"lowest {fall.least_kpa:.1f} kPa, highest {fall.most_kpa:.1f} kPa."
                + (f" To put it right: {advice}." if value > allowed else ""),
                limit=f"vacuum.test.{key}_kpa",
                formula="march in time at 5 ms",
                remedies=_mended(case, key) if value > allowed else (),
            )
    if attach is not None:
        reading(
            ctx,
            "attach_drop",
            "Attachment vacuum drop",
            attach.drop_kpa,
            "kPa",
            f"{attach.event.title}: Vm falls from {attach.before_kpa:.1f} to "
            f"{attach.least_kpa:.1f} kPa.",
            limit="vacuum.test.attach_drop_kpa",
            formula="march in time at 5 ms",
        )


def _mended(case: Case, key: str) -> tuple[Remedy, ...]:
    """Control set better for what it does late; more air for what is short for good."""
    if key != "fall_off_drop":
        return retuned(case)
    return more_air(case, 1.25, "with units held open the pumps' whole air is short")


def _sheet(found: Sequence[Finding]) -> Table:
    sign = {"at_least": "at least", "at_most": "at most", "informational": ""}
    return Table(
        "readings",
        "Predicted readings, to be compared with the instruments",
        ("test", "at", "predicted", "unit", "limit", "verdict", "source"),
        ("", "", "", "", "", "", ""),
        tuple(
            (
                f.title,
                f.subject,
                round(f.value or 0.0, 2),
                f.unit,
                f"{sign[f.sense]} {f.limit:g}" if f.limit is not None else "",
                f.verdict if f.limit is not None else "-",
                f"{f.source} ({f.confidence.replace('_', ' ')})",
            )
            for f in found
        ),
        "A dash: nothing to be held to. Limits from memory are marked so: check them against the "
        "standard's own text.",
    )
