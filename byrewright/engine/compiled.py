"""The compiled plant: rows become arrays, with the names that go with them, and a cache on disk."""

from __future__ import annotations

import hashlib
import json
import math
import os
from collections.abc import Callable
from dataclasses import asdict, dataclass, field
from io import BytesIO
from pathlib import Path
from typing import Any

import numpy as np

from byrewright import __version__
from byrewright.engine import shape as sh
from byrewright.engine.jit import SOURCES, cache_folder, code_hash
from byrewright.engine.lowering import (
    COWS,
    DRAIN,
    LOST,
    SOLD,
    DoesNotCompile,
    Lowered,
    Lowering,
    MoverRow,
)  # fmt: skip
from byrewright.engine.operating_map import OperatingMap, Pump, capacity_balance
from byrewright.plant.farm import minutes
from byrewright.plant.plant import FORMAT, Plant
from byrewright.plant.primitives import (
    Doses,
    DrawsAir,
    EachCow,
    Gate,
    HoldsVacuum,
    Load,
    MakesAir,
    MakesVacuum,
    Stalls,
    StoresAir,
    TakesOff,
    Tanker,
    Turns,
    Units,
)  # fmt: skip
from byrewright.standards.rulebook import Rulebook, default_rulebook

STEPS_S = (1.0, 0.5, 0.2, 0.1)
"""Steps tried, in order, until every vessel holds what passes it in one."""
MINUTE_S = 60.0


@dataclass(slots=True)
class Names:
    """What stands behind each row of the arrays."""

    vessels: list[str] = field(default_factory=list)
    movers: list[str] = field(default_factory=list)
    mover_machines: list[str] = field(default_factory=list)
    joints: list[str] = field(default_factory=list)
    exchangers: list[str] = field(default_factory=list)
    filters: list[str] = field(default_factory=list)
    chillers: list[str] = field(default_factory=list)
    cooled: list[str] = field(default_factory=list)
    heated: list[str] = field(default_factory=list)
    lots: list[str] = field(default_factory=list)
    pumps: list[str] = field(default_factory=list)
    compressors: list[str] = field(default_factory=list)
    meters: list[str] = field(default_factory=list)
    places: list[str] = field(default_factory=list)
    units: str = ""
    deck: str = ""
    drive: str = ""
    gate: str = ""
    tanker: str = ""
    trough: str = ""
    calf: str = ""
    air: str = ""


@dataclass(slots=True)
class Compiled:
    """A plant ready to be stepped: arrays, names, the state at the start, and what is noted."""

    tables: sh.Tables
    start: sh.State
    names: Names
    step_s: float
    milkings: int
    cows: int
    origin_s: float
    removal: tuple[float, float, float]
    pace_s: float
    litres: dict[str, float]
    kg_l: dict[str, float]
    notes: list[str]
    vacuum_known: str
    withheld_apart: bool
    variants: list[dict[str, str]]
    key: str = ""

    def vessel(self, tag: str) -> int:
        """The row of a vessel."""
        return self.names.vessels.index(tag)


def plant_key(plant: Plant, rules: Rulebook, step_s: float | None, samples: float,
              network: bool = False) -> str:  # fmt: skip
    """A hash of the plant, the rules, the format and the code."""
    digest = hashlib.sha256()
    digest.update(
        f"{FORMAT} {__version__} {code_hash(SOURCES)} {step_s} {samples} {network} {hash(rules)}".encode()
    )
    data = plant.model_dump(mode="json", by_alias=True)
    data["equipment"] = {
        tag: {"kind": m.kind, "class": repr(m.lower()), **m.model_dump(mode="json")}
        for tag, m in plant.equipment.items()
    }
    digest.update(json.dumps(data, sort_keys=True).encode())
    return digest.hexdigest()[:32]


def compile_plant(
    plant: Plant,
    rules: Rulebook | None = None,
    *,
    step_s: float | None = None,
    sample_s: float = 60.0,
    vacuum: Callable[[], OperatingMap | None] | None = None,
    cache: bool = True,
) -> Compiled:
    """Compile a plant, or read it from the cache of this version.

    Args:
        step_s: the step; the longest of 1, 0.5, 0.2 and 0.1 s that fits when None.
        sample_s: time between readings of the series.
        vacuum: gives the operating map by the network solver, or None where it has none; asked
            only when the plant is not in the cache. A capacity balance is used without it.

    Raises:
        DoesNotCompile: a plant the engine refuses; the sentence names the part.
    """
    rules = rules or default_rulebook()
    key = plant_key(plant, rules, step_s, sample_s, vacuum is not None)
    path = cache_folder("plants") / f"{key}.npz" if cache else None
    if path is not None and path.exists():
        found = _load(path)
        if found is not None:
            return found
    compiled = _Maker(plant, rules, sample_s, vacuum() if vacuum else None).make(step_s)
    compiled.key = key
    if path is not None:
        _store(path, compiled)
    return compiled


