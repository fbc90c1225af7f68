"""Failures: ranked, as a matrix, and each on the drawing and on its timeline."""

from __future__ import annotations

from typing import Any

from nicegui import ui

from byrewright.documents.format import prose, words
from byrewright.documents.shapes import Layout
from byrewright.documents.sheets import pipe_sheets
from byrewright.results import Result, Table
from byrewright.web import drawing
from byrewright.web.answers import Share, drawn, failure_trace, laid_out, sheets
from byrewright.web.figures import Line, draw, figure_table, timeline
from byrewright.web.frame import (
    Live,
    Site,
    Visit,
    counts,
    findings,
    finish,
    later,
    progress,
    say,
    trouble,
)
from byrewright.web.markup import Child, tag
from byrewright.web.view import View, add_page

KEY = "failures"
BOX = "failure-drawing"
VIEWS = ("ranked", "matrix", "findings")
MOST_FIRST = 40
RANKED = ("failure", "milking", "worst moment", "last cow later by", "milk lost",
          "times in milking", "hours lost")  # fmt: skip
MOMENTS = ("moment", "cows in the next hour", "least vacuum", "warmest milk in store",
           "first milk lost after", "milk lost", "last cow later by")  # fmt: skip


def register(site: Site) -> None:
    """Add the page."""
    add_page(site, KEY, FailuresView)


