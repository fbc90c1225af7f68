"""What sizing takes from the solved network: heads, suction, and whether the wash goes round."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any

import pytest

import byrewright as bw
from byrewright.engine.liquids import Liquids
from byrewright.physics.air import ambient_pressure_kpa_abs
from byrewright.physics.pipeflow import drop_kpa
from byrewright.plant.graph import Node
from byrewright.plant.plant import Plant
from byrewright.plant.read import read_plant
from byrewright.results import Finding, ResultBuilder
from byrewright.standards.rulebook import Rulebook, default_rulebook
from byrewright.studies.day import run_day
from byrewright.studies.sizing import circulation, size
from byrewright.studies.sizing.circulation import WHY, Stage, Target, size_circulation
from byrewright.studies.sizing.context import StudyContext
from byrewright.studies.sizing.duty import duty_of
from byrewright.studies.sizing.network import Want, asked, serve
from byrewright.studies.sizing.wash_lines import (
    NARROW,
    NARROWEST,
    carried_l,
    milk_pipes,
    size_wash_lines,
    stays_l,
)
from tests import plants
from tests.drafting.test_draft import EXAMPLES

COOLER = ("wash.cooler_flow", "PC1")


@pytest.fixture(scope="module")
def drafted() -> Plant:
    """A drafted rotary: the example as it is kept."""
    return read_plant(EXAMPLES / "rotary_spring_ice" / "plant.yaml").plant


def with_modes(plant: Plant, *named: str, **positions: str) -> Plant:
    """The plant with positions changed in its wash modes, or in those named of all its modes."""
    washing = [n for n, m in plant.modes.items() if {"wash", "rinse"} & set(m.does)]
    modes = {
        n: m.model_copy(update={"positions": {**m.positions, **positions}})
        if n in (named or washing) else m
        for n, m in plant.modes.items()
    }  # fmt: skip
    return plant.model_copy(update={"modes": modes})


def with_machine(plant: Plant, tag: str, **fields: Any) -> Plant:
    """The plant with figures of one machine changed."""
    one = plant.equipment[tag].model_copy(update=fields)
    return plant.model_copy(update={"equipment": {**plant.equipment, tag: one}})


def finding(plant: Plant, key: str, subject: str) -> Finding:
    """One finding of its sizing."""
    return next(f for f in size(plant).findings if f.key == key and f.subject == subject)


def test_a_wash_that_pumps_cannot_take_on_fails(drafted: Plant) -> None:
    """Would fail if wash for all units passed though the pumps carry a third of it."""
    assert finding(drafted, "wash.circulates", "BT1").verdict == "holds"
    shut = finding(with_modes(drafted, V39="closed", MP4="stopped"), "wash.circulates", "BT1")
    assert shut.verdict == "fails"
    assert "full after" in shut.sentence
    assert shut.value is not None and shut.limit is not None
    assert shut.value < 0.5 * shut.limit
    weak = with_machine(with_modes(drafted, MP4="stopped"), "MP3", flow_l_min=40.0)
    found = finding(weak, "wash.circulates", "BT1")
    assert found.verdict == "fails"
    assert found.advised is not None and found.target == ("MP3", "head_m")
    cured = with_machine(weak, "MP3", head_m=found.advised, flow_l_min=found.limit)
    assert finding(cured, "wash.circulates", "BT1").verdict == "holds"


def bench(plant: Plant) -> StudyContext:
    """A bench with that plant on it."""
    return StudyContext(plant, default_rulebook(), ResultBuilder("test", "(invented)"))


def test_a_wash_that_comes_to_no_receiver_fails(drafted: Plant) -> None:
    """Would fail if a shut valve before the units left a wash that nothing speaks of, or lines
    that are taken as washed by what pumps move behind them."""
    shut = with_modes(drafted, V64="closed")
    found = [f for f in size(shut).findings if f.key == "wash.supplied"]
    assert {f.subject for f in found} >= {"rinse", "wash", "last_rinse"}
    assert all(f.verdict == "fails" and f.value == 0 for f in found)
    assert not [f for f in size(drafted).findings if f.key == "wash.supplied"]
    one = with_modes(drafted, *(n for n, m in drafted.modes.items() if "wash" in m.does),
                     V64="closed")  # fmt: skip
    assert finding(one, "wash.missed", "").verdict == "unknown"
    assert finding(drafted, "wash.missed", "").verdict == "holds"


def test_a_wash_without_water_or_its_pump_fails(drafted: Plant) -> None:
    """Would fail if hot water of another mode filled the vessel, if a mode that fills it ahead
    counted for nothing, or a pump that stands passed as one that runs."""
    key = "wash.supplied"
    dry = with_modes(drafted, "wash", V60="closed")
    assert finding(dry, key, "wash").value == 0
    ahead = drafted.modes["wash"].model_copy(
        update={"name": "fill", "positions": {"V60": "open", "LP1": "runs"}, "like": "idle"}
    )
    filled = dry.model_copy(update={"modes": {**dry.modes, "fill": ahead}})
    assert not [f for f in size(filled).findings if f.key == key]
    slow = finding(with_modes(drafted, "wash", LP4="stopped"), key, "wash")
    assert slow.verdict == "fails" and slow.value is not None and slow.value > 10


def test_a_receiver_that_nothing_empties_in_the_wash_fails(drafted: Plant) -> None:
    """Would fail if the pump of one receiver were taken to empty the other, or the flooded line
    between them counted for nothing."""
    stands = finding(with_modes(drafted, "wash", MP2="stopped"), "wash.circulates", "RC2")
    assert stands.verdict == "fails" and stands.value == 0
    flooded = size(with_modes(drafted, "wash", MP2="stopped", V25="open"))
    assert not [f for f in flooded.findings if f.key == "wash.circulates" and not f.value]


def test_milk_that_goes_past_the_cooler_is_counted_warm(drafted: Plant) -> None:
    """Would fail if an open way round left the milk as cold as if all of it passed the plates."""
    milks = [n for n, m in drafted.modes.items() if "milking" in m.does]
    cold = finding(drafted, "cooling.milk_out", "").value
    past = finding(with_modes(drafted, *milks, V39="open"), "cooling.milk_out", "")
    assert cold is not None and past.value is not None and past.value > cold + 5
    share = float(re.findall(r"([\d.]+) %", past.sentence)[0]) / 100
    warm = next(i.value for i in past.inputs if i.symbol == "T_in")
    assert isinstance(warm, float)
    mixed = share * warm + (1 - share) * cold  # with less milk the plates cool it further
    assert mixed - 2 < past.value < mixed


def test_milk_that_nothing_cools_in_a_mode_is_told(drafted: Plant) -> None:
    """Would fail if shut water, or a pump that stands, left sizing with its cold milk."""
    key = "cooling.reaches"
    assert not [f for f in size(drafted).findings if f.key == key]
    shut = finding(with_modes(drafted, "milking_tank_2", V71="closed"), key, "PC1.water_in")
    assert shut.verdict == "fails" and "milking_tank_2" in shut.sentence
    assert "milking_tank_1 " not in shut.sentence
    milks = [n for n, m in drafted.modes.items() if "milking" in m.does]
    still = with_modes(drafted, *milks, LP21="stopped", LP22="stopped")
    assert finding(still, key, "PC1.coolant_in").verdict == "fails"
    out = finding(still, "cooling.milk_out", "")  # the same answer twice: the milk is as warm
    before = next(i.value for i in out.inputs if i.symbol == "T_1")
    assert (
        out.value == pytest.approx(before, abs=0.01)
        and "no chilled liquid reaches it" in out.sentence
    )
    dry = finding(with_modes(drafted, *milks, V71="closed"), "cooling.milk_out", "")
    warm = next(i.value for i in dry.inputs if i.symbol == "T_in")
    assert next(i.value for i in dry.inputs if i.symbol == "T_1") == pytest.approx(warm, abs=0.01)
    # Nothing joined to a stage is no ring that its makers move.
    bare = drafted.model_copy(update={"pipes": tuple(
        p for p in drafted.pipes if not {p.start, p.end} & {"PC1.coolant_in", "PC1.coolant_out"}
    )})  # fmt: skip
    assert finding(bare, key, "PC1.coolant_in").verdict == "fails"
    chilled = finding(bare, "cooling.chilled.out", "PC1")
    assert chilled.advised is None and chilled.verdict == "fails"  # no larger cooler helps
    assert finding(bare, "cooling.milk_out", "").value == chilled.value


def test_a_wash_that_nothing_doses_is_asked_about(drafted: Plant) -> None:
    """Would fail if plain water went round as a hot wash without a word."""
    washing = [n for n, m in drafted.modes.items() if "wash" in m.does]
    bare = finding(with_modes(drafted, *washing, DS1="stopped"), "wash.dosed", "")
    assert bare.verdict == "unknown"
    assert not [f for f in size(drafted).findings if f.key == "wash.dosed"]


def test_a_rinse_asked_for_warm_without_hot_water_is_asked_about(drafted: Plant) -> None:
    """Would fail if heat were counted for a rinse whose valves let cold water in alone, or a wash
    were taken for warmed because the rinse is."""

    def told(plant: Plant) -> list[tuple[str, str]]:
        found = [f for f in size(plant).findings if f.key == "wash.hot_way"]
        assert all("from WH1 and WH2 to TR1 in" in f.sentence for f in found)
        return [(f.subject, f.verdict) for f in found]

    assert told(drafted) == []
    rinse, wash = ("warm rinse", "unknown"), ("alkaline wash", "unknown")
    assert told(with_modes(drafted, "rinse", V60="closed")) == [rinse]
    washing = [n for n, m in drafted.modes.items() if "wash" in m.does]
    assert told(with_modes(drafted, *washing, V60="closed")) == [wash]
    cold = drafted.cleaning.model_copy(update={"rinse_c": min(drafted.site.water_temperature_c)})
    asked = drafted.model_copy(update={"cleaning": cold})
    assert told(with_modes(asked, "rinse", V60="closed")) == []


def test_a_second_wash_vessel_that_nothing_doses_is_asked_about() -> None:
    """Would fail if one dosing pump passed for two vessels, of which it reaches one, in sizing or
    on the simulated day."""
    base = plants.rotary(40, 120, milkings=1, groups=1)
    second = {"TR2": plants.machine("TR2", "wash_trough", volume_l=900)}
    ways = ("WH1.outlet_2 TR2.supply_1", "WT2.outlet_2 TR2.supply_2", "TR2.outlet_1 MU1.wash",
            "TR2.drain FD1.inlet_3", "V34.b TR2.return_1")  # fmt: skip

    def two(*more: str) -> Plant:
        pipes = tuple(plants.pipe(f"LX{i}", *w.split()) for i, w in enumerate((*ways, *more)))
        return base.model_copy(
            update={"equipment": {**base.equipment, **second}, "pipes": (*base.pipes, *pipes)}
        )

    def on_the_day(plant: Plant) -> Finding:
        every = run_day(plant, default_rulebook()).findings
        return next(f for f in every if f.key == "day.wash_strength")

    bare, both = two(), two("DS1.outlet TR2.dose_1")
    told = finding(bare, "wash.dosed", "")
    assert told.verdict == "unknown" and "reaches TR2:" in told.sentence
    strength = on_the_day(bare)
    assert strength.verdict == "unknown" and "`wash.dosed`" in strength.sentence
    assert "wash.dosed" not in {f.key for f in size(both).findings}
    assert (on_the_day(both).value or 0.0) > 0.3


def test_rises_that_do_not_close_a_ring_are_told(drafted: Plant) -> None:
    """Would fail if a stated rise were left out of a ring's heads without a word."""

    def told(**rises: float) -> set[str]:
        pipes = tuple(p.model_copy(update={"rise_m": p.rise_m + rises.get(p.id, 0.0)})
                      for p in drafted.pipes)  # fmt: skip
        found = size(drafted.model_copy(update={"pipes": pipes})).findings
        return {f.subject for f in found if f.key == "lines.rise"}

    assert not told() and not told(L611=3.0, L612=-3.0)
    assert len(told(L611=3.0)) == 1


