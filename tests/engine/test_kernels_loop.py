"""Weather, readings, wakefulness and heat on the way of a step, each on a state made by hand."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from byrewright.engine import shape as sh
from byrewright.engine.compiled import Compiled
from byrewright.engine.kernels import control, energy, lines, loop, network, vessels
from byrewright.engine.simulate import columns
from byrewright.physics.heat import exchanger
from byrewright.physics.wash_heat import wet_air_kw
from tests import plants
from tests.engine.plainly import CP, DT, empty, plain, row
from tests.engine.test_engine_basics import CLOSES, compiled_day, gaps


@pytest.fixture
def at() -> SimpleNamespace:
    """The arrays of a rotary with everything on it, all vessels empty, a step of two seconds."""
    return empty()


def test_it_is_warmest_at_three_and_coldest_at_night() -> None:
    """Would fail if the hot hours of a day fell into another milking (common practice)."""
    told = [plain(loop.outside_c)(h, 20.0, 6.0) for h in (15.0, 3.0, 9.0, 21.0, 39.0)]
    assert told == pytest.approx([26.0, 14.0, 20.0, 20.0, 26.0])


def test_a_reading_is_what_stands_at_the_end_of_its_step(at: SimpleNamespace) -> None:
    """Would fail if a curve were drawn in another unit, or of another vessel."""
    v = at.I[row(at, "cooled"), sh.KI_VESSEL]
    at.S[v, sh.MILK], at.S[v, sh.HEAT] = 300.0, 300.0 * CP * 6.0
    at.g[[sh.G_MILK, sh.G_WITHHELD, sh.G_ATTACHED, sh.G_VACUUM]] = 1.5, 0.5, 7.0, 44.0
    at.g[[sh.G_KW, sh.G_PUMP_SPEED]] = 12.0, 0.9
    m, x = row(at, "transfers", 3), row(at, "exchangers")
    at.S[m, sh.S_FLOW], at.S[x, sh.SX_OUT] = 2.5, 18.0
    vessels, transfers = (at.T.rows(s).stop - at.T.rows(s).start for s in ("vessels", "transfers"))
    seen = np.zeros((2, loop.Z_FIRST + 2 * vessels + transfers + 1))
    plain(loop._read)(1, 60.0, at.F, at.I, at.S, at.g, at.par, at.num, seen)
    assert seen[1, : loop.Z_FIRST].tolist() == [60.0, 60.0, 7.0, 44.0, 12.0, 0.9]
    place = loop.Z_FIRST + v - at.num[sh.N_V0]
    assert seen[1, place] == 300.0 and seen[1, place + vessels] == pytest.approx(6.0)
    assert seen[1, loop.Z_FIRST + 2 * vessels + 3] == 2.5 and seen[1, -1] == 18.0
    assert not seen[0].any()


def test_it_wakes_when_there_is_something_to_decide(at: SimpleNamespace) -> None:
    """Would fail if a failure or the next milking were slept through."""
    rows = np.array([[50, 0, 0, sh.ROW_OPERATORS]])
    n = at.n
    n[[sh.I_TARGET, sh.I_COW, sh.I_COWS, sh.I_ON_DECK]] = row(at, "places"), 5, 30, 12
    v = at.I[row(at, "places"), sh.PL_VESSEL]

    def awake() -> bool:
        return bool(plain(control.awake)(at.S, at.F, at.I, n, at.num, rows))

    for changes, wakes in (
        ({}, False), ({sh.I_STEP: 50}, True), ({sh.I_STEP: 50, sh.I_ROW: 1}, False),
        ({sh.I_SEQ: 1}, True), ({sh.I_TANKER: 1}, True), ({sh.I_PENDING: 4}, True),
        ({sh.I_MILKING: 0}, False), ({sh.I_MILKING: 0, sh.I_COW: 30}, False),
        ({sh.I_MILKING: 0, sh.I_COW: 30, sh.I_ON_DECK: 0}, True),
        ({sh.I_MILKING: 0, sh.I_ON_DECK: 0}, False),
    ):  # fmt: skip
        n[[sh.I_STEP, sh.I_ROW, sh.I_SEQ, sh.I_TANKER, sh.I_COW]] = 10, 0, 0, 0, 5
        n[[sh.I_PENDING, sh.I_MILKED, sh.I_MILKING, sh.I_ON_DECK]] = 3, 3, -1, 12
        for place, value in changes.items():
            n[place] = value
        at.S[v, sh.MILK] = 0.0
        assert awake() is wakes, changes
        at.S[v, sh.MILK] = at.F[v, sh.V_CAP]  # the place that is filled is full
        assert awake()


def test_a_washed_tank_may_be_washed_again_once_it_held_milk(at: SimpleNamespace) -> None:
    """Would fail if a tank were washed twice for one emptying, or never again."""
    v = at.I[row(at, "places"), sh.PL_VESSEL]
    for until, kg, after in ((500.0, 100.0, -1.0), (500.0, 0.0, 500.0), (1500.0, 100.0, 1500.0),
                             (-1.0, 100.0, -1.0)):  # fmt: skip
        at.S[v, sh.V_WASH_UNTIL], at.S[v, sh.MILK] = until, kg
        plain(control._washed)(1000.0, at.I, at.S, at.num)
        assert at.S[v, sh.V_WASH_UNTIL] == after


def test_a_heater_that_is_broken_or_locked_out_stands(at: SimpleNamespace) -> None:
    """Would fail if a heater that failed went on heating, or one ran in a mode that forbids it."""
    e = row(at, "heated")
    v = at.I[e, sh.HI_VESSEL]
    for health, locked, heats in ((1.0, 0, True), (0.0, 0, False), (1.0, 0b10, False)):
        at.S[v, sh.WATER], at.S[v, sh.HEAT] = 100.0, 100.0 * CP * 20.0
        at.S[e, sh.SH_HEALTH], at.I[e, sh.HI_LOCKED], at.n[sh.I_MODE] = health, locked, 1
        plain(energy.heat)(at.F, at.I, at.S, at.g, at.n, at.par, at.num)
        assert bool(at.S[v, sh.HEAT] > 100.0 * CP * 20.0) is heats
        assert bool(at.S[e, sh.SH_ON]) is heats


def test_a_wash_gives_its_heat_to_steel_room_and_air(at: SimpleNamespace) -> None:
    """Would fail if the wash came back hotter or colder than what it meets takes from it."""
    at.par[[sh.PAR_STEEL_KJ_K, sh.PAR_CIRCULATE_UA]] = 200.0, 0.5
    at.par[[sh.PAR_WASH_AIR, sh.PAR_WASH_KPA, sh.PAR_WASH_WET]] = 800.0, 58.0, 0.5
    at.g[[sh.G_ROOM_C, sh.G_STEEL_C, sh.G_LOST_KJ]] = 15.0, 40.0, 0.0
    c = 20.0 * CP  # of what passes in a step, kJ/K
    after = plain(lines.wash_on_its_way)(c, 70.0, 0.5, at.g, at.par)
    steel = 200.0 * 30.0 * DT / lines.STEEL_S
    room = (0.5 * 55.0 + wet_air_kw(800.0, 70.0, 58.0, 0.5)) * DT
    assert after == pytest.approx(70.0 - 0.5 * (steel + room) / c)
    assert at.g[sh.G_STEEL_C] == pytest.approx(40.0 + 0.5 * steel / 200.0)
    assert at.g[sh.G_LOST_KJ] == pytest.approx(c * (70.0 - after))
    assert plain(lines.wash_on_its_way)(c, 14.0, 0.5, at.g, at.par) == 14.0  # cold: nothing taken
    at.par[sh.PAR_CIRCULATE_UA] = 1e6
    assert plain(lines.wash_on_its_way)(c, 70.0, 0.5, at.g, at.par) == pytest.approx(15.0)


@pytest.mark.parametrize(("there_kg_s", "ratio"), [(100.0, 2.0), (3.0, 2.0)])
def test_a_chilled_stage_takes_no_more_liquid_than_there_is(
    at: SimpleNamespace, there_kg_s: float, ratio: float
) -> None:
    """Would fail if milk were cooled by liquid that does not flow, or heat were lost between."""
    x, m = row(at, "exchangers"), row(at, "transfers", 5)
    store, src = int(at.num[sh.N_V1]) - 1, at.I[m, sh.MI_SRC]
    vessels = int(at.num[sh.N_V1] - at.num[sh.N_V0])
    at.I[store, sh.VI_ROLE], at.F[store, sh.V_C], at.S[store, sh.V_T0] = sh.COLD_STORE, 1e5, 1.0
    at.I[x, [sh.XI_COLD, sh.XI_CHILLED]] = -1, 0
    at.F[x, [sh.X_UA, sh.X_RATIO]], at.S[x, sh.SX_HEALTH] = (10.0, ratio), 1.0
    at.T.cold[0, 0] = 0.0
    at.T.cold[0, 0, [store, vessels]] = 1.0, there_kg_s
    at.S[src, sh.MILK], at.S[src, sh.HEAT] = 100.0, 100.0 * CP * 30.0
    W = np.zeros((len(at.F), len(sh.WORK)))
    j = at.I[m, sh.MI_J0]
    at.I[j, sh.J_X] = x
    W[0, sh.W_LIST], W[m, sh.W_KG], W[src, sh.W_GIVES], W[j, sh.W_KG] = m, 4.0, 1.0, 1.0
    at.S[x, sh.SX_FLOW] = 4.0
    at.S[x, [sh.SX_KJ, sh.SX_COLD, sh.SX_KG]] = 0.0
    plain(network._exchange)(1, 0, W, at.F, at.I, at.S, at.par, at.num, at.T.cold)
    used = min(4.0 * ratio, there_kg_s * DT)
    assert at.S[x, sh.SX_COLD] == pytest.approx(used) and at.S[x, sh.SX_KG] == pytest.approx(4.0)
    out = at.S[x, sh.SX_OUT]
    assert 1.0 < out < 30.0 == at.S[x, sh.SX_IN]
    assert at.S[x, sh.SX_KJ] == pytest.approx(4.0 * CP * (30.0 - out))
    gained = at.S[store, sh.HEAT] + W[:, sh.W_KJ].sum()
    assert gained == pytest.approx(at.S[x, sh.SX_KJ])


def test_no_milk_leaves_colder_than_it_freezes(at: SimpleNamespace) -> None:
    """Would fail if milk ran on at -1.5 degC, or that it freezes on the plates were not counted."""
    x, m = row(at, "exchangers"), row(at, "transfers", 5)
    store, src = int(at.num[sh.N_V1]) - 1, at.I[m, sh.MI_SRC]
    vessels = int(at.num[sh.N_V1] - at.num[sh.N_V0])
    at.I[store, sh.VI_ROLE], at.F[store, sh.V_C], at.S[store, sh.V_T0] = sh.COLD_STORE, 1e5, -6.0
    at.I[x, [sh.XI_COLD, sh.XI_CHILLED]] = -1, 0
    at.F[x, [sh.X_RATIO, sh.X_FREEZES_C]], at.S[x, sh.SX_HEALTH] = (3.0, -0.52), 1.0
    at.T.cold[0, 0] = 0.0
    at.T.cold[0, 0, [store, vessels]] = 1.0, 1e3
    at.S[src, sh.MILK], at.S[src, sh.HEAT] = 100.0, 100.0 * CP * 10.0
    W = np.zeros((len(at.F), len(sh.WORK)))
    j = at.I[m, sh.MI_J0]
    at.I[j, sh.J_X] = x
    W[0, sh.W_LIST], W[m, sh.W_KG], W[src, sh.W_GIVES], W[j, sh.W_KG] = m, 4.0, 1.0, 1.0
    at.S[x, sh.SX_FLOW] = 4.0
    for ua, freezes in ((4.0, 0.0), (40.0, 4.0)):
        at.F[x, sh.X_UA], at.S[x, [sh.SX_ICED, sh.SX_KJ]] = ua, 0.0
        plain(network._exchange)(1, 0, W, at.F, at.I, at.S, at.par, at.num, at.T.cold)
        assert at.S[x, sh.SX_ICED] == freezes
        assert at.S[x, sh.SX_KJ] == pytest.approx(4.0 * CP * (10.0 - at.S[x, sh.SX_OUT]))
    assert at.S[x, sh.SX_OUT] == pytest.approx(-0.52)


@pytest.mark.parametrize("health", [1.0, 0.4])
def test_a_water_stage_warms_its_water_by_what_the_milk_loses(
    at: SimpleNamespace, health: float
) -> None:
    """Would fail if a fouled plate cooled like a clean one, or its heat went nowhere."""
    x = row(at, "exchangers")
    m, water = row(at, "transfers", 5), int(at.I[x, sh.XI_COLD])
    src, well = at.I[m, sh.MI_SRC], at.I[water, sh.MI_SRC]
    at.I[well, sh.VI_ROLE] = sh.STORE
    at.F[x, sh.X_UA], at.S[x, sh.SX_HEALTH] = 10.0, health
    at.S[src, sh.MILK], at.S[src, sh.HEAT] = 100.0, 100.0 * CP * 34.0
    at.S[well, sh.WATER], at.S[well, sh.HEAT] = 500.0, 500.0 * CP * 12.0
    W = np.zeros((len(at.F), len(sh.WORK)))
    j, back = at.I[m, sh.MI_J0], at.I[water, sh.MI_J0]
    at.I[j, sh.J_X] = x
    W[0, sh.W_LIST], W[m, sh.W_KG], W[src, sh.W_GIVES], W[j, sh.W_KG] = m, 4.0, 1.0, 1.0
    W[water, sh.W_KG], W[well, sh.W_GIVES], W[back, sh.W_KG] = 8.0, 0.75, 1.0
    at.S[x, sh.SX_FLOW] = 4.0
    at.S[x, [sh.SX_KJ, sh.SX_COLD, sh.SX_COLDC]] = 0.0
    plain(network._exchange)(1, 0, W, at.F, at.I, at.S, at.par, at.num, at.T.cold)
    there = exchanger(4.0 * CP / DT, 34.0, 6.0 * CP / DT, 12.0, 10.0 * health)
    assert at.S[x, sh.SX_OUT] == pytest.approx(there.hot_out_c)
    assert at.S[x, sh.SX_KJ] == pytest.approx(4.0 * CP * (34.0 - there.hot_out_c))
    assert W[at.I[back, sh.J_DST], sh.W_KJ] == pytest.approx(at.S[x, sh.SX_KJ])
    assert at.S[x, sh.SX_COLD] == 6.0 and at.S[x, sh.SX_COLDC] == pytest.approx(6.0 * 12.0)


def test_water_follows_the_milk_in_its_ratio_up_to_its_rate(at: SimpleNamespace) -> None:
    """Would fail if water ran on without milk, or a half shut valve let all of it through."""
    x = row(at, "exchangers")
    m, water = row(at, "transfers", 5), int(at.I[x, sh.XI_COLD])
    at.F[x, sh.X_RATIO], at.F[water, sh.M_MAX] = 2.0, 3.0
    for kg, health, command, moves in ((2.0, 1.0, 1.0, 4.0), (8.0, 1.0, 1.0, 3.0 * DT),
                                       (8.0, 0.5, 1.0, 1.5 * DT), (8.0, 1.0, 0.0, 0.0),
                                       (0.0, 1.0, 1.0, 0.0)):  # fmt: skip
        at.S[water, [sh.S_HEALTH, sh.S_CMD]] = health, command
        W = np.zeros((len(at.F), len(sh.WORK)))
        j = at.I[m, sh.MI_J0]
        at.I[j, sh.J_X] = x
        W[0, sh.W_LIST], W[m, sh.W_KG], W[at.I[m, sh.MI_SRC], sh.W_GIVES] = m, kg, 1.0
        W[j, sh.W_KG], W[at.I[water, sh.MI_J0], sh.W_KG] = 1.0, 0.5
        count = plain(network._follow)(1, W, at.F, at.I, at.S, at.par, at.num)
        assert at.S[x, sh.SX_FLOW] == kg
        assert count == (2 if moves else 1) and W[water, sh.W_KG] == pytest.approx(moves)
        assert W[at.I[water, sh.MI_SRC], sh.W_KG] == pytest.approx(moves)
        if moves:
            assert int(W[1, sh.W_LIST]) == water and W[at.I[water, sh.MI_J0], sh.W_KG] == 1.0


def test_each_substance_leaves_a_line_as_itself(at: SimpleNamespace) -> None:
    """Would fail if milk behind water in a line came out as water, or its heat as another's."""
    r, to = row(at, "lines"), at.I[row(at, "cooled"), sh.KI_VESSEL]
    W = np.zeros((len(at.F), len(sh.WORK)))
    given = np.array([4.0, 1.0, 2.0, 0.5])
    W[r, sh.W_OUT : sh.W_OUT + sh.SUBSTANCES], W[r, sh.W_OUT_KJ] = given, 300.0
    plain(lines._give)(r, to, 0.5, W)
    assert W[to, sh.W_MASS : sh.W_MASS + sh.SUBSTANCES] == pytest.approx(0.5 * given)
    assert W[to, sh.W_KJ] == 150.0
    at.S[r, : sh.SUBSTANCES] = given
    assert plain(lines._held)(r, at.S) == 7.5
    assert plain(vessels.mass)(r, at.S) == 7.5
    at.par[sh.PAR_CP : sh.PAR_CP + sh.SUBSTANCES] = 3.9, 3.8, 4.2, 4.1
    at.I[to, sh.VI_ROLE], at.S[to, : sh.SUBSTANCES] = sh.STORE, given
    held = 4.0 * 3.9 + 1.0 * 3.8 + 2.0 * 4.2 + 0.5 * 4.1
    assert plain(vessels.capacity_rate)(to, at.F, at.I, at.S, at.par) == pytest.approx(held)
    at.S[to, sh.HEAT] = held * 7.0
    assert plain(vessels.temperature)(to, at.F, at.I, at.S, at.par) == pytest.approx(7.0)


