"""Tests: what was measured and what it means; sheets to fill in here or to take along."""

from __future__ import annotations

import asyncio
import time
from collections.abc import Sequence
from datetime import date
from typing import Any

from fastapi import FastAPI, Request
from fastapi.responses import JSONResponse, Response
from nicegui import ui

from byrewright.documents.test_sheets import sheet_html, sheet_xlsx
from byrewright.documents.tests_in import asked_by, judged_in, measured_in
from byrewright.errors import ByrewrightError
from byrewright.results import Result
from byrewright.site.alarms import new_uid
from byrewright.site.checks.catalogue import GROUPS
from byrewright.site.checks.measured import KINDS, PlantChecks, log_stamp
from byrewright.site.checks.sheet import empty, from_data, take
from byrewright.site.checks.verdicts import Judged, judged
from byrewright.site.log import Entry
from byrewright.web.folder import NotServed
from byrewright.web.frame import (
    Live,
    Site,
    Visit,
    findings,
    finish,
    later,
    progress,
    say,
    trouble,
    visit,
)
from byrewright.web.live import alone, state_of
from byrewright.web.markup import Child, table, tag
from byrewright.web.view import View, add_page

KEY = "tests"
LOOK_S = 3.0
HTML = "text/html; charset=utf-8"
XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
WAIT_S = 60.0
IN_US = "-US"
"""Behind the day in the name of a sheet that asks in US units, so that what was typed in one is
never sent as of the other."""


def register(site: Site) -> None:
    """Add the page, the sheets and what takes them back."""
    add_page(site, KEY, TestsView)

    def sheets(app: FastAPI) -> None:
        @app.get("/p/{slug}/tests/fill")
        async def fill(request: Request, slug: str, sheet: str = "") -> Response:
            """The sheet that sends what is filled in to this server: today's, or one begun on a day
            before and not sent then."""
            state = state_of(site, slug)  # before it is read: later writing is then noticed
            bench = await _bench(site, slug)
            if bench is None:
                return Response(status_code=404)
            begun = _day(sheet.removesuffix(IN_US))
            us = sheet.endswith(IN_US) if begun else visit(site, request).units == "US"
            made = begun or date.today().isoformat()
            head = _head(bench, f"page-{made}{IN_US if us else ''}")
            page = sheet_html(head, bench.checks, made=made, send=f"/p/{slug}/tests/entries",
                              live=alone(site, slug, request, state),
                              units="US" if us else "metric")  # fmt: skip
            return Response(page, media_type=HTML)

        @app.get("/p/{slug}/tests/{name}")
        async def carry(request: Request, slug: str, name: str) -> Response:
            """An empty sheet to take along."""
            bench = await _bench(site, slug)
            if bench is None or name not in ("tests.xlsx", "tests.html"):
                return Response(status_code=404)
            made, head = date.today().isoformat(), _head(bench, new_uid())
            book, units = name.endswith(".xlsx"), visit(site, request).units
            data = (
                sheet_xlsx(head, bench.checks, made=made, units=units)
                if book
                else sheet_html(head, bench.checks, made=made, units=units).encode()
            )
            return Response(
                data, media_type=XLSX if book else HTML,
                headers={"content-disposition": f'attachment; filename="{name}"'},
            )  # fmt: skip

        @app.post("/p/{slug}/tests/entries")
        async def enter(request: Request, slug: str) -> Response:
            """Take a filled-in sheet: what it says that the log does not say yet."""
            t = visit(site, request).t
            bench = await _bench(site, slug)
            if bench is None:
                return JSONResponse({"said": t("tests.no_plant")}, status_code=404)
            try:
                told = await request.json()
                count = await asyncio.to_thread(_enter, bench, t("tests.sheet"), told)
            except ByrewrightError as error:
                return JSONResponse({"said": str(error)}, status_code=400)
            except ValueError:  # no JSON
                return JSONResponse({"said": t("tests.no_sheet")}, status_code=400)
            return JSONResponse({"said": t("tests.entered", count=count)})

    site.routes.append(sheets)


async def _bench(site: Site, slug: str) -> PlantChecks | None:
    """The checks of a plant; None where there is none, or its file cannot be used."""
    try:
        opened = site.folder.open(slug)
    except NotServed:
        return None
    if not opened.sound:
        return None
    job = site.answers.study(KEY, opened)
    await asyncio.to_thread(job.wait, WAIT_S)
    return job.value if job.state == "done" else None


def _day(told: str) -> str:
    try:
        return date.fromisoformat(told).isoformat()
    except ValueError:
        return ""


