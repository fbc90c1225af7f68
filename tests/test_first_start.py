"""The first and the second start of the day command, from an empty cache."""

from __future__ import annotations

import os
import resource
import subprocess
import sys
import time
from pathlib import Path

from tests.timing import times_slower

EXAMPLE = Path(__file__).resolve().parent.parent / "examples" / "rows_two_by_twenty" / "plant.yaml"
CORES = 2
FIRST_S = 8.0
"""Wanted from an empty cache, on two free cores."""
LATER_S = 2.0
"""Wanted of the whole command later on."""
BUSY = 2.5
"""A shared machine, with neighbours on its cores, takes up to that much more processor time."""


def start(cache: Path) -> tuple[float, float]:
    """Run the command with a cache folder of its own: seconds by the clock and of processors."""
    env = {k: v for k, v in os.environ.items() if k != "NUMBA_CACHE_DIR"}
    env["BYREWRIGHT_CACHE"] = str(cache)
    code = (
        "from pathlib import Path; from byrewright.commands.day import run;"
        f"run(Path({str(EXAMPLE)!r}), as_json=True)"
    )
    before, begun = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
    subprocess.run([sys.executable, "-c", code], env=env, check=True, capture_output=True)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    used = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    return time.perf_counter() - begun, used


def test_the_first_start_compiles_within_its_budget_and_the_second_reads(tmp_path: Path) -> None:
    """Would fail if kernels grew slow to compile, were compiled twice, or not found again.

    Processor time is judged, for it depends little on what else the machine does.
    """
    slower = times_slower()
    first_s, first_used = start(tmp_path)
    later_s, later_used = start(tmp_path)
    slower = max(slower, times_slower())
    said = f"first {first_s:.1f} s ({first_used:.1f} s of processors), later {later_s:.1f} s"
    assert first_used < slower * BUSY * CORES * FIRST_S, said
    assert later_used < slower * BUSY * LATER_S, said
    assert list(tmp_path.glob("kernels-*/compiled-*")), "nothing says that all is compiled"
    print(said)
