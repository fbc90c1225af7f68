"""Motor starting: NEC 430.7(B) letters and IEC 60034-12 design N (both from memory)."""

from __future__ import annotations

import pytest

from byrewright.physics import motors
from byrewright.standards.electrical import CODE_LETTERS, DESIGN_N


def test_letter_bounds() -> None:
    """Bands of locked-rotor kVA for a horsepower, as recalled."""
    bounds = {row.letter: row.low for row in CODE_LETTERS}
    assert bounds["B"] == 3.15 and bounds["G"] == 5.6 and bounds["V"] == 22.4
    assert {"I", "O", "Q"}.isdisjoint(bounds)


@pytest.mark.parametrize(("kw", "per_kw"), [(6.3, 13), (7.5, 12), (25, 12), (30, 11), (75, 10)])
def test_design_n_limit(kw: float, per_kw: float) -> None:
    """kVA over kW by size of motor, as recalled."""
    assert motors.locked_rotor_kva(kw) == pytest.approx(kw * per_kw)
    assert DESIGN_N[-1].up_to_kw == 630


def test_star_delta_is_a_third() -> None:
    """Star-delta draws a third of the direct current (circuit theory)."""
    ratio = motors.start_kva(15, "star_delta") / motors.start_kva(15, "direct")
    assert ratio == pytest.approx(1 / 3)


def test_dip_formula_is_a_divider() -> None:
    """The dip is that of a reactance divider: a start equal to S/x' halves the voltage."""
    assert motors.dip_pct(100 / 0.20, 100) == pytest.approx(50.0)


def test_preferred_outputs() -> None:
    """IEC 60072-1 steps (from memory): the next one up."""
    assert [motors.next_motor_kw(p) for p in (0.05, 2.3, 15, 15.1, 399)] == [0.06, 3, 15, 18.5, 400]
