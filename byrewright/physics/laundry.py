"""Heat of the cloth laundry, load by load."""

from __future__ import annotations

from byrewright.physics.errors import check
from byrewright.physics.heat import heating_energy_kwh
from byrewright.standards.rulebook import Rulebook, default_rulebook


def wash_load_kwh(water_l: float, cold_c: float, rules: Rulebook | None = None) -> float:
    """Heat of the hot share of a load's water, kWh (common practice; the drum is left out).

    >>> round(wash_load_kwh(80.0, 10.0), 2)
    1.86
    """
    rules = rules or default_rulebook()
    hot_c = rules.number("cloth.wash_c")
    return heating_energy_kwh(water_l * rules.number("cloth.hot_share"), cold_c, hot_c)


def dry_load_kwh(dry_kg: float, rules: Rulebook | None = None) -> float:
    """Heat that dries a load, kWh: its moisture times the energy for a kg of water.

    >>> round(dry_load_kwh(8.0), 1)
    5.3
    """
    rules = rules or default_rulebook()
    check("dry mass", dry_kg, 0.0, unit="kg")
    water = dry_kg * rules.number("cloth.moisture_share")
    return water * rules.number("cloth.dry_kwh_per_kg_water")
