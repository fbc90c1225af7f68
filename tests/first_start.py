"""The first start of the day command, from an empty cache, measured once in a run of tests."""

from __future__ import annotations

import os
import resource
import subprocess
import sys
import time
from collections.abc import Mapping
from pathlib import Path

from tests.timing import times_slower

EXAMPLE = Path(__file__).resolve().parent.parent / "examples" / "rows_two_by_twenty" / "plant.yaml"
MEASURED = "BYREWRIGHT_TESTS_FIRST_START"
"""Variable by which workers learn what was measured before they began."""


def start(env: Mapping[str, str]) -> tuple[float, float]:
    """Run the command: seconds by the clock and of processors."""
    command = [sys.executable, "-m", "byrewright", "day", str(EXAMPLE), "--json"]
    before, begun = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
    subprocess.run(command, env=env, check=True, capture_output=True)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    used = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    return time.perf_counter() - begun, used


def before_workers() -> None:
    """Where nothing is compiled yet, start the command and keep what that took: workers then read
    what it compiled, and the test of the first start need not compile all once more. Nor need
    later runs, until a kernel changes: the figures lie beside the code that was compiled."""
    from byrewright.engine.ahead import mark
    from byrewright.engine.jit import kernel_folder

    if mark().exists() and _kept().exists():
        os.environ[MEASURED] = _kept().read_text(encoding="ascii")
    elif not any(kernel_folder().iterdir()):
        os.environ[MEASURED] = _told(*_begun(os.environ))


def _kept() -> Path:
    """Where the figures of this version's kernels are kept."""
    from byrewright.engine.jit import kernel_folder

    return kernel_folder() / "first-start"


def _begun(env: Mapping[str, str]) -> tuple[float, float, float]:
    slower = times_slower()
    clock_s, used_s = start(env)
    return clock_s, used_s, max(slower, times_slower())


def _told(*figures: float) -> str:
    """The figures as one line, which is kept too."""
    line = " ".join(map(str, figures))
    _kept().write_text(line, encoding="ascii")
    return line


def measured(cache: Path) -> tuple[float, float, float]:
    """The first start: seconds by the clock, of processors, and how many times slower the machine
    was than that of the budgets; from before the workers began, else measured in an empty cache."""
    if MEASURED in os.environ:
        clock_s, used_s, slower = map(float, os.environ[MEASURED].split())
        return clock_s, used_s, slower
    found = _begun(own(cache))
    _told(*found)
    return found


def own(cache: Path) -> dict[str, str]:
    """The surroundings of a command with a cache folder of its own."""
    env = {k: v for k, v in os.environ.items() if k != "NUMBA_CACHE_DIR"}
    env["BYREWRIGHT_CACHE"] = str(cache)
    return env
