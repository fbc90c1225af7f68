"""The day study: findings an engineer can act on, practice's magnitudes, comparison, the sheet."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from functools import cache
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from byrewright.engine import shape as sh
from byrewright.plant.plant import Plant
from byrewright.plant.programme import loads_direct
from byrewright.plant.roles import StandsCows
from byrewright.results import Result
from byrewright.standards.cooling import temperature_rule
from byrewright.standards.practice import MAGNITUDES
from byrewright.standards.rulebook import Rulebook, default_rulebook
from byrewright.studies.day import compare, remedies, run_day
from byrewright.studies.day.findings import CLOSES, closure, labour_h
from byrewright.studies.day.record import Run
from byrewright.studies.day.study import report, simulate_days
from byrewright.studies.day.temperatures import (
    _deadline_s,
    _during,
    _little_milk,
    _next_s,
    _no_milk_met_milk,
)
from byrewright.studies.day.washes import _round
from byrewright.studies.sizing.wash_heat import hotter_wash
from tests import plants
from tests.studies.benches import bench_of

TURN_L = 0.25  # share: one turn's milk follows from cows and yield, but for cows at the edges


@cache
def usual() -> Run:
    """A run of the usual test plant."""
    return simulate_days(plants.rotary(), default_rulebook(), seed=4)


@cache
def result(control: str = "level_led") -> Result:
    """The study of the usual test plant."""
    return run_day(plants.rotary(pump_control=control), seed=4)


def test_the_questions_of_the_day_are_answered() -> None:
    """Would fail if one of the questions the study is for were no longer asked."""
    asked = (
        "milking_on_time", "go_rounds", "yard_wait", "vessel_full", "vessel_dry", "milk_lost",
        "withheld_milk", "collections", "calf_milk", "balance", "cooler_outlet",
        "milk_temperature_1", "wash_fits", "wash_return", "vacuum_least", "air_least", "load_most",
        "energy_1000_l", "water_litre", "energy_cost", "labour", "chemicals",
    )  # fmt: skip
    assert {f"day.{k}" for k in asked} <= {f.key for f in result().findings}
    shown = ("milkings", "groups", "cows", "machines", "loads")
    assert {f"day.{k}" for k in shown} <= {t.key for t in result().tables}
    every = [*result().findings, *result().tables, *result().series]
    assert all(one.key.startswith("day.") for one in every)


@pytest.mark.parametrize(
    ("load_share", "verdict"), [(0.8, "holds"), (0.9, "tight"), (0.99, "tight"), (1.02, "fails")]
)
def test_a_supply_fails_only_where_no_mix_of_loads_passes(load_share: float, verdict: str) -> None:
    """Would fail if the day failed a load, half of it heaters, that sizing finds within the supply;
    or passed for sure what motors alone would draw too much of."""
    most = result().finding("day.load_most").value
    plant = plants.rotary()
    supply = plant.site.supply.model_copy(update={"limit_kva": most / load_share})
    site = plant.site.model_copy(update={"supply": supply})
    run = replace(usual(), plant=plant.model_copy(update={"site": site}))
    assert report(run, default_rulebook()).finding("day.load_most").verdict == verdict


def test_nothing_internal_or_empty_is_said() -> None:
    """Would fail if an engineer were shown a word that is only Python's."""
    text = result().to_json()
    data = json.loads(text)
    for one in data["findings"]:
        assert one["sentence"] and "None" not in one["sentence"] and "nan" not in one["sentence"]
        assert "[]" not in one["sentence"] and one["title"]


def test_the_same_seed_gives_the_same_bytes() -> None:
    """Would fail if anything in the day were left to chance that no seed sets."""
    again = run_day(plants.rotary(), seed=4).to_json()
    assert again == result().to_json()
    assert run_day(plants.rotary(), seed=5).to_json() != again


def test_work_of_milking_is_that_of_its_people() -> None:
    """Would fail if hours of work were not the hours that cows are on the deck, for each."""
    run = usual()
    hours = [(b.left_s - b.begun_s) / 3600 for b in run.sessions]
    assert labour_h(run) == pytest.approx(3 * sum(hours))


def test_milk_is_conserved_over_days() -> None:
    """Would fail if milk, water or heat were lost from one day to the next."""
    run = simulate_days(plants.rotary(), default_rulebook(), days=3, seed=2)
    assert all(abs(gap) < CLOSES for gap in closure(run).values())
    given = sum(b.kg for b in run.sessions)
    assert run.milk_kg == pytest.approx(given, rel=CLOSES)
    assert len(run.sessions) == 6


