"""Every machine kind, one class each, grouped by what it serves."""

from byrewright.plant.kinds import (  # noqa: F401
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
