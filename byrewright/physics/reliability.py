"""Mean lives (standard mathematics, from memory)."""

from __future__ import annotations

import math

from byrewright.physics.errors import check


def weibull_mtbf_h(beta: float, eta_h: float) -> float:
    """Mean life: eta Gamma(1 + 1/beta).

    >>> round(weibull_mtbf_h(1.2, 100_000.0))
    94066
    """
    check("shape", beta, 0.0, unit="", above=True)
    check("characteristic life", eta_h, 0.0, unit="h", above=True)
    return eta_h * math.gamma(1.0 + 1.0 / beta)
