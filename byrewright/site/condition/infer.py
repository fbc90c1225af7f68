"""From readings and complaints to chances: which fault a plant has, or none, or two.

A reading is taken as normal about what the plant would read with the fault, with the spread of
sound plants (the same for all readings of one plant) and the doubt of each reading. Between the
grades of a fault a straight line is taken. What two faults do is taken to add.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any

from byrewright.errors import ByrewrightError
from byrewright.plant.plant import Plant
from byrewright.plant.problems import nearest
from byrewright.site.condition.faults import Fault
from byrewright.site.condition.figures import in_a_row
from byrewright.site.condition.matrix import Matrix
from byrewright.site.condition.seen import Reading, Seen, seen_of
from byrewright.standards.diagnosis import COMPLAINTS
from byrewright.standards.rulebook import Rulebook

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

CELLS = 2
"""Points between two grades, each in the middle of its part: a fault is no slighter than its
slightest grade, so that what is usual is not taken for a little of it."""
LOOSE = 0.05
"""Of what a fault of one grade moves: how far off that may be (a pump that has stopped gives
nothing)."""
PAIRED = 20
"""Single faults that are tried together with every other."""
TINY = 1e-300
STEEP = 6.0
"""How soon people notice: the logistic curve's slope at what they just notice."""
SOFTER = math.pi / 8.0
"""Of a logistic curve over a normal spread (MacKay 1992, from memory)."""
NONE = -1
"""In place of a fault: a sound plant."""


@dataclass(frozen=True)
class Points:
    """Points of all faults: fault (NONE: sound), number of the one of many (0: another, or not one
    of many), prior weight, what it moves in all columns, and half the way to its neighbours."""

    fault: NDArray[np.int64]
    weight: Floats
    move: Floats
    half: Floats
    one: NDArray[np.bool_]
    """It is of one of many."""


class Model:
    """A plant's matrix made ready to be asked."""

    def __init__(self, plant: Plant, rules: Rulebook, matrix: Matrix) -> None:
        self.plant, self.rules, self.matrix = plant, rules, matrix
        self.index = dict(matrix.index)
        self.counts = {m.id: m.count for m in plant.equipment.values()}
        self.hidden: frozenset[int] = frozenset()
        self.in_a_row = in_a_row(plant, rules)
        self.groups, hidden = told_apart(self, Whole(self))
        self.hidden = frozenset(hidden)
        self.__dict__.pop("points")

    def count(self, fault: Fault) -> int:
        """How many alike one faulty one is among."""
        return self.counts.get(fault.at, 1) if fault.each else 1

    @cached_property
    def each(self) -> NDArray[np.bool_]:
        """Whether a column is read of every one of many."""
        import numpy as np

        return np.array([c.each for c in self.matrix.columns], bool)

    @cached_property
    def expected(self) -> Floats:
        """What sound plants read on the average."""
        return self.matrix.usual + self.matrix.shift

    @cached_property
    def covers(self) -> tuple[Floats, Floats]:
        """How columns go together in sound plants: by figures of the plant, and by those of one of
        many."""
        import numpy as np

        m = self.matrix
        own = np.array([f.each for f in m.figures], bool)
        alone = np.where(self.each, m.deviation[own], 0.0)
        return m.deviation[~own].T @ m.deviation[~own] + m.bent.T @ m.bent, alone.T @ alone

    @cached_property
    def whole(self) -> Whole:
        """All its readings at once."""
        return Whole(self)

    @cached_property
    def points(self) -> Points:
        """Every fault at its grades and between, and the sound plant first."""
        import numpy as np

        m = self.matrix
        shares = self._priors()
        fault, weight, move, half = [NONE], [shares[NONE]], [0 * m.usual], [0 * m.usual]
        for k, rows in enumerate(m.of_fault):
            if k in self.hidden:
                continue
            one = m.faults[k]
            moved = rows - m.usual
            if one.each:
                moved = np.where(self.each, moved, moved / self.count(one))
            steps = (len(moved) - 1) * CELLS
            at = (np.arange(steps) + 0.5) / CELLS if steps else np.zeros(1)
            low = np.minimum(at.astype(int), max(0, len(moved) - 2))
            high = np.minimum(low + 1, len(moved) - 1)
            t = (at - low)[:, None]
            line = moved[low] * (1 - t) + moved[high] * t
            far = np.gradient(line, axis=0) / 2.0 if len(line) > 1 else LOOSE * line
            fault += [k] * len(line)
            weight += [shares[k] / len(line)] * len(line)
            move += list(line)
            half += list(far)
        many = np.array([k != NONE and m.faults[k].each for k in fault], bool)
        return Points(np.array(fault), np.array(weight), np.array(move), np.array(half), many)

    def _priors(self) -> dict[int, float]:
        n = self.rules.number
        sound = n("diagnosis.sound_share")
        power = n("diagnosis.rate_power")
        rates = [0.0 if k in self.hidden else f.a_year**power
                 for k, f in enumerate(self.matrix.faults)]  # fmt: skip
        whole = sum(rates) or 1.0
        return {NONE: sound} | {k: (1 - sound) * r / whole for k, r in enumerate(rates)}


