"""The plant by service: pick a machine or pipe, pick a mode, turn a valve by hand."""

from __future__ import annotations

import asyncio
import json
from typing import Any

from nicegui import ui

from byrewright.documents.format import words
from byrewright.documents.shapes import Layout
from byrewright.plant.machine import Machine
from byrewright.plant.plant import Pipe
from byrewright.results import Result
from byrewright.studies.routes.turn import FLUIDS, Turned, choices
from byrewright.studies.routes.words import said
from byrewright.web import drawing
from byrewright.web.answers import drawn, flows, laid_out, sheets
from byrewright.web.frame import (
    Live,
    Site,
    Visit,
    counts,
    findings,
    finish,
    later,
    say,
    trouble,
)
from byrewright.web.markup import Child, Html, tag
from byrewright.web.pages.finder import find_field, found_by, machine_list, sheet_of_pick
from byrewright.web.pages.machine import about_machine, about_pipe
from byrewright.web.view import View, add_page

BOX = "plant-drawing"
KEY = "plant"
DRAWN_AS = {
    "milk": {"milk"},
    "withheld": {"milk"},
    "wash": {"wash"},
    "water": {"water", "wash"},
    "vacuum": {"vacuum"},
}
"""Services in whose pipes a fluid is shown; it can be chosen on the sheets that draw them."""


def register(site: Site) -> None:
    """Add the page."""
    add_page(site, KEY, PlantView)


