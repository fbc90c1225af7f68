"""The cloth laundry, worked by hand: 1000 cows milked a day of 400 and 600, a kilogram in ten
cloths, machines of 10 kg filled to 8, an hour a load with what handling takes."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from byrewright.results import Finding
from byrewright.studies.sizing import cloths
from byrewright.studies.sizing.context import StudyContext
from byrewright.studies.sizing.duty import Duty
from tests.plants import machine, rotary
from tests.studies.benches import bench_of, duty

RULES = {"cloth.dry_kg": 0.1, "cloth.load_fill": 0.8, "cloth.handling_min": 10.0,
         "cloth.hours_most": 8.0, "cloth.hours_one_out": 14.0, "cloth.kw_per_kg": 0.6,
         "cloth.water_l_kg": 12.0, "cloth.lots": 3.0, "cloth.washes_of_life": 250.0,
         "cloth.wash_c": 60.0, "cloth.hot_share": 0.5, "cloth.moisture_share": 0.5,
         "cloth.dry_kwh_per_kg_water": 1.2}  # fmt: skip
PLANT = rotary(20, 60, CW1=None, CD1=None)
DUTY = duty(PLANT)


def bench(*machines: Any, redundancy: str = "none", each: float = 2.0) -> tuple[StudyContext, Duty]:
    """A bench for a farm with these machines, and a day of 400 and 600 cows."""
    plant = PLANT.model_copy(update={
        "equipment": PLANT.equipment | {m.id: m for m in machines},
        "work": PLANT.work.model_copy(update={"cloths_a_cow": each}),
        "wishes": PLANT.wishes.model_copy(update={"redundancy": redundancy})})  # fmt: skip
    one = DUTY.milkings[0]
    day = tuple(replace(one, name=n, cows=c) for n, c in (("a", 400), ("b", 600)))
    made = replace(DUTY, milkings=day, water_coldest_c=10.0, cows_milked_day=1000)
    return bench_of(plant, RULES), made


def washer(tag: str = "CW1", count: int = 1, load_kg: float = 10.0, cycle: float = 50.0) -> Any:
    """A washer."""
    return machine(tag, "cloth_washer", count=count, load_kg=load_kg, cycle_min=cycle,
                   motor_kw=6.0, water_l_load=100.0)  # fmt: skip


def dryer(tag: str = "CD1", count: int = 1) -> Any:
    """A dryer."""
    return machine(tag, "cloth_dryer", count=count, load_kg=10.0, cycle_min=50.0, motor_kw=6.0)


def told(*machines: Any, **more: Any) -> dict[str, Finding]:
    """Findings of a laundry by key, the first of each."""
    ctx, day = bench(*machines, **more)
    cloths.size_cloths(ctx, day)
    return {f.key: f for f in reversed(ctx.notes.findings)}


def test_cloths_of_a_day_and_their_stock() -> None:
    """2000 cloths of 200 kg, 1200 of 120 kg in the larger milking; three lots are 3600: would fail
    if the stock were of a day, or the mean milking told as the largest."""
    found = told(washer())
    day, stock = found["cloths.day"], found["cloths.stock"]
    assert day.value == 2000
    assert "2000 udder cloths a day, 200 kg dry" in day.sentence
    assert "largest milking uses 1200 (120 kg)" in day.sentence
    assert stock.value == 3600 and "3 lots of 1200" in stock.sentence
    assert "used 203 times a year" in stock.sentence and "2920 wear out" in stock.sentence
    assert told(washer(), each=2.01)["cloths.stock"].value == 3650  # whole bales of 50
    assert told(washer(), each=0.0) == {}


@pytest.mark.parametrize(("redundancy", "count", "verdict", "advised"), [
    ("none", 1, "fails", 4), ("none", 3, "fails", 4), ("none", 4, "holds", 4),
    ("shared-running", 4, "holds", 4), ("shared-running", 1, "fails", 4),
])  # fmt: skip
def test_hours_of_machines_side_by_side(
    redundancy: str, count: int, verdict: str, advised: int
) -> None:
    """200 kg are 25 loads of 8 kg, each of an hour: 25, 9 or 7 h in one, three or four machines.
    Would fail if a load that is not whole were left out, or a machine out of order not asked."""
    found = told(washer(count=count), redundancy=redundancy)
    hours = found["cloths.washer_hours"]
    assert hours.value == {1: 25.0, 3: 9.0, 4: 7.0}[count]
    assert (hours.verdict == "fails") == (verdict == "fails") and hours.advised == advised
    assert ("Use 4 of this size" in hours.sentence) == (verdict == "fails")
    assert ("washers of" in hours.sentence) == (count > 1) and "for 25 loads" in hours.sentence
    out = found.get("cloths.washer_one_out")
    assert (out is None) == (redundancy == "none")
    if out is not None:
        assert out.value == (0 if count == 1 else 9.0)
        assert out.verdict == ("fails" if count == 1 else "holds")
        assert ("one washer only" in out.sentence) == (count == 1)


@pytest.mark.parametrize(("most", "verdict"), [(7.5, "tight"), (7.9, "holds"), (6.9, "fails")])
def test_hours_near_the_day(monkeypatch: pytest.MonkeyPatch, most: float, verdict: str) -> None:
    """Seven hours: would fail if a tenth to spare were called tight."""
    monkeypatch.setitem(RULES, "cloth.hours_most", most)
    assert told(washer(count=4))["cloths.washer_hours"].verdict == verdict


def test_one_out_within_a_long_day() -> None:
    """Two left of three run 13 h, one of two 25: would fail if a day with one out were held to the
    hours that are staffed."""
    for count, left, verdict in ((3, 13.0, "holds"), (2, 25.0, "fails")):
        out = told(washer(count=count), redundancy="shared-running")["cloths.washer_one_out"]
        assert (out.value, out.limit, out.verdict) == (left, 14.0, verdict)
        assert ("Use 4" in out.sentence) == (verdict == "fails")
    ctx, _ = bench(redundancy="shared-running")
    assert cloths._enough(ctx, 8.0, 10.0, 50.0) == 2  # one would do, were it never out
    assert cloths._enough(ctx, 200.0, 10.0, 50.0) == 4
    assert cloths._enough(ctx, 128.0, 10.0, 50.0) == 3  # two run eight hours, one alone sixteen
    ctx, _ = bench()
    assert cloths._enough(ctx, 8.0, 10.0, 50.0) == 1
    assert cloths._hours(ctx, 8.0, 10.0, 50.0, 1) == 1.0
    assert cloths._hours(ctx, 8.1, 10.0, 50.0, 1) == 2.0


def test_machines_of_two_tags() -> None:
    """Two of 10 and one of 16 kg hold 12 each: 200 kg are 21 loads of 9.6 kg, seven in each, of 80
    min. Would fail if machines were counted by their tags, or the faster cycle were taken."""
    found = told(washer(count=2), washer("CW2", load_kg=16.0, cycle=70.0))
    hours = found["cloths.washer_hours"]
    assert hours.value == pytest.approx(7 * 80 / 60, abs=0.005) and hours.advised is None
    assert "3 washers of 12 kg" in hours.sentence and "for 21 loads" in hours.sentence
    ctx, day = bench(washer(count=2), washer("CW2", load_kg=16.0))
    # 200 kg over 28.8 kg of all three, each time 300 L
    assert cloths.laundry_water_l_day(ctx, day) == pytest.approx(200 / 28.8 * 300)
    for none in (bench(), bench(washer(), each=0.0)):
        assert cloths.laundry_water_l_day(*none) == 0.0


def test_size_input_and_water_of_a_machine() -> None:
    """120 kg in four loads filled to 0.8 are 37.5 kg: 45 are made; 10 kg take 6 kW and 120 L. Would
    fail if a machine were sized for the day, or its input for another size."""
    found = told(washer(), dryer())
    size, kw = found["cloths.washer_size"], found["cloths.washer_input"]
    assert (size.value, size.advised) == (10.0, 45.0) and "120 kg in about 4" in size.sentence
    assert (kw.value, kw.advised) == (6.0, 6.0) and "about 6.0 kW" in kw.sentence
    assert found["cloths.washer_water"].advised == 120
    assert found["cloths.dryer_size"].advised == 45.0 and "cloths.dryer_water" not in found


def test_machines_that_are_missing(monkeypatch: pytest.MonkeyPatch) -> None:
    """Would fail if a farm with cloths and no washer were told nothing: of 45 kg and 36 filled, 200
    kg are six loads, with 50 min and 10 six hours in one."""
    ctx, day = bench()
    monkeypatch.setattr(cloths, "usually", lambda *_: 50.0)
    cloths.size_cloths(ctx, day)
    found = {f.key: f for f in ctx.notes.findings}
    for word in ("washer", "dryer"):
        assert f"no cloth {word}: add 1 of 45 kg" in found[f"cloths.{word}"].sentence
    assert "cloths.energy" not in found


def test_lots_and_heat_of_the_laundry() -> None:
    """2500 L, half of it from 10 to 60 degC, are 72.7 kWh; 100 kg of moisture at 1.2 kWh a kg 120:
    would fail if all the water were heated, or a farm that dries in the air paid for it."""
    heat = 2500 * 0.5 * 50 * 4.186 / 3600
    for machines, kwh in (((washer(), dryer()), heat + 120.0), ((washer(),), heat)):
        energy = told(*machines)["cloths.energy"]
        assert (
            energy.value == pytest.approx(kwh, rel=0.005) and "2500 L of water" in energy.sentence
        )
    ctx, day = bench(washer())
    cloths.size_cloths(ctx, day)
    (lots,) = [t for t in ctx.notes.tables if t.key == "cloths.lots"]
    assert lots.rows == (("a", 800, 80.0, 10), ("b", 1200, 120.0, 15))
    ctx, day = bench()
    cloths.size_cloths(ctx, day)
    assert [r[3] for r in ctx.notes.tables[-1].rows] == [0.0, 0.0]
