"""Compiled solver of an airflow network: steady state and time steps by one Newton method.

Unknown is the squared absolute pressure at each node. The flow of every joint is monotone in the
difference of squares, every inlet falls and every pump rises with pressure, so the balance is the
gradient of a convex function: the matrix is symmetric and positive, and a line search makes
Newton's method safe from any start. An implicit time step only adds storage at the nodes.

Laws, not machines: 0 a pipe (length, bore, loss), 1 the same one way only, 2 shut. Inlets:
0 orifice, 1 in proportion to vacuum, 2 fixed, 3 holds a pressure. All flows kg/s, pressures kPa
absolute. Sizes: n nodes, e joints, i inlets, u pumps, r regulators.
"""

from __future__ import annotations

import math
from typing import Any, NamedTuple

import numpy as np

from byrewright.engine.jit import kernel
from byrewright.physics import airflow
from byrewright.physics.constants import AIR_GAS_CONSTANT_J_KGK

PIPE, CHECK, SHUT = 0, 1, 2
ORIFICE, PROPORTIONAL, FIXED, HOLD = 0, 1, 2, 3
_R = AIR_GAS_CONSTANT_J_KGK
_HOLD = 1.0e4  # kg/s per kPa: a held node is off by 1e-5 kPa at 0.1 kg/s
_TOLERANCE = 1.0e-10  # kg/s left at a node: 5e-6 L/min
_STEP_TOLERANCE = 1.0e-8  # the same in a time step
GOOD = 1.0e-6
"""Air left over, kg/s (0.05 L/min), above which an answer has not converged."""
_LEAST_REYNOLDS = 10.0  # below it a pure loss turns linear in flow
_MOST_STEPS = 80

_friction = kernel(airflow.friction)
_orifice = kernel(airflow.orifice_share)
_pump = kernel(airflow.pump_air_kg_s)


class Air(NamedTuple):
    """Ambient air: pressure kPa absolute, temperature K, viscosity Pa s."""

    ambient: float
    kelvin: float
    viscosity: float


class Joints(NamedTuple):
    """Joints: ends a, b; bore and length m (equivalent), loss K, relative roughness, law; (e,)."""

    a: Any
    b: Any
    bore: Any
    length: Any
    loss: Any
    rough: Any
    law: Any


class Inlets(NamedTuple):
    """Air let in: node, law, flow kg/s at its vacuum kPa (for a hold: the pressure); (i,)."""

    node: Any
    law: Any
    flow: Any
    at: Any


class Pumps(NamedTuple):
    """Pumps: node, displacement kg/s of free air, slip, slip at rest, silencer; (u,)."""

    node: Any
    displaced: Any
    slip: Any
    rest_slip: Any
    back: Any


class Regulators(NamedTuple):
    """Regulators: node, capacity kg/s, vacuum at which it starts to open, band kPa, leak, opening
    (-1 follows its band, else stuck at a share); (r,)."""

    node: Any
    capacity: Any
    opens: Any
    band: Any
    leak: Any
    opening: Any


class Net(NamedTuple):
    """The whole network. `place` is each node's row in the matrix, `first` the first column."""

    air: Air
    joints: Joints
    inlets: Inlets
    pumps: Pumps
    regulators: Regulators
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


@kernel
def _fall(
    m: float, bore: float, length: float, loss: float, rough: float, kelvin: float, mu: float
) -> tuple[float, float]:
    """Fall of squared pressure, kPa2, and its slope, for m >= 0: isothermal flow with friction."""
    c = 16.0e-6 * _R * kelvin / (math.pi**2 * bore**4)
    per = 4.0 / (math.pi * bore * mu)
    least = _LEAST_REYNOLDS / per
    value = c * loss * m * (m + least)
    slope = c * loss * (2.0 * m + least)
    if length > 0.0:
        re = m * per
        ratio = length / bore
        if re < airflow.LAMINAR_TO:
            value += c * ratio * 64.0 / per * m
            slope += c * ratio * 64.0 / per
        else:
            f, df = _friction(re, rough)
            value += c * ratio * f * m * m
            slope += c * ratio * (2.0 * f * m + df * per * m * m)
    return value, slope


@kernel
def joint_flow(
    fall: float, start: float, bore: float, length: float, loss: float, rough: float,
    kelvin: float, mu: float,
) -> tuple[float, float]:  # fmt: skip
    """Flow kg/s for a fall of squared pressure kPa2, and its slope; `start` is a first guess."""
    want = abs(fall)
    low = 0.0
    high = math.inf
    m = max(abs(start), 1e-9)
    value, slope = _fall(m, bore, length, loss, rough, kelvin, mu)
    for _ in range(60):
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
        value, slope = _fall(m, bore, length, loss, rough, kelvin, mu)
    return math.copysign(m, fall), 1.0 / slope


