"""What would mend a day, against figures worked by hand."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pytest

from byrewright.plant.plant import Plant
from byrewright.results import Remedy
from byrewright.studies.day import remedies
from tests import plants

PLANT = plants.rotary()  # 60 stalls in 480 s, three operators at 14 s a cow


def to(found: tuple[Remedy, ...]) -> dict[str, object]:
    """What is asked, by machine and figure."""
    return {f"{r.of}.{r.figure}": r.to for r in found}


def deck(stalls: int, turn_s: float) -> Plant:
    """The plant with another deck."""
    one = PLANT.equipment["PF1"].model_copy(update={"stalls": stalls, "turn_s": turn_s})
    return PLANT.model_copy(update={"equipment": {**PLANT.equipment, "PF1": one}})


def session(**changed: Any) -> Any:
    """A milking of 1000 cows that took a tenth longer than its 5 h."""
    usual: dict[str, Any] = {
        "name": "first", "hours": 5.5, "target_h": 5.0, "cows": range(1000), "operators": 3,
        "begun_s": 0.0, "last_off_s": 5.5 * 3600,
    }  # fmt: skip
    return SimpleNamespace(**usual | changed)


@pytest.mark.parametrize(
    ("changed", "stalls"),
    [
        ({}, 66.0),  # a tenth more
        ({"hours": 5.05}, 66.0),  # never less than that
        ({"hours": 6.5}, 78.0),
        ({"hours": 9.0}, 90.0),  # never more than half as many again
        ({"operators": 1, "cows": range(1221)}, 66.0),  # 4.748 h of hands, 95 % of 5 h are 4.75
        ({"operators": 1, "cows": range(1222)}, None),
        ({"last_off_s": 5.0 * 3600}, None),  # late only as it began late
        ({"last_off_s": 5.0 * 3600 + 1, "begun_s": 0.5}, 66.0),
        ({"begun_s": 1.0, "last_off_s": 5.0 * 3600 + 1}, None),
    ],
)
def test_more_stalls_by_the_time_a_milking_was_late(
    changed: dict[str, Any], stalls: float | None
) -> None:
    """Would fail if a late milking asked for too few stalls, or for some where hands are short."""
    plant = deck(60, 480.0) if changed.get("operators") != 1 else deck(60, 900.0)
    assert to(remedies.sooner(plant, session(**changed))) == (
        {"PF1.stalls": stalls} if stalls else {}
    )


@pytest.mark.parametrize(("turn_s", "asked"), [(288.7, True), (288.6, False)])
def test_a_deck_that_hands_only_just_serve_is_not_made_larger(turn_s: float, asked: bool) -> None:
    """Sixty stalls at 14 s by three people are 280 s, which may be 97 % of a turn."""
    assert bool(remedies.sooner(deck(60, turn_s), session())) is asked


def test_a_turn_grows_by_a_hundredth_and_a_fifth_of_the_cows_too_many() -> None:
    """The farm wishes a tenth at most: at a fifth, 480 s become 480 x (1.01 + 0.2 x 0.1)."""
    assert to(remedies.slower(PLANT, 0.2)) == {"PF1.turn_s": 495.0}
    assert remedies.slower(PLANT, 0.1) == ()


def test_a_vessel_takes_a_tenth_more_than_came_together_in_it() -> None:
    """Would fail if a vessel that ran over by far were mended by its volume alone."""
    run: Any = SimpleNamespace(plant=PLANT)
    assert to(remedies.roomier(run, "BT1", 700.0)) == {"BT1.volume_l": 800.0}
    assert to(remedies.roomier(run, "BT1", 1200.0)) == {"BT1.volume_l": 1500.0}
    assert to(remedies.roomier(run, "BT1", 1201.0)) == {
        "BT1.volume_l": 1500.0,
        "MP3.flow_l_min": 230.0,
        "MP4.flow_l_min": 230.0,
    }  # fmt: skip  (1.25 x 180 = 225)
    assert to(remedies.fuller(run, "BT1")) == {"BT1.volume_l": 1000.0}
    assert remedies.roomier(run, "VP1", 700.0) == remedies.fuller(run, "nothing") == ()


@pytest.mark.parametrize(
    ("heater_c", "cold_c", "draw_l", "asked"),
    [
        (82.4, 10.0, 0.0, {"WH1.heater_kw": 40.0}),  # 75/72.4, but a tenth at least: 39.6
        (60.0, 10.0, 0.0, {"WH1.heater_kw": 54.0}),  # 36 x 75/50
        (30.0, 10.0, 0.0, {"WH1.heater_kw": 72.0}),  # twice at most
        (82.5, 10.0, 750.0, {"WH1.volume_l": 2000.0}),  # hot: 1.25 x 1500 = 1875
        (82.5, 10.0, 749.0, {}),
        (10.5, 10.0, 0.0, {"WH1.heater_kw": 72.0}),
    ],
)
def test_heaters_grow_by_how_cold_they_stood(
    heater_c: float, cold_c: float, draw_l: float, asked: dict[str, float]
) -> None:
    """The heater of 36 kW and 1500 L holds 85 degC, and counts as hot 2.5 K under it."""
    assert to(remedies.hotter_heaters(PLANT, 60.0, heater_c, cold_c, draw_l)) == asked


@pytest.mark.parametrize(("bar", "litres"), [(5.9, 800.0), (5.5, 1200.0), (3.0, 1500.0)])
def test_an_air_receiver_grows_by_how_far_its_pressure_fell(bar: float, litres: float) -> None:
    """500 L from 6.5 bar, 6 wanted: 1.1 x 0.6/0.5 is 1.32, 1.1 x 1/0.5 is 2.2, three at most."""
    found = to(remedies.more_air(PLANT, 6.0, bar))
    assert found.pop("AV1.volume_l") == litres
    assert found == {"AC1.capacity_l_min_free": 500.0, "AC2.capacity_l_min_free": 500.0}


def test_cows_are_brought_up_as_many_as_wait_no_longer_than_is_good() -> None:
    """92 % of what is milked in that time; five at least."""
    assert to(remedies.fewer_at_a_time(PLANT, 300.0, 40.0)) == {"YG1.yard_cows": 184.0}
    assert to(remedies.fewer_at_a_time(PLANT, 30.0, 10.0)) == {"YG1.yard_cows": 5.0}


def test_stalls_come_in_pairs_for_each_row() -> None:
    """Two rows of thirty: a tenth more are 66, built as 68."""
    two = PLANT.equipment["PF1"].model_copy(update={"rows": 2, "layout": "parallel"})
    plant = PLANT.model_copy(update={"equipment": {**PLANT.equipment, "PF1": two}})
    assert to(remedies.sooner(plant, session())) == {"PF1.stalls": 68.0}
