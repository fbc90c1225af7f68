"""Traces whose truth is known: made from a formula, with noise, dropouts and coarse sampling."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from byrewright.physics.airflow import pulsation_phases_ms
from byrewright.traces.hidden import detergent, hunting, slugs, stirs
from byrewright.traces.level import dips, let_in, level, share_within
from byrewright.traces.milk import cow_milkings, herd_figures
from byrewright.traces.pulsation import limping_points, pulsation
from byrewright.traces.temperature import above_s, cooling_kw, fillings, stages
from byrewright.traces.trace import Trace, TraceUnfit, trace
from byrewright.traces.work import running

PHASE_MS = 4.0
"""Phases of a chamber with 0.3 kPa of noise: a fortieth of the tightest limit, 150 ms."""
STEP_SHARE = 0.4
"""Of a sample's step, where the sampling keeps time with the pulsator and nothing is gained."""
RISE_MS, FALL_MS = 55.0, 45.0


def chamber(rate: float, ratio: float, vacuum: float, *, hz: float = 100.0, seconds: float = 40.0,
            noise: float = 0.0, start: float = 0.0, seed: int = 1,
            fall_ms: float = FALL_MS) -> Trace:  # fmt: skip
    """Chamber vacuum that follows its pulsator exponentially."""
    t = start + np.arange(round(seconds * hz)) / hz
    cycle = 60.0 / rate
    at, on = np.mod(t - 0.123, cycle), cycle * ratio / 100.0
    reached = vacuum * (1.0 - np.exp(-on / (RISE_MS / 1000)))
    x = np.where(
        at < on,
        vacuum * (1.0 - np.exp(-at / (RISE_MS / 1000))),
        reached * np.exp(-(at - on) / (fall_ms / 1000)),
    )
    return trace(t, x + np.random.default_rng(seed).normal(0.0, noise, t.size))


@settings(max_examples=25)
@given(
    rate=st.floats(50.0, 70.0), ratio=st.floats(55.0, 72.0), vacuum=st.floats(36.0, 50.0),
    hz=st.sampled_from([50.0, 100.0, 250.0]), noise=st.floats(0.0, 0.3), start=st.floats(0.0, 1e6),
    seed=st.integers(0, 9),
)  # fmt: skip
def test_phases_are_those_the_chamber_was_made_with(
    rate: float, ratio: float, vacuum: float, hz: float, noise: float, start: float, seed: int
) -> None:
    """A good pulsator would be condemned, or a bad one passed, by how it was sampled."""
    found = pulsation(chamber(rate, ratio, vacuum, hz=hz, noise=noise, start=start, seed=seed))
    true = pulsation_phases_ms(rate, ratio, vacuum, RISE_MS, FALL_MS)
    told = (found.a_ms, found.b_ms, found.c_ms, found.d_ms)
    assert told == pytest.approx(true, abs=max(PHASE_MS, STEP_SHARE * 1000 / hz))
    assert found.rate_per_min == pytest.approx(rate, rel=1e-3)
    assert sum(told) == pytest.approx(found.cycle_ms)
    assert found.ratio_pct == pytest.approx(100 * (true[0] + true[1]) / sum(true), abs=1.0)


def test_a_worn_valve_shows_in_its_phase_and_halves_limp() -> None:
    """A leaking pulsator or one that limps would pass unseen."""
    sound, limps = pulsation(chamber(60, 65, 42, noise=0.2)), pulsation(chamber(60, 58, 42))
    assert limping_points(sound, limps) == pytest.approx(7.0, abs=0.5)
    assert limps.d_ms - sound.d_ms == pytest.approx(70.0, abs=2 * PHASE_MS)


def test_a_valve_that_shuts_slowly_has_a_short_phase_d() -> None:
    """A dirty valve, whose fall reaches into the next cycle, would be called a coarse reading."""
    found = pulsation(chamber(60, 65, 42, noise=0.1, fall_ms=100.0))
    rest_ms = 350.0 - 100.0 * np.log(42.0 / 4.0) + RISE_MS * np.log(42.0 / 38.0)
    assert found.d_ms == pytest.approx(rest_ms, abs=2 * PHASE_MS)


