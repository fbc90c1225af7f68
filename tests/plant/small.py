"""A small plant file, written by hand: one of most things, quick to read. The farm is invented."""

from __future__ import annotations

SMALL = """\
# (invented) a small rotary for tests
byrewright: 1
site:
  name: (invented) Test Hollow
  region: EU
  altitude_m: 140 m
  water_temperature_c: [7, 7, 8, 9, 10, 11, 12, 12, 11, 10, 9, 8]
  ambient_c: [2, 3, 6, 9, 13, 17, 19, 19, 15, 11, 6, 38 degF]
herd:
  cows: 320
  yield_l_day: 31
  groups: [{name: high, cows: 200}, {name: low, cows: 120, withheld_cows: 4}]
milkings:
  - {name: morning, start: "05:00", target_h: 3, groups: [high, low]}
  - {name: evening, start: 16:30, target_h: 3}   # unquoted times are fine
collections:
  - {at: "10:00", tanker_l: 20 m3}
equipment:
  PF1: {kind: platform, stalls: 40, turn_s: 400, rail_radius_m: 6}
  MU1: {kind: milking_unit, count: 40}
  ML1: {kind: milkline, bore_mm: 3 in, slope_pct: 1, length_m: 38}
  RC1: {kind: receiver, volume_l: 120, led_at_l: 40}
  ST1: {kind: sanitary_trap, volume_l: 20}
  VP1:
    kind: vacuum_pump
    capacity_l_min_free: 4200   # duty with reserve
    motor_kw: 15 hp
    fed_from: SB1
  MP1: {kind: milk_pump, flow_l_min: 160, head_m: 14, motor_kw: 1.5, led_by: RC1, fed_from: [SB1]}
  V11: {kind: valve, ways: 2, moved_by: hand, sensed: true}
  TK1: {kind: bulk_tank, volume_l: 12000, cooling_kw: 40, time_class: "I", fed_from: SB1}
  TB1: {kind: tanker_bay}
  WM1: {kind: withheld_vessel, volume_l: 200}
  EM1: {kind: mains, supply_kva: 120}
  SB1: {kind: switchboard, fed_from: EM1}
  SN1: {kind: sensor, measures: level, on: RC1, at_port: outlet}
pipes:
  - {id: L1, from: MU1.milk, to: ML1.units_1, bore_mm: 16, length_m: 1.5}
  - {id: L2, from: ML1.receiver_1, to: RC1.milkline_1, bore_mm: 76, length_m: 2, slope_pct: 1}
  - {id: L3, from: RC1.vacuum, to: ST1.receiver, bore_mm: 76, length_m: 2 m}
  - {id: L4, from: ST1.vacuum, to: VP1.inlet, bore_mm: 76, length_m: 12, fittings: {bend: 3}}
  - {id: L5, from: RC1.outlet, to: MP1.inlet, bore_mm: 51, length_m: 1, service: milk}
  - {id: L6, from: MP1.outlet, to: V11.a, bore_mm: 51, length_m: 4, service: milk}
  - {id: L7, from: V11.b, to: TK1.inlet_1, bore_mm: 51, length_m: 6}
  - {id: L8, from: TK1.outlet, to: TB1.inlet_1, bore_mm: 76, length_m: 5}
  - {id: L9, from: MU1.withheld, to: WM1.milk, bore_mm: 16, length_m: 3}
modes:
  milking: {does: milking, VP1: runs, MP1: runs, V11: open, MU1: milks, TK1: fills}
  calm: {does: idle, like: milking, VP1: stopped, MP1: stopped, V11: closed}
wishes: {redundancy: none, no_single_stop: false}
"""

BRIEF = """\
# (invented) a brief for tests
brief: 1
farm: (invented) Test Hollow
cows: 320
yield_l_day: 31 L/d
groups: [{name: high, cows: 200}, {name: low, cows: 120}]
milkings: ["05:00", "16:30"]
target_h: 3
operators: 2
collections: [{at: "10:00", tanker_l: 20 m3, every_days: 1}]
water_source: {origin: spring, flow_l_min: 120, temperature_c: 48 degF}
climate: cool
altitude_m: 400
supply: {phases: 3, tariff: [{from: "07:00", price_kwh: 0.24}]}
layout: rotary
stalls: 40
redundancy: duty-and-standby
cooling: ice_bank
"""

LIMITS = """\
vacuum.iso_drop_receiver_to_pump_kpa: 2.5
vacuum:
  iso_drop_receiver_to_regulator_kpa: 0.1 bar
"""
