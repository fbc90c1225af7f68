"""The day that a rehearsal plays: which mode when, and the milk that flows."""

from __future__ import annotations

from byrewright.plant.plant import Plant
from byrewright.site.rehearse import Act, MilkFlow
from byrewright.standards.rulebook import Rulebook

AFTER_MILKING = (
    ("drain_down", 10.0),
    ("rinse", 10.0),
    ("wash", 25.0),
    ("last_rinse", 8.0),
    ("drain_down", 10.0),
)
"""What follows a milking and for how many minutes, where the plant has such a mode (common
practice, no source)."""


def day_of(plant: Plant, rules: Rulebook | None = None) -> tuple[tuple[Act, ...], MilkFlow]:
    """Acts of the day by the plant's duty, and its milk ledger.

    Each milking takes the first mode that does nothing but milking (else the first that does
    milking); what follows is washing and draining, then the idle mode.
    """
    from byrewright.results import Notebook
    from byrewright.studies.sizing.context import Bench
    from byrewright.studies.sizing.duty import duty_of

    duty = duty_of(Bench(plant, rules or Rulebook(), Notebook("rehearsal", plant.site.name)))
    milking = _first(plant, "milking")
    idle = _first(plant, "idle")
    acts: list[Act] = []
    flows: list[tuple[float, float, float]] = []
    now = 0.0
    for one in sorted(duty.milkings, key=lambda m: m.start_min):
        start, end = float(one.start_min), one.start_min + 60 * one.hours
        if milking is None:
            break
        if idle and start > now:
            acts.append(Act(now, start, idle))
        acts.append(Act(start, end, milking))
        flows.append((start, end, one.milk_l / (60 * one.hours)))
        now = end
        for does, minutes in AFTER_MILKING:
            mode = does if does in plant.modes else None
            if mode:
                acts.append(Act(now, now + minutes, mode))
                now += minutes
    if idle and now < 1440:
        acts.append(Act(now, 1440.0, idle))

    def milk_l(start: float, end: float) -> float:
        return sum(rate * max(0.0, min(end, b) - max(start, a)) for a, b, rate in flows)

    return tuple(acts), milk_l


def _first(plant: Plant, does: str) -> str | None:
    only = [m.name for m in plant.modes.values() if set(m.does) == {does}]
    some = [m.name for m in plant.modes.values() if does in m.does]
    return next(iter([*only, *some]), None)
