"""Compiled march in time of an airflow network with its controllers and timed rows.

Pipes and vessels are lumped volumes; the air's inertia and sound waves are left out (20 m of pipe
pass a wave in 0.06 s). Steps are implicit, so small volumes do not limit them.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from byrewright.engine.airnet import Control, Net, Room, pump_flow, solve
from byrewright.engine.jit import kernel

ON_INLET, ON_PUMP, ON_REGULATOR, ON_JOINT, ON_SETTING, ON_SPEED = 0, 1, 2, 3, 4, 5
"""What a row in time acts on: an inlet's flow, a pump (1 on, 0 off), a regulator (opening, or -1
for works), a joint's law, the wanted vacuum, the speed command (frozen at a share, or -1)."""


@kernel
def march(
    net: Net, p: Any, flow: Any, speed: Any, vary: Any, on: Any, control: Control, rows: Any,
    dt: float, steps: int, keep: int, probes: Any, limit: float, work: Room,
) -> tuple[Any, Any, Any]:  # fmt: skip
    """March in time with controllers and timed rows (time, target, index, value), sorted by time.

    Returns the record, (steps/keep + 1, probes + 3): vacuum at probes, speed command, air drawn
    by pumps, air through regulators, kg/s; for each node (n, 3): least and greatest vacuum and
    longest spell under `limit`, s; and (steps done, greatest air left over).
    """
    n = p.size
    pa = net.air[0]
    marks = np.zeros((steps // keep + 1, probes.size + 3))
    nodes = np.zeros((n, 3))
    spell = np.zeros(n)
    for k in range(n):
        nodes[k, 0] = 1e9
        nodes[k, 1] = -1e9
    old = p.copy()
    command = control.least
    for u in range(speed.size):
        if vary[u] > 0.0 and on[u] > 0.5:
            command = max(command, speed[u])
    sensed = pa - p[control.node]
    wanted = control.wanted
    whole = command - control.gain * (wanted - sensed)
    frozen = -1.0
    opening = np.zeros(net.regulator_at.size)
    stuck = net.regulator[:, 4].copy()
    for r in range(opening.size):
        share = pa - p[net.regulator_at[r]] - net.regulator[r, 1]
        opening[r] = min(1.0, max(0.0, share / net.regulator[r, 2]))
        if stuck[r] >= 0.0:
            opening[r] = stuck[r]
    row = 0
    worst = 0.0
    for s in range(steps + 1):
        now = s * dt
        while row < rows.shape[0] and rows[row, 0] <= now + 1e-9:
            what = int(rows[row, 1])
            which = int(rows[row, 2])
            value = rows[row, 3]
            if what == ON_INLET:
                net.inlet[which, 0] = value
            elif what == ON_PUMP:
                on[which] = value
            elif what == ON_REGULATOR:
                stuck[which] = value
            elif what == ON_JOINT:
                net.ends[which, 2] = int(value)
            elif what == ON_SETTING:
                wanted = value
            else:
                frozen = command if value == 9.0 else value
            row += 1
        if s > 0:
            sensed += (pa - p[control.node] - sensed) * dt / (control.filter + dt)
            off = wanted - sensed
            target = whole + control.gain * off
            inside = control.least < target < 1.0
            if inside or (target >= 1.0 and off < 0.0) or (target <= control.least and off > 0.0):
                whole += control.gain * off * dt / control.integral
            target = min(1.0, max(control.least, target))
            if frozen >= 0.0:
                target = frozen
            command += min(control.ramp * dt, max(-control.ramp * dt, target - command))
            for u in range(speed.size):
                goal = 0.0
                if on[u] > 0.5:
                    goal = command if vary[u] > 0.0 else 1.0
                gap = goal - speed[u]
                speed[u] += min(control.up * dt, max(-control.down * dt, gap))
            for r in range(opening.size):
                v = pa - p[net.regulator_at[r]]
                share = (v - net.regulator[r, 1]) / net.regulator[r, 2]
                share = min(1.0, max(0.0, share))
                if stuck[r] >= 0.0:
                    share = stuck[r]
                opening[r] += (share - opening[r]) * dt / (control.lag + dt)
        for r in range(opening.size):
            net.regulator[r, 4] = opening[r]
        if s > 0:
            for k in range(n):  # start where the last step points to
                ahead = 2.0 * p[k] - old[k]
                old[k] = p[k]
                p[k] = min(1.5 * p[k], max(0.5 * p[k], ahead))
            worst = max(worst, solve(net, p, flow, speed, old, dt, work))
        for k in range(n):
            v = pa - p[k]
            nodes[k, 0] = min(nodes[k, 0], v)
            nodes[k, 1] = max(nodes[k, 1], v)
            spell[k] = spell[k] + dt if v < limit else 0.0
            nodes[k, 2] = max(nodes[k, 2], spell[k])
        if s % keep == 0:
            at = s // keep
            for i in range(probes.size):
                marks[at, i] = pa - p[probes[i]]
            marks[at, probes.size] = command
            for u in range(speed.size):
                q, _ = pump_flow(net.pump[u], p[net.pump_at[u]], pa, speed[u])
                marks[at, probes.size + 1] += max(q, 0.0)
            for r in range(opening.size):
                marks[at, probes.size + 2] += net.regulator[r, 3] + net.regulator[r, 0] * opening[r]
    for r in range(opening.size):
        net.regulator[r, 4] = -1.0
    ends = np.array([float(steps), worst])
    return marks, nodes, ends
