"""What would have to give: the least change of one wish alone with which a draft closes, or that
mends the most of what fails; and which wishes close it together.

Each is proven by drafting again.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, replace
from functools import partial
from typing import TYPE_CHECKING, TypeVar

from byrewright.drafting.checks import fails
from byrewright.drafting.close import STEPS, Closing, close, wanted
from byrewright.drafting.cores import Say, Workers, answer, heard, packed, tell, workers
from byrewright.drafting.draft import Draft, intent_of, paced, region_held, text_of
from byrewright.drafting.levers import LEVERS, UNORDERED, Lever, Step, joined
from byrewright.errors import ByrewrightError
from byrewright.standards.rulebook import Rulebook, default_rulebook

if TYPE_CHECKING:
    from byrewright.plant.brief import Brief, BriefFile

K = TypeVar("K")
T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Give:
    """The least change of a wish that mends, proven by every study, and what it mends."""

    wish: str
    words: str
    change: Callable[[Brief], Brief]
    mends: frozenset[str]
    covers: tuple[str, ...] = ()
    """What the wish may mend: beginnings of the names of findings."""
    further: tuple[Step, ...] = ()
    """The steps of the wish beyond this one."""

    def raised(self, by: int) -> Give:
        """The same wish, so many steps further."""
        step = self.further[:by][-1]
        return replace(self, words=step.words, change=step.change, further=tuple(self.further[by:]))


def gives(
    brief: Brief, rules: Rulebook, now: Closing, *, say: Say | None = None,
    at_work: Workers | None = None,
) -> tuple[Give, ...]:  # fmt: skip
    """For each wish that may mend what is open, the least change of it alone that mends most; and
    where none mends all, those that do together.

    A change is looked for with the studies that failed, and proven with all of them.

    Raises:
        Cancelled: `say` answered True.
    """
    search = _Search(brief, rules, now, Telling(say), at_work)
    if at_work is not None:
        bare = replace(search, now=replace(now, routed={}), at_work=None)
        search = replace(search, sent=packed(bare))
    found: list[Give] = []
    apart = [one for lever in LEVERS if not lever.last and (one := _Tries(search, lever, ())).mine]
    for one, least in zip(apart, search.each(apart), strict=True):
        found += one.proven(least)
    for lever in LEVERS:
        if lever.last and (one := _Tries(search, lever, found)).mine:
            found += one.proven(one.least())
    both = search.together(found)
    return (*found, both) if both else tuple(found)


def closed_draft(
    brief_file: BriefFile, rules: Rulebook | None = None, *, say: Say | None = None, many: int = 1
) -> Draft:
    """The plant of a brief, mended until every study holds; else what would have to give.

    Args:
        many: processes that work side by side; the plant is the same with any number. More than
            one begin this process's main module again: a script must guard what it does.

    Raises:
        Cancelled: `say` answered True.
        ByrewrightError: the brief asks for something that cannot be drafted.
    """
    rules = rules or default_rulebook()
    region_held(brief_file, rules)
    with workers(many) as at_work:
        now = close(brief_file.brief, rules, say=say, at_work=at_work)
        found = gives(brief_file.brief, rules, now, say=say, at_work=at_work) if now.open else ()
    settled = now.settled
    return Draft(
        settled.plant, text_of(settled, brief_file), settled.sizing,
        (*brief_file.assumptions, *settled.loose()), settled.rounds, tuple(now.asked),
        tuple(now.changes), now.open, now.unjudged,
        tuple(_said(g, now) for g in found),
    )  # fmt: skip


def _said(give: Give, now: Closing) -> str:
    if len(give.mends) == len(now.open):
        return give.words
    return f"{give.words} (puts right {len(give.mends)} of the {len(now.open)} that fail)"


@dataclass(frozen=True, slots=True)
class Outcome:
    """What no longer fails with a step; and what of it counts, as nothing new fails instead."""

    mended: frozenset[str]
    touched: frozenset[str]
    then: Closing | None = None
    """The draft with the step."""

    cut_short: bool = False
    """Whether not all was asked, as one study showed that the step does not do."""


class Telling:
    """What several threads tell, one after another; once it is stopped, it is for all of them."""

    def __init__(self, say: Say | None) -> None:
        self._say, self._lock, self.stopped = say, threading.Lock(), False

    def __reduce__(self) -> tuple[type[Telling], tuple[None]]:
        """Nobody listens in another process."""
        return Telling, (None,)

    def __call__(self, what: str, done: int, of: int) -> bool:
        with self._lock:
            if not self.stopped and self._say is not None:
                self.stopped = self._say(what, done, of) is True
            return self.stopped


@dataclass(frozen=True, slots=True)
class Try:
    """A step that is tried: of which wish, how far, with which studies, for what."""

    wish: str
    at: int
    only: tuple[str, ...]
    needs: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class _Search:
    """What the search for the least change of a wish works with."""

    brief: Brief
    rules: Rulebook
    now: Closing
    say: Telling
    at_work: Workers | None
    sent: bytes = b""
    """The same as workers are given it: without what they would have to send back."""

    @property
    def idle(self) -> int:
        """Workers that have nothing to do."""
        return self.at_work.idle if self.at_work else 0

    def step(self, wish: str, at: int) -> Step:
        """A step of a wish."""
        return next(a for a in LEVERS if a.wish == wish).steps(self.brief, self.now)[at]

    def each(self, tries: Sequence[_Tries]) -> list[tuple[int, frozenset[str]] | None]:
        """The least step of each wish, looked for side by side; a thread waits for each."""
        if self.at_work is None or len(tries) < 2:
            return [one.least() for one in tries]
        with ThreadPoolExecutor(len(tries)) as threads:
            try:
                return list(threads.map(_Tries.least, tries))
            except BaseException:
                self.say.stopped = True
                raise

    def together(self, found: Sequence[Give]) -> Give | None:
        """Wishes that mend together more than any of them alone, each of what is left: as few as
        may do."""
        every = frozenset(f.name for f in self.now.open)
        if len(found) < 2 or any(g.mends == every for g in found):
            return None
        some: list[Give] = []
        left, more = every, list(found)
        while left and more:
            best = max(more, key=lambda g: len(g.mends & left))
            if not best.mends & left:
                break
            some.append(best)
            more.remove(best)
            left -= best.mends
        while len(some) > 1:
            both = self._joined(some)
            if both and len(both.mends) > max(len(g.mends) for g in some):
                return both
            some.pop()
        return None

    def _joined(self, some: Sequence[Give]) -> Give | None:
        """Wishes that give together. Where one asks more of another than that gives by itself (a
        tank that is emptied daily cools faster, and draws more), the other goes further."""
        best, start = None, None
        for by in RAISES:
            step = joined([Step(g.words, g.change) for g in some])
            outcome = self.outcome(step, None, start)
            if len(outcome.mended) > len(best.mends if best else ()):
                wish = "+".join(g.wish for g in some)
                best = Give(wish, step.words, step.change, outcome.mended)
            start = outcome.then
            left = [f.name for f in start.open] if start else []
            more = [
                g.raised(by) if g.further and any(n.startswith(g.covers) for n in left) else g
                for g in some
            ]
            if more == some:
                break
            some = more
        return best

    def outcome(
        self, step: Step, only: Sequence[str] | None, start: Closing | None = None,
        needs: frozenset[str] = frozenset(),
    ) -> Outcome:  # fmt: skip
        """What a step does to what fails; `start` is a draft of it where there is one. It is of no
        use where one of `needs` still fails."""
        known = frozenset(f.name for f in self.now.open)
        try:
            then = close(
                step.change(self.brief), self.rules, say=self.say, only=only,
                start=start or self.now, told=f"would {step.words} do? ", needs=needs,
                at_work=self.at_work,
            )  # fmt: skip
        except ByrewrightError:  # too far: no machine is made for it
            return Outcome(frozenset(), known)
        left = frozenset(f.name for f in then.open)
        if then.cut_short:
            return Outcome(frozenset(), frozenset(), then, cut_short=True)
        return Outcome(known - left if left <= known else frozenset(), known - left, then)


def tried(search: _Search, one: Try) -> Outcome:
    """What a step does, as a worker is asked."""
    found = search.outcome(search.step(one.wish, one.at), one.only, needs=one.needs)
    return replace(found, then=replace(found.then, routed={})) if found.then else found


def late(search: _Search, one: tuple[str, int]) -> frozenset[str]:
    """What says that a milking is late with a step (-1: with the brief as it is), seen by the
    hours of milkings alone: no other figure than stalls and turn mends it."""
    wish, at = one
    brief, held = search.brief, search.now.held
    want = wanted(
        intent_of(search.step(wish, at).change(brief) if at >= 0 else brief, search.rules), held
    )
    failing = fails(paced(want, search.rules, {}, held)[2])
    names = {f.name.removeprefix(LATE) for f in failing if f.name.startswith(LATE)}
    return frozenset(begin + name for name in names for begin in (LATE, TOLD_BY_DAY))


LATE, TOLD_BY_DAY = "throughput.finished@", "day.milking_on_time@"
"""What sizing says of a milking's hours, and what the day says of the same cows."""


