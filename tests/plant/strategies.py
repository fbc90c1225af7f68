"""Random plants over the whole registry: any kind, any valid value, some written with units."""

from __future__ import annotations

import math
from typing import Any, get_origin

from hypothesis import strategies as st
from pydantic.fields import FieldInfo

from byrewright.plant.farm import Collection, Group, Herd, Milking, Site, Supply, Tariff, Wishes
from byrewright.plant.machine import PIPED, Machine, kinds
from byrewright.plant.plant import Mode, Pipe, Plant
from byrewright.plant.translate import bounds, choices, leaves, unit_of

ANY_TEXT = st.text(st.characters(codec="utf-8"), max_size=12)
TAGS = st.from_regex(r"[A-Za-z][A-Za-z0-9_-]{0,7}", fullmatch=True).filter(
    lambda t: t not in ("does", "like")
)
TIMES = st.builds(lambda h, m: f"{h:02d}:{m:02d}", st.integers(0, 23), st.integers(0, 59))
BASE: dict[str, tuple[str, dict[str, Any]]] = {
    "EM0": ("mains", {"supply_kva": 100}),
    "SB0": ("switchboard", {"fed_from": ["EM0"]}),
    "CT0": ("controller", {"fed_from": "SB0"}),
    "AV0": ("air_receiver", {"volume_l": 300}),
    "RC0": ("receiver", {"volume_l": 100}),
    "CU0": ("condensing_unit", {"duty_kw": 10}),
}
"""Machines that others may name."""
NAMED = {
    "gives power": "SB0",
    "controls": "CT0",
    "stores air": "AV0",
    "holds milk": "RC0",
    "makes cold": "CU0",
    "*": "RC0",
}


def numbers(info: FieldInfo, low: float | None, high: float | None) -> st.SearchStrategy[Any]:
    """A number in the range of a field, sometimes written with its unit."""
    low, high = (-50.0 if low is None else low), (5000.0 if high is None else high)
    least, most = math.ceil(low), math.floor(high)
    whole = st.integers(least, most) if least <= most else st.nothing()
    if float not in set(leaves(info.annotation)):
        return whole
    plain = st.floats(low, high, allow_nan=False) | whole
    unit = unit_of(info)
    return plain | plain.map(lambda v: f"{v!r} {unit}") if unit else plain


def values(info: FieldInfo) -> st.SearchStrategy[Any]:
    """A valid value of a field of a machine."""
    extra = info.json_schema_extra
    sorts = set(leaves(info.annotation))
    words = choices(info.annotation)
    if isinstance(extra, dict) and "refers" in extra:
        return st.just(NAMED[str(extra["refers"])])
    if get_origin(info.annotation) is tuple and words:
        return st.lists(st.sampled_from(words), unique=True, max_size=4)
    if words:
        return st.sampled_from(words)
    if bool in sorts:
        return st.booleans()
    if sorts & {int, float}:
        return numbers(info, *bounds(info))
    return ANY_TEXT


@st.composite
def machines(draw: st.DrawFn, tag: str) -> Machine:
    """One machine of any kind with any of its fields stated."""
    kind = kinds()[draw(st.sampled_from(sorted(kinds())))]
    fields: dict[str, Any] = {"id": tag}
    for name, info in kind.model_fields.items():
        if name in ("id", "normally", "at_port"):
            continue
        if info.is_required() or draw(st.integers(0, 3)) == 0:
            fields[name] = draw(values(info))
    made = kind(**fields)
    if made.states() and draw(st.booleans()):
        made = kind(**fields, normally=draw(st.sampled_from(made.states())))
    return made


def pipes_for(equipment: dict[str, Machine]) -> list[Pipe]:
    """A pipe from every needed port to a way of one header."""
    found: list[Pipe] = []
    for tag, one in equipment.items():
        for port in one.ports():
            services = sorted(port.services & PIPED)
            if port.needed and services and tag != "HD0":
                start = f"{tag}.{port.name.replace('#', '1')}"
                found.append(
                    Pipe(id=f"L{len(found)}", start=start, end=f"HD0.way_{len(found) + 1}",
                         service=services[0], bore_mm=50, length_m=1.25)
                )  # fmt: skip
    return found


@st.composite
def plants(draw: st.DrawFn) -> Plant:
    """A plant that reads without a problem."""
    equipment = {t: kinds()[k](id=t, **f) for t, (k, f) in BASE.items()}
    for tag in draw(st.lists(TAGS, unique=True, max_size=5)):
        equipment.setdefault(tag, draw(machines(tag)))
    equipment["HD0"] = kinds()["header"](id="HD0")
    names = draw(st.lists(ANY_TEXT, unique=True, min_size=1, max_size=3))
    movable = {t: m.states() for t, m in equipment.items() if m.states()}
    modes: dict[str, Mode] = {}
    for name in draw(st.lists(ANY_TEXT, unique=True, max_size=3)):
        chosen = draw(st.lists(st.sampled_from(sorted(movable)), unique=True, max_size=6))
        positions = {t: draw(st.sampled_from(movable[t])) for t in chosen}
        like = draw(st.sampled_from([None, *modes]))
        stated = {} if like is None else {"like": like}
        modes[name] = Mode(name=name, does=("idle",), positions=positions, **stated)
    months = st.lists(st.floats(-30, 45), min_size=12, max_size=12)
    return Plant(
        byrewright=1,
        site=Site(name=draw(ANY_TEXT), water_temperature_c=draw(months), ambient_c=draw(months),
                  supply=Supply(phases=3, tariff=[Tariff(start=draw(TIMES), price_kwh=0.2)])),
        herd=Herd(cows=100, yield_l_day=30, groups=[Group(name=n, cows=10) for n in names]),
        milkings=[Milking(name="m", start=draw(TIMES), target_h=3, groups=names)],
        collections=[Collection(at=draw(TIMES), tanker_l=20000)],
        wishes=Wishes(redundancy="none"),
        equipment=equipment, pipes=pipes_for(equipment), modes=modes,
    )  # fmt: skip
