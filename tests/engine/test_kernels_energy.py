"""Heat, cold, air and electricity of a step, each law against its sum on paper.

A step of two seconds, so that what a second gives and what a step gives are not the same number.
"""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from byrewright.engine import shape as sh
from byrewright.engine.kernels import energy
from byrewright.physics.tank_wall import LYING, wetted_share
from tests.engine.plainly import CP, DT, NEAR, plain, row, stepped

HOUR_S = 3600.0


@pytest.fixture
def at() -> SimpleNamespace:
    """The arrays of a rotary with everything on it, with a step of two seconds."""
    return stepped()


def fill(at: SimpleNamespace, v: int, kg: float, celsius: float, what: int = sh.MILK) -> None:
    """A vessel with so much of one thing, so warm."""
    at.S[v, : sh.SUBSTANCES] = 0.0
    at.S[v, what], at.S[v, sh.HEAT] = kg, kg * CP * celsius


def store(at: SimpleNamespace) -> int:
    """A vessel made into a cold store of 1000 kJ/K at 1 degC, without ice."""
    v = int(at.num[sh.N_V1]) - 1
    at.I[v, sh.VI_ROLE], at.F[v, sh.V_C], at.F[v, sh.V_ICE] = sh.COLD_STORE, 1000.0, 0.0
    at.S[v, sh.V_T0], at.S[v, sh.HEAT] = 1.0, 0.0
    return v


# Refrigeration.


def chill(at: SimpleNamespace, ambient_c: float, second: float = 43_200.0) -> None:
    """A step of refrigeration."""
    plain(energy.chill)(ambient_c, second, at.F, at.I, at.S, at.g, at.n, at.par, at.num)


def alone(at: SimpleNamespace) -> int:
    """One refrigeration of 50 kW and COP 3 at 32 degC on a cold store that has 10 K to lose."""
    r = row(at, "chillers")
    at.S[row(at, "chillers", 1), sh.SR_HEALTH] = 0.0
    v = store(at)
    at.S[v, sh.HEAT] = 10_000.0
    at.F[r, [sh.R_DUTY, sh.R_COP, sh.R_RATED_C, sh.R_FALL]] = 50.0, 3.0, 32.0, 0.02
    at.F[r, [sh.R_BAND, sh.R_FROM, sh.R_TO]] = 1.5, 0.0, 0.0
    at.I[r, [sh.RI_TARGET, sh.RI_COOLED, sh.RI_TAKES, sh.RI_LOCKED]] = v, -1, -1, 0
    at.S[r, [sh.SR_ON, sh.SR_HEALTH, sh.SR_KJ, sh.SR_HOURS, sh.SR_GIVES]] = 0.0, 1.0, 0.0, 0.0, 1.0
    return r


@pytest.mark.parametrize(
    ("ambient_c", "duty", "cop"),
    [(32.0, 1.0, 1.0), (42.0, 0.8, 0.8), (22.0, 1.0, 1.2), (67.0, 0.3, 0.4), (90.0, 0.1, 0.4)],
)
def test_cold_and_its_electricity(
    at: SimpleNamespace, ambient_c: float, duty: float, cop: float
) -> None:
    """Would fail if heat took more or less of the duty than is stated, or all of it."""
    r = alone(at)
    v, meter = at.I[r, sh.RI_TARGET], at.I[r, sh.RI_KWH]
    at.S[meter, sh.E_KWH] = 0.0
    chill(at, ambient_c)
    kj = 50.0 * duty * DT
    assert at.S[v, sh.HEAT] == pytest.approx(10_000.0 - kj)
    assert at.S[r, sh.SR_KJ] == pytest.approx(kj) and at.g[sh.G_COLD_KJ] == pytest.approx(kj)
    assert at.S[r, sh.SR_HOURS] == pytest.approx(DT / HOUR_S)
    assert at.S[meter, sh.E_KWH] == pytest.approx(kj / (3.0 * cop) / HOUR_S)


