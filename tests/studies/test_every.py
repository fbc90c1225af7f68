"""All studies of one plant in one result, as the full report tells them."""

from __future__ import annotations

from pathlib import Path

import pytest

from byrewright.plant.read import read_plant, read_plant_text
from byrewright.standards.rulebook import default_rulebook
from byrewright.studies.every import STUDIES, ask
from tests.plant.small import SMALL

EXAMPLE = Path(__file__).resolve().parents[2] / "examples" / "rotary_spring_ice" / "plant.yaml"


def test_every_study_asked_for_answers_in_the_reports_order() -> None:
    """Would fail if the full report left a study out, or its figures fell out of its chapter."""
    plant, rules = read_plant_text(SMALL).plant, default_rulebook()
    told: list[str] = []
    result = ask(plant, rules, ("routes", "sizing", "vacuum"), lambda *a: told.append(a[0]))
    assert told == ["sizing", "vacuum", "routes"]
    topics = {f.key.partition(".")[0] for f in result.findings}
    assert {"throughput", "vacuum", "routes"} <= topics
    keys = [t.key for t in result.tables]
    assert {"vacuum.readings", "routes.sensors", "to_check"} <= set(keys)
    assert len(keys) == len(set(keys))


def test_a_study_that_is_not_there_is_refused() -> None:
    """Would fail if a slip in a name gave a report without that study."""
    with pytest.raises(KeyError):
        ask(read_plant(EXAMPLE).plant, default_rulebook(), ("sizing", "vaccum"))
    assert list(STUDIES) == ["sizing", "vacuum", "day", "routes", "failures", "place"]
