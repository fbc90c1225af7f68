"""Motors and generators: starting, dip, rating, fuel."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from byrewright.physics.errors import PhysicsRangeError, check
from byrewright.standards.electrical import (
    CODE_LETTERS,
    DESIGN_N,
    GENERATOR_KVA,
    StartMethod,
    motor_outputs_kw,
)
from byrewright.standards.rulebook import Rulebook, default_rulebook
from byrewright.standards.units import convert


def next_motor_kw(shaft_kw: float, region: str = "") -> float:
    """Motor output not under a shaft power: IEC 60072-1 steps (from memory), in the US those of
    the trade there.

    >>> next_motor_kw(12.1)
    15.0
    """
    steps = motor_outputs_kw(region)
    check("shaft power", shaft_kw, 0.0, steps[-1], "kW")
    return next(step for step in steps if step >= shaft_kw - 1e-9)


def rated_kva(motor_kw: float, rules: Rulebook | None = None) -> float:
    """Apparent power of a loaded motor: P/(eta cos phi), usual efficiency and power factor.

    >>> round(rated_kva(15.0), 2)
    19.61
    """
    rules = rules or default_rulebook()
    check("motor", motor_kw, 0.0, unit="kW")
    return motor_kw / (rules.number("motor.efficiency") * rules.number("motor.power_factor"))


def locked_rotor_kva(motor_kw: float, letter: str = "") -> float:
    """Apparent power of a standing motor.

    By code letter the upper bound of its band (NEC 430.7(B), from memory), kVA per hp; without
    one the design N limit (IEC 60034-12, from memory), kVA per kW.

    >>> locked_rotor_kva(15.0)
    180.0
    >>> round(locked_rotor_kva(15.0, "G"), 1)
    126.7
    """
    check("motor", motor_kw, 0.0, DESIGN_N[-1].up_to_kw, "kW")
    if not letter:
        return motor_kw * next(row.kva_per_kw for row in DESIGN_N if motor_kw <= row.up_to_kw)
    for row in CODE_LETTERS:
        if row.letter == letter.upper():
            return convert(motor_kw, "kW", "hp") * (row.high if row.high else row.low)
    held = ", ".join(row.letter for row in CODE_LETTERS)
    raise PhysicsRangeError(f"no code letter {letter!r}; use one of {held}")


def start_kva(
    motor_kw: float, method: StartMethod, letter: str = "", rules: Rulebook | None = None
) -> float:
    """Apparent power drawn while starting.

    Direct: locked rotor; star-delta: a third of it; soft starter and drive: a multiple of rated
    (from memory).

    >>> start_kva(15.0, "star_delta"), round(start_kva(15.0, "drive"), 1)
    (60.0, 24.5)
    """
    rules = rules or default_rulebook()
    if method == "direct":
        return locked_rotor_kva(motor_kw, letter)
    if method == "star_delta":
        return locked_rotor_kva(motor_kw, letter) * rules.number("start.star_delta_share")
    if method in ("soft", "drive"):
        return rated_kva(motor_kw, rules) * rules.number(f"start.{method}_multiple")
    raise PhysicsRangeError(
        f"no way to start called {method!r}; use direct, star_delta, soft, drive"
    )


def dip_pct(starting_kva: float, generator_kva: float, rules: Rulebook | None = None) -> float:
    """Voltage dip at a start: 100 S_start/(S_start + S_gen/x'd). From memory.

    >>> round(dip_pct(60.0, 80.0), 1)
    13.0
    """
    rules = rules or default_rulebook()
    check("starting load", starting_kva, 0.0, unit="kVA")
    check("generator", generator_kva, 0.0, unit="kVA", above=True)
    short = generator_kva / rules.number("generator.transient_reactance")
    return 100.0 * starting_kva / (starting_kva + short)


@dataclass(frozen=True, slots=True)
class Load:
    """A load in the order it comes on. `motor_kw` 0 means heaters, lights, controls."""

    name: str
    running_kw: float
    motor_kw: float = 0.0
    method: StartMethod = "direct"
    letter: str = ""


@dataclass(frozen=True, slots=True)
class LoadStep:
    """A load coming on: what runs after it and how far the voltage dips."""

    name: str
    running_kw: float
    running_kva: float
    start_kva: float
    dip_pct: float


@dataclass(frozen=True, slots=True)
class GeneratorSize:
    """A generator set and the steps it takes up."""

    least_kva: float
    chosen_kva: float | None
    governed_by: str
    steps: tuple[LoadStep, ...]


def start_order(loads: Sequence[Load], rules: Rulebook | None = None) -> tuple[Load, ...]:
    """Loads with the hardest start first, so that the least else is disturbed."""
    return tuple(sorted(loads, key=lambda one: (-_start(one, rules), one.name)))


def _start(load: Load, rules: Rulebook | None) -> float:
    if load.motor_kw <= 0.0:
        return load.running_kw
    return start_kva(load.motor_kw, load.method, load.letter, rules)


def generator_size(loads: Sequence[Load], rules: Rulebook | None = None) -> GeneratorSize:
    """Least generator for loads coming on in the order given.

    Running load at most the usual share of rating; dip at each start at most the limit. Power
    factors as in the rulebook (dip formula from memory). A supplier's own dip curve comes first.

    >>> pumps = [Load("vacuum", 12.0, 15.0, "drive"), Load("chiller", 18.0, 22.0, "star_delta")]
    >>> size = generator_size(pumps)
    >>> round(size.least_kva), size.chosen_kva, size.governed_by
    (70, 80, 'the start of chiller')
    """
    rules = rules or default_rulebook()
    steps: list[LoadStep] = []
    most = rules.number("start.dip_most_pct") / 100.0
    reactance = rules.number("generator.transient_reactance")
    running_kw = running_kva = least = 0.0
    governs = "no load"
    for load in loads:
        check(f"running load of {load.name}", load.running_kw, 0.0, unit="kW")
        starting = _start(load, rules)
        needed = starting * reactance * (1.0 - most) / most
        if needed > least:
            least, governs = needed, f"the start of {load.name}"
        running_kw += load.running_kw
        factor = rules.number("motor.power_factor") if load.motor_kw > 0 else 1.0
        running_kva += load.running_kw / factor
        steps.append(LoadStep(load.name, running_kw, running_kva, starting, 0.0))
    by_kw = running_kw / rules.number("generator.power_factor")
    steady = max(running_kva, by_kw) / rules.number("generator.load_most")
    if steady >= least and steady > 0.0:
        least, governs = steady, "the running load"
    chosen = next((kva for kva in GENERATOR_KVA if kva >= least - 1e-9), None)
    rated = chosen or least
    done = tuple(
        LoadStep(
            s.name,
            s.running_kw,
            s.running_kva,
            s.start_kva,
            dip_pct(s.start_kva, rated, rules) if rated > 0.0 else 0.0,
        )
        for s in steps
    )
    return GeneratorSize(least, chosen, governs, done)


def fuel_l_h(load_kw: float, rated_kw: float, rules: Rulebook | None = None) -> float:
    """Diesel an hour: straight line from the no-load share to full load (common practice).

    >>> round(fuel_l_h(32.0, 64.0), 1)
    10.8
    """
    rules = rules or default_rulebook()
    check("rating", rated_kw, 0.0, unit="kW", above=True)
    check("load", load_kw, 0.0, 1.1 * rated_kw, "kW")
    idle = rules.number("generator.idle_fuel_share")
    full = rated_kw * rules.number("generator.fuel_l_per_kwh")
    return full * (idle + (1.0 - idle) * load_kw / rated_kw)


def fuel_hours(
    tank_l: float, load_kw: float, rated_kw: float, rules: Rulebook | None = None
) -> float:
    """Hours a fuel tank lasts.

    >>> round(fuel_hours(200.0, 32.0, 64.0), 1)
    18.5
    """
    check("fuel tank", tank_l, 0.0, unit="L")
    return tank_l / fuel_l_h(load_kw, rated_kw, rules)


def current_a(kva: float, volts: float, phases: int = 3) -> float:
    """Line current: S/(sqrt3 U), or S/U on one phase.

    >>> round(current_a(180.0, 400.0))
    260
    """
    check("apparent power", kva, 0.0, unit="kVA")
    check("voltage", volts, 0.0, unit="V", above=True)
    return kva * 1000.0 / (volts * (math.sqrt(3.0) if phases == 3 else 1.0))


def breaker_trip_s(multiple: float, holds: float, time_constant_s: float) -> float:
    """Seconds until the thermal trip of a breaker that was cold: t = tau ln(m2/(m2 - k2)).

    Args:
        multiple: current over rating.
        holds: multiple that it carries for good.
        time_constant_s: thermal time constant, s.

    Returns:
        Seconds; infinity where it holds. The magnetic trip (short circuits) is not in it.

    >>> round(breaker_trip_s(1.3, 1.05, 600)), round(breaker_trip_s(2.55, 1.05, 600))
    (634, 111)
    >>> breaker_trip_s(1.0, 1.05, 600)
    inf
    """
    if multiple <= holds:
        return math.inf
    return time_constant_s * math.log(multiple**2 / (multiple**2 - holds**2))