def test_a_longer_or_higher_line_asks_more_head(drafted: Plant) -> None:
    """Would fail if a pump's head did not follow its line, its rise or its flow."""

    def head(plant: Plant, q: float = 150.0) -> float:
        one = asked(bench(plant), "MP1", "milking_tank_1", q)
        assert one is not None
        return one.head_m

    line = next(p for p in drafted.pipes if p.start == "GL1.fixed_milk")

    def changed(**fields: Any) -> Plant:
        pipes = tuple(p.model_copy(update=fields) if p.id == line.id else p for p in drafted.pipes)
        return drafted.model_copy(update={"pipes": pipes})

    base = head(drafted)
    assert head(changed(length_m=line.length_m * 2)) > base + 0.2
    assert head(changed(rise_m=line.rise_m + 1.5)) == pytest.approx(base + 1.5, abs=1e-6)
    assert head(drafted, 190.0) > base + 0.3


def test_a_pump_under_vacuum_needs_its_suction(drafted: Plant) -> None:
    """Would fail if a suction that boils under the receiver's vacuum passed, or were judged by a
    mode whose liquid is cooler than the hot wash."""
    has = finding(drafted, "delivery.npsh", "MP1")
    assert has.verdict in ("holds", "tight")
    told = {i.symbol: i for i in has.inputs}
    wash_c = float(re.findall(r"wash at (\d+) degC", str(told["p_boils"].meaning))[0])
    steam_kpa = {60: 19.95, 65: 25.04, 70: 31.20, 75: 38.60}  # steam tables, from memory
    below, above = wash_c // 5 * 5, wash_c // 5 * 5 + 5
    assert steam_kpa[below] * 0.98 < told["p_boils"].value < steam_kpa[above] * 1.02
    assert " in wash at " in has.sentence
    needy = finding(with_machine(drafted, "MP1", npsh_m=5.0), "delivery.npsh", "MP1")
    assert needy.verdict == "fails"
    one = asked(bench(drafted), "MP1", "milking_tank_1", 150.0)
    assert one is not None
    open_air = asked(bench(with_modes(drafted)), "MP3", "milking_tank_1", 60.0)
    assert open_air is not None
    vacuum_m = one.vacuum_kpa / (1.03 * 9.80665)
    assert open_air.npsh_m - one.npsh_m > 0.8 * vacuum_m


