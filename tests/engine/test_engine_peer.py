"""Random plants stepped by the engine and by a stepper written apart agree."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, Phase, assume, example, given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq

from benchmarks.peer import RHO, Chain
from byrewright.engine import shape as sh
from byrewright.engine.compiled import Compiled
from byrewright.engine.simulate import simulate
from byrewright.physics.milk import milk_viscosity_mpa_s
from byrewright.physics.pipeflow import drop_kpa
from byrewright.plant.machine import Machine
from byrewright.plant.plant import Mode, Plant
from byrewright.standards.rulebook import Rulebook
from tests import plants
from tests.engine.test_engine_basics import compiled_day

AGREES = 1e-9  # of the milk that passed: only the order of sums may differ

HYDRAULIC = 1e-4  # of a flow: the solver stops at 1e-8, brentq on a head within it

FLIPS = 1e-12  # share of a vessel: nearer to a threshold, rounding alone decides which way it goes

EVEN = Rulebook({"cooling.day_swing_k": 0.0})  # the peer's day is as warm as its night


def chain_plant(receivers: int, balances: int, pumps: int, tanks: int, control: str,
                volume: float, cows: int, tank_l: float) -> Plant:  # fmt: skip
    """Receivers, balance tanks, parallel pumps and tanks in any number."""
    make = plants.machine
    # Seconds a stall that meet no step's end, so that rounding decides nothing.
    base = plants.rotary(24, cows, milkings=1, groups=1, withheld=2, turn_s=24 * 8.1379)
    keep = ("PF1", "DU1", "MU1", "AR1", "WM1", "ML1", "RG1", "WS1")
    e: dict[str, Machine] = {t: base.equipment[t] for t in keep}
    e["WS1"] = make("WS1", "water_source", flow_l_min=9000)
    e["PC1"] = make("PC1", "plate_cooler", area_m2=6, water_ratio=1.7)
    ends = ["MU1.milk ML1.units_1", "MU1.withheld WM1.milk", "WS1.outlet PC1.water_in"]
    positions = {"MU1": "milks"}
    for i in range(1, receivers + 1):
        e[f"RC{i}"] = make(f"RC{i}", "receiver", volume_l=volume, led_at_l=volume * 0.3)
        ends.append(f"ML1.receiver_{i} RC{i}.milkline_1")
    for i in range(1, balances + 1):
        e[f"BT{i}"] = make(f"BT{i}", "balance_tank", volume_l=3 * volume)
    for i in range(1, tanks + 1):
        e[f"TK{i}"] = make(f"TK{i}", "bulk_tank", volume_l=tank_l, cooling_kw=9, shape="standing")
        e[f"V{i}"] = make(f"V{i}", "valve", duty="fill")
        ends += [f"PC1.milk_out V{i}.a", f"V{i}.b TK{i}.inlet_1"]
        positions[f"V{i}"] = "open" if i == 1 else "closed"
    sources = [(f"RC{i}", f"BT{(i - 1) % balances + 1}" if balances else "PC1")
               for i in range(1, receivers + 1)]  # fmt: skip
    sources += [(f"BT{i}", "PC1") for i in range(1, balances + 1)]
    inlets: dict[str, int] = {}
    for src, dst in sources:
        for k in range(1, pumps + 1):
            tag = f"MP{src}{k}"
            e[tag] = make(tag, "milk_pump", flow_l_min=70 / pumps, head_m=12, motor_kw=1.5,
                          control=control, led_by=src)  # fmt: skip
            positions[tag] = "runs"
            inlets[dst] = inlets.get(dst, 0) + 1
            port = "milk_in" if dst == "PC1" else f"inlet_{inlets[dst]}"
            e[f"NR{tag}"] = make(f"NR{tag}", "non_return_valve")
            ends += [f"{src}.outlet {tag}.inlet", f"{tag}.outlet NR{tag}.inlet",
                     f"NR{tag}.outlet {dst}.{port}"]  # fmt: skip
    pipes = tuple(plants.pipe(f"L{i}", *text.split()) for i, text in enumerate(ends))
    modes = {"milking": Mode(name="milking", does=("milking",), positions=positions)}
    return base.model_copy(
        update={"equipment": e, "pipes": pipes, "modes": modes, "collections": ()}
    )


def rows_of(table: np.ndarray) -> list[list[float]]:
    """Cows as the peer takes them."""
    return [[float(v) for v in row] for row in table]


def mains(plant: Plant, running: frozenset[str]) -> dict[str, float]:
    """What each running pump gives, L/min, with its line and the common one worked out by hand.

    Every pipe is 4 m of 63.5 mm; pumps that meet before the cooler share its head.
    """
    e: dict[str, Any] = dict(plant.equipment)
    to = {p.start.partition(".")[0][2:]: p.end.partition(".")[0] for p in plant.pipes
          if p.start.startswith("NRMP")}  # fmt: skip
    mu = milk_viscosity_mpa_s(35.0, extrapolate=True)
    metre = RHO * 9.80665  # kPa

    def pipe(q: float, k: float) -> float:
        return drop_kpa(q, 4.0, 63.5, 1000 * RHO, mu, 0.015, k) / metre

    def gives(tag: str, over: Callable[[float], float]) -> float:
        """The flow at which a pump's head, and the level before it, meet what is over it."""
        m = e[tag]
        tall = (4 * e[m.led_by].volume_l / 1000 / math.pi) ** (1 / 3)
        power = math.log(0.65 / 0.25) / math.log(1.5)

        def left(q: float) -> float:
            head = m.head_m * (1.25 - 0.25 * (q / m.flow_l_min) ** power)
            # Pumps of one vessel draw through its one outlet, alike.
            beside = sum(1 for t in running if e[t].led_by == m.led_by)
            lost = pipe(q, 0.5 * beside**2) + pipe(q, 2.0) + 2.0 / metre
            return float(head + 0.3 * tall - lost - over(q))

        return float(brentq(left, 1e-6, 3 * m.flow_l_min, xtol=1e-9)) if left(1e-6) > 0 else 0.0

    out = {t: gives(t, lambda q: pipe(q, 1.0)) for t in running if to[t] != "PC1"}
    common = [t for t in running if to[t] == "PC1"]
    if common:
        cooler = e["PC1"]
        rated = cooler.area_m2 * cooler.u_w_m2_k / 1000 / (2.5 * 1.03 * 3.93) * 60

        def past(q: float) -> float:
            plates = cooler.milk_drop_kpa * (q / rated) ** 1.75 / metre
            return plates + pipe(q, 0.5) + pipe(q, 1.0)

        def spare(head: float) -> float:
            return sum(gives(t, lambda q: pipe(q, 0.0) + head) for t in common) - flow_at(head)

        def flow_at(head: float) -> float:
            return float(brentq(lambda q: past(q) - head, 0.0, 1e4, xtol=1e-10))

        head = float(brentq(spare, 1e-9, 60.0, xtol=1e-12))
        out |= {t: gives(t, lambda q: pipe(q, 0.0) + head) for t in common}
    return out