def test_refrigeration_that_is_broken_or_locked_out_stands(at: SimpleNamespace) -> None:
    """Would fail if a failed machine cooled on, or one ran in a mode that locks it out."""
    r = alone(at)
    for health, locked, mode, runs in ((1.0, 0, 2, 1), (0.0, 0, 2, 0), (1.0, 0b100, 2, 0),
                                       (1.0, 0b100, 1, 1)):  # fmt: skip
        at.S[r, [sh.SR_HEALTH, sh.SR_ON]] = health, 0.0
        at.I[r, sh.RI_LOCKED], at.n[sh.I_MODE] = locked, mode
        chill(at, 32.0)
        assert at.S[r, sh.SR_ON] == runs, (health, locked, mode)
    before = float(at.g[sh.G_COLD_KJ])
    at.S[r, sh.SR_HEALTH] = 0.5
    chill(at, 32.0)
    assert at.g[sh.G_COLD_KJ] - before == pytest.approx(0.5 * 50.0 * DT)


def test_refrigeration_waits_for_its_band(at: SimpleNamespace) -> None:
    """Would fail if a machine started again as soon as it had stopped, or never stopped."""
    r = alone(at)
    v = at.I[r, sh.RI_TARGET]
    for heat, was, runs in ((1499.0, 0.0, 0), (1501.0, 0.0, 1), (300.0, 1.0, 1), (300.0, 0.0, 0),
                            (-1.0, 1.0, 0)):  # fmt: skip
        at.S[v, sh.HEAT], at.S[r, sh.SR_ON] = heat, was
        chill(at, 32.0)
        assert at.S[r, sh.SR_ON] == runs, heat
    at.S[v, sh.HEAT], at.S[r, sh.SR_ON], at.S[r, sh.SR_KJ] = 60.0, 1.0, 0.0
    chill(at, 32.0)  # less is left than it makes in a step: it takes that and stops
    assert at.S[v, sh.HEAT] == 0.0 and at.S[r, sh.SR_KJ] == 60.0 and at.S[r, sh.SR_ON] == 0.0


def test_ice_is_made_in_its_hours_and_when_none_is_left(at: SimpleNamespace) -> None:
    """Would fail if ice were made at the dear hours, or milk stayed warm till the cheap ones."""
    r = alone(at)
    v = at.I[r, sh.RI_TARGET]
    at.F[v, sh.V_ICE], at.F[r, sh.R_FROM], at.F[r, sh.R_TO] = 100_000.0, 79_200.0, 21_600.0
    # It starts where a fiftieth of the ice and the band have melted: 2000 + 1500 kJ.
    for heat, second, runs in ((-90_000.0, 43_200.0, 0), (-90_000.0, 3600.0, 1),
                               (-96_600.0, 3600.0, 0), (-96_400.0, 3600.0, 1),
                               (1.0, 43_200.0, 1)):  # fmt: skip
        at.S[v, sh.HEAT], at.S[r, sh.SR_ON] = heat, 0.0
        chill(at, 32.0, second)
        assert at.S[r, sh.SR_ON] == runs, (heat, second)


def test_recovery_gives_a_share_of_cold_and_work(at: SimpleNamespace) -> None:
    """Would fail if the water took more than the condenser gives, or grew warmer than it can."""
    r, to = alone(at), row(at, "vessels", 16)
    at.I[r, sh.RI_TAKES], at.F[r, sh.R_TAKEN], at.F[r, sh.R_TAKEN_C] = to, 0.6, 50.0
    fill(at, to, 500.0, 20.0, sh.WATER)
    chill(at, 32.0)
    given = 0.6 * 100.0 * (1.0 + 1.0 / 3.0)
    assert at.S[to, sh.HEAT] == pytest.approx(500.0 * CP * 20.0 + given)
    assert at.S[r, sh.SR_RECOVERED] == at.g[sh.G_IN_KJ] == pytest.approx(given)
    fill(at, to, 500.0, 50.0 - 0.01, sh.WATER)
    chill(at, 32.0)
    assert at.S[to, sh.HEAT] == pytest.approx(500.0 * CP * 50.0)
    fill(at, to, 500.0, 60.0, sh.WATER)
    chill(at, 32.0)
    assert at.S[to, sh.HEAT] == 500.0 * CP * 60.0  # warm water is not cooled by it


