"""The structure function: toys it must not be, wishes it must judge, and a separate oracle."""

from __future__ import annotations

import random
import re
from collections.abc import Hashable
from functools import cache

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from byrewright.plant import effects
from byrewright.plant.machine import Failure
from byrewright.standards.rulebook import Rulebook, default_rulebook
from byrewright.studies.failures.analysis import Analysis, analyse
from byrewright.studies.failures.cuts import Cancelled, search
from byrewright.studies.failures.declared import declared
from byrewright.studies.failures.events import Event, FaultEffect, events_of, lose
from byrewright.studies.failures.script import Scripts
from byrewright.studies.failures.study import study_failures
from byrewright.studies.failures.support import reads
from tests.studies.failing import (
    LARGE,
    ROWS,
    SMALL,
    analysed,
    changed,
    example,
    oracle,
    with_way_round,
    written,
)

RULES = default_rulebook()


@pytest.fixture
def large() -> Analysis:
    """The large example, asked once."""
    return analysed(LARGE)


def ones(analysis: Analysis) -> set[str]:
    """Single failures of equipment that stop milking."""
    return {c.event.id for c in analysis.ones("equipment")}


def test_an_effect_is_typed_and_never_silent() -> None:
    """An effect in other words, or outside the flows and unsaid, would count as harmless."""
    with pytest.raises(TypeError, match="an effect is one of"):
        Failure("clogs", "filter", 0.2, "flow falls", "clean it", "", "clogged")  # type: ignore[arg-type]
    with pytest.raises(ValueError, match="says what it means"):
        effects.Effect("outside")
    silent = [
        c.event.id for name in (LARGE, ROWS) for c in analysed(name).cases
        if not declared(c, written(name)[c.event.id]).why
        and written(name)[c.event.id].nothing
    ]  # fmt: skip
    assert silent == []


def test_milk_does_not_pass_a_receiver_without_vacuum_backwards() -> None:
    """Milk came in by the balance line of a receiver that has no vacuum and went on to a tank."""
    for lost in (("ST2", "MP1"), ("ST1", "MP2"), ("V21", "ST2")):
        hits = [h for t in lost for h in lose(example(ROWS), t).variants[0]]
        assert not analysed(ROWS).structure.ask(hits).goes_on


def test_fallen_cups_belong_to_the_cost() -> None:
    """A lone duty pump that trips would cost the standby seconds, not the minutes of the cups."""
    alone = example(ROWS)
    modes = {
        n: m.model_copy(update={"positions": {**m.positions, "VP2": "ready"}})
        if m.positions.get("VP2") == "runs" else m for n, m in alone.modes.items()
    }  # fmt: skip
    analysis = analyse(alone.model_copy(update={"modes": modes}), RULES)
    script = Scripts(analysis).of(analysis.case("VP1 stops"))
    units = sum(m.count for m in example(ROWS).able("gives milk"))
    people = max(m.operators for m in example(ROWS).milkings)
    assert script.fallen == units
    assert script.again_s == pytest.approx(60.0 * units / people)
    assert any(("halt", "", 1.0) in s.settings for s in script.stages)
    assert not written(LARGE)["VP1 stops"].fallen  # the other of two that share carries on
    duty = analysed(LARGE).duty  # on a deck, those within their milk-out; the others hang free
    on = 86 * duty.milk_out.mean_s / duty.turn_s
    assert written(LARGE)["EM1 fails"].fallen == pytest.approx(on, abs=0.5)
    assert not any(s.fallen for s in written(LARGE).values() if s.only)  # no cups before milking


def test_one_broken_roller_of_many_does_not_slow_the_deck() -> None:
    """One of 92 rollers was said to cost three tenths of the pace."""
    assert analysed(LARGE).case("RL1 breaks").answer.untouched
    weak = changed(example(LARGE), RL1={"rated_kn": 1.0})
    slow = analyse(weak, RULES).case("RL1 breaks").answer
    assert slow.pace == pytest.approx(RULES.number("failures.slow_share"))
    two = analysed(LARGE).structure.ask([FaultEffect("bears", "RL1")] * 2)
    assert two.pace < 1.0


