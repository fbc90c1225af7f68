"""How much a wrong position loses: litres a minute of milk, or litres left in a pipe."""

from __future__ import annotations

from collections.abc import Callable, Collection
from dataclasses import dataclass

from byrewright.engine.liquids import liquids_of
from byrewright.engine.liquidstreams import Stream, streams
from byrewright.plant.plant import Plant
from byrewright.standards.rulebook import Rulebook, default_rulebook
from byrewright.studies.routes.brute import Hit
from byrewright.studies.routes.questions import litres_in
from byrewright.studies.routes.scene import Reaches
from byrewright.studies.routes.spread import Combination


@dataclass(frozen=True, slots=True)
class Loss:
    """What is lost: an amount with its unit and how it was worked out."""

    amount: float | None
    unit: str
    basis: str


AT_MOST = "at most"
"""How the basis of a loss begins that may be less."""


@dataclass(frozen=True, slots=True)
class MilkRate:
    """Milk flow of the plant while milking, L/min; `withheld_share` of it is kept apart."""

    mean_l_min: float
    peak_l_min: float
    basis: str
    withheld_share: float = 0.0


LossOf = Callable[[Hit], Loss]
"""Turns a hit into what it loses: from the duty, or from the simulated day's ledger."""


def milk_rate(plant: Plant, rules: Rulebook | None = None) -> MilkRate:
    """The plant's milk flow, from its duty (cows an hour times milk a cow).

    Raises:
        ValueError: the plant has no milkings.
    """
    from byrewright.results import ResultBuilder
    from byrewright.studies.sizing.context import StudyContext
    from byrewright.studies.sizing.duty import duty_of

    duty = duty_of(
        StudyContext(plant, rules or Rulebook(), ResultBuilder("routes", plant.site.name))
    )
    return MilkRate(
        duty.milk_flow_mean_l_min,
        duty.milk_flow_peak_l_min,
        "mean milk flow of the largest milking; all of it while the way is open",
        duty.withheld_share,
    )


class Spills:
    """What the solved network lets run where it must not, state by state; each is solved once,
    and only for what is told."""

    def __init__(self, plant: Plant, rules: Rulebook) -> None:
        self.net = liquids_of(plant, rules)
        self._kept = self.net.kept.setdefault("spills", {})

    def _streams(self, mode: str, wrong: Combination) -> list[Stream]:
        key = (mode, tuple(sorted(wrong)))
        if key not in self._kept:
            flows = self.net.solve(self.net.situation(mode, dict(wrong)), broken=[])
            self._kept[key] = streams(self.net, flows, frozenset(self.net.pumps))
        return self._kept[key]  # type: ignore[return-value]

    def out_of(self, hit: Hit, tank: str) -> float:
        """What leaves a tank more than it should, L/min."""
        wrong, right = (
            sum(x.l_min for x in self._streams(hit.mode, how) if x.source == tank)
            for how in (hit.wrong, ())
        )
        return max(0.0, wrong - right)

    def share(self, hit: Hit, targets: Collection[str]) -> float | None:
        """Share of the milk that comes past that goes to some machines; None where none does."""
        milk = {t for t, v in self.net.vessels.items() if v.holds == "milk" and not v.fill}
        every = [x for x in self._streams(hit.mode, hit.wrong) if x.source in milk]
        into = {x.source for x in every if x.target in targets}
        shares = [
            sum(x.l_min for x in every if x.source == s and x.target in targets)
            / sum(x.l_min for x in every if x.source == s)
            for s in into
        ]
        return max(shares, default=None)


def _of_withheld(hit: Hit) -> bool:
    """Whether what goes astray is withheld milk alone."""
    ways = {c.spread for c in hit.question.all_of if isinstance(c, Reaches)}
    return hit.question.harm == "overflow" and ways == {"withheld"}


def from_duty(plant: Plant, rate: MilkRate, rules: Rulebook | None = None) -> LossOf:
    """Losses by the plant's duty and the solved network: the milk flow in the share that the
    network sends the wrong way, and what a tank loses through what stands open."""
    spills = Spills(plant, rules or default_rulebook())

    def loss(hit: Hit) -> Loss:
        loses, subject = hit.question.loses, hit.question.subject
        if loses == "milk" and _of_withheld(hit):
            return Loss(
                rate.withheld_share * rate.mean_l_min, "L/min",
                f"{AT_MOST}: mean flow of the milk that is withheld",
            )  # fmt: skip
        if loses == "milk":
            share = spills.share(hit, {subject}) if subject in plant.equipment else None
            if share is None:
                return Loss(rate.mean_l_min, "L/min", f"{AT_MOST}: {rate.basis}")
            return Loss(
                share * rate.mean_l_min, "L/min",
                f"{share:.0%} of the mean milk flow goes there by the solved network",
            )  # fmt: skip
        if loses.startswith("pipe:"):
            pipe = next(p for p in plant.pipes if p.id == loses[5:])
            return Loss(litres_in(pipe.bore_mm, pipe.length_m), "L", "content of the full pipe")
        if loses in plant.equipment and hit.question.harm in ("milk_lost", "milk_to_wash"):
            l_min = spills.out_of(hit, loses)
            if l_min > 0:
                return Loss(l_min, "L/min", f"out of {loses} by the solved network, a third full")
        return Loss(None, "", "not a flow of milk lost")

    return loss
