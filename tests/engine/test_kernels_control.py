"""What decides in a step (washes, tanks, tankers) and what a cow gives, each rule by itself.

A step of two seconds, so that seconds and steps are not the same number.
"""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from byrewright.engine import shape as sh
from byrewright.engine.draws import milked_share
from byrewright.engine.kernels import control, traffic
from tests.engine.plainly import CP, DT, empty, plain, row


@pytest.fixture
def at() -> SimpleNamespace:
    """The arrays of a rotary with everything on it, all vessels empty, a step of two seconds."""
    found = empty()
    found.n[sh.I_MILKING], found.n[sh.I_SEQ], found.n[sh.I_MILKED] = -1, 1, 1
    return found


# The sequence after a milking.


def phase(at: SimpleNamespace, **of: float) -> int:
    """The sequence stands in its second phase, which is as said; the transfer of its dose."""
    q = row(at, "phases", 1)
    at.n[sh.I_PHASE] = 1
    m = row(at, "transfers", 17)
    at.F[q, [sh.Q_SECONDS, sh.Q_TRANSFER, sh.Q_KG]] = 100.0, m, of.get("kg", 0.0)
    at.F[q, [sh.Q_DOES, sh.Q_MAIN]] = of["does"], of.get("main", 0.0)
    at.g[sh.G_PHASE_LEFT] = of.get("left", 100.0)
    return m


def sequence(at: SimpleNamespace) -> bool:
    """A step of the sequence; whether its phase is over."""
    plain(control._sequence)(1000.0, at.F, at.I, at.S, at.g, at.n, at.par, at.num,
                             at.state.session)  # fmt: skip
    return bool(at.n[sh.I_PHASE] != 1)


@pytest.mark.parametrize(("left", "over"), [(2.1, False), (2.0, True), (1.0, True)])
def test_a_phase_lasts_its_time(at: SimpleNamespace, left: float, over: bool) -> None:
    """Would fail if phases were counted in steps, or one more or less of them."""
    phase(at, does=sh.WAIT, left=left)
    assert sequence(at) is over


@pytest.mark.parametrize("left", [0.0, -500.0])
def test_a_dose_is_waited_for_but_not_for_ever(at: SimpleNamespace, left: float) -> None:
    """Would fail if a wash began with half its water, or a dry tap stopped the plant for good."""
    m = phase(at, does=sh.DOSE_IN, left=left)
    at.S[m, sh.S_DOSE] = 40.0
    assert sequence(at) is False and at.S[m, sh.S_DOSE] == 40.0
    at.S[m, sh.S_DOSE] = 0.0
    assert sequence(at) is True
    m = phase(at, does=sh.DOSE_IN, left=-control.PHASE_MOST_S)
    at.S[m, sh.S_DOSE] = 40.0
    assert sequence(at) is True and at.S[m, sh.S_DOSE] == 0.0  # what was not given is forgotten


def test_a_trough_is_emptied_before_it_is_filled_again(at: SimpleNamespace) -> None:
    """Would fail if a wash were thinned by the one before, or a blocked drain stopped the plant."""
    i = row(at, "troughs")
    v, drain = at.I[i, sh.TR_VESSEL], at.I[i, sh.TR_DRAIN]
    for left, kg, over in ((0.0, 30.0, False), (0.0, 0.0, True), (0.0, 0.02, True),
                           (-control.PHASE_MOST_S, 30.0, True)):  # fmt: skip
        phase(at, does=sh.EMPTY, left=left)
        at.S[v, sh.WASH], at.S[drain, sh.S_CMD] = kg, 1.0
        assert sequence(at) is over, (left, kg)
        assert at.S[drain, sh.S_CMD] == (0.0 if over else 1.0)


def test_milk_is_pushed_out_before_the_wash(at: SimpleNamespace) -> None:
    """Would fail if the wash met milk on its way, or waited for what never comes."""
    v = next(
        v for v in range(*at.num[[sh.N_V0, sh.N_V1]])
        if plain(control._on_the_way)(v, at.I, at.num) and at.I[v, sh.VI_EMPTY] < 0
    )  # fmt: skip
    phase(at, does=sh.FLUSH, left=0.0)
    at.S[v, sh.MILK] = 5.0
    assert sequence(at) is False
    phase(at, does=sh.FLUSH, left=-control.PUSH_MORE_S)
    assert sequence(at) is True
    phase(at, does=sh.FLUSH, left=0.0)
    at.S[v, sh.MILK] = 0.0
    assert sequence(at) is True