def test_one_turn_of_milk_and_two_loads() -> None:
    """Would fail on magnitudes: a turn's milk is stalls times milk a cow (common practice)."""
    run = usual()
    session = run.sessions[0]
    span = session.last_off_s - session.begun_s
    turn = session.kg * 480 / span
    assert turn == pytest.approx(60 * session.kg / 600, rel=TURN_L)
    tanker = run.plant.collections[0].model_copy(update={"tanker_l": 9000.0})
    later = tanker.model_copy(update={"at": "14:00"})
    two = run.plant.model_copy(update={"collections": (tanker, later)})
    again = simulate_days(two, default_rulebook(), seed=4)
    loads = again.all_loads
    assert len(loads) == 2
    # It takes milk as it comes: the fill valve shuts at nearly full, and the line runs on a moment.
    assert loads[0, sh.T_KG] == pytest.approx(9000 * 1.03, rel=0.005)
    assert loads[:, sh.T_KG].sum() == pytest.approx(run.all_loads[:, sh.T_KG].sum(), rel=0.02)


def test_a_large_tank_keeps_no_tanker_from_loading_direct() -> None:
    """Sizing would store for tankers that take milk as it comes, the day for tankers that load
    what stands: their water, tank washes and loads would differ."""
    tanker = plants.rotary().collections[0]
    loads = tuple(tanker.model_copy(update={"at": at, "tanker_l": 9000.0})
                  for at in ("05:00", "15:00"))  # fmt: skip
    tank = plants.rotary().equipment["TK1"].model_copy(update={"volume_l": 60000.0})
    plant = plants.rotary()
    plant = plant.model_copy(
        update={"collections": loads, "equipment": {**plant.equipment, "TK1": tank}}
    )
    for at, direct in ((loads, True), (loads[:1], False)):
        run = simulate_days(plant.model_copy(update={"collections": at}), default_rulebook())
        stood = run.all_loads[:, sh.T_LEFT] - run.all_loads[:, sh.T_AT]
        assert bool(stood.max() > 3600) is direct
        assert loads_direct(run.plant) is direct


def test_the_usual_plant_lies_inside_practice() -> None:
    """Would fail on a factor of two or a wrong unit (common practice, no source)."""
    plant = plants.rotary(turn_s=60 * 8.6, yield_l_day=28)
    r = run_day(plant, seed=4)
    run = simulate_days(plant, default_rulebook(), seed=4)
    hours = sum(b.last_off_s - b.begun_s for b in run.sessions) / 3600
    found = {
        "net_cows_h": r.finding("day.cows_an_hour").value,
        "mean_milk_l_min": run.milk_l / hours / 60,
        "cooler_approach_k": (r.finding("day.cooler_outlet").value or 0) - 11.0,
        "wash_min": (run.sessions[0].wash_end_s - run.sessions[0].left_s) / 60,
        "water_ratio": 2.0,
    }
    for key, value in found.items():
        assert value is not None
        low, high = MAGNITUDES[key].range_for(60)
        slack = 2.0 if key == "cooler_approach_k" else 0.0  # a large cooler may come nearer
        assert low - slack <= value <= high, (key, value, low, high)
    energy = r.finding("day.energy_1000_l").value
    # 35-60 kWh for 1000 L covers warmer milk and smaller coolers: here at least half, at most all.
    assert energy is not None and 15 < energy < 60


def test_withheld_milk_stays_apart_or_fails() -> None:
    """Would fail if the milk of marked cows could reach the tank without a word."""
    assert result().finding("day.withheld_milk").verdict == "holds"
    plant = plants.rotary(40, 120, withheld=4, WM1=None)
    found = run_day(plant).finding("day.withheld_milk")
    assert found.verdict == "fails" and "no way of its own" in found.sentence


def test_a_full_tank_is_seen() -> None:
    """Would fail if milk that no tank can hold vanished or were still called stored."""
    small = plants.machine("TK1", "bulk_tank", volume_l=4000, cooling_kw=60)
    bay = plants.machine("TB1", "tanker_bay")
    r = run_day(plants.rotary(TK1=small, TK2=None, CU2=None, V32=None, TB1=bay))
    assert r.finding("day.vessel_full@TK1").verdict == "fails"
    assert r.finding("day.milk_lost").verdict == "fails"
    assert "ran over at" in r.finding("day.vessel_full@TK1").sentence
    assert "earlier collection" in r.finding("day.vessel_full@TK1").sentence


