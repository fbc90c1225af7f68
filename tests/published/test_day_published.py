"""The simulated day against published figures and reference libraries.

Sources: New Zealand dairy levy body, page on milking routine (one second saved at a 9-minute turn:
40 stalls +21, 60 stalls +50 cows an hour; read); Edwards, Lopez-Villalobos, Jago, Animal Production
Science 52(10):969-973, 2012, abstract (383 +/- 129 s, read; the share above a time is derived from
it); effectiveness-NTU by the general library `ht`; tank equation integrated by scipy.
"""

from __future__ import annotations

import numpy as np
import pytest

from byrewright.engine import shape as sh
from byrewright.engine.compiled import compile_plant
from byrewright.engine.draws import Herd, day_of
from byrewright.engine.kernels.network import effectiveness
from byrewright.engine.simulate import simulate
from byrewright.physics.throughput import log_normal
from byrewright.plant.farm import MilkOutTime
from byrewright.plant.plant import Plant
from byrewright.standards.rulebook import Rulebook
from tests import plants

ROUNDED = 0.5  # the table prints whole cows
NTU_AGREES = 1e-9  # the same formula, two programs
PULL_DOWN_S = 5  # of half an hour: steps of a second, heat of the last step cut off
PULL_DOWN_K = 0.02  # a second's step against a continuous integration, K
SHARE_3_SIGMA = 0.03  # three standard deviations of a share of 0.1 among 1,000 cows

CALM = Rulebook({"milking.kick_off_share": 0.0, "labour.task_spread_s": 0.0})


def cows_an_hour(stalls: int, seconds: float, cows: int = 300) -> float:
    """Simulated cows an hour of a deck without chance."""
    deck = plants.machine("PF1", "platform", stalls=stalls, turn_s=stalls * seconds,
                          stop_share_pct=0.0)  # fmt: skip
    plant = plants.rotary(stalls, cows, milkings=1, turn_s=stalls * seconds, PF1=deck)
    time = plant.herd.milk_out_time_s.model_copy(update={"mean": 200.0, "std_dev": 0.0})
    herd = plant.herd.model_copy(update={"milk_out_time_s": time, "yield_std_dev": 0.0})
    return _net(plant.model_copy(update={"herd": herd}), cows)


def _net(plant: Plant, cows: int) -> float:
    compiled = compile_plant(plant, CALM, cache=False)
    day = day_of(plant, compiled, Herd(plant, compiled, CALM, 1), month=6, day=0)
    on = simulate(compiled, day, compiled.start, 40000).state.out[0][:cows, sh.O_ENTER]
    return float(3600 * (cows - 1) / (on.max() - on.min()))


@pytest.mark.parametrize(("stalls", "gain"), [(40, 21.0), (60, 50.0)])
def test_one_second_saved_at_a_nine_minute_turn(stalls: int, gain: float) -> None:
    """Would fail if the simulated deck did not gain what the published table says it gains."""
    seconds = 540.0 / stalls
    found = cows_an_hour(stalls, seconds - 1) - cows_an_hour(stalls, seconds)
    assert found == pytest.approx(gain, abs=ROUNDED)


def test_milk_out_times_are_those_of_the_published_spread() -> None:
    """Would fail if drawn unit-on times were not log-normal with the published mean and spread."""
    plant = plants.rotary(60, 1000, milkings=1, groups=1)
    time = MilkOutTime(mean=383.0, std_dev=129.0)
    plant = plant.model_copy(
        update={"herd": plant.herd.model_copy(update={"milk_out_time_s": time})}
    )
    rules = Rulebook({"milking.removal_delay_s": 10.0})  # the delay that this plant's removers have
    compiled = compile_plant(plant, rules, cache=False)
    on = Herd(plant, compiled, rules, 3).milking(0, 0)[:, sh.C_ON_S]
    spread = log_normal(383.0, 129.0)
    for limit in (480.0, 550.0, 600.0):
        assert np.mean(on > limit) == pytest.approx(spread.above(limit), abs=SHARE_3_SIGMA)
    assert on.mean() == pytest.approx(383.0, abs=3 * 129 / np.sqrt(1000))


@pytest.mark.parametrize("ntu", [0.3, 1.0, 2.5, 4.1, 8.0])
@pytest.mark.parametrize("ratio", [0.2, 0.47, 0.75, 0.999, 1.0])
def test_cooler_effectiveness_is_that_of_ht(ntu: float, ratio: float) -> None:
    """Would fail if the compiled cooler used another relation than counterflow e-NTU."""
    ht = pytest.importorskip("ht")
    theirs = ht.effectiveness_from_NTU(NTU=ntu, Cr=ratio, subtype="counterflow")
    assert effectiveness(ntu, ratio) == pytest.approx(theirs, rel=NTU_AGREES)


