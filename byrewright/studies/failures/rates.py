"""How often, how long, and how sure: failures a year with their spread.

Mean life is eta Gamma(1 + 1/beta) of the Weibull figures held in the standards; wet parts live
shorter by the stated divisor. The low and high figures of a life are taken as the 5 and 95 % points
of a log-normal; hours a year are added up over draws of one seed, so that the spread is shown.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from byrewright.physics.reliability import weibull_mtbf_h
from byrewright.standards.reliability import LIVES
from byrewright.standards.rulebook import Rulebook
from byrewright.studies.failures.events import Event

HOURS_A_YEAR = 8760.0
ALWAYS = frozenset({
    "mains", "mains_phase", "water_supply", "collection", "controller", "solid_state_controller",
    "circuit_breaker", "refrigeration", "battery", "transfer_switch", "vessel",
})  # fmt: skip
"""Lives that count every hour of the year; the others count hours of milking and washing."""
ON_CALL = frozenset({"generator_start"})
"""Lives of what only has to start when called: the share of failed calls is used instead."""
POINT_95 = 1.645
DRAWS = 4000


@dataclass(frozen=True, slots=True)
class Rate:
    """How often one event comes and how long it lasts. `spread` is the sigma of ln(rate).

    `parts` are the lives that its rate adds up from, each with its share; `life` is the first.
    """

    a_year: float
    repair_h: float
    sigma: float
    unavailable: float
    life: str
    parts: tuple[tuple[str, float], ...] = ()

    @property
    def shares(self) -> tuple[tuple[str, float], ...]:
        """The lives behind it with their shares; the only one where no parts are told."""
        return self.parts or ((self.life, 1.0),)

    @property
    def range_a_year(self) -> tuple[float, float]:
        """Times a year at the 5 and 95 % points of its lives."""
        far = math.exp(POINT_95 * self.sigma)
        return self.a_year / far, self.a_year * far


def rates_of(events: Sequence[Event], rules: Rulebook, milking_h_year: float) -> dict[str, Rate]:
    """The rate of each event, by its id."""
    return {e.id: _rate(e, rules, milking_h_year) for e in events}


def life_a_year(key: str, rules: Rulebook, milking_h_year: float) -> float:
    """How often a year a part of some life fails: hours in use / MTBF, shortened where wet."""
    life = LIVES[key]
    mtbf = weibull_mtbf_h(life.beta, rules.number(f"life.{key}"))
    if life.wet:
        mtbf /= rules.number("reliability.wet_divisor")
    elif life.damp:
        mtbf /= rules.number("reliability.damp_divisor")
    return (HOURS_A_YEAR if key in ALWAYS else milking_h_year) / mtbf


def _rate(event: Event, rules: Rulebook, milking_h_year: float) -> Rate:
    first = event.failure.life
    repair_h = event.failure.repair_h * rules.number("failures.repair_factor")
    each = {k: life_a_year(k, rules, milking_h_year) for k in (first, *event.failure.also)}
    total = sum(each.values())
    a_year = total * event.alike
    if event.common:
        a_year *= rules.number("reliability.beta_common_cause")
    parts = tuple((k, n / total) for k, n in each.items())
    sigma = math.sqrt(sum((share * _sigma(k)) ** 2 for k, share in parts))
    if first in ON_CALL:
        return Rate(a_year, repair_h, sigma, rules.number("generator.fail_to_start"), first, parts)
    out = min(1.0, a_year * repair_h / HOURS_A_YEAR)
    return Rate(a_year, repair_h, sigma, out, first, parts)


def _sigma(key: str) -> float:
    """Sigma of ln(life): its low and high figures are taken as the 5 and 95 % points."""
    return math.log(LIVES[key].high_h / LIVES[key].low_h) / (2 * POINT_95)


@dataclass(frozen=True, slots=True)
class Hours:
    """Expected hours a year with their spread: mean, and the 5 and 95 % points."""

    mean: float
    low: float
    high: float


def pair_hours(a: Rate, b: Rate, beta: float, alike: bool) -> float:
    """Hours a year with both out: one fails while the other is out, and both by one cause.

    The pair lasts as long as the shorter of what is left of the repairs: ra rb / (ra + rb).
    """
    both = a.repair_h + b.repair_h
    last = a.repair_h * b.repair_h / both if both else 0.0
    often = a.a_year * b.unavailable
    if b.life not in ON_CALL and a.life not in ON_CALL:
        often += b.a_year * a.unavailable
    elif a.life in ON_CALL:
        often = b.a_year * a.unavailable
    if a.life in ON_CALL or b.life in ON_CALL:
        last = min(a.repair_h, b.repair_h)
    common = beta * min(a.a_year, b.a_year) * min(a.repair_h, b.repair_h) if alike else 0.0
    return often * last + common


def with_range(
    parts: Mapping[tuple[str, ...], float], rates: Mapping[str, Rate], seed: int
) -> Hours:
    """The sum of parts with the uncertainty of the lives behind them.

    Each life is one draw for all events that use it: lives are unsure, not the machines.
    """
    import numpy as np

    rng = np.random.default_rng(seed)
    lives = sorted({k for events in parts for e in events for k, _ in rates[e].shares})
    sigma = {k: rates[e].sigma if not rates[e].parts else _sigma(k)
             for events in parts for e in events for k, _ in rates[e].shares}  # fmt: skip
    draw = {life: np.exp(sigma[life] * rng.standard_normal(DRAWS)) for life in lives}
    total = np.zeros(DRAWS)
    for events, hours in parts.items():
        share = np.full(DRAWS, hours)
        for event in events:
            share = share * sum(part * draw[k] for k, part in rates[event].shares)
        total = total + share
    mean = float(sum(parts.values()))
    if mean == 0.0:
        return Hours(0.0, 0.0, 0.0)
    return Hours(mean, float(np.quantile(total, 0.05)), float(np.quantile(total, 0.95)))
