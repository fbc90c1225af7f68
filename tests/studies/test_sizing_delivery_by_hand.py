"""Pipes, filters, balance tank and calf milk behind the milk pumps, worked by hand."""

from __future__ import annotations

from dataclasses import replace
from math import ceil, pi, sqrt

import pytest

from byrewright.plant.roles import BalancesMilk, JoinsDeck, MovesMilk
from byrewright.standards.pipes import ASME_BPE, ISO_2037
from byrewright.studies.sizing import delivery
from byrewright.studies.sizing.context import StudyContext
from byrewright.studies.sizing.duty import Duty, duty_of
from byrewright.studies.sizing.network import Asked
from byrewright.studies.sizing.sizes import next_preferred
from tests.plants import machine
from tests.studies.benches import bench_of, milked, sized, small
from tests.studies.told import inputs


@pytest.fixture(scope="module")
def day() -> Duty:
    """A day of 200 L/min at the peak, 120 on the mean and 150 behind the balance tank; milkings of
    200 cows and 400 cows an hour."""
    made = milked(duty_of(bench_of(small())), (360, 2.0, 6000.0), (960, 1.5, 4000.0))
    first, second = made.milkings
    return replace(made, milk_flow_peak_l_min=200.0, milk_flow_mean_l_min=120.0,
                   milk_flow_met_l_min=150.0, net_cows_h=400.0,
                   milkings=(replace(first, cows=200), replace(second, cows=180)))  # fmt: skip


def metres_a_second(l_min: float, bore_mm: float) -> float:
    """Velocity in a full pipe."""
    return l_min / 60_000 / (pi / 4 * (bore_mm / 1000) ** 2)


@pytest.mark.parametrize("region", ["EU", "US-California"])
@pytest.mark.parametrize(("flow", "wash"), [(40.0, 60.0), (160.0, 100.0), (160.0, 900.0),
                                            (3000.0, 100.0)])  # fmt: skip
def test_the_largest_tube_that_the_wash_scours_or_the_least_for_milk(
    flow: float, wash: float, region: str
) -> None:
    """Would fail if a line were advised that the wash does not fill at 1.5 m/s though a smaller
    carries the milk, milk ran faster than 1.2 m/s for want of a tube, or a tube were not sold."""
    site = small().site.model_copy(update={"region": region})
    ctx = bench_of(small().model_copy(update={"site": site}))
    advised = delivery._advised_bore_mm(ctx, flow, wash)
    bores = sorted(t.bore_mm for t in (ISO_2037 if region == "EU" else ASME_BPE))
    milk = [b for b in bores if metres_a_second(flow, b) <= 1.2 and b >= 34.0]
    scoured = [b for b in bores if metres_a_second(wash, b) >= 1.5]
    assert advised == max([*milk[:1], *scoured] if milk else bores)


@pytest.mark.parametrize(("bore_mm", "advised"), [(None, 97.6), (40.0, 97.6)])
def test_the_gland_is_judged_by_the_velocity_in_it(
    day: Duty, bore_mm: float | None, advised: float
) -> None:
    """Would fail if a gland without a stated bore were told with none that suits, or one of 40 mm
    passed."""
    gland = machine("GL1", "rotary_gland", bore_mm=bore_mm)
    assert isinstance(gland, JoinsDeck)
    ctx = bench_of(small())
    delivery._gland(ctx, gland, 200.0, 700.0)
    (told,) = ctx.notes.findings
    speed = None if bore_mm is None else pytest.approx(metres_a_second(200.0, bore_mm))
    assert (told.value, told.limit, told.advised) == (speed, 1.8, advised)
    assert told.verdict == ("unknown" if bore_mm is None else "fails")
    d = next(i.value for i in told.inputs if i.symbol == "d")
    assert d == (bore_mm or "not stated")
    assert (f"{advised:g} mm would carry 200 L/min" in told.sentence) == (bore_mm is None)


def test_every_gland_that_milk_passes_is_told() -> None:
    """Would fail if what flows through a machine were not found by its tag."""
    gland = machine("GL1", "rotary_gland", bore_mm=40)
    found = sized(small(GL1=gland), delivery.size_delivery).finding("delivery.gland.bore")
    peak = duty_of(bench_of(small())).milk_flow_peak_l_min
    assert found.value == pytest.approx(metres_a_second(peak, 40.0), rel=0.01)


