"""What condition a plant is in: causes from complaints and readings, by the plant's own physics."""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np
import pytest

import byrewright as bw
from benchmarks.faulty import Faulty
from byrewright.errors import ByrewrightError
from byrewright.plant.read import read_plant
from byrewright.results import Result
from byrewright.site.condition import ahead, matrix
from byrewright.site.condition.causes import (
    Reading,
    causes,
    diagnose,
    group_shares,
    model_of,
)
from byrewright.site.condition.figures import figures_of, with_figures
from byrewright.site.condition.fit import Fit, fit
from byrewright.site.condition.forward import Forward
from byrewright.site.condition.infer import NONE, Model, believe
from byrewright.site.condition.study import diagnosis_result
from byrewright.site.condition.taken import Taken, of_entries, typed
from byrewright.site.log import New
from byrewright.site.log.entry import sealed
from byrewright.standards.rulebook import default_rulebook
from tests.plant.small import SMALL

EXAMPLE = "examples/rotary_spring_ice/plant.yaml"


@pytest.fixture(scope="module")
def model() -> Model:
    """The model of an example, worked out once."""
    return model_of(read_plant(EXAMPLE).sound())


def test_a_pump_that_gives_too_little_is_named_with_what_cannot_be_told_apart(model: Model) -> None:
    """Would fail if a worn pump were not found, or were claimed to be told from a slipping belt."""
    low = [Reading("pump_capacity@VP1", 3600, 50), Reading("pump_capacity@VP2", 4600, 50)]
    first = causes(model.plant, ["vacuum low"], low)[0]
    assert first.tag == "VP1"
    assert set(first.faults) == {"VP1 worn", "VP1 belt slips"}
    assert first.share > 0.9
    assert "No reading of this plant tells these apart" in first.sentence
    assert first.next is None


@pytest.mark.parametrize(
    ("l_min", "stops", "fits"), [(200, True, True), (2000, False, True), (9000, False, False)]
)
def test_a_pump_is_said_to_stand_only_if_it_gives_nothing(
    model: Model, l_min: float, stops: bool, fits: bool
) -> None:
    """Would fail if a pump that gives less than half were said to stand, or what no fault explains
    were laid on one."""
    found = diagnose(model.plant, [], [Reading("pump_capacity@VP1", l_min, 80)])
    assert found.fits == fits and found.decided == fits
    assert not fits or (found.causes[0].faults == ("VP1 stops",)) == stops
    said = diagnosis_result("A", found, [], []).findings[0]
    assert (said.verdict == "fails") == fits
    assert ("nor two of them, explains what was read" in said.sentence) != fits


