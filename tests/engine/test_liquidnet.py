"""The solver of liquid networks against closed forms, and what holds of every network."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from byrewright.engine.liquidnet import (
    BACK,
    CENTRIFUGAL,
    ONE_WAY,
    PIPE,
    POWER,
    RATED,
    Net,
    Solved,
    element_loss,
    solve,
)
from byrewright.physics.constants import GRAVITY_M_S2
from byrewright.physics.pipeflow import drop_kpa, friction
from tests.liquidnets import curve, draw, net, pipe_row

EXACT = 1e-6  # the solver stops at 1e-8 of the greatest flow
ROUND = 1e-9  # what a sum of flows may be off by rounding, as a share of the greatest


def _net(links: list[tuple[int, int, list[tuple[int, list[float]]]]], held: list[float],
         taken: list[float], made: float = 1.0) -> Solved:  # fmt: skip
    span, law, par = [], [], []
    for _, _, chain in links:
        span.append((len(law), len(law) + len(chain)))
        law += [one for one, _ in chain]
        par += [(row + [0.0] * 5)[:5] for _, row in chain]
    one = Net(
        np.array([(a, b) for a, b, _ in links], np.int64), np.array(span, np.int64),
        np.array(law, np.int64), np.full(len(law), made), np.array(par, float), np.array(held),
        np.array(taken),
    )  # fmt: skip
    return solve(one, np.zeros(0))


def test_two_tanks_and_a_pipe() -> None:
    """Would fail if the head between two tanks were not the friction of the pipe between."""
    found = _net([(0, 1, [(PIPE, pipe_row(40.0, 0.05, 2.5, nu=1e-6, rough_m=1.5e-5))])],
                 [3.0, 1.0], [])  # fmt: skip
    lost = drop_kpa(found.flow[0] * 60_000, 40.0, 50.0, 1000.0, 1.0, 0.015, 2.5)
    assert lost == pytest.approx(2.0 * GRAVITY_M_S2, rel=EXACT)


def test_parallel_pipes_share_and_series_add() -> None:
    """Would fail if two ways side by side did not share, or two in a row did not add."""
    one, three = [(POWER, [4e5, 2.0])], [(POWER, [9 * 4e5, 2.0])]
    side = _net([(0, 1, one), (0, 1, three)], [2.0, 0.0], [])
    assert side.flow[0] == pytest.approx(3 * side.flow[1], rel=EXACT)
    row = _net([(1, 0, one), (0, 2, three)], [2.0, 0.0], [0.0])
    assert row.flow[0] == pytest.approx(math.sqrt(2.0 / (10 * 4e5)), rel=EXACT)
    assert row.head[0] == pytest.approx(2.0 - 0.2, rel=EXACT)
    assert _net([(0, 1, one + three)], [2.0, 0.0], []).flow[0] == pytest.approx(row.flow[0])


@pytest.mark.parametrize("speed", [1.0, 0.7])
def test_a_pump_meets_its_system(speed: float) -> None:
    """Would fail if the crossing of curve and system, or the affinity laws, were wrong."""
    top, a, r, lift = 20.0, 2e5, 5e5, 3.0
    pump = (CENTRIFUGAL, [top, a, 2.0, speed, 0.0])
    found = _net([(0, 1, [pump, (POWER, [r, 2.0])])], [0.0, lift], [])
    assert found.flow[0] == pytest.approx(math.sqrt((speed**2 * top - lift) / (a + r)), rel=EXACT)


def test_a_pump_curve_passes_its_three_points() -> None:
    """Would fail if shut-off, rated or run-out point were missed."""
    points = ((0.0, 25.0), (0.003, 20.0), (0.0045, 12.0))
    top, a, b, _, _ = curve(points)
    for q, h in points:
        assert top - a * q**b == pytest.approx(h)


def test_a_non_return_valve_shuts_and_opens() -> None:
    """Would fail if liquid came back through it, or it opened below its opening head."""
    chain = [(POWER, [1e5, 2.0]), (ONE_WAY, [0.5, 0.0])]
    assert abs(_net([(0, 1, chain)], [1.0, 3.0], []).flow[0]) < 1e-8
    assert 0 <= _net([(0, 1, chain)], [1.4, 1.0], []).flow[0] < 1e-7
    assert _net([(0, 1, chain)], [2.5, 1.0], []).flow[0] == pytest.approx(math.sqrt(1e-5))


def test_a_pump_behind_non_return_valves_starts_from_either_side() -> None:
    """Would fail if a flow begun the wrong way counted as settled while its valves were shut."""
    chain = [(ONE_WAY, [0.0, 0.0]), (POWER, [2.9e7, 2.0]), (CENTRIFUGAL, [11.25, 1.0e8, 2.36, 1.0]),
             (ONE_WAY, [0.0, 0.0])]  # fmt: skip
    along = _net([(0, 1, chain)], [0.2, -4.5], [])
    against = _net([(1, 0, chain)], [0.2, -4.5], [], made=-1.0)
    assert along.flow[0] > 5e-4
    assert against.flow[0] == pytest.approx(-along.flow[0])


def test_a_weak_pump_beside_a_strong_one_gives_nothing() -> None:
    """Would fail if a pump that is overpowered passed liquid back through its valve."""

    def pump(top: float) -> list[tuple[int, list[float]]]:
        return [(CENTRIFUGAL, [top, 1e5, 2.0, 1.0, 0.0]), (ONE_WAY, [0.0, 0.0])]

    found = _net([(1, 0, pump(20.0)), (1, 0, pump(5.0)), (0, 2, [(POWER, [1e5, 2.0])])],
                 [0.0, 0.0], [0.0])  # fmt: skip
    assert abs(found.flow[1]) < 1e-7
    assert found.flow[0] == pytest.approx(0.01, rel=1e-4)


@given(st.integers(1000, 100_000))
@settings(deadline=None, max_examples=60)
def test_every_network_balances(seed: int) -> None:
    """Would fail if a junction lost liquid, a law were not met, or the method did not end."""
    case = draw(seed)
    arrays = net(case)
    found = solve(arrays, np.zeros(0))
    assert found.left < RATED
    assert found.steps <= 30
    over = np.array(case.taken)
    for (a, b), q in zip(arrays.ends, found.flow, strict=True):
        if a < case.junctions:
            over[a] += q
        if b < case.junctions:
            over[b] -= q
    assert np.abs(over).max() <= ROUND * max(np.abs(found.flow).max(), 1e-3)
    again = solve(arrays, found.flow)
    assert again.steps <= 3
    assert np.allclose(again.flow, found.flow, rtol=1e-6, atol=1e-9)


@given(st.floats(50.0, 1e7), st.floats(0.0, 0.04))
@settings(deadline=None)
def test_the_slope_of_friction_is_its_slope(number: float, rough: float) -> None:
    """Would fail if the step of the solver did not know the law it solves."""
    f, slope = friction(number, rough)
    step = 1e-5 * number
    if (number - step < 100.0) != (number + step < 100.0):
        return
    high, low = friction(number + step, rough)[0], friction(number - step, rough)[0]
    assert (high - low) / (2 * step) == pytest.approx(slope, rel=2e-3, abs=1e-6 * f / number)


LAWS = {
    "a pipe": (PIPE, pipe_row(40.0, 0.05, 2.5, nu=1e-6, rough_m=1.5e-5)),
    "a pipe of no length": (PIPE, [4e5, 0.0, 0.0, 1e6, 2.5]),
    "a loss": (POWER, [4e5, 1.8, 0.0, 0.0, 0.0]),
    "a pump": (CENTRIFUGAL, [20.0, 2e5, 2.2, 0.8, 0.0]),
    "a valve": (ONE_WAY, [0.5, 3e5, 0.0, 0.0, 0.0]),
}  # fmt: skip


@pytest.mark.parametrize("q", [3e-3, 2e-5, 4e-10, 5e-17, -2e-3])
@pytest.mark.parametrize("of", LAWS)
def test_the_slope_of_every_law_is_its_slope(of: str, q: float) -> None:
    """Would fail if the solver stepped by another law than it balances, also where nearly nothing
    flows or something would flow back."""
    law, row = LAWS[of]
    par = np.array(row, float)
    loss, slope = element_loss(law, q, par)
    step = 1e-5 * abs(q)
    high, low = (element_loss(law, q + by, par)[0] for by in (step, -step))
    if law == CENTRIFUGAL and 0 < q < 1e-8:
        return  # drowned in what it lifts
    if abs(q) > 1e-12:  # closer to nothing the two losses are alike
        assert (high - low) / (2 * step) == pytest.approx(slope, rel=2e-3)
    else:
        assert loss - element_loss(law, 0.0, par)[0] == pytest.approx(
            slope * q, rel=0.02, abs=1e-14
        )
    if q < 0 and law in (CENTRIFUGAL, ONE_WAY):
        assert slope == BACK
