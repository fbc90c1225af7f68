"""Milk that stands: what comes, what tankers take, and which tank stands empty for its wash."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from byrewright.engine.kernels.control import NEARLY_FULL
from byrewright.plant.farm import Collection, minutes
from byrewright.plant.programme import DAY_MIN, loads_direct
from byrewright.plant.roles import FeedsCalves, LoadsTankers, StoresMilk
from byrewright.studies.sizing.context import StudyContext
from byrewright.studies.sizing.duty import Duty

STEP_MIN = 5
LEAST_L = 1e-6
SETTLE_CYCLES = 3
"""Rounds of the timetable run before the one that is read."""


@dataclass(slots=True)
class Timetable:
    """What storing and loading come to over one round of the collections."""

    content_l: list[float] = field(default_factory=list)
    into_l: list[float] = field(default_factory=list)
    """Of the milk that comes in each step, what runs into tanks and not straight to a tanker."""
    visits: list[tuple[int, float]] = field(default_factory=list)
    """Minute of the round and content as each tanker arrives."""
    emptied: list[tuple[int, float]] = field(default_factory=list)
    """Minute of the round at which a tanker leaves a tank empty, and its volume: it is washed."""
    met_l: dict[str, list[float]] = field(default_factory=dict)
    """By tank, what stands in it each time that milk of another milking begins to come into it."""
    grows_l: float = 0.0
    """Milk left over by a round, which would heap up."""


def cycle_days(collections: tuple[Collection, ...]) -> int:
    """Days after which the collections repeat.

    >>> cycle_days((Collection(at="08:00", tanker_l=20000, every_days=2),))
    2
    """
    return math.lcm(*(c.every_days for c in collections)) if collections else 1


def inflow_l(ctx: StudyContext, duty: Duty) -> list[float]:
    """Milk that reaches the tanks in each step of a day: saleable, less the calves' draw."""
    draw = sum(f.count * f.draw_l_milking for f in ctx.plant.machines(FeedsCalves))
    steps = [0.0] * (DAY_MIN // STEP_MIN)
    for one in duty.milkings:
        milk = max(0.0, one.saleable_l - draw)
        count = max(1, round(60 * one.hours / STEP_MIN))
        for i in range(count):
            steps[(one.start_min // STEP_MIN + i) % len(steps)] += milk / count
    return steps


def run_timetable(ctx: StudyContext, duty: Duty) -> Timetable:
    """Fill and empty over the collections until it repeats, then one round more; worked out once.

    A tanker takes milk as it comes, or loads what stands there and leaves (`loads_direct`).
    """
    if "timetable" not in ctx.known:
        ctx.known["timetable"] = _run(ctx, duty)
    found: Timetable = ctx.known["timetable"]
    return found


def _run(ctx: StudyContext, duty: Duty) -> Timetable:
    plant, inflow = ctx.plant, inflow_l(ctx, duty)
    bays = plant.machines(LoadsTankers)
    rate = sum(b.count * b.load_l_min for b in bays) or 800.0
    direct = loads_direct(plant)
    round_days = cycle_days(plant.collections)
    arrivals: dict[int, list[Collection]] = {}
    for one in plant.collections:
        for day in range(0, round_days, one.every_days):
            step = (day * DAY_MIN + minutes(one.at)) // STEP_MIN
            arrivals.setdefault(step, []).append(one)
    steps = round_days * DAY_MIN // STEP_MIN
    stored = room = 0.0
    every = [t for t in plant.machines(StoresMilk) for _ in range(t.count)]
    tanks = _Tanks([t.volume_l for t in every])
    for turn in range(SETTLE_CYCLES + 1):
        found, start = Timetable(), stored
        for step in range(steps):
            for tanker in arrivals.get(step, []):
                found.visits.append((step * STEP_MIN, stored))
                room = tanker.tanker_l + (0.0 if direct else room)
            coming = inflow[step % len(inflow)]
            straight = min(coming, room) if direct else 0.0
            loaded = min(room - straight, rate * STEP_MIN, stored)
            room -= straight + loaded
            stored += coming - straight - loaded
            there = room + straight + loaded > 0.0
            if stored - coming + straight <= 1e-9 and not direct:
                room = 0.0
            met = tanks.step(coming - straight, loaded)
            if met is not None:
                found.met_l.setdefault(every[met[0]].id, []).append(met[1])
            if there and room <= LEAST_L:
                found.emptied += [(step * STEP_MIN, volume_l) for volume_l in tanks.washed()]
            found.content_l.append(stored)
            found.into_l.append(coming - straight)
        found.grows_l = max(0.0, stored - start) if turn == SETTLE_CYCLES else 0.0
    return found


@dataclass(slots=True)
class _Tanks:
    """Which tank holds what, as the day fills and loads them: one is filled until it is full or is
    loaded, the fullest is loaded first."""

    volume_l: list[float]
    content_l: list[float] = field(init=False)
    _clean: set[int] = field(default_factory=set)
    _filled: int = 0
    _loading: int | None = None
    _comes_into: int | None = None

    def __post_init__(self) -> None:
        """They begin empty and clean."""
        self.content_l = [0.0] * len(self.volume_l)
        self._clean = set(range(len(self.volume_l)))

    def washed(self) -> list[float]:
        """Volumes of the tanks that a tanker leaves empty, and that held milk before."""
        empty = {i for i, litres in enumerate(self.content_l) if litres <= LEAST_L} - self._clean
        self._clean |= empty
        return [self.volume_l[i] for i in sorted(empty)]

    def step(self, comes_l: float, loaded_l: float) -> tuple[int, float] | None:
        """Milk that comes and is loaded in a step; the tank into which milk begins to come, and
        what stands there."""
        if not self.volume_l:
            return None
        if self._share(self._filled) >= NEARLY_FULL:
            self._fill_another()
        if loaded_l <= 0.0:
            self._loading = None
        while loaded_l > LEAST_L:
            if self._loading is None:
                self._loading = max(range(len(self.volume_l)), key=self._share)
                if comes_l > 0.0 and self._loading == self._filled:
                    self._fill_another()
            i = self._loading
            part = min(loaded_l, self.content_l[i])
            self.content_l[i] -= part
            loaded_l -= part
            if self.content_l[i] > LEAST_L:
                break
            self._loading = None
            if sum(self.content_l) <= LEAST_L:
                break
        before, stands = self._comes_into, self.content_l[self._filled]
        self._comes_into = self._filled if comes_l > 0.0 else None
        self.content_l[self._filled] += comes_l
        if self._comes_into is None:
            return None
        self._clean.discard(self._filled)
        return (self._filled, stands) if before != self._filled else None

    def _fill_another(self) -> None:
        """The next tank that has room, where there is one."""
        count = len(self.volume_l)
        for k in range(1, count):
            i = (self._filled + k) % count
            if i != self._loading and self._share(i) < NEARLY_FULL:
                self._filled = i
                return

    def _share(self, i: int) -> float:
        return self.content_l[i] / self.volume_l[i]
