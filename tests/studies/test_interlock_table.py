"""The interlock table of a plant small enough to write its rows by hand."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pytest

from byrewright.documents.structured_text import structured_text
from byrewright.engine.interlocks import row_active, row_known
from byrewright.plant.read import read_plant_text
from byrewright.standards.rulebook import Rulebook
from byrewright.studies.routes.litres import Spills
from byrewright.studies.routes.prove import Prover
from byrewright.studies.routes.study import Routes
from byrewright.studies.routes.tables import sensor_set

NINES = ", ".join(["9"] * 12)
PLANT = f"""\
# (invented) milk from a receiver to one tank; a drain behind two valves, a trough behind one
byrewright: 1
site: {{name: (invented) Test Dell, region: EU, altitude_m: 100,
       water_temperature_c: [{NINES}], ambient_c: [{NINES}]}}
herd: {{cows: 100, yield_l_day: 25}}
milkings: [{{name: morning, start: "05:00", target_h: 3}}]
collections: [{{at: "10:00", tanker_l: 10000}}]
equipment:
  PF1: {{kind: platform, stalls: 20, turn_s: 400, rail_radius_m: 6}}
  MU1: {{kind: milking_unit, count: 20}}
  ML1: {{kind: milkline, bore_mm: 73, slope_pct: 1, length_m: 20}}
  RC1: {{kind: receiver, volume_l: 80}}
  ST1: {{kind: sanitary_trap, volume_l: 20}}
  VP1: {{kind: vacuum_pump, capacity_l_min_free: 2000, motor_kw: 7.5}}
  MP1: {{kind: milk_pump, flow_l_min: 100, head_m: 10, motor_kw: 1, led_by: RC1}}
  H1: {{kind: header}}
  V1: {{kind: valve, ways: 2, travel_s: 1}}
  V2: {{kind: valve, ways: 2}}
  V3: {{kind: valve, ways: 2}}
  V4: {{kind: valve, ways: 2, travel_s: 12}}
  V6: {{kind: valve, ways: 2}}
  V7: {{kind: valve, ways: 2, sensed: true}}
  FD1: {{kind: floor_drain}}
  WS1: {{kind: water_source, flow_l_min: 100}}
  TR1: {{kind: wash_trough, volume_l: 200}}
  WP1: {{kind: liquid_pump, flow_l_min: 100, head_m: 10, motor_kw: 1}}
  TK1: {{kind: bulk_tank, volume_l: 6000, cooling_kw: 20}}
  TB1: {{kind: tanker_bay}}
  SN1: {{kind: sensor, measures: flow, on: TK1, at_port: inlet_1}}
  SN2: {{kind: sensor, measures: level, on: RC1}}
  SN3: {{kind: sensor, measures: conductivity, on: H1}}
  SN4: {{kind: sensor, measures: flow, on: WS1}}
  SN5: {{kind: sensor, measures: flow, on: TK1, at_port: outlet}}
  SN6: {{kind: sensor, measures: conductivity, on: TR1}}
  SN7: {{kind: sensor, measures: level, on: TR1}}
pipes:
  - {{id: L1, from: MU1.milk, to: ML1.units_1, bore_mm: 16, length_m: 1.5}}
  - {{id: L2, from: ML1.receiver_1, to: RC1.milkline_1, bore_mm: 73, length_m: 2, slope_pct: 1}}
  - {{id: L3, from: RC1.outlet, to: MP1.inlet, bore_mm: 51, length_m: 1, service: milk}}
  - {{id: L4, from: MP1.outlet, to: H1.way_1, bore_mm: 51, length_m: 4, service: milk}}
  - {{id: L5, from: H1.way_2, to: V1.a, bore_mm: 51, length_m: 6, service: milk}}
  - {{id: L6, from: V1.b, to: TK1.inlet_1, bore_mm: 51, length_m: 6}}
  - {{id: L7, from: H1.way_3, to: V2.a, bore_mm: 51, length_m: 2, service: milk}}
  - {{id: L8, from: V2.b, to: V6.a, bore_mm: 51, length_m: 2, service: milk}}
  - {{id: L9, from: V6.b, to: FD1.inlet_1, bore_mm: 51, length_m: 2, service: drain}}
  - {{id: L10, from: TR1.outlet_1, to: WP1.inlet, bore_mm: 51, length_m: 2, service: wash}}
  - {{id: L11, from: WP1.outlet, to: V3.a, bore_mm: 51, length_m: 2, service: wash}}
  - {{id: L12, from: V3.b, to: H1.way_4, bore_mm: 51, length_m: 2, service: wash}}
  - {{id: L13, from: H1.way_5, to: V4.a, bore_mm: 51, length_m: 5, service: milk}}
  - {{id: L14, from: V4.b, to: TR1.return_1, bore_mm: 51, length_m: 5, service: wash}}
  - {{id: L15, from: WS1.outlet, to: V7.a, bore_mm: 38, length_m: 5, service: water}}
  - {{id: L16, from: V7.b, to: TR1.supply_1, bore_mm: 38, length_m: 5, service: water}}
  - {{id: L17, from: RC1.vacuum, to: ST1.receiver, bore_mm: 76, length_m: 2}}
  - {{id: L18, from: ST1.vacuum, to: VP1.inlet, bore_mm: 76, length_m: 12}}
  - {{id: L19, from: TK1.outlet, to: TB1.inlet_1, bore_mm: 76, length_m: 5}}
