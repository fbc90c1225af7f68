"""A plant with errors: `check` says so and ends with 1, and every study refuses it alike."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.commands.inside import inside
from tests.plant.small import SMALL

BAD_INPUT, NOT_SOUND = 2, 1
BROKEN = (
    ("does: milking", "does: rinse", "error C001: modes: no mode does milking. Add a mode"),
    ("  PF1: {", "  # {", "error C005: equipment: there is no platform"),
    ("fed_from: EM1", "fed_from: SB1", "error C008: equipment.SB1.fed_from: power goes round"),
)
ASKED = (("size",), ("vacuum",), ("day",), ("failures",), ("routes",), ("interlocks",),
         ("rehearse",), ("watch", "--modbus", "127.0.0.1:1"), ("pack",),
         ("explain", "any"))  # fmt: skip


@pytest.mark.parametrize(("old", "new", "says"), BROKEN, ids=lambda v: v[:12])
def test_an_error_ends_the_check_and_every_study(
    old: str, new: str, says: str, tmp_path: Path
) -> None:
    """A plant that cannot work would be called sound, or be studied as if it could."""
    path = tmp_path / "plant.yaml"
    path.write_text(SMALL.replace(old, new), encoding="utf-8")
    told = inside(["check", str(path)])
    assert told.code == NOT_SOUND and "sound;" not in told.out.replace("not sound;", "")
    line = next(one for one in told.out.splitlines() if says in one)
    assert line.startswith(f"{path}:")
    for words in ASKED:
        refused = inside([words[0], str(path), *words[1:]])
        assert refused.code == BAD_INPUT, (words, refused)
        assert line in refused.err.splitlines()
    assert [p.name for p in tmp_path.iterdir()] == ["plant.yaml"]


def test_advice_does_not_stop_anything(tmp_path: Path) -> None:
    """Advice would fail a script, or come without its line and number."""
    path = tmp_path / "plant.yaml"
    path.write_text(SMALL.replace("count: 40", "count: 39"), encoding="utf-8")
    told = inside(["check", str(path)])
    assert told.code == 0 and "sound; 14 machines" in told.out
    assert f"{path}:20: advice C029: equipment.MU1.count: 39 milking units" in told.out
    assert inside(["size", str(path)]).code == 0


def test_a_file_that_is_wrong_ends_with_one_and_counts(tmp_path: Path) -> None:
    """A script could not tell a wrong plant from a sound one by the exit code."""
    path = tmp_path / "plant.yaml"
    path.write_text(SMALL.replace("ways: 2", "ways: 4"), encoding="utf-8")
    told = inside(["check", str(path)])
    assert told.code == NOT_SOUND and told.out.endswith("not sound; 1 error\n")
    assert "error F027: equipment.V11.ways: 4 is not one of" in told.out
