"""Udder cloths: mass, wash, stock."""

from __future__ import annotations

from byrewright.standards.model import Value

VALUES: tuple[Value, ...] = (
    Value("cloth.dry_kg", 0.045, "kg", "one dry udder cloth", "practice", "common_practice",
          "typical", 0.03, 0.07),
    Value("cloth.load_fill", 0.80, "", "share of a machine's rated load that is put in",
          "practice", "common_practice", "typical", 0.7, 0.9),
    Value("cloth.wash_c", 60.0, "degC", "temperature held in the wash; the label of the cloth and "
          "of the detergent rule", "practice", "common_practice", "limit", 60.0, 95.0),
    Value("cloth.handling_min", 10.0, "min", "emptying and filling a machine between loads",
          "practice", "common_practice", "typical", 5.0, 20.0),
    Value("cloth.hours_most", 16.0, "h", "hours a day in which somebody is there to change loads",
          "practice", "common_practice", "limit", 10.0, 22.0),
    Value("cloth.hours_one_out", 22.0, "h", "hours a day with one machine out of order",
          "practice", "common_practice", "limit", 18.0, 23.0),
    Value("cloth.lots", 3.0, "", "lots of cloths: one in use, one in the laundry, one clean in "
          "reserve", "practice", "common_practice", "typical", 3.0, 4.0, least=1.0, most=40.0),
    Value("cloth.washes_of_life", 250.0, "", "washes after which a cloth is worn", "practice",
          "common_practice", "typical", 150.0, 400.0),
    Value("cloth.moisture_share", 0.6, "", "water left in a cloth after spinning, share of its dry "
          "mass", "practice", "common_practice", "typical", 0.5, 0.8),
    Value("cloth.dry_kwh_per_kg_water", 1.1, "kWh/kg", "energy of a vented dryer to take off 1 kg "
          "of water", "practice", "common_practice", "typical", 0.9, 1.4, least=0.3, most=6.0),
    Value("cloth.kw_per_kg", 0.65, "kW/kg", "electric input of a washer or dryer for each kg of "
          "dry load", "practice", "common_practice", "typical", 0.45, 1.0),
    Value("cloth.water_l_kg", 10.0, "L/kg", "water for the dry load, all rinses", "practice",
          "common_practice", "typical", 7.0, 15.0),
    Value("cloth.hot_share", 0.4, "", "share of a load's water that is heated", "practice",
          "common_practice", "typical", 0.3, 0.5),
)  # fmt: skip

WASHER_LOADS_KG: tuple[float, ...] = (7, 8, 10, 13, 16, 18, 24, 28, 35, 45, 60)
"""Usual dry loads of washers and dryers, kg (common practice, no source)."""
