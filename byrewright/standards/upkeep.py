"""What service intervals rest on before a plant's own experience."""

from __future__ import annotations

from byrewright.standards.model import Value

VALUES: tuple[Value, ...] = (
    Value("upkeep.worn_at_interval", 0.10, "", "share of parts worn out when their service "
          "interval is over, before this plant's own record says otherwise", "practice",
          "common_practice", "typical", 0.05, 0.2),
    Value("upkeep.interval_factor", 2.0, "", "a plant's own interval lies within this factor of "
          "the usual one, either way, nine times of ten", "practice", "common_practice", "typical",
          1.5, 4.0),
    Value("upkeep.wear_shape", 2.0, "", "Weibull shape of parts that wear", "practice",
          "common_practice", "typical", 1.2, 3.5),
    Value("upkeep.compressor_valve_starts", 60_000.0, "", "starts of an air compressor between "
          "services of its valves", "practice", "from_memory", "typical", 30_000.0, 120_000.0),
    Value("upkeep.rail_turns", 12_000.0, "", "turns of a deck between looks at its rail: half a "
          "year of one that turns ten hours a day", "practice", "from_memory", "typical",
          6_000.0, 20_000.0),
    Value("upkeep.drive_wheel_km", 300.0, "km", "way of a drive wheel between looks at its contact "
          "and tread", "practice", "from_memory", "typical", 150.0, 600.0),
    Value("upkeep.roller_km", 150.0, "km", "way of a roller between greasings", "practice",
          "from_memory", "typical", 50.0, 300.0),
    Value("upkeep.gland_seal_turns", 30_000.0, "", "turns of a rotary gland between sets of seals",
          "practice", "from_memory", "typical", 15_000.0, 60_000.0),
    Value("upkeep.pump_seal_litres", 20e6, "L", "milk through a milk pump between shaft seals",
          "practice", "from_memory", "typical", 10e6, 40e6),
    Value("upkeep.liner_cows", 2500.0, "", "cow milkings of a set of rubber liners", "practice",
          "common_practice", "typical", 2000.0, 3000.0),
)  # fmt: skip
"""byrewright's own starting figures, to be replaced by what is found."""
