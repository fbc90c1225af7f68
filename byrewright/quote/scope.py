"""What falls under which scope of supply, and the sentences of what is not in the offer."""

from __future__ import annotations

from byrewright.plant.machine import Machine
from byrewright.plant.plant import Plant
from byrewright.studies.count import Item

_BY_ABILITY: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("site", ("supplies power", "gives water", "is a drain", "loads tankers")),
    ("boards", ("shares power", "generates power", "bridges power")),
    ("controls", ("controls", "senses", "tells people")),
    ("tanks", ("stores milk",)),
    ("refrigeration", ("makes cold",)),
    ("parlour", ("stands cows", "turns deck", "carries deck", "joins deck", "brings cows",
                 "gives milk", "removes units", "rinses units", "pulsates")),
)  # fmt: skip
"""Scope by what a machine can do, the first that holds; all else is a machine."""
_BY_GROUP = {
    "pipes": "pipes", "fittings": "pipes", "valves": "pipes", "supports": "pipes",
    "sensors": "controls", "power cables": "cables", "signal cables": "signals",
}  # fmt: skip


def scope_of_machine(machine: Machine) -> str:
    """The scope that a machine falls under."""
    return next(
        (scope for scope, words in _BY_ABILITY if any(machine.can(w) for w in words)), "machines"
    )


def scopes(plant: Plant) -> dict[str, str]:
    """The scope of every machine by tag."""
    return {tag: scope_of_machine(one) for tag, one in plant.equipment.items()}


def scope_of(item: Item, by_tag: dict[str, str]) -> str:
    """The scope of a thing of the count."""
    return _BY_GROUP.get(item.group) or by_tag[item.tags[0]]
