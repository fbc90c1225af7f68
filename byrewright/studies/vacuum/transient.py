"""The air network in time: units fall, pumps trip, control sticks, a drain is left open.

Starts from steady milking and marches at 5 ms with the controllers' own dynamics.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

from byrewright.plant.roles import GivesMilk, IsValve, ReceivesMilk, SharesVacuum
from byrewright.results import ResultBuilder
from byrewright.studies.sizing.context import StudyContext
from byrewright.studies.sizing.duty import duty_of
from byrewright.studies.sizing.serving import always_stopped
from byrewright.studies.vacuum.network import Network
from byrewright.studies.vacuum.situations import Lowered, Situation, control_of, lower
from byrewright.studies.vacuum.steady import NotSolved, balance

STEP_S = 0.005
KEEP = 20  # every 0.1 s into the record
BEFORE_S = 1.0  # of quiet milking before anything happens
BACK_WITHIN_KPA = 0.2  # nearer to the first vacuum than this counts as back
OPEN_FOR_S = 8.0  # time for which the test leaves units open
SHOWN_S = 12.0  # of an event, where it needs no more

Row = tuple[float, int, int, float]


@dataclass(frozen=True, slots=True)
class Event:
    """Something that happens: its rows in time are made from the lowered network."""

    key: str
    title: str
    seconds: float
    rows: Callable[[Network, Lowered], list[Row]]
    running: tuple[str, ...] | None = None
    gain: float | None = None
    ramp: float | None = None
    ends_s: float | None = None
    """When the air is shut again, where it is."""


@dataclass(frozen=True, slots=True)
class Run:
    """What an event did to the vacuum. Times from its start; vacuum in kPa below ambient."""

    event: Event
    times_s: tuple[float, ...]
    receiver_kpa: tuple[float, ...]
    units_kpa: tuple[float, ...]
    pump_kpa: tuple[float, ...]
    speed: tuple[float, ...]
    before_kpa: float
    least_kpa: float
    most_kpa: float
    least_at_units_kpa: float
    during_kpa: float
    after_kpa: float
    back_after_s: float
    under_limit_s: float
    units_falling: float

    @property
    def drop_kpa(self) -> float:
        """Vacuum before, less the lowest at the receiver."""
        return self.before_kpa - self.least_kpa

    @property
    def undershoot_kpa(self) -> float:
        """Settled vacuum with the air let in, less the lowest."""
        return max(0.0, self.during_kpa - self.least_kpa)

    @property
    def overshoot_kpa(self) -> float:
        """Highest vacuum above that before."""
        return max(0.0, self.most_kpa - self.before_kpa)


def march(network: Network, event: Event, milking: Situation) -> Run:
    """Run an event from steady milking.

    Raises:
        NotSolved: a time step did not come into balance.
    """
    import numpy as np

    from byrewright.engine import airmarch, airnet

    situation = replace(milking, running=event.running or milking.running)
    lowered, p, flow, _ = balance(network, lower(network, situation))
    control = control_of(network, event.gain, event.ramp)
    rows = sorted(event.rows(network, lowered))
    table = np.array(rows, dtype=float).reshape(-1, 4)
    far = worst_unit(network)
    probes = np.array([network.milk_point, far, network.body], np.int64)
    steps = round((BEFORE_S + event.seconds) / STEP_S)
    on = (np.asarray(lowered.speed) > 0.0).astype(float)
    limit = network.rules.number("vacuum.cups_fall_kpa")
    marks, nodes, left = airmarch.march(
        lowered.net,
        p,
        flow,
        lowered.speed,
        lowered.vary,
        on,
        control,
        table,
        STEP_S,
        steps,
        KEEP,
        probes,
        limit,
        airnet.room(len(network.nodes), len(network.segments)),
    )
    if not left < airnet.GOOD:
        raise NotSolved(f"The march in time of '{event.title}' did not come into balance.")
    return _run(network, event, marks, nodes)


def _run(network: Network, event: Event, marks: Any, nodes: Any) -> Run:
    import numpy as np

    times = np.arange(marks.shape[0]) * STEP_S * KEEP - BEFORE_S
    vm = marks[:, 0]
    before = float(vm[0])
    least, most = (float(nodes[network.milk_point, i]) for i in (0, 1))
    ends = event.ends_s if event.ends_s is not None else event.seconds
    held = (times > max(0.0, ends - 1.0)) & (times < ends - 1e-9)
    away = np.nonzero(np.abs(vm - before) > BACK_WITHIN_KPA)[0]
    if away.size == 0:
        back = 0.0
    elif away[-1] + 1 < len(times):
        back = float(times[away[-1] + 1])
    else:
        back = math.inf
    after = network.rules.number("vacuum.cups_fall_after_s")
    return Run(
        event=event,
        times_s=tuple(np.round(times, 6).tolist()),
        receiver_kpa=tuple(vm.tolist()),
        units_kpa=tuple(marks[:, 1].tolist()),
        pump_kpa=tuple(marks[:, 2].tolist()),
        speed=tuple(marks[:, 3].tolist()),
        before_kpa=before,
        least_kpa=least,
        most_kpa=most,
        least_at_units_kpa=min(float(nodes[n, 0]) for n, _ in network.units_at),
        during_kpa=float(vm[held].mean()) if held.any() else float(vm[-1]),
        after_kpa=float(vm[-1]),
        back_after_s=back,
        under_limit_s=max(float(nodes[n, 2]) for n, _ in network.units_at),
        units_falling=_on_cows(network, sum(c for n, c in network.units_at if nodes[n, 2] > after)),
    )


def _on_cows(network: Network, units: float) -> float:
    """Of these units, those that hang on a cow: on a deck the others wait or are done."""
    if not units:
        return 0.0
    plant = network.plant
    ctx = StudyContext(plant, network.rules, ResultBuilder("vacuum", plant.site.name))
    duty = duty_of(ctx)
    return units * duty.units_on / max(duty.units, 1)


def worst_unit(network: Network) -> int:
    """The unit's node farthest from the receivers, counted in pieces of line."""
    ways: dict[int, list[int]] = {}
    for s in network.segments:
        ways.setdefault(s.a, []).append(s.b)
        ways.setdefault(s.b, []).append(s.a)
    far = dict.fromkeys(network.receivers or (network.body,), 0)
    queue = list(far)
    for here in queue:
        for other in ways.get(here, ()):
            if other not in far:
                far[other] = far[here] + 1
                queue.append(other)
    return max((n for n, _ in network.units_at), key=lambda n: far.get(n, 0))


