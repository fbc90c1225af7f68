"""The turning deck: mass, rollers, rolling resistance, starting, drives. Rotary only."""

from __future__ import annotations

from byrewright.engine.deck import DeckLoad, deck_load
from byrewright.physics.motion import (
    drive_power_w,
    half_centroid_m,
    mean_roller_n,
    resistance_by_arm,
    resistance_simple,
    rolling_force_n,
    uneven_roller_n,
)
from byrewright.plant.roles import CarriesDeck, StandsCows, TurnsDeck, usually
from byrewright.results import Input, Table
from byrewright.standards.deck import LEVER_ARMS, ROLLER_KN
from byrewright.studies.sizing.altitude import motors
from byrewright.studies.sizing.context import StudyContext
from byrewright.studies.sizing.duty import Duty
from byrewright.studies.sizing.pumping import SMALLEST_MOTOR_KW
from byrewright.studies.sizing.sizes import TIGHT, listed, next_motor_kw, spare, stated, worked
from byrewright.studies.sizing.steps import field, next_of

TROLLEY_PAIR = {
    "nylon": "polymer on steel",
    "polyurethane": "polymer on steel",
    "steel": "steel on steel",
}
"""Lever arm of the trolley convention for a tread."""
ARM_PAIR = {
    "nylon": "nylon on steel",
    "polyurethane": "polyurethane on steel",
    "steel": "steel on steel",
}
"""Lever arm of the plain convention for a tread."""
N_PER_KN = 1000.0


def size_deck(ctx: StudyContext, duty: Duty) -> None:
    """Mass, rollers and drives of a rotary deck. Fixed stalls have none of these."""
    platform = ctx.plant.first(StandsCows)
    if platform is None or platform.layout != "rotary":
        return
    load = deck_load(ctx.plant, ctx.rules, platform)
    if platform.rail_radius_m is None:
        ctx.assume(platform.id, "radius of the roller track", load.radius_m, "m",
                     "from stalls, stall width and half a cow; measure it")  # fmt: skip
    _mass(ctx, platform, load)
    _resistance(ctx, load)
    _rollers(ctx, platform, load)
    _running(ctx, duty, load)
    _drives(ctx, duty, load)


def _mass(ctx: StudyContext, platform: StandsCows, load: DeckLoad) -> None:
    half = load.cows_kg / 2
    offset = half * half_centroid_m(load.radius_m) / (load.deck_kg + half)
    inputs = (stated("n", "stalls", platform.stalls), field(platform, "stall_mass_kg", "m_d"),
              stated("m_c", "mean mass of a cow", ctx.plant.herd.cow_mass_kg, "kg"))  # fmt: skip
    ctx.find(
        "deck.mass", "Full deck", round(load.full_kg / 1000, 2), "t",
        f"A full deck is {load.full_kg / 1000:.0f} t: {load.deck_kg / 1000:.0f} t of deck and "
        f"{load.cows_kg / 1000:.0f} t of cows. Floor and track are for the structural engineer.",
        subject=platform.id, formula="m = n (m_d + m_c)", inputs=inputs, source="definition",
        confidence="derived",
    )  # fmt: skip
    ctx.find(
        "deck.half_loaded", "Half-loaded deck", round(offset, 2), "m",
        f"With cows on one half only ({(load.deck_kg + half) / 1000:.0f} t) the load sits "
        f"{offset:.2f} m off the centre: centring rollers and pivot take the side force.",
        subject=platform.id, formula="e = (n m_c/2)(2 R/pi)/(n m_d + n m_c/2)",
        inputs=(*inputs, worked("R", "radius of the track", load.radius_m, "m")),
        source="definition", confidence="derived",
    )  # fmt: skip


