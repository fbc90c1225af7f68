"""Properties of throughput, motion, motors, reliability and washing."""

from __future__ import annotations

import math
from statistics import NormalDist

import pytest
from hypothesis import given
from hypothesis import strategies as st

from byrewright.physics import cleaning, motion, motors, throughput
from byrewright.physics.errors import PhysicsRangeError
from byrewright.physics.rows import row_time_s
from byrewright.standards.electrical import MOTOR_KW

spreads = st.tuples(st.floats(200, 600), st.floats(20, 200))


@given(spreads)
def test_log_normal_has_the_moments_it_was_given(spread) -> None:
    """The share going round would belong to another herd."""
    mean, deviation = spread
    d = throughput.log_normal(mean, deviation)
    assert math.exp(d.mu + d.sigma**2 / 2) == pytest.approx(mean)
    variance = math.expm1(d.sigma**2) * math.exp(2 * d.mu + d.sigma**2)
    assert math.sqrt(variance) == pytest.approx(deviation)


@given(spreads, st.floats(0.01, 0.99))
def test_quantile_and_tail_are_inverse(spread, share: float) -> None:
    """A milk-out time limit would cut short another share than stated."""
    d = throughput.log_normal(*spread)
    assert d.above(d.quantile(share)) == pytest.approx(1 - share, abs=1e-9)


@given(spreads, st.integers(20, 120), st.floats(0.01, 0.5))
def test_rotation_for_a_share_gives_that_share(spread, stalls: int, share: float) -> None:
    """The rotation drafted would not have the go-round share asked for."""
    on = 0.9 * stalls
    turn = throughput.rotation_for_share_s(stalls, on, *spread, share)
    row = throughput.rotation(stalls, on, turn, *spread)
    assert row.go_round_share == pytest.approx(share, abs=1e-9)


@given(spreads, st.integers(20, 120), st.floats(200, 1500), st.floats(0, 1))
def test_every_cow_takes_at_least_one_pass(
    spread, stalls: int, turn_s: float, shadow: float
) -> None:
    """Net throughput would exceed gross, or a limit of the time that a unit stays on would leave
    cows to go round that are taken off."""
    on = 0.9 * stalls
    turn = throughput.rotation(stalls, on, turn_s, *spread, shadow)
    assert turn.passes >= 1.0 + turn.go_round_share - 1e-12
    assert turn.net_cows_h <= turn.gross_cows_h / (1 + (1 + shadow) * turn.go_round_share) + 1e-9
    limited = [throughput.rotation(stalls, on, turn_s, *spread, shadow, k * turn.available_s)
               for k in (1, 2)]  # fmt: skip
    assert [one.passes for one in limited] == pytest.approx([1.0, 1.0 + turn.go_round_share])
    assert [one.go_round_share for one in limited] == [0.0, turn.go_round_share]


@given(st.floats(1, 600), st.floats(4, 60))
def test_operators_needed_are_enough_and_not_too_many(cows: float, routine: float) -> None:
    """A crew would be one short or one idle."""
    crew = throughput.operators_needed(cows, routine)
    assert throughput.labour_cows_h(routine, crew) >= cows - 1e-6
    if crew > 1:
        assert throughput.labour_cows_h(routine, crew - 1) < cows + 1e-6


@given(st.floats(1e3, 1e5), st.floats(0, 1e5), st.integers(10, 300))
def test_uneven_rollers_average_to_the_mean(even: float, half: float, rollers: int) -> None:
    """Uneven loading would change the weight of the deck."""
    low, high = motion.uneven_roller_n(even, half, rollers)
    assert (low + high) / 2 == pytest.approx(motion.mean_roller_n(even + half, rollers))
    assert high >= low


@given(st.floats(1e3, 2e5), st.floats(0.002, 0.03), st.floats(0.05, 0.3), st.floats(1, 3))
def test_starting_takes_more_than_running(
    mass: float, resistance: float, speed: float, breakaway: float
) -> None:
    """A drive would hold the deck but never start it."""
    running = motion.rolling_force_n(mass, resistance)
    assert motion.start_force_n(running, breakaway, mass, speed, 5) > running


