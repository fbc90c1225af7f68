"""The figures of a plant that wear, foul, leak or are out of their setting.

Each is a factor on what the data plate, the rulebook or the plant file says: 1 is as stated.
Putting one in gives a plant and a rulebook that every study takes; the plant file is not touched.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Literal

from byrewright.plant.machine import Machine
from byrewright.plant.plant import Plant
from byrewright.plant.roles import (
    CompressesAir,
    CoolsMilk,
    DosesWash,
    DriesAir,
    FiltersMilk,
    FiltersWater,
    GivesMilk,
    HeatsWater,
    JoinsDeck,
    KeepsAir,
    MakesCold,
    MovesMilk,
    MovesWater,
    PassesOneWay,
    Pulsates,
    PumpsVacuum,
    RegulatesVacuum,
    StandsCows,
    StoresMilk,
)
from byrewright.standards.diagnosis import DEVIATIONS, Deviation
from byrewright.standards.rulebook import Rulebook
from byrewright.studies.vacuum.building import network_of
from byrewright.studies.vacuum.network import NoNetwork

Domain = Literal["air", "flow", "heat", "own"]
"""Who predicts what it moves: the air network, the pumps' flows, heat and the rest,
or its own reading alone."""
HERD, SITE = "herd", "site"


@dataclass(frozen=True, slots=True)
class Figure:
    """One figure: `kind` is a key of `DEVIATIONS`, `at` the machine (or "" for the plant).

    `fields` are scaled in the machine, `rules` in the rulebook, `pipes` in their bore; `own` is the
    stem of the one reading that reads it itself.
    """

    kind: str
    at: str
    domain: Domain
    fields: tuple[str, ...] = ()
    rules: tuple[str, ...] = ()
    pipes: tuple[str, ...] = ()
    own: str = ""
    stated: float | None = None
    unit: str = ""
    each: bool = False
    """It is that of one of many alike; the others stay as they are."""
    passing: bool = False
    """It belongs to the day, not to the plant's condition."""
    allowed: float | None = None
    """What is allowed of it, in the unit of its reading, where the figure is a factor on that."""

    @property
    def key(self) -> str:
        """Its name: "vacuum_capacity@VP1"."""
        where = self.at or (self.pipes[0] if len(self.pipes) == 1 else "")
        kind = f"own.{self.own}" if self.own else self.kind
        return f"{kind}@{where}" if where else kind

    @property
    def deviation(self) -> Deviation:
        """How far it usually lies away."""
        return DEVIATIONS[self.kind]

    @property
    def words(self) -> str:
        """In words: "VP1: capacity"."""
        where = self.at or (self.pipes[0] if len(self.pipes) == 1 else "")
        return (
            self.deviation.words
            if where in ("", HERD, SITE)
            else f"{where}: {self.deviation.words}"
        )


LEAKS: tuple[tuple[str, str], ...] = (
    ("system_leak", "vacuum.leak_times.system"), ("milk_leak", "vacuum.leak_times.milk"),
    ("regulator_leak", "vacuum.leak_times.regulator"),
)  # fmt: skip


def figures_of(plant: Plant, rules: Rulebook) -> dict[str, Figure]:
    """Every figure of a plant that readings may tell, by its key, in file order."""
    return {f.key: f for f in _figures(plant, rules)}


