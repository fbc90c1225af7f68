"""The engine's promises: same bytes, conservation, exact cows, resumable, laws and not kinds."""

from __future__ import annotations

import os
import subprocess
import sys
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from byrewright.engine import shape as sh
from byrewright.engine.compiled import Compiled, DoesNotCompile, compile_plant, with_wrong
from byrewright.engine.draws import Herd, day_of
from byrewright.engine.simulate import simulate
from byrewright.plant.kinds.milk import RUN, MilkPump
from byrewright.plant.machine import REGISTRY, InternalPath, Machine, port, ports
from byrewright.plant.plant import Plant
from byrewright.plant.primitives import Primitive, Pump
from byrewright.plant.record import par
from byrewright.standards.rulebook import Rulebook, default_rulebook
from tests import plants

CLOSES = 1e-9  # the stated promise, as a share of the day's throughput
EXACT_KG = 1e-9  # milk of a cow is a difference of one curve: only rounding may remain
CLOSED_FORM = 1e-3  # a tenth of a percent, as promised for a deck of uneven seconds a stall
STEPS = 86400

STILL = Rulebook({
    "milking.kick_off_share": 0.0, "labour.task_spread_s": 0.0,
})  # fmt: skip
"""Rules without chance, for closed forms."""


def compiled_day(plant: Plant, rules: Rulebook | None = None, seed: int = 1,
                 **how: Any) -> tuple[Compiled, sh.Day]:  # fmt: skip
    """A plant compiled without the cache, and its first day."""
    rules = rules or default_rulebook()
    compiled = compile_plant(plant, rules, cache=False, **how)
    herd = Herd(plant, compiled, rules, seed)
    return compiled, day_of(plant, compiled, herd, month=6, day=0)


def gaps(compiled: Compiled, start: sh.State, end: sh.State) -> dict[str, float]:
    """How far each substance and heat are from closing, as a share of what passed."""
    change = np.concatenate([end.items[rows] - start.items[rows] for rows in
                             map(compiled.tables.rows, ("vessels", "lines"))])  # fmt: skip
    made = end.g[sh.G_MADE_WASH] - start.g[sh.G_MADE_WASH]
    heat = change[:, sh.HEAT].sum() + sum(
        sign * (end.g[k] - start.g[k])
        for k, sign in ((sh.G_COLD_KJ, 1), (sh.G_LOST_KJ, 1), (sh.G_IN_KJ, -1))
    )
    through = [max(np.abs(change[:, k]).sum(), 1.0) for k in range(5)]
    return {
        "milk": change[:, 0].sum() / through[0],
        "withheld": change[:, 1].sum() / through[0],
        "water": (change[:, 2].sum() + made) / through[2],
        "wash": (change[:, 3].sum() - made) / through[2],
        "heat": heat / through[4],
    }


@given(
    stalls=st.integers(20, 70), milkings=st.integers(1, 3), withheld=st.integers(0, 9),
    control=st.sampled_from(["on_off", "stepped", "level_led"]), seed=st.integers(0, 10**6),
    twin=st.booleans(), balance=st.booleans(), fails=st.lists(
        st.tuples(st.integers(0, STEPS), st.integers(0, 8), st.sampled_from([0.0, 0.4, 1.0])),
        max_size=4),
)  # fmt: skip
@settings(max_examples=12, deadline=None, suppress_health_check=list(HealthCheck))
def test_mass_and_heat_close_on_any_plant_and_failure(
    stalls: int, milkings: int, withheld: int, control: str, seed: int, twin: bool,
    balance: bool, fails: list[tuple[int, int, float]],
) -> None:  # fmt: skip
    """Would fail if any law made or lost milk, water, wash or heat, in good order or in failure."""
    less: dict[str, Machine | None] = {} if twin else {"MP2": None, "MP4": None, "TK2": None}
    if not balance:
        less |= {"CF1": None}
    plant = plants.rotary(
        stalls, 4 * stalls, milkings=milkings, withheld=withheld, pump_control=control, **less
    )
    compiled, day = compiled_day(plant, seed=seed)
    first = compiled.tables.rows("transfers").start
    rows = tuple((at, 1, first + m, sh.ROW_TRANSFER, value) for at, m, value in fails)
    end = simulate(compiled, day, compiled.start, STEPS, rows=rows).state
    for what, gap in gaps(compiled, compiled.start, end).items():
        assert abs(gap) < CLOSES, (what, gap)
    assert end.items[compiled.tables.rows("vessels"), :4].min() > -1e9  # nothing is not a number


