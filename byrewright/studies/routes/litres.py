"""How much a wrong position loses: litres a minute of milk, or litres left in a pipe."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from byrewright.plant.plant import Plant
from byrewright.standards.rulebook import Rulebook
from byrewright.studies.routes.brute import Hit
from byrewright.studies.routes.questions import litres_in

HEAD_M = 1.0
"""Depth of milk assumed over a tank's outlet."""
DISCHARGE = 0.6
"""Discharge coefficient of a sharp-edged opening (handbook value, from memory)."""


@dataclass(frozen=True, slots=True)
class Loss:
    """What is lost: an amount with its unit and how it was worked out."""

    amount: float | None
    unit: str
    basis: str


@dataclass(frozen=True, slots=True)
class MilkRate:
    """Milk flow of the plant while milking, L/min."""

    mean_l_min: float
    peak_l_min: float
    basis: str


LossOf = Callable[[Hit], Loss]
"""Turns a hit into what it loses: from the duty, or from the simulated day's ledger."""


def milk_rate(plant: Plant, rules: Rulebook | None = None) -> MilkRate:
    """The plant's milk flow, from its duty (cows an hour times milk a cow).

    Raises:
        ValueError: the plant has no milkings.
    """
    from byrewright.results import Notebook
    from byrewright.studies.sizing.context import Bench
    from byrewright.studies.sizing.duty import duty_of

    duty = duty_of(Bench(plant, rules or Rulebook(), Notebook("routes", plant.site.name)))
    return MilkRate(
        duty.milk_flow_mean_l_min,
        duty.milk_flow_peak_l_min,
        "mean milk flow of the largest milking; all of it while the way is open",
    )


def outflow_l_min(bore_mm: float, head_m: float = HEAD_M) -> float:
    """Flow out of an open bore under a head of liquid, L/min: Q = C A sqrt(2 g h) (Torricelli).

    >>> round(outflow_l_min(50.0, 1.0))
    313
    """
    area_m2 = math.pi / 4 * (bore_mm / 1000) ** 2
    return DISCHARGE * area_m2 * math.sqrt(2 * 9.80665 * head_m) * 60_000


def from_duty(plant: Plant, rate: MilkRate) -> LossOf:
    """Losses by the plant's duty; the day's ledger may take its place."""

    def loss(hit: Hit) -> Loss:
        loses = hit.question.loses
        if loses == "milk":
            return Loss(rate.mean_l_min, "L/min", rate.basis)
        if loses.startswith("pipe:"):
            pipe = next(p for p in plant.pipes if p.id == loses[5:])
            return Loss(litres_in(pipe.bore_mm, pipe.length_m), "L", "content of the full pipe")
        if loses in plant.equipment and hit.question.harm in ("milk_lost", "milk_to_wash"):
            bores = [p.bore_mm for p in plant.pipes_at(loses)
                     if plant.service_of(p) == "milk" and p.start == f"{loses}.outlet"]  # fmt: skip
            bores += [
                b for m, _ in hit.wrong if (b := getattr(plant.equipment[m], "bore_mm", None))
            ]
            if bores:
                return Loss(
                    outflow_l_min(min(bores)),
                    "L/min",
                    f"stored milk under {HEAD_M:g} m of depth through {min(bores):g} mm",
                )
        return Loss(None, "", "not a flow of milk lost")

    return loss
