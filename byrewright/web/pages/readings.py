"""Readings: a file of an instrument with its trace and verdicts, then what may be wrong."""

from __future__ import annotations

import asyncio
import tempfile
from collections import OrderedDict
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from fastapi import FastAPI, Request
from fastapi.responses import RedirectResponse, Response
from nicegui import ui

from byrewright.errors import ByrewrightError
from byrewright.results import Result
from byrewright.site.alarms import new_uid
from byrewright.site.checks.measured import log_stamp, owner_of
from byrewright.site.log import New, log_of
from byrewright.site.readings.beside import map_beside, picture_of, read_beside
from byrewright.site.readings.keep import keep_news, known_in, news_of
from byrewright.standards.diagnosis import COMPLAINTS
from byrewright.standards.rulebook import Rulebook
from byrewright.web.answers import Job, Stopped
from byrewright.web.figures import Line, draw, figure_table, timeline
from byrewright.web.folder import NotServed, Opened
from byrewright.web.frame import (
    Live,
    Site,
    Visit,
    findings,
    finish,
    later,
    plant_page,
    progress,
    say,
    trouble,
    visit,
)
from byrewright.web.markup import Child, join, table, tag
from byrewright.web.texts import Texts
from byrewright.web.view import View

KEY = "readings"
KEPT = 20
"""Files looked at that are kept for their pages; what should stay goes into the log."""
SUFFIXES = (".csv", ".txt", ".xlsx")
UNITS = {"power": "kW", "current": "A", "milk_flow": "kg/min", "tank_temperature": "degC",
         "wash_return_temperature": "degC", "wash_return_conductivity": "mS/cm"}  # fmt: skip


@dataclass
class Looked:
    """A file that was looked at: what it says, its traces, the readings it gives, or why not."""

    slug: str
    name: str
    problem: str = ""
    result: Result | None = None
    lines: list[Line] = field(default_factory=list)
    taken: list[Any] = field(default_factory=list)
    news: list[New] = field(default_factory=list)
    said: str = ""
    """What came of entering it, or that the log holds it already."""
    kept: bool = False


_LOOKED: OrderedDict[str, Looked] = OrderedDict()


def register(site: Site) -> None:
    """Add the page and what takes a file."""
    site.pages.append(KEY)

    @ui.page("/p/{slug}/readings")
    def readings(request: Request, slug: str) -> None:
        said = tuple(c for c in request.query_params.getlist("says") if c in COMPLAINTS)
        plant_page(site, request, slug, KEY, lambda v: ReadingsView(v, said).build())

    def take(app: FastAPI) -> None:
        @app.post("/p/{slug}/readings/file")
        async def enter(request: Request, slug: str) -> Response:
            """Take a file, work it out, and show it."""
            try:
                opened = site.folder.open(slug)
            except NotServed:
                return Response(status_code=404)
            t = visit(site, request).t
            form = await request.form()
            sent: Any = form.get("file")
            name = Path(str(getattr(sent, "filename", "") or "")).name
            if not opened.sound or not name:
                return RedirectResponse(f"/p/{slug}/readings", 303)
            data = await sent.read()
            looked = await asyncio.to_thread(_looked, t, opened, slug, name, data)
            token = new_uid()
            _LOOKED[token] = looked
            while len(_LOOKED) > KEPT:
                _LOOKED.popitem(last=False)
            return RedirectResponse(f"/p/{slug}/readings?seen={token}", 303)

        @app.post("/p/{slug}/readings/keep")
        async def keep(request: Request, slug: str) -> Response:
            """Enter what a file told in the log."""
            try:
                opened = site.folder.open(slug)
            except NotServed:
                return Response(status_code=404)
            form = await request.form()
            token, who = (str(form.get(k) or "") for k in ("seen", "who"))
            looked = _LOOKED.get(token)
            if not opened.sound or looked is None or looked.slug != slug:
                return RedirectResponse(f"/p/{slug}/readings", 303)
            t = visit(site, request).t
            await asyncio.to_thread(_keep, t, opened, looked, who)
            return RedirectResponse(f"/p/{slug}/readings?seen={token}", 303)

    site.routes.append(take)


