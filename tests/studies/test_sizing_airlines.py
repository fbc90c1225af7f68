"""Airlines: drops by the published formula, ISO and US guide apart."""

from __future__ import annotations

import pytest

from byrewright.plant.plant import Plant
from byrewright.studies.sizing.airlines import GLAND_FITTINGS, UNIFORM_DRAW, size_airlines
from tests.plants import machine
from tests.studies.benches import duty, large, sized, small

FORMULA = 27.8
"""Coefficient of the airline formula (ISO 5707 annex, recalled; confirmed by Darcy-Blasius)."""


def glanded(plant: Plant, vacuum_bore_mm: float = 150) -> Plant:
    """The same plant with a stated gland."""
    gland = machine("GL1", "rotary_gland", vacuum_bore_mm=vacuum_bore_mm, bore_mm=60)
    return plant.model_copy(update={"equipment": {**plant.equipment, "GL1": gland}})


def test_only_the_regions_limit_is_judged() -> None:
    """The ISO and the US limit at the pump (3 and 2 kPa) would be mixed."""
    plant = glanded(large())
    eu = sized(plant, size_airlines)
    us = sized(
        plant.model_copy(update={"site": plant.site.model_copy(update={"region": "US"})}),
        size_airlines,
    )
    assert eu.finding("vacuum.airline.drop_to_pump.iso").limit == 3.0
    assert eu.finding("vacuum.airline.drop_to_pump.nmc").limit is None
    assert us.finding("vacuum.airline.drop_to_pump.nmc").limit == 2.0
    assert us.finding("vacuum.airline.drop_to_pump.iso").limit is None


def test_an_unknown_gland_bore_is_said() -> None:
    """A drop with a hole in it would be called good."""
    found = sized(small(), size_airlines).finding("vacuum.airline.drop_to_pump.iso")
    assert found.verdict == "unknown" and "GL1" in " ".join(found.missing)


def test_a_thin_line_fails_and_the_advised_one_holds() -> None:
    """The advised bores would not cure the drop they are advised for."""
    plant = glanded(large())
    thin = plant.model_copy(
        update={"pipes": tuple(
            p.model_copy(update={"bore_mm": 38.0, "length_m": 12.0})
            if plant.service_of(p) == "vacuum" else p for p in plant.pipes)}
    )  # fmt: skip
    result = sized(thin, size_airlines)
    assert result.finding("vacuum.airline.drop_to_pump.iso").verdict == "fails"
    advised = {
        f.target[0]: f.advised
        for f in result.findings
        if f.key == "vacuum.airline.bore" and f.target
    }
    cured = thin.model_copy(
        update={"pipes": tuple(
            p.model_copy(update={"bore_mm": advised.get(p.id, p.bore_mm)}) for p in thin.pipes)}
    )  # fmt: skip
    again = sized(cured, size_airlines)
    assert again.finding("vacuum.airline.drop_to_pump.iso").verdict == "holds"
    assert again.finding("vacuum.airline.drop_to_regulator.iso").verdict in ("holds", "tight")


def test_a_ring_divides_air_and_length() -> None:
    """A ring fed at one place would be taken as one long line (hand calculation)."""
    plant = small(PA1=machine("PA1", "pulsator_airline", bore_mm=50, length_m=60))
    found = sized(plant, size_airlines).finding("vacuum.pulsator_airline.drop")
    duties = duty(plant)
    flow, length = 50 * 30 / 2, 60 / 2
    thin = 50 / (duties.pressure_kpa_abs - 42)
    expected = UNIFORM_DRAW * FORMULA * length * flow**1.75 / 50**4.75 * thin
    assert found.value == pytest.approx(expected)
    line = small(PA1=machine("PA1", "pulsator_airline", bore_mm=50, length_m=60, ring=False))
    dead = sized(line, size_airlines).finding("vacuum.pulsator_airline.drop")
    assert dead.value == pytest.approx(expected * 2**2.75)


def test_no_pipes_is_unknown() -> None:
    """A plant drawn without pipes would be given a drop of nothing."""
    plant = small()
    bare = plant.model_copy(update={"pipes": ()})
    assert sized(bare, size_airlines).finding("vacuum.airline.drop").verdict == "unknown"


def test_the_gland_counts_as_two_elbows() -> None:
    """A narrow gland would cost nothing."""
    assert GLAND_FITTINGS == {"elbow": 2}
    wide = sized(glanded(large(), 150), size_airlines).finding("vacuum.airline.drop_to_pump.iso")
    narrow = sized(glanded(large(), 50), size_airlines).finding("vacuum.airline.drop_to_pump.iso")
    assert wide.value is not None and narrow.value is not None
    assert narrow.value > wide.value