@given(st.floats(0.01, 400))
def test_next_motor_is_the_smallest_that_does(kw: float) -> None:
    """A motor would be a step too small or too large."""
    chosen = motors.next_motor_kw(kw)
    assert chosen >= kw - 1e-9
    smaller = [step for step in MOTOR_KW if step < chosen]
    assert not smaller or smaller[-1] < kw


loads = st.lists(
    st.builds(
        motors.Load,
        name=st.sampled_from(["vacuum", "milk", "chiller", "drive", "air"]),
        running_kw=st.floats(0.5, 20),
        motor_kw=st.floats(0, 25),
        method=st.sampled_from(["direct", "star_delta", "soft", "drive"]),
    ),
    min_size=1,
    max_size=6,
)


@given(loads)
def test_generator_holds_every_step(order) -> None:
    """A set would stall, or dip further than the limit it was sized for."""
    size = motors.generator_size(order)
    assert size.least_kva > 0
    assert all(step.dip_pct <= 20.0 + 1e-6 for step in size.steps)
    assert size.steps[-1].running_kva <= 0.8 * (size.chosen_kva or size.least_kva) + 1e-6
    more = motors.generator_size([*order, motors.Load("heater", 5.0)])
    assert more.least_kva >= size.least_kva - 1e-9


def test_hardest_start_comes_first() -> None:
    """The largest start would come when most else already runs."""
    order = motors.start_order(
        [motors.Load("lights", 3.0), motors.Load("pump", 5.0, 7.5), motors.Load("fan", 1.0, 1.5)]
    )
    assert [one.name for one in order] == ["pump", "fan", "lights"]


@given(st.floats(0, 64), st.floats(1, 500))
def test_fuel_lasts_longer_at_less_load(load: float, tank: float) -> None:
    """The hours of fuel would grow with load."""
    assert motors.fuel_hours(tank, load, 64) >= motors.fuel_hours(tank, 64, 64) - 1e-9


def test_an_unknown_letter_lists_those_held() -> None:
    """A slip on the data plate would pass as another letter."""
    with pytest.raises(PhysicsRangeError, match="use one of A, B"):
        motors.locked_rotor_kva(5, "I")


@given(st.floats(20, 110), st.floats(0, 200), st.floats(0.1, 3))
def test_slug_outlasts_its_line(bore: float, line: float, end: float) -> None:
    """A slug would break before the receiver."""
    volume = cleaning.slug_volume_l(bore, line, end)
    length = volume / (math.pi / 4 * bore**2 / 1000)
    assert length - 0.05 * line == pytest.approx(end, abs=1e-9)


@pytest.mark.parametrize(("mean", "deviation"), [(383.0, 129.0), (300.0, 40.0)])
def test_the_slowest_of_two_cows_is_that_of_two_draws(mean: float, deviation: float) -> None:
    """A row would leave too early or too late: E max = 2 m Phi(s / sqrt 2) of two log-normal times
    begun together (textbook), one for a cow alone, and nothing waits beyond the limit."""
    shape = math.sqrt(math.log(1.0 + (deviation / mean) ** 2))
    two = 2.0 * mean * NormalDist().cdf(shape / math.sqrt(2.0))
    assert row_time_s(2, 0.0, mean, deviation) == pytest.approx(two, rel=1e-3)
    assert row_time_s(1, 0.0, mean, deviation) == pytest.approx(mean, rel=1e-3)
    # Attached so far apart that the last is always the last to milk out.
    assert row_time_s(3, 2000.0, mean, deviation) == pytest.approx(6000.0 + mean, rel=1e-3)
    limit = 0.2 * mean  # which nearly every cow reaches
    assert row_time_s(8, 10.0, mean, deviation, limit) == pytest.approx(80.0 + limit, rel=5e-3)
