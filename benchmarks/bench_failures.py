"""How long the failure study takes: singles with the simulated day, and pairs, on the examples.

    python benchmarks/bench_failures.py [plant file ...]

Wall and processor seconds with two threads, from a warm cache (the first run of a version compiles
its kernels first). Ends with 1 when an aim is missed.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import TypeVar

ROOT = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(ROOT))

from byrewright.plant.read import read_plant  # noqa: E402
from byrewright.standards.rulebook import default_rulebook  # noqa: E402
from byrewright.studies.failures.analysis import analyse  # noqa: E402
from byrewright.studies.failures.study import study_failures  # noqa: E402

SINGLES_S, PAIRS_S = 30.0, 600.0
THREADS = 2
NAMES = ("rotary_round_the_clock", "rotary_spring_ice", "rows_two_by_twenty")
T = TypeVar("T")


def timed(work: Callable[[], T]) -> tuple[float, float, T]:
    """Wall seconds, processor seconds and the answer."""
    wall, cpu = time.perf_counter(), time.process_time()
    answer = work()
    return time.perf_counter() - wall, time.process_time() - cpu, answer


def main(paths: list[Path]) -> int:
    """Time every plant; 1 when an aim is missed."""
    rules, missed = default_rulebook(), 0
    study_failures(read_plant(paths[0]).plant, rules, threads=THREADS, hours=1)  # warm
    for path in paths:
        plant = read_plant(path).plant
        analysis = analyse(plant, rules)
        wall, cpu, _ = timed(lambda p=plant: study_failures(p, rules, threads=THREADS))
        both, both_cpu, found = timed(
            lambda p=plant: study_failures(p, rules, pairs=True, threads=THREADS)
        )
        note = found.table("failures.pairs").note
        print(
            f"{path.parent.name}: {len(plant.equipment)} machines, {len(analysis.cases)} ways to "
            f"fail: {wall:.1f} s ({cpu:.1f} s of processor, aim {SINGLES_S:g} s); with pairs "
            f"{both:.1f} s ({both_cpu:.1f} s, aim {PAIRS_S:g} s). {note}"
        )
        missed += wall > SINGLES_S or both > PAIRS_S
    return 1 if missed else 0


if __name__ == "__main__":
    given = [Path(a) for a in sys.argv[1:]]
    raise SystemExit(main(given or [ROOT / "examples" / n / "plant.yaml" for n in NAMES]))