@pytest.mark.parametrize("name", [LARGE, SMALL, ROWS])
def test_examples_milk_with_nothing_broken(name: str) -> None:
    """Every answer would rest on a plant that does not milk."""
    assert analysed(name).base.untouched


def test_both_pumps_on_one_board_make_a_cut(large: Analysis) -> None:
    """The study would miss a common supply."""
    plant = example(LARGE)
    board = plant.equipment["VP1"].fed_from[0]
    assert f"{board} main breaker trips" not in _vacuum_cuts(large)
    both = changed(plant, VP2={"fed_from": (board,)}, VP1={"fed_from": (board,)})
    found = analyse(both, RULES)
    assert f"{board} main breaker trips" in ones(found)
    assert "vacuum" in found.case(f"{board} main breaker trips").answer.why


def _vacuum_cuts(analysis: Analysis) -> set[str]:
    return {c.event.id for c in analysis.cases if c.stops and "vacuum" in c.answer.why}


def test_shut_suction_valve_of_the_standby_stops_and_a_way_round_mends(large: Analysis) -> None:
    """Order of series and parallel in the suction would be wrong."""
    plant = example(LARGE)
    hits = [FaultEffect("off", "VP1"), FaultEffect("stuck", "V12", "closed")]
    assert large.structure.ask(hits[:1]).untouched
    shut = large.structure.ask(hits)
    assert not shut.goes_on
    assert "vacuum" in shut.why
    wider = analyse(with_way_round(plant, "V12", "V99"), RULES)
    mended = wider.structure.ask(hits)
    assert mended.goes_on
    assert [a.text for a in mended.acts] == ["set V99 open"]


def test_a_hand_valve_left_shut_is_opened_by_hand() -> None:
    """A shut valve that moves would be taken for a stop."""
    plant = example(LARGE)
    modes = {
        n: m.model_copy(update={"positions": {**m.positions, "V12": "closed"}})
        for n, m in plant.modes.items()
    }
    found = analyse(plant.model_copy(update={"modes": modes}), RULES)
    answer = found.structure.ask([FaultEffect("off", "VP1")])
    assert answer.goes_on
    assert [a.text for a in answer.acts] == ["set V12 open"]


def test_power_rings(large: Analysis) -> None:
    """Pulsators and pumps on the deck hang on the ring; a second set takes the cut away."""
    plant = example(LARGE)
    event = "GL1 power ring lost"
    one = analyse(changed(plant, GL1={"power_rings": 1}), RULES)
    two = analyse(changed(plant, GL1={"power_rings": 2}), RULES)
    assert event in ones(one)
    assert event not in ones(two)
    assert "PU1" in large.structure.on_deck
    assert "VP1" not in large.structure.on_deck


def test_too_small_a_partner_is_slow_then_stops() -> None:
    """A pump too small for the units would count as a full standby."""
    plant = example(LARGE)
    need = analysed(LARGE).structure.needs
    for share, goes_on in ((1.05, True), (0.7, True), (0.3, False)):
        air = need.air_fixed_l_min + share * need.air_units_l_min
        found = analyse(changed(plant, VP2={"capacity_l_min_free": air}), RULES)
        answer = found.structure.ask([FaultEffect("off", "VP1")])
        assert answer.goes_on == goes_on
        assert answer.pace == pytest.approx(min(1.0, share))


def test_leaking_check_valve_of_a_stopped_pump() -> None:
    """Story 1 on the structure: air comes back through the pump until its hand valve is shut."""
    plant = example(LARGE)
    hits = [FaultEffect("off", "VP1"), FaultEffect("passes", "NR1")]
    answer = analysed(LARGE).structure.ask(hits)
    acts = [a.text for a in answer.acts]
    small = plant.equipment["VP2"].capacity_l_min_free * 0.75  # type: ignore[attr-defined]
    tight = analyse(changed(plant, VP2={"capacity_l_min_free": small}), RULES)
    assert answer.goes_on
    assert acts in ([], ["close V11"])
    assert [a.text for a in tight.structure.ask(hits).acts] == ["close V11"]


