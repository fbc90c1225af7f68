"""Slopes by which the solver of air networks steps, against the air that it balances."""

from __future__ import annotations

import numpy as np
import pytest

from byrewright.engine import airnet
from tests.airnets import net, steady


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
