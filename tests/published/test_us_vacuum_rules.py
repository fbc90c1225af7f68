"""US pump and reserve rules (Cornell University lecture 2018; US extension; both read)."""

from __future__ import annotations

import pytest

from byrewright.physics import air
from byrewright.standards.units import convert

WHOLE = 0.51  # published in whole cfm and converted to whole litres


def test_thirty_two_units() -> None:
    """W4: pump 35 + 96 = 131 cfm (3709 L/min); effective reserve 67 cfm (1897 L/min)."""
    assert air.pump_us_l_min_free(32) == pytest.approx(3709, abs=WHOLE)
    assert convert(air.pump_us_l_min_free(32), "L/min", "cfm") == pytest.approx(131)
    assert air.reserve_us_l_min_free(32) == pytest.approx(1897, abs=WHOLE)


def test_rules_in_litres() -> None:
    """Derived: reserve 991 + 28.3 n, pump 991 + 85 n L/min."""
    step = air.reserve_us_l_min_free(2) - air.reserve_us_l_min_free(1)
    assert step == pytest.approx(28.3, abs=0.05)
    assert air.reserve_us_l_min_free(1) - step == pytest.approx(991, abs=WHOLE)
    assert air.pump_us_l_min_free(2) - air.pump_us_l_min_free(1) == pytest.approx(85, abs=0.06)


def test_the_two_rule_sets_differ_widely_at_eighty_units() -> None:
    """Common practice, no source: show both apart, never mixed."""
    us, iso = air.reserve_us_l_min_free(80), air.reserve_iso_l_min_free(80, True)
    assert us / iso > 2.0


def test_conversions_quoted_in_the_lecture() -> None:
    """1 inHg = 3.386 kPa and 1 cfm = 28.317 L/min (lecture, read)."""
    assert convert(1, "inHg", "kPa") == pytest.approx(3.386, abs=0.0005)
    assert convert(1, "cfm", "L/min") == pytest.approx(28.317, abs=0.0005)
