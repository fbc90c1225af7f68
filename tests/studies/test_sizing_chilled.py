"""Pumps of the chilled liquid: flow of the stage and of a tank's jacket."""

from __future__ import annotations

import pytest

from byrewright.studies.sizing.chilled import size_chilled_pumps, tank_flow_l_min
from tests.plants import machine, pipe
from tests.studies.benches import bench_of, duty, sized, small


def test_jacket_flow_is_a_heat_balance() -> None:
    """40 kW at 4 K in water of 4.17 kJ/L K is 144 L/min; a factor or unit is lost."""
    tank = machine("TK9", "bulk_tank", volume_l=8000, cooling="chilled_water", cooling_kw=40)
    flow = tank_flow_l_min(bench_of(small()), tank)  # type: ignore[arg-type]
    assert flow == pytest.approx(40 * 60 / (4.17 * 4), rel=0.005)


def test_chilled_pump_is_found_and_sized() -> None:
    """A pump of chilled liquid keeps its first guess because nothing sizes it."""
    cooler = machine("PC1", "plate_cooler", area_m2=40, water_ratio=2, chilled_area_m2=30)
    plant = small(
        PC1=cooler,
        CH1=machine("CH1", "chiller", duty_kw=60),
        LP9=machine("LP9", "liquid_pump", flow_l_min=10, head_m=2, motor_kw=0.1),
    )
    lines = (
        pipe("L901", "CH1.coolant_out", "LP9.inlet"),
        pipe("L902", "LP9.outlet", "PC1.coolant_in"),
        pipe("L903", "PC1.coolant_out", "CH1.coolant_in"),
    )
    plant = plant.model_copy(update={"pipes": (*plant.pipes, *lines)})
    result = sized(plant, size_chilled_pumps)
    flow = result.finding("chilled.pump.flow")
    assert flow.limit == pytest.approx(2.0 * duty(plant).milk_flow_met_l_min, abs=0.1)
    assert flow.verdict == "fails" and flow.target == ("LP9", "flow_l_min")


def test_a_chilled_ring_is_not_charged_with_a_rise() -> None:
    """A pump would be bought for metres that the way back gives again."""

    def head(rise_m: float) -> float:
        plant = small(
            PC1=machine("PC1", "plate_cooler", area_m2=8, water_ratio=2, chilled_area_m2=8),
            CH1=machine("CH1", "chiller", duty_kw=60),
            LP9=machine("LP9", "liquid_pump", flow_l_min=150, head_m=9, motor_kw=1.1),
        )
        lines = (
            pipe("L901", "CH1.coolant_out", "LP9.inlet"),
            pipe("L902", "LP9.outlet", "PC1.coolant_in").model_copy(update={"rise_m": rise_m}),
            pipe("L903", "PC1.coolant_out", "CH1.coolant_in"),
        )
        modes = {n: m.model_copy(update={"positions": {**m.positions, "LP9": "runs"}})
                 for n, m in plant.modes.items()}  # fmt: skip
        plant = plant.model_copy(update={"pipes": (*plant.pipes, *lines), "modes": modes})
        found = sized(plant, size_chilled_pumps).finding("chilled.pump.head")
        assert found.limit is not None and found.limit > 0.5
        return found.limit

    assert head(2.2) == head(0.0)


def test_no_chilled_liquid_says_nothing() -> None:
    """A plant cooled by water alone gets findings about chilled liquid."""
    assert not sized(small(), size_chilled_pumps).findings
