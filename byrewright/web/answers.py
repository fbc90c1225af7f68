"""Answers of the studies: asked once for each file, worked out in a thread, with progress.

This is the one place where pages meet studies. A study is added by one line in `STUDIES`.
"""

from __future__ import annotations

import threading
import traceback
from collections import OrderedDict
from collections.abc import Callable, Hashable, Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Literal, cast

from byrewright.documents.format import System
from byrewright.errors import ByrewrightError
from byrewright.results import Result
from byrewright.web.folder import Opened

if TYPE_CHECKING:
    from byrewright.documents.shapes import Layout
    from byrewright.documents.sheets import Sheet
    from byrewright.studies.routes.turn import Turned
    from byrewright.web.frame import Visit
    from byrewright.web.markup import Html

KEPT = 120
WORKERS = 2
PARTS = 100
"""Steps in which a study's progress is told."""
State = Literal["waits", "works", "done", "failed", "stopped"]


class Stopped(Exception):
    """Somebody asked to stop; raised inside the work at its next step."""


@dataclass
class Job:
    """One piece of work: how far it is, and what came of it."""

    what: str = ""
    done: int = 0
    total: int = 0
    state: State = "waits"
    value: Any = None
    problem: str = ""
    cancel: threading.Event = field(default_factory=threading.Event)
    ended: threading.Event = field(default_factory=threading.Event)
    shares: int = 0
    """How many visitors wait for it."""

    def say(self, what: str, done: int = 0, total: int = 0) -> bool | None:
        """Note a step; stops the work when that was asked for."""
        if self.cancel.is_set():
            raise Stopped
        self.what, self.done, self.total = what, done, total
        return None

    @property
    def over(self) -> bool:
        """Whether it will not change any more."""
        return self.ended.is_set()


class Share:
    """One visitor's part in work that others may wait for too.

    Leaving it stops the work only when nobody else is left; to the one who left it is stopped.
    """

    def __init__(self, job: Job) -> None:
        self._job = job
        self._left = self._waits = False

    what = property(lambda self: self._job.what)
    done = property(lambda self: self._job.done)
    total = property(lambda self: self._job.total)
    value = property(lambda self: self._job.value)
    problem = property(lambda self: self._job.problem)

    @property
    def state(self) -> State:
        """How it is, as this visitor sees it."""
        return "stopped" if self._left and self._job.state != "done" else self._job.state

    @property
    def over(self) -> bool:
        """Whether it will not change any more."""
        return self._left or self._job.over

    def wait(self, limit_s: float | None = None) -> bool:
        """Wait until the work has ended; whether it has."""
        return self._job.ended.wait(limit_s)

    def join(self) -> None:
        """This visitor waits for it."""
        if not self._waits:
            self._waits = True
            self._job.shares += 1

    def leave(self) -> None:
        """This visitor does not want it any more."""
        if self._left or self._job.over:
            return
        self._left = True
        self._job.shares -= self._waits
        if self._job.shares <= 0:
            self._job.cancel.set()


Work = Callable[[Job], Any]


class Answers:
    """Answers kept by what was asked, the least used forgotten first."""

    def __init__(self) -> None:
        # Here, where there is one thread: two that each begin with a part of it wait for each other
        # until Python gives one of them an error.
        import scipy.optimize  # noqa: F401

        self._jobs: OrderedDict[Hashable, Job] = OrderedDict()
        self._lock = threading.Lock()
        self._quick = ThreadPoolExecutor(WORKERS, thread_name_prefix="quick")
        self._long = ThreadPoolExecutor(WORKERS, thread_name_prefix="long")

    def ask(self, key: Hashable, work: Work, *, long: bool = False) -> Share:
        """The job of a question: the one under way or done, or a new one.

        `long` work has threads of its own, so that nobody waits for a drawing behind it.
        """
        with self._lock:
            job = self._jobs.get(key)
            again = job is not None and (job.state in ("failed", "stopped") or job.cancel.is_set())
            if job is not None and not again:
                self._jobs.move_to_end(key)
                return Share(job)
            job = self._jobs[key] = Job()
            while len(self._jobs) > KEPT:
                self._jobs.popitem(last=False)
            share = Share(job)
        (self._long if long else self._quick).submit(_run, job, work)
        return share

    def at_once(self, key: Hashable, make: Callable[[], Any]) -> Any:
        """What `make` gives, made here and now the first time and kept: for what takes
        milliseconds and is the same for every visitor."""
        with self._lock:
            job = self._jobs.get(key)
            if job is not None:
                self._jobs.move_to_end(key)
                return job.value
        job = Job(state="done", value=make())
        job.ended.set()
        with self._lock:
            self._jobs[key] = job
            while len(self._jobs) > KEPT:
                self._jobs.popitem(last=False)
        return job.value

    def known(self, key: Hashable) -> Share | None:
        """The work of a question, where it was asked before."""
        with self._lock:
            job = self._jobs.get(key)
            return Share(job) if job is not None and not job.cancel.is_set() else None

    def study(self, name: str, opened: Opened) -> Share:
        """The answer of a study for a plant."""
        work = STUDIES[name]
        return self.ask((name, opened.key), lambda job: work(opened, job), long=name in LONG)

    def end(self) -> None:
        """Let go of the threads, without waiting for work under way."""
        with self._lock:
            for job in self._jobs.values():
                job.cancel.set()
        for pool in (self._quick, self._long):
            pool.shutdown(wait=False, cancel_futures=True)


