"""What failures cost and what is said of it, on failures whose figures are made up."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import pytest

from byrewright.plant.machine import Failure
from byrewright.plant.plant import Plant
from byrewright.studies.failures import findings, worth
from byrewright.studies.failures.analysis import Analysis, Case
from byrewright.studies.failures.answer import Answer
from byrewright.studies.failures.consequence import Consequence
from byrewright.studies.failures.cuts import Cuts
from byrewright.studies.failures.events import Event
from byrewright.studies.failures.maintenance import Out
from byrewright.studies.failures.paths import OperatorAction
from byrewright.studies.failures.rates import Hours, Rate
from byrewright.studies.failures.worth import Cost, Worth
from byrewright.studies.sizing.context import StudyContext
from tests.plants import machine
from tests.studies.benches import bench_of, small
from tests.studies.told import inputs

RUN = (OperatorAction("run", "MP3"),)
STOPS, GOES = Answer(False, why="nothing runs"), Answer(True)


def case(tag: str, answer: Answer = STOPS, *, sort: Any = "equipment", hand_min: float = 0.0,
         repair_h: float = 2.0, law: str = "off", way: str = "fails") -> Case:  # fmt: skip
    """A failure of a machine, called after it."""
    made = Failure(way, "ac_motor", repair_h, "it hums", "change it")
    seen = SimpleNamespace(**{f: getattr(made, f) for f in made.__slots__} | {  # type: ignore[attr-defined]
        "effect": SimpleNamespace(law=law)})  # fmt: skip
    return Case(Event(f"{tag} {way}", tag, way, seen, ((),)), (), answer, sort, hand_min)  # type: ignore[arg-type]


def rate(a_year: float = 0.5, life: str = "ac_motor", parts: Any = ()) -> Rate:
    """So many failures a year, each mended in four hours."""
    return Rate(a_year, 4.0, 0.0, 0.0, life, parts)


def analysis(*cases: Case, rates: Any = None, passive: Any = (), pairs: Cuts | None = None,
             base: Answer = GOES, plant: Plant | None = None) -> Analysis:  # fmt: skip
    """A plant that milks six hours a day, with these failures."""
    every = {c.event.id: rate() for c in cases} | (rates or {})
    duty: Any = SimpleNamespace(milking_h_day=6.0)
    made: Any = SimpleNamespace(receivers=("RC1", "RC2"))
    ctx = bench_of(plant or small())
    return Analysis(ctx.plant, ctx.rules, made, duty, "milking", base, cases, tuple(passive),
                    every, pairs)  # fmt: skip


def wish(no_stop: bool, rules: dict[str, float] | None = None) -> StudyContext:
    """A bench of a farm that wants no single failure to stop milking, or allows it."""
    plant = small()
    wishes = plant.wishes.model_copy(update={"no_single_stop": no_stop})
    return bench_of(plant.model_copy(update={"wishes": wishes}), rules)


def cost(one: Case, hours: float = 0.0, litres: float = 0.0, a_year: float = 1.0,
         worst: Any = None, **more: float) -> Cost:  # fmt: skip
    """What a failure costs."""
    return Cost(one, worst, hours, litres, a_year, **more)


def weighed(*costs: Cost, pairs: Any = None) -> Worth:
    """What failures cost together: 3 h (1 to 9) and 40 L (10 to 90) a year."""
    return Worth(costs, Hours(3.0, 1.0, 9.0), Hours(40.0, 10.0, 90.0),
                 Hours(0.5, 0.1, 2.0) if pairs else None, pairs or {})  # fmt: skip


def then(moment: str = "10:00", **fields: Any) -> Consequence:
    """What a moment brings: nothing, but for what is said."""
    usual: dict[str, Any] = dict.fromkeys(Consequence.__slots__, 0.0)  # type: ignore[attr-defined]
    return Consequence(**{**usual, "moment": moment, "loss_after_min": None, "rejoined": True,
                          **fields})  # fmt: skip


def test_hours_and_litres_of_a_failure() -> None:
    """Would fail if minutes were taken for hours, a failure that people mend cost its repair, or
    times with and without the day were mixed up."""
    two = [case("VP1"), case("VP2", Answer(True, RUN), hand_min=30.0), case("VP3", GOES)]
    of = analysis(*two)
    script: Any = SimpleNamespace(again_s=1800.0, fallen=7.0)
    stops = worth._cost(of, two[0], (), script)
    assert (stops.hours_each, stops.fallen, stops.again_min) == (4.5, 7.0, 30.0)
    assert worth._cost(of, two[1], (), None).hours_each == 0.5
    found = worth._cost(of, two[0], (then(delay_min=90.0, litres=5.0),), script)
    assert (found.hours_each, found.litres_each, found.a_year) == (1.5, 5.0, 0.5)
    assert (found.hours_year, found.litres_year) == (0.75, 2.5)
    low, high = rate().range_a_year
    assert found.range_a_year == (low, high)
    always = {"MP1 fails": replace(rate(life="mains"), sigma=0.2)}
    sparing = analysis(case("MP1"), rates=always)
    low, high = always["MP1 fails"].range_a_year
    share = 6.0 / 24.0  # of what may come at any hour
    assert worth._cost(sparing, sparing.cases[0], (), None).range_a_year == (
        pytest.approx(low * share), pytest.approx(high * share))  # fmt: skip


def test_the_share_of_failures_that_falls_into_milking() -> None:
    """Mains fail all day, motors while they run: would fail if either were taken for the other."""
    one = case("EM1")
    for life, parts, share in (("mains", (), 0.25), ("ac_motor", (), 1.0),
                               ("mains", (("mains", 0.4), ("ac_motor", 0.6)), 0.7)):  # fmt: skip
        of = analysis(one, rates={one.event.id: rate(0.5, life, parts)})
        assert worth.milking_share(of, one) == pytest.approx(share)
        assert worth._cost(of, one, (), None).a_year == pytest.approx(0.5 * share)
    long = replace(
        analysis(one, rates={one.event.id: rate(0.5, "mains")}),
        duty=SimpleNamespace(milking_h_day=30.0),
    )  # type: ignore[arg-type]
    assert worth.milking_share(long, one) == 1.0


def test_the_worst_moment_and_the_order_of_failures() -> None:
    """Ten litres weigh as a minute: would fail if the shorter delay were the worst, or what slows
    milking stood before what stops it."""
    few, late, both = (then(m, litres=x, delay_min=d) for m, x, d in
                       (("a", 25.0, 0.0), ("b", 0.0, 3.0), ("c", 29.0, 0.0)))  # fmt: skip
    assert worth.worst_of((few, late, both)) is late and worth.worst_of(()) is None
    warm, stood = then("d", milk_c=9.0, milk_before_c=4.0), then("e", stood_min=1.0)
    assert worth.worst_of((warm, stood)) is stood and worth.worst_of((then(), warm)) is warm
    assert then(milk_c=5.0, milk_before_c=4.0, out_c=9.0, out_before_c=4.0).warmer_k == 5.0
    every = [cost(case("A", GOES), 9.0), cost(case("B"), 1.0), cost(case("C"), 2.0),
             cost(case("D"), 1.0, 3.0)]  # fmt: skip
    assert [c.case.event.machine for c in sorted(every, key=worth._rank)] == ["C", "D", "B", "A"]


def test_what_a_second_machine_buys() -> None:
    """Would fail if a safety stop could be bought off, pairs counted twice on one machine, or what
    costs much stood before what costs little."""
    ones = [case("VP1"), case("VP1", way="leaks"), case("AC1", sort="safety"), case("LP1", GOES)]
    pairs = {("VP1 fails", "VP1 leaks"): 4.0, ("VP1 fails", "LP1 fails"): 1.0}
    of = analysis(*ones)
    w = weighed(cost(ones[0], 2.0, 10.0), cost(ones[1], 1.0), cost(ones[2], 50.0), cost(ones[3]),
                pairs=pairs)  # fmt: skip
    first, second = worth.gains(of, w)
    assert (first.machine, first.hours_year, first.litres_year) == ("VP1", 8.0, 10.0)
    assert (second.machine, second.hours_year, second.value) == ("LP1", 1.0, 1.0)
    dear = worth.gains(of, w, {"VP1": 800.0, "liquid_pump": 10.0})
    assert [(g.machine, g.cost, g.value) for g in dear] == [
        ("LP1", 10.0, pytest.approx(0.1)), ("VP1", 800.0, pytest.approx(0.01))]  # fmt: skip
    assert [g.machine for g in worth.gains(of, w, {"LP1": 1e6})] == ["LP1", "VP1"]
    spilt = weighed(cost(ones[3]), cost(ones[0], 0.0, 1.0))
    assert [g.machine for g in worth.gains(of, spilt)] == [
        "VP1"]  # fmt: skip


def test_pairs_that_stop_milking(monkeypatch: pytest.MonkeyPatch) -> None:
    """Would fail if unlike machines were taken to share one cause, or two ways of one kind were."""
    monkeypatch.setattr(worth, "pair_hours", lambda a, b, beta, alike: 2.0 if alike else 1.0)
    cases = [case("VP1"), case("VP2"), case("LP1"), case("VP2", way="leaks")]
    twos = (("VP1 fails", "VP2 fails"), ("VP1 fails", "LP1 fails"), ("VP1 fails", "VP2 leaks"))
    assert list(worth._pairs(analysis(*cases, pairs=Cuts((), twos, 9, 3))).values()) == [2, 1, 1]
    assert worth._pairs(analysis(*cases)) == {}


@pytest.mark.parametrize(("tag", "made", "words"), [
    ("MU1", {"count": 12}, "one more of MU1"), ("MU1", {"count": 13}, "spares for MU1"),
    ("MU1", {"count": 1}, "second one"), ("GL1", {"power_rings": 2}, "a second ring for signals"),
    ("GL1", {"power_rings": 1}, "a second set of power rings"), ("NR1", {}, "a way round NR1"),
    ("VP1", {}, "a second one beside VP1 (vacuum pump)"),
])  # fmt: skip
def test_what_takes_a_failure_off_the_list(tag: str, made: dict[str, Any], words: str) -> None:
    """Would fail if a dozen alike were doubled, or one were mended by spares."""
    plant = small()
    one = plant.equipment[tag].model_copy(update=made)
    of = analysis(plant=plant.model_copy(update={"equipment": {**plant.equipment, tag: one}}))
    assert words in worth.remedy(of, tag)


def told(ctx: StudyContext, key: str) -> Any:
    """The finding of a key."""
    (found,) = (f for f in ctx.notes.findings if f.key == key)
    return found


def test_a_plant_that_does_not_milk_as_drawn() -> None:
    """Would fail if hands that milking needs passed, or none were worse than no milking."""
    for base, value, words in ((STOPS, 0.0, "nothing runs"), (Answer(True, RUN), 1.0, "run MP3")):
        ctx = bench_of(small())
        findings._base(ctx, analysis(base=base))
        one = told(ctx, "failures.as_drawn")
        assert (one.value, one.limit, one.verdict) == (
            value,
            2.0,
            "fails",
        ) and words in one.sentence


@pytest.mark.parametrize("no_stop", [True, False])
def test_single_failures_that_stop_milking(no_stop: bool) -> None:
    """Would fail if a wish were judged that nobody has, or hours a year were another's."""
    stop, safe = case("VP1"), case("CT1", sort="safety")
    ctx = wish(no_stop)
    of = analysis(stop, safe, case("LP1", GOES), passive=[case("BT1")])
    findings._ones(ctx, of)
    one, cut = told(ctx, "failures.single_stop"), told(ctx, "failures.cut")
    assert (one.value, one.limit) == (1, 0.0 if no_stop else None)
    assert cut.value == 2.0 and (cut.verdict == "fails") == no_stop
    assert ("The brief allows it" in one.sentence) != no_stop
    assert "CT1 fails: a safety stop" in one.sentence and "any of 1 machines" in one.sentence
    assert "1 single failure of equipment stops" in one.sentence and inputs(one)["n"] == 3
    assert inputs(cut)["r"] == 4.0 and inputs(cut)["n"] == 0.5
    none = wish(no_stop)
    findings._ones(none, analysis(case("LP1", GOES)))
    plain = told(none, "failures.single_stop").sentence
    assert plain.startswith("No single failure of equipment stops") and plain.endswith("it going.")


