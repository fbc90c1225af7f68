"""Service: hours from meters, due dates with ranges, the fewest visits, the calendar."""

from __future__ import annotations

import datetime as dt
import time
from dataclasses import replace
from itertools import combinations
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from icalendar import Calendar

from byrewright.commands import service as command
from byrewright.documents.readers_work import upkeep_rows
from byrewright.errors import ByrewrightError
from byrewright.plant.programme import programme_of
from byrewright.plant.read import read_plant, read_plant_text
from byrewright.plant.roles import PumpsVacuum, StandsCows
from byrewright.plant.upkeep import intervals
from byrewright.site.log import Log, New, Owner
from byrewright.site.upkeep.due import (
    Meter,
    Rate,
    Task,
    Window,
    due_of,
    fewest_visits,
    forecast,
    rate_of,
    total_hours,
    windows,
)
from byrewright.site.upkeep.forecast import PROGRAMME, programmed, rate_beside
from byrewright.site.upkeep.plan import (
    _verdict,
    calendar_of,
    enter,
    interval,
    meters_in,
    plan_of,
    tasks_of,
)
from byrewright.site.upkeep.watched import stretches, watched
from byrewright.standards.rulebook import default_rulebook
from tests.plant.small import SMALL
from tests.plants import machine

BELTS = Task("VP1", "belts", every_h=500.0)
YEARLY = Task("V1", "seat", every_days=365.0)


@pytest.fixture
def log(tmp_path: Path) -> Any:
    """An empty log."""
    one = Log(tmp_path / "log.sqlite", Owner("plant-1", "(invented) one"))
    yield one
    one.close()


def needed(some: list[Window]) -> int:
    """The fewest days by trying all: only the ends of windows need be tried."""
    ends = sorted({w.last for w in some})
    for count in range(len(ends) + 1):
        for days in combinations(ends, count):
            if all(any(w.first <= d <= w.last for d in days) for w in some):
                return count
    raise AssertionError


@given(st.lists(st.tuples(st.integers(0, 60), st.integers(0, 25)), max_size=8))
def test_no_plan_has_fewer_visits(told: list[tuple[int, int]]) -> None:
    """Would fail if a visit were planned that could be saved, or a service were out of time."""
    some = [Window(YEARLY, a, float(a), float(a + n)) for a, n in told]
    visits = fewest_visits(some)
    assert len(visits) == needed(some)
    assert sorted(w.first for v in visits for w in v.does) == sorted(w.first for w in some)
    assert all(w.first <= v.day <= w.last for v in visits for w in v.does)


def test_due_by_hours_follows_the_meter_and_its_range() -> None:
    """Would fail if a pump's belts were planned by the calendar though its meter tells."""
    meters = [Meter(0, 1000), Meter(50, 1200), Meter(100, 1450)]
    rate = rate_of(meters, forecast(6.0, PROGRAMME))
    assert rate is not None and (rate.a_day, rate.least, rate.most) == (4.5, 4.0, 5.0)
    one = due_of(BELTS, 100, 50, meters, rate)
    assert (one.day, one.soonest, one.latest) == pytest.approx((155.6, 150, 162.5), abs=0.1)
    assert due_of(BELTS, 100, 25, meters, rate).day == pytest.approx(100 + 150 / 4.5)
    told = rate_of(meters[:1], forecast(6.0, PROGRAMME))
    assert told == Rate(6.0, pytest.approx(4.8), pytest.approx(7.2), PROGRAMME)
    assert due_of(BELTS, 100, 0, [], told).day == pytest.approx(500 / 6.0)
    assert due_of(BELTS, 100, 0, [], None).day is None
    assert due_of(BELTS, 100, None, meters, rate).day is None
    assert rate_of([Meter(0, 0), Meter(2, 40)], None) is None, "two days tell no rate"


@given(st.lists(st.floats(0, 100), min_size=1, max_size=6), st.integers(0, 5))
def test_hours_never_run_backwards_over_a_new_meter(steps: list[float], at: int) -> None:
    """Would fail if a replaced meter made a machine younger or older."""
    meters, hours, run = [], 5000.0, 0.0
    for day, step in enumerate(steps):
        hours, new = (0.0, True) if day == at and day else (hours + step, False)
        run += 0.0 if new or not day else step
        meters.append(Meter(day, hours, new))
    assert total_hours(meters)[-1][1] == pytest.approx(run)


