"""Electric power: demand from the modes, supply, generator and start order, battery supply."""

from __future__ import annotations

from typing import Any

import pytest

from byrewright.plant.farm import Supply, Wishes
from byrewright.plant.plant import Plant
from byrewright.results import Finding
from byrewright.standards.practice import MAGNITUDES
from byrewright.studies.sizing.loads import demand_kva, electric_loads, is_heat
from byrewright.studies.sizing.power import size_power
from byrewright.studies.sizing.standby import standby_loads
from tests.plants import machine
from tests.studies.benches import bench_of, duty, large, sized, small

ROUNDING = 0.06  # tables round to one decimal


def _powered(make: Any = small, kva: float = 150, **changes: Any) -> Plant:
    """A plant with generator, battery supply and two boards."""
    parts: dict[str, Any] = {
        "GE1": machine("GE1", "generator", rating_kva=kva, fuel_l=500),
        "US1": machine("US1", "uninterruptible_supply", rating_kva=1, fed_from="SB1"),
        "CT1": machine("CT1", "controller", fed_from="US1"),
        "YG1": machine("YG1", "yard_gate", fed_from="SB1"),
        "SB1": machine("SB1", "switchboard", fed_from=("EM1", "GE1")),
    }
    return make(**{**parts, **changes})  # type: ignore[no-any-return]


def test_demand_is_the_sum_of_the_list() -> None:
    """The motor list's columns do not add up to the demand that is judged."""
    result = sized(_powered(), size_power)
    table = result.table("power.motors")
    column = table.columns.index("milking")
    rows = [float(r[column]) for r in table.rows[:-1]]
    assert sum(rows) == pytest.approx(float(table.rows[-1][column]), abs=ROUNDING * len(rows))


@pytest.mark.parametrize("fuel_l", [0.0, 10.0])
def test_fuel_that_is_advised_lasts_as_long_as_is_wanted(fuel_l: float) -> None:
    """Would fail if a tank were advised that is empty too soon, or is several times too large."""

    def lasting(fuel_l: float) -> Finding:
        generator = machine("GE1", "generator", rating_kva=150, fuel_l=fuel_l)
        return sized(_powered(GE1=generator), size_power).finding("power.fuel")

    short = lasting(fuel_l)
    assert short.verdict == "fails" and short.advised is not None
    enough = lasting(float(short.advised))
    assert enough.value is not None and enough.limit is not None
    assert enough.limit < enough.value < 1.6 * enough.limit


def test_pumps_that_share_draw_as_one() -> None:
    """Two vacuum pumps sharing one duty are counted twice, so the supply is bought too large."""
    shared = _powered()
    alone = shared.model_copy(update={"wishes": Wishes(redundancy="none")})
    demands = []
    for plant in (shared, alone):
        loads = electric_loads(bench_of(plant), duty(plant))
        demands.append(sum(x.kw("milking") for x in loads if x.machine.id in ("VP1", "VP2")))
    assert demands[0] == pytest.approx(demands[1] / 2)


def test_small_supply_fails_and_the_advised_one_holds() -> None:
    """A supply smaller than the demand passes, or the advised one still fails."""
    weak = sized(_powered(EM1=machine("EM1", "mains", supply_kva=40)), size_power)
    worst = next(f for f in weak.findings if f.target == ("EM1", "supply_kva"))
    assert worst.verdict == "fails"
    better = machine("EM1", "mains", supply_kva=worst.advised)
    again = sized(_powered(EM1=better), size_power)
    verdicts = {f.verdict for f in again.findings if f.key == "power.demand"}
    assert verdicts <= {"holds", "tight"}


@pytest.mark.parametrize("make", [small, large])
def test_generator_is_usual_and_its_dip_holds(make: Any) -> None:
    """The advised generator leaves the range of practice or dips too far at the worst start."""
    first = sized(_powered(make), size_power).finding("power.generator")
    plant = _powered(make, kva=first.advised or 0.0)
    running = sum(
        x.running_kw
        for x in standby_loads(bench_of(plant), electric_loads(bench_of(plant), duty(plant)))
    )
    low, high = MAGNITUDES["generator_over_running"].range_for(50)
    assert low <= (first.advised or 0.0) / running <= high
    result = sized(plant, size_power)
    assert result.finding("power.generator").verdict in ("holds", "tight")
    assert result.finding("power.dip").verdict in ("holds", "tight")


def test_start_order_hardest_first_and_heat_shed() -> None:
    """The start order begins with an easy start, or heaters load the generator."""
    result = sized(_powered(), size_power)
    rows = result.table("power.start_order.GE1").rows
    starts = [float(r[1]) for r in rows]
    assert starts == sorted(starts, reverse=True)
    assert not {"WH1", "CW1", "CD1"} & {str(r[0]) for r in rows}


def test_what_standby_sheds_is_a_rule_and_a_board_that_is_off_loads_nothing() -> None:
    """The set would carry no heater whatever the farm decides, or machines of a board that the
    failure study calls off."""

    def running(plant: Plant, share: float = 0.0) -> float:
        rules = {"generator.heat_share": share}
        found = sized(plant, size_power, rules=rules).finding("power.generator")
        return next(float(i.value) for i in found.inputs if i.symbol == "P")

    plant = _powered(WH1=machine("WH1", "water_heater", fed_from="SB1", volume_l=900, heater_kw=36))
    heat = sum(
        x.kw("milking") for x in electric_loads(bench_of(plant), duty(plant)) if is_heat(x.machine)
    )
    assert heat > 0
    assert running(plant, 0.5) == pytest.approx(running(plant) + 0.5 * heat, abs=ROUNDING * 2)
    off = _powered(SB1=machine("SB1", "switchboard", fed_from=("EM1", "GE1"), essential=False))
    assert running(off) < running(_powered())


def test_ready_standby_is_not_counted() -> None:
    """A compressor that stands ready is counted as running."""
    loads = electric_loads(bench_of(small()), duty(small()))
    assert next(x for x in loads if x.machine.id == "AC2").kw("milking") == 0


def test_single_phase_warns() -> None:
    """Large motors on one phase pass without a word."""
    plant = _powered()
    site = plant.site.model_copy(update={"supply": Supply(phases=1, voltage_v=230)})
    found = sized(plant.model_copy(update={"site": site}), size_power).finding("power.single_phase")
    assert found.verdict == "fails" and "VP1" in found.sentence


def test_controls_without_battery_fail() -> None:
    """A controller that goes dead with the mains passes."""
    bare = _powered(CT1=machine("CT1", "controller", fed_from="SB1"))
    assert sized(bare, size_power).finding("power.ups_missing").verdict == "fails"
    held = sized(_powered(), size_power)
    assert held.finding("power.ups").verdict == "holds"
    assert not [f for f in held.findings if f.key == "power.ups_missing"]


def test_demand_kva_of_all_heat_is_kw() -> None:
    """Heaters are given a power factor below one."""
    loads = [x for x in electric_loads(bench_of(small()), duty(small())) if x.machine.id == "WH1"]
    assert demand_kva(loads, "milking") == pytest.approx(36.0)
