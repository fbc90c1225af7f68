"""Figures of a plant fitted to what was read: value, interval, and which readings tell it.

Least squares on the studies' own predictions, the doubt of each reading taken in. What the
readings do not tell from another figure, or tell no better than what is known before any, stays as
stated and is said so. Of many alike the mean of those read counts.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from byrewright.plant.plant import Plant
from byrewright.plant.roles import PumpsVacuum
from byrewright.results import Assumption, Result, Table, in_figures
from byrewright.site.condition.figures import Figure, figures_of, with_figures
from byrewright.site.condition.forward import Forward
from byrewright.site.condition.matrix import Column, columns_of
from byrewright.site.condition.taken import Taken
from byrewright.standards.rulebook import Rulebook

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

CAPACITY = "pump_capacity"
"""The test that reads what a vacuum pump gives."""
NOTHING = 1e-5
"""Of its plate, what a pump that stands still is left with, so that its network can be solved."""
STEP = 0.02
"""Step of the differences, in the logarithm of a figure."""
POINT_95 = 1.96
MOST_ASKED = 12
TELLS = 0.2
"""A reading is named where a sigma of what is known before moves it by so many of its sigmas."""
HEAVY = 0.6
"""Correlation from which two figures count as not told apart."""


@dataclass(frozen=True, slots=True)
class Fitted:
    """A figure as fitted: so many times what is stated, with its 95 % interval."""

    figure: Figure
    times: float
    low: float
    high: float
    by: tuple[str, ...]
    """The readings that tell it."""

    @property
    def value(self) -> float:
        """In its own unit, where the plant states it; else so many times."""
        return self.times * (self.figure.stated or 1.0)

    @property
    def said(self) -> str:
        """In words: value, interval, and the readings that tell it."""
        one, stated = self.figure, self.figure.stated or 1.0
        return (
            f"{one.words} {in_figures(self.value)} {one.unit} ({in_figures(self.low * stated)} to "
            f"{in_figures(self.high * stated)}), by {', '.join(self.by)}"
        )

    def assumption(self) -> Assumption:
        """As a study that used it lists it."""
        one = self.figure
        stated = one.stated or 1.0
        where = one.at or "plant"
        return Assumption(
            f"{where} (as measured)", one.words, float(f"{self.value:.4g}"), one.unit,
            f"{self.times:.3g} times what is stated, 95 % of the time between "
            f"{in_figures(self.low * stated)} and {in_figures(self.high * stated)}; fitted to "
            f"{', '.join(self.by)}", "derived",
        )  # fmt: skip


@dataclass(frozen=True, slots=True)
class Stopped:
    """A vacuum pump that gave nothing when it was read: no share of its plate is fitted to that."""

    at: str
    stated: float
    most: float
    """What it may give at most by the reading, L/min free."""
    by: tuple[str, ...]

    def assumption(self) -> Assumption:
        """As a study that used it lists it."""
        return Assumption(
            f"{self.at} (as measured)", "capacity", 0.0, "L/min",
            f"gave nothing when it was read ({', '.join(self.by)}): taken as stopped in every mode",
            "derived",
        )  # fmt: skip


@dataclass(frozen=True, slots=True)
class NotTold:
    """A figure that the readings touch and do not tell, and why."""

    figure: Figure
    why: str


@dataclass(frozen=True)
class Fit:
    """What was fitted, what was not, readings that nothing predicts, and what is left over."""

    figures: dict[str, Figure]
    fitted: tuple[Fitted, ...]
    not_told: tuple[NotTold, ...]
    not_used: tuple[str, ...]
    worst: tuple[str, float] | None
    """The reading farthest from the fit, and how many sigmas away."""
    stopped: tuple[Stopped, ...] = ()

    def put_in(self, plant: Plant, rules: Rulebook) -> tuple[Plant, Rulebook]:
        """The plant and the rulebook with what was fitted."""
        times = {f.figure.key: f.times for f in self.fitted}
        times |= {f"vacuum_capacity@{s.at}": NOTHING for s in self.stopped}
        return with_figures(
            at_rest(plant, (s.at for s in self.stopped)), rules, self.figures, times
        )

    def told(self, result: Result) -> Result:
        """A study's result with the fitted figures among its assumptions, and a table of them."""
        left = "; ".join(f"{n.figure.words} ({n.why})" for n in self.not_told)
        notes = [*result.notes]
        notes += [f"As measured, {s.at} is taken as stopped in every mode: it gave nothing when "
                  f"it was read ({', '.join(s.by)})." for s in self.stopped]  # fmt: skip
        if not (self.fitted or self.stopped):
            notes.append("As measured: the readings settle no figure; the data plates stand.")
        elif self.fitted:
            told = "; ".join(f.said for f in self.fitted)
            notes.append(f"As measured, in place of the data plates: {told}.")
        if any(f.figure.kind == "milk_out" for f in self.fitted):
            notes.append(MILK_OUT)
        if self.worst is not None and abs(self.worst[1]) > FAR:
            notes.append(f"What was read of {self.worst[0]} lies {abs(self.worst[1]):.0f} standard "
                         "deviations from what these figures give: nothing that is fitted explains "
                         "it. Ask `diagnose`, mend or read again.")  # fmt: skip
        if left:
            notes.append(f"As measured, but not settled by the readings, so as stated: {left}.")
        put_in = [s.assumption() for s in self.stopped] + [f.assumption() for f in self.fitted]
        return replace(
            result, assumptions=(*result.assumptions, *put_in),
            tables=(*result.tables, self.table(result.study)), notes=tuple(notes),
        )  # fmt: skip

    def table(self, study: str) -> Table:
        """What was fitted, in rows."""
        return Table(
            f"{study}.fitted", "Figures as measured, in place of the data plates",
            ("figure", "stated", "as measured", "from", "to", "unit", "settled by"), ("",) * 7,
            tuple(
                (f"{s.at}: capacity", _short(s.stated), 0.0, 0.0, _short(s.most), "L/min",
                 ", ".join(s.by))
                for s in self.stopped
            )
            + tuple(
                (f.figure.words, _short(f.figure.stated or 1.0), _short(f.value),
                 _short(f.low * (f.figure.stated or 1.0)),
                 _short(f.high * (f.figure.stated or 1.0)), f.figure.unit, ", ".join(f.by))
                for f in self.fitted
            ),
            "From and to: 95 % of the time. The plant file is not changed.",
        )  # fmt: skip


