"""Wrong positions in plain words."""

from __future__ import annotations

from collections.abc import Iterable

from byrewright.plant.plant import Plant
from byrewright.studies.routes.propagation import Move

_SAID = {
    "open": "open",
    "half": "half open",
    "closed": "closed",
    "to_b": "set to its b side",
    "to_c": "set to its c side",
    "runs": "running",
    "stopped": "stopped",
    "full": "full",
    "pulses": "pulsing",
}


def said(position: str) -> str:
    """A position as people say it."""
    return _SAID.get(position, position)


def move(plant: Plant, one: Move) -> str:
    """One wrong position: tag, label and position."""
    machine_id, position = one
    machine = plant.equipment[machine_id]
    label = f" ({machine.label})" if machine.label else ""
    return f"{machine_id}{label} {said(position)}"


def moves(plant: Plant, many: Iterable[Move]) -> str:
    """Several wrong positions, joined."""
    return " and ".join(move(plant, m) for m in many) or "nothing wrong"
