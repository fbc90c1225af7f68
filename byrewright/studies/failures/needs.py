"""What milking asks of the plant, from the sizing of its duties."""

from __future__ import annotations

from byrewright.physics.motion import drive_power_w
from byrewright.plant.kinds.deck import DriveUnit, Platform
from byrewright.plant.plant import Plant
from byrewright.results import Notebook
from byrewright.standards.rulebook import Rulebook
from byrewright.studies.failures.structure import Needs
from byrewright.studies.sizing.context import Bench
from byrewright.studies.sizing.deck import deck_load
from byrewright.studies.sizing.duty import Duty, duty_of
from byrewright.studies.sizing.vacuum_demand import air_use, demand


def needs_of(plant: Plant, rules: Rulebook) -> tuple[Needs, Duty]:
    """Air, milk and drive power of milking at its usual pace."""
    bench = Bench(plant, rules, Notebook("failures", plant.site.name))
    duty = duty_of(bench)
    need, air = demand(bench, duty), air_use(bench, duty)
    needs = Needs(
        air_units_l_min=air.all_units,
        air_fixed_l_min=max(0.0, need.steady_at_inlet_l_min - air.all_units),
        milk_l_min=duty.milk_flow_mean_l_min,
        drive_kw=_drive_kw(bench, duty),
        leak_l_min=rules.number("failures.leak_l_min"),
        backflow_share=rules.number("failures.backflow_share"),
        slow_share=rules.number("failures.slow_share"),
        least_pace=rules.number("failures.least_pace"),
    )
    return needs, duty


def _drive_kw(bench: Bench, duty: Duty) -> float:
    """Motor power that turns a full deck, running or starting, whichever asks more."""
    platform, drives = bench.plant.first(Platform), bench.plant.machines(DriveUnit)
    if platform is None or platform.layout != "rotary" or not drives:
        return 0.0
    load = deck_load(bench, duty, platform)
    run = drive_power_w(load.running_high_n, load.speed_m_s, drives[0].efficiency) / 1000
    start = drive_power_w(load.start_n, load.speed_m_s, drives[0].efficiency) / 1000
    return max(run, start / bench.number("deck.motor_start_multiple"))