def test_the_cooler_in_the_day_is_that_of_ht() -> None:
    """Would fail if flows, heat capacities or inlet temperatures reached the cooler wrongly."""
    ht = pytest.importorskip("ht")
    plant = plants.rotary(40, 300, milkings=1, CF1=None)
    compiled = compile_plant(plant, cache=False)
    day = day_of(plant, compiled, Herd(plant, compiled, Rulebook(), 1), month=6, day=0)
    step, state = 5000, simulate(compiled, day, compiled.start, 5000).state
    while state.items[compiled.tables.rows("exchangers")][0][sh.SX_FLOW] <= 0.0:  # between starts
        step += 1
        state = simulate(compiled, day, state, step).state
    x = state.items[compiled.tables.rows("exchangers")][0]
    hot = x[sh.SX_FLOW] * 3.93 * 1000
    cold = x[sh.SX_FLOW] * 2.0 * 4.19 * 1000
    water = state.items[compiled.vessel("WT1")]
    into = water[sh.HEAT] / (water[sh.WATER] * 4.19)
    found = ht.effectiveness_NTU_method(
        mh=x[sh.SX_FLOW], mc=2.0 * x[sh.SX_FLOW], Cph=3930.0, Cpc=4190.0, subtype="counterflow",
        Thi=x[sh.SX_IN], Tci=into, UA=40 * 2500.0,
    )  # fmt: skip
    assert hot > 0 and cold > hot
    assert x[sh.SX_OUT] == pytest.approx(found["Tho"], abs=1e-3)  # the water moved on by a step


def test_tank_pull_down_is_that_of_an_integration() -> None:
    """Would fail if refrigeration, warming or stirring were added up wrongly in the tank."""
    integrate = pytest.importorskip("scipy.integrate")
    plant = plants.rotary(40, 40, milkings=1)
    compiled = compile_plant(plant, cache=False)
    day = day_of(plant, compiled, Herd(plant, compiled, Rulebook(), 1), month=6, day=0)
    empty = day._replace(rows=np.zeros((0, 4), np.int64), values=np.zeros(0))
    start = compiled.start.copy()
    v = compiled.vessel("TK1")
    cap = compiled.tables.F[v, sh.V_CAP]
    kg, warm = 0.5 * cap, 30.0
    start.items[v, sh.MILK] = kg
    start.items[v, sh.HEAT] = kg * 3.93 * warm
    # Half full, a lying tank is half wetted; half the heat through the dry wall reaches its milk.
    d = (4 * cap / 1030 / (2.2 * np.pi)) ** (1 / 3)
    ua = 0.4 / 1000 * (np.pi * d * 2.2 * d + 2 * np.pi * d**2 / 4) * 0.75
    mean, swing = plants.AMBIENT_C[5], 5.0
    wanted_c = plant.equipment["TK1"].set_c  # type: ignore[attr-defined]

    def slope(t: float, y: list[float]) -> list[float]:
        ambient = mean + swing * np.cos(2 * np.pi * (t + compiled.origin_s - 54000) / 86400)
        return [(ua * (ambient - y[0]) + 0.75 - 60.0) / (kg * 3.93)]

    def cold(_t: float, y: list[float]) -> float:
        return y[0] - wanted_c

    cold.terminal = True  # type: ignore[attr-defined]
    found = integrate.solve_ivp(
        slope, (0, 6 * 3600), [warm], rtol=1e-9, atol=1e-9, events=cold, dense_output=True
    )
    took = float(found.t_events[0][0])
    assert 1200 < took < 3600
    for share in (0.05, 0.25, 0.5, 0.75, 0.99):
        at = int(share * took)
        ours = simulate(compiled, empty, start, at).state.items[v, sh.HEAT] / (kg * 3.93)
        assert ours == pytest.approx(float(found.sol(at)[0]), abs=PULL_DOWN_K)
    fridge = compiled.tables.rows("chillers").start + compiled.names.chillers.index("CU1")
    done = simulate(compiled, empty, start, int(took) + PULL_DOWN_S).state
    early = simulate(compiled, empty, start, int(took) - PULL_DOWN_S).state
    assert early.items[fridge, sh.SR_ON] == 1.0 and done.items[fridge, sh.SR_ON] == 0.0