def test_a_shuffled_file_gives_the_same_bytes() -> None:
    """Would fail if the order of machines or pipes in the file had a part in the answer."""
    plant = plants.rotary(40, 200)
    turned = plant.model_copy(
        update={
            "equipment": dict(reversed(list(plant.equipment.items()))),
            "pipes": tuple(reversed(plant.pipes)),
        }
    )
    states = []
    for one in (plant, turned):
        compiled, day = compiled_day(one)
        states.append(simulate(compiled, day, compiled.start, STEPS).state)
    assert states[0].same_as(states[1])


def test_a_run_resumes_from_the_middle_of_a_milking() -> None:
    """Would fail if a snapshot forgot any state: cows on the deck, controllers, ledgers."""
    compiled, day = compiled_day(plants.rotary(40, 300))
    straight = simulate(compiled, day, compiled.start, STEPS).state
    middle = simulate(compiled, day, compiled.start, 5000).state
    assert middle.n[sh.I_MILKING] >= 0 and middle.n[sh.I_ON_DECK] > 0
    assert simulate(compiled, day, middle, STEPS).state.same_as(straight)


def test_a_failure_repaired_before_use_changes_nothing() -> None:
    """Would fail if a failure left a trace though its machine was never asked for."""
    compiled, day = compiled_day(plants.rotary(40, 200))
    base = simulate(compiled, day, compiled.start, STEPS).state
    first = compiled.tables.rows("transfers").start
    rows = []
    for m, name in enumerate(compiled.names.transfers):
        if name.startswith(("MP", "TK")):
            rows += [
                (100, 1, first + m, sh.ROW_TRANSFER, 0.0),
                (200, 1, first + m, sh.ROW_TRANSFER, 1.0),
            ]
    assert rows
    assert simulate(compiled, day, compiled.start, STEPS, rows=tuple(rows)).state.same_as(base)


@pytest.mark.parametrize("seconds", [6.0, 7.3, 8.0, 9.7])
def test_throughput_without_chance_is_the_closed_form(seconds: float) -> None:
    """Would fail if a stall of 7.3 s became one of 7 or 8 s, or the deck drifted."""
    plant = plants.rotary(60, 600, turn_s=60 * seconds, milkings=1,
                          PF1=plants.machine("PF1", "platform", stalls=60, turn_s=60 * seconds,
                                             stop_share_pct=0.0))  # fmt: skip
    herd = plant.herd.model_copy(
        update={"yield_std_dev": 0.0, "milk_out_time_s": plant.herd.milk_out_time_s.model_copy(
            update={"mean": 240.0, "std_dev": 0.0})}
    )  # fmt: skip
    compiled, day = compiled_day(plant.model_copy(update={"herd": herd}), STILL)
    end = simulate(compiled, day, compiled.start, STEPS).state
    on = end.out[0][:600, sh.O_ENTER]
    cows_h = 3600 * (len(on) - 1) / (on.max() - on.min())
    assert cows_h == pytest.approx(3600 / seconds, rel=CLOSED_FORM)
    assert end.out[0][:600, sh.O_PASSES].max() == 1


def test_cows_that_go_round_cost_the_closed_form() -> None:
    """Would fail if a cow who stays took more or less than one more stall pass."""
    plant = plants.rotary(60, 900, turn_s=480.0, milkings=1, yield_l_day=12,
                          PF1=plants.machine("PF1", "platform", stalls=60, turn_s=480.0,
                                             stop_share_pct=0.0))  # fmt: skip
    compiled, day = compiled_day(plant, STILL)
    end = simulate(compiled, day, compiled.start, STEPS).state
    cows = end.out[0][:900]
    passes = cows[:, sh.O_PASSES]
    # Every stall pass takes a stall; cows of the last turn have no one behind them.
    early = cows[:, sh.O_ENTER] < cows[:, sh.O_ENTER].max() - 480
    used = len(cows) - 1 + (passes[early] - 1).sum()
    assert passes.max() > 1
    span = cows[:, sh.O_ENTER].max() - cows[:, sh.O_ENTER].min()
    assert used * 8.0 == pytest.approx(span, rel=0.01)  # those of the last turn blur the edge


