"""Trends: a line through visits, when it meets a limit, and that it starts anew after a repair."""

from __future__ import annotations

import datetime as dt
import random
import time
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from byrewright.plant.read import read_plant_text
from byrewright.site.checks.check import Check, Limit
from byrewright.site.log import Entry, Log, New, Owner
from byrewright.site.upkeep.line import SHARE, Point, crossing, line_of
from byrewright.site.upkeep.plan import plan_of
from byrewright.site.upkeep.trends import needs_checks, table_of, trends_of
from byrewright.standards.rulebook import default_rulebook
from tests.plant.small import SMALL

TODAY = dt.date(2026, 6, 1).toordinal()
LEAK = Check("system_leak", "Vacuum and airflow", "Leakage", "", "", "A2", "", "L/min", 50.0,
             (Limit("at_most", 200.0, "a rule", "derived"),), 5.0, False)  # fmt: skip
DAYS = ("2025-01-10", "2025-07-10", "2026-01-10", "2026-05-10")
NOISE_DRAWS = 1500
WITHIN = 0.025
"""Three times the standard error of a share of 0.9 in so many draws."""


def entered(tmp_path: Path, values: list[float], doubt: float | None = 5.0,
            parts: tuple[tuple[str, str], ...] = ()) -> list[Entry]:  # fmt: skip
    """A log in which the leakage was read at the visits; `parts` are days and what was renewed."""

    def at(day: str) -> float:
        return time.mktime(dt.date.fromisoformat(day).timetuple()) + 43200

    log = Log(tmp_path / "log.sqlite", Owner("plant-1", "(invented) one"))
    try:
        log.append(
            New("test", at(day), "", "anna", {
                "check": "system_leak", "value": value, "unit": "L/min", "title": "Leakage",
                "outcome": "read", "uncertainty": doubt,
            })
            for day, value in zip(DAYS, values, strict=False)
        )  # fmt: skip
        log.append(New("part", at(d), "", "anna", {"what": w, "action": "found", "age": 900.0,
                       "failed": 0, "worn": 1, "good": 0, "renewed": True})
                   for d, w in parts)  # fmt: skip
        return log.entries()
    finally:
        log.close()


def test_nine_of_ten_later_readings_lie_in_the_interval() -> None:
    """Would fail if a customer were promised a narrower range than readings keep."""
    rng, inside = random.Random(11), 0
    for _ in range(NOISE_DRAWS):
        slope, noise = rng.uniform(-0.02, 0.02), rng.uniform(0.5, 3.0)
        days = sorted(rng.sample(range(1000), rng.choice((3, 4, 6))))
        line = line_of([Point(d, 90 + slope * d + rng.gauss(0, noise)) for d in days])
        assert line is not None
        later = rng.uniform(1000, 1800)
        inside += abs(90 + slope * later + rng.gauss(0, noise) - line.at(later)) <= line.band(later)
    assert inside / NOISE_DRAWS == pytest.approx(SHARE, abs=WITHIN)


@given(
    st.lists(st.tuples(st.integers(0, 900), st.floats(40, 60)), min_size=3, max_size=8,
             unique_by=lambda p: p[0]),
    st.floats(30, 70), st.sampled_from(("at_least", "at_most")),
)  # fmt: skip
def test_the_dates_are_those_on_which_the_band_meets_the_limit(
    told: list[tuple[int, float]], limit: float, sense: str
) -> None:
    """Would fail if the date, or its range, were not that of the line that is drawn."""
    line = line_of([Point(d, v, 0.5) for d, v in told])
    assert line is not None
    found = crossing(line, limit, sense, 900)  # type: ignore[arg-type]
    sign = 1 if sense == "at_most" else -1
    if found.soonest is None:
        assert all(sign * (limit - line.at(d)) > line.band(d) for d in range(900, 20000, 500))
    elif found.soonest > 900:
        gap = sign * (limit - line.at(found.soonest))
        assert gap == pytest.approx(line.band(found.soonest), rel=1e-3)
    if found.day is not None and found.day > 900:
        assert line.at(found.day) == pytest.approx(limit, rel=1e-6)
        assert found.soonest is not None and found.latest is not None
        assert found.soonest <= found.day <= found.latest


def test_a_leak_that_grows_gets_a_date_and_a_range(tmp_path: Path) -> None:
    """Would fail if a test that drifts towards its limit were called sound until it fails."""
    (one,), few = trends_of([LEAK], entered(tmp_path, [90.0, 112.0, 128.0, 141.0]), TODAY)
    assert few == 0 and one.crosses is not None and one.crosses.day is not None
    assert one.line is not None and one.line.at(one.crosses.day) == pytest.approx(200.0)
    assert dt.date.fromordinal(int(one.crosses.day)).year == 2027
    assert one.verdict == "holds" and "about 2027-11" in one.says and "between 2027" in one.says
    later = trends_of([LEAK], entered(tmp_path, []), dt.date(2027, 2, 1).toordinal())[0][0]
    assert later.verdict == "tight", "within a year"


def test_what_no_limit_is_known_for_is_kept_and_does_not_hold(tmp_path: Path) -> None:
    """Would fail if a current that doubles, which nothing is known to limit, were told as sound."""
    (one,), _ = trends_of([replace(LEAK, limits=())], entered(tmp_path, [3, 4, 5, 6]), TODAY)
    assert one.word == table_of([one]).rows[0][-1] == "kept"


def test_too_few_visits_tell_no_trend_and_say_so(tmp_path: Path) -> None:
    """Would fail if two readings were drawn as a trend."""
    entries = entered(tmp_path, [90.0, 150.0])
    assert trends_of([LEAK], entries, TODAY) == ([], 1)
    assert not needs_checks(entries)
    plan = plan_of(read_plant_text(SMALL).plant, default_rulebook(), entries,
                   dt.date(2026, 6, 1), checks=[LEAK])  # fmt: skip
    assert any("1 test was read at fewer than 3 visits" in n for n in plan.result.notes)


def test_a_trend_starts_anew_when_the_part_was_renewed_or_the_fault_mended(tmp_path: Path) -> None:
    """Would fail if the wear of a part that is gone were laid to the new one."""
    entries = entered(tmp_path, [90.0, 130.0, 170.0, 60.0], parts=(("2026-03-01", "seal"),))
    assert trends_of([LEAK], entries, TODAY) == ([], 1)
    (tmp_path / "log.sqlite").unlink()
    assert trends_of([LEAK], entered(tmp_path, [90.0, 130.0, 230.0, 60.0]), TODAY) == ([], 1)


def test_readings_all_alike_without_an_uncertainty_tell_no_range(tmp_path: Path) -> None:
    """Would fail if a row of equal readings gave a date of no width, or a division by nothing."""
    (one,), _ = trends_of([LEAK], entered(tmp_path, [90.0] * 4, doubt=None), TODAY)
    assert one.verdict == "unknown" and "plus or minus" in one.says
