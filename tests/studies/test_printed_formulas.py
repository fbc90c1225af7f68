"""Sizing's own formulas, worked again from the inputs that it prints beside them.

A reader who does so must come to the number that is printed, on any plant and with any rules.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping
from functools import cache
from math import ceil, pi, sqrt

import pytest

from byrewright.physics.constants import GRAVITY_M_S2 as G
from byrewright.plant.plant import Plant
from byrewright.plant.roles import HeatsWater
from byrewright.results import Finding, Result, judge
from byrewright.standards.rulebook import Rulebook, default_rulebook
from byrewright.studies.sizing import size
from tests.studies.told import Inputs, inputs, says, senseless
from tests.studies.varied import STARTS, random_plant, random_rules

RANDOM = 10
PRINTED = 0.012
"""Inputs are printed with three figures or so."""
LEAST = 0.06
"""A printed number may be of one decimal."""


def disc_m2(d_mm: float) -> float:
    """A pipe's cross-section."""
    return pi / 4 * (d_mm / 1000) ** 2


def speed(i: Inputs) -> float:
    """v = q / (pi/4 d^2)."""
    return i["q"] / 60_000 / disc_m2(i["d"])


def pumping(i: Inputs) -> float:
    """k q rho g H / eta of water, kW."""
    return i["k"] * i["q"] / 60_000 * G * i["H"] / i["eta"]


def lift(i: Inputs) -> float:
    """z + p / (rho g) of water, m."""
    return i["z"] + (i["p_friction"] + i["p_machines"] + i["p_end"]) / G


def shared(i: Inputs) -> float:
    """The greatest of some flows, by pumps that share it."""
    return max(v for k, v in i.items() if k.startswith("q_")) / i["n"]


def stage_c(i: Inputs) -> float:
    """T_in - e C_min (T_in - t_in) / C_milk."""
    return i["T_in"] - i["e"] * i["C_min"] * (i["T_in"] - i["t_in"]) / i["C_milk"]


def batches_h(i: Inputs, less: int = 0) -> float:
    """ceil(ceil(M / (L f)) / n) (c + h) / 60."""
    return ceil(ceil(i["M"] / (i["L"] * i["f"])) / (i["n"] - less)) * (i["c"] + i["h"]) / 60


def held_l(i: Inputs) -> float:
    """V_held + V_slug + q_peak t / 60, at least what a receiver must have."""
    slug = disc_m2(i["d"]) * 1000 * (i["L_end"] + 0.05 * i["L"])
    assert i["V_slug"] == pytest.approx(slug, rel=0.5)  # its own rule may shorten it otherwise
    return max(i["V_least"], i["V_held"] + i["V_slug"] + i["q_peak"] * i["t"] / 60)


def at_altitude(key: str, plant: Plant, rules: Rulebook) -> float:
    """What thin air takes: motors give so much less for each 100 m above their limit, so does what
    is cooled by air."""
    ends = {"motor": ("motor", "motor"), "duty": ("refrigeration", "refrigeration"),
            "generator": ("motor", "generator")}  # fmt: skip
    if (last := re.split(r"[._]", key)[-1]) not in ends:
        return 1.0
    from_, each = ends[last]
    above_m = max(0.0, plant.site.altitude_m - rules.number(f"{from_}.derate_above_m"))
    return 1 - rules.number(f"{each}.derate_per_100_m") * above_m / 100


def started_kva(i: Inputs) -> float:
    """The hardest start on a set."""
    return i["S_start"] * i["x'd"] * (100 - i["dip"]) / i["dip"]


