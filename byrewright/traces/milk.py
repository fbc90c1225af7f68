"""Milk flow of a unit with time: one cow after another, and what a herd's figures follow from."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from byrewright.traces.level import runs
from byrewright.traces.trace import Trace

BETWEEN_COWS_S = 30.0


@dataclass(frozen=True)
class CowMilking:
    """One cow at one unit."""

    start_s: float
    milk_kg: float
    flowing_s: float
    peak_kg_min: float


@dataclass(frozen=True)
class HerdFigures:
    """What the plant file's herd figures would be by these milkings, with standard errors."""

    cows: int
    milk_out_mean_s: float
    milk_out_std_dev_s: float
    milk_out_mean_error_s: float
    yield_mean_kg: float
    yield_std_dev_pct: float
    peak_mean_kg_min: float


def cow_milkings(
    flow: Trace, least_kg_min: float = 0.2, least_kg: float = 1.0
) -> tuple[CowMilking, ...]:
    """The cows milked at one unit, from its milk flow, kg/min.

    Flow that stays under `least_kg_min` for 30 s parts two cows; less than `least_kg` altogether is
    a rinse or a false start.
    """
    found = []
    weights = flow.weights_s()
    smooth = flow.smooth(max(5.0, 2 * flow.step_s))
    joined: list[tuple[int, int]] = []
    for i, j in runs(smooth >= least_kg_min):
        if joined and flow.t_s[i] - flow.t_s[joined[-1][1] - 1] < BETWEEN_COWS_S:
            joined[-1] = (joined[-1][0], j)
        else:
            joined.append((i, j))
    for i, j in joined:
        kg = float((flow.x[i:j] * weights[i:j]).sum() / 60.0)
        if kg < least_kg:
            continue
        lasts = float(weights[i:j].sum())
        best = float(
            flow.between(float(flow.t_s[i]), float(flow.t_s[j - 1]) + 1e-9).smooth(30.0).max()
        )
        found.append(CowMilking(float(flow.t_s[i]), kg, lasts, best))
    return tuple(found)


def herd_figures(milkings: Sequence[CowMilking]) -> HerdFigures:
    """Mean and spread over many cows.

    Raises:
        ValueError: fewer than two milkings.
    """
    if len(milkings) < 2:
        raise ValueError("a herd's figures need two milkings or more")
    time = np.array([m.flowing_s for m in milkings])
    kg = np.array([m.milk_kg for m in milkings])
    return HerdFigures(
        cows=len(milkings),
        milk_out_mean_s=float(time.mean()),
        milk_out_std_dev_s=float(time.std(ddof=1)),
        milk_out_mean_error_s=float(time.std(ddof=1) / np.sqrt(time.size)),
        yield_mean_kg=float(kg.mean()),
        yield_std_dev_pct=float(100.0 * kg.std(ddof=1) / kg.mean()),
        peak_mean_kg_min=float(np.mean([m.peak_kg_min for m in milkings])),
    )