def test_the_first_of_what_it_wears_by_counts() -> None:
    """Would fail if pulses, litres or cows were left out beside hours, or their meter were."""
    task = Task("PU1", "filters", every_h=2000.0, counts=(("pulses", 7e6),))
    hours, slow = forecast(8.0, PROGRAMME), forecast(1e3, PROGRAMME)
    pulses = [Meter(0, 0.0), Meter(50, 5e6)]
    one = due_of(task, 50, 0.0, [], hours, {"pulses": (pulses, rate_of(pulses, None))})
    assert one.day == pytest.approx(70.0)
    assert one.how.endswith("from its meter, pulses")
    assert due_of(task, 50, 0.0, [], hours, {"pulses": ([], slow)}).day == 250.0
    assert due_of(task, 50, 0.0, [], hours).day == 250.0, "no meter of pulses: by hours"


def test_meters_out_of_a_file_and_what_a_day_wears(log: Log, tmp_path: Path) -> None:
    """Would fail if a meter of pulses were taken as hours, or a filter's cows as another's."""
    plant, rules = read_plant("examples/rotary_spring_ice/plant.yaml").sound(), default_rulebook()
    path = tmp_path / "meters.csv"
    path.write_text("machine;reading;unit\nPU1;100;pulses\nVP1;1240,5;h\n", encoding="utf-8")
    assert enter(log, plant, meters_in(path), [], "anna", dt.date(2026, 3, 1)) == 2
    assert {(e.tag, e.data.get("unit", "h"), e.data["hours"]) for e in log.entries()} == {
        ("PU1", "pulses", 100.0), ("VP1", "h", 1240.5)}  # fmt: skip
    path.write_text("machine,reading\nVP1,1250\nVP1,12 yards\n", encoding="utf-8")
    with pytest.raises(ByrewrightError, match=r"meters.csv: line 3: VP1=12 yards: yards is not"):
        enter(log, plant, rows := meters_in(path), [], "anna", dt.date(2026, 3, 2), places=rows)
    path.write_text("machine,reading\nVP1,\n", encoding="utf-8")
    with pytest.raises(ByrewrightError, match="line 2: has no machine or no reading"):
        meters_in(path)
    day = programme_of(plant, rules)
    units, deck = plant.equipment["MU1"], plant.first(StandsCows)
    assert deck is not None and isinstance(deck, StandsCows)
    worn = programmed(plant, rules)
    assert worn[units.id, "cows"] == [pytest.approx(day.cows_milked_day / units.count)]
    hours = sum(m.target_h for m in day.milkings)
    (turns,) = worn[deck.id, "turns"]
    assert turns == pytest.approx(3600 * hours * (1 - deck.stop_share_pct / 100) / deck.turn_s)
    assert ("AC1", "starts") not in worn


def test_what_comes_again_comes_again_and_what_is_overdue_comes_now() -> None:
    """Would fail if the second service of a year were left out, or an overdue one put off."""
    quarter = due_of(Task("C1", "condenser", every_days=90.0), 0, -30.0, [], None)
    late = due_of(YEARLY, 0, -500.0, [], None)
    found = windows([quarter, late], 0, 365, 14)
    assert [w.due for w in found if w.task.machine == "C1"] == [60, 150, 240, 330]
    first = fewest_visits(found)[0]
    assert first.day == 0 and [w.task.machine for w in first.does] == ["V1"]


def test_the_plan_of_a_plant_and_its_calendar(log: Log) -> None:
    """Would fail if work entered did not move its date, or the calendar lost a visit."""
    plant, rules, today = read_plant_text(SMALL).plant, default_rulebook(), dt.date(2026, 6, 1)
    by_days = {f.verdict for f in plan_of(plant, rules, [], today).result.findings}
    assert by_days == {"unknown"}
    enter(log, plant, ["VP1=100"], [], "anna", dt.date(2026, 3, 1))
    assert enter(log, plant, ["VP1=560"], [], "anna", today) == 1
    assert enter(log, plant, ["VP1=560"], [], "anna", today) == 0, "entered twice, stands once"
    before = plan_of(plant, rules, log.entries(), today)
    belts = next(d for d in before.dues if d.task.what == "belts and coupling")
    assert belts.day == pytest.approx(today.toordinal() + 40 / (460 / 92))
    enter(log, plant, [], ["VP1: belts and coupling"], "anna", today)
    after = plan_of(plant, rules, log.entries(), today)
    again = next(d for d in after.dues if d.task == belts.task)
    assert again.day == pytest.approx(today.toordinal() + 100)
    text = calendar_of(after, plant)
    assert text == calendar_of(after, plant)
    events = Calendar.from_ical(text).walk("VEVENT")
    assert [e["dtstart"].dt.toordinal() for e in events] == [int(v.day) for v in after.visits]
    assert "belts and coupling" in "".join(str(e["description"]) for e in events)


