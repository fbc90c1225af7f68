"""What changed against another revision: chosen from the folder, told by topic, taken as a PDF."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from fastapi import FastAPI
from fastapi.responses import Response
from nicegui import ui

from byrewright.documents.changes import changes_pdf
from byrewright.documents.format import System, prose
from byrewright.documents.us_units import change_in
from byrewright.quote.compared import compared
from byrewright.standards.rulebook import default_rulebook
from byrewright.studies.changes import TOPICS, Change
from byrewright.web.addresses import spoken
from byrewright.web.answers import Answers, Job, Share
from byrewright.web.folder import NotServed, Opened
from byrewright.web.frame import Live, Site, Visit, finish, progress, say, trouble
from byrewright.web.markup import Child, table, tag
from byrewright.web.pages.pack import attachment
from byrewright.web.view import View, add_page

KEY = "changes"


def register(site: Site) -> None:
    """Add the page, reached from the pack, and its paper."""

    add_page(site, KEY, ChangesView, listed=False)

    def routes(app: FastAPI) -> None:
        @app.get("/p/{slug}/revision.pdf")
        def take(slug: str, old: str, on: str, units: str, full: str = "") -> Response:
            try:
                a, b = site.folder.open(old), site.folder.open(slug)
            except NotServed:
                return Response(status_code=404)
            job = site.answers.known(changes_key(a, b, bool(full)))
            if job is None or job.state != "done":
                return Response(status_code=404)
            system: System = "US" if units == "US" else "metric"
            paper = changes_pdf(a.plant, b.plant, job.value, (a.path.name, b.path.name),
                                date.fromisoformat(on).isoformat(), system)  # fmt: skip
            return attachment(paper, "application/pdf", f"{b.path.stem}-changes.pdf")

    site.routes.append(routes)


def changes_key(old: Opened, new: Opened, full: bool) -> tuple[str, ...]:
    """What a comparison is kept under."""
    return ("changes", old.slug, old.key, new.key, "full" if full else "")


def compare(answers: Answers, old: Opened, new: Opened, full: bool) -> Share:
    """The work of comparing two files: the changes, by topic."""

    def work(job: Job) -> list[Change]:
        rules = (old.rules or default_rulebook(), new.rules or default_rulebook())
        return compared(old.plant, new.plant, rules, date.today(), full=full, say=job.say)

    return answers.ask(changes_key(old, new, full), work, long=True)


class ChangesView(View):
    """One visitor's comparison."""

    def __init__(self, v: Visit) -> None:
        super().__init__(v)
        self.others = [s for s in v.site.folder.files() if s != self.opened.slug]
        asked = v.query.get("old", "")
        self.old = asked if asked in self.others else next(iter(self.others), "")
        self.full = False
        self.note: Child = None

    def build(self) -> None:
        """The page's body."""
        t = self.v.t
        ui.html(tag("h1", t("changes.title")), sanitize=False)
        ui.html(tag("p", t("changes.lead")), sanitize=False)
        acts = {"old": self.on_old, "full": self.on_full, "compare": self.on_compare,
                "again": self.on_compare, "stop": self.on_stop}  # fmt: skip
        self.live = Live(self._live, acts)

    def _live(self) -> Child:
        t, job = self.v.t, self.job
        if not self.others:
            return say(t("changes.alone"))
        busy = job is not None and not job.over
        rows = [tag("option", spoken(s), value=s, selected=s == self.old) for s in self.others]
        pick = tag("div", tag("label", t("changes.old"), for_="old"),
                   tag("select", rows, id="old", data_change="old", disabled=busy),
                   cls="field")  # fmt: skip
        box = tag("input", type="checkbox", id="full", data_change="full", checked=self.full,
                  disabled=busy)  # fmt: skip
        go = tag("button", t("changes.compare"), type="button", cls="main", id="compare",
                 data_act="compare", disabled=busy)  # fmt: skip
        full = tag("label", box, " ", t("changes.full"), cls="check")
        parts: list[Child] = [tag("div", pick, full, go, cls="row no-print"), self.note]
        if job is None:
            return parts
        if not job.over:
            return [*parts, progress(job, t)]
        if job.state != "done":
            return [*parts, trouble(job, t)]
        return [*parts, *self._told(job.value)]

    def _told(self, found: Sequence[Change]) -> list[Child]:
        t = self.v.t
        if not found:
            return [say(t("changes.none"), "good")]
        link = self.v.link("revision.pdf", old=self.old, on=date.today().isoformat(),
                           units=self.v.units, full="yes" if self.full else "")  # fmt: skip
        parts: list[Child] = [
            say(t("changes.count", count=len(found))),
            tag("p", tag("a", t("changes.take"), href=link, cls="button", download=True)),
        ]
        for topic in TOPICS:
            rows: list[list[Child]] = [
                [t(f"change.{c.what}"), prose(change_in(c, self.v.units))]
                for c in found if c.topic == topic
            ]  # fmt: skip
            if rows:
                head = [t("changes.what"), t("changes.words")]
                parts.append(table(head, rows, caption=t(f"topic.{topic}", count=len(rows))))
        return parts

    def on_old(self, value: str, _: str) -> None:
        """Another revision to compare with."""
        self.old, self.job, self.note = value, None, None
        self.live.draw()

    def on_full(self, value: str, _: str) -> None:
        """Every study of both, or sizing and plan."""
        self.full, self.job = value == "yes", None
        self.live.draw()

    async def on_compare(self, _: str, __: str) -> None:
        """Compare."""
        folder = self.v.site.folder
        try:
            old, new = folder.open(self.old), folder.open(self.opened.slug)
        except NotServed:
            old, new = self.opened, self.opened
        if not (old.sound and new.sound) or old is new:
            self.note = say(self.v.t("changes.broken"), "bad")
            self.live.draw()
            return
        self.job = compare(self.v.site.answers, old, new, self.full)
        self.live.draw()
        await finish(self.job, lambda _: self.live.draw())
        self.live.draw()
