"""Airlines: bores of the main line, the gland and the pulsator line.

A bore keeps its share of the permitted drop; the drop itself is the vacuum study's, from the
solved network.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from byrewright.physics.air import (
    airline_bore_mm,
    equivalent_length_m,
    reserve_us_l_min_free,
)
from byrewright.plant.graph import Edge
from byrewright.plant.machine import Machine
from byrewright.plant.plant import Pipe
from byrewright.plant.roles import (
    FeedsPulsators,
    JoinsDeck,
    JoinsPipes,
    PassesOneWay,
    PumpsVacuum,
    ReceivesMilk,
    RegulatesVacuum,
    Senses,
    TrapsLiquid,
)
from byrewright.studies.sizing.context import StudyContext
from byrewright.studies.sizing.duty import Duty
from byrewright.studies.sizing.paths import Ways
from byrewright.studies.sizing.sizes import TIGHT, next_airline_mm, stated, worked
from byrewright.studies.sizing.vacuum_demand import (
    Demand,
    air_use,
    demand,
    together,
    us_rules,
)

FRICTION_FACTOR = 0.02
"""Darcy friction factor by which a loss in velocity heads becomes a length of pipe: smooth
airlines lie between 0.015 and 0.025 (common practice)."""
DESIGN_SHARE = 0.75
"""Share of the permitted drop that advised bores use: the rest is for wear and dirt."""
PULSE_SHARE = 0.5
"""Share of the drop permitted to the pulsators left to steady air: their pulse comes on top."""
TO_PUMP = "to the pump inlet"
TO_REGULATION = "to the place of regulation"
TO_PULSATORS = "to the pulsators"
UNIFORM_DRAW = 1.0 / 2.75
"""Friction of a line that gathers its flow evenly along its length (integral of x^1.75)."""
ISO = "iso5707"
NMC = "nmc"


@dataclass(frozen=True, slots=True)
class Leg:
    """A pipe, or a way through a machine, with the air it carries. `field` names the bore that
    may be advised; "" where the machine has none of its own."""

    id: str
    bore_mm: float | None
    length_m: float
    fittings: dict[str, int]
    flow_l_min: float
    field: str
    heads: float = 0.0

    def equivalent_m(self, ctx: StudyContext, bore_mm: float) -> float:
        """Length with fittings at a bore; a machine's loss as that of so much pipe."""
        own = equivalent_length_m(bore_mm, self.length_m, self.fittings, ctx.rules)
        return own + self.heads / FRICTION_FACTOR * bore_mm / 1000.0


def loss_kind(edge: Edge, machine: Machine) -> str:
    """The rule `vacuum.loss.*_k` that tells the loss of a way inside a machine."""
    if isinstance(machine, PassesOneWay):
        return "non_return"
    if isinstance(machine, TrapsLiquid):
        return "trap"
    if isinstance(machine, JoinsPipes):
        return "header"
    if machine.can("joins deck"):
        return "gland"
    if edge.b.port == "*":
        return "into_vessel"
    if edge.a.port == "*":
        return "out_of_vessel"
    return "valve"


def size_airlines(ctx: StudyContext, duty: Duty) -> None:
    """Drops and bores of the main airline, the gland and the pulsator line."""
    plant = ctx.plant
    pumps, receivers = plant.machines(PumpsVacuum), plant.machines(ReceivesMilk)
    if not pumps or not receivers:
        return
    need = demand(ctx, duty)
    ways = Ways(plant)
    flows = _flows(ctx, duty, need, ways)
    routes = [
        (r.id, p.id, edges) for r in receivers for p in pumps if (edges := ways.between(r.id, p.id))
    ]
    if not routes:
        ctx.find(
            "vacuum.airline.bore",
            "Main airline bore",
            None,
            "mm",
            "No vacuum pipes join the receivers to the pumps, so the main airline cannot be sized.",
            missing=("pipes from the receivers to the vacuum pumps",),
        )
    else:
        _main(ctx, duty, routes, flows, ways)
    for line in plant.machines(FeedsPulsators):
        _pulsator_line(ctx, duty, line)


