"""Fifteen failure stories on the drafted examples: what one sees, what one does, what it costs.

The stories are common practice, no source. Each runs on the structure of the large rotary and,
where it costs something, on the simulated day, from the snapshot before it.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import cache

import pytest

from byrewright.plant.plant import Plant
from byrewright.results import ResultBuilder
from byrewright.standards.rulebook import default_rulebook
from byrewright.studies.failures.analysis import Case, analyse, hand_minutes
from byrewright.studies.failures.answer import Answer
from byrewright.studies.failures.consequence import Consequence
from byrewright.studies.failures.cups import Cups
from byrewright.studies.failures.events import FaultEffect
from byrewright.studies.failures.findings import _shortens, _waiting
from byrewright.studies.failures.rates import Hours
from byrewright.studies.failures.runs import Field, run_all
from byrewright.studies.failures.script import Script, Scripts
from byrewright.studies.failures.worth import Cost, Worth
from byrewright.studies.sizing.context import StudyContext
from tests.studies.failing import LARGE, ROWS, SMALL, analysed, changed, example

MONTH, SEED = 8, 1
ON_THE_DAY = (
    "SN1 reads false", "VP1 runs at one speed", "RC1 level probe says empty", "MP1 seal leaks",
    "GL1 slip ring lost", "RL1 breaks", "PF1 rail joint lifts", "PF1 stop circuit broken",
    "EM1 fails", "AV1 hose bursts",
    "WF1 blocks", "ST1 float shuts",
)  # fmt: skip


@dataclass(frozen=True)
class Told:
    """A case with its consequences by moment."""

    case: Case
    day: dict[str, Consequence]

    @property
    def acts(self) -> list[str]:
        """What people do, in words."""
        return [a.text for a in self.case.answer.acts]

    @property
    def seen(self) -> str:
        """What one sees."""
        return self.case.event.failure.seen

    @property
    def done(self) -> str:
        """What one does besides."""
        return self.case.event.failure.do


@cache
def field() -> tuple[Field, dict[str, Script]]:
    """The large example's days with the stories' scripts."""
    analysis = analysed(LARGE)
    writer = Scripts(analysis)
    cold = [c.event.id for c in analysis.cases
            if analysis.plant.equipment[c.event.machine].can("makes cold")]  # fmt: skip
    names = [*ON_THE_DAY, *cold]
    scripts = {n: writer.of(analysis.case(n)) for n in names}
    scripts["both chillers"] = writer.of(
        analysis.case(cold[0]),
        tuple(FaultEffect("off", m.id) for m in analysis.plant.able("makes cold")),
    )
    scripts["dark"] = writer.of(
        _together("EM1 fails", "GE1 does not start"),
        (FaultEffect("off", "EM1"), FaultEffect("off", "GE1")),
    )
    return Field(analysis.plant, analysis.rules, scripts.values(), SEED, MONTH), scripts


@cache
def day() -> dict[str, tuple[Consequence, ...]]:
    """Every story on the simulated day."""
    where, scripts = field()
    return run_all(where, scripts)


def _together(*names: str) -> Case:
    analysis = analysed(LARGE)
    cases = [analysis.case(n) for n in names]
    hits = tuple(h for c in cases for h in c.hits)
    answer = analysis.structure.ask(hits)
    return Case(
        cases[0].event,
        hits,
        answer,
        "equipment",
        hand_minutes(answer, analysis.rules, analysis.plant),
    )


def told(name: str) -> Told:
    """A story of the large example."""
    return Told(analysed(LARGE).case(name), {c.moment: c for c in day().get(name, ())})


def ask(*hits: FaultEffect) -> Answer:
    """The structure's answer for the large example."""
    return analysed(LARGE).structure.ask(hits)


def does(case_or_answer: Case | Answer) -> list[str]:
    """The acts in words."""
    answer = case_or_answer.answer if isinstance(case_or_answer, Case) else case_or_answer
    return [a.text for a in answer.acts]


def any_word(text: str, words: Iterable[str]) -> bool:
    """Whether a text holds one of some words."""
    return any(w in text for w in words)


