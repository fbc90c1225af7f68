"""What is told of failures: every branch of a sentence, the greatest of several, sums by hand."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import pytest

from byrewright.plant.plant import Plant
from byrewright.plant.roles import GeneratesPower
from byrewright.results import Finding, ResultBuilder
from byrewright.standards.rulebook import Rulebook, default_rulebook
from byrewright.studies.failures import events, findings, study, tables
from byrewright.studies.failures.analysis import Case, hand_minutes
from byrewright.studies.failures.answer import Answer
from byrewright.studies.failures.consequence import Consequence
from byrewright.studies.failures.declared import declared
from byrewright.studies.failures.fault_state import FaultState
from byrewright.studies.failures.paths import OperatorAction
from byrewright.studies.failures.rates import Hours, Rate, pair_hours
from byrewright.studies.failures.script import Script, Scripts, Stage
from byrewright.studies.failures.structure import Asked
from byrewright.studies.failures.worth import Cost, Gain, Worth, worst_of
from byrewright.studies.sizing.context import StudyContext
from tests.studies.failing import LARGE, SMALL, analysed, example

NIL = Hours(0.0, 0.0, 0.0)
CALM = Consequence("peak flow", 80.0, 80.0, 42.0, 42.0, 4.0, 4.0, 5.0, 5.0, 0.0, 0.0, 0.0, None,
                   0.0, 60.0, 60.0, False)  # fmt: skip


def bench(no_single_stop: bool = True, rules: Rulebook | None = None) -> StudyContext:
    """A bench for the small example, with or without the wish that no failure stops it."""
    plant: Plant = example(SMALL)
    wishes = plant.wishes.model_copy(update={"no_single_stop": no_single_stop})
    plant = plant.model_copy(update={"wishes": wishes})
    return StudyContext(plant, rules or default_rulebook(), ResultBuilder("failures", "small"))


def goes_on() -> list[Case]:
    """Failures with which milking goes on by itself."""
    return [c for c in analysed(SMALL).cases if not c.stops and not c.answer.acts]


def cost(case: Case, worst: Consequence | None = None, **more: Any) -> Cost:
    """What a failure costs."""
    usual: dict[str, Any] = {"hours_each": 0.0, "litres_each": 0.0, "a_year": 1.0}
    return Cost(case, worst, **usual | more)


def worth(*costs: Cost) -> Worth:
    """These costs alone."""
    return Worth(costs, NIL, NIL, None, {})


@pytest.mark.parametrize(("at", "more", "told"), [
    ({}, {}, "80 of 80 cows in the next hour"),
    ({"cows_h": 0.0, "cows_h_before": 0.0}, {}, "at peak flow: no other effect"),
    ({"moment": "before collection"}, {}, "; before collection: 80 of"),
    ({"out_c": 5.4}, {}, "milk leaves the cooler at 5.4 degC"),
    ({"milk_c": 4.4}, {}, "milk in store up to 4.4 degC instead of 4.0"),
    ({}, {"litres_each": 12.4}, "12 L lost"),
    ({}, {"hours_each": 0.5}, "last cow 30 min later"),
    ({}, {"fallen": 7.0, "again_min": 3.2}, "7 cups fall and take 3 min to put on again"),
])  # fmt: skip
def test_a_sentence_tells_each_thing_that_a_failure_does(
    at: dict[str, Any], more: dict[str, Any], told: str
) -> None:
    """Would fail if an effect were not told, or told of a failure that has none of it."""
    parts = ("of 80 cows", "no other effect", "before collection:", "leaves the cooler",
             "milk in store", "L lost", "min later", "cups fall")  # fmt: skip
    said = findings.cause_sentence(analysed(SMALL), cost(goes_on()[0], replace(CALM, **at), **more))
    assert told in said
    for part in parts:
        usual = part == "of 80 cows" and at.get("cows_h_before") != 0.0
        assert (part in said) == (part in told or usual), part


@pytest.mark.parametrize("at", [
    {"out_c": 5.2}, {"milk_c": 4.2}, {"milk_before_c": 0.0, "milk_c": 9.0},
    {"milk_before_c": 9.0},
])  # fmt: skip
def test_what_is_hardly_felt_is_not_told(at: dict[str, Any]) -> None:
    """Three tenths of a degree; milk in a store that held none before is not warmer than it was."""
    said = findings.cause_sentence(analysed(SMALL), cost(goes_on()[0], replace(CALM, **at)))
    assert "cooler at" not in said and "in store" not in said


def test_spare_air_is_told_where_a_failure_takes_some() -> None:
    """Would fail if air to spare were told that is all there, or of a plant that stands."""
    base = analysed(SMALL).base
    for less, stops in ((0.5, False), (500.0, False), (500.0, True)):
        answer = Answer(not stops, spare_l_min=base.spare_l_min - less)
        said = findings.cause_sentence(
            analysed(SMALL), cost(replace(goes_on()[0], answer=answer), CALM)
        )
        told = f"air to spare {max(0.0, base.spare_l_min - less):.0f} instead of"
        assert (told in said) == (less > 1 and not stops)


def ones(ctx: StudyContext) -> dict[str, Finding]:
    """The findings of a bench by key."""
    return {f.key: f for f in ctx.notes.findings}


def test_the_longest_wait_and_the_most_milk_are_told() -> None:
    """Would fail if another failure than the worst were told, one that stops milking, or a limit
    where the farm has no such wish."""
    a, b, c = goes_on()[:3]
    stops = replace(c, answer=Answer(False, why="it stands"))
    assert stops.stops
    many = worth(
        cost(a, CALM, hours_each=0.2, litres_each=3.0),
        cost(b, replace(CALM, loss_after_min=2.5), hours_each=0.6, litres_each=90.0),
        cost(stops, CALM, hours_each=5.0, litres_each=7.0),
        cost(c, None, hours_each=9.0),
    )
    for wish in (True, False):
        ctx = bench(no_single_stop=wish)
        findings._waiting(ctx, analysed(SMALL), many)
        wait, lost = ones(ctx)["failures.waiting"], ones(ctx)["failures.milk_lost"]
        assert wait.value == 36.0 and b.event.id in wait.sentence
        assert wait.limit == (30.0 if wish else None) and "remedy: " in wait.sentence
        assert ("allows that one failure" in wait.sentence) == (not wish)
        assert lost.value == 90 and "from 2.5 min after it on; 3 failures lose any" in lost.sentence
    ctx = bench()
    findings._waiting(ctx, analysed(SMALL), worth(cost(a, CALM, hours_each=0.5)))
    assert ones(ctx)["failures.waiting"].verdict in ("holds", "tight")
    assert "remedy" not in ones(ctx)["failures.waiting"].sentence
    assert "failures.milk_lost" not in ones(ctx)
    ctx = bench()
    findings._waiting(ctx, analysed(SMALL), worth(cost(a, CALM)))
    assert not ones(ctx)


def test_the_longest_work_by_hand_and_what_is_not_simulated() -> None:
    """Would fail if the shortest work were told, or failures counted that the day does show."""
    few = [c for c in analysed(SMALL).cases if c.answer.acts][:4] + goes_on()[:8]
    analysis = replace(analysed(SMALL), cases=tuple(few))
    writer = Scripts(analysis)
    scripts = {c.event.id: writer.of(c) for c in few}
    by_hand = [c for c in analysis.cases if not c.stops and c.answer.acts]
    ctx = bench()
    findings._by_hand(ctx, analysis)
    told = ones(ctx)["failures.hand_work"]
    assert told.value == pytest.approx(max(c.hand_min for c in by_hand), abs=0.06)
    assert told.sentence.startswith(f"{len(by_hand)} failures need people")
    hows = [declared(c, scripts[c.event.id]).how for c in analysis.cases]
    ctx = bench()
    findings._not_simulated(ctx, analysis, scripts)
    one = ones(ctx)["failures.not_simulated"]
    blind, still = hows.count("not simulated"), hows.count("changes nothing")
    assert one.value == blind and f"{len(hows) - blind - still} change the simulated day" in (
        one.sentence
    )
    assert f"{blind} failures that are not simulated" in findings._left_out(analysis, scripts)


def test_cups_are_told_by_the_longest_and_the_others_counted() -> None:
    """Would fail if half a cup made a finding, or others were miscounted."""
    a, b, c = goes_on()[:3]
    some = [cost(a, fallen=9.0, again_min=4.0), cost(b, fallen=30.0, again_min=12.0),
            cost(c, fallen=0.4, again_min=50.0)]  # fmt: skip
    for costs, others in (
        (some, "One other failure makes"),
        (some[1:], "milked."),
        ([*some, cost(c, fallen=1.0, again_min=1.0)], "2 other failures make"),
    ):
        ctx = bench()
        findings._cups(ctx, worth(*costs))
        told = ones(ctx)["failures.cups"]
        assert told.value == 12.0 and told.sentence.startswith(f"{b.event.id}: 30 cups")
        assert others in told.sentence and told.limit == 30.0
    ctx = bench()
    findings._cups(ctx, worth(some[2]))
    assert not ones(ctx)


@pytest.mark.parametrize("limit_min", [20.0, 30.0, 50.0])
def test_a_failure_may_wait_by_the_minutes_that_cows_may(limit_min: float) -> None:
    """Would fail if what holds cows, or the wash, for longer than four fifths of what is allowed
    were not run for a draft, or all that holds up less were."""
    most_s = 60 * 0.8 * limit_min
    halt: tuple[Any, ...] = (("halt", "", 1.0),)
    heater = (("machine", "WH1", 0.0),)

    def holds(for_s: float, settings: tuple[Any, ...]) -> Script:
        return Script((Stage(0.0, settings, ()),), for_s)

    scripts = {
        "longer": holds(most_s + 1, halt), "shorter": holds(most_s - 1, halt),
        "no hot water": holds(most_s + 1, heater), "soon hot": holds(most_s - 1, heater),
        "a pump": Script((Stage(0.0, (("machine", "MP1", 0.0),), ()), Stage(60.0, (), ())), 90.0),
        "nobody acts": holds(most_s + 1, (("machine", "MP1", 0.0),)),
    }  # fmt: skip
    found = study._may_wait(bench(rules=Rulebook({"failures.wait_limit_min": limit_min})), scripts)
    assert list(found) == ["longer", "no hot water", "a pump"]


def test_two_repairs_and_one_on_call() -> None:
    """What two failures cost together, by the three cases of who stands by: would fail if a set
    that stands ready were counted as it runs."""

    def rate(a_year: float, repair_h: float, life: str, out: float) -> Rate:
        return Rate(a_year, repair_h, 0.5, out, life, ())

    runs, other = rate(2.0, 4.0, "ac_motor", 0.001), rate(3.0, 6.0, "ac_motor", 0.002)
    ready = rate(1.0, 8.0, "generator_start", 0.02)
    both = (2.0 * 0.002 + 3.0 * 0.001) * 4 * 6 / 10
    assert pair_hours(runs, other, 0.1, False) == pytest.approx(both)
    assert pair_hours(runs, other, 0.1, True) == pytest.approx(both + 0.1 * 2.0 * 4.0)
    assert pair_hours(runs, ready, 0.1, False) == pytest.approx(2.0 * 0.02 * 4.0)
    assert pair_hours(ready, runs, 0.1, False) == pytest.approx(2.0 * 0.02 * 4.0)


def test_the_worst_moment_is_that_of_most_loss_then_the_longest_stand_then_the_warmest() -> None:
    """Ten litres weigh as a minute: would fail if the mildest moment stood for a failure."""
    lost, late = replace(CALM, litres=95.0), replace(CALM, delay_min=10.0)
    stood, warm = replace(CALM, stood_min=1.0), replace(CALM, milk_c=9.0)
    assert worst_of((CALM, lost, late)) is late
    assert worst_of((CALM, replace(lost, litres=105.0), late)) == replace(lost, litres=105.0)
    assert worst_of((CALM, warm, stood)) is stood and worst_of((CALM, warm)) is warm
    assert worst_of(()) is None


def test_a_change_is_worth_what_it_saves_for_what_it_costs() -> None:
    """Would fail if a dear change were placed before a cheap one that saves as much."""
    assert Gain("x", "A", 6.0, 0.0, 300.0).value == pytest.approx(0.02)
    assert Gain("x", "A", 6.0, 0.0, None).value == 6.0


MARKS = [
    ({}, {}, "--------"), ({"milk_c": 4.4}, {}, "--------"), ({"milk_c": 4.6}, {}, "----~---"),
    ({"out_c": 10.1}, {}, "----x---"), ({"wash_c": 58.1}, {}, "--------"),
    ({"wash_c": 57.9}, {}, "------~-"), ({"wash_c": 39.0}, {}, "------x-"),
    ({"wash_c": 5.0, "wash_before_c": 0.0}, {}, "--------"),
    ({"vacuum_kpa": 41.8}, {}, "--------"), ({"vacuum_kpa": 41.6}, {}, "---~----"),
    ({}, {"litres_each": 0.6}, "-----x--"), ({}, {"hours_each": 0.9 / 60}, "--------"),
    ({}, {"hours_each": 1.1 / 60}, "-------~"), ({}, {"hours_each": 31 / 60}, "-------x"),
]  # fmt: skip


@pytest.mark.parametrize(("at", "more", "marks"), MARKS)
def test_a_mark_is_set_by_what_is_felt(
    at: dict[str, Any], more: dict[str, Any], marks: str
) -> None:
    """Would fail if an effect stood in the column of another, or from less on than people feel."""
    base = analysed(SMALL).base
    case = replace(goes_on()[0], answer=Answer(True, spare_l_min=base.spare_l_min))
    cells = tables._cells(analysed(SMALL), cost(case, None, **more), (CALM, replace(CALM, **at)))
    assert "".join(cells) == marks


@pytest.mark.parametrize(("spare", "stops", "mark"), [
    (0.5, False, "-"), (1.5, False, "~"), (1e6, False, "x"), (1.5, True, "-"),
])  # fmt: skip
def test_less_air_to_spare_is_marked(spare: float, stops: bool, mark: str) -> None:
    """Would fail if a plant that stands were said to have less air, or none were only some."""
    base = analysed(SMALL).base
    answer = Answer(not stops, spare_l_min=base.spare_l_min - spare)
    case = replace(goes_on()[0], answer=answer)
    assert tables._cells(analysed(SMALL), cost(case), ())[3] == mark


@pytest.mark.parametrize(("hours", "litres", "worth_it"), [
    (0.49, 199.0, False), (0.5, 0.0, True), (0.0, 200.0, True),
])  # fmt: skip
def test_a_change_is_worth_it_from_half_an_hour_or_200_litres(
    hours: float, litres: float, worth_it: bool
) -> None:
    """As the table's note says: would fail if it were judged by one of them alone."""
    for price in (None, 50.0):
        (row,) = tables.gain_table([Gain("a second", "X", hours, litres, price)], "EUR").rows
        assert (row[4] == "yes") == worth_it and len(row) == (5 if price is None else 6)


