"""Ways of fluids, what wrong positions reach and in which order to move: worked by hand."""

from __future__ import annotations

from itertools import product
from types import SimpleNamespace
from typing import Any

import pytest

from byrewright.plant.graph import Edge, Node
from byrewright.plant.machine import InternalPath
from byrewright.studies.routes import orders, propagation
from byrewright.studies.routes.brute import harms_of, search, tried
from byrewright.studies.routes.network import Roles, _Reader, network, surely
from byrewright.studies.routes.propagation import Flood, Propagation, Ways, cases, could_reach, path
from byrewright.studies.routes.prove import Prover
from byrewright.studies.routes.scene import Question, Reaches, Scene, Stands
from byrewright.studies.routes.study import Routes
from tests.plants import machine, pipe, rotary

PLANT = rotary(20, 60)


def few(*machines: Any, pipes: Any = ()) -> Any:
    """A plant of these parts."""
    made = PLANT.model_copy(update={"equipment": {m.id: m for m in machines},
                                    "pipes": tuple(pipes)})  # fmt: skip
    made.__dict__.pop("_pipes_at", None)
    return made


def test_half_open_passes_for_sure_in_a_three_way_valve() -> None:
    """Would fail if a half-open two-way valve were sure to pass, or a three-way one were not."""
    two, three = machine("V", "valve"), machine("V", "valve", ways=3)
    assert surely(two, ("open", "half")) == {"open"}
    assert surely(three, ("to_b", "half")) == {"to_b", "half"}


@pytest.mark.parametrize(("rise_m", "falls"), [(1.0, [False, True]), (-1.0, [True, False]),
                                               (0.0, [True, True])])  # fmt: skip
def test_liquid_runs_empty_downhill(rise_m: float, falls: list[bool]) -> None:
    """Would fail if a pipe ran empty uphill, or a level one to neither end."""
    plant = few(machine("A", "header"), machine("B", "header"), pipes=[
        pipe("P", "A.way_1", "B.way_1").model_copy(update={"rise_m": rise_m})])  # fmt: skip
    found = network(plant)
    assert [a.falls for a in found.liquid if a.how == "pipe"] == falls
    assert len([a for a in found.gas if a.how == "pipe"]) == 2


@pytest.mark.parametrize(("service", "liquid", "gas"), [
    ("milk", 2, 2), (None, 2, 2), ("vacuum", 0, 2), ("coolant", 0, 0), ("air", 0, 2),
])  # fmt: skip
def test_what_a_pipe_carries(service: Any, liquid: int, gas: int) -> None:
    """Would fail if milk ran through a pipe of refrigerant, or air through none of milk."""
    one = _Reader(PLANT)
    ends = Node("V31", "a"), Node("V31", "b")
    one._pipe(Edge("P", *ends, "pipe", None, None, pipe("P", "V31.a", "V31.b"), service), 0, 1)
    assert (len(one.liquid), len(one.gas)) == (liquid, gas)


def test_ways_inside_a_machine() -> None:
    """Would fail if a trap let liquid through, a check valve let it back, a pump ran by itself, or
    milk left a tank by its inlet."""

    def inside(tag: str, a: str, b: str, how: InternalPath) -> tuple[Any, Any, Any]:
        one = _Reader(PLANT)
        one.graph = SimpleNamespace(nodes=(Node(tag, a), Node(tag, b)))  # type: ignore[assignment]
        one._inside(Edge("i", Node(tag, a), Node(tag, b), "inside", tag, how, None, None), 0, 1)
        return tuple([(x.a, x.b) for x in some] for some in (one.liquid, one.gas, one.closed))  # type: ignore[return-value]

    both = [(0, 1), (1, 0)]
    assert inside("ST1", "receiver", "vacuum", InternalPath("a", "b", "trap")) == ([], both, [])
    assert inside("NR1", "inlet", "outlet", InternalPath("a", "b", "check")) == (
        [(0, 1)], [(0, 1)], [(1, 0)])  # fmt: skip
    gate = InternalPath("a", "b", "gate", ("open",))
    assert inside("V31", "a", "b", gate) == (both, both, both)
    assert inside("TK1", "inlet_1", "*", InternalPath("a", "b"))[0] == [(0, 1)]
    assert inside("TK1", "*", "inlet_1", InternalPath("a", "b"))[0] == [(1, 0)]
    assert inside("TK1", "*", "outlet", InternalPath("a", "b"))[0] == [(0, 1)]
    assert inside("TK1", "outlet", "*", gate) == ([(1, 0)], both, [])
    driven = InternalPath("a", "b", "driven")
    assert inside("MP1", "inlet", "outlet", driven) == ([(0, 1)], [], [])
    assert inside("VP1", "inlet", "exhaust", driven) == ([], [], [])
    free = InternalPath("a", "b", "driven", free=True)
    liquid, gas, closed = inside("MP1", "inlet", "outlet", free)
    assert (liquid, gas, closed) == (both, both, [])


