"""The day takes its flows from the solved network: what no single way, bath or pump decides."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy.optimize import brentq

from byrewright.engine import shape as sh
from byrewright.engine.compiled import compile_plant
from byrewright.engine.layout import MODES
from byrewright.engine.liquids import liquids_of
from byrewright.engine.rows import MILKING, WASHING
from byrewright.engine.simulate import simulate
from byrewright.plant.plant import Mode, Pipe, Plant
from byrewright.plant.read import read_plant
from byrewright.plant.roles import RinsesUnits, WashesCloths
from byrewright.standards.rulebook import default_rulebook
from tests import plants
from tests.engine.test_engine_basics import compiled_day

ROOT = Path(__file__).resolve().parents[2]
EXAMPLES = [p for p in sorted(ROOT.glob("examples/*/plant.yaml")) if "broken" not in p.parent.name]
STEPS = 12_000
SAME = 1e-6  # of what flows: answers of a network cut in another way


def cooled(**changes: Any) -> Plant:
    """An invented rotary with a bypass round its cooler; changes replace machines."""
    base = plants.rotary(40, 240, milkings=1, groups=2, CF1=None)
    e = dict(base.equipment) | {"V39": plants.machine("V39", "valve")} | changes
    pipes = [p for p in base.pipes if p.id not in changes]
    pipes += [plants.pipe("LB1", "V40.b", "V39.a"), plants.pipe("LB2", "V39.b", "V31.a")]
    return base.model_copy(update={"equipment": e, "pipes": tuple(pipes)})


def longer(plant: Plant, name: str, metres: float) -> Plant:
    """The same with one pipe of another length."""
    pipes = tuple(p.model_copy(update={"length_m": metres}) if p.id == name else p
                  for p in plant.pipes)  # fmt: skip
    return plant.model_copy(update={"pipes": pipes})


def after(plant: Plant, steps: int = STEPS) -> tuple[Any, sh.State]:
    """The compiled plant and its state some steps into the day."""
    compiled, day = compiled_day(plant)
    return compiled, simulate(compiled, day, compiled.start, steps).state


def through(compiled: Any, state: sh.State) -> dict[str, float]:
    """Milk that passed each stage, kg."""
    rows = state.items[compiled.tables.rows("exchangers")]
    return {
        name: float(r[sh.SX_KG]) for name, r in zip(compiled.names.exchangers, rows, strict=True)
    }


@pytest.mark.parametrize("metres", [0.2, 0.5, 60.0])
def test_a_closed_bypass_may_be_as_short_as_it_is(metres: float) -> None:
    """Would fail if a short way round the cooler were taken although its valve is shut."""
    plant = cooled()
    _, base = after(plant)
    compiled, state = after(longer(longer(plant, "LB1", metres), "LB2", metres))
    assert through(compiled, state)["PC1.water_in"] > 100
    assert state.same_as(base)


def test_two_coolers_in_a_row_both_cool() -> None:
    """Would fail if a second machine were left dry, or taken as beside the first."""
    first = {"area_m2": 10.0, "water_ratio": 2.0}
    base = plants.rotary(40, 240, milkings=1, groups=2, CF1=None,
                         PC1=plants.machine("PC1", "plate_cooler", **first))  # fmt: skip
    e = dict(base.equipment) | {"PC2": plants.machine("PC2", "plate_cooler", **first)}
    moved = []
    for p in base.pipes:
        start = "PC2.milk_out" if p.start == "PC1.milk_out" else p.start
        moved.append(p.model_copy(update={"start": start}))
    moved += [plants.pipe("LX1", "PC1.milk_out", "PC2.milk_in"),
              plants.pipe("LX2", "WF1.outlet", "PC2.water_in"),
              plants.pipe("LX3", "PC2.water_out", "WT2.inlet_2")]  # fmt: skip
    compiled, state = after(base.model_copy(update={"equipment": e, "pipes": tuple(moved)}))
    passed = through(compiled, state)
    assert passed["PC1.water_in"] == pytest.approx(passed["PC2.water_in"], rel=SAME)
    assert passed["PC1.water_in"] > 100
    rows = state.items[compiled.tables.rows("exchangers")]
    out = dict(zip(compiled.names.exchangers, rows[:, sh.SX_KGC] / rows[:, sh.SX_KG], strict=True))
    assert out["PC2.water_in"] < out["PC1.water_in"] - 0.5
    # Four temperatures of each: milk comes to the second as it left the first; heats agree.
    one, two = rows[0], rows[1]
    assert two[sh.SX_KGIN] / two[sh.SX_KG] == pytest.approx(out["PC1.water_in"], abs=0.05)
    for x in (one, two):
        assert x[sh.SX_COLD] == pytest.approx(2.0 * x[sh.SX_KG], rel=1e-6)
        milk_kj = (x[sh.SX_KGIN] - x[sh.SX_KGC]) * 3.93
        assert x[sh.SX_KJ] == pytest.approx(milk_kj, rel=0.01)
        assert x[sh.SX_COLDC] / x[sh.SX_COLD] < x[sh.SX_KGC] / x[sh.SX_KG]
    assert compiled.names.exchangers.index("PC1.water_in") < compiled.names.exchangers.index(
        "PC2.water_in"
    )


def ring(*makers: str, kind: str = "chiller", **fields: Any) -> Plant:
    """An invented rotary whose cooler has a chilled stage on a ring with a pump and some makers."""
    base = plants.rotary(
        40,
        240,
        milkings=1,
        groups=2,
        CF1=None,
        PC1=plants.machine("PC1", "plate_cooler", area_m2=8, water_ratio=2, chilled_area_m2=8),
    )
    e = dict(base.equipment) | {m: plants.machine(m, kind, **fields) for m in makers}
    e |= {t: plants.machine(t, "header") for t in ("HC1", "HC2")}
    e["LP9"] = plants.machine("LP9", "liquid_pump", flow_l_min=300, head_m=18, motor_kw=2.2)
    out, back = (
        ("coolant_out_1", "coolant_in_1") if kind == "ice_bank" else ("coolant_out", "coolant_in")
    )
    pipes: list[Pipe] = [*base.pipes, plants.pipe("LC1", "HC1.way_9", "LP9.inlet"),
                         plants.pipe("LC2", "LP9.outlet", "PC1.coolant_in"),
                         plants.pipe("LC3", "PC1.coolant_out", "HC2.way_9")]  # fmt: skip
    for i, m in enumerate(makers, 1):
        pipes += [plants.pipe(f"LO{i}", f"{m}.{out}", f"HC1.way_{i}"),
                  plants.pipe(f"LI{i}", f"HC2.way_{i}", f"{m}.{back}")]  # fmt: skip
    modes = {n: m.model_copy(update={"positions": {**m.positions, "LP9": "runs"}})
             for n, m in base.modes.items()}  # fmt: skip
    return base.model_copy(update={"equipment": e, "pipes": tuple(pipes), "modes": modes})


def test_two_chillers_both_take_part() -> None:
    """Would fail if the second of two chillers stood while the first was overrun."""
    compiled, state = after(ring("CH1", "CH2", duty_kw=20))
    rows = state.items[compiled.tables.rows("chillers")]
    made = {t: rows[compiled.names.chillers.index(t), sh.SR_KJ] for t in ("CH1", "CH2")}
    assert min(made.values()) > 1000
    assert made["CH1"] == pytest.approx(made["CH2"], rel=0.01)
    one, alone = after(ring("CH1", duty_kw=40))
    x = one.names.exchangers.index("PC1.coolant_in")
    rows = [s.items[c.tables.rows("exchangers")][x] for c, s in ((compiled, state), (one, alone))]
    assert rows[0][sh.SX_KGC] / rows[0][sh.SX_KG] == pytest.approx(
        rows[1][sh.SX_KGC] / rows[1][sh.SX_KG], abs=0.3
    )


def test_two_ice_banks_both_melt() -> None:
    """Would fail if the second ice bank never gave its ice."""
    compiled, state = after(ring("IB1", "IB2", kind="ice_bank", store_kwh=60, duty_kw=0.6))
    left = [state.items[compiled.vessel(t), sh.HEAT] / 3600 for t in ("IB1", "IB2")]
    assert max(left) < -1 and min(left) > -58
    assert left[0] == pytest.approx(left[1], abs=1.0)


def test_a_ring_whose_pump_stands_cools_nothing() -> None:
    """Would fail if chilled liquid flowed without its pump."""
    plant = ring("CH1", duty_kw=40)
    modes = {n: m.model_copy(update={"positions": {**m.positions, "LP9": "stopped"}})
             for n, m in plant.modes.items()}  # fmt: skip
    compiled, state = after(plant.model_copy(update={"modes": modes}))
    x = compiled.names.exchangers.index("PC1.coolant_in")
    assert state.items[compiled.tables.rows("exchangers")][x][sh.SX_KJ] == 0.0


def test_a_chiller_that_the_modes_hold_off_makes_no_cold() -> None:
    """Would fail if a maker of cold ran although every mode says that it stands."""
    plant = ring("CH1", "CH2", duty_kw=20)
    modes = {n: m.model_copy(update={"positions": {**m.positions, "CH1": "stopped"}})
             for n, m in plant.modes.items()}  # fmt: skip
    compiled, state = after(plant.model_copy(update={"modes": modes}))
    rows = state.items[compiled.tables.rows("chillers")]
    made = {t: rows[compiled.names.chillers.index(t), sh.SR_KJ] for t in ("CH1", "CH2")}
    assert made["CH1"] == 0.0 and made["CH2"] > 1000
    # What goes through the one that stands comes back chilled by the other.
    one, alone = after(ring("CH2", duty_kw=20))
    kj = alone.items[one.tables.rows("chillers")][0, sh.SR_KJ]
    assert made["CH2"] == pytest.approx(kj, rel=0.1)


def test_water_that_is_shut_in_milking_cools_no_milk() -> None:
    """Would fail if a cooler took its water as it comes in some other mode."""
    base = plants.rotary(40, 240, milkings=1, groups=2, CF1=None)
    e = dict(base.equipment) | {"V71": plants.machine("V71", "valve")}
    pipes = [p.model_copy(update={"end": "V71.a"}) if p.end == "PC1.water_in" else p
             for p in base.pipes] + [plants.pipe("LV1", "V71.b", "PC1.water_in")]  # fmt: skip
    for at, cools in (("open", True), ("closed", False)):
        modes = {n: m.model_copy(update={"positions": {
            **m.positions, "V71": at if "milking" in m.does or m.like else "open"}})
            for n, m in base.modes.items()}  # fmt: skip
        plant = base.model_copy(update={"equipment": e, "pipes": tuple(pipes), "modes": modes})
        compiled, state = after(plant)
        assert (state.items[compiled.tables.rows("exchangers")][0, sh.SX_KJ] > 1000) == cools


@pytest.mark.parametrize("does", ["milking", "wash"])
def test_a_milk_pump_stands_in_the_modes_that_say_so(does: str) -> None:
    """Would fail if a pump held off in one mode ran in it, or stood in the others too."""
    base = plants.rotary(40, 240, milkings=1, groups=2, CF1=None)
    modes = {n: m.model_copy(update={"positions": {**m.positions, "MP2": "stopped"}})
             if does in m.does else m for n, m in base.modes.items()}  # fmt: skip
    compiled, _ = compiled_day(base.model_copy(update={"modes": modes}))
    most = compiled.tables.most
    alts = len(most) // len(MODES)
    mine = compiled.names.transfers.index("MP2")
    gives = {what: bool(most[n * alts : (n + 1) * alts, :, mine, 0].max() > 0)
             for n, what in enumerate(MODES)}  # fmt: skip
    assert gives[MILKING] == (does != "milking")
    assert gives[WASHING] == (does != "wash")
    assert compiled.start.items[compiled.tables.rows("transfers")][mine, sh.S_CMD] == 1.0
    other = compiled.names.transfers.index("MP1")
    assert (most[: 2 * alts, :, other, 0].max(axis=1) > 0).all()


def two_suctions(v1: str, v2: str) -> Plant:
    """An invented rotary whose one pump draws from both receivers through a valve each."""
    base = plants.rotary(40, 240, milkings=1, groups=2, CF1=None, MP2=None)
    e = dict(base.equipment) | {t: plants.machine(t, "valve") for t in ("V21", "V22")}
    e["MP1"] = plants.machine("MP1", "milk_pump", flow_l_min=220, head_m=9, motor_kw=1.5,
                              control="level_led", led_by="RC1", fed_from=("SB1",))  # fmt: skip
    e["HS1"] = plants.machine("HS1", "header")
    pipes = [p for p in base.pipes if not p.start.startswith(("RC1.outlet", "RC2.outlet"))]
    pipes += [plants.pipe("LS1", "RC1.outlet", "V21.a"), plants.pipe("LS2", "V21.b", "HS1.way_1"),
              plants.pipe("LS3", "RC2.outlet", "V22.a"), plants.pipe("LS4", "V22.b", "HS1.way_2"),
              plants.pipe("LS5", "HS1.way_3", "MP1.inlet")]  # fmt: skip
    milking = base.modes["milking"]
    modes = dict(base.modes) | {"milking": Mode(
        name="milking", does=("milking",),
        positions={**milking.positions, "V21": v1, "V22": v2},
    )}  # fmt: skip
    return base.model_copy(update={"equipment": e, "pipes": tuple(pipes), "modes": modes})


def test_a_pump_with_one_suction_shut_takes_all_from_the_other() -> None:
    """Would fail if an open suction were kept to a half because the other is shut."""
    both, _ = after(two_suctions("open", "open"), 100)
    one, _ = after(two_suctions("open", "closed"), 100)
    full = {n: both.tables.most[0, 1, i, 0] for i, n in enumerate(both.names.transfers)
            if n.startswith("MP1")}  # fmt: skip
    assert set(full) == {"MP1 from RC1", "MP1 from RC2"}
    assert full["MP1 from RC1"] == pytest.approx(full["MP1 from RC2"], rel=SAME)
    alone = one.tables.most[0, 1, one.names.transfers.index("MP1"), 0]
    assert alone > 0.97 * sum(full.values())
    assert np.isclose(both.tables.most[0, 1, both.names.transfers.index("MP1 from RC1"), 1], 0.5)


def two_ends(control: str) -> Plant:
    """An invented rotary whose delivery line to the tank, 5 m up, stands open to the floor."""
    base = plants.rotary(40, 240, milkings=1, groups=2, CF1=None)
    e = dict(base.equipment) | {"HX1": plants.machine("HX1", "header")}
    for tag in ("MP3", "MP4"):
        e[tag] = e[tag].model_copy(update={"control": control})
    pipes = [p if p.end != "TK1.inlet_1" else p.model_copy(update={"end": "HX1.way_1"})
             for p in base.pipes]  # fmt: skip
    pipes += [
        plants.pipe("LX1", "HX1.way_2", "TK1.inlet_1").model_copy(update={"rise_m": 5.0}),
        plants.pipe("LX2", "HX1.way_3", "FD1.inlet_91", bore_mm=24.0),
    ]
    return base.model_copy(update={"equipment": e, "pipes": tuple(pipes)})


def spilt_share(compiled: Any, state: sh.State) -> float:
    """Of the milk that left the delivery line, what went to the floor."""
    floor, tank = (sum(state.items[compiled.vessel(t), s] for s in (sh.MILK, sh.WITHHELD))
                   for t in ("FD1", "TK1"))  # fmt: skip
    return float(floor / (floor + tank))


def test_a_slower_pump_with_two_open_ends_gives_more_to_the_lower_one() -> None:
    """Would fail if a pump that follows a level split its flow as at full speed: slow, it lifts
    little of its milk 5 m, and most runs to the floor."""
    slow, steady = (after(two_ends(control)) for control in ("level_led", "on_off"))
    net = liquids_of(two_ends("level_led"), default_rulebook())
    s = net.situation("milking")

    def at(speed: float) -> tuple[float, float]:
        flows = net.solve(replace(s, speed=dict.fromkeys(("MP3", "MP4"), speed))).l_min
        return flows.get("LX2", 0.0), flows.get("LX1", 0.0)

    floor, tank = at(1.0)
    assert tank > 0.2 * floor
    assert spilt_share(*steady) == pytest.approx(floor / (floor + tank), rel=0.05)
    # Solved at a half and a quarter of the full flow.
    compiled, _ = slow
    ends = {n.split(" > ")[-1]: j for j, n in enumerate(compiled.names.branches)
            if n.startswith("MP3")}  # fmt: skip
    shares = compiled.tables.share[0, 3]
    for k, part in enumerate(sh.SLOWED, 1):
        speed = brentq(lambda x, part=part: sum(at(x)) - part * (floor + tank), 0.1, 1.0)
        low, high = at(speed)
        told = shares[ends["FD1"], k], shares[ends["TK1"], k]
        assert told[0] / sum(told) == pytest.approx(low / (low + high), abs=0.02)
    # It runs at its least flow, a quarter, where the floor takes three times as much of it.
    assert low / (low + high) > 3 * floor / (floor + tank)
    assert spilt_share(*slow) == pytest.approx(low / (low + high), rel=0.1)  # one, then two run


def test_a_second_machine_may_have_the_chilled_stage_alone() -> None:
    """Would fail if well water in one machine and chilled liquid in the next could not be drawn."""
    base = ring("CH1", duty_kw=40)
    e = dict(base.equipment)
    e["PC1"] = plants.machine("PC1", "plate_cooler", area_m2=8, water_ratio=2)
    e["PC2"] = plants.machine("PC2", "plate_cooler", area_m2=0, chilled_area_m2=8)
    ends = {"PC1.milk_out": "PC2.milk_out", "PC1.coolant_in": "PC2.coolant_in",
            "PC1.coolant_out": "PC2.coolant_out"}  # fmt: skip
    moved = [
        p.model_copy(update={"start": ends.get(p.start, p.start), "end": ends.get(p.end, p.end)})
        for p in base.pipes
    ]
    moved.append(plants.pipe("LX1", "PC1.milk_out", "PC2.milk_in"))
    compiled, state = after(base.model_copy(update={"equipment": e, "pipes": tuple(moved)}))
    assert compiled.names.exchangers == ["PC1.water_in", "PC2.coolant_in"]
    one, two = state.items[compiled.tables.rows("exchangers")]
    assert two[sh.SX_KG] == pytest.approx(one[sh.SX_KG], rel=SAME) and one[sh.SX_KG] > 100
    assert two[sh.SX_KGIN] == pytest.approx(one[sh.SX_KGC], rel=0.01)
    assert two[sh.SX_KGC] / two[sh.SX_KG] < one[sh.SX_KGC] / one[sh.SX_KG] - 3


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda p: p.parent.name)
def test_what_rinses_units_and_washes_cloths_draws_its_water(path: Path) -> None:
    """Would fail if a machine at the end of a line got no water in the day: nothing flows there
    until it draws, so that the state of a mode alone tells of no supply."""
    plant = read_plant(path).plant
    users = [*plant.machines(RinsesUnits), *plant.machines(WashesCloths)]
    wet = {f"{m.id} water" for m in users if any(p.name == "water" for p in m.ports())}
    assert wet and wet <= set(compile_plant(plant).names.transfers)