@pytest.mark.parametrize(
    ("minutes", "verdict"), [(15.5, "holds"), (16.5, "tight"), (20.5, "fails")]
)
def test_within_a_fifth_of_the_longest_wait_is_tight(minutes: float, verdict: str) -> None:
    """Twenty minutes at most: would fail if an hour's fourth were tight, or what is over held."""
    ctx = wish(True, {"failures.wait_limit_min": 20.0})
    of, worst = analysis(case("VP1", Answer(True, RUN), hand_min=minutes)), then()
    findings._by_hand(ctx, of)
    findings._cups(ctx, weighed(cost(of.cases[0], fallen=5.0, again_min=minutes)))
    findings._waiting(ctx, of, weighed(cost(of.cases[0], minutes / 60, worst=worst)))
    assert [f.verdict for f in ctx.notes.findings] == [verdict] * 3


def test_parts_without_a_spare_and_work_by_hand() -> None:
    """Would fail if eight were told as more, or the shortest work were told for the longest."""
    for n, more in ((8, False), (9, True)):
        ctx = bench_of(small())
        findings._passive(ctx, analysis(passive=[case(f"T{i}") for i in range(n)]))
        assert (" ..." in told(ctx, "failures.passive_points").sentence) == more
    ctx = bench_of(small(), {"failures.wait_limit_min": 20.0})
    hands = [case(t, Answer(True, RUN), hand_min=m) for t, m in (("VP1", 5.0), ("VP2", 12.0))]
    findings._by_hand(ctx, analysis(*hands, case("LP1", GOES), case("AC1", Answer(False, RUN))))
    one = told(ctx, "failures.hand_work")
    assert (one.value, one.limit) == (12.0, 20.0)
    assert "2 failures need people: VP2 fails takes longest, in 1 step" in one.sentence
    none = bench_of(small())
    findings._by_hand(none, analysis(case("LP1", GOES)))
    assert not none.notes.findings


