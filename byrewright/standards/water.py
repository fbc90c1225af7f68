"""Water of a milking plant: yard, hoses, store, and losses in pumped lines."""

from __future__ import annotations

from byrewright.standards.model import Value

VALUES: tuple[Value, ...] = (
    Value("water.yard_l_cow", 8.0, "L", "hosing of deck, parlour and yard for each cow at each "
          "milking", "practice", "common_practice", "typical", 4.0, 20.0),
    Value("water.yard_h", 1.0, "h", "time in which the yard is hosed after a milking", "practice",
          "common_practice", "typical", 0.5, 2.0),
    Value("water.yard_hose_l_min", 150.0, "L/min", "yard hose or wash-down main in use", "practice",
          "common_practice", "typical", 60.0, 300.0),
    Value("water.deck_hose_l_min", 30.0, "L/min", "hose in use on the deck or in the plant room",
          "practice", "common_practice", "typical", 20.0, 60.0),
    Value("water.tank_hours", 1.0, "h", "fresh water kept in store above the day's balance, hours "
          "of use in milking: time to see to a stopped source", "practice", "common_practice",
          "typical", 0.5, 4.0),
    Value("water.source_share_most", 0.90, "", "share of what a source gives in a day that is "
          "planned on", "practice", "common_practice", "limit", 0.8, 1.0),
    Value("water.hose_kpa", 200.0, "kPa", "pressure wanted at a hose or filling valve", "practice",
          "common_practice", "typical", 100.0, 300.0),
    Value("water.cooler_drop_kpa", 60.0, "kPa", "pressure lost by the water in a plate cooler",
          "practice", "common_practice", "typical", 30.0, 120.0),
    Value("water.filter_drop_kpa", 20.0, "kPa", "pressure lost in a half-dirty water filter",
          "practice", "common_practice", "typical", 10.0, 50.0),
    Value("water.control_valve_kpa", 30.0, "kPa", "pressure lost in a control valve", "practice",
          "common_practice", "typical", 20.0, 60.0),
    Value("water.filter_allowance", 1.25, "", "filter rating over flow, so that it lasts between "
          "washings back", "practice", "common_practice", "typical", 1.1, 2.0),
    Value("wash.jetter_kpa", 80.0, "kPa", "pressure wanted at the jetters from a wash pump",
          "practice", "common_practice", "typical", 40.0, 150.0),
    Value("wash.spray_kpa", 150.0, "kPa", "pressure wanted at a tank's spray", "practice",
          "common_practice", "typical", 100.0, 250.0),
    Value("wash.spray_l_min", 120.0, "L/min", "flow of a tank's spray", "practice",
          "common_practice", "typical", 80.0, 250.0),
    Value("coolant.rise_k", 4.0, "K", "warming of chilled liquid on its way through a tank",
          "practice", "common_practice", "typical", 3.0, 6.0),
    Value("coolant.tank_drop_kpa", 40.0, "kPa", "pressure lost in a tank's cooling jacket",
          "practice", "common_practice", "typical", 20.0, 80.0),
    Value("pump.efficiency", 0.5, "", "efficiency of a small centrifugal pump", "practice",
          "common_practice", "typical", 0.4, 0.65),
)  # fmt: skip

WATER_BORES_MM: tuple[float, ...] = (15, 20, 25, 32, 40, 50, 65, 80, 100, 125, 150, 200)
"""Usual bores of water pipes (common practice, no source)."""
