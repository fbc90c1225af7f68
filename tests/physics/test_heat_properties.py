"""Properties of heat exchangers, tanks, milk and refrigeration."""

from __future__ import annotations

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from byrewright.physics import heat, refrigeration
from byrewright.physics.errors import PhysicsRangeError

BALANCE = 1e-9  # energy closes to rounding
ROUND_TRIP = 1e-6  # the inverse is ill-conditioned where effectiveness nears one

flows = st.floats(0.1, 50.0)


@given(flows, flows, st.floats(0.0, 200.0), st.floats(20, 40), st.floats(0, 19))
def test_exchanger_conserves_energy(
    hot: float, cold: float, ua: float, warm: float, cool: float
) -> None:
    """Heat would be made or lost in the cooler."""
    x = heat.exchanger(hot, warm, cold, cool, ua)
    assert hot * (warm - x.hot_out_c) == pytest.approx(x.duty_kw, rel=BALANCE, abs=1e-9)
    assert cold * (x.cold_out_c - cool) == pytest.approx(x.duty_kw, rel=BALANCE, abs=1e-9)
    assert cool - 1e-9 <= x.hot_out_c <= warm + 1e-9
    assert cool - 1e-9 <= x.cold_out_c <= warm + 1e-9


@given(flows, flows, st.floats(0.1, 60.0), st.floats(20, 40), st.floats(0, 19))
def test_size_from_outlet_and_back(
    hot: float, cold: float, ua: float, warm: float, cool: float
) -> None:
    """A cooler sized for an outlet would not reach it."""
    x = heat.exchanger(hot, warm, cold, cool, ua)
    assume(x.effectiveness < 1 - 1e-6)
    again = heat.ua_for_hot_out_kw_k(hot, warm, cold, cool, x.hot_out_c)
    assert again == pytest.approx(ua, rel=1e-4)
    assert heat.exchanger(hot, warm, cold, cool, again).hot_out_c == pytest.approx(x.hot_out_c)


@given(flows, flows, st.floats(0.1, 100.0), st.floats(1.01, 3.0))
def test_larger_is_never_worse(hot: float, cold: float, ua: float, more: float) -> None:
    """A larger cooler or more water would be advised for nothing."""
    base = heat.exchanger(hot, 35, cold, 12, ua).hot_out_c
    assert heat.exchanger(hot, 35, cold, 12, ua * more).hot_out_c <= base + 1e-9
    assert heat.exchanger(hot, 35, cold * more, 12, ua).hot_out_c <= base + 1e-9


def test_impossible_outlet_names_the_coldest() -> None:
    """Too little water would be met with an ever larger cooler."""
    with pytest.raises(PhysicsRangeError, match=r"no exchanger brings it below 25\.0 degC"):
        heat.ua_for_hot_out_kw_k(2.0, 35, 1.0, 15, 17)


@given(st.floats(-20, 49), st.floats(0.5, 20))
def test_warmer_air_never_helps_refrigeration(ambient: float, more: float) -> None:
    """A hot night would cost less electricity."""
    assume(ambient + more <= 50)
    assert refrigeration.cop("direct", ambient + more) <= refrigeration.cop("direct", ambient)


@given(st.floats(0, 50))
def test_glycol_round_trip(pct: float) -> None:
    """A mixture chosen for a freezing point would freeze above it."""
    freeze = refrigeration.glycol_freeze_c(pct)
    assert refrigeration.glycol_for_freeze_pct(freeze) == pytest.approx(pct, abs=1e-9)


@given(st.floats(10, 3000), st.floats(5, 40), st.floats(41, 95), st.floats(0.5, 1.0))
def test_heating_scales(litres: float, cold: float, hot: float, efficiency: float) -> None:
    """Twice the water would not need twice the heat."""
    one = heat.heating_energy_kwh(litres, cold, hot, efficiency)
    assert heat.heating_energy_kwh(2 * litres, cold, hot, efficiency) == pytest.approx(2 * one)
    assert heat.heating_energy_kwh(litres, cold, hot) == pytest.approx(one * efficiency)