def _keep(t: Texts, opened: Opened, looked: Looked, who: str) -> None:
    log = log_of(opened.path, owner_of(opened.plant))
    try:
        count = keep_news(log, looked.news, who)
        looked.said, looked.kept = t("readings.kept", count=count), True
    except ByrewrightError as error:
        looked.said = str(error)
    finally:
        log.close()


def _known(opened: Opened, news: list[New]) -> str:
    log = log_of(opened.path, owner_of(opened.plant))
    try:
        return known_in(log, news) if log.home.identity() is not None else ""
    finally:
        log.close()


def _looked(t: Texts, opened: Opened, slug: str, name: str, data: bytes) -> Looked:
    from byrewright.site.checks.predicted import predicted_of
    from byrewright.site.condition.taken import of_figures
    from byrewright.site.readings.study import worked_out

    rules = opened.rules or Rulebook()
    try:
        if not name.casefold().endswith(SUFFIXES):
            raise ByrewrightError(t("readings.no_kind", name=name, kinds=", ".join(SUFFIXES)))
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / name
            path.write_bytes(data)
            read = read_beside(opened.path, [path])
            predicted = predicted_of(opened.plant, rules)
            result, figures = worked_out(opened.plant, rules, read, predicted)
            news = news_of(read, figures)
            known = _known(opened, news)
    except ByrewrightError as error:
        return Looked(slug, name, str(error).replace(str(opened.path.parent), "").strip("/"))
    lines = []
    for one in (r for f in read for r in f.readings):
        times, values = picture_of(one)
        unit = UNITS.get(one.channel.quantity, "kPa")
        lines.append(Line(f"{one.where}, {one.heading}", unit, times, values))
    return Looked(slug, name, "", result, lines, list(of_figures(figures)), news, known,
                  bool(known))  # fmt: skip