def test_1_pump_trips_and_its_check_valve_leaks() -> None:
    """Vacuum sinks though the partner runs; the hand valve mends it, or milking is slower."""
    base = ask()
    trips = ask(FaultEffect("off", "VP1"))
    both = ask(FaultEffect("off", "VP1"), FaultEffect("passes", "NR1"))
    assert trips.untouched
    assert both.goes_on
    assert trips.spare_l_min < base.spare_l_min
    assert does(both) in ([], ["close V11"])
    small = changed(example(LARGE), VP2={"capacity_l_min_free": 4300.0})
    answer = analyse(small, analysed(LARGE).rules).structure.ask(
        [FaultEffect("off", "VP1"), FaultEffect("passes", "NR1")]
    )
    assert "close V11" in does(answer)
    story = told_only("VP1 stops")
    assert any_word(story.event.failure.do, ["hand valve"])
    assert any_word(story.event.failure.do, ["slower"])


def told_only(name: str) -> Case:
    """The case alone, with no day."""
    return analysed(LARGE).case(name)


def test_2_speed_control_sensing_is_wrong() -> None:
    """Pumps hunt or run flat out: milking goes on with the mechanical regulator."""
    for name in ("SN1 reads false", "VP1 runs at one speed"):
        story = told(name)
        assert not story.case.stops
        assert all(c.litres == 0 for c in story.day.values())
    assert "regulator" in told("VP1 runs at one speed").done
    assert analysed(LARGE).plant.able("regulates vacuum")


def test_3_receiver_probe_fouled() -> None:
    """The pump never starts and the receiver fills within minutes; hand-run, wipe."""
    story = told("RC1 level probe says empty")
    assert story.acts == ["run MP1 by hand"]
    assert any_word(story.done, ["wipe"])
    at = story.day["peak flow"]
    assert at.loss_after_min is not None
    assert at.loss_after_min < story.case.hand_min
    assert at.stood_min > 0
    assert at.delay_min < 30


def test_4_milk_pump_seal() -> None:
    """Foam and air in the delivery: the partner takes the flow through the flooded line."""
    story = told("MP1 seal leaks")
    assert story.acts == ["set V25 open"]
    assert any_word(story.seen, ["foam"])
    assert story.case.event.failure.part == "seal kit"
    at = story.day["peak flow"]
    assert at.cows_h > 0.8 * at.cows_h_before
    assert at.delay_min < 30


def test_5_sanitary_trap_shuts() -> None:
    """One side loses its vacuum; with one receiver all do, until it is drained."""
    story = told("ST1 float shuts")
    assert story.case.answer.goes_on
    assert any_word(story.done, ["drain"])
    rows = example(ROWS)
    if len([m for m in rows.equipment.values() if m.KIND == "receiver"]) > 1:
        rows = changed(rows, drop=("RC2", "ST2"))
    single = analyse(rows, analysed(ROWS).rules).case("ST1 float shuts")
    assert single.stops
    assert "vacuum" in single.answer.why


def test_6_rotary_joint_seal() -> None:
    """Hiss and low vacuum: the reserve is less, milking goes on, that part is changed."""
    case = told_only("GL1 seal leaks")
    base, now = ask(), case.answer
    assert not case.stops
    leak = analysed(LARGE).rules.number("failures.leak_l_min")
    assert base.spare_l_min - now.spare_l_min == pytest.approx(leak)
    assert case.event.failure.part == "seal set"
    assert any_word(case.event.failure.do, ["that part"])


def test_7_slip_ring_lost() -> None:
    """Removers and meters dead, milking continues by hand; a power ring is another matter."""
    story = told("GL1 slip ring lost")
    assert story.case.answer.goes_on
    assert set(story.acts) <= {"run MP1 by hand", "run MP2 by hand"}
    assert any_word(story.done, ["units off by hand"])
    assert any_word(story.done, ["brushes or the ring"])