def test_order_of_the_file_changes_nothing() -> None:
    """Answers would hang on the order of machines and pipes."""
    plant = example(SMALL)
    rng = random.Random(3)
    tags, pipes = list(plant.equipment), list(plant.pipes)
    rng.shuffle(tags)
    rng.shuffle(pipes)
    other = plant.model_copy(update={
        "equipment": {t: plant.equipment[t] for t in tags}, "pipes": tuple(pipes)})  # fmt: skip
    one, two = analysed(SMALL), analyse(other, RULES)
    assert ones(one) == ones(two)
    for case in one.cases:
        mine = two.case(case.event.id).answer
        assert (case.answer.goes_on, len(case.answer.acts)) == (mine.goes_on, len(mine.acts))


@settings(max_examples=120, deadline=None)
@given(st.data())
def test_lost_machines_against_a_separate_search(data) -> None:  # type: ignore[no-untyped-def]
    """One to four machines gone: the structure says what a plain graph search says."""
    name = data.draw(st.sampled_from([LARGE, SMALL, ROWS]))
    plant = example(name)
    tags = data.draw(st.lists(st.sampled_from(sorted(plant.equipment)), min_size=1, max_size=4,
                              unique=True))  # fmt: skip
    hits = [h for t in tags for h in lose(plant, t).variants[0]]
    answer = analysed(name).structure.ask(hits)
    if "carries only" not in answer.why:
        assert answer.goes_on == oracle(plant, set(tags)), answer.why


@settings(max_examples=60, deadline=None)
@given(st.data())
def test_a_further_failure_never_mends(data) -> None:  # type: ignore[no-untyped-def]
    """The search of pairs leaves out pairs that hold a single cut: it must be monotone."""
    structure = analysed(LARGE).structure
    every = [h for e in changing() for h in e.variants]
    one, two = data.draw(st.sampled_from(every)), data.draw(st.sampled_from(every))
    if not structure.ask(one).goes_on:
        assert not structure.ask([*one, *two]).goes_on


@cache
def changing() -> list[Event]:
    """The events that can change a flow in the large example."""
    return [e for e in events_of(example(LARGE)) if e.structural]


@settings(max_examples=100, deadline=None)
@given(st.data())
def test_pairs_counted_as_independent_do_not_stop_milking(data) -> None:  # type: ignore[no-untyped-def]
    """The proof on the graph would hide a pair that stops milking."""
    structure, events = analysed(LARGE).structure, changing()
    bits = _bits()
    one = data.draw(st.sampled_from(events))
    others = [e for e in events if not bits[e.id] & bits[one.id]]
    if not others:
        return
    two = data.draw(st.sampled_from(others))
    alone = [all(structure.ask(v).goes_on for v in e.variants) for e in (one, two)]
    if all(alone):
        for a in one.variants:
            for b in two.variants:
                assert structure.ask([*a, *b]).goes_on


@cache
def _bits() -> dict[Hashable, int]:
    return reads(analysed(LARGE).structure, changing())


def test_pairs_of_the_rows_example() -> None:
    """Twins are pairs that stop milking; what is proven independent is counted."""
    found = analyse(example(ROWS), RULES, pairs=True)
    assert found.pairs is not None
    pairs = {frozenset(p) for p in found.pairs.twos}
    assert frozenset({"VP1 stops", "VP2 stops"}) in pairs
    assert frozenset({"MP3 stops", "MP4 stops"}) in pairs
    assert found.pairs.independent > found.pairs.asked > 0
    single = ones(found)
    assert not any(p & single for p in pairs)


def test_cancel_stops_the_search() -> None:
    """A user who cancels would wait for the end."""
    with pytest.raises(Cancelled):
        search("abcdef", lambda out: True, say=lambda what, done, total: True)


def test_limits_file_moves_a_life() -> None:
    """A farm's own record would not count."""
    plant = example(ROWS)
    plain = analysed(ROWS).rates["VP1 stops"]
    own = analyse(plant, Rulebook({"life.ac_motor": 50_000.0})).rates["VP1 stops"]
    # The motor is one of the parts that stop the pump: only its own share doubles.
    motor = (
        plain.a_year
        - analyse(plant, Rulebook({"life.ac_motor": 200_000.0})).rates["VP1 stops"].a_year
    )
    assert own.a_year == pytest.approx(plain.a_year + 2 * motor)