def full_flows(
    compiled: Compiled,
) -> Callable[[frozenset[str], int], dict[str, tuple[float, float]]]:
    """The engine's own flows at full speed, kg/s, by which pumps run and the tank in use, and by
    which share they grow with the level."""
    T, names = compiled.tables, compiled.names
    transfers = T.I[T.rows("transfers")]

    def full(running: frozenset[str], target: int) -> dict[str, tuple[float, float]]:
        out = {}
        for i, tag in enumerate(names.transfers):
            if tag not in running:
                continue
            mine = [j for j, t in enumerate(names.transfers) if t in running
                    and transfers[j, sh.MI_GROUP] == transfers[i, sh.MI_GROUP]]  # fmt: skip
            bits = [int(transfers[j, sh.MI_BIT]) for j in mine]
            index = sum(1 << b for b in bits) if bits[0] >= 0 else len(bits)
            out[tag] = float(T.most[target, index, i, 0]), float(T.most[target, index, i, 2])
        return out

    return full


@given(
    receivers=st.integers(1, 6), balances=st.integers(0, 3), pumps=st.integers(1, 3),
    tanks=st.integers(1, 3), control=st.sampled_from(["on_off", "stepped", "level_led"]),
    volume=st.floats(25, 150), cows=st.integers(20, 60), tank_l=st.sampled_from([220.0, 5000.0]),
    seed=st.integers(0, 10**6),
)  # fmt: skip
@example(
    receivers=5,
    balances=2,
    pumps=3,
    tanks=2,
    control="stepped",
    volume=40.78197874401777,
    cows=55,
    tank_l=5000.0,
    seed=365,
)  # a speck in one tank let its pumps count as running
@settings(max_examples=12, deadline=None, phases=(Phase.explicit, Phase.generate),
          suppress_health_check=list(HealthCheck))  # fmt: skip
