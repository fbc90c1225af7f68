"""Rehearsals: a milking day with a wrong valve, watched over a real connection."""

from __future__ import annotations

import logging
from collections.abc import Iterator
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import pytest

from byrewright.engine.interlocks import Table, active
from byrewright.plant.read import read_plant
from byrewright.plant.roles import Senses
from byrewright.site.day import Day, day_of
from byrewright.site.rehearse import Fault, ModeInterval, at_time, rehearse, shown
from byrewright.standards.rulebook import Rulebook
from byrewright.studies.routes.study import Routes
from tests.studies.failing import changed

EXAMPLE = Path(__file__).parents[2] / "examples" / "rotary_spring_ice" / "plant.yaml"
pytestmark = pytest.mark.filterwarnings("ignore")
SCAN_S = 1.0  # the rehearsal looks once a second after the fault
ROUNDING_S = 1e-6


@pytest.fixture(scope="module")
def study() -> Routes:
    """The routes of an example plant."""
    return Routes(read_plant(EXAMPLE).plant, Rulebook())


@pytest.fixture(autouse=True)
def quiet() -> Iterator[None]:
    """Libraries' talk is not what these tests look at."""
    logging.disable(logging.CRITICAL)
    yield
    logging.disable(logging.NOTSET)


def milking(study: Routes) -> tuple[Day, ModeInterval]:
    """The day and its first milking."""
    day = day_of(study.plant)
    return day, next(a for a in day.intervals if a.mode.startswith("milking"))


def test_the_day_is_whole_and_in_order(study: Routes) -> None:
    """Would fail if the played day had holes, or milk in it that the duty does not have."""
    from byrewright.results import ResultBuilder
    from byrewright.studies.sizing.context import StudyContext
    from byrewright.studies.sizing.duty import duty_of

    day = day_of(study.plant)
    for before, after in pairwise(day.intervals):
        assert before.end_min == after.start_min
    duty = duty_of(StudyContext(study.plant, Rulebook(), ResultBuilder("t", "t")))
    assert day.milk_l(0, 2880) == pytest.approx(duty.milk_l_day, rel=1e-12)  # sums in another order


@pytest.mark.parametrize("protocol", ["modbus", "contacts"])
async def test_litres_before_the_alarm_equal_the_ledger(study: Routes, protocol: str) -> None:
    """Would fail if the litres told were not the milk that flowed from the fault to the alarm."""
    day, interval = milking(study)
    fault = Fault(interval.start_min + 20.25, (("V46", "open"),))
    told = await rehearse(study.table, study.scenes, day, fault, study.hits, protocol=protocol)  # type: ignore[arg-type]
    delay = study.table.row("V46_not_closed").on_delay_s
    assert told.alarm == "V46_not_closed" and told.harm == "milk to drain or floor"
    assert told.seconds == pytest.approx(delay, abs=SCAN_S + ROUNDING_S)
    assert told.litres_before == day.lost_l(fault.wrong, fault.at_min, told.alarm_min or 0)
    assert (
        told.litres_unseen == day.lost_l(fault.wrong, fault.at_min, interval.end_min) > 1000
    )  # a milking's worth
    assert [e.kind for e in told.events if e.kind == "raised"] == ["raised"]


async def test_a_divert_left_at_wash_from_the_first_cow(study: Routes) -> None:
    """Would fail if a fault there from the beginning of milking were not alarmed at once."""
    day, interval = milking(study)
    told = await rehearse(
        study.table,
        study.scenes,
        day,
        Fault(interval.start_min, (("V40", "to_c"),)),
        study.hits,
    )
    assert told.alarm == "V40_not_to_b"
    assert told.litres_before < 1 < 1000 < told.litres_unseen  # no cow has let down yet


async def test_a_valve_without_sensor_is_not_alarmed(study: Routes) -> None:
    """Would fail if the rehearsal alarmed for a valve that nothing looks at."""
    day, interval = milking(study)
    blind = study.table.without("V46_not_closed", "SN41_no_flow")
    told = await rehearse(
        blind,
        study.scenes,
        day,
        Fault(interval.start_min + 5, (("V46", "open"),)),
        study.hits,
    )
    assert told.alarm_min is None and told.litres_before == told.litres_unseen > 1000


