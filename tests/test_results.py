"""The one shape of answers: verdicts, margins, names and the one serialisation."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from byrewright.results import (
    Finding,
    NotPossible,
    Result,
    ResultBuilder,
    Series,
    Table,
    judge,
    merge,
    worst_first,
)

NUMBERS = st.floats(-1e6, 1e6)
LIMITS = NUMBERS.filter(lambda x: abs(x) > 1e-3)


def finding(key: str, verdict: str = "holds", subject: str = "") -> Finding:
    """A finding with little in it."""
    return Finding(key, subject, key, 1.0, "m", "It is so.", verdict)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("value", "limit", "sense", "verdict"),
    [
        (110.0, 100.0, "at_least", "holds"),
        (102.0, 100.0, "at_least", "tight"),
        (99.0, 100.0, "at_least", "fails"),
        (99.0, 100.0, "at_most", "tight"),
        (101.0, 100.0, "at_most", "fails"),
        (0.0, 0.0, "at_most", "holds"),
        (1.0, 0.0, "at_most", "fails"),
        (None, 100.0, "at_least", "unknown"),
        (100.0, None, "at_least", "unknown"),
        (float("nan"), 100.0, "at_least", "unknown"),
        (5.0, None, "informational", "holds"),
    ],
)
def test_verdicts(value: float | None, limit: float | None, sense: str, verdict: str) -> None:
    """Would fail if a plant outside a limit were passed, or a missing number judged."""
    assert judge(value, limit, sense, 0.05)[0] == verdict  # type: ignore[arg-type]


@given(NUMBERS, LIMITS)
def test_the_two_senses_mirror_each_other(value: float, limit: float) -> None:
    """Would fail if "at most" and "at least" could both fail, or both have room, on one value."""
    least, most = judge(value, limit, "at_least")[1], judge(value, limit, "at_most")[1]
    assert least is not None and most is not None
    assert least == pytest.approx(-most)


def test_no_margin_is_told_of_a_limit_of_nothing() -> None:
    """Would fail if a page said "-100 %" of a limit of zero."""
    assert judge(3.0, 0.0, "at_most")[1] is None


def test_a_result_is_found_by_name_and_serialised_once() -> None:
    """Would fail if two findings of one key could not be told apart in JSON or by `explain`, or a
    statement with no limit were counted as one that holds."""
    notes = ResultBuilder("sizing", "x")
    notes.findings += [finding("a.b", subject="VP1"), finding("a.b", "fails", "VP2")]
    notes.findings.append(replace(finding("a.d"), limit=0.5))
    result = notes.result(seed=3)
    assert result.finding("a.b@VP2").verdict == "fails"
    assert result.worst() == "fails" and result.count()["holds"] == 1
    plain = json.loads(result.to_json())
    assert [f["name"] for f in plain["findings"]] == ["a.b@VP1", "a.b@VP2", "a.d"]
    assert result.unjudged() == 1  # of VP1 nothing is asked: it does not hold
    assert replace(finding("a.e"), value=None).judged  # a tick: seen to be so
    with pytest.raises(KeyError):
        result.finding("a.c")


def test_merging_keeps_everything_in_order() -> None:
    """Would fail if the report lost a study's findings or its seed."""
    one = Result("sizing", "x", findings=(finding("a"),))
    two = Result("day", "x", findings=(finding("b", "tight"),), seed=7, notes=("n", "n"))
    both = merge("pack", "x", (one, two))
    assert [f.key for f in both.findings] == ["a", "b"]
    assert both.seed == 7 and both.notes == ("n",)


BAD = (
    ("L", -1384.0), ("h", -41.0), ("min", -224.0), ("cows", -1.0), ("1/h", -1.0),
    ("kPa", float("nan")), ("L/min", float("inf")),
)  # fmt: skip


@pytest.mark.parametrize(("unit", "value"), BAD)
@pytest.mark.parametrize("where", ["value", "limit", "advised", "table", "series"])
def test_an_impossible_number_is_no_answer(unit: str, value: float, where: str) -> None:
    """A nonsense number would be printed as if it had been worked out."""
    notes = ResultBuilder("day", "a plant")
    if where == "table":
        notes.tables.append(Table("t", "Milkings", ("time",), (unit,), ((1.0,), (value,))))
    elif where == "series":
        notes.series.append(Series("s", "Tanks", (0.0, 1.0), "h", (("in TK1", unit, (1, value)),)))
    else:
        good = Finding("k", "", "Time", 1.0, unit, "So.", "fails")
        notes.findings.append(replace(good, **{where: value}))
    with pytest.raises(NotPossible, match=r"day: .* comes out at .* gives no answer"):
        notes.result()


def test_shares_and_time_are_held_to_what_they_are() -> None:
    """A share above 1, or a time that runs backwards, would be told."""
    notes = ResultBuilder("day", "a plant")
    notes.tables.append(Table("t", "Loads", ("share",), ("",), ((1.2,),)))
    with pytest.raises(NotPossible, match=r"Loads, share comes out at 1\.2"):
        notes.result()
    notes = ResultBuilder("day", "a plant")
    notes.series.append(Series("s", "Tanks", (0.0, 2.0, 1.0), "h", ()))
    with pytest.raises(NotPossible, match="time runs backwards"):
        notes.result()


def test_heat_may_pass_the_other_way() -> None:
    """A day would be withheld because a cooler's liquid, warmer than the milk, warmed it."""
    notes = ResultBuilder("day", "a plant")
    notes.tables.append(Table("t", "Stages", ("heat",), ("kWh",), ((-2.2,),)))
    assert notes.result().tables[0].rows == ((-2.2,),)


def test_what_is_a_difference_may_be_negative() -> None:
    """An answer would be withheld because a spare, a gain or a change is below nothing."""
    notes = ResultBuilder("day", "a plant")
    notes.findings.append(Finding("k", "", "Time left", -9.0, "min", "So.", "fails", "at_least", 0))
    notes.tables.append(Table("t", "What if", ("change",), ("L",), ((-5.0,),)))
    assert notes.result().findings[0].value == -9.0


def test_the_worst_stands_first() -> None:
    """Would fail if what misses its limit by most stood under what misses it by little."""
    some = [
        replace(finding(key, verdict), margin=margin)
        for key, verdict, margin in (
            ("roomy", "holds", 0.4),
            ("near", "holds", 0.1),
            ("said", "holds", None),
            ("little", "fails", -0.02),
            ("much", "fails", -0.7),
            ("missing", "fails", None),
            ("open", "unknown", None),
        )
    ]
    told = [one.key for one in worst_first(some)]
    assert told == ["missing", "much", "little", "open", "near", "roomy", "said"]
