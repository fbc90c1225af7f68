"""Washing: temperatures, times, strengths, water; and water heating."""

from __future__ import annotations

from byrewright.standards.model import Value

VALUES: tuple[Value, ...] = (
    Value("wash.start_below_k", 3.0, "K", "start of the hot wash below the temperature asked for "
          "that a cold trough takes", "practice", "common_practice", "limit", 2.0, 5.0),
    Value("wash.hottest_c", 88.0, "degC", "hottest wash that is asked of a heater: a few kelvin "
          "above it still stand below boiling; from there on a larger charge holds the heat",
          "practice", "common_practice", "limit", 85.0, 92.0),
    Value("wash.strength_least_share", 0.8, "", "strength of the wash at its end as a share of "
          "what was dosed, least; the label rules", "practice", "common_practice", "limit",
          0.7, 0.9),
    Value("wash.dry_share", 0.1, "", "share of its time for which a trough may be dry while the "
          "wash goes round, most", "practice", "common_practice", "limit", 0.0, 0.2),
    Value("wash.left_share", 0.002, "", "rinse water left in vessels as a share of the next "
          "milking's milk, most", "practice", "common_practice", "limit", 0.001, 0.005),
    Value("milk.added_water_pct", 0.5, "%", "water that rinses add to stored milk, most; the "
          "buyer's freezing point test rules", "practice", "common_practice", "limit", 0.2, 1.0),
    Value("milk.wash_pct", 0.01, "%", "made-up wash in stored milk, most; more is a spoilt tank",
          "practice", "common_practice", "limit", 0.0, 0.02),
    Value("wash.main_min", 8.0, "min", "time of the main wash", "practice", "from_memory",
          "typical", 6.0, 10.0),
    Value("wash.rinse_min", 4.0, "min", "time of a rinse", "practice", "common_practice",
          "typical", 3.0, 6.0),
    Value("wash.changeover_min", 15.0, "min", "draining and change-over before and after",
          "practice", "common_practice", "typical", 10.0, 20.0),
    Value("wash.hot_water_per_cluster_l", 10.0, "L", "hot water for each cluster", "nz_levy",
          "read", "rule"),
    Value("wash.tank_rinses", 2.0, "", "rinses of a tank wash, each of as much water as its hot "
          "charge", "practice", "common_practice", "typical", 1.0, 3.0),
    Value("wash.hot_water_tank_share", 0.02, "", "hot water for a tank wash, share of tank volume",
          "nz_levy", "read", "limit"),
    Value("wash.water_line_share", 0.25, "", "water for the lines as a share of their volume, in "
          "each step", "practice", "from_memory", "typical", 0.20, 0.30),
    Value("wash.detergent_share", 0.005, "", "detergent as a share of the wash water; the label "
          "rules", "practice", "common_practice", "typical", 0.003, 0.010),
    Value("wash.slug_velocity_m_s", 8.0, "m/s", "velocity of a wash slug", "reinemann_cip",
          "from_memory", "typical", 7.0, 10.0),
    Value("wash.slug_count", 20.0, "", "slugs in one wash step", "practice", "from_memory",
          "typical"),
    Value("wash.slug_shortening_m_m", 0.05, "", "shortening of a slug over the way it travels "
          "(50.8 mm line)", "mamedova2021", "read", "rule", least=0.0025, most=0.5),
    Value("wash.slug_end_length_m", 1.0, "m", "length of the slug wanted at the receiver",
          "practice", "common_practice", "typical", 0.5, 2.0),
    Value("wash.full_pipe_velocity_m_s", 1.5, "m/s", "velocity in full pipes", "practice",
          "from_memory", "limit"),
    Value("wash.cooler_flow_ratio", 1.0, "", "wash through a plate cooler over the milk through "
          "it, at least", "practice", "common_practice", "limit", 1.0, 1.5),
    Value("wash.coupling_m", 5.0, "m", "longest line to a tanker's coupling that is taken as "
          "rinsed with the tanker's hose", "practice", "common_practice", "limit", 3.0, 8.0),
    Value("wash.unit_flow_l_min", 4.0, "L/min", "wash flow through one unit", "practice",
          "common_practice", "typical", 3.0, 5.0),
    Value("wash.unit_air_l_min", 15.0, "L/min", "air entering through one jetter or unit in the "
          "wash", "practice", "common_practice", "typical", 8.0, 30.0),
    Value("wash.receiver_share", 0.25, "", "water standing in each receiver, share of its volume",
          "practice", "from_memory", "typical", 0.2, 0.35),
    Value("wash.fill_drain_min", 4.0, "min", "filling the trough before a step and draining after "
          "it", "practice", "common_practice", "typical", 3.0, 8.0),
    Value("wash.trough_freeboard_share", 0.10, "", "room above the charge in the trough",
          "practice", "common_practice", "typical", 0.1, 0.2),
    Value("wash.charge_left_share", 0.20, "", "share of the charge that stays in the trough while "
          "the lines are wet", "practice", "common_practice", "limit", 0.1, 0.3, most=0.9),
    Value("wash.acid_share", 0.005, "", "acid product as a share of the wash water; the label "
          "rules", "practice", "common_practice", "typical", 0.003, 0.010),
    Value("wash.sanitise_share", 0.0015, "", "sanitising product as a share of the water: 150 mg/L "
          "of chlorine from a product with 10 %; the label rules", "us_extension", "derived",
          "typical", 0.001, 0.002),
    Value("wash.acid_c", 60.0, "degC", "acid wash; the label rules", "practice",
          "common_practice", "typical", 40.0, 70.0),
    Value("wash.acid_every_days", 7.0, "d", "days between acid washes, at most",
          "dutch_education", "read", "limit"),
    Value("wash.acid_hard_every_days", 3.0, "d", "days between acid washes in hard water, at most",
          "practice", "common_practice", "limit"),
    Value("wash.hard_water_ppm", 180.0, "ppm", "hardness above which water is called hard, as "
          "calcium carbonate", "practice", "from_memory", "rule"),
    Value("wash.tank_min", 40.0, "min", "time of a tank wash", "practice", "common_practice",
          "typical", 30.0, 50.0, least=5.0, most=240.0),
    Value("wash.steel_kg_m2", 11.0, "kg/m2", "steel of tube walls of 1.4 mm",
          "practice", "derived", "typical", 9.0, 16.0),
    Value("wash.unit_kg", 2.5, "kg", "cluster and tubes that the wash must warm, as steel",
          "practice", "common_practice", "typical", 1.5, 4.0),
    Value("wash.line_u_w_m2k", 12.0, "W/m2K", "heat loss of bare line to the air of the room",
          "practice", "from_memory", "typical", 8.0, 20.0),
    Value("wash.unit_area_m2", 0.25, "m2", "surface of a cluster with its tubes", "practice",
          "common_practice", "typical", 0.15, 0.4),
    Value("wash.air_wet_share", 0.5, "", "how far air drawn through the wash is saturated",
          "practice", "common_practice", "typical", 0.3, 0.8),
    Value("heater.efficiency_electric", 1.0, "", "efficiency of an electric heater",
          "us_extension", "read", "typical", least=0.5, most=1.0),
    Value("heater.efficiency_fuel", 0.80, "", "efficiency of a gas or oil heater", "us_extension",
          "read", "typical", least=0.3, most=1.0),
    Value("heater.standing_loss_per_h", 0.01, "1/h", "standing loss, share of the stored heat",
          "us_extension", "read", "typical", 0.005, 0.01),
    Value("recovery.desuperheater_share", 0.20, "", "share of the heat a condenser gives off that "
          "a desuperheater takes", "practice", "common_practice", "typical", 0.10, 0.30),
    Value("recovery.desuperheater_most_c", 55.0, "degC", "water from a desuperheater", "uk_levy",
          "read", "typical", 45.0, 60.0, least=30.0, most=95.0),
    Value("recovery.condenser_share", 0.80, "", "share of its heat that a water-cooled condenser "
          "gives to water while there is cold water", "practice", "common_practice", "typical", 0.6,
          0.95),
    Value("recovery.condenser_most_c", 45.0, "degC", "water from a condenser that takes all the "
          "heat: hotter costs the refrigeration", "practice", "common_practice", "typical",
          40.0, 50.0, least=25.0, most=80.0),
    Value("heater.usable_share", 0.85, "", "share of a standing heater's content that comes out "
          "hot before its cold layer does", "practice", "common_practice", "typical", 0.70, 0.90,
          least=0.1, most=1.0),
    Value("heater.recovery_h", 6.0, "h", "time allowed to heat the charge again", "practice",
          "common_practice", "typical", 3.0, 8.0),
)  # fmt: skip

HEATER_KW: tuple[float, ...] = (
    3, 4.5, 6, 9, 12, 15, 18, 24, 30, 36, 45, 54, 60, 72, 90, 108, 120, 144, 180, 240, 300,
)  # fmt: skip
"""Usual heater inputs, kW (common practice, no source)."""