def test_no_refrigeration_breaks_the_rule_of_the_region() -> None:
    """Would fail if warm milk in store passed."""
    warm = {t: plants.machine(t, "bulk_tank", volume_l=12000, cooling="none", cooling_kw=0)
            for t in ("TK1", "TK2")}  # fmt: skip
    plant = plants.rotary(**warm, CU1=None, CU2=None, PC1=plants.machine(
        "PC1", "plate_cooler", area_m2=4, water_ratio=1.0))  # fmt: skip
    r = run_day(plant)
    assert r.finding("day.milk_temperature_1").verdict == "fails"
    us = plant.model_copy(update={"site": plant.site.model_copy(update={"region": "US"})})
    assert "United States" in run_day(us).finding("day.milk_temperature_1").title
    nowhere = plant.model_copy(update={"site": plant.site.model_copy(update={"region": "Moon"})})
    assert run_day(nowhere).finding("day.milk_temperature_rule").verdict == "unknown"


def test_milk_that_is_taken_before_it_must_be_cold_is_judged_as_it_is_loaded() -> None:
    """Would fail if a tanker right behind each milking left nothing to judge, so that warm milk
    was `unknown`; and if a milking that met no milk of before were asked for a blend."""
    plant = plants.rotary(24, 100, milkings=1)
    tanker = plant.collections[0]
    usual = simulate_days(plant, default_rulebook())
    at = usual.clock(usual.sessions[0].last_off_s + 300)
    said = {}
    for kw in (60.0, 0.0):
        weak = {
            t: m.model_copy(update={"cooling_kw": kw, "cooling": "none" if not kw else "direct"})
            if m.KIND == "bulk_tank" else m
            for t, m in plant.equipment.items() if kw or m.KIND not in ("condensing_unit",)
        }  # fmt: skip
        soon = plant.model_copy(update={
            "equipment": weak, "collections": (tanker.model_copy(update={"at": at}),),
            "site": plant.site.model_copy(update={"region": "US"}),
        })  # fmt: skip
        said[kw] = report(simulate_days(soon, default_rulebook()), default_rulebook())
    for kw, found in said.items():
        first = found.finding("day.milk_temperature_1")
        assert first.value is not None and "loaded before then" in first.sentence, kw
        assert found.finding("day.milk_temperature_2").verdict == "holds"
    assert said[0.0].finding("day.milk_temperature_1").verdict == "fails"


def test_a_day_without_vacuum_says_that_nothing_is_milked() -> None:
    """Would fail if pumps that stand in every mode milked the herd in time."""
    plant = plants.rotary()
    still = {t: "stopped" for t, m in plant.equipment.items() if m.kind == "vacuum_pump"}
    modes = {n: m.model_copy(update={"positions": {**m.positions, **still}})
             for n, m in plant.modes.items()}  # fmt: skip
    r = run_day(plant.model_copy(update={"modes": modes}))
    assert r.finding("day.vacuum_made").verdict == "fails"
    assert not any(f.key == "day.vacuum_least" for f in r.findings)


def test_a_three_shift_day_that_leaves_no_time_to_wash_says_so() -> None:
    """Would fail if a wash that runs into the next milking were not seen."""
    plant = plants.rotary(24, 2150, milkings=3, turn_s=24 * 11.0, target_h=7.5)
    r = run_day(plant)
    assert r.finding("day.wash_fits").verdict == "fails"
    late = [f for f in r.findings if f.key == "day.milking_on_time" and "late" in f.sentence]
    assert late


def test_led_pumps_cool_better_than_stepped_ones() -> None:
    """Would fail if pump speed had no part in the outlet: a steady flow leaves cooler."""
    direct = {"BT1": None, "MP3": None, "MP4": None}
    outlets = {}
    for control in ("on_off", "level_led"):
        plant = plants.rotary(40, 240, pump_control=control, **direct)
        more = [plants.pipe(f"Y{i}", "GL1.fixed_milk", f"MF{i}.inlet") for i in (1, 2)]
        plant = plant.model_copy(update={
            "pipes": (*plant.pipes, *more),
            "equipment": {**plant.equipment, "PC1": plants.machine(
                "PC1", "plate_cooler", area_m2=8, water_ratio=1.5)},
        })  # fmt: skip
        outlets[control] = run_day(plant, seed=3).finding("day.cooler_outlet").value
    assert outlets["level_led"] < outlets["on_off"]


def test_washes_that_are_not_played_are_named() -> None:
    """Would fail if a result stood for washes that the day never plays, unsaid."""
    plant = plants.rotary(24, 60)
    usual = next(m for m in plant.modes.values() if "wash" in m.does)
    more = usual.model_copy(update={"name": "wash_to_bay", "does": ("wash", "tank_wash")})
    other = plant.model_copy(update={"modes": {**plant.modes, "wash_to_bay": more}})
    said = [a.value for a in run_day(other).assumptions if "not played" in a.meaning]
    assert "wash_to_bay" in str(said) and usual.name not in str(said).replace("wash_to_bay", "")


