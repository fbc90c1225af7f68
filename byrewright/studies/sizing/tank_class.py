"""What the class of a bulk tank says: how fast it cools, and in which air."""

from __future__ import annotations

from byrewright.physics.heat import cooling_for_pull_down_kw
from byrewright.plant.roles import StoresMilk
from byrewright.standards.cooling import AMBIENT_CLASSES, COOLING_CLASSES, FILL_CLASSES
from byrewright.studies.sizing.context import StudyContext
from byrewright.studies.sizing.sizes import kilowatts, stated

FIRST_FROM_C, TO_C = 35.0, 4.0
"""Milk of the first milking, and what the class brings it to."""


def tank_class(ctx: StudyContext, tank: StoresMilk) -> None:
    """The cooling that the tank's own class would ask for with warm milk: for comparison."""
    fill = next(c for c in FILL_CLASSES if c.milkings == tank.milkings_class)
    speed = next(c for c in COOLING_CLASSES if c.numeral == tank.time_class)
    litres = fill.share_each * tank.volume_l
    heat = litres * ctx.number("milk.density_kg_m3") / 1000.0 * ctx.number("milk.cp_kj_kgk")
    kw = cooling_for_pull_down_kw(FIRST_FROM_C, TO_C, heat, speed.first_h, tank.set_c)
    air = next(c for c in AMBIENT_CLASSES if c.letter == tank.ambient_class)
    hottest = ctx.plant.site.hottest_c
    name = f"{tank.milkings_class}{tank.ambient_class}{tank.time_class}"
    held = f" The class holds in air of up to {air.performance_c:g} degC"
    if tank.cooling != "direct_expansion":
        held = ""
    elif hottest > air.performance_c:
        held += (f", and the tank is safe up to {air.safe_c:g} degC: the hot afternoon here is "
                 f"{hottest:g} degC.")  # fmt: skip
    else:
        held += f"; the hot afternoon here is {hottest:g} degC."
    ctx.find(
        "cooling.tank.class",
        "Cooling by tank class",
        kw,
        "kW",
        f"{tank.id} in class {name} takes a milking of {litres:.0f} L from 35 to 4 degC in "
        f"{speed.first_h:g} h, which is {kilowatts(kw)}; with milk cooled before it less will do."
        + held,
        subject=tank.id,
        formula="Q = share V rho cp (35 - 4) / t_class",
        inputs=(
            stated("V", "rated volume", tank.volume_l, "L"),
            stated("share", "of a milking", fill.share_each, "", "EN 13732 class"),
            stated("t_class", "hours of the class", speed.first_h, "h", "EN 13732 class"),
            *(
                (
                    stated(
                        "",
                        "air that the class holds in",
                        air.performance_c,
                        "degC",
                        "EN 13732 class",
                    ),
                    stated("", "hot afternoon", hottest, "degC"),
                )
                if held
                else ()
            ),
        ),
        source="en13732",
        confidence="from_memory",
    )
