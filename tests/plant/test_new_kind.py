"""Adding a machine kind is adding one class: reader, writer, schema and page then know it."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from byrewright.plant.machine import REGISTRY, Machine, port, ports
from byrewright.plant.problems import PlantError
from byrewright.plant.read import read_plant_text
from byrewright.plant.record import par
from byrewright.plant.schema import plant_schema
from byrewright.plant.write import plant_to_text
from tests.plant.small import SMALL
from tools.plant_docs import format_part


@pytest.fixture
def foam_trap() -> Iterator[type[Machine]]:
    """A kind that exists only in this test."""

    class FoamTrap(Machine):
        """Breaks foam."""

        KIND = "foam_trap"
        TITLE = "Foam trap"
        LETTERS = "FT"
        PORTS = ports(port("milk", "milk", direction="in", needed=False))
        STATES = ("quiet", "foams")

        volume_l: float = par("L", "volume", ge=1, le=50)

    yield FoamTrap
    del REGISTRY["foam_trap"]


def test_a_new_kind_is_one_class(foam_trap: type[Machine]) -> None:
    """Would fail if a kind had to be named in a second place."""
    text = SMALL.replace("  EM1:", "  FT1: {kind: foam_trap, volume_l: 2 gal}\n  EM1:")
    text = text.replace("V11: open", "V11: open, FT1: foams")
    plant = read_plant_text(text).plant
    assert isinstance(plant.equipment["FT1"], foam_trap)
    assert read_plant_text(plant_to_text(plant)).plant == plant
    assert "kind_foam_trap" in plant_schema()["$defs"]
    assert "### `foam_trap`: Foam trap (FT)" in format_part()


def test_its_mistakes_are_told_too(foam_trap: type[Machine]) -> None:
    """Would fail if the messages of a new kind fell back to raw ones."""
    text = SMALL.replace("  EM1:", "  FT1: {kind: foam_trup, volume_l: 60}\n  EM1:")
    with pytest.raises(PlantError, match="did you mean foam_trap"):
        read_plant_text(text)
    with pytest.raises(PlantError, match="60 is out of range: 1 to 50 L"):
        read_plant_text(text.replace("trup", "trap"))
