"""Bakshi and Smith, Journal of Dairy Science 67(6):1157-1160, 1984 (abstract read)."""

from __future__ import annotations

import pytest

from byrewright.physics import milk
from byrewright.physics.errors import PhysicsRangeError

THIRD = 0.00051


def test_viscosity_at_three_and_a_half_per_cent_fat() -> None:
    """Worked example 6 (derived from the published formula)."""
    assert milk.milk_viscosity_mpa_s(4, 3.5) == pytest.approx(3.559, abs=THIRD)
    assert milk.milk_viscosity_mpa_s(20, 3.5) == pytest.approx(2.083, abs=THIRD)


def test_its_range_is_kept() -> None:
    """Published for 0-30 degC: beyond, the caller must ask."""
    with pytest.raises(PhysicsRangeError, match="30 degC"):
        milk.milk_viscosity_mpa_s(35)
    assert 1.0 < milk.milk_viscosity_mpa_s(35, extrapolate=True) < 1.8
