"""The operating map for the day: vacuum, speed and power by mode, pumps running, units attached.

Points are added until a straight line between them is near enough halfway between them: a
third of the stated error in vacuum, half of it in power.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

from byrewright.plant.plant import Plant
from byrewright.standards.rulebook import Rulebook, default_rulebook
from byrewright.studies.vacuum.building import network_of
from byrewright.studies.vacuum.network import Network
from byrewright.studies.vacuum.situations import Situation
from byrewright.studies.vacuum.steady import Steady, solve

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

ERROR_KPA = 0.1  # a straight line between points is nearer than this, everywhere
POWER_ERROR_KW = 0.1
WASHING = frozenset({"wash", "rinse"})


@dataclass(frozen=True, slots=True)
class OperatingMap:
    """Vacuum below ambient kPa, speed as a share and shaft kW, arrays (modes, pump states, units).

    `pumps` names the pumps in order; a pump state is a number with one bit for each (bit 0 the
    first). `row` gives the row of each mode. `units` are the points; between them straight lines.
    """

    pumps: tuple[str, ...]
    row: dict[str, int]
    units: Floats
    vacuum_kpa: Floats
    least_at_units_kpa: Floats
    speed: Floats
    power_kw: Floats

    def look_up(
        self, mode: str, running: Iterable[str], units: float
    ) -> tuple[float, float, float]:
        """(vacuum at the receiver, speed, shaft kW) with these pumps running and units attached."""
        import numpy as np

        state = sum(1 << self.pumps.index(name) for name in dict.fromkeys(running))
        at = (self.row[mode], state)
        vacuum, speed, power = (
            float(np.interp(units, self.units, table[at]))
            for table in (self.vacuum_kpa, self.speed, self.power_kw)
        )
        return vacuum, speed, power


def operating_map(plant: Plant, rules: Rulebook | None = None) -> OperatingMap:
    """The operating map of a plant, every mode and every set of pumps running.

    Raises:
        NoNetwork: the plant has no air network.
        NotSolved: a point did not come into balance.
    """
    import numpy as np

    network = network_of(plant, rules or default_rulebook())
    names = tuple(p.name for p in network.pumps)
    kinds: dict[tuple[bool, tuple[str | None, ...]], int] = {}
    row: dict[str, int] = {}
    modes: list[str] = []
    for mode in plant.modes:
        kind = _kind(network, mode)
        if kind not in kinds:
            kinds[kind] = len(modes)
            modes.append(mode)
        row[mode] = kinds[kind]
    known: dict[tuple[str, int, int], tuple[float, float, float, float]] = {}

    def point(mode: str, state: int, units: int) -> tuple[float, float, float, float]:
        if (mode, state, units) not in known:
            known[mode, state, units] = _point(network, mode, state, units, names)
        return known[mode, state, units]

    every = round(network.units)
    grid = sorted({round(every * i / 4) for i in range(5)})
    cases = [(mode, state) for mode in modes for state in range(1 << len(names))]
    fresh = list(pairwise(grid))
    while fresh:
        split = []
        for low, high in fresh:
            middle = (low + high) // 2
            if middle in (low, high):
                continue
            if any(
                _bends(
                    point(*c, low),
                    point(*c, middle),
                    point(*c, high),
                    (middle - low) / (high - low),
                )
                for c in cases
            ):
                grid.append(middle)
                split += [(low, middle), (middle, high)]
        fresh = split
    grid = sorted(set(grid))
    table = np.array(
        [[[point(m, s, u) for u in grid] for s in range(1 << len(names))] for m in modes]
    )
    return OperatingMap(
        names,
        row,
        np.array(grid, dtype=float),
        *(np.ascontiguousarray(table[..., i]) for i in range(4)),
    )


def _kind(network: Network, mode: str) -> tuple[bool, tuple[str | None, ...]]:
    """What tells modes apart for the air: washing or not, and the valves in the air lines."""
    gates = dict.fromkeys(s.machine for s in network.segments if s.open_in)
    positions = tuple(network.plant.position(mode, g) for g in gates if g)
    return bool(WASHING & set(network.plant.modes[mode].does)), positions


def _bends(a: tuple[float, ...], b: tuple[float, ...], c: tuple[float, ...], at: float) -> bool:
    off = [abs(y - (x + (z - x) * at)) for x, y, z in zip(a, b, c, strict=True)]
    vacuum, least, _, power = off
    return max(vacuum, least) > ERROR_KPA / 3.0 or power > POWER_ERROR_KW / 2.0


def _point(
    network: Network, mode: str, state: int, units: int, names: tuple[str, ...]
) -> tuple[float, float, float, float]:
    if state == 0:
        return 0.0, 0.0, 0.0, 0.0
    found = at_point(network, mode, [n for i, n in enumerate(names) if state >> i & 1], units)
    return found.milk_vacuum_kpa, found.least_at_units_kpa, found.speed, found.power_kw


def at_point(network: Network, mode: str, running: Iterable[str], units: float) -> Steady:
    """The network solved at one point of the map (for its test, and for exact answers)."""
    share = units / network.units
    washing = bool(WASHING & set(network.plant.modes[mode].does))
    return solve(
        network,
        Situation(
            "map", "Operating map", mode, share, 1.0 if washing else share, washing, tuple(running)
        ),
    )
