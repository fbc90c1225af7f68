"""Tables of failures, on figures that are made up."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import pytest

from byrewright.studies.failures import tables
from byrewright.studies.failures.answer import Answer
from byrewright.studies.failures.worth import Gain
from tests.studies.test_failures_worth_by_hand import (
    GOES,
    RUN,
    analysis,
    case,
    cost,
    rate,
    then,
    weighed,
)

OF = analysis(base=Answer(True, spare_l_min=500.0))
AIR = Answer(True, spare_l_min=500.0)


@pytest.mark.parametrize(("answer", "hours", "litres", "fields", "cells"), [
    (AIR, 0.0, 0.0, {}, "--------"), (Answer(False), 0.0, 0.0, {}, "x-------"),
    (Answer(True, RUN, spare_l_min=500.0), 0.0, 0.0, {}, "-~------"),
    (Answer(True, pace=0.9, spare_l_min=500.0), 0.0, 0.0, {}, "--~-----"),
    (Answer(False, pace=0.9), 0.0, 0.0, {}, "x-------"),
    (Answer(True, spare_l_min=498.0), 0.0, 0.0, {}, "---~----"),
    (Answer(True, spare_l_min=499.5), 0.0, 0.0, {}, "--------"),
    (Answer(True, spare_l_min=0.0), 0.0, 0.0, {}, "---x----"),
    (Answer(True, spare_l_min=1.0), 0.0, 0.0, {}, "---~----"),
    (AIR, 0.0, 0.0, {"vacuum_before_kpa": 42.0, "vacuum_kpa": 41.6}, "---~----"),
    (AIR, 0.0, 0.0, {"vacuum_before_kpa": 42.0, "vacuum_kpa": 41.8}, "--------"),
    (AIR, 0.0, 0.0, {"milk_c": 4.6, "milk_before_c": 4.0}, "----~---"),
    (AIR, 0.0, 0.0, {"milk_c": 4.4, "milk_before_c": 4.0}, "--------"),
    (AIR, 0.0, 0.0, {"milk_c": 9.1, "milk_before_c": 4.0}, "----x---"),
    (AIR, 0.0, 0.0, {"milk_c": 8.9, "milk_before_c": 4.0}, "----~---"),
    (AIR, 0.0, 1.0, {}, "-----x--"),
    (AIR, 0.0, 0.0, {"wash_before_c": 70.0, "wash_c": 67.9}, "------~-"),
    (AIR, 0.0, 0.0, {"wash_before_c": 70.0, "wash_c": 68.1}, "--------"),
    (AIR, 0.0, 0.0, {"wash_before_c": 70.0, "wash_c": 49.9}, "------x-"),
    (AIR, 0.0, 0.0, {"wash_before_c": 70.0, "wash_c": 50.1}, "------~-"),
    (AIR, 0.0, 0.0, {"wash_before_c": 0.0, "wash_c": -40.0}, "--------"),
    (AIR, 1.1 / 60, 0.0, {}, "-------~"), (AIR, 0.9 / 60, 0.0, {}, "--------"),
    (AIR, 30.1 / 60, 0.0, {}, "-------x"), (AIR, 29.9 / 60, 0.0, {}, "-------~"),
])  # fmt: skip
def test_a_failure_by_its_consequences(
    answer: Answer, hours: float, litres: float, fields: dict[str, float], cells: str
) -> None:
    """Would fail if what is felt were called nothing, what is bad some, or the mildest moment were
    told."""
    one = cost(case("VP1", answer), hours, litres)
    assert "".join(tables._cells(OF, one, (then(**fields),))) == cells
    calm = then(wash_before_c=70.0, wash_c=70.0) if "wash_c" in fields else then()
    assert "".join(tables._cells(OF, one, (calm, then(**fields)))) == cells


def test_failures_in_order_with_what_they_cost(monkeypatch: pytest.MonkeyPatch) -> None:
    """Ten litres at half and two people for half an hour at 20: would fail if money left out one of
    them, hours were told as minutes, or a figure of no milking were told."""
    monkeypatch.setattr(tables, "declared", lambda *_: SimpleNamespace(text="runs", how=""))
    at = then("10:00", cows_h=45.4, cows_h_before=90.0, vacuum_kpa=41.26, milk_c=4.46, out_c=5.04,
              loss_after_min=2.34)  # fmt: skip
    dry = then("11:00", vacuum_kpa=1e3)
    one = cost(case("VP1", Answer(True, RUN, spare_l_min=99.6), hand_min=4.04), 0.5, 10.0, 0.1234,
               worst=at, fallen=6.6, again_min=3.04, range_a_year=(0.05, 0.3))  # fmt: skip
    costs = (one, cost(case("LP1"), 0.25, worst=dry), cost(case("WH1", GOES)))
    scripts: Any = {c.case.event.id: None for c in costs}
    rows = tables.ranked(weighed(*costs), scripts, "EUR", 0.5, 20.0, 2).rows
    assert rows[0][:9] == (1, "VP1 fails", "by hand", "10:00", 45, 41.3, 100, 4.5, 5.0)
    assert rows[0][9:] == (4.0, 7, 3.0, 30.0, 2.3, 10, 25.0, 0.123, "0.05 to 0.3", 0.0617, "runs")
    assert rows[1][:9] == (2, "LP1 fails", "stops", "11:00", "-", "-", "-", "-", "-")
    assert rows[1][12:16] == (15.0, "-", 0, 10.0) and rows[2][3:6] == ("-", "-", "-")
    assert rows[2][2] == "continues" and rows[2][13] == "-"
    slow = Answer(True, pace=0.99)
    assert tables.standing(case("VP1", slow)) == "slower"


def test_the_matrix_lists_what_changes_something(monkeypatch: pytest.MonkeyPatch) -> None:
    """Would fail if a failure without effect were listed, or one that is not simulated were said to
    be carried."""
    monkeypatch.setattr(tables, "declared", lambda c, _: SimpleNamespace(
        how="not simulated" if c.event.machine == "WH1" else ""))  # fmt: skip
    costs = [cost(case(t, a)) for t, a in (("WH1", AIR), ("VP1", Answer(False)), ("LP1", AIR),
                                           ("AC1", AIR))]  # fmt: skip
    scripts: Any = {c.case.event.id: None for c in costs}
    made = tables.matrix(OF, weighed(*costs), {}, scripts)
    assert [r[0] for r in made.rows] == ["VP1 fails"]
    assert "3 more failures" in made.note and ": 2 were simulated" in made.note
    assert "1 are not simulated" in made.note


def test_bad_moments_that_leave_a_mark() -> None:
    """Would fail if a moment were listed that leaves the day as it was."""
    of = analysis(case("VP1"), case("VP2"))
    felt = then("10:00", rejoined=False, wash_c=67.04, litres=2.6, delay_min=1.26, stood_min=0.44,
                energy_cost=0.126)  # fmt: skip
    made = tables.moments(of, {"VP1 fails": (then(), felt), "VP2 fails": (then(),)})
    (row,) = made.rows
    assert row[:2] == ("VP1 fails", "10:00") and row[6:] == (67.0, "-", 3, 1.3, 0.4, 0.13)
    made = tables.moments(of, {"VP1 fails": (replace(felt, wash_c=0.0),)})
    assert made.rows[0][6] == "-"


@pytest.mark.parametrize(("hours", "litres", "worth"), [
    (0.49, 199.0, False), (0.51, 0.0, True), (0.0, 201.0, True), (0.5, 0.0, True),
    (0.0, 200.0, True),
])  # fmt: skip
def test_a_change_is_worth_half_an_hour_or_200_litres(
    hours: float, litres: float, worth: bool
) -> None:
    """Would fail if milk alone were worth nothing, or time alone."""
    one = Gain("a second one", "VP1", hours, litres, None)
    plain = tables.gain_table([one], "EUR")
    assert (plain.rows[0][4] == "yes") == worth and len(plain.rows[0]) == 5
    priced = tables.gain_table([one, replace(one, cost=900.0)], "EUR")
    assert [r[5] for r in priced.rows] == ["-", 900.0] and priced.units[-1] == "EUR"
    assert "each unit of cost" in priced.note and "no costs" in plain.note


def test_parts_for_the_shelf() -> None:
    """Would fail if a part that nobody misses were kept, two machines' needs were not added up, or
    the part with least at stake came first."""
    names = (("VP1", "belt", GOES, 1.0, 0.0), ("VP2", "belt", GOES, 0.0, 5.0),
             ("LP1", "seal", Answer(False), 0.0, 0.0), ("AC1", "hose", GOES, 0.0, 0.0),
             ("WH1", "", GOES, 9.0, 0.0))  # fmt: skip
    costs = []
    for tag, part, answer, hours, litres in names:
        one = case(tag, answer)
        one.event.failure.part = part  # type: ignore[misc]
        costs.append(cost(one, hours, litres, 2.0))
    of = analysis(*(c.case for c in costs))
    made = tables.shelf(of, weighed(*costs)).rows
    assert [(r[0], r[2], r[3], r[4]) for r in made] == [
        ("belt", "VP1, VP2", 1.0, 2.0), ("seal", "LP1", 0.5, 0.0)]  # fmt: skip


def test_what_is_seen_and_done() -> None:
    """Would fail if an act were told twice, or what its kind has people do were left out."""
    one = case("VP1", Answer(True, RUN), hand_min=4.04)
    of = analysis(one, rates={one.event.id: rate()})
    more = {one.event.id: RUN}
    (row,) = tables.to_do(of, more, weighed(cost(one))).rows
    assert row == ("VP1 fails", "it hums", "1. run MP3 by hand; 2. change it", 4.0, 4.0)
    (row,) = tables.ones(of, [case("VP1")], "k", "t", "n").rows
    assert row[:4] == ("VP1 fails", "nothing runs", 0.5, 4.0)
