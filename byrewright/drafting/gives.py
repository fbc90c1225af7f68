"""What would have to give: the least change of one wish alone with which a draft closes, or that
mends the most of what fails; and which wishes close it together.

Each is proven by drafting again.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import TYPE_CHECKING

from byrewright.drafting.close import Closing, close, fails
from byrewright.drafting.cores import Say, side_by_side
from byrewright.drafting.draft import Draft, region_held, text_of
from byrewright.drafting.levers import LEVERS, UNORDERED, Lever, Step, joined
from byrewright.errors import ByrewrightError
from byrewright.standards.rulebook import Rulebook, default_rulebook

if TYPE_CHECKING:
    from byrewright.plant.brief import Brief, BriefFile


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
    brief: Brief, rules: Rulebook, now: Closing, *, say: Say | None = None
) -> tuple[Give, ...]:
    """For each wish that may mend what is open, the least change of it alone that mends most; and
    where none mends all, those that do together.

    A change is looked for with the studies that failed, and proven with all of them.

    Raises:
        Cancelled: `say` answered True.
    """
    search = _Search(brief, rules, now, say)
    found: list[Give] = []
    apart = [lever for lever in LEVERS if not lever.last]
    for lever, least in zip(
        apart, side_by_side([partial(search.least, lever, ()) for lever in apart], say), strict=True
    ):
        found += search.given(lever, least)
    for lever in LEVERS:
        if lever.last:
            found += search.given(lever, search.least(lever, found, say))
    both = search.together(found)
    return (*found, both) if both else tuple(found)


def closed_draft(
    brief_file: BriefFile, rules: Rulebook | None = None, *, say: Say | None = None
) -> Draft:
    """The plant of a brief, mended until every study holds; else what would have to give.

    Raises:
        Cancelled: `say` answered True.
        ByrewrightError: the brief asks for something that cannot be drafted.
    """
    rules = rules or default_rulebook()
    region_held(brief_file, rules)
    now = close(brief_file.brief, rules, say=say)
    found = gives(brief_file.brief, rules, now, say=say) if now.open else ()
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
    return f"{give.words} (mends {len(give.mends)} of the {len(now.open)} that fail)"


@dataclass(frozen=True, slots=True)
class Outcome:
    """What no longer fails with a step; and what of it counts, as nothing new fails instead."""

    mended: frozenset[str]
    touched: frozenset[str]
    then: Closing | None = None
    """The draft with the step."""

    cut_short: bool = False
    """Whether sizing alone was asked, as it showed that the step does not do."""


@dataclass(frozen=True, slots=True)
class _Search:
    """What the search for the least change of a wish works with."""

    brief: Brief
    rules: Rulebook
    now: Closing
    say: Say | None

    def least(
        self, lever: Lever, found: Sequence[Give], say: Say | None
    ) -> tuple[int, frozenset[str]] | None:
        """The number of the least step that mends the most of what a wish answers for, and what it
        mends. A wish that comes last answers for nothing that one of those `found` mends."""
        mine = frozenset(f.name for f in self.now.open if f.name.startswith(lever.mends))
        if lever.last:
            mine -= frozenset().union(*(g.mends for g in found))
        if not mine:
            return None
        one = replace(self, say=say)
        steps = lever.steps(self.brief, self.now)
        failed = [n for n, r in self.now.asked.items() if any(f.name in mine for f in fails(r))]
        tried: dict[int, Outcome] = {}

        def mends(at: int, needs: frozenset[str] = frozenset()) -> frozenset[str]:
            if at not in tried:
                tried[at] = one._outcome(steps[at], failed, needs=needs)
            return tried[at].mended & mine

        most, low, high = frozenset[str](), -1, len(steps) - 1
        can = frozenset[str]()
        for needs_all in (True, False):
            for at in _order(lever, len(steps)):
                if len(mends(at, can if needs_all else frozenset())) > len(most):
                    most, high = mends(at), at
                    low = max((n for n in tried if n < at), default=-1)
                farthest = lever.wish not in UNORDERED and at == len(steps) - 1
                if farthest:
                    can = tried[at].touched & mine
                if most == mine or (farthest and most == can):
                    break  # a lesser step does more only where this one made something else fail
            if most or not can:
                break
            tried = {at: found for at, found in tried.items() if not found.cut_short}
        if not most:
            return None
        if lever.wish not in UNORDERED:
            while high - low > 1:
                middle = (low + high) // 2
                low, high = (low, middle) if mends(middle, most) >= most else (middle, high)
        for at in range(high, min(high + PROOFS, len(steps))):
            if mends(at, most) >= most:
                proven = one._outcome(steps[at], None, tried[at].then).mended
                if proven >= most:
                    return at, proven
        return None

    def given(self, lever: Lever, least: tuple[int, frozenset[str]] | None) -> tuple[Give, ...]:
        """The least step of a wish in words, where one was found."""
        if least is None:
            return ()
        at, proven = least
        steps = lever.steps(self.brief, self.now)
        step, further = steps[at], tuple(steps[at + 1 :])
        return (Give(lever.wish, step.words, step.change, proven, lever.mends, further),)

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
            outcome = self._outcome(step, None, start)
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

    def _outcome(
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
            )  # fmt: skip
        except ByrewrightError:  # too far: no machine is made for it
            return Outcome(frozenset(), known)
        left = frozenset(f.name for f in then.open)
        if needs & left and set(then.asked) == {"sizing"}:
            return Outcome(frozenset(), frozenset(), then, cut_short=True)
        return Outcome(known - left if left <= known else frozenset(), known - left, then)


RAISES = (1, 2, 4, 8, 8)
"""Steps by which wishes that give together go further, from try to try."""
PROOFS = 3
"""Steps upward that are proven where the least one fails a study that had not been asked."""


def _order(lever: Lever, many: int) -> Iterator[int]:
    """The steps in the order in which they are tried: the farthest, as most mends most; then, where
    something new fails with that, from the least on in strides that double."""
    if lever.wish in UNORDERED:
        yield from range(many)
        return
    if many:
        yield many - 1
    at = 0
    while at < many - 1:
        yield at
        at = 2 * at + 1
