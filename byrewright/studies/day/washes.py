"""What the simulated washes are held to: time, heat, strength, and what they leave behind."""

from __future__ import annotations

from itertools import pairwise

from byrewright.engine import shape as sh
from byrewright.engine.washing import wash_circuit
from byrewright.plant.programme import WashKind
from byrewright.results import Input
from byrewright.studies.day import remedies
from byrewright.studies.day.record import MilkingSession, Run
from byrewright.studies.sizing.circulation import undosed
from byrewright.studies.sizing.context import StudyContext
from byrewright.studies.sizing.sizes import listed, worked
from byrewright.studies.sizing.wash_heat import hotter_wash
from byrewright.studies.sizing.wash_lines import carried_l, stays_l


def _clean_at(run: Run, session: MilkingSession) -> float:
    """End of the wash; of one that never ended, the end of what was simulated."""
    return session.wash_end_s if session.wash_end_s > 0 else run.seen_until_s


def washes(ctx: StudyContext, run: Run) -> None:
    """Does each wash fit before the next milking, and was it hot enough."""
    order = sorted(run.done, key=lambda b: b.asked_s)
    if not run.compiled.names.troughs:
        ctx.find(
            "day.wash_fits", "Wash before the next milking", None, "min",
            "No wash vessel with water is joined, so no wash was simulated.",
            sense="at_least", missing=("wash trough with water",),
        )  # fmt: skip
        return
    gaps = []
    for session, after in pairwise(order):
        gaps.append((after.asked_s - _clean_at(run, session), session))
    if order:
        last = order[-1]
        following = order[0].asked_s + 86400.0 * (last.day - order[0].day + 1)
        gaps.append((following - _clean_at(run, last), last))
    if gaps:
        spare, session = min(gaps, key=lambda g: g[0])
        length = (_clean_at(run, session) - session.left_s) / 60
        said = (
            f"After {session.name} the plant was clean at {run.clock(_clean_at(run, session))}, "
            f"{length:.0f} min after the last cow, with {spare / 60:.0f} min to spare."
        )
        if spare < 0:
            said = (
                f"The wash after {session.name} ran {-spare / 60:.0f} min into the next milking, "
                "which then starts late: fewer cows a milking, a faster deck, or a shorter wash."
            )
        ctx.find(
            "day.wash_fits", "Time left between wash and next milking", spare / 60, "min", said,
            limit=0.0, sense="at_least", formula="start of the next milking less end of the wash",
        )  # fmt: skip
    washed = [b for b in run.sessions if b.washed and b.hot_c > 0]
    if washed:
        _start(ctx, run, washed)
        _round(ctx, run, washed)


def _start(ctx: StudyContext, run: Run, washed: list[MilkingSession]) -> None:
    """How hot the wash began, and what made it cold."""
    coldest = min(washed, key=lambda b: b.hot_c)
    hot, asked = coldest.hot_c, run.plant.cleaning.hot_c
    limit = asked - ctx.number("wash.start_below_k")
    do = remedies.hotter_heaters(
        run.plant, hot, coldest.heater_c, run.plant.site.water_temperature_c[run.month - 1],
        ctx.programme.wash.water_l,
    ) if hot < limit else ()  # fmt: skip
    why = ""
    if hot < limit:
        why = {
            "heater_kw": f" The heater stood at {coldest.heater_c:.0f} degC as the wash began: it "
            "needs more input, or more time between washes.",
            "volume_l": " Cold water came into the heater while the wash drew from it: it needs "
            "to hold more.",
        }.get(do[0].figure if do else "", " Heaters were hot and hold enough: see what cold water "
              "comes into the trough with the hot.")  # fmt: skip
    ctx.find(
        "day.wash_start", "Hot wash at its start", hot, "degC",
        f"The coldest hot wash began at {hot:.0f} degC; {asked:g} degC is required.{why}",
        limit=limit, sense="at_least", allowance=0.0,
        formula="mixture of hot and cold in the trough as the circulation begins",
        inputs=(Input("T_asked", "hot wash asked for", asked, "degC", "plant file"),
                ctx.rule("wash.start_below_k"), ctx.rule("heater.usable_share")),
        remedies=do,
    )  # fmt: skip


