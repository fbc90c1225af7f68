"""The chilled liquid of a plant: which it is, how cold, how much of it."""

from __future__ import annotations

from byrewright.physics.coolant import COLDEST_C, WARMEST_C, Coolant, coolant, glycol_needed_pct
from byrewright.plant.plant import Plant
from byrewright.plant.primitives import ColdStore
from byrewright.standards.rulebook import Rulebook


def glycol_pct(bath: ColdStore, rules: Rulebook) -> float:
    """Share of glycol in a bath's circuit: as stated, nothing with ice, else what it needs."""
    if bath.glycol_pct is not None:
        return bath.glycol_pct
    return 0.0 if bath.store_kwh else glycol_needed_pct(bath.leaving_c, rules)


def liquid_of(bath: ColdStore, rules: Rulebook, at_c: float | None = None) -> Coolant:
    """A bath's liquid, at the temperature it leaves at or at another."""
    c = bath.leaving_c if at_c is None else at_c
    return coolant(glycol_pct(bath, rules), min(max(c, COLDEST_C), WARMEST_C))


def coldest_bath(plant: Plant) -> ColdStore | None:
    """The bath that sends out the coldest liquid, by tag where two are alike."""
    baths = [p for tag in sorted(plant.equipment) for p in plant.equipment[tag].lower()
             if isinstance(p, ColdStore)]  # fmt: skip
    return min(baths, key=lambda b: b.leaving_c, default=None)


def coolant_of(plant: Plant, rules: Rulebook) -> Coolant:
    """The chilled liquid of a plant: that of its coldest maker; water where nothing makes any.

    One for all its chilled circuits: where they differ the sizing study says so.
    """
    bath = coldest_bath(plant)
    return liquid_of(bath, rules) if bath is not None else coolant(0.0, 4.0)