def test_two_days_side_by_side() -> None:
    """Would fail if comparing lost a finding or a difference."""
    both = compare(result("stepped"), result(), ("stepped", "led"))
    rows = both.table("day.compare").rows
    assert len(rows) == len(result().findings)
    energy = next(r for r in rows if str(r[0]).startswith("Electricity for milk"))
    assert float(energy[5]) == pytest.approx(float(energy[4]) - float(energy[3]), abs=1e-3)


def test_rows_of_fixed_stalls_are_milked_too() -> None:
    """Would fail if only rotaries could be stepped."""
    r = run_day(plants.rows())
    assert all(
        f.verdict in ("holds", "tight") for f in r.findings if f.key == "day.milking_on_time"
    )
    assert r.finding("day.go_rounds").value == 0.0
    assert "the deck" not in r.finding("day.milking_on_time").sentence  # there is none
    milk = [b[6] for b in r.table("day.milkings").rows]
    assert sum(float(m) for m in milk) == pytest.approx(200 * 28, rel=0.05)


def test_a_sock_is_changed_while_milking_goes_on() -> None:
    """Would fail if a full sock stopped the milk although its twin stands beside it."""
    short = {t: plants.machine(t, "milk_filter", area_m2=0.3, while_running=True, cows_a_sock=120)
             for t in ("MF1", "MF2")}  # fmt: skip
    run = simulate_days(plants.rotary(**short), default_rulebook(), seed=4)
    assert run.change("filters")[:, sh.SF_CHANGES].min() >= 2
    assert run.vessel("BT1")[sh.P_SPILT] == 0.0


def test_what_cooling_stages_and_refrigeration_did_is_told_as_it_was() -> None:
    """Would fail if the trickle before a pump stops were called freezing and much were not, or a
    machine that never ran were said to give its full duty."""
    run = usual()
    rows = run.compiled.tables.rows
    for share, told in ((0.005, False), (0.5, True)):
        last = run.last.copy()
        first = run.first.items[rows("exchangers")][0]
        stage, chiller = last.items[rows("exchangers")][0], last.items[rows("chillers")][0]
        stage[sh.SX_ICED] = first[sh.SX_ICED] + share * (stage[sh.SX_KG] - first[sh.SX_KG])
        chiller[sh.SR_HOURS] = run.first.items[rows("chillers")][0, sh.SR_HOURS]
        told_of = report(replace(run, last=last), default_rulebook()).findings
        freezes = [f for f in told_of if f.key == "day.milk_freezes"]
        assert bool(freezes) is told and all(f.verdict == "fails" for f in freezes)
        tag = run.compiled.names.chillers[0]
        ran = next(f for f in told_of if f.name == f"day.refrigeration_hours@{tag}")
        assert ran.sentence == f"{tag} never ran."


def test_water_in_milk_is_told_by_its_litres_and_its_share() -> None:
    """Would fail if water that came into a tank were told as none."""
    last = usual().last.copy()
    last.items[usual().compiled.vessel("TK1"), sh.WATER] += 60.0
    pure = report(replace(usual(), last=last), default_rulebook()).finding("day.milk_pure")
    kg = re.match(
        r"([\d.]+) kg of water and wash reached tank and tanker with (\d+)", pure.sentence
    )
    assert kg and pure.value is not None and 60.0 <= float(kg[1]) < 70.0
    assert pure.value == pytest.approx(100 * float(kg[1]) / float(kg[2]), rel=0.01)


def test_an_agitator_reaches_the_milk_from_a_share_of_its_tank_on() -> None:
    """Would fail if a tank were judged by its temperature before all its milk is stirred."""
    tank = usual().plant.equipment["TK1"]
    share = default_rulebook().number("tank.stirred_from_share")
    kg_l = default_rulebook().number("milk.density_kg_m3") / 1000
    assert usual().reach_kg("TK1") == pytest.approx(share * tank.volume_l * kg_l, rel=0.01)  # type: ignore[attr-defined]


def test_a_hot_day_makes_cold_dear() -> None:
    """Would fail if heat outside had no part in refrigeration, or the finding did not say it."""
    plant = plants.rotary()
    site = plant.site.model_copy(update={"hottest_c": 42.0})
    plant = plant.model_copy(update={"site": site})
    usual_day, hot_day = (run_day(plant, seed=4, hot=h) for h in (False, True))
    ran = [r.finding("day.refrigeration_hours@CU1") for r in (usual_day, hot_day)]
    assert ran[1].value > ran[0].value * 1.03  # a few kelvin over rating when milk comes
    assert "14 to 24 degC" in ran[0].sentence and "full duty" in ran[0].sentence
    assert "32 to 42 degC (a hot day)" in ran[1].sentence and "falls to 75 %" in ran[1].sentence
    energy = [r.finding("day.energy_1000_l").value for r in (usual_day, hot_day)]
    assert energy[1] > energy[0]


