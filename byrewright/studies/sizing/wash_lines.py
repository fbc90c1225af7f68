"""How the wash passes every line of milk: how fast, in what time, which it misses, what stays."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, replace

from byrewright.engine.liquids import Liquids, LiquidsUnsolved
from byrewright.engine.standing import Standing, holds_l, standing
from byrewright.physics.pipeflow import velocity_m_s
from byrewright.plant.plant import Pipe, Plant
from byrewright.plant.programme import visits_a_day
from byrewright.plant.roles import (
    CollectsMilk,
    CoolsMilk,
    FeedsCalves,
    IsValve,
    LoadsTankers,
    MovesMilk,
    PassesOneWay,
    StoresMilk,
)
from byrewright.results import Remedy, Table
from byrewright.standards.pipes import dairy_tubes
from byrewright.studies.sizing.circulation import LEAST_L_MIN, stages, washes_units
from byrewright.studies.sizing.context import StudyContext
from byrewright.studies.sizing.delivery import cooler_flow_l_min
from byrewright.studies.sizing.duty import Duty
from byrewright.studies.sizing.network import net_of
from byrewright.studies.sizing.sizes import TIGHT, worked

WASHES, MILKS, DRAINS = ("wash", "rinse"), ("milking", "direct_load"), ("drain_down",)
COLLECTS = ("collection",)
TANKS = ("tank_wash",)
NAMED = 6  # lines named in a sentence
LEAST_L = 0.05  # less is a film
WAYS = ("to_b", "to_c")
NARROW = "next smaller tube: the cooler then gets as much wash as milk"
NARROWEST = "narrowest tube: the cooler gets the most wash it can, still less than milk"
THROTTLES_MM = (6.0, 8.0, 10.0, 13.0, 16.0, 19.0, 26.0)
"""Ways round a small cooler, beside dairy tubes (our choice; 26 is the metric DN 25, from
memory)."""


@dataclass(frozen=True, slots=True)
class MilkPipe:
    """A pipe of milk: what passes it in milking and in the wash, what it holds and what stays."""

    pipe: Pipe
    milk_l_min: float
    wash_l_min: float
    holds_l: float
    stays_l: float
    shut_in: bool
    round_l_min: float
    """Of the wash that goes round, which every milking ends with: into no other vessel."""
    modes: tuple[str, ...]
    """Those that wash or rinse through it."""
    out_of_tank: bool
    """Milk passes it only on its way out of a tank."""

    @property
    def velocity_m_s(self) -> float:
        """Of the wash."""
        return velocity_m_s(self.wash_l_min, self.pipe.bore_mm)


def milk_pipes(ctx: StudyContext) -> tuple[MilkPipe, ...]:
    """Every pipe that milk passes on its way from the units to a tanker, in file order."""
    if "milk_pipes" not in ctx.known:
        ctx.known["milk_pipes"] = tuple(_milk_pipes(ctx))
    found: tuple[MilkPipe, ...] = ctx.known["milk_pipes"]
    return found


def _milk_pipes(ctx: StudyContext) -> list[MilkPipe]:
    plant, net = ctx.plant, net_of(ctx)
    flows = {n: _flows(net, n) for n, m in plant.modes.items()
             if {*MILKS, *COLLECTS, *WASHES} & set(m.does)}  # fmt: skip
    does = {n: set(plant.modes[n].does) for n in flows}
    milk = _most(flows[n] for n in flows if {*MILKS, *COLLECTS} & does[n])
    fills = _most(flows[n] for n in flows if set(MILKS) & does[n]
                  and not {*COLLECTS, *TANKS} & does[n])  # fmt: skip
    washes = [n for n in flows if set(WASHES) & does[n] and _comes(net, n)]
    wash = _most(flows[n] for n in washes)
    turns = _most(flows[n] for n in _rounds(ctx, {n: flows[n] for n in washes}))
    mine = [p for p in plant.pipes if p.id in milk and plant.service_of(p) == "milk"]
    drain = _drain(plant)
    left: dict[str, Standing] = {}
    if drain is not None:
        left = {x.pipe: x for x in standing(net, [net.situation(drain)], [p.id for p in mine])}
    found = []
    for p in mine:
        edge = net.by_id[p.id]
        many = max(net.many.get(edge.a, 1), net.many.get(edge.b, 1))
        whole = holds_l(p, many)
        one = left.get(p.id)
        stays, shut = (one.litres, one.shut_in) if one else (whole, True)
        found.append(MilkPipe(p, milk[p.id], wash.get(p.id, 0.0) / many, whole, stays, shut,
                              turns.get(p.id, 0.0) / many,
                              tuple(n for n in washes if p.id in flows[n]),
                              p.id not in fills))  # fmt: skip
    return found


def _rounds(ctx: StudyContext, washes: Mapping[str, Mapping[str, float]]) -> list[str]:
    """The modes in which a made-up wash goes round: none of it runs into a tank, a calf vessel or
    out of a coupling. `washes` are the flows of the modes that wash or rinse."""
    plant = ctx.plant
    apart = {m.id for m in (*plant.machines(FeedsCalves), *plant.machines(LoadsTankers))}
    into = [p.id for p in plant.pipes if {_machine(p.start), _machine(p.end)} & apart
            and plant.service_of(p) == "milk"]  # fmt: skip
    return [n for n, flows in washes.items()
            if "wash" in plant.modes[n].does and not set(TANKS) & set(plant.modes[n].does)
            and all(flows.get(p, 0.0) < LEAST_L_MIN for p in into)]  # fmt: skip


def _comes(net: Liquids, mode: str) -> bool:
    """Whether wash comes to the units in a mode that washes them: what pumps move behind them is
    else nothing but what stands there."""
    if not washes_units(net.plant, mode):
        return True
    try:
        return bool(stages(net, mode))
    except LiquidsUnsolved:
        return True  # told by the circulation


def _flows(net: Liquids, mode: str, at: Mapping[str, str] | None = None) -> dict[str, float]:
    """What flows in each pipe in a mode, L/min."""
    solved = net.solve(net.situation(mode, at or {}), broken=[]).l_min
    return {j: abs(q) for j, q in solved.items() if q and net.by_id[j].pipe is not None}


def _most(every: Iterable[Mapping[str, float]]) -> dict[str, float]:
    found = dict[str, float]()
    for flows in every:
        for pipe, q in flows.items():
            found[pipe] = max(found.get(pipe, 0.0), q)
    return found


def stays_l(ctx: StudyContext, without: Collection[str] = ()) -> float | None:
    """Rinse water that stays in lines of milk once drained after a plant wash, L, without some
    pipes; None where no mode drains."""
    if not any(set(DRAINS) & set(m.does) for m in ctx.plant.modes.values()):
        return None
    return sum(x.stays_l for x in _wet(ctx, None) if x.pipe.id not in without)


def carried_l(ctx: StudyContext, washes: int, loads: int, without: Collection[str] = ()) -> float:
    """Rinse water that lines give to the milk in a time with some washes and tanker loads: what
    stays after each wash; of lines washed towards an open coupling alone, once a load at most."""
    bays = {m.id for m in ctx.plant.machines(LoadsTankers)}
    wet = [x for x in _wet(ctx, None) if x.pipe.id not in without]
    tanks = {n for n, m in ctx.plant.modes.items() if set(TANKS) & set(m.does)}
    out = {n for x in wet if _machine(x.pipe.end) in bays for n in x.modes} | tanks
    return sum(x.stays_l * (min(washes, loads) if set(x.modes) <= out else washes) for x in wet)


def _drain(plant: Plant) -> str | None:
    """The mode that drains the lines down."""
    return next((n for n, m in plant.modes.items() if set(DRAINS) & set(m.does)), None)


def _wet(ctx: StudyContext, into: str | None) -> list[MilkPipe]:
    """The lines that are wet after a plant wash, and after one into an empty tank besides: what
    runs on into that tank once the pumps stand is gone before the lines are drained down."""
    tanks = {n for n, m in ctx.plant.modes.items() if set(TANKS) & set(m.does)}
    wet = [x for x in milk_pipes(ctx) if set(x.modes) - tanks or into in x.modes]
    drain = _drain(ctx.plant)
    if into is None or drain is None:
        return wet
    return _left(ctx, wet, into, {})


def _lifted(ctx: StudyContext, stay: list[MilkPipe]) -> tuple[Remedy, ...]:
    """Non-return valves above which milk lines stay full."""
    above = {_machine(x.pipe.start) for x in stay}
    return tuple(
        Remedy(m.id, "lifts", True, "lifted while lines are drained: what stands above runs back")
        for m in ctx.plant.machines(PassesOneWay) if m.id in above
    )  # fmt: skip


def _left(
    ctx: StudyContext, wet: list[MilkPipe], into: str | None, at: Mapping[str, str]
) -> list[MilkPipe]:
    """Lines with what stays in them where some valves stand otherwise while they are drained."""
    net, drain = net_of(ctx), _drain(ctx.plant)
    assert drain is not None
    states = [net.situation(drain, at)]
    if into is not None:
        states.insert(0, net.situation(into, dict.fromkeys(net.pumps, "stopped")))
    left = standing(net, states, [x.pipe.id for x in wet])
    return [
        replace(x, stays_l=one.litres, shut_in=one.shut_in)
        for x, one in zip(wet, left, strict=True)
    ]


def _turned(ctx: StudyContext, wet: list[MilkPipe], into: str | None) -> tuple[Remedy, ...]:
    """Diverts that let out more when they are turned while the lines are drained: to a stub with a
    drain, say, past a valve that stays shut."""
    drain, at = _drain(ctx.plant), dict[str, str]()
    if drain is None:
        return ()
    ends = {_machine(e) for x in wet if x.stays_l > LEAST_L for e in (x.pipe.start, x.pipe.end)}
    before = sum(x.stays_l for x in wet)
    for valve in (v for v in ctx.plant.machines(IsValve) if v.ways == 3 and v.id in ends):
        other = next(p for p in WAYS if p != ctx.plant.position(drain, valve.id))
        left = sum(x.stays_l for x in _left(ctx, wet, into, at | {valve.id: other}))
        if left < before - LEAST_L:
            at[valve.id], before = other, left
    why = f"{before:.1f} L then stay in the lines of milk"
    return tuple(Remedy(tag, "in_drain_down", to, why) for tag, to in at.items())


def size_wash_lines(ctx: StudyContext, duty: Duty) -> None:
    """Tell how the wash passes each line of milk."""
    every = milk_pipes(ctx)
    if not any(x.wash_l_min > 0 for x in every):
        return
    free = {m.id for m in ctx.plant.machines(CollectsMilk)}
    full = [x for x in every if x.wash_l_min > 0 and _machine(x.pipe.start) not in free]
    if full:
        _velocity(ctx, full)
    _missed(ctx, [x for x in every if x.wash_l_min <= 0])
    for cooler in ctx.plant.machines(CoolsMilk):
        mine = [x for x in every if cooler.id in (_machine(x.pipe.start), _machine(x.pipe.end))]
        if mine:
            _cooler(
                ctx, cooler, max(mine, key=lambda x: x.round_l_min), cooler_flow_l_min(ctx, duty)
            )
    _standing(ctx, duty)
    ctx.notes.tables.append(Table(
        "wash.lines", "The wash in each line of milk",
        ("pipe", "from", "to", "milk", "wash", "velocity", "holds", "passed in", "stays"),
        ("", "", "", "L/min", "L/min", "m/s", "L", "s", "L"),
        tuple((x.pipe.id, x.pipe.start, x.pipe.end, round(x.milk_l_min), round(x.wash_l_min),
               round(x.velocity_m_s, 2), round(x.holds_l, 1),
               round(60 * x.holds_l / x.wash_l_min, 1) if x.wash_l_min > 0 else "",
               round(x.stays_l, 1)) for x in every),
        note="Flows of the solved network, the most of the modes that wash or rinse; what lies "
             "between milkline and receiver is cleaned by slugs, not by a full pipe.",
    ))  # fmt: skip


def _velocity(ctx: StudyContext, full: list[MilkPipe]) -> None:
    least = min(full, key=lambda x: x.velocity_m_s)
    wish = ctx.number("wash.full_pipe_velocity_m_s")
    slow = [x for x in full if x.velocity_m_s < wish]
    long = sum(60 * x.holds_l / x.wash_l_min for x in full)
    ctx.notes.notes.append(
        f"The wash is slowest in {least.pipe.id} ({least.pipe.start} to {least.pipe.end}): "
        f"{least.velocity_m_s:.2f} m/s; {len(slow)} of {len(full)} full lines of milk are under "
        f"the usual {wish:g} m/s (table wash.lines). It takes {long:.0f} s at most to push what "
        "was before out of them all; the simulated day leaves that time out."
    )


def _missed(ctx: StudyContext, unwashed: list[MilkPipe]) -> None:
    bays = {m.id for m in ctx.plant.machines(LoadsTankers)}
    short = ctx.number("wash.coupling_m")
    own = [x for x in unwashed if _machine(x.pipe.end) in bays and x.pipe.length_m <= short]
    missed = [x for x in unwashed if x not in own]
    whole = sum(x.holds_l for x in missed)
    says = (
        f"No mode that washes or rinses the plant sends anything through {_named(missed)} "
        f"({whole:.0f} L), and nothing says how they are washed: with the tank, by hand, or by "
        "giving the wash a way through."
        if missed
        else "Every line of milk is passed by the wash."
    )
    if own:
        says += (
            f" The last {sum(x.pipe.length_m for x in own):.1f} m to the coupling ({_named(own)}) "
            "are taken to be rinsed with the tanker's hose: agree it with who collects."
        )
    for x in own:
        ctx.assume(f"pipes.{x.pipe.id}", "rinsed with the tanker's hose: no wash of the plant "
                   "passes it", x.pipe.length_m, "m", f"ends at the coupling of "
                   f"{_machine(x.pipe.end)} and is no longer than {short:g} m")  # fmt: skip
    ctx.find(
        "wash.missed", "Lines of milk that no plant wash passes", None if missed else 0.0, "pipes",
        says, limit=0.0, sense="at_most", formula="flow in no mode that washes or rinses",
        inputs=(ctx.rule("wash.coupling_m"),) if own else (),
        source="definition", confidence="derived",
        missing=("how these lines are washed",) if missed else (),
    )  # fmt: skip


def _cooler(ctx: StudyContext, cooler: CoolsMilk, at: MilkPipe, milk_l_min: float) -> None:
    """A plate cooler is washed at no less than its milk's flow while the wash goes round: a rinse,
    or a wash into a vessel or out of a coupling, does not clean it."""
    least = ctx.number("wash.cooler_flow_ratio")
    milk = min(at.milk_l_min, milk_l_min)
    ratio = at.round_l_min / milk if milk > 0 and at.round_l_min > 0 else None
    around, advised, enough = None, None, False
    if ratio is not None:
        around, advised, enough = _narrower(ctx, at.pipe, milk * least)
    says = (
        f"While the wash goes round {at.round_l_min:.0f} L/min of it pass {cooler.id}, against "
        f"{milk:.0f} L/min of milk in milking"
    )
    says += (
        "; film stays on plates that are washed slower than the milk ran. Narrow the way round the "
        "cooler, give the wash a step with it shut, or fit a pump for it."
        if ratio is None or ratio < least
        else ": no slower than the milk ran."
    )
    lacks = [(milk <= 0, "milk through the cooler"),
             (at.round_l_min <= 0, "a wash that goes round through the cooler")]  # fmt: skip
    ctx.find(
        "wash.cooler_flow", "Wash through the plate cooler",
        None if ratio is None else round(ratio, 2), "", says,
        subject=cooler.id, limit=least, sense="at_least", allowance=TIGHT,
        formula="q_wash / q_milk",
        inputs=(worked("q_wash", "most wash through it", round(at.round_l_min, 1), "L/min"),
                worked("q_milk", "milk through it", round(milk, 1), "L/min"),
                ctx.rule("wash.cooler_flow_ratio")),
        source="the solved liquid network", confidence="derived",
        advised=advised, advised_why=NARROW if enough else NARROWEST,
        target=(around, "bore_mm") if around is not None else None,
        missing=tuple(text for lacking, text in lacks if lacking),
    )  # fmt: skip


def _narrower(
    ctx: StudyContext, at: Pipe, want_l_min: float
) -> tuple[str | None, float | None, bool]:
    """A pipe of the way round the cooler, and the widest tube for it that leaves the cooler its
    wash; the narrowest where none does, and whether one does.

    Asked with pumps that just take on the wash that comes (`wash.circulates` fits them so), by the
    cooler's share of it, not with those that are fitted: else tube and head would take turns.
    """
    plant, net = ctx.plant, net_of(ctx)
    milks = [n for n, m in plant.modes.items() if set(MILKS) & set(m.does)]
    washes = {n: _flows(net, n) for n, m in plant.modes.items() if "wash" in m.does}
    given = {n: washes[n].get(at.id, 0.0) for n in _rounds(ctx, washes)}
    mode = max(given, key=lambda n: given[n])
    found: dict[str, float] = {}
    for valve in plant.machines(IsValve):
        opens = plant.position(mode, valve.id) == "open"
        if opens and all(plant.position(m, valve.id) == "closed" for m in milks):
            shut = _flows(net, mode, {valve.id: "closed"})
            found[valve.id] = shut.get(at.id, 0.0) - given[mode]
    best = max(found, key=lambda v: found[v], default=None)
    if best is None or found[best] <= 0.0:
        return None, None, False
    around = [p for p in plant.pipes_at(best) if plant.service_of(p) == "milk"]
    sold = (t.bore_mm for t in dairy_tubes(plant.site.region))
    tubes = sorted({*THROTTLES_MM, *sold}, reverse=True)
    fits = [tube for tube in tubes if tube <= at.bore_mm]
    for bore in fits:
        other = net.with_pipes(p.model_copy(update={"bore_mm": bore}) for p in around)
        pumped = [s for s in stages(other, mode) if s.pumps and s.out_l_min > 0]
        if pumped:
            share = _flows(other, mode).get(at.id, 0.0) / pumped[-1].out_l_min
            if share * pumped[-1].in_l_min * (1 + TIGHT) >= want_l_min:
                return around[0].id, bore, True
    return (around[0].id, fits[-1], False) if fits else (None, None, False)


def _machine(end: str) -> str:
    return end.partition(".")[0]


def _standing(ctx: StudyContext, duty: Duty) -> None:
    """What stays after draining down: after a plant wash, or after one into an empty tank where
    more stays then. It goes with the next milk: of a milking, or what a tank gives a tanker."""
    if stays_l(ctx) is None:
        return
    tanks = [n for n, m in ctx.plant.modes.items()
             if set(WASHES) & set(m.does) and set(TANKS) & set(m.does)]  # fmt: skip
    visits = visits_a_day(ctx.plant.collections)
    many = ctx.plant.count(StoresMilk)
    milkings = (min(m.saleable_l for m in duty.milkings), "saleable milk of the smallest milking")
    loads = (duty.milk_l_day / visits / many if visits and many else milkings[0],
             "milk between two collections, shared by all tanks")  # fmt: skip
    every = {into: _wet(ctx, into) for into in (None, *tanks)}
    for out, (milk_l, milk) in ((False, milkings), (True, loads)):
        cases = {into: [x for x in wet if x.out_of_tank is out] for into, wet in every.items()}
        into = max(cases, key=lambda n: (round(sum(x.stays_l for x in cases[n]), 6), len(cases[n])))
        if not out or cases[into]:
            _stays(ctx, cases[into], out, into, milk_l, milk)


def _stays(
    ctx: StudyContext, wet: list[MilkPipe], out: bool, into: str | None, milk_l: float, milk: str
) -> None:
    litres = sum(x.stays_l for x in wet)
    stay = sorted((x for x in wet if x.stays_l > LEAST_L), key=lambda x: -x.stays_l)
    shut = [x for x in stay if x.shut_in]
    after = f" after {into}" if into else ""
    pumps = [p.id for p in ctx.plant.machines(MovesMilk) if not net_of(ctx).pumps[p.id].drains]
    limit = ctx.number("milk.added_water_pct") / 100 * milk_l
    ctx.find(
        "wash.standing", "Rinse water that stays in lines "
        + ("between tanks and tanker" if out else "of milk"), round(litres, 1), "L",
        f"{litres:.1f} L of rinse water stays{after} in lines that do not fall to a drain or "
        f"vessel ({_named(stay)}) and goes with the next milk: lay them with their fall, give "
        "their low points a drain that opens, blow them out, or let the first milk run to waste."
        + (f" Nothing drains what is shut in by closed valves in {_named(shut)}." if shut else "")
        if stay else "Every line that a wash passes runs empty when it is drained down.",
        subject="out of tanks" if out else "",
        limit=limit, sense="at_most", allowance=TIGHT,
        formula="volume under the lowest crest on every way out, in the mode that drains down",
        inputs=(worked("V", "held by the lines that are wet then",
                       round(sum(x.holds_l for x in wet), 1), "L"),
                worked("milk", milk, round(milk_l), "L"),
                ctx.rule("milk.added_water_pct")),
        source="practice", confidence="common_practice",
        remedies=() if out else tuple(
            Remedy(tag, "drains", True, "a drain at its casing, which the lines fall to")
            for tag in pumps
        ) + ((*_turned(ctx, wet, into), *_lifted(ctx, stay)) if litres > limit else ()),
    )  # fmt: skip


def _named(pipes: list[MilkPipe]) -> str:
    names = [x.pipe.id for x in pipes]
    more = f" and {len(names) - NAMED} more" if len(names) > NAMED else ""
    return ", ".join(names[:NAMED]) + more