class _Tries:
    """The steps of one wish, what was found of them, and what they may mend."""

    def __init__(self, search: _Search, lever: Lever, given: Sequence[Give]) -> None:
        mine = frozenset(f.name for f in search.now.open if f.name.startswith(lever.mends))
        if lever.last:  # it answers for nothing that one of those given mends
            mine -= frozenset().union(*(g.mends for g in given))
        self.search, self.lever, self.mine = search, lever, mine
        self.ordered = lever.wish not in UNORDERED
        self.steps = lever.steps(search.brief, search.now) if mine else []
        short = {
            name: min((f.margin or 0.0 for f in fails(said) if f.name in mine), default=None)
            for name, said in search.now.asked.items()
        }
        failed = {name: margin for name, margin in short.items() if margin is not None}
        # What failed by most is asked first: it is the first to tell that a step does not do.
        self.failed = tuple(sorted(failed, key=lambda name: failed[name]))
        self.tried: dict[int, Outcome] = {}
        self.begun: dict[Try, Future[Outcome]] = {}

    def least(self) -> tuple[int, frozenset[str]] | None:
        """The number of the least step that mends the most of what the wish answers for, and what
        it mends: looked for with the studies that failed."""
        can, low, order = self._order()
        try:
            return self._least(can, low, order)
        finally:
            for one in self.begun.values():
                one.cancel()
            self.begun.clear()

    def _least(
        self, can: frozenset[str] | None, low: int, order: Sequence[int]
    ) -> tuple[int, frozenset[str]] | None:
        """See `_order`: what can be mended, the last step that is known not to, those to try."""
        most, high, far = frozenset[str](), len(self.steps) - 1, len(self.steps) - 1
        for needs_all in (True, False):
            for at, likely in zip(order, [*order[1:], None], strict=bool(order)):
                needs = can or frozenset() if needs_all else frozenset[str]()
                if len(mended := self._mends(at, needs, likely if can else None)) > len(most):
                    most, high = mended, at
                    low = max((n for n in self.tried if n < at), default=low)
                if can is None and self.ordered and at == far:
                    can = self.tried[at].touched & self.mine
                if most in (self.mine, can):
                    break  # a lesser step does more only where this one made something else fail
            if most or not can:
                break
            self.tried = {at: one for at, one in self.tried.items() if not one.cut_short}
        while most and self.ordered and high - low > 1:
            middle = (low + high) // 2
            does = self._mends(middle, most, (low + middle) // 2) >= most
            low, high = (low, middle) if does else (middle, high)
        return (high, most) if most else None

    def _order(self) -> tuple[frozenset[str] | None, int, list[int]]:
        """What can be mended where that is soon seen, the last step that is seen not to, and the
        steps to try in their order: the farthest first, as most mends most; then, where something
        new fails with that, from the least on in strides that double. Where milkings are late,
        their hours alone tell the first step with which they are not, and those from it on are
        tried."""
        far = len(self.steps) - 1
        timed = far >= 0 and bool(self.mine & self._late(-1))
        if not self.ordered:
            every = range(far + 1)
            return None, -1, [at for at in every if not timed or self.mine - self._late(at)]
        if not timed:
            return None, -1, [far, *_strides(0, far)] if far >= 0 else []
        never = self._late(far) & self.mine
        if never == self.mine:
            return never, far, []
        low, high = -1, far
        while high - low > 1:
            middle = (low + high) // 2
            does = self._late(middle) & self.mine <= never
            low, high = (low, middle) if does else (middle, high)
        return self.mine - never, low, [*_strides(high, far, NEAR), far]

    def _late(self, at: int) -> frozenset[str]:
        return self._heard(late, (self.lever.wish, at), at)

    def _mends(
        self, at: int, needs: frozenset[str] = frozenset(), likely: int | None = None
    ) -> frozenset[str]:
        """What of mine a step mends; the step likely to be asked of next is begun where a worker
        has nothing to do."""
        if at not in self.tried:
            one = Try(self.lever.wish, at, self.failed, needs)
            self._begin(one)
            if likely is not None and likely not in self.tried and self.search.idle:
                self._begin(replace(one, at=likely))
            self.tried[at] = self._heard(tried, one, at, self.begun.get(one))
        return self.tried[at].mended & self.mine

    def _begin(self, one: Try) -> None:
        at_work = self.search.at_work
        if at_work is not None and one not in self.begun:
            self.begun[one] = at_work.ask(answer, tried, self.search.sent, one)

    def _heard(
        self, work: Callable[[_Search, K], T], item: K, at: int, begun: Future[T] | None = None
    ) -> T:
        search = self.search
        if search.at_work is None:
            return work(search, item)
        begun = begun or search.at_work.ask(answer, work, search.sent, item)
        words = f"would {self.steps[at].words} do?" if at >= 0 else "what would have to give"
        return heard(begun, partial(work, search, item), partial(tell, search.say, words, 0, STEPS))

    def proven(self, least: tuple[int, frozenset[str]] | None) -> tuple[Give, ...]:
        """The least step of the wish in words, proven with all studies, where one was found."""
        if least is None:
            return ()
        first, most = least
        for at in range(first, min(first + PROOFS, len(self.steps))):
            if self._mends(at, most) >= most:
                step, then = self.steps[at], self.tried[at].then
                proven = self.search.outcome(step, None, then).mended
                if proven >= most:
                    further = tuple(self.steps[at + 1 :])
                    wish, covers = self.lever.wish, self.lever.mends
                    return (Give(wish, step.words, step.change, proven, covers, further),)
        return ()


NEAR = 4
"""Steps tried one by one where hours alone tell the first that may do: the least is near it."""
RAISES = (1, 2, 4, 8, 8)
"""Steps by which wishes that give together go further, from try to try."""
PROOFS = 3
"""Steps upward that are proven where the least one fails a study that had not been asked."""


def _strides(first: int, end: int, single: int = 2) -> Iterator[int]:
    """From a step on: so many one by one, then in strides that double."""
    at = 0
    while first + at < end:
        yield first + at
        at = at + 1 if at + 1 < single else 2 * at + 1
