"""A day of 1,500 cows milked three times on 88 stalls: the engine beside plain Python.

    python benchmarks/bench_day.py          the ratio, the ratio of cow traffic alone, and a year

The peer (benchmarks/peer.py) is SimPy for the cows and a loop at 1 s for the milk, with the same
cows drawn by the same seed; its answers are compared before any time is printed. It leaves out
wash, laundry, compressed air and electricity. Two ratios are printed: the engine with all of these,
and with a plant without wash, laundry and compressed air (electricity and vacuum stay in).
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

ROOT = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(ROOT))

from benchmarks.peer import Chain, Deck  # noqa: E402
from byrewright.engine import shape as sh  # noqa: E402
from byrewright.engine.compiled import Compiled, compile_plant  # noqa: E402
from byrewright.engine.draws import Herd, day_of  # noqa: E402
from byrewright.engine.simulate import simulate  # noqa: E402
from byrewright.plant.machine import Machine  # noqa: E402
from byrewright.plant.plant import Plant  # noqa: E402
from byrewright.standards.rulebook import Rulebook  # noqa: E402
from byrewright.studies.day.study import simulate_days  # noqa: E402
from tests import plants  # noqa: E402
from tests.engine.test_engine_peer import full_flows  # noqa: E402

STALLS, COWS, MILKINGS = 88, 1500, 3
PACE_S = 6.2137
SEED = 7
AGREES = 1e-9  # of the milk; the order of sums differs
WASHED = 1e-5  # the same with a wash, which takes the last drops that the peer keeps
RUNS = 5
DAYS = 365


BESIDES = ("TR1", "WH1", "DS1", "CW1", "CD1", "AC1", "AC2", "AV1")
"""Wash, laundry and compressed air, which the peer does not hold."""


def large(**changes: Machine | None) -> Plant:
    """A large rotary, its cooler fed from the source, no calves and no collection in the day."""
    turn = STALLS * PACE_S
    make = plants.machine
    plant = plants.rotary(
        STALLS, COWS, milkings=MILKINGS, groups=8, turn_s=turn, target_h=7,
        CF1=None, V40=None, GL1=None,
        WS1=make("WS1", "water_source", flow_l_min=5000), LP1=None, WF1=None,
        TK1=make("TK1", "bulk_tank", volume_l=30000, cooling_kw=90),
        TK2=make("TK2", "bulk_tank", volume_l=30000, cooling_kw=90),
        CU1=None, CU2=None, YG1=make("YG1", "yard_gate", yard_cows=600),
        **changes,
    )  # fmt: skip
    more = (
        "MP1.outlet BT1.inlet_1", "MP2.outlet BT1.inlet_2", "WS1.outlet PC1.water_in",
        "MF1.outlet PC1.milk_in", "MF2.outlet PC1.milk_in",
    )  # fmt: skip
    pipes = (*plant.pipes, *(plants.pipe(f"X{i}", *t.split()) for i, t in enumerate(more)))
    socks = {t: make(t, "milk_filter", area_m2=1, cows_a_sock=5000) for t in ("MF1", "MF2")}
    return plant.model_copy(
        update={"pipes": pipes, "collections": (), "equipment": {**plant.equipment, **socks}}
    )


def timed(work: Callable[[], Any], runs: int = 1) -> tuple[float, Any]:
    """Best processor seconds of some runs, and the last answer."""
    best, answer = float("inf"), None
    for _ in range(runs):
        start = time.process_time()
        answer = work()
        best = min(best, time.process_time() - start)
    return best, answer


def line_kg(compiled: Compiled, pump: str) -> float:
    """What the line of a pump holds."""
    T = compiled.tables
    m = T.I[T.rows("transfers")][compiled.names.transfers.index(pump)]
    line = int(T.I[m[sh.MI_J0] : m[sh.MI_J1], sh.J_LINE].max())
    return float(T.F[line, sh.LN_CAP]) if line >= 0 else 0.0


def peer_day(plant: Plant, compiled: Compiled, day: sh.Day) -> list[Chain]:
    """The three milkings in plain Python, one after another, tanks carried on."""
    chains: list[Chain] = []
    starts = [float(r[0]) for r in day.rows if r[3] == sh.ROW_MILKING]
    for i, start in enumerate(starts):
        table = day.cows[i, : day.count[i]]
        cows = [[float(v) for v in row] for row in table]
        chain = Chain(plant, cows, start, plants.WATER_C[5], plants.AMBIENT_C[5],
                      full=full_flows(compiled))  # fmt: skip
        for pump in chain.pumps:  # what its line holds is told to it, too
            chain.lines[chain.group(pump)].cap = line_kg(compiled, pump.machine.id)
        if chains:
            for tag in chain.tanks:
                chain.pools[tag] = chains[-1].pools[tag]
            chain.target = chains[-1].target
        end = starts[i + 1] if i + 1 < len(starts) else 86400.0
        chain.run(end)
        chains.append(chain)
    return chains


def check(compiled: Compiled, state: sh.State, day: sh.Day, chains: list[Chain]) -> float:
    """Largest gap between the two, as a share of the milk; both must agree."""
    through = sum(p.moved for c in chains for p in c.pumps)
    gap = 0.0
    last = chains[-1]
    for tag in last.tanks:
        v = state.items[compiled.vessel(tag)]
        gap = max(gap, abs(v[:4].sum() - last.pools[tag].kg) / through)
    for i, chain in enumerate(chains):
        out = state.out[i][: day.count[i]]
        theirs = sorted(chain.deck.milked, key=lambda c: c.entered)
        gap = max(gap, float(np.abs(out[:, sh.O_EXIT] - [c.left for c in theirs]).max()) / 86400)
        assert [int(p) for p in out[:, sh.O_PASSES]] == [c.passes for c in theirs]
    return gap


def traffic_alone(plant: Plant, day: sh.Day) -> None:
    """Only the decks of the peer."""
    starts = [float(r[0]) for r in day.rows if r[3] == sh.ROW_MILKING]
    for i, start in enumerate(starts):
        cows = [[float(v) for v in row] for row in day.cows[i, : day.count[i]]]
        Deck(plant, cows, start).env.run()


def traffic_kernel(compiled: Compiled, day: sh.Day) -> Callable[[], None]:
    """Only the cow kernels of the engine, stepped through the same milkings."""
    import numba

    from byrewright.engine.kernels.control import control
    from byrewright.engine.kernels.traffic import cows

    T = compiled.tables

    @numba.njit(nogil=True)  # type: ignore[untyped-decorator]
    def only(plant, day, s):
        s.g[sh.G_VACUUM] = 50.0
        for step in range(86400):
            t = float(step)
            control(t, plant, day, s)
            cows(t, plant.F, plant.I, s.items, s.g, s.n, plant.par, plant.num, s.cow, s.out,
                 s.session)  # fmt: skip
            s.n[sh.I_STEP] += 1

    def work() -> None:
        s = compiled.start.copy()
        only(T, day, s)

    return work


def same_scope(rules: Rulebook, chains: list[Chain]) -> tuple[float, float]:
    """The engine's time for what the peer holds, and how far the two agree."""
    plant = large(**dict.fromkeys(BESIDES))
    compiled = compile_plant(plant, rules, cache=False)
    day = day_of(plant, compiled, Herd(plant, compiled, rules, SEED), month=6, day=0)
    few_s, outcome = timed(lambda: simulate(compiled, day, compiled.start, 86400), RUNS)
    gap = check(compiled, outcome.state, day, chains)
    assert gap < AGREES
    return few_s, gap