def cover_of(model: Model, one: tuple[Any, Any], other: tuple[Any, Any]) -> Floats:
    """How two lists of readings (columns and numbers) go together in sound plants: what figures of
    the plant move in both, and, for readings of the same one of many, its own figures."""
    import numpy as np

    together, alike = model.covers
    (i, n), (j, m) = one, other
    same = (n[:, None] == m[None, :]) & (n[:, None] > 0)
    found: Floats = together[np.ix_(i, j)] + np.where(same, alike[np.ix_(i, j)], 0.0)
    return found


def heard(
    model: Model, complaints: Iterable[str], move: Floats, read: tuple[Any, Any, Any, Any]
) -> Floats:
    """How likely each point is to be complained of so, where `move` is what it moves.

    People hear the plant, not its data plate: sound plants differ. What they hear of a figure that
    was read is known from the reading, and tells no more of the cause: `read` holds columns and
    numbers of readings, how they are unmixed, and what they leave over with each point.

    Raises:
        ByrewrightError: a complaint that there is not.
    """
    import numpy as np

    idle = model.rules.number("diagnosis.idle_complaint_share")
    most = model.rules.number("diagnosis.heard_share")
    m = model.matrix
    column, number, unmix, left = read
    likely = np.ones(len(move))
    for said in complaints:
        if said not in COMPLAINTS:
            raise ByrewrightError(
                f"{said!r} is not a complaint that is known{nearest(said, COMPLAINTS)}"
            )
        found = np.zeros(len(move))
        for notice in COMPLAINTS[said].about:
            for i, one in enumerate(m.columns):
                off = notice.off * (abs(m.usual[i]) if notice.share else 1.0)
                if one.stem != notice.figure or not off:
                    continue
                mean, var = move[:, i] + m.shift[i], float(sum(c[i, i] for c in model.covers))
                if not one.each and len(column):
                    there = np.array([i]), np.array([0])
                    known = unmix @ cover_of(model, (column, number), there)[:, 0]
                    mean, var = mean + left @ known, max(0.0, var - float(known @ known))
                softer = math.sqrt(1.0 + SOFTER * var * (STEEP / off) ** 2)
                far = STEEP * (mean / off - 1.0) / softer
                found = np.maximum(found, 1.0 / (1.0 + np.exp(np.clip(-far, -50, 50))))
        likely *= idle + (most - idle) * found
    return likely


@dataclass
class Belief:
    """Chances after some readings. Points are those of the model, once for each number of a fault
    of one of many: `of` is the point, `which` its number (0: another one than those read)."""

    model: Model
    seen: Seen
    of: NDArray[np.int64]
    which: NDArray[np.int64]
    chance: Floats
    """Of each point alone."""
    shares: Floats
    """Of each fault (the last: sound), alone or with another."""
    unmix: Floats
    z: Floats
    moved: Floats
    pairs: dict[tuple[int, int], float]
    number: dict[int, int]
    """The likeliest number of a fault of one of many."""
    fits: float
    """Chance of readings that lie as far off as these, were the best explanation right."""

    @property
    def sound(self) -> float:
        """Chance that nothing is wrong."""
        return float(self.shares[-1])


def _expanded(model: Model, seen: Seen) -> tuple[Any, Any, Any]:
    """Points by the numbers read: index of the point, number, and log of the share it has."""
    import numpy as np

    points, faults = model.points, model.matrix.faults
    read: dict[str, list[int]] = {}
    for i, n in zip(seen.column, seen.number, strict=True):
        if n > 0:
            at = model.matrix.columns[i].id.partition("@")[2]
            read.setdefault(at, []).append(int(n))
    of, which, share = [], [], []
    for p, k in enumerate(points.fault):
        numbers, count, done = [0], 1, 0
        if k != NONE and faults[k].each:
            some = sorted(set(read.get(faults[k].at, ())))
            done = max(len(some), seen.read.get(faults[k].at, 0))
            count = max(model.count(faults[k]), done)
            numbers = some + ([0] if done < count else [])
        for n in numbers:
            of.append(p)
            which.append(n)
            share.append((count - done if n == 0 and count > 1 else 1) / count)
    return np.array(of), np.array(which), np.array(share)