def _figures(plant: Plant, rules: Rulebook) -> Iterator[Figure]:
    if plant.machines(PumpsVacuum):
        allowed = leaks_allowed(plant, rules)
        for kind, rule in LEAKS:
            if kind != "regulator_leak" or plant.machines(RegulatesVacuum):
                yield Figure(kind, "", "air", rules=(rule,), stated=rules.number(rule),
                             unit="times what is allowed", allowed=allowed[kind])  # fmt: skip
        lines = tuple(air_pipes(plant, rules))
        yield Figure("air_lines", "", "air", pipes=lines, stated=1.0, unit="times the bore")
        for pipe in lines:
            yield Figure("air_line", "", "air", pipes=(pipe,), stated=1.0, unit="times the bore")
    for one in plant.equipment.values():
        yield from _of(one)
    yield Figure("water_c", SITE, "heat", fields=("water_temperature_c",), passing=True)
    if plant.herd.milk_out_time_s is not None or plant.milkings:
        yield Figure("milk_out", HERD, "heat", fields=("milk_out_time_s",),
                     stated=_milk_out(plant, rules).mean, unit="s")  # fmt: skip
    if plant.machines(KeepsAir):
        yield Figure("air_leak", "", "heat", rules=("air.leak_times",), stated=1.0,
                     unit="times what is aimed at")  # fmt: skip


def leaks_allowed(plant: Plant, rules: Rulebook) -> dict[str, float]:
    """Air leakage that is allowed by section, L/min free: what the model takes until it is read."""
    pumps, number = plant.machines(PumpsVacuum), rules.number
    capacity = sum(p.capacity_l_min_free * p.count for p in pumps)
    units = plant.count(GivesMilk)
    milk = number("vacuum.milk_leak_base_l_min") + units * number("vacuum.milk_leak_per_unit_l_min")
    return {
        "system_leak": number("vacuum.system_leak_share") * capacity
        / max(1, sum(p.count for p in pumps)),
        "milk_leak": milk,
        "regulator_leak": number("vacuum.regulator_leak_floor_l_min"),
    }  # fmt: skip


def air_pipes(plant: Plant, rules: Rulebook) -> list[str]:
    """Pipes that carry air between pumps and receivers, as the air network has them."""
    try:
        network = network_of(plant, rules)
    except NoNetwork:
        return []
    found = dict.fromkeys(s.pipe.id for s in network.segments if s.pipe is not None)
    return [p.id for p in plant.pipes if p.id in found]


def in_a_row(plant: Plant, rules: Rulebook) -> list[frozenset[str]]:
    """Air pipes one after the other with nothing between that takes, gives or reads air: dirt in
    one does to every reading what a little more or less of it does in the other."""
    try:
        network = network_of(plant, rules)
    except NoNetwork:
        return []
    meets: dict[int, list[int]] = {}
    for i, segment in enumerate(network.segments):
        for node in (segment.a, segment.b):
            meets.setdefault(node, []).append(i)
    ends = {
        network.body, network.sense, network.milk_point, *network.receivers,
        *(p.node for p in network.pumps), *(n for _, n in network.regulators),
        *(n for n, _ in (*network.units_at, *network.pulses_at)),
    }  # fmt: skip
    row = list(range(len(network.segments)))
    for node, some in meets.items():
        if node not in ends and len(some) == 2:
            one, other = row[some[0]], row[some[1]]
            row = [one if r == other else r for r in row]
    rows: dict[int, set[str]] = {}
    for r, segment in zip(row, network.segments, strict=True):
        if segment.pipe is not None:
            rows.setdefault(r, set()).add(segment.pipe.id)
    return [frozenset(pipes) for pipes in rows.values() if len(pipes) > 1]


