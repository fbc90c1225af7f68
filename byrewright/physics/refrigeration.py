"""Refrigeration: coefficient of performance and duty by ambient, glycol."""

from __future__ import annotations

from itertools import pairwise

from byrewright.physics.errors import check
from byrewright.standards.cooling import GLYCOL

LEAST_COP_SHARE, MOST_COP_SHARE, LEAST_DUTY_SHARE = 0.4, 1.5, 0.1
"""Machines keep their condensing pressure up in the cold, and trip before they give nothing (common
practice, no source)."""


def cop_share(above_k: float, fall_per_k: float) -> float:
    """Coefficient of performance at an ambient so far above the rated one, over the rated: 1 - f k.

    Condensing is taken to follow ambient; between 0.4 and 1.5. Common practice, no source; the
    usual fall is 0.025 for each kelvin. Compiled by the day too.

    >>> cop_share(10.0, 0.025), cop_share(-40.0, 0.025)
    (0.75, 1.5)
    """
    return min(MOST_COP_SHARE, max(LEAST_COP_SHARE, 1.0 - fall_per_k * above_k))


def duty_share(above_k: float, fall_per_k: float) -> float:
    """Duty at an ambient so far above the rated one, over the rated: 1 - f k, 1 below it.

    Common practice, no source. Compiled by the day too.

    >>> duty_share(10.0, 0.025), duty_share(-10.0, 0.025)
    (0.75, 1.0)
    """
    return max(LEAST_DUTY_SHARE, 1.0 - fall_per_k * max(0.0, above_k))


def glycol_freeze_c(volume_pct: float) -> float:
    """Freezing point of propylene glycol in water, between the rows of the table.

    0-50 % by volume. Source: Lange's Handbook, 15th edition, Table 5.13 (read; minus signs
    restored from the Fahrenheit column).

    >>> glycol_freeze_c(30.0)
    -12.8
    """
    check("glycol", volume_pct, 0.0, 50.0, "%")
    rows = [(0.0, 0.0), *((p.volume_pct, p.freeze_c) for p in GLYCOL)]
    for (low, cold), (high, colder) in pairwise(rows):
        if volume_pct <= high:
            return cold + (colder - cold) * (volume_pct - low) / (high - low)
    return rows[-1][1]


def glycol_for_freeze_pct(freeze_c: float) -> float:
    """Least glycol share by volume for a freezing point, 0 to -33.3 degC.

    >>> glycol_for_freeze_pct(-12.8)
    30.0
    """
    check("freezing point", freeze_c, GLYCOL[-1].freeze_c, 0.0, "degC")
    rows = [(0.0, 0.0), *((p.volume_pct, p.freeze_c) for p in GLYCOL)]
    for (low, cold), (high, colder) in pairwise(rows):
        if freeze_c >= colder:
            return low + (high - low) * (freeze_c - cold) / (colder - cold)
    return rows[-1][0]