VALUES: dict[str, Callable[[Inputs], float]] = {
    "throughput.net":
        lambda i: 3600 * i["N"] / i["T"] / (1 + (1 + i["e"]) * i["r"]) * (1 - i["s"]),
    "throughput.milk_flow_peak": lambda i: i["net"] * i["V"] / 60 * i["peak factor"],
    "throughput.labour": lambda i: 3600 * i["m"] / i["WRT"],
    "throughput.units": lambda i: i["n"],
    "vacuum.demand.iso": lambda i: i["H"] / (1 - i["0.05"]) * (
        i["q_man"] + i["n q_unit"] + i["q_anc"] + i["10 + 2 n"]),
    "vacuum.pump.shared_speed": lambda i: 100 * i["H q_steady"] / i["sum(q_pump)"],
    "milkline.slope": lambda i: i["S"],
    "milkline.units_per_slope": lambda i: i["n"] / i["slopes"],
    "delivery.pipe.velocity": speed,
    "delivery.gland.bore": speed,
    "delivery.filter.change": lambda i: i["cows a sock"] / i["net"],
    "delivery.calf.draw": lambda i: i["draw"],
    "cooling.plate.approach": lambda i: stage_c(i) - i["t_in"],
    "cooling.chilled.out": stage_c,
    "cooling.water_flow": lambda i: i["ratio"] * i["q_milk"],
    "storage.first_milking": lambda i: i["V_milking"],
    "chilled.pump.pipe": speed,
    "water.pump.pipe": speed,
    "water.source_pipe": speed,
    "wash.pump.pipe": speed,
    "wash.tank_pump.pipe": speed,
    "wash.return_line": speed,
    "receiving.suction": speed,
    "storage.collection_line": speed,
    "wash.hot_charge": lambda i: max(i["n"] * i["c"], i["V_wet"] / (1 - i["left"])),
    "wash.flow": lambda i: i["n"] * i["q_unit"],
    "wash.tank": lambda i: i["s"] * i["V_t"],
    "wash.circulates": lambda i: i["q_out"],
    "wash.cooler_flow": lambda i: i["q_wash"] / i["q_milk"],
    "receiving.milkline_outlet": lambda i: i["d_outlet"],
    "wash.injector_pipe": lambda i: i["d_pipe"],
    "air.leaks": lambda i: i["s"] * i["Q"],
    "air.pipe": lambda i: speed(i) * i["p_atm"] / (i["p_atm"] + i["p_low"]),
    "air.dew_point": lambda i: i["T"] + i["b"] - i["t_d"],
    "deck.mass": lambda i: i["n"] * (i["m_d"] + i["m_c"]) / 1000,
    "deck.half_loaded": lambda i: (i["m_c"] / 2) * (2 * i["R"] / pi) / (i["m_d"] + i["m_c"] / 2),
    "deck.running_power": lambda i: i["c"] * i["W"] * G * i["v"] / i["eta"] / 1000,
    "deck.breakaway": lambda i: i["R"] / 1000 * (
        i["b"] * i["c"] * i["W"] * G + i["W"] * i["v"] / i["t"]),
    "deck.traction": lambda i: i["F_start"] / i["u"] / 1000,
    "cloths.day": lambda i: i["cows"] * i["a"],
    "cloths.washer_hours": batches_h,
    "cloths.dryer_hours": batches_h,
    "cloths.washer_one_out": lambda i: batches_h(i, 1),
    "cloths.dryer_one_out": lambda i: batches_h(i, 1),
    "cloths.stock": lambda i: 50 * ceil(i["lots"] * i["N_m"] / 50),
    "power.mains_dip": lambda i: 100 * i["S_start"] / (i["S_start"] + i["S_sc"]),
    "power.dip": lambda i: 100 * i["S_start"] / (i["S_start"] + i["S_gen"] / i["x'd"]),
    "power.fuel": lambda i: i["fuel"] / i["c"] / (
        i["i"] * i["P_rated"] + (1 - i["i"]) * i["P"]),
}  # fmt: skip
"""Of a finding by its key: its value."""

LIMITS: dict[str, Callable[[Inputs], float]] = {
    "throughput.labour": lambda i: i["gross"],
    "throughput.units": lambda i: i["N"],
    "vacuum.pump.motor": lambda i: i["e"] * i["q"],
    "milkline.slope": lambda i: i["S_least"],
    "receiving.receiver.volume": held_l,
    "receiving.trap.volume": lambda i: i["V_least"],
    "delivery.head": lambda i: i["z"] + 1000 / i["rho"] / G * (
        i["sum f l/d rho v^2/2"] + i["dp_machines"] + i["p_vacuum"]),
    "delivery.filter.area": lambda i: i["q"] / 60_000 / i["v_most"],
    "delivery.balance_tank":
        lambda i: (i["q_peak"] - i["q_mean"]) * i["t_peak"] + i["q_mean"] * i["t_change"],
    "delivery.balance_tank.level": lambda i: 0.6 * i["V"],
    "delivery.calf.vessel": lambda i: i["draw"],
    "delivery.calf.draw": lambda i: i["milk"],
    "storage.volume": lambda i: max(
        i["V_peak"] * (1 + i["r"]), i["V_late"], i.get("q", 0.0) * i.get("t_change", 0.0)),
    "storage.first_milking": lambda i: i["tank.stirred_from_share"] * i["V"],
    "storage.withheld": lambda i: i["V_withheld"],
    "storage.collections": lambda i: i["milk a day"],
    "chilled.pump.flow": shared,
    "water.pump.flow": shared,
    "wash.pump.flow": shared,
    "wash.tank_pump.flow": shared,
    "water.pump.head": lift,
    "wash.pump.head": lift,
    "wash.tank_pump.head": lift,
    "water.pump.motor": pumping,
    "wash.pump.motor": pumping,
    "wash.tank_pump.motor": pumping,
    "water.source": lambda i: i["V_day"] / 1440 / i["s"],
    "water.store": lambda i: i["V_short"] + i["t"] * i["q_busiest"],
    "wash.trough": lambda i: i["V_hot"] * (1 + i["k"]),
    "wash.standing": lambda i: i["milk"] * i["milk.added_water_pct"] / 100,
    "wash.circulates": lambda i: 0.98 * i["q_in"],
    "wash.cooler_flow": lambda i: i["wash.cooler_flow_ratio"],
    "receiving.milkline_outlet": lambda i: i["d_milkline"],
    "wash.injector_pipe": lambda i: i["d_injector"],
    "air.motor": lambda i: i["p"] * i["Q"] / 1000,
    "air.receiver": lambda i: i["p_atm"] * max(
        0.25 * 60 * i["Q"] / i["f"] / (i["p_high"] - i["p_low"]),
        i["q_peak"] / (i["p_low"] - i["p_needed"])),
    "deck.roller_count": lambda i: i["r"] * i["n_s"],
    "deck.drive_motor": lambda i: i["v"] / i["eta"] / i["u"] / 1000 * max(
        i["k"] * i["c_high"] * i["W"] * G, i["F_start"] / i["s"]),
    "power.generator": lambda i: max(i["P"] / i["pf"] / i["u"], started_kva(i)),
    "power.fuel": lambda i: i["generator.fuel_hours"],
    "power.ups": lambda i: i["k"] * i["S_load"],
    "power.ups_hold": lambda i: max(i["least"], 2 * i["t_start"] / 60),
    "power.board": lambda i: 1000 * i["S"] / sqrt(3) / i["U"],
    "cooling.condensing.duty": lambda i: i["(1 + a) Q_tank"] / i["units"],
    "cooling.rated_ambient": lambda i: i["T_hot"],
    "frost.lines": lambda i: i["frost.room_least_c"],
}  # fmt: skip
"""Of a finding by its key: its limit."""