def _head(bench: PlantChecks, sheet: str) -> dict[str, Any]:
    return empty(bench.owner.plant_id, bench.owner.plant, bench.checks, sheet)


def _enter(bench: PlantChecks, name: str, told: Any) -> int:
    log = bench.log()
    try:
        filled = from_data(name, told)
        asked = asked_by(filled, bench.checks)
        return len(take(log, filled, bench.checks, bench.owner, asked=asked).new)
    finally:
        log.close()


def _read(bench: PlantChecks) -> Sequence[Entry]:
    log = bench.log()
    try:
        return log.entries(*KINDS) if log.home.identity() is not None else []
    finally:
        log.close()


class TestsView(View):
    """One visitor's look at the tests of a plant."""

    def __init__(self, v: Visit) -> None:
        super().__init__(v)
        self.every: list[Judged] = []
        self.result: Result | None = None
        self.trouble = ""
        self.stamp = ""

    def build(self) -> None:
        """The page's body."""
        t = self.v.t
        ui.html(tag("h1", t("tests.title")), sanitize=False)
        ui.html(tag("p", t("tests.lead")), sanitize=False)
        link = self.v.link
        ways = [
            tag("a", t("tests.fill"), href=link("tests/fill"), cls="button", id="fill"),
            tag("a", t("tests.html"), href=link("tests/tests.html"), cls="button"),
            tag("a", t("tests.xlsx"), href=link("tests/tests.xlsx"), cls="button"),
        ]
        ui.html(tag("div", ways, cls="row no-print"), sanitize=False)
        self.live = Live(self._live, {"stop": self.on_stop, "again": lambda *_: self.load()})
        later(self.load)
        ui.timer(LOOK_S, self.look)

    async def load(self) -> None:
        """Ask for the checks, then read the log."""
        self.job = self.v.site.answers.study(KEY, self.opened)
        await finish(self.job, lambda _: self.live.draw())
        await self.look()
        self.live.draw()

    async def look(self) -> None:
        """Read the log anew where it may have changed."""
        if self.job is None or self.job.state != "done":
            return
        stamp = log_stamp(self.opened.path)
        if stamp == self.stamp and self.result is not None:
            return
        bench: PlantChecks = self.job.value
        try:
            entries = await asyncio.to_thread(_read, bench)
        except ByrewrightError as error:
            self.trouble = str(error)
        else:
            self.trouble, self.stamp = "", stamp
            units = self.v.units
            self.every = [judged_in(j, units) for j in judged(bench.checks, entries)]
            self.result = measured_in(bench.plant.site.name, bench.checks, entries, units)
        self.live.draw()

    # parts -----------------------------------------------------------------------------------

    def _live(self) -> Child:
        t = self.v.t
        if self.job is None:
            return None
        if self.job.state != "done":
            return trouble(self.job, t) if self.job.over else progress(self.job, t)
        bad = say(self.trouble, "bad") if self.trouble else None
        if self.result is None:
            return bad
        open_ones = [f for f in self.result.findings if f.verdict != "holds"]
        return [
            bad,
            tag("section", tag("h2", t("tests.open")), findings(self.v, open_ones, t("tests.all"))),
            tag("section", tag("h2", t("tests.done")), self._counts()),
            self._rows(),
        ]

    def _counts(self) -> Child:
        t = self.v.t
        rows: list[list[Child]] = []
        for group in GROUPS:
            some = [j for j in self.every if j.check.group == group]
            done = [j for j in some if not j.not_done]
            if some:
                rows.append([group, str(len(done)), str(len(some))])
        head = [t(f"tests.{h}") for h in ("group", "tested", "of")]
        return table(head, rows)

    def _rows(self) -> Child:
        """The readings, the newest first."""
        t = self.v.t
        done = sorted((j for j in self.every if j.entry), key=lambda j: -j.entry.at if j.entry
                      else 0.0)  # fmt: skip
        if not done:
            return None
        rows: list[list[Child]] = [
            [
                t(f"verdict.{j.word}") if not j.not_done else t("tests.left_out"),
                j.finding.title,
                j.check.at,
                self.v.number(j.finding.value, j.finding.unit)
                if j.finding.value is not None
                else j.why_not,
                j.entry.who if j.entry else "",
                time.strftime("%Y-%m-%d %H:%M", time.localtime(j.entry.at)) if j.entry else "",
            ]
            for j in done
        ]
        head = [t(f"tests.{h}") for h in ("verdict", "test", "at", "read", "by", "when")]
        return table(head, rows, caption=t("tests.caption", count=len(rows)))