def test_dropouts_cost_cycles_and_change_nothing_else() -> None:
    """One lost second would be read as a slow pulsator."""
    whole = chamber(60, 65, 42)
    x = whole.x.copy()
    x[500:560] = np.nan
    x[2000:2300] = np.nan
    cut = trace(whole.t_s, x)
    assert cut.dropped == 360
    one, other = pulsation(whole), pulsation(cut)
    assert other.cycles < one.cycles
    assert other.rate_per_min == pytest.approx(one.rate_per_min, abs=0.01)
    assert (other.b_ms, other.d_ms) == pytest.approx((one.b_ms, one.d_ms), abs=PHASE_MS)


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        (lambda: chamber(60, 65, 42, hz=10), "every 100 ms"),
        (lambda: chamber(60, 65, 42, seconds=3), "5 are needed"),
        (lambda: trace(np.arange(4000) / 100, 42 + 0.1 * np.sin(np.arange(4000))), "no pulsation"),
        (lambda: trace(np.array([0.0, 1.0, 0.5]), np.ones(3)), "goes back by 0.5 s"),
        (lambda: trace(np.array([0.0, 1.0, 1.0]), np.ones(3)), "stands still after sample 2"),
        (lambda: trace(np.arange(3.0), np.full(3, np.nan)), "no number"),
    ],
)
def test_what_is_no_pulsation_is_said_so(wrong, said: str) -> None:
    """A line vacuum taken for a chamber, or a jumping clock, would give a rate and phases."""
    with pytest.raises(TraceUnfit, match=said):
        pulsation(wrong())


def regulated(*, noise: float = 0.0, hz: float = 50.0) -> Trace:
    """42 kPa; with air from 20 to 40 s it falls to 40.6, settles at 41.2, then peaks at 42.5."""
    t = np.arange(round(70 * hz)) / hz
    x = np.full(t.size, 42.0)
    held = (t >= 20) & (t < 40)
    x[held] = 41.2
    x[(t >= 20.5) & (t < 22.0)] = 40.6
    x[(t >= 40.5) & (t < 42.0)] = 42.5
    return trace(t, x + np.random.default_rng(3).normal(0, noise, t.size))


@pytest.mark.parametrize("noise", [0.0, 0.05])
def test_regulation_figures_of_a_marked_let_in(noise: float) -> None:
    """Undershoot would be told from the level before, or an overshoot be lost."""
    found = let_in(regulated(noise=noise), 20.0, 40.0)
    assert found.before_kpa == pytest.approx(42.0, abs=0.03)
    assert found.drop_kpa == pytest.approx(1.4, abs=0.08)
    assert found.undershoot_kpa == pytest.approx(0.6, abs=0.08)
    assert found.overshoot_kpa == pytest.approx(0.5, abs=0.08)
    assert found.back_after_s == pytest.approx(22.1, abs=0.25)


def test_what_happens_long_after_a_let_in_is_not_its_doing() -> None:
    """A unit that fell off minutes later would be told as the depth of the test."""
    sound = regulated()
    t = np.concatenate((sound.t_s, sound.t_s + 70.0))
    x = np.concatenate((sound.x, np.full(sound.t_s.size, 42.0)))
    x[(t >= 100) & (t < 105)] = 30.0
    assert let_in(trace(t, x), 20.0, 40.0).drop_kpa == pytest.approx(1.4, abs=0.08)


def test_a_let_in_needs_the_seconds_around_it() -> None:
    """Half a test would be certified."""
    for marks in ((2.0, 40.0), (20.0, 68.0), (40.0, 20.0)):
        with pytest.raises(TraceUnfit, match="5 s on each side"):
            let_in(regulated(), *marks)
    with pytest.raises(TraceUnfit, match=r"0\.25 s or less"):
        let_in(regulated(hz=1.0), 20.0, 40.0)


def test_level_counts_time_not_samples() -> None:
    """A logger that reads faster while the vacuum is low would make it look low all day."""
    t = np.concatenate((np.arange(0, 100, 1.0), np.arange(100, 110, 0.1), np.arange(110, 200, 1.0)))
    x = np.where((t >= 100) & (t < 110), 28.0, 42.0)
    found = level(trace(t, x), 30.0)
    assert found.mean_kpa == pytest.approx((42 * 190 + 28 * 10) / 200, abs=0.15)
    assert found.under_limit_s == pytest.approx(10.0, abs=0.6)
    assert found.longest_under_limit_s == found.under_limit_s
    assert (found.least_kpa, found.most_kpa, found.median_kpa) == (28.0, 42.0, 42.0)


def test_dips_are_found_where_they_were_put_and_slow_drift_is_none() -> None:
    """Cups that fell at 06:10 could not be told from the level creeping down."""
    t = np.arange(0.0, 1800.0, 0.1)
    x = 42.0 - t / 1800.0 * 1.5 + np.random.default_rng(1).normal(0, 0.1, t.size)
    for at in (400.0, 900.0, 1400.0):
        x[(t >= at) & (t < at + 4.0)] -= 3.0
    x[(t >= 1000) & (t < 1200)] = np.nan
    found = dips(trace(t, x))
    assert [d.start_s for d in found] == pytest.approx([400.0, 900.0, 1400.0], abs=0.4)
    assert [d.away_kpa for d in found] == pytest.approx([-3.0] * 3, abs=0.3)
    assert [d.lasts_s for d in found] == pytest.approx([4.0] * 3, abs=0.5)