ASKED = Asked("MP1", "milking", "TK1", 100.0, 0.07, 1.0, 2.0, 42.0, 5.07, 3.0, "RC1", 1030.0, 2.0,
              {}, 1.0, {})  # fmt: skip


@pytest.mark.parametrize(("rise_m", "vacuum_kpa", "lift_m", "expected"), [
    (0.07, 42.0, 2.0, 0.07), (0.04, 42.0, 2.0, 2.04), (0.04, 0.0, 2.0, 0.04),
    (0.04, 42.0, 0.0, 0.04), (-1.0, 42.0, 2.0, 1.0),
])  # fmt: skip
def test_each_mode_in_which_a_pump_runs_asks_its_flow_and_its_lift(
    monkeypatch: pytest.MonkeyPatch, rise_m: float, vacuum_kpa: float, lift_m: float,
    expected: float,
) -> None:  # fmt: skip
    """Would fail if a pump were held to a mode in which it stands, to the wash's flow in milking,
    or to the site's lift where its pipes state one."""
    plant = small()
    site = plant.site.model_copy(update={"lift_m": lift_m})
    ctx = bench_of(plant.model_copy(update={"site": site}))
    seen = {}

    def asked(_: StudyContext, tag: str, mode: str, l_min: float) -> Asked:
        seen[mode] = l_min
        return replace(ASKED, rise_m=rise_m, vacuum_kpa=vacuum_kpa, mode=mode)

    monkeypatch.setattr(delivery, "asked", asked)
    pump = plant.equipment["MP1"]
    assert isinstance(pump, MovesMilk)
    every = delivery._asked_of(ctx, pump, 100.0, 300.0)
    milking = dict.fromkeys(("milking", "second_tank"), 100.0)
    assert seen == {**milking, "wash": 300.0}
    for one in every:
        assert one.rise_m == pytest.approx(expected)
        assert one.head_m == pytest.approx(5.07 + expected - rise_m)
    seen.clear()
    assert len(delivery._asked_of(ctx, pump, 100.0, 0.0)) == 2 and "wash" not in seen
    still = plant.modes["wash"].model_copy(update={"positions": {"MP1": "stopped"}})
    stands = bench_of(plant.model_copy(update={"modes": {**plant.modes, "wash": still}}))
    seen.clear()
    delivery._asked_of(stands, pump, 100.0, 300.0)
    assert "wash" not in seen


@pytest.mark.parametrize(("head_m", "advised"), [(2.0, 6.0), (9.2, 11.0), (20.0, 22.0)])
def test_head_is_advised_with_a_tenth_more(head_m: float, advised: float) -> None:
    """Would fail if a pump were advised with less head than its hardest mode takes, or with less
    than sanitary pumps have."""
    ctx = bench_of(small())
    pump = ctx.plant.equipment["MP1"]
    assert isinstance(pump, MovesMilk)
    delivery._head(ctx, pump, [replace(ASKED, head_m=head_m)])
    (told,) = ctx.notes.findings
    assert (told.value, told.limit, told.advised) == (15.0, head_m, advised)
    i = inputs(told)
    assert (i["q"], i["dp_machines"], i["p_vacuum"], i["rho"]) == (100.0, 2.0, 42.0, 1030.0)


@pytest.mark.parametrize(("running", "other_sock", "words", "remedies", "limit"), [
    ((True, True), 100, "2 a milking of 200 cows. The twin", 0, None),
    ((True, False), 100, "2 a milking of 200 cows. One filter must", 2, 2.0),
    ((False, False), 90, "3 a milking of 200 cows. One filter must", 2, 2.0),
    ((True, False), 200, "1 a milking of 200 cows.", 0, None),
])  # fmt: skip
def test_unlike_filters_by_the_lesser_sock_and_each_by_its_area(
    day: Duty, running: tuple[bool, bool], other_sock: int, words: str, remedies: int,
    limit: float | None,
) -> None:  # fmt: skip
    """Would fail if the larger of two socks counted, a change in the middle of milking went
    unsaid, or a filter's area were not the flow over its speed."""
    pair = {
        tag: machine(tag, "milk_filter", area_m2=area, cows_a_sock=sock, while_running=runs)
        for tag, area, sock, runs in (
            ("MF1", 0.3, 250, running[0]), ("MF2", 0.02, other_sock, running[1])
        )
    }  # fmt: skip
    ctx = bench_of(small(**pair))
    delivery._filters(ctx, day)
    areas = [f for f in ctx.notes.findings if f.key == "delivery.filter.area"]
    for one, area in zip(areas, (0.3, 0.02), strict=True):
        assert one.limit == pytest.approx(0.150 / 60 / 0.10)
        assert one.advised == next_preferred(0.150 / 60 / 0.02)
        assert f"{0.150 / 60 / area:.3f} m/s" in one.sentence and one.value == area
    told = next(f for f in ctx.notes.findings if f.key == "delivery.filter.change")
    assert told.value == pytest.approx(other_sock / 400) and words in told.sentence
    assert (len(told.remedies), told.limit) == (remedies, limit)
    assert (told.sense == "informational") == (limit is None)
    assert told.sentence.endswith("cows.") == (words.endswith("cows."))
    little = bench_of(small())
    delivery._filters(little, replace(day, milk_flow_met_l_min=6.0))
    assert little.notes.findings[0].advised == 0.05


