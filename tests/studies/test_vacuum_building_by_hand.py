"""The air network of a plant, node by node and piece by piece, worked by hand."""

from __future__ import annotations

import math
from typing import Any

import pytest

from byrewright.physics.airflow import gas_space_bore_mm
from byrewright.plant.graph import Edge, Node, build
from byrewright.plant.machine import InternalPath
from byrewright.plant.roles import CollectsMilk, GivesMilk
from byrewright.standards.rulebook import Rulebook
from byrewright.studies.vacuum import building
from byrewright.studies.vacuum.building import network_of, with_bore
from byrewright.studies.vacuum.network import Network, NoNetwork
from tests.plants import machine, pipe, rotary, rows

RULES = Rulebook({"vacuum.pump_zero_flow_share": 0.9, "vacuum.pump_nominal_ambient_kpa": 100.0,
                  "vacuum.pump_specific_power_kw_per_1000_l_min": 2.4,
                  "vacuum.nominal_kpa": 44.0})  # fmt: skip
PLANT = rotary(20, 60)
FILL = 0.35


def builder(plant: Any = PLANT, fill: float = FILL) -> Any:
    """A builder that has built nothing."""
    return building._Builder(plant, RULES, fill)


@pytest.fixture(scope="module")
def made() -> Network:
    """The network of the rotary."""
    return network_of(PLANT, RULES, FILL)


def litres(bore_mm: float, length_m: float) -> float:
    """What a pipe holds."""
    return math.pi / 4 * bore_mm**2 * length_m / 1000


@pytest.mark.parametrize(("tag", "port", "litres_there", "name"), [
    ("RC1", "*", 60.0, "RC1"), ("DT1", "*", 400.0, "DT1"), ("ST1", "vacuum", 20.0, "ST1.vacuum"),
    ("ST1", "receiver", 0.0, "ST1.receiver"), ("GL1", "deck_vacuum", 0.0, "GL1.deck_vacuum"),
])  # fmt: skip
def test_air_that_a_vessel_holds(tag: str, port: str, litres_there: float, name: str) -> None:
    """Half a receiver is air: would fail if a trap's litres were counted twice or a vessel's at
    its ports."""
    one = builder()
    assert one._node(Node(tag, port)) == one._node(Node(tag, port)) == 0
    assert (one.volumes, one.names) == ([litres_there], [name])


@pytest.mark.parametrize(("tag", "looped", "pieces", "ends"), [
    ("ML1", True, 12, 12), ("ML1", False, 10, 9), ("PA1", True, 12, 12), ("PA1", False, 10, 9),
])  # fmt: skip
def test_pieces_of_a_line(tag: str, looped: bool, pieces: int, ends: int) -> None:
    """Would fail if a line were longer in pieces than it is, a ring had a gap, or milk lay in the
    airline of the pulsators."""
    field = "looped" if tag == "ML1" else "ring"
    line = PLANT.equipment[tag].model_copy(update={field: looped, "length_m": 36.0})
    one = builder()
    nodes = one._line(line)
    assert len(nodes) == pieces and len(one.segments) == ends
    milk = tag == "ML1"
    bore = gas_space_bore_mm(98.0, FILL) if milk else 76.0
    each = 36.0 / ends
    for s in one.segments:
        assert (s.bore_mm, s.length_m, s.equivalent_m, s.what) == (bore, each, each, "line")
        assert s.rough_mm == RULES.number(f"pipe.roughness_{'stainless' if milk else 'plastic'}_mm")
    assert sum(one.volumes) == pytest.approx(litres(bore, 36.0))
    assert one.volumes[0] == pytest.approx(litres(bore, each) * (1.0 if looped else 0.5))
    closes = (nodes[-1], nodes[0]) in [(s.a, s.b) for s in one.segments]
    assert closes == looped and one._line(line) is nodes