def test_a_trough_that_runs_dry_is_told(at: SimpleNamespace) -> None:
    """Would fail if a wash that draws air were told as a good one, or a full trough as dry."""
    v = at.I[row(at, "troughs"), sh.TR_VESSEL]
    for main, kg, dry in ((sh.ROUND, 0.0, DT), (sh.MAIN, 0.0, DT), (sh.ROUND, 50.0, 0.0),
                          (sh.ONCE, 0.0, 0.0)):  # fmt: skip
        phase(at, does=sh.CIRCULATE, main=main)
        at.S[v, sh.WASH], at.state.session[0, sh.B_DRY_S] = kg, 0.0
        sequence(at)
        assert at.state.session[0, sh.B_DRY_S] == dry, (main, kg)


def test_the_main_wash_is_read_at_its_end(at: SimpleNamespace) -> None:
    """Would fail if another step were told as the hot wash, or its strength were not of its mix."""
    v = at.I[row(at, "troughs"), sh.TR_VESSEL]
    for main, told in ((sh.MAIN, (61.0, 0.75)), (sh.ROUND, (0.0, 0.0))):
        phase(at, does=sh.CIRCULATE, main=main, left=0.0)
        at.S[v, sh.WASH], at.S[v, sh.WATER] = 90.0, 30.0
        at.g[sh.G_RETURN_C] = 61.0
        at.state.session[0] = 0.0
        assert sequence(at) is True
        assert tuple(at.state.session[0, [sh.B_RETURN_C, sh.B_STRENGTH]]) == told


def test_the_strength_is_that_of_the_weakest_wash_that_is_there(at: SimpleNamespace) -> None:
    """Would fail if a wash vessel that runs empty made the wash of another one plain water, or the
    stronger of two counted."""
    first = row(at, "troughs")
    spare = next(v for v in range(at.num[sh.N_V0], at.num[sh.N_V1])
                 if v != at.I[first, sh.TR_VESSEL])  # fmt: skip
    second = at.I[first].copy()
    second[sh.TR_VESSEL] = spare
    two = np.concatenate([at.I[: first + 1], second[None]])
    num = at.num.copy()
    num[sh.N_TROUGH1] = num[sh.N_TROUGH0] + 2
    for (wash, water), told in (((80.0, 20.0), 0.5), ((0.01, 0.0), 0.75), ((300.0, 0.0), 0.75)):
        at.S[two[first, sh.TR_VESSEL], [sh.WASH, sh.WATER]] = 90.0, 30.0
        at.S[spare, [sh.WASH, sh.WATER]] = wash, water if told == 0.75 else wash
        got = plain(control._strength)(two, at.S, num)
        assert got == pytest.approx(told), (wash, water)
    at.S[two[first, sh.TR_VESSEL]] = at.S[spare] = 0.0
    assert plain(control._strength)(two, at.S, num) == 0.0


def test_a_wash_is_made_of_the_water_in_the_trough(at: SimpleNamespace) -> None:
    """Would fail if product went to plain rinses, or were dosed to other than the water."""
    v = at.I[row(at, "troughs"), sh.TR_VESSEL]
    for strength, wash, product in ((0.005, 200.0, 1.0), (0.0, 0.0, 0.0)):
        phase(at, does=sh.CIRCULATE, main=sh.MAIN, kg=strength)
        at.S[v, : sh.HEAT + 1] = 0.0
        at.S[v, sh.WATER], at.S[v, sh.HEAT] = 200.0, 200.0 * CP * 80.0
        at.g[[sh.G_PRODUCT_L, sh.G_MADE_WASH, sh.G_RETURN_C]] = 0.0, 0.0, 50.0
        plain(control._start_phase)(at.F, at.I, at.S, at.g, at.n, at.par, at.num, at.state.session)
        assert at.S[v, sh.WASH] == wash == 200.0 - at.S[v, sh.WATER] == at.g[sh.G_MADE_WASH]
        assert at.g[sh.G_PRODUCT_L] == pytest.approx(product)
        assert at.n[sh.I_MODE] == control.WASH_MODE and at.n[sh.I_CIRCULATES] == 1
        assert at.state.session[0, sh.B_HOT_C] == pytest.approx(80.0)
        assert at.g[sh.G_PHASE_LEFT] == 100.0 and at.g[sh.G_RETURN_C] == 0.0


