"""Compiled solver of an airflow network: steady state and time steps by one Newton method.

Unknown is the squared absolute pressure at each node. The flow of every edge is monotone in the
difference of squares, every inlet falls and every pump rises with pressure, so the balance is the
gradient of a convex function: the matrix is symmetric and positive, and a line search makes
Newton's method safe from any start. An implicit time step only adds storage at the nodes.

Laws, not machines: 0 a pipe (length, bore, loss), 1 the same one way only, 2 shut. Inlets:
0 orifice, 1 in proportion to vacuum, 2 fixed, 3 holds a pressure. All flows kg/s, pressures kPa
absolute. Sizes: n nodes, e edges, i inlets, u pumps, r regulators.
"""

from __future__ import annotations

import math
from typing import Any, NamedTuple

import numpy as np

from byrewright.engine.jit import array_kernel as kernel
from byrewright.physics import airflow
from byrewright.physics.constants import AIR_GAS_CONSTANT_J_KGK

PIPE, CHECK, SHUT = 0, 1, 2
ORIFICE, PROPORTIONAL, FIXED, HOLD = 0, 1, 2, 3
_R = AIR_GAS_CONSTANT_J_KGK
_HOLD = 1.0e4  # kg/s per kPa: a held node is off by 1e-5 kPa at 0.1 kg/s
_TOLERANCE = 1.0e-10  # kg/s left at a node: 5e-6 L/min
_STEP_TOLERANCE = 1.0e-7  # the same in a time step
GOOD = 1.0e-6
"""Air left over, kg/s (0.05 L/min), above which an answer has not converged."""
_LEAST_REYNOLDS = 10.0  # below it a pure loss turns linear in flow
_MOST_STEPS = 300

_friction = kernel(airflow.friction)
_orifice = kernel(airflow.orifice_share)
_pump = kernel(airflow.pump_air_kg_s)


class Net(NamedTuple):
    """The whole network as arrays, one row a thing.

    air: ambient pressure kPa, temperature K, viscosity Pa s; (3,)
    ends: end a, end b, law of each edge; (e, 3) integers
    pipe: bore m, equivalent length m, loss K, relative roughness of each edge; (e, 4)
    where: node and law of each inlet; (i, 2) integers
    inlet: flow kg/s and the vacuum kPa it holds at (for a hold: the pressure); (i, 2)
    pump_at: node of each pump; (u,) integers
    pump: displacement kg/s of free air, slip, slip at rest, silencer kPa/(kg/s)2; (u, 4)
    regulator_at: node of each regulator; (r,) integers
    regulator: capacity kg/s, vacuum at which it starts to open, band kPa, leak kg/s, opening (-1
      follows its band, else stuck at a share); (r, 5)
    volume: m3 at each node; (n,)
    place, first: each node's row in the matrix, and the first column of each row; (n,) integers
    """

    air: Any
    ends: Any
    pipe: Any
    where: Any
    inlet: Any
    pump_at: Any
    pump: Any
    regulator_at: Any
    regulator: Any
    volume: Any
    place: Any
    first: Any


class Control(NamedTuple):
    """Speed control: node sensed, wanted vacuum, gain 1/kPa, integral time s, ramp 1/s, least
    speed, filter s, regulator lag s, run-up and run-down 1/s."""

    node: int
    wanted: float
    gain: float
    integral: float
    ramp: float
    least: float
    filter: float
    lag: float
    up: float
    down: float


class Room(NamedTuple):
    """Work arrays, so that a march allocates nothing.

    by_node: left over, diagonal, step, turned step, squared pressure; (5, n). slope: of each
    edge; (e,). matrix: (n, n).
    """

    by_node: Any
    slope: Any
    matrix: Any


LEFT, DIAGONAL, STEP, TURNED, SQUARE = 0, 1, 2, 3, 4


def room(nodes: int, edges: int) -> Room:
    """Work arrays for a network of that size."""
    return Room(np.zeros((5, nodes)), np.zeros(edges), np.zeros((nodes, nodes)))


