"""How often and how long: rates, pairs, spread; and the part on power."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from byrewright.physics.reliability import weibull_mtbf_h
from byrewright.standards.reliability import LIVES
from byrewright.standards.rulebook import Rulebook, default_rulebook
from byrewright.studies.failures.events import events_of
from byrewright.studies.failures.rates import (
    HOURS_A_YEAR,
    ON_CALL,
    Rate,
    life_a_year,
    pair_hours,
    rates_of,
    with_range,
)
from byrewright.studies.failures.study import study_failures
from tests.studies.failing import LARGE, ROWS, changed, example

RULES = default_rulebook()
SAME = 1e-9  # the same product in another order
RARE = 1e-3  # the rare-event form leaves out terms of the order of q


def made(often: float, repair_h: float, life: str = "ac_motor") -> Rate:
    """A rate with the unavailability that follows from it."""
    return Rate(often, repair_h, 0.5, often * repair_h / HOURS_A_YEAR, life)


def test_published_life_becomes_a_rate() -> None:
    """Motor of the published table: eta 100,000 h, shape 1.2: one in 94,066 h of use."""
    assert weibull_mtbf_h(1.2, 100_000) == pytest.approx(94_066, abs=1)
    assert life_a_year("ac_motor", RULES, 3000.0) == pytest.approx(3000 / 94_066, rel=1e-4)


def test_a_vacuum_pump_stops_by_any_of_its_parts() -> None:
    """Motor alone, once in thirty years, would stand for drive, belt, pump and protection too."""
    rate = rates_of(events_of(example(ROWS)), RULES, 3000.0)["VP1 stops"]
    parts = {k for k, _ in rate.shares}
    assert parts == {"ac_motor", "drive", "belt", "vacuum_pump_seizes", "motor_protection"}
    assert rate.a_year == pytest.approx(sum(life_a_year(k, RULES, 3000.0) for k in parts))
    fixed = changed(example(ROWS), VP1={"speed": "fixed", "start": "direct"})
    rates = rates_of(events_of(fixed), RULES, 3000.0)
    assert "drive" not in dict(rates["VP1 stops"].shares)
    assert "VP1 runs at one speed" not in rates
    low, high = rate.range_a_year
    assert low < rate.a_year < high


def test_a_failed_drive_stops_more_often_than_it_holds_one_speed() -> None:
    """The study knew a drive that fails only as a pump at one speed."""
    trips, holds = (life_a_year(k, RULES, 3000.0) for k in ("drive", "drive_holds"))
    assert trips > 5 * holds


def test_regulator_faults_come_as_often_as_published_counts_say() -> None:
    """Faults at 45 % of visits a year apart (Reaseheath, 1995): 1 - (1 - exp(-n))/n = 0.45.

    A visit finds what came since the service before it, at any time of the year between them.
    """
    n = life_a_year("regulator_fault", RULES, 2000.0)
    assert 1 - (1 - math.exp(-n)) / n == pytest.approx(0.45, abs=0.02)


def test_a_moved_valve_in_the_parlour_sticks_more_than_once_in_a_career() -> None:
    """A dry-plant life gave a fault every seventy years."""
    assert 1 / life_a_year("control_valve", RULES, 1400.0) < 25


@given(st.floats(0.01, 2), st.floats(0.5, 24), st.floats(0.01, 2), st.floats(0.5, 24))
def test_pair_is_the_product_of_unavailabilities(n1, r1, n2, r2) -> None:  # type: ignore[no-untyped-def]
    """Two repairable parts in parallel: hours with both down are H q1 q2 (IEC 61078 form)."""
    a, b = made(n1, r1), made(n2, r2)
    expected = HOURS_A_YEAR * a.unavailable * b.unavailable
    assert pair_hours(a, b, 0.0, alike=False) == pytest.approx(expected, rel=SAME)
    down = [r / (HOURS_A_YEAR / n + r) for n, r in ((n1, r1), (n2, r2))]
    exact = HOURS_A_YEAR * down[0] * down[1]
    worst = a.unavailable + b.unavailable
    assert pair_hours(a, b, 0.0, alike=False) == pytest.approx(exact, rel=worst + RARE)


def test_common_cause_of_a_pair() -> None:
    """Beta factor: hours of a pair alike are those of the beta model, rare terms left out."""
    one, beta = made(0.5, 6.0), 0.1
    model = HOURS_A_YEAR * (((1 - beta) * one.unavailable) ** 2 + beta * one.unavailable)
    assert pair_hours(one, one, beta, alike=True) == pytest.approx(model, rel=0.02)


def test_one_cause_comes_as_often_as_to_the_rarer_and_lasts_as_the_quicker_repair() -> None:
    """A tenth of 0.5 a year for 3 h: would fail if the worse machine of a pair set either."""
    a, b = made(0.5, 6.0), made(2.0, 3.0)
    apart = pair_hours(a, b, 0.1, alike=False)
    assert pair_hours(a, b, 0.1, alike=True) - apart == pytest.approx(0.1 * 0.5 * 3.0)
    assert pair_hours(b, a, 0.1, alike=True) - apart == pytest.approx(0.1 * 0.5 * 3.0)


def test_standby_set_counts_by_its_share_of_failed_starts() -> None:
    """Mains out n times a year, q of the starts fail: n q times, until the quicker repair."""
    mains, start = made(3.0, 2.0, "mains"), Rate(0.4, 2.0, 0.5, 0.02, next(iter(ON_CALL)))
    assert pair_hours(mains, start, 0.1, alike=False) == pytest.approx(3.0 * 0.02 * 2.0)
    assert pair_hours(start, mains, 0.1, alike=False) == pytest.approx(3.0 * 0.02 * 2.0)


def test_spread_of_a_single_life_is_its_own_range() -> None:
    """The 5 and 95 % points of one part are those of its life."""
    rates = {"x": made(1.0, 4.0)}
    hours = with_range({("x",): 4.0}, rates, 1)
    assert hours.mean == 4.0
    assert hours.low == pytest.approx(4.0 * 2.718281828 ** (-1.645 * 0.5), rel=0.06)
    assert hours.high == pytest.approx(4.0 * 2.718281828 ** (1.645 * 0.5), rel=0.06)


def test_wet_parts_and_repair_times_follow_the_rules() -> None:
    """The farm's own divisor and repair factor would not count."""
    events = events_of(example(ROWS))
    wet = next(e for e in events if LIVES[e.failure.life].wet)
    plain = rates_of(events, RULES, 2000.0)[wet.id]
    own = rates_of(
        events, Rulebook({"reliability.wet_divisor": 1.0, "failures.repair_factor": 2.0}), 2000.0
    )[wet.id]
    assert plain.a_year == pytest.approx(RULES.number("reliability.wet_divisor") * own.a_year)
    assert own.repair_h == pytest.approx(2 * plain.repair_h)


def test_power_part() -> None:
    """Who carries the controls, how long it is dark, what is shed: one of them would be missing."""
    found = study_failures(example(LARGE), RULES, simulate=False)
    dark = found.finding("failures.dark")
    assert dark.value == example(LARGE).equipment["GE1"].start_s  # type: ignore[attr-defined]
    assert dark.verdict == "holds"
    assert {"power.generator", "power.dip", "power.fuel", "power.ups"} <= {
        f.key for f in found.findings
    }
    shed = found.table("failures.shed").rows
    order = [row[0] for row in shed]
    assert order == sorted(order)
    kept = {row[1]: row[4] for row in shed}
    assert kept["VP1"] == "kept"
    assert "shed first" in str(kept["WH1"])
    assert any(t.key.startswith("power.start_order") for t in found.tables)


def test_slow_generator_outlasts_the_controls() -> None:
    """A set that starts after the battery is empty would pass."""
    late = changed(example(LARGE), GE1={"start_s": 590.0}, US1={"hold_min": 5.0})
    found = study_failures(late, RULES, simulate=False)
    assert found.finding("failures.dark").verdict == "fails"
