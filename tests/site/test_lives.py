"""Intervals that learn, parts for a visit, and what a missed service costs."""

from __future__ import annotations

import datetime as dt
import math
import random
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from byrewright.errors import ByrewrightError
from byrewright.plant.machine import kinds
from byrewright.plant.read import read_plant_text
from byrewright.plant.upkeep import service_of
from byrewright.results import Result, Table
from byrewright.site.log import Log, Owner
from byrewright.site.upkeep.kit import kit_of
from byrewright.site.upkeep.lives import POINT_95, Found, learn, log_chance
from byrewright.site.upkeep.plan import enter, plan_of
from byrewright.site.upkeep.risk import risks_of
from byrewright.standards.reliability import LIVES
from byrewright.standards.rulebook import Rulebook, default_rulebook
from byrewright.studies.failures.events import events_of
from tests.plant.small import SMALL

RULES = default_rulebook()
GRID = 0.01
"""Relative: the grid against the formula in closed form."""
DRAWS, WITHIN = 400, 0.05
"""Three standard errors of a share of 0.9 in so many draws."""


def test_each_way_of_being_found_has_its_chance() -> None:
    """Would fail if a part still good counted as one that broke; against scipy's Weibull."""
    beta, eta, age = 2.2, 1500.0, 900.0
    one = stats.weibull_min(beta, scale=eta)
    shape, life = np.array([[beta]]), np.array([[eta]])
    for found, told in (
        (Found(age, failed=2), 2 * one.logpdf(age)),
        (Found(age, worn=3), 3 * one.logcdf(age)),
        (Found(age, good=5), 5 * one.logsf(age)),
    ):
        assert log_chance(found, shape, life)[0, 0] == pytest.approx(told)


def test_without_findings_the_interval_is_the_usual_one() -> None:
    """Would fail if an interval moved by itself, or its range were not that of the prior."""
    middle, low, high, shape = learn(1200.0, [], RULES)
    assert (middle, low, high) == pytest.approx((1200.0, 600.0, 2400.0), rel=GRID)
    assert shape == pytest.approx(2.0, rel=GRID)


def test_with_a_known_shape_the_interval_is_that_of_the_exponential() -> None:
    """Would fail if the grid did not do Bayes' rule; against a sum over the scale alone."""
    rules = Rulebook({"upkeep.wear_shape": 1.0})
    found = [Found(700.0, failed=3), Found(1200.0, good=9)]
    middle, low, high, _ = learn(1000.0, found, rules)
    life = 1000.0 * np.exp(np.linspace(-4, 4, 20001) * math.log(2.0) / POINT_95)
    rate = -math.log(0.9) / life
    told = -0.5 * (np.log(life / 1000.0) / (math.log(2.0) / POINT_95)) ** 2
    told = told + 3 * np.log(rate) - rate * (3 * 700.0 + 9 * 1200.0)
    share = np.cumsum(np.exp(told - told.max()))
    points = np.interp((0.5, 0.05, 0.95), share / share[-1], life)
    assert (middle, low, high) == pytest.approx(tuple(points), rel=GRID)


def test_nine_of_ten_true_lives_lie_in_the_interval() -> None:
    """Would fail if the range shown were narrower than what is known."""
    rng, inside = random.Random(3), 0
    for _ in range(DRAWS):
        life = 1000.0 * math.exp(rng.gauss(0, math.log(2.0) / POINT_95))
        shape = 2.0 * math.exp(rng.gauss(0, math.log(3.5 / 1.2) / (2 * POINT_95)))
        eta = life / (-math.log(0.9)) ** (1 / shape)
        ends = [rng.weibullvariate(eta, shape) for _ in range(20)]
        worn = sum(e <= 1000.0 for e in ends)
        _, low, high, _ = learn(1000.0, [Found(1000.0, worn=worn, good=20 - worn)], RULES)
        inside += low <= life <= high
    assert inside / DRAWS == pytest.approx(0.9, abs=WITHIN)


