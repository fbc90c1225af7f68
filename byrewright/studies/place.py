"""Does the plan work: room, doors, falls, low points, racks, loads, cables, air."""

from __future__ import annotations

import math
from functools import partial

from byrewright.place import checks, falls
from byrewright.place.model import Plan
from byrewright.plant.plant import Plant
from byrewright.plant.roles import MovesMilk, StandsCows
from byrewright.plant.sited import Sited, sited
from byrewright.results import Remedy, Result, ResultBuilder, Table
from byrewright.standards.place import tank_wall_key
from byrewright.standards.rulebook import Rulebook, default_rulebook
from byrewright.studies.cables import CABLE_UNITS, CABLES, cable_list, cable_rows, cables_note
from byrewright.studies.obeyed import obeyed
from byrewright.studies.place_building import air, loads, noise, rail
from byrewright.studies.place_mending import Mends, wider_door
from byrewright.studies.sizing.context import StudyContext
from byrewright.studies.sizing.sizes import TIGHT, worked

STALLS_MORE = 2
"""Stalls by which a deck is made larger where what hangs under it has no room."""
NO_WAY = " No small move of a machine at its ends was found that would put it right."
NAMED = 8
"""Tags named in one sentence; the table holds the rest."""


def study_place(plant: Plant, rules: Rulebook | None = None, *, mend: bool = True) -> Result:
    """Everything that can be judged on a plan.

    A plant whose file says nothing of places gets one finding that says so. `mend`: remedies are
    looked for, each tried on a plan of its own, which takes seconds where much fails.
    """
    ctx = StudyContext(plant, rules or default_rulebook(), ResultBuilder("place", plant.site.name))
    made = sited(plant)
    if made is None:
        ctx.find(
            "place.plan", "Plan", None, "", "The file does not say where things stand: add "
            "`place: {services: under}`, and the rest is worked out.", missing=("place",),
        )  # fmt: skip
        return ctx.notes.result()
    for where, one in plant.defaults_taken():
        if where == "place" or where.startswith("pipes."):
            ctx.assume(where, one.meaning, str(one.default), one.unit, one.why, one.confidence)
    typical = sum(not b.sized for b in made.plan.bodies.values())
    ctx.assume("place", f"size of {typical} machines", "typical for their rating", "",
                 "not stated; take the supplier's")  # fmt: skip
    mends = Mends(ctx, made, mend)
    fits, service, tanks, gravity, pipes, racks, dry = (
        partial(topic, mends=mends)
        for topic in (_fits, _service, _tanks, _gravity, _pipes, _racks, _dry)
    )
    for topic in (obeyed, fits, service, _doors, tanks, _low_points, gravity, _turning, pipes,
                  racks, dry, _suction, _crests, _differs, _falls, loads, rail, air, noise,
                  _cables):  # fmt: skip
        topic(ctx, made)
    return ctx.notes.result()


def _some(tags: list[str]) -> str:
    more = f" and {len(tags) - NAMED} more" if len(tags) > NAMED else ""
    return ", ".join(tags[:NAMED]) + more


