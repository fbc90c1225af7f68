"""What chance gives: one counter-based stream for each purpose, day and milking, by cow id.

A larger herd leaves the draws of the first cows as they were, and the same seed gives the same
day whatever else the plant changes.
"""

from __future__ import annotations

import math
import zlib

import numpy as np

from byrewright.engine import shape as sh
from byrewright.engine.names import Compiled
from byrewright.plant.farm import minutes
from byrewright.plant.plant import Plant
from byrewright.plant.primitives import TakesOff
from byrewright.plant.programme import programme_of, top
from byrewright.standards.rulebook import Rulebook

PEAK = "milking.peak_flow_kg_min"
ALWAYS = 2**31  # the day of draws that belong to a cow for good


def stream(seed: int, purpose: str, day: int, milking: int) -> np.random.Generator:
    """The stream of one purpose in one milking."""
    key = np.array([seed & (2**64 - 1), zlib.crc32(purpose.encode())], np.uint64)
    counter = np.array([0, 0, day & (2**64 - 1), milking], np.uint64)
    return np.random.Generator(np.random.Philox(key=key, counter=counter))


def log_normal(mean: float, std_dev: float, z: sh.Floats) -> sh.Floats:
    """Log-normal values of a mean and standard deviation from standard normal ones."""
    if std_dev <= 0.0:
        return np.full(z.shape, mean)
    sigma = np.sqrt(np.log1p((std_dev / mean) ** 2))
    return np.asarray(np.exp(np.log(mean) - 0.5 * sigma**2 + sigma * z))


def removal_of(off: TakesOff | None, rules: Rulebook) -> tuple[float, float, float]:
    """When a unit is taken off: threshold kg/min, delay s, longest time on s."""
    if off is None:
        return (rules.number("milking.removal_threshold_kg_min"),
                rules.number("milking.hand_removal_s"), math.inf)  # fmt: skip
    return off.threshold_kg_min, off.delay_s, off.limit_s or math.inf


def milked_share(after_s: sh.Floats, flow_s: sh.Floats, rise: sh.Floats, fall: float) -> sh.Floats:
    """Share of the milk given `after_s` from let-down, of many cows (see the kernel's own)."""
    x = np.clip(after_s / flow_s, 0.0, 1.0)
    area = 1.0 - 0.5 * rise - 0.5 * fall
    falling = 1.0 - 0.5 * (1.0 - x) ** 2 / (fall * area)
    plateau = (0.5 * rise + (x - rise)) / area
    return np.where(x < rise, 0.5 * x * x / (rise * area), np.where(x < 1.0 - fall, plateau,
                                                                    falling))  # fmt: skip


SETTLES = 4
"""Turns in which what is left in the udder is found: each brings it some twenty times nearer."""


