"""The liquid network of a plant: what its machines are in it, and what follows from its state."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import pytest

from byrewright.engine import liquidsections
from byrewright.engine.liquidgraph import Flows
from byrewright.engine.liquidlaws import Fluid
from byrewright.engine.liquids import Liquids, LiquidsUnsolved
from byrewright.engine.liquidstreams import upstream
from byrewright.engine.supplies import Supplies
from byrewright.plant.graph import Node
from byrewright.plant.plant import Mode, Pipe, Plant
from byrewright.plant.primitives import Pump
from byrewright.standards.rulebook import default_rulebook
from tests import plants
from tests.plants import farm, machine

CLOSE = 1e-5  # answers of one network cut in another way
SMOOTH = 0.05  # the greatest change of any flow for a hundredth more of one length


def plant(machines: dict[str, dict[str, Any]], lines: list[str], modes: dict[str, dict[str, str]],
          **pipes: dict[str, Any]) -> Plant:  # fmt: skip
    """An invented plant: lines are written `id: a.port > b.port > c.port`, 4 m of 48.6 mm each."""
    made = []
    for line in lines:
        name, _, rest = line.partition(": ")
        ends = rest.split(" > ")
        for i, (a, b) in enumerate(zip(ends[::2], ends[1::2], strict=True)):
            tag = f"{name}{i + 1}" if len(ends) > 2 else name
            fields = {"bore_mm": 48.6, "length_m": 4.0} | pipes.get(tag, {})
            made.append(Pipe(id=tag, start=a, end=b, **fields))
    return Plant(
        byrewright=1, equipment={t: machine(t, **m) for t, m in machines.items()},
        pipes=tuple(made),
        modes={n: Mode(name=n, does=("milking",), positions=p) for n, p in modes.items()},
        **farm(60, 2, 1, 0, 25.0, 4.0),
    )  # fmt: skip


def delivery(*coolers: str, series: bool = True, mode: dict[str, str] | None = None,
             **pipes: dict[str, Any]) -> Plant:  # fmt: skip
    """A balance tank, a pump, coolers in a row or side by side, a bypass with its valve, a tank."""
    cooler = {"kind": "plate_cooler", "area_m2": 6.0, "water_ratio": 2.0, "milk_drop_kpa": 60.0}
    lines = [
        "L1: BT1.outlet > MP1.inlet",
        "L2: MP1.outlet > H1.way_1",
        "L7: H1.way_9 > V1.a",
        "L8: V1.b > H2.way_9",
        "L9: H2.way_8 > TK1.inlet_1",
    ]
    if series:
        ends = ["H1.way_2", *(x for c in coolers for x in (f"{c}.milk_in", f"{c}.milk_out")),
                "H2.way_1"]  # fmt: skip
        lines.append("L3: " + " > ".join(ends))
    else:
        lines += [f"L3{c}: H1.way_{i + 2} > {c}.milk_in > {c}.milk_out > H2.way_{i + 1}"
                  for i, c in enumerate(coolers)]  # fmt: skip
    return plant(
        {"BT1": {"kind": "balance_tank", "volume_l": 400},
         "MP1": {"kind": "milk_pump", "flow_l_min": 90, "head_m": 15, "motor_kw": 0.75},
         "V1": {"kind": "valve"}, "H1": {"kind": "header"}, "H2": {"kind": "header"},
         "TK1": {"kind": "bulk_tank", "volume_l": 8000, "cooling_kw": 20},
         **dict.fromkeys(coolers, cooler)},
        lines, {"milking": {"MP1": "runs"} | (mode or {})}, **pipes,
    )  # fmt: skip


def flows(made: Plant, **more: Any) -> Flows:
    """The network of its milking mode."""
    net = Liquids(made, default_rulebook())
    return net.solve(net.situation("milking", **more))


def test_a_closed_valves_tail_may_have_any_length() -> None:
    """Would fail if what leads to a closed valve had any say in what flows."""
    found = [
        flows(delivery("PC1", L7={"length_m": m}, L8={"length_m": m})) for m in (0.2, 1.5, 80.0)
    ]
    assert found[0].l_min == found[1].l_min == found[2].l_min
    assert "L7" not in found[0].l_min
    assert found[0].l_min["MP1:inlet-outlet"] > 50


def test_coolers_in_a_row_add_and_side_by_side_share() -> None:
    """Would fail if two stages were counted as one, or two halves as two wholes."""
    one, row, side = (flows(delivery("PC1")), flows(delivery("PC1", "PC2")),
                      flows(delivery("PC1", "PC2", series=False)))  # fmt: skip
    assert row.l_min["PC1:milk_in-milk_out"] == row.l_min["PC2:milk_in-milk_out"]
    assert row.l_min["MP1:inlet-outlet"] < one.l_min["MP1:inlet-outlet"]
    assert side.l_min["PC1:milk_in-milk_out"] == pytest.approx(
        side.l_min["PC2:milk_in-milk_out"], rel=CLOSE
    )
    assert side.l_min["MP1:inlet-outlet"] == pytest.approx(
        2 * side.l_min["PC1:milk_in-milk_out"], rel=CLOSE
    )
    drops = [row.head_m[Node(c, "milk_in")] - row.head_m[Node(c, "milk_out")]
             for c in ("PC1", "PC2")]  # fmt: skip
    assert drops[0] == pytest.approx(drops[1], rel=CLOSE)


def test_every_flow_changes_smoothly_with_every_length() -> None:
    """Would fail if a way were taken or left by its length."""
    base = flows(delivery("PC1", mode={"V1": "half"})).l_min
    for name in [n for n in base if n.startswith("L")]:
        for metres in (2.0, 3.96, 4.04, 8.0):
            one = flows(delivery("PC1", mode={"V1": "half"}, **{name: {"length_m": metres}})).l_min
            assert one.keys() == base.keys()
            if abs(metres - 4.0) < 1.0:
                for edge, q in one.items():
                    assert abs(q - base[edge]) <= SMOOTH * max(abs(base[edge]), 1.0), (
                        name,
                        edge,
                    )


def test_a_ring_comes_back_to_its_own_height() -> None:
    """Would fail if a closed chilled ring were charged with the rise of its way out."""

    def ring(rise_m: float, back_m: float) -> Flows:
        return flows(plant(
            {"CH1": {"kind": "chiller", "duty_kw": 40},
             "LP1": {"kind": "liquid_pump", "flow_l_min": 150, "head_m": 12, "motor_kw": 1.1},
             "PC1": {"kind": "plate_cooler", "area_m2": 6.0, "water_ratio": 2.0,
                     "chilled_area_m2": 4.0}},
            ["L1: CH1.coolant_out > LP1.inlet", "L2: LP1.outlet > PC1.coolant_in",
             "L3: PC1.coolant_out > CH1.coolant_in"],
            {"milking": {"LP1": "runs", "CH1": "runs"}},
            L2={"rise_m": rise_m}, L3={"rise_m": back_m},
        ))  # fmt: skip

    flat, stated, forgotten = ring(0.0, 0.0), ring(2.2, -2.2), ring(2.2, 0.0)
    assert flat.l_min["LP1:inlet-outlet"] > 50
    for one in (stated, forgotten):
        assert one.l_min == pytest.approx(flat.l_min, rel=CLOSE)
        high = one.kpa(Node("PC1", "coolant_in"))
        assert high == pytest.approx(
            flat.kpa(Node("PC1", "coolant_in")) - flat.fluid[Node("PC1", "coolant_in")].kpa(2.2),
            abs=0.1,
        )
    assert not stated.uneven
    assert forgotten.uneven


def two_suctions(v1: str, v2: str, **pipes: dict[str, Any]) -> Flows:
    """One pump that draws from two tanks through a valve each."""
    return flows(plant(
        {"BT1": {"kind": "balance_tank", "volume_l": 400},
         "BT2": {"kind": "balance_tank", "volume_l": 400},
         "V1": {"kind": "valve"}, "V2": {"kind": "valve"}, "H1": {"kind": "header"},
         "MP1": {"kind": "milk_pump", "flow_l_min": 90, "head_m": 8, "motor_kw": 0.75},
         "TK1": {"kind": "bulk_tank", "volume_l": 8000, "cooling_kw": 20}},
        ["L1: BT1.outlet > V1.a", "L2: V1.b > H1.way_1", "L3: BT2.outlet > V2.a",
         "L4: V2.b > H1.way_2", "L5: H1.way_3 > MP1.inlet", "L6: MP1.outlet > TK1.inlet_1"],
        {"milking": {"MP1": "runs", "V1": v1, "V2": v2}}, **pipes,
    ))  # fmt: skip


def test_a_pump_with_two_suctions_takes_all_from_the_open_one() -> None:
    """Would fail if a shut suction still gave its half, or kept the other to a half."""
    both, one = two_suctions("open", "open"), two_suctions("open", "closed")
    assert both.l_min["L1"] == pytest.approx(both.l_min["L3"], rel=CLOSE)
    assert one.l_min["L1"] == pytest.approx(one.l_min["MP1:inlet-outlet"])
    assert one.l_min["L1"] > 0.95 * both.l_min["MP1:inlet-outlet"]
    assert "L3" not in one.l_min
    near = two_suctions("open", "open", L3={"length_m": 40.0})
    assert near.l_min["L1"] > 1.3 * near.l_min["L3"]
    assert two_suctions("closed", "closed").shut == ["MP1"]


def test_forced_flow_gives_the_head_that_it_asks() -> None:
    """Would fail if the head at a given flow were not that at which a pump gives this flow."""
    made = delivery("PC1")
    free = flows(made)
    q = free.l_min["MP1:inlet-outlet"]
    forced = flows(made, forced_l_min={"MP1": q})
    asked = forced.head_m[Node("MP1", "outlet")] - forced.head_m[Node("MP1", "inlet")]
    gives = free.head_m[Node("MP1", "outlet")] - free.head_m[Node("MP1", "inlet")]
    assert asked == pytest.approx(gives, rel=1e-4)
    with pytest.raises(LiquidsUnsolved, match="no way on"):
        flows(delivery("PC1", mode={"V1": "closed"}, L2={}).model_copy(
            update={"pipes": tuple(p for p in made.pipes if p.id not in ("L9",))}
        ), forced_l_min={"MP1": q})  # fmt: skip


def test_the_rated_point_of_a_pump_is_met() -> None:
    """Would fail if a pump did not give its rated flow at its rated head."""
    made = delivery("PC1")
    one = flows(made, forced_l_min={"MP1": 90.0})
    head = one.head_m[Node("MP1", "outlet")] - one.head_m[Node("MP1", "inlet")]
    pump = made.equipment["MP1"].model_copy(update={"head_m": round(head, 9)})
    fit = made.model_copy(update={"equipment": {**made.equipment, "MP1": pump}})
    assert flows(fit).l_min["MP1:inlet-outlet"] == pytest.approx(90.0, rel=1e-4)
    assert math.isfinite(head)


def test_openings_are_as_wide_as_the_pipe_there() -> None:
    """Would fail if what a vessel's opening costs were reckoned for a bore that no pipe has."""
    net = Liquids(delivery("PC1", L1={"bore_mm": 38.0}), default_rulebook())
    assert net.bore_mm[Node("BT1", "outlet")] == net.bore_mm[Node("MP1", "inlet")] == 38.0
    assert net.bore_mm[Node("MP1", "outlet")] == 48.6


