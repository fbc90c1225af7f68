"""Ten thousand broken plant files: each must give a clear error or a sound plant.

.venv/bin/python benchmarks/bench_mutants.py [how many] [first seed]
"""

from __future__ import annotations

import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from byrewright.plant.problems import FileProblems
from byrewright.plant.read import read_plant, read_plant_text
from byrewright.plant.write import plant_to_text
from tests.plant.mutate import mutated_bytes
from tests.plant.small import SMALL


def outcome(path: Path) -> tuple[str, str]:
    """What a broken file led to, and the code of its first problem."""
    try:
        file = read_plant(path)
        file.check()
        same = read_plant_text(plant_to_text(file.plant)).plant == file.plant
        return ("sound plant" if same else "CHANGED BY WRITING"), ""
    except FileProblems as error:
        good = all(p.sentence.isprintable() and len(p.sentence) < 600 for p in error.problems)
        return ("clear error" if good else "UNCLEAR ERROR"), error.problems[0].code
    except Exception as error:  # this is what the benchmark looks for
        return f"OTHER: {type(error).__name__}", ""


def main() -> int:
    """Run, print the counts, and fail if anything but a clear error or a sound plant came out."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 10_000
    first = int(sys.argv[2]) if len(sys.argv) > 2 else 0
    outcomes: Counter[str] = Counter()
    codes: Counter[str] = Counter()
    wrong: list[int] = []
    slowest = (0.0, 0)
    start = time.perf_counter()
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "plant.yaml"
        for seed in range(first, first + count):
            path.write_bytes(mutated_bytes(SMALL, seed))
            began = time.perf_counter()
            word, code = outcome(path)
            slowest = max(slowest, (time.perf_counter() - began, seed))
            outcomes[word] += 1
            codes[code] += 1
            if word not in ("sound plant", "clear error"):
                wrong.append(seed)
    took = time.perf_counter() - start
    print(f"{count} broken plant files, seeds {first} to {first + count - 1}, in {took:.0f} s")
    print(f"slowest {slowest[0]:.2f} s (seed {slowest[1]})")
    for word, many in outcomes.most_common():
        print(f"  {many:6d}  {word}")
    print("first problem:", ", ".join(f"{c} {n}" for c, n in codes.most_common() if c))
    if wrong:
        print("seeds to look at:", *wrong[:20])
    return bool(wrong)


if __name__ == "__main__":
    raise SystemExit(main())
