"""Weibull machinery lives: widely reprinted table (second hand), MTBF column recomputed."""

from __future__ import annotations

import pytest

from byrewright.physics import reliability as r
from byrewright.standards.reliability import LIVES, life

MTBF_H = {
    "ac_motor": 94_066,
    "dc_motor": 47_033,
    "centrifugal_pump": 32_923,
    "centrifugal_compressor": 53_242,
    "circuit_breaker": 90_275,
    "transformer": 192_982,
    "control_valve": 100_000,
    "motorised_valve": 24_123,
    "solid_state_controller": 126_582,
    "transducer": 20_000,
}
WHOLE_HOURS = 0.51


@pytest.mark.parametrize("key", MTBF_H)
def test_published_mean_lives(key: str) -> None:
    """Worked example 14: eta Gamma(1 + 1/beta) reproduces the table's last column."""
    row = life(key)
    assert r.weibull_mtbf_h(row.beta, row.eta_h) == pytest.approx(MTBF_H[key], abs=WHOLE_HOURS)


def test_every_life_agrees_with_scipy() -> None:
    """Mean of every row against the reference library."""
    from scipy import stats  # it takes a while to load, and other workers need it not

    for row in LIVES.values():
        reference = stats.weibull_min(row.beta, scale=row.eta_h)
        assert r.weibull_mtbf_h(row.beta, row.eta_h) == pytest.approx(reference.mean())
        assert row.low_h <= row.eta_h <= row.high_h