def test_a_port_without_a_pipe_is_open_over_the_floor() -> None:
    """Would fail if a valve that nothing is joined to were an open end, or one joined at both."""
    valves = [machine(t, "valve") for t in ("V1", "V2", "V3")]
    headers = [machine(t, "header") for t in ("A", "B")]
    pipes = [pipe("P", "A.way_1", "V1.a"), pipe("Q", "A.way_2", "V2.a"),
             pipe("R", "V2.b", "B.way_1")]  # fmt: skip
    plant = few(*valves, *headers, pipes=pipes)
    found = network(plant)
    assert found.names(found.open_ends) == ["V1.b"]
    assert found.node("V1", "b") is not None and found.node("V3", "a") is None
    roles = Roles(PLANT)
    assert roles.receivers == ("RC1", "RC2") and roles.balance == ("BT1",)


# what wrong positions reach --------------------------------------------------------------------

OPEN = frozenset({"open"})


def spread(key: str, starts: Any, *ways: tuple[int, int, str | None]) -> Propagation:
    """A spread through guards that must stand open."""
    return Propagation(key, tuple((n, g, OPEN if g else None) for n, g in starts),
                       Ways((a, b, g, OPEN if g else None) for a, b, g in ways))  # fmt: skip


MILK = spread("milk", [(0, None)], (0, 1, "A"), (1, 2, "B"), (0, 3, "C"), (3, 2, "B"), (2, 4, None))
LOST = Question("milk_lost", "FD1", (Reaches("milk", (4,)),))
STUCK = Question("closed_line", "MP1", (Reaches("milk", (3,), False), Stands("D", OPEN)))


def made() -> Scene:
    """A scene of four valves: A to D, all shut but C; milk is lost through A or C and B."""
    wanted: dict[str, str | None] = dict.fromkeys("ABD", "closed") | {"C": "open"}
    others = {**dict.fromkeys("ABD", ("open",)), "C": ("closed",)}
    return Scene("x", frozenset(), wanted, others, None, {"milk": MILK}, [LOST, STUCK])  # type: ignore[arg-type]


def test_least_combinations_by_search_and_by_proof() -> None:
    """Would fail if search and solver found other combinations than these: B alone loses milk; the
    pump has no way with C shut and D open."""
    one, prover = made(), Prover(made())
    want = {
        ("milk_lost@FD1", (("B", "open"),)),
        ("closed_line@MP1", (("C", "closed"), ("D", "open"))),
    }
    found = search(one, 2)
    assert {(h.question.name, tuple(sorted(h.wrong))) for h in found} == want
    proven = {(h.question.name, tuple(sorted(h.wrong))) for q in one.questions
              for h in prover.all_hits(q, 2).hits}  # fmt: skip
    assert proven == want and not prover.undecided
    assert {h.question.name for h in search(one, 1)} == {"milk_lost@FD1"}
    assert not prover.all_hits(STUCK, 1).hits
    one.others["E"] = ("open", "half")  # matters to nothing, and is tried all the same
    assert tried(one, 1) == 4 + 2 and tried(one, 2) == 6 + (6 + 4 * 2)
    assert prover.first(LOST, ["A", "C"]) is None and prover.first(LOST, ["A", "B"]) == (
        ("B", "open"),
    )
    assert prover.first(STUCK, ["C"]) is None and prover.first(STUCK, ["D"]) is None
    assert prover.first(STUCK, ["C", "D"], 1) is None
    assert {*(prover.first(STUCK, "ABCD") or ())} == {("C", "closed"), ("D", "open")}
    assert prover.least(LOST, (("A", "open"), ("B", "open"))) == (("B", "open"),)
    seen = (Reaches("milk", (2,)),)  # a sensor past B
    assert prover.first(LOST, ["A", "B"], unless=[seen]) is None
    assert prover.first(LOST, ["A", "B"], unless=[(Stands("A", OPEN),)]) == (("B", "open"),)
    assert [q.name for q in harms_of(one, [("B", "open")])] == ["milk_lost@FD1"]
    assert one.guards(STUCK) == {"A", "B", "C", "D"}