@pytest.mark.parametrize("name", ["rotary_spring_ice", "rotary_round_the_clock",
                                  "rows_two_by_twenty"])  # fmt: skip
def test_the_wash_comes_to_the_pumps_no_hotter_than_they_are_judged_for(name: str) -> None:
    """Would fail if suctions were judged with a wash cooler than the simulated one, or with one
    that has warmed no steel yet."""
    plant = bw.read(EXAMPLES / name / "plant.yaml")
    told = {i.symbol: i for i in bw.size(plant).finding("delivery.npsh@MP1").inputs}
    judged_c = float(re.findall(r"wash at (\d+) degC", str(told["p_boils"].meaning))[0])
    ambient = plant.model.site.ambient_c
    warm = bw.day(plant, month=ambient.index(max(ambient)) + 1).line("day.temperature").arrays
    peak_c = max(float(c.max()) for tag, c in warm.items() if tag.startswith("rc"))
    assert peak_c - 0.5 < judged_c < peak_c + 6.0


def test_a_suction_for_which_no_pump_is_made_says_what_helps(drafted: Plant) -> None:
    """Would fail if a plant at 3,000 m were told to buy a pump that nobody makes."""
    low, high = (
        finding(drafted.model_copy(update={"site": site}), "delivery.npsh", "MP1")
        for m in (1500.0, 3000.0)
        for site in [drafted.site.model_copy(update={"altitude_m": m})]
    )
    assert low.verdict == "fails" and low.remedies and "take one that needs less" in low.sentence
    assert high.verdict == "fails" and not high.remedies
    assert "No pump needs so little" in high.sentence and "lower vacuum" in high.sentence


