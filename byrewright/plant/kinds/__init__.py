"""Every machine kind, one class each, grouped by what it serves."""

from byrewright.plant.kinds import (
    air,
    cleaning,
    cooling,
    deck,
    milk,
    power,
    units,
    vacuum,
    water,
)

__all__ = ["air", "cleaning", "cooling", "deck", "milk", "power", "units", "vacuum", "water"]