def test_what_arrives_is_traced_back_to_where_it_comes_from() -> None:
    """Would fail if flow were followed the way that it runs instead of back."""
    net = Liquids(delivery("PC1"), default_rulebook())
    found = net.solve(net.situation("milking"))
    shares, l_min = upstream(net, found, Node("TK1", "inlet_1"), {"BT1"})
    assert shares == {"BT1": 1.0} and l_min == pytest.approx(found.l_min["MP1:inlet-outlet"])
    assert upstream(net, found, Node("BT1", "outlet"), {"TK1"})[0] == {}


def test_pipes_alike_share_the_flow() -> None:
    """Would fail if pipes side by side were as narrow together as one, or its friction were that
    of another Reynolds number: each of three carries a third."""
    made = delivery("PC1")
    net = Liquids(made, default_rulebook())
    fluid = Fluid("milk", 1030.0, 2.0, 2.0)
    (_, one), (_, three) = (net.laws.pipe(made.pipes[0], fluid, many) for many in (1, 3))
    at, third = 100.0, 100.0 / 3
    assert three[0] * at**2 == pytest.approx(one[0] * third**2)  # head without friction
    assert three[3] * at == pytest.approx(one[3] * third)  # Reynolds number


def test_a_pump_that_displaces_gives_its_flow_against_any_head() -> None:
    """Would fail if such a pump gave more for turning at its own speed, or less behind a cooler."""
    net = Liquids(delivery("PC1"), default_rulebook())
    net = net.with_pumps({"MP1": replace(net.pumps["MP1"], head_m=None)})
    for speed, l_min in (({}, 90.0), ({"MP1": 0.5}, 45.0)):
        found = net.solve(replace(net.situation("milking"), speed=speed))
        assert found.l_min["MP1:inlet-outlet"] == pytest.approx(l_min)


