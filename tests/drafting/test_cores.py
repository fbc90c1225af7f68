"""Work side by side: the same answers as one after another, and no helper left behind."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path

import pytest

from byrewright.drafting import cores
from byrewright.drafting.cores import Say, side_by_side
from byrewright.studies.failures.cuts import Cancelled

HERE = os.getpid()
A_MOMENT_S = 0.1
LONGEST_S = 20.0
"""A busy machine wakes a process late."""


@pytest.fixture(autouse=True, params=[1, 2, 3])
def many(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> int:
    """Each test with no helper, one and two."""
    monkeypatch.setattr(cores, "cores", lambda: request.param)
    return int(request.param)


def square(n: int, say: Say) -> tuple[int, int]:
    """A square, and who found it."""
    say(f"square {n}", n, 9)
    time.sleep(A_MOMENT_S)
    return n * n, os.getpid()


def test_answers_come_in_the_order_of_the_jobs(many: int) -> None:
    """Would fail if a draft gave one study's findings as another's, or did all by itself."""
    found = side_by_side([partial(square, n) for n in range(6)])
    assert [a for a, _ in found] == [0, 1, 4, 9, 16, 25]
    assert len({by for _, by in found}) == many


def test_what_leaves_something_behind_is_done_here() -> None:
    """Would fail if the routes of a topology were worked out in a process that then ends."""
    kept: dict[int, int] = {}

    def keeping(n: int, say: Say) -> tuple[int, int]:
        kept[n] = n
        return square(n, say)

    found = side_by_side([partial(keeping, n) for n in range(6)], here={4, 5})
    assert {4, 5} <= kept.keys() and {found[4][1], found[5][1]} == {os.getpid()}


def test_all_that_is_done_is_told_once() -> None:
    """Would fail if a draft went on in silence because another process does the work."""
    told: list[str] = []
    side_by_side([partial(square, n) for n in range(6)], lambda what, *_: told.append(what))
    assert sorted(told) == [f"square {n}" for n in range(6)]


def dies(n: int, say: Say) -> int:
    """No helper outlives it."""
    if os.getpid() != HERE:
        os._exit(3)
    return n


def unsendable(n: int, say: Say) -> Callable[[], int]:
    """What cannot be pickled."""
    return lambda: n


def test_what_a_helper_could_not_do_or_send_is_done_here() -> None:
    """Would fail if a draft hung or lost a study because the system ended a helper."""
    assert side_by_side([partial(dies, n) for n in range(4)]) == [0, 1, 2, 3]
    assert [f() for f in side_by_side([partial(unsendable, n) for n in range(4)])] == [0, 1, 2, 3]


def raises(n: int, say: Say) -> int:
    """One of them cannot be done."""
    if n == 2:
        raise ArithmeticError("two")
    return n


def test_an_error_is_that_of_the_job() -> None:
    """Would fail if an error in a helper were lost, or came as one of another process."""
    with pytest.raises(ArithmeticError, match="two"):
        side_by_side([partial(raises, n) for n in range(4)])


def test_a_stop_is_heard_and_leaves_nobody_behind(tmp_path: Path) -> None:
    """Would fail if helpers worked on after a draft was stopped."""

    def slow(n: int, say: Say) -> int:
        say("begun", n, 2)
        (tmp_path / str(os.getpid())).touch()
        time.sleep(LONGEST_S if os.getpid() != HERE else A_MOMENT_S)
        return n

    began = time.monotonic()
    told: list[str] = []

    def stop(what: str, done: int, of: int) -> bool:
        told.append(what)
        return len(told) == 3

    with pytest.raises(Cancelled):
        side_by_side([partial(slow, n) for n in range(8)], stop)
    assert time.monotonic() - began < LONGEST_S
    for one in tmp_path.iterdir():
        assert int(one.name) == HERE or not Path(f"/proc/{one.name}").exists()


STARTED = """
import os, sys, time
from functools import partial
from byrewright.drafting.cores import side_by_side
def one(n, say):
    for k in range(300):
        print(os.getpid(), flush=True)
        say("at work", k, 300)
        time.sleep(0.1)
side_by_side([partial(one, n) for n in range(4)])
"""


@pytest.mark.skipif(sys.platform != "linux", reason="helpers are forked on Linux only")
@pytest.mark.parametrize("by", [signal.SIGINT, signal.SIGKILL])
def test_helpers_end_with_the_process_they_help(by: signal.Signals, many: int) -> None:
    """Would fail if Ctrl-C, or the system, left processes that work for nobody."""
    if many != 2 or len(os.sched_getaffinity(0)) < 2:
        return
    with subprocess.Popen(
        [sys.executable, "-c", STARTED], stdout=subprocess.PIPE, stderr=subprocess.DEVNULL,
        text=True, start_new_session=True,
    ) as program:  # fmt: skip
        assert program.stdout is not None
        seen = {program.pid}
        while len(seen) < 2:
            seen.add(int(program.stdout.readline()))
        program.send_signal(by)
        began = time.monotonic()
        program.stdout.read()  # until nobody holds it open
    assert time.monotonic() - began < LONGEST_S


@pytest.mark.skipif(sys.platform != "linux", reason="helpers are forked on Linux only")
def test_a_helper_and_a_process_of_threads_have_no_helpers(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Would fail if the pages' server were forked while its threads hold locks."""
    monkeypatch.undo()
    asked = (
        "import threading, time; from byrewright.drafting.cores import cores, side_by_side\n"
        "def one(say): n = cores(); time.sleep(0.5); return n\n"
        "print(cores(), *side_by_side([one] * 2))\n"
        "threading.Thread(target=threading.Event().wait, daemon=True).start()\n"
        "print(cores())\n"
    )
    run = subprocess.run([sys.executable, "-c", asked], capture_output=True, text=True, check=True)
    has = min(cores.MOST_CORES, len(os.sched_getaffinity(0)))
    alone, *beside, in_threads = map(int, run.stdout.split())
    assert (alone, in_threads) == (has, 1)
    assert min(beside) == 1 and max(beside) <= max(1, has - 1)
