"""Random liquid networks, as arrays for our solver and as a WNTR model for EPANET."""

from __future__ import annotations

import math
import random
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from byrewright.engine.liquidnet import CENTRIFUGAL, ONE_WAY, PIPE, Net
from byrewright.physics.constants import GRAVITY_M_S2

NU_M2_S = 1.1e-5 * 0.3048**2
"""Viscosity that EPANET takes by default (its manual, from memory: 1.1e-5 ft2/s)."""
ROUGH_M = 1.5e-6


@dataclass
class Pipe:
    """A pipe, perhaps with a non-return valve."""

    a: int
    b: int
    length_m: float
    bore_m: float
    minor: float = 0.0
    check: bool = False


@dataclass
class Pump:
    """A pump by three points of its curve."""

    a: int
    b: int
    points: tuple[tuple[float, float], ...]


@dataclass
class Case:
    """Nodes 0..n-1 are junctions, then those of held head."""

    junctions: int
    held: list[float]
    taken: list[float]
    pipes: list[Pipe] = field(default_factory=list)
    pumps: list[Pump] = field(default_factory=list)


def pipe_row(length_m: float, bore_m: float, minor: float = 0.0, nu: float = NU_M2_S,
             rough_m: float = ROUGH_M) -> list[float]:  # fmt: skip
    """The parameters of a pipe element."""
    c = 8 / (math.pi**2 * GRAVITY_M_S2 * bore_m**4)
    return [c, length_m / bore_m, rough_m / bore_m, 4 / (math.pi * nu * bore_m), minor]


def curve(points: tuple[tuple[float, float], ...]) -> list[float]:
    """H0 - a q^b through three points, at full speed."""
    (_, h0), (q1, h1), (q2, h2) = points
    b = math.log((h0 - h2) / (h0 - h1)) / math.log(q2 / q1)
    return [h0, (h0 - h1) / q1**b, b, 1.0, 0.0]


def net(case: Case) -> Net:
    """The arrays of a case."""
    ends, span, law, par = [], [], [], []
    for one in case.pipes:
        ends.append((one.a, one.b))
        first = len(law)
        law.append(PIPE)
        par.append(pipe_row(one.length_m, one.bore_m, one.minor))
        if one.check:
            law.append(ONE_WAY)
            par.append([0.0] * 5)
        span.append((first, len(law)))
    for pump in case.pumps:
        ends.append((pump.a, pump.b))
        span.append((len(law), len(law) + 1))
        law.append(CENTRIFUGAL)
        par.append(curve(pump.points))
    return Net(
        np.array(ends, np.int64), np.array(span, np.int64), np.array(law, np.int64),
        np.ones(len(law)), np.array(par), np.array(case.held), np.array(case.taken),
    )  # fmt: skip


def draw(seed: int) -> Case:
    """A network with loops, one to three open tanks, parallel pumps with non-return valves."""
    pick = random.Random(seed)
    n = pick.randint(6, 24)
    tanks = pick.randint(1, 3)
    pumps = pick.randint(0, 3)
    held = [pick.uniform(0.0, 15.0) for _ in range(tanks)] + ([0.0] if pumps else [])
    taken = [pick.choice((0.0, 0.0, 1.0)) * pick.uniform(10, 120) / 60_000 for _ in range(n)]
    case = Case(n, held, taken)

    def pipe(a: int, b: int, check: bool = False) -> None:
        bore = pick.choice((0.0226, 0.0356, 0.0356, 0.0486, 0.0603))
        case.pipes.append(Pipe(a, b, pick.uniform(0.5, 25.0), bore, pick.uniform(0, 6), check))

    for i in range(1, n):
        pipe(pick.randrange(i), i)
    for _ in range(pick.randint(1, n // 2)):
        a, b = pick.sample(range(n), 2)
        pipe(a, b, pick.random() < 0.25)
    for t in range(tanks):
        pipe(n + t, pick.randrange(n), t > 0 and pick.random() < 0.3)
    for _ in range(pumps):
        q, h = pick.uniform(60, 260) / 60_000, pick.uniform(6, 22)
        case.taken.append(0.0)
        mid = case.junctions
        case.junctions += 1
        case.pumps.append(Pump(-1, mid, ((0.0, 1.25 * h), (q, h), (1.5 * q, 0.6 * h))))
        pipe(mid, 0, True)
    _settle(case, n)
    return case


def _settle(case: Case, n: int) -> None:
    """Rows of held ends move up behind the junctions that the pumps added."""
    extra = case.junctions - n

    def moved(i: int, mid: bool) -> int:
        return i if i < n or mid else i + extra

    mids = {p.b for p in case.pumps}
    for i, one in enumerate(case.pipes):
        last = i >= len(case.pipes) - len(case.pumps)
        one.a = moved(one.a, last and one.a in mids)
        one.b = moved(one.b, last and one.b in mids)
    for pump in case.pumps:
        pump.a = case.junctions + len(case.held) - 1


def model(case: Case) -> Any:
    """The same network as a WNTR model."""
    import wntr

    wn = wntr.network.WaterNetworkModel()
    wn.options.hydraulic.headloss = "D-W"
    wn.options.hydraulic.accuracy = 1e-7
    wn.options.hydraulic.trials = 200
    wn.options.time.duration = 0
    for i in range(case.junctions):
        wn.add_junction(f"n{i}", base_demand=case.taken[i], elevation=-500.0)
    for k, head in enumerate(case.held):
        wn.add_reservoir(f"n{case.junctions + k}", base_head=head)
    for i, one in enumerate(case.pipes):
        wn.add_pipe(f"p{i}", f"n{one.a}", f"n{one.b}", one.length_m, one.bore_m, ROUGH_M,
                    one.minor, check_valve=bool(one.check))  # fmt: skip
    for i, pump in enumerate(case.pumps):
        wn.add_curve(f"c{i}", "HEAD", list(pump.points))
        wn.add_pump(f"u{i}", f"n{pump.a}", f"n{pump.b}", "HEAD", f"c{i}")
    return wn


def epanet(case: Case, folder: str) -> list[float]:
    """EPANET's flow in each link, m3/s."""
    import wntr

    wn = model(case)
    found = wntr.sim.EpanetSimulator(wn).run_sim(file_prefix=f"{folder}/net")
    flow = found.link["flowrate"].iloc[0]
    names = [f"p{i}" for i in range(len(case.pipes))] + [f"u{i}" for i in range(len(case.pumps))]
    return [float(flow[name]) for name in names]
