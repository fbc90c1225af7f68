"""The command `log` on a plant's own log."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from byrewright.commands import log as command
from byrewright.site.log import New
from tests.plant.small import SMALL


@pytest.fixture
def plant(tmp_path: Path) -> Path:
    """A plant file with nothing beside it."""
    path = tmp_path / "plant.yaml"
    path.write_text(SMALL, encoding="utf-8")
    return path


def enter(plant: Path, hours: float) -> None:
    """One more entry."""
    log = command.opened(plant)
    log.append([New("hours", 1.0, "VP1", "anna", {"hours": hours})])
    log.close()


def test_out_in_and_verified(plant: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Would fail if the log could not be carried, or a change were not named."""
    for does in ("list", "verify"):
        with pytest.raises(SystemExit, match="2"):
            command.run(does, plant, None)
    assert "there is no log yet" in capsys.readouterr().err
    enter(plant, 10.0)
    command.run("out", plant, plant.parent / "log.zip")
    enter(plant, 20.0)
    command.run("in", plant, plant.parent / "log.zip")
    assert "0 of the 1 entries" in capsys.readouterr().out
    command.run("list", plant, None, as_json=True)
    assert [e["body"]["hours"] for e in json.loads(capsys.readouterr().out)] == [10.0, 20.0]
    command.run("list", plant, None)
    command.run("verify", plant, None)
    assert "2 entries, all as they were written" in capsys.readouterr().out
    path = plant.with_name("plant.site.sqlite")
    path.write_bytes(path.read_bytes().replace(b'{"hours":10.0}', b'{"hours":90.0}'))
    with pytest.raises(SystemExit, match="1"):
        command.run("verify", plant, None)
    assert "entry 1 of place" in capsys.readouterr().out
    for does, name in (("prove", None), ("out", None), ("verify", plant)):
        with pytest.raises(SystemExit, match="2"):
            command.run(does, plant, name)
    assert "Traceback" not in capsys.readouterr().err


def test_a_reading_is_listed_with_its_value_first(
    plant: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Would fail if the list named instrument and sheet and cut the figure off."""
    log = command.opened(plant)
    log.append([New("test", 1.0, "VP1", "anna", {
        "calibrated": "2026-01-05", "check": "pump_capacity@VP1", "outcome": "read", "sheet": "5a",
        "title": "Airflow of the pump", "unit": "L/min", "value": 4540.0}),
        New("ran", 2.0, "", "", {"source": "x", "machines": {
            "AC1": {"seen_s": 3600.0, "ran_s": 900.0, "starts": 3}}})])  # fmt: skip
    log.close()
    command.run("list", plant, None)
    told = " ".join(capsys.readouterr().out.split())
    assert "Airflow of the pump: 4540 L/min, calibrated" in told and "5a" not in told
    assert "ran: AC1 0.25 h in 3 starts" in told
