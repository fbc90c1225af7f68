"""The cheapest way of a pipe, against a general-purpose library's shortest paths."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.sparse import coo_array
from scipy.sparse.csgraph import dijkstra

from byrewright.place.kernel import SHUT, find

STEPS = ((1, 0, 0), (-1, 0, 0), (0, 1, 0), (0, -1, 0), (0, 0, 1), (0, 0, -1))
SHAPE = (4, 3, 3)


def by_library(lines, costs, extra, start, first, goal, last, bend, via):  # type: ignore[no-untyped-def]
    """Least cost by scipy's method of Dijkstra, over every place, direction and stage."""
    places = list(np.ndindex(SHAPE))
    at = {(p, d, s): i for i, (s, p, d) in enumerate(
        (s, p, d) for s in range(len(via) + 1) for p in places for d in range(6))}  # fmt: skip
    rows, columns, weights = [], [], []
    for (p, d, s), i in at.items():
        if p == goal and s == len(via):  # a pipe ends here: it may turn, and not go on and return
            if d != last and d ^ 1 != last:
                rows, columns, weights = [*rows, i], [*columns, at[p, last, s]], [*weights, bend]
            continue
        for e, step in enumerate(STEPS):
            q = tuple(a + b for a, b in zip(p, step, strict=True))
            if e == d ^ 1 or (q, e, s) not in at:
                continue
            axis, piece = e // 2, tuple(map(min, p, q))
            long = lines[axis][piece[axis] + 1] - lines[axis][piece[axis]]
            if costs[axis][piece] >= SHUT:
                continue
            t = s
            while t < len(via) and all(
                via[t][2 * a] <= q[a] <= via[t][2 * a + 1] for a in range(3)
            ):
                t += 1
            rows.append(i)
            columns.append(at[q, e, t])
            weights.append(costs[axis][piece] * long + extra[axis][piece] + bend * (e != d))
    graph = coo_array((weights, (rows, columns)), shape=(len(at), len(at)))
    return dijkstra(graph, indices=at[start, first, 0])[at[goal, last, len(via)]]


def cost_of(way, lines, costs, extra, first, last, bend):  # type: ignore[no-untyped-def]
    """What a way costs, worked out piece by piece."""
    total, d = 0.0, first
    for p, q in zip(way[:-1].tolist(), way[1:].tolist(), strict=True):
        if p == q:
            continue
        e = STEPS.index(tuple(b - a for a, b in zip(p, q, strict=True)))
        axis, piece = e // 2, tuple(map(min, p, q))
        long = lines[axis][piece[axis] + 1] - lines[axis][piece[axis]]
        total += costs[axis][piece] * long + extra[axis][piece] + bend * (e != d)
        d = e
    return total + bend * (d != last)


@pytest.mark.parametrize("seed", range(120))
def test_no_way_is_cheaper(seed: int) -> None:
    """Would fail if a pipe were led a dearer way than there is: what is thought still to come
    (metres, bends) would promise more than the rest of the way costs, or stages were skipped."""
    rng = np.random.default_rng(seed)
    lines = [np.cumsum(rng.uniform(0.2, 1.5, n)) for n in SHAPE]
    costs = [rng.choice([1.0, 1.6], SHAPE) for _ in range(3)]
    for one in costs:
        one[rng.random(SHAPE) < 0.15] = 2 * SHUT
    extra = [rng.choice([0.0, 0.4], SHAPE, p=(0.8, 0.2)) for _ in range(3)]
    via = [(1, 2, 2, 2, 0, 2), (3, 3, 0, 1, 1, 2)][: max(0, seed % 5 - 2)]
    first, last, bend = int(rng.integers(6)), int(rng.integers(6)), float(rng.choice([0.3, 0.9]))
    start, goal = (tuple(int(rng.integers(n)) for n in SHAPE) for _ in range(2))
    way = find(
        *lines, *costs, *extra, start, first, goal, last, bend,
        np.array(via, dtype=np.int64).reshape(-1, 6),
    )  # fmt: skip
    least = by_library(lines, costs, extra, start, first, goal, last, bend, via)
    if not len(way):
        assert not np.isfinite(least)
    else:
        assert cost_of(way, lines, costs, extra, first, last, bend) == pytest.approx(least)
        assert tuple(way[0]) == start and tuple(way[-1]) == goal