def test_8_drive_slips() -> None:
    """The failed unit is lifted out; the others turn the deck at its pace."""
    drives = analysed(LARGE).plant.able("turns deck")
    case = told_only(f"{drives[0].id} slips or trips")
    assert case.answer.goes_on
    assert case.answer.pace == pytest.approx(1.0)
    assert any("lift the failed unit" in a for a in does(case)) or len(drives) > 1
    assert "slow down" in case.event.failure.do


def test_9_roller_broken() -> None:
    """A thump once a turn: one of many is carried by its neighbours; a lifted rail joint slows."""
    story = told("RL1 breaks")
    assert "thump" in story.seen
    assert story.case.answer.untouched
    story = told("PF1 rail joint lifts")
    assert story.case.answer.pace == 1.0 and story.case.hand_min == pytest.approx(3.0 + 20.0)
    rules = analysed(LARGE).rules
    bare = analyse(changed(example(LARGE), PF1={"joint_kit": False}), rules)
    slow = bare.case("PF1 rail joint lifts").answer
    assert slow.pace == pytest.approx(rules.number("failures.slow_share")) and not slow.acts
    at = story.day["peak flow"]
    assert at.cows_h < at.cows_h_before
    assert at.delay_min > 5


def test_10_stop_circuit_broken() -> None:
    """No restart until proven: nothing is done to bridge it, and the wish is not held to it."""
    story = told("PF1 stop circuit broken")
    assert story.case.stops
    assert story.case.sort == "safety"
    assert story.acts == []
    assert "do not restart until" in story.done
    at = story.day["peak flow"]
    assert at.cows_h < 0.1 * at.cows_h_before
    assert at.delay_min == pytest.approx(60, abs=10)


def test_11_mains_gone_and_the_generator_does_not_start() -> None:
    """Mains alone costs seconds and the cups that fell; with a flat start battery it is dark."""
    story = told("EM1 fails")
    assert story.case.answer.goes_on
    one = analysed(LARGE)
    cups_min = Cups(one.plant, one.rules, one.duty).again_s(one.duty.units_on) / 60
    assert story.day["peak flow"].stood_min == pytest.approx(cups_min, abs=1)
    both = _together("EM1 fails", "GE1 does not start")
    assert both.stops
    dark = {c.moment: c for c in day()["dark"]}["peak flow"]
    assert dark.delay_min > 60
    flat = _together("EM1 fails", "US1 battery flat")
    assert "start CT1" in does(flat)
    assert "tractor" in told_only("GE1 does not start").event.failure.do
    assert told_only("GE1 does not start").event.failure.part == "start battery"


def test_12_compressed_air_lost() -> None:
    """Valves go to rest: isolate the section; a frozen dryer is passed by its bypass."""
    story = told("AV1 hose bursts")
    assert not story.case.stops
    assert any_word(story.done, ["isolate"])
    plant = changed(example(LARGE), V40={"on_loss": "to_c"}, V41={"on_loss": "closes"})
    found = analyse(plant, analysed(LARGE).rules)
    assert "isolate the burst section of AV1" in does(found.case("AV1 hose bursts"))
    other = found.structure.ask([FaultEffect("off", "AC2"), FaultEffect("shut", "AD1")])
    assert does(other) == ["set V91 open"]
    assert not found.structure.ask([FaultEffect("off", "AC1"), FaultEffect("off", "AC2")]).goes_on


def test_13_refrigeration_trips_on_a_hot_night() -> None:
    """The store warms unseen while milking goes on: more with both out than with one."""
    cold = [n for n in day() if n.endswith(("trips", "compressor trips"))]
    cases = [told(n) for n in cold]
    assert all(not s.case.stops for s in cases)
    one = max(c.warmer_k for s in cases for c in s.day.values())
    both = max(c.warmer_k for c in day()["both chillers"])
    assert both > 0.5
    assert both >= one


def test_14_cooler_leaks_or_water_short() -> None:
    """Freezing point up: milk suspect; with the water filter blocked milk leaves warmer."""
    leak = told_only("PC1 plate leaks")
    assert "freezing point" in leak.event.failure.seen
    assert "isolate" in leak.event.failure.do
    assert not leak.stops
    short = told("WF1 blocks")
    assert not short.case.stops
    assert any(c.warmer_k > 0.5 for c in short.day.values())


