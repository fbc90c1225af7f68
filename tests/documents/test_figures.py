"""Print figures and number formats."""

from __future__ import annotations

import doctest
import importlib
import math
import pkgutil
from dataclasses import replace
from xml.etree import ElementTree

import pytest
from hypothesis import given
from hypothesis import strategies as st

import byrewright.documents as documents
from byrewright.documents.figures import (
    MARKS,
    capacity_svgs,
    figures_for,
    series_svg,
    table_bars_svg,
)
from byrewright.documents.format import NO_BREAK, number, percent, quantity, room
from byrewright.results import VERDICTS, Finding, Series
from byrewright.studies.explain import explain
from tests.documents.made import made_result

PAGE_MM = 297 - 24 - 20
"""What the report's margins leave of a page."""
CHAPTER_MM = 25
"""A chapter's heading with its space, and the space about a figure."""
HALF_A_DIGIT = 0.005  # a shown number keeps three figures or more


@pytest.mark.parametrize("name", [m.name for m in pkgutil.iter_modules(documents.__path__)])
def test_worked_numbers_in_docstrings_hold(name: str) -> None:
    """Would fail if an example in a docstring of this room were wrong."""
    done = doctest.testmod(importlib.import_module(f"byrewright.documents.{name}"))
    assert done.failed == 0


def test_figures_are_sound_and_the_same_each_time() -> None:
    """Would fail if a figure were broken markup or changed between runs."""
    result = made_result()
    made = figures_for(result, "cooling") + figures_for(result, "vacuum")
    assert len(made) == 2
    made += [table_bars_svg(result.tables[0], 1), *capacity_svgs("x", result.findings)]
    for svg in made:
        ElementTree.fromstring(svg)
    assert made[:2] == figures_for(result, "cooling") + figures_for(result, "vacuum")


def test_a_bar_that_misses_its_limit_is_marked_by_sign_and_word() -> None:
    """Would fail if a failed bar were told by its colour alone."""
    assert len({MARKS[v] for v in VERDICTS}) == len(VERDICTS)
    (svg,) = capacity_svgs("x", made_result().findings)
    assert f"{MARKS['fails']} -25 % least" in svg


def test_a_figure_of_many_bars_stands_under_its_heading() -> None:
    """Would fail if a figure were taller than a page has room for under a chapter's heading, which
    then stood alone on a page."""
    one = next(f for f in made_result().findings if f.limit and f.value is not None)
    many = capacity_svgs("x", [replace(one, title=f"t{i}") for i in range(70)])
    tall = [float(ElementTree.fromstring(svg).get("viewBox", "").split()[3]) for svg in many]
    assert max(tall) < PAGE_MM - CHAPTER_MM
    assert sum(svg.count(f"{MARKS[one.verdict]} ") for svg in many) == 70


def test_a_flat_line_can_be_drawn() -> None:
    """Would fail if a series that does not change divided by nothing."""
    ElementTree.fromstring(
        series_svg(Series("a.b", "flat", (0.0, 1.0), "h", (("x", "L", (0.0, 0.0)),)))
    )


@given(st.floats(allow_nan=False, allow_infinity=False, min_value=-1e12, max_value=1e12))
def test_a_shown_number_is_the_number(value: float) -> None:
    """Would fail if formatting lost a digit that matters, a sign or a power of ten."""
    back = float(number(value).replace("\u2009", ""))
    assert math.isclose(back, value, rel_tol=HALF_A_DIGIT, abs_tol=1e-300)


def test_missing_and_endless_numbers_are_a_dash() -> None:
    """Would fail if a reader met the word nan."""
    assert [number(v) for v in (None, math.nan, math.inf)] == ["-", "-", "-"]
    assert quantity(None, "L") == "-"
    assert percent(None) == "-"
    assert quantity("as built", "L") == "as built"


def test_what_a_temperature_has_to_spare_is_in_degrees() -> None:
    """A wall at 2.6 degC was said to be 593 % from -0.52 degC, in US units too."""
    wall = Finding("k", "", "t", 2.56, "degC", "s", "holds", "at_least", -0.52, 5.923)
    warm = replace(wall, value=9.0, limit=6.0, verdict="fails", sense="at_most", margin=-0.5)
    assert [room(f).replace(NO_BREAK, " ") for f in (wall, warm)] == ["+3.1 K", "-3.0 K"]
    assert room(wall, "US").replace(NO_BREAK, " ") == "+5.5 °F"
    assert room(replace(wall, unit="kW", value=11.0, limit=10.0, margin=0.1)) == "+10 %"
    assert "by 3.0 K." in str(explain(warm).parts)
