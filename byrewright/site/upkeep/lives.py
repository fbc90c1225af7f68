"""Intervals that learn: what was found at a service tells how long parts last at this plant.

A part's life is taken as Weibull. Its unknown shape and the age at which a stated share of parts is
worn out (the service interval) begin with a prior about the usual interval; each part found adds
what it says: broken down at an age (the density), found worn (it ended before), still good (it
lasts longer). Bayes' rule on a grid; with few findings the usual interval hardly moves.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from byrewright.errors import ByrewrightError
from byrewright.plant.plant import Plant
from byrewright.plant.upkeep import DAYS, HOURS, Interval, counted_in, intervals, service_of
from byrewright.results import Table
from byrewright.site.log import Entry
from byrewright.standards.rulebook import Rulebook

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Grid = NDArray[np.float64]

POINT_95 = 1.645
CELLS = 161
REACH = 5.0
"""Sigmas of the prior that the grid spans either way."""
HOW = re.compile(r"(\d+) (failed|worn|good)")


@dataclass(frozen=True, slots=True)
class Found:
    """Parts of one age: how many broke down then, were found worn then, were still good then."""

    age: float
    failed: int = 0
    worn: int = 0
    good: int = 0


@dataclass(frozen=True, slots=True)
class Learned:
    """An interval as it is now, with the 5 and 95 % points, and the Weibull shape behind it."""

    kind: str
    what: str
    unit: str
    usual: float
    middle: float
    low: float
    high: float
    shape: float
    found: tuple[Found, ...]


def learn(
    usual: float, found: Sequence[Found], rules: Rulebook
) -> tuple[float, float, float, float]:
    """The interval (middle, 5 and 95 % points) and the shape after what was found."""
    import numpy as np

    share = rules.number("upkeep.worn_at_interval")
    shape = rules["upkeep.wear_shape"]
    sigma = math.log(rules.number("upkeep.interval_factor")) / POINT_95
    low, high = shape.low or shape.value, shape.high or shape.value
    sigma_shape = max(math.log(high / low) / (2 * POINT_95), 1e-3)
    steps = np.linspace(-REACH, REACH, CELLS)
    life = usual * np.exp(sigma * steps)[:, None]
    beta = shape.value * np.exp(sigma_shape * steps)[None, :]
    eta = life / (-math.log1p(-share)) ** (1 / beta)
    told = -0.5 * (steps[:, None] ** 2 + steps[None, :] ** 2)
    for one in found:
        told = told + log_chance(one, beta, eta)
    weight = np.exp(told - told.max())
    weight /= weight.sum()
    points = [_point(life[:, 0], weight.sum(axis=1), q) for q in (0.5, 0.05, 0.95)]
    return points[0], points[1], points[2], _point(beta[0], weight.sum(axis=0), 0.5)


def log_chance(one: Found, beta: Grid, eta: Grid) -> Grid:
    """Log of the chance of what was found."""
    import numpy as np

    hazard = (one.age / eta) ** beta
    told: Grid = -(one.failed + one.good) * hazard
    if one.failed:
        told = told + one.failed * (np.log(beta / eta) + (beta - 1) * np.log(one.age / eta))
    if one.worn:
        told = told + one.worn * np.log(-np.expm1(-np.maximum(hazard, 1e-300)))
    return told


def _point(values: Grid, weight: Grid, share: float) -> float:
    import numpy as np

    return float(np.exp(np.interp(share, np.cumsum(weight) - weight / 2, np.log(values))))


def learned_of(
    plant: Plant, rules: Rulebook, entries: Iterable[Entry]
) -> dict[tuple[str, str], Learned]:
    """What was learned, by kind and service: machines of a kind wear alike."""
    found: dict[tuple[str, str], list[Found]] = {}
    told_of: dict[tuple[str, str], Interval] = {}
    for one in entries:
        machine = plant.equipment.get(one.tag)
        if one.kind == "part" and one.data.get("action") == "found" and machine is not None:
            asked = service_of(machine, one.data["what"])
            if asked is None or asked.fixed:
                continue
            unit, usual = intervals(machine, asked, rules)[0]
            if one.data.get("unit", unit if unit in (HOURS, DAYS) else HOURS) != unit:
                continue  # counted otherwise then
            counts = {k: int(one.data[k]) for k in ("failed", "worn", "good")}
            told_of[machine.kind, asked.what] = (unit, usual)
            found.setdefault((machine.kind, asked.what), []).append(
                Found(float(one.data["age"]), **counts)
            )
    told = {}
    for (kind, what), some in found.items():
        unit, usual = told_of[kind, what]
        told[kind, what] = Learned(kind, what, unit, usual, *learn(usual, some, rules), tuple(some))
    return told


def parse(plant: Plant, text: str) -> tuple[str, Mapping[str, object]]:
    """What was found, from "MU1: liners: 3 worn, 51 good at 1180 h": the machine and the body.

    Raises:
        ByrewrightError: it is not written so, or the machine has no such service.
    """
    head, _, tail = text.rpartition(" at ")
    tag, _, rest = head.partition(":")
    what, _, counted = rest.rpartition(":")
    tag, what = tag.strip(), what.strip()
    counts = {how: int(number) for number, how in HOW.findall(counted)}
    age, _, unit = tail.strip().partition(" ")
    left = HOW.sub("", counted).replace(",", "").strip()
    years = age.replace(".", "", 1).isdecimal() and 0 < float(age) < 1e6
    if not tag or not what or not counts or left or not years or not sum(counts.values()):
        raise ByrewrightError(
            f'--found {text}: write the machine, the service and what was found, such as "MU1: '
            'liners: 3 worn, 51 good at 1180 h"; parts are failed, worn or good'
        )
    machine = plant.equipment.get(tag)
    if machine is None:
        raise ByrewrightError(f"--found {text}: the plant has no machine {tag}")
    asked = service_of(machine, what)
    if asked is None:
        names = "; ".join(u.what for u in machine.upkeep()) or "none"
        raise ByrewrightError(f"--found {text}: {tag} has no such service; it has {names}")
    unit_of = counted_in(asked)
    if unit.strip() != unit_of:
        raise ByrewrightError(f"--found {text}: {what} is counted in {unit_of}; write the age so")
    told: dict[str, object] = {"failed": 0, "worn": 0, "good": 0, **counts}
    renewed = counts.get("failed", 0) + counts.get("worn", 0) >= machine.count
    return tag, {"what": asked.what, "action": "found", "age": float(age), "unit": unit_of,
                 "renewed": renewed, **told}  # fmt: skip


def table_of(plant: Plant, learned: Iterable[Learned], rules: Rulebook) -> Table:
    """What was learned, in rows."""
    titles = {m.kind: type(m).TITLE for m in plant.equipment.values()}
    share = rules.number("upkeep.worn_at_interval")
    return Table(
        "service.lives", "Intervals learned from what was found",
        ("of", "service", "usual", "now", "from", "to", "unit", "shape", "failed", "worn", "good"),
        ("",) * 11,
        tuple(
            (titles[x.kind], x.what, x.usual, round(x.middle), round(x.low), round(x.high), x.unit,
             round(x.shape, 2), *(sum(getattr(f, k) for f in x.found) for k in
                                  ("failed", "worn", "good")))
            for x in learned
        ),
        f"The age at which {100 * share:.0f} % of parts are worn out: Weibull, from the usual "
        "interval as prior; from and to are its 5 and 95 % points. Machines of a kind are taken "
        "together. Intervals of law and safety are never stretched.",
    )  # fmt: skip
