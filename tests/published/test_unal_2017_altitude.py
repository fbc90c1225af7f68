"""Measured pump at altitude: Unal, Arslan, Erdogan, Agronomy Research 15(2), 2017.

Abstract read.
"""

from __future__ import annotations

import pytest

from byrewright.physics import air

# The record supports no tighter bound: the model is near, high at 50 kPa, low at 38 kPa.
RECORD_POINTS = 6.0
# The model's own figures, to a tenth of a point.
OWN = 0.06


@pytest.mark.parametrize(
    ("vacuum", "measured_loss_pct", "model_loss_pct"), [(38, 22.7, 19.6), (50, 28.1, 33.3)]
)
def test_loss_at_2000_m(vacuum: float, measured_loss_pct: float, model_loss_pct: float) -> None:
    """First pump, sea level to 2000 m: measured loss against the altitude model."""
    high = air.vane_pump_l_min_free(1000, vacuum, 79.5)
    low = air.vane_pump_l_min_free(1000, vacuum, 101.325)
    loss = 100 * (1 - high / low)
    assert loss == pytest.approx(model_loss_pct, abs=0.5)
    assert loss == pytest.approx(measured_loss_pct, abs=RECORD_POINTS)


def test_greatest_vacuum_falls_with_altitude() -> None:
    """Measured greatest vacuum down 3.8, 11.3 and 19.9 % at 400, 1200 and 2000 m."""
    for altitude, fall in ((400, 3.8), (1200, 11.3), (2000, 19.9)):
        ratio = air.ambient_pressure_kpa_abs(altitude) / air.ambient_pressure_kpa_abs(0)
        # Greatest vacuum goes as ambient; the measurement is within 3 points of that.
        assert 100 * (1 - ratio) == pytest.approx(fall, abs=3.0)
