"""Sizing: lines that no pump's delivery covers."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from byrewright.drafting.draft import intent_of
from byrewright.drafting.sheet import NOT_SIZED
from byrewright.drafting.topology import lay_out
from byrewright.plant.brief import read_brief
from byrewright.plant.plant import Plant
from byrewright.plant.read import read_plant
from byrewright.results import Result
from byrewright.standards.pipes import ISO_2037, least_milk_bore_mm
from byrewright.studies.sizing import headlines, size

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"
BY_HAND = 5e-3  # findings are compared with arithmetic on figures written with three places


@pytest.fixture(scope="module", params=["rotary_spring_ice", "rows_two_by_twenty"])
def sized(request: pytest.FixtureRequest) -> tuple[Plant, Result]:
    """An example plant and its sizing."""
    plant = read_plant(EXAMPLES / request.param / "plant.yaml").plant
    return plant, size(plant)


def test_velocity_is_flow_over_area(sized: tuple[Plant, Result]) -> None:
    """A unit slip would make a bore wrong by a factor of ten."""
    plant, result = sized
    bores = {p.id: p.bore_mm for p in plant.pipes}
    for key in ("receiving.suction", "storage.collection_line", "wash.return_line"):
        for one in (f for f in result.findings if f.key == key):
            flow = next(float(i.value) for i in one.inputs if i.symbol == "q")
            by_hand = flow / 60_000 / (math.pi / 4 * (bores[one.subject] / 1000) ** 2)
            assert one.value == pytest.approx(by_hand, rel=BY_HAND)


def test_a_tanker_is_not_filled_through_a_straw(sized: tuple[Plant, Result]) -> None:
    """The collection line would follow the milk coming in and not the tanker's rate."""
    plant, result = sized
    lines = [f for f in result.findings if f.key == "storage.collection_line"]
    assert lines and all(f.verdict == "holds" for f in lines)
    bores = {p.id: p.bore_mm for p in plant.pipes}
    assert min(bores[f.subject] for f in lines) > 2 * least_milk_bore_mm(ISO_2037) - 1


def test_no_milk_line_is_under_the_least_tube(sized: tuple[Plant, Result]) -> None:
    """A small plant would get a delivery line that cannot be bought or washed."""
    _, result = sized
    keys = ("delivery.pipe.velocity", "receiving.suction", "storage.collection_line")
    for one in result.findings:
        if one.key in keys and one.advised is not None:
            assert one.advised >= least_milk_bore_mm(ISO_2037)


@pytest.mark.parametrize("name", ["rotary_round_the_clock", "rows_two_by_twenty"])
def test_every_drafted_pipe_is_sized_or_says_why_not(name: str) -> None:
    """A drafted bore would be a first guess that nobody looked at."""
    brief = read_brief(EXAMPLES / name / "brief.yaml")
    plant, sheet = lay_out(intent_of(brief.brief), {})
    sized_ones = {f.target[0] for f in size(plant).findings if f.target}
    for family, members in sheet.families.items():
        assert sized_ones & set(members) or family in NOT_SIZED, family


def test_headlines_are_one_a_key_and_judged_where_they_can_be(
    sized: tuple[Plant, Result],
) -> None:
    """The first screen would show a rule set that is not held, or a topic twice."""
    _, result = sized
    told = headlines(result)
    assert len({f.key for f in told}) == len(told) > 15
    pump = next(f for f in told if f.key == "vacuum.pump.capacity")
    assert pump.sense == "at_least"
