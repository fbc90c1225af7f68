"""One failure run again in full: its timeline beside the undisturbed day's."""

from __future__ import annotations

import pytest

from byrewright.studies.failures.trace import BASE, WITH, trace
from tests.plants import rotary


def test_losing_the_mains_is_seen_in_the_load() -> None:
    """Would fail if the timeline of a failure were that of the undisturbed day."""
    plant = rotary()
    event = next(m.id for m in plant.equipment.values() if m.kind == "mains") + " fails"
    found = trace(plant, event, moment="peak flow")
    assert found.moment == "peak flow" and found.repair_h > 0
    load = next(s for s in found.series if s.key == "load")
    lines = {name: values for name, _, values in load.lines}
    assert set(lines) == {BASE, WITH}
    assert len(load.x) == len(lines[BASE]) == len(lines[WITH])
    assert lines[BASE] != lines[WITH]


def test_an_unknown_failure_is_refused() -> None:
    """Would fail if a mistyped failure were answered with some other one."""
    with pytest.raises(KeyError):
        trace(rotary(), "VP99 stops")