async def test_impossible_faults_are_refused(study: Routes) -> None:
    """Would fail if a fault that cannot be were played in silence."""
    day, interval = milking(study)
    for fault in (
        Fault(interval.start_min + 1, (("V46", "closed"),)),
        Fault(interval.start_min + 1, (("ZZ", "open"),)),
        Fault(5000, (("V46", "open"),)),
    ):
        with pytest.raises(ValueError, match=r"wrong|outside"):
            await rehearse(study.table, study.scenes, day, fault)


def test_litres_equal_the_day_study(study: Routes) -> None:
    """Would fail if the ledger's litres were not those of the day study with the same fault."""
    import numpy as np

    from byrewright.engine import shape as sh
    from byrewright.engine.compiled import with_wrong
    from byrewright.engine.draws import Herd
    from byrewright.engine.draws import day_of as drawn
    from byrewright.engine.simulate import simulate

    day, interval = milking(study)
    ledger = day.ledger
    assert ledger is not None
    wrong = (("V46", "open"),)
    told = day.lost_l(wrong, interval.start_min + 20, interval.start_min + 50)
    compiled = with_wrong(study.plant, ledger.compiled, [dict(wrong)], ledger.rules)
    herd = Herd(study.plant, compiled, ledger.rules, ledger.seed)
    begin = round((interval.start_min + 20) * 60 - compiled.origin_s)
    row = (begin, 0, 0, sh.ROW_ROUTE, 1.0)
    today = drawn(study.plant, compiled, herd, month=ledger.month, day=0, extra=(row,))
    apart = {*ledger.places, "(cows)"}
    tanks = [compiled.vessel(v) for v in compiled.names.vessels if v not in apart]
    cows = compiled.vessel("(cows)")

    def milk(until: int) -> tuple[float, float]:
        items = simulate(compiled, today, compiled.start, until).state.items
        return float(-items[cows, sh.MILK]), float(np.sum(items[tanks, sh.MILK]))

    given, kept = np.subtract(milk(begin + 1800), milk(begin))
    # What the cows gave and no vessel holds has run to the drain: another way to the same litres.
    assert told == pytest.approx((given - kept) / ledger.compiled.milk_kg_l, rel=1e-6)
    assert told * ledger.compiled.milk_kg_l > 0.3 * given


def test_the_served_day_shows_the_fault_in_its_interval_only(study: Routes) -> None:
    """Would fail if a training day forgot its fault, kept it for ever, or stopped at midnight."""
    day, interval = milking(study)
    fault = Fault(interval.start_min + 10, (("V46", "open"),))

    def alarms(now_min: float) -> tuple[str, ...]:
        mode, contacts = at_time(study.table, study.scenes, day.intervals, fault, now_min)
        return active(study.table, mode, contacts)

    assert not alarms(interval.start_min + 9.9)
    assert alarms(interval.start_min + 10) == ("V46_not_closed",)
    assert not alarms(interval.end_min + 1) and not alarms(interval.start_min + 9 + 1440)
    assert alarms(interval.start_min + 11 + 1440) == ("V46_not_closed",)


async def test_other_modes_can_be_played(study: Routes) -> None:
    """Would fail if only the usual modes of the day could be rehearsed."""
    for mode, wrong in (("milking_tank_2", ("V86", "open")), ("wash_tank_1", ("V86", "open"))):
        day = day_of(study.plant).playing(mode)
        interval = next(a for a in day.intervals if a.mode == mode)
        if wrong[1] not in study.scenes[mode].others.get(wrong[0], ()):
            continue
        told = await rehearse(
            study.table,
            study.scenes,
            day,
            Fault(interval.start_min + 1, (wrong,)),
            study.hits,
        )
        assert told.mode == mode and (told.alarm == "V86_not_closed") is bool(told.harm)


def _seen_by(study: Routes, table: Table, wrong: tuple[str, str], mode: str) -> tuple[str, ...]:
    """Tags of the rows that are active with one machine wrong, by the contacts there are."""
    scene = study.scenes[mode]
    return active(table, mode, shown(table, scene, (wrong,)))