@pytest.mark.parametrize(
    ("does", "main", "mode", "flush", "drains"),
    [
        (sh.CIRCULATE, sh.ONCE, control.RINSE_MODE, 0, 0.0),
        (sh.CIRCULATE, sh.ROUND, control.WASH_MODE, 0, 0.0),
        (sh.EMPTY, 1, control.DRAIN_MODE, 2, 1.0),
        (sh.EMPTY, 0, control.IDLE_MODE, 2, 1.0),
        (sh.DOSE_IN, 0, control.RINSE_MODE, 0, 0.0),
        (sh.WAIT, 0, control.WASH_MODE, 0, 0.0),
        (sh.FLUSH, 0, control.IDLE_MODE, 1, 0.0),
    ],
)
def test_each_phase_asks_for_its_valves(
    at: SimpleNamespace, does: int, main: int, mode: int, flush: int, drains: float
) -> None:
    """Would fail if a step ran through the valves of another."""
    m = phase(at, does=does, main=main, kg=7.0)
    drain = at.I[row(at, "troughs"), sh.TR_DRAIN]
    at.S[drain, sh.S_CMD], at.S[m, sh.S_DOSE], at.n[sh.I_MODE] = 0.0, 0.0, control.IDLE_MODE
    plain(control._start_phase)(at.F, at.I, at.S, at.g, at.n, at.par, at.num, at.state.session)
    assert (at.n[sh.I_MODE], at.n[sh.I_FLUSH], at.S[drain, sh.S_CMD]) == (mode, flush, drains)
    assert at.S[m, sh.S_DOSE] == (7.0 if does == sh.DOSE_IN else 0.0)
    assert at.n[sh.I_CIRCULATES] == (does == sh.CIRCULATE)


def test_the_sequence_ends_with_what_is_left_and_what_is_emptied(at: SimpleNamespace) -> None:
    """Would fail if rinse water left for the next milk were not told, or milk set apart stayed."""
    at.n[sh.I_PHASE] = at.num[sh.N_Q1] - at.num[sh.N_Q0] - 1
    at.F[at.num[sh.N_Q1] - 1, sh.Q_DOES], at.g[sh.G_PHASE_LEFT] = sh.WAIT, 0.0
    at.I[at.T.rows("washes"), sh.WI_WHOLE] = 1
    on_way = next(v for v in range(*at.num[[sh.N_V0, sh.N_V1]])
                  if plain(control._on_the_way)(v, at.I, at.num))  # fmt: skip
    apart = next(v for v in range(*at.num[[sh.N_V0, sh.N_V1]]) if at.I[v, sh.VI_EMPTY] >= 0)
    at.S[on_way, [sh.WATER, sh.WASH]] = 3.0, 0.5
    at.S[apart, sh.WITHHELD], at.S[apart, sh.HEAT] = 20.0, 20.0 * CP * 30.0
    plain(control._sequence)(7000.0, at.F, at.I, at.S, at.g, at.n, at.par, at.num,
                             at.state.session)  # fmt: skip
    to = at.I[apart, sh.VI_EMPTY]
    assert at.n[sh.I_SEQ] == 0 and at.n[sh.I_MODE] == control.IDLE_MODE
    assert at.state.session[0, sh.B_WASH_END] == 7000.0
    assert at.state.session[0, sh.B_LEFT_KG] == pytest.approx(3.5)
    assert at.S[apart, sh.WITHHELD] == at.S[apart, sh.HEAT] == 0.0
    assert at.S[to, sh.WITHHELD] == 20.0 and at.S[to, sh.HEAT] == 20.0 * CP * 30.0


# Tanks and tankers.


