"""Compressed air: US Department of Energy tip sheets and tool pages, 2004 (read or second hand)."""

from __future__ import annotations

import math

import fluids
import pytest

from byrewright.physics import pneumatics as air
from byrewright.standards.units import convert

CFM = 28.316846592
ATMOSPHERE_PSI = 14.7
# The published sheets work with an atmosphere of 14.7 psi and round to three figures.
SHEET = 0.0005
# The leak table is printed to two or three figures.
LEAK_TABLE = 0.02


def _leak(diameter_mm: float, gauge_bar: float) -> float:
    """Free air through a hole to ambient; 0.59 is the coefficient that fits the sheet."""
    ambient = 100 * _bar(ATMOSPHERE_PSI)
    mass = air.orifice_kg_s(diameter_mm, 100 * gauge_bar + ambient, ambient, 20.0, 0.59)
    return air.kg_s_to_l_min_free(mass, ambient)


def _bar(psi: float) -> float:
    return convert(psi, "psi", "bar")


def test_receiver_sheet() -> None:
    """Worked example 8: 350 out, 250 in, 5 min, 100 to 60 psig: 183.75 ft3 = 5.20 m3."""
    litres = air.receiver_volume_l(
        5, 350 * CFM, 250 * CFM, _bar(100), _bar(60), _bar(ATMOSPHERE_PSI)
    )
    assert convert(litres, "L", "ft3") == pytest.approx(183.75, rel=SHEET)
    assert convert(litres, "L", "gal") == pytest.approx(1374.5, rel=SHEET)
    assert litres / 1000 == pytest.approx(5.20, abs=0.0051)


@pytest.mark.parametrize(
    ("inches", "cfm"),
    [(1 / 16, (3.2, 3.5, 3.8)), (1 / 8, (12.7, 14.1, 15.4)), (1 / 4, (51, 56, 62))],
)
def test_orifice_table(inches: float, cfm: tuple[float, float, float]) -> None:
    """Leak table at 80, 90, 100 psig (second hand): one coefficient fits every row."""
    for psi, published in zip((80, 90, 100), cfm, strict=True):
        ours = _leak(inches * 25.4, _bar(psi)) / CFM
        assert ours == pytest.approx(published, rel=LEAK_TABLE)


@pytest.mark.parametrize("downstream", [20.0, 50.0, 60.0, 80.0, 95.0])
def test_orifice_agrees_with_textbook_gas_dynamics(downstream: float) -> None:
    """Mass flow through the throat from `fluids`' isentropic relations."""
    ratio = max(downstream / 100.0, fluids.P_critical_flow(1.0, 1.4))
    throat = fluids.isentropic_T_rise_compression(293.15, 100e3, ratio * 100e3, 1.4)
    density = ratio * 100e3 / (287.05 * throat)
    speed = math.sqrt(2 * 1.4 / 0.4 * 287.05 * (293.15 - throat))
    expected = density * speed * math.pi / 4 * 0.01**2
    assert air.orifice_kg_s(10, 100, downstream, 20.0) == pytest.approx(expected, rel=1e-9)


def test_cylinder_strokes() -> None:
    """Worked example 10 (derived): 63 bore, 20 rod, 100 stroke at 6 bar."""
    assert air.stroke_l_free(63, 100, 6) == pytest.approx(2.158, abs=0.00051)
    assert air.stroke_l_free(63, 100, 6, 20) == pytest.approx(1.940, abs=0.00051)
    assert air.cycle_l_free(63, 100, 6, 20) == pytest.approx(4.098, abs=0.00051)


def test_a_kicked_off_unit_draws_what_practice_says() -> None:
    """Common practice, no source: 400-1400 L/min through openings of a cluster."""
    assert 400 < air.opening_into_vacuum_l_min_free(9.0, 42.0) < 1400
    assert 400 < air.opening_into_vacuum_l_min_free(15.0, 42.0) < 1400
