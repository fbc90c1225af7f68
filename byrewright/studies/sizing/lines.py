"""Lines that no pump's delivery covers: outlets and suction, collection, wash return, air."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from byrewright.physics.pipeflow import bore_for_velocity_mm, velocity_m_s
from byrewright.plant.graph import Edge
from byrewright.plant.plant import Pipe
from byrewright.plant.roles import (
    BalancesMilk,
    CollectsMilk,
    GivesWater,
    InjectsAir,
    IsValve,
    LoadsTankers,
    MakesUpWash,
    MovesMilk,
    ReceivesMilk,
    StoresMilk,
)
from byrewright.results import Input
from byrewright.standards.compressed_air import AIR_BORES_MM, LEAST_AIR_BORE_MM
from byrewright.standards.pipes import dairy_tubes
from byrewright.studies.sizing.context import StudyContext
from byrewright.studies.sizing.delivery import tube_for
from byrewright.studies.sizing.duty import Duty
from byrewright.studies.sizing.network import net_of
from byrewright.studies.sizing.pumping import water_bore
from byrewright.studies.sizing.receiving import balance_pumps, wash_flow_l_min
from byrewright.studies.sizing.sizes import TIGHT, stated, worked
from byrewright.studies.sizing.steps import next_of

KPA_PER_BAR = 100.0
WIDER = 1.2
"""Bore behind an air injector over its opening (our choice)."""


def size_lines(ctx: StudyContext, duty: Duty) -> None:
    """Bores of milkline outlets, milk suction, collection lines, wash return, source pipe."""
    for source in ctx.plant.machines(GivesWater):
        for pipe in ctx.plant.pipes_at(source.id):
            water_bore(ctx, pipe, source.flow_l_min, "water.source_pipe")
    _outlets(ctx)
    _suction(ctx, duty)
    _collection(ctx)
    _wash_return(ctx, duty)
    _injector_air(ctx)
    _uneven(ctx)


def _uneven(ctx: StudyContext) -> None:
    """Rises that contradict each other round a ring, or between two ways from vessel to vessel."""
    net = net_of(ctx)
    _, uneven = net.heights_in(net.opened(net.every_way(), ()))
    for tag in sorted(set(uneven)):
        ctx.find(
            "lines.rise", "Rises that close a ring", None, "m",
            f"Round the ring that {tag} closes the rises do not come back to nil: heads are worked "
            f"out as if {tag} rose by what the others leave. State the rise of each pipe of it.",
            subject=tag, formula="sum of rises round a ring = 0", source="definition",
            confidence="derived", missing=("rises that agree",),
        )  # fmt: skip


def _outlets(ctx: StudyContext) -> None:
    """What leads from a milkline to its receiver is as wide as the line: milk and air flow on."""
    for line in ctx.plant.machines(CollectsMilk):
        for pipe in ctx.plant.pipes_at(line.id):
            if not pipe.start.startswith(f"{line.id}.receiver_"):
                continue
            ctx.find(
                "receiving.milkline_outlet", "Milkline to receiver", pipe.bore_mm, "mm",
                f"{pipe.id} leads from {line.id} to the receiver in {pipe.bore_mm:g} mm; the "
                f"line is {line.bore_mm:g} mm, and a narrower outlet would hold milk back in it.",
                subject=pipe.id, limit=line.bore_mm, sense="at_least",
                formula="d_outlet >= d_milkline",
                inputs=(stated("d_outlet", "outlet", pipe.bore_mm, "mm"),
                        stated("d_milkline", "milkline", line.bore_mm, "mm")),
                source="practice", confidence="common_practice", advised=line.bore_mm,
                advised_why="as the milkline", target=(pipe.id, "bore_mm"),
            )  # fmt: skip


def _suction(ctx: StudyContext, duty: Duty) -> None:
    """Pipes between a vessel and the pump that empties it."""
    plant = ctx.plant
    behind = {p.id: tank for tank, pumps in balance_pumps(ctx).items() for p in pumps}
    receivers = [r.id for r in plant.machines(ReceivesMilk)]
    wash = wash_flow_l_min(ctx, duty)
    for pump in plant.machines(MovesMilk):
        vessels = [behind[pump.id]] if pump.id in behind else receivers
        flow = duty.milk_flow_peak_l_min
        what = "peak minute of milk"
        if pump.id not in behind and wash > flow:
            flow, what = wash, "wash water of all units"
        for vessel in vessels:
            edges = net_of(ctx).way(vessel, pump.id)
            if not _passes(ctx, edges, (MovesMilk, BalancesMilk, ReceivesMilk), (vessel, pump.id)):
                _tubes(ctx, _pipes(edges), "receiving.suction", "Milk pump suction",
                       "delivery.velocity_suction_m_s", flow, what)  # fmt: skip


def _collection(ctx: StudyContext) -> None:
    """From each tank's outlet to the tanker bay at the rate at which a tanker is loaded."""
    for bay in ctx.plant.machines(LoadsTankers):
        for tank in ctx.plant.machines(StoresMilk):
            _tubes(ctx, _pipes(net_of(ctx).way(tank.id, bay.id)), "storage.collection_line",
                   "Collection line", "delivery.velocity_collection_m_s", bay.load_l_min,
                   "rate at which a tanker is loaded")  # fmt: skip


