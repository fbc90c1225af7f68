"""What the liquid network tells of a pump: flows and heads that are made up, and a small plant."""

from __future__ import annotations

from dataclasses import dataclass, replace
from types import SimpleNamespace
from typing import Any

import pytest

from byrewright.engine.liquidgraph import Flows
from byrewright.plant.graph import Node
from byrewright.plant.plant import Mode
from byrewright.studies.sizing import network
from byrewright.studies.sizing.context import StudyContext
from byrewright.studies.sizing.network import Want, net_of, serve
from tests.plants import machine
from tests.studies.benches import bench_of, small


@dataclass(frozen=True)
class Light:
    """A liquid of which a metre weighs 10 kPa."""

    density_kg_m3: float = 1000.0
    viscosity_mpa_s: float = 1.0
    boils_kpa_abs: float = 2.0

    def kpa(self, head_m: float) -> float:
        """Pressure of a head."""
        return 10.0 * head_m

    def head_m(self, kpa: float) -> float:
        """Head of a pressure."""
        return kpa / 10.0


def at(text: str) -> Node:
    """A port or body, "machine.port"."""
    return Node(*text.split("."))


EDGES = (  # name, from, to, machine that it is inside of, L/min
    ("e0", "T.*", "T.out", "T", 90.0), ("p1", "T.out", "P.in", "", 90.0),
    ("pump", "P.in", "P.out", "P", 90.0), ("p2", "F.a", "P.out", "", -90.0),
    ("f", "F.a", "F.b", "F", 89.0), ("p3", "F.b", "S.in", "", 79.0),
    ("s", "S.in", "S.*", "S", 79.0),
    ("p4", "F.b", "Q.in", "", 10.0), ("q", "Q.in", "Q.out", "Q", 10.0),
    ("p5", "F.a", "X.in", "", 1e-9), ("p6", "X.in", "X.out", "", 0.0),
)  # fmt: skip
HEADS = {"T.*": 2.0, "T.out": 1.9, "P.in": 1.5, "P.out": 12.0, "F.a": 11.0, "F.b": 8.0,
         "S.in": 7.5, "S.*": 7.0,
         "Q.in": 7.9, "Q.out": 7.8, "X.in": 11.0, "X.out": 11.0}  # fmt: skip


def made_up() -> tuple[Any, Flows]:
    """From a tank under 40 kPa of vacuum through a pump and a filter to a second tank."""
    flows = Flows({n: q for n, *_, q in EDGES}, {at(n): h for n, h in HEADS.items()},
                  {at(n): 0.5 for n in HEADS}, {at(n): Light() for n in HEADS})  # type: ignore[misc]  # fmt: skip
    by_id = {n: SimpleNamespace(id=n, machine=m, pipe=None if m else n, what="inside" if m else
                                "pipe") for n, _, _, m, _ in EDGES}  # fmt: skip
    net: Any = SimpleNamespace(
        ends={n: (at(a), at(b)) for n, a, b, *_ in EDGES}, by_id=by_id,
        pumps={t: SimpleNamespace(inlet="in", outlet="out") for t in ("P", "Q")},
        vessels={"T": "tank", "S": "store"}, port=Node, ambient_kpa=100.0,
        gas_kpa=lambda vessel, _: -40.0 if vessel == "tank" else 0.0,
    )  # fmt: skip
    return net, flows


def test_heads_of_a_pump_add_up() -> None:
    """Would fail if a loss were given back, a rise held losses or vacuum, a side stream were
    followed, or suction left out the pressure of the air."""
    net, flows = made_up()
    got = network._told(net, flows, None, "P", net.pumps["P"], "milking", 90.0)  # type: ignore[arg-type]
    assert (got.goal, got.source, got.head_m) == ("S", "T", 10.5)
    assert (got.friction_kpa, got.losses_kpa) == pytest.approx((10 * 1.9, 10 * 3.6))
    assert (got.vacuum_kpa, got.rise_m) == (40.0, pytest.approx(10.5 - 1.9 - 3.6 - 4.0))
    assert got.npsh_m == pytest.approx((100 + 10 * (1.5 - 0.5) - 2) / 10)
    assert got.pipes_l_min == {"p1": 90.0, "p2": 90.0, "p3": 79.0, "p4": 10.0, "p5": 1e-9}
    assert got.onward_l_min == {"p2": 90.0, "f": 89.0, "p3": 79.0, "p4": 10.0}


