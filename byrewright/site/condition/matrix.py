"""What every fault does to every reading of one plant, worked out once and kept.

Rows are a sound plant and each fault at each grade; columns are readings. Beside it stand the ways
in which a sound plant differs from its data plates, each with what it does to the readings.
"""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from byrewright import __version__
from byrewright.caches import cache_folder, keep
from byrewright.errors import ByrewrightError
from byrewright.plant.plant import Plant
from byrewright.site.checks.catalogue import TESTS
from byrewright.site.condition.ahead import awaited
from byrewright.site.condition.faults import Fault, faults_of, unseen_of
from byrewright.site.condition.figures import Figure, figures_of
from byrewright.site.condition.forward import Forward, Readings
from byrewright.standards.diagnosis import DOUBTS, OWN_DOUBTS, Doubt
from byrewright.standards.rulebook import Rulebook

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

KEPT = 24
STEP = 2.0
"""Step of the differences, in sigmas of a sound plant."""
DRAWN = 32
"""Sound plants drawn, all their figures a little off at once: where a regulation ends or begins
near the usual point, straight lines tell neither what such plants read on the average nor how far
off."""
SEED = 1
BENDS = 3.0
"""Sigmas of a reading by which it lies off the straight line between two grades of a fault, from
which on what is between them is worked out too."""
TINY = 1e-6
SOURCES = ("plant", "physics", "engine", "studies", "standards", "site/condition", "site/checks")
Say = Callable[[str, int, int], bool | None]


@dataclass(frozen=True, slots=True)
class Column:
    """A reading: its id, unit, and the test that gives it."""

    id: str
    unit: str
    test: str
    each: bool

    @property
    def stem(self) -> str:
        """The figure read."""
        return self.id.partition("@")[0]

    @property
    def doubt(self) -> Doubt:
        """How well it repeats."""
        return OWN_DOUBTS.get(self.stem) or DOUBTS.get(self.unit) or Doubt(0.03, 0.0)

    def sigma(self, value: float, instrument: float = 0.0) -> float:
        """One sigma of a reading: its own, and half of what the instrument states (plus or minus
        is taken as two sigmas)."""
        own = math.hypot(self.doubt.share * abs(value), self.doubt.least)
        return math.hypot(own, instrument / 2.0)


@dataclass(frozen=True)
class Matrix:
    """What a plant reads: sound, with each fault at each grade, and as sound plants differ.

    `of_fault[k]` has a row a grade; `deviation` a row for each figure, one sigma of a sound plant;
    `bent` rows of what straight lines leave in sound plants, `shift` its mean.
    """

    columns: tuple[Column, ...]
    usual: Floats
    faults: tuple[Fault, ...]
    of_fault: tuple[Floats, ...]
    figures: tuple[Figure, ...]
    deviation: Floats
    bent: Floats
    shift: Floats
    unseen: tuple[str, ...]

    @property
    def index(self) -> Mapping[str, int]:
        """Place of each reading."""
        return {c.id: i for i, c in enumerate(self.columns)}


def columns_of(plant: Plant, usual: Readings) -> tuple[Column, ...]:
    """The readings that tests of this plant give and that something predicts."""
    found: dict[str, Column] = {}
    for machine in plant.equipment.values():
        for name in machine.tests():
            test = TESTS[name]
            for figure in test.figures:
                at = figure.key if test.whole else f"{figure.key}@{machine.id}"
                if at in usual and figure.unit:
                    each = test.each and machine.count > 1
                    found.setdefault(at, Column(at, figure.unit, name, each))
    found["milk_out"] = Column("milk_out", "s", "", each=False)
    found["vacuum_one_open"] = Column("vacuum_one_open", "kPa", "", each=False)
    return tuple(c for c in found.values() if c.id in usual)


def key_of(plant: Plant, rules: Rulebook) -> str:
    """What a matrix follows from: the plant, the rules put in, and this program."""
    told = [
        plant.model_dump(mode="json"), {k: rules.number(k) for k in rules.overridden},
        [r.region for r in rules.regions], __version__, _program(),
    ]  # fmt: skip
    return hashlib.sha256(json.dumps(told, sort_keys=True, default=str).encode()).hexdigest()[:24]


_PROGRAM: list[str] = []


def _program() -> str:
    if not _PROGRAM:
        here = Path(__file__).resolve().parents[2]
        made = hashlib.sha256()
        for room in SOURCES:
            for path in sorted((here / room).rglob("*.py")):
                made.update(path.read_bytes())
        _PROGRAM.append(made.hexdigest())
    return _PROGRAM[0]


def kept_at(plant: Plant, rules: Rulebook) -> Path:
    """Where its matrix is kept, once it is worked out."""
    return cache_folder("diagnosis") / f"{key_of(plant, rules)}.npz"


def matrix_of(plant: Plant, rules: Rulebook, say: Say | None = None) -> Matrix:
    """The matrix of a plant, from what was kept of it where there is one.

    `say` is told what is worked out, its number and of how many; an answer of True stops it.

    Raises:
        ByrewrightError: stopped.
    """
    import numpy as np

    figures = figures_of(plant, rules)
    path = kept_at(plant, rules)
    if not path.is_file():
        awaited(say)
    forward = Forward(plant, rules, figures)
    columns = columns_of(plant, forward.usual)
    usual = np.array([forward.usual[c.id] for c in columns])
    if path.is_file():
        try:
            with np.load(path, allow_pickle=False) as kept:
                told = json.loads(str(kept["faults"]))
                faults = tuple(_fault(one) for one in told)
                return Matrix(
                    columns, usual, faults, tuple(kept[f"f{i}"] for i in range(len(faults))),
                    tuple(figures[k] for k in json.loads(str(kept["figures"]))), kept["deviation"],
                    kept["bent"], kept["shift"], tuple(json.loads(str(kept["unseen"]))),
                )  # fmt: skip
        except (OSError, ValueError, KeyError):
            path.unlink(missing_ok=True)
    made = _made(plant, rules, forward, columns, usual, say)
    _keep(path, made)
    return made