Route = tuple[str, str, tuple[Edge, ...]]


def _flows(ctx: StudyContext, duty: Duty, need: Demand, ways: Ways) -> dict[str, float]:
    """Free air in each pipe or gland while the reserve is tested: all that the pumps draw.

    The reserve is the rule's, or what the pumps that run together leave over, where that is more.
    The receivers share the milk system's air and the reserve; pulsator lines share pulsation. A
    pump's own branch carries no more than the pump draws.
    """
    plant, air = ctx.plant, air_use(ctx, duty)
    receivers, lines = plant.machines(ReceivesMilk), plant.machines(FeedsPulsators)
    least = (
        reserve_us_l_min_free(duty.units, ctx.rules)
        if us_rules(ctx)
        else need.iso.effective_reserve_l_min_free
    )
    draws = {
        p.id: p.count * p.capacity_l_min_free / need.iso.altitude_factor
        for p in plant.machines(PumpsVacuum)
    }
    left = sum(draws[p] for p in together(plant, tuple(draws))) - need.steady_at_inlet_l_min
    milk_air = air.claws + need.iso.milk_leakage_l_min_free + max(least, left)
    if not lines:
        milk_air += air.pulsators
    sources = [(r.id, milk_air / len(receivers)) for r in receivers]
    sources += [(line.id, air.pulsators / len(lines)) for line in lines]
    carried: dict[str, float] = {}
    passes: dict[str, set[str]] = {}
    for pump in draws:
        here: dict[str, float] = {}
        for start, flow in sources:
            way = ways.between(start, pump)
            # A vessel is entered and left, and carries the air once.
            for key in dict.fromkeys(j.id if j.pipe else (j.machine or "") for j in way):
                here[key] = here.get(key, 0.0) + flow
                passes.setdefault(key, set()).add(pump)
        for key, flow in here.items():
            carried[key] = max(carried.get(key, 0.0), flow)
    for key, pumps in passes.items():
        if len(pumps) < len(draws):
            carried[key] = min(carried[key], sum(draws[p] for p in pumps))
    return carried


def _legs(ctx: StudyContext, edges: Iterable[Edge], flows: dict[str, float]) -> list[Leg]:
    plant, legs = ctx.plant, []
    for edge in edges:
        pipe: Pipe | None = edge.pipe
        if pipe is not None:
            legs.append(
                Leg(pipe.id, pipe.bore_mm, pipe.length_m, pipe.fittings, flows[pipe.id], "bore_mm")
            )
            continue
        machine = plant.equipment[edge.machine or ""]
        heads = ctx.number(f"vacuum.loss.{loss_kind(edge, machine)}_k")
        if isinstance(machine, JoinsDeck):
            bore, own = machine.vacuum_bore_mm, "vacuum_bore_mm"
        else:
            ends = {edge.a.name, edge.b.name}
            at = [p.bore_mm for p in plant.pipes_at(machine.id) if {p.start, p.end} & ends]
            bore, own = min(at, default=None), ""
        legs.append(Leg(machine.id, bore, 0.0, {}, flows[machine.id], own, heads))
    return legs


