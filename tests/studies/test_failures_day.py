"""Failures on the simulated day: same bytes where nothing is felt, conservation, one result."""

from __future__ import annotations

import json
import math
import re
from functools import cache
from typing import Any

import numpy as np
import pytest

from byrewright.engine import shape as sh
from byrewright.plant.roles import IsValve
from byrewright.results import ResultBuilder
from byrewright.standards.rulebook import default_rulebook
from byrewright.studies.day.study import simulate_days
from byrewright.studies.failures.cuts import Cancelled
from byrewright.studies.failures.declared import declared
from byrewright.studies.failures.runs import Field, run_all
from byrewright.studies.failures.script import MODE_CHANGE, Script, Scripts, Stage
from byrewright.studies.failures.study import _may_wait, study_failures
from byrewright.studies.failures.worth import Cost, gains, weigh
from byrewright.studies.sizing.context import StudyContext
from tests.studies.failing import ROWS, SMALL, analysed, changed, example, written

RULES = default_rulebook()
HOURS = 1.0  # followed so long, to keep the tests quick
BALANCE = 1e-9
"""Milk made or lost by a failure, as a share of all there is: the engine's own bound."""


@cache
def field() -> tuple[Field, dict[str, Script]]:
    """The small example with a few failures."""
    analysis = analysed(SMALL)
    writer = Scripts(analysis)
    names = ["VP1 stops", "MP3 stops", "CT1 stops", "PC1 blocks", "V40 sticks", "TB1 tanker late"]
    scripts = {n: writer.of(analysis.case(n)) for n in names}
    return Field(analysis.plant, RULES, scripts.values(), 1, 7), scripts


def moment(name: str):  # type: ignore[no-untyped-def]
    """A bad moment by name."""
    return next(m for m in field()[0].moments if m.name == name)


def test_four_bad_moments_are_named() -> None:
    """A moment would be left out without a word."""
    names = {m.name for m in field()[0].moments}
    assert names == {"peak flow", "wash", MODE_CHANGE, "before collection"}


def test_bad_moments_stand_where_they_are_bad() -> None:
    """Would fail if a moment were of another day, or a wash, a collection (09:30) or a milking
    (16:00) were met too late to be spoilt."""
    where = field()[0]
    c, day_s = where.compiled, where.first * 86400
    at_s = {m.name: m.step * c.step_s for m in where.moments}
    assert at_s[MODE_CHANGE] + c.origin_s - day_s == (16 * 60 - 1) * 60
    assert at_s["before collection"] + c.origin_s - day_s == (9.5 * 60 - 10) * 60
    one = simulate_days(where.plant, RULES, month=7, seed=1).sessions[0]
    assert one.last_off_s + 600 < at_s["wash"] < one.wash_end_s
    assert one.begun_s < at_s["peak flow"] < one.last_off_s


def test_a_failure_repaired_before_first_use_leaves_the_same_bytes() -> None:
    """A pump out and back between two milkings must not move a single bit of the day."""
    where, _ = field()
    start = moment(MODE_CHANGE)
    out = Stage(1.0, (("machine", "MP3", 0.0), ("machine", "MP4", 0.0)), ())
    script = Script((out,), 40.0)
    assert where.rows(script, start)
    found = where.consequence(script, start)
    assert found.rejoined
    assert (found.litres, found.delay_min, found.stood_min, found.energy_cost) == (0, 0, 0, 0)
    until = start.step + round(2 * 3600 / where.compiled.step_s)
    hurt = where.run(start.state, until, where.rows(script, start))
    assert hurt.same_as(where.undisturbed(start, until))


def test_a_failure_in_use_does_not_leave_the_same_bytes() -> None:
    """The comparison would say "same" of everything."""
    where, scripts = field()
    found = where.consequence(scripts["CT1 stops"], moment("peak flow"))
    assert not found.rejoined
    assert found.stood_min > 5


