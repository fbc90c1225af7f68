"""Chilled liquid: its freezing, the milk's wall, content and growth, worked by hand."""

from __future__ import annotations

import importlib
from math import pi
from types import SimpleNamespace
from typing import Any

import pytest

from byrewright.plant.primitives import ColdStore
from byrewright.plant.roles import MakesCold
from byrewright.studies.sizing import coolant
from byrewright.studies.sizing.context import StudyContext
from byrewright.studies.sizing.sizes import next_preferred
from tests.plants import machine, pipe
from tests.studies.benches import bench_of, small
from tests.studies.told import inputs

InLine = importlib.import_module("byrewright.studies.sizing.in_line").InLine


def circuit(*chillers: Any, rules: dict[str, float] | None = None, **more: Any) -> StudyContext:
    """A bench with chillers, of which the first is joined to the cooler by 2 x 50 m of 80 mm."""
    cooler = machine("PC1", "plate_cooler", area_m2=6, chilled_area_m2=8)
    plant = small(**{"PC1": cooler, **{c.id: c for c in chillers}, **more})
    first = chillers[0].id
    ring = (pipe("LC1", f"{first}.coolant_out", "PC1.coolant_in", 80.0, 50.0),
            pipe("LC2", "PC1.coolant_out", f"{first}.coolant_in", 80.0, 50.0))  # fmt: skip
    return bench_of(plant.model_copy(update={"pipes": plant.pipes + ring}), rules)


def chiller(tag: str = "CH1", duty_kw: float = 80.0, **fields: Any) -> Any:
    """A chiller of water at half a degree with a quarter of glycol."""
    return machine(tag, "chiller", duty_kw=duty_kw, **{
        "leaving_c": 0.5, "glycol_pct": 25.0, **fields})  # fmt: skip


def litres_of(*chillers: Any) -> float:
    """What chillers hold."""
    return sum(b.litres for c in chillers for b in c.lower() if isinstance(b, ColdStore))


@pytest.mark.parametrize(("count", "volume"), [(0, 0.0), (1, 300.0), (2, 200.0)])
def test_content_for_the_least_run_of_the_largest_chiller(count: int, volume: float) -> None:
    """Would fail if content were asked for the smaller of two chillers, at full load, or each of
    two buffers advised what both must hold: 80 kW / 2 x 5 min over 4 K."""
    two = (chiller(), chiller("CH2", 30.0))
    buffers = (
        {"CB1": machine("CB1", "coolant_buffer", volume_l=volume, count=count)} if count else {}
    )
    ctx = circuit(*two, **buffers)
    coolant._content(ctx, list(two))
    (told,) = ctx.notes.findings
    has = litres_of(*two) + 2 * pi / 4 * 0.8**2 * 500 + count * volume
    kj_l_k = 3.9
    need = 0.5 * 80 * 300 / (kj_l_k * 4)
    assert told.value == pytest.approx(has) and told.limit == pytest.approx(need, rel=0.03)
    assert ("A buffer, or" in told.sentence) == (has < (told.limit or 0.0))
    if count:
        lacks = 1.05 * (told.limit or 0.0) - (has - count * volume)
        assert told.advised == next_preferred(max(50.0, lacks / count))
    else:
        assert told.advised is None


@pytest.mark.parametrize("count", [1, 2])
def test_growth_by_density_and_room_between_two_pressures(
    monkeypatch: pytest.MonkeyPatch, count: int
) -> None:
    """Would fail if a vessel filled up to the relief pressure (nine tenths are used), or each of
    two were advised the whole: 40 L of growth, 1.5 to 0.9 x 3 bar over ambient."""
    seen: list[Any] = []
    monkeypatch.setattr(coolant, "expansion_l", lambda *given: seen.append(given) or 40.0)
    vessel = machine(
        "EV1", "expansion_vessel", volume_l=80, count=count, precharge_bar=1.5, relief_bar=3.0
    )
    ctx = circuit(chiller(), EV1=vessel)
    coolant._expansion(ctx)
    (told,) = ctx.notes.findings
    need = 40 / (1 - (1.5 + 1.013) / (0.9 * 3 + 1.013))
    assert told.value == 80.0 * count and told.limit == pytest.approx(need, rel=0.01)
    assert told.advised == next_preferred(1.05 * (told.limit or 0.0) / count)
    content = litres_of(chiller()) + 2 * pi / 4 * 0.8**2 * 500
    assert seen[0][0] == pytest.approx(content) and seen[0][1:] == (25.0, 0.5, 30.0)
    bare = circuit(chiller())
    coolant._expansion(bare)
    assert bare.notes.findings[0].verdict == "unknown" and "grows by 40 L" in (
        bare.notes.findings[0].sentence)  # fmt: skip


