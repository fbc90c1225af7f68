"""Rehearsals: a milking day with a wrong valve, watched over a real connection."""

from __future__ import annotations

import itertools
import logging
from collections.abc import Iterator
from pathlib import Path

import pytest

from byrewright.plant.read import read_plant
from byrewright.site.day import day_of
from byrewright.site.rehearse import Act, Fault, rehearse
from byrewright.standards.rulebook import Rulebook
from byrewright.studies.routes.study import Routes

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


def milking(study: Routes) -> tuple[tuple[Act, ...], Act]:
    """The day and its first milking."""
    day, _ = day_of(study.plant)
    return day, next(a for a in day if a.mode.startswith("milking"))


def test_the_day_is_whole_and_in_order(study: Routes) -> None:
    """Would fail if the played day had holes, or milk in it that the duty does not have."""
    from byrewright.results import Notebook
    from byrewright.studies.sizing.context import Bench
    from byrewright.studies.sizing.duty import duty_of

    day, milk_l = day_of(study.plant)
    for before, after in itertools.pairwise(day):
        assert before.end_min == after.start_min
    duty = duty_of(Bench(study.plant, Rulebook(), Notebook("t", "t")))
    assert milk_l(0, 2880) == pytest.approx(duty.milk_l_day, rel=1e-12)  # sums in another order


@pytest.mark.parametrize("protocol", ["modbus", "contacts"])
async def test_litres_before_the_alarm_equal_the_ledger(study: Routes, protocol: str) -> None:
    """Would fail if the litres told were not the milk that flowed from the fault to the alarm."""
    day, act = milking(study)
    _, milk_l = day_of(study.plant)
    fault = Fault(act.start_min + 20.25, (("V46", "open"),))
    told = await rehearse(
        study.table, study.scenes, day, fault, milk_l, study.hits, protocol=protocol
    )  # type: ignore[arg-type]
    delay = study.table.row("V46_not_closed").on_delay_s
    assert told.alarm == "V46_not_closed" and told.harm == "milk to drain or floor"
    assert told.seconds == pytest.approx(delay, abs=SCAN_S + ROUNDING_S)
    assert told.litres_before == milk_l(fault.at_min, told.alarm_min or 0)
    assert told.litres_unseen == milk_l(fault.at_min, act.end_min) > 1000  # a milking's worth
    assert [e.kind for e in told.events if e.kind == "raised"] == ["raised"]


async def test_a_divert_left_at_wash_from_the_first_cow(study: Routes) -> None:
    """Would fail if a fault there from the beginning of milking were not alarmed at once."""
    day, act = milking(study)
    _, milk_l = day_of(study.plant)
    told = await rehearse(
        study.table, study.scenes, day, Fault(act.start_min, (("V40", "to_c"),)), milk_l, study.hits
    )
    assert told.alarm == "V40_not_to_b" and 0 < told.litres_before < 20


async def test_a_valve_without_sensor_is_not_alarmed(study: Routes) -> None:
    """Would fail if the rehearsal alarmed for a valve that nothing looks at."""
    day, act = milking(study)
    _, milk_l = day_of(study.plant)
    blind = study.table.without("V46_not_closed", "SN41_no_flow")
    told = await rehearse(
        blind, study.scenes, day, Fault(act.start_min + 5, (("V46", "open"),)), milk_l, study.hits
    )
    assert told.alarm_min is None and told.litres_before == told.litres_unseen > 1000


async def test_impossible_faults_are_refused(study: Routes) -> None:
    """Would fail if a fault that cannot be were played in silence."""
    day, act = milking(study)
    _, milk_l = day_of(study.plant)
    for fault in (
        Fault(act.start_min + 1, (("V46", "closed"),)),
        Fault(act.start_min + 1, (("ZZ", "open"),)),
        Fault(5000, (("V46", "open"),)),
    ):
        with pytest.raises(ValueError, match=r"wrong|outside"):
            await rehearse(study.table, study.scenes, day, fault, milk_l)
