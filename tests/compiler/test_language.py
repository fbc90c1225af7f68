"""The language of kernels: what is compiled does what the same Python does."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from byrewright.compiler.call import kernel
from byrewright.compiler.values import NotCompiled
from byrewright.physics import pipeflow

WHOLE = st.integers(-1000, 1000)
FLOATS = st.floats(-1e6, 1e6, allow_subnormal=False)
TABLE = np.array([0.5, 2.0, -3.0])


class Pair(NamedTuple):
    """Arrays by name."""

    many: Any
    few: Any
    scale: float


def same(function: Any, *args: Any) -> None:
    """A kernel gives, and leaves in its arrays, what Python does, to the last bit."""
    copies = [a.copy() if isinstance(a, np.ndarray) else a for a in args]
    compiled, plain = function(*args), function.py_func(*copies)
    assert compiled == plain and type(compiled) is type(plain)
    for a, b in zip(args, copies, strict=True):
        assert not isinstance(a, np.ndarray) or a.tobytes() == b.tobytes()


@kernel
def _whole(a: int, b: int) -> tuple[int, int, int, int, bool]:
    shifted = (a << 2) >> 1 | b & 7 ^ 3
    return a // b, a % b, max(a, b, 3) - min(a, -b), shifted, a < b <= 5 or not a == b != 2


@settings(max_examples=200)
@given(WHOLE, WHOLE.filter(bool))
def test_whole_numbers(a: int, b: int) -> None:
    """Would fail if // or % cut towards nil, or a shift or a chain of comparisons went wrong."""
    same(_whole, a, b)


@kernel
def _floats(a: float, b: float, n: int) -> tuple[float, float, float, float, float]:
    half = abs(a) ** 0.5 + math.sqrt(abs(b)) + math.copysign(2.0, a)
    return a / b, a % b, half, max(a, b, n) - min(n, a), -a + n / 3 if a < n else abs(n) * b


@settings(max_examples=200)
@given(FLOATS, FLOATS.filter(lambda b: abs(b) > 1e-3), WHOLE)
def test_floats(a: float, b: float, n: int) -> None:
    """Would fail if a sum, a rest, a choice or a mixture with whole numbers came out otherwise."""
    same(_floats, a, b, n)


@kernel
def _powers(a: float) -> tuple[float, float, float, float]:
    return a**2, a**-1, a**5, math.log10(a) + math.exp(-a) + math.log(a) + math.expm1(a) * a**1.11


@given(st.floats(1e-3, 50.0))
def test_powers_and_functions(a: float) -> None:
    """Would fail if a power by steps were off, or a function another one."""
    assert _powers(a) == pytest.approx(_powers.py_func(a), rel=1e-13)  # type: ignore[attr-defined]


@kernel
def _search(values: Any, marks: Any, seen: Any, least: float) -> int:
    """Every kind of going round, and of going out of it."""
    count = 0
    total = 0
    for i in range(len(values) - 1, -1, -2):
        if values[i] < least:
            continue
        count += 1
        values[-1] += values[i]
        seen[i] = True
        if count > 3:
            break
    while True:
        total += 0.5
        if total >= count or count == 0 or marks[count % len(marks), 0] > 6:
            break
    for row in marks:
        row[1] += row[0] * 2
        if row[0] in (3, 5):
            total += row[1]
    for _ in range(2, marks.shape[0]):
        total -= 1
    first, second = marks[0]
    marks[0, 0], marks[0, 1] = second, first
    return int(total) + marks.size + (1 if seen[0] and not seen[-1] else 0)


@given(st.lists(FLOATS, min_size=1, max_size=12), st.lists(WHOLE, min_size=1, max_size=6), FLOATS)
def test_loops_and_arrays(values: list[float], marks: list[int], least: float) -> None:
    """Would fail if a loop ran once too often, went on past its end, or an index from the end,
    a row or a boolean lay elsewhere."""
    table = np.array([marks, marks[::-1]], np.int64).T.copy()
    same(_search, np.array(values), table, np.zeros(len(values), np.bool_), least)


@kernel
def _share(x: float) -> float:
    if x < 0.0:
        return 0.0
    if x > 2.0:
        return 1.0
    return TABLE[int(x)] * x


@kernel
def _through(pair: Pair, at: tuple[int, int], k: int) -> tuple[float, float]:
    there, back = pair.few[at[0]], pair.many[at[1] % 2]
    late = k > 0 and pair.few[k] > 0.0
    both, _ = _turned(there, k)
    return (both, back[k]) if late else (_share(pair.scale) + pair.few.size, 0.0)


@kernel
def _turned(x: float, k: float) -> tuple[float, float]:
    return k, x


@given(st.integers(0, 2), st.integers(-3, 2), st.floats(-1.0, 3.0))
def test_calls_names_and_tables(i: int, k: int, scale: float) -> None:
    """Would fail if a field, a called kernel, a table of the module or what lies behind an `and`
    were taken wrongly."""
    pair = Pair(np.arange(6.0).reshape(2, 3), np.array([-1.0, 0.0, 4.0]), scale)
    same(_through, pair, (i, i), k)


def test_a_division_by_nil_stops_nothing() -> None:
    """Would fail if a nil that Python refuses stopped the whole program, as machines do."""
    assert _whole(7, 0)[:2] == (0, 0)
    assert _floats(1.0, 0.0, 1)[0] == math.inf


@kernel
def _two_types(x: float, many: Any) -> float:
    one = many
    one = x
    return one


@kernel
def _no_power(x: float) -> float:
    return math.gamma(x)


@kernel
def _first(x: Any) -> float:
    return x[0, 0]  # type: ignore[no-any-return]


def test_kernels_from_elsewhere_are_not_kept(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Would fail if a kernel whose source is in no hash were read from disk after it changed, or
    one of the engine were compiled at every start."""
    monkeypatch.setenv("BYREWRIGHT_CACHE", str(tmp_path))
    kernel(_share.py_func)(1.0)  # type: ignore[attr-defined]
    kernel(pipeflow.friction)(1e5, 0.0)
    kept = [p.name for p in tmp_path.rglob("*.code")]
    assert len(kept) == 1 and kept[0].startswith("byrewright.physics.pipeflow.friction.")


def test_what_the_language_has_not_is_told() -> None:
    """Would fail if what cannot be compiled were compiled as something else."""
    with pytest.raises(NotCompiled, match="_two_types: one is either"):
        _two_types(1.0, np.zeros(2))
    with pytest.raises(NotCompiled, match="gamma"):
        _no_power(1.0)
    with pytest.raises(TypeError, match="array 1 of its arguments is not in C order"):
        _first(np.zeros((3, 2)).T)
    with pytest.raises(TypeError, match="no kernel takes an array of complex128"):
        _first(np.zeros((3, 2), complex))
