"""What each pipe and fitting costs: the drop it makes, and what the next bore would make of it."""

from __future__ import annotations

from dataclasses import dataclass, replace

from byrewright.plant.roles import CollectsMilk
from byrewright.results import Table
from byrewright.standards.pipes import AIRLINE_BORES_MM, MILKLINE_BORES_MM, next_bore_mm
from byrewright.studies.vacuum.building import with_bore
from byrewright.studies.vacuum.network import Network, PipeSegment
from byrewright.studies.vacuum.steady import Steady, solve

LEAST_DROP_KPA = 0.005  # a segment that drops less is left out of the table
BORE_STEP = 1.02  # the next bore is at least 2 % wider than the present one


@dataclass(frozen=True, slots=True)
class Effect:
    """A pipe or line at the reserve airflow: drop now, with the next bore, gain at the receiver."""

    name: str
    what: str
    bore_mm: float
    flow_l_min_free: float
    velocity_m_s: float
    drop_kpa: float
    next_bore_mm: float | None
    drop_then_kpa: float | None
    gain_kpa: float | None
    loss_if_narrower_kpa: float | None


@dataclass(frozen=True, slots=True)
class FittingEffect:
    """A fitting, or the loss inside a machine: what taking it out gives at the receiver."""

    name: str
    fitting: str
    count: int
    gain_kpa: float


def at_airflow(network: Network, reserve: Steady) -> Steady:
    """The reserve state with its airflow kept and its vacuum free, so that changes show."""
    node = network.milk_point
    situation = replace(
        reserve.situation,
        key="reserve_flow",
        held=(),
        extra=((node, reserve.asked_l_min_free[0], "fixed"),),
        speed_held=None,
    )
    return solve(network, situation)


def effects(network: Network, reserve: Steady) -> list[Effect]:
    """Every pipe and line that drops anything, the largest drop first."""
    base = at_airflow(network, reserve)
    found = []
    for name in dict.fromkeys(s.name for s in network.segments if s.what != "fitting"):
        states = [s for s in base.segments if s.segment.name == name]
        drop = base.drop_of(name)
        if drop < LEAST_DROP_KPA:
            continue
        widest = states[0].segment
        bore = plate_bore(network, name, widest.bore_mm)
        then = gain = less = None
        bores = MILKLINE_BORES_MM if _carries_milk(network, widest) else AIRLINE_BORES_MM
        wider = next_bore_mm(bore * BORE_STEP, bores)
        narrower = max((b for b in bores if b < bore / BORE_STEP), default=None)
        if wider is not None:
            other = solve(with_bore(network, {name: wider}), base.situation)
            then = other.drop_of(name)
            gain = other.milk_vacuum_kpa - base.milk_vacuum_kpa
        if narrower is not None:
            other = solve(with_bore(network, {name: narrower}), base.situation)
            less = base.milk_vacuum_kpa - other.milk_vacuum_kpa
        found.append(
            Effect(
                name,
                widest.what,
                bore,
                max(abs(s.flow_l_min_free) for s in states),
                max(s.velocity_m_s for s in states),
                drop,
                wider,
                then,
                gain,
                less,
            )
        )
    return sorted(found, key=lambda e: (-e.drop_kpa, e.name))


def _carries_milk(network: Network, segment: PipeSegment) -> bool:
    """Whether milk runs in a segment too: a milkline, or the pipe from it to the receiver."""
    lines = {m.id for m in network.plant.machines(CollectsMilk)}
    ends = (segment.pipe.start, segment.pipe.end) if segment.pipe else (f"{segment.machine}.",)
    return any(end.partition(".")[0] in lines for end in ends)


def plate_bore(network: Network, name: str, solved_mm: float) -> float:
    """The bore as the plant's file gives it (a milkline is solved narrower, for its milk)."""
    for segment in network.segments:
        if segment.name == name:
            if segment.pipe is not None:
                return segment.pipe.bore_mm
            machine = network.plant.equipment.get(segment.machine or "")
            return float(getattr(machine, "bore_mm", solved_mm))
    return solved_mm


def fitting_effects(network: Network, reserve: Steady) -> list[FittingEffect]:
    """Every fitting of a pipe, and the loss inside every machine, largest gain first."""
    base = at_airflow(network, reserve)
    found = []
    for segment in network.segments:
        if segment.pipe is not None and abs(base.drop_of(segment.name)) >= LEAST_DROP_KPA:
            for fitting, count in segment.pipe.fittings.items():
                other = solve(network.without_fitting(segment.name, fitting), base.situation)
                gain = other.milk_vacuum_kpa - base.milk_vacuum_kpa
                found.append(FittingEffect(segment.name, fitting, count, gain))
    for name in dict.fromkeys(s.name for s in network.segments if s.what == "fitting"):
        if base.drop_of(name) >= LEAST_DROP_KPA:
            other = solve(network.without_loss(name), base.situation)
            gain = other.milk_vacuum_kpa - base.milk_vacuum_kpa
            found.append(FittingEffect(name, "inside", 1, gain))
    return sorted(found, key=lambda f: (-f.gain_kpa, f.name, f.fitting))


def tables(every: list[Effect], fittings: list[FittingEffect]) -> tuple[Table, Table]:
    """The two tables of the report."""

    def shown(value: float | None, digits: int = 3) -> float | str:
        return "-" if value is None else round(value, digits) + 0.0  # no -0 on paper

    return (
        Table(
            "bores",
            "Every pipe at the reserve airflow, and what another bore would do",
            (
                "pipe",
                "bore",
                "airflow",
                "velocity",
                "drop",
                "next bore",
                "drop then",
                "gain at receiver",
                "loss with the bore below",
            ),
            ("", "mm", "L/min", "m/s", "kPa", "mm", "kPa", "kPa", "kPa"),
            tuple(
                (
                    e.name,
                    round(e.bore_mm, 1),
                    round(e.flow_l_min_free),
                    round(e.velocity_m_s, 1),
                    shown(e.drop_kpa),
                    shown(e.next_bore_mm, 1),
                    shown(e.drop_then_kpa),
                    shown(e.gain_kpa),
                    shown(e.loss_if_narrower_kpa),
                )
                for e in every
            ),
            "Bores offered are common airline sizes (common practice, no source).",
        ),
        Table(
            "fittings",
            "Every fitting at the reserve airflow: what taking one out would give",
            ("at", "fitting", "count", "gain at receiver, each"),
            ("", "", "", "kPa"),
            tuple((f.name, f.fitting, f.count, shown(f.gain_kpa)) for f in fittings),
            "Control is at work, so upstream of its sensing point a loss costs power, not vacuum.",
        ),
    )
