"""Operating maps of the milk pumps against the network solved directly, between their points."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from byrewright.engine import shape as sh
from byrewright.engine.compiled import Compiled
from byrewright.engine.liquids import liquids_of
from byrewright.engine.liquidstreams import streams
from byrewright.engine.milkmaps import MilkMaps
from byrewright.engine.operating_map import RatedPump, capacity_balance
from byrewright.engine.session import first_day
from byrewright.physics.air import vane_pump_l_min_free
from byrewright.plant.plant import Pipe, Plant
from byrewright.standards.rulebook import default_rulebook
from tests import plants
from tests.engine.test_engine_basics import compiled_day

ERROR = 0.005  # of a flow, as promised
SEEDS = range(7001, 7007)  # none was tuned with


def random_plant(rng: np.random.Generator) -> Plant:
    """An invented rotary with pumps, lines and vessels of random sizes."""

    def pump(tag: str, led: str) -> object:
        return plants.machine(
            tag, "milk_pump", flow_l_min=rng.uniform(80, 260), head_m=rng.uniform(9, 20),
            motor_kw=2.2, control="level_led", led_by=led,
        )  # fmt: skip

    base = plants.rotary(
        40, 200, milkings=1, groups=1, CF1=None,
        **{t: pump(t, led) for t, led in (("MP1", "RC1"), ("MP2", "RC2"), ("MP3", "BT1"),
                                          ("MP4", "BT1"))},
        BT1=plants.machine("BT1", "balance_tank", volume_l=rng.uniform(200, 1500), led_at_l=100),
        PC1=plants.machine("PC1", "plate_cooler", area_m2=20, water_ratio=2.0,
                           milk_drop_kpa=rng.uniform(20, 90)),
    )  # fmt: skip
    pipes = tuple(
        p.model_copy(update={"length_m": rng.uniform(1, 25), "bore_mm": rng.choice([48.6, 60.3])})
        if base.service_of(p) == "milk" else p for p in base.pipes
    )  # fmt: skip
    return base.model_copy(update={"pipes": pipes})


def mapped(compiled: Compiled, level: float, dirt: float) -> dict[str, float]:
    """Flow of each pump with all running in the milking state, kg/s, as the kernel reads it."""
    T, names = compiled.tables, compiled.names
    transfers = T.I[T.rows("transfers")]
    filters = T.F[T.rows("filters")][:, sh.F_LOSS :]
    xs = np.linspace(0, 1, sh.DIRTS + 1)
    slow = [1.0 - float(np.interp(dirt, xs, [0.0, *row])) for row in filters[:, : sh.DIRTS]]
    out = {}
    for i, tag in enumerate(names.transfers):
        if not tag.startswith("MP"):
            continue
        group = [
            j
            for j in range(len(transfers))
            if transfers[j, sh.MI_GROUP] == transfers[i, sh.MI_GROUP]
        ]
        index = sum(
            {1 << int(transfers[j, sh.MI_BIT]) for j in group if transfers[j, sh.MI_BIT] >= 0}
        )
        flow, _, lift = T.most[0, index, i]
        out[tag] = flow * (1 + lift * (level - T.par[sh.PAR_LEVEL]))
        row = T.I[i + T.rows("transfers").start]
        mine = T.I[row[sh.MI_J0] : row[sh.MI_J1]]
        met = {int(f) - T.rows("filters").start for f in mine[:, sh.J_FILTER] if f >= 0}
        out[tag] *= min((slow[f] for f in met), default=1.0)
    return out


@pytest.mark.parametrize("seed", SEEDS)
def test_maps_lie_near_what_is_solved(seed: int) -> None:
    """Would fail if a level or a sock half used gave flows that the network does not."""
    rng = np.random.default_rng(seed)
    plant = random_plant(rng)
    compiled, _ = compiled_day(plant)
    net = liquids_of(plant, default_rulebook())
    maps = MilkMaps(net)
    at = {tag: plant.position("milking", tag) for tag in plant.equipment}
    for _ in range(4):
        level, dirt = rng.uniform(0.05, 0.95), rng.uniform(0, 1)
        s = maps.situation(at, frozenset(maps.pumps), "milking", dict.fromkeys(net.socks, dirt))
        s = replace(s, level_l={t: level * v.volume_l for t, v in net.vessels.items()})
        solved = dict.fromkeys(maps.pumps, 0.0)
        for x in streams(net, net.solve(s), frozenset(maps.pumps)):
            if x.passes:
                solved[x.passes[0]] += x.l_min / 60 * compiled.kg_l[x.source]
        told = mapped(compiled, level, dirt)
        for tag, flow in solved.items():
            assert told[tag] == pytest.approx(flow, rel=ERROR), (tag, level, dirt)


@pytest.mark.parametrize(("hump_m", "runs"), [(0.0, True), (0.6, False)])
def test_nothing_runs_over_a_crest_that_nothing_fills(hump_m: float, runs: bool) -> None:
    """A line laid over a door would be told to run empty by itself, as if it were always full."""
    base = plants.rotary(40, 200, milkings=1, groups=1)

    def humped(pipe: Pipe) -> Pipe:
        if (pipe.start, pipe.end) != ("ML1.receiver_1", "RC1.milkline_1"):
            return pipe
        over = ((0.0, 0.0), (1.0, hump_m), (4.0, -0.1))
        return pipe.laid(4.0, -0.1, 0, over)

    plant = base.model_copy(update={"pipes": tuple(humped(p) for p in base.pipes)})
    maps = MilkMaps(liquids_of(plant, default_rulebook()))
    at = {tag: plant.position("milking", tag) for tag in plant.equipment}
    to = {x.target for x in maps.by_itself(at, "milking") if x.source == "ML1"}
    assert ("RC1" in to) is runs and "RC2" in to
    assert any("rises 0." in n and "RC1 by itself" in n for n in maps.notes) is not runs


def test_without_a_solved_network_air_let_in_is_air_drawn() -> None:
    """Would fail if vacuum, speed or power of pumps were not those of the air that they draw: a
    pump turns as fast as the air asks, and where it cannot the vacuum falls to where it can."""
    rules, units, each, leak = default_rulebook(), 20, 60.0, 100.0
    pumps = (RatedPump(1000.0, 4.0, True, 0.2), RatedPump(1000.0, 4.0, False, 1.0))
    table = capacity_balance(pumps, 42.0, units, each, leak, 100.0, rules).table
    assert table.shape == (4, units + 1, 3) and not table[0].any()
    draws = vane_pump_l_min_free(1000.0, 42.0, 100.0, rules)
    for on in range(units + 1):
        need = leak + each * on
        vacuum, speed, kw = table[1, on]
        if need <= draws:
            assert (vacuum, speed) == pytest.approx((42.0, max(0.2, need / draws)))
        else:
            let_in = need * (vacuum / 42.0) ** 0.5
            assert vane_pump_l_min_free(1000.0, vacuum, 100.0, rules) == pytest.approx(let_in)
            assert vacuum < 42.0 and speed == 1.0
        assert kw == pytest.approx(0.85 * 4.0 * speed)  # at full speed a motor has some to spare
    assert table[2, 0, 1] == 1.0 and table[3, 0, 1] == pytest.approx(0.6)


def test_milk_that_is_kept_is_seen_when_a_tank_was_filled_once() -> None:
    """Would fail if a day were told of tanks into which the milk of days before never ran."""
    plant = plants.rotary()
    days = [1, 3]
    visits = tuple(plant.collections[0].model_copy(update={"every_days": d}) for d in days)
    assert first_day(plant) == 1
    assert first_day(plant.model_copy(update={"collections": visits})) == max(days)
    assert first_day(plant.model_copy(update={"collections": ()})) == 1