def test_a_sock_stops_more_as_it_fills() -> None:
    """Would fail if a half-used sock dropped other than it does: clean, half, due, and between."""
    rules, laws = default_rulebook(), Liquids(delivery("PC1"), default_rulebook()).laws
    clean, half, full, none = (rules.number(f"filter.drop_{what}_kpa")
                               for what in ("clean", "half", "full", "empty"))  # fmt: skip
    told = [laws.sock_kpa(dirt) for dirt in (-1.0, 0.0, 0.25, 0.5, 0.75, 1.0)]
    assert told == pytest.approx([none, clean, (clean + half) / 2, half, (half + full) / 2, full])


def test_kept_answers_are_those_of_a_network_asked_afresh() -> None:
    """Would fail if what is kept of one plant, or of one state, were told of another: a draft asks
    many plants that are joined up alike, and states that differ in one pump."""
    first = plants.rotary()
    pump = first.equipment["MP3"].model_copy(update={"head_m": 22.0})
    raised = tuple(
        p.model_copy(update={"rise_m": 0.4}) if p.id == "L24" else p for p in first.pipes
    )
    others = [
        first,
        first.model_copy(update={"equipment": {**first.equipment, "MP3": pump}}),
        first.model_copy(
            update={"pipes": tuple(p.model_copy(update={"bore_mm": 60.0}) for p in first.pipes)}
        ),
        first.model_copy(update={"pipes": raised}),
    ]
    rules = default_rulebook()

    def asked(net: Liquids) -> list[tuple[object, ...]]:
        found: list[tuple[object, ...]] = []
        for mode in first.modes:
            for more in ({}, {"speed": {"MP3": 0.7}}, {"level_l": {"BT1": 40.0}}):
                flows = net.solve(net.situation(mode, **more))
                found.append((flows.l_min, flows.head_m, flows.height_m, flows.shut))
        return found

    def faster(net: Liquids) -> dict[str, Pump]:
        return {"MP3": replace(net.pumps["MP3"], flow_l_min=400.0)}

    kept, fresh = [], []
    for one in others:
        net = Liquids(one, rules)
        kept += [asked(net), asked(net.with_pumps(faster(net)))]
    for one in others:
        for quick in (False, True):
            for store in (liquidsections._opened, liquidsections._sections, liquidsections._risen):
                store.clear()
            net = Liquids(one, rules)
            net.pumps |= faster(net) if quick else {}
            fresh.append(asked(net))
    assert kept == fresh
    assert [kept.index(x) for x in kept] == list(range(len(kept))), "the plants must differ"
    changed = []  # the same from the answers of the first, with other pipes put in
    for one in others[2:]:
        net = Liquids(first, rules)
        before = asked(net)
        changed.append(asked(net.with_pipes(one.pipes)))
        assert asked(net) == before
    assert changed == [kept[4], kept[6]]