def _run(job: Job, work: Work) -> None:
    job.state = "works"
    try:
        job.say("")
        job.value = work(job)
        job.state = "done"
    except Stopped:
        job.state = "stopped"
    except ByrewrightError as error:
        job.state, job.problem = "failed", str(error)
    except Exception as error:  # a fault of the program: told to people in one sentence
        traceback.print_exc()
        job.state, job.problem = "failed", f"{type(error).__name__}: {error}"
    finally:
        job.ended.set()


# the studies -------------------------------------------------------------------------------


def _sizing(opened: Opened, job: Job) -> Result:
    from byrewright.studies.sizing import size

    return size(opened.plant, opened.rules)


def _routes(opened: Opened, job: Job) -> Any:
    """The routes study itself: scenes, hits and the table, worked out here and kept."""
    from byrewright.standards.rulebook import Rulebook
    from byrewright.studies.routes.study import Routes

    study = Routes(opened.plant, opened.rules or Rulebook())
    for what in ("scenes", "hits", "best", "table"):
        job.say(what)
        getattr(study, what)
    return study


def _failures(opened: Opened, job: Job) -> Result:
    from byrewright.studies.failures.cuts import Cancelled
    from byrewright.studies.failures.study import study_failures

    def tell(what: str, done: int, total: int) -> bool:
        if job.cancel.is_set():
            return True
        job.say(what, done, total)
        return False

    try:
        return study_failures(opened.plant, opened.rules, say=tell)
    except Cancelled:
        raise Stopped from None


def _tests(opened: Opened, job: Job) -> Any:
    """The checks of the plant as installed."""
    from byrewright.site.checks.measured import bench_of
    from byrewright.standards.rulebook import Rulebook

    job.say("table")
    return bench_of(opened.path, opened.plant, opened.rules or Rulebook())


def _call(opened: Opened, job: Job) -> Any:
    """What a caller is led by."""
    from byrewright.site.callout.guide import guide_of
    from byrewright.standards.rulebook import Rulebook

    job.say("table")
    try:
        return guide_of(opened.plant, opened.rules or Rulebook())
    except ValueError as error:
        raise ByrewrightError(str(error)) from None


def _year(opened: Opened, job: Job) -> Any:
    """What machines wear in a simulated year."""
    from byrewright.site.upkeep.year import year_of
    from byrewright.standards.rulebook import Rulebook

    def tell(what: str, done: int, total: int) -> bool:
        if job.cancel.is_set():
            raise Stopped
        job.say(what, done, total)
        return False

    return year_of(opened.plant, opened.rules or Rulebook(), tell)


STUDIES: dict[str, Callable[[Opened, Job], Any]] = {
    "sizing": _sizing,
    "routes": _routes,
    "failures": _failures,
    "tests": _tests,
    "call": _call,
    "year": _year,
}
"""Name to the call of the study."""
LONG = frozenset({"routes", "failures", "tests", "call", "year"})


def proof(answers: Answers, opened: Opened, study: Any) -> Share:
    """The whole result of the routes study (`Result`), from what was worked out already."""
    from byrewright.studies.routes.study import report

    def work(job: Job) -> Result:
        def say(text: str) -> None:
            job.say(text)

        return report(study, say=say)

    return answers.ask(("proof", opened.key), work, long=True)