@kernel
def edge_fall(
    m: float, bore: float, length: float, loss: float, rough: float, kelvin: float, mu: float
) -> tuple[float, float]:
    """Fall of squared pressure, kPa2, and its slope, for m >= 0: isothermal flow with friction."""
    c = 16.0e-6 * _R * kelvin / (math.pi**2 * bore**4)
    per = 4.0 / (math.pi * bore * mu)
    least = _LEAST_REYNOLDS / per
    value = c * loss * m * (m + least)
    slope = c * loss * (2.0 * m + least)
    if length > 0.0:
        f, df = _friction(m * per, rough)
        along = c * length / bore
        value += along * f * m * m
        slope += along * (2.0 * f * m + df * per * m * m)
    return value, slope


@kernel
def edge_flow(
    fall: float, start: float, bore: float, length: float, loss: float, rough: float,
    kelvin: float, mu: float,
) -> tuple[float, float]:  # fmt: skip
    """Flow kg/s for a fall of squared pressure kPa2, and its slope; `start` is a first guess."""
    want = abs(fall)
    low = 0.0
    high = math.inf
    m = abs(start)
    if m < 1e-6:  # from nothing: as if turbulent
        head = 16.0e-6 * _R * kelvin / (math.pi**2 * bore**4) * (loss + 0.02 * length / bore)
        m = max(m, 0.5 * math.sqrt(want / head), 1e-9)
    slope = 1.0
    for _ in range(60):
        value, slope = edge_fall(m, bore, length, loss, rough, kelvin, mu)
        if abs(value - want) <= 1e-13 * slope + 1e-13 * want:
            break
        if value < want:
            low = m
        else:
            high = m
        new = m + (want - value) / slope
        if new <= low or new >= high:
            new = 0.5 * (low + high) if high < math.inf else 2.0 * m
        m = new
    return math.copysign(m, fall), 1.0 / slope


@kernel
def inlet_flow(law: int, flow: float, at: float, p: float, pa: float) -> tuple[float, float]:
    """Air let in at one inlet, kg/s, and its slope per kPa."""
    if law == FIXED:
        return flow, 0.0
    if law == HOLD:
        return _HOLD * (at - p), -_HOLD
    if law == PROPORTIONAL:
        return flow / at * (pa - p), -flow / at
    now, slope = _orifice(p, pa)
    base, _ = _orifice(pa - at, pa)
    return flow * now / base, flow * slope / base


@kernel
def regulator_flow(
    capacity: float, opens: float, band: float, leak: float, opening: float, vacuum: float
) -> tuple[float, float]:
    """Air let in by a regulator, kg/s, and its slope per kPa of pressure."""
    pull = min(1.0, max(0.0, vacuum / opens))  # no vacuum draws no air
    steep = -1.0 / opens if 0.0 < vacuum < opens else 0.0
    if opening >= 0.0:
        whole = leak + capacity * opening
        return whole * pull, whole * steep
    share = (vacuum - opens) / band
    if share <= 0.0:
        return leak * pull, leak * steep
    if share >= 1.0:
        return leak + capacity, 0.0
    return leak + capacity * share, -capacity / band


@kernel
def pump_flow(pump: Any, p: float, pa: float, speed: float) -> tuple[float, float]:
    """Air drawn by a pump (its row), kg/s, and its slope per kPa; at rest it leaks back."""
    if speed <= 0.0:
        return _pump(0.0, p, pa, pump[0], pump[2], pump[3])
    return _pump(speed, p, pa, pump[0], pump[1], pump[3])