def _fits(ctx: StudyContext, made: Sited, mends: Mends) -> None:
    pairs = checks.overlaps(made.plan)
    said = _some([f"{a} and {b}" for a, b in pairs])
    wrong = list(dict.fromkeys(mends.to_move(a, b) for a, b in pairs))
    apart = mends.moves(wrong)
    ctx.find(
        "place.overlap", "Machines in one another", float(len(pairs)), "pairs",
        f"{said} fill the same space{': move one.' if apart else '.' + mends.none()}" if pairs
        else "No machine stands in another.",
        limit=0.0, remedies=apart, sense="at_most", formula="boxes of all machines, pair by pair",
        source="definition", confidence="derived",
    )  # fmt: skip
    out = checks.outside_room(made.plan)
    inside = mends.moves(out)
    for room in dict.fromkeys(made.plan.bodies[t].room for t in out if not inside):
        inside += mends.larger_room(room, [t for t in out if made.plan.bodies[t].room == room])
    ctx.find(
        "place.in_room", "Machines that reach out of their room", float(len(out)), "machines",
        f"{_some(out)} reach{'es' if len(out) == 1 else ''} through a wall"
        f"{': move it, or build the room larger.' if inside else '.' + mends.none()}" if out
        else "Every machine stands inside its room.",
        limit=0.0, remedies=inside, sense="at_most",
        formula="box of the machine inside the room's walls",
        source="definition", confidence="derived",
    )  # fmt: skip
    under = checks.reach_under_deck(made.plan)
    if under:
        ring = made.plan.deck.ring_radius_m
        far = max(under, key=lambda m: (m.value, m.subject))
        larger = float(made.plan.deck.stalls + STALLS_MORE)
        decks = ctx.plant.machines(StandsCows) if far.value > ring else ()
        ctx.find(
            "place.under_deck", "Machines within the ring under the deck", far.value, "m",
            f"{_some([m.subject for m in under if m.value > ring])} have no room within the ring "
            f"of {ring:.2f} m under a deck of {made.plan.deck.stalls} stalls: fewer machines there "
            "(one receiver, one pump), or a larger deck." if far.value > ring
            else f"{far.subject} reaches farthest from the deck's middle.",
            subject=far.subject, limit=round(ring, 3), sense="at_most",
            formula="farthest corner of a machine from the middle, within the ring of lines",
            source="definition", confidence="derived",
            remedies=tuple(Remedy(d.id, "stalls", larger, f"room under it for {far.subject}")
                           for d in decks),
        )  # fmt: skip
    for one in checks.headroom_over(made.plan):
        ctx.find(
            "place.height", "Ceiling over the tallest machine", one.value, "m",
            f"Over {one.words}, the tallest machine of the {one.subject} room, {one.value:.2f} m "
            "are free to the ceiling." if one.value > 0 else
            f"The {one.subject} room is {-one.value:.2f} m too low for {one.words} to stand in it.",
            remedies=_higher(ctx, made, one),
            subject=one.subject, limit=ctx.number("place.ceiling_over_m"), sense="at_least",
            allowance=TIGHT, formula="room height - base - height of the machine",
            inputs=(ctx.rule("place.ceiling_over_m"),), source="practice",
            confidence="common_practice",
        )  # fmt: skip


def _higher(ctx: StudyContext, made: Sited, one: falls.Measured) -> tuple[Remedy, ...]:
    """The height that a stated room needs; one that is worked out is as high as it must be."""
    short = ctx.number("place.ceiling_over_m") - one.value
    stated = ctx.plant.place is not None and one.subject in ctx.plant.place.rooms
    if short <= 0 or not stated:
        return ()
    to = math.ceil((made.plan.rooms[one.subject].height_m + short) * 20 - 1e-6) / 20
    return (Remedy(f"place.rooms.{one.subject}", "height_m", to, f"room over {one.words}"),)


def _service(ctx: StudyContext, made: Sited, mends: Mends) -> None:
    every = checks.fronts(made.plan)
    rooms: dict[str, list[falls.Measured]] = {}
    for one in every:
        rooms.setdefault(made.plan.bodies[one.subject].room, []).append(one)
    for room, many in rooms.items():
        short = [m.subject for m in many if m.value < m.limit - 1e-6]
        worst = min(many, key=lambda m: (m.value - m.limit, m.subject))
        roomier = mends.roomier(room, short)
        ctx.find(
            "place.service", "Free floor to service machines", worst.value, "m",
            f"{worst.subject} has {worst.value:.2f} m free in front and needs "
            f"{worst.limit:.2f} m"
            + (f"; too little also before {_some([s for s in short if s != worst.subject])}"
               if len(short) > 1 else "") + "." + ("" if roomier or not short else mends.none()),
            subject=room, remedies=roomier, limit=worst.limit, sense="at_least", allowance=0.0,
            formula="distance to the next machine or wall in front, least of the room",
            inputs=(worked("", "the machine with the least to spare", worst.subject),
                    ctx.rule("place.service_front_m"), ctx.rule("place.board_depth_m")),
            source="practice", confidence="common_practice",
        )  # fmt: skip


def _doors(ctx: StudyContext, made: Sited) -> None:
    wide, high = ctx.number("place.door_over_width_m"), ctx.number("place.door_over_height_m")
    for one in checks.doors_for_tanks(made.plan, wide, high):
        mends: tuple[Remedy, ...] = ()
        if one.value < one.limit:
            body = made.plan.bodies[one.subject]
            mends = wider_door(ctx.plant, body.room, one.limit, round(body.h + high, 3))
        ctx.find(
            "place.door", "Door that the tank goes in by", one.value, "m",
            f"The widest door of its room is {one.value:.2f} m; {one.subject} needs "
            f"{one.limit:.2f} m, and {one.words}. A straight run of its own length before the "
            "door is needed besides." + ("" if mends or one.value >= one.limit else
                                         " No door that the file states can be made so wide and "
                                         "high: state another, or a smaller tank."),
            subject=one.subject, remedies=mends, limit=one.limit, sense="at_least",
            formula="tank width + allowance, among doors of tank height + allowance",
            inputs=(ctx.rule("place.door_over_width_m"), ctx.rule("place.door_over_height_m")),
            source="practice", confidence="common_practice",
        )  # fmt: skip