def test_a_tank_is_cooled_where_its_milk_touches(at: SimpleNamespace) -> None:
    """Would fail if an evaporator above the milk cooled, or milk that lies still froze."""
    r = alone(at)
    k = row(at, "cooled")
    v = at.I[k, sh.KI_VESSEL]
    at.I[r, [sh.RI_TARGET, sh.RI_COOLED]] = v, k
    at.F[r, [sh.R_SET, sh.R_BAND]] = 3.5, 0.5
    at.F[k, [sh.K_EVAPORATOR, sh.K_LEAST, sh.K_STILL, sh.K_GUARD_C]] = 0.5, 200.0, 0.0, 2.0
    at.I[v, sh.VI_WALL], cap = LYING, at.F[v, sh.V_CAP]
    for kg in (0.9 * cap, 0.15 * cap):
        fill(at, v, kg, 20.0)
        at.S[r, sh.SR_KJ] = 0.0
        chill(at, 32.0)
        share = min(1.0, wetted_share(kg / cap, LYING) / 0.5)
        assert at.S[r, sh.SR_KJ] == pytest.approx(50.0 * DT * share)
    fill(at, v, 150.0, 20.0)
    for still, kj in ((0.0, 0.0), (0.05, 0.05)):
        at.F[k, sh.K_STILL], at.S[r, sh.SR_KJ] = still, 0.0
        chill(at, 32.0)
        share = min(1.0, wetted_share(150.0 / cap, LYING) / 0.5)
        assert at.S[r, sh.SR_KJ] == pytest.approx(kj * share * (20.0 - 2.0) * DT)


# Tanks: agitators and jackets of chilled liquid.


def jacket(at: SimpleNamespace) -> tuple[int, int, int]:
    """A tank with a jacket of 5 kW/K and 60 kW at most on two cold stores; the tank and those."""
    k, b = row(at, "cooled"), store(at)
    a = b - 1
    at.I[a], at.F[a], at.S[a] = at.I[b], at.F[b], at.S[b]
    at.S[a, sh.V_T0] = 2.0
    vessels = int(at.num[sh.N_V1] - at.num[sh.N_V0])
    at.T.cold[at.n[sh.I_ROUTE], 0] = 0.0
    at.T.cold[at.n[sh.I_ROUTE], 0, [a, b, vessels]] = 0.25, 0.75, 1.0
    at.I[k, sh.KI_CHILLED] = 0
    at.F[k, [sh.K_UA, sh.K_MOST, sh.K_SET, sh.K_AGITATOR]] = 5.0, 60.0, 3.5, 0.75
    at.F[k, [sh.K_EVAPORATOR, sh.K_LEAST, sh.K_STILL, sh.K_GUARD_C]] = 1e-6, 200.0, 0.0, 2.5
    at.S[row(at, "cooled", 1) : row(at, "cooled", 1) + 1] = 0.0
    for v in at.I[at.T.rows("cooled"), sh.KI_VESSEL]:
        at.S[v, : sh.SUBSTANCES] = 0.0
    return k, a, b


def jackets(at: SimpleNamespace) -> None:
    """A step of stirred tanks."""
    plain(energy.jackets)(at.F, at.I, at.S, at.g, at.n, at.par, at.num, at.T.cold)


