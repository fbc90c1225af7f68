"""Milk that stands, tankers that come for it and what is told of tanks, worked by hand."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import pytest

from byrewright.plant.farm import Collection
from byrewright.plant.plant import Plant
from byrewright.studies.sizing import storage, timetable
from byrewright.studies.sizing.context import StudyContext
from byrewright.studies.sizing.duty import Duty, duty_of
from byrewright.studies.sizing.sizes import next_preferred
from byrewright.studies.sizing.timetable import Timetable, _Tanks
from tests.plants import machine
from tests.studies.benches import bench_of, milked, small
from tests.studies.told import inputs


@pytest.fixture(scope="module")
def day() -> Duty:
    """The duties of 50 stalls and 620 cows: a milking of 6000 L from six to seven and one of
    600 L from nine to ten, with a mean flow of 100 L/min."""
    made = milked(duty_of(bench_of(small())), (360, 1.0, 6000.0), (540, 1.0, 600.0))
    first, second = made.milkings
    shared = (replace(first, withheld_l=60.0, milk_l=6060.0), replace(second, withheld_l=20.0,
                                                                      milk_l=620.0))  # fmt: skip
    return replace(made, milkings=shared, milk_flow_mean_l_min=100.0)


def tank(tag: str, litres: float, count: int = 1, **fields: object) -> object:
    """A milk tank."""
    return machine(tag, "bulk_tank", volume_l=litres, count=count, cooling_kw=9.0, **fields)


def standing(
    *collections: Collection, reserve_h: float = 2.0, rules: dict[str, float] | None = None,
    **changes: object,
) -> StudyContext:  # fmt: skip
    """A bench with other machines and collections; no calf takes milk."""
    plant: Plant = small(CF1=None, **changes)
    wishes = plant.wishes.model_copy(update={"reserve_h": reserve_h})
    update = {"collections": collections, "wishes": wishes}
    return bench_of(plant.model_copy(update=update), rules)


BAY = machine("TB1", "tanker_bay", load_l_min=400)
TANKS = {"TK1": tank("TK1", 4000.0), "TK2": tank("TK2", 4000.0)}


def steps(first_min: int, values: Sequence[float]) -> dict[int, float]:
    """Values of steps of five minutes from a minute of the day on."""
    return {first_min // 5 + i: v for i, v in enumerate(values)}


@pytest.mark.parametrize(("tankers", "bay", "at_eight"), [
    ((10_000.0,), BAY, (4000.0, 2000.0, 0.0)),  # 400 L/min
    ((2000.0, 4000.0), BAY, (4000.0, 2000.0, 0.0)),  # one behind the other
    ((10_000.0,), None, (2000.0, 0.0, 0.0)),  # 800 L/min, where no bay says it
])  # fmt: skip
def test_a_tanker_loads_what_stands_and_leaves(
    day: Duty, tankers: Sequence[float], bay: object, at_eight: Sequence[float]
) -> None:
    """Would fail if milk were loaded faster or slower than the bay gives it, a tanker stayed on for
    milk that is still to come, or tanks were washed when they hold milk."""
    early = milked(day, (360, 1.0, 6000.0))
    ctx = standing(*(Collection(at="08:00", tanker_l=x) for x in tankers), TB1=bay, **TANKS)
    run = timetable.run_timetable(ctx, early)
    held = steps(360, [500.0 * (i + 1) for i in range(12)]) | dict.fromkeys(range(84, 96), 6000.0)
    held |= steps(480, at_eight)
    assert run.content_l == pytest.approx([held.get(i, 0.0) for i in range(288)], abs=1e-6)
    assert run.into_l == pytest.approx([500.0 if 72 <= i < 84 else 0.0 for i in range(288)])
    assert run.visits == [(480, pytest.approx(6000.0))] * len(tankers)
    emptied = 480 + 5 * at_eight.index(0.0)
    assert run.emptied == [(emptied, 4000.0), (emptied, 4000.0)]
    assert run.grows_l == pytest.approx(0.0, abs=1e-6)


def test_a_tanker_that_stays_takes_milk_as_it_comes(
    day: Duty, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Would fail if what runs straight into a tanker were counted into tanks too, or loaded twice:
    it comes at half past six for 6000 L, when 3000 L stand."""
    monkeypatch.setattr(timetable, "loads_direct", lambda _: True)
    early = milked(day, (360, 1.0, 6000.0))
    ctx = standing(Collection(at="06:30", tanker_l=6000), TB1=BAY, **TANKS)
    run = timetable.run_timetable(ctx, early)
    held = steps(360, [500.0, 1000.0, 1500.0, 2000.0, 2500.0, 3000.0, 1000.0])
    assert run.content_l == pytest.approx([held.get(i, 0.0) for i in range(288)], abs=1e-6)
    assert run.into_l == pytest.approx([500.0 if 72 <= i < 78 else 0.0 for i in range(288)])
    assert run.emptied == [(415, 4000.0)]
    short = standing(Collection(at="06:30", tanker_l=3000), TB1=BAY, **TANKS)
    assert timetable.run_timetable(short, early).grows_l == pytest.approx(3000.0)


