"""How failures are asked, judged and told, on a structure whose answers are made up."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pytest

from byrewright.plant.effects import OFF
from byrewright.plant.machine import Failure
from byrewright.studies.failures import analysis, cuts, declared, maintenance
from byrewright.studies.failures.answer import Answer
from byrewright.studies.failures.cuts import Cancelled, search
from byrewright.studies.failures.events import Event, FaultEffect
from byrewright.studies.failures.paths import OperatorAction
from byrewright.studies.failures.rates import Rate
from byrewright.studies.failures.study import _may_wait
from tests.plants import machine, rotary
from tests.studies.benches import bench_of

PLANT = rotary(20, 60)
RULES = {"failures.notice_min": 2.0, "failures.act_min": 3.0, "failures.joint_min": 20.0}
GOES, STOPS = Answer(True), Answer(False)


def act(verb: Any, tag: str = "MP1") -> OperatorAction:
    """An act of people."""
    return OperatorAction(verb, tag)


@pytest.mark.parametrize(("acts", "minutes"), [
    ((), 0.0), ((act("run"),), 5.0), ((act("run"), act("close")), 8.0), ((act("clamp"),), 22.0),
    ((act("transfer", "GE1"),), 12.0), ((act("transfer", "GE2"),), 5.0),
    ((act("transfer", "no"),), 5.0), ((act("run", "GE1"),), 5.0),
])  # fmt: skip
def test_minutes_until_people_have_acted(acts: Any, minutes: float) -> None:
    """A set is fetched in ten minutes: would fail if acts were done at once, or nobody had to
    notice."""
    starts = {"GE1": 600.0, "GE2": 30.0}
    sets = {t: machine(t, "generator", rating_kva=50, start_s=s) for t, s in starts.items()}
    plant = PLANT.model_copy(update={"equipment": PLANT.equipment | sets})
    rules = bench_of(PLANT, RULES).rules
    assert analysis.hand_minutes(Answer(True, acts), rules, plant) == minutes


def test_the_worst_state_of_a_failure() -> None:
    """Would fail if a state that people can mend were worse than one that stops milking, or fewer
    acts than more."""
    answers = {"a": GOES, "b": Answer(True, (act("run"),)), "c": STOPS, "d": Answer(True, pace=0.5),
               "e": Answer(True, (act("run"), act("close")))}  # fmt: skip
    asks: Any = SimpleNamespace(ask=lambda hits: answers[hits[0]])

    def worst(which: str) -> str:
        return analysis.worst(asks, [(w,) for w in which])[0][0]  # type: ignore[return-value, misc]

    assert [worst(w) for w in ("ab", "be", "ced", "ad", "bd")] == ["b", "e", "c", "d", "b"]


def test_the_mode_of_milking_and_the_sort_of_a_failure() -> None:
    """Would fail if milking with a rinse were the plain milking, a safety stop were bridged, or
    what changes no flow were asked of the structure."""
    does = {"b": ("milking",), "c": ("milking",), "a": ("milking", "rinse"), "w": ("wash",)}
    modes = {n: SimpleNamespace(does=d) for n, d in does.items()}
    plant: Any = SimpleNamespace(modes=modes)
    assert analysis.milking_mode(plant) == "b"
    with pytest.raises(ValueError, match="no mode does milking"):
        analysis.milking_mode(SimpleNamespace(modes={"w": modes["w"]}))  # type: ignore[arg-type]
    asked: list[Any] = []
    structure: Any = SimpleNamespace(plant=PLANT, ask=lambda hits: asked.append(hits) or STOPS)

    def case(law: Any = "off", safety: bool = False, life: str = "motor",
             common: bool = False) -> Any:  # fmt: skip
        failure: Any = SimpleNamespace(safety=safety, life=life)
        event = Event("e", "VP1", "w", failure, ((FaultEffect(law, "VP1"),),), 1, common)
        return analysis._case(structure, event, GOES, bench_of(PLANT).rules)

    assert [case(**m).sort for m in ({}, {"safety": True, "common": True}, {"common": True},
                                     {"life": "vessel"})] == [
        "equipment", "safety", "common", "passive"]  # fmt: skip
    assert case().stops and not case("duty").stops and len(asked) == 5


def event(tag: str, law: Any = "off", alike: int = 1, variants: Any = None) -> Event:
    """A failure of a machine."""
    failure = Failure("fails", "motor", 2.0, "it hums", "change it", "", OFF)
    hits = variants or ((FaultEffect(law, tag),),)
    return Event(f"{tag} fails", tag, "fails", failure, hits, alike)


def test_two_at_once_last_as_the_quicker_repair(monkeypatch: pytest.MonkeyPatch) -> None:
    """Would fail if states of one alone were asked, or the pair lasted as the longer repair."""
    cases = {t: analysis.Case(event(t, variants=v), (), GOES, "equipment", 0.0) for t, v in (
        ("A", (("a1",), ("a2",))), ("B", (("b1",),)))}  # fmt: skip
    rates = {f"{t} fails": Rate(1.0, h, 0.0, 0.0, "m") for t, h in (("A", 5.0), ("B", 3.0))}
    asked: list[Any] = []
    one: Any = SimpleNamespace(
        case=lambda i: cases[i], rates=rates, rules=bench_of(PLANT).rules, plant=PLANT,
        structure=SimpleNamespace(ask=lambda hits: asked.append(hits)
                                  or (STOPS if "a2" in hits else GOES)))  # fmt: skip
    got = analysis.together(one, "A", "B")
    assert asked == [("a1", "b1"), ("a2", "b1")]
    assert got.event.machine == "B" and got.hits == ("a2", "b1") and got.stops


def test_pairs_of_failures_that_stop_milking(monkeypatch: pytest.MonkeyPatch) -> None:
    """Would fail if two of one tag could not fail together, failures alike were asked twice, or one
    that stops alone were part of a pair."""
    events = [event("A", alike=2), event("B"), event("C"), event("D", "duty", alike=2),
              event("E", variants=event("B").variants)]  # fmt: skip
    cases: Any = [SimpleNamespace(event=e) for e in events]
    asked: list[Any] = []

    def ask(hits: list[FaultEffect]) -> Answer:
        asked.append(tuple(h.machine for h in hits))
        out = asked[-1]
        return Answer(not ("C" in out or out.count("A") == 2 or {"A", "B"} <= {*out}))

    monkeypatch.setattr(analysis, "reads", lambda _, some: {e.id: int(e.machine != "D")
                                                            for e in some})  # fmt: skip
    found = analysis._pairs(SimpleNamespace(ask=ask), cases, GOES, None)  # type: ignore[arg-type]
    assert found.ones == ("C fails",)
    assert set(found.twos) == {("A fails", "B fails"), ("A fails", "E fails"),
                               ("A fails", "A fails")}  # fmt: skip
    assert len(asked) == len(set(asked))


def test_cuts_of_order_one_and_two() -> None:
    """Would fail if items that share nothing were asked, one with no bit could cut, or a stop were
    not heard."""
    bits = {"a": 1, "b": 1, "c": 2, "d": 3, "e": 0}
    asked: list[Any] = []

    def works(out: Any) -> bool:
        asked.append(out)
        return not {"a", "b"} <= {*out}

    found = search("abcde", works, reads=bits, twice=("c",))
    assert (found.ones, found.twos) == ((), (("a", "b"),))
    assert ("e",) not in asked and ("a", "c") not in asked and ("c", "c") in asked
    # of ten pairs and one twice: a-b, a-d, b-d, c-d and c-c share something
    assert (found.asked, found.independent) == (5, 6)
    assert search("ab", works, order=1) == cuts.Cuts((), (), 0, 0)
    for what in ("single failures", "pairs of failures"):
        with pytest.raises(Cancelled):
            search("abc", lambda _: True, say=lambda said, *_, w=what: said == w)
    said: list[Any] = []
    search(range(101), lambda _: True, say=lambda *a: said.append(a) and None)
    assert [s[1] for s in said if s[0].startswith("single")] == [0, 50, 100]
    assert [s[1] for s in said if s[0].startswith("pairs")] == [*range(0, 5050, 500)]


@pytest.mark.parametrize(("unseen", "nothing", "elsewhere", "laws", "law", "how", "why"), [
    ("", False, (), ("off",), "off", "acts", ""),
    ("noise", False, (), ("off",), "off", "acts", "not simulated: noise"),
    ("", True, (), ("outside",), "passes", "changes nothing", "chamber between its seats"),
    ("", True, (), ("outside",), "outside", "changes nothing", "nothing in the modes rests"),
    ("noise", True, (), ("off",), "off", "not simulated", "noise"),
    ("", True, ("a_b", "c"), ("off",), "off", "not simulated", "and spoils a b, c"),
    ("", True, tuple("abcd"), ("off",), "off", "not simulated", "spoils a, b, c, d"),
    ("", True, tuple("abcdef"), ("off",), "off", "not simulated", "a, b, c, d and 2 more"),
    ("", True, (), ("share",), "share", "changes nothing", "what is left is enough"),
])  # fmt: skip
def test_what_the_day_shows_of_a_failure(
    unseen: str, nothing: bool, elsewhere: Any, laws: Any, law: str, how: str, why: str
) -> None:
    """Would fail if what is not simulated were said to change nothing, or all modes were named."""
    failure = SimpleNamespace(effect=SimpleNamespace(unseen=unseen, law=law), seen="seen")
    case: Any = SimpleNamespace(event=SimpleNamespace(failure=failure, id="e"),
                                hits=[SimpleNamespace(law=x) for x in laws])  # fmt: skip
    script: Any = SimpleNamespace(nothing=nothing, elsewhere=elsewhere)
    got = declared.declared(case, script)
    assert got.how == how and (got.why.endswith(why) if elsewhere else why in got.why)
    assert got.text == (f"{how}: {got.why}" if got.why else how)
    rows = declared.declared_table([case], {"e": script}).rows
    assert len(rows) == (how != "acts")


def test_failures_that_may_let_cows_wait() -> None:
    """Would fail if a short repair of the wash's water were simulated, or milk that is kept were
    not, however short."""
    ctx = bench_of(PLANT, {"failures.wait_limit_min": 30.0})
    from byrewright.studies.failures.findings import WAIT_ALLOWANCE

    most_s = 1800 * (1 - WAIT_ALLOWANCE)

    def script(wait: float = 0.0, repair: float = 0.0, wash: bool = False,
               milk: bool = False) -> Any:  # fmt: skip
        water = {"WS1", "LP1", "WH1", "TR1"}
        return SimpleNamespace(longest_wait_s=wait, repair_s=repair,
                               keeps_milk=lambda tags: milk and "MP1" in tags,
                               hits=lambda tags: wash and water <= tags)  # fmt: skip

    scripts = {"a": script(most_s + 1), "b": script(most_s - 1), "c": script(0, most_s + 1, True),
               "d": script(0, most_s - 1, True), "e": script(0, most_s + 1),
               "f": script(milk=True)}  # fmt: skip
    assert [*_may_wait(ctx, scripts)] == ["a", "c", "f"]


def test_machines_out_for_service(monkeypatch: pytest.MonkeyPatch) -> None:
    """Would fail if one of two taken out were both, a failure of the machine itself were told, or
    one that shares nothing with it were asked."""
    pair = PLANT.equipment["VP1"].model_copy(update={"count": 2})
    plant = PLANT.model_copy(update={"equipment": {"VP1": pair, "MP1": PLANT.equipment["MP1"],
                                                   "V31": PLANT.equipment["V31"]}})  # fmt: skip
    asked: list[Any] = []

    def ask(hits: Any) -> Answer:
        asked.append([(h.law, h.machine, h.amount) for h in hits])
        return Answer(not {"X", "MP1"} <= {h.machine for h in hits})

    bits = {"X fails": 1, "Y fails": 2, "MP1 fails": 1, "Z fails": 1}
    monkeypatch.setattr(maintenance, "reads", lambda _, some: {
        e.id: bits.get(e.id, 1) for e in some})  # fmt: skip
    cases = [SimpleNamespace(event=event(t), stops=t == "Z") for t in ("X", "Y", "MP1", "Z")]
    one: Any = SimpleNamespace(plant=plant, structure=SimpleNamespace(ask=ask), cases=cases,
                               rules=bench_of(PLANT).rules)  # fmt: skip
    found = {o.machine: o for o in maintenance.states(one)}
    assert set(found) == {"VP1", "MP1"}
    assert asked[0] == [("share", "VP1", 0.5)]
    assert found["VP1"].then_stops == () and found["MP1"].then_stops == ("X fails",)
    assert not any(h[1] in ("Y", "Z") for hits in asked for h in hits)
    with pytest.raises(Cancelled):
        maintenance.states(one, lambda *_: True)
