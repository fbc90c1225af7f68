"""Arrays of the items of a plant, one method a sort; the rows are relative to their section."""

from __future__ import annotations

import numpy as np

from byrewright.engine import shape as sh
from byrewright.engine.deck import deck_load
from byrewright.engine.draws import removal_of
from byrewright.engine.lowering import Lowering
from byrewright.engine.names import Names
from byrewright.engine.operating_map import OperatingMap, RatedPump, capacity_balance
from byrewright.engine.rows import (
    LOST,
    Branch,
    DoesNotCompile,
    Lowered,
    TransferRow,
    VesselRow,
)
from byrewright.engine.session import cow_scalars
from byrewright.physics.altitude import cold_share
from byrewright.physics.laundry import dry_load_kwh, wash_load_kwh
from byrewright.physics.tank_wall import SHAPES, still_kw_k
from byrewright.plant.farm import minutes
from byrewright.plant.plant import Plant
from byrewright.plant.primitives import (
    Cooled,
    DrawsAir,
    Gate,
    HoldsVacuum,
    Load,
    MakesAir,
    MakesVacuum,
    Stalls,
    StoresAir,
    TakesOff,
    Turns,
    Units,
)  # fmt: skip
from byrewright.plant.programme import programme_of
from byrewright.plant.roles import StandsCows
from byrewright.standards.rulebook import Rulebook

GOES_ON = (("milking", "direct_load"), ("wash", "rinse"), ("wash", "rinse"), ("drain_down",),
           ("idle",))  # fmt: skip
"""What goes on in the engine's modes: milking, washing, rinsing, draining down, idle."""