def test_a_tanker_leaves_when_it_has_what_stands_though_milk_goes_on_coming(day: Duty) -> None:
    """Would fail if a tanker that may not take milk as it comes waited for it: in a day that
    repeats itself 2000 L stand before, and the last of 5000 L are loaded by a quarter to seven."""
    early = milked(day, (360, 1.0, 6000.0))
    run = timetable.run_timetable(
        standing(Collection(at="06:30", tanker_l=20_000), TB1=BAY, **TANKS), early
    )
    assert run.content_l[78:85] == pytest.approx([3500, 2000, 500, 1000, 1500, 2000, 2000])
    feeds = machine("CF1", "calf_feed", count=2, volume_l=800, draw_l_milking=100)
    calves = bench_of(small(CF1=feeds))
    two = milked(day, (360, 1.0, 6000.0), (900, 1.0, 150.0))
    assert sum(timetable.inflow_l(calves, two)) == pytest.approx(5800.0)


def test_tanks_fill_one_after_another_and_the_fullest_is_loaded_first() -> None:
    """Would fail if milk ran into a full tank or into the one that is loaded, or a tank were washed
    that holds milk, or twice."""
    one = _Tanks([1000.0, 600.0])
    assert one.step(500.0, 0.0) == (0, 0.0) and one.step(500.0, 0.0) is None
    assert one.step(100.0, 0.0) == (1, 0.0) and one.step(0.0, 0.0) is None
    assert one.step(100.0, 0.0) == (1, 100.0) and one.content_l == [1000.0, 200.0]
    for left in ([600.0, 200.0], [200.0, 200.0], [0.0, 0.0]):
        assert one.step(0.0, 400.0 + 0.0) is None and one.washed() == (
            [] if left[0] else [1000.0, 600.0])  # fmt: skip
        assert one.content_l == left
    assert one.washed() == []
    other = _Tanks([1000.0, 600.0, 500.0])
    other.step(300.0, 0.0)
    assert other.step(50.0, 100.0) == (1, 0.0) and other.content_l == [200.0, 50.0, 0.0]
    # It is loaded on, though the second is fuller by its share; a pause, and the fullest is next.
    other.step(150.0, 50.0)
    other.step(0.0, 50.0)
    assert other.content_l == [100.0, 200.0, 0.0]
    other.step(0.0, 0.0)
    other.step(0.0, 50.0)
    assert other.content_l == [100.0, 150.0, 0.0]
    beside = _Tanks([1000.0, 600.0, 500.0])
    beside.step(990.0, 0.0)
    beside.step(50.0, 0.0)
    assert beside.step(50.0, 100.0) is None and beside.content_l == [890.0, 100.0, 0.0]
    full = _Tanks([100.0, 100.0, 100.0])
    for _ in range(3):
        full.step(100.0, 0.0)
    assert full.step(5.0, 0.0) is None and full.content_l == [100.0, 100.0, 105.0]
    assert _Tanks([]).step(5.0, 0.0) is None