def test_a_slope_is_a_rise_where_none_is_stated(drafted: Plant) -> None:
    """Would fail if a pipe's stated fall had no say in the head its pump must give."""
    line = next(p for p in drafted.pipes if p.start == "GL1.fixed_milk")

    def head(**fields: Any) -> float:
        pipes = tuple(p.model_copy(update=fields) if p.id == line.id else p for p in drafted.pipes)
        one = asked(
            bench(drafted.model_copy(update={"pipes": pipes})), "MP1", "milking_tank_1", 150
        )
        assert one is not None
        return one.head_m

    level = head(rise_m=0.0, slope_pct=None)
    falls = head(rise_m=0.0, slope_pct=2.0)
    assert level - falls == pytest.approx(0.02 * line.length_m, abs=1e-6)
    assert head(rise_m=1.0, slope_pct=2.0) == pytest.approx(level + 1.0, abs=1e-6)


def test_a_water_pump_gives_all_that_is_wanted_at_once(drafted: Plant) -> None:
    """Would fail if what flows together were taken one by one, or a rise behind the cooler lost."""

    def head(plant: Plant, tag: str = "LP1") -> float:
        wants = [Want(Node("PC1", "water_in"), 100.0), Want(Node("BF1", "water"), 40.0, hose_kpa)]
        one = serve(bench(plant), [tag], wants)
        assert one is not None and one.goal == "BF1" and one.l_min == pytest.approx(140)
        return one.head_m

    def longer(end: str, **fields: Any) -> Plant:
        pipes = tuple(p.model_copy(update=fields) if p.end == end else p for p in drafted.pipes)
        return drafted.model_copy(update={"pipes": pipes})

    hose_kpa = 200.0
    main = next(p for p in drafted.pipes if p.end == "WF1.inlet")
    rough = default_rulebook().number("pipe.roughness_stainless_mm")
    more = drop_kpa(140.0, 100.0, main.bore_mm, 1000.0, 1.3, rough) / 9.80665
    base = head(drafted)
    assert head(longer("WF1.inlet", length_m=main.length_m + 100.0)) == pytest.approx(
        base + more, rel=1e-3
    )
    assert head(longer("WT2.inlet_1", rise_m=5.0)) == pytest.approx(base)  # the hose asks more
    tank = serve(bench(longer("WT2.inlet_1", rise_m=25.0)), ["LP1"],
                 [Want(Node("PC1", "water_in"), 100.0)])  # fmt: skip
    assert tank is not None and tank.goal == "WT2" and tank.rise_m == pytest.approx(25, abs=0.5)
    assert serve(bench(drafted), ["LP4"], [Want(Node("PC1", "water_in"), 100.0)]) is None


