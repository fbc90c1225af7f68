"""Propylene glycol in water: Lange's Handbook, 15th edition, Table 5.13 (read), and CoolProp."""

from __future__ import annotations

from typing import Any

import pytest

from byrewright.physics import refrigeration
from byrewright.physics.coolant import coolant
from byrewright.standards.cooling import GLYCOL

# Two published tables of the same mixture; the handbook's is rounded to whole degrees Fahrenheit.
FREEZE_K = 1.6
DENSITY = 0.01


@pytest.fixture(scope="module")
def library() -> Any:
    """CoolProp, loaded by the worker that asks it: it takes seconds."""
    from CoolProp import CoolProp

    return CoolProp


@pytest.mark.parametrize("point", GLYCOL, ids=lambda p: f"{p.volume_pct:g} %")
def test_freezing_points(point) -> None:
    """The table itself, solved both ways."""
    assert refrigeration.glycol_freeze_c(point.volume_pct) == point.freeze_c
    assert refrigeration.glycol_for_freeze_pct(point.freeze_c) == pytest.approx(point.volume_pct)


@pytest.mark.parametrize("volume_pct", [20, 30, 40])
def test_freezing_points_against_another_library(library: Any, volume_pct: float) -> None:
    """CoolProp's mixture (by mass) freezes within a kelvin and a half of the handbook's."""
    mass = volume_pct * 1.0362 / (volume_pct * 1.0362 + (100 - volume_pct) * 0.999)
    freeze = (
        library.PropsSI("T_freeze", "T", 280, "P", 101_325, f"INCOMP::MPG[{mass:.4f}]") - 273.15
    )
    assert refrigeration.glycol_freeze_c(volume_pct) == pytest.approx(freeze, abs=FREEZE_K)


def test_coolant_rule_values_against_another_library(library: Any) -> None:
    """The heat that a litre of the usual mixture carries near the freezing of water."""
    state = ("T", 275.15, "P", 101_325, "INCOMP::MPG[0.28]")
    specific, density = library.PropsSI("C", *state) / 1000, library.PropsSI("D", *state)
    volume_pct = 100.0 * 0.28 * density / 1036.0  # by mass into by volume; pure glycol 1036 kg/m3
    own = coolant(volume_pct, 2.0)
    assert own.kj_l_k == pytest.approx(specific * density / 1000, rel=DENSITY)
