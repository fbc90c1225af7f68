"""Milkline, receiver and milk pump rules. The units-per-slope table of the standard is absent.

That table could not be read and is not reproduced; a licensed user may enter it.
"""

from __future__ import annotations

from byrewright.standards.model import Value

COWS_A_SOCK = 800.0
"""Cows through one filter sock, where the farm has not measured it."""
VALUES: tuple[Value, ...] = (
    Value("milkline.slope_least_pct", 0.5, "%", "least slope of a milkline", "callejo2008", "read",
          "limit"),
    Value("milkline.slope_taught_pct", 1.0, "%", "slope taught to installers", "cornell2018",
          "read", "typical"),
    Value("milkline.drop_limit_kpa", 2.0, "kPa", "milkline vacuum below the receiver in milking",
          "nmc", "second_hand", "limit"),
    Value("milkline.drop_share_of_time_pct", 95.0, "%", "share of milking for which the milkline "
          "drop must hold", "nmc", "second_hand", "limit", least=50.0, most=100.0),
    Value("milkline.peak_flow_per_cow_l_min", 5.5, "L/min", "peak flow of a cow for line sizing",
          "asae_s518", "from_memory", "typical", 5.0, 5.5, least=1.0, most=15.0),
    Value("milkline.transient_air_typical_l_min", 100.0, "L/min", "passing air in a slope, "
          "typical milkers", "asae_s518", "from_memory", "typical"),
    Value("milkline.manning_n", 0.010, "s/m1/3", "Manning roughness used for the half-full gravity "
          "reference", "definition", "derived", "rule", least=0.005, most=0.05),
    Value("milkline.peak_factor", 1.45, "", "one-minute peak over mean milk flow of the platform",
          "practice", "common_practice", "typical", 1.3, 1.6, least=1.0, most=5.0),
    Value("receiver.least_l", 40.0, "L", "volume of one receiver on a rotary of 50 stalls or more",
          "practice", "common_practice", "typical", 40.0, 150.0),
    Value("receiver.surge_s", 20.0, "s", "time of peak inflow a receiver holds while its pump "
          "stands still", "practice", "common_practice", "typical", 10.0, 30.0),
    Value("delivery.velocity_milk_m_s", 1.2, "m/s", "velocity of milk in delivery pipes",
          "practice", "common_practice", "typical", 0.5, 1.8),
    Value("delivery.velocity_suction_m_s", 1.2, "m/s", "velocity in the suction of milk pumps, "
          "milk or wash", "practice", "common_practice", "typical", 0.6, 2.0),
    Value("delivery.velocity_collection_m_s", 3.2, "m/s", "velocity in the line that a tanker "
          "draws through", "practice", "common_practice", "typical", 2.0, 3.5),
    Value("filter.cows_a_sock", COWS_A_SOCK, "cows", "cows through one filter sock before a "
          "change; follows from yield and dirt", "practice", "common_practice", "typical", 300.0,
          1200.0),
    Value("filter.face_velocity_m_s", 0.05, "m/s", "milk velocity through filter cloth at peak",
          "practice", "common_practice", "typical", 0.02, 0.10),
)  # fmt: skip
