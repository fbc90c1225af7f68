"""What a run leaves behind: milkings, readings and the totals between two states."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from byrewright.engine import shape as sh
from byrewright.engine.compiled import Compiled
from byrewright.engine.kernels.loop import Z_FIRST
from byrewright.plant.farm import clock, minutes
from byrewright.plant.plant import Plant

TANK_EMPTY = 0.005  # share of its volume below which a tank's temperature is not judged


@dataclass(slots=True)
class MilkingSession:
    """One milking as it went; times in seconds of the run."""

    day: int
    name: str
    asked_s: float
    begun_s: float
    last_off_s: float
    left_s: float
    wash_end_s: float
    stopped_s: float
    held_s: float
    kg: float
    hot_c: float
    return_c: float
    strength: float
    left_kg: float
    dry_s: float
    heater_c: float
    """Coldest heater as the wash begins; 1000 where none feeds it."""
    target_h: float
    operators: int
    washed: bool
    cows: sh.Floats

    @property
    def hours(self) -> float:
        """From when it was to start until the last unit was off; only where it `ended`."""
        return (self.last_off_s - self.asked_s) / 3600

    @property
    def ended(self) -> bool:
        """Whether every cow was milked and left."""
        return self.left_s > 0.0


@dataclass(slots=True)
class Run:
    """A simulated stretch of days: the compiled plant, its states and what was read."""

    plant: Plant
    compiled: Compiled
    month: int
    days: int
    seed: int
    first: sh.State
    last: sh.State
    seen: sh.Floats
    sessions: list[MilkingSession] = field(default_factory=list)
    beyond_s: float = 0.0
    loads: list[sh.Floats] = field(default_factory=list)
    hot: bool = False

    @property
    def seconds(self) -> float:
        """Length of the reported stretch."""
        n = self.last.n[sh.I_STEP] - self.first.n[sh.I_STEP]
        return float(n) * self.compiled.step_s

    @property
    def seen_until_s(self) -> float:
        """The last second that was simulated, beyond the reported stretch too."""
        return float(self.last.n[sh.I_STEP]) * self.compiled.step_s + self.beyond_s

    def clock(self, t_s: float) -> str:
        """Time of day of a time of the run."""
        return clock((t_s + self.compiled.origin_s) / 60)

    @property
    def done(self) -> list[MilkingSession]:
        """The milkings that came to their end within what was simulated."""
        return [b for b in self.sessions if b.ended]

    @property
    def all_loads(self) -> sh.Floats:
        """Every tanker load of the stretch: came, left, kg, degC, kJ."""
        return np.concatenate(self.loads) if self.loads else np.zeros((0, 5))

    def items(self, section: str) -> sh.Floats:
        """State at the end of one sort of item."""
        return self.last.items[self.compiled.tables.rows(section)]

    def change(self, section: str) -> sh.Floats:
        """State at the end less that at the beginning, of one sort of item."""
        rows = self.compiled.tables.rows(section)
        return np.asarray(self.last.items[rows] - self.first.items[rows])

    def grown(self, index: int) -> float:
        """Growth of one of the general figures."""
        return float(self.last.g[index] - self.first.g[index])

    def vessel(self, tag: str) -> sh.Floats:
        """A vessel's state at the end."""
        return np.asarray(self.last.items[self.compiled.vessel(tag)])

    def content_kg(self, tag: str) -> sh.Floats:
        """Readings of a vessel's content."""
        return np.asarray(self.seen[:, Z_FIRST + self.compiled.vessel(tag)])

    def temperature_c(self, tag: str) -> sh.Floats:
        """Readings of a vessel's temperature."""
        count = len(self.compiled.names.vessels)
        return np.asarray(self.seen[:, Z_FIRST + count + self.compiled.vessel(tag)])

    def outlet_c(self, index: int) -> sh.Floats:
        """Readings of an exchanger's milk outlet (-1 while no milk passes)."""
        names = self.compiled.names
        at = Z_FIRST + 2 * len(names.vessels) + len(names.transfers) + index
        return np.asarray(self.seen[:, at])

    def reach_kg(self, tag: str) -> float:
        """Content from which a vessel's temperature is that of all its milk: that its agitator
        reaches, or where it has none the rest of an emptying."""
        tables, names = self.compiled.tables, self.compiled.names
        if tag in names.cooled:
            return float(tables.F[tables.num[sh.N_K0] + names.cooled.index(tag), sh.K_LEAST])
        return TANK_EMPTY * float(tables.F[self.compiled.vessel(tag), sh.V_CAP])

    def temperature_at(self, tag: str, t_s: float) -> float | None:
        """Temperature of a vessel at a time, or None when it holds too little to have one that
        counts (see `reach_kg`) or is not read."""
        times = self.seen[:, 0]
        if len(times) == 0 or t_s < times[0] or t_s > times[-1]:
            return None
        at = int(np.searchsorted(times, t_s))
        if self.content_kg(tag)[at] < self.reach_kg(tag):
            return None
        return float(self.temperature_c(tag)[at])

    @property
    def milk_kg(self) -> float:
        """Milk of all cows in the stretch, withheld milk too."""
        names = self.compiled.names
        transfers = self.change("transfers")
        return float(
            sum(transfers[i, sh.S_KG] for i in range(len(names.transfers))
                if names.transfer_machines[i] in names.units)
        )  # fmt: skip

    @property
    def milk_l(self) -> float:
        """The same in litres."""
        return self.litres(self.milk_kg)

    def litres(self, kg: float) -> float:
        """Litres of milk of a mass, kg."""
        return float(kg) / self.compiled.milk_kg_l


