"""Numbers in sentences, and those that are printed beside them."""

from __future__ import annotations

import re

from byrewright.results import Finding

Inputs = dict[str, float]

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


def inputs(one: Finding) -> Inputs:
    """The inputs of a finding that are numbers, by their symbols."""
    return {i.symbol: i.value for i in one.inputs if not isinstance(i.value, str)}


MOST = {
    "%": 1000, "A": 1200, "K": 45, "L": 600_000, "L/min": 65_000, "bar": 16, "cows": 3000, "h": 48,
    "kN": 900, "kPa": 500, "kVA": 18_000, "kW": 800, "kWh": 4500, "kg": 40_000, "loads": 30,
    "m/s": 60, "m3": 1500, "min": 1440, "mm": 600, "s": 60, "t": 170, "times": 400, "degC": 100,
}  # fmt: skip
"""Beyond these no sentence of a plant for 2600 cows makes sense: some twice what any tells."""
_WITH_UNIT = re.compile(rf"(?<![\w.:])(-?\d+(?:\.\d+)?) ({'|'.join(MOST)})(?![\w/])")


def senseless(sentence: str) -> list[str]:
    """Numbers of a sentence, with their units, that no plant has: divided for multiplied, or a
    factor of a thousand off.

    >>> senseless("It takes 40.0 kW at 52000 kPa, 0.2 times running.")
    ['52000 kPa']
    """
    found = _WITH_UNIT.findall(sentence)
    return [f"{n} {unit}" for n, unit in found if abs(float(n)) > MOST[unit]]
