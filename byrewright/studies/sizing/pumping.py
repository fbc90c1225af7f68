"""Pumps for water and wash: flow, head along their way, motor, and the bores on it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from byrewright.physics.air import equivalent_length_m
from byrewright.physics.pipeflow import (
    bore_for_velocity_mm,
    drop_kpa,
    pump_power_kw,
    static_kpa,
    velocity_m_s,
)
from byrewright.plant.graph import Edge
from byrewright.plant.machine import Service
from byrewright.plant.plant import Pipe, lengths_from
from byrewright.plant.roles import (
    BuffersWater,
    CoolsMilk,
    FiltersWater,
    GivesMilk,
    IsValve,
    MovesWater,
    StoresMilk,
)
from byrewright.standards.water import WATER_BORES_MM
from byrewright.studies.sizing.altitude import motor_kw
from byrewright.studies.sizing.context import StudyContext
from byrewright.studies.sizing.network import Asked
from byrewright.studies.sizing.paths import Ways, ways_of
from byrewright.studies.sizing.sizes import (
    TIGHT,
    next_motor_kw,
    next_round,
    spare,
    worked,
)
from byrewright.studies.sizing.steps import field, next_of

WATER_KG_M3 = 1000.0
SMALLEST_MOTOR_KW = 0.37
"""Smallest motor of a pump of this kind (common practice)."""


@dataclass(frozen=True, slots=True)
class PumpDuty:
    """A place a pump must serve: flow, pressure wanted there, and the way to it."""

    what: str
    flow_l_min: float
    kpa: float
    joints: tuple[Edge, ...]
    density_kg_m3: float = WATER_KG_M3
    viscosity_mpa_s: float = 1.0
    drop_share: float = 1.0
    """Drop in machines against that of water."""
    asked: Asked | None = None
    """What the solved network asks in the hardest mode, where it was asked."""

    def pipes(self) -> tuple[Pipe, ...]:
        """The pipes passed."""
        return tuple(j.pipe for j in self.joints if j.pipe is not None)


def duty_to(
    ways: Ways, pump: MovesWater, goals: Sequence[str], what: str, flow: float, kpa: float
) -> PumpDuty | None:
    """The duty of a pump to the farthest of some machines; nothing where it reaches none.

    A way through a water tank is not the pump's: what leaves the tank is another's work.
    """
    stores = {t.id for t in ways.plant.machines(BuffersWater)}
    found = [
        joints
        for goal in goals
        if (joints := ways.between(pump.id, goal)) and not any(j.machine in stores for j in joints)
    ]
    return PumpDuty(what, flow, kpa, max(found, key=len)) if found else None


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
        source="practice", known="common_practice", advised=next_round(flow * (1 + TIGHT)),
        advised_why=f"{hardest.what}: {flow:.0f} L/min", target=(pump, "flow_l_min"),
    )  # fmt: skip
    _head(ctx, pump, duties, key)
    for duty in duties:
        for pipe in duty.pipes():
            if ctx.plant.service_of(pipe) == service:
                water_bore(ctx, pipe, duty.flow_l_min, f"{key}.pipe")


def _head(ctx: StudyContext, pump: MovesWater, duties: Sequence[PumpDuty], key: str) -> None:
    heads = [(head_m(ctx, duty), duty) for duty in duties]
    need, worst = max(heads, key=lambda one: one[0])
    friction, losses, rise = _parts(ctx, worst)
    end = 0.0 if worst.asked is not None else worst.kpa
    laid = lengths_from(worst.pipes())
    ctx.find(
        f"{key}.head", f"{pump.title}: head", pump.head_m, "m",
        f"{pump.id} gives {pump.head_m:g} m; for {worst.what} it needs {rise:.1f} m of rise, "
        f"{friction:.0f} kPa of friction, {losses:.0f} kPa in machines and {end:.0f} kPa "
        f"at the end: {need:.1f} m ({spare(pump.head_m, need)}).",
        subject=pump.id, limit=round(need, 2), sense="at_least", allowance=TIGHT,
        formula="H = z + (p_friction + p_machines + p_end)/(rho g), friction f l/d rho v^2/2",
        inputs=(worked("q", worst.what, round(worst.flow_l_min, 1), "L/min"),
                worked("z", "rise of the pipes", rise, "m", laid),
                worked("p_friction", "friction", round(friction, 2), "kPa", laid),
                worked("p_machines", "filter, control valve, cooler", losses, "kPa"),
                worked("p_end", "pressure wanted at the end", end, "kPa"),
                worked("mu", "viscosity of its liquid", round(worst.viscosity_mpa_s, 2), "mPa.s"),
                ctx.rule("pipe.roughness_stainless_mm")),
        source="practice", known="from_memory", advised=float(math.ceil(need * (1 + TIGHT))),
        advised_why=f"{worst.what}: {need:.1f} m, whole metres", target=(pump, "head_m"),
    )  # fmt: skip
    shaft = pump_power_kw(pump.flow_l_min, static_kpa(pump.head_m, worst.density_kg_m3),
                          ctx.number("pump.efficiency"))  # fmt: skip
    kw = motor_kw(ctx, shaft * ctx.number("motor.service_margin"))
    ctx.find(
        f"{key}.motor", f"{pump.title}: motor", pump.motor_kw, "kW",
        f"{pump.id}: {pump.motor_kw:g} kW; {kw:.2f} kW are needed for {pump.flow_l_min:.0f} L/min "
        f"at {pump.head_m:g} m ({spare(pump.motor_kw, kw)}).",
        subject=pump.id, limit=round(kw, 3), sense="at_least", formula="P = k q rho g H / eta",
        inputs=(field(pump, "flow_l_min", "q"), field(pump, "head_m", "H"),
                ctx.rule("pump.efficiency", "eta"), ctx.rule("motor.service_margin", "k")),
        source="definition", known="derived", advised=next_motor_kw(max(kw, SMALLEST_MOTOR_KW)),
        advised_why=f"{kw:.2f} kW at its flow and head", target=(pump, "motor_kw"),
    )  # fmt: skip


def head_m(ctx: StudyContext, duty: PumpDuty) -> float:
    """Head that a duty asks of its pump, m of its liquid."""
    friction, losses, rise = _parts(ctx, duty)
    end = 0.0 if duty.asked is not None else duty.kpa
    return rise + (friction + losses + end) / static_kpa(1.0, duty.density_kg_m3)


def _parts(ctx: StudyContext, duty: PumpDuty) -> tuple[float, float, float]:
    """Friction and losses in machines, kPa, and rise, m: of the network, else of the pipes."""
    if duty.asked is not None:
        return duty.asked.friction_kpa, duty.asked.losses_kpa, duty.asked.rise_m
    rough = ctx.number("pipe.roughness_stainless_mm")
    friction = sum(
        drop_kpa(duty.flow_l_min,
                 equivalent_length_m(p.bore_mm, p.length_m, p.fittings, ctx.rules),
                 p.bore_mm, duty.density_kg_m3, duty.viscosity_mpa_s, rough)
        for p in duty.pipes()
    )  # fmt: skip
    passed = dict.fromkeys(j.machine for j in duty.joints if j.machine is not None)
    ends = {n.machine for n in (duty.joints[-1].a, duty.joints[-1].b)} if duty.joints else set()
    losses = duty.drop_share * sum(
        _loss_kpa(ctx, m) for m in (*passed, *(e for e in ends if e not in passed))
    )
    return friction, losses, sum(p.rise_m for p in duty.pipes())


def _loss_kpa(ctx: StudyContext, machine_id: str) -> float:
    machine = ctx.plant.equipment[machine_id]
    if isinstance(machine, FiltersWater):
        return ctx.number("water.filter_drop_kpa")
    if isinstance(machine, CoolsMilk):
        return ctx.number("water.cooler_drop_kpa")
    if isinstance(machine, IsValve) and machine.duty == "control":
        return ctx.number("water.control_valve_kpa")
    return 0.0


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
        source=rule.source, known=rule.known, advised=advised,
        advised_why=f"{flow:.0f} L/min at {rule.value:g} m/s or less", target=(pipe.id, "bore_mm"),
    )  # fmt: skip


def wash_pumps(ctx: StudyContext, units_flow: float) -> None:
    """Pumps that push wash to the units or to a tank's spray."""
    ways = ways_of(ctx.plant, "wash", directed=True)
    spray, kpa = ctx.number("wash.spray_l_min"), ctx.number("wash.spray_kpa")
    for pump in ctx.plant.machines(MovesWater):
        units = duty_to(ways, pump, [m.id for m in ctx.plant.machines(GivesMilk)],
                        "washing all units", units_flow,
                        ctx.number("wash.jetter_kpa"))  # fmt: skip
        tanks = duty_to(ways, pump, [m.id for m in ctx.plant.machines(StoresMilk)],
                        "the spray of a tank", spray, kpa)  # fmt: skip
        if units is not None:
            size_pump(ctx, pump, [units], "wash.pump", 1, "wash")
        elif tanks is not None:
            size_pump(ctx, pump, [tanks], "wash.tank_pump", 1, "wash")
