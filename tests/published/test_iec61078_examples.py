"""Reliability blocks in the manner of IEC 61078 and 61025 (standard mathematics, from memory)."""

from __future__ import annotations

from itertools import product

import pytest
from hypothesis import given
from hypothesis import strategies as st

from byrewright.physics import reliability as r

EIGHTH = 5.1e-9
BRIDGE = [{"a", "b"}, {"d", "e"}, {"a", "c", "e"}, {"b", "c", "d"}]


def test_availabilities() -> None:
    """Worked example 15 (derived): 1e-4/h and 8 h; one, one of two, three of four."""
    a = r.availability(1e4, 8)
    assert a == pytest.approx(0.99920064, abs=EIGHTH)
    assert r.k_of_mixed(1, [a, a]) == pytest.approx(0.99999936, abs=EIGHTH)
    assert r.k_of_mixed(3, [a] * 4) == pytest.approx(0.99999617, abs=EIGHTH)


def test_bridge_and_two_of_three() -> None:
    """Bridge 2p^2 + 2p^3 - 5p^4 + 2p^5 = 0.97848 and 2oo3 = 0.972 at p = 0.9."""
    down = r.cut_exact(BRIDGE, dict.fromkeys("abcde", 0.1))
    p = 0.9
    assert 1 - down == pytest.approx(2 * p**2 + 2 * p**3 - 5 * p**4 + 2 * p**5)
    assert 1 - down == pytest.approx(0.97848, abs=5.1e-6)
    assert r.k_of_mixed(2, [0.9] * 3) == pytest.approx(0.972)


names = st.sampled_from("abcdef")
systems = st.lists(st.frozensets(names, min_size=1, max_size=3), min_size=1, max_size=6)
chances = st.fixed_dictionaries({n: st.floats(0, 0.5) for n in "abcdef"})


@given(systems, chances)
def test_cut_sets_against_every_state(cuts, q) -> None:
    """Exact and rare-event sum against adding up all 64 states."""
    exact = 0.0
    for state in product((False, True), repeat=6):
        down = dict(zip("abcdef", state, strict=True))
        chance = 1.0
        for name, failed in down.items():
            chance *= q[name] if failed else 1 - q[name]
        if any(all(down[i] for i in cut) for cut in cuts):
            exact += chance
    tidy = r.minimal(cuts)
    assert r.cut_exact(tidy, q) == pytest.approx(exact, abs=1e-12)
    assert exact <= r.rare_event(tidy, q) + 1e-12


@given(st.lists(st.floats(0, 1), min_size=1, max_size=7), st.integers(0, 7))
def test_k_of_mixed_against_every_state(parts, k: int) -> None:
    """At least k of unlike parts, by brute force."""
    k = min(k, len(parts))
    exact = 0.0
    for state in product((0, 1), repeat=len(parts)):
        if sum(state) >= k:
            chance = 1.0
            for up, p in zip(state, parts, strict=True):
                chance *= p if up else 1 - p
            exact += chance
    assert r.k_of_mixed(k, parts) == pytest.approx(exact, abs=1e-12)