def test_parts_on_the_shelf_are_added_up() -> None:
    """Would fail if a part that nobody misses were kept, or hours of two machines not joined."""
    rates = analysed(SMALL).rates
    some = [c for c in analysed(SMALL).cases if c.event.failure.part and not c.stops]
    part = some[0].event.failure.part
    mine = [c for c in some if c.event.failure.part == part
            and c.event.machine[:2] == some[0].event.machine[:2]]  # fmt: skip
    costs = [cost(c, None, hours_each=0.5, a_year=2.0) for c in mine]
    costs += [cost(c) for c in some if c not in mine]
    (row,) = tables.shelf(analysed(SMALL), worth(*costs)).rows
    assert row[0] == part and row[4] == pytest.approx(len(mine))
    assert row[3] == pytest.approx(sum(rates[c.event.id].a_year for c in mine), rel=0.01)


@pytest.mark.parametrize(("pace", "acts", "stops", "words"), [
    (1.0, 0, False, "continues"), (0.7, 0, False, "slower"), (0.7, 1, False, "by hand"),
    (1.0, 1, False, "by hand"), (0.0, 1, True, "stops"),
])  # fmt: skip
def test_how_milking_stands(pace: float, acts: int, stops: bool, words: str) -> None:
    """Would fail if a failure that slows nothing were called slower, or one that stops slow."""
    some = next(c.answer.acts for c in analysed(SMALL).cases if c.answer.acts)[:1] * acts
    answer = Answer(not stops, some, pace=pace)
    assert tables.standing(replace(goes_on()[0], answer=answer)) == words