def test_a_new_kind_needs_no_other_edit() -> None:
    """A machine defined outside would be unknown to the study."""
    from byrewright.plant.kinds.milk import Header
    from byrewright.plant.machine import REGISTRY

    class Sieve(Header):
        KIND = "test_sieve"
        TITLE = "Test sieve"
        FAILURES = (Failure("clogs", "filter", 0.2, "flow falls", "clean it", "", effects.SHUT),)

    try:
        plant = example(SMALL)
        tag = next(t for t, m in plant.equipment.items() if m.KIND == "header" and t == "HM4")
        fields = plant.equipment[tag].model_dump()
        new = plant.model_copy(update={"equipment": {**plant.equipment, tag: Sieve(**fields)}})
        found = analyse(new, RULES)
        assert f"{tag} clogs" in ones(found)
    finally:
        REGISTRY.pop("test_sieve", None)


def test_drives_k_of_n() -> None:
    """Drives too small for the deck with one out would count as enough."""
    plant = example(LARGE)
    drives = plant.able("turns deck")
    need = analysed(LARGE).structure.needs.drive_kw
    total = sum(d.count for d in drives)
    each = need / (total - 1)
    for factor, pace in ((1.01, 1.0), (0.8, 0.8)):
        small = changed(plant, **{d.id: {"motor_kw": each * factor} for d in drives})
        answer = analyse(small, RULES).structure.ask(
            [FaultEffect("share", drives[0].id, amount=(drives[0].count - 1) / drives[0].count)]
            if drives[0].count > 1 else [FaultEffect("off", drives[0].id)]
        )  # fmt: skip
        assert answer.pace == pytest.approx(pace, rel=0.02)


def test_a_valve_that_loses_its_signal_goes_to_rest() -> None:
    """Milk would be thought to go on to the tank while the divert dumps it."""
    for name in ("rows_two_by_twenty", LARGE):
        plant = changed(example(name), V40={"on_loss": "to_c", "moved_by": "air"})
        case = analyse(plant, RULES).case("V40 loses its signal")
        assert not case.stops
        assert [a.text for a in case.answer.acts] == ["move V40 by hand, to b"]
    stays = changed(example(LARGE), V40={"on_loss": "stays"})
    assert "V40 loses its signal" not in {c.event.id for c in analyse(stays, RULES).cases}


def test_what_is_done_is_listed_once() -> None:
    """Starting the tractor's set was told twice: for power and again for the cold water, of this
    plant and again of any; so was running a pump by hand whose level sensor failed."""
    plant = changed(example(ROWS), GE1={"start_by": "tractor"})
    done = next(t for t in study_failures(plant, simulate=False).tables if t.key.endswith("to_do"))
    steps = [re.findall(r"\d+\. ([^;]*)", str(r[2])) for r in done.rows]
    assert any("start GE1 and transfer the load to it" in s for s in steps)
    assert [s for s in steps if len(set(s)) < len(s)] == []
    told = {str(r[0]): str(r[2]) for r in done.rows}
    start = "1. start GE1 and transfer the load to it"
    assert told["EM1 fails"] == f"{start}; 2. switch loads on in the order at the board"
    assert told["EM1 loses a phase"] == start
    assert told["RC1 level probe says empty"] == "1. run MP1 by hand; 2. wipe the probe"
    assert told["V40 sticks"] == "1. move V40 by hand, to b"


def test_a_machine_that_has_lost_all_its_parts_stands() -> None:
    """Would fail if nothing were to be done about two pumps of one tag that have both failed."""
    structure = analysed(SMALL).structure
    told = 0
    for one in (*structure.pulsators, *structure.milk_pumps):
        halves = [FaultEffect("share", one.id, amount=0.5)] * 2
        off = structure.ask([FaultEffect("off", one.id)])
        assert structure.ask(halves) == off
        told += bool(off.acts)
    assert told
