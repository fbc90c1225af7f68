"""The Python face: its names stay, its page runs, and it refuses what a file would refuse."""

from __future__ import annotations

import re
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

import byrewright as bw

ROOT = Path(__file__).resolve().parent.parent
PLANT = ROOT / "examples" / "rotary_spring_ice" / "plant.yaml"

NAMES = {
    "Answer", "ByrewrightError", "Line", "Plant", "Table",
    "as_measured", "day", "diagnose", "draft", "explain", "failures", "read", "routes", "size",
    "vacuum", "write",
}  # fmt: skip


@pytest.fixture(scope="module")
def plant() -> bw.Plant:
    """The first example."""
    return bw.read(PLANT)


@pytest.fixture(scope="module")
def sizing(plant: bw.Plant) -> bw.Answer:
    """Its sizing."""
    return bw.size(plant)


def test_the_names_are_as_documented() -> None:
    """Would fail if a name that others rely on went, or one came without a word on the page."""
    assert set(bw.__all__) == NAMES
    page = (ROOT / "docs" / "python.md").read_text(encoding="utf-8")
    calls = {n for n in NAMES if n[0].islower()}
    assert {n for n in calls if f"bw.{n}(" not in page} == set()
    for name in NAMES:
        assert getattr(bw, name).__doc__