@pytest.mark.parametrize(("used", "to"), [(60_000.0, 36_000.0), (10_000.0, 25_000.0)])
def test_a_tank_that_lasts_while_its_source_is_mended(
    monkeypatch: pytest.MonkeyPatch, used: float, to: float
) -> None:
    """Twenty cubic metres: would fail if a tank grew by less than a fourth or than six tenths of
    what is used, or one of recovered water did."""
    monkeypatch.setattr(findings, "water_day", lambda *_: SimpleNamespace(fresh=None))
    monkeypatch.setattr(findings, "most_in", lambda _, hours: used * hours / 3.0)
    ctx = bench_of(small(), {"failures.repair_factor": 1.5})
    found = findings._shortens(ctx, analysis(), cost(case("WS1", repair_h=2.0)))
    assert [(r.of, r.figure, r.to) for r in found] == [("WT1", "volume_l", to)]
    dry = bench_of(small(WT1=None))
    assert findings._shortens(dry, analysis(), cost(case("WS1"))) == ()


def test_what_shortens_a_wait() -> None:
    """Would fail if a pump without controller were given one of its own, or a rail a pump."""
    fields = {"flow_l_min": 60, "head_m": 9, "motor_kw": 1, "led_by": "BT1"}
    ctx = bench_of(small(MP3=machine("MP3", "milk_pump", controlled_by=("CT1",), **fields)))
    by_hand = Answer(True, (*RUN, OperatorAction("run", "MP4"), OperatorAction("start", "MP3")))
    found = findings._shortens(ctx, analysis(), cost(case("CT1", by_hand)))
    assert [(r.of, r.figure, r.to) for r in found] == [("MP3", "own_control", True)]
    rail = findings._shortens(ctx, analysis(), cost(case("PF1", GOES, law="slow")))
    assert [(r.of, r.figure) for r in rail] == [("PF1", "joint_kit")]


