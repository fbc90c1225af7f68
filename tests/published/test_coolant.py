"""Propylene glycol in water against the library CoolProp (Melinder 2010) and Lange's table."""

from __future__ import annotations

import pytest

from byrewright.physics.coolant import coolant, film_share, plate_u_share
from byrewright.physics.refrigeration import glycol_freeze_c

MASS_PER_VOLUME = 1.036
"""Density of propylene glycol against water: from share by volume to share by mass."""
DENSITY, HEAT, VISCOSITY, CONDUCTIVITY = 0.003, 0.01, 0.04, 0.003
FREEZES_K = 1.5  # Lange's table is the warmer, so the more careful


def mass_share(volume_pct: float) -> float:
    """Share by mass of a share by volume."""
    v = volume_pct / 100
    return v * MASS_PER_VOLUME / (v * MASS_PER_VOLUME + 1 - v)


@pytest.mark.parametrize("pct", [0.0, 10.0, 25.0, 30.0, 40.0, 50.0])
@pytest.mark.parametrize("at_c", [-15.0, -6.0, 0.5, 5.0, 20.0])
def test_properties_are_the_librarys(pct: float, at_c: float) -> None:
    """Would fail if heat, weight or thickness of the chilled liquid were not the library's."""
    library = pytest.importorskip("CoolProp.CoolProp")
    name = f"INCOMP::MPG[{mass_share(pct):.6f}]"
    freezes = library.PropsSI("T_FREEZE", "T", 290, "P", 101325, name) - 273.15
    assert glycol_freeze_c(pct) == pytest.approx(freezes, abs=FREEZES_K)
    if at_c < freezes + 0.2:
        return
    density, heat, viscosity, conductivity = (
        library.PropsSI(what, "T", at_c + 273.15, "P", 101325, name) for what in "DCVL"
    )
    ours = coolant(pct, at_c)
    assert ours.density_kg_m3 == pytest.approx(density, rel=DENSITY)
    assert ours.cp_kj_kgk == pytest.approx(heat / 1000, rel=HEAT)
    assert ours.viscosity_mpa_s == pytest.approx(viscosity * 1000, rel=VISCOSITY)
    assert ours.conductivity_w_mk == pytest.approx(conductivity, rel=CONDUCTIVITY)


def test_film_follows_the_groups_it_is_made_of() -> None:
    """Would fail if thickness and heat of the liquid did not slow the plate as Re and Pr say."""
    water, glycol = coolant(0.0, 10.0), coolant(30.0, 0.0)
    assert film_share(water) == pytest.approx(1.0)

    def nusselt(c: object) -> float:
        rho, cp = c.density_kg_m3, c.cp_kj_kgk * 1000  # type: ignore[attr-defined]
        mu, k = c.viscosity_mpa_s / 1000, c.conductivity_w_mk  # type: ignore[attr-defined]
        velocity, gap = 0.4, 0.006
        return (rho * velocity * gap / mu) ** 0.67 * (mu * cp / k) ** 0.33 * k  # type: ignore[no-any-return]

    assert film_share(glycol) == pytest.approx(nusselt(glycol) / nusselt(water), rel=0.01)
    assert 0.5 < plate_u_share(glycol) < 0.75