def with_wrong(plant: Plant, compiled: Compiled, wrong: list[dict[str, str]],
               rules: Rulebook | None = None, sample_s: float = 60.0) -> Compiled:  # fmt: skip
    """The same plant with more variants of valve positions (variant 0 has none wrong).

    A row with field `ROW_ROUTE` and value i puts variant i in force.
    """
    maker = _Maker(plant, rules or default_rulebook(), sample_s, None)
    maker.wrong = wrong
    fresh = maker.make(compiled.step_s)
    fresh.variants = [{}, *wrong]
    return fresh


POINTS = (
    ("movers", sh.MI_SRC, "vessels"), ("movers", sh.MI_LED, "vessels"),
    ("movers", sh.MI_J0, "joints"), ("movers", sh.MI_J1, "joints"),
    ("movers", sh.MI_KWH, "meters"), ("movers", sh.MI_X, "exchangers"),
    ("joints", sh.J_MOVER, "movers"), ("joints", sh.J_DST, "vessels"),
    ("joints", sh.J_X1, "exchangers"), ("joints", sh.J_X2, "exchangers"),
    ("joints", sh.J_FILTER, "filters"), ("exchangers", sh.XI_COLD, "movers"),
    ("exchangers", sh.XI_BATH, "vessels"), ("chillers", sh.RI_TARGET, "vessels"),
    ("chillers", sh.RI_KWH, "meters"), ("cooled", sh.KI_VESSEL, "vessels"),
    ("cooled", sh.KI_BATH, "vessels"), ("cooled", sh.KI_KWH, "meters"),
    ("heated", sh.HI_VESSEL, "vessels"), ("heated", sh.HI_KWH, "meters"),
    ("lots", sh.LI_DOSE, "movers"), ("lots", sh.LI_KWH, "meters"), ("pumps", 0, "meters"),
    ("compressors", 0, "meters"), ("loads", 0, "meters"), ("places", 0, "vessels"),
    ("places", 2, "movers"),
)  # fmt: skip
"""Whole-number columns that point at another item: (section, column, section pointed at)."""
SCALAR_POINTS = (
    (sh.N_TROUGH, "vessels"), (sh.N_TANKER, "vessels"), (sh.N_SOLD, "vessels"),
    (sh.N_CALF_VESSEL, "vessels"), (sh.N_COW_DOSE, "movers"), (sh.N_TANK_DOSE, "movers"),
    (sh.N_DRIVE_KWH, "meters"), (sh.N_GATE_KWH, "meters"),
)  # fmt: skip


def _blank(rows: int) -> tuple[sh.Floats, sh.Ints]:
    return sh.zeros(rows, 1), np.full((rows, 1), -1, np.int64)