def test_a_cause_is_told_by_the_worst_that_stands_for_it() -> None:
    """Would fail if the least of a farm's lost milk pumps were told, or a slow one before one that
    stops milking."""
    a, b, c = goes_on()[:3]
    stops = replace(c, answer=Answer(False, why="it stands"))
    costs = (cost(a, CALM, hours_each=0.2), cost(b, CALM, hours_each=0.4), cost(stops, CALM))
    for some, subject, minutes in ((costs[:2], b, 24.0), (costs, stops, 0.0), (costs[:1], a, 12.0)):
        ctx = bench()
        findings._cause(ctx, analysed(SMALL), worth(*some), "any", "Any", lambda *_: True)
        one = ones(ctx)["failures.cause.any"]
        assert one.subject == subject.event.machine and one.value == pytest.approx(minutes)


def test_the_time_of_hands_is_that_of_each_act() -> None:
    """Would fail if a set that is fetched took the time of a switch, one that stands ready that of
    fetching, or nobody had to notice first."""
    rules, plant = default_rulebook(), example(SMALL)
    (tag,) = (m.id for m in plant.machines(GeneratesPower))
    late = plant.equipment[tag].model_copy(update={"start_s": 1800.0})
    plant = plant.model_copy(update={"equipment": {**plant.equipment, tag: late}})
    notice, act, joint = (rules.number(f"failures.{k}_min") for k in ("notice", "act", "joint"))
    for acts, minutes in (
        ((), 0.0), ([("open", "V25")], notice + act), ([("transfer", tag)], notice + 30.0),
        ([("start", tag)], notice + act),
        ([("clamp", "RL1"), ("open", "V25")], notice + joint + act),
    ):  # fmt: skip
        answer = Answer(True, acts=tuple(OperatorAction(*one) for one in acts))
        assert hand_minutes(answer, rules, plant) == pytest.approx(minutes)


