"""Pages and command line give the same answers, each worked out once, and stopped on request."""

from __future__ import annotations

import io
import json
import subprocess
import sys
import threading
import zipfile
from pathlib import Path
from typing import Any, cast

import pytest

from byrewright.errors import ByrewrightError
from byrewright.web.answers import Answers, Job, day, flows, proof
from byrewright.web.figures import Line, timeline
from byrewright.web.folder import Folder, Opened
from byrewright.web.frame import Visit
from byrewright.web.pages.pack import build_pack
from byrewright.web.texts import Texts
from tests.plant.small import SMALL
from tests.web.conftest import ROOT

WAIT_S = 120.0


@pytest.fixture(scope="module")
def opened(examples: Path) -> Opened:
    """The smallest example."""
    found = Folder(examples / "rows_two_by_twenty").open("plant")
    assert found.sound
    return found


def told(opened: Opened, *words: str) -> object:
    """What the command line prints as JSON."""
    command = [sys.executable, "-m", "byrewright", words[0], str(opened.path), *words[1:], "--json"]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout)


@pytest.fixture(scope="module")
def small(tmp_path_factory: pytest.TempPathFactory) -> Opened:
    """A plant with few valves."""
    folder = tmp_path_factory.mktemp("small")
    (folder / "plant.yaml").write_text(SMALL, encoding="utf-8")
    return Folder(folder).open("plant")


def test_sizing_is_the_command_lines(small: Opened) -> None:
    """Would fail if a page sized the plant otherwise than the command line."""
    job = Answers().study("sizing", small)
    assert job.wait(WAIT_S) and job.state == "done", job.problem
    assert json.loads(job.value.to_json()) == told(small, "size")


def test_the_proof_is_the_command_lines(small: Opened) -> None:
    """Would fail if the page proved something else than the command line."""
    answers = Answers()
    study = answers.study("routes", small)
    assert study.wait(WAIT_S)
    job = proof(answers, small, study.value)
    assert job.wait(WAIT_S) and job.state == "done", job.problem
    assert json.loads(job.value.to_json()) == told(small, "routes")


def test_the_day_is_the_command_lines(opened: Opened) -> None:
    """Would fail if the day that is played were another than the day that is printed."""
    answers = Answers()
    job = day(answers, opened, opened.plant.site.study_month)
    assert job.wait(WAIT_S) and job.state == "done", job.problem
    assert json.loads(job.value.result.to_json()) == told(opened, "day")
    last = job.value.moments[-1]
    assert all(0.0 <= held.share <= 1.0 for m in job.value.moments for held in m.held.values())
    assert last.milked == job.value.cows.lines[0][2][-1]
    answers.end()


def test_the_pack_is_the_command_lines_byte_for_byte(tmp_path: Path) -> None:
    """Would fail if a pack taken from the page held another file than the command's, by chance or
    since the user's own limits and table beside the plant did not count."""
    (tmp_path / "plant.yaml").write_text(SMALL, encoding="utf-8")
    (tmp_path / "limits.yaml").write_text("milk.stored_c: 3.5\n")
    (tmp_path / "milkline_table.yaml").write_text("looped: {73: {0.5: 5, 2.0: 12}}\n")
    answers, made = Answers(), Folder(tmp_path).open("plant")
    job = build_pack(answers, made, "2026-03-31", "US", full=False)
    assert job.wait(WAIT_S) and job.state == "done", job.problem
    with zipfile.ZipFile(io.BytesIO(job.value[0])) as archive:
        page = {name: archive.read(name) for name in archive.namelist()}
    out = tmp_path / "out"
    asked = ["pack", "plant.yaml", "--out", "out", "--date", "2026-03-31", "--units", "US"]
    done = subprocess.run(
        [sys.executable, "-m", "byrewright", *asked], cwd=tmp_path, capture_output=True, text=True
    )
    assert done.returncode == 0, done.stderr
    command = {str(p.relative_to(out)): p.read_bytes() for p in out.rglob("*") if p.is_file()}
    assert set(page) == set(command) and len(page) > 15
    assert [name for name in page if page[name] != command[name]] == []
    assert b"3.5" in page["result.json"]
    answers.end()


