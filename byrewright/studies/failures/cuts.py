"""Minimal cut sets of order one and two, by asking the structure function of every candidate.

Exact for those orders: every single and every pair is asked, except pairs that hold a cut of order
one (not minimal) and pairs that a proof on the graph shows to be independent (see `independent`).
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

Works = Callable[[tuple[Hashable, ...]], bool]
Progress = Callable[[str, int, int], bool | None]


class Cancelled(Exception):
    """Raised when the progress call answers True: stop."""


@dataclass(frozen=True, slots=True)
class Cuts:
    """What a search found: `asked` pairs were evaluated, `independent` ones proven not to cut."""

    ones: tuple[Hashable, ...]
    twos: tuple[tuple[Hashable, Hashable], ...]
    asked: int
    independent: int


def search(
    items: Sequence[Hashable],
    works: Works,
    *,
    order: int = 2,
    reads: Mapping[Hashable, int] | None = None,
    twice: Sequence[Hashable] = (),
    say: Progress | None = None,
) -> Cuts:
    """Minimal cuts up to an order.

    Args:
        items: what can fail, in order.
        works: whether the system works with some items failed; must be monotone (a further
            failure never mends it) and True with none failed.
        reads: for each item, a bit set of the requirements whose answer it can change. When the
            system works if and only if every requirement does, a pair of items that share no
            requirement cannot be a minimal cut, and an item with no bit is in none.
        twice: items that may fail two at a time (one of several alike).
        say: progress (what, done, of how many); stops the search when it answers True.

    Raises:
        Cancelled: the progress call asked to stop.

    >>> bridge = [{"a", "b"}, {"d", "e"}, {"a", "c", "e"}, {"b", "c", "d"}]
    >>> holds = lambda out: not any(cut <= set(out) for cut in bridge)
    >>> search("abcde", holds).twos
    (('a', 'b'), ('d', 'e'))
    """
    ones = []
    for done, item in enumerate(items):
        if say is not None and done % 50 == 0 and say("single failures", done, len(items)):
            raise Cancelled
        if (reads is None or reads[item]) and not works((item,)):
            ones.append(item)
    if order < 2:
        return Cuts(tuple(ones), (), 0, 0)
    cut = set(ones)
    rest = [i for i in items if i not in cut]
    pairs = [*combinations(rest, 2), *((i, i) for i in twice if i not in cut)]
    twos = []
    asked = 0
    for done, (a, b) in enumerate(pairs):
        if say is not None and done % 500 == 0 and say("pairs of failures", done, len(pairs)):
            raise Cancelled
        if reads is not None and not reads[a] & reads[b]:
            continue
        asked += 1
        if not works((a, b)):
            twos.append((a, b))
    return Cuts(tuple(ones), tuple(twos), asked, len(pairs) - asked)
