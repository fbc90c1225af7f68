"""The commissioning in docs/commissioning.md, run line by line as it stands there."""

from __future__ import annotations

import re
import shlex
import shutil
from pathlib import Path

import pytest
from typer.testing import CliRunner

from byrewright.cli import app

ROOT = Path(__file__).resolve().parents[2]
EXAMPLE = ROOT / "examples" / "rotary_spring_ice"
PAGE = ROOT / "docs" / "commissioning.md"


def test_the_commissioning_goes_as_the_page_says(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Would fail if a plant could not be taken from instrument files to a certificate as told."""
    shutil.copytree(EXAMPLE / "commissioning", tmp_path, dirs_exist_ok=True)
    shutil.copy(EXAMPLE / "plant.yaml", tmp_path)
    monkeypatch.chdir(tmp_path)
    said, count = "", 0
    for line in PAGE.read_text(encoding="utf-8").splitlines():
        if line.startswith("    byrewright "):
            run = CliRunner().invoke(app, shlex.split(line)[1:])
            assert run.exit_code == 0, (line, run.output)
            said, count = " ".join(re.sub(r"[?+~]", "", run.output).split()), count + 1
        elif line.startswith("    # "):
            assert " ".join(line[6:].split()) in said, (line, said)
    assert count >= 4
    assert (tmp_path / "certificate.pdf").read_bytes().startswith(b"%PDF")