def test_the_page_runs(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> None:
    """Would fail if an example of the page raised, or left a name undefined."""
    page = (ROOT / "docs" / "python.md").read_text(encoding="utf-8")
    monkeypatch.chdir(ROOT)
    code = "\n".join(re.findall(r"```python\n(.*?)```", page, re.S))
    names: dict[str, object] = {}
    exec(compile(code, "docs/python.md", "exec"), names)
    said = capsys.readouterr().out
    assert "Formula" in said and "18.5" in said and "-5" in said
    assert float(names["peak"]) > 10.0  # type: ignore[arg-type]


def test_importing_it_loads_nothing_heavy() -> None:
    """Would fail if a script that only reads the version waited for the whole engine."""
    code = "import byrewright, sys; byrewright.__version__; print('numpy' in sys.modules)"
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert run.stdout.strip() == "False"


def test_rules_beside_the_file_count(tmp_path: Path) -> None:
    """Would fail if Python judged by other limits than the command line does."""
    (tmp_path / "plant.yaml").write_text(PLANT.read_text(encoding="utf-8"), encoding="utf-8")
    (tmp_path / "limits.yaml").write_text("vacuum.test.phase_b_least_pct: 55\n")
    own = bw.vacuum(bw.read(tmp_path / "plant.yaml"))
    assert own.finding("vacuum.test.phase_b@PU1").limit == 55.0


def test_a_finding_is_the_one_that_was_meant(sizing: bw.Answer) -> None:
    """Would fail if a key shared by two pumps quietly gave the first one's figure."""
    with pytest.raises(bw.ByrewrightError, match=r"VP1.*VP2"):
        sizing.finding("vacuum.pump.capacity")
    with pytest.raises(bw.ByrewrightError, match=r"nearest: .*vacuum\.pump"):
        sizing.finding("vacuum.pump.capacitee")
    assert sizing.finding("vacuum.pump.capacity@VP2").subject == "VP2"


def test_a_change_is_checked_and_leaves_the_old_plant(plant: bw.Plant) -> None:
    """Would fail if a pump of -5 L/min could be made, or a change reached into another's plant."""
    before = plant.text
    with pytest.raises(bw.ByrewrightError, match="-5"):
        plant.change({"equipment.VP1.capacity_l_min_free": -5})
    with pytest.raises(bw.ByrewrightError):
        plant.change({"equipment.NONE.motor_kw": 5})
    changed = plant.change({"equipment.VP1.motor_kw": "20 hp"})
    assert changed.model.equipment["VP1"].motor_kw == pytest.approx(14.9, abs=0.02)  # type: ignore[attr-defined]
    assert plant.text == before


def test_series_are_arrays_with_units_in_their_names(plant: bw.Plant) -> None:
    """Would fail if a line lost its axis, its length or its unit."""
    day = bw.day(plant, month=1, seed=5)
    assert day.seed == 5
    for name in day.series():
        line = day.line(name)
        lengths = {a.shape for a in line.arrays.values()}
        assert len(lengths) == 1 and line.arrays[line.axis].dtype == np.float64
    assert "units_attached" in day.line("milk").arrays


def test_what_is_out_of_range_is_a_sentence(plant: bw.Plant, tmp_path: Path) -> None:
    """Would fail if a wrong month or file name ended in a traceback of the inside."""
    for wrong in (
        lambda: bw.day(plant, month=13),
        lambda: bw.day(plant, days=0),
        lambda: bw.failures(plant, hours=-1.0),
        lambda: bw.read(tmp_path / "none.yaml"),
        lambda: bw.draft(tmp_path / "none.yaml"),
    ):
        with pytest.raises(bw.ByrewrightError, match=r"\w+.*: "):
            wrong()


def test_a_plant_with_errors_is_refused_as_the_check_tells_it(plant: bw.Plant) -> None:
    """Would fail if Python studied a plant that the command line refuses, or by other words."""
    from byrewright.plant.read import read_plant_text

    text = re.sub(r"does: (milking\b|\[milking, \w+\])", "does: idle", plant.text)
    wrong = bw.Plant(read_plant_text(text, "plant.yaml"), plant.rules)
    errors = [str(p) for p in wrong.problems() if p.severity == "error"]
    assert any("no mode does milking" in text for text in errors)
    for study in (bw.size, bw.vacuum, bw.day, bw.failures, bw.routes):
        with pytest.raises(bw.ByrewrightError) as told:
            study(wrong)
        assert all(text in str(told.value) for text in errors)


def test_writing_and_reading_again_is_the_same_plant(plant: bw.Plant, tmp_path: Path) -> None:
    """Would fail if a plant lost something on its way to a file."""
    assert bw.read(bw.write(plant, tmp_path / "copy.yaml")).model == plant.model


def test_a_slip_in_a_call_is_told(plant: bw.Plant, tmp_path: Path) -> None:
    """Would fail if a mistyped reading were left out in silence, one complaint were read letter by
    letter, or a wrong sort of argument ended in a traceback."""
    wrong: tuple[tuple[Callable[[], object], str], ...] = (
        (lambda: bw.diagnose(plant, [], ["pump_capacity@VP9=3600"]), "did you mean pump_capacity@"),
        (lambda: bw.diagnose(plant, [], [3]), "3: no such file"),  # type: ignore[list-item]
        (lambda: bw.diagnose(plant, "cow low"), "'cow low' is not a complaint"),
        (lambda: bw.as_measured(plant, "none.yaml"), "no such file"),
        (lambda: bw.day(plant, month="7"), "month '7'"),  # type: ignore[arg-type]
        (lambda: bw.day(plant, seed=1.5), "seed"),  # type: ignore[arg-type]
        (lambda: bw.size("plant.yaml"), "not a plant"),  # type: ignore[arg-type]
        (lambda: bw.write(plant, tmp_path), "directory"),
    )
    for call, says in wrong:
        with pytest.raises(bw.ByrewrightError, match=says):
            call()


def test_what_was_fitted_is_not_lost_in_silence(plant: bw.Plant) -> None:
    """Would fail if a change to a plant as measured gave back the data plates unsaid."""
    measured = bw.as_measured(plant, "pump_capacity@VP1=3600+-50")
    assert measured.model.equipment["VP1"].capacity_l_min_free < 3800  # type: ignore[attr-defined]
    with pytest.raises(bw.ByrewrightError, match="as_measured again"):
        measured.change({"equipment.VP1.motor_kw": 18.5})
