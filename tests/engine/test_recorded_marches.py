"""Air marching in a small network with everything on it, as recorded; quick in plain Python too."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pytest

from byrewright.engine import airmarch, airnet
from tests.airnets import AMBIENT_KPA, Rows, march, net, steady
from tests.records import differing

SOLVED = 2e-6
"""Of sums: what the solver leaves over."""
EVENTS: dict[str, Rows] = {
    "quiet": (),
    "air comes in": ((0.2, airmarch.ON_INLET, 0, 0.02), (0.5, airmarch.ON_INLET, 0, 0.0)),
    "a pump stops": ((0.1, airmarch.ON_PUMP, 1, 0.0), (0.6, airmarch.ON_PUMP, 1, 1.0)),
    "a regulator sticks": (
        (0.1, airmarch.ON_REGULATOR, 0, 0.7),
        (0.6, airmarch.ON_REGULATOR, 0, -1),
    ),
    "a way shuts": ((0.3, airmarch.ON_EDGE, 1, airnet.SHUT),),
    "another setting": ((0.2, airmarch.ON_SETTING, 0, 46.0),),
    "a speed freezes": (
        (0.2, airmarch.ON_SPEED, 0, airmarch.AS_IT_IS),
        (0.3, airmarch.ON_INLET, 0, 0.03),
    ),
    "a speed is given": ((0.2, airmarch.ON_SPEED, 0, 0.6), (0.6, airmarch.ON_SPEED, 0, -1.0)),
}


def _plant() -> airnet.Net:
    """A vessel with pumps, one with a regulator, a line with inlets of three laws."""
    return net(
        4,
        edges=((0, 1, 0.075, 12.0, 3.0, 1e-4, 0), (1, 2, 0.05, 20.0, 4.0, 1e-4, 0),
               (1, 3, 0.05, 8.0, 2.0, 1.5e-5, 0), (2, 3, 0.04, 15.0, 1.0, 1e-4, airnet.CHECK)),
        inlets=((2, 0, 0.004, 42.0), (3, 1, 0.003, 42.0), (3, 0, 0.001, 40.0)),
        pumps=((0, 0.035, 0.004, 0.001, 2e4), (0, 0.02, 0.002, 0.001, 1e4)),
        regulators=((1, 0.05, 42.0, 1.5, 0.0004, -1.0),),
        volumes=(0.2, 0.1, 0.08, 0.05),
    )  # fmt: skip


def _told(what: str, array: np.ndarray) -> Iterator[str]:
    for column in range(array.shape[1]):
        one = array[:, column]
        weighed = float((one * (1.0 + np.arange(one.size) % 5)).sum())
        yield f"{what} {column}: {one.sum():.8g} {weighed:.8g}"


def _lines() -> list[str]:
    found = []
    p, flow, left = steady(_plant(), speed=(0.9, 1.0))
    found += _told("at rest", np.array([[*p, *flow]]))
    assert left < 1e-6
    for what, rows in EVENTS.items():
        marks, nodes, _ = march(_plant(), p.copy(), 0.9, 0.01, rows, (0.9, 1.0), (1.0, 0.0))
        found += [*_told(what, marks), *_told(f"{what}, nodes", nodes)]
    marks, nodes, _ = march(
        _plant(), np.full(4, AMBIENT_KPA), 0.9, 0.01, (), (0.0, 0.0), (1.0, 0.0)
    )
    return [*found, *_told("from rest", marks), *_told("from rest, nodes", nodes)]


RECORDS = {"engine/recorded/marches.txt": _lines}


def test_air_moves_as_it_did() -> None:
    """Would fail if pumps, regulators, ways or their control answered otherwise in time."""
    for file, made in RECORDS.items():
        assert differing(file, made(), SOLVED) == []


SLOPE = 0.03
"""Of slopes: what the air's expanding on its way adds is left out of them."""


@pytest.mark.parametrize("dt", [np.inf, 0.05])
@pytest.mark.parametrize("node", range(4))
@pytest.mark.parametrize("near_kpa", [0.0, 3.0])
def test_slopes_are_those_of_the_air_left_over(node: int, near_kpa: float, dt: float) -> None:
    """Would fail if the solver stepped by slopes of another law than it balances: it would need
    many steps, and in a large plant not arrive."""
    one = _plant()
    p, flow, _ = steady(one, speed=(0.9, 1.0))
    p += near_kpa * np.array([1.0, -0.5, 0.7, 0.2])
    work = airnet.room(4, 4)
    speed = np.array([0.9, 1.0])

    def left(by: float) -> float:
        work.by_node[airnet.SQUARE] = p**2
        work.by_node[airnet.SQUARE, node] += by
        airnet.balance(one, flow.copy(), speed, p.copy(), dt, work)
        return float(work.by_node[airnet.LEFT, node])

    least = 0.05
    measured = (left(-least) - left(least)) / (2 * least)
    left(0.0)
    at_it = [e for e, (a, b, _) in enumerate(one.ends) if node in (a, b)]
    told = work.by_node[airnet.DIAGONAL, node] + sum(work.slope[e] for e in at_it)
    assert told == pytest.approx(measured, rel=SLOPE)