@kernel
def balance(net: Net, flow: Any, speed: Any, old: Any, dt: float, work: Room) -> None:
    """Air left over at each node for the squared pressures in `work`, and all slopes by them."""
    square = work.by_node[SQUARE]
    left = work.by_node[LEFT]
    diagonal = work.by_node[DIAGONAL]
    pa = net.air[0]
    store = 1000.0 / (_R * net.air[1] * dt)
    for k in range(square.size):
        p = math.sqrt(square[k])
        gain = net.volume[k] * store
        left[k] = -gain * (p - old[k])
        diagonal[k] = 1e-12 + gain / (2.0 * p)
    for e in range(flow.size):
        a = net.ends[e, 0]
        b = net.ends[e, 1]
        law = net.ends[e, 2]
        fall = square[a] - square[b]
        m, g = 0.0, 0.0
        if law == CHECK and fall <= 0.0:
            m, g = 1e-12 * fall, 1e-12
        elif law != SHUT:
            loss = net.pipe[e, 2]
            if net.pipe[e, 1] > 0.0:  # the air expands on its way: 2 ln(p1/p2)
                loss += abs(math.log(square[a] / square[b]))
            m, g = edge_flow(
                fall, flow[e], net.pipe[e, 0], net.pipe[e, 1], loss, net.pipe[e, 3], net.air[1],
                net.air[2],
            )  # fmt: skip
        flow[e] = m
        work.slope[e] = g
        left[a] -= m
        left[b] += m
    for i in range(net.where.shape[0]):
        k = net.where[i, 0]
        p = math.sqrt(square[k])
        q, dq = inlet_flow(net.where[i, 1], net.inlet[i, 0], net.inlet[i, 1], p, pa)
        left[k] += q
        diagonal[k] -= dq / (2.0 * p)
    for r in range(net.regulator_at.size):
        k = net.regulator_at[r]
        p = math.sqrt(square[k])
        g = net.regulator
        q, dq = regulator_flow(g[r, 0], g[r, 1], g[r, 2], g[r, 3], g[r, 4], pa - p)
        left[k] += q
        diagonal[k] -= dq / (2.0 * p)
    for u in range(net.pump_at.size):
        k = net.pump_at[u]
        p = math.sqrt(square[k])
        q, dq = pump_flow(net.pump[u], p, pa, speed[u])
        left[k] -= q
        diagonal[k] += dq / (2.0 * p)


@kernel
def _direction(net: Net, work: Room) -> None:
    """Solve the symmetric matrix of slopes for what is left over, by L D L' in its envelope."""
    matrix = work.matrix
    step = work.by_node[TURNED]
    place = net.place
    first = net.first
    n = step.size
    for i in range(n):
        for j in range(first[i], i + 1):
            matrix[i, j] = 0.0
    for k in range(n):
        matrix[place[k], place[k]] = work.by_node[DIAGONAL, k]
        step[place[k]] = work.by_node[LEFT, k]
    for e in range(net.ends.shape[0]):
        a = place[net.ends[e, 0]]
        b = place[net.ends[e, 1]]
        g = work.slope[e]
        matrix[a, a] += g
        matrix[b, b] += g
        matrix[max(a, b), min(a, b)] -= g
    for i in range(n):
        for j in range(first[i], i):
            total = matrix[i, j]
            for k in range(max(first[i], first[j]), j):
                total -= matrix[i, k] * matrix[j, k]
            matrix[i, j] = total
        pivot = matrix[i, i]
        for j in range(first[i], i):
            scaled = matrix[i, j] / matrix[j, j]
            pivot -= matrix[i, j] * scaled
            matrix[i, j] = scaled
        matrix[i, i] = pivot
    for i in range(n):
        for j in range(first[i], i):
            step[i] -= matrix[i, j] * step[j]
    for i in range(n):
        step[i] /= matrix[i, i]
    for i in range(n - 1, -1, -1):
        for j in range(first[i], i):
            step[j] -= matrix[i, j] * step[i]


@kernel
def _straight(net: Net, flow: Any, work: Room) -> None:
    """Take each edge as straight, as at its flow or 2 m/s, for a first field of pressures."""
    square = work.by_node[SQUARE]
    left = work.by_node[LEFT]
    for e in range(flow.size):
        law = net.ends[e, 2]
        if law == SHUT or (law == CHECK and flow[e] < 0.0):
            continue
        a = net.ends[e, 0]
        b = net.ends[e, 1]
        bore = net.pipe[e, 0]
        dense = 1000.0 * math.sqrt(square[a]) / (_R * net.air[1])
        m = max(abs(flow[e]), math.pi / 4.0 * bore * bore * dense * 2.0)
        value, _ = edge_fall(
            m, bore, net.pipe[e, 1], net.pipe[e, 2], net.pipe[e, 3], net.air[1], net.air[2]
        )
        work.slope[e] = m / value
        change = flow[e] - m / value * (square[a] - square[b])
        left[a] += change
        left[b] -= change


