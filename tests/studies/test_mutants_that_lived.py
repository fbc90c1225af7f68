"""What faults put into the studies showed that nobody asked: each test kills one that lived."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from types import SimpleNamespace

import numpy as np
import pytest

from byrewright.plant.roles import StoresMilk
from byrewright.results import Finding, ResultBuilder
from byrewright.standards.rulebook import Rulebook, default_rulebook
from byrewright.studies.count import bore_mm
from byrewright.studies.day.findings import milkings
from byrewright.studies.day.moments import _doing
from byrewright.studies.day.record import MilkingSession
from byrewright.studies.day.study import simulate_days
from byrewright.studies.failures.answer import Answer
from byrewright.studies.failures.events import events_of
from byrewright.studies.failures.findings import _base, _cups, _shortens
from byrewright.studies.failures.maintenance import Out
from byrewright.studies.failures.rates import Hours
from byrewright.studies.failures.script import HALT, Script, Stage
from byrewright.studies.failures.tables import _cells, _milk, service
from byrewright.studies.failures.worth import Cost, Worth
from byrewright.studies.instruments import instrument_readings
from byrewright.studies.place import study_place
from byrewright.studies.sizing import size
from byrewright.studies.sizing.context import StudyContext
from byrewright.studies.sizing.deck import size_deck
from byrewright.studies.sizing.expected import note_expected
from byrewright.studies.sizing.sizes import with_others_off
from byrewright.studies.sizing.tank_cooling import pull_downs
from byrewright.studies.sizing.tank_runs import late_h
from byrewright.studies.sizing.vacuum import size_vacuum
from tests import plants
from tests.studies.benches import bench_of, duty, large, sized
from tests.studies.failing import ROWS, SMALL, analysed, example
from tests.studies.test_day import run_day
from tests.studies.test_day import small as small_day
from tests.studies.test_failures_stories import told


def test_a_motor_that_starts_with_more_may_be_smaller() -> None:
    """Would fail if a motor that gives twice its torque at the start had to be twice as large."""

    def needs(multiple: float) -> float:
        rules = {"deck.motor_start_multiple": multiple, "motor.service_margin": 1.0,
                 "deck.breakaway_multiple": 4.0}  # fmt: skip
        found = sized(large(), size_deck, rules=rules).finding("deck.drive_motor")
        assert "set by starting" in found.sentence and found.limit is not None
        return found.limit

    assert needs(1.2) == pytest.approx(needs(1.5) * 1.25, rel=0.01)


def test_the_wash_has_the_shortest_gap() -> None:
    """Would fail if a wash were given the longest time between two milkings."""
    found = duty(plants.rotary(40, 300))
    gaps = [m.gap_after_min for m in found.milkings if m.washed_after]
    assert len(set(gaps)) > 1 and found.wash_gap_min == min(gaps)


def test_a_header_is_counted_with_its_largest_pipe() -> None:
    """Would fail if a header were ordered for the smallest line that joins it."""
    plant = example(ROWS)
    headers = [m for m in plant.equipment.values() if m.kind == "header"]
    mixed = {m.id: {p.bore_mm for p in plant.pipes_at(m.id)} for m in headers}
    assert any(len(bores) > 1 for bores in mixed.values())
    assert all(bore_mm(plant, plant.equipment[tag]) == max(b) for tag, b in mixed.items())


def test_only_failures_that_drop_cups_are_told_for_it() -> None:
    """Would fail if the failure told for fallen cups were one by which none falls."""
    many, none = analysed(SMALL).cases[:2]
    ctx = StudyContext(example(SMALL), default_rulebook(), ResultBuilder("failures", "small"))
    costs = (
        Cost(many, None, 0.2, 0.0, 1.0, 36.0, 18.0),
        Cost(none, None, 0.1, 0.0, 1.0, 0.0, 40.0),
    )
    nil = Hours(0.0, 0.0, 0.0)
    _cups(ctx, Worth(costs, nil, nil, None, {}))
    (told,) = ctx.notes.findings
    assert told.value == 18.0 and told.sentence.startswith(f"{many.event.id}: 36 cups fall")


def test_a_cold_heater_is_mended_by_the_water_of_its_month() -> None:
    """Would fail if the year's last month asked for water of the next."""
    start = run_day(small_day({"heater_kw": 0.5}), month=12).finding("day.wash_start")
    assert start.verdict == "fails" and start.remedies


@cache
def readings() -> dict[str, Finding]:
    """What instruments should read, of an example whose heaters are hot in time."""
    found = instrument_readings(example(SMALL), default_rulebook()).findings
    return {f.name: f for f in found}


def test_the_thermometer_reads_what_sizing_says_of_a_cold_day() -> None:
    """Would fail if the return of the hot wash were foretold for the warmest month."""
    told = size(example(SMALL)).finding("wash.end_temperature").value
    assert readings()["reading.wash_return"].value == pytest.approx(told, abs=0.06)


