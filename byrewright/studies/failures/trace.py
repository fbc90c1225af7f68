"""One chosen failure run again in full: its timeline beside the undisturbed day's."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from byrewright.engine import shape as sh
from byrewright.engine.kernels.loop import Z_FIRST, Z_FLOW, Z_KW, Z_VACUUM
from byrewright.engine.simulate import Row, simulate
from byrewright.plant.farm import clock
from byrewright.plant.plant import Plant
from byrewright.results import Series
from byrewright.standards.rulebook import Rulebook, default_rulebook
from byrewright.studies.failures.analysis import analyse
from byrewright.studies.failures.runs import HOUR_S, Field, Moment
from byrewright.studies.failures.script import Scripts

SHOWN_H = 6.0
BASE, WITH = "undisturbed", "with the failure"
CHANGED_L = 1.0
"""A vessel whose content never differs by so much is left out."""


@dataclass(frozen=True, slots=True)
class Trace:
    """A failure from one moment on: time of day of the moment, how long until the repair is done,
    and the lines (hours since the moment)."""

    event: str
    machine: str
    moment: str
    at: str
    repair_h: float
    series: tuple[Series, ...]
    moments: tuple[str, ...]


def trace(
    plant: Plant,
    event_id: str,
    rules: Rulebook | None = None,
    *,
    moment: str = "",
    month: int | None = None,
    seed: int = 1,
) -> Trace:
    """The timeline of a failure at one of the bad moments (the first when none is named).

    `month` and `seed` as in the failure study.

    Raises:
        KeyError: the plant has no such failure.
        DoesNotCompile: the engine refuses the plant.
    """
    rules = rules or default_rulebook()
    analysis = analyse(plant, rules)
    case = analysis.case(event_id)
    script = Scripts(analysis).of(case)
    field = Field(plant, rules, [script], seed, month or plant.site.study_month)
    named = {m.name: m for m in field.moments}
    start = named.get(script.only or moment, field.moments[0])
    rows = field.rows(script, start)
    late = round(script.late_s / field.compiled.step_s)
    base, hurt = _seen(field, start, (), 0), _seen(field, start, rows, late)
    origin = field.compiled.origin_s
    at = start.step * field.compiled.step_s
    return Trace(
        event_id, case.event.machine, start.name, clock((at + origin) / 60),
        script.repair_s / HOUR_S, _series(field, at, base, hurt), tuple(named),
    )  # fmt: skip


def _seen(field: Field, start: Moment, rows: tuple[Row, ...], late: int) -> sh.Floats:
    """Readings from a moment on, over midnight where need be."""
    from byrewright.studies.failures.runs import _later

    until = start.step + round(SHOWN_H * HOUR_S / field.compiled.step_s)
    state = start.state
    parts = []
    while int(state.n[sh.I_STEP]) < until:
        now = int(state.n[sh.I_STEP])
        day = now // field.steps
        today = field.days[min(day, max(field.days))]
        if late:
            today = _later(today, now, late)
        stop = min(until, (day + 1) * field.steps)
        done = simulate(field.compiled, today, state, stop, rows=rows, readings_from=now)
        state = done.state
        if done.seen is not None:
            parts.append(done.seen[done.seen[:, 0] > 0])
    return np.concatenate(parts)


def _series(field: Field, at: float, base: sh.Floats, hurt: sh.Floats) -> tuple[Series, ...]:
    hours = tuple(round(float(t - at) / HOUR_S, 5) for t in base[:, 0])
    count = min(len(base), len(hurt))

    def line(name: str, unit: str, values: sh.Floats) -> tuple[str, str, tuple[float, ...]]:
        return name, unit, tuple(round(float(v), 3) for v in values[:count])

    def pair(key: str, title: str, unit: str, column: int, scale: float = 1.0) -> Series:
        lines = (
            line(BASE, unit, base[:, column] * scale),
            line(WITH, unit, hurt[:, column] * scale),
        )
        return Series(key, title, hours[:count], "h", lines)

    found = [
        pair("flow", "Milk from all units", "L/min", Z_FLOW, 1 / field.compiled.milk_kg_l),
        pair("vacuum", "Vacuum", "kPa", Z_VACUUM),
        pair("load", "Electric load", "kW", Z_KW),
    ]
    names, roles = field.compiled.names.vessels, field.compiled.tables.I
    for i, tag in enumerate(names):
        if (
            roles[i, sh.VI_ROLE] != sh.STORE
            or tag.startswith("(")
            or tag not in field.compiled.kg_l
        ):
            continue
        column, scale = Z_FIRST + i, 1 / field.compiled.kg_l[tag]
        gap = np.abs(base[:count, column] - hurt[:count, column]) * scale
        if gap.max() >= CHANGED_L:
            found.append(pair(f"content.{tag}", f"Content of {tag}", "L", column, scale))
    return tuple(found)