@pytest.mark.parametrize(
    ("hours", "done", "who", "words"),
    [
        ("VP1=400", "", "a", "less than the 500 h read on 2026-03-01"),
        ("VP1=soon", "", "a", "such as VP1=1240"),
        ("VP1=nan", "", "a", "such as VP1=1240"),
        ("VP1=9 yards", "", "a", "yards is not counted"),
        ("VP9=4", "", "a", "no machine VP9"),
        ("", "VP1: polish", "a", "no such service; it has"),
        ("VP1=600", "", " ", "by name"),
    ],
)  # fmt: skip
def test_what_cannot_be_entered_is_refused(
    log: Log, hours: str, done: str, who: str, words: str
) -> None:
    """Would fail if a slip of the finger became a machine's age."""
    plant, day = read_plant_text(SMALL).plant, dt.date(2026, 4, 1)
    enter(log, plant, ["VP1=500"], [], "anna", dt.date(2026, 3, 1))
    with pytest.raises(ByrewrightError, match=words):
        enter(log, plant, [hours] if hours else [], [done] if done else [], who, day)
    assert len(log.entries()) == 1
    assert enter(log, plant, ["VP1=0"], [], "a", day, new_meter=True) == 1


def test_a_meter_that_cannot_be_is_refused(log: Log) -> None:
    """Would fail if a slip of one figure, a comma between thousands, a reading of an earlier day
    above a later one or a day still to come stood in the log, where nothing is changed again."""
    plant = read_plant("examples/rotary_spring_ice/plant.yaml").sound()
    enter(log, plant, ["VP1=1240"], [], "anna", dt.date(2026, 3, 1))
    enter(log, plant, ["VP1=1500"], [], "anna", dt.date(2026, 4, 1))
    for text, day, said in (("VP1=12400", dt.date(2026, 4, 30), "so many hours have not gone by"),
                            ("VP1=1,600", dt.date(2026, 4, 30), "write 1600 or 1.600"),
                            ("VP1=1600", dt.date(2026, 3, 20), "is more than the 1500 h read on"),
                            ("VP1=1600", dt.date(9998, 1, 1), "still to come")):  # fmt: skip
        with pytest.raises(ByrewrightError, match=said):
            enter(log, plant, [text], [], "anna", day)
    with pytest.raises(ByrewrightError, match="still to come"):
        enter(log, plant, [], ["VP1: belts and coupling"], "anna", dt.date(9998, 1, 1))
    assert len(log.entries()) == 2
    assert enter(log, plant, ["VP1=1600"], [], "anna", dt.date(2026, 4, 30)) == 1