class _Maker:
    """Builds the arrays of one plant."""

    def __init__(self, plant: Plant, rules: Rulebook, sample_s: float,
                 vacuum: OperatingMap | None) -> None:  # fmt: skip
        self.plant = plant
        self.rules = rules
        self.sample_s = sample_s
        self.vacuum = vacuum
        self.wrong: list[dict[str, str]] = []
        self.lowering = Lowering(plant, rules)
        self.names = Names()
        self.low: Lowered

    def number(self, key: str) -> float:
        return self.rules.number(key)

    def make(self, step_s: float | None) -> Compiled:
        self.low = self.lowering.run()
        for wrong in self.wrong:
            self.lowering.add_states(wrong)
        tried = (step_s,) if step_s else STEPS_S
        small = ""
        for dt in tried:
            small = self._too_small(dt)
            if not small:
                return self._build(dt)
        raise DoesNotCompile(small)

    def _too_small(self, dt: float) -> str:
        out: dict[str, float] = {}
        for m in self.low.movers:
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

    def meter(self, tag: str) -> int:
        if tag not in self.names.meters:
            self.names.meters.append(tag)
        return self.names.meters.index(tag)

    def _build(self, dt: float) -> Compiled:
        low, names = self.low, self.names
        names.vessels = sorted(low.vessels)
        low.movers.sort(key=lambda m: m.id)
        names.movers = [m.id for m in low.movers]
        names.mover_machines = [m.machine for m in low.movers]
        names.exchangers = [x.id for x in low.exchangers]
        names.filters = [tag for tag, _ in low.filters]
        names.places, names.tanker, names.trough = low.places, low.tanker, low.trough
        names.calf = low.calf
        par, num = sh.zeros(sh.PARS), np.full(sh.NUMBERS, -1, np.int64)
        par[sh.PAR_DT] = dt
        par[sh.PAR_CP :] = [self.number("milk.cp_kj_kgk")] * 2 + [
            self.number("water.cp_kj_kgk")
        ] * 2
        parts: dict[str, tuple[sh.Floats, sh.Ints]] = {"vessels": self._vessel_arrays()}
        m_f, m_i, j_i, share = self._mover_arrays()
        parts["movers"] = (m_f, m_i)
        parts["joints"] = (sh.zeros(len(j_i), 1), j_i)
        parts["exchangers"] = self._exchanger_arrays()
        parts["filters"] = self._filter_arrays()
        parts["chillers"] = self._chill_arrays()
        parts["cooled"] = self._cooled_arrays()
        parts["heated"] = self._heater_arrays()
        parts["lots"] = self._lot_arrays()
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
        parts["stalls"] = _blank(int(num[sh.N_STALLS]))
        parts["meters"] = _blank(max(1, len(names.meters)))
        F, I = self._stack(parts, num)  # noqa: E741
        tables = sh.Tables(F, I, par, num, share, vac)
        cows = max((self._cows_of(i) for i in range(len(self.plant.milkings))), default=0)
        first = min((minutes(m.start) for m in self.plant.milkings), default=0)
        start = self._start(tables, start_pumps, cows)
        return Compiled(
            tables, start, names, dt, len(self.plant.milkings), cows,
            ((first // 60 - 1) % 24) * 3600.0, removal, pace,
            {t: r.litres for t, r in sorted(low.vessels.items())},
            {t: r.kg_l for t, r in sorted(low.vessels.items())},
            list(dict.fromkeys(low.notes)), known, low.withheld_apart, [{}, *self.wrong],
        )  # fmt: skip

    def _stack(self, parts: dict[str, tuple[sh.Floats, sh.Ints]], num: sh.Ints,
               ) -> tuple[sh.Floats, sh.Ints]:  # fmt: skip
        """All items in one pair of arrays; what points at an item becomes its row."""
        first: dict[str, int] = {}
        row = 0
        for i, name in enumerate(sh.SECTIONS):
            first[name] = row
            row += len(parts[name][0])
            num[2 * i], num[2 * i + 1] = first[name], row
        F = sh.zeros(row, sh.COLUMNS)
        I = np.full((row, sh.COLUMNS), -1, np.int64)  # noqa: E741
        for name, (floats, wholes) in parts.items():
            at = slice(first[name], first[name] + len(floats))
            for section, column, target in POINTS:
                if section == name:
                    points = wholes[:, column]
                    wholes[:, column] = np.where(points >= 0, points + first[target], -1)
            F[at, : floats.shape[1]] = floats
            I[at, : wholes.shape[1]] = wholes
        phases = F[first["phases"] : num[sh.N_Q1], sh.Q_MOVER]
        phases += np.where(phases >= 0, first["movers"], 0)
        for at, target in SCALAR_POINTS:
            if num[at] >= 0:
                num[at] += first[target]
        return F, I

    def _cows_of(self, milking: int) -> int:
        wanted = self.plant.milkings[milking].groups
        groups = self.plant.herd.all_groups()
        return sum(g.cows for g in groups if not wanted or g.name in wanted)

    def _vessel_arrays(self) -> tuple[sh.Floats, sh.Ints]:
        low, names = self.low, self.names
        v_f = sh.zeros(len(names.vessels), 4)
        v_i = np.full((len(names.vessels), 5), -1, np.int64)
        for i, tag in enumerate(names.vessels):
            row = low.vessels[tag]
            v_f[i] = (row.cap_kg, row.ua, row.ice_kj, row.c)
            v_i[i, sh.VI_ROLE] = row.role
            v_i[i, sh.VI_SUBSTANCE] = row.substance
            v_i[i, sh.VI_SPILL] = names.vessels.index(row.spill or LOST)
            if row.empties:
                v_i[i, sh.VI_EMPTY] = names.vessels.index(row.empties)
            if row.fill:
                v_i[i, sh.VI_FILL] = 1
        return v_f, v_i

    def _mover_arrays(self) -> tuple[sh.Floats, sh.Ints, sh.Ints, sh.Floats]:
        low, names = self.low, self.names
        rows: list[tuple[int, ...]] = []
        shares: list[dict[int, float]] = []
        m_f = sh.zeros(len(low.movers), 8)
        m_i = np.full((len(low.movers), 8), -1, np.int64)
        for i, m in enumerate(low.movers):
            m_f[i] = (m.most_kg_s, m.full, m.start, m.stop, m.floor, m.kw, m.tau, m.steps)
            m_i[i, sh.MI_SRC] = names.vessels.index(m.src)
            m_i[i, sh.MI_LAW] = m.law
            m_i[i, sh.MI_LED] = names.vessels.index(m.led or m.src)
            m_i[i, sh.MI_J0] = len(rows)
            m_i[i, sh.MI_KWH] = self.meter(m.machine) if m.kw > 0 else -1
            m_i[i, sh.MI_BANK] = m.bank
            if m.exchanger:
                m_i[i, sh.MI_X] = names.exchangers.index(m.exchanger)
            for key in sorted(m.branches):
                b = m.branches[key]
                chain = [names.exchangers.index(x) for x in b.exchangers] + [-1, -1]
                strain = names.filters.index(b.filter) if b.filter else -1
                rows.append((i, names.vessels.index(b.dst), chain[0], chain[1], strain))
                shares.append(b.ways)
                names.joints.append(" > ".join([m.id, *[p for p in b.passes if p in
                                    self.plant.equipment and p not in m.id], b.dst]))  # fmt: skip
            m_i[i, sh.MI_J1] = len(rows)
        share = sh.zeros(max(low.states, 1), len(rows))
        for j, ways in enumerate(shares):
            for state, value in ways.items():
                share[state, j] = value
        return m_f, m_i, np.array(rows, np.int64).reshape(-1, 5), share

    def _exchanger_arrays(self) -> tuple[sh.Floats, sh.Ints]:
        # Stages come in the order in which milk passes them: by machine, water before coolant.
        low, names = self.low, self.names
        x_f, x_i = sh.zeros(len(low.exchangers), 2), np.full((len(low.exchangers), 2), -1, np.int64)
        for i, x in enumerate(low.exchangers):
            x_f[i] = (x.ua, x.ratio)
            if x.cold in names.movers:
                x_i[i, sh.XI_COLD] = names.movers.index(x.cold)
            if x.bath:
                x_i[i, sh.XI_BATH] = names.vessels.index(x.bath)
        return x_f, x_i

    def _filter_arrays(self) -> tuple[sh.Floats, sh.Ints]:
        herd = self.plant.herd
        each = herd.yield_l_day / max(len(self.plant.milkings), 1) * 1.03
        f_f = sh.zeros(len(self.low.filters), 3)
        f_i = sh.whole(len(self.low.filters), 1)
        for i, (_, one) in enumerate(self.low.filters):
            f_f[i] = (one.cows_a_sock * each, self.number("filter.flow_loss_full"),
                      self.number("filter.change_s"))  # fmt: skip
            f_i[i, 0] = int(one.while_running)
        return f_f, f_i

    def _chill_arrays(self) -> tuple[sh.Floats, sh.Ints]:
        low, names = self.low, self.names
        sets = {tag: one.set_c for tag, one, _ in low.cooled}
        r_f = sh.zeros(len(low.chillers), 9)
        r_i = np.full((len(low.chillers), 2), -1, np.int64)
        for i, (tag, one, target) in enumerate(low.chillers):
            hours = [60.0 * minutes(h) for h in one.hours] if one.hours else [0.0, 0.0]
            least = 0.05 * low.vessels[target].cap_kg if target in sets else 0.0
            r_f[i] = (one.duty_kw, one.cop, one.rated_ambient_c, sets.get(target, 0.0), 0.5,
                      hours[0], hours[1], least, self.number("cooling.cop_fall_per_k"))  # fmt: skip
            if target:
                r_i[i, sh.RI_TARGET] = names.vessels.index(target)
            r_i[i, sh.RI_KWH] = self.meter(tag)
            names.chillers.append(tag)
        return r_f, r_i

    def _cooled_arrays(self) -> tuple[sh.Floats, sh.Ints]:
        low, names = self.low, self.names
        k_f, k_i = sh.zeros(len(low.cooled), 5), np.full((len(low.cooled), 3), -1, np.int64)
        for i, (tag, one, bath) in enumerate(low.cooled):
            k_f[i] = (one.cooling_kw / 10.0, one.cooling_kw, one.set_c, one.agitator_kw,
                      0.05 * low.vessels[tag].cap_kg)  # fmt: skip
            k_i[i, sh.KI_VESSEL] = names.vessels.index(tag)
            k_i[i, sh.KI_KWH] = self.meter(tag)
            if bath:
                k_i[i, sh.KI_BATH] = names.vessels.index(bath)
            names.cooled.append(tag)
        return k_f, k_i

    def _heater_arrays(self) -> tuple[sh.Floats, sh.Ints]:
        low, names = self.low, self.names
        h_f, h_i = sh.zeros(len(low.heated), 3), np.full((len(low.heated), 2), -1, np.int64)
        for i, (tag, one) in enumerate(low.heated):
            h_f[i] = (one.kw, one.set_c, one.efficiency)
            h_i[i] = (names.vessels.index(tag), self.meter(tag) if one.electric else -1)
            names.heated.append(tag)
        return h_f, h_i

    def _lot_arrays(self) -> tuple[sh.Floats, sh.Ints]:
        low, names = self.low, self.names
        l_f, l_i = sh.zeros(len(low.lots), 4), np.full((len(low.lots), 4), -1, np.int64)
        for i, (tag, one, dose) in enumerate(low.lots):
            l_f[i] = (
                one.load_kg * self.number("cloth.load_fill"),
                one.cycle_min * 60,
                one.kw,
                one.water_l,
            )
            at = names.movers.index(dose) if dose in names.movers else -1
            l_i[i] = (one.stage, one.count, at, self.meter(tag))
            names.lots.append(tag)
        return l_f, l_i

    def _cow_scalars(
        self, par: sh.Floats, num: sh.Ints
    ) -> tuple[float, tuple[float, float, float]]:
        found = self.lowering.first(Stalls)
        assert found is not None
        self.names.deck, one = found
        units = self.lowering.first(Units)
        assert units is not None
        self.names.units = units[0]
        pace = one.turn_s / one.stalls if one.layout == "rotary" else one.turn_s
        num[sh.N_LAYOUT] = 0 if one.layout == "rotary" else 1
        num[sh.N_STALLS] = one.stalls
        num[sh.N_ROWS] = one.rows
        num[sh.N_UNITS] = units[1].count
        par[sh.PAR_STALL_S] = pace
        par[sh.PAR_ATTACH_AT] = 0.5 * one.closed_stalls
        par[sh.PAR_EXIT_AT] = one.stalls - 0.5 * one.closed_stalls
        par[sh.PAR_WINDOW] = 2.0 * pace if one.layout == "rotary" else 1e9
        par[sh.PAR_TURN_S] = one.turn_s
        par[sh.PAR_BOARD_S] = self.number("milking.boarding_least_s")
        par[sh.PAR_FALL] = self.number("milking.fall_share")
        gate = self.lowering.first(Gate)
        yard = gate[1].yard_cows if gate is not None else None
        largest = sorted((g.cows for g in self.plant.herd.all_groups()), reverse=True)[:2]
        holds_two = yard is not None and yard >= 0.5 * sum(largest)
        par[sh.PAR_GAP_S] = 0.0 if holds_two else self.number("milking.group_gap_s")
        if gate is not None:
            self.names.gate = gate[0]
            par[sh.PAR_GATE_KW] = gate[1].motor_kw
            num[sh.N_GATE_KWH] = self.meter(gate[0])
        drive = self.lowering.first(Turns)
        if drive is not None:
            self.names.drive = drive[0]
            share = self.number("drive.load_share")
            par[sh.PAR_DRIVE_KW] = sum(
                t.motor_kw * t.count * share for _, t in self.lowering.all(Turns)
            )
            num[sh.N_DRIVE_KWH] = self.meter(drive[0])
        off = self.lowering.first(TakesOff)
        if off is None:
            removal = (self.number("milking.removal_threshold_kg_min"),
                       self.number("milking.hand_removal_s"), math.inf)  # fmt: skip
        else:
            limit = off[1].limit_s
            removal = (off[1].threshold_kg_min, off[1].delay_s, limit if limit else math.inf)
        return pace, removal

    def _vacuum_arrays(
        self, par: sh.Floats
    ) -> tuple[sh.Floats, tuple[sh.Floats, sh.Ints], sh.Floats, str]:
        from byrewright.physics.air import ambient_pressure_kpa_abs

        pumps = self.lowering.all(MakesVacuum)
        if len(pumps) > 8:
            raise DoesNotCompile("More than eight vacuum pumps: join alike ones with `count`.")
        units = self.lowering.first(Units)
        assert units is not None
        pulse = sum(one.each_l_min_free for _, one in self.lowering.all(DrawsAir)[:1])
        each = units[1].air_l_min_free + pulse
        holds = self.lowering.first(HoldsVacuum)
        set_kpa = holds[1].set_kpa if holds is not None else self.number("vacuum.nominal_kpa")
        leak = self.number("vacuum.system_leak_share") * max(
            (p.capacity_l_min_free for _, p in pumps), default=0.0
        )
        leak += self.number("vacuum.milk_leak_base_l_min")
        leak += self.number("vacuum.milk_leak_per_unit_l_min") * units[1].count
        found = self.vacuum or capacity_balance(
            tuple(Pump(p.capacity_l_min_free, p.at_vacuum_kpa, p.motor_kw, p.variable, p.least_share)
                  for _, p in pumps),
            set_kpa, units[1].count, each, leak, ambient_pressure_kpa_abs(self.plant.site.altitude_m),
        )  # fmt: skip
        par[sh.PAR_VAC_SET] = found.set_kpa
        par[sh.PAR_FALL_UNITS] = units[1].fall_air_l_min_free / max(each, 1.0)
        seen = "vacuum.shutoff_delay_s" if units[1].shut_off else "milking.fall_seen_s"
        par[sh.PAR_FALL_S] = self.number(seen)
        par[sh.PAR_VAC_LEAST] = self.number("vacuum.cups_fall_kpa")
        par[sh.PAR_STANDBY_S] = self.number("vacuum.standby_delay_s")
        p_i = sh.whole(len(pumps), 1)
        at = sh.zeros(len(pumps))
        mode = self.lowering.modes["milking"]
        for i, (tag, _) in enumerate(pumps):
            p_i[i, 0] = self.meter(tag)
            state = self.plant.position(mode, tag) if mode else "runs"
            at[i] = {"runs": 1.0, "ready": 0.0}.get(state or "runs", -1.0)
            self.names.pumps.append(tag)
        if len(pumps) and not (at > 0).any():
            at[0] = 1.0
        return found.table, (sh.zeros(len(pumps), 1), p_i), at, found.known

    def _air_arrays(self, par: sh.Floats) -> tuple[sh.Floats, sh.Ints]:
        makers = self.lowering.all(MakesAir)
        stores = self.lowering.all(StoresAir)
        a_f, a_i = sh.zeros(len(makers), 2), sh.whole(len(makers), 2)
        for i, (tag, one) in enumerate(makers):
            a_f[i] = (one.capacity_l_min_free / 60, one.motor_kw)
            a_i[i] = (self.meter(tag), i)
            self.names.compressors.append(tag)
        if stores:
            # Litres of free air for each bar above ambient: the vessel's volume.
            par[sh.PAR_AIR_VOLUME] = sum(s.volume_l for _, s in stores) * 100 / 101.325
            par[sh.PAR_AIR_HIGH] = stores[0][1].highest_bar
            par[sh.PAR_AIR_LOW] = stores[0][1].lowest_bar
            self.names.air = stores[0][0]
            full = sum(m.capacity_l_min_free for _, m in makers)
            par[sh.PAR_AIR_LEAK] = self.number("air.leak_target_share") * full / 60
        par[sh.PAR_AIR_COW] = self.number("air.per_cow_l_free")
        return a_f, a_i

    def _loads(self) -> tuple[sh.Floats, sh.Ints]:
        loads = self.lowering.all(Load)
        load, load_i = sh.zeros(len(loads), 1), sh.whole(len(loads), 2)
        for i, (tag, one) in enumerate(loads):
            load[i] = one.kw
            load_i[i] = (self.meter(tag), 0 if one.when == "always" else 1)
        return load, load_i

    def _liquid_scalars(self, par: sh.Floats, num: sh.Ints, dt: float) -> None:
        low, names = self.low, self.names
        par[sh.PAR_COW_C] = self.number("milk.at_cow_c")
        par[sh.PAR_LINE_C] = self.number("milk.at_receiver_c")
        calf = self.plant.equipment.get(low.calf)
        par[sh.PAR_CALF_KG] = float(getattr(calf, "draw_l_milking", 0.0)) * 1.03
        par[sh.PAR_CALF_AFTER] = 60 * self.number("calf.draw_after_min")
        par[sh.PAR_CLOTHS] = self.plant.work.cloths_a_cow
        par[sh.PAR_CLOTH_KG] = self.number("cloth.dry_kg")
        par[sh.PAR_WATER_COW] = sum(c.water_l for _, c in self.lowering.all(EachCow))
        par[sh.PAR_CIRCULATE_UA] = self.number("wash.loss_w_k_unit") * num[sh.N_UNITS] / 1000
        par[sh.PAR_TANK_WASH_SHARE] = self.number("wash.hot_water_tank_share")
        par[sh.PAR_TANK_WASH_S] = 60 * self.number("wash.tank_min")
        doses = self.lowering.first(Doses)
        par[sh.PAR_DOSE] = (doses[1].ml_l if doses else 0.0) / 1000
        num[sh.N_TROUGH] = names.vessels.index(low.trough) if low.trough else -1
        num[sh.N_TANKER] = names.vessels.index(low.tanker) if low.tanker else -1
        num[sh.N_SOLD] = names.vessels.index(SOLD)
        num[sh.N_CALF_VESSEL] = names.vessels.index(low.calf) if low.calf else -1
        num[sh.N_COW_DOSE] = names.movers.index(low.cow_dose) if low.cow_dose else -1
        num[sh.N_TANK_DOSE] = names.movers.index(low.tank_dose) if low.tank_dose else -1
        tanker = self.lowering.first(Tanker)
        # Direct loading is the main way only where the tanks do not hold a day's milk.
        stored = sum(r.litres for r in low.vessels.values() if r.fill)
        day_l = self.plant.herd.yield_l_day * self.plant.herd.cows
        num[sh.N_DIRECT] = int(bool(tanker and tanker[1].direct and stored < day_l))
        num[sh.N_SAMPLE] = max(1, round(self.sample_s / dt))
        num[sh.N_MINUTE] = round(MINUTE_S / dt)
        num[sh.N_SLOTS] = 2 * max(1, len(self.plant.milkings))
        alts = len(self.lowering.alternatives())
        num[sh.N_ALTS] = alts
        places = max(1, len(low.places))
        num[sh.N_CALF_ALT] = places if low.calf and alts > places else -1

    def _sequence(self, num: sh.Ints) -> tuple[tuple[sh.Floats, sh.Ints], sh.Ints]:
        """Phases after a milking: push out, change over, then each step of the wash."""
        low, names, cleaning = self.low, self.names, self.plant.cleaning
        change = 60 * self.number("wash.changeover_min")
        rows = [(300.0, -1.0, 0.0, sh.FLUSH)]
        num[sh.N_PHASES_DRY] = 1
        if low.trough and low.cold_supply in names.movers:
            rows.append((max(0.0, change - 300.0), -1.0, 0.0, sh.WAIT))
            row = low.vessels[low.trough]
            want = cleaning.water_l_unit * float(num[sh.N_UNITS])
            kg = min(want, 0.95 * row.litres)
            if kg < want:
                low.notes.append(
                    f"{low.trough}: it holds {row.litres:g} L, less than the {want:g} L a wash "
                    "step asks for; the day washes with what it holds."
                )
            for step in cleaning.steps:
                rows += self._wash_step(step.lower(), kg)
        every = max(1, len(self.plant.milkings))
        done = min(cleaning.washes_a_day, every)
        washes = [int((i + 1) * done // every > i * done // every) for i in range(every)]
        phases = np.array(rows, np.float64)
        empty = np.full((len(rows), 1), -1, np.int64)
        return (phases, empty), np.array(washes, np.int64).reshape(-1, 1)

    def _wash_step(self, step: str, kg: float) -> list[tuple[float, float, float, int]]:
        low, names, cleaning = self.low, self.names, self.plant.cleaning
        heater = self.plant.equipment.get(low.heated[0][0]) if low.heated else None
        hot_c = float(getattr(heater, "set_c", cleaning.hot_c))
        cold_c = self.number("wash.cold_supply_c")
        main = "hot" in step or "alkal" in step or "main" in step or "acid" in step
        want = cleaning.hot_c if main else (cold_c if "last" in step else cleaning.rinse_c)
        if "acid" in step:
            want = cleaning.rinse_c
        share = min(1.0, max(0.0, (want - cold_c) / max(hot_c - cold_c, 1.0)))
        if not low.hot_supply:
            share = 0.0
        rows: list[tuple[float, float, float, int]] = []
        hot = [(name, share / len(low.hot_supply)) for name in low.hot_supply]
        for name, part in (*hot, (low.cold_supply, 1.0 - share)):
            if name in names.movers and part > 0:
                rows.append((0.0, float(names.movers.index(name)), kg * part, sh.DOSE_IN))
        time_s = 60 * self.number("wash.main_min" if main else "wash.rinse_min")
        rows.append((time_s, -1.0, 1.0 if main else 0.0, sh.CIRCULATE))
        rows.append((60.0, float(names.movers.index(low.trough_drain)), 0.0, sh.EMPTY))
        return rows

    def _fill(self) -> tuple[sh.Floats, sh.Ints]:
        low, names = self.low, self.names
        fill = np.full((len(low.places), 3), -1, np.int64)
        for i, place in enumerate(low.places):
            name = low.loading.get(place, "")
            at = names.movers.index(name) if name in names.movers else -1
            fill[i] = (names.vessels.index(place), i, at)
        return sh.zeros(len(fill), 1), fill

    def _start(self, T: sh.Tables, pumps: sh.Floats, cows: int) -> sh.State:
        low, names = self.low, self.names
        slots = int(T.num[sh.N_SLOTS])
        g, n = sh.zeros(sh.GENERAL), sh.whole(sh.INTEGERS)
        g[sh.G_DRIVE] = g[sh.G_GATE] = 1.0
        g[sh.G_OPERATORS] = self.plant.milkings[0].operators if self.plant.milkings else 1
        g[sh.G_AIR] = T.par[sh.PAR_AIR_VOLUME] * T.par[sh.PAR_AIR_HIGH]
        g[sh.G_AIR_LEAST] = T.par[sh.PAR_AIR_HIGH]
        g[sh.G_VAC_LEAST] = 1e3
        n[sh.I_MILKING] = -1
        n[sh.I_MODE] = 2
        n[sh.I_TARGET] = T.num[sh.N_PLACE0]
        S = sh.zeros(len(T.F), sh.COLUMNS)
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
            if row.role == sh.BATH:
                v[i, sh.HEAT] = -row.ice_kj
        S[T.rows("movers"), sh.S_HEALTH] = 1.0
        S[T.rows("movers"), sh.S_CMD] = [row.cmd for row in low.movers]
        for section, column in (
            ("joints", sh.SJ_OPEN), ("exchangers", sh.SX_HEALTH), ("filters", sh.SF_HEALTH),
            ("chillers", sh.SR_HEALTH), ("heated", sh.SH_HEALTH), ("lots", sh.SL_HEALTH),
            ("pumps", 1), ("compressors", 1),
        ):  # fmt: skip
            S[T.rows(section), column] = 1.0
        S[T.rows("pumps"), 0] = pumps
        most = max(cows, 1)
        return sh.State(
            S, g, n, sh.zeros(most, sh.COW), sh.zeros(slots, most, sh.OUT),
            sh.zeros(slots, sh.BOUTS), sh.zeros(64, 5),
        )  # fmt: skip


def _store(path: Path, compiled: Compiled) -> None:
    """Write to a temporary file, then rename: a half-written plant is never read."""
    arrays: dict[str, Any] = {f"T_{k}": v for k, v in compiled.tables._asdict().items()}
    arrays |= {f"S_{k}": v for k, v in compiled.start._asdict().items()}
    plain = {
        k: getattr(compiled, k)
        for k in ("step_s", "milkings", "cows", "origin_s", "removal", "pace_s", "litres", "kg_l",
                  "notes", "vacuum_known", "withheld_apart", "variants", "key")
    }  # fmt: skip
    plain["names"] = asdict(compiled.names)
    buffer = BytesIO()
    np.savez(buffer, plain=np.frombuffer(json.dumps(plain).encode(), np.uint8), **arrays)
    part = path.with_suffix(f".{os.getpid()}.tmp")
    try:
        part.write_bytes(buffer.getvalue())
        os.replace(part, path)
    except OSError:
        part.unlink(missing_ok=True)


def _load(path: Path) -> Compiled | None:
    """A compiled plant from the cache, or None when the file cannot be read."""
    try:
        with np.load(path, allow_pickle=False) as found:
            plain = json.loads(bytes(found["plain"]).decode())
            tables = sh.Tables(*(found[f"T_{k}"] for k in sh.Tables._fields))
            start = sh.State(*(found[f"S_{k}"] for k in sh.State._fields))
    except (OSError, ValueError, KeyError):
        return None
    names = Names(**plain.pop("names"))
    plain["removal"] = tuple(plain["removal"])
    return Compiled(tables, start, names, **plain)


__all__ = ["COWS", "DRAIN", "Compiled", "DoesNotCompile", "MoverRow", "Names", "compile_plant"]
