"""Figures that the simulated day needs and the other themes do not hold."""

from __future__ import annotations

from byrewright.standards.model import Value

VALUES: tuple[Value, ...] = (
    Value("milking.fall_share", 0.25, "", "share of the flow time in which the flow falls, "
          "straight, to nothing", "practice", "common_practice", "typical", 0.15, 0.40, least=0.01,
          most=0.9),
    Value("milking.lag_on_s", 15.0, "s", "from unit on to full let-down, after a minute of "
          "preparation", "practice", "common_practice", "typical", 0.0, 30.0),
    Value("milking.kick_off_share", 0.02, "", "share of cows that kick the unit off", "practice",
          "common_practice", "typical", 0.01, 0.05),
    Value("milking.kick_off_back_s", 45.0, "s", "until a fallen unit is on again", "practice",
          "common_practice", "typical", 20.0, 90.0),
    Value("milking.stop_mean_s", 20.0, "s", "mean length of one stop of the platform", "practice",
          "common_practice", "typical", 10.0, 40.0),
    Value("milking.boarding_least_s", 3.0, "s", "least time between two cows going on", "practice",
          "common_practice", "typical", 2.0, 5.0),
    Value("milking.group_gap_s", 90.0, "s", "gap between groups where the yard holds only one",
          "practice", "common_practice", "typical", 30.0, 300.0),
    Value("milking.hand_removal_s", 30.0, "s", "delay of removal by hand", "practice",
          "common_practice", "typical", 15.0, 60.0),
    Value("milking.fall_seen_s", 15.0, "s", "time a fallen unit without shut-off lets air in",
          "practice", "common_practice", "typical", 10.0, 30.0),
    Value("filter.change_s", 120.0, "s", "time to change a sock", "practice", "common_practice",
          "typical", 60.0, 300.0),
    Value("calf.draw_after_min", 10.0, "min", "from first cow until calf milk is drawn", "practice",
          "common_practice", "typical", 5.0, 60.0),
    Value("vacuum.cups_fall_kpa", 30.0, "kPa", "vacuum below which cups begin to fall", "practice",
          "common_practice", "typical", 25.0, 33.0, least=10.0, most=50.0),
    Value("vacuum.standby_delay_s", 8.0, "s", "low vacuum until a ready pump starts", "practice",
          "common_practice", "typical", 3.0, 15.0),
)  # fmt: skip
