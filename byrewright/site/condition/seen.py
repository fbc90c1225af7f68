"""Readings as a diagnosis takes them: each once, and of many alike those that stand out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from byrewright.site.condition.infer import Model

    Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Reading:
    """One reading: the id of its check ("pump_capacity@VP1", "phase_d@PU1#7"), value in the unit
    of the check, and what the instrument states (plus or minus)."""

    check: str
    value: float
    uncertainty: float = 0.0

    @property
    def column(self) -> str:
        """The check without the number of one of many."""
        return self.check.partition("#")[0]

    @property
    def number(self) -> int:
        """Which of many; 0 where it is not one of many."""
        return int(self.check.partition("#")[2] or 0)


@dataclass(frozen=True)
class Seen:
    """Readings with their columns, in the order given."""

    readings: tuple[Reading, ...]
    column: NDArray[np.int64]
    number: NDArray[np.int64]
    value: Floats
    sigma: Floats
    read: Mapping[str, int]
    """How many of many alike were read, by machine."""


REST = -1
"""In place of a number: those of many alike that do not stand out, as their mean."""
STAND_OUT = 3
"""So many of many alike are taken one by one, those that stand out most."""


def seen_of(model: Model, readings: Sequence[Reading]) -> tuple[Seen, list[Reading]]:
    """The readings that the model predicts, each once (the last counts), and those it does not."""
    import numpy as np

    last = {r.check: r for r in readings}
    known = [r for r in last.values() if r.column in model.index]
    left = [r for r in last.values() if r.column not in model.index]
    where = [model.index[r.column] for r in known]
    columns = model.matrix.columns
    sigma = [
        columns[i].sigma(model.matrix.usual[i], r.uncertainty)
        for i, r in zip(where, known, strict=True)
    ]
    number = [r.number or 1 if columns[i].each else 0 for i, r in zip(where, known, strict=True)]
    seen = Seen(
        tuple(known), np.array(where, np.int64), np.array(number, np.int64),
        np.array([r.value for r in known]), np.array(sigma), {},
    )  # fmt: skip
    return _condensed(model, seen), left


def _condensed(model: Model, seen: Seen) -> Seen:
    """Of many alike, those that stand out one by one, the others as one reading of their mean."""
    import numpy as np

    m = model.matrix
    own = np.diag(model.covers[1])
    pairs = zip(seen.column, seen.number, strict=True)
    at = np.array([m.columns[i].id.partition("@")[2] if n else "" for i, n in pairs], dtype=object)
    keep = np.ones(len(seen.value), bool)
    more: list[tuple[Reading, int, float, float]] = []
    read: dict[str, int] = {}
    for machine in dict.fromkeys(at[at != ""]):
        mine = np.flatnonzero(at == machine)
        numbers = np.unique(seen.number[mine])
        read[machine] = len(numbers)
        away = np.zeros(len(numbers))
        for i in np.unique(seen.column[mine]):
            some = mine[seen.column[mine] == i]
            middle = np.median(seen.value[some]) if len(some) > 2 else m.usual[i]
            sigma = np.sqrt(seen.sigma[some] ** 2 + own[i])
            far = ((seen.value[some] - middle) / sigma) ** 2
            away[np.searchsorted(numbers, seen.number[some])] += far
        out = set(numbers[np.argsort(away)[::-1][:STAND_OUT]])
        for i in np.unique(seen.column[mine]):
            rest = [r for r in mine if seen.column[r] == i and seen.number[r] not in out]
            if rest:
                keep[rest] = False
                sigma = float(np.sqrt((np.mean(seen.sigma[rest] ** 2) + own[i]) / len(rest)))
                value = float(np.mean(seen.value[rest]))
                told = Reading(f"{m.columns[i].id}#mean of {len(rest)}", value)
                more.append((told, int(i), value, sigma))
    return Seen(
        (*(r for r, k in zip(seen.readings, keep, strict=True) if k), *(x[0] for x in more)),
        np.append(seen.column[keep], [x[1] for x in more]).astype(np.int64),
        np.append(seen.number[keep], [REST] * len(more)).astype(np.int64),
        np.append(seen.value[keep], [x[2] for x in more]),
        np.append(seen.sigma[keep], [x[3] for x in more]),
        read,
    )
