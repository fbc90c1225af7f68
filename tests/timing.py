"""How long a command works, told in processor time so that a busy machine does not decide."""

from __future__ import annotations

import resource
import subprocess
from collections.abc import Sequence


def cpu_seconds(command: Sequence[str]) -> tuple[float, subprocess.CompletedProcess[str]]:
    """Run a command to its end; the processor time it and its children took, s, and its output."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    used = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    return used, done