class FailuresView(View):
    """One visitor's view of a plant's failures."""

    def __init__(self, v: Visit) -> None:
        super().__init__(v)
        self.view = v.query.get("view", "") if v.query.get("view") in VIEWS else VIEWS[0]
        self.pick = v.query.get("pick", "")
        self.moment = v.query.get("moment", "")
        self.every = False
        self.result: Result | None = None
        self.tracing: Share | None = None
        self.laid: Layout | None = None
        self.sheet = ""

    def build(self) -> None:
        """The page's body."""
        acts = {
            "view": self.on_view,
            "stop": self.on_stop,
            "again": self.on_again,
            "pick": self.on_pick,
            "all": self.on_all,
        }
        with ui.element("div").classes("half pickfirst"):
            self.list = Live(self._list, acts)
            with ui.element("div"):
                self.one = Live(self._one, {"moment": self.on_moment, "unpick": self.on_unpick})
                self.picture = Live(self._picture, {})
                self.charts = ui.element("div")
        later(self.load)

    async def load(self) -> None:
        """Ask the study."""
        self.job = self.v.site.answers.study("failures", self.opened)
        self.list.draw()
        await finish(self.job, lambda _: self.list.draw())
        self.result = self.job.value if self.job.state == "done" else None
        self.list.draw()
        if self.pick:
            await self.show()

    # parts -----------------------------------------------------------------------------------

    def _list(self) -> Child:
        t = self.v.t
        parts: list[Child] = [tag("h1", t("failing.title")), tag("p", t("failing.lead"))]
        if self.result is None:
            if self.job is not None:
                failed = self.job.over and self.job.state != "done"
                parts.append(trouble(self.job, t) if failed else progress(self.job, t))
            return parts
        views = [
            tag("button", t(f"failing.{view}"), type="button", data_act="view", data_value=view,
                aria_pressed="true" if view == self.view else "false", id=f"view-{view}")
            for view in VIEWS
        ]  # fmt: skip
        parts += [counts(self.result, t), tag("div", views, cls="choice no-print")]
        notes = [tag("p", note, cls="small quiet") for note in self.result.notes]
        if self.view == "findings":
            parts.append(findings(self.v, list(self.result.findings), t("plant.all_holds")))
            parts += [figure_table(self.v, x) for x in self.result.tables if x.key not in TOLD]
            return parts + notes
        one = self.result.table(f"failures.{self.view}")
        columns = RANKED if self.view == "ranked" else None
        most = None if self.every else MOST_FIRST
        parts.append(figure_table(self.v, one, self._button, most, columns))
        if most is not None and len(one.rows) > most:
            parts.append(tag("button", t("failing.all"), type="button", data_act="all", id="all"))
        return parts + notes

    def _button(self, name: str) -> Child:
        return tag("button", name, type="button", data_act="pick", data_value=name,
                   aria_pressed="true" if name == self.pick else "false", cls="plain",
                   id=f"pick-{name.replace(' ', '-')}")  # fmt: skip

    def _one(self) -> Child:
        t = self.v.t
        if self.result is None:
            return None
        if not self.pick:
            return tag("p", t("failing.hint"), cls="quiet")
        to_do = _rows(self.result.table("failures.to_do"), self.pick)
        if not to_do:
            return say(t("missing.title"))
        parts: list[Child] = [tag("h2", self.pick)]
        ranked = _rows(self.result.table("failures.ranked"), self.pick, 1)
        for row in ranked:
            parts.append(tag("p", t("failing.stands", how=row[2])))
        for row in to_do:
            parts += [
                tag("h3", t("failing.seen")), tag("p", _sentence(str(row[1]))),
                tag("h3", t("failing.do")), tag("p", _sentence(str(row[2]))),
            ]  # fmt: skip
        moments = self.result.table("failures.moments")
        mine = tuple(r for r in moments.rows if r[0] == self.pick)
        if mine:
            own = Table(moments.key, t("failing.moments"), moments.columns, moments.units, mine)
            parts.append(figure_table(self.v, own, columns=MOMENTS))
        parts.append(self._traced())
        close = tag("button", t("failing.unpick"), type="button", data_act="unpick", id="unpick")
        return tag("div", parts, tag("p", close, cls="no-print"))

    def _traced(self) -> Child:
        t, job = self.v.t, self.tracing
        if job is None:
            return None
        if not job.over:
            return say(t("failing.tracing"))
        if job.state != "done":
            return [say(t("failing.not_simulated")), trouble(job, t)]
        one = job.value
        options = [tag("option", m, value=m, selected=m == one.moment) for m in one.moments]
        select = tag("select", options, id="moment", data_change="moment")
        label = tag("label", t("failing.moment"), for_="moment")
        pick = tag("div", label, select, cls="field")
        hours = self.v.number(one.repair_h, "h")
        at = t("failing.trace_at", clock=one.at, moment=one.moment, hours=hours)
        return [tag("h3", t("failing.trace")), pick, tag("p", at)]

    def _picture(self) -> Child:
        if self.laid is None or not self.pick:
            return None
        title = next(
            s.title for s in sheets(self.v.site.answers, self.opened) if s.key == self.sheet
        )
        label = self.v.t("failing.drawing", sheet=title)
        made = drawn(self.v, self.laid, self.sheet, BOX, label)
        return [tag("p", label, cls="small quiet"), made]

    # what a visitor does ---------------------------------------------------------------------

    async def show(self) -> None:
        """The picked failure: facts, drawing, timeline."""
        self.charts.clear()
        self.tracing = None
        assert self.result is not None
        if not _rows(self.result.table("failures.to_do"), self.pick):
            self.one.draw()
            return
        answers = self.v.site.answers
        self.tracing = job = failure_trace(answers, self.opened, self.pick, self.moment)
        self.one.draw()
        await self._find()
        await finish(job)
        if job is not self.tracing:
            return
        self.one.draw()
        if job.state == "done":
            from byrewright.studies.failures.trace import BASE

            with self.charts:
                for one in job.value.series:
                    lines = [
                        Line(words(n), u, one.x, y, beside=n == BASE, strong=n != BASE)
                        for n, u, y in one.lines
                    ]
                    draw(timeline(self.v, one.title, lines, self.v.t("failing.hours")))

    async def _find(self) -> None:
        """The sheet that shows the machine, with it marked."""
        machine = self.pick.split(" ")[0]
        plant = self.opened.plant
        if machine not in plant.equipment:
            self.laid = None
            self.picture.draw()
            return
        home = pipe_sheets(plant)
        shown = [home[p.id] for p in plant.pipes_at(machine)] or ["power"]
        have = [s.key for s in sheets(self.v.site.answers, self.opened)]
        self.sheet = next((s for s in shown if s in have), have[0])
        job = await finish(laid_out(self.v.site.answers, self.opened, self.sheet, self.v.units))
        self.laid = job.value if job.state == "done" else None
        self.picture.draw()
        marks: dict[str, Any] = {"picked": [f"machine {machine}"]}
        ui.run_javascript(drawing.script(BOX, marks))

    def remember(self) -> None:
        """Put the state into the address."""
        link = self.v.link(KEY, view=self.view, pick=self.pick, moment=self.moment)
        ui.navigate.history.replace(link)

    def on_view(self, value: str, _: str) -> None:
        """Ranked, matrix or findings."""
        self.view = value if value in VIEWS else VIEWS[0]
        self.list.draw()
        self.remember()

    def on_all(self, _: str, __: str) -> None:
        """Every row."""
        self.every = True
        self.list.draw()

    async def on_pick(self, value: str, _: str) -> None:
        """A failure."""
        self.pick, self.moment = value, ""
        self.list.draw()
        self.remember()
        ui.run_javascript("byre.top()")
        await self.show()

    def on_unpick(self, _: str, __: str) -> None:
        """Nothing picked any more."""
        self.pick, self.tracing, self.laid = "", None, None
        self.charts.clear()
        self.list.draw()
        self.one.draw()
        self.picture.draw()
        self.remember()

    async def on_moment(self, value: str, _: str) -> None:
        """Another bad moment."""
        self.moment = value
        self.remember()
        await self.show()

    async def on_again(self, _: str, __: str) -> None:
        """Begin again what was stopped."""
        await self.load()


TOLD = frozenset({"failures.ranked", "failures.matrix", "failures.to_do", "failures.moments"})
"""Tables that the other views show."""


def _rows(table: Table, name: str, column: int = 0) -> list[tuple[float | str, ...]]:
    return [r for r in table.rows if r[column] == name]


def _sentence(text: str) -> str:
    return prose(text[:1].upper() + text[1:])
