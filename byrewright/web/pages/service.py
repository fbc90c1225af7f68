"""Service: what is due, the visits, the parts to bring, trends; what was done is entered here."""

from __future__ import annotations

import asyncio
from collections.abc import Sequence
from datetime import date
from typing import Any

from fastapi import FastAPI
from fastapi.responses import Response
from nicegui import ui

from byrewright.documents.trend_picture import trend_svg
from byrewright.documents.us_units import result_in
from byrewright.documents.us_words import text_in
from byrewright.errors import ByrewrightError
from byrewright.results import Table
from byrewright.site.checks.measured import log_stamp, owner_of
from byrewright.site.log import Entry, Log, log_of
from byrewright.site.upkeep.due import date_of
from byrewright.site.upkeep.forecast import Worn
from byrewright.site.upkeep.plan import Plan, calendar_of, enter, interval, plan_of
from byrewright.site.upkeep.trends import needs_checks
from byrewright.site.upkeep.year import year_of
from byrewright.standards.rulebook import default_rulebook
from byrewright.web.answers import Share
from byrewright.web.folder import NotServed, Opened
from byrewright.web.frame import (
    Live,
    Site,
    Visit,
    finish,
    later,
    progress,
    say,
    trouble,
)
from byrewright.web.look import inked
from byrewright.web.markup import Child, Html, table, tag
from byrewright.web.view import View, add_page

KEY = "service"
LOOK_S = 3.0
CALENDAR = "text/calendar; charset=utf-8"
MOST = 40
FEW, FOLDED = 6, 3
FIRST = ("service.visits", "service.kit")


def register(site: Site) -> None:
    """Add the page and the calendar."""
    add_page(site, KEY, ServiceView)

    def calendar(app: FastAPI) -> None:
        @app.get("/p/{slug}/service/visits.ics")
        async def visits(slug: str) -> Response:
            """The visits for a calendar program."""
            try:
                opened = site.folder.open(slug)
            except NotServed:
                return Response(status_code=404)
            if not opened.sound:
                return Response(status_code=404)
            try:
                plan = await asyncio.to_thread(_forecast, opened)
            except ByrewrightError as error:
                return Response(str(error), status_code=409, media_type="text/plain")
            return Response(
                calendar_of(plan, opened.plant), media_type=CALENDAR,
                headers={"content-disposition": 'attachment; filename="visits.ics"'},
            )  # fmt: skip

    site.routes.append(calendar)


def _log(opened: Opened) -> Log:
    return log_of(opened.path, owner_of(opened.plant))


def _entries(opened: Opened) -> list[Entry]:
    log = _log(opened)
    try:
        return log.entries() if log.home.identity() is not None else []
    finally:
        log.close()


def _plan(opened: Opened, entries: list[Entry], checks: Any, year: Worn) -> Plan:
    rules = opened.rules or default_rulebook()
    return plan_of(opened.plant, rules, entries, date.today(), checks=checks, year=year)


def _forecast(opened: Opened) -> Plan:
    year = year_of(opened.plant, opened.rules or default_rulebook())
    return _plan(opened, _entries(opened), (), year)


def _enter(opened: Opened, done: Sequence[str], meters: Sequence[str], who: str) -> int:
    log = _log(opened)
    try:
        return enter(log, opened.plant, meters, done, who, date.today())
    finally:
        log.close()


