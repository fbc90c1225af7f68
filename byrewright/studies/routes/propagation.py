"""How far a fluid spreads, for many combinations of positions at once.

Bit i of every number here stands for combination i, so one pass over the arcs answers for all
combinations together. Plain Python whole numbers serve as the bit sets.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

Move = tuple[str, str]
"""A machine and the position it has against what the mode wants."""
Combination = tuple[Move, ...]

Way = tuple[int, int, str | None, frozenset[str] | None]
"""From node, to node, machine that guards it, positions in which it is open."""
Start = tuple[int, str | None, frozenset[str] | None]


class Ways(tuple[Way, ...]):
    """Ways that something can take; many spreads share them."""

    @cached_property
    def leaving(self) -> dict[int, tuple[Way, ...]]:
        """The ways by the node they leave."""
        found: dict[int, list[Way]] = {}
        for way in self:
            found.setdefault(way[0], []).append(way)
        return {k: tuple(v) for k, v in found.items()}

    @cached_property
    def guards(self) -> frozenset[str]:
        """The machines that guard one of them."""
        return frozenset(g for _, _, g, _ in self if g is not None)


@dataclass(frozen=True)
class Propagation:
    """Where something gets to: where it starts and the ways it can take."""

    key: str
    starts: tuple[Start, ...]
    ways: Ways

    @cached_property
    def leaving(self) -> dict[int, tuple[Way, ...]]:
        """The ways by the node they leave."""
        return self.ways.leaving

    @cached_property
    def guards(self) -> frozenset[str]:
        """The machines whose position matters to this spread."""
        return self.ways.guards | {g for _, g, _ in self.starts if g is not None}


@dataclass(frozen=True, slots=True)
class Cases:
    """Combinations side by side: the wanted positions, and who differs in which of them."""

    wanted: Mapping[str, str | None]
    combinations: Sequence[Combination]
    every: int
    at: Mapping[Move, int]

    def where(self, machine: str, positions: frozenset[str]) -> int:
        """The combinations in which a machine is in one of `positions`."""
        moved = still = 0
        for (other, position), mask in self.at.items():
            if other == machine:
                moved |= mask
                if position in positions:
                    still |= mask
        if self.wanted.get(machine) in positions:
            still |= self.every & ~moved
        return still


def cases(wanted: Mapping[str, str | None], combinations: Sequence[Combination]) -> Cases:
    """Lay combinations side by side."""
    size = len(combinations) // 8 + 1
    masks: dict[Move, bytearray] = {}
    for number, combination in enumerate(combinations):
        byte, bit = number >> 3, 1 << (number & 7)
        for move in combination:
            mask = masks.get(move)
            if mask is None:
                mask = masks[move] = bytearray(size)
            mask[byte] |= bit
    at = {move: int.from_bytes(mask, "little") for move, mask in masks.items()}
    return Cases(wanted, combinations, (1 << len(combinations)) - 1, at)


class Flood:
    """Spreads over one set of cases, each worked out once."""

    def __init__(self, laid: Cases) -> None:
        self.cases = laid
        self._open: dict[tuple[str, frozenset[str]], int] = {}
        self._done: dict[str, dict[int, int]] = {}

    def where(self, machine: str | None, positions: frozenset[str] | None) -> int:
        """The cases in which a guard is open."""
        if machine is None or positions is None:
            return self.cases.every
        key = (machine, positions)
        if key not in self._open:
            self._open[key] = self.cases.where(machine, positions)
        return self._open[key]

    def of(self, propagation: Propagation) -> dict[int, int]:
        """For each node reached in any case: the cases in which it is reached."""
        if propagation.key not in self._done:
            self._done[propagation.key] = self._propagate(propagation)
        return self._done[propagation.key]

    def _propagate(self, propagation: Propagation) -> dict[int, int]:
        reached: dict[int, int] = {}
        for node, machine, positions in propagation.starts:
            mask = self.where(machine, positions)
            if mask:
                reached[node] = reached.get(node, 0) | mask
        ways = {
            node: [(b, self.where(m, p), m is None) for _, b, m, p in leaving]
            for node, leaving in propagation.leaving.items()
        }
        queue = deque(reached)
        waiting = set(queue)
        while queue:
            node = queue.popleft()
            waiting.discard(node)
            here = reached[node]
            for target, mask, always in ways.get(node, ()):
                before = reached.get(target, 0)
                after = before | (here if always else here & mask)
                if after != before:
                    reached[target] = after
                    if target not in waiting:
                        waiting.add(target)
                        queue.append(target)
        return reached


def walk(propagation: Propagation, position: Mapping[str, str | None]) -> dict[int, Way | None]:
    """Nodes reached in one case, each with the way it was first reached by (None: a start)."""
    found: dict[int, Way | None] = {}
    for node, machine, positions in propagation.starts:
        if machine is None or positions is None or position.get(machine) in positions:
            found.setdefault(node, None)
    queue = deque(found)
    while queue:
        for way in propagation.leaving.get(queue.popleft(), ()):
            _, target, machine, positions = way
            if target in found:
                continue
            if machine is None or positions is None or position.get(machine) in positions:
                found[target] = way
                queue.append(target)
    return found


def could_reach(propagation: Propagation, could: Mapping[str, Collection[str | None]], *,
                surely: bool = False) -> set[int]:  # fmt: skip
    """Nodes reached where each guard chooses for itself among its positions: no combination reaches
    more. `surely`: where a guard is passed in every one of them; every combination reaches these.
    """

    def passes(machine: str | None, positions: frozenset[str] | None) -> bool:
        if machine is None or positions is None:
            return True
        inside = (p in positions for p in could[machine])
        return all(inside) if surely else any(inside)

    found = {node for node, machine, positions in propagation.starts if passes(machine, positions)}
    queue = list(found)
    while queue:
        for _, target, machine, positions in propagation.leaving.get(queue.pop(), ()):
            if target not in found and passes(machine, positions):
                found.add(target)
                queue.append(target)
    return found


def path(found: Mapping[int, Way | None], target: int) -> list[Way]:
    """The ways from a start to `target`, in order."""
    out: list[Way] = []
    node = target
    while (way := found[node]) is not None:
        out.append(way)
        node = way[0]
    return out[::-1]


def bits(mask: int) -> Iterable[int]:
    """The places of the ones in a mask, lowest first."""
    data = mask.to_bytes((mask.bit_length() + 7) // 8, "little")
    for place, byte in enumerate(data):
        while byte:
            low = byte & -byte
            yield place * 8 + low.bit_length() - 1
            byte ^= low
