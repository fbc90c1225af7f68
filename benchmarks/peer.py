"""The same day in plain Python: SimPy for the cows, a loop for the milk. Written apart.

It shares with the engine only the plant's own fields, what chance gives each cow and the laws as
the method page words them; what a milking is due it works out for itself (`due_l`); no array, no
lowering and no kernel of the engine is used. It holds cows, milkline, receivers, pumps,
balance tanks, cooler, tanks with refrigeration; not wash, laundry, compressed air or electricity,
so a ratio of times flatters it.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Callable, Generator, Mapping
from dataclasses import dataclass, field
from typing import Any

import simpy

from byrewright.plant.plant import Plant

CP_MILK, CP_WATER = 3.93, 4.19
RHO = 1.03
SPECK_KG = 1e-9  # less is an empty vessel
LAG, FALL = 15.0, 0.25
COW_KG, COW_LAG, COW_FLOW_S, COW_RISE, COW_ON_S, COW_KICK, COW_STOP, COW_WORK = range(8)
COW_WITHHELD, COW_GROUP, COW_PAUSE = 8, 9, 10


def given(after: float, flow_s: float, rise: float) -> float:
    """Share of the milk given after let-down: the area under rise, plateau and fall."""
    x = min(max(after / flow_s, 0.0), 1.0)
    area = 1 - rise / 2 - FALL / 2
    up = min(x, rise)
    flat = min(max(x - rise, 0.0), 1 - rise - FALL)
    down = max(x - (1 - FALL), 0.0)
    return (up * up / (2 * rise) + flat + down - down * down / (2 * FALL)) / area


def due_l(plant: Plant) -> dict[tuple[str, str], float]:
    """Litres that a cow of a group gives at a milking, minute by minute of the day.

    What is made in a minute waits for the group's next milking; stated shares go before.
    """
    found: dict[tuple[str, str], float] = {}
    for group in plant.herd.all_groups():
        mine = [m for m in plant.milkings if group.name in (m.groups or (group.name,))]
        day_l = group.yield_l_day or plant.herd.yield_l_day
        stated = sum(m.share or 0.0 for m in mine)
        by_share = bool(mine) and all(m.share is not None for m in mine)
        for m in mine:
            found[m.name, group.name] = day_l * (m.share or 0.0) / stated if by_share else 0.0
        clocks = sorted((60 * int(m.start[:2]) + int(m.start[3:]), m.name) for m in mine)
        for minute in range(1, 1441) if clocks and not by_share else ():
            name = next((n for at, n in clocks if at >= minute), clocks[0][1])
            found[name, group.name] += day_l / 1440
    return found


@dataclass
class Cow:
    """A cow on the deck."""

    row: list[float]
    entered: float
    attached: float = math.inf
    off: float = math.inf
    share: float = 0.0
    passes: int = 1
    left: float = math.inf


class Deck:
    """A turning deck as a SimPy process: it turns from crossing to crossing of cows and places."""

    def __init__(self, plant: Plant, cows: list[list[float]], start: float) -> None:
        deck = next(m for m in plant.equipment.values() if m.kind == "platform")
        self.stalls: int = deck.stalls  # type: ignore[attr-defined]
        self.pace: float = deck.turn_s / deck.stalls  # type: ignore[attr-defined]
        self.closed: float = deck.entry_stalls  # type: ignore[attr-defined]
        self.people = plant.milkings[0].operators
        self.queue = cows
        self.env = simpy.Environment(initial_time=start)
        self.at: dict[int, Cow] = {}
        self.milked: list[Cow] = []
        self.busy = start
        self.ready = start
        self.next = 0
        self.over = False
        self.env.process(self.turn())

    def turn(self) -> Generator[Any, Any, None]:
        """Turn from one crossing to the next; stop for slow cows, wait for the people."""
        env = self.env
        place, entry, attach, out = 0.0, 0, 0, 0
        until_exit = self.stalls - self.closed / 2
        while self.next < len(self.queue) or self.at:
            wait = self.busy - 2 * self.pace - env.now
            if wait > 1e-9:
                yield env.timeout(wait)
                continue
            crossing = min((out + until_exit, 0), (attach + self.closed / 2, 1), (float(entry), 2))
            yield env.timeout((crossing[0] - place) * self.pace)
            place = crossing[0]
            if crossing[1] == 0:
                self.exit(out % self.stalls)
                out += 1
            elif crossing[1] == 1:
                self.attach(attach % self.stalls)
                attach += 1
            else:
                stop = self.enter(entry % self.stalls)
                entry += 1
                if stop > 0:
                    yield env.timeout(stop)
        self.over = True

    def enter(self, stall: int) -> float:
        """The next cow goes on where the stall is free; how long the deck then stands."""
        if stall in self.at or self.next >= len(self.queue) or self.env.now < self.ready:
            return 0.0
        row = self.queue[self.next]
        self.next += 1
        self.at[stall] = Cow(row, self.env.now)
        self.ready = self.env.now + 3.0
        return row[COW_STOP]

    def attach(self, stall: int) -> None:
        """Somebody attaches her as soon as one is free."""
        cow = self.at.get(stall)
        if cow is None or cow.attached < math.inf:
            return
        cow.attached = max(self.env.now, self.busy)
        self.busy = cow.attached + cow.row[COW_WORK] / self.people
        cow.off = cow.attached + cow.row[COW_ON_S]
        if cow.row[COW_KICK] < cow.row[COW_ON_S]:
            cow.off += cow.row[COW_PAUSE]

    def exit(self, stall: int) -> None:
        """Out when milked, round again when not."""
        cow = self.at.get(stall)
        if cow is None:
            return
        if cow.off <= self.env.now:
            cow.left = self.env.now
            self.milked.append(self.at.pop(stall))
        else:
            cow.passes += 1

    def step(self, end: float) -> tuple[float, float]:
        """Milk and withheld milk given until `end`, kg."""
        before = len(self.milked)
        while self.env.peek() <= end:
            self.env.step()
        milk = [0.0, 0.0]
        for cow in [*self.at.values(), *self.milked[before:]]:
            if cow.attached >= end:
                continue
            row = cow.row
            after = min(end, cow.off) - cow.attached
            if row[COW_KICK] < row[COW_ON_S] and after > row[COW_KICK]:
                after = row[COW_KICK] + max(0.0, after - row[COW_KICK] - row[COW_PAUSE])
            share = given(after - row[COW_LAG], row[COW_FLOW_S], row[COW_RISE])
            milk[int(row[COW_WITHHELD] > 0)] += row[COW_KG] * (share - cow.share)
            cow.share = share
        return milk[0], milk[1]


@dataclass
class Pool:
    """A vessel: kg and kJ."""

    cap: float
    kg: float = 0.0
    kj: float = 0.0
    most: float = 0.0
    spilt: float = 0.0
    on: bool = False
    chill: bool = False
    stirs: bool = False

    @property
    def c(self) -> float:
        """Its temperature."""
        return self.kj / (self.kg * CP_MILK) if self.kg > 1e-12 else 0.0


@dataclass
class Pump:
    """A pump between two vessels."""

    machine: Any
    src: str
    dst: str
    on: bool = False
    moved: float = 0.0


class Line:
    """A line full of milk: what came in first goes out first, in batches of a 48th of it."""

    def __init__(self, cap_kg: float) -> None:
        self.cap = cap_kg
        self.batches: deque[list[float]] = deque()

    @property
    def kg(self) -> float:
        """What stands in it."""
        return sum(b[0] for b in self.batches)

    def through(self, kg: float, kj: float, room: float) -> tuple[float, float]:
        """Give in, and take out what there is no room for: kg and kJ."""
        out, heat = max(0.0, self.kg + kg - room), 0.0
        left = min(out, self.kg)
        past = out - left  # straight through
        while left > 1e-13 and self.batches:
            first = self.batches[0]
            part = min(1.0, left / first[0])
            left -= part * first[0]
            heat += part * first[1]
            first[0], first[1] = first[0] * (1 - part), first[1] * (1 - part)
            if part == 1.0:
                self.batches.popleft()
        stays, c = kg - past, kj / kg if kg > 0 else 0.0
        while stays > 1e-13:
            if not self.batches or self.batches[-1][0] > self.cap / 48 - 1e-13:
                self.batches.append([0.0, 0.0])
            more = min(stays, self.cap / 48 - self.batches[-1][0])
            self.batches[-1][0] += more
            self.batches[-1][1] += more * c
            stays -= more
        return out, heat + past * c


def wall_standing_m2(volume_m3: float) -> float:
    """Wall of an upright cylinder 2.2 times as high as wide, both ends in."""
    radius = (volume_m3 / (math.pi * 4.4)) ** (1 / 3)
    return 2 * math.pi * radius * 4.4 * radius + 2 * math.pi * radius**2


def wetted_standing(fill: float) -> float:
    """Share of that wall under milk: the bottom, and the side as far as it is full."""
    if fill >= 1.0:
        return 1.0
    return (1.0 + 8.8 * fill) / 10.8 if fill > 0 else 0.0


@dataclass
class Chain:
    """Everything that milk passes, read from the plant's own fields and pipes."""

    plant: Plant
    cows: list[list[float]]
    start: float
    water_c: float
    ambient_c: float
    pools: dict[str, Pool] = field(default_factory=dict)
    pumps: list[Pump] = field(default_factory=list)
    full: Callable[[frozenset[str], int], Mapping[str, tuple[float, float]]] | None = None
    """Flow of each pump at full speed, kg/s, by which run and the tank in use, at a level of three
    tenths, and its growth for the whole of a level; rated without it."""

    def __post_init__(self) -> None:
        e = self.plant.equipment
        for tag, one in sorted(e.items()):
            if hasattr(one, "volume_l") and one.kind in ("receiver", "balance_tank", "bulk_tank"):
                self.pools[tag] = Pool(one.volume_l * RHO)
        self.line = next(m for m in e.values() if m.kind == "milkline")
        bore = self.line.bore_mm / 1000
        self.pools["line"] = Pool(math.pi / 4 * bore**2 * self.line.length_m * 1000 * RHO)
        speed = 100 * (bore / 4) ** (2 / 3) * math.sqrt(self.line.slope_pct / 100)
        self.drain_s = max(2.0, self.line.length_m / 4 / speed)
        self.receivers = sorted(t for t in e if e[t].kind == "receiver")
        self.tanks = sorted(t for t in e if e[t].kind == "bulk_tank")
        self.cooler = next((m for m in e.values() if m.kind == "plate_cooler"), None)
        follows = {p.start.partition(".")[0]: p.end.partition(".")[0] for p in self.plant.pipes
                   if p.start.endswith(".outlet")}  # fmt: skip
        comes = {p.end: p.start.partition(".")[0] for p in self.plant.pipes}
        for tag in sorted(e):
            if e[tag].kind != "milk_pump":
                continue
            dst = follows[tag]
            while dst not in self.pools and dst in follows:
                dst = follows[dst]
            to = dst if dst in self.pools else "tanks"
            self.pumps.append(Pump(e[tag], comes[f"{tag}.inlet"], to))
        litres = (
            math.pi / 4 * 0.635**2 * 40
        )  # of a pipe of the plants that are compared, each alike
        self.lines: dict[str, Line] = {}
        for group in {self.group(p) for p in self.pumps}:
            pipes = 2 * sum(self.group(p) == group for p in self.pumps) + 2 * (group == "tanks")
            self.lines[group] = Line(pipes * litres * RHO)
        self.deck = Deck(self.plant, self.cows, self.start)
        self.target = 0
        self.withheld = 0.0
        self.heat_out = 0.0
        self.flush_until = math.inf
        self.shut = False
        self.nearest = 1.0
        """How near any decision came to its threshold: under rounding, two steppers may differ."""

    @staticmethod
    def group(pump: Pump) -> str:
        """Pumps that meet before the cooler share its line; all others have one a vessel."""
        return "tanks" if pump.dst == "tanks" else pump.src

    def wish(self, pump: Pump, flush: bool) -> float:
        """Share of full flow by the level it follows."""
        m = pump.machine
        led = self.plant.equipment[m.led_by or pump.src]
        pool = self.pools[m.led_by or pump.src]
        if self.pools[pump.src].kg <= SPECK_KG:
            if (m.led_by or pump.src) == pump.src:
                pump.on = False
            return 0.0
        mean = (led.led_at_l or 0.35 * led.volume_l) * RHO  # type: ignore[attr-defined]
        stop = (getattr(led, "stop_at_l", None) or 0) * RHO or 0.25 * mean
        start = (getattr(led, "start_at_l", None) or 0) * RHO
        if not start:
            start = mean if m.control == "on_off" else 0.6 * mean
        start = max(start, 1.05 * stop)
        full = min(2 * mean, 0.9 * pool.cap)
        least = m.least_flow_pct / 100
        if flush:
            return max(0.5, least)
        self.nearest = min(self.nearest, *(abs(pool.kg - x) / pool.cap for x in (start, stop)))
        if pool.kg >= start:
            pump.on = True
        elif pool.kg <= stop:
            pump.on = False
        if not pump.on:
            return 0.0
        if m.control == "on_off":
            return 1.0
        share = min(1.0, max(0.0, (pool.kg - stop) / (full - stop)))
        if m.control == "stepped":
            if 0.0 < share < 1.0:
                self.nearest = min(self.nearest, abs(3 * share - round(3 * share)))
            return min(1.0, (math.floor(share * 3) + 1) / 3)
        return max(share, least)

    def step(self, t: float, dt: float) -> None:
        """One step of cows and milk."""
        deck_over = self.deck.over
        if deck_over and self.flush_until == math.inf:
            self.flush_until = t + 300.0
        way = sum(p.kg for tag, p in self.pools.items() if tag not in self.tanks)
        more = t < self.flush_until + 600.0 and way > 0.05 and not self.shut
        flush = deck_over and (t < self.flush_until or more)
        self.shut = shut = deck_over and not flush
        tank = self.tanks[self.target]
        if self.pools[tank].kg >= 0.985 * self.pools[tank].cap:
            for k in range(1, len(self.tanks) + 1):
                i = (self.target + k) % len(self.tanks)
                if self.pools[self.tanks[i]].kg < 0.985 * self.pools[self.tanks[i]].cap:
                    self.target = i
                    break
        milk, apart = (0.0, 0.0) if deck_over else self.deck.step(t + dt)
        self.withheld += apart
        moves: list[tuple[str, str, float]] = []
        line = self.pools["line"]
        if line.kg > 0:
            each = line.kg * min(1.0, dt / self.drain_s) / len(self.receivers)
            moves += [("line", r, each) for r in self.receivers]
        asked: dict[str, float] = {}
        wishes = []
        shares = [0.0 if shut else self.wish(pump, flush) for pump in self.pumps]
        running = frozenset(p.machine.id for p, s in zip(self.pumps, shares, strict=True) if s > 0)
        at_full = self.full(running, self.target) if self.full else {}
        for pump, share in zip(self.pumps, shares, strict=True):
            rated = pump.machine.flow_l_min * RHO / 60
            flow, lift = at_full.get(pump.machine.id, (rated, 0.0))
            pool = self.pools[pump.src]
            kg = flow * max(0.0, 1.0 + lift * (pool.kg / pool.cap - 0.3)) * dt * share
            wishes.append(kg)
            asked[pump.src] = asked.get(pump.src, 0.0) + kg
        dkg = dict.fromkeys(self.pools, 0.0)
        dkj = dict.fromkeys(self.pools, 0.0)
        for a, b, kg in moves:
            c = self.pools[a].c
            dkg[a] -= kg
            dkj[a] -= kg * CP_MILK * c
            dkg[b] += kg
            dkj[b] += kg * CP_MILK * c
        given: dict[str, list[tuple[float, float]]] = {group: [] for group in self.lines}
        for pump, kg in zip(self.pumps, wishes, strict=True):
            have = self.pools[pump.src].kg
            if asked[pump.src] > max(0.0, have):
                kg *= max(0.0, have) / asked[pump.src]
            if kg <= 0:
                continue
            pump.moved += kg
            c = self.pools[pump.src].c
            dkg[pump.src] -= kg
            dkj[pump.src] -= kg * CP_MILK * c
            given[self.group(pump)].append((kg, c))
        for group, every in given.items():
            to = (
                self.tanks[self.target]
                if group == "tanks"
                else next(p.dst for p in self.pumps if p.src == group)
            )
            kg = sum(k for k, _ in every)
            kj = sum(k * c for k, c in every) * CP_MILK
            if group == "tanks" and every:
                kj = self.cool(kg, kj, dt)
            room = self.lines[group].cap
            if deck_over:
                room *= min(1.0, max(0.0, (self.flush_until - t) / 150 - 1)) if flush else 0.0
            if kg > 0 or flush:
                out, heat = self.lines[group].through(kg, kj, room)
                dkg[to] += out
                dkj[to] += heat
        dkg["line"] += milk
        dkj["line"] += milk * CP_MILK * 35.0
        for tag, pool in self.pools.items():
            pool.kg += dkg[tag]
            pool.kj += dkj[tag]
            if pool.kg - pool.cap > 1e-9:
                pool.spilt += pool.kg - pool.cap
                pool.kj *= pool.cap / pool.kg
                pool.kg = pool.cap
            pool.most = max(pool.most, pool.kg)
        self.chill(t, dt)

    def cool(self, kg: float, kj: float, dt: float) -> float:
        """Heat of milk behind the cooler, kJ."""
        if self.cooler is None:
            return kj
        hot = kj / (kg * CP_MILK)
        ch = kg * CP_MILK
        cw = kg * self.cooler.water_ratio * CP_WATER  # type: ignore[attr-defined]
        ua = self.cooler.area_m2 * self.cooler.u_w_m2_k / 1000 * dt  # type: ignore[attr-defined]
        least, most = min(ch, cw), max(ch, cw)
        n, r = ua / least, least / most
        x = math.exp(-n * (1 - r))
        q = (1 - x) / (1 - r * x) * least * (hot - self.water_c)
        self.heat_out += q
        return kj - q

    def chill(self, t: float, dt: float) -> None:
        """Warming, refrigeration and stirring of the tanks."""
        for tag in self.tanks:
            m: Any = self.plant.equipment[tag]
            pool = self.pools[tag]
            wetted = wetted_standing(pool.kg / pool.cap)
            used = min(1.0, wetted / 0.25)
            if pool.kg > 0.01:
                ua = 0.4 * wall_standing_m2(m.volume_l / 1000) / 1000 * (0.5 + 0.5 * wetted)
                pool.kj -= ua * (pool.c - self.ambient_c) * dt
            room = pool.kj - pool.kg * CP_MILK * m.set_c
            if pool.kg < 0.1 * pool.cap or room <= 0:
                pool.chill = False
            elif room >= pool.kg * CP_MILK * 0.5:
                pool.chill = True
            if pool.chill:
                pool.kj -= min(m.cooling_kw * used * dt, room)
                pool.chill = m.cooling_kw * used * dt < room
            if pool.kg < 0.1 * pool.cap:
                pool.stirs = False
                continue
            if pool.c > m.set_c + 0.4:
                pool.stirs = True
            elif pool.c <= m.set_c + 0.01:
                pool.stirs = False
            if pool.stirs or t % 1800 < 120:
                pool.kj += m.agitator_kw * dt

    def run(self, until: float, dt: float = 1.0) -> None:
        """Step to a time."""
        steps = round((until - self.start) / dt)
        first = round(self.start / dt)
        for i in range(steps):
            self.step((first + i) * dt, dt)
