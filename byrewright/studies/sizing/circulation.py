"""Does the wash go round? What reaches each vessel against what its pumps take on, mode by mode."""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import cast

from byrewright.engine.liquidgraph import Situation
from byrewright.engine.liquids import Liquids, LiquidsUnsolved
from byrewright.engine.liquidstreams import Stream, streams
from byrewright.plant.graph import Node, build, reached
from byrewright.plant.machine import Machine
from byrewright.plant.plant import Plant
from byrewright.plant.primitives import WashVessel
from byrewright.plant.roles import (
    DosesWash,
    GivesMilk,
    HeatsWater,
    LoadsTankers,
    MakesUpWash,
    MovesMilk,
    RecoversHeat,
)
from byrewright.results import Input
from byrewright.studies.sizing.context import StudyContext
from byrewright.studies.sizing.duty import Duty
from byrewright.studies.sizing.network import net_of
from byrewright.studies.sizing.receiving import wash_flow_l_min
from byrewright.studies.sizing.sizes import TIGHT, listed, next_round, spare, worked

LEAST_L_MIN = 1.0  # less than this is no wash
FIT_FROM_L_MIN, FIT_MOST, FIT_WITHIN = 5.0, 4.0, 0.02
"""Rated flows tried for a pump: from, to as times what comes, and how near (our choice)."""
FIT_OVER, FIT_HEAD_M = 1.5, 40
"""A pump is not fitted larger than its flow by more than this: it lacks head, tried up to, m."""
ROUND_SHARE = 0.02
"""By how much more may come than goes: a level takes it up between two slugs (our choice)."""


WHY = {
    "flow_l_min": "the wash that comes in, and 5 % more; rounded up",
    "head_m": "head at which it takes on the wash that comes in, and 5 % more; whole metres",
}
FIGURES = {"flow_l_min": ("Rated flow", "L/min"), "head_m": ("Head", "m")}
Target = tuple[str, str]
"""A machine and its figure."""


@dataclass(frozen=True, slots=True)
class Stage:
    """Vessels that the wash reaches together, L/min in and at most out, and the pumps behind."""

    mode: str
    vessels: tuple[str, ...]
    pumps: tuple[str, ...]
    in_l_min: float
    out_l_min: float
    room_l: float
    targets: tuple[str, ...]


def stages(net: Liquids, mode: str) -> list[Stage]:
    """The vessels on the wash's way round in a mode, one behind the other; worked out once.

    What comes to the first is what the wash pump and the vacuum draw through the units; what comes
    to the next is the least of what came and went before.
    """
    known = net.kept.setdefault("stages", {})
    if mode not in known:
        known[mode] = _stages(net, mode)
    return cast("list[Stage]", known[mode])


def _stages(net: Liquids, mode: str) -> list[Stage]:
    s = net.situation(mode)
    flows = net.solve(s)
    found = streams(net, flows, frozenset(net.pumps))
    wash = {t for t, v in net.vessels.items() if v.holds == "wash" and v.role == "store"}
    open_ends = {m.id for m in net.plant.machines(LoadsTankers)}  # a coupling over its gully
    milk = {t for t, v in net.vessels.items() if v.holds == "milk" and not v.fill} - open_ends
    first = {x.target for x in found if x.source in wash and x.target in milk}
    comes = sum(x.l_min for x in found if x.source in wash and x.target in first)
    out: list[Stage] = []
    seen: set[str] = set()
    while first and comes >= LEAST_L_MIN:
        # What runs on by gravity, as the milkline's does, stands on the same level.
        more = {x.target for x in found if x.source in first and x.target in milk and not x.passes}
        while more - first:
            first |= more
            more = {x.target for x in found if x.source in first and x.target in milk
                    and not x.passes}  # fmt: skip
        for tag, share in _held_back(net, s, found, first).items():
            room = net.vessels[tag].volume_l * (1 - net.rules.number("vessel.level_share"))
            out.append(Stage(mode, (tag,), (), share * comes, 0.0, room, ()))
            first = first - {tag}
            seen.add(tag)
            comes *= 1 - share
        onward = [x for x in found if x.source in first and x.target not in first
                  and (x.passes or x.target not in milk)]  # fmt: skip
        goes = sum(x.l_min for x in onward)
        room = sum(net.vessels[t].volume_l for t in first) * (
            1 - net.rules.number("vessel.level_share")
        )
        pumps = tuple(sorted({p for x in onward for p in x.passes}))
        targets = {x.target for x in onward}
        out.append(Stage(mode, tuple(sorted(first)), pumps, comes, goes, room,
                         tuple(sorted(targets))))  # fmt: skip
        seen |= first
        first = {t for t in targets if t in milk} - seen
        comes = min(comes, goes) * sum(x.l_min for x in onward if x.target in first) / (goes or 1)
    return out