def _resistance(ctx: StudyContext, load: DeckLoad) -> None:
    """Both published conventions side by side, and the design range."""
    rollers = ctx.plant.first(CarriesDeck)
    diameter = rollers.diameter_mm if rollers else usually(CarriesDeck, "diameter_mm")
    tread = rollers.tread if rollers else "nylon"
    arms = {a.pair: a for a in LEVER_ARMS}
    trolley, plain = arms[TROLLEY_PAIR[tread]].f_mm, arms[ARM_PAIR[tread]].f_mm
    axle = ctx.number("deck.axle_share") * diameter
    by_arm = resistance_by_arm(diameter, axle, trolley,
                               ctx.number("deck.bearing_friction_rolling"),
                               ctx.number("deck.rim_rolling"))  # fmt: skip
    simple = resistance_simple(plain, diameter / 2)
    rule = ctx.rules["deck.resistance"]
    ctx.find(
        "deck.resistance", "Rolling resistance taken", rule.value, "",
        f"Published conventions for {tread} rollers of {diameter:g} mm give {simple:.3f} (lever "
        f"arm alone) and {by_arm:.3f} (trolley form with bearing and rim); {rule.value:g} is "
        f"taken for running and {load.resistance_high:g} for sizing the drive. Read the "
        "drive current of a full deck at commissioning and compare.",
        formula="2 f_1/D; (2/D)(mu d/2 + f_2) + c",
        inputs=(stated("D", "roller diameter", diameter, "mm"),
                Input("f_1", "lever arm, plain form", plain, "mm", arms[ARM_PAIR[tread]].source),
                Input("f_2", "lever arm, trolley form", trolley, "mm",
                      arms[TROLLEY_PAIR[tread]].source),
                ctx.rule("deck.axle_share"), ctx.rule("deck.bearing_friction_rolling", "mu"),
                ctx.rule("deck.rim_rolling", "c"), ctx.rule("deck.resistance")),
        source="drive_reference", confidence="second_hand",
    )  # fmt: skip


def _design_cow(ctx: StudyContext) -> Input:
    """The cow that rollers are held to: the design load of a stall, or the herd's if heavier."""
    rule, own = ctx.rule("deck.design_cow_kg", "m_c"), ctx.plant.herd.cow_mass_kg
    heavy = own > float(rule.value)
    return stated("m_c", "mean mass of a cow, over the design load", own, "kg") if heavy else rule


def design_roller_n(ctx: StudyContext, platform: StandsCows, count: int) -> float:
    """Mean load of a roller under design cows with a dynamic factor."""
    cows = platform.stalls * float(_design_cow(ctx).value) * ctx.number("deck.dynamic_factor")
    return mean_roller_n(platform.stalls * platform.stall_mass_kg + cows, count)


def _rollers(ctx: StudyContext, platform: StandsCows, load: DeckLoad) -> None:
    """Count, and the worst roller under design cows with a dynamic factor."""
    each_stall = ctx.number("deck.rollers_per_stall")
    rollers = ctx.plant.machines(CarriesDeck)
    usual = int(platform.stalls * each_stall)
    if not rollers:
        ctx.lacks("deck.rollers", "Deck rollers", f"The deck has no rollers in the file: add "
                    f"{usual}, {each_stall:g} a stall.")  # fmt: skip
        return
    first, count = rollers[0], sum(r.count for r in rollers)
    cow = _design_cow(ctx)
    cows = platform.stalls * float(cow.value) * ctx.number("deck.dynamic_factor")
    level = ctx.number("deck.roller_share_margin") * design_roller_n(ctx, platform, count)
    least, uneven = uneven_roller_n(load.deck_kg, cows / 2, count)
    worst = max(level, uneven) / N_PER_KN
    rated = min(r.rated_kn for r in rollers)
    ctx.find(
        "deck.roller_load", "Worst roller", rated, "kN",
        f"{count} rollers ({count / platform.stalls:.1f} a stall) rated {rated:g} kN; the worst "
        f"carries {worst:.1f} kN with {cow.value:g} kg cows, a dynamic factor and rails "
        f"not quite level ({spare(rated, worst)}).",
        subject=first.id, limit=round(worst, 2), sense="at_least", allowance=TIGHT,
        formula="F = max(k W/n, (W/n)(1 + 2e/R)), W = n_s (m_d + m_c phi) g",
        inputs=(field(first, "rated_kn"), stated("n", "rollers", count),
                cow, ctx.rule("deck.dynamic_factor", "phi"),
                ctx.rule("deck.roller_share_margin", "k")),
        source="practice", confidence="from_memory", advised=next_of(worst * (1 + TIGHT),
        ROLLER_KN),
        advised_why=f"{worst:.1f} kN on the worst of {count} rollers", target=(first, "rated_kn"),
    )  # fmt: skip
    ctx.find(
        "deck.roller_count", "Rollers", count, "",
        f"{count} rollers for {platform.stalls} stalls; {each_stall:g} a stall are usual, so that "
        "one broken roller does not drop the deck.", subject=first.id, limit=usual,
        sense="at_least", formula="n = r n_s",
        inputs=(ctx.rule("deck.rollers_per_stall", "r"),
                stated("n_s", "stalls", platform.stalls)),
        source="practice", confidence="common_practice",
        advised=usual if len(rollers) == 1 else None,
        advised_why=f"{each_stall:g} a stall",
        target=(first, "count") if len(rollers) == 1 else None,
    )  # fmt: skip
    ctx.find(
        "deck.lift", "Least-loaded roller, half-loaded deck", round(least / N_PER_KN, 2), "kN",
        f"With all cows on one half the lightest roller still carries {least / N_PER_KN:.1f} kN."
        if least >= 0 else "With all cows on one half the empty side would lift: hold it down.",
        subject=first.id, limit=0.0, sense="at_least", formula="F = (W/n)(1 - 2e/R)",
        inputs=(worked("m_deck", "deck", load.deck_kg, "kg"), stated("n", "rollers", count)),
        source="definition", confidence="derived",
    )  # fmt: skip


