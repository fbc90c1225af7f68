"""Hot water for washing: New Zealand and UK levy bodies (read)."""

from __future__ import annotations

import pytest

from byrewright.physics import heat
from byrewright.plant.programme import wash_of
from byrewright.standards import Rulebook
from byrewright.standards.rulebook import default_rulebook
from tests.plants import rotary

TENTH = 0.051


def test_charge_and_its_heat() -> None:
    """Worked example 11: 60 clusters x 10 L + 2 % of 30 000 L = 1200 L; 15 to 85 degC 97.8 kWh."""
    dry = Rulebook({"wash.water_line_share": 0.0, "wash.receiver_share": 0.0})
    tank = default_rulebook().number("wash.hot_water_tank_share") * 30_000
    charge = wash_of(rotary(60, 900), dry).hot_l + tank
    assert charge == pytest.approx(1200)
    assert heat.heating_energy_kwh(charge, 15, 85) == pytest.approx(97.8, abs=TENTH)


def test_published_cylinder() -> None:
    """Worked example 12: 225 L to 85 degC needs 21 kWh (UK); 20.95 from 5, 19.64 from 10 degC."""
    assert heat.heating_energy_kwh(225, 5, 85) == pytest.approx(20.95, abs=0.0051)
    assert heat.heating_energy_kwh(225, 10, 85) == pytest.approx(19.64, abs=0.0051)
    assert heat.heating_energy_kwh(225, 5, 85) == pytest.approx(21, abs=0.51)
