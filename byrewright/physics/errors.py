"""The one error of this room, and the check that raises it."""

from __future__ import annotations

import math

from byrewright.errors import ByrewrightError


class PhysicsRangeError(ByrewrightError, ValueError):
    """A number outside the range a formula holds for; the text is one plain sentence."""


def check(
    what: str,
    value: float,
    low: float = -math.inf,
    high: float = math.inf,
    unit: str = "",
    *,
    above: bool = False,
) -> None:
    """Refuse a number outside low..high (with `above`, also one equal to `low`).

    Raises:
        PhysicsRangeError: outside, or not a finite number.

    >>> check("bore", 60.0, 0.0, unit="mm", above=True)
    """
    inside = low < value <= high if above else low <= value <= high
    if inside and math.isfinite(value):
        return
    tail = f" {unit}" if unit else ""
    if math.isinf(high) and math.isinf(low):
        wanted = "a finite number"
    elif math.isinf(high):
        wanted = f"{'above' if above else 'at least'} {low:g}{tail}"
    elif above:
        wanted = f"above {low:g} and at most {high:g}{tail}"
    else:
        wanted = f"from {low:g} to {high:g}{tail}"
    shown = f"{value:g}{tail}" if math.isfinite(value) else "not a finite number"
    raise PhysicsRangeError(f"{what} is {shown}; it must be {wanted}")