def test_pipes_side_by_side_drop_as_one_of_more_bore() -> None:
    """Three alike drop as one of 3^(1.75/4.75) the bore: would fail if a pipe between one and three
    machines counted as three, or a fitting were left out of its length."""
    bends = pipe("P", "DT1.pump_1", "NR1.inlet", 76.0, 4.0).model_copy(
        update={"fittings": {"bend": 2}})  # fmt: skip
    more = 2 * RULES.number("fitting.bend_diameters") * 0.076
    for tanks, valves, share in ((1, 1, 1.0), (3, 3, 3 ** (1.75 / 4.75)), (1, 3, 1.0)):
        equipment = PLANT.equipment | {
            "DT1": PLANT.equipment["DT1"].model_copy(update={"count": tanks}),
            "NR1": PLANT.equipment["NR1"].model_copy(update={"count": valves})}  # fmt: skip
        one = builder(PLANT.model_copy(update={"equipment": equipment}))
        edge = Edge("P", Node("DT1", "pump_1"), Node("NR1", "inlet"), "pipe", None, None, bends,
                    None)  # fmt: skip
        one._edge(edge)
        (s,) = one.segments
        assert s.bore_mm == pytest.approx(76.0 * share)
        assert (s.length_m, s.equivalent_m) == (4.0, pytest.approx(4.0 + more))
        assert s.rough_mm == RULES.number("pipe.roughness_plastic_mm")
    dry = pipe("V", "DT1.line_4", "V31.a", 76.0, 2.0)  # a valve of an airline
    one._edge(Edge("V", Node("DT1", "line_4"), Node("V31", "a"), "pipe", None, None, dry, None))
    assert one.segments[-1].bore_mm == 76.0
    milk = pipe("Q", "ML1.receiver_1", "RC1.milkline_1", 98.0, 2.0)
    one = builder()
    one._edge(Edge("Q", Node("ML1", "receiver_1"), Node("RC1", "milkline_1"), "pipe", None, None,
                   milk, None))  # fmt: skip
    assert one.segments[-1].bore_mm == gas_space_bore_mm(98.0, FILL)
    assert one.segments[-1].rough_mm == RULES.number("pipe.roughness_stainless_mm")


def test_bore_of_a_way_inside_a_machine() -> None:
    """Would fail if the wider of two pipes set it, one that is stated did not, or a vessel's body
    had any."""
    pipes = (pipe("A", "DT1.line_1", "X.a", 98.0), pipe("B", "DT1.line_1", "Y.a", 76.0),
             pipe("C", "NR1.inlet", "DT1.pump_1", 60.0),
             pipe("D", "NR1.outlet", "VP1.inlet", 50.0))  # fmt: skip
    plant = PLANT.model_copy(update={"pipes": pipes})
    plant.__dict__.pop("_pipes_at", None)
    one = builder(plant)
    assert one._bore(Node("DT1", "line_1")) == 76.0
    assert one._bore(Node("DT1", "*")) == math.inf
    ends = Node("NR1", "inlet"), Node("NR1", "outlet")
    check = InternalPath("inlet", "outlet", "check")
    for stated, bore in ((None, 50.0), (45.0, 45.0)):
        valve = PLANT.equipment["NR1"].model_copy(update={"bore_mm": stated})
        one._inside(Edge("N", *ends, "inside", "NR1", check, None, None), valve)
        assert (one.segments[-1].bore_mm, one.segments[-1].one_way) == (bore, True)
        assert one.segments[-1].loss == RULES.number("vacuum.loss.non_return_k")
    gate = InternalPath("inlet", "outlet", "gate", ("open",))
    one._inside(Edge("N", *ends, "inside", "NR1", gate, None, None), PLANT.equipment["NR1"])
    assert (one.segments[-1].one_way, one.segments[-1].open_in) == (False, ("open",))
    one._inside(Edge("N", *ends, "inside", "NR1", None, None, None), PLANT.equipment["NR1"])
    assert (one.segments[-1].one_way, one.segments[-1].open_in) == (False, ())


@pytest.mark.parametrize(("looped", "outlets", "places"), [
    (True, (1,), [0]), (True, (1, 2), [0, 6]), (True, (1, 2, 3), [0, 4, 8]),
    (False, (1,), [0]), (False, (1, 2), [0, 9]), (False, (1, 2, 3), [0, 4, 9]),
])  # fmt: skip
def test_outlets_along_a_line(looped: bool, outlets: tuple[int, ...], places: list[int]) -> None:
    """Would fail if two outlets of a line lay side by side."""
    line = PLANT.equipment["ML1"].model_copy(update={"looped": looped})
    pipes = tuple(pipe(f"P{i}", f"ML1.receiver_{i}", f"RC1.milkline_{i}") for i in outlets)
    plant = PLANT.model_copy(update={"equipment": PLANT.equipment | {"ML1": line}, "pipes": pipes})
    plant.__dict__.pop("_pipes_at", None)
    one = builder(plant)
    for i in outlets:
        one._edge(Edge("x", Node("ML1", "*"), Node("ML1", f"receiver_{i}"), "inside", "ML1", None,
                       None, None))  # fmt: skip
        one._edge(Edge("y", Node("ML1", "units_1"), Node("ML1", "*"), "inside", "ML1", None, None,
                       None))  # fmt: skip
    found = [s for s in one.segments if s.what == "fitting"]
    assert [s.name for s in found] == [f"ML1 outlet {k + 1}" for k in range(len(outlets))]
    assert [one.names[s.b] for s in found] == [f"ML1.receiver_{i}" for i in outlets]
    assert [one.names[s.a] for s in found] == [
        f"ML1 at {p + 1}/{12 if looped else 10}" for p in places]  # fmt: skip