def test_slugs_are_counted_once() -> None:
    """A line that floods would pass by its mean."""
    t = np.arange(0.0, 100.0, 0.1)
    receiver, line = np.full(t.size, 42.0), np.full(t.size, 41.5)
    for at in (10.0, 30.0, 30.9, 60.0):  # the third belongs to the second
        line[(t >= at - 1e-9) & (t < at + 0.5 - 1e-9)] = 38.0
    share, slugs = share_within(trace(t, line), trace(t, receiver), 2.0)
    assert share == pytest.approx(0.98, abs=1e-3)
    assert slugs == 3
    with pytest.raises(TraceUnfit, match="same times"):
        share_within(trace(t[1:], line[1:]), trace(t, receiver), 2.0)
    with pytest.raises(TraceUnfit, match="columns swapped"):
        share_within(trace(t, receiver + 1.0), trace(t, line), 2.0)


def tank() -> Trace:
    """A tank at 3.5 degC that takes in two milkings: warmest 9 and 6.5, cold two hours after."""
    t = np.arange(0.0, 24 * 3600.0, 20.0)
    x = np.full(t.size, 3.5)
    for start, warmest in ((6 * 3600, 9.0), (17 * 3600, 6.5)):
        up = (t >= start) & (t < start + 5400)
        down = (t >= start + 5400) & (t < start + 5400 + 7200)
        x[up] = 3.5 + (warmest - 3.5) * (t[up] - start) / 5400
        x[down] = warmest + (3.5 - warmest) * (t[down] - start - 5400) / 7200
    return trace(t, x + np.random.default_rng(2).normal(0, 0.05, t.size))


def test_milkings_are_recognised_from_the_tank() -> None:
    """The warmest blend and the cooling time would belong to no milking."""
    one, two = fillings(tank(), 4.0)
    assert (one.warmest_c, two.warmest_c) == pytest.approx((9.0, 6.5), abs=0.1)
    assert one.start_s == pytest.approx(6 * 3600, abs=700)
    assert one.warmest_at_s == pytest.approx(6 * 3600 + 5400, abs=200)
    assert one.cold_at_s == pytest.approx(6 * 3600 + 5400 + 7200 * 5.0 / 5.5, abs=200)
    assert two.cooled_in_s == pytest.approx(5400 + 7200 * 2.5 / 3.0, abs=900)
    kw = cooling_kw(tank(), one, 4000.0, 3.9)
    assert kw == pytest.approx(4000 * 3.9 * 5.5 / 7200, rel=0.05)


def test_a_filling_that_is_still_warm_at_the_end_has_no_cooling_time() -> None:
    """A tank that never cooled would be given the time of the record."""
    found = fillings(tank().between(0.0, 8 * 3600.0), 4.0)
    assert [f.cooled_in_s for f in found] == [None]
    with pytest.raises(TraceUnfit, match="before the milk was cold"):
        cooling_kw(tank(), found[0], 4000.0, 3.9)


def test_stages_of_a_wash() -> None:
    """A cold main wash would hide behind the warm rinse before it."""
    t = np.arange(0.0, 1500.0, 2.0)
    x = np.select(
        [t < 300, t < 360, t < 900, t < 960], [38.0, 20.0, 62.0 - (t - 360) / 60, 20.0], 12.0
    )
    found = stages(trace(t, x))
    assert [s.mean_c for s in found] == pytest.approx([38.0, 57.6, 12.0], abs=0.7)
    assert found[1].end_c == pytest.approx(53.17, abs=0.1), "the mean of its last 20 s"
    assert found[1].end_s == pytest.approx(900.0, abs=4.0)
    assert above_s(trace(t, x), 55.0) == pytest.approx(420.0, abs=4.0)


def test_starts_hours_and_inrush() -> None:
    """A compressor that starts forty times an hour would look like one that runs."""
    t = np.arange(0.0, 7200.0, 0.1)
    on = np.mod(t - 300.0, 600.0) < 200.0
    on &= t >= 300.0
    x = np.where(on, 30.0, 0.4) + np.random.default_rng(4).normal(0, 0.3, t.size)
    x[on & (np.mod(t - 300.0, 600.0) < 1.0)] = 180.0
    found = running(trace(t, x))
    assert found.starts == 12
    assert found.hours == pytest.approx(12 * 200 / 3600, rel=0.01)
    assert found.load == pytest.approx(30.0, abs=0.2)
    assert found.inrush == pytest.approx(180.0, abs=1.0)
    assert found.share == pytest.approx(2400 / 7200, rel=0.02)
    for never in (np.full(t.size, 30.0), 30 + np.random.default_rng(5).normal(0, 1, t.size)):
        with pytest.raises(TraceUnfit):
            running(trace(t, never))


