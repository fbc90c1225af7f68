"""Edits of single values: the rest of the file stays as the engineer wrote it."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from byrewright.errors import ByrewrightError
from byrewright.plant.edit import REMOVE, edit_plant
from byrewright.plant.read import read_plant_text
from tests.plant.small import SMALL

FILE = read_plant_text(SMALL)
L4 = (
    "  - {{id: L4, from: ST1.vacuum, to: VP1.inlet, bore_mm: {bore}, length_m: 12, "
    "fittings: {{bend: 3{more}}}}}"
)
CALM = "  calm: {does: idle, like: milking, VP1: stopped, MP1: stopped, V11: closed"


def changed_lines(text: str) -> list[str]:
    """The lines of the edited file that the small plant has not."""
    old = SMALL.splitlines()
    return [line for line in text.splitlines() if line not in old]


@pytest.mark.parametrize(
    ("key", "value", "line"),
    [
        (
            "equipment.VP1.capacity_l_min_free",
            5200,
            "    capacity_l_min_free: 5200   # duty with reserve",
        ),
        ("equipment.V11.ways", 3, "  V11: {kind: valve, ways: 3, moved_by: hand, sensed: true}"),
        (
            "equipment.V11.label",
            "outlet: main",
            '  V11: {kind: valve, ways: 2, moved_by: hand, sensed: true, label: "outlet: main"}',
        ),
        ("equipment.V11.moved_by", REMOVE, "  V11: {kind: valve, ways: 2, sensed: true}"),
        ("equipment.V11.sensed", REMOVE, "  V11: {kind: valve, ways: 2, moved_by: hand}"),
        ("equipment.VP1.speed", "variable", "    speed: variable"),
        (
            "equipment.VP2",
            {"kind": "vacuum_pump", "motor_kw": 15},
            "  VP2: {kind: vacuum_pump, motor_kw: 15}",
        ),
        (
            "pipes.L4.bore_mm",
            98.4,
            L4.format(bore=98.4, more=""),
        ),
        (
            "pipes.L4.fittings.elbow",
            1,
            L4.format(bore=76, more=", elbow: 1"),
        ),
        ("pipes.L10", {"id": "L10", "from": "A.b"}, "  - {id: L10, from: A.b}"),
        (
            "modes.calm.TK1",
            "stands",
            f"{CALM}, TK1: stands}}",
        ),
        (
            "milkings.evening.start",
            "17:00",
            '  - {name: evening, start: "17:00", target_h: 3}   # unquoted times are fine',
        ),
        ("work.attach_s", 7, "work: {attach_s: 7}"),
        ("site.ambient_c", [1.5] * 12, f"  ambient_c: [{', '.join(['1.5'] * 12)}]"),
    ],
)
def test_only_that_line_changes(key: str, value: Any, line: str) -> None:
    """Would fail if an edit lost a comment, moved a line or touched another value."""
    text = edit_plant(FILE, {key: value})
    assert changed_lines(text) == [line]
    gone = [old for old in SMALL.splitlines() if old not in text.splitlines()]
    assert len(gone) <= 1


def test_removing_a_machine_takes_its_lines_and_no_more() -> None:
    """Would fail if removing a machine of several lines cut into its neighbours."""
    text = edit_plant(FILE, {"equipment.VP1": REMOVE})
    assert "ST1: {kind: sanitary_trap, volume_l: 20}\n  MP1:" in text


def test_many_edits_at_once() -> None:
    """Would fail if one edit shifted the place of another."""
    text = edit_plant(FILE, {
        "equipment.V11.bore_mm": 51, "equipment.RC1.led_at_l": REMOVE, "site.altitude_m": 99,
        "modes.milking.V11": "closed", "modes.calm.V11": "open", "equipment.V11.duty": "divert",
    })  # fmt: skip
    plant = read_plant_text(text).plant
    assert plant.site.altitude_m == 99
    assert plant.position("calm", "V11") == "open"
    assert plant.equipment["RC1"].model_fields_set == {"id", "volume_l"}


@settings(max_examples=25, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck))
@given(st.floats(0.2, 200), st.text(st.characters(codec="utf-8"), max_size=10))
def test_what_is_edited_is_what_is_read(kw: float, label: str) -> None:
    """Would fail if a value changed between the form it was typed into and the file."""
    text = edit_plant(FILE, {"equipment.VP1.motor_kw": kw, "equipment.VP1.label": label})
    pump = read_plant_text(text).plant.equipment["VP1"]
    assert pump.power_kw() == kw
    assert pump.label == label


@pytest.mark.parametrize(
    ("key", "value"), [("equipment.XX.ways", REMOVE), ("pipes.L99.bore_mm.x", 3)]
)
def test_an_edit_that_goes_nowhere_says_so(key: str, value: Any) -> None:
    """Would fail if an edit of something that is not there were swallowed."""
    with pytest.raises(ByrewrightError, match=r"there is n"):
        edit_plant(FILE, {key: value})
