"""Machines from their power or current: starts, hours, share of the time, inrush."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from byrewright.traces.level import runs
from byrewright.traces.trace import Array, Trace, TraceUnfit

APART = 3.0
"""Running must stand above idle by so many times the scatter of both to be told apart."""
INRUSH_S = 5.0
BRIDGE_S = 0.5


@dataclass(frozen=True)
class Running:
    """What a machine did while it was read. `load` and `inrush` are in the trace's own unit."""

    starts: int
    hours: float
    share: float
    load: float
    idle: float
    inrush: float | None
    longest_h: float


def running(drawn: Trace) -> Running:
    """Starts, hours and duty from power or current; on and off are told apart by themselves.

    Raises:
        TraceUnfit: on and off cannot be told apart.
    """
    low, high = (float(q) for q in np.percentile(drawn.x, [1.0, 99.0]))
    cut = _cut(drawn.x, low, high)
    on = drawn.x >= cut
    if high - low < 1e-9 or not on.any() or on.all():
        raise TraceUnfit("it never changes between on and off; give a longer record")
    load, idle = float(np.median(drawn.x[on])), float(np.median(drawn.x[~on]))
    scatter = float(np.median(np.abs(drawn.x[on] - load)) + np.median(np.abs(drawn.x[~on] - idle)))
    if load - idle < APART * scatter or load - idle < 0.2 * abs(load):
        raise TraceUnfit("on and off cannot be told apart")
    weights = drawn.weights_s()
    stretches: list[tuple[int, int]] = []
    for i, j in runs(on):
        if stretches and drawn.t_s[i] - drawn.t_s[stretches[-1][1] - 1] <= BRIDGE_S:
            stretches[-1] = (stretches[-1][0], j)
        elif weights[i:j].sum() > BRIDGE_S or drawn.step_s > BRIDGE_S:
            stretches.append((i, j))
    starts = [(i, j) for i, j in stretches if i > 0]
    peaks = [
        float(drawn.x[i:j][drawn.t_s[i:j] <= drawn.t_s[i] + INRUSH_S].max())
        for i, j in starts
        if drawn.step_s <= 0.2
    ]
    hours = [float(weights[i:j].sum()) / 3600.0 for i, j in stretches]
    return Running(
        starts=len(starts),
        hours=sum(hours),
        share=sum(hours) * 3600.0 / float(weights.sum()),
        load=load,
        idle=idle,
        inrush=max(peaks) if peaks else None,
        longest_h=max(hours, default=0.0),
    )


def _cut(x: Array, low: float, high: float) -> float:
    """The threshold that parts two heaps best (Otsu 1979: greatest variance between them)."""
    counts, edges = np.histogram(np.clip(x, low, high), bins=256)
    middles = (edges[:-1] + edges[1:]) / 2
    below, sums = np.cumsum(counts), np.cumsum(counts * middles)
    above = below[-1] - below
    with np.errstate(divide="ignore", invalid="ignore"):
        gap = sums / below - (sums[-1] - sums) / above
        between = np.where((below > 0) & (above > 0), below * above * gap * gap, 0.0)
    best = np.flatnonzero(between >= between.max() * (1.0 - 1e-12))
    return float(edges[1:][best].mean())