@kernel
def _one_joint(net: Net, e: int, fall: float, extra: float, start: float) -> tuple[float, float]:
    j = net.joints
    if j.law[e] == SHUT:
        return 0.0, 0.0
    if j.law[e] == CHECK and fall <= 0.0:
        return 1e-12 * fall, 1e-12
    return joint_flow(
        fall, start, j.bore[e], j.length[e], j.loss[e] + extra, j.rough[e], net.air.kelvin,
        net.air.viscosity,
    )  # fmt: skip


@kernel
def _inlet(net: Net, i: int, p: float) -> tuple[float, float]:
    """Air let in at one inlet, kg/s, and its slope per kPa."""
    inlets = net.inlets
    law = inlets.law[i]
    pa = net.air.ambient
    if law == FIXED:
        return inlets.flow[i], 0.0
    if law == HOLD:
        return _HOLD * (inlets.at[i] - p), -_HOLD
    if law == PROPORTIONAL:
        each = inlets.flow[i] / inlets.at[i]
        return each * (pa - p), -each
    now, slope = _orifice(p, pa)
    base, _ = _orifice(pa - inlets.at[i], pa)
    return inlets.flow[i] * now / base, inlets.flow[i] * slope / base


@kernel
def regulator_flow(net: Net, r: int, p: float) -> tuple[float, float]:
    """Air let in by a regulator, kg/s, and its slope per kPa."""
    g = net.regulators
    opening = g.opening[r]
    if opening >= 0.0:
        return g.leak[r] + g.capacity[r] * opening, 0.0
    share = (net.air.ambient - p - g.opens[r]) / g.band[r]
    if share <= 0.0:
        return g.leak[r], 0.0
    if share >= 1.0:
        return g.leak[r] + g.capacity[r], 0.0
    return g.leak[r] + g.capacity[r] * share, -g.capacity[r] / g.band[r]


@kernel
def pump_flow(net: Net, u: int, p: float, speed: float) -> tuple[float, float]:
    """Air drawn by a pump, kg/s, and its slope per kPa; at rest it leaks back."""
    g = net.pumps
    slip = g.slip[u]
    if speed <= 0.0:
        slip = g.rest_slip[u]
    return _pump(max(speed, 0.0), p, net.air.ambient, g.displaced[u], slip, g.back[u])


@kernel
def balance(
    net: Net, square: Any, flow: Any, extra: Any, speed: Any, old: Any, dt: float, left: Any,
    diagonal: Any, slope: Any,
) -> None:  # fmt: skip
    """Air left over at each node, and the slopes of joints and nodes by squared pressure."""
    n = square.size
    store = 1000.0 / (_R * net.air.kelvin * dt)
    for k in range(n):
        left[k] = 0.0
        diagonal[k] = 1e-12
    for e in range(flow.size):
        a = net.joints.a[e]
        b = net.joints.b[e]
        m, g = _one_joint(net, e, square[a] - square[b], extra[e], flow[e])
        flow[e] = m
        slope[e] = g
        left[a] -= m
        left[b] += m
    for k in range(n):
        p = math.sqrt(square[k])
        gain = net.volume[k] * store
        left[k] -= gain * (p - old[k])
        diagonal[k] += gain / (2.0 * p)
    for i in range(net.inlets.node.size):
        k = net.inlets.node[i]
        p = math.sqrt(square[k])
        q, dq = _inlet(net, i, p)
        left[k] += q
        diagonal[k] -= dq / (2.0 * p)
    for r in range(net.regulators.node.size):
        k = net.regulators.node[r]
        p = math.sqrt(square[k])
        q, dq = regulator_flow(net, r, p)
        left[k] += q
        diagonal[k] -= dq / (2.0 * p)
    for u in range(net.pumps.node.size):
        k = net.pumps.node[u]
        p = math.sqrt(square[k])
        q, dq = pump_flow(net, u, p, speed[u])
        left[k] -= q
        diagonal[k] += dq / (2.0 * p)


@kernel
def _direction(net: Net, left: Any, diagonal: Any, slope: Any, matrix: Any, step: Any) -> None:
    """Solve the symmetric matrix of slopes for `left` by L D L' inside its envelope."""
    n = left.size
    place = net.place
    first = net.first
    for i in range(n):
        for j in range(first[i], i + 1):
            matrix[i, j] = 0.0
    for k in range(n):
        matrix[place[k], place[k]] = diagonal[k]
        step[place[k]] = left[k]
    for e in range(slope.size):
        a = place[net.joints.a[e]]
        b = place[net.joints.b[e]]
        matrix[a, a] += slope[e]
        matrix[b, b] += slope[e]
        matrix[max(a, b), min(a, b)] -= slope[e]
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


