"""Compiled solver of a liquid network: heads at junctions and flows in links, steady state.

The global gradient method (Todini and Pilati 1988, from memory): Newton's step for flows and heads
together, one symmetric positive matrix of the size of the junctions. Every law rises with flow, so
the answer is the least of a convex function; a line search along each step makes it safe from any
start, non-return valves and pumps included.

A link is a chain of elements in series, so that pipes, valves and machines with nothing between
them cost no junction. All SI: flows m3/s, heads m of the liquid that flows.
"""

from __future__ import annotations

import math
from typing import Any, NamedTuple

import numpy as np

from byrewright.engine.jit import array_kernel, inner, kernel
from byrewright.physics import pipeflow

PIPE, POWER, CENTRIFUGAL, ONE_WAY = 0, 1, 2, 3
"""Laws of an element (parameters):
pipe: c, length/bore, relative roughness, Reynolds number a flow, loss coefficient;
  h = c q2 (f length/bore + K), c = 8/(pi2 g d4)
power: r, n; h = r q^n either way
centrifugal: shut-off head, a, b at full speed, speed; gains s2 H0 - a s^(2-b) q^b, nothing back
one way: opening head, r; h = opening + r q2 forwards, nothing back
"""
PARAMETERS = 5
BACK = 1.0e11
"""Head lost a flow the wrong way through a one-way element, m a m3/s: 6e-6 L/min at 10 m."""
START_M3_S = 1.0e-3
SOFT_M3_S = 1.0e-10  # below it a quadratic loss turns linear
OPENS_M3_S = 1.0e-9  # a non-return valve has its opening head from this flow on
RATED = 1.0e-6
"""Left over, as a share of the greatest flow, above which an answer is none."""
MOST_STEPS = 30
FREE_STEPS = 6  # full steps first: they settle which non-return valves are shut
_TOLERANCE = 1.0e-8
_NEAR = 1.0e-4  # nearer than this a full step is safe, and rounding would spoil a search
_LEAST_M3_S = 1.0e-9
_NOTHING_M3_S = 1.0e-8  # a section in which no more than this flows stands still

_friction = kernel(pipeflow.friction)


class Net(NamedTuple):
    """A network as arrays.

    ends: row of both ends of each link; junctions come first, then held heads; (e, 2) integers
    span: first element of each link and the one after its last; (e, 2) integers
    law: law of each element; (k,) integers
    made: +1 where an element lies along its link, -1 against it; (k,)
    par: parameters of each element; (k, 5)
    held: head of each end that is held, m; (f,)
    taken: flow taken out at each junction, m3/s; (n,)
    """

    ends: Any
    span: Any
    law: Any
    made: Any
    par: Any
    held: Any
    taken: Any


class Solved(NamedTuple):
    """Flow of each link m3/s, head at each junction m, left over as a share of the greatest flow,
    steps taken, and the link that is worst off."""

    flow: Any
    head: Any
    left: float
    steps: int
    worst: int


@kernel
def element_loss(law: int, q: float, par: Any) -> tuple[float, float]:
    """Head lost by a flow along an element, m, and its slope."""
    size = abs(q)
    sign = 1.0 if q >= 0.0 else -1.0
    if law == PIPE:
        soft = size + SOFT_M3_S
        loss = par[0] * par[4] * size * soft
        slope = par[0] * par[4] * (size + soft)
        if par[1] > 0.0:
            f, df = _friction(max(size * par[3], 1e-9), par[2])
            loss += par[0] * par[1] * f * size * size
            slope += par[0] * par[1] * (2.0 * f * size + df * par[3] * size * size)
            if size * par[3] < 1e-9:
                slope = par[0] * (par[1] * 64.0 / par[3] + par[4] * SOFT_M3_S)
        return sign * loss, slope
    if law == POWER:
        soft = size + SOFT_M3_S
        loss = par[0] * soft ** (par[1] - 1.0) * size
        slope = par[0] * (soft ** (par[1] - 1.0) + (par[1] - 1.0) * soft ** (par[1] - 2.0) * size)
        return sign * loss, slope
    if law == CENTRIFUGAL:
        s = par[3]
        top = s * s * par[0]
        if q < 0.0:
            return -top + BACK * q, BACK
        a = par[1] * s ** (2.0 - par[2])
        soft = size + SOFT_M3_S
        drop = a * soft ** (par[2] - 1.0) * size
        steep = a * (soft ** (par[2] - 1.0) + (par[2] - 1.0) * soft ** (par[2] - 2.0) * size)
        return -top + drop, steep
    if q < 0.0:
        return BACK * q, BACK
    soft = size + SOFT_M3_S
    loss = par[1] * size * soft
    slope = par[1] * (size + soft)
    if q < OPENS_M3_S:
        return loss + par[0] * q / OPENS_M3_S, slope + par[0] / OPENS_M3_S
    return loss + par[0], slope


@inner
def _link_loss(e: int, q: float, span: Any, law: Any, made: Any, par: Any) -> tuple[float, float]:
    loss = 0.0
    slope = 0.0
    for k in range(span[e, 0], span[e, 1]):
        one, steep = element_loss(law[k], made[k] * q, par[k])
        loss += made[k] * one
        slope += steep
    return loss, max(slope, 1e-3)


@array_kernel
def losses(net: Net, q: Any) -> Any:
    """Head that each element takes along its link, m, at a flow of each link."""
    found = np.zeros(len(net.law))
    for e in range(len(q)):
        for k in range(net.span[e, 0], net.span[e, 1]):
            one, _ = element_loss(net.law[k], net.made[k] * q[e], net.par[k])
            found[k] = net.made[k] * one
    return found


