"""Vacuum with time: its level, how it holds, and what one let-in of air does to it.

The figures of a marked let-in are defined as the transient study defines its own, so that measured
and predicted stand side by side (the names are those of ISO 6690, from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from byrewright.traces.trace import Swapped, Trace, TraceUnfit

BEFORE_S = 5.0
HELD_S = 1.0
SETTLE_S = 0.5
BACK_WITHIN_KPA = 0.2
ABOVE_KPA = 0.5
"""So far apart two sound instruments may stand in the mean (own choice)."""
AFTER_S = 30.0
"""What comes later than this after the air was shut off is not its doing (own choice)."""


@dataclass(frozen=True)
class Level:
    """How a vacuum stood over a stretch of time."""

    mean_kpa: float
    median_kpa: float
    deviation_kpa: float
    least_kpa: float
    most_kpa: float
    under_limit_s: float
    longest_under_limit_s: float


@dataclass(frozen=True)
class LetIn:
    """What the vacuum did when air was let in at one moment and shut off at another."""

    before_kpa: float
    during_kpa: float
    least_kpa: float
    most_kpa: float
    back_after_s: float | None

    @property
    def drop_kpa(self) -> float:
        """Vacuum before, less the lowest."""
        return self.before_kpa - self.least_kpa

    @property
    def undershoot_kpa(self) -> float:
        """Settled vacuum with the air let in, less the lowest."""
        return max(0.0, self.during_kpa - self.least_kpa)

    @property
    def overshoot_kpa(self) -> float:
        """Highest vacuum above that before."""
        return max(0.0, self.most_kpa - self.before_kpa)


@dataclass(frozen=True)
class Dip:
    """A stretch away from the usual level; `away_kpa` is negative below it."""

    start_s: float
    lasts_s: float
    away_kpa: float


def runs(mask: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """First and last-but-one index of each stretch in which a mask holds."""
    edges = np.diff(np.concatenate(([0], mask.astype(np.int8), [0])))
    starts, ends = np.flatnonzero(edges > 0), np.flatnonzero(edges < 0)
    return list(zip(starts.tolist(), ends.tolist(), strict=True))


def level(vacuum: Trace, limit_kpa: float) -> Level:
    """The level over the whole trace and the time under a limit; gaps count for nothing."""
    weights = vacuum.weights_s()
    mean = vacuum.mean()
    low = vacuum.x < limit_kpa
    longest = max((float(weights[i:j].sum()) for i, j in runs(low)), default=0.0)
    return Level(
        mean_kpa=mean,
        median_kpa=float(np.median(vacuum.x)),
        deviation_kpa=float(np.sqrt(np.average((vacuum.x - mean) ** 2, weights=weights))),
        least_kpa=float(vacuum.x.min()),
        most_kpa=float(vacuum.x.max()),
        under_limit_s=float(weights[low].sum()),
        longest_under_limit_s=longest,
    )


def let_in(vacuum: Trace, opened_s: float, shut_s: float) -> LetIn:
    """The regulation figures of one marked let-in of air; the trace spans it by 5 s each side.

    Extremes are of means over half a second, so that noise of the instrument is not taken for a
    swing; a dip shorter than that is told too small.

    Raises:
        TraceUnfit: the trace does not span the marks, or was read less than four times a second.
    """
    if vacuum.step_s > SETTLE_S / 2:
        raise TraceUnfit(f"it was read every {vacuum.step_s:.2g} s; a let-in needs 0.25 s or less")
    span = vacuum.between(opened_s - BEFORE_S, shut_s + AFTER_S)
    before = span.between(opened_s - BEFORE_S, opened_s)
    held = span.between(max(opened_s, shut_s - HELD_S), shut_s)
    after = span.between(shut_s, shut_s + BEFORE_S)
    enough = 0.8 * BEFORE_S
    if before.lasts_s < enough or after.lasts_s < enough or held.t_s.size < 2 or shut_s <= opened_s:
        raise TraceUnfit(f"it does not span the marks with {BEFORE_S:g} s on each side")
    level_before = before.mean()
    smooth = span.smooth(SETTLE_S)
    event = span.t_s >= opened_s
    away = np.flatnonzero(event & (np.abs(smooth - level_before) > BACK_WITHIN_KPA))
    if not away.size:
        back: float | None = 0.0
    elif away[-1] + 1 < span.t_s.size:
        back = float(span.t_s[away[-1] + 1] - opened_s)
    else:
        back = None
    return LetIn(
        level_before, held.mean(), float(smooth[event].min()), float(smooth[event].max()), back
    )


def dips(vacuum: Trace, least_kpa: float = 1.0, window_s: float = 60.0) -> tuple[Dip, ...]:
    """Stretches in which the vacuum stood `least_kpa` or more away from the level around it.

    The level is the median of windows of `window_s`; two stretches less than 2 s apart are one.
    """
    found: list[Dip] = []
    for piece in vacuum.pieces():
        if piece.t_s.size < 4:
            continue
        slot = ((piece.t_s - piece.t_s[0]) / window_s).astype(np.int64)
        starts = np.searchsorted(slot, np.arange(slot[-1] + 1))
        medians = np.array([np.median(part) for part in np.split(piece.x, starts[1:])])
        usual = np.median(
            np.lib.stride_tricks.sliding_window_view(np.pad(medians, 2, mode="edge"), 5), axis=1
        )
        away = piece.smooth(SETTLE_S) - usual[slot]
        joined: list[tuple[int, int]] = []
        for i, j in runs(np.abs(away) >= least_kpa):
            if joined and piece.t_s[i] - piece.t_s[joined[-1][1] - 1] < 2.0:
                joined[-1] = (joined[-1][0], j)
            else:
                joined.append((i, j))
        for i, j in joined:
            furthest = away[i:j][int(np.argmax(np.abs(away[i:j])))]
            found.append(
                Dip(float(piece.t_s[i]), float(piece.t_s[j - 1] - piece.t_s[i]), float(furthest))
            )
    return tuple(found)


def share_within(line: Trace, receiver: Trace, most_kpa: float) -> tuple[float, int]:
    """Share of the time in which the line stands within `most_kpa` of the receiver, and the slugs.

    Both channels hold the same times. A slug is a stretch below the receiver by more than that; two
    less than 2 s apart are one.

    Raises:
        TraceUnfit: the two channels were not read at the same times.
        Swapped: the line stands above the receiver that draws on it.
    """
    if line.t_s.size != receiver.t_s.size or not np.array_equal(line.t_s, receiver.t_s):
        raise TraceUnfit("line and receiver were not read at the same times")
    below = receiver.x - line.x
    weights = line.weights_s()
    if np.average(below, weights=weights) < -ABOVE_KPA:
        raise Swapped("it stands above the receiver, which cannot be: are the columns swapped?")
    share = float(weights[np.abs(below) <= most_kpa].sum() / weights.sum())
    slugs, last = 0, -np.inf
    for i, j in runs(below > most_kpa):
        if line.t_s[i] - last >= 2.0:
            slugs += 1
        last = float(line.t_s[j - 1])
    return share, slugs