class Room(NamedTuple):
    """Work arrays, so that a march allocates nothing; (n,) but matrix (n, n), slope, extra (e,)."""

    left: Any
    diagonal: Any
    step: Any
    turned: Any
    square: Any
    matrix: Any
    slope: Any
    extra: Any


def room(nodes: int, joints: int) -> Room:
    """Work arrays for a network of that size."""
    z = np.zeros
    n, e = nodes, joints
    return Room(z(n), z(n), z(n), z(n), z(n), z((n, n)), z(e), z(e))


@kernel
def _expansion(net: Net, square: Any, extra: Any) -> None:
    """What the air's own expansion adds to the loss of each pipe: 2 ln(p1/p2)."""
    for e in range(extra.size):
        if net.joints.length[e] > 0.0:
            extra[e] = abs(math.log(square[net.joints.a[e]] / square[net.joints.b[e]]))


@kernel
def _search(
    net: Net, square: Any, flow: Any, speed: Any, old: Any, dt: float, work: Room
) -> None:  # fmt: skip
    """One Newton step with line search: moves `square`, leaves the balance there in `work`."""
    n = square.size
    step = work.step
    _direction(net, work.left, work.diagonal, work.slope, work.matrix, work.turned)
    start = 0.0
    share = 1.0
    for k in range(n):
        step[k] = work.turned[net.place[k]]
        start += step[k] * work.left[k]
        if step[k] < -0.75 * square[k]:
            share = min(share, -0.75 * square[k] / step[k])
    low = 0.0
    done = 0.0
    for _ in range(25):
        for k in range(n):
            square[k] += (share - done) * step[k]
        done = share
        balance(net, square, flow, work.extra, speed, old, dt, work.left, work.diagonal, work.slope)
        now = 0.0
        for k in range(n):
            now += step[k] * work.left[k]
        if now >= -0.7 * start:
            break
        share = low + (share - low) * min(0.7, max(0.1, start / (start - now)))


@kernel
def solve(net: Net, p: Any, flow: Any, speed: Any, old: Any, dt: float, work: Room) -> float:
    """Bring pressures `p` and flows `flow` into balance; returns the air left over, kg/s.

    `dt` infinite gives the steady state, else one implicit step from `old`. A result above
    `GOOD` kg/s has not converged and must not be used.
    """
    square = work.square
    for k in range(p.size):
        square[k] = p[k] * p[k]
    steady = math.isinf(dt)
    least = _TOLERANCE if steady else _STEP_TOLERANCE
    worst = math.inf
    for _ in range(4):  # the expansion term settles in two or three rounds
        _expansion(net, square, work.extra)
        balance(net, square, flow, work.extra, speed, old, dt, work.left, work.diagonal, work.slope)
        fresh = np.max(np.abs(work.left))
        worst = fresh
        for _ in range(_MOST_STEPS):
            if worst < least:
                break
            _search(net, square, flow, speed, old, dt, work)
            worst = np.max(np.abs(work.left))
        if not steady or fresh < 100.0 * least:
            break
    for k in range(p.size):
        p[k] = math.sqrt(square[k])
    return float(worst)


@kernel
def settle(
    net: Net, p: Any, flow: Any, speed: Any, vary: Any, control: Control, work: Room
) -> tuple[float, float]:
    """Steady state with speed control: returns (speed of the pumps that vary, air left over).

    `speed` holds 1 for pumps that run and 0 for others; those with `vary` get the common speed
    that gives the wanted vacuum, between the least speed and 1.
    """
    any_varies = False
    for u in range(speed.size):
        any_varies = any_varies or (vary[u] and speed[u] > 0.0)
    if not any_varies:
        return 1.0, solve(net, p, flow, speed, p.copy(), math.inf, work)
    running = speed > 0.0
    low, high = control.least, 1.0
    worst = _at_speed(net, p, flow, speed, vary, running, high, work)
    above = net.air.ambient - p[control.node] - control.wanted
    if above <= 0.0:
        return high, worst
    worst = _at_speed(net, p, flow, speed, vary, running, low, work)
    below = net.air.ambient - p[control.node] - control.wanted
    if below >= 0.0:
        return low, worst
    at = low
    side = 0
    for _ in range(60):
        at = (low * above - high * below) / (above - below)
        worst = _at_speed(net, p, flow, speed, vary, running, at, work)
        off = net.air.ambient - p[control.node] - control.wanted
        if abs(off) < 1e-7 or high - low < 1e-10:
            break
        if off > 0.0:
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


@kernel
def _at_speed(
    net: Net, p: Any, flow: Any, speed: Any, vary: Any, running: Any, share: float, work: Room
) -> float:
    for u in range(speed.size):
        if running[u] and vary[u]:
            speed[u] = share
    return solve(net, p, flow, speed, p.copy(), math.inf, work)
