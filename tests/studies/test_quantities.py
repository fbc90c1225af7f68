"""Quantities: nothing is lost or counted twice between plant file and quotation."""

from __future__ import annotations

import pytest

from byrewright.plant.plant import Plant
from byrewright.results import Table
from byrewright.studies.count import data_plate
from byrewright.studies.quantities import quantities
from tests.plants import machine, rows
from tests.studies.benches import large, small

CENTIMETRE = 0.005  # metres are rounded to a centimetre a row


def _column(table: Table, name: str) -> list[float]:
    place = table.columns.index(name)
    return [float(row[place]) for row in table.rows]


def _tags(table: Table) -> list[str]:
    place = table.columns.index("tags")
    return [tag for row in table.rows for tag in str(row[place]).split(", ")]


@pytest.mark.parametrize("plant", [small(), large(), rows()])
def test_metres_are_those_of_the_plant(plant: Plant) -> None:
    """Metres of pipe are lost or counted twice."""
    table = quantities(plant).table("pipes")
    drawn = sum(p.length_m for p in plant.pipes) + 120  # milkline and pulsator line, 60 m each
    assert sum(_column(table, "as drawn")) == pytest.approx(drawn, abs=CENTIMETRE * len(table.rows))
    assert sum(_column(table, "to order")) > drawn


@pytest.mark.parametrize("plant", [small(), rows()])
def test_every_tag_is_listed_once(plant: Plant) -> None:
    """A machine is missing from the quotation, or stands in it twice."""
    result = quantities(plant)
    machines = [str(r[0]) for r in result.table("machines").rows]
    listed = [*machines, *_tags(result.table("valves"))]
    assert sorted(listed) == sorted(plant.equipment)


def test_counts_and_power_add_up() -> None:
    """The motor table does not hold the installed power."""
    plant = small()
    table = quantities(plant).table("motors")
    installed = sum(m.power_kw() * m.count for m in plant.equipment.values())
    assert sum(_column(table, "together")) == pytest.approx(installed, abs=0.01 * len(table.rows))


def test_valve_takes_the_bore_of_its_pipe() -> None:
    """A valve without a stated bore is quoted without one."""
    table = quantities(small()).table("valves")
    place = table.columns.index("bore")
    assert {row[place] for row in table.rows} == {63.5}


def test_data_plate_reads_as_words() -> None:
    """A data plate shows internal names, a missing value or a default nobody chose."""
    tank = machine("TK1", "bulk_tank", volume_l=8000, cooling_kw=30, cooling="ice_bank")
    assert data_plate(tank) == "volume 8000 L, cooling ice bank, cooling 30 kW"
    for one in small().equipment.values():
        assert "_" not in data_plate(one) and "None" not in data_plate(one)
