"""Water of a milking plant: yard, hoses, store, and losses in pumped lines."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from byrewright.standards.model import Value

CACO3_MG_MMOL = 100.09
"""Hardness told as mg/L of calcium carbonate, for 1 mmol/L (its molar mass)."""

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
          "planned on", "practice", "common_practice", "limit", 0.8, 1.0, least=0.1, most=1.0),
    Value("water.hose_kpa", 200.0, "kPa", "pressure wanted at a hose or filling valve", "practice",
          "common_practice", "typical", 100.0, 300.0),
    Value("water.cooler_drop_kpa", 60.0, "kPa", "pressure lost by the water in a plate cooler",
          "practice", "common_practice", "typical", 30.0, 120.0),
    Value("water.filter_drop_kpa", 20.0, "kPa", "pressure lost in a half-dirty water filter",
          "practice", "common_practice", "typical", 10.0, 50.0),
    Value("water.backflow_drop_kpa", 60.0, "kPa", "pressure lost in a backflow preventer at its "
          "rated flow", "practice", "common_practice", "typical", 40.0, 90.0),
    Value("water.softener_drop_kpa", 50.0, "kPa", "pressure lost in a softener at its rated flow",
          "practice", "common_practice", "typical", 30.0, 100.0),
    Value("water.soft_enough_mmol_l", 2.5, "mmol/L", "hardness from which heaters scale and wash "
          "takes more detergent (14 German degrees)", "practice", "common_practice", "limit",
          1.5, 3.0),
    Value("water.softener_salt_kg_mol", 0.20, "kg/mol", "salt that brings a softener back, for "
          "each mol of hardness it takes (0.117 kg would do if none were wasted)", "practice",
          "common_practice", "typical", 0.15, 0.30, least=0.117, most=1.0),
    Value("frost.room_least_c", 3.0, "degC", "least temperature of a room with standing water",
          "practice", "common_practice", "limit", 2.0, 5.0),
    Value("frost.liquid_least_c", 1.0, "degC", "least temperature of a vessel's content: ice "
          "begins at the wall before the whole is at nil", "practice", "common_practice", "limit"),
    Value("frost.cold_night_k", 15.0, "K", "coldest night below the mean of the coldest month, "
          "where it is not stated", "practice", "common_practice", "typical", 10.0, 20.0),
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
          "practice", "common_practice", "typical", 3.0, 6.0, least=0.5, most=20.0),
    Value("coolant.tank_drop_kpa", 40.0, "kPa", "pressure lost in a tank's cooling jacket",
          "practice", "common_practice", "typical", 20.0, 80.0),
    Value("pump.efficiency", 0.5, "", "efficiency of a small centrifugal pump", "practice",
          "common_practice", "typical", 0.4, 0.65, least=0.1, most=0.9),
)  # fmt: skip

WATER_BORES_MM: tuple[float, ...] = (15, 20, 25, 32, 40, 50, 65, 80, 100, 125, 150, 200)
"""Usual bores of water pipes (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class BackflowDevice:
    """What keeps a fluid back, and up to which category."""

    title: str
    category: int


BACKFLOW: Mapping[str, BackflowDevice] = {
    "air_gap": BackflowDevice("air gap", 5),
    "reduced_pressure": BackflowDevice("reduced-pressure zone with relief", 4),
    "double_check": BackflowDevice("two check valves", 2),
    "single_check": BackflowDevice("one check valve", 2),
}
WASH_CATEGORY = 4
"""Wash liquid with caustic, acid or disinfectant: harmful, but no germs of concern by itself."""
MILK_CATEGORY = 5
"""What comes back from udders, milk lines and the yard: germs. Categories of EN 1717: 1 drinking
water, 2 changed in taste or heat, 3 and 4 harmful, 5 germs. The local code decides and may differ.
"""