# The events.


def fall_off_air_l_min(network: Network) -> float:
    """Air that one fallen unit lets in: the most of any unit of the plant."""
    return max(u.fall_off_air_l_min_free for u in network.plant.machines(GivesMilk))


def units_open(
    count: float,
    air_l_min: float,
    for_s: float | None,
    *,
    key: str,
    title: str,
    seconds: float = SHOWN_S,
) -> Event:
    """`count` units at the far end of the line let in air for a time (for good when None)."""

    def rows(network: Network, lowered: Lowered) -> list[Row]:
        from byrewright.engine.airmarch import ON_INLET

        row = lowered.rows["hole", worst_unit(network)]
        found: list[Row] = [(BEFORE_S, ON_INLET, row, network.kg_s(count * air_l_min))]
        if for_s is not None:
            found.append((BEFORE_S + for_s, ON_INLET, row, 0.0))
        return found

    return Event(key, title, seconds, rows, ends_s=for_s)


def pump_trips(
    network: Network,
    running: tuple[str, ...],
    *,
    key: str,
    title: str,
    standby: tuple[str, float] | None = None,
    valve_leaks: bool = False,
    seconds: float = 15.0,
) -> Event:
    """The first of the pumps that run trips; a standby may start, after so many seconds."""
    names = [p.name for p in network.pumps]

    def rows(network: Network, lowered: Lowered) -> list[Row]:
        from byrewright.engine.airmarch import ON_EDGE, ON_PUMP

        which = names.index(running[0])
        found: list[Row] = [(BEFORE_S, ON_PUMP, which, 0.0)]
        if standby is not None:
            name, after_s = standby
            found.append((BEFORE_S + after_s, ON_PUMP, names.index(name), 1.0))
        if valve_leaks:
            found += [(BEFORE_S, ON_EDGE, e, 0.0) for e in _check_of(network, which)]
        return found

    return Event(key, title, seconds, rows, running=running)