def washed(plant: Plant, key: str, subject: str) -> Finding:
    """One finding of how its wash goes round and through its lines."""
    ctx = bench(plant)
    duty = duty_of(ctx)
    size_circulation(ctx, duty)
    size_wash_lines(ctx, duty)
    return next(f for f in ctx.notes.findings if f.key == key and f.subject == subject)


def test_every_line_of_milk_is_passed_by_a_wash(drafted: Plant) -> None:
    """Would fail if a fill stub, a collection line or the calf line that no wash passes were
    taken as washed, or a mode that washes it were not counted."""
    assert washed(drafted, "wash.missed", "").verdict == "holds"
    for mode, line in (("wash_into_tank_2", "V42.a"), ("wash_to_calf_vessel", "CF1.milk")):
        left = {n: m for n, m in drafted.modes.items() if n != mode}
        missed = washed(drafted.model_copy(update={"modes": left}), "wash.missed", "")
        pipe = next(p.id for p in drafted.pipes if p.end == line)
        assert missed.verdict == "unknown" and pipe in missed.sentence


def test_the_cooler_is_washed_as_fast_as_its_milk_runs(drafted: Plant) -> None:
    """Would fail if a wide way round took the wash from the plates unseen, a rinse or a wash into
    a vessel made up for it, or the tube advised did not leave them enough."""
    held = washed(drafted, *COOLER)
    assert held.verdict == "holds" and "film stays" not in held.sentence
    wide = with_bore(drafted, "V39", 60.3)
    slow = washed(wide, *COOLER)
    assert slow.verdict == "fails" and slow.value is not None and slow.value < 0.8
    assert slow.advised_why == NARROW and "film stays" in slow.sentence
    others = [n for n in wide.modes if n != "wash"]
    elsewhere = with_modes(with_modes(wide, *others, V39="closed"), "wash", V39="open")
    assert washed(elsewhere, *COOLER).value == slow.value
    assert slow.target is not None and slow.advised is not None
    assert washed(with_bore(wide, "V39", slow.advised), *COOLER).verdict == ("holds")
    shut = washed(with_modes(wide, V39="closed"), *COOLER)
    assert shut.value is not None and shut.value > 1.0


def with_bore(plant: Plant, valve: str, bore_mm: float) -> Plant:
    """The plant with the pipes at a valve of another bore."""
    at = {p.id for p in plant.pipes_at(valve)}
    pipes = tuple(
        p.model_copy(update={"bore_mm": bore_mm}) if p.id in at else p for p in plant.pipes
    )
    return plant.model_copy(update={"pipes": pipes})


