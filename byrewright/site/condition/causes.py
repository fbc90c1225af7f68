"""What is wrong at a plant, said in order of chance, and what to measure next.

from byrewright.site.condition.causes import causes

for one in causes(plant, ["vacuum low"], [Reading("working_vacuum", 38.5, 0.2)]):
    print(one.tag, one.share, one.sentence, one.next.sentence if one.next else "")
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from byrewright.plant.plant import Plant
from byrewright.results import in_figures
from byrewright.site.checks.catalogue import TESTS
from byrewright.site.condition.infer import (
    NONE,
    Belief,
    Model,
    believe,
    cover_of,
    moved_at,
    named,
)
from byrewright.site.condition.matrix import Column, Say, matrix_of
from byrewright.site.condition.seen import Reading, seen_of
from byrewright.standards.diagnosis import TEST_MINUTES
from byrewright.standards.rulebook import Rulebook, default_rulebook

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

__all__ = ["Cause", "Diagnosis", "Next", "Reading", "causes", "diagnose", "model_of"]

SOUND = "no fault"
SHOWN = 0.01
"""Causes under this chance are summed up as one."""
POINTS = 2
"""Likeliest points of each group that a reading is tried on."""
LEAST_BITS = 0.0003
"""What tells less than this is not worth a walk."""
WORST = 1e-4
SEED = 1


@dataclass(frozen=True, slots=True)
class Next:
    """A measurement: the test, where, minutes of work, and what it is expected to tell, in bits."""

    test: str
    at: str
    checks: tuple[str, ...]
    minutes: float
    bits: float
    sentence: str


@dataclass(frozen=True, slots=True)
class Cause:
    """One cause, or a group that no reading of this plant tells apart. `tag` is the machine ("" for
    no fault and the herd), `share` its chance, `faults` the names that stand for it."""

    tag: str
    share: float
    sentence: str
    do: str
    faults: tuple[str, ...]
    speaks_for: tuple[str, ...] = ()
    speaks_against: tuple[str, ...] = ()
    next: Next | None = None


@dataclass(frozen=True, slots=True)
class Diagnosis:
    """Ranked causes, the measurements that tell most for their minutes, whether it is decided."""

    causes: tuple[Cause, ...]
    next: tuple[Next, ...]
    decided: bool
    two: float
    """Chance that two faults are there at once."""
    not_used: tuple[str, ...]
    unseen: tuple[str, ...]
    """Ways to fail that no reading here tells of."""
    fits: bool
    """Whether some fault, or two, explain what was read."""


_MODELS: dict[tuple[int, int], tuple[Plant, Model]] = {}
KEPT = 4


def model_of(plant: Plant, rules: Rulebook | None = None, say: Say | None = None) -> Model:
    """The model of a plant, worked out once (seconds), then kept."""
    rules = rules or default_rulebook()
    key = id(plant), hash(rules)
    if key not in _MODELS or _MODELS[key][0] is not plant:
        model = Model(plant, rules, matrix_of(plant, rules, say))
        while len(_MODELS) >= KEPT:
            _MODELS.pop(next(iter(_MODELS)))
        _MODELS[key] = plant, model
    return _MODELS[key][1]


def causes(
    plant: Plant,
    complaints: Sequence[str] = (),
    readings: Sequence[Reading] = (),
    rules: Rulebook | None = None,
    *,
    ahead: bool = True,
) -> tuple[Cause, ...]:
    """What may be wrong, the likeliest first; each carries the next measurement.

    Args:
        complaints: what people say, of `standards.diagnosis.COMPLAINTS`.
        readings: what was read, by the id of its check.
        ahead: whether to look for the next measurement, which takes most of the time.

    Raises:
        ByrewrightError: a complaint that there is not, or a plant that cannot be solved.
    """
    return diagnose(plant, complaints, readings, rules, look_ahead=ahead).causes


def diagnose(
    plant: Plant,
    complaints: Sequence[str] = (),
    readings: Sequence[Reading] = (),
    rules: Rulebook | None = None,
    say: Say | None = None,
    *,
    look_ahead: bool = True,
) -> Diagnosis:
    """Ranked causes with what speaks for and against them, and what to measure next."""
    model = model_of(plant, rules, say)
    belief = believe(model, readings, complaints)
    _, left = seen_of(model, readings)
    shares = group_shares(belief)
    fits = belief.fits >= model.rules.number("diagnosis.misfit_chance")
    done = fits and decided(model, shares)
    ahead = next_readings(belief) if look_ahead and not done else ()
    first = ahead[0] if ahead else None
    found = tuple(
        _cause(belief, g, share, first)
        for g, share in sorted(shares.items(), key=lambda x: -x[1]) if share >= SHOWN
    )  # fmt: skip
    return Diagnosis(
        found, ahead, done,
        sum(belief.pairs.values()), tuple(r.check for r in left),
        (*(model.matrix.faults[k].key for k in sorted(model.hidden)), *model.matrix.unseen),
        fits,
    )  # fmt: skip


def group_shares(belief: Belief) -> dict[int, float]:
    """Chance of each group by its place; NONE for a sound plant."""
    told = {
        g: float(sum(belief.shares[k] for k in some)) for g, some in enumerate(belief.model.groups)
    }
    return told | {NONE: belief.sound}


def decided(model: Model, shares: dict[int, float]) -> bool:
    """Whether one cause is likely enough to act on, or a sound plant to leave it alone."""
    best = max(shares, key=lambda g: shares[g])
    wanted = "cleared_share" if best == NONE else "decided_share"
    return shares[best] >= model.rules.number(f"diagnosis.{wanted}")


def _cause(belief: Belief, g: int, share: float, ahead: Next | None) -> Cause:
    model = belief.model
    if g == NONE:
        good, bad = _evidence(belief, NONE)
        return Cause("", share, "Nothing is wrong: the readings are as this plant should read.", "",
                     (SOUND,), good, bad, ahead)  # fmt: skip
    some = sorted(model.groups[g], key=lambda k: -belief.shares[k])
    faults = [model.matrix.faults[k] for k in some]
    names = [f"{named(model, k, belief.number)} {model.matrix.faults[k].way}".strip() for k in some]
    told = "; or ".join(names)
    sentence = f"{told[:1].upper()}{told[1:]}."
    if len(some) > 1:
        sentence += " No reading of this plant tells these apart: look at them."
    good, bad = _evidence(belief, some[0])
    return Cause(
        faults[0].at, share, sentence, faults[0].do, tuple(f.key for f in faults), good, bad, ahead
    )


def _evidence(belief: Belief, k: int) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Readings that are more, and less, likely with this fault than in a sound plant."""
    import numpy as np

    model, seen = belief.model, belief.seen
    if not len(seen.value):
        return (), ()
    points = model.points
    fault = points.fault[belief.of]
    mine = np.flatnonzero(fault == k)
    best = mine[np.argmax(belief.chance[mine])]
    which = belief.which[best : best + 1]
    moved = moved_at(model, seen.column, seen.number, belief.of[best : best + 1], which,
                     points.move)[0]  # fmt: skip
    if k == NONE:  # against the likeliest fault
        other = np.flatnonzero(fault != NONE)
        rival = other[np.argmax(belief.chance[other])]
        base = moved_at(model, seen.column, seen.number, belief.of[rival : rival + 1],
                        belief.which[rival : rival + 1], points.move)[0]  # fmt: skip
    else:
        base = np.zeros_like(moved)
    usual = model.expected[seen.column]
    at = seen.column, seen.number
    sigma2 = np.diag(cover_of(model, at, at)) + seen.sigma**2
    away = seen.value - usual
    gain = ((away - base) ** 2 - (away - moved) ** 2) / (2 * sigma2)
    good: list[str] = []
    bad: list[str] = []
    for i in np.argsort(-np.abs(gain)):
        column = model.matrix.columns[seen.column[i]]
        told = (
            f"{seen.readings[i].check} reads {in_figures(seen.value[i])} {column.unit}; with it "
            f"{in_figures(usual[i] + moved[i])}, usually {in_figures(usual[i])}"
        )
        if abs(gain[i]) > 0.5:
            (good if gain[i] > 0 else bad).append(told)
    return tuple(good[:4]), tuple(bad[:4])


