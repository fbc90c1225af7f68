"""How many alarms a person can answer, and what counts as a good alarm list."""

from __future__ import annotations

from byrewright.standards.model import Value

VALUES: tuple[Value, ...] = (
    Value("watch.tank_look_min", 30.0, "min", "time after which someone looks at the tank's level "
          "in milking, where no sensor shows it", "practice", "common_practice", "typical", 10.0,
          60.0),
    Value("alarm.valve_proof_min", 2.0, "min", "flow must be proven at the cooler after the first "
          "cow within this", "practice", "common_practice", "limit"),
    Value("alarm.valve_on_delay_s", 3.0, "s", "delay before a wrong valve position alarms",
          "practice", "common_practice", "typical", 1.0, 10.0),
    Value("alarm.stale_signal_s", 10.0, "s", "age at which a reading is called not live",
          "practice", "common_practice", "typical", 5.0, 30.0),
    Value("alarm.link_losses", 4, "", "losses of the connection within the window below that make "
          "it one that comes and goes", "practice", "common_practice", "typical", 3, 10,
          least=1.0, most=80.0),
    Value("alarm.link_window_min", 10.0, "min", "window in which losses of the connection are "
          "counted", "practice", "common_practice", "typical", 5.0, 60.0),
    Value("watch.run_steady_s", 1.5, "s", "time for which a run contact must hold before it counts "
          "as changed", "practice", "common_practice", "typical", 0.5, 10.0),
    Value("watch.run_entry_min", 60.0, "min", "what ran is entered into the log so often",
          "practice", "common_practice", "typical", 10.0, 240.0),
    Value("alarm.log_late_s", 5.0, "s", "time for which the log may wait for another reader or a "
          "busy disk before that is an alarm", "practice", "common_practice", "typical", 2.0, 10.0),
)  # fmt: skip