modes:
  milking: {{does: milking, VP1: runs, MP1: runs, V1: open, V2: closed, V3: closed, V4: closed,
            V6: closed, V7: open, WP1: stopped, MU1: milks, TK1: fills}}
"""
NO = frozenset[str]()
FLOW_S = 2 * 60.0  # alarm.valve_proof_min, common practice, no source
ROWS = {
    "VP1_not_runs": ("vacuum_lost", "high", 3.0, NO),
    "MP1_not_runs": ("flooded", "high", 3.0, NO),
    "V1_not_open": ("closed_line", "high", 3.0, {"Stop_MP1"}),
    "V3_not_closed": ("wash_to_milk", "high", 3.0, {"Stop_WP1"}),
    "V4_not_closed": ("milk_to_wash", "high", 13.0, NO),
    "WP1_not_stopped": ("closed_line", "medium", 3.0, {"Stop_WP1"}),
    "TK1_is_full": ("overflow", "high", 3.0, NO),
    "SN1_no_flow": ("milk_lost", "high", FLOW_S, NO),
    "SN2_is_high": ("flooded", "high", 3.0, NO),
    "SN3_is_wash": ("wash_to_milk", "high", 3.0, {"Stop_WP1"}),
}
"""By hand: what each does alone; a valve alarms 3 s after it is wrong, or 1 s after its travel."""
PAIR = ("milk_lost", "medium", 3.0, NO)
"""One of the two valves before the drain: it takes both, so a step less urgent."""


@pytest.fixture(scope="module")
def study() -> Routes:
    """The study of the plant."""
    return Routes(read_plant_text(PLANT).plant, Rulebook())


def test_rows_are_those_written_by_hand(study: Routes) -> None:
    """Would fail if a row were missing or of another urgency, a slow valve alarmed on its way, a
    flow sensor of water or of an outlet that is shut alarmed always, or wash in the trough did."""
    rows = {
        r.tag: (r.harm, r.priority, r.on_delay_s, set(r.effects) - {"Sound_alarm"})
        for r in study.table.rows
    }
    assert {t: r for t, r in rows.items() if t in ROWS} == ROWS
    assert list(rows.keys() - ROWS.keys()) in (["V2_not_closed"], ["V6_not_closed"])
    assert next(r for t, r in rows.items() if t not in ROWS) == PAIR
    assert all("Sound_alarm" in r.effects and r.modes == ("milking",) for r in study.table.rows)


def test_a_row_that_takes_two_names_the_other_and_what_it_is_needed_for(study: Routes) -> None:
    """Would fail if the row of one drain valve passed for milk lost by it alone, or if a row did
    not say which wrong position only it sees."""
    (row,) = (r for r in study.table.rows if r.machine in ("V2", "V6"))
    other = "V6" if row.machine == "V2" else "V2"
    assert row.text.endswith(f"if also {other} open")
    assert set(row.proof_wrong) == {("V2", "open"), ("V6", "open")}
    process = {"SN1", "SN2", "SN3"}
    assert all(r.proof for r in study.table.rows if r.machine not in process)


def test_changing_a_sock_through_the_twin_stops_no_pump() -> None:
    """Would fail if shutting one filter stopped the milk pump while its twin's valves stand open,
    if it no longer stopped it while they are shut, or if the controller's text said otherwise."""
    line = "  - {id: L5, from: H1.way_2, to: V1.a, bore_mm: 51, length_m: 6, service: milk}\n"
    end = "bore_mm: 51, length_m: 1, service: milk}\n"
    twins = f"  - {{id: L5, from: H1.way_2, to: H2.way_1, {end}"
    twins += f"  - {{id: M50, from: H3.way_1, to: V1.a, {end}"
    for i, (before, after) in enumerate((("V11", "V12"), ("V21", "V22")), 1):
        twins += f"  - {{id: M{i}1, from: H2.way_{i + 1}, to: {before}.a, {end}"
        twins += f"  - {{id: M{i}2, from: {before}.b, to: MF{i}.inlet, {end}"
        twins += f"  - {{id: M{i}3, from: MF{i}.outlet, to: {after}.a, {end}"
        twins += f"  - {{id: M{i}4, from: {after}.b, to: H3.way_{i + 1}, {end}"
    machines = "  H1: {kind: header}\n" + "".join(
        [f"  H{i}: {{kind: header}}\n" for i in (2, 3)]
        + [f"  MF{i}: {{kind: milk_filter, area_m2: 0.1, while_running: true}}\n" for i in (1, 2)]
        + [f"  V{n}: {{kind: valve, ways: 2, sensed: true}}\n" for n in (11, 12, 21, 22)]
    )
    text = PLANT.replace(line, twins).replace("  H1: {kind: header}\n", machines)
    text = text.replace("V1: open,", "V1: open, V11: open, V12: open, V21: closed, V22: closed,")
    table = Routes(read_plant_text(text).plant, Rulebook()).table
    row = next(r for r in table.rows if r.machine == "V11")
    assert row.tag == "V11_not_open_nor_MF2" and "Stop_MP1" in row.effects
    shut = {"V11_open": False, "V11_closed": True, "V21_open": True}
    assert row_active(row, "milking", shut | {"V22_open": False})
    assert not row_active(row, "milking", shut | {"V22_open": True})
    assert row_known(row, "milking", shut) is None  # the twin's outlet is not known
    right = "((I_V11_open AND NOT I_V11_closed) OR (I_V21_open AND I_V22_open))"
    assert f"C_{row.tag} := (Mode = 1) AND NOT {right};" in structured_text(table)


