"""Records of a simulated day that are written by hand, on the large example; nothing is run."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from typing import Any

import numpy as np

from byrewright.engine import shape as sh
from byrewright.engine.compiled import compile_plant
from byrewright.engine.kernels.loop import Z_FIRST
from byrewright.plant.plant import Plant
from byrewright.results import Finding, ResultBuilder
from byrewright.standards.rulebook import default_rulebook
from byrewright.studies.day.record import MilkingSession, Run
from byrewright.studies.sizing.context import StudyContext
from tests.studies.failing import LARGE, example

RULES = default_rulebook()
HOUR = 3600.0


@cache
def compiled() -> Any:
    """The large example: a tank of its own beside a tanker that is loaded direct."""
    return compile_plant(example(LARGE), RULES)


def session(day: int, name: str, begun_h: float, hours: float, **more: Any) -> MilkingSession:
    """A milking with its wash; times in hours of the run."""
    begun, off = begun_h * HOUR, (begun_h + hours) * HOUR
    usual: dict[str, Any] = {
        "asked_s": begun, "begun_s": begun, "last_off_s": off, "left_s": off + 300,
        "wash_end_s": off + HOUR, "stopped_s": 120.0, "held_s": 60.0, "kg": 9000.0, "hot_c": 82.0,
        "return_c": 60.0, "strength": 0.9, "left_kg": 3.0, "dry_s": 0.0, "heater_c": 84.0,
        "target_h": 6.0, "operators": 3, "washed": True, "cows": np.zeros((0, 10)),
    }  # fmt: skip
    return MilkingSession(day, name, **usual | more)


def run_of(sessions: list[MilkingSession], seen: Any = None, loads: Any = None,
           plant: Plant | None = None, days: int = 1) -> Run:  # fmt: skip
    """A run of so many days with these milkings and readings."""
    start = compiled().start
    first, last = start.copy(), start.copy()
    last.n[sh.I_STEP] = first.n[sh.I_STEP] + round(days * 86400 / compiled().step_s)
    width = Z_FIRST + 2 * len(compiled().names.vessels) + 40
    seen = np.zeros((0, width)) if seen is None else seen
    run = Run(plant or example(LARGE), compiled(), 7, days, 1, first, last, seen, list(sessions))
    if loads is not None:
        run.loads.append(np.array(loads, float))
    return run


def bench(plant: Plant | None = None) -> StudyContext:
    """A bench for the plant."""
    return StudyContext(plant or example(LARGE), RULES, ResultBuilder("day", "large"))


def told(ctx: StudyContext) -> dict[str, Finding]:
    """Findings by key and subject."""
    return {f.name: f for f in ctx.notes.findings}


def random_run(seed: int) -> Run:
    """Readings each five minutes, contents that come and go about the reach of the agitators."""
    draw = np.random.default_rng(seed)
    begun = np.sort(draw.uniform(0.5, 20.0, 3))
    milkings = [
        session(0, f"m{i}", float(b), float(draw.uniform(1.0, 3.5))) for i, b in enumerate(begun)
    ]
    names = compiled().names
    times = np.arange(0.0, 86400.0, 300.0)
    seen = np.zeros((len(times), Z_FIRST + 2 * len(names.vessels) + 40))
    seen[:, 0] = times
    run = run_of(milkings, seen)
    for tag in names.places:
        reach, at = run.reach_kg(tag), compiled().vessel(tag)
        held = np.repeat(draw.choice([0.0, 0.9, 1.0, 1.1, 3.0], len(times) // 24 + 1), 24)
        seen[:, Z_FIRST + at] = reach * held[: len(times)]
        seen[:, Z_FIRST + len(names.vessels) + at] = draw.uniform(2.0, 12.0, len(times))
    if seed % 3 == 0:
        milkings[-1].left_s = milkings[-1].wash_end_s = 0.0  # goes on
    run.loads.append(np.array(
        [[t, t + 600, kg, c, 0.0] for t, kg, c in zip(
            draw.uniform(0, 86400, 6), (0.5, 1.0, 900.0, 20.0, 5000.0, 2.0),
            draw.uniform(2, 12, 6), strict=True)]))  # fmt: skip
    return run


def changed(change: Callable[[Run], None], **more: Any) -> Run:
    """A run whose last state is changed."""
    run = run_of([session(0, "a", 0.0, 4.0), session(0, "b", 8.0, 4.0)], **more)
    change(run)
    return run
