"""What may be wrong at a plant: its kinds' ways to fail, and what wears slowly.

Each is a change of the plant's figures; what that does to readings is for the plant's own physics.
Nothing here says which symptom belongs to which fault.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from byrewright.plant.machine import Failure, Machine
from byrewright.plant.plant import Plant
from byrewright.plant.roles import (
    CarriesDeck,
    CollectsMilk,
    CompressesAir,
    CoolsMilk,
    DosesWash,
    DriesAir,
    FeedsPulsators,
    FiltersMilk,
    FiltersWater,
    GivesMilk,
    HeatsWater,
    InjectsAir,
    JoinsDeck,
    KeepsAir,
    MakesCold,
    MovesMilk,
    MovesWater,
    PassesOneWay,
    Pulsates,
    PumpsVacuum,
    ReceivesMilk,
    RegulatesVacuum,
    SharesVacuum,
    StandsCows,
    StoresMilk,
    TrapsLiquid,
    TurnsDeck,
)
from byrewright.site.condition.figures import HERD, OWN_USUAL, Figure
from byrewright.standards.rulebook import Rulebook
from byrewright.studies.failures.rates import life_a_year
from byrewright.studies.instruments import reaches_l_min

OFF = 0.03
"""What a machine that stands still is taken to do yet, so that its network can be solved."""
Moves = Mapping[str, tuple[float, ...]]
"""Figure: how many times what is stated, from slight to grave."""


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing that may be wrong. `each`: it is one of many alike."""

    at: str
    way: str
    do: str
    moves: Moves
    a_year: float
    each: bool = False

    @property
    def key(self) -> str:
        """Its name: "VP1 worn"."""
        return f"{self.at} {self.way}".strip()

    def values(self, grade: int) -> dict[str, float]:
        """Its figures at a grade, 0 the slightest."""
        return {key: times[grade] for key, times in self.moves.items()}

    @property
    def grades(self) -> int:
        """How many grades it has."""
        return len(next(iter(self.moves.values())))


@dataclass(frozen=True, slots=True)
class Slow:
    """Something that wears or goes out of its setting: role, figure, how far, and a life for it."""

    role: type[Any]
    way: str
    figure: str
    times: tuple[float, ...]
    life: str
    do: str
    each: bool = False
    share: float = 1.0
    """Share of that life's ends that it stands for."""