def _tanks(ctx: StudyContext, made: Sited, mends: Mends) -> None:
    key = tank_wall_key(ctx.plant.site.region)
    for one in checks.fronts(made.plan):
        body = made.plan.bodies[one.subject]
        if checks.is_tank(body):
            wants = ctx.number(key)
            short = [one.subject] if one.value < wants else []
            roomier = mends.roomier(body.room, short, {one.subject: wants})
            ctx.find(
                "place.tank_clear", "Free room at the tank's working end", one.value, "m",
                f"{one.subject} has {one.value:.2f} m before its outlet end. Rules differ "
                "(0.61 m in California, 0.91 m in South Dakota, 1.52 m in Arizona): the region's "
                "own is taken, else the widest."
                + ("" if roomier or not short else mends.none()),
                subject=one.subject, remedies=roomier, limit=wants, sense="at_least",
                formula="distance from the outlet end to the wall or next machine",
                inputs=(ctx.rule(key),), source=ctx.rules[key].source,
                confidence=ctx.rules[key].confidence,
            )  # fmt: skip


def _low_points(ctx: StudyContext, made: Sited) -> None:
    every = checks.low_points(made.plan, made.routes)
    for one in every:
        ctx.find(
            "place.low_point", "Low point without a drain", one.value, "m",
            f"{one.subject} sags {one.value:.2f} m below both its ends, lowest at {one.words}: a "
            "drain cock is wanted there, or another way.",
            subject=one.subject, limit=0.0, sense="at_most",
            formula="lower end - lowest level of the pipe", source="ehedg",
            confidence="from_memory",
        )  # fmt: skip
    if not every:
        ctx.find(
            "place.low_point", "Low points without a drain", 0.0, "m",
            "No milk, wash or vacuum line sags below both its ends.",
            limit=0.0, sense="at_most", formula="lower end - lowest level of the pipe",
            source="ehedg", confidence="from_memory",
        )  # fmt: skip


def _gravity(ctx: StudyContext, made: Sited, mends: Mends) -> None:
    small = ctx.number("place.drain_slope_small_pct")
    large = ctx.number("place.drain_slope_pct")
    trip = ctx.number("place.trip_m")
    worst: tuple[float, str, float, float] | None = None
    long: list[tuple[float, str]] = []
    for net, route, run, fall in checks.gravity(made.plan, made.routes):
        slope = small if net.lines[-1].bore_mm <= 65 else large
        gap = max(0.02, ctx.number("place.air_gap_bores") * net.lines[-1].bore_mm / 1000)
        need = slope / 100 * run + (gap if net.frame == "fixed" else 0.02) - 0.06
        found = (fall - need, net.key, fall, need)
        worst = min(worst, found) if worst is not None else found
        floor = checks.on_the_floor(made.plan, route)
        long.append((floor, net.key))
    if worst is not None:
        ctx.find(
            "place.gravity", "Fall of drains", round(worst[2], 3), "m",
            f"{worst[1]} has the least to spare of {len(long)} drains: it falls {worst[2]:.2f} m "
            f"and needs {max(worst[3], 0):.2f} m for its slope and the air gap over the gully.",
            limit=round(max(0.0, worst[3]), 3), sense="at_least", allowance=0.0,
            formula="z_start - z_gully >= slope x run + air gap",
            inputs=(ctx.rule("place.drain_slope_small_pct"), ctx.rule("place.drain_slope_pct"),
                    ctx.rule("place.air_gap_bores")),
            source="ipc704", confidence="read",
        )  # fmt: skip
    if long:
        up = checks.climbing(made.plan, made.routes)
        ctx.find(
            "place.drain_way", "Drains that climb on their way", float(len(up)), "drains",
            f"{_some([m.subject for m in up])} climb before they let out, "
            f"{max(m.value for m in up):.2f} m at most: liquid stands there; move the machine or "
            "its gully." if up else f"All {len(long)} drains fall or lie level all the way.",
            limit=0.0, sense="at_most", formula="level of each point - level of the one before",
            source="definition", confidence="derived",
        )  # fmt: skip
        most = max(long)

        def trips(m: Sited) -> list[tuple[str, str]]:
            every = checks.gravity(m.plan, m.routes)
            return [(n.key, "") for n, r, *_ in every if checks.on_the_floor(m.plan, r) > trip]

        ways = mends.other_ways(trips(made), trips)
        ctx.find(
            "place.trip", "Drains across the floor", most[0], "m",
            f"{most[1]} lies {most[0]:.2f} m across the floor, the most of the drains; over "
            f"{trip:g} m people trip: a channel or a gully of its own."
            f"{'' if ways or most[0] <= trip else mends.none(NO_WAY)}",
            limit=trip, remedies=ways, sense="at_most",
            formula="longest run under 0.3 m over the floor",
            inputs=(ctx.rule("place.trip_m"),), source="practice", confidence="common_practice",
        )  # fmt: skip


