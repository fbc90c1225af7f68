"""Volt drop and conductors, against tables of the trade recalled and a hand formula."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from byrewright.physics.cables import conductor_for, volt_drop_pct
from byrewright.physics.errors import PhysicsRangeError
from byrewright.standards.cables import SIZES

TABLE_SHARE = 0.08
"""Tables take copper at 70 degC (0.0216 ohm mm2/m) where annex G takes 0.0225."""
MV_A_M = {2.5: 15.0, 4.0: 9.5, 6.0: 6.4, 10.0: 3.8, 16.0: 2.4}
"""Three-phase volt drop in mV for each A and m, BS 7671 table 4D4B (from memory)."""


@pytest.mark.parametrize(("mm2", "mv"), sorted(MV_A_M.items()))
def test_volt_drop_is_that_of_the_tables(mm2: float, mv: float) -> None:
    """Would fail if a factor of the formula (phases, temperature, section) were wrong."""
    pct = volt_drop_pct(20.0, 50.0, mm2, 400.0, 1.0)
    assert pct / 100 * 400.0 == pytest.approx(mv / 1000 * 20.0 * 50.0, rel=TABLE_SHARE)


def test_one_phase_goes_there_and_back() -> None:
    """Would fail if the return conductor of a single-phase cable were left out: u = 2 I L rho/S,
    handbook formula with copper of 58 m/(ohm mm2) at 20 degC, here warm by 1.305."""
    cold = 2 * 10.0 * 30.0 / (58.0 * 2.5)
    assert volt_drop_pct(10.0, 30.0, 2.5, 230.0, 1.0, 1) == pytest.approx(
        100 * cold * 1.305 / 230.0, rel=0.001
    )


@given(
    amps=st.floats(1.0, 400.0), long=st.floats(1.0, 300.0), most=st.floats(0.5, 6.0),
    phases=st.sampled_from([1, 3]),
)  # fmt: skip
def test_what_is_picked_holds_and_the_next_smaller_does_not(
    amps: float, long: float, most: float, phases: int
) -> None:
    """Would fail if a conductor were picked too small, or larger than it need be."""
    volts = 400.0 if phases == 3 else 400.0 / math.sqrt(3)
    found = conductor_for(amps, long, volts, most, phases=phases)
    if found is None:
        return
    size, together = found
    assert volt_drop_pct(amps, long, size.mm2, volts, 0.85, phases, together) <= most + 1e-6
    assert size.carries_a * together * 0.7 >= amps - 1e-6
    if together == 1 and size.mm2 > 2.5:
        less = SIZES[SIZES.index(size) - 1]
        drop = volt_drop_pct(amps, long, less.mm2, volts, 0.85, phases)
        assert less.carries_a * 0.7 < amps or drop > most


def test_nonsense_is_refused() -> None:
    """Would fail if a section of nothing gave a number."""
    with pytest.raises(PhysicsRangeError):
        volt_drop_pct(10.0, 10.0, 0.0, 400.0)