class Cows:
    """The cows of a plant as arrays by id, and what each gives at any milking."""

    def __init__(self, plant: Plant, rules: Rulebook, seed: int) -> None:
        self.plant = plant
        self.rules = rules
        self.seed = seed
        self.programme = programme_of(plant, rules)
        groups = plant.herd.all_groups()
        self.group = np.repeat(np.arange(len(groups)), [g.cows for g in groups])
        cows = len(self.group)
        herd = plant.herd
        self.z = stream(seed, "yield", ALWAYS, 0).standard_normal(cows)
        self.factor = np.maximum(0.3, 1.0 + herd.yield_std_dev * self.z)
        self.first = np.concatenate([[0], np.cumsum([g.cows for g in groups])])

    def removal(self) -> tuple[float, float, float]:
        """When this plant takes a unit off."""
        parts = (p for t in sorted(self.plant.equipment) for p in self.plant.equipment[t].lower())
        return removal_of(next((p for p in parts if isinstance(p, TakesOff)), None), self.rules)

    def drawn(self, day: int, index: int) -> sh.Floats:
        """The cows of one milking (by its place in the file) in order, as each would milk with
        nothing amiss."""
        one = self.programme.at_place(index)
        cows = len(self.group)
        ids = np.concatenate(
            [np.arange(self.first[p.group], self.first[p.group + 1]) for p in one.parts]
        )
        litres = np.concatenate([np.full(p.cows, p.litres_cow) for p in one.parts])
        kg = litres * self.factor[ids] * self.programme.milk_kg_l
        own = stream(self.seed, "milk-out", day, index).standard_normal(cows)
        r = self.rules.number("milking.yield_time_correlation")
        z = (r * self.z + np.sqrt(1 - r**2) * own)[ids]
        table = sh.zeros(len(ids), len(sh.COW))
        ends = np.cumsum([p.cows for p in one.parts])
        self._curve(table, kg, np.concatenate(
            [log_normal(p.milk_out.mean_s, p.milk_out.std_dev_s, z[end - p.cows : end])
             for p, end in zip(one.parts, ends, strict=True)]
        ))  # fmt: skip
        table[:, sh.C_WITHHELD] = np.concatenate(
            [np.arange(p.cows) < p.withheld_cows for p in one.parts]
        )
        table[:, sh.C_GROUP] = self.group[ids]
        table[:, sh.C_ID] = ids
        return table

    def milked(self, day: int, index: int, pace_s: float, stop_share: float) -> sh.Floats:
        """The cows of one milking in order, with all that chance gives them. `pace_s` is the time
        between stalls of a deck that stands still for a share of the time; nil in rows."""
        table = self.drawn(day, index)
        self._accidents(table, day, index, pace_s, stop_share)
        return table

    def _accidents(
        self, table: sh.Floats, day: int, index: int, pace_s: float, stop: float
    ) -> None:
        n, ids = self.rules.number, table[:, sh.C_ID].astype(np.int64)
        cows = len(self.group)
        kick = stream(self.seed, "kick", day, index).random((cows, 2))[ids]
        kicked = kick[:, 0] < n("milking.kick_off_share")
        table[:, sh.C_KICK_AT] = np.where(kicked, kick[:, 1] * table[:, sh.C_ON_S], 1e12)
        table[:, sh.C_PAUSE_S] = n("milking.kick_off_back_s")
        mean = n("milking.stop_mean_s")
        chance = min(0.5, stop / (1 - stop) * pace_s / mean)
        draw = stream(self.seed, "stop", day, index).random((cows, 2))[ids]
        long = -mean * np.log1p(-np.minimum(draw[:, 1], 0.999))
        table[:, sh.C_STOP_S] = np.where(draw[:, 0] < chance, long, 0.0)
        work = self.plant.work
        routine = work.routine_s
        z = stream(self.seed, "work", day, index).standard_normal(cows)[ids]
        std_dev = n("labour.task_spread_s") / 2
        table[:, sh.C_WORK_S] = np.maximum(0.3 * routine, routine + std_dev * z)

    def _curve(self, table: sh.Floats, kg: sh.Floats, on_s: sh.Floats) -> None:
        """Flow time from the stated unit-on time, and unit-on time at this plant's removal.

        Rise, plateau and fall are straight; removal is where the fall crosses the threshold, plus
        its delay. The stated times and yields are taken to hold at the usual threshold and delay:
        what is left in the udder then comes on top of the yield.
        """
        n = self.rules.number
        fall = n("milking.fall_share")
        lag = n("milking.lag_on_s")
        usual = n("milking.removal_threshold_kg_min") / 60
        usual_delay = n("milking.removal_delay_s")
        flow_on = np.maximum(on_s - lag - usual_delay, 30.0)
        rise = np.clip(n("milking.rise_s") / flow_on, 0.05, 0.5)
        area = 1.0 - rise / 2 - fall / 2
        if self.plant.herd.milk_out_time_s is None:
            # No cow's plateau passes the top of the usual range: a large yield takes its time.
            flow_on = np.maximum(flow_on, 60 * kg / (area * top(self.rules, PEAK)))
        given, flow_s = kg, flow_on
        for _ in range(SETTLES):
            a = fall * area * usual / kg
            root = np.sqrt(np.maximum(0.0, 1.0 - 4 * a * flow_on))
            flow_s = 2 * flow_on / (1.0 + root)
            fades_s = np.maximum(a * flow_s**2, 1e-9)  # from the usual threshold on
            rest_s = np.maximum(0.0, fades_s - usual_delay)
            kg = given + 0.5 * usual * rest_s**2 / fades_s
        threshold, delay, limit = self.removal()
        a = fall * area * threshold / 60 / kg
        crossing = np.maximum(flow_s - a * flow_s**2, (1.0 - fall) * flow_s * 0.5)
        table[:, sh.C_KG] = kg
        table[:, sh.C_LAG] = lag
        table[:, sh.C_FLOW_S] = flow_s
        table[:, sh.C_RISE] = rise
        table[:, sh.C_ON_S] = np.minimum(lag + crossing + delay, limit)