def test_the_command_enters_plans_and_writes(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Would fail if the command lost what was entered, or wrote no calendar."""
    path = tmp_path / "plant.yaml"
    path.write_text(SMALL, encoding="utf-8")
    command.run(path, hours=["VP1=100"], who="anna", on="2026-03-01",
                calendar=tmp_path / "visits.ics")  # fmt: skip
    said = capsys.readouterr().out
    assert "1 entered" in said and "The fewest visits" in said
    assert (tmp_path / "visits.ics").read_bytes().startswith(b"BEGIN:VCALENDAR")
    with pytest.raises(SystemExit, match="2"):
        command.run(path, on="tomorrow")


def test_what_was_logged_under_an_earlier_name_counts(log: Log) -> None:
    """Would fail if a service that was given another name were overdue by its old entries, or
    forgot what was found of its parts."""
    plant, rules = read_plant_text(SMALL).plant, default_rulebook()
    today = dt.date(2026, 6, 1)
    at = {d: time.mktime(dt.date(2026, 1, d).timetuple()) for d in (1, 20)}
    log.append([
        New("part", at[1], "MP1", "a", {"what": "seal", "action": "done"}),
        New("part", at[20], "RC1", "a", {"what": "probes and gaskets", "action": "done"}),
        New("part", at[20], "RC1", "a", {"what": "probes and gaskets", "action": "found",
                                         "age": 300.0, "failed": 0, "worn": 0, "good": 3}),
    ])  # fmt: skip
    plan = plan_of(plant, rules, log.entries(), today)
    (due,) = [d for d in plan.dues if d.task.machine == "RC1"]
    assert due.last == float(dt.date(2026, 1, 20).toordinal())
    assert due.task.learned is not None and due.task.every_days > 90
    enter(log, plant, [], ["RC1: probes and gaskets"], "anna", today)
    assert log.entries()[-1].data["what"] == due.task.what == "look at probes and gaskets"


def test_a_count_that_nobody_knows_is_told() -> None:
    """Would fail if a service held by its hours while its starts, unread, may have passed."""
    task = Task("AC1", "valves", every_h=4000.0, counts=(("starts", 60_000.0),))
    hours, never = forecast(8.0, PROGRAMME), forecast(0.0, PROGRAMME)
    one = due_of(task, 50, 0.0, [], hours, {"starts": ([], None)})
    assert (one.day, one.lacks) == (500.0, ("starts",))
    verdict, says = _verdict(one, 50, 14.0)
    assert verdict == "unknown" and says.endswith(
        "at the latest; starts not known: read the counter."
    )
    assert _verdict(one, 600, 14.0)[0] == "fails"
    assert due_of(task, 50, 0.0, [], hours, {"starts": ([], never)}).lacks == ()
    longer = replace(task, every_h=6000.0, learned=(5000.0, 8000.0))
    by = due_of(longer, 50, 0.0, [], None, {"starts": ([], forecast(600.0, PROGRAMME))})
    assert by.day == 100.0 and by.soonest < 84 and by.latest > 133


def test_an_interval_is_told_alike_everywhere() -> None:
    """Would fail if a paper left the count out, or called cow milkings cows."""
    plant, rules = read_plant_text(SMALL).plant, default_rulebook()
    task = next(t for t in tasks_of(plant, rules) if t.what == "liners")
    told = "1,200 running hours or 2,500 cow milkings"
    assert interval(task) == told
    assert [o for what, _, o in upkeep_rows(plant, rules) if what == "Liners"] == [told]
    pulsator = machine("PU1", "pulsator", rate_per_min=65.0)
    times = dict(intervals(pulsator, type(pulsator).UPKEEP[0], rules))
    assert times["pulses"] == times["h"] * 60 * 65


def test_what_was_watched_and_what_was_simulated_tell_the_rate(log: Log) -> None:
    """Would fail if hours watched counted through a gap, or a season's meter stood for a year."""
    plant = read_plant_text(SMALL).plant
    milks = next(n for n, m in plant.modes.items() if "milking" in m.does)
    idle = next(n for n, m in plant.modes.items() if "idle" in m.does)
    one = next(m.id for m in plant.machines(PumpsVacuum))
    day, events = 86_400.0, []

    def tell(at: float, kind: str, text: str = "") -> None:
        events.append(New("watch", 1e9 + at, "", "", {"kind": kind, "text": text}))

    tell(0, "started")
    for d in range(14):
        tell(d * day, "mode", milks)
        tell((d + 0.125) * day, "mode", idle)
    tell(14 * day, "lost")
    tell(20 * day, "back")  # six days that nobody saw, in the mode of before
    tell(21 * day, "mode", milks)
    tell(21.2 * day, "acknowledged")
    tell(30 * day, "started")  # killed at 21.2: nothing is known from there on
    log.append(events)
    told = watched(plant, log.entries())
    assert told[one, "h"][:2] == [pytest.approx(3.0)] * 2
    assert told[one, "starts"][:2] == [pytest.approx(1.0)] * 2
    hours = sum(b - a for a, b, _ in stretches(log.entries()))
    assert hours == pytest.approx(15.2 * day)
    year = {(one, "h"): [2.0] * 6 + [6.0] * 6}
    rate, months = rate_beside(one, "h", programmed(plant, default_rulebook()), year, told)
    assert rate is not None and rate.how == "as watched" and months == ()
    rate, months = rate_beside(one, "h", {}, year, {})
    assert rate is not None and rate.a_day == 4.0 and months == (0.5,) * 6 + (1.5,) * 6
    june = float(dt.date(2026, 6, 1).toordinal())
    meters = [Meter(june - 60, 0.0), Meter(june, 120.0)]
    by = due_of(BELTS, june, june, meters, rate_of(meters, None, months))
    assert by.day == pytest.approx(june + 30 + (500 - 60) / 6.0), "2 h a day in June, then 6"