def test_cows_are_parted_and_their_milk_adds_up() -> None:
    """Milk of one cow would be counted to the next, or a rinse taken for a cow."""
    t = np.arange(0.0, 3600.0, 1.0)
    x = np.zeros(t.size)
    cows = [(100, 300, 2.4), (520, 420, 3.0), (1100, 240, 1.8), (2000, 360, 2.7)]
    for start, lasts, rate in cows:
        x[(t >= start) & (t < start + lasts)] = rate
    x[3000:3020] = 0.5  # a rinse
    found = cow_milkings(trace(t, x))
    assert [m.milk_kg for m in found] == pytest.approx([s * r / 60 for _, s, r in cows], rel=0.02)
    assert [m.flowing_s for m in found] == pytest.approx([s for _, s, _ in cows], abs=6.0)
    figures = herd_figures(found)
    assert figures.cows == 4
    assert figures.milk_out_mean_s == pytest.approx(330.0, abs=6.0)
    assert figures.yield_mean_kg == pytest.approx(
        np.mean([s * r / 60 for _, s, r in cows]), rel=0.02
    )


def test_a_day_at_100_hz_is_worked_out_in_seconds() -> None:
    """A day's trace would take a coffee, or the whole memory."""
    import time

    day = chamber(60, 65, 42, hz=100.0, seconds=6 * 3600.0, noise=0.1)
    begun = time.process_time()
    found = pulsation(day)
    level(day, 30.0)
    assert found.cycles > 21_000
    assert time.process_time() - begun < 4.0


def test_an_agitator_shows_where_it_starts_and_only_there() -> None:
    """Would fail if milk that comes in were taken for an agitator, or its starts were not seen."""
    rng = np.random.default_rng(11)
    t = np.arange(0.0, 4 * 3600.0, 10.0)
    starts = np.arange(1800.0, 4 * 3600.0 - 900.0, 1800.0)
    x = 4.0 + 0.02 * rng.standard_normal(t.size)
    for s in starts:  # layers: the sensor at the bottom rests, then meets the mean
        x += np.where((t >= s) & (t < s + 900.0), 0.6 * np.minimum(1.0, (t - s) / 60.0), 0.0)
        x += np.where((t >= s + 900.0) & (t < s + 1700.0), 0.6 * (1 - (t - s - 900.0) / 800.0), 0.0)
    found = stirs(trace(t, x))
    assert len(found) == len(starts)
    assert np.abs(np.array(found) - starts).max() < 180.0
    warm = 4.0 + 3.0 * np.clip((t - 3600.0) / 5400.0, 0.0, 1.0) + 0.02 * rng.standard_normal(t.size)
    assert stirs(trace(t, warm)) == ()
    with pytest.raises(TraceUnfit, match="an agitator needs"):
        stirs(trace(t[::6], x[::6]))


@pytest.mark.parametrize("step", [0.02, 0.1, 0.25])
def test_slugs_of_a_wash_are_counted_at_any_rate(step: float) -> None:
    """Would fail if noise counted a slug twice, or slugs outside the wash were taken with them."""
    rng = np.random.default_rng(12)
    t = np.arange(0.0, 900.0, step)
    x = 42.0 + 0.1 * rng.standard_normal(t.size)
    at = np.arange(65.0, 890.0, 30.0)
    for s in at:
        x -= np.where((t >= s) & (t < s + 3.0), 4.0, 0.0)
    found = slugs(trace(t, x), 200.0, 800.0)
    assert len(found) == np.sum((at >= 200.0) & (at < 800.0))


def test_a_control_that_hunts_is_told_by_its_period_and_noise_is_not() -> None:
    """Would fail if the period were wrong, or noise and a single dip were called hunting."""
    rng = np.random.default_rng(13)
    t = np.arange(0.0, 600.0, 0.1)
    noise = 42.0 + 0.15 * rng.standard_normal(t.size)
    found = hunting(trace(t, noise + 0.8 * np.sin(2 * np.pi * t / 7.0)))
    assert found is not None
    assert found.period_s == pytest.approx(7.0, rel=0.03)
    assert found.swing_kpa == pytest.approx(0.8, rel=0.1)
    assert hunting(trace(t, noise)) is None
    assert hunting(trace(t, noise - np.where((t > 200) & (t < 210), 6.0, 0.0))) is None


def test_detergent_is_told_from_water_and_whether_it_was_rinsed_out() -> None:
    """Would fail if a rinse counted as wash, or detergent left behind were not seen."""
    t = np.arange(0.0, 1500.0, 1.0)
    x = np.where((t >= 300) & (t < 780), 6.0, 0.4)
    found = detergent(trace(t, x))
    assert (found.washes_s, found.rinsed) == (pytest.approx(480.0, abs=2.0), True)
    assert not detergent(trace(t, np.where(t >= 780, 1.4, x))).rinsed
    with pytest.raises(TraceUnfit, match="no detergent"):
        detergent(trace(t, 0.4 + 0.0 * t))