SLOW: tuple[Slow, ...] = (
    Slow(PumpsVacuum, "belt slips", "vacuum_capacity", (0.92, 0.82, 0.65, 0.35), "belt",
         "tension or change its belts"),
    Slow(RegulatesVacuum, "holds the vacuum too low", "vacuum_setting", (0.965, 0.93, 0.88),
         "regulator_fault", "clean it, set it again by a gauge that was checked", share=0.4),
    Slow(RegulatesVacuum, "holds the vacuum too high", "vacuum_setting", (1.035, 1.06, 1.1),
         "regulator_fault", "clean it, set it again by a gauge that was checked", share=0.4),
    Slow(RegulatesVacuum, "leaks while shut", "regulator_leak", (4.0, 9.0, 20.0),
         "regulator_fault", "clean filter and seat", share=0.2),
    Slow(Pulsates, "runs too slow", "pulse_rate", (0.94, 0.88, 0.8), "pulsator",
         "set its rate, or change it", each=True, share=0.3),
    Slow(Pulsates, "runs too fast", "pulse_rate", (1.06, 1.12, 1.2), "pulsator",
         "set its rate, or change it", each=True, share=0.2),
    Slow(Pulsates, "has its ratio too narrow", "pulse_ratio", (0.93, 0.86, 0.78), "pulsator",
         "clean or change it", each=True, share=0.3),
    Slow(Pulsates, "has its ratio too wide", "pulse_ratio", (1.07, 1.13, 1.2), "pulsator",
         "clean or change it", each=True, share=0.3),
    Slow(Pulsates, "lets air in slowly in one half", "pulse_fall", (1.8, 2.6, 3.8), "pulsator",
         "clean its air port and filter, change the valve", each=True),
    Slow(Pulsates, "draws air out slowly in one half", "pulse_rise", (1.7, 2.3, 3.2), "pulsator",
         "look for a kinked or split pulse tube, clean its vacuum port", each=True),
    Slow(Pulsates, "all run at a wrong rate", "pulse_rate", (0.94, 0.88, 0.8), "controller",
         "set the pulsation control"),
    Slow(Pulsates, "all have a wrong ratio", "pulse_ratio", (1.07, 1.13, 1.2), "controller",
         "set the pulsation control"),
    Slow(GivesMilk, "has its air hole blocked", "claw_air", (0.6, 0.4, 0.2), "cluster",
         "clear the air hole of the claw", each=True, share=0.5),
    Slow(GivesMilk, "shut-off leaks", "own.shut_off_leak", (10.0, 25.0, 60.0), "cluster",
         "change the seal of its shut-off", each=True, share=0.2),
    Slow(GivesMilk, "has worn liners", "own.liner_age", (2.2, 2.8, 4.0), "cluster",
         "change all its liners, and enter the day"),
    Slow(MovesMilk, "has a worn impeller", "milk_pump_head", (0.85, 0.7, 0.5), "centrifugal_pump",
         "open it, look at impeller and clearance"),
    Slow(MovesWater, "has a worn impeller", "pump_head", (0.85, 0.7, 0.5), "centrifugal_pump",
         "open it, look at impeller and clearance"),
    Slow(CoolsMilk, "has too little water", "cooler_water", (0.75, 0.5, 0.3), "filter",
         "look at its water valve and strainer", share=0.3),
    Slow(MakesCold, "low on refrigerant", "cold_duty", (0.8, 0.6, 0.4), "refrigeration",
         "call a certified person: find the leak first", share=0.5),
    Slow(StoresMilk, "insulation wet", "own.tank_rise", (2.0, 3.0, 5.0), "vessel",
         "have the tank's jacket looked at"),
    Slow(HeatsWater, "scaled", "heater_kw", (0.85, 0.7, 0.5), "heater", "descale it", share=0.5),
    Slow(HeatsWater, "thermostat low", "heater_set", (0.92, 0.84, 0.75), "heater",
         "set or change the thermostat", share=0.5),
    Slow(CompressesAir, "worn", "own.compressor_output", (0.85, 0.7, 0.5), "air_compressor",
         "change rings and valves"),
    Slow(KeepsAir, "air leaks behind it", "air_leak", (3.0, 6.0, 12.0), "hose",
         "listen along the air lines with the plant still", share=2.0),
)  # fmt: skip


def faults_of(plant: Plant, rules: Rulebook, figures: Mapping[str, Figure]) -> tuple[Fault, ...]:
    """Everything that may be wrong and moves a figure, in file order."""
    hours = sum(m.target_h for m in plant.milkings) * 365.0
    found = [
        *_failures(plant, rules, figures, hours), *_slow(plant, rules, figures, hours),
        *_lines(rules, figures, hours), *_one_way(plant, rules, figures, hours),
    ]  # fmt: skip
    if f"milk_out@{HERD}" in figures:
        found.append(Fault("", "cows milk out more slowly", "look at the cows, liners and routine: "
                           "it is no machine", {f"milk_out@{HERD}": (1.08, 1.15, 1.25)},
                           0.3))  # fmt: skip
    return tuple({f.key: f for f in found if f.moves}.values())


def unseen_of(plant: Plant, figures: Mapping[str, Figure], faults: Sequence[Fault]) -> list[str]:
    """Ways to fail that change no figure here, so that no reading can tell of them."""
    known = {f.key for f in faults}
    return [
        f"{m.id} {f.way}" for m in plant.equipment.values() for f in m.failures()
        if f"{m.id} {f.way}" not in known
    ]  # fmt: skip


def _slow(
    plant: Plant, rules: Rulebook, figures: Mapping[str, Figure], hours: float
) -> Iterator[Fault]:
    for machine in plant.equipment.values():
        for one in SLOW:
            if not isinstance(machine, one.role):
                continue
            key = f"{one.figure}@{machine.id}"
            if one.figure in figures:
                key = one.figure
            if key not in figures:
                continue
            many = machine.count if one.each else 1
            moves = {key: one.times} | _follows(plant, rules, figures, machine, key, one.times)
            yield Fault(machine.id, one.way, one.do, moves,
                        one.share * many * life_a_year(one.life, rules, hours),
                        one.each and machine.count > 1)  # fmt: skip


