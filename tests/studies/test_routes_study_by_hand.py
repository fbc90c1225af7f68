"""What the routes study says of its hits, proofs, sensors and orders, all of them made up."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pytest

from byrewright.studies.routes import sensors, study
from byrewright.studies.routes.brute import FoundHarm
from byrewright.studies.routes.classes import HARMS
from byrewright.studies.routes.orders import Order
from byrewright.studies.routes.scene import Question
from byrewright.studies.routes.study import Routes
from tests.plants import machine, rotary

PLANT = rotary(20, 60)


def hit(harm: str, *wrong: str, mode: str = "x", subject: str = "TK1") -> FoundHarm:
    """A harm that machines do."""
    return FoundHarm(mode, Question(harm, subject, ()), tuple((w, "open") for w in wrong))


def of(**more: Any) -> Any:
    """A study of one mode with a sensor on V31."""
    scene = SimpleNamespace(harm=lambda k: HARMS[k], questions=[1, 2, 3])
    usual: dict[str, Any] = {"plant": PLANT, "fitted": {"V31"}, "scenes": {"x": scene}, "hits": [],
                             "order": 2, "at_rest": []}  # fmt: skip
    return SimpleNamespace(**usual | more)


def test_modes_that_do_harm_as_written(monkeypatch: pytest.MonkeyPatch) -> None:
    """Would fail if a mode that does harm passed, or a plant without any were told nothing."""
    for way, words in (("V31 open", " by way of V31 open."), ("", "(TK1). Change")):
        monkeypatch.setattr(study, "_way", lambda *_, w=way: w)
        (told,) = study._at_rest(of(at_rest=[hit("overflow")]))
        assert told.verdict == "fails" and words in told.sentence
    (fine,) = study._at_rest(of())
    assert (fine.value, fine.verdict) == (0, "holds")


def test_harm_that_no_sensor_sees() -> None:
    """Would fail if what a mode does at rest were counted as a wrong position, one position in two
    modes as two, or a pair that one sensor sees as unseen."""
    found = [hit("overflow", "V31"), hit("overflow", "V32"), hit("overflow", "V32", mode="y"),
             hit("overflow", "V33", "V31"), hit("overflow", "V33", "V34"), hit("overflow"),
             hit("flooded", "V31")]  # fmt: skip
    told = {f.subject: f for f in study._harms(of(hits=found))}
    assert told["overflow"].value == 2 and told["flooded"].value == 0
    assert told["overflow"].sentence.startswith("2 single and 2 double wrong positions lead")
    assert "detects 2 of them, such as V32 open." in told["overflow"].sentence
    assert "detect every one" in told["flooded"].sentence and len(told) == 2
    assert study._counted(1, 0) == "1 single wrong position leads"
    assert study._counted(0, 1) == "1 double wrong position leads"
    assert study._counted(0, 2) == "2 double wrong positions lead"


@pytest.mark.parametrize(("agree", "left", "verdict", "words"), [
    (True, (), "holds", "finds the same 7"), (False, (), "fails", "disagree"),
    (False, (("x", "q"),), "fails", "disagree"),
    (True, (("x", "q"),), "unknown", "2 of 3 questions are proven"),
])  # fmt: skip
def test_search_against_solver(
    monkeypatch: pytest.MonkeyPatch, agree: bool, left: Any, verdict: str, words: str
) -> None:
    """Would fail if a proof that was not finished passed, or a disagreement were called open."""
    monkeypatch.setattr(study, "tried", lambda *_: 40)
    told = study._proof(of(proof=lambda _: (agree, 7, 9, left)))
    assert told.verdict == verdict and words in told.sentence
    assert study._left([("x", n) for n in "abcde"]).endswith("a in x, b in x, c in x and 2 more.")
    assert study._left([("x", n) for n in "abc"]).endswith("a in x, b in x, c in x.")


@pytest.mark.parametrize(("proven", "least", "verdict", "words"), [
    (True, 2, "holds", "no smaller set does"), (True, 1, "unknown", "Whether fewer would do"),
    (False, 2, "unknown", "Whether they see all"),
])  # fmt: skip
def test_the_fewest_sensors(
    monkeypatch: pytest.MonkeyPatch, proven: bool, least: int, verdict: str, words: str
) -> None:
    """Would fail if a set that may not be the smallest were called so, or what a mode does at rest
    asked for a sensor."""
    best = SimpleNamespace(machines=("V31", "V32"), proven=proven, least=least)
    open_ones = [hit("overflow", "V32"), hit("flooded", "V33")]
    monkeypatch.setattr(study.sensors, "unseen", lambda *_: open_ones)
    one = of(best=best, table=SimpleNamespace(unseen=("V9: no contact",)),
             at_rest=[hit("flooded", mode="x")])  # fmt: skip
    fewest, contact, missing = study._sensors(one)
    assert fewest.verdict == verdict and words in fewest.sentence
    assert (contact.subject, contact.verdict) == ("V9", "fails")
    assert missing.value == 1 and "To be fitted: V32" in missing.sentence
    assert [(r.of, r.figure, r.to) for r in missing.remedies] == [("V32", "sensed", True)]
    one.at_rest = [hit("flooded"), hit("overflow")]
    *_, fine = study._sensors(one)
    assert (fine.value, fine.verdict, fine.remedies) == (0, "holds", ())
    for tag, measures in (("MP1", "current"), ("TK1", "level"), ("AI1", "presence")):
        assert study._sensed(PLANT, tag).to == measures


def test_changes_with_and_without_a_safe_order() -> None:
    """Would fail if a change that goes by way of another mode were called impossible, or one whose
    search was given up were decided."""

    def order(a: str, b: str, safe: bool = True, dangers: Any = (), decided: bool = True) -> Order:
        return Order(a, b, (), safe, 1, dangers, decided)

    every = [order("a", "c", False, (1,)), order("a", "b"), order("b", "c", True, (1,)),
             order("c", "a", False)]  # fmt: skip
    told = study._orders(of(), every)
    assert (told.value, told.verdict) == (1, "fails")
    assert "4 changes between two modes: in 2 of them" in told.sentence
    assert "2 have no safe direct order: a to c (go by way of b); c to a." in told.sentence
    fine = study._orders(of(), every[1:3])
    assert fine.verdict == "holds" and "proposed for every one" in fine.sentence
    left = study._orders(of(), [order("a", "c", False, decided=False)])
    assert left.verdict == "unknown" and "1 has no safe direct order" in left.sentence
    many = [order(str(i), "z", False) for i in range(study.STUCK_SHOWN + 2)]
    assert "; 2 more in the table." in study._orders(of(), many).sentence


def test_search_and_solver_are_compared_on_what_is_decided(monkeypatch: pytest.MonkeyPatch) -> None:
    """Would fail if a question that the solver gave up were held against it, or hits of more wrong
    positions than were asked."""
    q = [Question("overflow", t, ()) for t in ("A", "B")]

    class Prover:
        """Finds V1 at the first; gives the second up."""

        def __init__(self, scene: Any) -> None:
            self.calls, self.undecided = 5, scene.open

        def all_hits(self, question: Question, _: int) -> Any:
            """Its hits."""
            found = [FoundHarm("x", question, (("V1", "open"),))] if question is q[0] else []
            return SimpleNamespace(hits=found)

    monkeypatch.setattr(study, "Prover", Prover)
    for given_up, agree in (((q[1].name,), True), ((), False)):
        one: Any = Routes.__new__(Routes)
        one.like = None
        scene = SimpleNamespace(name="x", questions=q, open=dict.fromkeys(given_up))
        one.scenes = {"x": scene}
        one.__dict__["hits"] = [
            FoundHarm("x", q[0], (("V1", "open"),)), FoundHarm("x", q[1], (("V2", "open"),)),
            FoundHarm("x", q[0], (("V3", "open"), ("V4", "open")))]  # fmt: skip
        assert one.proof(1) == (agree, 1, 5, tuple(("x", n) for n in given_up))
        assert one.proof(1) is one.proof(1)


def test_a_small_set_where_the_budget_ran_out() -> None:
    """Would fail if what hits most of what is left were not taken first, or something were left."""
    one: Any = sensors._Hitting.__new__(sensors._Hitting)
    one.sets = [frozenset(s) for s in ("ab", "bc", "bd", "ce", "e")]
    assert one._small() == {"b", "e"}
    one.sets = []
    assert one._small() == set()
    plant = PLANT.model_copy(update={"equipment": {
        "V1": machine("V1", "valve", sensed=True), "V2": machine("V2", "valve"),
        "TK1": PLANT.equipment["TK1"],
        "S1": machine("S1", "sensor", measures="level", on="TK1")}})  # fmt: skip
    assert "V1" in sensors.fitted(plant) and "V2" not in sensors.fitted(plant)