def test_one_filter_that_is_changed_while_running_is_no_twin(day: Duty) -> None:
    """Would fail if a single filter passed for a pair."""
    one = machine("MF1", "milk_filter", area_m2=0.3, cows_a_sock=100, while_running=True)
    ctx = bench_of(small(MF1=one, MF2=None))
    delivery._filters(ctx, day)
    assert "One filter must" in ctx.notes.findings[-1].sentence


@pytest.mark.parametrize(("volume", "level", "free", "usual"), [
    (600.0, 250.0, 350.0, 180.0), (1000.0, None, 700.0, None), (400.0, 390.0, 10.0, 120.0),
])  # fmt: skip
def test_a_balance_tank_takes_a_peak_and_a_change_of_pumps(
    day: Duty, volume: float, level: float | None, free: float, usual: float | None
) -> None:
    """Would fail if room were counted under its level, or three minutes of 110 L/min over the mean
    and two of the mean were not both taken."""
    tank = machine("BT1", "balance_tank", volume_l=volume, led_at_l=level)
    assert isinstance(tank, BalancesMilk)
    ctx = bench_of(small())
    delivery._balance_tank(ctx, replace(day, milk_flow_peak_l_min=230.0), tank)
    first, *second = ctx.notes.findings
    assert (first.value, first.limit) == (free, 3 * 110.0 + 2 * 120.0)
    assert first.advised == next_preferred(1.05 * 570 / 0.7)
    assert inputs(first) == {"q_peak": 230.0, "q_mean": 120.0, "t_peak": 3.0, "t_change": 2.0}
    assert [(f.value, f.advised, f.limit) for f in second] == (
        [(level, usual, 2 * usual)] if usual else []
    )


@pytest.mark.parametrize(("draw", "least", "flow", "advised", "words"), [
    (300.0, 4000.0, 150.0, 400.0, "2.0 min of the flow and 7.5 % of the smallest milking's 4000 L"),
    (15.0, 4000.0, 150.0, 20.0, "0.1 min of the flow and 0.4 % of"),
    (300.0, 0.0, 0.0, 400.0, "all there is; no milk"),
])  # fmt: skip
def test_calf_milk_by_its_draw(
    day: Duty, draw: float, least: float, flow: float, advised: float, words: str
) -> None:
    """Would fail if the draw were told as another part of the milking, or against its largest."""
    first, second = day.milkings
    made = replace(day, milk_flow_met_l_min=flow,
                   milkings=(first, replace(second, milk_l=least)))  # fmt: skip
    ctx = bench_of(small(CF1=machine("CF1", "calf_feed", volume_l=800, draw_l_milking=draw)))
    delivery._calf_milk(ctx, made)
    vessel, taken = ctx.notes.findings
    assert (vessel.value, vessel.limit, vessel.advised) == (800.0, draw, advised)
    assert (taken.value, taken.limit) == (draw, least) and words in taken.sentence


def test_tubes_by_hand() -> None:
    """Would fail if a fixed line were offered under its least tube, or a tube of the other side of
    the ocean."""
    bore_mm = 1000 * sqrt(4 * 0.160 / 60 / pi / 1.2)
    for tubes, least in ((ISO_2037, 35.6), (ASME_BPE, 34.8)):
        wide = min(t.bore_mm for t in tubes if t.bore_mm >= bore_mm)
        asked = [delivery.tube_for(q, 1.2, tubes) for q in (1.0, 160.0, 99_000.0)]
        assert asked == [least, wide, tubes[-1].bore_mm]
    assert ceil(bore_mm) == 54
