"""Air that milking and washing ask of the vacuum pumps, by each rule set."""

from __future__ import annotations

from dataclasses import dataclass

from byrewright.physics.air import (
    PumpCapacity,
    pump_capacity,
    pump_correction,
    pump_us_l_min_free,
    reserve_iso_l_min_free,
    reserve_us_l_min_free,
    slug_air_l_min_free,
)
from byrewright.plant.plant import Plant
from byrewright.plant.roles import CollectsMilk, GivesMilk, Pulsates
from byrewright.standards.cooling import lies_in
from byrewright.studies.sizing.context import StudyContext
from byrewright.studies.sizing.duty import Duty
from byrewright.studies.sizing.sizes import stated, worked

ISO_FORMULA = "q_pump = H (q_man + n q_unit + q_anc + 10 + 2 n) / (1 - 0.05)"
US_FORMULA = "q_pump = H_50 (35 + 3 n) cfm"
WASH_FORMULA = "q_wash = H (pi/4 d^2 v (p_a - p)/p_a + n q_jet + n q_puls + 10 + 2 n) / (1 - 0.05)"
RATED_VACUUM_KPA = 50.0


def us_rules(ctx: StudyContext) -> bool:
    """Whether the US rule set is the one held (never mixed with the ISO form)."""
    return lies_in(ctx.plant.site.region, "US")


@dataclass(frozen=True, slots=True)
class AirUse:
    """Free air that parts of the plant take in steady milking, L/min."""

    pulsators: float
    claws: float
    shut_off: bool

    @property
    def all_units(self) -> float:
        """Pulsators and claws together."""
        return self.pulsators + self.claws


def air_use(ctx: StudyContext, duty: Duty) -> AirUse:
    """Pulsation and claw air of all units, from data plates or typical values."""
    plant = ctx.plant
    pulsators, units = plant.machines(Pulsates), plant.machines(GivesMilk)
    if pulsators:
        pulse = sum(p.count * p.air_l_min_free for p in pulsators)
    else:
        pulse = duty.units * ctx.number("vacuum.pulsator_air_l_min")
    if units:
        claw = sum(u.count * u.claw_air_l_min_free for u in units)
    else:
        claw = duty.units * ctx.number("vacuum.claw_air_l_min")
    return AirUse(pulse, claw, all(u.shut_off for u in units))


@dataclass(frozen=True, slots=True)
class Demand:
    """Pump capacity asked for, L/min of free air at nominal conditions unless it says inlet."""

    iso: PumpCapacity
    us_l_min: float
    wash_l_min: float
    wash_at_inlet_l_min: float
    held: str
    needed_l_min: float
    governs: str
    steady_at_inlet_l_min: float


def at_pump_kpa(ctx: StudyContext, duty: Duty) -> float:
    """Vacuum at the pump: that at the receiver and the drop that the rules allow between them."""
    held = "vacuum.nmc_drop" if us_rules(ctx) else "vacuum.iso_drop"
    return duty.working_vacuum_kpa + ctx.number(f"{held}_receiver_to_pump_kpa")


def demand(ctx: StudyContext, duty: Duty) -> Demand:
    """What milking (both rule sets) and washing ask of the pumps; the larger governs."""
    air, rules = air_use(ctx, duty), ctx.rules
    p, pa, n = duty.working_vacuum_kpa, duty.pressure_kpa_abs, duty.units
    iso = pump_capacity(
        units=n,
        unit_air_l_min_free=air.all_units / n,
        effective_reserve_l_min_free=reserve_iso_l_min_free(n, air.shut_off, rules),
        pump_vacuum_kpa=at_pump_kpa(ctx, duty),
        correction=pump_correction(at_pump_kpa(ctx, duty), pa, rules),
        ambient_kpa_abs=pa,
        rules=rules,
    )
    us = pump_us_l_min_free(n, rules) * max(1.0, pump_correction(RATED_VACUUM_KPA, pa, rules))
    slug = slug_air_l_min_free(
        _milkline_bore_mm(ctx), rules.number("wash.slug_velocity_m_s"), p, pa
    )
    pulse = air.pulsators if _pulsators_run_in_wash(ctx) else 0.0
    jets = n * rules.number("wash.unit_air_l_min")
    inlet = (slug + jets + pulse + iso.milk_leakage_l_min_free) / (
        1.0 - rules.number("vacuum.system_leak_share")
    )
    wash = inlet * iso.altitude_factor
    us_held = us_rules(ctx)
    milking = us if us_held else iso.nominal_l_min_free
    return Demand(
        iso=iso,
        us_l_min=us,
        wash_l_min=wash,
        wash_at_inlet_l_min=inlet,
        held="US rule" if us_held else "ISO form",
        needed_l_min=max(milking, wash),
        governs="washing" if wash > milking else "milking",
        steady_at_inlet_l_min=(air.all_units + iso.milk_leakage_l_min_free)
        / (1.0 - rules.number("vacuum.system_leak_share")),
    )


def _milkline_bore_mm(ctx: StudyContext) -> float:
    return max((m.bore_mm for m in ctx.plant.machines(CollectsMilk)), default=73.0)


