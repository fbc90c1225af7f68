"""Thin air: motors, the standby set and refrigeration are rated larger at altitude."""

from __future__ import annotations

import pytest

from byrewright.physics.altitude import cold_share, engine_share, motor_share
from byrewright.studies.sizing import size
from tests.studies.failing import SMALL, example

HIGH_M = 3000.0
TABLE = ((1500, 0.97), (2000, 0.94), (2500, 0.90), (3000, 0.86), (3500, 0.82))
"""Motor ratings at the upper ends of altitude bands, as tables of trade give them."""


def test_motors_lose_no_less_than_the_tables_say() -> None:
    """A motor picked by its plate would run hot at altitude."""
    for altitude_m, share in TABLE:
        assert share - 0.02 <= motor_share(altitude_m) <= share + 0.005


def test_ratings_follow_the_altitude() -> None:
    """A farm at 3000 m would get sea-level motors, standby set and refrigeration."""
    plant = example(SMALL)
    site = plant.site.model_copy(update={"altitude_m": HIGH_M})
    low, high = size(plant), size(plant.model_copy(update={"site": site}))
    for name, share in (
        ("air.motor@AC1", motor_share(HIGH_M)), ("power.generator@GE1", engine_share(HIGH_M)),
        ("cooling.ice.duty@IB1", cold_share(HIGH_M)),
    ):  # fmt: skip
        before, after = low.finding(name).limit, high.finding(name).limit
        assert before is not None
        assert after is not None
        assert after == pytest.approx(before / share, rel=0.05), name
        put_in = {i.symbol: i.value for i in high.finding(name).inputs}
        assert put_in["f_alt"] == pytest.approx(share, abs=1e-4), name
        assert "/ f_alt" in high.finding(name).formula, name
        assert "At 3000 m" in high.finding(name).sentence, name
        assert "f_alt" not in low.finding(name).formula, name
    told = [a.meaning for a in high.assumptions if "at 3000 m" in a.meaning]
    assert len(told) == 3  # and none at 210 m
    assert not [a for a in low.assumptions if "of its rating that" in a.meaning]


def test_no_limit_is_derated_without_a_word() -> None:
    """A wanted motor would be a tenth more than its formula gives, and nothing would say why."""
    plant = example(SMALL)
    site = plant.site.model_copy(update={"altitude_m": HIGH_M})
    low, high = size(plant), size(plant.model_copy(update={"site": site}))
    silent = [
        f.name
        for f in high.findings
        if (".motor" in f.key or ".duty" in f.key or f.key == "power.generator")
        and f.limit
        and (f.limit / (low.finding(f.name).limit or 1.0)) > 1.02
        and not {i.symbol for i in f.inputs} & {"f_alt", "H"}
    ]
    assert silent == []
