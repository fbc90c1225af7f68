"""Properties of the air network solver over networks nobody drew by hand."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from byrewright.engine import airnet
from tests.airnets import AMBIENT_KPA, march, net, steady

MASS = 1e-8  # kg/s left at a node: 0.0005 L/min
STILL_KPA = 1e-6  # pressures that must not differ beyond rounding of the solver
SETTLED_KPA = 1e-3  # after many times the slowest filling time
TIGHT = 1e-7  # kg/s past a valve that holds: 0.005 L/min
SLIP = 1 / 0.9 - 1
BORES = st.sampled_from([0.038, 0.050, 0.073, 0.098, 0.150])


@st.composite
def networks(draw: st.DrawFn) -> dict:  # type: ignore[type-arg]
    """A tree of 2 to 14 nodes with up to 4 more edges for loops, inlets, a pump, a regulator."""
    n = draw(st.integers(2, 14))
    edges = [(draw(st.integers(0, k - 1)), k) for k in range(1, n)]
    for _ in range(draw(st.integers(0, 4))):
        a, b = draw(st.integers(0, n - 1)), draw(st.integers(0, n - 1))
        if a != b:
            edges.append((a, b))
    rows = [
        (
            a,
            b,
            draw(BORES),
            draw(st.floats(0.3, 30.0)),
            draw(st.floats(0.0, 3.0)),
            2e-5,
            airnet.PIPE,
        )
        for a, b in edges
    ]
    inlets = [
        (draw(st.integers(0, n - 1)), draw(st.sampled_from([airnet.ORIFICE, airnet.PROPORTIONAL])),
         draw(st.floats(0.0, 0.02)), 42.0)
        for _ in range(draw(st.integers(1, 6)))
    ]  # fmt: skip
    pump = (0, draw(st.floats(0.05, 0.3)), SLIP, SLIP + 0.5, draw(st.floats(0.0, 200.0)))
    regulator = (draw(st.integers(0, n - 1)), 0.2, 41.7, 0.6, 0.0, -1.0)
    volumes = [draw(st.floats(0.005, 0.3)) for _ in range(n)]
    return {"nodes": n, "edges": rows, "inlets": inlets, "pumps": [pump],
            "regulators": [regulator], "volumes": volumes}  # fmt: skip


def _left_over(one: airnet.Net, p: np.ndarray, flow: np.ndarray) -> np.ndarray:
    """Air left at each node, added up apart from the solver."""
    left = np.zeros(p.size)
    for (a, b, _), m in zip(one.ends, flow, strict=True):
        left[a] -= m
        left[b] += m
    for (k, law), (q, at) in zip(one.where, one.inlet, strict=True):
        left[k] += airnet.inlet_flow(int(law), float(q), float(at), float(p[k]), AMBIENT_KPA)[0]
    for k, g in zip(one.regulator_at, one.regulator, strict=True):
        left[k] += airnet.regulator_flow(*g, AMBIENT_KPA - float(p[k]))[0]
    for k, row in zip(one.pump_at, one.pump, strict=True):
        left[k] -= airnet.pump_flow(row, float(p[k]), AMBIENT_KPA, 1.0)[0]
    return left


@settings(max_examples=80, deadline=None)
@given(networks())
def test_air_is_conserved_at_every_node(made: dict) -> None:  # type: ignore[type-arg]
    """Would fail if air appeared or vanished at a node, or the solver stopped short."""
    one = net(**made)
    p, flow, left = steady(one, [1.0])
    assert left < airnet.GOOD
    assert np.all(p > 0.0) and np.all(p < AMBIENT_KPA + 1e-6)
    assert np.abs(_left_over(one, p, flow)).max() < MASS


@settings(max_examples=40, deadline=None)
@given(networks(), st.data())
def test_the_start_does_not_matter(made: dict, data: st.DataObject) -> None:  # type: ignore[type-arg]
    """Would fail if the solver had more than one answer, or found one from one side only."""
    one = net(**made)
    first, _, _ = steady(one, [1.0], 99.0)
    other, _, _ = steady(one, [1.0], data.draw(st.floats(25.0, 90.0)))
    assert np.abs(first - other).max() < STILL_KPA


@settings(max_examples=40, deadline=None)
@given(networks(), st.data())
def test_more_air_let_in_raises_vacuum_nowhere(made: dict, data: st.DataObject) -> None:  # type: ignore[type-arg]
    """Would fail if letting in air somewhere could better the vacuum anywhere."""
    before, _, _ = steady(net(**made), [1.0])
    node = data.draw(st.integers(0, made["nodes"] - 1))
    more = {**made, "inlets": [*made["inlets"], (node, airnet.FIXED, 0.01, 1.0)]}
    after, _, _ = steady(net(**more), [1.0])
    assert np.all(after >= before - STILL_KPA)


@settings(max_examples=40, deadline=None)
@given(networks(), st.integers(0, 12))
def test_a_faster_pump_and_a_shut_leak_never_hurt(made: dict, which: int) -> None:  # type: ignore[type-arg]
    """Would fail if a larger pump, or one leak less, lowered the vacuum anywhere."""
    base, _, _ = steady(net(**made), [1.0])
    pump = made["pumps"][0]
    larger = {**made, "pumps": [(pump[0], pump[1] * 1.2, *pump[2:4], 0.0)]}
    less = {**made, "inlets": [r for i, r in enumerate(made["inlets"]) if i != which]}
    for other in (larger, less):
        p, _, _ = steady(net(**other), [1.0])
        assert np.all(p <= base + STILL_KPA)


@settings(max_examples=15, deadline=None)
@given(networks())
def test_the_march_in_time_ends_in_the_steady_state(made: dict) -> None:  # type: ignore[type-arg]
    """Would fail if time steps and steady state solved different networks."""
    # A wide band: a narrow regulator on a few litres or behind a thin pipe hunts, as in life.
    pump = made["pumps"][0]
    real = {
        **made,
        "volumes": [0.1 + v for v in made["volumes"]],
        "pumps": [(0, max(0.15, pump[1]), *pump[2:])],
        "regulators": [(0, 0.2, 36.0, 12.0, 0.0, -1.0)],
    }
    wanted, _, _ = steady(net(**real), [1.0])
    p = np.full(made["nodes"], 80.0)
    _, _, left = march(net(**real), p, 600.0, dt=0.1, speed=[1.0])
    assert left < airnet.GOOD
    assert np.abs(p - wanted).max() < SETTLED_KPA


def test_a_wider_pipe_on_the_only_way_never_hurts_the_far_end() -> None:
    """Would fail if the drop of a pipe in a run did not fall with its bore."""
    vacuum = []
    for bore in (0.050, 0.060, 0.073, 0.098, 0.150):
        one = net(
            3,
            [(2, 1, 0.073, 10.0, 1.0, 0.0, airnet.PIPE), (1, 0, bore, 15.0, 0.5, 0.0, airnet.PIPE)],
            [(2, airnet.ORIFICE, 0.05, 42.0)], [(0, 0.25, SLIP, SLIP, 0.0)],
        )  # fmt: skip
        p, _, _ = steady(one, [1.0])
        vacuum.append(AMBIENT_KPA - float(p[2]))
    assert vacuum == sorted(vacuum)


def test_a_non_return_valve_holds_and_a_shut_valve_parts() -> None:
    """Would fail if air came back past a good valve, or through a shut one."""
    for law, tight in ((airnet.CHECK, True), (airnet.SHUT, True), (airnet.PIPE, False)):
        one = net(
            3, [(1, 0, 0.1, 2.0, 1.0, 0.0, airnet.PIPE), (1, 2, 0.1, 2.0, 1.0, 0.0, law)],
            [(1, airnet.ORIFICE, 0.03, 42.0)],
            [(0, 0.25, SLIP, SLIP + 0.5, 0.0), (2, 0.25, SLIP, SLIP + 0.5, 0.0)],
        )  # fmt: skip
        _, flow, left = steady(one, [1.0, 0.0])
        assert left < airnet.GOOD
        assert bool(abs(flow[1]) < TIGHT) is tight


def test_speed_control_holds_its_vacuum_or_stands_at_a_stop() -> None:
    """Would fail if the common speed were not the one that gives the wanted vacuum."""
    for air, wanted in ((0.06, None), (0.002, 0.35), (0.2, 1.0)):
        one = net(1, [], [(0, airnet.FIXED, air, 1.0)], [(0, 0.25, SLIP, SLIP, 0.0)])
        p, speed = np.full(1, 60.0), np.ones(1)
        control = airnet.Control(0, 42.0, 0.2, 1.0, 0.2, 0.35, 0.1, 0.2, 1.0, 1.0)
        share, left = airnet.settle(
            one, p, np.zeros(0), speed, np.ones(1), control, airnet.room(1, 0)
        )
        assert left < airnet.GOOD
        if wanted is None:
            assert abs(AMBIENT_KPA - p[0] - 42.0) < 2e-5 and 0.35 < share < 1.0
        else:
            assert share == wanted


def test_one_signature_each() -> None:
    """Would fail if a kernel were compiled again for arrays of another kind."""
    from byrewright.engine import airmarch

    for kernel in (airnet.solve, airnet.settle, airnet.balance, airmarch.march):
        assert len(kernel.signatures) <= 1  # type: ignore[attr-defined]
