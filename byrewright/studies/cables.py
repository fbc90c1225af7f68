"""The cable list: every feeder with its way through the plan, current, section and volt drop."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from byrewright.physics.cables import conductor_for, volt_drop_pct
from byrewright.physics.demand import together_kva
from byrewright.physics.motors import current_a
from byrewright.place.cables import Target, Way, way
from byrewright.place.model import Plan
from byrewright.plant.machine import Machine
from byrewright.plant.plant import Plant
from byrewright.plant.roles import (
    BringsCows,
    SharesPower,
    SuppliesPower,
    TellsPeople,
    TurnsDeck,
)
from byrewright.plant.sited import Sited
from byrewright.results import ResultBuilder
from byrewright.standards.cooling import lies_in
from byrewright.standards.electrical import supply_a
from byrewright.studies.sizing.context import StudyContext
from byrewright.studies.sizing.duty import duty_of
from byrewright.studies.sizing.feeds import carried, feeds_of
from byrewright.studies.sizing.loads import ElectricLoad, electric_loads
from byrewright.studies.sizing.steps import next_of

PANEL_V, PANEL_MOST_V = 120.0, 250.0
"""Of a service panel for small loads in the US, and the phase to phase above which it stands behind
a transformer (common practice, no source)."""
SOUNDER_M = 2.4
"""Sounders over the floor (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Cable:
    """One feeder: its way, what it carries, its section and its volt drop.

    `second` marks a supply that takes over; `mm2` is None where no usual cable will do, and 0 where
    nothing is known of the load. `total_pct` is from the public supply on.
    """

    way: Way
    title: str
    second: bool
    kw: float
    amps: float
    phases: int
    breaker_a: float
    mm2: float | None
    together: int
    drop_pct: float
    total_pct: float


def cables_of(plant: Plant, made: Sited) -> tuple[Cable, ...]:
    """The cable list by the plan's own rules, for who asks nothing else."""
    notes = ResultBuilder("place", plant.site.name)
    return cable_list(StudyContext(plant, plant.place_rules(), notes), made)


def cable_list(ctx: StudyContext, made: Sited) -> tuple[Cable, ...]:
    """Every cable from a supply or board to what it feeds, feeders of boards first."""
    plant, plan = ctx.plant, made.plan
    supply = plant.site.supply
    mains = plant.first(SuppliesPower)
    phases = min(supply.phases, mains.phases if mains else 3)
    volts = supply.voltage_v
    loads = electric_loads(ctx, duty_of(ctx)) if plant.milkings else ()
    board_amps = _board_amps(ctx, loads, volts, phases)
    totals: dict[str, float] = {}
    found: list[Cable] = []
    feeding = {f for m in plant.equipment.values() for f in m.fed_from}
    order = sorted(plant.equipment.values(), key=lambda m: (m.id not in feeding,))
    for machine in _down(order):
        for place, feeder in enumerate(machine.fed_from):
            source = plan.bodies.get(feeder)
            target = target_of(plant, plan, machine)
            if source is None or target is None:
                continue
            one = way(plan, source, machine.id, target)
            cable = _cable(ctx, machine, one, place > 0, board_amps, volts, phases,
                           totals.get(feeder, 0.0), machine.id in feeding)  # fmt: skip
            found.append(cable)
            totals[machine.id] = max(totals.get(machine.id, 0.0), cable.total_pct)
    return tuple(found)


def cables_note(region: str, volts: float, every: Sequence[Cable]) -> str:
    """Who confirms the list, and in the US what loads on one phase are taken at where a farm would
    rather feed them from a panel of 120 V behind a transformer. `volts`: between phases, V."""
    note = ("Sections, protection, earthing and grouping: to be confirmed by a licensed "
            "electrician to local rules.")  # fmt: skip
    if not lies_in(region, "US") or volts <= PANEL_MOST_V or all(c.phases > 1 for c in every):
        return note
    neutral = volts / math.sqrt(3.0)
    return (
        f"{note} Loads on one phase are taken at {neutral:.0f} V, phase to neutral of {volts:g} V. "
        f"Fed from a {PANEL_V:g} V panel behind a transformer, usual but not in this list, "
        f"they draw {neutral / PANEL_V:.1f} times the current: size breakers and conductors for it."
    )


def _down(machines: list[Machine]) -> list[Machine]:
    """Machines in an order in which what feeds comes before what is fed."""
    left, done, out = {m.id: m for m in machines}, set[str](), list[Machine]()
    while left:
        ready = [m for m in left.values() if not any(f in left for f in m.fed_from)]
        for m in ready or list(left.values())[:1]:
            out.append(left.pop(m.id))
            done.add(m.id)
    return out


def _board_amps(
    ctx: StudyContext, loads: tuple[ElectricLoad, ...], volts: float, phases: int
) -> dict[str, float]:
    """The worst current of each board, and of each other machine that passes power on."""
    plant = ctx.plant
    wishes = plant.wishes
    lost = wishes.no_single_stop or wishes.redundancy != "none"
    feeds = feeds_of(plant, loads, volts, phases, one_lost=lost)
    found = {tag: feed.worst_amps for tag, feed in feeds.items()}
    for tag, mine in carried(plant, loads).items():
        if tag not in found:
            kva = together_kva([(one.each_kw * one.machine.count, one.power_factor)
                                for one in mine])  # fmt: skip
            found[tag] = current_a(kva, volts, phases)
    return found


def _cable(
    ctx: StudyContext, machine: Machine, one: Way, second: bool, board_amps: dict[str, float],
    volts: float, phases: int, before: float, feeds: bool,
) -> Cable:  # fmt: skip
    """The cable of one feeder: current, section, volt drop."""
    rules = ctx.rules
    factor = rules.number("motor.power_factor")
    kw = machine.power_kw() * machine.count
    heats = machine.can("heats water") or machine.can("dries cloths")
    kva = kw if heats else kw / factor
    if not (heats or machine.can("makes cold") or machine.can("controls")):
        kva /= rules.number("motor.efficiency")
    single = phases == 1 or (kw <= rules.number("cable.one_phase_most_kw") and not feeds)
    used, over = (1, volts if phases == 1 else volts / math.sqrt(3.0)) if single else (3, volts)
    amps = board_amps.get(machine.id, 0.0) if feeds else current_a(kva, over, used)
    if feeds and isinstance(machine, SharesPower):
        most = rules.number("cable.feeder_drop_pct")
    else:
        most = max(0.1, rules.number("cable.drop_most_pct") - before)
    cos = 1.0 if heats else factor
    spare = 1.0 + rules.number("supply.spare_share")
    breaker = next_of(amps * spare, supply_a(ctx.plant.site.region)) if amps else 0.0
    # the conductor must carry what its breaker lets through
    picked = conductor_for(amps, one.length_m, over, most, cos, used, breaker, rules)
    if picked is None or not amps:
        mm2, together, drop = (None if amps else 0.0), 1, 0.0
        if amps:
            drop = volt_drop_pct(amps, one.length_m, 240.0, over, cos, used, 4, rules)
    else:
        mm2, together = picked[0].mm2, picked[1]
        drop = volt_drop_pct(amps, one.length_m, mm2, over, cos, used, together, rules)
    return Cable(one, machine.title, second, round(kw, 2), round(amps, 1), used, breaker, mm2,
                 together, round(drop, 2), round(before + drop, 2))  # fmt: skip


def target_of(plant: Plant, plan: Plan, machine: Machine) -> Target | None:
    """Where a machine's cable ends: at the machine, or at the first of many round the stalls."""
    body = plan.bodies.get(machine.id)
    deck, hall = plan.deck, plan.rooms["hall"]
    if body is not None:
        room = "deck" if body.frame == "deck" else body.room
        return Target(room, (body.x, body.y, body.z + body.h))
    if isinstance(machine, BringsCows):
        yard = plan.rooms.get("yard", hall)
        near = yard.y2 if plan.hand > 0 else yard.y
        return Target("yard", (yard.x + yard.w / 2, near, yard.floor_m + 1.5))
    if isinstance(machine, TellsPeople):
        return Target("hall", (hall.x2 - 0.1, 0.6 * plan.hand, SOUNDER_M))
    if isinstance(machine, TurnsDeck) and deck.rotary:
        return Target("hall", (deck.rail_radius_m, 0.6 * plan.hand, 0.3))
    if deck.rotary:
        return Target("deck", (deck.ring_radius_m, 0.0, 0.5))
    return Target("hall", (0.0, 0.6 * plan.hand, deck.height_m + 0.3))


CABLES = ("from", "to", "what", "supply", "load", "current", "phases", "breaker", "section",
          "length", "drop", "with those before")  # fmt: skip
CABLE_UNITS = ("", "", "", "", "kW", "A", "", "A", "mm2", "m", "%", "%")


def cable_rows(every: tuple[Cable, ...]) -> tuple[tuple[str | float, ...], ...]:
    """The cable list's rows."""
    return tuple(
        (c.way.board, c.way.tag, c.title, "second" if c.second else "first", c.kw or "-",
         c.amps or "-", c.phases, c.breaker_a or "-", section_words(c), c.way.length_m,
         c.drop_pct if c.amps else "-", c.total_pct if c.amps else "-")
        for c in every
    )  # fmt: skip


def section_words(cable: Cable) -> str:
    """A cable's section in words.

    `2 x 240` for two side by side, `ask` where no usual cable will do, `-` where the load is not
    known.
    """
    if cable.mm2 is None:
        return "ask"
    if not cable.mm2:
        return "-"
    return (f"{cable.together} x " if cable.together > 1 else "") + f"{cable.mm2:g}"