def test_15_wash_fails_silently() -> None:
    """A cold wash or no dose: milking goes on, counts rise days later; the return is cooler."""
    dose = told_only("DS1 does not dose")
    assert not dose.stops
    assert "days later" in dose.event.failure.seen
    assert "wash again" in dose.event.failure.do

    def cooler_k(volume_l: float) -> float:
        event, heater = "WH1 element fails", {"volume_l": volume_l}
        analysis = analyse(changed(example(LARGE), WH1=heater, WH2=heater), default_rulebook())
        scripts = {event: Scripts(analysis).of(analysis.case(event))}
        found = run_all(
            Field(analysis.plant, analysis.rules, scripts.values(), SEED, MONTH), scripts
        )
        washed = [c for c in found[event] if c.wash_before_c > 0]
        assert washed
        return max(c.wash_before_c - c.wash_c for c in washed)

    # Two that hold a wash and more still give hot water until the element is changed.
    assert cooler_k(1200.0) == 0.0
    assert cooler_k(600.0) > 2.0  # kelvin: one of two smaller ones


def test_small_example_has_the_same_words() -> None:
    """Words to people would be lost in a plant of another size."""
    for case in analysed(SMALL).cases:
        assert case.event.failure.seen
        assert case.event.failure.do


def test_no_tank_is_enlarged_where_there_is_none() -> None:
    """Would fail if a plant fed straight from its source were told to enlarge a tank it has not."""
    case = next(c for c in analysed(ROWS).cases if c.event.machine == "WS1")
    straight = changed(example(ROWS), WT1={"holds": "recovered"})
    for plant, named in ((example(ROWS), {"WT1"}), (straight, set[str]())):
        ctx = StudyContext(plant, default_rulebook(), ResultBuilder("failures", "rows"))
        cost = Cost(case, None, 1.0, 0.0, 1.0)
        assert {r.of for r in _shortens(ctx, analysed(ROWS), cost)} == named


def test_pumps_that_run_on_by_themselves_need_no_hand() -> None:
    """Would fail if a lost signal ring named no figure that mends it, or its pumps still stood
    with a probe of their own."""
    event = "GL1 slip ring lost"

    def asked(plant: Plant, case: Case) -> dict[str, dict[str, object]]:
        ctx = StudyContext(plant, default_rulebook(), ResultBuilder("failures", "large"))
        found = _shortens(ctx, analysed(LARGE), Cost(case, None, 1.0, 0.0, 1.0))
        return {r.of: {r.figure: r.to} for r in found}

    case = analysed(LARGE).case(event)
    mends = asked(example(LARGE), case)
    assert mends == {tag: {"own_control": True} for tag in ("MP1", "MP2")}
    mended = changed(example(LARGE), MP1=mends["MP1"], MP2=mends["MP2"])
    assert not analyse(mended, default_rulebook()).case(event).answer.acts


def test_all_that_waits_too_long_is_mended_at_once() -> None:
    """Would fail if a draft had to be drafted again for each failure, the longest wait first."""
    names = ("GL1 slip ring lost", "PF1 rail joint lifts")
    costs = [
        Cost(analysed(LARGE).case(n), next(iter(told(n).day.values())), hours, 0.0, 1.0)
        for n, hours in zip(names, (2.0, 1.0), strict=True)
    ]

    def mends(*late: Cost) -> set[str]:
        ctx = StudyContext(example(LARGE), default_rulebook(), ResultBuilder("failures", "large"))
        _waiting(
            ctx, analysed(LARGE), Worth(late, Hours(0.0, 0.0, 0.0), Hours(0.0, 0.0, 0.0), None, {})
        )
        (found,) = ctx.notes.findings
        return {r.figure for r in found.remedies}

    assert mends(*costs) == {"own_control", "joint_kit"}
    assert mends(costs[0], replace(costs[1], hours_each=0.1)) == {"own_control"}
