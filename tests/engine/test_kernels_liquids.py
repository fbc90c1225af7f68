"""How liquid moves in a step, law by law: what is asked, what a vessel can give, where it goes."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from byrewright.engine import shape as sh
from byrewright.engine.kernels import control, network
from byrewright.physics.heat import exchanger
from tests.engine.plainly import CP, DT, empty, plain, row


@pytest.fixture
def at() -> SimpleNamespace:
    """The arrays of a rotary with everything on it, all vessels empty, nothing running."""
    found = empty()
    every = found.T.rows("transfers")
    found.S[every, sh.S_HEALTH] = found.S[every, sh.S_CMD] = found.S[every, sh.S_DOSE] = 0.0
    found.n[sh.I_MODE], found.n[sh.I_SEQ] = control.IDLE_MODE, 0
    return found


def only(at: SimpleNamespace, law: int, kg_s: float = 3.0) -> int:
    """The first transfer of a law, alone able to move, up to so much, all into its first branch."""
    m = next(m for m in range(*at.num[[sh.N_M0, sh.N_M1]]) if at.I[m, sh.MI_LAW] == law)
    at.S[m, [sh.S_HEALTH, sh.S_CMD]] = 1.0
    at.F[m, [sh.M_MAX, sh.M_KW]] = kg_s, 0.0
    joints = slice(at.I[m, sh.MI_J0], at.I[m, sh.MI_J1])
    at.T.share[:, :, np.arange(joints.start, joints.stop) - at.num[sh.N_J0]] = 0.0
    at.T.share[:, :, joints.start - at.num[sh.N_J0]] = 1.0
    at.S[joints, sh.SJ_OPEN] = 1.0
    at.I[joints, sh.J_LINE] = at.I[joints, sh.J_FILTER] = -1
    at.I[joints, sh.J_X : sh.J_X + sh.STAGES] = -1
    return m


def step(at: SimpleNamespace, m: int) -> float:
    """What it moves in a step, kg; mass and heat of all vessels stay as they were."""
    vessels = at.T.rows("vessels")
    before = at.S[vessels, : sh.HEAT + 1].sum(axis=0)
    moved = float(at.S[m, sh.S_KG])
    plain(control.route)(0.0, at.I, at.g, at.n, at.par, at.num)
    plain(network.move)(np.zeros((len(at.F), len(sh.WORK))), at.F, at.I, at.S, at.g, at.n, at.par,
                        at.num, at.T.share, at.T.most, at.T.cold, at.plugs)  # fmt: skip
    after = at.S[vessels, : sh.HEAT + 1].sum(axis=0)
    assert after == pytest.approx(before, abs=1e-6)
    moved = float(at.S[m, sh.S_KG]) - moved
    assert at.S[m, sh.S_FLOW] == pytest.approx(moved / DT)
    return moved


def fill(at: SimpleNamespace, v: int, kg: float, celsius: float = 10.0) -> None:
    """A vessel with so much water, so warm."""
    at.S[v, : sh.SUBSTANCES] = 0.0
    at.S[v, sh.WATER], at.S[v, sh.HEAT] = kg, kg * CP * celsius


def test_a_float_fills_up_to_its_level(at: SimpleNamespace) -> None:
    """Would fail if a tank ran over at its float, or stood empty beside full pipes."""
    m = next(m for m in range(*at.num[[sh.N_M0, sh.N_M1]])
             if at.I[m, sh.MI_LAW] == sh.FLOAT
             and at.I[at.I[m, sh.MI_SRC], sh.VI_ROLE] == sh.STORE)  # fmt: skip
    first = next(k for k in range(*at.num[[sh.N_M0, sh.N_M1]]) if at.I[k, sh.MI_LAW] == sh.FLOAT)
    at.I[first], at.F[first] = at.I[m].copy(), at.F[m].copy()
    m = only(at, sh.FLOAT)
    led, src = at.I[m, sh.MI_LED], at.I[m, sh.MI_SRC]
    at.F[m, sh.M_FULL], at.F[m, sh.M_FLOOR] = 500.0, 0.0
    for kg, health, moved in ((100.0, 1.0, 3.0 * DT), (100.0, 0.5, 1.5 * DT), (498.0, 1.0, 2.0),
                              (500.0, 1.0, 0.0), (510.0, 1.0, 0.0)):  # fmt: skip
        fill(at, src, 5000.0)
        fill(at, led, kg)
        at.S[m, sh.S_HEALTH] = health
        assert step(at, m) == pytest.approx(moved), kg
    at.S[led, sh.V_LEVEL] = 200.0  # a sensor that says too little
    assert step(at, m) == pytest.approx(1.0 * 3.0 * DT)
    at.S[led, sh.V_LEVEL] = -1.0
    fill(at, led, 100.0)
    fill(at, src, 4.0)
    assert step(at, m) == pytest.approx(4.0)  # no more than there is


@pytest.mark.parametrize(("mean_c", "given_c"), [
    (80.0, 80.0), (50.0, 80.0), (21.0, 80.0), (15.0, 10.0 + 70.0 / 14 / 0.15), (10.0, 10.0),
])  # fmt: skip
def test_a_heater_gives_its_hot_layer_first(
    at: SimpleNamespace, mean_c: float, given_c: float
) -> None:
    """Would fail if cold water that came in cooled the hot above it, or a heater that is used up
    still gave hot water; or heat came of nothing."""
    m = only(at, sh.DOSE)
    src, dst = at.I[m, sh.MI_SRC], at.I[at.I[m, sh.MI_J0], sh.J_DST]
    at.F[src, sh.V_HOT], at.S[src, sh.V_COLD], at.par[sh.PAR_HEATER_BLEND] = 80.0, 10.0, 0.15
    at.I[src, sh.VI_ROLE] = at.I[dst, sh.VI_ROLE] = sh.STORE
    fill(at, src, 400.0, mean_c)
    fill(at, dst, 0.0)
    at.S[m, sh.S_DOSE] = 6.0
    assert step(at, m) == pytest.approx(6.0)
    assert at.S[dst, sh.HEAT] == pytest.approx(6.0 * CP * given_c)


def test_a_heater_knows_how_cold_its_water_comes(at: SimpleNamespace) -> None:
    """Would fail if a store's warm water counted as cold in the heater behind it."""
    m = only(at, sh.FLOAT)
    led, src = at.I[m, sh.MI_LED], at.I[m, sh.MI_SRC]
    at.F[m, sh.M_FULL], at.I[src, sh.VI_ROLE] = 500.0, sh.STORE
    for hot_c, known_c in ((0.0, 4.0), (80.0, 35.0)):
        at.F[led, sh.V_HOT], at.S[led, sh.V_COLD] = hot_c, 4.0
        fill(at, src, 5000.0, 35.0)
        fill(at, led, 200.0)
        assert step(at, m) > 0.0
        assert at.S[led, sh.V_COLD] == pytest.approx(known_c)