def tanks(at: SimpleNamespace, *shares: float) -> list[int]:
    """The tanks that a tanker empties, filled by these shares; their places. A tanker stands there
    that takes 5000 kg, come at 1000 s; milk goes to neither."""
    places = [i for i in range(*at.num[[sh.N_PLACE0, sh.N_PLACE1]]) if at.I[i, sh.PL_LOADING] >= 0]
    for i, share in zip(places, shares, strict=True):
        v = at.I[i, sh.PL_VESSEL]
        at.S[v, sh.MILK] = share * at.F[v, sh.V_CAP]
        at.S[at.I[i, sh.PL_LOADING], [sh.S_CMD, sh.S_HEALTH]] = 0.0, 1.0
    at.n[sh.I_TANKER], at.n[sh.I_MILKING], at.n[sh.I_FLUSH] = 1, -1, 0
    at.g[sh.G_TANKER_CAP], at.g[sh.G_TANKER_AT] = 5000.0, 1000.0
    return places


def tanker(at: SimpleNamespace, t: float = 1010.0) -> list[float]:
    """Which loading pumps run after a step with the tanker there."""
    at.n[sh.I_STEP] = int(t / DT)
    plain(control._tanker)(t, at.F, at.I, at.S, at.g, at.n, at.par, at.num, at.state.loads)
    return [float(at.S[at.I[i, sh.PL_LOADING], sh.S_CMD])
            for i in range(*at.num[[sh.N_PLACE0, sh.N_PLACE1]])
            if at.I[i, sh.PL_LOADING] >= 0]  # fmt: skip


def test_the_fullest_tank_is_loaded_first(at: SimpleNamespace) -> None:
    """Would fail if the tanker took the emptier tank, or changed over before the first is empty."""
    places = tanks(at, 0.4, 0.7)
    assert tanker(at) == [0.0, 1.0]
    v = at.I[places[1], sh.PL_VESSEL]
    at.S[v, sh.MILK] = 0.1 * at.F[v, sh.V_CAP]
    assert tanker(at) == [0.0, 1.0]  # it goes on with the one it loads
    at.S[v, sh.MILK] = 0.0
    assert tanker(at) == [1.0, 0.0]
    at.S[at.num[sh.N_TANKER], sh.MILK] = 5000.0
    assert tanker(at) == [0.0, 0.0] and at.n[sh.I_TANKER] == 1  # full: it leaves at its time


def test_a_tank_whose_loading_pump_is_broken_is_left(at: SimpleNamespace) -> None:
    """Would fail if the tanker waited at a tank that cannot be emptied."""
    places = tanks(at, 0.4, 0.7)
    at.S[at.I[places[1], sh.PL_LOADING], sh.S_HEALTH] = 0.0
    assert tanker(at) == [1.0, 0.0]


def test_a_tank_in_use_is_loaded_only_when_it_is_worth_it(at: SimpleNamespace) -> None:
    """Would fail if a tank that milk runs into were drawn down to the last litre."""
    places = tanks(at, 0.0, control.WORTH_LOADING - 0.01)
    at.n[sh.I_TARGET], at.n[sh.I_MILKING] = places[1], 0
    assert tanker(at) == [0.0, 0.0]
    at.n[sh.I_MILKING] = -1  # nothing runs in: the rest is taken
    assert tanker(at) == [0.0, 1.0]
    at.n[sh.I_MILKING] = 0
    assert tanker(at) == [0.0, 0.0]