def test_units_along_their_line_or_where_their_pipe_ends() -> None:
    """Would fail if units of one line hung on another, or were counted once for each piece."""
    one = builder()
    nodes = one._line(PLANT.equipment["ML1"])
    other = one._new("elsewhere")

    def spread(plant: Any) -> dict[int, float]:
        plant.__dict__.pop("_pipes_at", None)
        one.plant = plant
        return dict(one._spread(GivesMilk, lambda u: u.spouts()[0], CollectsMilk))

    assert spread(PLANT) == dict.fromkeys(nodes, pytest.approx(20 / len(nodes)))
    one.index[Node("RC1", "milkline_3")] = other
    ends = pipe("P", "MU1.milk", "RC1.milkline_3"), pipe("Q", "RC1.milkline_3", "MU1.milk")
    for end in ends:
        assert spread(PLANT.model_copy(update={"pipes": (end,)})) == {other: 20.0}
    wash = PLANT.model_copy(update={"pipes": (pipe("P", "MU1.wash", "RC1.milkline_3"),)})
    assert spread(wash) == dict.fromkeys(nodes, pytest.approx(20 / len(nodes)))
    none = PLANT.model_copy(update={"equipment": {"ML1": PLANT.equipment["ML1"]}, "pipes": ()})
    assert spread(none) == {}


def test_where_vacuum_is_sensed_and_regulated(made: Network) -> None:
    """Would fail if speed control sensed at the pumps though a sensor stands elsewhere, or a
    regulator that air does not reach set the vacuum."""
    names = made.nodes
    assert names[made.body] == "DT1" and [names[r] for r in made.receivers] == ["RC1", "RC2"]
    assert names[made.sense] == "RG1.vacuum" and made.set_vacuum_kpa == 42.0
    assert made.left_out == () and network_of(PLANT, RULES).fill == 0.35
    for on, port, at in (("RC2", None, "RC2"), ("ST2", "vacuum", "ST2.vacuum"),
                         ("ML1", None, "ML1 at 1/12"), ("TK1", None, "RG1.vacuum"),
                         ("RC1", "no_such", "RC1")):  # fmt: skip
        for measures in ("vacuum", "level"):
            sensor = machine("SN1", "sensor", measures=measures, on=on, at_port=port)
            plant = PLANT.model_copy(update={"equipment": PLANT.equipment | {"SN1": sensor}})
            one = network_of(plant, RULES)
            assert one.nodes[one.sense] == (at if measures == "vacuum" else "RG1.vacuum")
    loose = PLANT.model_copy(update={
        "pipes": tuple(p for p in PLANT.pipes if not p.start.startswith("RG1"))})  # fmt: skip
    loose.__dict__.pop("_pipes_at", None)
    one = network_of(loose, RULES)
    assert (one.left_out, one.regulators, one.set_vacuum_kpa) == (("RG1",), (), 44.0)
    assert one.nodes[one.sense] == "DT1"
    bare = network_of(rows(12, 40, DT1=None, RG1=None).model_copy(update={
        "pipes": (*(p for p in rows(12, 40).pipes if "DT1" not in p.start + p.end
                    and "RG1" not in p.start + p.end),
                  pipe("Z1", "GL1.fixed_vacuum", "NR1.inlet"))}), RULES)  # fmt: skip
    assert bare.nodes[bare.body] == "VP1.inlet"