def _made(plant: Plant, rules: Rulebook, forward: Forward, columns: tuple[Column, ...],
          usual: Floats, say: Say | None) -> Matrix:  # fmt: skip
    import numpy as np

    figures = forward.figures
    faults = faults_of(plant, rules, figures)
    steps = len(faults) + len(figures)

    def told(text: str, number: int) -> None:
        if say is not None and say(text, number, steps):
            raise ByrewrightError("stopped; nothing was kept")

    kept: dict[str, Floats | None] = {}

    def row(values: Mapping[str, float]) -> Floats | None:
        name = json.dumps(values, sort_keys=True)
        if name not in kept:
            found = forward.at(values)
            kept[name] = None if found is None else np.array([found[c.id] for c in columns])
        return kept[name]

    sigma = np.array([c.sigma(u) for c, u in zip(columns, usual, strict=True)])
    seen, of_fault = [], []
    for i, fault in enumerate(faults):
        told(fault.key, i)
        rows = [r for g in range(fault.grades) if (r := row(fault.values(g))) is not None]
        if rows and np.isfinite(rows).all():
            seen.append(fault)
            of_fault.append(_with_between(row, fault, np.array(rows), sigma))
    deviation, used = [], []
    for i, (key, figure) in enumerate(figures.items()):
        told(figure.words, len(faults) + i)
        step = STEP * figure.deviation.sound
        up, down = row({key: math.exp(step)}), row({key: math.exp(-step)})
        if up is None or down is None:
            continue
        if max(np.abs(up - usual).max(), np.abs(down - usual).max()) > 0.0:
            deviation.append((up - down) / (2 * STEP))
            used.append(figure)
    deviations = np.array(deviation).reshape(-1, len(columns))
    left = _left(row, used, usual, deviations)
    return Matrix(columns, usual, tuple(seen), tuple(of_fault), tuple(used), deviations,
                  (left - left.mean(axis=0)) / math.sqrt(len(left)), left.mean(axis=0),
                  tuple(unseen_of(plant, figures, seen)))  # fmt: skip


def _with_between(row: Callable[[Mapping[str, float]], Floats | None], fault: Fault,
                  rows: Floats, sigma: Floats) -> Floats:  # fmt: skip
    """Rows of a fault, with one between each two grades where the way between bends."""
    import numpy as np

    if len(rows) < fault.grades or fault.grades < 2:
        return rows
    found, bends = [rows[-1]], False
    for g in range(fault.grades - 2, -1, -1):
        low, high = fault.values(g), fault.values(g + 1)
        middle = row({k: math.sqrt(max(x, TINY) * max(high[k], TINY)) for k, x in low.items()})
        if middle is None or not np.isfinite(middle).all():
            return rows
        bend = np.abs(middle - (rows[g] + rows[g + 1]) / 2.0) / sigma
        bends = bends or bool(bend.max() > BENDS)
        if not bends:  # the graver part is straight: the slighter is
            return rows
        found += [middle, rows[g]]
    return np.array(found[::-1])


def _left(row: Callable[[Mapping[str, float]], Floats | None], figures: Sequence[Figure],
          usual: Floats, deviation: Floats) -> Floats:  # fmt: skip
    """What drawn sound plants read beyond the straight lines of `deviation`."""
    import numpy as np

    rng = np.random.default_rng(SEED)
    some = [i for i, f in enumerate(figures) if not f.each]
    left = []
    for half in rng.standard_normal((DRAWN // 2, len(some))):
        for off in (half, -half):
            values = {figures[i].key: math.exp(figures[i].deviation.sound * x)
                      for i, x in zip(some, off, strict=True)}  # fmt: skip
            found = row(values)
            if found is not None:
                left.append(found - usual - off @ deviation[some])
    return np.array(left) if left else np.zeros((1, len(usual)))


def _keep(path: Path, made: Matrix) -> None:
    import io

    import numpy as np

    out = io.BytesIO()
    told = [
        {"at": f.at, "way": f.way, "do": f.do, "moves": {k: list(v) for k, v in f.moves.items()},
         "a_year": f.a_year, "each": f.each}
        for f in made.faults
    ]  # fmt: skip
    arrays: dict[str, Any] = {f"f{i}": rows for i, rows in enumerate(made.of_fault)}
    np.savez_compressed(
        out, faults=json.dumps(told), figures=json.dumps([f.key for f in made.figures]),
        deviation=made.deviation, bent=made.bent, shift=made.shift, unseen=json.dumps(made.unseen),
        **arrays,
    )  # fmt: skip
    keep(path, out.getvalue(), KEPT)


def _fault(told: dict[str, Any]) -> Fault:
    return Fault(**{**told, "moves": {k: tuple(v) for k, v in told["moves"].items()}})


if __name__ == "__main__":
    import sys

    from byrewright.plant.limits import rules_beside
    from byrewright.plant.read import read_plant

    at = Path(sys.argv[1])
    matrix_of(read_plant(at).sound(), rules_beside(at))
