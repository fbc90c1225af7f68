"""Kills a writer of the site log 500 times at any moment, with a seed the tests do not use."""

from __future__ import annotations

import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))
from tests.site.killed import main

TIMES, SEED = 500, 20

if __name__ == "__main__":
    begun = time.monotonic()
    with tempfile.TemporaryDirectory() as folder:
        print(main(TIMES, Path(folder), SEED), f"({time.monotonic() - begun:.0f} s)")
