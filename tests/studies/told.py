"""Numbers in sentences."""

from __future__ import annotations

import re

_NUMBER = re.compile(r"(?<![\w.:])-?\d+(?:\.\d+)?(?!\d|:\d)")
SCALES = (1.0, 100.0, 0.001)
"""As it is, as a share in per cent, or in thousands."""


def says(sentence: str, number: float) -> bool:
    """Whether a sentence tells a number, rounded to as many places as it tells.

    >>> says("It holds 8 % of 1.3 m3.", 0.08), says("It holds 1.3 m3.", 1310.0)
    (True, True)
    >>> says("It holds 1.3 m3.", 2620.0)
    False
    """
    return any(
        abs(abs(float(text)) - abs(number * scale)) <= 0.51 * 10 ** -len(text.partition(".")[2])
        for text in _NUMBER.findall(sentence)
        for scale in SCALES
    )