@pytest.mark.parametrize(
    ("field", "section", "column"),
    [
        (sh.ROW_TRANSFER, "transfers", sh.S_HEALTH), (sh.ROW_TRANSFER_CMD, "transfers", sh.S_CMD),
        (sh.ROW_BRANCH, "branches", sh.SJ_OPEN), (sh.ROW_EXCHANGER, "exchangers", sh.SX_HEALTH),
        (sh.ROW_CHILL, "chillers", sh.SR_HEALTH), (sh.ROW_HEATER, "heated", sh.SH_HEALTH),
        (sh.ROW_PUMP, "pumps", sh.SP_HEALTH), (sh.ROW_COMPRESSOR, "compressors", sh.SA_HEALTH),
        (sh.ROW_LEVEL, "vessels", sh.V_LEVEL), (sh.ROW_FILTER, "filters", sh.SF_HEALTH),
        (sh.ROW_LAUNDRY, "laundry", sh.SL_HEALTH), (sh.ROW_RECOVERY, "chillers", sh.SR_GIVES),
        (sh.ROW_DRIVE, "", sh.G_DRIVE), (sh.ROW_GATE, "", sh.G_GATE),
        (sh.ROW_OPERATORS, "", sh.G_OPERATORS), (sh.ROW_AIR_LEAK, "", sh.G_AIR_LEAK),
        (sh.ROW_VACUUM_AIR, "", sh.G_VACUUM_AIR),
    ],
)  # fmt: skip
def test_a_timed_row_acts_on_what_it_names_and_on_nothing_else(
    at: SimpleNamespace, field: int, section: str, column: int
) -> None:
    """Would fail if a failure of one machine were played on another."""
    to = row(at, section) if section else 0
    S, g, n = at.S.copy(), at.g.copy(), at.n.copy()
    (S[to] if section else g)[column] = 0.375
    n[sh.I_ROW] = at.n[sh.I_ROW] + 1
    rows = np.zeros((int(at.n[sh.I_ROW]) + 1, 4), np.int64)
    rows[-1] = 0, 0, to, field
    plain(control.apply_rows)(at.F, at.I, at.S, at.g, at.n, at.par, at.num, at.state.session,
                              at.state.loads, rows, np.full(len(rows), 0.375))  # fmt: skip
    np.testing.assert_array_equal(at.S, S)
    np.testing.assert_array_equal(at.g, g)
    np.testing.assert_array_equal(at.n, n)


