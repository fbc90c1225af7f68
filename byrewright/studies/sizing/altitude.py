"""Ratings wanted at the site's altitude: thin air takes a share of them."""

from __future__ import annotations

from byrewright.physics.altitude import cold_share, engine_share, motor_share
from byrewright.studies.sizing.context import StudyContext


def motor_kw(ctx: StudyContext, shaft_kw: float) -> float:
    """The motor rating that gives a shaft power here."""
    return shaft_kw / _told(ctx, "motors", motor_share(_altitude(ctx), ctx.rules))


def generator_kva(ctx: StudyContext, kva: float) -> float:
    """The set's rating that carries a load here."""
    return kva / _told(ctx, "generators", engine_share(_altitude(ctx), ctx.rules))


def plate_duty_kw(ctx: StudyContext, cold_kw: float) -> float:
    """The data-plate duty of refrigeration that makes so much cold here."""
    return cold_kw / _told(ctx, "air-cooled refrigeration", cold_share(_altitude(ctx), ctx.rules))


def _altitude(ctx: StudyContext) -> float:
    return ctx.plant.site.altitude_m


def _told(ctx: StudyContext, what: str, share: float) -> float:
    if share < 0.995:
        meaning = f"rating that {what} give at {_altitude(ctx):.0f} m"
        if all(a.meaning != meaning for a in ctx.notes.assumptions):
            why = "thin air; the data plate or the supplier decides"
            ctx.assume("site", meaning, round(share, 3), "", why)
    return share