def test_power_comes_by_the_feeder_that_takes_the_fewest_hands() -> None:
    """Would fail if a board whose first feeder is a set that people start were told to need them
    while the mains stand, or if the set were forgotten with the mains lost."""
    plant = example(SMALL)
    (tag,) = (m.id for m in plant.machines(GeneratesPower))
    (mains,) = (t for t, m in plant.equipment.items() if m.KIND == "mains")
    by_hand = plant.equipment[tag].model_copy(update={"start_by": "hand"})
    start = (OperatorAction("transfer", tag),)
    for first, second in ((tag, mains), (mains, tag)):
        board = plant.equipment["SB1"].model_copy(update={"fed_from": (first, second)})
        made = {**plant.equipment, tag: by_hand, "SB1": board}
        structure: Any = SimpleNamespace(
            plant=plant.model_copy(update={"equipment": made}), on_deck=frozenset(), glands=(),
            overloads=lambda off: (),
        )  # fmt: skip
        for off, acts in ((frozenset(), ()), ({mains}, start), ({tag}, ()), ({mains, tag}, None)):
            asked = Asked(structure, replace(FaultState.of(()), off=frozenset(off)))
            assert asked.power("SB1") == acts


def test_one_of_several_alike_takes_its_own_share() -> None:
    """Would fail if one drive of four that fails took the deck with it, or one that slips to half
    counted as lost."""
    plant, seen = example(LARGE), set()
    for machine in plant.equipment.values():
        for failure in machine.failures():
            effect, n = failure.effect, machine.count
            if not failure.each or n < 2 or effect.law not in ("off", "share"):
                continue
            if machine.can("senses"):
                continue
            ((hit,),) = events._variants(plant, machine, failure)
            seen.add(effect.share)
            assert (hit.law, hit.machine) == ("share", machine.id)
            assert hit.amount * n == pytest.approx(n - 1 + effect.share)
    assert seen
