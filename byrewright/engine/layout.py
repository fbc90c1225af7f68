"""Layout of a plant's liquids: which vessels there are and what moves between them.

Everything is taken in order of tag, so a shuffled file gives the same arrays to the last bit.
"""

from __future__ import annotations

from typing import TypeVar

from byrewright.engine.circuits import liquid_of
from byrewright.engine.liquidgraph import Situation
from byrewright.engine.liquids import liquids_of
from byrewright.engine.milkmaps import MilkMaps
from byrewright.engine.rows import (
    COWS,
    DRAIN,
    DRAINING,
    DUMPED,
    FED,
    IDLE,
    LOST,
    MILKING,
    RINSING,
    SOLD,
    WASHING,
    Branch,
    DoesNotCompile,
    ExchangerRow,
    Lowered,
    TransferRow,
    Trough,
    VesselRow,
    levels_l,
)  # fmt: skip
from byrewright.engine.shape import (
    COLD_STORE,
    DOSE,
    EVEN,
    FIXED,
    FLOAT,
    FOLLOW,
    LED,
    LOADING,
    ON_OFF,
    RUNS,
    SINK,
    SOURCE,
    STEPPED,
    STORE,
    SUPPLY,
    WASH,
    WATER,
)  # fmt: skip
from byrewright.engine.supplies import Supplies, Supply
from byrewright.physics.coolant import plate_u_share
from byrewright.physics.tank_wall import full_loss_kw_k, wall_area_m2
from byrewright.plant.graph import Node
from byrewright.plant.plant import Plant
from byrewright.plant.primitives import (
    Batch,
    Chill,
    ColdStore,
    Cooled,
    Draw,
    EachCow,
    Exchange,
    Filter,
    Float,
    Heated,
    HoldsCold,
    Primitive,
    Pump,
    Recovers,
    Runs,
    Tanker,
    Units,
    Vessel,
    WashVessel,
)  # fmt: skip
from byrewright.standards.rulebook import Rulebook

P = TypeVar("P")
LAWS = {"fixed": FIXED, "on_off": ON_OFF, "stepped": STEPPED, "level_led": LED}
MODES = (MILKING, WASHING, RINSING, DRAINING, IDLE)
"""What goes on, in the order of the kernel's modes."""
INSTEAD = {RINSING: WASHING, DRAINING: IDLE, WASHING: IDLE}
"""The mode taken where none does that."""
COLD_FILL_L_MIN, HOT_FILL_L_MIN, TAP_L_MIN, COW_L_MIN = 150.0, 100.0, 60.0, 500.0
"""Most that is let into a wash vessel cold and hot, at a machine's tap, and for the cows' own
water (common practice, no source): a valve or a nozzle at the end holds more back."""
DRAIN_L_MIN = 200.0  # a wash vessel's own drain where no line is drawn