@pytest.mark.parametrize(("celsius", "kw"), [(30.0, 60.0), (6.25, 25.0), (3.95, 13.5)])
def test_a_jacket_cools_by_its_area_up_to_its_rating(
    at: SimpleNamespace, celsius: float, kw: float
) -> None:
    """Would fail if warm milk were cooled beyond the rating, cold milk as hard as warm, or the
    heat went to another cold store than the liquid comes from."""
    k, a, b = jacket(at)
    v, meter = at.I[k, sh.KI_VESSEL], at.I[k, sh.KI_KWH]
    fill(at, v, 1000.0, celsius)
    at.S[meter, sh.E_KWH] = 0.0
    jackets(at)  # the liquid comes at 0.25 x 2 + 0.75 x 1 = 1.25 degC
    assert at.S[k, sh.SK_KJ] == pytest.approx(kw * DT)
    assert at.S[v, sh.HEAT] == pytest.approx(1000.0 * CP * celsius - kw * DT + 0.75 * DT)
    assert at.S[a, sh.HEAT] == pytest.approx(0.25 * kw * DT)
    assert at.S[b, sh.HEAT] == pytest.approx(0.75 * kw * DT)
    assert at.g[sh.G_IN_KJ] == pytest.approx(0.75 * DT)
    assert at.S[meter, sh.E_KWH] == pytest.approx(0.75 * DT / HOUR_S)
    assert at.S[k, sh.SK_AGITATOR_H] == pytest.approx(DT / HOUR_S)


def test_a_tank_is_cooled_from_a_little_over_its_setting_down_to_it(at: SimpleNamespace) -> None:
    """Would fail if cooling hunted about the setting, or milk were cooled below it."""
    k, _, _ = jacket(at)
    v = at.I[k, sh.KI_VESSEL]
    for celsius, was, runs in ((3.91, 0.0, 1), (3.89, 0.0, 0), (3.6, 1.0, 1), (3.509, 1.0, 0)):
        fill(at, v, 1000.0, celsius)
        at.S[k, sh.SK_ON] = was
        jackets(at)
        assert at.S[k, sh.SK_ON] == runs, celsius
        assert at.S[v, sh.HEAT] >= 1000.0 * CP * 3.5 - NEAR


def test_an_agitator_stirs_two_minutes_in_half_an_hour(at: SimpleNamespace) -> None:
    """Would fail if cold milk were stirred all the time, or cream rose on it (common practice)."""
    k, _, _ = jacket(at)
    v = at.I[k, sh.KI_VESSEL]
    for step, stirs in ((0, True), (59, True), (60, False), (899, False), (900, True)):
        fill(at, v, 1000.0, 3.5)
        at.n[sh.I_STEP], at.S[k, sh.SK_AGITATOR_H] = step, 0.0
        jackets(at)
        assert bool(at.S[k, sh.SK_AGITATOR_H]) is stirs, step


def test_milk_below_the_agitator_is_cooled_slowly_down_to_its_guard(at: SimpleNamespace) -> None:
    """Would fail if milk that nothing stirs were cooled as if it were, or froze to the wall."""
    k, _, _ = jacket(at)
    v = at.I[k, sh.KI_VESSEL]
    fill(at, v, 150.0, 20.0)
    jackets(at)
    assert at.S[v, sh.HEAT] == 150.0 * CP * 20.0  # nothing is said of still milk: not cooled
    at.F[k, sh.K_STILL] = 0.1
    jackets(at)
    assert at.S[k, sh.SK_KJ] == pytest.approx(0.1 * (20.0 - 2.5) * DT)
    assert at.S[k, sh.SK_AGITATOR_H] == 0.0
    fill(at, v, 0.0, 0.0)
    jackets(at)
    assert at.S[k, sh.SK_ON] == 0.0  # an empty tank asks for no cold


# Rings of chilled liquid.


def ring(at: SimpleNamespace, a_c: float, b_c: float) -> tuple[int, int]:
    """Two baths of 1000 kJ/K with a refrigeration each, of which one user gets 1 kg/s, a quarter
    from the first."""
    _, a, b = jacket(at)
    for i, (v, celsius) in enumerate(((a, a_c), (b, b_c))):
        r = row(at, "chillers", i)
        at.I[r, sh.RI_TARGET] = v
        at.S[v, sh.V_T0], at.S[v, sh.HEAT] = 1.0, 1000.0 * (celsius - 1.0)
    return a, b


def rings(at: SimpleNamespace) -> None:
    """A step of liquid that goes round."""
    plain(energy.rings)(at.F, at.I, at.S, at.n, at.par, at.num, at.T.cold)


