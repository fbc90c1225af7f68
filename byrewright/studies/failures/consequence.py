"""What a failure does to the simulated day, at one moment."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Consequence:
    """What a failure does at one moment, against the undisturbed day.

    `cows_h` counts the hour after it; `delay_min` is how much later the last cow is off;
    `stood_min` how much longer milking stood; `loss_after_min` the time until the first milk is
    lost (None: none is). `milk_c` is the warmest milk in the final stores, `out_c` the
    warmest that left the last cooler.
    """

    moment: str
    cows_h: float
    cows_h_before: float
    vacuum_kpa: float
    vacuum_before_kpa: float
    milk_c: float
    milk_before_c: float
    out_c: float
    out_before_c: float
    litres: float
    delay_min: float
    stood_min: float
    loss_after_min: float | None
    energy_cost: float
    wash_c: float
    wash_before_c: float
    rejoined: bool

    @property
    def warmer_k(self) -> float:
        """How much warmer milk is, in store or as it leaves the cooler, at its worst."""
        return max(self.milk_c - self.milk_before_c, self.out_c - self.out_before_c)