@pytest.mark.parametrize("no_stop", [True, False])
@pytest.mark.parametrize(("hours", "over"), [(0.5, False), (0.51, True)])
def test_the_longest_wait_and_the_most_milk_lost(no_stop: bool, hours: float, over: bool) -> None:
    """Half an hour at most: would fail if a failure that stops milking were told as a wait, hours
    as minutes, or the least milk lost as the most."""
    ctx = wish(no_stop, {"failures.wait_limit_min": 30.0})
    worst = then("10:00", loss_after_min=2.5)
    costs = [cost(case("VP1", GOES), 0.2, 5.0, worst=worst), cost(case("PF1", GOES, law="slow"),
             hours, 0.0, worst=worst), cost(case("EM1"), 9.0, 50.0, worst=worst),
             cost(case("VP2", GOES), 7.0)]  # fmt: skip
    findings._waiting(ctx, analysis(*(c.case for c in costs)), weighed(*costs))
    wait = told(ctx, "failures.waiting")
    assert wait.value == pytest.approx(60 * hours, abs=0.05) and wait.limit == (
        30.0 if no_stop else None
    )
    assert (wait.verdict == "fails") == (over and no_stop)
    assert ("remedy:" in wait.sentence) == over
    assert ("The farm allows" in wait.sentence) == (over and not no_stop)
    assert f"comes off {60 * hours:.0f} min later" in wait.sentence
    assert [r.of for r in wait.remedies] == ["PF1"] * over
    lost = told(ctx, "failures.milk_lost")
    assert lost.value == 50 and "EM1 fails at 10:00 loses 50 L, from 2.5 min" in lost.sentence
    assert "2 failures lose any" in lost.sentence
    none = wish(no_stop)
    findings._waiting(none, analysis(), weighed(cost(case("VP1", GOES), 0.0, worst=worst)))
    assert not none.notes.findings


