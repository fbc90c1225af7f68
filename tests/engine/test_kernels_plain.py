"""Single laws of the day's kernels, each on a state made by hand.

The kernels are run here as the plain Python they are written in, so that a law is asked in
milliseconds; that the compiled ones do the same is asked by the day itself.
"""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from byrewright.engine import shape as sh
from byrewright.engine.kernels import control, energy, lines, network, traffic
from byrewright.standards.rulebook import default_rulebook
from tests.engine.plainly import NEAR, arrays, plain, row

RULES = default_rulebook()


@pytest.fixture
def at() -> SimpleNamespace:
    """The arrays of a rotary, to be changed at will."""
    return arrays()


# Refrigeration, air, vacuum, electricity.


def made_kj(at: SimpleNamespace, ambient_c: float, second: float = 43_200.0) -> tuple[float, float]:
    """Cold that the first refrigeration makes in a step, and its electricity, kJ."""
    r = row(at, "chillers")
    v = at.I[r, sh.RI_TARGET]
    at.S[v, : sh.SUBSTANCES] = 0.0
    at.S[v, sh.MILK] = at.F[v, sh.V_CAP] if at.I[v, sh.VI_ROLE] != sh.COLD_STORE else 0.0
    at.S[v, sh.HEAT] = (
        1e9 if at.I[v, sh.VI_ROLE] == sh.COLD_STORE else at.S[v, sh.MILK] * 4.0 * 30.0
    )
    at.S[r, [sh.SR_KJ, sh.SR_ON]] = 0.0
    at.S[at.I[r, sh.RI_KWH], sh.E_KWH] = 0.0
    plain(energy.chill)(ambient_c, second, at.F, at.I, at.S, at.g, at.n, at.par, at.num)
    return float(at.S[r, sh.SR_KJ]), 3600.0 * float(at.S[at.I[r, sh.RI_KWH], sh.E_KWH])


def test_refrigeration_gives_less_in_the_heat(at: SimpleNamespace) -> None:
    """Would fail if a hot day took nothing of the duty, or a cool one gave more than is rated."""
    r = row(at, "chillers")
    rated, fall = at.F[r, sh.R_RATED_C], at.F[r, sh.R_FALL]
    usual, kwh = made_kj(at, rated)
    hot, hot_kwh = made_kj(at, rated + 8.0)
    cool, cool_kwh = made_kj(at, rated - 8.0)
    assert usual > 0 and hot == pytest.approx(usual * (1.0 - 8.0 * fall), rel=NEAR)
    assert cool == pytest.approx(usual, rel=NEAR)
    assert hot / hot_kwh == pytest.approx(usual / kwh * (1.0 - 8.0 * fall), rel=NEAR)
    assert cool / cool_kwh == pytest.approx(usual / kwh * (1.0 + 8.0 * fall), rel=NEAR)


@pytest.mark.parametrize(
    ("second", "start", "end", "inside"),
    [
        (3_600, 79_200, 21_600, True), (80_000, 79_200, 21_600, True),
        (43_200, 79_200, 21_600, False), (21_600, 79_200, 21_600, False),
        (79_200, 79_200, 21_600, True), (43_200, 36_000, 50_000, True),
        (50_000, 36_000, 50_000, False), (10, 36_000, 50_000, False), (10, 0, 0, True),
    ],
)  # fmt: skip
def test_a_window_may_cross_midnight(second: float, start: float, end: float, inside: bool) -> None:
    """Would fail if ice were made by day, or not at night."""
    assert plain(energy._within)(second, start, end) is inside


def test_the_second_compressor_joins_lower_down(at: SimpleNamespace) -> None:
    """Would fail if all compressors started at once, or the second before the first."""
    first = row(at, "compressors")
    high, low = at.par[sh.PAR_AIR_HIGH], at.par[sh.PAR_AIR_LOW]
    for place, bar, starts in (
        (0, low - 0.01, True), (1, low - 0.01, False), (1, low - 0.26 * (high - low), True),
        (1, low - 0.24 * (high - low), False),
    ):  # fmt: skip
        at.I[first, sh.AI_PLACE] = place
        at.S[first, sh.SA_ON] = 0.0
        at.g[sh.G_AIR], at.par[sh.PAR_AIR_LEAK] = bar * at.par[sh.PAR_AIR_VOLUME], 0.0
        others = range(first + 1, at.T.rows("compressors").stop)
        at.S[list(others), sh.SA_HEALTH] = 0.0
        plain(energy.air)(at.F, at.I, at.S, at.g, at.par, at.num)
        assert bool(at.S[first, sh.SA_ON]) is starts, (place, bar)


