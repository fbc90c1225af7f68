"""How many random briefs become drafts that every study holds, and how long a draft takes.

    python benchmarks/bench_draft.py [briefs] [first seed]

A draft that does not close must name a wish that would have to give, with the least change that
was proven; one for which nothing is named is listed, for its drafting rule is to be mended.
"""

from __future__ import annotations

import sys
import time
from collections import Counter
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from benchmarks.briefs import TUNING, random_brief
from byrewright.drafting.gives import closed_draft
from byrewright.errors import ByrewrightError
from byrewright.plant.brief import read_brief_text
from byrewright.standards.rulebook import default_rulebook

BRIEFS = 40
GOAL_S = 40.0  # processor time of a draft, on one of two cores


def main(briefs: int, first: int) -> None:
    """Draft them and print what came of it."""
    rules = default_rulebook()
    closed = given = refused = 0
    spent: list[float] = []
    why: Counter[str] = Counter()
    for seed in range(first, first + briefs):
        began = time.process_time()
        try:
            draft = closed_draft(read_brief_text(random_brief(seed)), rules)
        except ByrewrightError as error:
            refused += 1
            print(f"{seed}: refused: {error}", flush=True)
            continue
        took = time.process_time() - began
        spent.append(took)
        closed += not draft.open
        given += bool(draft.open and draft.gives)
        why.update({f.key for f in draft.open})
        say = "closes" if not draft.open else f"{len(draft.open)} open"
        print(f"{seed}: {say}, {len(draft.changes)} figures mended, {took:.0f} s", flush=True)
        for one in draft.open[:4]:
            print(f"    {one.name}: {one.sentence[:160]}")
        for words in draft.gives:
            print(f"    would do: {words}")
    print(f"\n{briefs} briefs from seed {first}: {closed} close ({closed / briefs:.0%}), {given} "
          f"name what would have to give, {briefs - closed - given - refused} name nothing, "
          f"{refused} refused.")  # fmt: skip
    if spent:
        over = sum(s > GOAL_S for s in spent)
        print(f"Processor time: median {sorted(spent)[len(spent) // 2]:.0f} s, most "
              f"{max(spent):.0f} s; {over} over {GOAL_S:g} s.")  # fmt: skip
    for key, count in why.most_common():
        print(f"    {count:3d} {key}")


if __name__ == "__main__":
    main(*(int(a) for a in (sys.argv[1:] + [str(BRIEFS), str(TUNING + 1)][len(sys.argv) - 1 :])))