def test_many_combinations_at_once_and_one_by_one() -> None:
    """Would fail if a bit stood for another combination, or where all choose for themselves less
    were reached than in any case."""
    one = made()
    every = [tuple(zip("ABC", p, strict=True)) for p in product(("open", "closed"), repeat=3)]
    flood = Flood(cases(one.wanted, every))
    reached = flood.of(MILK)
    for i, wrong in enumerate(every):
        alone = propagation.walk(MILK, {**one.wanted, **dict(wrong)})
        assert {n for n, mask in reached.items() if mask >> i & 1} == set(alone)
    assert [*propagation.bits(0b1000000101)] == [0, 2, 9]
    laid = cases({"A": "open"}, [(("A", "closed"),), (("B", "open"),)])
    assert laid.where("A", OPEN) == 0b10 and laid.where("B", OPEN) == 0b10 and laid.every == 0b11
    could = dict.fromkeys("ABC", ("open", "closed"))
    assert could_reach(MILK, could) == {0, 1, 2, 3, 4} and could_reach(
        MILK, could, surely=True
    ) == {0}
    assert could_reach(MILK, {**could, "C": ("open",)}, surely=True) == {0, 3}
    found = propagation.walk(MILK, {"A": "closed", "B": "open", "C": "open"})
    assert [w[:2] for w in path(found, 4)] == [(0, 3), (3, 2), (2, 4)]
    gated = spread("wash", [(0, "A"), (1, None)], (0, 2, None))
    assert set(propagation.walk(gated, {"A": "closed"})) == {1}
    assert Flood(cases({"A": "closed"}, [(), (("A", "open"),)])).of(gated) == {0: 2, 1: 3, 2: 2}


# orders ----------------------------------------------------------------------------------------


def moving(**others: tuple[str, str]) -> Scene:
    """A change in which each moves from its first position to its second."""
    one = made()
    one.wanted = one.wanted | {m: p for m, (p, _) in others.items()}
    one.others = {m: (to,) for m, (_, to) in others.items()}
    return one


@pytest.mark.parametrize(("others", "order", "dangers"), [
    # B may open only when C has shut, and D only before
    ({"B": ("closed", "open"), "C": ("open", "closed")}, ("C", "B"), {(("B",), ("C",))}),
    ({"C": ("open", "closed"), "B": ("closed", "open")}, ("C", "B"), {(("B",), ("C",))}),
    ({"A": ("closed", "open"), "D": ("closed", "open")}, ("A", "D"), set()),
    ({"B": ("closed", "open"), "C": ("open", "closed"), "A": ("open", "closed")}, None,
     {(("B",), ("C",)), (("B",), ("A",))}),
])  # fmt: skip
def test_an_order_in_which_no_milk_is_lost(
    monkeypatch: pytest.MonkeyPatch, others: Any, order: tuple[str, ...] | None, dangers: Any
) -> None:
    """Would fail if a drain opened while milk still comes to it, or a danger that some order meets
    were not told."""
    scene = moving(**others)
    monkeypatch.setattr(orders, "change", lambda *_: scene)
    got = orders.safe_order(PLANT, "a", "b", object())  # type: ignore[arg-type]
    assert got.safe and got.moving == len(others) and got.decided
    moved = [m for m, _ in got.moves]
    assert order is None or tuple(moved) == order
    if order is None:
        assert moved.index("B") == 2
    assert dangers >= {(d.moved, d.still) for d in got.dangers}
    assert bool(got.dangers) == bool(dangers) and got.any_order == (not dangers)


def test_a_change_with_no_safe_order(monkeypatch: pytest.MonkeyPatch) -> None:
    """Would fail if harm that a mode does in itself were put down to the order, or a change that
    cannot be made were called safe."""
    both = Question("wrong_tank", "TK1", (Stands("A", OPEN), Stands("D", OPEN)))
    none = Question("closed_line", "MP1", (Stands("A", frozenset({"closed"})),
                                           Stands("D", frozenset({"closed"}))))  # fmt: skip
    rest = Question("overflow", "TK2", (Stands("A", frozenset({"closed"})),))
    scene = moving(A=("closed", "open"), D=("open", "closed"))
    scene.questions = [both, none, rest]
    monkeypatch.setattr(orders, "change", lambda *_: scene)
    got = orders.safe_order(PLANT, "a", "b", object())  # type: ignore[arg-type]
    assert (got.safe, got.decided, got.at_rest) == (False, True, (rest,))
    assert {d.question.name for d in got.dangers} == {"wrong_tank@TK1", "closed_line@MP1"}
    alone = moving(A=("closed", "open"))
    monkeypatch.setattr(orders, "change", lambda *_: alone)
    one = orders.safe_order(PLANT, "a", "b", object())  # type: ignore[arg-type]
    assert one.safe and one.moves == (("A", "open"),) and one.moving == 1


def test_changes_are_between_two_modes(monkeypatch: pytest.MonkeyPatch) -> None:
    """Would fail if a mode were changed into itself, or one way alone were looked at."""
    monkeypatch.setattr("byrewright.studies.routes.study.safe_order", lambda _, a, b, __: (a, b))
    modes = {m: PLANT.modes[m] for m in ("milking", "wash")}
    plant = PLANT.model_copy(update={"modes": modes})
    found = Routes.orders(SimpleNamespace(plant=plant, net=None))  # type: ignore[arg-type]
    assert found == [("milking", "wash"), ("wash", "milking")]
