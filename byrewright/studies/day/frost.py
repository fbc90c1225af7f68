"""Frost in the simulated day: how cold what stands becomes."""

from __future__ import annotations

import numpy as np

from byrewright.engine import shape as sh
from byrewright.engine.draws import ambient_c
from byrewright.results import Input
from byrewright.studies.day.record import Run
from byrewright.studies.sizing.context import StudyContext

LEAST_SHARE = 0.01
"""Less of its volume in a vessel is not judged."""
NEAR_K = 2.0
"""A room that stays this far above the limit is not looked at."""


def judge(ctx: StudyContext, run: Run) -> None:
    """The coldest content of every standing vessel, where the room comes near frost."""
    mean, swing = ambient_c(run.plant, ctx.rules, run.month, hot=run.hot)
    held = run.plant.site.room_heated_to_c
    room = mean - swing if held is None else max(mean - swing, held)
    if held is None:
        ctx.assume("site.room_heated_to_c", "rooms with milk, water and wash", "not heated", "",
                     "not stated: as cold as outside")  # fmt: skip
    limit = ctx.number("frost.liquid_least_c")
    if room > limit + NEAR_K or len(run.seen) == 0:
        return
    tables = run.compiled.tables
    for i, tag in enumerate(run.compiled.names.vessels):
        if tables.I[i, sh.VI_ROLE] != sh.STORE or tables.F[i, sh.V_UA] <= 0.0:
            continue
        there = run.content_kg(tag) > LEAST_SHARE * float(tables.F[i, sh.V_CAP])
        if not there.any():
            continue
        warm = np.where(there, run.temperature_c(tag), np.inf)
        at = int(np.argmin(warm))
        ctx.find(
            "day.frost", f"Coldest content of {tag}", float(warm[at]), "degC",
            f"{tag} was at {warm[at]:.1f} degC at {run.clock(run.seen[at, 0])}, in a room that "
            f"fell to {room:g} degC; below {limit:g} degC ice begins at its wall."
            + ("" if warm[at] >= limit else " Heat the room, or empty it."),
            subject=tag, limit=limit, sense="at_least", allowance=1.0,
            formula="coldest reading of its mixed content",
            inputs=(Input("T_room", "coldest of the room in this day", round(room, 1), "degC",
                          "stated" if held is not None else "outside, not heated"),
                    ctx.rule("frost.liquid_least_c")),
        )  # fmt: skip
