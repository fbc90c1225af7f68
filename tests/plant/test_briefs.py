"""The random briefs that other checks stand on."""

from __future__ import annotations

from benchmarks.briefs import random_brief
from byrewright.plant.brief import read_brief_text

MANY = 200


def test_random_briefs_are_valid_varied_and_repeat() -> None:
    """Would fail if a random brief could not be read, or all were of one sort."""
    briefs = [read_brief_text(random_brief(seed)).brief for seed in range(MANY)]
    assert random_brief(7) == random_brief(7) != random_brief(8)
    for name in ("layout", "redundancy", "budget", "region", "climate", "cooling", "cleaning"):
        assert len({str(getattr(b, name)) for b in briefs}) > 1, name
    assert min(b.cows for b in briefs) < 100 and max(b.cows for b in briefs) > 2500
    assert {len(b.milkings) for b in briefs} == {1, 2, 3, 4}
