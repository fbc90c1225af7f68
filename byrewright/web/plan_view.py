"""The plan to look at and to move machines on: each machine and each run of pipe in its own group,
so that a move sends only what it changed."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from byrewright.documents.format import System, drawn_in, quantity
from byrewright.documents.ink import PAPER, QUIET, ink_of
from byrewright.documents.plan_canvas import Area, Canvas
from byrewright.documents.plan_parts import (
    draw_deck,
    draw_gullies,
    draw_names,
    draw_racks,
    draw_rooms,
)
from byrewright.documents.svg import letters_svg, line_svg, n
from byrewright.place.model import Body, Plan, Route
from byrewright.plant.plant import Plant
from byrewright.plant.sited import Sited
from byrewright.web.look import inked
from byrewright.web.markup import Child, Html, tag
from byrewright.web.texts import Texts

FIELD_MM = (300.0, 205.0)
LETTERS_MM, SMALL_MM = 3.7, 1.5
MARGIN_M = 1.0
LARGE_M2 = 1.2
"""Machines whose tags are shown however small the plan is drawn."""
DOTS = (0.3, 0.7)
ROUND = frozenset({"vessel", "tank"})
FEET = 0.3048
PER_UNIT: Mapping[System, tuple[float, str]] = {"metric": (1.0, "m"), "US": (1 / FEET, "ft")}
"""What a metre is in a visitor's unit, and that unit."""


@dataclass(frozen=True)
class Shown:
    """What stands on the screen: machines and runs of pipe by tag, drawn."""

    machines: Mapping[str, Html]
    labels: Mapping[str, str]
    pipes: Mapping[str, Html]

    def changed(self, old: Shown) -> dict[str, Any]:
        """What must be drawn anew where the old one stands."""
        return {
            "machines": {
                t: [svg, self.labels[t]] for t, svg in self.machines.items()
                if (svg, self.labels[t]) != (old.machines.get(t), old.labels.get(t))
            },
            "pipes": {k: svg for k, svg in self.pipes.items() if svg != old.pipes.get(k)},
        }  # fmt: skip


