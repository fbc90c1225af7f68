"""Electric loads: what each machine draws in each situation, and how it starts."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from byrewright.physics.demand import together_kva
from byrewright.plant.farm import minutes
from byrewright.plant.machine import Machine
from byrewright.plant.roles import HeatsWater, MakesCold, PumpsVacuum, TurnsDeck
from byrewright.standards.electrical import StartMethod
from byrewright.studies.sizing.context import StudyContext
from byrewright.studies.sizing.duty import Duty

SITUATIONS = ("milking", "washing", "cooling", "night")
"""What goes on while the supply is asked for power: milking, washing, all cold at once, night."""
DOES = {
    "milking": ("milking", "direct_load"),
    "washing": ("wash", "rinse", "tank_wash"),
    "cooling": ("idle",),
    "night": ("idle",),
}
CONTROLS = ("controls", "tells people")
CLOTHS = ("washes cloths", "dries cloths")
UNITY = 1.0


@dataclass(frozen=True, slots=True)
class ElectricLoad:
    """Machines of one tag: electric input while at work, and how many are on in a situation."""

    machine: Machine
    each_kw: float
    """Electric input of one at work."""
    power_factor: float
    on: dict[str, float]
    """How many are on (or their equivalent) in each situation."""
    start: StartMethod | None
    motor_kw: float
    """Motor that starts, 0 for heaters and controls."""

    def kw(self, situation: str) -> float:
        """Input in a situation."""
        return self.each_kw * self.on[situation]


def electric_loads(ctx: StudyContext, duty: Duty) -> tuple[ElectricLoad, ...]:
    """Every machine that draws power, in file order."""
    found = []
    for machine in ctx.plant.equipment.values():
        rated = machine.power_kw()
        if rated <= 0 or (isinstance(machine, HeatsWater) and machine.fuel != "electric"):
            continue
        kw, factor, motor = _input(ctx, machine, rated)
        on = {s: _on(ctx, duty, machine, s) for s in SITUATIONS}
        found.append(ElectricLoad(machine, kw, factor, on, _start(ctx, machine, motor), motor))
    return tuple(found)


def demand_kva(loads: Sequence[ElectricLoad], situation: str) -> float:
    """Apparent power of the loads that are on in a situation."""
    return together_kva([(one.kw(situation), one.power_factor) for one in loads])


def demand_kw(loads: Sequence[ElectricLoad], situation: str) -> float:
    """Active power of the loads that are on in a situation."""
    return sum(one.kw(situation) for one in loads)


def is_heat(machine: Machine) -> bool:
    """Whether it heats by electricity (water heater, cloth washer or dryer)."""
    return machine.can("heats water") or any(machine.can(c) for c in CLOTHS)


def _input(ctx: StudyContext, machine: Machine, rated: float) -> tuple[float, float, float]:
    """Electric input of one at work, its power factor, and the motor that starts."""
    factor, efficiency = ctx.number("motor.power_factor"), ctx.number("motor.efficiency")
    if machine.can("heats water"):
        return rated, UNITY, 0.0
    if any(machine.can(c) for c in CLOTHS):
        return rated * ctx.number("laundry.load_share"), UNITY, 0.0
    if any(machine.can(c) for c in CONTROLS):
        return rated, factor, 0.0
    if machine.can("makes cold"):  # compressors start one after another
        return rated, factor, rated * efficiency / getattr(machine, "compressors", 1)
    return rated * ctx.number("motor.loading") / efficiency, factor, rated


def _on(ctx: StudyContext, duty: Duty, machine: Machine, situation: str) -> float:
    """How many of a tag are on; running pumps that share one duty count as one between them."""
    if is_heat(machine) and ctx.plant.locked_out(machine.id, DOES[situation]):
        return 0.0
    if any(machine.can(c) for c in CONTROLS) or machine.can("heats water"):
        return float(machine.count)
    if any(machine.can(c) for c in CLOTHS):
        return 0.0 if situation == "night" else float(machine.count)
    if isinstance(machine, MakesCold) and machine.cold().store_kwh > 0:
        making = situation == "night" or (
            situation != "cooling" and _window_meets_milking(machine, duty)
        )
        return float(machine.count) if making or situation == "cooling" else 0.0
    if machine.can("makes cold"):
        if situation == "cooling":
            return float(machine.count) if machine.usual() != "ready" else 0.0
        return machine.count * float(_cools(ctx, machine, situation))
    if machine.can("stores milk"):
        return float(machine.count)
    runs = _runs(ctx, machine, situation)
    if runs and isinstance(machine, PumpsVacuum):
        return machine.count / _sharing(ctx, situation)
    return machine.count * float(runs)


def _sharing(ctx: StudyContext, situation: str) -> int:
    """Vacuum pumps that share one duty: each slows down, so together they draw as one."""
    pumps = ctx.plant.machines(PumpsVacuum)
    running = sum(p.count for p in pumps if _runs(ctx, p, situation))
    alone = ctx.plant.wishes.redundancy != "none" and all(p.speed == "variable" for p in pumps)
    return max(1, running) if alone else 1


def _runs(ctx: StudyContext, machine: Machine, situation: str) -> bool:
    """Whether some mode of the situation has it running; as it usually is where no mode says."""
    plant = ctx.plant
    modes = [n for n, m in plant.modes.items() if any(d in DOES[situation] for d in m.does)]
    if not machine.states():
        return situation != "night"
    states = {plant.position(n, machine.id) for n in modes} or {machine.usual()}
    return "runs" in states


def _cools(ctx: StudyContext, machine: Machine, situation: str) -> bool:
    """Refrigeration follows its thermostat: on by day unless the modes say otherwise."""
    plant = ctx.plant
    modes = [n for n, m in plant.modes.items() if any(d in DOES[situation] for d in m.does)]
    silent = machine.normally is None and not any(plant.states(n, machine.id) for n in modes)
    return situation != "night" if silent else _runs(ctx, machine, situation)


def _window_meets_milking(bank: MakesCold, duty: Duty) -> bool:
    """Whether a milking falls into the hours of ice making."""
    hours = bank.cold().hours
    if hours is None:
        return True
    start, end = minutes(hours[0]), minutes(hours[1])
    end += 1440 if end <= start else 0
    for milking in duty.milkings:
        for day in (0, 1440):
            if milking.start_min + day < end and milking.end_min + day > start:
                return True
    return False


def start_of(machine: Machine) -> StartMethod | None:
    """How the file says a motor starts; nothing where it does not say."""
    stated = getattr(machine, "start", None)
    if stated in ("direct", "star_delta", "soft", "drive"):
        return stated  # type: ignore[no-any-return]
    variable = getattr(machine, "speed", "") == "variable"
    led = getattr(machine, "control", "") in ("stepped", "level_led")
    return "drive" if variable or led or isinstance(machine, TurnsDeck) else None


def _start(ctx: StudyContext, machine: Machine, motor_kw: float) -> StartMethod | None:
    if motor_kw <= 0:
        return None
    stated = start_of(machine)
    if stated is not None:
        return stated
    if motor_kw <= ctx.number("start.direct_most_kw"):
        return "direct"
    ctx.assume(machine.id, "how its motor starts", "soft", "",
                 "not stated; a motor of this size is not started direct")  # fmt: skip
    return "soft"
