"""What the plant is doing when its air network is solved, and the arrays for the solver.

A situation says which units milk, which pumps run, what else lets in air, and whether control
works. `lower` turns a network in a situation into the solver's plain arrays.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from byrewright.physics.air import slug_air_l_min_free
from byrewright.physics.airflow import air_viscosity_pa_s
from byrewright.plant.roles import CollectsMilk, GivesMilk, InjectsAir, Pulsates
from byrewright.studies.vacuum.network import Network

if TYPE_CHECKING:
    from byrewright.engine.airnet import Control, Net


@dataclass(frozen=True, slots=True)
class Situation:
    """One state of the plant. `running` names the pumps that run; None means as the mode says.

    `attached` is the share of units that milk. `extra` lets in free air at named places
    (node, L/min, "hole" or "fixed"); `held` keeps a node at a vacuum and tells the air that asks.
    """

    key: str
    title: str
    mode: str | None = None
    attached: float = 1.0
    pulsating: float = 1.0
    washing: bool = False
    running: tuple[str, ...] | None = None
    speed_held: float | None = None
    regulated: bool = True
    extra: tuple[tuple[int, float, str], ...] = ()
    held: tuple[tuple[int, float], ...] = ()


@dataclass(frozen=True, slots=True)
class AirUse:
    """Free air by use, L/min at the set vacuum: what the balance is drawn of."""

    pulsators: float
    claws: float
    teats: float
    milk_leak: float
    system_leak: float
    slug: float = 0.0
    jetters: float = 0.0

    @property
    def total(self) -> float:
        """All of it."""
        return (
            self.pulsators
            + self.claws
            + self.teats
            + self.milk_leak
            + self.system_leak
            + self.slug
            + self.jetters
        )


@dataclass(slots=True)
class Lowered:
    """The solver's arrays, and which row of the inlets stands for what."""

    net: Net
    control: Control
    speed: Any
    vary: Any
    rows: dict[tuple[str, int], int] = field(default_factory=dict)


def milking_mode(network: Network) -> str | None:
    """The first mode in which cows are milked, or nothing."""
    return next((n for n, m in network.plant.modes.items() if "milking" in m.does), None)


def wash_mode(network: Network) -> str | None:
    """The first mode in which the plant is washed, or nothing."""
    return next(
        (n for n, m in network.plant.modes.items() if {"wash", "rinse"} & set(m.does)), None
    )


def pumps_running(network: Network, mode: str | None) -> tuple[str, ...]:
    """Names of the pumps that run in a mode; all of them where the plant has no such mode."""
    if mode is None:
        return tuple(p.name for p in network.pumps)
    return tuple(
        p.name for p in network.pumps if network.plant.position(mode, p.machine.id) == "runs"
    )


def air_use(network: Network, situation: Situation) -> AirUse:
    """Free air taken in a situation, from data plates or typical values, L/min."""
    rules, plant = network.rules, network.plant
    units, pulsators = plant.machines(GivesMilk), plant.machines(Pulsates)
    n = network.units
    claw = sum(u.count * u.claw_air_l_min_free for u in units)
    pulse = (
        sum(p.count * p.air_l_min_free for p in pulsators)
        if pulsators
        else n * rules.number("vacuum.pulsator_air_l_min")
    )
    capacity = sum(p.rated_l_min_free for p in network.pumps)
    leak = rules.number("vacuum.milk_leak_base_l_min")
    leak += n * rules.number("vacuum.milk_leak_per_unit_l_min")
    leak *= rules.number("vacuum.leak_times.milk")
    slug = jets = 0.0
    milking = situation.attached
    if situation.washing:
        milking = 0.0
        injectors = plant.machines(InjectsAir)
        bore = max((m.bore_mm for m in plant.machines(CollectsMilk)), default=73.0)
        if injectors:
            slug = slug_air_l_min_free(
                bore,
                rules.number("wash.slug_velocity_m_s"),
                network.set_vacuum_kpa,
                network.ambient_kpa_abs,
            )
        jets = n * rules.number("wash.unit_air_l_min")
    return AirUse(
        pulsators=pulse * situation.pulsating,
        claws=claw * milking,
        teats=n * rules.number("vacuum.teat_leak_l_min") * milking,
        milk_leak=leak,
        system_leak=rules.number("vacuum.system_leak_share")
        * rules.number("vacuum.leak_times.system")
        * capacity
        / max(1, len(network.pumps)),
        slug=slug,
        jetters=jets,
    )


