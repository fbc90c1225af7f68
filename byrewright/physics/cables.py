"""Cables: volt drop, and the least conductor that carries a current."""

from __future__ import annotations

import math

from byrewright.physics.errors import check
from byrewright.standards.cables import LARGEST_TOGETHER, SIZES, Size
from byrewright.standards.rulebook import Rulebook, default_rulebook


def volt_drop_pct(
    amps: float, length_m: float, size_mm2: float, volts: float, power_factor: float = 0.85,
    phases: int = 3, together: int = 1, rules: Rulebook | None = None,
) -> float:  # fmt: skip
    """Volt drop of a cable over the voltage between phase and neutral, %.

    u = b (rho L cos(phi)/S + lambda L sin(phi)) I, b = 1 for three phases and 2 for one; rho of
    warm copper and lambda of the rulebook. Form of IEC 60364-5-52 annex G (from memory).

    Args:
        amps: current, A, 0 or more.
        length_m: length of the cable, m.
        size_mm2: conductor section, mm2.
        volts: between phases (three), or phase to neutral (one), V.
        power_factor: cos(phi), 0 to 1.
        phases: 1 or 3.
        together: equal cables side by side.
        rules: rulebook.

    Raises:
        PhysicsRangeError: a figure outside its range.

    >>> round(volt_drop_pct(28.0, 60.0, 6.0, 400.0), 2)
    2.35
    """
    rules = rules or default_rulebook()
    check("current", amps, 0.0, unit="A")
    check("length", length_m, 0.0, unit="m")
    check("section", size_mm2, 0.0, unit="mm2", above=True)
    check("voltage", volts, 0.0, unit="V", above=True)
    check("power factor", power_factor, 0.0, 1.0)
    neutral = volts / math.sqrt(3.0) if phases == 3 else volts
    sine = math.sqrt(1.0 - power_factor**2)
    ohms_m = (rules.number("cable.resistivity_ohm_mm2_m") * power_factor / size_mm2
              + rules.number("cable.reactance_mohm_m") / 1000 * sine)  # fmt: skip
    drop = (1.0 if phases == 3 else 2.0) * ohms_m * length_m * amps / together
    return 100.0 * drop / neutral


def conductor_for(
    amps: float, length_m: float, volts: float, most_pct: float, power_factor: float = 0.85,
    phases: int = 3, fuse_a: float = 0.0, rules: Rulebook | None = None,
) -> tuple[Size, int] | None:  # fmt: skip
    """The least conductor, and how many together, that carries a current, and what its fuse lets
    through, within a volt drop.

    None where even the largest, as many together as are usual, do not hold. A guess to be
    confirmed: grouping, ambient temperature, fuses and fault current are not looked at here.

    >>> size, together = conductor_for(28.0, 60.0, 400.0, 3.0)
    >>> size.mm2, together
    (6.0, 1)
    """
    rules = rules or default_rulebook()
    check("current", amps, 0.0, unit="A")
    share = rules.number("cable.grouping_share")
    least = rules.number("cable.least_mm2")
    for together in range(1, LARGEST_TOGETHER + 1):
        for size in SIZES if together == 1 else SIZES[-4:]:
            carries = size.carries_a * share * together
            drop = volt_drop_pct(amps, length_m, size.mm2, volts, power_factor, phases, together,
                                 rules)  # fmt: skip
            if size.mm2 >= least and carries >= max(amps, fuse_a) and drop <= most_pct + 1e-9:
                return size, together
    return None
