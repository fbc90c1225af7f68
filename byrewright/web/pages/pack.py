"""The pack: built with progress, stopped on request, taken away as one file."""

from __future__ import annotations

import io
import tempfile
import zipfile
from datetime import date
from pathlib import Path

from fastapi import FastAPI
from fastapi.responses import Response
from nicegui import ui

from byrewright.documents.format import System
from byrewright.documents.pack import write_pack
from byrewright.results import merge
from byrewright.site.checks.measured import log_stamp, measured_of
from byrewright.standards.rulebook import default_rulebook
from byrewright.studies.every import STUDIES, ask
from byrewright.web.answers import Answers, Job, Share
from byrewright.web.folder import NotServed, Opened
from byrewright.web.frame import Live, Site, Visit, finish, progress, say, trouble
from byrewright.web.markup import Child, table, tag
from byrewright.web.view import View, add_page

KEY = "pack"
FIXED_TIME = (1980, 1, 1, 0, 0, 0)
"""Time of the files in the archive, so that the same pack is the same bytes."""


def register(site: Site) -> None:
    """Add the page and the download."""
    add_page(site, KEY, PackView)

    def download(app: FastAPI) -> None:
        @app.get("/p/{slug}/pack.zip")
        def take(slug: str, state: str, on: str, units: str, full: str = "") -> Response:
            try:
                opened = site.folder.open(slug)
            except NotServed:
                return Response(status_code=404)
            job = site.answers.known(pack_key(opened, on, units, bool(full)))
            if opened.key != state or job is None or job.state != "done":
                return Response(status_code=404)
            return attachment(job.value[0], "application/zip", f"{opened.path.stem}-pack.zip")

    site.routes.append(download)


def ascii_name(name: str) -> str:
    """A file name that may stand in a header."""
    return "".join(c if c.isascii() and (c.isalnum() or c in "-_.") else "-" for c in name)


def attachment(data: bytes, kind: str, name: str) -> Response:
    """A file to be taken away under a name."""
    head = {"content-disposition": f'attachment; filename="{ascii_name(name)}"'}
    return Response(data, media_type=kind, headers=head)


def pack_key(opened: Opened, on: str, units: str, full: bool) -> tuple[str, ...]:
    """What a pack is kept under."""
    return ("pack", opened.key, on, units, "full" if full else "", log_stamp(opened.path))


def build_pack(answers: Answers, opened: Opened, on: str, units: System, full: bool) -> Share:
    """The work of building the pack: (the archive's bytes, names and sizes of its files).

    The same calls as the command `pack` makes, with `full` every study.
    """

    def work(job: Job) -> tuple[bytes, list[tuple[str, int]]]:
        from byrewright.documents.readers import READERS

        asked = tuple(STUDIES) if full else ("sizing",)
        rules = opened.rules or default_rulebook()
        result = ask(opened.plant, rules, asked, job.say)
        measured = measured_of(opened.path, opened.plant, rules)
        if measured is not None:
            result = merge(result.study, result.plant, (result, measured))
        with tempfile.TemporaryDirectory(prefix="byrewright-pack-") as name:
            folder = Path(name)
            write_pack(
                folder,
                opened.text,
                opened.plant,
                result,
                date=on,
                rules=opened.rules,
                progress=job.say,
                units=units,
                readers=tuple(READERS),
            )
            files = sorted(p for p in folder.rglob("*") if p.is_file())
            names = [(str(p.relative_to(folder)), p.stat().st_size) for p in files]
            out = io.BytesIO()
            with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
                for path, (inner, _) in zip(files, names, strict=True):
                    archive.writestr(zipfile.ZipInfo(inner, FIXED_TIME), path.read_bytes())
        return out.getvalue(), names

    return answers.ask(pack_key(opened, on, units, full), work, long=True)