def _held_back(net: Liquids, s: Situation, found: Sequence[Stream],
               group: Collection[str]) -> dict[str, float]:  # fmt: skip
    """Of vessels that the wash reaches together, those from which nothing leads on, with the share
    that comes to each. One that is joined to another by a flooded line runs off through it."""
    leads = {x.source for x in found if x.source in group}
    stuck = {}
    for tag in sorted(set(group) - leads) if leads else ():
        ports = {n for j in net.edges for n in (j.a, j.b) if n.machine == tag and n.port != "*"}
        if any(net.lets_both(n) and set(net.joined(s, n)) & leads for n in ports):
            continue
        comes = {x.source: x.l_min for x in found if x.target == tag}
        whole = sum(x.l_min for x in found if x.source in comes)
        stuck[tag] = sum(comes.values()) / whole if whole else 0.0
    return {tag: share for tag, share in stuck.items() if share > 0}


def size_circulation(ctx: StudyContext, duty: Duty) -> None:
    """Every vessel on the wash's way takes on what comes to it, in every mode that washes."""
    net = net_of(ctx)
    worst: dict[str, Stage] = {}  # by the last of its vessels, which names the finding
    broken: list[str] = []
    for name, mode in ctx.plant.modes.items():
        if not {"wash", "rinse"} & set(mode.does):
            continue
        try:
            every = stages(net, name)
        except LiquidsUnsolved as bad:
            broken.append(str(bad))
            continue
        if washes_units(ctx.plant, name):
            _supplied(ctx, name, bool(every), wash_flow_l_min(ctx, duty))
        for stage in every:
            old = worst.get(stage.vessels[-1])
            if old is None or _short(stage) > _short(old):
                worst[stage.vessels[-1]] = stage
    for text in broken:
        ctx.find("wash.circulates", "Wash goes round", None, "L/min", text,
                 missing=("flows of the wash",))  # fmt: skip
    milk = _advice(ctx)
    pumps = {stage: _weakest(ctx, stage) for stage in worst.values()}
    fitted = {s: _fit(ctx, milk, s, p.id) if p else {} for s, p in pumps.items()}
    most: dict[Target, float] = {}
    for fit in fitted.values():
        for target, least in fit.items():
            most[target] = max(least, most.get(target, 0.0))
    for stage, pump in pumps.items():
        _judge(ctx, stage, pump, [t for t in fitted[stage] if pump and t[0] == pump.id], most, milk)
    _raise(ctx, most)


def washes_units(plant: Plant, mode: str) -> bool:
    """Whether a mode is to send wash from its vessel through milking units."""
    return bool(plant.machines(MakesUpWash)) and any(
        plant.position(mode, u.id) == "washes" for u in plant.machines(GivesMilk)
    )


def unwarmed(plant: Plant, does: str) -> tuple[str, ...]:
    """The modes of a purpose (`rinse`, `wash`) where in none of them water that was heated comes to
    a wash vessel; nothing where it does in one, or the plant has no heater, vessel or such mode."""
    graph, vessels = build(plant), {t.id for t in plant.machines(MakesUpWash)}
    heaters = {h.id: h for h in (*plant.machines(HeatsWater), *plant.machines(RecoversHeat))}
    hot = [n for n in graph.nodes if n.machine in heaters and _gives_water(heaters[n.machine], n)]
    past = {*vessels, *heaters}
    modes = tuple(name for name, mode in plant.modes.items() if does in mode.does)
    if not hot or not vessels or any(
        vessels & reached(plant, graph, hot, name, ("water",), past=past) for name in modes
    ):  # fmt: skip
        return ()
    return modes


def _gives_water(machine: Machine, at: Node) -> bool:
    port = machine.port(at.port)
    return port is not None and port.direction == "out" and "water" in port.services


def undosed(plant: Plant) -> dict[str, tuple[str, ...]]:
    """The wash vessels that supply milking units in a mode and that no dosing pump reaches which
    runs in it; nothing where the plant has no dosing pump, since people dose then."""
    vessels = [t.id for t in plant.machines(MakesUpWash)]
    dosers = [d.id for d in plant.machines(DosesWash)]
    units = {u.id for u in plant.machines(GivesMilk)}
    graph, found = build(plant), dict[str, tuple[str, ...]]()
    for name, mode in plant.modes.items() if dosers else ():
        if "wash" not in mode.does or not washes_units(plant, name):
            continue
        run = [d for d in dosers if plant.position(name, d) == "runs"]
        with_product = reached(plant, graph, run, name, ("wash",), past=vessels) if run else ()
        bare = tuple(
            t for t in vessels
            if t not in with_product and units & reached(
                plant, graph, {t}, name, ("wash",), past=[v for v in vessels if v != t])
        )  # fmt: skip
        if bare or not run:
            found[name] = bare or tuple(vessels)
    return found


