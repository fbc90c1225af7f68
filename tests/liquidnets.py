"""Random liquid networks, as arrays for our solver and as a WNTR model for EPANET."""

from __future__ import annotations

import math
import random
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from byrewright.engine.liquidnet import CENTRIFUGAL, ONE_WAY, PIPE, POWER, Net
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


def solved(ours: Net, flow: Any, folder: str) -> list[float]:
    """EPANET's flow in each link of a network given as arrays, m3/s, element by element.

    `flow`, ours, says about where to state the losses that EPANET takes as a curve.
    """
    import wntr

    wn = wntr.network.WaterNetworkModel()
    hydraulic = wn.options.hydraulic
    hydraulic.headloss, hydraulic.accuracy, hydraulic.trials = "D-W", 1e-7, 500
    wn.options.time.duration = 0
    hydraulic.viscosity = _nu(ours) / NU_M2_S
    for i, taken in enumerate(ours.taken):
        wn.add_junction(f"n{i}", base_demand=float(taken), elevation=-500.0)
    for k, head in enumerate(ours.held):
        wn.add_reservoir(f"n{len(ours.taken) + k}", base_head=float(head))
    for e, (a, b) in enumerate(ours.ends):
        here, last = f"n{a}", int(ours.span[e, 1]) - 1
        for k in range(int(ours.span[e, 0]), last + 1):
            there = f"n{b}" if k == last else f"m{k}"
            if k != last:
                wn.add_junction(there, base_demand=0.0, elevation=-500.0)
            way = (here, there) if ours.made[k] > 0 else (there, here)
            _add(wn, k, way, int(ours.law[k]), ours.par[k], float(ours.made[k] * flow[e]))
            here = there
    found = wntr.sim.EpanetSimulator(wn).run_sim(file_prefix=f"{folder}/plant")
    rate = found.link["flowrate"].iloc[0]
    firsts = [int(k) for k in ours.span[:, 0]]
    ahead = [float(ours.made[k]) for k in firsts]
    for e, k in enumerate(firsts):
        if _by_curve(int(ours.law[k]), ours.par[k]) and ahead[e] * flow[e] < 0:
            ahead[e] = -ahead[e]
    return [sign * float(rate[f"e{k}"]) for sign, k in zip(ahead, firsts, strict=True)]


def _bore(c: float) -> float:
    """Bore from 8/(pi2 g d4)."""
    return float((8 / (math.pi**2 * GRAVITY_M_S2 * c)) ** 0.25)


def _nu(ours: Net) -> float:
    """Viscosity that the pipes of a network are told with."""
    pipes = (p for law, p in zip(ours.law, ours.par, strict=True) if law == PIPE and p[1] > 0)
    found = [4 / (math.pi * _bore(p[0]) * p[3]) for p in pipes]
    return float(np.median(found)) if found else NU_M2_S


def _by_curve(law: int, p: Any) -> bool:
    """Whether EPANET is given an element as a curve of losses, which it takes one way alone."""
    return bool(law == POWER and p[1] != 2.0)


def _add(wn: Any, k: int, way: tuple[str, str], law: int, p: Any, q: float) -> None:
    """One element between two nodes: a pipe, a fitting, a curve of losses, a pump."""
    name, short, smooth = f"e{k}", 1e-3, 1e-9
    if law == PIPE:
        length, rough = max(p[1] * _bore(p[0]), short), max(p[2] * _bore(p[0]), smooth)
        wn.add_pipe(name, *way, length, _bore(p[0]), rough, float(p[4]))
    elif law == CENTRIFUGAL:
        points = [(((1 - share) * p[0] / p[1]) ** (1 / p[2]), share * p[0])
                  for share in (1.0, 0.75, 0.4)]  # fmt: skip
        wn.add_curve(f"c{k}", "HEAD", points)
        wn.add_pump(name, *way, "HEAD", f"c{k}")
    elif law == POWER and not _by_curve(law, p):
        wn.add_pipe(name, *way, short, min(_bore(p[0]), 0.9), smooth, 1.0)
    else:
        if law == ONE_WAY:
            wn.add_junction(f"v{k}", base_demand=0.0, elevation=-500.0)
            wn.add_pipe(f"w{k}", way[0], f"v{k}", short, 0.3, smooth, 0.0, check_valve=True)
            way = (f"v{k}", way[1])
        elif q < 0:
            way = (way[1], way[0])
        near = max(abs(q), 1e-4)
        rates = np.unique(np.r_[np.linspace(0, 4, 60), np.linspace(0.7, 1.3, 40)] * near)
        lost = p[0] * rates ** p[1] if law == POWER else p[0] + p[1] * rates**2
        wn.add_curve(f"c{k}", "HEADLOSS", list(zip(rates, lost, strict=True)))
        wn.add_valve(name, *way, 0.05, "GPV", 0.0, f"c{k}")
