"""Events of the vacuum in time: what is put into a march, and what is read from it, by hand.

No march is made here: a record of one is written by hand, and the rows that change the network are
read as they stand.
"""

from __future__ import annotations

import math
from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from byrewright.engine import airmarch
from byrewright.plant.plant import Plant
from byrewright.results import ResultBuilder
from byrewright.standards.rulebook import Rulebook, default_rulebook
from byrewright.studies.sizing.context import StudyContext
from byrewright.studies.vacuum import findings_time, transient
from byrewright.studies.vacuum.building import network_of
from byrewright.studies.vacuum.network import Network
from byrewright.studies.vacuum.situations import pumps_running
from byrewright.studies.vacuum.steady import balance, lower, standard_situations
from byrewright.studies.vacuum.transient import Event, Run, Tuned, standard_events
from tests.plants import machine, rotary, rows

RULES = default_rulebook()


@pytest.fixture(scope="module")
def network() -> Network:
    """A rotary of 60 with twin pumps."""
    return network_of(rotary(), RULES)


def read(network: Network, vm: list[float], under_s: list[float], ends_s: float | None) -> Run:
    """A record of a march at ten a second, one of them before the event, and what is read of it."""
    marks = np.column_stack([vm, np.array(vm) - 0.5, np.array(vm) + 1.0, np.ones(len(vm))])
    nodes = np.zeros((len(network.nodes), 3))
    nodes[network.milk_point, :2] = min(vm), max(vm)
    for (node, _), under in zip(network.units_at, under_s, strict=True):
        nodes[node] = 39.0 + node / 1000, 43.0, under
    event = Event("x", "x", (len(vm) - 1) / 10 - 1.0, lambda *_: [], ends_s=ends_s)
    return transient._run(network, event, marks, nodes)


QUIET = [42.0] * 11  # a second before the event, and its start


def test_a_record_is_read_by_hand(network: Network) -> None:
    """Would fail if a drop, an overshoot or a time were of another part of the record."""
    n = len(network.units_at)
    falls = [40.0, *[40.5] * 19, *[40.7] * 10]  # three seconds, the last of them at 40.7
    comes_back = [42.6, 42.3, 42.2, 42.19, *[42.0] * 6]
    run = read(network, QUIET + falls + comes_back, [0.0] * n, 3.0)
    assert run.drop_kpa == pytest.approx(2.0) and run.overshoot_kpa == pytest.approx(0.6)
    assert run.during_kpa == pytest.approx(40.7 * 0.9 + 40.5 * 0.1, abs=0.03)
    assert run.undershoot_kpa == pytest.approx(run.during_kpa - 40.0)
    assert run.times_s[0] == -1.0 and run.times_s[-1] == 4.0
    back = next(t for t, v in zip(run.times_s, run.receiver_kpa, strict=True) if t > 3 and v < 42.2)
    assert run.back_after_s == pytest.approx(back, abs=0.11)
    assert run.least_at_units_kpa == pytest.approx(39.0 + min(i for i, _ in network.units_at) / 1e3)
    for_good = read(network, QUIET + falls, [0.0] * n, None)
    assert for_good.back_after_s == math.inf and for_good.after_kpa == 40.7
    assert for_good.during_kpa == pytest.approx(40.7)
    quiet = read(network, QUIET * 2, [0.0] * n, None)
    assert quiet.back_after_s == quiet.drop_kpa == quiet.undershoot_kpa == quiet.overshoot_kpa == 0


@pytest.mark.parametrize("after_s", [0.5, 1.0, 3.0])
def test_cups_fall_where_vacuum_was_low_for_longer_than_it_may(after_s: float) -> None:
    """Would fail if cups fell that were under the limit for less, or cups that hang on no cow."""
    network = network_of(rotary(), Rulebook({"vacuum.cups_fall_after_s": after_s}))
    n = len(network.units_at)
    under = [2.0 * after_s * k / n for k in range(n)]
    run = read(network, QUIET * 2, under, None)
    low = sum(c for (_, c), s in zip(network.units_at, under, strict=True) if s > after_s)
    milk_out, plant = network.plant.herd.milk_out_time_s, network.plant
    assert milk_out is not None
    (deck,) = (m for m in plant.equipment.values() if m.kind == "platform")
    on_cows = min(1.0, milk_out.mean / deck.turn_s)  # type: ignore[attr-defined]
    assert 0.3 < on_cows < 1.0 and low > 10
    assert run.units_falling == pytest.approx(low * on_cows, rel=0.05)  # the slower milking's
    assert run.under_limit_s == max(under)
    stands = network_of(rows(), RULES)
    every = read(stands, QUIET * 2, [60.0] * len(stands.units_at), None)
    assert every.units_falling == pytest.approx(stands.units)  # a row waits for its slowest


