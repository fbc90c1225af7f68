"""Demand against supply: the store a day's curve needs, and the peak of chance events."""

from __future__ import annotations

import math
from collections.abc import Sequence

from byrewright.physics.errors import check

HOURS_A_DAY = 24

TURNS_TO_SETTLE = 2
"""The same day twice over: the second finds the store as the first left it."""


def storage_needed(demand: Sequence[float], supply: Sequence[float]) -> float | None:
    """Least store that carries a repeating day, each hour's demand against what can come in.

    Sequent peak: K = max(0, K + demand - supply), over the day twice; the answer is the greatest
    K. Nothing when a day's demand is more than a day's supply: no store is enough.
    Source: sequent-peak form of the mass-curve method (Thomas and Burden 1963, from memory).

    >>> storage_needed([0, 10, 10, 0], [5, 5, 5, 5])
    10.0
    >>> storage_needed([10, 10], [5, 5]) is None
    True
    """
    if len(demand) != len(supply):
        raise ValueError(f"{len(demand)} hours of demand but {len(supply)} of supply")
    if math.fsum(demand) > math.fsum(supply) * (1 + 1e-12):
        return None
    short = most = 0.0
    for wanted, given in list(zip(demand, supply, strict=True)) * TURNS_TO_SETTLE:
        short = max(0.0, short + wanted - given)
        most = max(most, short)
    return most


def made_later(asked: Sequence[float], most: Sequence[float]) -> tuple[float, ...]:
    """What is made in each hour of a repeating day to make up for what was asked.

    As soon as it may, in each hour so much at most; what a day cannot make is not made.
    Source: a running balance, derived.

    >>> made_later([0.0, 9.0, 0.0], [4.0, 4.0, 0.0])
    (4.0, 4.0, 0.0)
    """
    owed, made = 0.0, [0.0] * len(asked)
    for _ in range(TURNS_TO_SETTLE):
        for h, wanted in enumerate(asked):
            owed += wanted
            made[h] = min(most[h], owed)
            owed -= made[h]
    return tuple(made)


def peak_events(mean: float, deviations: float = 2.0) -> float:
    """Events of a busy minute where they come by chance at a mean rate: m + z sqrt(m).

    A Poisson count has a standard deviation of the root of its mean; at two deviations about one
    minute in forty is busier (normal approximation, derived). Mean 0 or more.

    >>> peak_events(4.0)
    8.0
    """
    check("mean events", mean, 0.0)
    return mean + deviations * math.sqrt(mean)


def spread_over_hours(
    start_min: float, hours: float, amount: float, each: int = 1
) -> tuple[float, ...]:
    """An amount spent evenly from a time of day on, put into the hours of a repeating day, or into
    `each` steps of every hour.

    >>> spread_over_hours(23 * 60 + 30, 1.0, 10.0)[23], spread_over_hours(1410, 1.0, 10.0)[0]
    (5.0, 5.0)
    >>> spread_over_hours(1425, 1.0, 8.0, 4)[-2:], spread_over_hours(1425, 1.0, 8.0, 4)[:4]
    ((0.0, 2.0), (2.0, 2.0, 2.0, 0.0))
    """
    check("hours", hours, 0.0)
    bins = HOURS_A_DAY * each
    found = [0.0] * bins
    at, end = start_min * each / 60.0, (start_min / 60.0 + hours) * each
    if hours == 0.0:
        found[int(at) % bins] = amount
        return tuple(found)
    while at < end - 1e-12:
        upto = min(end, math.floor(at + 1e-12) + 1.0)
        found[int(at + 1e-12) % bins] += amount * (upto - at) / (hours * each)
        at = upto
    return tuple(found)


def together_kva(loads: Sequence[tuple[float, float]]) -> float:
    """Apparent power of loads (kW, power factor) running together: sqrt((sum P)^2 + (sum Q)^2).

    Q = P tan(arccos pf). Source: circuit theory.

    >>> round(together_kva([(8.0, 0.8), (6.0, 1.0)]), 2)
    15.23
    """
    for kw, factor in loads:
        check("load", kw, 0.0, unit="kW")
        check("power factor", factor, 0.0, 1.0, above=True)
    active = math.fsum(kw for kw, _ in loads)
    reactive = math.fsum(kw * math.sqrt(1.0 - f * f) / f for kw, f in loads)
    return math.hypot(active, reactive)
