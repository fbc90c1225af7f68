"""Steady state of the air network in one situation: vacuum, airflow, speed, power, drops."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any

from byrewright.errors import ByrewrightError
from byrewright.physics.airflow import pump_power_kw
from byrewright.plant.roles import Pulsates
from byrewright.studies.vacuum.network import Network, PipeSegment
from byrewright.studies.vacuum.situations import (
    AirUse,
    Lowered,
    Situation,
    air_use,
    lower,
    milking_mode,
    pumps_running,
    wash_mode,
)


class NotSolved(ByrewrightError):
    """The network did not come into balance; no number of it may be used."""


@dataclass(frozen=True, slots=True)
class SegmentState:
    """One segment: airflow L/min free (positive from a to b), fastest velocity, drop."""

    segment: PipeSegment
    flow_l_min_free: float
    velocity_m_s: float
    drop_kpa: float


@dataclass(frozen=True, slots=True)
class PumpState:
    """One pump: running speed as a share, air drawn, vacuum at its inlet, back pressure, power."""

    name: str
    speed: float
    flow_l_min_free: float
    inlet_vacuum_kpa: float
    back_kpa: float
    power_kw: float
    motor_kw: float


@dataclass(frozen=True, slots=True)
class Steady:
    """The network in balance. `vacuum_kpa` by node; `asked_l_min_free` of held nodes, in order."""

    situation: Situation
    network: Network
    vacuum_kpa: tuple[float, ...]
    segments: tuple[SegmentState, ...]
    pumps: tuple[PumpState, ...]
    speed: float
    regulated_l_min_free: float
    asked_l_min_free: tuple[float, ...]
    use: AirUse

    def at(self, node: int) -> float:
        """Vacuum at a node, kPa below ambient."""
        return self.vacuum_kpa[node]

    @property
    def milk_vacuum_kpa(self) -> float:
        """Vm: vacuum at the first receiver."""
        return self.at(self.network.milk_point)

    @property
    def pump_flow_l_min_free(self) -> float:
        """Air drawn by all pumps."""
        return sum(max(0.0, p.flow_l_min_free) for p in self.pumps)

    @property
    def power_kw(self) -> float:
        """Shaft power of all pumps."""
        return sum(p.power_kw for p in self.pumps)

    @property
    def least_at_units_kpa(self) -> float:
        """Lowest vacuum at any unit's connection to the milkline."""
        return min(self.at(n) for n, _ in self.network.units_at)

    def drop_of(self, name: str) -> float:
        """Drop along all of a pipe, or the largest end-to-end drop of a line."""
        drops = [abs(s.drop_kpa) for s in self.segments if s.segment.name == name]
        nodes = [
            n
            for s in self.segments
            if s.segment.name == name and s.segment.what == "line"
            for n in (s.segment.a, s.segment.b)
        ]
        if nodes:
            every = [self.at(n) for n in nodes]
            return max(every) - min(every)
        return sum(drops)


def solve(network: Network, situation: Situation) -> Steady:
    """Solve the network in a situation.

    Raises:
        NotSolved: the balance was not reached.
    """
    return _read(network, situation, *balance(network, lower(network, situation)))


def balance(network: Network, lowered: Lowered) -> tuple[Lowered, Any, Any, float]:
    """Pressures, flows and common speed in steady state; leaves `lowered.speed` at the answer."""
    import numpy as np

    from byrewright.engine import airnet

    n, e = len(network.nodes), len(network.segments)
    p = np.full(n, network.ambient_kpa_abs - network.set_vacuum_kpa)
    flow = np.zeros(e)
    share, left = airnet.settle(
        lowered.net, p, flow, lowered.speed, lowered.vary, lowered.control, airnet.room(n, e)
    )
    if not left < airnet.GOOD:
        raise NotSolved(
            "The air network did not come into balance: look for a pump with no way to any air, "
            "or a pipe of impossible size."
        )
    return lowered, p, flow, share


