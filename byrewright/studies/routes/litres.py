"""How much a wrong position loses: litres a minute of milk, or litres left in a pipe."""

from __future__ import annotations

from collections.abc import Callable, Collection
from dataclasses import dataclass, replace

from byrewright.engine.liquids import liquids_of
from byrewright.engine.liquidstreams import Stream, streams
from byrewright.engine.milkmaps import HALVINGS
from byrewright.plant.plant import Plant
from byrewright.plant.roles import MovesMilk
from byrewright.standards.rulebook import Rulebook, default_rulebook
from byrewright.studies.routes.brute import FoundHarm
from byrewright.studies.routes.propagation import Combination
from byrewright.studies.routes.questions import litres_in
from byrewright.studies.routes.scene import Reaches


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


LossOf = Callable[[FoundHarm], Loss]
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
        self._led = [m.id for m in plant.machines(MovesMilk) if m.control != "on_off"]

    def _streams(self, mode: str, wrong: Combination, speed: float = 1.0) -> list[Stream]:
        """speed: that of the pumps that follow a level."""
        key = (mode, tuple(sorted(wrong)), speed)
        if key not in self._kept:
            s = self.net.situation(mode, dict(wrong))
            s = replace(s, speed={**s.speed, **dict.fromkeys(self._led, speed)})
            flows = self.net.solve(s, broken=[])
            self._kept[key] = streams(self.net, flows, frozenset(self.net.pumps))
        return self._kept[key]  # type: ignore[return-value]

    def out_of(self, hit: FoundHarm, tank: str) -> float:
        """What leaves a tank more than it should, L/min."""
        wrong, right = (
            sum(x.l_min for x in self._streams(hit.mode, how) if x.source == tank)
            for how in (hit.wrong, ())
        )
        return max(0.0, wrong - right)

    def share(self, hit: FoundHarm, targets: Collection[str], l_min: float) -> float | None:
        """Share of the milk that comes past that goes to some machines, while that much comes: a
        pump that follows the level of its vessel is then slower, lifts less, and more goes to the
        lower end. None where nothing goes there."""
        low, high, share = 0.0, 1.0, self._shares(hit, targets, 1.0)
        if share is None or share[1] <= l_min or not self._led:
            return share and share[0]
        for _ in range(HALVINGS):
            speed = 0.5 * (low + high)
            now = self._shares(hit, targets, speed)
            share = now or share
            low, high = (speed, high) if now is None or now[1] < l_min else (low, speed)
        return share[0]

    def _shares(self, hit: FoundHarm, targets: Collection[str],
                speed: float) -> tuple[float, float] | None:  # fmt: skip
        """The greatest share of a vessel's milk that goes to some machines, and the flow out of
        that vessel, L/min."""
        milk = {t for t, v in self.net.vessels.items() if v.holds == "milk" and not v.fill}
        every = [x for x in self._streams(hit.mode, hit.wrong, speed) if x.source in milk]
        whole = {x.source: 0.0 for x in every if x.target in targets}
        for x in every:
            if x.source in whole:
                whole[x.source] += x.l_min
        return max(
            ((sum(x.l_min for x in every if x.source == s and x.target in targets) / q, q)
             for s, q in whole.items()),
            default=None,
        )  # fmt: skip


def _of_withheld(hit: FoundHarm) -> bool:
    """Whether what goes astray is withheld milk alone."""
    ways = {c.propagation for c in hit.question.all_of if isinstance(c, Reaches)}
    return hit.question.harm == "overflow" and ways == {"withheld"}


def from_duty(plant: Plant, rate: MilkRate, rules: Rulebook | None = None) -> LossOf:
    """Losses by the plant's duty and the solved network: the milk flow in the share that the
    network sends the wrong way, and what a tank loses through what stands open."""
    rules = rules or default_rulebook()
    spills, full_pct = Spills(plant, rules), 100 * rules.number("vessel.level_share")

    def loss(hit: FoundHarm) -> Loss:
        loses, subject = hit.question.loses, hit.question.subject
        if loses == "milk" and _of_withheld(hit):
            return Loss(
                rate.withheld_share * rate.mean_l_min, "L/min",
                f"{AT_MOST}: mean flow of the milk that is withheld",
            )  # fmt: skip
        if loses == "milk":
            share = (
                spills.share(hit, {subject}, rate.mean_l_min)
                if subject in plant.equipment
                else None
            )
            if share is None:
                return Loss(rate.mean_l_min, "L/min", f"{AT_MOST}: {rate.basis}")
            return Loss(
                share * rate.mean_l_min, "L/min",
                f"{100 * share:.0f} % of the mean milk flow goes there by the solved network",
            )  # fmt: skip
        if loses.startswith("pipe:"):
            pipe = next(p for p in plant.pipes if p.id == loses[5:])
            return Loss(litres_in(pipe.bore_mm, pipe.length_m), "L", "content of the full pipe")
        if loses in plant.equipment and hit.question.harm in ("milk_lost", "milk_to_wash"):
            l_min = spills.out_of(hit, loses)
            if l_min > 0:
                return Loss(
                    l_min, "L/min", f"out of {loses} by the solved network, {full_pct:g} % full"
                )
        return Loss(None, "", "not a flow of milk lost")

    return loss
