"""A tank that fills and is cooled, against heat balances solved on paper."""

from __future__ import annotations

import math
from typing import Any

import pytest

from byrewright.physics.tank_fill import TankRun, fill_and_cool
from byrewright.standards.rulebook import default_rulebook

RULES = default_rulebook()
KJ_L_K = RULES.number("milk.density_kg_m3") / 1000.0 * RULES.number("milk.cp_kj_kgk")
BY_THE_MINUTE = 0.03  # a step of a minute against the exponential that it stands for


def tank(**of: Any) -> TankRun:
    """A run of a tank of 1000 L at 35 degC; `of` says what differs."""
    usual: dict[str, Any] = {
        "start_l": 1000.0, "start_c": 35.0, "inflow_l_min": lambda _: 0.0, "inflow_c": 35.0,
        "minutes": 60, "cooling_kw": 0.0, "set_c": 3.0,
    }  # fmt: skip
    return fill_and_cool(**(usual | of))


def test_warm_milk_onto_cold_mixes_by_mass() -> None:
    """The blend, which the rules of every region limit, would be another than it is."""
    run = tank(start_c=4.0, inflow_l_min=lambda minute: 10.0 if minute < 50 else 0.0)
    assert run.content_l[0] == 1010.0 and run.content_l[-1] == 1500.0
    assert run.temperature_c[-1] == pytest.approx((1000.0 * 4.0 + 500.0 * 35.0) / 1500.0)
    assert run.warmest_c() == run.temperature_c[-1] and run.cooled_kwh == 0.0


def test_cooling_takes_its_rating_until_the_set_temperature() -> None:
    """Hours of cooling and its energy would not be those of the heat that is in the milk."""
    run = tank(cooling_kw=20.0, minutes=300)
    fall_k_min = 20.0 * 60.0 / (1000.0 * KJ_L_K)
    assert run.temperature_c[9] == pytest.approx(35.0 - 10 * fall_k_min)
    assert run.temperature_c[-1] == pytest.approx(3.0)
    assert run.warmest_c() == run.temperature_c[0]
    assert run.cooled_kwh == pytest.approx(1000.0 * KJ_L_K * 32.0 / 3600.0)
    assert run.minutes_until(4.0) == math.ceil(31.0 / fall_k_min) - 1  # counted from 0
    assert run.minutes_until(2.0) is None


def test_time_to_a_temperature_is_when_it_stays_there() -> None:
    """A tank that is cold between two milkings would count as cold before the second."""
    run = tank(start_c=3.0, cooling_kw=40.0, minutes=200,
               inflow_l_min=lambda minute: 400.0 if minute == 20 else 0.0)  # fmt: skip
    assert run.temperature_c[10] <= 4.0 < run.temperature_c[20]
    cold = run.minutes_until(4.0)
    assert cold is not None and cold > 21 and run.temperature_c[cold - 1] > 4.0


def test_a_chilled_liquid_cools_less_the_nearer_the_milk_is() -> None:
    """Cold milk would be cooled as hard as warm milk, and the last kelvin come too soon."""
    full_k = RULES.number("tank.jacket_full_k")
    run = tank(cooling_kw=20.0, chilled_c=1.0, start_c=1.0 + full_k, set_c=1.0)
    rate_min = 20.0 * 60.0 / full_k / (1000.0 * KJ_L_K)
    over = full_k * math.exp(-rate_min * 60.0)
    assert run.temperature_c[59] - 1.0 == pytest.approx(over, rel=BY_THE_MINUTE)
    half = tank(cooling_kw=20.0, touched=lambda _: 0.5, minutes=30)
    whole = tank(cooling_kw=20.0, minutes=30)
    assert 35.0 - half.temperature_c[-1] == pytest.approx((35.0 - whole.temperature_c[-1]) / 2.0)


def test_milk_below_the_agitator_is_warmed_by_its_wall_alone() -> None:
    """Unstirred milk would be cooled, or be warmed by an agitator that stands."""
    run = tank(least_content_l=1200.0, cooling_kw=20.0, other_heat_kw=1.0, still_kw=lambda _: 0.2)
    assert run.temperature_c[-1] == pytest.approx(35.0 + 0.2 * 3600.0 / (1000.0 * KJ_L_K))
    stirred = tank(least_content_l=1000.0, other_heat_kw=1.0, still_kw=lambda _: 0.2)
    assert stirred.temperature_c[-1] == pytest.approx(35.0 + 1.0 * 3600.0 / (1000.0 * KJ_L_K))
    assert tank(least_content_l=1200.0, other_heat_kw=1.0).temperature_c == stirred.temperature_c


def test_an_empty_tank_waits_for_milk() -> None:
    """A tank without milk would divide by nothing, or take heat out of air."""
    run = tank(start_l=0.0, start_c=20.0, cooling_kw=5.0, other_heat_kw=1.0,
               inflow_l_min=lambda minute: 100.0 if minute == 30 else 0.0)  # fmt: skip
    assert run.temperature_c[29] == 20.0 and run.content_l[29] == 0.0
    kj = 100.0 * KJ_L_K
    assert run.temperature_c[30] == pytest.approx(35.0 + (60.0 * 1.0 - 60.0 * 5.0) / kj)
