"""Results beside what practice expects: a net for nonsense, not a limit."""

from __future__ import annotations

from collections.abc import Iterator

from byrewright.physics.milk import heat_load_kw
from byrewright.plant.roles import PumpsVacuum, ReceivesMilk
from byrewright.results import Table
from byrewright.standards.practice import MAGNITUDES
from byrewright.studies.sizing.context import StudyContext
from byrewright.studies.sizing.duty import Duty
from byrewright.studies.sizing.in_line import in_line

CHILLED_FROM_C = 18.0
"""Temperature from which practice states the heat of chilling in line."""
OUTSIDE = "outside what practice expects: look again"
INSIDE = "as practice expects"


def note_expected(ctx: StudyContext, duty: Duty) -> None:
    """A table of results against usual magnitudes, and a note for each outside (rotaries only)."""
    if duty.layout != "rotary":
        return
    rows = []
    for key, value in _results(ctx, duty):
        usual = MAGNITUDES[key]
        low, high = usual.range_for(duty.stalls)
        inside = usual.usual(value, duty.stalls)
        rows.append(
            (
                usual.title,
                usual.unit,
                round(value, 2),
                round(low, 2),
                round(high, 2),
                INSIDE if inside else OUTSIDE,
            )
        )
        if not inside:
            ctx.notes.notes.append(
                f"{usual.title.capitalize()} is {value:.4g} {usual.unit}".rstrip()
                + f"; {low:.4g} to {high:.4g} is usual at {duty.stalls} stalls. Look again."
            )
    ctx.notes.tables.append(
        Table(
            "expected",
            "Results beside usual magnitudes",
            ("what", "unit", "here", "usual from", "usual to", "so"),
            ("", "", "", "", "", ""),
            tuple(rows),
            "Common practice, no source: to catch nonsense, never a limit.",
        )
    )


def _results(ctx: StudyContext, duty: Duty) -> Iterator[tuple[str, float]]:
    """The figures that have a usual magnitude."""
    plant = ctx.plant
    yield "rotation_min", duty.turn_s / 60.0
    yield "gross_cows_h", duty.gross_cows_h
    yield "net_cows_h", duty.net_cows_h
    yield "seconds_a_stall", duty.stall_s
    yield "stopped_pct", 100.0 * duty.stop_share
    yield "mean_milk_l_min", duty.milk_flow_mean_l_min
    yield "system_vacuum_kpa", duty.working_vacuum_kpa
    for found in ctx.notes.findings:
        if found.key == "vacuum.pump.capacity" and found.value is not None:
            yield "vacuum_pump_l_min", found.value
            total = sum(p.count * p.capacity_l_min_free for p in plant.machines(PumpsVacuum))
            if plant.wishes.redundancy == "none":
                yield "pump_per_unit_l_min", total / duty.units
            else:
                yield "pump_per_unit_l_min", found.value / duty.units
            break
    receiver = plant.first(ReceivesMilk)
    if receiver is not None:
        yield "receiver_each_l", receiver.volume_l
    point = in_line(ctx, duty)
    if point.water_l_min > 0:
        yield "cooler_approach_k", point.pre_cooled_c - duty.water_warmest_c
        yield "water_ratio", point.water_l_min / point.milk_l_min
    if point.chilled_kw > 0:
        yield (
            "chilling_kw",
            heat_load_kw(point.milk_l_min, CHILLED_FROM_C, point.out_c, ctx.rules),
        )
    yield "milk_at_receiver_c", duty.milk_at_receiver_c
