"""From the brief: a form and its text, a plant drafted from it, and what that changes."""

from __future__ import annotations

import asyncio
import json
from typing import Any

from nicegui import ui

from byrewright.documents.format import prose, words
from byrewright.documents.us_units import unit_by_name
from byrewright.drafting.cores import cores
from byrewright.drafting.draft import Draft, draft_plant
from byrewright.drafting.gives import closed_draft
from byrewright.errors import ByrewrightError
from byrewright.plant.brief import Brief, BriefFile, WaterSource, read_brief_text
from byrewright.plant.edit import edit_source
from byrewright.plant.machine import Machine
from byrewright.plant.plant_id import keeping
from byrewright.plant.problems import BriefError, Problem
from byrewright.plant.source import LARGEST_BYTES, load, read_text
from byrewright.web import fields
from byrewright.web.answers import Job
from byrewright.web.changes import diff, plant_changes
from byrewright.web.folder import BRIEF_FILE, Conflict, digest_of
from byrewright.web.frame import (
    Live,
    Site,
    Visit,
    counts,
    finish,
    progress,
    say,
    trouble,
)
from byrewright.web.markup import Child, Html, table, tag
from byrewright.web.pages.edit import KEY as EDIT
from byrewright.web.pages.edit import parts_of_edit
from byrewright.web.view import View, add_page

LEFT_OUT = ("brief",)
EMPTY = "cows: 500\nyield_l_day: 28\n"
MOST_SHOWN = 300


def register(site: Site) -> None:
    """Add the page; it stands under the edit page in the index."""

    add_page(site, "brief", BriefView, key=EDIT, listed=False)