def test_a_second_process_works_the_causes_out(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Would fail if a pack waited for what a helper could have done, or missed what it left."""
    monkeypatch.setattr(os, "cpu_count", lambda: 2)
    path, rules = tmp_path / "plant.yaml", default_rulebook()
    path.write_text(SMALL.replace("Test Hollow", "Two Processes"), encoding="utf-8")
    plant = read_plant(path).sound()
    kept = matrix.kept_at(plant, rules)
    kept.unlink(missing_ok=True)
    with ahead.beside(path, kept), monkeypatch.context() as only_there:
        only_there.setattr(matrix, "_made", None)
        there = matrix.matrix_of(plant, rules)
    assert len(there.faults) > 10
    kept.unlink()
    here = matrix.matrix_of(plant, rules)
    assert here.faults == there.faults and np.array_equal(here.deviation, there.deviation)


def test_a_complaint_alone_asks_for_a_measurement(model: Model) -> None:
    """Would fail if milk that comes warm did not lead to the cooler, or nothing came next."""
    found = diagnose(model.plant, ["milk warm"])
    assert not found.decided
    assert {"PC1", "WF1"} & {c.tag for c in found.causes[:4]}
    assert found.next[0].test == "outlet temperature and approach"
    assert found.causes[0].next == found.next[0]


def test_readings_as_predicted_speak_for_no_fault(model: Model) -> None:
    """Would fail if a sound plant were given a fault because one was looked for."""
    usual = dict(zip(model.matrix.index, model.matrix.usual, strict=True))
    told = [Reading(c.id + ("#1" if c.each else ""), usual[c.id]) for c in model.matrix.columns]
    found = diagnose(model.plant, [], told)
    assert found.causes[0].faults == ("no fault",)


def test_one_pulsator_of_many_is_named_by_its_number(model: Model) -> None:
    """Would fail if the seventh pulsator's fault were laid on all of them."""
    told = [Reading("phase_d_ms@PU1#7", 120, 2), Reading("phase_d@PU1#7", 12, 0.3),
            Reading("phase_d_ms@PU1#3", 249, 2), Reading("limping@PU1#7", 13, 0.5)]  # fmt: skip
    first = causes(model.plant, [], told)[0]
    assert first.sentence.startswith("PU1 no. 7")


def test_a_non_return_valve_and_liners_are_causes_of_their_own(model: Model) -> None:
    """Would fail if water lost back through a partner were laid on the pump that runs, or worn
    liners on the cows."""
    low = [Reading("milk_pump_flow@MP2", 190, 3), Reading("back_flow@NR11", 20, 2)]
    assert causes(model.plant, [], low)[0].faults == ("NR11 leaks back",)
    old = [Reading("milk_out", 425, 3), Reading("liner_age@MU1", 140, 5)]
    assert causes(model.plant, ["slow milking"], old)[0].faults == ("MU1 has worn liners",)
    key = {f.key: f for f in model.matrix.faults}
    assert "vacuum_capacity@VP1" not in key["NR1 sticks shut"].moves, "its pump is as it was"


def test_a_complaint_that_there_is_not_is_refused(model: Model) -> None:
    """Would fail if a slip of the pen were taken as nothing said."""
    with pytest.raises(ByrewrightError, match="did you mean vacuum low"):
        causes(model.plant, ["vacum low"], (), default_rulebook())


def _read_at(model: Model, values: dict[str, float], checks: tuple[str, ...]) -> list[Taken]:
    """Readings of the plant with some figures changed, each a little off by a known draw."""
    forward = Forward(model.plant, model.rules, figures_of(model.plant, model.rules))
    found = forward.at(values)
    assert found is not None
    rng = np.random.default_rng(7)
    columns = {c.id: c for c in model.matrix.columns}
    return [
        Taken(Reading(c, found[c] + 0.5 * columns[c].sigma(found[c]) * rng.standard_normal()),
              "2026-03-05", "Anna Example")
        for c in checks
    ]  # fmt: skip


def test_a_fit_finds_what_was_put_in_and_says_how_sure(model: Model) -> None:
    """Would fail if a figure put into the model were not found again inside its interval."""
    put = {"vacuum_capacity@VP1": 0.8, "system_leak": 4.0, "cooler_ua@PC1": 0.6,
           "heater_kw@WH1": 0.6, "milk_pump_head@MP1": 0.8}  # fmt: skip
    checks = ("pump_capacity@VP1", "system_leak", "effective_reserve", "cooler_water_in@PC1",
              "cooler_approach@PC1", "cooler_milk_out@PC1", "cooler_water_flow@PC1",
              "cooler_milk_flow@PC1", "heat_up@WH1", "milk_pump_flow@MP1")  # fmt: skip
    found = {f.figure.key: f for f in
             fit(model.plant, model.rules, _read_at(model, put, checks)).fitted}  # fmt: skip
    for key, times in put.items():
        assert found[key].low <= times <= found[key].high, key
        assert found[key].high / found[key].low < 1.8


def test_a_fitted_milk_out_says_which_milking_it_is_of(model: Model) -> None:
    """Would fail if a mean over the day were put in for the slowest milking without a word."""
    empty = diagnosis_result("A", diagnose(model.plant), [], [])
    for put, says in (({"milk_out@herd": 1.2}, True), ({"cooler_ua@PC1": 0.6}, False)):
        checks = ("milk_out", "cooler_approach@PC1", "cooler_milk_out@PC1")
        found = fit(
            model.plant, model.rules, _read_at(model, put, checks[:1] if says else checks[1:])
        )
        assert any("slowest milking" in n for n in found.told(empty).notes) == says


@pytest.mark.parametrize(("sigmas", "said"), [(-9.0, True), (2.0, False)])
def test_a_reading_that_no_fitted_figure_gives_is_told(sigmas: float, said: bool) -> None:
    """Would fail if a reading that no figure explains were fitted as near as may be, unsaid."""
    found = Fit({}, (), (), (), ("pump_capacity@VP2", sigmas)).told(Result("sizing", "one", ()))
    assert any("pump_capacity@VP2 lies 9 standard" in n for n in found.notes) == said


def test_a_milk_out_that_follows_the_yield_is_fitted_in_seconds(model: Model) -> None:
    """Would fail if a herd without a stated time were told to milk out in 0.995 s."""
    herd = model.plant.herd.model_copy(update={"milk_out_time_s": None})
    figures = figures_of(model.plant.model_copy(update={"herd": herd}), model.rules)
    stated = figures["milk_out@herd"].stated
    assert stated is not None and 200.0 < stated < 600.0


def test_a_typed_reading_is_in_its_own_unit_and_of_a_machine_that_there_is(model: Model) -> None:
    """A gauge in inHg would be taken for kPa and a thermometer's plus or minus for a temperature; a
    pulsator that the plant has not would be found guilty."""
    plant = model.plant
    one = typed("working_vacuum=12.4+-0.1 inHg", plant)
    assert (one.value, one.uncertainty) == pytest.approx((41.99, 0.3386), rel=1e-3)
    one = typed("cooler_milk_out@PC1=39.2 degF +- 0.9 degF", plant)
    assert (one.value, one.uncertainty) == pytest.approx((4.0, 0.5))
    assert typed("pump_capacity@VP1=100 cfm", plant).value == pytest.approx(2831.7, rel=1e-4)
    count = plant.equipment["PU1"].count
    assert typed(f"phase_d@PU1#{count}=9", plant).check.endswith(f"#{count}")
    for text, said in ((f"phase_d@PU1#{count + 1}=9", f"PU1 stands for {count}"),
                       ("working_vacuum=12 degF", "not a pressure"),
                       ("working_vacuum=12 inHg+-1kPa", "two units")):  # fmt: skip
        with pytest.raises(ByrewrightError, match=said):
            typed(text, plant)


def test_what_readings_do_not_tell_apart_stays_as_stated(model: Model) -> None:
    """Would fail if a heater's power were fitted to a time that its setting explains as well."""
    one = fit(
        model.plant,
        model.rules,
        [Taken(typed("effective_reserve=7000+-100", model.plant), "", "A")],
    )
    assert not one.fitted
    assert any("cannot tell it from" in n.why for n in one.not_told)
    plant, rules = one.put_in(model.plant, model.rules)
    assert plant == model.plant and rules is model.rules


def test_a_study_as_measured_uses_and_lists_the_fitted_figures() -> None:
    """Would fail if `as_measured` changed the plant given, or a result hid what it rests on."""
    plant = bw.read(EXAMPLE)
    worn = bw.as_measured(plant, ["pump_capacity@VP1=3600+-50", "pump_capacity@VP2=4600+-50"])
    found = bw.vacuum(worn)
    told = found.finding("vacuum.test.pump_capacity@VP1").value
    assert told is not None and abs(told - 3600) < 100
    listed = [a for a in found.result.assumptions if a.where == "VP1 (as measured)"]
    assert len(listed) == 1 and "pump_capacity@VP1" in listed[0].why
    assert plant.sound.equipment == bw.read(EXAMPLE).sound.equipment


def test_a_pump_that_gave_nothing_is_taken_as_stopped() -> None:
    """Would fail if it were fitted to an eighth of its plate, stood by for its partner, or the
    leakage that was read moved with it."""
    plant = bw.read(EXAMPLE)
    reads = ["pump_capacity@VP1=20+-50", "pump_capacity@VP2=4600+-50", "system_leak=120+-10"]
    found = bw.vacuum(bw.as_measured(plant, reads))
    listed = {a.where: a for a in found.result.assumptions if "as measured" in a.where}
    assert listed["VP1 (as measured)"].value == 0.0 and "VP2 (as measured)" in listed
    rows = {r[0]: r for r in found.result.table("vacuum.fitted").rows}
    assert rows["VP1: capacity"][2:5] == (0.0, 0.0, 70.0)
    trips = found.finding("vacuum.event.all_vacuum_lost").sentence
    assert trips.startswith("VP2 alone trips: ") and "VP1" not in trips
    leak = found.finding("vacuum.test.system_leak").value
    assert leak is not None and abs(leak - 120.0) < 10.0
    assert not any("standard deviations" in n for n in found.result.notes)
    some = bw.as_measured(plant, ["pump_capacity@VP1=600+-50"]).sound  # little, and not nothing
    assert all(some.position(m, "VP1") != "stopped" for m, one in some.modes.items()
               if "milking" in one.does)  # fmt: skip
    none = bw.as_measured(plant, ["pump_capacity@VP1=0", "pump_capacity@VP2=0"]).sound
    assert {none.position(m, p) for m in none.modes for p in ("VP1", "VP2")} == {"stopped"}


def test_the_case_of_the_documentation(model: Model) -> None:
    """Would fail if docs/diagnose.md told a case that does not go so."""
    low = Reading("working_vacuum", 41.9, 0.2)
    first = diagnose(model.plant, ["vacuum low"], [low])
    assert not first.decided
    assert {"VP2 stops"} & {f for c in first.causes for f in c.faults}
    then = diagnose(model.plant, ["vacuum low"], [low, Reading("pump_capacity@VP2", 0, 50)])
    assert then.decided and then.causes[0].sentence == "VP2 stops."


def test_ten_faults_are_looked_for_and_found(model: Model) -> None:
    """Would fail if the next measurements led astray: the benchmark's small self, other seeds."""
    faulty = Faulty(model.plant, model.rules)
    often = np.array([model.matrix.faults[k].a_year ** 0.5 for k in sorted(faulty.home)])
    rng = np.random.default_rng(20260305)
    right, cases = 0, 0
    for k in rng.choice(sorted(faulty.home), 10, p=often / often.sum()):
        told = faulty.run([int(k)], rng)
        assert told is not None
        if told.alike:
            continue
        cases += 1
        right += told.order[0] == faulty.home[int(k)]
    assert cases >= 8
    assert right >= 0.85 * cases


def test_a_complaint_tells_little_more_of_what_was_read(model: Model) -> None:
    """Would fail if milk that was read as warm and two complaints of it counted as three witnesses:
    a plant that is a little warmer than others would be given a fault (80 times the odds)."""
    usual = model.matrix.usual[model.index["cooler_milk_out@PC1"]]
    warm = [Reading("cooler_milk_out@PC1", usual + 2.0)]

    def odds(said: list[str]) -> float:
        sound = group_shares(believe(model, warm, said))[NONE]
        return (1.0 - sound) / sound

    assert 1.0 < odds(["milk warm", "tank slow to cool"]) / odds([]) < 20.0


def test_two_dryers_share_one_rule(model: Model) -> None:
    """Would fail if the second dryer, sound, hid that the first one froze."""
    figures = figures_of(model.plant, model.rules)
    values = {"dryer_works@AD1": 0.4, "dryer_works@AD2": 1.0}
    _, rules = with_figures(model.plant, model.rules, figures, values)
    usual = model.rules.number("air.dryer_works_share")
    assert rules.number("air.dryer_works_share") == pytest.approx(0.4 * usual)


def test_one_pulsator_a_little_slow_is_not_within_what_is_usual(model: Model) -> None:
    """Would fail if the spread of a rate were counted twice, so that three pulses a minute off were
    nothing."""
    usual = model.matrix.usual[model.index["pulsation_rate@PU1"]]
    told = [Reading("pulsation_rate@PU1#7", 0.94 * usual), Reading("pulsation_rate@PU1#3", usual)]
    first = causes(model.plant, [], told, ahead=False)[0]
    assert first.sentence == "PU1 no. 7 runs too slow." and first.share > 0.95


def test_what_is_usual_is_not_taken_for_a_little_of_a_fault(model: Model) -> None:
    """Would fail if a fault were tried at less than its slightest grade."""
    points, matrix = model.points, model.matrix
    i = model.index["pump_capacity@VP1"]
    k = [f.key for f in matrix.faults].index("VP1 belt slips")
    mine = points.fault == k
    slight = matrix.usual[i] - matrix.of_fault[k][0][i]
    assert np.all(-points.move[mine, i] > 1.1 * slight)
    tail = -points.move[mine, i] - 2 * np.abs(points.half[mine, i])
    assert tail.min() > 0.6 * slight, "nor does the slightest reach far into what is usual"


def test_sound_plants_differ_as_drawn_not_by_straight_lines_alone(model: Model) -> None:
    """Would fail if leaks, of which more is farther off than less, made sound plants look faulty:
    what they read on the average and how far apart is drawn, all figures at once."""
    i = model.index["milk_leak"]
    matrix = model.matrix
    assert 0.02 < matrix.shift[i] / matrix.usual[i] < 0.09  # exp(0.3 ** 2 / 2) is 1.046
    told = believe(model, [Reading("milk_leak", float(matrix.usual[i] + matrix.shift[i]))])
    assert abs(told.z[0]) < 1e-9
    lines = float((matrix.deviation[:, i] ** 2).sum())
    assert lines < model.covers[0][i, i] < 1.2 * lines


def test_pipes_one_after_the_other_are_one_cause(model: Model) -> None:
    """Would fail if a technician were sent to open one of two lines in a row as the one that is
    blocked: what one does to the readings, a little more or less of it does in the other."""
    assert sorted(sorted(row) for row in model.in_a_row) == [
        ["L101", "L102", "L103"], ["L104", "L105", "L106"], ["L107", "L108"], ["L110", "L111"],
        ["L112", "L113"],
    ]  # fmt: skip
    groups = [{model.matrix.faults[k].key for k in some} for some in model.groups]
    assert any({"L107 blocked in part", "L108 blocked in part"} <= g for g in groups)
    forward = Forward(model.plant, model.rules, figures_of(model.plant, model.rules))
    one, other = forward.at({"air_line@L101": 0.5}), forward.at({"air_line@L102": 0.737})
    assert one and other and one["drop_pump@VP1"] > 1.2 * forward.usual["drop_pump@VP1"]
    assert all(one[k] == pytest.approx(other[k], rel=0.02, abs=0.02) for k in one)


def test_between_two_grades_the_way_is_that_of_the_studies_where_it_bends() -> None:
    """Would fail if a cooler fouled between its grades, where the milk is late but not yet too
    late, were told as another fault: a straight line has the tank cool slowly at once. With less
    jacket than the example has, so that its tanks feel the cooler at all."""
    plant = read_plant(EXAMPLE).sound()
    weak = {t: plant.equipment[t].model_copy(update={"cooling_kw": 8.0}) for t in ("TK1", "TK2")}
    model = model_of(plant.model_copy(update={"equipment": {**plant.equipment, **weak}}))
    matrix = model.matrix
    k = [f.key for f in matrix.faults].index("PC1 fouled")
    forward = Forward(model.plant, model.rules, figures_of(model.plant, model.rules))
    low, high = matrix.faults[k].moves["cooler_ua@PC1"][1:]
    found = forward.at({"cooler_ua@PC1": (low * high) ** 0.5})
    assert found is not None and len(matrix.of_fault[k]) == 5
    mine = np.array([found[c.id] for c in matrix.columns])
    assert matrix.of_fault[k][3] == pytest.approx(mine, rel=1e-6, abs=1e-6)
    straight = (matrix.of_fault[k][2] + matrix.of_fault[k][4]) / 2.0
    i = model.index["cooling_time@TK1"]
    assert straight[i] > 1.5 * mine[i], "else this plant proves nothing"
    told = [Reading(c, found[c]) for c in ("cooling_time@TK1", "tank_blend@TK1")]
    assert causes(model.plant, ["milk warm"], told, ahead=False)[0].faults == ("PC1 fouled",)


def test_metered_milk_reaches_the_herd_out_of_the_log() -> None:
    """Would fail if what the milk of one unit tells of the herd were left in the log, unfitted."""
    body = {"figure": "measured.milk_out", "number": 3, "value": 322.5, "uncertainty": 9.0,
            "at": "MU1 no. 3", "sha256": "s"}  # fmt: skip
    entry = sealed(New("reading", 1.0, "MU1", "anna", body), "here", None, 1.0)
    assert [t.reading for t in of_entries([entry])] == [Reading("milk_out", 322.5, 9.0)]
