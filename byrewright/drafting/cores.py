"""Work of a draft side by side: studies that do not need each other, on all cores there are.

This process takes jobs from the front, each helper from the back, until they meet. A helper is a
fork of this process: it has all that is worked out so far, and sends what it finds when there is no
more to do. What it could not send is done here. Where there is one core, or forking is not safe
(other threads, another system), all is done here, with the same answers.
"""

from __future__ import annotations

import os
import signal
import sys
import threading
from collections.abc import Callable, Collection, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from functools import partial
from itertools import chain
from multiprocessing import active_children, current_process, get_context
from multiprocessing.connection import Connection, wait
from typing import TYPE_CHECKING, Any, Generic, TypeVar

from byrewright.studies.failures.cuts import Cancelled

if TYPE_CHECKING:
    from multiprocessing.context import ForkProcess

T = TypeVar("T")
Say = Callable[[str, int, int], bool | None]
"""Told what is done now, its number, and of how many; an answer of True stops the work."""
Job = Callable[[Say], T]
"""A piece of work that needs no other, and tells what it does."""
MOST_CORES = 4
"""Processes at most: each holds some hundred megabytes of its own."""


def cores() -> int:
    """Processes that may work at once, beside helpers that are at work."""
    if sys.platform != "linux" or threading.active_count() > 1:
        return 1
    if current_process().daemon:  # a helper has no helpers
        return 1
    return max(1, min(MOST_CORES, len(os.sched_getaffinity(0))) - len(active_children()))


def tell(say: Say | None, what: str, done: int, of: int) -> None:
    """Tell what is done now.

    Raises:
        Cancelled: the answer is to stop.
    """
    if say is not None and say(what, done, of) is True:
        raise Cancelled("The draft was stopped; no file was written.")


def side_by_side(
    jobs: Sequence[Job[T]], say: Say | None = None, here: Collection[int] = ()
) -> list[T]:
    """What each job finds, in their order.

    Args:
        here: numbers of jobs that only this process may do, as they leave something behind.

    Raises:
        Cancelled: `say` answered True.
    """
    shared = [i for i in range(len(jobs)) if i not in here]
    many = min(cores(), len(shared) + bool(here))
    found: dict[int, T] = {}
    with _helpers(jobs, shared, many - 1) as helpers:

        def said(what: str, done: int, of: int) -> None:
            tell(say, what, done, of)
            for one in helpers.heard():
                tell(say, *one)

        for number in chain(sorted(here), helpers.left()):
            found[number] = jobs[number](said)
        while helpers.busy:
            wait(helpers.busy)
            for one in helpers.heard():
                tell(say, *one)
        found |= helpers.found
    for number, job in enumerate(jobs):
        if number not in found:
            found[number] = job(partial(tell, say))
    return [found[number] for number in range(len(jobs))]


@dataclass(slots=True)
class _Helpers(Generic[T]):
    """The helpers at work: what they share with this process, and what they sent."""

    shared: Sequence[int]
    meet: Any
    """How many jobs were taken, from the front and from the back."""
    busy: list[Connection]
    found: dict[int, T]

    def left(self) -> Iterator[int]:
        """Jobs from the front, until those from the back are met."""
        while (at := _next(self.meet, 0, len(self.shared))) is not None:
            yield self.shared[at]

    def heard(self) -> Iterator[tuple[str, int, int]]:
        """What helpers tell now; what they found is kept."""
        for line in tuple(self.busy):
            while line in self.busy and line.poll():
                try:
                    sent = line.recv()
                except (EOFError, OSError):
                    self.busy.remove(line)
                    break
                if isinstance(sent, dict):
                    self.found |= sent
                    self.busy.remove(line)
                else:
                    yield sent


@contextmanager
def _helpers(jobs: Sequence[Job[T]], shared: Sequence[int], many: int) -> Iterator[_Helpers[T]]:
    """Helpers for as long as they are needed; none is left, whatever happens."""
    context = get_context("fork") if many > 0 else None
    meet = context.Array("i", 2) if context else _Alone()
    lines: list[Connection] = []
    made: list[ForkProcess] = []
    try:
        for _ in range(many):
            assert context is not None
            mine, its = context.Pipe(duplex=False)
            lines.append(mine)
            one = context.Process(
                target=_help, args=(jobs, shared, meet, its, tuple(lines)), daemon=True
            )
            one.start()
            its.close()
            made.append(one)
        yield _Helpers(shared, meet, list(lines), {})
    finally:
        for one in made:
            one.terminate()
            one.join()
        for line in lines:
            line.close()


class _Alone(list[int]):
    """What is shared where nobody helps."""

    def __init__(self) -> None:
        super().__init__((0, 0))

    @contextmanager
    def get_lock(self) -> Iterator[None]:
        yield


def _next(meet: Any, end: int, many: int) -> int | None:
    """The next job from the front (0) or the back (1)."""
    with meet.get_lock():
        if meet[0] + meet[1] >= many:
            return None
        meet[end] += 1
        return int(meet[0] - 1 if end == 0 else many - meet[1])


def _help(
    jobs: Sequence[Job[T]], shared: Sequence[int], meet: Any, line: Connection,
    others: Sequence[Connection],
) -> None:  # fmt: skip
    """Work from the back; ends by itself when nobody listens any more."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # this process is told by the one it helps
    signal.signal(signal.SIGTERM, signal.SIG_DFL)
    for one in others:
        one.close()

    def said(what: str, done: int, of: int) -> None:
        try:
            line.send((what, done, of))
        except OSError:
            os._exit(1)

    found: dict[int, T] = {}
    while (at := _next(meet, 1, len(shared))) is not None:
        try:
            found[shared[at]] = jobs[shared[at]](said)
        except Exception:  # done again by the process that can tell of it
            continue
    try:
        line.send(found)
    except Exception:  # what cannot be sent is done there
        os._exit(1)
