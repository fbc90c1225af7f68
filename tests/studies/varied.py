"""Plants changed at random, with rules of their own: they go where no example goes."""

from __future__ import annotations

import random
from collections.abc import Callable
from functools import partial
from typing import Any

from byrewright.plant.plant import Plant
from byrewright.standards.rulebook import Rulebook, default_rulebook
from tests import plants
from tests.studies.failing import LARGE, ROWS, SMALL, example

SIZES = ("_kw", "_l_min", "_l_min_free", "volume_l", "_kva", "area_m2", "bore_mm", "_mol", "_kn")
"""Ends of the fields by which a machine is small or large."""
STARTS: tuple[Callable[[], Plant], ...] = (
    partial(example, ROWS), partial(example, SMALL), plants.rotary, plants.rows,
    partial(example, LARGE),
)  # fmt: skip
RULES_CHANGED = 90


def random_plant(seed: int) -> Plant:
    """A plant with machines, farm and site changed here and there."""
    draw = random.Random(seed)
    plant = STARTS[seed % len(STARTS)]()
    equipment = {}
    for tag, one in sorted(plant.equipment.items()):
        changed: dict[str, Any] = {
            name: value * draw.choice((0.5, 0.8, 1.0, 1.0, 1.3, 2.0))
            for name in type(one).model_fields
            if name.endswith(SIZES) and isinstance(value := getattr(one, name), int | float)
        }
        if one.count == 1 and one.power_kw() > 0 and one.kind != "platform" and draw.random() < 0.2:
            changed["count"] = 2
        equipment[tag] = one.model_copy(update=changed)
    site: dict[str, Any] = {
        "altitude_m": draw.choice((100.0, 700.0, 1600.0)),
        "region": draw.choice(("EU", "US", "US-California", "Australia", "New Zealand")),
        "water_hardness_mmol_l": draw.choice((None, 1.0, 4.0)),
        "coldest_c": draw.choice((None, -4.0, -20.0)),
        "hottest_c": draw.choice((26.0, 33.0, 42.0)),
        "room_heated_to_c": draw.choice((None, 5.0)),
    }
    herd = {"yield_l_day": plant.herd.yield_l_day * draw.choice((0.7, 1.0, 1.3))}
    wishes: dict[str, Any] = {
        "redundancy": draw.choice(("none", "duty-and-standby", "shared-running")),
        "standby_power": draw.choice(("none", "automatic")),
        "milk_out_c": draw.choice((None, 6.0, 15.0)),
        "go_round_share": draw.choice((0.03, 0.1)),
        "reserve_h": draw.choice((2.0, 24.0)),
    }
    cleaning = {"hot_c": draw.choice((72.0, 85.0)), "hardness_ppm": draw.choice((None, 250.0))}
    longer = draw.choice((0.5, 1.0, 1.5))
    milkings = tuple(
        m.model_copy(update={"target_h": m.target_h * longer, "operators": draw.choice((1, 2, 4))})
        for m in plant.milkings
    )
    days = draw.choice((1, 1, 2))
    visits = tuple(v.model_copy(update={"every_days": days}) for v in plant.collections)
    pipes = tuple(
        p.model_copy(update={"length_m": p.length_m * draw.choice((0.5, 1.0, 3.0))})
        for p in plant.pipes
    )
    return plant.model_copy(update={
        "equipment": equipment, "site": plant.site.model_copy(update=site),
        "herd": plant.herd.model_copy(update=herd), "pipes": pipes, "collections": visits,
        "wishes": plant.wishes.model_copy(update=wishes), "milkings": milkings,
        "cleaning": plant.cleaning.model_copy(update=cleaning),
    })  # fmt: skip


def random_rules(seed: int) -> Rulebook:
    """Rules of which some are more or less than held."""
    draw = random.Random(seed)
    book = default_rulebook()
    mine = {}
    for key in draw.sample(sorted(book), RULES_CHANGED):
        number = book[key].value * draw.choice((0.7, 0.9, 1.15, 1.4))
        if book[key].allows(number) and not book[key].key.startswith("life."):
            mine[key] = number
    return Rulebook(mine)
