"""Call-out: what a caller sees, one tap each; the calls there were."""

from __future__ import annotations

import asyncio
import time
from datetime import date
from typing import Any

from fastapi import FastAPI, Request
from fastapi.responses import JSONResponse, Response
from nicegui import ui

from byrewright.documents.call_sheet import call_html
from byrewright.errors import ByrewrightError
from byrewright.site.callout.guide import bare_guide
from byrewright.site.callout.record import from_data, head_of, take
from byrewright.site.callout.sights import sights_of
from byrewright.site.checks.measured import log_stamp, owner_of
from byrewright.site.log import Entry, log_of
from byrewright.site.log.entry import current
from byrewright.web.folder import NotServed, Opened
from byrewright.web.frame import Live, Site, Visit, later, say, visit
from byrewright.web.live import alone, state_of
from byrewright.web.markup import Child, table, tag
from byrewright.web.view import View, add_page

KEY = "call"
HTML = "text/html; charset=utf-8"
LOOK_S = 3.0
WAIT_S = 120.0
AT_ONCE_S = 1.0
"""So long a caller waits for the whole guide before what to do first is shown alone."""
MOST = 50


def register(site: Site) -> None:
    """Add the page, what it leads to, and what takes the record."""
    add_page(site, KEY, CallView)

    def lead(app: FastAPI) -> None:
        @app.get("/p/{slug}/call/ready")
        async def ready(slug: str) -> Response:
            """Whether the whole guide is worked out."""
            opened = _opened(site, slug)
            if opened is None:
                return Response(status_code=404)
            return JSONResponse({"ready": site.answers.study(KEY, opened).state == "done"})

        @app.get("/p/{slug}/call/{name}")
        async def page(request: Request, slug: str, name: str) -> Response:
            """The page that leads a caller: at once, and whole as soon as it can be; `call.html` is
            one to take along, whole, with no server to send to."""
            state = state_of(site, slug)  # before it is read: later writing is then noticed
            opened = _opened(site, slug)
            if opened is None or name not in ("lead", "call.html"):
                return Response(status_code=404)
            along = name != "lead"
            job = site.answers.study(KEY, opened)
            await asyncio.to_thread(job.wait, WAIT_S if along else AT_ONCE_S)
            done = job.state == "done"
            if job.state == "failed" or (along and not done):
                return Response(job.problem, status_code=503, media_type="text/plain")
            made, head = date.today().isoformat(), head_of(owner_of(opened.plant))
            units = visit(site, request).units
            if along:
                headers = {"content-disposition": f'attachment; filename="{name}"'}
                text = call_html(job.value, head, made=made, units=units)
                return Response(text, media_type=HTML, headers=headers)
            guide = job.value if done else bare_guide(opened.plant)
            at = f"/p/{slug}/call/"
            text = call_html(guide, head, made=made, send=at + "entries",
                             wait="" if done else at + "ready",
                             live=alone(site, slug, request, state), units=units)  # fmt: skip
            return Response(text, media_type=HTML)

        @app.post("/p/{slug}/call/entries")
        async def enter(request: Request, slug: str) -> Response:
            """Take the record of calls: what the log does not have yet."""
            t = visit(site, request).t
            opened = _opened(site, slug)
            if opened is None:
                return JSONResponse({"said": t("callout.no_plant")}, status_code=404)
            try:
                told = await request.json()
                count = await asyncio.to_thread(_enter, opened, t("callout.record"), told)
            except ByrewrightError as error:
                return JSONResponse({"said": str(error)}, status_code=400)
            except ValueError:  # no JSON
                return JSONResponse({"said": t("callout.no_record")}, status_code=400)
            return JSONResponse({"said": t("callout.entered", count=count)})

    site.routes.append(lead)


def _opened(site: Site, slug: str) -> Opened | None:
    try:
        opened = site.folder.open(slug)
    except NotServed:
        return None
    return opened if opened.sound else None


def _enter(opened: Opened, name: str, told: Any) -> int:
    owner = owner_of(opened.plant)
    head, calls = from_data(name, told)
    log = log_of(opened.path, owner)
    try:
        return len(take(log, name, head, calls, owner))
    finally:
        log.close()


def _read(opened: Opened) -> list[Entry]:
    log = log_of(opened.path, owner_of(opened.plant))
    try:
        return current(log.entries("call")) if log.home.identity() is not None else []
    finally:
        log.close()


class CallView(View):
    """One visitor's look at the call-out of a plant."""

    def __init__(self, v: Visit) -> None:
        super().__init__(v)
        self.calls: list[Entry] = []
        self.trouble = ""
        self.stamp: str | None = None

    def build(self) -> None:
        """The page's body."""
        t, link = self.v.t, self.v.link("call/lead")
        self.v.site.answers.study(KEY, self.opened)  # ready when a tile is touched
        ui.html(tag("h1", t("callout.title")), sanitize=False)
        tiles = [
            tag("a", s.words, href=f"{link}#{s.key}", cls="button tile", id=f"see-{s.key}")
            for s in sights_of(self.opened.plant)
        ]
        ui.html(tag("nav", tiles, cls="tiles", aria_label=t("callout.title")), sanitize=False)
        along = tag("a", t("callout.along"), href=self.v.link("call/call.html"), cls="button")
        ui.html(tag("p", along, cls="no-print"), sanitize=False)
        self.live = Live(self._live, {})
        later(self.look)
        ui.timer(LOOK_S, self.look)

    async def look(self) -> None:
        """Read the calls anew where the log may have changed."""
        stamp = log_stamp(self.opened.path)
        if stamp == self.stamp:
            return
        try:
            self.calls = await asyncio.to_thread(_read, self.opened)
            self.trouble, self.stamp = "", stamp
        except ByrewrightError as error:
            self.trouble = str(error)
        self.live.draw()

    def _live(self) -> Child:
        t = self.v.t
        if self.trouble:
            return say(self.trouble, "bad")
        words = {s.key: s.words for s in sights_of(self.opened.plant)}
        latest = sorted(self.calls, key=lambda e: -e.at)[:MOST]
        rows: list[list[Child]] = [
            [
                time.strftime("%Y-%m-%d %H:%M", time.localtime(e.at)),
                words.get(e.data["sight"], e.data["sight"]),
                e.tag,
                t(f"callout.outcome.{str(e.data['outcome']).replace(' ', '_')}"),
                e.who,
                e.data["remark"],
            ]
            for e in latest
        ]
        head = [t(f"callout.{h}") for h in ("when", "seen", "at", "ended", "by", "remark")]
        body = table(head, rows) if rows else tag("p", t("callout.none"), cls="quiet")
        return tag("section", tag("h2", t("callout.calls")), body)