def events(network: Network) -> dict[str, tuple[Event, list[Any]]]:
    """Every event of a network with the rows that it puts into a march."""
    mode = standard_situations(network)["milking"]
    lowered, *_ = balance(network, lower(network, mode))
    running = pumps_running(network, mode.mode)
    return {e.key: (e, sorted(e.rows(network, lowered))) for e in standard_events(network, running)}


def test_every_event_of_a_report_can_be_asked_for_alone(network: Network) -> None:
    """Would fail if an event that a report shows were refused by its name, or a name stood for
    none; this rotary has no drain that could be left open."""
    assert {*events(network), "drain_open"} == set(transient.EVENTS)


def test_events_change_what_they_say_when_they_say(network: Network) -> None:
    """Would fail if air came in before the record's quiet second, for another time than stated or
    more than stated, or another pump tripped."""
    found = events(network)
    start_s = transient.BEFORE_S
    fall = max(getattr(m, "fall_off_air_l_min_free", 0) for m in network.plant.equipment.values())
    rated = RULES.number
    for key, l_min, for_s in (
        ("fall_off", fall, rated("vacuum.shutoff_delay_s")),
        ("open_test", 2 * fall, 8.0),
        ("attach", 3 * rated("vacuum.attach_air_l_min"), rated("vacuum.attach_air_s")),
        ("control_sticks", fall, 8.0),
    ):
        event, (*_, opens, shuts) = found[key]
        assert opens[:2] == (start_s, airmarch.ON_INLET) and shuts[1:3] == opens[1:3]
        assert network.l_min_free(opens[3]) == pytest.approx(l_min) and shuts[3] == 0.0
        assert shuts[0] == pytest.approx(start_s + for_s) and event.ends_s == for_s
        assert event.seconds >= for_s + 3.0  # the record shows how it comes back
    (sticks, *_) = found["control_sticks"][1]
    assert sticks == (0.0, airmarch.ON_SPEED, 0, airmarch.AS_IT_IS)
    first, *rest = found["pump_trips"][1]
    assert first == (start_s, airmarch.ON_PUMP, 0, 0.0) and not rest
    trip, leak = sorted(found["pump_trips_valve_leaks"][1], key=lambda r: r[1] == airmarch.ON_EDGE)
    assert trip == first and leak[1] == airmarch.ON_EDGE and leak[3] == 0.0
    assert network.segments[leak[2]].one_way
    lost, starts = found["all_vacuum_lost"][1]
    assert lost == first and starts[1:] == (airmarch.ON_PUMP, 1, 1.0)
    assert starts[0] == pytest.approx(start_s + rated("vacuum.standby_delay_s"))
    assert found["all_vacuum_lost"][0].running == pumps_running(network, None)[:1]


def test_a_stuck_regulator_stays_as_far_open_as_it_stood() -> None:
    """Would fail if control that sticks were shut, or as far open as another's vacuum asks."""
    plant = rows()
    fixed = {
        m.id: m.model_copy(update={"speed": "fixed"})
        for m in plant.equipment.values()
        if m.kind == "vacuum_pump"
    }
    plant = plant.model_copy(update={"equipment": {**plant.equipment, **fixed}})
    network = network_of(plant, RULES)
    assert not network.varies
    (sticks, *_) = events(network)["control_sticks"][1]
    assert sticks[:3] == (0.0, airmarch.ON_REGULATOR, 0)
    regulator, node = network.regulators[0]
    _, p, *_ = balance(network, lower(network, standard_situations(network)["milking"]))
    vacuum = network.ambient_kpa_abs - p[node]
    band = RULES.number("vacuum.regulator_band_kpa")
    by_hand = (vacuum - (regulator.set_vacuum_kpa - band / 2)) / band
    assert 0.0 < by_hand < 1.0 and sticks[3] == pytest.approx(by_hand)


def with_drain(bore_mm: float, valve_mm: float) -> Plant:
    """A plant whose receiver has a drain of a bore and a valve in it."""
    plant = rotary(V9=machine("V9", "valve", bore_mm=valve_mm))
    receiver = next(m.id for m in plant.equipment.values() if m.kind == "receiver")
    pipe = plant.pipes[0].model_copy(
        update={"id": "DR", "start": f"{receiver}.drain", "end": "V9.a", "bore_mm": bore_mm}
    )
    changed = plant.model_copy(update={"pipes": (*plant.pipes, pipe)})
    changed.__dict__.pop("_pipes_at", None)
    return changed