def test_seasons_follow_the_months() -> None:
    """Would fail if a year were run with one month's water."""
    from byrewright.studies.day.study import _month_of

    assert [_month_of(12, d) for d in (0, 30, 31, 61, 62)] == [12, 12, 1, 1, 2]
    cold, warm = (run_day(plants.rotary(40, 200), month=m).finding("day.cooler_outlet").value
                  for m in (1, 8))  # fmt: skip
    assert cold is not None and warm is not None and warm > cold + 2


@pytest.mark.parametrize("ending", ["svg", "png", "pdf"])
def test_the_sheet_is_drawn_the_same_each_time(tmp_path: Path, ending: str) -> None:
    """Would fail if the sheet could not be drawn, or held a date or a chance of its own."""
    from byrewright.studies.day.sheet import write_sheet

    names = [tmp_path / f"{i}.{ending}" for i in (1, 2)]
    for name in names:
        write_sheet(result(), name)
    assert names[0].read_bytes() == names[1].read_bytes()
    assert names[0].stat().st_size > 10_000
    if ending == "svg":  # of a sheet of A4: points, 72 to the inch
        size = re.search(r'width="([\d.]+)pt" height="([\d.]+)pt"', names[0].read_text("utf-8"))
        assert size and [float(x) for x in size.groups()] == pytest.approx([595, 842], abs=1.0)


def test_progress_is_told_and_months_are_checked() -> None:
    """Would fail if a long run said nothing, or nonsense were run."""
    said: list[tuple[str, float]] = []
    run_day(plants.rotary(24, 60), days=2, progress=lambda word, share: said.append((word, share)))
    assert said[0][0] == "compiling" and said[-1][1] == 1.0
    for wrong in ({"month": 13}, {"days": 0}):
        with pytest.raises(ValueError, match="give"):
            run_day(plants.rotary(24, 60), **wrong)


def test_the_day_begins_where_the_last_one_ended() -> None:
    """Would fail if a snapshot could not carry a run on."""
    plant: Plant = plants.rotary(24, 80)
    whole = simulate_days(plant, default_rulebook(), days=2, seed=1)
    one = simulate_days(plant, default_rulebook(), days=1, seed=1)
    two = simulate_days(plant, default_rulebook(), days=1, seed=1, snapshot=one.last)
    vessels = whole.compiled.tables.rows("vessels")
    a, b = whole.last.items[vessels, :5], two.last.items[vessels, :5]
    np.testing.assert_array_equal(a, b)


def test_a_long_run_is_cut_in_two_and_joined(monkeypatch: pytest.MonkeyPatch) -> None:
    """Would fail if the halves lost a day, a milking, a load or the worst of either."""
    monkeypatch.setattr("byrewright.studies.day.study.SPLIT_FROM_DAYS", 12)
    plant = plants.rotary(24, 60, milkings=1)
    run = simulate_days(plant, default_rulebook(), days=14, month=1, seed=3)
    assert [b.day for b in run.sessions] == list(range(1, 15))
    assert len({round(b.asked_s) for b in run.sessions}) == 14
    assert run.seconds == 14 * 86400
    assert len(run.all_loads) == 14
    assert all(abs(gap) < CLOSES for gap in closure(run).values())
    assert run.milk_kg == pytest.approx(sum(b.kg for b in run.sessions), rel=CLOSES)
    found = run_day(plant, days=14, month=1, seed=3)
    assert found.finding("day.milk_temperature_1").value is not None and not found.series


def test_a_little_milk_in_a_large_tank_is_told_and_kept_where_it_can_be() -> None:
    """Would fail if milk that no agitator reaches failed the day, or stood warm without a word."""
    small = plants.rotary(20, 30, milkings=1)
    said = {}
    for does in ("waits", "cooled_still"):
        tanks = {
            tag: one.model_copy(update={"volume_l": 20_000.0, "little_milk": does})
            for tag, one in small.equipment.items()
            if one.KIND == "bulk_tank"
        }
        run = simulate_days(small.model_copy(update={"equipment": small.equipment | tanks}),
                            Rulebook(), seed=3)  # fmt: skip
        assert max(abs(gap) for gap in closure(run).values()) < CLOSES
        said[does] = report(run, Rulebook())
    warm = said["waits"].finding("day.little_milk@TK2")
    assert warm.verdict == "tight" and "not cooled" in warm.sentence and "agitator" in warm.sentence
    assert said["waits"].finding("day.milk_temperature_1").verdict == "unknown"
    # Loaded warm it fails in the tanker; cooled from below, slowly, it does not.
    carried = [said[d].finding("day.milk_temperature_2") for d in ("waits", "cooled_still")]
    assert [f.verdict for f in carried] == ["fails", "holds"]
    assert "slowly from below" in said["cooled_still"].finding("day.little_milk@TK2").sentence


