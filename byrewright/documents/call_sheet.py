"""The call-out page: one file that leads a caller on a telephone, without server or network."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import replace
from functools import cached_property
from typing import Any

from byrewright.documents.format import System, drawn_in
from byrewright.documents.readers_work import small_plan
from byrewright.documents.schematic import schematic_layout, sheets_for
from byrewright.documents.shapes import Layout, Placed
from byrewright.documents.svg import layout_svg, n
from byrewright.documents.typeset import TEMPLATES
from byrewright.documents.us_words import words_in
from byrewright.plant.plant import Plant
from byrewright.plant.roles import CarriesDeck, GivesMilk, RemovesUnits, Senses, StandsCows
from byrewright.site.callout.guide import Guide, Look, Seen
from byrewright.standards.cautions import LEAD

CORNER_MM = (76.0, 46.0)
"""What a small picture shows of a drawing."""
ROOM_MM = 1.5


def call_html(
    guide: Guide, head: Mapping[str, Any], *, made: str, send: str = "", wait: str = "",
    live: str = "", units: System = "metric",
) -> str:  # fmt: skip
    """The page: what the caller sees, what to do first, what to look at, what then.

    Args:
        head: what `byrewright.site.callout.record.head_of` gives.
        made: day it was made, to be shown.
        send: where it may send the record; "" where there is no server.
        wait: where to ask whether the whole guide is ready, when this one is bare.
        live: the part, as HTML, that tells what the server hears; "" where there is no server.
        units: units of what it says and of its drawings.
    """
    guide = guide_in(guide, units)
    pictures = Pictures(guide.plant, units)
    shown = {c.look for s in guide.seen for c in s.looks}
    looks = {k: _look(v, pictures) for k, v in guide.looks.items() if k in shown}
    data = {
        "head": dict(head), "made": made, "send": send, "wait": wait, "caution": LEAD,
        "sights": [_seen(s) for s in guide.seen], "looks": looks, "mode": guide.mode,
        "positions": [list(p) for p in guide.positions],
    }  # fmt: skip
    told = json.dumps(data, ensure_ascii=False, separators=(",", ":")).replace("<", "\\u003c")
    page = (TEMPLATES / "call.html").read_text(encoding="utf-8")
    page = page.replace("@SHEETS@", pictures.sheets()).replace("@LIVE@", live)
    return page.replace("@DATA@", told)


def guide_in(guide: Guide, units: System) -> Guide:
    """What a caller is led by, in the caller's units."""
    if units != "US":
        return guide
    seen, looks = words_in(guide.seen, units), words_in(dict(guide.looks), units)
    return replace(guide, seen=seen, looks=looks, positions=words_in(guide.positions, units))


def _seen(one: Seen) -> dict[str, Any]:
    sight = one.sight
    return {
        "key": sight.key, "words": sight.words, "first": list(sight.first), "call": sight.call,
        "positions": sight.positions, "left": one.left, "also": list(one.also),
        "looks": [[c.look, list(c.tags)] for c in one.looks],
    }  # fmt: skip


def _look(one: Look, pictures: Pictures) -> dict[str, Any]:
    return {
        "kind": one.kind, "way": one.way, "seen": one.seen, "do": list(one.do),
        "cautions": list(one.cautions), "who": one.who, "when": one.when, "safety": one.safety,
        "hours": one.repair_h,
        "places": {
            p.tag: {"title": p.title, "acts": list(p.acts), "stops": p.stops,
                    "pic": pictures.of(p.tag), "plan": pictures.plan_of(p.tag)}
            for p in one.places
        },
    }  # fmt: skip


class Pictures:
    """Where the machines of a plant are: a corner of the drawing that shows each."""

    def __init__(self, plant: Plant, units: System = "metric") -> None:
        self._used: set[str] = set()
        self.plant, self.units = plant, units

    @cached_property
    def _laid(self) -> dict[str, Layout]:
        with drawn_in(self.units):
            return {s.key: schematic_layout(self.plant, s.key) for s in sheets_for(self.plant)}

    def plan_of(self, tag: str) -> str:
        """A small plan where no drawing shows the machine; "" where the file has no place for it.

        A plan that the file does not state is not drafted for this.
        """
        drawn = self.plant.place is None or self.of(tag) is not None
        return "" if drawn else small_plan(self.plant, tag)

    def of(self, tag: str) -> list[str | float] | None:
        """The sheet, the corner's x, y, width and height, and the box round the machine, or round
        what it sits on where it is not drawn itself."""
        for at in dict.fromkeys((tag, self._sits_on(tag))):
            for key, laid in self._laid.items():
                some = (p for p in laid.placed if p.machine == at and p.symbol != "flag")
                one = next(some, None)
                if one is not None:
                    self._used.add(key)
                    return [key, *(float(n(v)) for v in _corner(laid, one))]
        return None

    def _sits_on(self, tag: str) -> str:
        """The machine itself; of a sensor, a roller or what hangs at each unit, what it sits on."""
        one = self.plant.equipment[tag]
        on: StandsCows | GivesMilk | None = None
        if isinstance(one, Senses):
            return one.on
        if isinstance(one, CarriesDeck):
            on = self.plant.first(StandsCows)
        elif isinstance(one, RemovesUnits) or one.can("rides on the deck"):
            on = self.plant.first(GivesMilk)
        return tag if on is None else on.id

    def sheets(self) -> str:
        """The drawings that are used, each once, to be shown in corners."""
        return "".join(  # nothing is laid out where no picture is shown
            f'<symbol id="sheet-{key}" overflow="visible">{layout_svg(self._laid[key])}</symbol>'
            for key in sorted(self._used)
        )


def _corner(laid: Layout, one: Placed) -> tuple[float, ...]:
    wide, high = CORNER_MM
    left = min(max(one.x + one.w / 2 - wide / 2, 0.0), max(laid.width_mm - wide, 0.0))
    top = min(max(one.y + one.h / 2 - high / 2, 0.0), max(laid.height_mm - high, 0.0))
    box = (one.x - ROOM_MM, one.y - ROOM_MM, one.w + 2 * ROOM_MM, one.h + 2 * ROOM_MM)
    return (left, top, wide, high, *box)