class Layout:
    """Gathers the primitives of all machines and lays out vessels, transfers and exchangers."""

    def __init__(self, plant: Plant, rules: Rulebook) -> None:
        self.plant = plant
        self.rules = rules
        self.tags = sorted(plant.equipment)
        self.parts: list[tuple[str, Primitive]] = [
            (tag, one) for tag in self.tags for one in plant.equipment[tag].lower()
        ]
        self.out = Lowered()
        self.net = liquids_of(plant, rules)
        self.modes = {what: plant.mode_for(what) for what in MODES}
        self.usual = {what: self._usual_at(what) for what in MODES}
        self.supplies = self._supplies()
        stages = {tag for tag, _ in self.all(Exchange)}
        self.out.filters = self.all(Filter)
        ends = [self.net.port(tag, one.drain) for tag, one in self.all(WashVessel)]
        plugs = [n for n in ends if {} in self.net.fewest(self.supplies.any, n).values()]
        self.maps = MilkMaps(self.net, frozenset(stages | {tag for tag, _ in self.out.filters}),
                             frozenset(plugs))  # fmt: skip

    def all(self, what: type[P]) -> list[tuple[str, P]]:
        """The records of one sort with their machine, in order of tag."""
        return [(tag, one) for tag, one in self.parts if isinstance(one, what)]

    def first(self, what: type[P]) -> tuple[str, P] | None:
        """The first record of a sort."""
        return next(iter(self.all(what)), None)

    def _usual_at(self, what: str) -> dict[str, str | None]:
        """Positions of every machine while something goes on."""
        mode = self.modes[what] or self.modes.get(INSTEAD.get(what, ""))
        if mode is None and what == MILKING:  # a file without modes: every gate lets pass
            return dict(self.net.every_way().at)
        found: dict[str, str | None] = {}
        for tag, machine in self.plant.equipment.items():
            found[tag] = machine.usual() if mode is None else self.plant.position(mode, tag)
        return found

    def _supplies(self) -> Supplies:
        ports = [n for tag, one in self.all(Float) for n in self.net.ports(tag, one.port)]
        marked = set(self.net.pumps) | {tag for tag, _ in self.all(Exchange)}
        found = Supplies(self.net, ports, marked)
        found.heats(n for tag, one in self.all(Exchange) for n in self.net.ports(tag, one.cold_out))
        return found

    def _water_to(self, node: Node, *first: str, draws_l_min: float = 0.0,
                  alone: bool = False) -> list[Supply]:  # fmt: skip
        """Water that reaches a port in the modes of what goes on first; then in all others, or in
        those `alone` that do one of these things."""
        modes = self.plant.modes
        every = [m for what in first if (m := self.modes.get(what)) is not None]
        every += sorted(n for n in modes if n not in every
                        and (not alone or set(first) & set(modes[n].does)))  # fmt: skip
        sources = {t for t, v in self.out.vessels.items() if v.substance == WATER} - {node.machine}
        return self.supplies.to(node, sources, every, draws_l_min, not (alone and every))

    def number(self, key: str) -> float:
        """A number of the rulebook."""
        return self.rules.number(key)

    # Vessels and what surrounds them.

    def _vessels(self) -> None:
        rho_milk = self.number("milk.density_kg_m3") / 1000
        for tag, one in self.all(Vessel):
            rho = rho_milk if one.holds == "milk" else 1.0
            cp = self.number("milk.cp_kj_kgk") if one.holds == "milk" else 4.19
            kg = one.volume_l * rho
            role = {"store": STORE, "source": SOURCE, "sink": SINK}[one.role]
            row = VesselRow(tag, kg if role == STORE else 1e12, role, litres=one.volume_l, kg_l=rho)
            row.substance = WATER if one.holds == "water" else (WASH if one.holds == "wash" else 0)
            row.wall = one.wall
            row.ua = one.loss_share_h * kg * cp / 3600
            if one.wall_u_w_m2k is not None:
                row.ua += one.wall_u_w_m2k * wall_area_m2(one.volume_l) / 1000
            elif one.wall:
                row.ua += full_loss_kw_k(one.volume_l, one.gain_k_h, self.rules)
            row.fill = one.fill
            row.start_kg = kg * one.start_share if role == STORE else 0.0
            self.out.vessels[tag] = row
        for tag, bath in self.all(ColdStore):
            row = VesselRow(tag, 1e12, COLD_STORE, WATER, litres=bath.litres)
            row.c = bath.litres * liquid_of(bath, self.rules).kj_l_k
            row.ice_kj = bath.store_kwh * 3600
            row.t0 = bath.leaving_c
            self.out.vessels[tag] = row
        for tag, role in ((COWS, SOURCE), (DRAIN, SINK), (SOLD, SINK), (FED, SINK), (DUMPED, SINK),
                          (LOST, SINK)):  # fmt: skip
            self.out.vessels[tag] = VesselRow(tag, 1e12, role)
        for tag, one in self.all(Vessel):
            if one.overflow:
                self.out.vessels[tag].spill = DRAIN
        for tag, heater in self.all(Heated):
            self.out.vessels[tag].start_c = self.out.vessels[tag].hot_c = heater.set_c
        for tag, _ in self.all(Draw):
            self.out.calf = tag
            self.out.vessels[tag].empties = FED
        found = self.first(Tanker)
        if found is not None:
            self.out.tanker = found[0]

    # Exchangers and the water or bath behind them.

    def _exchangers(self) -> None:
        for tag, one in self.all(Exchange):
            name = f"{tag}.{one.cold_in}"
            row = ExchangerRow(name, tag, one.ua_kw_k, one.ratio)
            node = self.net.port(tag, one.cold_in)
            baths = self._baths(node)
            if baths:
                row.chilled = self._consumer(tag, one.cold_in, baths)
                self._with_coolant(row, baths[0])
                self.out.exchangers.append(row)
                continue
            found = self._water_to(node, MILKING, "direct_load", alone=True)
            if not found:
                self.out.notes.append(
                    f"{tag}: no water or coolant reaches its port {one.cold_in} in milking, so "
                    "that stage does not cool."
                )
                self.out.exchangers.append(row)
                continue
            # Stages take water in the ratio of their own flow from the source that gives most.
            mine = [x for x in found if x.source == found[0].source]
            transfer = self._water_row(f"{tag} water", tag, FOLLOW, mine, 1e4)
            transfer.exchanger = name
            whole = sum(x.l_min for x in mine)
            for x in mine:
                to = x.target if x.target != tag else DRAIN
                branch = transfer.branches.setdefault((to, (), ""), Branch(to, passes=x.passes))
                branch.ways[0, 0] = branch.ways.get((0, 0), 0.0) + x.l_min / whole
            row.cold = transfer.id
            self.out.transfers.append(transfer)
            self.out.exchangers.append(row)

    def _baths(self, node: Node) -> list[str]:
        """Makers of cold in the ring of a port, whatever stands open."""
        held = {tag for tag, _ in self.all(ColdStore)}
        return sorted(held & set(self.net.ring(node)) - {node.machine})

    def _water_row(self, name: str, tag: str, law: int, found: list[Supply],
                   most_l_min: float) -> TransferRow:  # fmt: skip
        """A transfer of water from the vessel that gives most, by the pumps that then run."""
        source = found[0].source
        whole = min(sum(x.l_min for x in found if x.source == source), most_l_min)
        row = self.out.vessels[source]
        if row.role == SOURCE:
            whole = min(whole, row.litres)
        pumps = sorted({p for x in found if x.source == source for p in x.pumps})
        return TransferRow(name, pumps[0] if pumps else tag, source, law, whole / 60,
                           kw=sum(self.net.pumps[p].motor_kw for p in pumps))  # fmt: skip

    def _with_coolant(self, row: ExchangerRow, maker: str) -> None:
        """A chilled stage with its own liquid: less heat passes it, and a litre takes less."""
        bath = next(b for tag, b in self.all(ColdStore) if tag == maker)
        liquid = liquid_of(bath, self.rules)
        row.ua *= plate_u_share(liquid)
        # The kernel takes a ratio of masses and the heat of water; the file's is one of litres.
        milk, water = self.number("milk.density_kg_m3") / 1000, self.number("water.cp_kj_kgk")
        row.ratio *= liquid.kj_l_k / (milk * water)

    def _consumer(self, tag: str, port: str, baths: list[str]) -> int:
        """A place where chilled liquid is used, and the baths that any valve lets it come from."""
        self.out.chilled.append((tag, port, tuple(baths)))
        return len(self.out.chilled) - 1

    # Milk.

    def _units(self) -> None:
        units = self.all(Units)
        if not units:
            raise DoesNotCompile(
                "No machine gives milk: add the milking units and join them to a milkline."
            )
        for tag, one in units:
            for bank, port in enumerate((one.milk, one.withheld)):
                name = f"{tag}.{port}"
                self.out.transfers.append(TransferRow(name, tag, COWS, SUPPLY, 1e6, bank=bank))
        if len(units) > 1:
            self.out.notes.append(
                f"{', '.join(t for t, _ in units)}: the stalls are shared out among these sets in "
                "this order, as many as each has units."
            )

    def _milk_row(self, tag: str, src: str) -> TransferRow:
        """The row of a milk pump that draws from a vessel."""
        one = next(m for t, m in self.all(Pump) if t == tag)
        position = self.modes[MILKING]
        state = (self.plant.position(position, tag) if position else "runs") or "runs"
        led = one.led_by if one.led_by in self.out.vessels else src
        vessel = self.out.vessels[led]
        declared = next((v for t, v in self.all(Vessel) if t == led), None)
        mean, stop, start, full = (vessel.kg_l * x for x in levels_l(declared, vessel.litres))
        if LAWS[one.law] == ON_OFF and not (declared and declared.start_at_l):
            start = mean
        start = max(start, stop * 1.05)
        if state == "ready":
            start = max(start, min(1.1 * full, 0.92 * vessel.cap_kg))
        return TransferRow(
            f"{tag} from {src}", tag, src, LAWS[one.law], 0.0, led=led, full=full,
            start=start, stop=stop, floor=one.floor_share, kw=one.motor_kw,
            steps=float(one.steps),
        )  # fmt: skip

    def _gives_milk(self, src: str) -> bool:
        """Whether a milk pump that draws from a vessel is one of the day's."""
        row = self.out.vessels.get(src)
        return (
            row is not None and row.substance == 0 and row.role == STORE and not row.fill
            and src != self.out.tanker
        )  # fmt: skip

    def _gravity(self) -> None:
        """What runs by itself: milklines in their time, flooded lines to a level, all else by the
        solved network."""
        timed = set()
        self.levels: dict[str, Node] = {}
        for tag, one in self.all(Runs):
            tau = max(one.time_s, 1.0)
            node = self.net.port(tag, one.port)
            if self.net.lets_both(node):
                for other in self.net.joined(self.supplies.any, node):
                    transfer = TransferRow(f"{tag} to {other}", tag, tag, EVEN, 1e6, other, tau=tau)
                    self.out.transfers.append(transfer)
                    self.levels[transfer.id] = node
                continue
            timed.add(tag)
            self.out.transfers.append(
                TransferRow(f"{tag}.{one.port}", tag, tag, RUNS, 0.0, tau=tau)
            )
        self.falls = [t for t in self.net.vessels if t not in timed]

    def _places(self) -> None:
        tanker = self.first(Tanker)
        fill = [t for t, v in sorted(self.out.vessels.items()) if v.fill]
        for tag in fill:
            self.out.places.append(tag)
            if tanker is None:
                continue
            s = Situation(self.usual[IDLE])
            ends = self.net.ports(tag, "outlet")
            if any(tanker[0] in self.net.fewest(s, n) for n in ends):
                self.out.loading[tag] = name = f"{tag} to {tanker[0]}"
                kg_s = tanker[1].load_l_min * self.out.vessels[tag].kg_l / 60
                transfer = TransferRow(name, tag, tag, LOADING, kg_s, cmd=0.0)
                transfer.branches[tanker[0], (), ""] = Branch(tanker[0])
                self.out.transfers.append(transfer)
        if tanker is not None and tanker[1].direct:
            self.out.places.append(tanker[0])

    # Water, wash, heat and cold.

    def _floats_to(self, tag: str, one: Float) -> None:
        for node in self.net.ports(tag, one.port):
            found = self._water_to(node, MILKING, WASHING)
            if not found or node in self.supplies.behind:
                continue
            transfer = self._water_row(f"{found[0].source} to {tag}", tag, FLOAT, found,
                                       one.flow_l_min)  # fmt: skip
            transfer.led, transfer.full = tag, one.level_share * self.out.vessels[tag].cap_kg
            transfer.branches[tag, (), ""] = Branch(tag, passes=found[0].passes)
            if transfer.id not in {m.id for m in self.out.transfers}:
                self.out.transfers.append(transfer)

    def _dose(self, name: str, found: list[Supply], dst: str, most_l_min: float) -> str:
        """A transfer that gives a quantity when it is asked for."""
        if not found:
            return ""
        transfer = self._water_row(name, found[0].source, DOSE, found, most_l_min)
        transfer.branches[dst, (), ""] = Branch(dst, passes=found[0].passes)
        self.out.transfers.append(transfer)
        return name

    def _water(self) -> None:
        for tag, one in self.all(Float):
            self._floats_to(tag, one)
        for tag, cow in self.all(EachCow):
            node = self.net.port(tag, cow.port)
            found = self._water_to(node, MILKING, draws_l_min=COW_L_MIN) if cow.water_l > 0 else []
            if self._dose(f"{tag} water", found, DRAIN, COW_L_MIN):
                self.out.transfers[-1].stop = cow.water_l

    def _wash(self) -> None:
        if not (every := self.all(WashVessel)):
            self.out.notes.append("No wash vessel: the washes of the day are not simulated.")
            return
        whole = sum(self.net.vessels[tag].volume_l for tag, _ in every)
        follow = [t for t in self.out.transfers if t.law == FOLLOW]
        recovered = {b.dst for t in follow for b in t.branches.values()}
        hot_of, cold_of = dict[str, list[Supply]](), dict[str, list[Supply]]()
        for tag, one in every:
            hot: dict[str, list[Supply]] = {}
            cold: dict[str, list[Supply]] = {}
            for node in self.net.ports(tag, one.supply):
                for x in self._water_to(node, WASHING, RINSING, alone=True):
                    (hot if x.source in self.heats else cold).setdefault(x.source, []).append(x)
            if not hot and not cold:
                self.out.notes.append(f"{tag}: no water reaches it, so no wash is simulated.")
                continue
            held = sum(self.heats[t] for t in hot)
            filled = [
                (self._dose(f"hot from {t} to {tag}", hot[t], tag, HOT_FILL_L_MIN),
                 self.heats[t] / held) for t in sorted(hot)
            ]  # fmt: skip
            best, clean = (min(cold, key=lambda t: ((t in recovered) is not used, t), default="")
                           for used in (True, False))  # fmt: skip
            fresh = self._dose(f"cold to {tag}", cold.get(best, []), tag, COLD_FILL_L_MIN)
            to = f"clean water to {tag}"
            plain = fresh if clean == best else self._dose(to, cold[clean], tag, COLD_FILL_L_MIN)
            self.out.vessels[tag].washed = True
            self.out.troughs.append(Trough(
                tag, self.net.vessels[tag].volume_l / whole, filled, fresh, plain,
                self._trough_drain(tag),
            ))  # fmt: skip
            hot_of |= hot
            cold_of |= cold
            if not hot:
                self.out.notes.append(f"{tag}: no heater feeds it; the wash is cold.")
        held = sum(self.heats[t] for t in hot_of)
        for t in sorted(hot_of):
            self._dose(f"tank wash from {t}", hot_of[t], DRAIN, TAP_L_MIN)
            self.out.transfers[-1].start = self.heats[t] / held
        fresh = min(cold_of, key=lambda t: (t in recovered, t), default="")
        if hot_of and self._dose("rinse of a tank", cold_of.get(fresh, []), DRAIN, TAP_L_MIN):
            self.out.transfers[-1].start = self.number("wash.tank_rinses")

    @property
    def heats(self) -> dict[str, float]:
        """Heaters of water and what each holds, L."""
        return {tag: self.out.vessels[tag].litres for tag, _ in self.all(Heated)}

    def _trough_drain(self, tag: str) -> str:
        found = [x for x in self.maps.by_itself(self.usual[DRAINING], DRAINING)
                 if x.source == tag and self.net.vessels[x.target].role == "sink"]  # fmt: skip
        to, l_min = (found[0].target, found[0].l_min) if found else (DRAIN, DRAIN_L_MIN)
        transfer = TransferRow(f"{tag} drain", tag, tag, FIXED, l_min / 60, cmd=0.0)
        transfer.branches[to, (), ""] = Branch(to)
        self.out.transfers.append(transfer)
        return transfer.id

    def _buffers(self) -> None:
        """What a buffer holds is added to the baths it is joined to, in equal parts."""
        held = dict(self.all(ColdStore))
        for tag, one in self.all(HoldsCold):
            baths = sorted({b for n in self.net.ports(tag, one.port) for b in self._baths(n)})
            for bath in baths:
                row, litres = self.out.vessels[bath], one.volume_l / len(baths)
                row.litres += litres
                row.c += litres * liquid_of(held[bath], self.rules).kj_l_k
            if not baths:
                self.out.notes.append(f"{tag}: no source of cold is joined to it; it buffers none.")

    def _cold_and_hot(self) -> None:
        self._buffers()
        cooled = self.all(Cooled)
        for tag, one in cooled:
            baths = self._baths(self.net.port(tag, one.coolant_in)) if one.coolant_in else []
            ring = self._consumer(tag, one.coolant_in, baths) if baths else -1
            self.out.cooled.append((tag, one, ring))
        own = {tag for tag, _ in self.all(ColdStore)}
        served: set[str] = set()
        for tag, chill in self.all(Chill):
            target = tag if tag in own else self._behind(tag, chill.at, {t for t, _ in cooled})
            served.add(target)
            if not target:
                self.out.notes.append(f"{tag}: its refrigerant reaches no tank; it cools nothing.")
            self.out.chillers.append((tag, chill, target))
        for tag, one, ring in self.out.cooled:
            if ring < 0 and tag not in served and one.cooling_kw > 0:
                cop = self.number("cooling.cop_direct")
                self.out.chillers.append((tag, Chill(one.cooling_kw, cop, 32.0), tag))
                self.out.notes.append(
                    f"{tag}: no refrigeration is joined to it; its own {one.cooling_kw:g} kW is "
                    f"taken, with {cop:g} of cold for one of electricity."
                )
        self.out.heated = self.all(Heated)
        self.out.recoveries = self.all(Recovers)
        cold = {tag for tag, _, _ in self.out.chillers}
        for tag, taker in self.out.recoveries:
            for other in taker.machines or ("no machine",):
                if other not in cold:
                    self.out.notes.append(f"{tag}: {other} gives it no heat of refrigeration.")

    def _behind(self, tag: str, port: str, tanks: set[str]) -> str:
        """The cooled tank behind a refrigerant port, by pipes alone."""
        for pipe in self.plant.pipes_at(tag):
            for here, there in ((pipe.start, pipe.end), (pipe.end, pipe.start)):
                if here == f"{tag}.{port}" and there.partition(".")[0] in tanks:
                    return there.partition(".")[0]
        return ""

    def _lots(self) -> None:
        for tag, one in self.all(Batch):
            dose = ""
            if one.water_l > 0 and one.water:
                node = self.net.port(tag, one.water)
                found = self._water_to(node, IDLE, draws_l_min=TAP_L_MIN)
                dose = self._dose(f"{tag} water", found, DRAIN, TAP_L_MIN)
            self.out.laundry.append((tag, one, dose))
        self.out.laundry.sort(key=lambda row: (row[1].stage, row[0]))
