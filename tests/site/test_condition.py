"""What condition a plant is in: causes from complaints and readings, by the plant's own physics."""

from __future__ import annotations

import pytest

from byrewright.errors import ByrewrightError
from byrewright.plant.read import read_plant
from byrewright.site.condition.causes import Reading, causes, diagnose, model_of
from byrewright.site.condition.infer import Model
from byrewright.standards.rulebook import default_rulebook

EXAMPLE = "examples/rotary_spring_ice/plant.yaml"


@pytest.fixture(scope="module")
def model() -> Model:
    """The model of an example, worked out once."""
    return model_of(read_plant(EXAMPLE).sound())


def test_a_pump_that_gives_too_little_is_named_with_what_cannot_be_told_apart(model: Model) -> None:
    """Would fail if a worn pump were not found, or were claimed to be told from a slipping belt."""
    low = [Reading("pump_capacity@VP1", 3600, 50), Reading("pump_capacity@VP2", 4600, 50)]
    first = causes(model.plant, ["vacuum low"], low)[0]
    assert first.tag == "VP1"
    assert set(first.faults) == {"VP1 worn", "VP1 belt slips"}
    assert first.share > 0.9
    assert "No reading of this plant tells these apart" in first.sentence
    assert first.next is None


def test_a_complaint_alone_asks_for_a_measurement(model: Model) -> None:
    """Would fail if milk that comes warm did not lead to the cooler, or nothing came next."""
    found = diagnose(model.plant, ["milk warm"])
    assert not found.decided
    assert {"PC1", "WF1"} & {c.tag for c in found.causes[:4]}
    assert found.next[0].test == "outlet temperature and approach"
    assert found.causes[0].next == found.next[0]


def test_readings_as_predicted_speak_for_no_fault(model: Model) -> None:
    """Would fail if a sound plant were given a fault because one was looked for."""
    usual = dict(zip(model.matrix.index, model.matrix.usual, strict=True))
    told = [Reading(c.id + ("#1" if c.each else ""), usual[c.id]) for c in model.matrix.columns]
    found = diagnose(model.plant, [], told)
    assert found.causes[0].faults == ("no fault",)


def test_one_pulsator_of_many_is_named_by_its_number(model: Model) -> None:
    """Would fail if the seventh pulsator's fault were laid on all of them."""
    told = [Reading("phase_d_ms@PU1#7", 120, 2), Reading("phase_d@PU1#7", 12, 0.3),
            Reading("phase_d_ms@PU1#3", 249, 2), Reading("limping@PU1#7", 13, 0.5)]  # fmt: skip
    first = causes(model.plant, [], told)[0]
    assert first.sentence.startswith("PU1 no. 7")


def test_a_complaint_that_there_is_not_is_refused(model: Model) -> None:
    """Would fail if a slip of the pen were taken as nothing said."""
    with pytest.raises(ByrewrightError, match="there is vacuum low"):
        causes(model.plant, ["vacum low"], (), default_rulebook())
