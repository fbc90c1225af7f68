"""The chilled liquid: freezing, milk on the plate, content, room to grow."""

from __future__ import annotations

import pytest

from byrewright.engine.circuits import coldest_bath, coolant_of, liquid_of
from byrewright.engine.compiled import compile_plant
from byrewright.engine.liquids import Liquids
from byrewright.physics.coolant import coolant
from byrewright.plant.plant import Plant
from byrewright.standards.rulebook import Rulebook
from byrewright.studies.day.findings import CLOSES, closure
from byrewright.studies.day.study import simulate_days
from byrewright.studies.sizing import size
from tests import plants


def chilled(leaving_c: float = 1.0, pct: float | None = 30.0, *, buffer_l: float = 800.0,
            vessel: bool = True, area_m2: float = 25.0) -> Plant:  # fmt: skip
    """A rotary whose milk passes a second stage on a chiller's liquid."""
    make = plants.machine
    base = plants.rotary(40, 200)
    e = dict(base.equipment)
    e["PC1"] = e["PC1"].model_copy(update={"chilled_area_m2": area_m2, "chilled_ratio": 2.0})
    stated = {} if pct is None else {"glycol_pct": pct}
    e["CH1"] = make("CH1", "chiller", duty_kw=90.0, leaving_c=leaving_c, **stated)
    e["CB1"] = make("CB1", "coolant_buffer", volume_l=buffer_l)
    e["LP9"] = make("LP9", "liquid_pump", flow_l_min=300, head_m=12, motor_kw=2.2)
    ends = ["CH1.coolant_out CB1.coolant_in_1", "CB1.coolant_out_1 LP9.inlet",
            "LP9.outlet PC1.coolant_in", "PC1.coolant_out CH1.coolant_in"]  # fmt: skip
    if vessel:
        e["EV1"] = make("EV1", "expansion_vessel", volume_l=60.0)
        e["HC9"] = make("HC9", "header")
        ends[-1:] = ["PC1.coolant_out HC9.way_1", "HC9.way_2 CH1.coolant_in",
                     "HC9.way_3 EV1.coolant"]  # fmt: skip
    pipes = tuple(plants.pipe(f"LX{i}", *text.split()) for i, text in enumerate(ends))
    modes = {
        n: m.model_copy(update={"positions": {**m.positions, "CH1": "runs", "LP9": "runs"}})
        for n, m in base.modes.items()
    }
    return base.model_copy(
        update={"equipment": e, "pipes": (*base.pipes, *pipes), "modes": modes}
    )  # fmt: skip


def test_freezing_is_judged_where_the_share_is_stated_and_asked_for_where_not() -> None:
    """Would fail if a chiller at -6 degC ran on water, or on a share nobody knows, unnoticed."""
    assert size(chilled()).finding("cooling.coolant.freezes").verdict == "holds"
    thin = size(chilled(-6.0, 15.0)).finding("cooling.coolant.freezes")
    assert thin.verdict == "fails" and thin.advised == 35.0
    assert thin.target == ("CH1", "glycol_pct")
    unknown = size(chilled(-6.0, None)).finding("cooling.coolant.freezes")
    assert unknown.verdict == "unknown" and "35 %" in unknown.sentence


@pytest.mark.parametrize("leaving_c", [-10.0, -6.0, -2.0, 1.0, 15.0])
def test_every_allowed_temperature_is_worked(leaving_c: float) -> None:
    """Would fail if liquid below freezing stopped the sums, or lost heat in the day."""
    plant = chilled(leaving_c, None)
    assert size(plant).finding("cooling.milk_out").value is not None
    run = simulate_days(plant, Rulebook(), seed=2)
    assert max(abs(gap) for gap in closure(run).values()) < CLOSES


def test_milk_that_stands_on_liquid_below_its_freezing_is_told() -> None:
    """Would fail if -1 degC beside milk that stops were called safe."""
    wall = size(chilled(-1.0, area_m2=3.0)).finding("cooling.coolant.milk_wall")
    assert wall.verdict == "tight" and "freezes" in wall.sentence
    assert size(chilled(1.0)).finding("cooling.coolant.milk_wall").verdict == "holds"
    assert size(chilled(-9.0, 45.0)).finding("cooling.coolant.milk_wall").verdict == "fails"


