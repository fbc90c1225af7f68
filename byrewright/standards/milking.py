"""Cows and flow: milk-out times, go-round shares, flow curve, removal."""

from __future__ import annotations

from byrewright.standards.model import Value

VALUES: tuple[Value, ...] = (
    Value("milking.peak_flow_kg_min", 4.25, "kg/min", "peak flow of a Holstein cow", "practice",
          "from_memory", "typical", 3.5, 5.0),
    Value("milking.rise_s", 45.0, "s", "linear rise to peak flow", "practice", "from_memory",
          "typical", 30.0, 60.0),
    Value("milking.removal_threshold_kg_min", 0.4, "kg/min", "flow at which the unit is removed",
          "edwards2013", "read", "typical", 0.2, 0.8),
    Value("milking.removal_delay_s", 15.0, "s", "delay of removal under the threshold",
          "practice", "from_memory", "typical", 10.0, 20.0),
    Value("milking.wait_most_min", 60.0, "min", "wait of a cow in the yard", "practice",
          "common_practice", "limit"),
)  # fmt: skip
