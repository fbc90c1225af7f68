"""Airlines: drops by the published formula, ISO and US guide apart."""

from __future__ import annotations

import pytest

from byrewright.plant.plant import Plant
from byrewright.standards.rulebook import default_rulebook
from byrewright.studies.sizing.airlines import UNIFORM_DRAW, size_airlines
from byrewright.studies.vacuum import steady
from byrewright.studies.vacuum.building import network_of
from byrewright.studies.vacuum.findings import to_pump
from tests.plants import machine
from tests.studies.benches import bench_of, duty, large, sized, small

FORMULA = 27.8
"""Coefficient of the airline formula (ISO 5707 annex, recalled; confirmed by Darcy-Blasius)."""

LOSSES = ("non_return", "gland", "trap", "into_vessel", "out_of_vessel", "valve", "header")


def glanded(plant: Plant, vacuum_bore_mm: float = 150) -> Plant:
    """The same plant with a stated gland."""
    gland = machine("GL1", "rotary_gland", vacuum_bore_mm=vacuum_bore_mm, bore_mm=60)
    return plant.model_copy(update={"equipment": {**plant.equipment, "GL1": gland}})


def drop_kpa(plant: Plant) -> float:
    """What the solved network says: the drop from receiver to pump at the effective reserve."""
    ctx = bench_of(plant)
    network = network_of(plant, ctx.rules)
    milking = steady.solve(network, steady.standard_situations(network)["milking"])
    return to_pump(steady.solve(network, steady.reserve_situation(network, milking)))


def advised(plant: Plant) -> dict[str, float]:
    """The bores that sizing advises, by pipe."""
    result = sized(plant, size_airlines)
    return {f.target[0]: f.advised for f in result.findings
            if f.key == "vacuum.airline.bore" and f.target and f.advised}  # fmt: skip


@pytest.mark.parametrize("region", ["EU", "US"])
def test_advised_bores_hold_in_the_solved_network(region: str) -> None:
    """The advised bores would not cure the drop they are advised for, as the network solves it."""
    plant = glanded(large())
    site = plant.site.model_copy(update={"region": region})
    thin = plant.model_copy(
        update={"site": site, "pipes": tuple(
            p.model_copy(update={"bore_mm": 38.0, "length_m": 12.0})
            if plant.service_of(p) == "vacuum" else p for p in plant.pipes)}
    )  # fmt: skip
    held = default_rulebook().number(
        f"vacuum.{'iso' if region == 'EU' else 'nmc'}_drop_receiver_to_pump_kpa"
    )
    assert drop_kpa(thin) > held
    cured = thin
    for _ in range(3):
        to = advised(cured)
        cured = cured.model_copy(
            update={"pipes": tuple(
                p.model_copy(update={"bore_mm": to.get(p.id, p.bore_mm)}) for p in cured.pipes)}
        )  # fmt: skip
    assert drop_kpa(cured) < held


def test_sizing_tells_no_drop_of_its_own() -> None:
    """Receiver to pump was 0.71 kPa in sizing and 1.35 in the network: one study owns it."""
    result = sized(glanded(large()), size_airlines)
    assert not [f.key for f in result.findings if f.unit == "kPa"]
    assert {f.sense for f in result.findings if f.key == "vacuum.airline.bore"} == {"informational"}


def test_a_ring_divides_air_and_length() -> None:
    """A ring fed at one place would be taken as one long line (hand calculation)."""
    plant = small(PA1=machine("PA1", "pulsator_airline", bore_mm=50, length_m=60))
    ring = sized(plant, size_airlines).finding("vacuum.pulsator_airline.bore").limit
    duties = duty(plant)
    flow, length = 50 * 30 / 2, 60 / 2
    thin = 50 / (duties.pressure_kpa_abs - 42)
    assert ring is not None
    drop = UNIFORM_DRAW * FORMULA * length * flow**1.75 / ring**4.75 * thin
    assert drop == pytest.approx(2.0 / 2, rel=0.01)  # half of what is permitted
    line = small(PA1=machine("PA1", "pulsator_airline", bore_mm=50, length_m=60, ring=False))
    dead = sized(line, size_airlines).finding("vacuum.pulsator_airline.bore").limit
    assert dead == pytest.approx(ring * 2 ** (2.75 / 4.75), rel=0.01)


def test_no_pipes_is_unknown() -> None:
    """A plant drawn without pipes would be given a drop of nothing."""
    plant = small()
    bare = plant.model_copy(update={"pipes": ()})
    assert sized(bare, size_airlines).finding("vacuum.airline.bore").verdict == "unknown"


def test_the_gland_and_the_trap_cost_bore() -> None:
    """What lies on the way would cost nothing, and the network would then find too great a drop."""
    plant, book = glanded(large()), default_rulebook()
    half = {key: book.number(key) / 2 for key in (f"vacuum.loss.{k}_k" for k in LOSSES)}
    free = sized(plant, size_airlines, rules=half)
    bores = [f.inputs[2].value for r in (free, sized(plant, size_airlines)) for f in r.findings
             if f.key == "vacuum.airline.bore"]  # fmt: skip
    half = len(bores) // 2
    assert sum(bores[half:]) < sum(bores[:half])  # kPa left for the pipes