def test_snapshots_resume_to_the_same_bytes() -> None:
    """A run from the snapshot before a failure would not be the run of the whole day."""
    where, scripts = field()
    start = moment("peak flow")
    rows = where.rows(scripts["VP1 stops"], start)
    middle, end = start.step + 1800, start.step + 5400
    straight = where.run(start.state, end, rows)
    halted = where.run(where.run(start.state, middle, rows), end, rows)
    assert straight.same_as(halted)


@pytest.mark.parametrize("name", ["VP1 stops", "MP3 stops", "PC1 blocks", "CT1 stops"])
def test_milk_is_conserved_through_a_failure(name: str) -> None:
    """Milk out of the cows equals what is in vessels and ledgers, whatever breaks."""
    where, scripts = field()
    start = moment("peak flow")
    end = where.run(start.state, start.step + 4 * 3600, where.rows(scripts[name], start))
    rows = np.r_[where.compiled.tables.rows("vessels"), where.compiled.tables.rows("lines")]
    for column in (sh.MILK, sh.WITHHELD):
        total = end.items[rows, column].sum() - start.state.items[rows, column].sum()
        scale = max(1.0, abs(end.items[rows, column]).sum())
        assert abs(total) < BALANCE * scale


def test_threads_give_the_same_answers() -> None:
    """Results would hang on which thread came first."""
    where, scripts = field()
    assert run_all(where, scripts, threads=1) == run_all(where, scripts, threads=2)


def test_a_stuck_valve_shows_only_when_it_should_move() -> None:
    """A valve stuck where it stands is no failure of the moment."""
    where, scripts = field()
    assert scripts["V40 sticks"].only == MODE_CHANGE
    assert where.rows(scripts["V40 sticks"], moment("peak flow")) == ()


def test_cancel_ends_the_runs() -> None:
    """A user who cancels would wait for every failure."""
    where, scripts = field()
    with pytest.raises(Cancelled):
        run_all(where, scripts, say=lambda what, done, total: True)


@cache
def result():  # type: ignore[no-untyped-def]
    """The whole study of the rows example."""
    return study_failures(example(ROWS), RULES, hours=HOURS)


def test_result_has_the_tables_and_one_serialisation() -> None:
    """A page or document would miss its table."""
    found = result()
    keys = {t.key for t in found.tables}
    wanted = "ranked matrix ones apart passive to_do moments service gains shelf lives shed"
    assert {f"failures.{name}" for name in wanted.split()} <= keys
    for table in found.tables:
        assert len(table.columns) == len(table.units), table.key
        assert all(len(row) == len(table.columns) for row in table.rows), table.key
    data = json.loads(found.to_json())
    assert data["study"] == "failures"
    names = [f["name"] for f in data["findings"]]
    assert len(names) == len(set(names))
    text = found.to_json()
    assert "None" not in text
    assert "nan" not in text.casefold().replace("finan", "")


def test_wish_is_judged() -> None:
    """A plant that wishes for no single stop would pass with one."""
    plant = example(ROWS)
    board = plant.equipment["VP1"].fed_from[:1]
    bad = changed(plant, VP1={"fed_from": board}, VP2={"fed_from": board})
    found = study_failures(bad, RULES, simulate=False)
    one = found.finding("failures.single_stop")
    assert one.verdict == "fails"
    assert f"{board[0]} main breaker trips" in one.sentence
    calm = bad.model_copy(update={
        "wishes": bad.wishes.model_copy(update={"no_single_stop": False})})  # fmt: skip
    assert study_failures(calm, RULES, simulate=False).finding(one.key).verdict == "holds"


def test_gains_are_sorted_by_gain_for_cost() -> None:
    """A cheap change that buys much would stand below a dear one that buys little."""
    analysis = analysed(ROWS)
    worth = weigh(analysis, {}, 1)
    plain = gains(analysis, worth)
    assert [g.hours_year for g in plain] == sorted((g.hours_year for g in plain), reverse=True)
    dear = {g.machine: 1e6 for g in plain[:1]} | {g.machine: 10.0 for g in plain[1:]}
    priced = gains(analysis, worth, dear)
    assert priced[0].machine != plain[0].machine
    assert [g.value for g in priced] == sorted((g.value for g in priced), reverse=True)


