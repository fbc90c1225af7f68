"""Valves turned by hand, on a network of pipes whose flows are made up."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pytest

from byrewright.engine.liquids import LiquidsUnsolved
from byrewright.plant.graph import Node
from byrewright.studies.routes import turn
from byrewright.studies.routes.classes import HARMS
from byrewright.studies.routes.scene import Question
from byrewright.studies.routes.turn import VACUUM, Way, _Solved, choices
from tests.plants import machine, rotary

PLANT = rotary(20, 60)


def test_what_a_fluid_stands_in() -> None:
    """Would fail if a pipe in which it runs back stood full, or vacuum stood anywhere."""
    pipes = frozenset({"a", "b", "c"})
    for fluid, standing in (("milk", {"c"}), (VACUUM, set())):
        one = Way(fluid, pipes, frozenset(), frozenset("a"), frozenset("b"))
        assert one.standing == standing
    turned = turn.Turned("m", (), (one,), ())
    assert turned.way(VACUUM) is one and turned.way("milk") is None


@pytest.mark.parametrize(("one", "to"), [
    (machine("V", "valve", ways=3), ("to_b", "to_c")), (machine("H", "header"), ()),
    (PLANT.equipment["MP1"], ("runs", "stopped")),
])  # fmt: skip
def test_what_a_person_may_turn(one: Any, to: tuple[str, ...]) -> None:
    """Would fail if a header could be turned, or a pump be set ready by hand."""
    plant: Any = SimpleNamespace(equipment={"X": one})
    assert set(to) <= {*choices(plant, "X")} and bool(choices(plant, "X")) == bool(to)
    assert "ready" not in choices(plant, "X")


class Net:
    """Pipes by name between ports of machines; vessels hold. Flows as told."""

    def __init__(self, flows: dict[str, float], *pipes: str, vessels: str = "",
                 many: int = 1) -> None:  # fmt: skip
        self.makes_vacuum = ("VP1",)
        self.flows, self.ends, self.by_id = flows, {}, {}
        for one in pipes:
            name, a, b = one.split()
            self.ends[name] = (Node(a, "o"), Node(b, "i"))
            self.by_id[name] = SimpleNamespace(pipe=None if name.startswith("in") else name)
        self.vessels = {v: SimpleNamespace(volume_l=90.0) for v in vessels.split()}
        self.many = {Node("MU1", "o"): many}
        self.asked: list[Any] = []
        self.open: set[str] = set()

    def situation(self, mode: str, positions: Any) -> Any:
        """A state."""
        self.asked.append((mode, dict(positions)))
        return State()

    def solve(self, state: Any, spouts: Any = None, broken: Any = None) -> Any:
        """Its flows; a shut line has none."""
        self.asked.append((state, spouts))
        if self.flows.get("fails"):
            raise LiquidsUnsolved("that part")
        return SimpleNamespace(l_min=self.flows)

    def held(self, node: Node) -> bool:
        """Whether a vessel is there."""
        return node.machine in self.vessels

    def joined(self, _: Any, node: Node) -> bool:
        """Whether it stands open to another vessel."""
        return node.machine in self.open


class State(SimpleNamespace):
    """A state that dataclasses replace as told."""


@pytest.fixture(autouse=True)
def _replace(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(turn, "replace", lambda one, **more: State(**{**vars(one), **more}))
    monkeypatch.setattr(turn, "Flows", lambda: SimpleNamespace(l_min={}))


def solved(net: Any, *, sucked: bool = True) -> _Solved:
    """The network solved in milking with one valve open."""
    return _Solved(net, "milking", {"V1": "open"}, sucked=sucked)


def test_what_leaves_a_vessel_runs_to_the_next() -> None:
    """From A by p and q to B; r brings to A what s takes out of it backwards: would fail if flow
    went on through a vessel, a way inside a machine were a pipe, or one that rests were told."""
    net = Net({"p": 5.0, "in1": 5.0, "q": 5.0, "t": 3.0, "u": 0.0, "s": -2.0},
              "p A X", "in1 X X2", "q X2 B", "t B C", "u A D", "s E A", vessels="A B")  # fmt: skip
    one = solved(net)
    net.ends["in1"] = (Node("X", "i"), Node("X2", "o"))
    assert one.from_vessels({"A"}) == {"p": 5.0, "q": 5.0, "s": -2.0}
    assert one.from_vessels({"B"}) == {"t": 3.0} and one.from_vessels({"X"}) == {}


def test_vacuum_that_is_lost_is_lost_everywhere() -> None:
    """Would fail if pumps drew on where vacuum is lost, or stood where it is not."""
    for sucked, positions in ((True, {"V1": "open"}), (False, {"V1": "open", "VP1": "stopped"})):
        net = Net({}, vessels="")
        solved(net, sucked=sucked)
        assert net.asked[0] == ("milking", positions)


def test_a_vessel_that_only_gets_is_full_in_the_end() -> None:
    """Would fail if a vessel that gives as well, or stands open to none, were taken as full."""
    for opened, full in (({"B", "C"}, {"B": 90.0}), (set(), None)):
        net = Net({"p": 5.0, "q": 2.0, "r": 2.0}, "p A B", "q A C", "r C D", vessels="A B C")
        net.open = opened
        one = solved(net)
        assert getattr(one.state, "level_l", None) == full
        assert len(net.asked) == (3 if full else 2)


def test_milk_of_units_and_a_part_that_has_no_answer() -> None:
    """Four units of a litre: would fail if what they give were drawn, or a line that is shut made
    the whole unsolved."""
    spout = Node("MU1", "o")
    net = Net({"p": 4.0}, "p MU1 RC1", vessels="RC1", many=4)
    one = solved(net)
    assert one.from_units([spout]) == {"p": 4.0}
    state, spouts = net.asked[-1]
    assert (state.drawn_l_min, spouts) == ({spout: -4.0}, frozenset([spout]))
    net.flows = {"fails": 1.0}
    assert one.from_units([spout]) == {} and one.unsolved == []
    bad = solved(net)
    assert bad.unsolved == ["that part"] and bad.from_vessels({"A"}) == {}


def test_a_mode_with_a_valve_turned(monkeypatch: pytest.MonkeyPatch) -> None:
    """Would fail if a valve that stands as wanted were told as turned, pipes that a fluid reaches
    at one end alone were told as its way, or water in a vessel of wash moved as water."""
    nodes = [Node(m, p) for m, p in (("MU1", "o"), ("V1", "a"), ("TK1", "*"), ("TR1", "*"),
                                     ("X", "a"))]  # fmt: skip
    ends = {"p": (0, 1), "q": (1, 2), "r": (2, 3), "s": (3, 4)}
    net = SimpleNamespace(nodes=nodes, pipe_ends=ends, plant=PLANT)
    spreads = {"milk": [(0, None, None)], "wash": [(3, None, None)], "water": [(3, None, None)]}
    asks = [Question("milk_lost", "FD1", ()), Question("overflow", "TK1", ())]
    made = SimpleNamespace(wanted={"V1": "closed", "V2": "open"}, questions=asks, net=net,
                           propagations={k: SimpleNamespace(starts=s) for k, s in spreads.items()},
                           harm=lambda k: HARMS[k])  # fmt: skip
    reached = {"milk": {0: None, 1: None, 2: None}, "wash": {3: None, 4: None}, "water": {3: None}}
    monkeypatch.setattr(turn, "Case", lambda *_: SimpleNamespace(
        holds=lambda q: q.harm == "milk_lost", walk=reached.__getitem__))  # fmt: skip
    seen: dict[str, Any] = {}

    class Solved:
        """Flow in q, and back in s."""

        unsolved = ("part",)

        def __init__(self, _: Any, mode: str, moved: Any, *, sucked: bool) -> None:
            seen.update(moved=dict(moved), sucked=sucked, bodies=[])

        def from_units(self, spouts: Any) -> dict[str, float]:
            """Of milk."""
            return {"q": 2.0} if spouts else {}

        def from_vessels(self, bodies: Any) -> dict[str, float]:
            """Of wash."""
            seen["bodies"].append(bodies)
            return {"s": -1.0} if "TR1" in bodies else {}

    monkeypatch.setattr(turn, "_Solved", Solved)
    got = turn.turn(PLANT, "milking", {"V1": "open", "V2": "open"}, net, made, object())  # type: ignore[arg-type]
    assert got.wrong == (("V1", "open"),) and seen["moved"] == {"V1": "open"} and seen["sucked"]
    assert [(h.key, s) for h, s in got.harms] == [("milk_lost", "FD1")]
    assert got.unsolved == ("part",)
    milk, wash = got.ways
    assert (milk.fluid, milk.pipes, milk.onward, milk.back) == ("milk", {"p", "q"}, {"q"}, set())
    assert milk.machines == {"MU1", "V1", "TK1"} and milk.standing == {"p"}
    assert (wash.fluid, wash.pipes, wash.onward, wash.back) == ("wash", {"s"}, set(), {"s"})
    assert seen["bodies"] == [{"TK1"}, set(), {"TR1"}, set()]  # milk, withheld, wash, water
