"""Effectiveness-NTU (Kays and London, read): worked coolers, and the `ht` library."""

from __future__ import annotations

import ht
import pytest
from hypothesis import given
from hypothesis import strategies as st

from byrewright.physics import heat

FIFTH = 5.1e-6
HUNDREDTH = 0.0051
EXACT = 1e-9


def test_worked_cooler() -> None:
    """Worked example 7 (derived): milk 2 kg/s at 35, water 4 kg/s at 15 degC."""
    milk, water = 2 * 3.93, 4 * 4.19
    assert milk / water == pytest.approx(0.46897, abs=FIFTH)
    rows = ((1, 0.56887, 23.62), (2, 0.78087, 19.38), (3, 0.88067, 17.39), (4, 0.93275, 16.34))
    for ntu, effect, out in rows:
        cooler = heat.exchanger(milk, 35, water, 15, ntu * milk)
        assert cooler.effectiveness == pytest.approx(effect, abs=FIFTH)
        assert cooler.hot_out_c == pytest.approx(out, abs=HUNDREDTH)
    ua = heat.ua_for_hot_out_kw_k(milk, 35, water, 15, 17)
    cooler = heat.exchanger(milk, 35, water, 15, ua)
    assert cooler.ntu == pytest.approx(3.3035, abs=5.1e-5)
    assert ua == pytest.approx(25.97, abs=HUNDREDTH)
    assert cooler.duty_kw == pytest.approx(141.48, abs=HUNDREDTH)
    assert cooler.cold_out_c == pytest.approx(23.44, abs=HUNDREDTH)


def test_field_cooler_and_more_water() -> None:
    """Worked example 17: measured flows and temperatures (Irish farming press, read).

    Milk inlet 35 degC and a constant UA are assumptions; the cooler was overloaded.
    """
    milk = 118 / 60 * 1.03 * 3.93
    water = 61 / 60 * 4.19
    assert milk == pytest.approx(7.961, abs=0.00051)
    assert water == pytest.approx(4.260, abs=0.00051)
    ua = heat.ua_for_hot_out_kw_k(milk, 35, water, 12.8, 24)
    cooler = heat.exchanger(milk, 35, water, 12.8, ua)
    assert cooler.duty_kw == pytest.approx(87.57, abs=HUNDREDTH)
    assert cooler.cold_out_c == pytest.approx(33.36, abs=HUNDREDTH)
    assert cooler.capacity_ratio == pytest.approx(0.5351, abs=5.1e-5)
    assert cooler.effectiveness == pytest.approx(0.9260, abs=5.1e-5)
    assert cooler.ntu == pytest.approx(4.129, abs=0.0011)
    assert ua == pytest.approx(17.59, abs=HUNDREDTH)
    more = heat.exchanger(milk, 35, 236 / 60 * 4.19, 12.8, ua)
    assert more.capacity_ratio == pytest.approx(0.4830, abs=5.1e-5)
    assert more.ntu == pytest.approx(2.209, abs=0.0011)
    assert more.effectiveness == pytest.approx(0.8049, abs=1e-4)
    assert more.hot_out_c == pytest.approx(17.13, abs=HUNDREDTH)


@pytest.mark.parametrize(("ratio", "ntu"), [(1.0, 8.5), (2.0, 3.7)])
def test_two_kelvin_approach_needs_a_large_cooler(ratio: float, ntu: float) -> None:
    """Computed: 2 K at one water to one milk needs NTU about 8-9, at two to one about 3.7."""
    milk, water = 1.03 * 3.93, ratio * 4.19
    ua = heat.ua_for_hot_out_kw_k(milk, 35, water, 12, 14)
    # "About": the figure moves by half a unit with a few kelvin of water temperature.
    assert ua / min(milk, water) == pytest.approx(ntu, abs=0.5)


@given(st.floats(0, 20), st.floats(0.0, 0.999) | st.just(1.0))
def test_effectiveness_agrees_with_the_reference_library(ntu: float, cr: float) -> None:
    """Counterflow against `ht`."""
    ours = heat.effectiveness_counterflow(ntu, cr)
    theirs = ht.effectiveness_from_NTU(ntu, Cr=cr, subtype="counterflow")
    # The library's closed form loses digits close to Cr = 1, so that strip is left out.
    assert ours == pytest.approx(theirs, rel=1e-6, abs=EXACT)


@given(st.floats(0.1, 12), st.floats(0.0, 0.99))
def test_inverse_agrees_with_the_reference_library(ntu: float, cr: float) -> None:
    """Solved for NTU and back."""
    effect = heat.effectiveness_counterflow(ntu, cr)
    if effect < 1 - 1e-6:
        theirs = ht.NTU_from_effectiveness(effect, Cr=cr, subtype="counterflow")
        assert heat.ntu_counterflow(effect, cr) == pytest.approx(theirs, rel=1e-6)
        assert heat.ntu_counterflow(effect, cr) == pytest.approx(ntu, rel=1e-6)


def test_mean_difference_agrees_with_the_reference_library() -> None:
    """Duty = UA LMTD in counterflow, the mean difference by `ht`."""
    cooler = heat.exchanger(7.86, 35, 16.76, 15, 25.97)
    mean_k = ht.LMTD(35, cooler.hot_out_c, 15, cooler.cold_out_c, counterflow=True)
    assert cooler.duty_kw == pytest.approx(25.97 * mean_k)