def test_what_a_tanker_takes_is_written_down_and_emptied_tanks_are_washed(
    at: SimpleNamespace,
) -> None:
    """Would fail if a load were told wrongly, or a tank were washed with milk in it."""
    places = tanks(at, 0.0, 0.5)
    v = at.num[sh.N_TANKER]
    at.S[v, sh.MILK], at.S[v, sh.HEAT] = 4000.0, 4000.0 * CP * 3.5
    at.par[[sh.PAR_TANK_WASH_S, sh.PAR_TANK_WASH_SHARE]] = 1800.0, 0.02
    tank = [at.I[i, sh.PL_VESSEL] for i in places]
    at.S[tank, sh.V_WASH_UNTIL] = -1.0
    doses = [m for m in range(*at.num[[sh.N_M0, sh.N_M1]]) if at.I[m, sh.MI_LAW] == sh.DOSE]
    at.S[doses, sh.S_DOSE], at.F[doses, sh.M_START] = 0.0, 0.0
    at.F[doses[0], sh.M_START] = 0.5
    at.n[sh.I_STEP], at.n[sh.I_LOADS] = 1700, 0
    plain(control._depart)(at.F, at.I, at.S, at.g, at.n, at.par, at.num, at.state.loads)
    load = at.state.loads[0]
    assert load[[sh.T_AT, sh.T_LEFT, sh.T_KG, sh.T_C]] == pytest.approx([1000, 3400, 4000, 3.5])
    assert load[sh.T_KJ] == 4000.0 * CP * 3.5 and at.S[v, sh.MILK] == 0.0
    assert at.S[at.num[sh.N_SOLD], sh.MILK] == 4000.0 and at.n[sh.I_TANKER] == 0
    assert list(at.S[tank, sh.V_WASH_UNTIL]) == [3400.0 + 1800.0, -1.0]
    assert at.S[doses[0], sh.S_DOSE] == pytest.approx(0.5 * 0.02 * at.F[tank[0], sh.V_CAP])


def test_milk_goes_on_to_the_next_tank_with_room(at: SimpleNamespace) -> None:
    """Would fail if milk ran over while the next tank stood empty, or changed tanks for nothing."""
    places = tanks(at, 0.5, 0.1)
    at.n[sh.I_TANKER] = 0
    at.S[[at.I[i, sh.PL_VESSEL] for i in places], sh.V_WASH_UNTIL] = -1.0
    for share, target in ((0.5, places[0]), (0.99, places[1])):
        v = at.I[places[0], sh.PL_VESSEL]
        at.S[v, sh.MILK], at.n[sh.I_TARGET] = share * at.F[v, sh.V_CAP], places[0]
        plain(control._place)(50.0, at.F, at.I, at.S, at.g, at.n, at.num)
        assert at.n[sh.I_TARGET] == target


def test_the_state_of_the_valves_is_one_number(at: SimpleNamespace) -> None:
    """Would fail if two states shared a number, and milk went by the shares of another."""
    at.num[[sh.N_ALTS, sh.N_CALF_ALT]] = 4, 2
    at.n[sh.I_TARGET] = row(at, "places", 1)
    at.I[row(at, "places", 1), sh.PL_ALT] = 1
    at.g[sh.G_CALF_START], at.par[sh.PAR_CALF_KG], at.g[sh.G_CALF_DRAWN] = 500.0, 50.0, 0.0
    for variant, mode, milking, t, drawn, number in (
        (0, 0, 0, 499.0, 0.0, 1), (0, 0, 0, 500.0, 0.0, 3), (0, 0, 0, 500.0, 50.0, 1),
        (0, 2, -1, 500.0, 0.0, 9), (3, 1, -1, 0.0, 0.0, (3 * control.MODES + 1) * 4 + 1),
    ):  # fmt: skip
        at.n[[sh.I_VARIANT, sh.I_MODE, sh.I_MILKING]] = variant, mode, milking
        at.g[sh.G_CALF_DRAWN] = drawn
        plain(control.route)(t, at.I, at.g, at.n, at.par, at.num)
        assert at.n[sh.I_ROUTE] == number


def test_timed_rows_are_taken_when_they_are_due(at: SimpleNamespace) -> None:
    """Would fail if a failure came early or twice, or a tanker took over another's load."""
    tanks(at, 0.0, 0.0)
    rows = np.array([[5, 0, 0, sh.ROW_OPERATORS], [5, 1, 0, sh.ROW_TANKER],
                     [6, 0, 1, sh.ROW_MILKING]])  # fmt: skip
    values = np.array([3.0, 8000.0, 0.0])
    at.n[sh.I_ROW] = at.n[sh.I_PENDING] = at.n[sh.I_LOADS] = 0
    for step, taken in ((4, 0), (5, 2), (5, 2), (9, 3)):
        at.n[sh.I_STEP] = step
        plain(control.apply_rows)(at.F, at.I, at.S, at.g, at.n, at.par, at.num,
                                  at.state.session, at.state.loads, rows, values)  # fmt: skip
        assert at.n[sh.I_ROW] == taken
    assert at.g[sh.G_OPERATORS] == 3.0 and at.g[sh.G_TANKER_CAP] == 8000.0
    assert at.n[sh.I_LOADS] == 1 and at.n[sh.I_TANKER] == 1  # the first left before
    assert at.g[sh.G_TANKER_AT] == 5 * DT
    assert at.n[sh.I_PENDING] == 1 and at.state.session[1, sh.B_ASKED] == 9 * DT


