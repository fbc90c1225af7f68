"""Milk heat, blends and the cooling rules as printed (sources named in each test)."""

from __future__ import annotations

import pytest

from byrewright.physics import milk
from byrewright.standards import cooling

TENTH = 0.051


def test_heat_of_a_thousand_litres() -> None:
    """Derived: 35 to 4 degC 125.5 kJ/L, 34.9 kWh per 1000 L; 18 to 4 degC 56.7 and 15.7."""
    for start, kj, kwh in ((35, 125.5, 34.9), (18, 56.7, 15.7)):
        assert milk.heat_kj_per_l(start, 4) == pytest.approx(kj, abs=TENTH)
        assert milk.heat_kj_per_l(start, 4) / 3.6 == pytest.approx(kwh, abs=TENTH)


@pytest.mark.parametrize(
    ("region", "limit", "clock", "within"),
    [
        ("EU", 8.0, "at_once", None),
        ("EU", 6.0, "at_once", None),
        ("US", 7.0, "end_of_milking", 2.0),
        ("US-Massachusetts", 4.45, "end_of_milking", 2.0),
        ("US-California", 10.0, "start_of_milking", 4.0),
        ("Australia", 4.0, "start_of_milking", 3.0),
        ("New Zealand", 10.0, "start_of_milking", 4.0),
        ("New Zealand", 6.0, "start_of_milking", 6.0),
        ("New Zealand", 6.0, "end_of_milking", 2.0),
    ],
)
def test_rules_of_the_regions(region: str, limit: float, clock: str, within: float | None) -> None:
    """EU 853/2004, the US ordinance, 330 CMR 27.05 and others, some from memory."""
    steps = {(s.limit_c, s.clock, s.within_h) for s in cooling.temperature_rule(region).steps}
    assert (limit, clock, within) in steps


def test_tank_classes() -> None:
    """EN 13732 and ISO 5708 class figures (from memory, to be checked)."""
    assert [(c.letter, c.performance_c, c.safe_c) for c in cooling.AMBIENT_CLASSES] == [
        ("A", 38, 43), ("B", 32, 38), ("C", 25, 32),
    ]  # fmt: skip
    assert [(c.first_h, c.later_h) for c in cooling.COOLING_CLASSES] == [
        (2.0, 0.8), (2.5, 1.0), (3.0, 1.25), (3.5, 1.5),
    ]  # fmt: skip
    assert [f.milkings * f.share_each for f in cooling.FILL_CLASSES] == pytest.approx([1, 1, 1])