def moved_at(
    model: Model, seen_column: Any, seen_number: Any, of: Any, which: Any, rows: Any
) -> Any:
    """What points move in some readings."""
    import numpy as np

    each, one = model.each[seen_column], model.points.one[of]
    moved = rows[of][:, seen_column]
    mine = (seen_number[None, :] == which[:, None]) & (which[:, None] > 0)
    return np.where(one[:, None] & each[None, :] & ~mine, 0.0, moved)


def believe(model: Model, readings: Sequence[Reading], complaints: Sequence[str] = ()) -> Belief:
    """Chances of every fault, of two together, and of none."""
    import numpy as np

    seen, _ = seen_of(model, readings)
    points = model.points
    of, which, share = _expanded(model, seen)
    at = seen.column, seen.number
    cover = cover_of(model, at, at) + np.diag(seen.sigma**2)
    unmix = np.linalg.inv(np.linalg.cholesky(cover)) if len(seen.value) else np.zeros((0, 0))
    away = seen.value - model.expected[seen.column]

    z = unmix @ away
    a = moved_at(model, seen.column, seen.number, of, which, points.move) @ unmix.T
    w = moved_at(model, seen.column, seen.number, of, which, points.half) @ unmix.T
    ww = np.einsum("ij,ij->i", w, w)
    e = z - a
    told = heard(model, complaints, points.move[of], (*at, unmix, e))
    prior = np.log(points.weight[of] * share * told + TINY)
    fit = -0.5 * (np.einsum("ij,ij->i", e, e) - np.einsum("ij,ij->i", w, e) ** 2 / (1 + ww))
    alone = prior + fit - 0.5 * np.log1p(ww)
    return _summed(model, seen, of, which, alone, fit, prior, z, a, w, ww, unmix)


def _summed(model: Model, seen: Seen, of: Any, which: Any, alone: Any, fit: Any, prior: Any, z: Any,
            a: Any, w: Any, ww: Any, unmix: Any) -> Belief:  # fmt: skip
    import numpy as np
    from scipy.special import gammaincc

    points = model.points
    fault = points.fault[of]
    many = len(model.matrix.faults)
    best = np.argsort(alone)[::-1]
    best = best[fault[best] != NONE][:PAIRED]
    second = np.log(model.rules.number("diagnosis.pair_share"))
    hits = prior - np.log(max(TINY, 1.0 - model.rules.number("diagnosis.sound_share")))
    both = _together(z, a, w, ww, best)
    most = max(fit.max(), both.max() if both.size else -np.inf)
    fits = float(gammaincc(len(z) / 2, -most)) if len(z) else 1.0
    both = prior[best][:, None] + hits[None, :] + second + both
    same = (fault[best][:, None] == fault[None, :]) | (fault[None, :] == NONE)
    both[same] = -np.inf
    top = max(alone.max(), both.max() if both.size else -np.inf)
    chance, pair = np.exp(alone - top), np.exp(both - top)
    whole = chance.sum() + pair.sum()
    chance, pair = chance / whole, pair / whole
    shares = np.zeros(many + 1)
    np.add.at(shares, np.where(fault == NONE, many, fault), chance)
    np.add.at(shares, fault[best], pair.sum(axis=1))
    np.add.at(shares, np.where(fault == NONE, many, fault), pair.sum(axis=0))
    by_number: dict[tuple[int, int], float] = {}
    for p, n, c in zip(fault, which, chance + pair.sum(axis=0), strict=True):
        if n:
            by_number[int(p), int(n)] = by_number.get((int(p), int(n)), 0.0) + float(c)
    number: dict[int, int] = {}
    for (k, n), c in sorted(by_number.items(), key=lambda x: -x[1]):
        if c > 0.2 * shares[k]:
            number.setdefault(k, n)
    pairs: dict[tuple[int, int], float] = {}
    for i, row in zip(best, pair, strict=True):
        for j in np.flatnonzero(row > 1e-3):
            k, m = sorted((int(fault[i]), int(fault[j])))
            pairs[k, m] = pairs.get((k, m), 0.0) + float(row[j])
    return Belief(model, seen, of, which, chance, shares, unmix, z, a, pairs, number, fits)