FIELDS: tuple[tuple[type[Any], str, Domain, str, str, bool], ...] = (
    (PumpsVacuum, "vacuum_capacity", "air", "capacity_l_min_free", "L/min", False),
    (RegulatesVacuum, "vacuum_setting", "air", "set_vacuum_kpa", "kPa", False),
    (RegulatesVacuum, "regulator_capacity", "air", "capacity_l_min_free", "L/min", False),
    (GivesMilk, "claw_air", "air", "claw_air_l_min_free", "L/min", True),
    (Pulsates, "pulse_rate", "air", "rate_per_min", "1/min", True),
    (Pulsates, "pulse_ratio", "air", "ratio_pct", "%", True),
    (MovesMilk, "milk_pump_head", "flow", "head_m", "m", False),
    (MovesWater, "pump_head", "flow", "head_m", "m", False),
    (CoolsMilk, "cooler_ua", "heat", "u_w_m2_k", "W/m2K", False),
    (CoolsMilk, "cooler_water", "heat", "water_ratio", "L/L", False),
    (StoresMilk, "tank_cooling", "heat", "cooling_kw", "kW", False),
    (HeatsWater, "heater_kw", "heat", "heater_kw", "kW", False),
    (HeatsWater, "heater_set", "heat", "set_c", "degC", False),
    (CompressesAir, "air_capacity", "own", "capacity_l_min_free", "L/min", False),
    (StandsCows, "turn_time", "heat", "turn_s", "s", False),
    (FiltersMilk, "filter_area", "flow", "area_m2", "m2", False),
    (FiltersWater, "filter_area", "flow", "flow_l_min", "L/min", False),
    (DosesWash, "dose", "heat", "dose_ml_l", "mL/L", False),
)  # fmt: skip
"""Role, kind of figure, who predicts what it moves, field, its unit, and whether one of many."""
OWN_USUAL: Mapping[str, float] = {
    "shut_off_leak": 0.5, "swivel_leak": 5.0, "meter_error": 0.5, "back_flow": 0.2,
    "liner_age": 50.0,
}  # fmt: skip
"""Usual values of readings that no study predicts, in a sound plant and in the unit of the test."""
OWN: Mapping[str, str] = {"air_capacity": "compressor_output"}
"""Reading that is the figure itself."""


def _of(one: Machine) -> Iterator[Figure]:
    for role, kind, domain, name, unit, each in FIELDS:
        value = getattr(one, name, None)
        if isinstance(one, role) and isinstance(value, int | float) and value:
            many = each and one.count > 1
            yield Figure(kind, one.id, domain, (name,), stated=float(value), unit=unit, each=many,
                         own=OWN.get(kind, ""))  # fmt: skip
    if isinstance(one, Pulsates):
        for kind, rule in (("pulse_rise", "vacuum.pulse_rise_ms"),
                           ("pulse_fall", "vacuum.pulse_fall_ms")):  # fmt: skip
            yield Figure(kind, one.id, "air", rules=(rule,), unit="times the usual", stated=1.0,
                         each=one.count > 1)  # fmt: skip
    if isinstance(one, MakesCold):
        name = type(one).SIZED_BY["duty"]
        yield Figure("cold_duty", one.id, "heat", (name,),
                     stated=float(getattr(one, name)), unit="kW")  # fmt: skip
    if isinstance(one, StoresMilk):
        yield Figure("tank_wall", one.id, "own", own="tank_rise", unit="times the usual",
                     stated=1.0)  # fmt: skip
    if isinstance(one, Pulsates):
        yield Figure("pulses", one.id, "own", own="pulsation_rate", each=one.count > 1)
    if one.can("rides on the deck") and "meter beside a scale" in one.tests():
        yield Figure("own", one.id, "own", own="meter_error", each=one.count > 1)
    if isinstance(one, DriesAir):
        yield Figure("dryer_works", one.id, "heat", rules=("air.dryer_works_share",), stated=1.0,
                     unit="of the air")  # fmt: skip
    if isinstance(one, GivesMilk):
        yield Figure("own", one.id, "own", own="shut_off_leak", each=one.count > 1)
        yield Figure("liner_age", one.id, "own", own="liner_age")
    if isinstance(one, PassesOneWay):
        yield Figure("own", one.id, "own", own="back_flow")
    if isinstance(one, JoinsDeck):
        yield Figure("own", one.id, "own", own="swivel_leak")


