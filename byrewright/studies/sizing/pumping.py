"""Pumps for water and wash: flow, head along their way, motor, and the bores on it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from byrewright.physics.pipeflow import (
    bore_for_velocity_mm,
    pump_power_kw,
    static_kpa,
    velocity_m_s,
)
from byrewright.plant.machine import Service
from byrewright.plant.plant import Pipe, lengths_from
from byrewright.plant.roles import GivesMilk, MovesWater, StoresMilk
from byrewright.standards.water import WATER_BORES_MM
from byrewright.studies.sizing.altitude import motors
from byrewright.studies.sizing.context import StudyContext
from byrewright.studies.sizing.network import Asked, Want, ports_to, serve
from byrewright.studies.sizing.sizes import (
    TIGHT,
    climb,
    next_motor_kw,
    next_round,
    spare,
    worked,
)
from byrewright.studies.sizing.steps import field, next_of
from byrewright.studies.sizing.suction import judge_wash_suction

SMALLEST_MOTOR_KW = 0.37
"""Smallest motor of a pump or of a drive unit (common practice)."""


@dataclass(frozen=True, slots=True)
class PumpDuty:
    """What a pump must serve, the flow of all that share it, and what the network asks of one."""

    what: str
    flow_l_min: float
    asked: Asked


def serves(ctx: StudyContext, pumps: Sequence[MovesWater], what: str,
           wants: Sequence[Want]) -> PumpDuty | None:  # fmt: skip
    """The duty of the first of some pumps that give all that is wanted; None out of reach."""
    found = serve(ctx, [p.id for p in pumps], wants) if wants else None
    return PumpDuty(what, found.l_min, found) if found is not None else None


def size_pump(ctx: StudyContext, pump: MovesWater, duties: Sequence[PumpDuty], key: str, alone: int,
              service: Service) -> None:  # fmt: skip
    """Flow, head and motor of one of `alone` pumps that share the duty, and its pipes' bores."""
    hardest = max(duties, key=lambda d: d.flow_l_min)
    flow = hardest.flow_l_min / alone
    ctx.find(
        f"{key}.flow", f"{pump.title}: flow", pump.flow_l_min, "L/min",
        f"{pump.id} gives {pump.flow_l_min:.0f} L/min; for {hardest.what} it must give "
        f"{flow:.0f} L/min "
        f"({spare(pump.flow_l_min, flow)}).",
        subject=pump.id, limit=round(flow, 1), sense="at_least", allowance=TIGHT,
        formula=f"q = max({', '.join(f'q_{i}' for i, _ in enumerate(duties, 1))}) / n",
        inputs=(*(worked(f"q_{i}", d.what, round(d.flow_l_min, 1), "L/min")
                  for i, d in enumerate(duties, 1)), worked("n", "pumps that share it", alone),
                field(pump, "flow_l_min")),
        source="practice", confidence="common_practice", advised=next_round(flow * (1 + TIGHT)),
        advised_why=f"{hardest.what}: {flow:.0f} L/min", target=(pump, "flow_l_min"),
    )  # fmt: skip
    _head(ctx, pump, duties, key)
    for pipe in ctx.plant.pipes:
        most = max(d.asked.pipes_l_min.get(pipe.id, 0.0) for d in duties)
        if most and ctx.plant.service_of(pipe) == service:
            water_bore(ctx, pipe, most, f"{key}.pipe")