def session_of(
    plant: Plant, compiled: Compiled, state: sh.State, number: int, count: int
) -> MilkingSession:
    """The record of a milking out of the state."""
    slot = number % int(compiled.tables.num[sh.N_SLOTS])
    each = max(1, len(plant.milkings))
    one = sorted(plant.milkings, key=lambda m: minutes(m.start))[number % each]
    b = state.session[slot]
    rows = compiled.tables.rows("washes")
    return MilkingSession(
        number // each, one.name, float(b[sh.B_ASKED]), float(b[sh.B_BEGUN]),
        float(b[sh.B_LAST_OFF]), float(b[sh.B_WASH_BEGUN]), float(b[sh.B_WASH_END]),
        float(b[sh.B_STOPPED]), float(b[sh.B_HELD]), float(b[sh.B_KG]), float(b[sh.B_HOT_C]),
        float(b[sh.B_RETURN_C]), float(b[sh.B_STRENGTH]), float(b[sh.B_LEFT_KG]),
        float(b[sh.B_DRY_S]), float(b[sh.B_HEATER_C]), one.target_h, one.operators,
        bool(compiled.tables.I[rows][number % each, 0]), state.out[slot, :count].copy(),
    )  # fmt: skip


MOST = (sh.G_KW_MOST, sh.G_MINUTE_MOST)
LEAST = (sh.G_VAC_LEAST, sh.G_AIR_LEAST)


def joined(runs: list[Run], days: int) -> Run:
    """Runs of following days as one: what grows is added, extremes are the worst of all."""
    head = runs[0]
    last = head.first.copy()
    for run in runs:
        last.items[:] += run.last.items - run.first.items
        last.g[:] += run.last.g - run.first.g
        last.n[sh.I_STEP] += run.last.n[sh.I_STEP] - run.first.n[sh.I_STEP]
    vessels = head.compiled.tables.rows("vessels")
    coolers = head.compiled.tables.rows("exchangers")
    ends = np.stack([r.last.items for r in runs])
    v, x = last.items[vessels], last.items[coolers]
    for column in (sh.P_MOST, sh.P_WARMEST):
        v[:, column] = ends[:, vessels, column].max(axis=0)
    v[:, sh.P_LEAST] = ends[:, vessels, sh.P_LEAST].min(axis=0)
    over = ends[:, vessels, sh.P_OVER_AT]
    v[:, sh.P_OVER_AT] = np.where((over >= 0).any(axis=0), over.max(axis=0), -1.0)
    x[:, sh.SX_WARMEST] = ends[:, coolers, sh.SX_WARMEST].max(axis=0)
    for index in MOST:
        last.g[index] = max(r.last.g[index] for r in runs)
    for index in LEAST:
        last.g[index] = min(r.last.g[index] for r in runs)
    whole = Run(
        head.plant, head.compiled, head.month, days, head.seed, head.first, last,
        np.concatenate([r.seen for r in runs]),
    )  # fmt: skip
    for run in runs:
        whole.sessions += run.sessions
        whole.loads += run.loads
        whole.beyond_s = max(whole.beyond_s, run.beyond_s)
    return whole
