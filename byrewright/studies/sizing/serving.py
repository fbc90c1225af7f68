"""What can serve: a machine that milk, air or chilled liquid never passes is no capacity."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping

from byrewright.plant.graph import Graph, build, reached
from byrewright.plant.machine import Machine
from byrewright.plant.plant import Plant
from byrewright.plant.roles import CoolsMilk, GivesMilk, MakesCold, PumpsVacuum, StoresMilk
from byrewright.studies.sizing.context import StudyContext


def idle(plant: Plant) -> Mapping[str, str]:
    """Machines that cannot serve, each with why, in a part of a sentence.

    A vacuum pump must draw from milking units, milk from them reach a store, and chilled liquid
    go round between what makes it and something that milk is cooled by, in a mode that does
    milking; and what the modes set must not stand still in all of them. A plant without such a
    mode, or without units, is not judged.
    """
    modes = [n for n, m in plant.modes.items() if "milking" in m.does]
    units = {m.id for m in plant.machines(GivesMilk)}
    if not modes or not units:
        return {}
    graph = build(plant)
    found: dict[str, str] = {}
    found |= dict.fromkeys(always_stopped(plant), "it is stopped in every mode")
    milk: set[str] = set()
    for name in modes:
        milk |= reached(plant, graph, units, name, ("milk",))
    for store in plant.machines(StoresMilk):
        if store.id not in milk:
            found[store.id] = "no milk reaches it in any mode that does milking"
    for pump in plant.machines(PumpsVacuum):
        if pump.id not in found and not any(
            units & reached(plant, graph, {pump.id}, name, ("vacuum", "milk"), against=True)
            for name in modes
        ):
            found[pump.id] = "it draws from no milking unit in any mode that does milking"
    for maker in plant.machines(MakesCold):
        if maker.id not in found and not any(_goes_round(plant, graph, maker, n) for n in modes):
            found[maker.id] = "no chilled liquid of it goes round in any mode that does milking"
    return found


def always_stopped(plant: Plant) -> list[str]:
    """Machines that the modes set and that stand still in all of them: they stand by for none."""
    stated = {tag for mode in plant.modes.values() for tag in mode.positions}
    return [
        tag for tag in plant.equipment
        if tag in stated and {plant.position(name, tag) for name in plant.modes} == {"stopped"}
    ]  # fmt: skip


def _goes_round(plant: Plant, graph: Graph, maker: MakesCold, mode: str) -> bool:
    """Whether chilled liquid runs from a maker to a cooler or tank, and from one back to it;
    through the other makers no way counts. What makes none, or has no user, is not asked."""
    users = {m.id for m in plant.machines(CoolsMilk)}
    users |= {t.id for t in plant.machines(StoresMilk) if t.takes_coolant}
    makers = {m.id for m in plant.machines(MakesCold)}
    for way, against in (("out", False), ("in", True)):
        ends = {n for n in graph.nodes if n.machine == maker.id and _chilled(maker, n.port, way)}
        if ends and not users & reached(plant, graph, ends, mode, ("coolant",),
                                        against=against, past=makers):  # fmt: skip
            return False
    return True


def _chilled(maker: MakesCold, name: str, way: str) -> bool:
    port = maker.port(name)
    return port is not None and "coolant" in port.services and port.direction == way


def serving(ctx: StudyContext) -> Plant:
    """The plant without what cannot serve; each of those is a finding that fails."""
    plant = ctx.plant
    out = idle(plant)
    for tag, why in out.items():
        one = plant.equipment[tag]
        ctx.find(
            "serves", f"Machine that cannot serve, {tag}", 0.0, "",
            f"{tag} {one.title} counts for nothing here: {why}. Join it and state its position in "
            "the modes, or remove it.",
            subject=tag, limit=1.0, sense="at_least",
            formula="reached on the plant's graph in a mode that needs it", source="the plant file",
        )  # fmt: skip
    return _without(plant, out) if out else plant


def _without(plant: Plant, gone: Collection[str]) -> Plant:
    """The plant without some machines, their pipes, and whatever sits on them."""
    gone = {*gone, *(tag for tag, one in plant.equipment.items() if set(_hosts(one)) & set(gone))}
    pipes = tuple(
        p for p in plant.pipes
        if not {p.start.partition(".")[0], p.end.partition(".")[0]} & gone
    )  # fmt: skip
    modes = {
        name: mode.model_copy(
            update={"positions": {k: v for k, v in mode.positions.items() if k not in gone}}
        )
        for name, mode in plant.modes.items()
    }
    kept = {tag: one for tag, one in plant.equipment.items() if tag not in gone}
    return plant.model_copy(update={"equipment": kept, "pipes": pipes, "modes": modes})


def _hosts(one: Machine) -> Iterator[str]:
    """What a machine sits on, where that is one machine alone."""
    for name in ("on", "led_by"):
        value = getattr(one, name, None)
        if isinstance(value, str):
            yield value
