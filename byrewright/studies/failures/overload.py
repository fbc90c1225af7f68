"""Boards left alone with the loads of a lost one: what they carry, when they trip, what is shed.

Loads are those of undisturbed milking wherever they still have a supply. That some of them may be
broken too is not taken off, so that a further failure never mends an overload.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from byrewright.physics.motors import breaker_trip_s, current_a
from byrewright.plant.plant import Plant
from byrewright.plant.roles import SharesPower
from byrewright.standards.rulebook import Rulebook
from byrewright.studies.sizing.feeds import carried, kva_of
from byrewright.studies.sizing.loads import ElectricLoad, is_heat

MILKING = "milking"


@dataclass(frozen=True, slots=True)
class Overload:
    """A board over its rating: current, seconds until it trips, and the loads that people must
    switch off, in order, so that it holds; `holds` is false when that is not enough."""

    board: str
    amps: float
    rated_a: float
    trips_s: float
    shed: tuple[str, ...]
    holds: bool


def overloads(
    plant: Plant,
    loads: Sequence[ElectricLoad],
    rules: Rulebook,
    volts: float,
    phases: int,
    lost: frozenset[str],
) -> tuple[Overload, ...]:
    """Every board that is over its rating with some supplies lost.

    Heat is shed first, then cold, the largest first.
    """
    found = []
    mine = carried(plant, loads, lost)
    holds = rules.number("breaker.holds_multiple")
    for board in plant.machines(SharesPower):
        if board.rating_a is None or board.id not in mine:
            continue
        here = [one for one in mine[board.id] if one.kw(MILKING) > 0]
        amps = current_a(kva_of(here, MILKING), volts, phases)
        if amps <= holds * board.rating_a:
            continue
        trips = breaker_trip_s(amps / board.rating_a, holds,
                               rules.number("breaker.time_constant_s"))  # fmt: skip
        shed: list[str] = []
        left = list(here)
        now = amps
        for one in sorted((x for x in here if _rank(x) < math.inf),
                          key=lambda x: (_rank(x), -x.kw(MILKING), x.machine.id)):  # fmt: skip
            if now <= board.rating_a:
                break
            left.remove(one)
            shed.append(one.machine.id)
            now = current_a(kva_of(left, MILKING), volts, phases)
        found.append(Overload(board.id, amps, board.rating_a, trips, tuple(shed),
                              now <= holds * board.rating_a))  # fmt: skip
    return tuple(found)


def _rank(load: ElectricLoad) -> float:
    """Place in the order of shedding; infinite for what milking needs."""
    if is_heat(load.machine):
        return 0
    return 1 if load.machine.can("makes cold") else math.inf