def test_turning_a_valve_finds_what_the_exhaustive_search_finds(opened: Opened) -> None:
    """Would fail if a valve turned by hand hid a harm that the routes study knows, or made one up
    where nothing was turned."""
    answers = Answers()
    job = answers.study("routes", opened)
    assert job.wait(WAIT_S) and job.state == "done", job.problem
    study = job.value
    for mode in opened.plant.modes:
        at_rest = {
            (study.scenes[mode].harm(h.question.harm), h.question.subject)
            for h in study.at_rest
            if h.mode == mode
        }
        assert set(flows(answers, opened, mode, {}).harms) == at_rest
    single = [h for h in study.hits if h.order == 1 and h.wrong[0][1] != "full"]
    assert len(single) > 50
    for hit in single[::7]:
        harms = flows(answers, opened, hit.mode, dict(hit.wrong)).harms
        asked = hit.question
        assert (study.scenes[hit.mode].harm(asked.harm), asked.subject) in harms
    answers.end()


def test_what_threads_cannot_load_side_by_side_is_there_before_them(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Would fail if the first drawing of a fresh server fell over the first sizing beside it, each
    loading the parts of one library that the other waits for."""
    monkeypatch.delitem(sys.modules, "scipy.optimize", raising=False)
    Answers()
    assert "scipy.optimize" in sys.modules


def test_a_question_is_worked_out_once_for_all_who_ask() -> None:
    """Would fail if many visitors made the same work be done many times."""
    answers, count, gate = Answers(), [0], threading.Event()

    def work(job: Job) -> int:
        gate.wait(5)
        count[0] += 1
        return count[0]

    jobs = [answers.ask("same", work) for _ in range(20)]
    gate.set()
    for job in jobs:
        assert job.wait(5)
    assert count == [1] and {job.value for job in jobs} == {1}
    answers.end()


def test_work_is_stopped_at_its_next_step_and_can_be_asked_again() -> None:
    """Would fail if Stop did nothing or stopped what another visitor waits for, or a stopped
    question could never be answered."""
    answers, begun = Answers(), threading.Event()

    def work(job: Job) -> str:
        for step in range(1000):
            job.say("step", step, 1000)
            begun.set()
            threading.Event().wait(0.005)
        return "done"

    job = answers.ask("long", work)
    assert begun.wait(5)
    other = answers.ask("long", work)
    job.join()
    other.join()
    other.leave()
    assert other.over and other.state == "stopped" and not job.over  # nobody else's is stopped
    job.leave()
    assert job.wait(5) and job.state == "stopped"
    again = answers.ask("long", lambda job: "quick")
    assert again.wait(5) and again.value == "quick"
    answers.end()


def test_a_fault_is_told_in_a_sentence(capsys: pytest.CaptureFixture[str]) -> None:
    """Would fail if a page waited for ever for work that failed."""
    answers = Answers()

    def refuses(job: Job) -> None:
        raise ByrewrightError("The plant has no mode that does milking.")

    job = answers.ask("bad", refuses)
    assert job.wait(5)
    assert (job.state, job.problem) == ("failed", "The plant has no mode that does milking.")
    answers.end()


def test_points_of_a_chart_are_not_copied_for_every_open_page() -> None:
    """A server would grow by 7 MB with each opening of the day, and keep much of it when the page
    is closed: the framework wraps every list it is given, each point of a chart too."""
    from nicegui.observables import ObservableDict

    v = Visit(cast(Any, None), Texts("en"), "metric", "auto", "/", {})
    x = [t / 100 for t in range(2400)]
    (made,) = timeline(v, "milk", [Line("TK1", "L", x, [5 * t for t in x])], "hours")
    kept = ObservableDict(made.options)["series"][0]["data"]
    assert kept is made.options["series"][0]["data"] and isinstance(kept, tuple)
    assert len(kept) > 100 and all(isinstance(point, tuple) for point in kept)
