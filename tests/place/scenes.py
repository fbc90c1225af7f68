"""Plants to lay out, and what is wrong with a layout, by brute force."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from functools import cache

from byrewright.drafting.draft import intent_of
from byrewright.drafting.topology import lay_out
from byrewright.place import layout
from byrewright.place.model import Body, Plan
from byrewright.plant.brief import read_brief_text
from byrewright.plant.plant import Plant
from byrewright.plant.sited import laid_out, scene_of, with_place

Box = tuple[float, float, float, float]


@cache
def briefed(shape: str, stalls: int, *, twin: bool = True) -> Plant:
    """The plant of a small brief, laid out, with first guesses of its sizes: no example."""
    return laid_out(begun(shape, stalls, twin=twin))


@cache
def begun(shape: str, stalls: int, *, cold: str = "ice_bank", twin: bool = True) -> Plant:
    """The same before its pipes are laid, for tests that do not look at pipes."""
    cows = stalls * 8
    text = (
        f"farm: (invented) Test\ncows: {cows}\nyield_l_day: 28\nlayout: {shape}\n"
        f"stalls: {stalls}\nmilkings: 2\ncooling: {cold}\n"
        f"redundancy: {'shared-running' if twin else 'none'}\n"
    )
    want = intent_of(read_brief_text(text).brief)
    plant, _ = lay_out(want, {})
    return with_place(plant)


def plan_of(plant: Plant) -> Plan:
    """The plan of a plant that has a place and no mirror; no pipe is laid."""
    return layout.lay_out(scene_of(plant), plant.place_rules())


def share(a: Body, b: Body) -> bool:
    """Whether two bodies fill the same space by more than a hair."""
    x, y = a.box, b.box
    return (
        min(x[2], y[2]) - max(x[0], y[0]) > 1e-6
        and min(x[3], y[3]) - max(x[1], y[1]) > 1e-6
        and min(a.z + a.h, b.z + b.h) - max(a.z, b.z) > 1e-6
    )


def faults(plan: Plan) -> Iterator[str]:
    """Machines in each other, outside their room, or rooms in each other."""
    for a, b in itertools.combinations(plan.bodies.values(), 2):
        if share(a, b):
            yield f"{a.tag} and {b.tag} overlap"
    for body in plan.bodies.values():
        room = plan.rooms.get(body.room)
        x1, y1, x2, y2 = body.box
        if room is None:
            continue
        if x1 < room.x - 1e-6 or y1 < room.y - 1e-6 or x2 > room.x2 + 1e-6 or y2 > room.y2 + 1e-6:
            yield f"{body.tag} reaches out of {body.room}"
    shut = [r for r in plan.rooms.values() if r.name != "head"]
    for one, other in itertools.combinations(shut, 2):
        wide = min(one.x2, other.x2) - max(one.x, other.x)
        deep = min(one.y2, other.y2) - max(one.y, other.y)
        if wide > 1e-6 and deep > 1e-6:
            yield f"rooms {one.name} and {other.name} overlap"
