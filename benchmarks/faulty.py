"""A plant with a known fault and readings drawn of it: what a diagnosis is proven on.

The truth is worked out by the studies with every figure a little off, as in a sound plant, and the
fault on top; readings are drawn with their doubt. Of the matrix that a diagnosis works with, it
takes which faults there are, and how one of many alike differs from the next.
"""

from __future__ import annotations

import math
import sys
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(ROOT))

from byrewright.plant.plant import Plant  # noqa: E402
from byrewright.site.condition.causes import (  # noqa: E402
    Next,
    decided,
    group_shares,
    model_of,
    next_readings,
)
from byrewright.site.condition.faults import Fault  # noqa: E402
from byrewright.site.condition.figures import figures_of  # noqa: E402
from byrewright.site.condition.forward import Forward, Readings  # noqa: E402
from byrewright.site.condition.infer import NONE, Model, believe  # noqa: E402
from byrewright.site.condition.seen import Reading  # noqa: E402
from byrewright.standards.diagnosis import COMPLAINTS  # noqa: E402
from byrewright.standards.rulebook import Rulebook  # noqa: E402

MOST_STEPS = 60


@dataclass(frozen=True, slots=True)
class Told:
    """How a diagnosis ended: groups in order of chance (NONE: no fault), the chance of the first,
    steps, minutes of work, what was complained of."""

    order: tuple[int, ...]
    share: float
    steps: int
    minutes: float
    complaints: tuple[str, ...]
    alike: frozenset[int]
    """Other groups, or NONE, that all readings together do not tell from what was put in."""


@dataclass
class Truth:
    """What a plant really reads: a usual one of many alike, and by number the bad ones."""

    usual: Readings
    bad: dict[int, tuple[str, Readings]]
    put: list[tuple[int, Readings]] = field(default_factory=list)
    """Each fault with what it alone does to a plant as stated."""
    own: dict[tuple[int, int], float] = field(default_factory=dict)


class Faulty:
    """A plant in which faults are put and looked for."""

    def __init__(self, plant: Plant, rules: Rulebook) -> None:
        self.model: Model = model_of(plant, rules)
        self.forward = Forward(plant, rules, figures_of(plant, rules))
        self.home = {k: g for g, some in enumerate(self.model.groups) for k in some}
        """Faults that readings can tell of, with their groups."""

    def run(self, faults: Sequence[int], rng: np.random.Generator) -> Told | None:
        """Put faults in and look for them until it is decided, or no reading would tell more; None
        where the plant with them cannot be solved."""
        truth = self._truth(faults, rng)
        if truth is None:
            return None
        said = self._said(truth, rng)
        readings: list[Reading] = []
        minutes, steps = 0.0, 0
        while True:
            belief = believe(self.model, readings, said)
            shares = group_shares(belief)
            if decided(self.model, shares) or steps >= MOST_STEPS:
                break
            ahead = next_readings(belief)
            if not ahead:
                break
            readings += self._read(ahead[0], truth, rng)
            minutes += ahead[0].minutes
            steps += 1
        order = tuple(sorted(shares, key=lambda g: -shares[g]))
        return Told(order, shares[order[0]], steps, minutes, said, self._alike(truth))

    def _alike(self, truth: Truth) -> frozenset[int]:
        m = self.model.matrix
        points, near = self.model.points, self.model.rules.number("diagnosis.told_apart")
        found: set[int] = set()
        for k, alone in truth.put:
            one = m.faults[k]
            move = np.array([alone[c.id] for c in m.columns]) - m.usual
            if one.each:
                move = np.where([c.each for c in m.columns], move, move / self.model.count(one))
            far = self.model.whole.far(move, one_of_many=one.each)
            found |= {self.home.get(int(f), NONE) for f in points.fault[far < near]}
        return frozenset(found - {self.home[k] for k, _ in truth.put})

    def names(self, g: int) -> str:
        """The faults of a group."""
        if g == NONE:
            return "no fault"
        return " / ".join(self.model.matrix.faults[k].key for k in self.model.groups[g])

    def _truth(self, faults: Sequence[int], rng: np.random.Generator) -> Truth | None:
        values = {
            key: math.exp(f.deviation.sound * rng.standard_normal())
            for key, f in self.forward.figures.items() if not f.each
        }  # fmt: skip
        put: list[tuple[int, dict[str, float]]] = []
        each: list[tuple[Fault, dict[str, float]]] = []
        for k in faults:
            one = self.model.matrix.faults[k]
            far = _how_far(one, rng)
            put.append((k, far))
            if one.each:
                each.append((one, far))
                continue
            for key, times in far.items():
                values[key] = values.get(key, 1.0) * times
        usual = self.forward.at(values)
        if usual is None:
            return None
        truth = Truth(usual, {}, [(k, self.forward.at(far) or usual) for k, far in put])
        for one, far in each:
            more = {k: values.get(k, 1.0) * x for k, x in far.items()}
            found = self.forward.at({**values, **more})
            if found is None:
                return None
            count = self.model.count(one)
            for column in self.model.matrix.columns:
                if not column.each:
                    usual[column.id] += (found[column.id] - usual[column.id]) / count
            number = int(rng.integers(1, count + 1))
            truth.bad[number] = one.at, found
        return truth

    def _said(self, truth: Truth, rng: np.random.Generator) -> tuple[str, ...]:
        number = self.model.rules.number
        idle = number("diagnosis.idle_complaint_share") / len(COMPLAINTS)
        most = number("diagnosis.heard_share")
        m = self.model.matrix
        said = []
        for name, complaint in COMPLAINTS.items():
            far = 0.0
            for notice in complaint.about:
                for i, column in enumerate(m.columns):
                    if column.stem != notice.figure:
                        continue
                    off = notice.off * (abs(m.usual[i]) if notice.share else 1.0)
                    for found in (truth.usual, *(f for _, f in truth.bad.values())):
                        far = max(far, (found[column.id] - m.usual[i]) / off if off else 0.0)
            heard = idle + (most - idle) / (1.0 + math.exp(min(50.0, -6.0 * (far - 1.0))))
            if rng.uniform() < heard:
                said.append(name)
        return tuple(said)

    def _read(self, ahead: Next, truth: Truth, rng: np.random.Generator) -> list[Reading]:
        m = self.model.matrix
        found = []
        for name in ahead.checks:
            i = self.model.index[name]
            column, at = m.columns[i], name.partition("@")[2]
            numbers = range(1, self.model.counts.get(at, 1) + 1) if column.each else (0,)
            for n in numbers:
                machine, bad = truth.bad.get(n, ("", truth.usual))
                value = (bad if n and machine == at else truth.usual)[name]
                for f, (figure, row) in enumerate(zip(m.figures, m.deviation, strict=True)):
                    if n and figure.each and row[i]:
                        draw = truth.own.setdefault((f, n), float(rng.standard_normal()))
                        value += row[i] * draw
                value += column.sigma(m.usual[i]) * float(rng.standard_normal())
                found.append(Reading(f"{name}#{n}" if n else name, value))
        return found


def _how_far(one: Fault, rng: np.random.Generator) -> dict[str, float]:
    """A fault somewhere between its slightest and its gravest grade."""
    t = float(rng.uniform()) * (one.grades - 1)
    low = min(int(t), max(0, one.grades - 2))
    high = min(low + 1, one.grades - 1)

    def between(times: tuple[float, ...]) -> float:
        a, b = math.log(max(times[low], 1e-6)), math.log(max(times[high], 1e-6))
        return math.exp(a + (t - low) * (b - a))

    return {key: between(times) for key, times in one.moves.items()}
