"""Hours and starts by run contacts: pure, over the wire, in the log, and in what service is due."""

from __future__ import annotations

import asyncio
import datetime as dt
import math
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from byrewright.engine.interlocks import Signal, Table
from byrewright.plant.read import read_plant
from byrewright.site.addresses import AddressError, default_addresses, read_map, write_map
from byrewright.site.log import Log, New
from byrewright.site.running import Running
from byrewright.site.upkeep.due import Meter, Task, due_of, rate_of
from byrewright.site.upkeep.plan import BY_CONTACT, plan_of
from byrewright.site.upkeep.watched import run_meters
from byrewright.standards.rulebook import default_rulebook
from tests.site.test_alarms import one_row_table
from tests.site.test_watch import OWNER, RIGHT, Clock, made, told, watching

GAP_S = 10.0
DAY_S = 86_400.0
EXAMPLE = Path(__file__).parents[2] / "examples" / "rotary_spring_ice" / "plant.yaml"


def counting_table() -> Table:
    """The table of one valve, with a compressor beside it."""
    runs = Signal("AC1_runs", "AC1", "runs", "AC1 Air compressor: runs", False)
    return replace(one_row_table(), runs=(runs,))


@given(
    st.lists(st.tuples(st.booleans(), st.sampled_from([0.5, 1.0, 7.0, 10.0, 10.5, 400.0])),
             max_size=60)
)  # fmt: skip
def test_starts_are_rises_and_hours_the_time_closed_whatever_the_gaps(
    told: list[tuple[bool, float]],
) -> None:
    """Would fail if a gap were counted as time or as a start, or a reading went missing."""
    running, now = Running({"AC1_runs": "AC1"}, 0.0, GAP_S), 100.0
    seen = ran = starts = 0.0
    before: bool | None = None
    for on, rest in told:
        running.take(now, {"AC1_runs": on})
        starts += before is False and on
        seen, ran = seen + rest * (rest <= GAP_S), ran + rest * (on and rest <= GAP_S)
        before = on if rest <= GAP_S else None
        now += rest
    if told and told[-1][1] <= GAP_S:
        running.take(now, {"AC1_runs": told[-1][0]})
    count = running.totals.get("AC1")
    assert (count.seen_s, count.ran_s, count.starts) == (seen, ran, starts) if count else not seen


@given(
    st.lists(st.tuples(st.integers(6, 30), st.integers(0, 1)), min_size=1, max_size=20),
    st.sets(st.integers(0, 400), max_size=40),
)
def test_a_contact_that_bounces_tells_what_a_clean_one_does(
    phases: list[tuple[int, int]], drains: set[int]
) -> None:
    """Would fail if bounce were counted as starts, a start lost its first seconds, or what waits to
    be decided were lost or told twice when an entry is made just then."""
    running, now, entered = Running({"t": "AC1"}, 2.0, GAP_S), 0.0, 0.0
    truth: list[bool] = []
    for i, (seconds, bounces) in enumerate(phases):
        on = i % 2 == 1
        for second in range(seconds):
            truth.append(on)
            flips = bounces and second == seconds - 2  # the other for one reading, then back
            running.take(now, {"t": on is not bool(flips)})
            if int(now) in drains:
                for count in running.drain().values():
                    assert 0.0 <= count.ran_s <= count.seen_s
                    entered += count.ran_s
            now += 1.0
    for _ in range(4):  # long enough to decide what waits
        running.take(now, {"t": truth[-1]})
        truth.append(truth[-1])
        now += 1.0
    count = running.totals["AC1"]
    assert count.starts == sum(b and not a for a, b in pairwise(truth))
    assert count.seen_s == len(truth) - 1 and count.ran_s == sum(truth[:-1])
    assert entered + sum(c.ran_s for c in running.drain().values()) == count.ran_s