def _round(ctx: StudyContext, run: Run, washed: list[MilkingSession]) -> None:
    """How the hot wash came back, how strong it still was, and what stayed behind."""
    hot, back = min(b.hot_c for b in washed), min(b.return_c for b in washed)
    began = hot >= run.plant.cleaning.hot_c - ctx.number("wash.start_below_k")
    way = wash_circuit(run.plant, ctx.rules)
    none = back <= 0.0
    short = back < run.plant.cleaning.end_c
    do = hotter_wash(
        run.plant, back, ctx.number("wash.hottest_c"), ctx.programme.wash,
    ) if began and not none else ()  # fmt: skip
    ctx.find(
        "day.wash_return", "Hot wash at its end", back, "degC",
        "No hot wash came back to its trough: see where it stays in the table of the wash." if none
        else f"The hot wash began at {hot:.0f} degC in the trough and came back at {back:.0f} degC "
        f"at the end, after warming {way.steel_kg:.0f} kg of steel on its way through units, "
        "milkline, receivers and delivery."
        + (" Neither a hotter start nor more water helps: insulate the lines, shorten the "
           "way, or cut the air let in." if short and began and not do else ""),
        limit=run.plant.cleaning.end_c, sense="at_least", allowance=0.03,
        formula="q c (T_out - T_in) = UA (T - T_room) + q_wet_air(T) + C_steel (T - T_steel)/t",
        inputs=(worked("T_0", "trough at the start, as simulated", round(hot, 1), "degC"),
                worked("UA", "lines and clusters", round(way.ua_kw_k, 3), "kW/K"),
                worked("q", "mean free air through the wash", round(way.air_l_min_free),
                       "L/min free")),
        source="definition", confidence="derived",
        remedies=do,
    )  # fmt: skip
    asked = max(s.strength for s in ctx.programme.wash.steps if s.kind is WashKind.ALKALINE)
    share = min(b.strength for b in washed)
    bare = undosed(ctx.plant)
    least = ctx.number("wash.strength_least_share")
    ctx.find(
        "day.wash_strength", "Strength of the hot wash at its end",
        None if bare else 100 * asked * share, "%",
        f"{100 * asked:.2f} % of product was dosed; at the end {100 * asked * share:.2f} % was "
        "left in the trough, the rest thinned by water that stood in the plant."
        + (f" The day doses every wash vessel; in {listed(list(bare))} nothing does so "
           "(`wash.dosed`)." if bare else ""),
        missing=("who doses the wash",) if bare else (),
        limit=100 * asked * least, sense="at_least", allowance=0.05,
        formula="dose times the share of the liquid that was made up with product",
        inputs=(ctx.rule("wash.strength_least_share"),),
    )  # fmt: skip
    round_min = sum(s.minutes for s in ctx.programme.wash.steps if s.circulates)
    dry = max(b.dry_s for b in washed) / 60
    ctx.find(
        "day.wash_dry", "Trough dry while the wash should go round", dry, "min",
        f"The trough was dry for {dry:.1f} of {round_min:g} min of washing."
        + ("" if dry <= ctx.number("wash.dry_share") * round_min else
           " Lines and vessels hold more than the charge, or the pumps bring back less "
           "than goes out: see `wash.circulates`, or make up more wash."),
        limit=ctx.number("wash.dry_share") * round_min, sense="at_most", allowance=0.05,
        formula="time with nothing in the wash vessels, steps that go round",
        inputs=(ctx.rule("wash.dry_share"),),
    )  # fmt: skip
    left, lines = max(b.left_kg for b in washed), stays_l(ctx) or 0.0
    milk = run.milk_l / max(len(run.sessions), 1)
    most = ctx.number("wash.left_share") * milk
    ctx.find(
        "day.wash_left", "Rinse water left for the next milk", round(left, 6), "L",
        f"{left:.1f} L of rinse water stood in milkline, receivers and balance tank after draining "
        f"down; the next milk takes it along, and with it {lines:.1f} L of lines that do not fall "
        "(`wash.standing`).",
        limit=most, sense="at_most", allowance=0.05,
        formula="water and wash in what milk passes, at the end of the wash",
        inputs=(ctx.rule("wash.left_share"),),
    )  # fmt: skip


def purity(ctx: StudyContext, run: Run) -> None:
    """Water and wash that reached stored or sold milk."""
    rows = [run.compiled.vessel(t) for t in [*run.compiled.names.places, "(sold)"]]
    change = run.last.items[rows] - run.first.items[rows]
    milk = max(float(change[:, sh.MILK].sum()), 0.0)
    wash, water = (float(change[:, s].sum()) for s in (sh.WASH, sh.WATER))
    played = {p for line in run.compiled.names.lines for p in line}
    lines = 0.0
    if stays_l(ctx) is not None:
        lines = carried_l(ctx, sum(b.washed for b in run.sessions), len(run.all_loads), played)
    carried = max(wash + water, 0.0)
    water += lines
    share, most = 100 * max(wash + water, 0.0) / max(milk, 1.0), ctx.number("milk.added_water_pct")
    ctx.find(
        "day.milk_pure", "Water and wash in stored and sold milk", share, "%",
        f"{max(water + wash, 0.0):.1f} kg of water and wash reached tank and tanker with "
        f"{milk:.0f} kg of milk, {lines:.1f} kg of it from lines that do not fall and do not lie "
        "behind a milk pump, all of which is taken to go there."
        + ("" if share < most else
           " See which valve lets it there, and drain down before milking." if carried > lines else
           " Lay these lines with their fall (`wash.standing` names them), or let the first milk "
           "run to waste."),
        limit=most, sense="at_most", allowance=0.05,
        formula="100 (water + wash) / milk in every store and load, with what lines hold",
        inputs=(ctx.rule("milk.added_water_pct"),),
    )  # fmt: skip
    share = 100 * max(wash, 0.0) / max(milk, 1.0)
    spoilt = share > ctx.number("milk.wash_pct")
    last = ctx.programme.wash.steps[-1] if ctx.programme.wash.steps else None
    dosed = last is not None and last.strength > 0.0
    why = " That milk is spoilt."
    if dosed and last is not None:
        why += f" Nothing rinses out what {last.name!r} leaves: end the wash with plain water."
    ctx.find(
        "day.milk_wash", "Wash in stored and sold milk", round(share, 9), "%",
        f"{max(wash, 0.0):.2f} kg of made-up wash reached tank and tanker with {milk:.0f} kg of "
        f"milk.{why if spoilt else ''}",
        limit=ctx.number("milk.wash_pct"), sense="at_most", allowance=0.05,
        formula="100 wash / milk in every store and load",
        inputs=(ctx.rule("milk.wash_pct"),),
        remedies=remedies.rinsed_last(run.plant, last.name)
        if spoilt and dosed and last is not None else (),
    )  # fmt: skip
