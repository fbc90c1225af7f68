"""Cows and flow: milk-out times, go-round shares, flow curve, removal."""

from __future__ import annotations

from byrewright.standards.model import Value

VALUES: tuple[Value, ...] = (
    Value("milking.duration_mean_s", 383.0, "s", "mean milking duration, 62 New Zealand rotaries, "
          "pooled", "edwards2012", "read", "typical"),
    Value("milking.duration_sd_s", 129.0, "s", "standard deviation of milking duration, pooled "
          "over cows, days and farms (one herd is narrower)", "edwards2012", "read", "typical"),
    Value("milking.yield_mean_kg", 11.9, "kg", "yield at a milking, same study", "edwards2012",
          "read", "typical"),
    Value("milking.yield_sd_kg", 3.8, "kg", "standard deviation of the yield, same study",
          "edwards2012", "read", "typical"),
    Value("milking.rotation_min", 10.0, "min", "rotation time, same study", "edwards2012", "read",
          "typical", 8.5, 11.5),
    Value("milking.mean_flow_kg_min", 1.86, "kg/min", "mean flow over cluster-on time, same study",
          "edwards2012", "derived", "typical"),
    Value("milking.go_round_grazing_share", 0.20, "", "go-round share of grazing practice",
          "nz_levy", "read", "typical", 0.15, 0.20),
    Value("milking.go_round_high_yield_share", 0.075, "", "go-round share aimed at by high-yield "
          "herds", "practice", "common_practice", "typical", 0.05, 0.10),
    Value("milking.usable_stall_share", 0.90, "", "stalls from cups-on to cups-off, as a share of "
          "all (the rest are bridge, entry and exit)", "practice", "common_practice", "typical",
          0.85, 0.93),
    Value("milking.peak_flow_kg_min", 4.25, "kg/min", "peak flow of a Holstein cow", "practice",
          "from_memory", "typical", 3.5, 5.0),
    Value("milking.mean_flow_holstein_kg_min", 2.6, "kg/min", "mean flow of a Holstein cow",
          "practice", "from_memory", "typical", 2.2, 3.0),
    Value("milking.let_down_lag_s", 75.0, "s", "let-down lag after the first touch", "practice",
          "from_memory", "typical", 60.0, 90.0),
    Value("milking.rise_s", 45.0, "s", "linear rise to peak flow", "practice", "from_memory",
          "typical", 30.0, 60.0),
    Value("milking.cisternal_share", 0.20, "", "milk already in the cistern", "trade_press", "read",
          "typical"),
    Value("milking.removal_threshold_kg_min", 0.4, "kg/min", "flow at which the unit is removed",
          "edwards2013", "read", "typical", 0.2, 0.8),
    Value("milking.removal_delay_s", 15.0, "s", "delay of removal under the threshold",
          "practice", "from_memory", "typical", 10.0, 20.0),
    Value("milking.time_limit_share_milked", 0.80, "", "share of cows fully milked at the "
          "milk-out time limit", "nz_levy", "read", "typical"),
    Value("milking.stopped_share", 0.04, "", "platform stopped, share of milking time",
          "practice", "common_practice", "typical", 0.02, 0.06),
    Value("milking.wait_most_min", 60.0, "min", "wait of a cow in the yard", "practice",
          "common_practice", "limit"),
    Value("milking.stop_felt_min", 25.0, "min", "stop in milking felt in milk and udders",
          "practice", "common_practice", "typical", 20.0, 30.0),
    Value("milking.stop_all_cows_h", 2.0, "h", "stop felt by every cow behind", "practice",
          "common_practice", "limit"),
    Value("cloth.per_cow", 1.25, "", "cloths for one cow at a milking", "practice",
          "common_practice", "typical", 1.0, 1.5),
)  # fmt: skip