LONG = 4560  # steps of a second: a small milking and the whole wash behind it


def test_a_milking_and_its_wash_close_and_are_those_of_the_compiled_kernels() -> None:
    """Would fail if anything were made or lost on the way, or compiling changed what is run."""
    compiled, day = compiled_day(plants.rotary(12, 40, groups=2), seed=3)
    T, start = compiled.tables, compiled.start.copy()
    rows = day.rows
    begins = int(rows[rows[:, sh.RW_FIELD] == sh.ROW_MILKING][0, sh.RW_STEP])
    start.n[sh.I_STEP] = begins  # the idle hour before it is passed over
    start.n[sh.I_ROW] = int(np.searchsorted(rows[:, sh.RW_STEP], begins))
    ends, sample = [], int(T.num[sh.N_SAMPLE])
    for run in dict.fromkeys((loop.run, plain(loop.run))):  # one, where nothing is compiled
        end = start.copy()
        seen = sh.zeros(LONG // sample, columns(compiled))
        run(
            T, day, end, begins + LONG, begins // sample + 1, seen, sh.zeros(len(T.F), len(sh.WORK))
        )
        ends.append(end)
        for what, gap in gaps(compiled, start, end).items():
            assert abs(gap) < CLOSES, (what, gap)
        assert seen[:, loop.Z_T].tolist() == [begins + sample * (k + 1.0) for k in range(len(seen))]
    for one, other in zip(ends[0], ends[-1], strict=True):
        np.testing.assert_allclose(one, other, rtol=1e-9, atol=1e-9)
    end, out = ends[-1], ends[-1].out[0]
    told = end.session[0]
    assert int(end.n[sh.I_MILKED]) == 1 and int(end.n[sh.I_SEQ]) == 0  # the wash is over
    cows = out[out[:, sh.O_EXIT] > 0.0]
    assert len(cows) == 40 and cows[:, sh.O_KG].sum() == pytest.approx(told[sh.B_KG])
    assert told[sh.B_BEGUN] < told[sh.B_LAST_OFF] < told[sh.B_WASH_BEGUN] < told[sh.B_WASH_END]
    assert 40.0 < told[sh.B_RETURN_C] < told[sh.B_HOT_C] <= told[sh.B_HEATER_C]
    assert 0.5 < told[sh.B_STRENGTH] <= 1.0 and told[sh.B_LEFT_KG] < 20.0
    names = compiled.names.vessels
    goes = [*T.I[T.rows("places"), sh.PL_VESSEL], names.index("(fed)")]
    gain = end.items[T.rows("vessels")] - start.items[T.rows("vessels")]
    apart = cows[cows[:, sh.O_WITHHELD] > 0.0, sh.O_KG].sum()
    assert gain[names.index("(dumped)"), sh.WITHHELD] == pytest.approx(apart) and apart > 0.0
    fed = gain[names.index("(fed)"), sh.MILK]
    assert end.g[sh.G_CALF_DRAWN] == pytest.approx(fed, rel=0.01) and fed > 0.0
    assert gain[goes, sh.MILK].sum() == pytest.approx(told[sh.B_KG] - apart, rel=0.01)
    assert gain[names.index("(drain)"), sh.MILK] == pytest.approx(0.0, abs=1e-9)


def idle(steps: int, at_step: int, rows: list[tuple[int, float]], milk_kg: float = 0.0,
         price: float = 0.0) -> tuple[Compiled, sh.State]:  # fmt: skip
    """A plant in which nothing is milked, some steps after a step; rows are (field, value) and are
    due at once; a kilowatt-hour costs so much for each minute of the day that is past."""
    compiled, day = compiled_day(plants.rotary(12, 40), seed=3)
    T, state = compiled.tables, compiled.start.copy()
    heads = np.array([[at_step, k, 0, field] for k, (field, _) in enumerate(rows)], np.int64)
    day = day._replace(rows=heads.reshape(-1, 4), values=np.array([v for _, v in rows]),
                       price=price * np.arange(1440.0))  # fmt: skip
    tank = T.I[row_of(T, "places"), sh.PL_VESSEL]
    state.items[tank, sh.MILK] = milk_kg
    state.items[tank, sh.HEAT] = milk_kg * T.par[sh.PAR_CP + sh.MILK] * 3.5
    state.n[sh.I_STEP] = at_step
    plain(loop.run)(T, day, state, at_step + steps, 0, sh.zeros(0, columns(compiled)),
                    sh.zeros(len(T.F), len(sh.WORK)))  # fmt: skip
    return compiled, state


def row_of(T: sh.Tables, section: str) -> int:
    """The first row of a section."""
    return int(T.rows(section).start)


@pytest.mark.parametrize("day", [0, 3])
def test_electricity_costs_what_its_minute_does(day: int) -> None:
    """Would fail if the second day, or the hour after midnight, were priced by another hour."""
    compiled, today = compiled_day(plants.rotary(12, 40), seed=3)
    starts = float(today.weather[sh.WE_START_S])
    for minute in (0, 700, 1439):
        at_step = int(day * 86_400 + minute * 60 - starts) % 86_400 + (day + 1) * 86_400
        at_step -= at_step % 60
        _, end = idle(60, at_step, [], price=0.001)
        second = (at_step + 60 - 1 + starts) % 86_400
        assert end.g[sh.G_KWH] > 0.0
        paid = end.g[sh.G_COST] / (end.g[sh.G_KWH] - compiled.start.g[sh.G_KWH])
        assert paid == pytest.approx(0.001 * int(second / 60.0))


def test_a_tanker_takes_what_stands_in_the_tank_and_leaves() -> None:
    """Would fail if a tanker stood beside a full tank, or left before it was empty."""
    compiled, end = idle(4200, 600, [(sh.ROW_TANKER, 20_000.0)], milk_kg=1500.0)
    load = end.loads[0]
    assert int(end.n[sh.I_LOADS]) == 1 and int(end.n[sh.I_TANKER]) == 0
    assert load[sh.T_AT] == 600.0 and load[sh.T_KG] == pytest.approx(1500.0, abs=1.0)
    assert load[sh.T_LEFT] > 600.0 + 600.0 and load[sh.T_C] == pytest.approx(3.5, abs=0.3)
    sold = compiled.names.vessels.index("(sold)")
    assert end.items[sold, sh.MILK] == pytest.approx(load[sh.T_KG])