@pytest.mark.parametrize(("reserve_h", "share", "need", "why"), [
    (2.0, 0.05, 6600.0, "the 08:00 tanker 2 h late"), (0.5, 0.0, 6100.0, "between visits"),
    (2.0, 0.5, 9150.0, "peak and 50 %"),
])  # fmt: skip
def test_unlike_tanks_are_held_to_the_hardest_of_their_needs(
    day: Duty, monkeypatch: pytest.MonkeyPatch, reserve_h: float, share: float, need: float,
    why: str,
) -> None:  # fmt: skip
    """Would fail if a late tanker were forgotten, the milk that comes meanwhile counted for another
    time, or each of three tanks advised the whole."""
    rules = {"tank.reserve_share": share}
    late = Collection(at="08:00", tanker_l=9000)
    ctx = standing(late, reserve_h=reserve_h, rules=rules, TK1=tank("TK1", 4000.0),
                   TK2=tank("TK2", 3000.0, 2))  # fmt: skip
    ctx.known["timetable"] = Timetable([0.0] * 20 + [6100.0] + [5.0] * 10,
                                       visits=[(480, 6000.0), (1300, 50.0)])  # fmt: skip
    tanks = tuple(m for m in ctx.plant.equipment.values() if m.kind == "bulk_tank")
    storage._volume(ctx, day, tanks)  # type: ignore[arg-type]
    for one in ctx.notes.findings:
        assert one.value == 10_000.0 and one.limit == pytest.approx(need) and why in one.sentence
        assert one.advised == next_preferred(1.05 * need / 3)
        assert {"V_peak": 6100.0, "t_late": reserve_h}.items() <= inputs(one).items()
    assert len(ctx.notes.findings) == 2
    series = ctx.notes.series[0]
    assert series.x == (0.0, 0.5, 1.0, 1.5, 2.0, 2.5)
    assert series.lines[0][2] == (0.0, 0.0, 0.0, 0.0, 5.0, 5.0)
    monkeypatch.setattr(storage, "loads_direct", lambda _: True)
    ctx.notes.findings.clear()
    direct = replace(day, milk_flow_mean_l_min=200.0)  # an hour of it until the next tanker
    storage._volume(ctx, direct, tanks)  # type: ignore[arg-type]
    assert ctx.notes.findings[0].limit == max(need, 12_000.0)


@pytest.mark.parametrize(("grows", "count", "verdict"), [
    (1.5, 1, "unknown"), (0.5, 1, "holds"), (0.0, 0, "fails"),
])  # fmt: skip
def test_milk_that_heaps_up_and_milk_without_a_tank(
    day: Duty, grows: float, count: int, verdict: str
) -> None:
    """Would fail if a tank were judged that no size makes large enough, or none passed."""
    ctx = standing(Collection(at="08:00", tanker_l=9000), reserve_h=0.0)
    ctx.known["timetable"] = Timetable([900.0], visits=[], grows_l=grows)
    storage._volume(ctx, day, tuple([tank("TK1", 4000.0)] * count))  # type: ignore[arg-type]
    (one,) = ctx.notes.findings
    assert one.verdict == verdict and one.value == 4000.0 * count
    assert one.limit == (pytest.approx(990.0) if verdict != "unknown" else None)


def test_what_tankers_take_is_by_their_days(day: Duty) -> None:
    """Would fail if a tanker of every second day counted for each, or milk that heaps up were told
    without advice."""
    for litres, short in ((12_000.0, True), (13_200.0, False)):
        ctx = standing(Collection(at="08:00", tanker_l=litres, every_days=2))
        storage._collections(ctx, day)
        (one,) = ctx.notes.findings
        assert (one.value, one.limit) == (litres / 2, pytest.approx(6600.0))
        assert ("another visit" in one.sentence) == short
        assert inputs(one)["tanker"] == litres


@pytest.mark.parametrize(("little", "from_l", "limit", "says"), [
    ("waits", 700.0, 700.0, "neither stirred nor cooled"),
    ("cooled_still", 700.0, 600.0, "cooled slowly"),
    ("cooled_still", 400.0, 400.0, ""), ("waits", 600.0, 600.0, ""),
])  # fmt: skip
def test_the_smallest_milking_and_the_agitator(
    day: Duty, little: str, from_l: float, limit: float, says: str
) -> None:
    """Would fail if milk that no agitator reaches were told as stirred, or stirred milk not."""
    one = tank("TK1", 4000.0, stirred_from_l=from_l, little_milk=little)
    ctx = standing()
    storage._first_milking(ctx, day, (one,))  # type: ignore[arg-type]
    (told,) = ctx.notes.findings
    assert (told.value, told.limit) == (600.0, limit) and inputs(told)["V"] == 4000.0
    assert says in told.sentence and (says != "" or told.sentence.endswith("on."))
    assert "between tankers" not in told.sentence


