"""Milk on one slope of a milkline, from the milking cow by cow: sizing and vacuum ask here.

Neighbouring units hang on one slope and are put on one stall apart, so the peaks of their cows
stand together; an even share of the plant's flow would never see it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from byrewright.engine import shape as sh
from byrewright.engine.draws import Cows, milked_share
from byrewright.plant.plant import Plant
from byrewright.plant.roles import CollectsMilk, StandsCows
from byrewright.standards.rulebook import Rulebook
from byrewright.studies.sizing.duty import Duty

STEP_S = 5.0
WORST_STEPS = 2
"""The worst time is a mean of ten seconds."""
MOST_COWS = 900
"""Cows of the largest milking that are followed: many turns of any deck."""
SEED = 1

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class SlopeMilk:
    """What the slopes of a plant's milklines carry.

    `flow_l_min` and `attached` have a row for each slope and a column for each `STEP_S` of the
    milking: milk flow, and units put on in that step.
    """

    slopes: int
    units: float
    flow_l_min: Floats
    attached: Floats

    @property
    def worst_l_min(self) -> float:
        """The most that ran on one slope, mean of ten seconds."""
        kernel = np.ones(WORST_STEPS) / WORST_STEPS
        return float(max(np.convolve(row, kernel, "valid").max() for row in self.flow_l_min))

    @property
    def mean_l_min(self) -> float:
        """Mean of a slope while milk runs on it."""
        runs = self.flow_l_min[self.flow_l_min > 0.0]
        return float(runs.mean()) if runs.size else 0.0


def slopes_of(plant: Plant, line: CollectsMilk) -> int:
    """Ways milk runs down: two to each receiver of a loop, one to each of a dead end."""
    outlets = sum(
        end.startswith(f"{line.id}.receiver_")
        for pipe in plant.pipes_at(line.id)
        for end in (pipe.start, pipe.end)
    )
    return max(1, outlets) * (2 if line.looped else 1) * line.count


def slope_milk(plant: Plant, rules: Rulebook, duty: Duty) -> SlopeMilk:
    """Milk on each slope through the largest milking.

    Units are shared by the slopes in the order of their stalls. On a deck a unit is put on each
    time a stall passes; in rows one after another as the operators get to them, row by row. Stops,
    kick-offs and cows that go round again are left out: they spread the peaks.

    Formula: q_slope(t) = sum over its units of dm/dt of the cow's own milk curve. Derived.
    """
    slopes = max(1, sum(slopes_of(plant, line) for line in plant.machines(CollectsMilk)))
    herd = Cows(plant, rules, SEED)
    largest = max(herd.programme.milkings, key=lambda m: m.milk_l)
    cows = herd.drawn(0, largest.place)[:MOST_COWS]
    attach_s, stall = _attached(plant, duty, len(cows))
    slope = np.minimum(stall * slopes // max(duty.stalls, 1), slopes - 1)
    steps = int((attach_s.max() + cows[:, sh.C_ON_S].max()) / STEP_S) + 2
    first = (attach_s / STEP_S).astype(np.int64)
    span = np.arange(int(cows[:, sh.C_ON_S].max() / STEP_S) + 3)
    edges_s = (first[:, None] + span) * STEP_S - attach_s[:, None]
    after = np.clip(edges_s, 0.0, cows[:, sh.C_ON_S, None]) - cows[:, sh.C_LAG, None]
    given = milked_share(after, cows[:, sh.C_FLOW_S, None], cows[:, sh.C_RISE, None],
                         rules.number("milking.fall_share"))  # fmt: skip
    litres = cows[:, sh.C_KG, None] / (rules.number("milk.density_kg_m3") / 1000.0)
    flow = np.zeros((slopes, steps + len(span)))
    np.add.at(flow, (slope[:, None], first[:, None] + span[:-1]),
              np.diff(given, axis=1) * litres * 60.0 / STEP_S)  # fmt: skip
    attached = np.zeros_like(flow)
    np.add.at(attached, (slope, first), 1.0)
    last = int(attach_s.max() / STEP_S) + 1
    return SlopeMilk(slopes, duty.units / slopes, flow[:, :last], attached[:, :last])


def _attached(plant: Plant, duty: Duty, cows: int) -> tuple[Floats, NDArray[np.int64]]:
    """When each cow's unit is put on, s, and at which stall."""
    i: NDArray[np.int64] = np.arange(cows, dtype=np.int64)
    platform = plant.first(StandsCows)
    if platform is None or platform.layout == "rotary":
        return np.asarray(i * duty.stall_s), i % max(duty.stalls, 1)
    each = max(0.5, duty.routine_s / max(duty.operators, 1))
    place = i % duty.stalls
    return np.asarray(
        (i // duty.stalls) * max(duty.turn_s, duty.stalls * each) + place * each
    ), place
