"""What the vacuum instruments read, from steady states alone: fast enough to ask for each fault.

The same readings as the study writes, without the march in time and without every pipe's share.
"""

from __future__ import annotations

from dataclasses import replace

from byrewright.plant.plant import Plant
from byrewright.results import Result, ResultBuilder
from byrewright.standards.rulebook import Rulebook
from byrewright.studies.sizing.context import StudyContext
from byrewright.studies.vacuum import readings, steady
from byrewright.studies.vacuum.building import network_of
from byrewright.studies.vacuum.case import Case
from byrewright.studies.vacuum.network import NoNetwork
from byrewright.studies.vacuum.reading import reading
from byrewright.studies.vacuum.situations import pumps_running
from byrewright.studies.vacuum.transient import fall_off_air_l_min, open_units, worst_unit

FILL = 0.35
"""Depth of milk in the milkline over its bore: the usual one, for all states alike."""


def quick_readings(plant: Plant, rules: Rulebook) -> Result:
    """The vacuum readings of a plant as findings `vacuum.test.*`; none where it has no network.

    Raises:
        NotSolved: a state did not come into balance.
    """
    ctx = StudyContext(plant, rules, ResultBuilder("vacuum", plant.site.name))
    try:
        network = network_of(plant, rules, FILL)
    except NoNetwork:
        return ctx.notes.result()
    every = steady.standard_situations(network)
    running = pumps_running(network, every["milking"].mode)
    if not running:
        return ctx.notes.result()
    milking = steady.solve(network, every["milking"])
    case = Case(
        network,
        running,
        {"milking": milking, "no_units": steady.solve(network, every["no_units"])},
        steady.solve(network, steady.reserve_situation(network, milking)),
        steady.solve(network, steady.reserve_situation(network, milking, manual=True)),
        None, [], [], {}, [], (), (),
    )  # fmt: skip
    readings.write(ctx, case)
    air = open_units(network) * fall_off_air_l_min(network)
    opened = steady.solve(
        network,
        replace(milking.situation, key="open", extra=((worst_unit(network), air, "hole"),)),
    )
    fallen = milking.milk_vacuum_kpa - opened.milk_vacuum_kpa
    reading(ctx, "fall_off_drop", "Vacuum drop with units open", max(0.0, fallen), "kPa",
            f"Vm falls by {fallen:.1f} kPa while units stand open.",
            formula="steady state with the air of the open units")  # fmt: skip
    reading(ctx, "one_open", "Vacuum with units open", opened.milk_vacuum_kpa, "kPa",
            f"Vm stands at {opened.milk_vacuum_kpa:.1f} kPa while units stand open.",
            formula="steady state with the air of the open units")  # fmt: skip
    return ctx.notes.result()