@pytest.mark.parametrize(("direct", "extra", "busy", "words"), [
    (False, {"TK2": tank("TK2", 2000.0, 2)}, 50, "another tank: up to 5000 L comes in and there is "
     "room for 4000 L"),
    (True, {}, 50, "the tanker directly: up to 5000 L comes in."),
    (True, {"TB1": None}, 45, "the tanker directly: up to 4500 L comes in."),
])  # fmt: skip
def test_where_milk_goes_while_a_tank_is_washed(
    day: Duty, monkeypatch: pytest.MonkeyPatch, direct: bool, extra: dict[str, object], busy: int,
    words: str,
) -> None:  # fmt: skip
    """Would fail if the time of a wash (40 min) and of loading the largest tank were told wrongly,
    or the room that the others have."""
    monkeypatch.setattr(storage, "loads_direct", lambda _: direct)
    ctx = standing(**({"TB1": BAY, "TK1": tank("TK1", 4000.0)} | extra))
    tanks = tuple(m for t, m in ctx.plant.equipment.items() if t in {"TK1", *extra} - {"TB1"})
    storage._while_washed(ctx, day, tanks)  # type: ignore[arg-type]
    (told,) = ctx.notes.findings
    assert f"({busy} min)" in told.sentence and words in told.sentence
    assert told.value == (3.0 if "TK2" in extra else 1.0) and told.limit is None


@pytest.mark.parametrize(("visits", "pause", "verdict"), [
    # 2000 L at 400 L/min from eight on: free from 08:05 to nine.
    ([(480, 2000.0)], 55.0, "holds"), ([(480, 2000.0), (500, 4000.0)], 55.0, "holds"),
    ([(480, 2000.0), (481, 99_000.0)], 55.0, "holds"), ([(490, 4000.0)], 40.0, "tight"),
    ([(500, 4000.0)], 30.0, "fails"),
])  # fmt: skip
def test_the_only_tank_is_washed_in_the_longest_pause(
    day: Duty, visits: list[tuple[int, float]], pause: float, verdict: str
) -> None:
    """Would fail if the pause were counted from before the tanker has loaded, or the shortest of
    several taken: one is enough."""
    ctx = standing(TB1=BAY)
    ctx.known["timetable"] = Timetable(visits=visits)
    storage._while_washed(ctx, day, (tank("TK1", 4000.0),))  # type: ignore[arg-type]
    (told,) = ctx.notes.findings
    assert (told.value, told.limit, told.verdict) == (pause, 40.0, verdict)
    assert ("Move the collection" in told.sentence) == (verdict == "fails")
    assert [(r.figure, r.to) for r in told.remedies] == [("count", 2.0)] * (verdict == "fails")


def test_withheld_milk_of_the_largest_milking(day: Duty) -> None:
    """Would fail if unlike vessels were counted as one, or held to the lesser of two milkings."""
    vessels = {"WM1": machine("WM1", "withheld_vessel", volume_l=40),
               "WM2": machine("WM2", "withheld_vessel", volume_l=15, count=2)}  # fmt: skip
    ctx = standing(**vessels)
    storage._withheld(ctx, day)
    for one in ctx.notes.findings:
        assert (one.value, one.limit) == (70.0, 60.0)
        assert one.advised == next_preferred(1.2 * 60 / 3) and "hold 70 L" in one.sentence
    assert len(ctx.notes.findings) == 2
    none = milked(day, (360, 1.0, 6000.0))
    for bare, told in ((standing(WM1=None), 0), (standing(), 1)):
        storage._withheld(bare, none)
        assert [f.advised for f in bare.notes.findings] == [10.0] * told


@pytest.mark.parametrize(("tanks", "direct", "lacks"), [
    (True, False, False), (False, True, False), (False, False, True),
])  # fmt: skip
def test_a_plant_stores_milk_or_loads_it(day: Duty, tanks: bool, direct: bool, lacks: bool) -> None:
    """Would fail if a plant without a tank passed whose bay takes no milk from the cooler."""
    gone = {} if tanks else {"TK1": None, "TK2": None}
    ctx = standing(TB1=machine("TB1", "tanker_bay", direct=direct), **gone)
    storage.size_storage(ctx, day)
    assert any(f.key == "storage.tank" for f in ctx.notes.findings) == lacks