def test_a_chiller_that_is_advised_carries_its_heat() -> None:
    """Would fail if a chiller were advised that is too small again, or several times too large."""
    plant = chilled()
    weak = plant.equipment["CH1"].model_copy(update={"duty_kw": 5.0})
    plant = plant.model_copy(update={"equipment": {**plant.equipment, "CH1": weak}})
    found = size(plant).finding("cooling.chiller.duty@CH1")
    assert found.verdict == "fails" and found.limit is not None and found.advised is not None
    assert found.limit < float(found.advised) < 1.6 * found.limit


def apart() -> Plant:
    """The same, the cooler's liquid at 3 degC, with a tank on a chiller of its own at -6 degC."""
    base = chilled(3.0)
    tank = base.equipment["TK1"].model_copy(update={"cooling": "chilled_water"})
    e = dict(base.equipment) | {
        "TK1": tank, "CH2": plants.machine("CH2", "chiller", duty_kw=90.0, leaving_c=-6.0,
                                           glycol_pct=35.0)}  # fmt: skip
    ends = ("CH2.coolant_out TK1.coolant_in", "TK1.coolant_out CH2.coolant_in")
    pipes = tuple(plants.pipe(f"LY{i}", *text.split()) for i, text in enumerate(ends))
    return base.model_copy(update={"equipment": e, "pipes": (*base.pipes, *pipes)})


def test_circuits_that_no_pipe_joins_are_not_one() -> None:
    """Would fail if a cooler were credited with a tank's colder liquid, or a chiller were held to
    stand in for one whose circuit it does not reach."""
    coldest = coldest_bath(apart())
    assert coldest is not None and coldest.leaving_c == -6.0
    assert liquid_of(coldest, Rulebook()) == coolant_of(apart(), Rulebook()) == coolant(35.0, -6.0)
    result = size(apart())
    alone = size(chilled(3.0)).finding("cooling.chilled.out")
    assert result.finding("cooling.chilled.out").value == pytest.approx(alone.value)
    circuits = result.finding("cooling.coolant.circuits")
    assert circuits.verdict == "unknown" and "CH1 and CH2" in circuits.sentence
    for key in ("cooling.chiller.duty@CH1", "cooling.chiller.duty@CH2",
                "cooling.coolant.content", "cooling.coolant.expansion"):  # fmt: skip
        assert result.finding(key).verdict == "unknown", key
    assert "its circuit" in result.finding("cooling.chiller.standby").sentence
    assert not [f for f in size(chilled()).findings if f.key == "cooling.coolant.circuits"]


def test_content_and_expansion_follow_the_circuit() -> None:
    """Would fail if buffer and vessel were not judged by the circuit they stand in."""
    assert size(chilled()).finding("cooling.coolant.content").verdict == "holds"
    short = size(chilled(buffer_l=20.0)).finding("cooling.coolant.content")
    assert short.verdict == "fails" and short.target == ("CB1", "volume_l")
    assert size(chilled()).finding("cooling.coolant.expansion").verdict == "holds"
    assert size(chilled(vessel=False)).finding("cooling.coolant.expansion").verdict == "unknown"


def test_thicker_liquid_cools_less_and_asks_more_of_the_pump() -> None:
    """Would fail if glycol were pumped and cooled with as if it were water."""
    thin, thick = chilled(1.0, 0.0), chilled(1.0, 50.0)
    warm = [size(p).finding("cooling.chilled.out").value for p in (thin, thick)]
    head = [size(p).finding("chilled.pump.head@LP9").limit for p in (thin, thick)]
    assert warm[0] < warm[1] and head[0] < head[1]  # type: ignore[operator]
    day = [simulate_days(p, Rulebook(), seed=2) for p in (thin, thick)]
    stage = day[0].compiled.names.exchangers.index("PC1.coolant_in")
    out = [r.change("exchangers")[stage] for r in day]
    assert out[0][5] / out[0][4] < out[1][5] / out[1][4]
    rules = Rulebook()
    fluid = Liquids(thick, rules).fluids["coolant"]
    assert fluid.viscosity_mpa_s == coolant_of(thick, rules).viscosity_mpa_s


def test_a_buffer_adds_its_heat_to_the_chillers_bath() -> None:
    """Would fail if a buffer stood in the file and not in the day."""
    small, large = (
        compile_plant(chilled(buffer_l=v), cache=False).litres["CH1"] for v in (100.0, 900.0)
    )
    assert large - small == pytest.approx(800.0)