# Cows.


def test_a_cow_gives_all_her_milk_by_her_curve() -> None:
    """Would fail if the day's curve were not that of the draws, or did not end at the whole."""
    share = plain(traffic.share_milked)
    for rise, fall in ((0.1, 0.3), (0.05, 0.5)):
        times = np.linspace(-10.0, 320.0, 400)
        ours = [share(t, 300.0, rise, fall) for t in times]
        drawn = milked_share(times, np.full(400, 300.0), np.full(400, rise), fall)
        assert ours == pytest.approx(drawn, abs=1e-12)
        # The flow it stands for: rises to the plateau, stays, falls to nothing.
        area = 1.0 - rise / 2 - fall / 2
        for x, flow in ((rise / 2, 0.5), (rise, 1.0), (0.4, 1.0), (1.0 - fall / 4, 0.25)):
            slope = share(300 * (x + 1e-6), 300.0, rise, fall) - share(
                300 * (x - 1e-6), 300.0, rise, fall)  # fmt: skip
            assert slope / 2e-6 == pytest.approx(flow / area, rel=1e-4)


def cow(at: SimpleNamespace, **of: float) -> int:
    """A cow of 12 kg in the first stall, attached at 100 s, unit on for 400 s; the stall."""
    stall = row(at, "stalls")
    at.n[sh.I_MILKING] = 0
    one = at.state.cow[0]
    one[:] = 0.0
    one[[sh.C_KG, sh.C_LAG, sh.C_FLOW_S, sh.C_RISE, sh.C_ON_S]] = 12.0, 20.0, 350.0, 0.1, 400.0
    one[[sh.C_KICK_AT, sh.C_PAUSE_S]] = of.get("kick", 1e9), of.get("pause", 0.0)
    one[sh.C_WITHHELD], one[sh.C_WORK_S] = of.get("withheld", 0.0), 10.0
    at.state.out[0, 0] = at.state.session[0] = 0.0
    at.S[at.T.rows("stalls"), sh.ST_STATE] = sh.EMPTY_STALL
    at.S[stall, sh.ST_PLACE] = 0
    at.g[sh.G_OPERATORS], at.g[sh.G_BUSY_UNTIL], at.g[sh.G_ATTACH_S] = 2.0, 0.0, 0.0
    plain(traffic._attach)(100.0, stall, at.S, at.g, at.n, at.state.cow, at.state.out)
    return stall


def milk(at: SimpleNamespace, t_end: float) -> None:
    """A step of milk from all units, to `t_end`."""
    plain(traffic._out_milk)(t_end, at.F, at.I, at.S, at.g, at.n, at.par, at.num, at.state.cow,
                             at.state.out, at.state.session)  # fmt: skip


def test_attaching_takes_the_operators_their_time(at: SimpleNamespace) -> None:
    """Would fail if two people attached no faster than one, or a busy one were in two places."""
    stall = cow(at)
    assert at.g[sh.G_BUSY_UNTIL] == 105.0 and at.g[sh.G_ATTACH_S] == 5.0
    assert at.S[stall, [sh.ST_ATTACH, sh.ST_OFF]].tolist() == [100.0, 500.0]
    plain(traffic._attach)(101.0, stall, at.S, at.g, at.n, at.state.cow, at.state.out)
    assert at.S[stall, sh.ST_ATTACH] == 105.0 == at.state.out[0, 0, sh.O_ATTACH]