class PackView(View):
    """One visitor's building of the pack."""

    def __init__(self, v: Visit) -> None:
        super().__init__(v)
        self.on = date.today().isoformat()
        self.full = False
        self.known()
        self.note: Child = None

    def known(self) -> None:
        """A pack that was built before, of the files as they are now."""
        site = self.v.site
        self.opened = site.folder.open(self.opened.slug)
        self.job = site.answers.known(pack_key(self.opened, self.on, self.v.units, self.full))

    def build(self) -> None:
        """The page's body."""
        t = self.v.t
        ui.html(tag("h1", t("pack.title")), sanitize=False)
        ui.html(tag("p", t("pack.lead")), sanitize=False)
        links = [[" ", tag("a", t(f"page.{key}"), href=self.v.link(key), cls="button")]
                 for key in ("quote", "changes")]  # fmt: skip
        ui.html(tag("p", t("pack.more"), links, cls="no-print"), sanitize=False)
        acts = {
            "build": self.on_build,
            "stop": self.on_stop,
            "again": self.on_build,
            "date": self.on_date,
            "full": self.on_full,
        }
        self.live = Live(self._live, acts)
        if self.job is not None and not self.job.over:
            ui.timer(0.01, self.follow, once=True)

    def _live(self) -> Child:
        t = self.v.t
        job = self.job
        when = tag(
            "div",
            tag("label", t("pack.date"), for_="date"),
            tag("input", type="date", id="date", value=self.on, data_change="date"),
            cls="field",
        )
        busy = job is not None and not job.over
        go = tag(
            "button",
            t("pack.build"),
            type="button",
            cls="main",
            data_act="build",
            id="build",
            disabled=busy,
        )
        box = tag(
            "input", type="checkbox", id="full", data_change="full", checked=self.full,
            disabled=busy,
        )  # fmt: skip
        full = tag("label", box, " ", t("pack.full"), cls="check")
        parts: list[Child] = [self.note, tag("div", when, full, go, cls="row no-print")]
        if job is None:
            return parts
        if not job.over:
            return [*parts, progress(job, t)]
        if job.state != "done":
            return [*parts, trouble(job, t)]
        full_pack = "yes" if self.full else ""
        link = self.v.link(
            "pack.zip", state=self.opened.key, on=self.on, units=self.v.units, full=full_pack
        )
        size = len(job.value[0])
        parts.append(say(t("pack.ready"), "good"))
        parts.append(
            tag(
                "p",
                tag("a", t("pack.take", size=_size(size)), href=link, cls="button", download=True),
            )
        )
        rows = [[tag("span", name, cls="mono"), _size(bytes_)] for name, bytes_ in job.value[1]]
        parts.append(table([t("pack.file"), t("pack.size")], rows, caption=t("pack.holds")))
        return parts

    async def follow(self) -> None:
        """Show how far it is until it is over."""
        if self.job is not None:
            self.live.draw()
            await finish(self.job, lambda _: self.live.draw())
            self.live.draw()

    async def on_build(self, _: str, __: str) -> None:
        """Build it."""
        self.known()
        if not self.opened.sound:
            self.note = say(self.v.t("pack.broken"), "bad")
            self.live.draw()
            return
        answers = self.v.site.answers
        self.job = build_pack(answers, self.opened, self.on, self.v.units, self.full)
        await self.follow()

    def on_full(self, value: str, _: str) -> None:
        """Every study, or the sizing alone."""
        self.full = value == "yes"
        self.known()
        self.live.draw()

    def on_date(self, value: str, _: str) -> None:
        """The date on the documents."""
        self.note = None
        try:
            self.on = date.fromisoformat(value).isoformat()
        except ValueError:
            self.note = say(self.v.t("pack.date_wrong"), "bad")
        self.known()
        self.live.draw()


def _size(many: int) -> str:
    from byrewright.documents.format import number

    return f"{number(many / 1e6)} MB" if many >= 1e6 else f"{max(1, round(many / 1000))} kB"