def test_a_milking_that_never_ends_has_no_times() -> None:
    """A milking that never came to its turn would be told to last -41 h, and be clean at 00:00."""
    plant = plants.rotary()
    every = tuple(
        plant.milkings[0].model_copy(update={"name": f"m{i}", "start": f"{i:02d}:00"})
        for i in range(24)
    )
    found = run_day(plant.model_copy(update={"milkings": every}))
    rows = found.table("day.milkings").rows
    never = [r for r in rows if r[3] == "not ended"]
    assert never and all(r[4] == "-" and r[10] == "-" for r in never)
    assert found.finding(f"day.milking_on_time@{never[0][1]}").verdict == "fails"


HOT_AS_ASKED_K = 1.0  # the trough is mixed of hot at its setting and cold of the coldest month


def small(heater: dict[str, float] | None = None, **cleaning: Any) -> Plant:
    """An invented rotary with one milking, another wash or heater."""
    heater = {"volume_l": 1500, "heater_kw": 36, **(heater or {})}
    one = plants.machine("WH1", "water_heater", **heater)
    plant = plants.rotary(40, 120, milkings=1, groups=1, CF1=None, WH1=one)
    stated = plant.cleaning.model_dump(exclude_unset=True) | cleaning
    return plant.model_copy(update={"cleaning": type(plant.cleaning)(**stated)})


def test_a_wash_that_ends_with_product_spoils_the_next_milk_and_says_so() -> None:
    """Would fail if acid left in lines went into the tank unseen, or no rinse were asked for."""
    ends = ("rinse", "hot", "cold rinse", "acid rinse")
    strict = Rulebook({"milk.wash_pct": 1e-4})  # this small plant drains down to a drop
    spoilt = run_day(small(steps=ends), strict).finding("day.milk_wash")
    assert spoilt.verdict == "fails" and "acid rinse" in spoilt.sentence
    assert [(r.of, r.figure, r.to) for r in spoilt.remedies] == [
        ("cleaning", "last_step", "last rinse")
    ]
    rinsed = run_day(small(steps=(*ends, "last rinse")), strict)
    assert rinsed.finding("day.milk_wash").verdict == "holds"


def test_a_hot_wash_begins_as_hot_as_its_heater_gives() -> None:
    """Would fail if rinse water that still comes back cooled the charge as it is made up."""
    plant = small()
    start = run_day(plant).finding("day.wash_start")
    assert start.value == pytest.approx(plant.cleaning.hot_c, abs=HOT_AS_ASKED_K)


def test_a_cold_heater_is_mended_where_it_is_short() -> None:
    """Would fail if a heater that was not hot again were made larger, and so for ever."""
    for heater in ({"heater_kw": 0.5}, {"volume_l": 300.0}):
        start = run_day(small(heater)).finding("day.wash_start")
        assert start.verdict == "fails"
        assert {r.figure for r in start.remedies} == set(heater)
    assert remedies.hotter_heaters(small(), 70.0, 83.0, 10.0, draw_l=500.0) == ()


def test_milk_too_warm_into_the_tank_is_mended_by_a_larger_stage_where_one_can() -> None:
    """Would fail if a draft were left open by a tenth of a kelvin that a larger cooler takes,
    too small a one were asked for, or ever more where the cold itself comes in too warm."""

    def cooled(area_m2: float, wish_c: float | None = None) -> Plant:
        cooler = plants.machine("PC1", "plate_cooler", area_m2=area_m2)
        wishes = small().wishes.model_copy(update={"milk_out_c": wish_c})
        equipment = {**small().equipment, "PC1": cooler}
        return small().model_copy(update={"equipment": equipment, "wishes": wishes})

    name = "day.cooler_outlet@PC1 water stage"
    run = simulate_days(cooled(12), default_rulebook())

    def told(wish_c: float | None) -> Result:
        return report(replace(run, plant=cooled(12, wish_c)), default_rulebook())

    now = told(None).finding(name)
    assert now.value is not None and not now.remedies
    wish = now.value - 0.3
    warm = told(wish)
    (stage,) = (r for r in warm.table("day.stages").rows if r[:2] == ("PC1", "water stage"))
    assert stage[3] == pytest.approx(now.value, abs=0.01) and stage[2] > stage[3] > stage[4]  # type: ignore[operator]
    (larger,) = warm.finding(name).remedies
    assert (larger.of, larger.figure) == ("PC1", "area_m2") and float(larger.to) < 24
    assert run_day(cooled(float(larger.to), wish)).finding(name).verdict == "holds"
    reads = tuple(float(c) for c in stage[2:5])
    far = reads[1] - 0.6 * (reads[1] - reads[2])
    (much,) = told(far).finding(name).remedies
    (asked,) = remedies.larger_stage(cooled(12), "PC1.water_in", reads, far)  # type: ignore[arg-type]
    assert much.to == asked.to
    assert remedies.larger_stage(cooled(12), "PC1.water_in", (30.0, 14.0, 9.0), 8.9) == ()