def _check_of(network: Network, pump: int) -> list[int]:
    """The non-return valves on the way from a pump to the first vessel."""
    here, found, seen = network.pumps[pump].node, [], set()
    while here not in seen:
        seen.add(here)
        ways = [e for e, s in enumerate(network.segments) if here in (s.a, s.b)]
        onward = [e for e in ways if not {network.segments[e].a, network.segments[e].b} <= seen]
        if len(onward) != 1:
            break
        segment = network.segments[onward[0]]
        if segment.one_way:
            found.append(onward[0])
        here = segment.b if segment.a == here else segment.a
    return found


def control_sticks(air_l_min: float, *, for_s: float, speed: bool) -> Event:
    """Speed control (or the regulator) stays where it is while a unit falls off."""

    def rows(network: Network, lowered: Lowered) -> list[Row]:
        from byrewright.engine.airmarch import AS_IT_IS, ON_INLET, ON_REGULATOR, ON_SPEED

        row = lowered.rows["hole", worst_unit(network)]
        found: list[Row] = [
            (BEFORE_S, ON_INLET, row, network.kg_s(air_l_min)),
            (BEFORE_S + for_s, ON_INLET, row, 0.0),
        ]
        if speed:
            found.append((0.0, ON_SPEED, 0, AS_IT_IS))
        for r, (machine, node) in enumerate(network.regulators):
            if not speed:
                opening = _opening(network, lowered, r, machine.set_vacuum_kpa, node)
                found.append((0.0, ON_REGULATOR, r, opening))
        return found

    what = "Speed control" if speed else "Regulator"
    return Event(
        "control_sticks", f"{what} sticks, then a unit falls off", SHOWN_S, rows, ends_s=for_s
    )


def regulator_sticks_open(network: Network) -> Event | None:
    """The first regulator goes fully open and stays there."""
    if not network.regulators:
        return None
    machine, _ = network.regulators[0]

    def rows(network: Network, lowered: Lowered) -> list[Row]:
        from byrewright.engine.airmarch import ON_REGULATOR

        return [(BEFORE_S, ON_REGULATOR, 0, 1.0)]

    return Event("regulator_open", f"{machine.id} sticks fully open", SHOWN_S, rows)


def _opening(network: Network, lowered: Lowered, r: int, setting: float, node: int) -> float:
    _, p, _, _ = balance(network, lowered)
    vacuum = network.ambient_kpa_abs - float(p[node])
    _, opens, band, _, _ = lowered.net.regulator[r]
    return float(min(1.0, max(0.0, (vacuum - opens) / band)))


def drain_open(network: Network) -> Event | None:
    """A drain under vacuum is left not quite shut: at a receiver, else at the distribution tank."""
    for kind in (ReceivesMilk, SharesVacuum):
        for machine in network.plant.machines(kind):
            bore = _drain_bore_mm(network, machine.id)
            if bore is None:
                continue
            rules = network.rules
            full = full_drain_l_min(bore, rules.number("vacuum.drain_discharge"))
            air = full * rules.number("vacuum.drain_open_share")
            at_tank = kind is SharesVacuum
            node = network.body if at_tank else network.receivers[0]

            def rows(
                network: Network,
                lowered: Lowered,
                node: int = node,
                air: float = air,
                at_tank: bool = at_tank,
            ) -> list[Row]:
                from byrewright.engine.airmarch import ON_INLET

                row = lowered.rows["tank hole" if at_tank else "hole", node]
                return [(BEFORE_S, ON_INLET, row, network.kg_s(air))]

            title = f"Drain of {machine.id} ({bore:g} mm) not quite shut: {air:.0f} L/min"
            return Event("drain_open", title, SHOWN_S, rows)
    return None


def _drain_bore_mm(network: Network, machine_id: str) -> float | None:
    for pipe in network.plant.pipes_at(machine_id):
        if f"{machine_id}.drain" in (pipe.start, pipe.end):
            for end in (pipe.start, pipe.end):
                valve = network.plant.equipment.get(end.partition(".")[0])
                if isinstance(valve, IsValve) and valve.bore_mm:
                    return min(valve.bore_mm, pipe.bore_mm)
            return pipe.bore_mm
    return None


