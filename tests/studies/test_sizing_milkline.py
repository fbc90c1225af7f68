"""Milkline: honest about the standard's table; the stand-in behaves."""

from __future__ import annotations

from byrewright.plant.kinds.milk import Milkline
from byrewright.standards.milkline_table import UnitsPerSlope
from byrewright.standards.rulebook import Rulebook
from byrewright.studies.sizing import size
from byrewright.studies.sizing.milkline import size_milkline, slopes_of
from tests.plants import machine
from tests.studies.benches import bench_of, large, sized, small


def test_the_standards_table_is_unknown() -> None:
    """A made-up table would judge a plant."""
    found = sized(large(), size_milkline).finding("milkline.units_per_slope")
    assert found.verdict == "unknown" and found.limit is None
    assert "not validated" in found.sentence and "milkline_table.yaml" in found.sentence


def test_a_licensed_users_table_judges() -> None:
    """A table that a licensed user enters would be ignored."""
    line = large().equipment["ML1"]
    assert isinstance(line, Milkline)
    layout = "looped" if line.looped else "dead_ended"
    for entered, verdict in ((30.0, "holds"), (10.0, "fails")):
        table = UnitsPerSlope({layout: {line.bore_mm: {line.slope_pct: entered}}})
        result = size(large(), Rulebook(None, table))
        assert result.finding("milkline.units_per_slope").verdict == verdict


def test_slopes_follow_receivers_and_loop() -> None:
    """Two receivers on a loop would not make four slopes."""
    bench = bench_of(small())
    line = bench.plant.equipment["ML1"]
    assert slopes_of(bench, line) == 4  # type: ignore[arg-type]
    dead = machine("ML1", "milkline", bore_mm=73, slope_pct=1, length_m=40, looped=False)
    assert slopes_of(bench_of(small(ML1=dead)), dead) == 2  # type: ignore[arg-type]


def test_large_rotaries_are_advised_a_large_bore() -> None:
    """The stand-in alone would advise 48 mm to a large rotary, against all practice (73-98 mm)."""
    for plant in (small(), large()):
        assert sized(plant, size_milkline).finding("milkline.stratified").advised in (73.0, 98.0)


def test_a_narrow_flat_line_fails() -> None:
    """A milkline far too small would pass."""
    line = machine("ML1", "milkline", bore_mm=38, slope_pct=0.3, length_m=60)
    result = sized(large(ML1=line), size_milkline)
    assert result.finding("milkline.slope").verdict == "fails"
    assert result.finding("milkline.stratified").verdict == "fails"


def test_no_milkline_is_named() -> None:
    """A plant without a milkline would be sized in silence."""
    assert sized(small(ML1=None), size_milkline).worst() == "fails"