def test_random_plants_agree_with_a_stepper_written_apart(
    receivers: int, balances: int, pumps: int, tanks: int, control: str, volume: float,
    cows: int, tank_l: float, seed: int,
) -> None:  # fmt: skip
    """Would fail if any law of cows, pumps, cooler or tank were not what the method page says."""
    plant = chain_plant(receivers, balances, pumps, tanks, control, volume, cows, tank_l)
    compiled, day = compiled_day(plant, EVEN, seed=seed)
    begins = 3600
    until = begins + cows * 9 + 24 * 9 + 2400
    ours = simulate(compiled, day, compiled.start, until).state
    peer = Chain(
        plant, rows_of(day.cows[0, : day.count[0]]), begins, plants.WATER_C[5], plants.AMBIENT_C[5],
        full=full_flows(compiled),
    )  # fmt: skip
    every = frozenset(p.machine.id for p in peer.pumps)
    transfers = compiled.tables.I[compiled.tables.rows("transfers")]
    for running in (every, frozenset(sorted(every)[:1]), frozenset(sorted(every)[::2])):
        by_hand = mains(plant, running)
        for tag, (kg_s, _) in full_flows(compiled)(running, 0).items():
            bit = transfers[compiled.names.transfers.index(tag), sh.MI_BIT]
            if bit < 0 and running != every:  # of many alike only the number is told
                continue
            assert kg_s * 60 / RHO == pytest.approx(by_hand[tag], rel=HYDRAULIC, abs=1e-3), tag
    peer.run(until)
    assume(peer.nearest > FLIPS)
    through = sum(p.moved for p in peer.pumps) + 1.0
    rows = compiled.tables.rows("transfers")
    for pump in peer.pumps:
        i = rows.start + compiled.names.transfers.index(pump.machine.id)
        assert abs(ours.items[i, sh.S_KG] - pump.moved) < AGREES * through, pump.machine.id
    for tag, pool in peer.pools.items():
        v = ours.items[compiled.vessel("ML1" if tag == "line" else tag)]
        assert abs(v[:4].sum() - pool.kg) < AGREES * through, tag
        assert abs(v[sh.P_MOST] - pool.most) < AGREES * through, tag
        assert abs(v[sh.HEAT] - pool.kj) < AGREES * through * 150, tag
    lines = ours.items[compiled.tables.rows("lines")]
    assert len(lines) == len(peer.lines)
    held = sum(line.kg for line in peer.lines.values())
    assert abs(lines[:, : sh.SUBSTANCES].sum() - held) < AGREES * through
    apart = ours.items[[compiled.vessel("WM1"), compiled.vessel("(dumped)")], sh.WITHHELD].sum()
    assert apart == pytest.approx(peer.withheld, rel=AGREES)
    out = ours.out[0][: day.count[0]]
    theirs = sorted(peer.deck.milked, key=lambda c: c.entered)
    assert len(theirs) == len(out)
    np.testing.assert_allclose(out[:, sh.O_ENTER], [c.entered for c in theirs], rtol=AGREES)
    np.testing.assert_allclose(out[:, sh.O_EXIT], [c.left for c in theirs], rtol=AGREES)
    assert [int(p) for p in out[:, sh.O_PASSES]] == [c.passes for c in theirs]
    assert compiled.kg_l["TK1"] == pytest.approx(RHO)
