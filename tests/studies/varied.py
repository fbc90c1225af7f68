"""Example plants made too small, too large or moved elsewhere, so that answers turn out otherwise;
and what is asked of plants beside the studies of the report, as lines to record."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from functools import partial

from byrewright.plant.plant import Plant
from byrewright.standards.rulebook import default_rulebook
from byrewright.studies.changes import changes, finding_changes, unchanged
from byrewright.studies.day import run_day
from byrewright.studies.day.compare import compare
from byrewright.studies.day.moments import cows_milked, moments, turns
from byrewright.studies.day.study import simulate_days
from byrewright.studies.every import STUDIES
from byrewright.studies.explain import explain
from byrewright.studies.failures.study import study_failures
from byrewright.studies.failures.trace import trace
from byrewright.studies.instruments import instrument_readings
from byrewright.studies.quantities import quantities
from byrewright.studies.routes.network import network
from byrewright.studies.routes.turn import turn
from byrewright.studies.sizing import size
from byrewright.studies.told_once import QUANTITIES
from byrewright.studies.vacuum.quick import quick_readings
from tests import plants
from tests.records import numbers, of_result, of_series, short
from tests.studies.failing import LARGE, ROWS, SMALL, example

SIZES = ("_kw", "_l_min", "_l_min_free", "volume_l", "_kva", "area_m2", "bore_mm", "_mol", "_kn")
"""Ends of the fields by which a machine is small or large."""
RULES = default_rulebook()


def scaled(plant: Plant, by: float) -> Plant:
    """A plant whose machines are smaller or larger than they were, for the same herd."""
    equipment = {
        tag: one.model_copy(
            update={
                name: value * by
                for name in type(one).model_fields
                if name.endswith(SIZES) and isinstance(value := getattr(one, name), int | float)
            }
        )
        for tag, one in plant.equipment.items()
    }
    return plant.model_copy(update={"equipment": equipment})


def doubled(plant: Plant) -> Plant:
    """A plant with two of each machine that can be doubled, for the same herd."""
    equipment = {
        tag: one.model_copy(update={"count": 2})
        if one.count == 1 and one.power_kw() > 0 and one.kind != "platform"
        else one
        for tag, one in plant.equipment.items()
    }
    return plant.model_copy(update={"equipment": equipment})


def elsewhere(plant: Plant) -> Plant:
    """A plant high up, of another region, with hard water, cold nights and hot
    days, whose cows all wait at once."""
    site = {"altitude_m": 1800.0, "region": "US-California", "water_hardness_mmol_l": 4.0,
            "coldest_c": -15.0, "hottest_c": 39.0}  # fmt: skip
    gates = {
        tag: one.model_copy(update={"yard_cows": 900})
        for tag, one in plant.equipment.items() if one.kind == "yard_gate"
    }  # fmt: skip
    return plant.model_copy(update={
        "site": plant.site.model_copy(update=site), "equipment": {**plant.equipment, **gates},
    })  # fmt: skip


PLANTS: Mapping[str, Callable[[], Plant]] = {
    "large": partial(example, LARGE),
    "rows": partial(example, ROWS),
    "small": partial(example, SMALL),
    "made": plants.rotary,
    "made_rows": plants.rows,
    "weak": lambda: scaled(example(SMALL), 0.6),
    "strong": lambda: scaled(example(ROWS), 1.7),
    "weak_rows": lambda: scaled(plants.rows(), 0.4),
    "doubled": lambda: doubled(example(SMALL)),
    "doubled_made": lambda: doubled(plants.rotary()),
    "elsewhere": lambda: elsewhere(example(ROWS)),
    "elsewhere_weak": lambda: elsewhere(scaled(example(LARGE), 0.8)),
}


def laid(plant: Plant, longer_m: float) -> Plant:
    """A plant two of whose pipes are longer: one as its plan says, one as stated."""
    first, second, *rest = plant.pipes
    drawn = {"length_m": first.length_m + longer_m, "length_from": "from the plan"}
    stated = {"length_m": second.length_m + longer_m}
    pipes = (first.model_copy(update=drawn), second.model_copy(update=stated), *rest)
    return plant.model_copy(update={"pipes": pipes})


def explained() -> Iterator[str]:
    """Every finding of a sizing, explained."""
    for one in size(PLANTS["rows"](), RULES).findings:
        text = explain(one).render()
        yield f"{one.name} {len(text.splitlines())} lines {' '.join(numbers([text]))}"


def changed() -> Iterator[str]:
    """What differs between a plant and one that is larger and stands elsewhere."""
    one, other = PLANTS["made"](), elsewhere(scaled(plants.rotary(60, 640, groups=3), 1.2))
    one, other = laid(one, 0.0), laid(other, 2.5)
    for found in changes(one, other):
        yield f"{found.topic} {found.what} {found.tag} {' '.join(numbers([found.sentence]))}"
    days = run_day(PLANTS["rows"](), RULES), run_day(PLANTS["strong"](), RULES)
    for told in (*finding_changes(*days), *unchanged(*days), *unchanged(days[0], days[0])):
        yield f"{told.partition(':')[0].split(' ')[0]} {' '.join(numbers([told]))}"


def turned() -> Iterator[str]:
    """Where fluids go in every mode, with nothing and with one valve at fault."""
    plant = PLANTS["made_rows"]()
    net = network(plant)
    valves = [t for t, m in plant.equipment.items() if m.kind == "valve"]
    for mode in plant.modes:
        for wrong in ({}, *({v: "open"} for v in valves[:4])):
            found = turn(plant, mode, wrong, net)
            told = [f"{w.fluid} {len(w.pipes)} {len(w.machines)} {len(w.onward)} {len(w.back)}"
                    for w in found.ways]  # fmt: skip
            harms = sorted(f"{h.key}@{at}" for h, at in found.harms)
            yield " ".join((mode, *wrong, *told, "|", *harms))


def seen() -> Iterator[str]:
    """A day moment by moment."""
    run = simulate_days(PLANTS["made"](), RULES, seed=4)
    for one in moments(run)[::10]:
        held = [(short(h.litres), short(h.share), "-" if h.warm_c is None else short(h.warm_c))
                for h in one.held.values()]  # fmt: skip
        now = (one.clock, one.doing, str(one.mode), short(one.milk_l_min))
        yield " ".join((*now, str(one.units), str(one.milked), *(x for h in held for x in h)))
    series = cows_milked(run)
    assert series is not None
    yield f"cows {short(sum(series.lines[0][2]))}"
    found = turns(run)
    assert found is not None
    yield f"turns {len(found[0])} {short(found[1])} {short(sum(t.off_s for t in found[0]))}"


def traced() -> Iterator[str]:
    """One failure beside the undisturbed day."""
    found = trace(plants.rotary(), "EM1 fails", moment="peak flow")
    yield f"repair {short(found.repair_h)}"
    for one in found.series:
        yield from of_series(one)


def shared() -> Iterator[str]:
    """Every quantity that two studies tell, as each tells it, and how far apart they may be."""
    plant = PLANTS["made"]()
    results = {name: STUDIES[name](plant, RULES) for name in ("sizing", "vacuum", "day")}
    results["failures"] = study_failures(plant, RULES, simulate=False)
    for one in QUANTITIES:
        apart = one.apart if isinstance(one.apart, float) else one.apart(results)
        yield f"{one.name} {one.share} {short(apart)} {one.side}"
        for reading in (one.owner, *one.others):
            if reading.study in results:
                read = sorted(reading.read(results[reading.study]).items())
                yield f"{one.name}, {reading.study} {' '.join(f'{k} {short(v)}' for k, v in read)}"


def compared() -> Iterator[str]:
    """Two days side by side."""
    yield from of_result(compare(run_day(PLANTS["rows"]()), run_day(PLANTS["strong"]())))


OTHERS: Mapping[str, Callable[[], list[str]]] = {
    "readings_small": lambda: of_result(instrument_readings(PLANTS["small"](), RULES)),
    "readings_elsewhere": lambda: of_result(instrument_readings(PLANTS["elsewhere"](), RULES)),
    "quick_rows": lambda: of_result(quick_readings(PLANTS["rows"](), RULES)),
    "quantities_rows": lambda: of_result(quantities(PLANTS["rows"](), RULES)),
    "quantities_made": lambda: of_result(quantities(PLANTS["made"](), RULES)),
    "quantities_small": lambda: of_result(quantities(PLANTS["small"](), RULES)),
    "explained": lambda: [*explained()],
    "changed": lambda: [*changed()],
    "shared": lambda: [*shared()],
    "traced": lambda: [*traced()],
    "turned": lambda: [*turned()],
    "seen": lambda: [*seen()],
    "compared": lambda: [*compared()],
}
