"""Alarms: delays, memory, acknowledgement; and the log that keeps them once and for all."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sqlalchemy.exc import IntegrityError

from byrewright.engine.interlocks import Row, Signal, Table
from byrewright.site.alarms import Alarm, Alarms, Event
from byrewright.site.log import Log

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
        harm="milk_lost",
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


def test_an_alarm_waits_stays_and_goes_by_its_delays() -> None:
    """Would fail if a brief contact alarmed, or a brief recovery cleared an alarm."""
    alarms = Alarms(one_row_table())
    here, gone = ["V1_not_closed"], []
    assert alarms.scan(0.0, here, "milking") == []
    assert alarms.scan(2.9, here, "milking") == []
    assert alarms.scan(3.0, gone, "milking") == []  # gone before its delay
    assert alarms.scan(4.0, here, "milking") == []
    assert kinds(alarms.scan(7.0, here, "milking")) == ["raised"]
    assert alarms.scan(8.0, gone, "milking") == []
    assert alarms.scan(12.9, here, "milking") == []  # back before the off delay
    assert alarms.scan(13.0, gone, "milking") == []
    assert kinds(alarms.scan(18.0, gone, "milking")) == ["cleared"]
    assert alarms.states["V1_not_closed"].state == "gone"  # nobody has acknowledged it
    assert kinds(alarms.acknowledge(19.0, "anna")) == ["acknowledged"]
    assert not alarms.shown()


def test_an_acknowledged_alarm_stays_shown_until_the_cause_goes() -> None:
    """Would fail if acknowledging hid a cause that is still there."""
    alarms = Alarms(one_row_table())
    alarms.scan(0.0, ["V1_not_closed"], "milking")
    alarms.scan(ON_S, ["V1_not_closed"], "milking")
    alarms.acknowledge(10.0, "anna")
    assert [a.state for a in alarms.shown()] == ["acknowledged"]
    alarms.scan(20.0, [], "milking")
    assert kinds(alarms.scan(20.0 + OFF_S, [], "milking")) == ["cleared"]
    assert not alarms.shown()


@given(st.lists(st.tuples(st.floats(0.1, 10), st.booleans(), st.booleans()), max_size=60))
@settings(max_examples=100, deadline=None, derandomize=True)
def test_raised_and_cleared_take_turns(steps: list[tuple[float, bool, bool]]) -> None:
    """Would fail if an alarm could be raised twice without being cleared, or lose its count."""
    alarms, now, seen = Alarms(one_row_table()), 0.0, []
    for wait, cause, acknowledge in steps:
        now += wait
        seen += alarms.scan(now, ["V1_not_closed"] if cause else [], "milking")
        if acknowledge:
            alarms.acknowledge(now, "x")
    raised = [e for e in seen if e.kind in ("raised", "cleared")]
    assert [e.kind for e in raised] == ["raised", "cleared"] * (len(raised) // 2) + ["raised"] * (
        len(raised) % 2
    )
    assert [e.occurrence for e in raised if e.kind == "raised"] == list(
        range(1, (len(raised) + 1) // 2 + 1)
    )


@given(
    st.lists(st.tuples(st.floats(0.1, 10), st.booleans(), st.booleans()), min_size=1, max_size=40)
)
@settings(max_examples=25, deadline=None, derandomize=True)
def test_restarts_neither_lose_nor_double(
    tmp_path_factory: pytest.TempPathFactory, steps: list[tuple[float, bool, bool]]
) -> None:
    """Would fail if a restart at any moment raised an alarm again, or forgot that one stood."""
    log = Log(tmp_path_factory.mktemp("log") / "log.sqlite", "plant")
    alarms, now = Alarms(one_row_table()), 0.0
    for wait, cause, restart in steps:
        now += wait
        if restart:
            alarms = Alarms(one_row_table(), log.alarms())
        events = alarms.scan(now, ["V1_not_closed"] if cause else [], "milking")
        log.record(events, [alarms.states[e.tag] for e in events])
    kept = [e.kind for e in log.events()]
    assert kept == ["raised", "cleared"] * (len(kept) // 2) + ["raised"] * (len(kept) % 2)
    log.close()


def test_the_same_event_cannot_be_written_twice_nor_half(tmp_path: Path) -> None:
    """Would fail if a repeated write doubled an event, or a failed one left half of itself."""
    log = Log(tmp_path / "log.sqlite", "plant")
    event = Event(1.0, "raised", "V1_not_closed", 1, "V1 not closed")
    other = Event(2.0, "raised", "V2", 1, "V2")
    log.record([event], [Alarm("V1_not_closed", "unacknowledged", 1.0, 1)])
    with pytest.raises(IntegrityError):
        log.record([other, event], [Alarm("V2", "unacknowledged", 2.0, 1)])
    assert log.events() == [event]
    assert set(log.alarms()) == {"V1_not_closed"}
    log.close()


def test_two_plants_share_a_database(tmp_path: Path) -> None:
    """Would fail if one plant's events or states showed under another's name."""
    one, two = Log(tmp_path / "log.sqlite", "one"), Log(tmp_path / "log.sqlite", "two")
    event = Event(1.0, "raised", "V1", 1, "V1")
    one.record([event], [Alarm("V1", "unacknowledged", 1.0, 1)])
    two.record([event])
    assert one.events() == two.events() == [event]
    assert two.alarms() == {}
    one.close()
    two.close()