def test_a_dose_gives_what_is_asked_and_no_more(at: SimpleNamespace) -> None:
    """Would fail if taps ran on, or a dose were given in one step."""
    m = only(at, sh.DOSE)
    fill(at, at.I[m, sh.MI_SRC], 5000.0)
    at.S[m, sh.S_DOSE] = 10.0
    assert [step(at, m) for _ in range(3)] == pytest.approx([6.0, 4.0, 0.0])
    assert at.S[m, sh.S_DOSE] == 0.0


def test_a_vessel_empties_by_itself_in_its_time(at: SimpleNamespace) -> None:
    """Would fail if milk ran out of a line at once, or hung in it for ever."""
    m = only(at, sh.RUNS)
    src = at.I[m, sh.MI_SRC]
    at.F[m, sh.M_TAU] = 40.0
    fill(at, src, 100.0)
    assert step(at, m) == pytest.approx(100.0 * DT / 40.0)
    at.F[m, sh.M_TAU] = 1.0
    fill(at, src, 100.0)
    assert step(at, m) == pytest.approx(100.0)  # never more than all


def test_what_is_left_in_a_vessel_is_one_day_nothing(at: SimpleNamespace) -> None:
    """Would fail if a drain ran all night on a speck, or milk that is rinsed out for hours came to
    numbers so small that a day takes twice as long."""
    m = only(at, sh.RUNS)
    src = at.I[m, sh.MI_SRC]
    at.F[m, sh.M_TAU] = 40.0
    for speck, moved in ((2e-9, 2e-9 * DT / 40.0), (0.5e-9, 0.0)):
        fill(at, src, speck)
        assert step(at, m) == pytest.approx(moved, rel=1e-6, abs=0.0)
    fill(at, src, 100.0)
    at.S[src, sh.MILK] = at.S[src, sh.HEAT] = 1e-60
    step(at, m)
    assert at.S[src, sh.MILK] == at.S[src, sh.HEAT] == 0.0
    at.S[src, sh.MILK] = at.S[src, sh.HEAT] = -1e-50  # rounding
    step(at, m)
    assert -1e-50 < at.S[src, sh.MILK] < 0.0 and at.S[src, sh.HEAT] < 0.0


