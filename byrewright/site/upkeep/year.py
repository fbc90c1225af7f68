"""What machines wear through a simulated year: a day of each month, and what ran and flowed in it.

What cycles by itself (refrigeration, compressors, pumps by level) is told here alone: the engine
counts its hours. Worked out once for a plant, and kept.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence

from byrewright.caches import cache_folder, keep
from byrewright.engine import shape as sh
from byrewright.errors import ByrewrightError
from byrewright.plant.plant import Plant
from byrewright.plant.roles import MovesMilk
from byrewright.plant.upkeep import HOURS
from byrewright.site.condition.matrix import key_of
from byrewright.site.upkeep.forecast import Worn, hours_of, with_what_follows
from byrewright.standards.rulebook import Rulebook
from byrewright.studies.day.record import Run
from byrewright.studies.day.study import simulate_days

MONTHS = 12
KEPT = 24
SAMPLE_S = 600.0
Say = Callable[[str, int, int], bool | None]


def year_of(plant: Plant, rules: Rulebook, say: Say | None = None) -> Worn:
    """What machines wear a day, by months; empty where the plant cannot be simulated.

    `say` is told what is worked out, its number and of how many; an answer of True stops it.

    Raises:
        ByrewrightError: stopped.
    """
    path = cache_folder("year") / f"{key_of(plant, rules)}.json"
    try:
        return {(tag, unit): months for tag, unit, months in json.loads(path.read_bytes())}
    except (OSError, ValueError):
        pass
    runs = []
    for month in range(1, MONTHS + 1):
        if say is not None and say(f"a simulated year, month {month}", month - 1, MONTHS):
            raise ByrewrightError("stopped; nothing was kept")
        try:
            runs.append(simulate_days(plant, rules, month=month, sample_s=SAMPLE_S))
        except ByrewrightError:
            return {}
    found = _worn(plant, runs)
    told = [(*key, list(months)) for key, months in found.items()]
    keep(path, json.dumps(told).encode(), KEPT)
    return found


def _worn(plant: Plant, runs: Sequence[Run]) -> Worn:
    milking = [sum(b.left_s - b.begun_s for b in r.done) / 3600.0 / r.days for r in runs]
    wash = [sum(max(0.0, b.wash_end_s - b.left_s) for b in r.done) / 3600.0 / r.days
            for r in runs]  # fmt: skip
    hours: dict[str, Sequence[float]] = {
        m.id: h for m in plant.equipment.values()
        if (h := hours_of(plant, m, milking, wash)) is not None
    }  # fmt: skip
    counted = [_counted(plant, r) for r in runs]
    for tag in plant.equipment:
        some = [c.get((tag, HOURS), 0.0) for c in counted]
        if any(some):  # what stands by in the simulated day keeps the hours of its modes
            hours[tag] = some
    found = with_what_follows(plant, hours, milking)
    for key in {k for c in counted for k in c if k[1] != HOURS}:
        some = [c.get(key, 0.0) for c in counted]
        if any(some):
            found[key] = some
    return found


def _counted(plant: Plant, run: Run) -> dict[tuple[str, str], float]:
    """What the engine counted of machines in a day, of each of those alike."""
    names = run.compiled.names
    found: dict[tuple[str, str], float] = {}
    for section, tags, column in (("chillers", names.chillers, sh.SR_HOURS),
                                  ("compressors", names.compressors, sh.SA_HOURS)):  # fmt: skip
        change = run.change(section)
        for i, tag in enumerate(tags):
            found[tag, HOURS] = float(change[i, column]) / run.days
    transfers = run.change("transfers")
    for i, tag in enumerate(names.transfer_machines):
        machine = plant.equipment.get(tag)
        if machine is None or tag in names.units:
            continue
        told = {HOURS: transfers[i, sh.S_HOURS], "starts": transfers[i, sh.S_STARTS]}
        for unit, many in told.items():
            found[tag, unit] = max(found.get((tag, unit), 0.0), float(many) / run.days)
        if isinstance(machine, MovesMilk):
            litres = run.litres(transfers[i, sh.S_KG]) / run.days / machine.count
            found[tag, "litres"] = found.get((tag, "litres"), 0.0) + litres
    return found
