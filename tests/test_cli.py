"""The installed command, run as a user runs it: files in a folder, exit codes, plain sentences."""

from __future__ import annotations

import contextlib
import json
import re
import subprocess
import sys
from pathlib import Path

import pytest

from tests.commands.inside import Ended, inside

BAD_INPUT = 2
SCREEN_LINES, SCREEN_COLUMNS = 40, 120
BRIEF = """\
farm: (invented) Sallow End
cows: 260
yield_l_day: 26
layout: rows
rows: 2
stalls: 32
cooling: direct_expansion
redundancy: none
"""


def installed(*words: str, folder: Path) -> str:
    """What the installed command prints, in a process of its own, in a folder of its own."""
    done = subprocess.run(
        [sys.executable, "-m", "byrewright", *words],
        cwd=folder, capture_output=True, text=True, timeout=240, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


def run(*words: str, folder: Path, code: int = 0) -> Ended:
    """The command in a folder of its own; the exit code must be the one expected."""
    with contextlib.chdir(folder):
        done = inside(words)
    assert done.fell is None, done.fell
    assert done.code == code, done.out + done.err
    return done


def told(*words: str, folder: Path) -> str:
    """The one sentence that a call with bad input ends with."""
    lines = run(*words, folder=folder, code=BAD_INPUT).err.strip().splitlines()
    assert len(lines) == 1, lines
    return lines[0]


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with a brief and the plant drafted from it."""
    made: Path = tmp_path_factory.mktemp("farm")
    (made / "brief.yaml").write_text(BRIEF, encoding="utf-8")
    (made / "plant.yaml").write_text("an older one, written over when it is asked for\n")
    told = installed("draft", "brief.yaml", "--out", "plant.yaml", "--quick", "--overwrite",
                     folder=made)  # fmt: skip
    assert "assumed" in told and "Next: byrewright check plant.yaml" in told
    return made


def test_a_drafted_plant_is_sound_and_sized(folder: Path) -> None:
    """A user's own brief would not lead to a plant that checks and sizes."""
    assert "sound" in run("check", "plant.yaml", folder=folder).out
    short = run("size", "plant.yaml", folder=folder).out
    every = run("size", "plant.yaml", "--all", folder=folder).out
    assert len(every) > len(short)
    assert "0 fails" in every
    assert not re.search(r"\bNone\b|\bnan\b|\[\]|\(\)", every)


def test_the_result_is_json_and_explains_itself(folder: Path) -> None:
    """Other programs could not read the result, or a printed name could not be explained."""
    result = json.loads(run("size", "plant.yaml", "--json", folder=folder).out)
    name = next(f["name"] for f in result["findings"] if f["formula"] and f["inputs"])
    text = run("explain", "plant.yaml", name, folder=folder).out
    assert "Formula:" in text and "Numbers put in:" in text


def test_units_of_a_us_reader(folder: Path) -> None:
    """Free air would be told in gallons, or not be turned at all."""
    text = run("size", "plant.yaml", "--all", "--units", "us", folder=folder).out
    pump = next(line for line in text.splitlines() if "vacuum.pump.capacity" in line)
    assert "cfm" in pump and "gpm" not in pump


def test_the_demo_fits_a_screen_and_its_pack_holds_its_files(tmp_path: Path) -> None:
    """The first command of the README would fail, or scroll off the screen; a file of the pack
    would be missing, or not be what its name says."""
    lines = installed("demo", "--out", "made", folder=tmp_path).splitlines()
    assert len(lines) <= SCREEN_LINES
    assert max(map(len, lines)) <= SCREEN_COLUMNS
    pack = tmp_path / "made"
    assert (pack / "report.pdf").read_bytes().startswith(b"%PDF")
    assert (pack / "schedule.xlsx").read_bytes().startswith(b"PK")
    assert "\nequipment:" in (pack / "plant.yaml").read_text(encoding="utf-8")
    assert json.loads((pack / "result.json").read_text(encoding="utf-8"))["study"] == "sizing"
    assert list((pack / "drawings").glob("*.svg"))
    assert not [p for p in pack.iterdir() if p.name.startswith(".")]


@pytest.mark.parametrize("what", ["plant", "brief"])
def test_a_schema_is_json(what: str, tmp_path: Path) -> None:
    """An editor could not read the schema."""
    assert json.loads(run("schema", what, folder=tmp_path).out)["properties"]


def test_bad_input_ends_in_one_sentence(folder: Path) -> None:
    """A slip would end in a traceback, or in a sentence that does not say what would be right."""
    (folder / "slip.yaml").write_text("cows: 200\nyeild_l_day: 20\nyield_l_day: 20\n")
    (folder / "raw.yaml").write_bytes(b"\xff\x00")
    assert "did you mean yield_l_day" in told("draft", "slip.yaml", "--out", "x", folder=folder)
    assert "no such file" in told("check", "nowhere.yaml", folder=folder)
    assert "UTF-8" in told("size", "raw.yaml", folder=folder)
    assert "nearest" in told("explain", "plant.yaml", "vacuum.pumps", folder=folder)
    assert "metric and US" in told("size", "plant.yaml", "--units", "furlong", folder=folder)
    assert "such as" in told("pack", "plant.yaml", "--date", "today", folder=folder)
    assert "not a folder" in told("pack", "plant.yaml", "--out", "raw.yaml", folder=folder)
    assert "schema" in told("schema", "cow", folder=folder)


STUDIES = (("vacuum",), ("day",), ("pack", "--full"), ("routes",), ("interlocks",),
           ("failures",), ("rehearse",), ("watch", "--modbus", "127.0.0.1:1"))  # fmt: skip


@pytest.mark.parametrize("words", STUDIES, ids=lambda words: words[0])
def test_a_study_says_what_its_plant_file_lacks(words: tuple[str, ...], folder: Path) -> None:
    """A study of no file, a folder or a plant that never milks would crash, or answer nothing."""
    text = (folder / "plant.yaml").read_text(encoding="utf-8")
    (folder / "never.yaml").write_text(text[: text.index("\nmodes:") + 1], encoding="utf-8")
    command, *rest = words
    assert "no such file" in told(command, "nowhere.yaml", *rest, folder=folder)
    assert "folder, not a file" in told(command, ".", *rest, folder=folder)
    assert "no mode does milking" in told(command, "never.yaml", *rest, folder=folder)
    assert not (folder / "never-interlocks").exists()


def test_the_studies_speak_plainly(folder: Path) -> None:
    """A table would break off at the screen's edge, or tell the program's own words."""
    for study in ("vacuum", "routes"):
        text = run(study, "plant.yaml", folder=folder).out
        assert max(map(len, text.splitlines())) <= SCREEN_COLUMNS
        assert "…" not in text
        assert not re.search(r"\bNone\b|\bnan\b|\[\]|\bto_[bc]|from_memory|milk_lost,", text)


def test_a_plant_file_is_not_overwritten_unasked(folder: Path) -> None:
    """A morning's work on a plant file would be lost to a second draft."""
    before = (folder / "plant.yaml").read_bytes()
    assert "--overwrite" in told("draft", "brief.yaml", "--out", "plant.yaml", folder=folder)
    assert (folder / "plant.yaml").read_bytes() == before


def test_strict_tells_a_script(folder: Path) -> None:
    """A script could not tell a plant that fails from one that holds."""
    text = (folder / "plant.yaml").read_text(encoding="utf-8")
    start = text.index("capacity_l_min_free: ")
    end = text.index(" ", start + len("capacity_l_min_free: "))
    (folder / "weak.yaml").write_text(f"{text[:start]}capacity_l_min_free: 300{text[end:]}")
    run("size", "weak.yaml", folder=folder)
    run("size", "weak.yaml", "--strict", folder=folder, code=1)
    run("size", "plant.yaml", "--strict", folder=folder)