def test_what_was_found_moves_the_due_date(tmp_path: Path) -> None:
    """Would fail if a farm's own record never reached its plan, or stretched what the law fixes."""
    plant, log = read_plant_text(SMALL).plant, Log(tmp_path / "l.sqlite", Owner("p", "p"))
    today = dt.date(2026, 6, 1)
    try:
        enter(log, plant, ["VP1=1000"], ["VP1: belts and coupling"], "anna", dt.date(2026, 1, 1))
        enter(log, plant, ["VP1=1600"], [], "anna", dt.date(2026, 5, 31))
        before = plan_of(plant, RULES, log.entries(), today)
        enter(log, plant, [], [], "anna", today,
              found=["VP1: belts and coupling: 4 worn at 300 h"])  # fmt: skip
        after = plan_of(plant, RULES, log.entries(), today)
    finally:
        log.close()

    def belts(plan: object) -> object:
        return next(d for d in plan.dues if d.task.what == "belts and coupling")  # type: ignore[attr-defined]

    old, new = belts(before), belts(after)
    assert new.task.every_h < 400 < old.task.every_h == 500  # type: ignore[attr-defined]
    assert new.soonest <= new.day <= new.latest and new.day < old.day  # type: ignore[attr-defined]
    row = after.result.table("service.lives").rows[0]
    assert row[1:3] == ("belts and coupling", 500.0) and row[8:] == (0, 4, 0)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("VP1: belts and coupling: 4 worn", "such as"),
        ("VP1: belts and coupling: 4 lost at 300 h", "failed, worn or good"),
        ("VP1: belts and coupling: 4 worn at -3 h", "such as"),
        ("VP1: belts and coupling: 4 worn at 300 days", "counted in h"),
        ("VP1: polish: 4 worn at 300 h", "no such service; it has"),
        ("VP9: belts: 4 worn at 300 h", "no machine VP9"),
    ],
)
def test_what_was_found_is_written_so_or_refused(tmp_path: Path, text: str, words: str) -> None:
    """Would fail if a slip of the finger became a part's life."""
    plant, log = read_plant_text(SMALL).plant, Log(tmp_path / "l.sqlite", Owner("p", "p"))
    try:
        with pytest.raises(ByrewrightError, match=words):
            enter(log, plant, ["VP1=5"], [], "anna", dt.date(2026, 6, 1), found=[text])
        assert log.home.identity() is None, "nothing was entered"
    finally:
        log.close()


def test_the_kit_counts_what_the_plant_has(tmp_path: Path) -> None:
    """Would fail if somebody drove to a visit with parts for one of many units."""
    plant, log = read_plant_text(SMALL).plant, Log(tmp_path / "l.sqlite", Owner("p", "p"))
    try:
        enter(log, plant, ["VP1=1000"], [], "anna", dt.date(2024, 1, 1))
        plan = plan_of(plant, RULES, log.entries(), dt.date(2026, 6, 1))
    finally:
        log.close()
    kit = kit_of(plant, plan.visits[0])
    units = next(m for m in plant.equipment.values() if m.kind == "milking_unit")
    told = {(r[0], r[1]): r[2] for r in kit.rows}
    assert told["short pulse tube", "Milking units"] == 4 * units.count
    assert kit_of(plant, None).rows == ()


def test_every_part_and_life_that_a_service_names_is_its_own() -> None:
    """Would fail if a service claimed to prevent what its kind cannot suffer."""
    for kind, one in kinds().items():
        lives = {k for f in one.FAILURES for k in (f.life, *f.also)}
        for asked in one.UPKEEP:
            assert set(asked.prevents) <= lives, f"{kind}: {asked.what}"
            for _, many in asked.counts:
                assert many in RULES or hasattr(one, many) or many in one.model_fields
        names = [n.casefold() for u in one.UPKEEP for n in (u.what, *u.was)]
        assert len(set(names)) == len(names), f"{kind}: one name for two services"


def test_a_service_is_known_in_capitals_too() -> None:
    """Would fail if "Change sock", as the due list begins it, were no service."""
    plant = read_plant_text(SMALL).plant
    one = next(m for m in plant.equipment.values() if m.upkeep())
    asked = one.upkeep()[0]
    assert service_of(one, asked.what.upper()) is asked and service_of(one, "tea") is None


def test_a_missed_service_costs_what_more_failures_cost() -> None:
    """Would fail if risk were told of parts that service does not help, or by another figure."""
    plant = read_plant_text(SMALL).plant
    event = next(e for e in events_of(plant) if e.machine == "VP1" and e.way == "stops")
    columns = ("failure", "last cow later by", "milk lost", "money at risk", "times in milking")
    study = Result("failures", "p", tables=(
        Table("failures.ranked", "", columns, ("",) * 5, ((event.id, 30.0, 100.0, 50.0, 2.0),)),
    ))  # fmt: skip
    plan = plan_of(plant, RULES, [], dt.date(2026, 6, 1))
    assert risks_of(plant, RULES, plan.dues, study) == [], "nobody knows when it comes again"
    belts = next(d for d in plan.dues if d.task.what == "belts and coupling")
    known = type(belts)(belts.task, 0.0, 100.0, 100.0, 100.0, 73.0, "")
    (one,) = risks_of(plant, RULES, [known], study)
    alone = type(event)(**{f: getattr(event, f) for f in event.__slots__})
    share = _share(alone, "belt")
    more = 2.0 * share * (2.0 ** LIVES["belt"].beta - 2.0) * 73.0 / 365.0
    assert (one.failures, one.hours, one.litres, one.money) == pytest.approx(
        (more, more * 0.5, more * 100.0, more * 50.0)
    )


def _share(event: object, life: str) -> float:
    """A life's share of an event's rate, from the study's own rates."""
    from byrewright.studies.failures.rates import rates_of

    rate = rates_of([event], RULES, 1000.0)[event.id]  # type: ignore[list-item, attr-defined]
    return dict(rate.shares)[life]
