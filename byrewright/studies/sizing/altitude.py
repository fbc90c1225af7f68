"""Ratings wanted at the site's altitude: thin air takes a share of them."""

from __future__ import annotations

from byrewright.physics.altitude import cold_share, engine_share, motor_share
from byrewright.studies.sizing.context import Bench


def motor_kw(bench: Bench, shaft_kw: float) -> float:
    """The motor rating that gives a shaft power here."""
    return shaft_kw / _told(bench, "motors", motor_share(_altitude(bench), bench.rules))


def generator_kva(bench: Bench, kva: float) -> float:
    """The set's rating that carries a load here."""
    return kva / _told(bench, "generators", engine_share(_altitude(bench), bench.rules))


def plate_duty_kw(bench: Bench, cold_kw: float) -> float:
    """The data-plate duty of refrigeration that makes so much cold here."""
    return cold_kw / _told(
        bench, "air-cooled refrigeration", cold_share(_altitude(bench), bench.rules)
    )


def _altitude(bench: Bench) -> float:
    return bench.plant.site.altitude_m


def _told(bench: Bench, what: str, share: float) -> float:
    if share < 0.995:
        meaning = f"rating that {what} give at {_altitude(bench):.0f} m"
        if all(a.meaning != meaning for a in bench.notes.assumptions):
            why = "thin air; the data plate or the supplier decides"
            bench.assume("site", meaning, round(share, 3), "", why)
    return share