def _lines(rules: Rulebook, figures: Mapping[str, Figure], hours: float) -> Iterator[Fault]:
    for key, one in figures.items():
        if one.kind == "air_line":
            yield Fault(one.pipes[0], "blocked in part", "open the line there: dirt, a crushed "
                        "hose, a gasket that has slipped", {key: (0.65, 0.5, 0.38)},
                        0.3 * life_a_year("hose", rules, hours))  # fmt: skip


def _failures(
    plant: Plant, rules: Rulebook, figures: Mapping[str, Figure], hours: float
) -> Iterator[Fault]:
    for machine in plant.equipment.values():
        for failure in machine.failures():
            moves = _moves(rules, figures, machine, failure)
            if not moves:
                continue
            for key in list(moves):
                moves |= _follows(plant, rules, figures, machine, key, moves[key])
            rate = sum(life_a_year(k, rules, hours) for k in (failure.life, *failure.also))
            moves = {k: v for k, v in moves.items() if k in figures}
            if not moves:
                continue
            each = any(figures[k].each for k in moves)
            many = machine.count if failure.each else 1
            yield Fault(machine.id, failure.way, failure.do, moves, rate * many, each)


BACK_SHARE = (0.1, 0.3, 0.6)
"""What comes back through a valve that leaks, of its machine's flow, from slight to grave."""
ALMOST_SHUT = 0.2
"""Free bore of an air line in which something sticks shut, so that its network can be solved."""


def _one_way(
    plant: Plant, rules: Rulebook, figures: Mapping[str, Figure], hours: float
) -> Iterator[Fault]:
    """Non-return valves: what leaks back is lost to the partner that runs, or comes as air."""
    for valve in plant.machines(PassesOneWay):
        pumps, ends = _beside(plant, valve.id)
        if not pumps:
            continue
        for failure in valve.failures():
            rate = valve.count * life_a_year(failure.life, rules, hours)
            moves = (
                _back(plant, rules, figures, valve, pumps, ends)
                if failure.effect.law == "passes"
                else _stuck(plant, figures, valve, pumps)
            )
            moves = {k: v for k, v in moves.items() if k in figures}
            for key in list(moves):
                pump = plant.equipment.get(key.partition("@")[2])
                if isinstance(pump, MovesWater):
                    moves |= _follows(plant, rules, figures, pump, key, moves[key])
            if moves:
                yield Fault(valve.id, failure.way, failure.do, moves, rate)


def _beside(plant: Plant, tag: str) -> tuple[set[str], set[str]]:
    """Machines that move something next to a non-return valve, and what else it leads to, valves
    passed over."""
    pumps, ends, seen, ahead = set(), set(), {tag}, [tag]
    while ahead:
        for pipe in plant.pipes_at(ahead.pop()):
            for end in (pipe.start, pipe.end):
                other = end.partition(".")[0]
                if other in seen or other not in plant.equipment:
                    continue
                seen.add(other)
                machine = plant.equipment[other]
                if isinstance(machine, PumpsVacuum | MovesMilk | MovesWater):
                    pumps.add(other)
                elif machine.can("is a valve"):
                    ahead.append(other)
                else:
                    ends.add(other)
    return pumps, ends


