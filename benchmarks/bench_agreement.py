"""Random briefs through sizing, vacuum, the day and single failures: every quantity told twice is
compared.

    python benchmarks/bench_agreement.py [how many] [first seed]

Failures cost most: of every fourth brief (cups, milk lost, generator and its start, wash return).

Prints each pair that disagrees, and how often each did. Ends with 1 when one does. Seeds begin
after those that may be looked at while tuning.
"""

from __future__ import annotations

import sys
import time
from collections import Counter
from collections.abc import Sequence
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from benchmarks.briefs import TUNING, random_brief
from byrewright.drafting.draft import draft_plant
from byrewright.errors import ByrewrightError
from byrewright.plant.brief import read_brief_text
from byrewright.standards.rulebook import default_rulebook
from byrewright.studies.every import STUDIES
from byrewright.studies.told_once import Disagreement, disagreements

ASKED = ("sizing", "vacuum", "day")
FAILURES_EVERY = 4
HOW_MANY = 300


def compared(seed: int, asked: Sequence[str] = ASKED) -> list[Disagreement]:
    """The disagreements of one random brief's draft, among the studies asked.

    Raises:
        ByrewrightError: the brief cannot be drafted.
    """
    rules = default_rulebook()
    plant = draft_plant(read_brief_text(random_brief(seed)), rules).plant
    return list(disagreements({name: STUDIES[name](plant, rules) for name in asked}))


def main() -> int:
    """Compare, print, and say how many disagree."""
    many = int(sys.argv[1]) if len(sys.argv) > 1 else HOW_MANY
    first = int(sys.argv[2]) if len(sys.argv) > 2 else TUNING + 1
    counts: Counter[str] = Counter()
    refused, begun = 0, time.perf_counter()
    for seed in range(first, first + many):
        try:
            dear = ("failures",) if (seed - first) % FAILURES_EVERY == 0 else ()
            found = compared(seed, (*ASKED, *dear))
        except ByrewrightError as error:
            refused += 1
            print(f"{seed}: not drafted: {error}")
            continue
        for one in found:
            counts[one.quantity.name] += 1
            print(f"{seed}: {one}", flush=True)
    took = time.perf_counter() - begun
    print(f"{many} briefs in {took:.0f} s, {refused} not drafted; disagreements: {dict(counts)}")
    return 1 if counts else 0


if __name__ == "__main__":
    raise SystemExit(main())
