"""Machine figures: checks while typing, undo, what differs before saving, no lost change."""

from __future__ import annotations

import asyncio
import contextlib
import json
from dataclasses import replace
from typing import Any

from nicegui import ui

from byrewright.documents.format import prose
from byrewright.errors import ByrewrightError
from byrewright.plant.edit import REMOVE, edit_plant
from byrewright.plant.plant import Pipe
from byrewright.plant.problems import FileProblems, Problem
from byrewright.plant.read import PlantFile, read_plant_text
from byrewright.results import Result
from byrewright.web import fields
from byrewright.web.changes import diff, verdict_changes
from byrewright.web.folder import Conflict, Opened, digest_of
from byrewright.web.frame import Live, Site, Visit, finish, later, mark, say
from byrewright.web.markup import Child, Html, tag
from byrewright.web.view import View, add_page

KEY = "edit"
FIXED = ("id", "kind")
PIPE_FIELDS_LEFT = ("id", "start", "end")
MOST_SHOWN = 20


def register(site: Site) -> None:
    """Add the page."""
    add_page(site, KEY, EditView)


def parts_of_edit(v: Visit, now: str) -> Html:
    """The two ways to change a plant."""
    return tag(
        "div",
        [
            tag(
                "a",
                v.t(f"edit.{key}"),
                href=v.link(path),
                cls="button",
                aria_current="page" if key == now else None,
            )
            for key, path in (("figures", "edit"), ("from_brief", "brief"))
        ],
        cls="row no-print ways",
    )