def _together(z: Any, a: Any, w: Any, ww: Any, best: Any) -> Any:
    """Log of how well each of the best points fits together with every other."""
    import numpy as np

    b = a @ z
    g = a[best] @ a.T
    gg = np.einsum("ij,ij->i", a, a)
    left = z @ z - 2 * (b[best][:, None] + b[None, :]) + gg[best][:, None] + gg[None, :] + 2 * g
    own = np.einsum("ij,ij->i", w, z - a)
    u = own[best][:, None] - w[best] @ a.T
    v = own[None, :] - a[best] @ w.T
    cross = w[best] @ w.T
    one, two = 1 + ww[best][:, None], 1 + ww[None, :]
    det = np.maximum(one * two - cross**2, 1e-9)
    took = (u**2 * two - 2 * u * v * cross + v**2 * one) / det
    return -0.5 * (left - took) - 0.5 * np.log(det)


class Whole:
    """All readings of a plant at once, two of many alike: how far apart what faults move lies, in
    standard deviations of sound plants and readings together."""

    def __init__(self, model: Model) -> None:
        import numpy as np

        m = model.matrix
        every = np.arange(len(m.columns))
        each = model.each
        self.model = model
        self.column = np.concatenate([every, every[each]])
        self.number = np.concatenate([np.where(each, 1, 0), np.full(each.sum(), 2)])
        at = self.column, self.number
        sigma = np.array([m.columns[i].sigma(m.usual[i]) for i in self.column])
        self.unmix = np.linalg.inv(np.linalg.cholesky(cover_of(model, at, at) + np.diag(sigma**2)))
        which = np.where(model.points.one, 1, 0)
        every = np.arange(len(which))
        rows = moved_at(model, self.column, self.number, every, which, model.points.move)
        self.points = rows @ self.unmix.T

    def far(self, move: Any, *, one_of_many: bool) -> Any:
        """How far each point lies from something that is moved; the bad one is number 1."""
        import numpy as np

        each = self.model.each[self.column]
        moved = move[self.column]
        if one_of_many:
            moved = np.where(each & (self.number != 1), 0.0, moved)
        return np.linalg.norm(self.points - moved @ self.unmix.T, axis=1)


def told_apart(model: Model, whole: Whole) -> tuple[list[list[int]], list[int]]:
    """Groups of faults that all readings together do not tell apart, and faults that all readings
    together do not tell from a sound plant. What goes so little that it is not told from a sound
    plant does not make two faults alike."""
    import numpy as np

    points, a = model.points, whole.points
    gg = np.einsum("ij,ij->i", a, a)
    far = np.sqrt(np.maximum(gg[:, None] + gg[None, :] - 2 * a @ a.T, 0.0))
    limit = model.rules.number("diagnosis.told_apart")
    many = len(model.matrix.faults)
    at = [np.flatnonzero(points.fault == k) for k in range(many)]
    hidden = [k for k in range(many) if far[at[k], 0].max() < limit]
    near = np.zeros((many, many), bool)
    at = [some[far[some, 0] >= limit] if k not in hidden else some for k, some in enumerate(at)]
    for i in range(many):
        for j in range(i):
            there = far[np.ix_(at[i], at[j])]
            one, other = np.median(there.min(axis=1)), np.median(there.min(axis=0))
            pair = model.matrix.faults[i], model.matrix.faults[j]
            alike = max(one, other) < limit or _same(*pair) or _in_a_row(model, *pair)
            near[i, j] = near[j, i] = alike
    return _clusters(near, [k for k in range(many) if k not in hidden]), hidden


def _same(one: Fault, other: Fault) -> bool:
    """Whether two faults move the same figures, as far as each other: a pump that is worn and one
    whose belt slips. Sure readings tell how far it went, never which of them it is."""
    if one.each != other.each or one.moves.keys() != other.moves.keys():
        return False
    ends = [(min(t), max(t), min(other.moves[k]), max(other.moves[k]))
            for k, t in one.moves.items()]  # fmt: skip
    return all(low <= there and here <= high for low, high, here, there in ends)


def _in_a_row(model: Model, one: Fault, other: Fault) -> bool:
    """Whether two faults block pipes that lie one after the other: readings tell how much is lost
    between both ends, never in which of them."""
    lines = [
        key.partition("@")[2] for fault in (one, other) if fault.grades > 1
        for key in fault.moves if key.startswith("air_line@")
    ]  # fmt: skip
    return len(lines) == 2 and any(set(lines) <= row for row in model.in_a_row)


def _clusters(near: Any, some: Sequence[int]) -> list[list[int]]:
    """Each with those that every member of its group is near to, first come first."""
    found: list[list[int]] = []
    for k in some:
        home = next((g for g in found if all(near[k, i] for i in g)), None)
        if home is None:
            found.append([k])
        else:
            home.append(k)
    return found


def named(model: Model, k: int, numbers: Mapping[int, int]) -> str:
    """The tag of a fault, with the number of the one of many where it is known."""
    one = model.matrix.faults[k]
    return f"{one.at} no. {numbers[k]}" if k in numbers else one.at
