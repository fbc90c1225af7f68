"""Variants of valve positions that are kept on disk."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from byrewright.engine.compiled import Compiled, compile_plant, with_wrong
from byrewright.engine.maker import Maker
from tests.plants import rows


def same(a: Compiled, b: Compiled) -> bool:
    """Whether two are the same to the last bit."""
    pairs = [*zip(a.tables, b.tables, strict=True), *zip(a.start, b.start, strict=True)]
    plain = (a.names, a.variants, a.step_s, a.notes) == (b.names, b.variants, b.step_s, b.notes)
    return plain and all(np.array_equal(x, y, equal_nan=True) for x, y in pairs)


def test_kept_variants_are_those_that_are_asked(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Would fail if a failure or a wrong valve were followed with positions of another, or a file
    that was torn were believed."""
    monkeypatch.setenv("BYREWRIGHT_CACHE", str(tmp_path))
    made: list[int] = []
    real = Maker.make
    monkeypatch.setattr(Maker, "make", lambda *a: (made.append(1), real(*a))[1])
    plant = rows()
    compiled = compile_plant(plant)
    first = with_wrong(plant, compiled, [{"V34": "open"}])
    assert same(with_wrong(plant, compiled, [{"V34": "open"}]), first) and len(made) == 2
    other = with_wrong(plant, compiled, [{"V40": "to_c"}])
    assert not same(other, first) and len(made) == 3
    for path in (tmp_path / "variants").glob("*.npz"):
        path.write_bytes(path.read_bytes()[:500])
    assert same(with_wrong(plant, compiled, [{"V34": "open"}]), first) and len(made) == 4