@pytest.mark.parametrize(
    ("bore_mm", "valve_mm", "least_mm"), [(50.0, 38.0, 38.0), (25.0, 50.0, 25.0)]
)
def test_air_of_an_open_drain_is_choked_flow_through_its_narrowest(
    bore_mm: float, valve_mm: float, least_mm: float
) -> None:
    """Choked flow of a perfect gas of 1.4, m = C A p sqrt(k / (R T)) (2 / (k + 1))^3 (at 20 degC):
    would fail if a drain let in more than that, or what its wider end would."""
    network = network_of(with_drain(bore_mm, valve_mm), RULES)
    event = transient.drain_open(network)
    assert event is not None and f"({least_mm:g} mm)" in event.title
    k, r, t = 1.4, 287.05, 293.15
    speed_m_s = math.sqrt(k * r * t) * (2 / (k + 1)) ** 3  # of free air through all of its area
    area_m2 = math.pi / 4 * (least_mm / 1000) ** 2
    full = 60_000 * RULES.number("vacuum.drain_discharge") * area_m2 * speed_m_s
    assert transient.full_drain_l_min(least_mm, RULES.number("vacuum.drain_discharge")) == (
        pytest.approx(full, rel=1e-3)
    )
    lowered, *_ = balance(network, lower(network, standard_situations(network)["milking"]))
    (row,) = event.rows(network, lowered)
    assert network.l_min_free(row[3]) == pytest.approx(
        full * RULES.number("vacuum.drain_open_share"), rel=1e-3
    )
    assert row[0] == transient.BEFORE_S


def test_the_farthest_unit_has_the_longest_way(network: Network) -> None:
    """Would fail if air were let in at a unit beside the receiver: the test would be easier."""
    near: dict[int, set[int]] = {}
    for s in network.segments:
        near.setdefault(s.a, set()).add(s.b)
        near.setdefault(s.b, set()).add(s.a)
    reached, rings = set(network.receivers), [set(network.receivers)]
    while rings[-1]:
        rings.append({m for n in rings[-1] for m in near[n]} - reached)
        reached |= rings[-1]
    far = {n: k for k, ring in enumerate(rings) for n in ring}
    units = [n for n, _ in network.units_at]
    assert (
        far[transient.worst_unit(network)]
        == max(far[n] for n in units)
        > min(far[n] for n in units)
    )


def test_a_control_is_worse_by_each_of_its_faults() -> None:
    """Drop and overshoot in kPa and a tenth of the seconds until back, of which twenty count."""
    assert Tuned(0.1, 0.1, 1.5, 0.25, 4.0).badness == pytest.approx(1.5 + 0.25 + 0.4)
    assert Tuned(0.1, 0.1, 1.5, 0.25, math.inf).badness == pytest.approx(1.75 + 2.0)


def told(run: Run, running: tuple[str, ...] = ("VP1",), wish: bool = True) -> dict[str, Any]:
    """What is found of an event, by key."""
    plant = rotary()
    wishes = plant.wishes.model_copy(update={"no_single_stop": wish})
    plant = plant.model_copy(update={"wishes": wishes})
    case: Any = SimpleNamespace(network=network_of(plant, RULES), running=running, tuned=())
    ctx = StudyContext(plant, RULES, ResultBuilder("vacuum", "x"))
    findings_time._event(ctx, case, run)
    return {f.key: f for f in ctx.notes.findings}


@pytest.mark.parametrize(("units", "back_s", "key"), [
    (0.0, 2.0, "fall_off"), (0.4, 6.0, "fall_off"), (0.7, math.inf, "open_test"),
    (3.0, 4.0, "pump_trips_valve_leaks"), (30.0, math.inf, "all_vacuum_lost"),
])  # fmt: skip
def test_an_event_is_told_by_what_it_did(
    network: Network, units: float, back_s: float, key: str
) -> None:
    """Would fail if cups that stay on were said to fall, or an event that is a fault of a part, or
    only what would be, were held against the plant."""
    run = read(network, QUIET * 2, [0.0] * len(network.units_at), None)
    event = replace(run.event, key=key, title="Something")
    run = replace(run, event=event, units_falling=units, back_after_s=back_s, under_limit_s=2.6,
                  least_kpa=39.5, after_kpa=40.7)  # fmt: skip
    for running in (("VP1",), ("VP1", "VP2")):
        found = told(run, running)
        one = found[f"vacuum.event.{key}"]
        assert one.value == units and "falls 2.5 kPa to 39.5 kPa" in one.sentence
        assert ("likely to fall" in one.sentence) == (units > 0.5)
        assert (f"under 30 kPa for 2.6 s: {units:.0f} cups" in one.sentence) == (units > 0.5)
        settles = "settles at 40.7 kPa" if back_s == math.inf else f"is back after {back_s:.1f} s"
        assert settles in one.sentence
        lost = key == "all_vacuum_lost"
        judged = key in ("fall_off", "open_test") or (lost and len(running) == 1)
        assert one.limit == (0.0 if judged else None)
        assert bool(one.remedies) == lost
        assert ("What if" in one.sentence) == (lost and len(running) > 1)
        assert ("vacuum.event.fall_off_back" in found) == (key == "fall_off")
        if key == "fall_off":
            back = found["vacuum.event.fall_off_back"]
            assert back.value == back_s and back.limit == 5.0
            assert ("tune the control" in back.sentence) == (back_s > 5.0)
    if key == "all_vacuum_lost":
        free = told(run, ("VP1",), wish=False)[f"vacuum.event.{key}"]
        assert free.limit is None
