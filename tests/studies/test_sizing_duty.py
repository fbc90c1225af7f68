"""The plant's duties against worked examples and by their own laws."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from byrewright.plant.farm import Group, Herd, Milking, MilkOutTime
from byrewright.plant.plant import Plant
from byrewright.plant.roles import StandsCows
from byrewright.studies.sizing import duty
from byrewright.studies.sizing.duty import Duty, duty_of, evened_of
from tests.plants import machine, rotary, rows
from tests.studies.benches import bench_of, large, small
from tests.studies.failing import LARGE, ROWS, example

PUBLISHED_DIGITS = 0.006
"""Worked figures are given to two decimals."""
ROUNDING = 1e-9
"""Sums of the same numbers in another order."""


def duties(plant: Plant) -> Duty:
    """The duties of a plant."""
    return duty_of(bench_of(plant))


def edwards(stalls: int, turn_s: float, entry: float, stop_pct: float = 0.0) -> Plant:
    """A rotary with the published milk-out times (Edwards and others 2012: 383 and 129 s)."""
    plant = rotary(
        stalls,
        PF1=machine(
            "PF1", "platform", stalls=stalls, turn_s=turn_s, entry_stalls=entry,
            stop_share_pct=stop_pct,
        ),
    )  # fmt: skip
    herd = plant.herd.model_copy(update={"milk_out_time_s": MilkOutTime(mean=383, std_dev=129)})
    alike = tuple(m.model_copy(update={"share": 0.5}) for m in plant.milkings)
    return plant.model_copy(update={"herd": herd, "milkings": alike})


def test_worked_rotary_of_60_stalls() -> None:
    """The per-cow go-round form would be wrong (60 stalls, 600 s, 55 usable: g 0.10243, 326.45)."""
    got = duties(edwards(60, 600, 5))
    assert got.available_s == pytest.approx(550)
    assert got.gross_cows_h == pytest.approx(360)
    assert got.go_round_share == pytest.approx(0.10243, abs=1e-5)
    assert got.net_cows_h == pytest.approx(326.45, abs=PUBLISHED_DIGITS)


@pytest.mark.parametrize(("stalls", "gross"), [(40, 266.7), (60, 400.0)])
def test_gross_of_a_nine_minute_turn(stalls: int, gross: float) -> None:
    """The identity 3600 N / T would differ from the NZ levy body's table (9 min turn)."""
    assert duties(edwards(stalls, 540, 5)).gross_cows_h == pytest.approx(gross, abs=0.05)


def test_stops_take_their_share() -> None:
    """Stopped time would not lengthen a milking."""
    free, stopped = duties(edwards(60, 600, 5)), duties(edwards(60, 600, 5, 5.0))
    assert stopped.net_cows_h == pytest.approx(0.95 * free.net_cows_h)


def test_a_milking_time_limit_ends_go_rounds() -> None:
    """Cows cut off within one turn would still be counted twice."""
    plant = edwards(60, 600, 5)
    removal = machine("AR1", "automatic_removal", count=60, milking_time_limit_s=500)
    cut = plant.model_copy(update={"equipment": {**plant.equipment, "AR1": removal}})
    assert duties(cut).go_round_share == 0.0


def test_milk_of_the_day_is_the_herds() -> None:
    """Milk would be lost or made between milkings."""
    got = duties(rotary(50, 620, milkings=3, withheld=10, yield_l_day=31.0))
    assert got.milk_l_day == pytest.approx(620 * 31.0)
    assert got.withheld_l_day == pytest.approx(10 * 31.0)
    assert sum(m.share for m in got.milkings) == pytest.approx(1.0)


@given(
    cows=st.lists(st.integers(10, 800), min_size=1, max_size=5),
    yields=st.lists(st.floats(5, 60), min_size=5, max_size=5),
    starts=st.lists(st.integers(0, 1439), min_size=2, max_size=4, unique=True),
)
@settings(max_examples=25, deadline=None)
def test_groups_share_their_own_milk(
    cows: list[int], yields: list[float], starts: list[int]
) -> None:
    """A group milked at some milkings only would give less or more than its yield."""
    groups = tuple(Group(name=f"g{i}", cows=n, yield_l_day=yields[i]) for i, n in enumerate(cows))
    base = rotary(50)
    names = [g.name for g in groups]
    milkings = tuple(
        Milking(name=f"m{i}", start=f"{s // 60:02d}:{s % 60:02d}", target_h=8,
                groups=tuple(names if i < 2 else names[:1]))
        for i, s in enumerate(starts)
    )  # fmt: skip
    herd = Herd(cows=sum(cows), yield_l_day=30, groups=groups)
    got = duties(base.model_copy(update={"herd": herd, "milkings": milkings}))
    expected = sum(n * y for n, y in zip(cows, yields, strict=False))
    assert got.milk_l_day == pytest.approx(expected, rel=ROUNDING)


def test_peak_is_mean_times_the_factor() -> None:
    """The one-minute peak would not follow the rulebook."""
    plant = rotary(84, 2600, milkings=3)
    got = duty_of(bench_of(plant, {"milkline.peak_factor": 1.3}))
    assert got.milk_flow_peak_l_min == pytest.approx(1.3 * got.milk_flow_mean_l_min)
    assert got.milk_flow_mean_l_min == pytest.approx(got.net_cows_h * got.milk_l_cow / 60)


def test_rows_are_set_by_their_slowest_cow() -> None:
    """A row of 20 would be taken to finish with its mean cow."""
    got = duties(rows(40, 300))
    plant = rows(40, 300)
    assert got.layout == "rows"
    assert (
        got.available_s > plant.herd.milk_out_time_s.mean + 2 * plant.herd.milk_out_time_s.std_dev
    )
    assert got.go_round_share == 0.0