def vacuum(at: SimpleNamespace) -> float:
    """Vacuum of a step of milking with all units attached."""
    at.n[sh.I_MILKING] = 0
    at.g[sh.G_ATTACHED] = at.T.vac.shape[1] - 1.0
    plain(energy.vacuum)(at.F, at.I, at.S, at.g, at.n, at.par, at.num, at.T.vac)
    return float(at.g[sh.G_VACUUM])


def test_a_worn_pump_holds_less_vacuum(at: SimpleNamespace) -> None:
    """Would fail if a pump at half its air served as many units as a sound one."""
    units = at.T.vac.shape[1] - 1
    at.T.vac[:, :, sh.VA_KPA] = 50.0 - np.arange(units + 1)  # a kPa a unit
    pumps = list(range(row(at, "pumps"), at.T.rows("pumps").stop))
    at.S[pumps, sh.SP_ON] = [1.0] + [-1.0] * (len(pumps) - 1)
    at.n[sh.I_MILKING] = 0
    for health, load in ((1.0, 4.0), (0.5, 8.0), (0.8, 5.0)):
        at.S[pumps[0], sh.SP_HEALTH] = health
        at.g[sh.G_ATTACHED] = 4.0
        plain(energy.vacuum)(at.F, at.I, at.S, at.g, at.n, at.par, at.num, at.T.vac)
        assert at.g[sh.G_VACUUM] == pytest.approx(50.0 - load, rel=NEAR)


@pytest.mark.parametrize(("share", "starts"), [(0.96, True), (0.98, False), (0.6, True)])
def test_a_ready_pump_starts_when_vacuum_stays_low(
    at: SimpleNamespace, share: float, starts: bool
) -> None:
    """Would fail if the standby waited for a collapse, or came at once, or never."""
    pumps = list(range(row(at, "pumps"), at.T.rows("pumps").stop))
    if len(pumps) < 2:
        pytest.fail("the plant of this test has a standby")
    at.T.vac[:, :, sh.VA_KPA] = share * at.par[sh.PAR_VAC_SET]
    at.S[pumps, sh.SP_ON] = [1.0] + [0.0] * (len(pumps) - 1)
    steps = int(np.ceil(at.par[sh.PAR_STANDBY_S] / at.par[sh.PAR_DT]))
    for _ in range(steps - 1):
        vacuum(at)
    assert at.S[pumps[1], sh.SP_ON] == 0.0
    vacuum(at)
    assert at.S[pumps[1], sh.SP_ON] == float(starts)


def test_a_gate_runs_a_tenth_of_the_time(at: SimpleNamespace) -> None:
    """Would fail if the yard gate drew its whole power all through milking (common practice)."""
    meter = at.num[sh.N_GATE_KWH]
    assert meter >= 0
    at.n[sh.I_MILKING] = 0
    plain(energy.drives)(at.S, at.g, at.n, at.par, at.num)
    used = at.S[meter, sh.E_KWH] * 3600.0 / at.par[sh.PAR_DT]
    assert used == pytest.approx(0.1 * at.par[sh.PAR_GATE_KW], rel=NEAR)


# Liquids.


def moved(at: SimpleNamespace) -> float:
    """What the first milk pump moves in a step out of a full receiver, kg/s."""
    m = pump(at)
    src = at.I[m, sh.MI_SRC]
    others = [k for k in range(*at.num[[sh.N_M0, sh.N_M1]]) if at.I[k, sh.MI_GROUP] == m != k]
    at.S[others, sh.S_CMD] = 0.0
    at.n[sh.I_MODE] = 0
    at.S[src, : sh.SUBSTANCES] = 0.0
    at.S[src, sh.MILK] = at.F[m, sh.M_FULL]
    at.S[src, sh.HEAT] = at.S[src, sh.MILK] * at.par[sh.PAR_CP] * 35.0
    plain(control.route)(0.0, at.I, at.g, at.n, at.par, at.num)
    plain(network.move)(np.zeros((len(at.F), len(sh.WORK))), at.F, at.I, at.S, at.g, at.n, at.par,
                        at.num, at.T.share, at.T.most, at.T.cold, at.plugs)  # fmt: skip
    return float(at.S[m, sh.S_FLOW])


def pump(at: SimpleNamespace) -> int:
    """The first pump that its vessel's level leads and a sock follows."""
    for m in range(row(at, "transfers"), at.T.rows("transfers").stop):
        joints = at.I[at.I[m, sh.MI_J0] : at.I[m, sh.MI_J1]]
        if at.I[m, sh.MI_GROUP] == m and (joints[:, sh.J_FILTER] >= 0).any():
            return m
    pytest.fail("no pump with a sock")