def test_hours_a_year_add_up_and_show_their_spread() -> None:
    """The mean would not be the sum of its parts, or the spread would be none."""
    worth = weigh(analysed(ROWS), {}, 1)
    costs: tuple[Cost, ...] = worth.costs
    assert worth.hours.mean == pytest.approx(sum(c.hours_year for c in costs))
    assert worth.hours.low < worth.hours.mean < worth.hours.high
    again = weigh(analysed(ROWS), {}, 1)
    assert again.hours == worth.hours


def test_common_causes_are_answered() -> None:
    """A question that every farm asks would have no answer."""
    keys = {f.key for f in result().findings}
    for cause in ("mains", "phase", "water", "air", "controller", "chiller", "gland",
                  "receiver_pump", "filter", "cooler", "tanker", "cloths"):  # fmt: skip
        if cause in ("gland",) and not example(ROWS).able("joins deck"):
            continue
        assert f"failures.cause.{cause}" in keys, cause


def test_same_seed_same_bytes() -> None:
    """Two runs of one study would differ."""
    again = study_failures(example(ROWS), RULES, hours=HOURS)
    assert again.to_json() == result().to_json()


def test_a_draft_asks_of_failures_that_hold_up_the_wash_or_flood_a_receiver() -> None:
    """A draft would close although cows wait for a wash that gets no water, or for cups that fell
    as milk stood in a receiver until people ran its pump by hand."""
    plant = analysed(SMALL).plant
    ctx = StudyContext(plant, RULES, ResultBuilder("failures", plant.site.name))
    asked = _may_wait(ctx, written(SMALL))
    assert "WS1 fails" in asked
    assert {"MP1 stops", "V40 sticks"} <= asked.keys() < written(SMALL).keys()
    assert not any(name.startswith("CU1") for name in asked)


def test_a_set_that_people_start_is_not_what_a_failure_changes() -> None:
    """With a tractor's set every failure was told to change the day, and none to be left out."""
    whole, by_hand = (
        study_failures(p, RULES, simulate=False).table("failures.not_simulated").rows
        for p in (example(ROWS), changed(example(ROWS), GE1={"start_by": "tractor"}))
    )
    assert len(whole) > 50
    assert {r[0] for r in whole} - {r[0] for r in by_hand} <= {"GE1 does not start"}


def test_a_wash_valve_that_sticks_is_not_said_to_change_nothing() -> None:
    """Would fail if the valve that lets the wash to the units, stuck as milking wants it, passed
    as one that stands in one position in all modes: the wash it spoils must be named."""
    analysis = analysed(SMALL)
    plant = analysis.plant
    writer = Scripts(analysis)

    def told(name: str) -> tuple[str, str]:
        case = analysis.case(name)
        found = declared(case, writer.of(case))
        return found.how, found.why

    for name in ("V64 sticks", "V64 loses its signal", "V65 sticks"):
        how, why = told(name)
        assert how == "not simulated" and "wash" in why, name
    still = next(v for v in plant.machines(IsValve)
                 if f"{v.id} sticks" in {c.event.id for c in analysis.cases}
                 and len({plant.position(m, v.id) for m in plant.modes}) == 1)  # fmt: skip
    assert told(f"{still.id} sticks")[0] == "changes nothing"


def test_only_a_receiver_that_runs_over_shuts_its_trap() -> None:
    """Would fail if cups were said to lose vacuum by a tank that runs over, or by no receiver."""
    where, _ = field()
    start = moment("peak flow")
    dt, names = where.compiled.step_s, where.compiled.names.vessels
    script = Script((Stage(0.0, (), ()),), 3600.0)
    some = ((start.step, 0, 0, sh.ROW_DRIVE, 1.0),)
    shut = set()
    for i, tag in enumerate(names):
        state = start.state.copy()
        over = where.compiled.tables.rows("vessels").start + i
        state.items[over, sh.P_OVER_AT] = (start.step + 60) * dt
        rows, _ = where._trap_shuts(script, start, some, state, start.step, 0)
        halts = {(r[0] - start.step, r[4]) for r in rows if r[3] == sh.ROW_PUMP}
        assert halts in (set(), {(61, 0.0), (round(3600 / dt), 1.0)})
        shut |= {tag} if halts else set()
    assert shut == where.receivers and len(shut) > 1


