"""The plant file, written and read again: nothing lost, nothing added, nothing half written."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from byrewright.plant.plant import Plant
from byrewright.plant.read import read_plant, read_plant_text
from byrewright.plant.write import WIDTH, plant_to_text, quoted, scalar, write_plant
from tests.plant.small import SMALL
from tests.plant.strategies import ANY_TEXT, plants

SLOW_YAML = settings(
    max_examples=30, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck)
)


@SLOW_YAML
@given(plants())
def test_written_and_read_again_is_the_same_plant(plant: Plant) -> None:
    """Would fail if a value, a stated default, an order or an assumption changed on the way."""
    text = plant_to_text(plant)
    again = read_plant_text(text).plant
    assert again == plant
    assert list(again.equipment) == list(plant.equipment)
    assert list(again.defaults_taken()) == list(plant.defaults_taken())
    assert plant_to_text(again) == text


@SLOW_YAML
@given(plants(), st.data())
def test_comments_change_nothing(plant: Plant, data: st.DataObject) -> None:
    """Would fail if a reason behind a number could break the file or change a value."""
    places = [
        "",
        "site",
        "site.name",
        "equipment",
        "modes",
        "herd.groups",
        "pipes.L0.bore_mm",
        "pipes.L0",
    ]
    for tag, one in plant.equipment.items():
        places += [
            f"equipment.{tag}",
            *(f"equipment.{tag}.{name}" for name in one.model_fields_set),
        ]
    chosen = data.draw(st.lists(st.sampled_from(places), unique=True, max_size=8))
    why = ANY_TEXT | st.just("a reason that is quite long " * 6) | st.just("two\nlines: {x}")
    comments = {place: data.draw(why) for place in chosen}
    assert read_plant_text(plant_to_text(plant, comments)).plant == plant


@given(ANY_TEXT)
def test_any_text_survives_as_a_value(text: str) -> None:
    """Would fail if some character broke the file, or came back as another."""
    for written in (scalar(text), quoted(text)):
        source = SMALL.replace("(invented) Test Hollow", written)
        assert read_plant_text(source).plant.site.name == text


@pytest.mark.parametrize(
    "text", ["yes", "on", "null", "~", "1.5", "0x1f", "05:30", "- a", "#", ": ", "!", "'", ""]
)
def test_words_that_yaml_could_misread(text: str) -> None:
    """Would fail if a label such as `on` or `12` came back as something else."""
    source = SMALL.replace("(invented) Test Hollow", scalar(text))
    assert read_plant_text(source).plant.site.name == text


def test_only_stated_fields_are_written() -> None:
    """Would fail if defaults were written down: they would no longer be listed as assumptions."""
    text = plant_to_text(read_plant_text(SMALL).plant)
    assert "at_vacuum_kpa" not in text
    assert "work:" not in text
    assert "V11: {kind: valve, ways: 2, moved_by: hand, sensed: true}" in text


def test_units_become_the_declared_ones() -> None:
    """Would fail if a unit were lost: 15 hp is 11.2 kW, 38 degF is 3.3 degC (definitions)."""
    plant = read_plant_text(SMALL).plant
    assert plant.equipment["VP1"].power_kw() == pytest.approx(15 * 0.7456999, rel=1e-6)
    assert plant.site.ambient_c[11] == pytest.approx((38 - 32) * 5 / 9, rel=1e-9)
    assert "bore_mm: 76.2," in plant_to_text(plant)


def test_reasons_stand_behind_their_numbers() -> None:
    """Would fail if a reader of the drafted file could not see why a number was chosen."""
    plant = read_plant_text(SMALL).plant
    text = plant_to_text(plant, {
        "equipment.VP1.motor_kw": "next standard motor",
        "equipment.VP1.capacity_l_min_free": "duty with reserve",
        "equipment.RC1": "between the two lines",
    })  # fmt: skip
    lines = text.splitlines()
    columns = {line.index("#") for line in lines if "# next standard" in line or "# duty" in line}
    assert len(columns) == 1
    assert any(
        line.startswith("  RC1:") and line.endswith("# between the two lines") for line in lines
    )


def test_lines_stay_short() -> None:
    """Would fail if long machines or modes ran off the page."""
    plant = read_plant_text(
        SMALL.replace("sensed: true", f"sensed: true, label: {'long ' * 12}")
    ).plant
    text = plant_to_text(plant, {"equipment.V11.ways": "because " * 30})
    assert max(len(line) for line in text.splitlines()) <= WIDTH


def test_writing_is_all_or_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Would fail if a crash while saving could leave half a plant, or litter."""
    path = tmp_path / "plant.yaml"
    plant = read_plant_text(SMALL).plant
    write_plant(plant, path)
    assert read_plant(path).plant == plant
    before = path.read_bytes()

    def crash(*_: object) -> None:
        raise OSError("the disk went away")

    monkeypatch.setattr(os, "replace", crash)
    with pytest.raises(OSError, match="went away"):
        write_plant(plant, path, {"": "another text"})
    assert path.read_bytes() == before
    assert os.listdir(tmp_path) == ["plant.yaml"]


def test_writing_keeps_the_mode_of_the_file(tmp_path: Path) -> None:
    """Would fail if saving made a shared file private, or a private one public."""
    path = tmp_path / "plant.yaml"
    path.write_text("old")
    path.chmod(0o640)
    write_plant(read_plant_text(SMALL).plant, path)
    assert path.stat().st_mode & 0o777 == 0o640