@pytest.mark.parametrize("withheld", [0.0, 1.0])
def test_all_milk_of_a_cow_comes_and_goes_where_it_should(
    at: SimpleNamespace, withheld: float
) -> None:
    """Would fail if milk were lost between steps, or withheld milk went to the line."""
    stall = cow(at, withheld=withheld)
    to = at.I[stall, sh.ST_APART if withheld else sh.ST_MILK]
    other = at.I[stall, sh.ST_MILK if withheld else sh.ST_APART]
    at.S[[to, other], sh.S_DOSE] = at.g[sh.G_AIR_USED] = 0.0
    at.par[sh.PAR_AIR_COW] = 1.5
    given = 0.0
    for t in np.arange(102.0, 520.0, DT):
        milk(at, float(t))
        given += at.g[sh.G_WITHHELD if withheld else sh.G_MILK]
        assert at.g[sh.G_ATTACHED] == (1 if t <= 500.0 else 0)
    assert given == pytest.approx(12.0) == at.S[to, sh.S_DOSE] and at.S[other, sh.S_DOSE] == 0.0
    out = at.state.out[0, 0]
    assert out[sh.O_OFF] == 500.0 and out[sh.O_KG] == pytest.approx(12.0)
    assert at.state.session[0, sh.B_LAST_OFF] == 500.0 and at.g[sh.G_AIR_USED] == 1.5
    assert at.state.session[0, sh.B_KG] == pytest.approx(12.0)


def test_a_unit_kicked_off_draws_air_and_is_put_on_again(at: SimpleNamespace) -> None:
    """Would fail if a fallen unit cost no air or no time, or her milk went on without it."""
    stall = cow(at, kick=100.0, pause=60.0)
    at.par[sh.PAR_FALL_S] = 10.0
    assert at.S[stall, sh.ST_OFF] == 560.0
    milk(at, 200.0)
    before = float(at.S[stall, sh.ST_SHARE])
    for t, fallen, attached in ((205.0, 1, 0), (211.0, 0, 0), (259.0, 0, 0), (261.0, 0, 1)):
        milk(at, t)
        assert (at.g[sh.G_FALLEN], at.g[sh.G_ATTACHED]) == (fallen, attached), t
        assert bool(at.S[stall, sh.ST_SHARE] > before) is (t > 260.0), t
    assert at.state.out[0, 0, sh.O_KICKS] == 1.0
    for t in np.arange(263.0, 570.0, DT):
        milk(at, float(t))
    assert at.state.session[0, sh.B_KG] == pytest.approx(12.0)


def test_without_vacuum_all_waits(at: SimpleNamespace) -> None:
    """Would fail if cows milked out while there was no vacuum."""
    stall = cow(at)
    at.g[sh.G_LOST_MILK_S], at.g[sh.G_BUSY_UNTIL] = 0.0, 90.0
    plain(traffic._wait)(200.0, at.S, at.g, at.par, at.num)
    assert at.S[stall, [sh.ST_ATTACH, sh.ST_OFF]].tolist() == [100.0 + DT, 500.0 + DT]
    assert at.g[sh.G_LOST_MILK_S] == DT and at.g[sh.G_BUSY_UNTIL] == 200.0 + DT


def test_a_cow_that_leaves_asks_for_her_water_and_cloths(at: SimpleNamespace) -> None:
    """Would fail if a stall stayed taken, or deck wash and cloths went uncounted."""
    stall = cow(at)
    doses = [m for m in range(*at.num[[sh.N_M0, sh.N_M1]]) if at.I[m, sh.MI_LAW] == sh.DOSE]
    at.S[doses, sh.S_DOSE], at.F[doses, sh.M_STOP] = 0.0, 0.25
    at.par[sh.PAR_CLOTHS], at.g[sh.G_CLOTHS], at.n[sh.I_ON_DECK] = 2.0, 0.0, 5
    plain(traffic._leave)(640.0, stall, at.F, at.I, at.S, at.g, at.n, at.par, at.num, at.state.out)
    assert at.state.out[0, 0, sh.O_EXIT] == 640.0 and at.S[stall, sh.ST_STATE] == sh.EMPTY_STALL
    assert at.n[sh.I_ON_DECK] == 4 and at.g[sh.G_CLOTHS] == 2.0
    assert at.S[doses, sh.S_DOSE].tolist() == [0.25] * len(doses)
