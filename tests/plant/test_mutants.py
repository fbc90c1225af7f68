"""Broken files by the hundred: a clear error or a sound plant, and never anything else."""

from __future__ import annotations

import tempfile
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from byrewright.plant.brief import read_brief
from byrewright.plant.limits import read_limits
from byrewright.plant.problems import FileProblems
from byrewright.plant.read import read_plant, read_plant_text
from byrewright.plant.write import plant_to_text
from tests.plant.mutate import mutated_bytes
from tests.plant.small import BRIEF, LIMITS, SMALL

PLANTS = 240  # a few seconds; benchmarks/bench_mutants.py takes ten thousand
OTHERS = 120
FEWEST_REFUSED = 0.5  # most changes break something; else the mutator has gone blunt
FEWEST_SOUND = 0.01  # some do no harm; else the reader refuses everything


def clear(error: FileProblems, name: str) -> bool:
    """Whether an error is sentences with the file's name, short enough to be read."""
    return bool(error.problems) and all(
        str(p).startswith(name)
        and p.sentence
        and len(p.sentence) < 600
        and p.sentence.isprintable()
        for p in error.problems
    )


def test_broken_plants_are_told_clearly(tmp_path: Path) -> None:
    """Would fail if some broken file ended in a traceback, or in a sentence nobody can read."""
    path = tmp_path / "plant.yaml"
    refused = sound = 0
    for seed in range(PLANTS):
        path.write_bytes(mutated_bytes(SMALL, seed))
        try:
            file = read_plant(path)
        except FileProblems as error:
            assert clear(error, str(path)), (seed, str(error))
            refused += 1
            continue
        sound += 1
        assert all(p.sentence for p in file.check())
        assert read_plant_text(plant_to_text(file.plant)).plant == file.plant, seed
    assert refused > FEWEST_REFUSED * PLANTS
    assert sound > FEWEST_SOUND * PLANTS


@settings(max_examples=150, deadline=None, derandomize=True)
@given(st.binary(max_size=120) | st.text(max_size=60).map(lambda t: t.encode("utf-8", "replace")))
def test_any_bytes_are_told_clearly(raw: bytes) -> None:
    """Would fail if some bytes that were never a plant ended in a traceback."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "plant.yaml"
        path.write_bytes(raw)
        with pytest.raises(FileProblems) as caught:
            read_plant(path)
        assert clear(caught.value, str(path))


@pytest.mark.parametrize(
    ("text", "read"), [(BRIEF, read_brief), (LIMITS, read_limits)], ids=["brief", "limits"]
)
def test_broken_briefs_and_limits_are_told_clearly(text: str, read, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    """Would fail if a broken brief or limits file ended in a traceback."""
    path = tmp_path / "file.yaml"
    for seed in range(OTHERS):
        path.write_bytes(mutated_bytes(text, seed))
        try:
            read(path)
        except FileProblems as error:
            assert clear(error, str(path)), (seed, str(error))