def with_figures(
    plant: Plant, rules: Rulebook, figures: Mapping[str, Figure], values: Mapping[str, float]
) -> tuple[Plant, Rulebook]:
    """The plant and the rulebook with some figures at so many times what is stated.

    What only its own reading shows (`own`) changes neither.
    """
    machines: dict[str, dict[str, Any]] = {}
    own_rules = {key: rules.number(key) for key in rules.overridden}
    bores: dict[str, float] = {}
    update: dict[str, Any] = {}
    for key, times in values.items():
        one = figures[key]
        if one.at == HERD:
            update["herd"] = _herd(plant, rules, times)
        elif one.at == SITE:
            water = tuple(max(0.5, c * times) for c in plant.site.water_temperature_c)
            update["site"] = plant.site.model_copy(update={"water_temperature_c": water})
        elif one.fields:
            if one.at not in plant.equipment:
                continue  # it cannot serve: nothing that is predicted asks for it
            machine = plant.equipment[one.at]
            found = machines.setdefault(one.at, {})
            for name in one.fields:
                found[name] = getattr(machine, name) * times
            found |= _as_built(machine, one, rules)
        for rule in one.rules:
            least, most = rules[rule].range
            stated = own_rules.get(rule, rules.number(rule))  # two dryers share one rule
            own_rules[rule] = min(most, max(least, stated * times))
        for pipe in one.pipes:
            bores[pipe] = bores.get(pipe, 1.0) * times
    _same_leak(plant, rules, values, own_rules)
    equipment = dict(plant.equipment)
    for tag, fields in machines.items():
        equipment[tag] = plant.equipment[tag].model_copy(update=fields)
    if machines:
        update["equipment"] = equipment
    if bores:
        update["pipes"] = tuple(
            p.model_copy(update={"bore_mm": p.bore_mm * bores[p.id]}) if p.id in bores else p
            for p in plant.pipes
        )
    if own_rules != {key: rules.number(key) for key in rules.overridden}:
        rules = Rulebook(own_rules, rules.units_per_slope, rules.regions)
    return (plant.model_copy(update=update) if update else plant), rules


def _same_leak(
    plant: Plant, rules: Rulebook, values: Mapping[str, float], own: dict[str, float]
) -> None:
    """A worn pump mends no leak: what is allowed goes by its capacity, what leaks does not."""
    pumps = plant.machines(PumpsVacuum)
    stated = sum(p.capacity_l_min_free * p.count for p in pumps)
    left = sum(
        p.capacity_l_min_free * p.count * values.get(f"vacuum_capacity@{p.id}", 1.0) for p in pumps
    )
    if stated and left != stated:
        rule = "vacuum.leak_times.system"
        most = rules[rule].range[1]
        own[rule] = min(most, own.get(rule, rules.number(rule)) * stated / left)


def _as_built(machine: Machine, one: Figure, rules: Rulebook) -> dict[str, Any]:
    """What does not move with a figure: a fouled cooler was made for the flow of a clean one."""
    if one.kind == "cooler_ua" and getattr(machine, "milk_design_l_min", 0.0) is None:
        area, u = float(getattr(machine, "area_m2", 0.0)), one.stated or 0.0
        flow = area * u / 1000 / (1.03 * 3.93) * 60 / rules.number("plate.rated_ntu")
        return {"milk_design_l_min": max(1.0, flow)}
    return {}


def _milk_out(plant: Plant, rules: Rulebook) -> Any:
    """As stated, else that of the slowest milking by its yield."""
    from byrewright.plant.farm import MilkOutTime
    from byrewright.plant.programme import programme_of

    told = plant.herd.milk_out_time_s
    if told is not None:
        return told
    longest = max((m.milk_out for m in programme_of(plant, rules).milkings),
                  key=lambda m: m.mean_s)  # fmt: skip
    return MilkOutTime.model_construct(mean=longest.mean_s, std_dev=longest.std_dev_s)


def _herd(plant: Plant, rules: Rulebook, times: float) -> Any:
    from byrewright.plant.farm import MilkOutTime

    told = _milk_out(plant, rules)
    new = MilkOutTime.model_construct(mean=told.mean * times, std_dev=told.std_dev * times)
    return plant.herd.model_copy(update={"milk_out_time_s": new})
