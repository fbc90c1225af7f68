"""Puts the arrays of a plant together: sections, scalars, the wash, the state at the start."""

from __future__ import annotations

import math

import numpy as np

from byrewright.engine import shape as sh
from byrewright.engine.arrays import Arrays
from byrewright.engine.kernels.lines import PUSH_S
from byrewright.engine.layout import MODES
from byrewright.engine.names import Compiled
from byrewright.engine.rows import DRAINING, IDLE, SOLD, DoesNotCompile
from byrewright.engine.washing import wash_circuit
from byrewright.plant.primitives import Stalls, Units
from byrewright.plant.programme import WashKind, WashStep, loads_direct

STEPS_S = (1.0, 0.5, 0.2, 0.1)
"""Steps tried, in order, until every vessel holds what passes it in one."""
MINUTE_S = 60.0
DRAIN_S = 60.0
"""Least time in which pumps and falls empty what a step leaves (our choice)."""
LINE_STEPS = 4
"""Steps of its pumps' flow that a line holds at least, to be told from none (our choice)."""
RING_MORE = 4  # plugs of a line besides those that it holds: the oldest and newest are part full
Phase = tuple[float, float, float, int, float]

POINTS = (
    ("transfers", sh.MI_SRC, "vessels"), ("transfers", sh.MI_LED, "vessels"),
    ("transfers", sh.MI_J0, "branches"), ("transfers", sh.MI_J1, "branches"),
    ("transfers", sh.MI_KWH, "meters"), ("transfers", sh.MI_X, "exchangers"),
    ("branches", sh.J_DST, "vessels"),
    *(("branches", sh.J_X + i, "exchangers") for i in range(sh.STAGES)),
    ("branches", sh.J_FILTER, "filters"), ("exchangers", sh.XI_COLD, "transfers"),
    ("branches", sh.J_LINE, "lines"),
    ("transfers", sh.MI_GROUP, "transfers"), ("chillers", sh.RI_TARGET, "vessels"),
    ("chillers", sh.RI_KWH, "meters"), ("chillers", sh.RI_COOLED, "cooled"),
    ("chillers", sh.RI_TAKES, "vessels"),
    ("cooled", sh.KI_VESSEL, "vessels"),
    ("cooled", sh.KI_KWH, "meters"),
    ("heated", sh.HI_VESSEL, "vessels"), ("heated", sh.HI_KWH, "meters"),
    ("laundry", sh.LI_DOSE, "transfers"), ("laundry", sh.LI_KWH, "meters"),
    ("pumps", sh.PI_KWH, "meters"), ("compressors", sh.AI_KWH, "meters"),
    ("loads", sh.EI_KWH, "meters"),
    ("places", sh.PL_VESSEL, "vessels"), ("places", sh.PL_LOADING, "transfers"),
    ("stalls", sh.ST_MILK, "transfers"), ("stalls", sh.ST_APART, "transfers"),
    ("troughs", sh.TR_VESSEL, "vessels"), ("troughs", sh.TR_DRAIN, "transfers"),
)  # fmt: skip
"""Whole-number columns that point at another item: (section, column, section pointed at)."""
SCALAR_POINTS = (
    (sh.N_TANKER, "vessels"), (sh.N_SOLD, "vessels"),
    (sh.N_CALF_VESSEL, "vessels"),
    (sh.N_DRIVE_KWH, "meters"), (sh.N_GATE_KWH, "meters"),
)  # fmt: skip


def _blank(rows: int) -> tuple[sh.Floats, sh.Ints]:
    return sh.zeros(rows, 1), np.full((rows, 1), -1, np.int64)


