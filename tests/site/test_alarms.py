"""Alarms: delays, memory, acknowledgement; and the log that keeps them once and for all."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from byrewright.engine.interlocks import Row, Signal, Table, Told
from byrewright.site.alarms import Alarm, Alarms, Event
from byrewright.site.log import Log, LogTrouble, Owner

ON_S, OFF_S = 3.0, 5.0


def one_row_table() -> Table:
    """A table with one valve that must be closed while milking."""
    row = Row(
        tag="V1_not_closed",
        machine="V1",
        wanted="closed",
        modes=("milking",),
        on=("V1_closed",),
        off=("V1_open",),
        priority="high",
        text="V1 not closed",
        do="shut it",
        on_delay_s=ON_S,
        off_delay_s=OFF_S,
    )
    signals = tuple(Signal(f"V1_{p}", "V1", p, f"V1 {p}", True) for p in ("open", "closed"))
    return Table("(invented)", ("idle", "milking"), signals, (), (row,))


def kinds(events: list[Event]) -> list[str]:
    """What happened, in order."""
    return [e.kind for e in events]


TAG = "V1_not_closed"
ROWS = one_row_table().rows
OWNER = Owner("p", "(invented)")


def scan(alarms: Alarms, now: float, cause: bool | None) -> list[str]:
    """What a scan raises or clears."""
    return kinds(alarms.scan(now, now, {TAG: cause}, "milking"))


def test_an_alarm_waits_stays_and_goes_by_its_delays() -> None:
    """Would fail if a brief contact alarmed, or a brief recovery cleared an alarm."""
    alarms = Alarms(ROWS)
    for now, cause, said in (
        (0.0, True, []),
        (2.9, True, []),
        (3.0, False, []),  # gone before its delay
        (4.0, True, []),
        (7.0, True, ["raised"]),
        (8.0, False, []),
        (12.9, True, []),  # back before the off delay
        (13.0, False, []),
        (18.0, False, ["cleared"]),
    ):
        assert scan(alarms, now, cause) == said, now
    assert alarms.states[TAG].state == "gone"  # nobody has acknowledged it
    assert kinds(alarms.acknowledge(19.0, "anna")) == ["acknowledged"]
    assert not alarms.shown()


def test_an_acknowledged_alarm_stays_shown_until_the_cause_goes() -> None:
    """Would fail if acknowledging hid a cause that is still there."""
    alarms = Alarms(ROWS)
    scan(alarms, 0.0, True)
    scan(alarms, ON_S, True)
    alarms.acknowledge(10.0, "anna")
    assert [a.state for a in alarms.shown()] == ["acknowledged"]
    scan(alarms, 20.0, False)
    assert scan(alarms, 20.0 + OFF_S, False) == ["cleared"]
    assert not alarms.shown()


def test_delays_run_over_gaps_but_nothing_clears_unseen() -> None:
    """Would fail if a reading lost now and then kept an alarm away, or a gap cleared one."""
    alarms = Alarms(ROWS)
    assert [scan(alarms, t, None if t % 4 == 3 else True) for t in range(5)] == [
        [], [], [], [], ["raised"],
    ]  # fmt: skip
    assert scan(alarms, 5.0, False) == []
    assert scan(alarms, 5.0 + 60, False) == []  # a minute that nobody saw
    assert scan(alarms, 5.0 + 60 + OFF_S, False) == ["cleared"]


STEPS = st.tuples(st.floats(0.1, 10), st.sampled_from((True, False, None)), st.booleans())


@given(st.lists(STEPS, max_size=60))
@settings(max_examples=100, deadline=None, derandomize=True)
def test_raised_and_cleared_take_turns(steps: list[tuple[float, bool | None, bool]]) -> None:
    """Would fail if an alarm could be raised twice without being cleared, or ids met."""
    alarms, now, seen = Alarms(ROWS), 0.0, []
    for wait, cause, acknowledge in steps:
        now += wait
        seen += alarms.scan(now, 0.0, {TAG: cause}, "milking")  # a clock that stands still
        if acknowledge:
            alarms.acknowledge(0.0, "x")
    assert kinds(seen) == [("raised", "cleared")[i % 2] for i in range(len(seen))]
    assert len({e.uid for e in seen}) == len(seen)


@given(st.lists(STEPS, min_size=1, max_size=40))
@settings(max_examples=25, deadline=None, derandomize=True)
def test_restarts_neither_lose_nor_double(
    tmp_path_factory: pytest.TempPathFactory, steps: list[tuple[float, bool | None, bool]]
) -> None:
    """Would fail if a restart at any moment raised an alarm again, or forgot that one stood."""
    log = Log(tmp_path_factory.mktemp("log") / "log.sqlite", OWNER)
    alarms, now = Alarms(ROWS), 0.0
    for wait, cause, restart in steps:
        now += wait
        if restart:
            alarms = Alarms(ROWS, log.states().get("s"))
        events = alarms.scan(now, now, {TAG: cause}, "milking")
        log.record(events, [("s", alarms.states[e.tag]) for e in events])
    kept = kinds(log.events())
    assert kept == [("raised", "cleared")[i % 2] for i in range(len(kept))]
    log.close()


def test_an_alarm_says_what_is_true_in_the_mode_that_the_plant_is_in(tmp_path: Path) -> None:
    """Would fail if an alarm told of the worst of all modes, stayed acknowledged into a mode in
    which it means something else, or was raised again by a restart or a mode alike."""
    modes = ("milking", "calf_draw", "wash")
    said = (Told(modes[2:], "wash_to_milk", "V1 not closed: wash to milk", "stop the wash"),
            Told(modes[:2], "wrong_tank", "V1 not closed: milk elsewhere", "shut it"))  # fmt: skip
    rows = (replace(ROWS[0], modes=modes, told=said),)
    log, alarms = Log(tmp_path / "log.sqlite", OWNER), Alarms(rows)
    for now, mode in enumerate((*modes[:1] * 5, *modes), 1):
        events = alarms.scan(now, now, {TAG: True}, mode)
        log.record(events, [("s", alarms.states[e.tag]) for e in events])
        if now == 4:
            alarms.acknowledge(now, "anna", TAG)
        if now > 4:
            text = said[mode != "wash"].text
            state = "acknowledged" if mode != "wash" else "unacknowledged"
            assert rows[0].told_in(alarms.states[TAG].mode)[0] == text
            assert alarms.states[TAG].state == state, now
    alarms = Alarms(rows, log.states()["s"])
    alarms.scan(10, 10, {TAG: True}, "wash")
    log.record(
        alarms.scan(11, 11, {TAG: False}, "idle") + alarms.scan(20, 20, {TAG: False}, "idle")
    )
    log.record(alarms.scan(25, 25, {TAG: False}, "idle"))
    told = [(e.kind, e.text.partition(": ")[2], e.mode) for e in log.events()]
    assert told == [
        ("raised", "milk elsewhere", "milking"),
        ("cleared", "milk elsewhere", "wash"),
        ("raised", "wash to milk", "wash"),
        ("cleared", "wash to milk", "idle"),
    ]
    log.close()


def test_the_same_event_cannot_be_written_twice_nor_half(tmp_path: Path) -> None:
    """Would fail if a repeated write doubled an event, or a failed one left half of itself."""
    log = Log(tmp_path / "log.sqlite", OWNER)
    event = Event(1.0, "raised", TAG, "V1 not closed")
    states = [("s", Alarm(TAG, "unacknowledged", 1.0))]
    log.record([event], states)
    log.record([event], states)
    broken = Alarm("V2", None, 2.0)  # type: ignore[arg-type]
    with pytest.raises(LogTrouble):
        log.record([Event(2.0, "raised", "V2", "V2")], [("s", broken)])
    assert log.events() == [event]
    assert set(log.states()["s"]) == {TAG}
    log.close()
