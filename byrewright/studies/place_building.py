"""What the plan's building must bear, blow and hush: loads, air openings, noise."""

from __future__ import annotations

import math

from byrewright.physics.noise import away_db, together_db
from byrewright.place import checks
from byrewright.place.model import Plan
from byrewright.plant.roles import PumpsVacuum, StandsCows
from byrewright.plant.sited import Sited
from byrewright.results import Table
from byrewright.standards.rulebook import Rulebook
from byrewright.studies.sizing.context import StudyContext
from byrewright.studies.sizing.deck import design_roller_n
from byrewright.studies.sizing.sizes import worked

AIR_KJ_M3K = 1.2
"""Heat that a cubic metre of air takes up for each kelvin, kJ (1.2 kg/m3 at 1.0 kJ/kg K)."""
MILK = "milk"
"""The room that has an air rule of its own."""
ROLLERS = 100
"""Any number: the load on a metre of track does not turn on how many rollers share it."""


def loads(ctx: StudyContext, made: Sited) -> None:
    """The heaviest load on a floor."""
    worst = max(
        ((checks.load_kn_m2(made.plan, b, ctx.number("place.milk_tank_kg_l")), b.tag)
         for b in made.plan.bodies.values() if not b.hung and b.frame == "fixed"),
        default=(0.0, ""),
    )  # fmt: skip
    if worst[1]:
        ctx.find(
            "place.load", "Heaviest load on a floor", worst[0], "kN/m2",
            f"{worst[1]} puts {worst[0]:.1f} kN/m2 on its footprint when full, through feet that "
            "press harder. From 15 kN/m2 the slab is a matter for the structural engineer.",
            formula="(mass + what it holds) g / footprint",
            inputs=(ctx.rule("place.floor_load_kn_m2"),), source="practice",
            confidence="common_practice",
        )  # fmt: skip


def openings(plan: Plan, rules: Rulebook) -> list[tuple[str, float, float, float, float]]:
    """Rooms that machines warm: name, heat in kW, volume in m3, air in m3/s by heat or by change,
    whichever is more, and free area of the opening in (and as much out), m2."""
    found = []
    for name, kw, volume in checks.warm_rooms(plan, rules.number("place.motor_heat_share")):
        by_heat = kw / (AIR_KJ_M3K * rules.number("place.air_warming_k"))
        by_change = volume * rules.number("place.air_changes_min") / 60
        if name == MILK:
            by_change = rules.number("place.milk_room_air_m3_s")
        flow = max(by_heat, by_change)
        found.append((name, kw, volume, flow, flow / rules.number("place.opening_m_s")))
    return found


def air(ctx: StudyContext, made: Sited) -> None:
    """Air openings of the rooms that machines warm."""
    rows = []
    for name, kw, volume, flow, area in openings(made.plan, ctx.rules):
        rows.append((name, round(kw, 2), round(volume, 0), round(flow, 2), round(area, 2)))
        ctx.find(
            "place.air", "Air openings", round(area, 2), "m2",
            f"The {name} room takes up {kw:.1f} kW of heat and holds {volume:.0f} m3 of air: "
            f"{flow:.2f} m3/s of it, {area:.2f} m2 of free opening in and as much out.",
            subject=name,
            formula="A = max(P/(rho cp dT), q)/v" if name == MILK
            else "A = max(P/(rho cp dT), V n)/v",
            inputs=(worked("P", "heat of motors and heaters", round(kw, 2), "kW"),
                    ctx.rule("place.air_warming_k", "dT"), ctx.rule("place.opening_m_s", "v"),
                    ctx.rule("place.milk_room_air_m3_s", "q") if name == MILK
                    else ctx.rule("place.air_changes_min", "n"),
                    ctx.rule("place.motor_heat_share")),
            source="centre_ventilation", confidence="read",
        )  # fmt: skip
    ctx.notes.tables.append(
        Table("place.air", "Air of the rooms", ("room", "heat", "volume", "air", "opening"),
              ("", "kW", "m3", "m3/s", "m2"), tuple(rows))
    )  # fmt: skip


def rail_load_kn_m(ctx: StudyContext) -> float | None:
    """Design load on each metre of the roller track, kN/m; None where no deck turns on one."""
    deck = ctx.plant.first(StandsCows)
    if deck is None or deck.layout != "rotary" or not deck.rail_radius_m:
        return None
    return design_roller_n(ctx, deck, ROLLERS) * ROLLERS / 1000 / (2 * math.pi * deck.rail_radius_m)


def rail(ctx: StudyContext, made: Sited) -> None:
    """Load on each metre of the roller track."""
    load = rail_load_kn_m(ctx)
    if load is None:
        return
    ctx.find(
        "place.rail_load", "Load on the roller track", round(load, 1), "kN/m",
        f"Deck and cows, with their dynamic factor, press {load:.1f} kN/m on the "
        "roller track: its foundation is a matter for the structural engineer.",
        formula="design load of all rollers / (2 pi r)",
        inputs=(worked("r", "radius of the track", made.plan.deck.rail_radius_m, "m"),),
        source="definition", confidence="derived",
    )  # fmt: skip


def noise(ctx: StudyContext, made: Sited) -> None:
    """Noise of the vacuum pumps, beside them and where people milk."""
    plan = made.plan
    near = ctx.number("place.noise_pump_db")
    wall = ctx.number("place.noise_wall_db")
    pumps = [(plan.bodies[p.id], p.count) for p in ctx.plant.machines(PumpsVacuum)
             if p.id in plan.bodies]  # fmt: skip
    if not pumps:
        return
    every = [near for _, count in pumps for _ in range(count)]
    beside = together_db(every)
    rules = (ctx.rule("place.noise_pump_db", "L"), ctx.rule("place.noise_wall_db", "R"),
             ctx.rule("place.noise_upper_db"), ctx.rule("place.noise_action_db"))  # fmt: skip
    left = "Compressors and chillers are not counted: ask for their levels."
    ctx.find(
        "place.noise_beside", "Noise among the vacuum pumps", round(beside, 1), "dB(A)",
        f"{len(every)} vacuum pumps of {near:g} dB(A) each together make {beside:.0f} dB(A) where "
        "one works on them; for a full day from 85 dB(A) hearing protection must be worn, so stay "
        f"briefly or wear it. {left}",
        formula="10 lg sum 10^(L/10)", inputs=rules, source="noise_directive",
        confidence="second_hand",
    )  # fmt: skip
    deck = plan.deck
    place = (deck.edge_radius_m + 1.0, 0.0) if deck.rotary else (deck.pit_length_m / 2, 0.0)
    levels = []
    for body, count in pumps:
        far = math.dist((body.x, body.y), place)
        apart = body.room not in ("hall", "head")
        levels += [away_db(near, far) - (wall if apart else 0.0)] * count
    there = together_db(levels)
    body = min((b for b, _ in pumps), key=lambda b: (math.dist((b.x, b.y), place), b.tag))
    ctx.find(
        "place.noise", "Noise of the vacuum pumps where people milk", round(there, 1), "dB(A)",
        f"{body.tag}, the nearest, stands {math.dist((body.x, body.y), place):.0f} m from where "
        + ("people milk, behind a wall" if body.room not in ("hall", "head") else
           "people milk, in the same room")
        + f": {there:.0f} dB(A) of the vacuum pumps arrive, against 80 dB(A) at which action "
        f"begins. {left}",
        limit=ctx.number("place.noise_action_db"), sense="at_most", allowance=0.02,
        formula="10 lg sum 10^((L - 20 lg r - R)/10)", inputs=rules, source="noise_directive",
        confidence="second_hand",
    )  # fmt: skip