class Maker(Arrays):
    """Builds a compiled plant."""

    def make(self, step_s: float | None) -> Compiled:
        """The compiled plant, by the step given or the longest that will do, s."""
        self.low = self.lowering.run()
        for wrong in self.wrong:
            self.lowering.add_states(wrong)
        self.lowering.finish()
        # Only now: a valve shut in every mode may be open in a variant.
        self.low.transfers = [m for m in self.low.transfers if m.branches]
        tried = (step_s,) if step_s else STEPS_S
        small = ""
        for dt in tried:
            small = self._too_small(dt)
            if not small:
                return self._build(dt)
        raise DoesNotCompile(small)

    def _too_small(self, dt: float) -> str:
        out: dict[str, float] = {}
        for m in self.low.transfers:
            if m.law in (sh.FIXED, sh.ON_OFF, sh.STEPPED, sh.LED, sh.LOADING):
                out[m.src] = out.get(m.src, 0.0) + m.most_kg_s
        for tag, most in out.items():
            row = self.low.vessels[tag]
            if row.role == sh.STORE and most * dt > row.cap_kg:
                return (
                    f"{tag}: it holds {row.litres:g} L, less than its pumps move in a step of "
                    f"{dt:g} s; give it its true volume, or ask for a shorter step."
                )
        found = self.lowering.first(Stalls)
        if found is None:
            return "No machine stands cows: add the platform with its stalls."
        if found[1].layout == "rotary" and found[1].turn_s / found[1].stalls < 2 * dt:
            return f"{found[0]}: a stall passes in less than two steps of {dt:g} s."
        return ""

    def _build(self, dt: float) -> Compiled:
        low, names = self.low, self.names
        names.vessels = sorted(low.vessels)
        low.transfers.sort(key=lambda m: m.id)
        names.transfers = [m.id for m in low.transfers]
        names.transfer_machines = [m.machine for m in low.transfers]
        names.exchangers = [x.id for x in low.exchangers]
        names.filters = [tag for tag, _ in low.filters]
        names.places, names.tanker = low.places, low.tanker
        names.troughs = [t.vessel for t in low.troughs]
        names.calf = low.calf
        par, num = sh.zeros(len(sh.SCALARS)), np.full(len(sh.NUMBERS), -1, np.int64)
        par[sh.PAR_DT] = dt
        par[sh.PAR_CP :] = [self.number("milk.cp_kj_kgk")] * 2 + [
            self.number("water.cp_kj_kgk")
        ] * 2
        parts: dict[str, tuple[sh.Floats, sh.Ints]] = {"vessels": self._vessel_arrays()}
        self._drop_short_lines(dt)
        m_f, m_i, j_i, share, most = self._transfer_arrays()
        parts["transfers"] = (m_f, m_i)
        parts["branches"] = (sh.zeros(len(j_i), 1), j_i)
        parts["exchangers"] = self._exchanger_arrays()
        parts["filters"] = self._filter_arrays()
        parts["chillers"] = self._chill_arrays()
        parts["cooled"] = self._cooled_arrays()
        parts["heated"] = self._heater_arrays()
        parts["laundry"] = self._laundry_arrays()
        pace, removal = self._cow_scalars(par, num)
        vac, pumps, start_pumps, known = self._vacuum_arrays(par)
        parts["pumps"] = pumps
        parts["compressors"] = self._air_arrays(par)
        parts["loads"] = self._loads()
        self._liquid_scalars(par, num, dt)
        phases, washes = self._sequence(num)
        parts["phases"] = phases
        parts["washes"] = (sh.zeros(len(washes), 1), washes)
        parts["places"] = self._fill()
        parts["stalls"] = self._stalls(int(num[sh.N_STALLS]))
        parts["troughs"] = self._troughs()
        parts["lines"] = self._line_arrays()
        parts["meters"] = _blank(max(1, len(names.meters)))
        F, I = self._stack(parts, num)  # noqa: E741
        tables = sh.Tables(F, I, par, num, share, most, self._cold_array(), vac)
        cows = max((m.cows for m in self.programme.milkings), default=0)
        first = min((m.start_min for m in self.programme.milkings), default=0)
        start = self._start(tables, start_pumps, cows)
        return Compiled(
            tables, start, names, dt, len(self.plant.milkings), cows,
            max(0, first // 60 - 1) * 3600.0, removal, pace,
            {t: r.litres for t, r in sorted(low.vessels.items())},
            {t: r.kg_l for t, r in sorted(low.vessels.items())},
            list(dict.fromkeys(low.notes)), known, low.withheld_apart, [{}, *self.wrong],
            self.programme.milk_kg_l,
        )  # fmt: skip

    def _drop_short_lines(self, dt: float) -> None:
        """A line that its pumps fill in a few steps holds nothing."""
        for leader in list(self.low.lines):
            flow = sum(m.most_kg_s for m in self.low.transfers if m.leader == leader)
            if self.low.lines[leader].cap_kg < LINE_STEPS * flow * dt:
                del self.low.lines[leader]

    def _stack(self, parts: dict[str, tuple[sh.Floats, sh.Ints]], num: sh.Ints,
               ) -> tuple[sh.Floats, sh.Ints]:  # fmt: skip
        """All items in one pair of arrays; what points at an item becomes its row."""
        first: dict[str, int] = {}
        row = 0
        for i, name in enumerate(sh.SECTIONS):
            first[name] = row
            row += len(parts[name][0])
            num[2 * i], num[2 * i + 1] = first[name], row
        F = sh.zeros(row, sh.WIDE)
        I = np.full((row, sh.WIDE), -1, np.int64)  # noqa: E741
        for name, (floats, wholes) in parts.items():
            at = slice(first[name], first[name] + len(floats))
            for section, column, target in POINTS:
                if section == name:
                    points = wholes[:, column]
                    wholes[:, column] = np.where(points >= 0, points + first[target], -1)
            F[at, : floats.shape[1]] = floats
            I[at, : wholes.shape[1]] = wholes
        phases = F[first["phases"] : num[sh.N_Q1], sh.Q_TRANSFER]
        phases += np.where(phases >= 0, first["transfers"], 0)
        for scalar, target in SCALAR_POINTS:
            if num[scalar] >= 0:
                num[scalar] += first[target]
        return F, I

    def _liquid_scalars(self, par: sh.Floats, num: sh.Ints, dt: float) -> None:
        low, names = self.low, self.names
        par[sh.PAR_COW_C] = self.number("milk.at_cow_c")
        par[sh.PAR_LINE_C] = self.number("milk.at_receiver_c")
        calf = self.plant.equipment.get(low.calf)
        par[sh.PAR_CALF_KG] = float(getattr(calf, "draw_l_milking", 0.0))
        par[sh.PAR_CALF_KG] *= self.programme.milk_kg_l
        par[sh.PAR_CALF_AFTER] = 60 * self.number("calf.draw_after_min")
        par[sh.PAR_CLOTHS] = self.plant.work.cloths_a_cow
        par[sh.PAR_CLOTH_KG] = self.number("cloth.dry_kg")
        held_c = self.plant.site.room_heated_to_c
        par[sh.PAR_ROOM_C] = -1e3 if held_c is None else held_c
        par[sh.PAR_LEVEL] = self.number("vessel.level_share")
        par[sh.PAR_DRY_WALL] = self.number("tank.dry_wall_share")
        way = wash_circuit(self.plant, self.rules)
        par[sh.PAR_STEEL_KJ_K], par[sh.PAR_CIRCULATE_UA] = way.steel_kj_k, way.ua_kw_k
        par[sh.PAR_WASH_AIR], par[sh.PAR_WASH_KPA] = way.air_l_min_free, way.kpa_abs
        par[sh.PAR_WASH_WET] = way.wet_share
        par[sh.PAR_TANK_WASH_SHARE] = self.number("wash.hot_water_tank_share")
        par[sh.PAR_HEATER_BLEND] = 1.0 - self.number("heater.usable_share")
        par[sh.PAR_TANK_WASH_S] = 60 * self.number("wash.tank_min")
        num[sh.N_TANKER] = names.vessels.index(low.tanker) if low.tanker else -1
        num[sh.N_SOLD] = names.vessels.index(SOLD)
        num[sh.N_CALF_VESSEL] = names.vessels.index(low.calf) if low.calf else -1
        num[sh.N_DIRECT] = int(loads_direct(self.plant))
        num[sh.N_SAMPLE] = max(1, round(self.sample_s / dt))
        num[sh.N_MINUTE] = round(MINUTE_S / dt)
        num[sh.N_SLOTS] = 2 * max(1, len(self.plant.milkings))
        alts = len(self.lowering.fills)
        num[sh.N_ALTS] = alts
        places = max(1, len(low.places))
        num[sh.N_CALF_ALT] = places if low.calf and alts > places else -1

    def _stalls(self, count: int) -> tuple[sh.Floats, sh.Ints]:
        """Stalls with the transfers that take their milk: each set of units has its own."""
        sets = self.lowering.all(Units)
        units = sum(one.count for _, one in sets)
        floats, whole = _blank(count)
        whole = np.full((count, len(sh.STALL_I)), -1, np.int64)
        begin = 0.0
        for tag, one in sets:
            end = begin + count * one.count / units
            mine = [self.names.transfers.index(f"{tag}.{p}") for p in (one.milk, one.withheld)]
            whole[round(begin) : round(end)] = mine
            begin = end
        return floats, whole

    def _troughs(self) -> tuple[sh.Floats, sh.Ints]:
        names = self.names
        rows = [(names.vessels.index(t.vessel), names.transfers.index(t.drain))
                for t in self.low.troughs]  # fmt: skip
        return sh.zeros(len(rows), 1), np.array(rows, np.int64).reshape(-1, 2)

    def _sequence(self, num: sh.Ints) -> tuple[tuple[sh.Floats, sh.Ints], sh.Ints]:
        """Phases after a milking: push out, change over, each step of the wash, drain down."""
        low = self.low
        change = 60 * self.number("wash.changeover_min")
        rows: list[Phase] = [(2 * PUSH_S, -1.0, 0.0, sh.FLUSH, 0.0)]
        num[sh.N_PHASES_DRY] = 1
        if low.troughs:
            rows.append((max(0.0, change - 2 * PUSH_S), -1.0, 0.0, sh.WAIT, 0.0))
            for step in self.programme.wash.steps:
                rows += self._wash_step(step)
            if self.lowering.modes[DRAINING] is not None:
                rows.append((DRAIN_S, -1.0, 0.0, sh.EMPTY, 1.0))
        washes = [int(m.washed_after) for m in self.programme.milkings] or [0]
        phases = np.array(rows, np.float64)
        empty = np.full((len(rows), 1), -1, np.int64)
        return (phases, empty), np.array(washes, np.int64).reshape(-1, 1)

    def _wash_step(self, step: WashStep) -> list[Phase]:
        """Fill, run and drain: in one charge, or a rinse in as many fills as the vessels ask."""
        low, names = self.low, self.names
        # Hot and cold are set together so that the step is warm enough in the coldest month.
        cold_c = min(self.plant.site.water_temperature_c)
        want = cold_c if step.at_c is None else step.at_c
        room, fills, kg = sum(low.vessels[t.vessel].litres for t in low.troughs), 1, step.litres
        room *= 0.95
        if kg > room and step.circulates:
            tags = " and ".join(t.vessel for t in low.troughs)
            low.notes.append(
                f"{tags}: room for {room / 0.95:g} L, less than the {kg:g} L that the step "
                f'"{step.name}" asks for; the day washes with what it holds.'
            )
            kg = room
        elif kg > room:
            fills = math.ceil(kg / room)
        heaters = dict(low.heated)
        rows: list[Phase] = []
        for trough in low.troughs:
            sources = {name.split(" from ")[1].split(" to ")[0]: (name, part)
                       for name, part in trough.hot}  # fmt: skip
            hot_c = sum(part * heaters[tag].set_c for tag, (_, part) in sources.items())
            share = min(1.0, max(0.0, (want - cold_c) / max(hot_c - cold_c, 1.0)))
            cold = trough.cold if step.kind is WashKind.WARM_RINSE else trough.clean
            share = (share if cold else 1.0) if sources else 0.0
            doses = [(name, share * part) for name, part in sources.values()]
            for name, part in (*doses, (cold, 1.0 - share)):
                if part > 0:
                    at = float(names.transfers.index(name))
                    rows.append((0.0, at, kg / fills * trough.share * part, sh.DOSE_IN, 0.0))
        which = sh.ROUND if step.circulates else sh.ONCE
        which = sh.MAIN if step.kind is WashKind.ALKALINE else which
        rows.append((60 * step.minutes / fills, -1.0, step.strength, sh.CIRCULATE, which))
        rows.append((DRAIN_S, -1.0, 0.0, sh.EMPTY, 0.0))
        return rows * fills

    def _fill(self) -> tuple[sh.Floats, sh.Ints]:
        low, names = self.low, self.names
        fill = np.full((len(low.places), len(sh.PLACE_I)), -1, np.int64)
        for i, place in enumerate(low.places):
            name = low.loading.get(place, "")
            at = names.transfers.index(name) if name in names.transfers else -1
            fill[i] = (names.vessels.index(place), i, at)
        return sh.zeros(len(fill), 1), fill

    def _start(self, T: sh.Tables, pumps: sh.Floats, cows: int) -> sh.State:
        low, names = self.low, self.names
        slots = int(T.num[sh.N_SLOTS])
        g, n = sh.zeros(len(sh.GENERAL)), sh.whole(len(sh.INTEGERS))
        g[sh.G_DRIVE] = g[sh.G_GATE] = 1.0
        g[sh.G_OPERATORS] = self.plant.milkings[0].operators if self.plant.milkings else 1
        g[sh.G_AIR] = T.par[sh.PAR_AIR_VOLUME] * T.par[sh.PAR_AIR_HIGH]
        g[sh.G_AIR_LEAST] = T.par[sh.PAR_AIR_HIGH]
        g[sh.G_VAC_LEAST] = 1e3
        n[sh.I_MILKING] = -1
        n[sh.I_MODE] = MODES.index(IDLE)
        n[sh.I_TARGET] = T.num[sh.N_PLACE0]
        S = sh.zeros(len(T.F), sh.WIDE)
        v = S[T.rows("vessels")]
        v[:, sh.P_LEAST] = 1e12
        v[:, [sh.P_OVER_AT, sh.V_LEVEL, sh.V_WASH_UNTIL]] = -1.0
        for i, tag in enumerate(names.vessels):
            row = low.vessels[tag]
            v[i, sh.V_T0] = row.t0
            if row.start_kg > 0:
                v[i, row.substance] = row.start_kg
                cp = T.par[sh.PAR_CP + row.substance]
                v[i, sh.HEAT] = row.start_kg * cp * (row.start_c or 12.0)
            if row.role == sh.COLD_STORE:
                v[i, sh.HEAT] = -row.ice_kj
        S[T.rows("transfers"), sh.S_HEALTH] = 1.0
        S[T.rows("transfers"), sh.S_CMD] = [row.cmd for row in low.transfers]
        for section, column in (
            ("branches", sh.SJ_OPEN), ("exchangers", sh.SX_HEALTH), ("filters", sh.SF_HEALTH),
            ("chillers", sh.SR_HEALTH), ("chillers", sh.SR_GIVES), ("heated", sh.SH_HEALTH),
            ("laundry", sh.SL_HEALTH), ("pumps", sh.SP_HEALTH),
            ("compressors", sh.SA_HEALTH),
        ):  # fmt: skip
            S[T.rows(section), column] = 1.0
        S[T.rows("pumps"), sh.SP_ON] = pumps
        most = max(cows, 1)
        return sh.State(
            S, g, n, sh.zeros(most, len(sh.COW)), sh.zeros(slots, most, len(sh.OUT)),
            sh.zeros(slots, len(sh.MILKED)), sh.zeros(64, len(sh.LOADED)),
            sh.zeros(len(low.lines), sh.PLUGS + RING_MORE, len(sh.PLUG)),
        )  # fmt: skip
