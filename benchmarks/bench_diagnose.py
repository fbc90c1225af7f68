"""Faults put into drafted plants and looked for: is the right cause first, and how soon.

    python benchmarks/bench_diagnose.py                # 500 single faults, 100 pairs, 100 sound
    python benchmarks/bench_diagnose.py --small        # fewer, on one plant
    python benchmarks/bench_diagnose.py --tuning       # seeds that may be looked at while tuning

Plants are drafts of random briefs (sized, not held by every study). A fault is drawn by the root
of its rate, and how far it went evenly between its slightest and its gravest grade. Where faults
cannot be told apart their group counts. What went so little that all readings of the plant together
do not tell it from a sound plant or from another fault (four standard deviations) is counted apart.
"""

from __future__ import annotations

import argparse
import os
import sys
import time
from collections import Counter
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # as the command does
import numpy as np

ROOT = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(ROOT))

from benchmarks.briefs import TUNING, random_brief  # noqa: E402
from benchmarks.faulty import Faulty  # noqa: E402
from byrewright.drafting.draft import draft_plant  # noqa: E402
from byrewright.errors import ByrewrightError  # noqa: E402
from byrewright.plant.brief import read_brief_text  # noqa: E402
from byrewright.plant.read import read_plant_text  # noqa: E402
from byrewright.site.condition.infer import NONE  # noqa: E402
from byrewright.standards.rulebook import default_rulebook  # noqa: E402

WANTED = {
    "right cause first": 90.0, "right cause within three": 98.0, "no fault said": 95.0,
    "one of two first": 90.0,
}  # fmt: skip


def plants(first: int, many: int) -> list[tuple[int, Faulty]]:
    """Drafts of random briefs, from a seed on; briefs that cannot be drafted are passed over."""
    found: list[tuple[int, Faulty]] = []
    seed, rules = first, default_rulebook()
    while len(found) < many:
        try:
            text = draft_plant(read_brief_text(random_brief(seed)), rules).text
            began = time.perf_counter()
            one = Faulty(read_plant_text(text).sound(), rules)
        except ByrewrightError as error:
            print(f"seed {seed}: passed over: {str(error)[:80]}")
            seed += 1
            continue
        told = f"{len(one.home)} faults that readings tell of in {len(one.model.groups)} groups"
        print(f"seed {seed}: {told}, {len(one.model.hidden)} that none does; "
              f"matrix {time.perf_counter() - began:.1f} s", flush=True)  # fmt: skip
        found.append((seed, one))
        seed += 1
    return found


def main() -> int:
    """Run it and print the table; 1 where something wanted is missed."""
    ask = argparse.ArgumentParser(description=__doc__)
    ask.add_argument("--small", action="store_true")
    ask.add_argument("--tuning", action="store_true")
    ask.add_argument("--cases", type=int, default=0)
    ask.add_argument("--plants", type=int, default=0)
    ask.add_argument("--first", type=int, default=TUNING + 7400, help="the first brief's seed")
    asked = ask.parse_args()
    first = 100 if asked.tuning else asked.first
    many = asked.plants or (1 if asked.small else 8)
    single = asked.cases or (30 if asked.small else 500)
    other = max(6, single // 5)
    every = plants(first, many)
    rng = np.random.default_rng(first)
    score: Counter[str] = Counter()
    minutes: list[float] = []
    steps: list[int] = []
    began = time.perf_counter()
    for kind, cases in (("single", single), ("sound", other), ("two", other)):
        for i in range(cases):
            seed, plant = every[i % len(every)]
            faults = sorted(plant.home)
            count = {"single": 1, "sound": 0, "two": 2}[kind]
            often = np.array([plant.model.matrix.faults[k].a_year ** 0.5 for k in faults])
            drawn = [int(k) for k in rng.choice(faults, count, replace=False,
                                                p=often / often.sum())]  # fmt: skip
            told = plant.run(drawn, rng)
            if told is None:
                score[f"{kind} not solved"] += 1
                continue
            if kind == "single" and told.alike:
                score["alike"] += 1
                score["alike said"] += bool(
                    {told.order[0]} & (told.alike | {plant.home[k] for k in drawn})
                )
                continue
            score[kind] += 1
            groups = {plant.home[k] for k in drawn} or {NONE}
            if told.order[0] in groups:
                score[f"{kind} first"] += 1
            else:
                names = " + ".join(plant.model.matrix.faults[k].key for k in drawn) or "no fault"
                print(f"  {kind} {i}, seed {seed} {names}: said {plant.names(told.order[0])} "
                      f"({told.share:.2f}, {told.steps} steps, "
                      f"{', '.join(told.complaints) or 'no complaint'})", flush=True)  # fmt: skip
            if groups & set(told.order[:3]):
                score[f"{kind} three"] += 1
            if kind == "single":
                minutes.append(told.minutes)
                steps.append(told.steps)
    took = time.perf_counter() - began

    def pct(part: str, whole: str) -> float:
        return 100.0 * score[part] / max(1, score[whole])

    rows = {
        "right cause first": pct("single first", "single"),
        "right cause within three": pct("single three", "single"),
        "no fault said": pct("sound first", "sound"),
        "one of two first": pct("two first", "two"),
    }
    print(f"\n{'':34}{'got':>8}{'wanted':>9}")
    for name, got in rows.items():
        print(f"{name:34}{got:7.1f}%{WANTED[name]:8.0f}%")
    print(f"too slight or too alike for all readings: {score['alike']}, of these said as one "
          f"of those alike {score['alike said']}")  # fmt: skip
    print(f"single {score['single']}, sound {score['sound']}, two {score['two']}; not solved "
          f"{sum(n for k, n in score.items() if k.endswith('not solved'))}")  # fmt: skip
    cases = sum(score[k] for k in ("single", "alike", "sound", "two"))
    print(f"readings until decided: median {np.median(steps):.0f} tests, "
          f"{np.median(minutes):.0f} min of work; {took / cases:.2f} s a case")  # fmt: skip
    return int(any(got < WANTED[name] for name, got in rows.items()))


if __name__ == "__main__":
    raise SystemExit(main())
