"""Fixed stalls in rows: a row leaves together, so its slowest cow sets the pace."""

from __future__ import annotations

import math
from functools import cache

from byrewright.physics.errors import check
from byrewright.physics.throughput import log_normal

_STEP_S = 1.0
_LONGEST_S = 36_000.0
_DONE = 1e-6


@cache
def row_time_s(
    cows: int, attach_s: float, mean_s: float, deviation_s: float, limit_s: float = math.inf
) -> float:
    """Mean time from the row standing to its last cow milked out.

    Cow i is attached after i attach times and then milks a log-normal time, cut off at the limit:
    E[max_i(i a + t_i)] = integral of 1 - prod F(t - i a) dt, in steps of a second. Derived.

    Args:
        cows: cows in a row, 1 to 100.
        attach_s: seconds between attachments in this row.
        limit_s: milking time at which a unit is taken off in any case.

    >>> round(row_time_s(1, 0.0, 383.0, 129.0))
    383
    >>> row_time_s(20, 14.0, 383.0, 129.0) > 600.0
    True
    """
    check("cows in a row", cows, 1, 100)
    check("seconds between attachments", attach_s, 0.0, unit="s")
    check("longest milking time", min(limit_s, _LONGEST_S), 0.0, unit="s", above=True)
    spread = log_normal(mean_s, deviation_s)
    total, t = 0.0, _STEP_S / 2
    last_s = cows * attach_s
    while t < _LONGEST_S:
        if t <= last_s:  # the last cow does not yet milk
            total += _STEP_S
            t += _STEP_S
            continue
        done = 1.0
        for i in range(1, cows + 1):
            milked = t - i * attach_s
            if milked < limit_s:
                done *= 1.0 - spread.above(milked)
        total += (1.0 - done) * _STEP_S
        if done > 1.0 - _DONE:
            break
        t += _STEP_S
    return total


def rows_cows_h(stalls: int, change_s: float, milking_s: float) -> float:
    """Cows an hour of rows that each fill, milk out and change: 3600 stalls / (change + milking).

    >>> round(rows_cows_h(40, 90.0, 700.0))
    182
    """
    check("stalls", stalls, 1)
    check("change of a row", change_s, 0.0, unit="s")
    check("milking of a row", milking_s, 0.0, unit="s", above=True)
    return 3600.0 * stalls / (change_s + milking_s)
