"""Losses of valves and machines that liquid passes, and curves of pumps whose plate says little."""

from __future__ import annotations

from byrewright.standards.model import Value

VALUES: tuple[Value, ...] = (
    Value("valve.open_k", 0.5, "", "loss of an open two-way valve of full bore, velocity heads",
          "practice", "from_memory", "typical", 0.2, 1.0),
    Value("valve.half_open_k", 24.0, "", "loss of a half-open valve, velocity heads", "practice",
          "from_memory", "typical", 15.0, 35.0, least=2.0, most=480.0),
    Value("valve.three_way_k", 1.5, "", "loss of one way of a three-way valve, velocity heads",
          "practice", "from_memory", "typical", 1.0, 3.0),
    Value("valve.non_return_k", 2.0, "", "loss of an open non-return valve, velocity heads",
          "practice", "from_memory", "typical", 1.5, 4.0),
    Value("valve.non_return_opening_kpa", 2.0, "kPa", "pressure that opens a non-return valve",
          "practice", "common_practice", "typical", 0.5, 5.0),
    Value("vessel.entry_k", 1.0, "", "loss where a pipe enters a vessel, velocity heads",
          "definition", "derived", "typical"),
    Value("vessel.exit_k", 0.5, "", "loss where a pipe leaves a vessel, velocity heads",
          "practice", "from_memory", "typical", 0.1, 0.8),
    Value("gland.milk_k", 1.5, "", "loss of a rotary gland's milk way, velocity heads", "practice",
          "common_practice", "typical", 1.0, 3.0),
    Value("pump.shut_off_ratio", 1.25, "", "head of a centrifugal pump at no flow over its rated "
          "head, where the plate does not say", "practice", "from_memory", "typical", 1.1, 1.4,
          least=1.01, most=3.0),
    Value("pump.run_out_flow_ratio", 1.5, "", "greatest flow over the rated flow, where the plate "
          "does not say", "practice", "from_memory", "typical", 1.3, 2.0, least=1.05, most=4.0),
    Value("pump.run_out_head_ratio", 0.6, "", "head at the greatest flow over the rated head",
          "practice", "from_memory", "typical", 0.4, 0.7, least=0.05, most=0.95),
    Value("pump.stopped_share", 0.3, "", "head lost through a stopped centrifugal pump at its "
          "rated flow, share of its rated head", "practice", "common_practice", "typical",
          0.1, 0.6),
    Value("pump.npsh_m", 2.0, "m", "net positive suction head that a small sanitary pump needs at "
          "its rated flow, where the plate does not say", "practice", "from_memory", "typical",
          1.0, 3.5),
    Value("pump.npsh_margin_m", 0.5, "m", "suction head kept above what the pump needs",
          "practice", "common_practice", "limit"),
    Value("plate.drop_exponent", 1.75, "", "growth of a plate cooler's drop with flow, power",
          "practice", "from_memory", "typical", 1.7, 2.0, least=1.0, most=2.0),
    Value("plate.rated_ntu", 2.5, "", "transfer units of a water stage at the milk flow it was "
          "chosen for, from which that flow follows where it is not stated", "practice",
          "common_practice", "typical", 1.8, 3.5, least=0.3, most=10.0),
    Value("filter.rated_face_m_s", 0.02, "m/s", "velocity through filter cloth at which its drops "
          "are stated", "practice", "common_practice", "typical", 0.02, 0.05),
    Value("filter.drop_exponent", 1.5, "", "growth of a milk filter's drop with flow, power",
          "practice", "common_practice", "typical", 1.0, 2.0, least=1.0, most=2.0),
    Value("filter.drop_clean_kpa", 10.0, "kPa", "pressure lost in a milk filter with a new sock at "
          "its usual flow", "practice", "common_practice", "typical", 5.0, 15.0),
    Value("filter.drop_half_kpa", 20.0, "kPa", "the same with a half-used sock", "practice",
          "common_practice", "typical", 10.0, 30.0),
    Value("filter.drop_full_kpa", 40.0, "kPa", "the same with a sock due for a change", "practice",
          "common_practice", "typical", 25.0, 80.0),
    Value("filter.drop_empty_kpa", 2.0, "kPa", "the same with the sock taken out for the wash",
          "practice", "common_practice", "typical", 1.0, 5.0),
    Value("vessel.level_share", 0.3, "", "content of a vessel, share of its volume, where its "
          "level is not known", "practice", "common_practice", "typical", 0.1, 0.6),
)  # fmt: skip