def _back(
    plant: Plant, rules: Rulebook, figures: Mapping[str, Figure], valve: Machine,
    pumps: set[str], ends: set[str],
) -> dict[str, tuple[float, ...]]:  # fmt: skip
    moves: dict[str, tuple[float, ...]] = {}
    own = f"own.back_flow@{valve.id}"
    partners = {
        tag
        for other in plant.machines(PassesOneWay)
        for some, there in (_beside(plant, other.id),)
        if other.id != valve.id and there & ends
        for tag in some - pumps
    }
    for tag in sorted(pumps):
        machine = plant.equipment[tag]
        if isinstance(machine, PumpsVacuum):
            share = rules.number("failures.backflow_share")
            flows = tuple(x * share * machine.capacity_l_min_free for x in (0.2, 0.5, 1.0))
            works = any("milking" in m.does and plant.position(n, tag) == "runs"
                        for n, m in plant.modes.items())  # fmt: skip
            allowed = figures["system_leak"].allowed or 100.0
            if not works:
                moves["system_leak"] = tuple(1.0 + x / allowed for x in flows)
        else:
            flow = float(getattr(machine, "flow_l_min", 0.0) or 0.0)
            flows = tuple(x * flow for x in BACK_SHARE)
            for other in sorted(partners):
                for kind in ("milk_pump_head", "pump_head"):
                    moves[f"{kind}@{other}"] = tuple((1.0 - x) ** 2 for x in BACK_SHARE)
        moves[own] = tuple(max(1.0, x / OWN_USUAL["back_flow"]) for x in flows)
    return moves


def _stuck(
    plant: Plant, figures: Mapping[str, Figure], valve: Machine, pumps: set[str]
) -> dict[str, tuple[float, ...]]:
    lines = (f"air_line@{p.id}" for p in plant.pipes_at(valve.id))
    line = next((k for k in lines if k in figures), None)
    if line is not None:
        return {line: (ALMOST_SHUT,)}
    return {f"{kind}@{tag}": (OFF,) for tag in sorted(pumps)
            for kind in ("milk_pump_head", "pump_head")}  # fmt: skip


BY_FIGURE: tuple[tuple[type[Any], str], ...] = (
    (PumpsVacuum, "vacuum_capacity"), (MovesMilk, "milk_pump_head"), (MovesWater, "pump_head"),
    (MakesCold, "cold_duty"), (HeatsWater, "heater_kw"), (CompressesAir, "own.compressor_output"),
)  # fmt: skip
"""What a machine of some role does: off or at a share of it."""
VACUUM_SIDE = (SharesVacuum, FeedsPulsators, JoinsDeck, TrapsLiquid)
MILK_SIDE = (ReceivesMilk, CollectsMilk, InjectsAir)
LEAKS_L_MIN = (0.5, 1.0, 2.5)
"""Air through a failed seal, from slight to grave, times the usual."""


def _moves(
    rules: Rulebook, figures: Mapping[str, Figure], machine: Machine, failure: Failure
) -> dict[str, tuple[float, ...]]:
    law, tag = failure.effect.law, machine.id
    if failure.safety:
        return {}
    if law in ("leaks", "breaks open", "admits air") or failure.way.startswith("leaks"):
        return _leak(rules, figures, machine, law == "admits air")
    for role, kind in BY_FIGURE:
        key = f"{kind}@{tag}"
        if isinstance(machine, role) and key in figures:
            if law == "off" and "leak" not in failure.way:
                return {key: _in_part(machine) if failure.each else (OFF,)}
            if law in ("share", "duty"):
                share = failure.effect.share
                return {key: ((1 + share) / 2, share, share**2, share**4)}
    if isinstance(machine, RegulatesVacuum) and law == "shut":
        return {f"regulator_capacity@{tag}": (OFF,)}
    if isinstance(machine, CoolsMilk) and law == "fouled":
        share = failure.effect.share
        return {f"cooler_ua@{tag}": ((1 + share) / 2, share, share * share)}
    if isinstance(machine, FiltersMilk | FiltersWater) and law == "shut":
        return {f"filter_area@{tag}": (0.45, 0.3, 0.18)}
    if isinstance(machine, DosesWash) and failure.life == "dosing_pump":
        return {f"dose@{tag}": (0.6, 0.3, OFF)}
    if isinstance(machine, DriesAir):
        return {f"dryer_works@{tag}": (0.7, 0.4, 0.0)}
    if isinstance(machine, Pulsates):
        return {f"own.pulsation_rate@{tag}": (OFF,)}
    if isinstance(machine, GivesMilk) and failure.life == "cluster" and "liner" in failure.part:
        return {f"claw_air@{tag}": (1.8, 3.0, 5.0)}
    if f"own.meter_error@{tag}" in figures:
        return {f"own.meter_error@{tag}": (10.0, 20.0, 40.0)}
    decks = [k for k in figures if k.startswith("turn_time@")]
    if isinstance(machine, TurnsDeck | CarriesDeck | StandsCows) and decks and law in (
        "off", "slow", "bears"
    ):  # fmt: skip
        slow = rules.number("failures.slow_share")
        return {decks[0]: ((1 + 1 / slow) / 2, 1 / slow, 1 / slow**1.5)}
    return {}