class ServiceView(View):
    """One visitor's look at the service of a plant."""

    def __init__(self, v: Visit) -> None:
        super().__init__(v)
        self.plan: Plan | None = None
        self.study: Share | None = None
        self.year: Share = self.v.site.answers.study("year", self.opened)
        self.trouble = self.said = self.stamp = ""
        self.forecast = False
        self.refused = False

    def build(self) -> None:
        """The page's body."""
        t = self.v.t
        ui.html(tag("h1", t("upkeep.title")), sanitize=False)
        ui.html(tag("p", t("upkeep.lead")), sanitize=False)
        acts = {"done": self.on_done, "meter": self.on_meter, "missed": self.on_missed,
                "stop": self.on_stop, "again": lambda *_: self.look(anew=True)}  # fmt: skip
        self.live = Live(self._live, acts)
        later(self.look)
        ui.timer(LOOK_S, self.look)

    async def look(self, *, anew: bool = False) -> None:
        """Read the log and plan anew where it may have changed."""
        stamp = log_stamp(self.opened.path)
        told = self.forecast or self.year.state != "done"
        if self.plan is not None and stamp == self.stamp and told and not anew:
            return
        self.stamp = stamp
        try:
            entries = await asyncio.to_thread(_entries, self.opened)
            checks: Any = ()
            if needs_checks(entries):
                self.job = self.v.site.answers.study("tests", self.opened)
                await finish(self.job, lambda _: self.live.draw())
                if self.job.state != "done":
                    self.live.draw()
                    return
                checks = self.job.value.checks
            self.forecast = self.year.state == "done"
            year: Worn = self.year.value if self.forecast else {}
            self.plan = await asyncio.to_thread(_plan, self.opened, entries, checks, year)
            self.trouble = ""
        except ByrewrightError as error:
            self.trouble = str(error)
        self._with_risk()
        self.live.draw()

    async def on_done(self, _: str, told: str) -> None:
        """Enter a service as done today."""
        task, _sep, who = told.partition("\n")
        await self._entered([task], [], who)

    async def on_meter(self, _: str, told: str) -> None:
        """Enter what a meter reads today."""
        read, _sep, who = told.partition("\n")
        await self._entered([], [read], who)

    async def _entered(self, done: Sequence[str], meters: Sequence[str], who: str) -> None:
        try:
            count = await asyncio.to_thread(_enter, self.opened, done, meters, who)
            self.said, self.refused = (
                self.v.t("upkeep.entered" if count else "service.known"),
                False,
            )
        except ByrewrightError as error:
            self.said, self.refused = str(error), True
        await self.look(anew=True)

    async def on_missed(self, _: str, __: str) -> None:
        """Ask the failure study what a missed service would cost."""
        self.study = self.v.site.answers.study("failures", self.opened)
        self.live.draw()
        await finish(self.study, lambda _: self.live.draw())
        self._with_risk()
        self.live.draw()

    def on_stop(self, _: str, __: str) -> None:
        """Stop the work under way."""
        for job in (self.job, self.study):
            if job is not None and not job.over:
                job.leave()

    def _with_risk(self) -> None:
        if self.study is not None and self.study.state == "done" and self.plan is not None:
            rules = self.opened.rules or default_rulebook()
            self.plan = self.plan.with_risk(self.opened.plant, rules, self.study.value)

    # parts -----------------------------------------------------------------------------------

    def _live(self) -> Child:
        t = self.v.t
        if self.trouble:
            return say(self.trouble, "bad")
        if self.plan is None:
            if self.job is not None and self.job.over and self.job.state != "done":
                return trouble(self.job, t)
            return progress(self.job, t) if self.job is not None else say(t("upkeep.works"))
        result = result_in(self.plan.result, self.v.units)
        tables = {one.key: one for one in result.tables}
        return [
            self._late(),
            *(_section(tables[k]) for k in FIRST if k in tables),
            self._trends(),
            self._form(),
            self._due(),
            _section(tables["service.lives"]),
            self._missed(tables),
            _section(tables["service.own"]),
            tag("p", " ".join(result.notes), cls="quiet"),
        ]

    def _late(self) -> Child:
        """How many are overdue."""
        t = self.v.t
        assert self.plan is not None
        now = float(self.plan.today.toordinal())
        late = sum(1 for d in self.plan.dues if d.day is not None and d.day < now and not d.own)
        return tag("p", tag("b", t("upkeep.late", count=late) if late else t("upkeep.none")))

    def _due(self) -> Child:
        """What is due, the soonest first; the same service of many machines in one row."""
        t = self.v.t
        assert self.plan is not None
        alike: dict[tuple[str, str, str, str], list[str]] = {}
        for one in sorted(self.plan.dues, key=lambda d: (d.day is None, d.day or 0.0)):
            if not one.own:
                span = date_of(one.day)
                if one.soonest != one.latest:
                    span += f" ({date_of(one.soonest)} – {date_of(one.latest)})"
                often, how = (text_in(x, self.v.units) for x in (interval(one.task), one.how))
                key = (span or t("upkeep.unknown"), one.task.what, often, how)
                alike.setdefault(key, []).append(one.task.machine)
        rows: list[list[Child]] = [
            [day, what, every, _cell(", ".join(tags)), how]
            for (day, what, every, how), tags in alike.items()
        ]
        head = [t(f"upkeep.{h}") for h in ("due", "which", "every", "machines", "how")]
        return tag("section", tag("h2", t("upkeep.due_all")), table(head, rows))

    def _form(self) -> Child:
        t = self.v.t
        assert self.plan is not None
        order = sorted(self.plan.dues, key=lambda d: (d.day is None, d.day or 0.0))
        names = [f"{d.task.machine}: {d.task.what}" for d in order]
        options = [tag("option", n, value=n) for n in names]
        work = [
            tag("label", t("upkeep.which"), tag("select", options, id="which")),
            tag("label", t("upkeep.who"), tag("input", id="who", autocomplete="name")),
            tag("button", t("upkeep.done"), type="button", data_act="done", data_with="which who",
                id="enter", cls="main"),
        ]  # fmt: skip
        meter = [
            tag("label", t("upkeep.meter"),
                tag("input", id="read", placeholder="VP1=1240 h")),
            tag("button", t("upkeep.enter_meter"), type="button", data_act="meter",
                data_with="read who", id="enter-meter"),
            tag("a", t("upkeep.calendar"), href=self.v.link("service/visits.ics"), cls="button"),
        ]  # fmt: skip
        told = say(self.said, "bad" if self.refused else "") if self.said else None
        rows = [tag("div", one, cls="row no-print") for one in (work, meter)]
        return tag("section", tag("h2", t("upkeep.enter")), rows, told)

    def _trends(self) -> Child:
        t = self.v.t
        assert self.plan is not None
        today = float(self.plan.today.toordinal())
        rows: list[list[Child]] = [
            [
                [tag("b", one.title), tag("div", one.at, cls="mono quiet small")],
                [
                    tag("div", Html(inked(trend_svg(one, today))), cls="trend", role="img",
                        aria_label=f"{one.title} {one.at}: {one.says}"),
                    tag("div", text_in(one.says, self.v.units), cls="small"),
                ],
                self.v.number(one.points[-1].value, one.unit),
                t(f"verdict.{one.word}"),
            ]
            for one in self.plan.trends[:MOST]
        ]  # fmt: skip
        head = [t(f"upkeep.{h}") for h in ("test", "picture", "last", "verdict")]
        if not rows:
            return tag("section", tag("h2", t("upkeep.trends")), tag("p", t("upkeep.no_trend")))
        note = tag("p", self.plan.result.table("service.trends").note, cls="quiet small")
        return tag("section", tag("h2", t("upkeep.trends")), table(head, rows, cls="trends"), note)

    def _missed(self, tables: dict[str, Table]) -> Child:
        t = self.v.t
        if "service.missed" in tables:
            return _section(tables["service.missed"])
        inner: Child = tag("button", t("upkeep.ask"), type="button", data_act="missed", id="missed")
        if self.study is not None:
            inner = trouble(self.study, t) if self.study.over else progress(self.study, t)
        return tag("section", tag("h2", t("upkeep.missed")), tag("p", t("upkeep.missed_lead")),
                   inner)  # fmt: skip


def _section(one: Table) -> Child:
    """A table of the result, whole or its first rows."""
    head: list[Child] = [
        c + (f", {u}" if u else "") for c, u in zip(one.columns, one.units, strict=True)
    ]
    rows: list[list[Child]] = [[_cell(str(c)) for c in r] for r in one.rows[:MOST]]
    left = len(one.rows) - len(rows)
    if not rows:
        return None
    return tag(
        "section", tag("h2", one.title), table(head, rows),
        tag("p", f"+ {left}", cls="quiet") if left > 0 else None,
        tag("p", one.note, cls="quiet small") if one.note else None,
    )  # fmt: skip


def _cell(text: str) -> Child:
    """A list of many, folded behind its first."""
    parts = text.split(", ")
    if len(parts) <= FEW:
        return text
    first = ", ".join(parts[:FOLDED]) + f" + {len(parts) - FOLDED}"
    return tag("details", tag("summary", first), ", ".join(parts[FOLDED:]), cls="fold")