def test_pumps_by_their_plates() -> None:
    """6200 L/min at 50 of 90 kPa is 13,950 displaced: would fail if a pump rated at another vacuum
    were taken as rated at 50 kPa, or its work were not the power of its plate."""
    for at, capacity, displaced, rated in ((50.0, 6200.0, 13_950.0, 6200.0),
                                           (45.0, 4000.0, 8000.0, 32_000 / 9)):  # fmt: skip
        one = builder()
        one.index[Node("VP1", "inlet")] = 5
        pump: Any = PLANT.equipment["VP1"].model_copy(
            update={"at_vacuum_kpa": at, "capacity_l_min_free": capacity, "count": 2})  # fmt: skip
        first, second = one._pump_places(pump)
        assert (first.name, second.name, first.node) == ("VP1 (1)", "VP1 (2)", 5)
        assert first.displacement == pytest.approx(displaced) and first.slip == pytest.approx(1 / 9)
        assert first.rated_l_min_free == pytest.approx(rated)
        kw = 2.4 * rated / 1000
        assert first.efficiency == pytest.approx(displaced / 60_000 * 50 / kw)
        (single,) = one._pump_places(PLANT.equipment["VP1"])
        assert single.name == "VP1"


def test_where_air_passes() -> None:
    """Would fail if air went through a pump, a pipe of units or one of milk beyond the receiver."""
    one = builder()

    def passes(a: tuple[str, str], b: tuple[str, str], service: Any = None) -> bool:
        ends = Node(*a), Node(*b)
        joined = pipe("P", ends[0].name, ends[1].name)
        return bool(one._passes_air(Edge("P", *ends, "pipe", None, None, joined, service)))

    line, receiver = ("ML1", "receiver_1"), ("RC1", "milkline_1")
    assert passes(line, receiver, "milk")
    assert not passes(("RC1", "outlet"), ("MP1", "inlet"), "milk")
    assert not passes(("MU1", "milk"), ("ML1", "units_1"), "vacuum")
    assert not passes(("PU1", "vacuum"), ("PA1", "units_1"), "vacuum")
    assert passes(("DT1", "line_1"), ("RG1", "vacuum"), "vacuum")
    assert not passes(("DT1", "line_1"), ("RG1", "vacuum"), "water")
    assert not passes(line, ("MP1", "inlet"), "milk")
    assert not one._milk_and_air(Node("RC1", "outlet"))
    assert not one._milk_and_air(Node("ML1", "units_1"))
    assert one._milk_and_air(Node(*line)) and one._milk_and_air(Node("V31", "a"))
    assert not one._milk_and_air(Node("RC1", "no_such"))
    assert one._airy(Node("ST1", "receiver")) and one._airy(Node("TK1", "*"))
    assert not one._airy(Node("MP1", "inlet"))
    for how, there in ((InternalPath("receiver", "vacuum", "driven"), False), (None, True),
                       (InternalPath("receiver", "vacuum"), True)):  # fmt: skip
        inside = Edge("i", Node("ST1", "receiver"), Node("ST1", "vacuum"), "inside", "ST1", how,
                      None, None)  # fmt: skip
        assert one._passes_air(inside) == there
    mixed = Edge("i", Node("RC1", "outlet"), Node("RC1", "*"), "inside", "RC1", None, None, None)
    assert not one._passes_air(mixed)


def test_another_bore_leaves_all_else(made: Network) -> None:
    """Would fail if a copy kept the old bore of a pipe or a line, or changed another."""
    first = next(s for s in made.segments if s.what == "pipe" and s.pipe and "DT1" in s.pipe.end)
    other = with_bore(made, {first.name: 150.0, "PA1": 60.0})
    wider = {first.name: 150.0, "PA1": 60.0}
    for a, b in zip(made.segments, other.segments, strict=True):
        assert a.what == "fitting" or b.bore_mm == wider.get(a.name, a.bore_mm)
    assert other.plant.equipment["PA1"].bore_mm == 60.0  # type: ignore[attr-defined]
    assert other.fill == FILL and len(other.plant.pipes_at("DT1")) == len(
        made.plant.pipes_at("DT1")
    )
    assert made.temperature_c == pytest.approx(sum(PLANT.site.ambient_c) / 12)
    assert {e.id for e in other.edges} == {e.id for e in made.edges}


def test_a_plant_that_air_does_not_pass() -> None:
    """Would fail if a pump without a pipe were solved, or units out of its reach were."""
    for keep in (lambda p: False, lambda p: "VP" in p.start + p.end):
        cut = PLANT.model_copy(update={"pipes": tuple(filter(keep, PLANT.pipes))})
        cut.__dict__.pop("_pipes_at", None)
        with pytest.raises(NoNetwork):
            network_of(cut, RULES)
    reached = builder()._reached(build(PLANT), [Node("VP1", "inlet"), Node("no", "where")])
    assert {"RC1", "ML1", "DT1", "VP2"} <= {e.a.machine for e in reached} | {
        e.b.machine for e in reached}  # fmt: skip
    assert not {"MP1", "TK1", "MU1"} & {e.a.machine for e in reached}
