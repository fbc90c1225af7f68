"""Wrong positions in plain words."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping

from byrewright.plant.plant import Plant
from byrewright.plant.record import in_words
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


def mode_by_mode(
    told: Iterable[tuple[str, Iterable[str]]], kinds: Mapping[str, Collection[str]]
) -> list[str]:
    """Texts with the modes in which they hold; one that holds in all stands alone.

    Modes that are all of a kind are told by it, those of the text that most have as the others.

    >>> mode_by_mode([("mend it", ["day"]), ("mend it", ["dip_1"])], {})
    ['mend it']
    >>> many = {"washing": ("rinse", "hot_wash"), "milking": ("day",)}
    >>> mode_by_mode([("a", many["washing"]), ("b", ["day"]), ("c", ["x", "y", "z"])], many)
    ['in washing: a', 'in day: b', 'in other modes: c']
    """
    modes: dict[str, list[str]] = {}
    for text, here in told:
        modes.setdefault(text, []).extend(here)
    if len(modes) == 1:
        return list(modes)
    most = max(modes, key=lambda text: len(modes[text]))
    parts = []
    for text, here in modes.items():
        if text != most:
            whole = {k for k, every in kinds.items() if len(every) > 1 and {*every} <= {*here}}
            left = [m for m in here if not any(m in kinds[k] for k in whole)]
            names = [*(k for k in kinds if k in whole), *(str(in_words(m)) for m in left)]
            parts.append(f"in {', '.join(names)}: {text}")
    return [*parts, f"in other modes: {most}"]
