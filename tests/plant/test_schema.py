"""The schema for editors: what the reader takes it takes, and it sees plain mistakes."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from byrewright.plant.machine import kinds
from byrewright.plant.problems import PlantError
from byrewright.plant.schema import brief_schema, plant_schema
from byrewright.plant.source import load
from tests.plant.small import BRIEF, SMALL
from tools.plant_docs import BEGIN, with_generated

ROOT = Path(__file__).resolve().parents[2]
PLANT = jsonschema.Draft202012Validator(plant_schema())
FARM = jsonschema.Draft202012Validator(brief_schema())


def data(text: str) -> Any:
    """A file's plain data."""
    return load(text, "x.yaml", PlantError, "").data


def files(name: str) -> list[Path]:
    """The good examples of a file."""
    return [
        p for p in sorted((ROOT / "examples").glob(f"*/{name}")) if "broken" not in p.parent.name
    ]


def test_the_schemas_are_sound_and_plain() -> None:
    """Would fail if an editor could not load them, or their text changed from run to run."""
    for made in (plant_schema, brief_schema):
        jsonschema.Draft202012Validator.check_schema(made())
        assert json.dumps(made()) == json.dumps(made())


def test_good_files_are_accepted() -> None:
    """Would fail if the editor marked a good file."""
    assert not [e.message for e in PLANT.iter_errors(data(SMALL))]
    assert not [e.message for e in FARM.iter_errors(data(BRIEF))]
    assert not [
        e.message for e in FARM.iter_errors(data("cows: 9\nyield_l_day: 30\nmilkings: 2\n"))
    ]


@pytest.mark.parametrize("path", files("plant.yaml"), ids=lambda p: p.parent.name)
def test_example_plants_are_accepted(path: Path) -> None:
    """Would fail if the schema and an example had parted."""
    assert not [e.message for e in PLANT.iter_errors(data(path.read_text(encoding="utf-8")))]


@pytest.mark.parametrize("path", files("brief.yaml"), ids=lambda p: p.parent.name)
def test_example_briefs_are_accepted(path: Path) -> None:
    """Would fail if the schema of the brief and an example had parted."""
    assert not [e.message for e in FARM.iter_errors(data(path.read_text(encoding="utf-8")))]


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("byrewright: 1", "byrewright: 2"),
        ("ways: 2", "ways: 4"),
        ("ways: 2", "wais: 2"),
        ("kind: valve", "kind: valf"),
        ("kind: valve, ", ""),
        ("sensed: true", "sensed: 3"),
        ("length_m: 2 m}", "length_m: m2}"),
        ("motor_kw: 1.5", "motor_kw: 1500"),
        ("motor_kw: 1.5, ", ""),
        ("  V11: {", "  V.1: {"),
        ("[7, 7, 8,", "[7, 8,"),
        ("does: idle", "does: nothing"),
        ("redundancy: none", "redundancy: nine"),
        ("name: (invented) Test Hollow", "name: 5"),
        ("id: L9, ", ""),
    ],
)
def test_plain_mistakes_are_refused(old: str, new: str) -> None:
    """Would fail if the editor let pass what the reader refuses in a single field."""
    assert old in SMALL
    assert list(PLANT.iter_errors(data(SMALL.replace(old, new, 1))))


def test_every_kind_is_in_the_schema() -> None:
    """Would fail if adding a kind needed a second list."""
    assert {f"kind_{k}" for k in kinds()} <= set(plant_schema()["$defs"])


def test_the_format_page_is_up_to_date() -> None:
    """Would fail if a kind or field were added and the page not renewed (tools/plant_docs.py)."""
    page = (ROOT / "docs" / "file-format.md").read_text(encoding="utf-8")
    assert BEGIN in page
    assert page == with_generated(page), "run .venv/bin/python tools/plant_docs.py"
