"""Ten thousand broken plant files, each a clear error or a sound plant; then two thousand bent
plants, briefs, limits, cost files and address maps through every command: no traceback, no run over
60 s of processor time, no negative litre, time or count, nothing that is not a number.

.venv/bin/python benchmarks/bench_mutants.py [reader|commands] [how many] [first seed]
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
from byrewright.site.addresses import default_addresses, write_map
from byrewright.standards.rulebook import default_rulebook
from byrewright.studies.routes.study import Routes
from tests.abuse import trial
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


def reader(count: int, first: int) -> int:
    """Run the reader, print the counts; 1 if anything but a clear error or a sound plant came."""
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


EXAMPLES = Path(__file__).resolve().parents[1] / "examples"


def through_commands(count: int, first: int) -> int:
    """Run mutants through every command and print the faults; 1 if there were any."""
    plants = [SMALL, SMALL, *(p.read_text("utf-8") for p in sorted(EXAMPLES.glob("*/plant.yaml")))]
    table = Routes(read_plant_text(SMALL).plant, default_rulebook()).table
    maps = write_map(default_addresses(table))
    faults = 0
    start = time.process_time()
    with tempfile.TemporaryDirectory() as folder:
        for seed in range(first, first + count):
            for one in trial(seed, Path(folder), plants, maps):
                faults += 1
                words = " ".join(one.words).replace(folder, ".")
                print(f"seed {seed}: {words}: {one.what[:300]}", flush=True)
    took = time.process_time() - start
    print(f"{count} mutants through every command, seeds {first} to {first + count - 1}: "
          f"{faults} faults, {took:.0f} s of processor time")  # fmt: skip
    return bool(faults)


def main() -> int:
    """The two parts, or the one that is named."""
    words = sys.argv[1:]
    part = words.pop(0) if words and not words[0].isdigit() else ""
    first = int(words[1]) if len(words) > 1 else 0
    wrong = 0
    if part in ("", "reader"):
        wrong |= reader(int(words[0]) if words else 10_000, first)
    if part in ("", "commands"):
        wrong |= through_commands(int(words[0]) if words else 2_000, first)
    return wrong


if __name__ == "__main__":
    raise SystemExit(main())
