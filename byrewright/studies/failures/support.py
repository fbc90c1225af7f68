"""Which machines the answer of each requirement can depend on: the proof behind pairs not run.

Milking needs the deck, pulsation, vacuum and the way of milk, all of them. A failure outside the
support of a requirement cannot change its answer, so two failures that share no requirement cannot
stop milking together unless one does alone. The sets here are upper bounds read from the graph.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterable

from byrewright.plant.roles import CarriesDeck, Senses, StandsCows, TurnsDeck
from byrewright.studies.failures.events import Event
from byrewright.studies.failures.structure import Structure

REQUIREMENTS = ("deck", "pulsation", "vacuum", "milk")


def supports(s: Structure) -> dict[str, frozenset[str]]:
    """For each requirement the machines its answer may depend on."""
    plant = s.plant
    deck = [m.id for m in plant.equipment.values()
            if isinstance(m, StandsCows | TurnsDeck | CarriesDeck)]  # fmt: skip
    vacuum = {*s.vacuum_net.machines, *(p.id for p in s.pumps), *s.receivers, *_near_receivers(s)}
    lines = {j.a.machine for n in s.milk_net.near for _, j, _ in s.milk_net.near[n]}
    vacuum |= {m for m in s.air_net.machines if s.air_net.machines & lines}
    milk = vacuum | s.milk_net.machines
    roots = {
        "deck": deck,
        "pulsation": [p.id for p in s.pulsators],
        "vacuum": vacuum,
        "milk": milk,
    }
    return {name: _closure(s, found) for name, found in roots.items()}


def _near_receivers(s: Structure) -> set[str]:
    """Lines and vessels that hold the receivers' vacuum."""
    from byrewright.plant.graph import Node

    return {
        n.machine for r in s.receivers for _, j, _ in s.milk_net.near.get(Node(r, "*"), ())
        for n in (j.a, j.b)
    } | {m for m in s.milk_net.machines if s.plant.equipment[m].can("collects milk")}  # fmt: skip


def _closure(s: Structure, roots: Iterable[str]) -> frozenset[str]:
    """The machines, what feeds and commands them, what moves them, and sensors that lead them."""
    plant = s.plant
    found: set[str] = set()
    queue = list(roots)
    while queue:
        tag = queue.pop()
        if tag in found or tag not in plant.equipment:
            continue
        found.add(tag)
        machine = plant.equipment[tag]
        queue += [*machine.fed_from, *machine.controlled_by, *machine.air_from]
        led = getattr(machine, "led_by", None)
        if led:
            queue.append(led)
            queue += [x.id for x in plant.machines(Senses) if x.on == led]
        if machine.can("stores air"):
            queue += s.air_net.machines
            queue += [m.id for m in plant.able("makes air")]
        if tag in s.on_deck:
            queue += [g.id for g in s.glands]
    return frozenset(found)


def reads(s: Structure, events: Iterable[Event]) -> dict[Hashable, int]:
    """For each event a bit for each requirement it can change; none for what changes no flow."""
    known = supports(s)
    return {
        e.id: sum(
            1 << k for k, name in enumerate(REQUIREMENTS)
            if e.structural and (e.machine in known[name] or _everywhere(s, e))
        )
        for e in events
    }  # fmt: skip


def _everywhere(s: Structure, event: Event) -> bool:
    """Losses that reach machines through no joint of their own: a lost supply moves its loads."""
    if s.plant.equipment[event.machine].can("gives power"):
        return True
    return any(h.law in ("no signal", "no power") for hits in event.variants for h in hits)