def test_operators_limit_the_deck() -> None:
    """Would fail if too few people did not slow the deck to their own pace."""
    plant = plants.rotary(60, 400, milkings=1, PF1=plants.machine(
        "PF1", "platform", stalls=60, turn_s=360.0, stop_share_pct=0.0))  # fmt: skip
    one = plant.milkings[0].model_copy(update={"operators": 1})
    compiled, day = compiled_day(plant.model_copy(update={"milkings": (one,)}), STILL)
    end = simulate(compiled, day, compiled.start, STEPS).state
    on = end.out[0][:400, sh.O_ATTACH]
    routine = 4.0 + 6.0 + 2.0 + 2.0
    assert np.diff(np.sort(on)).mean() == pytest.approx(routine, rel=0.01)  # start and end blur


def test_a_cows_milk_is_exact_at_any_step() -> None:
    """Would fail if milk were added up from flows instead of taken as differences of the curve."""
    kg = []
    for step in (1.0, 0.5, 0.2):
        compiled, day = compiled_day(plants.rotary(40, 120, milkings=1), step_s=step)
        assert compiled.tables.num[sh.N_MINUTE] * step == 60.0
        end = simulate(compiled, day, compiled.start, round(20000 / step)).state
        kg.append(end.out[0][:120, [sh.O_KG, sh.O_OFF, sh.O_EXIT]])
    np.testing.assert_allclose(kg[0], kg[1], rtol=0, atol=EXACT_KG)
    np.testing.assert_allclose(kg[0], kg[2], rtol=0, atol=EXACT_KG)


def test_a_larger_herd_leaves_the_first_cows_as_they_were() -> None:
    """Would fail if the draws of one cow depended on how many others there are."""
    tables = []
    for cows in (200, 260):
        plant = plants.rotary(40, cows, groups=1)
        compiled = compile_plant(plant, cache=False)
        tables.append(Herd(plant, compiled, default_rulebook(), 5).milking(3, 1)[:200])
    assert tables[0].tobytes() == tables[1].tobytes()


def test_a_new_kind_runs_without_a_word_to_the_engine() -> None:
    """Would fail if the engine knew kinds: this one is born in the test."""

    class Ladle(Machine):
        """A pump nobody has heard of."""

        KIND = "test_ladle"
        TITLE = "Ladle"
        PORTS = ports(port("dip", "milk", direction="in"), port("spout", "milk", direction="out"))
        INSIDE = (InternalPath("dip", "spout", "driven"),)
        STATES = RUN

        scoops_min: float = par("", "scoops a minute", ge=1, le=100)

        def lower(self) -> tuple[Primitive, ...]:
            return (Pump("dip", "spout", 5.0 * self.scoops_min, "level_led"),)

    try:
        plant = plants.rotary(40, 200, MP1=Ladle(id="MP1", scoops_min=30))
        pipes = tuple(
            p.model_copy(update={"start": p.start.replace("MP1.outlet", "MP1.spout"),
                                 "end": p.end.replace("MP1.inlet", "MP1.dip")})
            for p in plant.pipes
        )  # fmt: skip
        compiled, day = compiled_day(plant.model_copy(update={"pipes": pipes}))
        end = simulate(compiled, day, compiled.start, STEPS).state
        row = compiled.tables.rows("transfers").start + compiled.names.transfers.index("MP1")
        assert end.items[row, sh.S_KG] > 1000
    finally:
        REGISTRY.pop("test_ladle", None)


def test_twin_receivers_share_and_either_carries_alone() -> None:
    """Would fail if a lost pump spilled milk though its twin can carry it all."""
    compiled, day = compiled_day(plants.rotary(40, 300))
    T = compiled.tables
    row = T.rows("transfers").start + compiled.names.transfers.index("MP1")
    both = simulate(compiled, day, compiled.start, STEPS).state
    assert both.items[row, sh.S_KG] == pytest.approx(both.items[row + 1, sh.S_KG])
    branch = T.rows("branches").start + next(
        i for i, n in enumerate(compiled.names.branches) if n.endswith("RC1") and "receiver" in n
    )
    rows = ((10, 1, branch, sh.ROW_BRANCH, 0.0), (10, 1, row, sh.ROW_TRANSFER, 0.0))
    alone = simulate(compiled, day, compiled.start, STEPS, rows=rows).state
    assert alone.items[row, sh.S_KG] == 0.0
    v = compiled.vessel("RC2")
    assert alone.items[v, sh.P_SPILT] == 0.0
    assert alone.items[row + 1, sh.S_KG] == pytest.approx(2 * both.items[row, sh.S_KG])