def test_each_sensor_taken_out_alarms_no_more(study: Routes) -> None:
    """An alarm was promised after 3 s for valves whose sensor had been taken out of the file."""
    whole = study.table
    _, interval = milking(study)
    scene = study.scenes[interval.mode]
    assert all(s.fitted for s in whole.as_fitted().signals)
    went_unseen = 0
    for machine in dict.fromkeys(s.machine for s in whole.signals):
        signals = tuple(replace(s, fitted=s.fitted and s.machine != machine) for s in whole.signals)
        cut = replace(whole, signals=signals).as_fitted()
        lost = {s.tag for s in whole.signals if s.machine == machine}
        assert not any(lost & {*r.on, *r.off} for r in cut.rows), machine
        for position in scene.others.get(machine, ()):
            before = _seen_by(study, whole.as_fitted(), (machine, position), interval.mode)
            after = _seen_by(study, cut, (machine, position), interval.mode)
            own = {r.tag for r in whole.rows if lost & {*r.on, *r.off}}
            assert set(after) == set(before) - own, (machine, position)
            went_unseen += bool(before) and not after
        right = active(cut, interval.mode, shown(cut, scene, ()))
        assert right == (), machine  # a missing contact must not alarm by itself either
    assert went_unseen > 3


async def test_a_sensor_taken_out_of_the_file_is_not_played(study: Routes) -> None:
    """The rehearsal said 3 s for V46 in a plant whose file has no sensor on it."""
    plant = study.plant
    sensor = next(m.id for m in plant.machines(Senses) if m.measures == "flow" and "milk" in (
        m.at_port or "milk"))  # fmt: skip
    fields = {"V46": {"sensed": False}}
    blind = Routes(changed(plant, drop=(sensor,), **fields), Rulebook())
    day, interval = milking(blind)
    fault = Fault(interval.start_min + 20, (("V46", "open"),))
    told = await rehearse(blind.table, blind.scenes, day, fault, blind.hits)
    assert told.alarm_min is None
    assert told.seen.startswith("nobody")
    look = Rulebook().number("watch.tank_look_min")
    assert told.seen_min == pytest.approx(fault.at_min + look)
    assert 0 < told.litres_until_seen < told.litres_unseen
    fitted = await rehearse(blind.table, blind.scenes, day, fault, blind.hits, proposed=True)
    assert fitted.alarm_min is not None  # what the table proposes would see it
    assert fitted.litres_before < told.litres_until_seen


@pytest.mark.parametrize("drop", ["SN51", ("SN51", "SN52")])
async def test_a_tank_that_is_not_filled_is_not_what_tells(
    study: Routes, drop: str | tuple[str, ...]
) -> None:
    """Without a level on the tank that is filled, that of the other one was told not to rise."""
    gone = (drop,) if isinstance(drop, str) else drop
    blind = Routes(changed(study.plant, drop=gone, V46={"sensed": False}), Rulebook())
    day, interval = milking(blind)
    told = await rehearse(blind.table, blind.scenes, day, Fault(interval.start_min + 20, FAULT),
                          blind.hits)  # fmt: skip
    assert interval.mode == "milking_tank_1" and told.alarm_min is None
    assert "looks into TK1" in told.seen and "TK2" not in told.seen


FAULT = (("V46", "open"),)


@pytest.mark.parametrize(
    ("wrong", "share", "at_most"),
    [
        (("WM1", "full"), 5 / 430, True),
        (("TK1", "full"), 1.0, False),
        (("MP1", "stopped"), 0.5, False),
        (("V81", "open"), 1.0, True),
    ],
)
async def test_no_more_is_told_lost_than_the_network_sends_there(
    study: Routes, wrong: tuple[str, str], share: float, at_most: bool
) -> None:
    """A full vessel of withheld milk, or one of two pumps, was told to lose all of the milk."""
    day, interval = milking(study)
    told = await rehearse(study.table, study.scenes, day, Fault(interval.start_min + 20, (wrong,)),
                          study.hits)  # fmt: skip
    flowed = day.milk_l(told.at_min, interval.end_min)
    assert told.litres_unseen == pytest.approx(share * flowed, rel=0.05)
    assert told.at_most is at_most
