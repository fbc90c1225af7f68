"""Cables: volt drop allowed, copper warm, and what each section carries."""

from __future__ import annotations

import math
from dataclasses import dataclass

from byrewright.standards.model import Value

VALUES: tuple[Value, ...] = (
    Value("cable.drop_most_pct", 5.0, "%", "volt drop from the public supply to a machine (3 % to "
          "lighting)", "iec60364_552", "from_memory", "limit", 3.0, 5.0, least=0.5, most=20.0),
    Value("cable.feeder_drop_pct", 1.5, "%", "volt drop kept for the cables up to a board",
          "practice", "common_practice", "typical", 1.0, 2.5),
    Value("cable.resistivity_ohm_mm2_m", 0.0225, "ohm mm2/m", "copper at working temperature: 1.25 "
          "times that at 20 degC", "iec60364_552", "from_memory", "rule", least=0.015, most=0.06),
    Value("cable.reactance_mohm_m", 0.08, "mohm/m", "reactance of a cable", "iec60364_552",
          "from_memory", "rule", least=0.02, most=0.4),
    Value("cable.grouping_share", 0.7, "", "current that a cable carries among others on a tray, "
          "over alone", "iec60364_552", "from_memory", "typical", 0.65, 0.8),
    Value("cable.least_mm2", 2.5, "mm2", "least section of a power cable", "practice",
          "common_practice", "typical", 1.5, 2.5),
    Value("cable.one_phase_most_kw", 1.0, "kW", "largest load fed from one phase, where there are "
          "three", "practice", "common_practice", "typical", 0.75, 2.2),
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Size:
    """A copper conductor: section, and current that three of them carry on a wall in the cable's
    own sheath, PVC at 70 degC in air of 30 degC (method C)."""

    mm2: float
    carries_a: float


SIZES: tuple[Size, ...] = tuple(
    Size(a, b)
    for a, b in (
        (1.5, 17.5), (2.5, 24.0), (4.0, 32.0), (6.0, 41.0), (10.0, 57.0), (16.0, 76.0),
        (25.0, 96.0), (35.0, 119.0), (50.0, 144.0), (70.0, 184.0), (95.0, 223.0), (120.0, 259.0),
        (150.0, 299.0), (185.0, 341.0), (240.0, 403.0),
    )
)  # fmt: skip
LARGEST_TOGETHER = 4
"""Cables side by side at most (common practice, no source)."""


def _awg_mm2(number: int) -> float:
    """Section of a wire of the American gauge, by the gauge's own definition."""
    across_mm = 0.127 * math.pow(92.0, (36 - number) / 39)
    return math.pi / 4 * across_mm * across_mm


KCMIL_MM2 = 0.506707
"""A thousand circular mils: the section of a wire of 31.6 mils, by definition."""
US_SIZES: tuple[tuple[str, float], ...] = (
    *((f"{n} AWG", _awg_mm2(n)) for n in (14, 12, 10, 8, 6, 4, 3, 2, 1)),
    *((f"{n}/0 AWG", _awg_mm2(1 - n)) for n in (1, 2, 3, 4)),
    *((f"{n} kcmil", n * KCMIL_MM2) for n in (250, 300, 350, 400, 500, 600, 750)),
)
"""Conductors that can be bought where sections are not in mm2 (common practice, no source)."""


def us_size(mm2: float) -> str:
    """The smallest of `US_SIZES` that is not thinner than so many mm2; where none is, the figure.

    >>> us_size(2.5), us_size(50), us_size(240)
    ('12 AWG', '1/0 AWG', '500 kcmil')
    """
    wanted = f"{mm2 / KCMIL_MM2:.0f} kcmil"
    return next((name for name, size in US_SIZES if size >= mm2), wanted)
