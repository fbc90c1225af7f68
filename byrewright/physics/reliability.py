"""Chance of failure: lives, availability, redundancy, cut sets.

Formulas are the standard mathematics of IEC 61078 and IEC 61025 (from memory). Repairs and
failures are independent unless a function says otherwise.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Mapping, Sequence
from itertools import combinations

from byrewright.physics.errors import PhysicsRangeError, check

_MOST_CUTS = 20


def weibull_mtbf_h(beta: float, eta_h: float) -> float:
    """Mean life: eta Gamma(1 + 1/beta).

    >>> round(weibull_mtbf_h(1.2, 100_000.0))
    94066
    """
    check("shape", beta, 0.0, unit="", above=True)
    check("characteristic life", eta_h, 0.0, unit="h", above=True)
    return eta_h * math.gamma(1.0 + 1.0 / beta)


def weibull_reliability(hours: float, beta: float, eta_h: float) -> float:
    """Chance to last: exp(-(t/eta)^beta).

    >>> round(weibull_reliability(1000.0, 1.0, 1000.0), 4)
    0.3679
    """
    check("time", hours, 0.0, unit="h")
    check("shape", beta, 0.0, above=True)
    check("characteristic life", eta_h, 0.0, unit="h", above=True)
    return math.exp(-((hours / eta_h) ** beta))


def availability(mtbf_h: float, mttr_h: float) -> float:
    """Steady availability: MTBF/(MTBF + MTTR).

    >>> round(availability(10_000.0, 8.0), 8)
    0.99920064
    """
    check("mean time between failures", mtbf_h, 0.0, unit="h", above=True)
    check("time to repair", mttr_h, 0.0, unit="h")
    return mtbf_h / (mtbf_h + mttr_h)


def series(parts: Iterable[float]) -> float:
    """All must work: product.

    >>> round(series([0.9, 0.8]), 2)
    0.72
    """
    return math.prod(_probabilities(parts))


def k_of_mixed(k: int, parts: Sequence[float]) -> float:
    """At least k of several parts work, each with its own chance.

    >>> round(k_of_mixed(2, [0.9, 0.9, 0.9]), 3)
    0.972
    """
    check("number needed", k, 0, len(parts))
    chance = [1.0]
    for p in _probabilities(parts):
        grown = [0.0] * (len(chance) + 1)
        for count, so_far in enumerate(chance):
            grown[count] += so_far * (1.0 - p)
            grown[count + 1] += so_far * p
        chance = grown
    return math.fsum(chance[k:])


def pair_unavailability(q: float, beta: float) -> float:
    """Both of a pair down: ((1 - beta) q)^2 + beta q (beta-factor model).

    >>> round(pair_unavailability(0.01, 0.1), 6)
    0.001081
    """
    check("unavailability", q, 0.0, 1.0)
    check("common cause share", beta, 0.0, 1.0)
    return min(1.0, ((1.0 - beta) * q) ** 2 + beta * q)


Cuts = Sequence[Collection[str]]


def rare_event(cuts: Cuts, q: Mapping[str, float]) -> float:
    """Rare-event sum: sum of Q_cut, never below the exact value."""
    return math.fsum(_cut(cut, q) for cut in cuts)


def cut_exact(cuts: Cuts, q: Mapping[str, float]) -> float:
    """Exact chance by inclusion and exclusion; at most 20 cut sets.

    >>> bridge = [{"a", "b"}, {"d", "e"}, {"a", "c", "e"}, {"b", "c", "d"}]
    >>> round(1 - cut_exact(bridge, dict.fromkeys("abcde", 0.1)), 5)
    0.97848
    """
    check("number of cut sets", len(cuts), 0, _MOST_CUTS)
    sets = [frozenset(cut) for cut in cuts]
    terms = []
    for size in range(1, len(sets) + 1):
        sign = 1.0 if size % 2 else -1.0
        terms += [sign * _cut(frozenset().union(*chosen), q) for chosen in combinations(sets, size)]
    return math.fsum(terms)


def minimal(cuts: Iterable[Collection[str]]) -> list[frozenset[str]]:
    """Cut sets with every superset of another removed, smallest and first by name first.

    >>> [sorted(c) for c in minimal([{"a", "b"}, {"a"}, {"c", "b"}])]
    [['a'], ['b', 'c']]
    """
    kept: list[frozenset[str]] = []
    for cut in sorted({frozenset(c) for c in cuts}, key=lambda c: (len(c), sorted(c))):
        if not any(other <= cut for other in kept):
            kept.append(cut)
    return kept


def _cut(cut: Collection[str], q: Mapping[str, float]) -> float:
    missing = sorted(item for item in cut if item not in q)
    if missing:
        raise PhysicsRangeError(f"no unavailability is given for {missing[0]}")
    return math.prod(q[item] for item in cut)


def _probabilities(parts: Iterable[float]) -> Iterable[float]:
    for p in parts:
        check("availability", p, 0.0, 1.0)
        yield p
