"""What feeds what, also with a board lost, and the current that each board then carries."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from byrewright.physics.demand import together_kva
from byrewright.physics.motors import current_a
from byrewright.plant.plant import Plant
from byrewright.plant.roles import SharesPower
from byrewright.studies.sizing.loads import SITUATIONS, ElectricLoad

NOTHING: frozenset[str] = frozenset()


def feeders(plant: Plant, lost: frozenset[str] = NOTHING) -> dict[str, str]:
    """The live supply that each machine is fed from: the first of its list that has power."""
    live: dict[str, bool] = {}

    def has_power(tag: str, seen: frozenset[str]) -> bool:
        if tag in lost or tag in seen or tag not in plant.equipment:
            return False
        if tag not in live:
            fed = plant.equipment[tag].fed_from
            live[tag] = not fed or any(has_power(f, seen | {tag}) for f in fed)
        return live[tag]

    found = {}
    for machine in plant.equipment.values():
        first = next((f for f in machine.fed_from if has_power(f, NOTHING)), None)
        if first is not None and machine.id not in lost:
            found[machine.id] = first
    return found


def chains(plant: Plant, lost: frozenset[str] = NOTHING) -> dict[str, tuple[str, ...]]:
    """For each machine with power, everything between it and the source, nearest first."""
    first = feeders(plant, lost)
    found = {}
    for tag in first:
        way: list[str] = []
        here: str | None = first[tag]
        while here is not None and here not in way:
            way.append(here)
            here = first.get(here)
        found[tag] = tuple(way)
    return found


def carried(
    plant: Plant, loads: Sequence[ElectricLoad], lost: frozenset[str] = NOTHING
) -> dict[str, list[ElectricLoad]]:
    """The loads that each supply carries."""
    found: dict[str, list[ElectricLoad]] = {}
    every = chains(plant, lost)
    for one in loads:
        for supply in every.get(one.machine.id, ()):
            found.setdefault(supply, []).append(one)
    return found


def kva_of(loads: Sequence[ElectricLoad], situation: str) -> float:
    """Apparent power of some loads in a situation."""
    return together_kva([(one.kw(situation), one.power_factor) for one in loads])


@dataclass(frozen=True, slots=True)
class Feed:
    """What a board carries at its worst: with its usual feeds, and with another board lost."""

    kva: float
    amps: float
    worst_kva: float
    worst_amps: float
    lost: str


def feeds_of(
    plant: Plant, loads: Sequence[ElectricLoad], volts: float, phases: int, *, one_lost: bool
) -> Mapping[str, Feed]:
    """The feed of each board; `one_lost`: every other board may be lost, one at a time."""
    boards = [b.id for b in plant.machines(SharesPower)]
    most: dict[str, tuple[float, str]] = dict.fromkeys(boards, (0.0, ""))
    usual: dict[str, float] = dict.fromkeys(boards, 0.0)
    for lost in ("", *(boards if one_lost else ())):
        mine = carried(plant, loads, frozenset({lost}) if lost else NOTHING)
        for board in boards:
            kva = max((kva_of(mine.get(board, []), s) for s in SITUATIONS), default=0.0)
            if not lost:
                usual[board] = kva
            if kva > most[board][0] + 1e-9:
                most[board] = (kva, lost)
    return {
        b: Feed(usual[b], current_a(usual[b], volts, phases), most[b][0],
                current_a(most[b][0], volts, phases), most[b][1])
        for b in boards
    }  # fmt: skip
