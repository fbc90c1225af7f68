"""Readings that follow from data plates and settings: pulsation, interceptor, trap, clusters."""

from __future__ import annotations

from byrewright.physics.airflow import pulsation_phases_ms
from byrewright.plant.roles import GivesMilk, Pulsates, SharesVacuum, TrapsLiquid
from byrewright.studies.sizing.context import StudyContext
from byrewright.studies.sizing.sizes import listed, stated
from byrewright.studies.vacuum.case import Case
from byrewright.studies.vacuum.reading import reading


def pulsation(ctx: StudyContext, case: Case) -> None:
    """Rate, ratio and phases of each pulsator at the least vacuum that it sees."""
    network = case.network
    least = min((case.milking.at(n) for n, _ in network.pulses_at), default=network.set_vacuum_kpa)
    rise, fall = ctx.number("vacuum.pulse_rise_ms"), ctx.number("vacuum.pulse_fall_ms")
    for pulsator in ctx.plant.machines(Pulsates):
        a, b, c, d = pulsation_phases_ms(
            pulsator.rate_per_min,
            pulsator.ratio_pct,
            least,
            rise,
            fall,
            ctx.number("vacuum.test.phase_d_vacuum_kpa"),
        )
        cycle = a + b + c + d
        shares = ", ".join(
            f"{name} {t:.0f} ms ({100 * t / cycle:.0f} %)"
            for name, t in zip("abcd", (a, b, c, d), strict=True)
        )
        inputs = (
            stated("", "rate", pulsator.rate_per_min, "1/min", pulsator.id),
            stated("", "ratio set", pulsator.ratio_pct, "%", pulsator.id),
            ctx.rule("vacuum.pulse_rise_ms"),
            ctx.rule("vacuum.pulse_fall_ms"),
        )
        says = f"{pulsator.id}: {pulsator.rate_per_min:g} a minute, phases {shares}."
        ratio = 100.0 * (a + b) / cycle
        for key, title, value, unit, limit, sense in (
            (
                "pulsation_rate",
                "Pulsation rate",
                pulsator.rate_per_min,
                "1/min",
                None,
                "informational",
            ),
            (
                "pulsator_ratio",
                "Pulsator ratio away from its setting",
                abs(ratio - pulsator.ratio_pct),
                "%",
                "vacuum.test.pulsator_ratio_points",
                "at_most",
            ),
            (
                "phase_b",
                "Phase b",
                100.0 * b / cycle,
                "%",
                "vacuum.test.phase_b_least_pct",
                "at_least",
            ),
            (
                "phase_d",
                "Phase d",
                100.0 * d / cycle,
                "%",
                "vacuum.test.phase_d_least_pct",
                "at_least",
            ),
            ("phase_d_ms", "Phase d, time", d, "ms", "vacuum.test.phase_d_least_ms", "at_least"),
        ):
            reading(
                ctx,
                key,
                title,
                value,
                unit,
                says,
                limit=limit,
                sense=sense,  # type: ignore[arg-type]
                subject=pulsator.id,
                inputs=inputs,
                formula="chamber follows the pulsator exponentially",
            )


def parts(ctx: StudyContext) -> None:
    """Volumes of interceptor and trap, air admission of clusters."""
    plant = ctx.plant
    for tank in plant.machines(SharesVacuum):
        reading(
            ctx,
            "interceptor",
            "Interceptor volume",
            tank.volume_l,
            "L",
            f"{tank.id} holds {tank.volume_l:g} L.",
            limit="vacuum.interceptor_least_l",
            sense="at_least",
            subject=tank.id,
        )
    for trap in plant.machines(TrapsLiquid):
        reading(
            ctx,
            "sanitary_trap",
            "Sanitary trap volume",
            trap.volume_l,
            "L",
            f"{trap.id} holds {trap.volume_l:g} L.",
            limit="vacuum.sanitary_trap_least_l",
            sense="at_least",
            subject=trap.id,
        )
    for units in plant.machines(GivesMilk):
        air = units.claw_air_l_min_free
        reading(
            ctx,
            "claw_air_least",
            "Cluster air admission, least",
            air,
            "L/min",
            f"{listed([units.id])}: {air:g} L/min at each claw.",
            limit="vacuum.claw_air_least_l_min",
            sense="at_least",
            subject=units.id,
            confidence="second_hand",
        )
        reading(
            ctx,
            "claw_air_most",
            "Cluster air admission, most",
            air,
            "L/min",
            f"{listed([units.id])}: {air:g} L/min at each claw.",
            limit="vacuum.claw_air_most_l_min",
            subject=units.id,
            confidence="second_hand",
        )