def _main(
    ctx: StudyContext, duty: Duty, routes: list[Route], flows: dict[str, float], ways: Ways
) -> None:
    """Bores of the ways from receivers to regulation, then to the pumps, then to the pulsators."""
    plant = ctx.plant
    held = "vacuum.nmc_drop" if us_rules(ctx) else "vacuum.iso_drop"
    done: set[str] = set()

    def advise(legs: list[Leg], budget_kpa: float, where: str, least_mm: float = 0.0) -> None:
        for leg in legs:
            if leg.field and leg.id not in done:
                done.add(leg.id)
                _bore(ctx, duty, leg, legs, budget_kpa, where, least_mm)

    to_regulation = ctx.number(f"{held}_receiver_to_regulator_kpa")
    for _, legs, _ in sorted(
        _to_sensing(ctx, routes, flows, ways), key=lambda f: (f[0], f[2])
    ):  # fmt: skip
        advise(legs, to_regulation, TO_REGULATION)
    to_pump = ctx.number(f"{held}_receiver_to_pump_kpa")
    for _, _, edges in sorted(routes, key=lambda r: (-len(r[2]), r[0], r[1])):
        advise(_legs(ctx, edges, flows), to_pump, TO_PUMP)
    to_pulsators = ctx.number(f"{held}_pulsator_line_kpa")
    for line in plant.machines(FeedsPulsators):
        for pump in plant.machines(PumpsVacuum):
            feed = _legs(ctx, ways.between(line.id, pump.id), flows)
            feed = [leg for leg in feed if leg.id not in done]
            advise(feed, to_pulsators, TO_PULSATORS, line.bore_mm)


def _to_sensing(
    ctx: StudyContext, routes: list[Route], flows: dict[str, float], ways: Ways
) -> list[tuple[str, list[Leg], str]]:
    """Each receiver's legs up to where the regulator joins, or a vacuum sensor sits."""
    plant = ctx.plant
    regulators = [r.id for r in plant.machines(RegulatesVacuum) if r.usual() == "works"]
    sensors = [s.on for s in plant.machines(Senses) if s.measures == "vacuum"]
    found = []
    for receiver, pump, edges in routes:
        for place in regulators:
            reached = {n for j in ways.between(place, pump) for n in (j.a, j.b)}
            taken: list[Edge] = []
            here = [n for n in (edges[0].a, edges[0].b) if n.machine == receiver]
            met = bool(set(here) & reached)
            for edge in edges:
                if met:
                    break
                taken.append(edge)
                met = bool({edge.a, edge.b} & reached)
            if met:
                found.append((receiver, _legs(ctx, taken, flows), place))
        for on in sensors if not regulators else ():
            up_to = [i for i, j in enumerate(edges) if on in (j.a.machine, j.b.machine)]
            if up_to:
                found.append((receiver, _legs(ctx, edges[: up_to[0] + 1], flows), on))
    return found


def _bore(
    ctx: StudyContext,
    duty: Duty,
    leg: Leg,
    route: list[Leg],
    budget_kpa: float,
    where: str,
    least_mm: float = 0.0,
) -> None:
    """The bore of a leg when the drop designed for up to a place is shared by length."""
    nominal = 100.0
    total = sum(one.equivalent_m(ctx, one.bore_mm or nominal) for one in route)
    own = leg.equivalent_m(ctx, leg.bore_mm or nominal)
    allowed = budget_kpa * DESIGN_SHARE * own / total
    wanted = airline_bore_mm(
        leg.flow_l_min, own, allowed, duty.working_vacuum_kpa, duty.pressure_kpa_abs
    )
    advised = next_airline_mm(max(wanted, least_mm))
    as_line = " and not under the line it feeds" if least_mm > wanted else ""
    gland = leg.field == "vacuum_bore_mm"
    has = f"{leg.bore_mm:g} mm" if leg.bore_mm is not None else "no bore stated"
    ctx.find(
        "vacuum.gland.bore" if gland else "vacuum.airline.bore",
        "Gland vacuum bore" if gland else "Main airline bore",
        leg.bore_mm,
        "mm",
        f"{leg.id} has {has} for {leg.flow_l_min:.0f} L/min of free air; {advised:g} mm keeps the "
        f"whole way to three quarters of the drop permitted {where}. The vacuum study gives the "
        "drop.",
        subject=leg.id,
        formula="d = (27.8 l q^1.75 50/(p_a - p) / dp)^(1/4.75), dp shared by length",
        inputs=(
            worked("q", "free air with the reserve drawn in full", leg.flow_l_min, "L/min free"),
            worked("l", "length with fittings", round(own, 2), "m"),
            worked(
                "dp",
                f"its share of three quarters of the drop permitted {where}",
                round(allowed, 3),
                "kPa",
            ),
            worked("p", "working vacuum, set or assumed", duty.working_vacuum_kpa, "kPa"),
            worked("p_a", "ambient pressure", round(duty.pressure_kpa_abs, 2), "kPa"),
        ),
        source=NMC if us_rules(ctx) else ISO,
        confidence="from_memory",
        advised=advised,
        advised_why=f"{wanted:.0f} mm keeps to three quarters of the drop permitted {where}; next "
        "bore" + as_line,
        target=(leg.id, leg.field),
        missing=() if leg.bore_mm is not None else (f"bore of {leg.id}",),
    )