def test_a_contact_that_is_not_known_counts_for_nothing() -> None:
    """Would fail if an unknown contact passed for one that stands, and its return for a start."""
    running = Running({"t": "AC1"}, 0.0, GAP_S)
    for now, shown in ((0, True), (5, True), (9, None), (12, True), (20, None), (40, True)):
        running.take(float(now), {} if shown is None else {"t": shown})
    count = running.totals["AC1"]
    assert (count.seen_s, count.ran_s, count.starts) == (12.0, 12.0, 0)
    assert running.runs("AC1", 45.0) is True and running.runs("AC1", 60.0) is None


@pytest.mark.filterwarnings("ignore")
@pytest.mark.parametrize(("kind", "cycles"), [("modbus", 10), ("opcua", 2)])
async def test_the_watch_counts_over_the_wire_and_enters_it_once_an_hour(
    kind: str, cycles: int, tmp_path: Path
) -> None:
    """Would fail if starts were not read, were lost when the watch begins anew or the clock is set
    back, were entered each second, or a run contact that is refused raised an alarm."""
    table, clock = counting_table(), Clock()
    where = default_addresses(table, runs=True)
    controller, source = made(kind, table, where)
    path, ended = tmp_path / "log.sqlite", asyncio.Event()
    ended.set()

    async def pass_(seconds: int, *, on: bool, step: int = 10) -> None:
        for _ in range(seconds // step):
            await controller.show("milking", RIGHT | {"AC1_runs": on})
            await watch.step()
            clock.now += step

    async with controller:
        watch = watching(table, source, path, clock)
        watch.clock = lambda: 5e8 - clock.now  # the time of day runs backwards
        for _ in range(cycles):
            await pass_(300, on=True)
            await pass_(500, on=False)
        shown = watch.snapshot.ran[0]
        assert (shown.machine, shown.runs, shown.starts) == ("AC1", False, cycles - 1)
        await watch.run(ended)
        assert watch.journal.flush(10)
        watch.journal.close()
        clock.now += 3000.0  # nobody watches, and it ran meanwhile
        watch = watching(table, source, path, clock)
        for _ in range(5):
            await pass_(100, on=True)
            await pass_(100, on=False)
        await watch.run(ended)
        told(watch)
        entries = watch.journal.log.entries("ran")
        assert not watch.alarms.shown()
        await source.close()
        watch.journal.close()
    some = [e.data["machines"]["AC1"] for e in entries]
    assert len(entries) == 800 * cycles // 3600 + 2, "whole hours, and what was left at each end"
    assert sum(c["starts"] for c in some) == cycles - 1 + 4, "first seen running is no start"
    assert sum(c["ran_s"] for c in some) == pytest.approx(cycles * 300 + 5 * 100, abs=1)
    assert sum(c["seen_s"] for c in some) == pytest.approx(cycles * 800 + 5 * 200, abs=21)


async def test_a_run_contact_that_is_refused_is_said_and_no_alarm(tmp_path: Path) -> None:
    """Would fail if a contact that only counts made an alarm, or stopped the rest being read."""
    table, clock = counting_table(), Clock()
    controller, source = made("modbus", table, default_addresses(table))
    source.where = default_addresses(table, runs=True)  # type: ignore[attr-defined]
    source.where = replace(  # type: ignore[attr-defined]
        source.where,
        runs=(replace(source.where.runs[0], number=900),),  # type: ignore[attr-defined]
    )
    async with controller:
        watch = watching(table, source, tmp_path / "log.sqlite", clock)
        for _ in range(40):
            await controller.show("milking", RIGHT)
            shown = await watch.step()
            clock.now += 1.0
        await source.close()
        watch.journal.close()
    assert "refused" in shown.unknown["AC1_runs"] and shown.contacts == RIGHT
    assert not shown.alarms and not shown.ran


def test_a_map_offers_run_contacts_and_reads_those_that_are_wired(tmp_path: Path) -> None:
    """Would fail if an old map were refused, an unwired contact read, or a wired one not."""
    table, path = counting_table(), tmp_path / "map.csv"
    path.write_text(write_map(default_addresses(table), table))
    assert "AC1_runs,discrete_input,,," in path.read_text()
    assert read_map(path, table) == read_map(path, table, opcua=True) == default_addresses(table)
    text = path.read_text()
    path.write_text(text.replace("AC1_runs,discrete_input,,", "AC1_runs,discrete_input,40,"))
    assert [a.number for a in read_map(path, table).runs] == [40]
    assert not read_map(path, table, opcua=True).runs, "no node is named"
    path.write_text(text.replace("AC1_runs,discrete_input,,", "AC1_runs,discrete_input,,ns=3;i=7"))
    assert [a.node for a in read_map(path, table, opcua=True).runs] == ["ns=3;i=7"]
    path.write_text(text.replace("AC1_runs,discrete_input,,", "AC1_runs,discrete_input,1,"))
    with pytest.raises(AddressError, match="AC1_runs and V1_closed share"):
        read_map(path, table)


def test_what_never_ran_is_not_due_and_what_nobody_counts_is_not_known() -> None:
    """Would fail if a generator that was seen to stand all along were told as one whose meter
    nobody read, or a count that is not known passed for one that stands still."""
    day, meters = 30.0, [Meter(0.0, 12.0), Meter(30.0, 12.0)]
    task = Task("GE1", "oil", every_h=250.0)
    one = due_of(task, day, 0.0, meters, rate_of(meters))
    assert (one.day, one.every) == (None, math.inf) and "hours stand still" in one.how
    assert due_of(task, day, 0.0, [], None).every is None
    both = replace(task, counts=(("starts", 100.0),))
    told = due_of(both, day, 0.0, meters, rate_of(meters), {"starts": ((), None)})
    assert told.every is None and "starts are not known" in told.how


def test_service_is_due_by_what_the_run_contact_counted(tmp_path: Path) -> None:
    """Would fail if starts that the watch counted did not bring the valves' service forward, an
    entry dated in the future counted, or a meter that people read were passed over for it."""
    plant, rules = read_plant(EXAMPLE).plant, default_rulebook()
    log, first = Log(tmp_path / "log.sqlite", OWNER), dt.datetime(2026, 3, 1, 12).timestamp()
    # 12 weeks of which every other hour was watched: 20 minutes and 10 starts in each hour seen
    news = [
        New("ran", first + 7200.0 * i, "", "", {"source": "x", "machines": {
            "AC1": {"seen_s": 3600.0, "ran_s": 1200.0, "starts": 10}}})
        for i in range(12 * 84)
    ]  # fmt: skip
    busy = {"AC1": {"seen_s": 3600.0, "ran_s": 3600.0, "starts": 900}}
    ahead = New("ran", first + 9e8, "", "", {"source": "x", "machines": busy})
    log.append([*news, ahead])
    today = dt.date(2026, 5, 25)

    def valves() -> tuple[str, dt.date]:
        plan = plan_of(plant, rules, log.entries(), today)
        one = next(d for d in plan.dues if (d.task.machine, d.task.what) == ("AC1", "valves"))
        assert one.day is not None and not one.lacks
        return one.how, dt.date.fromordinal(int(one.day))

    meters = run_meters(e for e in log.entries() if e.at < first + 1e8)
    days = meters["AC1", "starts"][-1].day - meters["AC1", "starts"][0].day
    assert meters["AC1", "starts"][-1].reading == pytest.approx(240 * days, rel=0.01)
    assert meters["AC1", "h"][-1].reading == pytest.approx(8 * days, rel=0.01)
    how, day = valves()
    assert how == f"{BY_CONTACT}, starts"
    assert abs((day - dt.date(2026, 3, 1)).days - 60_000 / 240) <= 3
    log.append([
        New("hours", first + DAY_S * i, "AC1", "A", {"hours": 100.0 * i, "unit": "starts"})
        for i in (0, 80)
    ])  # fmt: skip
    assert valves()[0] != f"{BY_CONTACT}, starts", "hours come first when it starts 100 times a day"
    log.close()