def lower(network: Network, situation: Situation) -> Lowered:
    """The solver's arrays of a network in a situation."""
    import numpy as np

    from byrewright.engine import airnet

    celsius = network.temperature_c
    air = np.array([network.ambient_kpa_abs, celsius + 273.15, air_viscosity_pa_s(celsius)])
    ends, pipe = _edges(network, situation)
    where, inlet, rows = _inlets(network, situation)
    running = situation.running
    if running is None:
        running = pumps_running(network, situation.mode)
    speed = np.array([1.0 if p.name in running else 0.0 for p in network.pumps])
    vary = np.array(
        [
            float(
                p.machine.speed == "variable"
                and situation.speed_held is None
                and situation.regulated
            )
            for p in network.pumps
        ]
    )
    if situation.speed_held is not None:
        for i, place in enumerate(network.pumps):
            if place.machine.speed == "variable" and speed[i] > 0.0:
                speed[i] = situation.speed_held
    row, first = matrix_order(len(network.nodes), ends)
    regulator_at, regulator = _regulators(network, situation)
    pump_at = np.array([p.node for p in network.pumps], np.int64)
    net = airnet.Net(
        air,
        ends,
        pipe,
        where,
        inlet,
        pump_at,
        _pumps(network),
        regulator_at,
        regulator,
        np.array(network.volumes_l) / 1000.0,
        row,
        first,
    )
    return Lowered(net, control_of(network), speed, vary, rows)


def speed_control(network: Network) -> tuple[float, float]:
    """Gain (1/kPa) and ramp (1/s) of speed control: of the pumps, or usual where not stated."""
    gains = [p.machine.gain_per_kpa for p in network.pumps if p.machine.gain_per_kpa is not None]
    ramps = [p.machine.ramp_per_s for p in network.pumps if p.machine.ramp_per_s is not None]
    number = network.rules.number
    return (
        min(gains, default=number("vacuum.speed_gain_per_kpa")),
        min(ramps, default=number("vacuum.speed_ramp_per_s")),
    )


def control_of(network: Network, gain: float | None = None, ramp: float | None = None) -> Control:
    """Settings of speed control and regulators; gain and ramp may be tried."""
    from byrewright.engine.airnet import Control

    number = network.rules.number
    set_gain, set_ramp = speed_control(network)
    least = max(
        (p.machine.least_speed_pct / 100.0 for p in network.pumps if p.machine.speed == "variable"),
        default=1.0,
    )
    return Control(
        network.sense,
        network.set_vacuum_kpa,
        set_gain if gain is None else gain,
        number("vacuum.speed_integral_s"),
        set_ramp if ramp is None else ramp,
        least,
        number("vacuum.sensor_lag_s"),
        number("vacuum.regulator_lag_s"),
        1.0 / number("vacuum.pump_start_s"),
        1.0 / number("vacuum.pump_stop_s"),
    )


def _edges(network: Network, situation: Situation) -> tuple[Any, Any]:
    import numpy as np

    from byrewright.engine import airnet

    def law(open_in: tuple[str, ...], one_way: bool, machine: str | None) -> int:
        if open_in and machine and situation.mode:
            position = network.plant.position(situation.mode, machine)
            return airnet.PIPE if position in open_in else airnet.SHUT
        return airnet.CHECK if one_way else airnet.PIPE

    every = network.segments
    ends = [(s.a, s.b, law(s.open_in, s.one_way, s.machine)) for s in every]
    pipe = [(s.bore_mm / 1000.0, s.equivalent_m, s.loss, s.rough_mm / s.bore_mm) for s in every]
    return np.array(ends, np.int64), np.array(pipe)