class PlantView(View):
    """One visitor's view: which sheet, which mode, what is picked, what is turned by hand."""

    def __init__(self, v: Visit) -> None:
        super().__init__(v)
        self.plant = self.opened.plant
        self.sheets = sheets(v.site.answers, self.opened)
        keys = [s.key for s in self.sheets]
        asked = v.query.get("sheet", "")
        self.sheet = asked if asked in keys else keys[0]
        self.mode = v.query.get("mode", "") if v.query.get("mode") in self.plant.modes else ""
        self.fluid = v.query.get("fluid", "")
        self.pick = v.query.get("pick", "") if self._exists(v.query.get("pick", "")) else ""
        self.turned = dict(self._turned(v.query.get("turn", "")))
        self.now: Turned | None = None
        self.laid: Layout | None = None
        self.sizing: Result | None = None
        self.note: Html | None = None

    def _exists(self, pick: str) -> bool:
        kind, _, tag_ = pick.partition(" ")
        if kind == "machine":
            return tag_ in self.plant.equipment
        return kind == "pipe" and any(p.id == tag_ for p in self.plant.pipes)

    def _turned(self, text: str) -> Any:
        for part in text.split(","):
            machine, _, position = part.partition(":")
            if machine in self.plant.equipment and position in choices(self.plant, machine):
                yield machine, position

    # building --------------------------------------------------------------------------------

    def build(self) -> None:
        """The page's body."""
        sizing, laid = self._jobs()
        if sizing.state == "done":
            self.sizing = sizing.value
        if laid.state == "done":
            self.laid = laid.value
        self.head = Live(
            self._head,
            {
                "sheet": self.on_sheet,
                "mode": self.on_mode,
                "fluid": self.on_fluid,
                "find": self.on_find,
            },
        )
        with ui.element("div").classes("two gap"):
            with ui.element("div"):
                self.picture = Live(self._picture, {"pick": self.on_pick})
            acts = {"turn": self.on_turn, "back": self.on_back, "unpick": self.on_unpick}
            self.side = Live(self._side, acts, "side")
        later(self.load)

    def _jobs(self) -> tuple[Any, Any]:
        answers = self.v.site.answers
        return answers.study("sizing", self.opened), laid_out(
            answers, self.opened, self.sheet, self.v.units
        )

    async def load(self) -> None:
        """Fill in what was not ready when the page was sent."""
        sizing, laid = self._jobs()
        fresh = self.laid is None
        await finish(laid)
        if laid.state == "done":
            self.laid = laid.value
        else:
            self.note = trouble(laid, self.v.t)
        if fresh:
            self.picture.draw()
        await self.flow()
        await finish(sizing)
        if sizing.state == "done":
            self.sizing = sizing.value
        else:
            self.note = trouble(sizing, self.v.t)
        self.head.draw()
        self.side.draw()

    async def flow(self) -> None:
        """Work out where fluids go now, and show it."""
        self.now = None
        if self.mode:
            now: Turned = await asyncio.to_thread(
                flows, self.v.site.answers, self.opened, self.mode, dict(self.turned)
            )
            self.now = now
            have = self._fluids(now)
            if self.fluid not in have:
                self.fluid = have[0] if have else ""
        self.head.draw()
        self.side.draw()
        self.show()
        self.remember()

    def _fluids(self, now: Turned) -> list[str]:
        sheet = next(s for s in self.sheets if s.key == self.sheet)
        moving = {w.fluid for w in now.ways}
        return [f for f in FLUIDS if f in moving and DRAWN_AS[f] & set(sheet.services)]

    def show(self) -> None:
        """Put the marks on the drawing."""
        if self.laid is None:
            return
        marks: dict[str, Any] = {"picked": [self.pick] if self.pick else []}
        wanted: dict[str, str | None] = dict.fromkeys(self.plant.equipment)
        if self.mode:
            wanted = {m: self.plant.position(self.mode, m) for m in self.plant.equipment}
        marks["turned"] = [f"machine {m}" for m in self.turned] if self.mode else []
        stand = {**wanted, **(self.turned if self.mode else {})}
        marks["symbols"] = drawing.positions(self.laid, stand)
        marks["labels"] = drawing.labels(self.plant, self.laid, stand, self.v.t)
        if self.sizing is not None:
            bad = {f.subject for f in self.sizing.findings if f.verdict == "fails"}
            marks["fails"] = [f"machine {m}" for m in bad if m in self.plant.equipment]
        way = self.now.way(self.fluid) if self.now else None
        if way is not None:
            marks |= {"flows": True, **drawing.flow_marks(way)}
        if self.now is not None:
            subjects = {subject for _, subject in self.now.harms}
            reached = way.pipes if way else frozenset()
            marks["hurt"] = [
                f"key {one.key}"
                for one in self.laid.placed
                if one.machine in subjects
                and (">" not in one.key or one.key.partition(">")[2] in reached)
            ]
        ui.run_javascript(drawing.script(BOX, marks))

    def remember(self) -> None:
        """Put the state into the address, so that it can be kept or sent on."""
        turned = ",".join(f"{m}:{p}" for m, p in self.turned.items())
        ui.navigate.history.replace(
            self.v.link(
                KEY,
                sheet=self.sheet,
                mode=self.mode,
                fluid=self.fluid if self.mode else "",
                pick=self.pick,
                turn=turned,
            )
        )

    # parts -----------------------------------------------------------------------------------

    def _head(self) -> Child:
        t = self.v.t
        sheets = tag(
            "fieldset",
            tag("legend", t("plant.sheet"), cls="unseen"),
            tag(
                "div",
                [
                    tag(
                        "button",
                        s.title,
                        type="button",
                        data_act="sheet",
                        data_value=s.key,
                        aria_pressed="true" if s.key == self.sheet else "false",
                        id=f"sheet-{s.key}",
                    )
                    for s in self.sheets
                ],
                cls="choice",
            ),
        )
        modes = tag(
            "div",
            tag("label", t("plant.mode"), for_="mode"),
            tag(
                "select",
                tag("option", t("plant.no_mode"), value=""),
                [
                    tag("option", words(m), value=m, selected=m == self.mode)
                    for m in self.plant.modes
                ],
                id="mode",
                data_change="mode",
            ),
            cls="field",
        )
        fluid = None
        have = self._fluids(self.now) if self.now is not None else []
        if have:
            fluid = tag(
                "div",
                tag("label", t("plant.fluid"), for_="fluid"),
                tag(
                    "select",
                    [
                        tag("option", t(f"fluid.{f}"), value=f, selected=f == self.fluid)
                        for f in FLUIDS
                        if f in have
                    ],
                    id="fluid",
                    data_change="fluid",
                ),
                cls="field",
            )
        summary = counts(self.sizing, t) if self.sizing else None
        return [
            tag("h1", t("plant.title")),
            summary,
            tag("div", find_field(self.plant, t), sheets, modes, fluid, cls="row no-print"),
        ]

    def _picture(self) -> Child:
        t = self.v.t
        if self.laid is None:
            return tag(
                "div",
                tag("p", t("plant.drawing_soon")),
                cls="drawing",
                id=BOX,
                style="padding:20px",
            )
        sheet = next(s for s in self.sheets if s.key == self.sheet)
        services = self.laid.services or ("power",)
        return [
            drawn(self.v, self.laid, self.sheet, BOX, t("plant.drawing", sheet=sheet.title)),
            drawing.legend(services, t),
            machine_list(self.plant, self.laid, t),
            [tag("p", note, cls="small quiet") for note in self.laid.notes],
        ]

    def _side(self) -> Child:
        t = self.v.t
        parts: list[Child] = [self.note, self._harms()]
        kind, _, name = self.pick.partition(" ")
        if kind == "machine":
            parts += self._machine(self.plant.equipment[name])
        elif kind == "pipe":
            parts += self._pipe(next(p for p in self.plant.pipes if p.id == name))
        else:
            parts.append(tag("p", t("plant.hint"), cls="quiet"))
            if self.sizing is None:
                parts.append(tag("p", t("work.sizing")))
            else:
                open_ones = [f for f in self.sizing.findings if f.verdict != "holds"]
                parts += [
                    tag("h2", t("plant.to_look_at")),
                    findings(self.v, open_ones, t("plant.all_holds")),
                ]
        return parts

    def _harms(self) -> Child:
        t = self.v.t
        if self.now is None:
            return None
        parts: list[Child] = []
        for machine, position in self.turned.items():
            parts.append(tag("li", t("plant.turned", machine=machine, position=said(position))))
        turned = tag("ul", parts) if parts else None
        back = (
            tag("button", t("plant.back"), type="button", data_act="back", id="back")
            if parts
            else None
        )
        unsolved = [tag("p", x, cls="small quiet") for x in self.now.unsolved]
        if not self.now.harms:
            good = say(t("plant.no_harm", mode=words(self.mode)), "good")
            return tag(
                "section",
                tag("h2", t("plant.goes", mode=words(self.mode))),
                turned,
                good,
                self._ends(),
                unsolved,
                back,
            )
        told = [
            say(
                [tag("b", harm.title), " ", tag("span", subject, cls="mono"), tag("div", harm.do)],
                "bad",
            )
            for harm, subject in self.now.harms
        ]
        return tag(
            "section",
            tag("h2", t("plant.goes", mode=words(self.mode))),
            turned,
            told,
            self._ends(),
            unsolved,
            back,
        )

    def _ends(self) -> Child:
        t = self.v.t
        assert self.now is not None
        way = self.now.way(self.fluid)
        if way is None:
            return tag("p", t("plant.no_fluid"), cls="quiet")
        ends = [
            m
            for m in self.plant.equipment
            if m in way.machines and _ends_in(self.plant.equipment[m])
        ]
        text = t(
            "plant.reaches",
            fluid=t(f"fluid.{self.fluid}"),
            ends=", ".join(ends) or t("plant.nowhere"),
        )
        return tag("p", text)

    def _machine(self, machine: Machine) -> list[Child]:
        t = self.v.t
        close = tag("button", t("plant.unpick"), type="button", data_act="unpick", id="unpick")
        parts: list[Child] = [tag("h2", f"{machine.id} {machine.title}")]
        options = choices(self.plant, machine.id)
        if options and self.mode:
            now = self.turned.get(machine.id) or self.plant.position(self.mode, machine.id)
            parts.append(
                tag(
                    "fieldset",
                    tag("legend", t("plant.turn")),
                    tag(
                        "div",
                        [
                            tag(
                                "button",
                                said(o),
                                type="button",
                                data_act="turn",
                                data_value=f"{machine.id}:{o}",
                                aria_pressed="true" if o == now else "false",
                                id=f"turn-{o}",
                            )
                            for o in options
                        ],
                        cls="choice",
                    ),
                    cls="gap",
                )
            )
        elif options:
            parts.append(tag("p", t("plant.turn_needs_mode"), cls="quiet small"))
        parts += about_machine(self.v, machine, self.sizing, self.mode)
        return [*parts, close]

    def _pipe(self, pipe: Pipe) -> list[Child]:
        close = tag(
            "button", self.v.t("plant.unpick"), type="button", data_act="unpick", id="unpick"
        )
        return [*about_pipe(self.v, pipe, self.sizing), close]

    # what a visitor does ---------------------------------------------------------------------

    async def on_sheet(self, value: str, _: str) -> None:
        """Another sheet."""
        self.sheet, self.laid = value, None
        laid = laid_out(self.v.site.answers, self.opened, value, self.v.units)
        await finish(laid)
        self.laid = laid.value
        self.picture.draw()
        await self.flow()

    async def on_mode(self, value: str, _: str) -> None:
        """Another mode; what was turned by hand goes back."""
        self.mode = value if value in self.plant.modes else ""
        self.turned.clear()
        self.fluid = ""
        await self.flow()

    async def on_fluid(self, value: str, _: str) -> None:
        """The way of another fluid."""
        self.fluid = value
        await self.flow()

    def on_pick(self, value: str, _: str) -> None:
        """A machine or pipe."""
        if self._exists(value):
            self.pick = "" if value == self.pick else value
            self.side.draw()
            self.show()
            self.remember()
            if self.pick:
                ui.run_javascript("byre.into('.side')")

    async def on_find(self, value: str, _: str) -> None:
        """A tag typed: picked, on the sheet that shows it, and brought near."""
        found = found_by(self.plant, value)
        missing = value and not found
        self.note = say(self.v.t("plant.not_found", tag=value), "bad") if missing else None
        if not found:
            self.side.draw()
            return
        self.pick = found
        sheet = sheet_of_pick(self.plant, found, [s.key for s in self.sheets], self.sheet)
        if sheet != self.sheet:
            self.sheet, self.laid = sheet, None
            await self.load()
        self.head.draw()
        self.side.draw()
        self.show()
        self.remember()
        ui.run_javascript(f"byre.near({json.dumps(BOX)}, {json.dumps(found)})")

    def on_unpick(self, _: str, __: str) -> None:
        """Nothing picked any more."""
        self.on_pick(self.pick, "")

    async def on_turn(self, value: str, _: str) -> None:
        """A machine turned by hand."""
        machine, _, position = value.partition(":")
        if machine not in self.plant.equipment or position not in choices(self.plant, machine):
            return
        if position == self.plant.position(self.mode, machine):
            self.turned.pop(machine, None)
        else:
            self.turned[machine] = position
        await self.flow()

    async def on_back(self, _: str, __: str) -> None:
        """Everything back to what the mode wants."""
        self.turned.clear()
        await self.flow()


def _ends_in(machine: Machine) -> bool:
    """Whether it is named as a place that a fluid comes to."""
    return any(
        machine.can(c)
        for c in (
            "stores milk",
            "is a drain",
            "gives wash",
            "holds milk",
            "makes vacuum",
            "is an outlet for milk",
        )
    )