def test_chilled_liquid_comes_back_to_its_baths_as_one_blend(at: SimpleNamespace) -> None:
    """Would fail if a bath that makes no cold kept its heat from those beside it in the ring."""
    a, b = ring(at, 10.0, 2.0)
    rings(at)
    cp = at.par[sh.PAR_CP + sh.WATER]
    blend = 0.25 * 10.0 + 0.75 * 2.0
    assert at.S[a, sh.HEAT] == pytest.approx(9000.0 + 0.25 * cp * DT * (blend - 10.0))
    assert at.S[a, sh.HEAT] + at.S[b, sh.HEAT] == pytest.approx(10_000.0)
    vessels = int(at.num[sh.N_V1] - at.num[sh.N_V0])
    at.T.cold[at.n[sh.I_ROUTE], 0, vessels] = 1e9  # no more than a bath holds is passed on
    rings(at)
    assert 1.0 < at.S[b, sh.HEAT] / 1000.0 + 1.0 <= 10.0
    assert at.S[a, sh.HEAT] + at.S[b, sh.HEAT] == pytest.approx(10_000.0)
    at.T.cold[at.n[sh.I_ROUTE], 0, vessels] = 0.0
    before = at.S[a, sh.HEAT]
    rings(at)
    assert at.S[a, sh.HEAT] == before  # the pump stands


def test_a_blend_melts_ice_and_makes_none(at: SimpleNamespace) -> None:
    """Would fail if an ice bank's ice grew by colder liquid beside it, or did not cool warmer."""
    a, b = ring(at, 10.0, 1.0)
    at.F[b, sh.V_ICE], at.S[b, sh.HEAT] = 5000.0, -4000.0
    rings(at)
    assert at.S[a, sh.HEAT] < 9000.0 and at.S[b, sh.HEAT] > -4000.0
    at.S[a, sh.HEAT] = -2000.0  # a chiller's liquid at -1 degC: it holds no ice
    before = at.S[b, sh.HEAT]
    rings(at)
    assert at.S[b, sh.HEAT] == before and at.S[a, sh.HEAT] == -2000.0


# Water, walls, steel.


def test_a_heater_gives_its_power_up_to_its_setting(at: SimpleNamespace) -> None:
    """Would fail if water grew hotter than set, or its energy were not what the heat needs."""
    e = row(at, "heated")
    v, meter = at.I[e, sh.HI_VESSEL], at.I[e, sh.HI_KWH]
    at.F[e, [sh.H_KW, sh.H_SET, sh.H_EFFICIENCY]] = 30.0, 85.0, 0.8
    at.S[e, [sh.SH_ON, sh.SH_HEALTH, sh.SH_KWH]] = 0.0, 1.0, 0.0
    fill(at, v, 100.0, 20.0, sh.WATER)
    at.S[meter, sh.E_KWH] = at.g[sh.G_IN_KJ] = 0.0

    def heats() -> float:
        before = at.S[v, sh.HEAT]
        plain(energy.heat)(at.F, at.I, at.S, at.g, at.n, at.par, at.num)
        return float(at.S[v, sh.HEAT] - before)

    assert heats() == pytest.approx(30.0 * 0.8 * DT)
    assert at.g[sh.G_IN_KJ] == pytest.approx(30.0 * 0.8 * DT)
    for used in (at.S[e, sh.SH_KWH], at.S[meter, sh.E_KWH]):
        assert used == pytest.approx(30.0 * DT / HOUR_S)
    for celsius, was, on in ((83.1, 0.0, 0), (82.9, 0.0, 1), (84.0, 1.0, 1), (85.1, 1.0, 0)):
        fill(at, v, 100.0, celsius, sh.WATER)
        at.S[e, sh.SH_ON] = was
        assert (heats() > 0.0) is bool(on), celsius
    fill(at, v, 100.0, 85.0 - 0.01, sh.WATER)
    at.S[e, sh.SH_ON] = 1.0
    assert heats() == pytest.approx(100.0 * CP * 0.01)