def test_a_dirty_sock_slows_the_pump(at: SimpleNamespace) -> None:
    """Would fail if a sock that is half used cost no flow, or all."""
    clean = moved(at)
    socks = slice(row(at, "filters"), at.T.rows("filters").stop)
    at.F[socks, sh.F_LOSS : sh.F_LOSS + sh.DIRTS] = [0.05, 0.2, 0.3, 0.6]
    for dirt, loss in ((0.25, 0.05), (0.5, 0.2), (0.625, 0.25), (0.999, 0.5988)):
        at.S[socks, sh.SF_LOAD] = dirt * at.F[socks, sh.F_CAP]
        assert moved(at) == pytest.approx(clean * (1.0 - loss), rel=NEAR)
    at.S[socks, sh.SF_LOAD], at.S[socks, sh.SF_HEALTH] = 0.0, 0.5
    assert moved(at) == pytest.approx(0.5 * clean, rel=NEAR)


def test_a_pump_at_part_load_draws_its_part(at: SimpleNamespace) -> None:
    """Would fail if a slowed pump drew its full power: idle losses stay, the rest falls."""
    m = pump(at)
    meter = at.I[m, sh.MI_KWH]
    socks = slice(row(at, "filters"), at.T.rows("filters").stop)
    drawn = []
    for health in (1.0, 0.5):
        at.S[socks, sh.SF_HEALTH], at.S[meter, sh.E_KWH] = health, 0.0
        kg_s = moved(at)
        full = at.T.most[at.n[sh.I_ROUTE], 1, m - row(at, "transfers")]
        share = min(1.0, kg_s / full[sh.FL_KG_S])
        kwh = at.F[m, sh.M_KW] * full[sh.FL_PART] * (0.15 + 0.85 * share**2) * at.par[sh.PAR_DT]
        drawn.append(float(at.S[meter, sh.E_KWH]))
        assert drawn[-1] == pytest.approx(kwh / 3600.0, rel=NEAR)
    assert drawn[1] < 0.8 * drawn[0]


# Tanks and the tanker.


def test_a_tank_that_is_washed_takes_no_milk(at: SimpleNamespace) -> None:
    """Would fail if milk were sent into a tank that is being washed, loaded or full."""
    i = row(at, "places")
    tank, pump_ = at.I[i, sh.PL_VESSEL], at.I[i, sh.PL_LOADING]

    def usable(t: float) -> bool:
        asked = plain(control._usable)(i, t, at.F, at.I, at.S, at.g, at.n, at.num)
        return bool(asked)

    assert usable(100.0)
    at.S[tank, sh.V_WASH_UNTIL] = 200.0
    assert not usable(100.0) and usable(200.0)
    at.S[tank, sh.MILK] = 0.986 * at.F[tank, sh.V_CAP]
    assert not usable(300.0)
    at.S[tank, sh.MILK] = 0.984 * at.F[tank, sh.V_CAP]
    assert usable(300.0)
    at.S[pump_, sh.S_CMD] = 1.0
    assert pump_ >= 0 and not usable(300.0)


def test_a_tanker_with_nothing_to_load_waits_ten_minutes(at: SimpleNamespace) -> None:
    """Would fail if the tanker left at once, or stood for ever (common practice, no source)."""
    at.n[sh.I_TANKER], at.n[sh.I_STEP] = 1, 0
    at.g[sh.G_TANKER_CAP], at.g[sh.G_TANKER_AT] = 10_000.0, 1000.0
    for v in at.I[at.T.rows("places"), sh.PL_VESSEL]:
        at.S[v, : sh.SUBSTANCES] = 0.0
    for t, there in ((1001.0, 1), (1599.0, 1), (1601.0, 0)):
        plain(control._tanker)(t, at.F, at.I, at.S, at.g, at.n, at.par, at.num, at.state.loads)
        assert at.n[sh.I_TANKER] == there, t


# Cows.


def entered(at: SimpleNamespace, groups: tuple[int, int]) -> float:
    """When the cow behind the first may come in."""
    at.state.cow[:2, sh.C_GROUP] = groups
    at.n[[sh.I_COW, sh.I_COWS, sh.I_MILKING]] = 0, 2, 0
    at.g[sh.G_READY] = 0.0
    plain(traffic._enter)(100.0, row(at, "stalls"), at.S, at.g, at.n, at.par, at.num,
                          at.state.cow, at.state.out)  # fmt: skip
    return float(at.g[sh.G_READY])


def test_the_next_group_comes_after_its_gap(at: SimpleNamespace) -> None:
    """Would fail if groups followed each other without the time to fetch the next."""
    at.par[sh.PAR_GAP_S], at.par[sh.PAR_BOARD_S] = 240.0, 3.0
    assert entered(at, (0, 0)) == 103.0
    assert entered(at, (0, 1)) == 340.0