def flows(answers: Answers, opened: Opened, mode: str, wrong: Mapping[str, str]) -> Turned:
    """Where fluids go in a mode with some machines turned by hand (`routes.turn.Turned`)."""
    from byrewright.engine.liquids import liquids_of
    from byrewright.studies.routes.network import network
    from byrewright.studies.routes.questions import scene
    from byrewright.studies.routes.turn import turn

    net = _kept(answers, ("network", opened.digest), lambda job: network(opened.plant))
    made = _kept(
        answers, ("scene", opened.digest, mode), lambda job: scene(opened.plant, mode, net)
    )
    assert opened.rules is not None
    return turn(opened.plant, mode, wrong, net, made, liquids_of(opened.plant, opened.rules))


def _kept(answers: Answers, key: Hashable, work: Work) -> Any:
    job = answers.ask(key, work)
    job.wait()
    if job.state != "done":
        raise ByrewrightError(job.problem)
    return job.value


def laid_out(answers: Answers, opened: Opened, sheet: str, units: System = "metric") -> Share:
    """A sheet's layout for the screen (`documents.shapes.Layout`)."""
    from byrewright.web.drawing import layout

    return answers.ask(("layout", opened.digest, sheet, units),
                       lambda job: layout(opened.plant, sheet, units))  # fmt: skip


def sheets(answers: Answers, opened: Opened) -> tuple[Sheet, ...]:
    """The sheets of a plant."""
    from byrewright.documents.schematic import sheets_for

    made = answers.at_once(("sheets", opened.digest), lambda: tuple(sheets_for(opened.plant)))
    return cast("tuple[Sheet, ...]", made)


def drawn(v: Visit, laid: Layout, sheet: str, box_id: str, label: str) -> Html:
    """A drawing to touch (`drawing.drawing`), made once for all who read it alike."""
    from byrewright.web.drawing import drawing

    opened = v.opened
    assert opened is not None
    key = ("drawing", opened.digest, sheet, v.units, v.t.language, box_id, label)
    made = v.site.answers.at_once(key, lambda: drawing(opened.plant, laid, box_id, v.t, label))
    return cast("Html", made)


@dataclass(frozen=True)
class DayAnswer:
    """A simulated day: the study's result, and the run's moments and turns for the playing."""

    result: Result
    moments: list[Any]
    turns: list[tuple[list[Any], float] | None]
    clock: Callable[[float], str]
    cows: Any


def day(answers: Answers, opened: Opened, month: int, seed: int = 1) -> Share:
    """The day of a plant in a month (`DayAnswer`)."""

    def work(job: Job) -> DayAnswer:
        from byrewright.standards.rulebook import default_rulebook
        from byrewright.studies.day.moments import cows_milked, moments, turns
        from byrewright.studies.day.study import report, simulate_days

        def tell(word: str, share: float) -> None:
            job.say(word, round(share * PARTS), PARTS)

        rules = opened.rules or default_rulebook()
        run = simulate_days(opened.plant, rules, month=month, seed=seed, progress=tell)
        found = moments(run)
        decks = [turns(run, i) for i in range(len(run.sessions))]
        return DayAnswer(report(run, rules), found, decks, run.clock, cows_milked(run))

    return answers.ask(("day", opened.key, month, seed), work, long=True)


def failure_trace(answers: Answers, opened: Opened, event: str, moment: str) -> Share:
    """The timeline of one failure at one moment (`studies.failures.trace.Trace`)."""
    from byrewright.studies.failures.trace import trace

    key = ("trace", opened.key, event, moment)
    return answers.ask(key, lambda job: trace(opened.plant, event, opened.rules, moment=moment))


@dataclass(frozen=True)
class Placed:
    """A plan and what can be judged on it, with the plant as the plan lays it."""

    plant: Any
    made: Any
    result: Result

    @classmethod
    def of(cls, plant: Any, rules: Any) -> Placed:
        """The plan of a plant (`plant.sited.Sited`); one is drafted where the file has none."""
        from byrewright.plant.sited import laid_out, sited, with_place
        from byrewright.studies.place import study_place

        laid = laid_out(with_place(plant))
        made = sited(laid)
        return cls(laid, made, study_place(laid, rules, mend=False))


def placed(answers: Answers, opened: Opened) -> Share:
    """The plan of a plant file (`Placed`)."""
    return answers.ask(("placed", opened.key), lambda job: Placed.of(opened.plant, opened.rules))