def full_drain_l_min(bore_mm: float, discharge: float) -> float:
    """Free air through an open drain under a vacuum that chokes it: C A sqrt(g) r p_a / rho.

    Choked flow of a nozzle at 20 degC, times a discharge coefficient (derived). At altitude less
    mass flows and free air is as much thinner, so its flow is the same.
    """
    kelvin, gas = 293.15, 287.05
    speed_m_s = 0.6847 * math.sqrt(gas * kelvin)
    return discharge * math.pi / 4.0 * (bore_mm / 1000.0) ** 2 * speed_m_s * 60_000.0


EVENTS = (
    "fall_off", "open_test", "attach", "pump_trips", "pump_trips_valve_leaks", "all_vacuum_lost",
    "control_sticks", "regulator_open", "drain_open",
)  # fmt: skip
"""Keys of every event in time; not every plant has all of them."""


def standard_events(network: Network, running: tuple[str, ...]) -> list[Event]:
    """The events every report shows for this plant."""
    rules = network.rules
    fall = fall_off_air_l_min(network)
    shuts = all(u.shut_off for u in network.plant.machines(GivesMilk))
    delay = rules.number("vacuum.shutoff_delay_s") if shuts else None
    opened = open_units(network)
    events = [
        units_open(
            1,
            fall,
            delay,
            key="fall_off",
            title="One unit kicked off" + (", shuts itself off" if shuts else ""),
        ),
        units_open(
            opened,
            fall,
            OPEN_FOR_S,
            key="open_test",
            seconds=16.0,
            title=f"{opened} unit{'s' * (opened > 1)} held open (test)",
        ),
        units_open(
            3,
            rules.number("vacuum.attach_air_l_min"),
            rules.number("vacuum.attach_air_s"),
            key="attach",
            title="Three units attached at once",
        ),
    ]
    if len(running) > 1:
        events.append(
            pump_trips(
                network, running, key="pump_trips", title=f"{running[0]} trips, the rest carry on"
            )
        )
        if any(s.one_way for s in network.segments):
            events.append(
                pump_trips(
                    network,
                    running,
                    key="pump_trips_valve_leaks",
                    valve_leaks=True,
                    title=f"{running[0]} trips and its non-return valve leaks",
                )
            )
    still = {*running[:1], *always_stopped(network.plant)}
    spare = [p.name for p in network.pumps if p.name not in still] if running else []
    delay_s = rules.number("vacuum.standby_delay_s")
    if running:
        title = f"{running[0]} alone trips"
        if spare:
            title += f", {spare[0]} starts after {delay_s:g} s"
        events.append(
            pump_trips(
                network,
                running[:1],
                key="all_vacuum_lost",
                title=title,
                standby=(spare[0], delay_s) if spare else None,
            )
        )
    events.append(control_sticks(fall, for_s=OPEN_FOR_S, speed=network.varies))
    faults = (regulator_sticks_open(network), drain_open(network))
    return events + [f for f in faults if f is not None]


def open_units(network: Network) -> int:
    """Units the test holds open: two in large plants, else one (US guide)."""
    return 2 if network.units > network.rules.number("vacuum.test.two_open_above_units") else 1


@dataclass(frozen=True, slots=True)
class Tuned:
    """One setting of speed control and what it does."""

    gain: float
    ramp: float
    drop_kpa: float
    overshoot_kpa: float
    back_after_s: float

    @property
    def badness(self) -> float:
        """Less is better: drop and overshoot in kPa, and a tenth of the seconds until back."""
        late = min(self.back_after_s, 20.0)
        return self.drop_kpa + self.overshoot_kpa + 0.1 * late


def scan(
    network: Network, milking: Situation, gains: Sequence[float], ramps: Sequence[float]
) -> list[Tuned]:
    """Try gains (1/kPa) and ramps (1/s) on the open-unit test; best first."""
    fall = fall_off_air_l_min(network)
    found = []
    for gain in gains:
        for ramp in ramps:
            event = replace(
                units_open(open_units(network), fall, 3.0, key="scan", title="", seconds=6.5),
                gain=gain,
                ramp=ramp,
            )
            run = march(network, event, milking)
            found.append(Tuned(gain, ramp, run.drop_kpa, run.overshoot_kpa, run.back_after_s))
    return sorted(found, key=lambda t: (round(t.badness, 6), t.gain, t.ramp))
