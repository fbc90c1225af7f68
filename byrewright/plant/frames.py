"""What turns with the deck, and what stands."""

from __future__ import annotations

from byrewright.plant.graph import build
from byrewright.plant.plant import Plant
from byrewright.plant.roles import JoinsDeck


def on_deck(plant: Plant) -> frozenset[str]:
    """Machines carried by the turning deck: joined without passing the gland or a drain."""
    glands = plant.machines(JoinsDeck)
    if not glands:
        return frozenset()
    near: dict[str, set[str]] = {}
    for edge in build(plant).edges:
        if edge.pipe is None:
            continue
        ends = [(n.machine, n) for n in (edge.a, edge.b)]
        names = [
            f"{m}|{n.port.partition('_')[0]}"
            if isinstance(plant.equipment[m], JoinsDeck) else m
            for m, n in ends
        ]  # fmt: skip
        if any(plant.equipment[m].can("is a drain") for m, _ in ends):
            continue
        near.setdefault(names[0], set()).add(names[1])
        near.setdefault(names[1], set()).add(names[0])
    queue = [f"{g.id}|deck" for g in glands]
    seen = set(queue)
    while queue:
        for there in near.get(queue.pop(), ()):
            if there not in seen and not there.endswith("|fixed"):
                seen.add(there)
                queue.append(there)
    riders = {m.id for m in plant.equipment.values() if m.can("rides on the deck")}
    found = {s for s in seen if "|" not in s and s in plant.equipment}
    fixed = {m for m in found if plant.equipment[m].can("stores milk")}
    return frozenset() if fixed else frozenset(found | riders)