def test_more_wash_is_asked_for_up_to_what_a_plant_may_state() -> None:
    """Would fail if a wash a little too cold were given up below the most that may be asked for,
    or one much too cold were given a little more in every round."""
    plant = small(hot_c=88.0)

    def more(litres: float, back: float = 53.0) -> list[float | str | bool]:
        wash = SimpleNamespace(hot_l=4 * litres, units=4)
        return [r.to for r in hotter_wash(plant, back, 88.0, wash)]  # type: ignore[arg-type]

    assert [more(20.0), more(51.0), more(60.0)] == [[24.0], [60.0], []]
    assert more(20.0, back=45.0) == [35.0]  # 43 K for 30 K of the steel, where 33 K are for 40 K
    assert hotter_wash(plant, 55.0, 88.0, SimpleNamespace()) == ()  # type: ignore[arg-type]


def test_a_wash_that_came_back_hot_is_not_said_to_be_past_help() -> None:
    """Would fail if a wash that holds were told to insulate its lines, or one that neither heat nor
    water mends were not."""
    plant = small(hot_c=88.0, water_l_unit=60.0, end_c=55.0)
    run = SimpleNamespace(plant=plant, sessions=[None], milk_l=1000.0)
    for back, past_help in ((54.0, True), (55.0, False), (60.0, False)):
        washed = SimpleNamespace(hot_c=88.0, return_c=back, strength=1.0, dry_s=0.0, left_kg=0.0)
        ctx = bench_of(plant)
        _round(ctx, run, [washed])  # type: ignore[arg-type,list-item]
        (found,) = (f for f in ctx.notes.findings if f.key == "day.wash_return")
        assert ("insulate the lines" in found.sentence) is past_help and not found.remedies


@pytest.mark.parametrize(
    ("turn_s", "began_h", "more"),
    [(700.0, 0.0, True), (560.0, 0.0, False), (700.0, 0.2, False)],
    ids=["stalls", "people", "late begun"],
)
def test_more_stalls_are_asked_for_only_where_they_help(
    turn_s: float, began_h: float, more: bool
) -> None:
    """Would fail if a deck grew without end that people cannot serve faster, or that waits for a
    wash before it."""
    plant = small()
    work = plant.work.model_copy(
        update={"prepare_s": 4.0, "attach_s": 6.0, "spray_s": 2.0, "other_s": 2.0}
    )
    deck = plant.equipment["PF1"].model_copy(update={"stalls": 80, "turn_s": turn_s})
    equipment = {**plant.equipment, "PF1": deck}
    plant = plant.model_copy(update={"work": work, "equipment": equipment})
    session = SimpleNamespace(
        name="morning", hours=4.14, target_h=4.0, operators=2, cows=range(1789),
        begun_s=3600 * began_h, last_off_s=3600 * 4.14,
    )  # fmt: skip
    found = remedies.sooner(plant, session)  # type: ignore[arg-type]
    assert [r.to for r in found] == ([88.0] if more else [])


def test_a_slower_turn_says_the_share_that_the_farm_wished() -> None:
    """Would fail if a wish of 7.5 % were told as 8 %, or a turn that is slow enough were slowed."""
    plant = small()
    wishes = plant.wishes.model_copy(update={"go_round_share": 0.075})
    plant = plant.model_copy(update={"wishes": wishes})
    assert remedies.slower(plant, 0.075) == ()
    (slower,) = remedies.slower(plant, 0.0949)
    assert slower.why == "9.5 % of the cows went round again; 7.5 % is the most"
    assert isinstance(slower.to, float) and slower.to > plant.machines(StandsCows)[0].turn_s
    assert remedies.slower(plant, 0.5)[0].to > slower.to  # type: ignore[operator]


def test_a_yard_is_filled_with_as_many_as_wait_no_longer_than_is_good() -> None:
    """Would fail if the gate brought up cows that wait longer, or far fewer than it might."""
    (fewer,) = remedies.fewer_at_a_time(small(), 300.0, 40.0)
    assert 0.85 * 40.0 < float(fewer.to) / 300.0 * 60 <= 40.0