def test_water_warmed_on_its_way_is_no_supply() -> None:
    """Would fail if a float were said to draw fresh water through a cooler, which sends it on by
    itself."""
    tank = {"kind": "water_tank", "volume_l": 5000}
    pump = {"kind": "liquid_pump", "flow_l_min": 90, "head_m": 15, "motor_kw": 0.75}
    made = plant(
        {"WT1": tank, "WT2": tank, "WT3": tank,
         "PC1": {"kind": "plate_cooler", "area_m2": 6.0, "water_ratio": 2.0},
         "LP1": pump, "LP2": pump},
        ["L1: WT1.outlet_1 > PC1.water_in > PC1.water_out > LP1.inlet > LP1.outlet > WT2.inlet_1",
         "L2: WT1.outlet_2 > LP2.inlet > LP2.outlet > WT3.inlet_1"],
        {"milking": {"LP1": "runs", "LP2": "runs"}},
    )  # fmt: skip
    net = Liquids(made, default_rulebook())
    asked = Supplies(net, (), {"PC1", "LP1", "LP2"})
    warm, plain = (asked.to(Node(tag, "inlet_1"), {"WT1"}, ["milking"]) for tag in ("WT2", "WT3"))
    assert warm == [] and [(x.source, x.pumps) for x in plain] == [("WT1", ("LP2",))]


@pytest.mark.parametrize(("kind", "outlet"), [("water_tank", "outlet_1"), ("bulk_tank", "outlet")])
def test_no_way_leads_into_a_tank_by_its_outlet(kind: str, outlet: str) -> None:
    """Would fail if a tank were said to be filled through the port that it gives by, or none were
    filled through its inlet."""
    tank = {"kind": kind, "volume_l": 8000}
    tank |= {"cooling_kw": 20} if kind == "bulk_tank" else {}
    made = plant(
        {"TK1": tank, "TK2": tank, "H1": {"kind": "header"}},
        [f"L1: TK1.{outlet} > H1.way_1", "L2: H1.way_2 > TK2.inlet_1"], {"milking": {}},
    )  # fmt: skip
    net = Liquids(made, default_rulebook())
    assert set(net.fewest(net.situation("milking"), Node("H1", "way_1"))) == {"TK2"}