def test_a_row_milks_at_its_peak_together() -> None:
    """A row's pumps and lines would be sized for a flow spread over the hour (hand calculation)."""
    got = duties(rows(40, 300))
    one_row = 20 * 4.25 / 1.03
    assert one_row < got.milk_flow_peak_l_min < 2 * one_row
    assert got.milk_flow_peak_l_min > 1.45 * got.milk_flow_mean_l_min


def test_vessels_even_the_milk_by_the_levels_that_lead_their_pumps(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Coolers would be sized for slugs of milk smaller, or evened out longer, than the plant's."""
    monkeypatch.setattr(duty, "pumped_l_min", lambda *_: 0.0)  # four pumps at their rated 150 L/min
    got = evened_of(bench_of(small()))
    # Two receivers of 120 L: stop 15, start 60, full speed from 80 L on. Tank of 600 L held at
    # 250 L: stop 62.5, full speed from 500 L on; each pump runs at a quarter or more.
    assert got.burst_kg == pytest.approx(2 * 45 * 1.03)
    assert got.burst_kg_min == pytest.approx(2 * 150 * 45 / 65 * 1.03)
    assert got.lag_s == pytest.approx(437.5 / 300 * 60)
    assert got.least_kg_min == pytest.approx(0.25 * 150 * 1.03)


def test_vacuum_without_a_regulator_is_an_assumption() -> None:
    """A number nobody stated would pass unseen."""
    ctx = bench_of(rotary(50, RG1=None))
    assert duty_of(ctx).working_vacuum_kpa == 42.0
    assert any(a.meaning == "working vacuum" for a in ctx.notes.assumptions)


def test_no_milkings_is_said_plainly() -> None:
    """A plant with no milkings would end in a division by zero."""
    with pytest.raises(ValueError, match="no milkings"):
        duties(rotary(50).model_copy(update={"milkings": ()}))


@pytest.mark.parametrize("plant", [small(), large(), rows(), example(LARGE), example(ROWS)])
def test_figures_of_a_duty_belong_together(plant: Plant) -> None:
    """Would fail if a mean, a gap, a share or a month of the duty were of another milking, or a
    pace of another deck."""
    ctx = bench_of(plant)
    one = duty_of(ctx)
    number = ctx.number
    (deck,) = plant.machines(StandsCows)
    rotary = deck.layout == "rotary"
    assert one.gross_cows_h == pytest.approx(3600 * one.stalls / one.turn_s)
    assert one.stall_s * one.stalls == pytest.approx(one.turn_s)
    shadow = 1 + number("milking.go_round_shadow")
    runs = 1 - deck.stop_share_pct / 100
    assert one.net_cows_h == pytest.approx(
        one.gross_cows_h / (1 + shadow * (one.passes - 1)) * runs
    )
    if rotary:
        on = deck.stalls - deck.entry_stalls
        assert one.turn_s == deck.turn_s
        assert one.available_s == pytest.approx(deck.turn_s * on / deck.stalls)
        assert one.attach_interval_s == pytest.approx(deck.turn_s / deck.stalls)
        share = min(1.0, one.milk_out.mean_s / deck.turn_s)
        assert one.units_on == pytest.approx(one.units * share)
    else:
        assert one.go_round_share == 0.0 and one.units_on == one.units
        assert one.turn_s == pytest.approx(deck.turn_s + one.available_s)
        assert one.attach_interval_s == pytest.approx(one.routine_s / one.operators)
        least = deck.stalls * one.routine_s / one.operators - deck.turn_s
        assert one.available_s >= max(least, one.milk_out.mean_s) - 1e-9
    most_l = max(m.milk_l_cow for m in one.milkings)
    assert one.milk_l_cow == most_l == pytest.approx(max(m.milk_l / m.cows for m in one.milkings))
    assert one.milk_flow_mean_l_min == pytest.approx(one.net_cows_h * most_l / 60)
    peak = max([number("milkline.peak_factor") * one.milk_flow_mean_l_min,
                *(m.busiest_l_min for m in one.milkings)])  # fmt: skip
    assert one.milk_flow_peak_l_min == pytest.approx(peak)
    assert one.peak_factor * one.milk_flow_mean_l_min == pytest.approx(peak)
    assert one.milk_flow_met_l_min >= one.milk_flow_mean_l_min
    assert sum(m.share for m in one.milkings) == pytest.approx(1.0)
    assert sum(m.milk_l for m in one.milkings) == pytest.approx(one.milk_l_day)
    assert sum(m.saleable_l for m in one.milkings) == pytest.approx(one.saleable_l_day)
    assert one.withheld_share == pytest.approx(one.withheld_l_day / one.milk_l_day)
    gaps = [m.gap_after_min for m in one.milkings]
    around = sum(60 * m.hours + m.gap_after_min for m in one.milkings)
    assert around == pytest.approx(1440)
    washed = [m.gap_after_min for m in one.milkings if m.washed_after]
    assert one.longest_gap_min == max(gaps) and one.wash_gap_min == min(washed)
    assert one.milking_h_day == pytest.approx(sum(m.hours for m in one.milkings))
    water = plant.site.water_temperature_c
    assert (one.water_warmest_c, one.water_coldest_c) == (max(water), min(water))
    assert water[one.water_warmest_month - 1] == max(water)
    assert one.labour_cows_h * one.routine_s == pytest.approx(3600 * one.operators)
    assert one.operators == max(m.operators for m in plant.milkings)