def test_milk_must_be_cold_when_the_rule_of_the_region_says() -> None:
    """Would fail if four hours from the start of milking were counted from its end, or two from
    its end from the start."""
    session = SimpleNamespace(begun_s=0.0, last_off_s=5 * 3600.0)
    steps = temperature_rule("New Zealand").steps
    due_h = {s.clock: _deadline_s(s, session) / 3600 for s in steps if s.limit_c == 6.0}  # type: ignore[arg-type]
    assert due_h == {"start_of_milking": 6.0, "end_of_milking": 7.0}
    at_once = next(s for s in temperature_rule("EU").steps if s.within_h is None)
    assert _deadline_s(at_once, session) == 7 * 3600.0  # type: ignore[arg-type]


def test_little_milk_is_told_between_milkings_and_not_of_an_empty_tank() -> None:
    """Would fail if milk that is still coming or cooling were told as left unstirred, or the drops
    that a tanker leaves."""
    after_s = 2 * 3600.0
    steps = [SimpleNamespace(limit_c=c, within_h=h) for c, h in ((10.0, 2.0), (6.0, 4.0))]
    times = np.arange(144.0) * 600.0
    for late_kg, told in ((20.0, False), (200.0, True)):
        kg = np.where(times <= after_s + 4 * 3600.0, 200.0, late_kg)
        run = SimpleNamespace(
            seen=times[:, None], seconds=86_400.0, clock=str, plant=plants.rotary(),
            sessions=[SimpleNamespace(begun_s=0.0, last_off_s=after_s, ended=True)],
            reach_kg=lambda _: 400.0, temperature_c=lambda _: np.full(144, 20.0),
            content_kg=lambda _, kg=kg: kg,
            compiled=SimpleNamespace(
                names=SimpleNamespace(cooled=["TK1"]), vessel=lambda _: 0, kg_l={"TK1": 1.0},
                tables=SimpleNamespace(F=np.full((1, len(sh.VESSEL)), 10_000.0)),
            ),
        )  # fmt: skip
        ctx = bench_of(plants.rotary())
        _little_milk(ctx, run, steps)  # type: ignore[arg-type]
        (found,) = ctx.notes.findings
        assert found.value == (200.0 if told else 0.0)


def test_milk_met_milk_where_a_tank_held_some_as_a_milking_came() -> None:
    """Would fail if the rule for mixing were passed over though milk was mixed."""
    session, held = SimpleNamespace(begun_s=0.0), {"TK1": 5.0, "TK2": None}
    for tags, done, none_met in ((("TK1", "TK2"), [session], False), (("TK2",), [session], True),
                                 (("TK2",), [], False)):  # fmt: skip
        names = SimpleNamespace(cooled=tags)
        run = SimpleNamespace(done=done, temperature_at=lambda tag, _: held[tag],
                              compiled=SimpleNamespace(names=names))  # fmt: skip
        assert _no_milk_met_milk(run) is none_met  # type: ignore[arg-type]


def test_a_store_is_warmed_again_by_the_milking_that_comes_next() -> None:
    """Would fail if milk that kept too warm until the next milking were looked at too late."""
    done = [SimpleNamespace(begun_s=s) for s in (0.0, 30_000.0, 60_000.0)]
    run = SimpleNamespace(done=done)
    found = [_next_s(run, one) for one in done]  # type: ignore[arg-type]
    assert found == [30_000.0, 60_000.0, np.inf]


def test_what_comes_after_a_collection_mixes_with_nothing() -> None:
    """Would fail if milk that a tanker's visit in mid-milking left alone in its tank were held to
    the rule for mixing, or if mixing were not looked at to its end where none was taken."""
    content = np.array([500.0, 700.0, 50.0, 100.0, 450.0, 600.0])
    warm = np.array([4.0, 4.5, 20.0, 20.0, 12.0, 9.0])
    run = SimpleNamespace(
        seen=np.arange(6.0)[:, None] * 600, clock=str, content_kg=lambda _: content,
        reach_kg=lambda _: 400.0, temperature_c=lambda _: warm,
        compiled=SimpleNamespace(names=SimpleNamespace(tanker="TB1")),
    )  # fmt: skip
    session = SimpleNamespace(begun_s=0.0, last_off_s=3000.0)
    assert _during(run, "TK1", session, blends=True) == [(4.5, "in TK1 at 600.0")]  # type: ignore[arg-type]
    assert _during(run, "TK1", session, blends=False) == [(12.0, "in TK1 at 2400.0")]  # type: ignore[arg-type]
    content[2:4] = 800.0
    assert _during(run, "TK1", session, blends=True)[0][0] == 20.0  # type: ignore[arg-type]
