"""The first and the second start of the day command, from an empty cache."""

from __future__ import annotations

import os
from pathlib import Path

from byrewright.engine.ahead import mark
from tests.first_start import MEASURED, measured, own, start
from tests.timing import times_slower

CORES = 2
FIRST_S = 8.0
"""Wanted from an empty cache, on two free cores."""
LATER_S = 2.0
"""Wanted of the whole command later on."""
BUSY = 2.5
"""A shared machine, with neighbours on its cores, takes up to that much more processor time."""


def test_the_first_start_compiles_within_its_budget_and_the_second_reads(tmp_path: Path) -> None:
    """Would fail if kernels grew slow to compile, were compiled twice, or not found again.

    Processor time is judged, for it depends little on what else the machine does.
    """
    first_s, first_used, slower = measured(tmp_path)
    assert first_used < slower * BUSY * CORES * FIRST_S, f"{first_s:.1f} s, {first_used:.1f} used"
    kept = MEASURED in os.environ
    later_s, later_used = start(os.environ if kept else own(tmp_path))
    slower = times_slower()
    assert later_used < slower * BUSY * LATER_S, f"later {later_s:.1f} s, {later_used:.1f} used"
    marks = [mark()] if kept else list(tmp_path.glob("kernels-*/compiled-*"))
    assert any(m.exists() for m in marks), "nothing says that all is compiled"
    print(f"first {first_s:.1f} s ({first_used:.1f} s of processors), later {later_s:.1f} s")
