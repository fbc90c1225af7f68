"""Noise: levels added, and what distance takes off."""

from __future__ import annotations

import math
from collections.abc import Sequence

from byrewright.physics.errors import check


def together_db(levels_db: Sequence[float]) -> float:
    """Levels of sources that do not know of each other, together: 10 lg sum 10^(L/10), dB.

    >>> round(together_db([80.0, 80.0]), 1)
    83.0
    """
    return 10.0 * math.log10(math.fsum(10.0 ** (level / 10.0) for level in levels_db))


def away_db(level_db: float, distance_m: float, at_m: float = 1.0) -> float:
    """Level of a small source at a distance, from that at `at_m`: L - 20 lg(r/r0), dB; no louder
    than there. A free field: a hard room is louder.

    >>> round(away_db(82.0, 10.0), 1)
    62.0
    """
    check("distance", distance_m, 0.0, unit="m")
    check("distance of the stated level", at_m, 0.0, unit="m", above=True)
    return level_db - 20.0 * math.log10(max(distance_m, at_m) / at_m)