def _head(ctx: StudyContext, pump: MovesWater, duties: Sequence[PumpDuty], key: str) -> None:
    worst = max(duties, key=lambda d: d.asked.head_m)
    at = worst.asked
    laid = lengths_from(p for p in ctx.plant.pipes if p.id in at.pipes_l_min)
    ctx.find(
        f"{key}.head", f"{pump.title}: head", pump.head_m, "m",
        f"{pump.id} gives {pump.head_m:g} m; for {worst.what} it needs {climb(at.rise_m)}, "
        f"{at.friction_kpa:.0f} kPa of friction, {at.losses_kpa:.0f} kPa in machines and "
        f"{at.end_kpa:.0f} kPa at the end ({at.goal}): {at.head_m:.1f} m "
        f"({spare(pump.head_m, at.head_m)}).",
        subject=pump.id, limit=round(at.head_m, 2), sense="at_least", allowance=TIGHT,
        formula="H = z + (p_friction + p_machines + p_end)/(rho g), friction f l/d rho v^2/2",
        inputs=(worked("q", worst.what, round(at.l_min, 1), "L/min"),
                worked("z", "rise of the pipes, and level", at.rise_m, "m", laid),
                worked("p_friction", "friction", round(at.friction_kpa, 2), "kPa", laid),
                worked("p_machines", "filter, cooler, valves", round(at.losses_kpa, 2), "kPa"),
                worked("p_end", "pressure wanted at the end", at.end_kpa, "kPa"),
                worked("mu", "viscosity of its liquid", round(at.viscosity_mpa_s, 2), "mPa.s"),
                ctx.rule("pipe.roughness_stainless_mm")),
        source="practice", confidence="from_memory",
        advised=float(math.ceil(at.head_m * (1 + TIGHT))),
        advised_why=f"{worst.what}: {at.head_m:.1f} m, whole metres", target=(pump, "head_m"),
    )  # fmt: skip
    shaft = pump_power_kw(pump.flow_l_min, static_kpa(pump.head_m, at.density_kg_m3),
                          ctx.number("pump.efficiency"))  # fmt: skip
    air = motors(ctx)
    kw = air.rating(shaft * ctx.number("motor.service_margin"))
    ctx.find(
        f"{key}.motor", f"{pump.title}: motor", pump.motor_kw, "kW",
        f"{pump.id}: {pump.motor_kw:g} kW; {kw:.2f} kW are needed for {pump.flow_l_min:.0f} L/min "
        f"at {pump.head_m:g} m ({spare(pump.motor_kw, kw)}).{air.words}",
        subject=pump.id, limit=round(kw, 3), sense="at_least",
        formula=f"P = k q rho g H / eta{air.over}",
        inputs=(field(pump, "flow_l_min", "q"), field(pump, "head_m", "H"),
                ctx.rule("pump.efficiency", "eta"), ctx.rule("motor.service_margin", "k"),
                *air.inputs),
        source="definition", confidence="derived", advised=next_motor_kw(
            max(kw, SMALLEST_MOTOR_KW), ctx.plant.site.region),
        advised_why=f"{kw:.2f} kW at its flow and head", target=(pump, "motor_kw"),
    )  # fmt: skip


def water_bore(ctx: StudyContext, pipe: Pipe, flow: float, key: str) -> None:
    """Judge the velocity in a pipe once; the advised bore is the next that keeps it usual."""
    if any(f.key == key and f.subject == pipe.id and (f.value or 0) >= velocity_m_s(
            flow, pipe.bore_mm) - 1e-9 for f in ctx.notes.findings):  # fmt: skip
        return
    ctx.notes.findings[:] = [
        f for f in ctx.notes.findings if not (f.key == key and f.subject == pipe.id)
    ]
    rule = ctx.rules["pipe.velocity_water_m_s"]
    most = rule.value if rule.high is None else rule.high
    has = velocity_m_s(flow, pipe.bore_mm)
    advised = next_of(bore_for_velocity_mm(flow, rule.value), WATER_BORES_MM)
    ctx.find(
        key, "Water pipe", round(has, 3), "m/s",
        f"{pipe.id} of {pipe.bore_mm:g} mm carries {flow:.0f} L/min at {has:.2f} m/s; at most "
        f"{most:g} m/s keeps noise, hammer and friction down.",
        subject=pipe.id, limit=most, sense="at_most", allowance=TIGHT, formula="v = q/(pi/4 d^2)",
        inputs=(worked("q", "flow", round(flow, 1), "L/min"),
                worked("d", "bore", pipe.bore_mm, "mm"), ctx.rule("pipe.velocity_water_m_s")),
        source=rule.source, confidence=rule.confidence, advised=advised,
        advised_why=f"{flow:.0f} L/min at {rule.value:g} m/s or less", target=(pipe.id, "bore_mm"),
    )  # fmt: skip


def wash_pumps(ctx: StudyContext, units_flow: float) -> None:
    """Pumps that push wash to the units or to a tank's spray."""
    plant = ctx.plant
    count = sum(m.count for m in plant.machines(GivesMilk))
    spray, kpa = ctx.number("wash.spray_l_min"), ctx.number("wash.spray_kpa")
    for pump in plant.machines(MovesWater):
        units = [
            Want(n, units_flow * plant.equipment[n.machine].count / count,
                 ctx.number("wash.jetter_kpa"))
            for n in ports_to(ctx, pump.id, [m.id for m in plant.machines(GivesMilk)])
        ]  # fmt: skip
        tanks = [
            one for n in ports_to(ctx, pump.id, [m.id for m in plant.machines(StoresMilk)])
            if (one := serves(ctx, [pump], "the spray of a tank", [Want(n, spray, kpa)]))
        ]  # fmt: skip
        washing = serves(ctx, [pump], "washing all units", units)
        duties = [washing] if washing is not None else tanks
        if duties:
            key = "wash.pump" if washing is not None else "wash.tank_pump"
            size_pump(ctx, pump, duties, key, 1, "wash")
            judge_wash_suction(ctx, pump, [one.asked for one in duties])