def _running(ctx: StudyContext, duty: Duty, load: DeckLoad) -> None:
    drive = ctx.plant.first(TurnsDeck)
    run, high = load.running_kw, load.running_high_kw
    torque = load.start_n * load.radius_m / 1000
    inputs = (
        worked("W", "full deck", load.full_kg, "kg"), ctx.rule("deck.resistance", "c"),
        worked("v", "speed at the track", round(load.speed_m_s, 4), "m/s"),
        worked("R", "radius of the track", load.radius_m, "m"),
        stated("T", "time of one turn", duty.turn_s, "s"),
        field(drive, "efficiency", "eta") if drive else ctx.rule("deck.drive_efficiency", "eta"),
    )  # fmt: skip
    ctx.find(
        "deck.running_power", "Power to turn the full deck", round(run, 2), "kW",
        f"A full deck takes {run:.1f} kW at the motors ({high:.1f} kW with the high rolling "
        f"resistance) at {load.speed_m_s:.3f} m/s; moving force {load.running_n / 1000:.1f} kN.",
        formula="P = c W g v / eta, v = 2 pi R / T", inputs=inputs, source="definition",
        confidence="derived",
    )  # fmt: skip
    ctx.find(
        "deck.breakaway", "Torque to start the full deck", round(torque, 1), "kN m",
        f"Starting a full deck takes {load.start_n / 1000:.1f} kN at the track ({torque:.0f} kN m "
        f"about the centre), {load.start_n / load.running_n:.1f} times running.",
        formula="F = b c W g + m v / t; torque = F R",
        inputs=(*inputs, ctx.rule("deck.breakaway_multiple", "b"),
                ctx.rule("deck.start_s", "t")),
        source="practice", confidence="from_memory",
    )  # fmt: skip


