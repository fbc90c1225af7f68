"""Layout of a plant's liquids: which vessels there are and what moves between them.

Everything is taken in order of tag, so a shuffled file gives the same arrays to the last bit.
"""

from __future__ import annotations

from typing import TypeVar

from byrewright.engine.circuits import liquid_of
from byrewright.engine.liquids import Liquids
from byrewright.engine.rows import (
    COWS,
    DRAIN,
    DUMPED,
    FED,
    IDLE,
    LOST,
    MILKING,
    SOLD,
    WASHING,
    Branch,
    DoesNotCompile,
    ExchangerRow,
    Lowered,
    MoverRow,
    VesselRow,
)  # fmt: skip
from byrewright.engine.shape import (
    BATH,
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
from byrewright.engine.ways import GASES, Open, Way, Ways
from byrewright.physics.coolant import plate_u_share
from byrewright.physics.tank_wall import full_loss_kw_k, wall_area_m2
from byrewright.plant.graph import Joint, Node
from byrewright.plant.plant import Plant
from byrewright.plant.primitives import (
    Bath,
    Chill,
    Cooled,
    Draw,
    EachCow,
    Exchange,
    Float,
    Heated,
    HoldsCold,
    Lot,
    Mover,
    Primitive,
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
ALL_GASES = GASES
NOT_COOLANT = (GASES | {"milk", "wash", "water", "drain"}) - {"refrigerant"}


class Layout:
    """Gathers the primitives of all machines and lays out vessels, movers and exchangers."""

    def __init__(self, plant: Plant, rules: Rulebook) -> None:
        self.plant = plant
        self.rules = rules
        self.tags = sorted(plant.equipment)
        self.parts: list[tuple[str, Primitive]] = [
            (tag, one) for tag in self.tags for one in plant.equipment[tag].lower()
        ]
        self.out = Lowered()
        bodies = {tag for tag, one in self.parts if isinstance(one, Vessel | Bath)}
        baths = [(tag, one.out) for tag, one in self.parts if isinstance(one, Bath)]
        self.ways = Ways(plant, bodies, baths)
        self.modes = {what: self._mode(what) for what in (MILKING, WASHING, IDLE)}
        self.any_way: Open = self.ways.openness(None)
        self.net = Liquids(plant, rules)
        self.shut = self._shut_in_all_modes()

    def all(self, what: type[P]) -> list[tuple[str, P]]:
        """The records of one sort with their machine, in order of tag."""
        return [(tag, one) for tag, one in self.parts if isinstance(one, what)]

    def first(self, what: type[P]) -> tuple[str, P] | None:
        """The first record of a sort."""
        return next(iter(self.all(what)), None)

    def _mode(self, does: str) -> str | None:
        found = [n for n, m in self.plant.modes.items() if does in m.does]
        # A mode that does one thing stands for it before one that does several.
        return min(found, key=lambda n: (len(self.plant.modes[n].does), n), default=None)

    def _shut_in_all_modes(self) -> Open:
        """Whether a gate is shut in every mode: a way through it counts where there is no other."""
        every = [self.ways.openness(name) for name in self.plant.modes]

        def shut(joint: Joint) -> bool:
            gate = joint.how is not None and joint.how.how == "gate"
            return gate and bool(every) and not any(is_open(joint) for is_open in every)

        return shut

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
        for tag, bath in self.all(Bath):
            row = VesselRow(tag, 1e12, BATH, WATER, litres=bath.litres)
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
            self.out.vessels[tag].start_c = heater.set_c
        for tag, _ in self.all(Draw):
            self.out.calf = tag
            self.out.vessels[tag].empties = FED
        found = self.first(Tanker)
        if found is not None:
            self.out.tanker = found[0]

    def _reaches(self, tag: str, declared: str, *, back: bool = False, is_open: Open | None = None,
                 movers: bool = True, gases: frozenset[str] = ALL_GASES) -> list[Way]:  # fmt: skip
        found: list[Way] = []
        for name in self.ways.used(tag, declared):
            found += self.ways.onward(
                Node(tag, name),
                is_open or self.any_way,
                back=back,
                movers=movers,
                gases=gases,
                shut=self.shut if is_open is None else None,
            )
        best: dict[str, Way] = {}
        for way in found:
            if way.vessel not in best or way.resistance < best[way.vessel].resistance:
                best[way.vessel] = way
        return [best[v] for v in sorted(best)]

    def _movers_on(self, way: Way) -> list[tuple[str, Mover]]:
        """Pumps passed on a way."""
        return [
            (tag, one) for tag, one in self.all(Mover) if tag in way.passes
        ]  # fmt: skip

    # Exchangers and the water or bath behind them.

    def _exchangers(self) -> None:
        for tag, one in self.all(Exchange):
            name = f"{tag}.{one.cold_in}"
            row = ExchangerRow(name, tag, one.ua_kw_k, one.ratio)
            baths = self._reaches(tag, one.cold_in, back=True, gases=frozenset(NOT_COOLANT))
            baths = [w for w in baths if self.out.vessels[w.vessel].role == BATH]
            if baths:
                row.chilled = self._consumer(tag, one.cold_in, [w.vessel for w in baths])
                self._with_coolant(row, baths[0].vessel)
                self.out.exchangers.append(row)
                continue
            supply = self._reaches(tag, one.cold_in, back=True)
            supply = [w for w in supply if self.out.vessels[w.vessel].substance == WATER]
            if not supply:
                self.out.notes.append(
                    f"{tag}: no water or coolant reaches its port {one.cold_in}, so that stage "
                    "does not cool."
                )
                self.out.exchangers.append(row)
                continue
            way = min(supply, key=lambda w: w.resistance)
            pumps = self._movers_on(way)
            most = min([p.flow_l_min for _, p in pumps], default=1e4)
            if self.out.vessels[way.vessel].role == SOURCE:
                most = min(most, self.out.vessels[way.vessel].litres)
            ends = self._reaches(tag, one.cold_out)
            dst = min(ends, key=lambda w: w.resistance).vessel if ends else DRAIN
            mover = MoverRow(
                f"{tag} water", pumps[0][0] if pumps else tag, way.vessel, FOLLOW, most / 60,
                kw=sum(p.motor_kw for _, p in pumps), exchanger=name,
            )  # fmt: skip
            mover.branches[dst, (), ""] = Branch(dst, passes=way.passes)
            row.cold = mover.id
            self.out.movers.append(mover)
            self.out.exchangers.append(row)

    def _with_coolant(self, row: ExchangerRow, maker: str) -> None:
        """A chilled stage with its own liquid: less heat passes it, and a litre takes less."""
        bath = next(b for tag, b in self.all(Bath) if tag == maker)
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
                self.out.movers.append(MoverRow(f"{tag}.{port}", tag, COWS, SUPPLY, 1e6, bank=bank))
            if len(units) > 1:
                self.out.notes.append(
                    "Several sets of milking units: the day gives all milk to the first."
                )
                break

    def _milk_row(self, tag: str, src: str) -> MoverRow:
        """The row of a milk pump that draws from a vessel."""
        one = next(m for t, m in self.all(Mover) if t == tag)
        position = self.modes[MILKING]
        state = (self.plant.position(position, tag) if position else "runs") or "runs"
        led = one.led_by if one.led_by in self.out.vessels else src
        vessel = self.out.vessels[led]
        declared = next((v for t, v in self.all(Vessel) if t == led), None)
        rho = vessel.kg_l
        mean = (declared.led_at_l if declared and declared.led_at_l else 0.35 * vessel.litres) * rho
        stop = declared.stop_at_l * rho if declared and declared.stop_at_l else 0.25 * mean
        start = declared.start_at_l * rho if declared and declared.start_at_l else 0.6 * mean
        full = min(2.0 * mean, 0.9 * vessel.cap_kg)
        if LAWS[one.law] == ON_OFF and not (declared and declared.start_at_l):
            start = mean
        start = max(start, stop * 1.05)
        if state == "ready":
            start = max(start, min(1.1 * full, 0.92 * vessel.cap_kg))
        return MoverRow(
            f"{tag} from {src}", tag, src, LAWS[one.law], 0.0, led=led, full=full,
            start=start, stop=stop, floor=one.floor_share, kw=one.motor_kw,
            steps=float(one.steps), cmd=0.0 if state == "stopped" else 1.0,
        )  # fmt: skip

    def _gives_milk(self, src: str) -> bool:
        """Whether a milk pump that draws from a vessel is one of the day's."""
        row = self.out.vessels.get(src)
        return (
            row is not None and row.substance == 0 and row.role == STORE and not row.fill
            and src != self.out.tanker
        )  # fmt: skip

    def _gravity(self) -> None:
        for tag, one in self.all(Runs):
            ends = [w for w in self._reaches(tag, one.port, movers=False) if w.vessel != tag]
            if not ends:
                continue
            if one.port == "balance":
                for way in ends:
                    mover = MoverRow(f"{tag} to {way.vessel}", tag, tag, EVEN, 1e6, led=way.vessel)
                    mover.tau = max(one.time_s, 1.0)
                    self.out.movers.append(mover)
                continue
            law = RUNS if one.time_s > 0 else FIXED
            mover = MoverRow(f"{tag}.{one.port}", tag, tag, law, one.flow_l_min / 60)
            mover.tau = max(one.time_s, 1.0)
            self.out.movers.append(mover)

    def _places(self) -> None:
        tanker = self.first(Tanker)
        fill = [t for t, v in sorted(self.out.vessels.items()) if v.fill]
        for tag in fill:
            self.out.places.append(tag)
            if tanker is None:
                continue
            ways = self._reaches(tag, "outlet")
            if any(w.vessel == tanker[0] for w in ways):
                name = f"{tag} to {tanker[0]}"
                kg_s = tanker[1].load_l_min * self.out.vessels[tag].kg_l / 60
                mover = MoverRow(name, tag, tag, LOADING, kg_s, cmd=0.0)
                mover.branches[tanker[0], (), ""] = Branch(tanker[0])
                self.out.movers.append(mover)
                self.out.loading[tag] = name
        if tanker is not None and tanker[1].direct:
            self.out.places.append(tanker[0])

    # Water, wash, heat and cold.

    def _floats_to(self, tag: str, one: Float) -> None:
        found = [
            w for w in self._reaches(tag, one.port, back=True)
            if self.out.vessels[w.vessel].substance == WATER
            and not any(x.machine in w.passes for x in self.out.exchangers)
        ]  # fmt: skip
        if not found:
            return
        way = min(found, key=lambda w: (w.resistance, w.vessel))
        pumps = self._movers_on(way)
        most = min([p.flow_l_min for _, p in pumps] + [one.flow_l_min])
        source = self.out.vessels[way.vessel]
        if source.role == SOURCE:
            most = min(most, source.litres)
        mover = MoverRow(
            f"{way.vessel} to {tag}", pumps[0][0] if pumps else tag, way.vessel, FLOAT, most / 60,
            led=tag, full=one.level_share * self.out.vessels[tag].cap_kg,
            kw=sum(p.motor_kw for _, p in pumps),
        )  # fmt: skip
        if any(tag == heater for heater, _ in self.all(Heated)):
            usable = self.number("heater.usable_share")
            mover.floor = (1.0 - usable) * self.out.vessels[tag].cap_kg
        mover.branches[tag, (), ""] = Branch(tag, passes=way.passes)
        self.out.movers.append(mover)

    def _dose(self, name: str, way: Way | None, dst: str, most_l_min: float) -> str:
        if way is None:
            return ""
        pumps = self._movers_on(way)
        most = min([p.flow_l_min for _, p in pumps] + [most_l_min])
        mover = MoverRow(name, pumps[0][0] if pumps else way.vessel, way.vessel, DOSE, most / 60,
                         kw=sum(p.motor_kw for _, p in pumps))  # fmt: skip
        mover.branches[dst, (), ""] = Branch(dst, passes=way.passes)
        self.out.movers.append(mover)
        return name

    def _water_from(self, tag: str, port: str) -> Way | None:
        found = [
            w for w in self._reaches(tag, port, back=True)
            if self.out.vessels[w.vessel].substance == WATER
        ]  # fmt: skip
        return min(found, key=lambda w: (w.resistance, w.vessel), default=None)

    def _water(self) -> None:
        for tag, one in self.all(Float):
            self._floats_to(tag, one)
        for tag, cow in self.all(EachCow):
            if cow.water_l > 0 and not self.out.cow_dose:
                way = self._water_from(tag, cow.port)
                self.out.cow_dose = self._dose(f"{tag} water", way, DRAIN, 500.0)

    def _wash(self) -> None:
        found = self.first(WashVessel)
        if found is None:
            self.out.notes.append("No wash vessel: the washes of the day are not simulated.")
            return
        tag, one = found
        hot = {t for t, _ in self.all(Heated)}
        supplies = [
            w for w in self._reaches(tag, one.supply, back=True)
            if self.out.vessels[w.vessel].substance == WATER
        ]  # fmt: skip
        recovered = {b.dst for m in self.out.movers if m.law == FOLLOW for b in m.branches.values()}
        warm = [w for w in supplies if w.vessel in hot]
        cold = [w for w in supplies if w.vessel not in hot]
        cold.sort(key=lambda w: (w.vessel not in recovered, w.resistance, w.vessel))
        if not supplies:
            self.out.notes.append(f"{tag}: no water reaches it, so no wash is simulated.")
            return
        self.out.trough = tag
        self.out.hot_supply = [
            self._dose(f"hot from {w.vessel} to {tag}", w, tag, 100.0) for w in warm
        ]
        self.out.cold_supply = self._dose(f"cold to {tag}", cold[0] if cold else None, tag, 150.0)
        drain = MoverRow(f"{tag} drain", tag, tag, FIXED, 200.0 / 60, cmd=0.0)
        drain.branches[DRAIN, (), ""] = Branch(DRAIN)
        self.out.movers.append(drain)
        self.out.trough_drain = drain.id
        if warm:
            self.out.tank_dose = self._dose("tank wash", warm[0], DRAIN, 60.0)
        else:
            self.out.notes.append(f"{tag}: no heater feeds it; the wash is cold.")

    def _buffers(self) -> None:
        """What a buffer holds is added to the baths it is joined to, in equal parts."""
        held = dict(self.all(Bath))
        for tag, one in self.all(HoldsCold):
            ways = self._reaches(tag, one.port, back=True, gases=frozenset(NOT_COOLANT))
            baths = sorted({w.vessel for w in ways if w.vessel in held})
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
            ways = self._reaches(tag, one.coolant_in, back=True, gases=frozenset(NOT_COOLANT))
            baths = [w.vessel for w in ways if self.out.vessels[w.vessel].role == BATH]
            ring = self._consumer(tag, one.coolant_in, baths) if baths else -1
            self.out.cooled.append((tag, one, ring))
        own = {tag for tag, _ in self.all(Bath)}
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
        for tag, one in self.all(Lot):
            dose = ""
            if one.water_l > 0 and one.water:
                dose = self._dose(f"{tag} water", self._water_from(tag, one.water), DRAIN, 60.0)
            self.out.lots.append((tag, one, dose))
        self.out.lots.sort(key=lambda row: (row[1].stage, row[0]))
