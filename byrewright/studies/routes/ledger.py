"""Milk lost by the simulated day: the day is run with positions wrong from a time on, and once
without, and the drains are compared. The engine splits the flow where a pump has two ways open."""

from __future__ import annotations

from collections.abc import Iterable
from functools import cached_property
from typing import Any

from byrewright.plant.plant import Plant
from byrewright.standards.rulebook import Rulebook, default_rulebook
from byrewright.studies.routes.brute import FoundHarm
from byrewright.studies.routes.litres import AT_MOST, Loss, LossOf
from byrewright.studies.routes.network import FULL, Roles
from byrewright.studies.routes.propagation import Combination

WINDOW_MIN = 10.0
"""Length of the stretch over which a loss is measured."""
NOTHING_L_MIN = 0.05
"""Less than this is nothing: it is the rounding of levels that differ a little between two runs."""


class DayLedger:
    """Milk that runs to waste in the first simulated day of a plant.

    Times are minutes after midnight. The day begins on a full hour, at least one before the first
    milking.

    Raises:
        DoesNotCompile: a plant the engine refuses; the sentence names the part.
    """

    def __init__(self, plant: Plant, rules: Rulebook | None = None, *, month: int | None = None,
                 seed: int = 1) -> None:  # fmt: skip
        from byrewright.engine.compiled import compile_plant
        from byrewright.engine.draws import Herd

        self.plant, self.rules = plant, rules or default_rulebook()
        self.month, self.seed = month or plant.site.study_month, seed
        self.compiled = compile_plant(plant, self.rules)
        self.herd = Herd(plant, self.compiled, self.rules, seed)
        self._waste: dict[tuple[Combination, int, int], float] = {}
        self._wrong, self._variants = self.compiled, dict[Combination, int]()

    def expect(self, wrongs: Iterable[Combination]) -> None:
        """Put the plant with each of these into one set of tables; it is then lowered once."""
        from byrewright.engine.compiled import with_wrong

        new = dict.fromkeys([*self._variants, *(w for w in wrongs if w)])
        if len(new) > len(self._variants):
            every = [dict(w) for w in new]
            self._wrong = with_wrong(self.plant, self.compiled, every, self.rules)
            self._variants = {w: i for i, w in enumerate(new, 1)}

    @cached_property
    def places(self) -> tuple[str, ...]:
        """Where milk is lost: drains, troughs, and what runs over or out."""
        from byrewright.engine.lowering import DRAIN, LOST

        roles = Roles(self.plant)
        every = (*roles.drains, *roles.troughs, DRAIN, LOST)
        return tuple(p for p in every if p in self.compiled.names.vessels)

    def lost_l(self, wrong: Combination, start_min: float, end_min: float) -> float:
        """Litres lost between two times while positions are wrong from the first to the last."""
        dt = self.compiled.step_s
        begin = round(((start_min * 60 - self.compiled.origin_s) % 86400) / dt)
        end = begin + round((end_min - start_min) * 60 / dt)
        if end <= begin:
            return 0.0
        with_it = self._wasted(wrong, begin, end)
        return max(0.0, (with_it - self._wasted((), begin, end)) / self.compiled.milk_kg_l)

    def _wasted(self, wrong: Combination, begin: int, end: int) -> float:
        """Milk (kg) in the places of loss at step `end`."""
        key = (wrong, begin, end)
        if key not in self._waste:
            self._waste[key] = self._run(wrong, begin, end)
        return self._waste[key]

    def _run(self, wrong: Combination, begin: int, end: int) -> float:
        from byrewright.engine import shape as sh
        from byrewright.engine.draws import day_of
        from byrewright.engine.simulate import simulate

        compiled = self.compiled
        rows: tuple[tuple[int, int, int, int, float], ...] = ()
        if wrong:
            self.expect([wrong])
            compiled = self._wrong
            rows = ((begin, 0, 0, sh.ROW_ROUTE, float(self._variants[wrong])),)
        day: Any = day_of(self.plant, compiled, self.herd, month=self.month, day=0, extra=rows)
        state = simulate(compiled, day, compiled.start, end).state
        return float(sum(state.items[compiled.vessel(p), sh.MILK] for p in self.places))


def from_day(
    plant: Plant, ledger: DayLedger, by_duty: LossOf, told: Iterable[FoundHarm] = ()
) -> LossOf:
    """Losses of flowing milk by the simulated day, in the middle of its first milking; whatever
    the day cannot tell (stored milk, spoilt milk, litres in pipes) comes from the duty. All of
    `told` are got ready in one go."""
    from byrewright.plant.farm import minutes

    begins = min((minutes(m.start) for m in plant.milkings), default=0)
    middle = begins + 30.0

    def by_day(hit: FoundHarm) -> bool:
        flows = hit.question.loses == "milk" and hit.question.harm in ("milk_lost", "milk_to_wash")
        return flows and all(position != FULL for _, position in hit.wrong)

    def loss(hit: FoundHarm) -> Loss:
        plain = by_duty(hit)
        if not by_day(hit):
            return plain
        rate = ledger.lost_l(hit.wrong, middle, middle + WINDOW_MIN) / WINDOW_MIN
        if rate < NOTHING_L_MIN:
            return Loss(
                plain.amount, plain.unit, f"{AT_MOST}; the simulated day shows no loss here"
            )
        return Loss(rate, "L/min", f"simulated day, {WINDOW_MIN:g} minutes of its first milking")

    ledger.expect(hit.wrong for hit in told if by_day(hit))
    return loss