def test_the_deck_waits_for_an_operator_who_is_behind(at: SimpleNamespace) -> None:
    """Would fail if the deck turned on and carried cows past their operator."""
    at.n[[sh.I_MILKING, sh.I_COW, sh.I_COWS]] = 0, 0, 0
    at.par[sh.PAR_WINDOW], dt = 10.0, at.par[sh.PAR_DT]
    for behind, held in ((10.0, 0.0), (10.4 * dt, 0.4 * dt - (10.0 - 10.0 * dt)), (60.0, dt)):
        at.g[[sh.G_HELD, sh.G_U, sh.G_STOP]] = 0.0
        at.n[[sh.I_ENTRY, sh.I_ATTACH, sh.I_EXIT]] = 0
        at.g[sh.G_BUSY_UNTIL] = 500.0 + behind
        plain(traffic._turn)(500.0, at.F, at.I, at.S, at.g, at.n, at.par, at.num, at.state.cow,
                             at.state.out, at.state.session)  # fmt: skip
        assert at.g[sh.G_HELD] == pytest.approx(held, abs=NEAR), behind
        turned = (dt - held) * at.g[sh.G_DRIVE] / at.par[sh.PAR_STALL_S]
        assert at.g[sh.G_U] == pytest.approx(turned, abs=NEAR), behind


# Lines.


def line_of(at: SimpleNamespace, plugs: int, kj_kg: float = 80.0) -> int:
    """A line whose first plugs stand full of milk, and that gave to the first place last."""
    r = row(at, "lines")
    each = at.F[r, sh.LN_CAP] / sh.PLUGS
    at.S[r] = 0.0
    at.plugs[0] = 0.0
    at.plugs[0, :plugs, sh.MILK], at.plugs[0, :plugs, sh.HEAT] = each, each * kj_kg
    at.S[r, sh.MILK], at.S[r, sh.HEAT] = plugs * each, plugs * each * kj_kg
    at.S[r, sh.LS_NEWEST] = max(0, plugs - 1)
    at.S[r, sh.LS_TO] = at.I[row(at, "places"), sh.PL_VESSEL]
    at.n[sh.I_TARGET] = row(at, "places")
    return r


def through(at: SimpleNamespace, r: int, kg: float = 0.0) -> np.ndarray:
    """Its work space after a step in which it is given milk."""
    W = np.zeros((len(at.S), 64))
    W[r, sh.W_GIVES] = W[r, sh.W_MASS + sh.MILK] = kg
    plain(lines.through_lines)(0, W, at.F, at.I, at.S, at.g, at.n, at.num, at.plugs)
    return W


@pytest.mark.parametrize(("left_s", "of_it"), [(300.0, 1.0), (225.0, 0.5), (165.0, 0.1)])
def test_a_line_is_pushed_out_evenly_with_its_heat(
    at: SimpleNamespace, left_s: float, of_it: float
) -> None:
    """Would fail if milk were pushed out at once or too late, or its heat were left behind."""
    r = line_of(at, sh.PLUGS)
    cap, to = at.F[r, sh.LN_CAP], int(at.S[r, sh.LS_TO])
    at.n[sh.I_FLUSH], at.n[sh.I_MILKING], at.g[sh.G_PHASE_LEFT] = 1, -1, left_s
    W = through(at, r)
    assert at.S[r, sh.MILK] == pytest.approx(of_it * cap)
    assert at.S[r, sh.HEAT] == pytest.approx(of_it * cap * 80.0)
    assert W[to, sh.W_MASS + sh.MILK] == pytest.approx((1.0 - of_it) * cap)
    assert W[to, sh.W_KJ] == pytest.approx((1.0 - of_it) * cap * 80.0)


def test_a_wash_leaves_in_a_line_what_does_not_drain(at: SimpleNamespace) -> None:
    """Would fail if a line held a wash back as it holds milk, or kept nothing of it."""
    r = line_of(at, 0)
    cap = at.F[r, sh.LN_CAP]
    at.F[r, sh.LN_STAYS] = 0.3 * cap
    at.n[sh.I_FLUSH], at.n[sh.I_MILKING] = 0, -1
    W = through(at, r, 0.5 * cap)
    assert at.S[r, sh.MILK] == pytest.approx(0.3 * cap)
    assert W[r, sh.W_OUT + sh.MILK] == pytest.approx(0.2 * cap)


def test_a_line_keeps_apart_what_came_in_one_after_another(at: SimpleNamespace) -> None:
    """Would fail if a plug took more than its part of the line, or were over a fortieth of it."""
    r = line_of(at, 0)
    part = at.F[r, sh.LN_CAP] / 40.0
    at.n[sh.I_FLUSH], at.n[sh.I_MILKING] = 0, 0
    through(at, r, 3.5 * part)
    assert at.plugs[0, :, sh.MILK].max() <= part * (1.0 + NEAR)
    assert at.plugs[0, :, sh.MILK].sum() == pytest.approx(3.5 * part)