class PlanView:
    """A plan on the screen. Its window and its letters stay as they were when it was opened."""

    def __init__(self, plant: Plant, made: Sited, t: Texts, units: System) -> None:
        self.plant, self.t, self.units = plant, t, units
        indoors = {k: r for k, r in made.plan.rooms.items() if not r.open}
        x1, y1, x2, y2 = replace(made.plan, rooms=indoors).extent()
        window = (x1 - MARGIN_M, y1 - MARGIN_M, x2 + MARGIN_M, y2 + MARGIN_M)
        turned = y2 - y1 > 1.15 * (x2 - x1)
        self.canvas = Canvas(window, 0, 0, *FIELD_MM, turned)
        self.ground = self._ground(made.plan)
        with drawn_in(units):
            self.lettered = self._letters(made.plan)
        self.shown = self.draw(made)

    def _ground(self, plan: Plan) -> Html:
        canvas = self.canvas
        draw_deck(canvas, plan)
        draw_rooms(canvas, plan)
        draw_racks(canvas, plan)
        draw_gullies(canvas, plan)
        parts = [*canvas.under, *canvas.over]
        canvas.under, canvas.over, canvas.letters = [], [], []
        return Html(inked("".join(parts)))

    def _letters(self, plan: Plan) -> dict[str, tuple[float, float, float]]:
        """Where each machine's tag stands beside its middle, mm, and its size."""
        canvas, found = self.canvas, {}
        for body in plan.bodies.values():
            canvas.keep_clear(body.box)
        for body in sorted(plan.bodies.values(), key=lambda b: (-b.dx * b.dy, b.tag)):
            mx, my = canvas.at(body.x, body.y)
            if canvas.tag(body.box, body.tag, LETTERS_MM, far_mm=0.0):
                one = canvas.letters[-1]
                found[body.tag] = (one.x - mx, one.y - my, LETTERS_MM)
            else:
                found[body.tag] = (0.0, SMALL_MM * 0.35, SMALL_MM)
        canvas.letters = []
        draw_names(canvas, list(plan.rooms.values()))
        names = "".join(letters_svg(replace(x, size_mm=LETTERS_MM)) for x in canvas.letters)
        self.ground = Html(self.ground + f'<g class="word">{inked(names)}</g>')
        canvas.letters = []
        return found

    def draw(self, made: Sited) -> Shown:
        """Every machine and every run of pipe as the plan has it now."""
        bodies = made.plan.bodies
        return Shown(
            {t: self._machine(b) for t, b in bodies.items()},
            {t: self._label(b) for t, b in bodies.items()},
            {r.lines[0]: self._pipe(r) for r in made.routes if r.points},
        )

    def _label(self, body: Body) -> str:
        told = [quantity(round(v, 2), "m", self.units) for v in (body.x, body.y)]
        return self.t("place.named", tag=body.tag, title=self.plant.equipment[body.tag].title,
                      east=told[0], north=told[1])  # fmt: skip

    def _machine(self, body: Body) -> Html:
        canvas = self.canvas
        if body.front_m > 0.3 and not body.hung and body.frame == "fixed":
            canvas.under.append('<g class="space">')
            canvas.box(body.service_box, 0.15, colour=QUIET, dashes=DOTS)
            canvas.under.append("</g>")
        if self.plant.equipment[body.tag].SYMBOL in ROUND and abs(body.dx - body.dy) < 0.01:
            canvas.circle(body.x, body.y, body.dx / 2, 0.35, fill=PAPER)
        else:
            canvas.box(body.box, 0.35, fill=PAPER)
        if body.pinned:  # a corner turned down: somebody has put it there
            x1, y1, x2, y2 = canvas.area(body.box)
            by = min(1.2, (x2 - x1) / 2, (y2 - y1) / 2)
            canvas.under.append(
                f'<path class="pin" d="M{n(x1)} {n(y1)}h{n(by)}l{n(-by)} {n(by)}z"/>'
            )
        ring = self._ring(body.box)
        parts, canvas.under = inked("".join(canvas.under)), []
        mx, my = canvas.at(body.x, body.y)
        small = body.dx * body.dy < LARGE_M2
        dx, dy, size = self.lettered.get(body.tag, (0.0, 0.0, SMALL_MM))
        text = tag(
            "g", tag("text", body.tag, x=n(mx + dx), y=n(my + dy), text_anchor="middle"),
            cls="word" if size == SMALL_MM else "tag small" if small else "tag",
        )  # fmt: skip
        return Html(ring + parts + text)

    def _ring(self, box: Area) -> str:
        x1, y1, x2, y2 = self.canvas.area(box)
        least = 2.2
        wide, tall = max(x2 - x1, least), max(y2 - y1, least)
        mx, my = (x1 + x2) / 2, (y1 + y2) / 2
        return (f'<rect class="ring" x="{n(mx - wide / 2)}" y="{n(my - tall / 2)}" '
                f'width="{n(wide)}" height="{n(tall)}"/>')  # fmt: skip

    def _pipe(self, route: Route) -> Html:
        ink = ink_of(route.service)
        points = [self.canvas.at(p[0], p[1]) for p in route.points]
        flat = [p for i, p in enumerate(points) if i == 0 or p != points[i - 1]]
        if len(flat) < 2:
            flat = [flat[0], (flat[0][0] + 0.01, flat[0][1])]
        line = inked(line_svg(flat, replace(ink, width_mm=min(ink.width_mm, 0.3))))
        return Html(f'<g class="line">{line}</g>')

    def html(self, box_id: str, label: str) -> Html:
        """The whole drawing with its tools."""
        pipes = [
            tag("g", svg, data_pipe=key, aria_hidden="true")
            for key, svg in self.shown.pipes.items()
        ]
        machines = [
            tag("g", svg, data_machine=t, data_drag=True, data_act="pick", data_value=t,
                role="button", tabindex=0, aria_label=self.shown.labels[t])
            for t, svg in self.shown.machines.items()
        ]  # fmt: skip
        size = f"0 0 {n(FIELD_MM[0])} {n(FIELD_MM[1])}"
        per, unit = PER_UNIT[self.units]
        body: list[Child] = [tag("g", self.ground, aria_hidden="true"), pipes, machines]
        svg = tag(
            "svg", body, viewBox=size, data_size=size, role="group", aria_label=label,
            data_metre=n(self.canvas.mm(1.0)), data_turned="yes" if self.canvas.turned else None,
            data_per=f"{per:.6f}", data_unit=unit,
        )  # fmt: skip
        tools = tag(
            "div",
            [
                tag("button", sign, type="button", data_zoom=by,
                    aria_label=self.t(f"drawing.{key}"))
                for key, sign, by in (
                    ("nearer", "+", "1.3"), ("farther", "−", "0.77"), ("whole", "▢", "0"),
                )
            ],
            cls="tools", role="group", aria_label=self.t("drawing.tools"),
        )  # fmt: skip
        shape = f"aspect-ratio:{n(FIELD_MM[0])}/{n(FIELD_MM[1])}"
        return tag("div", svg, tools, cls="drawing plan", id=box_id, style=shape,
                   data_sum=hashlib.sha256(size.encode()).hexdigest()[:16])  # fmt: skip