def _inlets(network: Network, situation: Situation) -> tuple[Any, Any, dict[tuple[str, int], int]]:
    import numpy as np

    from byrewright.engine import airnet

    use, n, base = air_use(network, situation), network.units, network.set_vacuum_kpa
    pulsators = sum(c for _, c in network.pulses_at)
    rows: dict[tuple[str, int], int] = {}
    table: list[tuple[int, int, float, float]] = []

    def add(what: str, node: int, law: int, l_min: float, at: float = base) -> None:
        rows[what, node] = len(table)
        table.append((node, law, network.kg_s(l_min), at))

    at_units = use.claws + use.teats + use.milk_leak + use.jetters
    for node, count in network.units_at:
        add("units", node, airnet.ORIFICE, at_units * count / n)
        add("hole", node, airnet.ORIFICE, 0.0)
    for node, count in network.pulses_at:
        add("pulsators", node, airnet.PROPORTIONAL, use.pulsators * count / pulsators)
    if not network.pulses_at:
        add("pulsators", network.body, airnet.PROPORTIONAL, use.pulsators)
    add("system leak", network.body, airnet.ORIFICE, use.system_leak)
    add("tank hole", network.body, airnet.ORIFICE, 0.0)
    if use.slug:
        add("slug", network.units_at[0][0], airnet.ORIFICE, use.slug)
    for i, (node, l_min, kind) in enumerate(situation.extra):
        add(f"extra {i}", node, airnet.FIXED if kind == "fixed" else airnet.ORIFICE, l_min)
    for node in network.receivers:
        if ("hole", node) not in rows:
            add("hole", node, airnet.ORIFICE, 0.0)
    for node, vacuum in situation.held:
        add("held", node, airnet.HOLD, 0.0, network.ambient_kpa_abs - vacuum)
    where = np.array([t[:2] for t in table], np.int64)
    return where, np.array([t[2:] for t in table]), rows


def _pumps(network: Network) -> Any:
    import numpy as np

    silencer = network.rules.number("vacuum.silencer_kpa")
    back = network.rules.number("vacuum.stopped_pump_back_share")
    return np.array(
        [
            (
                network.kg_s(p.displacement),
                p.slip,
                p.slip + back,
                silencer / network.kg_s(p.rated_l_min_free) ** 2,
            )
            for p in network.pumps
        ]
    )


def _regulators(network: Network, situation: Situation) -> tuple[Any, Any]:
    import numpy as np

    number = network.rules.number
    band = number("vacuum.regulator_band_kpa")
    relief = number("vacuum.regulator_relief_kpa") if network.varies else -band / 2.0
    places = network.regulators if situation.regulated else ()
    leak = number("vacuum.regulator_leak_floor_l_min") * number("vacuum.leak_times.regulator")
    rows = [
        (
            network.kg_s(m.count * m.capacity_l_min_free),
            m.set_vacuum_kpa + relief,
            band,
            network.kg_s(leak * m.count),
            -1.0,
        )
        for m, _ in places
    ]
    return np.array([n for _, n in places], np.int64), np.array(rows, float).reshape(-1, 5)


def matrix_order(n: int, ends: Any) -> tuple[Any, Any]:
    """Rows of the matrix by Cuthill and McKee, reversed, and the first column of each row."""
    import numpy as np

    near: list[set[int]] = [set() for _ in range(n)]
    for x, y in ends[:, :2].tolist():
        near[x].add(y)
        near[y].add(x)
    order: list[int] = []
    seen = [False] * n
    for start in sorted(range(n), key=lambda k: (len(near[k]), k)):
        if seen[start]:
            continue
        seen[start] = True
        part = [start]
        for k in part:
            for m in sorted(near[k], key=lambda j: (len(near[j]), j)):
                if not seen[m]:
                    seen[m] = True
                    part.append(m)
        order += part
    place = np.empty(n, np.int64)
    for row, k in enumerate(reversed(order)):
        place[k] = row
    first = np.arange(n, dtype=np.int64)
    for x, y in ends[:, :2].tolist():
        low, high = sorted((int(place[x]), int(place[y])))
        first[high] = min(first[high], low)
    return place, first
