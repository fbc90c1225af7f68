"""Mathematics of cut sets: worked systems after IEC 61078 (blocks) and IEC 61025 (fault trees).

Standard mathematics known from memory: the bridge, two out of three, series-parallel and a voted
pair with a shared supply are the examples that every text on the two standards works through.
The system is given by its graph or its logic, never by its cuts; the cuts are what is checked.
"""

from __future__ import annotations

from itertools import combinations

import networkx as nx
from hypothesis import given, settings
from hypothesis import strategies as st

from byrewright.studies.failures.cuts import search

BRIDGE = {"a": ("in", "m"), "b": ("in", "n"), "c": ("m", "n"), "d": ("m", "out"), "e": ("n", "out")}


def joined(edges: dict[str, tuple[str, str]]):
    """Whether the ends of a network are joined with some edges failed."""

    def works(failed) -> bool:
        graph = nx.Graph()
        graph.add_nodes_from(["in", "out"])
        graph.add_edges_from(ends for name, ends in edges.items() if name not in failed)
        return nx.has_path(graph, "in", "out")

    return works


def test_bridge() -> None:
    """A bridge has no single cut and two pairs."""
    found = search(list(BRIDGE), joined(BRIDGE))
    assert found.ones == ()
    assert set(found.twos) == {("a", "b"), ("d", "e")}


def test_two_out_of_three() -> None:
    """Two out of three: every pair is a cut, no single one."""
    found = search("abc", lambda out: 3 - len(set(out)) >= 2)
    assert found.ones == ()
    assert len(found.twos) == 3


def test_series_of_parallel_pairs_and_a_common_supply() -> None:
    """A supply in series with two parallel pairs: one single cut, the two pairs, nothing across."""

    def works(out) -> bool:
        up = lambda x: x not in out  # noqa: E731
        return up("supply") and (up("p1") or up("p2")) and (up("q1") or up("q2"))

    items = ["supply", "p1", "p2", "q1", "q2"]
    bits = {"supply": 7, "p1": 1, "p2": 1, "q1": 2, "q2": 2}
    for reads in (None, bits):
        found = search(items, works, reads=reads)
        assert found.ones == ("supply",)
        assert found.twos == (("p1", "p2"), ("q1", "q2"))


def test_event_tree_of_a_lost_mains() -> None:
    """Top event of a fault tree: mains out AND (set does not start OR transfer fails)."""

    def works(out) -> bool:
        return not ("mains" in out and ("start" in out or "transfer" in out))

    found = search(["mains", "start", "transfer"], works)
    assert found.ones == ()
    assert found.twos == (("mains", "start"), ("mains", "transfer"))


nodes = st.sampled_from(["in", "out", "x", "y", "z"])
networks = st.dictionaries(
    st.sampled_from("abcdefgh"), st.tuples(nodes, nodes).filter(lambda e: e[0] != e[1]),
    min_size=1, max_size=8,
)  # fmt: skip


@settings(max_examples=60, deadline=None)
@given(networks)
def test_cuts_of_random_networks_against_brute_force(edges) -> None:
    """Every minimal cut of one and two, found by trying all states of a random network."""
    works = joined(edges)
    if not works(()):
        return
    names = sorted(edges)
    cuts = [set(c) for size in (1, 2) for c in combinations(names, size) if not works(c)]
    tidy = {frozenset(c) for c in cuts if not any(other < c for other in cuts)}
    found = search(names, works)
    assert {frozenset([i]) for i in found.ones} | {frozenset(c) for c in found.twos} == tidy


@settings(max_examples=60, deadline=None)
@given(st.lists(st.lists(st.frozensets(st.sampled_from("abcdef"), min_size=1, max_size=2),
                         min_size=1, max_size=3), min_size=1, max_size=3))  # fmt: skip
def test_pairs_passed_over_are_never_cuts(requirements) -> None:
    """Requirements in series, each with its own cuts: what `reads` leaves out changes nothing."""

    def works(out) -> bool:
        return not any(cut <= set(out) for cuts in requirements for cut in cuts)

    reads = {
        i: sum(1 << k for k, cuts in enumerate(requirements) if any(i in c for c in cuts))
        for i in "abcdef"
    }
    every, fewer = search("abcdef", works), search("abcdef", works, reads=reads)
    assert (every.ones, every.twos) == (fewer.ones, fewer.twos)
    assert fewer.asked + fewer.independent == every.asked