def _pulsator_line(ctx: StudyContext, duty: Duty, line: FeedsPulsators) -> None:
    plant = ctx.plant
    lines = plant.machines(FeedsPulsators)
    pulse = air_use(ctx, duty).pulsators / len(lines) / line.count
    supplies = max(1, sum(1 for p in plant.pipes_at(line.id) if _supplies(line, p)))
    ways = supplies * (2 if line.ring else 1)
    flow, length = pulse / ways, line.length_m / ways
    key = (
        "vacuum.nmc_drop_pulsator_line_kpa"
        if us_rules(ctx)
        else "vacuum.iso_drop_pulsator_line_kpa"
    )
    limit = ctx.number(key)
    least, wanted = (
        airline_bore_mm(
            flow, length, share * limit / UNIFORM_DRAW, duty.working_vacuum_kpa,
            duty.pressure_kpa_abs,
        )
        for share in (PULSE_SHARE, PULSE_SHARE / 2)
    )  # fmt: skip
    advised = next_airline_mm(wanted)
    many = duty.units >= ctx.number("vacuum.pulsator_line_damped_from_units")
    damped = ctx.number("vacuum.pulsator_line_damped_bore_mm") if many else 0.0
    why = "a quarter of the permitted drop, for the pulse comes on top"
    if damped > advised:
        advised, why = damped, "damps the pulses of many pulsators; for its drop less would do"
    shape = "ring" if line.ring else "line"
    ctx.find(
        "vacuum.pulsator_airline.bore",
        "Pulsator airline",
        line.bore_mm,
        "mm",
        f"{line.id}, a {line.bore_mm:g} mm {shape} of {line.length_m:.0f} m fed at {supplies} "
        f"place{'s' if supplies > 1 else ''}, carries {flow:.0f} L/min each way; {least:.0f} mm "
        f"keeps it to half the {limit:g} kPa allowed to the pulsators, for their pulse comes on "
        "top. The vacuum study gives the drop.",
        subject=line.id,
        limit=round(least, 1),
        sense="at_least",
        allowance=TIGHT,
        formula="d = (1/2.75 x 27.8 (l/k) (q/k)^1.75 x 50/(p_a - p) / (dp/2))^(1/4.75)",
        inputs=(
            worked("q", "air of its pulsators", pulse, "L/min free"),
            stated("k", "ways the air divides", ways),
            stated("l", "length", line.length_m, "m"),
            stated("d", "bore", line.bore_mm, "mm"),
            worked("p", "working vacuum, set or assumed", duty.working_vacuum_kpa, "kPa"),
            worked("p_a", "ambient pressure", round(duty.pressure_kpa_abs, 2), "kPa"),
            ctx.rule(key, "dp_most"),
        ),
        source=NMC if us_rules(ctx) else ISO,
        confidence="second_hand" if us_rules(ctx) else "from_memory",
        advised=advised,
        advised_why=why,
        target=(line, "bore_mm"),
    )


def _supplies(line: FeedsPulsators, pipe: Pipe) -> bool:
    ends = (pipe.start, pipe.end)
    return any(e.startswith(f"{line.id}.supply_") for e in ends)
