"""How many alarms a person can answer, and what counts as a good alarm list."""

from __future__ import annotations

from byrewright.standards.model import Known, Value

_ISA: tuple[str, Known] = ("isa18", "from_memory")

VALUES: tuple[Value, ...] = (
    Value("alarm.per_day_acceptable", 150, "1/d", "alarms a day, very likely acceptable", *_ISA,
          "limit"),
    Value("alarm.per_day_most", 300, "1/d", "alarms a day, at most manageable", *_ISA, "limit"),
    Value("alarm.per_h_acceptable", 6, "1/h", "alarms an hour, acceptable", *_ISA, "limit"),
    Value("alarm.per_h_most", 12, "1/h", "alarms an hour, at most", *_ISA, "limit"),
    Value("alarm.per_10_min_acceptable", 1, "", "alarms in ten minutes, mean", "eemua191",
          "second_hand", "limit"),
    Value("alarm.per_10_min_most", 2, "", "alarms in ten minutes, mean, at most", *_ISA, "limit"),
    Value("alarm.peak_10_min", 10, "", "alarms in any ten minutes", "eemua191", "second_hand",
          "limit"),
    Value("alarm.busy_periods_pct", 1, "%", "ten-minute periods with more than ten alarms", *_ISA,
          "limit"),
    Value("alarm.busy_hours_pct", 1, "%", "hours with more than thirty alarms", *_ISA, "limit"),
    Value("alarm.flood_pct", 1, "%", "time in flood", *_ISA, "limit"),
    Value("alarm.flood_start_per_10_min", 10, "", "a flood starts above this in ten minutes",
          *_ISA, "rule"),
    Value("alarm.flood_end_per_10_min", 5, "", "a flood ends below this in ten minutes", *_ISA,
          "rule"),
    Value("alarm.top_ten_pct", 5, "%", "share of the load from the ten most frequent alarms",
          *_ISA, "limit", 1, 5),
    Value("alarm.chattering", 0, "", "chattering alarms", *_ISA, "limit"),
    Value("alarm.stale_per_day", 5, "1/d", "stale alarms", *_ISA, "limit"),
    Value("alarm.unauthorised_changes", 0, "", "unauthorised changes", *_ISA, "limit"),
    Value("alarm.record_days", 30, "d", "least record for these measures", "isa18", "second_hand",
          "rule"),
    Value("alarm.priority_low_pct", 80, "%", "share of alarms of low priority", *_ISA, "typical"),
    Value("alarm.priority_medium_pct", 15, "%", "share of alarms of medium priority", *_ISA,
          "typical"),
    Value("alarm.priority_high_pct", 5, "%", "share of alarms of high priority", *_ISA, "typical"),
    Value("alarm.priority_highest_pct", 1, "%", "share of the highest of four priorities, at most",
          *_ISA, "limit"),
    Value("alarm.valve_proof_min", 2.0, "min", "flow must be proven at the cooler after the first "
          "cow within this", "practice", "common_practice", "limit"),
    Value("alarm.valve_on_delay_s", 3.0, "s", "delay before a wrong valve position alarms",
          "practice", "common_practice", "typical", 1.0, 10.0),
    Value("alarm.stale_signal_s", 10.0, "s", "age at which a reading is called not live",
          "practice", "common_practice", "typical", 5.0, 30.0),
)  # fmt: skip
