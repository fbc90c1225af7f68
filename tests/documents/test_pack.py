"""The pack folder: whole files or none, progress, and a stop that leaves no trace."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

import byrewright.documents.pack as pack
from byrewright.documents.pack import PackStopped, write_pack
from tests.documents.made import made_result
from tests.plants import rows

TEXT = "byrewright: 1  # as the engineer wrote it\n"
DATE = "2026-03-01"


def files(folder: Path) -> dict[str, bytes]:
    """Every file below a folder with its bytes."""
    return {str(p.relative_to(folder)): p.read_bytes() for p in folder.rglob("*") if p.is_file()}


def test_a_pack_holds_all_and_comes_out_the_same_again(tmp_path: Path) -> None:
    """Would fail if a file were missing, left half done, or differed from run to run."""
    steps: list[tuple[str, int, int]] = []

    def progress(name: str, number: int, total: int) -> None:
        steps.append((name, number, total))

    paths = write_pack(tmp_path / "a", TEXT, rows(), made_result(), date=DATE, progress=progress)
    first = files(tmp_path / "a")
    assert {"plant.yaml", "report.pdf", "schedule.xlsx", "result.json"} <= set(first)
    assert sum(name.startswith("drawings") for name in first) == 5
    assert first["plant.yaml"].decode() == TEXT
    assert json.loads(first["result.json"])["seed"] == 7
    assert sorted(str(p.relative_to(tmp_path / "a")) for p in paths) == sorted(first)
    assert [n for _, n, _ in steps] == list(range(1, steps[-1][2] + 1))
    write_pack(tmp_path / "a", TEXT, rows(), made_result(), date=DATE)
    assert files(tmp_path / "a") == first


def test_a_stop_changes_nothing(tmp_path: Path) -> None:
    """Would fail if a stopped run left new, half or temporary files."""
    folder = tmp_path / "a"
    folder.mkdir()
    (folder / "plant.yaml").write_text("old\n")
    with pytest.raises(PackStopped, match="no file was changed"):
        write_pack(folder, TEXT, rows(), made_result(), date=DATE,
                   progress=lambda name, number, total: number < total)  # fmt: skip
    assert files(folder) == {"plant.yaml": b"old\n"}


def test_a_crash_changes_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Would fail if an error in the last document left the earlier ones behind."""

    def broken(*args: object, **kwargs: object) -> bytes:
        raise RuntimeError("no ink")

    monkeypatch.setattr(pack, "report_pdf", broken)
    with pytest.raises(RuntimeError, match="no ink"):
        write_pack(tmp_path / "a", TEXT, rows(), made_result(), date=DATE)
    assert files(tmp_path / "a") == {}