@kernel
def solve(net: Net, p: Any, flow: Any, speed: Any, old: Any, dt: float, work: Room) -> float:
    """Bring pressures `p` and flows `flow` into balance; returns the air left over, kg/s.

    `dt` infinite gives the steady state, else one implicit step from `old`. A result above
    `GOOD` kg/s has not converged and must not be used. From nothing (all flows zero) two rounds
    with straight edges come first; then Newton's method, each step searched along its line.
    """
    square = work.by_node[SQUARE]
    step = work.by_node[STEP]
    n = p.size
    for k in range(n):
        square[k] = p[k] * p[k]
    steady = math.isinf(dt)
    least = _TOLERANCE if steady else _STEP_TOLERANCE
    rounds = 3 if steady and _largest(flow) == 0.0 else 0
    worst = math.inf
    start, share, tries = 0.0, 1.0, 0
    for _ in range(_MOST_STEPS):
        balance(net, flow, speed, old, dt, work)
        worst = _largest(work.by_node[LEFT])
        if rounds > 0:
            _straight(net, flow, work)
        elif tries > 0:
            now = 0.0
            for k in range(n):
                now += step[k] * work.by_node[LEFT, k]
            if now < -0.7 * start and tries < 25:
                shorter = share * min(0.7, max(0.1, start / (start - now)))
                for k in range(n):
                    square[k] += (shorter - share) * step[k]
                share = shorter
                tries += 1
                continue
        if rounds == 0 and worst < least:
            break
        _direction(net, work)
        start, share = 0.0, 1.0
        for k in range(n):
            step[k] = work.by_node[TURNED, net.place[k]]
            start += step[k] * work.by_node[LEFT, k]
            if step[k] < -0.75 * square[k]:
                share = min(share, -0.75 * square[k] / step[k])
        tries = 1
        if rounds > 0:
            rounds -= 1
            tries = 0
        for k in range(n):
            square[k] += share * step[k]
    for k in range(n):
        p[k] = math.sqrt(square[k])
    return worst


@kernel
def _largest(values: Any) -> float:
    most = 0.0
    for k in range(values.size):
        most = max(most, abs(values[k]))
    return most


@kernel
def settle(
    net: Net, p: Any, flow: Any, speed: Any, vary: Any, control: Control, work: Room
) -> tuple[float, float]:
    """Steady state with speed control: returns (speed of the pumps that vary, air left over).

    `speed` holds 1 for pumps that run and 0 for others; those that `vary` (1, else 0) get the
    common speed that gives the wanted vacuum, between the least speed and 1.
    """
    some = False
    for u in range(speed.size):
        some = some or (vary[u] > 0.0 and speed[u] > 0.0)
    low, high, at = control.least, 1.0, 1.0
    above, below, side = 0.0, 0.0, 0
    worst = 0.0
    for turn in range(60):
        if turn > 1:
            at = (low * above - high * below) / (above - below)
        elif turn == 1:
            at = low
        if some:
            for u in range(speed.size):
                if vary[u] > 0.0 and speed[u] > 0.0:
                    speed[u] = at
        worst = solve(net, p, flow, speed, p, math.inf, work)
        off = net.air[0] - p[control.node] - control.wanted
        if turn == 0:
            above = off
            if not some or off <= 0.0:
                break
        elif turn == 1:
            below = off
            if off >= 0.0:
                break
        elif abs(off) < 1e-5 or high - low < 1e-10:
            break
        elif off > 0.0:
            high, above = at, off
            if side == 1:
                below *= 0.5
            side = 1
        else:
            low, below = at, off
            if side == -1:
                above *= 0.5
            side = -1
    return at, worst