def _turning(ctx: StudyContext, made: Sited) -> None:
    joined = checks.between_frames(made.plan, made.routes)
    ctx.find(
        "place.turning_gap", "Pipes across the turning gap", float(len(joined)), "pipes",
        f"{_some(joined)} join the turning deck to the floor other than through the gland: they "
        "would be torn off at the first turn." if joined
        else "Nothing joins the turning deck to the floor but the gland.",
        limit=0.0, sense="at_most", formula="frames of both ends of each chain",
        source="definition", confidence="derived",
    )  # fmt: skip
    open_ends = checks.deck_discharges(made.plan)
    if open_ends:
        ctx.find(
            "place.gutter", "Drains that let out under the deck", float(len(open_ends)), "drains",
            f"{_some(open_ends)} turn with the deck and let out below it: the pit needs a gutter "
            "all round, falling to a gully.", formula="drains in the deck's frame",
            source="definition", confidence="derived",
        )  # fmt: skip


def _pipes(ctx: StudyContext, made: Sited, mends: Mends) -> None:
    gap = ctx.number("place.pipe_gap_least_mm") / 1000
    pairs = checks.clashes(made.plan, made.routes, gap)
    lost = _some([a for a, b in pairs if a == b])
    near = _some([f"{a} and {b}" for a, b in pairs if a != b])
    told = [f"no free way was found for {lost}"] if lost else []
    told += [f"pipes {near} come nearer than {gap * 1000:.0f} mm to each other"] if near else []
    said = "; ".join(told)
    ways = mends.other_ways(pairs, lambda m: checks.clashes(m.plan, m.routes, gap))
    ctx.find(
        "place.clash", "Pipes too near each other", float(len(pairs)), "pairs",
        f"{said[:1].upper()}{said[1:]}: give a way point (`by:`), or move a machine."
        f"{'' if ways else mends.none(NO_WAY)}" if pairs else
        f"All {len(made.routes)} pipe runs are {gap * 1000:.0f} mm or more apart.",
        limit=0.0, sense="at_most", remedies=ways,
        formula="distance of middles - both radii, pair by pair",
        inputs=(ctx.rule("place.pipe_gap_least_mm"),), source="practice",
        confidence="common_practice",
    )  # fmt: skip
    through = checks.through_machines(made.plan, made.routes)
    said = _some([f"{a} through {b}" for a, b in through])
    ways = mends.other_ways(through, lambda m: checks.through_machines(m.plan, m.routes))
    ctx.find(
        "place.through", "Pipes through machines", float(len(through)), "pipes",
        f"{said}: give a way point (`by:`), or move the machine."
        f"{'' if ways else mends.none(NO_WAY)}" if through
        else "No pipe runs through a machine that it does not meet.",
        limit=0.0, remedies=ways, sense="at_most", formula="box of each piece and of each machine",
        source="definition", confidence="derived",
    )  # fmt: skip
    over = checks.over_machines(made.plan, made.routes)
    said = _some([f"{a} over {b}" for a, b in over])
    ctx.find(
        "place.over", "Pipes over machines", float(len(over)), "pipes",
        f"{said}: in the way of who lifts or opens it; look whether it may stay." if over
        else "No pipe hangs over a machine: all can be lifted and opened from above.",
        formula="box of each piece over the footprint of each machine that stands",
        source="practice", confidence="common_practice",
    )  # fmt: skip
    head = ctx.number("place.headroom_m")

    def bump(m: Sited) -> list[tuple[str, str]]:
        return [(o.subject, "") for o in checks.over_passage(m.plan, m.routes) if o.value < head]

    for low in checks.over_passage(made.plan, made.routes)[:1]:
        bars = bump(made)
        ways = mends.higher_racks(head - low.value, bump) if bars else ()
        ways = ways or mends.other_ways(bars, bump)
        ctx.find(
            "place.headroom", "Headroom under pipes over the passage", low.value, "m",
            f"{low.subject} hangs lowest over the passage, {low.value:.2f} m over its floor."
            f"{'' if ways or not bars else mends.none(NO_WAY)}",
            limit=head, remedies=ways, sense="at_least",
            formula="underside of the lowest pipe - floor",
            inputs=(ctx.rule("place.headroom_m"),), source="practice", confidence="common_practice",
        )  # fmt: skip