def test_heat_goes_through_the_wetted_wall(at: SimpleNamespace) -> None:
    """Would fail if a tank half full warmed as if it were full, or its loss went nowhere."""
    v = at.I[row(at, "cooled"), sh.KI_VESSEL]
    others = [w for w in range(*at.num[[sh.N_V0, sh.N_V1]]) if w != v]
    at.S[others, : sh.SUBSTANCES] = 0.0
    at.g[sh.G_ROOM_C], at.F[v, sh.V_UA], at.par[sh.PAR_DRY_WALL] = 18.0, 0.02, 0.3
    fill(at, v, 0.5 * at.F[v, sh.V_CAP], 4.0)
    before = float(at.S[v, sh.HEAT])
    for wall, share in ((-1, 1.0), (LYING, 0.5 + 0.3 * 0.5)):
        at.I[v, sh.VI_WALL], at.S[v, sh.HEAT], at.g[sh.G_LOST_KJ] = wall, before, 0.0
        plain(energy.losses)(at.F, at.I, at.S, at.g, at.n, at.par, at.num)
        assert at.S[v, sh.HEAT] - before == pytest.approx(0.02 * share * 14.0 * DT, rel=1e-3)
        assert at.g[sh.G_LOST_KJ] == pytest.approx(before - at.S[v, sh.HEAT])
    assert at.S[v, sh.P_WARMEST] >= 4.0
    heater = at.I[row(at, "heated"), sh.HI_VESSEL]  # stores no milk, and loses heat all the same
    at.I[heater, sh.VI_WALL], at.F[heater, sh.V_UA] = -1, 0.01
    fill(at, heater, 500.0, 80.0, sh.WATER)
    plain(energy.losses)(at.F, at.I, at.S, at.g, at.n, at.par, at.num)
    assert at.S[heater, sh.HEAT] == pytest.approx(500.0 * CP * 80.0 - 0.01 * 62.0 * DT)


def test_steel_cools_as_the_room_does_while_no_wash_runs(at: SimpleNamespace) -> None:
    """Would fail if the next wash met steel still hot, or colder than the room."""
    at.par[sh.PAR_STEEL_KJ_K], at.par[sh.PAR_CIRCULATE_UA] = 200.0, 0.5
    for circulates, after in ((0, 60.0 - 40.0 * 0.5 * DT / 200.0), (1, 60.0)):
        at.g[sh.G_STEEL_C], at.g[sh.G_ROOM_C], at.n[sh.I_CIRCULATES] = 60.0, 20.0, circulates
        plain(energy.losses)(at.F, at.I, at.S, at.g, at.n, at.par, at.num)
        assert at.g[sh.G_STEEL_C] == pytest.approx(after)


# Cloths, compressed air, vacuum, electricity.


def test_cloths_go_from_washer_to_dryer_in_whole_loads(at: SimpleNamespace) -> None:
    """Would fail if half loads were washed, cloths were lost, or a machine drew for nothing."""
    w, d = row(at, "laundry"), row(at, "laundry", 1)
    at.par[sh.PAR_CLOTH_KG] = 0.05
    for i, minutes in ((w, 60.0), (d, 50.0)):
        at.F[i, [sh.L_LOAD_KG, sh.L_CYCLE_S, sh.L_KW, sh.L_WATER]] = (
            10.0,
            60.0 * minutes,
            3.0,
            120.0,
        )
        at.I[i, sh.LI_COUNT], at.S[i] = 1, 0.0
        at.S[i, sh.SL_HEALTH] = 1.0
        at.S[at.I[i, sh.LI_KWH], sh.E_KWH] = 0.0
    dose = at.I[w, sh.LI_DOSE]
    at.S[dose, sh.S_DOSE] = 0.0

    def step() -> None:
        plain(energy.laundry)(at.F, at.I, at.S, at.g, at.n, at.par, at.num)

    at.g[sh.G_CLOTHS] = 199.0  # 9.95 kg: no load
    step()
    assert at.S[w, sh.SL_BUSY] == 0.0
    at.g[sh.G_CLOTHS] = 450.0  # two loads, one machine
    step()
    assert at.S[w, sh.SL_BUSY] == 1.0 and at.S[w, sh.SL_LEFT] == 3600.0
    assert at.g[sh.G_CLOTHS] == pytest.approx(250.0) and at.S[dose, sh.S_DOSE] == 120.0
    for _ in range(int(3600.0 / DT)):
        step()
    assert at.S[w, sh.SL_LOADS] == 1.0 and at.S[at.I[w, sh.LI_KWH], sh.E_KWH] == pytest.approx(3.0)
    assert at.S[w, sh.SL_BUSY] == 1.0 and at.g[sh.G_CLOTHS] == pytest.approx(50.0)  # the second
    assert at.S[d, sh.SL_BUSY] == 1.0 and at.S[d, sh.SL_WAITING] == pytest.approx(0.0)
    at.S[w, sh.SL_HEALTH] = 0.0
    for _ in range(int(3600.0 / DT)):
        step()
    assert at.S[w, sh.SL_LOADS] == 2.0 and at.S[d, sh.SL_LOADS] >= 1.0
    at.g[sh.G_CLOTHS] = 450.0
    step()
    assert at.S[w, sh.SL_BUSY] == 0.0  # broken: it starts no more