def test_a_year_of_failures_and_pairs(monkeypatch: pytest.MonkeyPatch) -> None:
    """Would fail if the three that cost least were named, or money were litres over their price."""
    monkeypatch.setattr(findings, "declared", lambda c, _: SimpleNamespace(
        how={"VP1": "not simulated", "VP2": "changes nothing"}.get(
            c.event.machine, "")))  # fmt: skip
    cases = [case(t) for t in ("VP1", "VP2", "LP1", "AC1", "EM1")]
    costs = [cost(c, h) for c, h in zip(cases, (1.0, 5.0, 3.0, 4.0, 0.0), strict=True)]
    of = analysis(*cases, pairs=Cuts((), (("a", "b"),), 9, 4), passive=[case("BT1")])
    ctx = bench_of(small(), {"failures.milk_price_l": 0.5})
    scripts: Any = {c.event.id: None for c in cases}
    findings._year(ctx, of, weighed(*costs), scripts)
    hours, litres = (told(ctx, f"failures.{k}_year") for k in ("hours", "litres"))
    assert "most of it: VP2 fails 5 h, AC1 fails 4 h, LP1 fails 3 h." in hours.sentence
    assert "cost 3 h a year (1 to 9 h," in hours.sentence and hours.value == 3.0
    assert "1 failures that are not simulated" in hours.sentence and "(1)" in hours.sentence
    assert litres.value == 40 and "about 20 EUR" in litres.sentence
    dry = bench_of(small())
    none = replace(weighed(), litres=Hours(0.0, 0.0, 0.3))
    findings._year(dry, of, none, scripts)
    assert "cost no milk" in told(dry, "failures.litres_year").sentence
    findings._pairs(ctx, of, weighed(pairs={("a", "b"): 0.2, ("c", "d"): 0.3, ("e", "f"): 0.1}))
    pair = told(ctx, "failures.pairs")
    assert pair.value == 1 and "; c with d 0.3 h; a with b 0.2 h. 9 pairs" in pair.sentence
    for a, w in ((analysis(), weighed(pairs={("a", "b"): 1.0})), (of, weighed())):
        findings._pairs(dry, a, w)
    assert not [f for f in dry.notes.findings if f.key == "failures.pairs"]
    findings._not_simulated(ctx, of, scripts)
    shown = told(ctx, "failures.not_simulated")
    assert shown.value == 1 and shown.sentence.startswith("Of 5 failures 3 change")
    assert "; 1 are simulated and change nothing; 1 are not" in shown.sentence


@pytest.mark.parametrize(("fallen", "words"), [
    ((7.0,), "milked."), ((7.0, 0.5), "One other failure"), ((7.0, 3.0, 0.5, 0.4), "2 other"),
])  # fmt: skip
def test_cups_that_fall(fallen: tuple[float, ...], words: str) -> None:
    """Would fail if half a cup were none, a tenth one, or the quickest were told as the longest."""
    ctx = wish(True, {"failures.wait_limit_min": 30.0})
    tags = ("VP1", "VP2", "EM1", "AC1")
    costs = [cost(case(t, GOES), fallen=n, again_min=2 * n) for t, n in
             zip(tags, fallen, strict=False)]  # fmt: skip
    findings._cups(ctx, weighed(*reversed(costs)))
    one = told(ctx, "failures.cups")
    assert (one.value, one.subject, one.limit) == (14.0, "VP1", 30.0) and words in one.sentence
    none = wish(False)
    findings._cups(none, weighed(cost(case("VP1"), fallen=0.4)))
    assert not none.notes.findings
    findings._cups(none, weighed(*costs))
    assert told(none, "failures.cups").limit is None


