"""Properties of heat exchangers, tanks, milk and refrigeration."""

from __future__ import annotations

import math

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


@given(st.floats(-50, 50), st.floats(0.5, 20))
def test_warmer_air_never_helps_refrigeration(above: float, more: float) -> None:
    """A hot night would cost less electricity, or give more cold."""
    for share in (refrigeration.cop_share, refrigeration.duty_share):
        assert share(above + more, 0.025) <= share(above, 0.025)


@given(
    st.lists(st.tuples(st.floats(0, 300), st.floats(0, 4000)), min_size=24, max_size=24),
    st.floats(100, 20000),
)
def test_a_warm_store_gives_what_it_takes(hours: list[tuple[float, float]], kj_k: float) -> None:
    """Heat would be made in a store, or be taken that nothing gives or draws."""
    given_kwh, drawn = [h[0] for h in hours], [h[1] for h in hours]
    caught = heat.WarmStore(kj_k, 55.0, 12.0, 20.0, 0.0).caught_kwh(given_kwh, drawn)
    assert -1e-6 <= caught <= sum(given_kwh) + 1e-6
    # A day that repeats itself draws what it takes: never hotter than the hottest.
    settled = 1e-3 * caught + kj_k * 43.0 / 3600.0 * (sum(drawn) < kj_k)
    assert caught <= sum(drawn) * 43.0 / 3600.0 + settled + 1e-6


def test_a_day_that_repeats_itself_is_any_day_of_it() -> None:
    """Would fail if the days in which a cold store first fills were told for every day: two of
    them take all that is given, and so look alike."""
    store = heat.WarmStore(4190.0, 45.0, 7.8, 30.0, 0.0116)
    given_kwh, drawn = [0.0] * 8 + [27.6] + [0.0] * 15, [0.0] * 9 + [3660.0] + [0.0] * 14
    once = store.caught_kwh(given_kwh, drawn)
    left_c = 7.8 + (45.0 - 7.8) * math.exp(-3660.0 / 4190.0)
    by_hand = (45.0 - left_c) * 4190.0 / 3600.0 - 22 * 0.0116 * (30.0 - left_c - 0.6)
    assert once == pytest.approx(by_hand, rel=0.01)
    assert store.caught_kwh(given_kwh * 7, drawn * 7) == pytest.approx(7 * once, rel=2e-3)


def test_a_warm_store_against_small_steps() -> None:
    """Would fail if the hour in which a store gets full were taken whole or not at all, or if a
    day split finer caught another heat."""
    hours = [(0.0, 900.0)] * 6 + [(80.0, 0.0)] * 2 + [(30.0, 2500.0)] * 4 + [(0.0, 0.0)] * 12
    store = heat.WarmStore(4000.0, 50.0, 10.0, 18.0, 0.02)
    at, caught = 10.0, 0.0
    for _ in range(6):
        caught = 0.0
        for kw, drawn in hours:
            for _ in range(3600):
                out = drawn / 3600.0 * (at - 10.0) + 0.02 * (at - 18.0)
                took = min(kw, max(0.0, (50.0 - at) * 4000.0 + out))
                at += (took - out) / 4000.0
                caught += took / 3600.0
    found = store.caught_kwh([h[0] for h in hours], [h[1] for h in hours])
    assert found == pytest.approx(caught, rel=2e-3)
    quarters = [(kwh / 4, drawn / 4) for kwh, drawn in hours for _ in range(4)]
    split = store.caught_kwh([q[0] for q in quarters], [q[1] for q in quarters], 0.25)
    assert split == pytest.approx(found, rel=1e-3)


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