def test_two_vessels_even_out_one_way(at: SimpleNamespace) -> None:
    """Would fail if joined receivers pushed milk from the emptier to the fuller."""
    m = only(at, sh.RUNS)
    src, other = at.I[m, sh.MI_SRC], at.I[at.I[m, sh.MI_J0], sh.J_DST]
    at.I[m, [sh.MI_LAW, sh.MI_LED]], at.F[m, sh.M_TAU] = (sh.EVEN, other), 8.0
    for there, beyond, moved in ((60.0, 20.0, 0.25 * 40.0 * DT / 8.0), (20.0, 60.0, 0.0)):
        fill(at, src, there)
        fill(at, other, beyond)
        assert step(at, m) == pytest.approx(moved)
    fill(at, other, 60.0 - 0.5e-9)
    fill(at, src, 60.0)
    assert step(at, m) == 0.0


def test_what_is_held_on_runs_at_its_rate(at: SimpleNamespace) -> None:
    """Would fail if a drain or a loading pump ran when it is off, or stopped when it is on."""
    for law in (sh.FIXED, sh.LOADING):
        m = only(at, law)
        src = at.I[m, sh.MI_SRC]
        for command, moved in ((1.0, 6.0), (0.0, 0.0)):
            fill(at, src, 300.0)
            at.S[m, sh.S_CMD] = command
            assert step(at, m) == pytest.approx(moved)
        at.S[m, sh.S_HEALTH] = 0.0


def test_cows_milk_goes_in_as_it_comes(at: SimpleNamespace) -> None:
    """Would fail if milk of a step waited, came twice, or came in at another temperature."""
    m = only(at, sh.SUPPLY)
    to = at.I[at.I[m, sh.MI_J0], sh.J_DST]
    at.par[sh.PAR_LINE_C] = 34.0
    at.I[m, sh.MI_BANK] = 0
    at.S[m, sh.S_DOSE] = 5.0
    plain(control.route)(0.0, at.I, at.g, at.n, at.par, at.num)
    plain(network.move)(np.zeros((len(at.F), len(sh.WORK))), at.F, at.I, at.S, at.g, at.n, at.par,
                        at.num, at.T.share, at.T.most, at.T.cold, at.plugs)  # fmt: skip
    assert at.S[to, sh.MILK] == pytest.approx(5.0) and at.S[m, sh.S_DOSE] == 0.0
    assert at.S[to, sh.HEAT] == pytest.approx(5.0 * CP * 34.0)


def test_a_fuller_vessel_gives_its_pump_more(at: SimpleNamespace) -> None:
    """Would fail if the head over a pump did not help it, or helped it wrongly."""
    m = next(m for m in range(*at.num[[sh.N_M0, sh.N_M1]]) if at.I[m, sh.MI_GROUP] == m)
    law = at.I[m, sh.MI_LAW]
    at.I[m, sh.MI_LAW], at.S[m, sh.S_HEALTH], at.S[m, sh.S_CMD] = sh.ON_OFF, 1.0, 2.0
    others = [k for k in range(*at.num[[sh.N_M0, sh.N_M1]]) if k != m]
    at.S[others, sh.S_HEALTH] = 0.0
    joints = slice(at.I[m, sh.MI_J0], at.I[m, sh.MI_J1])
    at.T.share[:, :, np.arange(joints.start, joints.stop) - at.num[sh.N_J0]] = 1.0
    at.I[joints, sh.J_LINE] = at.I[joints, sh.J_FILTER] = -1
    at.I[joints, sh.J_X : sh.J_X + sh.STAGES] = -1
    most = at.T.most[:, :, m - at.num[sh.N_M0]]
    most[:, :, sh.FL_KG_S], most[:, :, sh.FL_GROWS], most[:, :, sh.FL_PART] = 2.0, 0.4, 1.0
    at.par[sh.PAR_LEVEL] = 0.35
    src = at.I[m, sh.MI_SRC]
    for level in (0.35, 0.6, 0.1):
        fill(at, src, level * at.F[src, sh.V_CAP])
        assert step(at, m) == pytest.approx(2.0 * DT * (1.0 + 0.4 * (level - 0.35)))
    at.I[m, sh.MI_LAW] = law