def _drives(ctx: StudyContext, duty: Duty, load: DeckLoad) -> None:
    drives = ctx.plant.machines(TurnsDeck)
    if not drives:
        ctx.lacks("deck.drives", "Platform drives", "The deck has no drive: add at least two "
                    "units, each able to turn it with the other lifted out.")  # fmt: skip
        return
    first, count = drives[0], sum(d.count for d in drives)
    doubled = ctx.plant.wishes.redundancy != "none"
    if doubled and count < 2:
        ctx.find(
            "deck.drive_count", "Platform drives", count, "", "There is one drive unit: when it "
            "fails the deck stands with cows on it. Fit at least two.", subject=first.id, limit=2,
            sense="at_least", formula="one may be lost", source="practice",
            confidence="common_practice", advised=2, advised_why="one may be lost",
            target=(first, "count"),
        )  # fmt: skip
    left = max(1, count - 1 if doubled else count)
    margin, start = ctx.number("motor.service_margin"), ctx.number("deck.motor_start_multiple")
    run_kw = drive_power_w(load.running_high_n, load.speed_m_s, first.efficiency) / 1000
    start_kw = drive_power_w(load.start_n, load.speed_m_s, first.efficiency) / 1000 / start
    air = motors(ctx)
    need = air.rating(max(run_kw * margin, start_kw) / left)
    lost = "with one lifted out" if doubled and count > 1 else "with all running"
    governs = "running" if run_kw * margin >= start_kw else "starting"
    for one in drives:
        ctx.find(
            "deck.drive_motor", "Motor of each drive", one.motor_kw, "kW",
            f"{count} drive units of {one.motor_kw:g} kW; {lost} each needs {need:.2f} kW, set by "
            f"{governs} the full deck ({spare(one.motor_kw, need)}).{air.words}",
            subject=one.id, limit=round(need, 3), sense="at_least", allowance=TIGHT,
            formula=f"P = max(k c_high W g v / eta, F_start v / (eta s)) / u{air.over}",
            inputs=(worked("W", "full deck", load.full_kg, "kg"),
                    worked("c_high", "high end of the rolling resistance", load.resistance_high),
                    worked("v", "speed at the track", round(load.speed_m_s, 4), "m/s"),
                    worked("F_start", "force to start", round(load.start_n), "N"),
                    field(one, "efficiency", "eta"), ctx.rule("motor.service_margin", "k"),
                    ctx.rule("deck.motor_start_multiple", "s"),
                    worked("u", "drive units left", left), *air.inputs),
            source="practice", confidence="from_memory",
            advised=next_motor_kw(max(SMALLEST_MOTOR_KW, need * (1 + TIGHT)),
                                  ctx.plant.site.region),
            advised_why=f"{need:.2f} kW each {lost}", target=(one, "motor_kw"),
        )  # fmt: skip
    _traction(ctx, first, load, left)
    _table(ctx, drives, load)


def _traction(ctx: StudyContext, drive: TurnsDeck, load: DeckLoad, left: int) -> None:
    """What each drive wheel must push, and how hard it must be pressed on."""
    push = load.start_n / left / N_PER_KN
    torque = push * N_PER_KN * drive.wheel_mm / 2000
    press = push / ctx.number("deck.wheel_friction")
    pressed = ("" if drive.contact == "rack" else
               f" Press each wheel on with at least {press:.0f} kN, or it slips on a wet track."
               )  # fmt: skip
    ctx.find(
        "deck.traction", "Push of each drive wheel at the start", round(push, 2), "kN",
        f"At the start each of {left} wheels pushes {push:.1f} kN; {torque:.0f} N m on a wheel of "
        f"{drive.wheel_mm:g} mm.{pressed}",
        subject=drive.id, formula="F = F_start / u; N = F / mu; torque = F D / 2",
        inputs=(worked("F_start", "force to start", round(load.start_n), "N"),
                worked("u", "drive units left", left), field(drive, "wheel_mm", "D"),
                ctx.rule("deck.wheel_friction", "mu")),
        source="practice", confidence="common_practice",
    )  # fmt: skip


def _table(ctx: StudyContext, drives: tuple[TurnsDeck, ...], load: DeckLoad) -> None:
    rule = ctx.rules["deck.resistance"]
    eta = drives[0].efficiency
    rows = []
    for word, c in (("low", rule.low), ("taken", rule.value), ("high", rule.high)):
        if c is None:
            continue
        force = rolling_force_n(load.full_kg, c)
        rows.append((word, c, round(force / 1000, 2),
                     round(drive_power_w(force, load.speed_m_s, eta) / 1000, 2)))  # fmt: skip
    ctx.notes.tables.append(Table(
        "deck.resistance", f"Turning the full deck ({listed([d.id for d in drives])})",
        ("rolling resistance", "force over load", "force", "power at the motors"),
        ("", "", "kN", "kW"), tuple(rows)))  # fmt: skip
