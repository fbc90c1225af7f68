"""The programme of a day against one written apart, in sizing and in the simulated day."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchmarks.peer import RHO, due_l
from byrewright.engine import shape as sh
from byrewright.engine.draws import Herd as Drawn
from byrewright.engine.draws import milked_share
from byrewright.plant.farm import WASH_WORDS, Cleaning, Group, Herd, Milking, clock
from byrewright.plant.plant import Plant
from byrewright.plant.programme import WashKind, milkings_of, programme_of, wash_kinds
from byrewright.standards.rulebook import Rulebook, default_rulebook
from byrewright.studies.sizing.duty import duty_of
from tests import plants
from tests.engine.test_engine_basics import compiled_day
from tests.studies.benches import bench_of

ROUNDING = 1e-9
EVEN_COWS = {"milking.kick_off_share": 0.0}
A_DAY = 0.001  # share of the day's milk: the last drops before removal


@st.composite
def farms(draw: st.DrawFn) -> tuple[Herd, tuple[Milking, ...]]:
    """A herd in groups and its milkings; each group takes part in one at least."""
    names = [f"g{i}" for i in range(draw(st.integers(1, 4)))]
    count = draw(st.integers(1, 5))
    starts = draw(st.lists(st.integers(0, 95), min_size=count, max_size=count, unique=True))
    part = [draw(st.sets(st.sampled_from(names), min_size=1)) for _ in starts]
    part[0] |= set(names) - set().union(*part)
    shares = draw(st.booleans())
    milkings = tuple(
        Milking(name=f"m{i}", start=clock(15 * at), target_h=1, groups=tuple(sorted(part[i])),
                share=draw(st.floats(0.05, 1)) if shares else None)
        for i, at in enumerate(starts)
    )  # fmt: skip
    groups = tuple(
        Group(name=n, cows=draw(st.integers(5, 30)), withheld_cows=draw(st.integers(0, 5)),
              yield_l_day=draw(st.none() | st.floats(5, 60)))
        for n in names
    )  # fmt: skip
    cows = sum(g.cows for g in groups)
    return Herd(cows=cows, yield_l_day=30, yield_std_dev=0.0, groups=groups), milkings


def with_farm(herd: Herd, milkings: tuple[Milking, ...]) -> Plant:
    """A small rotary with that herd."""
    plant = plants.rotary(24, 120, turn_s=24 * 8.0)
    return plant.model_copy(update={"herd": herd, "milkings": milkings})


@given(farms())
@settings(max_examples=60, deadline=None)
def test_every_group_gives_its_day_where_it_takes_part(
    farm: tuple[Herd, tuple[Milking, ...]],
) -> None:
    """Would fail if milk were shared by milkings in which a group takes no part."""
    plant = with_farm(*farm)
    due = due_l(plant)
    for one in milkings_of(*farm):
        for part in one.parts:
            assert part.litres_cow == pytest.approx(due[one.name, part.name], rel=ROUNDING)
    day_l = sum(g.cows * (g.yield_l_day or 30) for g in farm[0].groups)
    assert programme_of(plant, default_rulebook()).milk_l_day == pytest.approx(day_l)


def test_sizing_and_the_day_give_the_same_milk() -> None:
    """Four milkings of which some groups take part: sizing gave 11,610 L a day, the day 4,696 L."""
    names = ("fresh", "high", "low")
    groups = tuple(Group(name=n, cows=c, yield_l_day=y)
                   for n, c, y in zip(names, (20, 40, 30), (38, 34, 22), strict=True))  # fmt: skip
    herd = Herd(cows=90, yield_l_day=31, yield_std_dev=0.2, groups=groups)
    starts = (("05:00", names), ("11:00", names[:1]), ("16:00", names), ("21:30", names[:2]))
    milkings = tuple(Milking(name=s, start=s, target_h=1, groups=g) for s, g in starts)
    plant = with_farm(herd, milkings)
    duty = duty_of(bench_of(plant))
    due = due_l(plant)
    assert duty.milk_l_day == pytest.approx(20 * 38 + 40 * 34 + 30 * 22)
    compiled, day = compiled_day(plant, Rulebook(EVEN_COWS))
    drawn = Drawn(plant, compiled, default_rulebook(), seed=1)
    given_kg = 0.0
    for rank, one in enumerate(programme_of(plant, default_rulebook()).milkings):
        table = drawn.milking(0, one.place)
        cows = day.cows[rank, : day.count[rank]]
        want = [due[one.name, p.name] * drawn.factor[i] * RHO
                for p in one.parts for i in range(*drawn.first[p.group : p.group + 2])]  # fmt: skip
        on_s = table[:, sh.C_ON_S] - table[:, sh.C_LAG]
        fall = default_rulebook().number("milking.fall_share")
        share = milked_share(on_s, table[:, sh.C_FLOW_S], table[:, sh.C_RISE], fall)
        # What a cow gives until the unit comes off.
        assert table[:, sh.C_KG] * share == pytest.approx(want, rel=0.01)
        assert cows[:, sh.C_KG] == pytest.approx(table[:, sh.C_KG], rel=ROUNDING)
        given_kg += sum(want)
    assert given_kg / RHO == pytest.approx(duty.milk_l_day, rel=0.1)  # chance of 90 cows


def test_a_step_is_the_same_whatever_it_is_called() -> None:
    """Would fail if "main wash" and "detergent" were read as other steps than the hot wash."""
    rules, plant = default_rulebook(), plants.rotary(24, 120)
    for word in ("main wash", "detergent", "Hot_Wash", "caustic", "Alkaline wash"):
        clean = Cleaning(steps=("rinse", word, "rinse"))
        wash = programme_of(plant.model_copy(update={"cleaning": clean}), rules).wash
        assert [s.kind for s in wash.steps] == [
            WashKind.WARM_RINSE, WashKind.ALKALINE, WashKind.COLD_RINSE,
        ]  # fmt: skip
        assert wash.steps[1].at_c == clean.hot_c and wash.steps[1].strength > 0


def test_every_known_word_is_a_step() -> None:
    """Would fail if a word were accepted in the file that the programme does not know."""
    assert all(wash_kinds((word,)) for word in WASH_WORDS)


def test_washes_follow_the_milkings_with_time_after_them() -> None:
    """Two washes for three milkings: the one with the shortest gap after it goes without."""
    herd = Herd(cows=60, yield_l_day=30)
    starts = ("04:00", "12:00", "17:00")
    milkings = tuple(Milking(name=s, start=s, target_h=2) for s in starts)
    washed = {m.name: m.washed_after for m in milkings_of(herd, milkings, 2)}
    assert washed == {"04:00": True, "12:00": False, "17:00": True}