def test_a_ring_ends_where_it_begins() -> None:
    """Would fail if losses of a ring were counted on both ways."""
    net, flows = made_up()
    for name, a, b in (("r1", "P.out", "C.a"), ("r2", "C.a", "P.in")):
        net.ends[name], flows.l_min[name] = (at(a), at(b)), 500.0
        net.by_id[name] = SimpleNamespace(id=name, machine="", pipe=name, what="pipe")
    flows.head_m[at("C.a")] = 6.0
    got = network._told(net, flows, None, "P", net.pumps["P"], "milking", 90.0)  # type: ignore[arg-type]
    assert (got.goal, got.source) == ("P", "P")
    assert (got.friction_kpa, got.losses_kpa) == pytest.approx((105.0, 0.0))


@pytest.mark.parametrize(("wants", "l_min", "q"), [
    ({("A", "in"): 30.0}, 100.0, 150.0), ({("A", "in"): 30.0, ("B", "in"): 90.0}, 100.0, 300.0),
    ({("A", "in"): 10.0}, 100.0, 100.0), ({("C", "in"): 1.0}, 100.0, None),
    ({("A", "in"): 20.01}, 100.0, 100.05),
])  # fmt: skip
def test_a_pump_that_gives_each_port_what_it_wants(
    monkeypatch: pytest.MonkeyPatch, wants: Any, l_min: float, q: float | None
) -> None:
    """A fifth comes to A, by two pipes, three tenths to B: would fail if the port that is served
    first stopped the search, or less were given than asked."""
    ends = {"a1": "A.in", "a2": "A.in", "b": "B.in", "c": "C.in", "inside": "A.in"}
    net: Any = SimpleNamespace(
        pumps={"P": SimpleNamespace(outlet="out")}, port=Node,
        ends={n: (at("P.out"), at(e)) for n, e in ends.items()},
        by_id={n: SimpleNamespace(pipe=None if n == "inside" else n) for n in ends},
        situation=lambda *_: Sit(),
        solve=lambda s, _: SimpleNamespace(l_min={
            n: s.forced_l_min["P"] * x for n, x in
            (("a1", 0.15), ("a2", -0.05), ("b", 0.3), ("c", 0.0), ("inside", 0.5))}),
    )  # fmt: skip

    @dataclass(frozen=True)
    class Sit:
        forced_l_min: Any = None

    monkeypatch.setattr(network, "net_of", lambda _: net)
    monkeypatch.setattr(network, "_beside", lambda *_: [])
    got = network.reaching(None, "P", "milking", l_min, wants)  # type: ignore[arg-type]
    assert got == (None if q is None else pytest.approx(q, rel=1e-6))


def with_modes(**positions: dict[str, str]) -> StudyContext:
    """The small plant with positions changed by mode."""
    plant = small()
    modes = {n: m.model_copy(update={"positions": {**m.positions, **positions.get(n, {})}})
             for n, m in plant.modes.items()}  # fmt: skip
    return bench_of(plant.model_copy(update={"modes": modes}))


def test_the_hardest_of_the_modes(monkeypatch: pytest.MonkeyPatch) -> None:
    """Would fail if the mode that asks least were told, or one in which the pump stands."""
    heads = {"milking": 4.0, "wash": 7.0, "direct": 9.0, "calf": 12.0}
    monkeypatch.setattr(network, "asked", lambda _, __, mode, q: (
        SimpleNamespace(head_m=heads[mode], mode=mode) if mode in heads else None))  # fmt: skip
    ctx = with_modes(calf={"MP3": "stopped"})
    got = network.hardest(ctx, "MP3", 90.0)
    assert got is not None and got.mode == "direct"
    still = with_modes(**{n: {"MP3": "stopped"} for n in small().modes})
    assert network.hardest(still, "MP3", 90.0) is None
    assert network.pumped_l_min(still, "MP3") is None
    assert network._beside(ctx, net_of(ctx), "MP1") == ["MP2", "MP3", "MP4"]


def test_what_a_pump_gives_alone() -> None:
    """Would fail if the pumps beside it ran too, or it were asked in a mode in which it stands."""
    ctx, alone = with_modes(), with_modes(milking={"MP4": "stopped"})
    both = network.pumped_l_min(ctx, "MP3")
    assert both is not None and both > 50.0
    assert network.pumped_l_min(alone, "MP3") == pytest.approx(both)
    later = with_modes(milking={"MP3": "stopped"})
    there = network.pumped_l_min(later, "MP3")
    assert there is not None and there > 50.0