def _read(
    network: Network, situation: Situation, lowered: Lowered, p: Any, flow: Any, share: float
) -> Steady:

    from byrewright.engine import airnet

    net, pa = lowered.net, network.ambient_kpa_abs
    regulated = sum(
        airnet.regulator_flow(row[0], row[1], row[2], row[3], row[4], pa - float(p[node]))[0]
        for node, row in zip(net.regulator_at, net.regulator, strict=True)
    )
    asked = tuple(
        network.l_min_free(airnet.inlet_flow(airnet.HOLD, 0.0, pa - vacuum, float(p[node]), pa)[0])
        for node, vacuum in situation.held
    )
    return Steady(
        situation=situation,
        network=network,
        vacuum_kpa=tuple(float(pa - x) for x in p),
        segments=tuple(
            _segment(network, s, float(m), float(p[s.a]), float(p[s.b]))
            for s, m in zip(network.segments, flow, strict=True)
        ),
        pumps=tuple(
            _pump(network, lowered, u, float(p[place.node]))
            for u, place in enumerate(network.pumps)
        ),
        speed=share,
        regulated_l_min_free=network.l_min_free(float(regulated)),
        asked_l_min_free=asked,
        use=air_use(network, situation),
    )


def _segment(network: Network, s: PipeSegment, m: float, pa: float, pb: float) -> SegmentState:
    area = math.pi / 4.0 * (s.bore_mm / 1000.0) ** 2
    density = network.kg_s(60_000.0) * min(pa, pb) / network.ambient_kpa_abs
    return SegmentState(s, network.l_min_free(m), abs(m) / (density * area), pa - pb)


def _pump(network: Network, lowered: Lowered, u: int, p: float) -> PumpState:
    from byrewright.engine import airnet

    place, speed = network.pumps[u], float(lowered.speed[u])
    row = lowered.net.pump[u]
    m = float(airnet.pump_flow(row, p, network.ambient_kpa_abs, speed)[0])
    back = float(row[3]) * max(m, 0.0) ** 2
    power = pump_power_kw(
        place.displacement, speed, p, network.ambient_kpa_abs + back, place.efficiency
    )
    flow = network.l_min_free(m) if speed > 0.0 else 0.0
    return PumpState(
        place.name, speed, flow, network.ambient_kpa_abs - p, back, power, place.machine.motor_kw
    )


def standard_situations(network: Network) -> dict[str, Situation]:
    """The situations every report shows, by key: milking, one pump, reserve test, idle, wash."""
    mode = milking_mode(network)
    running = pumps_running(network, mode)
    milking = Situation("milking", "All units milking", mode)
    found = {"milking": milking}
    if len(running) > 1:
        found["one_pump"] = replace(
            milking,
            key="one_pump",
            title=f"All units milking, {running[0]} alone",
            running=running[:1],
        )
    found["no_units"] = replace(
        milking, key="no_units", title="No unit attached", attached=0.0, pulsating=0.0
    )
    wash = wash_mode(network)
    pulsating = (
        any(network.plant.position(wash, m.id) == "runs" for m in network.plant.machines(Pulsates))
        if wash
        else True
    )
    found["wash"] = Situation(
        "wash",
        "Washing, air injector open",
        wash or mode,
        0.0,
        1.0 if pulsating else 0.0,
        True,
        running if not pumps_running(network, wash) else None,
    )
    return found


def reserve_situation(
    network: Network,
    milking: Steady,
    *,
    manual: bool = False,
    running: tuple[str, ...] | None = None,
) -> Situation:
    """The reserve test: air let in at the receiver until its vacuum is 2 kPa lower."""
    fall = network.rules.number("vacuum.test.reserve_drop_kpa")
    return replace(
        milking.situation,
        key="manual_reserve" if manual else "reserve",
        title="Reserve test" + (", regulation shut off" if manual else ""),
        held=((network.milk_point, milking.milk_vacuum_kpa - fall),),
        regulated=not manual,
        running=running if running is not None else milking.situation.running,
    )
