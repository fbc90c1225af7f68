"""Explanations: every part is there, numbers are in place, text is plain."""

from __future__ import annotations

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from byrewright.results import Finding, Input
from byrewright.studies.explain import explain, number
from byrewright.studies.sizing import size
from tests.studies.benches import small

FIGURES = 5e-4
"""Four figures are shown."""


def test_every_finding_of_a_plant_explains_itself() -> None:
    """A finding would be shown without its numbers, source or verdict."""
    for found in size(small()).findings:
        text = explain(found).render()
        assert found.title in text
        assert (found.verdict if found.judged else "held to no limit") in text
        assert "Formula:" in text and "Source:" in text
        assert not re.search(r"\bNone\b|\bnan\b|\[\]|e[+-]\d\d", text), text
        assert all(not line.endswith(" ") for line in text.splitlines())


def test_numbers_stand_in_the_formula() -> None:
    """The substituted line would show symbols, or a number inside another symbol."""
    found = Finding(
        "k", "", "Pump", 10.0, "L/min", "It holds.", "holds", formula="q_pump >= n q + q_x",
        inputs=(Input("n", "units", 50, "", "plant file"), Input("q", "each", 4.0, "L/min"),
                Input("q_x", "other", 12345.0, "L/min", "iso5707 (from_memory)")),
    )  # fmt: skip
    text = explain(found).render()
    assert "q_pump >= 50 × 4 + 12345" in text
    assert "ISO 5707:2007" in text and "from memory" in text


def test_fails_says_by_how_much_and_what_to_do() -> None:
    """A failed finding would not say how far off it is or what size to take."""
    found = Finding(
        "k", "VP1", "Pump", 80.0, "L/min", "Short.", "fails", "at_least", 100.0, -0.2,
        advised=110.0, advised_why="rounded up", target=("VP1", "capacity_l_min_free"),
    )  # fmt: skip
    text = explain(found).render()
    assert "outside the limit by 20.0 % of it" in text
    assert "capacity_l_min_free of VP1: 110 (rounded up)" in text


def test_unknown_says_what_is_missing() -> None:
    """An unknown would not name the input it waits for."""
    found = Finding("k", "", "Bore", None, "mm", "Not stated.", "unknown", missing=("bore of GL1",))
    text = explain(found).render()
    assert "Missing:" in text and "bore of GL1" in text and "No value" in text


@given(st.floats(1e-6, 1e7))
def test_numbers_keep_their_value(value: float) -> None:
    """Rounding for show would change a number by more than its fourth figure."""
    assert float(number(value).replace(" ", "")) == pytest.approx(value, rel=FIGURES)
