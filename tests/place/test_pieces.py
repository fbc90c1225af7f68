"""Lines as their fitter sees them: pieces, take-outs, supports, high and low points."""

from __future__ import annotations

import math
import re
import xml.etree.ElementTree as ET
from itertools import pairwise

import pytest

from byrewright.documents.plan_pipes import piece_list
from byrewright.documents.plan_sheets import plan_sheets, plan_svg
from byrewright.place.model import Laid, Route
from byrewright.place.pieces import made_of, supports_of, take_out_m
from byrewright.plant.sited import sited
from byrewright.standards.rulebook import default_rulebook
from byrewright.studies.pipework import lines_of, span_m
from tests.place.paper import meet, texts
from tests.place.scenes import briefed

MM = 0.001
CLEAR_MM = 0.7  # what parts a mark from the list below it
HAIR_M = 0.011  # lengths of laid pipes are rounded to a centimetre


def test_take_outs_are_those_of_long_radius_bends() -> None:
    """Would fail if cut lengths took off another bend than the usual one: centre to end of 90
    degree long radius elbows, ASME B16.9 table of dimensions (from memory): 38, 57, 76, 114,
    152 mm for NPS 1, 1 1/2, 2, 3, 4."""
    rule = default_rulebook().number("place.bend_radius_bores")
    for inch, mm in ((1, 38), (1.5, 57), (2, 76), (3, 114), (4, 152)):
        assert take_out_m(inch * 25.4, rule) * 1000 == pytest.approx(mm, abs=0.6)


def test_a_line_with_a_valve_is_cut_by_hand() -> None:
    """Would fail if a bend, a valve or an end took the wrong length off its piece."""
    points = ((0.0, 0.0, 1.0), (2.0, 0.0, 1.0), (2.0, 0.0, 3.0), (2.0, 4.0, 3.0))
    laid = {
        "A": Laid("A", 3.0, 1.0, 1, ((0.0, 0.0, 1.0), (2.0, 0.0, 1.0), (2.0, 0.0, 2.0))),
        "B": Laid("B", 5.0, 1.0, 1, ((2.0, 4.0, 3.0), (2.0, 0.0, 3.0), (2.0, 0.0, 2.0))),
    }
    route = Route(("A", "B"), "milk", 54.0, points, ends=("X.out", "Y.in"), inner=("V1",))
    made = made_of(route, laid, {"A": 50.0, "B": 50.0}, 1.5, 3.0, 0.3)
    assert [j.tag for j in made.joints] == ["X.out", "", "V1", "", "Y.in"]
    assert [p.cut_m for p in made.pieces] == pytest.approx([1.925, 0.925, 0.925, 3.925])
    assert (made.low.number, made.high.number) == (1, 4)
    assert made.cut_m == pytest.approx(7.7)


@pytest.mark.parametrize(("layout", "stalls"), [("rotary", 36), ("rows", 16)])
def test_pieces_add_up_and_no_span_is_too_long(layout: str, stalls: int) -> None:
    """Would fail if pieces lost or doubled pipe, or a line hung further than its spacing."""
    plant = briefed(layout, stalls)
    found = sited(plant)
    assert found is not None
    rules = default_rulebook()
    bores = {p.id: p.bore_mm for p in plant.pipes}
    every = lines_of(plant, found)
    assert every
    for line in every:
        assert math.fsum(p.length_m for p in line.pieces) == pytest.approx(
            line.route.length_m, abs=len(line.pieces) * MM
        )
        assert all(p.cut_m <= p.length_m for p in line.pieces)
        assert [j.number for j in line.joints] == list(range(1, len(line.joints) + 1))
        span = span_m(line.route.service, max(bores[t] for t in line.route.lines), rules)
        marks = sorted(_along(line.route, s) for s in line.supports)
        held = [0.0, *marks, line.route.length_m]
        assert max(b - a for a, b in pairwise(held)) <= span + HAIR_M, line.route.lines
    assert {row[1] for row in piece_list(plant, found)[1:]} == {
        t for line in every for t in line.route.lines
    }


def _along(route: Route, point: tuple[float, float, float]) -> float:
    run = 0.0
    for a, b in pairwise(route.points):
        if math.dist(a, point) + math.dist(point, b) < math.dist(a, b) + 1e-3:
            return run + math.dist(a, point)
        run += math.dist(a, b)
    raise AssertionError("a support beside its line")


def test_supports_stand_by_bends_and_within_the_span() -> None:
    """Would fail if a bend had no support near it."""
    points = ((0.0, 0.0, 0.0), (4.0, 0.0, 0.0), (4.0, 0.0, 2.0), (9.0, 0.0, 2.0))
    marks = supports_of(points, 3.0, 0.3)
    for bend in points[1:-1]:
        assert min(math.dist(bend, m) for m in marks) <= 0.3 + 1e-9


@pytest.mark.parametrize(("layout", "stalls"), [("rotary", 60), ("rows", 32)])
def test_marks_of_a_sketch_keep_clear_of_its_list(layout: str, stalls: int) -> None:
    """Would fail if the mark of a low joint stood against the first row of lengths below it, or one
    bend were told as several."""
    plant = briefed(layout, stalls)
    for sheet in plan_sheets(plant):
        if not sheet.key.endswith("-lines"):
            continue
        words = texts(ET.fromstring(plan_svg(plant, sheet)))
        assert not [w for w, _ in words if re.search(r"(?<!\d)1 (bends|supports)", w)]
        rows = [box for w, box in words if re.match(r"\d+-\d+ ", w)]
        for mark, box in words:
            if re.match(r"\d+( high| low)?$", mark):
                assert not any(meet(box, row, -CLEAR_MM) for row in rows), (sheet.key, mark)