def main() -> None:
    """Compare answers, then times."""
    # The peer has no filters and one ambient: here socks lose nothing and the day is even. What a
    # pump gives against its lines is told to it; the tests work that out by hand.
    clean = dict.fromkeys(("filter.drop_half_kpa", "filter.drop_full_kpa"), 10.0)
    plant, rules = large(), Rulebook({**clean, "cooling.day_swing_k": 0.0})
    start = time.perf_counter()
    compiled = compile_plant(plant, rules, cache=False)
    herd = Herd(plant, compiled, rules, SEED)
    day = day_of(plant, compiled, herd, month=6, day=0)
    simulate(compiled, day, compiled.start, 10, readings_from=0)
    print(f"first use, compiled code read or made: {time.perf_counter() - start:.2f} s")
    ours, outcome = timed(lambda: simulate(compiled, day, compiled.start, 86400), RUNS)
    theirs, chains = timed(lambda: peer_day(plant, compiled, day))
    gap = check(compiled, outcome.state, day, chains)
    print(f"answers agree to {gap:.1e} of the day (wanted {WASHED:.0e})")
    assert gap < WASHED
    print(f"a day, {COWS} cows x {MILKINGS} on {STALLS} stalls at 1 s: engine {ours:.3f} s, "
          f"plain Python and SimPy {theirs:.2f} s, ratio {theirs / ours:.0f}")  # fmt: skip
    few_s, gap = same_scope(rules, chains)
    print(f"the same without wash, laundry and compressed air: engine {few_s:.3f} s, "
          f"ratio {theirs / few_s:.0f}; answers agree to {gap:.1e}")  # fmt: skip
    work = traffic_kernel(compiled, day)
    work()
    cows_ours, _ = timed(work, RUNS)
    cows_theirs, _ = timed(lambda: traffic_alone(plant, day), 2)
    print(f"cow traffic alone: engine {cows_ours:.3f} s (each unit's milk each second), "
          f"SimPy {cows_theirs:.3f} s (events), ratio {cows_theirs / cows_ours:.1f}")  # fmt: skip
    names, ns = compiled.names, 1e9 / 86400
    rows = (f"{len(names.vessels)} vessels, {len(names.transfers)} transfers, "
            f"{len(names.branches)} branches")  # fmt: skip
    rest, room = ns * (few_s - cows_ours), ns * theirs / 100
    print(f"where it goes: cows {ns * cows_ours:.0f} ns a step, all else {rest:.0f} ns for {rows}, "
          f"all looked at in every step; a ratio of 100 leaves {room:.0f} ns")  # fmt: skip
    if "--year" in sys.argv[1:]:
        start = time.perf_counter()
        run = simulate_days(plant, rules, days=DAYS, seed=SEED)
        print(f"{DAYS} days with the seasons: {time.perf_counter() - start:.1f} s, "
              f"{len(run.sessions)} milkings")  # fmt: skip


if __name__ == "__main__":
    main()
