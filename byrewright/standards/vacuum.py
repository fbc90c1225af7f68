"""Vacuum plant: reserve rules, pump capacity, leakage, permitted drops, test limits."""

from __future__ import annotations

from byrewright.standards.model import Confidence, Value

_ISO: tuple[str, Confidence] = ("iso5707", "from_memory")

VALUES: tuple[Value, ...] = (
    Value("vacuum.nominal_kpa", 42.0, "kPa", "system vacuum with a low milkline: about 40 at the "
          "teat end in phase b, no lift, 2 for friction", "nz_testers2008", "read", "typical",
          40.0, 45.0, least=15.0, most=75.0),
    # Effective reserve, ISO form: base + per unit up to the break, then another slope.
    Value("vacuum.reserve.iso.break_units", 10, "units", "units at which the reserve rule changes "
          "slope", *_ISO, "rule"),
    Value("vacuum.reserve.iso.shutoff.small_base_l_min", 200, "L/min", "effective reserve up to "
          "10 units, clusters with shut-off valves: base", *_ISO, "rule"),
    Value("vacuum.reserve.iso.shutoff.small_per_unit_l_min", 30, "L/min", "the same: each unit",
          *_ISO, "rule"),
    Value("vacuum.reserve.iso.shutoff.large_base_l_min", 500, "L/min", "effective reserve at 10 "
          "units, clusters with shut-off valves", *_ISO, "rule"),
    Value("vacuum.reserve.iso.shutoff.large_per_unit_l_min", 10, "L/min", "the same: each unit "
          "above 10", *_ISO, "rule"),
    Value("vacuum.reserve.iso.open.small_base_l_min", 400, "L/min", "effective reserve up to 10 "
          "units, clusters without shut-off valves: base", *_ISO, "rule"),
    Value("vacuum.reserve.iso.open.small_per_unit_l_min", 30, "L/min", "the same: each unit",
          *_ISO, "rule"),
    Value("vacuum.reserve.iso.open.large_base_l_min", 700, "L/min", "effective reserve at 10 "
          "units, clusters without shut-off valves", *_ISO, "rule"),
    Value("vacuum.reserve.iso.open.large_per_unit_l_min", 10, "L/min", "the same: each unit "
          "above 10", *_ISO, "rule"),
    Value("vacuum.reserve.iso.bucket.small_base_l_min", 80, "L/min", "effective reserve of bucket "
          "plants up to 10 units: base (low confidence)", *_ISO, "rule"),
    Value("vacuum.reserve.iso.bucket.small_per_unit_l_min", 25, "L/min", "the same: each unit",
          *_ISO, "rule"),
    Value("vacuum.reserve.iso.bucket.large_base_l_min", 330, "L/min", "effective reserve of "
          "bucket plants at 10 units", *_ISO, "rule"),
    Value("vacuum.reserve.iso.bucket.large_per_unit_l_min", 10, "L/min", "the same: each unit "
          "above 10", *_ISO, "rule"),
    # US rule set, kept apart.
    Value("vacuum.reserve.us.base_cfm", 35, "cfm", "US effective reserve at the receiver: base",
          "cornell2018", "read", "rule"),
    Value("vacuum.reserve.us.per_unit_cfm", 1, "cfm", "US effective reserve: each unit",
          "cornell2018", "read", "rule"),
    Value("vacuum.pump.us.base_cfm", 35, "cfm", "US pump capacity: base", "us_extension_vacuum",
          "read", "rule"),
    Value("vacuum.pump.us.per_unit_cfm", 3, "cfm", "US pump capacity: each unit",
          "us_extension_vacuum", "read", "rule"),
    Value("vacuum.pump.us.adequate_to_units", 32, "units", "units up to which the US pump rule is "
          "said to be adequate, one fall-off included", "us_extension_vacuum", "read", "rule"),
    Value("vacuum.pump.us.bucket_base_cfm", 17, "cfm", "US bucket plants, practice: base",
          "cornell2018", "read", "rule"),
    Value("vacuum.pump.us.bucket_per_unit_cfm", 3, "cfm", "US bucket plants, practice: each unit",
          "cornell2018", "read", "rule"),
    Value("vacuum.pump.us.dumping_station_cfm", 5, "cfm", "US bucket plants: a dumping station",
          "cornell2018", "read", "rule"),
    Value("vacuum.pump.us.per_hp_cfm", 10, "cfm", "pump airflow for one motor horsepower",
          "cornell2018", "read", "typical"),
    # Pump capacity procedure.
    Value("vacuum.regulation_loss_share", 0.10, "", "regulation loss as a share of the manual "
          "reserve", *_ISO, "limit", most=0.5),
    Value("vacuum.regulation_loss_floor_l_min", 35, "L/min", "regulation loss allowed in any case",
          *_ISO, "limit"),
    Value("vacuum.regulator_leak_share", 0.05, "", "regulator leakage as a share of the manual "
          "reserve", *_ISO, "limit"),
    Value("vacuum.regulator_leak_floor_l_min", 35, "L/min", "regulator leakage allowed in any "
          "case", *_ISO, "limit"),
    Value("vacuum.system_leak_share", 0.05, "", "leakage of the vacuum system as a share of pump "
          "capacity at the pump's working vacuum", *_ISO, "limit", most=0.5),
    Value("vacuum.milk_leak_base_l_min", 10, "L/min", "leakage of the milk system: base", *_ISO,
          "limit"),
    Value("vacuum.milk_leak_per_unit_l_min", 2, "L/min", "leakage of the milk system: each unit",
          *_ISO, "limit"),
    Value("vacuum.pump_zero_flow_share", 0.90, "", "vacuum at zero flow as a share of ambient, in "
          "the altitude correction (vane pumps)", "iso5707", "derived", "rule", least=0.6,
          most=1.0),
    Value("vacuum.altitude_margin", 0.25, "", "added to the correction for the share by which "
          "ambient lies under nominal, so that no measured pump draws less than corrected",
          "unal2017", "derived", "rule", least=0.0, most=1.0),
    Value("vacuum.pump_nominal_vacuum_kpa", 50, "kPa", "vacuum at which pumps are rated", *_ISO,
          "rule", least=30.0, most=70.0),
    Value("vacuum.pump_nominal_ambient_kpa", 100, "kPa", "ambient pressure at which pumps are "
          "rated", *_ISO, "rule", least=80.0, most=105.0),
    # Air that the units take.
    Value("vacuum.pulsator_air_l_min", 30, "L/min", "free air taken by one pulsator", "iso5707",
          "from_memory", "typical", 25, 50),
    Value("vacuum.claw_air_l_min", 8, "L/min", "free air admitted at one claw", "german_trade",
          "derived", "typical", 4, 12),
    Value("vacuum.claw_air_least_l_min", 4, "L/min", "least air admission of a cluster",
          "german_trade", "second_hand", "limit"),
    Value("vacuum.claw_air_most_l_min", 12, "L/min", "greatest air admission of a cluster",
          "german_trade", "second_hand", "limit"),
    Value("vacuum.teat_leak_l_min", 4, "L/min", "leakage past teats and liners in steady milking, "
          "each unit", "dutch_education", "read", "typical"),
    Value("vacuum.line_air_per_unit_l_min", 11.5, "L/min", "vents and fitting leaks reaching the "
          "milkline, each unit", "reinemann1995", "read", "typical", 8, 15),
    Value("vacuum.fall_off_air_l_min", 900, "L/min", "free air let in by one unit kicked off, "
          "until it shuts", "practice", "common_practice", "typical", 400, 1400),
    Value("vacuum.shutoff_delay_s", 3.0, "s", "time until a fallen unit is shut off", "practice",
          "common_practice", "typical", 1, 5),
    # Permitted drops.
    Value("vacuum.iso_drop_receiver_to_regulator_kpa", 1.0, "kPa", "drop from receiver (Vm) to "
          "regulator (Vr), ISO", *_ISO, "limit"),
    Value("vacuum.iso_drop_receiver_to_pump_kpa", 3.0, "kPa", "drop from receiver (Vm) to pump "
          "inlet (Vp), ISO", *_ISO, "limit"),
    Value("vacuum.iso_drop_pulsator_line_kpa", 2.0, "kPa", "working vacuum less the highest "
          "pulsation-chamber vacuum, ISO", *_ISO, "limit"),
    Value("vacuum.nmc_drop_receiver_to_pump_kpa", 2.0, "kPa", "drop from receiver to pump inlet, "
          "US guide", "nmc", "second_hand", "limit"),
    Value("vacuum.nmc_drop_pulsator_line_kpa", 2.0, "kPa", "drop from receiver to the far end of "
          "the pulsator line, US guide", "nmc", "second_hand", "limit"),
    Value("vacuum.nmc_drop_receiver_to_regulator_kpa", 0.7, "kPa", "desirable drop from receiver "
          "to regulator, US guide", "nmc", "second_hand", "limit"),
    Value("vacuum.pulsator_line_damped_bore_mm", 73.0, "mm", "bore that damps the pulses of many "
          "pulsators", "practice", "common_practice", "typical", 73.0, 98.0,
          least=30.0, most=200.0),
    Value("vacuum.pulsator_line_damped_from_units", 15.0, "", "units from which the pulsator line "
          "is laid in that bore", "practice", "common_practice", "typical", 12.0, 20.0),
    # Test limits.
    Value("vacuum.test.working_vacuum_kpa", 2.0, "kPa", "working vacuum away from nominal, either "
          "way", *_ISO, "limit"),
    Value("vacuum.test.sensitivity_kpa", 1.0, "kPa", "regulation sensitivity", *_ISO, "limit"),
    Value("vacuum.test.reserve_drop_kpa", 2.0, "kPa", "fall of receiver vacuum at which reserve is "
          "measured", *_ISO, "rule"),
    Value("vacuum.test.fall_off_drop_kpa", 2.0, "kPa", "fall-off vacuum drop", *_ISO, "limit"),
    Value("vacuum.test.attach_drop_kpa", 2.0, "kPa", "attachment vacuum drop", *_ISO, "limit"),
    Value("vacuum.test.undershoot_kpa", 2.0, "kPa", "regulation undershoot", *_ISO, "limit"),
    Value("vacuum.test.overshoot_kpa", 2.0, "kPa", "regulation overshoot", *_ISO, "limit"),
    Value("vacuum.test.gauge_error_kpa", 1.0, "kPa", "vacuum gauge error", *_ISO, "limit"),
    Value("vacuum.test.pulsation_rate_pct", 5.0, "%", "pulsation rate away from intended", *_ISO,
          "limit"),
    Value("vacuum.test.limping_points", 5.0, "%", "limping unless intended, percentage units",
          *_ISO, "limit"),
    Value("vacuum.test.pulsator_ratio_points", 5.0, "%", "pulsator ratio away from intended, "
          "percentage units", *_ISO, "limit"),
    Value("vacuum.test.phase_b_least_pct", 30.0, "%", "phase b, share of the cycle", *_ISO,
          "limit"),
    Value("vacuum.test.phase_d_least_pct", 15.0, "%", "phase d, share of the cycle", *_ISO,
          "limit"),
    Value("vacuum.test.phase_d_least_ms", 150.0, "ms", "phase d", *_ISO, "limit",
          least=20.0, most=600.0),
    Value("vacuum.test.phase_d_vacuum_kpa", 4.0, "kPa", "chamber vacuum in phase d", *_ISO,
          "limit"),
    Value("vacuum.test.shutoff_leak_l_min", 2.0, "L/min", "leakage of a shut-off valve", *_ISO,
          "limit"),
    Value("vacuum.test.long_milk_tube_drop_kpa", 5.0, "kPa", "drop at the long milk tube's end at "
          "the test airflow (low confidence)", *_ISO, "limit"),
    Value("vacuum.test.tap_drop_kpa", 5.0, "kPa", "drop at a vacuum tap, bucket unit (low "
          "confidence)", *_ISO, "limit"),
    Value("vacuum.test.open_units_drop_kpa", 2.0, "kPa", "fall of receiver vacuum with one unit "
          "open (two above 32 units or more than two milkers)", "nmc", "second_hand", "limit"),
    Value("vacuum.test.two_open_above_units", 32, "units", "units above which two open units "
          "should be withstood", "nmc", "second_hand", "rule"),
    # Vessels.
    Value("vacuum.interceptor_least_l", 15.0, "L", "effective volume of the interceptor (low "
          "confidence)", *_ISO, "limit"),
    Value("vacuum.sanitary_trap_least_l", 3.0, "L", "effective volume of the sanitary trap (low "
          "confidence)", *_ISO, "limit"),
    Value("vacuum.pump_specific_power_kw_per_1000_l_min", 2.7, "kW", "shaft power of a vacuum pump "
          "for 1000 L/min of free air (from one duty pump 3300-5000 L/min with 9-15 kW)",
          "practice", "common_practice", "typical", 2.2, 3.2),
    # What the airflow network is made of where the file does not say.
    Value("vacuum.loss.non_return_k", 2.0, "", "loss of a non-return valve, in velocity heads",
          "fluid_handbooks", "from_memory", "typical", 1.0, 3.0),
    Value("vacuum.loss.gland_k", 2.5, "", "loss of a rotary gland (two turns, in and out), in "
          "velocity heads", "practice", "common_practice", "typical", 1.5, 4.0),
    Value("vacuum.loss.trap_k", 2.0, "", "loss of a sanitary trap with its float, in velocity "
          "heads", "practice", "common_practice", "typical", 1.5, 3.0),
    Value("vacuum.loss.into_vessel_k", 1.0, "", "loss where a pipe enters a vessel, in velocity "
          "heads", "fluid_handbooks", "from_memory", "typical"),
    Value("vacuum.loss.out_of_vessel_k", 0.5, "", "loss where a pipe leaves a vessel, in velocity "
          "heads", "fluid_handbooks", "from_memory", "typical"),
    Value("vacuum.loss.valve_k", 0.2, "", "loss of an open valve in an airline, in velocity heads",
          "fluid_handbooks", "from_memory", "typical", 0.1, 0.5),
    Value("vacuum.loss.header_k", 1.0, "", "loss of one way through a header, in velocity heads",
          "practice", "common_practice", "typical", 0.5, 1.5),
    Value("vacuum.silencer_kpa", 2.0, "kPa", "back pressure of silencer and exhaust at rated "
          "airflow", "practice", "common_practice", "typical", 0.5, 5.0),
    Value("vacuum.regulator_band_kpa", 0.6, "kPa", "rise of vacuum from shut to fully open of a "
          "mechanical regulator", "practice", "common_practice", "typical", 0.3, 1.0),
    Value("vacuum.regulator_relief_kpa", 0.5, "kPa", "vacuum above the setting at which a "
          "regulator opens that only backs up speed control", "practice", "common_practice",
          "typical", 0.3, 2.0),
    Value("vacuum.regulator_lag_s", 0.2, "s", "time constant of a regulator's opening",
          "practice", "common_practice", "typical", 0.1, 0.5),
    Value("vacuum.speed_gain_per_kpa", 0.25, "1/kPa", "gain of speed control: share of full speed "
          "for each kPa", "practice", "common_practice", "typical", 0.05, 0.6),
    Value("vacuum.speed_integral_s", 1.5, "s", "integral time of speed control", "practice",
          "common_practice", "typical", 0.5, 5.0),
    Value("vacuum.speed_ramp_per_s", 0.25, "1/s", "fastest change of speed, share of full speed a "
          "second", "practice", "common_practice", "typical", 0.1, 0.5),
    Value("vacuum.sensor_lag_s", 0.1, "s", "time constant of a vacuum transmitter and its line",
          "practice", "common_practice", "typical", 0.02, 0.3),
    Value("vacuum.pump_start_s", 2.0, "s", "run-up time of a vacuum pump", "practice",
          "common_practice", "typical", 1.0, 5.0),
    Value("vacuum.pump_stop_s", 0.7, "s", "run-down time of a vacuum pump that trips", "practice",
          "common_practice", "typical", 0.3, 2.0),
    Value("vacuum.stopped_pump_back_share", 0.5, "", "air let back by a stopped pump without "
          "non-return valve, turned backwards, as a share of its displacement", "practice",
          "common_practice", "typical", 0.2, 0.8),
    Value("vacuum.cups_fall_after_s", 1.0, "s", "time below that vacuum until they fall",
          "practice", "common_practice", "typical", 0.5, 3.0),
    Value("vacuum.attach_air_l_min", 150.0, "L/min", "free air one unit lets in while it is "
          "attached", "practice", "common_practice", "typical", 50.0, 300.0),
    Value("vacuum.attach_air_s", 3.0, "s", "time for which a unit lets in air while attached",
          "practice", "common_practice", "typical", 2.0, 6.0),
    Value("vacuum.drain_open_share", 0.10, "", "flow of a hand drain not quite shut, as a share "
          "of its full bore", "practice", "common_practice", "typical", 0.03, 0.3),
    Value("vacuum.drain_discharge", 0.6, "", "discharge coefficient of an open drain",
          "fluid_handbooks", "from_memory", "typical", 0.55, 0.8, least=0.1, most=1.0),
    Value("vacuum.pulse_rise_ms", 55.0, "ms", "time constant of a pulsation chamber evacuated",
          "practice", "common_practice", "typical", 35.0, 80.0, least=10.0, most=300.0),
    Value("vacuum.pulse_fall_ms", 45.0, "ms", "time constant of a pulsation chamber filled with "
          "air", "practice", "common_practice", "typical", 30.0, 70.0, least=10.0, most=300.0),
    Value("vacuum.line_velocity_m_s", 20.0, "m/s", "velocity above which airlines grow noisy and "
          "drop fast", "practice", "common_practice", "typical", 15.0, 25.0, least=3.0, most=40.0),
    # What readings put in place of what is allowed (1: as much as is allowed).
    Value("vacuum.leak_times.system", 1.0, "", "air leakage of the vacuum side over what is "
          "allowed", "practice", "common_practice", "typical", 0.2, 1.0, 0.0, 200.0),
    Value("vacuum.leak_times.milk", 1.0, "", "air leakage of the milk side over what is allowed",
          "practice", "common_practice", "typical", 0.2, 1.0, 0.0, 200.0),
    Value("vacuum.leak_times.regulator", 1.0, "", "air that a shut regulator lets in over the "
          "least that is allowed", "practice", "common_practice", "typical", 0.2, 1.0, 0.0, 200.0),
    # Fittings: equivalent length in pipe diameters.
    Value("fitting.bend_diameters", 18.0, "", "equivalent length of a long 90 degree bend, in "
          "bores", "fluid_handbooks", "from_memory", "typical", 15, 20, least=3.0, most=100.0),
    Value("fitting.elbow_diameters", 30.0, "", "equivalent length of a short elbow, in bores",
          "fluid_handbooks", "from_memory", "typical", least=5.0, most=150.0),
    Value("fitting.tee_through_diameters", 20.0, "", "equivalent length of a tee, straight "
          "through, in bores", "fluid_handbooks", "from_memory", "typical", least=1.0, most=100.0),
    Value("fitting.tee_branch_diameters", 60.0, "", "equivalent length of a tee, through the "
          "branch, in bores", "fluid_handbooks", "from_memory", "typical", least=5.0, most=300.0),
)  # fmt: skip