def test_machines_out_for_service() -> None:
    """Would fail if those that stop milking were counted among those that may be out."""
    ctx = bench_of(small())
    out = [Out(t, "", goes, "", (), 0.0, then_) for t, goes, then_ in
           (("A", True, ("B",)), ("B", True, ()), ("C", False, ("A",)))]  # fmt: skip
    findings._service(ctx, analysis(), out)
    one = told(ctx, "failures.service")
    assert one.value == 2 and one.sentence.startswith("2 of 3") and "; 1 of them" in one.sentence
    findings._service(ctx, analysis(), [])
    assert len(ctx.notes.findings) == 1


def test_common_causes_are_told_by_their_worst() -> None:
    """Would fail if the mildest failure stood for its cause, a stop that nobody minds were judged,
    or a seal of any pump counted as a receiver's."""
    mains = [cost(case("EM1", GOES), 3.0), cost(case("EM1"), 0.5), cost(case("LP1"), 9.0)]
    of = analysis(*(c.case for c in mains))
    for no_stop, sort, judged in ((True, "equipment", True), (False, "equipment", False),
                                  (True, "common", False)):  # fmt: skip
        ctx = wish(no_stop)
        costs = [replace(c, case=replace(c.case, sort=sort)) for c in mains]
        findings._cause(ctx, of, weighed(*costs), *findings.ASKED[0])
        one = told(ctx, "failures.cause.mains")
        assert (one.value, one.verdict == "fails") == (30.0, judged)
    seal = case("MP1", way="seal leaks")
    pump = small().equipment["MP1"]
    pick = findings._receiver_pump
    assert pick(of, pump, seal) and not pick(of, small().equipment["MP3"], seal)
    assert not pick(of, pump, case("MP1")) and not pick(of, small().equipment["VP1"], seal)


@pytest.mark.parametrize(("fields", "hours", "words", "missing"), [
    ({"cows_h_before": 90.0, "cows_h": 45.0}, 0.0, "45 of 90 cows in the next hour", "store"),
    ({"out_c": 4.4, "out_before_c": 4.0}, 0.0, "leaves the cooler at 4.4 degC", "store"),
    ({"out_c": 4.2, "out_before_c": 4.0}, 0.0, "no other effect", "cooler"),
    ({"milk_c": 4.4, "milk_before_c": 4.0}, 0.0, "up to 4.4 degC instead of 4.0", "cooler"),
    ({"milk_c": 4.2, "milk_before_c": 4.0}, 0.0, "no other effect", "store"),
    ({"milk_c": 9.0}, 0.0, "no other effect", "store"),
    ({}, 0.021, "last cow 1 min later", "other effect"), ({}, 0.02, "no other effect", "later"),
])  # fmt: skip
def test_what_a_failure_does_in_words(
    fields: dict[str, float], hours: float, words: str, missing: str
) -> None:
    """Would fail if a third of a degree or a minute were told, or none were where they are more."""
    one = cost(case("VP1", GOES), hours, worst=then(**fields))
    text = findings.cause_sentence(analysis(), one).partition(". What you see")[0]
    assert "; at 10:00: " in text and words in text and missing not in text


def test_air_to_spare_and_cups_in_words() -> None:
    """Would fail if the air of a sound plant were told as lost, or less than none were left."""
    of = analysis(base=Answer(True, spare_l_min=500.0))
    for left, words in ((300.0, "spare 300 instead of 500"), (-20.0, "spare 0 instead of 500"),
                        (499.5, "")):  # fmt: skip
        text = findings.cause_sentence(of, cost(case("VP1", Answer(True, spare_l_min=left)), 0.0))
        assert ("vacuum air" in text) == bool(words) and words in text
    stop = findings.cause_sentence(of, cost(case("VP1"), 0.0, fallen=0.5, again_min=3.0))
    assert "vacuum air" not in stop and "(nothing runs)" in stop and "take 3 min" in stop
    lost = cost(
        case("VP1", Answer(True, RUN), hand_min=4.0), 0.0, 6.0, worst=then("before the first")
    )
    text = findings.cause_sentence(of, lost)
    assert "(run MP3 by hand; 4 min)" in text and "; before the first: 6 L lost" in text
    assert "cups" not in findings.cause_sentence(of, cost(case("VP1"), fallen=0.4))