def _falls(ctx: StudyContext, made: Sited) -> None:
    """Whether lines drawn level have the height below them to be laid with their fall."""
    every = falls.fall_room(made.routes, falls.slopes(ctx.rules))
    near = [m for m in every if m.words]
    if not near:
        return
    worst = min(near, key=lambda m: (m.limit - m.value, m.subject))
    ctx.find(
        "place.fall_room", "Height to lay lines with their fall", worst.value, "m",
        f"{worst.subject} is drawn level and has the least to spare of {len(every)} lines: laid "
        f"with its fall it ends {worst.value * 1000:.0f} mm lower, and has "
        f"{worst.limit * 1000:.0f} mm to {worst.words} below it"
        + ("." if worst.value <= worst.limit else
           ": start it higher, or take it to the tier below half way."),
        limit=worst.limit, sense="at_most", formula="slope x longest level run <= free height",
        inputs=(ctx.rule("place.wash_slope_pct"), ctx.rule("place.airline_slope_pct")),
        source="ehedg", confidence="from_memory",
    )  # fmt: skip


def _racks(ctx: StudyContext, made: Sited, mends: Mends) -> None:
    for rack in made.plan.racks.values():
        one = checks.rack_width(made.plan, rack, made.routes)

        def full(m: Sited, name: str = rack.name) -> list[tuple[str, str]]:
            now = checks.rack_width(m.plan, m.plan.racks[name], m.routes)
            return [(name, "")] if now.value > now.limit else []

        if one.value:
            wider = mends.wider_rack(rack.name, one.value, full) if full(made) else ()
            ctx.find(
                "place.rack", "Width of pipes on a rack", one.value, "m",
                f"{one.words} take {one.value:.2f} m of the width of the rack {rack.name} where it "
                f"is fullest; it is {rack.wide_m:.2f} m wide.",
                subject=rack.name, remedies=wider, limit=one.limit, sense="at_most",
                allowance=TIGHT, formula="outermost pipes at the fullest cross-section",
                inputs=(ctx.rule("place.rack_width_m"),), source="practice",
                confidence="common_practice",
            )  # fmt: skip


def _dry(ctx: StudyContext, made: Sited, mends: Mends) -> None:
    if not any(r.dry for r in made.plan.rooms.values()):
        return
    wet = checks.wet_in_dry(made.plan, made.routes)
    ways = mends.other_ways(wet, lambda m: checks.wet_in_dry(m.plan, m.routes))
    ctx.find(
        "place.dry", "Liquid over switchboards", float(len(wet)), "pipes",
        f"A dry room is crossed by {_some([w for w, _ in wet])}: lay the pipes round it."
        f"{'' if ways else mends.none(NO_WAY)}" if wet
        else "No pipe with liquid crosses a dry room.",
        limit=0.0, remedies=ways, sense="at_most",
        formula="pipes of a liquid inside a room with `dry: true`",
        inputs=(ctx.rule("place.board_above_m"),), source="irc3405", confidence="second_hand",
    )  # fmt: skip


def _suction(ctx: StudyContext, made: Sited) -> None:
    for pump in ctx.plant.machines(MovesMilk):
        found = checks.suction_level(made.plan, made.routes, pump.id)
        if found is None:
            continue
        feeder, over = found
        ctx.find(
            "place.flooded", "Milk pump stands flooded", over, "m",
            f"The outlet of {feeder} is {over:.2f} m over the inlet of {pump.id}"
            + ("." if over >= 0 else ": the pump must suck. Set it lower."),
            subject=pump.id, limit=0.0, sense="at_least",
            formula="level of the outlet before it - level of its inlet",
            source="practice", confidence="common_practice",
        )  # fmt: skip


