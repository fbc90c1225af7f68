"""How long a command works, told in processor time so that a busy machine does not decide."""

from __future__ import annotations

import argparse
import ast
import inspect
import resource
import subprocess
import time
from collections.abc import Sequence


def cpu_seconds(command: Sequence[str]) -> tuple[float, subprocess.CompletedProcess[str]]:
    """Run a command to its end; the processor time it and its children took, s, and its output."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    used = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    return used, done


AS_MEASURED_S = 0.95
"""Processor time of the fixed work below on the machine on which the budgets were set."""


def times_slower() -> float:
    """How many times slower this machine is now than the one of the budgets; 1 where it is not."""
    source = inspect.getsource(argparse)
    begun = time.process_time()
    for _ in range(40):
        compile(ast.parse(source), "argparse", "exec")
    return max(1.0, (time.process_time() - begun) / AS_MEASURED_S)
