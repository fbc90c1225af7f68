"""Vacuum as the day sees it: pumps running and units attached give vacuum, speed and power.

Two makers of the map stand behind one call: the network solver of the vacuum study, where a
caller passes its table, and the capacity balance below, which knows no pipes and says so.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np

from byrewright.engine.shape import Floats, zeros
from byrewright.physics.air import vane_pump_l_min_free
from byrewright.standards.rulebook import Rulebook


@dataclass(frozen=True, slots=True)
class RatedPump:
    """A vacuum pump as the map needs it."""

    nominal_l_min_free: float
    motor_kw: float
    variable: bool
    least_share: float


@dataclass(frozen=True, slots=True)
class OperatingMap:
    """`table[pumps running (bits), units attached] = (vacuum_kpa, speed share, kW)`."""

    table: Floats
    set_kpa: float
    known: Literal["unknown", "network"]
    why: str


def capacity_balance(
    pumps: tuple[RatedPump, ...],
    set_kpa: float,
    units: int,
    each_l_min_free: float,
    leak_l_min_free: float,
    ambient_kpa_abs: float,
    rules: Rulebook,
) -> OperatingMap:
    """The map from air in and air out alone, for plants whose network has not been solved.

    A variable pump turns only as fast as the air asks, down to its floor; a regulator takes what is
    over. Where the pumps cannot hold the setting the vacuum falls to where they can.
    """

    def drawn(running: list[RatedPump], vacuum_kpa: float) -> float:
        nominal = sum(p.nominal_l_min_free for p in running)
        return vane_pump_l_min_free(nominal, vacuum_kpa, ambient_kpa_abs, rules)

    table = zeros(1 << len(pumps), max(units, 1) + 1, 3)
    for mask in range(table.shape[0]):
        running = [p for i, p in enumerate(pumps) if mask >> i & 1]
        for attached in range(table.shape[1]):
            need = leak_l_min_free + attached * each_l_min_free
            table[mask, attached] = _point(running, set_kpa, need, drawn)
    why = "air in against air out; the network has not been solved for this plant"
    return OperatingMap(np.ascontiguousarray(table), set_kpa, "unknown", why)


def _point(
    running: list[RatedPump],
    set_kpa: float,
    need: float,
    drawn: Callable[[list[RatedPump], float], float],
) -> tuple[float, float, float]:
    if not running:
        return 0.0, 0.0, 0.0
    full = drawn(running, set_kpa)
    vacuum = set_kpa
    if full < need:
        low, high = 0.0, set_kpa
        for _ in range(50):
            vacuum = 0.5 * (low + high)
            # Less vacuum also draws less air through the same openings.
            wanted = need * math.sqrt(max(vacuum, 0.0) / set_kpa)
            low, high = (vacuum, high) if drawn(running, vacuum) > wanted else (low, vacuum)
        full = max(full, 1e-9)
    share = min(1.0, need / max(full, 1e-9))
    kw = 0.0
    speed = 0.0
    for pump in running:
        turn = max(pump.least_share, share) if pump.variable else 1.0
        speed += turn / len(running)
        # Shaft power goes with speed at one vacuum; 0.85 of the rating at full speed.
        kw += 0.85 * pump.motor_kw * turn
    return vacuum, speed, kw


def from_network(pumps: tuple[str, ...], units: Floats, vacuum_kpa: Floats, speed: Floats,
                 power_kw: Floats, order: tuple[str, ...], most_units: int, set_kpa: float,
                 efficiency: float) -> OperatingMap | None:  # fmt: skip
    """The map from a solved network: points by (pump state, units), straight lines between.

    Args:
        pumps: the network's pumps, bit 0 the first; `order` is the engine's order of the same.
        vacuum_kpa, speed, power_kw: arrays (pump state, point), power at the shaft.

    Returns:
        None where the two do not name the same pumps.
    """
    if sorted(pumps) != sorted(order) or not pumps:
        return None
    table = zeros(1 << len(order), max(most_units, 1) + 1, 3)
    at = np.arange(table.shape[1], dtype=np.float64)
    for mask in range(1, table.shape[0]):
        state = sum(1 << pumps.index(tag) for i, tag in enumerate(order) if mask >> i & 1)
        table[mask, :, 0] = np.interp(at, units, vacuum_kpa[state])
        table[mask, :, 1] = np.interp(at, units, speed[state])
        table[mask, :, 2] = np.interp(at, units, power_kw[state]) / efficiency
    return OperatingMap(table, set_kpa, "network", "the solved air network")
