"""Storage: the timetable conserves milk; tanks, washing and withheld milk."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from byrewright.plant.farm import Collection
from byrewright.plant.plant import Plant
from byrewright.plant.roles import StoresMilk
from byrewright.studies.sizing.duty import duty_of
from byrewright.studies.sizing.storage import size_storage
from byrewright.studies.sizing.timetable import inflow_l, run_timetable
from tests.plants import machine, rows
from tests.studies.benches import bench_of, large, sized, small

LITRE = 1.0
"""A litre in tens of thousands: steps of five minutes."""


def collected(plant: Plant, *collections: Collection) -> Plant:
    """The same plant with another timetable."""
    return plant.model_copy(update={"collections": collections})


def test_inflow_is_saleable_milk_less_the_calves() -> None:
    """Withheld or calf milk would fill the tank."""
    plant = small(CF1=machine("CF1", "calf_feed", volume_l=800, draw_l_milking=250))
    ctx = bench_of(plant)
    duties = duty_of(ctx)
    assert sum(inflow_l(ctx, duties)) == pytest.approx(duties.saleable_l_day - 2 * 250)


@given(
    at=st.lists(st.integers(0, 23), min_size=1, max_size=3, unique=True),
    every=st.integers(1, 3),
    tanker=st.floats(30_000, 60_000),
)
@settings(max_examples=20, deadline=None)
def test_the_timetable_conserves_milk(at: list[int], every: int, tanker: float) -> None:
    """Milk would appear or vanish between milking and tanker."""
    plant = collected(
        rows(40, 300),
        *(Collection(at=f"{h:02d}:00", tanker_l=tanker, every_days=every) for h in at),
    )
    ctx = bench_of(plant)
    duties = duty_of(ctx)
    table = run_timetable(ctx, duties)
    day = sum(inflow_l(ctx, duties))
    assert min(table.content_l) >= -LITRE
    assert table.grows_l <= LITRE
    assert max(table.content_l) <= every * day + LITRE


def test_a_tank_empties_at_the_rate_of_the_bay() -> None:
    """A tank would be empty the moment the tanker comes, and be washed while milk is in it; or a
    second tanker, come while the first loads, would take nothing."""
    plant = rows(40, 900)
    bay = machine("TB1", "tanker_bay", direct=False, load_l_min=400)
    plant = plant.model_copy(update={"equipment": {**plant.equipment, "TB1": bay}})
    half = sum(inflow_l(ctx := bench_of(plant), duty_of(ctx))) / 2
    loads = [Collection(at=at, tanker_l=half + 3000) for at in ("13:00", "13:05")]
    ctx = bench_of(collected(plant, *loads))
    found = run_timetable(ctx, duty_of(ctx))
    stood = found.visits[0][1]
    assert stood > half + 3000, "the first alone would do"
    assert [at for at, _ in found.emptied] == [pytest.approx(13 * 60 + stood / 400, abs=5.0)]


def test_every_other_day_doubles_what_stands() -> None:
    """Collection every second day would be sized as daily."""
    plant = rows(40, 300)
    daily = collected(plant, Collection(at="11:00", tanker_l=28000))
    second = collected(plant, Collection(at="11:00", tanker_l=28000, every_days=2))
    peaks = []
    for one in (daily, second):
        ctx = bench_of(one)
        peaks.append(max(run_timetable(ctx, duty_of(ctx)).content_l))
    assert peaks[1] == pytest.approx(2 * peaks[0], rel=0.02)


def test_two_articulated_loads_take_58_m3() -> None:
    """Two loads of 29 m3 a day would not be matched by about 58 m3 of milk (common practice)."""
    plant = large(CF1=None)
    loads = (Collection(at="06:00", tanker_l=29000), Collection(at="18:00", tanker_l=29000))
    herd = plant.herd.model_copy(update={"groups": (), "cows": 1920, "yield_l_day": 30.0})
    found = sized(collected(plant.model_copy(update={"herd": herd}), *loads), size_storage)
    one = found.finding("storage.collections")
    assert one.verdict in ("holds", "tight") and one.margin is not None and one.margin < 0.02


def test_too_few_tankers_fail_and_volume_is_unknown() -> None:
    """Milk that heaps up would be given a tank."""
    result = sized(large(), size_storage)
    assert result.finding("storage.collections").verdict == "fails"
    assert result.finding("storage.volume").verdict == "unknown"


def test_the_advised_tanks_hold_a_late_tanker() -> None:
    """The wished reserve would not be in the advised tanks."""
    small_tank = machine("TK1", "bulk_tank", volume_l=3000, cooling_kw=40)
    poor = sized(
        rows(40, 300).model_copy(
            update={"equipment": {**rows(40, 300).equipment, "TK1": small_tank}}
        ),
        size_storage,
    )
    found = poor.finding("storage.volume")
    assert found.verdict == "fails" and "12 h late" in found.sentence
    assert found.advised is not None and found.limit is not None and found.advised > found.limit


def test_a_tank_takes_over_while_tankers_change() -> None:
    """Where a tanker stands at every milking, a tank of no volume would be advised."""
    ctx = bench_of(large(TB1=machine("TB1", "tanker_bay", direct=True)))
    duty = duty_of(ctx)
    all_day = [Collection(at=f"{h:02d}:00", tanker_l=60_000) for h in (0, 6, 12, 18)]
    ctx = bench_of(collected(ctx.plant, *all_day))
    assert max(run_timetable(ctx, duty).content_l) == 0.0
    wishes = ctx.plant.wishes.model_copy(update={"reserve_h": 0.0})
    never_late = collected(ctx.plant, *all_day).model_copy(update={"wishes": wishes})
    found = sized(never_late, size_storage).finding("storage.volume")
    assert found.limit == pytest.approx(60.0 * duty.milk_flow_mean_l_min)
    assert found.advised is not None and found.advised * len(ctx.plant.machines(StoresMilk)) >= (
        found.limit or 0.0
    )


def test_direct_loading_leaves_little_to_store() -> None:
    """With tankers swapped at the bay a silo would be sized for the whole day."""
    plant = large()
    loads = tuple(Collection(at=f"{h:02d}:00", tanker_l=29000) for h in (0, 8, 16))
    direct = collected(plant, *loads)
    parked = machine("TB1", "tanker_bay", direct=False)
    indirect = direct.model_copy(update={"equipment": {**plant.equipment, "TB1": parked}})
    peaks = []
    for one in (direct, indirect):
        ctx = bench_of(one)
        peaks.append(max(run_timetable(ctx, duty_of(ctx)).content_l))
    assert peaks[0] < 0.2 * peaks[1]


def test_a_tank_has_room_over_all_that_stands_in_it() -> None:
    """A tank would be filled to the brim, or sized for what stands in it at its emptiest."""
    for share in (0.5, 0.9):
        found = sized(small(), size_storage, rules={"tank.reserve_share": share})
        peak_l = max(run_timetable(ctx := bench_of(small()), duty_of(ctx)).content_l)
        assert found.finding("storage.volume").limit == pytest.approx(peak_l * (1 + share), abs=1.0)


def test_tankers_come_on_their_days() -> None:
    """A tanker of every day and one of every second would come at other hours, or on one day."""
    daily, second = Collection(at="11:00", tanker_l=28000), Collection(at="20:00", tanker_l=28000,
                                                                       every_days=2)  # fmt: skip
    plant = collected(small(TB1=machine("TB1", "tanker_bay", direct=False)), daily, second)
    visits = run_timetable(ctx := bench_of(plant), duty_of(ctx)).visits
    assert [minute for minute, _ in visits] == [11 * 60, 20 * 60, 24 * 60 + 11 * 60]


def test_the_only_tank_needs_a_pause() -> None:
    """A collection in the middle of milking would leave no time to wash the only tank."""
    tanker = Collection(at="06:00", tanker_l=28000)
    plant = collected(rows(40, 900), tanker)
    bay = machine("TB1", "tanker_bay", direct=False)
    busy = plant.model_copy(update={"equipment": {**plant.equipment, "TB1": bay}})
    assert sized(busy, size_storage).finding("storage.while_washed").verdict == "fails"
    noon = Collection(at="11:00", tanker_l=28000)
    free = sized(collected(busy, noon), size_storage).finding("storage.while_washed").value
    ((_, content_l),) = run_timetable(ctx := bench_of(collected(busy, noon)), duty_of(ctx)).visits
    volume_l = next(t.volume_l for t in busy.machines(StoresMilk))
    loads_min = min(content_l, volume_l) / bay.load_l_min  # type: ignore[attr-defined]
    assert free == pytest.approx(5.5 * 60 - loads_min, abs=5.0)  # until milk comes again at 16:30


def test_withheld_milk_has_its_own_vessel() -> None:
    """Withheld milk would have nowhere to go but the tank."""
    assert sized(small(WM1=None), size_storage).finding("storage.withheld").verdict == "fails"
    little = machine("WM1", "withheld_vessel", volume_l=30)
    found = sized(small(WM1=little), size_storage).finding("storage.withheld")
    assert found.verdict == "fails" and found.advised is not None


def test_what_a_large_herd_withholds_can_be_had() -> None:
    """Would fail if a herd with 160 cows withheld at 15 L a milking were refused for the vessel
    that it is told to have."""
    many = tuple(g.model_copy(update={"withheld_cows": 40}) for g in small().herd.groups)
    herd = small().herd.model_copy(update={"yield_l_day": 30.0, "groups": many})
    large = small().model_copy(update={"herd": herd})
    advised = sized(large, size_storage).finding("storage.withheld").advised
    assert advised is not None and advised > 2000
    assert machine("WM1", "withheld_vessel", volume_l=advised)


def test_no_collections_is_unknown() -> None:
    """Tanks would be sized for a tanker nobody named."""
    assert sized(collected(small()), size_storage).finding("storage.collections").missing
