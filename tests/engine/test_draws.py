"""What chance gives, against what the sources say of it."""

from __future__ import annotations

import numpy as np
import pytest

from byrewright.engine import shape as sh
from byrewright.engine.draws import Cows, milked_share
from byrewright.plant.farm import MilkOutTime
from byrewright.standards.rulebook import Rulebook, default_rulebook
from tests import plants

COWS, SEED = 2000, 3
NEAR_SHARE = 0.02  # four standard errors of a share near 95 % among so many cows
RULES = default_rulebook()


def test_task_times_spread_as_the_source_tells() -> None:
    """Would fail if operators were steadier or wilder than the two seconds either way that the
    source tells: taken as the range of 95 % of tasks."""
    cows = Cows(plants.rotary(60, COWS), RULES, SEED)
    work = cows.milked(0, 0, 6.0, 0.0)[:, sh.C_WORK_S]
    within = np.abs(work - np.median(work)) <= RULES.number("labour.task_spread_s")
    assert abs(within.mean() - 0.9545) < NEAR_SHARE


def test_a_deck_stands_for_the_share_of_time_that_is_stated() -> None:
    """Would fail if a deck that stands for a third of its time were simulated to stand for less:
    milkings would end early in the day."""
    pace_s, share = 8.0, 0.3
    cows = Cows(plants.rotary(60, 5000), RULES, SEED)
    stands = [cows.milked(day, 0, pace_s, share)[:, sh.C_STOP_S].mean() for day in range(4)]
    stood = float(np.mean(stands))
    assert stood / (stood + pace_s) == pytest.approx(share, rel=0.1)  # a thousand stops or so


def test_units_are_kicked_off_at_any_time_that_they_are_on() -> None:
    """Would fail if no unit that is kicked off had milked for a while: little air, little lost."""
    tables = [Cows(plants.rotary(60, 5000), RULES, seed).milked(0, 0, 6.0, 0.0) for seed in (3, 4)]
    table = np.concatenate(tables)
    when = table[:, sh.C_KICK_AT] / table[:, sh.C_ON_S]
    when = when[when < 1.0]
    assert len(when) / len(table) == pytest.approx(RULES.number("milking.kick_off_share"), rel=0.3)
    assert when.mean() == pytest.approx(0.5, abs=0.08)  # four standard errors


def test_milk_is_let_down_after_the_lag() -> None:
    """Would fail if milk flowed at once: the time on is lag, flow and the delay of removal."""
    plant = plants.rotary(60, COWS)
    slow = Cows(plant, Rulebook({"milking.lag_on_s": 25.0}), SEED).drawn(0, 0)
    usual = Cows(plant, RULES, SEED).drawn(0, 0)
    assert (usual[:, sh.C_LAG] == RULES.number("milking.lag_on_s")).all()
    assert (slow[:, sh.C_LAG] == 25.0).all()
    assert (slow[:, sh.C_FLOW_S] < usual[:, sh.C_FLOW_S]).mean() > 0.99


def test_the_stated_yield_is_what_a_cow_gives_until_the_unit_comes_off() -> None:
    """A day's milk would fall short of the herd's by what stays in the udder: 3 % where cows are
    milked four times for 4.8 L."""
    herd = {"yield_l_day": 9.6, "milk_out_time_s": MilkOutTime(mean=400.0, std_dev=112.0)}
    plant = plants.rotary(60, COWS)
    plant = plant.model_copy(update={"herd": plant.herd.model_copy(update=herd)})
    cows = Cows(plant, RULES, SEED)
    table, part = cows.drawn(0, 0), cows.programme.at_place(0).parts[0]
    stated = part.litres_cow * cows.programme.milk_kg_l * cows.factor
    fall, lag = RULES.number("milking.fall_share"), RULES.number("milking.lag_on_s")
    flow_s, rise = table[:, sh.C_FLOW_S], table[:, sh.C_RISE]
    given = table[:, sh.C_KG] * milked_share(table[:, sh.C_ON_S] - lag, flow_s, rise, fall)
    # Cows of so little milk that their flow never passes the threshold are left out of the rule.
    assert given.sum() == pytest.approx(stated.sum(), rel=0.006)
    assert table[:, sh.C_KG].sum() > 1.01 * stated.sum(), "little would show here"
