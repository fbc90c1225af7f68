"""The pack folder: whole files or none, progress, and a stop that leaves no trace."""

from __future__ import annotations

import contextlib
import json
import os
from pathlib import Path
from typing import Any

import pytest

from byrewright.documents import pack
from byrewright.documents.pack import PackStopped, write_pack
from byrewright.documents.report import report_pdf
from byrewright.plant import folder as folders
from byrewright.plant.read import read_plant_text
from byrewright.site.callout.guide import bare_guide
from tests.documents.made import made_result
from tests.plant.small import SMALL
from tests.plants import rows

TEXT = "byrewright: 1  # as the engineer wrote it\n"
DATE = "2026-03-01"
PLANT = read_plant_text(SMALL).plant
"""A plant of few machines, for tests of what becomes of files whatever they hold."""


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
    assert {"plant.yaml", "report.pdf", "schedule.xlsx", "result.json", "call.html"} <= set(first)
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
        write_pack(folder, TEXT, PLANT, made_result(), date=DATE,
                   progress=lambda name, number, total: number < total)  # fmt: skip
    assert files(folder) == {"plant.yaml": b"old\n"}


@pytest.mark.parametrize("turn", [1, 2, 3])
@pytest.mark.parametrize("one_step", [True, False], ids=["exchanged", "two renames"])
def test_an_interrupt_leaves_the_old_pack_or_the_new_one(
    one_step: bool, turn: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Would fail if a new plant file stood beside the old report, or another's file were lost."""
    folder = tmp_path / "a"
    monkeypatch.setattr(pack, "report_pdf", lambda *_, file_hash, **__: file_hash.encode())
    for text in ("# new\n", "# old\n"):
        write_pack(tmp_path / "a", TEXT + text, PLANT, made_result(), date=DATE)
        (folder / "brief.yaml").write_text("cows: 100\n")
        if text == "# new\n":
            new = files(tmp_path)
    old, done = files(tmp_path), [0]

    def interrupted(real: Any) -> Any:
        def call(*args: Any) -> Any:
            done[0] += 1
            if done[0] == turn:
                raise KeyboardInterrupt
            return real(*args)

        return call

    monkeypatch.setattr(os, "link", interrupted(os.link))
    monkeypatch.setattr(Path, "rename", interrupted(Path.rename))
    monkeypatch.setattr(folders, "_exchanged", interrupted(folders._exchanged if one_step else no))
    with contextlib.suppress(KeyboardInterrupt):
        write_pack(folder, TEXT + "# new\n", PLANT, made_result(), date=DATE)
    now, wanted = files(tmp_path), new if turn > done[0] else old
    for one in (now, wanted):  # the index of a pack that took another's place says so
        index = one["a/index.txt"].decode().splitlines(keepends=True)
        one["a/index.txt"] = "".join(x for x in index if "upersedes" not in x).encode()
    assert now == wanted


def no(*_: object) -> bool:
    """A system that cannot exchange two folders."""
    return False


def test_a_pack_takes_no_folder_that_somebody_stands_in(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Would fail if the folder were exchanged under the shell that stands in it."""
    monkeypatch.chdir(tmp_path)
    with pytest.raises(folders.FolderRefused, match="name another, such as"):
        write_pack(tmp_path, TEXT, PLANT, made_result(), date=DATE)
    assert not files(tmp_path)


def test_what_the_dead_left_is_cleared_and_put_back(tmp_path: Path) -> None:
    """Would fail if a killed pack left its half-built folder, or the old pack away, for good."""
    write_pack(tmp_path / "a", TEXT, PLANT, made_result(), date=DATE)
    first = files(tmp_path)
    (tmp_path / "a").rename(tmp_path / ".a.pack-999999999-x.old")
    (tmp_path / ".a.pack-999999999-x").mkdir()
    with pytest.raises(PackStopped):
        write_pack(tmp_path / "a", "new\n", PLANT, made_result(), date=DATE,
                   progress=lambda name, number, total: False)  # fmt: skip
    assert files(tmp_path) == first
    assert [p.name for p in tmp_path.iterdir()] == ["a"]


def test_other_files_in_the_folder_stay(tmp_path: Path) -> None:
    """Would fail if a brief or a site's log were lost with the old pack."""
    folder = tmp_path / "a"
    (folder / "drawings").mkdir(parents=True)
    (folder / "brief.yaml").write_text("cows: 100\n")
    (folder / "drawings" / "own.svg").write_text("<svg/>")
    (folder / "drawings" / "9-gone.svg").write_text("<svg/>")
    log = (folder / "site.log").open("w")  # another program is writing it
    folder.chmod(0o750)
    write_pack(folder, TEXT, PLANT, made_result(), date=DATE)
    found = files(folder)
    assert found["brief.yaml"] == b"cows: 100\n" and found["drawings/own.svg"] == b"<svg/>"
    assert "drawings/9-gone.svg" not in found and "report.pdf" in found
    with log:
        log.write("an alarm")
    assert (folder / "site.log").read_text() == "an alarm"
    assert folder.stat().st_mode & 0o777 == 0o750


def test_a_crash_changes_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Would fail if an error in the last document left the earlier ones behind."""

    def broken(*args: object, **kwargs: object) -> bytes:
        raise RuntimeError("no ink")

    monkeypatch.setattr(pack, "report_pdf", broken)
    with pytest.raises(RuntimeError, match="no ink"):
        write_pack(tmp_path / "a", TEXT, PLANT, made_result(), date=DATE)
    assert files(tmp_path / "a") == {}


GROWTH_MB = 12
"""A typesetter inside the process kept 27 MB of each report of another plant."""


def test_packs_of_many_plants_do_not_fill_the_memory() -> None:
    """Would fail if a server that makes packs for a season grew with each of them."""

    def memory_mb() -> float:
        with open("/proc/self/status", encoding="ascii") as file:
            return next(int(w.split()[1]) for w in file if w.startswith("VmRSS")) / 1000

    if not Path("/proc/self/status").exists():
        pytest.skip("memory is read as on Linux")
    made = []
    for number in range(3):
        drawings = [f"<svg xmlns='http://www.w3.org/2000/svg'><!-- {number} --></svg>"] * 5
        report_pdf(rows(), made_result(), date=f"2026-03-0{number + 1}", file_hash=f"{number}" * 64,
                   drawings=drawings)  # fmt: skip
        made.append(memory_mb())
    assert made[-1] - made[0] < GROWTH_MB


def test_the_plan_set_goes_with_the_pack(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Would fail if the builder's, fitter's or electrician's papers were missing, differed from run
    to run, could not be stopped, or stayed when the plan went. The call-out page, which takes most
    of a pack's time, holds what to do first alone."""
    from tests.place.scenes import briefed

    monkeypatch.setattr(pack, "guide_of", lambda plant, _: bare_guide(plant))
    plant = briefed("rows", 4, twin=False)
    told: list[str] = []

    def progress(name: str, number: int, total: int) -> bool:
        told.append(name)
        return True

    folder = tmp_path / "a"
    write_pack(folder, TEXT, plant, made_result(), date=DATE, progress=progress)
    first = files(folder)
    plan = {name.removeprefix("plan/") for name in first if name.startswith("plan/")}
    assert {"P6-works.svg", "P7-works.svg", "P1-plan.svg", "P4-across.svg", "P5-along.svg",
            "S01-lines.svg", "E1-cables.svg", "E2-list.svg", "F1-list.svg", "plan.pdf", "plan.dxf",
            "pipes.csv", "pieces.csv", "cables.csv", "builders_works.csv",
            "set_out.csv"} <= plan  # fmt: skip
    assert b"2026-03-01" in first["plan/P1-plan.svg"]
    order = [t for t in told if t.startswith(("list:", "plan:"))]
    assert (order[0], order[5]) == ("list: builder's works", "plan: Builder's works: dairy block")
    with pytest.raises(PackStopped):
        write_pack(folder, TEXT, plant, made_result(), date=DATE,
                   progress=lambda name, *_: not name.startswith("plan: Section"))  # fmt: skip
    assert files(folder) == first
    write_pack(folder, TEXT, plant, made_result(), date=DATE)
    assert files(folder) == first
    bare = plant.model_copy(update={"place": None})
    write_pack(folder, TEXT, bare, made_result(), date=DATE)
    assert not any(name.startswith("plan/") for name in files(folder))
