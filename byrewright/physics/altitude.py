"""What thin air takes from machines: motors, engines and air-cooled refrigeration."""

from __future__ import annotations

from byrewright.physics.errors import check
from byrewright.standards.rulebook import Rulebook, default_rulebook


def _share(altitude_m: float, per_100_m: float, above_m: float) -> float:
    check("altitude", altitude_m, -500.0, 5000.0, "m")
    return max(0.1, 1.0 - per_100_m * max(0.0, altitude_m - above_m) / 100.0)


def motor_share(altitude_m: float, rules: Rulebook | None = None) -> float:
    """Share of its rating that an air-cooled motor gives: 1 - k (h - 1000 m)/100 m, -500 to 5000 m.

    >>> motor_share(800.0), round(motor_share(3000.0), 3)
    (1.0, 0.856)
    """
    rules = rules or default_rulebook()
    return _share(altitude_m, rules.number("motor.derate_per_100_m"),
                  rules.number("motor.derate_above_m"))  # fmt: skip


def engine_share(altitude_m: float, rules: Rulebook | None = None) -> float:
    """Share of its rating that a generator set gives, as for motors with its own fall.

    >>> round(engine_share(2000.0), 3)
    0.88
    """
    rules = rules or default_rulebook()
    return _share(altitude_m, rules.number("generator.derate_per_100_m"),
                  rules.number("motor.derate_above_m"))  # fmt: skip


def cold_share(altitude_m: float, rules: Rulebook | None = None) -> float:
    """Share of its duty that air-cooled refrigeration makes, as for motors.

    >>> cold_share(300.0), round(cold_share(2000.0), 3)
    (1.0, 0.97)
    """
    rules = rules or default_rulebook()
    return _share(altitude_m, rules.number("refrigeration.derate_per_100_m"),
                  rules.number("refrigeration.derate_above_m"))  # fmt: skip