@dataclass(frozen=True, slots=True)
class Candidate:
    """A test not done yet: its readings, and minutes of work (of all of many alike)."""

    test: str
    at: str
    columns: tuple[Column, ...]
    minutes: float


def candidates(belief: Belief) -> list[Candidate]:
    """Tests that would give a reading not there yet; those of one record are one."""
    model = belief.model
    done = {r.column for r in belief.seen.readings}
    found: dict[tuple[str, str], list[Column]] = {}
    for column in model.matrix.columns:
        if column.test and column.id not in done:
            at = column.id.partition("@")[2]
            found.setdefault((TESTS[column.test].part_of or column.test, at), []).append(column)
    return [
        Candidate(name, at, tuple(columns), max(1.0, TEST_MINUTES[name] * (
            model.counts.get(at, 1) if columns[0].each else 1)))
        for (name, at), columns in found.items()
    ]  # fmt: skip


def next_readings(belief: Belief) -> tuple[Next, ...]:
    """Tests not done yet, by what they are expected to tell in bits for each minute of work."""
    import numpy as np

    model, seen = belief.model, belief.seen
    points, groups = model.points, model.groups
    home = np.full(len(model.matrix.faults) + 1, len(groups))
    for g, some in enumerate(groups):
        home[some] = g
    home[NONE] = len(groups)
    keep, weight = _tried(belief, home[points.fault[belief.of]])
    of, which = belief.of[keep], belief.which[keep]
    group = home[points.fault[of]]
    rng = np.random.default_rng(SEED)
    now = _entropy(_by_group(weight[None, :], group, len(groups) + 1))[0]
    residue = belief.z[:, None] - belief.moved[keep].T if len(seen.value) else None
    found = []
    for one in candidates(belief):
        columns = one.columns
        column = np.array([model.index[c.id] for c in columns])
        number = np.array([10**6 if c.each else 0 for c in columns])
        asked = np.full_like(which, 10**6)  # the bad one is among those read
        moves = moved_at(model, column, number, of, asked, points.move)
        sigma = np.array([c.sigma(model.matrix.usual[i]) for c, i in zip(columns, column,
                                                                         strict=True)])  # fmt: skip
        there = column, number
        cover = cover_of(model, there, there) + np.diag(sigma**2)
        mean = moves
        if residue is not None:
            b = belief.unmix @ cover_of(model, (seen.column, seen.number), there)
            cover = cover - b.T @ b
            mean = moves + residue.T @ b
        lower = np.linalg.cholesky(cover + 1e-9 * np.diag(np.diag(cover)))
        white = mean @ np.linalg.inv(lower).T
        noise = rng.standard_normal(white.shape)
        y = white + noise  # each point as if it were so
        fit = y @ white.T - 0.5 * (white**2).sum(axis=1)[None, :]
        after = weight[None, :] * np.exp(fit - fit.max(axis=1, keepdims=True))
        after /= after.sum(axis=1, keepdims=True)
        left = _entropy(_by_group(after, group, len(groups) + 1))
        bits = now - float(weight @ left)
        if bits > LEAST_BITS:
            found.append(_next(model, one, float(bits)))
    return tuple(sorted(found, key=lambda n: -n.bits / n.minutes))


