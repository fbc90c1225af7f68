"""Work of a draft side by side, in worker processes of the standard library's pool.

Workers are begun afresh (`forkserver`), never forked from this process, so that its threads do no
harm: pages draft with them, too. What a study keeps for a plant stays in the worker that was asked.
Where there is one core, all is done here, with the same answers.
"""

from __future__ import annotations

import gc
import os
import pickle
import signal
import sys
import threading
from collections.abc import Callable, Generator, Iterator, Mapping, Sequence
from concurrent.futures import BrokenExecutor, Future, ProcessPoolExecutor, wait
from contextlib import contextmanager
from functools import lru_cache, partial
from multiprocessing import get_context
from multiprocessing.connection import Connection
from typing import Any, TypeVar

from byrewright.studies.failures.cuts import Cancelled

S = TypeVar("S")
K = TypeVar("K")
T = TypeVar("T")
Say = Callable[[str, int, int], bool | None]
"""Told what is done now, its number, and of how many; an answer of True stops the work."""
MOST_CORES = 4
"""Processes at most: each holds some hundred megabytes of its own."""
POLL_S = 0.2
"""How often it is told that a worker is still at work: a stop is heard as soon."""
READY = [
    "byrewright.drafting.gives", "byrewright.studies.day", "byrewright.studies.vacuum",
    "byrewright.studies.place", "byrewright.studies.failures.study",
]  # fmt: skip
"""What a worker is going to need: loaded while this process still sizes."""


def cores() -> int:
    """Processes that may work at once."""
    if sys.platform != "linux":
        return 1
    return max(1, min(MOST_CORES, len(os.sched_getaffinity(0))))


def tell(say: Say | None, what: str, done: int, of: int) -> None:
    """Tell what is done now.

    Raises:
        Cancelled: the answer is to stop.
    """
    if say is not None and say(what, done, of) is True:
        raise Cancelled("The draft was stopped; no file was written.")


class Workers:
    """Processes that work for a draft; all end with it, or with the process that it runs in."""

    def __init__(self, many: int) -> None:
        self.many = many
        context = get_context("forkserver")
        context.set_forkserver_preload(READY)
        self._ends, self._line = context.Pipe(duplex=False)
        self._pool = ProcessPoolExecutor(
            many, context, initializer=_begin, initargs=(self._ends, gc.get_threshold())
        )
        self._busy: set[Future[Any]] = set()
        # The first worker is waited for until all is loaded: not here.
        threading.Thread(target=self._first, daemon=True).start()

    def _first(self) -> None:
        self.ask(os.getpid)

    def ask(self, work: Callable[..., T], *given: Any) -> Future[T]:
        """What a worker finds, as soon as it does."""
        try:
            asked: Future[T] = self._pool.submit(work, *given)
        except (RuntimeError, OSError) as error:  # broken, or no worker can be begun
            asked = Future()
            asked.set_exception(BrokenExecutor(str(error)))
            return asked
        self._busy.add(asked)
        asked.add_done_callback(self._busy.discard)
        return asked

    @property
    def idle(self) -> int:
        """Workers that nothing is asked of."""
        return max(0, self.many - len(self._busy))

    def end(self) -> None:
        """End all of them, whatever they do."""
        # What is left undone first: a pool that breaks stumbles over what was cancelled.
        self._pool.shutdown(wait=False, cancel_futures=True)
        self._line.close()
        self._ends.close()


@contextmanager
def workers(many: int) -> Iterator[Workers | None]:
    """Workers for as long as they are needed; none where there is one core."""
    if many < 2:
        yield None
        return
    made = Workers(many)
    try:
        yield made
    finally:
        made.end()


def _begin(ends: Connection, collects: tuple[int, int, int]) -> None:
    """How a worker begins: Ctrl-C is for the process that it works for."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    gc.set_threshold(*collects)
    threading.Thread(target=_end_with, args=(ends,), daemon=True).start()


def _end_with(ends: Connection) -> None:
    """End as soon as nobody holds the other end of the line."""
    try:
        ends.recv()
    except (EOFError, OSError):
        os._exit(0)


def packed(about: object) -> bytes:
    """What is asked about, to be sent to workers any number of times."""
    return pickle.dumps(about, pickle.HIGHEST_PROTOCOL)


@lru_cache(maxsize=4)
def _unpacked(about: bytes) -> Any:
    """The same object for the same bytes: studies keep what they found with it."""
    return pickle.loads(about)


def answer(work: Callable[[S, K], T], about: bytes, item: K) -> T:
    """What a worker is asked."""
    return work(_unpacked(about), item)


def heard(asked: Future[T], here: Callable[[], T], say: Callable[[], None]) -> T:
    """What a worker found; done here where it could not."""
    while not wait((asked,), POLL_S).done:
        say()
    try:
        return asked.result()
    except BrokenExecutor:
        return here()


def side_by_side(
    work: Callable[[S, K], T], about: S, items: Sequence[K],
    told: Callable[[K], tuple[str, int, int]], *, at_work: Workers | None = None,
    say: Say | None = None, here: Mapping[K, Callable[[], T]] | None = None,
) -> Generator[T]:  # fmt: skip
    """What the work finds of each item, in their order; what nobody waits for is left undone.

    Args:
        told: what is told of an item.
        here: items that this process does, each in its own way, as they leave something behind.

    Raises:
        Cancelled: `say` answered True.
    """
    here = here or {}

    def alone(item: K) -> T:
        return here[item]() if item in here else work(about, item)

    if at_work is None or len(items) < 2:
        for item in items:
            tell(say, *told(item))
            yield alone(item)
        return
    sent = packed(about)
    # The last take longest.
    asked = {
        item: at_work.ask(answer, work, sent, item) for item in reversed(items) if item not in here
    }
    try:
        mine = {}
        for item in here:
            tell(say, *told(item))
            mine[item] = alone(item)
        for item in items:
            if item in mine:
                yield mine[item]
                continue
            tell(say, *told(item))
            yield heard(asked[item], partial(alone, item), partial(tell, say, *told(item)))
    finally:
        for one in asked.values():
            one.cancel()
