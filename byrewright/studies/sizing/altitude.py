"""Ratings wanted at the site's altitude: thin air takes a share of them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from byrewright.physics.altitude import cold_share, engine_share, motor_share
from byrewright.results import Input
from byrewright.standards.rulebook import Rulebook
from byrewright.studies.sizing.context import StudyContext

TOLD_BELOW = 0.995
"""Share of its rating below which a sentence says that a machine is derated."""


@dataclass(frozen=True, slots=True)
class Derating:
    """The share of its rating that a machine gives here, as formula, inputs and sentences tell it
    (nothing on low ground)."""

    share: float
    inputs: tuple[Input, ...] = ()
    over: str = ""
    """What stands behind the formula of the power that is needed."""
    words: str = ""

    def rating(self, needed: float) -> float:
        """The rating that gives so much here."""
        return needed / self.share


def motors(ctx: StudyContext) -> Derating:
    """Of motors: how much of a rating in kW comes at the shaft."""
    return _derating(ctx, "motors", "a motor gives", motor_share)


def generators(ctx: StudyContext) -> Derating:
    """Of a standby set."""
    return _derating(ctx, "generators", "a set gives", engine_share)


def plates(ctx: StudyContext) -> Derating:
    """Of air-cooled refrigeration: how much of a data-plate duty is made."""
    return _derating(ctx, "air-cooled refrigeration", "air-cooled refrigeration makes", cold_share)


def plate_duty_kw(ctx: StudyContext, cold_kw: float) -> float:
    """The data-plate duty of refrigeration that makes so much cold here."""
    return plates(ctx).rating(cold_kw)


def _derating(
    ctx: StudyContext, what: str, gives: str, share_of: Callable[[float, Rulebook], float]
) -> Derating:
    high = ctx.plant.site.altitude_m
    share = share_of(high, ctx.rules)
    if share >= 1.0:
        return Derating(share)
    meaning = f"share of its rating that {gives} at {high:.0f} m"
    if all(a.meaning != meaning for a in ctx.notes.assumptions):
        why = "thin air; the data plate or the supplier decides"
        ctx.assume("site", meaning, round(share, 3), "", why)
    told = Input("f_alt", meaning, round(share, 4), "", "practice (common_practice)")
    words = f" At {high:.0f} m {gives} {100 * share:.0f} % of its rating."
    return Derating(share, (told,), " / f_alt", words if share < TOLD_BELOW else "")
