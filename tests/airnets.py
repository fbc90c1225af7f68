"""Small air networks for tests, put together from plain rows."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from byrewright.engine import airnet
from byrewright.physics.airflow import air_viscosity_pa_s
from byrewright.studies.vacuum.situations import matrix_order

AMBIENT_KPA = 101.325
CELSIUS = 20.0
Rows = Sequence[tuple[float, ...]]


def net(
    nodes: int, edges: Rows, inlets: Rows = (), pumps: Rows = (), regulators: Rows = (),
    volumes: Sequence[float] | None = None, ambient: float = AMBIENT_KPA,
) -> airnet.Net:  # fmt: skip
    """A network. Edges (a, b, bore m, length m, loss, roughness, law); inlets (node, law, kg/s,
    vacuum); pumps (node, displaced kg/s, slip, slip at rest, silencer); regulators (node, capacity
    kg/s, opens, band, leak, opening); volumes m3.
    """
    j = np.array(edges, float).reshape(-1, 7)
    i = np.array(inlets, float).reshape(-1, 4)
    u = np.array(pumps, float).reshape(-1, 5)
    r = np.array(regulators, float).reshape(-1, 6)
    ends = np.ascontiguousarray(j[:, [0, 1, 6]].astype(np.int64))
    place, first = matrix_order(nodes, ends)
    part = np.ascontiguousarray
    return airnet.Net(
        np.array([ambient, CELSIUS + 273.15, air_viscosity_pa_s(CELSIUS)]), ends, part(j[:, 2:6]),
        part(i[:, :2].astype(np.int64)), part(i[:, 2:]), part(u[:, 0].astype(np.int64)),
        part(u[:, 1:]), part(r[:, 0].astype(np.int64)), part(r[:, 1:]),
        np.array(volumes if volumes is not None else [0.0] * nodes, float), place, first,
    )  # fmt: skip


def steady(one: airnet.Net, speed: Sequence[float] = (), start: float = 60.0):  # type: ignore[no-untyped-def]
    """(pressures, flows, air left over) in steady state."""
    n, e = one.volume.size, one.ends.shape[0]
    p, flow = np.full(n, start), np.zeros(e)
    left = airnet.solve(
        one, p, flow, np.array(speed, float), p.copy(), np.inf, airnet.room(n, e)
    )  # fmt: skip
    return p, flow, left


def march(  # type: ignore[no-untyped-def]
    one: airnet.Net, p, seconds: float, dt: float = 0.005, rows: Rows = (),
    speed: Sequence[float] = (), vary: Sequence[float] = (), wanted: float = 42.0,
):  # fmt: skip
    """(record, nodes, air left over) of a march in time from pressures `p`, which it moves."""
    from byrewright.engine import airmarch

    n, e = one.volume.size, one.ends.shape[0]
    control = airnet.Control(0, wanted, 0.25, 1.5, 0.25, 0.35, 0.1, 0.2, 0.5, 1.4)
    return airmarch.march(
        one, p, np.zeros(e), np.array(speed, float), np.array(vary or [0.0] * len(speed)),
        np.ones(len(speed)), control, np.array(rows, float).reshape(-1, 4), dt,
        round(seconds / dt), 1, np.arange(n), 30.0, airnet.room(n, e),
    )  # fmt: skip
