"""The plan: a machine is moved, or its place typed; only its own pipes change."""

from __future__ import annotations

import asyncio
import json
from collections.abc import Mapping
from typing import Any

from nicegui import ui

from byrewright.documents.format import quantity
from byrewright.errors import ByrewrightError
from byrewright.plant.pinning import place_of, with_places
from byrewright.plant.place import MachinePlace
from byrewright.plant.plant import Plant
from byrewright.plant.read import PlantFile, read_plant_text
from byrewright.standards.units import UnitError, parse_quantity
from byrewright.web.answers import Placed, placed
from byrewright.web.changes import diff
from byrewright.web.folder import Conflict
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
from byrewright.web.plan_view import PER_UNIT, PlanView
from byrewright.web.view import View, add_page

KEY = "place"
BOX = "place-drawing"
SIDES = ("n", "e", "s", "w")
LEAST_M = 0.005
Moves = dict[str, dict[str, Any]]
"""What is changed of machines' places, by tag; None takes a key out of the file."""


def register(site: Site) -> None:
    """Add the page."""
    add_page(site, KEY, PlaceView)


class PlaceView(View):
    """One visitor's plan: what is moved and not saved, what is picked, and the plan's answer."""

    def __init__(self, v: Visit) -> None:
        super().__init__(v)
        assert self.opened.file is not None
        self.file: PlantFile = self.opened.file
        self.moves: Moves = {}
        self.past: list[Moves] = []
        self.before: Placed | None = None
        self.now: Placed | None = None
        self.view: PlanView | None = None
        self.pick = v.query.get("pick", "")
        self.message: Html | None = None
        self.wrong: dict[str, str] = {}
        self.turn = 0

    def build(self) -> None:
        """The page's body."""
        t = self.v.t
        ui.html(tag("h1", t("place.title")), sanitize=False)
        ui.html(tag("p", t("place.lead")), sanitize=False)
        acts = {"pick": self.on_pick, "move": self.on_move}
        with ui.element("div").classes("two gap"):
            with ui.element("div"):
                self.picture = Live(self._picture, acts)
            self.side = Live(
                self._side,
                {
                    "choose": self.on_choose,
                    "east": self.on_typed,
                    "north": self.on_typed,
                    "faces": self.on_faces,
                    "free": self.on_free,
                    "undo": self.on_undo,
                    "save": self.on_save,
                },
                "side",
            )
        later(self.load)

    async def load(self) -> None:
        """Lay the centre out, and show it."""
        job = await finish(placed(self.v.site.answers, self.opened))
        if job.state != "done":
            self.message = trouble(job, self.v.t)
            self.side.draw()
            return
        self.before = self.now = job.value
        assert self.now is not None
        self.view = PlanView(self.opened.plant, self.now.made, self.v.t, self.v.units)
        if self.pick not in self.now.made.plan.bodies:
            self.pick = ""
        self.picture.draw()
        self.side.draw()
        self._mark(near=True)

    # parts -----------------------------------------------------------------------------------

    def _picture(self) -> Child:
        t = self.v.t
        if self.view is None:
            return tag("div", tag("p", t("plant.drawing_soon")), cls="drawing", id=f"{BOX}-soon",
                       style="padding:20px")  # fmt: skip
        step = tag("p", id="place-step", cls="quiet", aria_live="off")
        move = tag("input", type="hidden", id="place-move", data_change="move")
        return [self.view.html(BOX, t("place.drawing")), step, move]

    def _side(self) -> Child:
        t = self.v.t
        if self.now is None:
            return self.message or tag("p", t("work.begins"))
        buttons = [
            tag("button", t("edit.undo"), type="button", data_act="undo", id="undo",
                disabled=not self.past),
            tag("button", t("edit.save"), type="button", data_act="save", id="save",
                cls="main unsaved", disabled=not self.moves),
        ]  # fmt: skip
        parts: list[Child] = [self.message, self._picked(),
                              tag("div", buttons, cls="row no-print gap")]  # fmt: skip
        if self.moves:
            parts.append(tag("ul", [tag("li", self._told(m)) for m in self.moves], cls="plain"))
        result = self.now.result
        open_ones = [f for f in result.findings if f.verdict != "holds"]
        parts += [
            tag("h2", t("plant.to_look_at")),
            counts(result, t),
            findings(self.v, open_ones, t("plant.all_holds")),
        ]
        if self.moves:
            parts.append(diff(self.file.text, self._text()))
        return parts

    def _picked(self) -> Child:
        t, now = self.v.t, self.now
        assert now is not None
        bodies = now.made.plan.bodies
        choose = tag(
            "div",
            tag("label", t("place.which"), for_="which"),
            tag(
                "select",
                tag("option", t("place.none"), value="", selected=not self.pick),
                [
                    tag("option", f"{m} {self.opened.plant.equipment[m].title}", value=m,
                        selected=m == self.pick)
                    for m in sorted(bodies)
                ],
                id="which", data_change="choose",
            ),
            cls="field",
        )  # fmt: skip
        body = bodies.get(self.pick)
        if body is None:
            return [choose, tag("p", t("place.hint"), cls="quiet")]
        per, unit = PER_UNIT[self.v.units]
        fields = [
            tag(
                "div",
                tag("label", t(f"place.{axis}"), tag("span", f" ({unit})", cls="quiet"),
                    for_=f"at-{axis}"),
                tag("input", type="text", inputmode="decimal", id=f"at-{axis}", data_change=axis,
                    value=f"{value * per:.2f}", autocomplete="off", maxlength=20,
                    aria_describedby=f"at-{axis}-wrong",
                    aria_invalid="true" if axis in self.wrong else "false"),
                tag("div", self.wrong.get(axis), id=f"at-{axis}-wrong", cls="wrong",
                    aria_live="polite"),
                cls="field",
            )
            for axis, value in (("east", body.x), ("north", body.y))
        ]  # fmt: skip
        faces = tag(
            "div",
            tag("label", t("place.faces"), for_="faces"),
            tag("select", [tag("option", t(f"place.side.{s}"), value=s, selected=s == body.turn)
                           for s in SIDES], id="faces", data_change="faces"),
            cls="field",
        )  # fmt: skip
        free = tag("button", t("place.free"), type="button", data_act="free", id="free",
                   disabled=not body.pinned)  # fmt: skip
        by = t("place.by_hand" if body.pinned else "place.by_plan")
        return [choose, tag("p", by, cls="small quiet"), fields, faces, tag("p", free),
                self._pipes()]  # fmt: skip

    def _pipes(self) -> Child:
        """The picked machine's own pipes: how long, and how long they were in the file's plan."""
        t, now, before = self.v.t, self.now, self.before
        assert now is not None and before is not None
        rows = []
        for route in now.made.routes:
            if self.pick not in {e.partition(".")[0] for e in route.ends}:
                continue
            long, was = (
                sum(one.made.laid[p].length_m for p in route.lines if p in one.made.laid)
                for one in (now, before)
            )
            text = self.v.number(round(long, 2), "m")
            if abs(was - long) > LEAST_M:
                text = f"{self.v.number(round(was, 2), 'm')} > {text}"
            rows.append(tag("li", tag("b", ", ".join(route.lines)), f" {text}"))
        return [tag("h2", t("place.pipes")), tag("ul", rows, cls="plain small", id="own-pipes")]

    def _told(self, machine: str) -> str:
        now = self.now
        assert now is not None
        body = now.made.plan.bodies[machine]
        east, north = (quantity(round(c, 2), "m", self.v.units) for c in (body.x, body.y))
        return self.v.t("place.moved", tag=machine, east=east, north=north,
                        faces=self.v.t(f"place.side.{body.turn}"))  # fmt: skip

    # what a visitor does ---------------------------------------------------------------------

    def on_choose(self, value: str, _: str) -> None:
        """A machine out of the list: it is brought into view."""
        self.on_pick(value, "near")

    def on_pick(self, value: str, how: str) -> None:
        """Another machine."""
        self.pick, self.wrong = value, {}
        self.side.draw()
        self._mark(near=how == "near")
        ui.navigate.history.replace(self.v.link(KEY, pick=value))

    async def on_move(self, value: str, _: str) -> None:
        """A machine dragged, or moved by keys: by so many metres."""
        words = value.split()
        if self.now is None or len(words) != 3 or words[0] not in self.now.made.plan.bodies:
            return
        try:
            east, north = float(words[1]), float(words[2])
        except ValueError:
            return
        body = self.now.made.plan.bodies[words[0]]
        self.pick, self.wrong = words[0], {}
        await self.move(words[0], body.x + east, body.y + north, body.turn)

    async def on_typed(self, value: str, _: str) -> None:
        """A place typed, in the visitor's unit or with a unit of its own."""
        if self.now is None or self.pick not in self.now.made.plan.bodies:
            return
        body = self.now.made.plan.bodies[self.pick]
        typed = await ui.run_javascript(
            "return ['at-east','at-north'].map(i=>document.getElementById(i)?.value||'')"
        )
        found: dict[str, float] = {}
        per, unit = PER_UNIT[self.v.units]
        self.wrong = {}
        for axis, text, here in zip(("east", "north"), typed, (body.x, body.y), strict=True):
            try:
                plain = str(text).strip().replace(",", ".")
                bare = plain.lstrip("+-").replace(".", "", 1).isdigit()
                metres = parse_quantity(f"{plain} {unit}" if bare else plain, "m")
                same = f"{here * per:.2f}" == plain
                found[axis] = here if same else metres
            except UnitError as error:
                self.wrong[axis] = str(error)
        if self.wrong:
            self.side.draw()
            return
        await self.move(self.pick, found["east"], found["north"], body.turn)

    async def on_faces(self, value: str, _: str) -> None:
        """The side that its service space faces."""
        if self.now is None or self.pick not in self.now.made.plan.bodies or value not in SIDES:
            return
        body = self.now.made.plan.bodies[self.pick]
        await self.move(self.pick, body.x, body.y, value)

    async def move(self, machine: str, x: float, y: float, faces: str) -> None:
        """Put a machine somewhere."""
        assert self.now is not None
        body = self.now.made.plan.bodies[machine]
        if abs(body.x - x) < LEAST_M and abs(body.y - y) < LEAST_M and faces == body.turn:
            self._put(self.view.shown if self.view else None)
            return
        new = place_of(body, x, y, body.z, faces)  # type: ignore[arg-type]
        stated = self.file.plant.place.machines.get(machine) if self.file.plant.place else None
        if "on" not in new and (stated is None or stated.at is None or len(stated.at) < 3):
            new["at"] = new["at"][:2]  # its level is left to the plan
        if (
            faces == body.turn
            and machine not in self.moves
            and (stated is None or stated.turn is None)
        ):
            del new["turn"]
        self.past.append(dict(self.moves))
        self.moves = {**self.moves, machine: {**self.moves.get(machine, {}), **new}}
        await self.answer()

    async def on_free(self, _: str, __: str) -> None:
        """Leave a machine's place to the plan again."""
        if self.now is None or self.pick not in self.now.made.plan.bodies:
            return
        self.past.append(dict(self.moves))
        self.moves = {**self.moves, self.pick: {"at": None, "turn": None, "on": None}}
        await self.answer()

    async def on_undo(self, _: str, __: str) -> None:
        """The last move back."""
        if self.past:
            self.moves = self.past.pop()
            await self.answer()

    async def answer(self) -> None:
        """Lay the plan with the moves, and show what they changed."""
        self.turn += 1
        turn, moves = self.turn, dict(self.moves)
        plant, rules = moved(self.file.plant, moves), self.opened.rules
        found = await asyncio.to_thread(Placed.of, plant, rules)
        if turn != self.turn or self.view is None:
            return
        self.now, self.message = found, None
        self.wrong = {}
        old, self.view.shown = self.view.shown, self.view.draw(found.made)
        self._put(old)
        self.side.draw()
        self._mark()

    def _put(self, old: Any) -> None:
        """Draw anew what is otherwise than it stands on the screen."""
        if self.view is None or old is None:
            return
        made = {**self.view.shown.changed(old), "turn": self.turn}
        ui.run_javascript(f"byrePlace.put({json.dumps(BOX)},{json.dumps(made)})")

    def _mark(self, near: bool = False) -> None:
        told = f"{json.dumps(BOX)},{json.dumps(self.pick)},{json.dumps(near)}"
        ui.run_javascript(f"byrePlace.pick({told})")

    def _text(self) -> str:
        return with_places(self.file, self.moves)

    async def on_save(self, _: str, __: str) -> None:
        """Write the places into the file, unless somebody else saved meanwhile."""
        if not self.moves:
            return
        t, folder = self.v.t, self.v.site.folder
        try:
            text = self._text()
            await asyncio.to_thread(lambda: read_plant_text(text, self.file.name).sound())
            await asyncio.to_thread(folder.save, self.opened.slug, text, self.opened.digest)
        except Conflict:
            theirs = await asyncio.to_thread(folder.open, self.opened.slug)
            self.message = say(t("place.conflict"), "bad")
            if theirs.sound and theirs.file is not None:
                self.opened, self.file = theirs, theirs.file
                have = theirs.plant.equipment
                self.moves = {m: one for m, one in self.moves.items() if m in have}
                self.past = []
                message = self.message
                await self.answer()
                self.message = message
            self.side.draw()
            return
        except (ByrewrightError, OSError) as error:
            self.message = say(t("edit.not_saved", why=str(error)), "bad")
            self.side.draw()
            return
        opened = await asyncio.to_thread(folder.open, self.opened.slug)
        assert opened.file is not None
        self.opened, self.file = opened, opened.file
        self.moves, self.past, self.before = {}, [], self.now
        self.message = say(t("edit.saved"), "good")
        self.side.draw()
        state = json.dumps(folder.state_of(self.opened.slug))
        ui.run_javascript(f"byreLive.known({state})")


def moved(plant: Plant, moves: Mapping[str, Mapping[str, Any]]) -> Plant:
    """The plant with some machines' places changed."""
    from byrewright.plant.sited import with_place

    plant = with_place(plant)
    assert plant.place is not None
    machines = dict(plant.place.machines)
    for machine, one in moves.items():
        old = machines.get(machine, MachinePlace())
        data = old.model_dump(exclude_unset=True) | dict(one)
        kept = {k: v for k, v in data.items() if v is not None}
        if kept:
            machines[machine] = MachinePlace.model_validate(kept)
        else:
            machines.pop(machine, None)
    place = plant.place.model_copy(update={"machines": machines})
    return plant.model_copy(update={"place": place})
