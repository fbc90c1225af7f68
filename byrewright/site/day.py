"""The day that a rehearsal plays: which mode when, and the ledger of milk lost."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

from byrewright.plant.plant import Plant
from byrewright.site.rehearse import ModeInterval
from byrewright.standards.rulebook import Rulebook, default_rulebook
from byrewright.studies.routes.brute import FoundHarm
from byrewright.studies.routes.ledger import NOTHING_L_MIN, WINDOW_MIN, DayLedger
from byrewright.studies.routes.litres import AT_MOST, LossOf, from_duty, milk_rate
from byrewright.studies.routes.propagation import Combination

AFTER_MILKING = (
    ("drain_down", 10.0),
    ("rinse", 10.0),
    ("wash", 25.0),
    ("last_rinse", 8.0),
    ("drain_down", 10.0),
)
"""What follows a milking and for how many minutes, where the plant has such a mode (common
practice, no source)."""


@dataclass(frozen=True)
class Day:
    """Acts of a day, and milk flow (start, end, litres a minute) of each milking by the duty."""

    plant: Plant
    rules: Rulebook
    intervals: tuple[ModeInterval, ...]
    flows: tuple[tuple[float, float, float], ...]

    @cached_property
    def ledger(self) -> DayLedger | None:
        """The simulated day's ledger; None for a plant that the day engine refuses."""
        from byrewright.engine.lowering import DoesNotCompile

        try:
            return DayLedger(self.plant, self.rules)
        except DoesNotCompile:
            return None

    def playing(self, mode: str) -> Day:
        """This day with a mode in it: a milking mode takes the place of the day's own, another
        that is missing gets an hour to itself.

        Raises:
            KeyError: the plant has no such mode.
        """
        does = self.plant.modes[mode].does
        if any(a.mode == mode for a in self.intervals):
            return self
        intervals: tuple[ModeInterval, ...] = (ModeInterval(0.0, 60.0, mode),)
        if "milking" in does:
            intervals = tuple(
                replace(a, mode=mode) if "milking" in self.plant.modes[a.mode].does else a
                for a in self.intervals
            )
        return replace(self, intervals=intervals)

    def milk_l(self, start_min: float, end_min: float) -> float:
        """Milk that flows between two times, by the duty."""
        return sum(
            rate * max(0.0, min(end_min, b) - max(start_min, a)) for a, b, rate in self.flows
        )

    def simulated(self, wrong: Combination, start_min: float) -> bool:
        """Whether the simulated day shows a loss with these positions wrong from a time on."""
        if self.ledger is None:
            return False
        window = self.ledger.lost_l(wrong, start_min, start_min + WINDOW_MIN)
        return window > NOTHING_L_MIN * WINDOW_MIN

    @cached_property
    def _by_duty(self) -> tuple[LossOf, float]:
        rate = milk_rate(self.plant, self.rules)
        return from_duty(self.plant, rate, self.rules), rate.mean_l_min

    def _share(self, hit: FoundHarm | None) -> tuple[float, bool]:
        """Share of the milk flow that is lost by the duty and the solved network, and whether that
        is the most it may be rather than what is lost."""
        if hit is None:
            return 1.0, True
        loss_of, mean = self._by_duty
        loss = loss_of(hit)
        return (loss.amount or 0.0) / mean if mean else 0.0, loss.basis.startswith(AT_MOST)

    def lost_l(
        self, wrong: Combination, start_min: float, end_min: float, hit: FoundHarm | None = None
    ) -> float:
        """Milk lost, by the simulated day; where that shows no loss, by the share of the flow that
        `hit` loses (all of it without one)."""
        if self.ledger is not None and self.simulated(wrong, start_min):
            return self.ledger.lost_l(wrong, start_min, end_min)
        return self._share(hit)[0] * self.milk_l(start_min, end_min)

    def at_most(self, wrong: Combination, start_min: float, hit: FoundHarm | None = None) -> bool:
        """Whether `lost_l` is the most that may be lost: nothing tells how much of it is."""
        return not self.simulated(wrong, start_min) and self._share(hit)[1]


def day_of(plant: Plant, rules: Rulebook | None = None) -> Day:
    """The day by the plant's duty.

    Each milking takes the first mode that does nothing but milking (else the first that does
    milking); what follows is washing and draining, then the idle mode.
    """
    from byrewright.results import ResultBuilder
    from byrewright.studies.sizing.context import StudyContext
    from byrewright.studies.sizing.duty import duty_of

    rules = rules or default_rulebook()
    duty = duty_of(StudyContext(plant, rules, ResultBuilder("rehearsal", plant.site.name)))
    milking, idle = _first(plant, "milking"), _first(plant, "idle")
    intervals: list[ModeInterval] = []
    flows: list[tuple[float, float, float]] = []
    now = 0.0
    for one in sorted(duty.milkings, key=lambda m: m.start_min):
        if milking is None:
            break
        start, end = max(now, float(one.start_min)), one.start_min + 60 * one.hours
        if idle and start > now:
            intervals.append(ModeInterval(now, start, idle))
        intervals.append(ModeInterval(start, end, milking))
        flows.append((float(one.start_min), end, one.milk_l / (60 * one.hours)))
        now = end
        for mode, minutes in AFTER_MILKING:
            if mode in plant.modes:
                intervals.append(ModeInterval(now, now + minutes, mode))
                now += minutes
    if idle and now < 1440:
        intervals.append(ModeInterval(now, 1440.0, idle))
    return Day(plant, rules, tuple(intervals), tuple(flows))


def _first(plant: Plant, does: str) -> str | None:
    only = [m.name for m in plant.modes.values() if set(m.does) == {does}]
    some = [m.name for m in plant.modes.values() if does in m.does]
    return next(iter([*only, *some]), None)
