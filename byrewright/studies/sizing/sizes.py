"""Sizes that can be bought, shares that doubled machines carry, and inputs of findings."""

from __future__ import annotations

import math
from collections.abc import Sequence

from byrewright.physics.motors import next_motor_kw as next_motor_kw
from byrewright.plant.farm import Redundancy
from byrewright.plant.machine import Machine
from byrewright.results import Input
from byrewright.standards.pipes import AIRLINE_BORES_MM, next_bore_mm

TIGHT = 0.05
"""Share of a limit within which an answer that holds is called tight (our choice)."""

ROOM = 1.10
"""What an advised size has over its limit: a tenth (our choice)."""

MUCH_PCT = 900.0
"""Spare beyond which its figure says nothing."""

PREFERRED = (1.0, 1.2, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0)
"""Steps in which vessels and refrigeration are offered (common practice, no source)."""


def next_preferred(least: float) -> float:
    """The next size of the preferred steps.

    >>> next_preferred(43.0), next_preferred(1210.0)
    (50.0, 1500.0)
    """
    if least <= 0:
        return PREFERRED[0]
    ten = 10.0 ** math.floor(math.log10(least) + 1e-12)
    return float(next(round(s * ten, 6) for s in PREFERRED if s * ten >= least * (1 - 1e-9)))


def next_round(least: float) -> float:
    """Rounded up to two figures: how pumps are quoted.

    >>> next_round(5293.0), next_round(74.2)
    (5300.0, 75.0)
    """
    if least <= 0:
        return 0.0
    step = 10.0 ** (math.floor(math.log10(least) + 1e-12) - 1)
    return float(round(math.ceil(least / step - 1e-9) * step, 6))


def next_airline_mm(least_mm: float) -> float:
    """The next airline bore (the largest where none is enough)."""
    return next_bore_mm(least_mm) or AIRLINE_BORES_MM[-1]


def each_carries(need: float, count: int, redundancy: Redundancy) -> float:
    """What each of `count` alike must carry so that the duty is met, with one off if so wished.

    >>> each_carries(600.0, 2, "shared-running"), each_carries(600.0, 2, "none")
    (600.0, 300.0)
    """
    if redundancy != "none" and count > 1:
        return need / (count - 1)
    return need / max(1, count)


def with_others_off(one: Machine, group: Sequence[Machine], redundancy: Redundancy) -> str:
    """Words for what stands still while this one carries the duty."""
    others = [m.id for m in group if m.id != one.id]
    if redundancy == "none":
        return f" together with {listed(others)}" if others else ""
    total = sum(m.count for m in group)
    if total == 2:
        return f" with {others[0] if others else 'its twin'} off"
    return " with any one off" if total > 2 else ""


def listed(names: Sequence[str]) -> str:
    """Names in a sentence.

    >>> listed(["VP1", "VP2", "VP3"])
    'VP1, VP2 and VP3'
    """
    if len(names) < 2:
        return "".join(names)
    return f"{', '.join(names[:-1])} and {names[-1]}"


def counted(count: int, noun: str) -> str:
    """A number of things in words.

    >>> counted(1, "load"), counted(2, "load"), counted(0, "day")
    ('1 load', '2 loads', 'no days')
    """
    return f"{count or 'no'} {noun}{'' if count == 1 else 's'}"


def kilowatts(kw: float) -> str:
    """A power in a sentence: whole kilowatts, finer where it is small.

    >>> kilowatts(41.3), kilowatts(0.186), kilowatts(3.0)
    ('41 kW', '0.19 kW', '3 kW')
    """
    return f"{kw:.0f} kW" if kw >= 10 else f"{kw:.2g} kW"


def climb(rise_m: float) -> str:
    """A rise in words; a fall where it is less than nothing.

    >>> climb(1.24), climb(-0.1)
    ('1.2 m of rise', '0.1 m of fall')
    """
    return f"{abs(rise_m):.1f} m of {'fall' if round(rise_m, 1) < 0 else 'rise'}"


def verb_s(count: int) -> str:
    """The ending of a verb: "TK1 holds", "TK1 and TK2 hold".

    >>> verb_s(1), verb_s(2)
    ('s', '')
    """
    return "s" if count == 1 else ""


def spare(value: float, limit: float) -> str:
    """The margin in words: "13 % spare" or "8 % short".

    >>> spare(6200.0, 5480.0), spare(5000.0, 5480.0)
    ('13 % spare', '9 % short')
    """
    if limit <= 0:
        return "nothing needed"
    share = 100.0 * (value - limit) / limit
    if share > MUCH_PCT:
        return "far more than needed"
    return f"{abs(share):.0f} % {'spare' if share >= 0 else 'short'}"


def stated(symbol: str, meaning: str, value: float | str, unit: str = "", where: str = "") -> Input:
    """An input that the plant file states."""
    return Input(symbol, meaning, value, unit, where or "plant file")


def worked(symbol: str, meaning: str, value: float | str, unit: str = "", how: str = "") -> Input:
    """An input worked out by another part of the study."""
    return Input(symbol, meaning, value, unit, how or "worked out from the plant's duties")