class Herd(Cows):
    """The cows of a compiled plant, with all that chance does to them on any day."""

    def __init__(self, plant: Plant, compiled: Compiled, rules: Rulebook, seed: int) -> None:
        super().__init__(plant, rules, seed)
        self.compiled = compiled

    def removal(self) -> tuple[float, float, float]:
        """As it was compiled."""
        return self.compiled.removal

    def milking(self, day: int, index: int) -> sh.Floats:
        """The cows of one milking (by its place in the file) in order, with all that chance
        gives them."""
        deck = self.plant.equipment[self.compiled.names.deck]
        stop = float(getattr(deck, "stop_share_pct", 0.0)) / 100
        rotary = self.compiled.tables.num[sh.N_LAYOUT] == 0
        return self.milked(day, index, self.compiled.pace_s if rotary else 0.0, stop)


def day_of(
    plant: Plant,
    compiled: Compiled,
    herd: Herd,
    *,
    month: int,
    day: int,
    hot: bool = False,
    extra: tuple[tuple[int, int, int, int, float], ...] = (),
    last: sh.Day | None = None,
) -> sh.Day:
    """One day of weather, prices, cows and timed rows.

    Args:
        day: number of the day; its first step is `day` times the steps of a day.
        hot: the day whose warmest hour is the site's hottest, instead of the mean of the month.
        extra: more rows of (step, rank, target, field, value), such as failures and repairs.
        last: the day before, whose last milking may still go on.
    """
    T = compiled.tables
    k = max(1, compiled.milkings)
    slots = int(T.num[sh.N_SLOTS])
    size = max(compiled.cows, 1)
    cows = last.cows.copy() if last is not None else sh.zeros(slots, size, len(sh.COW))
    count = last.count.copy() if last is not None else sh.whole(slots)
    steps = round(86400 / compiled.step_s)
    rows: list[tuple[int, int, int, int, float]] = list(extra)
    # Numbered in order of time, as the kernel takes them.
    for rank, one in enumerate(herd.programme.milkings):
        at = one.start_min * 60 - compiled.origin_s
        number = day * k + rank
        table = herd.milking(day, one.place)
        cows[number % slots, : len(table)] = table
        count[number % slots] = len(table)
        step = day * steps + round(at / compiled.step_s)
        rows.append((step, 5, number, sh.ROW_MILKING, 0.0))
        rows.append((step, 4, 0, sh.ROW_OPERATORS, float(one.operators)))
    for visit in plant.collections:
        if day % visit.every_days == 0:
            at = (minutes(visit.at) * 60 - compiled.origin_s) % 86400
            step = day * steps + round(at / compiled.step_s)
            rows.append((step, 3, 0, sh.ROW_TANKER, visit.tanker_l * compiled.milk_kg_l))
    rows.sort()
    mean, swing = ambient_c(plant, herd.rules, month, hot=hot)
    weather = np.array([mean, compiled.origin_s, swing])
    source = compiled.start.items[T.rows("vessels"), sh.V_T0].copy()
    for i in range(len(compiled.names.vessels)):
        if T.I[i, sh.VI_ROLE] == sh.SOURCE:
            source[i] = plant.site.water_temperature_c[month - 1]
    heads = np.array([r[:4] for r in rows], np.int64).reshape(-1, 4)
    values = np.array([r[4] for r in rows], np.float64)
    return sh.Day(weather, prices(plant), source, cows, count, heads, values)


def ambient_c(
    plant: Plant, rules: Rulebook, month: int, *, hot: bool = False
) -> tuple[float, float]:
    """Mean of the day and swing above and below it, degC and K."""
    swing = rules.number("cooling.day_swing_k")
    return (plant.site.hottest_c - swing if hot else plant.site.ambient_c[month - 1]), swing


def prices(plant: Plant) -> sh.Floats:
    """The price of a kWh for each minute of the day (nil where no tariff is stated)."""
    price = sh.zeros(1440)
    bands = sorted(plant.site.supply.tariff, key=lambda t: minutes(t.start))
    if bands:
        price[:] = bands[-1].price_kwh
        for band in bands:
            price[minutes(band.start) :] = band.price_kwh
    return price