def test_a_reading_is_told_with_the_machine_that_it_is_read_at() -> None:
    """Would fail if a reading of WH1 were told of "Hours to hot"."""
    at = [f for n, f in readings().items() if n.startswith("reading.heat_up@")]
    assert at and all(f.sentence.startswith(f"{f.subject}: ") for f in at)


def test_amperes_are_told_on_the_phases_there_are() -> None:
    """Would fail if three phases were "3 phase", or one "1 phases"."""
    told = next(f for f in size(example(SMALL)).findings if f.key == "power.demand")
    assert " A on 3 phases at " in told.sentence


def test_milk_is_warm_only_where_there_is_some() -> None:
    """Would fail if the warmest milk after a failure stood for none, or none for it."""

    one = next(iter(told("GL1 slip ring lost").day.values()))
    assert _milk(replace(one, milk_c=5.04)) == 5.0
    assert _milk(replace(one, milk_c=0.0)) == _milk(None) == "-"


def test_a_milking_lasts_until_the_deck_is_empty() -> None:
    """Would fail if what happens while the last cows leave were told of an idle plant."""
    one = MilkingSession(
        2, "morning", *np.arange(5) * 1000.0, *(0.0,) * 9, 4.0, 1, True, np.zeros((1, 1))
    )
    assert one.last_off_s < one.left_s < one.wash_end_s
    assert _doing([one], one.left_s - 1) == ("milking", "morning")
    assert _doing([one], one.left_s + 1) == ("wash", "morning")
    assert _doing([replace(one, left_s=0.0)], one.last_off_s - 1) == ("milking", "morning")
    assert _doing([one], one.wash_end_s) == ("idle", "")


def test_a_wash_that_no_mode_does_is_not_judged() -> None:
    """Would fail if a plant without a mode that washes were told how warm its wash comes back."""
    plant = example(SMALL)
    dry = {n: m for n, m in plant.modes.items() if "wash" not in m.does}
    found = size(plant.model_copy(update={"modes": dry})).finding("wash.end_temperature")
    assert found.verdict == "unknown" and "No mode washes yet" in found.sentence


@pytest.mark.parametrize(
    ("count", "redundancy", "said"),
    [(1, "none", ""), (1, "duty-and-standby", ""), (2, "shared-running", " with its twin off"),
     (3, "shared-running", " with any one off"), (3, "none", "")],
)  # fmt: skip
def test_what_stands_still_is_told(count: int, redundancy: str, said: str) -> None:
    """Would fail if a machine were said to do its duty with one off that there is none of."""
    pump = plants.rotary().equipment["VP1"].model_copy(update={"count": count})
    assert with_others_off(pump, [pump], redundancy) == said  # type: ignore[arg-type]


def test_pumps_that_all_run_give_their_air_to_the_units_together() -> None:
    """Would fail if pumps without a standby were not divided among the units they milk with."""
    plant = plants.rotary(40, 300)
    wishes = plant.wishes.model_copy(update={"redundancy": "none"})
    result = sized(plant.model_copy(update={"wishes": wishes}), size_vacuum, note_expected)
    (row,) = (r for r in result.table("expected").rows if r[0] == "pump capacity a unit")
    pumps = [m for m in plant.equipment.values() if m.kind == "vacuum_pump"]
    total = sum(p.count * p.capacity_l_min_free for p in pumps)  # type: ignore[attr-defined]
    assert row[2] == pytest.approx(total / 40, abs=0.01)


@pytest.mark.parametrize(("count", "left"), [(2, 1 / 2), (3, 2 / 3), (4, 1 / 2)])
def test_a_lift_group_takes_half_of_the_drives(count: int, left: float) -> None:
    """Would fail if a deck turned on, or faster, with half of its drives lifted out."""
    plant = plants.rotary()
    drives = plant.equipment["DU1"].model_copy(update={"count": count})
    plant = plant.model_copy(update={"equipment": {**plant.equipment, "DU1": drives}})
    (event,) = (e for e in events_of(plant) if e.id == "DU1 a lift group is out")
    assert [hit.amount for hit in event.variants[0]] == pytest.approx([left])


def test_a_plant_that_does_not_milk_as_drawn_is_wrong_even_where_people_help() -> None:
    """Would fail if a file whose milking mode needs hands to milk were said to hold."""
    acts = next(c.answer.acts for c in analysed(SMALL).cases if c.answer.acts)
    for base in (Answer(False, why="V9 is shut"), Answer(True, acts), Answer(True)):
        ctx = StudyContext(example(SMALL), default_rulebook(), ResultBuilder("failures", "small"))
        _base(ctx, replace(analysed(SMALL), base=base))
        assert [f.verdict for f in ctx.notes.findings] == ([] if base.untouched else ["fails"])


