"""Cows and flow: milk-out times, go-round shares, flow curve, removal."""

from __future__ import annotations

from byrewright.standards.model import Value

VALUES: tuple[Value, ...] = (
    Value("milking.duration_mean_s", 383.0, "s", "mean milking duration, 62 New Zealand rotaries, "
          "pooled", "edwards2012", "read", "typical", least=90.0, most=1500.0),
    Value("milking.duration_sd_s", 129.0, "s", "standard deviation of milking duration, pooled "
          "over cows, days and farms (one herd is narrower)", "edwards2012", "read", "typical",
          least=5.0, most=600.0),
    Value("milking.yield_mean_kg", 11.9, "kg", "yield at a milking, same study", "edwards2012",
          "read", "typical", least=2.0, most=40.0),
    Value("milking.yield_sd_kg", 3.8, "kg", "standard deviation of the yield, same study",
          "edwards2012", "read", "typical", least=0.2, most=15.0),
    Value("milking.yield_time_correlation", 0.5, "", "correlation of the yield at a milking with "
          "unit-on time, between cows", "practice", "from_memory", "typical", 0.4, 0.6,
          least=0.0, most=0.95),
    Value("milking.unit_on_least_s", 120.0, "s", "shortest mean unit-on time taken", "practice",
          "common_practice", "limit", least=20.0, most=600.0),
    Value("milking.go_round_shadow", 0.0, "", "chance that a cow going round leaves the next stall "
          "empty; 1 is the case with which the study finds its best at about 20 % going round",
          "edwards2012", "read", "rule", least=0.0, most=1.0),
    Value("milking.peak_flow_kg_min", 4.25, "kg/min", "peak flow of a Holstein cow", "practice",
          "from_memory", "typical", 3.5, 5.0, least=1.0, most=12.0),
    Value("milking.mean_flow_holstein_kg_min", 2.6, "kg/min", "mean flow of a Holstein cow over "
          "unit-on time", "practice", "from_memory", "typical", 2.2, 3.0, least=0.5, most=8.0),
    Value("milking.rise_s", 45.0, "s", "linear rise to peak flow", "practice", "from_memory",
          "typical", 30.0, 60.0, least=5.0, most=180.0),
    Value("milking.removal_threshold_kg_min", 0.4, "kg/min", "flow at which the unit is removed",
          "edwards2013", "read", "typical", 0.2, 0.8, least=0.05, most=1.5),
    Value("milking.removal_delay_s", 15.0, "s", "delay of removal under the threshold",
          "practice", "from_memory", "typical", 10.0, 20.0),
    Value("milking.liner_age_pct", 100.0, "%", "milkings of a set of liners, of the life that its "
          "maker states", "practice", "common_practice", "limit", least=50.0, most=150.0),
    Value("milking.wait_most_min", 60.0, "min", "wait of a cow in the yard", "practice",
          "common_practice", "limit"),
)  # fmt: skip
