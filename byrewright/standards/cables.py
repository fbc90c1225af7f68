"""Cables: volt drop allowed, copper warm, and what each section carries."""

from __future__ import annotations

from dataclasses import dataclass

from byrewright.standards.model import Known, Value

VALUES: tuple[Value, ...] = (
    Value("cable.drop_most_pct", 5.0, "%", "volt drop from the public supply to a machine (3 % to "
          "lighting)", "iec60364_552", "from_memory", "limit", 3.0, 5.0, least=0.5, most=20.0),
    Value("cable.feeder_drop_pct", 1.5, "%", "volt drop kept for the cables up to a board",
          "practice", "common_practice", "typical", 1.0, 2.5),
    Value("cable.resistivity_ohm_mm2_m", 0.0225, "ohm mm2/m", "copper at working warmth: 1.25 "
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


SIZES_SOURCE = "iec60364_552"
SIZES_KNOWN: Known = "from_memory"
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