def test_a_tank_is_made_larger_for_the_hours_without_its_source() -> None:
    """Would fail if a fresh-water tank grew by more than a step and what rounds it up."""
    plant = example(SMALL)
    (tank, *_) = [m for m in plant.equipment.values() if getattr(m, "holds", "") == "fresh"]
    large = tank.model_copy(update={"volume_l": 100_000.0})
    plant = plant.model_copy(update={"equipment": {**plant.equipment, tank.id: large}})
    case = next(c for c in analysed(SMALL).cases
                if plant.equipment[c.event.machine].kind == "water_source")  # fmt: skip
    ctx = StudyContext(plant, default_rulebook(), ResultBuilder("failures", "small"))
    wider = _shortens(ctx, analysed(SMALL), Cost(case, None, 0.1, 0.0, 1.0, 0.0, 40.0))
    assert {r.of: r.to for r in wider}[tank.id] == 125_000.0


def test_what_is_done_before_a_machine_goes_out_is_told() -> None:
    """Would fail if valves to set by hand before a service were told as nothing."""
    acts = next(c.answer.acts for c in analysed(SMALL).cases if c.answer.acts)
    told = service(
        [Out("A", "pump", True, "", acts, 1.0, ()), Out("B", "pump", True, "", (), 0.0, ())]
    )
    assert [row[3] for row in told.rows] == ["; ".join(a.text for a in acts), "nothing"]


def test_cows_wait_until_people_have_acted_and_then_for_what_goes_slower() -> None:
    """Would fail if a failure that people answer by stopping were told to keep no cow waiting."""
    nothing = Stage(0.0, (), ())
    slower = Stage(600.0, (("drive", "DU1", 0.5),), ())
    assert Script((nothing, slower), 3600.0).longest_wait_s == 600.0 + 0.5 * 3000.0
    assert Script((nothing, Stage(600.0, HALT, ())), 3600.0).longest_wait_s == 3600.0
    assert Script((nothing,), 3600.0).longest_wait_s == 0.0


@pytest.mark.parametrize(("pace", "goes_on", "cells"), [
    (1.0, True, "--"), (0.7, True, "-~"), (0.0, False, "x-"),
])  # fmt: skip
def test_a_failure_that_slows_milking_is_marked_for_it(
    pace: float, goes_on: bool, cells: str
) -> None:
    """Would fail if the matrix called every failure slow but those that are."""
    case = replace(analysed(SMALL).cases[0], answer=Answer(goes_on, pace=pace))
    stands, _, slower, *_ = _cells(analysed(SMALL), Cost(case, None, 0.0, 0.0, 0.0), ())
    assert stands + slower == cells


def test_a_second_milking_warms_what_the_first_left() -> None:
    """Would fail if the blend in a tank of two milkings were told as none, or warmer than the milk
    that comes, or colder than what stands."""
    ctx = bench_of(plants.rotary())
    _, blend = pull_downs(ctx, duty(plants.rotary()), ctx.plant.machines(StoresMilk)[0], 4.0, 18.0)
    assert blend is not None and 4.0 < blend < 18.0


@pytest.mark.parametrize(("minute", "late"), [(300.0, 2.0), (100.0, 0.0), (None, None)])
def test_milk_is_late_from_the_end_of_filling_on(minute: float | None, late: float | None) -> None:
    """Would fail if hours until milk is cold were not hours, or were told of milk that never is."""
    run, fill = SimpleNamespace(minutes_until=lambda _: minute), SimpleNamespace(minutes=180.0)
    assert late_h(run, fill, 4.0) == late  # type: ignore[arg-type]


def test_the_bar_of_a_simulation_fills_once() -> None:
    """Would fail if the share of the work that is done ran past all of it, or back."""
    told: list[float] = []

    def say(word: str, share: float) -> None:
        if word == "simulating":
            told.append(share)

    simulate_days(small_day(), default_rulebook(), days=3, progress=say)
    assert told == sorted(told) and 0 < told[0] < told[-1] == 1.0


def test_the_air_gap_of_a_drain_is_never_under_20_mm() -> None:
    """Would fail if a farm's own rule let a small drain end in its gully, or asked for more."""

    def least(bores: float) -> tuple[float, float]:
        steep = {"place.drain_slope_small_pct": 8.0, "place.air_gap_bores": bores}
        found = study_place(example(ROWS), Rulebook(steep)).finding("place.gravity")
        pipe = next(p for p in example(ROWS).pipes if found.sentence.startswith(f"{p.id} has"))
        assert found.limit
        return found.limit, pipe.bore_mm / 1000

    (none, bore_m), (three, same_m) = least(0.1), least(3.0)
    assert bore_m == same_m and least(0.2)[0] == none
    assert three - none == pytest.approx(3 * bore_m - 0.02, abs=0.001)


def test_a_milking_that_goes_on_is_told_with_what_it_took_so_far() -> None:
    """Would fail if a milking asked for at one and still going on at half past seven were told as
    less or more than six and a half hours."""
    ctx = StudyContext(plants.rotary(), default_rulebook(), ResultBuilder("day", "small"))
    one = SimpleNamespace(name="first", ended=False, asked_s=3600.0, target_h=5.0)
    run = SimpleNamespace(sessions=[one], seen_until_s=7.5 * 3600)
    milkings(ctx, run)  # type: ignore[arg-type]
    (found,) = ctx.notes.findings
    assert (found.value, found.limit, found.verdict) == (6.5, 5.0, "fails")
