"""The liquid network: times beside EPANET through WNTR, the examples, and every pipe's length.

Run with `.venv/bin/python -m benchmarks.bench_liquids [--all]`. `--all` halves and doubles every
pipe of every example; without it every seventh.
"""

from __future__ import annotations

import sys
import tempfile
import time
import warnings
from pathlib import Path
from statistics import median

import numpy as np

from byrewright.engine.liquidnet import RATED, solve
from byrewright.engine.liquids import Liquids
from byrewright.plant.read import read_plant
from byrewright.standards.rulebook import default_rulebook
from tests.engine.test_lengths import EXAMPLES, jumps
from tests.liquidnets import draw, epanet, net

NETWORKS = 100
REPEATS = 5


def random_networks() -> None:
    """Times of our solver, cold and warm, and of EPANET, on the same networks."""
    import wntr  # noqa: F401  (its four seconds of import are not counted)

    warnings.simplefilter("ignore")
    solve(net(draw(0)), np.zeros(0))
    cold, warm, theirs, steps = [], [], [], []
    with tempfile.TemporaryDirectory() as folder:
        for seed in range(NETWORKS):
            case = draw(seed)
            arrays = net(case)
            begun = time.perf_counter()
            for _ in range(REPEATS):
                found = solve(arrays, np.zeros(0))
            cold.append((time.perf_counter() - begun) / REPEATS)
            assert found.left < RATED
            steps.append(found.steps)
            begun = time.perf_counter()
            for _ in range(REPEATS):
                solve(arrays, found.flow)
            warm.append((time.perf_counter() - begun) / REPEATS)
            begun = time.perf_counter()
            epanet(case, folder)
            theirs.append(time.perf_counter() - begun)
    print(f"{NETWORKS} random networks, at most {max(steps)} steps")
    print(f"  ours cold {1e6 * median(cold):.0f} us, warm {1e6 * median(warm):.0f} us; "
          f"EPANET {1e3 * median(theirs):.1f} ms (with its file written and read)")  # fmt: skip
    print(f"  ratio of times {sum(theirs) / sum(cold):.0f} (aim 100)")


def examples(step: int) -> None:
    """Each example in every mode, and with its pipes halved and doubled one at a time."""
    for path in EXAMPLES:
        plant = read_plant(path).plant
        begun = time.perf_counter()
        one = Liquids(plant, default_rulebook())
        built = time.perf_counter() - begun
        times, steps = [], 0
        for mode in plant.modes:
            begun = time.perf_counter()
            found = one.solve(one.situation(mode))
            times.append(time.perf_counter() - begun)
            steps = max(steps, found.steps)
        print(f"{path.parent.name}: built in {1e3 * built:.0f} ms; {len(times)} modes, "
              f"{1e3 * median(times):.1f} ms each, at most {steps} steps")  # fmt: skip
        begun = time.perf_counter()
        tried, found_jumps = jumps(plant, step)
        print(f"  {tried} lengths changed, {len(found_jumps)} jumps "
              f"({time.perf_counter() - begun:.0f} s)", *found_jumps[:5], sep="\n    ")  # fmt: skip


if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
    random_networks()
    examples(1 if "--all" in sys.argv else 7)
