"""What milking asks of the plant, from the sizing of its duties."""

from __future__ import annotations

from byrewright.engine.deck import deck_load
from byrewright.physics.motion import drive_power_w
from byrewright.plant.plant import Plant
from byrewright.plant.roles import CarriesDeck, StandsCows, TurnsDeck
from byrewright.results import ResultBuilder
from byrewright.standards.rulebook import Rulebook
from byrewright.studies.failures.structure import Needs
from byrewright.studies.sizing.context import StudyContext
from byrewright.studies.sizing.deck import N_PER_KN, design_roller_n
from byrewright.studies.sizing.duty import Duty, duty_of
from byrewright.studies.sizing.loads import ElectricLoad, electric_loads
from byrewright.studies.sizing.power import volts_of
from byrewright.studies.sizing.vacuum_demand import air_use, demand

NEIGHBOUR = 1.5
"""Load of a roller beside a broken one over its own: half of the neighbour's more (statics)."""
FEW_ROLLERS = 4
"""With so few or fewer, a broken one tips the deck."""


def loads_of(plant: Plant, rules: Rulebook) -> tuple[tuple[ElectricLoad, ...], float, int]:
    """Electric loads, and voltage and phases of the supply."""
    ctx = StudyContext(plant, rules, ResultBuilder("failures", plant.site.name))
    return electric_loads(ctx, duty_of(ctx)), *volts_of(ctx)


def needs_of(plant: Plant, rules: Rulebook) -> tuple[Needs, Duty]:
    """Air, milk and drive power of milking at its usual pace."""
    ctx = StudyContext(plant, rules, ResultBuilder("failures", plant.site.name))
    duty = duty_of(ctx)
    need, air = demand(ctx, duty), air_use(ctx, duty)
    needs = Needs(
        air_units_l_min=air.all_units,
        air_fixed_l_min=max(0.0, need.steady_at_inlet_l_min - air.all_units),
        milk_l_min=duty.milk_flow_mean_l_min,
        drive_kw=_drive_kw(ctx, duty),
        leak_l_min=rules.number("failures.leak_l_min"),
        backflow_share=rules.number("failures.backflow_share"),
        slow_share=rules.number("failures.slow_share"),
        least_pace=rules.number("failures.least_pace"),
        shed_s=60 * (rules.number("failures.notice_min") + rules.number("failures.act_min")),
        bears_one_less=_bears(ctx),
    )
    return needs, duty


def _bears(ctx: StudyContext) -> frozenset[str]:
    """Deck rollers of which one may break: its neighbours take half of its load each."""
    platform, rollers = ctx.plant.first(StandsCows), ctx.plant.machines(CarriesDeck)
    if platform is None or platform.layout != "rotary" or not rollers:
        return frozenset()
    count = sum(r.count for r in rollers)
    neighbour_kn = NEIGHBOUR * design_roller_n(ctx, platform, count) / N_PER_KN
    return frozenset(r.id for r in rollers if count > FEW_ROLLERS and neighbour_kn <= r.rated_kn)


def _drive_kw(ctx: StudyContext, duty: Duty) -> float:
    """Motor power that turns a full deck, running or starting, whichever asks more."""
    platform, drives = ctx.plant.first(StandsCows), ctx.plant.machines(TurnsDeck)
    if platform is None or platform.layout != "rotary" or not drives:
        return 0.0
    load = deck_load(ctx.plant, ctx.rules, platform)
    run = drive_power_w(load.running_high_n, load.speed_m_s, drives[0].efficiency) / 1000
    start = drive_power_w(load.start_n, load.speed_m_s, drives[0].efficiency) / 1000
    return max(run, start / ctx.number("deck.motor_start_multiple"))
