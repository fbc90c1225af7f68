"""Frost in rooms with standing water, and hardness of the water."""

from __future__ import annotations

from byrewright.plant.machine import Service
from byrewright.plant.roles import SoftensWater
from byrewright.studies.sizing.context import StudyContext
from byrewright.studies.sizing.duty import Duty
from byrewright.studies.sizing.sizes import TIGHT, next_preferred, stated, worked

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
    """Rooms against frost, line by service; softener against the hardness of the water."""
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
            f"{count} {title} stand in {room:g} degC; {limit:g} degC keeps them from frost."
            + ("" if room >= limit else f" Heat the room, or {otherwise}.")
            + " Lines outside the rooms are not looked at.",
            subject=service, limit=limit, sense="at_least", allowance=0.0,
            formula="T_room = max(coldest night, temperature held)",
            inputs=(stated("T_night", "coldest night", night, "degC", how),
                    ctx.rule("frost.room_least_c")),
            source="practice", known="common_practice",
            missing=("site.room_heated_to_c",) if unknown else (),
        )  # fmt: skip
    _hardness(ctx, duty)


def _hardness(ctx: StudyContext, duty: Duty) -> None:
    hard, limit = ctx.plant.site.water_hardness_mmol_l, ctx.number("water.soft_enough_mmol_l")
    softeners = ctx.plant.machines(SoftensWater)
    if hard is None and not softeners:
        return
    hot_l = ctx.programme.washes_a_day * sum(
        s.litres for s in ctx.programme.wash.steps if s.at_c is not None
    )  # fmt: skip
    if not softeners:
        ctx.find(
            "water.hardness", "Hardness of the wash water", hard, "mmol/L",
            f"The water has {hard:g} mmol/L; from {limit:g} on heaters scale and wash takes more "
            "detergent: soften the hot water, or dose for it as the label says.",
            limit=limit, sense="at_most", allowance=TIGHT, formula="hardness <= limit",
            inputs=(ctx.rule("water.soft_enough_mmol_l"),), source="practice",
            known="common_practice",
        )  # fmt: skip
        return
    for one in softeners:
        need = (hard or 0.0) * hot_l / 1000.0 / sum(s.count for s in softeners)
        ctx.find(
            "water.softener", "Softener", one.capacity_mol, "mol",
            f"{one.id} takes {one.capacity_mol:g} mol between regenerations; "
            f"{hot_l:.0f} L of warm and hot water a day bring {need:.1f} mol. One regeneration a "
            f"day uses {one.salt_kg:g} kg of salt. Drinking water for people is left hard.",
            subject=one.id, limit=need, sense="at_least", allowance=TIGHT,
            formula="n = hardness x hot water a day",
            inputs=(worked("V", "warm and hot water a day", round(hot_l), "L"),
                    stated("c", "hardness", hard or 0.0, "mmol/L")),
            source="definition", known="derived",
            advised=next_preferred(max(0.5, need * (1 + TIGHT))),
            advised_why="a day's hardness, next size", target=(one, "capacity_mol"),
            missing=("site.water_hardness_mmol_l",) if hard is None else (),
        )  # fmt: skip