HUNDREDTH = 0.02
"""Tables print three figures, and numbers are worked from two of them."""


def listed(name: str) -> list[dict[str, Any]]:
    """The rows of a table of failures by the titles of its columns."""
    table = result().table(f"failures.{name}")
    return [dict(zip(table.columns, row, strict=True)) for row in table.rows]


def test_what_failures_cost_a_year_adds_up() -> None:
    """Would fail if hours and litres of a year were others than how often each failure comes by
    what it costs at its worst moment, or spare parts and changes were credited with more."""
    ranked = {r["failure"]: r for r in listed("ranked")}
    for one in ranked.values():
        hours = one["last cow later by"] / 60 * one["times in milking"]
        if one["hours lost"] and one["last cow later by"] > 1.0:
            assert one["hours lost"] == pytest.approx(hours, rel=0.06), one["failure"]
        low, high = (float(x) for x in one["times, at low and high lives"].split(" to "))
        assert low <= one["times in milking"] <= high
        assert low * high == pytest.approx(one["times in milking"] ** 2, rel=0.12)
    total = sum(one["hours lost"] for one in ranked.values())
    assert result().finding("failures.hours_year").value == pytest.approx(total, rel=HUNDREDTH)
    assert [r["rank"] for r in ranked.values()] == [*range(1, len(ranked) + 1)]
    for one in listed("moments"):
        worst = ranked[one["failure"]]
        if worst["worst moment"] == one["moment"]:
            for what in ("cows in the next hour", "least vacuum", "warmest out of the cooler",
                         "milk lost", "last cow later by", "first milk lost after"):  # fmt: skip
                assert worst[what] == one[what], (one["failure"], what)
    most = max(one["hours lost"] for one in ranked.values())
    assert all(one["milking time at stake"] <= total + 1e-9 for one in listed("shelf"))
    assert all(one["saves"] <= total + 1e-9 for one in listed("gains"))
    assert max(one["saves"] for one in listed("gains")) >= 0.9 * most


def test_a_cut_stands_as_often_and_as_long_as_its_inputs_say() -> None:
    """Would fail if hours of a cut were not times a year by its repair, or the life that is printed
    not that of its own shape."""
    cuts = [f for f in result().findings if f.key == "failures.cut"]
    stops = result().finding("failures.single_stop")
    assert stops.value == len(cuts) == len(listed("ones"))
    for one in cuts:
        i = {x.symbol: x.value for x in one.inputs}
        eta, beta, mtbf, n, r = (float(i[k]) for k in ("eta", "beta", "MTBF", "n", "r"))
        assert mtbf == pytest.approx(eta * math.gamma(1 + 1 / beta), rel=0.001)
        assert one.value == pytest.approx(n * r, rel=HUNDREDTH)
        low, high = (float(x) for x in str(i["n range"]).split(" to "))
        assert low < n < high and low * high == pytest.approx(n * n, rel=0.15)


def test_hands_and_cups_take_what_their_formulas_say() -> None:
    """Three minutes to notice and two for each step; cups by those who milk."""
    hands = result().finding("failures.hand_work")
    steps = re.search(r"in (\d+) steps?", hands.sentence)
    if hands.value:
        assert steps and hands.value == RULES.number("failures.notice_min") + int(
            steps[1]
        ) * RULES.number("failures.act_min")
    cups = [f for f in result().findings if f.key == "failures.cups" and f.value]
    for one in cups:
        many = re.search(r"(\d+) cups fall", one.sentence)
        people = {m.operators for m in example(ROWS).milkings}
        assert many and any(
            one.value == pytest.approx(
                int(many[1]) * RULES.number("failures.cup_again_s") / 60 / p, rel=0.07)
            for p in people
        )  # fmt: skip
    of = {r["simulated day"] for r in listed("not_simulated")}
    none = sum(r["simulated day"] == "not simulated" for r in listed("not_simulated"))
    assert result().finding("failures.not_simulated").value == none and of
