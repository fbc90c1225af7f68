"""The matrix of causes, worked out by a second process while this one asks the studies.

A helper that fails costs time and nothing else: what it did not leave on disk is worked out here.
"""

from __future__ import annotations

import contextlib
import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

from byrewright.errors import ByrewrightError

if TYPE_CHECKING:
    from byrewright.site.condition.matrix import Say

_helpers: list[subprocess.Popen[bytes]] = []
LOOKS_S = 0.2


@contextlib.contextmanager
def beside(plant_file: Path, kept: Path) -> Iterator[None]:
    """While this lasts, a second process works out the matrix of a plant file, unless it is kept
    already or there is one processor only."""
    alone = (os.cpu_count() or 1) < 2 or not sys.executable
    if alone or kept.is_file() or not plant_file.is_file():
        yield
        return
    home = str(Path(__file__).resolve().parents[3])
    path = os.pathsep.join(p for p in (home, os.environ.get("PYTHONPATH", "")) if p)
    helper = None
    with contextlib.suppress(OSError):
        helper = subprocess.Popen(
            [sys.executable, "-m", "byrewright.site.condition.matrix", str(plant_file)],
            env={**os.environ, "PYTHONPATH": path}, stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        )  # fmt: skip
        _helpers.append(helper)
    try:
        yield
    finally:
        if helper is not None:
            _helpers.remove(helper)
            helper.terminate()
            helper.wait()


def awaited(say: Say | None = None) -> None:
    """Wait for the helpers that work; those of other plants end soon, too.

    Raises:
        ByrewrightError: `say` answered True.
    """
    for helper in list(_helpers):
        while helper.poll() is None:
            if say is not None and say("causes", 0, 1):
                raise ByrewrightError("stopped; nothing was kept")
            with contextlib.suppress(subprocess.TimeoutExpired):
                helper.wait(LOOKS_S)