ROUNDED_UP = {"wash.hot_charge": 10.0, "air.leaks": 0.6}
"""A charge is rounded up to 10 L, leakage printed in whole litres."""
OF_SEVERAL = {
    "receiving.receiver.volume", "wash.heater_volume", "wash.heater_power", "storage.volume",
    "wash.circulates", "wash.injector", "cooling.coolant.freezes", "cooling.coolant.content",
    "power.demand", "air.dew_point", "milkline.stratified",
}  # fmt: skip
"""Findings whose advice is for one of several, or of another figure than the finding's own."""
MUCH = {
    "receiving.trap.volume", "delivery.filter.area", "delivery.head", "cooling.tank.duty",
    "vacuum.distribution_tank.volume", "vacuum.pulsator_airline.bore", "wash.cooler_flow",
    "milkline.slope", "power.fuel", "air.compressor", "receiving.milk_pump.flow",
    "cooling.condensing.duty",
}  # fmt: skip
"""Findings where something else asks for more than the limit does."""
NO_VALUE = {
    "cooling.condensing.duty", "cooling.ice.tariff", "air.dryer", "air.redundancy",
    "storage.volume", "storage.while_washed", "throughput.stalls", "water.day",
    "wash.heater_volume", "power.ups",
    "wash.heater_power", "wash.missed", "wash.cooler_flow", "wash.standing", "deck.rollers",
    "cloths.washer_one_out", "cloths.dryer_one_out", "power.unfed", "power.generator",
    "power.ups_missing", "vacuum.pump.standby", "receiving.milk_pump.standby",
}  # fmt: skip
NO_LIMIT = NO_VALUE | {
    "receiving.receiver.led_at", "receiving.receiver.start_at", "receiving.receiver.stop_at",
    "delivery.filter.area", "delivery.balance_tank.level", "wash.circulates", "cloths.washer_hours",
    "cloths.dryer_hours", "air.dew_point", "deck.lift", "vacuum.pump.motor", "delivery.npsh",
    "receiving.milk_pump.motor", "wash.time", "water.store", "deck.roller_count",
}  # fmt: skip
"""Findings whose sentence says it in words, or tells the sum of several."""
PLANTS = [*range(-len(STARTS), RANDOM)]
"""Plants as drafted, by numbers below nought, and as drawn at random."""


@cache
def sizing(number: int) -> tuple[Plant, Rulebook, Result]:
    """A plant, its rules and its sizing."""
    plant = STARTS[number]() if number < 0 else random_plant(number)
    rules = default_rulebook() if number < 0 else random_rules(number)
    return plant, rules, size(plant, rules)


def asked(number: int) -> tuple[Plant, Rulebook, tuple[Finding, ...]]:
    """A plant, its rules and what sizing finds."""
    plant, rules, found = sizing(number)
    return plant, rules, found.findings