def _tried(belief: Belief, group: NDArray[np.int64]) -> tuple[NDArray[np.int64], Floats]:
    """The likeliest points of each group, and what they weigh: together the group's share."""
    import numpy as np

    order = np.argsort(belief.chance)[::-1]
    shares = group_shares(belief)
    keep: list[int] = []
    weight: list[float] = []
    for g in np.unique(group):
        share = shares[NONE if g == len(belief.model.groups) else int(g)]
        if share < WORST:
            continue
        mine = order[group[order] == g][:POINTS]
        chance = belief.chance[mine] + 1e-300
        keep += list(mine)
        weight += list(share * chance / chance.sum())
    told = np.array(weight)
    return np.array(keep, np.int64), told / told.sum()


def _by_group(weight: Floats, group: NDArray[np.int64], many: int) -> Floats:
    import numpy as np

    each: Floats = np.zeros((len(group), many))
    each[np.arange(len(group)), group] = 1.0
    return weight @ each


def _entropy(shares: Floats) -> Floats:
    import numpy as np

    bits: Floats = -(shares * np.log2(np.maximum(shares, 1e-12))).sum(axis=1)
    return bits


def _next(model: Model, one: Candidate, bits: float) -> Next:
    where = f" at {one.at}" if one.at else ""
    many = model.counts.get(one.at, 1) if one.columns[0].each else 1
    every = f", every one of the {many}" if many > 1 else ""
    title = one.test[:1].upper() + one.test[1:]
    return Next(
        one.test, one.at, tuple(c.id for c in one.columns), one.minutes, bits,
        f"{title}{where}{every} (about {one.minutes:.0f} min): {TESTS[one.test].how}",
    )  # fmt: skip