def test_compressed_air_is_made_between_its_pressures(at: SimpleNamespace) -> None:
    """Would fail if leaks cost nothing, or a compressor ran on, or its hours were not counted."""
    c = row(at, "compressors")
    at.S[row(at, "compressors", 1), sh.SA_HEALTH] = 0.0
    at.par[[sh.PAR_AIR_VOLUME, sh.PAR_AIR_LOW, sh.PAR_AIR_HIGH, sh.PAR_AIR_LEAK]] = 100.0, 6, 8, 0.5
    at.g[sh.G_AIR_LEAK], at.F[c, sh.A_MADE], at.F[c, sh.A_KW] = 0.25, 10.0, 4.0
    meter = at.I[c, sh.AI_KWH]
    at.g[sh.G_AIR_LEAST] = 7.5
    for bar, was, runs in ((7.0, 0.0, 0), (5.99, 0.0, 1), (7.0, 1.0, 1), (8.02, 1.0, 0)):
        at.g[sh.G_AIR], at.S[c, sh.SA_ON], at.S[c, sh.SA_HOURS] = 100.0 * bar, was, 0.0
        least = float(at.g[sh.G_AIR_LEAST])
        at.S[meter, sh.E_KWH] = at.g[sh.G_AIR_USED] = at.g[sh.G_AIR_MADE] = 0.0
        plain(energy.air)(at.F, at.I, at.S, at.g, at.par, at.num)
        made = 10.0 * DT * runs
        assert at.g[sh.G_AIR] == pytest.approx(100.0 * bar - 0.75 * DT + made), bar
        assert at.g[sh.G_AIR_LEAST] == pytest.approx(min(least, at.g[sh.G_AIR] / 100.0))
        assert at.g[sh.G_AIR_USED] == pytest.approx(0.75 * DT)
        assert at.g[sh.G_AIR_MADE] == pytest.approx(made)
        assert at.S[c, sh.SA_HOURS] == pytest.approx(DT / HOUR_S * runs)
        assert at.S[meter, sh.E_KWH] == pytest.approx(4.0 * DT / HOUR_S * runs)


