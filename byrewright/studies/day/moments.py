"""The simulated day moment by moment: what goes on, what each vessel holds, who stands where."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from byrewright.engine import shape as sh
from byrewright.plant.plant import Plant
from byrewright.plant.roles import StandsCows
from byrewright.results import Series
from byrewright.studies.day.record import MilkingSession, Run

DOING = (("wash", "wash"), ("milking", "milking"))
LEAST_SHARE = 0.001
LEAST_L = 0.05
"""Less is shown as nothing."""


@dataclass(frozen=True, slots=True)
class Held:
    """What a vessel holds: litres, share of its volume, temperature (None when it is empty)."""

    litres: float
    share: float
    warm_c: float | None


@dataclass(frozen=True, slots=True)
class Moment:
    """One reading of the day: second of the run, hour since its beginning, time of day, what goes
    on, vessels by tag."""

    at_s: float
    hour: float
    clock: str
    doing: str
    milking: str
    mode: str | None
    milk_l_min: float
    units: int
    milked: int
    held: dict[str, Held]


@dataclass(frozen=True, slots=True)
class Turn:
    """One cow on the deck, seconds of the run: on, unit on, unit off, out."""

    on_s: float
    attach_s: float
    off_s: float
    out_s: float


def moments(run: Run) -> list[Moment]:
    """Every reading of a run as a moment; empty for runs that keep no readings."""
    if len(run.seen) == 0:
        return []
    from byrewright.engine.kernels.loop import Z_FLOW, Z_UNITS

    start = float(run.first.n[sh.I_STEP]) * run.compiled.step_s
    stores = _stores(run)
    levels = {t: run.content_kg(t) / run.compiled.kg_l[t] for t in stores}
    temperatures = {t: run.temperature_c(t) for t in stores}
    off = _off_times(run)
    modes = {doing: mode_for(run.plant, does) for doing, does in (*DOING, ("idle", "idle"))}
    found = []
    for i, at in enumerate(run.seen[:, 0]):
        doing, milking = _doing(run.sessions, float(at))
        held = {}
        for tag in stores:
            litres = float(levels[tag][i])
            litres = litres if litres >= LEAST_L else 0.0
            share = min(1.0, litres / run.compiled.litres[tag])
            warm = float(temperatures[tag][i]) if share > LEAST_SHARE else None
            held[tag] = Held(litres, share, warm)
        found.append(
            Moment(
                float(at), round((float(at) - start) / 3600, 6), run.clock(float(at)),
                doing, milking, modes[doing],
                run.litres(run.seen[i, Z_FLOW]), int(run.seen[i, Z_UNITS]),
                int(np.searchsorted(off, at)), held,
            )
        )  # fmt: skip
    return found


def cows_milked(run: Run) -> Series | None:
    """Cows milked since the run began, hour by hour; None for runs that keep no readings."""
    if len(run.seen) == 0:
        return None
    start = float(run.first.n[sh.I_STEP]) * run.compiled.step_s
    hours = tuple(round(float(t - start) / 3600, 6) for t in run.seen[:, 0])
    count = tuple(float(n) for n in np.searchsorted(_off_times(run), run.seen[:, 0]))
    return Series("day.cows", "Cows milked", hours, "h", (("cows milked", "", count),))


def turns(run: Run, milking: int = 0) -> tuple[list[Turn], float] | None:
    """The cows of one milking on the deck and the time of a turn, s; None for fixed stalls."""
    deck = run.plant.first(StandsCows)
    if deck is None or deck.layout != "rotary" or milking >= len(run.sessions):
        return None
    cows = run.sessions[milking].cows
    if len(cows) == 0:
        return None
    once = cows[cows[:, sh.O_PASSES] < 1.5]
    turn_s = float(np.median(once[:, sh.O_EXIT] - once[:, sh.O_ENTER])) if len(once) else 0.0
    rows = [
        Turn(*(float(c[k]) for k in (sh.O_ENTER, sh.O_ATTACH, sh.O_OFF, sh.O_EXIT))) for c in cows
    ]
    return (rows, turn_s) if turn_s > 0 else None


def mode_for(plant: Plant, does: str) -> str | None:
    """The first mode that does only this, or else does this among other things."""
    only = [m.name for m in plant.modes.values() if set(m.does) == {does}]
    some = [m.name for m in plant.modes.values() if does in m.does]
    return next(iter([*only, *some]), None)


def _stores(run: Run) -> list[str]:
    roles = run.compiled.tables.I[:, sh.VI_ROLE]
    return [t for i, t in enumerate(run.compiled.names.vessels) if roles[i] == sh.STORE]


def _off_times(run: Run) -> sh.Floats:
    times = [b.cows[:, sh.O_OFF] for b in run.sessions]
    return np.sort(np.concatenate(times)) if times else np.zeros(0)


def _doing(sessions: list[MilkingSession], at_s: float) -> tuple[str, str]:
    for one in sessions:
        if one.begun_s <= at_s < (one.left_s or one.last_off_s):
            return "milking", one.name
        if one.washed and one.left_s <= at_s < one.wash_end_s:
            return "wash", one.name
    return "idle", ""