def _short(value: float) -> float:
    return float(f"{value:.4g}")


FAR = 4.0
"""Standard deviations from which a reading is told to lie beyond the fit (our choice)."""
MILK_OUT = (
    "The milk-out time is taken as read in the slowest milking, and goes for all: "
    "where milkings differ, a mean over the day makes it a little short."
)


def fit(plant: Plant, rules: Rulebook, taken: Sequence[Taken]) -> Fit:
    """Fit the figures of a plant to readings; a vacuum pump that gave nothing is taken as stopped.

    Raises:
        ByrewrightError: the plant as stated cannot be solved.
    """
    stopped = _stopped(plant, taken)
    gone = {f"{CAPACITY}@{s.at}" for s in stopped}
    left = [t for t in taken if t.reading.column not in gone]
    return replace(_fit(at_rest(plant, (s.at for s in stopped)), rules, left), stopped=stopped)


def _stopped(plant: Plant, taken: Sequence[Taken]) -> tuple[Stopped, ...]:
    """Pumps all of whose readings are nothing, by their own plus or minus."""
    found = []
    for pump in plant.machines(PumpsVacuum):
        mine = [t.reading for t in taken if t.reading.column == f"{CAPACITY}@{pump.id}"]
        every = len({r.number for r in mine}) >= pump.count or any(not r.number for r in mine)
        if mine and every and all(r.value <= r.uncertainty for r in mine):
            most = max(max(0.0, r.value) + r.uncertainty for r in mine)
            by = tuple(dict.fromkeys(r.check for r in mine))
            found.append(Stopped(pump.id, pump.capacity_l_min_free, most, by))
    return tuple(found)


def at_rest(plant: Plant, tags: Iterable[str]) -> Plant:
    """The plant with some machines stopped in every mode."""
    stand = dict.fromkeys(tags, "stopped")
    if not stand:
        return plant
    modes = {
        name: mode.model_copy(update={"positions": {**mode.positions, **stand}})
        for name, mode in plant.modes.items()
    }
    return plant.model_copy(update={"modes": modes})


