"""The study: read the network, solve every situation, march the events, write it all down."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

from byrewright.errors import ByrewrightError
from byrewright.plant.plant import Plant
from byrewright.plant.problems import nearest
from byrewright.plant.roles import CollectsMilk
from byrewright.results import Assumption, Result, ResultBuilder, Series, Table
from byrewright.standards.milkline_table import UnitsPerSlope
from byrewright.standards.rulebook import Rulebook, default_rulebook
from byrewright.studies.sizing.context import StudyContext
from byrewright.studies.sizing.duty import duty_of
from byrewright.studies.vacuum import (
    balance,
    findings,
    findings_time,
    milkline,
    readings,
    sensitivity,
    steady,
    transient,
)
from byrewright.studies.vacuum.building import network_of
from byrewright.studies.vacuum.case import Case
from byrewright.studies.vacuum.network import Network, NoNetwork
from byrewright.studies.vacuum.situations import pumps_running, speed_control

TUNING = "tuning"
STUDY = "vacuum"
GAINS = (0.1, 0.25, 0.6, 1.5)
RAMPS = (0.1, 0.25, 0.5)
Progress = Callable[[str], None]

CAUTION = (
    "Commissioning works on running pumps under vacuum: isolate and lock off before opening "
    "anything, keep clear of belts and hot surfaces; local rules and licensed practice go first."
)


def study_vacuum(
    plant: Plant,
    rules: Rulebook | None = None,
    *,
    situations: Sequence[str] | None = None,
    transients: Sequence[str] | None = None,
    units_table: UnitsPerSlope | None = None,
    seed: int = 1,
    progress: Progress | None = None,
) -> Result:
    """Solve a plant's vacuum network: steady, in time, and as the instruments will read it.

    Args:
        situations: keys of the situations to show (milking is always solved); None for all.
        transients: keys of the events to march; None for all, an empty list for none.
        units_table: the standard's units per slope, as a licensed user entered them.
        seed: kept with the result; nothing here is drawn by chance.

    Raises:
        NotSolved: the network did not come into balance.
    """
    rules = rules or default_rulebook()
    ctx = StudyContext(plant, rules, ResultBuilder(STUDY, plant.site.name))
    say = progress or (lambda _: None)
    try:
        case = solve_case(ctx, situations, transients, units_table or rules.units_per_slope, say)
    except NoNetwork as error:
        ctx.find(
            "vacuum.network",
            "The plant's air network",
            None,
            "",
            str(error),
            formula="a way for air from the pumps to the units",
            source="the plant file",
            missing=("a way for air from the pumps to the units",),
        )
        return ctx.notes.result(seed)
    findings.write(ctx, case)
    findings_time.write(ctx, case)
    sheet = readings.write(ctx, case)
    _assume(ctx, case.network)
    ctx.notes.tables += _tables(case, sheet)
    ctx.notes.series += [_series(run) for run in case.runs.values()]
    ctx.notes.notes.append(CAUTION)
    return ctx.notes.result(seed)


def solve_case(
    ctx: StudyContext,
    situations: Sequence[str] | None,
    transients: Sequence[str] | None,
    units_table: UnitsPerSlope | None,
    say: Progress,
) -> Case:
    """Everything solved of one plant.

    Raises:
        NoNetwork: no pump, or no unit that a pump reaches.
        NotSolved: the network did not come into balance.
    """
    plant, rules = ctx.plant, ctx.rules
    for key in transients or ():
        if key not in (*transient.EVENTS, TUNING):
            known = [*transient.EVENTS, TUNING]
            raise ByrewrightError(f"no event in time is called {key}{nearest(key, known)}")
    rough = network_of(plant, rules)
    say("milkline")
    lines = _lines(ctx, rough, units_table)
    fill = min(0.9, max((a.level for a in lines), default=0.0))
    network = network_of(plant, rules, fill)
    say("steady states")
    every = steady.standard_situations(network)
    mode = every["milking"].mode
    if not pumps_running(network, mode):
        raise NoNetwork(
            f"No vacuum pump runs in mode {mode}, so there is no vacuum to look at; "
            "let one of them run there."
        )
    wanted = {
        k: s
        for k, s in every.items()
        if situations is None or k in {*situations, "milking", "no_units"}
    }
    states = {key: steady.solve(network, s) for key, s in wanted.items()}
    milking = states["milking"]
    running = pumps_running(network, milking.situation.mode)
    reserve = steady.solve(network, steady.reserve_situation(network, milking))
    manual = steady.solve(network, steady.reserve_situation(network, milking, manual=True))
    alone = states.get("one_pump")
    reserve_alone = (
        steady.solve(network, steady.reserve_situation(network, alone)) if alone else None
    )
    say("every pipe and fitting")
    effects = sensitivity.effects(network, reserve)
    fittings = sensitivity.fitting_effects(network, reserve)
    runs = {}
    for event in transient.standard_events(network, running):
        if transients is None or event.key in transients:
            say(event.title)
            runs[event.key] = transient.march(network, event, milking.situation)
    tuned, tuned_with = _tune(network, milking, running, rules, transients, say)
    return Case(
        network,
        running,
        states,
        reserve,
        manual,
        reserve_alone,
        effects,
        fittings,
        runs,
        tuned,
        tuned_with,
        lines,
    )


def _lines(
    ctx: StudyContext,
    network: Network,
    units_table: UnitsPerSlope | None,
) -> tuple[milkline.LineAnswer, ...]:
    lines = ctx.plant.machines(CollectsMilk)
    if not lines or not ctx.plant.milkings:
        return ()
    duty = duty_of(ctx)
    return tuple(
        milkline.study_line(
            ctx.plant,
            ctx.rules,
            line,
            milkline.load_of(ctx.plant, ctx.rules, line, duty),
            network.set_vacuum_kpa,
            network.ambient_kpa_abs,
            units_table,
        )
        for line in lines
    )


def _tune(
    network: Network,
    milking: steady.Steady,
    running: tuple[str, ...],
    rules: Rulebook,
    transients: Sequence[str] | None,
    say: Progress,
) -> tuple[list[transient.Tuned], tuple[str, ...]]:
    """Scan gain and ramp where speed control is at work: with one pump if sharing idles them."""
    if not network.varies or (transients is not None and TUNING not in transients):
        return [], ()
    say("gain and ramp of speed control")
    least = max(p.machine.least_speed_pct for p in network.pumps) / 100.0
    idles = milking.speed <= least + 1e-9 and len(running) > 1
    used = running[:1] if idles else running
    gain, ramp = speed_control(network)
    gains, ramps = sorted({*GAINS, gain}), sorted({*RAMPS, ramp})
    situation = replace(milking.situation, running=used)
    return transient.scan(network, situation, gains, ramps), used


def _assume(ctx: StudyContext, network: Network) -> None:
    """What the answer rests on that the plant file does not say."""
    for key in (
        "vacuum.teat_leak_l_min",
        "vacuum.system_leak_share",
        "vacuum.milk_leak_base_l_min",
        "vacuum.milk_leak_per_unit_l_min",
        "vacuum.silencer_kpa",
        "vacuum.loss.gland_k",
        "vacuum.loss.trap_k",
        "vacuum.loss.non_return_k",
        "vacuum.loss.header_k",
        "vacuum.pump_zero_flow_share",
        "vacuum.regulator_band_kpa",
        "vacuum.regulator_relief_kpa",
        "vacuum.speed_gain_per_kpa",
        "vacuum.speed_integral_s",
        "vacuum.speed_ramp_per_s",
        "vacuum.pump_start_s",
        "vacuum.pump_stop_s",
        "vacuum.shutoff_delay_s",
        "vacuum.attach_air_l_min",
        "vacuum.cups_fall_kpa",
        "pipe.roughness_plastic_mm",
    ):
        value = ctx.rules[key]
        ctx.notes.assumptions.append(
            Assumption(
                "vacuum network",
                value.meaning,
                value.value,
                value.unit,
                value.source,
                value.confidence,
            )
        )
    ctx.assume(
        "vacuum network",
        "where speed control or regulator senses",
        network.nodes[network.sense],
        "",
        "sensor, else regulator, else distribution tank",
    )
    ctx.assume(
        "vacuum network",
        "regulator beside speed control only relieves",
        "yes" if network.varies else "no",
        "",
        "speed holds the vacuum; the regulator opens above it",
    )
    ctx.assume(
        "vacuum network",
        "air temperature",
        round(network.temperature_c, 1),
        "degC",
        "mean ambient of the year",
    )
    ctx.assume(
        "milkline",
        "depth of milk over the bore at peak",
        round(network.fill, 2),
        "",
        "from the milkline study; narrows the way for air",
        "derived",
    )
    for left in network.left_out:
        ctx.notes.notes.append(f"{left} is not joined to the air network and was left out.")


def _tables(case: Case, sheet: Table) -> list[Table]:
    rows = {s.situation.title: (s, case.flat_out(s)) for s in case.states.values()}
    rated = sum(p.rated_l_min_free for p in case.network.pumps)
    found = [
        _nodes(case),
        _pipes(case),
        balance.balance_table(rows, rated),
        *sensitivity.tables(case.effects, case.fittings),
        sheet,
        _events(case),
    ]
    if case.tuned:
        found.append(
            Table(
                "tuning",
                "Settings of speed control tried, best first",
                ("gain", "ramp", "drop", "overshoot", "back after"),
                ("1/kPa", "1/s", "kPa", "kPa", "s"),
                tuple(
                    (
                        t.gain,
                        t.ramp,
                        round(t.drop_kpa, 3),
                        round(t.overshoot_kpa, 3),
                        _seconds(t.back_after_s),
                    )
                    for t in case.tuned
                ),
            )
        )
    network = case.network
    found += [
        milkline.slope_table(network.rules, line, network.set_vacuum_kpa, network.ambient_kpa_abs)
        for line in case.lines
    ]
    return found


def _seconds(value: float) -> float | str:
    return "not back" if value == float("inf") else round(value, 1)


def _nodes(case: Case) -> Table:
    states = [*case.states.values(), case.reserve]
    return Table(
        "vacuum",
        "Vacuum at every node",
        ("node", *(s.situation.title for s in states)),
        ("", *("kPa" for _ in states)),
        tuple(
            (name, *(round(s.at(i), 2) for s in states))
            for i, name in enumerate(case.network.nodes)
        ),
    )


def _pipes(case: Case) -> Table:
    rows: list[tuple[float | str, ...]] = []
    for a, b in zip(case.milking.segments, case.reserve.segments, strict=True):
        s = a.segment
        rows.append(
            (
                s.name,
                case.network.nodes[s.a],
                case.network.nodes[s.b],
                round(s.bore_mm, 1),
                *(
                    x
                    for t in (a, b)
                    for x in (
                        round(t.flow_l_min_free),
                        round(t.velocity_m_s, 1),
                        round(t.drop_kpa, 3),
                    )
                ),
            )
        )
    return Table(
        "airflow",
        "Airflow, velocity and drop in every pipe: all units milking, and reserve test",
        (
            "stretch",
            "from",
            "to",
            "bore for air",
            "airflow",
            "velocity",
            "drop",
            "airflow, reserve",
            "velocity, reserve",
            "drop, reserve",
        ),
        ("", "", "", "mm", "L/min", "m/s", "kPa", "L/min", "m/s", "kPa"),
        tuple(rows),
    )


def _events(case: Case) -> Table:
    return Table(
        "events",
        "What happens to the vacuum",
        (
            "event",
            "before",
            "lowest at receiver",
            "highest",
            "lowest at a unit",
            "drop",
            "undershoot",
            "overshoot",
            "back after",
            "longest under the limit",
            "cups likely to fall",
        ),
        ("", "kPa", "kPa", "kPa", "kPa", "kPa", "kPa", "kPa", "s", "s", "units"),
        tuple(
            (
                r.event.title,
                round(r.before_kpa, 2),
                round(r.least_kpa, 2),
                round(r.most_kpa, 2),
                round(r.least_at_units_kpa, 2),
                round(r.drop_kpa, 2),
                round(r.undershoot_kpa, 2),
                round(r.overshoot_kpa, 2),
                _seconds(r.back_after_s),
                round(r.under_limit_s, 2),
                round(r.units_falling),
            )
            for r in case.runs.values()
        ),
    )


def _series(run: transient.Run) -> Series:
    return Series(
        run.event.key,
        run.event.title,
        run.times_s,
        "s",
        (
            ("at the receiver", "kPa", _short(run.receiver_kpa)),
            ("at the worst unit", "kPa", _short(run.units_kpa)),
            ("at the distribution tank", "kPa", _short(run.pump_kpa)),
            ("speed command", "", _short(run.speed)),
        ),
    )


def _short(values: tuple[float, ...]) -> tuple[float, ...]:
    return tuple(round(v, 4) for v in values)