def _supplied(ctx: StudyContext, mode: str, comes: bool, wanted_l_min: float) -> None:
    """Fails where no water fills the wash vessel in a mode that washes the units, where its wash
    comes to no receiver, and where it is drawn through a pump that stands."""
    net = net_of(ctx)
    s = net.situation(mode)
    every = streams(net, net.solve(s), frozenset(net.pumps))
    wash = {t for t, v in net.vessels.items() if v.holds == "wash" and v.role == "store"}
    fills = [n for n, m in ctx.plant.modes.items()
             if {"wash", "rinse"} & set(m.does) and not washes_units(ctx.plant, n)]  # fmt: skip
    stand = sorted({p for x in every if x.source in wash for p in x.passes if not net.runs(s, p)})
    through = sum(x.l_min for x in every if x.source in wash and set(stand) & set(x.passes))
    found = []
    if not any(_filled(net, net.situation(n), wash) for n in (mode, *fills)):
        found.append((f"no water comes to {listed(sorted(wash))}: a valve on its way is shut, or a "
                      "pump stands. A wash begins with an empty vessel", 0.0))  # fmt: skip
    if not comes:
        found.append(("no wash comes from its vessel to a receiver: look for a valve that is shut, "
                      "or a pump that stands, before the units", 0.0))  # fmt: skip
    elif stand and through >= LEAST_L_MIN:
        found.append((f"{listed(stand)} stands and the vacuum alone draws {through:.0f} L/min "
                      "through it: let it run", through))  # fmt: skip
    for says, value in found[:1]:
        ctx.find(
            "wash.supplied", "Wash that comes to the units", value, "L/min",
            f"In {mode} the units are washed, but {says}.",
            subject=mode, limit=max(LEAST_L_MIN, wanted_l_min), sense="at_least",
            formula="flow from the wash vessel through the units",
            source="the solved liquid network", confidence="derived",
        )  # fmt: skip


def _filled(net: Liquids, s: Situation, wash: Collection[str]) -> bool:
    """Whether water runs into a wash vessel, or a source of a pressure that is not stated stands
    open to it."""
    every = streams(net, net.solve(s, broken=[]), ())
    if any(net.vessels[x.source].holds == "water" and x.target in wash
           for x in every if x.source in net.vessels):  # fmt: skip
        return True
    fed = ((tag, p) for tag, one in net.plant.equipment.items() for p in one.lower()
           if isinstance(p, WashVessel))  # fmt: skip
    return any(net.vessels[t].role == "source" for tag, one in fed
               for node in net.ports(tag, one.supply) for t in net.joined(s, node))  # fmt: skip


def _weakest(ctx: StudyContext, stage: Stage) -> MovesMilk | None:
    """The milk pump behind a stage that is rated for the least flow."""
    mine = [p for p in ctx.plant.machines(MovesMilk) if p.id in stage.pumps]
    return min(mine, key=lambda p: p.flow_l_min, default=None)


def _fit(
    ctx: StudyContext, milk: Mapping[Target, float], stage: Stage, tag: str
) -> dict[Target, float]:
    """The rated flow, else flow and head, with which a pump and those like it take on what comes
    and 5 % more; nothing out of reach. Asked from what the milk needs of each pump, not from
    what is fitted: else flow and head would take turns from round to round."""
    net = net_of(ctx)
    net = net.with_pumps({
        t: replace(
            net.pumps[t],
            flow_l_min=milk.get((t, "flow_l_min")) or net.pumps[t].flow_l_min,
            head_m=milk.get((t, "head_m")) or net.pumps[t].head_m,
        )
        for t in stage.pumps
    })  # fmt: skip
    pump = net.pumps[tag]
    rated = (pump.flow_l_min, pump.head_m)
    alike = [t for t in stage.pumps if (net.pumps[t].flow_l_min, net.pumps[t].head_m) == rated]

    def takes(**changed: float) -> float:
        other = net.with_pumps({t: replace(net.pumps[t], **changed) for t in alike})  # type: ignore[arg-type]
        every = stages(other, stage.mode)
        return next((x.out_l_min for x in every if x.vessels == stage.vessels), 0.0)

    want = stage.in_l_min * (1 + TIGHT)
    low, high = FIT_FROM_L_MIN, max(FIT_MOST * stage.in_l_min, 2 * FIT_FROM_L_MIN)
    if takes(flow_l_min=high) >= want:
        while high - low > FIT_WITHIN * high:
            middle = (low + high) / 2
            low, high = (low, middle) if takes(flow_l_min=middle) >= want else (middle, high)
        flow = next_round(high)
        if flow <= FIT_OVER * max(pump.flow_l_min, want / len(alike)):
            return {(t, "flow_l_min"): flow for t in alike}
    flow = max(pump.flow_l_min, next_round(want / len(alike)))
    head = math.ceil(pump.head_m or 0.0)
    while (head := head + 1) <= FIT_HEAD_M:
        if takes(flow_l_min=flow, head_m=head) >= want:
            both = {"flow_l_min": flow, "head_m": float(head)}
            return {(t, name): least for t in alike for name, least in both.items()}
    return {}


