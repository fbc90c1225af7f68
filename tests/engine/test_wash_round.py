"""The wash of the simulated day goes round by the solved network; every set takes part."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from byrewright.engine import shape as sh
from byrewright.engine.compiled import with_wrong
from byrewright.engine.simulate import simulate
from byrewright.plant.plant import Plant
from byrewright.plant.programme import wash_of
from byrewright.standards.rulebook import default_rulebook
from tests import plants
from tests.engine.test_engine_basics import compiled_day, gaps

STEPS = 12_000  # past the wash of a small milking


def washed(plant: Plant, wrong: dict[str, str] | None = None) -> tuple[Any, sh.State]:
    """The compiled plant and its state after the first wash, with positions wrong all the time."""
    compiled, day = compiled_day(plant)
    rows: tuple[tuple[int, int, int, int, float], ...] = ()
    if wrong:
        compiled = with_wrong(plant, compiled, [wrong])
        rows = ((10, 1, 0, sh.ROW_ROUTE, 1.0),)
    return compiled, simulate(compiled, day, compiled.start, STEPS, rows=rows).state


def small(**changes: Any) -> Plant:
    """An invented rotary with one milking."""
    return plants.rotary(40, 120, milkings=1, groups=1, CF1=None, **changes)


def test_wash_comes_back_cooler_and_leaves_little() -> None:
    """Would fail if the wash did not pass the plant: nothing lost on its way, nothing moved."""
    compiled, state = washed(small())
    session = state.session[0]
    assert 40.0 < session[sh.B_RETURN_C] < session[sh.B_HOT_C] - 5.0
    assert 0.8 < session[sh.B_STRENGTH] <= 1.0
    assert session[sh.B_LEFT_KG] < 1.0
    passed = state.items[compiled.tables.rows("transfers"), sh.S_KG]
    moved = dict(zip(compiled.names.transfers, passed, strict=True))
    assert moved["TR1 wash"] > 1000
    assert all(abs(gap) < 1e-9 for gap in gaps(compiled, compiled.start, state).values())


@pytest.mark.parametrize(
    ("wrong", "comes_back"), [({"V34": "closed"}, False), ({"V32": "open"}, True)]
)
def test_a_stuck_wash_valve_spoils_the_wash(wrong: dict[str, str], comes_back: bool) -> None:
    """Would fail if wrong valves acted in milking alone."""
    compiled, state = washed(small(), wrong)
    assert bool(state.session[0][sh.B_RETURN_C] > 0) is comes_back
    spoilt = state.items[compiled.vessel("TK2"), sh.WASH]
    assert bool(spoilt > 50) is comes_back


def test_hot_water_that_is_shut_in_the_wash_does_not_fill_its_vessel() -> None:
    """Would fail if a wash were hot by a valve that only another mode opens."""
    base = small(V60=plants.machine("V60", "valve"))
    pipes = [p.model_copy(update={"end": "V60.a"}) if p.end == "TR1.supply_2" else p
             for p in base.pipes] + [plants.pipe("LV1", "V60.b", "TR1.supply_2")]  # fmt: skip
    hot = []
    for at in ("open", "closed"):
        modes = {n: m.model_copy(update={"positions": {
            **m.positions, "V60": at if "wash" in m.does else "open"}})
            for n, m in base.modes.items()}  # fmt: skip
        _, state = washed(base.model_copy(update={"pipes": tuple(pipes), "modes": modes}))
        hot.append(state.session[0][sh.B_HOT_C])
    assert hot[0] > 60 and hot[1] < 40


def test_every_heater_and_wash_vessel_gives_its_part() -> None:
    """Would fail if the first heater or wash vessel alone were used."""
    base = small()
    e = dict(base.equipment) | {
        "WH2": plants.machine("WH2", "water_heater", volume_l=750, heater_kw=18),
        "TR2": plants.machine("TR2", "wash_trough", volume_l=900),
    }
    more = [
        plants.pipe(f"LX{i}", *text.split()) for i, text in enumerate(
            ("WT1.outlet_5 WH2.inlet", "WH2.outlet_1 TR1.supply_3", "WH1.outlet_2 TR2.supply_1",
             "WT2.outlet_2 TR2.supply_2", "TR2.outlet_1 MU1.wash", "TR2.drain FD1.inlet_3",
             "V34.b TR2.return_1"))
    ]  # fmt: skip
    compiled, state = washed(
        base.model_copy(update={"equipment": e, "pipes": (*base.pipes, *more)})
    )
    passed = state.items[compiled.tables.rows("transfers"), sh.S_KG]
    kg = dict(zip(compiled.names.transfers, passed, strict=True))
    assert kg["hot from WH2 to TR1"] == pytest.approx(kg["hot from WH1 to TR1"] / 2, rel=0.01)
    assert kg["TR2 wash"] > 300 and kg["TR1 wash"] > 300
    assert compiled.names.troughs == ["TR1", "TR2"]


def test_every_set_of_units_gives_its_milk() -> None:
    """Would fail if all milk were given to the first of several sets."""
    base = small(MU1=plants.machine("MU1", "milking_unit", count=30))
    e = dict(base.equipment) | {"MU2": plants.machine("MU2", "milking_unit", count=10)}
    more = (plants.pipe("LY1", "MU2.milk", "ML1.units_2"),
            plants.pipe("LY2", "MU2.withheld", "WM1.milk"))  # fmt: skip
    modes = {n: m.model_copy(update={"positions": {**m.positions, "MU2": m.positions.get("MU1")}})
             if "MU1" in m.positions else m for n, m in base.modes.items()}  # fmt: skip
    compiled, state = washed(
        base.model_copy(update={"equipment": e, "pipes": (*base.pipes, *more), "modes": modes})
    )
    passed = state.items[compiled.tables.rows("transfers"), sh.S_KG]
    kg = dict(zip(compiled.names.transfers, passed, strict=True))
    assert kg["MU2.milk"] == pytest.approx(kg["MU1.milk"] / 3, rel=0.35)
    assert np.isclose(sum(kg[m] for m in kg if m.startswith("MU")), state.session[0][sh.B_KG])


def test_recovered_water_fills_the_first_rinse_alone() -> None:
    """Would fail if water that has been through the cooler rinsed last, or a tank got no rinse."""
    plant = small()
    fresh = plants.pipe("LX1", "WT1.outlet_5", "TR1.supply_3")
    plant = plant.model_copy(update={"pipes": (*plant.pipes, fresh)})
    steps = wash_of(plant, default_rulebook()).steps
    compiled, state = washed(plant)
    passed = state.items[compiled.tables.rows("transfers"), sh.S_KG]
    kg = dict(zip(compiled.names.transfers, passed, strict=True))
    given = {k: v for k, v in kg.items() if k.endswith("to TR1") and not k.startswith("hot")}
    assert given["clean water to TR1"] >= steps[-1].litres - 1
    assert 0 < given["cold to TR1"] < steps[0].litres
    assert "rinse of a tank" in kg


def test_the_sequence_of_a_wash_is_that_of_its_steps() -> None:
    """Would fail if people changed over in no time, more were made up than a trough has room for,
    or time were spent on filling nothing."""
    trough_l = 150.0
    tight = plants.machine("TR1", "wash_trough", volume_l=trough_l)
    rules = default_rulebook()
    compiled, _ = compiled_day(small(TR1=tight), rules)
    phases = compiled.tables.F[compiled.tables.rows("phases")]
    does, seconds = phases[:, sh.Q_DOES], phases[:, sh.Q_SECONDS]
    before = seconds[np.isin(does, (sh.FLUSH, sh.WAIT))].sum()
    assert before == pytest.approx(60 * rules.number("wash.changeover_min"))
    made: list[float] = [0.0]
    for row in phases:
        if row[sh.Q_DOES] == sh.DOSE_IN:
            assert row[sh.Q_KG] > 0.0
            made[-1] += row[sh.Q_KG]
        elif row[sh.Q_DOES] == sh.CIRCULATE:
            made.append(0.0)
    assert 0.9 * trough_l < max(made) < trough_l
    assert any(note.startswith("TR1: room for 150 L, less than ") for note in compiled.notes)