class ReadingsView(View):
    """One visitor's look at readings."""

    def __init__(self, v: Visit, said: tuple[str, ...]) -> None:
        super().__init__(v)
        self.said = said
        seen = _LOOKED.get(v.query.get("seen", ""))
        self.looked = seen if seen is not None and seen.slug == self.opened.slug else None

    def build(self) -> None:
        """The page's body."""
        t = self.v.t
        ui.html(tag("h1", t("readings.title")), sanitize=False)
        ui.html(tag("p", t("readings.lead")), sanitize=False)
        ui.html(join([self._form()]), sanitize=False)
        if self.looked is not None:
            self._file(self.looked)
        ui.html(join([self._ask()]), sanitize=False)
        self.live = Live(self._live, {"stop": self.on_stop})
        if self.said or self.looked is not None or "ask" in self.v.query:
            later(self.load)

    async def load(self) -> None:
        """Ask what may be wrong."""
        taken = list(self.looked.taken) if self.looked is not None else []
        key = ("diagnose", self.opened.key, self.said, log_stamp(self.opened.path),
               tuple(t.reading for t in taken))  # fmt: skip
        self.job = self.v.site.answers.ask(key, lambda job: self._causes(job, taken), long=True)
        await finish(self.job, lambda _: self.live.draw())
        self.live.draw()

    def _causes(self, job: Job, taken: list[Any]) -> Result:
        from byrewright.site.condition.causes import diagnose
        from byrewright.site.condition.study import diagnosis_result
        from byrewright.site.condition.taken import of_log

        def tell(what: str, done: int, total: int) -> bool:
            job.say(what, done, total)
            return job.cancel.is_set()

        every = [*of_log(self.opened.path, self.opened.plant), *taken]
        rules = self.opened.rules or Rulebook()
        try:
            found = diagnose(self.opened.plant, self.said, [t.reading for t in every], rules, tell)
        except ByrewrightError:
            if job.cancel.is_set():
                raise Stopped from None
            raise
        return diagnosis_result(self.opened.plant.site.name, found, self.said, every)

    # parts -----------------------------------------------------------------------------------

    def _form(self) -> Child:
        t = self.v.t
        try:
            plan = map_beside(self.opened.path)
        except ByrewrightError:
            return say(t("readings.no_map"))
        rows: list[list[Child]] = [
            [name, ", ".join(kind.matches), heading, channel.quantity.replace("_", " "),
             channel.at, channel.unit]
            for name, kind in plan.files.items() for heading, channel in kind.channels.items()
        ]  # fmt: skip
        head = [t(f"readings.{h}") for h in ("kind", "names", "column", "is", "at", "unit")]
        send = tag(
            "form",
            tag("label", t("readings.file"), for_="file"),
            tag("input", type="file", name="file", id="file", required=True,
                accept=",".join(SUFFIXES)),
            tag("button", t("readings.send"), type="submit", id="send"),
            method="post", enctype="multipart/form-data", action=self.v.link("readings/file"),
            cls="row no-print",
        )  # fmt: skip
        return [
            send, tag("details", tag("summary", t("readings.map")), table(head, rows)),
        ]  # fmt: skip

    def _file(self, one: Looked) -> None:
        t = self.v.t
        ui.html(tag("h2", one.name), sanitize=False)
        if one.problem or one.result is None:
            ui.html(say(one.problem, "bad"), sanitize=False)
            return
        for line in one.lines:
            draw(timeline(self.v, line.name, [line], t("readings.seconds")))
        open_ones = [f for f in one.result.findings if f.verdict != "holds"]
        parts = [findings(self.v, open_ones, t("readings.holds"))]
        parts += [figure_table(self.v, x) for x in one.result.tables if x.rows]
        ui.html(tag("div", *parts, self._keep(one)), sanitize=False)

    def _keep(self, one: Looked) -> Child:
        """Who took the readings, and the way into the log; what came of it."""
        t = self.v.t
        told = say(one.said, "" if one.kept else "bad") if one.said else None
        if one.kept or not one.news:
            return told
        inner = [
            tag("input", type="hidden", name="seen", value=self.v.query.get("seen", "")),
            tag("label", t("readings.who"), tag("input", name="who", autocomplete="name",
                                                required=True)),
            tag("button", t("readings.keep"), type="submit", id="keep", cls="main"),
            tag("p", t("readings.no_clock"), cls="small quiet")
            if any("clock" in n.body for n in one.news) else None,
        ]  # fmt: skip
        form = tag("form", inner, method="post", action=self.v.link("readings/keep"),
                   cls="row no-print")  # fmt: skip
        return [told, form]

    def _ask(self) -> Child:
        t = self.v.t
        boxes: list[Child] = [
            tag("label", tag("input", type="checkbox", name="says", value=name,
                             checked=name in self.said), " ", words.words)
            for name, words in COMPLAINTS.items()
        ]  # fmt: skip
        seen = self.v.query.get("seen", "") if self.looked is not None else ""
        hidden = tag("input", type="hidden", name="seen", value=seen) if seen else None
        return tag(
            "form",
            tag("h2", t("readings.wrong")),
            tag("fieldset", tag("legend", t("readings.says")), *boxes),
            hidden,
            tag("input", type="hidden", name="ask", value="1"),
            tag("button", t("readings.ask"), type="submit", id="ask"),
            method="get", action=self.v.link("readings"), cls="gap no-print",
        )  # fmt: skip

    def _live(self) -> Child:
        t = self.v.t
        if self.job is None:
            return None
        if self.job.state != "done":
            return trouble(self.job, t) if self.job.over else progress(self.job, t)
        result: Result = self.job.value
        return [
            findings(self.v, list(result.findings), ""),
            *(figure_table(self.v, x, most=12) for x in result.tables if x.rows),
            *(tag("p", note, cls="small quiet") for note in result.notes),
        ]
