"""Vacuum pumps, regulation, distribution tank: two rule sets that are never mixed."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from byrewright.physics.air import pump_correction, slug_air_l_min_free
from byrewright.plant.plant import Plant
from byrewright.plant.roles import CollectsMilk
from byrewright.studies.sizing.duty import duty_of
from byrewright.studies.sizing.vacuum import size_vacuum
from byrewright.studies.sizing.vacuum_demand import RATED_VACUUM_KPA, air_use, demand
from tests.plants import machine, rotary
from tests.studies.benches import bench_of, large, sized, small

TENTH = 0.05
"""Constructed figures are given to a tenth of a litre."""
CFM_L_MIN = 28.317
"""L/min in a cubic foot a minute, as the source gives it."""


def placed(plant: Plant, **site: object) -> Plant:
    """The same plant at another site."""
    return plant.model_copy(update={"site": plant.site.model_copy(update=site)})


def test_constructed_example_of_twelve_units() -> None:
    """The ISO form would not give 1149.2 at inlet and 1021.5 nominal (constructed example W1)."""
    plant = rotary(
        12, 120,
        MU1=machine("MU1", "milking_unit", count=12, claw_air_l_min_free=10),
        PU1=machine("PU1", "pulsator", count=12, air_l_min_free=30),
        # 45 kPa at the pump: 42 at the receiver and the 3 that the rule allows between them
        RG1=machine("RG1", "regulator", capacity_l_min_free=2000, set_vacuum_kpa=42),
    )  # fmt: skip
    ctx = bench_of(placed(plant, altitude_m=111.0))
    need = demand(ctx, duty_of(ctx))
    assert need.iso.effective_reserve_l_min_free == 520
    assert need.iso.at_inlet_l_min_free == pytest.approx(1149.2, abs=TENTH)
    assert need.iso.nominal_l_min_free == pytest.approx(1021.5, rel=0.001)


def test_us_rule_of_32_units() -> None:
    """The US rule would not give 131 cfm (Cornell 2018; US extension)."""
    ctx = bench_of(placed(rotary(32, 300), region="US", altitude_m=0))
    need = demand(ctx, duty_of(ctx))
    assert need.us_l_min == pytest.approx(131 * CFM_L_MIN, rel=1e-3)


def test_height_counts_for_the_us_rule_too() -> None:
    """A US plant in the mountains would get the pumps of one at the sea."""
    sea, high = (bench_of(placed(rotary(32, 300), region="US", altitude_m=m)) for m in (0, 2000))
    thin = pump_correction(RATED_VACUUM_KPA, duty_of(high).pressure_kpa_abs, high.rules)
    grown = demand(high, duty_of(high)).us_l_min / demand(sea, duty_of(sea)).us_l_min
    assert grown == pytest.approx(thin) and thin > 1.2


def test_washing_asks_for_the_slug_the_jets_and_all_that_leaks() -> None:
    """Air that leaks in would be forgotten while the plant is washed, or the slug counted once
    too little (sums by hand from the parts)."""
    ctx = bench_of(small())
    duties = duty_of(ctx)
    need, air, rules = demand(ctx, duties), air_use(ctx, duties), ctx.rules
    bore = ctx.plant.machines(CollectsMilk)[0].bore_mm
    slug = slug_air_l_min_free(bore, rules.number("wash.slug_velocity_m_s"),
                               duties.working_vacuum_kpa, duties.pressure_kpa_abs)  # fmt: skip
    jets = duties.units * rules.number("wash.unit_air_l_min")
    parts = slug + jets + air.pulsators + need.iso.milk_leakage_l_min_free
    system = rules.number("vacuum.system_leak_share") * need.wash_at_inlet_l_min
    assert need.iso.milk_leakage_l_min_free > 10.0
    assert need.wash_at_inlet_l_min == pytest.approx(parts + system)


def test_the_region_chooses_one_rule_set() -> None:
    """The two reserve rules would be mixed."""
    eu, us = sized(large(), size_vacuum), sized(placed(large(), region="US"), size_vacuum)
    for result, held, shown in ((eu, "iso", "us"), (us, "us", "iso")):
        assert "applied here" in result.finding(f"vacuum.demand.{held}").sentence
        assert "shown only" in result.finding(f"vacuum.demand.{shown}").sentence
    milking = us.finding("vacuum.demand.us").value
    assert milking is not None
    assert us.finding("vacuum.pump.capacity").limit == pytest.approx(milking)


def test_each_pump_alone_carries_the_duty() -> None:
    """With a pump off the other would be too small and nothing would say so."""
    weak = machine("VP2", "vacuum_pump", capacity_l_min_free=2500, motor_kw=11)
    result = sized(small(VP2=weak), size_vacuum)
    assert result.finding("vacuum.pump.capacity@VP1").verdict == "holds"
    found = result.finding("vacuum.pump.capacity@VP2")
    assert found.verdict == "fails" and "with VP1 off" in found.sentence
    assert found.advised is not None and found.limit is not None
    assert found.advised > found.limit


def test_without_redundancy_pumps_share() -> None:
    """A plant that wished no second machine would be held to one."""
    plant = small()
    lean = plant.model_copy(
        update={"wishes": plant.wishes.model_copy(update={"redundancy": "none"})}
    )
    both = sized(plant, size_vacuum).finding("vacuum.pump.capacity").limit
    half = sized(lean, size_vacuum).finding("vacuum.pump.capacity").limit
    assert both is not None and half == pytest.approx(both / 2)


def test_no_pump_and_no_regulation_are_named() -> None:
    """A plant with no vacuum would be sized in silence."""
    assert sized(small(VP1=None, VP2=None), size_vacuum).finding("vacuum.pump").verdict == "fails"
    fixed = {
        i: machine(i, "vacuum_pump", capacity_l_min_free=6000, motor_kw=15) for i in ("VP1", "VP2")
    }
    none = sized(small(RG1=None, **fixed), size_vacuum)
    assert none.finding("vacuum.regulator").verdict == "fails"


def test_pumps_under_their_least_speed() -> None:
    """Sharing pumps that cannot slow enough would go unseen (facts: model both)."""
    covered = sized(small(), size_vacuum).finding("vacuum.pump.shared_speed")
    assert covered.verdict == "holds" and "regulator admits" in covered.sentence
    bare = sized(small(RG1=None), size_vacuum).finding("vacuum.pump.shared_speed")
    assert bare.verdict == "fails"


@pytest.mark.parametrize("redundancy", ["none", "duty-and-standby", "shared-running"])
def test_a_standby_is_judged_where_one_is_wished(redundancy: str) -> None:
    """A farm that wants one pump would be told to buy two, or one that wants two would not."""
    plant = small(VP2=None)
    wishes = plant.wishes.model_copy(update={"redundancy": redundancy})
    found = sized(plant.model_copy(update={"wishes": wishes}), size_vacuum).findings
    told = [f.verdict for f in found if f.key == "vacuum.pump.standby"]
    assert told == ([] if redundancy == "none" else ["fails"])
    both = sized(small().model_copy(update={"wishes": wishes}), size_vacuum).findings
    stands = [f for f in both if f.key == "vacuum.pump.standby"]  # both run, so none is cold
    assert all(f.verdict == "holds" and "does not save" not in f.sentence for f in stands)


def test_a_lobe_pump_is_noted() -> None:
    """The altitude rule of vane pumps would be applied to a lobe pump without a word."""
    lobe = machine("VP1", "vacuum_pump", capacity_l_min_free=6000, motor_kw=15, design="lobe")
    told = [n for n in sized(small(VP1=lobe), size_vacuum).notes if "not a vane pump" in n]
    assert len(told) == 1 and told[0].startswith("VP1 ")


@given(low=st.floats(0, 1500), more=st.floats(50, 700))
@settings(max_examples=20, deadline=None)
def test_height_never_lessens_the_need(low: float, more: float) -> None:
    """A pump would be smaller on a mountain."""
    at = [placed(small(), altitude_m=h) for h in (low, low + more)]
    limits = [sized(p, size_vacuum).finding("vacuum.pump.capacity").limit for p in at]
    assert limits[0] is not None and limits[1] is not None
    assert limits[1] > limits[0]
