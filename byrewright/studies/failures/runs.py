"""Failures on the simulated day: one undisturbed day, then each failure from a snapshot of it.

Every run starts at one of four bad moments and ends when its state is again the undisturbed one to
the last bit, or at its horizon. Runs with the same script are done once. Two threads by default:
the kernels hold no lock of the interpreter.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor, as_completed
from dataclasses import dataclass
from threading import Lock

import numpy as np

from byrewright.engine import shape as sh
from byrewright.engine.compiled import Compiled, compile_plant, with_wrong
from byrewright.engine.draws import Herd, day_of
from byrewright.engine.session import first_day
from byrewright.engine.simulate import Row, simulate
from byrewright.plant.plant import Plant
from byrewright.standards.rulebook import Rulebook
from byrewright.studies.day.study import vacuum_map
from byrewright.studies.failures.consequence import Consequence
from byrewright.studies.failures.cuts import Cancelled, Progress
from byrewright.studies.failures.script import MODE_CHANGE, Positions, Script, Stage

HOUR_S = 3600
RANK = 8
"""Rank of a failure's rows: after the day's own of the same step."""
SHORTEST_H, LONGEST_H = 1.0, 20.0
"""Hours for which a failure may be followed: the simulated days go no further."""
AFTER_REPAIR_H = 4.0
LEAST_H = 6.0
AIR_LEAK_NL_S = 200.0  # a burst hose: far above what compressors make
PEAK = "peak flow"
PEAK_MIN = 15
NEAR_PEAK = 0.97  # as busy as the busiest, within what chance moves
BEFORE_S = 600  # before a collection, and within a wash


@dataclass(frozen=True, slots=True)
class Moment:
    """A bad moment: its name, its step and the undisturbed state there."""

    name: str
    step: int
    state: sh.State


class Field:
    """A compiled plant with all positions asked for, its undisturbed days and the bad moments."""

    def __init__(self, plant: Plant, rules: Rulebook, scripts: Iterable[Script], seed: int,
                 month: int, vacuum: bool = True, hours: float | None = None) -> None:  # fmt: skip
        self.longest_h = LONGEST_H if hours is None else max(SHORTEST_H, min(hours, LONGEST_H))
        wanted = dict.fromkeys(s.valves for script in scripts for s in script.stages if s.valves)
        plain = compile_plant(plant, rules, vacuum=(lambda: vacuum_map(plant, rules))
                              if vacuum else None)  # fmt: skip
        self.plain = plain
        self.variants: dict[Positions, int] = {(): 0}
        self.compiled: Compiled = plain
        if wanted:
            made = with_wrong(plant, plain, [dict(v) for v in wanted], rules)
            made.tables = made.tables._replace(vac=plain.tables.vac)
            self.compiled = made
            self.variants |= {v: i + 1 for i, v in enumerate(wanted)}
        self.plant = plant
        self.receivers = frozenset(
            m.id for m in plant.equipment.values()
            if m.can("holds milk") and m.port_for("vacuum") and m.port_for("milk", "out")
        )  # fmt: skip
        self.steps = round(86400 / self.compiled.step_s)
        self.first = first_day(plant)
        self.base_runs: dict[tuple[str, int], sh.State] = {}
        self.lock = Lock()
        self._days(rules, seed, month)
        self._moments()

    def _days(self, rules: Rulebook, seed: int, month: int) -> None:
        c = self.compiled
        herd = Herd(self.plant, c, rules, seed)
        self.days: dict[int, sh.Day] = {}
        last: sh.Day | None = None
        for day in range(self.first + 2):
            last = day_of(self.plant, c, herd, month=month, day=day, last=last)
            self.days[day] = last

    def run(self, state: sh.State, until: int, rows: tuple[Row, ...] = (), late_steps: int = 0,
            ) -> sh.State:  # fmt: skip
        """Step on, over midnight where need be; `late_steps` moves tankers yet to come."""
        while int(state.n[sh.I_STEP]) < until:
            day = int(state.n[sh.I_STEP]) // self.steps
            stop = min(until, (day + 1) * self.steps)
            today = self.days[min(day, max(self.days))]
            if late_steps:
                today = _later(today, int(state.n[sh.I_STEP]), late_steps)
            state = simulate(self.compiled, today, state, stop, rows=rows).state
        return state

    def _moments(self) -> None:
        c = self.compiled
        begin = self.first * self.steps
        state = self.run(c.start, begin)
        seen = simulate(c, self.days[self.first], state, begin + self.steps, readings_from=begin)
        flow = seen.seen[:, 1] if seen.seen is not None and len(seen.seen) else np.zeros(1)
        minute = round(60 / c.step_s)
        at: dict[str, int] = {PEAK: begin + (_first_peak(flow) + 1) * minute}
        sessions = seen.state.session
        washed = sessions[sessions[:, sh.B_WASH_BEGUN] > begin * c.step_s]
        if len(washed):
            first = washed[np.argmin(washed[:, sh.B_WASH_BEGUN])]
            at["wash"] = round((first[sh.B_WASH_BEGUN] + BEFORE_S) / c.step_s)
        rows = self.days[self.first].rows
        milkings = rows[rows[:, sh.RW_FIELD] == sh.ROW_MILKING, sh.RW_STEP]
        if len(milkings):
            at[MODE_CHANGE] = int(milkings[-1]) - round(60 / c.step_s)
        tankers = rows[rows[:, sh.RW_FIELD] == sh.ROW_TANKER, sh.RW_STEP]
        if len(tankers):
            at["before collection"] = max(begin, int(tankers[0]) - round(BEFORE_S / c.step_s))
        self.moments = []
        for name, step in sorted(at.items(), key=lambda one: one[1]):
            state = self.run(state, step)
            self.moments.append(Moment(name, step, _fresh(state.copy(), c)))

    def undisturbed(self, moment: Moment, until: int) -> sh.State:
        """The undisturbed state at a step, from the nearest kept before it (and kept itself)."""
        key = (moment.name, until)
        with self.lock:
            found = self.base_runs.get(key)
            kept = [s for (name, at), s in self.base_runs.items()
                    if name == moment.name and at < until]  # fmt: skip
        if found is None:
            near = max(kept, key=lambda s: int(s.n[sh.I_STEP]), default=moment.state)
            found = self.run(near, until)
            with self.lock:
                self.base_runs[key] = found
        return found

    # Rows of a script.

    def rows(self, script: Script, moment: Moment) -> tuple[Row, ...]:
        """The timed rows of a script that starts at a moment."""
        dt = self.compiled.step_s
        rows: list[Row] = []
        if script.only and script.only != moment.name:
            return ()
        now: dict[tuple[int, int], float] = {}
        stages = [*script.stages, Stage(script.repair_s, (), ())]
        for stage in stages:
            if stage.after_s > script.repair_s:
                continue
            wanted = self._settings(stage)
            step = moment.step + round(stage.after_s / dt)
            for key in sorted(set(now) | set(wanted)):
                value = wanted.get(key, self._normal(key))
                if now.get(key, self._normal(key)) != value:
                    rows.append((step, RANK, key[0], key[1], value))
            now = {k: wanted.get(k, self._normal(k)) for k in set(now) | set(wanted)}
        return tuple(rows)

    def _normal(self, key: tuple[int, int]) -> float:
        field = key[1]
        if field == sh.ROW_LEVEL:
            return -1.0
        return 0.0 if field in (sh.ROW_ROUTE, sh.ROW_VACUUM_AIR, sh.ROW_AIR_LEAK) else 1.0

    def _settings(self, stage: Stage) -> dict[tuple[int, int], float]:
        out: dict[tuple[int, int], float] = {}
        for item, tag, value in stage.settings:
            for target, field in self._targets(item, tag):
                if field == sh.ROW_LEVEL:
                    value = value * self.compiled.tables.F[target, sh.V_CAP]
                elif field == sh.ROW_VACUUM_AIR:
                    value = value / self._unit_air
                elif field == sh.ROW_AIR_LEAK:
                    value = AIR_LEAK_NL_S
                elif item == "halt":
                    value = 0.0
                key = (target, field)
                out[key] = min(out.get(key, value), value)
        if stage.valves:
            out[0, sh.ROW_ROUTE] = float(self.variants[stage.valves])
        return out

    @property
    def _unit_air(self) -> float:
        from byrewright.plant.primitives import DrawsAir, Units

        air = 0.0
        for machine in self.plant.equipment.values():
            for one in machine.lower():
                if isinstance(one, DrawsAir):
                    air += one.each_l_min_free
                elif isinstance(one, Units):
                    air += one.air_l_min_free
        return max(air, 1.0)

    def _targets(self, item: str, tag: str) -> list[tuple[int, int]]:
        """The rows of the engine that a setting acts on."""
        names, T = self.compiled.names, self.compiled.tables

        def places(section: str, tags: Sequence[str], field: int) -> list[tuple[int, int]]:
            first = T.rows(section).start
            return [(first + i, field) for i, t in enumerate(tags) if t == tag]

        if item == "machine":
            mine = [t if n.partition(" from ")[0] == t else "" for n, t in
                    zip(names.transfers, names.transfer_machines, strict=True)]  # fmt: skip
            out = places("transfers", mine, sh.ROW_TRANSFER)
            out += places(
                "transfers", [n.partition(" to ")[0] for n in names.transfers], sh.ROW_TRANSFER
            )
            out += places("pumps", names.pumps, sh.ROW_PUMP)
            out += places("chillers", names.chillers, sh.ROW_CHILL)
            out += places("heated", names.heated, sh.ROW_HEATER)
            out += places("laundry", names.laundry, sh.ROW_LAUNDRY)
            out += places("compressors", names.compressors, sh.ROW_COMPRESSOR)
            return list(dict.fromkeys(out))
        if item == "filter":
            return places("filters", names.filters, sh.ROW_FILTER)
        if item in ("exchanger", "supply"):
            ids = [x.partition(".")[0] if item == "exchanger" else x for x in names.exchangers]
            takers = [names.vessels[t - T.rows("vessels").start] if t >= 0 else ""
                      for t in T.I[T.rows("chillers"), sh.RI_TAKES]]  # fmt: skip
            return (places("exchangers", ids, sh.ROW_EXCHANGER)
                    + places("chillers", takers, sh.ROW_RECOVERY))  # fmt: skip
        if item == "level":
            return places("vessels", names.vessels, sh.ROW_LEVEL)
        if item == "halt":
            first = T.rows("pumps").start
            return [(first + i, sh.ROW_PUMP) for i in range(len(names.pumps))]
        field = {"drive": sh.ROW_DRIVE, "gate": sh.ROW_GATE, "vacuum air": sh.ROW_VACUUM_AIR,
                 "air leak": sh.ROW_AIR_LEAK}[item]  # fmt: skip
        return [(0, field)]

    # One run and its measure.

    def consequence(self, script: Script, moment: Moment) -> Consequence:
        """Run a script from a moment and measure it against the undisturbed day."""
        dt = self.compiled.step_s
        rows = self.rows(script, moment)
        hours = min(self.longest_h, max(LEAST_H, script.repair_s / HOUR_S + AFTER_REPAIR_H))
        until = moment.step + round(hours * HOUR_S / dt)
        hour = moment.step + round(HOUR_S / dt)
        state, rejoined = moment.state, False
        late = round(script.late_s / dt)
        if not rows and not late:
            base = self.undisturbed(moment, hour)
            return self._measure(moment, base, base, base, base, True)
        first = self.run(state, hour, rows, late)
        rows, first = self._trap_shuts(script, moment, rows, first, hour, late)
        state = first
        last_row = max((r[0] for r in rows), default=hour)
        step = hour
        while step < until:
            step = min(step + round(2 * HOUR_S / dt), until)
            state = self.run(state, step, rows, late)
            if step >= last_row and not late and state.same_as(self.undisturbed(moment, step)):
                rejoined = True
                break
        return self._measure(
            moment, first, self.undisturbed(moment, hour), state, self.undisturbed(moment, step),
            rejoined,
        )  # fmt: skip

    def _trap_shuts(self, script: Script, moment: Moment, rows: tuple[Row, ...], first: sh.State,
                    hour: int, late: int) -> tuple[tuple[Row, ...], sh.State]:  # fmt: skip
        """A full receiver shuts its trap: cups lose vacuum until the next stage mends it."""
        dt, T = self.compiled.step_s, self.compiled.tables
        begin = T.rows("vessels").start
        over = [
            first.items[begin + i, sh.P_OVER_AT]
            for i, t in enumerate(self.compiled.names.vessels)
            if t in self.receivers
        ]
        full = [at for at in over if at >= 0.0]
        if not full or not rows:
            return rows, first
        at = int(min(full) / dt) + 1
        ends = [moment.step + round(s.after_s / dt) for s in script.stages] + [
            moment.step + round(script.repair_s / dt)
        ]
        end = min((e for e in ends if e > at), default=at)
        stop = [(at, RANK + 1, target, field, 0.0) for target, field in self._targets("halt", "")]
        go = [(end, RANK - 1, target, field, 1.0) for target, field in self._targets("halt", "")]
        more = tuple(sorted([*rows, *stop, *go]))
        return more, self.run(moment.state, hour, more, late)

    def _measure(self, moment: Moment, hour: sh.State, hour_base: sh.State, end: sh.State,
                 base: sh.State, rejoined: bool) -> Consequence:  # fmt: skip
        dt = self.compiled.step_s
        begin = moment.step * dt
        over = [v for v in self._milk_vessels() if end.items[v, sh.P_OVER_AT] >= 0.0
                and base.items[v, sh.P_OVER_AT] < 0.0]  # fmt: skip
        first_loss = min((end.items[v, sh.P_OVER_AT] for v in over), default=None)
        litres = (self._lost_kg(end) - self._lost_kg(base)) / self.compiled.milk_kg_l
        # Over an hour and over all: a later warm spell of the plain day must not hide the first.
        spans = ((hour, hour_base), (end, base))
        milk = max(((self._warmest(a), self._warmest(b)) for a, b in spans), key=_gap)
        out = max(((self._leaves(a), self._leaves(b)) for a, b in spans), key=_gap)
        stood = [s.g[sh.G_LOST_MILK_S] + s.g[sh.G_STOPPED] for s in (end, base)]
        return Consequence(
            moment.name, self._cows(hour, begin), self._cows(hour_base, begin),
            float(min(end.g[sh.G_VAC_LEAST], 1e3)), float(min(base.g[sh.G_VAC_LEAST], 1e3)),
            *milk, *out,
            0.0 if litres < 0.5 else float(litres), self._delay_min(end, base),
            max(0.0, float(stood[0] - stood[1])) / 60,
            None if first_loss is None else max(0.0, (float(first_loss) - begin) / 60),
            float(end.g[sh.G_COST] - base.g[sh.G_COST]), self._wash_c(end, begin),
            self._wash_c(base, begin), rejoined,
        )  # fmt: skip

    def _milk_vessels(self) -> list[int]:
        T, names = self.compiled.tables, self.compiled.names
        first = T.rows("vessels").start
        return [first + i for i in range(len(names.vessels))
                if T.I[first + i, sh.VI_ROLE] == sh.STORE
                and T.I[first + i, sh.VI_SUBSTANCE] in (-1, sh.MILK)]  # fmt: skip

    def _lost_kg(self, state: sh.State) -> float:
        total = 0.0
        for tag in ("(lost)", "(drain)"):
            row = self.compiled.tables.rows("vessels").start + self.compiled.vessel(tag)
            total += float(state.items[row, sh.MILK])
        drains = [m.id for m in self.plant.equipment.values() if m.can("is a drain")]
        for tag in drains:
            if tag in self.compiled.names.vessels:
                row = self.compiled.tables.rows("vessels").start + self.compiled.vessel(tag)
                total += float(state.items[row, sh.MILK])
        return total

    def _cows(self, state: sh.State, begin: float) -> float:
        off = state.out[:, :, sh.O_OFF]
        return float(np.count_nonzero((off > begin) & (off <= begin + HOUR_S)))

    def _warmest(self, state: sh.State) -> float:
        names = self.compiled.names
        first = self.compiled.tables.rows("vessels").start
        rows = [first + names.vessels.index(t) for t in names.places if t != names.tanker]
        return float(max((state.items[r, sh.P_WARMEST] for r in rows), default=0.0))

    def _leaves(self, state: sh.State) -> float:
        """Warmest milk out of the last stage of each cooler."""
        first = self.compiled.tables.rows("exchangers").start
        last = {
            x.partition(".")[0]: first + i for i, x in enumerate(self.compiled.names.exchangers)
        }
        return float(max((state.items[r, sh.SX_WARMEST] for r in last.values()), default=0.0))

    def _wash_c(self, state: sh.State, begin: float) -> float:
        """The coolest return of the washes that ended (0: none did)."""
        ended = state.session[state.session[:, sh.B_WASH_END] > begin]
        return float(ended[:, sh.B_RETURN_C].min()) if len(ended) else 0.0

    def _delay_min(self, end: sh.State, base: sh.State) -> float:
        """How much later the last cow is off, over the milkings that both have begun."""
        now = float(end.n[sh.I_STEP]) * self.compiled.step_s
        worst = 0.0
        for mine, theirs in zip(end.session, base.session, strict=True):
            if mine[sh.B_ASKED] != theirs[sh.B_ASKED] or theirs[sh.B_WASH_BEGUN] <= 0.0:
                continue
            ended = mine[sh.B_WASH_BEGUN] > 0.0
            last = mine[sh.B_LAST_OFF] if ended else now
            worst = max(worst, float(last - theirs[sh.B_LAST_OFF]) / 60)
        return worst


def _gap(pair: tuple[float, float]) -> float:
    return pair[0] - pair[1]


def _first_peak(flow: sh.Floats) -> int:
    """The minute in the middle of the first quarter hour that is near the busiest of all."""
    width = min(PEAK_MIN, len(flow))
    mean = np.convolve(flow, np.ones(width) / width, "valid")
    return int(np.argmax(mean >= NEAR_PEAK * mean.max())) + width // 2


def _fresh(state: sh.State, compiled: Compiled) -> sh.State:
    """Extremes begin anew at a moment; nothing else changes."""
    v = state.items[compiled.tables.rows("vessels")]
    v[:, sh.P_OVER_AT] = -1.0
    v[:, sh.P_WARMEST] = 0.0
    state.items[compiled.tables.rows("exchangers"), sh.SX_WARMEST] = 0.0
    state.g[sh.G_VAC_LEAST] = 1e3
    return state


def _later(day: sh.Day, now: int, steps: int) -> sh.Day:
    """A day whose tankers still to come arrive later."""
    heads = day.rows.copy()
    late = (heads[:, sh.RW_FIELD] == sh.ROW_TANKER) & (heads[:, sh.RW_STEP] >= now)
    heads[late, sh.RW_STEP] += steps
    order = np.lexsort((heads[:, 3], heads[:, 2], heads[:, 1], heads[:, 0]))
    return day._replace(rows=np.ascontiguousarray(heads[order]), values=day.values[order].copy())


def run_all(
    field: Field, scripts: Mapping[str, Script], *, threads: int = 2, say: Progress | None = None
) -> dict[str, tuple[Consequence, ...]]:
    """Every script at every moment; scripts alike run once.

    Raises:
        Cancelled: `say` answered True.
    """
    jobs: dict[tuple[tuple[Row, ...], float, str], tuple[Script, Moment]] = {}
    asked: dict[str, list[tuple[tuple[Row, ...], float, str]]] = {}
    for name, script in scripts.items():
        for moment in field.moments:
            key = (field.rows(script, moment), script.late_s, moment.name)
            jobs.setdefault(key, (script, moment))
            asked.setdefault(name, []).append(key)
    results: dict[tuple[tuple[Row, ...], float, str], Consequence] = {}
    work: Callable[[Script, Moment], Consequence] = field.consequence
    with ThreadPoolExecutor(threads) as pool:
        waiting = {pool.submit(work, *job): key for key, job in jobs.items()}
        try:
            for done, future in enumerate(as_completed(waiting)):
                results[waiting[future]] = future.result()
                if say is not None and say("failures on the simulated day", done + 1, len(jobs)):
                    raise Cancelled
        finally:  # what has not begun is dropped, whoever stops it
            pool.shutdown(wait=True, cancel_futures=True)
    return {name: tuple(results[k] for k in keys) for name, keys in asked.items()}
