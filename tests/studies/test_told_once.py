"""Quantities that more than one study gives, on random briefs that nobody tuned with."""

from __future__ import annotations

import pytest

from benchmarks.bench_agreement import compared
from benchmarks.briefs import TUNING
from byrewright.results import Finding, Notebook, Result
from byrewright.studies.every import STUDIES
from byrewright.studies.told_once import (
    QUANTITIES,
    Quantity,
    Reading,
    agrees,
    disagreements,
    finding,
    owners_only,
)

HOW_MANY = 3
"""Random briefs here; benchmarks/bench_agreement.py takes 300."""


@pytest.mark.parametrize("seed", range(TUNING + 1, TUNING + 1 + HOW_MANY))
def test_no_quantity_is_told_twice(seed: int) -> None:
    """Would fail if two studies gave numbers for one quantity that lie too far apart."""
    assert [str(d) for d in compared(seed)] == []


def test_the_list_names_each_quantity_once_and_gives_its_reason() -> None:
    """Would fail if an owner were unclear, a study unknown, or a tolerance without a reason."""
    assert len({q.name for q in QUANTITIES}) == len(QUANTITIES) >= 12
    for one in QUANTITIES:
        assert (
            one.others
            and one.reason
            and {one.owner.study, *(o.study for o in one.others)} <= (set(STUDIES))
        ), one.name


def told(study: str, value: float) -> Result:
    """A study that says one number."""
    notes = Notebook(study, "")
    notes.findings.append(Finding("k", "", "what", value, "L", "It is so.", "holds"))
    return notes.result()


def test_a_disagreement_is_seen_and_named(monkeypatch: pytest.MonkeyPatch) -> None:
    """Would fail if the comparison went blind: a number a fifth off must be named."""
    read = finding("k")
    quantity = Quantity("flow", "L", Reading("a", read), (Reading("b", read, "k"),), 0.1, 0.0, "r")
    monkeypatch.setattr("byrewright.studies.told_once.QUANTITIES", (quantity,))
    assert [str(d) for d in disagreements({"a": told("a", 10.0), "b": told("b", 12.0)})] == [
        "flow: a 10, b 12 L"
    ]
    assert not list(disagreements({"a": told("a", 10.0), "b": told("b", 10.9)}))
    low = Quantity("x", "", quantity.owner, quantity.others, 0.0, 0.0, "r", "not under")
    assert agrees(low, 1.0, 5.0) and not agrees(low, 5.0, 1.0)


def test_a_report_prints_the_owners_number_only(monkeypatch: pytest.MonkeyPatch) -> None:
    """Would fail if a report of several studies told one quantity by two numbers."""
    read = finding("k")
    quantity = Quantity("flow", "L", Reading("a", read), (Reading("b", read, "k"),), 0.1, 0.0, "r")
    monkeypatch.setattr("byrewright.studies.told_once.QUANTITIES", (quantity,))
    kept = owners_only([told("a", 10.0), told("b", 10.1)])
    assert [len(r.findings) for r in kept] == [1, 0]
    assert [len(r.findings) for r in owners_only([told("b", 10.1)])] == [1]
