"""Run the day of a plant and say what was found."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from byrewright.plant.plant import Plant
from byrewright.results import DAYS_ARE_OF, Assumption, Result, ResultBuilder
from byrewright.standards.rulebook import Rulebook, default_rulebook
from byrewright.studies.day.record import Run, joined, session_of
from byrewright.studies.sizing.context import StudyContext
from byrewright.studies.sizing.duty import assume_milk_out

DAYS_OF_SERIES = 7
LONG_SAMPLE_S = 600.0  # longer runs are read every ten minutes
SPLIT_FROM_DAYS = 60
_NO_READINGS = np.zeros((0, 1))
LONGEST_EXTENSION_S = 10 * 3600.0
DAYS_IN_MONTH = (31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)

Progress = Callable[[str, float], None]


def run_day(
    plant: Plant,
    rules: Rulebook | None = None,
    *,
    month: int | None = None,
    days: int = 1,
    seed: int = 1,
    step_s: float | None = None,
    rows: tuple[tuple[int, int, int, int, float], ...] = (),
    until: float | None = None,
    snapshot: Any = None,
    progress: Progress | None = None,
    sample_s: float = 60.0,
    hot: bool = False,
) -> Result:
    """Simulate whole days, from an hour before the first milking, and judge them.

    A day before the first is run and not reported, so that tanks, hot water and ice stand as they
    would; with `snapshot` (a state of the engine) the run starts from there instead.

    Args:
        month: 1-12, whose water and air temperatures hold at the start; months follow on. The one
            that is hardest on cooling when None.
        step_s: step of the simulation; the longest that fits the plant when None.
        rows: more timed rows (step, rank, target, field, value), steps counted from the start.
        until: seconds of the reported stretch after which to stop; whole days when None.
        progress: called with a word and a share of 0 to 1.
        sample_s: time between two readings of the series.
        hot: days as hot as the site's hottest afternoon instead of the mean of the month.

    Raises:
        DoesNotCompile: a plant the engine refuses; the sentence names the part.
        ValueError: a month or number of days outside its range.
    """
    rules = rules or default_rulebook()
    run = simulate_days(
        plant, rules, month=month, days=days, seed=seed, step_s=step_s, rows=rows, until=until,
        snapshot=snapshot, progress=progress, sample_s=sample_s, hot=hot,
    )  # fmt: skip
    return report(run, rules)


def simulate_days(
    plant: Plant,
    rules: Rulebook,
    *,
    month: int | None = None,
    days: int = 1,
    seed: int = 1,
    step_s: float | None = None,
    rows: tuple[tuple[int, int, int, int, float], ...] = (),
    until: float | None = None,
    snapshot: Any = None,
    progress: Progress | None = None,
    sample_s: float = 60.0,
    hot: bool = False,
) -> Run:
    """The run itself, without judgement: what `run_day` and the tests look into."""
    month = plant.site.study_month if month is None else month
    if not 1 <= month <= 12:
        raise ValueError(f"month {month}: give a month of 1 to 12")
    if not 1 <= days <= 3660:
        raise ValueError(f"{days} days: give 1 to 3660")
    tell = progress or (lambda _word, _share: None)
    tell("compiling", 0.0)
    from byrewright.engine.ahead import finish
    from byrewright.engine.compiled import compile_plant
    from byrewright.engine.draws import Herd
    from byrewright.engine.session import first_day

    if days > DAYS_OF_SERIES:
        sample_s = max(sample_s, LONG_SAMPLE_S)
    compiled = compile_plant(
        plant, rules, step_s=step_s, sample_s=sample_s, vacuum=lambda: vacuum_map(plant, rules)
    )
    finish(tell)
    herd = Herd(plant, compiled, rules, seed)
    warm_up = first_day(plant)
    one = _Stretch(plant, compiled, herd, month, seed, rows, tell, hot)
    if days < SPLIT_FROM_DAYS or snapshot is not None or until is not None or rows:
        return one.run(days, warm_up, snapshot, until)
    # A long run is cut in two, each with days before it of its own; the kernels hold no lock.
    half = (days // 2 // warm_up) * warm_up
    done = [0.0, 0.0]

    def part(i: int, skip: int, length: int) -> Run:
        def said(_word: str, share: float) -> None:
            done[i] = share
            tell("simulating", sum(done) / 2)

        return replace(one, tell=said).run(length, warm_up, None, None, skip=skip)

    with ThreadPoolExecutor(2) as pool:
        parts = [pool.submit(part, 0, 0, half), pool.submit(part, 1, half, days - half)]
        return joined([p.result() for p in parts], days)


@dataclass(frozen=True, slots=True)
class _Stretch:
    """Everything a run of days needs but its length."""

    plant: Plant
    compiled: Any
    herd: Any
    month: int
    seed: int
    rows: tuple[tuple[int, int, int, int, float], ...]
    tell: Progress
    hot: bool

    def run(self, days: int, warm_up: int, snapshot: Any, until: float | None,
            skip: int = 0) -> Run:  # fmt: skip
        """Days one after another from day `skip` of the calendar, after those before it."""
        from byrewright.engine import shape as sh
        from byrewright.engine.draws import day_of
        from byrewright.engine.simulate import simulate

        compiled, plant = self.compiled, self.plant
        steps = round(86400 / compiled.step_s)
        state = compiled.start if snapshot is None else snapshot
        if skip:
            state = state.copy()
            state.n[sh.I_STEP] = skip * steps
            state.n[[sh.I_PENDING, sh.I_MILKED]] = skip * max(1, compiled.milkings)
        first_day = int(state.n[sh.I_STEP]) // steps
        begin = first_day + (warm_up if snapshot is None else 0)
        calendar = begin - skip
        last = None
        run: Run | None = None
        pending: list[tuple[int, int]] = []
        readings: list[Any] = []
        each = max(1, compiled.milkings)
        for day in range(first_day, begin + days):
            today = day_of(
                plant, compiled, self.herd, month=_month_of(self.month, day - calendar), day=day,
                hot=self.hot, extra=self.rows, last=last,
            )  # fmt: skip
            if run is None and day >= begin:
                first = _fresh(state.copy(), compiled)
                run = Run(
                    plant,
                    compiled,
                    self.month,
                    days,
                    self.seed,
                    first,
                    first,
                    _NO_READINGS,
                    hot=self.hot,
                )
                state = first
            stop = (day + 1) * steps
            if until is not None and day >= begin:
                stop = min(stop, begin * steps + round(until / compiled.step_s))
            start = int(state.n[sh.I_STEP]) if day >= begin else None
            outcome = simulate(compiled, today, state, stop, readings_from=start)
            state = outcome.state
            if run is not None:
                if outcome.seen is not None:
                    readings.append(outcome.seen[outcome.seen[:, 0] > 0])
                slots = int(compiled.tables.num[sh.N_SLOTS])
                pending += [
                    (number, int(today.count[number % slots]))
                    for number in range(day * each, (day + 1) * each)
                ]
                pending = _harvest(run, state, pending)
                run.loads.append(state.loads[: state.n[sh.I_LOADS]].copy())
                state.loads[:] = 0.0
                state.n[sh.I_LOADS] = 0
            last = today
            self.tell("simulating", (day + 1 - first_day) / (begin + days - first_day))
        assert run is not None and last is not None
        run.last = state
        run.seen = np.concatenate(readings) if readings else _NO_READINGS
        if until is None and pending:
            _extend(run, last, state, pending, compiled)
        return run


def vacuum_map(plant: Plant, rules: Rulebook) -> Any:
    """The operating map of the solved air network, or None where there is none to solve."""
    from byrewright.engine.operating_map import from_network
    from byrewright.plant.primitives import HoldsVacuum, MakesVacuum, Units
    from byrewright.studies.vacuum import NotSolved, operating_map
    from byrewright.studies.vacuum.network import NoNetwork

    parts = [(t, p) for t in sorted(plant.equipment) for p in plant.equipment[t].lower()]
    order = tuple(t for t, p in parts if isinstance(p, MakesVacuum))
    held = next((p.set_kpa for _, p in parts if isinstance(p, HoldsVacuum)), None)
    units = next((p.count for _, p in parts if isinstance(p, Units)), 0)
    milking = next((n for n, m in plant.modes.items() if "milking" in m.does), None)
    if not order or held is None or milking is None:
        return None
    try:
        found = operating_map(plant, rules)
        at = found.row[milking]
    except (NotSolved, NoNetwork, ValueError, KeyError, ArithmeticError):
        return None
    return from_network(
        found.pumps, found.units, found.vacuum_kpa[at], found.speed[at], found.power_kw[at],
        order, units, held, rules.number("motor.efficiency"),
    )  # fmt: skip


def _month_of(month: int, day: int) -> int:
    at = month - 1
    left = max(0, day)
    while left >= DAYS_IN_MONTH[at]:
        left -= DAYS_IN_MONTH[at]
        at = (at + 1) % 12
    return at + 1


def _fresh(state: Any, compiled: Any) -> Any:
    """The state at the start of what is reported: extremes begin anew, nothing else changes."""
    from byrewright.engine import shape as sh

    rows = compiled.tables.rows("vessels")
    v = state.items[rows]
    kg = v[:, :4].sum(axis=1)
    v[:, sh.P_MOST] = kg
    v[:, sh.P_LEAST] = kg
    v[:, sh.P_OVER_AT] = -1.0
    v[:, sh.P_SPILT] = 0.0
    v[:, sh.P_WARMEST] = 0.0
    x = state.items[compiled.tables.rows("exchangers")]
    x[:, sh.SX_WARMEST] = 0.0
    state.g[sh.G_VAC_LEAST] = 1e3
    state.g[sh.G_AIR_LEAST] = 1e3
    state.g[sh.G_KW_MOST] = 0.0
    state.g[sh.G_MINUTE_MOST] = 0.0
    state.loads[:] = 0.0
    state.n[sh.I_LOADS] = 0
    return state


def _harvest(run: Run, state: Any, pending: list[tuple[int, int]]) -> list[tuple[int, int]]:
    """Take the records of the milkings whose wash has ended; return the others."""
    left = []
    for number, count in pending:
        session = session_of(run.plant, run.compiled, state, number, count)
        if session.wash_end_s > 0.0:
            run.sessions.append(session)
        else:
            left.append((number, count))
    return left


def _extend(run: Run, day: Any, state: Any, pending: list[tuple[int, int]], compiled: Any) -> None:
    """See the last milkings to their end, on a copy that adds nothing to the totals."""
    from byrewright.engine import shape as sh
    from byrewright.engine.simulate import simulate

    steps = round(LONGEST_EXTENSION_S / compiled.step_s)
    none = day._replace(rows=np.zeros((0, 4), np.int64), values=np.zeros(0))
    beyond = simulate(compiled, none, state, int(state.n[sh.I_STEP]) + steps).state
    run.beyond_s = LONGEST_EXTENSION_S
    for number, count in pending:
        run.sessions.append(session_of(run.plant, compiled, beyond, number, count))


def report(run: Run, rules: Rulebook) -> Result:
    """Findings, tables and series of a run."""
    from byrewright.studies.day import figures, findings, frost, temperatures, washes

    ctx = StudyContext(run.plant, rules, ResultBuilder("day", run.plant.site.name))
    findings.milkings(ctx, run)
    findings.vessels(ctx, run)
    temperatures.judge_milk(ctx, run)
    washes.washes(ctx, run)
    findings.cold(ctx, run)
    findings.recovered(ctx, run)
    frost.judge(ctx, run)
    findings.services(ctx, run)
    findings.running(ctx, run)
    figures.tables(ctx.notes, run)
    figures.series(ctx.notes, run)
    _assume(ctx, run)
    return ctx.notes.result(run.seed)


ASSUMED = (
    "milking.yield_time_correlation",
    "milking.fall_share", "milking.lag_on_s", "milking.rise_s", "milking.kick_off_share",
    "milking.kick_off_back_s", "milking.stop_mean_s", "milking.boarding_least_s",
    "milk.at_receiver_c", "filter.drop_full_kpa", "filter.change_s",
    "air.per_cow_l_free", "wash.line_u_w_m2k", "wash.main_min",
    "wash.changeover_min", "cooling.day_swing_k", "cloth.dry_kg", "calf.draw_after_min",
    "tank.u_w_m2k", "tank.dry_wall_share", "tank.evaporator_share", "tank.stirred_from_share",
    "tank.still_u_w_m2k", "tank.wall_least_c",
)  # fmt: skip
"""Rules the day rests on that no file states."""


def _assume(ctx: StudyContext, run: Run) -> None:
    for key in ASSUMED:
        value = ctx.rules[key]
        ctx.assume("day", value.meaning, value.value, value.unit, value.source, value.confidence)
    for where, one in run.plant.defaults_taken():
        value = one.default
        if isinstance(value, int | float | str):
            ctx.notes.assumptions.append(
                Assumption(where, one.meaning, value, one.unit, one.why, one.confidence)
            )
    assume_milk_out(ctx)
    ctx.assume("cows", "stall behind a cow that goes round", "filled", "",
                 "the day leaves no gap; sizing counts one where the rule says so")  # fmt: skip
    ctx.assume("coolers", "overall coefficient", "constant", "", "as stated, whatever the flow")
    ctx.assume("water", "hosing of parlour and yard", "not drawn", "",
               "the day has no hose; sizing counts its water (`water.day`)")  # fmt: skip
    washes = {n for n, m in ctx.plant.modes.items() if {"wash", "rinse"} & set(m.does)}
    left_out = sorted(washes - {ctx.plant.mode_for(does) for does in ("wash", "rinse")})
    if left_out:
        ctx.assume("modes", "washes and rinses that are not played", ", ".join(left_out), "",
                   "each step runs as in one mode of its sort; these are sized and proven as "
                   "routes (`wash.circulates`, `wash.missed`)")  # fmt: skip
    month = ctx.plant.site.month_words(run.month)
    ctx.notes.notes.append(f"{DAYS_ARE_OF}{month}.")
    for note in run.compiled.notes:
        ctx.notes.notes.append(note)
    ctx.notes.notes.append(
        f"Seed {run.seed}; a step of {run.compiled.step_s:g} s; the day begins at "
        f"{run.clock(float(run.first.n[0]) * run.compiled.step_s)}."
    )
