"""Washing: water, heat, end temperature, time, chemicals against practice and worked figures."""

from __future__ import annotations

import pytest

from byrewright.engine.washing import wash_circuit
from byrewright.plant.farm import Cleaning
from byrewright.plant.plant import Plant
from byrewright.plant.programme import wash_of
from byrewright.results import Finding
from byrewright.standards.practice import MAGNITUDES
from byrewright.standards.rulebook import Rulebook, default_rulebook
from byrewright.studies.sizing.washing import size_washing
from tests.plants import machine, rows
from tests.studies.benches import large, sized, small


def _usual(key: str, found: Finding, stalls: int, scale: float = 1.0) -> None:
    assert found.value is not None
    assert MAGNITUDES[key].usual(found.value * scale, stalls), (key, found.value)


@pytest.mark.parametrize(("plant", "stalls"), [(small(), 50), (large(), 84)])
def test_magnitudes(plant: Plant, stalls: int) -> None:
    """Water, hot charge and time of a wash leave the range a practised engineer expects."""
    result = sized(plant, size_washing)
    _usual("wash_water_m3", result.finding("wash.water"), stalls, 0.001)
    _usual("hot_charge_l", result.finding("wash.hot_charge"), stalls)
    _usual("wash_min", result.finding("wash.time"), stalls)


@pytest.mark.parametrize(("plant", "stalls"), [(small(), 50), (large(), 84)])
def test_heat_of_the_hot_charge(plant: Plant, stalls: int) -> None:
    """The heat of the hot charge leaves the range of practice: a wrong unit or temperature."""
    wash = wash_of(plant, default_rulebook())
    kwh = wash.hot_l * 4.19 * (plant.cleaning.hot_c - min(plant.site.water_temperature_c)) / 3600
    assert MAGNITUDES["hot_charge_kwh"].usual(kwh, stalls), kwh


def test_a_trough_has_room_above_the_hot_charge() -> None:
    """Would fail if a trough were large enough that runs over with the charge in it."""
    for share in (0.1, 0.3):
        found = sized(small(), size_washing, rules={"wash.trough_freeboard_share": share})
        charge_l = found.finding("wash.hot_charge").value
        assert charge_l is not None
        assert found.finding("wash.trough").limit == pytest.approx(charge_l * (1 + share), abs=1.0)


def test_each_unit_loses_heat_of_the_wash() -> None:
    """A wash would come back warmer for having more units to warm."""
    plant, rules = small(), default_rulebook()
    area, u = rules.number("wash.unit_area_m2"), rules.number("wash.line_u_w_m2k")
    more = Rulebook({"wash.unit_area_m2": 1.5 * area})
    lost = [wash_circuit(plant, r).ua_kw_k for r in (rules, more)]
    assert lost[1] - lost[0] == pytest.approx(50 * 0.5 * area * u / 1000)


def test_end_temperature_falls_with_the_charge() -> None:
    """A small charge in the same steel comes back warmer than a large one."""
    little = small().model_copy(update={"cleaning": Cleaning(water_l_unit=8)})
    ample = small().model_copy(update={"cleaning": Cleaning(water_l_unit=14)})
    ends = [sized(p, size_washing).finding("wash.end_temperature").value for p in (little, ample)]
    assert ends[0] is not None and ends[1] is not None and ends[0] < ends[1] < 80


def test_a_wash_as_hot_as_it_may_be_is_given_more_water() -> None:
    """A cold return would be left open by a draft where a hotter start is not to be had, though
    more water mends it."""
    for hot_c, figure in ((70.0, "hot_c"), (88.0, "water_l_unit")):
        little = Cleaning(water_l_unit=5, hot_c=hot_c, end_c=65)
        cold = small().model_copy(update={"cleaning": little})
        end = sized(cold, size_washing).finding("wash.end_temperature")
        assert end.verdict == "fails"
        assert next(r.figure for r in end.remedies if not r.otherwise) == figure
    more = Cleaning(water_l_unit=float(end.remedies[0].to), hot_c=88.0, end_c=65)
    mended = sized(small().model_copy(update={"cleaning": more}), size_washing)
    better = mended.finding("wash.end_temperature").value
    assert better is not None and end.value is not None and better > end.value + 2


def test_what_the_rinse_leaves_in_a_balance_tank_cools_the_wash() -> None:
    """Sizing would promise a return that the day, whose pumps stop above it, never finds: charge,
    what was left and steel share their heat, and all else is alike."""
    found = []
    for led_at_l in (40.0, 200.0):
        tank = machine("BT1", "balance_tank", volume_l=500, led_at_l=led_at_l)
        end = sized(small(BT1=tank), size_washing).finding("wash.end_temperature")
        given = {one.symbol: one.value for one in end.inputs}
        assert given["V_left"] == pytest.approx(0.25 * led_at_l)
        found.append(end.value)
    assert found[0] is not None and found[1] is not None
    assert 1.0 < found[0] - found[1] < 10.0


def test_no_gap_fails_with_words() -> None:
    """Milkings that leave no time for a wash pass in silence."""
    crowded = rows(24, 1200, milkings=3)
    found = sized(crowded, size_washing).finding("wash.time")
    assert found.verdict == "fails" and "no time at all" in found.sentence


@pytest.mark.parametrize(
    ("tag", "key"), [("TR1", "wash.trough"), ("WH1", "wash.heater"), ("AI1", "wash.injector")]
)
def test_missing_machine_fails(tag: str, key: str) -> None:
    """A plant without trough, heater or air injector cannot be washed and passes."""
    assert sized(small(**{tag: None}), size_washing).finding(key).verdict == "fails"


def test_advised_heater_holds() -> None:
    """The advised volume and input do not hold when applied."""
    plant = large(WH1=machine("WH1", "water_heater", volume_l=500, heater_kw=6))
    first = sized(plant, size_washing)
    volume, power = (first.finding(f"wash.heater_{k}") for k in ("volume", "power"))
    assert volume.verdict == power.verdict == "fails"
    better = machine("WH1", "water_heater", volume_l=volume.advised, heater_kw=power.advised)
    again = sized(large(WH1=better), size_washing)
    assert {again.finding(f"wash.heater_{k}").verdict for k in ("volume", "power")} <= {
        "holds", "tight",
    }  # fmt: skip


def test_hard_water_asks_for_acid_sooner() -> None:
    """Hard water leaves milkstone under a weekly acid wash."""
    plant = small().model_copy(update={"cleaning": Cleaning(hardness_ppm=350)})
    assert sized(plant, size_washing).finding("wash.acid_interval").verdict == "fails"
