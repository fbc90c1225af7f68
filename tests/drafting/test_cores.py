"""Work side by side: the same answers as one after another, and no worker left behind."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from byrewright.drafting import cores
from byrewright.drafting.cores import Workers, side_by_side, workers
from byrewright.studies.failures.cuts import Cancelled

A_MOMENT_S = 0.1
LONGEST_S = 20.0
"""A busy machine wakes a process late."""
ROOT = Path(__file__).resolve().parents[2]
pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="workers are begun on Linux only")


@pytest.fixture(params=[1, 2])
def at_work(request: pytest.FixtureRequest) -> Iterator[Workers | None]:
    """Each test with no worker, and with two."""
    with workers(request.param) as made:
        yield made


def told(n: int) -> tuple[str, int, int]:
    """What is told of a job."""
    return f"square {n}", n, 9


def square(about: list[int], n: int) -> tuple[int, int, int]:
    """A square, who found it, and what it was asked about."""
    time.sleep(A_MOMENT_S)
    return n * n, os.getpid(), id(about)


def test_answers_come_in_the_order_of_the_jobs(at_work: Workers | None) -> None:
    """Would fail if a draft gave one study's findings as another's, or did all by itself; or if
    what a study keeps for a plant were lost between two jobs of one worker."""
    about = [7]
    heard = list(side_by_side(square, about, range(8), told, at_work=at_work))
    assert [a for a, _, _ in heard] == [n * n for n in range(8)]
    by = {pid for _, pid, _ in heard}
    assert (by == {os.getpid()}) if at_work is None else (len(by) == 2 and os.getpid() not in by)
    assert len({(pid, thing) for _, pid, thing in heard}) == len(by)


def test_what_leaves_something_behind_is_done_here(at_work: Workers | None) -> None:
    """Would fail if the routes of a topology were worked out in a process that then ends."""
    kept: list[int] = []

    def mine() -> tuple[int, int, int]:
        kept.append(3)
        return 9, os.getpid(), 0

    heard = list(side_by_side(square, [], range(6), told, at_work=at_work, here={3: mine}))
    assert kept == [3] and heard[3] == (9, os.getpid(), 0) and heard[4][0] == 16


def test_all_that_is_done_is_told(at_work: Workers | None) -> None:
    """Would fail if a draft went on in silence because another process does the work."""
    lines: list[str] = []
    list(side_by_side(square, [], range(6), told, at_work=at_work,
                      say=lambda what, *_: lines.append(what)))  # fmt: skip
    assert list(dict.fromkeys(lines)) == [f"square {n}" for n in range(6)]


def dies(here: int, n: int) -> int:
    """No worker outlives it."""
    if os.getpid() != here:
        os._exit(3)
    return n


def test_what_a_worker_could_not_do_is_done_here(at_work: Workers | None) -> None:
    """Would fail if a draft hung or lost a study because the system ended a worker."""
    for _ in range(2):
        assert list(side_by_side(dies, os.getpid(), range(4), told, at_work=at_work)) == [
            0,
            1,
            2,
            3,
        ]


def raises(_: int, n: int) -> int:
    """One of them cannot be done."""
    if n == 2:
        raise ArithmeticError("two")
    return n


def test_an_error_is_that_of_the_job(at_work: Workers | None) -> None:
    """Would fail if an error in a worker were lost, or came as one of another process."""
    with pytest.raises(ArithmeticError, match="two"):
        list(side_by_side(raises, 0, range(4), told, at_work=at_work))


def slow(folder: Path, n: int) -> int:
    """Longer than anybody waits."""
    (folder / str(os.getpid())).touch()
    time.sleep(LONGEST_S)
    return n


def test_a_stop_is_heard_and_leaves_nobody_behind(tmp_path: Path) -> None:
    """Would fail if a stop waited for a study's end, or workers worked on after it."""

    def stop(*_: object) -> bool:
        return len(list(tmp_path.iterdir())) == 2

    with workers(2) as at_work:
        list(side_by_side(square, [], range(2), told, at_work=at_work))  # they have begun
        began = time.monotonic()
        with pytest.raises(Cancelled):
            list(side_by_side(slow, tmp_path, range(8), told, at_work=at_work, say=stop))
    assert time.monotonic() - began < LONGEST_S / 2
    while any(Path(f"/proc/{one.name}").exists() for one in tmp_path.iterdir()):
        assert time.monotonic() - began < LONGEST_S / 2  # the fork server buries its dead
        time.sleep(A_MOMENT_S)


def shows(_: object, n: int) -> int:
    """Shows who is at work, for longer than anybody waits."""
    for _turn in range(300):
        os.write(1, f"{os.getpid()}\n".encode())  # whole lines, whoever writes
        time.sleep(A_MOMENT_S)
    return n


STARTED = """
import signal
signal.signal(signal.SIGINT, signal.default_int_handler)  # a shell's background work ignores it
from tests.drafting.test_cores import shows, told
from byrewright.drafting.cores import side_by_side, workers
with workers(2) as at_work:
    list(side_by_side(shows, 0, range(4), told, at_work=at_work))
"""


@pytest.mark.parametrize("by", [signal.SIGINT, signal.SIGKILL])
def test_workers_end_with_the_process_they_work_for(by: signal.Signals) -> None:
    """Would fail if Ctrl-C, or the system, left processes that work for nobody."""
    with subprocess.Popen(
        [sys.executable, "-c", STARTED], stdout=subprocess.PIPE, stderr=subprocess.DEVNULL,
        text=True, start_new_session=True, cwd=ROOT,
    ) as program:  # fmt: skip
        assert program.stdout is not None
        seen: set[int] = set()
        while len(seen) < 2:
            seen.add(int(program.stdout.readline()))
        if by == signal.SIGINT:
            os.killpg(program.pid, by)  # as a terminal does
        else:
            program.send_signal(by)
        began = time.monotonic()
        program.stdout.read()  # until nobody holds it open
    assert time.monotonic() - began < LONGEST_S


def test_threads_may_have_workers(at_work: Workers | None) -> None:
    """Would fail if pages drafted on one core, or two of their threads at once hung."""
    held = threading.Lock()
    with held, ThreadPoolExecutor(2) as threads:

        def draft(n: int) -> list[int]:
            with workers(2) as own:
                return [a for a, _, _ in side_by_side(square, [], range(n), told, at_work=own)]

        asked: list[Callable[[], list[int]]] = [threads.submit(draft, n).result for n in (3, 4)]
        assert [one() for one in asked] == [[0, 1, 4], [0, 1, 4, 9]]


def test_as_many_work_as_there_are_cores() -> None:
    """Would fail if a machine of one core began workers, or one of many as many as it has."""
    assert cores.cores() == max(1, min(cores.MOST_CORES, len(os.sched_getaffinity(0))))
    with workers(1) as none:
        assert none is None