class BriefView(View):
    """One visitor's work on a brief and the plant drafted from it."""

    def __init__(self, v: Visit) -> None:
        super().__init__(v)
        self.path = v.site.folder.brief(self.opened.slug)
        try:
            self.text = read_text(self.path, BriefError) if self.path else EMPTY
        except BriefError:
            self.text = EMPTY
        self.loaded = digest_of(self.text) if self.path else ""
        self.fields = fields.fields_of(Brief, leave=LEFT_OUT)
        self.fields += fields.fields_of(WaterSource, "water_source")
        self.file: BriefFile | None = None
        self.problems: tuple[Problem, ...] = ()
        self.note: Html | None = None
        self.full = False
        self._read()

    def _read(self) -> None:
        try:
            self.file, self.problems = read_brief_text(self.text, BRIEF_FILE), ()
        except BriefError as error:
            self.file, self.problems = None, error.problems

    def build(self) -> None:
        """The page's body."""
        t = self.v.t
        ui.html(tag("h1", t("edit.title")), sanitize=False)
        ui.html(parts_of_edit(self.v, "from_brief"), sanitize=False)
        ui.html(tag("p", t("brief.lead")), sanitize=False)
        with ui.element("div").classes("half gap"):
            with ui.element("div"):
                self.form = Live(self._form, {"field": self.on_field})
                self.words = Live(self._words, {"text": self.on_text})
            acts = {
                "draft": self.on_draft,
                "full": self.on_full,
                "stop": self.on_stop,
                "again": self.on_again,
                "save": self.on_save,
                "save_brief": self.on_save_brief,
            }
            self.side = Live(self._side, acts)

    def _data(self) -> Any:
        try:
            return load(self.text, BRIEF_FILE, BriefError, EMPTY).data
        except BriefError:
            return {}

    # parts -----------------------------------------------------------------------------------

    def _form(self) -> Child:
        data = self._data()
        inputs = [
            fields.draw(f, fields.stated(data, f.key), self.v.t, self.v.units, self.problems)
            for f in self.fields
        ]
        return tag("div", inputs, cls="inputs")

    def _words(self) -> Child:
        t = self.v.t
        return [
            tag("h2", tag("label", t("brief.text"), for_="brief-text")),
            tag("p", t("brief.text_lead"), cls="quiet small"),
            tag(
                "textarea",
                self.text,
                id="brief-text",
                cls="code",
                data_input="text",
                spellcheck="false",
                maxlength=LARGEST_BYTES,
            ),
        ]

    def _side(self) -> Child:
        t = self.v.t
        busy = self.job is not None and not self.job.over
        buttons = [
            tag(
                "button",
                t("brief.draft"),
                type="button",
                data_act="draft",
                id="draft",
                cls="main",
                disabled=self.file is None or busy,
            ),
            tag(
                "button",
                t("brief.full"),
                type="button",
                data_act="full",
                id="full",
                disabled=self.file is None or busy,
            ),
            tag(
                "button",
                t("brief.save_brief"),
                type="button",
                data_act="save_brief",
                id="save_brief",
                disabled=self.file is None or digest_of(self.text) == self.loaded,
            ),
        ]
        parts: list[Child] = [tag("div", buttons, cls="row no-print"), self.note]
        for one in self.problems:
            line = t("broken.line", line=one.line) if one.line else ""
            parts.append(
                say(
                    [tag("b", line), " ", tag("span", one.key, cls="mono"), " ", one.sentence],
                    "bad",
                )
            )
        if self.job is not None:
            if busy:
                parts.append(progress(self.job, t))
            elif self.job.state != "done":
                parts.append(trouble(self.job, t))
            else:
                parts += self._drafted(self.job.value)
        elif self.file is not None and self.file.assumptions:
            head = [t("brief.assumed"), t("brief.value"), t("brief.why")]
            rows = [
                [a.meaning, self.v.number(a.value, a.unit), a.why] for a in self.file.assumptions
            ]
            parts.append(tag("div", table(head, rows, caption=t("brief.assumptions")), cls="gap"))
        return parts

    def _drafted(self, draft: Draft) -> list[Child]:
        t = self.v.t
        plant = draft.plant
        parts: list[Child] = [
            tag(
                "h2",
                t(
                    "brief.drafted",
                    machines=len(plant.equipment),
                    pipes=len(plant.pipes),
                    modes=len(plant.modes),
                ),
            ),
            counts(draft.sizing, t),
        ]
        bad = draft.open or [f for f in draft.sizing.findings if f.verdict == "fails"]
        if bad:
            rows_ = [tag("li", prose(f.sentence)) for f in bad]
            parts.append(say([tag("b", t("brief.fails", count=len(bad))), tag("ul", rows_)], "bad"))
        if draft.gives:
            rows_ = [tag("li", prose(words)) for words in draft.gives]
            parts.append(say([tag("b", t("brief.gives")), tag("ul", rows_)]))
        if draft.held_by and not draft.open:
            parts.append(say(t("brief.all_hold"), "good"))
        if draft.unjudged:
            rows_ = [tag("li", prose(f.sentence)) for f in draft.unjudged]
            said = t("brief.unjudged", count=len(rows_))
            parts.append(say([tag("b", said), tag("ul", rows_)]))
        if draft.text == self.opened.text:
            return [*parts, say(t("brief.same"), "good")]
        found = plant_changes(self.opened.plant, plant)
        head = [t("brief.where"), t("brief.what"), t("brief.before"), t("brief.after")]
        rows = [
            [
                tag("b", c.where),
                words(c.field),
                *(
                    self._value(x, unit_by_name(c.field, c.unit, self.v.units))
                    for x in (c.old, c.new)
                ),
            ]
            for c in found
        ]
        if not self.full:
            now = plant.equipment
            before = [n for n, one in self.opened.plant.equipment.items() if _sensed(one)]
            lost = sum(n in now and not _sensed(now[n]) for n in before)
            told = tag("div", tag("b", t("brief.unsensed", count=lost))) if lost else None
            parts.append(say([t("brief.sizing_alone"), told]))
        parts.append(
            tag(
                "p",
                tag(
                    "button", t("brief.save"), type="button", data_act="save", id="save", cls="main"
                ),
            )
        )
        parts.append(tag("p", t("brief.replaces"), cls="quiet small"))
        if rows:
            parts.append(
                table(head, rows[:MOST_SHOWN], caption=t("brief.changes", count=len(rows)))
            )
        lines = diff(self.opened.text, draft.text)
        parts.append(tag("details", tag("summary", t("brief.lines")), tag("div", lines, cls="in")))
        return parts

    def _value(self, value: float | str | None, unit: str) -> str:
        return self.v.t("brief.none") if value is None else self.v.number(value, unit)

    # what a visitor does ---------------------------------------------------------------------

    def on_field(self, value: str, key: str) -> None:
        """A line of the form; the text follows."""
        field = next((f for f in self.fields if f.key == key), None)
        if field is None:
            return
        try:
            source = load(self.text, BRIEF_FILE, BriefError, EMPTY)
            parsed = fields.parse(field, value)
            if fields.stated(source.data, key) == value.strip():
                return
            self.text = edit_source(source, {key: parsed})
        except BriefError as error:
            self.problems = error.problems
        except ByrewrightError as error:
            self.note = say(str(error), "bad")
        self._changed()
        self.words.draw()

    def on_text(self, value: str, _: str) -> None:
        """The text itself; the form follows."""
        self.text = value
        self._changed()
        self.form.draw()

    def _changed(self) -> None:
        if self.job is not None:
            self.job.leave()
        self.job, self.note = None, None
        self._read()
        self.side.draw()
        told = {}
        for field in self.fields:
            wrong = [
                p for p in self.problems if p.key == field.key or p.key.startswith(f"{field.key}.")
            ]
            told[f"field-{field.key.replace('.', '-')}"] = " ".join(p.sentence for p in wrong)
        ui.run_javascript(f"byre.wrong({json.dumps(told)})")

    async def on_draft(self, _: str, __: str) -> None:
        """Draft the plant by sizing alone."""
        await self._draft(full=False)

    async def on_full(self, _: str, __: str) -> None:
        """Draft the plant and hold it to every study."""
        await self._draft(full=True)

    async def on_again(self, _: str, __: str) -> None:
        """Begin again what was stopped."""
        await self._draft(full=self.full)

    async def _draft(self, full: bool) -> None:
        file, self.full = self.file, full
        if file is None:
            return
        rules = self.opened.rules
        file = keeping(file, self.opened.plant)
        key = (
            "full" if full else "draft",
            digest_of(self.text),
            self.opened.others,
            self.opened.digest,
        )

        def work(job: Job) -> Draft:
            job.say("draft")
            if not full:
                return draft_plant(file, rules)
            return closed_draft(file, rules, say=job.say, many=cores())

        self.job = job = self.v.site.answers.ask(key, work, long=True)
        self.side.draw()
        await finish(job)
        if job is self.job:
            self.side.draw()

    def on_stop(self, _: str, __: str) -> None:
        """Let the drafting go; its answer is not waited for any longer."""
        if self.job is not None:
            self.job.leave()
        self.job, self.note = None, say(self.v.t("work.stopped"))
        self.side.draw()

    async def on_save(self, _: str, __: str) -> None:
        """Save the drafted plant in place of the plant file."""
        if self.job is None or self.job.state != "done":
            return
        folder = self.v.site.folder
        try:
            await asyncio.to_thread(
                folder.save, self.opened.slug, self.job.value.text, self.opened.digest
            )
        except Conflict as error:
            self.note = tag(
                "div",
                say([tag("b", self.v.t("edit.conflict")), " ", self.v.t("brief.conflict")], "bad"),
                diff(self.opened.text, error.theirs),
            )
            self.opened = await asyncio.to_thread(folder.open, self.opened.slug)
        except (ByrewrightError, OSError) as error:
            self.note = say(self.v.t("edit.not_saved", why=str(error)), "bad")
        else:
            self.opened = await asyncio.to_thread(folder.open, self.opened.slug)
            state = json.dumps(folder.state_of(self.opened.slug))
            ui.run_javascript(f"byreLive.known({state})")
            self.note = say(self.v.t("edit.saved"), "good")
        self.side.draw()

    async def on_save_brief(self, _: str, __: str) -> None:
        """Save the brief beside the plant."""
        folder = self.v.site.folder
        try:
            await asyncio.to_thread(folder.save_brief, self.opened.slug, self.text, self.loaded)
        except Conflict as error:
            self.note = tag(
                "div",
                say([tag("b", self.v.t("edit.conflict")), " ", self.v.t("brief.conflict")], "bad"),
                diff(self.text, error.theirs),
            )
            self.loaded = digest_of(error.theirs)
        except (ByrewrightError, OSError) as error:
            self.note = say(self.v.t("edit.not_saved", why=str(error)), "bad")
        else:
            self.loaded = digest_of(self.text)
            self.note = say(self.v.t("brief.brief_saved"), "good")
        self.side.draw()


def _sensed(machine: Machine) -> bool:
    return bool(getattr(machine, "sensed", False))