def margin_said(one: Finding) -> bool:
    """Whether "13 % spare" or "8 % short", where it is said, is so."""
    said = re.search(r"(\d+) % (spare|short)", one.sentence)
    if said is None or one.value is None or not one.limit:
        return True
    share = 100 * (one.value - one.limit) / one.limit
    near = abs(abs(share) - float(said[1])) <= 1.01
    return near and (share < -0.5) == (said[2] == "short")


def told(number: int, table: Mapping[str, object]) -> Iterator[tuple[Finding, Inputs]]:
    """Findings of a plant that stand in a table and tell their inputs."""
    for one in asked(number)[2]:
        i = inputs(one)
        if one.key in table and i and not (one.key.endswith("one_out") and i["n"] < 2):
            yield one, i


@pytest.mark.parametrize("number", PLANTS)
def test_printed_formulas_give_what_is_printed(number: int) -> None:
    """Would fail if a number came from something else than what is said to stand behind it, or
    thin air took nothing of what a motor or a condenser gives."""
    plant, rules, _ = asked(number)
    for one, i in told(number, VALUES):
        near = ROUNDED_UP.get(one.key, LEAST)
        if one.value is None:
            continue
        assert one.value == pytest.approx(VALUES[one.key](i), rel=PRINTED, abs=near), one
    for one, i in told(number, LIMITS):
        if one.limit is None:
            continue
        thin = i.get("f_alt", 1.0)
        assert thin == pytest.approx(at_altitude(one.key, plant, rules), abs=1e-4), one
        worked = LIMITS[one.key](i) / thin
        assert one.limit == pytest.approx(worked, rel=PRINTED, abs=LEAST), one
    heaters = [(one, i) for one, i in told(number, {"wash.heater_power": 0})]
    if heaters:  # each by its size
        i = heaters[0][1]
        counts = {h.id: h.count for h in plant.machines(HeatsWater)}
        total = sum((one.limit or 0.0) * counts[one.subject] for one, _ in heaters)
        need = i["E"] * (1 + i["loss"] * i["t"]) / i["t"] / i["eta"]
        assert total == pytest.approx(need, rel=PRINTED, abs=LEAST)


@pytest.mark.parametrize("number", PLANTS)
def test_findings_stand_by_their_rules_their_verdicts_and_their_advice(number: int) -> None:
    """Would fail if a rule were printed with another number than the user's own, a finding judged
    by other numbers than it shows or tells in words, or a size advised that is tight when asked
    again or far too dear."""
    _, rules, findings = asked(number)
    for one in findings:
        assert one.value is None or one.key in NO_VALUE or says(one.sentence, one.value), one
        assert not senseless(one.sentence), one
        for i in one.inputs:
            assert i.symbol not in rules or i.value == rules.number(i.symbol), one
        if one.limit is None:
            continue
        holds = one.verdict in ("holds", "tight")
        assert not (holds and one.remedies) or one.key == "power.demand", one
        if one.value is not None and one.verdict != "unknown":
            assert one.verdict == judge(one.value, one.limit, one.sense, one.allowance)[0], one
            assert one.key in NO_LIMIT or says(one.sentence, one.limit), one
            if one.limit and one.key not in ("power.demand", "cooling.condensing.duty"):
                assert margin_said(one), one
        if one.advised is None or one.sense != "at_least" or not one.target:
            continue
        if one.key not in OF_SEVERAL:
            assert judge(one.advised, one.limit, one.sense, one.allowance)[0] == "holds", one
            if one.key not in MUCH and one.limit > 0:
                assert one.advised <= 2.2 * one.limit, one


def test_every_formula_here_is_met() -> None:
    """Would fail if a finding were called otherwise and no formula asked of it any more."""
    met = {one.key for number in PLANTS for one, _ in told(number, {**VALUES, **LIMITS})}
    assert met == {*VALUES, *LIMITS}


ADVICE = {
    "cooling.rated_ambient": "Ask for its duty", "cooling.coolant.freezes": "glycol is needed.",
    "cooling.coolant.content": "A buffer, or", "cooling.direct_load": "Load from a tank",
    "frost.lines": "Heat the room", "power.mains_dip": "strengthened",
    "storage.collections": "another visit", "storage.while_washed": "Move the collection",
    "throughput.units": "Give each stall a unit", "vacuum.pump.capacity": " Take ",
    "wash.end_temperature": "Start hotter", "wash.time": "Shorten milking",
}  # fmt: skip
"""Of a finding by its key: what is advised where it misses its limit, and only there."""


@pytest.mark.parametrize("number", PLANTS)
def test_advice_is_given_where_a_limit_is_missed_and_nowhere_else(number: int) -> None:
    """Would fail if what holds were told how to mend it, or what fails were not."""
    for one in asked(number)[2]:
        if one.key not in ADVICE or one.value is None or one.limit is None:
            continue
        short = one.value < one.limit if one.sense == "at_least" else one.value > one.limit
        assert (ADVICE[one.key] in one.sentence) == short, one
