"""Compiled march in time of an airflow network with its controllers and timed rows.

Pipes and vessels are lumped volumes; the air's inertia and sound waves are left out (20 m of pipe
pass a wave in 0.06 s). Steps are implicit, so small volumes do not limit them.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from byrewright.engine.airnet import Control, Net, Room, pump_flow, solve
from byrewright.engine.jit import array_kernel as kernel

ON_INLET, ON_PUMP, ON_REGULATOR, ON_EDGE, ON_SETTING, ON_SPEED = 0, 1, 2, 3, 4, 5
"""What a row in time acts on: an inlet's flow, a pump (1 on, 0 off), a regulator (opening, or -1
for works), an edge's law, the wanted vacuum, the speed command (a share, `AS_IT_IS`, or -1 for
works)."""
AS_IT_IS = 9.0
"""Freezes the speed command where it stands."""

COMMAND, WHOLE, SENSED, WANTED, FROZEN = 0, 1, 2, 3, 4
"""State of speed control: command sent, integral part, vacuum sensed, vacuum wanted, frozen at."""


@kernel
def _act(net: Net, on: Any, stuck: Any, state: Any, what: int, which: int, value: float) -> None:
    """Carry out one row."""
    if what == ON_INLET:
        net.inlet[which, 0] = value
    elif what == ON_PUMP:
        on[which] = value
    elif what == ON_REGULATOR:
        stuck[which] = value
    elif what == ON_EDGE:
        net.ends[which, 2] = int(value)
    elif what == ON_SETTING:
        state[WANTED] = value
    else:
        state[FROZEN] = state[COMMAND] if value == AS_IT_IS else value


@kernel
def _speeds(
    control: Control, state: Any, vacuum: float, speed: Any, vary: Any, on: Any, dt: float
) -> None:
    """One step of speed control (proportional and integral, ramp, stops) and of the pumps."""
    state[SENSED] += (vacuum - state[SENSED]) * dt / (control.filter + dt)
    off = state[WANTED] - state[SENSED]
    target = state[WHOLE] + control.gain * off
    inside = control.least < target < 1.0
    if inside or (target >= 1.0 and off < 0.0) or (target <= control.least and off > 0.0):
        state[WHOLE] += control.gain * off * dt / control.integral
    target = min(1.0, max(control.least, target))
    if state[FROZEN] >= 0.0:
        target = state[FROZEN]
    most = control.ramp * dt
    state[COMMAND] += min(most, max(-most, target - state[COMMAND]))
    for u in range(speed.size):
        goal = 0.0
        if on[u] > 0.5:
            goal = state[COMMAND] if vary[u] > 0.0 else 1.0
        speed[u] += min(control.up * dt, max(-control.down * dt, goal - speed[u]))


@kernel
def _opening(net: Net, p: Any, r: int, stuck: float) -> float:
    """Where a regulator wants to stand."""
    if stuck >= 0.0:
        return stuck
    vacuum = net.air[0] - p[net.regulator_at[r]]
    share: float = (vacuum - net.regulator[r, 1]) / net.regulator[r, 2]
    return min(1.0, max(0.0, share))


@kernel
def _record(net: Net, p: Any, speed: Any, command: float, probes: Any, line: Any) -> None:
    """One line of the record."""
    n = probes.size
    for i in range(n):
        line[i] = net.air[0] - p[probes[i]]
    line[n] = command
    for u in range(speed.size):
        q, _ = pump_flow(net.pump[u], p[net.pump_at[u]], net.air[0], speed[u])
        line[n + 1] += max(q, 0.0)
    for r in range(net.regulator_at.size):
        line[n + 2] += net.regulator[r, 3] + net.regulator[r, 0] * net.regulator[r, 4]


@kernel
def march(
    net: Net, p: Any, flow: Any, speed: Any, vary: Any, on: Any, control: Control, rows: Any,
    dt: float, steps: int, keep: int, probes: Any, limit: float, work: Room,
) -> tuple[Any, Any, float]:  # fmt: skip
    """March in time with controllers and timed rows (time, target, index, value), sorted by time.

    Returns the record, (steps/keep + 1, probes + 3): vacuum at probes, speed command, air drawn
    by pumps, air through regulators, kg/s; for each node (n, 3): least and greatest vacuum and
    longest spell under `limit`, s; and the greatest air left over. `p`, `flow`, `speed` and `on`
    move with the march, and so do the rows' own targets in `net`.
    """
    n = p.size
    marks = np.zeros((steps // keep + 1, probes.size + 3))
    nodes = np.zeros((n, 3))
    nodes[:, 0] = 1e9
    nodes[:, 1] = -1e9
    spell = np.zeros(n)
    old = p.copy()
    vacuum = net.air[0] - p[control.node]
    state = np.array([control.least, 0.0, vacuum, control.wanted, -1.0])
    for u in range(speed.size):
        if vary[u] > 0.0 and on[u] > 0.5:
            state[COMMAND] = max(state[COMMAND], speed[u])
    state[WHOLE] = state[COMMAND] - control.gain * (control.wanted - vacuum)
    stuck = net.regulator[:, 4].copy()
    for r in range(stuck.size):
        net.regulator[r, 4] = _opening(net, p, r, stuck[r])
    row = 0
    worst = 0.0
    for s in range(steps + 1):
        while row < rows.shape[0] and rows[row, 0] <= s * dt + 1e-9:
            _act(net, on, stuck, state, int(rows[row, 1]), int(rows[row, 2]), rows[row, 3])
            row += 1
        if s > 0:
            _speeds(control, state, net.air[0] - p[control.node], speed, vary, on, dt)
            for r in range(stuck.size):
                gap = _opening(net, p, r, stuck[r]) - net.regulator[r, 4]
                net.regulator[r, 4] += gap * dt / (control.lag + dt)
            for k in range(n):  # start where the last step points to
                ahead = 2.0 * p[k] - old[k]
                old[k] = p[k]
                p[k] = min(1.5 * p[k], max(0.5 * p[k], ahead))
            worst = max(worst, solve(net, p, flow, speed, old, dt, work))
        for k in range(n):
            v = net.air[0] - p[k]
            nodes[k, 0] = min(nodes[k, 0], v)
            nodes[k, 1] = max(nodes[k, 1], v)
            spell[k] = spell[k] + dt if v < limit else 0.0
            nodes[k, 2] = max(nodes[k, 2], spell[k])
        if s % keep == 0:
            _record(net, p, speed, state[COMMAND], probes, marks[s // keep])
    for r in range(stuck.size):
        net.regulator[r, 4] = stuck[r]
    return marks, nodes, worst
