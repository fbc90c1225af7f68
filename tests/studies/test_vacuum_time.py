"""Events in time on a whole plant, against what practice expects of them."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from byrewright.standards.practice import MAGNITUDES
from byrewright.standards.rulebook import default_rulebook
from byrewright.studies.vacuum.building import network_of
from byrewright.studies.vacuum.network import Network
from byrewright.studies.vacuum.situations import Situation, pumps_running
from byrewright.studies.vacuum.steady import solve, standard_situations
from byrewright.studies.vacuum.transient import (
    Run,
    march,
    open_units,
    pump_trips,
    regulator_sticks_open,
    scan,
    standard_events,
    units_open,
)
from tests.plants import rotary, rows

BACK_S = 5.0  # common practice, no source: one fall-off is over within this time
LOST_KPA = (42.0, 30.0)  # common practice, no source: all vacuum lost falls so far ...
LOST_S = (1.0, 8.0)  # ... in a few seconds
QUIET_KPA = 0.02  # a march with nothing happening stays where it was
LIKE_STEADY_KPA = 0.05  # a march that has come to rest against the steady state


@pytest.fixture(scope="module")
def network() -> Network:
    """A rotary of 60 with twin pumps."""
    return network_of(rotary(), default_rulebook())


@pytest.fixture(scope="module")
def milking(network: Network) -> Situation:
    """All units milking."""
    return standard_situations(network)["milking"]


@pytest.fixture(scope="module")
def runs(network: Network, milking: Situation) -> dict[str, Run]:
    """Every standard event."""
    running = pumps_running(network, milking.mode)
    return {e.key: march(network, e, milking) for e in standard_events(network, running)}


def test_one_fall_off_with_shut_off(runs: dict[str, Run]) -> None:
    """Practice (no source): 0.3 to 1.5 kPa, back within 5 s, no cup lost."""
    run = runs["fall_off"]
    low, high = MAGNITUDES["fall_off_drop_kpa"].range_for(60)
    assert low <= run.drop_kpa <= high
    assert run.back_after_s <= BACK_S and run.units_falling == 0


def test_shared_running_rides_through_a_trip(runs: dict[str, Run]) -> None:
    """Stories: two pumps together, a non-return valve at each, keep the cups on when one trips."""
    assert runs["pump_trips"].units_falling == 0
    assert runs["pump_trips"].least_at_units_kpa > 38.0


def test_a_leaking_non_return_valve_is_worse(runs: dict[str, Run]) -> None:
    """Stories: a pump trips, its valve leaks, vacuum sinks though the partner runs."""
    assert runs["pump_trips_valve_leaks"].least_kpa < runs["pump_trips"].least_kpa - 1.0


def test_a_cold_standby_does_not_save_the_cups(network: Network, runs: dict[str, Run]) -> None:
    """Stories: with all vacuum lost 42 kPa falls to 30 in a few seconds."""
    run = runs["all_vacuum_lost"]
    on = run.units_falling / network.units  # of a deck's units those within their milk-out
    assert 0.5 < on < 0.9
    high, low = (
        next(t for t, v in zip(run.times_s, run.units_kpa, strict=True) if v < level and t > 0)
        for level in (min(LOST_KPA[0], run.before_kpa - 0.3), LOST_KPA[1])
    )
    assert LOST_S[0] < low - high < LOST_S[1]
    assert run.after_kpa > 40.0  # the standby brings it back, to fallen cups


def test_nothing_happens_when_nothing_happens(network: Network, milking: Situation) -> None:
    """Would fail if the controllers drifted from the steady state they start in."""
    for running in (milking.running, ("VP1",)):
        event = replace(units_open(0, 800.0, None, key="quiet", title="quiet"), running=running)
        run = march(network, event, milking)
        assert abs(run.least_kpa - run.before_kpa) < QUIET_KPA
        assert abs(run.most_kpa - run.before_kpa) < QUIET_KPA


def test_a_march_that_rests_is_the_steady_state(network: Network, milking: Situation) -> None:
    """Would fail if the march in time and the steady solution were of two different plants."""
    event = pump_trips(network, ("VP1", "VP2"), key="trip", title="trip", seconds=40.0)
    run = march(network, event, milking)
    alone = solve(network, replace(milking, running=("VP2",)))
    assert run.after_kpa == pytest.approx(alone.milk_vacuum_kpa, abs=LIKE_STEADY_KPA)


def test_more_air_falls_deeper(network: Network, milking: Situation) -> None:
    """Would fail if undershoot did not grow with the air let in (100 to 1400 L/min a unit)."""
    drops = [
        march(network, units_open(1, air, 3.0, key="x", title="x", seconds=5.0), milking).drop_kpa
        for air in (100.0, 400.0, 800.0, 1400.0)
    ]
    assert drops == sorted(drops) and drops[0] < 0.3 < drops[-1]


def test_a_shorter_step_changes_little(
    network: Network, milking: Situation, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Would fail if 5 ms were too coarse for the controllers."""
    from byrewright.studies.vacuum import transient

    event = replace(units_open(2, 800.0, 3.0, key="x", title="x", seconds=6.0), running=("VP1",))
    coarse = march(network, event, milking)
    monkeypatch.setattr(transient, "STEP_S", 0.00125)
    monkeypatch.setattr(transient, "KEEP", 80)
    fine = march(network, event, milking)
    assert fine.drop_kpa == pytest.approx(coarse.drop_kpa, abs=0.03)


def test_settings_of_speed_control_matter(network: Network, milking: Situation) -> None:
    """Would fail if gain and ramp could not be scanned, or the scan did not rank them."""
    tried = scan(network, replace(milking, running=("VP1",)), (0.05, 0.6), (0.05, 0.5))
    assert len(tried) == 4 and tried[0].badness <= tried[-1].badness
    slow = next(t for t in tried if (t.gain, t.ramp) == (0.05, 0.05))
    assert tried[0].drop_kpa < slow.drop_kpa
    late = [replace(slow, back_after_s=s).badness for s in (3.0, 10.0, math.inf)]
    assert late[0] < late[1] < late[2] < math.inf


def test_stuck_control_drops_more() -> None:
    """Would fail if control that sticks did as well as control that works."""
    network = network_of(rows(), default_rulebook())
    milking = standard_situations(network)["milking"]
    runs = {e.key: march(network, e, milking) for e in standard_events(network, ("VP1",))}
    assert runs["control_sticks"].drop_kpa > runs["open_test"].drop_kpa


def test_two_units_are_held_open_in_a_large_plant(network: Network) -> None:
    """US guide: plants of more than 32 units should stand two open units."""
    assert open_units(network) == 2
    assert open_units(network_of(rows(), default_rulebook())) == 1


def test_a_regulator_that_sticks_open_lets_in_what_it_is_rated_for(network: Network) -> None:
    """Would fail if it let in more than all of its opening."""
    event = regulator_sticks_open(network)
    assert event is not None
    assert [row[-1] for row in event.rows(network, None)] == [1.0]  # type: ignore[arg-type]


def test_times_start_before_the_event(runs: dict[str, Run]) -> None:
    """Would fail if a run did not show the quiet second before it."""
    for run in runs.values():
        assert run.times_s[0] == -1.0 and len(run.times_s) == len(run.speed)
        assert math.isfinite(run.after_kpa)
