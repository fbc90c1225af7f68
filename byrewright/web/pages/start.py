"""The first page: the plants of the folder."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Mapping
from pathlib import Path

from fastapi import Request
from fastapi.responses import RedirectResponse, Response
from nicegui import ui

from byrewright.web.addresses import address, shown_name, spoken
from byrewright.web.folder import NotServed, Opened
from byrewright.web.frame import Live, Site, Visit, counts, finish, frame, later, visit
from byrewright.web.markup import Child, Html, tag

MOST_NAMES, MOST_VERDICTS = 24, 8


def register(site: Site) -> None:
    """Add the page."""

    @ui.page("/")
    def start(request: Request) -> Response | None:
        files = site.folder.files()
        if len(files) == 1 and site.folder.only is not None:
            return RedirectResponse(address(next(iter(files)), site.pages[0]))
        v = visit(site, request)

        frame(v, "start", lambda: StartView(v, files).build())
        return None


class StartView:
    """The plants by the farm's name, each with what sizing makes of it once that is known."""

    def __init__(self, v: Visit, files: Mapping[str, Path]) -> None:
        self.v, self.files = v, files
        self.opened: dict[str, Opened] = {}

    def build(self) -> None:
        """The page's body."""
        self.live = Live(self._list, {})
        later(self.load)

    def _list(self) -> Child:
        t = self.v.t
        if not self.files:
            return [tag("h1", t("start.title")), tag("p", t("start.empty"))]
        rows = [self._row(slug, path) for slug, path in self.files.items()]
        return [tag("h1", t("start.title")), tag("ul", rows, cls="plants")]

    def _row(self, slug: str, path: Path) -> Html:
        v, known = self.v, self.opened.get(slug)
        name, verdict = spoken(slug), None
        if known is not None and not known.sound:
            verdict = tag("span", v.t("start.broken"), cls="wrong")
        elif known is not None:
            name = shown_name(known.plant.site.name)
            job = v.site.answers.known(("sizing", known.key))
            if job is not None and job.state == "done":
                verdict = counts(job.value, v.t)
        file = tag("span", str(path.relative_to(v.site.folder.root)), cls="quiet mono small")
        words = tag("span", tag("b", name), file, cls="who")
        return tag("li", tag("a", words, verdict, href=address(slug, v.site.pages[0])))

    async def load(self) -> None:
        """Names first, then the verdicts of the first plants, one after another."""
        for slug in list(self.files)[:MOST_NAMES]:
            with contextlib.suppress(NotServed):
                self.opened[slug] = await asyncio.to_thread(self.v.site.folder.open, slug)
        self.live.draw()
        for known in [o for o in self.opened.values() if o.sound][:MOST_VERDICTS]:
            await finish(self.v.site.answers.study("sizing", known))
            self.live.draw()