def _advice(ctx: StudyContext) -> dict[Target, float]:
    """The largest that the findings so far advise for each figure: what the milk needs."""
    most: dict[Target, float] = {}
    for f in ctx.notes.findings:
        if f.target is not None and f.advised is not None:
            most[f.target] = max(f.advised, most.get(f.target, f.advised))
    return most


def _raise(ctx: StudyContext, most: Mapping[Target, float]) -> None:
    """One figure, one advice: what was advised for the milk is raised to what the wash needs, with
    the wash's reason; a figure that nothing speaks of yet gets a finding of its own."""
    found = ctx.notes.findings
    for target, least in most.items():
        tag, name = target
        mine = [n for n, f in enumerate(found) if f.target == target and f.advised is not None]
        for n in mine:
            if (found[n].advised or 0.0) < least:
                found[n] = replace(found[n], advised=least, advised_why=WHY[name])
        if not mine:
            has = getattr(ctx.plant.equipment[tag], name)
            words, unit = FIGURES[name]
            ctx.find(
                "wash.milk_pump", f"{words} for the wash", has, unit,
                f"{tag} has {has:g} {unit}; {least:g} {unit} takes on the wash that comes, and "
                "5 % more.",
                subject=f"{tag} {words.lower()}", source="the solved liquid network; socks out",
                confidence="derived", advised=least, advised_why=WHY[name], target=target,
            )  # fmt: skip


def _short(stage: Stage) -> float:
    return stage.in_l_min - stage.out_l_min


def _judge(
    ctx: StudyContext, stage: Stage, pump: MovesMilk | None, own: Sequence[Target],
    most: Mapping[Target, float], milk: Mapping[Target, float],
) -> None:  # fmt: skip
    """`own` are the figures of the stage's pump that the wash needs: the last is advised here."""
    names, pumps = listed(stage.vessels), listed(stage.pumps)
    limit = stage.in_l_min * (1 - ROUND_SHARE)
    short = stage.in_l_min - stage.out_l_min
    takes = f"{pumps} can take on {stage.out_l_min:.0f} L/min"
    if not pumps:
        takes = f"{stage.out_l_min:.0f} L/min can run on by themselves"
    if stage.out_l_min <= 0:
        takes = "nothing takes it on"
    says = (
        f"In {stage.mode} {stage.in_l_min:.0f} L/min of wash come into {names}; {takes} "
        f"({spare(stage.out_l_min, limit)})"
    )
    if short > ROUND_SHARE * stage.in_l_min:
        trough = sum(t.volume_l * t.count for t in ctx.plant.machines(MakesUpWash))
        full = stage.room_l / short
        says += f": full after {full:.1f} min"
        if trough:
            says += f", and the trough of {trough:.0f} L is short of all that stands there"
        says += (
            ". Give the wash a way round what holds it back (the cooler), run both pumps of a "
            "pair, or fit pumps for it."
            if stage.out_l_min > 0
            else ". Run its pump, open its outlet or the flooded line to its neighbour, or shut it "
            "off from the wash."
        )
    else:
        says += "."
    target = own[-1] if own else None
    for_wash, for_milk = (d.get(target, 0.0) if target else 0.0 for d in (most, milk))
    rule: Input = ctx.rule("filter.drop_empty_kpa", "dp_filter")
    ctx.find(
        "wash.circulates", "Wash goes round", round(stage.out_l_min, 1), "L/min", says,
        subject=stage.vessels[-1], limit=round(limit, 1), sense="at_least",
        formula="q_out >= q_in",
        inputs=(worked("q_in", "wash that comes in", round(stage.in_l_min, 1), "L/min"),
                worked("q_out", "most that is taken on", round(stage.out_l_min, 1), "L/min"), rule),
        source="the solved liquid network; socks out for the wash", confidence="derived",
        advised=max(for_wash, for_milk) if target else None,
        advised_why=WHY[target[1]] if target and for_wash >= for_milk else "what the milk needs",
        target=target,
    )  # fmt: skip
