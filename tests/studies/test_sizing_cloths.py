"""Cloths: counts, machines with one out, none where no cloths are used."""

from __future__ import annotations

import pytest

from byrewright.plant.farm import Work
from byrewright.studies.sizing.cloths import _loads, cloth_day, size_cloths
from tests.plants import machine
from tests.studies.benches import bench_of, duty, large, sized, small


def test_cloths_a_day() -> None:
    """620 cows twice a day at 1.2 cloths is 1488; the mass follows the rulebook."""
    plant = small()
    day = cloth_day(bench_of(plant), duty(plant))
    assert day.cloths == pytest.approx(1488)
    assert day.kg == pytest.approx(1488 * bench_of(plant).number("cloth.dry_kg"))


def test_none_used_nothing_said() -> None:
    """A farm that uses paper gets findings of a laundry it does not need."""
    plant = small().model_copy(update={"work": Work(cloths_a_cow=0)})
    assert not sized(plant, size_cloths).findings


def test_missing_dryer_fails() -> None:
    """Cloths are used, there is no dryer, and nobody says so."""
    result = sized(small(CD1=None), size_cloths)
    assert result.finding("cloths.dryer").verdict == "fails"


def test_loads_are_of_the_mean_machine() -> None:
    """Loads are counted as if all machines held what one of them does."""
    washers = [machine("CW1", "cloth_washer", load_kg=18, motor_kw=12, count=2),
               machine("CW2", "cloth_washer", load_kg=36, motor_kw=20)]  # fmt: skip
    ctx = bench_of(small(), {"cloth.load_fill": 0.75})
    assert _loads(ctx, 24 * 0.75 * 10, washers) == 10  # type: ignore[arg-type]


@pytest.mark.parametrize("one_out_h", [8.0, 16.0])
def test_advised_count_holds_with_one_out(one_out_h: float) -> None:
    """The advised number of washers does not carry the day with one out of order."""
    rules = {"cloth.hours_one_out": one_out_h}
    first = sized(large(), size_cloths, rules=rules).finding("cloths.washer_hours")
    assert first.verdict == "fails" and first.target == ("CW1", "count")
    more = machine("CW1", "cloth_washer", load_kg=18, motor_kw=12, count=int(first.advised or 0))
    again = sized(large(CW1=more), size_cloths, rules=rules)
    assert again.finding("cloths.washer_hours").verdict in ("holds", "tight")
    assert again.finding("cloths.washer_one_out").verdict in ("holds", "tight")