def test_modes_that_milk_the_plainest_first() -> None:
    """Would fail if a mode that does more than milk were taken as the usual one."""
    plant = small()
    more = Mode(name="a", does=("milking", "calf_draw"), like="milking")
    ctx = bench_of(plant.model_copy(update={"modes": {"a": more, **plant.modes}}))
    assert network.usual_milking(ctx) == ["milking", "second_tank", "a"]
    assert network.usual_milking(bench_of(plant.model_copy(update={"modes": {}}))) == []


def test_the_share_of_the_milk_that_each_machine_takes() -> None:
    """Two filters side by side before one cooler: would fail if each were told the milk of both, or
    the cooler stood before them."""
    got = network.milk_way(bench_of(small()), ("MF1", "MF2", "PC1"))
    assert {t: place for t, (place, _) in got.items()} == {"MF1": 0, "MF2": 0, "PC1": 1}
    assert [got[t][1] for t in ("MF1", "MF2", "PC1")] == pytest.approx([0.5, 0.5, 1.0], rel=0.01)
    one = network.milk_way(with_modes(milking={"MP4": "stopped"}), ("MF1", "MF2", "PC1"))
    assert one["MF1"] == (0, pytest.approx(1.0)) and "MF2" not in one


def gated(*shut: str) -> StudyContext:
    """The small plant with a control valve before the cooler's water, shut in some modes."""
    plant = small()
    gate = machine("V80", "valve", ways=2, duty="control")
    moved = tuple(p.model_copy(update={"end": "V80.a"}) if p.end == "PC1.water_in" else p
                  for p in plant.pipes)  # fmt: skip
    last = next(p for p in plant.pipes if p.end == "PC1.water_in")
    more = last.model_copy(update={"id": "LX", "start": "V80.b"})
    modes = {n: m.model_copy(update={"positions": {
        **m.positions, "V80": "closed" if n in shut else "open"}})
        for n, m in plant.modes.items()}  # fmt: skip
    return bench_of(plant.model_copy(update={
        "equipment": {**plant.equipment, "V80": gate}, "pipes": (*moved, more), "modes": modes,
    }))  # fmt: skip


def test_modes_in_which_no_liquid_comes() -> None:
    """Would fail if water came past a shut valve, or a mode without milk were told."""
    assert network.dry_in(gated(), "PC1", "water_in") == ()
    shut = gated("second_tank", "wash", "direct")
    assert network.dry_in(shut, "PC1", "water_in") == ("second_tank", "direct")
    assert network.dry_in(shut, "WT1", "inlet_1") == ()  # the source stands open to it


def test_one_pump_for_all_that_is_wanted_at_once() -> None:
    """Would fail if pressure wanted at the end were not lifted besides, or of two wants at a port
    the lesser pressure, or one flow alone, were served."""
    ctx = bench_of(small())
    node = net_of(ctx).port("PC1", "water_in")

    def head(*wants: Want, of: StudyContext = ctx) -> Any:
        return serve(of, ["LP1"], wants)

    plain, pressed = head(Want(node, 100.0)), head(Want(node, 100.0, 20.0))
    metre = 9.80665 * plain.density_kg_m3 / 1000
    assert (plain.l_min, plain.source, pressed.end_kpa) == (100.0, "WT1", 20.0)
    assert pressed.head_m - plain.head_m == pytest.approx(20 / metre, rel=1e-3)
    for one in (plain, pressed):
        lost = one.friction_kpa + one.losses_kpa + one.end_kpa
        assert one.head_m == pytest.approx(one.rise_m + lost / metre, abs=1e-3)
        assert one.friction_kpa > 0 and one.losses_kpa > 0 and one.npsh_m > 5
    two = head(Want(node, 60.0, 5.0), Want(node, 40.0, 20.0))
    assert two.head_m == pytest.approx(pressed.head_m) and two.l_min == 100.0
    assert head() is None and head(Want(node, 0.0)) is None
    assert head(Want(net_of(ctx).port("MP1", "inlet"), 10.0)) is None
    assert head(Want(node, 150.0)).head_m > plain.head_m
    led = gated()
    wants = Want(net_of(led).port("PC1", "water_in"), 100.0, 20.0)
    assert head(wants, of=led).end_kpa == 20.0 + led.number("water.control_valve_kpa")
    twice = serve(bench_of(small()), ["LP1"], [replace(wants, node=node)])
    assert twice is not None and twice.head_m == pytest.approx(pressed.head_m)
    assert network.fed_by(ctx, "WT1", ("PC1", "TK1", "WH1")) == ("PC1", "WH1")
    assert [n.name for n in network.ports_to(ctx, "LP1", ("PC1",))] == ["PC1.water_in"]