def _fit(plant: Plant, rules: Rulebook, taken: Sequence[Taken]) -> Fit:
    import numpy as np

    figures = {k: f for k, f in figures_of(plant, rules).items() if f.kind != "air_line"}
    forward = Forward(plant, rules, figures)
    columns = {c.id: c for c in columns_of(plant, forward.usual)}
    checks, value, sigma, left = _means(columns, forward, taken)
    if not checks:
        return Fit(figures, (), (), left, None)
    told_by = {forward.of.get(c, "own") for c in checks}
    asked = [k for k, f in figures.items()
             if (not f.own or f.fields) and f.domain in told_by]  # fmt: skip
    slopes, seen = [], []
    usual = np.array([forward.usual[c] for c in checks])
    for key in asked:
        row = forward.at({key: math.exp(-STEP)})
        if row is None:
            continue
        slope = (usual - np.array([row[c] for c in checks])) / STEP
        if np.abs(slope / sigma).max() * figures[key].deviation.wide > TELLS:
            slopes.append(slope)
            seen.append(key)
    if not seen:
        return Fit(figures, (), (), left, None)
    a = np.array(slopes).T / sigma[:, None]
    wide = np.array([figures[k].deviation.wide for k in seen])
    after = np.linalg.inv(a.T @ a + np.diag(1 / wide**2))
    sd: Floats = np.sqrt(np.diag(after))
    limit = rules.number("diagnosis.fitted_share")
    told = [i for i in range(len(seen)) if sd[i] <= limit * wide[i]]
    told = sorted(sorted(told, key=lambda i: sd[i] / wide[i])[:MOST_ASKED])
    keys = [seen[i] for i in told]
    rest = [i for i in range(len(seen)) if i not in told]
    covariance = np.diag(np.ones(len(checks))) + (a[:, rest] * wide[rest] ** 2) @ a[:, rest].T
    theta, cover, gap = _solved(forward, keys, checks, value, sigma, covariance, wide[told])
    fitted = []
    for n, key in enumerate(keys):
        one, far = figures[key], POINT_95 * math.sqrt(cover[n, n])
        by = tuple(
            c for c, s in sorted(zip(checks, np.abs(a[:, told[n]]) * wide[told[n]], strict=True),
                                 key=lambda x: -x[1]) if s > TELLS
        )  # fmt: skip
        if not one.passing:
            fitted.append(Fitted(one, math.exp(theta[n]), math.exp(theta[n] - far),
                                 math.exp(theta[n] + far), by[:4]))  # fmt: skip
    worst = None
    if len(gap):
        i = int(np.argmax(np.abs(gap)))
        worst = checks[i], float(gap[i])
    return Fit(
        figures,
        tuple(fitted),
        _not_told(figures, seen, rest, after, sd),
        left,
        worst,
    )


def _means(
    columns: dict[str, Column], forward: Forward, taken: Sequence[Taken]
) -> tuple[list[str], Floats, Floats, tuple[str, ...]]:
    """Each reading's column, the mean of those of many alike, one sigma, and what none predicts."""
    import numpy as np

    found: dict[str, list[Taken]] = {}
    left = []
    for one in taken:
        if one.reading.column in columns:
            found.setdefault(one.reading.column, []).append(one)
        else:
            left.append(one.reading.check)
    checks = list(found)
    value = np.array([np.mean([t.reading.value for t in found[c]]) for c in checks])
    sigma = np.array([
        math.sqrt(np.mean([columns[c].sigma(forward.usual[c], t.reading.uncertainty) ** 2
                           for t in found[c]]) / len(found[c]))
        for c in checks
    ])  # fmt: skip
    return checks, value, sigma, tuple(left)


def _solved(forward: Forward, keys: list[str], checks: list[str], value: Floats, sigma: Floats,
            covariance: Floats, wide: Floats) -> tuple[Floats, Floats, Floats]:  # fmt: skip
    """The figures' logarithms, their covariance, and what is left of each reading in sigmas."""
    import numpy as np
    from scipy.optimize import least_squares

    if not keys:
        return np.zeros(0), np.zeros((0, 0)), np.zeros(0)
    unmix = np.linalg.inv(np.linalg.cholesky(covariance))
    kept: dict[bytes, Floats] = {}

    def gap(theta: Any) -> Any:
        name = theta.tobytes()
        if name not in kept:
            found = forward.at({k: math.exp(t) for k, t in zip(keys, theta, strict=True)})
            row = forward.usual if found is None else found
            kept[name] = (value - np.array([row[c] for c in checks])) / sigma
        return kept[name]

    def left(theta: Any) -> Any:
        return np.concatenate([unmix @ gap(theta), theta / wide])

    far = 4.0 * wide + 0.5
    found: Any = least_squares(
        left, np.zeros(len(keys)), diff_step=np.full(len(keys), STEP), x_scale=wide,
        max_nfev=12, bounds=(-far, far),
    )  # fmt: skip
    cover = np.linalg.inv(found.jac.T @ found.jac)
    return found.x, cover, gap(found.x)


def _not_told(
    figures: dict[str, Figure], seen: list[str], rest: list[int], after: Any, sd: Any
) -> tuple[NotTold, ...]:
    import numpy as np

    found = []
    for i in rest:
        one = figures[seen[i]]
        if one.passing:
            continue
        alike = after[i] / (sd * sd[i])
        with_ = [figures[seen[j]].words for j in np.argsort(-np.abs(alike))
                 if j != i and abs(alike[j]) > HEAVY]  # fmt: skip
        why = (
            f"the readings cannot tell it from {with_[0]}" if with_
            else "the readings say no more of it than is known without them"
        )  # fmt: skip
        found.append(NotTold(one, why))
    return tuple(found)