def _wash_return(ctx: StudyContext, duty: Duty) -> None:
    """From the valve that parts wash from milk back to the trough, or to drain."""
    plant = ctx.plant
    flow = wash_flow_l_min(ctx, duty)
    slowest = [p.flow_l_min for pumps in balance_pumps(ctx).values() for p in pumps]
    if slowest:
        flow = min(flow, max(slowest))
    back = [p for t in plant.machines(MakesUpWash) for p in plant.pipes_at(t.id)
            if p.end.startswith(f"{t.id}.return_")]  # fmt: skip
    found: dict[str, Pipe] = {}
    while back:
        pipe = back.pop()
        if pipe.id in found or plant.service_of(pipe) == "milk":
            continue
        found[pipe.id] = pipe
        for end in (pipe.start, pipe.end):
            machine = plant.equipment.get(end.partition(".")[0])
            if isinstance(machine, IsValve):
                back += plant.pipes_at(machine.id)
    _tubes(ctx, [found[name] for name in sorted(found)], "wash.return_line", "Wash return",
           "delivery.velocity_milk_m_s", flow, "wash water that comes back")  # fmt: skip


def _pipes(edges: Iterable[Edge]) -> list[Pipe]:
    return [j.pipe for j in edges if j.pipe is not None]


def _passes(
    ctx: StudyContext, edges: Sequence[Edge], kinds: tuple[type, ...], ends: tuple[str, str]
) -> bool:
    """Whether a way leads through another machine of these kinds (it is then another's)."""
    return any(
        j.machine not in (None, *ends)
        and isinstance(ctx.plant.equipment.get(j.machine or ""), kinds)
        for j in edges
    )


def _tubes(
    ctx: StudyContext,
    pipes: Sequence[Pipe],
    key: str,
    title: str,
    rule: str,
    flow: float,
    what: str,
) -> None:
    """Judge the velocity in dairy tubes once each, and advise the next tube for the usual one."""
    wished = ctx.rules[rule]
    most = wished.value if wished.high is None else wished.high
    tubes = dairy_tubes(ctx.plant.site.region)
    done = {f.subject for f in ctx.notes.findings if f.key == key}
    for pipe in pipes:
        if pipe.id in done:
            continue
        has = velocity_m_s(flow, pipe.bore_mm)
        ctx.find(
            key, title, has, "m/s",
            f"{pipe.id} ({pipe.bore_mm:g} mm) carries {flow:.0f} L/min at {has:.2f} m/s "
            f"({what}); {wished.value:g} m/s is usual and {most:g} m/s the most.",
            subject=pipe.id, limit=most, sense="at_most", allowance=TIGHT,
            formula="v = q / (pi/4 d^2)",
            inputs=(worked("q", what, flow, "L/min"), stated("d", "bore", pipe.bore_mm, "mm"),
                    ctx.rule(rule, "v_usual")),
            source=wished.source, confidence=wished.confidence,
            advised=tube_for(flow, wished.value, tubes),
            advised_why=f"{flow:.0f} L/min ({what}) at {wished.value:g} m/s or less; next tube",
            target=(pipe.id, "bore_mm"),
        )  # fmt: skip