@pytest.mark.parametrize(
    ("level", "was", "on_off", "led", "stepped"),
    [
        (30.0, 0.0, 0.0, 0.0, 0.0), (30.0, 1.0, 1.0, 0.25, 0.5), (40.0, 0.0, 1.0, 0.5, 0.75),
        (20.0, 1.0, 0.0, 0.0, 0.0), (60.0, 0.0, 1.0, 1.0, 1.0), (22.0, 1.0, 1.0, 0.2, 0.25),
    ],
)  # fmt: skip
def test_a_pump_follows_the_level_between_its_marks(
    at: SimpleNamespace, level: float, was: float, on_off: float, led: float, stepped: float
) -> None:
    """Would fail if a pump started below its mark, hunted, or ran slower than it can."""
    m = row(at, "transfers", 3)
    at.F[m, [sh.M_STOP, sh.M_START, sh.M_FULL, sh.M_FLOOR, sh.M_STEPS]] = 20.0, 40.0, 60.0, 0.2, 4.0
    v = at.I[m, sh.MI_LED]
    fill(at, v, level)
    for law, share in ((sh.ON_OFF, on_off), (sh.LED, led), (sh.STEPPED, stepped)):
        at.I[m, sh.MI_LAW], at.S[m, sh.S_ON], at.S[m, sh.S_STARTS] = law, was, 0.0
        assert plain(network._pumped)(m, 0, at.F, at.I, at.S) == pytest.approx(share), law
        assert at.S[m, sh.S_STARTS] == (1.0 if share and not was else 0.0)
        assert plain(network._pumped)(m, 1, at.F, at.I, at.S) == 0.5  # milk is pushed out
        assert plain(network._pumped)(m, 2, at.F, at.I, at.S) == 1.0  # a wash is pumped down


def test_a_sock_is_changed_when_it_is_full(at: SimpleNamespace) -> None:
    """Would fail if socks were never changed, or milk ran while one is out."""
    f = row(at, "filters")
    at.F[f, [sh.F_CAP, sh.F_CHANGE_S]] = 1000.0, 6.0
    at.S[f, [sh.SF_LOAD, sh.SF_BUSY, sh.SF_CHANGES]] = 999.0, 0.0, 0.0
    seen = []
    for load in (999.0, 1000.0, 1000.0, 1000.0, 1000.0, 0.0):
        at.S[f, sh.SF_LOAD] = load
        plain(network._filters)(at.F, at.S, at.par, at.num)
        seen.append((float(at.S[f, sh.SF_BUSY]), float(at.S[f, sh.SF_CHANGES])))
    assert seen == [(0.0, 0.0), (6.0, 1.0), (4.0, 1.0), (2.0, 1.0), (0.0, 1.0), (0.0, 1.0)]
    assert at.S[f, sh.SF_LOAD] == 0.0


@pytest.mark.parametrize(("hot", "cold"), [(8.0, 16.0), (8.0, 8.0), (12.0, 5.0)])
def test_heat_of_a_cooler_is_that_of_a_counterflow(
    at: SimpleNamespace, hot: float, cold: float
) -> None:
    """Would fail if the day's cooler were another than the one that sizing has, or froze milk."""
    x, heat = row(at, "exchangers"), plain(network._heat)
    at.F[x, [sh.X_UA, sh.X_FREEZES_C]], at.S[x, sh.SX_HEALTH] = (10.0, -0.5), 1.0

    def moved(c_hot: float, cold_in: float) -> float:
        return float(heat(x, c_hot, cold, 35.0, cold_in, at.F, at.S, 2.0))

    there = exchanger(hot, 35.0, cold, 15.0, 20.0)
    assert moved(hot, 15.0) == pytest.approx(hot * (35.0 - there.hot_out_c))
    assert moved(0.0, 15.0) == 0.0
    assert moved(hot, -100.0) == pytest.approx(hot * 35.5)


def test_what_a_vessel_cannot_hold_runs_over(at: SimpleNamespace) -> None:
    """Would fail if milk vanished at the rim, or its loss were not told with its time."""
    v = at.I[row(at, "places"), sh.PL_VESSEL]
    cap, to = at.F[v, sh.V_CAP], at.I[v, sh.VI_SPILL]
    at.n[sh.I_STEP] = 50
    for kg, over in ((cap, 0.0), (cap + 30.0, 30.0), (cap + 10.0, 40.0)):
        at.S[v, sh.MILK], at.S[v, sh.WATER] = 0.75 * kg, 0.25 * kg
        at.S[v, sh.HEAT] = kg * CP * 5.0
        if not over:
            at.S[v, [sh.P_SPILT, sh.P_OVER_AT, sh.P_MOST, sh.P_LEAST]] = 0.0, -1.0, 0.0, 1e9
            at.S[to, : sh.HEAT + 1] = 0.0
        plain(network._spill)(at.F, at.I, at.S, at.n, at.par, at.num)
        assert at.S[v, : sh.SUBSTANCES].sum() == pytest.approx(cap)
        assert at.S[v, sh.HEAT] == pytest.approx(cap * CP * 5.0)
        assert at.S[v, sh.P_SPILT] == pytest.approx(over)
        assert at.S[to, [sh.MILK, sh.WATER]] == pytest.approx([0.75 * over, 0.25 * over])
        assert at.S[to, sh.HEAT] == pytest.approx(over * CP * 5.0)
        assert at.S[v, sh.P_OVER_AT] == (50 * DT if over else -1.0)
    assert at.S[v, sh.P_MOST] == pytest.approx(cap) == at.S[v, sh.P_LEAST]
