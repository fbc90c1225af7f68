"""Frost in rooms with standing water."""

from __future__ import annotations

from byrewright.plant.machine import Service
from byrewright.studies.sizing.context import StudyContext
from byrewright.studies.sizing.duty import Duty
from byrewright.studies.sizing.sizes import (
    stated,
)

LINES: tuple[tuple[Service, str, str], ...] = (
    ("water", "water lines", "drain them, or trace-heat them"),
    ("wash", "wash lines", "see that they run empty, pumps and trough too"),
    ("air", "compressed-air lines", "dry the air below the room's least, and drain the receiver"),
)


def coldest_c(ctx: StudyContext) -> tuple[float, str]:
    """The coldest night, and how it is known."""
    site = ctx.plant.site
    if site.coldest_c is not None:
        return site.coldest_c, "stated"
    below = ctx.number("frost.cold_night_k")
    return min(site.ambient_c) - below, f"{below:g} K below the mean of the coldest month"


def size_frost(ctx: StudyContext, duty: Duty) -> None:
    """Rooms against frost, line by service."""
    night, how = coldest_c(ctx)
    held, limit = ctx.plant.site.room_heated_to_c, ctx.number("frost.room_least_c")
    room = night if held is None else max(night, held)
    unknown = held is None and night < limit
    for service, title, otherwise in LINES:
        count = sum(ctx.plant.service_of(p) == service for p in ctx.plant.pipes)
        if not count:
            continue
        heated = "not stated to be heated" if held is None else f"held at {held:g} degC"
        ctx.find(
            "frost.lines", f"Room of the {title}", None if unknown else room, "degC",
            f"The coldest night is {night:g} degC ({how}) and the rooms are {heated}: the "
            f"{count} {title} are at {room:g} degC; {limit:g} degC keeps them from frost."
            + ("" if room >= limit else f" Heat the room, or {otherwise}.")
            + " Lines outside the rooms are not looked at.",
            subject=service, limit=limit, sense="at_least", allowance=0.0,
            formula="T_room = max(coldest night, temperature held)",
            inputs=(stated("T_night", "coldest night", night, "degC", how),
                    ctx.rule("frost.room_least_c")),
            source="practice", confidence="common_practice",
            missing=("site.room_heated_to_c",) if unknown else (),
        )  # fmt: skip
