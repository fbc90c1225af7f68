"""Lines through the plan: their supports, and what of a ring no plan shows."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pytest

from byrewright.standards.rulebook import default_rulebook
from byrewright.studies import pipework
from byrewright.studies.pipework import lines_of, on_round_m, span_m

RULES = default_rulebook()


@pytest.mark.parametrize(("service", "bore_mm", "rule"), [
    ("milk", 32, "tube_small"), ("wash", 33, "tube"), ("air", 10, "steel_15"),
    ("water", 15, "steel_15"), ("water", 39, "steel_25"), ("vacuum", 40, "steel_40"),
    ("vacuum", 110, "steel_100"),
])  # fmt: skip
def test_supports_by_tube_and_size(service: str, bore_mm: float, rule: str) -> None:
    """Would fail if a pipe were held as seldom as the next larger one may be."""
    assert span_m(service, bore_mm, RULES) == RULES.number(f"place.support_{rule}_m")


@pytest.mark.parametrize(("length_m", "said", "points", "more_m"), [
    (7.6, "from the plan", 3, 0.6), (7.5, "from the plan", 3, 0.0), (6.0, "from the plan", 3, 0.0),
    (20.0, "stated", 3, 0.0), (20.0, "from the plan", 1, 0.0), (9.0, "from the plan", 2, 6.0),
])  # fmt: skip
def test_what_a_line_has_along_its_ring(
    length_m: float, said: str, points: int, more_m: float
) -> None:
    """Three metres and four at a right angle: would fail if rounding made a ring, a stated length
    were taken for one, or a ring were as long as its way there."""
    pipe: Any = SimpleNamespace(length_m=length_m, length_from=said)
    way = ((0.0, 0.0, 0.0), (3.0, 0.0, 0.0), (3.0, 4.0, 0.0))
    laid: Any = SimpleNamespace(points=way[:points])
    assert on_round_m(pipe, laid) == pytest.approx(more_m)


def test_a_bundle_is_held_by_its_widest(monkeypatch: pytest.MonkeyPatch) -> None:
    """Would fail if pipes on one way were held as the thinnest of them may be, or lines stood in
    another order than by service and tag."""
    monkeypatch.setattr(pipework, "made_of", lambda route, _, __, ___, span, ____: (
        SimpleNamespace(route=route, span=span)))  # fmt: skip
    pipes = [SimpleNamespace(id=t, bore_mm=b) for t, b in
             (("L1", 15.0), ("L2", 50.0), ("L3", 20.0), ("L4", 60.0))]  # fmt: skip
    routes = [SimpleNamespace(service=s, lines=lines, points=points) for s, lines, points in (
        ("other", ("L3",), (1,)), ("water", ("L2", "L1"), (1,)), ("water", ("L1",), (1,)),
        ("milk", ("L4",), (1,)), ("milk", ("L3",), ()))]  # fmt: skip
    plant: Any = SimpleNamespace(pipes=pipes)
    found: list[Any] = lines_of(plant, SimpleNamespace(routes=routes, laid=None))  # type: ignore[arg-type]
    assert [m.route.lines for m in found] == [("L4",), ("L1",), ("L2", "L1"), ("L3",)]
    assert found[2].span == RULES.number("place.support_steel_50_m")