def _pulsators_run_in_wash(ctx: StudyContext) -> bool:
    plant = ctx.plant
    washing = [name for name, mode in plant.modes.items() if "wash" in mode.does]
    pulsators = plant.machines(Pulsates)
    return not (washing and pulsators) or any(
        plant.position(mode, p.id) == "runs" for mode in washing for p in pulsators
    )


def say_demands(ctx: StudyContext, duty: Duty, need: Demand) -> None:
    """Write down the three demands: ISO form, US rule, washing."""
    iso, n = need.iso, duty.units
    held = "the rule set applied here" if not us_rules(ctx) else "shown only: the US rule is held"
    ctx.find(
        "vacuum.demand.iso",
        "Vacuum pump capacity for milking, ISO form",
        iso.nominal_l_min_free,
        "L/min free",
        f"Milking with {n} units needs {iso.nominal_l_min_free:.0f} L/min of free air at "
        f"nominal conditions by the ISO form ({held}).",
        formula=ISO_FORMULA,
        inputs=(
            worked(
                "q_res",
                "effective reserve",
                iso.effective_reserve_l_min_free,
                "L/min free",
                "ISO 5707:2007 Annex A, from memory",
            ),
            worked(
                "q_man",
                "manual reserve, with regulation loss",
                iso.manual_reserve_l_min_free,
                "L/min free",
            ),
            stated("n", "milking units", n),
            worked("n q_unit", "air of pulsators and claws", iso.units_l_min_free, "L/min free"),
            worked(
                "q_anc",
                "equipment drawing air all the time",
                iso.ancillary_l_min_free,
                "L/min free",
                "none of this plant's machines does; brief users are left to the reserve",
            ),
            worked("10 + 2 n", "milk-system leakage", iso.milk_leakage_l_min_free, "L/min free"),
            ctx.rule("vacuum.system_leak_share", "0.05"),
            worked(
                "p",
                "vacuum at the pump, with the drop allowed",
                at_pump_kpa(ctx, duty),
                "kPa",
            ),
            worked("p_a", "ambient pressure from altitude", round(duty.pressure_kpa_abs, 2), "kPa"),
            worked("H", "altitude and vacuum correction", round(iso.altitude_factor, 3)),
        ),
        source="iso5707",
        confidence="from_memory",
    )
    most = ctx.number("vacuum.pump.us.adequate_to_units")
    beyond = (
        (
            f" The rule is said to be adequate up to {most:.0f} units, so it is carried beyond "
            "its range here."
        )
        if n > most
        else ""
    )
    ctx.find(
        "vacuum.demand.us",
        "Vacuum pump capacity for milking, US rule",
        need.us_l_min,
        "L/min free",
        f"The US rule needs {need.us_l_min:.0f} L/min of free air and an effective reserve of "
        f"{reserve_us_l_min_free(n, ctx.rules):.0f} L/min at the receiver "
        f"({'the rule set applied here' if us_rules(ctx) else 'shown only: the ISO form is held'})."
        + beyond,
        formula=US_FORMULA,
        inputs=(
            ctx.rule("vacuum.pump.us.base_cfm", "35"),
            ctx.rule("vacuum.pump.us.per_unit_cfm", "3"),
            stated("n", "milking units", n),
            worked("p_a", "ambient pressure from altitude", round(duty.pressure_kpa_abs, 2), "kPa"),
            worked(
                "H_50",
                "altitude correction at 50 kPa, never below 1",
                round(
                    max(1.0, pump_correction(RATED_VACUUM_KPA, duty.pressure_kpa_abs, ctx.rules)), 3
                ),
            ),
        ),
        source="us_extension_vacuum",
        confidence="read",
    )
    ctx.find(
        "vacuum.demand.wash",
        "Vacuum pump capacity for washing",
        need.wash_l_min,
        "L/min free",
        f"Washing the {_milkline_bore_mm(ctx):g} mm milkline with slugs needs "
        f"{need.wash_l_min:.0f} L/min of free air; {need.governs} sets the size of the pumps.",
        formula=WASH_FORMULA,
        inputs=(
            stated("d", "milkline bore", _milkline_bore_mm(ctx), "mm"),
            ctx.rule("wash.slug_velocity_m_s", "v"),
            ctx.rule("wash.unit_air_l_min", "q_jet"),
            stated("n", "milking units", n),
            worked(
                "n q_puls",
                "pulsation in the wash",
                air_use(ctx, duty).pulsators if _pulsators_run_in_wash(ctx) else 0.0,
                "L/min free",
            ),
            worked("10 + 2 n", "milk-system leakage", iso.milk_leakage_l_min_free, "L/min free"),
            ctx.rule("vacuum.system_leak_share", "0.05"),
            worked("p", "working vacuum, set or assumed", duty.working_vacuum_kpa, "kPa"),
            worked("p_a", "ambient pressure from altitude", round(duty.pressure_kpa_abs, 2), "kPa"),
            worked("H", "altitude and vacuum correction", round(need.iso.altitude_factor, 3)),
        ),
        source="geometry and Boyle's law; one slug at a time",
        confidence="derived",
    )


def together(plant: Plant, pumps: tuple[str, ...]) -> tuple[str, ...]:
    """The pumps that run in the first milking mode; all of them where none is named."""
    for name, mode in plant.modes.items():
        if "milking" in mode.does:
            running = tuple(p for p in pumps if plant.position(name, p) == "runs")
            return running or pumps
    return pumps