def test_pumps_share_the_power_and_fallen_units_cost_air(at: SimpleNamespace) -> None:
    """Would fail if two pumps drew twice what the map says, or a fallen unit drew no air."""
    units = at.T.vac.shape[1] - 1
    at.T.vac[:, :, sh.VA_KPA] = 50.0 - np.arange(units + 1)  # a kPa a unit
    at.T.vac[:, :, sh.VA_KW] = 6.0 + 0.5 * np.arange(units + 1)
    at.T.vac[:, :, sh.VA_SPEED] = 0.5 + 0.01 * np.arange(units + 1)
    pumps = list(range(row(at, "pumps"), at.T.rows("pumps").stop))
    meters = at.I[pumps, sh.PI_KWH]
    at.S[pumps, sh.SP_ON], at.S[meters, sh.E_KWH] = 1.0, 0.0
    at.n[sh.I_MILKING], at.g[sh.G_VAC_LEAST] = 0, 99.0
    at.g[[sh.G_ATTACHED, sh.G_FALLEN, sh.G_VACUUM_AIR]] = 2.0, 1.0, 0.5
    at.par[sh.PAR_FALL_UNITS] = 3.0
    plain(energy.vacuum)(at.F, at.I, at.S, at.g, at.n, at.par, at.num, at.T.vac)
    assert at.g[sh.G_VAC_LEAST] == at.g[sh.G_VACUUM] == pytest.approx(50.0 - 5.5)
    assert at.g[sh.G_PUMP_SPEED] == pytest.approx(0.5 + 0.055)
    each = (6.0 + 0.5 * 5.5) / len(pumps) * DT / HOUR_S
    assert at.S[meters, sh.E_KWH] == pytest.approx(np.full(len(pumps), each))


def test_vacuum_is_there_for_milking_and_a_wash_alone(at: SimpleNamespace) -> None:
    """Would fail if pumps drew their power all night, or a wash found no vacuum."""
    at.T.vac[:, :, sh.VA_KPA], at.T.vac[:, :, sh.VA_SPEED] = 45.0, 0.8
    pumps = list(range(row(at, "pumps"), at.T.rows("pumps").stop))
    at.S[pumps, sh.SP_ON] = 1.0
    for milking, circulates, kpa in ((-1, 0, 0.0), (0, 0, 45.0), (-1, 1, 45.0)):
        at.n[[sh.I_MILKING, sh.I_CIRCULATES]] = milking, circulates
        at.g[sh.G_PUMP_SPEED] = 0.5
        plain(energy.vacuum)(at.F, at.I, at.S, at.g, at.n, at.par, at.num, at.T.vac)
        assert at.g[sh.G_VACUUM] == kpa and bool(at.n[sh.I_PUMPS]) is (kpa > 0.0)
        assert at.g[sh.G_PUMP_SPEED] == (0.8 if kpa else 0.0)


def test_a_minute_is_the_mean_of_its_meters(at: SimpleNamespace) -> None:
    """Would fail if the peak, which the supply is sized by, were a sum, or loads ran all night."""
    load, meters = row(at, "loads"), at.T.rows("meters")
    at.num[sh.N_MINUTE] = 30  # steps of two seconds
    at.F[load, sh.E_KW], at.I[load, sh.EI_MILKING] = 12.0, 1
    at.S[meters, sh.E_KWH] = at.g[sh.G_KWH] = at.g[sh.G_KW_MOST] = at.g[sh.G_COST] = 0.0
    for milking, kw, peak in ((-1, 0.0, 0.0), (0, 12.0, 12.0), (0, 12.0, 12.0), (-1, 0.0, 12.0)):
        at.n[sh.I_MILKING] = milking
        plain(energy.electricity)(0.25, at.F, at.I, at.S, at.g, at.n, at.par, at.num)
        assert at.g[sh.G_KW] == pytest.approx(kw) and at.g[sh.G_KW_MOST] == pytest.approx(peak)
    assert at.S[meters, sh.E_KWH].sum() == pytest.approx(2 * 12.0 / 60.0)
    assert at.g[sh.G_COST] == pytest.approx(0.25 * 2 * 12.0 / 60.0)


def test_the_deck_draws_while_it_turns(at: SimpleNamespace) -> None:
    """Would fail if a deck that stands drew its power, or one that turns none."""
    meter = at.num[sh.N_DRIVE_KWH]
    at.par[sh.PAR_DRIVE_KW], at.g[sh.G_TURNED_S] = 3.0, 1.5
    for milking, kwh in ((-1, 0.0), (0, 3.0 * 1.5 / HOUR_S)):
        at.S[meter, sh.E_KWH], at.n[sh.I_MILKING] = 0.0, milking
        plain(energy.drives)(at.S, at.g, at.n, at.par, at.num)
        assert at.S[meter, sh.E_KWH] == pytest.approx(kwh)