def test_a_sensor_is_left_out_or_seen_later_or_neither(study: Routes) -> None:
    """Would fail if nobody's noticing were told as somebody's, or what takes a machine's place did
    not stand beside it."""
    without = {row[0]: row[4] for row in sensor_set(study).rows}
    one, other = ("V2", "V6") if "V2" in without else ("V6", "V2")
    assert without.pop(one) == f"{len(without) + 1} sensors, with {other} instead"
    seen = {m: t.partition("; ")[2] for m, t in without.items()}
    assert {t.partition(";")[0] for t in without.values()} == {"cannot be left out"}
    later = "would notice it later"
    assert seen["V1"] == f"SN1, SN2 {later}"
    assert seen["MP1"] == f"SN2 {later}"  # a pump that stands lets milk through
    assert seen["V3"] == f"SN3 {later}"
    assert seen["VP1"] == seen["TK1"] == ""


def test_harm_is_told_with_no_more_wrong_than_it_takes(study: Routes) -> None:
    """Would fail if a valve that has no part in a harm were named with it."""
    scene = study.scenes["milking"]
    lost = next(q for q in scene.questions if q.name.startswith("milk_lost") and "FD1" in q.name)
    both = (("V2", "open"), ("V6", "open"))
    assert Prover(scene).least(lost, (*both, ("V7", "closed"))) == both


def test_what_leaves_a_tank_wrongly_is_what_leaves_beyond_the_usual() -> None:
    """Would fail if milk that ought to leave were counted as lost, or less than usual as a gain."""
    leaves = {(): 30.0, (("V9", "open"),): 50.0, (("V8", "closed"),): 10.0}

    def streams(mode: str, wrong: Any) -> list[Any]:
        return [SimpleNamespace(source=s, l_min=leaves[wrong]) for s in ("TK1", "TK2")]

    spills: Any = SimpleNamespace(_streams=streams)
    for wrong, l_min in (((("V9", "open"),), 20.0), ((("V8", "closed"),), 0.0)):
        assert Spills.out_of(spills, SimpleNamespace(mode="m", wrong=wrong), "TK1") == l_min