@pytest.mark.parametrize(("glycol", "verdict", "words"), [
    (25.0, "fails", "of propylene glycol is needed"), (40.0, "holds", "freezes at"),
    (None, "unknown", "Its share is not stated"),
])  # fmt: skip
def test_liquid_that_freezes_in_its_evaporator(
    glycol: float | None, verdict: str, words: str
) -> None:
    """Would fail if a liquid passed that freezes 5 K above what evaporates 5 K under it: -12 degC
    for one that leaves at -2."""
    one = chiller(leaving_c=-2.0, glycol_pct=glycol)
    ctx = circuit(one)
    coolant._freezes(ctx, one)
    (told,) = ctx.notes.findings
    assert told.limit == -12.0 and told.verdict == verdict and words in told.sentence
    assert ("is needed" in told.sentence) == (verdict == "fails")
    assert "evaporates near -7 degC" in told.sentence


@pytest.mark.parametrize(("liquid_c", "wall", "verdict", "words"), [
    (1.0, 1.0, "holds", ""), (1.0, -0.2, "tight", ""), (1.0, 0.0, "holds", ""),
    (-2.0, 0.5, "tight", "Milk that stands"), (1.0, -1.0, "fails", "It freezes on to the plate"),
    (-2.0, -1.0, "fails", "It freezes on to the plate"),
])  # fmt: skip
def test_the_coldest_wall_that_milk_meets(
    monkeypatch: pytest.MonkeyPatch, liquid_c: float, wall: float, verdict: str, words: str
) -> None:
    """Would fail if milk that stands against liquid colder than it freezes at were told as safe,
    or a wall half a kelvin over that (-0.52 degC) as well clear of it."""
    monkeypatch.setattr(coolant, "wall_c", lambda *_: wall)
    second = SimpleNamespace(hot_out_c=4.0)
    point = InLine(1.0, 1.0, 1, 18.0, 18.0, 4.0, None, liquid_c, None, second)
    ctx = circuit(chiller())
    coolant._milk_wall(ctx, point, "PC1")
    (told,) = ctx.notes.findings
    assert (told.value, told.limit, told.verdict) == (wall, -0.52, verdict)
    assert words in told.sentence and (words != "" or told.sentence.endswith("-0.52 degC."))
    assert inputs(told)["T_milk"] == 4.0 and inputs(told)["T_liquid"] == liquid_c
    for lacking in (InLine(1.0, 1.0, 1, 18.0, 18.0, 4.0, None, liquid_c, None, None),
                    InLine(1.0, 1.0, 1, 18.0, 18.0, 4.0, None, None, None, second)):  # fmt: skip
        quiet = circuit(chiller())
        coolant._milk_wall(quiet, lacking, "PC1")
        assert not quiet.notes.findings


def test_the_plate_is_judged_where_milk_leaves_coldest(monkeypatch: pytest.MonkeyPatch) -> None:
    """Would fail if the warmer of two plates were judged, or an ice bank's content for a run."""
    judged: list[str] = []
    monkeypatch.setattr(coolant, "_milk_wall", lambda _, __, tag: judged.append(tag))
    points = {
        tag: InLine(1.0, 1.0, 1, 18.0, 18.0, out_c, None, 1.0, None, second)
        for tag, out_c, second in (("A", 6.0, 1), ("B", 4.0, 1), ("C", 2.0, None))
    }
    bank = machine("IB1", "ice_bank", store_kwh=90, duty_kw=9)
    ctx = circuit(bank)
    coolant.judge_coolant(ctx, SimpleNamespace(each=points))  # type: ignore[arg-type]
    assert judged == ["B"] and not ctx.notes.findings
    assert [m.id for m in ctx.plant.machines(MakesCold) if m.cold().store_kwh] == ["IB1"]
    unlike = circuit(chiller(), chiller("CH2", glycol_pct=40.0))
    coolant._one_liquid(unlike)
    alike = circuit(chiller(), chiller("CH2"))
    coolant._one_liquid(alike)
    assert len(unlike.notes.notes) == 1 and not alike.notes.notes