class Arrays:
    """The items of one plant as arrays."""

    def __init__(self, plant: Plant, rules: Rulebook, sample_s: float,
                 vacuum: OperatingMap | None) -> None:  # fmt: skip
        self.plant = plant
        self.rules = rules
        self.sample_s = sample_s
        self.vacuum = vacuum
        self.wrong: list[dict[str, str]] = []
        self.programme = programme_of(plant, rules)
        self.lowering = Lowering(plant, rules)
        self.names = Names()
        self.low: Lowered

    def number(self, key: str) -> float:
        """A number of the rulebook."""
        return self.rules.number(key)

    def meter(self, tag: str) -> int:
        """The place of an electricity meter, a new one where it has none."""
        if tag not in self.names.meters:
            self.names.meters.append(tag)
        return self.names.meters.index(tag)

    def _vessel_arrays(self) -> tuple[sh.Floats, sh.Ints]:
        low, names = self.low, self.names
        v_f = sh.zeros(len(names.vessels), len(sh.VESSEL))
        v_i = np.full((len(names.vessels), len(sh.VESSEL_I)), -1, np.int64)
        for i, tag in enumerate(names.vessels):
            row = low.vessels[tag]
            v_f[i] = (row.cap_kg, row.ua, row.ice_kj, row.c, row.hot_c)
            v_i[i, sh.VI_ROLE] = row.role
            v_i[i, sh.VI_SUBSTANCE] = row.substance
            v_i[i, sh.VI_SPILL] = names.vessels.index(row.spill or LOST)
            if row.empties:
                v_i[i, sh.VI_EMPTY] = names.vessels.index(row.empties)
            if row.wall:
                v_i[i, sh.VI_WALL] = SHAPES[row.wall]
            if row.fill:
                v_i[i, sh.VI_FILL] = 1
            v_i[i, sh.VI_WASHED] = int(row.washed)
        return v_f, v_i

    def _transfer_arrays(self) -> tuple[sh.Floats, sh.Ints, sh.Ints, sh.Floats, sh.Floats]:
        low, names = self.low, self.names
        rows: list[tuple[int, ...]] = []
        shares: list[tuple[TransferRow, Branch]] = []
        m_f = sh.zeros(len(low.transfers), len(sh.TRANSFER))
        m_i = np.full((len(low.transfers), len(sh.TRANSFER_I)), -1, np.int64)
        most = sh.zeros(max(low.states, 1), low.running, len(low.transfers), len(sh.FLOW))
        for i, m in enumerate(low.transfers):
            m_f[i] = (m.most_kg_s, m.full, m.start, m.stop, m.floor, m.kw, m.tau, m.steps)
            m_i[i, sh.MI_SRC] = names.vessels.index(m.src)
            m_i[i, sh.MI_LAW] = m.law
            m_i[i, sh.MI_LED] = names.vessels.index(m.led or m.src)
            m_i[i, sh.MI_J0] = len(rows)
            m_i[i, sh.MI_KWH] = self.meter(m.machine) if m.kw > 0 else -1
            m_i[i, sh.MI_BANK] = m.bank
            if m.leader:
                m_i[i, sh.MI_GROUP] = names.transfers.index(m.leader)
                m_i[i, sh.MI_BIT] = m.bit
            for at, kg_s in m.most.items():
                most[at][i] = (kg_s, m.part[at], m.lift.get(at, 0.0))
            if m.exchanger:
                m_i[i, sh.MI_X] = names.exchangers.index(m.exchanger)
            for key in sorted(m.branches):
                b = m.branches[key]
                chain = [names.exchangers.index(x) for x in b.exchangers]
                chain += [-1] * (sh.STAGES - len(chain))
                filter_row = names.filters.index(b.filter) if b.filter else -1
                line = list(low.lines).index(m.leader) if b.line and m.leader in low.lines else -1
                rows.append((names.vessels.index(b.dst), filter_row, line, *chain))
                shares.append((m, b))
                names.branches.append(" > ".join([m.id, *[p for p in b.passes if p in
                                    self.plant.equipment and p not in m.id], b.dst]))  # fmt: skip
            m_i[i, sh.MI_J1] = len(rows)
        share = sh.zeros(max(low.states, 1), low.running, len(rows), 1 + len(sh.SLOWED))
        for j, (row, branch) in enumerate(shares):
            for at, value in branch.ways.items():
                share[at][j] = value
            for at in {a for b in row.branches.values() for a in b.slow}:
                share[at][j, 1:] = branch.slow.get(at, 0.0)
        return m_f, m_i, np.array(rows, np.int64).reshape(-1, len(sh.BRANCH_I)), share, most

    def _line_arrays(self) -> tuple[sh.Floats, sh.Ints]:
        """Lines of milk, in the order of the pumps that fill them."""
        lines = list(self.low.lines.values())
        self.names.lines = [list(one.pipes) for one in lines]
        rows = np.array([(one.cap_kg, one.stays_kg) for one in lines], np.float64)
        return rows.reshape(-1, len(sh.LINE)), np.full((len(lines), 1), -1, np.int64)

    def _cold_array(self) -> sh.Floats:
        """Shares of baths in what each user of chilled liquid draws, and the most that flows."""
        low, names = self.low, self.names
        cold = sh.zeros(max(low.states, 1), max(1, len(low.chilled)), len(names.vessels) + 1)
        for (state, consumer), (shares, most) in low.cold.items():
            for tag, share in shares.items():
                cold[state, consumer, names.vessels.index(tag)] = share
            cold[state, consumer, -1] = most
        return cold

    def _exchanger_arrays(self) -> tuple[sh.Floats, sh.Ints]:
        # Stages come in the order in which milk passes them: by machine, water before coolant.
        low, names = self.low, self.names
        x_f = sh.zeros(len(low.exchangers), len(sh.EXCHANGER))
        x_i = np.full((len(low.exchangers), len(sh.EXCHANGER_I)), -1, np.int64)
        for i, x in enumerate(low.exchangers):
            x_f[i] = (x.ua, x.ratio, self.number("milk.wall_least_c"))
            if x.cold in names.transfers:
                x_i[i, sh.XI_COLD] = names.transfers.index(x.cold)
            x_i[i, sh.XI_CHILLED] = x.chilled
        return x_f, x_i

    def _filter_arrays(self) -> tuple[sh.Floats, sh.Ints]:
        day = self.programme
        each = day.milk_l_day / max(day.cows_milked_day, 1) * day.milk_kg_l
        f_f = sh.zeros(len(self.low.filters), len(sh.FILTER))
        for i, (tag, one) in enumerate(self.low.filters):
            f_f[i] = (one.cows_a_sock * each, self.number("filter.change_s"),
                      *self.low.filter_loss[tag])  # fmt: skip
        return f_f, sh.whole(len(f_f), 1)

    def _chill_arrays(self) -> tuple[sh.Floats, sh.Ints]:
        low, names = self.low, self.names
        sets = {tag: one.set_c for tag, one, _ in low.cooled}
        cooled = [tag for tag, _, _ in low.cooled]
        r_f = sh.zeros(len(low.chillers), len(sh.CHILLER))
        r_i = np.full((len(low.chillers), len(sh.CHILLER_I)), -1, np.int64)
        thin = cold_share(self.plant.site.altitude_m, self.rules)
        for i, (tag, one, target) in enumerate(low.chillers):
            hours = [60.0 * minutes(h) for h in one.hours] if one.hours else [0.0, 0.0]
            r_f[i] = (one.duty_kw * thin, one.cop, one.rated_ambient_c, sets.get(target, 0.0), 0.5,
                      hours[0], hours[1], self.number("cooling.cop_fall_per_k"),
                      0.0, 0.0)  # fmt: skip
            taker = next((r for r in low.recoveries if tag in r[1].machines), None)
            if taker is not None:
                share, most = taker[1].share, taker[1].most_c
                r_f[i, sh.R_TAKEN] = self.number(share) if isinstance(share, str) else share
                r_f[i, sh.R_TAKEN_C] = self.number(most) if isinstance(most, str) else most
                r_i[i, sh.RI_TAKES] = names.vessels.index(taker[0])
            if target:
                r_i[i, sh.RI_TARGET] = names.vessels.index(target)
            if target in cooled:
                r_i[i, sh.RI_COOLED] = cooled.index(target)
            r_i[i, sh.RI_KWH] = self.meter(tag)
            r_i[i, sh.RI_LOCKED] = self._locked(tag)
            names.chillers.append(tag)
        return r_f, r_i

    def _cooled_arrays(self) -> tuple[sh.Floats, sh.Ints]:
        low, names = self.low, self.names
        k_f = sh.zeros(len(low.cooled), len(sh.COOLED))
        k_i = np.full((len(low.cooled), len(sh.COOLED_I)), -1, np.int64)
        full_k = self.number("tank.jacket_full_k")
        for i, (tag, one, ring) in enumerate(low.cooled):
            row = low.vessels[tag]
            k_f[i] = (one.cooling_kw / full_k, one.cooling_kw, one.set_c, one.agitator_kw,
                      self._reach_l(one, row) * row.kg_l, self.number("tank.evaporator_share"),
                      self._still(one, row), self.number("tank.wall_least_c"))  # fmt: skip
            k_i[i, sh.KI_VESSEL] = names.vessels.index(tag)
            k_i[i, sh.KI_KWH] = self.meter(tag)
            k_i[i, sh.KI_CHILLED] = ring
            names.cooled.append(tag)
        return k_f, k_i

    def _reach_l(self, one: Cooled, row: VesselRow) -> float:
        """Content from which the agitator reaches the milk."""
        if one.stirred_from_l is not None:
            return one.stirred_from_l
        return self.number("tank.stirred_from_share") * row.litres

    def _still(self, one: Cooled, row: VesselRow) -> float:
        """Cold into milk that is not stirred, for each kelvin between it and the wall."""
        share = self.number("tank.evaporator_share")
        return still_kw_k(row.litres, share, self.rules) if one.still else 0.0

    def _heater_arrays(self) -> tuple[sh.Floats, sh.Ints]:
        low, names = self.low, self.names
        h_f = sh.zeros(len(low.heated), len(sh.HEATED))
        h_i = np.full((len(low.heated), len(sh.HEATED_I)), -1, np.int64)
        for i, (tag, one) in enumerate(low.heated):
            h_f[i] = (one.kw, one.set_c, one.efficiency)
            meter = self.meter(tag) if one.electric else -1
            h_i[i] = (names.vessels.index(tag), meter, self._locked(tag))
            names.heated.append(tag)
        return h_f, h_i

    def _locked(self, tag: str) -> int:
        """A bit for each of milking, washing and idle in which a machine is locked out."""
        return sum(1 << k for k, does in enumerate(GOES_ON) if self.plant.locked_out(tag, does))

    def _laundry_arrays(self) -> tuple[sh.Floats, sh.Ints]:
        low, names = self.low, self.names
        l_f = sh.zeros(len(low.laundry), len(sh.BATCH))
        l_i = np.full((len(low.laundry), len(sh.BATCH_I)), -1, np.int64)
        for i, (tag, one, dose) in enumerate(low.laundry):
            kg = one.load_kg * self.number("cloth.load_fill")
            cold_c = min(self.plant.site.water_temperature_c)
            kwh = (
                wash_load_kwh(one.water_l, cold_c, self.rules)
                if one.stage == 0
                else dry_load_kwh(kg, self.rules)
            )
            kw = min(one.kw, kwh / (one.cycle_min / 60))
            l_f[i] = (kg, one.cycle_min * 60, kw, one.water_l)
            at = names.transfers.index(dose) if dose in names.transfers else -1
            l_i[i] = (one.stage, one.count, at, self.meter(tag), self._locked(tag))
            names.laundry.append(tag)
        return l_f, l_i

    def _cow_scalars(
        self, par: sh.Floats, num: sh.Ints
    ) -> tuple[float, tuple[float, float, float]]:
        found = self.lowering.first(Stalls)
        assert found is not None
        self.names.deck, one = found
        units = self.lowering.all(Units)
        self.names.units = [tag for tag, _ in units]
        pace = cow_scalars(par, num, one, self.plant, self.rules)
        num[sh.N_UNITS] = sum(one.count for _, one in units)
        gate = self.lowering.first(Gate)
        if gate is not None:
            self.names.gate = gate[0]
            par[sh.PAR_GATE_KW] = gate[1].motor_kw
            num[sh.N_GATE_KWH] = self.meter(gate[0])
        drive = self.lowering.first(Turns)
        if drive is not None:
            self.names.drive = drive[0]
            platform = self.plant.equipment[self.names.deck]
            assert isinstance(platform, StandsCows)
            par[sh.PAR_DRIVE_KW] = deck_load(self.plant, self.rules, platform).running_kw
            num[sh.N_DRIVE_KWH] = self.meter(drive[0])
        off = self.lowering.first(TakesOff)
        return pace, removal_of(off[1] if off else None, self.rules)

    def _vacuum_arrays(
        self, par: sh.Floats
    ) -> tuple[sh.Floats, tuple[sh.Floats, sh.Ints], sh.Floats, str]:
        from byrewright.physics.air import ambient_pressure_kpa_abs, nominal_pump_l_min_free

        pumps = self.lowering.all(MakesVacuum)
        if len(pumps) > 8:
            raise DoesNotCompile("More than eight vacuum pumps: join alike ones with `count`.")
        sets = [one for _, one in self.lowering.all(Units)]
        units = sum(u.count for u in sets)
        through = sum(u.count * u.air_l_min_free for u in sets) / max(units, 1)
        falls = sum(u.count * u.fall_air_l_min_free for u in sets) / max(units, 1)
        pulse = sum(one.each_l_min_free for _, one in self.lowering.all(DrawsAir)[:1])
        each = through + pulse
        holds = self.lowering.first(HoldsVacuum)
        set_kpa = holds[1].set_kpa if holds is not None else self.number("vacuum.nominal_kpa")
        leak = self.number("vacuum.system_leak_share") * max(
            (p.capacity_l_min_free for _, p in pumps), default=0.0
        )
        leak *= self.number("vacuum.leak_times.system")
        milk = self.number("vacuum.milk_leak_base_l_min")
        milk += self.number("vacuum.milk_leak_per_unit_l_min") * units
        leak += milk * self.number("vacuum.leak_times.milk")
        known = tuple(
            RatedPump(
                nominal_pump_l_min_free(p.capacity_l_min_free, p.at_vacuum_kpa, self.rules),
                p.motor_kw,
                p.variable,
                p.least_share,
            )
            for _, p in pumps
        )
        ambient = ambient_pressure_kpa_abs(self.plant.site.altitude_m)
        found = self.vacuum or capacity_balance(
            known, set_kpa, units, each, leak, ambient, self.rules
        )
        par[sh.PAR_VAC_SET] = found.set_kpa
        par[sh.PAR_FALL_UNITS] = falls / max(each, 1.0)
        seen = "vacuum.shutoff_delay_s" if all(u.shut_off for u in sets) else "milking.fall_seen_s"
        par[sh.PAR_FALL_S] = self.number(seen)
        par[sh.PAR_VAC_LEAST] = self.number("vacuum.cups_fall_kpa")
        par[sh.PAR_STANDBY_S] = self.number("vacuum.standby_delay_s")
        p_i = sh.whole(len(pumps), len(sh.PUMP_I))
        at = sh.zeros(len(pumps))
        mode = self.lowering.modes["milking"]
        for i, (tag, _) in enumerate(pumps):
            p_i[i, sh.PI_KWH] = self.meter(tag)
            state = self.plant.position(mode, tag) if mode else "runs"
            at[i] = {"runs": 1.0, "ready": 0.0}.get(state or "runs", -1.0)
            self.names.pumps.append(tag)
        if len(pumps) and not (at > 0).any():
            at[0] = 1.0
        return found.table, (sh.zeros(len(pumps), 1), p_i), at, found.known

    def _air_arrays(self, par: sh.Floats) -> tuple[sh.Floats, sh.Ints]:
        from byrewright.physics.air import ambient_pressure_kpa_abs

        makers = self.lowering.all(MakesAir)
        stores = self.lowering.all(StoresAir)
        a_f = sh.zeros(len(makers), len(sh.COMPRESSOR))
        a_i = sh.whole(len(makers), len(sh.COMPRESSOR_I))
        for i, (tag, one) in enumerate(makers):
            a_f[i] = (one.capacity_l_min_free / 60, one.motor_kw)
            a_i[i] = (self.meter(tag), i)
            self.names.compressors.append(tag)
        if stores:
            # Litres of free air, at the site's ambient, for each bar above it.
            ambient = ambient_pressure_kpa_abs(self.plant.site.altitude_m)
            par[sh.PAR_AIR_VOLUME] = sum(s.volume_l for _, s in stores) * 100 / ambient
            par[sh.PAR_AIR_HIGH] = stores[0][1].highest_bar
            par[sh.PAR_AIR_LOW] = stores[0][1].lowest_bar
            self.names.air = stores[0][0]
            full = sum(m.capacity_l_min_free for _, m in makers)
            par[sh.PAR_AIR_LEAK] = self.number("air.leak_target_share") * full / 60
        par[sh.PAR_AIR_COW] = self.number("air.per_cow_l_free")
        return a_f, a_i

    def _loads(self) -> tuple[sh.Floats, sh.Ints]:
        loads = self.lowering.all(Load)
        load, load_i = sh.zeros(len(loads), len(sh.LOAD)), sh.whole(len(loads), len(sh.LOAD_I))
        for i, (tag, one) in enumerate(loads):
            load[i] = one.kw
            load_i[i] = (self.meter(tag), 0 if one.when == "always" else 1)
        return load, load_i