def _crests(ctx: StudyContext, made: Sited) -> None:
    heads = {p.id: p.head_m for p in ctx.plant.machines(MovesMilk)}
    for pump, head in heads.items():
        crest = checks.crest_after(made.plan, made.routes, pump)
        if crest is not None:
            line, over = crest
            ctx.find(
                "place.crest", "Crest that a pump must lift over from empty", head, "m",
                f"{pump} gives {head:g} m and must first lift over a crest {over:.2f} m above its "
                f"inlet, on {line}.",
                subject=pump, limit=round(over, 2), sense="at_least",
                formula="head >= highest level of its delivery - level of the pump",
                source="definition", confidence="derived",
                remedies=(Remedy(pump, "head_m", math.ceil(10 * over) / 10, f"lifts over {line}"),)
                if over > head else (),
            )  # fmt: skip


def _differs(ctx: StudyContext, made: Sited) -> None:
    share = ctx.number("place.length_differs_share")
    for pipe in ctx.plant.pipes:
        one = made.laid.get(pipe.id)
        if one is None or not one.points or pipe.length_from != "measured":
            continue
        off = abs(pipe.length_m - one.length_m)
        if off > max(1.0, share * one.length_m):
            ctx.find(
                "place.stated_length", "Stated length against the plan", None, "m",
                f"{pipe.id} is stated as {pipe.length_m:g} m; the plan has {one.length_m:g} m. "
                "Measured, or left from an earlier file? Take `length_m` out to use the plan's.",
                subject=pipe.id, formula="|stated - plan| <= 25 % of the plan, or 1 m",
                inputs=(ctx.rule("place.length_differs_share"),),
                missing=(f"whether {pipe.id} was measured",),
            )  # fmt: skip


def _cables(ctx: StudyContext, made: Sited) -> None:
    every = cable_list(ctx, made)
    total = math.fsum(c.way.length_m for c in every)
    ctx.find(
        "place.cables", "Cable to the machines", round(total, 0), "m",
        f"{len(every)} cables, {total:.0f} m along the tray, the trench or bridge and down to each "
        "machine, 2 m each for ends included, second supplies too.",
        formula="up to the tray, along it, across the room, down, and 2 m", source="definition",
        confidence="derived",
    )  # fmt: skip
    none = [c.way.tag for c in every if c.mm2 is None]
    known = [c for c in every if c.amps]
    if known:
        worst = max(known, key=lambda c: (c.total_pct, c.way.tag))
        size = "no usual cable" if worst.mm2 is None else f"{worst.mm2:g} mm2"
        ctx.find(
            "place.volt_drop", "Volt drop to the farthest machine", worst.total_pct, "%",
            f"{worst.way.tag} has the greatest drop: {worst.amps:g} A over {worst.way.length_m:g} "
            f"m with {size}, and what the cables before it lose."
            + (f" No usual cable serves {_some(none)}: bring the board nearer." if none else "")
            + " Sections are to be confirmed by a licensed electrician.",
            subject=worst.way.tag, limit=ctx.number("cable.drop_most_pct"), sense="at_most",
            allowance=0.1,
            formula="u = b (rho L cos phi/S + lambda L sin phi) I, from the supply on",
            inputs=(worked("I", "current", worst.amps, "A"),
                    worked("L", "length of the last cable", worst.way.length_m, "m"),
                    ctx.rule("cable.drop_most_pct"),
                    ctx.rule("cable.resistivity_ohm_mm2_m", "rho"),
                    ctx.rule("cable.reactance_mohm_m", "lambda"),
                    ctx.rule("cable.grouping_share"), ctx.rule("cable.feeder_drop_pct"),
                    ctx.rule("cable.least_mm2"), ctx.rule("cable.one_phase_most_kw")),
            source="iec60364_552", confidence="from_memory",
        )  # fmt: skip
    ctx.notes.tables.append(
        Table("place.cables", "Cables", CABLES, CABLE_UNITS, cable_rows(every),
              note=cables_note(ctx.plant.site.region, ctx.plant.site.supply.voltage_v, every))
    )  # fmt: skip


__all__ = ["Plan", "study_place"]