class EditView(View):
    """One visitor's changes to a plant file, not saved until asked for."""

    def __init__(self, v: Visit) -> None:
        super().__init__(v)
        self.take(self.opened)
        self.past: list[dict[str, Any]] = []
        self.changes: dict[str, Any] = {}
        self.pick = v.query.get("pick", "") or next(iter(self.file.plant.equipment), "")
        if not self._fields():
            self.pick = next(iter(self.file.plant.equipment), "")
        self.text = self.file.text
        self.problems: tuple[Problem, ...] = ()
        self.message: Html | None = None
        self.sizing: Result | None = None
        self.theirs: Opened | None = None
        self.offered: dict[str, str] = {}
        self.turn = 0
        self.fresh: PlantFile | None = None

    def take(self, opened: Opened) -> None:
        """Start from a state of the file."""
        assert opened.file is not None
        self.opened = opened
        self.file: PlantFile = opened.file

    def build(self) -> None:
        """The page's body."""
        t = self.v.t
        ui.html(tag("h1", t("edit.title")), sanitize=False)
        ui.html(parts_of_edit(self.v, "figures"), sanitize=False)
        ui.html(tag("p", t("edit.lead")), sanitize=False)
        back = {"put_back": self.on_put_back, "forget": self.on_forget}
        self.offer = Live(self._offer, back, cls="offer")  # in view wherever the page is scrolled
        with ui.element("div").classes("half gap"):
            with ui.element("div"):
                self.form = Live(self._form, {"pick": self.on_pick, "field": self.on_field})
            acts = {
                "undo": self.on_undo,
                "undo_one": self.on_undo_one,
                "save": self.on_save,
                "mine_on_theirs": self.on_mine_on_theirs,
                "drop": self.on_drop,
            }
            self.side = Live(self._side, acts)
        ui.element("div").props(f'data-keep="{self.opened.slug}" hidden')
        later(self.begin)

    async def begin(self) -> None:
        """Offer back what was typed in this browser and not saved; then size the plant."""
        slug = json.dumps(self.opened.slug)
        with contextlib.suppress(TimeoutError):
            typed = await ui.run_javascript(f"return byreKeep.before({slug})", timeout=5)
            known = typed if isinstance(typed, dict) else {}
            self.offered = {
                str(k): str(x)[:200] for k, x in known.items() if str(x).strip() != self._in_file(k)
            }
            if self.offered:
                self.offer.draw()
            elif known:
                self._keep()
        await self.size()

    def _keep(self) -> None:
        """What is typed and not saved, as this browser keeps it."""
        typed = {k: self._stated(k) for k in self.changes}
        slug = json.dumps(self.opened.slug)
        ui.run_javascript(f"byreKeep.write({slug}, {json.dumps(typed)})")

    # parts -----------------------------------------------------------------------------------

    def _fields(self) -> list[fields.Field]:
        kind, _, name = self.pick.partition(" ")
        if kind == "pipe" and any(p.id == name for p in self.file.plant.pipes):
            return fields.fields_of(Pipe, f"pipes.{name}", PIPE_FIELDS_LEFT)
        machine = self.file.plant.equipment.get(self.pick)
        return fields.fields_of(type(machine), f"equipment.{self.pick}", FIXED) if machine else []

    def _stated(self, key: str) -> str:
        if key in self.changes:
            value = self.changes[key]
            return "" if value is REMOVE else fields.stated({"x": value}, "x")
        return self._in_file(key)

    def _in_file(self, key: str) -> str:
        data = self.file.source.data
        section, _, rest = key.partition(".")
        if section == "pipes":
            name, _, field = rest.partition(".")
            one: Any = next((p for p in data["pipes"] if str(p.get("id")) == name), {})
            return fields.stated(one, field)
        return fields.stated(data, key)

    def _form(self) -> Child:
        t, plant = self.v.t, self.file.plant
        machines = [
            tag("option", f"{m.id} {m.title}", value=m.id, selected=m.id == self.pick)
            for m in plant.equipment.values()
        ]
        pipes = [
            tag(
                "option",
                f"{p.id} {p.start} > {p.end}",
                value=f"pipe {p.id}",
                selected=self.pick == f"pipe {p.id}",
            )
            for p in plant.pipes
        ]
        pick = tag(
            "div",
            tag("label", t("edit.which"), for_="which"),
            tag(
                "select",
                tag("optgroup", machines, label=t("edit.machines")),
                tag("optgroup", pipes, label=t("edit.pipes")),
                id="which",
                data_change="pick",
            ),
            cls="field",
        )
        inputs = [
            fields.draw(f, self._stated(f.key), t, self.v.units, self.problems)
            for f in self._fields()
        ]
        return [pick, tag("div", inputs, cls="inputs gap")]

    def _side(self) -> Child:
        t = self.v.t
        parts: list[Child] = [self.message]
        if self.theirs is not None:
            return [*parts, self._conflict(self.theirs)]
        changed = bool(self.changes)
        buttons = [
            tag(
                "button",
                t("edit.undo"),
                type="button",
                data_act="undo",
                id="undo",
                disabled=not self.past,
            ),
            tag(
                "button",
                t("edit.save"),
                type="button",
                data_act="save",
                id="save",
                cls="main unsaved",
                disabled=not changed or bool(self.problems),
            ),
        ]
        parts += [tag("h2", t("edit.differs")), tag("div", buttons, cls="row no-print")]
        if not changed:
            return [*parts, tag("p", t("edit.nothing"), cls="quiet gap")]
        for one in self.problems:
            parts.append(
                say(
                    [
                        tag("b", one.key, cls="mono"),
                        " ",
                        one.sentence,
                        tag("div", one.repair, cls="small quiet"),
                    ],
                    "bad",
                )
            )
        parts.append(tag("ul", [self._undo(key) for key in self.changes], cls="plain"))
        if not self.problems:
            parts.append(self._verdicts())
        parts.append(diff(self.file.text, self.text))
        return parts

    def _undo(self, key: str) -> Html:
        """One changed figure, and the button that takes it back."""
        t, value = self.v.t, self.changes[key]
        now = t("edit.not_stated") if value is REMOVE else fields.stated({"x": value}, "x")
        was = self._in_file(key) or t("edit.not_stated")
        label = t("edit.undo_one", what=key.partition(".")[2])
        button = tag(
            "button", t("edit.undo"), type="button", data_act="undo_one", data_value=key,
            aria_label=label, id=f"undo-{key.replace('.', '-')}",
        )  # fmt: skip
        words_ = tag("span", key.partition(".")[2], cls="mono"), " ", was, " > ", tag("b", now)
        return tag("li", tag("span", words_), button, cls="undo")

    def _offer(self) -> Child:
        """Figures that were typed in this browser and never saved."""
        t = self.v.t
        if not self.offered:
            return None
        rows = [
            tag("li", tag("span", key.partition(".")[2], cls="mono"), " ", value)
            for key, value in self.offered.items()
        ]
        buttons = [
            tag("button", t("edit.put_back"), type="button", data_act="put_back", cls="main",
                id="put_back"),
            tag("button", t("edit.forget"), type="button", data_act="forget", id="forget"),
        ]  # fmt: skip
        return say([tag("b", t("edit.typed_before")), tag("ul", rows),
                    tag("div", buttons, cls="row")])  # fmt: skip

    def _verdicts(self) -> Child:
        t = self.v.t
        before = self.v.site.answers.study("sizing", self.opened)
        if self.sizing is None or before.state != "done":
            return tag("p", t("work.sizing"), cls="quiet gap")
        found = verdict_changes(before.value, self.sizing)
        if not found:
            return say(t("edit.same_verdicts"), "good")
        rows = [
            tag(
                "li",
                mark(was, t) if was else t("edit.new"),
                " > ",
                mark(now, t) if now else t("edit.gone"),
                " ",
                prose(text),
            )
            for text, was, now in found[:MOST_SHOWN]
        ]
        return [tag("h3", t("edit.verdicts", count=len(found))), tag("ul", rows, cls="plain")]

    def _conflict(self, theirs: Opened) -> Child:
        t = self.v.t
        return [
            say([tag("b", t("edit.conflict")), " ", t("edit.conflict_lead")], "bad"),
            tag("h2", t("edit.theirs")),
            diff(self.file.text, theirs.text),
            tag("h2", t("edit.mine")),
            diff(self.file.text, self.text),
            tag(
                "div",
                tag(
                    "button",
                    t("edit.mine_on_theirs"),
                    type="button",
                    data_act="mine_on_theirs",
                    id="mine_on_theirs",
                    cls="main",
                    disabled=not theirs.sound,
                ),
                tag("button", t("edit.drop"), type="button", data_act="drop", id="drop"),
                cls="row gap",
            ),
        ]

    # what a visitor does ---------------------------------------------------------------------

    def on_pick(self, value: str, _: str) -> None:
        """Another machine or pipe."""
        self.pick = value
        self.form.draw()
        ui.navigate.history.replace(self.v.link(KEY, pick=value))

    async def on_field(self, value: str, key: str) -> None:
        """A figure typed: changed, checked, and shown."""
        field = next((f for f in self._fields() if f.key == key), None)
        if field is None:
            return
        if self.offered.pop(key, None) is not None:  # what is typed now wins
            self.offer.draw()
        changes = dict(self.changes)
        parsed = fields.parse(field, value)
        file_says = fields.stated({"x": parsed}, "x") if parsed is not REMOVE else ""
        self.changes.pop(key, None)
        was = self._stated(key)
        if file_says != was:
            self.changes[key] = parsed
        if self.changes == changes:
            return
        self.past.append(changes)
        await self.check()

    async def on_undo(self, _: str, __: str) -> None:
        """The last change back."""
        if self.past:
            self.changes = self.past.pop()
            self.form.draw()
            await self.check()

    async def on_undo_one(self, key: str, _: str) -> None:
        """One figure back to what the file says."""
        if key in self.changes:
            self.past.append(dict(self.changes))
            del self.changes[key]
            self.form.draw()
            await self.check()

    async def on_put_back(self, _: str, __: str) -> None:
        """What was typed before is typed again."""
        pick, self.past = self.pick, [*self.past, dict(self.changes)]
        for key, value in self.offered.items():
            self.pick = self._owner(key)
            field = next((f for f in self._fields() if f.key == key), None)
            if field is not None:
                self.changes[key] = fields.parse(field, value)
                pick = self.pick
        self.pick, self.offered = pick, {}
        self.offer.draw()
        self.form.draw()
        await self.check()

    def on_forget(self, _: str, __: str) -> None:
        """What was typed before is not wanted any more."""
        self.offered = {}
        self._keep()
        self.offer.draw()

    @staticmethod
    def _owner(key: str) -> str:
        section, _, rest = key.partition(".")
        name = rest.partition(".")[0]
        return f"pipe {name}" if section == "pipes" else name

    async def check(self) -> None:
        """Read the changed text as a file is read, and size it."""
        self.turn += 1
        turn = self.turn
        self.message, self.sizing = None, None
        problems = await asyncio.to_thread(self._read)
        if turn != self.turn:
            return
        self.problems = problems
        self.side.draw()
        self._tell()
        if not self.offered:
            self._keep()
        if not problems and self.changes:
            await self.size()

    def _read(self) -> tuple[Problem, ...]:
        self.fresh = None
        try:
            self.text = edit_plant(self.file, self.changes, mark_reasons=True)
            fresh = read_plant_text(self.text, self.file.name, self.opened.rules)
            fresh.sound()
            self.fresh = fresh
        except FileProblems as error:
            return error.problems
        except ByrewrightError as error:
            self.message = say(str(error), "bad")
            return ()
        return ()

    def _tell(self) -> None:
        """Put what is wrong beside its field, without drawing the field anew under the typist."""
        told = {}
        for field in self._fields():
            wrong = [p for p in self.problems if p.key == field.key]
            told[f"field-{field.key.replace('.', '-')}"] = " ".join(p.sentence for p in wrong)
        ui.run_javascript(f"byre.wrong({json.dumps(told)})")

    async def size(self) -> None:
        """Size the changed plant, and say which verdicts are others."""
        answers = self.v.site.answers
        await finish(answers.study("sizing", self.opened))
        fresh = self.fresh
        if not self.changes or fresh is None:
            return
        turn = self.turn
        made = replace(
            self.opened, text=self.text, digest=digest_of(self.text), file=fresh, problems=()
        )
        job = await finish(answers.study("sizing", made))
        if turn == self.turn and job.state == "done":
            self.sizing = job.value
            self.side.draw()

    async def on_save(self, _: str, __: str) -> None:
        """Save, unless somebody else saved meanwhile."""
        if not self.changes or self.problems:
            return
        folder = self.v.site.folder
        try:
            await asyncio.to_thread(folder.save, self.opened.slug, self.text, self.opened.digest)
        except Conflict:
            self.theirs = await asyncio.to_thread(folder.open, self.opened.slug)
            self.side.draw()
            return
        except (ByrewrightError, OSError) as error:
            self.message = say(self.v.t("edit.not_saved", why=str(error)), "bad")
            self.side.draw()
            return
        self.take(await asyncio.to_thread(folder.open, self.opened.slug))
        self._fresh_start()
        self.message = say(self.v.t("edit.saved"), "good")
        self.side.draw()
        self._keep()
        state = json.dumps(self.v.site.folder.state_of(self.opened.slug))
        ui.run_javascript(f"byreLive.known({state})")

    async def on_mine_on_theirs(self, _: str, __: str) -> None:
        """Put the own changes on the other's file, to be looked over and saved."""
        theirs, mine = self.theirs, dict(self.changes)
        if theirs is None or theirs.file is None:
            return
        self.take(theirs)
        self._fresh_start()
        self.changes = mine
        await self.check()
        self.message = say(self.v.t("edit.look_over"))
        self.form.draw()
        self.side.draw()

    def on_drop(self, _: str, __: str) -> None:
        """Leave the own changes and go on from the other's file."""
        if self.theirs is not None and self.theirs.file is not None:
            self.take(self.theirs)
        self._fresh_start()
        self.form.draw()
        self.side.draw()

    def _fresh_start(self) -> None:
        self.changes, self.past, self.problems, self.theirs = {}, [], (), None
        self.text, self.sizing = self.file.text, None