def test_a_wrong_valve_sends_milk_where_it_leads() -> None:
    """Would fail if wrong positions did not reach the day: the second tank opened by mistake."""
    plant = plants.rotary(40, 300)
    compiled, day = compiled_day(plant)
    wrong = with_wrong(plant, compiled, [{"V32": "open"}, {"V31": "closed"}])
    before = 20000  # the first collection comes later
    base = simulate(wrong, day, wrong.start, before).state
    rows = ((10, 1, 0, sh.ROW_ROUTE, 1.0),)
    split = simulate(wrong, day, wrong.start, before, rows=rows).state
    one, two = wrong.vessel("TK1"), wrong.vessel("TK2")
    assert base.items[two, sh.P_MOST] == 0.0
    assert split.items[two, sh.MILK] == pytest.approx(split.items[one, sh.MILK], rel=0.05)
    assert split.items[two, sh.WASH] > 100 and base.items[two, sh.WASH] == 0.0  # open in the wash
    shut = simulate(wrong, day, wrong.start, before, rows=((10, 1, 0, sh.ROW_ROUTE, 2.0),)).state
    assert shut.items[wrong.vessel("BT1"), sh.P_SPILT] > 0  # pumps against a shut line


def test_a_vessel_too_small_for_a_step_is_refused_by_name() -> None:
    """Would fail if a receiver of a few litres were stepped as if it held a second's flow."""
    tiny = plants.machine("RC1", "receiver", volume_l=10)
    big = plants.machine("MP1", "milk_pump", flow_l_min=4000, head_m=10, motor_kw=20, led_by="RC1")
    with pytest.raises(DoesNotCompile, match="RC1: it holds 10 L"):
        compile_plant(plants.rotary(40, 200, RC1=tiny, MP1=big), step_s=1.0, cache=False)
    assert compile_plant(plants.rotary(40, 200, RC1=tiny, MP1=big), cache=False).step_s < 1.0


def test_the_cache_gives_the_same_plant() -> None:
    """Would fail if a plant read from the cache differed from a fresh one by a bit."""
    plant = plants.rotary(44, 210)
    compile_plant(plant)
    cached, fresh = compile_plant(plant), compile_plant(plant, cache=False)
    for a, b in zip((*cached.tables, *cached.start), (*fresh.tables, *fresh.start), strict=True):
        assert a.tobytes() == b.tobytes()
    assert cached.names == fresh.names and cached.litres == fresh.litres


def test_each_kernel_has_one_signature() -> None:
    """Would fail if two types of argument compiled a kernel twice (and doubled the first run)."""
    from byrewright.engine.kernels import control, energy, loop, network, traffic, vessels

    compiled, day = compiled_day(plants.rows())
    simulate(compiled, day, compiled.start, 100, readings_from=0)
    simulate(compiled, day, compiled.start, 100)
    for module in (control, energy, loop, network, traffic, vessels):
        for name, one in vars(module).items():
            if hasattr(one, "signatures") and one.py_func.__module__ == module.__name__:
                assert len(one.signatures) <= 1, (name, one.signatures)


BOUNDS = """
from tests import plants
from tests.engine.test_engine_basics import compiled_day
from byrewright.engine.simulate import simulate
compiled, day = compiled_day(plants.rows(12, 30, milkings=1))
print(simulate(compiled, day, compiled.start, 9000, readings_from=0).state.n[0])
"""


def test_no_index_leaves_its_array() -> None:
    """Would fail if a kernel read or wrote past an array, which compiled code does in silence; the
    plain Python it is written in does not."""
    env = {**os.environ, "NUMBA_DISABLE_JIT": "1"}
    done = subprocess.run(
        [sys.executable, "-c", BOUNDS], capture_output=True, text=True, env=env, check=False
    )
    assert done.stdout.strip() == "9000", done.stderr[-2000:]


def test_kinds_of_pumps_are_told_by_their_law_alone() -> None:
    """Would fail if lowering asked for a class instead of what a machine says it does."""
    lowered = MilkPump(id="X", flow_l_min=100, head_m=10, motor_kw=1).lower()
    assert [type(p).__name__ for p in lowered] == ["Pump"]