def test_pumps_that_lack_head_for_the_wash_are_given_head(drafted: Plant) -> None:
    """Would fail if a pump that its flow cannot help were left with no advice, or a larger one
    advised where head is what it lacks."""
    weak = drafted
    for tag in ("MP3", "MP4"):
        weak = with_machine(weak, tag, head_m=6.0)
    short = washed(weak, "wash.circulates", "BT1")
    assert short.verdict == "fails" and short.advised is not None
    assert short.target is not None and short.target[1] == "head_m" and short.advised > 6.0
    for tag in ("MP3", "MP4"):
        weak = with_machine(weak, tag, head_m=short.advised)
    assert washed(weak, "wash.circulates", "BT1").verdict in ("holds", "tight")


def test_a_larger_pump_is_advised_up_to_half_as_large_again(
    drafted: Plant, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Would fail if a pump that is only too small were given head in place of flow, or one that
    lacks head were made more than half as large again."""
    plant = with_machine(drafted, "MP3", flow_l_min=60.0, head_m=10.0)

    def at(full_head_m: float) -> dict[Target, float]:
        def solved(net: Liquids, _mode: str) -> list[Stage]:
            pump = net.pumps["MP3"]
            gives = pump.flow_l_min * min(1.0, (pump.head_m or 0.0) / full_head_m)
            return [replace(comes, out_l_min=gives)]

        monkeypatch.setattr(circulation, "stages", solved)
        return circulation._fit(bench(plant), {}, comes, "MP3")

    comes = Stage("wash", ("BT1",), ("MP3",), 100.0, 60.0, 500.0, ())
    for full_head_m, least in ((10.0, 105.0), (12.0, 126.0)):  # 5 % more than comes
        (((_, figure), flow),) = at(full_head_m).items()
        assert figure == "flow_l_min" and least <= flow <= 157.5
    lacks = at(20.0)  # at 10 m of 20 m it would be 210 L/min
    assert 105.0 <= lacks["MP3", "flow_l_min"] <= 120.0 and 18.0 <= lacks["MP3", "head_m"] <= 20.0


def test_a_stage_is_said_to_fill_only_where_more_comes_than_a_level_takes_up(
    drafted: Plant,
) -> None:
    """Would fail if a wash that holds were told to run over, and to be given a way round."""
    for out_l_min, fills in ((98.5, False), (97.5, True)):
        ctx = bench(drafted)
        stage = Stage("wash", ("BT1",), (), 100.0, out_l_min, 500.0, ())
        circulation._judge(ctx, stage, None, (), {}, {})
        (found,) = ctx.notes.findings
        assert (found.verdict == "fails") is fills
        assert ("full after 200.0 min" in found.sentence) is fills
        assert ("way round" in found.sentence) is fills


def told(ctx: StudyContext, tag: str, name: str, advised: float) -> None:
    """A finding of what the milk needs of a pump."""
    ctx.find("test.milk", "Milk", None, "", "(invented)", advised=advised, advised_why="milk",
             target=(tag, name))  # fmt: skip


def test_each_figure_that_the_wash_needs_is_advised_with_its_reason(drafted: Plant) -> None:
    """Would fail if a pump raised for the wash kept the milk's reason, what the milk needs more of
    lost it, or a figure that no finding speaks of was raised by nobody."""
    weak = drafted
    for tag in ("MP3", "MP4"):
        weak = with_machine(weak, tag, head_m=6.0)
    ctx = bench(weak)
    told(ctx, "MP3", "head_m", 6.0)
    told(ctx, "MP1", "flow_l_min", 999.0)
    size_circulation(ctx, duty_of(ctx))
    of = {(f.target, f.key): f for f in ctx.notes.findings if f.target}
    raised = of[("MP3", "head_m"), "test.milk"]
    assert raised.advised is not None and raised.advised > 6.0
    assert raised.advised_why == WHY["head_m"]
    assert of[("MP1", "flow_l_min"), "test.milk"].advised_why == "milk"
    every = {target: f for (target, key), f in of.items() if key != "test.milk"}
    for tag in ("MP3", "MP4"):
        for name in ("flow_l_min", "head_m"):
            assert every[tag, name].advised_why == WHY[name], (tag, name)
    assert every["MP4", "head_m"].advised == raised.advised


def test_each_stage_is_asked_from_what_the_milk_needs(
    drafted: Plant, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Would fail if what an earlier stage of the wash asks were read as the milk's by a later one,
    or the last stage's advice stood in place of the largest."""
    target = ("MP3", "flow_l_min")
    asks = {"BT1": 150.0, "CF1": 70.0, "RC1": 90.0}
    fake = [Stage("wash", (v,), ("MP3",), 60.0, 50.0, 500.0, ()) for v in asks]
    seen: list[float] = []

    def fit(_ctx: object, milk: dict[Target, float], stage: Stage, _tag: str) -> dict[Any, float]:
        seen.append(milk[target])
        return {target: asks[stage.vessels[0]]}

    monkeypatch.setattr(circulation, "stages", lambda *_: fake)
    monkeypatch.setattr(circulation, "_fit", fit)
    ctx = bench(drafted)
    told(ctx, *target, 60.0)
    size_circulation(ctx, duty_of(ctx))
    assert seen == [60.0] * 3
    assert {f.advised for f in ctx.notes.findings if f.target == target} == {150.0}


def test_a_tube_that_does_not_give_it_is_not_said_to(drafted: Plant) -> None:
    """Would fail if the narrowest tube were advised as one that gives the cooler its wash."""
    rules = Rulebook({"wash.cooler_flow_ratio": 4.0})
    ctx = StudyContext(drafted, rules, ResultBuilder("test", "(invented)"))
    size_wash_lines(ctx, duty_of(ctx))
    found = next(f for f in ctx.notes.findings if f.key == COOLER[0])
    assert found.verdict == "fails" and found.advised_why == NARROWEST


def test_a_coupling_that_only_the_tanker_rinses_is_an_assumption(drafted: Plant) -> None:
    """Would fail if a line left to the tanker's hose held unsaid, or a long one did."""
    line = next(p for p in drafted.pipes if p.end == "TB1.inlet_1")
    modes = {n: m for n, m in drafted.modes.items() if not n.startswith("wash_into")}
    for long, assumed in ((4.9, True), (5.1, False)):
        pipes = tuple(
            p.model_copy(update={"length_m": long}) if p.id == line.id else p for p in drafted.pipes
        )
        ctx = bench(drafted.model_copy(update={"modes": modes, "pipes": pipes}))
        size_wash_lines(ctx, duty_of(ctx))
        assert (f"pipes.{line.id}" in {a.where for a in ctx.notes.assumptions}) is assumed


def test_what_a_wash_into_a_tank_leaves_is_judged(drafted: Plant) -> None:
    """Would fail if rinse water that stands in a fill stub were told beside, not counted, or the
    volume told were not that of the lines it is counted in."""
    shut = with_modes(drafted, "drain_down", V46="closed")
    ctx = bench(shut)
    size_wash_lines(ctx, duty_of(ctx))
    found = next(f for f in ctx.notes.findings if f.key == "wash.standing")
    assert found.value is not None and found.value > (stays_l(ctx) or 0.0) + 0.5
    assert "after wash_into_tank_1" in found.sentence
    mine = [x for x in milk_pipes(ctx) if not x.out_of_tank]
    wet = [x for x in mine if set(x.modes) - {"wash_into_tank_2"}]
    assert len(wet) < len(mine)
    assert found.inputs[0].value == pytest.approx(sum(x.holds_l for x in wet), abs=0.06)


def test_valves_are_told_that_let_out_what_stands(drafted: Plant) -> None:
    """Would fail if a small plant were told of standing water and of no valve that lets it out, or
    of one that does not: the draft would stay open, or turn diverts for nothing."""
    rules = Rulebook({"milk.added_water_pct": 0.025})

    def judged(plant: Plant) -> Finding:
        ctx = StudyContext(plant, rules, ResultBuilder("test", "(invented)"))
        size_wash_lines(ctx, duty_of(ctx))
        return next(f for f in ctx.notes.findings if f.name == "wash.standing")

    before = judged(drafted)
    assert before.value is not None
    asked = {(r.of, r.figure): r.to for r in before.remedies}
    turned = {tag: str(to) for (tag, figure), to in asked.items() if figure == "in_drain_down"}
    lifted = {tag for tag, figure in asked if figure == "lifts"}
    assert turned and lifted
    less = judged(with_modes(drafted, "drain_down", **turned))
    assert less.value is not None and less.value < before.value - 0.1
    assert "in_drain_down" not in {r.figure for r in less.remedies}
    equipment = {t: m.model_copy(update={"lifts": True}) if t in lifted else m
                 for t, m in drafted.equipment.items()}  # fmt: skip
    none = judged(drafted.model_copy(update={"equipment": equipment}))
    assert none.value is not None and none.value < before.value - 0.1
    assert "lifts" not in {r.figure for r in none.remedies}


def test_water_between_tanks_and_tanker_goes_with_what_is_collected(drafted: Plant) -> None:
    """Would fail if what stands behind a tank were held against one milking's milk, the second
    tank's line were looked at by nobody, or each tanker took the milk of all tanks."""
    low = {"V51.b", "V52.b"}
    pipes = tuple(
        p.laid(p.length_m, 0.0, 2, ((0.0, 0.0), (1.0, -1.0), (p.length_m, 0.0)))
        if p.start in low else p for p in drafted.pipes
    )  # fmt: skip
    ctx = bench(drafted.model_copy(update={"pipes": pipes}))
    duty = duty_of(ctx)
    size_wash_lines(ctx, duty)
    mine, out = (f for f in ctx.notes.findings if f.key == "wash.standing")
    assert {x.pipe.start for x in milk_pipes(ctx) if x.out_of_tank} >= low
    assert out.value is not None and out.value > 2.0
    visits = sum(1 / c.every_days for c in drafted.collections)
    assert out.limit == pytest.approx(0.005 * duty.milk_l_day / visits / 2)
    assert mine.limit == pytest.approx(0.005 * min(m.saleable_l for m in duty.milkings))


def test_a_line_to_the_bay_gives_its_water_once_a_load() -> None:
    """Would fail if rinse water of the bay's line went with every milking, loaded or not, or that
    of other lines with fewer than all."""
    plant = read_plant(EXAMPLES / "rotary_round_the_clock" / "plant.yaml").plant
    ctx = StudyContext(plant, default_rulebook(), ResultBuilder("sizing", ""))
    bay = next(x for x in milk_pipes(ctx) if x.modes == ("wash_to_bay",) and x.stays_l > 1)
    whole = stays_l(ctx)
    assert whole is not None
    assert carried_l(ctx, 3, 3) == carried_l(ctx, 3, 9) == pytest.approx(3 * whole)
    one, none = carried_l(ctx, 3, 1), carried_l(ctx, 3, 0)
    assert bay.stays_l < one - none < whole
    assert one - none == pytest.approx((3 * whole - none) / 3)
    assert carried_l(ctx, 3, 1, {bay.pipe.id}) == pytest.approx(one - bay.stays_l)


def test_a_wash_pump_needs_its_suction_too(drafted: Plant) -> None:
    """Would fail if hot wash that boils at a wash pump's inlet passed, high above the sea."""
    pump = next(
        t
        for t in drafted.equipment
        if t.startswith("LP")
        and any(f.key == "wash.npsh" and f.subject == t for f in size(drafted).findings)
    )
    has = finding(drafted, "wash.npsh", pump)
    hot_c = drafted.cleaning.hot_c
    # Steam tables (from memory): 47.4, 57.8, 70.1 kPa at 80, 85 and 90 degC; water 970 kg/m3.
    boils = {80: 47.4, 85: 57.8, 90: 70.1}
    told = next(i.value for i in has.inputs if i.symbol == "p_boils")
    assert boils[hot_c // 5 * 5] * 0.97 < float(told) < boils[hot_c // 5 * 5 + 5] * 1.03
    assert has.verdict in ("holds", "tight") and has.value is not None
    high = drafted.site.model_copy(update={"altitude_m": 2000.0})
    up = finding(drafted.model_copy(update={"site": high}), "wash.npsh", pump)
    assert up.value is not None and up.verdict == "fails"
    # 101.3 and 79.5 kPa of air (standard atmosphere).
    lost_m = (79.5 - ambient_pressure_kpa_abs(drafted.site.altitude_m)) / (0.97 * 9.80665)
    assert up.value - has.value == pytest.approx(lost_m, abs=0.15)