def injector_pipes(ctx: StudyContext) -> list[tuple[Pipe, InjectsAir]]:
    """The pipes between an air injector and the line it injects into: air at ambient pressure."""
    plant, found = ctx.plant, list[tuple[Pipe, InjectsAir]]()
    for injector in plant.machines(InjectsAir):
        ahead = [p for p in plant.pipes_at(injector.id) if p.start == f"{injector.id}.outlet"]
        while ahead:
            pipe = ahead.pop()
            if any(pipe.id == known.id for known, _ in found):
                continue
            found.append((pipe, injector))
            valve = plant.equipment.get(pipe.end.partition(".")[0])
            if isinstance(valve, IsValve):
                ahead += [p for p in plant.pipes_at(valve.id) if p.start.startswith(f"{valve.id}.")]
    return found


def _injector_air(ctx: StudyContext) -> None:
    for pipe, injector in injector_pipes(ctx):
        ctx.find(
            "wash.injector_pipe", "Air to the line from the injector", pipe.bore_mm, "mm",
            f"{pipe.id} has {pipe.bore_mm:g} mm behind {injector.id} of {injector.bore_mm:g} mm; a "
            "narrower pipe would choke the slugs.",
            subject=pipe.id, limit=injector.bore_mm, sense="at_least",
            formula="d_pipe >= d_injector",
            inputs=(stated("d_pipe", "pipe", pipe.bore_mm, "mm"),
                    stated("d_injector", "injector", injector.bore_mm, "mm")),
            source="practice", confidence="common_practice",
            advised=next_of(injector.bore_mm * WIDER, AIR_BORES_MM),
            advised_why="wider than the injector's opening, next bore",
            target=(pipe.id, "bore_mm"),
        )  # fmt: skip


def size_air_pipes(ctx: StudyContext, duty: Duty, flow_l_min_free: float, low_bar: float) -> None:
    """Compressed-air pipes by their velocity at the lowest working pressure."""
    wished = ctx.rules["pipe.velocity_air_line_m_s"]
    most = wished.value if wished.high is None else wished.high
    ambient = duty.pressure_kpa_abs / KPA_PER_BAR
    packed = ambient / (ambient + low_bar)
    least = bore_for_velocity_mm(flow_l_min_free * packed, wished.value)
    inputs: tuple[Input, ...] = (
        worked("q", "busy minute or largest compressor, free air", flow_l_min_free, "L/min free"),
        worked("p_atm", "ambient pressure", round(ambient, 3), "bar"),
        stated("p_low", "lowest working pressure", low_bar, "bar"),
        ctx.rule("pipe.velocity_air_line_m_s", "v_usual"),
    )
    injected = {pipe.id for pipe, _ in injector_pipes(ctx)}
    for pipe in ctx.plant.pipes:
        if ctx.plant.service_of(pipe) != "air" or pipe.id in injected:
            continue
        has = velocity_m_s(flow_l_min_free * packed, pipe.bore_mm)
        ctx.find(
            "air.pipe", "Compressed-air pipe", round(has, 3), "m/s",
            f"{pipe.id} of {pipe.bore_mm:g} mm carries {flow_l_min_free:.0f} L/min of free air at "
            f"{has:.1f} m/s when pressed to {low_bar:g} bar; {most:g} m/s is the most.",
            subject=pipe.id, limit=most, sense="at_most", allowance=TIGHT,
            formula="v = q p_atm / (p_atm + p_low) / (pi/4 d^2)",
            inputs=(*inputs, stated("d", "bore", pipe.bore_mm, "mm")),
            source=wished.source, confidence=wished.confidence,
            advised=next_of(max(least, LEAST_AIR_BORE_MM), AIR_BORES_MM),
            advised_why=f"{least:.0f} mm keeps {wished.value:g} m/s; next bore, "
            f"{LEAST_AIR_BORE_MM:g} mm at least",
            target=(pipe.id, "bore_mm"),
        )  # fmt: skip