@inner
def _laws(net: Net, q: Any, loss: Any, slope: Any) -> None:
    for e in range(len(q)):
        loss[e], slope[e] = _link_loss(e, q[e], net.span, net.law, net.made, net.par)


@inner
def _along(net: Net, loss: Any, step: Any) -> float:
    """Slope of the content along a step, from the losses at a place on it: nil at its least."""
    n = len(net.taken)
    total = 0.0
    for e in range(len(step)):
        rest = loss[e]
        if net.ends[e, 0] >= n:
            rest -= net.held[net.ends[e, 0] - n]
        if net.ends[e, 1] >= n:
            rest += net.held[net.ends[e, 1] - n]
        total += rest * step[e]
    return total


@inner
def _fill(net: Net, q: Any, matrix: Any, right: Any, loss: Any, slope: Any) -> None:
    n = len(net.taken)
    for i in range(n):
        right[i] = -net.taken[i]
        for j in range(n):
            matrix[i, j] = 0.0
    for e in range(len(q)):
        p = 1.0 / slope[e]
        free = q[e] - p * loss[e]  # the flow that it would have with no head over it
        a, b = net.ends[e, 0], net.ends[e, 1]
        if a < n:
            matrix[a, a] += p
            right[a] -= free
            if b >= n:
                right[a] += p * net.held[b - n]
        if b < n:
            matrix[b, b] += p
            right[b] += free
            if a >= n:
                right[b] += p * net.held[a - n]
        if a < n and b < n:
            if a > b:
                matrix[a, b] -= p
            else:
                matrix[b, a] -= p


@inner
def _cholesky(matrix: Any, right: Any) -> None:
    """Solve in place; only the lower half is read."""
    n = len(right)
    for j in range(n):
        for k in range(j):
            if matrix[j, k] != 0.0:
                for i in range(j, n):
                    matrix[i, j] -= matrix[i, k] * matrix[j, k]
        root = math.sqrt(max(matrix[j, j], 1e-300))
        for i in range(j, n):
            matrix[i, j] /= root
    for i in range(n):
        for k in range(i):
            right[i] -= matrix[i, k] * right[k]
        right[i] /= matrix[i, i]
    for i in range(n - 1, -1, -1):
        for k in range(i + 1, n):
            right[i] -= matrix[k, i] * right[k]
        right[i] /= matrix[i, i]


@array_kernel
def solve(net: Net, start: Any) -> Solved:
    """Flows and heads; `start` gives flows to begin with, or is empty.

    Every junction must reach a held head. The caller judges `left` against `RATED`.
    """
    links = len(net.ends)
    n = len(net.taken)
    # Arrays are filled one by one: numba compiles text for a slice that might not fit.
    q = np.zeros(links)
    for e in range(links):  # begin the way that pumps and non-return valves let pass
        q[e] = START_M3_S
        for k in range(net.span[e, 0], net.span[e, 1]):
            if net.law[k] >= CENTRIFUGAL:
                q[e] = net.made[k] * START_M3_S
    if len(start) == links:
        for e in range(links):
            q[e] = start[e]
    matrix = np.zeros((n, n))
    head = np.zeros(n)
    loss = np.zeros(links)
    slope = np.zeros(links)
    step = np.zeros(links)
    trial = np.zeros(links)
    left = math.inf
    worst = 0
    steps = 0
    calm = 0
    _laws(net, q, loss, slope)
    while steps < MOST_STEPS:
        steps += 1
        _fill(net, q, matrix, head, loss, slope)
        _cholesky(matrix, head)
        most = 0.0
        off = 0.0
        for e in range(links):
            a, b = net.ends[e, 0], net.ends[e, 1]
            up = head[a] if a < n else net.held[a - n]
            down = head[b] if b < n else net.held[b - n]
            step[e] = (up - down - loss[e]) / slope[e]
            trial[e] = q[e] + step[e]
            most = max(most, abs(trial[e]))
            if abs(step[e]) > off:
                off = abs(step[e])
                worst = e
        left = off / max(most, _LEAST_M3_S)
        start = abs(_along(net, loss, step))
        _laws(net, trial, loss, slope)
        if steps > FREE_STEPS and left > _NEAR:
            _shorten(net, q, step, trial, loss, slope, start)
        for e in range(links):
            q[e] = trial[e]
        calm = calm + 1 if left <= _TOLERANCE or off <= 0.1 * _LEAST_M3_S else 0
        if calm == 2:  # one small step may be that of a valve about to open
            break
    if off <= 0.1 * _LEAST_M3_S or most <= _NOTHING_M3_S:
        left = min(left, _TOLERANCE)
    return Solved(q, head, left, steps, worst)


@inner
def _shorten(net: Net, q: Any, step: Any, trial: Any, loss: Any, slope: Any, start: float) -> None:
    """Take less of a step that goes far past where the content along it is least."""
    at = _along(net, loss, step)
    if at <= 0.5 * start:
        return
    low, high = 0.0, 1.0
    at_low, at_high = -start, at
    for _ in range(20):
        share = low - at_low * (high - low) / (at_high - at_low)
        share = min(max(share, low + 0.05 * (high - low)), high - 0.05 * (high - low))
        for e in range(len(q)):
            trial[e] = q[e] + share * step[e]
        _laws(net, trial, loss, slope)
        at = _along(net, loss, step)
        if abs(at) <= 0.1 * start:
            break
        if at < 0.0:
            low, at_low = share, at
        else:
            high, at_high = share, at