def _in_part(machine: Machine) -> tuple[float, ...]:
    """One of several out: what the others still do."""
    return (OFF,) if machine.count < 2 else ((machine.count - 1) / machine.count,)


def _leak(
    rules: Rulebook, figures: Mapping[str, Figure], machine: Machine, whole: bool
) -> dict[str, tuple[float, ...]]:
    usual = rules.number("failures.leak_l_min")
    if isinstance(machine, RegulatesVacuum):
        floor = rules.number("vacuum.regulator_leak_floor_l_min")
        most = machine.capacity_l_min_free / floor
        return {"regulator_leak": (0.15 * most, 0.4 * most, 0.9 * most)}
    if isinstance(machine, KeepsAir):
        return {"air_leak": (15.0, 30.0, 60.0)}
    side = (
        "system_leak" if isinstance(machine, VACUUM_SIDE)
        else "milk_leak" if isinstance(machine, MILK_SIDE) else ""
    )  # fmt: skip
    if side not in figures:
        return {}
    allowed = figures[side].allowed or 100.0
    far = 4.0 if whole else 1.0
    moves = {side: tuple(1.0 + far * x * usual / allowed for x in LEAKS_L_MIN)}
    own = f"own.swivel_leak@{machine.id}"
    if own in figures:
        moves[own] = tuple(1.0 + x * usual / 5.0 for x in LEAKS_L_MIN)
    return moves


def _follows(
    plant: Plant, rules: Rulebook, figures: Mapping[str, Figure], machine: Machine, key: str,
    times: tuple[float, ...],
) -> dict[str, tuple[float, ...]]:  # fmt: skip
    """What a figure takes along: a tank with its own refrigeration, a cooler with its water."""
    if isinstance(machine, MakesCold) and machine.cold().leaving_c is None:
        joined = {e.partition(".")[0] for p in plant.pipes_at(machine.id) for e in (p.start, p.end)}
        found = {}
        for tag in joined:
            if f"tank_cooling@{tag}" in figures:
                units = sum(
                    m.count for m in plant.machines(MakesCold)
                    if any(tag in (p.start.partition(".")[0], p.end.partition(".")[0])
                           for p in plant.pipes_at(m.id))
                )  # fmt: skip
                share = machine.count / max(1, units)
                found[f"tank_cooling@{tag}"] = tuple(1.0 - share * (1.0 - x) for x in times)
        return found
    if key.startswith("own.liner_age@") and f"milk_out@{HERD}" in figures:
        return {f"milk_out@{HERD}": tuple(1.0 + 0.05 * x for x in range(1, 1 + len(times)))}
    if isinstance(machine, MovesWater | FiltersWater):
        return _short_water(plant, rules, figures, machine, key, times)
    return {}


def _short_water(
    plant: Plant, rules: Rulebook, figures: Mapping[str, Figure], machine: Machine, key: str,
    times: tuple[float, ...],
) -> dict[str, tuple[float, ...]]:  # fmt: skip
    """The water that a cooler gets, by the solved network, as a pump wears or a filter blocks."""
    from byrewright.site.condition.figures import with_figures

    found: dict[str, tuple[float, ...]] = {}
    for cooler in plant.machines(CoolsMilk):
        if f"cooler_water@{cooler.id}" not in figures or cooler.stage("water") is None:
            continue
        port = cooler.port_for("water", "in")
        usual = reaches_l_min(plant, rules, cooler.id, port)
        if not usual:
            continue
        shares = []
        for x in times:
            worn, ruled = with_figures(plant, rules, figures, {key: x})
            got = reaches_l_min(worn, ruled, cooler.id, port)
            shares.append(min(1.0, max(0.05, (got or 0.0) / usual)))
        if min(shares) < 0.98:
            found[f"cooler_water@{cooler.id}"] = tuple(shares)
    return found
