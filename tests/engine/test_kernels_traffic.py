"""Whole milkings of cows all alike, whose every time can be told on paper."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from byrewright.engine import shape as sh
from byrewright.engine.kernels import traffic
from tests.engine.plainly import DT, plain, row, stepped

PACE_S = 10.0  # of a deck, from stall to stall
ON_S = 70.0
WORK_S = 4.0


@pytest.fixture
def at() -> SimpleNamespace:
    """A deck or rows of twelve, vacuum up, 30 cows of 10 kg alike, one operator."""
    found = stepped()
    found.par[sh.PAR_DT] = DT
    n, g, cow = found.n, found.g, found.state.cow
    n[[sh.I_MILKING, sh.I_COW, sh.I_COWS, sh.I_ON_DECK]] = 0, 0, 30, 0
    n[[sh.I_ENTRY, sh.I_ATTACH, sh.I_EXIT]] = 0
    g[[sh.G_U, sh.G_STOP, sh.G_BUSY_UNTIL, sh.G_READY, sh.G_STOPPED, sh.G_HELD]] = 0.0
    g[[sh.G_VACUUM, sh.G_DRIVE, sh.G_GATE, sh.G_OPERATORS]] = 45.0, 1.0, 1.0, 1.0
    found.par[[sh.PAR_STALL_S, sh.PAR_ATTACH_AT, sh.PAR_EXIT_AT]] = PACE_S, 1.5, 10.5
    found.par[[sh.PAR_WINDOW, sh.PAR_BOARD_S, sh.PAR_GAP_S, sh.PAR_TURN_S]] = 12.0, 2.0, 0.0, 45.0
    cow[:30] = 0.0
    cow[:30, sh.C_ID] = np.arange(30)
    like = {sh.C_KG: 10.0, sh.C_FLOW_S: 60.0, sh.C_RISE: 0.1, sh.C_LAG: 5.0, sh.C_ON_S: ON_S,
            sh.C_WORK_S: WORK_S, sh.C_KICK_AT: 1e9}  # fmt: skip
    for column, value in like.items():
        cow[:30, column] = value
    found.state.out[0] = found.state.session[0] = 0.0
    found.S[found.T.rows("stalls")] = 0.0
    return found


def milk(at: SimpleNamespace, least_kpa: float = 0.0) -> np.ndarray:
    """The cows as milked; the litres of each step are added up in `at.kg`."""
    at.par[sh.PAR_VAC_LEAST] = least_kpa
    at.kg, step = 0.0, 0
    while not plain(traffic.ended)(at.n):
        plain(traffic.cows)(step * DT, at.F, at.I, at.S, at.g, at.n, at.par, at.num, at.state.cow,
                            at.state.out, at.state.session)  # fmt: skip
        at.kg += at.g[sh.G_MILK]
        step += 1
        told = at.state.out[0, :30, [sh.O_OFF, sh.O_EXIT]]
        assert told.max() <= step * DT  # nothing is told before it is
        assert step < 5000
    return at.state.out[0, :30]


def test_a_deck_carries_each_cow_past_the_same_places(at: SimpleNamespace) -> None:
    """Would fail if times hung on the step, or a cow were attached or let out elsewhere."""
    at.num[sh.N_LAYOUT] = 0
    out = milk(at)
    at_s = np.arange(30) * PACE_S
    assert out[:, sh.O_ENTER] == pytest.approx(at_s)
    assert out[:, sh.O_ATTACH] == pytest.approx(at_s + 1.5 * PACE_S)
    assert out[:, sh.O_OFF] == pytest.approx(at_s + 1.5 * PACE_S + ON_S)
    assert out[:, sh.O_EXIT] == pytest.approx(at_s + 10.5 * PACE_S)
    assert set(out[:, sh.O_PASSES]) == {1.0} and out[:, sh.O_ID].tolist() == list(range(30))
    assert out[:, sh.O_KG] == pytest.approx(10.0) and at.kg == pytest.approx(300.0)
    assert at.g[sh.G_STOPPED] == at.g[sh.G_HELD] == 0.0


def test_a_cow_not_milked_out_goes_round_again(at: SimpleNamespace) -> None:
    """Would fail if cows left half milked, or one that stays lost her stall to the next."""
    at.num[sh.N_LAYOUT] = 0
    at.state.cow[:30, sh.C_ON_S] = 95.0  # 90 s lie between the places
    out = milk(at)
    assert set(out[:, sh.O_PASSES]) == {2.0}
    assert out[:, sh.O_EXIT] - out[:, sh.O_ENTER] == pytest.approx((10.5 + 12) * PACE_S)
    # Each stall takes a cow in one turn of two.
    assert out[12, sh.O_ENTER] == pytest.approx(24 * PACE_S)
    assert at.kg == pytest.approx(300.0)


def test_a_stop_holds_the_deck_and_moves_all_that_follows(at: SimpleNamespace) -> None:
    """Would fail if a cow that balks cost no time, or more than she takes."""
    at.num[sh.N_LAYOUT] = 0
    at.state.cow[3, sh.C_STOP_S] = 7.0
    out = milk(at)
    late = np.where(np.arange(30) > 3, 7.0, 0.0)
    assert out[:, sh.O_ENTER] == pytest.approx(np.arange(30) * PACE_S + late)
    assert at.g[sh.G_STOPPED] == at.state.session[0, sh.B_STOPPED] == pytest.approx(7.0)


def test_a_slower_drive_turns_slower(at: SimpleNamespace) -> None:
    """Would fail if a failing drive kept the pace."""
    at.num[sh.N_LAYOUT], at.g[sh.G_DRIVE] = 0, 0.5
    assert milk(at)[:, sh.O_ENTER] == pytest.approx(np.arange(30) * PACE_S * 2)


def test_an_operator_too_slow_holds_the_deck(at: SimpleNamespace) -> None:
    """Would fail if attaching kept up with a deck that it cannot keep up with."""
    at.num[sh.N_LAYOUT] = 0
    at.state.cow[:30, sh.C_WORK_S] = 13.0
    out = milk(at)
    # Behind by 3 s a cow until the window is used; from then on, at the operator's pace.
    assert np.diff(out[10:, sh.O_ATTACH]) == pytest.approx(13.0)
    assert np.diff(out[14:, sh.O_ENTER]) == pytest.approx(13.0)
    assert at.g[sh.G_HELD] == at.state.session[0, sh.B_HELD] > 0.0
    at.g[sh.G_OPERATORS], at.state.out[0] = 2.0, 0.0
    again = at.state.session[0, sh.B_HELD]
    at.n[[sh.I_COW, sh.I_ENTRY, sh.I_ATTACH, sh.I_EXIT]] = 0
    at.g[[sh.G_U, sh.G_BUSY_UNTIL, sh.G_READY]] = 0.0
    milk(at)
    assert at.state.session[0, sh.B_HELD] == again  # two keep up


def test_rows_leave_when_their_last_cow_is_off(at: SimpleNamespace) -> None:
    """Would fail if a row left before its slowest cow, or filled again before it was changed."""
    at.num[[sh.N_LAYOUT, sh.N_ROWS]] = 1, 2
    out = milk(at)
    first = out[:12, sh.O_ATTACH]
    assert first == pytest.approx(np.arange(12) * WORK_S)  # both rows fill at once
    for cows, last in ((slice(0, 6), 5), (slice(6, 12), 11)):
        off = last * WORK_S + ON_S
        assert out[cows, sh.O_EXIT] == pytest.approx(off)
    third = 5 * WORK_S + ON_S + 45.0
    assert out[12:18, sh.O_ENTER] == pytest.approx(third)
    assert out[12:18, sh.O_ATTACH] == pytest.approx(third + np.arange(6) * WORK_S)
    assert out[:, sh.O_KG] == pytest.approx(10.0) and at.kg == pytest.approx(300.0)


def test_the_next_group_does_not_share_a_row(at: SimpleNamespace) -> None:
    """Would fail if a row were filled up from a group that is not in the yard yet."""
    at.num[[sh.N_LAYOUT, sh.N_ROWS]] = 1, 2
    at.par[sh.PAR_GAP_S] = 300.0
    at.state.cow[4:30, sh.C_GROUP] = 1.0
    out = milk(at)
    assert out[:4, sh.O_ENTER] == pytest.approx(0.0)
    assert out[4:10, sh.O_ENTER] == pytest.approx(300.0)


def test_without_vacuum_the_deck_waits_for_it(at: SimpleNamespace) -> None:
    """Would fail if cows were milked out by a plant that stands."""
    at.num[sh.N_LAYOUT], at.par[sh.PAR_VAC_LEAST] = 0, 30.0
    stall = row(at, "stalls")
    plain(traffic._enter)(0.0, stall, at.S, at.g, at.n, at.par, at.num, at.state.cow, at.state.out)
    plain(traffic._attach)(0.0, stall, at.S, at.g, at.n, at.state.cow, at.state.out)
    for kpa, kg in ((29.0, 0.0), (31.0, 1.0)):
        at.g[sh.G_VACUUM] = kpa
        plain(traffic.cows)(20.0, at.F, at.I, at.S, at.g, at.n, at.par, at.num, at.state.cow,
                            at.state.out, at.state.session)  # fmt: skip
        assert (at.g[sh.G_MILK] > 0.0) == (kg > 0.0)


def test_a_milking_alone_is_that_of_the_day(at: SimpleNamespace) -> None:
    """Would fail if sizing told another busiest minute, or mean flow, than the cows give."""
    at.num[sh.N_LAYOUT] = 0
    at.g[[sh.G_MINUTE_KG, sh.G_MINUTE_MOST]] = 0.0
    at.state.cow[10:20, sh.C_WITHHELD] = 1.0  # withheld milk loads the minute too
    flow = plain(traffic.milking_alone)(
        at.F, at.I, at.S, at.g, at.n, at.par, at.num, at.state.cow, at.state.out,
        at.state.session, 30, 5000, (0.0, 0.0, 1.0, 0.0),
    )  # fmt: skip
    out = at.state.out[0, :30]
    assert out[:, sh.O_KG] == pytest.approx(10.0)
    # A cow every ten seconds gives 10 kg in them: 60 kg a minute once the deck is full.
    assert at.g[sh.G_MINUTE_MOST] == pytest.approx(60.0, rel=0.01)
    # What a litre meets is the sum of squares over the sum: under the plateau's 2 kg a step.
    assert 1.6 < flow < 2.1
